"""The search for the place of the finished part in one casting as received: look, step, and look again until it is at rest.

Each look makes every aim straight rows about the present place; the step that serves them in order is gone, and the
stock is looked at afresh. At rest is a place from which the next step, however far it might go, is none. Lengths mm,
part frame. Knows nothing of verdicts or words.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from geom.errors import GeometryError
from geom.model.part import Part
from geom.place.closer import Closer
from geom.place.demands import demand_rows
from geom.place.fewest import fewest
from geom.place.margin_lp import Rows
from geom.place.pairs import pair_misfits
from geom.place.rows import Look, Pivot, look, outline_misfits, small_move, step_of, stock_to
from geom.place.sight import Sight
from geom.place.sites import Sites, forms_of, outline_of, ways_of, with_walls_met
from geom.place.stages import STRIDE, Aims, Staged, Start, is_worse, promised, staged, thickest
from geom.place.starts import by_row, by_site, renumbered
from geom.place.trail import FIRST_PACE, Tangents, no_tangents, that_held
from geom.rays.analytic import Bools, Floats, Ints
from geom.rays.rays import skin_of
from geom.received.casting import AsReceived
from geom.rigid import STAY, Rigid
from geom.settings.place import PlacementSettings

_LOOKS: Final = 40
"""Looks at the stock; three to eight do on most castings."""

_KEPT: Final = 1e-3
"""Required stock that lacks no more than this, mm, is kept; so near is a least margin the best."""

STILL: Final = 5e-5
"""A place whose next step is shorter than this, mm, is at rest."""

_UNSEEN: Final = 2e-6
"""A step shorter than this, mm, is not gone once the closer looks are as close as they get: it shows nothing new."""

STILL_SCANNED: Final = 1e-3
"""The same over a scan, whose points are sure to a few hundredths of a millimetre at best."""

_SETTLING: Final = 0.02
"""When a step first is shorter than this, mm, other walls are looked for: then few steps are lost if one has come nearer."""

_CHECKED: Final = 1e-3
"""Within so much of gone way, mm, no other wall comes nearer by what counts."""

_NEARER: Final = 0.01
"""Another wall nearer by more than this, mm, than the one a point looked at takes its place..."""

_NEAREST: Final = 5.0
"""...unless it is nearer by more than this: then the ray has missed the casting's edge."""


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One casting to be placed: all even sites, those that can be the thinnest, these with a closer look added, and what each
    face (by number) must keep."""

    part: Part
    received: AsReceived
    all: Sites
    even: Sites
    sites: Sites
    amounts: Floats
    settings: PlacementSettings
    pivot: Pivot
    covariance: Floats

    @property
    def required(self) -> Floats:
        """Required stock at each site, mm."""
        return np.asarray(self.amounts[self.sites.face])


@dataclass(frozen=True, slots=True, eq=False)
class Here:
    """A place, what is seen from it, which points count, and what is asked of a step from it."""

    case: Case
    move: Rigid
    seen: Look
    rows: Ints
    aims: Aims

    @property
    def least(self) -> float:
        """Least margin, up to 0, mm."""
        return min(0.0, float(self.aims.margins.start.min()))


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """A place with rows of looks before it: the point of each row of the margins, and what is asked of a step."""

    here: Here
    tangents: Tangents

    @property
    def rows(self) -> Ints:
        """Which point each row of the margins is of."""
        return np.concatenate([self.here.rows, self.tangents.site])

    @property
    def aims(self) -> Aims:
        """What is asked of a step."""
        aims = self.here.aims
        face = np.concatenate([aims.face, self.tangents.face])
        return replace(aims, margins=aims.margins.with_these(self.tangents.rows()), face=face)

    def left(self, step: Floats, gone: Floats, floor: float, there: Here) -> "Basis":
        """Return the place gone to with the rows that held a step and lie over what is seen there; a scan is too rough for them."""
        if there.case.received.scan is not None:
            return Basis(there, no_tangents())
        here, points = self.here, self.here.case.sites.samples.points[self.here.rows]
        seen = Tangents(here.rows, points, here.aims.face, here.aims.margins.start, here.aims.margins.rate)
        held = that_held(seen, step, floor).and_these(self.tangents).after(gone)
        margin = there.seen.stock - there.case.required
        return Basis(there, held.over(there.case.sites.samples.points, margin))


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """The place in the end and what all even sites see there; the last step's result and the place it was worked out from;
    looks taken; the last step, mm; whether it is at rest."""

    here: Here
    whole: Look
    result: Staged
    basis: Basis
    looks: int
    change: float
    at_rest: bool


def settle(case: Case) -> Settled:
    """Look, step, and look again until the place is at rest and no other wall has come nearer; else the best place seen."""
    search, still = _Search(case), STILL if case.received.scan is None else STILL_SCANNED
    while True:
        result, from_, change = search.step()
        over = search.looks >= _LOOKS
        if change < _SETTLING and search.unchecked and search.with_nearer_walls(search.basis.here) and not over:
            continue
        if change >= still and not over:
            continue
        here = search.basis.here if change < still else search.best
        again = search.gone > _CHECKED and search.with_nearer_walls(here)
        if not again or over:
            return Settled(here, _whole(here), result, from_, search.looks, change, change < still and not again)


class _Search:
    """How far a search is.

    Attributes:
        basis: the place with its rows; best: the best place seen; known: the least margin that some place is known to have.
        gone: how far it has gone since other walls were looked for, mm; unchecked: they never were.
    """

    __slots__ = ("_closer", "_pace", "_start", "_stride", "basis", "best", "gone", "known", "looks", "unchecked")

    def __init__(self, case: Case) -> None:
        self._closer, self._pace = Closer(case.received), FIRST_PACE
        self.best = _looked(case, self._closer, STAY, None)
        self.basis, self.looks, self.known = Basis(self.best, no_tangents()), 1, -np.inf
        self.gone, self.unchecked, self._stride = np.inf, True, STRIDE
        most, start = promised(self.best.aims, case.settings.hold, STRIDE)
        self._start = by_site(start, self.basis.rows)
        if most < -_KEPT:
            self._thicken(self.best)

    def step(self) -> tuple[Staged, Basis, float]:
        """Go the next step, if it is one; return what it serves, the place it was worked out from, and how long it is whole, mm."""
        from_, case, here = self.basis, self.basis.here.case, self.basis.here
        start = by_row(self._start, here.rows, here.aims.face)
        result = staged(from_.aims, case.settings.order, case.settings.hold, self._stride, self.known, start)
        if case.received.scan is not None:
            return result, from_, self._tried(result)
        change = float(np.abs(result.step).max())
        if change < _UNSEEN and self._closer.is_finest:
            return result, from_, change
        self._start, self._pace = by_site(result.start, from_.rows), self._pace.next(result.step)
        gone = self._pace.share * result.step
        there = _looked(case, self._closer, _stepped(here.move, gone, case.pivot), here.seen)
        self.looks, self.gone = self.looks + 1, self.gone + float(np.abs(gone).max())
        if self.looks == 2 and there.least < -_KEPT:
            self._thicken(max(there, here, key=lambda h: h.least))
            return result, from_, np.inf
        self.basis = from_.left(result.step, gone, result.floor, there)
        self.best = self.best if is_worse(there.aims, self.best.aims, case.settings.order, result.floor) else there
        return result, from_, change

    def _tried(self, result: Staged) -> float:
        """Go a step over a scan whole, if it comes out better than all before; else back, and half as far. Return how far, mm.

        Rows of a scan hold for a few points' spacing only, so what they promise further off is looked at before it is believed.
        """
        here, order, change = self.basis.here, self.best.case.settings.order, float(np.abs(result.step).max())
        there = _looked(here.case, self._closer, _stepped(here.move, result.step, here.case.pivot), here.seen)
        self._start, self.looks = by_site(result.start, self.basis.rows), self.looks + 1
        if self.looks == 2 and there.least < -_KEPT:
            self._thicken(max(there, here, key=lambda h: h.least))
            return np.inf
        if is_worse(there.aims, here.aims, order, result.floor):
            self._stride = 0.5 * min(self._stride, change)
            there = here
        self.best, self.basis = there, Basis(there, no_tangents())
        return min(change, self._stride)

    def _thicken(self, here: Here) -> None:
        """Go to the best least margin first."""
        self.best, self._start, taken = _as_thick_as_can_be(here, self._closer, self._start)
        self.known, self.looks, self._pace = self.best.least, self.looks + taken, FIRST_PACE
        self.basis = Basis(self.best, no_tangents())

    def with_nearer_walls(self, here: Here) -> bool:
        """Look for other walls that have come nearer to a place; where there are, start there again with these."""
        self.unchecked, self.gone = False, 0.0
        case = _with_nearer_walls(here)
        if case is None:
            return False
        self.best = _looked(case, self._closer, here.move, None)
        self._start = renumbered(self._start, here.case.sites.samples.points, self.best.case.sites.samples.points)
        self.basis, self._pace = Basis(self.best, no_tangents()), FIRST_PACE
        return True


def _as_thick_as_can_be(here: Here, closer: Closer, start: Start) -> tuple[Here, Start, int]:
    """Return the place of the best least margin, up to 0, where programs there may start, and the looks it took."""
    basis, best, pace, hold = Basis(here, no_tangents()), here, FIRST_PACE, here.case.settings.hold
    for looks in range(_LOOKS // 2):
        step, found = thickest(basis.aims, hold, STRIDE, by_row(start, basis.here.rows, basis.here.aims.face), best.least + _KEPT)
        start = by_site(Start(found.corner), basis.rows)
        if step is None:
            return best, start, looks
        pace = pace.next(step)
        there = _looked(basis.here.case, closer, _stepped(basis.here.move, pace.share * step, here.case.pivot), basis.here.seen)
        basis = basis.left(step, pace.share * step, found.margin, there)
        best = max(there, best, key=lambda h: h.least)
    return best, start, _LOOKS // 2


def _looked(case: Case, closer: Closer, move: Rigid, last: Look | None) -> Here:
    """Return what is seen from a place, with a closer look where the last one found least."""
    stock: Floats | None = None if last is None else last.stock[: len(case.even.wall)]
    case = replace(case, sites=closer.sites(case.even, move, stock))
    seen = look(case.received, case.sites, move, case.pivot)
    rows = _rows(case, seen)
    return Here(case, move, seen, rows, _aims(case, seen, rows, move))


def _stepped(move: Rigid, step: Floats, pivot: Pivot) -> Rigid:
    return small_move(step, Pivot(move.point(pivot.centre), pivot.size)).after(move)


def _rows(case: Case, seen: Look) -> Ints:
    """Return the points that ask for stock and see a skin."""
    rows = np.flatnonzero(case.sites.counts & np.isfinite(seen.stock) & np.isfinite(seen.rate).all(axis=1))
    if not rows.size:
        raise GeometryError(
            f"{case.part.name}: every machined face is cut from solid, so nothing can fall short and nothing is placed"
        )
    return rows


def _margins(case: Case, seen: Look, rows: Ints) -> Rows:
    return Rows(seen.stock[rows] - case.required[rows], seen.rate[rows], np.ones(len(rows)))


def _aims(case: Case, seen: Look, rows: Ints, move: Rigid) -> Aims:
    count = len(case.even.wall)
    used: Bools = np.zeros(count, dtype=np.bool_)
    used[rows[rows < count]] = True
    return Aims(
        margins=_margins(case, seen, rows),
        face=case.sites.face[rows],
        demands=demand_rows(case.received, case.settings.demands, move, case.pivot),
        outline=outline_misfits(case.received, outline_of(case.part), move, case.pivot),
        pairs=pair_misfits(case.part, case.even, (seen.level - case.required)[:count], seen.level_rate[:count], used),
        so_far=step_of(move, case.pivot),
    )


def _whole(here: Here) -> Look:
    """Return what all even sites see from a place; of a scan they are the same as those looked at."""
    case = here.case
    return here.seen if case.received.scan is not None else look(case.received, case.all, here.move, case.pivot)


def _with_nearer_walls(here: Here) -> Case | None:
    """Return the case with points that now look at another, nearer wall set to that; None where none does."""
    case, move, all_ = here.case, here.move, here.case.all
    if case.received.scan is not None:
        return None
    skin, ask = skin_of(case.part.casting), np.flatnonzero(all_.counts)
    turn, samples = move.matrix.T, all_.samples
    points, spots = (a[ask] @ turn + np.array(move.shift) for a in (samples.points, samples.looked_from))
    normals = samples.normals[ask] @ turn
    unsure = np.flatnonzero(~skin.surely_under(all_.wall[ask], normals, spots))
    hits = skin.over(points[unsure], normals[unsure], spots[unsure])
    others = np.flatnonzero(np.isfinite(hits.distance) & (hits.face >= 0) & (hits.face != all_.wall[ask[unsure]]))
    if not others.size:
        return None
    there, distance = unsure[others], hits.distance[others]
    other, foot = ask[there], points[there] + distance[:, None] * normals[there]
    wall, way = hits.face[others], normals[there]
    sight = Sight(forms_of(case.part), all_.of(other))
    met = sight.met(move)
    old, foot_there, way_there = sight.in_order(met.distance), sight.in_order(met.foot), sight.in_order(met.ways)
    seen = stock_to(case.received, all_.wall[other], old, foot_there, way_there, way)
    near = stock_to(case.received, wall, distance, foot, ways_of(case.part, wall, foot), way)
    with np.errstate(invalid="ignore"):
        nearer = (seen - near > _NEARER) & (seen - near < _NEAREST)
    if not nearer.any():
        return None
    changed = with_walls_met(case.part, all_, other[nearer], wall[nearer], distance[nearer], foot[nearer])
    return replace(case, all=changed, even=fewest(case.part, changed, hollowed(case.received)))


def hollowed(received: AsReceived) -> frozenset[int]:
    """Return the casting's surfaces with a hollow."""
    number = received.model.walls.number
    return frozenset(i for spot in received.spots for i in np.flatnonzero(number == spot.wall).tolist())
