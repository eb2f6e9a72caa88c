"""A scanned mesh made sound: welded, each triangle once, facing outward.

Says what it set right and what is missing. A scan may be open (the casting
stood on something): how much is said. Knows nothing of files or parts.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from geom.errors import GeometryError
from geom.rays.analytic import Bools, Floats, Ints, dots
from geom.rows.words import About, Area, Note
from geom.scan.raw import RawScan

_Words = npt.NDArray[np.uint64]

_FACTORS: Final = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0xD6E8FEB86659FD93)
"""Odd 64-bit numbers without pattern: products of different triples differ but once in 10^19."""

_WORD: Final = 64
"""Bits of a word."""

_FLAT: Final = 1e-3
"""Volume over area^1.5 (a cube has 0.07, a ball 0.09) below which a surface encloses nothing and has no outside."""


def sound(raw: RawScan, label: str, scale: float) -> tuple[Floats, Ints, tuple[Note, ...]]:
    """Return vertices in mm, triangles facing outward, and notes.

    Args:
        raw: finite points and triangles within range.
        scale: mm in one unit of the file.

    Raises:
        GeometryError: no triangle has an area, or the surface has no outside.
    """
    vertices, number = _weld(raw.vertices)
    vertices = np.asarray(vertices, dtype=np.float64) * scale
    if raw.triangles is not None and not len(raw.triangles):
        lost = len(raw.vertices) - len(vertices)
        return vertices, np.zeros((0, 3), np.int64), _said(f"{label}: {lost:,} points stand there twice and count once", lost > 0)
    triangles = number.reshape(-1, 3) if raw.triangles is None else number[raw.triangles]
    triangles, notes = _each_once(triangles, label)
    if not len(triangles):
        raise GeometryError(f"{label}: none of its triangles has an area; check the unit of the export and scan again")
    triangles, seams = _seams(triangles, len(vertices), label)
    triangles, turned = _outward(vertices, triangles, seams, label)
    return vertices, triangles, (*notes, *seams.notes, *turned, *_open_note(vertices, triangles, seams, label))


def _said(note: str, when: bool) -> tuple[str, ...]:
    return (note,) if when else ()


# --- welding ----------------------------------------------------------------


def _weld(points: npt.NDArray[Any]) -> tuple[npt.NDArray[Any], Ints]:
    """Return the different points, in the order in which they first appear, and which of them each row is."""
    points = np.ascontiguousarray(points if points.dtype in (np.float32, np.float64) else points.astype(np.float64)) + 0
    key = mixed(points.view(np.uint32 if points.dtype == np.float32 else np.uint64).T)
    order, ranked = _ranked(key, _WORD)
    ordered = points.take(order, axis=0)
    same, changes = ranked[1:] == ranked[:-1], _differ(ordered)
    if (same & changes).any():
        order = _parted(points, order, ranked, same & changes)
        changes = _differ(points.take(order, axis=0))
    return _numbered(points, order, changes)


def _differ(ordered: npt.NDArray[Any]) -> Bools:
    x, y, z = (ordered[1:, i] != ordered[:-1, i] for i in range(3))
    return np.asarray(x | y | z)


def _parted(points: npt.NDArray[Any], order: Ints, ranked: _Words, mixed: Bools) -> Ints:
    """Return the order with different points that share a word brought apart."""
    rows = np.flatnonzero(np.isin(ranked, ranked[1:][mixed]))
    among = order[rows]
    order = order.copy()
    order[rows] = among[np.lexsort((*points[among].T, ranked[rows]))]
    return order


def _numbered(points: npt.NDArray[Any], order: Ints, changes: Bools) -> tuple[npt.NDArray[Any], Ints]:
    """Return the first point of each run of equal rows, in order of appearance, and the run each row belongs to."""
    new = np.concatenate([np.ones(1, dtype=np.bool_), changes])
    first = np.minimum.reduceat(order, np.flatnonzero(new))
    rank = np.empty(len(first), dtype=np.int64)
    appearance = np.argsort(first)
    rank[appearance] = np.arange(len(first))
    number = np.empty(len(order), dtype=np.int64)
    number[order] = rank.take(np.cumsum(new) - 1)
    return points.take(first[appearance], axis=0), number


def _ranked(key: _Words, bits: int) -> tuple[Ints, _Words]:
    """Return an order that brings equal words together, and the words in that order.

    A sort of numbers is five times as fast as one of their places: each word gives up its lowest bits to its place.
    Words of all 64 bits are shortened by that; shorter ones are kept whole as long as there is room.
    """
    place = max(len(key) - 1, 1).bit_length()
    if bits < _WORD and bits + place > _WORD:
        order = np.argsort(key)
        return order, key[order]
    shift = np.uint64(place)
    top = (key >> shift) << shift if bits == _WORD else key << shift
    packed = np.sort(top | np.arange(len(key), dtype=np.uint64))
    return (packed & ((np.uint64(1) << shift) - np.uint64(1))).astype(np.int64), packed >> shift


def mixed(columns: npt.NDArray[Any]) -> _Words:
    """Return one word for each row of columns (k, n) of whole numbers, the same for the same row."""
    word = np.zeros(columns.shape[1], dtype=np.uint64)
    for column, factor in zip(columns, _FACTORS, strict=False):
        word += column.astype(np.uint64) * np.uint64(factor)
    return word


# --- triangles that stand there twice ---------------------------------------


def _each_once(triangles: Ints, label: str) -> tuple[Ints, tuple[str, ...]]:
    a, b, c = triangles.T
    whole = (a != b) & (b != c) & (a != c)
    if not whole.all():
        triangles = triangles[whole]
        a, b, c = triangles.T
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    key = mixed(np.stack([low, a + b + c - low - high, high]))
    ranked = np.sort(key)
    if not (ranked[1:] == ranked[:-1]).any():
        return triangles, ()
    _, first = np.unique(key, return_index=True)
    lost = len(triangles) - len(first)
    what = "the whole mesh stands there twice" if lost == len(first) else f"{lost:,} triangles stand there twice"
    return triangles[np.sort(first)], (f"{label}: {what}; each counts once",)


# --- where triangles meet ---------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Seams:
    """The rim (k, 2) of an open mesh, along the triangles' own sides, and what was found at the edges."""

    rim: Ints
    notes: tuple[str, ...] = ()


def _seams(triangles: Ints, points: int, label: str) -> tuple[Ints, _Seams]:
    """Return the triangles all turned the way of their neighbours, and the open rim."""
    if _is_closed(triangles):
        return triangles, _Seams(np.zeros((0, 2), dtype=np.int64))
    edges = _Edges(triangles, points)
    notes: tuple[str, ...] = ()
    if edges.crossed.any():
        flip = _neighbourly(edges, len(triangles), label)
        triangles = np.where(flip[:, None], triangles[:, ::-1], triangles)
        notes = (f"{label}: {int(flip.sum()):,} triangles faced against their neighbours and were turned over",)
        edges = _Edges(triangles, points)
    crowded = int((edges.count > 2).sum())
    notes += _said(f"{label}: more than two triangles meet at {crowded:,} edges; the skin there is doubtful", crowded > 0)
    return triangles, _Seams(edges.rim(), notes)


def _is_closed(triangles: Ints) -> bool:
    """Return whether each side is run along as often one way as the other, seen from one sum over all sides."""
    total = np.uint64(0)
    with np.errstate(over="ignore"):
        for i, j in ((0, 1), (1, 2), (2, 0)):
            a, b = triangles[:, i], triangles[:, j]
            word = mixed(np.stack([np.minimum(a, b), np.maximum(a, b)]))
            word ^= word >> np.uint64(29)
            word *= np.uint64(_FACTORS[2])
            word ^= word >> np.uint64(32)
            ahead = a < b
            total += word[ahead].sum(dtype=np.uint64) - word[~ahead].sum(dtype=np.uint64)
    return bool(total == 0)


class _Edges:
    """The sides of triangles, those between the same two points together.

    `order`: side numbers (3 a triangle) edge by edge; `start`, `count`: where an edge's sides stand in it, how many;
    `ahead`: which sides run from the lower point to the higher.
    """

    __slots__ = ("_a", "_b", "ahead", "count", "order", "start")

    def __init__(self, triangles: Ints, points: int) -> None:
        self._a, self._b = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
        self.ahead = self._a < self._b
        key = np.minimum(self._a, self._b) * points + np.maximum(self._a, self._b)
        self.order, ranked = _ranked(key.astype(np.uint64), (points * points).bit_length())
        new = np.ones(len(key), dtype=np.bool_)
        new[1:] = ranked[1:] != ranked[:-1]
        self.start = np.flatnonzero(new)
        self.count = np.diff(np.append(self.start, len(key)))

    @property
    def pairs(self) -> tuple[Ints, Ints]:
        """The two sides of each edge of two triangles."""
        start = self.start[self.count == 2]
        return self.order[start], self.order[start + 1]

    @property
    def crossed(self) -> Bools:
        """Which of the pairs run the same way: one of their triangles is turned over."""
        one, two = self.pairs
        return np.asarray(self.ahead[one] == self.ahead[two])

    def rim(self) -> Ints:
        """Return the ends (k, 2) of sides without a neighbour."""
        alone = self.order[self.start[self.count == 1]]
        return np.stack([self._a[alone], self._b[alone]], axis=1)


def _neighbourly(edges: _Edges, count: int, label: str) -> Bools:
    """Return which triangles to turn over so that neighbours agree; the smaller lot of each body is turned.

    Each triangle stands there twice, as it is and turned over; those that agree are linked, and a body falls
    into two halves, one the other turned over. A surface with one side only (a Moebius strip) does not.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    one, two = (side // 3 for side in edges.pairs)
    across = np.where(edges.crossed, count, 0)
    rows, columns = np.concatenate([one, one + count]), np.concatenate([two + across, two + count - across])
    links = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(2 * count, 2 * count))
    half = connected_components(links, directed=False)[1]
    plain, turned = half[:count], half[count:]
    if (plain == turned).any():
        raise GeometryError(f"{label}: its surface has no inside and outside (it is twisted in itself); mesh the scan again")
    body = np.minimum(plain, turned)
    flip = plain != body
    more = np.bincount(body, weights=np.where(flip, 1.0, -1.0)) > 0
    return np.asarray(flip ^ more[body])


def _outward(vertices: Floats, triangles: Ints, seams: _Seams, label: str) -> tuple[Ints, tuple[str, ...]]:
    """Return the triangles with the metal behind them: what they enclose, seen from the middle of the rim, is positive."""
    centre = vertices[seams.rim.ravel()].mean(axis=0) if len(seams.rim) else vertices.mean(axis=0)
    normals = area_vectors(vertices, triangles)
    volume = float(dots(vertices.take(triangles[:, 0], axis=0) - centre, normals).sum()) / 3.0
    area = float(np.sqrt(dots(normals, normals)).sum())
    if not area > 0:
        raise GeometryError(f"{label}: none of its triangles has an area; check the unit of the export and scan again")
    if abs(volume) < _FLAT * area**1.5:
        return triangles, (f"{label}: is too open to tell the metal's side; its triangles were taken as facing the air",)
    if volume > 0:
        return triangles, ()
    return np.ascontiguousarray(triangles[:, ::-1]), (f"{label}: its triangles faced into the metal and were turned over",)


def area_vectors(vertices: Floats, triangles: Ints) -> Floats:
    """Return the outward normals (m, 3) of triangles, as long as their areas, mm2."""
    a, b, c = (vertices.take(triangles[:, i], axis=0) for i in range(3))
    u, v = b - a, c - a
    return np.stack([u[:, i] * v[:, j] - u[:, j] * v[:, i] for i, j in ((1, 2), (2, 0), (0, 1))], axis=1) / 2.0


def _open_note(vertices: Floats, triangles: Ints, seams: _Seams, label: str) -> tuple[Note, ...]:
    """Say how many holes there are, how long their rims, and how much skin they hide (as if covered flat)."""
    if not len(seams.rim):
        return ()
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    names, ends = np.unique(seams.rim, return_inverse=True)
    a, b = ends.reshape(-1, 2).T
    count, loop = connected_components(coo_array((np.ones(len(a), dtype=np.int8), (a, b)), shape=(len(names),) * 2), directed=False)
    start, end = vertices[names[a]] - vertices[names[0]], vertices[names[b]] - vertices[names[0]]
    twice = np.cross(start, end)
    hidden = np.stack([np.bincount(loop[a], weights=twice[:, i], minlength=count) for i in range(3)], axis=1) / 2.0
    missing = float(np.linalg.norm(hidden, axis=1).sum())
    rim = float(np.linalg.norm(end - start, axis=1).sum())
    whole = missing + float(np.linalg.norm(area_vectors(vertices, triangles), axis=1).sum())
    return (
        (
            f"{label}: the mesh is open: {count:,} hole{'s' if count != 1 else ''}, ", About(rim), " of rim, about ", Area(missing),
            f" ({missing / whole:.0%} of the skin) not scanned; nothing is known of the metal there",
        ),
    )  # fmt: skip
