"""Stock at points of the machined faces as a function of where the finished part lies in the casting as received.

Each point looks along its face's outward normal at the skin over it. The skin is
the drawn one, off by what the readings say, or a scan. Between two looks stock
is linear in a small move; looking again makes it exact. Lengths mm, part frame;
the drawn casting stays where it is drawn, the finished part moves. Knows nothing
of what stock is required.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np

from geom.model.part import Part
from geom.place.sight import Met, Sight, cross, dot, sight_of
from geom.place.sites import Outline, Sites, forms_of
from geom.place.stages import Misfits
from geom.rays.analytic import Floats, Ints, dots
from geom.received.casting import AsReceived
from geom.rigid import Rigid
from geom.scan.even import Even, Evener, evener

_STEEP: Final = 0.2
"""A skin that meets the normal flatter than this (sine) is the side of something, not the skin over the face."""

_SMALL: Final = 0.5
"""A turn with a greater cosine than this is told from its matrix alone."""

_UNLIKE: Final = 8.0
"""A scanned skin further than this, mm, from the drawn one is another wall, or a gap in the scan."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What the points see from one place of the finished part.

    Attributes:
        stock: (n,) mm along the outward normal; NaN where nothing is seen.
        rate: (n, 6) its change with a small move: shift in mm, turn about the pivot in mm at the part's size.
        level, level_rate: the same over a skin whose hollows are filled.
        wall: (n,) the casting's surface met; drawn: (n,) mm to it as drawn.
        way: (n, 3) across the skin as received, outward; as long as 1 along the drawn normal.
        even: of a scanned skin, how far it lies outside the drawn one along each point's normal, without its noise.
    """

    stock: Floats
    rate: Floats
    level: Floats
    level_rate: Floats
    wall: Ints
    drawn: Floats
    way: Floats
    even: Even | None = None


@dataclass(frozen=True, slots=True)
class Pivot:
    """The point that turns are about, and the length, mm, at which a turn counts as a move."""

    centre: tuple[float, float, float]
    size: float


def pivot_of(part: Part) -> Pivot:
    """Return the pivot of a part: the middle of its casting, half its size."""
    return Pivot(part.casting.centre, part.casting.size / 2.0)


def small_move(step: Floats, pivot: Pivot) -> Rigid:
    """Return the move of a step (6,): turn about the pivot as mm at its size, then shift."""
    from geom.rigid import from_turn

    a, b, c = (float(v) for v in step[:3])
    x, y, z = (float(v) for v in np.degrees(step[3:] / pivot.size))
    return from_turn((x, y, z), (a, b, c), pivot.centre)


def step_of(move: Rigid, pivot: Pivot) -> Floats:
    """Return a move as a step (6,): the inverse of `small_move`."""
    return np.concatenate([np.subtract(move.point(pivot.centre), pivot.centre), _turn(move) * pivot.size])


def _turn(move: Rigid) -> Floats:
    """Return the rotation vector of a move, radians; a small one straight from its matrix."""
    turn = move.matrix
    way = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]) / 2.0
    sine, cosine = float(np.sqrt(way @ way)), (float(np.trace(turn)) - 1.0) / 2.0
    if cosine < _SMALL:
        return np.asarray(np.radians(np.array(move.turn)))
    return np.asarray(way * (np.arctan2(sine, cosine) / sine)) if sine > 0.0 else way


# --- looking --------------------------------------------------------------------


def look(received: AsReceived, sites: Sites, move: Rigid, pivot: Pivot) -> Look:
    """Return the stock at all sites with the finished part moved.

    Each looks at the (untrimmed) wall that was over it as drawn, which has no jumps; a scan is looked at with rays.

    Args:
        move: of the finished part, from where it is drawn.
    """
    sight = sight_of(forms_of(received.part), sites)
    met = sight.met(move)
    with np.errstate(invalid="ignore", divide="ignore"):
        met = replace(met, ways=np.where(np.abs(met.slant) > _STEEP, met.ways, np.nan))
        about = _About(met, np.array(move.point(pivot.centre))[:, None], pivot.size)
        return _scanned_look(received, sites, move, sight, about) if received.scan is not None else _look(received, sight, about)


def _look(received: AsReceived, sight: Sight, about: "_About") -> Look:
    met, lie = about.met, _lie_at(received, sight)
    steep = met.ways - lie.lean
    cosine = dot(steep, met.normals)
    off = (lie.offset + dot(met.foot, lie.lean) + dot(met.ways, lie.aside)) / cosine
    high, slope = _in_hollows(received, np.ascontiguousarray(met.foot.T), sight.wall) if received.spots else (None, None)

    def seen(off: Floats, slope: Floats | None) -> tuple[Floats, Floats]:
        rise = lie.lean + met.bends(lie.aside - off * met.normals)
        rates = about.rates(off, steep, cosine, rise if slope is None else rise + slope.T)
        return sight.in_order(met.distance + off), sight.in_order(rates)

    level = seen(off, None)
    stock = level if high is None else seen(off + high / cosine, slope)
    wall = np.empty_like(sight.wall)
    wall[sight.order] = sight.wall
    return Look(*stock, *level, wall, sight.in_order(met.distance), sight.in_order(steep))


def _scanned_look(received: AsReceived, sites: Sites, move: Rigid, sight: Sight, about: "_About") -> Look:
    met = about.met
    drawn, ways = sight.in_order(met.distance), sight.in_order(met.ways)
    even = _scanned(received, sites, sight.in_order(met.points), sight.in_order(met.normals), move, drawn)
    stock = drawn + even.value + 0.0 * ways[:, 0]
    rates = about.rates(even.value[sight.order], met.ways, met.slant, np.zeros_like(met.ways))
    rate = sight.in_order(rates)
    return Look(stock, rate, stock, rate, sites.wall, drawn, ways, even)


def stock_to(received: AsReceived, wall: Ints, distance: Floats, foot: Floats, ways: Floats, normals: Floats) -> Floats:
    """Return the stock (n,), mm, of points that look along normals (n, 3) at walls of the drawn casting: how far away, and where.

    Args:
        ways: (n, 3) the walls' outward normals at the feet.
    """
    lie = _lie(received)
    with np.errstate(invalid="ignore", divide="ignore"):
        cosine = dots(ways - lie.lean[wall], normals)
        stock = distance + (lie.offsets(foot, ways, wall) + _in_hollows(received, foot, wall)[0]) / cosine
        return np.where(np.abs(dots(ways, normals)) > _STEEP, stock, np.nan)


def skin_rates(received: AsReceived, sites: Sites, seen: Look, move: Rigid, rows: Ints) -> tuple[Ints, Floats]:
    """Return which parameters of the skin the stock at some sites changes with (c,), and how (m, c)."""
    points, normals = move.points(sites.samples.points[rows]), move.directions(sites.samples.normals[rows])
    foot, wall = points + seen.drawn[rows, None] * normals, seen.wall[rows]
    model = received.model
    first, own = model.walls.own_rows(foot, seen.way[rows] + _lie(received).lean[wall], wall)
    used = np.zeros(len(received.mean), dtype=np.bool_)
    for column in range(own.shape[1]):
        used[(first + column)[own[:, column] != 0.0]] = True
    count = len(model.walls.prior)
    used[count:] = True
    columns = np.flatnonzero(used)
    place = np.cumsum(used) - 1
    found = np.zeros((len(rows), len(columns)))
    for column in range(own.shape[1]):
        some = np.flatnonzero(own[:, column])
        found[some, place[first[some] + column]] = own[some, column]
    found[:, int(used[:count].sum()) :] = model.spots.rows(foot, model.walls.number[wall])
    return columns, found / dots(seen.way[rows], normals)[:, None]


@dataclass(frozen=True, slots=True, eq=False)
class _About:
    """What is met, and the moved pivot (3, 1) with the length at which a turn counts as a move."""

    met: Met
    centre: Floats
    size: float

    def rates(self, off: Floats, steep: Floats, cosine: Floats, rise: Floats) -> Floats:
        """Return how stock changes with a small move (6, n): the change of the distance to the drawn skin, and of what is off it.

        With foot f = p + distance n on the drawn skin, w square to it and a small move (d, r): the foot goes along the skin by
        g - n (w . g) / (w . n) with g = d + r x (f - pivot), and what is off, o = offset / (steep . n), changes by the rise along
        that and by the turn of n against the skin.

        Args:
            off: (n,) mm; steep: (3, n) the skin's normal as received; cosine: of that and the point's normal.
            rise: (3, n) of the skin off the drawn one, mm per mm.
        """
        met = self.met
        rise = rise / cosine
        found = np.empty((6, len(off)))
        shift = np.subtract(rise, met.ways * ((1.0 + dot(rise, met.normals)) / met.slant), out=found[:3])
        turn = cross(met.foot - self.centre, shift) - cross(met.normals, steep) * (off / cosine)
        np.divide(turn, self.size, out=found[3:])
        return found


@dataclass(frozen=True, slots=True, eq=False)
class _Lie:
    """How every surface of the casting lies off, worked out once: the same as its rows times the mean, at once for many points.

    Attributes:
        offset: (surfaces + 1,) mm; the last row stands for no surface.
        lean: of flat walls (surfaces + 1, 3), mm per mm; centre: where it counts from.
        aside: shift of round walls (surfaces + 1, 3), mm.
    """

    offset: Floats
    lean: Floats
    centre: Floats
    aside: Floats

    def offsets(self, points: Floats, ways: Floats, wall: Ints) -> Floats:
        """Return how far the skin lies outside its drawn place at points on it (n,), hollows left out, mm."""
        leaning = dots(points - self.centre[wall], self.lean[wall])
        return np.asarray(self.offset[wall] + leaning + dots(ways, self.aside[wall]))


def _in_hollows(received: AsReceived, points: Floats, wall: Ints) -> tuple[Floats, Floats]:
    """Return what hollows add to the skin's offset at points on the drawn skin (n,), mm, and how fast it rises there (n, 3)."""
    high, slope = np.zeros(len(points)), np.zeros((len(points), 3))
    spots, depths = received.model.spots, received.mean[len(received.model.walls.prior) :]
    good = np.flatnonzero((wall >= 0) & np.isfinite(points).all(axis=1))
    number = received.model.walls.number[wall[good]]
    high[good], slope[good] = spots.rows(points[good], number) @ depths, spots.slopes(points[good], number, depths)
    return high, slope


@lru_cache(maxsize=8)
def _lie(received: AsReceived) -> _Lie:
    walls = received.model.walls
    offset, lean, centre, aside = np.zeros(len(walls.walls)), *(np.zeros((len(walls.walls), 3)) for _ in range(3))
    for number, wall in enumerate(walls.walls):
        offset[number], centre[number] = received.mean[wall.first], wall.centroid
        if wall.form != "plain":
            a, b = received.mean[wall.first + 1 : wall.first + 3] / np.array(wall.reach)
            (lean if wall.form == "plane" else aside)[number] = a * np.array(wall.u) + b * np.array(wall.v)
        if wall.form == "blend":
            aside[number] += received.mean[wall.first + 3] * np.array(wall.w)
    none = np.zeros((1, 3))
    return _Lie(np.append(offset[walls.number], 0.0), *(np.concatenate([v[walls.number], none]) for v in (lean, centre, aside)))


@dataclass(frozen=True, slots=True, eq=False)
class _LieAt:
    """How the skin lies off over the points of a sight: offset (n,) but for the lean's share, lean and aside (3, n)."""

    offset: Floats
    lean: Floats
    aside: Floats


@lru_cache(maxsize=16)
def _lie_at(received: AsReceived, sight: Sight) -> _LieAt:
    lie, wall = _lie(received), sight.wall
    lean, aside = (np.ascontiguousarray(a[wall].T) for a in (lie.lean, lie.aside))
    return _LieAt(lie.offset[wall] - dots(lie.centre[wall], lie.lean[wall]), lean, aside)


def _scanned(received: AsReceived, sites: Sites, points: Floats, normals: Floats, move: Rigid, drawn: Floats) -> Even:
    """Return how far a scanned skin lies outside the drawn one (n,), without its noise; NaN where the scan has a gap."""
    assert received.scan is not None
    found = received.scan.over(points, normals, move.points(sites.samples.looked_from)).distance
    off = found - drawn
    off[~(np.abs(off) <= _UNLIKE)] = np.nan
    return _evener_of(sites, _places_to_a_point(received.part, sites, received.scan.points)).even(off)


@lru_cache(maxsize=4)
def _evener_of(sites: Sites, coarse: float) -> Evener:
    return evener(sites.samples.points, sites.face, coarse)


def _places_to_a_point(part: Part, sites: Sites, points: int) -> float:
    """Return how many sites share one of so many points of a scan, at least 1; a cloud's patches have a point each."""
    skin = sum(surface.area for surface in part.casting.surfaces)
    return max(float(skin / points / max(sites.samples.area.sum() / len(sites.face), 1e-300)), 1.0)


def prepare_even(part: Part, sites: Sites, points: int) -> None:
    """Work out ahead how a scan of so many points is evened out."""
    _evener_of(sites, _places_to_a_point(part, sites, points))


def outline_misfits(received: AsReceived, outline: Outline, move: Rigid, pivot: Pivot) -> Misfits:
    """Return how far the casting's as-cast walls lie outside those drawn round the moved part, as seven misfits of weight 1.

    Their sum of squares is that of all points, by the area of each, for every small further move. All of it is linear in the
    turn and the shift, so that the points are summed up once.
    """
    sums = _outline_sums(received, outline, pivot)
    turn, gone = move.matrix, np.subtract(move.point(pivot.centre), pivot.centre)
    value = np.concatenate([[1.0], -gone, (np.eye(3) - turn).ravel()])
    rate = np.zeros((13, 6))
    rate[1:4, :3] = -np.eye(3)
    for k, j, m in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        rate[4 + 3 * m : 7 + 3 * m, 3 + k] -= turn[j] / pivot.size
        rate[4 + 3 * j : 7 + 3 * j, 3 + k] += turn[m] / pivot.size
    shape = np.asarray(np.linalg.qr(sums @ np.column_stack([rate, value]), mode="r"))
    return Misfits(shape[:, 6], shape[:, :6], np.ones(len(shape)))


@lru_cache(maxsize=8)
def _outline_sums(received: AsReceived, outline: Outline, pivot: Pivot) -> Floats:
    """Return the root (13, 13) of the squares, by area, of each point's offset, normal, and normal times way from the pivot."""
    off = outline_offset(received, outline)
    seen = np.isfinite(off)
    normals, away = outline.normals[seen], outline.points[seen] - np.array(pivot.centre)
    columns = np.column_stack([off[seen], normals, (normals[:, :, None] * away[:, None, :]).reshape(-1, 9)])
    area = outline.area[seen]
    root = np.linalg.qr(columns * np.sqrt(area / max(float(area.sum()), 1e-300))[:, None], mode="r")
    return np.asarray(np.concatenate([root, np.zeros((13 - len(root), 13))]))


@lru_cache(maxsize=8)
def outline_offset(received: AsReceived, outline: Outline) -> Floats:
    """Return how far the as-cast walls lie off their drawn place (n,), mm along their normals; NaN where a scan has a gap."""
    if not len(outline.points):
        return np.zeros(0)
    if received.scan is None:
        level = _lie(received).offsets(outline.points, outline.normals, outline.surface)
        return level + _in_hollows(received, outline.points, outline.surface)[0]
    off = received.scan.over(outline.points, outline.normals).distance
    off[~(np.abs(off) <= _UNLIKE)] = np.nan
    return off
