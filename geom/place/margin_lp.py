"""The best least margin over many rows, and least squares among rows: small exact programs with few unknowns.

A row says: margin_i = start_i + rate_i . x. With six unknowns only a handful of
rows hold the answer, so the solver works on those that matter, looks which of
all rows it breaks, adds the worst and goes again; what it ends with is the
optimum of the whole, and the multipliers prove it. Knows nothing of castings.

Sources: row generation for linear programs (Kelley 1960); HiGHS (Huangfu and
Hall 2018) through SciPy; least distance programming (Lawson and Hanson, Solving
Least Squares Problems, 1974, chapter 23).
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.optimize import linprog

from geom.place.small_program import Corner, More, least_cost, shortest
from geom.rays.analytic import Floats, Ints

WORST: Final = 30
"""Rows added at a time."""

_BROKEN: Final = 1e-7
"""A row broken by no more than this, mm, holds."""

_ROUNDS: Final = 500

_SCAN: Final = 20_000
"""About how many rows the first ones are chosen from."""

_MANY: Final = 60_000
"""With more rows than this only those near the last answer are worked on, and all of them looked at now and then."""

_STRIDE, _EACH_WAY = 2.0, 3
"""How far off x = 0, mm, the first rows are looked for, and how many each way."""

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

    def kept_at(self, margin: float) -> "Rows":
        """Return the same rows as ones that must keep a margin, whatever else is improved."""
        return Rows(self.start - margin * self.weight, self.rate, np.zeros(len(self.start)))

    def with_these(self, more: "Rows") -> "Rows":
        """Return these rows and some more."""
        pairs = ((self.start, more.start), (self.rate, more.rate), (self.weight, more.weight))
        return Rows(*(np.concatenate(pair) for pair in pairs))


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """Further rows that must hold: rate . x >= least."""

    rate: Floats
    least: Floats

    def and_these(self, rate: Floats, least: Floats) -> "Kept":
        """Return these and some more."""
        return Kept(np.concatenate([self.rate, rate]), np.concatenate([self.least, least]))


def none_kept(count: int) -> Kept:
    """Return no rows on `count` unknowns."""
    return Kept(np.zeros((0, count)), np.zeros(0))


@dataclass(frozen=True, slots=True, eq=False)
class Best:
    """The best least margin.

    Attributes:
        x: (k,) a place that reaches it.
        margin: weighted, mm.
        rows: (b,) the rows that hold it; weights: (b,) their multipliers.
        kept, kept_weights: the same for kept rows; reach: (k,) multipliers of the bounds on x.
        held: multiplier of the upper limit on the margin: above 0 when that limit was reached.
        looked_at: rows that were worked on: a good start for a like program.

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
    looked_at: Ints


def best_margin(
    rows: Rows, low: Floats, high: Floats, kept: Kept | None = None, most: float = np.inf, seed: Ints | None = None
) -> Best:
    """Return the x between bounds that makes the least weighted margin as large as can be.

    Args:
        low, high: (k,) bounds on x, mm.
        kept: rows that must hold.
        most: a margin that is enough, mm.
        seed: rows to begin with; a few that are worst here and there when None.

    Raises:
        NoAnswerError: the kept rows contradict each other.
    """
    kept = none_kept(len(low)) if kept is None else kept
    count = len(rows.start)
    if count <= _MANY:
        return _cornered(rows, low, high, kept, most) or _grown(rows, low, high, kept, most, seed)
    pool = np.arange(0, count, -(-count // _SCAN))
    if seed is not None:
        pool = np.union1d(pool, seed)
    for _ in range(_ROUNDS):
        found = best_margin(rows.of(pool), low, high, kept, most)
        over = rows.over(found.x, found.margin)
        if float(over.min()) >= -_BROKEN:
            return replace(found, rows=pool[found.rows], looked_at=pool[found.looked_at])
        pool = np.union1d(np.argpartition(over, _SCAN)[:_SCAN], pool[found.looked_at])
    raise NoAnswerError(f"{_ROUNDS} rounds were not enough")


def _cornered(rows: Rows, low: Floats, high: Floats, kept: Kept, most: float) -> Best | None:
    """Return the optimum where few steps find it and the multipliers prove it; freedoms without room are left out."""
    free = np.flatnonzero(high > low)
    count, others, k = len(rows.start), len(kept.least), len(free)
    fixed = np.where(high > low, 0.0, low)
    rate = np.zeros((count + others + 2 * k + 1, k + 1))
    rate[:count, :k], rate[:count, k] = rows.rate[:, free], -rows.weight
    rate[count : count + others, :k] = kept.rate[:, free]
    sides = np.arange(count + others, count + others + k)
    rate[sides, np.arange(k)], rate[sides + k, np.arange(k)] = 1.0, -1.0
    rate[-1, k] = -1.0
    least = np.concatenate(
        [
            -(rows.start + rows.rate @ fixed),
            kept.least - kept.rate @ fixed,
            low[free],
            -high[free],
            [-_enough(rows, low, high, most)],
        ]
    )
    cost = np.append(np.zeros(k), -1.0)
    corner = least_cost(cost, rate, least, np.append(sides, len(least) - 1))
    if corner is None or (most == np.inf and corner.push[corner.rows == len(least) - 1].any()):
        return None
    return _best(rows, kept, corner, free, fixed, most)


def _enough(rows: Rows, low: Floats, high: Floats, most: float) -> float:
    """Return an upper limit on the margin: the one asked for, else one beyond what any row allows."""
    if most < np.inf:
        return most
    furthest = np.maximum(np.abs(low), np.abs(high))
    able = rows.weight > 0
    if not able.any():
        raise NoAnswerError("no row limits the margin")
    return 1.0 + float(((rows.start[able] + np.abs(rows.rate[able]) @ furthest) / rows.weight[able]).min())


def _best(rows: Rows, kept: Kept, corner: Corner, free: Ints, fixed: Floats, most: float) -> Best:
    """Return a corner as the best margin, with the multipliers that prove it."""
    count, others = len(rows.start), len(kept.least)
    x = fixed.copy()
    x[free] = corner.x[:-1]
    order = np.argsort(corner.rows)
    which, push = corner.rows[order], corner.push[order]
    pushing = push > 0
    mine = (which < count) & pushing
    theirs = (which >= count) & (which < count + others) & pushing
    weights, kept_weights = push[mine], push[theirs]
    holding, keeping = which[mine], which[theirs] - count
    return Best(
        x=x,
        margin=float(corner.x[-1]),
        rows=holding,
        weights=weights,
        kept=keeping,
        kept_weights=kept_weights,
        reach=-(weights @ rows.rate[holding] + kept_weights @ kept.rate[keeping]),
        held=float(push[which == count + others + 2 * len(free)].sum()) if most < np.inf else 0.0,
        looked_at=which[which < count],
    )


def _grown(rows: Rows, low: Floats, high: Floats, kept: Kept, most: float, seed: Ints | None) -> Best:
    """Return the optimum by HiGHS: solving for a few rows and adding the worst broken until none is."""
    active = first_rows(rows) if seed is None else seed
    for _ in range(_ROUNDS):
        answer = _small_program(rows, active, low, high, kept, most)
        more = worst_broken(-rows.over(answer.x, answer.margin), active)
        if not more.size:
            return answer
        active = np.concatenate([active, more])
    raise NoAnswerError(f"{_ROUNDS} rounds were not enough")


def direct_margin(rows: Rows, low: Floats, high: Floats) -> Best:
    """Return the same from one call on all rows: slow, for comparison."""
    return _small_program(rows, np.arange(len(rows.start)), low, high, none_kept(len(low)), np.inf)


def first_rows(rows: Rows) -> Ints:
    """Return rows to begin with: the worst at x = 0 and after a stride each way along each unknown, among an even choice."""
    count, k = rows.rate.shape
    some = np.arange(0, count, -(-count // _SCAN))
    found = [_smallest(rows.start[some], WORST)]
    for way in _STRIDE * np.concatenate([np.eye(k), -np.eye(k)]):
        found.append(_smallest(rows.start[some] + rows.rate[some] @ way, _EACH_WAY))
    return some[np.unique(np.concatenate(found))]


def _smallest(values: Floats, count: int) -> Ints:
    """Return the indices of the smallest values; the first of equals, so that the order is settled."""
    if len(values) <= count:
        return np.arange(len(values))
    limit = np.partition(values, count - 1)[count - 1]
    near = np.flatnonzero(values <= limit)
    return np.asarray(near[np.argsort(values[near], kind="stable")[:count]])


def worst_broken(broken: Floats, active: Ints) -> Ints:
    """Return the rows most broken, by more than rounding, that are not yet looked at."""
    wrong = np.flatnonzero(broken > _BROKEN)
    if not wrong.size:
        return wrong
    wrong = wrong[_smallest(-broken[wrong], WORST + len(active))]
    return wrong[~np.isin(wrong, active)][:WORST]


def _small_program(rows: Rows, active: Ints, low: Floats, high: Floats, kept: Kept, most: float) -> Best:
    k = len(low)
    cost = np.zeros(k + 1)
    cost[k] = -1.0
    upper = np.concatenate(
        [
            np.concatenate([-rows.rate[active], rows.weight[active, None]], axis=1),
            np.concatenate([-kept.rate, np.zeros((len(kept.least), 1))], axis=1),
        ]
    )
    right = np.concatenate([rows.start[active], -kept.least])
    bounds = [*zip(low.tolist(), high.tolist(), strict=True), (-np.inf, most)]
    found = linprog(
        cost,
        A_ub=upper,
        b_ub=right,
        bounds=bounds,
        method="highs-ds",
        options={"presolve": len(active) > _SMALL, "primal_feasibility_tolerance": EXACT, "dual_feasibility_tolerance": EXACT},
    )
    if found.x is None or found.status != 0:
        raise NoAnswerError(found.message)
    push = np.maximum(-found.ineqlin.marginals, 0.0)
    mine, theirs = push[: len(active)], push[len(active) :]
    holding, keeping = np.flatnonzero(mine > 0), np.flatnonzero(theirs > 0)
    reach = -(found.lower.marginals + found.upper.marginals)[:k]
    return Best(
        x=np.asarray(found.x[:k]),
        margin=float(found.x[k]),
        rows=active[holding],
        weights=mine[holding],
        kept=keeping,
        kept_weights=theirs[keeping],
        reach=-reach,
        held=float(-found.upper.marginals[k]),
        looked_at=active,
    )


EXACT: Final = 1e-9
"""Asked of HiGHS, mm; asked for 1e-10, its finest, it took 16,000 steps instead of 22 on a part with many equal rows."""

_SMALL: Final = 2000
"""With fewer rows than this, looking for a simpler program first takes longer than solving this one."""


# --- least squares among rows -------------------------------------------------


def least_squares(
    square: Floats,
    goal: Floats,
    rest: Floats,
    rows: Rows,
    margin: float,
    kept: Kept,
    low: Floats,
    high: Floats,
    more: More | None = None,
) -> Floats:
    """Return the x of the least |square x - goal|, among those that keep a least margin and some rows.

    Where that leaves a direction open, the x nearest `rest` is taken, so there is only one answer.

    Args:
        square: (p, k); goal: (p,); rest: (k,).
        margin: every weighted margin stays at least this.
        kept: further rows that hold.
        low, high: (k,) bounds on x.
        more: gives a further row that an x breaks; None when it breaks none.

    Raises:
        NoAnswerError: nothing keeps all the rows.
    """
    k = len(low)
    turned, shape = np.linalg.qr(np.concatenate([square, _CALM * np.eye(k)]))
    back = np.linalg.inv(shape)
    free = back @ (turned.T @ np.concatenate([goal, _CALM * rest]))
    rate = np.concatenate([rows.rate, kept.rate, np.eye(k), -np.eye(k)])
    least = np.concatenate([margin * rows.weight - rows.start, kept.least, low, -high])

    def further(z: Floats) -> tuple[Floats, float] | None:
        row = None if more is None else more(free + back @ z)
        return None if row is None else (row[0] @ back, row[1] - float(row[0] @ free))

    found = shortest(rate @ back, least - rate @ free, further)
    if found is None:
        raise NoAnswerError("the rows to keep contradict each other")
    return np.asarray(free + back @ found)
