"""The lines of a side of a set-up on paper: work bold, steel thin and hatched, what will be cut in phantom.

Paper mm. Knows nothing of words and numbers.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from export.sheets.holding import Kind
from export.sheets.ink import Group, Mark, Path, Style, number
from export.sheets.seen import Drawn, Seen, hatched, outline, shown_and_behind
from export.sheets.window import Paper, grounded
from geom.flat.curve2d import Box2, Vec2
from geom.rays.mesh_lines import Floats, cut_to_sight

STEP: Final = 0.25
"""mm between looks along a line."""

_LEAST_LINE: Final = 4.0
"""mm: shorter bits of the work's outline, where a rounding runs out, are left out: on paper they look like dirt."""

_SMALL_CUT: Final = 25.0
"""mm: a shorter line of what will be cut has shorter dashes, so that a small hole stays a ring."""

_TOGETHER: Final = 0.8
"""mm between lines that belong together."""

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


def work_group(seen: Seen, paper: Paper) -> Group:
    step = STEP / paper.factor
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


def cut_group(seen: Seen, paper: Paper) -> Group:
    paths = _paths("cut", seen.cut, paper)
    return Group("cut", tuple(Path("cut small", path.points) if _length(path) < _SMALL_CUT else path for path in paths))


def _length(path: Path) -> float:
    return sum(math.dist(a, b) for a, b in pairwise(path.points))


def steel_group(drawn: Drawn, seen: Seen, paper: Paper) -> Group:
    piece, step = drawn.piece, STEP / paper.factor
    marks: list[Mark] = []
    if piece.kind == "ground":
        drawn = grounded(drawn, paper)
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


def _break(box: Box2, side: str) -> tuple[Vec2, ...]:
    """Return a break line along one side of a box: long straight pieces with a zigzag in the middle (ISO 128)."""
    x0, y0, x1, y1 = box
    if side in ("left", "right"):
        x, middle = (x0 if side == "left" else x1), 0.5 * (y0 + y1)
        return ((x, y0), (x, middle - 1.5), (x - 1.2, middle - 0.5), (x + 1.2, middle + 0.5), (x, middle + 1.5), (x, y1))
    y, middle = (y0 if side == "below" else y1), 0.5 * (x0 + x1)
    return ((x0, y), (middle - 1.5, y), (middle - 0.5, y - 1.2), (middle + 0.5, y + 1.2), (middle + 1.5, y), (x1, y))


def points_along(marks: Sequence[Mark]) -> Floats:
    """Return points along all lines, half a millimetre apart."""
    ends = [(a, b) for mark in marks if isinstance(mark, Path) for a, b in zip(mark.points, mark.points[1:], strict=False)]
    if not ends:
        return np.zeros((0, 2))
    a, b = np.array(ends).transpose(1, 0, 2)
    count = np.maximum(np.ceil(np.linalg.norm(b - a, axis=1) / 0.5).astype(np.int64), 1)
    row = np.repeat(np.arange(len(a)), count)
    share = (np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)) / count[row]
    return np.asarray(a[row] + share[:, None] * (b - a)[row])
