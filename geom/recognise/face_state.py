"""Which finished faces are the casting's skin, and which are cut.

Each finished face is compared with the casting face by face: points on it lie
on the skin when they are within `tolerance.SKIN` of a casting face's surface
and inside that face's edges. Exact where both are analytic; the kernel's
nearest point on splines. Says nothing of how much metal there is to cut.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.kernel.shape import Solid, Surface, SurfaceKind
from geom.kernel.trim import Spot, Trims
from geom.rays.analytic import Bools, Floats, forms, heights
from geom.space import Vec3, norm, sub
from geom.tolerance import SKIN

POINTS = 40
"""Points a face is judged by, before trimming."""

SAME_FACE = 1e-6
"""Two faces whose areas, centroids, normals and radii agree to this share are one face, cut nowhere."""

TRIAL_POINTS = 6
"""Where only splines may hold a face's points, this many are searched for before the rest: a search is slow."""

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


def skin_shares(finished: Solid, casting: Solid) -> tuple[SkinShare, ...]:
    """Return, for each surface of the finished part, how much of it is the casting's skin."""
    mine, skin = Trims(finished), _Skin(casting)
    whole = _Untouched(casting)
    return tuple(
        SkinShare(1.0, surface.centroid) if whole.has(surface) else _share(mine, surface, skin) for surface in finished.surfaces
    )


class _Untouched:
    """A casting's faces by kind, to be found again whole."""

    __slots__ = ("_faces",)

    def __init__(self, casting: Solid) -> None:
        self._faces: dict[tuple[SurfaceKind, bool], list[Surface]] = {}
        for surface in casting.surfaces:
            self._faces.setdefault((surface.kind, surface.hollow), []).append(surface)

    def has(self, surface: Surface) -> bool:
        """Return whether the casting has this very face: same kind, side, area, centroid and middle normal."""
        return any(_is_same_face(surface, other) for other in self._faces.get((surface.kind, surface.hollow), ()))


def _is_same_face(a: Surface, b: Surface) -> bool:
    if abs(a.area - b.area) > SAME_FACE * a.area or norm(sub(a.centroid, b.centroid)) > SAME_FACE * math.sqrt(a.area):
        return False
    turned = norm(sub(a.normal, b.normal)) <= SAME_FACE
    return turned and abs(a.radius - b.radius) <= SAME_FACE * (1 + a.radius)


def _share(mine: Trims, surface: Surface, skin: "_Skin") -> SkinShare:
    spots = mine.spots(surface.index, POINTS) or [Spot(surface.centroid, 1.0, (0.0, 0.0))]
    on = skin.holds(spots)
    weights = np.array([spot.share for spot in spots])
    share = float(weights[on].sum())
    if not share > 0:
        return SkinShare(0.0, None)
    x, y, z = np.average(np.array([spot.point for spot in spots])[on], axis=0, weights=weights[on])
    return SkinShare(min(share, 1.0), (float(x), float(y), float(z)))


class _Skin:
    """A casting's faces, ready to be asked which points lie on them."""

    __slots__ = ("_forms", "_high", "_low", "_slow", "_trims")

    def __init__(self, casting: Solid) -> None:
        self._trims = Trims(casting)
        self._forms = forms(casting.surfaces)
        self._slow = [s.kind == "other" or s.recovered for s in casting.surfaces]
        boxes = np.array([self._trims.box(i) for i in range(len(casting.surfaces))])
        self._low, self._high = boxes[:, 0] - SKIN, boxes[:, 1] + SKIN

    def holds(self, spots: Sequence[Spot]) -> Bools:
        """Return which spots (n,) of one face lie on the skin."""
        near = [np.flatnonzero(row).tolist() for row in self._near(np.array([spot.point for spot in spots]))]
        found = [any(self._is_on(j, spot) for j in faces) for spot, faces in zip(spots, near, strict=True)]
        open_ = [i for i, on in enumerate(found) if not on and any(self._slow[j] for j in near[i])]
        trial = open_[:: max(1, len(open_) // TRIAL_POINTS)]
        for i in open_ if any(self._searched(spots[i], near[i]) for i in trial) else ():
            found[i] = self._searched(spots[i], near[i])
        return np.array(found, dtype=np.bool_)

    def _is_on(self, face: int, spot: Spot) -> bool:
        """Return whether a face holds a spot, as far as can be told without a search on a spline."""
        if self._trims.holds_in_place(face, spot, SKIN):
            return True
        return not self._slow[face] and self._trims.holds(face, spot, SKIN)

    def _searched(self, spot: Spot, faces: Sequence[int]) -> bool:
        return any(self._trims.holds(j, spot, SKIN) for j in faces if self._slow[j])

    def _near(self, points: Floats) -> Bools:
        """Return (n, faces): which faces may hold each point, by their boxes and untrimmed surfaces."""
        boxed = np.logical_and(points[:, None] >= self._low, points[:, None] <= self._high).all(axis=2)
        row, face = np.nonzero(boxed)
        high, _ = heights(self._forms, face, points[row])
        near = np.zeros(boxed.shape, dtype=np.bool_)
        near[row, face] = ~(np.abs(high) > SKIN)
        return near
