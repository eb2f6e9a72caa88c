"""The work as it stands before a set-up: what of it is machined, how thick the skin still is, and what shows from a side.

Looked at from any direction by a grid of parallel rays against the finished
part; a face that is still rough stands out by its mean stock. Lengths mm; hit
points in the part frame. Knows nothing of vises, straps or features' rows.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np

from geom.analytic import Floats, Ints
from geom.datum import Zero, zero_facing
from geom.part import Part, PartFace
from geom.placement import Placement
from geom.rays import skin_of
from geom.space import Frame, Vec3, cross, dot, frame_facing, scale
from geom.stock import StockReport

_ACROSS: Final = 56
"""About how many rays lie across the part's longest side."""

_SHIFT: Final = (0.31, 0.43)
"""The grid lies off the zero by these shares of its step, so that no ray runs along an edge on a round figure."""


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """What shows of the part from one side.

    Attributes:
        points: (n, 3) where the rays first meet it, part frame.
        face: (n,) number of the part face met, in the part's order.
        step: of the grid.
    """

    points: Floats = field(repr=False)
    face: Ints = field(repr=False)
    step: float


@dataclass(frozen=True, eq=False)
class Work:
    """The part, its stock and its zero, with looks from every side kept.

    Attributes:
        skin: mean stock over each machined face by name, mm; 0 or more.
    """

    part: Part
    zero: Zero
    skin: Mapping[str, float]

    @cached_property
    def number(self) -> dict[str, int]:
        """Number of each face by its name."""
        return {face.name: i for i, face in enumerate(self.part.faces)}

    @cached_property
    def _owner(self) -> Ints:
        owner = np.full(len(self.part.finished.surfaces), -1)
        for i, face in enumerate(self.part.faces):
            owner[list(face.surfaces)] = i
        return owner

    @cached_property
    def _sights(self) -> dict[Vec3, Sight]:
        return {}

    @cached_property
    def step(self) -> float:
        """Step of the grids of rays: a round figure by the part's size."""
        return max(0.5, round(2.0 * self.part.finished.size / _ACROSS) / 2.0)

    def frame(self, up: Vec3) -> Frame:
        """Return the frame of the zero seen with `up` to the spindle."""
        return zero_facing(self.zero, up).frame

    def sight(self, side: Vec3) -> Sight:
        """Return what shows from a side: the rays run against `side`."""
        key = tuple(round(c, 9) + 0.0 for c in side)
        if key not in self._sights:
            self._sights[key] = self._seen(self.frame(side))  # type: ignore[index]
        return self._sights[key]  # type: ignore[index]

    def _seen(self, frame: Frame) -> Sight:
        skin = skin_of(self.part.finished)
        corners = frame.local_points(skin.mesh.vertices)
        low, high = corners.min(axis=0), corners.max(axis=0)
        lines = [_line(float(low[i]), float(high[i]), self.step, _SHIFT[i]) for i in (0, 1)]
        grid = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 2)
        start = frame.part_points(np.column_stack([grid, np.full(len(grid), high[2] + 1.0)]))
        down = np.tile(np.array(scale(frame.z, -1.0)), (len(grid), 1))
        hits = skin.first(start, down)
        met = hits.face >= 0
        points = start[met] + hits.distance[met, None] * down[met]
        return Sight(points, self._owner[hits.face[met]], self.step)

    def thickness(self, done: frozenset[str]) -> Floats:
        """Return how far each part face still stands out, mm, by number: 0 once it is machined or where it stays as cast."""
        return np.array([0.0 if self.is_machined(face, done) else self.skin.get(face.name, 0.0) for face in self.part.faces])

    def is_machined(self, face: PartFace, done: frozenset[str]) -> bool:
        """Tell whether a face is a cut surface once some features are made."""
        return face.state != "as cast" and (face.hole or face.name) in done


def work_of(part: Part, stock: StockReport, zero: Zero, placement: Placement | None = None) -> Work:
    """Return the work of a part: each machined face stands out by its mean stock while it is rough.

    Args:
        placement: of the part in the casting as received: then by what that one has on the face.
    """
    skin = {one.name: max(one.stock.mean, 0.0) for one in stock.faces}
    for take in placement.faces if placement else ():
        mean = 0.5 * (take.take_min + take.take_max)
        if math.isfinite(mean):
            skin[take.name] = max(mean, 0.0)
    return Work(part, zero, skin)


def _line(low: float, high: float, step: float, shift: float) -> Floats:
    """Return every grid line from low to high; the grid is tied to the zero, so a turned file changes nothing."""
    first, last = np.ceil(low / step - shift), np.floor(high / step - shift)
    return np.asarray((np.arange(first, last + 1) + shift) * step, dtype=float)


def heights(work: Work, sight: Sight, side: Vec3, done: frozenset[str]) -> Floats:
    """Return how far out each seen point stands along `side` from the zero, skin counted, (n,)."""
    thick = np.append(work.thickness(done), 0.0)[sight.face]
    return np.asarray((sight.points - np.array(work.zero.frame.origin)) @ np.array(side) + thick)


def turned(work: Work, up: Vec3, away: Vec3) -> Frame:
    """Return the set-up frame with Z up and Y along `away`, from the zero."""
    return frame_facing(work.zero.frame.origin, up, cross(away, up))


def level(face: PartFace, up: Vec3, work: Work) -> float:
    """Return how high a level plane face lies above the zero along `up`, mm, finished."""
    return dot(face.origin, up) - dot(work.zero.frame.origin, up)
