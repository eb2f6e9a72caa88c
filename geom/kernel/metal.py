"""Whether a point is in metal, and whether a stretch of a line is clear of it.

Asks the kernel where lines cross the skin, but only of the faces whose boxes a
line meets: preparing every spline face for it costs more than the questions
asked here. For thousands of lines use `geom.rays.rays`. Lengths mm, part frame.
Knows nothing of holes or castings.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from geom.kernel.bounds import quick_box
from geom.kernel.load import require_kernel
from geom.kernel.shape import Solid, faces_of
from geom.space import Vec3, add, norm, scale, sub, unit
from geom.tolerance import kernel_noise

require_kernel()

from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_Intersector
from OCP.IntCurveSurface import IntCurveSurface_In, IntCurveSurface_Out

_Boxes = npt.NDArray[np.float64]


class Metal:
    """The metal of one solid, ready to be asked."""

    __slots__ = ("_faces", "_high", "_low", "_noise", "_reach", "_ready")

    def __init__(self, solid: Solid) -> None:
        self._faces = faces_of(solid.shape)
        self._noise = kernel_noise(solid.size)
        boxes = np.array([quick_box(face) for face in self._faces])
        self._low: _Boxes = boxes[:, 0] - self._noise
        self._high: _Boxes = boxes[:, 1] + self._noise
        self._ready: dict[int, Any] = {}
        self._reach = 2.0 * solid.size

    def at(self, point: Vec3) -> bool:
        """Return whether a point lies in metal.

        A line from a point in metal leaves it first, and crosses the skin an odd
        number of times. Where the two disagree the line met an edge, and another
        is tried.
        """
        odd = False
        for direction in _SIGHT_LINES:
            crossings = self._crossings(point, direction, self._reach + norm(point))
            odd = len(crossings) % 2 == 1
            if odd == (bool(crossings) and crossings[0][1]):
                return odd
        return odd

    def between(self, a: Vec3, b: Vec3) -> bool:
        """Return whether any of the straight stretch from a to b lies in metal."""
        way = sub(b, a)
        length = norm(way)
        if length > 0 and self._crossings(a, unit(way), length):
            return True
        return self.at(add(a, scale(way, 0.5)))

    def meets(self, origin: Vec3, direction: Vec3, length: float) -> bool:
        """Return whether a line crosses the skin within a length from its origin; the direction is of unit length."""
        return bool(self._crossings(origin, direction, length))

    def sees_out(self, origin: Vec3, direction: Vec3) -> bool:
        """Return whether a line from a point in air leaves without meeting metal."""
        return not self._crossings(origin, direction, self._reach + norm(origin))

    def _crossings(self, origin: Vec3, direction: Vec3, length: float) -> list[tuple[float, bool]]:
        """Return the crossings of a line as (distance, out of metal), nearest first; touches are left out."""
        line = gp_Lin(gp_Pnt(*origin), gp_Dir(*direction))
        found: list[tuple[float, bool]] = []
        for i in self._met(origin, direction, length):
            if i not in self._ready:
                self._ready[i] = IntCurvesFace_Intersector(self._faces[i], self._noise)
            face = self._ready[i]
            face.Perform(line, 0.0, length)
            for k in range(1, face.NbPnt() + 1):
                if face.Transition(k) in (IntCurveSurface_In, IntCurveSurface_Out):
                    found.append((face.WParameter(k), face.Transition(k) == IntCurveSurface_Out))
        return sorted(found)

    def _met(self, origin: Vec3, direction: Vec3, length: float) -> list[int]:
        """Return the faces whose boxes a stretch of a line meets."""
        start, way = np.array(origin), np.array(direction)
        with np.errstate(divide="ignore", invalid="ignore"):
            near, far = (self._low - start) / way, (self._high - start) / way
        inside = (self._low <= start) & (start <= self._high)
        still = way == 0
        enter = np.where(still, np.where(inside, -np.inf, np.inf), np.minimum(near, far)).max(axis=1)
        leave = np.where(still, np.where(inside, np.inf, -np.inf), np.maximum(near, far)).min(axis=1)
        met = (enter <= leave) & (leave >= 0) & (enter <= length)
        return [int(i) for i in np.flatnonzero(met)]


_SIGHT_LINES = tuple(unit(d) for d in ((0.8123, 0.4391, 0.3847), (-0.3311, 0.8712, -0.3629), (-0.4583, -0.2971, 0.8377)))
"""Three directions, nearly square to each other, that no drawing uses."""
