"""A side of a set-up put on paper: its lines by weight, hatch on steel, words, the zero with its axes, numbered balloons.

Paper mm, origin at the lower left corner. Steel that holds is thin and hatched,
the work is bold and plain; nothing is told by colour. Knows nothing of scales
to choose from or of pages.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from export.sheets.balloons import FIGURE, RADIUS, RING, Balloon, balloons
from export.sheets.holding import Kind
from export.sheets.ink import Blot, Disc, Group, Mark, Path, Style, Word, number
from export.sheets.seen import Drawn, Seen, Side, hatched, outline, shown_and_behind
from export.sheets.words import HEIGHT, Ink, Placed, overlap, placed
from geom.flat.curve2d import Box2, Vec2, box_of, joined_box
from geom.rays.mesh_lines import Floats, cut_to_sight

FOOT: Final = 5.0
"""mm of ground drawn under what stands on it."""

_AIR: Final = 3.0
_BARE_EDGE: Final = 2.5
_INK: Final = 0.6
_MOST_SPARE: Final = 28.0
"""mm round a picture with words, and round one without."""

_STEP: Final = 0.25
"""mm between looks along a line."""

_AXIS: Final = 15.0
_HEAD, _HEAD_HALF = 3.0, 0.9
_ZERO: Final = 1.9
_DOT: Final = 0.5
_LEAST_SHOWN: Final = 6.0
"""mm2 that must show of a thing for it to be named."""

_LEAST_LINE: Final = 4.0
"""mm: shorter bits of the work's outline, where a rounding runs out, are left out: on paper they look like dirt."""

_SMALL_CUT: Final = 25.0
"""mm: a shorter line of what will be cut has shorter dashes, so that a small hole stays a ring."""

_TOGETHER: Final = 0.8
"""mm between lines that belong together."""

_DEEP: Final = 5e3


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

_TOLD_HIDDEN: Final[dict[Side, tuple[Kind, ...]]] = {
    "above": ("parallel", "packing", "jack", "shim"),
    "front": ("parallel", "packing", "jack"),
}
"""Kinds that are named even where the work or a jaw hides them: nobody would look for them there."""


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
    edge, over = (_BARE_EDGE, 0.0) if bare else (RING + _AIR, _AXIS + HEIGHT + 1.0)
    left, below = edge, edge + foot
    right, above = (edge + max(0.0, over - v * factor) for v in (x1, y1))
    spare = min(_MOST_SPARE, max(0.0, 0.5 * (room - (x1 - x0) * factor - left - right))) if not bare else 0.0
    left, right = left + spare, right + spare
    wide, high = (round((b - a) * factor + c + d, 3) for a, b, c, d in ((x0, x1, left, right), (y0, y1, below, above)))
    return Paper(seen.window, factor, wide, high, (left, below), bare)


def groups(seen: Seen, paper: Paper, features: Sequence[str]) -> list[Group]:
    """Return the marks of one side, in the order they lie over each other.

    Args:
        features: names of what is cut, as in `seen.spots`.
    """
    steel = [_steel(drawn, seen, paper) for drawn in seen.holding]
    work = _work(seen, paper)
    if paper.bare:
        return [*steel, work]
    lines = _points([*work.marks, *(mark for group in steel for mark in group.marks)])
    zero, signs = _zero(seen, paper)
    tips = [paper.at(spot) for spot, _ in seen.spots]
    edge = (RING, RING, paper.width - RING, paper.height - RING)
    near = [*signs, *((x - 1.0, y - 1.0, x + 1.0, y + 1.0) for x, y in tips)]
    words = _words(seen, paper, edge, near, Ink(lines, paper.width, paper.height))
    taken = [*signs, *(one.word.box for one in words)]
    low, high = (lines.min(axis=0) - _AIR).tolist(), (lines.max(axis=0) + _AIR).tolist()
    wide = joined_box([(low[0], low[1], high[0], high[1]), *taken])
    picture = (max(wide[0], edge[0]), max(wide[1], edge[1]), min(wide[2], edge[2]), min(wide[3], edge[3]))
    numbered = balloons(tips, picture, taken)
    return [*steel, work, _cut(seen, paper), *_numbers(numbered, seen, paper, features), zero, _said(words)]


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


# --- lines ------------------------------------------------------------------


def _paths(style: Style, lines: Floats, paper: Paper) -> tuple[Path, ...]:
    """Return lines on paper, those that follow each other joined."""
    flat = (lines[:, :, :2] - np.array(paper.window[:2])) * paper.factor + np.array(paper.corner)
    return tuple(Path(style, points) for points in _joined([((a, b), (c, d)) for (a, b), (c, d) in flat.tolist()]))


def _joined(pieces: Sequence[tuple[Vec2, Vec2]]) -> list[tuple[Vec2, ...]]:
    """Return pieces chained end to end as far as they go; of pieces that lie on each other one."""
    ends: dict[tuple[int, int], list[int]] = {}
    keys = [tuple((round(x * 1000), round(y * 1000)) for x, y in piece) for piece in pieces]
    for number_, (a, b) in enumerate(keys):
        ends.setdefault(a, []).append(number_)
        ends.setdefault(b, []).append(number_)
    first_of: dict[tuple[tuple[int, ...], ...], int] = {}
    used = [a == b or first_of.setdefault((min(a, b), max(a, b)), n) != n for n, (a, b) in enumerate(keys)]
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
    return Group("work", (*_paths("soft", soft, paper), *dashed, *_without_specks(_paths("work", shown, paper))), facts)


def _without_specks(paths: Sequence[Path]) -> list[Path]:
    """Return the lines less short bits that stand alone; pieces of one circle belong together."""
    if not paths:
        return []
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    owner = np.repeat(np.arange(len(paths)), [len(path.points) for path in paths])
    pairs = owner[cKDTree(np.concatenate([path.points for path in paths])).query_pairs(_TOGETHER, output_type="ndarray")]
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(paths), len(paths)))
    count, lump = connected_components(links, directed=False)
    sizes = [_length(path) for path in paths]
    long = np.bincount(lump, weights=sizes, minlength=count) > _LEAST_LINE
    return [path for path, kept in zip(paths, long[lump].tolist(), strict=True) if kept]


def _extent(seen: Seen) -> Box2:
    flat = seen.work[:, :, :2].reshape(-1, 2)
    low, high = flat.min(axis=0), flat.max(axis=0)
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def _cut(seen: Seen, paper: Paper) -> Group:
    paths = _paths("cut", seen.cut, paper)
    return Group("cut", tuple(Path("cut small", path.points) if _length(path) < _SMALL_CUT else path for path in paths))


def _length(path: Path) -> float:
    return sum(math.dist(a, b) for a, b in pairwise(path.points))


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
    """Return as much of the ground as the paper has room for, broken off where it goes on."""
    x0, y0, x1, y1 = drawn.box
    deep, over = FOOT / paper.factor, (0.0 if paper.bare else _AIR) / paper.factor
    left, right = paper.window[0] - over, paper.window[2] + over
    cut = {"left": x0 < left, "right": x1 > right, "below": y1 - y0 > deep}
    box = (max(x0, left), max(y0, y1 - deep), min(x1, right), y1)
    return Drawn(drawn.piece, box, drawn.near, tuple(side for side, is_cut in cut.items() if is_cut))


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
    marks: list[Mark] = [Disc("axis", (x, y), _ZERO), Path("axis", ((x - 3.0, y), ends[0])), Path("axis", ((x, y - 3.0), ends[1]))]
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


def _words(seen: Seen, paper: Paper, edge: Box2, taken: Sequence[Box2], ink: Ink) -> list[Placed]:
    """Return a word for each kind of thing that holds the work, once for all that are called the same."""
    boxes, found = list(taken), []
    for drawn in _named(seen, paper):
        text = f"{drawn.piece.word}, broken off" if drawn.broken and drawn.piece.kind != "ground" else drawn.piece.word
        one = placed(text, paper.box(drawn.box), edge, boxes, ink, _shows(drawn, seen, paper), _foreign(drawn, seen, paper))
        found.append(one)
        boxes.append(one.word.box)
    return found


def _named(seen: Seen, paper: Paper) -> list[Drawn]:
    """Return the pieces that carry a word, those with least choice of place first; of equals the one that shows most."""
    best: dict[tuple[Kind, str], tuple[float, Drawn]] = {}
    for drawn in seen.holding:
        kind = drawn.piece.kind
        whole = _grounded(drawn, paper) if kind == "ground" else drawn
        shown = _shown_area(whole, seen) * paper.factor**2
        key = (kind, drawn.piece.word)
        if (shown > _LEAST_SHOWN or kind in _TOLD_HIDDEN[seen.side]) and shown > best.get(key, (-1.0, drawn))[0] + 1e-6:
            best[key] = shown, whole
    rank: dict[Kind, int] = {"jaw": 0, "plate": 1, "ground": 2}
    return sorted((drawn for _, drawn in best.values()), key=lambda drawn: rank.get(drawn.piece.kind, 3))


def _shown_area(drawn: Drawn, seen: Seen) -> float:
    """Return about how much of a piece shows, mm2."""
    x0, y0, x1, y1 = drawn.box
    spots = _grid(drawn.box, (16, 8), drawn.near)
    return float(seen.all.open(spots).mean()) * (x1 - x0) * (y1 - y0)


def _grid(box: Box2, count: tuple[int, int], near: float) -> Floats:
    """Return the middles of the fields of a grid on a box, (n, 3) in the view."""
    xs, ys = (box[i] + (box[i + 2] - box[i]) * (np.arange(count[i]) + 0.5) / count[i] for i in (0, 1))
    x, y = np.meshgrid(xs, ys)
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, near)])


def _in_view(box: Box2, paper: Paper) -> Box2:
    return (*paper.back(box[:2]), *paper.back(box[2:]))


def _shows(drawn: Drawn, seen: Seen, paper: Paper) -> Callable[[Box2], bool]:
    """Return what tells whether all of a box on paper lies on what shows of a piece."""

    def shows(box: Box2) -> bool:
        return drawn.piece.kind == "ground" or bool(seen.all.open(_grid(_in_view(box, paper), (9, 4), drawn.near)).all())

    return shows


def _foreign(drawn: Drawn, seen: Seen, paper: Paper) -> Callable[[Box2], bool]:
    """Return what tells whether a box on paper lies on the work, or on a piece that is called something else."""
    others = [
        paper.box((_grounded(one, paper) if one.piece.kind == "ground" else one).box)
        for one in seen.holding
        if one.piece.word != drawn.piece.word
    ]

    def foreign(box: Box2) -> bool:
        on_work = not seen.alone.open(_grid(_in_view(box, paper), (5, 2), -_DEEP)).all()
        return on_work or any(overlap(box, other) for other in others)

    return foreign


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
