"""Rows for work that is clamped turned by a measured angle.

The work is turned about the set-up's zero, counter-clockwise seen from above
positive; what holds it stays square to the table. Lengths mm, angles degrees.
Knows nothing of how the angle was measured.
"""

import math
from dataclasses import replace
from typing import Final

from geom.errors import JobError
from geom.rows.records import Row, Setup, Words
from geom.space import Frame, Vec3, add, scale, sub, unit

MOST: Final = 10.0
"""Work turned further than this, degrees, is not skewed but set up another way (common practice)."""

_STRAIGHT: Final = 1e-9
"""mm: a move that shifts an axis by less leaves it undriven."""


def skewed(setup: Setup, degrees: float) -> Setup:
    """Return the set-up for work turned by an angle about its zero.

    Raises:
        JobError: the angle is beyond `MOST`, or a row drives one of X and Y only, so that it cannot be turned.
    """
    if not (math.isfinite(degrees) and abs(degrees) <= MOST):
        raise JobError(
            f"set-up {setup.number}: work turned by {degrees:g} degrees; up to {MOST:g} either way are worked out, "
            "so clamp it straighter, or plan it with another X"
        )
    if degrees == 0.0:
        return setup
    turn = math.radians(degrees)
    rows = tuple(_turned_row(row, turn, setup.number) for row in setup.rows)
    patterns = tuple(replace(p, centre=_turned(p.centre[0], p.centre[1], turn)) for p in setup.patterns)
    return replace(setup, frame=_frame(setup.frame, turn), rows=rows, patterns=patterns, notes=(_told(degrees), *setup.notes))


def _told(degrees: float) -> Words:
    way = "counter-clockwise" if degrees > 0 else "clockwise"
    return (
        f"the work is clamped turned {abs(degrees):.3f} degrees {way} seen from above: every X and Y below is turned with it about "
        "the zero; the holding is not. Moves along a face drive both axes now: between their ends follow the face with both "
        "handwheels, or swing the vise square and use the rows as drawn",
    )


def _turned(x: float, y: float, turn: float) -> tuple[float, float]:
    c, s = math.cos(turn), math.sin(turn)
    return x * c - y * s + 0.0, x * s + y * c + 0.0


def _turned_row(row: Row, turn: float, setup: int) -> Row:
    if row.x is None and row.y is None:
        return row
    if row.x is None or row.y is None:
        raise JobError(
            f"set-up {setup}, row {row.number} ({row.action} {row.feature}): drives one of X and Y only, so it cannot be turned; "
            "clamp the work square"
        )
    x, y = _turned(row.x, row.y, turn)
    if row.x_to is None and row.y_to is None:
        return replace(row, x=x, y=y)
    end = (row.x if row.x_to is None else row.x_to, row.y if row.y_to is None else row.y_to)
    to = _turned(*end, turn)
    x_to, y_to = (None if abs(b - a) < _STRAIGHT else b for a, b in zip((x, y), to, strict=True))
    return replace(row, x=x, y=y, x_to=x_to, y_to=y_to)


def _frame(frame: Frame, turn: float) -> Frame:
    """Return the frame in which a point of the work reads its turned coordinates."""
    c, s = math.cos(turn), math.sin(turn)
    x: Vec3 = unit(sub(scale(frame.x, c), scale(frame.y, s)))
    y: Vec3 = unit(add(scale(frame.x, s), scale(frame.y, c)))
    return Frame(frame.origin, x, y, frame.z)
