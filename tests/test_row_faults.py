"""Faults of a set-up's rows: each made on purpose, named with its row and by how much."""

from dataclasses import replace

import pytest

from geom.looks.row_faults import faults_of
from geom.model.part import Part
from geom.rows.records import Box, Row, Setup, Tool
from geom.space import Frame
from tests.hand_parts import hand_settings, hand_zero
from tests.hand_plans import drilled_block, jaws, stepped_block

SETTINGS = hand_settings()
DRILL = Tool("drill", "8 mm", 8.0, 118.0, reach=75.0)
MILL = Tool("end mill", "12 mm", 12.0, flute_length=26.0, reach=40.0)
FRAME = Frame((30.0, 20.0, 30.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
"""Zero in the middle of the block's top."""

BED = Box("bed", (-65.0, -60.0, -120.0), (65.0, 60.0, -50.0))


@pytest.fixture(scope="module")
def block() -> Part:
    """A 60 x 40 x 30 block, drilled 8 through at its middle and 20 to the right."""
    return drilled_block()


def setup(*rows: Row, boxes: tuple[Box, ...] = ()) -> Setup:
    numbered = tuple(replace(row, number=i) for i, row in enumerate(rows, 1))
    return Setup(1, (0.0, 0.0, 1.0), FRAME, hand_zero(FRAME.origin), numbered, boxes=boxes)


def drilled(x: float, z: float = -33.4) -> Row:
    return Row(0, f"hole {x:g}", "drill", DRILL, x, 0.0, z, z_full=z + DRILL.point_length)


def edge(y: float, z: float) -> Row:
    return Row(0, "front", "edge", MILL, -45.0, y, z, x_to=45.0)


def told(part: Part, *rows: Row, boxes: tuple[Box, ...] = (), settings=SETTINGS) -> list[str]:
    found = faults_of(setup(*rows, boxes=boxes), part, settings)
    return ["".join(f"{p:.2f}" if isinstance(p, float) else p for p in words) for words in found]


# --- nothing wrong -----------------------------------------------------------------


def test_rows_that_can_be_followed_have_no_faults(block):
    """Two drilled holes, an edge along the front, jaws below, the bed under the drill's point."""
    rows = (drilled(0.0), drilled(20.0), edge(-26.0, -10.0), Row(0, "top", "face", MILL, -45.0, 0.0, 0.0, x_to=45.0))

    assert told(block, *rows, boxes=(*jaws(-15.0, 20.0), BED)) == []


def test_measuring_and_checking_are_no_cuts(block):
    """The same check twice over is looked at as such; a measuring row drives nothing."""
    measure = Row(0, "top", "measure", Tool("height gauge", "", 0.0), None, None, None, nominal=30.0)

    assert told(block, measure, measure) == []


# --- steel --------------------------------------------------------------------------------


def test_a_cutter_that_runs_along_a_jaw_is_named_with_its_depth(block):
    """Jaws up to -15, the cutter's end at -18.5 beside the front: 3.5 into the movable jaw."""
    (fault,) = told(block, edge(-26.0, -18.5), boxes=jaws(-15.0, 20.0))

    assert fault == "row 1 (edge front): the 12 mm end mill meets the movable jaw by 3.50"


def test_a_drill_that_comes_through_into_a_parallel_is_named(block):
    """A parallel 3 wide under the hole, its top at the seat: point and break-through, 3.4, go into it."""
    parallel = Box("parallel", (-10.0, -1.5, -50.0), (10.0, 1.5, -30.0))
    faults = told(block, drilled(0.0), boxes=(parallel,))

    assert faults == ["row 1 (drill hole 0): the 8 mm drill meets the parallel by 3.40"]
    assert told(block, drilled(20.0), boxes=(parallel,)) == []


def test_a_holder_that_comes_down_on_a_jaw_is_named(block):
    """A cutter that reaches 6 faces at Z 0 beside a jaw up to 9: the holder, 20 in radius, goes 3 into it; the cutter clears."""
    short = replace(MILL, diameter=4.0, label="4 mm", reach=6.0)
    row = Row(0, "top", "face", short, -10.0, 5.0, 0.0, x_to=10.0)
    (fault,) = told(block, row, boxes=(Box("fixed jaw", (-65.0, 18.0, -80.0), (65.0, 60.0, 9.0)),))

    assert fault == "row 1 (face top): the holder of the 4 mm end mill meets the fixed jaw by 3.00"


# --- work ---------------------------------------------------------------------------------


def test_a_cutter_below_its_face_cuts_the_part(block):
    """A pass at Z -0.3 on a face that is Z 0."""
    (fault,) = told(block, Row(0, "top", "face", MILL, -45.0, 0.0, -0.3, x_to=45.0))

    assert fault == "row 1 (face top): the 12 mm end mill cuts into the finished part by 0.30"


def test_a_drill_beside_its_hole_cuts_the_part(block):
    """3 mm off the hole."""
    faults = told(block, drilled(3.0))

    assert len(faults) == 1
    assert "cuts into the finished part" in faults[0]


def test_a_holder_over_a_higher_step_is_named():
    """The plate lies 30 under the block: a cutter that reaches 25, run 15 from the block, brings its holder 5 into it."""
    part = stepped_block()
    row = Row(0, "plate", "face", replace(MILL, reach=25.0), 25.0, 10.0, -10.0, y_to=30.0)
    low = replace(setup(row), frame=replace(FRAME, origin=(30.0, 0.0, 30.0)))
    (fault,) = faults_of(low, part, SETTINGS)

    assert "".join(str(p) for p in fault[:-1]) == "row 1 (face plate): the holder of the 12 mm end mill meets the work by "
    assert fault[-1] == pytest.approx(5.0, abs=1e-6)


# --- places and travel ------------------------------------------------------------------------


def test_one_place_driven_twice_is_named(block):
    """The same drill at the same place and depth: one of the rows is wrong; deeper with the same drill is another row."""
    (fault,) = told(block, drilled(0.0), drilled(20.0), drilled(0.0))

    assert fault.startswith("row 3 (drill hole 0) drives the 8 mm drill where row 1 (drill hole 0) has been")
    assert told(block, drilled(0.0, -10.0), drilled(0.0, -20.0)) == []


def test_rows_further_apart_than_the_table_travels_are_named(block):
    """The assumed mill travels 200 in Y: rows 206 apart are 6 too far."""
    far = replace(SETTINGS.tooling, mill=replace(SETTINGS.tooling.mill, travel=(60.0, 200.0, 330.0)))
    (fault,) = told(block, edge(-26.0, -10.0), settings=replace(SETTINGS, tooling=far))

    assert fault.startswith("X: row 1 (edge front) and row 1 (edge front) lie 90.00 apart; the mill travels 60.00, short by 30.00")


def test_a_spindle_that_does_not_come_down_far_enough_is_named(block):
    """A mill that stops 200 above the table; the drill's holder has to come to 120 - 33.4 + 75 = 161.6 above it: short by 38.4."""
    high = replace(SETTINGS.tooling, mill=replace(SETTINGS.tooling.mill, spindle_to_table=(200.0, 500.0)))
    (fault,) = told(block, drilled(0.0), boxes=(BED,), settings=replace(SETTINGS, tooling=high))

    assert "comes to 161.60 above the table" in fault
    assert "short by 38.40" in fault


def test_a_tool_too_long_for_the_room_over_the_work_is_named(block):
    """180 from spindle to table at most: table to rough top 123, 1 of air, 75 of drill make 199: short by 19."""
    low = replace(SETTINGS.tooling, mill=replace(SETTINGS.tooling.mill, spindle_to_table=(60.0, 180.0)))
    (fault,) = told(block, drilled(0.0), boxes=(BED,), settings=replace(SETTINGS, tooling=low))

    assert "the 8 mm drill does not clear the work" in fault
    assert "short by 19.00" in fault


def test_a_zero_that_cannot_be_picked_up_is_a_fault(block):
    """A pick-up row that drives nothing is never printed as if fine."""
    row = Row(0, "left", "pick up", Tool("edge finder", "", 10.0), None, None, None, note="X: nothing clean to touch here")

    assert told(block, row) == ["row 1 (pick up left): X: nothing clean to touch here"]
