"""Words and figures in aligned columns, for a terminal or a text file.

Knows widths, nothing of what the cells mean; figures arrive as text.
"""

import unicodedata
from collections.abc import Sequence

GAP = "  "


def aligned(heading: Sequence[str], rows: Sequence[Sequence[str]], right: str) -> str:
    """Return a table with a heading, one line a row, no trailing blanks.

    Args:
        right: one letter a column: "r" puts it at the right edge (figures), "l" at the left (words).
    """
    lines = [tuple(heading), *map(tuple, rows)]
    widths = [max(width(line[i]) for line in lines) for i in range(len(heading))]
    rule = ["-" * w for w in widths]
    return "\n".join(_line(cells, widths, right) for cells in (lines[0], rule, *lines[1:]))


def _line(cells: Sequence[str], widths: Sequence[int], right: str) -> str:
    padded = (_padded(cell, width, side == "r") for cell, width, side in zip(cells, widths, right, strict=True))
    return GAP.join(padded).rstrip()


def _padded(text: str, room: int, to_right: bool) -> str:
    blank = " " * (room - width(text))
    return blank + text if to_right else text + blank


def width(text: str) -> int:
    """Return how many terminal cells a text takes: wide East Asian letters two, combining marks none."""
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)
