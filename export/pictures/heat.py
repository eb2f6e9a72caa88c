"""A picture of the stock on every machined face of one casting as received: SVG and PNG.

Two views of the finished part, from above and from below, with exact lines over
a raster banded by stock; the thinnest spot of each face carries a numbered flag.
Text and band edges in the sheet's units; lengths inside mm, part frame. Says
what the placement says and works out nothing of its own.
"""

import base64
import math
from collections.abc import Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Final

import numpy as np

from export.number import Units, length, sentence
from export.pictures.bands import INKS, Bands, bands_for
from export.pictures.heat_view import PER_MM, Shown, frames_of, is_seen, view_of
from export.pictures.picture import Canvas, Flag, flags_on
from export.pictures.raster import png_of
from export.reports.hole import UNIT_NAMES
from export.write import safe_name
from geom.datum.zero import Zero
from geom.flat.curve2d import Box2, Vec2
from geom.kernel.mesh import tessellate
from geom.model.part import Part
from geom.place.castings import Placed
from geom.place.placement import FaceTake
from geom.place.words import summary_words

if TYPE_CHECKING:
    from geom.job import Job

_CHORD: Final = 0.05
_WIDTH, _HEIGHT = 297.0, 210.0
_CHARACTERS: Final = 130
"""Letters of the summary that a line holds."""

_MARGIN: Final = 10.0
_VIEW: Final = (136.0, 112.0)
_PPI: Final = 144
_MOST_FLAGS: Final = 12
_PLACES: Final = {"mm": 2, "inch": 3}


def heat_files(job: "Job", placed: Placed, zero: Zero) -> dict[str, bytes]:
    """Return the picture of one casting as SVG and PNG, by file name."""
    from export.files.pdf import Page, png_bytes

    svg = heat_svg(job.part, placed, zero, job.settings.units)
    name = f"place-heat-{safe_name(placed.name, 'casting')}" if placed.name else "place-heat"
    return {f"{name}.svg": svg, f"{name}.png": png_bytes(job.part.name, Page(_WIDTH, _HEIGHT, svg), _PPI)}


def heat_svg(part: Part, placed: Placed, zero: Zero, units: Units) -> bytes:
    """Return the picture as an SVG file, A4 landscape."""
    shown = [f for f in placed.placement.faces if math.isfinite(f.take_min) and f.state != "from solid"]
    scale = bands_for(max((f.required for f in shown), default=0.0), max((f.take_max for f in shown), default=1.0), units)
    mesh = tessellate(part.finished, _CHORD)
    views = [view_of(part, mesh, frame, scale, placed, _VIEW) for frame in frames_of(zero)]
    spots = _thinnest_first(shown)
    canvas = Canvas(_WIDTH, _HEIGHT, f"Stock as received: {part.name}")
    _headings(canvas, part, placed, units)
    numbers = {face.name: i for i, face in enumerate(part.machined)}
    seen = _draw_views(canvas, views, spots, [numbers[face.name] for face in spots])
    _legend(canvas, scale, units)
    _list_of_faces(canvas, spots, seen, units)
    return canvas.svg()


def _thinnest_first(faces: Sequence[FaceTake]) -> list[FaceTake]:
    order = sorted(range(len(faces)), key=lambda i: (round(faces[i].margin, 6), i))
    return [faces[i] for i in order][:_MOST_FLAGS]


def _headings(canvas: Canvas, part: Part, placed: Placed, units: Units) -> None:
    name = f", casting {placed.name}" if placed.name else ""
    canvas.text((_MARGIN, 14.0), f"{part.name}{name}: stock on the machined faces as received", 3.5)
    words = sentence(_rounded(summary_words(placed.placement), units), units)
    lines = wrap(f"{words[0].upper()}{words[1:]}.", _CHARACTERS)
    for i, line in enumerate(lines):
        canvas.text((_MARGIN, 20.0 + 3.8 * i), line, 2.5)


def _rounded(words: Sequence[str | float], units: Units) -> list[str | float]:
    return [w if isinstance(w, str) else f"{length(w, units, _PLACES[units])} {UNIT_NAMES[units]}" for w in words]


def _draw_views(canvas: Canvas, views: Sequence[Shown], spots: Sequence[FaceTake], faces: Sequence[int]) -> set[int]:
    """Draw both views with their flags; return the numbers of the spots that are in sight.

    Args:
        faces: the number of each spot's face in `Part.machined`.
    """
    exact = [_exact_spots(view, spots) for view in views]
    seen = {number for found in exact for number, _ in found}
    for i, (view, words) in enumerate(zip(views, ("from above", "from below"), strict=True)):
        left = _MARGIN + i * (_WIDTH - 2 * _MARGIN - _VIEW[0])
        place = _placing(view.raster.box, left, 28.0)
        image = base64.b64encode(png_of(view.pixels)).decode()
        height, width = view.raster.shape
        canvas.image(place((view.raster.box[0], view.raster.box[3])), (width / PER_MM, height / PER_MM), image)
        canvas.curves(view.lines.smooth, place, 0.08)
        canvas.curves(view.lines.visible, place, 0.2)
        marks = [*exact[i], *_nearest_spots(i, views, spots, faces, seen)]
        canvas.flags(_flags(view, sorted(marks), place, (left, 26.0, left + _VIEW[0], 30.0 + _VIEW[1])))
        canvas.text((left, 28.0 + _VIEW[1] + 5.0), f"seen {words}, front left", 2.2)
    return seen


def _exact_spots(view: Shown, spots: Sequence[FaceTake]) -> list[tuple[int, Vec2]]:
    """Return the thinnest spots this view shows, by number."""
    local = [view.frame.local(face.thinnest) for face in spots]
    return [(n, (x, y)) for n, (x, y, z) in enumerate(local, 1) if is_seen(view.raster, x, y, z)]


def _nearest_spots(
    index: int, views: Sequence[Shown], spots: Sequence[FaceTake], faces: Sequence[int], seen: set[int]
) -> list[tuple[int, Vec2]]:
    """Return stand-ins for spots that no view shows: the visible place of the face nearest to each, in the view that shows most."""
    found: list[tuple[int, Vec2]] = []
    for number, (face, owner) in enumerate(zip(spots, faces, strict=True), 1):
        shown = [int((view.face == owner).sum()) for view in views]
        if number in seen or not max(shown) or shown.index(max(shown)) != index:
            continue
        view = views[index]
        centres = view.raster.centres(*np.nonzero(view.face == owner))
        away = np.linalg.norm(centres - np.array(view.frame.local(face.thinnest)), axis=1)
        x, y, _ = centres[int(np.argmin(np.round(away, 6)))].tolist()
        found.append((number, (x, y)))
    return found


class _placing:
    """Maps a view's coordinates to paper, the view in the middle of its field."""

    def __init__(self, box: Box2, left: float, top: float) -> None:
        self.zoom = min(_VIEW[0] / (box[2] - box[0]), _VIEW[1] / (box[3] - box[1]))
        self.left = left + (_VIEW[0] - self.zoom * (box[2] - box[0])) / 2.0 - self.zoom * box[0]
        self.bottom = top + (_VIEW[1] + self.zoom * (box[3] - box[1])) / 2.0 + self.zoom * box[1]

    def __call__(self, point: tuple[float, float]) -> tuple[float, float]:
        return self.left + self.zoom * point[0], self.bottom - self.zoom * point[1]


def _flags(view: Shown, marks: Sequence[tuple[int, Vec2]], place: _placing, field: Box2) -> list[Flag]:
    rows, columns = np.nonzero(view.raster.triangle >= 0)
    centres = view.raster.centres(rows[::7], columns[::7])
    ink = np.stack([place.left + place.zoom * centres[:, 0], place.bottom - place.zoom * centres[:, 1]], axis=1)
    return flags_on([(number, place(spot)) for number, spot in marks], ink, field)


def _legend(canvas: Canvas, scale: Bands, units: Units) -> None:
    """The bands with the length at each edge."""
    left, top, wide, tall = _MARGIN, 157.0, 24.0, 6.0
    canvas.text((left, top - 2.5), f"Stock, {UNIT_NAMES[units]}, at right angles to the face", 2.2)
    for i, ink in enumerate(INKS):
        canvas.swatch((left + i * wide, top), (wide, tall), ink, hatched=i == 0)
    for i, label in enumerate(scale.labels, 1):
        canvas.text((left + i * wide, top + tall + 3.4), label, 2.2, "middle")
    canvas.text((left + wide / 2, top + tall + 3.4), "missing", 2.2, "middle")
    canvas.text((left + (len(INKS) - 0.5) * wide, top + tall + 3.4), "more", 2.2, "middle")
    right = left + len(INKS) * wide + 6.0
    canvas.dotted((right, top), (10.0, tall), INKS[2])
    canvas.text((right + 12.0, top + 2.5), "dotted: less than required", 2.0)
    canvas.text((right + 12.0, top + 6.0), "white: as cast, or cut from solid", 2.0)


def _list_of_faces(canvas: Canvas, spots: Sequence[FaceTake], seen: set[int], units: Units) -> None:
    """The thinnest spot of each face by its flag's number, in two columns."""
    half = (len(spots) + 1) // 2
    for number, face in enumerate(spots, 1):
        left = _MARGIN + (138.0 if number > half else 0.0)
        y = 176.0 + 5.2 * ((number - 1) % half)
        canvas.flag_mark((left + 2.0, y - 0.9), number)
        canvas.text((left + 6.0, y), _face_words(face, number in seen, units), 2.1)


def _face_words(face: FaceTake, seen: bool, units: Units) -> str:
    least, wants = (length(v, units, _PLACES[units]) for v in (face.take_min, face.required))
    state = {"cleans up": "", "thin": ", thin", "short": ", SHORT", "forgiven": ", within its bearing"}.get(face.state, "")
    return f"{face.name}: {least} at its thinnest, {wants} required{state}{'' if seen else ' (further in, out of sight)'}"
