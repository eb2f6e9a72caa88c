"""Slots that are open at one end or at both, found in a part's machined faces: keyways milled across, notches.

Two flat walls that look at each other, with a floor that spans from one to the
other, or a hollow half round that joins them at one end, or both. An end counts
as open when a cutter of the slot's width runs out of it clear of the finished
part. Lengths mm, part frame. Knows nothing of cutters or of slots with two
round ends.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from geom.kernel.extent import face_box
from geom.model.part import Part, PartFace
from geom.rays.rays import skin_of
from geom.space import Frame, Vec3, add, cross, dot, frame_facing, norm, scale, sub
from geom.tasks.slot import FoundSlot
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

_WIDEST: Final = 32.0
"""mm: a groove wider than this is a channel: its floor is faced and its walls are edges (common practice, no source)."""

_RUN_OUT: Final = 6.0
"""mm beyond its radius in which a cutter of the groove's width meets nothing past an open end."""

_INSIDE: Final = 0.1
"""mm that a look along a groove keeps off its floor and walls."""


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two walls across from each other.

    Attributes:
        frame: origin midway between them, X along them, Y from the first to the second, Z out of the metal or along the axis.
        span: from where to where along X; high: along Z.
    """

    walls: tuple[PartFace, PartFace]
    frame: Frame
    width: float
    span: tuple[float, float]
    high: tuple[float, float]


def grooves(part: Part, loose: Sequence[PartFace]) -> Iterator[FoundSlot]:
    """Yield the slots open at an end among machined faces that nothing else claims; no face belongs to two."""
    used: set[str] = set()
    for slot in (*_notches(part, loose), *_floored(part, loose)):
        if not used & {face.name for face in slot.faces}:
            used |= {face.name for face in slot.faces}
            yield slot


# --- open at both ends: two walls and a floor -------------------------------


def _floored(part: Part, loose: Sequence[PartFace]) -> Iterator[FoundSlot]:
    planes = [face for face in loose if face.kind == "plane" and face.normal is not None]
    for floor in planes:
        for pair in _pairs(part, planes, floor.axis, floor.origin):
            if _is_floor(part, floor, pair):
                free = _open(part, pair, (pair.high[0], pair.high[1]))
                if free == (True, True) and _is_uncovered(part, pair):
                    yield _slot(floor.name, (*pair.walls, floor), pair, floor.axis, free, pair.span, blind=True)


def _pairs(part: Part, planes: Sequence[PartFace], axis: Vec3, between: Vec3) -> Iterator[_Pair]:
    """Yield the walls that stand along an axis, look at each other across a point, and are no further apart than a groove is."""
    upright = [face for face in planes if abs(dot(face.axis, axis)) < SAME_DIRECTION and _faces_point(face, between)]
    for a, b in combinations(upright, 2):
        width = dot(sub(a.origin, b.origin), b.axis)
        if norm(add(a.axis, b.axis)) > SAME_DIRECTION or not SAME_AXIS < width <= _WIDEST:
            continue
        middle = add(between, scale(a.axis, dot(sub(a.origin, between), a.axis) + 0.5 * width))
        frame = frame_facing(middle, axis, cross(a.axis, axis))
        boxes = [face_box(part.finished, face.surfaces, frame) for face in (a, b)]
        span, high = ((min(low[i] for low, _ in boxes), max(top[i] for _, top in boxes)) for i in (0, 2))
        level = abs(boxes[0][0][2] - boxes[1][0][2]) <= SAME_AXIS
        beside = min(top[0] for _, top in boxes) - max(low[0] for low, _ in boxes) > 0.5 * (span[1] - span[0])
        if level and beside:
            yield _Pair((a, b), frame, width, span, high)


def _is_uncovered(part: Part, pair: _Pair) -> bool:
    """Tell whether nothing of the part stands over a groove's floor; over a window's wall, which looks like one, its other does."""
    half, tall = 0.5 * pair.width - _INSIDE, pair.high[1] - pair.high[0]
    middle, z = 0.5 * (pair.span[0] + pair.span[1]), pair.high[0] + min(_INSIDE, 0.25 * tall)
    starts = np.array([pair.frame.part((middle, y, z)) for y in (-half, 0.0, half)])
    up = np.tile(np.array(pair.frame.z), (len(starts), 1))
    return not bool(np.isfinite(skin_of(part.finished).entries(starts, up)).any())


def _faces_point(face: PartFace, point: Vec3) -> bool:
    """Tell whether a plane looks towards a point, from no further than a groove is wide."""
    return -SAME_AXIS < dot(sub(point, face.origin), face.axis) <= _WIDEST


def _is_floor(part: Part, floor: PartFace, pair: _Pair) -> bool:
    """Tell whether a plane is what two walls stand on, from one to the other and along all of them."""
    low, high = face_box(part.finished, floor.surfaces, pair.frame)
    across = abs(low[1] + 0.5 * pair.width) <= SAME_AXIS and abs(high[1] - 0.5 * pair.width) <= SAME_AXIS
    at_foot = abs(low[2] - pair.high[0]) <= SAME_AXIS and pair.high[1] > low[2] + SAME_AXIS
    return across and at_foot and abs(low[0] - pair.span[0]) <= SAME_AXIS and abs(high[0] - pair.span[1]) <= SAME_AXIS


# --- open at one end: two walls and a half round ----------------------------


def _notches(part: Part, loose: Sequence[PartFace]) -> Iterator[FoundSlot]:
    planes = [face for face in loose if face.kind == "plane" and face.normal is not None]
    for end in (face for face in loose if face.kind == "cylinder" and face.hollow and 2.0 * face.radius <= _WIDEST):
        beside = [face for face in planes if abs(dot(sub(end.origin, face.origin), face.axis) - end.radius) <= SAME_AXIS]
        for pair in _pairs(part, beside, end.axis, end.origin):
            yield from _notch(part, end, pair, planes)


def _notch(part: Part, end: PartFace, pair: _Pair, planes: Sequence[PartFace]) -> Iterator[FoundSlot]:
    """Yield the notch that a half round closes at one end of two walls, where the other end is open."""
    low, high = face_box(part.finished, end.surfaces, pair.frame)
    sides = [abs(pair.span[0]) <= SAME_AXIS, abs(pair.span[1]) <= SAME_AXIS]
    reach = (-end.radius, 0.0) if sides[0] else (0.0, end.radius)
    if sides[0] == sides[1] or abs(low[0] - reach[0]) > SAME_AXIS or abs(high[0] - reach[1]) > SAME_AXIS:
        return
    floor = next((face for face in planes if _closes(part, face, pair, end.radius)), None)
    axis = floor.axis if floor else end.axis
    free = _open(part, pair, (min(low[2], pair.high[0]), max(high[2], pair.high[1])))
    if free == (not sides[0], not sides[1]):
        faces = (end, *pair.walls, *((floor,) if floor else ()))
        yield _slot((floor or end).name, faces, pair, axis, free, pair.span, blind=floor is not None)


def _closes(part: Part, face: PartFace, pair: _Pair, radius: float) -> bool:
    """Tell whether a plane is the floor of a notch: square to its axis, as wide as it, at one end of its walls, looking in."""
    if norm(cross(face.axis, pair.frame.z)) > SAME_DIRECTION:
        return False
    low, high = face_box(part.finished, face.surfaces, pair.frame)
    looks_up = dot(face.axis, pair.frame.z) > 0.0
    foot = pair.high[0] if looks_up else pair.high[1]
    return abs(high[1] - radius) <= SAME_AXIS and abs(low[1] + radius) <= SAME_AXIS and abs(low[2] - foot) <= SAME_AXIS


# --- both -------------------------------------------------------------------


def _open(part: Part, pair: _Pair, high: tuple[float, float]) -> tuple[bool, bool]:
    """Return at which ends, along -X and +X, a cutter of the groove's width gets out from between its walls."""
    half, tall = 0.5 * pair.width - _INSIDE, high[1] - high[0]
    inside = min(_INSIDE, 0.25 * tall)
    middle = 0.5 * (pair.span[0] + pair.span[1])
    starts = np.array([
        pair.frame.part((middle, y, z)) for y in (-half, 0.0, half) for z in (high[0] + inside, 0.5 * sum(high), high[1] - inside)
    ])  # fmt: skip
    far = 0.5 * (pair.span[1] - pair.span[0]) + 0.5 * pair.width + _RUN_OUT
    skin = skin_of(part.finished)
    looks = (scale(pair.frame.x, way) for way in (-1.0, 1.0))
    left, right = (bool(skin.entries(starts, np.tile(np.array(look), (len(starts), 1))).min() > far) for look in looks)
    return left, right


def _slot(
    name: str, faces: tuple[PartFace, ...], pair: _Pair, axis: Vec3, free: tuple[bool, bool], span: tuple[float, float], *,
    blind: bool,
) -> FoundSlot:  # fmt: skip
    ends = pair.frame.part((span[0], 0.0, 0.0)), pair.frame.part((span[1], 0.0, 0.0))
    return FoundSlot(name, faces, pair.walls, ends, free, axis, pair.width, blind)
