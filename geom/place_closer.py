"""A closer look where even sites may miss the thinnest point: under the bottoms of hollows, and where the skin is curved.

Lengths mm, part frame. Knows nothing of what stock is required.
"""

from typing import Final

import numpy as np

from geom.analytic import Floats, Ints
from geom.place_rows import Sites, joined, sites_at, spacing_of_sites
from geom.received import AsReceived
from geom.rigid import Rigid

_GRID: Final = 5
"""Points each way about a thin place."""

_FINEST: Final = 2
"""How often the closer look is halved."""


def closer(received: AsReceived, even: Sites, move: Rigid, stock: Floats | None, number: int) -> Sites:
    """Return the even sites and, behind them, those of a closer look from the part's present place.

    Args:
        stock: what the even sites saw at the last look; None at the first.
        number: of the look, from 1: each is twice as fine as the one before.
    """
    if received.scan is not None:
        return even
    points, surfaces = _under_hollows(received, move)
    if stock is not None:
        around, theirs = _about_thin(received, even, stock, number)
        points, surfaces = np.concatenate([points, around]), np.concatenate([surfaces, theirs])
    if not len(points):
        return even
    return joined(even, sites_at(received.part, points, surfaces))


def _under_hollows(received: AsReceived, move: Rigid) -> tuple[Floats, Ints]:
    """Return the points of machined faces that lie under the bottoms of hollows now."""
    faces = {face.name: face for face in received.part.machined}
    spots = [s for s in received.spots if s.face in faces]
    if not spots:
        return np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    back = move.inverse().points(np.array([s.centre for s in spots]))
    return back, np.array([faces[s.face].surfaces[0] for s in spots])


def _about_thin(received: AsReceived, even: Sites, stock: Floats, number: int) -> tuple[Floats, Ints]:
    """Return a small grid about each face's thinnest point, where face or skin is curved and an edge is not near."""
    finished, casting = received.part.finished.surfaces, received.part.casting.surfaces
    points, surfaces = [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)]
    for face in np.unique(even.face).tolist():
        rows = np.flatnonzero((even.face == face) & even.counts & np.isfinite(stock))
        if not rows.size:
            continue
        thin = int(rows[np.argmin(stock[rows])])
        surface, wall = int(even.samples.face[thin]), int(even.wall[thin])
        if finished[surface].kind == casting[wall].kind == "plane" or even.samples.edge_distance[thin] <= _EDGE:
            continue
        reach = spacing_of_sites(received.part, surface) / 2.0 ** min(max(number - 2, 0), _FINEST)
        reach = min(reach, float(even.samples.edge_distance[thin]) - _EDGE)
        points.append(even.samples.points[thin] + reach * _grid(even.samples.normals[thin]))
        surfaces.append(np.full(_GRID * _GRID, surface))
    return np.concatenate(points), np.concatenate(surfaces)


_EDGE: Final = 1.0
"""A closer look keeps this far, mm, from a face's edge."""


def _grid(normal: Floats) -> Floats:
    u = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    u /= np.linalg.norm(u)
    ticks = np.linspace(-1.0, 1.0, _GRID)
    a, b = (t.ravel() for t in np.meshgrid(ticks, ticks))
    return np.asarray(np.outer(a, u) + np.outer(b, np.cross(normal, u)))
