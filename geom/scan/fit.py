"""Laying scanned points on the drawn skin.

A pose is improved by least squares of the heights over the faces themselves
(not their facets), far points held back. Lengths mm; a pose takes scan points
to the part frame. Knows nothing of files, or of what a good fit is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.rays.analytic import Bools, Floats, Ints, dots
from geom.scan.sites import Drawn, Met, Scanned, met, nearest

_HUBER: Final = 1.345
"""Standard deviations beyond which a point counts less than by its square (95 % efficient on clean noise; Huber 1964)."""

_MAD: Final = 1.4826
"""Standard deviation over the median distance, for noise of the normal law."""

_FREE: Final = 1e-7
"""A freedom that moves the heights by less than this share (of squares) of the stiffest one is not held by the skin."""

_MATCHES, _STEPS = 12, 6
"""Rounds of finding faces anew, and steps between two of them."""

_FACES_ABOUT: Final = 6
"""Drawn points about a scanned one near an edge, on any of whose faces it may lie."""

_SETTLED: Final = 1e-10
"""mm at the casting's edge: less is rounding."""

_KEPT: Final = 0.85
"""Share of the points by which rough poses are judged: the rest may lie on feeders, or on nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Scan point p lies at matrix p + shift in the part frame."""

    matrix: Floats
    shift: Floats

    def points(self, p: Floats) -> Floats:
        """Return where points (n, 3) go."""
        return np.asarray(p @ self.matrix.T + self.shift)


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A pose and how it fits.

    Attributes:
        score: mm, root mean square distance with far points held back: smaller is better.
        met: the points over the skin; distance: (n,) mm, how far each is from the skin.
        sigma: mm at the casting's edge, standard deviation of the pose, errors of form being shared by each face.
        free: (k, 6) directions (small turn times size, shift) that the skin does not hold.
        rounds: how often faces were found anew.
    """

    pose: Pose
    score: float
    met: Met
    distance: Floats
    sigma: float
    free: Floats
    rounds: int


def rough_scores(drawn: Drawn, scanned: Scanned, poses: list[Pose], limit: float) -> Floats:
    """Return how badly poses fit as they stand, mm: all looked up at once."""
    points = np.concatenate([pose.points(scanned.points) for pose in poses])
    normals = np.concatenate([scanned.normals @ pose.matrix.T for pose in poses])
    away = nearest(drawn, points, normals, scanned.sided)[0].reshape(len(poses), -1)
    best = np.sort(away, axis=1)[:, : max(int(_KEPT * away.shape[1]), 1)]
    return np.asarray(np.sqrt((np.minimum(best, 5.0 * limit) ** 2).mean(axis=1)))


def fitted(drawn: Drawn, scanned: Scanned, pose: Pose, limit: float) -> Fit:
    """Return the pose improved until it stands still.

    Args:
        limit: mm; points further from the skin belong to something else, once the pose is near.
    """
    return all_fitted(drawn, scanned, [pose], limit)[0]


def all_fitted(
    drawn: Drawn, scanned: Scanned, poses: Sequence[Pose], limit: float, rounds: int = _MATCHES, steps: int = _STEPS
) -> list[Fit]:
    """Return poses improved side by side, each until it stands still or for so many rounds."""
    now = _Poses(np.array([pose.matrix for pose in poses]), np.array([pose.shift for pose in poses]))
    sample, step = np.zeros((0, 0), dtype=np.int64), np.full(len(poses), np.inf)
    free, done = [np.zeros((0, 6))] * len(poses), np.zeros(len(poses), dtype=np.int64)
    going = np.arange(len(poses))
    for _ in range(rounds):
        done[going] += 1
        found = _samples(drawn, scanned, now.of(going))
        if sample.size:
            same = (drawn.face[found] == drawn.face[sample]).all(axis=1) & (step[going] < _SETTLED)
            going, found = going[~same], found[~same]
            if not going.size:
                break
        sample = found
        moved, step[going], ways = _steps(drawn, scanned, now.of(going), sample, limit, steps)
        now.matrix[going], now.shift[going] = moved.matrix, moved.shift
        for row, open_ways in zip(going.tolist(), ways, strict=True):
            free[row] = open_ways
    return _judged(drawn, scanned, now, limit, free, done.tolist())


def _judged(drawn: Drawn, scanned: Scanned, poses: "_Poses", limit: float, free: list[Floats], done: list[int]) -> list[Fit]:
    """Return how well poses fit."""
    moved, sample = poses.points(scanned.points), _samples(drawn, scanned, poses)
    over = met(drawn, moved.reshape(-1, 3), sample.ravel())
    distance = _distance(drawn, over)
    doubtful = np.flatnonzero(~over.sure | (distance > drawn.spacing))
    if doubtful.size:
        distance[doubtful] = np.minimum(distance[doubtful], _to_nearest(drawn, moved.reshape(-1, 3)[doubtful]))
    fits, count = [], len(scanned.points)
    for i, (matrix, shift) in enumerate(zip(poses.matrix, poses.shift, strict=True)):
        mine = over.of(slice(i * count, (i + 1) * count))
        away = distance[i * count : (i + 1) * count]
        score = float(np.sqrt((np.minimum(away, limit) ** 2).mean()))
        fits.append(Fit(Pose(matrix, shift), score, mine, away, _pose_sigma(drawn, moved[i], mine, limit), free[i], done[i]))
    return fits


@dataclass(frozen=True, slots=True, eq=False)
class _Poses:
    """Poses side by side: matrix (k, 3, 3), shift (k, 3)."""

    matrix: Floats
    shift: Floats

    def of(self, rows: Ints) -> "_Poses":
        """Return some of them."""
        return _Poses(self.matrix[rows], self.shift[rows])

    def points(self, p: Floats) -> Floats:
        """Return where points (n, 3) go in each: (k, n, 3)."""
        return np.asarray(p @ self.matrix.transpose(0, 2, 1) + self.shift[:, None, :])


def _samples(drawn: Drawn, scanned: Scanned, poses: _Poses) -> Ints:
    """Return the drawn points (k, n) that scanned ones are nearest to in each pose."""
    normals = scanned.normals @ poses.matrix.transpose(0, 2, 1)
    found = nearest(drawn, poses.points(scanned.points).reshape(-1, 3), normals.reshape(-1, 3), scanned.sided)[1]
    return found.reshape(len(poses.shift), -1)


def _pose_sigma(drawn: Drawn, points: Floats, over: Met, limit: float) -> float:
    """Return the standard deviation of the pose, mm at the casting's edge: each drawn face counts as one observation."""
    weight = _weights(drawn, over, limit, 1)[0]
    used = np.flatnonzero(weight)
    if not used.size:
        return float("inf")
    faces = len(np.unique(drawn.face[over.sample[used]]))
    lever = points[used] - drawn.centre
    rows = np.concatenate([np.cross(lever, over.normal[used]) / drawn.size, over.normal[used]], axis=1)
    stiff = np.linalg.eigvalsh((rows * weight[used, None]).T @ rows / weight[used].sum())
    spread = float(weight[used] @ over.height[used] ** 2 / weight[used].sum())
    return float(np.sqrt(spread / faces * (1.0 / stiff[stiff > _FREE * stiff[-1]]).sum()))


def _to_nearest(drawn: Drawn, points: Floats) -> Floats:
    """Return mm from the nearest of the faces about each point."""
    around = np.asarray(drawn.plain.query(points, k=_FACES_ABOUT)[1], dtype=np.int64)
    over = met(drawn, np.repeat(points, _FACES_ABOUT, axis=0), around.ravel())
    return np.asarray(_distance(drawn, over).reshape(around.shape).min(axis=1))


def _distance(drawn: Drawn, over: Met) -> Floats:
    """Return mm from the skin: the height where the foot lies in the face, else with what it lies beyond the face."""
    level = np.sqrt(np.maximum(over.apart**2 - over.height**2, 0.0))
    beyond = np.where(over.sure, 0.0, np.maximum(level - drawn.edge[over.sample] - drawn.spacing, 0.0))
    return np.hypot(over.height, beyond)


def _steps(
    drawn: Drawn, scanned: Scanned, poses: _Poses, sample: Ints, limit: float, steps: int
) -> tuple[_Poses, Floats, list[Floats]]:
    """Return the poses after a few steps on the same faces, the length (k,) of the last, and the free directions of each."""
    move, held, ways = np.zeros((len(sample), 6)), np.ones((len(sample), 6), dtype=np.bool_), np.zeros((len(sample), 6, 6))
    for _ in range(steps):
        moved = poses.points(scanned.points)
        over = met(drawn, moved.reshape(-1, 3), sample.ravel())
        weight = _weights(drawn, over, limit, len(sample))
        move, held, ways = _solved(moved, over.normal.reshape(moved.shape), over.height.reshape(weight.shape), weight, drawn)
        poses = _after(move, poses, drawn)
        if (np.linalg.norm(move, axis=1) < _SETTLED).all():
            break
    return poses, np.linalg.norm(move, axis=1), [np.ascontiguousarray(w[:, ~h].T) for w, h in zip(ways, held, strict=True)]


def _weights(drawn: Drawn, over: Met, limit: float, count: int) -> Floats:
    """Return Huber's weights (count, n); none to points whose face is not sure, nor to free-form faces when others suffice."""
    sure, plain = over.sure.reshape(count, -1).copy(), ~drawn.free[over.sample].reshape(count, -1)
    sure[sure.sum(axis=1) < 0.2 * sure.shape[1]] = True
    plain &= sure
    enough = plain.sum(axis=1) > 0.5 * sure.sum(axis=1)
    sure[enough] = plain[enough]
    size = np.abs(over.height).reshape(count, -1)
    scale = np.maximum(_MAD * _medians(size, sure), 1e-12)[:, None]
    weight = 1.0 / np.maximum(size / (_HUBER * scale), 1.0)
    weight[~sure | (size > np.maximum(limit, 3.0 * scale))] = 0.0
    return weight


def _medians(values: Floats, of: Bools) -> Floats:
    """Return the median of some of the values of each row."""
    ordered, count = np.sort(np.where(of, values, np.inf), axis=1), of.sum(axis=1)
    row = np.arange(len(values))
    return np.asarray((ordered[row, (count - 1) // 2] + ordered[row, count // 2]) / 2.0)


def _solved(points: Floats, normals: Floats, high: Floats, weight: Floats, drawn: Drawn) -> tuple[Floats, Bools, Floats]:
    """Return for each pose the small turn (times the size) and shift (6,) that take the heights away, which of the directions
    are held, and the directions (6, 6), one a column."""
    rows = np.concatenate([np.cross(points - drawn.centre, normals) / drawn.size, normals], axis=2)
    weighed = (rows * weight[:, :, None]).transpose(0, 2, 1)
    stiff, ways = np.linalg.eigh(weighed @ rows)
    held = stiff > _FREE * stiff[:, -1:]
    pull = ways.transpose(0, 2, 1) @ (weighed @ -high[:, :, None])
    along = np.where(held, pull[:, :, 0] / np.where(held, stiff, 1.0), 0.0)
    return np.asarray((ways @ along[:, :, None])[:, :, 0]), held, ways


def _after(moves: Floats, poses: _Poses, drawn: Drawn) -> _Poses:
    turns = np.array([rotation(move[:3] / drawn.size) for move in moves])
    left, _, right = np.linalg.svd(turns @ poses.matrix)
    shift = (turns @ (poses.shift - drawn.centre)[:, :, None])[:, :, 0] + drawn.centre + moves[:, 3:]
    return _Poses(left @ right, shift)


def rotation(vector: Floats) -> Floats:
    """Return the rotation (3, 3) of a rotation vector, radians (Rodrigues' formula)."""
    angle = float(np.sqrt(dots(vector[None], vector[None])[0]))
    x, y, z = vector
    square = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sinc(angle / np.pi) * square + 0.5 * np.sinc(angle / (2 * np.pi)) ** 2 * (square @ square))
