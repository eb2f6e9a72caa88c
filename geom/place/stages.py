"""The aims of a placement one after the other, each keeping what those before it reached.

Where the required stock cannot all be kept, no face is left thinner than it must be by more than calipers tell, and
the faces together lack as little as can be: none is robbed to help another by less than it loses. All of it is
linear in a small move x of the finished part (shift, and turn as mm at the part's size). Lengths mm. Knows nothing
of rays or readings.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np

from geom.place.margin_lp import Best, Kept, NoAnswerError, Rows, Wish, best_margin, least_squares, none_kept
from geom.place.shortfall_lp import ByFace, Ends, by_face, cuts_at, cuts_of, foreseen_cut, least_shortfall, total_shortfall
from geom.rays.analytic import Floats, Ints
from geom.settings.place import FREEDOMS, Aim, Freedom

SLACK: Final = 2e-5
"""An aim may give back this much, mm, of what it reached: less than any readout shows."""

_OPEN: Final = 1e-4
"""Misfit, mm per mm, below which a least squares leaves a direction to the aims after it."""

MARGIN_SLACK: Final = 5e-5
"""The least margin may give back this much, mm, for the sake of the aims after it: a hundredth of what a readout shows."""

_FIRM: Final = 0.02
"""A least squares that holds every free direction at least so firmly, misfit in mm per mm, leaves the aims after it a play of
SLACK over this, mm: a fifth of what a readout shows, and not worth a search."""

_GIVES: Final = (0.0, 10 * SLACK, 100 * SLACK)
"""What is kept may be given back by this much more, mm, where rounding leaves nothing to choose from."""

UNFELT: Final = 0.05
"""Calipers on rough skin cannot tell less than this, mm (common practice, no source): the thinnest face may give up so
much where the faces together then lack less."""

_ALIKE: Final = 2e-4
"""Two places that differ by no more than this, mm, serve an aim equally: what the slacks above may add up to."""

_CUTS: Final = 200
"""Straight pieces of the total shortfall that one aim may run into; a handful do."""

_NEAR: Final = 1e-2
"""Pieces that a place keeps by less than this, mm, may hold the next step as well."""

STRIDE: Final = 6.0
"""Farthest a place moves between two looks, mm: rows are straight lines only that far."""


@dataclass(frozen=True, slots=True, eq=False)
class Misfits:
    """Values whose squares should be small: value + rate . x, each with a weight."""

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

    "required": least margin, up to 0, where all required stock is kept; "shortfall": where it is not, what the faces
    lack in all; "demands": how far within the limits, 0 when
    all hold; "outline": root mean square misfit; "share": least margin; "pairs": root mean square of half differences;
    "movement": root of the sum of squares.
    """

    name: str
    value: float


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """Where programs of a like case may start, which saves time and changes nothing.

    Attributes:
        margin, shortfall: rows of the margins that met at their corners; numbers below 0 are sides of bounds. None when not known.
        cuts: rows, at most one a face, whose sums held the total shortfall.
    """

    margin: Ints | None = None
    shortfall: Ints | None = None
    cuts: Sequence[Ints] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Staged:
    """A step, what each aim reached, and the last program that made the least margin as large as it could.

    Attributes:
        floor: least margin, up to 0, that the required stock asks of a place; below the best by what calipers cannot tell.
        start: where those of a like case may start.
    """

    step: Floats
    floor: float
    stages: tuple[Stage, ...]
    best: Best
    kept: Kept
    start: Start


class _Work:
    """What has been kept up to now."""

    __slots__ = (
        "aims", "asked", "best", "corners", "cuts", "firm", "floor", "high", "inside", "kept", "low", "margins", "reached", "short",
        "stages", "used",
    )  # fmt: skip

    def __init__(self, aims: Aims, hold: tuple[Freedom, ...], stride: float, start: Start) -> None:
        self.aims, self.cuts = aims, list(start.cuts)
        self.corners = [start.margin, start.shortfall]
        held = np.array([name in hold for name in FREEDOMS])
        self.high = np.where(held, 0.0, stride)
        self.low = -self.high
        self.kept, self.used = none_kept(6), none_kept(6)
        self.floor, self.short, self.asked = -np.inf, np.inf, 0.0
        self.stages: list[Stage] = []
        self.best: Best | None = None
        self.reached, self.inside, self.firm = np.zeros(6), np.zeros(6), False
        self.margins: ByFace | None = None

    def required(self, known: float) -> None:
        """Keep all required stock; where that cannot be, lack least in all while no face is much thinner than it must be.

        Args:
            known: a least margin, up to 0, that some place was seen to have: it may lie beyond this step's reach, and the rows
                may promise more. Below it by what calipers cannot tell lies one floor for all steps, so that they come to rest.
        """
        margins, face = self.aims.margins, self.aims.face
        found = self.best = best_margin(margins, self.low, self.high, self.kept, 0.0, self.corners[0])
        self.corners[0] = found.corner
        self.reached, self.floor = found.x, found.margin - MARGIN_SLACK
        self.stages.append(Stage("required", found.margin))
        if found.margin >= -MARGIN_SLACK:
            return
        self.asked = (known if known > -np.inf else found.margin) - UNFELT
        self.floor = min(self.asked, found.margin - MARGIN_SLACK)
        self.margins = by_face(margins, face)
        least = least_shortfall(self.margins, self.floor, self.low, self.high, self.corners[1])
        self.corners[1] = least.corner
        self.reached = self.inside = least.x
        self.short = least.total + SLACK
        if self.cuts:
            self.kept = self.kept.and_these(cuts_of(margins, self.cuts, self.short))
        self.stages.append(Stage("shortfall", least.total))

    def share(self) -> None:
        """Make the least margin as large as it can be."""
        if self.firm:
            self._share_where_it_is()
            return
        found, kept = self._keeping(self.aims.margins, np.inf)
        self.reached, self.floor = found.x, max(self.floor, found.margin - MARGIN_SLACK)
        if self.short == np.inf:
            self.best, self.used = found, kept
        self.stages.append(Stage("share", found.margin))

    def _share_where_it_is(self) -> None:
        """Prove that a firm place has the best least margin: a program of the few margins that its play could make the least."""
        margins = self.aims.margins
        over = margins.over(self.reached, 0.0)
        self.stages.append(Stage("share", float(over.min())))
        if self.short < np.inf:
            return
        play = np.linalg.norm(margins.rate, axis=1) * (2.0 * SLACK / _FIRM * np.sqrt(len(self.low)))
        rows = np.flatnonzero(over - play <= (over + play).min())
        found = best_margin(margins.of(rows), self.low, self.high, self.kept)
        self.best, self.used = replace(found, rows=rows[found.rows]), self.kept

    def _keeping(self, rows: Rows, most: float, floors: Kept | None = None) -> tuple[Best, Kept]:
        """Return the best least margin among places whose total shortfall is no more than was reached, and what was kept for it."""
        for _ in range(_CUTS):
            kept = self.kept
            found = best_margin(rows, self.low, self.high, kept if floors is None else kept.and_these(floors), most)
            if self._cut(found.x) is None:
                return found, kept
        raise NoAnswerError(f"{_CUTS} cuts were not enough")

    def demands(self) -> None:
        """Bring every location demand within its limit, or as near as it goes."""
        demands = self.aims.demands
        if not len(demands.start):
            return
        found, _ = self._keeping(demands, 0.0, self.aims.margins.kept_at(self.floor))
        self.reached = found.x
        self.kept = self.kept.and_these(Kept(demands.rate, found.margin - SLACK - demands.start))
        self.stages.append(Stage("demands", found.margin))

    def square(self, name: str, misfits: Misfits) -> None:
        """Make the sum of squares as small as it goes, and keep that."""
        if not len(misfits.value):
            return
        root = np.sqrt(misfits.weight)
        square, goal = misfits.rate * root[:, None], -misfits.value * root
        found = self.reached = self.reached if self.firm else self.nearest(square, goal)
        self.stages.append(Stage(name, float(np.linalg.norm(square @ found - goal))))
        if self.firm:
            return
        able = square[:, self.high > self.low]
        self.firm = bool(np.linalg.eigvalsh(able.T @ able).min(initial=np.inf) > _FIRM**2)
        sizes, ways = np.linalg.eigh(square.T @ square)
        fixed = sizes > _OPEN**2
        rows = ways[:, fixed].T * np.sqrt(sizes[fixed])[:, None]
        reached = rows @ found
        both = Kept(np.concatenate([rows, -rows]), np.concatenate([reached, -reached]) - SLACK)
        self.kept = self.kept.and_these(both)

    def nearest(self, square: Floats, goal: Floats) -> Floats:
        """Return the step of least |square x - goal| that keeps everything, a little less strictly where rounding asks for it.

        Should rounding leave nothing at all, the step that the aims before it reached stands.
        """
        wish = Wish(square, goal, -self.aims.so_far)
        if self.margins is not None:
            ends = Ends(self.low, self.high, self.floor)
            foreseen = foreseen_cut(self.margins, self.inside, self.short, wish, self.kept, ends)
            self.kept = self.kept if foreseen is None else self.kept.and_these(foreseen)
        for give in _GIVES:
            kept = Kept(self.kept.rate, self.kept.least - give).and_these(self.aims.margins.kept_at(self.floor - give))
            try:
                found = least_squares(wish, kept, self.low, self.high, self._cut).x
            except NoAnswerError:
                continue
            return np.clip(found, self.low, self.high)
        return self.reached

    def _cut(self, x: Floats) -> Kept | None:
        """Return pieces of the total shortfall that a place breaks, and keep them from now on."""
        if self.margins is None:
            return None
        found = cuts_at(self.margins, self.inside, x, self.short)
        if not found:
            return None
        cut = cuts_of(self.aims.margins, found, self.short)
        self.cuts += found
        self.kept = self.kept.and_these(cut)
        return cut

    def start(self, x: Floats) -> Start:
        """Return where the programs of a like case may start, with the cuts that a place nearly breaks."""
        if self.short == np.inf:
            return Start(self.corners[0])
        margin = self.aims.margins.over(x, 0.0)
        near = tuple(thin for thin in self.cuts if float(margin[thin].sum()) + self.short < _NEAR)
        return Start(self.corners[0], self.corners[1], near)


def promised(aims: Aims, hold: tuple[Freedom, ...], stride: float) -> tuple[float, Start]:
    """Return the best least margin, up to 0, that the rows promise, mm, and where programs of the same rows may start."""
    work = _Work(aims, hold, stride, Start())
    found = best_margin(aims.margins, work.low, work.high, work.kept, 0.0)
    return found.margin, Start(found.corner)


def thickest(
    aims: Aims, hold: tuple[Freedom, ...], stride: float, start: Start, enough: float = np.inf
) -> tuple[Floats | None, Best]:
    """Return the shortest step to the best least margin, up to 0, and the program that found it.

    Args:
        enough: None is the step to a margin that is no better than this.
    """
    work = _Work(aims, hold, stride, start)
    found = best_margin(aims.margins, work.low, work.high, work.kept, 0.0, start.margin)
    if found.margin <= enough < np.inf:
        return None, found
    work.reached, work.floor = found.x, found.margin - MARGIN_SLACK
    return work.nearest(np.eye(6), -aims.so_far), found


def staged(
    aims: Aims,
    order: tuple[Aim, ...],
    hold: tuple[Freedom, ...],
    stride: float = STRIDE,
    known: float = -np.inf,
    start: Start | None = None,
) -> Staged:
    """Return the step that serves the aims in order.

    Args:
        order: of what comes after the required stock.
        hold: freedoms that stay.
        stride: farthest step, mm.
        known: a least margin, up to 0, that some place is known to have.
        start: what a like case ended with.
    """
    work = _Work(aims, hold, stride, start or Start())
    work.required(known)
    for aim in order:
        if aim == "demands":
            work.demands()
        elif aim == "outline":
            work.square("outline", aims.outline)
        else:
            work.share()
            work.square("pairs", aims.pairs)
    step = work.reached if work.firm else work.nearest(np.eye(6), -aims.so_far)
    work.stages.append(Stage("movement", float(np.linalg.norm(aims.so_far + step))))
    assert work.best is not None
    return Staged(step, work.asked, tuple(work.stages), work.best, work.used, work.start(step))


def is_worse(there: Aims, here: Aims, order: tuple[Aim, ...], floor: float) -> bool:
    """Tell whether a place as looked at serves the aims worse than another: the first aim that tells them apart decides.

    Args:
        floor: least margin that the required stock asks of either, mm.
    """
    for a, b in zip(_lacks(there, order, floor), _lacks(here, order, floor), strict=True):
        if abs(a - b) > _ALIKE:
            return a > b
    return False


@lru_cache(maxsize=4)
def _lacks(aims: Aims, order: tuple[Aim, ...], floor: float) -> list[float]:
    """Return how far from its best each aim is at a place as looked at, mm, in order."""
    margin = aims.margins.start
    least = float(margin.min())
    values = {
        "demands": [max(0.0, -float(aims.demands.start.min(initial=0.0)))],
        "outline": [_root_mean_square(aims.outline)],
        "share": [-least, _root_mean_square(aims.pairs)],
    }
    first = [max(0.0, floor - least), total_shortfall(margin, aims.face)]
    return [*first, *(v for aim in order for v in values[aim]), float(np.linalg.norm(aims.so_far))]


def _root_mean_square(misfits: Misfits) -> float:
    return float(np.sqrt(misfits.weight @ misfits.value**2))


def stage_values(stages: tuple[Stage, ...]) -> Mapping[str, float]:
    """Return what each aim reached, by name."""
    return {stage.name: stage.value for stage in stages}
