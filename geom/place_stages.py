"""The aims of a placement one after the other, each keeping what those before it reached.

All of it is linear in a small move x of the finished part (shift, and turn as mm at the part's size). Lengths
mm. Knows nothing of rays or readings.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.analytic import Floats, Ints
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
        margins: stock less required at every point that counts.
        demands: how far within its limit each location demand is.
        outline: how far the as-cast walls are out of line.
        pairs: half the difference between opposite faces' margins.
        so_far: (6,) the move up to now.
    """

    margins: Rows
    demands: Rows
    outline: Misfits
    pairs: Misfits
    so_far: Floats


@dataclass(frozen=True, slots=True)
class Stage:
    """One aim: its name, and the value it reached, mm.

    "required": least margin, up to 0 (left out where a later aim asks for more at once);
    "surely": up to what is enough; "demands": how far within the limits, 0 when
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

    __slots__ = ("aims", "best", "floor", "high", "kept", "low", "reached", "seed", "shared", "stages", "used")

    def __init__(self, aims: Aims, hold: tuple[Freedom, ...], stride: float, seed: Ints | None) -> None:
        self.aims, self.seed = aims, seed
        held = np.array([name in hold for name in FREEDOMS])
        self.high = np.where(held, 0.0, stride)
        self.low = -self.high
        self.kept, self.used = none_kept(6), none_kept(6)
        self.floor = -np.inf
        self.stages: list[Stage] = []
        self.best: Best | None = None
        self.reached = np.zeros(6)
        self.shared = False

    def margin(self, name: str, most: float) -> None:
        """Make the least margin as large as it can be, up to `most`."""
        self.used = self.kept
        seed = self.seed if self.best is None else self.best.looked_at
        self.best = best_margin(self.aims.margins, self.low, self.high, self.kept, most, seed)
        self.reached = self.best.x
        self.floor = max(self.floor, self.best.margin - MARGIN_SLACK)
        self.stages.append(Stage(name, self.best.margin))

    def demands(self) -> None:
        """Bring every location demand within its limit, or as near as it goes."""
        demands, margins = self.aims.demands, self.aims.margins
        if not len(demands.start):
            return
        found = best_margin(demands.with_these(margins.kept_at(self.floor)), self.low, self.high, self.kept, 0.0)
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
        reached = rows @ found
        self.kept = self.kept.and_these(rows, reached - SLACK).and_these(-rows, -reached - SLACK)

    def nearest(self, square: Floats, goal: Floats) -> Floats:
        """Return the step of least |square x - goal| that keeps everything, a little less strictly where rounding asks for it.

        Should rounding leave nothing at all, the step that the aims before it reached stands.
        """
        for give in _GIVES:
            kept = Kept(self.kept.rate, self.kept.least - give)
            try:
                return least_squares(
                    square, goal, -self.aims.so_far, self.aims.margins, self.floor - give, kept, self.low, self.high
                )
            except NoAnswerError:
                continue
        return self.reached


def staged(
    aims: Aims, order: tuple[Aim, ...], hold: tuple[Freedom, ...], enough: float, stride: float = STRIDE, seed: Ints | None = None
) -> Staged:
    """Return the step that serves the aims in order.

    Args:
        order: of what comes after the required stock.
        hold: freedoms that stay.
        enough: least margin, mm, that is surely above 0: the outline may not take more away.
        stride: farthest step, mm.
        seed: rows of the margins that mattered in a like case.
    """
    work = _Work(aims, hold, stride, seed)
    if len(aims.demands.start):
        work.margin("required", 0.0)
    for aim in order:
        if aim == "demands":
            work.demands()
        elif aim == "outline":
            if not work.shared and len(aims.outline.value):
                work.margin("surely", enough)
            work.square("outline", aims.outline)
        else:
            work.margin("share", np.inf)
            work.shared = True
            work.square("pairs", aims.pairs)
    step = work.nearest(np.eye(6), -aims.so_far)
    work.stages.append(Stage("movement", float(np.linalg.norm(aims.so_far + step))))
    assert work.best is not None
    return Staged(step, tuple(work.stages), work.best, work.used)


def stage_values(stages: tuple[Stage, ...]) -> Mapping[str, float]:
    """Return what each aim reached, by name."""
    return {stage.name: stage.value for stage in stages}
