"""The kernel's own answer to where a line crosses a solid, and what lies nearest to a point.

Exact on every face and at every edge, and hundreds of times slower than
`geom.rays.rays` and `geom.rays.analytic`, which call it only for rays that pass closer
to a curved edge than look-up triangles can tell, and for free-form faces.
Lengths mm, part frame.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from geom.kernel.shape import Solid, faces_of
from geom.tolerance import KERNEL_NOISE, kernel_noise

from OCP.BRep import BRep_Tool  # isort: skip

from OCP.IntCurveSurface import IntCurveSurface_In, IntCurveSurface_Out  # isort: skip
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector  # isort: skip
from OCP.ShapeAnalysis import ShapeAnalysis_Surface  # isort: skip
from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED, TopAbs_SHELL  # isort: skip
from OCP.TopExp import TopExp  # isort: skip
from OCP.TopTools import TopTools_IndexedMapOfShape  # isort: skip
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt, gp_Vec  # isort: skip


_Floats: TypeAlias = npt.NDArray[np.float64]


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

    def crossings(
        self, origin: Sequence[float], direction: Sequence[float], start: float, end: float | None = None
    ) -> list[Crossing]:
        """Return the crossings beyond a distance along a line, nearest first; touches are left out.

        Args:
            origin: a point, mm; direction: a unit vector.
            start: mm from the origin along the direction; may be negative.
            end: mm from the origin where to stop looking; beyond the solid unless told.
        """
        if end is None:
            centre, far = self._reach
            end = max(start, 0.0) + far + math.dist(origin, centre)
        self._finder.Perform(gp_Lin(gp_Pnt(*origin), gp_Dir(*direction)), start, end)
        faces = [self._faces.FindIndex(self._finder.Face(i)) - 1 for i in range(1, self._finder.NbPnt() + 1)]
        return sorted(_crossings(self._finder, faces), key=lambda c: (c.distance, c.face))


def _crossings(finder: Any, faces: list[int]) -> list[Crossing]:
    """Return the crossings a kernel finder holds, touches left out; `faces` are theirs."""
    ways = [finder.Transition(i) for i in range(1, len(faces) + 1)]
    return [
        Crossing(finder.WParameter(i), face, way == IntCurveSurface_Out)
        for i, (face, way) in enumerate(zip(faces, ways, strict=True), 1)
        if way in (IntCurveSurface_In, IntCurveSurface_Out)
    ]


def project(solid: Solid, index: int, points: _Floats) -> tuple[_Floats, _Floats]:
    """Return the nearest points (n, 3) of a face's surface and its outward normals (n, 3) there.

    Each search starts where the last one ended, so give neighbours in a row.
    """
    face = faces_of(solid.shape)[index]
    surface = BRep_Tool.Surface_s(face)
    finder, place = ShapeAnalysis_Surface(surface), None
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    side = -1.0 if face.Orientation() == TopAbs_REVERSED else 1.0
    found, across = np.empty((len(points), 3)), np.empty((len(points), 3))
    for i, xyz in enumerate(points.tolist()):
        near = gp_Pnt(*xyz)
        place = finder.ValueOfUV(near, KERNEL_NOISE) if place is None else finder.NextValueOfUV(place, near, KERNEL_NOISE)
        surface.D1(place.X(), place.Y(), point, du, dv)
        found[i], across[i] = point.Coord(), du.Crossed(dv).Coord()
    size = np.linalg.norm(across, axis=1)
    return found, side * across / np.where(size > 0, size, 1.0)[:, None]


def shell_count(solid: Solid) -> int:
    """Return how many closed skins a solid has: 1, and 1 more for each hollow wholly inside it."""
    return int(_shapes(solid.shape, TopAbs_SHELL).Extent())


def _shapes(shape: Any, kind: Any) -> Any:
    """Return the parts of one kind in a shape, numbered from 1 in the order `faces_of` gives them."""
    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, kind, found)
    return found
