"""Round walls round one axis: the lengths a hole is made of.

An exporter may write one bore as two halves, as several rings, or pierced by
other holes. Pieces on one axis with one radius (one cone) are one wall when
together they reach most of the way round and what they enclose is air. Root
fillets, slot ends and the outer walls of ring grooves are none. Lengths mm,
angles degrees, part frame. Knows nothing of drilling, castings or names.
"""

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from geom.kernel.metal import Metal
from geom.kernel.shape import Solid, Surface
from geom.kernel.surface import turn_zero
from geom.space import Vec3, add, along, cross, dot, foot, norm, scale, sub
from geom.tolerance import SAME_AXIS, SAME_DIRECTION, SPLINE_FIT

MIN_COVER: Final = 0.75
"""Least share of the full turn that a hole's wall has: the end of a slot has half, a corner fillet a quarter."""

SAME_RADIUS: Final = SPLINE_FIT
"""Two walls on one axis whose radii differ by less, mm, are one."""

SAME_SLOPE: Final = 0.05
"""Two cones on one axis whose half angles differ by less, degrees, are one."""


@dataclass(frozen=True, slots=True)
class Line:
    """An axis: a point on it and its direction."""

    origin: Vec3
    axis: Vec3

    def at(self, height: float) -> Vec3:
        """Return the point at a height along the axis."""
        return add(self.origin, scale(self.axis, height))


@dataclass(frozen=True, slots=True)
class Wall:
    """A round wall between two heights along its line; a cylinder when both radii agree."""

    line: Line
    low: float
    high: float
    low_radius: float
    high_radius: float
    surfaces: tuple[int, ...]

    @property
    def is_cylinder(self) -> bool:
        """Whether the wall is straight."""
        return abs(self.low_radius - self.high_radius) <= SAME_RADIUS

    @property
    def radius(self) -> float:
        """Its narrowest radius, mm."""
        return min(self.low_radius, self.high_radius)


def walls_of(solid: Solid, metal: Metal, skip: Collection[int] = ()) -> list[list[Wall]]:
    """Return the walls found in a solid, those of one axis together in order of height.

    Args:
        metal: of the same solid.
        skip: surfaces to leave out.
    """
    hollow = [s for s in solid.surfaces if s.hollow and s.kind in ("cylinder", "cone") and s.index not in skip]
    found = []
    for group in _by_axis(hollow):
        line = Line(foot((0.0, 0.0, 0.0), group[0].origin, group[0].axis), group[0].axis)
        walls = [wall for wall in _merged([_piece(s, line) for s in group], line) if encloses_air(wall, metal)]
        if walls:
            found.append(sorted(walls, key=lambda w: (w.low + w.high, w.low)))
    return found


# --- pieces on one axis -----------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Piece:
    """One surface seen from a line: heights, radii there, and the part of the turn it covers (from, to)."""

    low: float
    high: float
    low_radius: float
    high_radius: float
    turn: tuple[float, float]
    surface: int

    @property
    def slope(self) -> float:
        return math.degrees(math.atan2(self.high_radius - self.low_radius, self.high - self.low))

    def radius_at(self, height: float) -> float:
        share = (height - self.low) / (self.high - self.low) if self.high > self.low else 0.0
        return self.low_radius + share * (self.high_radius - self.low_radius)


def _by_axis(surfaces: Sequence[Surface]) -> list[list[Surface]]:
    """Return the surfaces grouped by axis, the largest of each group first: it says where the axis is best."""
    groups: list[list[Surface]] = []
    for surface in sorted(surfaces, key=lambda s: (-s.area, s.centroid)):
        home = next((g for g in groups if shares_axis(surface, g[0])), None)
        if home is None:
            groups.append([surface])
        else:
            home.append(surface)
    return groups


def shares_axis(surface: Surface, other: Surface) -> bool:
    """Return whether two curved surfaces turn round one axis, as far as a spline tells it."""
    slack = SAME_DIRECTION
    if surface.recovered:
        slack = max(slack, SPLINE_FIT / max(surface.extent[1] - surface.extent[0], SPLINE_FIT))
    if norm(cross(surface.axis, other.axis)) > slack:
        return False
    middle = add(surface.origin, scale(surface.axis, sum(surface.extent) / 2))
    return norm(sub(middle, foot(middle, other.origin, other.axis))) <= SAME_AXIS


def _piece(surface: Surface, line: Line) -> _Piece:
    same_way = dot(surface.axis, line.axis) > 0
    ends = [along(add(surface.origin, scale(surface.axis, e)), line.origin, line.axis) for e in surface.extent]
    widening = math.tan(math.radians(surface.half_angle))
    radii = [surface.radius + e * widening for e in surface.extent]
    (low, high), (low_radius, high_radius) = (ends, radii) if same_way else (ends[::-1], radii[::-1])
    middle = _angle_on(line, surface, surface.turn_start + surface.turn / 2)
    turn = (middle - surface.turn / 2, middle + surface.turn / 2)
    return _Piece(low, high, low_radius, high_radius, turn, surface.index)


def _angle_on(line: Line, surface: Surface, angle: float) -> float:
    """Return an angle round a surface's axis as one round the line."""
    x, turn = turn_zero(surface.axis), math.radians(angle)
    way = add(scale(x, math.cos(turn)), scale(cross(surface.axis, x), math.sin(turn)))
    zero = turn_zero(line.axis)
    return math.degrees(math.atan2(dot(way, cross(line.axis, zero)), dot(way, zero)))


# --- pieces made one --------------------------------------------------------


def _merged(pieces: Sequence[_Piece], line: Line) -> Iterator[Wall]:
    """Yield the walls that pieces of one axis make: the same form, touching along the axis, and most of the way round."""
    waiting = sorted(pieces, key=lambda p: (p.low, p.high, p.low_radius, p.turn))
    while waiting:
        group, high = [waiting.pop(0)], 0.0
        while len(group) > high:
            high = len(group)
            top = max(p.high for p in group)
            joined = [p for p in waiting if p.low <= top + SAME_RADIUS and _is_same_form(group[0], p)]
            group += joined
            waiting = [p for p in waiting if p not in joined]
        if cover(p.turn for p in group) >= MIN_COVER:
            yield _wall(group, line)


def _is_same_form(a: _Piece, b: _Piece) -> bool:
    middle = (b.low + b.high) / 2
    return abs(a.slope - b.slope) <= SAME_SLOPE and abs(a.radius_at(middle) - b.radius_at(middle)) <= SAME_RADIUS


def _wall(group: Sequence[_Piece], line: Line) -> Wall:
    first, last = min(group, key=lambda p: p.low), max(group, key=lambda p: p.high)
    return Wall(line, first.low, last.high, first.low_radius, last.high_radius, tuple(sorted(p.surface for p in group)))


def cover(turns: Iterator[tuple[float, float]]) -> float:
    """Return the share of the full turn that angle ranges (degrees, from below to) cover together."""
    spans: list[tuple[float, float]] = []
    for start, end in turns:
        if end - start >= 360.0 - 1e-6:
            return 1.0
        begin = start % 360.0
        stop = begin + end - start
        spans += [(begin, min(stop, 360.0)), (0.0, max(stop - 360.0, 0.0))]
    total, reach = 0.0, 0.0
    for begin, stop in sorted(spans):
        total += max(0.0, stop - max(begin, reach))
        reach = max(reach, stop)
    return total / 360.0


def encloses_air(wall: Wall, metal: Metal) -> bool:
    """Return whether a wall encloses air: the outer wall of a ring groove has metal in its middle.

    Half-way along the wall its axis is in air, and at least two of three lines from there get
    nine tenths of the way out; one may meet a key or a rib.
    """
    line, height = wall.line, (wall.low + wall.high) / 2
    middle = line.at(height)
    length = _CLEAR * (wall.low_radius + wall.high_radius) / 2
    x = turn_zero(line.axis)
    y = cross(line.axis, x)
    ways = [add(scale(x, c), scale(y, s)) for c, s in _ROUND]
    return sum(metal.meets(middle, way, length) for way in ways) <= 1 and not metal.at(middle)


_CLEAR: Final = 0.9
_ROUND: Final = tuple((math.cos(math.radians(a)), math.sin(math.radians(a))) for a in (37.0, 157.0, 277.0))
