"""The geometry a declared feature owns.

`cutting_body` is the metal it removes; `face_name` and `is_same_hole` say which
surfaces and holes of a finished solid are its own, so that what `recognise`
finds can take over the model's names and callouts. Lengths mm, part frame.
Knows nothing of castings. The kernel is loaded only by `cutting_body`.
"""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from geom.errors import GeometryError
from geom.model.feature import Bore, Boss, Face, Feature, Hole, Slot, sink_depth
from geom.model.hole_pattern import pattern_axes
from geom.space import Vec3, cross, dot, norm, scale, sub
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

if TYPE_CHECKING:
    from geom.kernel.shape import Surface


def cutting_body(feature: Feature, reach: float) -> Any:
    """Return the kernel body of everything a feature removes, the air above its opening included.

    Args:
        reach: longer than the casting in any direction, mm; how far the body extends where the feature sets no end.
    """
    from geom.kernel import cut as kernel

    match feature:
        case Hole() | Bore():
            return kernel.turned(profile(feature, reach), feature.centre, feature.axis)
        case Boss():
            return kernel.turned(_boss_profile(feature, reach), feature.centre, feature.axis)
        case Slot():
            below = feature.depth or feature.until or reach
            return kernel.obround(feature.centre, feature.axis, feature.along, feature.length, feature.width, below, reach)
        case Face(diameter=None, corners=()):
            return kernel.half_space(feature.centre, feature.axis, reach)
        case Face(diameter=None):
            return kernel.prism(feature.corners, scale(feature.axis, reach))
        case Face(diameter=float() | int() as diameter):
            return kernel.cylinder(feature.centre, feature.axis, diameter / 2, reach)
    raise GeometryError(f"{feature!r} is not a feature; give a Face, Hole, Bore, Boss or Slot")


def profile(feature: Hole | Bore, reach: float) -> list[tuple[float, float]]:
    """Return the turned outline of a hole as (radius, height above the mouth) corners, mm.

    It runs from the axis above the mouth down to the far end and back up along the wall.
    """
    end = feature.depth or feature.until or reach
    tip = end
    if isinstance(feature, Hole) and feature.depth and feature.point_angle:
        tip += feature.diameter / 2 / math.tan(math.radians(feature.point_angle / 2))
    corners = [(0.0, reach), (0.0, -tip), (feature.diameter / 2, -end)]
    for diameter, depth in reversed(_steps(feature)):
        corners += [(corners[-1][0], -depth), (diameter / 2, -depth)]
    if isinstance(feature, Hole) and feature.countersink:
        corners += [(feature.diameter / 2, -sink_depth(feature.countersink, feature.diameter)), (feature.countersink[0] / 2, 0.0)]
    return [*corners, (corners[-1][0], reach)]


def _steps(feature: Hole | Bore) -> tuple[tuple[float, float], ...]:
    if isinstance(feature, Bore):
        return feature.steps
    return (feature.counterbore,) if feature.counterbore else ()


def _boss_profile(boss: Boss, reach: float) -> list[tuple[float, float]]:
    wide, side = boss.swath / 2, boss.diameter / 2
    if boss.height is None:
        return [(0.0, reach), (0.0, 0.0), (wide, 0.0), (wide, reach)]
    return [(0.0, reach), (0.0, 0.0), (side, 0.0), (side, -boss.height), (wide, -boss.height), (wide, reach)]


# --- which surfaces are its own ---------------------------------------------


def face_name(feature: Feature, surface: "Surface") -> str | None:
    """Return the name a finished surface takes from a feature, or None when it is not the feature's.

    A face and a boss's end take the feature's name; a boss's machined side is "NAME side"; a hole's or bore's
    walls take its name and the flat floors of its steps "NAME seat"; a slot's are "NAME wall" and "NAME floor".
    """
    match feature:
        case Face():
            return feature.name if _is_in_plane(feature, surface, 0.0) and _inside_outline(feature, surface.centroid) else None
        case Hole() | Bore():
            return _hole_face_name(feature, surface)
        case Boss():
            return _boss_face_name(feature, surface)
        case Slot():
            return _slot_face_name(feature, surface)


def is_same_hole(feature: Feature, centre: Vec3, axis: Vec3, diameter: float) -> bool:
    """Return whether a hole found in a solid is the one a feature declares.

    Args:
        centre: where the found hole opens; its place along the axis does not count, a spot-face may have moved it.
        axis: out of the metal; a through hole may have been found from its other side.
        diameter: of the found hole's narrowest cylinder, mm.
    """
    if not isinstance(feature, Hole | Bore):
        return False
    if (
        abs(diameter - feature.diameter) > SAME_AXIS
        or _off_axis(feature, centre) > SAME_AXIS
        or not _is_parallel(axis, feature.axis)
    ):
        return False
    return feature.through or dot(axis, feature.axis) > 0


def _hole_face_name(feature: Hole | Bore, surface: "Surface") -> str | None:
    steps = _steps(feature)
    if surface.kind == "plane":
        floors = [depth for _, depth in steps] + ([feature.depth] if feature.depth else [])
        near = any(_is_in_plane(feature, surface, -depth) for depth in floors)
        return f"{feature.name} seat" if near and _off_axis(feature, surface.centroid) <= SAME_AXIS else None
    if not surface.hollow or not _is_coaxial(feature, surface):
        return None
    if surface.kind == "cone":
        return feature.name if isinstance(feature, Hole) else None
    diameters = [feature.diameter, *(d for d, _ in steps)]
    return feature.name if any(abs(2 * surface.radius - d) <= SAME_AXIS for d in diameters) else None


def _boss_face_name(boss: Boss, surface: "Surface") -> str | None:
    if surface.kind == "plane":
        own = _is_in_plane(boss, surface, 0.0) and _off_axis(boss, surface.centroid) <= boss.diameter / 2
        return boss.name if own else None
    if boss.height is None or surface.kind != "cylinder" or surface.hollow or not _is_coaxial(boss, surface):
        return None
    below = -dot(sub(surface.centroid, boss.centre), boss.axis)
    own = abs(2 * surface.radius - boss.diameter) <= SAME_AXIS and -SAME_AXIS <= below <= boss.height + SAME_AXIS
    return f"{boss.name} side" if own else None


def _slot_face_name(slot: Slot, surface: "Surface") -> str | None:
    out = sub(surface.centroid, slot.centre)
    lengthways, across = dot(out, slot.along), dot(out, cross(slot.axis, slot.along))
    if abs(lengthways) > slot.length / 2 + SAME_AXIS or abs(across) > slot.width / 2 + SAME_AXIS:
        return None
    if surface.kind == "plane" and slot.depth and _is_in_plane(slot, surface, -slot.depth):
        return f"{slot.name} floor"
    flat = (
        surface.kind == "plane"
        and abs(abs(across) - slot.width / 2) <= SAME_AXIS
        and abs(dot(surface.normal, slot.axis)) < SAME_DIRECTION
    )
    end = (
        surface.kind == "cylinder"
        and surface.hollow
        and abs(2 * surface.radius - slot.width) <= SAME_AXIS
        and _is_parallel(surface.axis, slot.axis)
    )
    return f"{slot.name} wall" if flat or end else None


def _is_in_plane(feature: Feature, surface: "Surface", height: float) -> bool:
    """Return whether a surface is a plane facing along the axis at a height above the feature's centre."""
    if surface.kind != "plane" or dot(surface.normal, feature.axis) < 1 - SAME_DIRECTION**2:
        return False
    return abs(dot(sub(surface.centroid, feature.centre), feature.axis) - height) <= SAME_AXIS


def _inside_outline(face: Face, point: Vec3) -> bool:
    if face.diameter is not None:
        return _off_axis(face, point) <= face.diameter / 2
    if not face.corners:
        return True
    return _is_inside(face.corners, face.axis, point)


def _is_inside(corners: Sequence[Vec3], axis: Vec3, point: Vec3) -> bool:
    """Return whether a point, seen along an axis, lies inside a polygon (even-odd rule)."""
    x, y = pattern_axes(axis)
    flat = [(dot(sub(c, point), x), dot(sub(c, point), y)) for c in corners]
    crossings = 0
    for (ax, ay), (bx, by) in zip(flat, flat[1:] + flat[:1], strict=True):
        if (ay > 0) != (by > 0) and ax + (bx - ax) * ay / (ay - by) > 0:
            crossings += 1
    return crossings % 2 == 1


def _is_coaxial(feature: Feature, surface: "Surface") -> bool:
    if surface.kind not in ("cylinder", "cone") or not _is_parallel(surface.axis, feature.axis):
        return False
    return _off_axis(feature, surface.origin) <= SAME_AXIS


def _is_parallel(a: Vec3, b: Vec3) -> bool:
    return norm(cross(a, b)) <= SAME_DIRECTION


def _off_axis(feature: Feature, point: Vec3) -> float:
    """Return the distance of a point from the feature's axis, mm."""
    return norm(cross(sub(point, feature.centre), feature.axis))
