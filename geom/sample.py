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

from geom.analytic import Bools, Floats, Ints, forms, onto
from geom.errors import GeometryError
from geom.kernel.probe import project
from geom.kernel.shape import Solid
from geom.rays import skin_of
from geom.rim import Rim, edge_distance, points_along, rim_of
from geom.spread import Pieces, pieces
from geom.tolerance import EDGE_BAND, WORK_CHORD

RIM: Final = 2.5 * WORK_CHORD
"""How far in from a face's edge, mm, its rim points look around them: beyond the
facet error, so that a rim sees its own face and not what lies past the edge."""

_LEAST_ACROSS: Final = 8
"""A small face still gets about this many pieces each way."""


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
    solid: Solid, spacing: float, faces: Collection[int] | None = None, groups: Mapping[int, int] | None = None
) -> Samples:
    """Return points spread over a solid's faces, the same for the same solid every time.

    Args:
        spacing: greatest distance, mm, between neighbours; small faces get closer ones.
        faces: surface indices to cover; every one when None.
        groups: surface index -> number of the face it is a piece of; an edge between
            two pieces of one face is no edge. Without it each surface is its own face.

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
    mesh = skin_of(solid).mesh
    outlines = rim_of(mesh, np.arange(count), wanted)
    rim = rim_of(mesh, group, wanted) if groups else outlines
    return _assembled(solid, group, pieces(mesh, solid.surfaces, outlines, wanted, close), rim, close)


def _assembled(solid: Solid, group: Ints, inner: Pieces, rim: Rim, spacing: Floats) -> Samples:
    edge, way_in, row = points_along(rim, spacing)
    line = edge + EDGE_BAND * way_in
    area = np.concatenate([inner.area, np.zeros(2 * len(edge))])
    face = np.concatenate([inner.face, rim.face[row], rim.face[row]])
    rough = np.concatenate([inner.points, edge, line])
    points, normals = exact_points(solid, face, rough)
    distance, away = edge_distance(rim, group[face], points)
    on_edge = slice(len(inner.area), len(inner.area) + len(edge))
    away[on_edge], distance[on_edge] = way_in, 0.0
    looked = points + np.maximum(RIM - distance, 0.0)[:, None] * away
    keep = np.ones(len(area), dtype=np.bool_)
    on_line = slice(on_edge.stop, None)
    keep[on_line] = distance[on_line] > 0.999 * EDGE_BAND
    distance[on_line] = np.maximum(distance[on_line], EDGE_BAND)
    near = np.flatnonzero(distance < RIM)
    looked[near] = exact_points(solid, face[near], looked[near])[0]
    return Samples(points, normals, face, area, distance, looked).of(keep)


def exact_points(solid: Solid, face: Ints, points: Floats) -> tuple[Floats, Floats]:
    """Return the nearest points on the faces' own surfaces and the outward normals there."""
    exact, normals = onto(forms(solid.surfaces), face, points)
    free = np.isnan(normals[:, 0])
    for index in np.unique(face[free]).tolist():
        rows = np.flatnonzero(face == index)
        exact[rows], normals[rows] = project(solid, index, points[rows])
    return exact, normals
