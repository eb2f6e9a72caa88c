"""Usual sizes of a printed nest: what the plan reckons with and what the fixture maker prints. Lengths mm."""

from typing import Final

LEAST_DEPTH, MOST_DEPTH = 14.0, 45.0
"""How far a nest goes up the work: the least locates it, beyond the most a finder has no room (common practice, no source)."""

MOST_SHARE: Final = 0.7
"""Of the work's height, that a nest usually goes up at most."""

UNDER_CUT: Final = 3.0
"""A nest stays so far below what is faced in its set-up (common practice, no source)."""

CLEARANCE, WALL, FLOOR = 0.4, 5.0, 6.0
"""Room round the skin, least wall beside it, floor under it (common practice, no source)."""
