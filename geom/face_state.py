"""Which finished faces are the casting's skin, and which are cut.

Each finished face is compared with the casting face by face: points on it lie
on the skin when they are within `tolerance.SKIN` of a casting face's surface
and inside that face's edges. Exact where both are analytic; the kernel's
nearest point on splines. Says nothing of how much metal there is to cut.
"""

from dataclasses import dataclass

import numpy as np

from geom.analytic import Floats, forms, heights
from geom.kernel.shape import Solid, Surface
from geom.kernel.trim import Trims
from geom.space import Vec3
from geom.tolerance import SKIN

POINTS = 40
"""Points a face is judged by, before trimming."""

EDGE_DOUBT = 0.05
"""A face is wholly skin, or wholly cut, when less than this share of it says otherwise: near an
edge where draft meets the cut, a strip narrower than the tolerance cannot be told apart."""


@dataclass(frozen=True, slots=True)
class SkinShare:
    """How much of a finished face is the casting's skin.

    Attributes:
        share: of its area, 0 to 1.
        middle: of the part that is skin, mm; None when none is.
    """

    share: float
    middle: Vec3 | None

    @property
    def is_skin(self) -> bool:
        """Whether the face stays as cast."""
        return self.share > 1.0 - EDGE_DOUBT

    @property
    def is_mixed(self) -> bool:
        """Whether part of the face is skin and part is cut."""
        return EDGE_DOUBT <= self.share <= 1.0 - EDGE_DOUBT


def skin_shares(finished: Solid, casting: Solid) -> tuple[SkinShare, ...]:
    """Return, for each surface of the finished part, how much of it is the casting's skin."""
    mine, theirs = Trims(finished), Trims(casting)
    return tuple(_share(mine, surface, casting, theirs) for surface in finished.surfaces)


def _share(mine: Trims, surface: Surface, casting: Solid, theirs: Trims) -> SkinShare:
    spots = mine.points(surface.index, POINTS) or [(surface.centroid, 1.0)]
    points = np.array([p for p, _ in spots])
    near = _near(casting, points)
    on = np.array(
        [any(theirs.holds(j, p, SKIN) for j in np.flatnonzero(row).tolist()) for (p, _), row in zip(spots, near, strict=True)]
    )
    weights = np.array([w for _, w in spots])
    share = float(weights[on].sum())
    if not share > 0:
        return SkinShare(0.0, None)
    x, y, z = np.average(points[on], axis=0, weights=weights[on])
    return SkinShare(min(share, 1.0), (float(x), float(y), float(z)))


def _near(casting: Solid, points: Floats) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    """Return (n, faces): which casting surfaces pass within `SKIN` of each point, trimming aside; splines always may."""
    table = forms(casting.surfaces)
    count = len(casting.surfaces)
    face = np.tile(np.arange(count), len(points))
    high, _ = heights(table, face, np.repeat(points, count, axis=0))
    return ~(np.abs(high).reshape(len(points), count) > SKIN)
