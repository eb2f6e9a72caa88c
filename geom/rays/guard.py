"""Where the look-up triangles of a solid may name the wrong face.

A curved edge between two faces becomes a chain of chords. A ray that passes
between chord and edge meets the wrong face, or none, and the error is not the
chord's hundredth of a millimetre but the height of whatever lies behind. Thin
tubes about such chords catch these rays. Knows triangles and forms; lengths mm.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.kernel.freeform import FreeForms
from geom.kernel.mesh import Mesh
from geom.rays.analytic import OTHER, Bools, Floats, Forms, Ints, dots, heights

_SMOOTH: Final = 0.02
"""Faces that meet at less than this angle (radians, 1 degree) run on into each other: taking one for
the other at a chord's distance is out by less than half a micrometre."""

_LEAST: Final = 2e-4
"""Chords closer to their edge than this, mm, need no tube: that is what single precision resolves on a large casting."""

_MARGIN: Final = 1.3
"""Tube width over the gap it covers, between chord and edge."""

SIDES: Final = 8
"""Triangles of a tube."""


@dataclass(frozen=True, slots=True, eq=False)
class Tubes:
    """Square tubes about the chords of k curved edges.

    Attributes:
        vertices: (8 k, 3); triangles: (8 k, 3), eight a tube.
        faces: (k, 2) the two faces that meet at the edge.
        convex: (k,) True where the metal there is what lies under both faces, False where under either.
        width: (k,) mm across.
    """

    vertices: Floats
    triangles: Ints
    faces: Ints
    convex: Bools
    width: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    """Mesh sides between different faces: ends (n, 3) and, for either side's triangle, its number and its third corner."""

    start: Floats
    end: Floats
    triangle: tuple[Ints, Ints]
    apex: tuple[Floats, Floats]


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """A face at the middles of chords: index, height of the middle over it, its normal there."""

    face: Ints
    high: Floats
    normal: Floats


def guard_tubes(mesh: Mesh, f: Forms, free: FreeForms, chord: float) -> Tubes:
    """Return tubes about the curved edges of a solid.

    Args:
        mesh: its look-up triangles.
        f: the forms of its faces; free: the faces that have none.
        chord: the most a chord should lie off its edge, mm; four times as much is not believed.
    """
    edges = _edges(mesh)
    middle = (edges.start + edges.end) / 2.0
    one, two = (_side(mesh, f, free, edges, k, middle) for k in (0, 1))
    gap = _gap(one, two)
    size = np.sqrt(dots(gap, gap))
    gap *= np.minimum(1.0, 4.0 * chord / np.maximum(size, 1e-300))[:, None]
    rows = np.flatnonzero(size > _LEAST)
    width = _MARGIN * np.minimum(size[rows], 4.0 * chord)
    shift = gap[rows] / 2.0
    vertices, triangles = _tubes(edges.start[rows] + shift, edges.end[rows] + shift, gap[rows], width / 2.0)
    inward = edges.apex[0][rows] - middle[rows]
    inward -= dots(inward, one.normal[rows])[:, None] * one.normal[rows]
    convex = dots(inward, two.normal[rows]) < 0
    return Tubes(vertices, triangles, np.stack([one.face[rows], two.face[rows]], axis=1), convex, width)


def _edges(mesh: Mesh) -> _Edges:
    a, b = mesh.triangles.ravel(), np.roll(mesh.triangles, -1, axis=1).ravel()
    third = np.roll(mesh.triangles, -2, axis=1).ravel()
    owner = np.repeat(np.arange(len(mesh.triangles)), 3)
    low, high = np.minimum(a, b), np.maximum(a, b)
    order = np.argsort(low * len(mesh.vertices) + high, kind="stable")
    low, high, owner, third = low[order], high[order], owner[order], third[order]
    face = mesh.face[owner]
    pair = np.flatnonzero((low[1:] == low[:-1]) & (high[1:] == high[:-1]) & (face[1:] != face[:-1]))
    apex = mesh.vertices[third[pair]], mesh.vertices[third[pair + 1]]
    return _Edges(mesh.vertices[low[pair]], mesh.vertices[high[pair]], (owner[pair], owner[pair + 1]), apex)


def _side(mesh: Mesh, f: Forms, free: FreeForms, edges: _Edges, which: int, middle: Floats) -> _Side:
    triangle = edges.triangle[which]
    face = mesh.face[triangle]
    high, normal = heights(f, face, middle)
    rows = np.flatnonzero(f.kind[face] == OTHER)
    if rows.size and mesh.uv is not None:
        corners, uv = mesh.vertices[mesh.triangles[triangle[rows]]], mesh.uv[triangle[rows]]
        apart = np.abs(corners - edges.apex[which][rows][:, None, :]).sum(axis=2) > 0
        both = np.where(apart[:, :, None], uv, 0.0).sum(axis=1) / np.maximum(apart.sum(axis=1), 1)[:, None]
        place, normal[rows] = free.at(face[rows], both)
        high[rows] = dots(middle[rows] - place, normal[rows])
    return _Side(face, high, normal)


def _gap(one: _Side, two: _Side) -> Floats:
    """Return the way (n, 3) from the middles of chords to their true edge; 0 where the faces run on smoothly."""
    cosine = dots(one.normal, two.normal)
    sine2 = np.maximum(1.0 - cosine * cosine, 0.0)
    smooth = ~(sine2 > _SMOOTH * _SMOOTH)
    safe = np.where(smooth, 1.0, sine2)
    first, second = (cosine * two.high - one.high) / safe, (cosine * one.high - two.high) / safe
    gap = first[:, None] * one.normal + second[:, None] * two.normal
    gap[smooth] = 0.0
    return gap


def _tubes(start: Floats, end: Floats, side: Floats, half: Floats) -> tuple[Floats, Ints]:
    """Return square tubes between points, two of their sides square to `side`, `half` from their middle line."""
    along = end - start
    along /= np.maximum(np.sqrt(dots(along, along)), 1e-300)[:, None]
    x = side - dots(side, along)[:, None] * along
    size = np.sqrt(dots(x, x))
    lost = size < 1e-9
    x[lost] = np.cross(along[lost], np.eye(3)[np.argmin(np.abs(along[lost]), axis=1)])
    x /= np.sqrt(dots(x, x))[:, None]
    y = np.cross(along, x)
    ring = np.stack([x + y, y - x, -x - y, x - y], axis=1) * half[:, None, None]
    cap = (along * half[:, None])[:, None, :]
    vertices = np.concatenate([start[:, None, :] - cap + ring, end[:, None, :] + cap + ring], axis=1)
    sides = np.array([(i, (i + 1) % 4, 4 + i) for i in range(4)] + [((i + 1) % 4, 4 + (i + 1) % 4, 4 + i) for i in range(4)])
    triangles = sides[None, :, :] + SIDES * np.arange(len(start))[:, None, None]
    return vertices.reshape(-1, 3), triangles.reshape(-1, 3)
