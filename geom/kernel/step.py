"""STEP files in and out.

A file carries its own unit; the kernel turns it into millimetres. Refusals are
plain: missing, wrong kind, empty, cut off, damaged, no solid, several solids.
The same shape always gives the same bytes.
"""

from pathlib import Path
from typing import Any

from geom.errors import GeometryError, OutputError
from geom.kernel.shape import Solid, solid_from_shape

from OCP.APIHeaderSection import APIHeaderSection_MakeHeader  # isort: skip
from OCP.IFSelect import IFSelect_RetDone  # isort: skip
from OCP.Interface import Interface_Static  # isort: skip
from OCP.Message import Message  # isort: skip
from OCP.Standard import Standard_Failure  # isort: skip
from OCP.StepBasic import StepBasic_Product  # isort: skip
from OCP.STEPControl import STEPControl_AsIs, STEPControl_Reader, STEPControl_Writer  # isort: skip
from OCP.TCollection import TCollection_HAsciiString  # isort: skip

_SUFFIXES = (".step", ".stp")
_STEP_UNITS = {"mm": "MM", "inch": "INCH"}
_NO_CLOCK = "1970-01-01T00:00:00"
"""Written as the time of every file, so that the same part gives the same bytes."""

Message.DefaultMessenger_s().ChangePrinters().Clear()
"""The kernel would print its progress on stdout, where `--json` promises one document and nothing else."""


def read_step(path: Path) -> Solid:
    """Return the one solid in a STEP file, mm, whatever unit the file is in.

    Raises:
        GeometryError: the file is missing, not STEP, cut off, damaged, or holds no or several solids.
    """
    _check_file(path)
    try:
        shape, complaint = _transferred(path)
        if not complaint:
            return solid_from_shape(shape, path.name)
    except Standard_Failure as fault:
        raise GeometryError(
            f"{path.name}: is damaged: the CAD kernel stopped in it ({type(fault).__name__}); copy or export it again"
        ) from fault
    raise GeometryError(f"{path.name}: {complaint}")


def _transferred(path: Path) -> tuple[Any, str]:
    """Return the shape in a file, or what is wrong with it.

    Nothing is raised here: an exception would keep the reader alive, and the kernel crashes
    when an old reader is dropped while a new one reads.
    """
    reader = STEPControl_Reader()
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    if reader.ReadFile(str(path)) != IFSelect_RetDone:
        return None, "is not a readable STEP file; export it again as AP214 or AP242"
    complaint = _bad_statements(reader)
    if complaint:
        return None, complaint
    reader.TransferRoots()
    shape = reader.OneShape()
    if shape is None or shape.IsNull():
        return None, "holds no solid; export the part as a solid body"
    return shape, ""


def _check_file(path: Path) -> None:
    if path.suffix.lower() not in _SUFFIXES:
        raise GeometryError(f"{path.name}: is not a STEP file by its name; give a file that ends in .step or .stp")
    if not path.is_file():
        raise GeometryError(f"{path}: there is no such file; put it into the job folder or correct the name in job.toml")
    try:
        text = path.read_bytes()
    except OSError as error:
        raise GeometryError(f"{path}: cannot be read ({error.strerror}); check its permissions") from error
    if not text.strip():
        raise GeometryError(f"{path.name}: is empty; export it again")
    if not text.lstrip().startswith(b"ISO-10303-21"):
        raise GeometryError(f"{path.name}: is not a STEP file (it does not start with ISO-10303-21); export it again as STEP")
    if b"END-ISO-10303-21" not in text[-4096:]:
        raise GeometryError(f"{path.name}: is cut off (its last line, END-ISO-10303-21, is missing); copy or export it again")


def _bad_statements(reader: STEPControl_Reader) -> str:
    """Return what the kernel could not read, or "": transferring such a file can crash the process."""
    check = reader.WS().Model().GlobalCheck(True)
    if not check.NbFails():
        return ""
    first = str(check.CFail(1)).removeprefix("Undefined Parsing: ")
    return f"is damaged: {check.NbFails()} of its statements cannot be read, the first: {first}; copy or export it again"


def write_step(shape: Any, path: Path, units: str = "mm") -> None:
    """Write a kernel shape, held in mm, as a STEP file in the given unit.

    Raises:
        OutputError: the kernel could not write it.
    """
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.unit", _STEP_UNITS[units])
    # Edges without their images on the faces: half the size, and read three times faster.
    Interface_Static.SetIVal_s("write.surfacecurve.mode", 0)
    writer.Transfer(shape, STEPControl_AsIs)
    _name_product(writer, path.stem)
    header = APIHeaderSection_MakeHeader(writer.Model())
    header.SetTimeStamp(TCollection_HAsciiString(_NO_CLOCK))
    header.SetName(TCollection_HAsciiString(path.name))
    header.SetOriginatingSystem(TCollection_HAsciiString("evenstock"))
    if writer.Write(str(path)) != IFSelect_RetDone:
        raise OutputError(f"{path}: the STEP file could not be written; check that the folder exists and has room")


def _name_product(writer: STEPControl_Writer, name: str) -> None:
    """Name the product after its file: the kernel's own name counts up from one write to the next."""
    model = writer.Model()
    for i in range(1, model.NbEntities() + 1):
        entity = model.Value(i)
        if isinstance(entity, StepBasic_Product):
            entity.SetName(TCollection_HAsciiString(name))
            entity.SetId(TCollection_HAsciiString(name))
