"""Sentences with lengths in them, which the sheet prints in its own unit: pieces of text and numbers in mm.

`export.number.sentence` prints them. Knows nothing of what they are about.
"""

from collections.abc import Iterable
from typing import TypeAlias

Words: TypeAlias = tuple[str | float, ...]
"""A sentence in pieces; a float is a length in mm."""

Note: TypeAlias = Words | str
"""A sentence in pieces; a plain text where it has no length in it."""


class About(float):
    """A length, mm, that is only said roughly: whole mm, tenths of an inch."""


class Area(float):
    """An area, mm2: whole mm2, thousandths of a square inch."""


class Coordinate(float):
    """A coordinate, mm, that says roughly where: tenths of a mm, hundredths of an inch, without its unit."""


def where(point: Iterable[float]) -> Words:
    """Return a rough place as words: its coordinates with spaces between."""
    return tuple(word for c in point for word in (" ", Coordinate(c)))[1:]
