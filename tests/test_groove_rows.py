"""Grooves: slots open at one end or both, found in the part, milled from out of the metal and out again; by hand, by the proof."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
import shapely

from geom.datum.zero import resolve_zero
from geom.kernel.cut import box, cut, cylinder, fuse
from geom.kernel.shape import solid_from_shape
from geom.model.part import Part
from geom.passes.setup_rows import RowMaker, rows_for, setups_of
from geom.proof.prove import prove
from geom.recognise.part import recognise
from geom.rows.plan import Plan
from geom.rows.records import Row, Setup
from geom.settings.records import Settings
from geom.setups.planner import plan_setups
from geom.stock.report import stock_report
from geom.tasks.slot import FoundSlot
from geom.tasks.slots import slots_of
from tests.hand_parts import hand_settings
from tests.hand_plans import hand_plan
from tests.proof_job import printed, read_back
from tests.test_slot_rows import swept, without

UP = (0.0, 0.0, 1.0)


@pytest.fixture(scope="module")
def plate() -> Part:
    """A 100 x 80 x 20 plate, its top machined, in a casting with 3 mm on top and on its right side, as cast elsewhere: a keyway
    10 wide and 5 deep milled across at y = -20, and a notch 12 wide through its right side, 25 deep to the round's centre."""
    rough = box((-50.0, -40.0, 0.0), (53.0, 40.0, 23.0))
    keyway = box((-60.0, -25.0, 15.0), (60.0, -15.0, 30.0))
    notch = box((25.0, 14.0, -1.0), (60.0, 26.0, 30.0)), cylinder((25.0, 20.0, -1.0), UP, 6.0, 30.0)
    body = cut(rough, box((-60.0, -60.0, 20.0), (60.0, 60.0, 30.0)), box((50.0, -60.0, -1.0), (60.0, 60.0, 30.0)), keyway, *notch)
    return recognise("plate", "grey iron", solid_from_shape(body, "finished"), solid_from_shape(rough, "casting"))


def kinds(part: Part) -> tuple[FoundSlot, FoundSlot]:
    """Return the keyway and the notch."""
    keyway, notch = sorted(slots_of(part), key=lambda slot: slot.width)
    return keyway, notch


def setup_of(part: Part, asked: Settings | None = None) -> Setup:
    names = {face.name for slot in kinds(part) for face in slot.faces}
    flat = [face.name for face in part.machined if face.name not in names]
    planned = hand_plan((), (*flat, *(slot.name for slot in kinds(part))), zero=(0.0, 0.0, 20.0))
    return rows_for(planned, 1, part, asked or hand_settings(), stock_report(part, {face.name: 0.5 for face in part.machined}))


def of(setup: Setup, slot: FoundSlot) -> list[Row]:
    return [row for row in setup.rows if row.action == "slot" and row.feature == slot.name]


def test_a_keyway_across_and_a_notch_are_slots(plate: Part) -> None:
    """10 wide over the whole 100, open at both ends with a floor; 12 wide, from the round's centre at x = 25 to the side at 50."""
    keyway, notch = kinds(plate)

    assert (keyway.width, keyway.blind, keyway.open, len(keyway.faces)) == (pytest.approx(10.0), True, (True, True), 3)
    assert sorted(end[0] for end in keyway.ends) == pytest.approx([-50.0, 50.0])
    assert {round(end[1], 6) for end in keyway.ends} == {-20.0}
    assert (notch.width, notch.blind, sum(notch.open), len(notch.faces)) == (pytest.approx(12.0), False, 1, 3)
    assert {end[0]: free for end, free in zip(notch.ends, notch.open, strict=True)} == pytest.approx({25.0: False, 50.0: True})


def test_a_keyway_is_cut_from_out_of_the_metal_to_out_of_it(plate: Part) -> None:
    """8 mm rough at half a diameter at most: its edge clears the ends at 50 by 5 (x 59); 10 mm to size at -5, from -60 to 60."""
    keyway, _ = kinds(plate)
    *rough, last = of(setup_of(plate), keyway)

    assert {(row.tool.diameter, abs(row.x or 0.0), abs(row.x_to or 0.0)) for row in rough} == {(8.0, 59.0, 59.0)}
    assert all((a.z or 0.0) - (b.z or 0.0) <= 4.0 + 1e-9 for a, b in pairwise(rough))
    assert (last.tool.diameter, last.z) == (10.0, pytest.approx(-5.0))
    assert sorted((last.x or 0.0, last.x_to or 0.0)) == pytest.approx([-60.0, 60.0])
    assert last.y == pytest.approx(-20.0)
    assert any("comes in from its open end and runs out of the other" in str(words) for words in setup_of(plate).notes)


def test_a_notch_is_entered_from_its_open_end(plate: Part) -> None:
    """From x = 50 + 6 + 5 in to the round's centre at 25, 1 mm past its far side."""
    _, notch = kinds(plate)
    last = of(setup_of(plate), notch)[-1]

    assert (last.x, last.x_to, last.y, last.z) == (61.0, pytest.approx(25.0), pytest.approx(20.0), pytest.approx(-21.0))
    assert last.tool.diameter == 12.0


def test_without_a_cutter_of_its_width_a_groove_is_cut_along_both_walls(plate: Part) -> None:
    """8 mm in 10: lanes 1 mm either side of the middle; the swept outline is the keyway's own, by closed form."""
    keyway, _ = kinds(plate)
    rows = [r for r in of(setup_of(plate, without("10 mm end mill")), keyway) if r.z == pytest.approx(-5.0)]
    drawn = shapely.box(-50.0, -25.0, 50.0, -15.0)
    made = swept(rows).intersection(shapely.box(-50.0, -40.0, 50.0, 40.0))

    assert {row.tool.diameter for row in rows} == {8.0}
    assert made.symmetric_difference(drawn).area < 1e-6


def test_no_end_mill_has_to_plunge_into_an_open_groove(plate: Part) -> None:
    """Cutters that do not cut over their centre do for a keyway; nothing narrow enough leaves it out with the reason."""
    asked = hand_settings()
    cutters = tuple(replace(c, centre_cutting=False) for c in asked.tooling.cutters)
    wide = tuple(c for c in asked.tooling.cutters if c.kind != "end mill" or c.diameter > 12.5)
    keyway, notch = kinds(plate)
    dull, none = (setup_of(plate, replace(asked, tooling=replace(asked.tooling, cutters=some))) for some in (cutters, wide))

    assert of(dull, keyway)[-1].tool.diameter == 10.0
    assert of(dull, notch)[-1].tool.diameter == 12.0
    assert {left.feature for left in none.left_out} >= {keyway.name, notch.name}
    assert not of(none, keyway)


def test_the_proof_finds_grooves_as_drawn(plate: Part) -> None:
    """Re-cut from the printed table alone: every wall, floor, round, top and side holds."""
    proof = prove(read_back(printed([setup_of(plate)])), plate, hand_settings())
    names = {face.name for slot in slots_of(plate) for face in slot.faces}

    assert proof.faults == ()
    assert names <= {face.name for face in proof.faces}


def test_a_groove_that_ends_against_a_wall_is_none() -> None:
    """A block stands 4 mm past the end: a cutter of 10 does not get out there, so floor and walls stay what they are."""
    rough = fuse(box((-50.0, -40.0, 0.0), (50.0, 40.0, 23.0)), box((54.0, -40.0, 0.0), (70.0, 40.0, 40.0)))
    rough = fuse(rough, box((-50.0, -40.0, 0.0), (70.0, 40.0, 5.0)))
    body = cut(rough, box((-60.0, -60.0, 20.0), (52.0, 60.0, 45.0)), box((-60.0, -25.0, 15.0), (52.0, -15.0, 30.0)))
    part = recognise("plate", "grey iron", solid_from_shape(body, "finished"), solid_from_shape(rough, "casting"))

    assert slots_of(part) == ()


def test_a_planned_keyway_is_made_in_one_set_up_with_the_top(plate: Part) -> None:
    """The planner gives groove and top one clamping, no row has a fault, and all of it is made."""
    asked = replace(hand_settings(), folder=Path())
    stock = stock_report(plate, {face.name: 0.5 for face in plate.machined})
    zero = resolve_zero(plate, asked.datum)
    maker = RowMaker(plate, asked, stock)
    plan = plan_setups(plate, asked, zero, stock, looker=maker)

    assert isinstance(plan, Plan)
    keyway, _ = kinds(plate)
    assert any({"top", keyway.name} <= set(one.features) for one in plan.setups)
    assert all(faults == () for _, faults in setups_of(plan, zero, maker))
