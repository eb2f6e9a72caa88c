"""A stable order for things that measure nearly the same.

Sorting on raw measures lets a nanometre of noise swap two names; rounding them
moves the trouble to the rounding's edge. Here values closer than a slack get
one rank, so only real differences count. Knows nothing of what is ranked.
"""

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from typing import Final, TypeVar

_Item = TypeVar("_Item")

SLACK: Final = 1e-3
"""Values closer than this (mm, mm2 or parts of a unit vector) rank the same."""

Measure = Callable[[_Item], float]


def ranks(values: Sequence[float], slack: float = SLACK) -> list[int]:
    """Return each value's rank from the least; values that follow each other within `slack` share one."""
    order = sorted(range(len(values)), key=lambda i: values[i])
    found = [0] * len(values)
    for before, now in pairwise(order):
        found[now] = found[before] + (values[now] - values[before] > slack)
    return found


def in_order(items: Iterable[_Item], *measures: Measure[_Item]) -> list[_Item]:
    """Return the items by the first measure, ties by the next, and so on; least first."""
    pool = list(items)
    keys = zip(*(ranks([measure(item) for item in pool]) for measure in measures), strict=True)
    return [item for _, item in sorted(zip(keys, pool, strict=True), key=lambda pair: pair[0])]
