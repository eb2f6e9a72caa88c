"""What metal of the finished part stands above a place, seen from where the spindle is.

Straight cutters come down along Z: whatever of the finished part lies above
the cutter's end and within its radius would be cut. Works on the facets of the
part's skin, so nearer than `FACET_SLACK` it cannot tell; answers that shape a
coordinate are snapped to the faces themselves by the caller. Lengths mm, in
the frame looked from. Knows nothing of the casting, of holders or of vises.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final, TypeAlias

import numpy as np
import numpy.typing as npt
import shapely

from geom.kernel.mesh import Mesh
from geom.space import Frame, Vec3
from geom.tolerance import WORK_CHORD

Flat: TypeAlias = tuple[float, float]
Span: TypeAlias = tuple[float, float]
_Array: TypeAlias = npt.NDArray[np.float64]
_Bools: TypeAlias = npt.NDArray[np.bool_]

FACET_SLACK: Final = 10.0 * WORK_CHORD
"""mm: metal closer than this to a cutter's side or end is taken for the face it cuts; facets of the skin that rays
use lie up to half as far off between their edges."""


_SAME_AREA: Final = 1e-9
"""Share by which areas that are the same differ for rounding."""

BESIDE: Final = 2.0
"""mm: a wall nearer than this to a face stands beside it (common practice: a face mill runs over by more)."""


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """The part's upward-facing facets in a frame whose Z faces the spindle.

    Facets that face down or sideways add nothing: above every point inside the
    metal there is an upward one.

    Attributes:
        corners: (m, 3, 3), mm, in the frame.
        face: (m,) surface index of each facet.
        low, high: (m, 3) each facet's box.
    """

    corners: _Array = field(repr=False)
    face: npt.NDArray[np.int64] = field(repr=False)
    low: _Array = field(repr=False)
    high: _Array = field(repr=False)


def view(mesh: Mesh, frame: Frame) -> View:
    """Return the part as the spindle sees it."""
    corners = frame.local_points(mesh.vertices)[mesh.triangles]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    up = across[:, 2] > 1e-9 * np.maximum(np.linalg.norm(across, axis=1), 1e-300)
    seen = corners[up]
    return View(seen, mesh.face[up], seen.min(axis=1), seen.max(axis=1))


def with_boxes(seen: View, boxes: Sequence[tuple[Vec3, Vec3]], wider: float) -> View:
    """Return the view with the tops of boxes in it, each so much wider all round; they belong to no face (-1)."""
    tops = [_top(low, high, wider) for low, high in boxes]
    if not tops:
        return seen
    corners = np.concatenate([seen.corners, *tops])
    face = np.concatenate([seen.face, np.full(2 * len(tops), -1, dtype=np.int64)])
    return View(corners, face, corners.min(axis=1), corners.max(axis=1))


def _top(low: Vec3, high: Vec3, wider: float) -> _Array:
    x0, y0, x1, y1, z = low[0] - wider, low[1] - wider, high[0] + wider, high[1] + wider, high[2]
    return np.array([[(x0, y0, z), (x1, y0, z), (x1, y1, z)], [(x0, y0, z), (x1, y1, z), (x0, y1, z)]])


@lru_cache(maxsize=2048)
def clear_disc(seen: View, at: Flat, radius: float, z: float) -> bool:
    """Tell whether a cutter of this radius, standing at (x, y) with its end at z, meets no metal."""
    return highest_over(seen, at, radius, z + FACET_SLACK) <= z + FACET_SLACK


def highest_over(seen: View, at: Flat, radius: float, above: float = -np.inf) -> float:
    """Return the greatest height of metal that a cutter of this radius would meet, standing at (x, y); -inf over none.

    Over the part of a facet that lies in a disc, height is greatest on a side of the facet, or where the disc's rim lies highest.

    Args:
        above: facets that reach no higher do not count.
    """
    radius = max(radius - FACET_SLACK, FACET_SLACK)
    middle = np.array(at)
    near = (seen.high[:, 2] > above) & np.all(seen.low[:, :2] <= middle + radius, axis=1)
    a = seen.corners[near & np.all(seen.high[:, :2] >= middle - radius, axis=1)] - (*at, 0.0)
    if not len(a):
        return -math.inf
    sides = np.roll(a, -1, axis=1) - a
    return max(_highest_on_sides(a, sides, radius), _highest_on_rim(a, sides, radius))


def _highest_on_sides(a: _Array, sides: _Array, radius: float) -> float:
    """Return the greatest height on the sides (m, 3, 3) of facets within a radius of the origin."""
    x, y, dx, dy = a[..., 0], a[..., 1], sides[..., 0], sides[..., 1]
    squared, along = dx * dx + dy * dy, x * dx + y * dy
    under = along * along - squared * (x * x + y * y - radius * radius)
    with np.errstate(all="ignore"):  # a side that is a point seen from above has its neighbours' ends
        half = np.sqrt(under)
        first, last = (-along - half) / squared, (half - along) / squared
        meets = (under > 0.0) & (first < 1.0) & (last > 0.0)
    ends = np.clip(np.stack([first[meets], last[meets]]), 0.0, 1.0)
    return float((a[..., 2][meets] + ends * sides[..., 2][meets]).max(initial=-np.inf))


def _highest_on_rim(a: _Array, sides: _Array, radius: float) -> float:
    """Return the greatest height of facets where a disc about the origin climbs highest on their planes."""
    normal = np.cross(sides[:, 0], -sides[:, 2])
    slope = -normal[:, :2] / normal[:, 2:]
    steep = np.linalg.norm(slope, axis=1)
    rim = slope * (radius / np.maximum(steep, 1e-300))[:, None]
    to_rim = rim[:, None] - a[:, :, :2]
    inside = (sides[..., 0] * to_rim[..., 1] - sides[..., 1] * to_rim[..., 0] >= 0.0).all(axis=1)
    high = a[:, 0, 2] + (slope * to_rim[:, 0]).sum(axis=1)
    return float(np.clip(high, a[..., 2].min(axis=1), a[..., 2].max(axis=1))[inside].max(initial=-np.inf))


def blocked_spans(seen: View, start: Flat, along: Flat, reach: Span, radius: float, z: float) -> list[Span]:
    """Return the parts of a straight cut in which the cutter would meet metal.

    Args:
        start, along: a point of the cutter's centre line and its unit direction.
        reach: from where to where to look, mm along the line from `start`.
        radius: the cutter's.
        z: height of the cutter's end.

    Returns:
        Disjoint spans (from, to), mm along the line, in order.
    """
    radius = max(radius - FACET_SLACK, FACET_SLACK)
    ends = np.array([[start[i] + s * along[i] for i in (0, 1)] for s in reach])
    near = _outlines(seen, _around(ends, radius), z)
    found = _spans(near, start, along, radius).tolist() if len(near) else []
    return _merged([(max(low, reach[0]), min(high, reach[1])) for low, high in found if low < reach[1] and high > reach[0]])


def stands_about(seen: View, low: Flat, high: Flat, z: float) -> bool:
    """Tell whether metal stands above z over a rectangle, or within `BESIDE` of it."""
    return len(_outlines(seen, np.array([low, high]) + np.array([[-BESIDE], [BESIDE]]), z)) > 0


def open_share(seen: View, faces: Sequence[int], z: float) -> float:
    """Return the share (0 to 1) of upward-facing plane faces at height z that has no metal above it."""
    mine = np.isin(seen.face, np.asarray(faces))
    if not mine.any():
        return 0.0
    box = np.array([seen.low[mine].min(axis=0)[:2], seen.high[mine].max(axis=0)[:2]])
    above = _outlines(seen, box, z)
    if not len(above):
        return 1.0
    own = outline(seen, tuple(faces))
    shapely.prepare(own)
    over = _polygons(above)
    hidden = shapely.union_all(over[shapely.intersects(own, over)]).intersection(own)
    return 1.0 - float(hidden.area) / float(own.area)


def standing(seen: View, low: Flat, high: Flat, z: float) -> "shapely.Geometry":
    """Return the outline, seen from above, of the metal that stands above z over a rectangle; facets are taken as they are.

    Faces that stand above z all over are taken whole, also beyond the rectangle.
    """
    lowest = np.full(int(seen.face.max(initial=-1)) + 2, np.inf)
    np.minimum.at(lowest, seen.face, seen.low[:, 2])
    lowest[-1] = -np.inf
    whole = np.unique(seen.face[lowest[seen.face] > z])
    partly = np.flatnonzero(_reaching(seen, np.array([low, high]), z) & ~np.isin(seen.face, whole))
    joined = _joined(seen, tuple(whole.tolist()))
    if not len(partly):
        return joined
    facets, face = _polygons(_above(seen.corners[partly], z)), seen.face[partly]
    return shapely.union_all([joined, *(_union(facets[face == one]) for one in np.unique(face).tolist())])


@lru_cache(maxsize=256)
def _joined(seen: View, faces: tuple[int, ...]) -> "shapely.Geometry":
    return shapely.union_all([outline(seen, (face,)) for face in faces]) if faces else shapely.Polygon()


@lru_cache(maxsize=1024)
def outline(seen: View, faces: tuple[int, ...]) -> "shapely.Geometry":
    """Return the outline, seen from above, of some upward-facing faces."""
    mine = seen.face == faces[0] if len(faces) == 1 else np.isin(seen.face, np.asarray(faces))
    return _union(shapely.polygons(seen.corners[mine][:, :, :2]))


def _union(facets: npt.NDArray[Any]) -> "shapely.Geometry":
    """Return the union of a face's facets: quickly where they share their sides and nowhere lie one over the other.

    What lies twice counts once in the area of a sound outline.
    """
    try:
        quick = shapely.coverage_union_all(facets)
    except shapely.GEOSException:
        return shapely.union_all(facets)
    whole = float(shapely.area(facets).sum())
    return quick if quick.is_valid and abs(quick.area - whole) <= _SAME_AREA * whole else shapely.union_all(facets)


def top_over(seen: View, low: Flat, high: Flat) -> float:
    """Return the greatest height of any facet over a rectangle; -inf over none. A facet counts whole."""
    near = np.all(seen.low[:, :2] <= np.array(high), axis=1) & np.all(seen.high[:, :2] >= np.array(low), axis=1)
    return float(seen.high[near, 2].max(initial=-np.inf))


def apart(lines: _Array, boxes: _Array) -> _Array:
    """Return how near each of some straight lines (n, 2, 2), end, x y, comes to each box (m, 2, 2), corner, x y: (n, m)."""
    walls = shapely.box(*boxes.reshape(-1, 4).T)
    return np.asarray(shapely.distance(shapely.linestrings(lines)[:, None], walls))


# --- what stands above a height ---------------------------------------------


def _around(points: _Array, radius: float) -> _Array:
    """Return the least and greatest corner (2, 2) of everything within `radius` of some points."""
    return np.array([points.min(axis=0) - radius, points.max(axis=0) + radius])


def _reaching(seen: View, box: _Array, level: float) -> _Bools:
    """Return which facets (m,) reach above a level over a rectangle."""
    low, high = seen.low[:, :2] <= box[1], seen.high[:, :2] >= box[0]
    return np.asarray((seen.high[:, 2] > level) & low.all(axis=1) & high.all(axis=1))


def _outlines(seen: View, box: _Array, z: float) -> _Array:
    """Return the outline of the part above a cutter's end at z of each facet over a rectangle; see `_above`."""
    return _above(seen.corners[_reaching(seen, box, z + FACET_SLACK)], z + FACET_SLACK)


def _above(a: _Array, level: float) -> _Array:
    """Return the outline of each facet's part above a level: (k, 4, 2, 2), side, end, x y.

    A facet cut by the level has a fourth side along the cut; sides that are not there are NaN. Facets that share a side share its
    crossing to the last bit.
    """
    if not len(a):
        return np.zeros((0, 4, 2, 2))
    b = np.roll(a, -1, axis=1)
    below_a, below_b = a[:, :, 2] <= level, b[:, :, 2] <= level
    under, over = np.where(below_a[:, :, None], a, b), np.where(below_a[:, :, None], b, a)
    share = np.full(below_a.shape, np.nan)
    np.divide(level - under[:, :, 2], over[:, :, 2] - under[:, :, 2], out=share, where=below_a != below_b)
    crossing = (under + share[:, :, None] * (over - under))[:, :, :2]
    start = np.where(below_a[:, :, None], crossing, a[:, :, :2])
    end = np.where(below_b[:, :, None], crossing, b[:, :, :2])
    sides = np.stack([start, end], axis=2)
    sides[below_a & below_b] = np.nan
    return np.concatenate([sides, _cuts(crossing, below_a, below_b)], axis=1)


def _cuts(crossing: _Array, below_a: _Bools, below_b: _Bools) -> _Array:
    """Return the side along the cut of each facet, (k, 1, 2, 2); NaN for facets that are wholly above."""
    leaving, entering = ~below_a & below_b, below_a & ~below_b
    cut = np.full((len(crossing), 1, 2, 2), np.nan)
    mixed = leaving.any(axis=1)
    rows = np.flatnonzero(mixed)
    cut[rows, 0, 0] = crossing[rows, leaving[rows].argmax(axis=1)]
    cut[rows, 0, 1] = crossing[rows, entering[rows].argmax(axis=1)]
    return cut


def _polygons(outlines: _Array) -> npt.NDArray[Any]:
    """Return the outlines as polygons."""
    there = ~np.isnan(outlines[:, :3, :, 0])
    corners, owner = outlines[:, :3][there], np.repeat(np.arange(len(outlines)), there.sum(axis=(1, 2)))
    return np.asarray(shapely.polygons(shapely.linearrings(corners, indices=owner)))


def _spans(outlines: _Array, start: Flat, along: Flat, radius: float) -> _Array:
    """Return where along a line a disc of this radius meets each outline, (k, 2); none where it never does.

    A facet is convex, so that is one span; its ends are least and greatest over the facet's sides of
    s -+ sqrt(r2 - t2), with s along the line and t across it: at the ends of a side, where it leaves the
    disc's reach, or where the disc touches it in between.
    """
    away = outlines - np.asarray(start)
    s = away @ np.asarray(along)
    t = away @ np.array([-along[1], along[0]])
    s0, ds, t0, dt = s[..., 0], s[..., 1] - s[..., 0], t[..., 0], t[..., 1] - t[..., 0]
    with np.errstate(all="ignore"):  # a side along the line has no crossing: `flat` says so below
        limits = np.sort(np.stack([(-radius - t0) / dt, (radius - t0) / dt]), axis=0)
        flat = np.abs(dt) < 1e-12
        first = np.where(flat, np.where(np.abs(t0) <= radius, 0.0, np.nan), np.maximum(limits[0], 0.0))
        last = np.where(flat, np.where(np.abs(t0) <= radius, 1.0, np.nan), np.minimum(limits[1], 1.0))
        touch = np.sign(dt) * ds / np.hypot(ds, dt) * radius
        low_u, high_u = ((way * touch - t0) / dt for way in (-1.0, 1.0))
    missed = ~(first <= last)
    found = []
    for way, between in ((-1.0, low_u), (1.0, high_u)):
        u = np.stack([first, last, np.where(np.isfinite(between), np.clip(between, first, last), first)])
        u[:, missed] = np.nan
        found.append(s0 + u * ds + way * np.sqrt(np.maximum(radius**2 - (t0 + u * dt) ** 2, 0.0)))
    low = np.where(np.isnan(found[0]), np.inf, found[0]).min(axis=(0, 2), initial=np.inf)
    high = np.where(np.isnan(found[1]), -np.inf, found[1]).max(axis=(0, 2), initial=-np.inf)
    return np.asarray(np.column_stack([low, high])[low < high])


def _merged(spans: list[Span]) -> list[Span]:
    """Return overlapping and almost touching spans as one."""
    done: list[Span] = []
    for low, high in sorted(spans):
        if done and low <= done[-1][1] + FACET_SLACK:
            done[-1] = (done[-1][0], max(done[-1][1], high))
        else:
            done.append((low, high))
    return done
