"""A side of a set-up put on paper: its lines, words on what holds the work, the zero with its axes, numbered balloons.

Paper mm, origin at the lower left corner. Steel that holds is thin and hatched,
the work is bold and plain; nothing is told by colour. Knows nothing of scales
to choose from or of pages.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from export.sheets.balloons import FIGURE, RADIUS, RING, Balloon, balloons
from export.sheets.ink import Blot, Disc, Group, Mark, Path, Word, number
from export.sheets.lines import cut_group, points_along, steel_group, work_group
from export.sheets.naming import words_for
from export.sheets.seen import Seen
from export.sheets.window import AIR, AXIS, Paper
from export.sheets.words import HEIGHT, Ink, Placed
from geom.flat.curve2d import Box2, Vec2, box_of, joined_box

_INK: Final = 0.6
"""mm: more than half the widest line."""

_HEAD, _HEAD_HALF = 3.0, 0.9
_ZERO: Final = 1.9
_DOT: Final = 0.5


def groups(seen: Seen, paper: Paper, features: Sequence[str]) -> list[Group]:
    """Return the marks of one side, in the order they lie over each other.

    Args:
        features: names of what is cut, as in `seen.spots`.
    """
    steel = [steel_group(drawn, seen, paper) for drawn in seen.holding]
    work = work_group(seen, paper)
    if paper.bare:
        return [*steel, work]
    lines = points_along([*work.marks, *(mark for group in steel for mark in group.marks)])
    zero, signs = _zero(seen, paper)
    tips = [paper.at(spot) for spot, _ in seen.spots]
    edge = (RING, RING, paper.width - RING, paper.height - RING)
    near = [*signs, *((x - 1.0, y - 1.0, x + 1.0, y + 1.0) for x, y in tips)]
    words = words_for(seen, paper, edge, near, Ink(lines, paper.width, paper.height))
    taken = [*signs, *(one.word.box for one in words)]
    low, high = (lines.min(axis=0) - AIR).tolist(), (lines.max(axis=0) + AIR).tolist()
    wide = joined_box([(low[0], low[1], high[0], high[1]), *taken])
    picture = (max(wide[0], edge[0]), max(wide[1], edge[1]), min(wide[2], edge[2]), min(wide[3], edge[3]))
    numbered = balloons(tips, picture, taken)
    return [*steel, work, cut_group(seen, paper), *_numbers(numbered, seen, paper, features), zero, _said(words)]


def extent(marks: Iterable[Group]) -> Box2:
    """Return the box round all marks, with air for the width of lines."""
    boxes = [_mark_box(mark) for group in marks for mark in group.marks]
    x0, y0, x1, y1 = joined_box(boxes)
    return (x0 - _INK, y0 - _INK, x1 + _INK, y1 + _INK)


def _mark_box(mark: Mark) -> Box2:
    match mark:
        case Path() | Blot():
            return box_of(mark.points)
        case Disc(_, (x, y), radius):
            return (x - radius, y - radius, x + radius, y + radius)
        case Word():
            return mark.box


# --- zero -------------------------------------------------------------------


def _zero(seen: Seen, paper: Paper) -> tuple[Group, list[Box2]]:
    """Return the zero, a crossed ring with an arrow and a letter for each axis, and the ground it takes."""
    x, y = paper.at((0.0, 0.0))
    letters = ("X", "Y" if seen.side == "above" else "Z")
    ends = ((x + AXIS, y), (x, y + AXIS))
    marks: list[Mark] = [Disc("axis", (x, y), _ZERO), Path("axis", ((x - 3.0, y), ends[0])), Path("axis", ((x, y - 3.0), ends[1]))]
    marks += [Blot(_head(end, way)) for end, way in zip(ends, ((1.0, 0.0), (0.0, 1.0)), strict=True)]
    names = [
        Word(letters[0], (ends[0][0] + 1.2 + 0.4 * HEIGHT, y), HEIGHT * 1.15),
        Word(letters[1], (x, ends[1][1] + 1.0 + 0.6 * HEIGHT), HEIGHT * 1.15),
    ]
    taken = [(x - 3.0, y - 3.0, x + 3.0, y + 3.0), (x, y - 1.0, x + AXIS, y + 1.0), (x - 1.0, y, x + 1.0, y + AXIS)]
    facts = {"at": "0 0 0", "axes": " ".join(letters)}
    return Group("zero", (*marks, *names), facts), [*taken, *(name.box for name in names)]


def _head(tip: Vec2, way: Vec2) -> tuple[Vec2, ...]:
    back = tip[0] - _HEAD * way[0], tip[1] - _HEAD * way[1]
    side = -way[1] * _HEAD_HALF, way[0] * _HEAD_HALF
    return (tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1]))


# --- words and numbers ------------------------------------------------------


def _said(words: Sequence[Placed]) -> Group:
    leaders = tuple(Path("leader", one.leader) for one in words if one.leader is not None)
    return Group("words", (*leaders, *(one.word for one in words)))


def _numbers(numbered: Sequence[Balloon], seen: Seen, paper: Paper, features: Sequence[str]) -> Iterator[Group]:
    for balloon, name, (spot, radius) in zip(numbered, features, seen.spots, strict=True):
        tip = _rim(balloon, radius * paper.factor)
        size = math.dist(balloon.centre, tip)
        start = tuple(c + RADIUS / size * (t - c) for c, t in zip(balloon.centre, tip, strict=True))
        marks = (
            Path("leader", ((start[0], start[1]), tip)),
            Disc("leader", tip, _DOT, full=True),
            Disc("balloon", balloon.centre, RADIUS),
            Word(str(balloon.number), balloon.centre, FIGURE, bare=True),
        )
        facts = {"number": str(balloon.number), "name": name, "at": f"{number(spot[0])} {number(spot[1])}"}
        yield Group(f"feature-{balloon.number}", marks, facts)


def _rim(balloon: Balloon, radius: float) -> Vec2:
    """Return where a leader ends: at a hole seen from its mouth on its rim, towards the balloon; else at its spot."""
    (x, y), (cx, cy) = balloon.tip, balloon.centre
    size = math.dist((x, y), (cx, cy))
    share = min(radius / size, 0.9) if radius > 1.0 else 0.0
    return (x + share * (cx - x), y + share * (cy - y))
