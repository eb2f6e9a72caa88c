"""Where cope and drag part: a plane, or a plane with steps, each a rectangle at another height with risers that lean. mm.

Draw frame: Z along the draw. A step's flat is the stated rectangle; its risers
lean outwards to the plane, so that sand comes off sand. Riser lean: common
practice, no source. Knows nothing of patterns or drafts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from geom.errors import JobError
from geom.pattern.plane import area as area_of
from geom.rays.body import Body, block, hull
from geom.toml.print_settings import Step

if TYPE_CHECKING:
    from geom.settings.records import Settings

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Order = tuple[int, int, int]

RISER: Final = 10.0
"""Degrees a riser leans from the draw."""

_RUN: Final = math.tan(math.radians(RISER))
_SAME: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Flat:
    """A step: its rectangle's least and greatest corner, and the height there."""

    low: tuple[float, float]
    high: tuple[float, float]
    z: float


@dataclass(frozen=True, slots=True)
class Parting:
    """The surface in which the halves meet; `assumed` where the job does not say how high."""

    z: float
    flats: tuple[Flat, ...] = ()
    assumed: bool = False

    @property
    def levels(self) -> tuple[float, ...]:
        """Heights at which it is level, the plane's first."""
        return (self.z, *sorted({flat.z for flat in self.flats} - {self.z}))

    def scaled(self, factor: float) -> "Parting":
        """Return it so many times as large."""
        flats = [
            Flat((factor * f.low[0], factor * f.low[1]), (factor * f.high[0], factor * f.high[1]), factor * f.z) for f in self.flats
        ]
        return Parting(factor * self.z, tuple(flats), self.assumed)

    def heights(self, points: Floats) -> Floats:
        """Return how high it lies over places (n, 2)."""
        found = np.full(len(points), self.z)
        for flat in self.flats:
            off = np.maximum(np.asarray(flat.low) - points, points - np.asarray(flat.high)).max(axis=1)
            rise = flat.z - self.z
            here = self.z + math.copysign(1.0, rise) * np.maximum(0.0, abs(rise) - np.maximum(off, 0.0) / _RUN)
            found = np.where(np.abs(here - self.z) > np.abs(found - self.z), here, found)
        return np.asarray(found)

    def planes(self) -> list[tuple[Floats, float]]:
        """Return unit normals and distances of every plane it lies in."""
        found = [(np.array([0.0, 0.0, 1.0]), z) for z in self.levels]
        for flat in self.flats:
            rise = flat.z - self.z
            for axis, sign, edge in ((0, -1, flat.low[0]), (0, 1, flat.high[0]), (1, -1, flat.low[1]), (1, 1, flat.high[1])):
                normal = np.zeros(3)
                normal[axis], normal[2] = sign, math.copysign(_RUN, rise)
                normal /= np.linalg.norm(normal)
                corner = np.zeros(3)
                corner[axis], corner[2] = edge, flat.z
                found.append((normal, float(normal @ corner)))
        return found

    def below(self, low: Sequence[float], high: Sequence[float]) -> Body:
        """Return what lies under it, within a box."""
        floor, roof = low[2], high[2]
        under = block((low[0], low[1], floor), (high[0], high[1], self.z))
        for flat in self.flats:
            wedge = _wedge(flat, self.z)
            under = under + wedge if flat.z > self.z else under - wedge
        return under & block((low[0], low[1], floor), (high[0], high[1], roof))


def _wedge(flat: Flat, z: float) -> Body:
    """Return what a step adds to, or takes from, what lies under the plane."""
    out = abs(flat.z - z) * _RUN
    (x0, y0), (x1, y1) = flat.low, flat.high
    corners = [(x, y, flat.z) for x in (x0, x1) for y in (y0, y1)]
    corners += [(x, y, z) for x in (x0 - out, x1 + out) for y in (y0 - out, y1 + out)]
    return hull(np.array(corners))


def parting_of(settings: "Settings", casting: Body, order: Order) -> Parting:
    """Return where the job's casting parts; where nobody says: at its widest section.

    Raises:
        JobError: the plane or a step lies outside the casting, or two steps meet.
    """
    low, high = casting.box[0][2], casting.box[1][2]
    stated = settings.casting.parting
    z = _widest(casting) if stated is None else _inside(stated, low, high, settings, f"{settings.label}, casting.parting")
    flats = []
    for step in settings.pattern.steps:
        flat = _flat(step, order)
        _inside(flat.z, low, high, settings, step.where)
        _check_over(flat, casting, step.where)
        flats.append(flat)
    found = Parting(z, tuple(flat for flat in flats if abs(flat.z - z) > _SAME), stated is None)
    _check_apart(found, settings)
    return found


def _widest(casting: Body) -> float:
    low, high = casting.box[0][2], casting.box[1][2]
    heights = np.linspace(low, high, 41)
    heights[0], heights[-1] = low + 1e-3, high - 1e-3
    areas = [sum(area_of(o) for o in casting.outlines_at(float(h))) for h in heights]
    best = int(np.argmax(np.round(areas, 3)))
    return low if best == 0 else high if best == 40 else float(heights[best])


def _inside(z: float, low: float, high: float, settings: "Settings", where: str) -> float:
    axis = settings.pattern.draw.upper()
    if not low - _SAME <= z <= high + _SAME:
        raise JobError(
            f"{where}: the plane at {axis} {z:g} mm misses the casting, which reaches from "
            f"{axis} {low:.2f} to {high:.2f} mm; give a height in between"
        )
    return min(max(z, low), high)


def _flat(step: Step, order: Order) -> Flat:
    """Return a step in the draw frame; the job states it along the part's axes, in the order of the alphabet."""
    first, second = sorted(order[:2])
    a, b, c, d = step.over
    spans = {first: sorted((a, c)), second: sorted((b, d))}
    (x0, x1), (y0, y1) = spans[order[0]], spans[order[1]]
    return Flat((x0, y0), (x1, y1), step.parting)


def _check_over(flat: Flat, casting: Body, where: str) -> None:
    low, high = casting.box
    if flat.high[0] - flat.low[0] < 1.0 or flat.high[1] - flat.low[1] < 1.0:
        raise JobError(f"{where}: the step is less than 1 mm wide; give two opposite corners of the place it covers")
    if any(flat.high[i] <= low[i] or flat.low[i] >= high[i] for i in range(2)):
        raise JobError(
            f"{where}: the step lies beside the casting, which covers {low[0]:.1f} to {high[0]:.1f} and {low[1]:.1f} to "
            f"{high[1]:.1f} mm across the draw; lay it over the casting"
        )


def _check_apart(parting: Parting, settings: "Settings") -> None:
    """Refuse steps of different heights whose risers run into each other."""
    grown = [(abs(f.z - parting.z) * _RUN, f) for f in parting.flats]
    for i, (out, a) in enumerate(grown):
        for more, b in grown[i + 1 :]:
            apart = max(max(a.low[k] - b.high[k], b.low[k] - a.high[k]) for k in range(2))
            if abs(a.z - b.z) > _SAME and apart < out + more:
                raise JobError(
                    f"{settings.label}, pattern.step: the steps at {a.z:g} and {b.z:g} mm are {max(apart, 0.0):.1f} mm apart and "
                    f"their risers, which lean by {RISER:g} degrees, need {out + more:.1f} mm; move them apart or make them one"
                )


def board(parting: Parting, low: Sequence[float], high: Sequence[float], margin: float, thick: float) -> Body:
    """Return the board the pattern is laid on to ram the lower half: the parting's own steps, turned over and on its back."""
    top = max(parting.levels) + thick
    foot = min(parting.levels)
    a = (low[0] - margin, low[1] - margin, foot - 1.0)
    b = (high[0] + margin, high[1] + margin, top)
    whole = block((a[0], a[1], foot), b) - parting.below(a, b)
    return whole.moved(np.diag([1.0, -1.0, -1.0]), (0.0, 0.0, top))
