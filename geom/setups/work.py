"""The work as it stands before a set-up, as far as it shows from a side.

Looked at by a grid of parallel rays against the casting and the finished part:
where a face is machined by then, or stays as cast, the finished part shows,
elsewhere the casting's skin. What lies beyond a machined plane that bounds the
whole part is gone. Lengths mm; seen points in the part frame. Knows nothing of
vises, straps or features' rows.
"""

import math
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np

from geom.datum.zero import Zero, zero_facing
from geom.model.part import Part, PartFace
from geom.rays.analytic import Bools, Floats, Ints
from geom.rays.rays import skin_of
from geom.space import Frame, Vec3, cross, dot, frame_facing, scale
from geom.stock.report import StockReport
from geom.tolerance import SAME_DIRECTION, SKIN

if TYPE_CHECKING:
    from geom.place.placement import Placement

_ACROSS: Final = 56
"""About how many rays lie across the part's longest side."""

_SHIFT: Final = (0.31, 0.43)
"""The grid lies off the zero by these shares of its step, so that no ray runs along an edge on a round figure."""


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """What shows of the work from one side.

    Attributes:
        points: (n, 3) where the rays first meet it, part frame.
        face: (n,) number of the part face there, or of the one whose skin it is; -1 for skin of no named face.
        out: (n,) how far out along the side from the zero.
    """

    points: Floats = field(repr=False)
    face: Ints = field(repr=False)
    out: Floats = field(repr=False)


@dataclass(frozen=True, slots=True, eq=False)
class _Rays:
    """Rays from one side that meet the casting or the part.

    Attributes:
        start: (n, 3); skin, metal: (n,) distance to casting and part, inf where missed.
        face: (n,) number of the part face met, -1 without one.
        over: (n,) number of the face whose skin the casting's surface is, -1 without one.
    """

    start: Floats = field(repr=False)
    skin: Floats = field(repr=False)
    metal: Floats = field(repr=False)
    face: Ints = field(repr=False)
    over: Ints = field(repr=False)


_Known = TypeVar("_Known")


@dataclass(frozen=True, eq=False)
class Work:
    """The part in its casting, and its zero, with looks from every side kept.

    Attributes:
        drawn: mean stock of each machined face as drawn, mm, by name.
        pose_skin: how much more stock than drawn the casting as received has on each machined face, mm, by name.
    """

    part: Part
    zero: Zero
    drawn: Mapping[str, float] = field(default_factory=dict)
    pose_skin: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def number(self) -> dict[str, int]:
        """Number of each face by its name."""
        return {face.name: i for i, face in enumerate(self.part.faces)}

    @cached_property
    def step(self) -> float:
        """Step of the grids of rays: a round figure by the part's size, seen from the zero: a turned file changes nothing."""
        corners = self.zero.frame.local_points(skin_of(self.part.finished).mesh.vertices)
        size = round(float(np.linalg.norm(np.ptp(corners, axis=0))), 3)
        return max(0.5, round(2.0 * size / _ACROSS) / 2.0)

    @cached_property
    def all_done(self) -> frozenset[str]:
        """Every feature, for looks at the finished part."""
        return frozenset(face.hole or face.name for face in self.part.faces if face.state != "as cast")

    @cached_property
    def _cast(self) -> dict[Vec3, _Rays]:
        return {}

    @cached_property
    def _seen(self) -> dict[tuple[Vec3, frozenset[str]], Sight]:
        return {}

    @cached_property
    def _tells(self) -> dict[Vec3, frozenset[str]]:
        """What is seen from a side changes with these features alone."""
        return {}

    @cached_property
    def _owner(self) -> Ints:
        owner = np.full(len(self.part.finished.surfaces), -1)
        for i, face in enumerate(self.part.faces):
            owner[list(face.surfaces)] = i
        return owner

    @cached_property
    def _bounds(self) -> list[int]:
        """Numbers of the machined planes that nothing of the part stands beyond."""
        return [
            i
            for i, face in enumerate(self.part.faces)
            if face.kind == "plane" and face.state == "machined" and face.normal is not None and self._is_outermost(face)
        ]

    def _is_outermost(self, face: PartFace) -> bool:
        assert face.normal is not None
        corners = skin_of(self.part.finished).mesh.vertices
        return float(((corners - np.array(face.origin)) @ np.array(face.normal)).max()) < SKIN

    def frame(self, up: Vec3) -> Frame:
        """Return the frame of the zero seen with `up` to the spindle."""
        return zero_facing(self.zero, up).frame

    def is_machined(self, face: PartFace, done: frozenset[str]) -> bool:
        """Tell whether a face is a cut surface once some features are made."""
        return face.state != "as cast" and (face.hole or face.name) in done

    @cached_property
    def notes(self) -> dict[object, object]:
        """What other modules have worked out of this work and would else work out again."""
        return {}

    def known(self, key: Hashable, found: Callable[[], _Known]) -> _Known:
        """Return what was worked out of this work under a key, worked out now where nobody has yet."""
        if key not in self.notes:
            self.notes[key] = found()
        return self.notes[key]  # type: ignore[return-value]

    def reach(self, frame: Frame, done: frozenset[str]) -> tuple[float, float]:
        """Return from where to where the work reaches along a frame's X: the casting's own, less what machined planes end."""
        return self.known(("reach", frame, done & self._bounding), lambda: self._reach(frame, done))

    def _reach(self, frame: Frame, done: frozenset[str]) -> tuple[float, float]:
        corners = skin_of(self.part.casting).mesh.vertices
        along = self.known(("along", frame), lambda: frame.local_points(corners)[:, 0])
        low_x, high_x = round(float(along.min()), 6), round(float(along.max()), 6)
        for face in (self.part.faces[i] for i in self._bounds):
            looks = 0.0 if face.normal is None or not self.is_machined(face, done) else dot(face.normal, frame.x)
            x = frame.local(face.origin)[0]
            low_x = max(low_x, x) if looks < -1.0 + SAME_DIRECTION**2 else low_x
            high_x = min(high_x, x) if looks > 1.0 - SAME_DIRECTION**2 else high_x
        return low_x, high_x

    @cached_property
    def _bounding(self) -> frozenset[str]:
        return self._features(self._bounds)

    def _features(self, faces: Iterable[int]) -> frozenset[str]:
        """Return the features that some faces, by number, are made by."""
        return frozenset(self.part.faces[i].hole or self.part.faces[i].name for i in faces if i >= 0)

    def bore_skin(self, name: str) -> float:
        """Return the mean stock in a bore, mm."""
        return self.drawn.get(name, 0.0) + self.pose_skin.get(name, 0.0)

    def seen(self, side: Vec3, done: frozenset[str]) -> Sight:
        """Return what shows from a side once some features are made: the same record as long as nothing that shows changes."""
        way: Vec3 = tuple(round(c, 9) + 0.0 for c in side)  # type: ignore[assignment]
        if way not in self._cast:
            rays = self._cast[way] = self._rays(self.frame(side))
            self._tells[way] = self._bounding | self._features(np.unique(np.concatenate([rays.face, rays.over])).tolist())
        told = done & self._tells[way]
        if (way, told) not in self._seen:
            self._seen[way, told] = self._now(self._cast[way], side, told)
        return self._seen[way, told]

    def _rays(self, frame: Frame) -> _Rays:
        finished, casting = skin_of(self.part.finished), skin_of(self.part.casting)
        corners = frame.local_points(np.concatenate([finished.mesh.vertices, casting.mesh.vertices]))
        low, high = corners.min(axis=0), corners.max(axis=0)
        lines = [_line(float(low[i]), float(high[i]), self.step, _SHIFT[i]) for i in (0, 1)]
        grid = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 2)
        start = frame.part_points(np.column_stack([grid, np.full(len(grid), high[2] + 1.0)]))
        down = np.tile(np.array(scale(frame.z, -1.0)), (len(grid), 1))
        cast, cut = casting.first(start, down), finished.first(start, down)
        face = np.where(cut.face >= 0, self._owner[np.maximum(cut.face, 0)], -1)
        skin, metal = (np.where(hits.face >= 0, hits.distance, np.inf) for hits in (cast, cut))
        met = (cast.face >= 0) | (cut.face >= 0)
        stock = np.subtract(metal, skin, out=np.full(len(skin), np.inf), where=np.isfinite(skin))
        over = self._named(cast.face, face, stock)
        return _Rays(start[met], skin[met], metal[met], face[met], over[met])

    def _named(self, surface: Ints, face: Ints, stock: Floats) -> Ints:
        """Return for each ray the face whose skin its casting surface is: the one that lies nearest under it."""
        over = np.full(len(surface), -1)
        named = np.array([f.hole is None for f in self.part.faces] + [False])
        for one in np.unique(surface[surface >= 0]):
            mine = surface == one
            under = mine & named[face] & np.isfinite(stock)
            numbers, counts = np.unique(face[under], return_counts=True)
            enough = numbers[counts >= max(3, 0.03 * mine.sum())]
            if enough.size:
                over[mine] = min(enough, key=lambda n: (round(float(np.median(stock[under & (face == n)])), 3), int(n)))
        return over

    def _now(self, rays: _Rays, side: Vec3, done: frozenset[str]) -> Sight:
        shows = np.array([f.state == "as cast" or self.is_machined(f, done) for f in self.part.faces] + [False])[rays.face]
        shows |= ~np.isfinite(rays.skin)
        away = np.where(shows, rays.metal, rays.skin)
        more = np.array([self.pose_skin.get(f.name, 0.0) for f in self.part.faces] + [0.0])
        finished = np.array([self.is_machined(f, done) for f in self.part.faces] + [False])
        rough = np.where(finished[rays.over], rays.face, rays.over)
        face = np.where(shows, rays.face, rough)
        away = away - np.where(shows, 0.0, more[face])
        points = rays.start - away[:, None] * np.array(side)
        kept = np.isfinite(away) & (shows | ~self._gone(points, done))
        origin = np.array(self.zero.frame.origin)
        return Sight(points[kept], face[kept], np.asarray((points[kept] - origin) @ np.array(side)))

    def _gone(self, points: Floats, done: frozenset[str]) -> Bools:
        """Return which points of the casting's skin lie beyond a plane that is machined by then and bounds the part."""
        gone = np.zeros(len(points), dtype=np.bool_)
        for i in self._bounds:
            face = self.part.faces[i]
            if self.is_machined(face, done) and face.normal is not None:
                gone |= (points - np.array(face.origin)) @ np.array(face.normal) > SKIN
        return gone


def work_of(part: Part, stock: StockReport, zero: Zero, placement: "Placement | None" = None) -> Work:
    """Return the work of a part, as drawn or in the casting as received.

    Args:
        placement: of the part in the casting as received: its faces stand out by what that one has on them.
    """
    drawn = {one.name: one.stock.mean for one in stock.faces}
    more = {}
    for take in placement.faces if placement else ():
        mean = 0.5 * (take.take_min + take.take_max)
        if math.isfinite(mean) and take.name in drawn:
            more[take.name] = mean - drawn[take.name]
    return Work(part, zero, drawn, more)


def _line(low: float, high: float, step: float, shift: float) -> Floats:
    """Return every grid line from low to high; the grid is tied to the zero, so a turned file changes nothing."""
    first, last = np.ceil(low / step - shift), np.floor(high / step - shift)
    return np.asarray((np.arange(first, last + 1) + shift) * step, dtype=float)


def turned(work: Work, up: Vec3, away: Vec3) -> Frame:
    """Return the set-up frame with Z up and Y along `away`, from the zero."""
    return frame_facing(work.zero.frame.origin, up, cross(away, up))
