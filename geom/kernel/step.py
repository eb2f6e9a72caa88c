"""STEP files in and out.

A file carries its own unit; the kernel turns it into millimetres. Refusals are
plain: missing, wrong kind, empty, cut off, no solid, several solids.
"""

from pathlib import Path
from typing import Any

from geom.errors import GeometryError, OutputError
from geom.kernel.shape import Solid, solid_from_shape

from OCP.IFSelect import IFSelect_RetDone  # isort: skip
from OCP.Interface import Interface_Static  # isort: skip
from OCP.STEPControl import STEPControl_AsIs, STEPControl_Reader, STEPControl_Writer  # isort: skip

_SUFFIXES = (".step", ".stp")


def read_step(path: Path) -> Solid:
    """Return the one solid in a STEP file, mm.

    Raises:
        GeometryError: the file is missing, not STEP, cut off, or holds no or several solids.
    """
    _check_file(path)
    reader = STEPControl_Reader()
    if reader.ReadFile(str(path)) != IFSelect_RetDone:
        raise GeometryError(f"{path.name}: is not a readable STEP file; export it again as AP214 or AP242")
    reader.TransferRoots()
    shape = reader.OneShape()
    if shape is None or shape.IsNull():
        raise GeometryError(f"{path.name}: holds no solid; export the part as a solid body")
    return solid_from_shape(shape, path.name)


def _check_file(path: Path) -> None:
    if path.suffix.lower() not in _SUFFIXES:
        raise GeometryError(f"{path.name}: is not a STEP file by its name; give a file that ends in .step or .stp")
    if not path.is_file():
        raise GeometryError(f"{path}: there is no such file; put it into the job folder or correct the name in job.toml")
    text = path.read_bytes()
    if not text.strip():
        raise GeometryError(f"{path.name}: is empty; export it again")
    if not text.lstrip().startswith(b"ISO-10303-21"):
        raise GeometryError(f"{path.name}: is not a STEP file (it does not start with ISO-10303-21); export it again as STEP")
    if b"END-ISO-10303-21" not in text[-4096:]:
        raise GeometryError(f"{path.name}: is cut off (its last line, END-ISO-10303-21, is missing); copy or export it again")


def write_step(shape: Any, path: Path) -> None:
    """Write a kernel shape as a STEP file in mm.

    Raises:
        OutputError: the kernel could not write it.
    """
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    writer = STEPControl_Writer()
    writer.Transfer(shape, STEPControl_AsIs)
    if writer.Write(str(path)) != IFSelect_RetDone:
        raise OutputError(f"{path}: the STEP file could not be written; check that the folder exists and has room")
