"""In what order a set-up's rows are cut: faces, then edges, then holes; fewest tool changes; then the least travel.

Rows of one feature stay in their own order, and those that one tool does there
stay together. A boring head counts as one tool whatever it is set to. Tool
changes are the fewest there are (every order is searched, up to `_MOST_STATES`
states); travel between the pieces one tool does is the least there is up to
`EXACT` pieces, and nearest neighbour improved by turning stretches round above
that. Nothing here depends on the order features are given in, but for ties.
Lengths mm, set-up frame. Knows nothing of why rows are what they are.
"""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby
from typing import Final, TypeAlias

from geom.rows.records import ACTIONS, Row
from geom.tasks.reach import Flat

EXACT: Final = 9
"""Pieces up to which the shortest way is found for certain."""

_MOST_STATES: Final = 20_000

_STAGES: Final = {"face": 0, "edge": 1, "slot": 1}
"""What is cut first; everything else is a hole's, stage 2."""

Mount: TypeAlias = tuple[int, str, float, str, float]
"""What is in the spindle; sorts as the trade takes tools up: by what they do, small before large."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Rows that one tool does on one feature in one go."""

    rows: tuple[Row, ...]
    mount: Mount
    stage: int

    @property
    def rank(self) -> tuple[float, Mount]:
        """What pieces are taken up by where nothing else decides: faces from the highest down, then as tools are."""
        return (-round(min(row.z or 0.0 for row in self.rows), 6) if self.stage == 0 else 0.0, self.mount)

    @property
    def start(self) -> Flat:
        """Where the cutter first comes down."""
        return _at(self.rows[0])

    @property
    def end(self) -> Flat:
        """Where it comes up last."""
        row = self.rows[-1]
        x, y = _at(row)
        return (x if row.x_to is None else row.x_to, y if row.y_to is None else row.y_to)


def ordered_rows(features: Sequence[Sequence[Row]], begin: Flat = (0.0, 0.0)) -> tuple[Row, ...]:
    """Return all rows in cutting order, numbered from 1.

    Args:
        features: each feature's rows in working order.
        begin: where the spindle stands before the first.
    """
    chains = [pieces_of(rows) for rows in features if rows]
    rows: list[Row] = []
    at = begin
    for batch in batches(chains):
        for group in _in_turn(batch):
            path = shortest(group, at)
            rows += _settings_together(path)
            at = path[-1].end
    return tuple(replace(row, number=number) for number, row in enumerate(rows, 1))


def pieces_of(rows: Sequence[Row]) -> tuple[Piece, ...]:
    """Return a feature's rows as pieces, each of one tool."""
    runs = [tuple(run) for _, run in groupby(rows, key=lambda row: (_mounted(row), _STAGES.get(row.action, 2)))]
    return tuple(Piece(run, _mount(run[0]), _STAGES.get(run[0].action, 2)) for run in runs)


def _mounted(row: Row) -> tuple[str, str, float]:
    tool = row.tool
    return (tool.kind, "", 0.0) if tool.kind == "boring head" else (tool.kind, tool.label, tool.diameter)


def _mount(row: Row) -> Mount:
    kind, label, diameter = _mounted(row)
    return (ACTIONS.index(row.action), kind, diameter, label, row.tool.point_angle or 180.0)


def _same(a: Mount, b: Mount) -> bool:
    return a[1:4] == b[1:4]


def _at(row: Row) -> Flat:
    return (row.x or 0.0, row.y or 0.0)


# --- fewest tool changes ----------------------------------------------------

_State: TypeAlias = tuple[int, ...]


def batches(chains: Sequence[Sequence[Piece]]) -> list[list[Piece]]:
    """Return the pieces in the order of the fewest tool changes: one list for each time a tool is taken up."""
    begin: _State = tuple(0 for _ in chains)
    done: _State = tuple(len(chain) for chain in chains)
    came: dict[_State, tuple[_State, list[Piece]] | None] = {begin: None}
    queue = deque([begin])
    while queue and done not in came and len(came) < _MOST_STATES:
        state = queue.popleft()
        for mount in _able(chains, state):
            after, cut = _cut(chains, state, mount)
            if after not in came:
                came[after] = (state, cut)
                queue.append(after)
    return _path(came, done) if done in came else _greedy(chains, begin, done)


def _able(chains: Sequence[Sequence[Piece]], state: _State) -> list[Mount]:
    """Return the tools that have something to do, one mount each, as the trade takes them up."""
    found: list[Mount] = []
    for piece in sorted(_next(chains, state), key=lambda piece: piece.rank):
        if not any(_same(piece.mount, other) for other in found):
            found.append(piece.mount)
    return found


def _next(chains: Sequence[Sequence[Piece]], state: _State) -> list[Piece]:
    """Return each chain's next piece, where nothing of an earlier stage is left."""
    waiting = [chain[i] for chain, i in zip(chains, state, strict=True) if i < len(chain)]
    stage = min((piece.stage for piece in waiting), default=0)
    return [piece for piece in waiting if piece.stage == stage]


def _cut(chains: Sequence[Sequence[Piece]], state: _State, mount: Mount) -> tuple[_State, list[Piece]]:
    """Return what is left, and what was cut, when a tool has done all it can."""
    now = list(state)
    cut: list[Piece] = []
    while True:
        stage = min((chains[n][i].stage for n, i in enumerate(now) if i < len(chains[n])), default=0)
        able = [
            n for n, i in enumerate(now) if i < len(chains[n]) and chains[n][i].stage == stage and _same(chains[n][i].mount, mount)
        ]
        if not able:
            return tuple(now), cut
        for n in able:
            cut.append(chains[n][now[n]])
            now[n] += 1


def _path(came: dict[_State, tuple[_State, list[Piece]] | None], state: _State) -> list[list[Piece]]:
    found: list[list[Piece]] = []
    while (step := came[state]) is not None:
        found.append(step[1])
        state = step[0]
    return found[::-1]


def _greedy(chains: Sequence[Sequence[Piece]], state: _State, done: _State) -> list[list[Piece]]:
    """Return an order that takes up the tool with most to do; for jobs too large to search."""
    found: list[list[Piece]] = []
    while state != done:
        steps = [_cut(chains, state, mount) for mount in _able(chains, state)]
        state, cut = max(steps, key=lambda step: len(step[1]))
        found.append(cut)
    return found


_Turn: TypeAlias = tuple[int, float, tuple[float, ...]]


def _in_turn(batch: Sequence[Piece]) -> list[list[Piece]]:
    """Return what one tool does as groups that follow each other: by stage, faces from the highest down, bores that a
    boring head is set to the same diameters for."""

    def turn(piece: Piece) -> _Turn:
        lowest = min(row.z or 0.0 for row in piece.rows)
        bored = piece.mount[1] == "boring head"
        return (
            piece.stage,
            -round(lowest, 6) if piece.stage == 0 else 0.0,
            tuple(row.tool.diameter for row in piece.rows) if bored else (),
        )

    return [list(group) for _, group in groupby(sorted(batch, key=turn), key=turn)]


def _settings_together(path: Sequence[Piece]) -> list[Row]:
    """Return the rows of pieces in order; like bores pass by pass, so that the head is set once for all of them."""
    if path[0].mount[1] != "boring head":
        return [row for piece in path for row in piece.rows]
    return [row for rows in zip(*(piece.rows for piece in path), strict=True) for row in rows]


# --- least travel -----------------------------------------------------------


def travel(path: Sequence[Piece], begin: Flat) -> float:
    """Return how far the table moves, mm, between the pieces of a path, from where it begins."""
    total, at = 0.0, begin
    for piece in path:
        total += math.dist(at, piece.start)
        at = piece.end
    return total


def shortest(pieces: Sequence[Piece], begin: Flat) -> list[Piece]:
    """Return the pieces in the order of the least travel from where the spindle stands; it may end anywhere."""
    return _for_certain(pieces, begin) if len(pieces) <= EXACT else _improved(_nearest(pieces, begin), begin)


def _for_certain(pieces: Sequence[Piece], begin: Flat) -> list[Piece]:
    return [pieces[i] for i in _order(tuple(p.start for p in pieces), tuple(p.end for p in pieces), begin)]


@lru_cache(maxsize=512)
def _order(starts: tuple[Flat, ...], ends: tuple[Flat, ...], begin: Flat) -> tuple[int, ...]:
    """Search every order by the last piece and what has been done (Held and Karp 1962)."""
    every = range(len(starts))
    apart = [[math.dist(end, start) for start in starts] for end in ends]
    best: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {
        (1 << i, i): (math.dist(begin, start), (i,)) for i, start in enumerate(starts)
    }
    for _ in every[1:]:
        longer: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {}
        for (mask, last), (far, way) in best.items():
            for i in every:
                if not mask >> i & 1:
                    key, length = (mask | 1 << i, i), round(far + apart[last][i], 9)
                    known = longer.get(key)
                    if known is None or length < known[0] or (length == known[0] and way < known[1]):
                        longer[key] = (length, (*way, i))
        best = longer
    return min(best.values(), default=(0.0, ()))[1]


def _nearest(pieces: Sequence[Piece], begin: Flat) -> list[Piece]:
    left, path, at = list(pieces), [], begin
    while left:
        near = min(range(len(left)), key=lambda i: (round(math.dist(at, left[i].start), 9), i))
        path.append(left.pop(near))
        at = path[-1].end
    return path


def _improved(path: list[Piece], begin: Flat) -> list[Piece]:
    """Turn stretches of a path round as long as that shortens it."""
    while (found := _shorter(path, begin)) is not None:
        path = found
    return path


def _shorter(path: list[Piece], begin: Flat) -> list[Piece] | None:
    """Return the path with the first stretch turned round that shortens it; None when none does."""
    n, far = len(path), travel(path, begin)
    for i in range(n):
        before = path[i - 1].end if i else begin
        for j in range(i + 2, n + 1):
            won = math.dist(before, path[i].start) - math.dist(before, path[j - 1].start)
            if j < n:
                won += math.dist(path[j - 1].end, path[j].start) - math.dist(path[i].end, path[j].start)
            if won > 1e-6:
                turned = [*path[:i], *path[i:j][::-1], *path[j:]]
                if travel(turned, begin) < far - 1e-6:
                    return turned
    return None
