"""Points on a face inside its edges, and whether a given point is one.

The kernel's own parameters, so no mesh and no facet error. Lengths mm, part
frame. Knows nothing of castings, holes or names.
"""

from dataclasses import dataclass
from typing import Any

from geom.kernel.bounds import quick_box
from geom.kernel.load import require_kernel
from geom.kernel.shape import Solid, faces_of
from geom.space import Vec3
from geom.tolerance import KERNEL_NOISE

require_kernel()

from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.gp import gp_Pnt, gp_Pnt2d, gp_Vec
from OCP.ShapeAnalysis import ShapeAnalysis_Surface
from OCP.TopAbs import TopAbs_IN, TopAbs_OUT

_LATTICE = (0.7548776662466927, 0.5698402909980532)
"""Steps of an even two-dimensional lattice: powers of the inverse of the root of x^3 = x + 1."""

_ROUNDS = 4
"""A thin ring fills little of its parameter box: the lattice is made four times as dense up to this often."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A point inside a face's edges: where, its share of the face's area, its surface parameters."""

    point: Vec3
    share: float
    place: tuple[float, float]


class Trims:
    """The faces of one solid as trimmed surfaces; each is prepared when first asked about."""

    __slots__ = ("_faces", "_inside", "_surface")

    def __init__(self, solid: Solid) -> None:
        self._faces = faces_of(solid.shape)
        self._inside: dict[int, Any] = {}
        self._surface: dict[int, Any] = {}

    def spots(self, index: int, count: int) -> list[Spot]:
        """Return at least a few of `count` lattice points that lie inside a face's edges.

        Empty only for a sliver that a lattice of `count` x 64 points misses.
        """
        adaptor, inside = BRepAdaptor_Surface(self._faces[index]), self._classifier(index)
        found: list[Spot] = []
        for round_ in range(_ROUNDS):
            found = _lattice_spots(adaptor, inside, count * 4**round_)
            if len(found) >= count / 4:
                break
        total = sum(spot.share for spot in found)
        return [Spot(s.point, s.share / total, s.place) for s in found] if total > 0 else []

    def box(self, index: int) -> tuple[Vec3, Vec3]:
        """Return the least and greatest corner of a box that a face lies in; on splines it may be too large."""
        return quick_box(self._faces[index])

    def holds(self, index: int, spot: Spot, within: float) -> bool:
        """Return whether a point lies on a face inside its edges, no further than `within` mm off the surface.

        On splines a search of a millisecond; a few microseconds elsewhere.
        """
        surface = self._prepared(index)
        place = surface.ValueOfUV(gp_Pnt(*spot.point), KERNEL_NOISE)
        return bool(surface.Gap() <= within) and self._is_inside(index, place)

    def holds_in_place(self, index: int, spot: Spot, within: float) -> bool:
        """Return whether a face holds a point at the very parameters the spot has on its own face.

        True where both faces were trimmed from one surface; False says nothing.
        """
        u, v = spot.place
        near = self._prepared(index).Value(u, v).Distance(gp_Pnt(*spot.point)) <= within
        return near and self._is_inside(index, gp_Pnt2d(u, v))

    def _prepared(self, index: int) -> Any:
        if index not in self._surface:
            self._surface[index] = ShapeAnalysis_Surface(BRep_Tool.Surface_s(self._faces[index]))
        return self._surface[index]

    def _is_inside(self, index: int, place: gp_Pnt2d) -> bool:
        return bool(self._classifier(index).Perform(place, True) != TopAbs_OUT)

    def _classifier(self, index: int) -> Any:
        if index not in self._inside:
            self._inside[index] = BRepTopAdaptor_FClass2d(self._faces[index], KERNEL_NOISE)
        return self._inside[index]


def _lattice_spots(adaptor: BRepAdaptor_Surface, inside: Any, count: int) -> list[Spot]:
    u0, u1 = adaptor.FirstUParameter(), adaptor.LastUParameter()
    v0, v1 = adaptor.FirstVParameter(), adaptor.LastVParameter()
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    found: list[Spot] = []
    for i in range(1, count + 1):
        u = u0 + (u1 - u0) * (i * _LATTICE[0] % 1.0)
        v = v0 + (v1 - v0) * (i * _LATTICE[1] % 1.0)
        if inside.Perform(gp_Pnt2d(u, v), True) == TopAbs_IN:
            adaptor.D1(u, v, point, du, dv)
            found.append(Spot((point.X(), point.Y(), point.Z()), du.Crossed(dv).Magnitude(), (u, v)))
    return found
