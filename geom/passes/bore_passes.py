"""Diameters that a boring head is set to, from what is open to what is wanted.

Rough passes as deep as a small boring bar bears, then one light pass, so that
the last cut meets even metal. Lengths mm. Knows nothing of rows.
"""

import math
from typing import Final

from geom.cutters.cutting_data import bore_depth
from geom.errors import StandardError
from geom.model.part import PartHole
from geom.passes.scene import Scene, Take, held_depth, speeds_of
from geom.shop.records import Cutter
from geom.standards.tolerance_grades import casting_tolerance

_FINISH: Final = {"mm": 0.3, "inch": 0.3048}
"""mm on the diameter that the last pass takes, between 0.2 and 0.5 (common practice)."""

_FINE: Final = {"mm": 0.01, "inch": 0.0254}
"""mm: what the diameter before the last is a multiple of."""

_ROUND: Final = {"mm": 0.1, "inch": 0.127}
"""mm: what a rough diameter is a multiple of."""


_SETTING: Final = {"mm": 0.005, "inch": 0.0127}
"""mm: what a finished diameter is a multiple of where its limits allow it: half a division of a boring head's dial."""


def settable(size: float, limits: tuple[float, float] | None, units: str) -> float:
    """Return the figure a boring head is set to for a finished diameter: the round one nearest to it within its limits.

    40 H7 on an inch sheet is 1.575 in, where 40 mm would be 1.574803. With none between its limits it stays.
    """
    if limits is None:
        return round(round(size / _SETTING[units]) * _SETTING[units], 6)
    low, high = (math.ceil(limits[0] / _SETTING[units] - 1e-6), math.floor(limits[1] / _SETTING[units] + 1e-6))
    near = min(max(round(size / _SETTING[units]), low), high)
    return round(near * _SETTING[units], 6) if low <= high else size


def bore_diameters(start: float, size: float, units: str, deepest: float, smallest: float = 0.0) -> tuple[float, ...]:
    """Return the diameters a boring head is set to, rising in even steps; the last, a light one, is `size`.

    Args:
        start: diameter that is open; 0 in solid metal.
        deepest: rough cut a side.
        smallest: that the head can be set to.
    """
    last = math.floor((size - _FINISH[units]) / _FINE[units] + 1e-9) * _FINE[units]
    rough = last - start
    if rough <= 1e-9:
        return (size,)
    grid = _ROUND[units]
    count = math.ceil(rough / max(2.0 * deepest - grid, grid) - 1e-9)
    steps = [math.floor((last - rough * (count - i) / count) / grid + 1e-9) * grid for i in range(1, count)]
    kept = dict.fromkeys(round(d, 6) for d in (*steps, last) if d > max(start, smallest) + 1e-9)
    return (*kept, size)


def rough_depth(scene: Scene, name: str, cutter: Cutter, start: float, size: float, deep: float) -> float:
    """Return the deepest rough cut a side, mm, between two diameters of a feature: by the bar that enters the smaller, by the
    mill's power, by what the clamps hold."""
    enters = max(start, cutter.smallest or 0.0, 0.5 * size)
    found = [speeds_of(scene, cutter, "bore", diameter=at, depth=deep)[0] for at in (enters, size)]
    deepest = min(bore_depth(enters, deep), *(data.load.depth for data in found if data is not None))
    return min(held_depth(scene, name, cutter, data, deepest) for data in found)


def cored_diameter(hole: PartHole, scene: Scene) -> float:
    """Return the narrowest that a cored hole may be: what the casting shows, less what its grade lets it differ."""
    walls = [face for face in scene.part.faces if face.hole == hole.name and face.hollow and face.kind == "cylinder"]
    narrow = min((face for face in walls), key=lambda face: face.radius, default=None)
    if narrow is None:
        return 0.0
    take = scene.takes.get(narrow.name, Take(narrow.radius, narrow.radius))
    cored = 2.0 * (narrow.radius - take.most)
    if take.measured or cored <= 0.0:
        return max(cored, 0.0)
    try:
        spread = 0.5 * casting_tolerance(cored, scene.settings.casting.grade)
    except StandardError:
        spread = 0.0
    return max(cored - spread, 0.0)
