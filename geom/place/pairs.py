"""Which machined faces share their stock: opposite planes, and round faces with themselves.

Knows which rows of the stock belong to whom, nothing of how they were found. Lengths mm.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np

from geom.model.part import Part, PartFace
from geom.place.sites import Sites
from geom.place.stages import Misfits
from geom.rays.analytic import Bools, Floats
from geom.tolerance import SAME_DIRECTION

_ALL_ROUND: Final = 0.2
"""A round face whose normals point all ways has this least mean square along each (half a turn of it has 0.5)."""


def opposite_faces(part: Part) -> tuple[tuple[int, int], ...]:
    """Return the pairs of parallel planes that face away from each other, by number in `Part.machined`; each face once.

    Largest first; among several faces opposite one, the one most nearly behind it.
    """
    faces = part.machined
    found = []
    for i, a in enumerate(faces):
        for j in range(i + 1, len(faces)):
            b = faces[j]
            if a.normal is None or b.normal is None or float(np.dot(a.normal, b.normal)) > -1.0 + SAME_DIRECTION:
                continue
            apart = np.subtract(a.centroid, b.centroid)
            thick = float(apart @ a.normal)
            if thick <= 0:
                continue
            aside = float(np.linalg.norm(apart - thick * np.array(a.normal)))
            found.append((-round(min(a.area, b.area), 3), round(aside, 6), i, j))
    taken: set[int] = set()
    pairs = []
    for _, _, i, j in sorted(found):
        if not {i, j} & taken:
            taken |= {i, j}
            pairs.append((i, j))
    return tuple(pairs)


def pair_misfits(part: Part, sites: Sites, margin: Floats, rate: Floats, use: Bools) -> Misfits:
    """Return half the difference of the mean margins of each pair of opposite planes, and the off-centre of each round face.

    Args:
        margin: (n,); rate: (n, 6); use: (n,) which points count.
    """
    used = use & np.isfinite(margin)
    share = _shares(part, sites, used.tobytes())
    if not len(share):
        return Misfits(np.zeros(0), np.zeros((0, 6)), np.zeros(0))
    margin = np.where(used, margin, 0.0)
    rate = np.where(used[:, None], rate, 0.0)
    return Misfits(share @ margin, share @ rate, np.full(len(share), 1.0 / len(share)))


@lru_cache(maxsize=16)
def _shares(part: Part, sites: Sites, used: bytes) -> Floats:
    """Return what each point counts for in each half difference and off-centre (m, n)."""
    weight = np.where(np.frombuffer(used, dtype=np.bool_), sites.samples.area, 0.0)
    lines: list[Floats] = []
    for i, j in opposite_faces(part):
        a, b = (np.where(sites.face == n, weight, 0.0) for n in (i, j))
        if a.sum() > 0 and b.sum() > 0:
            lines.append((a / a.sum() - b / b.sum()) / 2.0)
    for number, face in enumerate(part.machined):
        lines.extend(_round_lines(face, sites, np.where(sites.face == number, weight, 0.0)))
    return np.array(lines)


def _round_lines(face: PartFace, sites: Sites, weight: Floats) -> Sequence[Floats]:
    if face.kind not in ("cylinder", "cone") or weight.sum() <= 0:
        return []
    axis = np.array(face.axis)
    u = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    u /= np.linalg.norm(u)
    ways = np.stack([sites.samples.normals @ u, sites.samples.normals @ np.cross(axis, u)])
    spread = (ways * weight) @ ways.T / weight.sum()
    if np.linalg.eigvalsh(spread)[0] < _ALL_ROUND:
        return []
    return list(np.linalg.solve(spread, ways * (weight / weight.sum())))
