"""Rows for one hole: spot, drill, bore, counterbore, countersink, ream, tap.

Each row's Z is where the cutter's lowest point goes. A blind hole's drill goes
as deep as the drawn point; where the model shows a flat floor, the drill's tip
stops at the floor and a flat drill finishes it. Lengths mm, in the set-up's
frame. Knows nothing of other holes, of order or of set-ups.
"""

import math
from collections.abc import Iterator
from dataclasses import replace

from geom.model.part import PartHole
from geom.rows.records import Row, Tool
from geom.space import Frame
from geom.tasks.mouth_rows import SeenHole, mouth_rows, point_length, seen_hole
from geom.tasks.practice import LARGEST_DRILL, LEAST_BORE, Practice, drill_tool, first_drill, plain_drill, spot_depth, tidy
from geom.tolerance import SAME_AXIS

_TAP_THROUGH = 5.0
"""Pitches a tap passes the far side, so that its taper clears: a plug tap's is 3 to 5 threads (common practice)."""

_TAP_SHORT = 1.0
"""Pitches a tap stops above the end of a blind hole's full diameter (common practice)."""

_WIDEST_PLUNGE = 25.4
"""Widest centre-cutting end mill taken for granted, mm (common practice)."""


_ROOM_KEPT = 0.5
"""mm a cutter that comes through stays off the next metal below."""

_LITTLE_ROOM = "metal below: it stops short of clearing the far side, finish by hand"


def hole_rows(hole: PartHole, frame: Frame, use: Practice, angle: float | None = None, room: float = math.inf) -> tuple[Row, ...]:
    """Return the rows that make a hole, numbered 0, in working order.

    Args:
        frame: the set-up's; its Z along the hole's axis either way (against it only for a plain through hole).
        angle: the drill's point, degrees, when the job states it for this hole; else the drawn
            point's, else the shop's.
        room: from the far side of a through hole to the next metal of the part, mm; no cutter goes into that.
    """
    seen = seen_hole(hole, frame, angle or hole.point_angle or use.point_angle, room)
    rows = (*_proper(seen, use), *mouth_rows(seen))
    first = next((i for i, row in enumerate(rows) if row.action in ("drill", "bore")), 0)
    return tuple(_told(row, seen) if i == first else row for i, row in enumerate(rows))


def _told(row: Row, seen: SeenHole) -> Row:
    """Return the row with what the hole is for in front of its note."""
    hole = seen.hole
    heard = (_purpose(hole), "through" if hole.through else "", "from its far side" if seen.far_side else "")
    after = f"after {hole.pilot} is through" if hole.pilot else ""
    return replace(row, note="; ".join(filter(None, (*(heard if not hole.pilot else (after,)), row.note))))


def _purpose(hole: PartHole) -> str:
    if hole.callout is not None:
        return hole.callout.text
    return f"fits {hole.suggestions[0]}" if hole.suggestions else ""


# --- the hole proper --------------------------------------------------------


def _proper(seen: SeenHole, use: Practice) -> Iterator[Row]:
    """Yield the rows of the hole proper; none where another hole's rows make it."""
    if seen.hole.pilot is not None:
        return
    if _is_dimple(seen):
        yield _dimple(seen)
    elif _is_recess(seen):
        yield _recess(seen)
    else:
        yield from _main(seen, use)


def _main(seen: SeenHole, use: Practice) -> Iterator[Row]:
    hole, call = seen.hole, seen.hole.callout
    purpose = call.purpose if call else "plain"
    wide = call is None and hole.diameter > LARGEST_DRILL
    if purpose == "bored" or wide or (hole.source == "core" and hole.diameter >= LEAST_BORE):
        yield from _bored(seen, use)
    else:
        drill = call.drill if call else plain_drill(hole.diameter, use.units)
        yield from _drilled(seen, drill_tool(drill, seen.angle), use, finishes=True)
    if call is not None and purpose == "reamed":
        yield _reamed(seen, use)
    if call is not None and call.thread is not None:
        yield _tapped(seen)


def _drilled(seen: SeenHole, tool: Tool, use: Practice, finishes: bool) -> Iterator[Row]:
    """Yield spot, drill and, for a flat floor that nothing else finishes, the flat drill."""
    hole = seen.hole
    depth = _drill_depth(seen, tool, use)
    solid = hole.source == "solid"
    if solid:
        yield seen.row("spot", use.spot, min(spot_depth(tool.diameter, use.spot), 0.5 * depth))
    ball = not hole.through and hole.tip_depth is not None and hole.point_angle is None
    said = ("drawn with a ball end; a drill's point lies inside it" if ball else "", "" if solid else "follow the cored hole")
    note = "; ".join(filter(None, (*said, _cramped(seen, use.break_through + tool.point_length))))
    yield seen.row("drill", tool, depth, note, None if tool.point_angle is None else depth - tool.point_length)
    if seen.flat and finishes and tool.point_angle is not None:
        yield seen.row("flatten", Tool("flat drill", tool.label, tool.diameter), _end(seen, use), "drawn with a flat floor")


def _drill_depth(seen: SeenHole, tool: Tool, use: Practice) -> float:
    """Return how far below the mouth the tip goes."""
    hole = seen.hole
    if seen.flat:
        return _end(seen, use)
    if hole.through:
        return hole.length + _past(seen, use.break_through + tool.point_length)
    return _end(seen, use) + point_length(hole.diameter, seen.angle)


def _end(seen: SeenHole, use: Practice) -> float:
    """Return how far below the mouth a flat cutter goes."""
    hole = seen.hole
    return hole.length + _past(seen, use.break_through) if hole.through or hole.depth is None else hole.depth


def _past(seen: SeenHole, wanted: float) -> float:
    """Return how far a cutter passes the far side: as wanted, or as far as there is room."""
    return min(wanted, max(seen.room - _ROOM_KEPT, 0.0))


def _cramped(seen: SeenHole, wanted: float) -> str:
    return _LITTLE_ROOM if seen.hole.through and _past(seen, wanted) < wanted else ""


def _bored(seen: SeenHole, use: Practice) -> Iterator[Row]:
    hole, call = seen.hole, seen.hole.callout
    reamed = call is not None and call.purpose == "reamed"
    size = call.drill.diameter if call and reamed else call.diameter if call and call.purpose == "bored" else hole.diameter
    if hole.source == "solid":
        drill = call.drill if call and call.purpose == "bored" else first_drill(size, use.units)
        yield from _drilled(seen, drill_tool(drill, seen.angle), use, finishes=False)
    row = seen.row("bore", Tool("boring head", "", tidy(size)), _end(seen, use), _cramped(seen, use.break_through))
    yield replace(row, limits=None if reamed or call is None else call.limits)


def _reamed(seen: SeenHole, use: Practice) -> Row:
    call = seen.hole.callout
    assert call is not None
    name = call.text.removeprefix("reamed ")
    free = _cramped(seen, use.break_through) or "run its lead clear of the far side"
    note = free if seen.hole.through else "stop before its lead meets the floor"
    return replace(seen.row("ream", Tool("reamer", name, tidy(call.diameter)), _end(seen, use), note), limits=call.limits)


def _tapped(seen: SeenHole) -> Row:
    hole, call = seen.hole, seen.hole.callout
    assert call is not None
    assert call.thread is not None
    thread = call.thread
    if hole.through or hole.depth is None:
        wanted = _TAP_THROUGH * thread.pitch
        depth, note = hole.length + _past(seen, wanted), _cramped(seen, wanted) or "run its taper clear of the far side"
    else:
        depth, note = max(hole.depth - _TAP_SHORT * thread.pitch, 0.5 * hole.depth), "stop one turn short of the drilled depth"
    return seen.row("tap", Tool("tap", thread.designation, tidy(thread.major)), depth, note)


# --- shallow ones -----------------------------------------------------------


def _is_dimple(seen: SeenHole) -> bool:
    """Tell whether a hole is a drill's point and no more."""
    hole = seen.hole
    return not hole.through and hole.tip_depth is not None and hole.point_angle is not None and (hole.depth or 0.0) <= SAME_AXIS


def _dimple(seen: SeenHole) -> Row:
    tool = Tool("countersink", "", tidy(seen.hole.diameter), seen.hole.point_angle)
    return seen.row("countersink", tool, tool.point_length, "a dimple: go by the diameter at the mouth", 0.0)


def _is_recess(seen: SeenHole) -> bool:
    """Tell whether a flat-floored hole is too shallow for a drill's point to centre anything."""
    hole = seen.hole
    plain = seen.flat and hole.source == "solid" and hole.callout is None
    return plain and (hole.depth or 0.0) <= point_length(min(hole.diameter, LARGEST_DRILL), seen.angle)


def _recess(seen: SeenHole) -> Row:
    hole = seen.hole
    plunge = hole.diameter <= _WIDEST_PLUNGE
    tool = Tool("end mill" if plunge else "boring head", "", tidy(hole.diameter))
    note = "flat recess: plunge with a centre-cutting end mill" if plunge else "flat recess: rough it with an end mill, then bore"
    return seen.row("counterbore", tool, hole.depth or 0.0, note)
