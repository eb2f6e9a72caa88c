"""The finished part as it is to be printed: holes grown, flat side down, cut for the bed, in one 3MF.

The STL of the finished part stays the drawing's; this is what a printer makes
come out like it. Holes are kept clear of cuts where there is a way. Lengths mm.
"""

from collections.abc import Iterator
from textwrap import wrap
from typing import Final

import numpy as np

from export.number import Units, fixed, sentence
from export.prints.fixture import PLASTIC
from export.prints.mesh import PrintMesh, stl_bytes
from export.prints.pattern import laid, side_by_side
from export.prints.threemf import threemf_bytes
from geom.errors import GeometryError
from geom.fixture.checks import thinnest
from geom.kernel.mesh import Mesh
from geom.kernel.surface import Surface
from geom.model.part import Part
from geom.pattern.bed_split import Keep, split_for_bed
from geom.pattern.cores import upright_to
from geom.pattern.dowels import pin
from geom.rays.body import Body, body_of, joined, rod
from geom.space import Vec3
from geom.toml.print_settings import Printer

PRINT_3MF: Final = "prototype.3mf"
PRINT_SHEET: Final = "prototype_print.txt"

_FULL_TURN: Final = 359.0
_PAST: Final = 0.01
"""mm by which a grown hole reaches beyond its wall, so that no skin is left over its mouth."""

_FLAT: Final = 1e-4
_WIDTH: Final = 100


def print_files(part: Part, finished: PrintMesh, printer: Printer, label: str, units: Units = "mm") -> dict[str, bytes]:
    """Return the 3MF of the print, an STL of each piece where it is cut or its holes grown, and what is known of them.

    Args:
        finished: the checked mesh of the finished part.
        label: job.toml as the user named it, for messages.

    Raises:
        GeometryError: the bed is too small, a wall is thinner than the nozzle, or a mesh does not close.
    """
    body = grown(body_of(finished.mesh, "finished part"), part.finished.surfaces, printer)
    turn = upright_to(-np.asarray(flat_side(part, finished.mesh))).T
    whole = body.moved(turn, (0.0, 0.0, 0.0))
    keep = [_room(surface, turn) for surface in _bores(part.finished.surfaces)]
    pieces = _for_the_bed(whole, printer, keep, label)
    walls = [thinnest(piece).thickness for piece in pieces]
    if min(walls) < printer.nozzle and "nozzle" in printer.stated:
        raise GeometryError(
            f"{label}, printer.nozzle: the thinnest wall of the print is {min(walls):.2f} mm and the nozzle lays "
            f"{printer.nozzle:g} mm; state a finer nozzle, or thicken the wall in the model"
        )
    named = [(f"prototype_{n}" if len(pieces) > 1 else "prototype", laid(p, f"piece {n}")) for n, p in enumerate(pieces, 1)]
    files = {}
    if len(pieces) > 1 or printer.hole_growth > 0:
        files = {f"{name}.stl": stl_bytes(mesh, f"{part.name}: {name}", finished.chord) for name, mesh in named}
    if len(pieces) > 1:
        named.append(("prototype_pin", laid(pin(printer.pin, 3.2 * printer.pin, printer.chord), "dowel")))
        files["prototype_pin.stl"] = stl_bytes(named[-1][1], "dowel", printer.chord)
    files[PRINT_3MF] = threemf_bytes(side_by_side(named), f"test-fit print: {part.name}")
    files[PRINT_SHEET] = _sheet(part, pieces, walls, printer, units).encode()
    return files


def _for_the_bed(whole: Body, printer: Printer, keep: list[Keep], label: str) -> tuple[Body, ...]:
    """Return the pieces for the bed; the whole where nobody stated the bed and the assumed one cannot be served."""
    try:
        return split_for_bed(whole, printer, keep, f"{label}, printer.bed")
    except GeometryError:
        if "bed" in printer.stated:
            raise
        return (whole,)


def grown(body: Body, surfaces: tuple[Surface, ...], printer: Printer) -> Body:
    """Return a print with every round hole and bore wider by the printer's growth."""
    if printer.hole_growth <= 0:
        return body
    chord = min(printer.chord, printer.hole_growth / 8.0)
    return body - joined([_wider(surface, printer.hole_growth / 2.0, chord) for surface in _bores(surfaces)])


def _bores(surfaces: tuple[Surface, ...]) -> list[Surface]:
    return [s for s in surfaces if s.kind == "cylinder" and s.hollow and s.turn >= _FULL_TURN]


def _wider(surface: Surface, more: float, chord: float) -> Body:
    start, end = surface.extent
    axis = np.asarray(surface.axis)
    whole = rod((0.0, 0.0, 0.0), surface.radius + more, end - start + 2.0 * _PAST, chord)
    return whole.moved(upright_to(axis), (np.asarray(surface.origin) + (start - _PAST) * axis).tolist())


def flat_side(part: Part, mesh: Mesh) -> Vec3:
    """Return the outward normal of the largest flat side with nothing beyond it; down Z when there is none."""
    best, down = 0.0, (0.0, 0.0, -1.0)
    for surface in part.finished.surfaces:
        if surface.kind != "plane":
            continue
        beyond = float((mesh.vertices @ np.asarray(surface.normal)).max()) - float(np.dot(surface.origin, surface.normal))
        if beyond < _FLAT + 1e-3 and surface.area > best + 1e-6:
            best, down = surface.area, surface.normal
    return down


def _room(surface: Surface, turn: "np.typing.NDArray[np.float64]") -> Keep:
    """Return the box round a bore, as the print lies."""
    ends = np.array([np.asarray(surface.origin) + t * np.asarray(surface.axis) for t in surface.extent]) @ turn.T
    low, high = ends.min(axis=0) - surface.radius, ends.max(axis=0) + surface.radius
    return (float(low[0]), float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2]))


def _sheet(part: Part, pieces: tuple[Body, ...], walls: list[float], printer: Printer, units: Units) -> str:
    lines = [f"TEST-FIT PRINT AS IT IS TO BE PRINTED: {part.name}", ""]
    for words in _says(pieces, walls, printer, units):
        lines += wrap(words, _WIDTH, initial_indent="- ", subsequent_indent="  ")
    return "\n".join(lines) + "\n"


def _says(pieces: tuple[Body, ...], walls: list[float], printer: Printer, units: Units) -> Iterator[str]:
    yield f"Print {PRINT_3MF} as it lies, flat side down, scale 100 %."
    if printer.hole_growth > 0:
        yield sentence(
            ("Holes and bores are ", printer.hole_growth, " larger in diameter than drawn, for a printer that pulls them in."),
            units,
        )
    else:
        yield "Holes are as drawn: print one, measure it, and state printer.hole_growth for the next."
    if "bed" not in printer.stated:
        bed = " by ".join(f"{side:g}" for side in printer.bed)
        yield f"The job states no printer.bed: {bed} mm is assumed (common practice); a larger print is cut where it can be."
    if min(walls) < printer.nozzle:
        yield sentence(("The thinnest wall is under the assumed nozzle of ", printer.nozzle, ": it may not print."), units)
    for number, (piece, wall) in enumerate(zip(pieces, walls, strict=True), 1):
        x, y, z = (round(b - a, 2) for a, b in zip(*piece.box, strict=True))
        yield sentence(
            (f"Piece {number} of {len(pieces)}: ", x, " by ", y, " by ", z, "; thinnest wall ", round(wall, 2)), units
        ) + (f"; {fixed(piece.volume / 1000, 1)} cm3, {fixed(piece.volume * PLASTIC[1] / 1e6, 3)} kg solid in {PLASTIC[0]}.")
    if len(pieces) > 1:
        yield "Print one dowel for each pair of holes, or use bought pins; glue the pieces together on a flat plate."
