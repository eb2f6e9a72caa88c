"""The first metal along lines at any moment of the job: the casting's skin, less what the rows before have taken.

Exact on the skin's own forms and on sweeps. Lengths mm, part frame. Knows
nothing of rows or names.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from geom.proof.sweep import Sweep, spans
from geom.rays.analytic import Bools, Floats, Ints
from geom.rays.rays import Skin

_NEAR: Final = 1e-6
"""mm: two ends of one gap closer than this are one."""

_MOST: Final = 64
"""No line passes more sweeps one after the other, or more walls, than this."""


def first_metal(starts: Floats, ways: Floats, skin: Skin, sweeps: Sequence[Sweep]) -> Floats:
    """Return how far each line (n, 3) runs until it meets metal; 0 where it starts in it, inf where it meets none."""
    found, at = np.full(len(starts), np.inf), np.zeros(len(starts))
    if not len(starts):
        return found
    enters, leaves = _walls(starts, ways, skin)
    gone = [(low, high) for sweep in sweeps for low, high in (spans(sweep, starts, ways),) if (low <= high).any()]
    for k in range(enters.shape[1]):
        at = np.where(np.isinf(found), np.maximum(enters[:, k], 0.0), at)
        for _ in range(_MOST):
            before = at.copy()
            for low, high in gone:
                at = np.where((low <= at + _NEAR) & (high > at), high, at)
            if np.array_equal(before, at):
                break
        met = np.isinf(found) & (at < leaves[:, k] - _NEAR)
        found[met] = at[met]
    return found


def _walls(starts: Floats, ways: Floats, skin: Skin) -> tuple[Floats, Floats]:
    """Return where each line enters and leaves metal (n, k), in order; inf where it does no more."""
    rows, distance, leaving = skin.every(starts, ways)
    order = np.lexsort((leaving, distance, rows))
    rows, distance, leaving = rows[order], distance[order], leaving[order]
    first = np.searchsorted(rows, np.arange(len(starts)))
    begins_in = np.zeros(len(starts), dtype=np.bool_)
    some = np.flatnonzero(first < np.searchsorted(rows, np.arange(len(starts)), side="right"))
    begins_in[some] = leaving[first[some]]
    enters = _columns(rows[~leaving], distance[~leaving], begins_in)
    leaves = _columns(rows[leaving], distance[leaving], np.zeros_like(begins_in))
    wide = max(enters.shape[1], leaves.shape[1])
    return _padded(enters, wide), _padded(leaves, wide)


def _columns(rows: Ints, distance: Floats, shifted: Bools) -> Floats:
    """Return distances by line, one column a wall; the lines that are `shifted` begin with a wall at 0."""
    place = np.arange(len(rows)) - np.searchsorted(rows, rows) + shifted[rows]
    wide = int(place.max(initial=0)) + 1
    table = np.full((len(shifted), wide), np.inf)
    table[shifted, 0] = 0.0
    table[rows, place] = distance
    return table


def _padded(table: Floats, wide: int) -> Floats:
    return np.pad(table, ((0, 0), (0, wide - table.shape[1])), constant_values=np.inf)
