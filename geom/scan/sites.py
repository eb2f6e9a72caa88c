"""Points to lay a scan on a drawn casting with: on the drawn skin, and on the scan.

Spread by area, not by how closely the scanner or the CAD program put its
points. Lengths mm. Knows nothing of poses.
"""

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

import numpy as np

from geom.kernel.shape import Solid
from geom.rays.analytic import OTHER, Bools, Floats, Forms, Ints, dots, forms, heights
from geom.rays.sample import surface_samples
from geom.scan.file import Scan
from geom.scan.mesh import area_vectors

DRAWN_POINTS: Final = 12_000
"""About how many points stand on the drawn skin."""

_TURN: Final = 0.05
"""A normal turned by one radian counts as being this share of the casting's size away."""

_FINE: Final = 3.0
"""Facets up to this many point spacings across lend a corner, which was measured; larger ones a place in between."""

_LOOKED_AT: Final = 200_000
"""Of a mesh twice as fine or more only every second, third ... facet is looked at."""

_NEIGHBOURS: Final = 8
"""Normals are averaged over this many points: one noisy facet's says little."""

_CLOUD_CELLS: Final = 120
"""Cells along a cloud's box within each of which one point is taken."""

_MANY: Final = 5000
"""Look-ups worth a second thread."""

_GOLDEN: Final = (0.7548776662466927, 0.5698402909980532)
"""Steps that spread points evenly in a square (the plane's golden ratio, 1/g and 1/g^2 with g^3 = g + 1)."""


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """The drawn skin as points, one row each, part frame.

    Attributes:
        points, normals: (n, 3); face: (n,) surface index; edge: (n,) mm to the edge of its face.
        share: (n,) of the skin's area, sums to 1.
        size: box diagonal, mm; centre: (3,) of the box; spacing: mm between neighbours.
        free: (n,) on a face without a form, read as flat about the point.
        oriented, plain: trees of places with and without normals.
    """

    points: Floats
    normals: Floats
    face: Ints
    edge: Floats
    share: Floats
    size: float
    centre: Floats
    spacing: float
    free: Bools
    forms: Forms
    oriented: Any = field(repr=False)
    plain: Any = field(repr=False)

    @property
    def turn(self) -> float:
        """mm that one radian of a normal counts."""
        return _TURN * self.size


@dataclass(frozen=True, slots=True, eq=False)
class Scanned:
    """Points (n, 3) of a scan, each for the same area; normals, out of the metal (either way when not `sided`)."""

    points: Floats
    normals: Floats
    sided: bool

    def some(self, count: int) -> "Scanned":
        """Return about `count` of the points, spread over all."""
        rows = np.unique(np.linspace(0, len(self.points) - 1, min(count, len(self.points))).astype(np.int64))
        return Scanned(self.points[rows], self.normals[rows], self.sided)


@dataclass(frozen=True, slots=True, eq=False)
class Met:
    """Scanned points beside the drawn skin, one row each.

    Attributes:
        sample: row of the nearest drawn point; apart: mm to it.
        height: mm over that point's face; normal: (n, 3) of the face there.
        sure: the foot lies within the face, so that the height is the distance from the skin.
    """

    sample: Ints
    apart: Floats
    height: Floats
    normal: Floats
    sure: Bools

    def of(self, rows: slice) -> "Met":
        """Return some of them."""
        return Met(self.sample[rows], self.apart[rows], self.height[rows], self.normal[rows], self.sure[rows])


@lru_cache(maxsize=4)
def drawn_points(casting: Solid) -> Drawn:
    """Return points on a drawn casting's skin."""
    from scipy.spatial import cKDTree

    area = sum(s.area for s in casting.surfaces)
    spacing = float(np.sqrt(area / DRAWN_POINTS))
    found = surface_samples(casting, spacing)
    found = found.of(found.area > 0)
    f = forms(casting.surfaces)
    oriented = np.concatenate([found.points, _TURN * casting.size * found.normals], axis=1)
    return Drawn(
        found.points,
        found.normals,
        found.face,
        found.edge_distance,
        found.area / found.area.sum(),
        casting.size,
        (found.points.min(axis=0) + found.points.max(axis=0)) / 2.0,
        spacing,
        f.kind[found.face] == OTHER,
        f,
        cKDTree(oriented, compact_nodes=False, balanced_tree=False),
        cKDTree(found.points, compact_nodes=False, balanced_tree=False),
    )


def nearest(drawn: Drawn, points: Floats, normals: Floats, sided: bool) -> tuple[Floats, Ints]:
    """Return how far the drawn skin is from each point, its normal considered when `sided`, and the drawn point there."""
    workers = -1 if len(points) > _MANY else 1
    if not sided:
        distance, sample = drawn.plain.query(points, workers=workers)
    else:
        distance, sample = drawn.oriented.query(np.concatenate([points, drawn.turn * normals], axis=1), workers=workers)
    return np.asarray(distance), np.asarray(sample, dtype=np.int64)


def met(drawn: Drawn, points: Floats, sample: Ints) -> Met:
    """Return how points lie over the faces of the drawn points they belong to."""
    high, normal = heights(drawn.forms, drawn.face[sample], points)
    between = points - drawn.points[sample]
    free = np.flatnonzero(drawn.free[sample])
    high[free], normal[free] = dots(between[free], drawn.normals[sample[free]]), drawn.normals[sample[free]]
    apart = np.sqrt(dots(between, between))
    return Met(sample, apart, high, normal, apart < drawn.edge[sample])


# --- on the scan ------------------------------------------------------------


def scanned_points(scan: Scan, count: int) -> Scanned:
    """Return about `count` points of a scan, spread by area in a fixed way."""
    return _from_cloud(scan.vertices, count) if scan.is_cloud else _from_mesh(scan, count)


def _from_mesh(scan: Scan, count: int) -> Scanned:
    triangles = scan.triangles[:: max(1, len(scan.triangles) // _LOOKED_AT)]
    vectors = area_vectors(scan.vertices, triangles)
    reach = np.cumsum(np.sqrt(dots(vectors, vectors)))
    row = np.searchsorted(reach, (np.arange(count) + 0.5) * (reach[-1] / count))
    corners = scan.vertices[triangles[row]]
    u, v = ((0.5 + np.arange(count) * step) % 1.0 for step in _GOLDEN)
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u), np.where(over, 1.0 - v, v)
    shares = np.stack([1.0 - u - v, u, v], axis=1)
    points = np.einsum("ij,ijk->ik", shares, corners)
    sides = corners - np.roll(corners, 1, axis=1)
    small = np.einsum("ijk,ijk->ij", sides, sides).max(axis=1) < _FINE**2 * reach[-1] / count
    pick = np.argmax(shares, axis=1)
    points[small] = corners[small, pick[small]]
    normals = vectors[row] / np.linalg.norm(vectors[row], axis=1)[:, None]
    return Scanned(points, _evened(points, normals), True)


def _evened(points: Floats, normals: Floats) -> Floats:
    """Return each normal as the mean of its neighbours' that lean its way."""
    from scipy.spatial import cKDTree

    near = cKDTree(points).query(points, k=min(_NEIGHBOURS, len(points)), workers=-1)[1].reshape(len(points), -1)
    around = normals[near]
    lean = np.maximum(np.einsum("ijk,ik->ij", around, normals), 0.0)
    total = np.einsum("ij,ijk->ik", lean, around) + normals
    return np.asarray(total / np.linalg.norm(total, axis=1)[:, None])


def _from_cloud(points: Floats, count: int) -> Scanned:
    thin = thinned(points, _CLOUD_CELLS)
    step = max(1, round(len(thin) / count))
    normals, _ = cloud_planes(thin, thin[::step])
    return Scanned(thin[::step], normals, False)


def thinned(points: Floats, cells: int) -> Floats:
    """Return the first point of a cloud in each of the cells, so many along the diagonal of its box."""
    low = points.min(axis=0)
    side = float(np.linalg.norm(points.max(axis=0) - low)) / cells
    if not side > 0:
        return points[:1]
    place = ((points - low) / side).astype(np.int64)
    _, first = np.unique((place[:, 0] * (cells + 1) + place[:, 1]) * (cells + 1) + place[:, 2], return_index=True)
    return points[np.sort(first)]


def cloud_planes(cloud: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Return the normals (either way) of the flattest planes through the neighbours of places, and the planes' middles."""
    from scipy.spatial import cKDTree

    count = min(12, len(cloud))
    around = cloud[cKDTree(cloud).query(at, k=count, workers=-1)[1].reshape(len(at), -1)]
    middle = around.mean(axis=1)
    spread = around - middle[:, None, :]
    _, axes = np.linalg.eigh(np.einsum("nki,nkj->nij", spread, spread))
    return np.ascontiguousarray(axes[:, :, 0]), middle
