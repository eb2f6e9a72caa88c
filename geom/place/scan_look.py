"""What a scan shows of each machined face at one place of the part: pits between the points, and what it did not see.

Lengths mm, part frame. Knows nothing of what stock is required.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from geom.place.rows import Look
from geom.place.sites import Sites
from geom.rays.analytic import Floats, Ints
from geom.rays.rays import skin_of
from geom.received.casting import AsReceived
from geom.rigid import Rigid
from geom.scan.pits import Pit, Places, pits_in
from geom.space import Vec3

_TOGETHER: Final = 1.6
"""Points no further apart than this many spacings belong to one gap."""


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of a machined face over which the scan shows no skin.

    Attributes:
        face: number in `Part.machined`; at: of its middle point, on the finished part as drawn.
        area: mm2; share: of the face.
        drawn: stock, mm, where it is least, if the skin is as drawn; sigma: of that skin, by the casting tolerance.
    """

    face: int
    at: Vec3
    area: float
    share: float
    drawn: float
    sigma: float


def spacing(sites: Sites) -> float:
    """Return how far sites lie apart, about, mm."""
    return float(np.sqrt(sites.samples.area.sum() / max(int((sites.samples.area > 0).sum()), 1)))


def point_spacing(received: AsReceived) -> float:
    """Return how far the points of a scan lie apart, about, mm."""
    assert received.scan is not None
    skin = sum(surface.area for surface in received.part.casting.surfaces)
    return float(np.sqrt(skin / received.scan.points))


# --- pits -------------------------------------------------------------------


def pits_at(received: AsReceived, sites: Sites, seen: Look, move: Rigid) -> tuple[Pit, ...]:
    """Return the pits of a scanned casting over the points that count; none without a scan."""
    if received.scan is None or seen.even is None:
        return ()
    step = spacing(sites)
    inner = sites.counts & ~sites.solid & (sites.samples.edge_distance > step / 2.0)
    places = Places(
        move.points(sites.samples.points),
        move.directions(sites.samples.normals),
        sites.face,
        np.where(np.isfinite(seen.stock), seen.drawn + seen.even.ground, np.nan),
        seen.even.ground,
        seen.even.scatter,
        inner,
        step,
        max(0.6 * step, point_spacing(received)),
    )
    back = move.inverse()
    return tuple(replace(pit, at=back.point(pit.at)) for pit in pits_in(received.scan, places, skin_of(received.part.casting)))


def with_pits(seen: Look, pits: Sequence[Pit]) -> Look:
    """Return the look with the stock over each pit's bottom at the point beside it."""
    stock = seen.stock.copy()
    for pit in pits:
        stock[pit.place] = min(stock[pit.place], pit.stock)
    return replace(seen, stock=stock)


# --- gaps -------------------------------------------------------------------


def gaps_at(received: AsReceived, sites: Sites, seen: Look) -> tuple[Gap, ...]:
    """Return where the scan shows no skin over a machined face, the largest first."""
    if received.scan is None:
        return ()
    lost = np.flatnonzero(
        np.isnan(seen.stock) & np.isfinite(seen.drawn) & ~sites.solid & (sites.samples.area > 0) & (sites.wall >= 0)
    )
    found = [_gap(received, sites, seen, some) for some in _lots(sites, lost)]
    return tuple(sorted(found, key=lambda gap: (-round(gap.area, 6), gap.face, gap.at)))


def _lots(sites: Sites, rows: Ints) -> list[Ints]:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if not rows.size:
        return []
    pairs = cKDTree(sites.samples.points[rows]).query_pairs(_TOGETHER * spacing(sites), output_type="ndarray")
    pairs = pairs[sites.face[rows[pairs[:, 0]]] == sites.face[rows[pairs[:, 1]]]]
    links = coo_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(rows.size, rows.size))
    count, name = connected_components(links, directed=False)
    return [rows[name == i] for i in range(count)]


def _gap(received: AsReceived, sites: Sites, seen: Look, rows: Ints) -> Gap:
    area, points = sites.samples.area[rows], sites.samples.points[rows]
    face = int(sites.face[rows[0]])
    whole = float(sites.samples.area[sites.face == face].sum())
    middle = area @ points / area.sum()
    x, y, z = (float(c) + 0.0 for c in points[int(np.argmin(np.round(np.linalg.norm(points - middle, axis=1), 6)))])
    thin = int(rows[np.argmin(np.round(seen.drawn[rows], 9))])
    return Gap(
        face, (x, y, z), float(area.sum()), float(area.sum()) / whole, float(seen.drawn[thin]), _sigma(received, sites, thin)
    )


def _sigma(received: AsReceived, sites: Sites, row: int) -> float:
    """Return how surely the drawn skin over a site is known without the scan, mm."""
    wall = received.model.walls.number[sites.wall[row]]
    return float(received.faces[int(wall)].sigma)


def points_on(received: AsReceived, sites: Sites) -> Floats:
    """Return about how many points of the scan lie over each machined face."""
    area = np.bincount(sites.face, weights=sites.samples.area, minlength=len(received.part.machined))
    return np.asarray(area / point_spacing(received) ** 2)
