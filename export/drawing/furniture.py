"""What stands round the views: frame, title block, notes and tables.

The title block holds the data fields of ISO 7200 and, in the row that this
standard leaves to the user, projection, scale and sheet size. Millimetres as
on A3; a block is built with its lower left corner at (0, 0) and moved later.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal, TypeAlias

from export.drawing.marks import projection_sign
from export.drawing.view import Projection
from export.files.lettering import text_width, wrapped
from export.files.sheet2d import CAPTION, SMALL_TEXT, TEXT, Item, Label, Stroke, shifted
from geom.errors import JobError
from geom.flat.curve2d import Box2, Line, moved

SheetSize: TypeAlias = Literal["A3", "A4"]


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet size: as printed, mm, and how much smaller than on A3 everything is printed."""

    width: float
    height: float
    reduction: float

    @property
    def inside(self) -> Box2:
        """The frame, in the units drawn in: 20 mm filing margin, 10 mm elsewhere (ISO 5457)."""
        k = self.reduction
        return (20.0 / k, 10.0 / k, (self.width - 10.0) / k, (self.height - 10.0) / k)


PAPER: Final[dict[SheetSize, Paper]] = {"A3": Paper(420.0, 297.0, 1.0), "A4": Paper(210.0, 297.0, math.sqrt(0.5))}
"""A3 lies, A4 stands (ISO 5457); lettering and line widths step by the root of two (ISO 3098, ISO 128)."""

TITLE_WIDTH: Final = 180.0
TITLE_HEIGHT: Final = 45.0

_PAD: Final = 1.5


@dataclass(frozen=True, slots=True)
class TitleFields:
    """What the title block says; an empty field is left to be filled in by hand."""

    title: str
    supplementary: str
    owner: str
    number: str
    revision: str
    date: str
    creator: str
    approver: str
    department: str
    reference: str
    document_type: str
    language: str
    material: str
    mass: str


@dataclass(frozen=True, slots=True)
class Block:
    """Some furniture with its lower left corner at (0, 0) and its size, mm."""

    items: tuple[Item, ...]
    width: float
    height: float

    def at(self, x: float, y: float) -> tuple[Item, ...]:
        """Return its items moved to a place on the sheet."""
        return tuple(shifted(item, x, y) for item in self.items)


def frame(sheet: SheetSize) -> tuple[Item, ...]:
    """Return the frame and its centring marks."""
    paper = PAPER[sheet]
    k = paper.reduction
    width, height, edge = paper.width / k, paper.height / k, 5.0 / k
    x0, y0, x1, y1 = paper.inside
    marks = [
        ((edge, height / 2), (x0, height / 2)),
        ((x1, height / 2), (width - edge, height / 2)),
        ((width / 2, edge), (width / 2, y0)),
        ((width / 2, y1), (width / 2, height - edge)),
    ]
    return (*_rectangle(x0, y0, x1, y1, "frame"), *(Stroke("frame", Line(a, b)) for a, b in marks))


def _rectangle(x0: float, y0: float, x1: float, y1: float, role: Literal["frame", "rule"]) -> tuple[Stroke, ...]:
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    return tuple(Stroke(role, Line(a, b)) for a, b in zip(corners, corners[1:] + corners[:1], strict=True))


# --- title block ------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Cell:
    caption: str
    value: str
    width: float
    height: float = TEXT
    second: str = ""


def title_block(fields: TitleFields, scale: str, sheet: SheetSize, projection: Projection, where: str) -> Block:
    """Return the title block, 180 mm wide as printed on any sheet.

    Args:
        where: file and table of the fields, for messages.

    Raises:
        JobError: a field is too long for its cell.
    """
    rows = _title_rows(fields, scale, sheet)
    items: list[Item] = [*_rectangle(0.0, 0.0, TITLE_WIDTH, TITLE_HEIGHT, "frame")]
    y = TITLE_HEIGHT
    for height, cells in rows:
        y -= height
        if y > 0:
            items.append(Stroke("rule", Line((0.0, y), (TITLE_WIDTH, y))))
        x = 0.0
        for cell in cells:
            if x > 0:
                items.append(Stroke("rule", Line((x, y), (x, y + height))))
            items.extend(_cell(cell, x, y, height, where))
            if cell.caption == "Projection":
                items.extend(projection_sign((x + cell.width / 2, y + 5.6), projection))
            x += cell.width
    return _enlarged(Block(tuple(items), TITLE_WIDTH, TITLE_HEIGHT), 1.0 / PAPER[sheet].reduction)


def _enlarged(block: Block, k: float) -> Block:
    """Return a block of strokes and labels k times as large."""
    items: list[Item] = []
    for item in block.items:
        match item:
            case Stroke(role, curve):
                items.append(Stroke(role, moved(curve, (0.0, 0.0), k)))
            case Label():
                items.append(replace(item, at=(item.at[0] * k, item.at[1] * k), height=item.height * k))
    return Block(tuple(items), block.width * k, block.height * k)


def _title_rows(fields: TitleFields, scale: str, sheet: SheetSize) -> list[tuple[float, list[_Cell]]]:
    title = _Cell("Title, supplementary title", fields.title, 102.0, 5.0, fields.supplementary)
    return [
        (
            10.0,
            [
                _Cell("Responsible department", fields.department, 36.0),
                _Cell("Technical reference", fields.reference, 44.0),
                _Cell("Created by", fields.creator, 50.0),
                _Cell("Approved by", fields.approver, 50.0),
            ],
        ),
        (15.0, [title, _Cell("Projection", "", 34.0), _Cell("Scale", scale, 24.0, 5.0), _Cell("Size", sheet, 20.0, 5.0)]),
        (
            10.0,
            [
                _Cell("Legal owner", fields.owner, 66.0),
                _Cell("Document type", fields.document_type, 52.0),
                _Cell("Identification number", fields.number, 62.0),
            ],
        ),
        (
            10.0,
            [
                _Cell("Material", fields.material, 52.0),
                _Cell("Mass of casting", fields.mass, 36.0),
                _Cell("Rev.", fields.revision, 14.0),
                _Cell("Date of issue", fields.date, 38.0),
                _Cell("Lang.", fields.language, 16.0),
                _Cell("Sheet", "1 / 1", 24.0),
            ],
        ),
    ]


def _cell(cell: _Cell, x: float, y: float, height: float, where: str) -> list[Item]:
    items: list[Item] = [Label(cell.caption, (x + _PAD, y + height - CAPTION - 1.0), CAPTION)]
    base = y + (6.0 if cell.second else 1.8)
    for text, tall, at in ((cell.value, cell.height, base), (cell.second, SMALL_TEXT, y + 1.6)):
        if text:
            items.append(Label(text, (x + _PAD, at), _fitting(text, tall, cell, where)))
    return items


def _fitting(text: str, height: float, cell: _Cell, where: str) -> float:
    """Return the largest standard lettering height at which a text fits its cell."""
    room = cell.width - 2 * _PAD
    for tall in (height, TEXT, SMALL_TEXT, CAPTION):
        if tall <= height and text_width(text, tall) <= room:
            return tall
    fits = next(n for n in range(len(text), 0, -1) if n == 1 or text_width(text[:n], CAPTION) <= room)
    raise JobError(
        f"{where}: {text!r} has {len(text)} characters; the title block's field {cell.caption!r} takes about {fits}; shorten it"
    )


# --- notes and tables -------------------------------------------------------


@lru_cache(maxsize=16)
def notes_block(notes: tuple[str, ...], width: float, height: float) -> Block:
    """Return numbered notes in lettering of a given height, broken to a width."""
    indent = text_width("00. ", height)
    rows: list[tuple[str, str]] = [("Notes", "")]
    for number, note in enumerate(notes, 1):
        first, *rest = wrapped(note, height, width - indent - 3 * _PAD)
        rows += [(f"{number}.", first), *(("", line) for line in rest)]
    pitch = 1.55 * height
    depth = pitch * len(rows) + 2 * _PAD
    items: list[Item] = []
    for line, (left, text) in enumerate(rows, 1):
        y = depth - pitch * line
        items.extend(Label(words, (x, y), height) for x, words in ((2 * _PAD, left), (2 * _PAD + indent, text)) if words)
    return Block(tuple(items), width, depth)


def table_block(title: str, head: Sequence[str], rows: Sequence[Sequence[str]], height: float, figures: frozenset[int]) -> Block:
    """Return a ruled table, as wide as its longest entries need.

    Args:
        figures: columns set to the right.
    """
    step = 1.75 * height
    gap = 1.1 * height
    widths = [max(text_width(row[i], height) for row in (head, *rows)) + gap for i in range(len(head))]
    total = max(sum(widths), text_width(title, height) + gap)
    widths[-1] += total - sum(widths)
    depth = step * (len(rows) + 2)
    items: list[Item] = [Label(title, (0.5 * gap, depth - 0.72 * step), height)]
    for line, row in enumerate((head, *rows)):
        base = depth - step * (line + 1.72)
        x = 0.0
        for i, text in enumerate(row):
            right = i in figures
            at = (x + widths[i] - gap / 2 if right else x + gap / 2, base)
            items.append(Label(text, at, height, "right" if right else "left"))
            x += widths[i]
    return Block((*items, *_table_rules(widths, step, len(rows), depth)), total, depth)


def _table_rules(widths: Sequence[float], step: float, rows: int, depth: float) -> list[Item]:
    total = sum(widths)
    items: list[Item] = [*_rectangle(0.0, 0.0, total, depth, "rule")]
    items.extend(Stroke("rule", Line((0.0, step * k), (total, step * k))) for k in range(1, rows + 2))
    x = 0.0
    for width in widths[:-1]:
        x += width
        items.append(Stroke("rule", Line((x, 0.0), (x, depth - step))))
    return items
