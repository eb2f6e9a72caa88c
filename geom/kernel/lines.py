"""Exact hidden lines of a solid, as flat curves in the plane of a view.

A view is a `Frame`: x to the right, y up, z towards the eye; curves come back
in its x and y, mm. Visible and hidden lines are edges and silhouettes; smooth
lines are edges where the faces run into each other without a corner; seams
of round faces are no lines at all. Knows nothing of sheets, scales or styles.
"""

import math
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any, Final

from geom.flat.curve2d import Arc, Curve, EllipseArc, Line, Spline, Vec2, at
from geom.kernel.shape import Solid
from geom.flat.overlap2d import SAME_CURVE, merged, without
from geom.space import Frame

from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepLib import BRepLib
from OCP.GeomAbs import GeomAbs_Circle, GeomAbs_Ellipse, GeomAbs_Line
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt, gp_Vec
from OCP.HLRAlgo import HLRAlgo_Projector
from OCP.HLRBRep import HLRBRep_Algo, HLRBRep_HLRToShape
from OCP.TopAbs import TopAbs_EDGE
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

SPLINE_CHAIN: Final = 1e-3
"""A curve that is no line, circle or ellipse is followed by cubics within this many mm."""

LARGEST_ARC: Final = 2000.0
"""A flatter arc than this radius, mm, is left a spline: its centre would be noise."""

SMOOTH: Final = 0.1
"""Faces that meet at less than this turn, degrees, run into each other; the least draft is ten times as much."""

_MOST_PIECES: Final = 64


@dataclass(frozen=True, slots=True)
class ViewLines:
    """The lines of one view, each sorted and free of overlaps; no hidden or smooth line lies under a visible one."""

    visible: tuple[Curve, ...]
    hidden: tuple[Curve, ...]
    smooth: tuple[Curve, ...]


@lru_cache(maxsize=8)
def view_lines(solid: Solid, view: Frame) -> ViewLines:
    """Return the visible, hidden and smooth lines of a solid.

    Args:
        view: x to the right, y up, z towards the eye; its origin is the curves' origin.
    """
    shapes = _hidden_line_shapes(solid, view)
    visible = merged(_curves(shapes.VCompound(), shapes.OutLineVCompound()))
    smooth = without(_curves(shapes.Rg1LineVCompound()), visible)
    hidden = without(_curves(shapes.HCompound(), shapes.OutLineHCompound()), (*visible, *smooth))
    return ViewLines(visible, hidden, smooth)


def visible_lines(solid: Solid, view: Frame) -> tuple[Curve, ...]:
    """Return only the visible edges and silhouettes of a solid, sorted and free of overlaps."""
    shapes = _hidden_line_shapes(solid, view)
    return merged(_curves(shapes.VCompound(), shapes.OutLineVCompound()))


def _hidden_line_shapes(solid: Solid, view: Frame) -> HLRBRep_HLRToShape:
    BRepLib.EncodeRegularity_s(solid.shape, math.radians(SMOOTH))
    plane = gp_Ax2(gp_Pnt(*view.origin), gp_Dir(*view.z), gp_Dir(*view.x))
    algorithm = HLRBRep_Algo()
    algorithm.Add(solid.shape)
    algorithm.Projector(HLRAlgo_Projector(plane))
    with _kernel_silenced():
        algorithm.Update()
        algorithm.Hide()
    return HLRBRep_HLRToShape(algorithm)


@contextmanager
def _kernel_silenced() -> Iterator[None]:
    """Keep the kernel's own remarks off standard output, where a caller may expect JSON."""
    sys.stdout.flush()
    try:
        kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    except OSError:
        yield
        return
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def _curves(*compounds: Any) -> list[Curve]:
    out: list[Curve] = []
    for compound in compounds:
        if compound is None or compound.IsNull():
            continue
        BRepLib.BuildCurves3d_s(compound)
        explorer = TopExp_Explorer(compound, TopAbs_EDGE)
        while explorer.More():
            curve = _flat_curve(BRepAdaptor_Curve(TopoDS.Edge(explorer.Current())))
            if curve is not None:
                out.append(curve)
            explorer.Next()
    return out


def _flat_curve(edge: BRepAdaptor_Curve) -> Curve | None:
    """Return a projected edge as the simplest curve it is, or None when it is shorter than can be told from a point."""
    first, last = edge.FirstParameter(), edge.LastParameter()
    points = [_xy(edge.Value(first + (last - first) * i / 16)) for i in range(17)]
    if sum(math.dist(a, b) for a, b in pairwise(points)) < SAME_CURVE:
        return None
    kind = edge.GetType()
    if kind == GeomAbs_Line:
        return Line(points[0], points[-1])
    if kind == GeomAbs_Circle:
        return _arc(_xy(edge.Circle().Location()), edge.Circle().Radius(), points)
    if kind == GeomAbs_Ellipse:
        return _ellipse(edge.Ellipse(), points)
    return _as_line(points) or _as_arc(points) or _spline(edge, first, last)


def _xy(p: Any) -> Vec2:
    return (p.X(), p.Y())


def _as_line(points: list[Vec2]) -> Line | None:
    """Return the straight line through points that lie on one; it reaches as far as they do, even when they double back."""
    (x0, y0) = points[0]
    far = max(points, key=lambda p: math.dist(p, points[0]))
    size = math.dist(far, points[0])
    ux, uy = (far[0] - x0) / size, (far[1] - y0) / size
    if max(abs((x - x0) * uy - (y - y0) * ux) for x, y in points) > SAME_CURVE:
        return None
    reach = [(x - x0) * ux + (y - y0) * uy for x, y in points]
    lo, hi = min(reach), max(reach)
    return Line((x0 + ux * lo, y0 + uy * lo), (x0 + ux * hi, y0 + uy * hi))


def _as_arc(points: list[Vec2]) -> Arc | None:
    """Return the circle's arc that follows the points, or None."""
    a, b, c = points[0], points[6], points[11]
    twice = 2 * ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
    if abs(twice) < 1e-9:
        return None
    bb, cc = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2, (c[0] - a[0]) ** 2 + (c[1] - a[1]) ** 2
    centre = (
        a[0] + ((c[1] - a[1]) * bb - (b[1] - a[1]) * cc) / twice,
        a[1] + ((b[0] - a[0]) * cc - (c[0] - a[0]) * bb) / twice,
    )
    radius = math.dist(centre, a)
    if radius > LARGEST_ARC or max(abs(math.dist(p, centre) - radius) for p in points) > SAME_CURVE / 2:
        return None
    return _arc(centre, radius, points)


def _arc(centre: Vec2, radius: float, points: list[Vec2]) -> Arc:
    turns = [math.degrees(math.atan2(y - centre[1], x - centre[0])) for x, y in points]
    start, sweep = _swept(turns)
    return Arc(centre, radius, start, sweep)


def _swept(turns: list[float]) -> tuple[float, float]:
    """Return start (0 to 360) and counter-clockwise sweep of successive angles, degrees."""
    steps = [(b - a + 180.0) % 360.0 - 180.0 for a, b in pairwise(turns)]
    total = sum(steps)
    if abs(total) > 360.0 - 1e-6:
        return 0.0, 360.0
    return (turns[0] if total > 0 else turns[-1]) % 360.0, abs(total)


def _ellipse(found: Any, points: list[Vec2]) -> Curve:
    centre, a, b = _xy(found.Location()), found.MajorRadius(), found.MinorRadius()
    if a - b < SAME_CURVE / 2:
        return _arc(centre, a, points)
    along = _xy(found.XAxis().Direction())
    turns = [math.degrees(math.atan2(_cross(along, centre, p) / b, _dot(along, centre, p) / a)) for p in points]
    start, sweep = _swept(turns)
    return EllipseArc(centre, (a * along[0], a * along[1]), b / a, start, sweep)


def _cross(along: Vec2, centre: Vec2, p: Vec2) -> float:
    return along[0] * (p[1] - centre[1]) - along[1] * (p[0] - centre[0])


def _dot(along: Vec2, centre: Vec2, p: Vec2) -> float:
    return along[0] * (p[0] - centre[0]) + along[1] * (p[1] - centre[1])


def _spline(edge: BRepAdaptor_Curve, first: float, last: float) -> Spline:
    """Return cubics that take the edge's points and tangents, as many as its bends need."""
    pieces = 1
    while True:
        chain = _chain(edge, first, last, pieces)
        if pieces >= _MOST_PIECES or _strays(edge, first, last, chain, pieces) < SPLINE_CHAIN:
            return Spline(chain)
        pieces *= 2


def _chain(edge: BRepAdaptor_Curve, first: float, last: float, pieces: int) -> tuple[Vec2, ...]:
    step = (last - first) / pieces
    out: list[Vec2] = []
    for k in range(pieces):
        (p, u), (q, v) = _with_tangent(edge, first + step * k), _with_tangent(edge, first + step * (k + 1))
        third = step / 3
        out += [p, (p[0] + u[0] * third, p[1] + u[1] * third), (q[0] - v[0] * third, q[1] - v[1] * third)]
    return (*out, _xy(edge.Value(last)))


def _with_tangent(edge: BRepAdaptor_Curve, at_parameter: float) -> tuple[Vec2, Vec2]:
    point, tangent = gp_Pnt(), gp_Vec()
    edge.D1(at_parameter, point, tangent)
    return _xy(point), _xy(tangent)


def _strays(edge: BRepAdaptor_Curve, first: float, last: float, chain: tuple[Vec2, ...], pieces: int) -> float:
    spline = Spline(chain)
    shares = [(k + t) / pieces for k in range(pieces) for t in (0.25, 0.5, 0.75)]
    return max(math.dist(at(spline, s), _xy(edge.Value(first + (last - first) * s))) for s in shares)
