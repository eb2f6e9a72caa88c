"""A solid and its faces as numbers.

A `Solid` keeps the kernel's shape and one `Surface` record a face. It is
checked on construction: one closed, valid body with the metal inside. Lengths
mm, part frame. Knows nothing of features, castings or stock.
"""

from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

from geom.aside import is_copy
from geom.errors import GeometryError
from geom.kernel.bounds import bounding_box, vertex_points
from geom.kernel.load import require_kernel
from geom.kernel.surface import Surface, SurfaceKind, describe, is_free_form
from geom.kernel.topology import edge_owners, explore, faces_of
from geom.space import Vec3, norm, sub

require_kernel()

from OCP.BinTools import BinTools
from OCP.BRep import BRep_Tool
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_SHELL, TopAbs_SOLID
from OCP.TopoDS import TopoDS, TopoDS_Shape, TopoDS_Solid

__all__ = ["Solid", "Surface", "SurfaceKind", "bounding_box", "faces_of", "from_cadquery", "solid_from_shape"]

VOLUME_ACCURACY = 1e-4
"""Relative accuracy asked of the kernel's adaptive integration where a solid has spline faces: a ball and a ring
written as splines then come out 0.004 % off the formula, where the kernel's quick rule is 0.04 % and 0.16 % off."""


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

    def __reduce__(self) -> tuple[Any, ...]:
        """Return how it is carried from one process to another: the shape in the kernel's own bytes."""
        shape = BytesIO()
        BinTools.Write_s(self.shape, shape)
        return _from_bytes, (self.label, shape.getvalue(), self.surfaces, self.volume, self.centre, self.box)


def _from_bytes(
    label: str, shape: bytes, surfaces: tuple[Surface, ...], volume: float, centre: Vec3, box: tuple[Vec3, Vec3]
) -> Solid:
    body = TopoDS_Shape()
    BinTools.Read_s(body, BytesIO(shape))
    return Solid(label, TopoDS.Solid(body), surfaces, volume, centre, box)


def solid_from_shape(shape: Any, label: str) -> Solid:
    """Return the one solid in a kernel shape.

    Raises:
        GeometryError: no solid, several, open, inside out, or invalid; the message says which.
    """
    body = _only_solid(shape, label)
    faces = faces_of(body)
    _check_closed(body, label)
    volume, centre = _volume(body, adaptive=any(is_free_form(face) for face in faces))
    if not volume > 0:
        raise GeometryError(
            f"{label}: the solid is inside out (its volume reads {volume:.1f} mm3); export it again from the CAD program "
            "with 'check' or 'repair' switched on"
        )
    if not BRepCheck_Analyzer(body, True, not is_copy()).IsValid():
        raise GeometryError(
            f"{label}: the solid has faulty faces or edges (the CAD kernel's own check fails); "
            "heal or rebuild it in the CAD program and export it again"
        )
    surfaces = tuple(describe(face, i) for i, face in enumerate(faces))
    return Solid(label, body, surfaces, volume, centre, bounding_box(body))


def from_cadquery(model: Any, label: str) -> Solid:
    """Return the one solid of a CadQuery Workplane, Shape or Assembly part (see `solid_from_shape`)."""
    value = model.val() if hasattr(model, "val") else model
    if not hasattr(value, "wrapped"):
        raise GeometryError(f"{label}: {type(model).__name__} is not a CadQuery shape; return a Workplane or a Solid")
    if hasattr(model, "solids") and len(model.vals()) > 1:
        raise GeometryError(f"{label}: the model returned {len(model.vals())} objects; combine them into one solid")
    return solid_from_shape(value.wrapped, label)


def _only_solid(shape: Any, label: str) -> TopoDS_Solid:
    solids = [TopoDS.Solid(s) for s in explore(shape, TopAbs_SOLID)]
    if len(solids) == 1:
        return solids[0]
    if solids:
        listing = "; ".join(_solid_line(i, s) for i, s in enumerate(solids, 1))
        raise GeometryError(
            f"{label}: holds {len(solids)} solids ({listing}); evenstock wants one body per file, "
            "so export the one you need on its own"
        )
    surfaces = sum(1 for _ in explore(shape, TopAbs_SHELL)), len(faces_of(shape))
    if surfaces[1]:
        raise GeometryError(
            f"{label}: holds {surfaces[1]} faces but no closed solid; "
            "stitch the surfaces into a solid in the CAD program and export again"
        )
    raise GeometryError(f"{label}: holds no solid; export the part as a solid body")


def _solid_line(number: int, solid: TopoDS_Solid) -> str:
    (x0, y0, z0), (x1, y1, z1) = bounding_box(solid)
    return f"solid {number}: {x1 - x0:.1f} x {y1 - y0:.1f} x {z1 - z0:.1f} mm"


def _check_closed(body: TopoDS_Solid, label: str) -> None:
    """Raise GeometryError where an edge has a face on one side only."""
    for edge, owners in edge_owners(body):
        if len(owners) == 1 and not BRep_Tool.Degenerated_s(edge):
            at = ", ".join(f"{c:.1f}" for c in vertex_points(edge)[0])
            raise GeometryError(
                f"{label}: the solid is open: an edge near ({at}) mm has a face on one side only; "
                "stitch the surfaces into a closed solid in the CAD program and export again"
            )


def _volume(shape: Any, adaptive: bool) -> tuple[float, Vec3]:
    """Return volume and centre; the kernel's quick rule on analytic faces, its adaptive one where there are splines."""
    props = GProp_GProps()
    if adaptive:
        BRepGProp.VolumeProperties_s(shape, props, VOLUME_ACCURACY, False, False)
    else:
        BRepGProp.VolumeProperties_s(shape, props)
    return props.Mass(), _xyz(props.CentreOfMass())


def _xyz(p: Any) -> Vec3:
    return (p.X() + 0.0, p.Y() + 0.0, p.Z() + 0.0)
