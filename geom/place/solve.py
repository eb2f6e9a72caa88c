"""Where the finished part should lie in the casting as received, and whether the casting then cleans up.

In order, each keeping what those before it reached: every machined face keeps its required stock, or the best
least margin if it cannot; then location demands, the as-cast outline (which leaves the margins surely above 0 where
the casting allows it), an even share of what is left and pair by pair, in the order the job asks; last the least
movement. The stock is
looked at afresh after each step until the place stays put. Lengths mm, part frame. Knows nothing of files or words.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from geom.errors import GeometryError, nearest
from geom.model.part import Part
from geom.place.advice import advice_for
from geom.place.closer import Closer
from geom.place.demands import check_demands, demand_rows
from geom.place.faces import face_takes
from geom.place.margin_lp import Best, Kept, Rows
from geom.place.pairs import pair_misfits
from geom.place.placement import Binding, Certificate, Held, Placement
from geom.place.rows import (
    Look,
    Pivot,
    Sites,
    look,
    misfit,
    outline_of,
    pivot_of,
    sites_of,
    skin_rates,
    small_move,
    step_of,
)
from geom.place.scan_look import pits_at, with_pits
from geom.place.shortfall_lp import thinnest_rows
from geom.place.stages import STRIDE, Aims, Misfits, Staged, is_worse, staged, thickest
from geom.place.uncertainty import joint_covariance, odds, row_sigmas, wide_rows
from geom.rays.analytic import Bools, Floats, Ints
from geom.received.casting import AsReceived
from geom.rigid import STAY, Rigid
from geom.rows.words import Note
from geom.scan.pits import Pit, pit_words
from geom.settings.place import PlacementSettings
from geom.stock.report import ENOUGH
from geom.stock.required import Need

_LOOKS: Final = 40
"""Looks at the stock; three to six do on most castings."""

_FREE_STEPS: Final = 3
"""After this many steps, one that leads to a worse place is taken back, and steps are kept short once one is not
half the one before: that is going to and fro."""

_KEPT: Final = 1e-3
"""Required stock that lacks no more than this, mm, is kept; so much is worth a step to the best least margin..."""

_SHORT: Final = 0.01
"""...and steps no longer than this, mm, are not."""

STILL: Final = 5e-5
"""A place that moves less than this, mm, between two looks stays put."""

_PITS: Final = 5
"""So many pits are described."""

_NEARER: Final = 0.01
"""Another wall nearer by more than this, mm, than the one a point looked at takes its place..."""

_NEAREST: Final = 5.0
"""...unless it is nearer by more than this: then the ray has missed the casting's edge."""


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    """One casting to be placed: even sites, those with a closer look added, and what each face (by number) must keep."""

    part: Part
    received: AsReceived
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
class _Here:
    """A place, what is seen from it, which points count, and what is asked of a step from it."""

    case: _Case
    move: Rigid
    seen: Look
    rows: Ints
    aims: Aims

    @property
    def least(self) -> float:
        """Least margin, up to 0, mm."""
        return min(0.0, float(self.aims.margins.start.min()))


@dataclass(frozen=True, slots=True, eq=False)
class _Settled:
    """The place in the end; the last step's result and the place it was worked out from; looks taken; the last move, mm."""

    here: _Here
    result: Staged
    basis: _Here
    looks: int
    change: float


def place(part: Part, received: AsReceived, needs: Mapping[str, Need], settings: PlacementSettings | None = None) -> Placement:
    """Return the balanced place of the finished part in one casting, with the verdict.

    Args:
        needs: required stock and bearing of every machined face, by name.

    Raises:
        GeometryError: nothing is machined, or a need is missing.
        JobError: a demand names what the part does not have.
    """
    settings = PlacementSettings() if settings is None else settings
    _check(part, needs)
    check_demands(part, settings.demands)
    case = _case(part, received, needs, settings)
    settled = _settle(case)
    found = _answer(settled, needs)
    return replace(found, held=_held(case, found)) if settings.hold else found


def prepare(part: Part, fine: bool = False) -> None:
    """Work out what all castings of a part share, so that each placement takes no time for it."""
    sites_of(part, fine)
    outline_of(part)


def _check(part: Part, needs: Mapping[str, Need]) -> None:
    known = [face.name for face in part.machined]
    if not known:
        raise GeometryError(f"{part.name}: no face is machined, so there is nothing to place; check the pair of solids")
    for name in needs:
        if name not in known:
            raise GeometryError(
                f"{part.name}: no machined face is called {name!r}{nearest(name, known)}; there are {', '.join(known)}"
            )
    for name in known:
        if name not in needs:
            raise GeometryError(f"{part.name}: machined face {name!r} has no required stock; state one, 0 mm if any will do")


def _case(part: Part, received: AsReceived, needs: Mapping[str, Need], settings: PlacementSettings) -> _Case:
    sites = sites_of(part, received.scan is not None)
    amounts = np.array([needs[face.name].amount for face in part.machined])
    return _Case(part, received, sites, sites, amounts, settings, pivot_of(part), joint_covariance(received))


# --- rounds -------------------------------------------------------------------


def _settle(case: _Case) -> _Settled:
    """Look, step, and look again until the place stays put and no other wall has come nearer."""
    closer, settings = Closer(case.received), case.settings
    here, looks, stride, steps, before = _looked(case, closer, STAY, None), 1, STRIDE, 0, np.inf
    known, ask = -np.inf, np.zeros(0, dtype=np.int64)
    while True:
        basis, seed = here, _seed(here, ask)
        result = staged(here.aims, settings.order, settings.hold, stride, seed, known)
        ask, change = here.rows[result.best.looked_at], float(np.abs(result.step).max())
        there = _looked(here.case, closer, _stepped(here.move, result.step, case.pivot), here.seen)
        looks, steps = looks + 1, steps + 1
        if looks == 2 and there.least < -_KEPT:
            here, taken = _as_thick_as_can_be(max(there, here, key=lambda h: h.least), closer, ask)
            known, looks, before = here.least, looks + taken, np.inf
            continue
        better = None if change < STILL else _if_better(there, here, result.floor)
        to_and_fro = steps > _FREE_STEPS and change > before / 2.0
        here, stride, before = (better or there), (change / 4.0 if better or to_and_fro else stride), change
        if change >= STILL and looks < _LOOKS:
            continue
        case, again = _with_nearer_walls(here)
        if not again:
            return _Settled(here, result, basis, looks, change)
        here, stride, steps, before = _looked(case, closer, here.move, here.seen), STRIDE, 0, np.inf
        if looks >= _LOOKS:
            return _Settled(here, result, basis, looks, change)


def _seed(here: _Here, ask: Ints) -> Ints | None:
    """Return the rows of the points that mattered before."""
    return np.flatnonzero(np.isin(here.rows, ask)) if ask.size else None


def _as_thick_as_can_be(here: _Here, closer: Closer, ask: Ints) -> tuple[_Here, int]:
    """Return the place of the best least margin, up to 0, from which the aims are then served, and the looks it took."""
    stride, case = STRIDE, here.case
    for looks in range(_LOOKS // 2):
        if here.least >= -_KEPT or stride < _SHORT:
            return here, looks
        step, best = thickest(here.aims, case.settings.hold, stride, _seed(here, ask))
        ask, change = here.rows[best.looked_at], float(np.abs(step).max())
        there = _looked(here.case, closer, _stepped(here.move, step, case.pivot), here.seen)
        if there.least <= here.least:
            here, there = _seen_from(there.case, here.move), there
        promised, kept = best.margin - here.least, there.least - here.least
        stride = change / 2.0 if kept < promised / 4.0 else 2.0 * change if kept > 3.0 * promised / 4.0 else stride
        here = max(here, there, key=lambda h: h.least)
    return here, _LOOKS // 2


def _looked(case: _Case, closer: Closer, move: Rigid, last: Look | None) -> _Here:
    """Return what is seen from a place, with a closer look where the last one found least."""
    stock: Floats | None = None if last is None else last.stock[: len(case.even.wall)]
    return _seen_from(replace(case, sites=closer.sites(case.even, move, stock)), move)


def _seen_from(case: _Case, move: Rigid) -> _Here:
    seen = look(case.received, case.sites, move, case.pivot)
    rows = _rows(case, seen)
    return _Here(case, move, seen, rows, _aims(case, seen, rows, move))


def _if_better(there: _Here, here: _Here, floor: float) -> _Here | None:
    """Return the place stepped from, looked at with the points of the place stepped to, if it serves the aims better.

    Rows are straight lines: where the skin curves or another wall comes in, what they promise may not be there.
    """
    order = here.case.settings.order
    if not is_worse(there.aims, here.aims, order, floor):
        return None
    again = _seen_from(there.case, here.move)
    return again if is_worse(there.aims, again.aims, order, floor) else None


def _stepped(move: Rigid, step: Floats, pivot: Pivot) -> Rigid:
    return small_move(step, Pivot(move.point(pivot.centre), pivot.size)).after(move)


def _rows(case: _Case, seen: Look) -> Ints:
    """Return the points that ask for stock and see a skin."""
    rows = np.flatnonzero(case.sites.counts & np.isfinite(seen.stock) & np.isfinite(seen.rate).all(axis=1))
    if not rows.size:
        raise GeometryError(
            f"{case.part.name}: every machined face is cut from solid, so nothing can fall short and nothing is placed"
        )
    return rows


def _margins(case: _Case, seen: Look, rows: Ints) -> Rows:
    return Rows(seen.stock[rows] - case.required[rows], seen.rate[rows], np.ones(len(rows)))


def _aims(case: _Case, seen: Look, rows: Ints, move: Rigid) -> Aims:
    count = len(case.even.wall)
    used: Bools = np.zeros(count, dtype=np.bool_)
    used[rows[rows < count]] = True
    return Aims(
        margins=_margins(case, seen, rows),
        face=case.sites.face[rows],
        demands=demand_rows(case.received, case.settings.demands, move, case.pivot),
        outline=_outline(case, move),
        pairs=pair_misfits(case.part, case.even, (seen.stock - case.required)[:count], seen.rate[:count], used),
        so_far=step_of(move, case.pivot),
    )


def _outline(case: _Case, move: Rigid) -> Misfits:
    outline = outline_of(case.part)
    value, rate = misfit(case.received, outline, move, case.pivot)
    seen = np.isfinite(value)
    area = outline.area[seen]
    return Misfits(value[seen], rate[seen], area / max(float(area.sum()), 1e-300)).condensed()


def _with_nearer_walls(here: _Here) -> tuple[_Case, bool]:
    """Return the case with points that now look at another, nearer wall set to that, and whether any counts."""
    case, seen, move = here.case, here.seen, here.move
    if case.received.scan is not None:
        return case, False
    even = case.even
    rays = look(case.received, even, move, case.pivot, through_rays=True)
    with np.errstate(invalid="ignore"):
        gap = seen.stock[: len(even.wall)] - rays.stock
        nearer = (rays.wall != even.wall) & (gap > _NEARER) & (gap < _NEAREST)
    if not (nearer & even.counts).any():
        return case, False
    foot = move.points(even.samples.points) + rays.drawn[:, None] * move.directions(even.samples.normals)
    even = replace(
        even,
        wall=np.where(nearer, rays.wall, even.wall),
        reach=np.where(nearer, rays.drawn, even.reach),
        foot=np.where(nearer[:, None], foot, even.foot),
        way=np.where(nearer[:, None], rays.way, even.way),
    )
    return replace(case, even=even), True


# --- the answer -----------------------------------------------------------------


def _answer(settled: _Settled, needs: Mapping[str, Need]) -> Placement:
    here = settled.here
    case, rows, move = here.case, here.rows, here.move
    pits = pits_at(case.received, case.sites, here.seen, move)
    seen = with_pits(here.seen, pits)
    margin = seen.stock[rows] - case.required[rows]
    scanned = case.received.scan is not None
    no_rates = np.zeros((len(rows), len(case.received.mean)))
    skin = no_rates if scanned else skin_rates(case.received, case.sites, seen, move, rows)
    wide = wide_rows(case.received, seen.rate[rows], case.pivot.size, skin)
    covariance = np.zeros_like(case.covariance) if scanned else case.covariance
    own = _own(case, seen, rows) if scanned else None
    sure = odds(margin, case.required[rows], case.sites.face[rows], wide, covariance, own)
    sigma = np.full(len(seen.stock), np.nan)
    thin = thinnest_rows(margin, case.sites.face[rows])
    sigma[rows[thin]] = np.hypot(row_sigmas(wide[thin], covariance), 0.0 if own is None else own[thin])
    faces = face_takes(case.part, case.sites, seen.stock, _slope(seen), sigma, needs)
    certificate = _certificate(settled)
    least = float(margin.min())
    short = any(face.state == "short" for face in faces)
    return Placement(
        name=case.received.name,
        verdict="short" if short else "cleans up",
        least_margin=least if abs(least) > 1e-9 else 0.0,
        odds=sure,
        pose=move,
        faces=faces,
        certificate=certificate,
        stages=settled.result.stages,
        held=None,
        advice=advice_for(case.part, faces, certificate),
        notes=(*_notes(settled), *_pit_notes(case, pits)),
        rounds=settled.looks,
        change=settled.change,
    )


def _own(case: _Case, seen: Look, rows: Ints) -> Floats:
    """Return how sure a scan is of the stock at some points (m,), mm: its own accuracy, and what noise the evening left."""
    assert seen.even is not None
    return np.hypot(case.received.scan_sigma, seen.even.sigma[rows])


def _pit_notes(case: _Case, pits: tuple[Pit, ...]) -> list[Note]:
    """Return a sentence on each of the pits that leave least over what is required, and how many more there are."""
    names = [face.name for face in case.part.machined]
    order = sorted(pits, key=lambda pit: round(pit.stock - float(case.amounts[pit.face]), 9))
    said: list[Note] = [pit_words(pit, names[pit.face]) for pit in order[:_PITS]]
    if len(order) > _PITS:
        said.append(f"{len(order) - _PITS} more pits and low spots leave more")
    return said


def _slope(seen: Look) -> Floats:
    """Return the tangent of the angle between face and skin (n,): a shift's rates are the skin's normal over its cosine."""
    slant = np.nan_to_num(np.einsum("ij,ij->i", seen.rate[:, :3], seen.rate[:, :3]), nan=1.0)
    return np.asarray(np.sqrt(np.maximum(slant - 1.0, 0.0)))


def _certificate(settled: _Settled) -> Certificate:
    """Return the binding points of the last program that made the least margin as large as it goes, at the last look but one."""
    basis, best = settled.basis, settled.result.best
    case, rows = basis.case, basis.rows[best.rows]
    names = [face.name for face in case.part.machined]
    rate = basis.seen.rate[rows]
    sites = case.sites
    points = sites.samples.points[rows]
    binding = tuple(
        Binding(names[sites.face[r]], _three(p), float(w), _six(g))
        for r, p, w, g in zip(rows.tolist(), points, best.weights, rate, strict=True)
    )
    others = best.kept_weights @ settled.result.kept.rate[best.kept] + best.reach
    gap = best.weights @ rate + others
    return Certificate(binding, _six(others), _held_by(best, settled.result.kept, case), float(np.abs(gap).max()), best.margin)


def _held_by(best: Best, kept: Kept, case: _Case) -> tuple[str, ...]:
    words = []
    if best.held > 1e-9:
        words.append("the required stock, which is kept")
    if len(best.kept) and float(np.abs(best.kept_weights @ kept.rate[best.kept]).max()) > 1e-9:
        words.append("the aims before it")
    if np.abs(best.reach).max() > 1e-9:
        words.append(f"held freedoms ({', '.join(case.settings.hold)})" if case.settings.hold else "the longest step")
    return tuple(words)


def _held(case: _Case, found: Placement) -> Held | None:
    """Return what letting go of the held freedoms would win."""
    free = _settle(replace(case, settings=replace(case.settings, hold=())))
    least = float(free.here.aims.margins.start.min())
    gain = least - found.least_margin
    if gain <= ENOUGH:
        return None
    return Held(case.settings.hold, least, gain, free.here.move.shift, free.here.move.turn)


def _notes(settled: _Settled) -> tuple[Note, ...]:
    case = settled.here.case
    notes = list(case.received.notes)
    if settled.change >= STILL:
        notes.append(
            (f"after {settled.looks} looks the place still moved ", settled.change, "; the stock is measured at the place given")
        )
    if case.received.scan is None and not len(outline_of(case.part).points) and case.settings.order[-1] != "outline":
        notes.append("no wall stays as cast, so there is no outline to line up")
    return tuple(dict.fromkeys(notes))


def _three(a: Floats) -> tuple[float, float, float]:
    x, y, z = (float(v) + 0.0 for v in a)
    return (x, y, z)


def _six(a: Floats) -> tuple[float, float, float, float, float, float]:
    p, q, r, x, y, z = (float(v) + 0.0 for v in a)
    return (p, q, r, x, y, z)
