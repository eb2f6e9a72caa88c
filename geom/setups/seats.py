"""What the work may sit on with one side up: level faces that look down, and the points that hold up a rough one.

Heights mm above the zero along the set-up's up. Knows nothing of jaws or straps.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from geom.model.part import PartFace
from geom.rays.analytic import Floats, Ints
from geom.setups.clamp_rules import Flat, hull, mass_is_over, seat_first
from geom.setups.work import Sight, Work
from geom.space import Frame, Vec3, dot, scale
from geom.tolerance import SAME_DIRECTION

_LEAST_POINTS: Final = 6
"""A seat must be met by this many rays from below."""

_LEVEL: Final = 0.3
"""mm: what lies this close to the lowest metal is the lowest metal: two skins of one height."""


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """A face that can sit down.

    Attributes:
        level: its height, skin counted, above the zero along up (mostly below 0).
        hang: how far other metal hangs below it.
        spots: (k, 3) points of it that show from below, part frame.
        over: whether the centre of mass lies over it.
        merit: least is best.
    """

    face: PartFace
    machined: bool
    level: float
    hang: float
    spots: Floats = field(repr=False)
    over: bool
    merit: tuple[float, ...]


def seats(work: Work, up: Vec3, done: frozenset[str], first: bool) -> list[Seat]:
    """Return the faces that can sit down with `up` to the spindle, best first."""
    below = scale(up, -1.0)
    sight = work.seen(below, done)
    return work.known(("seats", sight, up, first), lambda: _seats(work, up, done, first, sight)) if len(sight.out) else []


def _seats(work: Work, up: Vec3, done: frozenset[str], first: bool, sight: Sight) -> list[Seat]:
    found = [seat for n in looking(work, scale(up, -1.0)) if (seat := _seat(work, up, done, first, sight, n))]
    return sorted(found, key=lambda seat: (seat.merit, seat.face.name))


def looking(work: Work, side: Vec3) -> list[int]:
    """Return the numbers of the plane faces that look exactly one way and are no hole's floor."""
    return work.known(("looking", side), lambda: _looking(work, side))


def _looking(work: Work, side: Vec3) -> list[int]:
    return [
        i
        for i, face in enumerate(work.part.faces)
        if face.kind == "plane" and face.hole is None and face.normal is not None and dot(face.normal, side) > 1 - SAME_DIRECTION**2
    ]


def _seat(work: Work, up: Vec3, done: frozenset[str], first: bool, sight: Sight, number: int) -> Seat | None:
    mine = np.flatnonzero(sight.face == number)
    if mine.size < _LEAST_POINTS:
        return None
    face = work.part.faces[number]
    level = float(np.median(sight.out[mine]))
    own, hang = -level, float(sight.out.max()) - level
    hang = 0.0 if hang <= _LEVEL else hang
    spots = sight.points[mine]
    machined = work.is_machined(face, done)
    frame = work.frame(up)
    over = mass_is_over(flat(spots[rim(spots, frame)], frame), middle(work, frame))
    merit = (float(not over), *seat_first(machined, face.state == "as cast", hang, round(mine.size * work.step**2, 0), first))
    return Seat(face, machined, own, hang, spots, over, merit)


def flat(points: Floats, frame: Frame) -> list[Flat]:
    """Return points seen from above."""
    return [(x, y) for x, y in np.round(frame.local_points(points)[:, :2], 6).tolist()]


def middle(work: Work, frame: Frame) -> Flat:
    """Return where the casting's centre of mass stands, seen from above; what is cut off later hardly moves it."""
    x, y, _ = frame.local(work.part.finished.centre)
    return (x, y)


def corner_spots(points: Floats, frame: Frame, most: int = 10) -> Ints:
    """Return the numbers of a few points that span a set: its outline, thinned by taking the farthest next."""
    outer = rim(points, frame)
    seen = flat(points[outer], frame)
    number = {p: i for i, p in reversed(list(enumerate(seen)))}
    ring = [number[p] for p in hull(seen)] if len(seen) > 2 else list(range(len(seen)))
    where = np.array([seen[i] for i in ring]).reshape(-1, 2)
    chosen = [0] if ring else []
    away = np.full(len(ring), np.inf)
    while len(chosen) < min(most, len(ring)):
        away = np.minimum(away, np.hypot(*(where - where[chosen[-1]]).T))
        chosen.append(int(np.argmax(np.round(away, 4))))
    return np.array([outer[ring[c]] for c in chosen], dtype=np.int64)


def seat_corners(work: Work, seat: Seat, frame: Frame) -> list[Flat]:
    """Return a few points that span a seat, seen from above."""
    return work.known(("corners", seat, frame), lambda: flat(seat.spots[corner_spots(seat.spots, frame)], frame))


def rim(points: Floats, frame: Frame) -> Ints:
    """Return the numbers of the points that are first or last on their line of the grid: all that an outline needs."""
    x, y, _ = np.round(frame.local_points(points), 6).T
    order = np.lexsort((y, x))
    edge = np.flatnonzero(np.diff(x[order])) if len(order) else np.zeros(0, dtype=np.int64)
    ends = np.union1d(np.concatenate([[0], edge + 1]), np.concatenate([edge, [len(order) - 1]])) if len(order) else edge
    return np.asarray(order[ends.astype(np.int64)], dtype=np.int64)
