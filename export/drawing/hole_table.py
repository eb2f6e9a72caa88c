"""The hole table of a drawing: tag, place from the zero, what the hole is.

Coordinates are in the zero's own axes. Knows nothing of where the table stands.
"""

from collections.abc import Sequence
from typing import Final

from export.drawing.annotate import TaggedHole
from export.drawing.dimension import POSITION_PLACES
from export.drawing.furniture import Block, table_block
from export.number import Units, size
from geom.model.part import PartHole
from geom.space import Frame, Vec3

_SIDES: Final = (("right", "left"), ("back", "front"), ("top", "below"))
"""Which way a hole opens, by axis of the zero frame: plus, minus."""

_UNIT: Final = {"mm": "mm", "inch": "inch"}


def hole_table(holes: Sequence[TaggedHole], zero: Frame, units: Units, height: float) -> Block:
    """Return the table with one row for each hole."""
    head = ("Hole", "Name", "X", "Y", "Z", "From", "Size")
    rows = [hole_row(tagged, zero, units) for tagged in holes]
    title = f"Holes of the finished part, from the zero, {_UNIT[units]}"
    return table_block(title, head, rows, height, frozenset({2, 3, 4}))


def short_hole_table(holes: Sequence[TaggedHole], units: Units, height: float) -> Block:
    """Return the table with one row for each size, for a sheet without room for every hole."""
    groups: dict[str, list[TaggedHole]] = {}
    for tagged in holes:
        groups.setdefault(tagged.tag.rstrip("0123456789"), []).append(tagged)
    rows = [(letter, str(len(group)), hole_words(group[0].hole, units)) for letter, group in groups.items()]
    return table_block(
        "Holes, one of each size tagged; positions are in the coordinate lists",
        ("Hole", "No.", "Size"),
        rows,
        height,
        frozenset({1}),
    )


def hole_row(tagged: TaggedHole, zero: Frame, units: Units) -> tuple[str, ...]:
    """Return one hole's row: tag, name, X, Y, Z of its opening, the side it opens to, its size."""
    places = POSITION_PLACES[units]
    x, y, z = (size(c, units, places) for c in zero.local(tagged.hole.centre))
    return (
        tagged.tag,
        tagged.hole.name,
        x,
        y,
        z,
        opening_side(zero.local_direction(tagged.hole.axis)),
        hole_words(tagged.hole, units),
    )


def opening_side(direction: Vec3) -> str:
    """Return the side of the part a direction in the zero's axes points to, or "slanting"."""
    for i, (plus, minus) in enumerate(_SIDES):
        if abs(direction[i]) > 1.0 - 1e-6:
            return plus if direction[i] > 0 else minus
    return "slanting"


def hole_words(hole: PartHole, units: Units) -> str:
    """Return what a hole is, as a drawing says it: size, depth, what for, mouth, whether it is cored."""
    parts = [_bore(hole, units)]
    purpose = _purpose(hole)
    if hole.counterbore is not None:
        mouth = f"Ø{size(hole.counterbore.diameter, units)} x {size(hole.counterbore.depth, units)} deep"
        named = purpose.startswith("counterbore")
        parts.append(f"{purpose}: {mouth}" if named else f"counterbore {mouth}")
        purpose = "" if named else purpose
    elif hole.kind == "stepped":
        parts.extend(_steps(hole, units))
    if hole.countersink is not None:
        parts.append(f"countersink Ø{size(hole.countersink.diameter, units)} x {size(hole.countersink.angle, 'mm', 1)}°")
    if purpose:
        parts.insert(1, purpose)
    if hole.source == "core":
        parts.append("cored")
    return ", ".join(parts)


def _bore(hole: PartHole, units: Units) -> str:
    depth = " through" if hole.through or hole.depth is None else f" x {size(hole.depth, units)} deep"
    if hole.callout is not None and hole.callout.thread is not None:
        return f"{hole.callout.thread.designation}, drill {hole.callout.drill.name}{depth}"
    return f"Ø{size(hole.diameter, units)}{depth}"


def _purpose(hole: PartHole) -> str:
    """Return what the job says the hole is for, unless its size says the same."""
    if hole.callout is None or hole.callout.thread is not None or hole.callout.purpose == "plain":
        return ""
    return hole.callout.text


def _steps(hole: PartHole, units: Units) -> list[str]:
    """Return the wider lengths of a stepped hole, from the opening inwards."""
    wider = [s for s in hole.steps if s.start_diameter == s.end_diameter and s.start_diameter > hole.diameter + 1e-6]
    return [f"Ø{size(s.start_diameter, units)} x {size(s.end, units)} deep" for s in wider]
