"""What holds a cutter or a finder, as far as it can hit something.

A holder is taken for a cylinder above the tool's reach; its radius is common
practice of small mills, no source, and is told wherever it decides. Lengths
mm. Knows nothing of parts.
"""

from collections.abc import Sequence
from typing import Final

from geom.rows.records import Box

HOLDER_RADIUS: Final = 20.0
"""Half the width of a small collet chuck or drill chuck (common practice, no source)."""

CLEAR: Final = 1.0
"""Air that a tool keeps from steel it must not meet (common practice, no source)."""


def table_height(boxes: Sequence[Box]) -> float | None:
    """Return Z of the table: the top of the table's own box, else what the lowest box stands on; None without boxes."""
    tables = [box.high[2] for box in boxes if "table" in box.name]
    return max(tables) if tables else min((box.low[2] for box in boxes), default=None)
