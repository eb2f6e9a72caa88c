"""Inner corners: where two walls of a part meet hollow, square or round, and what a round cutter keeps of them.

A cutter that comes down along a corner cannot make it sharper than its own
radius; one that lies across it makes it sharp. Lengths mm, part frame. Knows
which end mills are on hand and how far they reach; nothing of rows.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from geom.kernel.extent import face_box
from geom.kernel.topology import neighbours
from geom.model.part import Part, PartFace
from geom.rows.plan import Blocked
from geom.shop.records import Cutter
from geom.space import Frame, Vec3, cross, dot, frame_facing, norm, sub, unit
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

_SEEN: Final = 0.05
"""mm: metal that a cutter leaves in a wide corner and that is no thicker is not looked at (common practice)."""


@dataclass(frozen=True, slots=True)
class Corner:
    """One inner corner.

    Attributes:
        walls: the two planes.
        axis: along it; the sign says nothing.
        radius: that it is drawn with, 0 where it is square; round: that hollow face, None where it is square.
        feet: planes across the corner that it stands on: floors in it.
        high: how long it is.
    """

    walls: tuple[PartFace, PartFace]
    axis: Vec3
    radius: float
    round: PartFace | None
    feet: tuple[PartFace, ...]
    high: float

    def runs(self, way: Vec3) -> bool:
        """Tell whether it runs along a direction."""
        return norm(cross(self.axis, way)) < SAME_DIRECTION

    @property
    def faces(self) -> tuple[PartFace, ...]:
        """Every face that comes out wrong where the corner does."""
        return (*self.walls, *((self.round,) if self.round else ()), *self.feet)

    def leaves(self, radius: float) -> float:
        """Return how thick the metal is that a cutter of a radius leaves in it."""
        half = 0.5 * (math.pi - math.acos(max(-1.0, min(1.0, dot(self.walls[0].axis, self.walls[1].axis)))))
        return max(radius - self.radius, 0.0) * (1.0 / math.sin(half) - 1.0)


@lru_cache(maxsize=8)
def corners_of(part: Part) -> tuple[Corner, ...]:
    """Return the inner corners of a part at which at least one machined face is, in the order of its faces."""
    loose = [face for face in part.faces if face.hole is None]
    owner, met = {surface: face.name for face in loose for surface in face.surfaces}, neighbours(part.finished.shape)
    beside = {face.name: {owner[j] for i in face.surfaces for j in met[i] if j in owner} for face in loose}
    planes = [face for face in loose if face.kind == "plane" and face.normal is not None]
    near = {face.name: [p for p in planes if p.name in beside[face.name] and p is not face] for face in loose}
    order = {face.name: i for i, face in enumerate(planes)}
    sharp = (_square(a, b) for a in planes for b in near[a.name] if order[a.name] < order[b.name] and _hollow(a, b))
    blunt = (c for face in loose if face.kind == "cylinder" and face.hollow for c in _round(face, near[face.name]))
    found = (_with_feet(corner, near[corner.walls[0].name], part) for corner in (*sharp, *blunt))
    return tuple(corner for corner in found if any(face.state == "machined" for face in corner.faces))


def _hollow(a: PartFace, b: PartFace) -> bool:
    """Tell whether each of two planes lies before the other."""
    return all(dot(sub(two.centroid, one.origin), one.axis) > SAME_AXIS for one, two in ((a, b), (b, a)))


def _square(a: PartFace, b: PartFace) -> Corner:
    return Corner((a, b), unit(cross(a.axis, b.axis)), 0.0, None, (), 0.0)


def _round(face: PartFace, planes: Sequence[PartFace]) -> Iterator[Corner]:
    """Yield the corner that a hollow round makes of the two planes it runs into; none where they lie across from each other."""
    walls = [
        p for p in planes
        if abs(dot(p.axis, face.axis)) < SAME_DIRECTION and abs(dot(sub(face.origin, p.origin), p.axis) - face.radius) <= SAME_AXIS
    ]  # fmt: skip
    if len(walls) == 2 and norm(cross(walls[0].axis, walls[1].axis)) > SAME_DIRECTION:
        yield Corner((walls[0], walls[1]), face.axis, face.radius, face, (), 0.0)


def _with_feet(corner: Corner, beside: Sequence[PartFace], part: Part) -> Corner:
    """Return the corner with its floors and its length."""
    a, b = corner.walls
    feet = tuple(
        f for f in beside
        if norm(cross(f.axis, corner.axis)) < SAME_DIRECTION and _hollow(f, a) and _hollow(f, b)
    )  # fmt: skip
    frame = _along(corner.axis)
    spans = [face_box(part.finished, wall.surfaces, frame) for wall in corner.walls]
    high = min(top[2] for _, top in spans) - max(low[2] for low, _ in spans)
    return Corner(corner.walls, corner.axis, corner.radius, corner.round, feet, high)


def _along(axis: Vec3) -> Frame:
    return frame_facing((0.0, 0.0, 0.0), axis, cross(axis, (0.0, 0.0, 1.0) if abs(axis[2]) < 0.9 else (1.0, 0.0, 0.0)))


# --- what a cutter keeps of them --------------------------------------------


def least_radius(corner: Corner, mills: Sequence[Cutter]) -> float:
    """Return the radius of the narrowest end mill that reaches down a corner, of the narrowest at all where none does."""
    far = [mill.diameter for mill in mills if mill.reach >= corner.high - SAME_AXIS]
    return 0.5 * min(far or [mill.diameter for mill in mills])


def is_made(corner: Corner, mills: Sequence[Cutter]) -> bool:
    """Tell whether an end mill that comes down along a corner makes it as drawn."""
    return corner.leaves(least_radius(corner, mills)) <= _SEEN


def widest_in(face: PartFace, part: Part, up: Vec3) -> float:
    """Return the diameter of the widest cutter that runs into a wall's round corners with `up` to the spindle; inf without any."""
    mine = (c.radius for c in corners_of(part) if c.round and c.runs(up) and face in c.walls)
    return 2.0 * min(mine, default=math.inf)


def kept(face: PartFace, part: Part, up: Vec3, mills: Sequence[Cutter]) -> tuple[Corner, ...]:
    """Return the corners that a face does not come out of as drawn, whichever end mill on hand cuts it with `up` to the spindle."""
    return tuple(c for c in corners_of(part) if mills and c.runs(up) and face in (*c.walls, *c.feet) and not is_made(c, mills))


def answers(some: Sequence[Corner], mills: Sequence[Cutter]) -> tuple[Blocked, ...]:
    """Return what no row makes of some corners as drawn: those that share a wall in one answer, with what would open it."""
    groups: list[list[Corner]] = []
    for corner in dict.fromkeys(some):
        mine = [group for group in groups if any(set(corner.walls) & set(other.walls) for other in group)]
        groups = [group for group in groups if group not in mine] + [[*(c for group in mine for c in group), corner]]
    return tuple(_answer(group, mills) for group in groups)


def _answer(group: Sequence[Corner], mills: Sequence[Cutter]) -> Blocked:
    cut = [face for c in group for face in c.faces if face.state == "machined" and face not in c.feet]
    names = sorted({face.name for face in cut or [face for c in group for face in c.feet]})
    least, drawn = max(least_radius(c, mills) for c in group), min(c.radius for c in group)
    tight = ("are drawn with a radius of ", drawn) if drawn else ("are drawn square",)
    why = ("the inner corners ", *tight, ", and a milled corner keeps its cutter's radius, ", least, " or more here")
    opens = ("corners drawn with that radius, a groove's end drawn round or run out into the open, or a file after the cutter",)
    return Blocked(", ".join(names), why, opens)
