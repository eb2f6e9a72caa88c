"""Rows for machined plane faces: cut from above (face) or along their side (edge).

An edge row gives where the cutter's *centre* runs: the face plus the cutter's
radius plus what is left for finishing, outside the metal, from clear of one end
to clear of the other, or to the wall it must not cut. Conventional cutting: the
metal is on the left of the move, so the cutter is fed against its turn and
backlash is held (common practice). Lengths mm, set-up frame. Knows nothing of
holes or of what order rows come in.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from geom.kernel.extent import face_box
from geom.model.part import Part, PartFace
from geom.rows.records import Row, Tool
from geom.space import Frame, Vec3, dot, frame_facing, scale
from geom.tasks.corners import corners_of
from geom.tasks.practice import SAME_SIZE, Practice, is_high
from geom.tasks.reach import FACET_SLACK, Flat, Span, View, blocked_spans, open_share, stands_about
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

_OPEN_ENOUGH = 0.98
"""Share of a face that must be free of metal above it to be cut from above; a chamfered rim hides less."""

_STRAIGHT = 1e-6
"""mm: a move that shifts an axis by less leaves it undriven."""

_SHORT = 1.0
"""mm a move keeps from a wall known to the facets only: more than their error, also on a wall that leans by 45 degrees."""

_SHORT_STEP = 0.5
"""mm: the round figure it stops at."""


@dataclass(frozen=True, slots=True)
class Leaves:
    """What faces keep for finishing, mm: `stated` by name; `edge` for machined edges that say nothing."""

    stated: Mapping[str, float]
    edge: float = 0.0

    def above(self, face: PartFace) -> float:
        """What a face cut from above keeps."""
        return self.stated.get(face.name, 0.0)

    def beside(self, face: PartFace) -> float:
        """What a face cut along its side keeps; nothing is left on the casting's own skin."""
        return self.stated.get(face.name, self.edge) if face.state == "machined" else 0.0


def faces_up(face: PartFace, up: Vec3) -> bool:
    """Tell whether a plane's outward normal is `up`."""
    return face.normal is not None and dot(face.normal, up) > 1.0 - SAME_DIRECTION**2


def stands_upright(face: PartFace, up: Vec3) -> bool:
    """Tell whether a plane stands along `up`."""
    return face.normal is not None and abs(dot(face.normal, up)) < SAME_DIRECTION


# --- from above -------------------------------------------------------------


def is_open_above(face: PartFace, seen: View, frame: Frame) -> bool:
    """Tell whether a face mill coming down Z touches the face before the rest of the part."""
    return open_share(seen, face.surfaces, frame.local(face.centroid)[2]) >= _OPEN_ENOUGH


def face_row(face: PartFace, part: Part, seen: View, frame: Frame, leave: float, use: Practice) -> Row:
    """Return the row, numbered 0, that brings a face mill to a face; an end mill where the part stands up beside it."""
    z = frame.local(face.origin)[2]
    low, high = face_box(part.finished, face.surfaces, frame)
    walled = stands_about(seen, low[:2], high[:2], z)
    tool = Tool("end mill", "", use.cutter) if walled else Tool("face mill", "", 0.0)
    note = "; ".join(
        filter(None, (_leaves(leave), "the part stands up beside it: keep the cutter off the walls" if walled else ""))
    )
    return Row(0, face.name, "face", tool, None, None, z + leave, leave=leave, note=note)


# --- along its side ---------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Side:
    """An upright face seen from above, in its own frame: X the way the cutter moves, Y into the metal.

    Attributes:
        own: that frame; origin and Z are the set-up's.
        out, along: outward normal and direction of the move, flat, set-up frame.
        y: the face's place along its own Y.
        reach: where it starts and ends along its own X.
        low, high: its heights.
    """

    own: Frame
    out: Flat
    along: Flat
    y: float
    reach: Span
    low: float
    high: float

    def at(self, s: float, offset: float) -> Flat:
        """Return the set-up x, y of a point `s` along the move and `offset` out of the metal."""
        away = offset - self.y
        return (s * self.along[0] + away * self.out[0] + 0.0, s * self.along[1] + away * self.out[1] + 0.0)


_Why: TypeAlias = Literal["clear", "wall", "round", "end", "short"]
"""Why a move stops: clear of the face, at a wall, where a round corner wider than the cutter begins, at the face's end with metal
beyond, or short of a wall not upright and plane."""


def is_low(face: PartFace, part: Part, frame: Frame, use: Practice, flutes: float) -> bool:
    """Tell whether an upright face is no higher than an ordinary end mill's flutes, or the longest on hand."""
    low, high = face_box(part.finished, face.surfaces, frame)
    return not is_high(high[2] - low[2], use, flutes + SAME_AXIS)


def edge_row(face: PartFace, part: Part, seen: View, frame: Frame, leaves: Leaves, use: Practice, below: float = 0.0) -> Row | None:
    """Return the row, numbered 0, that runs a cutter along an upright face; None when it cannot get there.

    The cutter must touch the whole face, except next to a wall at its end,
    where its own radius stays in the corner (the row says so).

    Args:
        below: how far past the foot of the face it goes.
    """
    side, radius, leave = _side(face, part, frame), 0.5 * use.cutter, leaves.beside(face)
    wanted = (side.reach[0] - radius - use.run_out, side.reach[1] + radius + use.run_out)
    blocked = blocked_spans(seen, side.at(0.0, radius + leave), side.along, wanted, radius, side.low - below)
    cut = _free(wanted, blocked, side.reach, radius)
    if cut is None:
        return None
    walls = [_Wall(side.own.local(f.origin)[0], 1 if faces_up(f, side.own.x) else -1, leaves.beside(f)) for f in _walls(part, side)]
    rounds = [_round_end(face, part, side, end, radius) for end in (0, 1)]
    first, why_first = rounds[0] or _stop(cut[0], wanted[0], side.reach[0], walls, radius, 1)
    last, why_last = rounds[1] or _stop(cut[1], wanted[1], side.reach[1], walls, radius, -1)
    if first >= last:
        return None
    z = side.low - below + _floor_leave(part, side, leaves)
    return _move(face, side.at(first, radius + leave), side.at(last, radius + leave), z, leave, use.cutter, (
        _leaves(leave),
        *dict.fromkeys(_WORDS[why] for why in (why_first, why_last)),
        "high for its diameter: see that the flutes are long enough" if is_high(side.high - z, use) else "",
    ))  # fmt: skip


_WORDS: dict[_Why, str] = {
    "clear": "",
    "wall": "stops at a wall: the corner keeps the cutter's radius",
    "round": "stops where the corner's round begins",
    "end": "stops where the face ends: metal beyond",
    "short": "stops short of a wall that is not upright and plane: finish the corner by eye",
}


def _side(face: PartFace, part: Part, frame: Frame) -> _Side:
    assert face.normal is not None
    n = frame.local_direction(face.normal)
    own = frame_facing(frame.origin, frame.z, frame.part_direction((-n[1], n[0], 0.0)))
    along, into = frame.local_direction(own.x), frame.local_direction(own.y)
    low, high = face_box(part.finished, face.surfaces, own)
    y = own.local(face.origin)[1]
    return _Side(own, (-into[0] + 0.0, -into[1] + 0.0), (along[0], along[1]), y, (low[0], high[0]), low[2], high[2])


def _free(wanted: Span, blocked: list[Span], reach: Span, radius: float) -> Span | None:
    """Return the free span of the cutter's line that touches the face from end to end, corners apart, and its middle at least."""
    edges = [wanted[0], *(s for span in blocked for s in span), wanted[1]]
    corner = min(2.0 * radius, 0.5 * (reach[1] - reach[0]))
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        if low <= reach[0] + corner and high >= reach[1] - corner and high > low:
            return low, high
    return None


@dataclass(frozen=True, slots=True)
class _Wall:
    """A plane across the move: its place, the way it faces along the move (+1, -1), and what it keeps for finishing."""

    x: float
    faces: int
    leave: float


def _walls(part: Part, side: _Side) -> list[PartFace]:
    return [f for f in part.faces if f.kind == "plane" and (faces_up(f, side.own.x) or faces_up(f, scale(side.own.x, -1.0)))]


def _stop(free: float, wanted: float, end: float, walls: list[_Wall], radius: float, way: int) -> tuple[float, _Why]:
    """Return where the move stops on one side, and why; `way` is +1 at the start of the move, -1 at its end.

    What blocks is known to the facets only, so a stop is a wall's own plane, or
    the face's own end, or well short of a wall that is no upright plane.
    """
    if free == wanted:
        return wanted, "clear"
    for wall in sorted(walls, key=lambda w: abs(w.x + way * radius - free)):
        if wall.faces == way and abs(wall.x + way * radius - free) <= 2.0 * FACET_SLACK:
            return wall.x + way * (radius + wall.leave), "wall"
    if way * (free - end) > 0:
        return way * math.ceil((way * free + _SHORT) / _SHORT_STEP) * _SHORT_STEP, "short"
    return end, "end"


def _round_end(face: PartFace, part: Part, side: _Side, end: int, radius: float) -> tuple[float, _Why] | None:
    """Return where the move stops at a round corner of more than the cutter's radius; None where there is none at that end.

    There the cutter lies at the end of the round: all of the face is cut, and further on it would cut into the corner.
    """
    for corner in corners_of(part):
        wider = corner.round and face in corner.walls and corner.runs(side.own.z) and corner.radius > radius + 0.5 * SAME_SIZE
        if wider and corner.round and abs(side.own.local(corner.round.origin)[0] - side.reach[end]) <= SAME_AXIS:
            return side.reach[end], "round"
    return None


def _floor_leave(part: Part, side: _Side, leaves: Leaves) -> float:
    """Return what the floor at the foot of the face keeps for finishing."""
    kept = [0.0]
    for face in part.machined:
        if leaves.above(face) and faces_up(face, side.own.z) and abs(side.own.local(face.origin)[2] - side.low) <= SAME_AXIS:
            low, high = face_box(part.finished, face.surfaces, side.own)
            if abs(high[1] - side.y) <= SAME_AXIS and low[0] < side.reach[1] and high[0] > side.reach[0]:
                kept.append(leaves.above(face))
    return max(kept)


def _move(face: PartFace, start: Flat, end: Flat, z: float, leave: float, cutter: float, notes: tuple[str, ...]) -> Row:
    tool = Tool("end mill", "", cutter)
    x_to, y_to = (None if abs(b - a) < _STRAIGHT else b for a, b in zip(start, end, strict=True))
    note = "; ".join(filter(None, notes))
    return Row(0, face.name, "edge", tool, start[0], start[1], z, x_to=x_to, y_to=y_to, leave=leave, note=note)


def _leaves(leave: float) -> str:
    return "leaves metal for finishing" if leave else ""
