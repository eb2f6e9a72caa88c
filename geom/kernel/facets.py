"""How far the facets of a mesh lie from the true surface.

The kernel's mesher aims at a chord error and misses it now and then; this
module measures. Lengths mm. Knows nothing of what the mesh is for.
"""

import math

import numpy as np
import numpy.typing as npt

from geom.kernel.mesh import Mesh
from geom.kernel.shape import Solid, Surface, faces_of
from geom.tolerance import KERNEL_NOISE

from OCP.BRep import BRep_Tool  # isort: skip
from OCP.gp import gp_Pnt  # isort: skip
from OCP.ShapeAnalysis import ShapeAnalysis_Surface  # isort: skip

_Points = npt.NDArray[np.float64]

_WEIGHTS = np.array(
    [(3, 3, 0), (0, 3, 3), (3, 0, 3), (2, 2, 2), (4, 1, 1), (1, 4, 1), (1, 1, 4)], dtype=np.float64
) / 6.0  # fmt: skip
"""Where a facet is probed: the middles of its edges, its own middle, and half-way to each corner."""


def facet_errors(solid: Solid, mesh: Mesh) -> _Points:
    """Return, for each triangle, the greatest distance found from its surface, mm, shape (m,).

    Seven points a triangle; on a cylinder or cone the deepest point is the
    middle of an edge, on a sphere it is near the triangle's own middle.
    """
    errors = np.zeros(len(mesh.triangles))
    for surface in solid.surfaces:
        mine = np.flatnonzero(mesh.face == surface.index)
        if surface.kind == "plane" and not surface.recovered:
            continue
        corners = mesh.vertices[mesh.triangles[mine]]
        points = np.einsum("wc,tcx->twx", _WEIGHTS, corners).reshape(-1, 3)
        errors[mine] = _distances(solid, surface, points).reshape(len(mine), -1).max(axis=1, initial=0.0)
    return errors


def _distances(solid: Solid, surface: Surface, points: _Points) -> _Points:
    if surface.recovered or surface.kind == "other":
        return _projected(solid, surface.index, points)
    offset = points - np.asarray(surface.origin)
    if surface.kind == "sphere":
        return np.asarray(np.abs(np.linalg.norm(offset, axis=1) - surface.radius))
    axial = offset @ np.asarray(surface.axis)
    radial = np.linalg.norm(offset - np.outer(axial, surface.axis), axis=1)
    if surface.kind == "torus":
        return np.asarray(np.abs(np.hypot(radial - surface.radius, axial) - surface.minor))
    slope = math.radians(surface.half_angle)
    return np.asarray(np.abs(radial - surface.radius - axial * math.tan(slope)) * math.cos(slope))


def _projected(solid: Solid, index: int, points: _Points) -> _Points:
    """Return distances to a free-form surface, each search starting where the last one ended."""
    surface = ShapeAnalysis_Surface(BRep_Tool.Surface_s(faces_of(solid.shape)[index]))
    found = np.empty(len(points))
    place = None
    for i, (x, y, z) in enumerate(points.tolist()):
        point = gp_Pnt(x, y, z)
        place = surface.NextValueOfUV(place, point, KERNEL_NOISE) if i else surface.ValueOfUV(point, KERNEL_NOISE)
        found[i] = surface.Gap()
    return found
