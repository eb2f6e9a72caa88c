"""Where the look-up triangles of a solid may name the wrong face.

A curved edge between two faces becomes a chain of chords. A ray that passes
between chord and edge meets the wrong face, or none, and the error is not the
chord's hundredth of a millimetre but the height of whatever lies behind. Thin
tubes about such chords catch these rays. Knows triangles and forms; lengths mm.
"""

from typing import Final

import numpy as np

from geom.analytic import OTHER, Floats, Forms, Ints, dots, heights
from geom.kernel.mesh import Mesh

_SMOOTH: Final = 0.02
"""Faces that meet at less than this angle (radians, 1 degree) run on into each other: taking one for
the other at a chord's distance is out by less than half a micrometre."""

_LEAST: Final = 2e-4
"""Chords closer to their edge than this, mm, need no tube: that is what single precision resolves on a large casting."""

_MARGIN: Final = 1.3
"""Tube width over the gap it covers, between chord and edge."""


def guard_tubes(mesh: Mesh, f: Forms, chord: float) -> tuple[Floats, Ints]:
    """Return square tubes about the chords of curved edges: vertices (8 k, 3) and triangles (8 k, 3) of k chords.

    Args:
        mesh: the look-up triangles.
        f: the forms of the mesh's faces.
        chord: their chord error, mm; used where a free-form face has no arithmetic.
    """
    start, end, first, second = _edges(mesh)
    gap = _chord_gap(f, (start + end) / 2.0, first, second, chord)
    free = (f.kind[first] == OTHER) | (f.kind[second] == OTHER)
    width = np.where(free, 2.0 * chord, np.minimum(np.sqrt(dots(gap, gap)), 4.0 * chord))
    gap[free] = 0.0
    curved = width > _LEAST
    return _tubes(start[curved] + gap[curved] / 2.0, end[curved] + gap[curved] / 2.0, gap[curved], _MARGIN * width[curved] / 2.0)


def _edges(mesh: Mesh) -> tuple[Floats, Floats, Ints, Ints]:
    """Return the mesh sides between different faces: their ends and the two faces."""
    a, b = mesh.triangles.ravel(), np.roll(mesh.triangles, -1, axis=1).ravel()
    owner = np.repeat(mesh.face, 3)
    low, high = np.minimum(a, b), np.maximum(a, b)
    order = np.argsort(low * len(mesh.vertices) + high, kind="stable")
    low, high, owner = low[order], high[order], owner[order]
    pair = np.flatnonzero((low[1:] == low[:-1]) & (high[1:] == high[:-1]) & (owner[1:] != owner[:-1]))
    return mesh.vertices[low[pair]], mesh.vertices[high[pair]], owner[pair], owner[pair + 1]


def _chord_gap(f: Forms, middle: Floats, first: Ints, second: Ints, chord: float) -> Floats:
    """Return the way (n, 3) from the middles of chords to their true edge; 0 where the faces run on smoothly."""
    (high, normal), (high2, normal2) = heights(f, first, middle), heights(f, second, middle)
    cosine = dots(normal, normal2)
    sine2 = np.maximum(1.0 - cosine * cosine, 0.0)
    smooth = ~(sine2 > _SMOOTH * _SMOOTH)
    safe = np.where(smooth, 1.0, sine2)
    one, two = (cosine * high2 - high) / safe, (cosine * high - high2) / safe
    gap = one[:, None] * normal + two[:, None] * normal2
    gap[smooth] = 0.0
    size = np.sqrt(dots(gap, gap))
    return np.asarray(gap * np.minimum(1.0, 4.0 * chord / np.maximum(size, 1e-300))[:, None])


def _tubes(start: Floats, end: Floats, side: Floats, half: Floats) -> tuple[Floats, Ints]:
    """Return tubes between points with sides square to `side` (any way round where that is nothing), `half` from the middle."""
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
    triangles = sides[None, :, :] + 8 * np.arange(len(start))[:, None, None]
    return vertices.reshape(-1, 3), triangles.reshape(-1, 3)
