"""Points spread evenly over the faces of a solid.

Each stands for an area; rim points, which stand for none, follow the faces'
edges so that a true minimum is met. Points and normals are exact on planes,
cylinders, cones, spheres and tori. Lengths mm, part frame. Knows nothing of
castings or stock.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.analytic import Bools, Floats, Ints, dots, forms, onto
from geom.errors import GeometryError
from geom.kernel.mesh import Mesh
from geom.kernel.shape import Solid
from geom.rays import skin_of
from geom.tolerance import WORK_CHORD

RIM: Final = 2.5 * WORK_CHORD
"""How far in from a face's edge, mm, its rim points look around them: beyond the
facet error, so that a rim sees its own face and not what lies past the edge."""


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Points on the faces of a solid, one row each.

    Attributes:
        points: (n, 3) mm.
        normals: (n, 3) outward unit normals.
        face: (n,) index into the solid's surfaces.
        area: (n,) mm2 each point stands for; 0 for rim points.
        edge_distance: (n,) mm to the nearest edge of its own face (of its group of faces).
        looked_from: (n, 3) the point, moved `RIM` in from the edge if it is closer than that.
    """

    points: Floats
    normals: Floats
    face: Ints
    area: Floats
    edge_distance: Floats
    looked_from: Floats

    def of(self, rows: "Ints | Bools") -> "Samples":
        """Return some of the samples."""
        return Samples(*(getattr(self, name)[rows] for name in self.__slots__))


def surface_samples(
    solid: Solid, spacing: float, faces: Collection[int] | None = None, groups: Mapping[int, int] | None = None
) -> Samples:
    """Return points spread over a solid's faces, the same for the same solid every time.

    Args:
        spacing: greatest distance, mm, between neighbours.
        faces: surface indices to cover; every one when None.
        groups: surface index -> number of the face it is a piece of; an edge between
            two pieces of one face is no edge. Without it each surface is its own face.

    Raises:
        GeometryError: the spacing is not a positive number.
    """
    if not (np.isfinite(spacing) and spacing > 0):
        raise GeometryError(f"{solid.label}: sample spacing {spacing} mm; give a distance above 0 mm")
    mesh = skin_of(solid).mesh
    label = np.arange(len(solid.surfaces))
    for index, group in (groups or {}).items():
        label[index] = len(solid.surfaces) + group
    wanted = np.zeros(len(solid.surfaces), dtype=np.bool_)
    wanted[list(range(len(solid.surfaces)) if faces is None else faces)] = True
    rim = _rim(mesh, label, wanted)
    inner = _spread(solid, mesh, wanted, spacing)
    return _assembled(solid, label, inner, rim, spacing)


# --- interior points --------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    """Small triangles: corners (n, 3, 3), face and area."""

    corners: Floats
    face: Ints
    area: Floats


def _spread(solid: Solid, mesh: Mesh, wanted: Bools, spacing: float) -> _Pieces:
    chosen = wanted[mesh.face]
    corners, face = mesh.vertices[mesh.triangles[chosen]], mesh.face[chosen]
    done: list[tuple[Floats, Ints]] = []
    while len(corners):
        sides = np.roll(corners, -1, axis=1) - corners
        lengths = np.einsum("ijk,ijk->ij", sides, sides)
        longest = np.argmax(lengths, axis=1)
        rows = np.arange(len(corners))
        small = lengths[rows, longest] <= spacing * spacing
        done.append((corners[small], face[small]))
        corners, face, longest = corners[~small], face[~small], longest[~small]
        corners, face = _halved(corners, longest), np.concatenate([face, face])
    corners, face = np.concatenate([c for c, _ in done]), np.concatenate([f for _, f in done])
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2.0
    exact = np.array([s.area for s in solid.surfaces])
    found = np.bincount(face, area, minlength=len(exact))
    return _Pieces(corners, face, area * (exact / np.where(found > 0, found, 1.0))[face])


def _halved(corners: Floats, side: Ints) -> Floats:
    """Return each triangle cut in two across the middle of the given side."""
    rows = np.arange(len(corners))
    a, b, c = (corners[rows, (side + i) % 3] for i in range(3))
    middle = (a + b) / 2.0
    return np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])


# --- the rim ----------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Rim:
    """Boundary segments of faces: ends (n, 3), the direction into the face (n, 3), face (n,)."""

    start: Floats
    end: Floats
    inward: Floats
    face: Ints


def _rim(mesh: Mesh, label: Ints, wanted: Bools) -> _Rim:
    """Return the mesh sides that have the same face on one side only."""
    chosen = np.flatnonzero(wanted[mesh.face])
    triangles, face = mesh.triangles[chosen], mesh.face[chosen]
    a, b = triangles[:, [0, 1, 2]].ravel(), triangles[:, [1, 2, 0]].ravel()
    opposite = triangles[:, [2, 0, 1]].ravel()
    owner = np.repeat(face, 3)
    big = len(mesh.vertices)
    key = (np.minimum(a, b) * big + np.maximum(a, b)) * (2 * len(label) + 2) + label[owner]
    _, inverse, count = np.unique(key, return_inverse=True, return_counts=True)
    alone = count[inverse.ravel()] == 1
    start, end, other = mesh.vertices[a[alone]], mesh.vertices[b[alone]], mesh.vertices[opposite[alone]]
    along = end - start
    into = other - start
    into -= (dots(into, along) / np.maximum(dots(along, along), 1e-300))[:, None] * along
    into /= np.maximum(np.linalg.norm(into, axis=1), 1e-300)[:, None]
    return _Rim(start, end, into, owner[alone])


def _rim_points(rim: _Rim, spacing: float) -> tuple[Floats, Floats, Ints]:
    """Return points along the rim, the direction into the face at each, and the face."""
    count = np.maximum(1, np.ceil(np.linalg.norm(rim.end - rim.start, axis=1) / spacing)).astype(np.int64)
    row = np.repeat(np.arange(len(count)), count)
    place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    share = (place / count[row])[:, None]
    return rim.start[row] * (1 - share) + rim.end[row] * share, rim.inward[row], rim.face[row]


# --- together ---------------------------------------------------------------


def _assembled(solid: Solid, label: Ints, pieces: _Pieces, rim: _Rim, spacing: float) -> Samples:
    edge_points, inward, edge_face = _rim_points(rim, spacing)
    points = np.concatenate([pieces.corners.mean(axis=1), edge_points])
    face = np.concatenate([pieces.face, edge_face])
    area = np.concatenate([pieces.area, np.zeros(len(edge_points))])
    flat = np.cross(pieces.corners[:, 1] - pieces.corners[:, 0], pieces.corners[:, 2] - pieces.corners[:, 0])
    flat /= np.maximum(np.linalg.norm(flat, axis=1), 1e-300)[:, None]
    guess = np.concatenate([flat, np.zeros((len(edge_points), 3))])
    f = forms(solid.surfaces)
    exact, normals = onto(f, face, points)
    free = np.isnan(normals[:, 0])
    exact[free], normals[free] = points[free], guess[free]
    distance, away = _edge_distance(label, face, points, rim)
    away[len(pieces.face) :] = inward
    distance[len(pieces.face) :] = 0.0
    short = np.maximum(RIM - distance, 0.0)[:, None] * away
    looked, _ = onto(f, face, exact + short)
    looked[np.isnan(looked)] = (exact + short)[np.isnan(looked)]
    return Samples(exact, normals, face, area, distance, looked)


def _edge_distance(label: Ints, face: Ints, points: Floats, rim: _Rim) -> tuple[Floats, Floats]:
    """Return each point's distance to its face's rim (inf without one) and the direction away from it."""
    distance = np.full(len(points), np.inf)
    away = np.zeros((len(points), 3))
    for group in np.unique(label[face]):
        rows = np.flatnonzero(label[face] == group)
        sides = np.flatnonzero(label[rim.face] == group)
        if sides.size:
            distance[rows], away[rows] = _to_segments(points[rows], rim.start[sides], rim.end[sides])
    return distance, away


def _to_segments(points: Floats, start: Floats, end: Floats) -> tuple[Floats, Floats]:
    along = end - start
    size = np.maximum(dots(along, along), 1e-300)
    best = np.full(len(points), np.inf)
    gap = np.zeros_like(points)
    block = max(1, 400_000 // len(start))
    for i in range(0, len(points), block):
        w = points[i : i + block, None, :] - start
        share = np.clip(np.einsum("ijk,jk->ij", w, along) / size, 0.0, 1.0)
        off = w - share[:, :, None] * along
        square = np.einsum("ijk,ijk->ij", off, off)
        nearest = np.argmin(square, axis=1)
        rows = np.arange(len(nearest))
        best[i : i + block] = np.sqrt(square[rows, nearest])
        gap[i : i + block] = off[rows, nearest]
    return best, gap / np.maximum(best, 1e-300)[:, None]
