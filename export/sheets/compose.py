"""A side of a set-up put on paper: its lines by weight, hatch on steel, words, the zero with its axes, numbered balloons.

Paper mm, origin at the lower left corner. Steel that holds is thin and hatched,
the work is bold and plain; nothing is told by colour. Knows nothing of scales
to choose from or of pages.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from export.sheets.balloons import FIGURE, RADIUS, RING, Balloon, balloons
from export.sheets.holding import Kind
from export.sheets.ink import Blot, Disc, Group, Mark, Path, Style, Word, number
from export.sheets.seen import Drawn, Seen, hatched, outline, shown_and_behind
from export.sheets.words import HEIGHT, Placed, placed
from geom.flat.curve2d import Box2, Vec2
from geom.rays.mesh_lines import Floats, cut_to_sight

PAD: Final = 5.0
"""mm of ground drawn under what stands on it; and the air round the picture that words may use."""

_STEP: Final = 0.25
"""mm between looks along a line."""

_AXIS: Final = 15.0
_HEAD, _HEAD_HALF = 3.0, 0.9
_ZERO: Final = 1.9
_DOT: Final = 0.5

_HATCH: Final[dict[Kind, tuple[float, bool]]] = {
    "jaw": (2.6, True),
    "plate": (2.6, True),
    "ground": (2.6, True),
    "strap": (1.5, False),
    "packing": (1.8, False),
    "jack": (1.3, True),
    "parallel": (1.8, False),
}
"""Pitch along x, mm, and whether it rises to the right."""

_ONCE: Final[tuple[Kind, ...]] = ("parallel", "shim", "soft", "jack")
"""Kinds of which one word stands for all that say the same."""


@dataclass(frozen=True, slots=True)
class Paper:
    """Where a window of the work lies on paper.

    Attributes:
        foot: mm of ground below the window.
        bare: without words and balloons.
    """

    window: Box2
    factor: float
    foot: float = 0.0
    bare: bool = False

    @property
    def edge(self) -> float:
        """From the edge of the paper to the picture."""
        return 1.0 if self.bare else RING + PAD

    @property
    def reach(self) -> tuple[float, float, float, float]:
        """How far the axes' arrows need more than the window: left, below, right, above."""
        x0, _, x1, y1 = self.window
        if self.bare:
            return (0.0, self.foot, 0.0, 0.0)
        over = _AXIS + HEIGHT + 1.0
        return (max(0.0, x0 * self.factor + 3.0), self.foot, max(0.0, over - x1 * self.factor), max(0.0, over - y1 * self.factor))

    @property
    def width(self) -> float:
        """mm on paper."""
        return round((self.window[2] - self.window[0]) * self.factor + self.reach[0] + self.reach[2] + 2 * self.edge, 3)

    @property
    def height(self) -> float:
        """mm on paper."""
        return round((self.window[3] - self.window[1]) * self.factor + self.reach[1] + self.reach[3] + 2 * self.edge, 3)

    @property
    def picture(self) -> Box2:
        """What the balloons stand round."""
        air = 1.0 if self.bare else RING
        return (air, air, self.width - air, self.height - air)

    def at(self, point: Sequence[float]) -> Vec2:
        """Return where a point of the view lies on paper."""
        x = (point[0] - self.window[0]) * self.factor + self.reach[0] + self.edge
        return (float(x), float((point[1] - self.window[1]) * self.factor + self.reach[1] + self.edge))

    def box(self, box: Box2) -> Box2:
        """Return where a box of the view lies on paper."""
        return (*self.at(box[:2]), *self.at(box[2:]))

    def back(self, point: Vec2) -> Vec2:
        """Return the point of the view that lies at a place on paper."""
        x = (point[0] - self.reach[0] - self.edge) / self.factor + self.window[0]
        return (x, (point[1] - self.reach[1] - self.edge) / self.factor + self.window[1])


def groups(seen: Seen, paper: Paper, features: Sequence[str]) -> list[Group]:
    """Return the marks of one side, in the order they lie over each other.

    Args:
        features: names of what is cut, as in `seen.spots`.
    """
    steel = [_steel(drawn, seen, paper) for drawn in seen.holding]
    work = _work(seen, paper)
    if paper.bare:
        return [*steel, work]
    ink = _points([*work.marks, *(mark for group in steel for mark in group.marks)])
    zero, signs = _zero(seen, paper)
    words = _words(seen, paper, signs, ink)
    taken = [*signs, *(one.word.box for one in words)]
    tips = [paper.at(spot) for spot, _ in seen.spots]
    numbered = balloons(tips, paper.picture, taken)
    return [*steel, work, _cut(seen, paper), *_numbers(numbered, seen, paper, features), zero, _said(words)]


# --- lines ------------------------------------------------------------------


def _paths(style: Style, lines: Floats, paper: Paper) -> tuple[Path, ...]:
    """Return lines on paper, those that follow each other joined."""
    return tuple(Path(style, points) for points in _joined([(paper.at(a), paper.at(b)) for a, b in lines.tolist()]))


def _joined(pieces: Sequence[tuple[Vec2, Vec2]]) -> list[tuple[Vec2, ...]]:
    """Return pieces chained end to end as far as they go, each piece once."""
    ends: dict[tuple[int, int], list[int]] = {}
    keys = [tuple((round(x * 1000), round(y * 1000)) for x, y in piece) for piece in pieces]
    for number_, (a, b) in enumerate(keys):
        ends.setdefault(a, []).append(number_)
        ends.setdefault(b, []).append(number_)
    used = [a == b for a, b in keys]
    chains = []
    for first in range(len(pieces)):
        if used[first]:
            continue
        used[first] = True
        chain = list(pieces[first])
        for forward in (True, False):
            at = keys[first][1 if forward else 0]
            while (after := next((n for n in ends[at] if not used[n]), None)) is not None:
                used[after] = True
                far = 1 if keys[after][0] == at else 0
                at = keys[after][far]
                chain.insert(len(chain) if forward else 0, pieces[after][far])
        chains.append(tuple(chain))
    return chains


def _work(seen: Seen, paper: Paper) -> Group:
    step = _STEP / paper.factor
    shown, behind = shown_and_behind(seen.work, seen, step)
    soft, _ = shown_and_behind(seen.soft, seen, step)
    x0, y0, x1, y1 = _extent(seen)
    facts = {"low": f"{number(x0)} {number(y0)}", "high": f"{number(x1)} {number(y1)}"}
    dashed = () if paper.bare else _paths("work behind", behind, paper)
    return Group("work", (*_paths("soft", soft, paper), *dashed, *_paths("work", shown, paper)), facts)


def _extent(seen: Seen) -> Box2:
    flat = seen.work[:, :, :2].reshape(-1, 2)
    low, high = flat.min(axis=0), flat.max(axis=0)
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def _cut(seen: Seen, paper: Paper) -> Group:
    return Group("cut", _paths("cut", seen.cut, paper))


def _steel(drawn: Drawn, seen: Seen, paper: Paper) -> Group:
    piece, step = drawn.piece, _STEP / paper.factor
    marks: list[Mark] = []
    if piece.kind == "ground":
        drawn = _grounded(drawn, paper)
    shown, behind = cut_to_sight(outline(drawn), seen.all, step)
    if piece.kind in _HATCH:
        pitch, rising = _HATCH[piece.kind]
        if piece.name == "movable jaw":
            rising = not rising
        lines, _ = cut_to_sight(hatched(drawn, pitch / paper.factor, rising), seen.all, step)
        marks += _paths("hatch", lines, paper)
    if not paper.bare and piece.kind != "ground":
        marks += _paths("holding behind", behind, paper)
    marks += _paths("holding", shown, paper)
    marks += [Path("break", _break(paper.box(drawn.box), side)) for side in drawn.broken]
    low, high = (" ".join(number(v) for v in corner) for corner in (piece.low, piece.high))
    facts = {"name": piece.name, "kind": piece.kind, "low": low, "high": high, "given": "yes" if piece.given else "no"}
    return Group(piece.name.replace(" ", "-"), tuple(marks), facts)


def _grounded(drawn: Drawn, paper: Paper) -> Drawn:
    """Return the ground with no more of its height than the paper has room for, broken off below."""
    x0, y0, x1, y1 = drawn.box
    deep = paper.foot / paper.factor
    if y1 - y0 <= deep:
        return drawn
    return Drawn(drawn.piece, (x0, y1 - deep, x1, y1), drawn.near, tuple({*drawn.broken, "below"}))


def _break(box: Box2, side: str) -> tuple[Vec2, ...]:
    """Return a break line along one side of a box: long straight pieces with a zigzag in the middle (ISO 128)."""
    x0, y0, x1, y1 = box
    if side in ("left", "right"):
        x, middle = (x0 if side == "left" else x1), 0.5 * (y0 + y1)
        return ((x, y0), (x, middle - 1.5), (x - 1.2, middle - 0.5), (x + 1.2, middle + 0.5), (x, middle + 1.5), (x, y1))
    y, middle = (y0 if side == "below" else y1), 0.5 * (x0 + x1)
    return ((x0, y), (middle - 1.5, y), (middle - 0.5, y - 1.2), (middle + 0.5, y + 1.2), (middle + 1.5, y), (x1, y))


# --- zero -------------------------------------------------------------------


def _zero(seen: Seen, paper: Paper) -> tuple[Group, list[Box2]]:
    """Return the zero, a crossed ring with an arrow and a letter for each axis, and the ground it takes."""
    x, y = paper.at((0.0, 0.0))
    letters = ("X", "Y" if seen.side == "above" else "Z")
    ends = ((x + _AXIS, y), (x, y + _AXIS))
    marks: list[Mark] = [Disc("axis", (x, y), _ZERO)]
    marks += [Path("axis", ((x - 2.6, y), ends[0])), Path("axis", ((x, y - 2.6), ends[1]))]
    marks += [Blot(_head(end, way)) for end, way in zip(ends, ((1.0, 0.0), (0.0, 1.0)), strict=True)]
    names = [
        Word(letters[0], (ends[0][0] + 1.2 + 0.4 * HEIGHT, y), HEIGHT * 1.15),
        Word(letters[1], (x, ends[1][1] + 1.0 + 0.6 * HEIGHT), HEIGHT * 1.15),
    ]
    taken = [(x - 3.0, y - 3.0, x + 3.0, y + 3.0), (x, y - 1.0, x + _AXIS, y + 1.0), (x - 1.0, y, x + 1.0, y + _AXIS)]
    facts = {"at": "0 0 0", "axes": " ".join(letters)}
    return Group("zero", (*marks, *names), facts), [*taken, *(name.box for name in names)]


def _head(tip: Vec2, way: Vec2) -> tuple[Vec2, ...]:
    back = tip[0] - _HEAD * way[0], tip[1] - _HEAD * way[1]
    side = -way[1] * _HEAD_HALF, way[0] * _HEAD_HALF
    return (tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1]))


# --- words and numbers ------------------------------------------------------


def _words(seen: Seen, paper: Paper, signs: Sequence[Box2], ink: Floats) -> list[Placed]:
    taken, found, said = list(signs), [], set()
    for drawn in _in_order(seen.holding):
        piece = drawn.piece
        if not piece.word or (piece.kind in _ONCE and (piece.kind, piece.word) in said):
            continue
        said.add((piece.kind, piece.word))
        text = f"{piece.word}, broken off" if drawn.broken and piece.kind != "ground" else piece.word
        target = paper.box((_grounded(drawn, paper) if piece.kind == "ground" else drawn).box)
        one = placed(text, target, paper.picture, taken, ink, _shows(drawn, seen, paper))
        found.append(one)
        taken.append(one.word.box)
    return found


def _in_order(holding: Sequence[Drawn]) -> list[Drawn]:
    """Return what is named first: what leaves least choice."""
    rank: dict[Kind, int] = {"jaw": 0, "plate": 1, "ground": 2}
    return sorted(holding, key=lambda drawn: rank.get(drawn.piece.kind, 3))


def _shows(drawn: Drawn, seen: Seen, paper: Paper) -> Callable[[Box2], bool]:
    """Return what tells whether all of a box on paper lies on what shows of a piece."""

    def shows(box: Box2) -> bool:
        if drawn.piece.kind == "ground":
            return True
        spots = [(*paper.back((x, y)), drawn.near) for x in np.linspace(box[0], box[2], 9) for y in np.linspace(box[1], box[3], 4)]
        return bool(seen.all.open(np.array(spots)).all())

    return shows


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


def _points(marks: Sequence[Mark]) -> Floats:
    """Return points along all lines, half a millimetre apart."""
    ends = [(a, b) for mark in marks if isinstance(mark, Path) for a, b in zip(mark.points, mark.points[1:], strict=False)]
    if not ends:
        return np.zeros((0, 2))
    a, b = np.array(ends).transpose(1, 0, 2)
    count = np.maximum(np.ceil(np.linalg.norm(b - a, axis=1) / 0.5).astype(np.int64), 1)
    row = np.repeat(np.arange(len(a)), count)
    share = (np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)) / count[row]
    return np.asarray(a[row] + share[:, None] * (b - a)[row])
