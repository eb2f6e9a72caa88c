"""The prints of a pattern and its core boxes: STL, 3MF, and what is known of them as text and JSON.

What is checked is what is written. A casting that does not draw gets its draft
list and picture, and no print. Lengths mm; text in the sheet's unit. Knows
nothing of how a pattern is found.
"""

import contextlib
import math
from collections.abc import Iterator
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from export.files.lettering import check_characters, text_outlines
from export.number import Units, fixed, sentence, trimmed
from export.prints.fixture import PLASTIC, SOUND, unfolded
from export.prints.mesh import check_closed, check_independently, in_32_bits, ordered, place_words, print_mesh, stl_bytes
from export.prints.threemf import Named, threemf_bytes
from geom.errors import GeometryError
from geom.fixture.checks import MOST_HANGING, Wall, hanging, thinnest
from geom.fixture.sweep import simplified
from geom.kernel.mesh import Mesh
from geom.pattern.bores import Bore
from geom.pattern.coaxial import steps_of
from geom.pattern.cores import Core
from geom.pattern.draft import FaceDraft
from geom.pattern.halves import Piece
from geom.pattern.leaning import lean_of
from geom.pattern.parting import RISER
from geom.pattern.pattern import Pattern, make_pattern
from geom.rays.body import Body
from geom.rows.records import Words
from geom.standards.foundry import smallest_cored_bore

if TYPE_CHECKING:
    from geom.job import Job

_WIDTH: Final = 100
_TRIES: Final = (0.0, 0.003, 0.006, 0.01, 0.015)
"""mm by which facets may be moved so that the mesh stays closed in 32-bit numbers: slivers go first."""

_SPACING: Final = 8.0
"""mm between the pieces of one 3MF file."""

CAUTIONS: Final = (
    "The foundry decides gating, feeding, risers and what it can pour and core: show it this pattern before it is rammed.",
    "The contraction is a rule of thumb for a bar that shrinks freely; hindered shapes shrink less. Ask the foundry for its own.",
    "Seal, fill and smooth the printed steps along the draw, wax or varnish it, and draw it once from loose sand as a trial.",
    "Printed plastic creeps under ramming and softens above 50 degrees C: support thin walls, keep it out of the sun.",
    "Never pour metal at home on the strength of this sheet; sand, binder and metal need a foundry's training and protection.",
)


def pattern_of(job: "Job", mesh: Mesh | None = None) -> Pattern:
    """Return the pattern of a job's casting.

    Args:
        mesh: the casting's checked one at the printer's chord, where it is made already.

    Raises:
        JobError: the parting plane misses the casting, a core does not lie in it, or the text has no place.
        GeometryError: the casting's facets do not close up.
    """
    asked, part = job.settings.pattern, job.part
    letters = text_outlines(check_characters(asked.text, asked.where["text"]), 1.0) if asked.text else ()
    if mesh is None:
        mesh = print_mesh(part.casting, "casting", job.settings.printer.chord).mesh
    return make_pattern(part, job.settings, mesh, letters)


def laid(body: Body, label: str) -> Mesh:
    """Return the checked mesh of a print, its middle on X 0, Y 0.

    Raises:
        GeometryError: it does not close up once its vertices are 32-bit numbers.
    """
    for most in _TRIES:
        mesh = _on_bed(body if most == 0 else simplified(body, most))
        with contextlib.suppress(GeometryError):
            check_closed(mesh, label, lambda _index: "the print")
            break
    check_closed(mesh, label, lambda _index: "the print")
    check_independently(mesh, label)
    return mesh


def _on_bed(body: Body) -> Mesh:
    mesh = body.mesh()
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    shift = np.array([0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]), low[2]])
    return ordered(unfolded(in_32_bits(Mesh(mesh.vertices - shift, mesh.triangles, mesh.face))))


def side_by_side(named: list[tuple[str, Mesh]]) -> list[Named]:
    """Return meshes in a row along X, none over another."""
    found, at = [], 0.0
    for name, mesh in named:
        low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
        found.append(Named(name, mesh, (round(at - float(low[0]), 3), 0.0, 0.0)))
        at += float(high[0] - low[0]) + _SPACING
    return found


def pattern_prints(found: Pattern, job: "Job") -> dict[str, bytes]:
    """Return an STL of each piece and one 3MF of all; nothing when the casting does not draw."""
    if not found.draws:
        return {}
    meshes = [(piece, laid(piece.body, piece.what)) for piece in found.pieces]
    chord = job.settings.printer.chord
    files = {f"{piece.name}.stl": stl_bytes(mesh, piece.what, chord) for piece, mesh in meshes}
    files["pattern.3mf"] = threemf_bytes(side_by_side([(p.name, m) for p, m in meshes]), f"pattern: {job.part.name}")
    return files


def walls_of(found: Pattern) -> dict[str, Wall]:
    """Return the thinnest wall of each piece by its name."""
    return {piece.name: thinnest(piece.body) for piece in found.pieces}


def too_thin(found: Pattern, walls: dict[str, Wall], nozzle: float) -> tuple[Piece, ...]:
    """Return the pieces with a wall the nozzle cannot lay."""
    return tuple(piece for piece in found.pieces if walls[piece.name].thickness < nozzle)


def thin_words(found: Pattern, job: "Job", walls: dict[str, Wall]) -> Iterator[str]:
    """Yield a line for each piece with a wall the nozzle cannot lay."""
    nozzle = job.settings.printer.nozzle
    for piece in too_thin(found, walls, nozzle):
        yield sentence(
            _even(f"{piece.name}: a wall of ", walls[piece.name].thickness, " is thinner than the nozzle of ", nozzle,
                  " and will not print: thicken it in the model, or use a finer nozzle (printer.nozzle)."),
            job.settings.units,
        )  # fmt: skip


# --- JSON -------------------------------------------------------------------


def pattern_document(found: Pattern, job: "Job", walls: dict[str, Wall]) -> dict[str, Any]:
    """Return what is known of a pattern as one JSON document: mm, degrees, part frame unless said."""
    return {
        "part": job.part.name,
        "draws": found.draws,
        "contraction": [{"metal": s.metal, "per_cent": round(100 * s.share, 4), "why": s.why} for s in found.stages],
        "growth": found.growth,
        "draw": "xyz"[found.along],
        "parting": found.parting.z,
        "parting_assumed": found.parting.assumed,
        "parting_steps": [{"low": list(f.low), "high": list(f.high), "parting": f.z} for f in found.parting.flats],
        "least_draft": found.draft.least,
        "faults": [
            {
                "surface": face.surface,
                "half": "upper" if face.upper else "lower",
                "angle": round(face.angle, 2),
                "short_area": round(face.short, 1),
                "held_area": round(face.held, 1),
                "at": list(part_point(found, face)),
            }
            for face in found.draft.faults
        ],
        "cores": [
            {
                "diameter": 2 * core.bore.radius,
                "length": core.profile[-1][0],
                "lean": round(math.degrees(lean_of(core.bore.axis)), 3) if core.bore.leans else 0.0,
                "volume": core.volume,
                "profile": list(core.profile),
            }
            for core in found.cores
        ],
        "too_thin": [piece.name for piece in too_thin(found, walls, job.settings.printer.nozzle)],
        "pieces": [
            {
                "name": piece.name,
                "what": piece.what,
                "size": [round(b - a, 3) for a, b in zip(*piece.body.box, strict=True)],
                "volume": round(piece.body.volume, 1),
                "thinnest_wall": round(walls[piece.name].thickness, 2) if np.isfinite(walls[piece.name].thickness) else None,
            }
            for piece in found.pieces
        ],
    }


def part_point(found: Pattern, face: FaceDraft) -> tuple[float, float, float]:
    """Return where a fault is, part frame."""
    point = [0.0, 0.0, 0.0]
    for axis, value in zip(found.order, face.at, strict=True):
        point[axis] = round(value, 2)
    return point[0], point[1], point[2]


# --- text -------------------------------------------------------------------


def pattern_text(found: Pattern, job: "Job", walls: dict[str, Wall]) -> str:
    """Return the pattern's sheet as text."""
    units = job.settings.units
    verdict = "the casting draws" if found.draws else "NO PATTERN: the casting does not draw as it is"
    lines = [f"PATTERN: {job.part.name}", "", *_filled(verdict[0].upper() + verdict[1:] + ".")]
    for says in (*size_words(found, units), *parting_words(found, units)):
        lines += _filled(says)
    lines += ["", *(line for words in draft_words(found, job) for line in _filled(words))]
    if found.draws:
        lines += ["", "PIECES", "", *_filled(f"Each is {SOUND}.")]
        for piece in found.pieces:
            lines += _filled(piece_words(piece, walls[piece.name], units))
        lines += [line for words in thin_words(found, job, walls) for line in _filled(words)]
        lines += ["", "CHECK AND USE", ""]
        for words in (*check_words(found, units), *use_words(found)):
            lines += _filled(words)
    lines += ["", "CAUTIONS", "", *(line for words in CAUTIONS for line in _filled(words))]
    return "\n".join(lines) + "\n"


def no_pattern(job: "Job", why: str) -> tuple[dict[str, Any], str]:
    """Return what is known of a pattern that cannot be made, as JSON and as text."""
    text = [f"PATTERN: {job.part.name}", "", *_filled("NO PATTERN: it cannot be made."), *_filled(why)]
    return {"part": job.part.name, "draws": None, "why": why}, "\n".join(text) + "\n"


def _filled(text: str) -> list[str]:
    return wrap(text, _WIDTH, initial_indent="- ", subsequent_indent="  ")


def _even(*words: str | float) -> Words:
    return tuple(word if isinstance(word, str) else round(word, 2) for word in words)


def size_words(found: Pattern, units: Units) -> Iterator[str]:
    """Yield what the print is made larger by, and what that comes to."""
    for stage in found.stages:
        yield f"Contraction {trimmed(fixed(100 * stage.share, 2))} % for {stage.metal}: {stage.why}."
    low, high = found.casting.box
    longest = max(b - a for a, b in zip(low, high, strict=True))
    yield sentence(
        _even(
            "The casting's longest side of ", longest, " is ", longest * found.growth, f" on the print ({found.growth:.5f} times)."
        ),
        units,
    )


def parting_words(found: Pattern, units: Units) -> Iterator[str]:
    """Yield where the pattern parts, and why there."""
    parting = found.parting
    why = "; the job states no casting.parting, so the casting's widest section is taken" if parting.assumed else ""
    yield sentence(
        _even(f"Drawn along {'XYZ'[found.along]}, parted at the part's {'XYZ'[found.along]} ", parting.z, f"{why}."), units
    )
    x, y = ("XYZ"[axis] for axis in found.order[:2])
    for flat in parting.flats:
        (a, b), (c, d) = zip(flat.low, flat.high, strict=True)
        yield sentence(
            _even(
                f"Stepped: parted at {'XYZ'[found.along]} ", flat.z, f" over {x} ", a, " to ", b, f", {y} ", c, " to ", d,
                f"; the risers lean outwards by {RISER:g} degrees (common practice, no source).",
            ),
            units,
        )  # fmt: skip


def draft_words(found: Pattern, job: "Job") -> Iterator[str]:
    """Yield what the draft check found: a line for each fault, numbered as in the picture."""
    asked = trimmed(fixed(found.draft.least, 2))
    least = f"{asked} degree{'' if asked == '1' else 's'}"
    walls = [face for face in found.draft.faces if abs(face.angle) < 45.0]
    if found.draws:
        steepest = min((face.angle for face in walls), default=90.0)
        yield f"Draft: faces along the draw have at least {fixed(steepest, 2)} degrees ({least} asked for); nothing is undercut."
    for number, face in enumerate(found.draft.faults, 1):
        where = place_words(job.part.casting, face.surface)
        half = "upper" if face.upper else "lower"
        if face.held > 0:
            what = f"undercut by {fixed(abs(face.angle), 2)} degrees over {fixed(face.held, 0)} mm2"
            if face.short > 0:
                what += f", too little draft on {fixed(face.short, 0)} mm2 more"
        else:
            what = f"{fixed(face.angle, 2)} degrees of draft over {fixed(face.short, 0)} mm2, less than {least}"
        yield f"{number}: {where}, {half} half: {what}."
    if not found.draws:
        yield (
            "Give these faces draft in the model, part the casting elsewhere (casting.parting), draw it along another axis "
            "(pattern.draw), or fill the hollow and machine it."
        )
    for one in found.uncored:
        yield f"The bore of {fixed(2 * one.bore.radius, 1)} mm is not cored: {one.why}."


def piece_words(piece: Piece, wall: Wall, units: Units) -> str:
    """Return one piece in a line: file, what it is, size, volume, mass, thinnest wall."""
    x, y, z = (round(b - a, 2) for a, b in zip(*piece.body.box, strict=True))
    mass = piece.body.volume * PLASTIC[1] / 1e6
    deep = sentence(_even("; dowel holes ", piece.deep, " deep"), units) if piece.deep else ""
    area = hanging(piece.body)
    under = f"; {fixed(area / 100, 1)} cm2 hang over nothing: print supports there" if area > MOST_HANGING else ""
    thin = sentence(_even("; thinnest wall ", wall.thickness), units) if np.isfinite(wall.thickness) else ""
    return (
        f"{piece.name}.stl: {piece.what}{deep}; {sentence((x, ' by ', y, ' by ', z), units)}; "
        f"{fixed(piece.body.volume / 1000, 1)} cm3, {fixed(mass, 3)} kg printed solid in {PLASTIC[0]}{thin}{under}."
    )


def check_words(found: Pattern, units: Units) -> Iterator[str]:
    """Yield the sizes to put calipers on."""
    low, high = found.whole.box
    x, y, z = (b - a for a, b in zip(low, high, strict=True))
    yield sentence(_even("Pattern put together, with prints: ", x, " by ", y, " by ", z, "."), units)
    for core in found.cores:
        yield sentence(_even(*_core_words(core)), units)
        if 2 * core.bore.radius / found.growth < smallest_cored_bore():
            yield sentence(
                ("Foundries rather cast a bore under ", smallest_cored_bore(), " solid: ask whether this one is worth its core."),
                units,
            )


def _core_words(core: Core) -> Words:
    bore, first, last = core.bore, core.first, core.last
    stepped = "stepped " if bore.is_stepped else ""
    lean = f"leaning by {math.degrees(lean_of(bore.axis)):.1f} degrees"
    way = "upright" if bore.upright else lean if bore.leans else "level"
    kind = f"{'blind ' if bore.blind else ''}{stepped}{way} core: "
    size: Words = (kind, *step_words(bore))
    if last is None:
        prints: Words = ("; print ", first.length, " long, the core's ", first.clearance, " smaller at each side")
    else:
        prints = ("; prints ", first.length, " and ", last.length, " long, the core's ", first.clearance)
        prints = (*prints, " smaller at each side and ", last.clearance, " short")
    return (*size, *prints, f"; core {core.volume / 1000:.1f} cm3 (print sizes: common practice, no source).")


def step_words(bore: Bore) -> Words:
    """Return a bore's diameters, each over its length, in order along its axis."""
    said: list[str | float] = []
    for (t0, r0), (t1, r1) in steps_of(bore.profile):
        said += [", then " if said else "", 2 * r0]
        said += [" to ", 2 * r1] if abs(r1 - r0) > 0.005 else []
        said += [" over ", t1 - t0]
    return tuple(said)


def use_words(found: Pattern) -> Iterator[str]:
    """Yield how to print and use it."""
    yield "Print every piece as it lies in the file, scale 100 %, flat side down; the files are in millimetres."
    if any("doweled" in piece.what for piece in found.pieces):
        yield "Glue the numbered pieces together on their dowels, on a flat plate, before anything else."
    if found.spots and found.parting.flats:
        yield "Glue the dowels into the upper part; the lower part goes on them freely."
    elif found.spots:
        yield "Glue the dowels into the upper part; the lower part goes on them freely and lies flat on the moulding board."
    yield "Let a nut or a screw plate into the parted face, over the centre of mass, to rap and draw it by."
    if found.parting.flats:
        yield (
            "Lay the lower part, or the pattern where it is in one piece, on the follow board with its steps in the board's; lay "
            "boards of the same heights round it to the flask's edge, ram the lower half, turn it over and go on as usual."
        )
    if found.cores:
        yield "Make the cores first, a page of their own each, and try them in the prints before the mould is closed."
    upright = [core.bore for core in found.cores if core.bore.upright]
    standing = next((bore for bore in upright if bore.blind), next((bore for bore in upright if bore.mouth != bore.far), None))
    if standing is not None:
        side = "lower" if standing.axis[2] > 0 else "upper"
        which = "blind" if standing.blind else "stepped"
        yield f"The {side} half of the pattern is moulded in the drag: the {which} core stands on its print there."
