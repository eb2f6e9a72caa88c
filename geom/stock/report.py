"""Stock: the metal each machined face still has to lose.

Lengths are millimetres in the part frame. Stock is counted along the face's
outward normal (in a bore: towards the axis): positive is metal to cut, negative
means the casting is short. Rays against exact surfaces, never a boolean of the
CAD kernel. Uses the part as recognised. Knows nothing of placement or set-ups.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.errors import GeometryError, nearest
from geom.model.part import Part, PartFace
from geom.rays.sample import RIM
from geom.space import Z_AXIS, Vec3
from geom.standards.alloy import alloy
from geom.stock.depth import Depth
from geom.stock.face_stock import ENOUGH, FaceStock, StockRange, measure_faces
from geom.stock.volume import Volumes, volumes
from geom.tolerance import EDGE_BAND

__all__ = ["ENOUGH", "FaceStock", "StockRange", "StockReport", "stock_report"]

_SAMPLES: Final = 12_000
"""About how many pieces all machined faces get together."""

_FINEST, _COARSEST = 0.2, 4.0
"""Bounds of the sample spacing, mm."""


@dataclass(frozen=True, slots=True)
class StockReport:
    """Stock on every machined face, and the job's metal.

    Attributes:
        faces: machined faces in the part's order.
        as_cast: faces that stay as the casting's skin.
        swarf_volume: metal to cut away, mm3; swarf_mass, kg.
        shortage_volume: part of the finished part outside the casting, mm3.
        volume_error: what both volumes may be out by, mm3; 0 when they are plain book-keeping.
        casting_volume, part_volume: mm3; casting_mass, part_mass: kg.
        density: g/cm3, of the alloy's table.
        band: width of the edge band, mm.
        spacing: of the samples, mm.
        method: how it was measured and how exact that is, for a sheet.
    """

    faces: tuple[FaceStock, ...]
    as_cast: tuple[PartFace, ...]
    swarf_volume: float
    swarf_mass: float
    shortage_volume: float
    volume_error: float
    casting_volume: float
    part_volume: float
    casting_mass: float
    part_mass: float
    density: float
    band: float
    spacing: float
    method: str


def stock_report(part: Part, required: Mapping[str, float], spacing: float | None = None) -> StockReport:
    """Return the stock on every machined face.

    Args:
        required: least stock, mm, by name; every machined face must be there.
        spacing: of the samples, mm; by the machined area when None.

    Raises:
        GeometryError: a machined face has no required stock, a name is unknown, or the spacing is not above 0.
        StandardError: the alloy is not in the table.
    """
    _check_names(part, required)
    density = alloy(part.alloy, part.name).density
    step = _spacing(part) if spacing is None else spacing
    depth = Depth(part)
    faces = measure_faces(part, depth, required, step)
    books = volumes(part, depth, *_worst(part, faces))
    kilo = density * 1e-6
    return StockReport(
        faces=faces,
        as_cast=part.as_cast,
        swarf_volume=books.swarf,
        swarf_mass=books.swarf * kilo,
        shortage_volume=books.shortage,
        volume_error=books.error,
        casting_volume=part.casting.volume,
        part_volume=part.finished.volume,
        casting_mass=part.casting.volume * kilo,
        part_mass=part.finished.volume * kilo,
        density=density,
        band=EDGE_BAND,
        spacing=step,
        method=_method(step, books),
    )


# --- measuring --------------------------------------------------------------


def _check_names(part: Part, required: Mapping[str, float]) -> None:
    known = [face.name for face in part.machined]
    for name in required:
        if name not in known:
            hint = nearest(name, known)
            raise GeometryError(f"{part.name}: no machined face is called {name!r}{hint}; there are {', '.join(known) or 'none'}")
    for name in known:
        if name not in required:
            raise GeometryError(f"{part.name}: machined face {name!r} has no required stock; state one, 0 mm if any will do")


def _spacing(part: Part) -> float:
    area = sum(face.area for face in part.machined)
    return float(np.clip(np.sqrt(area / _SAMPLES), _FINEST, _COARSEST))


def _worst(part: Part, faces: tuple[FaceStock, ...]) -> tuple[float, Vec3]:
    """Return the least stock that is more than a line along an edge, and the way the face most of which is short looks."""
    if not faces:
        return 0.0, Z_AXIS
    least = min(min(f.least_inside, f.least_inside if f.least_in_band is None else f.least_in_band) for f in faces)
    worst = max(range(len(faces)), key=lambda i: (faces[i].short_fraction, -faces[i].stock.min))
    return least, part.machined[worst].normal or part.machined[worst].axis


def _method(spacing: float, books: Volumes) -> str:
    return (
        f"rays along the normals from points no more than {spacing:.2f} mm apart, met by the casting's own planes, cylinders, "
        "cones, spheres and tori in double precision and by the CAD kernel on free-form faces; the edge band is "
        f"{EDGE_BAND:g} mm wide and its least stock is read from {RIM:g} mm inside the edge; volumes by {books.method}"
    )
