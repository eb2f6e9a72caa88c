"""The best least margin over many rows, and least squares among rows: exact programs with few unknowns.

A row says: margin_i = start_i + rate_i . x. With six unknowns only a handful of rows hold the answer, and the multipliers prove
it. Of very many rows some are worked on, and all looked at and the worst added until none is broken: what it ends with is the
optimum of the whole. Knows nothing of castings.

Sources: row generation for linear programs (Kelley 1960); HiGHS (Huangfu and Hall 2018) through SciPy where the small solver gives
up; least distance programming (Lawson and Hanson, Solving Least Squares Problems, 1974, chapter 23).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
from scipy.optimize import linprog

from geom.place.small_program import least_cost, shortest
from geom.rays.analytic import Floats, Ints

_BROKEN: Final = 1e-7
"""A row broken by no more than this, mm, holds."""

_ROUNDS: Final = 500

_SCAN: Final = 20_000
"""About how many rows the first ones are chosen from."""

_WORST: Final = 2000
"""Rows added to them at a time, the most broken: none that was worked on is left out again, so that it comes to an end."""

_MANY: Final = 60_000
"""With more rows than this only some are worked on, and all of them looked at now and then."""

_FAR: Final = 1e6
"""No margin lies so far below 0, mm."""

_CALM: Final = 1e-3
"""Weight, mm per mm, of staying put where a least squares leaves a direction open: elsewhere it moves the answer by a
millionth of its length; less would cost the digits that the kept rows need."""


class NoAnswerError(Exception):
    """The rows contradict each other: a fault of the caller, who keeps only what was reached."""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Margins that are linear in x.

    Attributes:
        start: (n,) margin at x = 0, mm.
        rate: (n, k) change of the margin with x.
        weight: (n,) how many times the least margin it must reach: 1 for plain, 0 for a row that must only hold.
    """

    start: Floats
    rate: Floats
    weight: Floats

    def over(self, x: Floats, margin: float) -> Floats:
        """Return how far each row (n,) is above what a least margin asks of it at x."""
        return np.asarray(self.start + self.rate @ x - margin * self.weight)

    def of(self, rows: Ints) -> "Rows":
        """Return some of the rows."""
        return Rows(self.start[rows], self.rate[rows], self.weight[rows])

    def kept_at(self, margin: float) -> "Kept":
        """Return the same rows as ones that must keep a margin, whatever else is improved."""
        return Kept(self.rate, margin * self.weight - self.start)

    def with_these(self, more: "Rows") -> "Rows":
        """Return these rows and some more."""
        pairs = ((self.start, more.start), (self.rate, more.rate), (self.weight, more.weight))
        return Rows(*(np.concatenate(pair) for pair in pairs))


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """Further rows that must hold: rate . x >= least."""

    rate: Floats
    least: Floats

    def and_these(self, more: "Kept") -> "Kept":
        """Return these and some more."""
        return Kept(np.concatenate([self.rate, more.rate]), np.concatenate([self.least, more.least]))


def none_kept(count: int) -> Kept:
    """Return no rows on `count` unknowns."""
    return Kept(np.zeros((0, count)), np.zeros(0))


More: TypeAlias = Callable[[Floats], Kept | None]
"""Gives a further row that an x breaks; None when it breaks none."""


@dataclass(frozen=True, slots=True, eq=False)
class Best:
    """The best least margin.

    Attributes:
        x: (k,) a place that reaches it.
        margin: weighted, mm.
        rows: (b,) the rows that hold it; weights: (b,) their multipliers.
        kept, kept_weights: the same for kept rows; reach: (k,) multipliers of the bounds on x.
        held: multiplier of the upper limit on the margin: above 0 when that limit was reached.
        corner: all rows that meet there: of the margins, of the kept ones (counted on), and sides of bounds (below 0): where a like
            program may start; None when not known.

    Proof of optimality: the weights are not negative; sum(weights * weight) + held = 1; and
    sum(weights * rate) + sum(kept_weights * kept.rate) + reach = 0.
    """

    x: Floats
    margin: float
    rows: Ints
    weights: Floats
    kept: Ints
    kept_weights: Floats
    reach: Floats
    held: float
    corner: Ints | None = None


def best_margin(
    rows: Rows, low: Floats, high: Floats, kept: Kept | None = None, most: float = np.inf, start: Ints | None = None
) -> Best:
    """Return the x between bounds that makes the least weighted margin as large as can be.

    Args:
        low, high: (k,) bounds on x, mm.
        kept: rows that must hold.
        most: a margin that is enough, mm.
        start: `Best.corner` of a like program.

    Raises:
        NoAnswerError: the kept rows contradict each other.
    """
    kept = none_kept(len(low)) if kept is None else kept
    count = len(rows.start)
    if count <= _MANY:
        return _exact(rows, low, high, kept, most, start) or _by_highs(rows, low, high, kept, most)
    pool = np.arange(0, count, -(-count // _SCAN))
    for _ in range(_ROUNDS):
        found = best_margin(rows.of(pool), low, high, kept, most)
        over = rows.over(found.x, found.margin)
        if float(over.min()) >= -_BROKEN:
            return replace(found, rows=pool[found.rows])
        pool = np.union1d(np.argpartition(over, _WORST)[:_WORST], pool)
    raise NoAnswerError(f"{_ROUNDS} rounds were not enough")


def _exact(rows: Rows, low: Floats, high: Floats, kept: Kept, most: float, start: Ints | None) -> Best | None:
    """Return the optimum where few steps find it and the multipliers prove it; freedoms without room are left out."""
    free, count, others = np.flatnonzero(high > low), len(rows.start), len(kept.least)
    fixed = np.where(high > low, 0.0, low)
    rate = np.empty((count + others, len(free) + 1))
    rate[:count, :-1], rate[:count, -1] = rows.rate[:, free], -rows.weight
    rate[count:, :-1], rate[count:, -1] = kept.rate[:, free], 0.0
    least = np.concatenate([-(rows.start + rows.rate @ fixed), kept.least - kept.rate @ fixed])
    cost = np.append(np.zeros(len(free)), -1.0)
    top = most if most < np.inf else _beyond(rows, low, high)
    begin = None if start is None else np.where(start < 0, start + count + others + 2 * len(cost), start)
    corner = least_cost(cost, rate, least, np.append(low[free], -_FAR), np.append(high[free], top), begin)
    if corner is None:
        return None
    x, push = fixed.copy(), np.zeros(count + others + 2 * len(cost))
    x[free], push[corner.rows] = corner.x[:-1], corner.push
    held = float(push[-1])
    if most == np.inf and held > 0:
        return None
    weights, kept_weights = push[:count], push[count : count + others]
    found = _best(x, float(corner.x[-1]), weights, kept_weights, -(weights @ rows.rate + kept_weights @ kept.rate), held)
    at = corner.rows
    return replace(found, corner=np.where(at >= count + others, at - len(push), at))


def _beyond(rows: Rows, low: Floats, high: Floats) -> float:
    """Return a margin beyond what any row allows."""
    able = rows.weight > 0
    if not able.any():
        raise NoAnswerError("no row limits the margin")
    furthest = np.maximum(np.abs(low), np.abs(high))
    return 1.0 + float(((rows.start[able] + np.abs(rows.rate[able]) @ furthest) / rows.weight[able]).min())


def _best(x: Floats, margin: float, weights: Floats, kept_weights: Floats, reach: Floats, held: float) -> Best:
    """Return a place and the multipliers of all rows as the best margin."""
    holding, keeping = np.flatnonzero(weights > 0), np.flatnonzero(kept_weights > 0)
    return Best(x, margin, holding, weights[holding], keeping, kept_weights[keeping], reach, held)


def direct_margin(rows: Rows, low: Floats, high: Floats) -> Best:
    """Return the same from one call of HiGHS on all rows: slow, for comparison."""
    return _by_highs(rows, low, high, none_kept(len(low)), np.inf)


def _by_highs(rows: Rows, low: Floats, high: Floats, kept: Kept, most: float) -> Best:
    k, count = len(low), len(rows.start)
    upper = np.zeros((count + len(kept.least), k + 1))
    upper[:count, :k], upper[:count, k], upper[count:, :k] = -rows.rate, rows.weight, -kept.rate
    found = linprog(
        np.append(np.zeros(k), -1.0),
        A_ub=upper,
        b_ub=np.concatenate([rows.start, -kept.least]),
        bounds=[*zip(low.tolist(), high.tolist(), strict=True), (-np.inf, most)],
        method="highs-ds",
        options={"presolve": count > _SMALL, "primal_feasibility_tolerance": EXACT, "dual_feasibility_tolerance": EXACT},
    )
    if found.x is None or found.status != 0:
        raise NoAnswerError(found.message)
    push = np.maximum(-found.ineqlin.marginals, 0.0)
    reach = (found.lower.marginals + found.upper.marginals)[:k]
    return _best(np.asarray(found.x[:k]), float(found.x[k]), push[:count], push[count:], reach, -float(found.upper.marginals[k]))


EXACT: Final = 1e-9
"""Asked of HiGHS, mm; asked for 1e-10, its finest, it took 16,000 steps instead of 22 on a part with many equal rows."""

_SMALL: Final = 2000
"""With fewer rows than this, looking for a simpler program first takes longer than solving this one."""


# --- least squares among rows -------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """An answer of least squares: x (k,), and the multipliers of the kept rows (n,), none below 0."""

    x: Floats
    push: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Wish:
    """The x of the least |square x - goal|; where that leaves a direction open, the one nearest `rest`, so there is only one.

    Attributes:
        square: (p, k); goal: (p,); rest: (k,).
    """

    square: Floats
    goal: Floats
    rest: Floats


def least_squares(wish: Wish, kept: Kept, low: Floats, high: Floats, more: More | None = None) -> Nearest:
    """Return the x of a wish among those that keep some rows.

    Args:
        kept: rows that hold.
        low, high: (k,) bounds on x.
        more: gives a further row that an x breaks; None when it breaks none.

    Raises:
        NoAnswerError: nothing keeps all the rows.
    """
    turned, shape = np.linalg.qr(np.concatenate([wish.square, _CALM * np.eye(len(low))]))
    back = np.linalg.inv(shape)
    middle = back @ (turned.T @ np.concatenate([wish.goal, _CALM * wish.rest]))
    rate = np.concatenate([back, -back, kept.rate @ back])
    least = np.concatenate([low - middle, middle - high, kept.least - kept.rate @ middle])
    for _ in range(_ROUNDS):
        found = shortest(rate, least)
        if found is None:
            raise NoAnswerError("the rows to keep contradict each other")
        x = np.asarray(middle + back @ found[0])
        row = None if more is None else more(x)
        if row is None:
            return Nearest(x, found[1][2 * len(low) :])
        rate, least = np.concatenate([rate, row.rate @ back]), np.concatenate([least, row.least - row.rate @ middle])
    raise NoAnswerError(f"{_ROUNDS} rounds were not enough")
