"""A scanned skin without its noise: values at many places evened out as widely as the noise allows, and no wider.

Round each place straight surfaces are fitted to its neighbours, three times, each wider than and through the one
before. The widest counts that the narrower ones do not contradict (Lepski 1991); a value that its own neighbours
contradict stands as it is, so that a pit stays a pit. The scatter about the narrow fit says how noisy each face is.
Lengths mm. Knows nothing of rays or of what is asked for.
"""

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from geom.rays.analytic import Bools, Floats, Ints

_NEIGHBOURS: Final = 12
_LEVELS: Final = 3
_WIDER: Final = 6.0
"""Each fit goes through the one before it at neighbours so many times fewer to the area."""

_MAD: Final = 1.4826
_AGREE: Final = 4.5
"""Standard deviations within which a wider fit agrees with a narrower one: of 100,000 clean places not one disagrees."""

_PIT: Final = 5.0
"""Standard deviations beyond which a value is no noise: of a million clean points less than one lies further out."""

_RIDGE: Final = 0.03
"""Holds back slopes that the neighbours do not fix: across the face."""

_STRAIGHT: Final = 3e-5
"""A face is flat when its places lie so many times less off a plane than they reach along it."""

_FEW: Final = 24
"""Places on a face from which its own scatter is told; below, that of all faces stands in."""

_SEEN: Final = 0.6
"""Share of a fit's weight that must have been seen."""

_DRAWS, _SEED = 160, 1809
"""Draws of noise that tell a variance within a ninth, a standard deviation within an eighteenth."""

_GOLDEN: Final = 0.6180339887498949

_MANY: Final = 1000
"""Look-ups worth a second thread."""


@dataclass(frozen=True, slots=True, eq=False)
class Even:
    """Values without noise, one row a place.

    Attributes:
        value: (n,) mm; NaN stays NaN. ground: the widest fit: the skin around, whatever the place itself is.
        sigma: (n,) its standard deviation from the scatter of the scan.
        scatter: (n,) standard deviation of one value on that face.
        alone: (n,) True where the place stands as it is, for its neighbours contradict it.
    """

    value: Floats
    ground: Floats
    sigma: Floats
    scatter: Floats
    alone: Bools


@dataclass(frozen=True, slots=True, eq=False)
class Evener:
    """Fits for fixed places, narrow to wide.

    Attributes:
        faces: the rows (m,) of each face, and orthonormal columns (m, up to 4) of which every straight surface over it is made.
        fits: sparse weights (n, n) of the fit before (of the values themselves, for the first).
        shares: (n,) variance of each fit when that of one value is 1; steps: and of its difference from the one before.
    """

    faces: tuple[tuple[Ints, Floats], ...] = field(repr=False)
    fits: tuple[Any, ...] = field(repr=False)
    shares: tuple[Floats, ...] = field(repr=False)
    steps: tuple[Floats, ...] = field(repr=False)

    def even(self, values: Floats) -> Even:
        """Return values (n,) evened out; NaN where nothing is known."""
        seen = np.isfinite(values)
        trend = self._trend(values, seen)
        values = values - trend
        first = _fitted(self.fits[0], values, seen)
        usable = seen & np.isfinite(first)
        off = np.where(usable, values - first, 0.0)
        scatter = self._scatter(off / np.sqrt(1.0 + self.shares[0]), usable)
        value, noise = np.where(usable, first, values), np.where(usable, np.sqrt(self.shares[0]), 1.0)
        going = usable.copy()
        wider = first
        for fit, share, step in zip(self.fits[1:], self.shares[1:], self.steps, strict=True):
            wider = _fitted(fit, wider, np.isfinite(wider))
            with np.errstate(invalid="ignore"):
                fits = np.abs(wider - value) <= _AGREE * scatter * np.sqrt(step) + 1e-12
            going &= fits & (share < noise**2)
            value, noise = np.where(going, wider, value), np.where(going, np.sqrt(share), noise)
        alone = usable & (np.abs(values - value) > _PIT * scatter * np.sqrt(1.0 + noise**2) + 1e-12)
        return Even(
            np.where(alone, values, value) + trend,
            np.where(np.isfinite(wider), wider, value) + trend,
            np.where(alone, 1.0, noise) * scatter,
            scatter,
            alone,
        )

    def _trend(self, values: Floats, seen: Bools) -> Floats:
        """Return what a straight surface through each whole face makes of its places (n,): the fits need not follow its lean."""
        found = np.zeros(len(values))
        for rows, straight in self.faces:
            known = seen[rows]
            if known.all() and known.size >= _FEW:
                found[rows] = straight @ (straight.T @ values[rows])
            elif known.sum() >= _FEW:
                found[rows] = straight @ np.linalg.lstsq(straight[known], values[rows[known]], rcond=_STRAIGHT)[0]
        return found

    def _scatter(self, off: Floats, usable: Bools) -> Floats:
        """Return the standard deviation of one value (n,), face by face."""
        size = np.abs(off)
        if not usable.any():
            return np.zeros(len(off))
        found = np.full(len(off), _MAD * float(np.median(size[usable])))
        for rows, _ in self.faces:
            mine = size[rows][usable[rows]]
            if mine.size >= _FEW:
                found[rows] = _MAD * float(np.median(mine))
        return found


def _fitted(fit: Any, values: Floats, seen: Bools) -> Floats:
    """Return each place's fit through what was seen; NaN where too little was."""
    found = np.asarray(fit @ np.where(seen, values, 0.0))
    if seen.all():
        return found
    share = np.asarray(fit @ seen.astype(np.float64))
    return np.where(share > _SEEN, found / np.maximum(share, _SEEN), np.nan)


def evener(points: Floats, face: Ints, coarse: float = 1.0) -> Evener:
    """Return the fits for places.

    Args:
        points: (n, 3); face: (n,) only places of the same one belong together.
        coarse: how many places share one point of the scan: neighbours are then so much further apart.
    """
    names = np.unique(face, return_inverse=True)[1].reshape(-1)
    fits = tuple(_level(points, names, max(coarse, 1.0) * _WIDER**level) for level in range(_LEVELS))
    shares, steps = _variances(fits, len(points))
    faces = [np.flatnonzero(names == number) for number in range(int(names.max(initial=-1)) + 1)]
    return Evener(tuple((rows, _straight(points[rows])) for rows in faces), fits, shares, steps)


def _straight(points: Floats) -> Floats:
    """Return orthonormal columns (m, up to 4) that span the straight surfaces over places (m, 3)."""
    rows = np.concatenate([np.ones((len(points), 1)), points - points.mean(axis=0)], axis=1)
    columns, sizes, _ = np.linalg.svd(rows, full_matrices=False)
    return np.ascontiguousarray(columns[:, sizes > _STRAIGHT * sizes[0]])


def _variances(fits: tuple[Any, ...], count: int) -> tuple[tuple[Floats, ...], tuple[Floats, ...]]:
    """Return the variance of each fit, and of its difference from the one before, as seen on fixed draws of noise.

    In single precision: seven digits of a variance that is known within a ninth.
    """
    draws = np.random.default_rng(_SEED).choice(np.array([-1.0, 1.0], dtype=np.float32), (count, _DRAWS))
    before = fits[0].astype(np.float32) @ draws
    shares, steps = [_mean_squares(before)], []
    for fit in fits[1:]:
        wider = fit.astype(np.float32) @ before
        shares.append(_mean_squares(wider))
        before -= wider
        steps.append(_mean_squares(before))
        before = wider
    return tuple(shares), tuple(steps)


def _mean_squares(rows: Any) -> Floats:
    return np.asarray(np.einsum("ij,ij->i", rows, rows) / rows.shape[1], dtype=np.float64)


def _level(points: Floats, face: Ints, coarse: float) -> Any:
    """Return the sparse weights (n, n) of one fit."""
    from scipy.sparse import csr_array

    rows, columns, weights = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)], [np.zeros(0)]
    for number in range(int(face.max(initial=-1)) + 1):
        mine = np.flatnonzero(face == number)
        near = _neighbours(points, mine, coarse)
        rows.append(np.repeat(mine, near.shape[1]))
        columns.append(near.ravel())
        weights.append(_weights(points[mine], points, near, near == mine[:, None]).ravel())
    where = (np.concatenate(rows), np.concatenate(columns))
    return csr_array((np.concatenate(weights), where), shape=(len(points), len(points)))


def _neighbours(points: Floats, mine: Ints, coarse: float) -> Ints:
    """Return the nearest (m, k) of an even choice of a face's places to each of them, itself among them perhaps."""
    from scipy.spatial import cKDTree

    spread = np.argsort((np.arange(len(mine)) * _GOLDEN) % 1.0, kind="stable")
    base = np.sort(mine[spread[: max(int(len(mine) / coarse), min(len(mine), _NEIGHBOURS + 1))]])
    count = min(_NEIGHBOURS + 1, len(base))
    workers = -1 if len(mine) > _MANY else 1
    near = cKDTree(points[base]).query(points[mine], k=count, workers=workers)[1]
    return base[np.asarray(near).reshape(len(mine), count)]


def _weights(at: Floats, points: Floats, near: Ints, own: Bools) -> Floats:
    """Return the weights (m, k) of a straight surface fitted to the neighbours, own value left out, as read off at the place."""
    use = np.where(own, 0.0, 1.0)
    use[~own.any(axis=1), -1] = 0.0
    use[use.sum(axis=1) == 0] = 1.0
    away = (points[near] - at[:, None, :]).transpose(2, 0, 1)
    reach = np.sqrt(np.einsum("imk,imk->mk", away, away).max(axis=1))
    away = away / np.maximum(reach, 1e-300)[:, None] * use
    rows = [use, *away]
    square, count = np.empty((len(at), 4, 4)), use.sum(axis=1)
    for i in range(4):
        for j in range(i, 4):
            square[:, i, j] = square[:, j, i] = np.einsum("mk,mk->m", rows[i], rows[j])
    square[:, np.arange(1, 4), np.arange(1, 4)] += _RIDGE * count[:, None]
    first = np.linalg.solve(square, np.tile([[1.0], [0.0], [0.0], [0.0]], (len(at), 1, 1)))[:, :, 0]
    return np.asarray(sum(first[:, i, None] * row for i, row in enumerate(rows)))
