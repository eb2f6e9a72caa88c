"""A print made hollow: cells inside it, a stated wall left on every face and round every hole. mm; Z is up on the bed.

Level by level: a level's cells lie where the wall's thickness leads nowhere out
of the print, sideways, up or down, and ribs part them so that a printer bridges
every roof. Knows nothing of faces: a hole's wall is a wall like any other.
"""

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from geom.fixture.sweep import grown_prism
from geom.rays.body import Body, block, empty, joined

BRIDGE: Final = 20.0
"""mm a printer lays over nothing without sagging much: common practice, no source."""

_LEVEL: Final = 2.0
"""mm high at most: a slope inside is a stair of such steps."""

_LEAST_CELL: Final = 200.0
"""mm3; a smaller cell is not worth its walls."""

_OVER: Final = 1e-3
"""mm over an underside where the print's outline is read."""

_PAST: Final = 1.0


def hollowed(body: Body, wall: float, opens_below: bool) -> Body:
    """Return a print with cells in it.

    Args:
        body: as it stands on the bed.
        wall: least left between a cell and every face and hole, and between two cells.
        opens_below: whether the underside may be opened, so that the cells are pockets from below.
    """
    (x0, y0, bottom), (x1, y1, top) = body.box
    low, high = bottom + (0.0 if opens_below else wall), top - wall
    if high - low <= 0:
        return body
    count = max(1, math.ceil((high - low) / _LEVEL))
    step = (high - low) / count
    floor = bottom + _OVER if opens_below else bottom - wall
    levels = []
    for n in range(count):
        below, above = low + n * step, low + (n + 1) * step
        around = block((x0 - wall, y0 - wall, max(below - wall, floor)), (x1 + wall, y1 + wall, above + wall))
        outside = grown_prism((around - body).shadow(), wall, below - _PAST, above + _PAST)
        foot = below - _PAST if opens_below and n == 0 else below
        levels.append(block((x0, y0, foot), (x1, y1, above)) - outside)
    worth = [cell for cell in _parted(joined(levels), wall).pieces() if cell.volume > _LEAST_CELL]
    return body - joined(worth) if worth else body


def _parted(cells: Body, rib: float) -> Body:
    """Return the cells parted by upright ribs, none wider than a printer bridges."""
    if cells.is_empty:
        return empty()
    return joined(list(_columns(cells, rib)))


def _columns(cells: Body, rib: float) -> Iterator[Body]:
    (x0, y0, z0), (x1, y1, z1) = cells.box
    for a, b in _spans(x0, x1, rib):
        strip = cells & block((a, y0 - 1.0, z0 - 1.0), (b, y1 + 1.0, z1 + 1.0))
        for c, d in _spans(y0, y1, rib):
            yield strip & block((a - 1.0, c, z0 - 1.0), (b + 1.0, d, z1 + 1.0))


def _spans(low: float, high: float, rib: float) -> list[tuple[float, float]]:
    """Return stretches with a rib between neighbours, all as long, each as long as can be bridged at most."""
    count = max(1, math.ceil((high - low + rib) / (BRIDGE + rib)))
    size = (high - low - (count - 1) * rib) / count
    return [(low + n * (size + rib), low + n * (size + rib) + size) for n in np.arange(count).tolist()]
