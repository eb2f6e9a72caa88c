"""Bores that no pattern draws: the core that forms each, its prints on the pattern, and the box it is rammed in.

Round straight bores that run right through, along the draw or level in the
parting plane; pattern size, draw frame. Print lengths, tapers and clearances:
common practice, no source. The foundry decides what it cores.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from geom.kernel.shape import Surface
from geom.rays.body import Body, block, joined, rod
from geom.standards.foundry import core_print
from geom.tolerance import SAME_DIRECTION

Floats = npt.NDArray[np.float64]

LOWER_TAPER: Final = 3.0
UPPER_TAPER: Final = 10.0
"""Degrees: the upper print finds its seat as the mould is closed."""

_FULL_TURN: Final = 359.0
_LAP: Final = 0.2
"""mm by which a core's filling reaches into the metal round it."""


@dataclass(frozen=True, slots=True)
class Bore:
    """A bore of the casting: the surfaces of its wall, radius, and both ends of its axis, draw frame, pattern size."""

    surfaces: tuple[int, ...]
    radius: float
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    upright: bool

    @property
    def length(self) -> float:
        return math.dist(self.start, self.end)


@dataclass(frozen=True, slots=True)
class Print:
    """The print at one end of a core: its length, radius at the bore and at the tip, and the core's clearance at each side."""

    length: float
    root: float
    tip: float
    clearance: float


@dataclass(frozen=True, slots=True)
class Core:
    """A core: its bore, and the prints at the start and the end of the bore."""

    bore: Bore
    first: Print
    last: Print

    @property
    def profile(self) -> tuple[tuple[float, float], ...]:
        """Height along the axis from the core's own first end, and radius there: the core as rammed."""
        a, b, bore = self.first, self.last, self.bore
        gap = b.clearance
        low, high = a.length, a.length + bore.length
        return (
            (0.0, a.tip - a.clearance),
            (low, a.root - a.clearance),
            (low, bore.radius),
            (high, bore.radius),
            (high, b.root - b.clearance),
            (high + b.length - gap, b.tip - b.clearance + gap * (b.root - b.tip) / b.length),
        )

    @property
    def volume(self) -> float:
        """Closed form, mm3."""
        return sum(_frustum(r0, r1, z1 - z0) for (z0, r0), (z1, r1) in _steps(self.profile))


def _frustum(r0: float, r1: float, height: float) -> float:
    return math.pi * height * (r0 * r0 + r0 * r1 + r1 * r1) / 3.0


def _steps(profile: Sequence[tuple[float, float]]) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    return [(a, b) for a, b in pairwise(profile) if b[0] > a[0]]


def bores_of(surfaces: Sequence[Surface], along: int, order: tuple[int, int, int], factor: float) -> tuple[Bore, ...]:
    """Return the straight round through bores along or square to the draw.

    Args:
        along: which part axis is the draw.
        order: the part axes that are the draw frame's X, Y, Z.
        factor: pattern size over casting size.
    """
    found: list[Bore] = []
    for surface in surfaces:
        if surface.kind != "cylinder" or not surface.hollow or surface.turn < _FULL_TURN:
            continue
        rise = abs(surface.axis[along])
        if SAME_DIRECTION < rise < 1.0 - SAME_DIRECTION:
            continue
        ends = [tuple(factor * (surface.origin[i] + t * surface.axis[i]) for i in order) for t in surface.extent]
        start, end = sorted(ends, key=lambda p: (round(p[2], 6), p))
        found.append(Bore((surface.index,), factor * surface.radius, start, end, rise > 0.5))  # type: ignore[arg-type]
    return tuple(sorted(found, key=lambda bore: (-bore.radius, bore.start)))


def is_through(bore: Bore, casting: Body, size: float) -> bool:
    """Tell whether a core could be held at both ends: nothing but air beyond them, as wide as the bore."""
    axis = np.subtract(bore.end, bore.start) / bore.length
    turn = upright_to(axis)
    foot = np.subtract(bore.start, size * axis).tolist()
    whole = rod((0.0, 0.0, 0.0), 0.98 * bore.radius, 2.0 * size + bore.length, 0.1).moved(turn, foot)
    return (whole & casting).volume < 1e-3 * whole.volume


def core_of(bore: Bore, where: str) -> Core:
    """Return the core of a bore and its prints.

    Raises:
        StandardError: the bore is larger than the table of prints.
    """
    diameter = 2.0 * bore.radius
    if not bore.upright:
        length, clearance = core_print(diameter, "level", where)
        level = Print(length, bore.radius, bore.radius, clearance)
        return Core(bore, level, level)
    low, clearance = core_print(diameter, "lower", where)
    high, _ = core_print(diameter, "upper", where)
    return Core(bore, _tapered(low, bore.radius, LOWER_TAPER, clearance), _tapered(high, bore.radius, UPPER_TAPER, clearance))


def _tapered(length: float, radius: float, taper: float, clearance: float) -> Print:
    tip = max(radius - length * math.tan(math.radians(taper)), 0.5 * radius)
    return Print(length, radius, tip, clearance)


def filling(core: Core, chord: float) -> Body:
    """Return what fills a core's bore on the pattern, with its prints, draw frame."""
    a, b, bore = core.first, core.last, core.bore
    plug = rod((0.0, 0.0, a.length), bore.radius + _LAP, bore.length, chord)
    prints = [
        rod((0.0, 0.0, 0.0), a.tip, a.length + _LAP, chord, a.root + _LAP * (a.root - a.tip) / a.length),
        rod((0.0, 0.0, a.length + bore.length - _LAP), b.root, b.length + _LAP, chord, b.tip),
    ]
    axis = np.subtract(bore.end, bore.start) / bore.length
    foot = np.subtract(bore.start, a.length * axis).tolist()
    return joined([plug, *prints]).moved(upright_to(axis), foot)


def upright_to(axis: Floats) -> Floats:
    """Return the turn (3, 3) that lays Z along a direction."""
    way = np.asarray(axis, dtype=float)
    if abs(way[2]) > 1.0 - 1e-12:
        return np.diag([1.0, math.copysign(1.0, way[2]), math.copysign(1.0, way[2])])
    across = np.cross((0.0, 0.0, 1.0), way)
    across /= np.linalg.norm(across)
    return np.column_stack([across, np.cross(way, across), way])


def core_body(core: Core, chord: float) -> Body:
    """Return the core itself, standing on its first end."""
    steps = _steps(core.profile)
    return joined(
        [
            rod((0.0, 0.0, z0), r0, z1 - z0 + (1e-3 if i + 1 < len(steps) else 0.0), chord, r1)
            for i, ((z0, r0), (z1, r1)) in enumerate(steps)
        ]
    )


@dataclass(frozen=True, slots=True, eq=False)
class CoreBox:
    """A box in two halves that lie on their backs, cavity up, dowel holes in both; sizes mm.

    Attributes:
        halves: both, each on Z 0, the core's axis along X.
        size: of one half.
        cavity: volume of the whole cavity, mm3.
    """

    halves: tuple[Body, Body]
    size: tuple[float, float, float]
    cavity: float


def core_box(core: Core, chord: float, wall: float, pin: float, gap: float) -> CoreBox:
    """Return the box a core is rammed in: open where the core's first end comes out, closed at the other."""
    inner = core_body(core, chord)
    length = core.profile[-1][0]
    widest = max(radius for _, radius in core.profile)
    rim = 2.0 * wall + pin
    half_width, height = widest + rim, widest + wall
    along = inner.moved(np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]]), (0.0, 0.0, 0.0))
    outer = block((0.0, -half_width, -height), (length + wall, half_width, 0.0))
    cavity = along & block((-1.0, -half_width, -height), (length + wall, half_width, 0.0))
    across = widest + rim / 2.0
    depth = min(2.0 * pin, height - wall / 2.0)
    spots = [(wall + pin, across), (length - pin, -across)]
    halves = []
    for grow, flip in ((0.0, 1.0), (gap, -1.0)):
        holes = joined([rod((x, flip * y, -depth), pin / 2.0 + gap / 2.0 + grow, depth + 1.0, chord) for x, y in spots])
        halves.append((outer - cavity - holes).moved(np.eye(3), (0.0, 0.0, height)))
    return CoreBox((halves[0], halves[1]), (length + wall, 2.0 * half_width, height), 2.0 * cavity.volume)
