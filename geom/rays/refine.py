"""Splits the facets of a mesh that lie farther from the true surface than they may.

The kernel's mesher misses its chord error on a few facets in a thousand;
asking it for a finer mesh makes all of them smaller and still misses some.
Here only those facets are split, across edges inside one face, so that what
neighbouring faces share stays as it is. Lengths mm, part frame.
"""

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from geom.kernel.facets import feet, probe
from geom.kernel.mesh import Mesh
from geom.kernel.shape import Solid, faces_of

_Floats: TypeAlias = npt.NDArray[np.float64]
_Ints: TypeAlias = npt.NDArray[np.int64]
_Flags: TypeAlias = npt.NDArray[np.bool_]

Settle: TypeAlias = Callable[[_Floats], _Floats]
"""Rounds new corners (n, 3) to what the mesh may hold."""

_ROUNDS = 8
"""A split quarters the error, or nearly; eight rounds take a facet from 1 mm to 0.0001."""

_NEXT = np.array([1, 2, 0])


def refined(solid: Solid, mesh: Mesh, chord: float, settle: Settle) -> tuple[Mesh, _Floats]:
    """Return the mesh with every facet within `chord` that can be brought there, and each facet's error, mm, (m,).

    An error above `chord` is left where the fault lies in an edge between two
    faces, or where splitting does not help.

    Args:
        settle: called with the new corners of each round.
    """
    errors = probe(solid, mesh, chord)
    for _ in range(_ROUNDS):
        marked = _marked(mesh, errors > chord)
        if not marked.any():
            break
        split, parents = _split(solid, mesh, marked, chord, settle)
        fresh = parents < 0
        errors = np.where(fresh[:, None], 0.0, errors[parents])
        errors[fresh] = probe(solid, Mesh(split.vertices, split.triangles[fresh], split.face[fresh]), chord)
        mesh = split
    return mesh, errors.max(axis=1, initial=0.0)


def _marked(mesh: Mesh, bad: _Flags) -> _Flags:
    """Return which edges of each triangle (m, 3) to split, the same from both sides.

    An edge inside a face whose own middle is bad; and of a triangle that is bad
    elsewhere only, its longest edge inside the face.
    """
    number, inside = _edges(mesh)
    wanted = bad[:, :3] & inside
    helpless = bad.any(axis=1) & ~wanted.any(axis=1) & inside.any(axis=1)
    corners = mesh.vertices[mesh.triangles]
    length = np.where(inside, np.linalg.norm(corners - corners[:, _NEXT], axis=2), -1.0)
    wanted[helpless, length[helpless].argmax(axis=1)] = True
    return np.asarray(np.isin(number, number[wanted]))


def _edges(mesh: Mesh) -> tuple[_Ints, _Flags]:
    """Return the number of each triangle's edges (m, 3), one for both sides, and whether both sides lie on one face."""
    a, b = mesh.triangles, mesh.triangles[:, _NEXT]
    key = np.minimum(a, b) * len(mesh.vertices) + np.maximum(a, b)
    _, number, count = np.unique(key, return_inverse=True, return_counts=True)
    number = number.reshape(-1, 3)
    face = np.repeat(mesh.face, 3)
    low, high = np.full(len(count), len(mesh.face)), np.full(len(count), -1)
    np.minimum.at(low, number.ravel(), face)
    np.maximum.at(high, number.ravel(), face)
    return number, ((low == high) & (count == 2))[number]


def _split(solid: Solid, mesh: Mesh, marked: _Flags, chord: float, settle: Settle) -> tuple[Mesh, _Ints]:
    """Return the mesh with marked edges split at the surface, and the old index of each triangle (-1: new)."""
    number, _ = _edges(mesh)
    owner, side = np.nonzero(marked)
    _, first, middle = np.unique(number[marked], return_index=True, return_inverse=True)
    owner, side = owner[first], side[first]
    ends = mesh.vertices[mesh.triangles[owner, side]], mesh.vertices[mesh.triangles[owner, _NEXT[side]]]
    added = settle(_on_surface(solid, (ends[0] + ends[1]) / 2, mesh.face[owner], chord))
    middles = np.full(marked.shape, -1)
    middles[marked] = len(mesh.vertices) + middle.ravel()
    whole = ~marked.any(axis=1)
    pieces, face = _pieces(mesh.triangles[~whole], middles[~whole], mesh.face[~whole])
    vertices = np.concatenate([mesh.vertices, added])
    triangles = np.concatenate([mesh.triangles[whole], pieces])
    parents = np.concatenate([np.flatnonzero(whole), np.full(len(pieces), -1)])
    return Mesh(vertices, triangles, np.concatenate([mesh.face[whole], face])), parents


def _on_surface(solid: Solid, points: _Floats, face: _Ints, chord: float) -> _Floats:
    """Return points moved to the nearest point of their face's surface."""
    moved, faces = points.copy(), faces_of(solid.shape)
    for index in np.unique(face):
        mine = face == index
        moved[mine] = feet(faces[index], solid.surfaces[index], points[mine], chord)
    return moved


def _pieces(triangles: _Ints, middles: _Ints, face: _Ints) -> tuple[_Ints, _Ints]:
    """Return the two, three or four pieces of each triangle.

    Args:
        middles: new corner on each edge (first to second, second to third, third to first), -1 where it is not split.
    """
    found: list[list[int]] = []
    faces: list[int] = []
    for corner, middle, index in zip(triangles.tolist(), middles.tolist(), face.tolist(), strict=True):
        made = _pieces_of(corner, middle)
        found.extend(made)
        faces.extend([index] * len(made))
    return np.array(found, dtype=np.int64).reshape(-1, 3), np.array(faces, dtype=np.int64)


def _pieces_of(corner: list[int], middle: list[int]) -> list[list[int]]:
    """Return the pieces of one triangle, wound as it is."""
    split = sum(m >= 0 for m in middle)
    turn = 0
    if split == 1:
        turn = next(i for i in range(3) if middle[i] >= 0)
    elif split == 2:
        turn = next(i for i in range(3) if middle[i] < 0)
    a, b, c = (corner[(turn + i) % 3] for i in range(3))
    p, q, r = (middle[(turn + i) % 3] for i in range(3))
    if split == 1:
        return [[a, p, c], [p, b, c]]
    if split == 2:
        return [[a, b, q], [a, q, r], [q, c, r]]
    return [[a, p, r], [p, b, q], [r, q, c], [p, q, r]]
