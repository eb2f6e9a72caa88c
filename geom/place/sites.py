"""Points on machined faces, each with the casting's wall over it as drawn, and points on the walls that stay as cast.

The same for every casting of a part, and worked out once. Lengths mm, part frame. Knows nothing of readings or of what stock is
required.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np

from geom.model.part import Part
from geom.rays.analytic import Bools, Floats, Forms, Ints, forms, heights
from geom.rays.rays import skin_of
from geom.rays.sample import Samples, exact_points, surface_samples
from geom.received.faces import over_skin
from geom.stock.depth import Depth
from geom.tolerance import EDGE_BAND

_POINTS: Final = {False: 1500, True: 12_000}
"""About how many pieces the machined faces get together: with a drawn skin, and with a scanned one."""

_FINEST, _COARSEST = 0.5, 8.0
"""Bounds of the spacing, mm."""

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


@lru_cache(maxsize=256)
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
    return Sites(samples, face, counts, solid, wall, reach, foot, ways_of(part, wall, foot))


def _bands(samples: Samples, face: Ints) -> Floats:
    """Return the width of the edge band at each point: less on a face too narrow for a whole one."""
    band = np.full(len(face), EDGE_BAND)
    for number in np.unique(face).tolist():
        rows = face == number
        band[rows] = min(EDGE_BAND, float(samples.edge_distance[rows].max()) / 2.0)
    return band * (1.0 - 1e-9)


def with_walls_met(part: Part, sites: Sites, rows: Ints, wall: Ints, reach: Floats, foot: Floats) -> Sites:
    """Return sites of which some look at other walls: which, how far away, and where."""
    found = replace(sites, **{name: getattr(sites, name).copy() for name in ("wall", "reach", "foot", "way")})
    found.wall[rows], found.reach[rows], found.foot[rows], found.way[rows] = wall, reach, foot, ways_of(part, wall, foot)
    return found


def joined(*lots: Sites) -> Sites:
    """Return lots of sites as one."""
    samples = Samples(*(np.concatenate([getattr(lot.samples, n) for lot in lots]) for n in Samples.__slots__))
    return Sites(samples, *(np.concatenate([getattr(lot, n) for lot in lots]) for n in Sites.__slots__[1:]))


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
    exact = heights(forms_of(part), which, where)[1]
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


def forms_of(part: Part) -> Forms:
    """Return the forms of a part's casting, laid out once."""
    return _forms_cached(part.casting)


def ways_of(part: Part, wall: Ints, foot: Floats) -> Floats:
    """Return the outward normals of the casting's surfaces at points on them (n, 3); NaN where there is none."""
    ways = np.full((len(wall), 3), np.nan)
    met = np.flatnonzero((wall >= 0) & np.isfinite(foot).all(axis=1))
    ways[met] = over_skin(part.casting, wall[met], foot[met])[1]
    return ways
