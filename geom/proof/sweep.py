"""What a printed row cuts: its cutter swept along its move, as arithmetic.

A cutter is a cylinder that ends flat or in a cone; a row brings it down, moves
it straight, and everything from its lowest point up is gone. That body is
convex, so a line meets it in one span. Built from what is printed and nothing
else: kind, diameter, point, coordinates, and the set-up's frame. Lengths mm,
part frame unless said. Knows nothing of parts, castings or where rows come from.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.rays.analytic import Bools, Floats
from geom.rows.records import CUTTING, Box, Row
from geom.space import Frame

NO_METAL: Final = ("tap",)
"""Kinds that leave the hole's drawn diameter as it is: the model holds the tap drill's."""

_TINY: Final = 1e-12


@dataclass(frozen=True, slots=True)
class Table:
    """One printed coordinate table, as read back.

    Attributes:
        number, count: of the set-up, and how many the job has.
        frame: printed zero and axes, part frame.
        rows: printed numbers, mm, set-up frame.
        boxes: what holds the work, set-up frame.
        step: of the readout, mm.
        fine: what sizes and limits are rounded to, mm.
        left_out: sentences "NAME: why" of features that no row makes.
        patterns: sentences "NAME: ...: HOLE, HOLE" of bolt circles and grids.
        notes: as printed.
    """

    number: int
    count: int
    frame: Frame
    rows: tuple[Row, ...]
    boxes: tuple[Box, ...] = ()
    step: float = 0.005
    fine: float = 0.001
    left_out: tuple[str, ...] = ()
    patterns: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sweep:
    """What one row takes out, set-up frame.

    Attributes:
        at: place in working order over all set-ups, from 0.
        start, end: x, y of the axis; equal for a plunge.
        z: the lowest point.
        radius: of the full diameter.
        slope: radius gained per mm of height on the point; inf for a flat end.
    """

    at: int
    table: Table
    row: Row
    start: tuple[float, float]
    end: tuple[float, float]
    z: float
    radius: float
    slope: float

    @property
    def length(self) -> float:
        """How far the cutter moves, mm."""
        return math.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])

    @property
    def point(self) -> float:
        """Height of the pointed end, mm."""
        return 0.0 if math.isinf(self.slope) else self.radius / self.slope

    def radius_at(self, height: float) -> float:
        """Return the radius a height above the lowest point, mm; below it -1."""
        return -1.0 if height < 0 else min(self.radius, height * self.slope if height else (0.0 if self.point else self.radius))


def is_cut(row: Row) -> bool:
    """Tell whether a row takes metal off that a solid shows."""
    return row.action in CUTTING and row.tool.kind not in NO_METAL


def is_whole(row: Row) -> bool:
    """Tell whether a cutting row says all that a sweep needs."""
    return row.x is not None and row.y is not None and row.z is not None and row.tool.diameter > 0


def sweeps_of(tables: Sequence[Table]) -> tuple[Sweep, ...]:
    """Return the sweeps of all set-ups in working order; rows that cut nothing, or do not say where, have none."""
    rows = [(table, row) for table in tables for row in table.rows if is_cut(row) and is_whole(row)]
    return tuple(_sweep(at, table, row) for at, (table, row) in enumerate(rows))


def _sweep(at: int, table: Table, row: Row) -> Sweep:
    assert row.x is not None
    assert row.y is not None
    assert row.z is not None
    end = (row.x if row.x_to is None else row.x_to, row.y if row.y_to is None else row.y_to)
    angle = row.tool.point_angle
    slope = math.inf if angle is None else math.tan(math.radians(angle / 2.0))
    return Sweep(at, table, row, (row.x, row.y), end, row.z, 0.5 * row.tool.diameter, slope)


# --- lines through a sweep --------------------------------------------------


def spans(sweep: Sweep, points: Floats, directions: Floats) -> tuple[Floats, Floats]:
    """Return where lines enter and leave a sweep.

    Args:
        points, directions: (n, 3) part frame; directions are unit vectors.

    Returns:
        First and last parameter (n,), mm from the point; inf and -inf where a line misses it.
    """
    axes = np.array([sweep.table.frame.x, sweep.table.frame.y, sweep.table.frame.z])
    p = sweep.table.frame.local_points(points) - np.array([*sweep.start, sweep.z])
    d = directions @ axes.T
    if sweep.length > _TINY:
        ux, uy = ((b - a) / sweep.length for a, b in zip(sweep.start, sweep.end, strict=True))
        turn = np.array([[ux, uy, 0.0], [-uy, ux, 0.0], [0.0, 0.0, 1.0]])
        p, d = p @ turn.T, d @ turn.T
    floor = _slab(p[:, 2], d[:, 2], 0.0, np.inf)
    parts = [_round(sweep, p, d)]
    if sweep.length > _TINY:
        parts += [_round(sweep, p - np.array([sweep.length, 0.0, 0.0]), d), _flank(sweep, p, d)]
    low = np.min([a for a, _ in parts], axis=0)
    high = np.max([b for _, b in parts], axis=0)
    return _met((low, high), floor)


_Span = tuple[Floats, Floats]


def _met(*some: _Span) -> _Span:
    """Return what spans share; inf and -inf where that is nothing."""
    low = np.max([a for a, _ in some], axis=0)
    high = np.min([b for _, b in some], axis=0)
    none = ~(low <= high)
    return np.where(none, np.inf, low), np.where(none, -np.inf, high)


def _slab(p: Floats, d: Floats, low: float, high: float) -> _Span:
    """Return where p + t d lies between two numbers."""
    flat = np.abs(d) < _TINY
    safe = np.where(flat, 1.0, d)
    with np.errstate(invalid="ignore"):
        a, b = (low - p) / safe, (high - p) / safe
    inside = (p >= low) & (p <= high)
    first, last = np.minimum(a, b), np.maximum(a, b)
    return np.where(flat, np.where(inside, -np.inf, np.inf), first), np.where(flat, np.where(inside, np.inf, -np.inf), last)


def _round(sweep: Sweep, p: Floats, d: Floats) -> _Span:
    """Return the spans in the cutter standing still, its lowest point at the origin."""
    wall = _quadric(p, d, sweep.radius, 0.0)
    if math.isinf(sweep.slope):
        return _met(wall, _slab(p[:, 2], d[:, 2], 0.0, np.inf))
    return _met(wall, _quadric(p, d, 0.0, sweep.slope))


def _quadric(p: Floats, d: Floats, radius: float, slope: float) -> _Span:
    """Return the spans in a cylinder (slope 0) or in the upper half of a cone with its tip at the origin."""
    k = slope * slope
    a = d[:, 0] ** 2 + d[:, 1] ** 2 - k * d[:, 2] ** 2
    b = p[:, 0] * d[:, 0] + p[:, 1] * d[:, 1] - k * p[:, 2] * d[:, 2]
    c = p[:, 0] ** 2 + p[:, 1] ** 2 - k * p[:, 2] ** 2 - radius**2
    flat = np.abs(a) < _TINY
    disc = b * b - a * c
    root = np.sqrt(np.maximum(disc, 0.0))
    q = -(b + np.where(b >= 0, root, -root))
    with np.errstate(divide="ignore", invalid="ignore"):
        one, two = q / np.where(flat, 1.0, a), np.where(np.abs(q) > 0, c / np.where(q == 0, 1.0, q), 0.0)
    first, last = np.minimum(one, two), np.maximum(one, two)
    rising = d[:, 2] > 0
    inf = np.full(len(p), np.inf)
    steep = a < 0
    low = np.where(steep, np.where(rising, last, -inf), first)
    high = np.where(steep, np.where(rising, inf, first), last)
    low, high = np.where((disc < 0) & ~steep, inf, low), np.where((disc < 0) & ~steep, -inf, high)
    low, high = _linear(flat, b, c, low, high)
    return (low, high) if not slope else _met((low, high), _slab(p[:, 2], d[:, 2], 0.0, np.inf))


def _linear(flat: Bools, b: Floats, c: Floats, low: Floats, high: Floats) -> _Span:
    """Return the spans with those set right whose quadratic has no square: 2 b t + c <= 0."""
    level = np.abs(b) < _TINY
    with np.errstate(divide="ignore", invalid="ignore"):
        t = -c / np.where(level, 1.0, 2.0 * b)
    inf = np.full(len(b), np.inf)
    line_low = np.where(level, np.where(c <= 0, -inf, inf), np.where(b > 0, -inf, t))
    line_high = np.where(level, np.where(c <= 0, inf, -inf), np.where(b > 0, t, inf))
    return np.where(flat, line_low, low), np.where(flat, line_high, high)


def _flank(sweep: Sweep, p: Floats, d: Floats) -> _Span:
    """Return the spans between start and end of a move along X."""
    sides = [_slab(p[:, 0], d[:, 0], 0.0, sweep.length), _slab(p[:, 1], d[:, 1], -sweep.radius, sweep.radius)]
    if not math.isinf(sweep.slope):
        k = sweep.slope
        sides += [_slab(s * p[:, 1] - k * p[:, 2], s * d[:, 1] - k * d[:, 2], -np.inf, 0.0) for s in (1.0, -1.0)]
    return _met(*sides, _slab(p[:, 2], d[:, 2], 0.0, np.inf))


# --- points in a sweep ------------------------------------------------------


def holds(sweep: Sweep, points: Floats, by: float = 0.0) -> Bools:
    """Return which points (n, 3), part frame, lie in a sweep shrunk by `by` mm (grown where negative) sideways and below."""
    p = sweep.table.frame.local_points(points)
    height = p[:, 2] - sweep.z - by
    reach = np.full(len(p), sweep.radius) if math.isinf(sweep.slope) else np.minimum(sweep.radius, height * sweep.slope)
    return np.asarray((height >= 0) & (from_move(sweep, p[:, :2]) <= reach - by))


def from_move(sweep: Sweep, flat: Floats) -> Floats:
    """Return the distance (n,) of points (n, 2), set-up frame, from the line the axis moves along."""
    start = np.array(sweep.start)
    way = np.array(sweep.end) - start
    size = float(way @ way)
    share = np.clip(((flat - start) @ way) / size, 0.0, 1.0) if size > _TINY else np.zeros(len(flat))
    return np.asarray(np.linalg.norm(flat - start - share[:, None] * way, axis=1))


def clearance(sweep: Sweep, low: tuple[float, float], high: tuple[float, float]) -> float:
    """Return the distance between the line the axis moves along and a rectangle, set-up frame; 0 where they meet."""
    xs, ys = (low[0], high[0]), (low[1], high[1])
    corners = np.array([(x, y) for x in xs for y in ys])
    ends = np.array([sweep.start, sweep.end])
    p, d = np.array([[*sweep.start, 0.0]]), np.array([[sweep.end[0] - sweep.start[0], sweep.end[1] - sweep.start[1], 0.0]])
    through = _met(*(_slab(p[:, i], d[:, i], low[i], high[i]) for i in (0, 1)), (np.zeros(1), np.ones(1)))
    if through[0][0] <= through[1][0]:
        return 0.0
    outside = np.maximum(0.0, np.maximum(np.array(low) - ends, ends - np.array(high)))
    return float(min(from_move(sweep, corners).min(), np.linalg.norm(outside, axis=1).min()))
