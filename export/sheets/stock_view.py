"""The picture of the cover: the finished part from above and from below, each machined face flagged where its metal is thinnest.

Exact hidden lines on paper, mm. Says no figures: the list beside it does, by the flags' numbers.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from export.pictures.heat_view import frames_of
from export.pictures.picture import Canvas, flags_on
from export.sheets.cover import FaceLine
from export.sheets.view import View
from geom.flat.curve2d import Vec2, curves_box, polyline
from geom.job import Record
from geom.kernel.lines import view_lines
from geom.space import dot

_GAP: Final = 6.0
_ROOM_FOR_FLAGS: Final = 9.0
_WORDS: Final = ("from above", "from below")


def stock_view(record: Record, faces: Sequence[FaceLine], room: Vec2) -> View:
    """Return both views side by side.

    Args:
        faces: what is flagged, each by its number.
        room: width and height on paper, mm.
    """
    canvas = Canvas(*room, f"Stock: {record.part.name}")
    for i, (frame, words) in enumerate(zip(frames_of(record.zero), _WORDS, strict=True)):
        lines = view_lines(record.part.finished, frame)
        box = curves_box(lines.visible)
        assert box is not None
        left = i * (room[0] + _GAP) / 2.0
        field = (left, 0.0, left + (room[0] - _GAP) / 2.0, room[1] - 5.0)
        wide, tall = (field[2] - field[0] - 2 * _ROOM_FOR_FLAGS, field[3] - field[1] - 2 * _ROOM_FOR_FLAGS)
        zoom = min(wide / (box[2] - box[0]), tall / (box[3] - box[1]))
        middle = ((field[0] + field[2]) / 2.0, (field[1] + field[3]) / 2.0)
        at = ((box[0] + box[2]) / 2.0, (box[1] + box[3]) / 2.0)

        def place(point: Vec2, zoom: float = zoom, middle: Vec2 = middle, at: Vec2 = at) -> Vec2:
            return (middle[0] + zoom * (point[0] - at[0]), middle[1] - zoom * (point[1] - at[1]))

        canvas.curves(lines.smooth, place, 0.08)
        canvas.curves(lines.visible, place, 0.25)
        ink = np.array([place(point) for curve in lines.visible for point in polyline(curve, 0.5)])
        mine = [face for face in faces if _faces_down(record, face.name) == (i == 1)]
        spots = [(int(face.number), place(frame.local(face.thinnest)[:2])) for face in mine]
        canvas.flags(flags_on(spots, ink, field))
        canvas.text((field[0], room[1] - 1.0), f"{words}, front left; flags: where each face is thinnest", 1.9)
    return View(canvas.svg(), *room, 1.0, "stock")


def _faces_down(record: Record, name: str) -> bool:
    """Tell whether a face looks away from the view from above."""
    normal = next(face.normal for face in record.part.machined if face.name == name)
    return normal is not None and dot(normal, frames_of(record.zero)[0].z) < 0.0
