"""How far a wall of a casting may lie off before any reading: from its tolerance grade, its half of the mould, and mismatch.

The total width of the tolerance on a dimension is taken as four standard
deviations of that dimension, half the variance at either end of it. Lengths mm,
angles radians, part frame; the parting plane is square to Z. Knows nothing of
readings or of how walls are found.
"""

from typing import Final

import numpy as np

from geom.errors import StandardError
from geom.kernel.shape import Solid
from geom.rays.analytic import Floats
from geom.settings.parting import Parting
from geom.space import Vec3
from geom.standards.tolerance_grades import casting_tolerance

_LEAN: Final = 0.5
"""A wall leans by half of what the largest dimension may be off, over that dimension (common practice, no source)."""

_MISMATCH: Final = ((4, 0.2), (5, 0.3), (6, 0.5), (8, 0.7), (10, 1.0), (13, 1.5), (16, 2.5))
"""Up to each grade, how far one half of the mould may stand off the other, mm: two standard deviations.

Source: ISO 8062 (1994) table of mismatch, from memory; below grade 5 it lies within the tolerance, 0.2 is common practice.
"""

_NEAR_PARTING: Final = 0.5
"""A wall that passes the parting plane by less than this, mm, ends there."""


def dimension_sigma(size: float, largest: float, grade: int) -> float:
    """Return the standard deviation of a dimension, mm: a quarter of its tolerance's total width.

    Args:
        largest: the casting's largest dimension: its tolerance stands in where the grade has none at that size.
    """
    try:
        return casting_tolerance(size, grade) / 4.0
    except StandardError:
        return casting_tolerance(largest, grade) / 4.0


def lean_sigma(largest: float, grade: int) -> float:
    """Return the standard deviation of any plane's lean, radians: one angle for all, however small the plane."""
    return _LEAN * dimension_sigma(largest, largest, grade) / largest


def mismatch_sigma(grade: int) -> float:
    """Return the standard deviation, mm, of one half of the mould against the other, along either axis in the parting plane."""
    return next(width for up_to, width in _MISMATCH if grade <= up_to) / 2.0


def half_of(corners: Floats, parting: Parting | None) -> int:
    """Return which half of the mould makes a wall with corners (n, 3): 1 above the parting plane, -1 below, 0 both or unknown."""
    if parting is None:
        return 0
    over = parting.over(corners)
    if over.min() >= -_NEAR_PARTING:
        return 1
    return -1 if over.max() <= _NEAR_PARTING else 0


def distance_to_others(casting: Solid, centroid: Vec3, axis: Vec3, parting: Parting | None) -> float:
    """Return the mean distance, mm by area and square to its axis, of a round wall from the skin in its half of the mould."""
    middles = np.array([s.centroid for s in casting.surfaces])
    area = np.array([s.area for s in casting.surfaces])
    if parting is not None:
        mine = float(parting.over(np.array(centroid)))
        area = area * (parting.over(middles) * mine > 0) if abs(mine) > _NEAR_PARTING else area
    away = middles - np.array(centroid)
    square = away - np.outer(away @ np.array(axis), axis)
    return float(area @ np.linalg.norm(square, axis=1) / area.sum())


def mismatch_root(ways: Floats, halves: Floats, grade: int, draw: int) -> Floats:
    """Return how parameters follow the mismatch, from one unit draw along each axis in the parting plane (k, 2).

    Args:
        ways: (k, 3) how each parameter changes when its wall moves as a whole; halves: (k,) -1, 0 or 1.
        draw: axis that the parting plane is square to.
    """
    return np.asarray(ways[:, [i for i in range(3) if i != draw]] * (0.5 * mismatch_sigma(grade) * halves)[:, None])
