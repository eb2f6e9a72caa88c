"""Bounding boxes: exact, but only where it matters.

The kernel's exact box costs up to 25 ms a face and its quick one is too large;
so the exact one is asked only of faces whose quick box reaches beyond what is
already sure. Lengths mm, part frame.
"""

import math
from collections.abc import Iterator
from typing import Any

from geom.kernel.load import require_kernel
from geom.kernel.topology import edges_of, explore, faces_of
from geom.space import Vec3, dot
from geom.tolerance import KERNEL_NOISE

require_kernel()

from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.GeomAbs import GeomAbs_SurfaceType as SurfaceType
from OCP.gp import gp_Pnt2d
from OCP.TopAbs import TopAbs_OUT, TopAbs_VERTEX
from OCP.TopoDS import TopoDS

Box = tuple[Vec3, Vec3]

_SLACK = 20 * KERNEL_NOISE
"""Quick boxes are widened by the shape's own tolerances, which are at least the kernel noise."""

_SIDES = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
_RULED = (SurfaceType.GeomAbs_Plane, SurfaceType.GeomAbs_Cylinder, SurfaceType.GeomAbs_Cone)


def bounding_box(shape: Any) -> Box:
    """Return the least and greatest corner of a kernel shape, mm."""
    low, high = _corners(vertex_points(shape))
    faces = faces_of(shape)
    loose = [quick_box(face) for face in faces]
    for i in sorted(range(len(faces)), key=lambda i: -_beyond(loose[i], low, high)):
        if _beyond(loose[i], low, high) > _SLACK:
            low, high = _corners([low, high, *_exact_box(faces[i])])
    return _without_slack(low), _without_slack(high)


def quick_box(shape: Any) -> Box:
    """Return the corners of a box that a kernel face or edge lies in; round a spline it may be too large."""
    box = Bnd_Box()
    BRepBndLib.Add_s(shape, box, False)
    return _box_corners(box)


def vertex_points(shape: Any) -> list[Vec3]:
    """Return the places of a kernel shape's vertices, once per use."""
    return [_xyz(BRep_Tool.Pnt_s(TopoDS.Vertex(v))) for v in explore(shape, TopAbs_VERTEX)]


def _exact_box(face: Any) -> Box:
    """Return the corners of a face's own box.

    A plane, cylinder or cone is furthest out on its edges; a ball or ring there or at its crests.
    """
    kind = BRepAdaptor_Surface(face, False).GetType()
    if kind not in (*_RULED, SurfaceType.GeomAbs_Sphere, SurfaceType.GeomAbs_Torus):
        return _optimal_box(face)
    edges = [_optimal_box(edge) for edge in edges_of(face) if not BRep_Tool.Degenerated_s(edge)]
    crests = [] if kind in _RULED else list(_crests(face))
    return _corners([*(corner for box in edges for corner in box), *crests, *vertex_points(face)])


def _optimal_box(shape: Any) -> Box:
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    return _box_corners(box)


def _crests(face: Any) -> Iterator[Vec3]:
    """Yield the points of a ball or ring that lie furthest out along X, Y or Z, when they are inside the face's edges."""
    surface = BRepAdaptor_Surface(face)
    inside = BRepTopAdaptor_FClass2d(face, KERNEL_NOISE)
    for side in _SIDES:
        for u, v in _crest_places(surface, side):
            if inside.Perform(gp_Pnt2d(u, v), True) != TopAbs_OUT:
                yield _xyz(surface.Value(u, v))


def _crest_places(surface: BRepAdaptor_Surface, side: Vec3) -> Iterator[tuple[float, float]]:
    """Yield the parameters at which a ball or ring has its normal along a direction."""
    is_ball = surface.GetType() == SurfaceType.GeomAbs_Sphere
    frame = (surface.Sphere() if is_ball else surface.Torus()).Position()
    x, y, z = (_xyz(d) for d in (frame.XDirection(), frame.YDirection(), frame.Direction()))
    round_, rise = math.hypot(dot(side, x), dot(side, y)), dot(side, z)
    u = math.atan2(dot(side, y), dot(side, x))
    for turned, outward in ((u, round_), (u + math.pi, -round_)):
        for v in (math.atan2(rise, outward), math.atan2(-rise, -outward)):
            if not is_ball or abs(v) <= math.pi / 2:
                yield turned, v


def _beyond(box: Box, low: Vec3, high: Vec3) -> float:
    """Return how far a box reaches out of another, mm; below zero when it lies inside."""
    return max(max(low[i] - box[0][i], box[1][i] - high[i]) for i in range(3))


def _corners(points: list[Vec3]) -> Box:
    low, high = (tuple(pick(axis) for axis in zip(*points, strict=True)) for pick in (min, max))
    return low, high


def _box_corners(box: Bnd_Box) -> Box:
    box.SetGap(0.0)
    return _xyz(box.CornerMin()), _xyz(box.CornerMax())


def _without_slack(corner: Vec3) -> Vec3:
    """Return the corner to a nanometre: the kernel widens every box by its confusion distance."""
    return tuple(round(c, 6) + 0.0 for c in corner)  # type: ignore[return-value]


def _xyz(p: Any) -> Vec3:
    return (p.X() + 0.0, p.Y() + 0.0, p.Z() + 0.0)
