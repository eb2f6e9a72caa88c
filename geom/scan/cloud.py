"""A scanned skin from points alone: each point joined to those about it by triangles whose corners were all measured.

Round each point its neighbours are seen along the flattest plane through them, and the triangles there are those whose circle
holds no other neighbour (Delaunay 1934). A triangle across an edge is parted where the planes of the two sides meet, so that it
does not cut the edge off; where no points lie near enough there is no skin. The drawn skin says which side is metal, and nothing
else. Lengths mm, part frame. Knows nothing of files, poses or stock.
"""

from typing import Any, Final

import numpy as np

from geom.aside import Aside
from geom.kernel.mesh import Mesh
from geom.rays.analytic import Bools, Floats, Ints, dots
from geom.scan.mesh import mixed
from geom.scan.sites import Drawn, nearest

_AROUND, _FURTHER = 18, 48
"""Neighbours a point may be joined to: six in the mean; and where these do not fill the circles of its triangles, so many."""

_PLANE: Final = 12
"""Neighbours, the point among them, through which its plane lies."""

_CELLS: Final = 700
"""Cells along the box of a cloud that keep a point each."""

_SCATTERS: Final = 4.0
"""Points nearer than so many standard deviations of their scatter tell noise, not form."""

_GAP: Final = 2.0
"""A triangle whose circle is wider than this many times the distance to a corner's sixth neighbour spans a gap: of a thousand
points spread by chance less than one has so wide a circle among them."""

_SHARP: Final = 0.75
"""Cosine of the angle between two neighbours' sides below which an edge lies between them: 41 degrees."""

_HOPS: Final = 2
"""Neighbours' neighbours lie far enough from an edge for their planes to hold points of one side only."""

_NEAR: Final = 1.2
"""Two sides meet at half their points' distance from the middle where the edge is square, nearer where it is blunt."""

_SIXTH: Final = 6
_FLAT: Final = 1e-9
"""Twice a triangle's area over the square of its side: less is no triangle."""

_CHUNK: Final = 2048
"""Points worked on at a time: their arrays stay in the processor's cache."""


def cells_of(points: Floats, scatter: float) -> int:
    """Return into how many cells along its box's diagonal a cloud is parted, for one point of each to be kept."""
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    return int(max(min(_CELLS, size / (_SCATTERS * scatter) if scatter > 0 else _CELLS), 1))


def joined_points(drawn: Drawn, points: Floats) -> Mesh:
    """Return the triangles between neighbouring points of a cloud, counter-clockwise seen from the air."""
    from scipy.spatial import cKDTree

    points = points[cKDTree(points).indices]
    tree = cKDTree(points)
    apart, near = _neighbours(tree, points, _AROUND)
    reach = _GAP * apart[:, min(_SIXTH, apart.shape[1] - 1)]
    middle, axes, rough = _planes(points, near[:, :_PLANE])
    x, y = _turned(axes, drawn.normals[nearest(drawn, points, points, False)[1]])
    found, unsure = _stars(points, near, x, y, apart[:, -1])
    again = np.flatnonzero(unsure)
    more, _ = _stars(points, _neighbours(tree, points[again], _FURTHER)[1], x[again], y[again], np.full(again.size, np.inf))
    sure = ~unsure[found[0][:, 0]]
    corners, wide = np.concatenate([found[0][sure], more[0]]), np.concatenate([found[1][sure], more[1]])
    a, b, c = (reach.take(corners[:, i]) for i in range(3))
    triangles = _each_once(corners[wide < np.maximum(np.maximum(a, b), c)])
    side = _sides(points, near[:, :_PLANE], middle, np.cross(x, y), rough)
    return _with_edges(points, triangles, side)


def _neighbours(tree: Any, points: Floats, count: int) -> tuple[Floats, Ints]:
    """Return how far off the nearest of a cloud's points are, each point itself first, and which they are."""
    count = min(count + 1, tree.n)
    apart, near = tree.query(points, k=count, workers=-1)
    return np.asarray(apart).reshape(len(points), count), np.asarray(near, dtype=np.int64).reshape(len(points), count)


def _stars(points: Floats, near: Ints, x: Floats, y: Floats, known: Floats) -> tuple[tuple[Ints, Floats], Bools]:
    """Return the triangles (m, 3) about the first of each row of neighbours and the radii of their circles; half of them are
    worked out aside.

    Args:
        known: (n,) mm about each within which all its neighbours are listed.

    Returns:
        Also which of the points (n,) may have other triangles: a circle reaches beyond what is known.
    """
    half = len(near) // 2 // _CHUNK * _CHUNK
    rest = Aside(lambda: _row_of_stars(points, near[half:], x[half:], y[half:], known[half:]))
    (corners, radii, unsure), (others, wide, doubtful) = (
        _row_of_stars(points, near[:half], x[:half], y[:half], known[:half]),
        rest.result(),
    )
    return (np.concatenate([corners, others]), np.concatenate([radii, wide])), np.concatenate([unsure, doubtful])


def _row_of_stars(points: Floats, near: Ints, x: Floats, y: Floats, known: Floats) -> tuple[Ints, Floats, Bools]:
    corners, radii, unsure = [np.zeros((0, 3), dtype=np.int64)], [np.zeros(0)], np.zeros(len(near), dtype=np.bool_)
    for i in range(0, len(near), _CHUNK):
        rows = slice(i, i + _CHUNK)
        unsure[rows] = _chunk_of_stars(points, near[rows], x[rows], y[rows], known[rows], corners, radii)
    return np.concatenate(corners), np.concatenate(radii), unsure


def _chunk_of_stars(
    points: Floats, near: Ints, x: Floats, y: Floats, known: Floats, corners: list[Ints], radii: list[Floats]
) -> Bools:
    """Add the triangles about some points, one step about each after another; return which may have others."""
    out = points[near[:, 1:]] - points[near[:, :1]]
    flat = np.stack([np.einsum("nkj,nj->nk", out, x), np.einsum("nkj,nj->nk", out, y)], axis=2)
    far = np.einsum("nkj,nkj->nk", flat, flat)
    row, unsure = np.arange(len(near)), np.ones(len(near), dtype=np.bool_)
    first = now = np.argmin(np.where(far > 0, far, np.inf), axis=1)
    widest = np.zeros(len(near))
    for _ in range(near.shape[1] - 1):
        after, wide = _next(flat[row], far[row], now)
        on = np.flatnonzero(np.isfinite(wide))
        row, now, after, wide = row[on], now[on], after[on], wide[on]
        if not row.size:
            break
        corners.append(np.stack([near[row, 0], near[row, now + 1], near[row, after + 1]], axis=1))
        radii.append(wide)
        widest[row] = np.maximum(widest[row], wide)
        closed = _is_passed(flat[row, now], flat[row, first[row]], flat[row, after])
        unsure[row[closed]] = 2.0 * widest[row[closed]] > known[row[closed]]
        row, now = row[~closed], after[~closed]
    return unsure


def _planes(points: Floats, near: Ints) -> tuple[Floats, Floats, Floats]:
    """Return the middle of each row of neighbours (n, k), the ways (n, 3, 3) it spreads, one a column, the least first, and
    how far (n,) it lies off the plane of the other two, mm squared in the mean."""
    around = points[near]
    middle = around.mean(axis=1)
    around -= middle[:, None, :]
    spread, axes = np.linalg.eigh(around.transpose(0, 2, 1) @ around)
    return middle, axes, np.maximum(spread[:, 0], 0.0) / near.shape[1]


def _turned(axes: Floats, facing: Floats) -> tuple[Floats, Floats]:
    """Return two directions in each plane, anticlockwise seen from the air."""
    x, y = axes[:, :, 2], axes[:, :, 1]
    over = dots(np.cross(x, y), facing) < 0
    return x, np.where(over[:, None], -y, y)


def _sides(points: Floats, near: Ints, middle: Floats, normals: Floats, rough: Floats) -> Floats:
    """Return the normal of the plane, its own or one of those about it, that suits each point and its own points best: beside an
    edge that of one side, not the slanting one through both."""
    plane = np.arange(len(near))
    for _ in range(_HOPS):
        plane = np.concatenate([_suiting(points, near, middle, normals, rough, plane, i) for i in range(0, len(near), _CHUNK)])
    return np.asarray(normals[plane])


def _suiting(points: Floats, near: Ints, middle: Floats, normals: Floats, rough: Floats, plane: Ints, start: int) -> Ints:
    """Return for a stretch of points which of their neighbours' planes suits each best."""
    rows = slice(start, start + _CHUNK)
    offered = plane[near[rows]]
    off = np.einsum("nkj,nkj->nk", points[rows, None, :] - middle[offered], normals[offered])
    return np.asarray(offered[np.arange(len(offered)), np.argmin(rough[offered] + off**2, axis=1)])


# --- edges --------------------------------------------------------------------


def _with_edges(points: Floats, triangles: Ints, side: Floats) -> Mesh:
    """Return the mesh with triangles that cut an edge off parted where the planes of its two sides meet."""
    one, two = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    meeting, sharp = np.zeros((len(one), 3)), np.flatnonzero(dots(side[one], side[two]) < _SHARP)
    meeting[sharp], good = _meeting(points[one[sharp]], side[one[sharp]], points[two[sharp]], side[two[sharp]])
    parted = np.zeros(len(one), dtype=np.bool_)
    parted[sharp[good]] = True
    number = np.where(parted, len(points) + np.cumsum(parted) - 1, -1).reshape(-1, 3)
    pieces = [_pieces(triangles, number, count) for count in range(4)]
    every = np.concatenate(pieces)
    return Mesh(np.concatenate([points, meeting[parted]]), every, np.zeros(len(every), dtype=np.int64))


def _meeting(p: Floats, m: Floats, q: Floats, n: Floats) -> tuple[Floats, Bools]:
    """Return the point nearest to the middle of p and q (n, 3) at which the planes through them, square to m and n, meet; and
    whether it lies about as near as at a square edge."""
    half = (q - p) / 2.0
    c = dots(m, n)
    up, down = -dots(half, m), dots(half, n)
    share = np.maximum(1.0 - c * c, 1e-9)
    out = ((up - c * down) / share)[:, None] * m + ((down - c * up) / share)[:, None] * n
    return p + half + out, np.asarray(dots(out, out) <= _NEAR**2 * dots(half, half))


def _pieces(triangles: Ints, number: Ints, count: int) -> Ints:
    """Return the pieces of the triangles with so many parted sides; number (m, 3): the point on each side, from corner to next."""
    rows = np.flatnonzero((number >= 0).sum(axis=1) == count)
    whole = number[rows] < 0
    first = np.argmax(~whole if count == 1 else np.roll(whole, 1, axis=1), axis=1)
    turn = (first[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(triangles[rows], turn, axis=1).T
    x, y, z = np.take_along_axis(number[rows], turn, axis=1).T
    parts = (
        [(a, b, c)],
        [(a, x, c), (x, b, c)],
        [(x, b, y), (a, x, c), (x, y, c)],
        [(a, x, z), (b, y, x), (c, z, y), (x, y, z)],
    )[count]
    return np.concatenate([np.stack(part, axis=1) for part in parts])


# --- triangles ------------------------------------------------------------------


def _next(flat: Floats, far: Floats, now: Ints) -> tuple[Ints, Floats]:
    """Return the neighbour that closes the triangle to the left of each line from the middle to one, and the radius of its
    circle; infinite where none lies to the left."""
    row = np.arange(len(flat))
    a = flat[row, now]
    cross = a[:, :1] * flat[:, :, 1] - a[:, 1:] * flat[:, :, 0]
    along = a[:, :1] * flat[:, :, 0] + a[:, 1:] * flat[:, :, 1]
    left = cross > _FLAT * np.maximum(far, far[row, now][:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        centre = np.where(left, (far - along) / (2.0 * cross), np.inf)
    after = np.argmin(centre, axis=1)
    side = np.sqrt(far[row, now])
    return after, np.hypot(0.5, centre[row, after]) * side


def _is_passed(start: Floats, line: Floats, end: Floats) -> Bools:
    """Tell where turning left from one direction to another, by less than half a turn, reaches or passes a third."""
    reached = start[:, 0] * line[:, 1] - start[:, 1] * line[:, 0] > 0
    return np.asarray(reached & (line[:, 0] * end[:, 1] - line[:, 1] * end[:, 0] >= 0))


def _each_once(triangles: Ints) -> Ints:
    """Return triangles without those of the same corners."""
    a, b, c = triangles.T
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    word = mixed(np.stack([low, a + b + c - low - high, high]))
    order = np.argsort(word)
    ranked = word[order]
    first = np.minimum.reduceat(order, np.flatnonzero(np.append(True, ranked[1:] != ranked[:-1])))
    return np.asarray(triangles[np.sort(first)])
