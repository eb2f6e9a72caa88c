"""The finished part as it is to be printed: holes grown, flat side down, cut for the bed, hollow on request, in one 3MF.

The STL of the finished part stays the drawing's; this is what a printer makes
come out like it. Cuts stay clear of what mates where there is a way. Lengths mm.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from textwrap import wrap
from typing import Final

import numpy as np

from export.number import Units, fixed, sentence
from export.prints.fixture import PLASTIC
from export.prints.mesh import PrintMesh, stl_bytes
from export.prints.pattern import laid, side_by_side
from export.prints.threemf import threemf_bytes
from geom.errors import GeometryError
from geom.fixture.checks import MOST_HANGING, hanging, thinnest
from geom.kernel.mesh import Mesh
from geom.kernel.surface import Surface
from geom.model.part import Part
from geom.pattern.bed_split import Keep, Split, split_for_bed
from geom.pattern.bores import upright_to
from geom.pattern.dowels import pin
from geom.pattern.hollow import hollowed
from geom.pattern.plane import Floats
from geom.rays.body import Body, body_of, joined, rod
from geom.space import Vec3
from geom.tolerance import SAME_DIRECTION
from geom.toml.print_settings import Printer

PRINT_3MF: Final = "prototype.3mf"
PRINT_SHEET: Final = "prototype_print.txt"

_FULL_TURN: Final = 359.0
_PAST: Final = 0.01
"""mm by which a grown hole reaches beyond its wall, so that no skin is left over its mouth."""

_FLAT: Final = 1e-4
_WIDTH: Final = 100


def print_files(part: Part, finished: PrintMesh, printer: Printer, label: str, units: Units = "mm") -> dict[str, bytes]:
    """Return the 3MF of the print, an STL of each piece where it is not the drawing's own shape, and what is known of them.

    Args:
        finished: the checked mesh of the finished part.
        label: job.toml as the user named it, for messages.

    Raises:
        GeometryError: the bed is too small, a wall is thinner than the nozzle, or a mesh does not close.
    """
    body = grown(body_of(finished.mesh, "finished part"), part.finished.surfaces, printer)
    down = flat_side(part, finished.mesh)
    turn = upright_to(-np.asarray(down)).T
    whole = body.moved(turn, (0.0, 0.0, 0.0))
    split = _for_the_bed(whole, printer, list(_kept_whole(part, finished.mesh, turn)), label)
    opens = not _is_machined(part, down, whole.box[0][2])
    pieces = tuple(_lightened(piece, whole.box[0][2], printer, opens) for piece in split.pieces)
    walls = [thinnest(piece).thickness for piece in pieces]
    if min(walls) < printer.nozzle and "nozzle" in printer.stated:
        raise GeometryError(
            f"{label}, printer.nozzle: the thinnest wall of the print is {min(walls):.2f} mm and the nozzle lays "
            f"{printer.nozzle:g} mm; state a finer nozzle, or thicken the wall in the model"
        )
    named = [(f"prototype_{n}" if len(pieces) > 1 else "prototype", laid(p, f"piece {n}")) for n, p in enumerate(pieces, 1)]
    files = {}
    if len(pieces) > 1 or printer.hole_growth > 0 or printer.hollow is not None:
        files = {f"{name}.stl": stl_bytes(mesh, f"{part.name}: {name}", finished.chord) for name, mesh in named}
    if len(pieces) > 1:
        named.append(("prototype_pin", laid(pin(printer.pin, 3.2 * printer.pin, printer.chord), "dowel")))
        files["prototype_pin.stl"] = stl_bytes(named[-1][1], "dowel", printer.chord)
    files[PRINT_3MF] = threemf_bytes(side_by_side(named), f"test-fit print: {part.name}")
    facts = _Facts(
        pieces, walls, split.crossed, sum(p.volume for p in split.pieces), opens, split.dowels, [hanging(p) for p in split.pieces]
    )
    files[PRINT_SHEET] = _sheet(part, facts, printer, units).encode()
    return files


@dataclass(frozen=True, slots=True, eq=False)
class _Facts:
    """What the sheet says of the print: its pieces, the thinnest wall of each, the mating places a cut had to pass,
    the volume before it was made hollow, whether the hollow opens below, how many dowels it
    takes, and how much of each piece hangs over nothing, mm2."""

    pieces: tuple[Body, ...]
    walls: list[float]
    crossed: tuple[str, ...]
    solid: float
    opens: bool
    dowels: int
    hanging: list[float]


def _lightened(piece: Body, underside: float, printer: Printer, opens: bool) -> Body:
    """Return a piece hollow, where the job asks for that."""
    if printer.hollow is None:
        return piece
    return hollowed(piece, printer.hollow, opens and piece.box[0][2] < underside + _FLAT)


def _is_machined(part: Part, down: Vec3, height: float) -> bool:
    """Tell whether a machined face lies on the bed: then it is to stay whole."""
    return any(
        face.kind == "plane"
        and face.normal is not None
        and np.dot(face.normal, down) > 1.0 - SAME_DIRECTION
        and abs(float(np.dot(face.origin, down)) + height) < _FLAT + 1e-3
        for face in part.machined
    )


def _kept_whole(part: Part, mesh: Mesh, turn: Floats) -> Iterator[Keep]:
    """Yield what mates with the machine, as the print lies: holes and bores, and every machined face."""
    named = {index: hole.name for hole in part.holes for index in hole.surfaces}
    for surface in _bores(part.finished.surfaces):
        yield _room(surface, turn, named.get(surface.index, "a bore"))
    for face in part.machined:
        corners = mesh.vertices[mesh.triangles[np.isin(mesh.face, face.surfaces)]].reshape(-1, 3) @ turn.T
        if len(corners):
            yield Keep(face.name, _corner(corners.min(axis=0)), _corner(corners.max(axis=0)))


def _corner(place: Floats) -> Vec3:
    return float(place[0]), float(place[1]), float(place[2])


def _for_the_bed(whole: Body, printer: Printer, keep: list[Keep], label: str) -> Split:
    """Return the pieces for the bed; the whole where nobody stated the bed and the assumed one cannot be served."""
    try:
        return split_for_bed(whole, printer, keep, f"{label}, printer.bed")
    except GeometryError:
        if "bed" in printer.stated:
            raise
        return Split((whole,))


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


def _room(surface: Surface, turn: Floats, name: str) -> Keep:
    """Return the box round a bore, as the print lies."""
    ends = np.array([np.asarray(surface.origin) + t * np.asarray(surface.axis) for t in surface.extent]) @ turn.T
    return Keep(name, _corner(ends.min(axis=0) - surface.radius), _corner(ends.max(axis=0) + surface.radius))


def _sheet(part: Part, facts: _Facts, printer: Printer, units: Units) -> str:
    lines = [f"TEST-FIT PRINT AS IT IS TO BE PRINTED: {part.name}", ""]
    for words in _says(facts, printer, units):
        lines += wrap(words, _WIDTH, initial_indent="- ", subsequent_indent="  ")
    return "\n".join(lines) + "\n"


def _says(facts: _Facts, printer: Printer, units: Units) -> Iterator[str]:
    pieces, walls = facts.pieces, facts.walls
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
    for number, area in enumerate(facts.hanging, 1):
        if area > MOST_HANGING:
            yield (
                f"Piece {number} hangs over nothing on {fixed(area / 100, 1)} cm2 of its underside: print supports there and "
                "dress the places they leave."
            )
    if printer.hollow is not None:
        yield from _hollow_words(facts, printer.hollow, units)
    if len(pieces) > 1:
        yield f"Print {facts.dowels} dowels, one for each pair of holes, or use bought pins; glue the pieces on a flat plate."
        yield _cut_words(facts.crossed)


def _hollow_words(facts: _Facts, wall: float, units: Units) -> Iterator[str]:
    spared = 1.0 - sum(piece.volume for piece in facts.pieces) / facts.solid
    yield sentence(
        ("Hollow, a wall of ", wall, f" left on every face and round every hole: {fixed(100 * spared, 0)} % lighter."), units
    )
    if facts.opens:
        yield "The hollow opens below, in an as-cast side; ribs part it so that no roof needs support."
    else:
        yield (
            "The side it lies on is machined and stays whole, so the hollow is closed cells that need no support: print it from "
            "filament, never from resin, which would stay in them."
        )


def _cut_words(crossed: tuple[str, ...]) -> str:
    if not crossed:
        return "No cut passes a machined face, a hole or a bore."
    return (
        f"No place for the cut leaves these whole: {', '.join(crossed)}. Dress the joint there flush before the print is tried on "
        "the machine, or have it printed in one piece on a larger printer."
    )
