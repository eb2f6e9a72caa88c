"""Zero by a pair of rough sides of which one cannot be touched: the other counts, as drawn, and what that costs is said."""

from dataclasses import replace
from functools import cache

import pytest

from export.reports.setups import pick_up_text
from geom.datum.zero import resolve_zero
from geom.kernel.cut import box, cut, cylinder, fuse
from geom.kernel.shape import solid_from_shape
from geom.looks.contact import Standing
from geom.looks.pick_up_rows import pick_up_rows
from geom.model.part import Part
from geom.passes.setup_rows import RowMaker, as_made
from geom.proof.prove import prove
from geom.recognise.part import recognise
from geom.rows.plan import PickUp, Plan
from geom.rows.records import Row
from geom.settings.records import CastingSettings, Settings
from geom.setups.planner import plan_setups
from geom.stock.report import stock_report
from geom.toml.pins import Pin, Pins
from geom.toml.print_settings import PatternSettings
from tests.catalogue import drafted_block
from tests.hand_parts import hand_settings
from tests.hand_plans import hand_plan
from tests.proof_job import printed, read_back

UP = (0.0, 0.0, 1.0)


@cache
def ribbed() -> Part:
    """A block 80 x 60 x 60, top machined under 3 mm, on feet 20 wide and 20 high before and behind, with a rib on its left.

    The rib stands out 20, from 40 to 52 high. Parted half-way up it, its end is nowhere 4 mm clear of the parting line (common
    practice); the block's right side is.
    """
    rough = fuse(box((0.0, 0.0, 0.0), (80.0, 60.0, 63.0)), box((0.0, -20.0, 0.0), (80.0, 80.0, 20.0)))
    rough = fuse(rough, box((-20.0, 0.0, 40.0), (1.0, 60.0, 52.0)))
    body = cut(rough, box((-60.0, -60.0, 60.0), (160.0, 160.0, 90.0)), cylinder((40.0, 30.0, -1.0), UP, 4.5, 80.0))
    return recognise("ribbed", "grey iron", solid_from_shape(body, "finished"), solid_from_shape(rough, "casting"))


def asked(parting: float | None, draw: str = "z") -> Settings:
    return replace(hand_settings(), casting=CastingSettings(parting=parting), pattern=PatternSettings(draw=draw))  # type: ignore[arg-type]


def touched(settings: Settings) -> tuple[Row, ...]:
    left = next(f.name for f in ribbed().as_cast if f.normal == (-1.0, 0.0, 0.0) and f.centroid[0] < -10.0)
    planned = hand_plan([PickUp("x", "middle", (left, "right"), False)], zero=(40.0, 30.0, 60.0))
    return pick_up_rows(planned, Standing(ribbed(), planned.frame), settings)


def test_the_side_that_can_be_touched_counts_alone_as_it_is_drawn() -> None:
    """Right side 40 from the zero, the finder's radius 5 beyond: X 45. ISO 8062-3, DCTG 11, over 25 to 40: 3.6, half each way."""
    (row,) = touched(asked(46.0))

    assert (row.feature, row.x, row.towards) == ("right", pytest.approx(45.0), "-x")
    assert row.spread == pytest.approx(1.8)
    assert "one touch sets X" in row.note
    assert "leaves the finder no clean place" in row.note


def test_where_both_can_be_touched_they_are_halved() -> None:
    """No parting line: -60 - 5 and 40 + 5 from the zero; nothing is said of a side that counts alone."""
    rows = touched(asked(None))

    assert sorted(row.x or 0.0 for row in rows) == pytest.approx([-65.0, 45.0])
    assert all(row.spread is None and "no clean place" not in row.note for row in rows)


def test_of_two_sides_further_apart_than_the_table_travels_the_nearer_counts() -> None:
    """60 and 40 from the zero, 110 from finder to finder, on a table that goes 105: the right side alone; 111 takes both."""
    tooling = hand_settings().tooling
    short, longer = (replace(tooling, mill=replace(tooling.mill, travel=(x, 200.0, 330.0))) for x in (105.0, 111.0))
    (row,) = touched(replace(asked(None), tooling=short))

    assert row.feature == "right"
    assert "left lies further off than the table travels" in row.note
    assert len(touched(replace(asked(None), tooling=longer))) == 2


def test_the_parting_line_lies_square_to_the_draw() -> None:
    """Drawn along Y and parted at y = 30, the rib's end is clean 4 mm to either side of that, at any height."""
    rows = touched(asked(30.0, "y"))

    assert len(rows) == 2
    assert all(abs(row.y or 0.0) > 4.0 for row in rows)


def test_a_machined_side_alone_is_sure() -> None:
    """Touched on the machined face there is nothing of the skin in it: no spread."""
    part = recognise("block", "grey iron", *drafted_block())
    planned = hand_plan([PickUp("x", "middle", ("left", "right"), True, -10.0)], zero=(30.0, 20.0, 30.0))
    rows = pick_up_rows(planned, Standing(part, planned.frame), hand_settings())

    assert [row.spread for row in rows] == [None, None]


@cache
def plan(parting: float | None) -> tuple[Plan, RowMaker]:
    settings, part = asked(parting), ribbed()
    stock = stock_report(part, {face.name: 0.5 for face in part.machined})
    maker = RowMaker(part, settings, stock)
    on_table = Pins((Pin(number=1, hold="table"),))
    found = plan_setups(part, settings, resolve_zero(part, settings.datum), stock, on_table, looker=maker)
    assert isinstance(found, Plan)
    return as_made(found, maker), maker


def sideways(found: Plan) -> list[PickUp]:
    return [one for setup in found.setups for one in setup.pick_ups if one.axes == "x"]


def test_a_plan_that_can_find_zero_no_other_way_stands_without_a_fault() -> None:
    """The rib's end is one side of every pair: the other is taken alone, and says what that costs; the proof meets it there."""
    found, maker = plan(46.0)
    alone = [one for one in sideways(found) if one.missed]

    assert all(setup.faults == () for setup in found.setups)
    assert alone
    for one in alone:
        text = pick_up_text(one, "mm")
        assert one.how == "edge"
        assert f"; {one.missed}, zero may be off by {one.spread:g} either way" in text
        assert one.missed == "left leaves the finder no clean place"
    setups = [maker.rows(setup, len(found.setups))[0] for setup in found.setups]
    assert prove(read_back(printed(setups)), ribbed(), asked(46.0)).faults == ()


def test_a_plan_that_touches_both_sides_comes_first() -> None:
    """Without the parting line the same work is found from both sides, halved."""
    found, _ = plan(None)

    assert sideways(found)
    assert all(one.missed == "" and one.spread is None for one in sideways(found))
