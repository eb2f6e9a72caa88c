"""The neutral 2-D drawing: strokes by role, text, dimensions and leaders on a sheet.

Everything is in millimetres as on an A3 sheet, origin at the lower left corner,
y up; on a smaller sheet all of it, lettering and line widths too, is printed
smaller by `Sheet.reduction`, as drawing standards step their sizes by the root
of two. Knows nothing of solids, views or file formats.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, Literal, TypeAlias

from export.files.lettering import DESCENT, text_width
from geom.flat.curve2d import Box2, Curve, Line, Vec2, box_of, circle, curves_box, is_closed, joined_box, moved

Role: TypeAlias = Literal["outline", "hidden", "smooth", "centre", "phantom", "dimension", "symbol", "frame", "rule", "text"]
Align: TypeAlias = Literal["left", "middle", "right"]

LINE_WIDTH: Final[dict[Role, float]] = {
    "outline": 0.5,
    "hidden": 0.25,
    "smooth": 0.18,
    "centre": 0.18,
    "phantom": 0.35,
    "dimension": 0.18,
    "symbol": 0.25,
    "frame": 0.7,
    "rule": 0.25,
    "text": 0.25,
}
"""Line widths, mm: the 0.5 mm line group of ISO 128 (wide 0.5, narrow 0.25), the busiest narrow ones thinner."""

PATTERN: Final[dict[Role, tuple[float, ...]]] = {
    "hidden": (3.0, 1.0),
    "centre": (6.0, 1.0, 1.0, 1.0),
    "phantom": (6.0, 1.0, 1.0, 1.0, 1.0, 1.0),
}
"""Dash and gap lengths, mm on paper: 12 and 24 line widths of 0.25 mm as in ISO 128-2, gaps and dots
lengthened to 1 mm so that they survive a copier."""

TEXT: Final = 3.5
"""Height of dimension figures and notes, mm (ISO 3098 series)."""
SMALL_TEXT: Final = 2.5
CAPTION: Final = 1.8

ARROW: Final = 3.0
_ARROW_HALF: Final = 0.5
_ZERO_RING: Final = 1.25
_EXTENSION_GAP: Final = 1.0
_EXTENSION_OVER: Final = 2.0
_TEXT_LIFT: Final = 1.6
"""Figures stand this far above their line, mm: descenders clear an arrowhead."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """One curve drawn with the line of its role."""

    role: Role
    curve: Curve


@dataclass(frozen=True, slots=True)
class Label:
    """One line of text; `at` is on its base line, `turn` is degrees counter-clockwise."""

    text: str
    at: Vec2
    height: float = TEXT
    align: Align = "left"
    turn: float = 0.0
    role: Role = "text"


@dataclass(frozen=True, slots=True)
class Fill:
    """A filled triangle or quadrilateral."""

    role: Role
    points: tuple[Vec2, ...]


Ink: TypeAlias = Stroke | Label | Fill


@dataclass(frozen=True, slots=True)
class LinearDimension:
    """A size between two points, along x (`turn` 0) or y (`turn` 90).

    Attributes:
        first, second: the measured points; with `from_zero` the first one is the zero.
        base: any point on the dimension line.
        size: the true size, mm.
        figure: the size as printed, in the sheet's unit.
        places: decimals the figure is rounded to.
        template: what is printed, "<>" being the figure.
        from_zero: the first end carries the ring that marks an origin instead of an arrowhead.
    """

    first: Vec2
    second: Vec2
    base: Vec2
    turn: Literal[0, 90]
    size: float
    figure: str
    places: int
    template: str = "<>"
    from_zero: bool = False

    @property
    def text(self) -> str:
        """What is printed."""
        return self.template.replace("<>", self.figure)


@dataclass(frozen=True, slots=True)
class OrdinateDimension:
    """A signed distance from the zero along x or y, written at the end of a jogged line.

    Attributes:
        zero, feature: on paper.
        path: from near the feature to the text, four points; the middle piece may slant.
        axis: "x" is written upright along y, "y" along x.
        size: the true signed distance, mm.
    """

    zero: Vec2
    feature: Vec2
    path: tuple[Vec2, Vec2, Vec2, Vec2]
    axis: Literal["x", "y"]
    size: float
    figure: str
    places: int

    @property
    def text(self) -> str:
        """What is printed."""
        return self.figure


@dataclass(frozen=True, slots=True)
class Leader:
    """A line from an arrow at the first point to a landing, with words after the landing.

    Attributes:
        path: the arrow's tip first; the last piece is the landing.
        text: words beside the landing, or empty when a symbol stands on it.
        arrow: False ends the line bare (on an outline it meets).
    """

    path: tuple[Vec2, ...]
    text: str = ""
    height: float = TEXT
    arrow: bool = True


Dimension: TypeAlias = LinearDimension | OrdinateDimension
Item: TypeAlias = Stroke | Label | Fill | LinearDimension | OrdinateDimension | Leader


@dataclass(frozen=True, slots=True)
class Sheet:
    """One drawing sheet.

    Attributes:
        width, height: of the trimmed sheet as printed, mm.
        scale: printed over true size (0.5 for 1:2).
        reduction: printed over drawn: 1 on A3.
        units: what figures are in.
        title: for the file's own metadata.
        items: in drawing order.
    """

    width: float
    height: float
    scale: float
    units: Literal["mm", "inch"]
    title: str
    items: tuple[Item, ...]
    reduction: float = 1.0

    @property
    def extent(self) -> Vec2:
        """Width and height in the units of the items."""
        return (self.width / self.reduction, self.height / self.reduction)


# --- what an item is made of ------------------------------------------------


def ink(item: Item) -> tuple[Ink, ...]:
    """Return an item as plain strokes, fills and text."""
    match item:
        case LinearDimension():
            return linear_ink(item)
        case OrdinateDimension():
            return ordinate_ink(item)
        case Leader():
            return leader_ink(item)
    return (item,)


def linear_ink(item: LinearDimension) -> tuple[Ink, ...]:
    """Return a linear dimension's extension lines, dimension line, ends and text."""
    along, up = _axes(item.turn)
    a, b = _on_line(item.first, item.base, along), _on_line(item.second, item.base, along)
    forward = 1.0 if _dot(_less(b, a), along) >= 0 else -1.0
    way = (along[0] * forward, along[1] * forward)
    inside = fits_between(item)
    outwards = way if inside else (-way[0], -way[1])
    start = a if item.from_zero or inside else _step(a, way, -2 * ARROW)
    end, words = (b, _midpoint(a, b)) if inside else _outside_text(item, b, way)
    first_end = Stroke("dimension", circle(a, _ZERO_RING)) if item.from_zero else arrowhead(a, (-outwards[0], -outwards[1]))
    return (
        *(_extension(p, q) for p, q in ((item.first, a), (item.second, b)) if math.dist(p, q) > _EXTENSION_GAP),
        Stroke("dimension", Line(start, end)),
        first_end,
        arrowhead(b, outwards),
        Label(item.text, _step(words, up, _TEXT_LIFT), TEXT, "middle", float(item.turn), "dimension"),
    )


def fits_between(item: LinearDimension) -> bool:
    """Return whether arrows and text have room between the extension lines."""
    along, _ = _axes(item.turn)
    room = abs(_dot(_less(item.second, item.first), along))
    return room >= text_width(item.text, TEXT) + 2.0 + (ARROW if item.from_zero else 0.0) and room >= 2.5 * ARROW


def _outside_text(item: LinearDimension, b: Vec2, way: Vec2) -> tuple[Vec2, Vec2]:
    """Return the dimension line's far end and the text's middle when there is no room between the arrows."""
    width = text_width(item.text, TEXT)
    return _step(b, way, 1.5 * ARROW + width + 1.0), _step(b, way, 1.5 * ARROW + width / 2 + 0.5)


def _extension(point: Vec2, foot: Vec2) -> Stroke:
    size = math.dist(point, foot)
    way = ((foot[0] - point[0]) / size, (foot[1] - point[1]) / size)
    return Stroke("dimension", Line(_step(point, way, _EXTENSION_GAP), _step(foot, way, _EXTENSION_OVER)))


def arrowhead(tip: Vec2, way: Vec2) -> Fill:
    """Return a filled arrowhead whose tip points along the unit direction `way`."""
    back = _step(tip, way, -ARROW)
    side = (-way[1], way[0])
    return Fill("dimension", (tip, _step(back, side, _ARROW_HALF), _step(back, side, -_ARROW_HALF)))


def ordinate_ink(item: OrdinateDimension) -> tuple[Ink, ...]:
    """Return an ordinate dimension's jogged line and its text beyond the end."""
    pieces = [Stroke("dimension", Line(a, b)) for a, b in pairwise(item.path) if math.dist(a, b) > 1e-9]
    end, before = item.path[-1], item.path[-2]
    size = math.dist(end, before)
    way = ((end[0] - before[0]) / size, (end[1] - before[1]) / size)
    turn = 90.0 if item.axis == "x" else 0.0
    along, up = _axes(90 if item.axis == "x" else 0)
    align: Align = "left" if _dot(way, along) > 0 else "right"
    at = _step(_step(end, way, 1.0), up, -TEXT / 2)
    return (*pieces, Label(item.text, at, TEXT, align, turn, "dimension"))


def leader_ink(item: Leader) -> tuple[Ink, ...]:
    """Return a leader's line, arrowhead and words."""
    out: list[Ink] = [Stroke("dimension", Line(a, b)) for a, b in pairwise(item.path)]
    if item.arrow:
        tip, after = item.path[0], item.path[1]
        size = math.dist(tip, after)
        out.append(arrowhead(tip, ((tip[0] - after[0]) / size, (tip[1] - after[1]) / size)))
    if item.text:
        out.append(leader_label(item))
    return tuple(out)


def leader_label(item: Leader) -> Label:
    """Return where a leader's words stand: after the landing, centred on its height."""
    end, before = item.path[-1], item.path[-2]
    right = end[0] >= before[0]
    at = (end[0] + (1.0 if right else -1.0), end[1] - item.height / 2)
    return Label(item.text, at, item.height, "left" if right else "right", 0.0, "dimension")


# --- boxes ------------------------------------------------------------------


def label_box(label: Label) -> Box2:
    """Return the box round a label turned by a multiple of 90 degrees, descenders included."""
    width = text_width(label.text, label.height)
    x0 = {"left": 0.0, "middle": -width / 2, "right": -width}[label.align]
    turn = math.radians(label.turn)
    c, s = math.cos(turn), math.sin(turn)
    corners = [(x, y) for x in (x0, x0 + width) for y in (-DESCENT * label.height, 1.04 * label.height)]
    return box_of([(label.at[0] + x * c - y * s, label.at[1] + x * s + y * c) for x, y in corners])


def ink_box(items: Iterable[Item]) -> Box2 | None:
    """Return the box round everything the items draw, or None for no items."""
    boxes: list[Box2] = []
    for piece in (p for item in items for p in ink(item)):
        match piece:
            case Stroke(_, curve):
                box = curves_box([curve])
                assert box is not None
                boxes.append(box)
            case Label():
                boxes.append(label_box(piece))
            case Fill(_, points):
                boxes.append(box_of(points))
    return joined_box(boxes) if boxes else None


def pattern_scale(role: Role, curve: Curve, length: float) -> float:
    """Return the factor on a role's dash pattern that gives a closed curve a whole number of dashes, at least four."""
    pattern = PATTERN.get(role)
    if pattern is None or not is_closed(curve):
        return 1.0
    return length / (sum(pattern) * max(4, round(length / sum(pattern))))


def shifted(item: Item, dx: float, dy: float) -> Item:
    """Return an item moved on the sheet."""

    def put(p: Vec2) -> Vec2:
        return (p[0] + dx, p[1] + dy)

    match item:
        case Stroke(role, curve):
            return Stroke(role, moved(curve, (dx, dy)))
        case Label():
            return replace(item, at=put(item.at))
        case Fill(role, points):
            return Fill(role, tuple(put(p) for p in points))
        case LinearDimension():
            return replace(item, first=put(item.first), second=put(item.second), base=put(item.base))
        case OrdinateDimension():
            a, b, c, d = item.path
            return replace(item, zero=put(item.zero), feature=put(item.feature), path=(put(a), put(b), put(c), put(d)))
        case Leader():
            return replace(item, path=tuple(put(p) for p in item.path))


# --- small vectors ----------------------------------------------------------


def _axes(turn: Literal[0, 90]) -> tuple[Vec2, Vec2]:
    return ((1.0, 0.0), (0.0, 1.0)) if turn == 0 else ((0.0, 1.0), (-1.0, 0.0))


def _on_line(point: Vec2, base: Vec2, along: Vec2) -> Vec2:
    """Return the foot of a point on the line through `base`."""
    reach = _dot(_less(point, base), along)
    return _step(base, along, reach)


def _step(point: Vec2, way: Vec2, size: float) -> Vec2:
    return (point[0] + way[0] * size, point[1] + way[1] * size)


def _less(a: Vec2, b: Vec2) -> Vec2:
    return (a[0] - b[0], a[1] - b[1])


def _dot(a: Vec2, b: Vec2) -> float:
    return a[0] * b[0] + a[1] * b[1]


def _midpoint(a: Vec2, b: Vec2) -> Vec2:
    return ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
