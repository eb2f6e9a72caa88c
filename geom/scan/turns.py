"""Which ways round a scan could lie: rotations worth trying.

From the principal axes of the skin, from the directions its large flat faces
look, and, where neither tells, all the way round. Knows nothing of places.
"""

from typing import Final

import numpy as np

from geom.rays.analytic import Floats
from geom.scan.sites import Drawn, Scanned

_LIKE: Final = 1.15
"""Principal spreads whose ratio is less than this leave the turn between their axes open."""

_STEPS: Final = 36
"""Turns tried about an axis."""

_SAME: Final = np.radians(5.0)
"""Rotations closer than this are one."""

_CLOSE: Final = np.radians(8.0)
"""Normals within this of a direction look its way; angles between directions that agree within it are the same."""

_APART: Final = np.radians(20.0)
"""Two directions fix a rotation when they are at least this far from parallel."""

_DIRECTIONS: Final = 6
_LEAST_SHARE: Final = 0.02
_VOTERS: Final = 1000

_AXES: Final = 60
"""Axes tried when nothing else tells: neighbours are about 25 degrees apart."""


def likely_turns(drawn: Drawn, scanned: Scanned) -> Floats:
    """Return rotations (k, 3, 3), scan to part, none closer than 5 degrees to another."""
    (spread, target), (_, source) = _principal(drawn.points, drawn.share), _principal(scanned.points, None)
    found = [target @ signs @ source.T for signs in _proper_signs(np.eye(3))]
    for lone, a, b in ((0, 1, 2), (2, 0, 1)):
        if max(spread[a], spread[b]) < _LIKE * min(spread[a], spread[b]):
            found += [_about(target[:, lone], angle) @ m for m in list(found[:4]) for angle in _sweep(_STEPS)]
    if spread.max() < _LIKE * spread.min():
        found += [target @ signs @ source.T for p in _permutations() for signs in _proper_signs(p)]
    found += _from_directions(_looks(drawn.normals, drawn.share), _looks(*_both_sides(scanned)))
    return _distinct(np.array(found))


def all_turns() -> Floats:
    """Return rotations (k, 3, 3) all the way round, some 25 degrees apart."""
    i = np.arange(_AXES) + 0.5
    z, turn = 1.0 - 2.0 * i / _AXES, np.pi * (1.0 + np.sqrt(5.0)) * i
    flat = np.sqrt(1.0 - z * z)
    axes = np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=1)
    return np.array([_about(axis, angle) @ _onto(axis) for axis in axes for angle in _sweep(12)])


def _principal(points: Floats, share: Floats | None) -> tuple[Floats, Floats]:
    share = np.full(len(points), 1.0 / len(points)) if share is None else share
    out = points - share @ points
    spread, axes = np.linalg.eigh((out * share[:, None]).T @ out)
    if np.linalg.det(axes) < 0:
        axes[:, 0] *= -1.0
    return np.sqrt(np.maximum(spread, 1e-300)), axes


def _proper_signs(pattern: Floats) -> list[Floats]:
    signs = [pattern * np.array([x, y, z]) for x in (1, -1) for y in (1, -1) for z in (1, -1)]
    return [m for m in signs if np.linalg.det(m) > 0]


def _permutations() -> list[Floats]:
    return [np.eye(3)[list(p)] for p in ((0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0))]


def _sweep(steps: int) -> list[float]:
    return [float(angle) for angle in np.arange(steps) * (2.0 * np.pi / steps)]


def _about(axis: Floats, angle: float) -> Floats:
    x, y, z = axis
    square = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle) * square + (1.0 - np.cos(angle)) * (square @ square))


def _onto(axis: Floats) -> Floats:
    """Return a rotation that turns Z on to an axis."""
    side = np.eye(3)[int(np.argmin(np.abs(axis)))]
    x = np.cross(side, axis)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(axis, x), axis], axis=1)


def _both_sides(scanned: Scanned) -> tuple[Floats, Floats]:
    normals = scanned.normals if scanned.sided else np.concatenate([scanned.normals, -scanned.normals])
    return normals, np.full(len(normals), 1.0 / len(normals))


def _looks(normals: Floats, share: Floats) -> Floats:
    """Return the directions (k, 3) that most of the skin looks, the largest first."""
    reach = np.cumsum(share)
    rows = np.minimum(np.searchsorted(reach, (np.arange(_VOTERS) + 0.5) * (reach[-1] / _VOTERS)), len(normals) - 1)
    left = normals[rows]
    found: list[Floats] = []
    while len(found) < _DIRECTIONS and len(left):
        near = left @ left.T > np.cos(_CLOSE)
        best = int(np.argmax(near.sum(axis=1)))
        if near[best].sum() < _LEAST_SHARE * _VOTERS:
            break
        mean = left[near[best]].mean(axis=0)
        found.append(mean / np.linalg.norm(mean))
        left = left[left @ found[-1] < np.cos(1.5 * _CLOSE)]
    return np.array(found).reshape(-1, 3)


def _from_directions(target: Floats, source: Floats) -> list[Floats]:
    """Return the rotations that bring two of the scan's directions on to two drawn ones at the same angle."""
    found = []
    drawn = [(t, target[i] @ target[j]) for i, t, j in _pairs(target)]
    for _, frame, angle in ((i, s, source[i] @ source[j]) for i, s, j in _pairs(source)):
        found += [
            t @ frame.T for t, other in drawn if abs(np.arccos(np.clip(angle, -1, 1)) - np.arccos(np.clip(other, -1, 1))) < _CLOSE
        ]
    return found


def _pairs(looks: Floats) -> list[tuple[int, Floats, int]]:
    """Return frames (columns: halfway between two directions, square to that, their common normal) of each ordered pair."""
    found = []
    for i, a in enumerate(looks):
        for j, b in enumerate(looks):
            if i != j and abs(a @ b) < np.cos(_APART):
                x, z = a + b, np.cross(a, b)
                x, z = x / np.linalg.norm(x), z / np.linalg.norm(z)
                found.append((i, np.stack([x, np.cross(z, x), z], axis=1), j))
    return found


def _distinct(turns: Floats) -> Floats:
    kept = turns[:1]
    for turn in turns[1:]:
        if np.einsum("kij,ij->k", kept, turn).max() < 1.0 + 2.0 * np.cos(_SAME):
            kept = np.concatenate([kept, turn[None]])
    return kept
