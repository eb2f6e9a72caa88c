"""From a measured diameter back to what the standards make it for.

Knows diameters only, so it suggests: a 17.5 mm hole may be clearance for M16 or
the tap drill of M20, and it says both.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

from geom.standards.screw import Fit, fit_word
from geom.standards.table import table
from geom.standards.thread import threads
from geom.units import MM_PER_INCH

MATCH: Final = 0.02
"""A hole within this many mm of a table's diameter may be that hole: models round inch drills
to three places (0.013 mm) and metric ones not at all."""

MOST: Final = 5
"""Suggestions given at most; more would not help anyone choose."""

_FIT_RANKS: Final[tuple[tuple[Fit, int], ...]] = (("medium", 0), ("fine", 2), ("coarse", 2))
_MOUTHS: Final = {
    "counterbore": ("socket_head", "counterbore", " socket head"),
    "countersink": ("countersunk", "head_diameter", ""),
}
_REAMED_MM: Final = (3, 4, 5, 6, 8, 10, 12, 14, 15, 16, 18, 20, 22, 25)
_REAMED_INCH: Final = ("1/8", "3/16", "1/4", "5/16", "3/8", "7/16", "1/2", "9/16", "5/8", "3/4", "7/8", "1")


@dataclass(frozen=True, slots=True)
class _Known:
    """A diameter of the tables, mm, its callout, how likely such a hole is (0 best), and a thread's pitch or a mouth's diameter."""

    diameter: float
    text: str
    rank: int
    pitch: float | None = None
    mouth: float | None = None


def suggestions(
    diameter: float,
    thread_pitch: float | None = None,
    *,
    counterbore: float | None = None,
    countersink: float | None = None,
) -> tuple[str, ...]:
    """Return the callouts whose diameter is within `MATCH` of a hole's, best first.

    Best is: a screw head that fits the mouth too, then a closer match (to half
    of `MATCH`), then the commoner purpose (medium clearance, coarse thread,
    other fits, fine threads, reamed holes), then the smaller difference.

    Args:
        diameter: mm.
        thread_pitch: mm, when the model tells it: then only threads of that pitch.
        counterbore, countersink: diameter of the hole's mouth, mm, when it has one.
    """
    mouths = [
        *(known for known in _heads("counterbore") if _matches(known.mouth, counterbore)),
        *(known for known in _heads("countersink") if _matches(known.mouth, countersink)),
    ]
    fitting = [
        known
        for known in (*mouths, *_known())
        if _matches(known.diameter, diameter) and (thread_pitch is None or _same_pitch(known.pitch, thread_pitch))
    ]
    fitting.sort(key=lambda known: _order(known, diameter))
    return tuple(dict.fromkeys(known.text for known in fitting))[:MOST]


def _order(known: _Known, diameter: float) -> tuple[bool, bool, int, float, str]:
    off = round(abs(known.diameter - diameter), 6)
    return known.mouth is None, off > MATCH / 2, known.rank, off, known.text


def _matches(known: float | None, measured: float | None) -> bool:
    return known is not None and measured is not None and abs(known - measured) <= MATCH


def _same_pitch(pitch: float | None, wanted: float) -> bool:
    return pitch is not None and abs(pitch - wanted) <= 0.01 * wanted


@cache
def _known() -> tuple[_Known, ...]:
    return (*_clearances(), *_tap_drills(), *_reamed())


def _clearances() -> Iterator[_Known]:
    for name in ("clearance_metric", "clearance_inch"):
        for row in table(name).rows:
            for fit, rank in _FIT_RANKS:
                yield _Known(row.length(fit), f"clearance {row.text('size')} {fit_word(row.text('size'), fit)}", rank)


@cache
def _heads(mouth: Literal["counterbore", "countersink"]) -> tuple[_Known, ...]:
    return tuple(_head_holes(mouth))


def _head_holes(mouth: Literal["counterbore", "countersink"]) -> Iterator[_Known]:
    name, column, ending = _MOUTHS[mouth]
    for kind in ("metric", "inch"):
        for row in table(f"{name}_{kind}").rows:
            size = row.text("size")
            hole = table(f"clearance_{kind}").row_for("size", size, "clearance hole size", row.place)
            for fit, rank in _FIT_RANKS:
                word = "" if fit == "medium" else f" {fit_word(size, fit)}"
                yield _Known(hole.length(fit), f"{mouth} for {size}{ending}{word}", rank, mouth=row.length(column))


def _tap_drills() -> Iterator[_Known]:
    for listed in threads():
        thread, common = listed.thread, listed.series in ("coarse", "UNC")
        text = f"tapped {thread.designation}"
        yield _Known(thread.drill.diameter, text, 1 if common else 3, thread.pitch)
        yield _Known(listed.minor, text, 2 if common else 4, thread.pitch)


def _reamed() -> Iterator[_Known]:
    for size in _REAMED_MM:
        yield _Known(float(size), f"reamed {size} mm H7", 5)
    for name in _REAMED_INCH:
        top, _, bottom = name.partition("/")
        yield _Known(int(top) / int(bottom or 1) * MM_PER_INCH, f"reamed {name if bottom else '1 in'} H7", 5)
