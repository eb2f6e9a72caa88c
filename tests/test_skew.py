"""Work clamped turned: every place by trigonometry."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geom.errors import JobError
from geom.looks.skew import MOST, skewed
from geom.rows.records import Box, Pattern, Row, Setup, Tool
from geom.space import WORLD
from tests.hand_parts import hand_zero

DRILL = Tool("drill", "8 mm", 8.0, 118.0)
MILL = Tool("end mill", "12 mm", 12.0)
BOX = Box("fixed jaw", (-50.0, 30.0, -40.0), (50.0, 60.0, -5.0))


def setup(*rows: Row) -> Setup:
    return Setup(
        1,
        (0.0, 0.0, 1.0),
        WORLD,
        hand_zero(),
        rows,
        boxes=(BOX,),
        patterns=(Pattern("circle 1", "circle", (), (40.0, 0.0), (30.0,)),),
    )


def drilled(x: float, y: float) -> Row:
    return Row(1, "hole", "drill", DRILL, x, y, -20.0, z_full=-17.0)


def test_a_hole_100_out_turned_by_5_degrees():
    """100 cos 5 = 99.6195, 100 sin 5 = 8.7156 (tables of sines); Z stays."""
    (row,) = skewed(setup(drilled(100.0, 0.0)), 5.0).rows

    assert (row.x, row.y) == pytest.approx((99.6195, 8.7156), abs=1e-4)
    assert (row.z, row.z_full) == (-20.0, -17.0)


def test_a_straight_move_drives_both_axes_afterwards():
    """From -10 to 60 along y = -6, turned 2 degrees: both ends by trigonometry, the move now oblique."""
    (row,) = skewed(setup(Row(1, "front", "edge", MILL, -10.0, -6.0, -5.0, x_to=60.0)), 2.0).rows
    c, s = math.cos(math.radians(2.0)), math.sin(math.radians(2.0))

    assert (row.x, row.y) == pytest.approx((-10 * c + 6 * s, -10 * s - 6 * c))
    assert (row.x_to, row.y_to) == pytest.approx((60 * c + 6 * s, 60 * s - 6 * c))


def test_the_frame_reads_what_the_rows_say():
    """A point of the part read in the turned frame is the point of the table the row drives to."""
    turned = skewed(setup(drilled(37.0, -12.0)), 4.0)
    (row,) = turned.rows

    assert turned.frame.local((37.0, -12.0, -20.0)) == pytest.approx((row.x, row.y, row.z))


def test_the_holding_stays_square_and_the_sheet_says_so():
    """Jaws do not turn with the work; a pattern's centre does."""
    turned = skewed(setup(drilled(1.0, 2.0)), -3.0)

    assert turned.boxes == (BOX,)
    assert turned.patterns[0].centre == pytest.approx((40 * math.cos(math.radians(3)), -40 * math.sin(math.radians(3))))
    assert "3.000 degrees clockwise" in str(turned.notes[0][0])
    assert "both axes" in str(turned.notes[0][0])


def test_rows_that_drive_z_only_stay():
    """A measuring row and a face by Z alone have nothing to turn."""
    rows = (Row(1, "top", "face", MILL, None, None, 0.0), Row(2, "top", "measure", MILL, None, None, None, nominal=30.0))

    assert skewed(setup(*rows), 5.0).rows == rows


@given(st.floats(-MOST, MOST), st.floats(-300, 300), st.floats(-300, 300))
def test_turning_there_and_back_is_nothing(degrees, x, y):
    """Distances from zero are kept, and the opposite turn brings every place back."""
    there = skewed(setup(drilled(x, y)), degrees)
    (row,), (back,) = there.rows, skewed(there, -degrees).rows

    assert math.hypot(row.x or 0.0, row.y or 0.0) == pytest.approx(math.hypot(x, y), abs=1e-9)
    assert (back.x, back.y) == pytest.approx((x, y), abs=1e-9)


def test_no_turn_changes_no_byte():
    """0 degrees: the same set-up, no note."""
    plain = setup(drilled(1.0, 2.0))

    assert skewed(plain, 0.0) == plain


@pytest.mark.parametrize("degrees", [10.5, -45.0, math.nan, math.inf])
def test_more_than_ten_degrees_is_another_set_up(degrees):
    """Refused with the limit and what to do."""
    with pytest.raises(JobError, match=r"10 either way.*clamp it straighter"):
        skewed(setup(drilled(1.0, 2.0)), degrees)


def test_a_row_that_drives_one_axis_cannot_be_turned():
    """X alone: the other axis is wherever it was left."""
    with pytest.raises(JobError, match=r"row 1 \(edge left\).*one of X and Y"):
        skewed(setup(Row(1, "left", "edge", MILL, -6.0, None, -5.0)), 1.0)
