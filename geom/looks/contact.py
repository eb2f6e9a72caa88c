"""Where a finder that moves along an axis meets the work, as rays on its skin.

The work is the casting (rough) or the finished part (machined), seen in a
set-up's frame; with a casting as received, the part lies in it as placed and
the skin is off by what was measured. A finder is an upright cylinder: it meets
whatever stands out furthest along its length. Lengths mm, set-up frame. Knows
nothing of which faces are worth touching.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from geom.looks.holder import CLEAR, HOLDER_RADIUS
from geom.model.part import Part
from geom.rays.analytic import Bools, Floats, Ints, dots
from geom.rays.rays import Skin, facets_box, skin_of
from geom.rigid import Rigid
from geom.rows.records import Box, Towards
from geom.space import Frame, Vec3

if TYPE_CHECKING:
    from geom.place.castings import Placed

WAYS: Final[dict[Towards, Vec3]] = {
    "+x": (1.0, 0.0, 0.0),
    "-x": (-1.0, 0.0, 0.0),
    "+y": (0.0, 1.0, 0.0),
    "-y": (0.0, -1.0, 0.0),
    "-z": (0.0, 0.0, -1.0),
}

_SQUARE: Final = math.cos(math.radians(25.0))
"""A finder slides along a wall that stands further than 25 degrees from square to its way (common practice)."""

_LEVEL: Final = math.cos(math.radians(10.0))
"""Skin that leans more than this is not level: a gauge slides off (common practice)."""

_STEP: Final = 0.25
"""Heights, mm, at which a finder's side is looked at."""

_LEANS: Final = 0.05
"""A wall that stands out by less than this, mm, along a finder is met by its end: nobody sees the difference on raw skin."""

_GRAZES: Final = 1e-6
"""A face that a finder runs along does not stop it: a ray in the plane of a face says it meets it at once."""

_BODY: Final = (0.9, 0.5)
"""Share of a finder's radius that must be clear of metal above its end; of skin as received, known along its normal only, less."""

_OVERHANG: Final = 3.0
"""What stands out further than this, mm, above a finder's end is another part of the work, not the same wall leaning out."""

_FAR: Final = 10.0
"""A scanned skin further than this, mm, from the drawn one is another face."""

_RING: Final = 12
_RING_AT: Final = np.array([(math.cos(math.tau * i / _RING), math.sin(math.tau * i / _RING)) for i in range(_RING)])
"""Rays round a finder and its holder."""

_BY_EDGE: Final = -2
"""What `Skin.showing` says where facets do not tell which face comes first."""

_ASIDE: Final = 1.0
"""mm: a ray that passes by the facets' box this far away meets nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Met:
    """What rays meet first, one row each.

    Attributes:
        at, out: (n, 3) where, and the outward normal there; NaN where nothing is met.
        surface: (n,) of the casting (rough) or of the finished part (machined); -1 where nothing is met.
    """

    at: Floats
    out: Floats
    surface: Ints

    def of(self, rows: Ints | Bools) -> "Met":
        """Return some of them."""
        return Met(self.at[rows], self.out[rows], self.surface[rows])


@dataclass(frozen=True, eq=False)
class Standing:
    """The work as it stands under the spindle.

    Attributes:
        placed: the casting as received; None for the drawn one.
    """

    part: Part
    frame: Frame
    placed: "Placed | None" = field(default=None, repr=False)

    @cached_property
    def box(self) -> tuple[Vec3, Vec3]:
        """Least and greatest corner of the casting."""
        moved = self._moved(False)
        return facets_box(self.part.casting, self.frame if moved is None else moved.frame(self.frame))

    @cached_property
    def _about(self) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
        """From where to where rays can meet anything: of the casting, and of the finished part."""
        casting, finished = self.box, facets_box(self.part.finished, self.frame)
        (a, b), (c, d) = ((np.array(low) - _ASIDE, np.array(high) + _ASIDE) for low, high in (casting, finished))
        return (a, b), (c, d)

    def local(self, point: Vec3, machined: bool) -> Vec3:
        """Return where a point of the finished part (machined) or of the drawn casting (rough) lies."""
        if machined or self.placed is None:
            return self.frame.local(point)
        return self.frame.local(self.placed.placement.pose.inverse().point(point))

    def met(self, starts: Floats, ways: Floats, machined: bool, wanted: Collection[int] | None = None) -> Met:
        """Return what rays from air meet first.

        Args:
            starts: (n, 3); ways: (n, 3) or one for all (3,), of `WAYS`.
            machined: the finished part stands there, not the casting.
            wanted: surfaces that are looked for: a ray that meets another first counts as meeting nothing; None for all.
        """
        ways = np.broadcast_to(ways, starts.shape)
        rows, origins, directions, distance, surface = self._first(starts, ways, machined, wanted)
        moved, skin = self._moved(machined), self._skin(machined)
        at, out, number = np.full(starts.shape, np.nan), np.full(starts.shape, np.nan), np.full(len(starts), -1)
        if rows.size:
            drawn = origins + distance[:, None] * directions
            normal = skin.facing(drawn, surface)
            if self.placed is not None and not machined:
                distance = self._as_received(origins, directions, distance, drawn, normal, surface)
            own = np.array([self.frame.x, self.frame.y, self.frame.z])
            at[rows] = starts[rows] + distance[:, None] * ways[rows]
            out[rows] = (normal if moved is None else moved.inverse().directions(normal)) @ own.T
            number[rows] = surface
        return Met(at, out, number)

    def surfaces(self, starts: Floats, ways: Floats, machined: bool) -> Ints:
        """Return the surface (n,) that rays from air meet first as far as facets tell: -1 for none, -2 by an edge; see `met`."""
        number = np.full(len(starts), -1)
        rows, origins, directions = self._drawn(starts, np.broadcast_to(ways, starts.shape), machined)
        number[rows] = self._skin(machined).showing(origins, directions)
        return number

    def _first(
        self, starts: Floats, ways: Floats, machined: bool, wanted: Collection[int] | None
    ) -> tuple[Ints, Floats, Floats, Floats, Ints]:
        """Return the rows of rays that meet the drawn skin, their origins and directions where that is drawn, how far, and what."""
        rows, origins, directions = self._drawn(starts, ways, machined)
        skin, some = self._skin(machined), None if wanted is None else list(wanted)
        if some is not None:
            may = np.flatnonzero(np.isin(skin.showing(origins, directions), [*some, _BY_EDGE]))
            rows, origins, directions = rows[may], origins[may], directions[may]
        hits = skin.first(origins, directions)
        met = (hits.face >= 0) & np.isfinite(hits.distance)
        good = np.flatnonzero(met if some is None else met & np.isin(hits.face, some))
        return rows[good], origins[good], directions[good], hits.distance[good], hits.face[good]

    def _drawn(self, starts: Floats, ways: Floats, machined: bool) -> tuple[Ints, Floats, Floats]:
        """Return the rows of rays that may meet anything, and their origins and directions where the skin is drawn."""
        low, high = self._about[machined]
        rows = np.flatnonzero((((starts >= low) & (starts <= high)) | (np.abs(ways) > 0.5)).all(axis=1))
        own = np.array([self.frame.x, self.frame.y, self.frame.z])
        origins, directions = self.frame.part_points(starts[rows]), ways[rows] @ own
        moved = self._moved(machined)
        return (rows, origins, directions) if moved is None else (rows, moved.points(origins), moved.directions(directions))

    def _skin(self, machined: bool) -> Skin:
        return skin_of(self.part.finished if machined else self.part.casting)

    def _moved(self, machined: bool) -> Rigid | None:
        return None if machined or self.placed is None else self.placed.placement.pose

    def _as_received(self, origins: Floats, directions: Floats, drawn: Floats, at: Floats, out: Floats, surface: Ints) -> Floats:
        """Return the distances moved to the skin as measured."""
        assert self.placed is not None
        received, distance = self.placed.received, drawn.copy()
        if received.scan is not None:
            seen = received.scan.first(origins, directions).distance
            near = np.isfinite(seen) & (np.abs(seen - drawn) < _FAR)
            distance[near] = seen[near]
            return distance
        speed = np.einsum("ij,ij->i", out, directions)
        rows = np.flatnonzero(speed < -0.1)
        if rows.size:
            distance[rows] += received.skin_rows(at[rows], surface[rows])[0] / speed[rows]
        return distance

    def tops(self, xy: Floats, machined: bool = False) -> Floats:
        """Return the height of the highest metal at places (n, 2); -inf where there is none."""
        above = self.box[1][2] + 10.0
        starts = np.column_stack([xy, np.full(len(xy), above)])
        met = self.met(starts, np.array(WAYS["-z"]), machined)
        return np.where(met.surface >= 0, met.at[:, 2], -math.inf)


def sides(standing: Standing, towards: Towards, across: Floats, height: Floats, machined: bool, wanted: Collection[int]) -> Met:
    """Return where some surfaces come first from outside; see `Standing.met`.

    Args:
        across: (n,) the coordinate that stays: Y for a move along X, X for one along Y or Z.
        height: (n,) Z of a sideways move; Y of a move down.
    """
    return standing.met(_from_outside(standing, towards, across, height), np.array(WAYS[towards]), machined, wanted)


def sides_from(standing: Standing, asked: Mapping[Towards, tuple[Floats, Floats]], machined: bool) -> dict[Towards, Met]:
    """Return what comes first from each of some sides, asked for together; see `sides`.

    Args:
        asked: across and height, by way.
    """
    starts = [_from_outside(standing, way, *places) for way, places in asked.items()]
    ways = [np.tile(np.array(WAYS[way]), (len(some), 1)) for way, some in zip(asked, starts, strict=True)]
    met = standing.met(np.concatenate(starts), np.concatenate(ways), machined)
    ends = np.cumsum([len(some) for some in starts])
    return {way: met.of(np.arange(end - len(some), end)) for way, some, end in zip(asked, starts, ends.tolist(), strict=True)}


def showing(standing: Standing, towards: Towards, across: Floats, height: Floats, machined: bool) -> Ints:
    """Return the surface (n,) that comes first from outside, -1 for none, -2 by an edge; see `sides`."""
    return standing.surfaces(_from_outside(standing, towards, across, height), np.array(WAYS[towards]), machined)


def _from_outside(standing: Standing, towards: Towards, across: Floats, height: Floats) -> Floats:
    (low, high), way = standing.box, WAYS[towards]
    lead = next(i for i in range(3) if way[i])
    start = (low[lead] - 10.0) if way[lead] > 0 else (high[lead] + 10.0)
    starts = np.empty((len(across), 3))
    others = [i for i in range(3) if i != lead]
    starts[:, lead], starts[:, others[0]], starts[:, others[1]] = start, across, height
    return starts


def faces_it(met: Met, towards: Towards) -> Bools:
    """Return where a finder on that way does not slide off."""
    least = _LEVEL if towards == "-z" else _SQUARE
    flat = met.out.copy()
    if towards != "-z":
        flat[:, 2] = 0.0
        flat /= np.maximum(np.linalg.norm(flat, axis=1), 1e-9)[:, None]
    upright = np.abs(met.out[:, 2]) < math.sin(math.radians(30.0)) if towards != "-z" else np.ones(len(flat), dtype=np.bool_)
    return np.asarray((flat @ -np.array(WAYS[towards]) >= least) & upright & (met.surface >= 0))


@dataclass(frozen=True, slots=True)
class Contact:
    """A finder at rest against the work.

    Attributes:
        axis: where the finder's axis stands; of a move down, where its end does.
        end: Z of the finder's end.
        meets: where the work is met.
        out: outward normal of the work there.
        leans_out: the work stands out further above, so the finder's side meets it, not its end.
    """

    axis: tuple[float, float]
    end: float
    meets: Vec3
    out: Vec3
    surface: int
    towards: Towards
    leans_out: bool = False

    @property
    def from_zero(self) -> float:
        """How far from zero the work is met, along the axis that moves."""
        return abs(self.meets["xyz".index(self.towards[1:] or "z")])


def contacts(
    standing: Standing,
    towards: Sequence[Towards],
    starts: Floats,
    surfaces: Collection[int],
    radius: float,
    length: float,
    machined: bool,
) -> list[Contact | None]:
    """Return the finder at rest against one of some surfaces, from each start; None where it meets another first, or nothing.

    Exact on planes, and on rounds whose axis the finder moves towards.

    Args:
        towards: the way from each start.
        starts: (n, 3) where its end starts from, in air.
        surfaces: of the casting (rough) or the finished part (machined).
        radius, length: of the finder; both 0 for a move down.
    """
    high = _STEP * np.arange(1 + int(length / _STEP))
    ways = np.repeat(np.array([WAYS[way] for way in towards]), len(high), axis=0)
    spots = np.repeat(starts, len(high), axis=0)
    spots[:, 2] += np.tile(high, len(starts))
    met = standing.met(spots, ways, machined)
    stops = (met.surface >= 0) & (dots(np.nan_to_num(met.out), ways) < -_GRAZES)
    gone = np.where(stops, dots(met.at - spots, ways), math.inf)
    ends = met.of(len(high) * np.arange(len(starts)))
    wanted = np.isin(ends.surface, list(surfaces))
    right = {way: wanted & faces_it(ends, way) for way in dict.fromkeys(towards)}
    found: list[Contact | None] = []
    for i, way in enumerate(towards):
        rows = np.arange(i * len(high), (i + 1) * len(high))
        found.append(_rest(starts[i], np.array(WAYS[way]), met.of(rows), gone[rows], radius, way) if right[way][i] else None)
    return found


def _rest(start: Floats, way: Floats, met: Met, gone: Floats, radius: float, towards: Towards) -> Contact | None:
    """Return the finder at rest, from what its end meets (first row) and its side (the others)."""
    first = 0 if gone[0] <= gone.min() + _LEANS else int(np.argmin(np.round(gone, 6)))
    if gone[0] - gone[first] > _OVERHANG:
        return None
    x, y, z = met.out[0].tolist()
    square = 1.0 if towards == "-z" else -float(way @ met.out[0]) / math.hypot(x, y)
    ax, ay, end = (float(c) + 0.0 for c in start + (gone[first] - radius / square) * way)
    mx, my, mz = (float(c) + 0.0 for c in met.at[first])
    return Contact((ax, ay), end, (mx, my, mz), (x, y, z), int(met.surface[0]), towards, first > 0)


# --- room -------------------------------------------------------------------------


def has_room(
    standing: Standing, touches: Sequence[Contact], radius: float, reach: float, boxes: Sequence[Box], machined: bool = False
) -> list[bool]:
    """Tell of each touch whether the finder and its holder stand clear of the work and of what holds it.

    Args:
        radius, reach: of the finder.
        machined: the face that is touched is, so the casting's skin is gone there.
    """
    free = [_free_of(boxes, touch, radius, reach) for touch in touches]
    asked = [i for i, clear in enumerate(free) if clear]
    if asked:
        work = _clear_of_work(standing, [touches[i] for i in asked], radius, reach, machined)
        for i, clear in zip(asked, work, strict=True):
            free[i] = clear
    return free


def _free_of(boxes: Sequence[Box], touch: Contact, radius: float, reach: float) -> bool:
    x, y = touch.axis
    thin = any(_meets(box, x, y, radius + CLEAR, touch.end) for box in boxes)
    return not thin and not any(_meets(box, x, y, HOLDER_RADIUS + CLEAR, touch.end + reach) for box in boxes)


def _clear_of_work(standing: Standing, touches: Sequence[Contact], radius: float, reach: float, machined: bool) -> list[bool]:
    here, end = np.array([touch.axis for touch in touches])[:, None, :], np.array([touch.end for touch in touches])
    about = here + np.concatenate([0.5 * HOLDER_RADIUS * _RING_AT, HOLDER_RADIUS * _RING_AT])
    close = here + np.concatenate([np.zeros((1, 2)), _BODY[standing.placed is not None] * radius * _RING_AT])
    wide, over = _highest(standing, about, close)
    if machined:
        (over,) = _highest(standing, close, machined=True)
    slack = np.array([touch.towards == "-z" or touch.leans_out for touch in touches])
    return ((wide <= end + reach - CLEAR) & (slack | (over <= end + 1e-6))).tolist()  # type: ignore[no-any-return]


def _highest(standing: Standing, *rings: Floats, machined: bool = False) -> list[Floats]:
    """Return the highest metal over each of some rings (n, k, 2), (n,) for each array of them."""
    tops = standing.tops(np.concatenate(rings, axis=1).reshape(-1, 2), machined).reshape(len(rings[0]), -1)
    ends = np.cumsum([ring.shape[1] for ring in rings])[:-1]
    return [part.max(axis=1) for part in np.split(tops, ends, axis=1)]


def _meets(box: Box, x: float, y: float, radius: float, bottom: float) -> bool:
    """Tell whether an upright cylinder that is open upwards meets a box."""
    dx = max(box.low[0] - x, 0.0, x - box.high[0])
    dy = max(box.low[1] - y, 0.0, y - box.high[1])
    return math.hypot(dx, dy) < radius and bottom < box.high[2]
