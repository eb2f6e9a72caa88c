"""Locating on three points below and three at the sides: published examples, finite differences, a second solver."""

import math

import cvxpy
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.fixture.force import Push, closure, cone_edges, seated, wrenches
from geom.fixture.locating import Feature, Locator, jacobian, move_of, quality, triangle_margin, worst_movement

UP = (0.0, 0.0, 1.0)
ALONG_Y = (0.0, 1.0, 0.0)
ALONG_X = (1.0, 0.0, 0.0)

BLOCK = (
    Locator("below 1", (0.0, 0.0, 0.0), UP),
    Locator("below 2", (100.0, 0.0, 0.0), UP),
    Locator("below 3", (50.0, 80.0, 0.0), UP),
    Locator("back 1", (20.0, 0.0, 15.0), ALONG_Y),
    Locator("back 2", (80.0, 0.0, 15.0), ALONG_Y),
    Locator("end", (0.0, 40.0, 15.0), ALONG_X),
)
"""A block 100 by 80 by 30 located on its underside, its front and its left side; the worked examples' own numbers."""

CENTRE = (50.0, 40.0, 15.0)
LENGTH = 65.0


def moved(move, point):
    return np.asarray(move[:3]) + np.cross(move[3:], point)


# --- worked examples --------------------------------------------------------


def test_one_high_floor_pad_tilts_the_work():
    """Worked example W25 (shared reference): pads (0,0), (100,0), (50,80), the second 0.02 high: z = 0.0002 x - 0.000125 y."""
    move = move_of(BLOCK, (0.0, 0.02, 0.0, 0.0, 0.0, 0.0))

    assert moved(move, (50.0, 40.0, 0.0))[2] == pytest.approx(0.005, abs=1e-12)
    assert moved(move, (100.0, 0.0, 0.0))[2] - moved(move, (0.0, 0.0, 0.0))[2] == pytest.approx(0.0002 * 100, abs=1e-12)
    assert moved(move, (0.0, 80.0, 0.0))[2] - moved(move, (0.0, 0.0, 0.0))[2] == pytest.approx(-0.000125 * 80, abs=1e-12)


def test_one_proud_side_pad_turns_the_work():
    """Worked example W26 (shared reference): pads at x 20 and 80, the second 0.03 proud: turn 0.0005 rad, 0.040 at x 100."""
    move = move_of(BLOCK, (0.0, 0.0, 0.0, 0.0, 0.03, 0.0))

    assert move[5] == pytest.approx(0.0005, abs=1e-12)
    assert moved(move, (100.0, 0.0, 15.0))[1] == pytest.approx(0.040, abs=1e-12)


def test_six_pads_of_a_block_hold_all_six_moves():
    """3-2-1 on three square sides: full rank; the top's middle follows the three floor pads only."""
    found = quality(BLOCK, (Feature("top", (50.0, 40.0, 30.0), (UP,)),), CENTRE, LENGTH)

    assert found.rank == 6
    assert found.free == ()
    assert found.movements[0].worst == pytest.approx(0.1, abs=1e-9)  # weights 1/4, 1/4, 1/2 by hand: all positive, so they sum to 1


def test_worst_movement_beyond_the_pads_grows_by_the_lever():
    """By hand: pads at x 20 and 80; at x 140 the weights are -1 and 2, so 0.1 mm each way moves it 0.3 mm."""
    beyond = Feature("edge", (140.0, 0.0, 15.0), (ALONG_Y,))

    assert worst_movement(BLOCK, beyond, LENGTH, CENTRE) == pytest.approx(0.3, abs=1e-9)


def test_centre_of_mass_in_the_support_triangle_by_hand():
    """Triangle (0,0) (100,0) (50,80): (50,20) is 20 over the base, and (50,-5) is 5 outside it."""
    corners = [(0.0, 0.0, 0.0), (100.0, 0.0, 0.0), (50.0, 80.0, 0.0)]

    assert triangle_margin(corners, (50.0, 20.0, 9.0)) == pytest.approx(20.0)
    assert triangle_margin(corners[::-1], (50.0, -5.0, 9.0)) == pytest.approx(-5.0)


def test_a_round_part_on_two_side_pads_is_free_to_turn():
    """A disc against two pads that both point at its axis: rank 5, free about Z; a hole off the axis then moves without limit."""
    half = math.sqrt(0.5)
    disc = (*BLOCK[:3], Locator("a", (10.0, 0.0, 15.0), (half, half, 0.0)), Locator("b", (90.0, 0.0, 15.0), (-half, half, 0.0)))
    middle = Feature("bore", (50.0, 40.0, 0.0), (ALONG_X, ALONG_Y))
    away = Feature("hole", (80.0, 40.0, 0.0), (ALONG_X, ALONG_Y))

    found = quality(disc, (middle, away), CENTRE, LENGTH)

    assert found.rank == 5
    assert found.free == ("about Z",)
    assert math.isfinite(found.movements[0].worst)
    assert math.isinf(found.movements[1].worst)


# --- laws -------------------------------------------------------------------


def test_jacobian_agrees_with_finite_moves():
    """Each row is how fast a locator's gap closes as the work shifts and turns: against small exact rotations."""
    step = 1e-6
    for locator, row in zip(BLOCK, jacobian(BLOCK, CENTRE), strict=True):
        for i in range(6):
            vector = np.eye(6)[i] * step
            turn = rotation(vector[3:])
            point = np.asarray(CENTRE) + turn @ (np.asarray(locator.point) - CENTRE) + vector[:3]
            felt = np.dot(point - locator.point, locator.into) / step
            assert felt == pytest.approx(row[i], abs=1e-4)


def rotation(vector):
    from scipy.spatial.transform import Rotation

    return Rotation.from_rotvec(vector).as_matrix()


@settings(max_examples=25, deadline=None)
@given(st.lists(st.sampled_from([-0.1, 0.0, 0.1]), min_size=6, max_size=6), st.tuples(*[st.floats(-200, 200)] * 3))
def test_no_errors_move_a_feature_further_than_the_worst_case(errors, point):
    """The closed form bounds every choice of errors, wherever the feature is."""
    feature = Feature("f", point, (ALONG_Y,))
    worst = worst_movement(BLOCK, feature, LENGTH, CENTRE)

    assert abs(moved(move_of(BLOCK, errors), point)[1]) <= worst + 1e-9


def test_worst_case_is_reached_by_the_errors_with_the_signs_of_the_weights():
    """The sum of absolute weights is the optimum of the linear programme: all 64 corners of the box are tried."""
    feature = Feature("f", (130.0, -20.0, 40.0), (ALONG_X,))
    corners = [move_of(BLOCK, [0.1 if i >> k & 1 else -0.1 for k in range(6)]) for i in range(64)]

    assert max(moved(c, feature.point)[0] for c in corners) == pytest.approx(worst_movement(BLOCK, feature, LENGTH, CENTRE))


# --- forces -----------------------------------------------------------------

DOWN = Push((50.0, 30.0, 30.0), (0.0, 0.0, -1.0))
INTO_CORNER = Push((100.0, 80.0, 15.0), (-0.4, -0.4, 0.0))


def test_a_push_into_the_corner_and_a_strap_down_seat_all_six():
    """Statics by hand: the end pad carries all of X, 0.4 of a push of 1.566 in all."""
    found = seated(
        BLOCK, (DOWN, Push((100.0, 40.0, 15.0), (-0.4, 0.0, 0.0)), Push((50.0, 80.0, 15.0), (0.0, -0.4, 0.0))), 0.0, LENGTH, CENTRE
    )

    assert found.least > 0
    assert found.loads[5] == pytest.approx(0.4 / 1.8, abs=1e-6)
    assert found.loads[3] + found.loads[4] == pytest.approx(0.4 / 1.8, abs=1e-6)
    assert sum(found.loads[:3]) == pytest.approx(1.0 / 1.8, abs=1e-6)


def test_a_push_away_from_a_pad_does_not_seat_it():
    """Pushed towards +Y the back pads carry nothing: no force can balance it without friction."""
    assert seated(BLOCK, (DOWN, Push((50.0, 0.0, 15.0), (0.0, 0.4, 0.0))), 0.0, LENGTH, CENTRE).least <= 0


CLAMPED = (
    *BLOCK,
    Locator("strap 1", (0.0, 0.0, 30.0), (0.0, 0.0, -1.0)),
    Locator("strap 2", (100.0, 0.0, 30.0), (0.0, 0.0, -1.0)),
    Locator("strap 3", (50.0, 80.0, 30.0), (0.0, 0.0, -1.0)),
    Locator("push y", (50.0, 80.0, 15.0), (0.0, -1.0, 0.0)),
    Locator("push x", (100.0, 40.0, 15.0), (-1.0, 0.0, 0.0)),
)


def second_opinion(contacts, friction):
    """The same programme put to another modeller and solver (cvxpy, Clarabel)."""
    edges = wrenches(contacts, friction, LENGTH, CENTRE)
    share, least = cvxpy.Variable(edges.shape[1]), cvxpy.Variable()
    problem = cvxpy.Problem(cvxpy.Maximize(least), [edges @ share == 0, cvxpy.sum(share) == 1, share >= least])
    problem.solve(solver=cvxpy.CLARABEL)
    return float(least.value)


@pytest.mark.parametrize("contacts", [CLAMPED, BLOCK, CLAMPED[:-2], CLAMPED[:-5]])
@pytest.mark.parametrize("friction", [0.05, 0.2])
def test_force_closure_agrees_with_a_second_solver(contacts, friction):
    """HiGHS against Clarabel, clamped and not: the same margin."""
    assert closure(contacts, friction, LENGTH, CENTRE) == pytest.approx(second_opinion(contacts, friction), abs=1e-6)


def test_locators_alone_never_hold_what_lifts_off():
    """Six one-sided pads without a clamp: not closed; with three straps and two pushes: closed (seven contacts are the least
    without friction, Reuleaux and Somov, from memory)."""
    assert closure(BLOCK, 0.2, LENGTH, CENTRE) <= 1e-9
    assert closure(CLAMPED, 0.2, LENGTH, CENTRE) > 1e-4


def test_a_pyramid_lies_inside_its_friction_cone():
    """Every edge leans from the normal by the angle of friction, so a yes for the pyramid is a yes for the cone."""
    edges = cone_edges(BLOCK[3], 0.3)
    lean = np.linalg.norm(edges - edges @ np.outer(ALONG_Y, ALONG_Y), axis=1)

    assert edges @ np.array(ALONG_Y) == pytest.approx(np.ones(8))
    assert lean == pytest.approx(np.full(8, 0.3))
