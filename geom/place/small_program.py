"""Two exact programs with few unknowns and many rows: the least of a linear cost, and the shortest vector, among rows that hold.

Both start below the optimum and take in broken rows until none is, and both are proved by their multipliers. The linear one may
begin at the rows that met in a like case. The quadratic one is DAQP's, in C, which goes round in circles on linear costs with many
rows alike. Knows nothing of margins or castings.

Sources: dual simplex method (Lemke, The dual method of solving the linear programming problem, 1954); Arnström, Bemporad and
Axehill, A dual active-set solver for embedded quadratic programming using recursive LDL' updates, 2022.
"""

from dataclasses import dataclass
from typing import Final

import daqp
import numpy as np

from geom.rays.analytic import Floats, Ints

_BROKEN: Final = 1e-9
"""A row broken by no more than this holds."""

_PIVOT: Final = 1e-8
"""A row takes the place of one it leans along by more than this share; of several that may go, of the one it leans along most."""

_STEPS: Final = 400
"""More steps than this go round in circles, or rounding has won."""

_AFRESH: Final = 20
"""After so many steps the inverse is worked out afresh."""

_SETTINGS: Final = {"primal_tol": 1e-10, "dual_tol": 1e-12, "sing_tol": 1e-14, "iter_limit": 2000}
"""Asked of DAQP: rows and multipliers to far below what the answer is used for. With its own smallest pivot it calls programs
contradictory that leave a play of 1e-5 mm."""

_FAR: Final = 1e30
"""What DAQP takes as no bound."""

_PROVED: Final = 1e-8
"""Multipliers whose sum misses the vector by no more than this, and rows broken by no more, prove it the shortest."""

_OPTIMAL: Final = 1


@dataclass(frozen=True, slots=True, eq=False)
class Corner:
    """Where a linear cost is least: x (k,), the k rows that meet there, and their multipliers, none below 0.

    Rows are numbered on: those of the program (n), then x >= low (k), then x <= high (k).
    """

    x: Floats
    rows: Ints
    push: Floats


def least_cost(cost: Floats, rate: Floats, least: Floats, low: Floats, high: Floats, start: Ints | None = None) -> Corner | None:
    """Return where cost . x is least among rate . x >= least; None where there is no answer, or rounding leaves none.

    Args:
        cost: (k,); rate: (n, k); least: (n,).
        low, high: (k,) bounds on x.
        start: (k,) rows to begin with; sides of bounds stand in for those that do not push the same way.
    """
    sides = np.eye(len(cost))
    rate, least = np.concatenate([rate, sides, -sides]), np.concatenate([least, low, -high])
    count = len(least) - 2 * len(cost)
    begin = None if start is None else _pushing(cost, rate, start, count)
    if begin is not None:
        found = _descended(cost, rate, least, *begin)
        if found is not None:
            return found
    ends = count + np.arange(len(cost)) + np.where(cost < 0, len(cost), 0)
    return _descended(cost, rate, least, ends, np.diag(np.where(cost < 0, -1.0, 1.0)))


def _pushing(cost: Floats, rate: Floats, rows: Ints, count: int) -> tuple[Ints, Floats] | None:
    """Return rows that all push one way, and their inverse: the given ones, but for sides of bounds (from `count` on) for some.

    Each time the row that pushes back most gives way to the side that leaves the least push back.
    """
    rows, sides = rows.copy(), rate[count:]
    for _ in range(len(rows) + 1):
        inverse = _inverse(rate[rows])
        if inverse is None:
            return None
        push = cost @ inverse
        out = int(push.argmin())
        if push[out] >= -_BROKEN:
            return rows, inverse
        along = sides @ inverse
        able = np.flatnonzero(along[:, out] < -_PIVOT)
        if not len(able):
            return None
        new = push[out] / along[able, out]
        then = push - along[able] * new[:, None]
        then[:, out] = new
        rows[out] = count + able[int(np.minimum(then, 0.0).sum(axis=1).argmax())]
    return None


def _descended(cost: Floats, rate: Floats, least: Floats, start: Ints, inverse: Floats) -> Corner | None:
    """Return the answer, begun at rows that all push one way; inverse: (k, k) of theirs."""
    rows, done = start.copy(), _AFRESH
    for step in range(_STEPS):
        if step >= done:
            fresh = _inverse(rate[rows])
            if fresh is None:
                return None
            inverse, done = fresh, step + _AFRESH
        push, over = cost @ inverse, rate @ (inverse @ least[rows])
        over -= least
        worst = int(over.argmin())
        if over[worst] >= -_BROKEN:
            if step == done - _AFRESH:
                return Corner(inverse @ least[rows], rows, np.maximum(push, 0.0)) if push.min() >= -_BROKEN else None
            done = step + 1
            continue
        along = rate[worst] @ inverse
        out = _leaves(along.tolist(), push.tolist())
        if out < 0:
            return None
        rows[out] = worst
        turned = along / along[out]
        turned[out] -= 1.0 / along[out]
        inverse = inverse - inverse[:, out, None] * turned
    return None


def _leaves(along: list[float], push: list[float]) -> int:
    """Return which row gives way to one that leans along the rows so much; -1 where none can."""
    least_lean = _PIVOT * max(1.0, max(map(abs, along)))
    able = [(i, a, max(p, 0.0)) for i, (a, p) in enumerate(zip(along, push, strict=True)) if a > least_lean]
    if not able:
        return -1
    limit = min((p + _BROKEN) / a for _, a, p in able)
    return max((a, -i) for i, a, p in able if p / a <= limit)[1] * -1


def _inverse(square: Floats) -> Floats | None:
    try:
        return np.asarray(np.linalg.inv(square))
    except np.linalg.LinAlgError:
        return None


def shortest(rate: Floats, least: Floats) -> tuple[Floats, Floats] | None:
    """Return the shortest z (k,) with rate . z >= least (n,), and the multipliers (n,).

    Returns:
        None where there is none, or rounding leaves none.
    """
    count, k = rate.shape
    ends, kinds = np.full(count, _FAR), np.zeros(count, dtype=np.int32)
    z, _, state, more = daqp.solve(np.eye(k), np.zeros(k), rate, ends, least, kinds, **_SETTINGS)
    if state != _OPTIMAL:
        return None
    found, push = np.asarray(z), -np.asarray(more["lam"])
    used = np.flatnonzero(push)
    holds = float((rate @ found - least).min(initial=0.0)) >= -_PROVED
    off = push[used] @ rate[used] - found
    proved = holds and float(np.abs(off).max()) <= _PROVED * (1.0 + float(np.abs(found).max()))
    return (found, push) if proved else None
