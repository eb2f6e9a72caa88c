"""The one Gaussian least squares over everything read.

Unknown are a small rigid move (on top of a first place) and the parameters of
the skin. Each round linearises the touches anew; heights and thicknesses are
linear as they stand. Lengths mm. Knows nothing of names.
"""

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from geom.rays.analytic import Floats, dots
from geom.received.locate import Tips, fixed_directions, heights_of, moved, rigid_rows
from geom.received.rows import Measured, SkinModel
from geom.rigid import Rigid

Bools: TypeAlias = npt.NDArray[np.bool_]

_ROUNDS: Final = 60
_STILL: Final = 1e-12
"""A step below this share of the casting's size ends the rounds."""


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Everything read: touches first, then heights and thicknesses; `labels` name them all."""

    model: SkinModel
    tips: Tips
    across: tuple[Measured, ...]
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """The answer.

    Attributes:
        move: measuring frame -> part frame.
        mean: (k,) parameters of the skin; joint: (6 + k, 6 + k) covariance with the move first.
        free: directions no touch fixes, in words.
        residuals: (label, read minus estimated in mm, its uncertainty) of each reading kept.
        worst: number of the reading that the others contradict most, by how many of its standard deviations and mm.
    """

    move: Rigid
    mean: Floats
    joint: Floats
    free: tuple[str, ...]
    residuals: tuple[tuple[str, float, float], ...]
    worst: tuple[int, float, float] | None


@dataclass(frozen=True, slots=True, eq=False)
class _System:
    """Linearised lines: prediction minus reading at (move, no deviation), and how it changes."""

    off: Floats
    place: Floats
    skin: Floats
    sigma: Floats


def solve(lines: Lines, keep: Bools, start: Rigid) -> Estimate:
    """Return mean and covariance of place and skin given the readings that are kept."""
    model, casting = lines.model, lines.model.part.casting
    prior_mean, root = _prior(model)
    move, mean = start, prior_mean
    for _ in range(_ROUNDS):
        white = _whitened(_system(lines, keep, move), root, prior_mean)
        step, mean = _best(white, _fixed(white, casting.size), prior_mean, root)
        move = moved(move, step, casting.centre, casting.size)
        if float(np.abs(step).max(initial=0.0)) < _STILL * casting.size:
            break
    system = _system(lines, keep, move)
    white = _whitened(system, root, prior_mean)
    basis = _fixed(white, casting.size)
    joint = _joint(white, basis, root, casting.size)
    rest = -(system.off + system.skin @ mean)
    labels = [label for label, k in zip(lines.labels, keep, strict=True) if k]
    residuals = tuple(zip(labels, rest.tolist(), system.sigma.tolist(), strict=True))
    return Estimate(move, mean, joint, _free_words(basis), residuals, _worst(system, joint, rest, np.flatnonzero(keep), basis))


def _prior(model: SkinModel) -> tuple[Floats, Floats]:
    """Return mean (k,) and root (k, m) of the parameters before any reading."""
    spots, walls = model.spots, model.walls.root
    root = np.zeros((walls.shape[0] + len(spots.sigmas), walls.shape[1] + len(spots.sigmas)))
    root[: walls.shape[0], : walls.shape[1]] = walls
    root[walls.shape[0] :, walls.shape[1] :] = np.diag(spots.sigmas)
    return np.concatenate([np.zeros(len(walls)), spots.depths]), root


def _system(lines: Lines, keep: Bools, move: Rigid) -> _System:
    """Sign: off + place . step + skin . parameters should be 0."""
    model, casting = lines.model, lines.model.part.casting
    count = len(lines.tips.points)
    tips = lines.tips.of(np.flatnonzero(keep[:count]))
    high, normals, spots = heights_of(casting, tips, move)
    place = rigid_rows(normals, spots, np.array(casting.centre), casting.size)
    feet = spots - (high + tips.radius)[:, None] * normals
    skin = -model.offset_rows(feet, normals, tips.surface)
    rest = [m for m, k in zip(lines.across, keep[count:], strict=True) if k]
    width = skin.shape[1]
    return _System(
        np.concatenate([high, [m.expected.value - m.read for m in rest]]),
        np.concatenate([place, np.zeros((len(rest), 6))]),
        np.concatenate([skin, np.array([m.expected.row for m in rest]).reshape(-1, width)]),
        np.concatenate([tips.sigma, [m.sigma for m in rest]]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _White:
    """The lines in units in which all readings are independent and equally sure, the skin left as loose as its prior.

    So the matrix to factor is as large as there are readings, not walls.

    Attributes:
        place: (n, 6); loose: (n, m) by the independent draws behind the skin's parameters.
        off: (n,) at the prior's mean.
    """

    place: Floats
    loose: Floats
    off: Floats


def _whitened(system: _System, root: Floats, prior_mean: Floats) -> _White:
    met = system.skin.any(axis=0)
    loose = system.skin[:, met] @ root[met]
    lower = np.linalg.cholesky(np.diag(system.sigma**2) + loose @ loose.T)
    white = np.linalg.solve(lower, np.column_stack([system.place, loose, system.off + system.skin @ prior_mean]))
    return _White(white[:, :6], white[:, 6:-1], white[:, -1])


def _fixed(white: _White, size: float) -> Floats:
    """Return the directions of a move (6, m) that the touches fix, the skin left as loose as its prior."""
    if not len(white.off):
        return np.zeros((6, 0))
    return fixed_directions(white.place.T @ white.place, size)


def _best(white: _White, basis: Floats, prior_mean: Floats, root: Floats) -> tuple[Floats, Floats]:
    """Return the best step (6,) and parameters (k,)."""
    if not len(white.off):
        return np.zeros(6), prior_mean
    step = basis @ np.linalg.lstsq(white.place @ basis, -white.off, rcond=None)[0] if basis.size else np.zeros(6)
    return step, prior_mean - root @ (white.loose.T @ (white.off + white.place @ step))


def _joint(white: _White, basis: Floats, root: Floats, size: float) -> Floats:
    """Return the covariance (6 + k, 6 + k); along directions that nothing fixes the move is unsure by half the size."""
    joint = np.zeros((6 + len(root), 6 + len(root)))
    joint[6:, 6:] = root @ root.T
    if len(white.off):
        pull = root @ white.loose.T
        joint[6:, 6:] -= pull @ pull.T
        if basis.size:
            free = white.place @ basis
            inner = np.linalg.inv(free.T @ free)
            follow = pull @ free
            joint[:6, :6] = basis @ inner @ basis.T
            joint[6:, 6:] += follow @ inner @ follow.T
            joint[6:, :6] = -follow @ inner @ basis.T
            joint[:6, 6:] = joint[6:, :6].T
    joint[:6, :6] += (0.5 * size) ** 2 * (np.eye(6) - basis @ basis.T)
    return np.asarray((joint + joint.T) / 2.0)


def _worst(
    system: _System, joint: Floats, rest: Floats, numbers: npt.NDArray[np.int64], basis: Floats
) -> tuple[int, float, float] | None:
    """Return the reading furthest from what all the others say of it, in its own standard deviations."""
    if not len(rest):
        return None
    rows = np.concatenate([system.place @ basis @ basis.T, system.skin], axis=1)
    own = dots(rows @ joint, rows) / system.sigma**2
    left = np.maximum(1.0 - own, 1e-9)
    off = rest / left
    score = np.where(left > 1e-6, np.abs(off) * np.sqrt(left) / system.sigma, 0.0)
    i = int(np.argmax(np.round(score, 9)))
    return int(numbers[i]), float(score[i]), float(-off[i])


def _free_words(basis: Floats) -> tuple[str, ...]:
    """Return the directions that are not fixed, in words: those of the part's axes they contain most of."""
    loose = np.eye(6) - basis @ basis.T
    words = ("shift along X", "shift along Y", "shift along Z", "turn about X", "turn about Y", "turn about Z")
    count = 6 - basis.shape[1]
    order = np.argsort(-np.round(np.diag(loose), 6), kind="stable")[:count]
    return tuple(words[i] for i in sorted(order.tolist()))
