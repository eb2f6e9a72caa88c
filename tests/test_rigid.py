"""Rigid moves: against SciPy's rotations, by hand, and by the laws of moving."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from geom.rigid import STAY, Rigid, from_turn
from geom.space import Vec3

ANGLES = st.floats(-170, 170)
TURNS = st.tuples(ANGLES, ANGLES, ANGLES)
SHIFTS = st.tuples(*(st.floats(-500, 500),) * 3)


def test_quarter_turn_by_hand():
    """A quarter turn about Z carries +X to +Y, then the shift is added."""
    move = from_turn((0.0, 0.0, 90.0), (10.0, 20.0, 30.0))

    assert move.point((1.0, 0.0, 0.0)) == pytest.approx((10.0, 21.0, 30.0), abs=1e-14)
    assert move.direction((0.0, 1.0, 0.0)) == pytest.approx((-1.0, 0.0, 0.0), abs=1e-14)


@given(TURNS)
def test_rotation_agrees_with_scipy(turn: Vec3):
    """The same rotation vector gives the same matrix as SciPy's."""
    assert np.abs(from_turn(turn).matrix - Rotation.from_rotvec(turn, degrees=True).as_matrix()).max() < 1e-13


@given(TURNS, SHIFTS, SHIFTS)
def test_there_and_back_is_no_move(turn: Vec3, shift: Vec3, point: Vec3):
    """A move and its inverse leave every point where it was."""
    move = from_turn(turn, shift)

    assert move.inverse().point(move.point(point)) == pytest.approx(point, abs=1e-9)
    assert move.inverse().after(move).shift == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)


@given(TURNS, SHIFTS, TURNS, SHIFTS)
def test_two_moves_as_one(turn: Vec3, shift: Vec3, turn_2: Vec3, shift_2: Vec3):
    """Doing one move after another is the combined move."""
    first, second = from_turn(turn, shift), from_turn(turn_2, shift_2)

    assert second.after(first).point((3.0, 4.0, 5.0)) == pytest.approx(second.point(first.point((3.0, 4.0, 5.0))), abs=1e-9)


@given(TURNS, SHIFTS)
def test_the_pivot_only_shifts(turn: Vec3, pivot: Vec3):
    """Turning about a point leaves that point where the shift alone puts it."""
    assert from_turn(turn, (1.0, 2.0, 3.0), pivot).point(pivot) == pytest.approx(np.add(pivot, (1.0, 2.0, 3.0)), abs=1e-9)


@given(st.tuples(*(st.floats(-100, 100),) * 3))
def test_turn_comes_back(turn: Vec3):
    """The rotation vector read back is the one put in, below half a turn."""
    if np.linalg.norm(turn) < 175:
        assert from_turn(turn).turn == pytest.approx(turn, abs=1e-8)


def test_one_point_and_many_points_agree_to_the_last_bit():
    """A point moved alone lands exactly where it lands in company, so that tables and checks agree."""
    points = np.random.default_rng(5).normal(size=(50, 3)) * 100
    move = from_turn((12.0, -7.0, 33.0), (1.0, 2.0, 3.0))

    assert [move.point(tuple(p)) for p in points.tolist()] == [tuple(p) for p in move.points(points).tolist()]


@pytest.mark.parametrize(
    "rows",
    [
        ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, -1.0)),
        ((2.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
        ((float("nan"), 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    ],
)
def test_a_mirror_a_stretch_and_nan_are_no_move(rows):
    """What is not a rotation is refused."""
    with pytest.raises(ValueError, match=r"rotation|move"):
        Rigid(rows)


def test_staying_put():
    """The default move does nothing."""
    assert STAY.point((1.0, 2.0, 3.0)) == (1.0, 2.0, 3.0)
    assert STAY.turn == (0.0, 0.0, 0.0)
