"""What a scan leaves open about a placement, and what would settle it.

Where the scan shows no skin over a machined face, nothing but the drawing tells whether there is stock; where it has few points,
pits hide. Each such place is named with what stands there as drawn and how low the skin may lie. Lengths mm, part frame.
"""

from collections.abc import Mapping, Sequence
from math import erf, sqrt
from typing import Final

import numpy as np

from geom.model.part import Part
from geom.place.placement import Placement
from geom.place.rows import look, pivot_of
from geom.place.scan_look import Gap, gaps_at, points_on
from geom.place.sites import sites_of
from geom.received.casting import AsReceived
from geom.received.feeders import CLEAR, on_stub
from geom.rows.words import Words, where
from geom.settings.records import Feeder
from geom.stock.required import Need

_LEAST_SHARE, _LEAST_AREA = 0.005, 10.0
"""A gap smaller than both, share of its face and mm2, is a flaw of the mesh."""

_FEW: Final = 30.0
"""Points of the scan on a face below which it is too coarse to judge by (common practice, no source)."""

_MOST: Final = 6

_HIDDEN, _UNSEEN = "hidden by the stub of a feeder", "not scanned"

_SURELY: Final = 0.001
"""Chance, below which a gap cannot matter."""


def scan_asks(
    part: Part, received: AsReceived, placement: Placement, needs: Mapping[str, Need], feeders: Sequence[Feeder] = ()
) -> tuple[Words, ...]:
    """Return what the scan did not see and which touch would settle it, the likeliest to fall short first.

    Args:
        feeders: whose stubs hide the skin.
    """
    if received.scan is None:
        return ()
    sites = sites_of(part, True)
    seen = look(received, sites, placement.pose, pivot_of(part))
    gaps = [g for g in gaps_at(received, sites, seen) if g.share > _LEAST_SHARE or g.area > _LEAST_AREA]
    names = [face.name for face in part.machined]
    chances = {id(g): _chance_short(g, needs[names[g.face]].amount) for g in gaps}
    gaps.sort(key=lambda g: (-round(chances[id(g)], 6), -round(g.area, 6), g.face, g.at))
    said = [
        _gap_words(g, names[g.face], needs[names[g.face]].amount, chances[id(g)], _hidden(part, feeders, names[g.face], g))
        for g in gaps[:_MOST]
    ]
    if len(gaps) > _MOST:
        said.append((f"{len(gaps) - _MOST} more gaps are less likely to fall short",))
    few = np.flatnonzero(points_on(received, sites) < _FEW).tolist()
    said += [(f"{names[i]}: the scan has only about {points_on(received, sites)[i]:.0f} points there; scan it finer",) for i in few]
    return tuple(said)


def _chance_short(gap: Gap, required: float) -> float:
    """Return the chance that a gap's skin, off its drawn place by the casting tolerance, leaves less than is required."""
    return 0.5 * (1.0 + erf((required - gap.drawn) / (sqrt(2.0) * max(gap.sigma, 1e-9))))


def _hidden(part: Part, feeders: Sequence[Feeder], name: str, gap: Gap) -> bool:
    return bool(on_stub(part, feeders, name, np.array([gap.at]), CLEAR)[0])


def _gap_words(gap: Gap, name: str, required: float, chance: float, stub: bool) -> Words:
    room = gap.drawn - required
    words: Words = (
        f"{name}: {_HIDDEN if stub else _UNSEEN} round ", *where(gap.at), f", {gap.share:.1%} of the face; as drawn ", gap.drawn,
        " of stock stands there, ", required, " is wanted; the casting tolerance leaves a chance of "
        f"{_in_100(chance)} that it falls short",
    )  # fmt: skip
    if chance < _SURELY:
        return (*words, "; a reading there would change nothing")
    lies: Words = ("no lower than ", room, " below") if room >= 0 else ("at least ", -room, " above")
    touch = "dress the stub flush and touch the skin there" if stub else "touch the raw skin there"
    return (*words, f": {touch}; it is enough if it lies ", *lies, " the drawn skin; or scan it again")


def _in_100(chance: float) -> str:
    if chance < 0.01:
        return "under 1 in 100"
    return f"{100 * chance:.0f} in 100"
