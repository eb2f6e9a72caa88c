"""Which like holes form a bolt circle or a rectangle, and in what order they are numbered.

A circle runs counter-clockwise from +X seen from above. A rectangle runs left
to right in rows, the nearest row first; so do holes that form neither. All in
the set-up's frame, mm, so turning the job with its zero changes nothing. Knows
places and sizes, not tools.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, TypeAlias

from geom.model.part import PartHole
from geom.rows.records import Pattern
from geom.space import Frame
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

Flat: TypeAlias = tuple[float, float]

_RIGHT_ANGLE = math.pi / 2.0
_NO_TURN = 1e-9
"""Radians: a grid turned by less is straight; it would be off by a nanometre over a metre."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A hole and where its axis stands in the set-up frame, mm."""

    hole: PartHole
    at: Flat


def ordered(holes: Sequence[PartHole], frame: Frame, centres: Sequence[Flat]) -> tuple[tuple[PartHole, ...], tuple[Pattern, ...]]:
    """Return the holes in the order they are worked, and the patterns among them.

    Args:
        holes: all with their axis along the frame's Z.
        centres: where a bolt circle may be centred besides its own middle: zero, bores, bosses.
    """
    named = sorted(holes, key=lambda hole: hole.name)
    placed = reading_order([Placed(hole, frame.local(hole.centre)[:2]) for hole in named], lambda p: p.at)
    order: list[PartHole] = []
    patterns: list[Pattern] = []
    for group in sorted(_alike_groups(placed), key=lambda g: round(g[0].hole.diameter, 3)):
        for run, found in _split(group, centres):
            order.extend(p.hole for p in run)
            if found is not None:
                kind, centre, size = found
                number = 1 + sum(1 for p in patterns if p.kind == kind)
                patterns.append(Pattern(f"{kind} {number}", kind, tuple(p.hole.name for p in run), centre, size))
    return tuple(order), tuple(patterns)


_Found: TypeAlias = tuple[Literal["circle", "rectangle"], Flat, tuple[float, ...]]


def _split(group: list[Placed], centres: Sequence[Flat]) -> list[tuple[list[Placed], _Found | None]]:
    """Return like holes as runs: rectangle, circles, then the rest."""
    grid = _rectangle(group, centres)
    if grid is not None:
        return [grid]
    runs: list[tuple[list[Placed], _Found | None]] = []
    rest = list(group)
    while (ring := _best_circle(rest, centres)) is not None:
        runs.append(ring)
        rest = [p for p in rest if p not in ring[0]]
    return [*runs, (rest, None)] if rest else runs


# --- alike ------------------------------------------------------------------


def _alike_groups(placed: Sequence[Placed]) -> list[list[Placed]]:
    groups: list[list[Placed]] = []
    for p in placed:
        home = next((g for g in groups if _alike(g[0].hole, p.hole)), None)
        if home is None:
            groups.append([p])
        else:
            home.append(p)
    return groups


def _alike(a: PartHole, b: PartHole) -> bool:
    """Tell whether two holes are made with the same cutters."""
    texts = [hole.callout.text if hole.callout else "" for hole in (a, b)]
    sizes = zip(_sizes(a), _sizes(b), strict=True)
    return texts[0] == texts[1] and a.kind == b.kind and all(abs(p - q) <= SAME_AXIS for p, q in sizes)


def _sizes(hole: PartHole) -> tuple[float, float, float]:
    bore = hole.counterbore.diameter if hole.counterbore else 0.0
    sink = hole.countersink.diameter if hole.countersink else 0.0
    return hole.diameter, bore, sink


# --- rectangle --------------------------------------------------------------


def _rectangle(group: list[Placed], centres: Sequence[Flat]) -> tuple[list[Placed], _Found] | None:
    """Return the group as a full grid of two or more rows and columns, or None.

    Four holes on a square about a bore or the zero are a bolt circle instead.
    """
    if len(group) < 4:
        return None
    rough = next((grid for turn in _turns(group) if (grid := _grid(group, turn)) is not None), None)
    if rough is None:
        return None
    grid = _grid(group, _row_turn(rough)) or rough
    middle = _middle(group)
    if len(group) == 4 and abs(grid.size[0] - grid.size[1]) <= SAME_AXIS and any(_near(middle, c) for c in centres):
        return None
    return grid.run, ("rectangle", middle, grid.size)


@dataclass(frozen=True, slots=True)
class _Grid:
    """Holes that fill rows and columns: in reading order, how many columns, and the size between outer axes, mm."""

    run: list[Placed]
    columns: int
    size: Flat


def _grid(group: list[Placed], turn: float) -> _Grid | None:
    """Return the grid the holes fill when seen turned by `turn`, radians."""
    at = _turned(turn)
    columns, rows = (_levels([at(p)[i] for p in group]) for i in (0, 1))
    wide, deep = max(columns) + 1, max(rows) + 1
    if min(wide, deep) < 2 or wide * deep != len(group) or len(set(zip(columns, rows, strict=True))) != len(group):
        return None
    return _Grid(reading_order(group, at), wide, (_range([at(p)[0] for p in group]), _range([at(p)[1] for p in group])))


def _row_turn(grid: _Grid) -> float:
    """Return how a grid's nearest row is turned, radians: exactly, where the search took what is within tolerance."""
    (x0, y0), (x1, y1) = grid.run[0].at, grid.run[grid.columns - 1].at
    turn = math.atan2(y1 - y0, x1 - x0)
    return turn if abs(turn) > _NO_TURN else 0.0


def _turns(group: list[Placed]) -> list[float]:
    """Return the ways a grid may be turned, radians within +-45 degrees, the least turned first."""
    x0, y0 = group[0].at
    turns = {0.0}
    for p in group[1:]:
        angle = math.atan2(p.at[1] - y0, p.at[0] - x0)
        turn = angle - _RIGHT_ANGLE * math.floor(angle / _RIGHT_ANGLE + 0.5)
        turns.add(round(0.0 if abs(turn) < SAME_DIRECTION else turn, 9))
    return sorted(turns, key=lambda t: (abs(t), -t))


def _turned(turn: float) -> Callable[[Placed], Flat]:
    c, s = math.cos(turn), math.sin(turn)
    return lambda p: (c * p.at[0] + s * p.at[1], c * p.at[1] - s * p.at[0])


# --- circle -----------------------------------------------------------------


def _best_circle(rest: list[Placed], centres: Sequence[Flat]) -> tuple[list[Placed], _Found] | None:
    """Return the circle that takes most of the holes: about a known centre, or evenly spaced about their own."""
    rings = [(ring, c) for c in centres for ring in _rings(rest, c)]
    if rings:
        ring, centre = max(rings, key=lambda r: len(r[0]))
        return _circle(ring, centre)
    middle = _middle(rest) if rest else (0.0, 0.0)
    if len(rest) >= 3 and len(_rings(rest, middle)) == 1 and len(_rings(rest, middle)[0]) == len(rest) and _even(rest, middle):
        return _circle(rest, middle)
    return None


def _rings(rest: list[Placed], centre: Flat) -> list[list[Placed]]:
    """Return the holes, three or more, that lie at one distance from a centre; one list a distance."""
    if not rest:
        return []
    levels = _levels([math.dist(p.at, centre) for p in rest])
    rings = [[p for p, level in zip(rest, levels, strict=True) if level == n] for n in range(max(levels) + 1)]
    return [ring for ring in rings if len(ring) >= 3 and math.dist(ring[0].at, centre) > SAME_AXIS]


def _circle(ring: list[Placed], centre: Flat) -> tuple[list[Placed], _Found]:
    radius = sum(math.dist(p.at, centre) for p in ring) / len(ring)
    return sorted(ring, key=lambda p: turn_from_x(p.at, centre)), ("circle", centre, (2.0 * radius,))


def turn_from_x(at: Flat, centre: Flat) -> float:
    """Return the angle counter-clockwise from +X, radians, 0 to 2 pi; a hair below +X counts as on it."""
    radius = math.dist(at, centre)
    turn = math.atan2(at[1] - centre[1], at[0] - centre[0]) % (2.0 * math.pi)
    return 0.0 if radius * (2.0 * math.pi - turn) <= SAME_AXIS else turn


def _even(ring: list[Placed], centre: Flat) -> bool:
    turns = sorted(turn_from_x(p.at, centre) for p in ring)
    pitch = 2.0 * math.pi / len(ring)
    slack = SAME_AXIS / math.dist(ring[0].at, centre)
    return all(abs(b - a - pitch) <= 2.0 * slack for a, b in pairwise(turns))


# --- helpers ----------------------------------------------------------------


def reading_order(group: Sequence[Placed], at: Callable[[Placed], Flat]) -> list[Placed]:
    """Return the holes left to right in rows, the nearest row (least Y) first."""
    if not group:
        return []
    rows = _levels([at(p)[1] for p in group])
    ranked = sorted(zip(rows, group, strict=True), key=lambda pair: (pair[0], at(pair[1])[0]))
    return [p for _, p in ranked]


def _levels(values: Sequence[float]) -> list[int]:
    """Return, for each value, its rank among the distinct ones; values within `SAME_AXIS` of their neighbour share one."""
    ranked = sorted(range(len(values)), key=lambda i: values[i])
    levels = [0] * len(values)
    for before, i in pairwise(ranked):
        levels[i] = levels[before] + (values[i] - values[before] > SAME_AXIS)
    return levels


def _middle(group: Sequence[Placed]) -> Flat:
    n = len(group)
    return (sum(p.at[0] for p in group) / n, sum(p.at[1] for p in group) / n)


def _range(values: Sequence[float]) -> float:
    return max(values) - min(values)


def _near(a: Flat, b: Flat) -> bool:
    return math.dist(a, b) <= SAME_AXIS
