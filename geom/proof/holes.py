"""Every hole as it was cut: where its axis stands, how wide and how deep it came out.

Measured on the walk's exact distances at the wall's samples, not read off the
rows. Lengths mm, part frame. Knows nothing of rows.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.model.part import Part, PartHole
from geom.proof.faces import Spots, Walk, run_of
from geom.proof.sweep import Sweep
from geom.rays.analytic import Floats
from geom.tolerance import SAME_AXIS

_RIM: Final = 0.98
"""Share of the radius at which a depth to full diameter is looked for."""

_FEWEST: Final = 6


@dataclass(frozen=True, slots=True)
class HoleFound:
    """One hole as cut.

    Attributes:
        diameter: fitted; None where its wall was not cut.
        position: how far the axis is off, mm.
        depth: from the opening to the end of the full diameter; None when through or not cut.
        wanted: as drawn: diameter and depth.
    """

    name: str
    diameter: float | None
    position: float | None
    depth: float | None
    wanted: tuple[float, float | None]


def holes_found(part: Part, spots: Spots, found: Walk, sweeps: Sequence[Sweep]) -> tuple[HoleFound, ...]:
    """Return every hole of the part as it was cut."""
    return tuple(_found(hole, part, spots, found, sweeps) for hole in part.holes)


def _found(hole: PartHole, part: Part, spots: Spots, found: Walk, sweeps: Sequence[Sweep]) -> HoleFound:
    walls = [i for i in hole.surfaces if part.finished.surfaces[i].kind == "cylinder"]
    walls = [i for i in walls if abs(2.0 * part.finished.surfaces[i].radius - hole.diameter) <= SAME_AXIS]
    rows = np.flatnonzero(np.isin(spots.surface, walls))
    cut = rows[found.ahead[rows] >= 0]
    size, off = _fit(spots.normals[cut], found.off[cut]) if len(cut) >= _FEWEST else (math.nan, math.nan)
    known = math.isfinite(size)
    return HoleFound(
        hole.name,
        hole.diameter + 2.0 * size if known else None,
        off if known else None,
        _depth(hole, sweeps) if not hole.through else None,
        (hole.diameter, hole.depth),
    )


def _fit(normals: Floats, off: Floats) -> tuple[float, float]:
    """Return how much the radius grew and how far the axis moved: off = -(growth + shift . outward), least squares."""
    columns = np.column_stack([np.ones(len(off)), -normals])
    answer = np.linalg.lstsq(columns, -off, rcond=None)[0]
    return float(answer[0]), float(np.linalg.norm(answer[1:]))


def _depth(hole: PartHole, sweeps: Sequence[Sweep]) -> float | None:
    """Return how far down the full diameter goes, looked for just inside it: the point's cone is allowed for."""
    axis = np.array(hole.axis)
    side = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    other = np.cross(axis, side / np.linalg.norm(side))
    turn = np.linspace(0.0, 2.0 * math.pi, 8, endpoint=False)
    radius = 0.5 * hole.diameter * _RIM
    ring = np.array(hole.centre) + radius * (np.cos(turn)[:, None] * side / np.linalg.norm(side) + np.sin(turn)[:, None] * other)
    deep = float(np.min(run_of(ring - 0.02 * axis, np.tile(-axis, (8, 1)), sweeps, 2.0 * hole.length + hole.diameter)))
    if deep <= 0:
        return None
    cone = 0.0 if hole.point_angle is None else (0.5 * hole.diameter - radius) / math.tan(math.radians(hole.point_angle / 2.0))
    return deep + 0.02 - cone
