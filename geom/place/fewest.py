"""The fewest points that tell the least and the mean stock of every face: those that can never be the thinnest are left out.

Under one plane of the casting, stock over a flat face is a straight-line function of the place on the face wherever the
part lies: it is least at a corner of the points' hull, and its mean is that of their centre. Everything else is kept:
curved faces and walls, and walls with a hollow. Lengths mm. Knows nothing of what stock is required.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from geom.model.part import Part
from geom.place.sites import Sites
from geom.rays.analytic import Ints
from geom.rays.sample import Samples

_FEW: Final = 12
"""A flat face with no more points than this under one plane keeps them all."""


def fewest(part: Part, sites: Sites, hollowed: frozenset[int]) -> Sites:
    """Return the points of some sites that count and can be the thinnest; one in each middle stands for the area of all.

    Args:
        hollowed: surfaces of the casting with a hollow.
    """
    keep = sites.counts.copy()
    lots: list[Ints] = []
    picked: list[Ints] = []
    for rows in _flat_lots(part, sites, hollowed):
        corners = _corners(sites.samples, rows.tobytes())
        if corners is not None:
            keep[rows] = False
            lots.append(rows)
            picked.append(np.append(rows[corners], rows[0]))
    kept = np.flatnonzero(keep)
    found = sites.of(np.concatenate([kept, *picked]))
    if lots:
        found.samples.area[len(kept) :] = 0.0
        _put_middles(sites, lots, found, len(kept) + np.cumsum([len(some) for some in picked]) - 1)
    return found


def _flat_lots(part: Part, sites: Sites, hollowed: frozenset[int]) -> list[Ints]:
    """Return the sites of each flat face that count, under each plane of the casting, where there are more than a few."""
    casting = part.casting.surfaces
    flat = np.array([surface.kind == "plane" for surface in part.finished.surfaces])
    under = np.array([surface.kind == "plane" and i not in hollowed for i, surface in enumerate(casting)] + [False])
    rows = np.flatnonzero(sites.counts & flat[sites.samples.face] & under[sites.wall])
    pair = sites.samples.face[rows].astype(np.int64) * len(casting) + sites.wall[rows]
    order = np.argsort(pair, kind="stable")
    begins = np.flatnonzero(np.diff(pair[order], prepend=-1))
    return [lot for lot in np.split(rows[order], begins[1:]) if len(lot) > _FEW]


@lru_cache(maxsize=8)
def fewest_drawn(part: Part, sites: Sites, hollowed: frozenset[int]) -> Sites:
    """Return the same for sites that all castings of a part share: worked out once."""
    return fewest(part, sites, hollowed)


@lru_cache(maxsize=256)
def _corners(samples: Samples, rows: bytes) -> Ints | None:
    """Return the corners of the hull of some samples in a plane; None where they lie in a line."""
    some = np.frombuffer(rows, dtype=np.int64)
    flat = np.delete(samples.points[some], int(np.argmax(np.abs(samples.normals[some[0]]))), axis=1)
    try:
        return np.sort(ConvexHull(flat).vertices).astype(np.int64)
    except (QhullError, ValueError):
        return None


def _put_middles(sites: Sites, lots: Sequence[Ints], found: Sites, at: Ints) -> None:
    """Set the new sites `at` in the middle, by area, of each lot; they stand for the area of all."""
    every, begin = np.concatenate(lots), np.cumsum([0, *(len(lot) for lot in lots[:-1])])
    lot, area = np.repeat(np.arange(len(lots)), [len(some) for some in lots]), sites.samples.area[every]
    whole = np.add.reduceat(area, begin)
    share = np.where(whole[lot] > 0, area / np.maximum(whole, 1e-300)[lot], 1.0 / np.bincount(lot)[lot])
    s, to = sites.samples, found.samples
    for a, b in ((s.points, to.points), (sites.foot, found.foot), (s.looked_from, to.looked_from)):
        b[at] = np.add.reduceat(share[:, None] * a[every], begin, axis=0)
    found.reach[at] = np.add.reduceat(share * sites.reach[every], begin)
    to.area[at] = whole
