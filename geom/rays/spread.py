"""Small pieces that cover a face: a point and an area each.

A plane, or a cylinder or cone unrolled, is cut into strips between its edges
and the strips into pieces, so a mean over a rectangle is exact for anything
that varies linearly; the triangles of other faces are halved until they are
small. Lengths mm, part frame. Knows nothing of castings or stock.
"""

import math
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from geom.kernel.mesh import Mesh
from geom.kernel.shape import Surface
from geom.rays.analytic import Bools, Floats, Ints, dots
from geom.rays.rim import Rim

_LEVEL: Final = 1e-6
"""Edges that rise less than this along their length, mm or radians about an axis, are parallel to the strips."""

_TICKS: Final = 2.0**40
"""Angles are counted in whole ticks, this many a turn, so that the end of one side is the start of the next to the last digit."""


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Pieces of faces: a point (n, 3) on the look-up triangle, its surface parameters (n, 2), face (n,) and area (n,), mm2.

    The parameters are those of free-form faces; NaN elsewhere.
    """

    points: Floats
    uv: Floats
    face: Ints
    area: Floats


def pieces(mesh: Mesh, surfaces: tuple[Surface, ...], rim: Rim, wanted: Bools, spacing: Floats) -> Pieces:
    """Return pieces that cover the wanted faces, no wider than spacing (faces,)."""
    triangles = wanted[mesh.face]
    done: list[Pieces] = []
    for index in np.flatnonzero(wanted).tolist():
        sides = np.flatnonzero(rim.face == index)
        found = _strips(surfaces[index], rim.start[sides], rim.end[sides], float(spacing[index]))
        if found is not None:
            done.append(found)
            triangles &= mesh.face != index
    done.append(_halved(mesh, surfaces, triangles, spacing))
    return Pieces(*(np.concatenate([getattr(p, name) for p in done]) for name in Pieces.__slots__))


# --- faces that lie flat, or unroll -----------------------------------------


def _strips(surface: Surface, start: Floats, end: Floats, spacing: float) -> Pieces | None:
    """Return the pieces of a plane, cylinder or cone; None for other faces, and when the edges do not close."""
    if not len(start) or surface.kind not in ("plane", "cylinder", "cone"):
        return None
    found = (_flat if surface.kind == "plane" else _unrolled)(surface, start, end, spacing)
    if found is None:
        return None
    points, area = found
    area *= surface.area / area.sum()
    return Pieces(points, np.full((len(area), 2), np.nan), np.full(len(area), surface.index), area)


_Found: TypeAlias = tuple[Floats, Floats] | None


def _flat(surface: Surface, start: Floats, end: Floats, spacing: float) -> _Found:
    normal, origin = np.array(surface.axis), np.array(surface.origin)
    along = end - start
    x = along[np.argmax(dots(along, along))]
    x = x - (x @ normal) * normal
    x /= np.linalg.norm(x)
    axes = np.stack([x, np.cross(normal, x)])
    sides = _Sides((start - origin) @ axes.T, (end - origin) @ axes.T, _LEVEL)
    filled = _fill(sides, spacing, spacing)
    if filled is None:
        return None
    u, v, area = filled
    return origin + np.stack([u, v], axis=1) @ axes, area


def _unrolled(surface: Surface, start: Floats, end: Floats, spacing: float) -> _Found:
    """Cut along rulings: u is the height along the axis, v the angle about it."""
    axis, origin = np.array(surface.axis), np.array(surface.origin)
    x = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    x /= np.linalg.norm(x)
    y = np.cross(axis, x)
    (u0, v0), (u1, v1) = _rolled(start - origin, axis, x, y), _rolled(end - origin, axis, x, y)
    v1 = v0 + np.remainder(v1 - v0 + _TICKS / 2, _TICKS) - _TICKS / 2
    tick = 2 * np.pi / _TICKS
    slope = math.tan(math.radians(surface.half_angle))
    widest = float((surface.radius + np.concatenate([u0, u1]) * slope).max())
    sides = _Sides(np.stack([u0, v0], axis=1), np.stack([u1, v1], axis=1), _LEVEL / tick, _TICKS)
    filled = _fill(sides, spacing, spacing / widest / tick) if widest > 0 else None
    if filled is None:
        return None
    u, v, area = filled[0], filled[1] * tick, filled[2] * tick
    radius = surface.radius + u * slope
    out = np.outer(np.cos(v), x) + np.outer(np.sin(v), y)
    return origin + np.outer(u, axis) + radius[:, None] * out, area * radius


def _rolled(w: Floats, axis: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return height along the axis and angle about it, in ticks."""
    return w @ axis, np.rint(np.arctan2(w @ y, w @ x) * (_TICKS / (2 * np.pi)))


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    """Sides of closed outlines in a plane (u, v): ends (n, 2); level when v rises less; v comes round again after `turn`."""

    start: Floats
    end: Floats
    level: float
    turn: float | None = None


def _fill(sides: _Sides, along: float, across: float) -> tuple[Floats, Floats, Floats] | None:
    """Return places u, v and areas (n,) inside the outlines; None when they do not close.

    Args:
        along, across: greatest length of a piece in u and in v.
    """
    level, height = _strip_levels(sides, across)
    strip, u = _crossed(sides, level)
    if not len(u) or len(u) % 2 or (strip[0::2] != strip[1::2]).any():
        return None
    left, length, strip = u[0::2], u[1::2] - u[0::2], strip[0::2]
    row, place, count = _counted(np.maximum(1, np.ceil(length / along)))
    width = length[row] / count[row]
    some = width > 0
    row, width, place = row[some], width[some], place[some]
    return left[row] + (place + 0.5) * width, level[strip[row]], width * height[strip[row]]


def _counted(count: Floats) -> tuple[Ints, Ints, Ints]:
    """Return row numbers repeated `count` times, the place within each row, and the counts as integers."""
    whole = count.astype(np.int64)
    row = np.repeat(np.arange(len(whole)), whole)
    return row, np.arange(len(row)) - np.repeat(np.cumsum(whole) - whole, whole), whole


def _strip_levels(sides: _Sides, across: float) -> tuple[Floats, Floats]:
    """Return the middles and heights of strips that part at every edge parallel to them."""
    a, b = sides.start[:, 1], sides.end[:, 1]
    level = np.abs(b - a) <= sides.level
    parallel = (a[level] + b[level]) / 2.0
    if sides.turn is None:
        marks = np.concatenate([parallel, [min(a.min(), b.min()), max(a.max(), b.max())]])
    else:
        marks = np.remainder(parallel if len(parallel) else np.zeros(1), sides.turn)
        marks = np.append(marks, marks.min() + sides.turn)
    marks = np.unique(marks)
    marks = marks[np.append(True, np.diff(marks) > 2 * sides.level)]
    row, place, count = _counted(np.maximum(1, np.ceil(np.diff(marks) / across)))
    height = (np.diff(marks) / count)[row]
    return marks[row] + (place + 0.5) * height, height


def _crossed(sides: _Sides, level: Floats) -> tuple[Ints, Floats]:
    """Return where the sides cross the levels: strip number and u, in order."""
    start, end = sides.start, sides.end
    if sides.turn is not None:
        again = np.array([[0.0, k * sides.turn] for k in (-1, 0, 1)])
        start, end = (np.concatenate([p + shift for shift in again]) for p in (start, end))
    low, high = np.minimum(start[:, 1], end[:, 1]), np.maximum(start[:, 1], end[:, 1])
    first, last = np.searchsorted(level, low), np.searchsorted(level, high)
    side, place, _ = _counted((last - first).astype(np.float64))
    strip = first[side] + place
    rise = (end - start)[side]
    u = start[side, 0] + (level[strip] - start[side, 1]) / rise[:, 1] * rise[:, 0]
    order = np.lexsort((u, strip))
    return strip[order], u[order]


# --- curved faces -----------------------------------------------------------


def _halved(mesh: Mesh, surfaces: tuple[Surface, ...], chosen: Bools, spacing: Floats) -> Pieces:
    """Return pieces of triangles; corners are places and, on free-form faces, parameters side by side."""
    uv = np.full((len(mesh.triangles), 3, 2), np.nan) if mesh.uv is None else mesh.uv
    corners, face = np.concatenate([mesh.vertices[mesh.triangles[chosen]], uv[chosen]], axis=2), mesh.face[chosen]
    done = [(corners[:0], face[:0])]
    while len(corners):
        sides = (np.roll(corners, -1, axis=1) - corners)[:, :, :3]
        lengths = np.einsum("ijk,ijk->ij", sides, sides)
        longest = np.argmax(lengths, axis=1)
        small = lengths.max(axis=1) <= spacing[face] ** 2
        done.append((corners[small], face[small]))
        corners, face = _split(corners[~small], longest[~small]), np.tile(face[~small], 2)
    corners, face = np.concatenate([c for c, _ in done]), np.concatenate([f for _, f in done])
    normal = np.cross(corners[:, 1, :3] - corners[:, 0, :3], corners[:, 2, :3] - corners[:, 0, :3])
    size = np.sqrt(dots(normal, normal))
    exact = np.array([s.area for s in surfaces])
    found = np.bincount(face, size, minlength=len(exact))
    area = size * (exact / np.where(found > 0, found, 1.0))[face]
    middle = corners.mean(axis=1)
    return _thinned(Pieces(middle[:, :3], middle[:, 3:], face, area), spacing)


def _thinned(fine: Pieces, spacing: Floats) -> Pieces:
    """Return one piece for all of a face's pieces in a cube as wide as the spacing: the one nearest their middle.

    Fillets have triangles far smaller than any spacing.
    """
    if not len(fine.face):
        return fine
    place = np.floor(fine.points / spacing[fine.face][:, None]).astype(np.int64)
    order = np.lexsort((place[:, 2], place[:, 1], place[:, 0], fine.face))
    key = np.column_stack([fine.face, place])[order]
    cube = np.empty(len(order), dtype=np.int64)
    cube[order] = np.cumsum(np.append(True, (key[1:] != key[:-1]).any(axis=1))) - 1
    area: Floats = np.bincount(cube, fine.area).astype(np.float64)
    middle = np.stack([np.bincount(cube, fine.area * p) for p in fine.points.T], axis=1) / np.maximum(area, 1e-300)[:, None]
    off = fine.points - middle[cube]
    nearest = np.lexsort((dots(off, off), cube))
    chosen = nearest[np.append(True, np.diff(cube[nearest]) > 0)]
    return Pieces(fine.points[chosen], fine.uv[chosen], fine.face[chosen], area)


def _split(corners: Floats, side: Ints) -> Floats:
    """Return each triangle cut in two across the middle of the given side."""
    rows = np.arange(len(corners))
    a, b, c = (corners[rows, (side + i) % 3] for i in range(3))
    middle = (a + b) / 2.0
    return np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])
