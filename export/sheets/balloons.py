"""Numbers in balloons round a view, and words beside what they name.

Balloons stand in a ring round the picture; which one goes where is settled so
that all leaders together are shortest, so no two of them cross, and none runs
through words. Paper mm. Knows nothing of what is pointed at.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.flat.curve2d import Box2, Vec2

RADIUS: Final = 3.2
"""mm: radius of a balloon; its figure is read at arm's length."""

FIGURE: Final = 3.0
"""mm: height of its figure: 11 pt type has capitals of 2.8 mm."""

RING: Final = 2.0 * RADIUS + 2.0
"""mm that balloons need on every side of the picture."""

_PITCH: Final = 2.0 * RADIUS + 1.0
_THROUGH_WORDS: Final = 1000.0
"""What a leader through words costs, mm of leader: more than any way round."""


@dataclass(frozen=True, slots=True)
class Balloon:
    """A number, where it stands, and the leader from its rim to what it names."""

    number: int
    centre: Vec2
    tip: Vec2

    @property
    def leader(self) -> tuple[Vec2, Vec2]:
        """From the rim to the tip."""
        size = math.dist(self.centre, self.tip)
        share = min(RADIUS / size, 1.0) if size else 0.0
        x, y = (c + share * (t - c) for c, t in zip(self.centre, self.tip, strict=True))
        return (x, y), self.tip


def balloons(tips: Sequence[Vec2], picture: Box2, words: Sequence[Box2]) -> tuple[Balloon, ...]:
    """Return a balloon for each tip, numbered from 1 in their order.

    Args:
        picture: what the balloons stand round.
        words: what leaders keep clear of.
    """
    from scipy.optimize import linear_sum_assignment

    if not tips:
        return ()
    places = _ring(picture, len(tips))
    cost = np.array([[_cost(place, tip, words) for place in places] for tip in tips])
    rows, columns = linear_sum_assignment(cost)
    return tuple(Balloon(i + 1, places[at], tips[i]) for i, at in zip(rows.tolist(), columns.tolist(), strict=True))


def _cost(place: Vec2, tip: Vec2, words: Sequence[Box2]) -> float:
    crossed = sum(meets(place, tip, box) for box in words)
    return math.dist(place, tip) + _THROUGH_WORDS * crossed


def _ring(picture: Box2, least: int) -> list[Vec2]:
    """Return places round a picture; closer together where there would be too few."""
    x0, y0, x1, y1 = (picture[0] - 0.5 * RING, picture[1] - 0.5 * RING, picture[2] + 0.5 * RING, picture[3] + 0.5 * RING)
    across, up = (max(int((b - a) / _PITCH), math.ceil(least / 4), 1) for a, b in ((x0, x1), (y0, y1)))
    xs = [x0 + (x1 - x0) * i / across for i in range(across + 1)]
    ys = [y0 + (y1 - y0) * i / up for i in range(1, up)]
    return [*((x, y1) for x in xs), *((x, y0) for x in xs), *((x0, y) for y in ys), *((x1, y) for y in ys)]


def meets(a: Vec2, b: Vec2, box: Box2) -> bool:
    """Tell whether a straight line between two points runs through a box."""
    low, high = 0.0, 1.0
    for start, end, least, most in ((a[0], b[0], box[0], box[2]), (a[1], b[1], box[1], box[3])):
        way = end - start
        if abs(way) < 1e-12:
            if not least < start < most:
                return False
            continue
        one, two = sorted(((least - start) / way, (most - start) / way))
        low, high = max(low, one), min(high, two)
    return low < high
