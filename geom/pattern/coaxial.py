"""Walls that go round one axis, put together: from a casting's cylinders, cones and roundings to one run of radii along it.

A run begins with a cylinder and takes in what meets it end to end, directly or over a
flat ring square to the axis. Cones and roundings that only open its mouth are left out:
sand forms those. Draw frame, mm. Knows nothing of what is inside the walls.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from geom.kernel.shape import Surface
from geom.space import Vec3
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

Floats: TypeAlias = npt.NDArray[np.float64]
Order: TypeAlias = tuple[int, int, int]
Profile: TypeAlias = tuple[tuple[float, float], ...]
"""Distance along the axis and radius there, mm; the distances never fall."""

_FULL_TURN: Final = 359.0
_MEET: Final = 0.02
"""mm within which two walls meet."""

_RING: Final = 0.02
"""Share by which the area of a ring or disc may differ from its two radii's."""

_ARC: Final = 8
"""Straight pieces that stand for a rounding of a quarter turn: within half a hundredth of its radius."""


@dataclass(frozen=True, slots=True)
class Run:
    """Walls round one axis: their surfaces, a point of the axis, its direction, and the radii along it from that point."""

    surfaces: tuple[int, ...]
    foot: Vec3
    axis: Vec3
    profile: Profile

    @property
    def volume(self) -> float:
        """Closed form, mm3."""
        return sum(frustum(r0, r1, z1 - z0) for (z0, r0), (z1, r1) in steps_of(self.profile))


@dataclass(frozen=True, slots=True)
class _Piece:
    index: int
    kind: str
    points: Profile


@dataclass(frozen=True, slots=True)
class _Ring:
    """A flat face square to the axis and about it: where, and its area."""

    index: int
    at: float
    area: float


def frustum(r0: float, r1: float, height: float) -> float:
    """Return the volume between two radii, mm3."""
    return math.pi * height * (r0 * r0 + r0 * r1 + r1 * r1) / 3.0


def steps_of(profile: Profile) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Return the stretches of a profile that have a length."""
    return [(a, b) for a, b in pairwise(profile) if b[0] > a[0]]


def runs(surfaces: Sequence[Surface], order: Order) -> list[Run]:
    """Return every run of walls, those with the widest cylinder first.

    Args:
        surfaces: the casting's own, part frame.
        order: the part axes that are the draw frame's X, Y, Z.
    """
    seeds = [s for s in surfaces if s.kind == "cylinder" and s.hollow and s.turn >= _FULL_TURN]
    found: list[Run] = []
    for seed in sorted(seeds, key=lambda s: (-s.radius, _drawn(s.origin, order).tolist(), s.extent)):
        if not any(seed.index in run.surfaces for run in found):
            found.append(_run(seed, surfaces, order))
    return found


def disc_at(run: Run, surfaces: Sequence[Surface], order: Order, at: float, radius: float) -> int | None:
    """Return the flat face that closes a run at a place along it, or None."""
    for ring in _rings(surfaces, order, np.asarray(run.foot), np.asarray(run.axis)):
        if abs(ring.at - at) < _MEET and abs(ring.area - math.pi * radius**2) < _RING * math.pi * radius**2:
            return ring.index
    return None


def _drawn(point: Vec3, order: Order) -> Floats:
    return np.array([point[i] for i in order])


def _run(seed: Surface, surfaces: Sequence[Surface], order: Order) -> Run:
    foot, axis = _drawn(seed.origin, order), _drawn(seed.axis, order)
    pieces = list(_pieces(surfaces, order, foot, axis))
    rings = list(_rings(surfaces, order, foot, axis))
    first = next(piece for piece in pieces if piece.index == seed.index)
    after = _opened_off(_followed(first, pieces, rings))
    back = _opened_off(_followed(_mirrored(first), [_mirrored(p) for p in pieces], [_across(r) for r in rings]))
    before = [(_mirrored(piece), ring) for piece, ring in reversed(back)]
    chain = [*(piece for piece, _ in before), first, *(piece for piece, _ in after)]
    points = [point for piece in chain for point in piece.points]
    joins = [ring.index for _, ring in (*before, *after) if ring is not None]
    kept = tuple(p for n, p in enumerate(points) if n == 0 or math.dist(p, points[n - 1]) > _MEET)
    x, y, z = foot.tolist()
    i, j, k = axis.tolist()
    return Run(tuple(sorted({*(piece.index for piece in chain), *joins})), (x, y, z), (i, j, k), kept)


def _pieces(surfaces: Sequence[Surface], order: Order, foot: Floats, axis: Floats) -> Iterator[_Piece]:
    """Yield every wall about an axis."""
    for surface in surfaces:
        if surface.turn < _FULL_TURN or surface.kind not in ("cylinder", "cone", "torus"):
            continue
        own, off = _drawn(surface.axis, order), _drawn(surface.origin, order) - foot
        way = float(own @ axis)
        if abs(way) < 1.0 - SAME_DIRECTION or float(np.linalg.norm(off - (off @ axis) * axis)) > SAME_AXIS:
            continue
        if surface.kind != "torus" and not surface.hollow:
            continue
        base, sign = float(off @ axis), math.copysign(1.0, way)
        points = sorted((base + sign * s, radius) for s, radius in _radii(surface))
        yield _Piece(surface.index, surface.kind, tuple(points))


def _radii(surface: Surface) -> list[tuple[float, float]]:
    """Return the radii of a wall along its own axis."""
    low, high = surface.extent
    if surface.kind != "torus":
        rise = math.tan(math.radians(surface.half_angle))
        return [(s, max(0.0, surface.radius + rise * s)) for s in (low, high)]
    side = 1.0 if surface.hollow else -1.0
    start, end = (math.asin(max(-1.0, min(1.0, s / surface.minor))) for s in (low, high))
    turns = np.linspace(start, end, _ARC + 1).tolist()
    return [(surface.minor * math.sin(a), surface.radius + side * surface.minor * math.cos(a)) for a in turns]


def _rings(surfaces: Sequence[Surface], order: Order, foot: Floats, axis: Floats) -> Iterator[_Ring]:
    for surface in surfaces:
        if surface.kind != "plane" or abs(float(_drawn(surface.normal, order) @ axis)) < 1.0 - SAME_DIRECTION:
            continue
        off = _drawn(surface.centroid, order) - foot
        if float(np.linalg.norm(off - (off @ axis) * axis)) < SAME_AXIS:
            yield _Ring(surface.index, float(off @ axis), surface.area)


def _mirrored(piece: _Piece) -> _Piece:
    """Return a wall as it is met going the other way."""
    return replace(piece, points=tuple((-t, r) for t, r in reversed(piece.points)))


def _across(ring: _Ring) -> _Ring:
    return replace(ring, at=-ring.at)


def _followed(first: _Piece, pieces: Sequence[_Piece], rings: Sequence[_Ring]) -> list[tuple[_Piece, _Ring | None]]:
    """Return the walls that follow one another after the first, each with the ring it is reached over."""
    found: list[tuple[_Piece, _Ring | None]] = []
    at = first.points[-1]
    while True:
        known = {first.index, *(piece.index for piece, _ in found)}
        near = [p for p in pieces if p.index not in known and abs(p.points[0][0] - at[0]) < _MEET]
        ways = [(abs(p.points[0][1] - at[1]), p) for p in near]
        joined = [(p, None) for gap, p in ways if gap < _MEET]
        over = [(p, ring) for gap, p in ways if gap >= _MEET and (ring := _bridge(at, p.points[0], rings)) is not None]
        step = next(iter([*joined, *over]), None)
        if step is None:
            return found
        found.append(step)
        at = step[0].points[-1]


def _bridge(a: tuple[float, float], b: tuple[float, float], rings: Sequence[_Ring]) -> _Ring | None:
    due = math.pi * abs(a[1] ** 2 - b[1] ** 2)
    return next((ring for ring in rings if abs(ring.at - a[0]) < _MEET and abs(ring.area - due) < _RING * due), None)


def _opened_off(chain: list[tuple[_Piece, _Ring | None]]) -> list[tuple[_Piece, _Ring | None]]:
    """Return a chain without the cones and roundings at its end that widen outwards."""
    kept = list(chain)
    while kept and kept[-1][0].kind != "cylinder" and kept[-1][0].points[-1][1] > kept[-1][0].points[0][1]:
        kept.pop()
    return kept
