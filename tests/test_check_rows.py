"""Look before you cut: where the finder should meet the skin, and how far it may be off."""

import math
from dataclasses import replace
from itertools import combinations

import pytest

from geom.kernel.cut import turned_about
from geom.kernel.shape import solid_from_shape
from geom.looks.check_rows import STOP, check_rows
from geom.looks.contact import Standing
from geom.looks.pick_up_rows import pick_up_rows
from geom.model.part import Part
from geom.place.castings import Placed
from geom.place.solve import place
from geom.readings.records import Readings, Thickness
from geom.received.casting import receive
from geom.recognise.part import recognise
from geom.rows.plan import PickUp
from geom.rows.records import Box, Row
from geom.settings.records import CastingSettings
from geom.standards.tolerance_grades import casting_tolerance
from geom.stock.required import Need
from tests.catalogue import block_in_block, drafted_block
from tests.hand_parts import hand_settings
from tests.hand_plans import UP, hand_hold, hand_plan, jaws, stepped_block

SETTINGS = hand_settings()
FINDER = 5.0
TAN_3 = math.tan(math.radians(3.0))
SIDES = ("left", "right", "front", "back")


@pytest.fixture(scope="module")
def block() -> Part:
    """A 60 x 40 x 30 block from the origin in a casting drafted 3 degrees, 3 mm wide of it at z = -3."""
    return recognise("block", "grey iron", *drafted_block())


def checked(part: Part, placed: Placed | None = None, settings=SETTINGS, zero=(30.0, 20.0, 30.0), **planned) -> tuple[Row, ...]:
    planned = {"features": ("top", *SIDES), **planned}
    plan = hand_plan(zero=zero, **planned)
    standing = Standing(part, plan.frame, placed)
    return check_rows(plan, standing, settings, pick_up_rows(plan, standing, settings))


def read_across(part: Part, more: float) -> Placed:
    """Return the casting of which left to right was read as `more` than drawn, sure to 0.01 mm."""
    drawn = part.casting.box[1][0] - part.casting.box[0][0]
    readings = Readings(thicknesses=(Thickness(("left", "right"), drawn + more, None, 0.01, "test"),))
    received = receive(part, readings, grade=11)
    found = place(part, received, {f.name: Need(1.0, 1.0, "face") for f in part.machined})
    return Placed(readings, received, found, received.to_part, (), ())


# --- closed forms -------------------------------------------------------------------


def test_the_finder_meets_drafted_skin_where_trigonometry_says(block):
    """At a height z under the top a side stands (33 + z) tan 3 in from its foot; the finder's radius comes on top."""
    rows = checked(block)
    sides = [row for row in rows if row.towards != "-z"]

    assert 3 <= len(rows) <= 5
    assert {row.towards for row in sides} == {"+x", "-x", "+y", "-y"}
    for row in sides:
        value, half = (row.x, 33.0) if row.towards[1] == "x" else (row.y, 23.0)
        assert row.z is not None
        out = half - (33.0 + row.z) * TAN_3 + FINDER
        assert value == pytest.approx(-out if row.towards[0] == "+" else out, abs=1e-9)


def test_level_skin_is_met_from_above(block):
    """The top's 3 mm of stock: Z 3 over the drawn top, by height gauge."""
    (row,) = [row for row in checked(block) if row.towards == "-z"]

    assert row.z == pytest.approx(3.0)
    assert row.tool.kind == "height gauge"
    assert "feeder" in row.note


def test_the_spread_is_half_the_casting_tolerance(block):
    """DCTG 11 (ISO 8062-3): up to 40 mm from zero 3.6 wide, so 1.8 either way; grade 8 allows 1.3, so 0.65."""
    for grade, wide in ((11, 3.6), (8, 1.3)):
        rows = checked(block, settings=replace(SETTINGS, casting=CastingSettings(grade=grade)))
        (left,) = [row for row in rows if row.towards == "+x"]
        assert left.x is not None
        assert 25.0 < -left.x - FINDER < 40.0
        assert left.spread == pytest.approx(casting_tolerance(-left.x - FINDER, grade) / 2)
        if grade == 11:
            assert left.spread == pytest.approx(wide / 2)


def test_every_check_says_when_to_stop(block):
    """A larger difference means: stop, enter it, place again."""
    assert all(STOP in row.note and row.spread for row in checked(block))


def test_where_sides_are_hidden_more_places_are_taken_from_above(block):
    """Steel on all four sides: three heights of the top, far apart, tell whether it lies level."""
    ends = (Box("stop", (-90.0, -80.0, -60.0), (-34.0, 80.0, 10.0)), Box("stop", (34.0, -80.0, -60.0), (90.0, 80.0, 10.0)))
    rows = checked(block, hold=hand_hold(boxes=(*jaws(10.0, 24.0), *ends)))

    assert len(rows) >= 2
    assert all(math.dist(a.driven, b.driven) > 10.0 for a, b in combinations(rows, 2))


def test_a_place_that_zero_came_from_is_not_checked_again(block):
    """Z from the rough top: the top is looked at elsewhere."""
    pick = PickUp("z", "height", ("top",), False)
    plan = hand_plan((pick,), zero=(30.0, 20.0, 30.0))
    (touched,) = pick_up_rows(plan, Standing(block, plan.frame), SETTINGS)
    rows = [row for row in checked(block, pick_ups=(pick,)) if row.towards == "-z"]

    assert rows
    assert all(math.dist(row.driven, touched.driven) >= 8.0 for row in rows)


# --- where ------------------------------------------------------------------------------


def test_checks_keep_above_the_jaws(block):
    """Jaws before and behind up to z = -12: every place on front and back lies above, and the finder fits between."""
    rows = checked(block, hold=hand_hold(boxes=jaws(-12.0, 23.0)))

    assert all(row.z is not None and row.z >= -12.0 for row in rows if row.towards in ("+y", "-y"))
    assert {"+x", "-x"} <= {row.towards for row in rows}


def test_checks_keep_off_the_parting_line(block):
    """Parted at z = 12 of the part (-18 from zero): no touch within 4 mm of it."""
    rows = checked(block, settings=replace(SETTINGS, casting=CastingSettings(parting=12.0)))

    assert len(rows) >= 3
    assert all(row.z is not None and abs(row.z + 18.0) > 4.0 for row in rows if row.towards != "-z")


def test_checks_keep_off_edges(block):
    """No touch nearer than 4 mm to the edge of the skin it is on."""
    low, high = block.casting.box
    for row in checked(block):
        assert row.x is not None
        assert row.y is not None
        if row.towards != "-z":
            along = (row.y + 20.0, low[1], high[1]) if row.towards[1] == "x" else (row.x + 30.0, low[0], high[0])
            assert along[1] + 4.0 <= along[0] <= along[2] - 4.0
            assert row.z is not None
            assert row.z <= 3.0 - 4.0


def test_faces_cut_before_are_not_skin():
    """A machined face that this set-up does not make may have been made: only as-cast faces are looked at."""
    part = stepped_block()
    rows = checked(part, features=(), zero=(0.0, 0.0, 50.0))

    assert rows
    assert {row.feature for row in rows} <= {f.name for f in part.as_cast}


def test_the_step_is_looked_at_behind_the_higher_block():
    """The block's inner wall at x = 40 is met at 45, over the plate, or the plate's end at 105: never inside metal."""
    part = stepped_block()
    rows = checked(part, features=(), zero=(0.0, 0.0, 50.0))
    right = [row.x for row in rows if row.towards == "-x"]

    assert right
    assert all(x == pytest.approx(45.0) or x == pytest.approx(105.0) for x in right)


# --- laws -----------------------------------------------------------------------------------


def test_turning_the_part_in_its_file_changes_nothing(block):
    """A quarter turn in the file with the set-up turned along: the same places and readouts."""
    pair = (solid_from_shape(turned_about(s, (0.0, 0.0, 0.0), UP, 90.0), s.label) for s in drafted_block())
    turned = recognise("block", "grey iron", *pair)
    names = tuple(f.name for f in turned.machined if f.name != "bottom")
    plain = checked(block)
    there = checked(turned, zero=(-20.0, 30.0, 30.0), away=(-1.0, 0.0, 0.0), features=names)

    assert [(r.towards, r.spread) for r in there] == [(r.towards, r.spread) for r in plain]
    assert [c for r in there for c in r.driven] == pytest.approx([c for r in plain for c in r.driven], abs=1e-6)


def test_readings_move_the_check_and_narrow_it():
    """Calipers say 1 mm more from left to right: half on either side, and the readings' own spread instead of the grade's."""
    part = recognise("block", "grey iron", *block_in_block())
    drawn = {row.towards: row for row in checked(part)}
    seen = {row.towards: row for row in checked(part, read_across(part, 1.0))}

    assert drawn["+x"].x == pytest.approx(-38.0)
    assert drawn["-x"].x == pytest.approx(38.0)
    assert seen["+x"].x == pytest.approx(-38.5, abs=0.02)
    assert seen["-x"].x == pytest.approx(38.5, abs=0.02)
    assert seen["+x"].spread is not None
    assert drawn["+x"].spread is not None
    assert seen["+x"].spread < drawn["+x"].spread


def test_faces_the_zero_came_from_are_looked_at_last():
    """Touching again what set the zero proves nothing: the inner wall is taken instead of the plate's end, or the other way."""
    part = stepped_block()
    asked = {"features": ("right 2",), "zero": (0.0, 0.0, 50.0)}
    for used, other in (("right", "right 2"), ("right 2", "right")):
        rows = checked(part, pick_ups=(PickUp("x", "edge", (used,), False),), **asked)
        assert {row.feature for row in rows if row.towards == "-x"} == {other}


# --- refusals ---------------------------------------------------------------------------------


def test_without_an_edge_finder_only_heights_are_checked(block):
    """No finder, no sideways numbers."""
    bare = replace(SETTINGS, tooling=replace(SETTINGS.tooling, finders=()))

    assert {row.towards for row in checked(block, settings=bare)} <= {"-z"}


def test_work_buried_in_the_jaws_is_checked_from_above_only(block):
    """Steel above the work on all four sides leaves the top alone."""
    ends = (Box("stop", (-90.0, -80.0, -60.0), (-34.0, 80.0, 10.0)), Box("stop", (34.0, -80.0, -60.0), (90.0, 80.0, 10.0)))
    rows = checked(block, hold=hand_hold(boxes=(*jaws(10.0, 24.0), *ends)))

    assert rows
    assert {row.towards for row in rows} == {"-z"}
