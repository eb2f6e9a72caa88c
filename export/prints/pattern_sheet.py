"""The pages to go with a pattern, its pieces and core boxes; and the picture of its draft, faults hatched and numbered.

A4, upright, as a PDF; the picture as SVG. Says what the pattern says and works out nothing of its own.
"""

import base64
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

import numpy as np

from export.files.lettering import wrapped
from export.files.pdf import Page, pdf_bytes
from export.number import fixed
from export.pictures.picture import Canvas, flags_on
from export.prints import core_box_sheet
from export.prints.fixture_picture import VIEWS, Shot, shot
from export.prints.pattern import (
    CAUTIONS,
    check_words,
    draft_words,
    parting_words,
    piece_words,
    size_words,
    thin_words,
    use_words,
)
from geom.fixture.checks import Wall
from geom.kernel.mesh import Mesh
from geom.pattern.pattern import Pattern
from geom.space import Vec3

if TYPE_CHECKING:
    from geom.job import Job

_WIDTH, _HEIGHT, _MARGIN = 210.0, 297.0, 14.0
_FIELD: Final = (88.0, 70.0)
_SMALL: Final = (88.0, 58.0)
_THIRD: Final = (56.0, 54.0)
_TEXT, _LINE = 2.0, 3.7
_PER_PAGE: Final = 6
_FAULTS: Final = 10
"""Lines of draft on the page; the rest is in the text."""

_ACROSS: Final = _WIDTH - 2.0 * _MARGIN
_SIDES: Final[tuple[tuple[Vec3, str], ...]] = (
    ((-1.0, -1.6, 1.4), "upper side, from the front left"),
    ((-1.0, -1.6, -1.4), "lower side, from the front left"),
)


def draft_picture(found: Pattern, job: "Job") -> bytes:
    """Return the picture of the draft as SVG: too little draft hatched, undercuts hatched both ways, numbered as in the list."""
    canvas = Canvas(_WIDTH, 116.0, f"Draft: {job.part.name}")
    canvas.text((_MARGIN, 12.0), f"Draft: {job.part.name}", 4.0)
    _draft_views(canvas, found, 16.0)
    canvas.text(
        (_MARGIN, 108.0),
        f"hatched: draft under {fixed(found.draft.least, 2)} degrees; hatched both ways: undercut; numbers as in pattern.txt",
        2.0,
    )
    return canvas.svg()


def _draft_views(canvas: Canvas, found: Pattern, top: float) -> None:
    corners = found.draft.corners
    mesh = Mesh(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3), np.zeros(len(corners), dtype=np.int64))
    points = [face.at for face in found.draft.faults]
    for i, (side, words) in enumerate(_SIDES):
        _view(canvas, shot(mesh, side, marks=found.draft.bad), points, (_left(i), top), words)


def pattern_sheet(found: Pattern, job: "Job", walls: dict[str, Wall]) -> bytes:
    """Return the pages of a pattern as a PDF: the pattern, its pieces, and one for each core box.

    Raises:
        OutputError: the typesetter refused.
    """
    title = f"Pattern: {job.part.name}"
    canvases = [_front(found, job, walls, title)]
    if found.draws:
        canvases += _piece_pages(found, job, walls, title)
        canvases += [_box_page(found, number, job) for number in range(len(found.boxes))]
    for number, canvas in enumerate(canvases, 1):
        canvas.text((_WIDTH - _MARGIN - 24.0, _HEIGHT - 8.0), f"page {number} of {len(canvases)}", 2.0)
    return pdf_bytes(title, [Page(_WIDTH, _HEIGHT, canvas.svg()) for canvas in canvases])


def _front(found: Pattern, job: "Job", walls: dict[str, Wall], title: str) -> Canvas:
    """Return the first page: the pattern put together, its draft, what to check and how to use it."""
    units = job.settings.units
    canvas = Canvas(_WIDTH, _HEIGHT, title)
    canvas.text((_MARGIN, 16.0), title if found.draws else f"{title} - does not draw", 4.6)
    if found.draws:
        canvas.text((_MARGIN, 22.0), "print pattern.3mf, or each STL (mm, 100 %), as they lie in the file", 2.4)
        for i, (side, words) in enumerate(_SIDES):
            _view(canvas, shot(found.whole.mesh(), side), [], (_left(i), 24.0), words)
    else:
        _draft_views(canvas, found, 24.0)
    y = 24.0 + _FIELD[1] + 14.0
    draft = list(draft_words(found, job))
    blocks: list[tuple[str, list[str]]] = [
        ("Size and parting", [*size_words(found, units), *parting_words(found, units)]),
        ("Draft", draft if len(draft) <= _FAULTS else [*draft[:_FAULTS], f"{len(draft) - _FAULTS} more lines in pattern.txt"]),
    ]
    if found.draws:
        blocks += [
            ("Check after printing", [*thin_words(found, job, walls), *check_words(found, units)]),
            ("How to use it", list(use_words(found))),
        ]
    for name, lines in (*blocks, ("Caution", list(CAUTIONS))):
        y = _block(canvas, y, name, lines)
    return canvas


def _piece_pages(found: Pattern, job: "Job", walls: dict[str, Wall], title: str) -> list[Canvas]:
    """Return pages with a picture of every piece as it lies on the bed, core boxes left to their own."""
    own = {f"core_box{tail}_{side}" for tail in _tails(found) for side in "ab"}
    pieces = [piece for piece in found.pieces if piece.name not in own]
    pages = []
    for first in range(0, len(pieces), _PER_PAGE):
        canvas = Canvas(_WIDTH, _HEIGHT, f"{title}, pieces")
        canvas.text((_MARGIN, 16.0), f"Pieces: {job.part.name}", 4.6)
        canvas.text((_MARGIN, 21.0), "as they lie on the bed, each to a scale of its own", 2.4)
        for place, piece in enumerate(pieces[first : first + _PER_PAGE]):
            left, top = _left(place % 2), 25.0 + (place // 2) * 86.0
            _view(canvas, shot(piece.body.mesh(), VIEWS[0]), [], (left, top), "", _SMALL)
            words = piece_words(piece, walls[piece.name], job.settings.units)
            for row, line in enumerate(wrapped(words, _TEXT, _SMALL[0])):
                canvas.text((left, top + _SMALL[1] + 5.0 + row * _LINE), line, _TEXT)
        pages.append(canvas)
    return pages


def _tails(found: Pattern) -> list[str]:
    """Return what the names of each box's halves end in."""
    return [""] if len(found.boxes) == 1 else [f"_{number}" for number in range(1, len(found.boxes) + 1)]


def _box_page(found: Pattern, number: int, job: "Job") -> Canvas:
    """Return the page of a core box."""
    box, tail = found.boxes[number], _tails(found)[number]
    printer, units = job.settings.printer, job.settings.units
    title = f"Core box{tail.replace('_', ' ')}: {job.part.name}"
    canvas = Canvas(_WIDTH, _HEIGHT, title)
    canvas.text((_MARGIN, 16.0), title, 4.6)
    canvas.text((_MARGIN, 22.0), f"print core_box{tail}_a.stl and core_box{tail}_b.stl (mm, 100 %), as they lie in the file", 2.4)
    for i, (body, words) in enumerate(core_box_sheet.bodies_of(box, printer.chord)):
        _view(canvas, shot(body.mesh(), VIEWS[0]), [], (_MARGIN + i * 62.0, 26.0), words, _THIRD)
    y = 26.0 + _THIRD[1] + 16.0
    for name, lines in (
        ("Check after printing", list(core_box_sheet.size_words(box, printer.pin, units))),
        ("How to use it", list(core_box_sheet.use_words(box))),
        ("Caution", list(core_box_sheet.CAUTIONS)),
    ):
        y = _block(canvas, y, name, lines)
    return canvas


def _left(number: int) -> float:
    return _MARGIN + number * (_WIDTH - 2.0 * _MARGIN - _FIELD[0])


def _view(
    canvas: Canvas, seen: Shot, points: Iterable[Vec3], at: tuple[float, float], words: str, room: tuple[float, float] = _FIELD
) -> None:
    """Draw one picture in its field, a numbered flag on each point that shows."""
    width, height = seen.size
    zoom = min(room[0] / width, room[1] / height)
    left, top = at[0] + (room[0] - zoom * width) / 2.0, at[1] + (room[1] - zoom * height) / 2.0
    canvas.image((left, top), (zoom * width, zoom * height), base64.b64encode(seen.png).decode())
    shown = [(number, seen.spot(point)) for number, point in enumerate(points, 1)]
    spots = [(n, (left + s[0] * zoom * width, top + s[1] * zoom * height)) for n, s in shown if s is not None]
    field = (at[0] - 5.0, at[1] - 2.0, at[0] + room[0] + 5.0, at[1] + room[1] + 4.0)
    canvas.flags(flags_on(spots, np.zeros((0, 2)), field))
    canvas.text((at[0], at[1] + room[1] + 6.0), words, 2.0)


def _block(canvas: Canvas, y: float, title: str, lines: Iterable[str]) -> float:
    """Draw a title and lines under it; return where the next may stand."""
    canvas.text((_MARGIN, y), title, 2.6)
    y += 1.25 * _LINE
    for line in lines:
        for piece in wrapped(line, _TEXT, _ACROSS):
            canvas.text((_MARGIN, y), piece, _TEXT)
            y += _LINE
    return y + 2.2
