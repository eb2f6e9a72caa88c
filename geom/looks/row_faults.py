"""What is wrong with a set-up's rows: the same place twice, out of travel, a cutter or its holder in steel or in the work.

A simple look, not the proof: the cutter is a cylinder (a cone below, where it
has a point) swept along its row, its holder a wider one above its reach; steel
is the set-up's boxes, the work its finished part. Lengths mm, set-up frame.
Knows nothing of how rows are made.
"""

import math
from collections.abc import Iterator, Sequence
from typing import Final, TypeAlias

import numpy as np

from geom.looks.contact import Standing
from geom.looks.holder import CLEAR, HOLDER_RADIUS, table_height
from geom.model.part import Part
from geom.rays.analytic import Floats
from geom.rows.records import CUTTING, Box, Row, Setup, Tool, Words
from geom.settings.records import Settings
from geom.tasks.reach import apart

_SAME: Final = 1e-4
"""mm: places closer than this are one."""

_TOUCH: Final = 0.05
"""mm of overlap that is contact, not a fault."""

_INNER: Final = 0.97
"""Share of a cutter's radius that is looked at: its own finished wall stands at 1."""

_RING: Final = 12
_ALONG: Final = 24
"""Places looked at along a row at most."""


def faults_of(setup: Setup, part: Part, settings: Settings) -> tuple[Words, ...]:
    """Return every fault as a sentence that names its row; none when the rows can be followed.

    A holder is taken for `holder.HOLDER_RADIUS` wide where the tool's reach is known.
    """
    standing = Standing(part, setup.frame)
    cutting = [row for row in setup.rows if row.action in CUTTING]
    return (*_unfound(setup), *steel_faults(setup, standing, settings), *_into_work(cutting, standing))


def steel_faults(setup: Setup, standing: Standing, settings: Settings) -> tuple[Words, ...]:
    """Return the faults that show without a look at the finished part: places, travel, steel."""
    cutting = [row for row in setup.rows if row.action in CUTTING]
    against = (words for row, box, away in _close(cutting, setup.boxes) for words in _against_box(row, box, away))
    return (*_twice(setup), *_travel(setup, standing, settings), *against)


def _name(row: Row) -> str:
    """Return what a row is called; one without a number is of a plan that nobody will see."""
    what = f"{row.action} {row.feature}"
    return f"row {row.number} ({what})" if row.number else what


def _tool(tool: Tool) -> Words:
    return (f"the {tool.label} {tool.kind}",) if tool.label else ("the ", tool.diameter, f" {tool.kind}")


# --- places ---------------------------------------------------------------------------


def _unfound(setup: Setup) -> Iterator[Words]:
    for row in setup.rows:
        if row.action == "pick up" and not row.driven:
            yield (f"{_name(row)}: {row.note}",)


def _twice(setup: Setup) -> Iterator[Words]:
    seen: dict[tuple[object, ...], Row] = {}
    for row in setup.rows:
        if row.action in ("measure", "break edges") or (row.x is None and row.y is None):
            continue
        where = tuple(None if v is None else round(v / _SAME) for v in (row.x, row.y, row.z, row.x_to, row.y_to))
        first = seen.setdefault((row.tool, row.towards, where), row)
        if first is not row:
            yield (
                f"{_name(row)} drives ",
                *_tool(row.tool),
                f" where {_name(first)} has been: one of them is wrong",
            )


# --- travel -----------------------------------------------------------------------------


def _travel(setup: Setup, standing: Standing, settings: Settings) -> Iterator[Words]:
    mill = settings.tooling.mill
    for axis, travel, ends in (("X", mill.travel[0], ("x", "x_to")), ("Y", mill.travel[1], ("y", "y_to"))):
        at = [(getattr(row, end), row) for row in setup.rows for end in ends if getattr(row, end) is not None]
        if at:
            (low, first), (high, last) = min(at, key=lambda v: v[0]), max(at, key=lambda v: v[0])
            if high - low > travel:
                yield (
                    f"{axis}: {_name(first)} and {_name(last)} lie ", high - low, " apart; the mill travels ", travel,
                    ", short by ", high - low - travel,
                )  # fmt: skip
    yield from _up_and_down(setup, standing, settings)


def _up_and_down(setup: Setup, standing: Standing, settings: Settings) -> Iterator[Words]:
    """Yield where the spindle would have to come nearer to the table, or go further from it, than it can."""
    mill, rows = settings.tooling.mill, [r for r in setup.rows if r.z is not None and r.tool.reach > 0.0]
    table = table_height(setup.boxes)
    if not rows or table is None:
        return
    least, most = mill.spindle_to_table
    noses = [(r.z + r.tool.reach, r) for r in rows if r.z is not None]
    low, row = min(noses, key=lambda v: v[0])
    if low - table < least:
        yield (
            f"{_name(row)}: the spindle comes to ", low - table, " above the table; it reaches down to ", least, ", short by ",
            least - (low - table), ": a longer tool, or higher packing",
        )  # fmt: skip
    top = max(standing.box[1][2], *(r.z for _, r in noses if r.z is not None)) + CLEAR
    reach, row = max(((r.tool.reach, r) for r in rows), key=lambda v: v[0])
    if top + reach - table > most:
        yield (
            f"{_name(row)}: ", *_tool(row.tool), " does not clear the work: that takes ", top + reach - table,
            " from spindle to table; there are ", most, ", short by ", top + reach - table - most,
        )  # fmt: skip
    span = max(top + reach, max(n for n, _ in noses)) - low
    if span > mill.travel[2] + mill.quill:
        yield (
            "Z: the spindle moves ", span, " between its lowest row and clear of the work; knee and quill together have ",
            mill.travel[2] + mill.quill,
        )  # fmt: skip


# --- steel ----------------------------------------------------------------------------------


def meeting(rows: Sequence[Row], boxes: Sequence[Box]) -> bool:
    """Tell whether any row's tool or its holder runs into a box."""
    return any(next(_against_box(row, box, away), None) is not None for row, box, away in _close(rows, boxes))


def _close(rows: Sequence[Row], boxes: Sequence[Box]) -> list[tuple[Row, Box, float]]:
    """Return the rows and boxes of which, seen from above, one's line comes within reach of the other's cutter or holder, and how
    near."""
    driven = [row for row in rows if row.z is not None and row.x is not None and row.y is not None]
    if not driven or not boxes:
        return []
    starts = np.array([(row.x, row.y) for row in driven])
    ends = np.array([(row.x if row.x_to is None else row.x_to, row.y if row.y_to is None else row.y_to) for row in driven])
    reach = np.array([max(0.5 * row.tool.diameter, HOLDER_RADIUS) for row in driven])
    away = apart(np.stack([starts, ends], axis=1), np.array([(box.low[:2], box.high[:2]) for box in boxes]))
    return [(driven[i], boxes[j], float(away[i, j])) for i, j in np.argwhere(away <= reach[:, None]).tolist()]


def _against_box(row: Row, box: Box, away: float) -> Iterator[Words]:
    """Yield where a cutter or its holder, whose line comes so near, runs into a box."""
    assert row.z is not None
    for what, radius, bottom in (
        (_tool(row.tool), 0.5 * row.tool.diameter, row.z),
        (("the holder of ", *_tool(row.tool)), HOLDER_RADIUS, row.z + row.tool.reach),
    ):
        if what[0] == "the holder of " and not row.tool.reach:
            continue
        aside, deep = radius - away, box.high[2] - bottom
        if aside > _TOUCH and deep > _TOUCH:
            yield (f"{_name(row)}: ", *what, f" meets the {box.name} by ", min(aside, deep))


# --- the work ----------------------------------------------------------------------------------


_Line: TypeAlias = tuple[float | None, ...]
"""Where a row goes seen from above, and the radius that is looked at: passes one below the other share it."""


def _into_work(rows: Sequence[Row], standing: Standing) -> Iterator[Words]:
    """Yield where a cutter would cut into the finished part, or its holder would stand in it."""
    tops = _tops(rows, standing)
    for row in rows:
        for holder, told in ((False, " cuts into the finished part by "), (True, " meets the work by ")):
            looks = [(radius, bottom) for held, radius, bottom in _looks(row) if held == holder]
            deep = max((tops[_line(row, radius)] - bottom for radius, bottom in looks), default=-math.inf)
            if deep > _TOUCH:
                yield (f"{_name(row)}: {'the holder of ' if holder else ''}", *_tool(row.tool), told, deep)


def _looks(row: Row) -> Iterator[tuple[bool, float, float]]:
    """Yield what must clear the finished part: whether it is the holder, a radius, and the Z of its lower end there.

    A pointed tool ends in a cone.
    """
    if row.z is None or row.x is None or row.y is None:
        return
    if row.tool.diameter > 0.0 and row.action != "tap":
        angle = row.tool.point_angle
        for share in (0.0, 0.5, 1.0):
            radius = _INNER * share * 0.5 * row.tool.diameter
            yield False, radius, row.z + (0.0 if angle is None else radius / math.tan(math.radians(0.5 * angle)))
    if row.tool.reach > 0.0:
        for radius in (0.0, 0.5 * HOLDER_RADIUS, HOLDER_RADIUS):
            yield True, radius, row.z + row.tool.reach


def _line(row: Row, radius: float) -> _Line:
    return row.x, row.y, row.x_to, row.y_to, row.tool.diameter, radius


def _tops(rows: Sequence[Row], standing: Standing) -> dict[_Line, float]:
    """Return the height of the highest finished metal that each line's circles pass over."""
    turn = 2.0 * math.pi * np.arange(_RING) / _RING
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    spots: dict[_Line, Floats] = {}
    for row in rows:
        for _, radius, _ in _looks(row):
            key = _line(row, radius)
            if key not in spots:
                along = _along(row)
                spots[key] = (along[:, None, :] + radius * ring[None]).reshape(-1, 2) if radius else along
    if not spots:
        return {}
    first = np.cumsum([0, *(len(some) for some in spots.values())])[:-1]
    highest = np.maximum.reduceat(standing.tops(np.concatenate(list(spots.values())), machined=True), first)
    return dict(zip(spots, highest.tolist(), strict=True))


def _along(row: Row) -> Floats:
    """Return places along a row, its ends among them, (n, 2)."""
    start = np.array([row.x or 0.0, row.y or 0.0])
    end = np.array([start[0] if row.x_to is None else row.x_to, start[1] if row.y_to is None else row.y_to])
    length = float(np.linalg.norm(end - start))
    count = 1 if length == 0.0 else min(_ALONG, 2 + int(length / max(0.25 * row.tool.diameter, 1.0)))
    return np.asarray(start + np.linspace(0.0, 1.0, count)[:, None] * (end - start))
