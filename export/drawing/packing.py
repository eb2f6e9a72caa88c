"""Free room on a sheet: which boxes are taken, and where the next one may go.

Millimetres on paper. Knows nothing of what is in the boxes.
"""

from collections.abc import Iterable
from typing import Final

from geom.flat.curve2d import Box2, Vec2

_GAP: Final = 5.0
"""Least distance between blocks, mm."""

_STEP: Final = 4.0


class Room:
    """The inside of a sheet's frame, filled box by box."""

    def __init__(self, inside: Box2) -> None:
        self.inside = inside
        self._taken: list[Box2] = []

    def claim(self, box: Box2, rim: float) -> bool:
        """Take a box where it is; False when it comes within `rim` mm of the frame or meets another."""
        x0, y0, x1, y1 = self.inside
        if min(box[0] - x0, box[1] - y0, x1 - box[2], y1 - box[3]) < rim or not self._is_free(box):
            return False
        self._taken.append(box)
        return True

    def take_corner(self, width: float, height: float) -> Vec2:
        """Take the lower right corner, where a title block belongs."""
        x0, y0 = self.inside[2] - width, self.inside[1]
        self._taken.append((x0, y0, x0 + width, y0 + height))
        return (x0, y0)

    def take(self, width: float, height: float) -> Vec2 | None:
        """Take a place against the blocks already there, as far right and low as there is one; None for none."""
        spots = [(x, y) for x in self._edges(0, width) for y in self._edges(1, height)]
        free = [(x, y) for x, y in spots if self._is_free((x, y, x + width, y + height))]
        if not free:
            return None
        x, y = max(free, key=lambda s: (round(s[0] + width - s[1], 3), s))
        self._taken.append((x, y, x + width, y + height))
        return (x, y)

    def _edges(self, i: int, size: float) -> Iterable[float]:
        low, high = self.inside[i] + _GAP, self.inside[i + 2] - _GAP - size
        beside = [e for box in self._taken for e in (box[i], box[i + 2] - size, box[i + 2] + _GAP, box[i] - _GAP - size)]
        return sorted({e for e in (low, high, *beside) if self.inside[i] <= e <= self.inside[i + 2] - size})

    def take_loosest(self, width: float, height: float) -> Vec2 | None:
        """Take the place with the widest margin all round; None when nowhere is wide enough."""
        best: tuple[float, Vec2] | None = None
        x0, y0, x1, y1 = self.inside
        for i in range(int(max(0.0, x1 - x0 - width) / _STEP) + 1):
            for k in range(int(max(0.0, y1 - y0 - height) / _STEP) + 1):
                x, y = x0 + i * _STEP, y0 + k * _STEP
                margin = self._margin((x, y, x + width, y + height))
                if margin >= _GAP and (best is None or margin > best[0] + 1e-9):
                    best = (margin, (x, y))
        if best is None:
            return None
        x, y = best[1]
        self._taken.append((x, y, x + width, y + height))
        return best[1]

    def _margin(self, box: Box2) -> float:
        """Return the least distance from the frame and the boxes taken, below zero when they meet."""
        x0, y0, x1, y1 = self.inside
        margin = min(box[0] - x0, box[1] - y0, x1 - box[2], y1 - box[3])
        for a, b, c, d in self._taken:
            margin = min(margin, max(a - box[2], box[0] - c, b - box[3], box[1] - d))
        return margin

    def _is_free(self, box: Box2) -> bool:
        x0, y0, x1, y1 = self.inside
        inside = box[0] >= x0 - 1e-9 and box[1] >= y0 - 1e-9 and box[2] <= x1 + 1e-9 and box[3] <= y1 + 1e-9
        gap = _GAP - 1e-6
        return inside and not any(
            box[0] < c + gap and box[2] > a - gap and box[1] < d + gap and box[3] > b - gap for a, b, c, d in self._taken
        )
