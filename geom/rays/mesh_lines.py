"""Lines of a triangle mesh as the eye sees them: creases and outlines, and which pieces of them show.

A view is a `Frame`: x to the right, y up, z towards the eye. Lines are straight
pieces between two points, mm, in that frame. Good for pictures only: facets lie
a chord error off, and a crease flatter than `CREASE` is taken for a rounding.
Knows nothing of parts, vises or paper.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from geom.kernel.mesh import Mesh
from geom.rays.tree import RayTree
from geom.space import Frame, Vec3, scale

CREASE: Final = 32.0
"""Degrees: look-up facets of a round turn by up to 30 degrees from one to the next (`geom.kernel.mesh`)."""

_OFF: Final = 0.08
"""mm a look starts off its line, towards the eye: facets of the line's own faces must not hide it."""

_ASIDE: Final = 0.1
"""mm a point may be looked at beside its line."""

_EDGE_ON: Final = 1e-4
"""A facet whose normal rises less than this towards the eye is seen edge-on, and so not seen."""

_CREASED: Final = float(np.cos(np.radians(CREASE)))
_FACING: Final = 0.5
"""Least rise of a flat face towards the eye for its border to be worth a line."""

_FAR: Final = 1e4

Floats: TypeAlias = npt.NDArray[np.float64]
Bools: TypeAlias = npt.NDArray[np.bool_]
Ints: TypeAlias = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    """Where two triangles of a mesh meet: their numbers and the edge's two corners, (n, 2) each."""

    pair: Ints
    ends: Ints


@lru_cache(maxsize=4)
def _edges(mesh: Mesh) -> _Edges:
    """Return the edges of a mesh; those with one triangle only are left out."""
    t = mesh.triangles
    sides = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(t)), 3)
    key = sides[:, 0] * len(mesh.vertices) + sides[:, 1]
    order = np.argsort(key, kind="stable")
    key, sides, owner = key[order], sides[order], owner[order]
    first = np.flatnonzero(key[1:] == key[:-1])
    return _Edges(np.stack([owner[first], owner[first + 1]], axis=1), sides[first])


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """A mesh in a view: where its corners are, which triangles look towards the eye, how edges turn (cosine)."""

    points: Floats
    rise: Floats
    turn: Floats
    edges: _Edges

    @property
    def front(self) -> Bools:
        """Which triangles look towards the eye."""
        return np.asarray(self.rise > _EDGE_ON)


@lru_cache(maxsize=8)
def _seen(mesh: Mesh, view: Frame) -> _Seen:
    points, edges = view.local_points(mesh.vertices), _edges(mesh)
    normal = _normals(points[mesh.triangles])
    return _Seen(points, normal[:, 2], np.einsum("ij,ij->i", normal[edges.pair[:, 0]], normal[edges.pair[:, 1]]), edges)


def drawn_lines(mesh: Mesh, view: Frame) -> Floats:
    """Return every crease and outline of a closed mesh that could show, (n, 2, 3) in the view."""
    seen = _seen(mesh, view)
    one, other = seen.front[seen.edges.pair].T
    return np.asarray(seen.points[seen.edges.ends[(one != other) | (one & other & (seen.turn < _CREASED))]])


def soft_lines(mesh: Mesh, flat: Collection[int], view: Frame) -> Floats:
    """Return where flat faces that look towards the eye run out into roundings, (n, 2, 3) in the view.

    Args:
        flat: numbers of the plane faces, as in `Mesh.face`.
    """
    seen = _seen(mesh, view)
    plane = np.isin(mesh.face, np.array(sorted(flat), dtype=np.int64)) & (seen.rise > _FACING)
    one, other = seen.edges.pair.T
    out = (plane[one] != plane[other]) & seen.front[one] & seen.front[other] & (seen.turn >= _CREASED)
    return np.asarray(seen.points[seen.edges.ends[out & (mesh.face[one] >= 0) & (mesh.face[other] >= 0)]])


def border_lines(mesh: Mesh, owner: Ints, view: Frame) -> Floats:
    """Return the outlines of some faces of a mesh, hidden or not: where each ends, turns away or is creased, (n, 2, 3).

    Args:
        owner: (m,) to which of them each triangle belongs; below 0 to none.
    """
    seen = _seen(mesh, view)
    one, other = owner[seen.edges.pair].T
    same = (one == other) & (one >= 0)
    front = seen.front[seen.edges.pair].T
    steep = np.abs(seen.rise[seen.edges.pair]).min(axis=1) > _EDGE_ON
    inside = same & ((steep & (front[0] != front[1])) | (seen.turn < _CREASED))
    return np.asarray(seen.points[seen.edges.ends[(one != other) | inside]])


def _normals(corners: Floats) -> Floats:
    wide = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return np.asarray(wide / np.maximum(np.linalg.norm(wide, axis=1, keepdims=True), 1e-12))


class Sight:
    """What stands in the way of looking along a view's Z: a mesh, and boxes square to the view."""

    __slots__ = ("_boxes", "_tree", "_view")

    def __init__(self, mesh: Mesh, view: Frame, boxes: Sequence[tuple[Vec3, Vec3]] = ()) -> None:
        """Look at a mesh and at boxes.

        Args:
            boxes: least and greatest corner of each, in the view.
        """
        self._tree, self._view, self._boxes = _tree(mesh), view, boxes

    def open(self, points: Floats) -> Bools:
        """Return from which points (n, 3) in the view nothing stands between them and the eye."""
        if not len(points):
            return np.ones(0, dtype=np.bool_)
        starts = points + np.array([0.0, 0.0, _OFF])
        shows = ~self._tree.meets(self._view.part_points(starts), self._view.z)
        for low, high in self._boxes:
            over = (starts[:, :2] > np.array(low[:2]) + _OFF) & (starts[:, :2] < np.array(high[:2]) - _OFF)
            shows &= ~(over.all(axis=1) & (starts[:, 2] < high[2]))
        return np.asarray(shows)

    def depth(self, point: tuple[float, float]) -> float:
        """Return how high, in the view, the metal first met from the eye lies at a place; -inf where there is none."""
        start = self._view.part((*point, _FAR))
        return _FAR - self._tree.away(start, scale(self._view.z, -1.0))


@dataclass(frozen=True, slots=True, eq=False)
class _Rays:
    """Rays on a mesh, part frame; the tree lies about its middle."""

    tree: RayTree
    middle: Floats

    def meets(self, starts: Floats, way: Vec3) -> Bools:
        """Return which rays meet the mesh."""
        return np.asarray(self.tree.first(starts - self.middle, np.tile(np.array(way), (len(starts), 1))) >= 0)

    def away(self, start: Vec3, way: Vec3) -> float:
        """Return how far one ray goes until it meets the mesh, inf where it does not."""
        _, away = self.tree.within(np.array([start]) - self.middle, np.array([way]), np.array([2.0 * _FAR]))
        return float(away[0])


@lru_cache(maxsize=4)
def _tree(mesh: Mesh) -> _Rays:
    middle = mesh.vertices.mean(axis=0)
    return _Rays(RayTree(mesh.vertices - middle, mesh.triangles), middle)


def _shows(points: Floats, ways: Floats, sight: Sight) -> Bools:
    """Return which points of lines show: the foot of a wall seen along it shows when it does a hair to one side."""
    shows = sight.open(points)
    for side in (_ASIDE, -_ASIDE):
        rest = np.flatnonzero(~shows)
        across = np.column_stack([-ways[rest, 1], ways[rest, 0], np.zeros(len(rest))])
        size = np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9)
        shows[rest] = sight.open(points[rest] + side * across / size)
    return shows


def cut_to_sight(lines: Floats, sight: Sight, step: float) -> tuple[Floats, Floats]:
    """Return the pieces of lines (n, 2, 3) that show and those that do not, (k, 2, 3) each, to within about a step, mm."""
    if not len(lines):
        return lines, lines
    size = np.linalg.norm((lines[:, 1] - lines[:, 0])[:, :2], axis=1)
    count = np.maximum(np.ceil(size / step).astype(np.int64), 1)
    row = np.repeat(np.arange(len(lines)), count)
    within = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    share = ((within + 0.5) / count[row])[:, None]
    shows = _shows(lines[row, 0] + share * (lines[row, 1] - lines[row, 0]), (lines[:, 1] - lines[:, 0])[row], sight)
    starts = np.flatnonzero(np.concatenate([[True], (row[1:] != row[:-1]) | (shows[1:] != shows[:-1])]))
    ends = np.concatenate([starts[1:], [len(row)]]) - 1
    owner = row[starts]
    a, b = (within[starts] / count[owner])[:, None], ((within[ends] + 1) / count[owner])[:, None]
    way = lines[owner, 1] - lines[owner, 0]
    pieces = np.stack([lines[owner, 0] + a * way, lines[owner, 0] + b * way], axis=1)
    return pieces[shows[starts]], pieces[~shows[starts]]
