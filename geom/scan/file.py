"""A scan of a casting, read from its file.

STL, PLY and OBJ give a mesh, XYZ (also .txt, .asc, .csv, .pts) and a PLY
without faces a point cloud. The file does not know its unit: the caller says
it. Coordinates come out in mm, in the scan's own frame. Knows nothing of the
part, nor of where the casting lies.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal

import numpy as np

from geom.errors import ReadingError
from geom.rays.analytic import Floats, Ints
from geom.rays.mesh_tree import AnyTree
from geom.readings.records import ScanFile
from geom.rows.words import Note
from geom.scan.mesh import sound
from geom.scan.ply import read_ply
from geom.scan.raw import RawScan
from geom.scan.stl import read_stl
from geom.scan.text import read_obj, read_points

Unit = Literal["mm", "cm", "m", "inch"]

MM_PER_UNIT: Final[dict[Unit, float]] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4}

_READERS: Final[dict[str, Callable[[Path], RawScan]]] = {
    ".stl": read_stl,
    ".ply": read_ply,
    ".obj": read_obj,
    ".xyz": read_points,
    ".txt": read_points,
    ".asc": read_points,
    ".csv": read_points,
    ".pts": read_points,
}

_GREATEST: Final = 2 << 30
"""Bytes: a scan of thirty million triangles; more does not fit the memory of a shop's computer."""

_FEWEST: Final = 100
"""Points of a scan: fewer are touches, and belong into touches.csv."""

_LARGEST: Final = 1e6
"""mm from the scan's own zero: a kilometre is a broken file, not a casting."""


@dataclass(frozen=True, slots=True, eq=False)
class Scan:
    """A scan as read.

    Attributes:
        label: file name, for messages.
        vertices: (n, 3) mm, scan's own frame.
        triangles: (m, 3) counter-clockwise seen from the air; (0, 3) for a point cloud.
        unit: as stated by the caller.
        sigma: standard uncertainty, mm, that all points of a face share, as stated; None when it is not.
        notes: whole sentences: what was found wrong and set right, and what is missing.
        tree: for rays, where it was built ahead.
    """

    label: str
    vertices: Floats = field(repr=False)
    triangles: Ints = field(repr=False)
    unit: Unit = "mm"
    sigma: float | None = None
    notes: tuple[Note, ...] = ()
    tree: AnyTree | None = field(default=None, repr=False)

    @property
    def is_cloud(self) -> bool:
        """Whether there are points only."""
        return not len(self.triangles)


def read_scan(file: ScanFile) -> Scan:
    """Return the scan a job's readings name (see `read_scan_file`)."""
    return read_scan_file(file.path, file.unit, file.sigma if file.stated else None)


def read_scan_file(path: Path, unit: Unit, sigma: float | None = None) -> Scan:
    """Return a scan, welded, its faces turned outward.

    Args:
        path: its ending says what it is: .stl, .ply, .obj, or .xyz .txt .asc .csv .pts for points.
        unit: what one unit of the file is.

    Raises:
        ReadingError: no such file, unknown ending, empty, cut off, not what its ending says, NaN or infinite
            coordinates, or too few points.
        GeometryError: no triangle has an area, or the surface has no outside.
    """
    label = path.name
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        raise ReadingError(
            f"{label}: {path.suffix or 'no ending'} is no scan evenstock reads; export it as {', '.join(sorted(_READERS))}"
        )
    _check_size(path, label)
    try:
        raw = reader(path)
    except (OSError, MemoryError) as error:
        raise ReadingError(f"{label}: cannot be read ({error or 'out of memory'}); copy it again or thin the scan out") from error
    _check_numbers(raw, label)
    scale = MM_PER_UNIT[unit]
    if np.abs(raw.vertices).max() * scale > _LARGEST:
        raise ReadingError(
            f"{label}: a point lies {np.abs(raw.vertices).max():.3g} {unit} from the scan's zero, limit {_LARGEST / scale:.3g} "
            f"{unit}; check the unit and the file"
        )
    vertices, triangles, notes = sound(raw, label, scale)
    return Scan(label, vertices, triangles, unit, sigma, (*raw.notes, *notes))


def _check_size(path: Path, label: str) -> None:
    if not path.is_file():
        raise ReadingError(f"{label}: there is no such file in {path.parent.name or 'the folder'}; copy the scan there")
    size = path.stat().st_size
    if not size:
        raise ReadingError(f"{label}: the file is empty (0 bytes); export the scan again")
    if size > _GREATEST:
        raise ReadingError(
            f"{label}: {size / 1e9:.1f} GB, limit {_GREATEST / 1e9:.1f} GB; thin the scan out to a few million triangles"
        )


def _check_numbers(raw: RawScan, label: str) -> None:
    count = len(raw.vertices)
    bad = np.flatnonzero(~np.isfinite(raw.vertices).all(axis=1))
    if bad.size:
        raise ReadingError(
            f"{label}: {bad.size} of {count} points have a coordinate that is not a number or infinite, the first is {raw.word} "
            f"{raw.number(int(bad[0]))}; remove invalid points in the scanner's program and export again"
        )
    if raw.triangles is not None and len(raw.triangles):
        low, high = int(raw.triangles.min()), int(raw.triangles.max())
        if low < 0 or high >= count:
            wrong = low if low < 0 else high
            raise ReadingError(
                f"{label}: a triangle refers to point {wrong}, but the points go from 0 to {count - 1}; export the scan again"
            )
    if count < _FEWEST and (raw.triangles is None or not len(raw.triangles)):
        raise ReadingError(
            f"{label}: holds {count} points and no triangles, a scan has at least {_FEWEST}; put single points into touches.csv"
        )
