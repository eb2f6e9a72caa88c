"""A solid and its faces as numbers.

A `Solid` keeps the kernel's shape and, for every face, a `Surface` record:
what it is (plane, cylinder ...), where, and which side the metal is on.
Lengths mm, angles degrees, all in the part frame. Knows nothing of features,
castings or stock.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from geom.errors import GeometryError
from geom.kernel.load import require_kernel
from geom.space import ORIGIN, Vec3, add, along, canonical, dot, foot, norm, scale, sub, unit
from geom.tolerance import SPLINE_FIT

require_kernel()

from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.BRepTools import BRepTools
from OCP.GeomAbs import GeomAbs_SurfaceType as SurfaceType
from OCP.gp import gp_Ax3, gp_Cone, gp_Cylinder, gp_Pln, gp_Pnt, gp_Sphere, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.ShapeAnalysis import ShapeAnalysis_CanonicalRecognition
from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED, TopAbs_SHELL, TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Shape, TopoDS_Solid

SurfaceKind: TypeAlias = Literal["plane", "cylinder", "cone", "sphere", "torus", "other"]


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


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """One closed body: the kernel's shape and its faces as numbers.

    Attributes:
        label: what to call it in a message, e.g. "finished.step".
        shape: the kernel's TopoDS_Solid, mm.
        box: least and greatest corner of its bounding box.
    """

    label: str
    shape: Any = field(repr=False)
    surfaces: tuple[Surface, ...] = field(repr=False)
    volume: float
    centre: Vec3
    box: tuple[Vec3, Vec3]

    @property
    def size(self) -> float:
        """The box diagonal, mm: what kernel noise is scaled to."""
        return norm(sub(self.box[1], self.box[0]))


def solid_from_shape(shape: Any, label: str) -> Solid:
    """Return the one solid in a kernel shape.

    Raises:
        GeometryError: no solid, several, open, inside out, or invalid; the message says which.
    """
    body = _only_solid(shape, label)
    volume, centre = _volume(body)
    if volume <= 0:
        raise GeometryError(
            f"{label}: the solid is inside out (its volume reads {volume:.1f} mm3); export it again from the CAD program "
            "with 'check' or 'repair' switched on"
        )
    if not BRepCheck_Analyzer(body).IsValid():
        raise GeometryError(
            f"{label}: the solid has faulty faces or edges (the CAD kernel's own check fails); "
            "heal or rebuild it in the CAD program and export it again"
        )
    surfaces = tuple(describe(face, i) for i, face in enumerate(faces_of(body)))
    return Solid(label, body, surfaces, volume, centre, _box(body))


def from_cadquery(model: Any, label: str) -> Solid:
    """Return the one solid of a CadQuery Workplane, Shape or Assembly part (see `solid_from_shape`)."""
    value = model.val() if hasattr(model, "val") else model
    if not hasattr(value, "wrapped"):
        raise GeometryError(f"{label}: {type(model).__name__} is not a CadQuery shape; return a Workplane or a Solid")
    if hasattr(model, "solids") and len(model.vals()) > 1:
        raise GeometryError(f"{label}: the model returned {len(model.vals())} objects; combine them into one solid")
    return solid_from_shape(value.wrapped, label)


def faces_of(shape: Any) -> list[TopoDS_Face]:
    """Return the faces of a kernel shape in its own order."""
    return [TopoDS.Face(s) for s in _explore(shape, TopAbs_FACE)]


def _explore(shape: Any, kind: Any) -> Iterator[TopoDS_Shape]:
    explorer = TopExp_Explorer(shape, kind)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def _only_solid(shape: Any, label: str) -> TopoDS_Solid:
    solids = [TopoDS.Solid(s) for s in _explore(shape, TopAbs_SOLID)]
    if len(solids) == 1:
        return solids[0]
    if solids:
        listing = "; ".join(_solid_line(i, s) for i, s in enumerate(solids, 1))
        raise GeometryError(
            f"{label}: holds {len(solids)} solids ({listing}); evenstock wants one body per file, so export the one you need on its own"
        )
    surfaces = sum(1 for _ in _explore(shape, TopAbs_SHELL)), len(faces_of(shape))
    if surfaces[1]:
        raise GeometryError(
            f"{label}: holds {surfaces[1]} faces but no closed solid; stitch the surfaces into a solid in the CAD program and export again"
        )
    raise GeometryError(f"{label}: holds no solid; export the part as a solid body")


def _solid_line(number: int, solid: TopoDS_Solid) -> str:
    (x0, y0, z0), (x1, y1, z1) = _box(solid)
    return f"solid {number}: {x1 - x0:.1f} x {y1 - y0:.1f} x {z1 - z0:.1f} mm"


def _volume(shape: Any) -> tuple[float, Vec3]:
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, props)
    return props.Mass(), _xyz(props.CentreOfMass())


def _box(shape: Any) -> tuple[Vec3, Vec3]:
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    low, high = _xyz(box.CornerMin()), _xyz(box.CornerMax())
    return _without_slack(low), _without_slack(high)


def _without_slack(corner: Vec3) -> Vec3:
    """Return the corner to a nanometre: the kernel widens every box by its confusion distance."""
    return tuple(round(c, 6) + 0.0 for c in corner)  # type: ignore[return-value]


def _xyz(p: Any) -> Vec3:
    return (p.X() + 0.0, p.Y() + 0.0, p.Z() + 0.0)


# --- one face as numbers ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Form:
    kind: SurfaceKind
    origin: Vec3 = ORIGIN
    axis: Vec3 = (0.0, 0.0, 1.0)
    radius: float = 0.0
    half_angle: float = 0.0
    minor: float = 0.0
    recovered: bool = False


def describe(face: TopoDS_Face, index: int) -> Surface:
    """Return a kernel face as numbers."""
    adaptor = BRepAdaptor_Surface(face)
    form = _native_form(adaptor) or _recovered_form(face) or _Form("other")
    props = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face, props)
    middle, normal = _middle(face, adaptor)
    if form.kind == "plane":
        form = _Form("plane", form.origin, normal if dot(form.axis, normal) > 0.5 else unit(form.axis), recovered=form.recovered)
        if dot(form.axis, normal) < 0:
            form = _Form("plane", form.origin, scale(form.axis, -1.0), recovered=form.recovered)
    points = _boundary_points(face, adaptor)
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
        area=props.Mass(),
        centroid=_xyz(props.CentreOfMass()),
        extent=_extent(form, points),
        turn=_turn(form, points),
        recovered=form.recovered,
    )


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
            torus = adaptor.Torus()
            axis = canonical(_xyz(torus.Axis().Direction()))
            return _Form("torus", _xyz(torus.Location()), axis, torus.MajorRadius(), minor=torus.MinorRadius())
    return None


def _recovered_form(face: TopoDS_Face) -> _Form | None:
    """Return the plane, cylinder, cone or sphere that a spline face is, within `SPLINE_FIT`."""
    from dataclasses import replace

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
    axis = canonical(_xyz(cylinder.Axis().Direction()))
    return _Form("cylinder", _xyz(cylinder.Location()), axis, cylinder.Radius())


def _cone_form(cone: gp_Cone) -> _Form:
    raw = unit(_xyz(cone.Axis().Direction()))
    axis = canonical(raw)
    half = math.degrees(cone.SemiAngle()) * (1.0 if dot(raw, axis) > 0 else -1.0)
    return _Form("cone", _xyz(cone.Location()), axis, cone.RefRadius(), half)


def _middle(face: TopoDS_Face, adaptor: BRepAdaptor_Surface) -> tuple[Vec3, Vec3]:
    """Return the surface point in the middle of the parameter range, and its outward normal."""
    u0, u1, v0, v1 = BRepTools.UVBounds_s(face)
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    for share in (0.5, 0.37, 0.61, 0.13):
        adaptor.D1(u0 + (u1 - u0) * share, v0 + (v1 - v0) * share, point, du, dv)
        across = du.Crossed(dv)
        if across.Magnitude() > 1e-12:
            sign = -1.0 if face.Orientation() == TopAbs_REVERSED else 1.0
            return _xyz(point), unit(scale(_xyz(across), sign))
    return _xyz(point), (0.0, 0.0, 1.0)


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


def _boundary_points(face: TopoDS_Face, adaptor: BRepAdaptor_Surface) -> list[Vec3]:
    """Return points along the face's edges, 17 an edge."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.TopAbs import TopAbs_EDGE

    points: list[Vec3] = []
    for shape in _explore(face, TopAbs_EDGE):
        edge = TopoDS.Edge(shape)
        if BRep_Tool.Degenerated_s(edge):
            continue
        curve = BRepAdaptor_Curve(edge)
        first, last = curve.FirstParameter(), curve.LastParameter()
        points.extend(_xyz(curve.Value(first + (last - first) * i / 16)) for i in range(17))
    return points or [_middle(face, adaptor)[0]]


def _extent(form: _Form, points: list[Vec3]) -> tuple[float, float]:
    if form.kind not in ("cylinder", "cone", "torus"):
        return (0.0, 0.0)
    reach = [along(p, form.origin, form.axis) for p in points]
    return min(reach), max(reach)


def _turn(form: _Form, points: list[Vec3]) -> float:
    """Return 360 less the widest gap between boundary points seen along the axis."""
    if form.kind not in ("cylinder", "cone", "torus"):
        return 0.0
    x = unit(_square_to(form.axis))
    y = (
        form.axis[1] * x[2] - form.axis[2] * x[1],
        form.axis[2] * x[0] - form.axis[0] * x[2],
        form.axis[0] * x[1] - form.axis[1] * x[0],
    )
    flat = [(dot(sub(p, form.origin), x), dot(sub(p, form.origin), y)) for p in points]
    angles = sorted(math.degrees(math.atan2(b, a)) for a, b in flat if math.hypot(a, b) > 1e-9)
    if len(angles) < 2:
        return 360.0
    gaps = [b - a for a, b in zip(angles, angles[1:], strict=False)] + [angles[0] + 360.0 - angles[-1]]
    widest = max(gaps)
    return 360.0 if widest < 45.0 else 360.0 - widest


def _square_to(axis: Vec3) -> Vec3:
    least = min(range(3), key=lambda i: abs(axis[i]))
    hint = tuple(1.0 if i == least else 0.0 for i in range(3))
    return sub(hint, scale(axis, dot(hint, axis)))  # type: ignore[arg-type]
