"""The fewest points that tell the least and the mean stock of every face: those that can never be the thinnest are left out.

Under one plane of the casting, stock over a flat face is a straight-line function of the place on the face wherever the
part lies: it is least at a corner of the points' hull, and its mean is that of their centre. Everything else is kept:
curved faces and walls, and walls with a hollow. Lengths mm. Knows nothing of what stock is required.
"""

from dataclasses import replace
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from geom.model.part import Part
from geom.place.sites import Sites, joined
from geom.rays.analytic import Ints
from geom.rays.sample import Samples

_FEW: Final = 12
"""A flat face with no more points than this under one plane keeps them all."""


def fewest(part: Part, sites: Sites, hollowed: frozenset[int]) -> Sites:
    """Return the points of some sites that count and can be the thinnest; one in each middle stands for the area of all.

    Args:
        hollowed: surfaces of the casting with a hollow.
    """
    finished, casting = part.finished.surfaces, part.casting.surfaces
    keep, middles = sites.counts.copy(), []
    pairs = np.unique((sites.samples.face.astype(np.int64) * (len(casting) + 1) + sites.wall + 1)[sites.counts])
    for surface, wall in ((pair // (len(casting) + 1), pair % (len(casting) + 1) - 1) for pair in pairs.tolist()):
        if wall < 0 or wall in hollowed or finished[surface].kind != "plane" or casting[wall].kind != "plane":
            continue
        rows = np.flatnonzero(sites.counts & (sites.samples.face == surface) & (sites.wall == wall))
        corners = None if len(rows) <= _FEW else _corners(sites.samples, rows.tobytes())
        if corners is None:
            continue
        keep[rows] = False
        middles.append((rows, rows[corners]))
    lots = [sites.of(np.flatnonzero(keep))]
    for rows, corners in middles:
        lots += [_without_area(sites.of(corners)), _middle(sites.of(rows))]
    return joined(*lots)


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


def _without_area(sites: Sites) -> Sites:
    return replace(sites, samples=replace(sites.samples, area=np.zeros(len(sites.face))))


def _middle(sites: Sites) -> Sites:
    """Return one site in the middle, by area, of sites in one plane under another."""
    area = sites.samples.area
    share = area / area.sum() if area.sum() > 0 else np.full(len(area), 1.0 / len(area))
    s, one = sites.samples, sites.of(np.zeros(1, dtype=np.int64))
    points, foot, looked = ((share @ a)[None] for a in (s.points, sites.foot, s.looked_from))
    samples = Samples(points, one.samples.normals, one.samples.face, area.sum()[None], s.edge_distance[:1], looked)
    return replace(one, samples=samples, reach=(share @ sites.reach)[None], foot=foot)
