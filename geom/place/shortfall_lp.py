"""The least total shortfall of faces whose margins are linear in a small move, and keeping it.

A face's margin is that of its least row; its shortfall is how far that is below 0. The total is convex and piecewise
linear: the least of it is a linear program with one further unknown a face (a hinge), and keeping it needs only those
of its straight pieces (cuts, Kelley 1960) that an aim after it would break. Lengths mm. Knows nothing of castings.

Sources: Kelley, The cutting-plane method, 1960; HiGHS (Huangfu and Hall 2018) through SciPy.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import linprog

from geom.place.margin_lp import EXACT, NoAnswerError, Rows, worst_broken
from geom.place.small_program import least_cost
from geom.rays.analytic import Floats, Ints

_ROUNDS: Final = 500
_BROKEN: Final = 1e-7
"""A total above its limit by no more than this, mm, keeps it."""


@dataclass(frozen=True, slots=True, eq=False)
class LeastShortfall:
    """Where the total shortfall is least: x (k,), the total, mm, and the rows that were worked on."""

    x: Floats
    total: float
    looked_at: Ints


def thinnest_rows(margin: Floats, face: Ints) -> Ints:
    """Return the row of least margin on each face, faces in order; the first of equals."""
    order = np.lexsort((margin, face))
    return np.asarray(order[np.unique(face[order], return_index=True)[1]])


def total_shortfall(margin: Floats, face: Ints) -> float:
    """Return the sum over faces of what the least margin of each (n,) is below 0, mm."""
    return 0.0 - float(margin[_thinnest_short(margin, face)].sum())


def _thinnest_short(margin: Floats, face: Ints) -> Ints:
    """Return the row of least margin on each face that is short."""
    short = np.flatnonzero(margin < 0.0)
    return short[thinnest_rows(margin[short], face[short])]


def least_shortfall(rows: Rows, face: Ints, floor: float, low: Floats, high: Floats, start: Floats, seed: Ints) -> LeastShortfall:
    """Return the x between bounds of least total shortfall, among those where no margin is below a floor.

    Args:
        rows: margins, all of weight 1; face: (n,) the face each is on.
        floor: mm, below 0; some x must keep it.
        start: (k,) a place to begin from; seed: rows to begin with.

    Raises:
        NoAnswerError: no x keeps the floor.
    """
    number = np.unique(face, return_inverse=True)[1]
    count = int(number.max()) + 1
    found = _cornered(rows, number, count, floor, low, high)
    if found is not None:
        return found
    active = np.union1d(seed, thinnest_rows(rows.over(start, 0.0), face))
    for _ in range(_ROUNDS):
        x, short = _program(rows.of(active), number[active], count, floor, low, high)
        more = worst_broken(-rows.over(x, 0.0) - short[number], active)
        if not more.size:
            return LeastShortfall(x, float(short.sum()), active)
        active = np.concatenate([active, more])
    raise NoAnswerError(f"{_ROUNDS} rounds were not enough")


def _cornered(rows: Rows, number: Ints, count: int, floor: float, low: Floats, high: Floats) -> LeastShortfall | None:
    """Return the optimum where few steps find it and the multipliers prove it; freedoms without room are left out."""
    free = np.flatnonzero(high > low)
    n, k = len(rows.start), len(free)
    rate = np.zeros((n + 2 * (k + count), k + count))
    rate[:n, :k], rate[np.arange(n), k + number] = rows.rate[:, free], 1.0
    rate[n : n + k + count], rate[n + k + count :] = np.eye(k + count), -np.eye(k + count)
    fixed = np.where(high > low, 0.0, low)
    most = np.full(count, max(-floor, 0.0))
    least = np.concatenate([-(rows.start + rows.rate @ fixed), low[free], np.zeros(count), -high[free], -most])
    corner = least_cost(np.append(np.zeros(k), np.ones(count)), rate, least, np.arange(n, n + k + count))
    if corner is None:
        return None
    x = fixed.copy()
    x[free] = corner.x[:k]
    return LeastShortfall(x, float(np.maximum(corner.x[k:], 0.0).sum()), np.sort(corner.rows[corner.rows < n]))


def _program(rows: Rows, number: Ints, count: int, floor: float, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    k = len(low)
    hinge = -(number[:, None] == np.arange(count)[None]).astype(float)
    found = linprog(
        np.concatenate([np.zeros(k), np.ones(count)]),
        A_ub=np.concatenate([-rows.rate, hinge], axis=1),
        b_ub=rows.start,
        bounds=[*zip(low.tolist(), high.tolist(), strict=True), *[(0.0, max(-floor, 0.0))] * count],
        method="highs-ds",
        options={"presolve": False, "primal_feasibility_tolerance": EXACT, "dual_feasibility_tolerance": EXACT},
    )
    if found.x is None or found.status != 0:
        raise NoAnswerError(found.message)
    return np.asarray(found.x[:k]), np.maximum(np.asarray(found.x[k:]), 0.0)


def cut_at(rows: Rows, face: Ints, x: Floats, most: float) -> tuple[Floats, float] | None:
    """Return the straight piece of the total that x breaks, as rate . x >= least; None where the total is at most `most`."""
    margin = rows.over(x, 0.0)
    thin = _thinnest_short(margin, face)
    if -float(margin[thin].sum()) <= most + _BROKEN:
        return None
    return rows.rate[thin].sum(axis=0), -most - float(rows.start[thin].sum())
