"""Words beside what they name: inside it where they have room, else close by on the emptiest ground.

Paper mm. Knows nothing of what the words say.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from export.sheets.ink import Word
from geom.flat.curve2d import Box2, Vec2

HEIGHT: Final = 2.8
"""mm: capitals of 11 pt type."""

_STEPS: Final = (0.6, 3.0, 6.0, 10.0, 15.0)
_PER_INK: Final = 0.25
"""mm of distance that covering half a millimetre of line is worth."""

_TAKEN: Final = 500.0
_GRID: Final = 0.5
_ON_ANOTHER: Final = 5.0
"""mm of distance that standing on another thing is worth."""


Clear = Callable[[Box2], bool]


@dataclass(frozen=True, slots=True)
class Placed:
    """Words, and the leader from them to what they name; None where they touch it."""

    word: Word
    leader: tuple[Vec2, Vec2] | None = None


class Ink:
    """How much line lies where: points along it, counted on a grid so that any box is summed at once."""

    __slots__ = ("_sum",)

    def __init__(self, points: npt.NDArray[np.float64], width: float, height: float) -> None:
        """Count points (n, 2), about half a millimetre apart, on paper of a size."""
        bins = (int(width / _GRID) + 2, int(height / _GRID) + 2)
        counts = np.zeros(bins)
        cell = np.clip((points / _GRID).astype(np.int64), 0, np.array(bins) - 1)
        np.add.at(counts, (cell[:, 0], cell[:, 1]), 1.0)
        self._sum = np.pad(counts.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))

    def under(self, box: Box2) -> int:
        """Return how many points a box covers, to the grid."""
        top = np.array(self._sum.shape) - 1
        (x0, y0), (x1, y1) = (np.clip(np.rint(np.array(box[i : i + 2]) / _GRID), 0, top).astype(int) for i in (0, 2))
        return int(self._sum[x1, y1] - self._sum[x0, y1] - self._sum[x1, y0] + self._sum[x0, y0])


def placed(text: str, target: Box2, picture: Box2, taken: Sequence[Box2], ink: Ink, shows: Clear, foreign: Clear) -> Placed:
    """Return where words stand.

    Args:
        target: box of what they name.
        picture: where words may stand.
        taken: boxes of other words and signs.
        ink: what words would cover.
        shows: whether all of a box within the target can be seen.
        foreign: whether words in a box would stand on another thing.
    """
    return _inside(text, target, taken, shows) or _beside(text, target, picture, taken, ink, foreign)


def _inside(text: str, target: Box2, taken: Sequence[Box2], shows: Clear) -> Placed | None:
    size = Word(text, (0.0, 0.0), HEIGHT).box
    xs = _between(target[0] - size[0] + 0.4, target[2] - size[2] - 0.4)
    ys = _between(target[1] - size[1] + 0.3, target[3] - size[3] - 0.3)
    for y in ys:
        for x in xs:
            word = Word(text, (x, y), HEIGHT)
            if not any(overlap(word.box, other) for other in taken) and shows(word.box):
                return Placed(word)
    return None


def _between(low: float, high: float) -> list[float]:
    """Return places from the middle outwards, about 3 mm apart; none where there is no room."""
    if high < low:
        return []
    steps = int((high - low) / 3.0)
    middle = 0.5 * (low + high)
    found = [low + (high - low) * i / steps for i in range(steps + 1)] if steps else [middle]
    return sorted(found, key=lambda v: (round(abs(v - middle), 6), v))


def _beside(text: str, target: Box2, picture: Box2, taken: Sequence[Box2], ink: Ink, foreign: Clear) -> Placed:
    best: tuple[float, Placed] | None = None
    for step in _STEPS:
        for at in _around(text, target, step):
            word = Word(text, _within(picture, Word(text, at, HEIGHT)), HEIGHT)
            box = word.box
            out = max(picture[0] - box[0], picture[1] - box[1], box[2] - picture[2], box[3] - picture[3], 0.0)
            inked = ink.under(box)
            cost = step + _PER_INK * inked + _TAKEN * (sum(overlap(box, other) for other in taken) + (out > 0)) + out
            if best is not None and cost >= best[0] - 1e-6:
                continue
            cost += _ON_ANOTHER * foreign(box)
            if best is None or cost < best[0] - 1e-6:
                best = cost, Placed(word, _leader(box, target) if step > 1.0 and not overlap(box, target) else None)
    assert best is not None
    return best[1]


def _within(picture: Box2, word: Word) -> Vec2:
    """Return the middle of words moved just so far that they stand in the picture."""
    at = []
    for i in (0, 1):
        low, high = word.at[i] - word.box[i], word.box[i + 2] - word.at[i]
        at.append(max(min(word.at[i], picture[i + 2] - high), picture[i] + low))
    return at[0], at[1]


def _around(text: str, target: Box2, step: float) -> list[Vec2]:
    """Return middles of words that stand a step away from a box: at its sides first, then at its corners."""
    x0, y0, x1, y1 = Word(text, (0.0, 0.0), HEIGHT).box
    left, below, right, above = target[0] - step - x1, target[1] - step - y1, target[2] + step - x0, target[3] + step - y0
    x, y = 0.5 * (target[0] + target[2]), 0.5 * (target[1] + target[3])
    corners = [(left, below), (left, above), (right, below), (right, above)]
    ends = [(target[0] - x0, above), (target[2] - x1, above), (target[0] - x0, below), (target[2] - x1, below)]
    return [(right, y), (left, y), (x, above), (x, below), *ends, *corners]


def _leader(box: Box2, target: Box2) -> tuple[Vec2, Vec2]:
    """Return a line from the edge of words to the nearest place well inside a box."""
    inset = [min(0.8, 0.4 * (target[i + 2] - target[i])) for i in (0, 1)]
    middle = 0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])
    end = tuple(min(max(middle[i], target[i] + inset[i]), target[i + 2] - inset[i]) for i in (0, 1))
    start = tuple(min(max(end[i], box[i]), box[i + 2]) for i in (0, 1))
    return (start[0], start[1]), (end[0], end[1])


def overlap(a: Box2, b: Box2) -> bool:
    """Tell whether two boxes share ground."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
