"""Where the bars of straps lie: each with its stud and its heel, clear of the work and of every row.

A plan knows where a strap's nose presses. Its bar lies along X or Y from there
to the nearest open table, the stud as near to the work as it goes and the heel
no nearer to the stud than the nose is, so that most of the force is the work's
(common practice, no source). Lengths mm, set-up frame. Knows nothing of slots
in the table, nor of how strong a strap is.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from geom.looks.contact import Standing, showing
from geom.looks.holder import CLEAR, table_height
from geom.looks.row_faults import meeting
from geom.rays.analytic import Floats
from geom.rows.plan import Hold
from geom.rows.records import Box, Row, Setup, Words
from geom.rows.words import About

_HALF: Final = 8.0
"""mm: half the width of a bar (common practice, no source)."""

_THICK: Final = 16.0
"""mm: thickness of a bar (common practice, no source)."""

_STUD: Final = 7.0
"""mm: half the width of a stud and its nut (common practice, no source)."""

_HEEL: Final = 12.0
"""mm: half the length of the packing under a heel."""

_LONGEST: Final = 200.0
"""mm: the longest bar (common practice, no source)."""

_OVER: Final = 1.0
"""mm that the skin may stand above where the nose presses and still let the bar lie: straps are packed a little high."""

_STEP: Final = 3.0

_WAYS: Final = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "front": (0.0, -1.0), "back": (0.0, 1.0)}

_Pair: TypeAlias = tuple[float, float]
_Square: TypeAlias = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Bar:
    """One strap: the side its bar runs to, how far stud and heel stand from the nose, the three boxes it takes."""

    number: int
    way: str
    stud: float
    heel: float
    height: float
    boxes: tuple[Box, ...]

    @property
    def words(self) -> Words:
        """What the machinist sets up."""
        return (
            f"strap {self.number} runs to the {self.way}: stud ", About(self.stud), " and heel ", About(self.heel),
            " from where it presses, heel packed ", self.height, " high",
        )  # fmt: skip


_AT_ONCE: Final = 16
"""Places on a bar's line that are looked at together: one look at many is hardly slower than at one."""

_SLOTS: Final[Words] = ("studs stand in the slots nearest to these places; a heel stands a little high rather than low",)


def with_bars(setup: Setup, hold: Hold, standing: Standing) -> Setup:
    """Return a set-up whose straps have bars, studs and heels; one that finds no room for them is told in its notes."""
    table = table_height(setup.boxes)
    noses = [box for box in setup.boxes if box.name.startswith("strap ")]
    if hold.method != "table" or table is None or not noses or hold.by_studs:
        return setup
    boxes = [box for box in setup.boxes if box not in noses]
    words: list[Words] = []
    notes: list[Words] = []
    for number, nose in enumerate(noses, 1):
        others = [*noses[number:], *(box for box in boxes if "strap" in box.name)]
        bar = min(_bars(number, nose, table, others, setup.rows, standing), key=lambda one: one.heel, default=None)
        boxes += [nose] if bar is None else bar.boxes
        if bar is None:
            notes.append(_no_room(number, nose))
        else:
            words.append(bar.words)
    return replace(
        setup, boxes=tuple(boxes), holding=(*setup.holding, *words, *([_SLOTS] if words else [])), notes=(*notes, *setup.notes)
    )


def _no_room(number: int, nose: Box) -> Words:
    x, y = nose.middle
    return (
        f"strap {number} at X ", x, " Y ", y, ": no way along X or Y keeps bar, stud and heel clear of the work and of every row: "
        "set it as the work allows, and run each row above the work first to see that nothing meets it",
    )  # fmt: skip


def _bars(number: int, nose: Box, table: float, others: Sequence[Box], rows: Sequence[Row], standing: Standing) -> Iterator[Bar]:
    """Yield the ways a bar can lie."""
    for way, along in _WAYS.items():
        found = _feet(nose.middle, along, standing)
        if found is None:
            continue
        stud, heel = found
        boxes = _boxes(number, nose, along, stud, heel, table)
        taken = any(_overlap(one, other) for one in boxes for other in others)
        if not taken and _lies(boxes[0], nose, along, standing) and not meeting(rows, [_grown(one) for one in boxes]):
            yield Bar(number, way, stud, heel, nose.low[2] - table, boxes)


def _feet(at: _Pair, along: _Pair, standing: Standing) -> _Pair | None:
    """Return how far from the nose a stud and a heel find open table; None where a bar would be too long."""
    away = np.arange(_HALF + _STUD, _LONGEST - 2.0 * _HEEL, _STEP).tolist()
    stud = _first_open(at, along, away, _STUD + 1.0, standing)
    if stud is None:
        return None
    first = stud + max(stud, _STUD + _HEEL + 1.0)
    heels = np.arange(first, _LONGEST - _HALF - _HEEL, _STEP).tolist()
    heel = _first_open(at, along, heels, _HEEL + 1.0, standing)
    return None if heel is None else (stud, heel)


def _first_open(at: _Pair, along: _Pair, away: Sequence[float], half: float, standing: Standing) -> float | None:
    """Return the first place on the bar's line where a square about it has no work over it; looked at some at a time."""
    for some in (away[i : i + _AT_ONCE] for i in range(0, len(away), _AT_ONCE)):
        middles = np.array(at) + np.array(some)[:, None] * np.array(along)
        grids = (middles[:, None, :] + _grid((-half, -half, half, half))).reshape(-1, 2)
        nothing = showing(standing, "-z", grids[:, 0], grids[:, 1], False) == -1
        free = np.flatnonzero(nothing.reshape(len(some), -1).all(axis=1))
        if free.size:
            return some[int(free[0])]
    return None


def _lies(bar: Box, nose: Box, along: _Pair, standing: Standing) -> bool:
    """Tell whether nothing of the work stands up where a bar lies, its nose's own patch apart: the plan looked at that."""
    square = [bar.low[0], bar.low[1], bar.high[0], bar.high[1]]
    lead = 0 if along[0] else 1
    square[lead if along[lead] > 0.0 else lead + 2] = nose.middle[lead]
    tops = standing.tops(_grid((square[0], square[1], square[2], square[3])))
    return bool(tops.max() <= nose.low[2] + _OVER)


def _grid(square: _Square) -> Floats:
    """Return places over a square, its rim among them, (n, 2)."""
    x0, y0, x1, y1 = square
    x, y = (np.linspace(a, b, 2 + math.ceil((b - a) / _STEP)) for a, b in ((x0, x1), (y0, y1)))
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _boxes(number: int, nose: Box, along: _Pair, stud: float, heel: float, table: float) -> tuple[Box, Box, Box]:
    """Return the bar from nose to heel, the stud from the table to above its nut, the packing under the heel."""
    at, z, top = nose.middle, nose.low[2], nose.high[2]
    bar = _box(f"strap {number}", at, along, (-_HALF, heel + _HEEL), _HALF, (z, z + _THICK))
    rod = _box(f"stud of strap {number}", at, along, (stud - _STUD, stud + _STUD), _STUD, (table, top))
    foot = _box(f"heel of strap {number}", at, along, (heel - _HEEL, heel + _HEEL), _HALF, (table, z))
    return bar, rod, foot


def _box(name: str, at: _Pair, along: _Pair, span: _Pair, half: float, high: _Pair) -> Box:
    """Return a box whose span runs along X or Y from a place."""
    ends = [(s * along[0] + w * along[1], s * along[1] + w * along[0]) for s in span for w in (-half, half)]
    (x0, y0), (x1, y1) = (np.array(at) + step for step in (np.min(ends, axis=0), np.max(ends, axis=0)))
    return Box(name, (float(x0), float(y0), high[0]), (float(x1), float(y1), high[1]))


def _grown(box: Box) -> Box:
    low, high = (tuple(v + sign * CLEAR for v in corner) for sign, corner in ((-1.0, box.low), (1.0, box.high)))
    return Box(box.name, (low[0], low[1], low[2]), (high[0], high[1], high[2]))


def _overlap(one: Box, other: Box) -> bool:
    """Tell whether two boxes come nearer than the air between straps, seen from above."""
    return all(one.low[i] < other.high[i] + CLEAR and other.low[i] < one.high[i] + CLEAR for i in (0, 1))
