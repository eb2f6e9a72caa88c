"""Flat curves: the lines, arcs, ellipses and splines a drawing is made of.

Lengths mm, angles degrees counter-clockwise, in the plane of one view. Knows
how long, how large and where a curve is; nothing of views, roles or files.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

Vec2: TypeAlias = tuple[float, float]
Box2: TypeAlias = tuple[float, float, float, float]
"""Least x, least y, greatest x, greatest y."""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight piece between two points."""

    start: Vec2
    end: Vec2


@dataclass(frozen=True, slots=True)
class Arc:
    """Part of a circle, or all of it when `sweep` is 360.

    Attributes:
        start: where it begins, degrees from +x, 0 to 360.
        sweep: how far it turns counter-clockwise, above 0 up to 360.
    """

    centre: Vec2
    radius: float
    start: float = 0.0
    sweep: float = 360.0


@dataclass(frozen=True, slots=True)
class EllipseArc:
    """Part of an ellipse, or all of it when `sweep` is 360.

    Attributes:
        major: from the centre to the end of the longer half axis.
        ratio: shorter over longer half axis, above 0 up to 1.
        start, sweep: of the eccentric angle counted from `major`, as in `Arc`.
    """

    centre: Vec2
    major: Vec2
    ratio: float
    start: float = 0.0
    sweep: float = 360.0


@dataclass(frozen=True, slots=True)
class Spline:
    """A chain of cubic pieces: 3 n + 1 control points, each third one on the curve."""

    points: tuple[Vec2, ...]


Curve: TypeAlias = Line | Arc | EllipseArc | Spline


def circle(centre: Vec2, radius: float) -> Arc:
    """Return a whole circle."""
    return Arc(centre, radius)


def is_closed(curve: Curve) -> bool:
    """Return whether the curve is a whole circle or ellipse."""
    return isinstance(curve, Arc | EllipseArc) and curve.sweep >= 360.0


def at(curve: Curve, share: float) -> Vec2:
    """Return the point a share (0 to 1) of the way along a curve's own parameter."""
    match curve:
        case Line(a, b):
            return (a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share)
        case Arc(centre, radius, start, sweep):
            turn = math.radians(start + sweep * share)
            return (centre[0] + radius * math.cos(turn), centre[1] + radius * math.sin(turn))
        case EllipseArc(centre, major, ratio, start, sweep):
            turn = math.radians(start + sweep * share)
            c, s = math.cos(turn), ratio * math.sin(turn)
            return (centre[0] + major[0] * c - major[1] * s, centre[1] + major[1] * c + major[0] * s)
        case Spline(points):
            pieces = (len(points) - 1) // 3
            piece = min(int(share * pieces), pieces - 1)
            return _cubic(points[3 * piece : 3 * piece + 4], share * pieces - piece)


def _cubic(p: Sequence[Vec2], t: float) -> Vec2:
    u = 1.0 - t
    a, b, c, d = u * u * u, 3 * u * u * t, 3 * u * t * t, t * t * t
    return (
        a * p[0][0] + b * p[1][0] + c * p[2][0] + d * p[3][0],
        a * p[0][1] + b * p[1][1] + c * p[2][1] + d * p[3][1],
    )


def polyline(curve: Curve, chord: float) -> tuple[Vec2, ...]:
    """Return points along a curve that stray from it by about `chord` mm at most."""
    if isinstance(curve, Line):
        return (curve.start, curve.end)
    if isinstance(curve, Spline):
        return _chain_points(curve.points)
    steps = _steps(curve, chord)
    return tuple(at(curve, i / steps) for i in range(steps + 1))


_EIGHTHS = tuple(((1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t * t, t**3) for t in (i / 8 for i in range(1, 9)))
"""Weights of a cubic's control points at each eighth of its length."""


def _chain_points(points: tuple[Vec2, ...]) -> tuple[Vec2, ...]:
    """Return nine points along each cubic of a chain."""
    out = [points[0]]
    for i in range(0, len(points) - 1, 3):
        (ax, ay), (bx, by), (cx, cy), (dx, dy) = points[i : i + 4]
        out += [(a * ax + b * bx + c * cx + d * dx, a * ay + b * by + c * cy + d * dy) for a, b, c, d in _EIGHTHS]
    return tuple(out)


def _steps(curve: Arc | EllipseArc, chord: float) -> int:
    if isinstance(curve, Arc):
        return _arc_steps(curve.radius, curve.sweep, chord)
    return _arc_steps(math.hypot(*curve.major), curve.sweep, chord)


def _arc_steps(radius: float, sweep: float, chord: float) -> int:
    step = math.degrees(2 * math.acos(max(0.0, 1.0 - chord / radius))) if radius > chord else 90.0
    return max(2, math.ceil(sweep / max(step, 1.0)))


def curve_length(curve: Curve) -> float:
    """Return the length of a curve, mm (ellipses and splines to about 0.1 %)."""
    if isinstance(curve, Line):
        return math.dist(curve.start, curve.end)
    if isinstance(curve, Arc):
        return curve.radius * math.radians(curve.sweep)
    points = polyline(curve, 0.01)
    return sum(math.dist(a, b) for a, b in pairwise(points))


def curves_box(curves: Iterable[Curve]) -> Box2 | None:
    """Return the box round some curves, or None when there are none (round curves to within 0.001 mm)."""
    points = [p for curve in curves for p in _box_points(curve)]
    return box_of(points) if points else None


def _box_points(curve: Curve) -> Iterable[Vec2]:
    if isinstance(curve, Arc):
        quarters = [q for q in (90.0 * k for k in range(9)) if curve.start < q < curve.start + curve.sweep]
        return [at(curve, 0.0), at(curve, 1.0), *(at(curve, (q - curve.start) / curve.sweep) for q in quarters)]
    return polyline(curve, 0.001)


def hull_box(curve: Curve) -> Box2:
    """Return a box that surely holds the curve, at little cost; larger than needed for arcs and splines."""
    match curve:
        case Line(a, b):
            return box_of((a, b))
        case Arc((x, y), radius):
            return (x - radius, y - radius, x + radius, y + radius)
        case EllipseArc((x, y), major):
            size = math.hypot(*major)
            return (x - size, y - size, x + size, y + size)
        case Spline(points):
            return box_of(points)


def box_of(points: Iterable[Vec2]) -> Box2:
    """Return the box round at least one point."""
    xs, ys = zip(*points, strict=True)
    return (min(xs), min(ys), max(xs), max(ys))


def joined_box(boxes: Iterable[Box2]) -> Box2:
    """Return the box round at least one box."""
    x0, y0, x1, y1 = zip(*boxes, strict=True)
    return (min(x0), min(y0), max(x1), max(y1))


def moved(curve: Curve, shift: Vec2, factor: float = 1.0) -> Curve:
    """Return the curve scaled about the origin by `factor`, then shifted."""

    def put(p: Vec2) -> Vec2:
        return (p[0] * factor + shift[0], p[1] * factor + shift[1])

    match curve:
        case Line(a, b):
            return Line(put(a), put(b))
        case Arc(centre, radius, start, sweep):
            return Arc(put(centre), radius * factor, start, sweep)
        case EllipseArc(centre, major, ratio, start, sweep):
            return EllipseArc(put(centre), (major[0] * factor, major[1] * factor), ratio, start, sweep)
        case Spline(points):
            return Spline(tuple(put(p) for p in points))


def sort_key(curve: Curve) -> tuple[object, ...]:
    """Return what puts curves in one fixed order, whatever order they were found in."""
    match curve:
        case Line(a, b):
            return (0, *a, *b)
        case Arc(centre, radius, start, sweep):
            return (1, *centre, radius, start, sweep)
        case EllipseArc(centre, major, ratio, start, sweep):
            return (2, *centre, *major, ratio, start, sweep)
        case Spline(points):
            return (3, len(points), *(c for p in points for c in p))
