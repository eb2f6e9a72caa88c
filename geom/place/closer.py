"""A closer look where even sites may miss the thinnest point: under the bottoms of hollows, and where the skin is curved.

Lengths mm, part frame. Knows nothing of what stock is required.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np

from geom.model.part import Part
from geom.place.faces import SAME
from geom.place.shortfall_lp import thinnest_rows
from geom.place.sites import Sites, joined, sites_at, spacing_of_sites
from geom.rays.analytic import Floats, Ints
from geom.received.casting import AsReceived
from geom.rigid import Rigid

_GRID: Final = 5
"""Points each way about a thin place."""

_FINEST: Final = 2
"""How often the closer look is halved."""


class Closer:
    """The closer looks of one placement: places once looked at stay, so that a point found thin is never forgotten."""

    __slots__ = ("_all", "_around", "_even", "_known", "_number", "_received")

    def __init__(self, received: AsReceived) -> None:
        self._received = received
        self._around: Sites | None = None
        self._even: Sites | None = None
        self._all: Sites | None = None
        self._known: set[tuple[int, float]] = set()
        self._number = 0

    @property
    def is_finest(self) -> bool:
        """Whether the next look would be no closer than the last one."""
        return self._number >= 2 + _FINEST

    def sites(self, even: Sites, move: Rigid, stock: Floats | None) -> Sites:
        """Return the even sites and, behind them, those of a closer look from the part's present place.

        Args:
            stock: what the even sites saw at the last look; None at the first.
        """
        if self._received.scan is not None:
            return even
        self._number += 1
        if stock is not None:
            self._look_about(even, stock)
        if self._all is None or self._even is not even:
            self._even, self._all = even, even if self._around is None else joined(even, self._around)
        found = self._all
        points, surfaces = _under_hollows(self._received, move)
        return joined(found, sites_at(self._received.part, points, surfaces)) if len(points) else found

    def _look_about(self, even: Sites, stock: Floats) -> None:
        thin = [spot for spot in _thin_spots(self._received, even, stock, self._number) if spot not in self._known]
        if not thin:
            return
        self._known.update(thin)
        new = joined(*_looks_about(self._received.part, even, thin))
        self._around, self._all = new if self._around is None else joined(self._around, new), None


_Spot: TypeAlias = tuple[int, bytes, float]


@lru_cache(maxsize=4)
def _looked_about(part: Part) -> dict[_Spot, Sites]:
    """Return the closer looks that castings of a part took: they do not depend on the casting."""
    assert part.machined
    return {}


def _looks_about(part: Part, even: Sites, thin: Sequence[tuple[int, float]]) -> list[Sites]:
    """Return the sites of closer looks about even ones, so far round each."""
    known, s = _looked_about(part), even.samples
    spots: list[_Spot] = [(int(s.face[i]), s.points[i].tobytes(), reach) for i, reach in thin]
    new = [k for k, spot in enumerate(spots) if spot not in known]
    if new:
        points = np.concatenate([s.points[i] + reach * _grid(s.normals[i]) for i, reach in (thin[k] for k in new)])
        found = sites_at(part, points, np.repeat([spots[k][0] for k in new], _GRID * _GRID))
        for n, k in enumerate(new):
            known[spots[k]] = found.of(np.arange(n * _GRID * _GRID, (n + 1) * _GRID * _GRID))
    return [known[spot] for spot in spots]


def _under_hollows(received: AsReceived, move: Rigid) -> tuple[Floats, Ints]:
    """Return the points of machined faces that lie under the bottoms of hollows now."""
    faces = {face.name: face for face in received.part.machined}
    spots = [s for s in received.spots if s.face in faces]
    if not spots:
        return np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    back = move.inverse().points(np.array([s.centre for s in spots]))
    return back, np.array([faces[s.face].surfaces[0] for s in spots])


def _thin_spots(received: AsReceived, even: Sites, stock: Floats, number: int) -> list[tuple[int, float]]:
    """Return each face's thinnest site and how far round it to look, where face or skin is curved and an edge is not near.

    Args:
        number: of the look, from 1: each is twice as fine as the one before.
    """
    finished, casting = received.part.finished.surfaces, received.part.casting.surfaces
    found, rows = [], np.flatnonzero(even.counts & np.isfinite(stock))
    for thin in rows[thinnest_rows(np.round(stock[rows], SAME), even.face[rows])].tolist():
        surface, wall = int(even.samples.face[thin]), int(even.wall[thin])
        if finished[surface].kind == casting[wall].kind == "plane" or even.samples.edge_distance[thin] <= _EDGE:
            continue
        reach = spacing_of_sites(received.part, surface) / 2.0 ** min(max(number - 2, 0), _FINEST)
        found.append((thin, min(reach, float(even.samples.edge_distance[thin]) - _EDGE)))
    return found


_EDGE: Final = 1.0
"""A closer look keeps this far, mm, from a face's edge."""


def _grid(normal: Floats) -> Floats:
    u = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    u /= np.linalg.norm(u)
    ticks = np.linspace(-1.0, 1.0, _GRID)
    a, b = (t.ravel() for t in np.meshgrid(ticks, ticks))
    return np.asarray(np.outer(a, u) + np.outer(b, np.cross(normal, u)))
