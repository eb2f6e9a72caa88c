"""Holes found in a solid: what a spindle makes along one axis from one side.

How they are told apart:
- walls of one axis with only air between them are one hole, also where a slot, a cross
  hole or the gap between two lugs interrupts them (`geom.passage` says how wide a gap);
- a blind hole opens to its open end; a through one to its wider mouth, else its larger
  countersink, else the machined plane, else +z, +y or +x;
- one step with a flat shoulder makes it counterbored, a cone at the mouth larger than a
  broken edge countersunk, anything else of several diameters stepped;
- a wider mouth on the far side of a through hole is a hole of its own, for the spindle
  must come from there; its `pilot` names the hole it is the far mouth of.

Lengths mm, angles degrees, part frame. Knows nothing of castings or declared names.
"""

import math
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, TypeAlias

from geom.hole_mouth import Surroundings, end_reach, opening, own_faces
from geom.kernel.metal import Metal
from geom.kernel.shape import Solid
from geom.part import FoundCounterbore, FoundCountersink, HoleKind, HoleStep, PartHole
from geom.passage import Length, Passage, Sides, is_edge_break, opens_to, outward_axis, passages, seen_from, sides
from geom.ranking import in_order
from geom.space import Vec3, along, scale
from geom.standards.suggest import suggestions
from geom.walls import SAME_RADIUS, Line, walls_of

MachinedTest: TypeAlias = Callable[[int], bool]
Facing: TypeAlias = Callable[[Vec3, Vec3], Vec3 | None]

_POINTED: Final = 0.1
"""A cone that narrows to less than this share of the hole's radius is a drill point."""

_FLAT_SHARE: Final = 0.1
"""Least share of a step's width that is flat where it is a shoulder, not a cone."""

_SINK_ANGLE: Final = 60.0
"""Included angle, degrees, from which a cone through and through is a countersink and not a taper."""


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
            found += _holes_of(around, passage, is_machined, facing, skip)
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


def _holes_of(
    around: Surroundings, passage: Passage, is_machined: MachinedTest, facing: Facing, skip: Collection[int]
) -> Iterator[_Found]:
    def opens_on_machined(outward: Vec3) -> bool:
        _, plane = opening(around, seen_from(passage, outward), Line(passage.line.origin, outward))
        return plane is not None and is_machined(plane)

    told = facing(passage.line.origin, passage.line.axis)
    outward = told if told and opens_to(passage, told) else outward_axis(passage, opens_on_machined)
    if outward is None:
        return
    lengths = seen_from(passage, outward)
    parts = sides(lengths, passage.open_low and passage.open_high)
    through = passage.open_low and passage.open_high and not parts.tip
    taken = {i for w in parts.far for i in w.surfaces} | set(skip)
    main = _Found(_hole(around, _Seen(Line(passage.line.origin, outward), lengths, parts, through), taken))
    yield main
    if parts.far:
        back = scale(outward, -1.0)
        behind = seen_from(passage, back)
        seen = _Seen(Line(passage.line.origin, back), behind, sides(behind, through), through)
        yield _Found(_hole(around, seen, set(main.hole.surfaces) | set(skip)), main)


# --- one hole ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Seen:
    """A passage seen from one side: the outward line, its lengths, where they are cut."""

    line: Line
    lengths: list[Length]
    parts: Sides
    through: bool


def _hole(around: Surroundings, seen: _Seen, taken: Collection[int]) -> PartHole:
    parts = seen.parts
    top, _ = opening(around, seen.lengths, seen.line)
    walls = [w for w in (*parts.near, *parts.tip, *parts.broken) if not set(w.surfaces) & set(taken)]
    beside = own_faces(around, walls, seen.line, top, taken)
    radius = _proper_radius(parts.near)
    full = top - _floor(around, beside, seen.line, _end_of_full(parts.near), radius)
    kind, bore, sink = _mouth(parts.near, top, seen.through)
    tip, angle = (None, None) if seen.through else _tip(around, seen, beside, top, radius)
    return PartHole(
        name="",
        kind=kind,
        diameter=_tidied(2 * radius),
        centre=_tidied_point(seen.line.at(top)),
        axis=seen.line.axis,
        through=seen.through,
        depth=None if seen.through else _tidied(full),
        length=_tidied(top - min(w.bottom for w in seen.lengths) if seen.through else full),
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
    return widest if narrow <= _POINTED * widest else narrow


def _end_of_full(near: Sequence[Length]) -> float:
    """Return the height at which the full diameter ends: for a bare cone, the mouth itself when it is a point."""
    last = near[-1]
    if any(w.is_cylinder for w in near) or last.bottom_radius > _POINTED * last.top_radius:
        return last.bottom
    return near[0].top


def _floor(around: Surroundings, beside: Collection[int], line: Line, end: float, radius: float) -> float:
    """Return the height of the flat floor below the end of the full diameter: a fillet between them counts as depth."""
    floors = [s.origin for i in beside if (s := around.solid.surfaces[i]).kind == "plane"]
    heights = [along(origin, line.origin, line.axis) for origin in floors]
    return min((h for h in heights if end - radius <= h <= end), default=end)


def _tip(
    around: Surroundings, seen: _Seen, beside: Collection[int], top: float, radius: float
) -> tuple[float | None, float | None]:
    """Return the depth of a blind hole's tip and the angle of its point: none when flat, no angle for a ball end.

    A point that breaks into another hole is cut off there; its tip is where it would have ended.
    """
    ends = seen.parts.tip or ([] if any(w.is_cylinder for w in seen.parts.near) else seen.parts.near[-1:])
    for end in ends:
        if end.narrows and (end.bottom_radius <= _POINTED * radius or end is seen.lengths[-1]):
            slope = (end.top_radius - end.bottom_radius) / (end.top - end.bottom)
            return _tidied(top - end.top + end.top_radius / slope), _tidied(2 * math.degrees(math.atan(slope)))
    balls = [s for i in beside if (s := around.solid.surfaces[i]).kind == "sphere"]
    depths = [top - along(s.origin, seen.line.origin, seen.line.axis) + s.radius for s in balls]
    return (_tidied(max(depths)) if depths else None), None


def _steps(lengths: Sequence[Length], top: float) -> tuple[HoleStep, ...]:
    starts = (0.0, *(top - w.top for w in lengths[1:]))
    return tuple(
        HoleStep(*map(_tidied, (start, top - w.bottom, 2 * w.top_radius, 2 * w.bottom_radius)))
        for start, w in zip(starts, lengths, strict=True)
    )


def _tidied(value: float) -> float:
    """Return a measure without the kernel's last digits, and never -0."""
    return round(value, 8) + 0.0


def _tidied_point(point: Vec3) -> Vec3:
    x, y, z = point
    return (_tidied(x), _tidied(y), _tidied(z))


# --- what kind --------------------------------------------------------------

_Mouth = tuple[HoleKind, FoundCounterbore | None, FoundCountersink | None]


def _mouth(near: Sequence[Length], top: float, through: bool) -> _Mouth:
    plain: HoleKind = "through" if through else "blind"
    sink = _countersink(near[0])
    diameters = _narrowing(near)
    if not diameters:
        is_sink = through and sink is not None and sink.angle >= _SINK_ANGLE
        return ("countersunk", None, sink) if is_sink else (plain, None, None)
    if len(diameters) == 1:
        return ("countersunk" if sink and not is_edge_break(near[0]) else plain), None, sink
    if len(diameters) == 2 and _is_shoulder(near, *diameters) and (sink is None or is_edge_break(near[0])):
        return (
            "counterbored",
            FoundCounterbore(_tidied(2 * diameters[0].top_radius), _tidied(top - _end_of(near, diameters[0]))),
            sink,
        )
    return "stepped", None, sink


def _countersink(first: Length) -> FoundCountersink | None:
    if not first.narrows or first.bottom_radius <= _POINTED * first.top_radius:
        return None
    half = math.degrees(math.atan2(first.top_radius - first.bottom_radius, first.top - first.bottom))
    return FoundCountersink(_tidied(2 * first.top_radius), _tidied(2 * half))


def _narrowing(near: Sequence[Length]) -> list[Length]:
    """Return the first cylinder of each new, narrower diameter; a groove, wider than what lies above it, is none."""
    found: list[Length] = []
    for wall in near:
        if wall.is_cylinder and (not found or wall.top_radius < found[-1].top_radius - SAME_RADIUS):
            found.append(wall)
    return found


def _is_shoulder(near: Sequence[Length], wide: Length, narrow: Length) -> bool:
    """Return whether the step between two diameters is flat, but for a broken edge."""
    between = near[near.index(wide) + 1 : near.index(narrow)]
    coned = sum(w.top_radius - w.bottom_radius for w in between if w.narrows)
    step = wide.top_radius - narrow.top_radius
    return step - coned > _FLAT_SHARE * step


def _end_of(near: Sequence[Length], wide: Length) -> float:
    """Return the height of the shoulder below a diameter: past a fillet, and past what interrupts it."""
    last = max(i for i, w in enumerate(near) if w.is_cylinder and abs(w.top_radius - wide.top_radius) <= SAME_RADIUS)
    end, below = near[last].bottom, near[last + 1]
    fillet = wide.top_radius - below.top_radius
    return below.top if 0 <= end - below.top <= fillet else end
