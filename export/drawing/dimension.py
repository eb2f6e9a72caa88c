"""Which dimensions a view gets, and where they stand.

Overall sizes of the casting, sizes of the finished part in brackets, and hole
positions from the zero. They stand outside the view in rows; where rows would
crowd, positions become ordinates. Everything here is on paper with the view's
zero at (0, 0), mm; `Figures` says how a size is printed.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

from export.drawing.view import View
from export.files.sheet2d import (
    TEXT,
    Dimension,
    Item,
    Label,
    LinearDimension,
    OrdinateDimension,
    fits_between,
    ink,
    ink_box,
    label_box,
)
from export.number import Units, size
from geom.flat.curve2d import Box2, Curve, Vec2, hull_box, polyline
from geom.tolerance import SAME_AXIS, SKIN

Side: TypeAlias = Literal["left", "right", "bottom", "top"]

FIRST_ROW: Final = 10.0
NEXT_ROW: Final = 8.0
"""Distance of the first dimension line from the view and between dimension lines, mm (ISO 129-1 practice)."""

MOST_ROWS: Final = 3
"""More rows of positions than this become ordinates."""

MOST_ORDINATES: Final = 24
"""More positions than this along one side hide the part."""

_ORDINATE_PITCH: Final = 1.7 * TEXT
_ORDINATE_RUN: Final = (2.0, 6.0, 3.0)
"""Lengths of an ordinate's line: straight out of the view, slanting, straight to the text."""

_EDGE: Final = 0.01
"""Points this close, mm at true size, to a view's extent are where it ends."""

CASTING_PLACES: Final = {"mm": 1, "inch": 2}
FINISHED_PLACES: Final = {"mm": 2, "inch": 3}
POSITION_PLACES: Final = {"mm": 3, "inch": 4}
"""Decimals of overall sizes and of positions: a casting's size is no finer than its tolerance."""


@dataclass(frozen=True, slots=True)
class Position:
    """A feature's place in a view at true size, mm from the zero."""

    x: float
    y: float


def overall_rows(view: View, scale: float, side: Side, units: Units, start: float) -> tuple[LinearDimension, ...]:
    """Return the finished size (in brackets) and the casting's size along one side of a view.

    Args:
        start: how far out the view and its signs reach on that side, paper mm from the zero.
    """
    flat = side in ("bottom", "top")
    casting, finished = _extent(view.casting_box, flat), _extent(view.finished_box, flat)
    rows: list[LinearDimension] = []
    if max(abs(a - b) for a, b in zip(casting, finished, strict=True)) > SKIN:
        rows.append(_overall(view.finished, finished, scale, side, units, FINISHED_PLACES[units], "(<>)"))
    rows.append(_overall(view.outline, casting, scale, side, units, CASTING_PLACES[units], "<>"))
    return tuple(_on_row(row, side, start, n) for n, row in enumerate(rows))


def _extent(box: Box2, flat: bool) -> tuple[float, float]:
    return (box[0], box[2]) if flat else (box[1], box[3])


def _overall(
    curves: Sequence[Curve], ends: tuple[float, float], scale: float, side: Side, units: Units, places: int, template: str
) -> LinearDimension:
    first, second = (_end_point(curves, end, side, scale) for end in ends)
    true = ends[1] - ends[0]
    turn: Literal[0, 90] = 0 if side in ("bottom", "top") else 90
    return LinearDimension(first, second, (0.0, 0.0), turn, true, size(true, units, places), places, template)


def _end_point(curves: Sequence[Curve], end: float, side: Side, scale: float) -> Vec2:
    """Return the point of a view, on paper, where its extent ends, as near the dimension's side as there is."""
    i = 0 if side in ("bottom", "top") else 1
    near = [c for c in curves if hull_box(c)[i] - _EDGE <= end <= hull_box(c)[i + 2] + _EDGE]
    points = [p for curve in near for p in polyline(curve, 0.001)]
    nearest = min(abs(p[i] - end) for p in points)
    there = [p[1 - i] for p in points if abs(p[i] - end) <= nearest + _EDGE]
    across = max(there) if side in ("top", "right") else min(there)
    return (end * scale, across * scale) if i == 0 else (across * scale, end * scale)


def _on_row(row: LinearDimension, side: Side, start: float, number: int) -> LinearDimension:
    reach = FIRST_ROW + NEXT_ROW * number
    out = start + reach if side in ("top", "right") else start - reach
    return replace(row, base=(0.0, out) if side in ("bottom", "top") else (out, 0.0))


# --- positions from the zero ------------------------------------------------


def position_rows(places: Iterable[Position], scale: float, side: Side, units: Units, start: float) -> tuple[Dimension, ...]:
    """Return the distinct positions along one side, measured from the zero: in rows, or as ordinates where rows crowd.

    None at all when there are more than `MOST_ORDINATES`: the hole table or the coordinate list has them.
    """
    points = _distinct(places, side)
    if len(points) > MOST_ORDINATES:
        return ()
    rows = _linear_positions(points, scale, side, units, start)
    if rows is not None:
        return rows
    return _ordinates(points, scale, side, units, start)


def _distinct(places: Iterable[Position], side: Side) -> list[Position]:
    """Return one place for each distance from the zero, the nearest to the dimension's side, in order."""
    flat = side in ("bottom", "top")
    near = -1.0 if side in ("top", "right") else 1.0
    ordered = sorted(places, key=lambda p: (p.x, near * p.y) if flat else (p.y, near * p.x))
    out: list[Position] = []
    for place in ordered:
        value = _value(place, flat)
        twin = next((i for i, q in enumerate(out) if abs(_value(q, flat) - value) < SAME_AXIS), None)
        if twin is None:
            out.append(place)
        elif near * (_value(place, not flat) - _value(out[twin], not flat)) < 0:
            out[twin] = place
    return out


def _value(place: Position, flat: bool) -> float:
    return place.x if flat else place.y


def _linear_positions(
    points: Sequence[Position], scale: float, side: Side, units: Units, start: float
) -> tuple[LinearDimension, ...] | None:
    """Return rows that grow outwards from the zero on both sides, or None when they would crowd."""
    flat = side in ("bottom", "top")
    out: list[LinearDimension] = []
    for sign in (1.0, -1.0):
        wing = sorted((p for p in points if sign * _value(p, flat) > SAME_AXIS), key=lambda p: abs(_value(p, flat)))
        if len(wing) > MOST_ROWS:
            return None
        out.extend(_on_row(_from_zero(p, scale, flat, units), side, start, n) for n, p in enumerate(wing))
    return None if _crowded(out) else tuple(out)


def _from_zero(place: Position, scale: float, flat: bool, units: Units) -> LinearDimension:
    true = abs(_value(place, flat))
    places = POSITION_PLACES[units]
    at = (place.x * scale, place.y * scale)
    return LinearDimension((0.0, 0.0), at, (0.0, 0.0), 0 if flat else 90, true, size(true, units, places), places, from_zero=True)


def _crowded(rows: Sequence[LinearDimension]) -> bool:
    """Return whether a figure has no room between its extension lines, or two figures meet."""
    boxes = [label_box(p) for row in rows for p in ink(row) if isinstance(p, Label)]
    if any(_overlap(a, b) for i, a in enumerate(boxes) for b in boxes[:i]):
        return True
    return any(not fits_between(row) for row in rows) and len(rows) > 1


def _overlap(a: Box2, b: Box2) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _ordinates(points: Sequence[Position], scale: float, side: Side, units: Units, start: float) -> tuple[OrdinateDimension, ...]:
    flat = side in ("bottom", "top")
    if all(abs(_value(p, flat)) > SAME_AXIS for p in points):
        points = sorted([*points, Position(0.0, 0.0)], key=lambda p: _value(p, flat))
    spots = spread([_value(p, flat) * scale for p in points], _ORDINATE_PITCH)
    return tuple(_ordinate(p, spot, scale, side, units, start) for p, spot in zip(points, spots, strict=True))


def _ordinate(place: Position, spot: float, scale: float, side: Side, units: Units, start: float) -> OrdinateDimension:
    flat = side in ("bottom", "top")
    value, across = _value(place, flat), _value(place, not flat) * scale
    out = 1.0 if side in ("top", "right") else -1.0
    a, b, c = _ORDINATE_RUN
    heights = (across + out, start + out * a, start + out * (a + b), start + out * (a + b + c))
    alongs = (value * scale, value * scale, spot, spot)
    path = tuple((s, h) if flat else (h, s) for s, h in zip(alongs, heights, strict=True))
    places = POSITION_PLACES[units]
    feature = (place.x * scale, place.y * scale)
    axis: Literal["x", "y"] = "x" if flat else "y"
    return OrdinateDimension(
        (0.0, 0.0), feature, (path[0], path[1], path[2], path[3]), axis, value, size(value, units, places), places
    )


def spread(wanted: Sequence[float], pitch: float) -> list[float]:
    """Return places at least `pitch` apart, in order, as near the wanted ones (ascending) as they can be.

    Neighbours that are too close share the space evenly round their mean.
    """
    groups: list[list[float]] = []
    for value in wanted:
        groups.append([value])
        while len(groups) > 1 and _first(groups[-1], pitch) - _last(groups[-2], pitch) < pitch:
            groups[-2:] = [[*groups[-2], *groups[-1]]]
    return [_first(group, pitch) + pitch * i for group in groups for i in range(len(group))]


def _first(group: Sequence[float], pitch: float) -> float:
    return sum(group) / len(group) - pitch * (len(group) - 1) / 2


def _last(group: Sequence[float], pitch: float) -> float:
    return sum(group) / len(group) + pitch * (len(group) - 1) / 2


def reach(items: Iterable[Item], side: Side, otherwise: float) -> float:
    """Return how far out items reach on a side, paper mm from the zero, at least as far as `otherwise`."""
    box = ink_box(items)
    index = {"left": 0, "bottom": 1, "right": 2, "top": 3}[side]
    if box is None:
        return otherwise
    return min(otherwise, box[index]) if index < 2 else max(otherwise, box[index])
