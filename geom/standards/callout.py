"""What a hole is for, turned into diameters.

A callout is the text on the drawing: "clearance M8 medium", "counterbore for
M8 socket head", "tapped 3/8-16 UNC", "reamed 10 H7", "9 mm". Knows sizes,
not places or depths.

The text of a callout is the tidied form: parsing it again gives the same
callout. Case and spaces do not matter.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from geom.errors import StandardError
from geom.standards.drill import (
    INCH_KINDS,
    Drill,
    DrillKind,
    drill_named,
    family,
    fraction_name,
    largest_drill,
    nearest_drill,
    stock_drill,
)
from geom.standards.fits import hole_limits
from geom.standards.screw import FITS, Fit, Head, clearance, counterbore, countersink, fit_word
from geom.standards.suggest import suggestions
from geom.standards.table import table
from geom.standards.thread import Thread, find_thread, percent_thread, with_percent
from geom.units import MM_PER_INCH, positive_length

__all__ = ["Callout", "Drill", "Thread", "nearest_drill", "parse_callout", "percent_thread", "suggestions"]

FORMS: Final = (
    "clearance M8 medium",
    "counterbore for M8 socket head",
    "countersink for M8",
    "tapped M10",
    "tapped M10x1.25",
    "tapped 3/8-16 UNC",
    "tapped M10 60%",
    "reamed 10 H7",
    "bored 40 H7",
    "9 mm",
    "0.4375 in",
    "27/64",
)
"""One example of every wording understood, for messages and help."""

SAME_DRILL: Final = 0.05
"""A plain hole within this many mm of a stock drill is drilled with it: no drill holds size closer."""

_REAM_LEAVES: Final = (0.2, 0.4)
"""Least and most, mm on the diameter, that a drill leaves for a machine reamer (common practice)."""

_BORE_LEAVES: Final = 1.0
"""Least, mm on the diameter, that the drill leaves for the boring head (common practice)."""

_BORE_DRILL: Final = {"mm": 25.0, "inch": 25.4}
"""Largest drill, mm, proposed before boring: what most small shops own (common practice)."""

_STATED: Final = "as stated in the job"

_FIT = rf"(?: (?P<fit>{'|'.join(FITS)}))?"
_SIZE = r"(?P<size>.+?)"
_GRADE = r"(?: ?(?P<grade>h\d+))?"
_BEFORE_SIZE = r"(?:drill(?:ed)? ?|dia\.? ?|[øØ⌀] ?)"


@dataclass(frozen=True, slots=True)
class Callout:
    """A hole's purpose and the sizes that follow from it, mm and degrees.

    Attributes:
        text: as the job wrote it, tidied.
        purpose: what kind of callout it is.
        diameter: of the hole as the model holds it (tapped: the tap drill's).
        drill: what to drill first.
        limits: least and greatest finished diameter (reamed and bored holes).
        counterbore: diameter and depth; depth 0 when the callout leaves it open.
        countersink: largest diameter and included angle.
        source: standard and edition, or "common practice".
    """

    text: str
    purpose: Literal["plain", "clearance", "tapped", "reamed", "bored"]
    diameter: float
    drill: Drill
    thread: Thread | None = None
    limits: tuple[float, float] | None = None
    counterbore: tuple[float, float] | None = None
    countersink: tuple[float, float] | None = None
    source: str = ""


def parse_callout(text: str, units: str, where: str) -> Callout:
    """Return what a callout asks for.

    A plain number is in `units`; a fraction without a unit is inches. A size
    with an ISO 286 grade has to carry its unit in an inch job ("10 mm H7"),
    as the standard's own sizes are mm.

    Args:
        text: as the drawing says it; see `FORMS`.
        units: "mm" or "inch".
        where: file and key, for the message.

    Raises:
        StandardError: the wording is unknown or the size is in no table; the message lists what there is.
        JobError: a plain size that is not a length above zero.
    """
    word = " ".join(text.replace("×", "x").replace("″", '"').split())
    for pattern, read in _READERS:
        match = pattern.fullmatch(word)
        if match is not None:
            return read(match, units, where)
    raise StandardError(f"{where}: callout {text!r} is not understood; write one of the forms {'; '.join(FORMS)}")


def _clearance(match: re.Match[str], _units: str, where: str) -> Callout:
    hole = clearance(match["size"], _fit(match), where)
    text = f"clearance {hole.size} {fit_word(hole.size, hole.fit)}"
    return Callout(text, "clearance", hole.drill.diameter, hole.drill, source=hole.source)


def _counterbore(match: re.Match[str], _units: str, where: str) -> Callout:
    head = counterbore(match["size"], where)
    return _headed(f"counterbore for {head.size} socket head", head, _fit(match), where, counterbore=(head.diameter, head.depth))


def _countersink(match: re.Match[str], _units: str, where: str) -> Callout:
    head = countersink(match["size"], where)
    return _headed(f"countersink for {head.size}", head, _fit(match), where, countersink=(head.diameter, head.angle))


def _headed(
    text: str,
    head: Head,
    fit: Fit,
    where: str,
    counterbore: tuple[float, float] | None = None,
    countersink: tuple[float, float] | None = None,
) -> Callout:
    hole = clearance(head.size, fit, where)
    said = text if fit == "medium" else f"{text} {fit_word(head.size, fit)}"
    source = f"{head.source}; {hole.source}"
    return Callout(said, "clearance", hole.drill.diameter, hole.drill, None, None, counterbore, countersink, source)


def _tapped(match: re.Match[str], _units: str, where: str) -> Callout:
    listed = find_thread(match["size"], where)
    thread, text = listed.thread, f"tapped {listed.thread.designation}"
    if match["percent"] is not None:
        thread = with_percent(listed, float(match["percent"]), where)
        text += f" {float(match['percent']):g}%"
    return Callout(text, "tapped", thread.drill.diameter, thread.drill, thread=thread, source=listed.source)


def _reamed(match: re.Match[str], units: str, where: str) -> Callout:
    size = _fitted_size(match, units, where)
    grade = (match["grade"] or "H7").upper()
    limits = hole_limits(size.mm, grade, where)
    drill = largest_drill(size.mm - _REAM_LEAVES[0], size.kinds)
    if drill is None or size.mm - drill.diameter > _REAM_LEAVES[1] + 1e-9:
        raise StandardError(
            f"{where}: no stock drill leaves {_REAM_LEAVES[0]:g} to {_REAM_LEAVES[1]:g} mm for a reamer of {size.mm:g} mm; "
            f"write 'bored {size.name} {grade}' and bore it"
        )
    return Callout(f"reamed {size.name} {grade}", "reamed", size.mm, drill, limits=limits, source=table("hole_limits").cited)


def _bored(match: re.Match[str], units: str, where: str) -> Callout:
    size = _fitted_size(match, units, where)
    drill = largest_drill(min(size.mm - _BORE_LEAVES, _BORE_DRILL["inch" if size.inch else "mm"]), size.kinds)
    if drill is None:
        raise StandardError(f"{where}: a hole of {size.mm:g} mm is too small to bore; ream or drill it")
    if match["grade"] is None:
        return Callout(f"bored {size.name}", "bored", size.mm, drill, source=_STATED)
    grade = match["grade"].upper()
    limits = hole_limits(size.mm, grade, where)
    return Callout(f"bored {size.name} {grade}", "bored", size.mm, drill, limits=limits, source=table("hole_limits").cited)


def _named_drill(match: re.Match[str], _units: str, where: str) -> Callout:
    drill = drill_named(match["size"], where)
    return Callout(f"drill {drill.name}", "plain", drill.diameter, drill, source=_STATED)


def _plain(match: re.Match[str], units: str, where: str) -> Callout:
    size = _size(match["size"], units, where)
    other = INCH_KINDS if not size.inch else family("mm")
    drill = stock_drill(size.mm, size.kinds, SAME_DRILL) or stock_drill(size.mm, other, SAME_DRILL)
    return Callout(size.name, "plain", size.mm, drill or Drill(size.name, size.mm), source=_STATED)


@dataclass(frozen=True, slots=True)
class _Size:
    """A size in mm, its tidied text, and whether it was written in inches."""

    mm: float
    name: str
    inch: bool

    @property
    def kinds(self) -> tuple[DrillKind, ...]:
        return family("inch" if self.inch else "mm")


def _fitted_size(match: re.Match[str], units: str, where: str) -> _Size:
    bare = match["size"]
    if match["grade"] and units == "inch" and re.fullmatch(r"[\d.,]+", bare):
        grade = match["grade"].upper()
        raise StandardError(
            f"{where}: {match[0]!r} does not say its unit; ISO 286 sizes are mm and this job is in inches: "
            f"write '{bare} mm {grade}' or '{bare} in {grade}'"
        )
    size = _size(bare, units, where)
    iso = units == "mm" and not size.inch and re.fullmatch(r"[\d.]+ mm", size.name)
    return _Size(size.mm, size.name.removesuffix(" mm"), False) if iso else size


def _size(bare: str, units: str, where: str) -> _Size:
    inch = re.fullmatch(r"[\d /-]*/[\d ]+", bare) is not None or re.search(r"(?:\"|in\.?|inch|inches)$", bare, re.I) is not None
    inch = inch or (units == "inch" and re.search(r"[a-z]", bare, re.I) is None)
    mm = positive_length(bare, "inch" if inch else "mm", where)
    if not inch:
        return _Size(mm, f"{mm:.7g} mm", False)
    inches = Fraction(mm / MM_PER_INCH).limit_denominator(64)
    exact = "/" in bare and abs(float(inches) * MM_PER_INCH - mm) < 1e-9
    return _Size(mm, fraction_name(inches) if exact else f"{mm / MM_PER_INCH:.7g} in", True)


def _fit(match: re.Match[str]) -> Fit:
    return FITS[(match["fit"] or "medium").lower()]


_Reader = Callable[[re.Match[str], str, str], Callout]


def _reader(pattern: str, read: _Reader) -> tuple[re.Pattern[str], _Reader]:
    return re.compile(pattern, re.IGNORECASE | re.ASCII), read


_READERS: Final = (
    _reader(rf"clearance (?:hole )?(?:for )?{_SIZE}{_FIT}", _clearance),
    _reader(rf"counterbored? (?:for )?{_SIZE}(?: socket(?: head)?(?: cap)?(?: screw)?)?{_FIT}", _counterbore),
    _reader(rf"counters(?:ink|unk) (?:for )?{_SIZE}(?: flat head)?(?: screw)?{_FIT}", _countersink),
    _reader(rf"tap(?:ped)? {_SIZE}(?: (?P<percent>\d+(?:\.\d+)?) ?%)?", _tapped),
    _reader(rf"ream(?:ed)? {_BEFORE_SIZE}?{_SIZE}{_GRADE}", _reamed),
    _reader(rf"bored? {_BEFORE_SIZE}?{_SIZE}{_GRADE}", _bored),
    _reader(rf"{_BEFORE_SIZE}?(?P<size>\d.*?) ?(?P<grade>h\d+)", _bored),
    _reader(rf"{_BEFORE_SIZE}?(?P<size>(?:no\.?|#) ?\d+|[a-z])", _named_drill),
    _reader(rf"{_BEFORE_SIZE}*(?P<size>[+\-.]?\d.*?)(?: dia\.?)?", _plain),
)
