"""Small exact programs: by hand, and against HiGHS and Clarabel."""

import cvxpy as cp
import numpy as np
import pytest
from scipy.optimize import linprog

from geom.place.small_program import least_cost, shortest


def test_the_cheapest_corner_by_hand():
    """x + y least with x + 2 y >= 4, 3 x + y >= 6, x, y >= 0: at (1.6, 1.2), multipliers 0.4 and 0.2."""
    rate = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 2.0], [3.0, 1.0]])

    found = least_cost(np.ones(2), rate, np.array([0.0, 0.0, 4.0, 6.0]), np.array([0, 1]))

    assert found is not None
    assert found.x == pytest.approx([1.6, 1.2], abs=1e-12)
    assert dict(zip(found.rows.tolist(), found.push.tolist(), strict=True)) == pytest.approx({2: 0.4, 3: 0.2}, abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_cheapest_corner_agrees_with_highs(seed: int):
    """Seven unknowns in a box, two hundred rows, every tenth of them twice: the same cost as a general solver."""
    rng = np.random.default_rng(seed)
    rate, cost = rng.normal(size=(200, 7)), rng.uniform(0.0, 1.0, 7)
    least = rate @ rng.normal(size=7) - rng.uniform(0.0, 0.5, 200)
    rate[::10], least[::10] = rate[1::10], least[1::10]
    other = linprog(cost, A_ub=-rate, b_ub=-least, bounds=[(-5.0, 5.0)] * 7, method="highs")
    every = np.concatenate([np.eye(7), -np.eye(7), rate])

    found = least_cost(cost, every, np.concatenate([np.full(14, -5.0), least]), np.arange(7))

    assert found is not None
    assert float(cost @ found.x) == pytest.approx(other.fun, abs=1e-8)
    assert found.push.min() >= 0


@pytest.mark.parametrize("seed", range(4))
def test_the_shortest_vector_agrees_with_clarabel(seed: int):
    """Six unknowns, sixty rows and a further one found late: the same as a quadratic program with all of them."""
    rng = np.random.default_rng(seed)
    rate = rng.normal(size=(60, 6))
    inside = rng.normal(size=6) * 3.0
    least = rate @ inside - rng.uniform(0.0, 0.5, 60)
    late = (inside / np.linalg.norm(inside), float(np.linalg.norm(inside)) - 0.1)
    z = cp.Variable(6)
    cp.Problem(cp.Minimize(cp.sum_squares(z)), [rate @ z >= least, late[0] @ z >= late[1]]).solve(solver=cp.CLARABEL)

    found = shortest(rate, least, lambda z: None if float(late[0] @ z) >= late[1] - 1e-9 else late)

    assert found == pytest.approx(z.value, abs=1e-4)


def test_contradicting_rows_have_no_answer():
    """x at least 2 and at most 1."""
    rate, least = np.array([[1.0], [-1.0]]), np.array([2.0, -1.0])

    assert shortest(rate, least) is None
    assert least_cost(np.ones(1), rate, least, np.array([0])) is None
