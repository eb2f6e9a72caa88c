"""Small exact programs: by hand, and against HiGHS and Clarabel."""

import cvxpy as cp
import numpy as np
import pytest
from scipy.optimize import linprog

from geom.place.small_program import least_cost, shortest

CLOSE = {"tol_gap_abs": 1e-12, "tol_gap_rel": 1e-12, "tol_feas": 1e-12}


def rows_about(seed: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return rates (n, 6), and a vector away from 0 that rows are to hold at."""
    rng = np.random.default_rng(seed)
    return rng.normal(size=(count, 6)), rng.normal(size=6) * 3.0


def test_the_cheapest_corner_by_hand():
    """x + y least with x + 2 y >= 4, 3 x + y >= 6, x, y >= 0: at (1.6, 1.2), multipliers 0.4 and 0.2; also when begun there."""
    rate, least = np.array([[1.0, 2.0], [3.0, 1.0]]), np.array([4.0, 6.0])

    for start in (None, np.array([0, 1]), np.array([1, 2]), np.array([4, 5])):
        found = least_cost(np.ones(2), rate, least, np.zeros(2), np.full(2, 9.0), start)

        assert found is not None
        assert found.x == pytest.approx([1.6, 1.2], abs=1e-12)
        assert dict(zip(found.rows.tolist(), found.push.tolist(), strict=True)) == pytest.approx({0: 0.4, 1: 0.2}, abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_cheapest_corner_agrees_with_highs(seed: int):
    """Seven unknowns in a box, two hundred rows, every tenth of them twice: the same cost as a general solver; begun where the
    answer was before the rows were changed a little, the same."""
    rng = np.random.default_rng(seed)
    rate, cost = rng.normal(size=(200, 7)), rng.uniform(0.0, 1.0, 7)
    least = rate @ rng.normal(size=7) - rng.uniform(0.0, 0.5, 200)
    rate[::10], least[::10] = rate[1::10], least[1::10]
    low, high = np.full(7, -5.0), np.full(7, 5.0)
    before = least_cost(cost, rate + 1e-3 * rng.normal(size=(200, 7)), least, low, high)
    other = linprog(cost, A_ub=-rate, b_ub=-least, bounds=[(-5.0, 5.0)] * 7, method="highs")

    assert before is not None
    for start in (None, before.rows):
        found = least_cost(cost, rate, least, low, high, start)

        assert found is not None
        assert float(cost @ found.x) == pytest.approx(other.fun, abs=1e-8)
        assert found.push.min() >= 0
        every = np.concatenate([rate, np.eye(7), -np.eye(7)])
        assert found.push @ every[found.rows] == pytest.approx(cost, abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_the_shortest_vector_agrees_with_clarabel(seed: int):
    """Six unknowns, sixty rows: the same as an interior-point solver."""
    rate, inside = rows_about(seed, 60)
    least = rate @ inside - np.random.default_rng(seed).uniform(0.0, 0.5, 60)
    z = cp.Variable(6)
    cp.Problem(cp.Minimize(cp.sum_squares(z)), [rate @ z >= least]).solve(solver=cp.CLARABEL, **CLOSE)

    found = shortest(rate, least)
    assert found is not None
    assert found[0] == pytest.approx(z.value, abs=1e-6)
    assert found[1].min() >= -1e-9
    assert found[1] @ rate == pytest.approx(found[0], abs=1e-8)


def test_a_play_of_a_hundredth_of_a_micron_is_an_answer():
    """Two hundred rows that leave a sphere of 1e-5 about a place, and so its nearest point."""
    rate, inside = rows_about(3, 200)
    rate /= np.linalg.norm(rate, axis=1)[:, None]
    found = shortest(rate, rate @ inside - 1e-5)

    assert found is not None
    assert np.linalg.norm(found[0] - inside) < 1e-4
    assert (rate @ (found[0] - inside)).min() >= -1e-5 - 1e-9


def test_contradicting_rows_have_no_answer():
    """x at least 2 and at most 1."""
    rate, least = np.array([[1.0], [-1.0]]), np.array([2.0, -1.0])

    assert shortest(rate, least) is None
    assert least_cost(np.ones(1), rate, least, np.full(1, -9.0), np.full(1, 9.0)) is None
