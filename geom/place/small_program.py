"""Two exact programs with few unknowns and many rows: the least of a linear cost, and the shortest vector, among rows that hold.

A dual active set in C (DAQP) starts below the optimum and takes in broken rows until none is: tens of steps of a few
microseconds each. What it gives is believed only where every row holds and the multipliers prove it. Knows nothing of margins
or castings.

Source: Arnström, Bemporad and Axehill, A dual active-set solver for embedded quadratic programming using recursive LDL'
updates, 2022.
"""

from dataclasses import dataclass
from typing import Final

import daqp
import numpy as np

from geom.rays.analytic import Floats

_BROKEN: Final = 1e-8
"""A row broken by no more than this holds."""

_UNPROVED: Final = 1e-8
"""Multipliers whose sum misses the cost by no more than this prove the optimum."""

_SETTINGS: Final = {"primal_tol": 1e-10, "dual_tol": 1e-12, "eta_prox": 1e-12, "sing_tol": 1e-14, "iter_limit": 1000}
"""Asked of the solver: rows, multipliers and unknowns to far below what the answer is used for. With its own smallest pivot it
calls programs contradictory that leave a play of 1e-5 mm."""

_FAR: Final = 1e30
"""What the solver takes as no bound."""

_OPTIMAL: Final = 1


@dataclass(frozen=True, slots=True, eq=False)
class Corner:
    """Where a linear cost is least: x (k,); multipliers of the rows (n,), none below 0, and of the bounds on x (k,), low less high.

    push . rate + reach = cost.
    """

    x: Floats
    push: Floats
    reach: Floats


def least_cost(cost: Floats, rate: Floats, least: Floats, low: Floats, high: Floats) -> Corner | None:
    """Return where cost . x is least among rate . x >= least; None where there is no answer, or rounding leaves none.

    Args:
        cost: (k,); rate: (n, k); least: (n,).
        low, high: (k,) bounds on x; infinite for none.
    """
    found = _solved(None, cost, rate, least, low, high)
    return None if found is None else Corner(*found)


def shortest(rate: Floats, least: Floats) -> Floats | None:
    """Return the shortest z (k,) with rate . z >= least; None where there is none, or rounding leaves none."""
    k = rate.shape[1]
    ends = np.full(k, np.inf)
    found = _solved(np.eye(k), np.zeros(k), rate, least, -ends, ends)
    return None if found is None else found[0]


def _solved(
    square: Floats | None, cost: Floats, rate: Floats, least: Floats, low: Floats, high: Floats
) -> tuple[Floats, Floats, Floats] | None:
    """Return the least of x . square . x / 2 + cost . x, and the multipliers of the rows and of the bounds; None without.

    square . x + cost = push . rate + reach, to rounding.
    """
    lower = np.clip(np.concatenate([low, least]), -_FAR, _FAR)
    upper = np.concatenate([np.clip(high, -_FAR, _FAR), np.full(len(least), _FAR)])
    kinds, rate = np.zeros(len(lower), dtype=np.int32), np.ascontiguousarray(rate)
    x, _, state, more = daqp.solve(square, cost.copy(), rate, upper, lower, kinds, **_SETTINGS)
    if state != _OPTIMAL or float((rate @ x - least).min(initial=0.0)) < -_BROKEN:
        return None
    pushes = -np.asarray(more["lam"])
    push, reach = np.maximum(pushes[len(low) :], 0.0), pushes[: len(low)]
    off = push @ rate + reach - cost if square is None else push @ rate + reach - cost - square @ x
    good = float(np.abs(off).max()) <= _UNPROVED * (1.0 + float(np.abs(x).max()))
    return (np.asarray(x), push, reach) if good else None
