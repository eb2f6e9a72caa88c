"""Round bores of a casting that no pattern draws: which of them a core can form, and why not the others.

A bore goes round one axis, along the draw or level across it, in one diameter or in
steps, open at both ends or at one; a blind one ends flat or in a cone. One that leans
is cored where both its ends open in level faces. Draw frame, mm. Rules: common
practice, no source. Knows nothing of prints and boxes.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from geom.kernel.shape import Surface
from geom.pattern.coaxial import Order, Profile, Run, disc_at, frustum, runs, steps_of
from geom.pattern.leaning import along_lean, between_level_faces, column, excess, lean_of
from geom.rays.body import Body, joined, rod
from geom.space import Vec3
from geom.tolerance import SAME_DIRECTION

Floats = npt.NDArray[np.float64]

_NEARLY: Final = 0.98
"""Share of a bore's radius that is looked through: facets and roundings at the rim do not count."""

_AIR: Final = 1e-3
_END: Final = 0.03
"""Shares of a volume that count as nothing."""

_LIFT: Final = 0.01
"""mm off a face: beyond facets' rounding."""

_BEYOND: Final = 0.5
"""mm of metal looked for beyond a closed end."""

_NONE: Final = 0.05
"""mm: a smaller radius is a point."""

_CHORD: Final = 0.1


@dataclass(frozen=True, slots=True)
class Bore:
    """A bore of the casting, draw frame.

    Attributes:
        surfaces: of its walls, its steps, and the end of a blind one.
        profile: radii along its axis from its start, where the distance is 0; a cone at the closed end ends in radius 0.
        start: on its axis; the core stands on its start, or lies; a blind bore opens there.
        axis: from start to end, a unit vector.
        upright: along the draw.
        blind: closed at its end.
    """

    surfaces: tuple[int, ...]
    profile: Profile
    start: Vec3
    axis: Vec3
    upright: bool
    blind: bool = False

    @property
    def length(self) -> float:
        return self.profile[-1][0]

    @property
    def end(self) -> Vec3:
        x, y, z = (np.asarray(self.start) + self.length * np.asarray(self.axis)).tolist()
        return (x, y, z)

    @property
    def radius(self) -> float:
        """The widest."""
        return max(radius for _, radius in self.profile)

    @property
    def mouth(self) -> float:
        """The radius at its start."""
        return self.profile[0][1]

    @property
    def far(self) -> float:
        """The radius at its end."""
        return self.profile[-1][1]

    @property
    def leans(self) -> bool:
        """Whether it is neither along the draw nor level."""
        return SAME_DIRECTION < abs(self.axis[2]) < 1.0 - SAME_DIRECTION

    @property
    def is_stepped(self) -> bool:
        """Whether it has more than one diameter, a cone at its closed end aside."""
        radii = [radius for _, radius in self.profile if not (self.blind and radius < _NONE)]
        return max(radii) - min(radii) > _NONE

    @property
    def volume(self) -> float:
        """Closed form, mm3."""
        return sum(frustum(r0, r1, z1 - z0) for (z0, r0), (z1, r1) in steps_of(self.profile))

    def scaled(self, factor: float) -> "Bore":
        """Return it so many times as large."""
        x, y, z = (factor * c for c in self.start)
        return replace(self, profile=tuple((factor * t, factor * r) for t, r in self.profile), start=(x, y, z))

    @property
    def turned(self) -> "Bore":
        """Return it seen from its other end."""
        back = tuple((self.length - t, r) for t, r in reversed(self.profile))
        x, y, z = self.axis
        return replace(self, profile=back, start=self.end, axis=(0.0 - x, 0.0 - y, 0.0 - z))


@dataclass(frozen=True, slots=True)
class Uncored:
    """A bore no core forms, and why, in words."""

    bore: Bore
    why: str


def sorted_bores(surfaces: Sequence[Surface], order: Order, casting: Body, size: float) -> tuple[list[Bore], list[Uncored]]:
    """Return the bores that cores form, the largest first, and the others.

    Args:
        surfaces: the casting's own, part frame.
        order: the part axes that are the draw frame's X, Y, Z.
        casting: draw frame.
        size: of the casting: as far as anything of it reaches.
    """
    good: list[Bore] = []
    bad: list[Uncored] = []
    for run in runs(surfaces, order):
        bore = _bore_of(run)
        found = (_between if bore.leans else _opened)(bore, run, surfaces, order, casting, size)
        if isinstance(found, Uncored):
            bad.append(found)
        else:
            good.append(found)
    return _standing(good, bad)


def _between(bore: Bore, run: Run, surfaces: Sequence[Surface], order: Order, casting: Body, size: float) -> Bore | Uncored:
    """Return a leaning bore that opens in level faces at both ends, nothing below or above it."""
    lean = f"it lies {math.degrees(lean_of(bore.axis)):.1f} degrees off the draw"
    otherwise = _otherwise(bore, order)
    wall = next((s for s in surfaces if s.index == run.surfaces[0]), None)
    if wall is None or len(run.surfaces) > 1:
        return Uncored(bore, f"{lean} and has steps, and no print at that angle draws: {otherwise}")
    ends = between_level_faces(wall, bore.axis, surfaces, order)
    if ends is None:
        return Uncored(bore, f"{lean} and does not open in level faces at both ends, and no print at that angle draws: {otherwise}")
    start, length = ends
    level = replace(bore, profile=((0.0, wall.radius), (length, wall.radius)), start=start)
    room = column(
        (0.0, 0.0, _NEARLY * wall.radius),
        (length * math.sin(lean_of(bore.axis)), length * abs(bore.axis[2]), _NEARLY * wall.radius),
        excess(wall.radius, bore.axis),
        _CHORD,
    ).moved(along_lean(bore.axis), start)
    if (room & casting).volume > _END * room.volume:
        return Uncored(bore, f"{lean} and metal stands in it: {otherwise}")
    if not all(_is_clear_along(one, casting, size) for one in (level, level.turned)):
        return Uncored(bore, f"{lean}, and metal stands along the draw in the way of its prints: {otherwise}")
    return level


def _otherwise(bore: Bore, order: Order) -> str:
    """Return what would do for a bore that leans: the name of an axis that it lies square to comes first."""
    square = ["XYZ"[axis] for axis, along in zip(order, bore.axis, strict=True) if abs(along) < SAME_DIRECTION]
    drawn = [f"drawn along {name} (pattern.draw) it lies level and can be cored in the parting" for name in square]
    rest = "leave it out of the casting and drill it from solid, or have the foundry set it with a loose piece"
    return "; or ".join([*drawn, rest])


def _is_clear_along(bore: Bore, casting: Body, size: float) -> bool:
    """Tell whether a print could stand on along the draw from a leaning bore's start: nothing but air, as wide as its mouth."""
    longer, radius = excess(bore.radius, bore.axis), _NEARLY * bore.radius
    print_room = column((0.0, -size, radius), (0.0, -_LIFT, radius), longer, _CHORD).moved(along_lean(bore.axis), bore.start)
    return (print_room & casting).volume < _AIR * print_room.volume


def _bore_of(run: Run) -> Bore:
    """Return a run of walls as a bore, from its lower end up."""
    first = run.profile[0][0]
    x, y, z = (np.asarray(run.foot) + first * np.asarray(run.axis)).tolist()
    profile = tuple((t - first, r) for t, r in run.profile)
    bore = Bore(run.surfaces, profile, (x, y, z), run.axis, abs(run.axis[2]) > 1.0 - SAME_DIRECTION)
    ends = [(round(p[2], 6), p) for p in (bore.start, bore.end)]
    return bore if ends[0] <= ends[1] else bore.turned


def _opened(bore: Bore, run: Run, surfaces: Sequence[Surface], order: Order, casting: Body, size: float) -> Bore | Uncored:
    """Return a bore with what its ends are."""
    hollow = revolved([(t, _NEARLY * r) for t, r in bore.profile], _CHORD).moved(upright_to(bore.axis), bore.start)
    if (hollow & casting).volume > _END * hollow.volume:
        return Uncored(bore, f"metal stands in it, so it is no bore all round: {_OPEN_IT}")
    free = [_is_clear(one, casting, size) for one in (bore, bore.turned)]
    if all(free):
        return bore
    if not any(free):
        return Uncored(bore, f"nothing could hold its core, for neither end opens as wide as it is there: {_OPEN_IT}")
    blind = replace(bore if free[0] else bore.turned, blind=True)
    along = float(np.dot(np.subtract(blind.end, run.foot), run.axis))
    floor = None if blind.far < _NONE else disc_at(run, surfaces, order, along, blind.far)
    if blind.far >= _NONE and (floor is None or not _is_closed(blind, casting)):
        return Uncored(bore, f"its closed end is neither flat nor a cone as wide as the bore, nor a plain ring: {_OPEN_IT}")
    return blind if floor is None else replace(blind, surfaces=tuple(sorted({*blind.surfaces, floor})))


_OPEN_IT: Final = "change that in the model, or leave the bore out of the casting and drill it"


def revolved(profile: Sequence[tuple[float, float]], chord: float) -> Body:
    """Return the body of a profile about Z, its first distance at its own Z."""
    stretches = steps_of(tuple(profile))
    return joined(
        [
            rod((0.0, 0.0, z0), max(r0, 1e-3), z1 - z0 + (1e-3 if i + 1 < len(stretches) else 0.0), chord, max(r1, 1e-3))
            for i, ((z0, r0), (z1, r1)) in enumerate(stretches)
        ]
    )


def _is_clear(bore: Bore, casting: Body, size: float) -> bool:
    """Tell whether a core could leave a bore at its start: nothing but air, as wide as the bore there."""
    if bore.mouth < _NONE:
        return False
    return (_rod(bore, -size, size, bore.mouth) & casting).volume < _AIR * math.pi * bore.mouth**2 * size


def _rod(bore: Bore, at: float, length: float, radius: float) -> Body:
    """Return a cylinder along a bore's axis from so far behind its start."""
    foot = np.asarray(bore.start) + at * np.asarray(bore.axis)
    return rod((0.0, 0.0, 0.0), _NEARLY * radius, length, _CHORD).moved(upright_to(bore.axis), foot.tolist())


def _is_closed(bore: Bore, casting: Body) -> bool:
    """Tell whether beyond a blind bore's flat end there is metal."""
    beyond = _rod(bore, bore.length, _BEYOND, bore.far)
    return (beyond - casting).volume < _END * beyond.volume


def _standing(good: list[Bore], bad: list[Uncored]) -> tuple[list[Bore], list[Uncored]]:
    """Return the bores with upright blind ones all open downwards in the mould; those that would hang go to the others.

    Where none is blind, stepped ones stand on their wide end, as far as they agree.
    """
    blind = [bore for bore in good if bore.blind and bore.upright]
    down, up = ([b for b in blind if (b.axis[2] > 0) == rises] for rises in (True, False))
    hanging = up if sum(b.volume for b in down) >= sum(b.volume for b in up) else down
    turned_over = (bool(up) and hanging is down) if blind else sum(_heavy_top(good)) > 0
    found = [b.turned if turned_over and (b.upright or b.leans) and not b.blind else b for b in good if b not in hanging]
    why = "its core would hang from the cope, for it opens the other way from the other blind bores: leave it out and drill it"
    return found, [*bad, *(Uncored(bore, why) for bore in hanging)]


def _heavy_top(bores: Sequence[Bore]) -> Iterator[float]:
    """Yield for each upright bore its volume where it is wider at its end than at its start, less than nothing where it is not."""
    for bore in bores:
        if bore.upright and abs(bore.far - bore.mouth) > _NONE:
            yield math.copysign(bore.volume, bore.far - bore.mouth)


def upright_to(axis: Sequence[float] | Floats) -> Floats:
    """Return the turn (3, 3) that lays Z along a direction."""
    way = np.asarray(axis, dtype=float)
    if abs(way[2]) > 1.0 - 1e-12:
        return np.diag([1.0, math.copysign(1.0, way[2]), math.copysign(1.0, way[2])])
    across = np.cross((0.0, 0.0, 1.0), way)
    across /= np.linalg.norm(across)
    return np.column_stack([across, np.cross(way, across), way])
