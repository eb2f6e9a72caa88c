"""Stock at points of the machined faces as a function of where the finished part lies in the casting as received.

Each point looks along its face's outward normal at the skin over it. The skin is
the drawn one, off by what the readings say, or a scan. Between two looks stock
is linear in a small move; looking again makes it exact. Lengths mm, part frame;
the drawn casting stays where it is drawn, the finished part moves. Knows nothing
of what stock is required.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from geom.model.part import Part
from geom.rays.analytic import PLANE, Bools, Floats, Forms, Ints, bends, crossings, dots, forms, heights
from geom.rays.rays import skin_of
from geom.rays.sample import Samples, exact_points, surface_samples
from geom.received.casting import AsReceived
from geom.received.faces import over_skin
from geom.rigid import Rigid
from geom.scan.even import Even, Evener, evener
from geom.stock.depth import Depth
from geom.tolerance import EDGE_BAND

_POINTS: Final = {False: 1500, True: 12_000}
"""About how many pieces the machined faces get together: with a drawn skin, and with a scanned one."""

_FINEST, _COARSEST = 0.5, 8.0
"""Bounds of the spacing, mm."""

_STEEP: Final = 0.2
"""A skin that meets the normal flatter than this (sine) is the side of something, not the skin over the face."""

_UNLIKE: Final = 8.0
"""A scanned skin further than this, mm, from the drawn one is another wall, or a gap in the scan."""

_OUTLINE_POINTS: Final = 24
"""Points on each as-cast wall."""

_RAW_SHARE: Final = 0.05
"""A wall over less than this share of a machined face's area is not its raw skin."""


@dataclass(frozen=True, slots=True, eq=False)
class Sites:
    """Points on machined faces, one row each.

    Attributes:
        samples: where, on the finished part as drawn.
        face: (n,) number of the face in `Part.machined`.
        counts: (n,) False in the edge band, and where the face is cut from solid: such points ask for no stock.
        solid: (n,) cut from solid.
        wall: (n,) casting's surface over the point as drawn, -1 for none; reach: (n,) mm to it.
        foot, way: (n, 3) where that is, and its outward normal there: stands in for walls of no simple form.
    """

    samples: Samples
    face: Ints
    counts: Bools
    solid: Bools
    wall: Ints
    reach: Floats
    foot: Floats
    way: Floats

    def of(self, rows: Ints) -> "Sites":
        """Return some of the sites."""
        return Sites(self.samples.of(rows), *(getattr(self, name)[rows] for name in Sites.__slots__[1:]))


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Points on the walls that stay as cast: place, outward normal, casting's surface, area each stands for."""

    points: Floats
    normals: Floats
    surface: Ints
    area: Floats


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
    turn = np.radians(np.array(move.turn)) * pivot.size
    return np.concatenate([np.subtract(move.point(pivot.centre), pivot.centre), turn])


def crossed(a: Floats, b: Floats) -> Floats:
    """Return the row-wise vector products of (n, 3) arrays."""
    (p, q, r), (x, y, z) = a.T, b.T
    return np.stack([q * z - r * y, r * x - p * z, p * y - q * x], axis=1)


# --- the points ---------------------------------------------------------------


def sites_of(part: Part, fine: bool = False) -> Sites:
    """Return the points on a part's machined faces: the same for every casting of it, and worked out once."""
    return _sites(part, fine)


@lru_cache(maxsize=4)
def _sites(part: Part, fine: bool) -> Sites:
    owner = {index: number for number, face in enumerate(part.machined) for index in face.surfaces}
    depth = Depth(part)
    assert depth.cut is not None
    samples = surface_samples(part.finished, _spacing(part, fine), sorted(owner), owner, depth.cut.mesh)
    sites = _sited(part, samples, depth)
    useful = sites.counts | (samples.area > 0)
    return Sites(samples.of(useful), *(getattr(sites, name)[useful] for name in Sites.__slots__[1:]))


def _spacing(part: Part, fine: bool) -> float:
    area = sum(face.area for face in part.machined)
    return float(np.clip(np.sqrt(area / _POINTS[fine]), _FINEST, _COARSEST))


def spacing_of_sites(part: Part, surface: int) -> float:
    """Return the distance, mm, between neighbouring sites on a surface of the finished part, about."""
    return min(_spacing(part, False), float(np.sqrt(part.finished.surfaces[surface].area)) / 8.0)


def sites_at(part: Part, points: Floats, surfaces: Ints) -> Sites:
    """Return points (n, 3) near given surfaces of the finished part as sites that stand for no area."""
    spots, normals = exact_points(part.finished, surfaces, points)
    far = np.full(len(spots), np.inf)
    return _sited(part, Samples(spots, normals, surfaces, np.zeros(len(spots)), far, spots.copy()), None)


def _sited(part: Part, samples: Samples, depth: Depth | None) -> Sites:
    """Return samples as sites; without a `depth` none is taken as cut from solid."""
    owner = {index: number for number, face in enumerate(part.machined) for index in face.surfaces}
    face = np.array([owner.get(i, -1) for i in range(len(part.finished.surfaces))])[samples.face]
    if depth is None:
        solid = np.zeros(len(face), dtype=np.bool_)
        hits = skin_of(part.casting).over(samples.points, samples.normals, samples.looked_from)
    else:
        measured = depth.at(samples.points, samples.normals, samples.face, samples.looked_from)
        solid, hits = measured.solid, measured.skin
    wall, reach = hits.face.copy(), hits.distance.copy()
    lost = (wall < 0) | ~np.isfinite(reach)
    wall[lost], reach[lost] = -1, np.nan
    counts = ~solid & ~lost & (samples.edge_distance >= _bands(samples, face))
    foot = samples.points + reach[:, None] * samples.normals
    return Sites(samples, face, counts, solid, wall, reach, foot, _ways(part, wall, foot))


def _bands(samples: Samples, face: Ints) -> Floats:
    """Return the width of the edge band at each point: less on a face too narrow for a whole one."""
    band = np.full(len(face), EDGE_BAND)
    for number in np.unique(face).tolist():
        rows = face == number
        band[rows] = min(EDGE_BAND, float(samples.edge_distance[rows].max()) / 2.0)
    return band * (1.0 - 1e-9)


def joined(first: Sites, second: Sites) -> Sites:
    """Return two sets of sites as one."""
    samples = Samples(*(np.concatenate([getattr(first.samples, n), getattr(second.samples, n)]) for n in Samples.__slots__))
    rest = (np.concatenate([getattr(first, n), getattr(second, n)]) for n in Sites.__slots__[1:])
    return Sites(samples, *rest)


@lru_cache(maxsize=4)
def outline_of(part: Part) -> Outline:
    """Return points on the casting's walls that no machined face lies under."""
    casting = part.casting
    mesh = skin_of(casting).mesh
    corners = mesh.vertices[mesh.triangles]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    twice = np.linalg.norm(cross, axis=1)
    raw = _raw_walls(part)
    points, normals, surface, area = [], [], [], []
    for wall in casting.surfaces:
        rows = np.flatnonzero((mesh.face == wall.index) & (twice > 0))
        if wall.index in raw or not rows.size:
            continue
        spots, size, row = _spread(corners[rows], twice[rows] / 2.0)
        points.append(spots)
        normals.append((cross[rows] / twice[rows, None])[row])
        surface.append(np.full(len(spots), wall.index))
        area.append(size)
    if not points:
        return Outline(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0, dtype=np.int64), np.zeros(0))
    where, ways, which = np.concatenate(points), np.concatenate(normals), np.concatenate(surface)
    exact = heights(_forms_of(part), which, where)[1]
    return Outline(where, np.where(np.isnan(exact), ways, exact), which, np.concatenate(area))


def _raw_walls(part: Part) -> set[int]:
    """Return the casting's surfaces that are the raw skin over some machined face."""
    sites = sites_of(part) if part.machined else None
    found: set[int] = set()
    for number in range(len(part.machined)):
        assert sites is not None
        rows = (sites.face == number) & ~sites.solid & (sites.wall >= 0)
        whole = float(sites.samples.area[rows].sum())
        found |= {
            int(w) for w in np.unique(sites.wall[rows]) if sites.samples.area[rows & (sites.wall == w)].sum() > _RAW_SHARE * whole
        }
    return found


def _spread(corners: Floats, area: Floats) -> tuple[Floats, Floats, Ints]:
    """Return points that stand for triangles, the area of each and its triangle: mid-sides of few, an even choice among many."""
    if 3 * len(area) <= _OUTLINE_POINTS:
        middles = (corners + np.roll(corners, -1, axis=1)) / 2.0
        return middles.reshape(-1, 3), np.repeat(area / 3.0, 3), np.repeat(np.arange(len(area)), 3)
    along = np.cumsum(area)
    row = np.searchsorted(along, (np.arange(_OUTLINE_POINTS) + 0.5) / _OUTLINE_POINTS * along[-1])
    return corners[row].mean(axis=1), np.full(_OUTLINE_POINTS, along[-1] / _OUTLINE_POINTS), row


@lru_cache(maxsize=8)
def _forms_cached(solid: object) -> Forms:
    return forms(solid.surfaces)  # type: ignore[attr-defined]


def _forms_of(part: Part) -> Forms:
    return _forms_cached(part.casting)


# --- looking --------------------------------------------------------------------


def look(received: AsReceived, sites: Sites, move: Rigid, pivot: Pivot, through_rays: bool = False) -> Look:
    """Return the stock at all sites with the finished part moved.

    Args:
        move: of the finished part, from where it is drawn.
        through_rays: look with rays at every wall; else at the (untrimmed) wall that was over the point as drawn, which is
            quicker and has no jumps. A scan is always looked at with rays.
    """
    points, normals = move.points(sites.samples.points), move.directions(sites.samples.normals)
    distance, wall, ways, bent = _drawn_skin(received.part, sites, move, points, normals, through_rays)
    with np.errstate(invalid="ignore", divide="ignore"):
        ways = np.where(np.abs(dots(ways, normals))[:, None] > _STEEP, ways, np.nan)
        if received.scan is not None:
            even = _scanned(received, sites, points, normals, move, distance)
            seen = distance + even.value
            stock = seen + 0.0 * ways[:, 0]
            rate = _rates(distance, even.value, _Facing(points, normals, ways, ways, np.zeros_like(ways)), move, pivot)
            return Look(stock, rate, stock, rate, wall, distance, ways, even)
        lie, foot = _lie(received), points + distance[:, None] * normals
        steep = ways - lie.lean[wall]
        cosine = dots(steep, normals)

        def rates(off: Floats, slope: Floats) -> Floats:
            rise, sideways = lie.lean[wall] + slope, lie.aside[wall[bent]] - off[bent, None] * normals[bent]
            rise[bent] += bends(_forms_of(received.part), wall[bent], foot[bent], ways[bent], sideways)
            return _rates(distance, off, _Facing(points, normals, ways, steep, rise), move, pivot)

        off = lie.offsets(foot, ways, wall) / cosine
        level, level_rate = distance + off, rates(off, np.zeros_like(foot))
        if not received.spots:
            return Look(level, level_rate, level, level_rate, wall, distance, steep)
        high, slope = _in_hollows(received, foot, wall)
        off = off + high / cosine
        return Look(distance + off, rates(off, slope), level, level_rate, wall, distance, steep)


def skin_rates(received: AsReceived, sites: Sites, seen: Look, move: Rigid, rows: Ints) -> Floats:
    """Return how the stock at some sites changes with the parameters of the skin (m, k)."""
    points, normals = move.points(sites.samples.points[rows]), move.directions(sites.samples.normals[rows])
    foot = points + seen.drawn[rows, None] * normals
    ways = seen.way[rows] + _lie(received).lean[seen.wall[rows]]
    return np.asarray(received.model.offset_rows(foot, ways, seen.wall[rows]) / dots(seen.way[rows], normals)[:, None])


@dataclass(frozen=True, slots=True, eq=False)
class _Facing:
    """Points and their normals; at the drawn skin over each its normal, the same leaning as received, and its rise, mm per mm."""

    points: Floats
    normals: Floats
    ways: Floats
    steep: Floats
    rise: Floats


def _rates(distance: Floats, off: Floats, at: _Facing, move: Rigid, pivot: Pivot) -> Floats:
    """Return how stock changes with a small move (n, 6): the change of the distance to the drawn skin, and of what is off it.

    With foot f = p + distance n on the drawn skin, w square to it and a small move (d, r): the foot goes along the skin by
    g - n (w . g) / (w . n) with g = d + r x (f - pivot), and what is off, o = offset / (steep . n), changes by the rise along
    that and by the turn of n against the skin.
    """
    foot = at.points + distance[:, None] * at.normals - np.array(move.point(pivot.centre))
    cosine = dots(at.steep, at.normals)
    rise = at.rise / cosine[:, None]
    shift = rise - at.ways * ((1.0 + dots(rise, at.normals)) / dots(at.ways, at.normals))[:, None]
    turn = crossed(foot, shift) - crossed(at.normals, at.steep) * (off / cosine)[:, None]
    return np.concatenate([shift, turn / pivot.size], axis=1)


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


def _drawn_skin(
    part: Part, sites: Sites, move: Rigid, points: Floats, normals: Floats, through_rays: bool
) -> tuple[Floats, Ints, Floats, Ints]:
    """Return the distance to the drawn skin, which surface, its outward normal there, and the points that see a bend in it.

    A wall of no simple form, or one that the line now misses, is stood in for by the plane on it where it was over the point.
    """
    wall, f = sites.wall.copy(), _forms_of(part)
    known = np.flatnonzero(wall >= 0)
    distance = np.full(len(wall), np.nan)
    leaving = np.ones(len(known), dtype=np.bool_)
    distance[known] = crossings(f, wall[known], points[known], normals[known], sites.reach[known], leaving)
    flat = np.isnan(distance)
    with np.errstate(invalid="ignore", divide="ignore"):
        distance[flat] = dots(sites.foot[flat] - points[flat], sites.way[flat]) / dots(normals[flat], sites.way[flat])
    if through_rays:
        ask = np.flatnonzero(sites.counts)
        hits = skin_of(part.casting).over(points[ask], normals[ask], move.points(sites.samples.looked_from[ask]))
        same = np.isfinite(hits.distance) & (hits.face >= 0)
        distance[ask[same]], wall[ask[same]] = hits.distance[same], hits.face[same]
        flat[ask[same]] = False
    ways = _ways(part, np.where(flat, -1, wall), points + distance[:, None] * normals)
    ways[flat] = sites.way[flat]
    bent = np.flatnonzero(~flat & (wall >= 0) & (f.kind[wall] != PLANE) & np.isfinite(distance))
    return distance, wall, ways, bent


def _ways(part: Part, wall: Ints, foot: Floats) -> Floats:
    """Return the outward normals of the casting's surfaces at points on them (n, 3); NaN where there is none."""
    ways = np.full((len(wall), 3), np.nan)
    met = np.flatnonzero((wall >= 0) & np.isfinite(foot).all(axis=1))
    ways[met] = over_skin(part.casting, wall[met], foot[met])[1]
    return ways


def _scanned(received: AsReceived, sites: Sites, points: Floats, normals: Floats, move: Rigid, drawn: Floats) -> Even:
    """Return how far a scanned skin lies outside the drawn one (n,), without its noise; NaN where the scan has a gap."""
    assert received.scan is not None
    found = received.scan.over(points, normals, move.points(sites.samples.looked_from)).distance
    off = found - drawn
    off[~(np.abs(off) <= _UNLIKE)] = np.nan
    return _evener_of(sites, _places_to_a_point(received, sites)).even(off)


@lru_cache(maxsize=4)
def _evener_of(sites: Sites, coarse: float) -> Evener:
    return evener(sites.samples.points, sites.face, coarse)


def _places_to_a_point(received: AsReceived, sites: Sites) -> float:
    """Return how many sites share one point of the scan; a cloud's patches have a point each."""
    assert received.scan is not None
    skin = sum(surface.area for surface in received.part.casting.surfaces)
    return float(skin / received.scan.points / max(sites.samples.area.sum() / len(sites.face), 1e-300))


def misfit(received: AsReceived, outline: Outline, move: Rigid, pivot: Pivot) -> tuple[Floats, Floats]:
    """Return how far the casting's as-cast walls lie outside those drawn round the moved part (n,), and its change (n, 6)."""
    moved = move.points(outline.points)
    centre = np.array(move.point(pivot.centre))
    rate = -np.concatenate([outline.normals, crossed(moved - centre, outline.normals) / pivot.size], axis=1)
    return outline_offset(received, outline) - dots(moved - outline.points, outline.normals), rate


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
