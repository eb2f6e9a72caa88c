"""Kernel bodies and the cuts between them.

Makes boxes, prisms and turned bodies, fuses and cuts them, and fills holes.
Every boolean is checked by volume book-keeping. Works on kernel shapes (a
`Solid` may be given where a shape is asked for); `geom.kernel.shape.solid_from_shape`
turns the outcome into a `Solid`. Lengths mm, part frame. Knows nothing of
features or castings.

A boolean between bodies that nearly touch (1e-6 to 0.02 mm apart) can be wrong
and pass the book-keeping: never rest a verdict on one (see `geom.stock`).
"""

import math
from collections.abc import Callable, Sequence
from typing import Any, TypeAlias

from geom.errors import GeometryError
from geom.kernel.load import require_kernel
from geom.kernel.shape import Solid, faces_of
from geom.space import Vec3, add, cross, dot, scale, sub, unit

require_kernel()

from OCP.Bnd import Bnd_Box
from OCP.BOPAlgo import BOPAlgo_PaveFiller
from OCP.BRep import BRep_Builder
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut, BRepAlgoAPI_Defeaturing, BRepAlgoAPI_Fuse
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakePolygon,
    BRepBuilderAPI_MakeWire,
    BRepBuilderAPI_Transform,
)
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.BRepPrimAPI import (
    BRepPrimAPI_MakeBox,
    BRepPrimAPI_MakeCone,
    BRepPrimAPI_MakeCylinder,
    BRepPrimAPI_MakePrism,
    BRepPrimAPI_MakeRevol,
    BRepPrimAPI_MakeSphere,
)
from OCP.GC import GC_MakeArcOfCircle
from OCP.GProp import GProp_GProps
from OCP.gp import gp_Ax1, gp_Ax2, gp_Dir, gp_Pln, gp_Pnt, gp_Trsf, gp_Vec
from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain
from OCP.TopAbs import TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS_Compound
from OCP.TopTools import TopTools_ListOfShape

Shape: TypeAlias = Any
"""A kernel shape (TopoDS_Shape); the kernel's classes carry no types."""

BOOK_KEEPING = 1e-6
"""Share of a body's box by which a boolean's books may be out: a thousand times what
double precision loses on analytic faces, far below any real feature."""

LEAST_VOLUME = 1e-6
"""mm3; less than this is no metal."""

_VOLUME_ERROR = 1e-6
"""Relative error asked of the kernel for one face's share of a volume."""


def shape_of(body: Solid | Shape) -> Shape:
    """Return the kernel shape of a `Solid`, or the shape itself."""
    return body.shape if isinstance(body, Solid) else body


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


def face_area(face: Shape) -> float:
    """Return the area of a kernel face or of all faces of a shape, mm2."""
    props = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face, props)
    return float(props.Mass())


# --- bodies -----------------------------------------------------------------


def box(low: Vec3, high: Vec3) -> Shape:
    """Return the block between its least and greatest corner.

    Raises:
        GeometryError: a side is not above 0 mm.
    """
    if not all(b - a > 0 for a, b in zip(low, high, strict=True)):
        raise GeometryError(f"a block from {low} to {high} mm has no volume; every side must be above 0 mm")
    return BRepPrimAPI_MakeBox(_pnt(low), _pnt(high)).Solid()


def half_space(origin: Vec3, normal: Vec3, reach: float) -> Shape:
    """Return a block whose face lies on a plane and that covers its outer side.

    Args:
        origin: the middle of that face.
        normal: the side of the plane that is covered.
        reach: half the block's width, and its height, mm.
    """
    z, x = unit(normal), square_to(normal)
    y = cross(z, x)
    corners = [add(origin, add(scale(x, a * reach), scale(y, b * reach))) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return prism(corners, scale(z, reach))


def prism(polygon: Sequence[Vec3], along: Vec3) -> Shape:
    """Return the body swept by a flat polygon (corners in order, not repeated) along a vector."""
    return swept(polygon_face(polygon), along)


def swept(face: Shape, along: Vec3) -> Shape:
    """Return the body swept by a kernel face along a vector."""
    return _outward(BRepPrimAPI_MakePrism(face, gp_Vec(*along)).Shape())


def polygon_face(polygon: Sequence[Vec3]) -> Shape:
    """Return the flat face inside a polygon.

    Raises:
        GeometryError: fewer than three corners, or they do not lie in one plane.
    """
    wire = BRepBuilderAPI_MakePolygon()
    for corner in polygon:
        wire.Add(_pnt(corner))
    wire.Close()
    face = BRepBuilderAPI_MakeFace(wire.Wire(), True) if wire.IsDone() and len(polygon) > 2 else None
    if face is None or not face.IsDone():
        raise GeometryError(f"{len(polygon)} corners do not bound a flat face; give at least three in one plane")
    return face.Face()


def cylinder(base: Vec3, axis: Vec3, radius: float, height: float) -> Shape:
    """Return the cylinder that stands on `base` and reaches `height` along `axis`."""
    _positive("a cylinder", radius=radius, height=height)
    return BRepPrimAPI_MakeCylinder(_ax2(base, axis), radius, height).Solid()


def cone(base: Vec3, axis: Vec3, base_radius: float, end_radius: float, height: float) -> Shape:
    """Return the (truncated) cone that stands on `base`; either radius may be 0, not both, nor may they agree."""
    _positive("a cone", height=height)
    if min(base_radius, end_radius) < 0 or base_radius == end_radius:
        raise GeometryError(
            f"a cone from radius {base_radius:g} to {end_radius:g} mm is not a cone; give two different radii, neither below 0"
        )
    return BRepPrimAPI_MakeCone(_ax2(base, axis), base_radius, end_radius, height).Solid()


def sphere(centre: Vec3, radius: float) -> Shape:
    """Return the ball about a centre."""
    _positive("a ball", radius=radius)
    return BRepPrimAPI_MakeSphere(_pnt(centre), radius).Solid()


def turned(profile: Sequence[tuple[float, float]], base: Vec3, axis: Vec3) -> Shape:
    """Return the body of revolution of a closed profile.

    Args:
        profile: (radius, height) corners in order, mm; radius 0 is on the axis, height counts along `axis` from `base`.
        base: a point of the axis.
        axis: the direction of growing height.

    Raises:
        GeometryError: a negative or non-finite radius, or a profile without area.
    """
    if any(not math.isfinite(r + h) or r < 0 for r, h in profile):
        raise GeometryError(f"a turned profile has a corner with a radius below 0 mm or not finite: {list(profile)}")
    out = square_to(axis)
    up = unit(axis)
    corners = [add(base, add(scale(out, r), scale(up, h))) for r, h in profile]
    spin = gp_Ax1(_pnt(base), _dir(up))
    return _outward(BRepPrimAPI_MakeRevol(polygon_face(corners), spin).Shape())


def drill(mouth: Vec3, axis: Vec3, diameter: float, depth: float, point_angle: float | None = 118.0, above: float = 0.0) -> Shape:
    """Return the metal a drill removes.

    Args:
        mouth: where the axis meets the opening plane.
        axis: out of the metal.
        depth: below the mouth to the full diameter, mm.
        point_angle: included angle of the point, degrees; None for a flat end.
        above: how far the body reaches above the mouth, mm.
    """
    _positive("a drill", diameter=diameter, depth=depth)
    r = diameter / 2
    tip = [(0.0, -depth - r / math.tan(math.radians(point_angle / 2)))] if point_angle else [(0.0, -depth)]
    return turned([(0.0, above), *tip, (r, -depth), (r, above)], mouth, axis)


def obround(centre: Vec3, axis: Vec3, along: Vec3, length: float, width: float, below: float, above: float) -> Shape:
    """Return the round-ended body an end mill sweeps in a straight line.

    Args:
        centre: the middle of its mouth.
        axis: out of the metal.
        along: direction of its length, square to `axis`.
        length: over the round ends, mm; more than `width`.
        below, above: how far it reaches below and above the mouth, mm.
    """
    _positive("a slot", width=width, straight_length=length - width, height=below + above)
    x, z = unit(along), unit(axis)
    y, r, half = cross(z, x), width / 2, (length - width) / 2
    floor = add(centre, scale(z, -below))

    def at(a: float, b: float) -> gp_Pnt:
        return _pnt(add(floor, add(scale(x, a), scale(y, b))))

    outline = BRepBuilderAPI_MakeWire()
    outline.Add(BRepBuilderAPI_MakeEdge(at(-half, -r), at(half, -r)).Edge())
    outline.Add(BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(at(half, -r), at(half + r, 0.0), at(half, r)).Value()).Edge())
    outline.Add(BRepBuilderAPI_MakeEdge(at(half, r), at(-half, r)).Edge())
    outline.Add(BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(at(-half, r), at(-half - r, 0.0), at(-half, -r)).Value()).Edge())
    return swept(BRepBuilderAPI_MakeFace(outline.Wire(), True).Face(), scale(z, below + above))


# --- moves ------------------------------------------------------------------


def moved(body: Solid | Shape, by: Vec3) -> Shape:
    """Return the body shifted by a vector."""
    move = gp_Trsf()
    move.SetTranslation(gp_Vec(*by))
    return _transformed(body, move)


def turned_about(body: Solid | Shape, origin: Vec3, axis: Vec3, degrees: float) -> Shape:
    """Return the body turned about an axis, right-handed."""
    move = gp_Trsf()
    move.SetRotation(gp_Ax1(_pnt(origin), _dir(axis)), math.radians(degrees))
    return _transformed(body, move)


def mirrored(body: Solid | Shape, origin: Vec3, normal: Vec3) -> Shape:
    """Return the mirror image of a body in a plane."""
    move = gp_Trsf()
    move.SetMirror(_ax2(origin, normal))
    return _transformed(body, move)


def _transformed(body: Solid | Shape, move: gp_Trsf) -> Shape:
    return BRepBuilderAPI_Transform(shape_of(body), move, True).Shape()


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
    plane = gp_Pln(_pnt(origin), _dir(unit(normal)))
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


# --- small geometry ---------------------------------------------------------


def square_to(axis: Vec3) -> Vec3:
    """Return a unit vector square to an axis: X made square to it, or Y where X runs along it."""
    z = unit(axis)
    hint = (1.0, 0.0, 0.0) if abs(z[0]) < 0.9 else (0.0, 1.0, 0.0)
    return unit(sub(hint, scale(z, dot(hint, z))))


def plane_of(face: Shape) -> tuple[Vec3, Vec3] | None:
    """Return a point and the surface normal (not oriented) of a flat kernel face, or None for another kind."""
    from OCP.GeomAbs import GeomAbs_Plane

    adaptor = BRepAdaptor_Surface(face)
    if adaptor.GetType() != GeomAbs_Plane:
        return None
    plane = adaptor.Plane()
    at, way = plane.Location(), plane.Axis().Direction()
    return (at.X(), at.Y(), at.Z()), (way.X(), way.Y(), way.Z())


def _outward(body: Shape) -> Shape:
    """Return the body with its faces turned outward, as a volume above 0 shows."""
    return body if volume(body) > 0 else body.Reversed()


def _positive(what: str, **sizes: float) -> None:
    for name, size in sizes.items():
        if not size > 0 or not math.isfinite(size):
            raise GeometryError(f"{what} has a {name} of {size:g} mm; it must be above 0 mm and finite")


def _pnt(p: Vec3) -> gp_Pnt:
    return gp_Pnt(*p)


def _dir(d: Vec3) -> gp_Dir:
    return gp_Dir(*d)


def _ax2(origin: Vec3, axis: Vec3) -> gp_Ax2:
    """Return the kernel axes with X given: left to itself the kernel may choose another on another axis."""
    return gp_Ax2(_pnt(origin), _dir(unit(axis)), _dir(square_to(axis)))
