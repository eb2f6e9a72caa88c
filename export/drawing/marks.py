"""Graphic signs: machining required, direction of projection, zero.

The surface sign is the one of ISO 1302 / ISO 21920-1 for removal of material,
with the machining allowance at its left; the projection signs are those of
ISO 5456-2. Millimetres on paper. Knows nothing of where signs go.
"""

import math
from typing import Final

from export.drawing.view import Projection
from export.files.lettering import text_width
from export.files.sheet2d import TEXT, Item, Label, Stroke
from geom.flat.curve2d import Box2, Line, Vec2, box_of, circle

_SHORT: Final = 5.0
_LONG: Final = 10.5
"""Heights of the short and the long leg for 3.5 mm lettering."""

_SLOPE: Final = math.tan(math.radians(30))


def machining_sign(tip: Vec2, upright: bool, allowance: str) -> tuple[Item, ...]:
    """Return the sign for a machined surface.

    Args:
        tip: where it touches the surface.
        upright: False lies it over to the left, for a surface that faces left.
        allowance: metal to remove, in the sheet's unit.
    """
    turn = 0.0 if upright else 90.0
    left, middle, right = (-_SHORT * _SLOPE, _SHORT), (_SHORT * _SLOPE, _SHORT), (_LONG * _SLOPE, _LONG)
    pieces = [((0.0, 0.0), left), ((0.0, 0.0), right), (left, middle)]
    lines = [Stroke("symbol", Line(_placed(a, tip, turn), _placed(b, tip, turn))) for a, b in pieces]
    text = Label(allowance, _placed(_TEXT_END, tip, turn), TEXT, "right", turn, "symbol")
    return (*lines, *([text] if allowance else []))


_TEXT_END: Final = (-_SHORT * _SLOPE - 0.2, 1.3)
"""Where the allowance's base line ends: clear of the landing, descenders and all."""


def machining_sign_box(tip: Vec2, upright: bool, allowance: str) -> Box2:
    """Return the box round the sign, its lowest half millimetre left out: there it touches its surface."""
    width = text_width(allowance, TEXT) if allowance else -1.0
    left = _TEXT_END[0] - width
    corners = [(x, y) for x in (left, _LONG * _SLOPE) for y in (0.5, _LONG)]
    return box_of([_placed(c, tip, 0.0 if upright else 90.0) for c in corners])


def _placed(point: Vec2, tip: Vec2, turn: float) -> Vec2:
    x, y = point if turn == 0.0 else (-point[1], point[0])
    return (tip[0] + x, tip[1] + y)


def projection_sign(middle: Vec2, projection: Projection) -> tuple[Item, ...]:
    """Return the truncated cone of ISO 5456-2, about 19 mm wide and 8 mm high.

    The cone's small end faces left. First angle: the view from the left stands
    on the right. Third angle: it stands on the left, next to the small end.
    """
    small, large, length, gap = 2.0, 4.0, 8.0, 3.0
    whole = length + gap + 2 * large
    x, y = middle[0] - whole / 2, middle[1]
    cone, rings = (x, x + length + gap + large) if projection == "first" else (x + 2 * large + gap, x + large)
    edges = [
        ((cone, y - small), (cone, y + small)),
        ((cone, y + small), (cone + length, y + large)),
        ((cone + length, y + large), (cone + length, y - large)),
        ((cone + length, y - large), (cone, y - small)),
    ]
    axes = [((cone - 1, y), (cone + length + 1, y)), ((rings - large - 1, y), (rings + large + 1, y))]
    axes.append(((rings, y - large - 1), (rings, y + large + 1)))
    return (
        *(Stroke("rule", Line(a, b)) for a, b in edges),
        Stroke("rule", circle((rings, y), small)),
        Stroke("rule", circle((rings, y), large)),
        *(Stroke("centre", Line(a, b)) for a, b in axes),
    )
