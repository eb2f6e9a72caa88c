"""What holds a cutter or a finder, as far as it can hit something.

A holder is taken for a cylinder above the tool's reach; its radius is common
practice of small mills, no source, and is told wherever it decides. Lengths
mm. Knows nothing of parts or rows.
"""

from typing import Final

HOLDER_RADIUS: Final = 20.0
"""Half the width of a small collet chuck or drill chuck (common practice, no source)."""

CLEAR: Final = 1.0
"""Air that a tool keeps from steel it must not meet (common practice, no source)."""
