"""The pictures of one set-up: work and holding true to scale, from above and from the front, zero and features marked.

Hidden-line views in the set-up's own axes, mm on paper. The file says where
everything stands: the drawing's scale and the zero's place in its first line,
each thing's own numbers, mm in the set-up's frame, beside its lines. Knows
nothing of pages, tables or the cover.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from export.number import Units
from export.sheets.compose import extent, groups
from export.sheets.holding import Piece, pieces
from export.sheets.ink import number, svg_of
from export.sheets.seen import Seen, Side, seen_from
from export.sheets.stages import stages
from export.sheets.window import Paper, paper_for
from geom.job import Record
from geom.rows.plan import Plan

SCALES: Final = (5.0, 2.0, 1.0, 0.5, 0.4, 1 / 3, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01)
"""Paper over work: ISO 5455, with 1:2.5, 1:3 and 1:4 between, so that small sheets are used up."""

_READABLE: Final = 1 / 3
"""Pictures at this scale stand side by side; smaller ones only where one below the other would be no larger."""

_SMALL: Final = range(1, 101)
"""1:1 to 1:100, for pictures that nobody measures."""

TITLES: Final[dict[Side, str]] = {"above": "from above", "front": "from the front"}


@dataclass(frozen=True, slots=True)
class Room:
    """Paper for the two pictures of a set-up, mm.

    Attributes:
        half: width and height of each where they stand side by side.
        column: width and height of both together where one stands below the other, words beside them.
    """

    half: tuple[float, float]
    column: tuple[float, float]


@dataclass(frozen=True, slots=True)
class View:
    """One picture of a set-up.

    Attributes:
        svg: the complete file; its width and height are those of the view.
        width, height: mm on paper.
        scale: paper mm per work mm.
        title: "from above", "from the front".
        zero: how far its zero lies from its left edge, mm on paper; 0 where it has none.
    """

    svg: bytes
    width: float
    height: float
    scale: float
    title: str
    zero: float = 0.0

    @property
    def ratio(self) -> str:
        """The scale as a drawing says it: "1:2", "2:1"."""
        return f"{self.scale:g}:1" if self.scale >= 1 else f"1:{1 / self.scale:.3g}"


@dataclass(frozen=True, slots=True)
class Views:
    """A set-up from above and from the front, at one scale; stacked: the second stands below the first."""

    above: View
    front: View
    stacked: bool


def numbered_features(record: Record, setup: int) -> tuple[tuple[int, str], ...]:
    """Return the features cut in a set-up and the numbers they carry in its pictures."""
    return tuple(enumerate(record.setups[setup - 1].features, 1))


def holding_views(record: Record, setup: int, room: Room, units: Units) -> Views:
    """Return a set-up seen from above (spindle side) and from the front (operator's side), one below the other if larger so.

    Args:
        setup: its number, from 1.
        units: of the lengths in its words.
    """
    holding = _holding(record, setup, units)
    seen = [_seen(record, setup, side, holding) for side in TITLES]
    beside = next((s for s in SCALES if all(_fits(paper_for(one, s), room.half) for one in seen)), SCALES[-1])
    below = next((s for s in SCALES if _fit_below([paper_for(one, s) for one in seen], room.column)), SCALES[-1])
    stacked = beside < _READABLE and below > beside
    factor, width = (below, room.column[0]) if stacked else (beside, room.half[0])
    above, front = (_view(record, setup, one, factor, room=width) for one in seen)
    return Views(above, front, stacked)


def small_view(record: Record, setup: int, room: tuple[float, float]) -> View:
    """Return a set-up seen from the front, without words or numbers, for the order of set-ups on the cover."""
    seen = _seen(record, setup, "front", _holding(record, setup, record.settings.units))
    factor = next((1.0 / n for n in _SMALL if _fits(paper_for(seen, 1.0 / n, bare=True), room)), 1.0 / _SMALL[-1])
    return _view(record, setup, seen, factor, bare=True)


def _holding(record: Record, setup: int, units: Units) -> tuple[Piece, ...]:
    assert isinstance(record.plan, Plan)
    hold = record.plan.setups[setup - 1].hold
    return pieces(record.setups[setup - 1], hold, record.part, stages(record)[setup - 1], units)


def _seen(record: Record, setup: int, side: Side, holding: tuple[Piece, ...]) -> Seen:
    one = record.setups[setup - 1]
    return seen_from(side, one.frame, stages(record)[setup - 1], holding, record.part, one.features)


def _fits(paper: Paper, room: tuple[float, float]) -> bool:
    return paper.width <= room[0] and paper.height <= room[1]


def _fit_below(papers: Sequence[Paper], room: tuple[float, float]) -> bool:
    return max(one.width for one in papers) <= room[0] and sum(one.height for one in papers) <= room[1]


def _view(record: Record, setup: int, seen: Seen, factor: float, *, bare: bool = False, room: float = 0.0) -> View:
    paper = paper_for(seen, factor, bare=bare, room=room)
    marks = groups(seen, paper, record.setups[setup - 1].features)
    box = extent(marks)
    x, y = paper.at((0.0, 0.0))
    facts = {"scale": f"{factor:.9g}", "zero": f"{number(x)} {number(box[3] - y)}", "side": seen.side}
    svg = svg_of(box, f"set-up {setup} {TITLES[seen.side]}", marks, facts)
    return View(svg, round(box[2] - box[0], 3), round(box[3] - box[1], 3), factor, TITLES[seen.side], round(x - box[0], 3))
