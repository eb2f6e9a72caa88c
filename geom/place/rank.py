"""Several castings of one part, best first. Lengths mm; words as in `geom.rows.records.Words`."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from geom.place.placement import Placement
from geom.place.words import of_100
from geom.rows.records import Words


@dataclass(frozen=True, slots=True, eq=False)
class Ranked:
    """One casting's rank, from 1, and why it stands there."""

    rank: int
    placement: Placement
    reason: Words


def rank_castings(placements: Sequence[Placement]) -> tuple[Ranked, ...]:
    """Return castings best first: those that clean up, then by the margin they keep 95 times in 100, then by name."""
    order = sorted(placements, key=lambda p: (not p.cleans_up, -round(p.odds.likely_least, 6), -round(p.least_margin, 6), p.name))
    return tuple(Ranked(i + 1, p, _reason(p, order[i - 1] if i else None)) for i, p in enumerate(order))


def _reason(placement: Placement, better: Placement | None) -> Words:
    if not placement.cleans_up:
        short = [f for f in placement.faces if f.state == "short" and isfinite(f.margin)]
        if not short:
            return ("cannot be judged: a face was not seen by the scan",)
        named, deep = ", ".join(f.name for f in short), max(f.short_depth for f in short)
        if deep > 0:
            return (f"falls short on {named}: up to ", deep, " of metal is missing")
        return (f"falls short on {named}, at worst by ", -min(f.margin for f in short))
    thin = placement.thinnest
    keeps: Words = (max(thin.take_min, 0.0), f" of metal at the thinnest, missing in {of_100(placement.odds.chance_missing)}")
    if better is None or not better.cleans_up:
        return keeps
    less = better.odds.likely_least - placement.odds.likely_least
    return (*keeps, "; what 95 of 100 keep is ", less, " less than the one before")
