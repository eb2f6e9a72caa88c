"""How noisy the points of a scan are. Lengths mm. Knows nothing of parts."""

from typing import Final

import numpy as np

from geom.rays.analytic import Floats

_NEIGHBOURS: Final = 7
_MAD: Final = 1.4826


def local_sigma(points: Floats, heights: Floats) -> float:
    """Return the standard deviation, mm, of heights about the mean of their nearest neighbours': form and warp cancel."""
    from scipy.spatial import cKDTree

    count = min(_NEIGHBOURS, len(points))
    if count < 2:
        return 0.0
    near = np.asarray(cKDTree(points).query(points, k=count, workers=-1)[1])
    off = heights - heights[near[:, 1:]].mean(axis=1)
    return float(_MAD * np.median(np.abs(off)) / np.sqrt(1.0 + 1.0 / (count - 1)))
