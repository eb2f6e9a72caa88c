"""Points spread evenly over the faces of a solid.

Each stands for an area. Points that stand for none follow the faces' edges and
a line `tolerance.EDGE_BAND` in from them, so that the least value on a face,
and away from its edge, is met and not just neared. Points and normals are
exact. Lengths mm, part frame. Knows nothing of castings or stock.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.errors import GeometryError
from geom.kernel.freeform import FreeForms
from geom.kernel.mesh import Mesh
from geom.kernel.probe import project
from geom.kernel.shape import Solid
from geom.rays.analytic import Bools, Floats, Ints, corner_shares, forms, onto
from geom.rays.rays import skin_of
from geom.rays.rim import Rim, edge_distance, points_along, rim_of
from geom.rays.spread import Pieces, pieces
from geom.tolerance import EDGE_BAND, WORK_CHORD

RIM: Final = 2.5 * WORK_CHORD
"""How far in from a face's edge, mm, its rim points look around them: beyond the
facet error, so that a rim sees its own face and not what lies past the edge."""

_LEAST_ACROSS: Final = 8
"""A small face still gets about this many pieces each way."""

_A_FEW_ACROSS: Final = 4
"""Scattered points each way across a face."""


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Points on the faces of a solid, one row each.

    Attributes:
        points: (n, 3) mm.
        normals: (n, 3) outward unit normals.
        face: (n,) index into the solid's surfaces.
        area: (n,) mm2 each point stands for; 0 for points on the rim and on the line inside it.
        edge_distance: (n,) mm to the nearest edge of its own face (of its group of faces); inf without one.
        looked_from: (n, 3) the point, moved `RIM` in from the edge if it is closer than that.
    """

    points: Floats
    normals: Floats
    face: Ints
    area: Floats
    edge_distance: Floats
    looked_from: Floats

    def of(self, rows: Ints | Bools) -> "Samples":
        """Return some of the samples."""
        return Samples(*(getattr(self, name)[rows] for name in Samples.__slots__))


def surface_samples(
    solid: Solid,
    spacing: float,
    faces: Collection[int] | None = None,
    groups: Mapping[int, int] | None = None,
    mesh: Mesh | None = None,
) -> Samples:
    """Return points spread over a solid's faces, the same for the same solid every time.

    Args:
        spacing: greatest distance, mm, between neighbours; small faces get closer ones.
        faces: surface indices to cover; every one when None.
        groups: surface index -> number of the face it is a piece of; an edge between
            two pieces of one face is no edge. Without it each surface is its own face.
        mesh: look-up triangles that cover at least these faces; the whole skin's when None.

    Raises:
        GeometryError: the spacing is not a positive number.
    """
    if not (np.isfinite(spacing) and spacing > 0):
        raise GeometryError(f"{solid.label}: a sample spacing of {spacing} mm; give a distance above 0 mm")
    count = len(solid.surfaces)
    group = np.arange(count)
    for index, number in (groups or {}).items():
        group[index] = count + number
    wanted = np.zeros(count, dtype=np.bool_)
    wanted[list(range(count) if faces is None else faces)] = True
    close = np.minimum(spacing, np.sqrt([s.area for s in solid.surfaces]) / _LEAST_ACROSS)
    mesh = skin_of(solid).mesh if mesh is None else mesh
    outlines = rim_of(mesh, np.arange(count), wanted)
    rim = rim_of(mesh, group, wanted) if groups else outlines
    return _assembled(solid, group, pieces(mesh, solid.surfaces, outlines, wanted, close), rim, _Edge(mesh, rim, close))


def scattered_points(solid: Solid, mesh: Mesh, faces: Collection[int], margin: float) -> Samples:
    """Return a few points on each face, away from its edge: enough to see whether it lies where it should.

    Args:
        mesh: look-up triangles that cover these faces, however coarse.
        margin: how far from the edge, mm.
    """
    count = len(solid.surfaces)
    wanted = np.zeros(count, dtype=np.bool_)
    wanted[list(faces)] = True
    rim = rim_of(mesh, np.arange(count), wanted)
    found = pieces(mesh, solid.surfaces, rim, wanted, np.sqrt([s.area for s in solid.surfaces]) / _A_FEW_ACROSS)
    points, normals = _on_surface(solid, found.face, found.points, found.uv)
    distance, _ = edge_distance(rim, found.face, points)
    return Samples(points, normals, found.face, found.area, distance, points).of(distance > margin)


class _Edge:
    """Points on a rim and on the line `EDGE_BAND` inside it: place, way in, surface parameters, face."""

    __slots__ = ("face", "points", "uv", "way_in")

    def __init__(self, mesh: Mesh, rim: Rim, spacing: Floats) -> None:
        edge, way_in, row = points_along(rim, spacing)
        self.points, self.way_in = np.concatenate([edge, edge + EDGE_BAND * way_in]), way_in
        self.face = np.tile(rim.face[row], 2)
        self.uv = _parameters(mesh, np.tile(rim.triangle[row], 2), self.points)


def _parameters(mesh: Mesh, triangle: Ints, points: Floats) -> Floats:
    if mesh.uv is None:
        return np.full((len(points), 2), np.nan)
    shares = corner_shares(mesh.vertices[mesh.triangles[triangle]], points)
    return np.asarray(np.einsum("ij,ijk->ik", shares, mesh.uv[triangle]))


def _assembled(solid: Solid, group: Ints, inner: Pieces, rim: Rim, edge: _Edge) -> Samples:
    face = np.concatenate([inner.face, edge.face])
    rough, uv = np.concatenate([inner.points, edge.points]), np.concatenate([inner.uv, edge.uv])
    points, normals = _on_surface(solid, face, rough, uv)
    distance, away = edge_distance(rim, group[face], points)
    start, stop = len(inner.area), len(inner.area) + len(edge.way_in)
    away[start:stop], distance[start:stop] = edge.way_in, 0.0
    on_line = slice(stop, None)
    keep = np.ones(len(face), dtype=np.bool_)
    keep[on_line] = distance[on_line] > 0.999 * EDGE_BAND
    distance[on_line] = np.maximum(distance[on_line], EDGE_BAND)
    looked = points + np.maximum(RIM - distance, 0.0)[:, None] * away
    near = np.flatnonzero(distance < RIM)
    nearest, _ = onto(forms(solid.surfaces), face[near], looked[near])
    looked[near] = np.where(np.isnan(nearest), looked[near], nearest)
    area = np.concatenate([inner.area, np.zeros(len(edge.face))])
    return Samples(points, normals, face, area, distance, looked).of(keep)


def _on_surface(solid: Solid, face: Ints, points: Floats, uv: Floats) -> tuple[Floats, Floats]:
    """Return the points moved on to their surfaces, and the outward normals; free-form faces by their parameters."""
    exact, normals = onto(forms(solid.surfaces), face, points)
    free = np.flatnonzero(np.isnan(normals[:, 0]))
    if free.size:
        exact[free], normals[free] = FreeForms(solid).at(face[free], uv[free])
    return exact, normals


def exact_points(solid: Solid, face: Ints, points: Floats) -> tuple[Floats, Floats]:
    """Return the nearest points (n, 3) on faces' own surfaces and the outward normals there."""
    exact, normals = onto(forms(solid.surfaces), face, points)
    free = np.isnan(normals[:, 0])
    for index in np.unique(face[free]).tolist():
        rows = np.flatnonzero(face == index)
        exact[rows], normals[rows] = project(solid, index, points[rows])
    return exact, normals
