"""Row order: faces before holes, a tool taken up as seldom as can be, then the shortest way; against enumeration."""

import math
import random
from dataclasses import replace
from itertools import groupby, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.passes.row_order import EXACT, Piece, batches, ordered_rows, pieces_of, shortest, travel
from geom.rows.records import Action, Row, Tool

TOOLS = {
    "spot": Tool("spotting drill", "10 mm", 10.0, 90.0),
    "drill": Tool("drill", "6.8 mm", 6.8, 118.0),
    "big": Tool("drill", "9 mm", 9.0, 118.0),
    "tap": Tool("tap", "M8", 8.0),
    "mill": Tool("end mill", "12 mm", 12.0),
}
ACTION: dict[str, Action] = {"spot": "spot", "drill": "drill", "big": "drill", "tap": "tap", "mill": "face"}


def a_row(what: str, x: float = 0.0, y: float = 0.0, feature: str = "a", z: float = -5.0) -> Row:
    """Return a row with one of the tools above."""
    return Row(0, feature, ACTION[what], TOOLS[what], x, y, z)


def hole(name: str, x: float, y: float, *work: str) -> list[Row]:
    """Return a hole's rows."""
    return [a_row(what, x, y, name) for what in work]


def changes(rows: tuple[Row, ...]) -> int:
    """Count how often a tool is taken up."""
    return len(list(groupby(rows, key=lambda row: row.tool)))


def test_like_holes_are_spotted_then_drilled_then_tapped():
    """Three holes, three tools: three tool changes, not nine."""
    rows = ordered_rows([hole(f"h{i}", 10.0 * i, 0.0, "spot", "drill", "tap") for i in range(3)])

    assert [row.action for row in rows] == ["spot"] * 3 + ["drill"] * 3 + ["tap"] * 3
    assert [row.number for row in rows] == list(range(1, 10))


def test_faces_come_before_holes_whatever_it_costs():
    """The hole's own mill is in the spindle first, but the drill waits until all faces are cut."""
    rows = ordered_rows([hole("h", 0.0, 0.0, "drill"), [a_row("mill", feature="f")]])

    assert [row.action for row in rows] == ["face", "drill"]


def test_the_higher_of_two_faces_is_cut_first():
    """A cutter on the low face would meet the stock of the high one."""
    rows = ordered_rows([[a_row("mill", feature="low", z=-9.0)], [a_row("mill", feature="high", z=0.0)]])

    assert [row.feature for row in rows] == ["high", "low"]


WORKS = [("spot", "drill"), ("spot", "big"), ("drill", "tap"), ("big", "drill"), ("drill", "spot", "tap")]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(WORKS), min_size=1, max_size=4))
def test_no_order_takes_up_fewer_tools(chosen):
    """Against every interleaving of the holes' rows that keeps each hole's own order (up to 11 rows)."""
    holes = [hole(f"h{i}", 0.0, 0.0, *work) for i, work in enumerate(chosen)]

    assert changes(ordered_rows(holes)) == least_changes([[row.tool for row in rows] for rows in holes])


def least_changes(chains: list[list[Tool]]) -> int:
    """Return the fewest tool changes, by trying everything."""
    best = math.inf
    stack = [(tuple(0 for _ in chains), None, 0)]
    seen: dict[tuple[object, ...], int] = {}
    while stack:
        state, tool, count = stack.pop()
        if count >= min(best, seen.get((state, tool), math.inf)):
            continue
        seen[(state, tool)] = count
        if all(i == len(chain) for i, chain in zip(state, chains, strict=True)):
            best = count
        for n, i in enumerate(state):
            if i < len(chains[n]):
                after = tuple(k + (m == n) for m, k in enumerate(state))
                stack.append((after, chains[n][i], count + (chains[n][i] != tool)))  # type: ignore[arg-type]
    return int(best)


points = st.tuples(st.integers(-90, 90), st.integers(-90, 90))


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(points, points), min_size=1, max_size=6))
def test_the_way_between_lanes_is_the_shortest_of_all(ends):
    """Against every permutation of up to six lanes, each run from its own start to its own end."""
    pieces = [
        Piece(
            (Row(0, str(i), "face", TOOLS["mill"], float(a), float(b), 0.0, x_to=float(c), y_to=float(d)),),
            (0, "", 0.0, "", 0.0),
            0,
        )
        for i, ((a, b), (c, d)) in enumerate(ends)
    ]
    least = min(travel(way, (0.0, 0.0)) for way in permutations(pieces))

    assert travel(shortest(pieces, (0.0, 0.0)), (0.0, 0.0)) == pytest.approx(least, abs=1e-6)


def test_a_circle_of_many_holes_is_gone_round():
    """24 holes on a circle, more than are searched for certain: once round is the shortest, 23 chords."""
    ring = [(50.0 * math.cos(math.tau * i / 24), 50.0 * math.sin(math.tau * i / 24)) for i in range(24)]
    pieces = [pieces_of(hole(f"h{i:02}", *ring[i], "drill"))[0] for i in range(24)]
    random.Random(4).shuffle(pieces)
    path = shortest(pieces, ring[0])

    assert len(path) > EXACT
    assert travel(path, ring[0]) == pytest.approx(23 * math.dist(ring[0], ring[1]))


def test_like_bores_are_bored_pass_by_pass():
    """The head is set to 20 for both bores, then to 21 for both: two settings, not four."""
    sizes = [Tool("boring head", "", d) for d in (20.0, 21.0)]
    bores = [[Row(0, name, "bore", tool, x, 0.0, -9.0) for tool in sizes] for name, x in (("a", 0.0), ("b", 50.0))]
    rows = ordered_rows(bores)

    assert [row.tool.diameter for row in rows] == [20.0, 20.0, 21.0, 21.0]


def test_the_order_does_not_hang_on_the_order_given():
    """Turned round, the same rows in the same order."""
    holes = [hole(f"h{i}", 17.0 * i % 50, 29.0 * i % 70, "spot", "drill") for i in range(7)]

    def bare(rows: tuple[Row, ...]) -> list[Row]:
        return [replace(row, number=0) for row in rows]

    assert bare(ordered_rows(holes)) == bare(ordered_rows(holes[::-1]))


def test_a_job_too_large_to_search_still_gets_every_row():
    """Twelve unlike holes of three tools each in random order: all rows, each hole's own order kept."""
    rng = random.Random(7)
    names = [f"t{i}" for i in range(14)]
    tools = {n: Tool("drill", n, 3.0 + i, 118.0) for i, n in enumerate(names)}
    holes = [[Row(0, f"h{i}", "drill", tools[n], float(i), 0.0, -5.0) for n in rng.sample(names, 6)] for i in range(12)]
    rows = ordered_rows(holes)

    assert len(rows) == 72
    for given_rows in holes:
        assert [row.tool for row in rows if row.feature == given_rows[0].feature] == [row.tool for row in given_rows]
    assert len(batches([pieces_of(rows) for rows in holes])) == changes(rows)
