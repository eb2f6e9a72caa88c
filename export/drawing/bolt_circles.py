"""Circles that like holes are evenly spread on: their centre line and their size.

A drawing shows them as a foundry and a machinist expect to find them. Lengths
mm, at true size in a view. Knows nothing of the hole table.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from export.drawing.annotate import TaggedHole
from export.drawing.centres import Axis, is_along_sight
from export.drawing.clutter import Clutter
from export.drawing.view import View, flat
from export.files.sheet2d import Item, Leader, label_box, leader_label
from export.number import Units, size
from geom.flat.curve2d import Line, Vec2
from geom.model.pattern_centre import circle_centre
from geom.tolerance import SAME_AXIS

_PLACES: Final = {"mm": 2, "inch": 3}
_LANDING: Final = 3.0
_LENGTHS: Final = (10.0, 14.0, 18.0, 24.0, 30.0, 38.0)
_ANGLES: Final = (60.0, 120.0, 240.0, 300.0, 30.0, 150.0, 210.0, 330.0, 75.0, 105.0, 255.0, 285.0, 15.0, 165.0, 195.0, 345.0)


@dataclass(frozen=True, slots=True)
class BoltCircle:
    """A circle through the axes of evenly spread like holes, in a view at true size, mm."""

    centre: Vec2
    radius: float


def bolt_circles(holes: Sequence[TaggedHole], axes: Sequence[Axis], view: View) -> tuple[BoltCircle, ...]:
    """Return the bolt circles a view looks along, smallest first.

    Four holes on a square are a bolt circle only round something that is round itself.
    """
    groups: dict[str, list[Vec2]] = {}
    for tagged in holes:
        if is_along_sight(tagged.hole.axis, view):
            groups.setdefault(tagged.tag.rstrip("0123456789"), []).append(flat(tagged.hole.centre, view.frame))
    rounds = [flat(axis.origin, view.frame) for axis in axes if is_along_sight(axis.direction, view)]
    found = [_circle(points, rounds) for points in groups.values()]
    return tuple(sorted((c for c in found if c is not None), key=lambda c: (c.radius, c.centre)))


def _circle(points: Sequence[Vec2], rounds: Sequence[Vec2]) -> BoltCircle | None:
    centre = circle_centre(points) if len(points) >= 3 else None
    if centre is None or not _is_even(points, centre):
        return None
    if len(points) == 4 and not any(math.dist(centre, r) < SAME_AXIS for r in rounds):
        return None
    return BoltCircle(centre, sum(math.dist(p, centre) for p in points) / len(points))


def _is_even(points: Sequence[Vec2], centre: Vec2) -> bool:
    """Return whether points are the corners of a regular polygon about the centre."""
    radius = sum(math.dist(p, centre) for p in points) / len(points)
    turns = sorted(math.atan2(y - centre[1], x - centre[0]) for x, y in points)
    wanted = [turns[0] + 2 * math.pi * i / len(points) for i in range(len(points))]
    off = max(radius * abs(a - b) for a, b in zip(turns, wanted, strict=True))
    return off < 2 * SAME_AXIS and max(abs(math.dist(p, centre) - radius) for p in points) < SAME_AXIS


def circle_sizes(circles: Sequence[BoltCircle], scale: float, units: Units, clutter: Clutter) -> list[Item]:
    """Return a leader with the diameter of each circle, on paper with the view's zero at (0, 0), where there is room."""
    out: list[Item] = []
    for circle in circles:
        text = f"Ø{size(2 * circle.radius, units, _PLACES[units])}"
        leader = _free_leader(circle, text, scale, clutter)
        if leader is not None:
            out.append(leader)
            clutter.add([leader])
    return out


def _free_leader(circle: BoltCircle, text: str, scale: float, clutter: Clutter) -> Leader | None:
    for length in _LENGTHS:
        for angle in _ANGLES:
            leader = _leader(circle, text, scale, length, math.radians(angle))
            run = [Line(a, b) for a, b in pairwise(leader.path)]
            if clutter.is_free(label_box(leader_label(leader))) and not clutter.crosses_text(run):
                return leader
    return None


def _leader(circle: BoltCircle, text: str, scale: float, length: float, turn: float) -> Leader:
    c, s = math.cos(turn), math.sin(turn)
    x, y = circle.centre[0] * scale, circle.centre[1] * scale
    near, far = circle.radius * scale, circle.radius * scale + length
    tip, elbow = (x + near * c, y + near * s), (x + far * c, y + far * s)
    landing = (elbow[0] + (_LANDING if c >= 0 else -_LANDING), elbow[1])
    return Leader((tip, elbow, landing), text)
