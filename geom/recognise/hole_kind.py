"""What kind of hole some lengths make: plain, counterbored, countersunk or stepped.

One step with a flat shoulder makes a hole counterbored; a cone at its mouth
larger than a broken edge makes it countersunk; anything else of several
diameters is stepped. Lengths mm, angles degrees. Knows nothing of where the
hole is.
"""

import math
from collections.abc import Sequence
from typing import Final, TypeAlias

from geom.model.part import FoundCounterbore, FoundCountersink, HoleKind
from geom.recognise.passage import Length, is_edge_break
from geom.recognise.walls import SAME_RADIUS

POINTED: Final = 0.1
"""A cone that narrows to less than this share of the hole's radius is a drill point."""

_FLAT_SHARE: Final = 0.1
"""Least share of a step's width that is flat where it is a shoulder, not a cone."""

_SINK_ANGLE: Final = 60.0
"""Included angle, degrees, from which a cone through and through is a countersink and not a taper."""

Mouth: TypeAlias = tuple[HoleKind, FoundCounterbore | None, FoundCountersink | None]


def mouth_of(near: Sequence[Length], top: float, through: bool, floors: Sequence[float]) -> Mouth:
    """Return a hole's kind, counterbore and countersink.

    Args:
        near: its lengths from the opening to the end of its narrowest cylinder, heights along the outward axis.
        top: height of the opening.
        floors: heights of the flat floors among its own faces.
    """
    plain: HoleKind = "through" if through else "blind"
    sink = _countersink(near[0])
    diameters = _narrowing(near)
    if not diameters:
        is_sink = through and sink is not None and sink.angle >= _SINK_ANGLE
        return ("countersunk", None, sink) if is_sink else (plain, None, None)
    if len(diameters) == 1:
        return ("countersunk" if sink and not is_edge_break(near[0]) else plain), None, sink
    if len(diameters) == 2 and _is_shoulder(near, *diameters) and (sink is None or is_edge_break(near[0])):
        return (
            "counterbored",
            FoundCounterbore(tidied(2 * diameters[0].top_radius), tidied(top - _end_of(near, diameters[0], floors))),
            sink,
        )
    return "stepped", None, sink


def _countersink(first: Length) -> FoundCountersink | None:
    if not first.narrows or first.bottom_radius <= POINTED * first.top_radius:
        return None
    half = math.degrees(math.atan2(first.top_radius - first.bottom_radius, first.top - first.bottom))
    return FoundCountersink(tidied(2 * first.top_radius), tidied(2 * half))


def _narrowing(near: Sequence[Length]) -> list[Length]:
    """Return the first cylinder of each new, narrower diameter; a groove, wider than what lies above it, is none."""
    found: list[Length] = []
    for wall in near:
        if wall.is_cylinder and (not found or wall.top_radius < found[-1].top_radius - SAME_RADIUS):
            found.append(wall)
    return found


def _is_shoulder(near: Sequence[Length], wide: Length, narrow: Length) -> bool:
    """Return whether the step between two diameters is flat, but for a broken edge."""
    between = near[near.index(wide) + 1 : near.index(narrow)]
    coned = sum(w.top_radius - w.bottom_radius for w in between if w.narrows)
    step = wide.top_radius - narrow.top_radius
    return step - coned > _FLAT_SHARE * step


def _end_of(near: Sequence[Length], wide: Length, floors: Sequence[float]) -> float:
    """Return the height of the shoulder below a diameter: past a fillet, and past what interrupts it."""
    last = max(i for i, w in enumerate(near) if w.is_cylinder and abs(w.top_radius - wide.top_radius) <= SAME_RADIUS)
    end, below = near[last].bottom, near[last + 1].top
    return min((h for h in floors if below - SAME_RADIUS <= h <= end + SAME_RADIUS), default=end)


def tidied(value: float) -> float:
    """Return a measure without the kernel's last digits, and never -0."""
    return round(value, 8) + 0.0
