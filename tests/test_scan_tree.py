"""The quick ray tree of a scan answers as the other face of its library does."""

import numpy as np
import pytest
import trimesh

from geom.rays.mesh_tree import MeshTree, mesh_tree
from geom.rays.tree import RayTree


@pytest.fixture(scope="module")
def ball() -> trimesh.Trimesh:
    """20,480 triangles on a ball of 30 mm."""
    return trimesh.creation.icosphere(5, 30.0)


def rays(count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    way = rng.normal(size=(count, 3))
    return rng.uniform(-50.0, 50.0, (count, 3)), way / np.linalg.norm(way, axis=1)[:, None]


@pytest.mark.parametrize("count", [1, 15, 16, 17, 5000])
def test_each_ray_meets_the_triangle_it_meets_alone(ball, count):
    """Packets of sixteen, whole and broken, against one ray at a time."""
    tree = mesh_tree(ball.vertices, ball.faces)
    starts, ways = rays(count, count)

    assert isinstance(tree, MeshTree)
    assert np.array_equal(tree.first(starts, ways), RayTree(ball.vertices, ball.faces).first(starts, ways))


def test_the_triangle_met_lies_on_the_ray(ball):
    """From the middle of a ball along a direction: the met triangle's plane is crossed within it (closed form)."""
    _, ways = rays(2000, 3)
    met = mesh_tree(ball.vertices, ball.faces).first(np.zeros_like(ways), ways)
    corners = ball.vertices[ball.faces[met]]
    shares = np.linalg.solve(corners.transpose(0, 2, 1), ways[:, :, None])[:, :, 0]

    assert (met >= 0).all()
    assert (shares > -1e-5).all()


def test_no_ray_is_no_answer(ball):
    """Law: no rays, no triangles met; a ray that looks away meets none."""
    tree = mesh_tree(ball.vertices, ball.faces)

    assert len(tree.first(np.zeros((0, 3)), np.zeros((0, 3)))) == 0
    assert tree.first(np.array([[0.0, 0.0, 40.0]]), np.array([[0.0, 0.0, 1.0]])).tolist() == [-1]
