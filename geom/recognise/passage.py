"""Walls on one axis chained into passages, and each passage seen from the side it opens to.

A passage is what one drill or boring bar can follow: walls with nothing but
air between them. Where walls lie further apart than a tool is likely to reach,
each side is a passage of its own. Lengths mm, part frame. Knows nothing of
castings, callouts or names.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from geom.kernel.metal import Metal
from geom.recognise.walls import SAME_RADIUS, Line, Wall
from geom.space import Vec3, canonical, dot, scale
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

REACH: Final = 8.0
"""Walls apart by more than this many of the smaller diameter are separate holes: a jobber-length drill
cuts about ten diameters deep (common practice, no source)."""

BEYOND: Final = 0.05
"""How far past the end of a wall, mm, its axis is asked whether it is in metal or air."""

EDGE_BREAK: Final = 0.5
"""A cone at a mouth that widens it by no more than this on the radius, mm, or by a tenth of the radius, is a
broken edge, not a countersink (common practice, no source)."""


EndReach: TypeAlias = Callable[[Wall, bool], float]


@dataclass(frozen=True, slots=True)
class Passage:
    """Walls on one line with air between them, and whether the line runs out into air below and above."""

    line: Line
    walls: tuple[Wall, ...]
    open_low: bool
    open_high: bool


@dataclass(frozen=True, slots=True)
class Length:
    """One wall seen from the opening: heights along the outward axis, `top` outermost."""

    top: float
    bottom: float
    top_radius: float
    bottom_radius: float
    surfaces: tuple[int, ...]

    @property
    def is_cylinder(self) -> bool:
        """Whether the wall is straight."""
        return abs(self.top_radius - self.bottom_radius) <= SAME_RADIUS

    @property
    def narrows(self) -> bool:
        """Whether the wall narrows inwards."""
        return self.top_radius > self.bottom_radius + SAME_RADIUS

    @property
    def widens(self) -> bool:
        """Whether the wall widens inwards."""
        return self.bottom_radius > self.top_radius + SAME_RADIUS


def passages(walls: Sequence[Wall], metal: Metal, reach: EndReach) -> Iterator[Passage]:
    """Yield the passages that the walls of one axis (lowest first) make.

    Args:
        reach: the height at which the fillet or ball that follows a wall's low (False) or high (True) end
            ends itself; the wall's own end where there is none.
    """
    runs: list[list[Wall]] = []
    for wall in _without_rings(walls):
        if runs and _adjoin(runs[-1][-1], wall):
            runs[-1].append(wall)
        else:
            runs.append([wall])
    for joined in _joined(runs, metal):
        line = joined[0].line
        low = min((w for w in joined), key=lambda w: w.low)
        high = max((w for w in joined), key=lambda w: w.high)
        ends = reach(low, False) - BEYOND, reach(high, True) + BEYOND
        yield Passage(line, tuple(joined), not metal.at(line.at(ends[0])), not metal.at(line.at(ends[1])))


def _adjoin(lower: Wall, upper: Wall) -> bool:
    """Return whether two walls meet, and not at the point of a drill."""
    return upper.low - lower.high <= SAME_RADIUS and min(lower.high_radius, upper.low_radius) > SAME_RADIUS


def _joined(runs: Sequence[list[Wall]], metal: Metal) -> Iterator[list[Wall]]:
    """Yield runs of walls that meet, those made one that a tool reaches through the air between."""
    held: list[Wall] = []
    for run in runs:
        if held and not _leads_into(held, run, metal):
            yield held
            held = []
        held = held + run
    if held:
        yield held


def _leads_into(lower: Sequence[Wall], upper: Sequence[Wall], metal: Metal) -> bool:
    start, end = lower[-1].high, upper[0].low
    if end - start > REACH * 2 * min(_narrowest(lower), _narrowest(upper)):
        return False
    inset = min(BEYOND, (end - start) / 4) if end > start else 0.0
    return not metal.between(lower[0].line.at(start + inset), lower[0].line.at(end - inset))


def _narrowest(run: Sequence[Wall]) -> float:
    """Return the radius of the widest tool that goes through a run."""
    cylinders = [w.radius for w in run if w.is_cylinder]
    return min(cylinders) if cylinders else max(_widest(w) for w in run)


def _without_rings(walls: Sequence[Wall]) -> list[Wall]:
    """Return the walls less those that another, narrower wall stands in: a boss in a pocket makes it a ring, not a hole."""
    return [w for w in walls if not any(_widest(n) < _widest(w) - SAME_RADIUS and _overlap(n, w) > _RING for n in walls)]


def _overlap(a: Wall, b: Wall) -> float:
    return min(a.high, b.high) - max(a.low, b.low)


_RING: Final = 0.5
"""Two walls of one axis that lie side by side for more than this, mm, have metal between them."""


def _widest(wall: Wall) -> float:
    return max(wall.low_radius, wall.high_radius)


# --- which side it opens to -------------------------------------------------


def outward_axis(passage: Passage, is_reachable: Callable[[Vec3], bool], opens_on_machined: Callable[[Vec3], bool]) -> Vec3 | None:
    """Return the direction a passage opens to, or None when it opens nowhere.

    Blind: its open end. Through: not the end where a drill's point just breaks through; then the
    end a spindle can come to; the wider cylinder at the mouth; the larger countersink; the opening
    on a machined plane; +z, +y or +x. The first of these that tells the ends apart decides.

    Args:
        is_reachable: whether nothing stands before the end that faces this direction.
        opens_on_machined: whether the passage, seen against this direction, opens on a machined plane.
    """
    up = passage.line.axis
    down = scale(up, -1.0)
    if passage.open_low != passage.open_high:
        return up if passage.open_high else down
    if not passage.open_low:
        return None
    measures: tuple[Callable[[Vec3], float], ...] = (
        lambda way: _mouth_is_wide(seen_from(passage, way)),
        lambda way: float(is_reachable(way)),
        lambda way: _mouth_cylinder(seen_from(passage, way)),
        lambda way: _mouth_cone(seen_from(passage, way)),
        lambda way: float(opens_on_machined(way)),
    )
    for measure in measures:
        high, low = measure(up), measure(down)
        if abs(high - low) > SAME_RADIUS:
            return up if high > low else down
    return canonical(up)


def opens_to(passage: Passage, outward: Vec3) -> bool:
    """Return whether a passage has an open end in a direction along its line."""
    return passage.open_high if dot(outward, passage.line.axis) > 0 else passage.open_low


def seen_from(passage: Passage, outward: Vec3) -> list[Length]:
    """Return the walls from the opening inwards, heights along the outward axis from the line's origin."""
    if dot(outward, passage.line.axis) > 0:
        return [Length(w.high, w.low, w.high_radius, w.low_radius, w.surfaces) for w in reversed(passage.walls)]
    return [Length(-w.low, -w.high, w.low_radius, w.high_radius, w.surfaces) for w in passage.walls]


def _mouth_is_wide(lengths: Sequence[Length]) -> float:
    """Return 0 where the mouth is the narrow end of a cone, as where a drill's point breaks into another hole."""
    return 0.0 if lengths[0].widens else 1.0


def _mouth_cylinder(lengths: Sequence[Length]) -> float:
    return next((w.top_radius for w in lengths if w.is_cylinder), 0.0)


def _mouth_cone(lengths: Sequence[Length]) -> float:
    first = lengths[0]
    return first.top_radius if first.narrows else 0.0


def is_edge_break(length: Length) -> bool:
    """Return whether a cone only breaks an edge."""
    wide, narrow = max(length.top_radius, length.bottom_radius), min(length.top_radius, length.bottom_radius)
    return wide - narrow <= max(EDGE_BREAK, 0.1 * narrow) + SAME_RADIUS


# --- near side, far side ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sides:
    """A passage cut where it is narrowest.

    Attributes:
        near: from the opening to the end of the narrowest cylinder.
        tip: what lies below that in a blind passage: a drill point, an undercut; in a through one a point that
            just breaks through.
        far: the mouth on the far side of a through passage, from its narrow end out; () when only an edge is broken.
        broken: the far edge break.
    """

    near: tuple[Length, ...]
    tip: tuple[Length, ...] = ()
    far: tuple[Length, ...] = ()
    broken: tuple[Length, ...] = ()


def sides(lengths: Sequence[Length], through: bool) -> Sides:
    """Return the near side of a passage, and what lies beyond its narrowest cylinder."""
    cylinders = [i for i, w in enumerate(lengths) if w.is_cylinder]
    if not cylinders:
        return Sides(tuple(lengths))
    narrowest = min(lengths[i].top_radius for i in cylinders)
    last = max(i for i in cylinders if lengths[i].top_radius <= narrowest + SAME_RADIUS)
    near, rest = tuple(lengths[: last + 1]), tuple(lengths[last + 1 :])
    if not through or (rest and rest[-1].narrows):
        return Sides(near, tip=rest)
    if all(w.widens and is_edge_break(w) for w in rest):
        return Sides(near, broken=rest)
    return Sides(near, far=rest)


def touches_axis(centre: Vec3, line: Line) -> bool:
    """Return whether a point lies on a line, within `tolerance.SAME_AXIS`."""
    out = tuple(c - o for c, o in zip(centre, line.origin, strict=True))
    height = dot(out, line.axis)  # type: ignore[arg-type]
    off = [o - height * a for o, a in zip(out, line.axis, strict=True)]
    return sum(c * c for c in off) <= SAME_AXIS**2


def is_along(direction: Vec3, line: Line) -> bool:
    """Return whether a direction runs along a line, either way."""
    return abs(dot(direction, line.axis)) >= 1.0 - SAME_DIRECTION**2
