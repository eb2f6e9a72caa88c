"""A small SVG page: text, curves, swatches, images, and numbered flags that keep clear of what is drawn.

Coordinates are mm on paper, y down. Knows nothing of parts or stock.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal
from xml.sax.saxutils import escape

import numpy as np
import numpy.typing as npt

from export.files.lettering import CAPITAL, text_width
from export.fonts import SANS
from geom.flat.curve2d import Box2, Curve, Vec2, polyline

_Floats = npt.NDArray[np.float64]

_RADIUS: Final = 2.4
_REACHES: Final = (9.0, 13.0, 18.0, 24.0, 31.0, 40.0, 52.0, 66.0)
_TURNS: Final = 24
_CLEAR: Final = 1.0


@dataclass(frozen=True, slots=True)
class Flag:
    """A number in a ring, with a line to its spot."""

    number: int
    spot: Vec2
    at: Vec2


def flags_on(spots: Sequence[tuple[int, Vec2]], ink: _Floats, field: Box2) -> list[Flag]:
    """Return flags beside what is drawn and clear of each other, as near to their spots as there is room.

    Args:
        ink: points (n, 2) of the drawn silhouette.
    """
    found: list[Flag] = []
    for number, spot in spots:
        found.append(Flag(number, spot, _free_place(spot, found, ink, field)))
    return found


def _free_place(spot: Vec2, flags: Sequence[Flag], ink: _Floats, field: Box2) -> Vec2:
    best, worst = spot, math.inf
    for reach in _REACHES:
        for turn in range(_TURNS):
            angle = 2.0 * math.pi * turn / _TURNS
            at = (spot[0] + reach * math.cos(angle), spot[1] + reach * math.sin(angle))
            if not (field[0] + _RADIUS <= at[0] <= field[2] - _RADIUS and field[1] + _RADIUS <= at[1] <= field[3] - _RADIUS):
                continue
            cost = reach + _crowding(spot, at, flags, ink)
            if cost < worst - 1e-9:
                best, worst = at, cost
    return best


def _crowding(spot: Vec2, at: Vec2, flags: Sequence[Flag], ink: _Floats) -> float:
    """Return how badly a place suits, as mm of extra reach: on the part, on another flag, across another line."""
    room = _RADIUS + _CLEAR
    on_part = len(ink) > 0 and float(np.hypot(ink[:, 0] - at[0], ink[:, 1] - at[1]).min()) < room
    on_flag = any(math.dist(at, f.at) < 2.0 * room or _gap(f.at, spot, at) < room or _gap(at, f.spot, f.at) < room for f in flags)
    crossing = any(_cross(spot, at, f.spot, f.at) for f in flags)
    return 60.0 * on_part + 200.0 * on_flag + 100.0 * crossing


def _gap(point: Vec2, a: Vec2, b: Vec2) -> float:
    """Return how far a point is from the line between two others."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    t = ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / max(dx * dx + dy * dy, 1e-12)
    t = min(max(t, 0.0), 1.0)
    return math.dist(point, (a[0] + t * dx, a[1] + t * dy))


def _cross(a: Vec2, b: Vec2, c: Vec2, d: Vec2) -> bool:
    def side(p: Vec2, q: Vec2, r: Vec2) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


class Canvas:
    """Collects the pieces of one page, in drawing order."""

    def __init__(self, width: float, height: float, title: str) -> None:
        self._width, self._height, self._title = width, height, title
        self._pieces: list[str] = []

    def text(self, at: Vec2, words: str, height: float, align: Literal["start", "middle"] = "start") -> None:
        """Draw one line of text; `at` is on its base line, `height` a capital's."""
        anchor = "" if align == "start" else f' text-anchor="{align}"'
        wide = f' textLength="{_n(text_width(words, height))}" lengthAdjust="spacingAndGlyphs"'
        place = f'x="{_n(at[0])}" y="{_n(at[1])}" font-size="{_n(height / CAPITAL)}"'
        self._pieces.append(f"<text {place}{anchor}{wide}>{escape(words)}</text>")

    def curves(self, curves: Iterable[Curve], place: Callable[[Vec2], Vec2], width: float) -> None:
        """Draw curves as black lines."""
        paths = "".join("M" + "L".join(_p(place(point)) for point in polyline(curve, 0.02)) for curve in curves)
        self._pieces.append(
            f'<path d="{paths}" fill="none" stroke="#000" stroke-width="{width}" stroke-linecap="round" stroke-linejoin="round"/>'
        )

    def image(self, at: Vec2, size: Vec2, png: str) -> None:
        """Draw a PNG picture, given in base 64."""
        self._pieces.append(
            f'<image x="{_n(at[0])}" y="{_n(at[1])}" width="{_n(size[0])}" height="{_n(size[1])}" '
            f'preserveAspectRatio="none" href="data:image/png;base64,{png}"/>'
        )

    def swatch(self, at: Vec2, size: Vec2, ink: tuple[int, int, int], hatched: bool = False) -> None:
        """Draw a filled box; hatched with white strokes."""
        self._box(at, size, ink)
        if hatched:
            (x, y), (w, h) = at, size
            strokes = "".join(
                f"M{_n(x + i)} {_n(y + h)}L{_n(x + i + h)} {_n(y)}" for i in np.arange(0.0, w - h + 0.1, 2.0).tolist()
            )
            self._pieces.append(f'<path d="{strokes}" stroke="#fff" stroke-width="0.5"/>')

    def dotted(self, at: Vec2, size: Vec2, ink: tuple[int, int, int]) -> None:
        """Draw a filled box with white dots."""
        self._box(at, size, ink)
        for i in range(int(size[0] // 2)):
            for j in range(int(size[1] // 2)):
                spot = f'cx="{_n(at[0] + 1 + 2 * i)}" cy="{_n(at[1] + 1 + 2 * j)}"'
                self._pieces.append(f'<circle {spot} r="0.25" fill="#fff"/>')

    def _box(self, at: Vec2, size: Vec2, ink: tuple[int, int, int]) -> None:
        fill = "#" + "".join(f"{c:02x}" for c in ink)
        place = f'x="{_n(at[0])}" y="{_n(at[1])}" width="{_n(size[0])}" height="{_n(size[1])}"'
        self._pieces.append(f'<rect {place} fill="{fill}" stroke="#000" stroke-width="0.15"/>')

    def flags(self, flags: Iterable[Flag]) -> None:
        """Draw flags: a dot on the spot, a line with a white edge, a numbered ring."""
        for flag in flags:
            line = f'x1="{_n(flag.spot[0])}" y1="{_n(flag.spot[1])}" x2="{_n(flag.at[0])}" y2="{_n(flag.at[1])}"'
            self._pieces.append(f'<line {line} stroke="#fff" stroke-width="0.9"/><line {line} stroke="#000" stroke-width="0.3"/>')
            spot = f'cx="{_n(flag.spot[0])}" cy="{_n(flag.spot[1])}"'
            self._pieces.append(f'<circle {spot} r="0.9" fill="#000" stroke="#fff" stroke-width="0.35"/>')
            self.flag_mark(flag.at, flag.number)

    def flag_mark(self, at: Vec2, number: int) -> None:
        """Draw a number in a ring."""
        ring = f'cx="{_n(at[0])}" cy="{_n(at[1])}" r="{_RADIUS}"'
        self._pieces.append(f'<circle {ring} fill="#fff" stroke="#000" stroke-width="0.3"/>')
        self.text((at[0], at[1] + 1.0), str(number), 2.0, "middle")

    def svg(self) -> bytes:
        """Return the page as a UTF-8 SVG file."""
        w, h = _n(self._width), _n(self._height)
        head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}">'
        body = ["<g font-family=\"'" + SANS + "', sans-serif\">", *self._pieces, "</g>"]
        lines = [
            head,
            f"<title>{escape(self._title)}</title>",
            f'<rect width="{w}" height="{h}" fill="#fff"/>',
            *body,
            "</svg>",
            "",
        ]
        return "\n".join(lines).encode()


def _p(point: Vec2) -> str:
    return f"{_n(point[0])} {_n(point[1])}"


def _n(value: float) -> str:
    """Return a number to a hundredth of a mm on paper, without trailing zeros or "-0"."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
