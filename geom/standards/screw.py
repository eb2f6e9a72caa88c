"""What a screw needs of the hole it goes through: clearance, counterbore, countersink.

Knows screw sizes, metric ("M8") and inch ("3/8", "no. 10"), and the diameters
their standards give. Not depths of holes or where they stand.
"""

import re
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from geom.errors import StandardError
from geom.standards.drill import Drill, drill_named
from geom.standards.table import Table, TableRow, table
from geom.standards.thread import inch_size

Fit: TypeAlias = Literal["fine", "medium", "coarse"]

FITS: Final[dict[str, Fit]] = {
    "fine": "fine",
    "close": "fine",
    "medium": "medium",
    "normal": "medium",
    "coarse": "coarse",
    "loose": "coarse",
}
"""Metric (ISO 273) and inch (ASME B18.2.8) words for the three fits of a screw in its hole."""

_INCH_WORD: Final[dict[Fit, str]] = {"fine": "close", "medium": "normal", "coarse": "loose"}

_METRIC = re.compile(r"m ?(\d+(?:\.\d+)?)", re.ASCII | re.IGNORECASE)
_INCH = re.compile(r"(?:no\.? ?|# ?)?(\d+(?:/\d+)?) ?(?:in|inch|\")?", re.ASCII | re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Clearance:
    """The hole a screw passes through: screw size, fit, the drill that makes it, and the source."""

    size: str
    fit: Fit
    drill: Drill
    source: str


@dataclass(frozen=True, slots=True)
class Head:
    """Room for a screw's head: screw size, diameter, mm, and depth, mm, or included angle, degrees, and the source."""

    size: str
    diameter: float
    depth: float
    angle: float
    source: str


def screw_size(text: str, where: str) -> str:
    """Return a screw size as the tables write it: "M8", "3/8", "no. 10".

    Raises:
        StandardError: not a screw size.
    """
    word = " ".join(text.split())
    metric = _METRIC.fullmatch(word)
    if metric is not None:
        return f"M{float(metric[1]):g}"
    inch = _INCH.fullmatch(word)
    if inch is not None:
        return inch_size(inch[1])
    raise StandardError(
        f"{where}: {text!r} is not a screw size; write one such as M8, 3/8 or no. 10, and after it a fit if any: {', '.join(FITS)}"
    )


def fit_word(size: str, fit: Fit) -> str:
    """Return the fit in the words of the standard that the screw belongs to: "medium", but "normal" for 3/8."""
    return fit if size.startswith("M") else _INCH_WORD[fit]


def clearance(size: str, fit: Fit, where: str) -> Clearance:
    """Return the clearance hole of a screw. Source: ISO 273, ASME B18.2.8.

    Raises:
        StandardError: not a size of the table; the message lists what is.
    """
    source, row = _row("clearance", size, "clearance hole size", where)
    diameter = row.length(fit)
    drill = Drill(f"{diameter:g} mm", diameter) if source.unit == "mm" else drill_named(row.text(f"{fit}_drill"), where)
    return Clearance(row.text("size"), fit, drill, source.cited_row(row))


def counterbore(size: str, where: str) -> Head:
    """Return the counterbore for a socket head cap screw; its depth, the head's height, is the least.

    Source: ISO 4762 with DIN 974-1; ASME B18.3 with the trade's fractional cutters.

    Raises:
        StandardError: not a size of the table; the message lists what is.
    """
    source, row = _row("socket_head", size, "socket head screw size", where)
    return Head(row.text("size"), row.length("counterbore"), row.length("head_height"), 0.0, source.cited_row(row))


def countersink(size: str, where: str) -> Head:
    """Return the countersink for a flat head screw: the head's theoretical diameter, so that it sits flush or below.

    Source: ISO 10642 (90 degrees), ASME B18.3 (82 degrees).

    Raises:
        StandardError: not a size of the table; the message lists what is.
    """
    source, row = _row("countersunk", size, "countersunk screw size", where)
    return Head(row.text("size"), row.length("head_diameter"), 0.0, row.number("angle"), source.cited_row(row))


def _row(name: str, size: str, what: str, where: str) -> tuple[Table, TableRow]:
    plain = screw_size(size, where)
    source = table(f"{name}_{'metric' if plain.startswith('M') else 'inch'}")
    return source, source.row_for("size", plain, what, where)
