"""A picture of a set-up read back from its SVG, in mm of the work: only what the file says, nothing of what wrote it."""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

Point = tuple[float, float]
Box = tuple[float, float, float, float]

_SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Picture:
    """One SVG."""

    svg: bytes

    @cached_property
    def root(self) -> ET.Element:
        return ET.fromstring(self.svg)

    @property
    def scale(self) -> float:
        return float(self.root.attrib["data-scale"])

    @property
    def zero(self) -> Point:
        """On paper, y down."""
        x, y = map(float, self.root.attrib["data-zero"].split())
        return x, y

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, mm; the view box has the same numbers."""
        width, height = (float(self.root.attrib[side].removesuffix("mm")) for side in ("width", "height"))
        assert [width, height] == [float(v) for v in self.root.attrib["viewBox"].split()[2:]]
        return width, height

    def groups(self) -> dict[str, ET.Element]:
        """Every named group by its id."""
        return {group.attrib["id"]: group for group in self.root.iter(f"{_SVG}g") if "id" in group.attrib}

    def mm(self, paper: Point) -> Point:
        """Return where on the work a point of the paper lies, from the zero."""
        return (paper[0] - self.zero[0]) / self.scale, (self.zero[1] - paper[1]) / self.scale

    def lines(self, group: str, *classes: str) -> list[list[Point]]:
        """Return the lines of some classes in a group, paper mm."""
        return [
            line
            for path in self.groups()[group].iter(f"{_SVG}path")
            if path.attrib.get("class") in classes
            for line in _lines(path.attrib["d"])
        ]

    def box(self, group: str, *classes: str) -> Box:
        """Return how far lines of some classes reach, mm of the work from the zero."""
        xs, ys = zip(*(self.mm(p) for line in self.lines(group, *classes) for p in line), strict=True)
        return min(xs), min(ys), max(xs), max(ys)

    def words(self) -> list[tuple[str, Box, float]]:
        """Return each piece of text, the ground it covers on paper, and its font size."""
        found = []
        for text in self.root.iter(f"{_SVG}text"):
            x, y, wide, size = (float(text.attrib[name]) for name in ("x", "y", "textLength", "font-size"))
            found.append((text.text or "", (x, y - 0.73 * size, x + wide, y), size))
        return found

    def balloons(self) -> dict[int, tuple[str, Point, float, list[Point]]]:
        """Return each number's feature, its balloon's middle and radius, and its leader, paper mm."""
        found = {}
        for name, group in self.groups().items():
            if name.startswith("feature-"):
                ring = max(group.iter(f"{_SVG}circle"), key=lambda one: float(one.attrib["r"]))
                (leader,) = self.lines(name, "leader")
                middle = float(ring.attrib["cx"]), float(ring.attrib["cy"])
                found[int(group.attrib["data-number"])] = group.attrib["data-name"], middle, float(ring.attrib["r"]), leader
        return found


def _lines(data: str) -> Iterator[list[Point]]:
    for line in data.split("M")[1:]:
        yield [(float(x), float(y)) for x, y in (pair.split() for pair in re.split("L", line))]


def crosses(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Tell whether two straight lines cross between their ends."""

    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < -1e-9 and side(c, d, a) * side(c, d, b) < -1e-9


def runs_through(a: Point, b: Point, box: Box) -> bool:
    """Tell whether a straight line runs through a box: an end in it, or a side crossed."""
    x0, y0, x1, y1 = box
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    inside = any(x0 < p[0] < x1 and y0 < p[1] < y1 for p in (a, b))
    return inside or any(crosses(a, b, p, q) for p, q in zip(corners, [*corners[1:], corners[0]], strict=True))
