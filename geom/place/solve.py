"""Where the finished part should lie in the casting as received, and whether the casting then cleans up.

In order, each keeping what those before it reached: every machined face keeps its required stock, or the best
least margin if it cannot; then location demands, the as-cast outline (which leaves the margins surely above 0 where
the casting allows it), an even share of what is left and pair by pair, in the order the job asks; last the least
movement. The stock is
looked at afresh after each step until the place stays put. Lengths mm, part frame. Knows nothing of files or words.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from geom.errors import GeometryError, nearest
from geom.model.part import Part
from geom.place.advice import advice_for
from geom.place.demands import check_demands
from geom.place.faces import SAME, face_takes
from geom.place.fewest import fewest_drawn
from geom.place.margin_lp import Best, Kept
from geom.place.placement import Binding, Certificate, Held, Placement
from geom.place.rows import Look, pivot_of, skin_rates
from geom.place.scan_look import pits_at, with_pits
from geom.place.search import Case, Settled, hollowed, settle
from geom.place.shortfall_lp import thinnest_rows
from geom.place.sites import Sites, joined, outline_of, sites_of
from geom.place.uncertainty import joint_covariance, odds, row_sigmas, wide_rows
from geom.rays.analytic import Floats, Ints
from geom.received.casting import AsReceived
from geom.rows.words import Note
from geom.scan.pits import Pit, pit_words
from geom.settings.place import PlacementSettings
from geom.stock.report import ENOUGH
from geom.stock.required import Need

_ROUNDING: Final = 1e-12
"""A multiplier of no more than this is a rounding error."""

_PITS: Final = 5
"""So many pits are described."""


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
    settled = settle(case)
    found = _answer(settled, needs)
    return replace(found, held=_held(case, found)) if settings.hold else found


def prepare(part: Part, fine: bool = False) -> None:
    """Work out what all castings of a part share, so that each placement takes no time for it."""
    sites = sites_of(part, fine)
    outline_of(part)
    if not fine:
        fewest_drawn(part, sites, frozenset())


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
            raise GeometryError(f"{part.name}: machined face {name!r} has no required stock; state one, 0 if any will do")


def _case(part: Part, received: AsReceived, needs: Mapping[str, Need], settings: PlacementSettings) -> Case:
    sites = sites_of(part, received.scan is not None)
    amounts = np.array([needs[face.name].amount for face in part.machined])
    even = sites if received.scan is not None else fewest_drawn(part, sites, hollowed(received))
    return Case(part, received, sites, even, even, amounts, settings, pivot_of(part), joint_covariance(received))


# --- the answer -----------------------------------------------------------------


def _answer(settled: Settled, needs: Mapping[str, Need]) -> Placement:
    here = settled.here
    case, rows, move = here.case, here.rows, here.move
    pits = pits_at(case.received, case.sites, here.seen, move)
    seen = with_pits(here.seen, pits)
    margin = seen.stock[rows] - case.required[rows]
    scanned = case.received.scan is not None
    no_rates = np.zeros(0, dtype=np.int64), np.zeros((len(rows), 0))
    skin = no_rates if scanned else skin_rates(case.received, case.sites, seen, move, rows)
    columns, wide = wide_rows(case.received, seen.rate[rows], case.pivot.size, *skin)
    covariance = case.covariance[np.ix_(columns, columns)] * (0.0 if scanned else 1.0)
    own = _own(case, seen, rows) if scanned else None
    sure = odds(np.round(margin, 9), case.required[rows], case.sites.face[rows], wide, covariance, own)
    thin = thinnest_rows(np.round(margin, SAME), case.sites.face[rows])
    sigma = np.full(len(case.part.machined), np.nan)
    sigma[case.sites.face[rows[thin]]] = np.hypot(row_sigmas(wide[thin], covariance), 0.0 if own is None else own[thin])
    sites, stock, slope = (case.sites, seen.stock, _slope(seen)) if scanned else _everywhere(settled)
    faces = face_takes(case.part, sites, stock, slope, sigma[sites.face], needs)
    certificate = _certificate(settled)
    least = float(margin.min())
    short = any(face.state == "short" for face in faces)
    return Placement(
        name=case.received.name,
        verdict="short" if short else "cleans up",
        least_margin=least if abs(least) > 1e-9 else 0.0,
        odds=replace(sure, lean=_in_full(sure.lean, columns, len(case.covariance))),
        pose=move,
        faces=faces,
        certificate=certificate,
        stages=settled.result.stages,
        held=None,
        advice=advice_for(case.part, faces, certificate),
        notes=(*_notes(settled), *_pit_notes(case, pits)),
        rounds=settled.looks,
        change=settled.change,
        at_rest=settled.at_rest,
    )


def _in_full(lean: Floats, columns: Ints, count: int) -> Floats:
    found = np.zeros(count)
    found[columns] = lean
    return found


def _everywhere(settled: Settled) -> tuple[Sites, Floats, Floats]:
    """Return all sites and those of the closer looks, which stand for no area, with the stock and the slope of each."""
    case, seen, whole = settled.here.case, settled.here.seen, settled.whole
    few = replace(case.sites, samples=replace(case.sites.samples, area=np.zeros(len(case.sites.face))))
    stock, slope = np.concatenate([seen.stock, whole.stock]), np.concatenate([_slope(seen), _slope(whole)])
    return joined(few, case.all), stock, slope


def _own(case: Case, seen: Look, rows: Ints) -> Floats:
    """Return how sure a scan is of the stock at some points (m,), mm: its own accuracy, and what noise the evening left."""
    assert seen.even is not None
    return np.hypot(case.received.scan_sigma, seen.even.sigma[rows])


def _pit_notes(case: Case, pits: tuple[Pit, ...]) -> list[Note]:
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


def _certificate(settled: Settled) -> Certificate:
    """Return the binding points of the last program that made the least margin as large as it goes, at the last look but one.

    Where the skin bends, a point may hold with the rows of several looks.
    """
    basis, best = settled.basis, settled.result.best
    case, rows = basis.here.case, basis.rows[best.rows]
    names = [face.name for face in case.part.machined]
    rate = basis.aims.margins.rate[best.rows]
    sites = case.sites
    points = sites.samples.points[rows]
    binding = tuple(
        Binding(names[sites.face[r]], _three(p), float(w), _six(g))
        for r, p, w, g in zip(rows.tolist(), points, best.weights, rate, strict=True)
        if w > _ROUNDING
    )
    others = best.kept_weights @ settled.result.kept.rate[best.kept] + best.reach
    gap = best.weights @ rate + others
    return Certificate(binding, _six(others), _held_by(best, settled.result.kept, case), float(np.abs(gap).max()), best.margin)


def _held_by(best: Best, kept: Kept, case: Case) -> tuple[str, ...]:
    words = []
    if best.held > 1e-9:
        words.append("the required stock, which is kept")
    if len(best.kept) and float(np.abs(best.kept_weights @ kept.rate[best.kept]).max()) > 1e-9:
        words.append("the aims before it")
    if np.abs(best.reach).max() > 1e-9:
        words.append(f"held freedoms ({', '.join(case.settings.hold)})" if case.settings.hold else "the longest step")
    return tuple(words)


def _held(case: Case, found: Placement) -> Held | None:
    """Return what letting go of the held freedoms would win."""
    free = settle(replace(case, settings=replace(case.settings, hold=())))
    least = float(free.here.aims.margins.start.min())
    gain = least - found.least_margin
    if gain <= ENOUGH:
        return None
    return Held(case.settings.hold, least, gain, free.here.move.shift, free.here.move.turn)


def _notes(settled: Settled) -> tuple[Note, ...]:
    case = settled.here.case
    notes = list(case.received.notes)
    if not settled.at_rest:
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
