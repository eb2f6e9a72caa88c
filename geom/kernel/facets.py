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
from OCP.GeomAPI import GeomAPI_ProjectPointOnSurf  # isort: skip
from OCP.gp import gp_Pnt  # isort: skip
from OCP.ShapeAnalysis import ShapeAnalysis_Surface  # isort: skip

_Points = npt.NDArray[np.float64]

_SAME_POINT = 7
"""Decimals, mm, by which the middle of an edge is the same seen from both its triangles."""

_MIDDLES = np.array([(3, 3, 0), (0, 3, 3), (3, 0, 3), (2, 2, 2)], dtype=np.float64) / 6.0
"""Where a facet is probed: the middles of its edges and its own middle."""

_HALF_WAY = np.array([(4, 1, 1), (1, 4, 1), (1, 1, 4)], dtype=np.float64) / 6.0
"""Where it is probed besides, half-way to each corner, if the surface has a formula."""


def facet_errors(solid: Solid, mesh: Mesh, chord: float) -> _Points:
    """Return, for each triangle, the greatest distance found from its surface, mm, shape (m,).

    Seven points a triangle, four on a free-form surface; on a cylinder or cone
    the deepest point is the middle of an edge, on a sphere it is near the
    triangle's own middle.

    Args:
        chord: what the mesh was made for, mm; on free-form faces only larger errors are looked at twice.
    """
    errors = np.zeros(len(mesh.triangles))
    for surface in solid.surfaces:
        if surface.kind == "plane" and not surface.recovered:
            continue
        mine = np.flatnonzero(mesh.face == surface.index)
        corners = mesh.vertices[mesh.triangles[mine]]
        found = _errors_on(solid, surface, corners, chord)
        errors[mine] = found.reshape(len(mine), -1).max(axis=1, initial=0.0)
    return errors


def _errors_on(solid: Solid, surface: Surface, corners: _Points, chord: float) -> _Points:
    """Return the distance of every probed point of one face's triangles (t, 3, 3), triangle by triangle."""
    if not surface.recovered and surface.kind != "other":
        weights = np.vstack([_MIDDLES, _HALF_WAY])
        return _distances(surface, np.einsum("wc,tcx->twx", weights, corners).reshape(-1, 3))
    points = np.round(np.einsum("wc,tcx->twx", _MIDDLES, corners).reshape(-1, 3), _SAME_POINT)
    _, first, back = np.unique(points, axis=0, return_index=True, return_inverse=True)
    found = np.empty(len(first))
    walk = np.argsort(first)  # the kernel's own order keeps neighbours together, which the search thrives on
    found[walk] = _projected(solid, surface.index, points[first[walk]], chord)
    return np.asarray(found[back.ravel()])


def _distances(surface: Surface, points: _Points) -> _Points:
    """Return distances to a surface with a formula."""
    offset = points - np.asarray(surface.origin)
    if surface.kind == "sphere":
        return np.asarray(np.abs(np.linalg.norm(offset, axis=1) - surface.radius))
    axial = offset @ np.asarray(surface.axis)
    radial = np.linalg.norm(offset - np.outer(axial, surface.axis), axis=1)
    if surface.kind == "torus":
        return np.asarray(np.abs(np.hypot(radial - surface.radius, axial) - surface.minor))
    slope = math.radians(surface.half_angle)
    return np.asarray(np.abs(radial - surface.radius - axial * math.tan(slope)) * math.cos(slope))


def _projected(solid: Solid, index: int, points: _Points, chord: float) -> _Points:
    """Return distances to a free-form surface.

    Each search starts where the last one ended, which is quick and now and then
    ends on the wrong fold; every distance above `chord` is searched afresh. Any
    search's answer is a true distance to the surface, so the least one stands.
    """
    geometry = BRep_Tool.Surface_s(faces_of(solid.shape)[index])
    surface = ShapeAnalysis_Surface(geometry)
    found = np.empty(len(points))
    place = None
    for i, (x, y, z) in enumerate(points.tolist()):
        point = gp_Pnt(x, y, z)
        place = surface.NextValueOfUV(place, point, KERNEL_NOISE) if place else surface.ValueOfUV(point, KERNEL_NOISE)
        found[i] = surface.Gap()
        if found[i] > chord:
            place = surface.ValueOfUV(point, KERNEL_NOISE)
            found[i] = min(found[i], surface.Gap())
        if found[i] > chord:
            nearest = GeomAPI_ProjectPointOnSurf(point, geometry)
            found[i] = min(found[i], nearest.LowerDistance()) if nearest.NbPoints() else found[i]
    return found
