"""A shop.toml becomes a mill, a vise and cutters; a slip in it is named with line, key, value and limit."""

from collections.abc import Callable
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis.strategies import integers

from geom.errors import EvenstockError
from geom.settings.load import load_settings
from geom.shop.drills import drills_of_set, jobber_flutes, single_drill, size_name
from geom.shop.file import KEYS, default_shop, read_shop, shop_units
from geom.shop.records import Shop
from geom.shop.schema import LISTS, SINGLE_TABLES
from geom.toml.lines import key_lines
from geom.toml.reader import read_source

MILL = """[mill]
travel = [300, 150, 200]
spindle_to_table = [50, 300]
quill = 60
speeds = [100, 1000, 300]
power = "750 W"
"""
VISE = """[vise]
jaw_width = 100
jaw_height = 32
opening = 100
bed_height = 50
"""
END_MILL = """[[end_mills]]
diameter = 12
flutes = 4
flute_length = 26
reach = 40
"""
Read = Callable[..., Shop]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Return a function that reads the text of a shop file."""

    def shop(text: str, units: str = "mm") -> Shop:
        path = tmp_path / "my_shop.toml"
        path.write_text(f'units = "{units}"\n{text}', encoding="utf-8")
        source = read_source(path, "my_shop.toml")
        return read_shop(source.raw, source, (), shop_units(source.raw, source, (), "mm"))

    return shop


def refusal(read: Read, text: str, units: str = "mm") -> str:
    with pytest.raises(EvenstockError) as caught:
        read(text, units)
    return str(caught.value)


# --- what a shop owns -------------------------------------------------------


def test_a_mill_is_read_as_its_plate_says(read: Read) -> None:
    """Speeds rise whatever their order; 1.5 hp is 1118.5 W (1 hp = 550 ft lbf/s = 745.7 W); 0.8 of it reaches the cutter."""
    mill = read(MILL).mill

    assert (mill.travel, mill.speeds, mill.power) == ((300.0, 150.0, 200.0), (100.0, 300.0, 1000.0), 750.0)
    assert read(MILL.replace("750 W", "1.5 hp")).mill.cutting_power == pytest.approx(0.8 * 1118.55, abs=0.01)
    ranged = read(MILL.replace("speeds = [100, 1000, 300]", "speed_range = [60, 3000]")).mill
    assert (ranged.slowest, ranged.fastest) == (60.0, 3000.0)


def test_an_inch_shop_is_the_same_shop(read: Read) -> None:
    """1 in = 25.4 mm exactly: a vise of 4 in opens 101.6 mm, and a 1/2 end mill is 12.7 mm."""
    vise = '[vise]\njaw_width = 4\njaw_height = 1.25\nopening = "4"\nbed_height = 2\n'
    inch = read(vise + END_MILL.replace("12", '"1/2"').replace("26", "1").replace("40", "2"), "inch")

    assert inch.vise.opening == pytest.approx(101.6)
    assert (inch.of("end mill")[0].label, inch.of("end mill")[0].diameter) == ("1/2", pytest.approx(12.7))
    assert inch.of("end mill")[0].reach == pytest.approx(50.8)


def test_a_shop_that_lists_end_mills_has_listed_all_its_cutters(read: Read) -> None:
    """Nothing is made up beside what the shop says it owns; what it leaves out as a whole is assumed, and said to be."""
    shop = read(END_MILL)

    assert [c.name for c in shop.cutters] == ["12 mm end mill"]
    assert shop.assumed == ("mill", "vise", "finders")
    assert read(MILL).assumed == ("vise", "cutters", "finders")
    assert default_shop("inch").assumed == ("mill", "vise", "cutters", "finders")


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_the_assumed_shop_has_one_of_everything(units: str) -> None:
    """A job without a shop gets cutters of every kind, in its own units, a vise of 125 to 150 mm and an edge finder."""
    shop = default_shop(units)
    kinds = ("face mill", "end mill", "spotting drill", "drill", "boring head", "counterbore", "countersink", "reamer", "tap")

    assert all(shop.of(kind) for kind in kinds)
    assert 125 <= shop.vise.jaw_width <= 150
    assert {f.kind for f in shop.finders} == {"edge finder", "indicator"}
    assert all(c.reach >= c.flute_length for c in shop.of("end mill"))


def test_drills_are_bought_in_sets(read: Read) -> None:
    """Trade tables: number 1 is 0.228 in, 60 is 0.040; A 0.234, Z 0.413; mm 1-13 by 0.1 is 121 drills; 1/64 steps."""
    number, letter = drills_of_set("number 1-60", ""), drills_of_set("letter A-Z", "")

    assert (len(number), number[0].diameter, number[-1].diameter) == (60, pytest.approx(1.016), pytest.approx(5.7912))
    assert (len(letter), letter[0].diameter, letter[-1].diameter) == (26, pytest.approx(5.9436), pytest.approx(10.4902))
    assert [d.name for d in drills_of_set("mm 1-13 by 0.1", "")][::120] == ["1 mm", "13 mm"]
    assert len(drills_of_set("fraction 1/16-1/2", "")) == 29
    assert [d.name for d in drills_of_set("fraction 1/8-1/2 by 1/8", "")] == ["1/8", "1/4", "3/8", "1/2"]
    assert single_drill("no. 7", "mm", "").diameter == pytest.approx(0.201 * 25.4)
    assert len(read('[drills]\nsets = ["mm 1-3 by 0.5", "mm 2-4 by 1"]\nsingles = ["27/64"]\n').of("drill")) == 7


def test_a_jobber_drill_reaches_as_far_as_its_flutes() -> None:
    """DIN 338 (from memory): 10 mm has 87 mm of flutes, 5 mm 52 mm; a size between takes the shorter."""
    assert [jobber_flutes(d) for d in (10.0, 5.0, 5.9)] == [87.0, 52.0, 52.0]


@given(integers(1, 96))
def test_a_sixty_fourth_keeps_its_name(n: int) -> None:
    """A fraction drill's name read again is its diameter."""
    mm = n / 64 * 25.4
    assert single_drill(size_name(mm, "inch"), "inch", "").diameter == pytest.approx(mm, abs=1e-9)


def test_an_inch_shop_calls_a_round_thousandth_in_inches() -> None:
    """0.2 in is 5.08 mm exactly: the edge finder of an inch shop is no 5.08 mm one; a 10 mm cutter stays one in either shop."""
    assert [size_name(5.08, units) for units in ("inch", "mm")] == ["0.2 in", "5.08 mm"]
    assert [size_name(10.0, units) for units in ("inch", "mm")] == ["10 mm", "10 mm"]


def test_each_entry_of_a_list_has_its_own_line() -> None:
    """The second [[end_mills]] starts on line 3."""
    lines = key_lines("[[end_mills]]\ndiameter = 6\n[[end_mills]]\ndiameter = 8\n")

    assert lines[("end_mills", "1", "diameter")] == 2
    assert (lines[("end_mills", "2")], lines[("end_mills", "2", "diameter")]) == (3, 4)


# --- in a job ---------------------------------------------------------------

JOB = '[part]\nname = "plate"\nfinished = "finished.step"\ncasting = "casting.step"\nunits = "mm"\nalloy = "grey iron"\n'


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Return the folder of a job whose STEP files nobody opens."""
    folder = tmp_path / "plate"
    folder.mkdir()
    for name in ("finished", "casting"):
        (folder / f"{name}.step").write_text(name)
    return folder


def test_a_job_takes_its_shop_from_a_file_or_from_its_own_table(job: Path) -> None:
    """Both shapes are one: the same mill either way; habits (leave) stand beside it; the readout step is the shop's."""
    text = MILL + "readout_step = 0.01\n" + END_MILL
    (job.parent / "my_shop.toml").write_text('units = "mm"\nleave = 0.2\n' + text)
    (job / "job.toml").write_text('shop = "../my_shop.toml"\n' + JOB)
    outside = load_settings(job)
    inline = text.replace("[mill]", "[shop.mill]").replace("[[end_mills]]", "[[shop.end_mills]]")
    (job / "job.toml").write_text(JOB + "[shop]\nleave = 0.2\n" + inline)
    inside = load_settings(job)

    assert inside.tooling == outside.tooling
    assert (inside.shop.leave, outside.shop.leave) == (0.2, 0.2)
    assert outside.readout.step == 0.01
    assert "readout.step" not in {a.key for a in outside.assumed}


def test_a_job_without_a_shop_gets_the_assumed_one_in_its_units(job: Path) -> None:
    """An inch job finds inch cutters."""
    (job / "job.toml").write_text(JOB.replace('"mm"', '"inch"'))

    assert load_settings(job).tooling == default_shop("inch")


def test_a_slip_in_an_inline_shop_is_found_in_job_toml(job: Path) -> None:
    """The line is that of the entry, in the job's own file."""
    (job / "job.toml").write_text(JOB + "[[shop.end_mills]]\ndiameter = 6\nflutes = 2\nflute_length = 12\nreach = 8\n")
    with pytest.raises(
        EvenstockError, match=r"job.toml line 11, shop.end_mills.1.reach: a reach of 8 mm is shorter than the flutes, 12 mm"
    ):
        load_settings(job)


# --- refusals ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            VISE.replace("opening = 100", "opening = -100"),
            "my_shop.toml line 5, vise.opening: -100 is too small; it must be above 0 mm",
        ),
        (MILL.replace("speeds = [100, 1000, 300]\n", ""), "line 2, mill: no spindle speed; add speeds = [90, 180, ...] in rpm"),
        (MILL.replace("[100, 1000, 300]", "[]"), "no spindle speed"),
        (MILL.replace("[100, 1000, 300]", "[0, 100]"), "line 6, mill.speeds: 0 is too small; it must be above 0"),
        (MILL + "speed_range = [60, 3000]\n", "line 8, mill.speed_range: speeds and speed_range are both given"),
        (MILL.replace("speeds = [100, 1000, 300]", "speed_range = [3000, 60]"), "the first value is not below the second"),
        (MILL.replace('power = "750 W"\n', ""), "line 2, mill: power is missing"),
        (MILL.replace("750 W", "strong"), "line 7, mill.power: 'strong' is not a power; give kW"),
        (MILL.replace("[300, 150, 200]", "[300, 150]"), "line 3, mill.travel: has 2 values; give 3: X, Y and Z"),
        (MILL + "readout_step = 0\n", "line 8, mill.readout_step: 0 is too small; it must be above 0 mm"),
        (MILL + "readout_step = 7\n", "line 8, mill.readout_step: 7 is too large; at most 1 mm"),
        (MILL + 'readout = ["x", "w"]\n', "there is no axis 'w'"),
        (MILL.replace("quill", "quil"), "line 5, mill.quil: there is no such key (did you mean 'quill'?)"),
        (
            END_MILL.replace("reach = 40", "reach = 20"),
            "line 6, end_mills.1.reach: a reach of 20 mm is shorter than the flutes, 26 mm",
        ),
        (END_MILL.replace("[[end_mills]]", "[end_mills]"), "write [[end_mills]], once for each"),
        (END_MILL.replace("end_mills", "endmill"), "(did you mean 'end_mills'?)"),
        ('[drills]\nsets = ["wire 1-60"]\n', "line 3, drills.sets: 'wire 1-60' is not a set of drills"),
        ('[drills]\nsets = ["mm 13-1 by 0.1"]\n', "must rise from above 0"),
        ('[drills]\nsets = ["mm 1-13 by 0"]\n', "by steps of 0.01 mm or more"),
        ('[drills]\nsets = ["number 1-99"]\n', "'99' in 'number 1-99' is no number drill"),
        ('[drills]\nsingles = ["twelve"]\n', "'twelve' is not a length"),
        ('[taps]\nsizes = ["M7.3"]\n', "line 3, taps.sizes: 'M7.3' is not in our table"),
        ("[[counterbores]]\ndiameter = 8\npilot = 9\n", "a pilot of 9 mm does not fit a counterbore of 8 mm"),
        ("[[boring_heads]]\nsmallest = 50\nlargest = 20\nreach = 40\n", "the first value is not below the second"),
        ('[[finders]]\nkind = "edge finder"\n', "an edge finder needs the diameter of its tip"),
        (VISE + "parallels = 20\n", "20 is not a list"),
        (VISE + 'table_clamps = "yes"\n', '"yes" is neither true nor false'),
    ],
)
def test_a_slip_in_a_shop_is_one_paragraph(read: Read, text: str, says: str) -> None:
    """File, line, key, value with unit, limit, what to do."""
    found = refusal(read, text)

    assert says in found
    assert found.startswith("my_shop.toml")
    assert "\n" not in found


def test_a_limit_is_told_in_the_shops_own_unit(read: Read) -> None:
    """An inch shop reads inches."""
    text = END_MILL.replace("12", "0.5").replace("26", "1.25").replace("40", "1")

    assert "a reach of 1 inch is shorter than the flutes, 1.25 inch" in refusal(read, text, "inch")


def test_a_shop_file_states_its_units(tmp_path: Path) -> None:
    """A bare 0.5 would be 0.5 mm to one job and 12.7 mm to the next."""
    (tmp_path / "my_shop.toml").write_text(MILL)
    source = read_source(tmp_path / "my_shop.toml", "my_shop.toml")
    with pytest.raises(EvenstockError, match=r"my_shop\.toml: units is missing"):
        shop_units(source.raw, source, (), "mm")


ODD = (
    "-1",
    "0",
    "1e300",
    "nan",
    '""',
    '"x"',
    "true",
    "[]",
    "[1]",
    "[[1]]",
    "[1, 2, 3]",
    '["mm 1-2"]',
    "{}",
    "{a = 1}",
    "1979-05-27",
)
"""What a slip of the hand may leave behind the equals sign."""


@pytest.mark.parametrize("table", [*SINGLE_TABLES, *LISTS, ""])
def test_no_value_of_any_key_gives_anything_but_a_shop_or_a_plain_refusal(tmp_path: Path, table: str) -> None:
    """Whatever stands behind the equals sign, the answer is a shop or one paragraph that names the file."""
    path, texts = tmp_path / "my_shop.toml", {"mill": MILL, "vise": VISE, "end_mills": END_MILL}
    keys = SINGLE_TABLES.get(table) or LISTS.get(table) or dict.fromkeys(KEYS)
    for key, value in product(keys, ODD):
        head = f"[[{table}]]\n" if table in LISTS else f"[{table}]\n" if table else ""
        lines = (texts.get(table) or head).splitlines(keepends=True)
        kept = "".join(line for line in lines if not line.startswith(f"{key} "))
        path.write_text((f'units = "mm"\n{kept}' if key != "units" or table else kept) + f"{key} = {value}\n")
        source = read_source(path, "my_shop.toml")
        says = ""
        try:
            read_shop(source.raw, source, (), shop_units(source.raw, source, (), "mm"))
        except EvenstockError as refused:
            says = str(refused)
        assert says.startswith("my_shop.toml") or not says
        assert "\n" not in says


def test_an_unstated_reamer_reaches_past_its_flutes() -> None:
    """DIN 212, from memory: a 6 mm machine reamer has 26 mm of flutes; 24 are assumed; 2.5 diameters would not do."""
    six = next(cutter for cutter in default_shop("mm").of("reamer") if cutter.diameter == 6.0)

    assert 2.5 * 6.0 < six.reach <= 26.0
