"""Where a hole's axis meets the surface it opens on, and which other faces are the hole's own.

Lengths mm, part frame. Knows nothing of castings, callouts or names.
"""

import math
from collections.abc import Collection, Sequence
from typing import Final

from geom.kernel.shape import Solid, Surface, faces_of
from geom.kernel.surface import outline
from geom.kernel.topology import neighbours
from geom.recognise.passage import Length, is_along, touches_axis
from geom.recognise.walls import SAME_RADIUS, Line, Wall
from geom.space import along, dot, foot, norm, scale, sub
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

_STEEPEST: Final = 75.0
"""A face leaning more than this, degrees, from square to the axis is no opening: it runs along the hole."""


class Surroundings:
    """A solid's faces with their neighbours, worked out once."""

    __slots__ = ("_faces", "met", "solid")

    def __init__(self, solid: Solid) -> None:
        self.solid = solid
        self.met = neighbours(solid.shape)
        self._faces = faces_of(solid.shape)

    def reach(self, index: int, line: Line) -> float:
        """Return how far a face's edges get from a line, mm."""
        points = outline(self._faces[index])
        return max((norm(sub(p, foot(p, line.origin, line.axis))) for p in points), default=math.inf)


def opening(around: Surroundings, lengths: Sequence[Length], outward: Line) -> tuple[float, int | None]:
    """Return the height at which the axis meets the opening, and the plane it opens on.

    On a plane, square or inclined, that is where the axis meets it, also past a rounded edge; on
    the outside of a cylinder or sphere, its crest; otherwise the highest point of the mouth's edge.
    """
    first, surfaces = lengths[0], around.solid.surfaces
    own = {i for w in lengths for i in w.surfaces}
    beside = _beside(around, first.surfaces) - own
    rounded = {j for j in beside if surfaces[j].kind == "torus" and touches_axis(surfaces[j].origin, outward)}
    slack = max((surfaces[j].minor for j in rounded), default=0.0) + SAME_AXIS
    beside |= _beside(around, rounded) - own
    found = [(h, j) for j in sorted(beside) if (h := _crossing(surfaces[j], first, outward, slack)) is not None]
    if not found:
        return first.top, None
    height, index = max(found, key=lambda f: (round(f[0], 6), -f[1]))
    return height, index if around.solid.surfaces[index].kind == "plane" else None


def _beside(around: Surroundings, indices: Collection[int]) -> set[int]:
    return {j for i in indices for j in around.met[i]}


def _crossing(surface: Surface, first: Length, outward: Line, slack: float) -> float | None:
    """Return the height at which the axis meets a face's surface, when that can be the mouth of a wall."""
    match surface.kind:
        case "plane":
            return _plane_crossing(surface, first, outward, slack)
        case "cylinder" | "sphere" if not surface.hollow:
            crest = _crest(surface, outward)
            reach = surface.radius - math.sqrt(max(0.0, surface.radius**2 - first.top_radius**2))
            return crest if crest is not None and abs(crest - first.top) <= reach + slack else None
    return None


def _plane_crossing(surface: Surface, first: Length, outward: Line, slack: float) -> float | None:
    facing = dot(surface.axis, outward.axis)
    if facing < math.cos(math.radians(_STEEPEST)):
        return None
    height = dot(sub(surface.origin, outward.origin), surface.axis) / facing
    lean = first.top_radius * math.sqrt(max(0.0, 1.0 - facing * facing)) / facing
    return height if first.top - 2 * lean - slack <= height <= first.top + slack else None


def _crest(surface: Surface, outward: Line) -> float | None:
    """Return the height of the outer crossing of a line with a cylinder or sphere, or None when it misses."""
    out, way = sub(outward.origin, surface.origin), outward.axis
    if surface.kind == "cylinder":
        out = sub(out, scale(surface.axis, dot(out, surface.axis)))
        way = sub(way, scale(surface.axis, dot(way, surface.axis)))
    a, b, c = dot(way, way), dot(out, way), dot(out, out) - surface.radius**2
    if a < SAME_DIRECTION or b * b < a * c:
        return None
    return (math.sqrt(b * b - a * c) - b) / a


def end_reach(around: Surroundings, wall: Wall, upward: bool) -> float:
    """Return the height along a wall's line at which the hollow fillet or ball beyond its end ends, or the end itself."""
    way = 1.0 if upward else -1.0
    furthest = way * (wall.high if upward else wall.low)
    for index in _beside(around, wall.surfaces):
        surface = around.solid.surfaces[index]
        if surface.hollow and surface.kind in ("torus", "sphere") and touches_axis(surface.origin, wall.line):
            size = surface.minor if surface.kind == "torus" else surface.radius
            centre = way * along(surface.origin, wall.line.origin, wall.line.axis)
            if centre >= furthest - size:
                furthest = max(furthest, centre + size)
    return way * furthest


# --- floors, fillets and round edges ----------------------------------------


def own_faces(around: Surroundings, lengths: Sequence[Length], line: Line, top: float, skip: Collection[int]) -> tuple[int, ...]:
    """Return the faces that belong to a hole beside its walls: floors, seats, ball ends, fillets on its axis.

    Args:
        top: height of the opening along the line.
        skip: faces that are none of it.
    """
    walls = {i for w in lengths for i in w.surfaces}
    bottom = min(w.bottom for w in lengths)
    widest = max(max(w.top_radius, w.bottom_radius) for w in lengths)
    found: set[int] = set()
    edge = walls
    while edge:
        near = {j for i in edge for j in around.met[i]} - walls - found - set(skip)
        edge = {j for j in near if _belongs(around, j, line, (bottom, top), widest)}
        found |= edge
    return tuple(sorted(found))


def _belongs(around: Surroundings, index: int, line: Line, heights: tuple[float, float], widest: float) -> bool:
    surface = around.solid.surfaces[index]
    bottom, top = heights
    match surface.kind:
        case "plane":
            height = along(surface.origin, line.origin, line.axis)
            facing_out = dot(surface.axis, line.axis) > 0
            inside = bottom - widest <= height < top - SAME_AXIS
            return is_along(surface.axis, line) and facing_out and inside and around.reach(index, line) <= widest + SAME_AXIS
        case "torus":
            on_axis = is_along(surface.axis, line) and touches_axis(surface.origin, line)
            return on_axis and surface.radius <= widest + surface.minor + SAME_RADIUS
        case "sphere":
            return surface.hollow and touches_axis(surface.origin, line) and surface.radius <= 1.5 * widest
    return False
