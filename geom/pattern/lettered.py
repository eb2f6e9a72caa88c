"""Text raised on a pattern: the flat as-cast place along the draw that has room for it, and the letters there.

Draw frame, mm. The place is found on the casting; letters stand up along the
draw, so they come free with it, each layer a little narrower than the one
below. Knows nothing of fonts: it is given outlines.
"""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from geom.errors import JobError
from geom.fixture.sweep import grown_prism
from geom.kernel.mesh import Mesh
from geom.kernel.shape import Surface
from geom.pattern.plane import Floats, area, grid_over
from geom.rays.body import Body, Outline, joined, prism
from geom.tolerance import SAME_DIRECTION

RAISED: Final = 0.8
"""mm: common practice, no source."""

_EDGE: Final = 2.0
"""mm left free round the text."""

_LETTER_DRAFT: Final = 10.0
_LAYERS: Final = 4
LEAST_HEIGHT: Final = 4.0
"""mm of capitals below which sand does not show them."""

MOST_HEIGHT: Final = 15.0


def flat_places(mesh: Mesh, surfaces: Sequence[Surface], along: int, cast: frozenset[int]) -> list[tuple[Floats, float, bool]]:
    """Return the triangles (n, 3, 2), height and side of each flat as-cast face square to the draw.

    Those that face up come first, then the largest.
    """
    found = []
    for surface in surfaces:
        rise = surface.normal[along]
        if surface.kind == "plane" and surface.index in cast and abs(rise) > 1.0 - SAME_DIRECTION:
            corners = mesh.vertices[mesh.triangles[mesh.face == surface.index]]
            found.append((surface.area, surface.index, corners[:, :, :2], float(corners[..., 2].mean()), rise > 0))
    return [(corners, z, up) for _, _, corners, z, up in sorted(found, key=lambda one: (not one[4], -one[0], one[1]))]


def room_for(corners: Floats, wide: float, high: float) -> tuple[float, float] | None:
    """Return the middle of a place on a face for a box, or None: of all that fit, the one nearest the face's middle."""
    low, top = corners.reshape(-1, 2).min(axis=0), corners.reshape(-1, 2).max(axis=0)
    pitch = max(float((top - low).max()) / 240.0, 0.25)
    grid = grid_over((float(low[0]), float(low[1])), (float(top[0]), float(top[1])), pitch)
    inside = grid.filled(list(corners))
    columns, rows = math.ceil(wide / pitch) + 1, math.ceil(high / pitch) + 1
    if columns > inside.shape[1] or rows > inside.shape[0]:
        return None
    total = np.pad(np.cumsum(np.cumsum(inside, axis=0), axis=1), ((1, 0), (1, 0)))
    filled = total[rows:, columns:] - total[:-rows, columns:] - total[rows:, :-columns] + total[:-rows, :-columns]
    row, column = np.nonzero(filled == rows * columns)
    if not len(row):
        return None
    x, y = grid.x[column] + 0.5 * (columns - 1) * pitch, grid.y[row] + 0.5 * (rows - 1) * pitch
    pick = int(np.argmin(np.hypot(x - 0.5 * (low[0] + top[0]), y - 0.5 * (low[1] + top[1]))))
    return float(x[pick]), float(y[pick])


def raised(
    outlines: Sequence[Outline],
    whole: Body,
    places: list[tuple[Floats, float, bool]],
    factor: float,
    where: str,
    height: float | None = None,
) -> Body:
    """Return a pattern with text on the first place that has room.

    Args:
        outlines: of the text at a capital height of 1 mm, base line on Y 0.
        places: as `flat_places` returns them, casting size.
        factor: pattern size over casting size.
        height: of the capitals, mm; None for the greatest that has room.

    Raises:
        JobError: no place has room for it at `LEAST_HEIGHT`.
    """
    points = np.concatenate([np.asarray(outline) for outline in outlines])
    low, high = points.min(axis=0), points.max(axis=0)
    sizes = np.arange(MOST_HEIGHT, LEAST_HEIGHT - 0.1, -1.0).tolist() if height is None else [height]
    for size in sizes:
        for corners, z, up in places:
            box = size * (high - low) + 2.0 * _EDGE
            spot = room_for(corners * factor, float(box[0]), float(box[1]))
            if spot is None:
                continue
            sign = 1.0 if up else -1.0
            turned = [(size * (np.asarray(o) - 0.5 * (low + high))) * (1.0, sign) + spot for o in outlines]
            return whole + _letters(turned, factor * z, up)
    raise JobError(
        f"{where}: no as-cast flat face square to the draw has room for the text with capitals of {sizes[-1]:g} mm; "
        "shorten it, or leave it out"
    )


def _letters(outlines: list[Floats], z: float, up: bool) -> Body:
    """Return letters that stand on a face, in layers, each narrower by the letters' draft."""
    step = RAISED / _LAYERS
    sign = 1.0 if up else -1.0
    layers = []
    for number in range(_LAYERS):
        inset = number * step * math.tan(math.radians(_LETTER_DRAFT))
        bottom, top = sorted((z + sign * (number * step - 0.2), z + sign * (number + 1) * step))
        layers.append(grown_prism(_wound(outlines), -inset, bottom, top) if inset else prism(_pairs(outlines), bottom, top))
    return joined(layers)


def _pairs(outlines: list[Floats]) -> list[Outline]:
    return [[(float(x), float(y)) for x, y in outline] for outline in outlines]


def _wound(outlines: list[Floats]) -> list[Floats]:
    """Return outlines counter-clockwise where metal is inside, so that filling by winding leaves the holes."""
    total = sum(area(outline) for outline in outlines)
    return outlines if total > 0 else [outline[::-1] for outline in outlines]
