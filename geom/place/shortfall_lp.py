"""The least total shortfall of faces whose margins are linear in a small move, and keeping it.

A face's margin is that of its least row; its shortfall is how far that is below 0. The total is convex and piecewise
linear: the least of it is a linear program with one further unknown a face (a hinge), and keeping it needs only those
of its straight pieces (cuts, Kelley 1960) that an aim after it would break. Lengths mm. Knows nothing of castings.

Sources: Kelley, The cutting-plane method, 1960; HiGHS (Huangfu and Hall 2018) through SciPy where the small solver gives up.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import linprog

from geom.place.margin_lp import EXACT, Kept, NoAnswerError, Rows, Wish, least_squares
from geom.place.small_program import least_cost
from geom.rays.analytic import Floats, Ints

_BROKEN: Final = 1e-9
"""A total above its limit by no more than this, mm, keeps it."""


_FEW: Final = 300
"""Rows that a cut is foreseen from: the thinnest beside that of their face, or beside what is asked where that is more."""

_SHARES: Final = np.array([1.0, 0.3, 0.1, 0.03, 0.01])
"""How far along the way from a place that keeps the total to one that breaks it pieces are taken: a third of the programs are
solved that pieces at its end alone take."""


@dataclass(frozen=True, slots=True, eq=False)
class LeastShortfall:
    """Where the total shortfall is least: x (k,), the total, mm, and the rows that meet there (as `margin_lp.Best.corner`)."""

    x: Floats
    total: float
    corner: Ints | None


def thinnest_rows(margin: Floats, face: Ints) -> Ints:
    """Return the row of least margin on each face, faces in order; the first of equals."""
    order = np.argsort(face, kind="stable")
    at, begin = margin[order], _begins(face[order])
    if not len(begin):
        return order
    least = np.minimum.reduceat(at, begin)
    thin = np.flatnonzero(at == np.repeat(least, np.diff(begin, append=len(at))))
    return np.asarray(order[thin[np.searchsorted(thin, begin)]])


def _begins(face: Ints) -> Ints:
    """Return where each face begins among sorted ones (n,)."""
    return np.flatnonzero(np.diff(face, prepend=-1))


def total_shortfall(margin: Floats, face: Ints) -> float:
    """Return the sum over faces of what the least margin of each (n,) is below 0, mm."""
    return 0.0 - float(margin[thinnest_short(margin, face)].sum())


def thinnest_short(margin: Floats, face: Ints) -> Ints:
    """Return the row of least margin on each face that is short."""
    short = np.flatnonzero(margin < 0.0)
    return short[thinnest_rows(margin[short], face[short])]


@dataclass(frozen=True, slots=True, eq=False)
class ByFace:
    """Margins face by face: which row of theirs each is (n,), the rows so ordered, and where each face begins (f,).

    `wide` (n, k + f) are their rates on x and on one further unknown a face, what it lacks.
    """

    order: Ints
    rows: Rows
    begin: Ints
    wide: Floats


def by_face(rows: Rows, face: Ints) -> ByFace:
    """Return margins face by face; face: (n,) the face each is on."""
    order = np.argsort(face, kind="stable")
    sorted_, begin = rows.of(order), _begins(face[order])
    hinge = np.repeat(np.eye(len(begin)), np.diff(begin, append=len(order)), axis=0)
    return ByFace(order, sorted_, begin, np.concatenate([sorted_.rate, hinge], axis=1))


def least_shortfall(margins: ByFace, floor: float, low: Floats, high: Floats, start: Ints | None = None) -> LeastShortfall:
    """Return the x between bounds of least total shortfall, among those where no margin is below a floor.

    Args:
        margins: all of weight 1.
        floor: mm, below 0; some x must keep it.
        start: `LeastShortfall.corner` of a like program.

    Raises:
        NoAnswerError: no x keeps the floor.
    """
    rows, count = margins.rows, len(margins.begin)
    free, x = np.flatnonzero(high > low), np.where(high > low, 0.0, low)
    k, n, least = len(free), len(rows.start), -(rows.start + rows.rate @ x)
    rate = margins.wide if k == len(x) else np.concatenate([rows.rate[:, free], margins.wide[:, len(x) :]], axis=1)
    low, high = np.append(low[free], np.zeros(count)), np.append(high[free], np.full(count, max(-floor, 0.0)))
    cost = np.append(np.zeros(k), np.ones(count))
    every, begin = n + 2 * len(cost), None
    if start is not None:
        place = np.empty(n, dtype=np.int64)
        place[margins.order] = np.arange(n)
        begin = np.where(start < 0, start + every, place[np.maximum(start, 0)])
    corner = least_cost(cost, rate, least, low, high, begin)
    found = _by_highs(cost, rate, least, low, high) if corner is None else corner.x
    x[free] = found[:k]
    at = None if corner is None else np.where(corner.rows >= n, corner.rows - every, margins.order[np.minimum(corner.rows, n - 1)])
    return LeastShortfall(x, float(np.maximum(found[k:], 0.0).sum()), at)


def _by_highs(cost: Floats, rate: Floats, least: Floats, low: Floats, high: Floats) -> Floats:
    found = linprog(
        cost,
        A_ub=-rate,
        b_ub=-least,
        bounds=[*zip(low.tolist(), high.tolist(), strict=True)],
        method="highs-ds",
        options={"presolve": False, "primal_feasibility_tolerance": EXACT, "dual_feasibility_tolerance": EXACT},
    )
    if found.x is None or found.status != 0:
        raise NoAnswerError(found.message)
    return np.asarray(found.x)


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """Bounds on x (k,), and a floor of all margins, mm."""

    low: Floats
    high: Floats
    floor: float


def cuts_at(margins: ByFace, inside: Floats, x: Floats, most: float) -> list[Ints]:
    """Return lots of rows, at most one a face, whose sums are straight pieces of the total that x breaks.

    Args:
        inside: a place that keeps the total: pieces are taken on the way to it as well, as those near the limit cut deepest.
        most: the limit, mm.
    """
    rows, begin = margins.rows, margins.begin
    at_x = rows.over(x, 0.0)
    if -float(np.minimum(np.minimum.reduceat(at_x, begin), 0.0).sum()) <= most + _BROKEN:
        return []
    margin = rows.start + (inside + np.outer(_SHARES, x - inside)) @ rows.rate.T
    short = np.minimum.reduceat(margin, begin, axis=1) < 0.0
    ends = np.append(begin[1:], len(at_x))
    thin = np.zeros(short.shape, dtype=np.int64)
    for i in np.flatnonzero(short.any(axis=0)).tolist():
        thin[:, i] = begin[i] + margin[:, begin[i] : ends[i]].argmin(axis=1)
    cuts = {cut.tobytes(): cut for cut in (some[lacks] for some, lacks in zip(thin, short, strict=True))}
    return [margins.order[cut] for cut in cuts.values() if -float(at_x[cut].sum()) > most + _BROKEN]


def foreseen_cut(margins: ByFace, inside: Floats, most: float, wish: Wish, kept: Kept, ends: Ends) -> Kept | None:
    """Return one row that holds a least squares back as keeping the total does, but for rounding; None where none is found.

    It is a sum of margins weighed by how hard they push where what each face lacks is one further unknown: no more than one row's
    weight a face, so that every place that keeps the total keeps it.

    Args:
        inside: a place that keeps the total; most: the total, mm.
        wish: of the least squares; kept: further rows it keeps; ends: bounds on x, and the floor of all margins, below 0.
    """
    over, count, k = margins.rows.over(inside, 0.0), len(margins.begin), len(inside)
    lacks = np.maximum(-np.minimum.reduceat(over, margins.begin), 0.0)
    thicker = over + margins.wide[:, k:] @ lacks
    some = np.argpartition(thicker, _FEW)[:_FEW] if len(over) > _FEW else np.arange(len(over))
    rows, wide = margins.rows.of(some), margins.wide[some]
    last = np.append(np.zeros(k), np.full(count, -1.0))[None]
    rate = np.concatenate([wide, last, _wide(kept.rate, count)])
    every = Kept(rate, np.concatenate([-rows.start, [-most], kept.least]))
    low, high = np.append(ends.low, np.zeros(count)), np.append(ends.high, np.full(count, -ends.floor))
    try:
        push = least_squares(Wish(_wide(wish.square, count), wish.goal, np.append(wish.rest, lacks)), every, low, high).push
    except NoAnswerError:
        return None
    weight, total, hinge = np.maximum(push[: len(some)], 0.0), float(push[len(some)]), wide[:, k:]
    if total <= 0.0:
        return None
    weight /= hinge @ np.maximum(weight @ hinge, total)
    return Kept((weight @ rows.rate)[None], np.array([-most - float(weight @ rows.start)]))


def _wide(rate: Floats, count: int) -> Floats:
    """Return rows on x as rows on x and so many unknowns that they do not depend on."""
    return np.concatenate([rate, np.zeros((len(rate), count))], axis=1)


def cuts_of(rows: Rows, lots: Sequence[Ints], most: float) -> Kept:
    """Return what keeps a total at most `most` where it is the sum of a lot of rows, at most one a face; elsewhere it holds too."""
    every, begin = np.concatenate(lots), np.cumsum([0, *(len(lot) for lot in lots[:-1])])
    return Kept(np.add.reduceat(rows.rate[every], begin, axis=0), -most - np.add.reduceat(rows.start[every], begin))
