"""Several castings of one part, best first. Lengths mm; words as in `geom.rows.Words`."""

from collections.abc import Sequence
from dataclasses import dataclass

from geom.placement import Placement
from geom.rows import Words


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
    sure, risk = placement.odds.likely_least, round(100.0 * placement.odds.chance_short)
    if not placement.cleans_up:
        short = [f.name for f in placement.faces if f.state == "short"]
        return (f"falls short on {', '.join(short)}, at worst by ", -min(f.margin for f in placement.faces if f.state == "short"))
    keeps: Words = ("keeps ", sure, f" at 95 % ({risk} in 100 that it falls short)")
    if better is None or not better.cleans_up:
        return keeps
    return (*keeps, ", ", better.odds.likely_least - sure, " less than the one before")
