"""Flat curves that lie on each other: joined, or taken away from each other.

Pieces of one straight line, circle or ellipse become as few pieces as they
can; a piece under another can be dropped. The order the curves come in does
not matter. Lengths mm, angles degrees. Knows nothing of views or line roles.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, TypeAlias

from geom.flat.curve2d import Arc, Box2, Curve, EllipseArc, Line, Spline, Vec2, at, curve_length, hull_box, polyline, sort_key

if TYPE_CHECKING:
    from geom.space import Points

SAME_CURVE: Final = 2e-3
"""Curves within this many mm of each other are one: a hundredth of the thinnest printed line."""

SLIVER: Final = 0.02
"""Gaps and remainders shorter than this many mm cannot be seen on paper."""

_NEAR: Final = 5 * SAME_CURVE
"""A spline's piece this close, mm, to a cover all along lies on it: both are approximations."""

_Span: TypeAlias = tuple[float, float]


@dataclass(slots=True)
class _Carrier:
    """One endless line, circle or ellipse and the spans of it that are covered."""

    master: Curve
    own: list[_Span] = field(default_factory=list)
    cover: list[_Span] = field(default_factory=list)


def merged(curves: Iterable[Curve]) -> tuple[Curve, ...]:
    """Return the same ink with the fewest pieces, sorted."""
    return without(curves, ())


def without(curves: Iterable[Curve], covers: Iterable[Curve]) -> tuple[Curve, ...]:
    """Return what remains of the curves where no cover lies on them, merged and sorted."""
    own, cover = list(curves), list(covers)
    plain = [c for c in own if not isinstance(c, Spline)]
    carriers = _carriers(plain, [c for c in cover if not isinstance(c, Spline)])
    pieces = [piece for carrier in carriers for piece in _remaining(carrier)]
    same = {_spline_key(c) for c in cover if isinstance(c, Spline)}
    chains = _distinct([c for c in own if isinstance(c, Spline) and _spline_key(c) not in same])
    splines = _uncovered_splines(chains, [*cover, *plain])
    return tuple(sorted((_rounded(c) for c in [*pieces, *splines]), key=sort_key))


# --- straight lines, circles and ellipses -----------------------------------


_RANK: Final[dict[type, int]] = {EllipseArc: 0, Arc: 1, Line: 2}
"""A short piece of a flat curve passes for a simpler one, so the less simple curves set the carriers."""


def _carriers(own: Sequence[Curve], cover: Sequence[Curve]) -> list[_Carrier]:
    """Return every carrier once; the longest piece on it sets where it lies."""
    tagged = [(c, False) for c in own] + [(c, True) for c in cover]
    tagged.sort(key=lambda pair: (_RANK[type(pair[0])], -round(curve_length(pair[0]), 6), sort_key(pair[0]), pair[1]))
    found: list[_Carrier] = []
    for curve, is_cover in tagged:
        carrier = next((c for c in found if _lies_on(curve, c.master)), None)
        if carrier is None:
            carrier = _Carrier(curve)
            found.append(carrier)
        (carrier.cover if is_cover else carrier.own).append(_span(curve, carrier.master))
    return [c for c in found if c.own]


def _lies_on(curve: Curve, master: Curve) -> bool:
    match curve, master:
        case Line(a, b), Line(p, q):
            size = math.dist(p, q)
            ux, uy = (q[0] - p[0]) / size, (q[1] - p[1]) / size
            return all(abs((e[0] - p[0]) * uy - (e[1] - p[1]) * ux) < SAME_CURVE for e in (a, b))
        case (Line() | Arc(), Arc(centre, radius)):
            if isinstance(curve, Arc) and abs(curve.radius - radius) > 0.5 * radius:
                return False
            return all(abs(math.dist(at(curve, s), centre) - radius) < SAME_CURVE for s in (0.0, 0.5, 0.98))
        case (Line() | Arc() | EllipseArc(), EllipseArc()):
            return all(_off_ellipse(at(curve, s), master) < SAME_CURVE for s in (0.0, 0.23, 0.5, 0.77, 0.98))
    return False


def _ellipse_local(point: Vec2, ellipse: EllipseArc) -> Vec2:
    """Return a point in the frame where the ellipse is the unit circle."""
    a = math.hypot(*ellipse.major)
    ux, uy = ellipse.major[0] / a, ellipse.major[1] / a
    dx, dy = point[0] - ellipse.centre[0], point[1] - ellipse.centre[1]
    return ((dx * ux + dy * uy) / a, (dy * ux - dx * uy) / (a * ellipse.ratio))


def _off_ellipse(point: Vec2, ellipse: EllipseArc) -> float:
    """Return a length that is at least the distance from the ellipse, mm (near it)."""
    return abs(math.hypot(*_ellipse_local(point, ellipse)) - 1.0) * math.hypot(*ellipse.major)


def _span(curve: Curve, master: Curve) -> _Span:
    match curve, master:
        case Line(a, b), Line(p, q):
            size = math.dist(p, q)
            reach = [((e[0] - p[0]) * (q[0] - p[0]) + (e[1] - p[1]) * (q[1] - p[1])) / size for e in (a, b)]
            return min(reach), max(reach)
        case (Arc() | EllipseArc(), Arc() | EllipseArc()):
            if curve.sweep >= 360.0:
                return 0.0, 360.0
            first, last = _angle_on(at(curve, 0.0), master), _angle_on(at(curve, 1.0), master)
            sweep = (last - first) % 360.0
            return first, first + (sweep if abs(sweep - curve.sweep) < 180.0 else curve.sweep)
        case (Line(a, b), Arc() | EllipseArc()):
            first, last = _angle_on(a, master), _angle_on(b, master)
            forward = (last - first) % 360.0
            return (first, first + forward) if forward < 180.0 else (last, last + 360.0 - forward)
    raise TypeError(f"{type(curve).__name__} has no span on {type(master).__name__}")


def _angle_on(point: Vec2, master: Arc | EllipseArc) -> float:
    if isinstance(master, Arc):
        return math.degrees(math.atan2(point[1] - master.centre[1], point[0] - master.centre[0])) % 360.0
    x, y = _ellipse_local(point, master)
    return math.degrees(math.atan2(y, x)) % 360.0


def _remaining(carrier: _Carrier) -> list[Curve]:
    master = carrier.master
    if isinstance(master, Line):
        own, cover = union(carrier.own, SLIVER), union(carrier.cover, SLIVER)
        return [_piece(master, span) for span in difference(own, cover, SLIVER)]
    assert isinstance(master, Arc | EllipseArc)
    radius = master.radius if isinstance(master, Arc) else math.hypot(*master.major)
    slack = min(math.degrees(SLIVER / radius), 5.0)
    own, cover = union(_unrolled(carrier.own), slack), union(_unrolled(carrier.cover), slack)
    return [_piece(master, span) for span in _rolled(difference(own, cover, slack), slack)]


def _piece(master: Curve, span: _Span) -> Curve:
    lo, hi = span
    match master:
        case Line(p, q):
            size = math.dist(p, q)
            ux, uy = (q[0] - p[0]) / size, (q[1] - p[1]) / size
            ends = ((p[0] + ux * lo, p[1] + uy * lo), (p[0] + ux * hi, p[1] + uy * hi))
            return Line(*ends)
        case Arc(centre, radius):
            return Arc(centre, radius, lo, hi - lo)
        case EllipseArc(centre, major, ratio):
            return EllipseArc(centre, major, ratio, lo, hi - lo)
    raise TypeError(f"a {type(master).__name__} carries no pieces")


# --- spans ------------------------------------------------------------------


def union(spans: Iterable[_Span], slack: float) -> list[_Span]:
    """Return the spans joined where they overlap or all but touch, in order."""
    out: list[_Span] = []
    for lo, hi in sorted(spans):
        if out and lo <= out[-1][1] + slack:
            out[-1] = (out[-1][0], max(out[-1][1], hi))
        else:
            out.append((lo, hi))
    return out


def difference(spans: Iterable[_Span], covers: Iterable[_Span], least: float) -> list[_Span]:
    """Return the parts of the spans outside every cover that are longer than `least`; both lists in order."""
    out: list[_Span] = []
    for lo, hi in spans:
        for a, b in covers:
            if b <= lo or a >= hi:
                continue
            out.append((lo, a))
            lo = b
        out.append((lo, hi))
    return [(a, b) for a, b in out if b - a > least]


def _unrolled(spans: Iterable[_Span]) -> list[_Span]:
    """Return spans of a circle cut at 0 and 360 degrees."""
    out: list[_Span] = []
    for lo, hi in spans:
        if hi > 360.0:
            out += [(lo, 360.0), (0.0, hi - 360.0)]
        else:
            out.append((lo, hi))
    return out


def _rolled(spans: Sequence[_Span], slack: float) -> list[_Span]:
    """Return spans of a circle joined again across 0 degrees."""
    out = list(spans)
    if len(out) == 1 and out[0][0] <= slack and out[0][1] >= 360.0 - slack:
        return [(0.0, 360.0)]
    if len(out) > 1 and out[0][0] <= slack and out[-1][1] >= 360.0 - slack:
        last = out.pop()
        out[0] = (last[0], 360.0 + out[0][1])
    return out


# --- splines ----------------------------------------------------------------


def _distinct(splines: Sequence[Spline]) -> list[Spline]:
    seen: dict[tuple[Vec2, ...], Spline] = {}
    for spline in splines:
        seen.setdefault(_spline_key(spline), Spline(min(spline.points, spline.points[::-1])))
    return sorted(seen.values(), key=sort_key)


def _spline_key(spline: Spline) -> tuple[Vec2, ...]:
    """Return what two splines with the same ink share, whichever way they run."""
    rounded = tuple((round(x, 2), round(y, 2)) for x, y in spline.points)
    return min(rounded, rounded[::-1])


def _uncovered_splines(splines: Sequence[Spline], covers: Sequence[Curve]) -> list[Spline]:
    """Return the splines less those of their cubic pieces that lie on a cover all along."""
    import numpy as np

    hulls = [hull_box(s) for s in splines]
    lines = [np.array(polyline(c, SAME_CURVE)) for c in covers if _meets_any(hull_box(c), hulls)]
    if not lines:
        return list(splines)
    starts, ends = np.vstack([p[:-1] for p in lines]), np.vstack([p[1:] for p in lines])
    low, high = np.minimum(starts, ends) - _NEAR, np.maximum(starts, ends) + _NEAR
    out: list[Spline] = []
    for spline, hull in zip(splines, hulls, strict=True):
        close = ((low <= np.array(hull[2:])) & (high >= np.array(hull[:2]))).all(axis=1)
        out.extend(_runs(spline, _clear_pieces(spline, starts[close], ends[close])))
    return out


def _clear_pieces(spline: Spline, starts: "Points", ends: "Points") -> list[bool]:
    """Return for each cubic of a chain whether it leaves the covers: most do at their middle, so that is tried first."""
    import numpy as np

    pieces = (len(spline.points) - 1) // 3
    middles = np.array([at(spline, (k + 0.5) / pieces) for k in range(pieces)])
    clear = [bool(d > _NEAR) for d in _distances(middles, starts, ends)]
    doubtful = [k for k in range(pieces) if not clear[k]]
    if doubtful:
        rest = np.array([at(spline, (k + t) / pieces) for k in doubtful for t in (0.001, 0.25, 0.75, 0.999)])
        away = _distances(rest, starts, ends).reshape(-1, 4).max(axis=1)
        for k, distance in zip(doubtful, away, strict=True):
            clear[k] = bool(distance > _NEAR)
    return clear


def _meets_any(box: Box2, others: Sequence[Box2]) -> bool:
    x0, y0, x1, y1 = box[0] - _NEAR, box[1] - _NEAR, box[2] + _NEAR, box[3] + _NEAR
    return any(x0 <= c and a <= x1 and y0 <= d and b <= y1 for a, b, c, d in others)


def _distances(points: "Points", starts: "Points", ends: "Points") -> "Points":
    """Return each point's distance (n,) from the nearest of some segments (m, 2); infinite when there are none."""
    import numpy as np

    if not len(starts):
        return np.full(len(points), math.inf)
    along = ends - starts
    size = np.maximum((along**2).sum(axis=1), 1e-18)
    offset = points[:, None, :] - starts
    share = np.clip((offset * along).sum(axis=2) / size, 0.0, 1.0)
    return np.asarray(np.sqrt(((offset - along * share[:, :, None]) ** 2).sum(axis=2).min(axis=1)))


def _runs(spline: Spline, keep: Sequence[bool]) -> list[Spline]:
    out: list[Spline] = []
    begin: int | None = None
    for k, kept in enumerate([*keep, False]):
        if kept and begin is None:
            begin = k
        if not kept and begin is not None:
            out.append(Spline(spline.points[3 * begin : 3 * k + 1]))
            begin = None
    return out


# --- numbers ----------------------------------------------------------------


def _rounded(curve: Curve) -> Curve:
    """Return the curve to a nanometre and in one direction, so that kernel noise cannot reorder the list."""
    match curve:
        case Line(a, b):
            first, last = sorted((_r2(a), _r2(b)))
            return Line(first, last)
        case Arc(centre, radius, start, sweep):
            return Arc(_r2(centre), _r(radius), 0.0 if sweep >= 360.0 else _r(start), _r(sweep))
        case EllipseArc(centre, major, ratio, start, sweep):
            return EllipseArc(_r2(centre), _r2(major), round(ratio, 9), 0.0 if sweep >= 360.0 else _r(start), _r(sweep))
        case Spline(points):
            forward = tuple(_r2(p) for p in points)
            return Spline(min(forward, forward[::-1]))


def _r(value: float) -> float:
    return round(value, 6) + 0.0


def _r2(point: Vec2) -> Vec2:
    return (_r(point[0]), _r(point[1]))
