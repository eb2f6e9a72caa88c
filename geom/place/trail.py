"""What a search keeps of the looks behind it: rows that lay over what came after, and how its steps follow each other.

Where the skin bends away (a rounding, a boss), what a point sees is never more than the straight rows of any look
say: rows of earlier looks hold as well as those of the last, and between them the step finds the ground of the bend
(Kelley, The cutting-plane method, 1960). A row that turns out to lie below what is there is dropped. Where steps
still answer each other, to and fro or on and on, part of one is gone (Irons and Tuck, A version of the Aitken
accelerator for computer iteration, 1969). Lengths mm. Knows nothing of rays, readings or aims.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.place.margin_lp import Rows
from geom.place.shortfall_lp import thinnest_rows
from geom.rays.analytic import Floats, Ints

_NEAR: Final = 1e-4
"""Rows that a step leaves within this, mm, of the least held the step, about."""

_OVER: Final = 1e-7
"""A row that lies over what is seen by less than this, mm, tells nothing more than what is seen."""

_MOST: Final = 500
"""So many rows are kept, the latest first."""

_QUICK: Final = 0.5
"""A step of at most this share of the last one is gone whole."""

_LEAST_SHARE: Final = 0.1
"""At least this share of a step is gone."""


@dataclass(frozen=True, slots=True, eq=False)
class Tangents:
    """Rows of earlier looks.

    Attributes:
        site: (n,) number of the point each is of; point: (n, 3) where that is; face: (n,) which face it is on.
        start, rate: (n,), (n, 6) the margin they allow, counted from the present place.
    """

    site: Ints
    point: Floats
    face: Ints
    start: Floats
    rate: Floats

    def rows(self) -> Rows:
        """Return them as rows."""
        return Rows(self.start, self.rate, np.ones(len(self.start)))

    def of(self, rows: Ints) -> "Tangents":
        """Return some of them."""
        return Tangents(self.site[rows], self.point[rows], self.face[rows], self.start[rows], self.rate[rows])

    def after(self, step: Floats) -> "Tangents":
        """Return them counted from a step away."""
        return Tangents(self.site, self.point, self.face, self.start + self.rate @ step, self.rate)

    def and_these(self, more: "Tangents") -> "Tangents":
        """Return these and some more."""
        names = ("site", "point", "face", "start", "rate")
        return Tangents(*(np.concatenate([getattr(self, n), getattr(more, n)]) for n in names))

    def over(self, points: Floats, margin: Floats) -> "Tangents":
        """Return those that lie over what is seen now: (n, 3) points of all sites and the margin of each, NaN where not seen."""
        site = np.minimum(self.site, len(points) - 1)
        same = (site == self.site) & (points[site] == self.point).all(axis=1)
        return self.of(np.flatnonzero(same & (margin[site] < self.start - _OVER))[:_MOST])


def no_tangents() -> Tangents:
    """Return no rows."""
    none = np.zeros(0, dtype=np.int64)
    return Tangents(none, np.zeros((0, 3)), none, np.zeros(0), np.zeros((0, 6)))


def that_held(seen: Tangents, step: Floats, floor: float) -> Tangents:
    """Return those rows that held a step: near the least margin or the floor after it, or thinnest of a nearly short face."""
    after = seen.start + seen.rate @ step
    thin = thinnest_rows(after, seen.face)
    near = np.flatnonzero(after < max(floor, float(after.min())) + _NEAR)
    return seen.of(np.union1d(near, thin[after[thin] < _NEAR]))


@dataclass(frozen=True, slots=True, eq=False)
class Pace:
    """How much of a step is gone: the last step as it was asked for, and the share of it that was gone."""

    asked: Floats
    share: float

    def next(self, step: Floats) -> "Pace":
        """Return how much of the next step to go."""
        if float(np.linalg.norm(step)) <= _QUICK * float(np.linalg.norm(self.asked)):
            return Pace(step, 1.0)
        turn = step - self.asked
        share = -self.share * float(self.asked @ turn) / max(float(turn @ turn), 1e-300)
        return Pace(step, float(np.clip(share, _LEAST_SHARE, 1.0)))


FIRST_PACE: Final = Pace(np.full(6, np.inf), 1.0)
"""Before any step: the first is gone whole."""
