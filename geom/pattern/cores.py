"""The core that forms a bore, its prints on the pattern, and the box it is rammed in.

Pattern size, draw frame. Print lengths, tapers and clearances: common practice,
no source. The foundry decides what it cores. Knows nothing of casting or sand.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.pattern.bores import Bore, revolved, upright_to
from geom.pattern.coaxial import Profile, frustum, steps_of
from geom.pattern.leaning import along_lean, column, excess, lean_of, leaned
from geom.rays.body import Body, block, joined, rod
from geom.standards.foundry import core_print

LOWER_TAPER: Final = 3.0
UPPER_TAPER: Final = 10.0
"""Degrees: the upper print finds its seat as the mould is closed."""

STANDING: Final = 0.5
"""Length of the print a blind bore's core stands on, over its own length and as many times more as it is wider than the print."""

_OFF: Final = 1e-3
"""mm a box begins behind its core's end: faces that lie in each other would leave a skin over the opening."""

_LAP: Final = 0.2
"""mm by which a core's filling reaches into the metal round it."""


@dataclass(frozen=True, slots=True)
class Print:
    """The print at one end of a core: its length, radius at the bore and at the tip, and the core's clearance at each side."""

    length: float
    root: float
    tip: float
    clearance: float


@dataclass(frozen=True, slots=True)
class Core:
    """A core: its bore, the print at the bore's start, and the one at its end; None at the closed end of a blind bore."""

    bore: Bore
    first: Print
    last: Print | None

    @property
    def profile(self) -> Profile:
        """Height along the axis from the core's own first end, and radius there: the core as rammed.

        Of one that leans: height along the draw, and half its width across the lean.
        """
        a, b, bore = self.first, self.last, self.bore
        share = abs(bore.axis[2]) if bore.leans else 1.0
        low, high = a.length, a.length + share * bore.length
        body = ((0.0, a.tip - a.clearance), (low, a.root - a.clearance), *((low + share * t, r) for t, r in bore.profile))
        if b is None:
            return body
        gap = b.clearance
        return (
            *body,
            (high, b.root - b.clearance),
            (high + b.length - gap, b.tip - b.clearance + gap * (b.root - b.tip) / b.length),
        )

    @property
    def volume(self) -> float:
        """Closed form, mm3."""
        found = 0.0
        for (z0, r0), (z1, r1) in steps_of(self.profile):
            found += frustum(r0, r1, z1 - z0) + math.pi * (z1 - z0) * self.longer * (r0 + r1) / 2.0
        return found

    @property
    def longer(self) -> float:
        """By how much it is longer than wide, to one side, along its lean; 0 where it does not lean."""
        return excess(self.bore.radius, self.bore.axis) if self.bore.leans else 0.0

    @property
    def kind(self) -> Profile:
        """What two cores from one box have in common."""
        return (*((round(z, 4), round(r, 4)) for z, r in self.profile), (round(self.longer, 4), round(self.shift, 4)))

    @property
    def shift(self) -> float:
        """How far its last end lies along its lean from the first; 0 where it does not lean."""
        return self.bore.length * math.sin(lean_of(self.bore.axis)) if self.bore.leans else 0.0


def core_of(bore: Bore, where: str) -> Core:
    """Return the core of a bore and its prints.

    Raises:
        StandardError: the bore is larger than the table of prints.
    """
    widest, mouth, far = 2.0 * bore.radius, bore.mouth, bore.far
    if not bore.upright and not bore.leans:
        length, clearance = core_print(widest, "level", where)
        if bore.blind:
            return Core(bore, Print(max(length, _counterweight(bore)), mouth, mouth, clearance), None)
        return Core(bore, Print(length, mouth, mouth, clearance), Print(length, far, far, clearance))
    low, clearance = core_print(widest, "lower", where)
    if bore.blind:
        tall = STANDING * bore.length * bore.radius / mouth
        return Core(bore, _tapered(max(low, tall), mouth, LOWER_TAPER, clearance), None)
    high, _ = core_print(widest, "upper", where)
    return Core(bore, _tapered(low, mouth, LOWER_TAPER, clearance), _tapered(high, far, UPPER_TAPER, clearance))


def _counterweight(bore: Bore) -> float:
    """Return how long a level print is that balances a blind bore's core about the bore's mouth: nothing carries its far end."""
    moment = 0.0
    for (t0, r0), (t1, r1) in steps_of(bore.profile):
        high = t1 - t0
        moment += (
            math.pi * high * (t0 * (r0 * r0 + r0 * r1 + r1 * r1) / 3.0 + high * (r0 * r0 + 2.0 * r0 * r1 + 3.0 * r1 * r1) / 12.0)
        )
    return math.sqrt(2.0 * moment / (math.pi * bore.mouth**2))


def _tapered(length: float, radius: float, taper: float, clearance: float) -> Print:
    tip = max(radius - length * math.tan(math.radians(taper)), 0.5 * radius)
    return Print(length, radius, tip, clearance)


def filling(core: Core, chord: float) -> Body:
    """Return what fills a core's bore on the pattern, with its prints, draw frame."""
    if core.bore.leans:
        return _leaning_filling(core, chord)
    a, b, bore = core.first, core.last, core.bore
    bodies = [
        *_filled(bore, a.length, chord),
        rod((0.0, 0.0, 0.0), a.tip, a.length + _LAP, chord, a.root + _LAP * (a.root - a.tip) / a.length),
    ]
    if b is not None:
        bodies.append(rod((0.0, 0.0, a.length + bore.length - _LAP), b.root, b.length + _LAP, chord, b.tip))
    foot = np.subtract(bore.start, a.length * np.asarray(bore.axis)).tolist()
    return joined(bodies).moved(upright_to(bore.axis), foot)


def _leaning_filling(core: Core, chord: float) -> Body:
    """Return what fills a leaning core's bore on the pattern, with its oval prints."""
    a, b, bore, longer = core.first, core.last, core.bore, core.longer
    assert b is not None
    low, high = a.length, a.length + abs(bore.axis[2]) * bore.length
    over = core.shift
    bodies = [
        column((0.0, 0.0, a.tip), (0.0, low, a.root), longer, chord),
        column((0.0, low - _LAP, a.root - _LAP), (0.0, low + _LAP, a.root - _LAP), longer, chord),
        column((0.0, low, bore.radius + _LAP), (over, high, bore.radius + _LAP), longer, chord),
        column((over, high - _LAP, b.root - _LAP), (over, high + _LAP, b.root - _LAP), longer, chord),
        column((over, high, b.root), (over, high + b.length, b.tip), longer, chord),
    ]
    turn = along_lean(bore.axis)
    return joined(bodies).moved(turn, (np.asarray(bore.start) - low * turn[:, 2]).tolist())


def _filled(bore: Bore, at: float, chord: float) -> Iterator[Body]:
    """Yield what fills each stretch of a bore that begins at a Z: with a lap into the metal, round it and beyond its steps."""
    for (t0, r0), (t1, r1) in steps_of(bore.profile):
        before = _LAP if t0 > 0 else 0.0
        after = _LAP if t1 < bore.length or bore.blind else 0.0
        slope = (r1 - r0) / (t1 - t0)
        lap = _LAP * (1.0 + abs(slope))
        low, high = (max(0.01, r + lap) for r in (r0 - slope * before, r1 + slope * after))
        yield rod((0.0, 0.0, at + t0 - before), low, t1 - t0 + before + after, chord, high)


def core_body(core: Core, chord: float) -> Body:
    """Return the core itself, standing on its first end."""
    if core.bore.leans:
        low = core.first.length
        between = low, low + abs(core.bore.axis[2]) * core.bore.length
        return leaned(core.profile, between, core.bore.axis, core.longer, chord)
    return revolved(core.profile, chord)


@dataclass(frozen=True, slots=True, eq=False)
class CoreBox:
    """A box in two halves that lie on their backs, cavity up, dowel holes in both; sizes mm.

    Attributes:
        halves: both, each on Z 0, the core's axis along X.
        size: of one half.
        cavity: volume of the whole cavity, mm3.
        core: what it makes; `count` of them for one casting.
        apart: between the two dowels, along and across the half, and their hole's depth.
    """

    halves: tuple[Body, Body]
    size: tuple[float, float, float]
    cavity: float
    core: Core
    count: int
    apart: tuple[float, float, float]


def boxes_for(cores: Sequence[Core], chord: float, wall: float, pin: float, gap: float) -> tuple[CoreBox, ...]:
    """Return a box for each kind of core: alike ones come out of one box."""
    kinds = list(dict.fromkeys(core.kind for core in cores))
    alike = [[core for core in cores if core.kind == kind] for kind in kinds]
    return tuple(core_box(same[0], chord, wall, pin, gap, len(same)) for same in alike)


def core_box(core: Core, chord: float, wall: float, pin: float, gap: float, count: int = 1) -> CoreBox:
    """Return the box a core is rammed in: open where the core's first end comes out, closed at the other."""
    inner = core_body(core, chord)
    length = core.profile[-1][0]
    widest = max(radius for _, radius in core.profile)
    rim = 2.0 * wall + pin
    height = widest + wall
    low, high = -widest - core.longer - rim, widest + core.longer + core.shift + rim
    along = inner.moved(_LYING, (0.0, 0.0, 0.0))
    outer = block((_OFF, low, -height), (length + wall, high, 0.0))
    cavity = along & block((-1.0, low, -height), (length + wall, high, 0.0))
    depth = min(2.0 * pin, height - wall / 2.0)
    spots = [(wall + pin, high - rim / 2.0), (length - pin, low + rim / 2.0)]
    halves = []
    for grow, flip in ((0.0, 1.0), (gap, -1.0)):
        over = np.diag([1.0, flip, 1.0])
        holes = joined([rod((x, flip * y, -depth), pin / 2.0 + gap / 2.0 + grow, depth + 1.0, chord) for x, y in spots])
        halves.append(((outer - cavity).moved(over, (0.0, 0.0, 0.0)) - holes).moved(np.eye(3), (0.0, 0.0, height)))
    (x0, y0), (x1, y1) = spots
    size, apart = (length + wall, high - low, height), (x1 - x0, abs(y1 - y0), depth)
    return CoreBox((halves[0], halves[1]), size, 2.0 * cavity.volume, core, count, apart)


_LYING: Final = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
"""Lays a core along X, its lean along Y."""
