"""Which pieces of the holding carry a word in a view, and where that stands: on what shows of them, else beside them.

Paper mm. Knows nothing of lines.
"""

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from export.sheets.holding import Kind
from export.sheets.seen import Drawn, Seen, Side
from export.sheets.window import Paper, grounded
from export.sheets.words import Ink, Placed, overlap, placed
from geom.flat.curve2d import Box2
from geom.rays.mesh_lines import Floats

_LEAST_SHOWN: Final = 6.0
"""mm2 that must show of a thing for it to be named."""

_DEEP: Final = 5e3
"""mm below the eye's plane, under everything."""

_TOLD_HIDDEN: Final[dict[Side, tuple[Kind, ...]]] = {
    "above": ("parallel", "packing", "jack", "shim"),
    "front": ("parallel", "packing", "jack"),
}
"""Kinds that are named even where the work or a jaw hides them: nobody would look for them there."""


def words_for(seen: Seen, paper: Paper, edge: Box2, taken: Sequence[Box2], ink: Ink) -> list[Placed]:
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
        whole = grounded(drawn, paper) if kind == "ground" else drawn
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
        paper.box((grounded(one, paper) if one.piece.kind == "ground" else one).box)
        for one in seen.holding
        if one.piece.word != drawn.piece.word
    ]

    def foreign(box: Box2) -> bool:
        on_work = not seen.alone.open(_grid(_in_view(box, paper), (5, 2), -_DEEP)).all()
        return on_work or any(overlap(box, other) for other in others)

    return foreign
