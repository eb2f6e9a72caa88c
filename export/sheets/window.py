"""Where a side of a set-up lies on paper, and how much paper it takes at a scale.

Paper mm, origin at the lower left corner; the view's own x and y are mm at true
size from the zero. Knows nothing of what is drawn but its extent.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from export.sheets.balloons import RING
from export.sheets.seen import Drawn, Seen
from export.sheets.words import HEIGHT
from geom.flat.curve2d import Box2, Vec2

FOOT: Final = 5.0
"""mm of ground drawn under what stands on it."""

AIR: Final = 3.0
"""mm round a picture with words."""

AXIS: Final = 15.0
"""mm: length of an axis arrow."""

_BARE_EDGE: Final = 2.5
"""mm round a picture without words."""

_MOST_SPARE: Final = 28.0
"""mm on each side that words may have."""


@dataclass(frozen=True, slots=True)
class Paper:
    """Where a window of the work lies on paper.

    Attributes:
        width, height: mm on paper at most.
        corner: where the window's lower left corner lies.
        bare: without words and balloons.
    """

    window: Box2
    factor: float
    width: float
    height: float
    corner: Vec2
    bare: bool

    def at(self, point: Sequence[float]) -> Vec2:
        """Return where a point of the view lies on paper."""
        x, y = ((point[i] - self.window[i]) * self.factor + self.corner[i] for i in (0, 1))
        return (float(x), float(y))

    def box(self, box: Box2) -> Box2:
        """Return where a box of the view lies on paper."""
        return (*self.at(box[:2]), *self.at(box[2:]))

    def back(self, point: Vec2) -> Vec2:
        """Return the point of the view that lies at a place on paper."""
        x, y = ((point[i] - self.corner[i]) / self.factor + self.window[i] for i in (0, 1))
        return (x, y)


def paper_for(seen: Seen, factor: float, *, bare: bool = False, room: float = 0.0) -> Paper:
    """Return the paper that a view takes at a scale: its window, the ground below, the axes' arrows, room round it.

    Args:
        room: width that there is, mm: words may stand in what the view does not need.
    """
    x0, y0, x1, y1 = seen.window
    foot = FOOT if any(drawn.piece.kind == "ground" for drawn in seen.holding) else 0.0
    edge, over = (_BARE_EDGE, 0.0) if bare else (RING + AIR, AXIS + HEIGHT + 1.0)
    left, below = edge, edge + foot
    right, above = (edge + max(0.0, over - v * factor) for v in (x1, y1))
    spare = min(_MOST_SPARE, max(0.0, 0.5 * (room - (x1 - x0) * factor - left - right))) if not bare else 0.0
    left, right = left + spare, right + spare
    wide, high = (round((b - a) * factor + c + d, 3) for a, b, c, d in ((x0, x1, left, right), (y0, y1, below, above)))
    return Paper(seen.window, factor, wide, high, (left, below), bare)


def grounded(drawn: Drawn, paper: Paper) -> Drawn:
    """Return as much of the ground as the paper has room for, broken off where it goes on."""
    x0, y0, x1, y1 = drawn.box
    deep, over = FOOT / paper.factor, (0.0 if paper.bare else AIR) / paper.factor
    left, right = paper.window[0] - over, paper.window[2] + over
    cut = {"left": x0 < left, "right": x1 > right, "below": y1 - y0 > deep}
    box = (max(x0, left), max(y0, y1 - deep), min(x1, right), y1)
    return Drawn(drawn.piece, box, drawn.near, tuple(side for side, is_cut in cut.items() if is_cut))
