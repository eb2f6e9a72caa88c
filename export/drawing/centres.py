"""Axes of holes, bores and rounds, and the centre lines that show them.

Lengths mm at true size. Knows nothing of which holes are dimensioned.
"""

import math
from dataclasses import dataclass
from typing import Final

from export.drawing.view import View, flat
from geom.flat.curve2d import Curve, Line, Vec2
from geom.flat.overlap2d import merged, without
from geom.kernel.shape import Surface
from geom.model.part import Part
from geom.space import Vec3, add, along, angle_between, canonical, dot, foot, norm, scale, sub
from geom.tolerance import SAME_AXIS

_ROUND_ENOUGH: Final = 150.0
"""Degrees round its axis from which a face is a round and gets centre lines; a corner's fillet is less."""

_SQUARE_ON: Final = 0.01
"""Degrees within which an axis counts as along or across the line of sight."""


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis with something round on it: its greatest radius and how far along the axis it reaches, mm."""

    origin: Vec3
    direction: Vec3
    radius: float
    reach: tuple[float, float]


def round_axes(part: Part) -> tuple[Axis, ...]:
    """Return one axis for each set of coaxial holes and rounds of the finished part and of the casting."""
    rounds = [s for solid in (part.finished, part.casting) for s in solid.surfaces if s.kind in ("cylinder", "cone")]
    found: list[Axis] = []
    for surface in sorted((s for s in rounds if s.turn >= _ROUND_ENOUGH), key=_order):
        piece = Axis(surface.origin, canonical(surface.axis), _greatest_radius(surface), surface.extent)
        place = next((i for i, axis in enumerate(found) if _same(axis, piece)), None)
        if place is None:
            found.append(piece)
        else:
            found[place] = _joined(found[place], piece)
    return tuple(found)


def _order(surface: Surface) -> tuple[float, ...]:
    return tuple(round(c, 4) for c in (*surface.axis, *surface.origin, surface.radius, *surface.extent))


def _greatest_radius(surface: Surface) -> float:
    slope = math.tan(math.radians(surface.half_angle))
    return max(surface.radius + slope * e for e in surface.extent)


def _same(a: Axis, b: Axis) -> bool:
    if angle_between(a.direction, b.direction) > _SQUARE_ON:
        return False
    return norm(sub(b.origin, foot(b.origin, a.origin, a.direction))) < SAME_AXIS


def _joined(a: Axis, b: Axis) -> Axis:
    shift = along(b.origin, a.origin, a.direction)
    low, high = min(a.reach[0], b.reach[0] + shift), max(a.reach[1], b.reach[1] + shift)
    return Axis(a.origin, a.direction, max(a.radius, b.radius), (low, high))


def centre_lines(axes: tuple[Axis, ...], view: View, overhang: float) -> tuple[Curve, ...]:
    """Return crosses for axes along the line of sight and a line for each axis across it.

    Args:
        overhang: how far a centre line runs past what it marks, mm at true size.
    """
    lines = [line for axis in axes for line in _axis_lines(axis, view, overhang)]
    return without(merged(lines), (*view.outline, *view.phantom))


def _axis_lines(axis: Axis, view: View, overhang: float) -> list[Line]:
    tilt = angle_between(axis.direction, view.frame.z)
    if min(tilt, 180.0 - tilt) < _SQUARE_ON:
        (x, y), reach = flat(axis.origin, view.frame), axis.radius + overhang
        return [Line((x - reach, y), (x + reach, y)), Line((x, y - reach), (x, y + reach))]
    if abs(tilt - 90.0) < _SQUARE_ON:
        low, high = axis.reach
        return [Line(_on_axis(axis, low - overhang, view), _on_axis(axis, high + overhang, view))]
    return []


def _on_axis(axis: Axis, reach: float, view: View) -> Vec2:
    return flat(add(axis.origin, scale(axis.direction, reach)), view.frame)


def is_along_sight(direction: Vec3, view: View) -> bool:
    """Return whether an axis runs along the line of sight of a view."""
    return abs(dot(direction, view.frame.z)) > math.cos(math.radians(_SQUARE_ON))
