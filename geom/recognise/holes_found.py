"""Holes found in a solid: what a spindle makes along one axis from one side.

How they are told apart:
- walls of one axis with only air between them are one hole, also where a slot, a cross
  hole or the gap between two lugs interrupts them (`geom.recognise.passage` says how wide a gap);
- a blind hole opens to its open end; for a through one `geom.recognise.passage.outward_axis` has the rule;
- a wider mouth on the far side of a through hole is a hole of its own, for the spindle
  must come from there; its `pilot` names the hole it is the far mouth of;
- what kind it is, `geom.recognise.hole_kind` says.

Lengths mm, angles degrees, part frame. Knows nothing of castings or declared names.
"""

import math
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, TypeAlias

from geom.kernel.metal import Metal
from geom.kernel.shape import Solid
from geom.kernel.surface import turn_zero
from geom.model.part import HoleStep, PartHole
from geom.ranking import in_order
from geom.recognise.hole_kind import POINTED, mouth_of, tidied
from geom.recognise.hole_mouth import Surroundings, end_reach, opening, own_faces
from geom.recognise.passage import BEYOND, Length, Passage, Sides, opens_to, outward_axis, passages, seen_from, sides
from geom.recognise.walls import Line, walls_of
from geom.space import Vec3, add, along, cross, scale
from geom.standards.suggest import suggestions

MachinedTest: TypeAlias = Callable[[int], bool]
Facing: TypeAlias = Callable[[Vec3, Vec3], Vec3 | None]


def find_holes(
    solid: Solid,
    skip: Collection[int] = (),
    is_machined: MachinedTest = lambda _: False,
    facing: Facing = lambda _origin, _axis: None,
    metal: Metal | None = None,
) -> tuple[PartHole, ...]:
    """Return the holes of one solid, named "hole 1", "hole 2" ... in an order that only geometry decides.

    Order: axis nearest +z first, then +x, then +y; wider first; then by x, y and z of the centre.

    Args:
        skip: surfaces that are no part of a drilled hole (as-cast walls).
        is_machined: whether a plane (a surface index) is machined; it settles which side a plain through hole opens to.
        facing: the outward axis of a hole on a line (a point, a direction), when something else settles it.
        metal: of the same solid, when the caller has it already.
    """
    around = Surroundings(solid)
    metal = metal or Metal(solid)
    found: list[_Found] = []
    for walls in walls_of(solid, metal, skip):
        for passage in passages(walls, metal, partial(end_reach, around)):
            found += _holes_of(around, metal, passage, _Asked(skip, is_machined, facing))
    order = in_order(found, *_MEASURES)
    names = {id(one): f"hole {i}" for i, one in enumerate(order, 1)}
    return tuple(replace(one.hole, name=names[id(one)], pilot=names.get(id(one.main))) for one in order)


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """A hole without its name, and the hole it is the far mouth of."""

    hole: PartHole
    main: "_Found | None" = None


_MEASURES: Final[tuple[Callable[[_Found], float], ...]] = (
    lambda one: -one.hole.axis[2],
    lambda one: -one.hole.axis[0],
    lambda one: -one.hole.axis[1],
    lambda one: -one.hole.diameter,
    lambda one: one.hole.centre[0],
    lambda one: one.hole.centre[1],
    lambda one: one.hole.centre[2],
)


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the caller of `find_holes` said; see there."""

    skip: Collection[int]
    is_machined: MachinedTest
    facing: Facing


def _holes_of(around: Surroundings, metal: Metal, passage: Passage, asked: _Asked) -> Iterator[_Found]:
    outward = _outward(around, metal, passage, asked)
    if outward is None:
        return
    near = _seen(around, passage, outward)
    taken = {i for w in near.parts.far for i in w.surfaces} | set(asked.skip)
    main = _Found(_hole(around, near, taken))
    yield main
    if near.parts.far:
        behind = _seen(around, passage, scale(outward, -1.0))
        yield _Found(_hole(around, behind, set(main.hole.surfaces) | set(asked.skip)), main)


def _outward(around: Surroundings, metal: Metal, passage: Passage, asked: _Asked) -> Vec3 | None:
    def is_reachable(way: Vec3) -> bool:
        line, lengths = Line(passage.line.origin, way), seen_from(passage, way)
        mouth = line.at(opening(around, lengths, line)[0] + BEYOND)
        x = scale(turn_zero(way), _SPINDLE * lengths[0].top_radius)
        y = cross(way, x)
        beside = [add(mouth, add(scale(x, c), scale(y, s))) for c, s in _ROUND]
        return metal.sees_out(mouth, way) and any(metal.sees_out(spot, way) for spot in beside)

    def opens_on_machined(way: Vec3) -> bool:
        plane = opening(around, seen_from(passage, way), Line(passage.line.origin, way))[1]
        return plane is not None and asked.is_machined(plane)

    told = asked.facing(passage.line.origin, passage.line.axis)
    return told if told and opens_to(passage, told) else outward_axis(passage, is_reachable, opens_on_machined)


_SPINDLE: Final = 1.5
"""A spindle is taken to need this many times the hole's radius clear before it, on one side at least."""

_ROUND: Final = tuple((math.cos(math.radians(a)), math.sin(math.radians(a))) for a in (37.0, 157.0, 277.0))


# --- one hole ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Seen:
    """A passage seen from one side: the outward line, its lengths, where they are cut, its near and far opening's height."""

    line: Line
    lengths: list[Length]
    parts: Sides
    through: bool
    top: float
    bottom: float


def _seen(around: Surroundings, passage: Passage, outward: Vec3) -> _Seen:
    lengths, behind = seen_from(passage, outward), seen_from(passage, scale(outward, -1.0))
    parts = sides(lengths, passage.open_low and passage.open_high)
    through = passage.open_low and passage.open_high and not parts.tip
    line, back = Line(passage.line.origin, outward), Line(passage.line.origin, scale(outward, -1.0))
    bottom = min(w.bottom for w in lengths)
    if through:
        bottom = min(bottom, -opening(around, behind, back)[0])
    return _Seen(line, lengths, parts, through, opening(around, lengths, line)[0], bottom)


def _hole(around: Surroundings, seen: _Seen, taken: Collection[int]) -> PartHole:
    parts, top = seen.parts, seen.top
    walls = [w for w in (*parts.near, *parts.tip, *parts.broken) if not set(w.surfaces) & set(taken)]
    beside = own_faces(around, walls, seen.line, top, taken)
    radius = _proper_radius(parts.near)
    full = top - _floor(_floors(around, beside, seen.line), _end_of_full(parts.near), radius)
    kind, bore, sink = mouth_of(parts.near, top, seen.through, _floors(around, beside, seen.line))
    tip, angle = (None, None) if seen.through else _tip(around, seen, beside, top, radius)
    return PartHole(
        name="",
        kind=kind,
        diameter=tidied(2 * radius),
        centre=_tidied_point(seen.line.at(top)),
        axis=seen.line.axis,
        through=seen.through,
        depth=None if seen.through else tidied(full),
        length=tidied(top - seen.bottom if seen.through else full),
        tip_depth=tip,
        point_angle=angle,
        counterbore=bore,
        countersink=sink,
        steps=_steps((*parts.near, *parts.tip), top),
        surfaces=tuple(sorted({i for w in walls for i in w.surfaces} | set(beside))),
        source="solid",
        suggestions=suggestions(
            2 * radius,
            counterbore=bore.diameter if bore else None,
            countersink=sink.diameter if kind == "countersunk" and sink else None,
        ),
    )


def _proper_radius(near: Sequence[Length]) -> float:
    cylinders = [w.top_radius for w in near if w.is_cylinder]
    if cylinders:
        return min(cylinders)
    narrow = min(w.bottom_radius for w in near)
    widest = max(w.top_radius for w in near)
    return widest if narrow <= POINTED * widest else narrow


def _end_of_full(near: Sequence[Length]) -> float:
    """Return the height at which the full diameter ends: for a bare cone, the mouth itself when it is a point."""
    last = near[-1]
    if any(w.is_cylinder for w in near) or last.bottom_radius > POINTED * last.top_radius:
        return last.bottom
    return near[0].top


def _floors(around: Surroundings, beside: Collection[int], line: Line) -> list[float]:
    """Return the heights of the flat floors among a hole's own faces."""
    floors = [s.origin for i in beside if (s := around.solid.surfaces[i]).kind == "plane"]
    return [along(origin, line.origin, line.axis) for origin in floors]


def _floor(floors: Sequence[float], end: float, radius: float) -> float:
    """Return the height of the flat floor below the end of the full diameter: a fillet between them counts as depth."""
    return min((h for h in floors if end - radius <= h <= end), default=end)


def _tip(
    around: Surroundings, seen: _Seen, beside: Collection[int], top: float, radius: float
) -> tuple[float | None, float | None]:
    """Return the depth of a blind hole's tip and the angle of its point: none when flat, no angle for a ball end.

    A point that breaks into another hole is cut off there; its tip is where it would have ended.
    """
    ends = seen.parts.tip or ([] if any(w.is_cylinder for w in seen.parts.near) else seen.parts.near[-1:])
    for end in ends:
        if end.narrows and (end.bottom_radius <= POINTED * radius or end is seen.lengths[-1]):
            slope = (end.top_radius - end.bottom_radius) / (end.top - end.bottom)
            return tidied(top - end.top + end.top_radius / slope), tidied(2 * math.degrees(math.atan(slope)))
    balls = [s for i in beside if (s := around.solid.surfaces[i]).kind == "sphere"]
    depths = [top - along(s.origin, seen.line.origin, seen.line.axis) + s.radius for s in balls]
    return (tidied(max(depths)) if depths else None), None


def _steps(lengths: Sequence[Length], top: float) -> tuple[HoleStep, ...]:
    starts = (0.0, *(top - w.top for w in lengths[1:]))
    return tuple(
        HoleStep(*map(tidied, (start, top - w.bottom, 2 * w.top_radius, 2 * w.bottom_radius)))
        for start, w in zip(starts, lengths, strict=True)
    )


def _tidied_point(point: Vec3) -> Vec3:
    x, y, z = point
    return (tidied(x), tidied(y), tidied(z))
