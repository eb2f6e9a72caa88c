"""Directions that may face up: which are the same, in what order, and the fewest that are enough.

Pure choice: features are sets of direction numbers. Knows nothing of holes,
faces or cutters.
"""

import math
from collections.abc import Iterable, Sequence
from typing import TypeAlias

from geom.space import Frame, Vec3, dot
from geom.tolerance import SAME_DIRECTION

Cover: TypeAlias = tuple[int, ...]


def same_way(a: Vec3, b: Vec3) -> bool:
    """Tell whether two unit directions are one (within `tolerance.SAME_DIRECTION`)."""
    return dot(a, b) > 1.0 - 0.5 * SAME_DIRECTION**2


def distinct(directions: Iterable[Vec3], frame: Frame) -> tuple[Vec3, ...]:
    """Return the directions, each once, in the order `frame` sees them.

    First the frame's +Z, then its -Z, then level ones counter-clockwise from
    +X, then leaning ones from the most upright down; so turning the job with
    its frame changes nothing.
    """
    kept: list[Vec3] = []
    for direction in sorted(directions, key=lambda d: _rank(frame.local_direction(d))):
        if not any(same_way(direction, other) for other in kept):
            kept.append(direction)
    return tuple(kept)


def _rank(d: Vec3) -> tuple[int, float, float]:
    turn = math.degrees(math.atan2(d[1], d[0])) % 360.0
    turn = 0.0 if 360.0 - turn < 1e-3 else round(turn, 3)
    if abs(d[2]) > 1.0 - 1e-6:
        return (0 if d[2] > 0 else 1, 0.0, 0.0)
    if abs(d[2]) < 1e-4:
        return (2, 0.0, turn)
    return (3, -round(d[2], 4), turn)


def fewest(wants: Sequence[frozenset[int]]) -> Cover:
    """Return the least set of directions that leaves no feature without one of its own.

    Exact, by deepening search. Of equally small sets, the one whose lowest
    numbers come first.

    Args:
        wants: for each feature, the directions it can be made from; none empty.
    """
    open_ = sorted(set(wants), key=lambda want: (len(want), sorted(want)))
    needed = [want for i, want in enumerate(open_) if not any(other <= want for other in open_[:i])]
    for size in range(len(needed) + 1):
        found = _covers(needed, (), size)
        if found:
            return min(tuple(sorted(cover)) for cover in found)
    return ()


def _covers(needed: Sequence[frozenset[int]], chosen: Cover, left: int) -> set[frozenset[int]]:
    """Return every set of at most `left` further directions that meets what is still needed."""
    unmet = next((want for want in needed if want.isdisjoint(chosen)), None)
    if unmet is None:
        return {frozenset(chosen)}
    if left == 0:
        return set()
    return {cover for direction in sorted(unmet) for cover in _covers(needed, (*chosen, direction), left - 1)}
