"""Laying scanned points on the drawn skin.

A pose is improved by least squares of the heights over the faces themselves
(not their facets), far points held back. Lengths mm; a pose takes scan points
to the part frame. Knows nothing of files, or of what a good fit is.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.rays.analytic import Floats, Ints, dots
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


def fitted(drawn: Drawn, scanned: Scanned, pose: Pose, limit: float, rounds: int = _MATCHES, steps: int = _STEPS) -> Fit:
    """Return the pose improved until it stands still, or for so many rounds.

    Args:
        limit: mm; points further from the skin belong to something else, once the pose is near.
    """
    free, done, step = np.zeros((0, 6)), 0, np.inf
    sample: Ints | None = None
    for done in range(1, rounds + 1):  # noqa: B007 - counted for the answer
        moved = pose.points(scanned.points)
        found = nearest(drawn, moved, scanned.normals @ pose.matrix.T, scanned.sided)[1]
        if sample is not None and (drawn.face[found] == drawn.face[sample]).all():
            sample = found
            if step < _SETTLED:
                break
        sample = found
        pose, step, free = _steps(drawn, scanned, pose, sample, limit, steps)
    moved = pose.points(scanned.points)
    sample = nearest(drawn, moved, scanned.normals @ pose.matrix.T, scanned.sided)[1]
    over = met(drawn, moved, sample)
    distance = _distance(drawn, over)
    doubtful = np.flatnonzero(~over.sure | (distance > drawn.spacing))
    if doubtful.size:
        distance[doubtful] = np.minimum(distance[doubtful], _to_nearest(drawn, moved[doubtful]))
    score = float(np.sqrt((np.minimum(distance, limit) ** 2).mean()))
    return Fit(pose, score, over, distance, _pose_sigma(drawn, moved, over, limit), free, done)


def _pose_sigma(drawn: Drawn, points: Floats, over: Met, limit: float) -> float:
    """Return the standard deviation of the pose, mm at the casting's edge: each drawn face counts as one observation."""
    weight = _weights(drawn, over, limit)
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


def _steps(drawn: Drawn, scanned: Scanned, pose: Pose, sample: Ints, limit: float, steps: int) -> tuple[Pose, float, Floats]:
    """Return the pose after a few steps on the same faces, the length of the last, and the free directions."""
    step, free = 0.0, np.zeros((0, 6))
    for _ in range(steps):
        moved = pose.points(scanned.points)
        over = met(drawn, moved, sample)
        weight = _weights(drawn, over, limit)
        rows = np.flatnonzero(weight)
        move, free = _solved(moved[rows], over.normal[rows], over.height[rows], weight[rows], drawn)
        pose = _after(move, pose, drawn)
        step = float(np.linalg.norm(move))
        if step < _SETTLED:
            break
    return pose, step, free


def _weights(drawn: Drawn, over: Met, limit: float) -> Floats:
    """Return Huber's weights; none to points whose face is not sure, nor to free-form faces when others suffice."""
    sure = over.sure.copy()
    if sure.sum() < 0.2 * len(sure):
        sure[:] = True
    plain = sure & ~drawn.free[over.sample]
    if plain.sum() > 0.5 * sure.sum():
        sure = plain
    size = np.abs(over.height)
    scale = max(_MAD * float(np.median(size[sure])), 1e-12)
    weight = 1.0 / np.maximum(size / (_HUBER * scale), 1.0)
    weight[~sure | (size > max(limit, 3.0 * scale))] = 0.0
    return weight


def _solved(points: Floats, normals: Floats, high: Floats, weight: Floats, drawn: Drawn) -> tuple[Floats, Floats]:
    """Return the small turn (times the size) and shift (6,) that take the heights away, and the directions not held."""
    lever = points - drawn.centre
    rows = np.concatenate([np.cross(lever, normals) / drawn.size, normals], axis=1)
    stiff, ways = np.linalg.eigh((rows * weight[:, None]).T @ rows)
    held = stiff > _FREE * stiff[-1]
    pull = ways.T @ (rows.T @ (-weight * high))
    return np.asarray(ways[:, held] @ (pull[held] / stiff[held])), np.ascontiguousarray(ways[:, ~held].T)


def _after(move: Floats, pose: Pose, drawn: Drawn) -> Pose:
    vector, centre = move[:3] / drawn.size, drawn.centre
    turn = rotation(vector)
    matrix = turn @ pose.matrix
    left, _, right = np.linalg.svd(matrix)
    return Pose(left @ right, turn @ (pose.shift - centre) + centre + move[3:])


def rotation(vector: Floats) -> Floats:
    """Return the rotation (3, 3) of a rotation vector, radians (Rodrigues' formula)."""
    angle = float(np.sqrt(dots(vector[None], vector[None])[0]))
    x, y, z = vector
    square = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sinc(angle / np.pi) * square + 0.5 * np.sinc(angle / (2 * np.pi)) ** 2 * (square @ square))
