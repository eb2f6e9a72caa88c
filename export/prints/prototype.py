"""The test-fit prints of a job: two STL files and a sheet to check the prints by.

Knows what a print of the finished part and of the casting must say about
itself: unit, size, volume, mass, what to put the calipers on. Lengths mm, part
frame; the sheet adds inches for an inch job. Meshing and its checks are
`export.prints.mesh`'s.
"""

import math
import re
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final

from export.number import Units, fixed, length
from export.prints.mesh import PrintMesh, place_words, print_mesh, stl_bytes
from geom.model.part import Part, PartHole
from geom.space import Vec3, along, dot, sub
from geom.standards.alloy import alloy
from geom.tolerance import PRINT_CHORD, SAME_AXIS, SAME_DIRECTION

FINISHED_STL: Final = "finished.stl"
CASTING_STL: Final = "casting.stl"
SHEET: Final = "prototype.txt"

_PLASTIC: Final = ("PLA", 1.24)
"""g/cm3; common practice, no source."""

_POUND: Final = 0.45359237
"""kg, exact (international yard and pound agreement, 1959; from memory)."""

_DISTANCES = 4
"""Centre distances given a sheet: enough to catch a scale or skew error."""

_CAUTIONS = (
    "A print checks fit and reach on the machine it belongs to; it does not show strength. Never run a machine on one.",
    "casting.stl is the casting at its drawn size, without the alloy's contraction: it is no pattern to mould from.",
    "Printers pull holes in: expect them smaller than given, and ream or scrape the print, not the drawing.",
    "Wear eye protection when drilling or scraping a print; heat, fumes and dust as the plastic's maker says.",
)


def prototype_files(
    part: Part, chord: float = PRINT_CHORD, units: Units = "mm", pair: tuple[PrintMesh, PrintMesh] | None = None
) -> dict[str, bytes]:
    """Return the STL of the finished part and of the casting, and the sheet that goes with them.

    Args:
        chord: greatest distance between a facet and the true surface, mm.
        units: what the sheet shows beside mm.
        pair: the meshes when they are made already (see `prints`).

    Raises:
        GeometryError: a mesh fails a check; nothing is returned for either.
    """
    finished, casting = pair or prints(part, chord)
    return {
        FINISHED_STL: _stl(finished),
        CASTING_STL: _stl(casting),
        SHEET: _sheet(part, (finished, casting), units).encode(),
    }


def _stl(made: PrintMesh) -> bytes:
    return stl_bytes(made.mesh, made.label, made.chord)


def prints(part: Part, chord: float = PRINT_CHORD) -> tuple[PrintMesh, PrintMesh]:
    """Return the checked meshes of the finished part and of the casting."""
    return (
        print_mesh(part.finished, "finished part", chord, lambda index: face_words(part, index)),
        print_mesh(part.casting, "casting", chord),
    )


def face_words(part: Part, index: int) -> str:
    """Return what a sheet calls a surface of the finished part: its face, its hole, or where it is."""
    named = [(hole.name, hole.surfaces) for hole in part.holes] + [(face.name, face.surfaces) for face in part.faces]
    return next((repr(name) for name, surfaces in named if index in surfaces), place_words(part.finished, index))


# --- the sheet --------------------------------------------------------------


def _sheet(part: Part, pair: tuple[PrintMesh, PrintMesh], units: Units) -> str:
    lines = [
        f"TEST-FIT PRINTS: {part.name}",
        "",
        "The STL files are in millimetres; STL itself carries no unit, so tell the printer's program mm, scale 100 %.",
        *(["The job is in inches; sizes below are in both, the files in millimetres only."] if units == "inch" else []),
        "",
        *_columns(_print_rows(part, pair, units)),
        "",
        "CHECK THE PRINT WITH CALIPERS (size on the drawing, and the least the facets leave of a hole)",
        "",
        *_columns(list(_check_rows(part, pair, units))),
        "",
        "CAUTIONS",
        "",
        *(f"- {caution}" for caution in _CAUTIONS),
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _print_rows(part: Part, pair: tuple[PrintMesh, PrintMesh], units: Units) -> list[tuple[str, ...]]:
    metal = alloy(part.alloy, part.name)
    plastic, density = _PLASTIC
    return [
        ("", *(mesh.label for mesh in pair)),
        ("file", FINISHED_STL, CASTING_STL),
        *((f"size along {axis}", *(_both(mesh.size[i], units) for mesh in pair)) for i, axis in enumerate("XYZ")),
        ("volume of the model", *(_volume(mesh.solid_volume) for mesh in pair)),
        ("volume of the print", *(_volume(mesh.volume) for mesh in pair)),
        ("they may differ by", *(_volume(mesh.volume_bound) for mesh in pair)),
        ("chord error asked for", *(f"{fixed(mesh.chord, 3)} mm" for mesh in pair)),
        ("chord error measured", *(f"{fixed(mesh.worst, 3)} mm" for mesh in pair)),
        ("triangles", *(str(len(mesh.mesh.triangles)) for mesh in pair)),
        (f"mass in {metal.name}", *(_mass(mesh.solid_volume * metal.density, units) for mesh in pair)),
        (f"printed solid, {plastic} {density} g/cm3", *(_mass(mesh.volume * density, units) for mesh in pair)),
    ]


def _check_rows(part: Part, pair: tuple[PrintMesh, PrintMesh], units: Units) -> Iterator[tuple[str, ...]]:
    finished, casting = pair
    for mesh in (finished, casting):
        for i, axis in enumerate("XYZ"):
            yield (f"{mesh.label}, overall {axis}", _both(mesh.size[i], units))
    for name, diameter, surfaces in _bores(part):
        least = diameter - 2 * max(finished.found[index] for index in surfaces)
        yield (f"{name}, diameter", _both(diameter, units), f"least {_both(least, units)}")
    for a, b in _pairs(part.holes):
        yield (f"{a.name} to {b.name}, centres", _both(_apart(a, b), units))


def _bores(part: Part) -> Iterator[tuple[str, float, Sequence[int]]]:
    """Yield name, diameter and surfaces of what the inside jaws of a caliper enter: holes, their counterbores, machined bores."""
    for hole in sorted(part.holes, key=_in_turn):
        yield hole.name, hole.diameter, hole.surfaces
        if hole.counterbore is not None:
            yield f"{hole.name} counterbore", hole.counterbore.diameter, hole.surfaces
    for face in part.machined:
        if face.kind == "cylinder" and face.hollow and face.hole is None:
            yield face.name, 2 * face.radius, face.surfaces


def _in_turn(hole: PartHole) -> tuple[tuple[int, str], ...]:
    """Return what puts "hole 10" after "hole 9"."""
    return tuple((int(piece), "") if piece.isdecimal() else (-1, piece) for piece in re.split(r"(\d+)", hole.name))


def _pairs(holes: Sequence[PartHole]) -> list[tuple[PartHole, PartHole]]:
    """Return neighbours in turn that point the same way on different axes, those of one size first."""
    parallel = (pair for pair in pairwise(sorted(holes, key=_in_turn)) if dot(pair[0].axis, pair[1].axis) > 1 - SAME_DIRECTION)
    apart = [(a, b) for a, b in parallel if _apart(a, b) > SAME_AXIS]
    return sorted(apart, key=lambda pair: abs(pair[0].diameter - pair[1].diameter) > SAME_AXIS)[:_DISTANCES]


def _apart(a: PartHole, b: PartHole) -> float:
    """Return the distance between two parallel axes, mm."""
    between: Vec3 = sub(b.centre, a.centre)
    rise = along(b.centre, a.centre, a.axis)
    return math.sqrt(max(dot(between, between) - rise * rise, 0.0))


# --- figures and columns ----------------------------------------------------


def _both(value: float, units: Units) -> str:
    text = f"{fixed(value, 2)} mm"
    return f"{text} = {length(value, 'inch', 3)} in" if units == "inch" else text


def _volume(value: float) -> str:
    return f"{fixed(value / 1000, 2)} cm3"


def _mass(milligrams: float, units: Units) -> str:
    """Return a mass; mm3 times g/cm3 is milligrams."""
    kilograms = milligrams / 1e6
    text = f"{fixed(kilograms, 3)} kg"
    return f"{text} = {fixed(kilograms / _POUND, 3)} lb" if units == "inch" else text


def _columns(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Return rows of text with the first column flush left and the others flush right."""
    widths = [max(len(row[i]) for row in rows if i < len(row)) for i in range(max(map(len, rows)))]
    return ["   ".join(t.rjust(w) if i else t.ljust(w) for i, (t, w) in enumerate(zip(row, widths, strict=False))) for row in rows]
