"""Stock on every machined face: a text to decide by, and JSON.

Text in the sheet's units; JSON always mm, degrees, part frame. Reads the
report and the verdict, decides nothing but how they are said.
"""

from collections.abc import Iterator, Mapping, Sequence
from textwrap import fill
from typing import TYPE_CHECKING, Any, Final

from export.number import Units, fixed, length
from export.reports.hole import UNIT_NAMES, direction_words, exact, exact_point
from export.tables.text import aligned
from geom.model.lookup import listed
from geom.model.part import PartFace
from geom.settings.records import Settings
from geom.space import Vec3
from geom.standards.table import table
from geom.stock.report import FaceStock, StockReport
from geom.stock.required import Need
from geom.stock.verdict import Shortfall, Verdict, verdict

if TYPE_CHECKING:
    from geom.job import Job

_PLACES: Final[Mapping[str, int]] = {"mm": 2, "inch": 3}
_KIND: Final = {"plane": "plane", "cylinder": "cylinder", "cone": "cone"}
_WIDTH: Final = 100
"""Columns a paragraph is broken at."""

_POUND: Final = 0.45359237
"""kg, exact (international yard and pound agreement, 1959; from memory)."""

_CUBIC_INCH: Final = 25.4**3


# --- JSON -------------------------------------------------------------------


def stock_document(report: StockReport, job: "Job") -> dict[str, Any]:
    """Return the stock as a JSON document: mm, mm3, kg, part frame."""
    found = verdict(report, job.needs)
    return {
        "part": job.part.name,
        "alloy": job.part.alloy,
        "verdict": "enough" if found.is_enough else "short",
        "short": [_shortfall_entry(one) for one in found.short],
        "thin": [_shortfall_entry(one) for one in found.thin],
        "faces": [_face_entry(face, job.needs[face.name]) for face in report.faces],
        "as_cast": [_cast_entry(face) for face in report.as_cast],
        "swarf_volume": exact(report.swarf_volume),
        "shortage_volume": exact(report.shortage_volume),
        "volume_error": exact(report.volume_error),
        "swarf_mass": exact(report.swarf_mass),
        "casting_volume": exact(report.casting_volume),
        "part_volume": exact(report.part_volume),
        "casting_mass": exact(report.casting_mass),
        "part_mass": exact(report.part_mass),
        "edge_band": exact(report.band),
        "method": report.method,
        "notes": list(job.part.notes),
        "assumed": [{"key": a.key, "value": a.value, "source": a.source} for a in job.settings.assumed],
    }


def _face_entry(face: FaceStock, need: Need) -> dict[str, Any]:
    return {
        "name": face.name,
        "kind": _KIND.get(face.kind, "other"),
        "normal": None if face.normal is None else exact_point(face.normal),
        "centroid": exact_point(face.centroid),
        "area": exact(face.area),
        "stock": {"min": exact(face.stock.min), "mean": exact(face.stock.mean), "max": exact(face.stock.max)},
        "required": exact(face.required),
        "short_fraction": exact(face.short_fraction),
        "below_fraction": exact(face.below_fraction),
        "share_error": exact(face.share_error),
        "least_inside": exact(face.least_inside),
        "least_in_band": None if face.least_in_band is None else exact(face.least_in_band),
        "thinnest": exact_point(face.thinnest),
        "from_solid": exact(face.from_solid),
        "bearing": exact(need.bearing),
        "required_by": need.source,
    }


def _cast_entry(face: PartFace) -> dict[str, Any]:
    return {
        "name": face.name,
        "kind": _KIND.get(face.kind, "other"),
        "normal": None if face.normal is None else exact_point(face.normal),
        "centroid": exact_point(face.centroid),
        "area": exact(face.area),
    }


def _shortfall_entry(one: Shortfall) -> dict[str, Any]:
    return {
        "face": one.face,
        "least": exact(one.least),
        "needed": exact(one.needed),
        "missing": exact(one.missing),
        "share": exact(one.share),
        "place": exact_point(one.place),
    }


# --- text -------------------------------------------------------------------


def stock_text(report: StockReport, job: "Job") -> str:
    """Return the stock in the sheet's units, ending in a line break."""
    units = job.settings.units
    lines = [f"Stock of {job.part.name}, {job.part.alloy}, {UNIT_NAMES[units]}, part frame", ""]
    lines += [_faces_table(report.faces, units)] if report.faces else ["No face is machined: the finished part is the casting."]
    lines += ["", *_verdict_lines(verdict(report, job.needs), units), "", *_metal_lines(report, units), ""]
    lines += [fill(note, _WIDTH, subsequent_indent="  ") for note in _notes(report, job, units)]
    return "\n".join(lines) + "\n"


def _faces_table(faces: Sequence[FaceStock], units: Units) -> str:
    heading = ("face", "kind", "least", "mean", "most", "at edge", "required", "wane", "thinnest at", "normal")
    return aligned(heading, [_face_line(face, units) for face in faces], "llrrrrrrll")


def _face_line(face: FaceStock, units: Units) -> tuple[str, ...]:
    inside, edge = face.least_inside, face.least_in_band
    return (
        face.name,
        face.kind,
        *(_stock(value, units) for value in (inside, face.stock.mean, face.stock.max)),
        "" if edge is None else _stock(edge, units),
        _stock(face.required, units),
        _share(face.short_fraction),
        _place(face.thinnest, units),
        "" if face.normal is None else direction_words(face.normal),
    )


def _verdict_lines(found: Verdict, units: Units) -> Iterator[str]:
    unit = UNIT_NAMES[units]
    for one in found.short:
        where = f"at its thinnest, {_place(one.place, units)}"
        over = f"over {_share(one.share)} of its area"
        if one.needed > 0:
            wants = f"{_stock(one.needed, units)} {unit} are asked for: {_stock(one.missing, units)} {unit} missing {over}"
            yield f"SHORT: {one.face} has {_stock(one.least, units)} {unit} {where}; {wants}."
        else:
            yield f"SHORT: {one.face} lacks {_stock(one.missing, units)} {unit} of metal {where}, and has none {over}."
    if not found.short:
        yield "Every machined face has metal to clean up."
    if found.thin:
        names = listed(one.face for one in found.thin).replace('"', "")
        yield f"Thin, below the machining allowance: {names}. Draft thins faces near their edges; decide before you pour."


def _metal_lines(report: StockReport, units: Units) -> Iterator[str]:
    rows = [
        ("casting", _volume(report.casting_volume, units), _mass(report.casting_mass, units)),
        ("finished part", _volume(report.part_volume, units), _mass(report.part_mass, units)),
        ("swarf", _volume(report.swarf_volume, units), _mass(report.swarf_mass, units)),
    ]
    if report.shortage_volume > 0:
        rows.append(("shortage", _volume(report.shortage_volume, units), ""))
    yield aligned(("", "volume", "mass"), rows, "lrr")


def _notes(report: StockReport, job: "Job", units: Units) -> Iterator[str]:
    band = f"{_stock(report.band, units)} {UNIT_NAMES[units]}"
    yield f"Least: thinnest stock more than {band} from the face's edge; at edge: within it. Wane: share of the face with no metal."
    yield f"Required: {_required_words(job.settings, job.needs)}"
    yield f"Method: {report.method}."
    yield from job.part.notes


def _required_words(settings: Settings, needs: Mapping[str, Need]) -> str:
    own = listed(name for name, need in needs.items() if need.source == "face").replace('"', "")
    grade = settings.casting.allowance_grade
    stated = "as the job names it" if settings.casting.allowance_stated else "assumed, the job names none"
    source = table("machining_allowance")
    rest = f"machining allowance grade RMAG {grade} ({stated}) of {source.cited}, {source.certainty}."
    return f"{own} by the job; else {rest}" if own else rest


# --- figures ----------------------------------------------------------------


def _stock(value: float, units: Units) -> str:
    return length(value, units, _PLACES[units])


def _share(value: float) -> str:
    """Return a share as per cent; a trace is never printed as none."""
    if 0 < value < 0.0005:
        return "< 0.1 %"
    return f"{fixed(100 * value, 1)} %"


def _place(point: Vec3, units: Units) -> str:
    return " ".join(length(c, units, 1 if units == "mm" else 2) for c in point)


def _volume(value: float, units: Units) -> str:
    return f"{fixed(value / _CUBIC_INCH, 2)} in3" if units == "inch" else f"{fixed(value / 1000, 1)} cm3"


def _mass(value: float, units: Units) -> str:
    return f"{fixed(value / _POUND, 2)} lb" if units == "inch" else f"{fixed(value, 3)} kg"
