"""Rows for one hole: spot, drill, bore, counterbore, countersink, ream, tap.

Each row's Z is where the cutter's lowest point goes. A blind hole's drill goes
as deep as the drawn point; where the model shows a flat floor, the drill's tip
stops at the floor and a flat drill finishes it. Lengths mm, in the set-up's
frame. Knows nothing of other holes, of order or of set-ups.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from geom.part import HoleStep, PartHole
from geom.practice import (
    LARGEST_COUNTERBORE,
    LARGEST_DRILL,
    LEAST_BORE,
    Practice,
    drill_tool,
    first_drill,
    plain_drill,
    spot_depth,
    tidy,
)
from geom.rows import Row, Tool
from geom.space import Frame, Vec3, add, dot, scale
from geom.tolerance import SAME_AXIS

_TAP_THROUGH = 5.0
"""Pitches a tap passes the far side, so that its taper clears: a plug tap's is 3 to 5 threads (common practice)."""

_TAP_SHORT = 1.0
"""Pitches a tap stops above the end of a blind hole's full diameter (common practice)."""

_WIDEST_PLUNGE = 25.4
"""Widest centre-cutting end mill taken for granted, mm (common practice)."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """A hole from the side it is worked from: its mouth in the set-up frame and its drill's point angle."""

    hole: PartHole
    x: float
    y: float
    z: float
    far_side: bool
    angle: float

    @property
    def flat(self) -> bool:
        """The floor is drawn flat."""
        return not self.hole.through and self.hole.tip_depth is None

    def row(self, action: str, tool: Tool, depth: float, note: str = "", full: float | None = None) -> Row:
        z_full = None if full is None else self.z - full
        return Row(0, self.hole.name, action, tool, self.x, self.y, self.z - depth, z_full=z_full, note=note)  # type: ignore[arg-type]


def hole_rows(hole: PartHole, frame: Frame, use: Practice, angle: float | None = None) -> tuple[Row, ...]:
    """Return the rows that make a hole, numbered 0, in working order.

    Args:
        frame: the set-up's; its Z along the hole's axis either way (against it only for a plain through hole).
        angle: the drill's point, degrees, when the job states it for this hole; else the drawn
            point's, else the shop's.
    """
    seen = _seen(hole, frame, use, angle)
    if _is_recess(seen):
        return (_recess(seen),)
    rows = (*_main(seen, use), *_mouth(seen))
    heard = (_purpose(hole), "through" if hole.through else "", "from its far side" if seen.far_side else "")
    first = next(i for i, row in enumerate(rows) if row.action in ("drill", "bore"))
    told = replace(rows[first], note="; ".join(filter(None, (*heard, rows[first].note))))
    return (*rows[:first], told, *rows[first + 1 :])


def mouth(hole: PartHole, far_side: bool) -> Vec3:
    """Return where a hole opens towards the spindle: at its own opening, or at the far end of a through hole; part frame."""
    return add(hole.centre, scale(hole.axis, -hole.length)) if far_side else hole.centre


def widens_inside(hole: PartHole) -> bool:
    """Tell whether a hole is wider somewhere below a narrower length: no cutter makes that from its mouth."""
    ends = [d for step in hole.steps for d in (step.start_diameter, step.end_diameter)]
    return any(b > a + SAME_AXIS for a, b in pairwise(ends))


def _seen(hole: PartHole, frame: Frame, use: Practice, angle: float | None) -> _Seen:
    far = dot(hole.axis, frame.z) < 0
    return _Seen(hole, *frame.local(mouth(hole, far)), far, angle or hole.point_angle or use.point_angle)


def _purpose(hole: PartHole) -> str:
    if hole.callout is not None:
        return hole.callout.text
    return f"fits {hole.suggestions[0]}" if hole.suggestions else ""


# --- the hole proper --------------------------------------------------------


def _main(seen: _Seen, use: Practice) -> Iterator[Row]:
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


def _drilled(seen: _Seen, tool: Tool, use: Practice, finishes: bool) -> Iterator[Row]:
    """Yield spot, drill and, for a flat floor that nothing else finishes, the flat drill."""
    hole = seen.hole
    depth = _drill_depth(seen, tool, use)
    solid = hole.source == "solid"
    if solid:
        yield seen.row("spot", use.spot, min(spot_depth(tool.diameter, use.spot), 0.5 * depth))
    note = "" if solid else "follow the cored hole"
    yield seen.row("drill", tool, depth, note, None if tool.point_angle is None else depth - tool.point_length)
    if seen.flat and finishes and tool.point_angle is not None:
        yield seen.row("flatten", Tool("flat drill", tool.name, tool.diameter), _end(seen, use), "drawn with a flat floor")


def _drill_depth(seen: _Seen, tool: Tool, use: Practice) -> float:
    """Return how far below the mouth the tip goes."""
    hole = seen.hole
    if seen.flat:
        return _end(seen, use)
    if hole.through:
        return _end(seen, use) + tool.point_length
    return _end(seen, use) + _point(hole.diameter, seen.angle)


def _end(seen: _Seen, use: Practice) -> float:
    """Return how far below the mouth a flat cutter goes."""
    hole = seen.hole
    return hole.length + use.break_through if hole.through or hole.depth is None else hole.depth


def _point(diameter: float, angle: float) -> float:
    return 0.5 * diameter / math.tan(math.radians(angle / 2.0)) if angle < 180.0 else 0.0


def _bored(seen: _Seen, use: Practice) -> Iterator[Row]:
    hole, call = seen.hole, seen.hole.callout
    reamed = call is not None and call.purpose == "reamed"
    size = call.drill.diameter if call and reamed else call.diameter if call and call.purpose == "bored" else hole.diameter
    if hole.source == "solid":
        drill = call.drill if call and call.purpose == "bored" else first_drill(size, use.units)
        yield from _drilled(seen, drill_tool(drill, seen.angle), use, finishes=False)
    row = seen.row("bore", Tool("boring head", "", tidy(size)), _end(seen, use))
    yield replace(row, limits=None if reamed or call is None else call.limits)


def _reamed(seen: _Seen, use: Practice) -> Row:
    call = seen.hole.callout
    assert call is not None
    name = call.text.removeprefix("reamed ")
    note = "run its lead clear of the far side" if seen.hole.through else "stop before its lead meets the floor"
    return replace(seen.row("ream", Tool("reamer", name, tidy(call.diameter)), _end(seen, use), note), limits=call.limits)


def _tapped(seen: _Seen) -> Row:
    hole, call = seen.hole, seen.hole.callout
    assert call is not None
    assert call.thread is not None
    thread = call.thread
    if hole.through or hole.depth is None:
        depth, note = hole.length + _TAP_THROUGH * thread.pitch, "run its taper clear of the far side"
    else:
        depth, note = max(hole.depth - _TAP_SHORT * thread.pitch, 0.5 * hole.depth), "stop one turn short of the drilled depth"
    return seen.row("tap", Tool("tap", thread.designation, tidy(thread.major)), depth, note)


# --- a shallow flat recess --------------------------------------------------


def _is_recess(seen: _Seen) -> bool:
    """Tell whether a flat-floored hole is too shallow for a drill's point to centre anything."""
    hole = seen.hole
    return seen.flat and hole.source == "solid" and hole.callout is None and hole.depth is not None and _too_shallow(hole, seen)


def _too_shallow(hole: PartHole, seen: _Seen) -> bool:
    return (hole.depth or 0.0) <= _point(min(hole.diameter, LARGEST_DRILL), seen.angle)


def _recess(seen: _Seen) -> Row:
    hole = seen.hole
    plunge = hole.diameter <= _WIDEST_PLUNGE
    tool = Tool("end mill" if plunge else "boring head", "", tidy(hole.diameter))
    note = "flat recess: plunge with a centre-cutting end mill" if plunge else "flat recess: rough it with an end mill, then bore"
    return seen.row("counterbore", tool, hole.depth or 0.0, note)


# --- its mouth --------------------------------------------------------------


def _mouth(seen: _Seen) -> Iterator[Row]:
    """Yield a row for every length wider than the hole proper."""
    steps = seen.hole.steps or tuple(_steps(seen.hole))
    for i, step in enumerate(steps):
        below = steps[i + 1] if i + 1 < len(steps) else None
        if not _is_wider(step, seen.hole):
            continue
        if _is_cone(step):
            above = steps[i - 1] if i else None
            if above is None or _is_cone(above) or above.end_diameter > step.start_diameter + SAME_AXIS:
                yield _sunk(seen, step)
        elif below is not None and _is_cone(below) and abs(below.start_diameter - step.end_diameter) <= SAME_AXIS:
            yield _step_drilled(seen, step, below)
        else:
            yield _counterbored(seen, step)


def _steps(hole: PartHole) -> Iterator[HoleStep]:
    """Yield the mouth's lengths from the counterbore and countersink alone."""
    start = 0.0
    if hole.counterbore is not None:
        start = hole.counterbore.depth
        yield HoleStep(0.0, start, hole.counterbore.diameter, hole.counterbore.diameter)
    if hole.countersink is not None:
        deep = _point(hole.countersink.diameter, hole.countersink.angle) - _point(hole.diameter, hole.countersink.angle)
        yield HoleStep(start, start + deep, hole.countersink.diameter, hole.diameter)


def _is_cone(step: HoleStep) -> bool:
    return abs(step.start_diameter - step.end_diameter) > SAME_AXIS


def _is_wider(step: HoleStep, hole: PartHole) -> bool:
    """Tell a mouth from the hole proper and from the drill point below it."""
    return step.start_diameter > hole.diameter + SAME_AXIS and step.end_diameter > hole.diameter - SAME_AXIS


def _cone_angle(step: HoleStep) -> float:
    """Return the included angle of a cone that narrows inwards, degrees."""
    return 2.0 * math.degrees(math.atan2(0.5 * (step.start_diameter - step.end_diameter), step.end - step.start))


def _sunk(seen: _Seen, step: HoleStep) -> Row:
    tool = Tool("countersink", "", tidy(step.start_diameter), round(_cone_angle(step), 6))
    note = "Z as if sharp: go by the diameter at the mouth"
    return seen.row("countersink", tool, step.start + tool.point_length, note, step.start)


def _step_drilled(seen: _Seen, step: HoleStep, cone: HoleStep) -> Row:
    tool = Tool("drill", "", tidy(step.end_diameter), round(_cone_angle(cone), 6))
    return seen.row("drill", tool, step.end + tool.point_length, "widens the mouth", step.end)


def _counterbored(seen: _Seen, step: HoleStep) -> Row:
    wide = step.end_diameter > LARGEST_COUNTERBORE
    tool = Tool("boring head" if wide else "counterbore", "", tidy(step.end_diameter))
    return seen.row("counterbore", tool, step.end, "bore it: too wide for a piloted counterbore" if wide else "")
