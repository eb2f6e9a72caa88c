"""The kernel's own answer to where a line crosses a solid.

Exact on every face and at every edge, and hundreds of times slower than
`geom.rays`, which calls it only for rays that pass closer to a curved edge
than its look-up triangles can tell, and for free-form faces. Lengths mm, part
frame.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from geom.kernel.shape import Solid
from geom.tolerance import kernel_noise

from OCP.IntCurveSurface import IntCurveSurface_In, IntCurveSurface_Out  # isort: skip
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector  # isort: skip
from OCP.TopAbs import TopAbs_FACE, TopAbs_SHELL  # isort: skip
from OCP.TopExp import TopExp  # isort: skip
from OCP.TopTools import TopTools_IndexedMapOfShape  # isort: skip
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt  # isort: skip


@dataclass(frozen=True, slots=True)
class Crossing:
    """One crossing of a line with a solid's face: distance along the line, surface index, metal to air or not."""

    distance: float
    face: int
    leaving: bool


class Probe:
    """A solid made ready for lines."""

    __slots__ = ("_faces", "_finder", "_reach")

    def __init__(self, solid: Solid) -> None:
        self._finder = IntCurvesFace_ShapeIntersector()
        self._finder.Load(solid.shape, kernel_noise(solid.size))
        self._faces = _shapes(solid.shape, TopAbs_FACE)
        self._reach = (solid.centre, 2.0 * solid.size)

    def first(self, origin: Sequence[float], direction: Sequence[float], start: float) -> Crossing | None:
        """Return the first crossing beyond a distance along a line, or None; see `crossings`."""
        return next(iter(self.crossings(origin, direction, start)), None)

    def crossings(self, origin: Sequence[float], direction: Sequence[float], start: float) -> list[Crossing]:
        """Return the crossings beyond a distance along a line, nearest first; touches are left out.

        Args:
            origin: a point, mm; direction: a unit vector.
            start: mm from the origin along the direction; may be negative.
        """
        centre, far = self._reach
        end = start + far + math.dist(origin, centre)
        self._finder.Perform(gp_Lin(gp_Pnt(*origin), gp_Dir(*direction)), start, end)
        found = [self._crossing(i) for i in range(1, self._finder.NbPnt() + 1)]
        return sorted((c for c in found if c is not None), key=lambda c: (c.distance, c.face))

    def _crossing(self, number: int) -> Crossing | None:
        way = self._finder.Transition(number)
        if way not in (IntCurveSurface_In, IntCurveSurface_Out):
            return None
        face = self._faces.FindIndex(self._finder.Face(number)) - 1
        return Crossing(self._finder.WParameter(number), face, way == IntCurveSurface_Out)


def shell_count(solid: Solid) -> int:
    """Return how many closed skins a solid has: 1, and 1 more for each hollow wholly inside it."""
    return int(_shapes(solid.shape, TopAbs_SHELL).Extent())


def _shapes(shape: Any, kind: Any) -> Any:
    """Return the parts of one kind in a shape, numbered from 1 in the order `faces_of` gives them."""
    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, kind, found)
    return found
