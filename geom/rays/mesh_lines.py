"""Lines of a triangle mesh as the eye sees them: creases and outlines, and which pieces of them show.

A view is a `Frame`: x to the right, y up, z towards the eye. Lines are straight
pieces between two points, mm, in that frame. Good for pictures only: facets lie
a chord error off, and a crease flatter than `CREASE` is taken for a rounding.
Knows nothing of parts, vises or paper.
"""

from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from geom.kernel.mesh import Mesh
from geom.rays.tree import RayTree
from geom.space import Frame

CREASE: Final = 32.0
"""Degrees: look-up facets of a round turn by up to 30 degrees from one to the next (`geom.kernel.mesh`)."""

_OFF: Final = 0.08
"""mm a look starts off its line, towards the eye: facets of the line's own faces must not hide it."""

_EDGE_ON: Final = 1e-4
"""A facet whose normal rises less than this towards the eye is seen edge-on, and so not seen."""

_FAR: Final = 1e5

Floats: TypeAlias = npt.NDArray[np.float64]
Bools: TypeAlias = npt.NDArray[np.bool_]
Ints: TypeAlias = npt.NDArray[np.int64]


def drawn_lines(mesh: Mesh, view: Frame) -> Floats:
    """Return every crease and outline of a closed mesh that could show, (n, 2, 3) in the view."""
    points = view.local_points(mesh.vertices)
    pair, edge = _edges(mesh.triangles)
    normal = _normals(points[mesh.triangles])
    front = normal[:, 2] > _EDGE_ON
    one, other = pair.T
    outline = front[one] != front[other]
    crease = front[one] & front[other] & (np.einsum("ij,ij->i", normal[one], normal[other]) < np.cos(np.radians(CREASE)))
    return np.asarray(points[edge[outline | crease]])


def border_lines(mesh: Mesh, faces: npt.ArrayLike, view: Frame) -> Floats:
    """Return the outline of some faces of a mesh, hidden or not: where they end, and where they turn away, (n, 2, 3)."""
    points = view.local_points(mesh.vertices)
    pair, edge = _edges(mesh.triangles)
    mine = np.isin(mesh.face, faces)
    normal = _normals(points[mesh.triangles])
    front = normal[:, 2] > _EDGE_ON
    one, other = pair.T
    ends = mine[one] != mine[other]
    turns = mine[one] & mine[other] & (front[one] != front[other]) & (np.minimum(*np.abs(normal[pair, 2]).T) > _EDGE_ON)
    creased = np.einsum("ij,ij->i", normal[one], normal[other]) < np.cos(np.radians(CREASE))
    return np.asarray(points[edge[ends | turns | (mine[one] & mine[other] & creased)]])


def _edges(triangles: Ints) -> tuple[Ints, Ints]:
    """Return the two triangles at each edge (n, 2), and its two corners (n, 2); edges with one triangle left out."""
    sides = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(triangles)), 3)
    order = np.lexsort((owner, sides[:, 1], sides[:, 0]))
    sides, owner = sides[order], owner[order]
    first = np.flatnonzero((sides[1:] == sides[:-1]).all(axis=1))
    return np.stack([owner[first], owner[first + 1]], axis=1), sides[first]


def _normals(corners: Floats) -> Floats:
    wide = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return np.asarray(wide / np.maximum(np.linalg.norm(wide, axis=1, keepdims=True), 1e-12))


class Sight:
    """What stands in the way of looking along a view's Z."""

    __slots__ = ("_middle", "_tree")

    def __init__(self, corners: Floats) -> None:
        """Take triangles (m, 3, 3) in the view."""
        self._middle = corners.reshape(-1, 3).mean(axis=0) if len(corners) else np.zeros(3)
        own = corners.reshape(-1, 3) - self._middle
        self._tree = RayTree(own, np.arange(len(own)).reshape(-1, 3)) if len(corners) else None

    def open(self, points: Floats) -> Bools:
        """Return from which points (n, 3) nothing stands between them and the eye."""
        if self._tree is None or not len(points):
            return np.ones(len(points), dtype=np.bool_)
        starts = points - self._middle + np.array([0.0, 0.0, _OFF])
        return np.asarray(self._tree.first(starts, np.tile([0.0, 0.0, 1.0], (len(points), 1))) < 0)

    def depth(self, points: Floats) -> Floats:
        """Return how high, in the view, the first thing met from the eye lies under points (n, 2); -inf where nothing does."""
        if self._tree is None or not len(points):
            return np.full(len(points), -np.inf)
        starts = np.column_stack([points - self._middle[:2], np.full(len(points), _FAR)])
        _, away = self._tree.within(starts, np.tile([0.0, 0.0, -1.0], (len(points), 1)), np.full(len(points), 2 * _FAR))
        return np.asarray(_FAR - away + self._middle[2])


def cut_to_sight(lines: Floats, sight: Sight, step: float) -> tuple[Floats, Floats]:
    """Return the pieces of lines (n, 2, 3) that show and those that do not, (k, 2, 2) each, to within about a step, mm."""
    if not len(lines):
        return np.zeros((0, 2, 2)), np.zeros((0, 2, 2))
    size = np.linalg.norm((lines[:, 1] - lines[:, 0])[:, :2], axis=1)
    count = np.maximum(np.ceil(size / step).astype(np.int64), 1)
    row = np.repeat(np.arange(len(lines)), count)
    within = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    middle = ((within + 0.5) / count[row])[:, None]
    shows = sight.open(lines[row, 0] + middle * (lines[row, 1] - lines[row, 0]))
    starts = np.flatnonzero(np.concatenate([[True], (row[1:] != row[:-1]) | (shows[1:] != shows[:-1])]))
    ends = np.concatenate([starts[1:], [len(row)]]) - 1
    owner = row[starts]
    a, b = within[starts] / count[owner], (within[ends] + 1) / count[owner]
    flat = lines[owner, :, :2]
    way = flat[:, 1] - flat[:, 0]
    pieces = np.stack([flat[:, 0] + a[:, None] * way, flat[:, 0] + b[:, None] * way], axis=1)
    return pieces[shows[starts]], pieces[~shows[starts]]
