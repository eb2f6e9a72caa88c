"""Rays that pass a curved edge closer than look-up triangles can tell.

At an edge the metal is what lies under both faces (convex) or under either
(concave), so the two faces' own forms decide whether a ray crosses one of them
there or passes by. Lengths mm, part frame. Knows tubes and forms.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.rays.analytic import OTHER, Bools, Floats, Forms, Ints, crossings, heights
from geom.rays.guard import SIDES, Tubes
from geom.rays.tree import RayTree

_PIECES: Final = 8
"""A ray meets few sides of tubes in one place; one that runs along an edge is left to the kernel."""

_NEAR: Final = 4.0
"""What lies within this many tube widths of a tube belongs to that edge."""


@dataclass(frozen=True, slots=True, eq=False)
class EdgeAnswers:
    """What became of rays at an edge, one row each.

    Attributes:
        distance: mm to the crossing there; inf where the ray passes by.
        face: which face is crossed, -1 where none; leaving: from metal into air.
        beyond: mm along the ray where the tube lies behind it.
        doubtful: True where the forms cannot tell: a corner, a free-form face, a ray along the edge.
    """

    distance: Floats
    face: Ints
    leaving: Bools
    beyond: Floats
    doubtful: Bools


class EdgeRays:
    """The guard tubes of one solid, ready for rays."""

    __slots__ = ("_centre", "_forms", "_step", "_tree", "_tubes")

    def __init__(self, tubes: Tubes, f: Forms, centre: Floats, step: float) -> None:
        """Take the tubes, the forms of the faces, what trees are built about, and the least move along a ray."""
        self._tubes, self._forms, self._centre, self._step = tubes, f, centre, step
        self._tree = RayTree(tubes.vertices - centre, tubes.triangles)

    def judged(self, spots: Floats, directions: Floats, ahead: Floats) -> EdgeAnswers:
        """Return what each ray does at the first tube it meets beyond `ahead`."""
        tube, enter, leave, doubtful = self._through(spots, directions, ahead)
        faces, margin = self._tubes.faces[tube], _NEAR * self._tubes.width[tube]
        doubtful |= (self._forms.kind[faces] == OTHER).any(axis=1)
        low, high = np.maximum(enter - margin, ahead), leave + margin
        best = EdgeAnswers(np.full(len(tube), np.inf), np.full(len(tube), -1), np.zeros(len(tube), np.bool_), leave, doubtful)
        for side in (0, 1):
            for way in (True, False):
                leaving = np.full(len(tube), way)
                place = crossings(self._forms, faces[:, side], spots, directions, (enter + leave) / 2.0, leaving)
                over, _ = heights(self._forms, faces[:, 1 - side], spots + np.nan_to_num(place)[:, None] * directions)
                real = np.where(self._tubes.convex[tube], over <= 0.0, over >= 0.0)
                better = np.flatnonzero(real & (place >= low) & (place <= high) & (place < best.distance))
                best.distance[better], best.face[better], best.leaving[better] = place[better], faces[better, side], way
        return best

    def _through(self, spots: Floats, directions: Floats, ahead: Floats) -> tuple[Ints, Floats, Floats, Bools]:
        """Return the tube each ray meets, where it enters and leaves, and whether it meets another edge's tube there too."""
        base = spots - self._centre
        triangle, gone = self._tree.within(base + ahead[:, None] * directions, directions, np.full(len(spots), np.inf))
        doubtful = triangle < 0
        tube = np.maximum(triangle, 0) // SIDES
        enter = ahead + np.where(doubtful, 0.0, gone)
        leave, rows = enter.copy(), np.flatnonzero(~doubtful)
        for _ in range(_PIECES):
            if not rows.size:
                break
            start, reach = leave[rows] + self._step, _NEAR * self._tubes.width[tube[rows]]
            triangle, gone = self._tree.within(base[rows] + start[:, None] * directions[rows], directions[rows], reach)
            met = triangle >= 0
            rows, other = rows[met], triangle[met] // SIDES
            leave[rows] = start[met] + gone[met]
            doubtful[rows] |= (self._tubes.faces[other] != self._tubes.faces[tube[rows]]).any(axis=1)
        doubtful[rows] = True
        return tube, enter, leave, doubtful
