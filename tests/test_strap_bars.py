"""Bars of straps on a block worked on paper: where stud and heel stand, what a bar keeps clear of, what is said."""

from dataclasses import replace
from functools import cache
from itertools import combinations

import pytest

from geom.looks.contact import Standing
from geom.looks.row_faults import meeting
from geom.looks.strap_bars import with_bars
from geom.rows.plan import Hold, Packing, Plan
from geom.rows.records import Box, Row, Setup, Tool
from tests.bundled import recorded
from tests.test_sheet_views import block

TABLE = Box("table", (-200.0, -200.0, -83.0), (200.0, 200.0, -33.0))
HOLD = Hold("table", "bottom", "", "top", frozenset(), 0.0, 0.0, 0.0)
MILL = Tool("end mill", "", 12.0, flute_length=26.0, reach=60.0)


@cache
def standing() -> Standing:
    """Return the block of `tests.proof_job`, 83 x 60 x 36: X -20 to 63, Y -30 to 30, Z -33 to 3 in its first set-up."""
    return Standing(block().part, block().setups[0].frame)


def strapped(*rows: Row, at: tuple[float, float] = (50.0, 0.0), hold: Hold = HOLD) -> Setup:
    """Return the block strapped to the table by one nose on its top."""
    x, y = at
    nose = Box("strap 1", (x - 8.0, y - 8.0, 3.0), (x + 8.0, y + 8.0, 33.0))
    return with_bars(replace(block().setups[0], rows=rows, boxes=(TABLE, nose), holding=(), notes=()), hold, standing())


def boxes(setup: Setup) -> dict[str, Box]:
    return {box.name: box for box in setup.boxes}


def lane(number: int, x: float, y: float, x_to: float) -> Row:
    return Row(number, "right", "edge", MILL, x, y, -20.0, x_to=x_to)


def middle(box: Box) -> tuple[float, float]:
    return (box.low[0] + box.high[0]) / 2.0, (box.low[1] + box.high[1]) / 2.0


def test_a_bar_runs_to_the_nearest_open_table() -> None:
    """13 to the right side, 43 to the others: a stud 14 wide with 1 of air stands 21 out or up to one step of 3 further."""
    setup = strapped()
    found = boxes(setup)

    assert setup.holding[0][0] == "strap 1 runs to the right: stud "
    stud, heel = (middle(found[name])[0] - 50.0 for name in ("stud of strap 1", "heel of strap 1"))
    assert 21.0 - 1e-6 <= stud <= 24.0 + 1e-6
    assert setup.holding[0][1::2] == pytest.approx((stud, heel, 36.0))
    assert found["strap 1"].low == pytest.approx((42.0, -8.0, 3.0))
    assert found["strap 1"].high == pytest.approx((50.0 + heel + 12.0, 8.0, 19.0))


def test_at_least_half_of_the_force_is_the_works() -> None:
    """A lever: the nose has (heel - stud) / heel of the stud's force; the heel stands on packing from the table to the nose."""
    found = boxes(strapped())
    stud, heel = (middle(found[name])[0] - 50.0 for name in ("stud of strap 1", "heel of strap 1"))

    assert (heel - stud) / heel >= 0.5
    assert (found["heel of strap 1"].low[2], found["heel of strap 1"].high[2]) == (-33.0, 3.0)
    assert (found["stud of strap 1"].low[2], found["stud of strap 1"].high[2]) == (-33.0, 33.0)


def test_a_bar_keeps_clear_of_a_cutter() -> None:
    """A lane past the right side, up to 6 beyond its line, leaves the front and the back."""
    row = lane(7, 85.0, 0.0, 100.0)
    setup = strapped(row)

    assert setup.holding[0][0] == "strap 1 runs to the front: stud "
    assert not meeting([row], [box for box in setup.boxes if box.name != "table"])
    assert meeting([row], [boxes(strapped())["strap 1"]])


def test_no_room_is_said_and_the_nose_stays() -> None:
    """Lanes on all four sides."""
    around = (lane(1, 85.0, 0.0, 100.0), lane(2, -100.0, 0.0, -30.0), lane(3, 0.0, 45.0, 90.0), lane(4, 0.0, -45.0, 90.0))
    setup = strapped(*around)

    assert [box.name for box in setup.boxes] == ["table", "strap 1"]
    assert setup.holding == ()
    assert setup.notes[0][0] == "strap 1 at X "
    assert "run each row above the work first" in str(setup.notes[0][-1])


def test_studs_through_the_work_have_no_bar() -> None:
    """What the work's own holes hold has no heel."""
    by_studs = replace(HOLD, packing=(Packing("clamp", ("studs through thread",)),))

    assert [box.name for box in strapped(hold=by_studs).boxes] == ["table", "strap 1"]
    assert strapped(hold=replace(HOLD, method="vise")).holding == ()


@pytest.mark.parametrize(
    ("name", "number", "count"), [("footstep", 2, 3), ("bell_crank", 1, 2), ("bell_crank", 2, 2), ("pump_cover", 1, 3)]
)
def test_every_strap_of_the_bundled_jobs_finds_room(name: str, number: int, count: int) -> None:
    """Bar, stud and heel of each; no row meets any, and no strap another."""
    record = recorded(name)
    assert isinstance(record.plan, Plan)
    setup = record.setups[number - 1]
    straps = [[box for box in setup.boxes if box.name.endswith(f"strap {i}")] for i in range(1, count + 1)]

    assert [len(one) for one in straps] == [3] * count
    assert not [(row.number, box.name) for row in setup.rows for one in straps for box in one if meeting([row], [box])]
    for one, other in combinations(straps, 2):
        assert not [(a, b) for a in one for b in other if all(a.low[i] < b.high[i] and b.low[i] < a.high[i] for i in (0, 1))]
