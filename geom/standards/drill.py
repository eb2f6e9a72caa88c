"""Drills as a shop names and buys them: metric, number, letter and fraction.

Knows names and diameters. Not which drill a hole wants: `thread` and `callout`
ask for that.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Final, Literal, TypeAlias, get_args

from geom.errors import StandardError
from geom.standards.table import TableRow, table
from geom.units import length

DrillKind: TypeAlias = Literal["mm", "fraction", "number", "letter"]

KINDS: Final[tuple[DrillKind, ...]] = get_args(DrillKind)
INCH_KINDS: Final[tuple[DrillKind, ...]] = ("fraction", "number", "letter")


@dataclass(frozen=True, slots=True)
class Drill:
    """A drill as the shop names it ("6.8 mm", "no. 7", "27/64", "F") and its diameter, mm."""

    name: str
    diameter: float


def family(units: str) -> tuple[DrillKind, ...]:
    """Return the kinds of drill a shop that works in "mm" or "inch" reaches for first."""
    return INCH_KINDS if units == "inch" else ("mm",)


@cache
def drill_set(kind: DrillKind) -> tuple[Drill, ...]:
    """Return every drill of one kind, smallest first."""
    if kind in ("number", "letter"):
        found = [Drill(row.text("name"), row.length("diameter")) for row in table(f"drills_{kind}").rows]
    elif kind == "mm":
        found = [Drill(f"{float(size):g} mm", float(size)) for row in table("drills_metric").rows for size in _run(row)]
    else:
        sizes = (size for row in table("drills_fraction").rows for size in _run(row))
        found = [Drill(fraction_name(size), length(float(size), "inch", fraction_name(size))) for size in sizes]
    return tuple(sorted(found, key=lambda drill: drill.diameter))


def nearest_drill(diameter: float, kinds: Sequence[DrillKind]) -> Drill:
    """Return the drill nearest to a diameter, mm; of equals the earlier kind, then the smaller.

    Raises:
        StandardError: the diameter is more than 1 mm outside those sets.
    """
    best = stock_drill(diameter, kinds, within=1.0)
    if best is None:
        ends = "; ".join(f"{kind} {drill_set(kind)[0].name} to {drill_set(kind)[-1].name}" for kind in kinds)
        raise StandardError(f"no drill near {diameter:g} mm: the sets are {ends}; bore it instead")
    return best


def stock_drill(diameter: float, kinds: Sequence[DrillKind], within: float) -> Drill | None:
    """Return the drill nearest to a diameter if it is within a distance of it, both mm; otherwise None."""
    drills = (drill for kind in kinds for drill in drill_set(kind))
    best = min(drills, key=lambda drill: abs(drill.diameter - diameter))
    return best if abs(best.diameter - diameter) <= within else None


def largest_drill(at_most: float, kinds: Sequence[DrillKind]) -> Drill | None:
    """Return the largest drill not above a diameter, mm, or None when all are larger."""
    drills = [drill for kind in kinds for drill in drill_set(kind) if drill.diameter <= at_most + 1e-9]
    return max(drills, key=lambda drill: drill.diameter, default=None)


def drill_named(name: str, where: str) -> Drill:
    """Return a number, letter or fraction drill by name: "no. 7", "#7", "F", "27/64".

    Raises:
        StandardError: there is no such drill.
    """
    word = re.sub(r"^(?:NO\.?|#) ?", "NO. ", " ".join(name.upper().split()))
    for kind in INCH_KINDS:
        for drill in drill_set(kind):
            if drill.name.upper() == word:
                return drill
    raise StandardError(
        f"{where}: there is no drill {name!r}; there are no. 1 to no. 80, A to Z, and fractions of an inch from 1/64 to 1-1/2"
    )


def fraction_name(inches: Fraction) -> str:
    """Return a fraction of an inch as the shop writes it: "27/64", "1-1/32", "1 in"."""
    whole, part = divmod(inches, 1)
    if not part:
        return f"{whole} in"
    return f"{whole}-{part}" if whole else str(part)


def _run(row: TableRow) -> list[Fraction]:
    first, last, step = (Fraction(row.text(column)) for column in ("first", "last", "step"))
    return [first + i * step for i in range(int((last - first) / step) + 1)]
