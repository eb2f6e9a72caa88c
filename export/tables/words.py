"""Sentences a coordinate table prints: tools, patterns, what is left out, what was assumed.

Every figure goes through `number`. Knows nothing of files or of columns.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Final

from export.number import Figures, Units, coordinate, fixed, sentence, size, trimmed
from export.tables.head import Signs
from geom.rows.records import About, Pattern, Setup, Tool, Words


def tool_text(tool: Tool, units: Units) -> str:
    """Return a tool as the shop says it: "6.8 mm drill", "no. 7 drill", "16 mm end mill", "12 mm 90 degree countersink"."""
    unit = {"mm": "mm", "inch": "in"}[units]
    named = tool.label or (f"{size(tool.diameter, units)} {unit}" if tool.diameter else "")
    pointed = tool.kind != "drill" and tool.point_angle is not None
    angle = f"{trimmed(fixed(tool.point_angle or 0.0, 2))} degree" if pointed else ""
    return " ".join(part for part in (named, angle, tool.kind) if part)


def pattern_text(pattern: Pattern, figures: Figures, signs: Signs) -> str:
    """Return a pattern's size, centre and the order its holes are numbered in."""
    x, y = (coordinate(signs[i] * pattern.centre[i], figures) for i in (0, 1))
    sizes = " x ".join(size(s, figures.units) for s in pattern.size)
    if pattern.kind == "circle":
        what = f"{len(pattern.holes)} on a circle of diameter {sizes} {figures.unit_name}"
        order = "counter-clockwise from +X seen from above"
    else:
        what = f"{len(pattern.holes)} on a rectangle of {sizes} {figures.unit_name} between outer axes"
        order = "left to right in rows, nearest row first"
    return f"{pattern.name}: {what} about X {x} Y {y}, {order}: {', '.join(pattern.holes)}"


def patterns_text(setup: Setup, figures: Figures, signs: Signs) -> tuple[str, ...]:
    """Return a sentence a pattern."""
    return tuple(pattern_text(pattern, figures, signs) for pattern in setup.patterns)


def left_out_text(setup: Setup) -> tuple[str, ...]:
    """Return a sentence a feature that no row makes."""
    return tuple(f"{one.feature}: {one.why}" for one in setup.left_out)


def holding_text(setup: Setup, units: Units) -> tuple[str, ...]:
    """Return how the work is held with its lengths in the sheet's unit, as far as a gauge shows them."""
    return tuple(gauged_text(words, units) for words in setup.holding)


def gauged_text(words: Words, units: Units) -> str:
    """Return a sentence with its lengths in the sheet's unit as far as a gauge shows them."""
    return sentence((_gauged(piece, units) for piece in words), units)


def _gauged(piece: str | float, units: Units) -> str | float:
    if isinstance(piece, (str, About)):
        return piece
    return f"{size(piece, units, _GAUGE[units])} {'in' if units == 'inch' else 'mm'}"


def notes_text(setup: Setup, figures: Figures) -> tuple[str, ...]:
    """Return the set-up's notes: what is driven on the readout to its step, other lengths as far as a gauge shows them."""
    return tuple(sentence(_shown(words, figures), figures.units) for words in setup.notes)


_GAUGE: Final[Mapping[Units, int]] = {"mm": 2, "inch": 3}
_DRIVEN: Final = re.compile(r"(^|\W)[XYZ] ?(0 )?[+-]?$")
"""A length after an axis' letter, its sign, or "set X 0", is driven on the readout."""


def _shown(words: Words, figures: Figures) -> Iterator[str | float]:
    before = ""
    for piece in words:
        if isinstance(piece, str):
            yield piece
            before += piece
            continue
        driven = _DRIVEN.search(before)
        yield f"{coordinate(piece, figures)} {figures.unit_name}" if driven else _gauged(piece, figures.units)
        before = ""
