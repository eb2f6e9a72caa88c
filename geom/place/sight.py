"""Where points of machined faces meet the drawn casting along their normals, wherever the finished part lies: many at once.

What does not change from look to look (which form each point looks at, and that form's numbers) is laid out once. A wall
of no simple form, or one that a line now misses, is stood in for by the plane on it where it was over the point as drawn.
Lengths mm, part frame; arrays are (3, n), points sorted by the form they look at. Knows nothing of readings or of what is asked
for.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np

from geom.place.sites import Sites
from geom.rays.analytic import CONE, CYLINDER, SPHERE, TORUS, Floats, Forms, Ints
from geom.rigid import STAY, Rigid

_ROUNDS: Final = 12
"""Newton's steps to a torus: each doubles the digits."""

_STILL: Final = 1e-9
"""A step below this, mm, would be followed by one below rounding; a root whose last step was longer is none."""

_NEAR: Final = 2.0
"""A plane that stands in for a wall as drawn tells about where it is now, if that is no further off than this, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class Met:
    """What the points of a sight meet.

    Attributes:
        points, normals: (3, n) of the moved points; foot: (3, n) where they meet the drawn skin; distance: (n,) mm to it.
        ways: (3, n) its outward normals there; slant: (n,) their cosines with the points' normals.
        rings: along what the skin bends: slice of the points, directions (3, m) and curvatures (m,), per mm.
    """

    points: Floats
    normals: Floats
    foot: Floats
    distance: Floats
    ways: Floats
    slant: Floats
    rings: tuple[tuple[slice, Floats, Floats], ...]

    def bends(self, ways: Floats) -> Floats:
        """Return how the skin's normal turns as each foot goes along ways (3, n): (3, n), per mm."""
        found = np.zeros_like(ways)
        for some, ring, bend in self.rings:
            found[:, some] += (bend * dot(ring, ways[:, some])) * ring
        return found


def dot(a: Floats, b: Floats) -> Floats:
    """Return the scalar products of (3, n) arrays, column by column."""
    return np.asarray(np.einsum("in,in->n", a, b))


def cross(a: Floats, b: Floats) -> Floats:
    """Return the vector products of (3, n) arrays, column by column."""
    found = np.empty_like(a)
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.subtract(a[j] * b[k], a[k] * b[j], out=found[i])
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Lot:
    """Points that look at forms of one kind: where among the sorted points, and the forms' numbers."""

    some: slice
    origin: Floats
    axis: Floats
    radius: Floats
    slope: Floats
    minor: Floats
    side: Floats


class Sight:
    """Some sites, sorted by the form of the wall over each."""

    __slots__ = ("_drawn", "_foot", "_normals", "_points", "_reach", "_ring", "_round", "_sphere", "_way", "order", "wall")

    def __init__(self, f: Forms, sites: Sites) -> None:
        kind = np.where(sites.wall >= 0, f.kind[sites.wall], -1)
        group = np.select([(kind == CYLINDER) | (kind == CONE), kind == TORUS, kind == SPHERE], [1, 2, 3], 0)
        self.order = np.argsort(group, kind="stable")
        ends = np.searchsorted(group[self.order], [1, 2, 3, 4]).tolist()
        self.wall = sites.wall[self.order]
        self._points, self._normals, self._foot, self._way = (
            np.ascontiguousarray(a[self.order].T) for a in (sites.samples.points, sites.samples.normals, sites.foot, sites.way)
        )
        self._reach = sites.reach[self.order]
        self._round, self._ring, self._sphere = (_lot(f, self.wall, slice(a, b)) for a, b in pairwise(ends))
        self._drawn: Met | None = None

    def met(self, move: Rigid) -> Met:
        """Return what the points meet with the finished part moved; where it is not, worked out once."""
        if move != STAY:
            return self._met(move)
        if self._drawn is None:
            self._drawn = self._met(STAY)
        return self._drawn

    def _met(self, move: Rigid) -> Met:
        turn = move.matrix
        points, normals = turn @ self._points + np.array(move.shift)[:, None], turn @ self._normals
        with np.errstate(invalid="ignore", divide="ignore"):
            distance = dot(self._foot - points, self._way) / dot(normals, self._way)
            ways, rings = self._way.copy(), []
            for lot, meet in ((self._round, _meet_round), (self._ring, _meet_ring), (self._sphere, _meet_sphere)):
                some = lot.some
                if some.stop == some.start:
                    continue
                found, way, bent = meet(lot, points[:, some], normals[:, some], self._near(some, distance[some]))
                lost = np.isnan(found)
                if lost.any():
                    found, way = np.where(lost, distance[some], found), np.where(lost, self._way[:, some], way)
                    bent = [(np.where(lost, 0.0, ring), np.where(lost, 0.0, bend)) for ring, bend in bent]
                distance[some], ways[:, some] = found, way
                rings += [(some, ring, bend) for ring, bend in bent]
        return Met(points, normals, points + distance * normals, distance, ways, dot(ways, normals), tuple(rings))

    def _near(self, some: slice, flat: Floats) -> Floats:
        """Return a first guess of distances: to the plane that touches where the wall was met as drawn, or as drawn."""
        reach = self._reach[some]
        return np.where(np.abs(flat - reach) < _NEAR, flat, reach)

    def in_order(self, values: Floats) -> Floats:
        """Return sorted values (n,), or (k, n), in the order of the sites: (n,) or (n, k)."""
        found = np.empty(values.shape[::-1])
        found[self.order] = values.T
        return found


def _lot(f: Forms, wall: Ints, some: slice) -> _Lot:
    which = wall[some]
    wide = (np.ascontiguousarray(a[which].T) for a in (f.origin, f.axis))
    return _Lot(some, *wide, *(a[which] for a in (f.radius, f.slope, f.minor, f.side)))


_Bends = list[tuple[Floats, Floats]]


def _meet_round(lot: _Lot, points: Floats, normals: Floats, near: Floats) -> tuple[Floats, Floats, _Bends]:
    """Return where lines leave cylinders and cones (NaN where they do not), the outward normal there, and the bend round the axis.

    Of the two textbook forms of a root the one without cancellation is used.
    """
    w = points + near * normals - lot.origin
    high, rise = dot(w, lot.axis), dot(normals, lot.axis)
    w -= high * lot.axis
    flat = normals - rise * lot.axis
    wide, grow = lot.radius + high * lot.slope, rise * lot.slope
    rho = np.sqrt(dot(w, w))
    a, b, c = dot(flat, flat) - grow * grow, dot(w, flat) - wide * grow, (rho - wide) * (rho + wide)
    reach = lot.side * np.sqrt(b * b - a * c)
    root = np.where(b * lot.side > 0, c / (-b - reach), (reach - b) / a)
    wide = wide + root * grow
    root[~np.isfinite(root) | (wide < 0)] = np.nan
    out = (w + root * flat) / wide
    steep = lot.side / np.sqrt(1.0 + lot.slope * lot.slope)
    return near + root, (out - lot.slope * lot.axis) * steep, [(cross(lot.axis, out), steep / wide)]


def _meet_ring(lot: _Lot, points: Floats, normals: Floats, near: Floats) -> tuple[Floats, Floats, _Bends]:
    """Return the same for tori, by Newton's rule; the bends are round the axis and round the tube."""
    root = near.copy()
    for _ in range(_ROUNDS):
        high, way, out, rho = _over_ring(lot, points + root * normals)
        slant = dot(way, normals)
        further = np.clip(high / slant, -lot.minor, lot.minor)
        root -= further
        still = np.abs(further) < _STILL
        if still.all():
            break
    root[~still | (slant <= 0)] = np.nan
    ring = cross(lot.axis, out)
    return root, way, [(ring, dot(way, out) / rho), (cross(way, ring), lot.side / lot.minor)]


def _over_ring(lot: _Lot, points: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the height over a torus, the outward normal there, and the way from the axis with how far that is."""
    w = points - lot.origin
    high = dot(w, lot.axis)
    w -= high * lot.axis
    rho = np.sqrt(dot(w, w))
    out = w / rho
    across = rho - lot.radius
    size = np.sqrt(across * across + high * high)
    return (size - lot.minor) * lot.side, (across * out + high * lot.axis) * (lot.side / size), out, rho


def _meet_sphere(lot: _Lot, points: Floats, normals: Floats, near: Floats) -> tuple[Floats, Floats, _Bends]:
    """Return the same for spheres, which bend alike along any two square directions."""
    w = points + near * normals - lot.origin
    size = np.sqrt(dot(w, w))
    b, c = dot(w, normals), (size - lot.radius) * (size + lot.radius)
    reach = lot.side * np.sqrt(b * b - c)
    root = np.where(b * lot.side > 0, c / (-b - reach), reach - b)
    root[~np.isfinite(root)] = np.nan
    way = (w + root * normals) * (lot.side / lot.radius)
    hint = np.eye(3)[np.argmin(np.abs(np.nan_to_num(way)), axis=0)].T
    first = hint - dot(hint, way) * way
    first /= np.sqrt(dot(first, first))
    return near + root, way, [(first, lot.side / lot.radius), (cross(way, first), lot.side / lot.radius)]


@lru_cache(maxsize=16)
def sight_of(f: Forms, sites: Sites) -> Sight:
    """Return the sight of some sites, laid out once."""
    return Sight(f, sites)
