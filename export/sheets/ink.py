"""The marks of one view and their SVG: lines by weight, hatch, words on a white ground, each in a named group.

Coordinates are mm on paper, origin at the lower left corner, y up. Black on
white: a sheet is copied and gets greasy. Knows nothing of what is drawn.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Final, Literal, TypeAlias
from xml.sax.saxutils import escape, quoteattr

from export.files.lettering import CAPITAL, DESCENT, text_width
from export.fonts import SANS
from geom.flat.curve2d import Box2, Vec2

Style: TypeAlias = Literal[
    "work", "soft", "work behind", "holding", "holding behind", "hatch", "cut", "cut small", "axis", "balloon", "leader", "break"
]

WIDTH: Final[dict[Style, float]] = {
    "work": 0.5,
    "soft": 0.18,
    "work behind": 0.25,
    "holding": 0.35,
    "holding behind": 0.25,
    "hatch": 0.13,
    "cut": 0.3,
    "cut small": 0.3,
    "axis": 0.5,
    "balloon": 0.35,
    "leader": 0.18,
    "break": 0.25,
}
"""Line widths, mm: the 0.5 mm line group of ISO 128 with narrow 0.25, hatch thinner."""

DASHES: Final[dict[Style, tuple[float, ...]]] = {
    "work behind": (2.0, 1.0),
    "holding behind": (2.0, 1.0),
    "cut": (5.0, 0.8, 0.8, 0.8, 0.8, 0.8),
    "cut small": (1.8, 0.5, 0.4, 0.5, 0.4, 0.5),
}
"""Dash and gap lengths, mm: hidden and phantom lines as in ISO 128-2, shortened for small views."""

HALO: Final = 0.6
"""mm of white round words."""


@dataclass(frozen=True, slots=True)
class Path:
    """Connected straight pieces; closed where the last point is the first."""

    style: Style
    points: tuple[Vec2, ...]


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle: white with a rim, or black when `full`."""

    style: Style
    centre: Vec2
    radius: float
    full: bool = False


@dataclass(frozen=True, slots=True)
class Blot:
    """A filled black outline."""

    points: tuple[Vec2, ...]


@dataclass(frozen=True, slots=True)
class Word:
    """One line of words, its middle at a point; on white unless `bare`."""

    text: str
    at: Vec2
    height: float
    bare: bool = False

    @property
    def box(self) -> Box2:
        """The ground it covers."""
        half = 0.5 * text_width(self.text, self.height) + HALO
        down = 0.5 * self.height + DESCENT * self.height
        return (self.at[0] - half, self.at[1] - down, self.at[0] + half, self.at[1] + 0.5 * self.height + HALO)


Mark: TypeAlias = Path | Disc | Blot | Word


@dataclass(frozen=True, slots=True)
class Group:
    """Marks that belong together, and what a reader of the file may ask about them.

    Attributes:
        name: the group's id in the file, unique in a view.
        facts: written as `data-` attributes.
    """

    name: str
    marks: tuple[Mark, ...]
    facts: Mapping[str, str] = field(default_factory=dict)


def svg_of(box: Box2, title: str, groups: Iterable[Group], facts: Mapping[str, str]) -> bytes:
    """Return what lies in a box as a UTF-8 SVG file at true size; groups lie over each other in order.

    Y runs down in the file: a mark at a height y has the file's y `box[3]` - y, its x is that of the mark.
    """
    width, height = box[2] - box[0], box[3] - box[1]
    size = f'width="{number(width)}mm" height="{number(height)}mm" viewBox="{number(box[0])} 0 {number(width)} {number(height)}"'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" {size}{_facts(facts)}>',
            f"<title>{escape(title)}</title>",
            f'<g font-family="\'{SANS}\', sans-serif" stroke-linecap="round" stroke-linejoin="round" xml:space="preserve">',
            *(line for group in groups for line in _group(group, box[3])),
            "</g>",
            "</svg>",
            "",
        ]
    ).encode()


def _facts(facts: Mapping[str, str]) -> str:
    return "".join(f" data-{key}={quoteattr(value)}" for key, value in facts.items())


def _group(group: Group, height: float) -> list[str]:
    lines = [f"<g id={quoteattr(group.name)}{_facts(group.facts)}>"]
    for style, some in groupby(group.marks, lambda mark: mark.style if isinstance(mark, Path) else None):
        marks = list(some)
        lines += [_mark(mark, height) for mark in marks] if style is None else [_paths(style, marks, height)]
    return [*lines, "</g>"]


def _paths(style: Style, marks: Sequence[Mark], height: float) -> str:
    """Return paths of one style as one element."""
    dashes = f' stroke-dasharray="{" ".join(map(number, DASHES[style]))}" stroke-linecap="butt"' if style in DASHES else ""
    data = "".join(_path(mark.points, height) for mark in marks if isinstance(mark, Path))
    look = f'fill="none" stroke="#000" stroke-width="{number(WIDTH[style])}"{dashes}'
    return f'<path class="{style.replace(" ", "-")}" {look} d="{data}"/>'


def _mark(mark: Mark, height: float) -> str:
    match mark:
        case Disc(style, (x, y), radius, full):
            ground = "#000" if full else "#fff"
            look = f'fill="{ground}" stroke="#000" stroke-width="{number(WIDTH[style])}"'
            return f'<circle cx="{number(x)}" cy="{number(height - y)}" r="{number(radius)}" {look}/>'
        case Blot(points):
            return f'<path d="{_path(points, height)}Z"/>'
        case Word():
            return _word(mark, height)
        case Path():
            raise AssertionError("paths are written together")


def _word(word: Word, height: float) -> str:
    x0, y0, x1, y1 = word.box
    ground = f'<rect x="{number(x0)}" y="{number(height - y1)}" width="{number(x1 - x0)}" height="{number(y1 - y0)}" fill="#fff"/>'
    width, size = text_width(word.text, word.height), number(word.height / CAPITAL)
    at = f'x="{number(word.at[0] - 0.5 * width)}" y="{number(height - word.at[1] + 0.5 * word.height)}"'
    fit = f'textLength="{number(width)}" lengthAdjust="spacingAndGlyphs"'
    return f'{"" if word.bare else ground}<text {at} font-size="{size}" {fit}>{escape(word.text)}</text>'


def _path(points: Sequence[Vec2], height: float) -> str:
    return "M" + "L".join(f"{number(x)} {number(height - y)}" for x, y in points)


def number(value: float) -> str:
    """Return a number to a micrometre, without trailing zeros or "-0"."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
