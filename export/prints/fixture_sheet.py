"""One page to go with a print: pictures from two sides, sizes to check, how to use it, cautions.

A4, upright, as a PDF. Says what the fixture says and works out nothing of its own. Lengths in
the sheet's unit. Knows nothing of meshes' files.
"""

import base64
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from export.files.lettering import wrapped
from export.files.pdf import Page, pdf_bytes
from export.number import Units, fixed, sentence
from export.pictures.picture import Canvas, flags_on
from export.prints.fixture import PLASTIC, even, laid_at, locating
from export.prints.fixture_picture import VIEWS, Shot, shot
from geom.fixture.maker import Made
from geom.kernel.mesh import Mesh
from geom.space import Vec3

if TYPE_CHECKING:
    from geom.job import Job

_WIDTH, _HEIGHT, _MARGIN = 210.0, 297.0, 14.0
_FIELD: Final = (88.0, 74.0)
"""Room for one picture, mm."""

_TEXT, _LINE = 2.15, 4.1
_ACROSS, _COLUMN = _WIDTH - 2 * _MARGIN, 86.0
"""mm that a line of the page, and of a column, holds."""

_INDENT = 6.0

_SEEN: Final = ("from the front left", "from the back right")


def sheet(made: Made, mesh: Mesh, job: "Job") -> bytes:
    """Return the page of a fixture as a PDF.

    Args:
        mesh: of its print, as it lies on the bed.

    Raises:
        OutputError: the typesetter refused.
    """
    one, units = made.fixture, job.settings.units
    canvas = Canvas(_WIDTH, _HEIGHT, f"{one.title}: {job.part.name}")
    canvas.text((_MARGIN, 18.0), one.title, 5.0)
    canvas.text(
        (_MARGIN, 25.5), f"{job.part.name}; print {one.name}.stl or {one.name}.3mf (mm, 100 %), as it lies in the file", 2.6
    )
    shots = [shot(mesh, side) for side in VIEWS]
    points = [laid_at(one, pad.point) for pad in one.layout.locators] if one.layout else []
    for i, seen in enumerate(shots):
        _picture(canvas, seen, points, _MARGIN + i * (_WIDTH - 2 * _MARGIN - _FIELD[0]), _SEEN[i])
    top = 30.0 + _FIELD[1] + 14.0
    left = _block(
        canvas, (_MARGIN, top), "Check the print", [f"{s.what}: {sentence(even((s.value,)), units)}" for s in one.sizes], _COLUMN
    )
    right = _block(canvas, (_MARGIN + 94.0, top), "What it is", _facts(made, units), _COLUMN)
    below = max(left, right) + 3.0
    below = _block(canvas, (_MARGIN, below), "Why it lies so", [sentence(even(w), units) for w in one.why], _ACROSS) + 2.0
    below = (
        _block(canvas, (_MARGIN, below), "How to use it", [sentence(even(w), units) for w in one.use], _ACROSS, numbered=True) + 2.0
    )
    _block(canvas, (_MARGIN, below), "Caution", [sentence(even(w), units) for w in one.cautions], _ACROSS)
    canvas.text(
        (_MARGIN, _HEIGHT - 10.0),
        "evenstock; prints pull holes in and walls out: the print is right when it checks, not when it is printed",
        1.9,
    )
    return pdf_bytes(f"{one.title}: {job.part.name}", [Page(_WIDTH, _HEIGHT, canvas.svg())])


def _picture(canvas: Canvas, seen: Shot, points: Sequence[Vec3], left: float, words: str) -> None:
    """Draw one picture in its field, with a numbered flag on each pad that shows."""
    width, height = seen.size
    zoom = min(_FIELD[0] / width, _FIELD[1] / height)
    at = (left + (_FIELD[0] - zoom * width) / 2.0, 32.0 + (_FIELD[1] - zoom * height) / 2.0)
    canvas.image(at, (zoom * width, zoom * height), base64.b64encode(seen.png).decode())
    shown = [(number, seen.spot(point)) for number, point in enumerate(points, 1)]
    spots = [(n, (at[0] + s[0] * zoom * width, at[1] + s[1] * zoom * height)) for n, s in shown if s is not None]
    field = (left - 6.0, 30.0, left + _FIELD[0] + 6.0, 36.0 + _FIELD[1])
    canvas.flags(flags_on(spots, np.zeros((0, 2)), field))
    canvas.text((left, 32.0 + _FIELD[1] + 6.0), words, 2.0)


def _facts(made: Made, units: Units) -> list[str]:
    """Return what a shop wants to know of the print, one line each."""
    one = made.fixture
    low, high = one.body.box
    x, y, z = (round(b - a, 2) for a, b in zip(low, high, strict=True))
    mass = one.body.volume * PLASTIC[1] / 1e6
    pads = (
        [f"pads 1 to {len(one.layout.locators)} in the pictures: the first three carry, the others locate sideways"]
        if one.layout
        else []
    )
    return [
        sentence((x, " by ", y, " by ", z), units),
        f"{fixed(one.body.volume / 1000, 1)} cm3, {fixed(mass, 2)} kg printed solid in {PLASTIC[0]}",
        sentence(("clear of the work by ", one.clearance, "; thinnest wall found ", round(made.wall.thickness, 2)), units),
        *pads,
        *(text for _, text in locating(one.layout, units)),
    ]


def _block(canvas: Canvas, at: tuple[float, float], title: str, lines: Iterable[str], wide: float, numbered: bool = False) -> float:
    """Draw a title and lines under it; return where the next thing may stand."""
    x, y = at
    indent = _INDENT if numbered else 0.0
    canvas.text((x, y), title, 2.8)
    y += 1.3 * _LINE
    for number, line in enumerate(lines, 1):
        for i, piece in enumerate(wrapped(line, _TEXT, wide - indent)):
            if numbered and i == 0:
                canvas.text((x, y), f"{number}.", _TEXT)
            canvas.text((x + indent, y), piece, _TEXT)
            y += _LINE
    return y + 1.5
