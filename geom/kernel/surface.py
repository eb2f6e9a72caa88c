"""One face of a solid as numbers.

A `Surface` says what a kernel face is (plane, cylinder ...), where it lies and
which side the metal is on. A spline face that fits a plane, cylinder, cone or
sphere within `tolerance.SPLINE_FIT` is read as one. Lengths mm, angles degrees,
part frame. Knows nothing of solids, features or holes.
"""

import math
from dataclasses import dataclass, replace
from typing import Any, Literal, TypeAlias

from geom.kernel.load import require_kernel
from geom.kernel.topology import edges_of
from geom.space import ORIGIN, Z_AXIS, Vec3, add, along, canonical, cross, dot, foot, norm, scale, sub, unit
from geom.tolerance import KERNEL_NOISE, SPLINE_FIT

require_kernel()

from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepGProp import BRepGProp
from OCP.GeomAbs import GeomAbs_SurfaceType as SurfaceType
from OCP.gp import gp_Ax3, gp_Cone, gp_Cylinder, gp_Pln, gp_Pnt, gp_Sphere, gp_Torus, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.ShapeAnalysis import ShapeAnalysis_CanonicalRecognition
from OCP.TopAbs import TopAbs_REVERSED
from OCP.TopoDS import TopoDS_Face

SurfaceKind: TypeAlias = Literal["plane", "cylinder", "cone", "sphere", "torus", "other"]

_TURNED = ("cylinder", "cone", "torus")

AREA_ACCURACY = 1e-4
"""Relative accuracy asked of the kernel's adaptive integration on spline faces; its
default rule was 0.19 % off the volume of a public all-spline model."""

_EDGE_PIECES = 16
"""An edge of a spline face is read at this many places and one more."""


@dataclass(frozen=True, slots=True)
class Surface:
    """One face of a solid.

    Attributes:
        index: its place in the solid's face order.
        origin: a point of the plane; a point on the axis; the centre of a sphere or torus.
        axis: a plane's outward normal; else the axis, pointing along its largest component.
        radius: of a cylinder or sphere; of a cone at `origin`; a torus's larger one. 0 for a plane.
        half_angle: a cone's, positive when it widens along `axis`; else 0.
        minor: a torus's tube radius; else 0.
        hollow: the metal lies outside (a bore, a fillet's root), not inside (a boss).
        normal: outward normal in the middle of the face.
        extent: least and greatest distance along `axis` from `origin` (curved faces with an axis).
        turn: how far round its axis the face reaches, degrees; 0 for a plane.
        recovered: read from a spline surface that fits within `tolerance.SPLINE_FIT`.
        turn_start: where that reach begins, degrees about `axis` from `turn_zero(axis)`.
    """

    index: int
    kind: SurfaceKind
    origin: Vec3
    axis: Vec3
    radius: float
    half_angle: float
    minor: float
    hollow: bool
    normal: Vec3
    area: float
    centroid: Vec3
    extent: tuple[float, float]
    turn: float
    recovered: bool
    turn_start: float = 0.0


@dataclass(frozen=True, slots=True)
class _Form:
    kind: SurfaceKind
    origin: Vec3 = ORIGIN
    axis: Vec3 = Z_AXIS
    radius: float = 0.0
    half_angle: float = 0.0
    minor: float = 0.0
    recovered: bool = False


@dataclass(frozen=True, slots=True)
class _Reach:
    """How far a face goes along and round its axis."""

    extent: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    start: float = 0.0


def describe(face: TopoDS_Face, index: int) -> Surface:
    """Return a kernel face as numbers."""
    adaptor = BRepAdaptor_Surface(face)
    native = _native_form(adaptor)
    form = native or _recovered_form(face) or _Form("other")
    area, centroid = _area(face, adaptive=native is None)
    middle, normal = _middle(face, adaptor)
    if form.kind == "plane":
        form = replace(form, axis=form.axis if dot(form.axis, normal) > 0 else scale(form.axis, -1.0))
        normal = form.axis
    reach = _native_reach(form, adaptor, middle) if native else _outline_reach(form, outline(face) or [middle])
    return Surface(
        index=index,
        kind=form.kind,
        origin=form.origin,
        axis=form.axis,
        radius=form.radius,
        half_angle=form.half_angle,
        minor=form.minor,
        hollow=_is_hollow(form, middle, normal),
        normal=normal,
        area=area,
        centroid=centroid,
        extent=reach.extent,
        turn=reach.turn,
        recovered=form.recovered,
        turn_start=reach.start,
    )


def is_free_form(face: TopoDS_Face) -> bool:
    """Return whether the kernel holds a face as anything but a plane, cylinder, cone, sphere or torus."""
    return BRepAdaptor_Surface(face, False).GetType() not in _NATIVE


_NATIVE = (
    SurfaceType.GeomAbs_Plane,
    SurfaceType.GeomAbs_Cylinder,
    SurfaceType.GeomAbs_Cone,
    SurfaceType.GeomAbs_Sphere,
    SurfaceType.GeomAbs_Torus,
)


def turn_zero(axis: Vec3) -> Vec3:
    """Return the direction square to an axis from which `Surface.turn_start` counts."""
    least = min(range(3), key=lambda i: (round(abs(axis[i]), 6), i))
    hint = tuple(1.0 if i == least else 0.0 for i in range(3))
    return unit(sub(hint, scale(axis, dot(hint, axis))))  # type: ignore[arg-type]


def angle_round(point: Vec3, origin: Vec3, axis: Vec3) -> float:
    """Return where a point lies round an axis, degrees, 0 to 360, from `turn_zero(axis)`."""
    x = turn_zero(axis)
    out = sub(point, origin)
    return math.degrees(math.atan2(dot(out, cross(axis, x)), dot(out, x))) % 360.0


# --- what it is -------------------------------------------------------------


def _native_form(adaptor: BRepAdaptor_Surface) -> _Form | None:
    match adaptor.GetType():
        case SurfaceType.GeomAbs_Plane:
            return _plane_form(adaptor.Plane())
        case SurfaceType.GeomAbs_Cylinder:
            return _cylinder_form(adaptor.Cylinder())
        case SurfaceType.GeomAbs_Cone:
            return _cone_form(adaptor.Cone())
        case SurfaceType.GeomAbs_Sphere:
            return _Form("sphere", _xyz(adaptor.Sphere().Location()), radius=adaptor.Sphere().Radius())
        case SurfaceType.GeomAbs_Torus:
            return _torus_form(adaptor.Torus())
    return None


def _recovered_form(face: TopoDS_Face) -> _Form | None:
    """Return the plane, cylinder, cone or sphere that a spline face is, within `SPLINE_FIT`."""
    found = ShapeAnalysis_CanonicalRecognition(face)
    plane, cylinder, cone, sphere = gp_Pln(), gp_Cylinder(gp_Ax3(), 1.0), gp_Cone(gp_Ax3(), 0.3, 1.0), gp_Sphere(gp_Ax3(), 1.0)
    if found.IsPlane(SPLINE_FIT, plane):
        return replace(_plane_form(plane), recovered=True)
    if found.IsCylinder(SPLINE_FIT, cylinder):
        return replace(_cylinder_form(cylinder), recovered=True)
    if found.IsCone(SPLINE_FIT, cone):
        return replace(_cone_form(cone), recovered=True)
    if found.IsSphere(SPLINE_FIT, sphere):
        return _Form("sphere", _xyz(sphere.Location()), radius=sphere.Radius(), recovered=True)
    return None


def _plane_form(plane: gp_Pln) -> _Form:
    return _Form("plane", _xyz(plane.Location()), unit(_xyz(plane.Axis().Direction())))


def _cylinder_form(cylinder: gp_Cylinder) -> _Form:
    return _Form("cylinder", _xyz(cylinder.Location()), canonical(_xyz(cylinder.Axis().Direction())), cylinder.Radius())


def _cone_form(cone: gp_Cone) -> _Form:
    raw = unit(_xyz(cone.Axis().Direction()))
    axis = canonical(raw)
    half = math.degrees(cone.SemiAngle()) * (1.0 if dot(raw, axis) > 0 else -1.0)
    return _Form("cone", _xyz(cone.Location()), axis, cone.RefRadius(), half)


def _torus_form(torus: gp_Torus) -> _Form:
    axis = canonical(_xyz(torus.Axis().Direction()))
    return _Form("torus", _xyz(torus.Location()), axis, torus.MajorRadius(), minor=torus.MinorRadius())


def _xyz(p: Any) -> Vec3:
    return (p.X() + 0.0, p.Y() + 0.0, p.Z() + 0.0)


# --- size, middle and side --------------------------------------------------


def _area(face: TopoDS_Face, adaptive: bool) -> tuple[float, Vec3]:
    """Return the area and centroid; the kernel's quick rule on analytic faces, its adaptive one on splines."""
    props = GProp_GProps()
    if adaptive:
        BRepGProp.SurfaceProperties_s(face, props, AREA_ACCURACY, False)
    else:
        BRepGProp.SurfaceProperties_s(face, props)
    return props.Mass(), _xyz(props.CentreOfMass())


def _middle(face: TopoDS_Face, adaptor: BRepAdaptor_Surface) -> tuple[Vec3, Vec3]:
    """Return the surface point in the middle of the parameter range, and its outward normal."""
    u0, u1 = adaptor.FirstUParameter(), adaptor.LastUParameter()
    v0, v1 = adaptor.FirstVParameter(), adaptor.LastVParameter()
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    for share in (0.5, 0.37, 0.61, 0.13):
        adaptor.D1(u0 + (u1 - u0) * share, v0 + (v1 - v0) * share, point, du, dv)
        across = du.Crossed(dv)
        if across.Magnitude() > 1e-12:
            sign = -1.0 if face.Orientation() == TopAbs_REVERSED else 1.0
            return _xyz(point), unit(scale(_xyz(across), sign))
    return _xyz(point), Z_AXIS


def _is_hollow(form: _Form, middle: Vec3, normal: Vec3) -> bool:
    if form.kind in ("cylinder", "cone"):
        return dot(normal, sub(middle, foot(middle, form.origin, form.axis))) < 0
    if form.kind == "sphere":
        return dot(normal, sub(middle, form.origin)) < 0
    if form.kind == "torus":
        out = sub(middle, foot(middle, form.origin, form.axis))
        ring = add(form.origin, scale(unit(out), form.radius)) if norm(out) > 0 else form.origin
        return dot(normal, sub(middle, ring)) < 0
    return False


# --- how far it goes --------------------------------------------------------


def _native_reach(form: _Form, adaptor: BRepAdaptor_Surface, middle: Vec3) -> _Reach:
    """Return the reach of an analytic face from its trimmed parameter range."""
    if form.kind not in _TURNED:
        return _Reach()
    turn = min(math.degrees(adaptor.LastUParameter() - adaptor.FirstUParameter()), 360.0)
    start = angle_round(middle, form.origin, form.axis) - turn / 2
    heights = _torus_heights(form, adaptor) if form.kind == "torus" else _end_heights(form, adaptor)
    return _Reach((min(heights), max(heights)), turn, start % 360.0)


def _end_heights(form: _Form, adaptor: BRepAdaptor_Surface) -> list[float]:
    u = adaptor.FirstUParameter()
    return [along(_xyz(adaptor.Value(u, v)), form.origin, form.axis) for v in (adaptor.FirstVParameter(), adaptor.LastVParameter())]


def _torus_heights(form: _Form, adaptor: BRepAdaptor_Surface) -> list[float]:
    """Return the heights of a tube's ends, and of its crests where its angle range passes them."""
    v0, v1 = adaptor.FirstVParameter(), adaptor.LastVParameter()
    quarters = range(math.ceil(v0 / (math.pi / 2)), math.floor(v1 / (math.pi / 2)) + 1)
    sines = [math.sin(v0), math.sin(v1), *(1.0 if q % 4 == 1 else -1.0 for q in quarters if q % 2)]
    side = dot(_xyz(adaptor.Torus().Axis().Direction()), form.axis)
    return [form.minor * sine * side for sine in sines]


def outline(face: TopoDS_Face) -> list[Vec3]:
    """Return points along a face's edges, 17 an edge, mm."""
    points: list[Vec3] = []
    for edge in edges_of(face):
        if BRep_Tool.Degenerated_s(edge):
            continue
        curve = BRepAdaptor_Curve(edge)
        first, last = curve.FirstParameter(), curve.LastParameter()
        points.extend(_xyz(curve.Value(first + (last - first) * i / _EDGE_PIECES)) for i in range(_EDGE_PIECES + 1))
    return points


def _outline_reach(form: _Form, points: list[Vec3]) -> _Reach:
    """Return the reach of a recovered face from points on its edges: all the way round less the widest gap."""
    if form.kind not in _TURNED:
        return _Reach()
    heights = [along(p, form.origin, form.axis) for p in points]
    far = [p for p in points if norm(sub(p, foot(p, form.origin, form.axis))) > KERNEL_NOISE]
    angles = sorted(angle_round(p, form.origin, form.axis) for p in far)
    extent = (min(heights), max(heights))
    if len(angles) < 2:
        return _Reach(extent, 360.0)
    gaps = [(b - a, b) for a, b in zip(angles, [*angles[1:], angles[0] + 360.0], strict=True)]
    widest, start = max(gaps)
    return _Reach(extent, 360.0) if widest < 45.0 else _Reach(extent, 360.0 - widest, start % 360.0)
