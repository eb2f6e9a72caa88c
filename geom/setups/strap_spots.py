"""Where a strap or a clamping stud can press the work, and what lies under it.

Seen along one direction: straps press against it, something stands behind. A
spot is a patch of one plane face, wide enough for a strap's nose, with metal
below that rests on a plane face: nothing is clamped over air. Lengths mm.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from geom.model.part import PartHole
from geom.rays.analytic import Bools, Floats, Ints
from geom.setups.clamp_rules import LEAST_BOLT, STRAP
from geom.setups.seats import looking
from geom.setups.work import Sight, Work
from geom.space import Frame, Vec3, cross, norm, scale
from geom.tolerance import SAME_DIRECTION

_FULL: Final = 0.8
"""Share of the rays in a patch that must meet its face: a grid counts a disc no better."""

_RIM: Final = 5.0
"""mm: middle of the ring about a hole that a washer bears on."""


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Places to press, and what is under each.

    Attributes:
        at: (n, 3) in the frame looked along, z = height pressed on, skin counted.
        face: (n,) number of the face pressed on.
        under: (n,) number of the face that rests below; foot: (n,) its height.
    """

    at: Floats = field(repr=False)
    face: Ints = field(repr=False)
    under: Ints = field(repr=False)
    foot: Floats = field(repr=False)

    def of(self, rows: Bools) -> "Spots":
        """Return some of the spots."""
        return Spots(self.at[rows], self.face[rows], self.under[rows], self.foot[rows])


def strap_spots(work: Work, frame: Frame, done: frozenset[str]) -> Spots:
    """Return the grid points where a strap can press down along the frame's Z."""
    over, under = work.seen(frame.z, done), work.seen(scale(frame.z, -1.0), done)
    return work.known(("straps", frame, over, under), lambda: _strap_spots(work, frame, over, under))


def _strap_spots(work: Work, frame: Frame, over: Sight, under: Sight) -> Spots:
    below = scale(frame.z, -1.0)
    top, feet = frame.local_points(over.points), -under.out
    grid = work.frame(frame.z).local_points(over.points)[:, :2]
    wide = _wide_enough(grid, over.face, looking(work, frame.z), work.step)
    beneath = work.frame(below)
    row = _nearest(beneath.local_points(over.points)[:, :2], beneath.local_points(under.points)[:, :2], work.step)
    down = np.isin(under.face[row], looking(work, below)) & (row >= 0)
    good = wide & down
    return Spots(top[good], over.face[good], under.face[row][good], feet[row][good])


def _nearest(points: Floats, grid: Floats, step: float) -> Ints:
    """Return the number of the grid point nearest to each point, (n,); -1 where none is within a step.

    Args:
        grid: (m, 2) some of the points of a square grid along X and Y.
    """
    row, best = np.full(len(points), -1), np.full(len(points), step)
    if not len(grid):
        return row
    first = grid.min(axis=0)
    at, cell = (np.rint((some - first) / step).astype(np.int64) for some in (grid, points))
    number = np.full(at.max(axis=0) + 1, -1)
    number[tuple(at.T)] = np.arange(len(grid))
    for shift in np.stack(np.meshgrid((-1, 0, 1), (-1, 0, 1)), axis=-1).reshape(-1, 2):
        where = cell + shift
        inside = np.flatnonzero(((where >= 0) & (where < number.shape)).all(axis=1))
        found = number[tuple(where[inside].T)]
        inside, found = inside[found >= 0], found[found >= 0]
        away = np.hypot(*(points[inside] - grid[found]).T)
        nearer = away <= best[inside]
        row[inside[nearer]], best[inside[nearer]] = found[nearer], away[nearer]
    return row


def _wide_enough(grid: Floats, face: Ints, level: list[int], step: float) -> Bools:
    """Return at which points a whole nose lies on one of the level faces.

    Args:
        grid: (n, 2) in the frame of the rays.
    """
    at = np.rint((grid - grid.min(axis=0)) / step).astype(np.int64) if len(grid) else np.zeros((0, 2), dtype=np.int64)
    reach = int(STRAP / step)
    offset = np.arange(-reach, reach + 1) * step
    disc = np.hypot(*np.meshgrid(offset, offset)) <= STRAP
    wide = np.zeros(len(grid), dtype=np.bool_)
    for number in level:
        mine = np.flatnonzero(face == number)
        if mine.size:
            shows = np.zeros(at.max(axis=0) + 1 + 2 * reach, dtype=np.bool_)
            shows[tuple((at[mine] + reach).T)] = True
            about = np.lib.stride_tricks.sliding_window_view(shows, disc.shape)[tuple(at[mine].T)]
            wide[mine] = np.count_nonzero(about[:, disc], axis=1) >= _FULL * np.count_nonzero(disc)
    return wide


@dataclass(frozen=True, slots=True)
class Stud:
    """A hole that a clamping stud goes through.

    Attributes:
        face: name of the plane that its washer bears on.
        at: in the frame looked along: z = height of that plane.
        foot: height of the metal about its other end.
    """

    hole: PartHole
    face: str
    at: Vec3
    under: int
    foot: float


def studs(work: Work, frame: Frame, done: frozenset[str]) -> list[Stud]:
    """Return the through holes along the frame's Z that are open by now and have level metal about both ends."""
    below = scale(frame.z, -1.0)
    over, under = work.seen(frame.z, done), work.seen(below, done)
    top, bottom = frame.local_points(over.points), frame.local_points(under.points)
    feet = -under.out
    found = []
    for hole in work.part.holes:
        if hole.through and norm(cross(hole.axis, frame.z)) < SAME_DIRECTION and open_width(work, hole, done) >= LEAST_BOLT:
            x, y, _ = frame.local(hole.centre)
            rim = _ring(top, over.face, (x, y), hole.diameter / 2.0)
            foot = _ring(bottom, under.face, (x, y), hole.diameter / 2.0)
            if rim is not None and foot is not None and foot in looking(work, below):
                z = float(np.median(top[(over.face == rim) & _close(top, (x, y), hole.diameter), 2]))
                level = float(np.median(feet[(under.face == foot) & _close(bottom, (x, y), hole.diameter)]))
                found.append(Stud(hole, work.part.faces[rim].name, (x, y, z), foot, level))
    return found


def _close(points: Floats, at: tuple[float, float], diameter: float) -> Bools:
    return np.asarray(np.hypot(*(points[:, :2] - np.array(at)).T) < diameter / 2.0 + 2.0 * _RIM)


def open_width(work: Work, hole: PartHole, done: frozenset[str]) -> float:
    """Return how wide a hole is open before a set-up: its own width once made, the core's before, 0 in solid metal."""
    if hole.name in done:
        return hole.diameter
    if hole.source == "solid":
        return 0.0
    skins = [
        work.bore_skin(f.name) for f in work.part.faces if f.hole == hole.name and f.kind == "cylinder" and f.state == "machined"
    ]
    return hole.diameter - 2.0 * min(skins, default=hole.diameter)


def _ring(points: Floats, face: Ints, at: tuple[float, float], radius: float) -> int | None:
    """Return the face that lies about a hole's end; None where there are several, or none."""
    away = np.hypot(*(points[:, :2] - np.array(at)).T)
    ring = face[(away > radius + 0.5) & (away < radius + 2.0 * _RIM)]
    if ring.size < 4:
        return None
    numbers, counts = np.unique(ring, return_counts=True)
    best = int(np.argmax(counts))
    return int(numbers[best]) if numbers[best] >= 0 and counts[best] >= 0.6 * ring.size else None
