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
from typing import Final, Literal, NoReturn

from geom.errors import StandardError
from geom.standards.drill import INCH_KINDS, KINDS, Drill, drill_named, family, fraction_name, largest_drill, nearest_drill
from geom.standards.fits import hole_limits
from geom.standards.screw import FITS, Fit, clearance, counterbore, countersink
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

_BORE_DRILL: Final = 25.4
"""Largest drill, mm, proposed before boring: what most small shops own (common practice)."""

_FIT = rf"(?: (?P<fit>{'|'.join(FITS)}))?"
_NUMBER = r"(?P<number>(?:drill(?:ed)? |dia\.? |[øØ⌀] ?)*.+?)"
_SIZE = r"(?P<size>.+?)"


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
    word = " ".join(text.replace("×", "x").replace("″", '"').casefold().split())
    for pattern, read in _READERS:
        match = pattern.fullmatch(word)
        if match is not None:
            return read(match, units, where)
    if re.match(r"^[øØ⌀+.\-\d]|^drill|^no\.|^#|^dia|^[a-z]$", word):
        return _plain(word, units, where)
    _unknown(text, where)


def _clearance(match: re.Match[str], _units: str, where: str) -> Callout:
    hole = clearance(match["size"], _fit(match), where)
    return Callout(f"clearance {hole.size} {hole.fit}", "clearance", hole.drill.diameter, hole.drill, source=hole.source)


def _counterbore(match: re.Match[str], _units: str, where: str) -> Callout:
    head = counterbore(match["size"], where)
    hole = clearance(head.size, _fit(match), where)
    return Callout(
        f"counterbore for {head.size} socket head{_said(hole.fit)}",
        "clearance",
        hole.drill.diameter,
        hole.drill,
        counterbore=(head.diameter, head.depth),
        source=f"{head.source}; {hole.source}",
    )


def _countersink(match: re.Match[str], _units: str, where: str) -> Callout:
    head = countersink(match["size"], where)
    hole = clearance(head.size, _fit(match), where)
    return Callout(
        f"countersink for {head.size}{_said(hole.fit)}",
        "clearance",
        hole.drill.diameter,
        hole.drill,
        countersink=(head.diameter, head.angle),
        source=f"{head.source}; {hole.source}",
    )


def _tapped(match: re.Match[str], _units: str, where: str) -> Callout:
    listed = find_thread(match["size"], where)
    thread, text = listed.thread, f"tapped {listed.thread.designation}"
    if match["percent"] is not None:
        thread = with_percent(listed, float(match["percent"]), where)
        text += f" {float(match['percent']):g}%"
    return Callout(text, "tapped", thread.drill.diameter, thread.drill, thread=thread, source=listed.source)


def _reamed(match: re.Match[str], units: str, where: str) -> Callout:
    size, name = _fitted(match, units, where)
    grade = (match["grade"] or "h7").upper()
    limits = hole_limits(size, grade, where)
    inch = not name.endswith("mm")
    drill = largest_drill(size - _REAM_LEAVES[0], INCH_KINDS if inch else ("mm",))
    if drill is None or size - drill.diameter > _REAM_LEAVES[1] + 1e-9:
        raise StandardError(
            f"{where}: no stock drill leaves {_REAM_LEAVES[0]:g} to {_REAM_LEAVES[1]:g} mm for a reamer of {size:g} mm; "
            f"write 'bored {name} {grade}' and bore it"
        )
    return Callout(f"reamed {name} {grade}", "reamed", size, drill, limits=limits, source=table("hole_limits").cited)


def _bored(match: re.Match[str], units: str, where: str) -> Callout:
    size, name = _fitted(match, units, where)
    kinds = ("mm",) if name.endswith("mm") else INCH_KINDS
    drill = largest_drill(min(size - _BORE_LEAVES, _BORE_DRILL), kinds)
    if drill is None:
        raise StandardError(f"{where}: a hole of {size:g} mm is too small to bore; ream or drill it")
    if match["grade"] is None:
        return Callout(f"bored {name}", "bored", size, drill, source="as stated in the job")
    grade = match["grade"].upper()
    limits = hole_limits(size, grade, where)
    return Callout(f"bored {name} {grade}", "bored", size, drill, limits=limits, source=table("hole_limits").cited)


def _plain(word: str, units: str, where: str) -> Callout:
    bare = _bare(word)
    if re.fullmatch(r"(?:no\.?|#) ?\d+|[a-z]", bare):
        drill = drill_named(bare, where)
        return Callout(f"drill {drill.name}", "plain", drill.diameter, drill, source="as stated in the job")
    size, name = _sized(bare, units, where)
    drill = _stock_drill(size, name, units)
    return Callout(name, "plain", size, drill, source="as stated in the job")


def _stock_drill(size: float, name: str, units: str) -> Drill:
    for kinds in (family("mm" if name.endswith("mm") else "inch"), family(units), KINDS):
        if size <= max(drill.diameter for drill in (largest_drill(1e9, kinds),) if drill is not None):
            drill = nearest_drill(size, kinds)
            if abs(drill.diameter - size) <= SAME_DRILL:
                return drill
    return Drill(name, size)


def _fitted(match: re.Match[str], units: str, where: str) -> tuple[float, str]:
    bare = _bare(match["number"])
    if match["grade"] and units == "inch" and re.fullmatch(r"[\d.,]+", bare):
        raise StandardError(
            f"{where}: {match[0]!r} does not say its unit; ISO 286 sizes are mm and this job is in inches: "
            f"write '{bare} mm {match['grade'].upper()}' or '{bare} in {match['grade'].upper()}'"
        )
    return _sized(bare, units, where)


def _sized(bare: str, units: str, where: str) -> tuple[float, str]:
    """Return a size in mm and its tidied text: "9 mm", "0.4375 in", "27/64"."""
    fraction = re.fullmatch(r"(?:\d+[ -])?\d+ ?/ ?\d+", bare) is not None
    inch = fraction or re.search(r"(?:\"|in\.?|inch|inches)$", bare) is not None or (units == "inch" and "m" not in bare)
    size = positive_length(bare, "inch" if inch else "mm", where)
    if not inch:
        return size, f"{round(size, 6):.10g} mm"
    return size, _inch_name(size, "/" in bare)


def _inch_name(size: float, as_fraction: bool) -> str:
    from fractions import Fraction

    part = Fraction(size / MM_PER_INCH).limit_denominator(64)
    if as_fraction and abs(float(part) * MM_PER_INCH - size) < 1e-9:
        return fraction_name(part)
    return f"{round(size / MM_PER_INCH, 7):.10g} in"


def _bare(word: str) -> str:
    return re.sub(r"^(?:drill(?:ed)? ?|dia\.? ?|[ø⌀] ?)+", "", word).removesuffix(" dia").strip()


def _fit(match: re.Match[str]) -> Fit:
    return FITS[match["fit"] or "medium"]


def _said(fit: Fit) -> str:
    return "" if fit == "medium" else f" {fit}"


def _unknown(text: str, where: str) -> NoReturn:
    raise StandardError(f"{where}: callout {text!r} is not understood; write one of the forms {'; '.join(FORMS)}")


_Reader = Callable[[re.Match[str], str, str], Callout]

_READERS: Final[tuple[tuple[re.Pattern[str], _Reader], ...]] = (
    (re.compile(rf"clearance (?:hole )?(?:for )?{_SIZE}{_FIT}"), _clearance),
    (re.compile(rf"counterbored? (?:for )?{_SIZE}(?: socket(?: head)?(?: cap)?(?: screw)?)?{_FIT}"), _counterbore),
    (re.compile(rf"countersunk? (?:for )?{_SIZE}{_FIT}"), _countersink),
    (re.compile(rf"countersink (?:for )?{_SIZE}(?: flat head| countersunk)?(?: screw)?{_FIT}"), _countersink),
    (re.compile(rf"tap(?:ped)? {_SIZE}(?: (?P<percent>\d+(?:\.\d+)?) ?%)?"), _tapped),
    (re.compile(rf"ream(?:ed)? {_NUMBER}(?: ?(?P<grade>h\d+))?"), _reamed),
    (re.compile(rf"bored? {_NUMBER}(?: ?(?P<grade>h\d+))?"), _bored),
    (re.compile(r"(?P<number>[øØ⌀\d].*?) ?(?P<grade>h\d+)"), _bored),
)
