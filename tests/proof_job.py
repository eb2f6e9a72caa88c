"""A part whose tables are written by hand: two set-ups, every kind of row, all figures worked on paper.

A block 80 x 60 x 30 from the origin; the casting keeps 3 mm on top, bottom and
right, the other sides are its skin. Cored bore 30 H7 (core 25) at (20, 30); M8
16 deep at (50, 15); reamed 10 H7 at (50, 45); 9 through with a 15 seat 9 deep
at (65, 45); 6.6 through, countersunk 90 degrees to 12.6, at (65, 15).
Zero on the bore's axis, Z 0 on top.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Literal, TypeAlias

from export.number import Figures, figures
from export.reports.proof_tables import proof_table
from export.tables.head import Signs
from export.tables.write import AS_IS, read_table, setup_csv
from geom.datum.zero import Zero
from geom.kernel.cut import box, cut, cylinder, drill, turned
from geom.kernel.shape import solid_from_shape
from geom.model.part import Part
from geom.proof.sweep import Table
from geom.recognise.part import recognise
from geom.rows.records import Box, Row, Setup, Tool
from geom.space import Frame, Vec3
from geom.standards.callout import parse_callout

UP: Vec3 = (0.0, 0.0, 1.0)
DOWN: Vec3 = (0.0, 0.0, -1.0)
ZERO: Vec3 = (20.0, 30.0, 30.0)

FACE_MILL = Tool("face mill", "50 mm", 50.0, flute_length=6.0, reach=45.0)
END_MILL = Tool("end mill", "16 mm", 16.0, flute_length=40.0, reach=60.0)
SPOT = Tool("spotting drill", "10 mm", 10.0, 90.0, flute_length=20.0, reach=60.0)
BORE = Tool("boring head", "", 30.0, reach=60.0)
REAMER = Tool("reamer", "10 H7", 10.0, flute_length=50.0, reach=90.0)
SEAT = Tool("counterbore", "15 mm", 15.0, flute_length=20.0, reach=60.0, pilot=9.0)
SINK = Tool("countersink", "", 12.6, 90.0, reach=60.0)
TAP = Tool("tap", "M8", 8.0, flute_length=25.0, reach=60.0)

FINDER = Tool("edge finder", "10 mm", 10.0, reach=30.0)
GAUGE = Tool("height gauge", "", 0.0)
INDICATOR = Tool("indicator", "", 0.0, reach=60.0)

Which: TypeAlias = Literal["all", "faces", "holes"]
MILLED = ("face", "edge", "slot")
"""Rows that the part without holes keeps; the part that is holes only keeps the others."""

POINT = 0.5 / math.tan(math.radians(59.0))


def twist(size: float) -> Tool:
    """Return a jobber drill."""
    return Tool("drill", f"{size:g} mm", size, 118.0, flute_length=60.0, reach=90.0)


@cache
def part(which: Which = "all") -> Part:
    """Return the part with its callouts; without its holes, or in a casting that is at size but for them."""
    holes = [
        cylinder((20.0, 30.0, -1.0), UP, 15.0, 32.0),
        drill((50.0, 15.0, 30.0), UP, 6.8, 16.0, 118.0, 1.0),
        cylinder((50.0, 45.0, -1.0), UP, 5.0, 32.0),
        turned([(0.0, 1.0), (0.0, -31.0), (4.5, -31.0), (4.5, -9.0), (7.5, -9.0), (7.5, 1.0)], (65.0, 45.0, 30.0), UP),
        turned([(0.0, 1.0), (0.0, -31.0), (3.3, -31.0), (3.3, -3.0), (7.3, 1.0)], (65.0, 15.0, 30.0), UP),
    ]
    low, high = ((0.0, 0.0, 0.0), (80.0, 60.0, 30.0)) if which == "holes" else ((0.0, 0.0, -3.0), (83.0, 60.0, 33.0))
    casting = cut(box(low, high), cylinder((20.0, 30.0, -4.0), UP, 12.5, 40.0))
    right, above = box((80.0, -1.0, -4.0), (90.0, 61.0, 40.0)), box((-1.0, -1.0, 30.0), (90.0, 61.0, 40.0))
    made = () if which == "faces" else holes
    finished = cut(casting, right, above, box((-1.0, -1.0, -9.0), (90.0, 61.0, 0.0)), *made)
    found = recognise("block", "grey iron", solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting"))
    return _called(found) if which != "faces" else found


def _called(found: Part) -> Part:
    texts = {30.0: "bored 30 H7", 6.8: "tapped M8", 10.0: "reamed 10 H7", 9.0: "9 mm", 6.6: "6.6 mm"}
    named = {30.0: "bore", 6.8: "thread", 10.0: "dowel", 9.0: "screw", 6.6: "sunk"}
    old = {hole.name: named[round(hole.diameter, 3)] for hole in found.holes}
    made = tuple(
        replace(h, name=old[h.name], callout=parse_callout(texts[round(h.diameter, 3)], "mm", "test")) for h in found.holes
    )
    faces = tuple(replace(f, hole=old.get(f.hole or "", f.hole)) for f in found.faces)
    return replace(found, holes=made, faces=faces)


def only(made: Sequence[Setup], which: Which) -> tuple[tuple[Setup, ...], dict[tuple[int, int], tuple[int, int]]]:
    """Return the set-ups with the rows that a smaller part asks for, counted anew, and where each row now stands."""
    kept = {one.number: [row for row in one.rows if which == "all" or (row.action in MILLED) == (which == "faces")] for one in made}
    where = {(n, row.number): (n, i) for n, rows in kept.items() for i, row in enumerate(rows, 1)}
    return tuple(replace(one, rows=numbered(kept[one.number])) for one in made), where


def _lanes(feature: str, heights: Sequence[float]) -> list[Row]:
    return [
        Row(0, feature, "face", FACE_MILL, -50.0, y, z, x_to=93.0, note=f"pass {i} of {len(heights)}")
        for i, z in enumerate(heights, 1)
        for y in (-15.0, 15.0)
    ]


def _first() -> list[Row]:
    return [
        *_lanes("top", (1.0, 0.0)),
        Row(0, "right", "edge", END_MILL, 68.5, 43.0, -34.0, y_to=-43.0, leave=0.5),
        Row(0, "right", "edge", END_MILL, 68.0, 43.0, -34.0, y_to=-43.0),
        Row(0, "thread", "spot", SPOT, 30.0, -15.0, -3.0),
        Row(0, "dowel", "spot", SPOT, 30.0, 15.0, -4.0),
        Row(0, "screw", "spot", SPOT, 45.0, 15.0, -4.0),
        Row(0, "sunk", "spot", SPOT, 45.0, -15.0, -3.0),
        Row(0, "sunk", "drill", twist(6.6), 45.0, -15.0, -34.0 - 6.6 * POINT, z_full=-34.0),
        Row(0, "thread", "drill", twist(6.8), 30.0, -15.0, -16.0 - 6.8 * POINT, z_full=-16.0),
        Row(0, "screw", "drill", twist(9.0), 45.0, 15.0, -34.0 - 9.0 * POINT, z_full=-34.0),
        Row(0, "dowel", "drill", twist(9.8), 30.0, 15.0, -34.0 - 9.8 * POINT, z_full=-34.0),
        Row(0, "bore", "bore", BORE, 0.0, 0.0, -34.0, limits=(30.0, 30.021)),
        Row(0, "screw", "counterbore", SEAT, 45.0, 15.0, -9.0),
        Row(0, "sunk", "countersink", SINK, 45.0, -15.0, -6.3, z_full=0.0),
        Row(0, "dowel", "ream", REAMER, 30.0, 15.0, -34.0, limits=(10.0, 10.015)),
        Row(0, "thread", "tap", TAP, 30.0, -15.0, -14.75),
    ]


def _vise(seat: float) -> tuple[Box, ...]:
    return (
        Box("fixed jaw", (-40.0, 30.0, seat - 21.0), (55.0, 70.0, seat + 13.0)),
        Box("movable jaw", (-40.0, -70.0, seat - 21.0), (55.0, -30.0, seat + 13.0)),
        Box("bed", (-40.0, -70.0, seat - 40.0), (55.0, 70.0, seat - 16.0)),
        Box("front parallel", (-15.0, -28.0, seat - 16.0), (50.0, -21.0, seat)),
        Box("back parallel", (-15.0, 21.0, seat - 16.0), (50.0, 28.0, seat)),
    )


def numbered(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Return the rows counted from 1."""
    return tuple(replace(row, number=i) for i, row in enumerate(rows, 1))


def setups() -> tuple[Setup, ...]:
    """Return both set-ups."""
    first = Frame(ZERO, (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), UP)
    second = Frame(ZERO, (1.0, 0.0, 0.0), (0.0, -1.0, 0.0), DOWN)
    zero = Zero(first, "axis of bore, Z 0 on top", "job", "by hand", ("bore", "top"))
    over = _lanes("bottom", (31.0, 30.0))
    return (
        Setup(1, UP, first, zero, numbered(_first()), boxes=_vise(-33.0)),
        Setup(2, DOWN, second, replace(zero, frame=second), numbered(over), boxes=_vise(0.0)),
    )


def looked() -> tuple[Setup, ...]:
    """Return the set-ups with touches before their cuts and sizes to measure after them.

    Worked on paper: the skin stands at X -20, Y -30 and 30, Z 3, and X 63 where the right side will be; the core is 12.5
    in radius; a finder of 10 keeps its axis 5 off. Turned over, Y is the other way, Z 0 is the seat, right is at X 60.
    """

    def touch(feature: str, x: float, y: float, z: float, towards: str, action: str = "pick up", tool: Tool = FINDER) -> Row:
        spread = 1.0 if action == "check" else None
        return Row(0, feature, action, tool, x, y, z, towards=towards, spread=spread)  # type: ignore[arg-type]

    first, second = setups()
    before = [
        touch("bore", -7.5, 0.0, -10.0, "-x"),
        touch("bore", 7.5, 0.0, -10.0, "+x"),
        touch("bore", 0.0, -7.5, -10.0, "-y"),
        touch("bore", 0.0, 7.5, -10.0, "+y"),
        touch("top", 40.0, 0.0, 3.0, "-z", tool=GAUGE),
        touch("left", -25.0, 10.0, -10.0, "+x", "check"),
        touch("front", 50.0, -35.0, -10.0, "+y", "check"),
        touch("right", 68.0, 10.0, -10.0, "-x", "check"),
    ]
    turned_over = [
        Row(0, "bore", "pick up", INDICATOR, 0.0, 0.0, 20.0),
        Row(0, "top", "pick up", GAUGE, None, None, -16.0, towards="-z", note="touch the bed of the vise"),
        touch("right", 65.0, 0.0, 20.0, "-x"),
    ]

    def size(feature: str, kind: str, nominal: float | None, note: str, limits: tuple[float, float] | None = None) -> Row:
        tool = Tool(kind, "M8" if kind == "thread gauge" else "", 0.0)  # type: ignore[arg-type]
        return Row(0, feature, "measure", tool, None, None, None, nominal=nominal, note=note, limits=limits)

    after = [
        size("right", "caliper", 60.0, "from the zero"),
        size("bore", "micrometer", 30.0, "bore, at both ends and crosswise", (30.0, 30.021)),
        size("dowel", "plug gauge", 10.0, "diameter", (10.0, 10.015)),
        size("dowel", "caliper", math.hypot(30.0, 15.0), "from the zero to its axis"),
        size("thread", "thread gauge", None, "to the depth of thread wanted"),
    ]
    last = [size("bottom", "height gauge", 30.0, "over the seat (top)")]
    return (
        replace(first, rows=numbered([*before, *first.rows, *after])),
        replace(second, rows=numbered([*turned_over, *second.rows, *last])),
    )


def printed(made: Sequence[Setup], style: Figures | None = None, signs: Signs = AS_IS) -> list[str]:
    """Return the CSV text of each set-up."""
    return [setup_csv("block", one, len(made), style or figures("mm"), signs) for one in made]


def read_back(texts: Sequence[str]) -> list[Table]:
    """Return the tables as the proof gets them."""
    return [proof_table(read_table(text, f"table {i}")) for i, text in enumerate(texts, 1)]
