"""Where the finished part lies in the casting as received: a text to act on, in the sheet's units.

Reads what was placed and decides nothing but how it is said.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from textwrap import fill
from typing import TYPE_CHECKING, Final

from export.number import Units, fixed, length, sentence, size
from export.reports.hole import UNIT_NAMES
from export.tables.text import aligned
from geom.datum.zero import Zero
from geom.errors import counted
from geom.place.ask import Ask
from geom.place.castings import Placed, ranking
from geom.place.placement import FaceTake, Placement
from geom.place.stages import UNFELT
from geom.place.words import of_100
from geom.rows.words import About, Area, Coordinate, Note, Words
from geom.settings.place import Freedom
from geom.space import Vec3
from geom.stock.report import ENOUGH

if TYPE_CHECKING:
    from geom.job import Job

_PLACES: Final[Mapping[str, int]] = {"mm": 2, "inch": 3}
_WIDTH: Final = 100
_LIGHT: Final = 0.01
"""A binding point that carries less of the least margin than this is not printed."""


_NEAR: Final = "the longest step"
"""What a certificate says of a place that was only compared with those near it."""


def place_text(placed: Sequence[Placed], job: "Job", zero: Zero) -> str:
    """Return the castings best first, then each in full; ends in a line break."""
    units = job.settings.units
    lines = [f"{job.part.name}, {job.part.alloy}, {UNIT_NAMES[units]}: the finished part in the casting as received", ""]
    if len(placed) > 1:
        lines += [_castings_table(placed, units), ""]
    for one in placed:
        lines += [*_casting_lines(one, zero, units, job.settings.placement.hold), ""]
    return "\n".join(lines[:-1]) + "\n"


def _castings_table(placed: Sequence[Placed], units: Units) -> str:
    rows = [
        (
            str(r.rank),
            r.placement.name,
            r.placement.verdict,
            _length(r.placement.thinnest.take_min, units),
            _between(r.placement.odds.metal_low, r.placement.odds.metal_high, units),
            _length(r.placement.least_margin, units),
            place_sentence(r.reason, units),
        )
        for r in ranking(placed)
    ]
    return aligned(("rank", "casting", "verdict", "least metal", "in 95 of 100", "over required", "why"), rows, "lllrrrl")


def _between(low: float, high: float, units: Units) -> str:
    return f"{_length(low, units)} to {_length(high, units)}"


def _casting_lines(placed: Placed, zero: Zero, units: Units, hold: Sequence[Freedom]) -> Iterator[str]:
    found, words = placed.placement, placed.instructions(zero)
    yield casting_heading(placed)
    yield ""
    summary = place_sentence(words.summary, units)
    yield from _wrapped([f"{summary[0].upper()}{summary[1:]}."])
    yield from _wrapped([_sure(found, units)])
    yield ""
    yield _faces_table(found.faces, units)
    yield ""
    yield from _wrapped(_short_lines(found.faces, units))
    yield from _wrapped(_thin_line(found.faces, units))
    yield from _listed("At the machine:", [*words.level, *words.turn, *words.zero], units)
    yield from _wrapped([_move(found, units), _certificate(found, units)])
    yield from _listed("What would help:", found.advice, units)
    if placed.asks and placed.measured:
        yield from _wrapped([f"{counted(len(placed.asks), 'more reading')} would make this surer: ask with --ask."])
    if placed.open_still:
        yield from _wrapped([f"The scan leaves {counted(len(placed.open_still), 'question')} open: ask with --ask."])
    yield from _wrapped(_held_line(found, hold, units))
    yield from _wrapped(_ways_lines(placed, units))
    yield from _wrapped(f"Note: {note_sentence(note, units).removesuffix('.')}." for note in placed.notes)


def casting_heading(placed: Placed) -> str:
    name = f"Casting {placed.name}" if placed.name else "Casting"
    readings = placed.readings
    if not placed.measured:
        return f"{name} as drawn: nothing has been measured (put readings into the folder readings)"
    kinds = (
        (len(readings.touches), "touch", "touches"),
        (len(readings.heights), "height"),
        (len(readings.thicknesses), "thickness", "thicknesses"),
        (len(readings.low_spots), "low spot"),
        (len(readings.cuts), "cut"),
    )
    said = [counted(count, *words) for count, *words in kinds if count]
    return f"{name}: {', '.join([*said, *(['a scan'] if readings.scan else [])])}"


def _sure(found: Placement, units: Units) -> str:
    """Say what is expected at the thinnest, and between what the thinnest place of all lies, which chance may move elsewhere."""
    thin, unit = found.thinnest, UNIT_NAMES[units]
    return (
        f"Expected where metal is thinnest: {_length(thin.take_min, units)} {unit} on {thin.name}. No face is sure to its last "
        f"figure, so another place may turn out thinner: the thinnest of all keeps "
        f"{_between(found.odds.metal_low, found.odds.metal_high, units)} {unit} in 95 of 100 such castings, that is "
        f"{_between(*found.margin_95, units)} {unit} over what is required"
        f"{'' if found.cleans_up else f'; metal is missing somewhere in {of_100(found.odds.chance_missing)}'}."
    )


def _faces_table(faces: Sequence[FaceTake], units: Units) -> str:
    heading = ("face", "take least", "take most", "required", "margin", "+/- 95 %", "bearing", "state", "thinnest at")
    return aligned(heading, [_face_line(face, units) for face in faces], "lrrrrrrll")


def _face_line(face: FaceTake, units: Units) -> tuple[str, ...]:
    if not math.isfinite(face.take_min):
        return (face.name, "", "", _length(face.required, units), "", "", "", face.state, "")
    return (
        face.name,
        *(_length(v, units) for v in (face.take_min, face.take_max, face.required, face.margin, 1.96 * face.margin_sigma)),
        _share(face.bearing),
        face.state,
        _place(face.thinnest, units),
    )


def _share(value: float) -> str:
    """Return a bearing as per cent; not quite all is never printed as all."""
    if 0.999 < value < 1.0:
        return "99.9 %"
    return f"{fixed(100 * value, 1 if 0.0 < value < 1.0 else 0)} %"


def _short_lines(faces: Sequence[FaceTake], units: Units) -> Iterator[str]:
    unit = UNIT_NAMES[units]
    for face in faces:
        if face.state not in ("short", "forgiven"):
            continue
        if not math.isfinite(face.take_min):
            yield f"NOT SEEN: the scan shows nothing of {face.name}, so nothing says that it cleans up."
            continue
        word = "SHORT" if face.state == "short" else "Forgiven"
        at = "" if face.bearing <= 0 else f" round {_place(face.short_at or face.thinnest, units)}"
        if face.short_depth > 0:
            where = "everywhere" if face.bearing <= 0 else f"over {sentence((Area(face.short_area),), units)}"
            what = f"lacks up to {_length(face.short_depth, units)} {unit} of metal {where}"
        else:
            what = f"keeps {_length(face.take_min, units)} {unit} where {_length(face.required, units)} {unit} are asked for"
        bears = f"it bears on {_share(face.bearing)} of its area, and {_share(face.bearing_needed)} is asked for"
        yield f"{word}: {face.name} {what}{at}; {bears}."


def _thin_line(faces: Sequence[FaceTake], units: Units) -> Iterator[str]:
    """Say what "thin" means, and from where on a face is under its requirement."""
    if any(face.state == "thin" for face in faces):
        least = f"{size(ENOUGH, units, 5)} {UNIT_NAMES[units]}"
        yield f"thin: more than {least} under an allowance that stands by default, so the face cleans up only if the skin is sound."


def _move(found: Placement, units: Units) -> str:
    x, y, z = (_length(v, units) for v in found.shift)
    a, b, c = (fixed(v, 3) for v in found.turn)
    return (
        f"The part moves X {x}, Y {y}, Z {z} {UNIT_NAMES[units]} and turns {a}, {b}, {c} degrees about X, Y, Z of the drawing, "
        "against the drawn casting."
    )


def _certificate(found: Placement, units: Units) -> str:
    weights: dict[str, float] = {}
    for point in found.certificate.binding:
        weights[point.face] = weights.get(point.face, 0.0) + point.weight
    named = [f"{name} ({fixed(100 * w, 0)} %)" for name, w in weights.items() if w >= _LIGHT]
    if not named:
        return "No face holds the place: all have more than enough."
    others = [by for by in found.certificate.held_by if by != _NEAR]
    held = f", and {', '.join(others)}" if others else ""
    place = "no place near it" if _NEAR in found.certificate.held_by else "no other place"
    lacks = {stage.name: stage.value for stage in found.stages}.get("shortfall")
    if lacks is not None:
        return (
            f"Held where it is by {', '.join(named)}{held}: {place} leaves the thinnest face more than "
            f"{_length(UNFELT, units)} {UNIT_NAMES[units]} better off, and of those that spare it as much none lacks less: "
            f"{_length(lacks, units)} {UNIT_NAMES[units]} under what is required, all faces together."
        )
    return f"Held where it is by {', '.join(named)}{held}: {place} has a better least margin."


_FREEDOMS: Final[Mapping[Freedom, str]] = {
    "x": "shift along X",
    "y": "shift along Y",
    "z": "shift along Z",
    "rx": "tilt about X",
    "ry": "tilt about Y",
    "rz": "turn about Z",
}


def _held_line(found: Placement, hold: Sequence[Freedom], units: Units) -> Iterator[str]:
    """Say what letting go of held freedoms would win, and the move it would take."""
    if not hold:
        return
    held, named = found.held, ", ".join(_FREEDOMS[name] for name in hold)
    if held is None:
        yield f"Held as drawn: {named}. Letting go would win nothing."
        return
    gain, least, now = (_length(v, units) for v in (held.gain, held.least_margin, found.least_margin))
    over = place_sentence((math.radians(math.hypot(*held.turn)) * 100.0, " over ", About(100.0)), units)
    a, b, c = (fixed(v, 2) for v in held.turn)
    x, y, z = (_length(v, units) for v in held.shift)
    yield (
        f"Held as drawn: {named}. Letting go would win {gain} {UNIT_NAMES[units]}: {least} instead of {now} over what is required "
        f"at worst. The part would then be turned {a}, {b}, {c} degrees about X, Y, Z, that is {over}, and shifted X {x}, Y {y}, "
        f"Z {z}."
    )


def _ways_lines(placed: Placed, units: Units) -> Iterator[str]:
    """Say how the casting fares the other ways round that the scan may lie."""
    if not placed.other_ways:
        return
    yield f"Which way round the scan lies is open. As taken, {_fares(placed.placement, units)}."
    for way in placed.other_ways:
        yield f"{way.words[0].upper()}{way.words[1:]}, {_fares(way.placement, units)}."
    if any(way.placement.cleans_up != placed.placement.cleans_up for way in placed.other_ways):
        yield "The verdict depends on it: settle which way round before you cut."


def _fares(found: Placement, units: Units) -> str:
    least = found.least_margin
    against = f"{_length(abs(least), units)} {UNIT_NAMES[units]} {'under' if least < 0 else 'over'} what is required at worst"
    return f"the casting {'cleans up' if found.cleans_up else 'is short'}, {against}"


def _listed(heading: str, lines: Sequence[Words], units: Units) -> Iterator[str]:
    if lines:
        yield heading
        yield from (
            fill(f"- {place_sentence(words, units)}", _WIDTH, initial_indent="  ", subsequent_indent="    ") for words in lines
        )


def _wrapped(lines: Iterable[str]) -> Iterator[str]:
    return (fill(line, _WIDTH, subsequent_indent="  ") for line in lines)


# --- what to measure next -------------------------------------------------------


def ask_text(placed: Sequence[Placed], job: "Job") -> str:
    """Return the few readings that would tighten each verdict most; ends in a line break."""
    units = job.settings.units
    lines: list[str] = []
    for one in placed:
        name = f"casting {one.name}" if one.name else "the casting"
        if one.received.scan is not None:
            lines += [*_scan_lines(one, job, name), ""]
            continue
        if not one.asks:
            lines += [f"{job.part.name}: no single reading would make the verdict on {name} much surer.", ""]
            continue
        lines += [f"{job.part.name}: what to measure next on {name}, {UNIT_NAMES[units]}, places on the drawing", ""]
        lines += [aligned(_ASKED, [_ask_line(i, ask, units) for i, ask in enumerate(one.asks, 1)], "rlllrrr"), ""]
    if any(one.asks for one in placed):
        lines += _wrapped([_EXPECTED, _WIDTHS])
    return "\n".join(lines) + "\n"


def _scan_lines(placed: Placed, job: "Job", name: str) -> Iterator[str]:
    """Say what a scan left open, or that nothing is."""
    if placed.open_still:
        yield from _listed(
            f"{job.part.name}: what the scan of {name} leaves open, places on the drawing", placed.open_still, job.settings.units
        )
        return
    yield from _wrapped(
        [
            f"{job.part.name}: the scan shows every machined face of {name}; no touch would tighten the verdict, only a scanner "
            f"that is surer than {_length(placed.received.scan_sigma, job.settings.units)} {UNIT_NAMES[job.settings.units]}."
        ]
    )


_EXPECTED: Final = (
    "Expected: what the tool should read, for a touch how far the skin is off the drawn one; +/- holds 95 times in 100."
)
_WIDTHS: Final = (
    "95 % width: of the least margin with this reading and those above it. Keep off the parting line, feeder stubs and edges."
)
_ASKED: Final = ("", "reading", "on", "at X Y Z", "expected", "+/-", "95 % width")


def _ask_line(number: int, ask: Ask, units: Units) -> tuple[str, ...]:
    faces = ask.faces[0] if len(set(ask.faces)) == 1 else " to ".join(ask.faces)
    width = f"{_length(ask.before, units)} -> {_length(ask.after, units)}"
    expected, sure = _length(ask.expected, units), _length(1.96 * ask.expected_sigma, units)
    return (str(number), ask.kind, faces, _place(ask.at, units), expected, sure, width)


def place_sentence(words: Words, units: Units) -> str:
    """Return words with their lengths to the report's figures."""
    known = (str, About, Area, Coordinate)
    return sentence((w if isinstance(w, known) else _said(w, units) for w in words), units)


def note_sentence(note: Note, units: Units) -> str:
    """Return a note with its lengths to as many decimals as the report's tables."""
    known = (str, About, Area, Coordinate)
    return sentence((w if isinstance(w, known) else f"{_length(w, units)} {UNIT_NAMES[units]}" for w in note), units)


def _said(value: float, units: Units) -> str:
    return f"{size(value, units, _PLACES[units])} {UNIT_NAMES[units]}"


def _length(value: float, units: Units) -> str:
    return length(value, units, _PLACES[units]) if math.isfinite(value) else ""


def _place(point: Vec3, units: Units) -> str:
    return " ".join(length(c, units, 1 if units == "mm" else 2) for c in point)
