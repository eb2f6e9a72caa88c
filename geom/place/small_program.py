"""Two exact programs with few unknowns and many rows: the least of a linear cost, and the shortest vector, among rows that hold.

Both start below the optimum and take in the worst broken row until none is: all rows are looked at every time, so what they
end with is proved. A program of six unknowns takes tens of steps of a few microseconds each, less than it takes to hand it to
a general solver. Knows nothing of margins or castings.

Sources: dual simplex method (Lemke, The dual method of solving the linear programming problem, 1954); dual active sets
for least squares (Goldfarb and Idnani, A numerically stable dual method for solving strictly convex quadratic programs, 1983).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from scipy.linalg.lapack import dgeqrf, dorgqr, dtrtrs

from geom.rays.analytic import Floats, Ints

More: TypeAlias = Callable[[Floats], tuple[Floats, float] | None]
"""Gives a further row (rate, least) that a vector breaks; None when it breaks none."""

_BROKEN: Final = 1e-9
"""A row broken by no more than this holds."""

_LEAN: Final = 1e-9
"""A row that leans out of the others by less than this share of its length depends on them."""

_PIVOT: Final = 1e-8
"""A row takes the place of one it leans along by more than this share; of several that may go, of the one it leans along most."""

_STEPS: Final = 400
"""More steps than this go round in circles, or rounding has won."""

_TIED: Final = 1e-12

_WORK: Final = 64
"""Numbers that LAPACK may work in: a few a row."""


@dataclass(frozen=True, slots=True, eq=False)
class Corner:
    """Where a linear cost is least: x (k,), the rows (k,) that meet there, and their multipliers, none below 0."""

    x: Floats
    rows: Ints
    push: Floats


def least_cost(cost: Floats, rate: Floats, least: Floats, start: Ints) -> Corner | None:
    """Return where cost . x is least among rate . x >= least; None where there is no answer, or rounding leaves none.

    Args:
        cost: (k,); rate: (n, k); least: (n,).
        start: (k,) rows whose multipliers are not negative.
    """
    rows = start.copy()
    for _ in range(_STEPS):
        inverse = _inverse(rate[rows])
        if inverse is None:
            return None
        x, push = inverse @ least[rows], cost @ inverse
        over = rate @ x - least
        worst = int(over.argmin())
        if over[worst] >= -_BROKEN:
            return Corner(x, rows, np.maximum(push, 0.0)) if push.min() >= -_BROKEN else None
        along = rate[worst] @ inverse
        able = np.flatnonzero(along > _PIVOT * max(1.0, float(np.abs(along).max())))
        if not able.size:
            return None
        pushing = np.maximum(push[able], 0.0)
        tied = able[pushing / along[able] <= ((pushing + _BROKEN) / along[able]).min()]
        rows[tied[along[tied].argmax()]] = worst
    return None


def _inverse(square: Floats) -> Floats | None:
    try:
        return np.asarray(np.linalg.inv(square))
    except np.linalg.LinAlgError:
        return None


def shortest(rate: Floats, least: Floats, more: More | None = None) -> Floats | None:
    """Return the shortest z with rate . z >= least; None where there is none, or rounding leaves none.

    Args:
        rate: (n, k); least: (n,).
        more: looks for further rows once all these hold.
    """
    work = _Shortest(rate, least)
    for _ in range(_STEPS):
        over = work.rate @ work.z - work.least
        worst = int(over.argmin()) if len(over) else -1
        if worst < 0 or over[worst] >= -_BROKEN:
            further = None if more is None else more(work.z)
            if further is None:
                return work.z
            worst = work.with_row(*further)
        if not work.take_in(worst):
            return None
    return None


class _Shortest:
    """The shortest z that keeps some rows, at their edge, and the multipliers of those."""

    __slots__ = ("least", "push", "rate", "rows", "span", "triangle", "z")

    def __init__(self, rate: Floats, least: Floats) -> None:
        self.rate, self.least = rate, least
        self.z = np.zeros(rate.shape[1])
        self.rows: list[int] = []
        self.push = np.zeros(0)
        self.span, self.triangle = np.zeros((rate.shape[1], 0)), np.zeros((0, 0))

    def with_row(self, rate: Floats, least: float) -> int:
        """Add a row; return its number."""
        self.rate, self.least = np.concatenate([self.rate, rate[None]]), np.append(self.least, least)
        return len(self.least) - 1

    def take_in(self, row: int) -> bool:
        """Go to the shortest z that also keeps one more row; False where nothing keeps it."""
        way, mine = self.rate[row], 0.0
        length = float(way @ way)
        while True:
            seen = way @ self.span
            lean = self._solved(seen, 0)
            out = way - self.span @ seen
            room = float(out @ out)
            free = room > _LEAN**2 * length and len(self.rows) < len(self.z)
            whole = (float(self.least[row]) - float(way @ self.z)) / room if free else np.inf
            shares = np.where(lean > _TIED, self.push / np.maximum(lean, _TIED), np.inf)
            gone = int(shares.argmin()) if len(self.rows) else -1
            first = float(shares[gone]) if gone >= 0 else np.inf
            step = min(whole, first)
            if step == np.inf:
                return False
            if free:
                self.z = self.z + step * out
            self.push, mine = np.maximum(self.push - step * lean, 0.0), mine + step
            if whole <= first:
                self.rows.append(row)
                self.push = np.append(self.push, mine)
                self._factor()
                self.z = self.span @ self._solved(self.least[self.rows], 1)
                return True
            self.push = np.delete(self.push, gone)
            del self.rows[gone]
            self._factor()

    def _factor(self) -> None:
        if not self.rows:
            self.span, self.triangle = np.zeros((len(self.z), 0)), np.zeros((0, 0))
            return
        packed, tau, _, _ = dgeqrf(self.rate[self.rows].T, lwork=_WORK)
        self.triangle = packed[: len(self.rows)]
        self.span = dorgqr(packed, tau, lwork=_WORK)[0]

    def _solved(self, right: Floats, turned: int) -> Floats:
        """Return the answer of the triangle, or of it turned over, for a right side: straight from LAPACK, which `solve` wraps."""
        return np.asarray(dtrtrs(self.triangle, right, trans=turned)[0]) if self.rows else right
