"""How far the facets of a mesh lie from the true surface.

The kernel's mesher aims at a chord error and misses it now and then; this
module measures. Lengths mm, part frame. Knows nothing of what the mesh is for.
"""

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from geom.kernel.mesh import Mesh
from geom.kernel.shape import Solid, Surface, faces_of
from geom.tolerance import KERNEL_NOISE

from OCP.BRep import BRep_Tool  # isort: skip
from OCP.GeomAPI import GeomAPI_ProjectPointOnSurf  # isort: skip
from OCP.gp import gp_Pnt  # isort: skip
from OCP.ShapeAnalysis import ShapeAnalysis_Surface  # isort: skip
from OCP.TopLoc import TopLoc_Location  # isort: skip

_Points = npt.NDArray[np.float64]

_SAME_POINT = 7
"""Decimals, mm, by which the middle of an edge is the same seen from both its triangles."""

_LOW_BITS = (1 << 21) - 1

PROBES = np.array([(3, 3, 0), (0, 3, 3), (3, 0, 3), (2, 2, 2)], dtype=np.float64) / 6.0
"""Where a facet is probed, as shares of its corners: the middles of its edges (first to second
corner, second to third, third to first), then its own middle. On a cylinder or cone the deepest
point is the middle of an edge, on a sphere it is near the triangle's own middle."""


def probe(solid: Solid, mesh: Mesh, chord: float) -> _Points:
    """Return the distance of each facet from its surface, mm, at the four `PROBES`: shape (m, 4), 0 on planes.

    On a free-form face a distance within `chord` may be given too great, never too small.
    """
    errors = np.zeros((len(mesh.triangles), len(PROBES)))
    for face, surface in zip(faces_of(solid.shape), solid.surfaces, strict=True):
        if surface.kind == "plane" and not surface.recovered:
            continue
        mine = np.flatnonzero(mesh.face == surface.index)
        if not len(mine):
            continue
        corners = mesh.vertices[mesh.triangles[mine]]
        points = np.einsum("wc,tcx->twx", PROBES, corners).reshape(-1, 3)
        near = _near(face, surface, corners, points, chord) if _free_form(surface) else feet(face, surface, points, chord)
        errors[mine] = np.linalg.norm(points - near, axis=1).reshape(-1, len(PROBES))
    return errors


def _free_form(surface: Surface) -> bool:
    return surface.recovered or surface.kind == "other"


def _near(face: Any, surface: Surface, corners: _Points, points: _Points, chord: float) -> _Points:
    """Return points of a free-form surface within `chord` of the probed points, or else the nearest ones.

    What the surface has half-way between the corners' parameters is a point of it and
    close by; only where that is not close enough is the nearest one searched, at many times the cost.
    """
    places = np.einsum("wc,tcx->twx", PROBES, _parameters(face, corners)).reshape(-1, 2)
    geometry = BRep_Tool.Surface_s(face)
    near = np.full(points.shape, np.nan)
    known = np.isfinite(places).all(axis=1)
    near[known] = np.array([geometry.Value(u, v).Coord() for u, v in places[known].tolist()]).reshape(-1, 3)
    far = ~(np.linalg.norm(points - near, axis=1) <= chord)
    near[far] = feet(face, surface, points[far], chord)
    return near


def _parameters(face: Any, corners: _Points) -> _Points:
    """Return the surface parameters (t, 3, 2) of triangle corners (t, 3, 3) as the kernel's mesher left them, NaN where unknown."""
    location = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face, location)
    found = np.full((*corners.shape[:2], 2), np.nan)
    if mesh is None or not mesh.HasUVNodes() or not location.IsIdentity():
        return found
    numbers = range(1, mesh.NbNodes() + 1)
    keys = _keys(np.array([mesh.Node(i).Coord() for i in numbers]))
    places = np.array([mesh.UVNode(i).Coord() for i in numbers])
    order = np.argsort(keys)
    wanted = _keys(corners.reshape(-1, 3))
    at = order[np.minimum(np.searchsorted(keys[order], wanted), len(keys) - 1)]
    known = keys[at] == wanted
    found.reshape(-1, 2)[known] = places[at[known]]
    return found


def _keys(points: _Points) -> npt.NDArray[np.int64]:
    """Return one number a point, from its place in micrometres: the same before and after rounding to 32 bits, with few exceptions.

    Points some metres apart may share a number: what is found by it is checked by distance.
    """
    steps = np.round(points * 1000.0).astype(np.int64) & _LOW_BITS
    return np.asarray((steps[:, 0] << 42) | (steps[:, 1] << 21) | steps[:, 2])


def feet(face: Any, surface: Surface, points: _Points, chord: float) -> _Points:
    """Return the nearest points of a surface, extended past its edges, shape (n, 3).

    Args:
        face: the kernel's.
        surface: the same face as numbers; any but a plane.
        chord: on a free-form surface, distances above this, mm, are looked at twice.
    """
    if _free_form(surface):
        return _searched(face, points, chord)
    origin, axis = np.asarray(surface.origin), np.asarray(surface.axis)
    if surface.kind == "sphere":
        return np.asarray(origin + surface.radius * _unit(points - origin))
    axial = ((points - origin) @ axis)[:, None]
    outward = points - origin - axial * axis
    radial, outward = np.linalg.norm(outward, axis=1, keepdims=True), _unit(outward)
    if surface.kind == "torus":
        ring = np.hstack([radial - surface.radius, axial])
        radial, axial = np.hsplit(surface.minor * _unit(ring) + (surface.radius, 0.0), 2)
    else:
        slope = math.radians(surface.half_angle)
        above = (radial - surface.radius - axial * math.tan(slope)) * math.cos(slope)
        radial, axial = radial - above * math.cos(slope), axial + above * math.sin(slope)
    return np.asarray(origin + radial * outward + axial * axis)


def _unit(vectors: _Points) -> _Points:
    """Return vectors (n, k) at length 1; a vector without a direction stays 0."""
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.where(length > 0, length, 1.0))


def _searched(face: Any, points: _Points, chord: float) -> _Points:
    """Return the nearest points of a free-form surface, each of several equal points searched once."""
    _, first, back = np.unique(np.round(points, _SAME_POINT), axis=0, return_index=True, return_inverse=True)
    found = np.empty((len(first), 3))
    walk = np.argsort(first)  # the mesher's own order keeps neighbours together, which the search thrives on
    found[walk] = _search(face, points[first[walk]], chord)
    return np.asarray(found[back.ravel()])


def _search(face: Any, points: _Points, chord: float) -> _Points:
    """Return the nearest points of a free-form surface.

    Each search starts where the last one ended, which is quick and now and then
    ends on the wrong fold; every distance above `chord` is searched afresh. Any
    search's answer is a true point of the surface, so the nearest one stands.
    """
    geometry = BRep_Tool.Surface_s(face)
    surface = ShapeAnalysis_Surface(geometry)
    found = []
    place = None
    for x, y, z in points.tolist():
        point = gp_Pnt(x, y, z)
        place = surface.NextValueOfUV(place, point, KERNEL_NOISE) if place else surface.ValueOfUV(point, KERNEL_NOISE)
        foot, gap = surface.Value(place), surface.Gap()
        if gap > chord:
            place = surface.ValueOfUV(point, KERNEL_NOISE)
            foot, gap = (surface.Value(place), surface.Gap()) if surface.Gap() < gap else (foot, gap)
        if gap > chord:
            nearest = GeomAPI_ProjectPointOnSurf(point, geometry)
            foot = nearest.NearestPoint() if nearest.NbPoints() and nearest.LowerDistance() < gap else foot
        found.append(foot.Coord())
    return np.array(found).reshape(-1, 3)
