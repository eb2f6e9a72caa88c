"""Which faces a shape has and which of them meet.

Faces are numbered in the kernel's own order, the order of `Solid.surfaces`.
Knows nothing of what a face is.
"""

from collections.abc import Iterator
from typing import Any

from geom.kernel.load import require_kernel

require_kernel()

from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Edge, TopoDS_Face, TopoDS_Shape
from OCP.TopTools import TopTools_IndexedMapOfShape


def explore(shape: Any, kind: Any) -> Iterator[TopoDS_Shape]:
    """Yield the parts of one kind in a kernel shape, once per use."""
    explorer = TopExp_Explorer(shape, kind)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def faces_of(shape: Any) -> list[TopoDS_Face]:
    """Return the faces of a kernel shape in its own order."""
    return [TopoDS.Face(s) for s in explore(shape, TopAbs_FACE)]


def edges_of(shape: Any) -> list[TopoDS_Edge]:
    """Return the edges of a kernel shape in its own order; a seam comes twice."""
    return [TopoDS.Edge(s) for s in explore(shape, TopAbs_EDGE)]


def edge_owners(shape: Any) -> list[tuple[TopoDS_Edge, list[int]]]:
    """Return every edge once with the faces on it; a seam names its face twice, a sound solid names two an edge."""
    edges = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, TopAbs_EDGE, edges)
    owners: list[list[int]] = [[] for _ in range(edges.Extent())]
    for i, face in enumerate(faces_of(shape)):
        for edge in explore(face, TopAbs_EDGE):
            owners[edges.FindIndex(edge) - 1].append(i)
    return [(TopoDS.Edge(edges.FindKey(i + 1)), owned) for i, owned in enumerate(owners)]


def neighbours(shape: Any) -> tuple[frozenset[int], ...]:
    """Return, for each face, the faces that share an edge with it."""
    met: list[set[int]] = [set() for _ in faces_of(shape)]
    for _, owners in edge_owners(shape):
        for i in owners:
            met[i].update(owners)
    return tuple(frozenset(found - {i}) for i, found in enumerate(met))
