"""Round bores of a casting that no pattern draws: which of them a core can form, and why not the others.

A bore is a straight cylinder, along the draw or level across it, open at both
ends or at one; a blind one ends flat or in a cone. Draw frame, mm. Rules: common
practice, no source. Knows nothing of prints and boxes.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from geom.kernel.shape import Surface
from geom.rays.body import Body, rod
from geom.space import Vec3
from geom.tolerance import SAME_DIRECTION

Floats = npt.NDArray[np.float64]
Order = tuple[int, int, int]

_FULL_TURN: Final = 359.0
_NEARLY: Final = 0.98
"""Share of a bore's radius that is looked through: facets and roundings at the rim do not count."""

_AIR: Final = 1e-3
_END: Final = 0.03
"""Shares of a volume that count as nothing."""

_AT: Final = 0.01
_CHORD: Final = 0.1


@dataclass(frozen=True, slots=True)
class Bore:
    """A bore of the casting, draw frame.

    Attributes:
        surfaces: of its wall, and of the end of a blind one.
        start, end: of its axis; the core stands on its start, or lies; a blind bore opens there.
        upright: along the draw.
        blind: closed at its end.
        tip: how far a cone reaches beyond the end of a blind one; 0: flat.
    """

    surfaces: tuple[int, ...]
    radius: float
    start: Vec3
    end: Vec3
    upright: bool
    blind: bool = False
    tip: float = 0.0

    @property
    def length(self) -> float:
        return math.dist(self.start, self.end)

    @property
    def axis(self) -> Floats:
        """From start to end."""
        return np.asarray(np.subtract(self.end, self.start) / self.length)

    def scaled(self, factor: float) -> "Bore":
        """Return it so many times as large."""
        return replace(
            self,
            radius=factor * self.radius,
            start=_scaled(self.start, factor),
            end=_scaled(self.end, factor),
            tip=factor * self.tip,
        )

    @property
    def turned(self) -> "Bore":
        """Return it seen from its other end."""
        return replace(self, start=self.end, end=self.start)


def _scaled(point: Vec3, factor: float) -> Vec3:
    return factor * point[0], factor * point[1], factor * point[2]


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
    for bore in _round(surfaces, order):
        rise = abs(float(bore.axis[2]))
        if SAME_DIRECTION < rise < 1.0 - SAME_DIRECTION:
            lean = math.degrees(math.acos(min(1.0, rise)))
            bad.append(Uncored(bore, f"it lies {lean:.1f} degrees off the draw, and no print at that angle draws: {_OTHERWISE}"))
            continue
        found = _opened(bore, surfaces, order, casting, size)
        if isinstance(found, Uncored):
            bad.append(found)
        else:
            good.append(found)
    return _standing(good, bad)


_OTHERWISE: Final = (
    "draw along its axis (pattern.draw), lay it upright or level in the model, or leave it out of the casting and drill it"
)


def _round(surfaces: Sequence[Surface], order: Order) -> list[Bore]:
    found = []
    for surface in surfaces:
        if surface.kind == "cylinder" and surface.hollow and surface.turn >= _FULL_TURN:
            ends = [tuple(surface.origin[i] + t * surface.axis[i] for i in order) for t in surface.extent]
            start, end = sorted(ends, key=lambda p: (round(p[2], 6), p))
            upright = abs(surface.axis[order[2]]) > 0.5
            found.append(Bore((surface.index,), surface.radius, start, end, upright))  # type: ignore[arg-type]
    return sorted(found, key=lambda bore: (-bore.radius, bore.start))


def _opened(bore: Bore, surfaces: Sequence[Surface], order: Order, casting: Body, size: float) -> Bore | Uncored:
    """Return a bore with what its ends are."""
    free = [_is_clear(one, casting, size) for one in (bore, bore.turned)]
    if all(free):
        return bore
    if not any(free):
        return Uncored(bore, f"nothing could hold its core, for neither end opens as wide as it is: {_OPEN_IT}")
    blind = replace(bore if free[0] else bore.turned, blind=True)
    floor = _floor(blind, surfaces, order)
    tip = max((one[1] for one in floor), default=0.0)
    whole = replace(blind, surfaces=(*blind.surfaces, *(one[0] for one in floor)), tip=tip)
    if not floor or not _ends_so(whole, casting):
        return Uncored(bore, f"its closed end is neither flat nor a cone as wide as the bore: {_OPEN_IT}")
    return whole


_OPEN_IT: Final = "change that in the model, or leave the bore out of the casting and drill it"


def _is_clear(bore: Bore, casting: Body, size: float) -> bool:
    """Tell whether a core could leave a bore at its start: nothing but air, as wide as the bore."""
    length = size + bore.length
    return (_rod(bore, -size, length, _NEARLY) & casting).volume < _AIR * math.pi * bore.radius**2 * length


def _rod(bore: Bore, at: float, length: float, share: float) -> Body:
    """Return a cylinder along a bore's axis from so far behind its start."""
    foot = np.asarray(bore.start) + at * bore.axis
    return rod((0.0, 0.0, 0.0), share * bore.radius, length, _CHORD).moved(upright_to(bore.axis), foot.tolist())


def _floor(bore: Bore, surfaces: Sequence[Surface], order: Order) -> list[tuple[int, float]]:
    """Return the surfaces that close a bore, and how far each reaches beyond its end."""
    found = []
    for surface in surfaces:
        middle, axis = (np.array([v[i] for i in order]) for v in (surface.origin, surface.axis))
        if surface.kind == "plane":
            middle = np.array([surface.centroid[i] for i in order])
        off = middle - np.asarray(bore.end)
        aside = float(np.linalg.norm(off - (off @ bore.axis) * bore.axis))
        if abs(float(axis @ bore.axis)) < 1.0 - SAME_DIRECTION or aside > _AT * bore.radius:
            continue
        if surface.kind == "plane" and abs(float(off @ bore.axis)) < _AT and surface.area < 1.02 * math.pi * bore.radius**2:
            found.append((surface.index, 0.0))
        if surface.kind == "cone" and surface.hollow:
            ends = [float((middle + t * axis - np.asarray(bore.end)) @ bore.axis) for t in surface.extent]
            if min(ends) > -_AT and min(ends) < _AT:
                found.append((surface.index, max(ends)))
    return found


def _ends_so(bore: Bore, casting: Body) -> bool:
    """Tell whether beyond a blind bore's end there is metal, but for its cone."""
    beyond = _rod(bore, bore.length, bore.tip + 0.5, _NEARLY)
    air = (beyond - casting).volume
    due = math.pi * bore.radius**2 * bore.tip / 3.0
    return abs(air - due) < _END * beyond.volume


def _standing(good: list[Bore], bad: list[Uncored]) -> tuple[list[Bore], list[Uncored]]:
    """Return the bores with upright blind ones all open downwards in the mould; those that would hang go to the others."""
    blind = [bore for bore in good if bore.blind and bore.upright]
    down, up = ([b for b in blind if (b.end[2] > b.start[2]) == rises] for rises in (True, False))
    hanging = up if sum(map(_volume, down)) >= sum(map(_volume, up)) else down
    turned_over = bool(up) and hanging is down
    found = [b.turned if turned_over and b.upright and not b.blind else b for b in good if b not in hanging]
    why = "its core would hang from the cope, for it opens the other way from the other blind bores: leave it out and drill it"
    return found, [*bad, *(Uncored(bore, why) for bore in hanging)]


def _volume(bore: Bore) -> float:
    return bore.radius**2 * bore.length


def upright_to(axis: Floats) -> Floats:
    """Return the turn (3, 3) that lays Z along a direction."""
    way = np.asarray(axis, dtype=float)
    if abs(way[2]) > 1.0 - 1e-12:
        return np.diag([1.0, math.copysign(1.0, way[2]), math.copysign(1.0, way[2])])
    across = np.cross((0.0, 0.0, 1.0), way)
    across /= np.linalg.norm(across)
    return np.column_stack([across, np.cross(way, across), way])
