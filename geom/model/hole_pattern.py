"""Patterns of holes: copies of one hole, numbered in a stated order.

The order is counter-clockwise from +X for someone who looks at the side the
holes open to. Lengths mm, angles degrees, part frame. Knows nothing of how a
pattern is found in a solid.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

from geom.errors import GeometryError
from geom.model.feature import Hole, check_sizes
from geom.space import Vec3, add, cross, dot, scale, sub, unit


def pattern_axes(axis: Vec3) -> tuple[Vec3, Vec3]:
    """Return the X and Y that a pattern is laid out in, seen from the opening side.

    X is the part's X made square to the axis (the part's Y where the axis runs along X); Y is a
    quarter turn counter-clockwise from it for someone who looks at the opening.
    """
    z = unit(axis)
    hint = (1.0, 0.0, 0.0) if abs(z[0]) < 0.9 else (0.0, 1.0, 0.0)
    x = unit(sub(hint, scale(z, dot(hint, z))))
    return x, unit(cross(z, x))


def on_circle(pattern: Hole, count: int, diameter: float, start: float = 0.0) -> tuple[Hole, ...]:
    """Return numbered copies of a hole on a bolt circle about its centre.

    Args:
        pattern: the hole, its centre the circle's; "foot" becomes "foot 1", "foot 2" ...
        count: how many, evenly spread.
        diameter: of the circle through their axes, mm.
        start: angle of number 1 from +X (see `pattern_axes`), degrees; the rest follow
            counter-clockwise, seen from the side they open to.

    Raises:
        GeometryError: fewer than one hole, or a diameter not above 0 mm.
    """
    if count < 1:
        raise GeometryError(f"feature {pattern.name!r}: {count} holes on a circle; give at least 1")
    check_sizes(pattern.name, **{"bolt circle": diameter})
    angles = [math.radians(start + 360.0 * i / count) for i in range(count)]
    return _numbered(pattern, [(diameter / 2 * math.cos(a), diameter / 2 * math.sin(a)) for a in angles])


def on_rectangle(pattern: Hole, length: float, width: float) -> tuple[Hole, ...]:
    """Return four numbered copies of a hole at the corners of a rectangle about its centre.

    Args:
        length, width: between axes along +X and +Y (see `pattern_axes`), mm.

    Number 1 is at (+X, +Y); the rest follow counter-clockwise, seen from the side they open to.
    """
    check_sizes(pattern.name, **{"pattern length": length, "pattern width": width})
    a, b = length / 2, width / 2
    return _numbered(pattern, [(a, b), (-a, b), (-a, -b), (a, -b)])


def _numbered(pattern: Hole, places: Sequence[tuple[float, float]]) -> tuple[Hole, ...]:
    x, y = pattern_axes(pattern.axis)
    centres = [add(pattern.centre, add(scale(x, a), scale(y, b))) for a, b in places]
    return tuple(replace(pattern, name=f"{pattern.name} {i}", centre=_tidy(c)) for i, c in enumerate(centres, 1))


def _tidy(point: Vec3) -> Vec3:
    """Return the point to a picometre, so that a cosine's last bit does not reach a table."""
    return tuple(round(c, 9) + 0.0 for c in point)  # type: ignore[return-value]
