"""How noisy a scanned skin is, and what it is without the noise.

The least of many noisy values lies too low. `stock_noise` evens the stock out
over a millimetre or so and lists apart what noise does not explain: a real
pit must stay visible. Lengths mm. Knows nothing of parts.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.analytic import Bools, Floats
from geom.rays import Skin

_NEIGHBOURS: Final = 7
_MAD: Final = 1.4826
_PIT: Final = 5.0
"""Standard deviations: of a million clean points less than one lies further out."""

_WIDE: Final = 1.96
"""Standard deviations that hold 95 % of clean points. The wide figure, for a look at a corner of a triangle is noisier
than one at its middle."""

_RING: Final = 6
"""Looks around each place."""

_STEEP: Final = 5.0
"""mm of difference beyond which a look beside the place has met another wall."""


@dataclass(frozen=True, slots=True, eq=False)
class StockNoise:
    """Stock over places on a scanned skin, one row each.

    Attributes:
        own: (n,) mm, straight over the place; as `Skin.over` gives it (-inf or inf where there is no skin).
        even: (n,) mm, median of the place and six around it.
        pit: (n,) True where the place lies deeper below the even value than noise explains: keep `own` there.
        sigma: of one look, mm.
    """

    own: Floats
    even: Floats
    pit: Bools
    sigma: float


def local_sigma(points: Floats, heights: Floats) -> float:
    """Return the standard deviation, mm, of heights about the mean of their nearest neighbours': form and warp cancel."""
    from scipy.spatial import cKDTree

    count = min(_NEIGHBOURS, len(points))
    if count < 2:
        return 0.0
    near = np.asarray(cKDTree(points).query(points, k=count, workers=-1)[1])
    off = heights - heights[near[:, 1:]].mean(axis=1)
    return float(_MAD * np.median(np.abs(off)) / np.sqrt(1.0 + 1.0 / (count - 1)))


def stock_noise(skin: Skin, points: Floats, normals: Floats, radius: float = 1.0) -> StockNoise:
    """Return the stock over points of the finished part, evened out against the noise of a scan.

    Args:
        skin: scanned, in the frame of the points.
        points: (n, 3) on the finished part; normals: (n, 3) unit, outward.
        radius: mm, of the ring of looks around each point; wider than the scan's triangles.
    """
    x = np.cross(normals, np.eye(3)[np.argmin(np.abs(normals), axis=1)])
    x /= np.linalg.norm(x, axis=1)[:, None]
    y = np.cross(normals, x)
    own = skin.over(points, normals).distance
    looks = np.empty((len(points), _RING + 1))
    looks[:, 0] = own
    for i in range(_RING):
        angle = 2.0 * np.pi * i / _RING
        looks[:, i + 1] = skin.over(points + radius * (np.cos(angle) * x + np.sin(angle) * y), normals).distance
    with np.errstate(invalid="ignore"):
        looks[~(np.abs(looks - own[:, None]) < _STEEP)] = np.nan
        looks[:, 0] = own
    seen = np.isfinite(looks)
    even = own.copy()
    rows = np.flatnonzero(seen[:, 0])
    if not rows.size:
        return StockNoise(own, even, np.zeros(len(own), dtype=np.bool_), 0.0)
    even[rows] = np.nanmedian(looks[rows], axis=1)
    off = own[rows] - even[rows]
    sigma = float(np.quantile(np.abs(looks[rows] - even[rows, None])[seen[rows]], 0.95) / _WIDE)
    pit = np.zeros(len(own), dtype=np.bool_)
    pit[rows] = off < -_PIT * sigma
    return StockNoise(own, even, pit, sigma)
