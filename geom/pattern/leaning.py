"""A core that leans between its two ends, each of which opens in a level face: its prints are ovals that stand along the draw.

A cylinder cut level is the same oval at every height, shifted along its lean; a print is
that oval carried straight on, so it draws though the core leans. mm. Knows nothing of
boxes and of where cores are wanted.
"""

import math
from collections.abc import Sequence
from typing import Final, TypeAlias

import numpy as np

from geom.kernel.shape import Surface
from geom.pattern.coaxial import Floats, Order, Profile, steps_of
from geom.rays.body import Body, corners_of, hull, joined
from geom.space import Vec3

Oval: TypeAlias = tuple[float, float, float]
"""Where along the lean, Z, and half its width across the lean."""

_SAME_LEVEL: Final = 0.02
"""mm."""

_LOOSE: Final = 0.1
"""Share of the radius by which the kernel may state a leaning cylinder's reach too long."""


def lean_of(axis: Vec3) -> float:
    """Return how far an axis leans from the draw, radians."""
    return math.acos(min(1.0, abs(axis[2])))


def excess(radius: float, axis: Vec3) -> float:
    """Return by how much the oval of a leaning cylinder cut level is longer than wide, to one side."""
    return radius / math.cos(lean_of(axis)) - radius


def between_level_faces(wall: Surface, axis: Vec3, surfaces: Sequence[Surface], order: Order) -> tuple[Vec3, float] | None:
    """Return where a leaning cylinder's axis meets the level face at its start, and how far on the other is; None: not both.

    A cylinder cut twice level has the area of one as long as its axis is between the cuts, and its middle in the axis' own.

    Args:
        wall: the cylinder.
        axis: its own, draw frame, the way it is to go.
    """
    length = wall.area / (2.0 * math.pi * wall.radius)
    skew = wall.radius * math.tan(lean_of(axis))
    if abs(wall.extent[1] - wall.extent[0] - length - 2.0 * skew) > _LOOSE * wall.radius:
        return None
    middle, origin = (np.array([v[i] for i in order]) for v in (wall.centroid, wall.origin))
    way = np.asarray(axis)
    foot = origin + ((middle - origin) @ way - length / 2.0) * way
    flat = [s.origin[order[2]] for s in surfaces if s.kind == "plane" and abs(s.normal[order[2]]) > 1.0 - 1e-9]
    if not all(any(abs(z - at) < _SAME_LEVEL for z in flat) for at in (foot[2], foot[2] + length * axis[2])):
        return None
    x, y, z = foot.tolist()
    return (x, y, z), length


def column(low: Oval, high: Oval, longer: float, chord: float) -> Body:
    """Return the body between two ovals, each so much longer along the lean, X, than across."""
    return hull(np.vstack([_oval(one, longer, chord) for one in (low, high)]))


def leaned(profile: Profile, between: tuple[float, float], axis: Vec3, longer: float, chord: float) -> Body:
    """Return a core: upright below and above two heights, leaning along X between them; half widths by height."""
    low, high = between
    slope = math.tan(lean_of(axis))
    stretches = steps_of(profile)
    parts = []
    for i, ((z0, r0), (z1, r1)) in enumerate(stretches):
        x0, x1 = (slope * (min(max(z, low), high) - low) for z in (z0, z1))
        parts.append(column((x0, z0, r0), (x1, z1 + (1e-3 if i + 1 < len(stretches) else 0.0), r1), longer, chord))
    return joined(parts)


def along_lean(axis: Vec3) -> Floats:
    """Return the turn (3, 3) that lays X along an axis' lean and Z along the draw, the way the axis goes."""
    across = np.array([axis[0], axis[1], 0.0])
    up = np.array([0.0, 0.0, math.copysign(1.0, axis[2])])
    across /= np.linalg.norm(across)
    return np.column_stack([across, np.cross(up, across), up])


def _oval(one: Oval, longer: float, chord: float) -> Floats:
    at, z, across = one
    count = corners_of(across + longer, chord)
    turn = 2.0 * np.pi * np.arange(count) / count
    return np.column_stack([at + (across + longer) * np.cos(turn), across * np.sin(turn), np.full(count, z)])
