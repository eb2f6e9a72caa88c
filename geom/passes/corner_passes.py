"""Rows that round a corner off with a cutter narrower than its round: short moves into it, one beside the other.

Each ends where the cutter touches the round. Lengths mm, set-up frame. Knows
the corner and the cutter; nothing of the walls' own rows but how deep they go.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from geom.model.part import PartFace
from geom.passes.scene import Scene
from geom.rows.records import Row
from geom.space import dot
from geom.tasks.corners import Corner, corners_of
from geom.tasks.practice import SAME_SIZE

NEAR: Final = 0.03
"""mm: how near to round a corner comes out that short moves of a narrower cutter round off (common practice)."""

MOST_CUTS: Final = 12
"""Straight cuts that a round is made of at most."""


def left_between(off: float, radius: float, angle: float) -> float:
    """Return what a cutter of a radius leaves of a round of `off` more between two places, an angle apart, where it meets it."""
    half = 0.5 * angle
    return off + radius - (off * math.cos(half) + math.sqrt(max(radius**2 - (off * math.sin(half)) ** 2, 0.0)))


def cuts_round(off: float, radius: float, angle: float, near: float = NEAR) -> int:
    """Return how many even steps between places at which the cutter meets the round leave no more than `near`."""
    return next((n for n in range(1, MOST_CUTS) if left_between(off, radius, angle / n) <= near), MOST_CUTS - 1)


def corner_rows(face: PartFace, scene: Scene, final: Sequence[Row], leave: float) -> tuple[Row, ...]:
    """Return the rows that round off a wall's corners, each corner with one of its two walls.

    Args:
        final: the wall's last cut, a row each depth.
        leave: what the walls keep for finishing.
    """
    mine = [c for c in corners_of(scene.part) if c.round and face in c.walls and c.runs(scene.frame.z) and _owns(face, c, scene)]
    return tuple(row for corner in mine for last in final for row in _into(face, corner, scene, last, leave))


def _owns(face: PartFace, corner: Corner, scene: Scene) -> bool:
    made = [wall for wall in corner.walls if wall.name in scene.features]
    return bool(made) and made[0] == face


def _into(face: PartFace, corner: Corner, scene: Scene, last: Row, leave: float) -> Iterator[Row]:
    radius = 0.5 * last.tool.diameter
    off = corner.radius - leave - radius
    if off <= 0.5 * SAME_SIZE or corner.round is None:
        return
    other = next(wall for wall in corner.walls if wall != face)
    turn = math.acos(max(-1.0, min(1.0, dot(face.axis, other.axis))))
    (ax, ay, _), (bx, by, _) = (scene.frame.local_direction(wall.axis) for wall in (face, other))
    x, y, _ = scene.frame.local(corner.round.origin)
    count = cuts_round(off, radius, turn)
    for i in range(1, count):
        a, b = (math.sin(part * turn) / math.sin(turn) for part in (1.0 - i / count, i / count))
        way = (a * ax + b * bx, a * ay + b * by)
        deep = way[0] * ax + way[1] * ay
        start, end = ((x - off * u, y - off * v) for u, v in ((deep * ax, deep * ay), way))
        x_to, y_to = (None if abs(q - p) < 1e-6 else q for p, q in zip(start, end, strict=True))
        note = f"rounds the corner with {other.name}"
        yield replace(last, x=start[0] + 0.0, y=start[1] + 0.0, x_to=x_to, y_to=y_to, leave=leave, note=note)
