"""The edges of a solid's faces, as chains of straight pieces.

Points along them, the way into the face at each, and how far other points of
the face are from them. Lengths mm, part frame. Knows triangles and which face
each lies on; nothing of forms, castings or stock.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.kernel.mesh import Mesh
from geom.rays.analytic import Bools, Floats, Ints, dots
from geom.tolerance import KERNEL_NOISE, WORK_CHORD

_SHARPEST: Final = 5.0
"""At a corner sharper than 23 degrees the way in is cut short: a point that far from both sides would be far from the corner."""

_STRAIGHT, _BEND = 1e-3, 0.6
"""Turns, radians, between which two pieces may be chords of one curved edge: look-up chords turn 30 degrees at most."""

_DEEPEST: Final = 16.0 * WORK_CHORD
"""A chord's length times its turn is eight times its distance from the edge; twice the look-up chord error is allowed."""

_PAIRS: Final = 40_000
"""Point-and-piece pairs worked on at a time: a third of a megabyte an array, which stays in the processor's cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """Straight pieces of face edges, one row each.

    Attributes:
        start, end: (n, 3) its ends, mm.
        inward: (n, 3) unit, along the face, square to the piece.
        corner: (n, 3) from `start`: d times this vector is d away from this piece and from the one before it.
        curved: (n,) True where it is a chord of a curved edge: only its ends lie on the edge.
        triangle: (n,) the mesh triangle it is a side of.
        face: (n,) surface index.
        group: (n,) the face it belongs to (see `rim_of`).
    """

    start: Floats
    end: Floats
    inward: Floats
    corner: Floats
    curved: Bools
    triangle: Ints
    face: Ints
    group: Ints


def rim_of(mesh: Mesh, group: Ints, wanted: Bools) -> Rim:
    """Return the edges of some of the faces of a mesh.

    Args:
        group: (faces,) which face each surface is a piece of; sides between two pieces are no edges.
        wanted: (faces,) which surfaces to look at.
    """
    chosen = np.flatnonzero(wanted[mesh.face])
    triangles = mesh.triangles[chosen]
    a, b, other = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel(), np.roll(triangles, -2, axis=1).ravel()
    triangle = np.repeat(chosen, 3)
    alone = _unshared(a, b, group[mesh.face[triangle]], len(mesh.vertices))
    a, triangle = a[alone], triangle[alone]
    owner = mesh.face[triangle]
    start, end, apex = mesh.vertices[a], mesh.vertices[b[alone]], mesh.vertices[other[alone]]
    inward = _square_part(apex - start, end - start)
    ends = group[owner] * len(mesh.vertices) + np.stack([a, b[alone]])
    return Rim(start, end, inward, _corners(ends, inward), _curved(ends, end - start), triangle, owner, group[owner])


def _unshared(a: Ints, b: Ints, group: Ints, big: int) -> Bools:
    """Return which sides (a, b) no other triangle of the same face has."""
    key = (np.minimum(a, b) * big + np.maximum(a, b)) * (int(group.max(initial=0)) + 1) + group
    order = np.argsort(key, kind="stable")
    same = key[order[1:]] == key[order[:-1]]
    alone = np.ones(len(key), dtype=np.bool_)
    alone[order[1:][same]] = False
    alone[order[:-1][same]] = False
    return alone


def _square_part(vector: Floats, along: Floats) -> Floats:
    """Return the unit part of each vector that is square to a direction."""
    square = vector - (dots(vector, along) / np.maximum(dots(along, along), 1e-300))[:, None] * along
    return np.asarray(square / np.maximum(np.sqrt(dots(square, square)), 1e-300)[:, None])


def _corners(ends: Ints, inward: Floats) -> Floats:
    """Return, at each piece's start, the vector that goes in from both pieces that meet there alike.

    Args:
        ends: (2, n) a number for the start and for the end of each piece; equal where they meet.
    """
    number: Ints = np.unique(ends.ravel(), return_inverse=True)[1].ravel()
    sums = [np.bincount(number, np.tile(inward[:, i], 2)) for i in range(3)]
    total: Floats = np.stack(sums, axis=1).astype(np.float64)[number[: len(inward)]]
    size = np.maximum(dots(total, total), 1e-300)
    return np.asarray(total * np.minimum(2.0 / size, _SHARPEST / np.sqrt(size))[:, None])


def _curved(ends: Ints, along: Floats) -> Bools:
    """Return which pieces go on into the next, or come from the last, with the slight turn of a chord."""
    length = np.sqrt(dots(along, along))
    order = np.argsort(ends[0], kind="stable")
    after = order[np.minimum(np.searchsorted(ends[0], ends[1], sorter=order), len(order) - 1)] if len(order) else order
    turn = np.arccos(np.clip(dots(along, along[after]) / np.maximum(length * length[after], 1e-300), -1.0, 1.0))
    turn[ends[0][after] != ends[1]] = 0.0
    slight = (turn > _STRAIGHT) & (turn < _BEND)
    curved: Bools = slight & (length * turn < _DEEPEST)
    before = after[slight & (length[after] * turn < _DEEPEST)]
    curved[before] = True
    return curved


def points_along(rim: Rim, spacing: Floats) -> tuple[Floats, Floats, Ints]:
    """Return points along the rim: place, way in (times d it is d away from the edge), and row of the rim.

    No further apart than spacing (faces,) on straight edges; at the chords' ends on curved ones.
    """
    along = rim.end - rim.start
    wanted = np.where(rim.curved, 1.0, np.ceil(np.sqrt(dots(along, along)) / spacing[rim.face]))
    count = np.maximum(1, wanted).astype(np.int64)
    row = np.repeat(np.arange(len(count)), count)
    place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    points = rim.start[row] + (place / count[row])[:, None] * along[row]
    return points, np.where((place == 0)[:, None], rim.corner[row], rim.inward[row]), row


def edge_distance(rim: Rim, group: Ints, points: Floats) -> tuple[Floats, Floats]:
    """Return each point's distance to the rim of its face and the unit direction away from it: into the face where it lies on it.

    Args:
        group: (n,) the face of each point; points: (n, 3).

    Returns:
        Distances (n,), inf on a face without edges, and directions (n, 3).
    """
    distance, away = np.full(len(points), np.inf), np.zeros((len(points), 3))
    for number in np.unique(group):
        rows, sides = np.flatnonzero(group == number), np.flatnonzero(rim.group == number)
        if sides.size:
            near = sides[_nearest(points[rows], rim.start[sides], rim.end[sides])]
            gone, way = _to_piece(points[rows], rim.start[near], rim.end[near])
            distance[rows], away[rows] = gone, np.where((gone > KERNEL_NOISE)[:, None], way, rim.inward[near])
    return distance, away


def _to_piece(points: Floats, start: Floats, end: Floats) -> tuple[Floats, Floats]:
    along, w = end - start, points - start
    share = np.clip(dots(w, along) / np.maximum(dots(along, along), 1e-300), 0.0, 1.0)
    gap = w - share[:, None] * along
    size = np.sqrt(dots(gap, gap))
    return size, gap / np.maximum(size, 1e-300)[:, None]


def _nearest(points: Floats, start: Floats, end: Floats) -> Ints:
    """Return the nearest piece to each point, by matrix products about the pieces' middle."""
    middle = (start.min(axis=0) + start.max(axis=0)) / 2.0
    start, along, points = start - middle, end - start, points - middle
    size = np.maximum(dots(along, along), 1e-300)
    toward, offset, own = -2.0 * start.T, dots(start, along), dots(start, start)
    nearest = np.empty(len(points), dtype=np.int64)
    block = max(1, _PAIRS // len(start))
    for i in range(0, len(points), block):
        reach = points[i : i + block] @ along.T
        reach -= offset
        square = points[i : i + block] @ toward
        square += own
        share = np.minimum(np.maximum(reach / size, 0.0), 1.0)
        reach *= -2.0
        reach += share * size
        reach *= share
        square += reach
        nearest[i : i + block] = np.argmin(square, axis=1)
    return nearest
