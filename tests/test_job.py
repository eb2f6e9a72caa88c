"""job.toml: what it may say, what stands when it is silent, and how a mistake is named with its line."""

import os
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geom.errors import EvenstockError, JobError, StandardError
from geom.job import input_files
from geom.settings.load import Overrides, load_settings
from geom.settings.records import Settings
from geom.toml.lines import key_lines
from geom.toml.schema import DRAWING, NAMED_TABLES, TABLES

LEAST = """\
[part]
name = "plate"
finished = "finished.step"
casting = "casting.step"
units = "mm"
alloy = "grey iron"
"""

Read = Callable[..., Settings]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Return a function that writes a job.toml beside two files and reads it."""
    folder = tmp_path / "plate"
    folder.mkdir()
    for name in ("finished.step", "casting.step", "model.py"):
        (folder / name).write_text("x")

    def settings(more: str = "", least: str = LEAST, **asked: object) -> Settings:
        (folder / "job.toml").write_text(least + more, encoding="utf-8")
        return load_settings(folder, Overrides(**asked))  # type: ignore[arg-type]

    return settings


def refusal(read: Read, more: str, **asked: object) -> str:
    """Return the message of a job that must be refused."""
    with pytest.raises(EvenstockError) as caught:
        read(more, **asked)
    return str(caught.value)


# --- what stands when the job is silent --------------------------------------


def test_six_lines_are_a_whole_job(read: Read) -> None:
    """The least job of the design page is valid as it stands, with 5 micrometre steps, first angle, A3."""
    found = read()

    assert (found.part.name, found.units, found.job_name) == ("plate", "mm", "plate")
    assert (found.readout.step, found.readout.flips) == (0.005, (1, 1, 1))
    assert (found.drawing.projection, found.drawing.sheet) == ("first", "A3")
    assert found.shop.point_angle == 118.0


def test_an_inch_job_gets_inch_defaults(read: Read) -> None:
    """0.0005 in is 0.0127 mm exactly (1 in = 25.4 mm); inch shops draw in third angle."""
    found = read(least=LEAST.replace('units = "mm"', 'units = "inch"'))

    assert found.readout.step == pytest.approx(0.0127, abs=1e-15)
    assert found.shop.cutter == pytest.approx(12.7, abs=1e-12)
    assert found.drawing.projection == "third"


def test_defaults_that_change_the_metal_are_listed(read: Read) -> None:
    """Hand-moulded single grey iron castings are DCTG 11 to 13, RMAG F to H (reference table): the middle is assumed, and said."""
    assumed = {a.key: a for a in read().assumed}

    assert assumed["casting.grade"].value == "DCTG 12"
    assert assumed["casting.allowance_grade"].value == "RMAG G"
    assert assumed["readout.step"].value == "0.005 mm"
    assert all(a.source for a in assumed.values())


def test_a_default_the_job_states_is_no_longer_listed(read: Read) -> None:
    """Only what was left open is reported as assumed."""
    stated = read('[casting]\ngrade = 10\nallowance_grade = "F"\n[readout]\nstep = 0.01\n')

    assert {a.key for a in stated.assumed} == {"shop.cutter", "shop.point_angle", "drawing.general"}
    assert stated.casting.allowance_stated


# --- values -------------------------------------------------------------------


def test_lengths_carry_their_own_unit_or_the_jobs(read: Read) -> None:
    """3/8 in is 9.525 mm; a bare 0.5 is 0.5 mm in a mm job and 12.7 mm in an inch job."""
    more = '[faces.top]\nrequired = "3/8 in"\nleave = 0.5\n'

    assert read(more).faces["top"].required == pytest.approx(9.525, abs=1e-12)
    assert read(more).faces["top"].leave == 0.5
    assert read(more, least=LEAST.replace('"mm"', '"inch"')).faces["top"].leave == pytest.approx(12.7, abs=1e-12)


def test_a_hole_callout_is_looked_up_when_the_job_is_read(read: Read) -> None:
    """Clearance M8 medium is 9.0 mm (ISO 273)."""
    hole = read('[holes."hole 1"]\ncallout = "clearance M8 medium"\n').holes["hole 1"]

    assert hole.callout is not None
    assert hole.callout.diameter == 9.0


def test_the_readout_may_count_the_other_way(read: Read) -> None:
    """X left, Y towards, Z down are the signs a scale mounted the other way round shows."""
    assert read('[readout]\nx = "left"\nz = "down"\n').readout.flips == (-1, 1, -1)


def test_units_on_the_command_line_change_what_is_shown_not_what_is_meant(read: Read) -> None:
    """A mm job shown in inches still reads its bare numbers as mm, and gets the inch readout's step."""
    shown = read("[faces.top]\nrequired = 2\n[readout]\nstep = 0.01\n", units="inch")

    assert (shown.units, shown.readout.units, shown.faces["top"].required) == ("inch", "inch", 2.0)
    assert shown.readout.step == pytest.approx(0.0127, abs=1e-15)


def test_a_bare_step_is_in_the_readouts_own_unit(read: Read) -> None:
    """An inch display on a mm job: step = 0.0002 is two tenths of a thousandth of an inch, 0.00508 mm."""
    assert read('[readout]\nunits = "inch"\nstep = 0.0002\n').readout.step == pytest.approx(0.00508, abs=1e-15)


def test_a_date_may_be_a_toml_date_or_text(read: Read) -> None:
    """The date of issue comes from the job alone; no clock is read."""
    assert read("[drawing]\ndate = 2025-03-09\n").drawing.date == "2025-03-09"
    assert read('[drawing]\ndate = "9 Mar 2025"\n').drawing.date == "9 Mar 2025"
    assert read().drawing.date == ""


def test_title_block_fields_hold_what_iso_7200_allows() -> None:
    """Characters per field as in the public summary of ISO 7200 (reference/iso7200_fields.csv)."""
    allowed = {"number": 16, "revision": 2, "date": 10, "title": 25, "supplementary": 25, "department": 10}
    allowed |= {"reference": 20, "approver": 20, "creator": 20, "document_type": 30, "language": 4}

    assert {name: DRAWING[name].longest for name in allowed} == allowed


def test_windows_line_ends_and_a_byte_order_mark_are_accepted(read: Read, tmp_path: Path) -> None:
    """Notepad saves UTF-8 with a mark in front and CR LF at line ends."""
    read()
    (tmp_path / "plate" / "job.toml").write_bytes(b"\xef\xbb\xbf" + LEAST.replace("\n", "\r\n").encode())

    assert load_settings(tmp_path / "plate").part.name == "plate"


def test_the_job_may_be_named_by_its_folder_or_its_file(read: Read, tmp_path: Path) -> None:
    """`evenstock stock plate` and `evenstock stock plate/job.toml` are one job."""
    read()

    assert load_settings(tmp_path / "plate" / "job.toml").part == load_settings(tmp_path / "plate").part


# --- the shop, variants, parameters -------------------------------------------


def test_a_shop_file_may_stand_outside_the_job(read: Read, tmp_path: Path) -> None:
    """One shop serves many jobs, so it is the one file that may lie elsewhere."""
    (tmp_path / "my_shop.toml").write_text('units = "mm"\ncutter = "10 mm"\nleave = 0.2\n')
    found = read(least='shop = "../my_shop.toml"\n' + LEAST)

    assert (found.shop.cutter, found.shop.leave) == (10.0, 0.2)
    assert "outside/my_shop.toml" in input_files(found)


def test_a_shop_toml_in_the_job_folder_is_the_shop(read: Read, tmp_path: Path) -> None:
    """Nobody who put it there expects it to lie there unread, and two shops are not one."""
    (tmp_path / "plate" / "shop.toml").write_text('units = "mm"\nleave = 0.2\n')
    found = read()

    assert found.shop.leave == 0.2
    assert "shop.toml" in input_files(found)
    with pytest.raises(JobError, match=r"job\.toml line \d+, shop: the job describes a shop, and so does shop\.toml in its folder"):
        read("[shop]\nleave = 0.1\n")


def test_a_wrong_key_in_the_shop_file_is_named_with_that_files_line(read: Read, tmp_path: Path) -> None:
    """The message points into the shop file, not into job.toml."""
    (tmp_path / "my_shop.toml").write_text('units = "mm"\ncuter = 10\n')
    with pytest.raises(JobError) as caught:
        read(least='shop = "../my_shop.toml"\n' + LEAST)

    assert str(caught.value) == "../my_shop.toml line 2, cuter: there is no such key (did you mean 'cutter'?)"


def test_a_variant_lies_over_the_job(read: Read) -> None:
    """Only what the variant says changes."""
    more = '[casting]\ngrade = 9\ndraft = 2\n[variants.big.part]\nname = "big plate"\n[variants.big.casting]\ngrade = 11\n'
    base, big = read(more), read(more, variant="big")

    assert (base.part.name, base.casting.grade, base.job_name) == ("plate", 9, "plate")
    assert (big.part.name, big.casting.grade, big.casting.draft, big.job_name) == ("big plate", 11, 2.0, "plate-big")


def test_a_wrong_value_in_a_variant_shows_its_own_line_chosen_or_not(read: Read) -> None:
    """Every variant is checked each time, so a mistake does not wait for the day it is used."""
    more = "[casting]\ngrade = 9\n[variants.big.casting]\ngrade = 99\n"

    for asked in (None, "big"):
        assert "job.toml line 10, casting.grade: 99 is too large; at most 16" in refusal(read, more, variant=asked)


MODEL = '[part]\nname = "p"\nmodel = "model.py"\nunits = "mm"\nalloy = "grey iron"\n'


def test_parameters_come_from_the_job_and_the_command_line_wins(read: Read) -> None:
    """`--set bore=40` beats [parameters]; text with a unit passes through to the model."""
    found = read('[parameters]\nbore = 38\nfoot = "4 in"\n', least=MODEL, parameters={"bore": "40", "ribs": "6"})

    assert found.parameters == {"bore": 40.0, "foot": "4 in", "ribs": 6.0}


def test_inputs_are_every_file_and_what_the_command_line_said(read: Read) -> None:
    """Two runs with the same inputs must give the same bytes, so everything that counts is in the list."""
    one, other = input_files(read()), input_files(read(units="inch"))

    assert set(one) == {"job.toml", "finished.step", "casting.step", "command line"}
    assert one["command line"] != other["command line"]


# --- where a key stands ---------------------------------------------------------


def test_the_line_of_every_key_is_found() -> None:
    """Counted by hand: comments, quoted names, dotted keys, multi-line text and lists do not shift it."""
    text = (
        '# a job\n[part]\nname = """two\nx = 1\n[no.table]\n"""\nunits="mm"\n\n[faces."top 2"]  # here\nrequired = 2\n'
        "holes.'hole 1'.callout = 'x'\n[ drawing ]\n\"date\" = 1\n[faces]\nleft.leave = [\n 1,\n]\n"
    )
    lines = key_lines(text)

    assert lines["part", "name"] == 3
    assert lines["part", "units"] == 7
    assert lines["faces", "top 2", "required"] == 10
    assert lines["faces", "top 2", "holes", "hole 1", "callout"] == 11
    assert lines["drawing", "date"] == 13
    assert lines["faces", "left", "leave"] == 15
    assert ("part", "x") not in lines
    assert ("no",) not in lines


_NAME = st.text(st.characters(codec="ascii", categories=["L", "N", "P", "S", "Zs"]), min_size=1, max_size=8)


@given(names=st.lists(_NAME, min_size=1, max_size=5, unique=True), blank=st.integers(0, 3))
def test_every_table_tomllib_sees_is_found_on_its_line(names: list[str], blank: int) -> None:
    """Whatever a face is called, its table's line is the one it was written on (tomllib is the judge of the names)."""
    quoted = ['"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"' for name in names]
    text = "".join("\n" * blank + f"[faces.{name}]\nleave = {i}\n" for i, name in enumerate(quoted))
    lines = key_lines(text)

    assert set(tomllib.loads(text)["faces"]) == set(names)
    for i, name in enumerate(names):
        assert lines["faces", name, "leave"] == i * (blank + 2) + blank + 2


# --- refusals -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("[reedout]\nstep = 1\n", "job.toml line 7, reedout: there is no such key (did you mean 'readout'?)"),
        ("[faces.top]\nrequird = 2\n", "line 8, faces.top.requird: there is no such key (did you mean 'required'?)"),
        ("[faces.top]\nzzz = 2\n", "line 8, faces.top.zzz: there is no such key; known are name, required, tolerance"),
        ("[readout]\nstep = 0\n", "line 8, readout.step: 0 is too small; it must be above 0 mm"),
        ("[readout]\nstep = -0.005\n", "line 8, readout.step: -0.005 is too small"),
        ("[readout]\nstep = 5\n", "line 8, readout.step: 5 is too large; at most 1 mm"),
        ("[readout]\nstep = nan\n", "line 8, readout.step: nan is not a finite number"),
        ("[readout]\nstep = inf\n", "line 8, readout.step: inf is not a finite number"),
        ("[readout]\nstep = true\n", "line 8, readout.step: True is not a length"),
        ("[readout]\nstep = [1]\n", "line 8, readout.step: [1] is not a length"),
        ('[readout]\nstep = "1 furlong"\n', "line 8, readout.step: unit 'furlong'"),
        ('[readout]\nunits = "cm"\n', 'line 8, readout.units: "cm" is not one of mm, inch'),
        ('[readout]\nx = "rigth"\n', "line 8, readout.x: \"rigth\" is not one of right, left (did you mean 'right'?)"),
        ("[faces.top]\nbearing = 0\n", "line 8, faces.top.bearing: 0 is too small; it must be above 0"),
        ("[faces.top]\nbearing = 1.5\n", "line 8, faces.top.bearing: 1.5 is too large; at most 1"),
        ("[faces.top]\nbearing = nan\n", "line 8, faces.top.bearing: nan is not a finite number"),
        ('[faces.top]\nbearing = "most"\n', 'line 8, faces.top.bearing: "most" is not a number'),
        ("[faces]\ntop = 3\n", "line 8, faces.top: 3 is not a table; write [faces.top]"),
        ("[casting]\ngrade = 11.5\n", "line 8, casting.grade: 11.5 is not a whole number"),
        ("[casting]\ngrade = 17\n", "line 8, casting.grade: 17 is too large; at most 16"),
        ('[casting]\nallowance_grade = "I"\n', 'line 8, casting.allowance_grade: "I" is not one of A, B, C'),
        ("[casting]\ngrade = 1" + "0" * 400 + "\n", "line 8, casting.grade:"),
        ("[drawing]\nowner = 7\n", "line 8, drawing.owner: 7 is not text; put it between quotes"),
        ('[drawing]\nrevision = "ABC"\n', 'line 8, drawing.revision: "ABC" has 3 characters; at most 2 fit'),
        ('[drawing]\nowner = ""\n', "line 8, drawing.owner: is empty"),
        ('[drawing]\nowner = "a\\nb"\n', "line 8, drawing.owner: 'a\\nb' holds a line break"),
        ('[datum]\nmiddle = ["left"]\n', "line 8, datum.middle: has 1 entries; give 2 to 4"),
        ('[datum]\nmiddle = "left"\n', 'line 8, datum.middle: "left" is not a list'),
        ('[holes."hole 1"]\ncallout = "clearance M77"\n', 'line 8, holes."hole 1".callout'),
        ('[holes."hole 1"]\ncallout = "tapped 5/8-99 UNC"\n', 'line 8, holes."hole 1".callout'),
        ("[parameters]\nbore = 3\n", "line 7, parameters: a job of STEP files has no parameters"),
        ("shop = 3\n", "line 7, part.shop: there is no such key"),
        ("[foundry]\ncontraction = -1\n", "line 8, foundry.contraction: -1 is too small; at least 0"),
        ("[variants.big.variants.x]\na = 1\n", "line 7, variants.big.variants: there is no such key"),
    ],
)
def test_a_wrong_value_names_file_line_key_and_limit(read: Read, more: str, says: str) -> None:
    """A mistake is found from the message alone: file, line, key, value, limit, what to do."""
    assert says in refusal(read, more)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('name = "plate"\n', "", "job.toml line 1, part: name is missing; add name = ..."),
        ('units = "mm"\n', "", 'job.toml line 1, part: units is missing; add units = "mm" or "inch" (what sheets show'),
        ('alloy = "grey iron"', 'alloy = "grey irom"', "line 6, part.alloy"),
        ('units = "mm"', 'units = "feet"', 'line 5, part.units: "feet" is not one of mm, inch'),
        ('casting = "casting.step"\n', "", "part: give finished and casting (STEP files), or model alone; the job gives finished"),
        ('alloy = "grey iron"', 'alloy = "grey iron"\nmodel = "model.py"', "the job gives finished and casting and model"),
        ("casting.step", "finished.step", "finished and casting are the same file"),
        ("casting.step", "castin.step", 'line 4, part.casting: there is no file "castin.step" in the job folder'),
        ("casting.step", "casting.iges", 'line 4, part.casting: "casting.iges" does not end in .step or .stp'),
        ("casting.step", "../casting.step", 'line 4, part.casting: "../casting.step" leaves the job folder'),
        ("casting.step", "/etc/casting.step", 'line 4, part.casting: "/etc/casting.step" is a path from the root'),
        ("casting.step", "C:/parts/casting.step", "is a path from the root"),
        ("casting.step", "//server/casting.step", "is a path from the root"),
        ("[part]", "[prt]", "job.toml line 1, prt: there is no such key (did you mean 'part'?)"),
        ("[part]", "[part", "job.toml line 1"),
        ('name = "plate"', 'name = "plate', "job.toml line 2"),
        ('name = "plate"', 'name = "a"\nname = "b"', "is not valid TOML"),
    ],
)
def test_a_wrong_part_table_is_refused_in_plain_words(read: Read, old: str, new: str, says: str) -> None:
    """The six lines everyone writes first are where mistakes happen first."""
    with pytest.raises(EvenstockError) as caught:
        read(least=LEAST.replace(old, new))

    assert says in str(caught.value)


def test_toml_mistakes_on_the_last_line_still_have_a_line(read: Read) -> None:
    """tomllib says 'end of document'; the reader says which line that is."""
    with pytest.raises(JobError, match=r"job\.toml line 7.*is not valid TOML"):
        read("[faces.top")


def test_an_unknown_alloy_lists_those_there_are(read: Read) -> None:
    """The nearest name and the whole table are in the message."""
    with pytest.raises(StandardError, match=r"line 6, part\.alloy: .*did you mean 'gray iron'.*ductile iron"):
        read(least=LEAST.replace("grey iron", "gray irom"))


def test_a_link_out_of_the_folder_is_refused(read: Read, tmp_path: Path) -> None:
    """A job from a stranger must not read files elsewhere through a link."""
    (tmp_path / "secret.step").write_text("x")
    os.symlink(tmp_path / "secret.step", tmp_path / "plate" / "link.step")
    os.symlink(tmp_path / "plate" / "round.step", tmp_path / "plate" / "round.step")
    for name in ("link.step", "round.step"):
        with pytest.raises(JobError, match="leaves the job folder"):
            read(least=LEAST.replace("casting.step", name))


def test_a_job_that_is_no_job_is_refused(read: Read, tmp_path: Path) -> None:
    """Missing folder, empty folder, a STEP file instead of a job, a file that is not text."""
    read()
    (tmp_path / "empty").mkdir()
    (tmp_path / "plate" / "binary.toml").write_bytes(b"[part]\nname = '\xff'\n")
    for job, says in {
        "nowhere": "there is no such folder or file",
        "empty": "holds no job.toml",
        "plate/casting.step": "is not a job",
        "plate/binary.toml": "line 2: is not UTF-8 text",
    }.items():
        with pytest.raises(JobError, match=says):
            load_settings(tmp_path / job)


def test_a_variant_or_parameter_that_is_not_there_is_refused(read: Read) -> None:
    """The message lists the variants, and says that STEP files have no parameters."""
    assert "has no such variant (did you mean 'big'?); it has big" in refusal(
        read, "[variants.big.part]\nname='b'\n", variant="bug"
    )
    assert "has no variants" in refusal(read, "", variant="big")
    assert "has no parameters; leave --set out" in refusal(read, "", parameters={"bore": "3"})


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "1e999", " "])
def test_a_parameter_that_is_no_size_is_refused(read: Read, text: str) -> None:
    """NaN, infinity and nothing are no sizes, wherever they come from."""
    with pytest.raises(JobError, match="--set bore"):
        read(least=MODEL, parameters={"bore": text})


_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**30), 10**30)
    | st.floats()
    | st.sampled_from(["", "top", "1 mm", "-3", "+x", "first", "A3", "M8", "../x.step", "a" * 300, "\u0000", "é"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["name", "x", "required"]), inner, max_size=2),
    max_leaves=5,
)


@given(data=st.data())
def test_no_value_of_any_key_gives_anything_but_an_answer_or_a_plain_refusal(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Whatever is written after the equals sign, the reader accepts it or says in one paragraph where it is wrong."""
    folder = tmp_path_factory.mktemp("job", numbered=True)
    for name in ("finished.step", "casting.step"):
        (folder / name).write_text("x")
    tables = {
        **{(name,): table for name, table in TABLES.items()},
        **{(name, "top"): table for name, table in NAMED_TABLES.items()},
    }
    path = data.draw(st.sampled_from(sorted(tables)))
    key = data.draw(st.sampled_from(sorted(tables[path])))
    text = LEAST if path != ("part",) else "".join(line for line in LEAST.splitlines(True) if not line.startswith(f"{key} "))
    value = _toml(data.draw(_VALUES.filter(lambda v: v is not None)))
    header = "" if path == ("part",) else f"[{'.'.join(path)}]\n"
    (folder / "job.toml").write_text(f"{text}{header}{key} = {value}\n", encoding="utf-8")
    says = str(folder / "job.toml")
    try:
        load_settings(folder)
    except EvenstockError as error:
        says = str(error)
    assert says.startswith(str(folder / "job.toml"))
    assert "\n" not in says


def _toml(value: object) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(item)}" for key, item in value.items() if item is not None) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value if item is not None) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(c if c.isprintable() and c not in '"\\' else f"\\u{ord(c):04x}" for c in value) + '"'
    return repr(value)
