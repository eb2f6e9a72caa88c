"""Where dowels line up two pieces that meet in a plane, and the holes for them. mm; the plane is level."""

import math
from typing import Final

import numpy as np

from geom.pattern.plane import Floats, depth_inside, grid_over
from geom.rays.body import Body, joined, rod

Spot = tuple[float, float]

_STEPS: Final = 120
_LOPSIDED: Final = 6.0
"""mm by which a pair is not its own mirror image, so that pieces go together one way only."""


def dowel_spots(upper: Body, lower: Body, z: float, radius: float, wall: float, depth: float) -> tuple[Spot, ...]:
    """Return up to two places for dowels across a plane, as far apart as the print allows; none where there is no room.

    Args:
        radius: of the dowel's hole.
        wall: left round each hole, in both pieces, over `depth` up and down.
    """
    (x0, y0, _), (x1, y1, _) = lower.box
    pitch = max(x1 - x0, y1 - y0) / _STEPS
    grid = grid_over((x0, y0), (x1, y1), pitch)
    inside = np.ones((len(grid.y), len(grid.x)), dtype=np.bool_)
    for share in (0.02, 0.35, 0.7, 1.0):
        inside &= grid.filled(upper.outlines_at(z + share * depth)) & grid.filled(lower.outlines_at(z - share * depth))
    row, column = np.nonzero(depth_inside(inside, pitch) > radius + wall)
    if not len(row):
        return ()
    places = np.column_stack([grid.x[column], grid.y[row]])
    return _farthest(places, 4.0 * (radius + wall))


def _farthest(places: Floats, least: float) -> tuple[Spot, ...]:
    centre = places.mean(axis=0)
    first = places[np.linalg.norm(places - centre, axis=1).argmax()]
    away = np.linalg.norm(places - first, axis=1)
    mirror = np.linalg.norm(places - (2.0 * centre - first), axis=1)
    fits = (away > least) & (mirror > _LOPSIDED)
    if not fits.any():
        middle = places[np.linalg.norm(places - centre, axis=1).argmin()]
        return ((float(middle[0]), float(middle[1])),)
    second = places[np.where(fits, away, -math.inf).argmax()]
    return (float(first[0]), float(first[1])), (float(second[0]), float(second[1]))


def holes(spots: tuple[Spot, ...], z: float, radius: float, depth: float, chord: float) -> Body:
    """Return the holes below a plane; they reach a little above it."""
    return joined([rod((x, y, z - depth), radius, depth + 0.5, chord) for x, y in spots])


def pin(diameter: float, length: float, chord: float) -> Body:
    """Return a dowel that stands on end, both ends eased."""
    ease = 0.15 * diameter
    r = diameter / 2.0
    return joined(
        [
            rod((0.0, 0.0, 0.0), r - ease, ease, chord, r),
            rod((0.0, 0.0, ease - 1e-3), r, length - 2.0 * ease + 2e-3, chord),
            rod((0.0, 0.0, length - ease), r, ease, chord, r - ease),
        ]
    )
