"""The lanes a cutter runs side by side to clear a face, seen from above.

Lanes run left to right, from the nearest back, or front to back, from the
right: the metal is on the left of the move, so the cutter is fed against its
turn and backlash is held (common practice). They start and end clear of the
metal, and stop short of what of the finished part stands up beside the face; a
wall that is machined later keeps a finishing cut, one that stays as cast is
not touched. Lengths mm, set-up frame. Knows nothing of depths or of rows.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geom.cutters.cutter_choice import STEPOVER, passes_wide
from geom.kernel.extent import face_box
from geom.looks.holder import HOLDER_RADIUS
from geom.model.part import PartFace
from geom.passes.scene import Scene
from geom.rays.analytic import Floats
from geom.shop.records import Cutter
from geom.tasks.corners import widest_in
from geom.tasks.face_rows import stands_upright
from geom.tasks.reach import Flat, outline, standing, top_over
from geom.tolerance import SAME_AXIS

_BESIDE: Final = 8.0
"""mm beyond a face to which lanes also take the casting's metal away: about the most stock that a side carries."""

_LEVEL: Final = 0.02
"""mm: metal that stands above a face by less is its own facets' noise."""

_KEEPS: Final = (0.5, 0.1)
"""mm that lanes keep off what stands up beside a face: as a rule, and where else the face would not be reached."""

KEPT_OFF: Final = _KEEPS[0] + 0.1
"""mm at most that lanes leave on a machined wall beside a face."""

MISSED: Final = 0.005
"""Share of a face that lanes may leave in its corners before a smaller cutter is looked for."""

_SLIVER: Final = 0.1
"""mm: what is left uncut and is narrower is the roundness of outlines."""

_ROUND: Final = {"mm": (0.5, 0.05), "inch": (0.508, 0.0508)}
"""mm: the round figures at which a lane lies or ends: where it has room, and where it is cut short."""

_ONE_LANE: Final = 0.9
"""Share of a cutter's diameter up to which it clears a width in one lane down the middle."""

_EDGED: Final = 0.9
"""Share of its diameter that a cutter along a wall surely clears of the floor at its foot."""

_MOST_LANES: Final = 60

Way: TypeAlias = Literal["x", "y"]
_Span: TypeAlias = tuple[float, float, float]
"""A lane along X: its Y, and from which to which X."""

_WAYS: Final[tuple[Way, Way]] = ("x", "y")


@dataclass(frozen=True, slots=True)
class Lane:
    """One straight move of the cutter's centre, from start to end; `short`: it ends at what stands up."""

    start: Flat
    end: Flat
    short: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What lanes have to clear, what they may not meet, and what metal is there, all seen from above.

    Attributes:
        own: the face. target: the face and what the casting carries beside it. walls: the finished part and steel above it.
        raw: the casting's metal above it. edged: what the cutter that runs along its walls clears at the same height.
    """

    own: BaseGeometry = field(repr=False)
    target: BaseGeometry = field(repr=False)
    walls: BaseGeometry = field(repr=False)
    raw: BaseGeometry = field(repr=False)
    edged: BaseGeometry = field(repr=False)

    @property
    def width(self) -> float:
        """Lesser of the two ways across what is to be cleared."""
        x0, y0, x1, y1 = self.target.bounds
        return float(min(x1 - x0, y1 - y0))

    def turned(self, turn: "_Turned") -> "Ground":
        """Return it as lanes along one axis see it."""
        return Ground(*(turn.shape(one) for one in (self.own, self.target, self.walls, self.raw, self.edged)))


@dataclass(frozen=True, slots=True)
class LanePlan:
    """Lanes of one cutter.

    Attributes:
        step: from lane to lane.
        missed: share of the face that they do not reach.
        plunges: a lane starts in metal.
        keep: how far they stay off what stands up.
    """

    cutter: Cutter
    way: Way
    lanes: tuple[Lane, ...]
    step: float
    missed: float
    plunges: bool
    keep: float


def ground_of(face: PartFace, scene: Scene, level: float) -> Ground:
    """Return what lies about a face at a height; the same record for another set-up in which that looks the same."""
    steel = tuple(box for box in scene.boxes if box.high[2] > level + _LEVEL)
    edges = tuple(edge.name for edge in scene.part.machined if _stands_at(edge, scene, level))
    return scene.known(("ground", scene.frame, face.name, steel, edges), lambda: _ground(face, scene, level, edges))


def _ground(face: PartFace, scene: Scene, level: float, edges: Sequence[str]) -> Ground:
    own = outline(scene.seen, face.surfaces)
    x0, y0, x1, y1 = own.bounds
    about = _BESIDE + 100.0
    low, high = (x0 - about, y0 - about), (x1 + about, y1 + about)
    walls = standing(scene.barred, low, high, level + _LEVEL)
    raw = standing(scene.raw, low, high, level + _LEVEL)
    near = raw.difference(walls).intersection(own.buffer(_BESIDE))
    parts = [part for part in shapely.get_parts(near) if part.intersects(own)]
    strips = [_strip(edge, scene) for edge in scene.part.machined if edge.name in edges]
    return Ground(own, shapely.union_all([own, *parts]), walls, raw, shapely.union_all(strips))


def _stands_at(face: PartFace, scene: Scene, level: float) -> bool:
    """Tell whether a face is an upright one of this set-up that ends below at a height."""
    if face.name not in scene.features or not stands_upright(face, scene.frame.z):
        return False
    return abs(face_box(scene.part.finished, face.surfaces, scene.frame)[0][2] - level) <= SAME_AXIS


def _strip(face: PartFace, scene: Scene) -> BaseGeometry:
    """Return the strip beside an upright face that the cutter along it clears."""
    low, high = face_box(scene.part.finished, face.surfaces, scene.frame)
    wide = min(scene.use.cutter, widest_in(face, scene.part, scene.frame.z))
    return shapely.box(*low[:2], *high[:2]).buffer(_EDGED * wide)


def reach_past(scene: Scene, ground: Ground, level: float) -> float:
    """Return how far the cutter has to stick out of its holder past what stands about the face."""
    x0, y0, x1, y1 = ground.own.bounds
    low, high = (x0 - HOLDER_RADIUS, y0 - HOLDER_RADIUS), (x1 + HOLDER_RADIUS, y1 + HOLDER_RADIUS)
    if ground.walls.distance(ground.own) > HOLDER_RADIUS:
        return 0.0
    return max(top_over(scene.barred, low, high) - level, 0.0)


# --- lanes ------------------------------------------------------------------


def _barred(ground: Ground, radius: float, keep: float, run_out: float) -> BaseGeometry:
    """Return where a cutter's centre may not go, as far as its lanes reach."""
    x0, y0, x1, y1 = ground.target.bounds
    about = 2.0 * radius + 2.0 * run_out + keep + _BESIDE
    near = ground.walls.intersection(shapely.box(x0 - about, y0 - about, x1 + about, y1 + about))
    return near.buffer(radius + keep, quad_segs=32)


def leaves_corners(cutter: Cutter, ground: Ground) -> bool:
    """Tell whether a cutter cannot reach the whole face, wherever its lanes run: it is too wide for the corners."""
    radius = 0.5 * cutter.diameter
    if ground.walls.is_empty or not ground.own.area:
        return False
    barred = _barred(ground, radius, _KEEPS[1], radius)
    about = shapely.box(*ground.own.buffer(radius).bounds)
    reached = about.difference(barred).buffer(radius + 0.5 * _SLIVER, quad_segs=32)
    return _missed(ground.own.difference(ground.edged), ground.own.area, reached, barred, radius) > MISSED


def best_lanes(cutter: Cutter, scene: Scene, ground: Ground) -> LanePlan | None:
    """Return the better of lanes along X and along Y: reaches more, then fewer, then along X; None where it may not go down.

    Lanes come nearer to what stands up only where they do not reach the face otherwise.
    """
    return scene.known(("lanes", ground, cutter), lambda: _best_lanes(cutter, scene, ground))


def _best_lanes(cutter: Cutter, scene: Scene, ground: Ground) -> LanePlan | None:
    usable: list[LanePlan] = []
    for keep in _KEEPS if not ground.walls.is_empty else _KEEPS[:1]:
        plans = (_lanes(cutter, scene, ground, way, keep) for way in _WAYS)
        usable += [plan for plan in plans if plan is not None and (not plan.plunges or cutter.centre_cutting)]
        if any(plan.missed <= MISSED and not plan.plunges for plan in usable):
            break
    return min(
        usable,
        key=lambda plan: (max(plan.missed, MISSED), plan.plunges, len(plan.lanes), -plan.keep, plan.way),
        default=None,
    )


def _lanes(cutter: Cutter, scene: Scene, ground: Ground, way: Way, keep: float) -> LanePlan | None:
    """Return a cutter's lanes along one axis; None where they would leave the table's travel or reach nothing."""
    radius, run_out = 0.5 * cutter.diameter, scene.use.run_out
    turned = _Turned(way)
    seen = scene.known(("turned", ground, way), lambda: ground.turned(turned))
    target, own = seen.target, seen.own
    forbidden = scene.known(("forbidden", ground, way, cutter.diameter, keep), lambda: _barred(seen, radius, keep, run_out))
    y0, y1 = target.bounds[1::2]
    count = 1 if y1 - y0 <= _ONE_LANE * cutter.diameter else passes_wide(cutter, y1 - y0)
    step, grid = (y1 - y0) / count, _ROUND[scene.use.units]
    over = shapely.box(own.bounds[0], -1e5, own.bounds[2], 1e5)
    free = target.buffer(radius, quad_segs=32).intersection(over).difference(forbidden)
    if count > _MOST_LANES or free.is_empty:
        return None
    places = _places(y0 + 0.5 * step, y1 - 0.5 * step, free.bounds, STEPOVER * cutter.diameter, grid)
    even = _spans(places, radius, run_out, target, own, forbidden, grid)
    swept = _swept(even, radius)
    spans = [*even, *_extra(swept, radius, run_out, own, forbidden, grid)]
    if not spans or _too_long(spans, way, scene):
        return None
    swept = swept if len(spans) == len(even) else _swept(spans, radius)
    metal = seen.raw
    order = sorted(spans, key=lambda s: (round(s[0], 6), s[1]))
    blind = bool((shapely.distance(metal, shapely.points([(a, c) for c, a, _ in order])) < radius - 1e-6).any())
    lanes = tuple(turned.lane(span, short) for span, short in zip(order, _are_short(order, forbidden), strict=True))
    return LanePlan(
        cutter,
        way,
        lanes,
        step,
        _missed(own.difference(seen.edged), own.area, swept, forbidden, radius),
        blind,
        keep,
    )


def _swept(spans: Sequence[_Span], radius: float) -> BaseGeometry:
    """Return what a cutter sweeps along lanes."""
    lines = shapely.linestrings([[(a, c), (b, c)] for c, a, b in spans]) if spans else []
    return shapely.union_all(shapely.buffer(lines, radius, quad_segs=32))


def _are_short(spans: Sequence[_Span], forbidden: BaseGeometry) -> list[bool]:
    """Tell of each lane whether it ends at what stands up."""
    ends = shapely.points([[(a, across), (b, across)] for across, a, b in spans])
    return (shapely.distance(forbidden, ends) < 2.0 * _SLIVER).any(axis=1).tolist()  # type: ignore[no-any-return]


def _places(
    first: float, last: float, free: tuple[float, float, float, float], widest: float, grid: tuple[float, float]
) -> tuple[float, ...]:
    """Return where lanes lie, evenly; the outer ones where they were wanted, or as near as what stands up lets them."""
    low = first if free[1] <= first else float(_out(np.array(free[1] + 0.01), 1, grid[1]))
    high = last if free[3] >= last else float(_out(np.array(free[3] - 0.01), -1, grid[1]))
    if high <= low + grid[1]:
        return (0.5 * (low + high) if high < low or first == last else low,)
    count = math.ceil((high - low) / widest - 1e-9)
    even = [low + (high - low) * i / count for i in range(count + 1)]
    kept = {0: free[1] > first, count: free[3] < last}
    return tuple(at if kept.get(i) else round(at / grid[0]) * grid[0] for i, at in enumerate(even))


def _spans(
    places: Sequence[float],
    radius: float,
    run_out: float,
    target: BaseGeometry,
    own: BaseGeometry,
    forbidden: BaseGeometry,
    grid: tuple[float, float],
) -> list[_Span]:
    """Return where lanes at some places across may run: from clear of the metal to clear of it, or to what stands up."""
    at = np.array(places)
    first, _, last, _ = shapely.bounds(shapely.intersection(target, shapely.box(-1e5, at - radius, 1e5, at + radius))).T
    met = np.flatnonzero(np.isfinite(first))
    at, low, high = at[met], _out(first[met] - radius - run_out, -1, grid[0]), _out(last[met] + radius + run_out, 1, grid[0])
    lines = shapely.linestrings(np.stack([np.column_stack([low, at]), np.column_stack([high, at])], axis=1))
    pieces, lane = shapely.get_parts(shapely.difference(lines, forbidden), return_index=True)
    a, _, b, _ = shapely.bounds(pieces).T
    kept = np.flatnonzero((b - a > 1e-6) & shapely.dwithin(own, pieces, radius))
    a, b, lane = a[kept], b[kept], lane[kept]
    from_, to = np.where(a == low[lane], a, _out(a, 1, grid[1])), np.where(b == high[lane], b, _out(b, -1, grid[1]))
    return list(zip(at[lane].tolist(), from_.tolist(), to.tolist(), strict=True))


def _out(at: Floats, way: int, step: float) -> Floats:
    """Return places moved on to a multiple of a step, in the direction given."""
    return np.asarray(way * np.ceil(way * at / step - 1e-9) * step)


def _extra(
    done: BaseGeometry,
    radius: float,
    run_out: float,
    own: BaseGeometry,
    forbidden: BaseGeometry,
    grid: tuple[float, float],
) -> list[_Span]:
    """Return lanes that reach what evenly spaced ones cannot, beside what stands up: one along each edge of what is left.

    Args:
        done: what those sweep.
    """
    more: list[_Span] = []
    for piece in shapely.get_parts(own.difference(done)):
        _, y0, _, y1 = piece.bounds
        if not _is_real(piece):
            continue
        best = None
        places = (y0 + radius - 0.2, 0.5 * (y0 + y1), y1 - radius + 0.2)
        for across, a, b in _spans(places, radius, run_out, piece, piece, forbidden, grid):
            gain = piece.intersection(shapely.LineString([(a, across), (b, across)]).buffer(radius)).area
            if best is None or gain > best[0] + 1e-6:
                best = (gain, across, a, b)
        if best is not None and best[0] > 0.2 * piece.area and len(more) < _MOST_LANES:
            more.append(best[1:])
    return more


def _is_real(piece: BaseGeometry) -> bool:
    return not piece.buffer(-0.5 * _SLIVER).is_empty


def _missed(own: BaseGeometry, area: float, swept: BaseGeometry, forbidden: BaseGeometry, radius: float) -> float:
    """Return the share of a face that stays uncut, but for the strip that lanes keep off what stands up."""
    beside = forbidden.buffer(-radius + 0.1, quad_segs=32)
    left = [piece for piece in shapely.get_parts(own.difference(swept).difference(beside)) if _is_real(piece)]
    return float(sum(piece.area for piece in left) / area) if area else 0.0


def _too_long(spans: Sequence[_Span], way: Way, scene: Scene) -> bool:
    along, over = scene.shop.mill.travel[:2] if way == "x" else scene.shop.mill.travel[1::-1]
    return (
        max(b for _, _, b in spans) - min(a for _, a, _ in spans) > along
        or max(c for c, _, _ in spans) - min(c for c, _, _ in spans) > over
    )


@dataclass(frozen=True, slots=True)
class _Turned:
    """Lanes along Y are lanes along X with the work turned a quarter: X = y, Y = -x."""

    way: Way

    def shape(self, shape: BaseGeometry) -> BaseGeometry:
        """Return a shape as the lanes see it."""
        return shape if self.way == "x" else shapely.transform(shape, lambda p: p[:, ::-1] * [1.0, -1.0])

    def lane(self, span: _Span, short: bool) -> Lane:
        """Return a lane in the set-up frame."""
        across, a, b = (round(v, 6) + 0.0 for v in span)
        ends = ((a, across), (b, across)) if self.way == "x" else ((-across + 0.0, a), (-across + 0.0, b))
        return Lane(*ends, short)
