"""Where ink already is on a sheet, and whether a box is free of it.

Millimetres on paper. Curves are remembered as points close enough that no box
worth placing slips between them. Knows nothing of what is placed.
"""

import math
from collections.abc import Iterable
from itertools import pairwise
from typing import Final

import numpy as np

from export.files.sheet2d import Fill, Item, Label, Stroke, ink, label_box
from geom.flat.curve2d import Box2, Curve, Line, box_of, polyline

_SPACING: Final = 0.4
"""mm between remembered points: no text is smaller."""

_CHORD: Final = 0.05


class Clutter:
    """Ink that must not be written over; only ever added to."""

    def __init__(self, items: Iterable[Item] = ()) -> None:
        self._points = np.empty((0, 2))
        self._boxes: list[Box2] = []
        self.add(items)

    def add(self, items: Iterable[Item]) -> None:
        """Remember the ink of some items."""
        points = [self._points]
        for piece in (p for item in items for p in ink(item)):
            match piece:
                case Stroke(_, curve):
                    points.append(_samples(curve))
                case Label():
                    self._boxes.append(label_box(piece))
                case Fill(_, corners):
                    self._boxes.append(box_of(corners))
        self._points = np.vstack(points)

    def is_free(self, box: Box2, gap: float = 0.8) -> bool:
        """Return whether a box with a gap round it, mm, touches no ink."""
        x0, y0, x1, y1 = box[0] - gap, box[1] - gap, box[2] + gap, box[3] + gap
        if any(a < x1 and c > x0 and b < y1 and d > y0 for a, b, c, d in self._boxes):
            return False
        x, y = self._points[:, 0], self._points[:, 1]
        return not bool(((x > x0) & (x < x1) & (y > y0) & (y < y1)).any())

    def crosses_text(self, curves: Iterable[Line]) -> bool:
        """Return whether a line would run through text or an arrowhead."""
        points = np.vstack([_samples(c) for c in curves])
        x, y = points[:, 0], points[:, 1]
        return any(bool(((x > a - 0.4) & (x < c + 0.4) & (y > b - 0.4) & (y < d + 0.4)).any()) for a, b, c, d in self._boxes)


def _samples(curve: Curve) -> "np.ndarray[tuple[int, int], np.dtype[np.float64]]":
    corners = polyline(curve, _CHORD)
    out = [corners[0]]
    for a, b in pairwise(corners):
        steps = max(1, math.ceil(math.dist(a, b) / _SPACING))
        out.extend((a[0] + (b[0] - a[0]) * i / steps, a[1] + (b[1] - a[1]) * i / steps) for i in range(1, steps + 1))
    return np.array(out)
