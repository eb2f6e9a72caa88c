"""Holes as the program understands them: a text to check against the drawing, and JSON.

Text in the sheet's units; JSON always mm, degrees, part frame. Knows nothing of
rows or set-ups.
"""

import re
from collections.abc import Mapping
from typing import Any

from export.number import Units, fixed, length, size
from export.tables.text import aligned
from geom.model.part import Part, PartHole
from geom.settings.records import Settings
from geom.space import Vec3

_PLACES: Mapping[str, int] = {"mm": 3, "inch": 4}
UNIT_NAMES: Mapping[str, str] = {"mm": "mm", "inch": "in"}


def exact(value: float) -> float:
    """Return a figure for JSON: to a millionth of its unit, so that the last bits of arithmetic do not show."""
    return float(fixed(value, 6)) + 0.0


def exact_point(point: Vec3) -> list[float]:
    """Return a point or direction for JSON."""
    return [exact(c) for c in point]


# --- JSON -------------------------------------------------------------------


def holes_document(part: Part) -> dict[str, Any]:
    """Return the holes as a JSON document: mm, degrees, part frame."""
    return {"part": part.name, "holes": [_hole_entry(hole) for hole in part.holes]}


def _hole_entry(hole: PartHole) -> dict[str, Any]:
    bore, sink = hole.counterbore, hole.countersink
    thread = hole.callout.thread if hole.callout else None
    return {
        "name": hole.name,
        "kind": hole.kind,
        "diameter": exact(hole.diameter),
        "centre": exact_point(hole.centre),
        "axis": exact_point(hole.axis),
        "depth": None if hole.depth is None else exact(hole.depth),
        "counterbore": None if bore is None else {"diameter": exact(bore.diameter), "depth": exact(bore.depth)},
        "countersink": None if sink is None else {"diameter": exact(sink.diameter), "angle": exact(sink.angle)},
        "thread": None if thread is None else thread.designation,
        "through": hole.through,
        "length": exact(hole.length),
        "point_angle": None if hole.point_angle is None else exact(hole.point_angle),
        "tip_depth": None if hole.tip_depth is None else exact(hole.tip_depth),
        "steps": [
            {
                "start": exact(step.start),
                "end": exact(step.end),
                "start_diameter": exact(step.start_diameter),
                "end_diameter": exact(step.end_diameter),
            }
            for step in hole.steps
        ],
        "source": hole.source,
        "far_mouth_of": hole.pilot,
        "callout": hole.callout.text if hole.callout else None,
        "suggestions": list(hole.suggestions),
    }


# --- text -------------------------------------------------------------------


def holes_text(part: Part, settings: Settings) -> str:
    """Return the hole list in the sheet's units, ending in a line break."""
    units = settings.units
    heading = f"Holes of {part.name}, {UNIT_NAMES[units]}, part frame"
    if not part.holes:
        return f"{heading}\n\nThe part has no holes.\n"
    columns = ("hole", "kind", "dia", "depth", "mouth", "x", "y", "z", "opens to", "for")
    table = aligned(columns, [_hole_line(hole, units) for hole in sorted(part.holes, key=_by_name)], "llrrlrrrll")
    return f"{heading}\n\n{table}\n\n{_HOLE_NOTES}\n"


_HOLE_NOTES = """\
x y z: where the axis meets the plane the hole opens on. Depth: to the end of the full diameter.
"fits" is a guess from the diameter; say what a hole is for in [holes.NAME] callout = "..."."""


def _by_name(hole: PartHole) -> list[tuple[int, str]]:
    """Return a key that puts "hole 10" after "hole 9"."""
    return [(int(piece), "") if piece.isdigit() else (-1, piece) for piece in re.split(r"(\d+)", hole.name) if piece]


def _hole_line(hole: PartHole, units: Units) -> tuple[str, ...]:
    x, y, z = (length(c, units, _PLACES[units]) for c in hole.centre)
    return (
        hole.name,
        hole.kind,
        size(hole.diameter, units),
        "through" if hole.depth is None else size(hole.depth, units),
        _mouth(hole, units),
        x,
        y,
        z,
        direction_words(hole.axis),
        _purpose(hole),
    )


def _mouth(hole: PartHole, units: Units) -> str:
    if hole.counterbore is not None:
        return f"{size(hole.counterbore.diameter, units)} x {size(hole.counterbore.depth, units)} deep"
    if hole.countersink is not None:
        return f"{size(hole.countersink.diameter, units)} at {size(hole.countersink.angle, 'mm', 1)} deg"
    if hole.kind == "stepped":
        return f"{size(hole.steps[0].start_diameter, units)} x {size(hole.steps[0].end, units)} deep" if hole.steps else ""
    return ""


def _purpose(hole: PartHole) -> str:
    if hole.pilot is not None:
        return f"far mouth of {hole.pilot}"
    if hole.callout is not None:
        return hole.callout.text
    return f"fits {hole.suggestions[0]}" if hole.suggestions else ""


def direction_words(axis: Vec3) -> str:
    """Return "+Z" for a part axis, else its three cosines."""
    for i, letter in enumerate("XYZ"):
        if abs(axis[i]) > 1 - 1e-9:
            return f"{'+' if axis[i] > 0 else '-'}{letter}"
    return " ".join(fixed(c, 4) for c in axis)
