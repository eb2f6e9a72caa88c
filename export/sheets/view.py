"""The pictures of one set-up: the work as it stands, true to scale, from above and from the front.

Hidden-line views in the set-up's own axes, mm on paper. Knows nothing of pages,
tables or the cover.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from export.number import Units
from export.sheets.ink import Group, Path, svg_of
from export.sheets.stages import stages
from geom.job import Record
from geom.rays.mesh_lines import Floats, Sight, cut_to_sight, drawn_lines
from geom.space import Frame, scale

SCALES: Final = (5.0, 2.0, 1.0, 0.5, 0.4, 1 / 3, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01)
"""Paper over work: ISO 5455, with 1:2.5, 1:3 and 1:4 between, so that small sheets are used up."""

_EDGE: Final = 2.0
_SAMPLE: Final = 0.25
"""mm on paper between looks along a line."""


@dataclass(frozen=True, slots=True)
class View:
    """One picture of a set-up.

    Attributes:
        svg: the complete file; its width and height are those of the view.
        width, height: mm on paper.
        scale: paper mm per work mm.
        title: "from above", "from the front".
    """

    svg: bytes
    width: float
    height: float
    scale: float
    title: str

    @property
    def ratio(self) -> str:
        """The scale as a drawing says it: "1:2", "2:1"."""
        return f"{self.scale:g}:1" if self.scale >= 1 else f"1:{1 / self.scale:.3g}"


def holding_views(record: Record, setup: int, room: tuple[float, float], units: Units) -> tuple[View, View]:
    """Return a set-up seen from above (spindle side) and from the front (operator's side), both at one scale.

    Args:
        setup: its number, from 1.
        room: width and height on paper that each may take, mm.
    """
    frame = record.setups[setup - 1].frame
    front = Frame(frame.origin, frame.x, frame.z, scale(frame.y, -1.0))
    seen = [_lines(record, setup, view) for view in (frame, front)]
    factor = next((s for s in SCALES if all(_fits(lines, s, room) for lines, _ in seen)), SCALES[-1])
    above, ahead = (
        _view(lines, sight, factor, title, units)
        for (lines, sight), title in zip(seen, ("from above", "from the front"), strict=True)
    )
    return above, ahead


def small_view(record: Record, setup: int, room: tuple[float, float]) -> View:
    """Return a set-up seen from the front, without numbers, for the order of set-ups on the cover."""
    frame = record.setups[setup - 1].frame
    lines, sight = _lines(record, setup, Frame(frame.origin, frame.x, frame.z, scale(frame.y, -1.0)))
    factor = next((s for s in SCALES if _fits(lines, s, room)), SCALES[-1])
    return _view(lines, sight, factor, "from the front", record.settings.units)


def _lines(record: Record, setup: int, view: Frame) -> tuple[Floats, Sight]:
    mesh = stages(record)[setup - 1]
    return drawn_lines(mesh, view), Sight(view.local_points(mesh.vertices)[mesh.triangles])


def _fits(lines: Floats, factor: float, room: tuple[float, float]) -> bool:
    size = np.ptp(lines[:, :, :2].reshape(-1, 2), axis=0) * factor + 2 * _EDGE
    return bool(size[0] <= room[0] and size[1] <= room[1])


def _view(lines: Floats, sight: Sight, factor: float, title: str, units: Units) -> View:
    low = lines[:, :, :2].min(axis=(0, 1))
    size = np.ptp(lines[:, :, :2].reshape(-1, 2), axis=0) * factor + 2 * _EDGE
    shown, _ = cut_to_sight(lines, sight, _SAMPLE / factor)
    paper = (shown - low) * factor + _EDGE
    marks = tuple(Path("work", ((float(a[0]), float(a[1])), (float(b[0]), float(b[1])))) for a, b in paper)
    svg = svg_of(float(size[0]), float(size[1]), title, [Group("work", marks)], {"units": units})
    return View(svg, float(size[0]), float(size[1]), factor, title)
