"""Plain kernel bodies: blocks, prisms, turned bodies, and copies moved elsewhere.

A kernel shape goes in or comes out (a `Solid` may be given where a shape is
asked for); `geom.kernel.cut` fuses and cuts them. Lengths mm, part frame. Knows
nothing of features or castings.
"""

import math
from collections.abc import Sequence
from typing import Any, TypeAlias

from geom.errors import GeometryError
from geom.kernel.load import require_kernel
from geom.kernel.shape import Solid
from geom.space import Vec3, add, cross, dot, scale, sub, unit

require_kernel()

from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakePolygon,
    BRepBuilderAPI_MakeWire,
    BRepBuilderAPI_Transform,
)
from OCP.BRepGProp import BRepGProp
from OCP.BRepOffsetAPI import BRepOffsetAPI_DraftAngle
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
from OCP.Standard import Standard_Failure
from OCP.TopAbs import TopAbs_FACE
from OCP.TopExp import TopExp
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedMapOfShape

Shape: TypeAlias = Any
"""A kernel shape (TopoDS_Shape); the kernel's classes carry no types."""


def shape_of(body: Solid | Shape) -> Shape:
    """Return the kernel shape of a `Solid`, or the shape itself."""
    return body.shape if isinstance(body, Solid) else body


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


def leaned(body: Shape, base: Vec3, along: Vec3, degrees: float) -> Shape | None:
    """Return a prism whose sides lean in by an angle, away from the plane through `base`; None where the kernel cannot.

    Its sides stay flat and meet in sharp edges, in hollow corners too.

    Args:
        body: with flat sides along `along`.
        base: a point of the plane in which the sides stay where they are.
        along: the way the prism rises.
    """
    maker = BRepOffsetAPI_DraftAngle(body)
    up, plane = gp_Dir(*along), gp_Pln(_pnt(base), gp_Dir(*along))
    faces = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(body, TopAbs_FACE, faces)
    try:
        for i in range(1, faces.Extent() + 1):
            face = TopoDS.Face(faces.FindKey(i))
            if BRepAdaptor_Surface(face).Plane().Axis().Direction().IsNormal(up, 1e-6):
                maker.Add(face, up, math.radians(degrees), plane)
        maker.Build()
        return maker.Shape() if maker.IsDone() else None
    except Standard_Failure:
        return None


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


# --- small geometry ---------------------------------------------------------


def square_to(axis: Vec3) -> Vec3:
    """Return a unit vector square to an axis: X made square to it, or Y where X runs along it."""
    z = unit(axis)
    hint = (1.0, 0.0, 0.0) if abs(z[0]) < 0.9 else (0.0, 1.0, 0.0)
    return unit(sub(hint, scale(z, dot(hint, z))))


def _outward(body: Shape) -> Shape:
    """Return the body with its faces turned outward, as a volume above 0 shows."""
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(body, props)
    return body if props.Mass() > 0 else body.Reversed()


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
