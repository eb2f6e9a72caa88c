"""Coordinate tables on paper and in files: readable by anybody's CSV reader, and read back whole by ours."""

import csv
import json
import math
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from export.number import coordinate, figures, printed_mm
from export.tables.head import escaped, unescaped
from export.tables.read import COLUMNS
from export.tables.words import tool_text
from export.tables.write import AS_IS, coordinates_json, read_table, setup_csv, setup_text, table_files
from geom.datum.zero import Zero
from geom.errors import EvenstockError
from geom.rows.records import ACTIONS, TOOL_KINDS, TOWARDS, Box, LeftOut, Pattern, Row, Setup, Tool
from geom.space import Frame, frame_facing, norm, sub
from tests.hand_parts import hand_zero

MM, INCH = figures("mm"), figures("inch")

DRILL = Tool("drill", "6.8 mm", 6.8, 118.0)
MILL = Tool("end mill", "", 12.0, flute_length=26.0, reach=40.0)
FINDER = Tool("edge finder", "", 10.0)
ZERO = hand_zero((30.0, 20.0, 10.0))
X60, Y60 = 45.0 * math.cos(math.pi / 3), 45.0 * math.sin(math.pi / 3)
SETUP = Setup(
    number=1,
    up=(0.0, 0.0, 1.0),
    frame=ZERO.frame,
    zero=Zero(ZERO.frame, "the axis of bore 1, Z 0 on top", "job", "X 0 and Y 0 are the axis of bore 1"),
    rows=(
        Row(1, "top", "face", Tool("face mill", "", 0.0), None, None, 0.1, leave=0.1, note="leaves metal for finishing"),
        Row(2, "right", "edge", MILL, 36.0, -31.0, -30.0, y_to=31.0, rpm=560.0, feed=134.4),
        Row(3, "hole 1", "drill", DRILL, X60, Y60, -22.0429, z_full=-20.0, rpm=1350.0, feed=162.0, peck=6.8),
        Row(4, "bore 1", "bore", Tool("boring head", "", 40.0), 0.0, 0.0, -51.0, limits=(40.0, 40.025)),
        Row(5, "back", "check", FINDER, 0.0, 47.5, -12.0, towards="-y", spread=0.7),
        Row(6, "bore 1", "measure", Tool("plug gauge", "40 H7", 40.0), None, None, None, nominal=40.0, limits=(40.0, 40.025)),
    ),
    patterns=(Pattern("circle 1", "circle", ("hole 1", "a", "b"), (0.0, 0.0), (90.0,)),),
    left_out=(LeftOut("boss", "a round outside: turn it"),),
    notes=(("passes the far side by ", 1.0, "; leave room"),),
    holding=(("bottom on parallels ", 16.0, " high, back against the fixed jaw"),),
    boxes=(Box("fixed jaw", (-65.0, 20.0, -60.0), (65.0, 60.0, -18.0)),),
)


def plain_reader(text: str) -> list[dict[str, str]]:
    """Read a CSV as anybody would: skip lines that begin with '#', hand the rest to `csv`."""
    return list(csv.DictReader(line for line in text.splitlines(keepends=True) if not line.startswith("#")))


# --- hand-worked ------------------------------------------------------------

WORKED_CSV = """\
# evenstock coordinates: csv 2
# job: crank
# set-up: 1 of 2
# units: mm
# readout step: 0.005 mm
# readout counts up to: X right, Y away, Z up
# zero: the axis of bore 1, Z 0 on top
# zero named by: job
# zero because: X 0 and Y 0 are the axis of bore 1
# zero at: 30, 20, 10 mm in the part's own frame
# Z points: 0, 0, 1 in the part's own frame
# X points: 1, 0, 0 in the part's own frame
# worst rounding: 0.0021 mm
# rows: 6
# holding: bottom on parallels 16 mm high, back against the fixed jaw
# box: fixed jaw from -65, 20, -60 to 65, 60, -18 mm in the set-up's frame
# pattern: circle 1: 3 on a circle of diameter 90 mm about X 0.000 Y 0.000, counter-clockwise from +X seen from above: hole 1, a, b
# left out: boss: a round outside: turn it
# note: passes the far side by 1 mm; leave room
row,feature,action,tool,x,y,z,x_to,y_to,z_full,leave,limit_low,limit_high,nominal,spread,towards,rpm,feed,peck,tool_kind,tool_label,tool_diameter,tool_point,tool_flutes,tool_reach,tool_pilot,note
1,top,face,face mill,,,0.100,,,,0.1,,,,,,,,,face mill,,0,,,,,leaves metal for finishing
2,right,edge,12 mm end mill,36.000,-31.000,-30.000,,31.000,,,,,,,,560,134,,end mill,,12,,26,40,,
3,hole 1,drill,6.8 mm drill,22.500,38.970,-22.045,,,-20.000,,,,,,,1350,162,6.8,drill,6.8 mm,6.8,118,,,,
4,bore 1,bore,40 mm boring head,0.000,0.000,-51.000,,,,,40.000,40.025,,,,,,,boring head,,40,,,,,
5,back,check,10 mm edge finder,0.000,47.500,-12.000,,,,,,,,0.7,-y,,,,edge finder,,10,,,,,
6,bore 1,measure,40 H7 plug gauge,,,,,,,,40.000,40.025,40,,,,,,plug gauge,40 H7,40,,,,,
"""

WORKED_TEXT = """\
Row  Feature  Action   Set to mm    X mm     Y mm     Z mm  Y to mm  Z full mm  Leave mm  Reads mm  Least mm  Most mm  Within +- mm  Towards  Speed rpm  Feed mm/min  Peck mm  Note
---  -------  -------  ---------  ------  -------  -------  -------  ---------  --------  --------  --------  -------  ------------  -------  ---------  -----------  -------  --------------------------

T1 face mill
  1  top      face                                   0.100                           0.1                                                                                       leaves metal for finishing

T2 12 mm end mill
  2  right    edge                36.000  -31.000  -30.000   31.000                                                                                 560          134

T3 6.8 mm drill
  3  hole 1   drill               22.500   38.970  -22.045             -20.000                                                                     1350          162      6.8

T4 boring head
  4  bore 1   bore            40   0.000    0.000  -51.000                                            40.000   40.025

T5 10 mm edge finder
  5  back     check                0.000   47.500  -12.000                                                                      0.7       -y

T6 40 H7 plug gauge
  6  bore 1   measure                                                                           40    40.000   40.025
"""  # noqa: E501


def test_a_hand_worked_table_as_csv():
    """45 cos 60 = 22.5; 45 sin 60 = 38.97114 prints 38.970; 22.0429 prints 22.045, the worst rounding: 0.0021."""
    assert setup_csv("crank", SETUP, 2, MM) == WORKED_CSV


def test_a_hand_worked_table_as_text():
    """Figures right-aligned with the unit in the heading, blank where nothing is driven, each tool before its rows."""
    text = setup_text("crank", SETUP, 2, MM)

    assert text.partition("\n\n")[2] == WORKED_TEXT
    assert "tool: T2 12 mm end mill | end mill | - | 12 | - | 26 | 40 | -\n" in text
    assert "tool: T3 6.8 mm drill | drill | 6.8 mm | 6.8 | 118 | - | - | -\n" in text


def test_a_plain_csv_reader_gets_the_numbers():
    """Rows by column name, empty where an axis is not driven."""
    rows = plain_reader(setup_csv("crank", SETUP, 2, MM))

    assert [row["feature"] for row in rows] == ["top", "right", "hole 1", "bore 1", "back", "bore 1"]
    assert (float(rows[2]["x"]), float(rows[2]["y"]), float(rows[2]["z"]), float(rows[2]["z_full"])) == (
        22.5,
        38.97,
        -22.045,
        -20.0,
    )
    assert (rows[0]["x"], rows[0]["y"]) == ("", "")


def test_the_same_table_in_inches():
    """22.5 mm = 0.885827 in, 1771.65 steps of 0.0005: 0.8860; 38.97114 mm = 1.534297 in: 1.5345; 12 mm cutter 0.472441."""
    rows = plain_reader(setup_csv("crank", SETUP, 2, INCH))

    assert (rows[2]["x"], rows[2]["y"]) == ("0.8860", "1.5345")
    assert rows[1]["tool_diameter"] == "0.472441"
    assert (rows[3]["limit_low"], rows[3]["limit_high"]) == ("1.5749", "1.5757")  # inwards, ISO 286 limits


def test_a_display_that_counts_the_other_way_prints_the_other_sign():
    """X counted to the left and Z downwards: signs of those columns turn, and the head says so."""
    text = setup_csv("crank", SETUP, 2, MM, (-1, 1, -1))
    row = plain_reader(text)[2]

    assert (row["x"], row["y"], row["z"], row["z_full"]) == ("-22.500", "38.970", "22.045", "20.000")
    assert "# readout counts up to: X left, Y away, Z down\n" in text


def test_tools_are_named_as_the_shop_names_them():
    """Names where there is one, else the diameter; points of what is chosen by its point."""
    assert tool_text(Tool("drill", "no. 7", 5.1054, 118.0), "inch") == "no. 7 drill"
    assert tool_text(Tool("countersink", "", 12.6, 90.0), "mm") == "12.6 mm 90 degree countersink"
    assert tool_text(Tool("end mill", "", 15.875), "inch") == "0.625 in end mill"
    assert tool_text(Tool("tap", "M8", 8.0), "mm") == "M8 tap"


def test_json_holds_the_printed_values_in_mm():
    """The printed inch figure turned into mm: 0.8860 in = 22.5044 mm; step 0.0127 mm; null where nothing is driven."""
    (setup,) = json.loads(json.dumps(coordinates_json([SETUP], INCH)))["setups"]

    assert (setup["number"], setup["units"], setup["step"]) == (1, "inch", 0.0127)
    assert (setup["rows"][2]["x"], setup["rows"][2]["y"]) == (pytest.approx(22.5044), pytest.approx(38.9763))
    assert setup["rows"][0]["x"] is None
    assert set(setup["rows"][0]) >= {"row", "feature", "action", "tool", "x", "y", "z", "note"}
    assert setup["frame"]["origin"] == [30.0, 20.0, 10.0]


def test_json_of_mm_and_display_signs_agree_with_the_frame():
    """JSON is in the set-up's own frame whatever way the display counts."""
    (plain,), (flipped,) = (coordinates_json([SETUP], MM, signs)["setups"] for signs in (AS_IS, (-1, 1, 1)))

    assert plain["rows"] == flipped["rows"]
    assert flipped["signs"] == [-1, 1, 1]


def test_every_set_up_has_a_csv_and_a_text_file():
    """UTF-8, lines end in a bare newline on every system."""
    files = table_files("crank", [SETUP, replace(SETUP, number=2)], MM)

    assert sorted(files) == ["coordinates-1.csv", "coordinates-1.txt", "coordinates-2.csv", "coordinates-2.txt"]
    assert all(b"\r" not in data and data.endswith(b"\n") for data in files.values())
    assert files["coordinates-1.csv"].decode() == WORKED_CSV


# --- read back --------------------------------------------------------------


def printed(row: Row, style) -> Row:
    """Return the row with its coordinates as printed."""
    values = {name: getattr(row, name) for name in ("x", "y", "z", "x_to", "y_to", "z_full")}
    return replace(row, **{name: None if v is None else printed_mm(v, style) for name, v in values.items()})


def same_but_for_sizes(a: Row, b: Row) -> bool:
    """Compare rows; sizes of tools, leave and limits to what their columns hold, a size that lies on a limit to the printed one."""
    inside = b.nominal is not None and b.limits is not None and b.limits[0] <= b.nominal <= b.limits[1]
    reads = min(max(b.nominal, a.limits[0]), a.limits[1]) if inside and b.nominal and a.limits else b.nominal
    bare = [replace(r, tool=DRILL, leave=0.0, limits=None, nominal=None, feed=None, peck=None, spread=None) for r in (a, b)]
    near = pytest.approx
    pairs = [(a.nominal, reads, 2e-3), (a.peck, b.peck, 2e-3), (a.spread, b.spread, 2e-3), (a.feed, b.feed, 0.5)]
    pairs += [(getattr(a.tool, name), getattr(b.tool, name), 2e-5) for name in ("flute_length", "reach", "pilot")]
    return (
        bare[0] == bare[1]
        and all((p is None) == (q is None) and (p is None or p == near(q, abs=within)) for p, q, within in pairs)
        and (a.tool.kind, a.tool.label, a.tool.point_angle) == (b.tool.kind, b.tool.label, b.tool.point_angle)
        and a.tool.diameter == near(b.tool.diameter, abs=2e-5)
        and a.leave == near(b.leave, abs=2e-3)
        and ((a.limits is None) == (b.limits is None))
        and (a.limits is None or b.limits is None or a.limits == near(b.limits, abs=3e-3))
    )


@pytest.mark.parametrize("signs", [(1, 1, 1), (-1, 1, 1), (1, -1, -1)])
@pytest.mark.parametrize("style", [MM, INCH, figures("mm", 0.001)])
@pytest.mark.parametrize("write", [setup_csv, setup_text])
def test_a_table_read_back_is_the_printed_table(write, style, signs):
    """Both forms give every row as printed, and the frame to cut it in."""
    table = read_table(write("crank", SETUP, 2, style, signs))

    assert all(same_but_for_sizes(a, printed(b, style)) for a, b in zip(table.rows, SETUP.rows, strict=True))
    assert table.head.frame == SETUP.frame
    assert table.head.boxes == SETUP.boxes
    assert (table.head.job, table.head.number, table.head.count, table.head.signs) == ("crank", 1, 2, signs)
    assert (table.head.zero, table.head.figures) == (SETUP.zero.name, style)
    assert table.head.notes == (f"passes the far side by {'0.039 in' if style == INCH else '1 mm'}; leave room",)


AWKWARD = [
    "",
    " ",
    "a,b",
    'say "top"',
    "two\nlines",
    "#1\n#2,3",
    "\r\n",
    "tab\tstop",
    "back\\slash \\n",
    "=1+1",
    "-5",
    "@x",
    "# head",
    "T1 drill",
    "a | b",
    "Lagerbock Größe Ø40",
    "軸受",
    "e\u0301",
    "\u202eright to left",
    "\ud800",
    "\u2028",
    "\x00",
    "two  spaces  ",
    "key: value",
]

names = st.one_of(st.sampled_from(AWKWARD), st.text(max_size=12))


@given(names)
def test_any_text_survives_on_one_printable_line(text):
    """Escaped text holds no line end, no unprintable character and no formula; unescaped it is what it was."""
    line = escaped(text)

    assert unescaped(line, "here") == text
    assert line.isprintable()
    assert not line.startswith(("=", "+", "-", "@", " "))


@pytest.mark.parametrize("name", AWKWARD)
@pytest.mark.parametrize("write", [setup_csv, setup_text])
def test_an_awkward_name_comes_back_from_every_place_it_is_printed(write, name):
    """Job, zero, feature, tool, note and what is left out may be called anything."""
    tool = Tool("drill", name, 6.8, 118.0)
    row = Row(1, name, "drill", tool, 1.0, 2.0, -3.0, note=name)
    zero = Zero(ZERO.frame, name, "job", name)
    setup = replace(SETUP, rows=(row, replace(row, number=2)), zero=zero, left_out=(LeftOut(name, name),), notes=((name,),))
    table = read_table(write(name, setup, 1, MM))

    assert table.rows == setup.rows
    assert (table.head.job, table.head.zero, table.head.why, table.head.notes) == (name, name, name, (name,))
    assert table.head.left_out == (f"{name}: {name}",)


def maybe(some: st.SearchStrategy[float]) -> st.SearchStrategy[float | None]:
    """Return the strategy with None among its values."""
    return st.one_of(st.none(), some)


coordinates = maybe(st.floats(-900.0, 900.0))
lengths = st.floats(0.1, 90.0).map(lambda a: round(a, 2))
tools = st.builds(
    Tool,
    st.sampled_from(TOOL_KINDS),
    names,
    st.floats(0.0, 120.0).map(lambda d: round(d, 3)),
    maybe(st.floats(30.0, 170.0).map(lambda a: round(a, 3))),
    st.one_of(st.just(0.0), lengths),
    st.one_of(st.just(0.0), lengths),
    maybe(lengths),
)


@st.composite
def any_row(draw: st.DrawFn) -> Row:
    """Draw a row that drives at least Z."""
    x, y, full = draw(coordinates), draw(coordinates), draw(coordinates)
    low = draw(st.one_of(st.none(), st.floats(1.0, 90.0)))
    return Row(
        number=1,
        feature=draw(names),
        action=draw(st.sampled_from(ACTIONS)),
        tool=draw(tools),
        x=x,
        y=y,
        z=draw(st.floats(-900.0, 900.0)),
        x_to=None if x is None else draw(coordinates),
        y_to=None if y is None else draw(coordinates),
        z_full=full,
        leave=draw(st.sampled_from([0.0, 0.1, 0.25])),
        limits=None if low is None else (low, low + 0.05),
        note=draw(names),
        nominal=draw(maybe(lengths)),
        rpm=draw(maybe(st.integers(1, 6000).map(float))),
        feed=draw(maybe(st.integers(1, 900).map(float))),
        peck=draw(maybe(lengths)),
        towards=draw(st.sampled_from(TOWARDS)),
        spread=draw(maybe(lengths)),
    )


@st.composite
def any_setup(draw: st.DrawFn) -> Setup:
    """Draw a set-up with hostile names in any frame."""
    up = draw(st.sampled_from([(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0), (0.6, 0.0, 0.8), (1.0, 2.0, 3.0)]))
    at = draw(st.tuples(*[st.floats(-500.0, 500.0)] * 3))
    frame = frame_facing(at, up, (0.3, 1.0, 0.2))
    zero = Zero(frame, draw(names), draw(st.sampled_from(["job", "default"])), draw(names))
    rows = tuple(replace(row, number=i) for i, row in enumerate(draw(st.lists(any_row(), max_size=5)), 1))
    left = tuple(LeftOut(draw(names), draw(names)) for _ in range(draw(st.integers(0, 2))))
    box = Box(draw(names.filter(bool)), (-1.5, 0.0, -80.25), (1.5, 40.0, 0.0))
    return Setup(
        1, frame.z, frame, zero, rows, left_out=left, notes=((draw(names), 1.5),), holding=((draw(names), 2.5),), boxes=(box,)
    )


@settings(max_examples=50, deadline=None)
@given(any_setup(), names, st.sampled_from([MM, INCH]), st.sampled_from([AS_IS, (-1, 1, -1)]))
def test_both_forms_bring_back_any_set_up_whole(setup, job, style, signs):
    """Hostile names, leaning axes, either unit, flipped displays: rows, names and frame return."""
    for write in (setup_csv, setup_text):
        table = read_table(write(job, setup, 3, style, signs))

        assert all(same_but_for_sizes(a, printed(b, style)) for a, b in zip(table.rows, setup.rows, strict=True))
        assert (table.head.job, table.head.zero, table.head.why) == (job, setup.zero.name, setup.zero.why)
        assert table.head.left_out == tuple(f"{one.feature}: {one.why}" for one in setup.left_out)
        assert table.head.boxes == setup.boxes
        assert len(table.head.holding) == 1
        assert _frames_agree(table.head.frame, setup.frame)


def _frames_agree(a: Frame, b: Frame) -> bool:
    """Tell whether two frames place a point a metre away within two nanometres."""
    return all(norm(sub(a.part(p), b.part(p))) < 2e-6 for p in ((0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), (0.0, 0.0, 1000.0)))


@settings(max_examples=60, deadline=None)
@given(any_setup(), names, st.sampled_from([MM, INCH]))
def test_a_plain_csv_reader_sees_one_line_a_row(setup, job, style):
    """Whatever the names, skipping '#' lines leaves as many records as rows, each coordinate as printed."""
    text = setup_csv(job, setup, 1, style)
    rows = plain_reader(text)

    assert len(rows) == len(setup.rows)
    assert text.count("\n") == len(text.splitlines())
    for row, exact in zip(rows, setup.rows, strict=True):
        assert None not in row
        assert row["z"] == coordinate(exact.z or 0.0, style)
        assert abs(float(row["z"]) * float(style.unit_mm) - (exact.z or 0.0)) <= float(style.step_mm) / 2 + 1e-8


def test_the_worst_rounding_printed_is_the_worst_there_is():
    """No coordinate of the table lies further from its exact value than the head says."""
    table = read_table(setup_csv("crank", SETUP, 2, INCH))
    pairs = [(a, b) for a, b in zip(table.rows, SETUP.rows, strict=True)]
    off = [abs(v - w) for a, b in pairs for v, w in zip(a.driven, b.driven, strict=True)]

    assert max(off) <= float(table.head.worst) * 25.4
    assert max(off) > float(table.head.worst) * 25.4 - 0.0003


# --- refusals ---------------------------------------------------------------


def damaged(text: str, old: str, new: str) -> str:
    """Return the text with one thing changed, after checking that it is there."""
    assert old in text
    return text.replace(old, new, 1)


CSV_DAMAGE: Sequence[tuple[str, str, str]] = (
    ("# units: mm", "# units: furlong", r"line 4: units 'furlong' are not known"),
    ("# units: mm", "# units: inch", r"line 4: the table is in inch, but its step is in mm"),
    ("# units: mm\n", "", r"the head does not say 'units'"),
    ("# job: crank", "# jab: crank", r"line 2: 'jab: crank' is no head line .*did you mean 'job'"),
    ("# job: crank\n", "# job: crank\n# job: crank\n", r"line 3: 'job' is said twice"),
    ("csv 2", "csv 1", r"line 1: 'csv 1' is not 'csv 2' or 'text 2'"),
    ("csv 2", "text 2", r"line 1: the head says 'text'"),
    ("1 of 2", "one", r"line 3: 'one' is not '1 of 2'"),
    ("Z points: 0, 0, 1", "Z points: 0, 0, 2", r"line 11: .* is not a direction of length 1"),
    ("Z points: 0, 0, 1", "Z points: 1, 0, 0", r"line 12: X does not stand square to Z"),
    ("zero at: 30, 20, 10", "zero at: 30, 20", r"line 10: .* is not three numbers"),
    ("X right", "X sideways", r"line 6: .* is not such as 'X right, Y away, Z up'"),
    ("# rows: 6", "# rows: 7", r"promises 7 rows and 6 follow"),
    ("step: 0.005 mm", "step: 7 mm", r"readout step 7 mm must be above 0 and at most 1 mm"),
    ("row,feature", "row,name", r"line 20: the columns are not row,feature"),
    ("22.500", "22.503", r"line 23, x: '22.503' is not a whole number of readout steps of 0.005 mm"),
    ("22.500", "22.50", r"line 23, x: '22.50' is not a coordinate with 3 decimals"),
    ("22.500", "22,500", r"line 23: has 28 cells; 27 are wanted"),
    ("22.500", '"22.500', r"line 23: is not a line of CSV"),
    ("3,hole 1", "7,hole 1", r"row 7 stands where row 3 belongs"),
    ("3,hole 1", "x,hole 1", r"line 23: 'x' is not a row number"),
    ("hole 1,drill,", "hole 1,dril,", r"line 23: action 'dril' is none of .*did you mean 'drill'"),
    ("boring head,,40", "boring hed,,40", r"line 24: tool kind 'boring hed' is none of"),
    ("40.000,40.025", "40.000,", r"line 24: one limit is given without the other"),
    ("40.000,40.025", "40.025,40.000", r"line 24: .*wrong way round"),
    ("6.8,118", "6.8,0", r"line 23: drill point angle 0.0 degrees must lie between"),
    ("3,hole 1", "# 3,hole 1", r"line 23: a head line stands among the rows"),
    (",-y,", ",-w,", r"line 25: way '-w' is none of"),
    (",1350,162,", ",fast,162,", r"line 23, rpm: 'fast' is not"),
    ("box: fixed jaw from -65, 20", "box: fixed jaw from -65", r"line 16: .* is not a name and two corners"),
    ("leaves metal", "leaves \\q metal", r"line 21: .* holds a backslash that begins no known escape"),
    ("\n", "\r\n", r"another program has changed its line ends"),
)


@pytest.mark.parametrize(("old", "new", "message"), CSV_DAMAGE)
def test_a_damaged_csv_is_refused_by_line(old, new, message):
    """Each change is named with its line; none is read as something else."""
    with pytest.raises(EvenstockError, match=message):
        read_table(damaged(WORKED_CSV, old, new))


def test_a_move_without_its_start_is_refused():
    """An edge row whose Y starts nowhere cannot be driven."""
    with pytest.raises(EvenstockError, match=r"line 22: row 2 .* does not start on"):
        read_table(damaged(WORKED_CSV, "36.000,-31.000", "36.000,"))


def test_a_cut_off_table_is_refused():
    """A file that ends in the middle of a line or between rows."""
    with pytest.raises(EvenstockError, match=r"table, line 26: the table is cut off"):
        read_table(WORKED_CSV[:-10])
    with pytest.raises(EvenstockError, match="promises 6 rows and 5 follow"):
        read_table("".join(WORKED_CSV.splitlines(keepends=True)[:-1]))
    for length in range(0, len(WORKED_CSV) - 1, 7):
        with pytest.raises(EvenstockError):
            read_table(WORKED_CSV[:length])


TEXT_DAMAGE: Sequence[tuple[str, str, str]] = (
    ("T3 6.8 mm drill\n", "T9 6.8 mm drill\n", "the head lists no tool 'T9'"),
    ("\nT1 face mill\n", "\n", "no tool stands before this row"),
    ("| drill | 6.8 mm | 6.8 | 118 | - | - | -", "| drill | 6.8 mm", "is not a tool such as"),
    ("X mm", "X in", "'X in' is no heading"),
    ("22.500", "22.503", "not a whole number of readout steps"),
    ("  3  hole 1   drill ", "  3 xhole 1   drill ", "text stands between the columns"),
    ("22.500   38.970", "2.2500   38.970", "is not a coordinate with 3 decimals"),
)


@pytest.mark.parametrize(("old", "new", "message"), TEXT_DAMAGE)
def test_a_damaged_text_table_is_refused(old, new, message):
    """The text form is read as strictly as the CSV."""
    with pytest.raises(EvenstockError, match=message):
        read_table(damaged(setup_text("crank", SETUP, 2, MM), old, new))


def test_a_text_table_without_its_ruler_is_refused():
    """The ruler says where columns stand; without it nothing is guessed."""
    text = setup_text("crank", SETUP, 2, MM)
    ruler = next(line for line in text.split("\n") if line.startswith("---"))

    with pytest.raises(EvenstockError, match="a ruler of dashes belongs under the headings"):
        read_table(damaged(text, ruler + "\n", ""))


@pytest.mark.parametrize("text", ["", "\n", "hello\n", "row,feature\n", "# \n", "\ufeff# evenstock coordinates: csv 2\n"])
def test_what_is_no_table_is_refused(text):
    """An empty file, another file, a file with a byte order mark."""
    with pytest.raises(EvenstockError):
        read_table(text, "other.csv")


def test_columns_are_as_promised():
    """Programs that read the CSV rely on these names in this order (issue 2)."""
    assert COLUMNS[:9] == ("row", "feature", "action", "tool", "x", "y", "z", "x_to", "y_to")
    assert COLUMNS[-1] == "note"
