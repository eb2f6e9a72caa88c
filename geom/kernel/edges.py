"""Edges of a body and the radii put on them.

Says of each edge whether it is a root (metal in the corner is wanted: two faces
meet hollow) or an outer edge, and rounds the chosen ones. Lengths mm, part
frame. Knows nothing of which radii a casting needs.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from geom.errors import GeometryError
from geom.kernel.cut import Shape, shape_of, solids_of
from geom.kernel.load import require_kernel
from geom.kernel.shape import Solid
from geom.space import Vec3

require_kernel()

from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet
from OCP.BRepOffset import BRepOffset_Analyse
from OCP.ChFiDS import ChFiDS_TypeOfConcavity as Turn
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.Standard import Standard_Failure
from OCP.TopAbs import TopAbs_EDGE
from OCP.TopExp import TopExp
from OCP.TopoDS import TopoDS
from OCP.TopTools import TopTools_IndexedMapOfShape

EdgeTurn: TypeAlias = Literal["root", "outer", "smooth"]

_TANGENT = math.radians(0.5)
"""Faces that meet at less than this are one smooth face to a moulder."""

_NAMED = 4
"""So many edges that do not take a radius are named."""

_TURNS: dict[Any, EdgeTurn] = {Turn.ChFiDS_Concave: "root", Turn.ChFiDS_Convex: "outer"}


@dataclass(frozen=True, slots=True)
class Edge:
    """One edge: its middle, its box, its length, mm, and how its two faces meet."""

    middle: Vec3
    low: Vec3
    high: Vec3
    length: float
    turn: EdgeTurn
    shape: Shape = field(repr=False)


def edges_of(body: Solid | Shape) -> list[Edge]:
    """Return the edges of a body, each once, in the kernel's order; seams and collapsed edges left out."""
    shape = shape_of(body)
    analysis = BRepOffset_Analyse(shape, _TANGENT)
    edges = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, TopAbs_EDGE, edges)
    found = []
    for i in range(1, edges.Extent() + 1):
        edge = TopoDS.Edge(edges.FindKey(i))
        turns = [interval.Type() for interval in analysis.Type(edge)]
        if turns and not BRep_Tool.Degenerated_s(edge):
            found.append(_edge(edge, next((_TURNS[t] for t in turns if t in _TURNS), "smooth")))
    return found


def _edge(shape: Any, turn: EdgeTurn) -> Edge:
    curve = BRepAdaptor_Curve(shape)
    first, last = curve.FirstParameter(), curve.LastParameter()
    places = [curve.Value(first + (last - first) * i / 8) for i in range(9)]
    points = [(p.X(), p.Y(), p.Z()) for p in places]
    low, high = (tuple(pick(p[i] for p in points) for i in range(3)) for pick in (min, max))
    return Edge(points[4], low, high, float(GCPnts_AbscissaPoint.Length_s(curve)), turn, shape)


def rounded(body: Solid | Shape, edges: Sequence[Edge], radius: float, what: str) -> Shape:
    """Return the body with a radius on some of its edges.

    Args:
        edges: of this very body, from `edges_of`.
        what: their name, for the message.

    Raises:
        GeometryError: no edge, or a radius that the kernel cannot fit.
    """
    asked = f"{what}: a radius of {radius:g} mm"
    if not edges:
        raise GeometryError(f"{asked} has no edge to go on; check which edges are meant")
    result = _filleted(shape_of(body), edges, radius)
    if result is None or len(solids_of(result)) != 1 or not BRepCheck_Analyzer(result).IsValid():
        raise GeometryError(f"{asked} does not fit on all {len(edges)} edges: {_blamed(shape_of(body), edges, radius)}")
    return solids_of(result)[0]


def _blamed(shape: Shape, edges: Sequence[Edge], radius: float) -> str:
    """Return which edges do not even take the radius alone, and what to do."""
    alone = [edge for edge in edges if _filleted(shape, [edge], radius) is None]
    short = [edge for edge in edges if edge.length < radius]
    if alone:
        return f"not on {_named(alone)}; make it smaller, give that corner more room, or leave the edge out"
    if short:
        return f"each takes it alone, but it swallows {_named(short)}; make it smaller, or see why the model has so short an edge"
    return "each takes it alone, not where they meet; make it smaller or give those corners more room"


def _named(edges: Sequence[Edge]) -> str:
    named = [f"{edge.length:.1f} mm long about {' '.join(f'{v + 0.0:.1f}' for v in edge.middle)}" for edge in edges[:_NAMED]]
    return "; ".join(named) + (f" and {len(edges) - _NAMED} more" if len(edges) > _NAMED else "")


def _filleted(shape: Shape, edges: Sequence[Edge], radius: float) -> Shape | None:
    maker = BRepFilletAPI_MakeFillet(shape)
    try:
        for edge in edges:
            maker.Add(radius, edge.shape)
        maker.Build()
        return maker.Shape() if maker.IsDone() else None
    except Standard_Failure:
        return None
