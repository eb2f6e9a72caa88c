"""Outlines in a plane, filled on a grid: where metal is, and how much of it lies round a place. mm, in the plane's own axes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Places x (columns), y (rows), mm apart by `pitch`."""

    x: Floats
    y: Floats
    pitch: float

    def filled(self, outlines: Sequence[Floats]) -> Bools:
        """Return (rows, columns) whether each place lies within an odd number of outlines."""
        inside = np.zeros((len(self.y), len(self.x)), dtype=np.bool_)
        if not outlines:
            return inside
        a = np.concatenate([np.asarray(o) for o in outlines])
        b = np.concatenate([np.roll(np.asarray(o), -1, axis=0) for o in outlines])
        for row, y in enumerate(self.y.tolist()):
            cut = (a[:, 1] > y) != (b[:, 1] > y)
            p, q = a[cut], b[cut]
            across = np.sort(p[:, 0] + (y - p[:, 1]) / (q[:, 1] - p[:, 1]) * (q[:, 0] - p[:, 0]))
            inside[row] = np.searchsorted(across, self.x) % 2 == 1
        return inside


def area(outline: Floats) -> float:
    """Return the area of an outline (n, 2), mm2, positive when it runs counter-clockwise."""
    x, y = outline[:, 0], outline[:, 1]
    return 0.5 * float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def grid_over(low: tuple[float, float], high: tuple[float, float], pitch: float) -> Grid:
    """Return a grid over a box, half a pitch inside its edges."""
    x, y = (np.arange(a + pitch * 0.4871, b, pitch) for a, b in zip(low, high, strict=True))
    return Grid(x, y, pitch)


def depth_inside(inside: Bools, pitch: float) -> Floats:
    """Return how far each place lies from the nearest one outside, mm, and less than that by a pitch; 0 outside."""
    from scipy.ndimage import distance_transform_edt

    room = distance_transform_edt(np.pad(inside, 1))[1:-1, 1:-1]
    return np.asarray(np.maximum(room - 1.0, 0.0) * pitch)
