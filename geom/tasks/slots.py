"""Straight slots found in a part's machined faces: with two round ends here, open at an end in `grooves`.

A slot with round ends is two hollow half rounds of one radius with a flat wall
on either side between them; blind with a floor, else through. Lengths mm, part
frame. Knows nothing of cutters.
"""

from collections.abc import Iterator
from functools import lru_cache
from itertools import combinations

from geom.model.part import Part, PartFace
from geom.space import Vec3, add, cross, dot, norm, scale, sub, unit
from geom.tasks.grooves import grooves
from geom.tasks.slot import FoundSlot
from geom.tolerance import SAME_AXIS, SAME_DIRECTION


@lru_cache(maxsize=8)
def slots_of(part: Part) -> tuple[FoundSlot, ...]:
    """Return the slots of a part, in the order of its faces; no face belongs to two."""
    loose = [face for face in part.machined if face.hole is None]
    rounds = [face for face in loose if face.kind == "cylinder" and face.hollow]
    planes = [face for face in loose if face.kind == "plane"]
    found: list[FoundSlot] = []
    for pair in combinations(rounds, 2):
        used = {face.name for slot in found for face in slot.faces}
        if not used & {face.name for face in pair}:
            found += _slot(pair, [face for face in planes if face.name not in used])
    used = {face.name for slot in found for face in slot.faces}
    return (*found, *grooves(part, [face for face in loose if face.name not in used]))


def _slot(ends: tuple[PartFace, PartFace], planes: list[PartFace]) -> Iterator[FoundSlot]:
    a, b = ends
    if abs(a.radius - b.radius) > SAME_AXIS or norm(cross(a.axis, b.axis)) > SAME_DIRECTION:
        return
    away = sub(b.origin, a.origin)
    across = sub(away, scale(a.axis, dot(away, a.axis)))
    if norm(across) <= SAME_AXIS:
        return
    along = unit(across)
    middle, half = add(a.origin, scale(across, 0.5)), 0.5 * norm(across)
    side = cross(a.axis, along)
    one, other = (_wall(planes, scale(side, sign), middle, along, half, a.radius) for sign in (1.0, -1.0))
    if one is None or other is None:
        return
    floor = next((f for f in planes if _is_floor(f, middle, along, side, a, half)), None)
    faces = (a, b, one, other, *((floor,) if floor else ()))
    axis = floor.normal if floor and floor.normal else a.axis
    centres, name = (a.origin, add(a.origin, across)), (floor or a).name
    yield FoundSlot(name, faces, (one, other), centres, (False, False), axis, 2.0 * a.radius, floor is not None)


def _wall(planes: list[PartFace], looks: Vec3, middle: Vec3, along: Vec3, half: float, radius: float) -> PartFace | None:
    """Return the flat wall that looks one way across the slot, towards its middle."""
    for face in planes:
        if face.normal is None or norm(sub(face.normal, looks)) > SAME_DIRECTION:
            continue
        off = sub(middle, face.origin)
        if abs(dot(off, looks) - radius) <= SAME_AXIS and abs(dot(sub(face.centroid, middle), along)) < half:
            return face
    return None


def _is_floor(face: PartFace, middle: Vec3, along: Vec3, side: Vec3, end: PartFace, half: float) -> bool:
    if face.normal is None or norm(cross(face.normal, end.axis)) > SAME_DIRECTION:
        return False
    off = sub(face.centroid, middle)
    wide = 4.0 * half * end.radius + 3.15 * end.radius**2
    centred = abs(dot(off, along)) <= SAME_AXIS and abs(dot(off, side)) <= SAME_AXIS
    below = dot(sub(end.centroid, face.centroid), face.normal) > 0.0
    return centred and below and face.area <= wide * 1.001
