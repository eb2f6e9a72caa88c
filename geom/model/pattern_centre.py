"""The centre of holes that lie on one circle or form one rectangle.

Works on flat points, mm. Knows nothing of parts, rows or numbering.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from geom.errors import JobError
from geom.tolerance import SAME_AXIS

Vec2: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class PatternCentre:
    """A centre, and "circle" or "rectangle" for what the holes form."""

    centre: Vec2
    says: str


def pattern_centre(points: Sequence[Vec2], where: str) -> PatternCentre:
    """Return the centre of three or more holes on one circle, or of a rectangular pattern.

    A pattern counts as rectangular when every hole has one opposite it across
    the middle: true of any full grid. Four holes at unequal spacing round a
    circle are a rectangle; either way the point is the same.

    Raises:
        JobError: the holes form neither.
    """
    mean = (sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points))
    circle = circle_centre(points)
    radii = [math.dist(p, circle) for p in points] if circle else [0.0, math.inf]
    if circle is not None and max(radii) - min(radii) < 2 * SAME_AXIS:
        four = len(points) == 4 and _has_opposites(points, mean) and not _evenly_spaced(points, radii[0])
        return PatternCentre(circle, "rectangle" if four else "circle")
    if circle is not None and _has_opposites(points, mean):
        return PatternCentre(mean, "rectangle")
    raise JobError(f"{where}: these {len(points)} holes lie neither on one circle nor on a rectangle; name only holes that do")


def circle_centre(points: Sequence[Vec2]) -> Vec2 | None:
    """Return the centre of the circle nearest to the points, or None when they lie on a line.

    Least squares of the squared distances, about the mean for the sake of
    precision (the algebraic fit; exact for points on a circle).
    """
    n = len(points)
    mx, my = sum(p[0] for p in points) / n, sum(p[1] for p in points) / n
    flat = [(x - mx, y - my) for x, y in points]
    uu, vv, uv = sum(u * u for u, _ in flat), sum(v * v for _, v in flat), sum(u * v for u, v in flat)
    a = sum(u * (u * u + v * v) for u, v in flat) / 2
    b = sum(v * (u * u + v * v) for u, v in flat) / 2
    determinant = uu * vv - uv * uv
    if determinant <= (SAME_AXIS**2) * (uu + vv):
        return None
    return (mx + (a * vv - b * uv) / determinant, my + (b * uu - a * uv) / determinant)


def _has_opposites(points: Sequence[Vec2], centre: Vec2) -> bool:
    flat = [(x - centre[0], y - centre[1]) for x, y in points]
    return all(any(math.dist(p, (-q[0], -q[1])) < 2 * SAME_AXIS for q in flat) for p in flat)


def _evenly_spaced(points: Sequence[Vec2], radius: float) -> bool:
    """Tell whether points on a circle have neighbours one chord of a regular polygon away."""
    chord = 2 * radius * math.sin(math.pi / len(points))
    return all(sum(abs(math.dist(p, q) - chord) < 4 * SAME_AXIS for q in points) >= 2 for p in points)
