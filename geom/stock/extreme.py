"""The least (or greatest) stock between the sample points of a face.

Starts at the worst sample and feels its way over the face in ever smaller
steps, never further from the start than its distance from the edge. Lengths
mm, part frame. Knows nothing of names or required amounts.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.kernel.shape import Solid
from geom.rays.analytic import Floats, Ints
from geom.rays.sample import exact_points
from geom.stock.depth import Depth

_ROUNDS: Final = 40
"""Each round moves on or halves the step; a search that needs more follows a groove without end."""

_FINE: Final = 1e-4
"""The last step, mm: on a skin as curved as a 1 mm ball it leaves the least stock known to a hundred-millionth."""

_WAYS: Final = 8
_COMPASS: Final = tuple((float(np.cos(a)), float(np.sin(a))) for a in np.arange(_WAYS) * 2.0 * np.pi / _WAYS)


@dataclass(frozen=True, slots=True, eq=False)
class Starts:
    """Where searches begin, one row each.

    Attributes:
        points: (n, 3); face: (n,) surface index; value: (n,) stock there.
        sign: (n,) +1 to look for less stock, -1 for more.
        step: (n,) mm, first step; room: (n,) mm, how far the search may stray.
    """

    points: Floats
    face: Ints
    value: Floats
    sign: Floats
    step: Floats
    room: Floats


def settled(solid: Solid, depth: Depth, starts: Starts) -> tuple[Floats, Floats]:
    """Return where each search ends (n, 3) and the stock there (n,)."""
    points, value = starts.points.copy(), starts.value.copy()
    rows = np.flatnonzero(starts.room > 0)
    step = np.minimum(starts.step, starts.room)[rows]
    face, sign, room = starts.face[rows], np.repeat(starts.sign[rows], _WAYS), np.repeat(starts.room[rows], _WAYS)
    home = np.repeat(starts.points[rows], _WAYS, axis=0)
    for _ in range(_ROUNDS):
        if not (step > _FINE).any():
            break
        tried, normals = exact_points(solid, np.repeat(face, _WAYS), _around(solid, points[rows], face, step))
        near = np.flatnonzero(np.linalg.norm(tried - home, axis=1) <= room)
        worth = np.full(len(tried), np.inf)
        worth[near] = depth.at(tried[near], normals[near], np.repeat(face, _WAYS)[near]).stock * sign[near]
        best = np.argmin(worth.reshape(len(rows), _WAYS), axis=1) + np.arange(len(rows)) * _WAYS
        better = worth[best] < value[rows] * starts.sign[rows]
        points[rows[better]], value[rows[better]] = tried[best[better]], (worth * sign)[best[better]]
        step = np.where(better, step, step / 2.0)
    return points, value


def _around(solid: Solid, points: Floats, face: Ints, step: Floats) -> Floats:
    """Return eight points about each point, a step away along the face."""
    _, normal = exact_points(solid, face, points)
    x = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal), axis=1)])
    x /= np.maximum(np.linalg.norm(x, axis=1), 1e-300)[:, None]
    y = np.cross(normal, x)
    ring = [points + step[:, None] * (a * x + b * y) for a, b in _COMPASS]
    return np.asarray(np.stack(ring, axis=1).reshape(-1, 3))
