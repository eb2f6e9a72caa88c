"""Triangles of a solid, each with the face it came from.

Vertices are welded, so the mesh is closed when the solid is. Lengths mm, part
frame. Knows nothing of file formats.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from geom.aside import is_copy
from geom.errors import GeometryError
from geom.kernel.shape import Solid, faces_of
from geom.tolerance import FACET_ANGLE

from OCP.BRep import BRep_Builder, BRep_Tool  # isort: skip
from OCP.BRepMesh import BRepMesh_IncrementalMesh  # isort: skip
from OCP.BRepTools import BRepTools  # isort: skip
from OCP.IMeshTools import IMeshTools_Parameters  # isort: skip
from OCP.TopAbs import TopAbs_REVERSED  # isort: skip
from OCP.TopLoc import TopLoc_Location  # isort: skip
from OCP.TopoDS import TopoDS_Compound  # isort: skip

_Floats: TypeAlias = npt.NDArray[np.float64]
_Ints: TypeAlias = npt.NDArray[np.int64]

_WELD_DECIMALS = 6
"""Vertices that agree to a nanometre are one; the kernel gives shared edges the same points."""


_EDGE_ANGLE, _INNER_ANGLE = 30.0, 30.0
"""Degrees that neighbouring look-up facets may turn along edges and between them."""


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """A triangle mesh.

    Attributes:
        vertices: (n, 3) float64, mm.
        triangles: (m, 3) int64, counter-clockwise seen from outside.
        face: (m,) int64, index of the solid's surface each triangle lies on.
        uv: (m, 3, 2) float64, surface parameters at the corners on free-form faces, NaN elsewhere; None unless asked for.
    """

    vertices: _Floats = field(repr=False)
    triangles: _Ints = field(repr=False)
    face: _Ints = field(repr=False)
    uv: _Floats | None = field(default=None, repr=False)


def tessellate(solid: Solid, chord: float, angle: float = FACET_ANGLE) -> Mesh:
    """Return a welded mesh of a solid.

    Args:
        chord: greatest distance, mm, between a facet and the true surface.
        angle: greatest turn, degrees, between neighbouring facets.

    Raises:
        GeometryError: the chord is not above 0, or a face gives no triangles; the message names it.
    """
    if not (chord > 0 and math.isfinite(chord)):
        raise GeometryError(f"{solid.label}: a chord error of {chord:g} mm makes no mesh; give a distance above 0 mm")
    BRepTools.Clean_s(solid.shape)
    BRepMesh_IncrementalMesh(solid.shape, chord, False, math.radians(angle), not is_copy())
    return _welded(solid, list(range(len(solid.surfaces))))


def tessellate_for_rays(solid: Solid, chord: float, inner_chord: float, faces: Collection[int] | None = None) -> Mesh:
    """Return a mesh to look up faces in: fine along edges, coarse between them, with parameters on free-form faces.

    Args:
        chord: greatest distance, mm, between an edge and its chords.
        inner_chord: greatest distance between a facet and the true surface.
        faces: surface indices to cover; all when None. Some faces alone make an open mesh.

    Raises:
        GeometryError: a face gives no triangles; the message names it.
    """
    wanted = IMeshTools_Parameters()
    wanted.Deflection, wanted.Angle = chord, math.radians(_EDGE_ANGLE)
    wanted.DeflectionInterior, wanted.AngleInterior = inner_chord, math.radians(_INNER_ANGLE)
    wanted.InParallel = not is_copy()
    BRepTools.Clean_s(solid.shape)
    chosen = list(range(len(solid.surfaces))) if faces is None else sorted(faces)
    BRepMesh_IncrementalMesh(solid.shape if faces is None else _together(solid, chosen), wanted)
    return _welded(solid, chosen, with_parameters=True)


def _together(solid: Solid, chosen: list[int]) -> TopoDS_Compound:
    some, builder, faces = TopoDS_Compound(), BRep_Builder(), faces_of(solid.shape)
    builder.MakeCompound(some)
    for index in chosen:
        builder.Add(some, faces[index])
    return some


def _welded(solid: Solid, chosen: list[int], *, with_parameters: bool = False) -> Mesh:
    faces = faces_of(solid.shape)
    parts = [_face_triangles(solid, faces[i], i) for i in chosen]
    offsets = np.cumsum([0] + [len(v) for v, _ in parts])
    vertices = np.concatenate([np.zeros((0, 3)), *(v for v, _ in parts)])
    triangles = np.concatenate([np.zeros((0, 3), np.int64), *(t + at for (_, t), at in zip(parts, offsets, strict=False))])
    face = np.repeat(np.array(chosen, dtype=np.int64), [len(t) for _, t in parts])
    free = [(i, at) for i, at in zip(chosen, offsets, strict=False) if with_parameters and solid.surfaces[i].kind == "other"]
    if not free:
        return weld(vertices, triangles, face)
    uv = np.full((len(vertices), 2), np.nan)
    for index, at in free:
        nodes = _parameters(faces[index])
        uv[at : at + len(nodes)] = nodes
    return weld(vertices, triangles, face, uv[triangles])


def _parameters(face: Any) -> _Floats:
    mesh = BRep_Tool.Triangulation_s(face, TopLoc_Location())
    return np.array([mesh.UVNode(i).Coord() for i in range(1, mesh.NbNodes() + 1)], dtype=np.float64)


def _face_triangles(solid: Solid, face: Any, index: int) -> tuple[_Floats, _Ints]:
    location = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face, location)
    if mesh is None or not mesh.NbTriangles():
        x, y, z = solid.surfaces[index].centroid
        raise GeometryError(
            f"{solid.label}: the face near ({x:.1f}, {y:.1f}, {z:.1f}) mm cannot be turned into triangles; "
            "rebuild it in the CAD program"
        )
    nodes = np.array([mesh.Node(i).Coord() for i in range(1, mesh.NbNodes() + 1)], dtype=np.float64)
    triangles = np.array([mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)], dtype=np.int64) - 1
    if face.Orientation() == TopAbs_REVERSED:
        triangles = triangles[:, ::-1]
    return (nodes if location.IsIdentity() else _moved(nodes, location.Transformation())), triangles


def _moved(nodes: _Floats, move: Any) -> _Floats:
    matrix = np.array([[move.Value(i, j) for j in range(1, 5)] for i in range(1, 4)])
    return np.asarray(nodes @ matrix[:, :3].T + matrix[:, 3])


def weld(vertices: _Floats, triangles: _Ints, face: _Ints, uv: _Floats | None = None) -> Mesh:
    """Return the mesh with equal vertices made one and collapsed triangles dropped."""
    key = np.round(vertices, _WELD_DECIMALS) + 0.0
    order = np.lexsort((key[:, 2], key[:, 1], key[:, 0]))
    new = np.ones(len(order), dtype=np.bool_)
    new[1:] = (key[order[1:]] != key[order[:-1]]).any(axis=1)
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.cumsum(new) - 1
    welded = number[triangles]
    whole = (welded[:, 0] != welded[:, 1]) & (welded[:, 1] != welded[:, 2]) & (welded[:, 0] != welded[:, 2])
    return Mesh(vertices[order[new]], welded[whole], face[whole], None if uv is None else uv[whole])


def mesh_volume(mesh: Mesh) -> float:
    """Return the enclosed volume, mm3 (positive for a mesh facing outward)."""
    middle = mesh.vertices.mean(axis=0)
    a, b, c = (mesh.vertices[mesh.triangles[:, i]] - middle for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)
