"""Cuts and fusions of kernel bodies, with their books checked.

Every boolean is checked by volume book-keeping: what one body lost is what the
two share. Fills holes and cuts sections too. Works on kernel shapes (a `Solid`
may be given where a shape is asked for); `geom.kernel.shape.solid_from_shape`
turns the outcome into a `Solid`. The plain bodies of `geom.kernel.body` can be
imported from here as well. Lengths mm, part frame. Knows nothing of features.

A boolean between bodies that nearly touch (1e-6 to 0.02 mm apart) can be wrong
and pass the book-keeping: never rest a verdict on one (see `geom.stock.report`).
"""

import math
from collections.abc import Callable, Sequence
from typing import Any

from geom.errors import GeometryError
from geom.kernel.body import (
    Shape,
    shape_of,
    box,
    half_space,
    prism,
    swept,
    polygon_face,
    cylinder,
    cone,
    sphere,
    turned,
    drill,
    obround,
    moved,
    turned_about,
    mirrored,
    square_to,
)
from geom.kernel.load import require_kernel
from geom.kernel.shape import Solid, faces_of
from geom.space import Vec3, unit

require_kernel()

from OCP.Bnd import Bnd_Box
from OCP.BOPAlgo import BOPAlgo_PaveFiller
from OCP.BRep import BRep_Builder
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut, BRepAlgoAPI_Defeaturing, BRepAlgoAPI_Fuse
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt
from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain
from OCP.TopAbs import TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS_Compound
from OCP.TopTools import TopTools_ListOfShape

__all__ = [
    "BOOK_KEEPING",
    "LEAST_VOLUME",
    "Shape",
    "box",
    "common",
    "cone",
    "cut",
    "cylinder",
    "defeature",
    "diagonal",
    "drill",
    "fuse",
    "half_space",
    "mirrored",
    "moved",
    "obround",
    "polygon_face",
    "prism",
    "section_faces",
    "shape_of",
    "solids_of",
    "sphere",
    "square_to",
    "swept",
    "turned",
    "turned_about",
    "unified",
    "volume",
    "volume_change",
]

BOOK_KEEPING = 1e-6
"""Share of a body's box by which a boolean's books may be out: a thousand times what
double precision loses on analytic faces, far below any real feature."""

LEAST_VOLUME = 1e-6
"""mm3; less than this is no metal."""

_VOLUME_ERROR = 1e-6
"""Relative error asked of the kernel for one face's share of a volume."""


def volume(body: Solid | Shape) -> float:
    """Return the volume, mm3 (0 for a shape without solids)."""
    return body.volume if isinstance(body, Solid) else _enclosed(body)


def volume_change(before: Solid | Shape, after: Solid | Shape) -> float:
    """Return the volume after less the volume before, mm3.

    Only faces that one of the two has alone are measured: together, those of the first turned inside out,
    they enclose the metal that came or went. So a hole in a body of many splines is quick and exact.
    """
    old, new = _oriented_faces(before), _oriented_faces(after)
    between, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(between)
    for face in (*(f.face for f in new if f not in old), *(f.face.Reversed() for f in old if f not in new)):
        builder.Add(between, face)
    return _enclosed(between)


def _enclosed(shape: Shape) -> float:
    if shape.IsNull():
        return 0.0
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, props, _VOLUME_ERROR, False, False)
    return float(props.Mass())


class _OrientedFace:
    """A face of a body that equals itself in another body; faces of one surface turned the other way differ."""

    __slots__ = ("face",)

    def __init__(self, face: Any) -> None:
        self.face = face

    def __hash__(self) -> int:
        return hash(self.face)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _OrientedFace) and bool(self.face.IsEqual(other.face))


def _oriented_faces(body: Solid | Shape) -> dict[_OrientedFace, None]:
    return {_OrientedFace(face): None for face in faces_of(shape_of(body))}


def diagonal(body: Solid | Shape) -> float:
    """Return the diagonal of a box round the body, mm; quick, and never less than the exact one."""
    box_ = Bnd_Box()
    BRepBndLib.Add_s(shape_of(body), box_, False)
    return math.sqrt(box_.SquareExtent())


# --- booleans ---------------------------------------------------------------


def cut(body: Solid | Shape, *tools: Solid | Shape) -> Shape:
    """Return the body less each tool in turn.

    Raises:
        GeometryError: the kernel failed, or the volumes do not add up.
    """
    return _one_by_one(body, tools, _cut_once)


def fuse(body: Solid | Shape, *others: Solid | Shape) -> Shape:
    """Return the body with each other body added in turn, faces in one plane or cylinder made one.

    Raises:
        GeometryError: the kernel failed, or the volumes do not add up.
    """
    return unified(_one_by_one(body, others, _fuse_once))


def common(body: Solid | Shape, other: Solid | Shape) -> Shape:
    """Return what two bodies share (a shape of volume 0 when they are apart).

    Raises:
        GeometryError: the kernel failed, or the volumes do not add up.
    """
    first, second = shape_of(body), shape_of(other)
    filler = _intersected(first, second)
    shared = _built(BRepAlgoAPI_Common(first, second, filler))
    _balance("common", first, _built(BRepAlgoAPI_Cut(first, second, filler)), -_enclosed(shared))
    return shared


def _one_by_one(body: Solid | Shape, tools: Sequence[Solid | Shape], once: Callable[[Shape, Shape], Shape]) -> Shape:
    result = shape_of(body)
    for tool in tools:
        result = once(result, shape_of(tool))
    return result


def _cut_once(body: Shape, tool: Shape) -> Shape:
    filler = _intersected(body, tool)
    left = _built(BRepAlgoAPI_Cut(body, tool, filler))
    _balance("cut", body, left, -_enclosed(_built(BRepAlgoAPI_Common(body, tool, filler))))
    return left


def _fuse_once(body: Shape, other: Shape) -> Shape:
    filler = _intersected(body, other)
    joined = _built(BRepAlgoAPI_Fuse(body, other, filler))
    _balance("fuse", body, joined, _enclosed(other) - _enclosed(_built(BRepAlgoAPI_Common(body, other, filler))))
    return joined


def _intersected(first: Shape, second: Shape) -> BOPAlgo_PaveFiller:
    """Return the kernel's intersection of two bodies, shared by the booleans that check each other."""
    arguments = TopTools_ListOfShape()
    arguments.Append(first)
    arguments.Append(second)
    filler = BOPAlgo_PaveFiller()
    filler.SetArguments(arguments)
    filler.Perform()
    if filler.HasErrors():
        raise GeometryError("the CAD kernel could not intersect two bodies; move one of them by more than 0.02 mm or simplify it")
    return filler


def _built(operation: Any) -> Shape:
    if not operation.IsDone():
        raise GeometryError("the CAD kernel could not combine two bodies; move one of them by more than 0.02 mm or simplify it")
    return operation.Shape()


def _balance(what: str, before: Shape, after: Shape, due: float) -> None:
    """Refuse a boolean that changed a body's volume by other than its due, mm3."""
    found = volume_change(before, after)
    if abs(found - due) > _slack(before):
        raise GeometryError(
            f"the CAD kernel lost metal in a {what}: it changed the volume by {found:.3f} mm3 where {due:.3f} mm3 is due; "
            "faces that nearly coincide cause this, so make them coincide exactly or move them apart by more than 0.02 mm"
        )


def _slack(body: Shape) -> float:
    return max(LEAST_VOLUME, BOOK_KEEPING * (diagonal(body) / math.sqrt(3)) ** 3)


def unified(body: Shape) -> Shape:
    """Return the body with neighbouring faces on one surface made one face, when that keeps its volume; else the body."""
    merge = ShapeUpgrade_UnifySameDomain(body, True, True, False)
    merge.Build()
    result = merge.Shape()
    same = abs(volume_change(body, result)) <= _slack(body)
    return result if same and BRepCheck_Analyzer(result).IsValid() else body


def solids_of(shape: Shape) -> list[Shape]:
    """Return the solids in a shape in the kernel's order."""
    explorer, found = TopExp_Explorer(shape, TopAbs_SOLID), []
    while explorer.More():
        found.append(explorer.Current())
        explorer.Next()
    return found


# --- section and filling ----------------------------------------------------


def section_faces(body: Solid | Shape, origin: Vec3, normal: Vec3) -> list[Shape]:
    """Return the flat faces where a plane cuts a body; none when it misses."""
    plane = gp_Pln(gp_Pnt(*origin), gp_Dir(*unit(normal)))
    sheet = BRepBuilderAPI_MakeFace(plane, -1e4, 1e4, -1e4, 1e4).Face()
    return list(faces_of(_built(BRepAlgoAPI_Common(sheet, shape_of(body)))))


def defeature(body: Solid | Shape, faces: Sequence[Shape], what: str) -> Shape:
    """Return the body with faces taken away and their neighbours grown to close the gap.

    Args:
        faces: kernel faces of this very body; give a hole group whole.
        what: their name, for the message.

    Raises:
        GeometryError: the kernel failed, the volume did not change, or a face is still there.
    """
    shape = shape_of(body)
    remover = BRepAlgoAPI_Defeaturing()
    remover.SetShape(shape)
    for face in faces:
        remover.AddFaceToRemove(face)
    remover.SetRunParallel(False)
    remover.Build()
    if not remover.IsDone():
        raise GeometryError(f"{what}: the CAD kernel could not close the gap; model the casting without it instead")
    result = remover.Shape()
    gone = all(remover.IsDeleted(face) for face in faces)
    if not gone or abs(volume_change(shape, result)) <= LEAST_VOLUME or not BRepCheck_Analyzer(result).IsValid():
        raise GeometryError(f"{what}: it could not be filled; give all its faces, or model the casting without it instead")
    return result
