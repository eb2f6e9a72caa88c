"""The aims of a placement one after the other, each keeping what those before it reached.

Margins are raised face by face: once the thinnest faces are as thick as they go, they keep that and the least of
the others is raised, so no face pays for one that cannot gain (lexicographic max-min). All of it is linear in a
small move x of the finished part (shift, and turn as mm at the part's size). Lengths mm. Knows nothing of rays or
readings.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from geom.analytic import Bools, Floats, Ints
from geom.margin_lp import Best, Kept, NoAnswerError, Rows, best_margin, least_squares, none_kept
from geom.place_settings import FREEDOMS, Aim, Freedom

SLACK: Final = 2e-5
"""An aim may give back this much, mm, of what it reached: less than any readout shows."""

_OPEN: Final = 1e-4
"""Misfit, mm per mm, below which a least squares leaves a direction to the aims after it."""

MARGIN_SLACK: Final = 5e-5
"""The least margin may give back this much, mm, for the sake of the aims after it: a hundredth of what a readout shows."""

_GIVES: Final = (0.0, 10 * SLACK, 100 * SLACK)
"""What is kept may be given back by this much more, mm, where rounding leaves nothing to choose from."""

_PINNED: Final = 0.01
"""A direction in which the settled faces change by less than this, mm per mm, is still open."""

STRIDE: Final = 6.0
"""Farthest a place moves between two looks, mm: rows are straight lines only that far."""


@dataclass(frozen=True, slots=True, eq=False)
class Misfits:
    """Values whose squares should be small: value + rate . x, each with a weight; weights sum to 1."""

    value: Floats
    rate: Floats
    weight: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Aims:
    """What is asked of a place, as rows in x.

    Attributes:
        margins: stock less required at every point that counts; face: (n,) the face each is on.
        demands: how far within its limit each location demand is.
        outline: how far the as-cast walls are out of line.
        pairs: half the difference between opposite faces' margins.
        so_far: (6,) the move up to now.
    """

    margins: Rows
    face: Ints
    demands: Rows
    outline: Misfits
    pairs: Misfits
    so_far: Floats


@dataclass(frozen=True, slots=True)
class Stage:
    """One aim: its name, and the value it reached, mm.

    "required": least margin, up to 0, where all required stock is kept; "demands": how far within the limits, 0 when
    all hold; "outline": root mean square misfit; "share": least margin; "pairs": root mean square of half differences;
    "movement": root of the sum of squares.
    """

    name: str
    value: float


@dataclass(frozen=True, slots=True, eq=False)
class Staged:
    """A step, what each aim reached, and the last program that made the least margin as large as it could."""

    step: Floats
    stages: tuple[Stage, ...]
    best: Best
    kept: Kept


class _Work:
    """What has been kept up to now."""

    __slots__ = ("aims", "best", "floor", "free", "high", "kept", "least", "low", "pinned", "reached", "seed", "stages", "used")

    def __init__(self, aims: Aims, hold: tuple[Freedom, ...], stride: float, seed: Ints | None) -> None:
        self.aims, self.seed = aims, seed
        held = np.array([name in hold for name in FREEDOMS])
        self.high = np.where(held, 0.0, stride)
        self.low = -self.high
        self.kept, self.used = none_kept(6), none_kept(6)
        self.pinned: Floats = np.eye(len(FREEDOMS))[held]
        self.floor: Floats = np.full(len(aims.face), -np.inf)
        self.free: Bools = np.ones(len(aims.face), dtype=np.bool_)
        self.least = np.inf
        self.stages: list[Stage] = []
        self.best: Best | None = None
        self.reached = np.zeros(6)

    @property
    def floors(self) -> Rows:
        """What every margin must keep, as rows that only have to hold."""
        rows = np.flatnonzero(np.isfinite(self.floor))
        margins = self.aims.margins
        return Rows(margins.start[rows] - self.floor[rows], margins.rate[rows], np.zeros(len(rows)))

    def margin(self, name: str, most: float) -> None:
        """Make the least margin as large as it can be, up to `most`, then that of the faces that do not hold it."""
        while self.free.any():
            found = self._level(most)
            self.reached = found.x
            if self.free.all():
                self.best, self.used = found, self.kept
                self.least = found.margin
            self.floor[self.free] = np.maximum(self.floor[self.free], found.margin - MARGIN_SLACK)
            if found.margin >= most - MARGIN_SLACK or not len(found.rows):
                break
            self.free &= ~np.isin(self.aims.face, self.aims.face[found.rows])
            self.pinned = np.concatenate([self.pinned, self.aims.margins.rate[found.rows]])
            if np.linalg.matrix_rank(self.pinned, _PINNED) == len(FREEDOMS):
                break
        self.stages.append(Stage(name, self.least))

    def _level(self, most: float) -> Best:
        """Return the best least margin of the faces not yet settled; the others keep theirs."""
        free, margins = self.free, self.aims.margins
        start = np.where(free, margins.start, margins.start - self.floor)
        rows = Rows(start, margins.rate, free.astype(float))
        seed = self._seed(rows)
        found = best_margin(rows, self.low, self.high, self.kept, most, seed)
        floors = self.floors
        if not len(floors.start) or float(floors.over(found.x, 0.0).min()) >= -1e-7:
            return found
        found = best_margin(rows.with_these(floors), self.low, self.high, self.kept, most, found.looked_at)
        mine, looked = found.rows < len(start), found.looked_at < len(start)
        return replace(found, rows=found.rows[mine], weights=found.weights[mine], looked_at=found.looked_at[looked])

    def _seed(self, rows: Rows) -> Ints | None:
        """Return rows to begin with: those that mattered, and the thinnest of every face still free."""
        known = self.seed if self.best is None else self.best.looked_at
        if known is None or self.free.all():
            return known
        now = rows.over(self.reached, 0.0)
        order = np.lexsort((now, self.aims.face))
        thin = order[np.unique(self.aims.face[order], return_index=True)[1]]
        return np.union1d(known, thin[self.free[thin]])

    def demands(self) -> None:
        """Bring every location demand within its limit, or as near as it goes."""
        demands = self.aims.demands
        if not len(demands.start):
            return
        found = best_margin(demands.with_these(self.floors), self.low, self.high, self.kept, 0.0)
        self.reached = found.x
        self.kept = self.kept.and_these(demands.rate, found.margin - SLACK - demands.start)
        self.stages.append(Stage("demands", found.margin))

    def square(self, name: str, misfits: Misfits) -> None:
        """Make the sum of squares as small as it goes, and keep that."""
        if not len(misfits.value):
            return
        root = np.sqrt(misfits.weight)
        square, goal = misfits.rate * root[:, None], -misfits.value * root
        found = self.reached = self.nearest(square, goal)
        self.stages.append(Stage(name, float(np.linalg.norm(square @ found - goal))))
        sizes, ways = np.linalg.eigh(square.T @ square)
        fixed = sizes > _OPEN**2
        rows = ways[:, fixed].T * np.sqrt(sizes[fixed])[:, None]
        self.pinned = np.concatenate([self.pinned, rows])
        reached = rows @ found
        self.kept = self.kept.and_these(rows, reached - SLACK).and_these(-rows, -reached - SLACK)

    def nearest(self, square: Floats, goal: Floats) -> Floats:
        """Return the step of least |square x - goal| that keeps everything, a little less strictly where rounding asks for it.

        Should rounding leave nothing at all, the step that the aims before it reached stands.
        """
        floors = self.floors
        for give in _GIVES:
            kept = Kept(self.kept.rate, self.kept.least - give)
            rows = replace(floors, start=floors.start + give)
            try:
                return least_squares(square, goal, -self.aims.so_far, rows, 0.0, kept, self.low, self.high)
            except NoAnswerError:
                continue
        return self.reached


def staged(
    aims: Aims, order: tuple[Aim, ...], hold: tuple[Freedom, ...], stride: float = STRIDE, seed: Ints | None = None
) -> Staged:
    """Return the step that serves the aims in order.

    Args:
        order: of what comes after the required stock.
        hold: freedoms that stay.
        stride: farthest step, mm.
        seed: rows of the margins that mattered in a like case.
    """
    work = _Work(aims, hold, stride, seed)
    if order[0] != "share":
        work.margin("required", 0.0)
    for aim in order:
        if aim == "demands":
            work.demands()
        elif aim == "outline":
            work.square("outline", aims.outline)
        else:
            work.margin("share", np.inf)
            work.square("pairs", aims.pairs)
    step = work.nearest(np.eye(6), -aims.so_far)
    work.stages.append(Stage("movement", float(np.linalg.norm(aims.so_far + step))))
    assert work.best is not None
    return Staged(step, tuple(work.stages), work.best, work.used)


def stage_values(stages: tuple[Stage, ...]) -> Mapping[str, float]:
    """Return what each aim reached, by name."""
    return {stage.name: stage.value for stage in stages}
