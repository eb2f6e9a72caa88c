"""The best least margin: by hand, against another solver, against a dense search, and proved by its multipliers."""

import cvxpy as cp
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.place.margin_lp import Kept, NoAnswerError, Rows, Wish, best_margin, direct_margin, least_squares

REACH = 5.0
LOW, HIGH = np.full(6, -REACH), np.full(6, REACH)


def some_rows(seed: int, count: int = 400, unknowns: int = 6) -> Rows:
    """Return rows whose rates point all ways, so that the least margin has a top."""
    rng = np.random.default_rng(seed)
    rate = rng.normal(size=(count, unknowns))
    return Rows(rng.uniform(-1.0, 4.0, count), rate, rng.uniform(0.5, 2.0, count))


def test_two_opposite_faces_meet_in_the_middle():
    """Stock 5 on one side and 1 on the other: move 2, and 3 is left on both (by hand)."""
    rows = Rows(np.array([5.0, 1.0]), np.array([[-1.0], [1.0]]), np.ones(2))

    found = best_margin(rows, np.array([-9.0]), np.array([9.0]))

    assert found.margin == pytest.approx(3.0, abs=1e-9)
    assert found.x == pytest.approx([2.0], abs=1e-9)
    assert found.weights == pytest.approx([0.5, 0.5], abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_optimum_agrees_with_clarabel(seed: int):
    """An interior-point solver of another family finds the same least margin."""
    rows = some_rows(seed)
    x, m = cp.Variable(6), cp.Variable()
    problem = cp.Problem(cp.Maximize(m), [rows.start + rows.rate @ x >= cp.multiply(rows.weight, m), cp.abs(x) <= REACH])
    problem.solve(solver=cp.CLARABEL, tol_gap_abs=1e-10, tol_gap_rel=1e-10, tol_feas=1e-10)

    assert best_margin(rows, LOW, HIGH).margin == pytest.approx(float(m.value), abs=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_no_place_of_a_dense_search_is_better(seed: int):
    """Two unknowns, a million places: none has a better least margin, and the best of them is next to the answer."""
    rows = some_rows(seed, 60, 2)
    found = best_margin(rows, LOW[:2], HIGH[:2])
    ticks = np.linspace(-REACH, REACH, 1001)
    places = np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(-1, 2)
    least = np.full(len(places), np.inf)
    for start, rate, weight in zip(rows.start, rows.rate, rows.weight, strict=True):
        least = np.minimum(least, (start + places @ rate) / weight)

    assert least.max() <= found.margin + 1e-9
    steepest = (np.abs(rows.rate).sum(axis=1) / rows.weight).max()
    assert least.max() >= found.margin - steepest * (ticks[1] - ticks[0])


@given(st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_multipliers_prove_the_optimum(seed: int):
    """Weights are not negative, sum to 1, and the weighted rates cancel: no move can raise every binding margin."""
    rows = some_rows(seed)
    found = best_margin(rows, LOW, HIGH)

    assert found.weights.min() >= 0
    assert float(found.weights @ rows.weight[found.rows]) == pytest.approx(1.0, abs=1e-9)
    assert found.weights @ rows.rate[found.rows] + found.reach == pytest.approx(np.zeros(6), abs=1e-9)
    bound = float(found.weights @ rows.start[found.rows] + np.abs(found.reach) @ HIGH)
    assert found.margin == pytest.approx(bound, abs=1e-8)
    assert rows.over(found.x, found.margin).min() >= -1e-8


def test_few_rows_give_the_answer_of_all():
    """Working on the rows that matter ends at the optimum of one call on all of them."""
    for rows in (some_rows(11, 70_000), some_rows(12, 200_000, 4)):
        k = rows.rate.shape[1]
        found, direct = best_margin(rows, LOW[:k], HIGH[:k]), direct_margin(rows, LOW[:k], HIGH[:k])

        assert found.margin == pytest.approx(direct.margin, abs=1e-6)
        assert found.rows.tolist() == direct.rows.tolist()


def test_enough_is_enough():
    """With an upper limit on the margin the answer stops there and says so."""
    found = best_margin(some_rows(3), LOW, HIGH, most=-2.0)

    assert found.margin == pytest.approx(-2.0, abs=1e-9)
    assert found.held == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_least_squares_among_rows_agrees_with_clarabel(seed: int):
    """The nearest place that keeps every margin is the one a quadratic program finds."""
    rows, rng = some_rows(seed), np.random.default_rng(seed + 100)
    best = best_margin(rows, LOW, HIGH).margin - 0.1
    square, goal = rng.normal(size=(9, 6)), rng.normal(size=9)
    x = cp.Variable(6)
    keep = [rows.start + rows.rate @ x >= rows.weight * best, cp.abs(x) <= REACH]
    cp.Problem(cp.Minimize(cp.sum_squares(square @ x - goal)), keep).solve(solver=cp.CLARABEL)

    found = least_squares(Wish(square, goal, np.zeros(6)), rows.kept_at(best), LOW, HIGH).x

    assert found == pytest.approx(x.value, abs=1e-4)
    assert rows.over(found, best).min() >= -1e-8


def test_contradicting_rows_are_refused():
    """x at least 2 and at most 1: there is no answer, and none is made up."""
    kept = Kept(np.array([[1.0], [-1.0]]), np.array([2.0, -1.0]))
    rows = Rows(np.array([1.0]), np.array([[0.0]]), np.ones(1))

    with pytest.raises(NoAnswerError):
        best_margin(rows, np.array([-5.0]), np.array([5.0]), kept)
    with pytest.raises(NoAnswerError):
        least_squares(Wish(np.eye(1), np.zeros(1), np.zeros(1)), kept, np.array([-5.0]), np.array([5.0]))
