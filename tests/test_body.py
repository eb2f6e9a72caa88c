"""Bodies of triangles against closed forms."""

import math

import numpy as np
import pytest

from geom.errors import GeometryError
from geom.kernel.mesh import Mesh
from geom.rays.body import block, body_of, empty, hull, joined, prism, rod

CUBE = block((0.0, 0.0, 0.0), (10.0, 20.0, 30.0))


def test_a_block_has_its_volume_and_its_skin():
    """10 x 20 x 30: 6,000 mm3, 2,200 mm2."""
    assert (CUBE.volume, CUBE.area) == (pytest.approx(6000.0), pytest.approx(2200.0))


def test_what_two_blocks_share_and_lose_adds_up():
    """A and B, A less B, A or B: counted once each."""
    other = block((5.0, 5.0, -5.0), (15.0, 15.0, 5.0))
    shared = (CUBE & other).volume

    assert shared == pytest.approx(5.0 * 10.0 * 5.0)
    assert (CUBE - other).volume == pytest.approx(6000.0 - shared)
    assert (CUBE + other).volume == pytest.approx(6000.0 + 1000.0 - shared)


def test_a_rod_lies_inside_its_circle_by_at_most_the_chord():
    """Its volume is that of the true cylinder less at most chord times its wall."""
    volume = rod((1.0, 2.0, 3.0), 8.0, 5.0, 0.02).volume

    assert 0.0 < math.pi * 64.0 * 5.0 - volume < 0.02 * 2.0 * math.pi * 8.0 * 5.0


def test_an_outline_inside_another_is_a_hole():
    """A square tube 10 wide with a 6 hole, 4 high."""
    tube = prism([[(0, 0), (10, 0), (10, 10), (0, 10)], [(2, 2), (8, 2), (8, 8), (2, 8)]], 1.0, 5.0)

    assert tube.volume == pytest.approx((100.0 - 36.0) * 4.0)
    assert tube.box == ((0.0, 0.0, 1.0), (10.0, 10.0, 5.0))
    assert len(tube.outlines_at(3.0)) == len(tube.shadow()) == 2


def test_the_halves_of_a_split_make_the_whole():
    """A leaning cut loses nothing."""
    ahead, behind = CUBE.split((0.6, 0.0, 0.8), 12.0)

    assert min(ahead.volume, behind.volume) > 100.0
    assert ahead.volume + behind.volume == pytest.approx(6000.0)


def test_a_moved_body_keeps_its_volume_and_a_scaled_one_grows_by_the_cube():
    """A quarter turn about Z; twice the size in every direction."""
    turned = CUBE.moved(np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]), (1.0, 2.0, 3.0))

    assert turned.box == ((-19.0, 2.0, 3.0), (1.0, 12.0, 33.0))
    assert CUBE.moved(2.0 * np.eye(3), (0.0, 0.0, 0.0)).volume == pytest.approx(8.0 * 6000.0)


def test_pieces_come_in_one_order():
    """Two blocks apart, given in either order."""
    far = block((50.0, 0.0, 0.0), (60.0, 1.0, 1.0))

    assert [piece.box for piece in joined([far, CUBE]).pieces()] == [CUBE.box, far.box]
    assert empty().is_empty
    assert empty().pieces() == ()


def test_a_hull_goes_round_its_points():
    """A tetrahedron with three edges of 6: 36 mm3."""
    corners = np.array([[0.0, 0.0, 0.0], [6.0, 0.0, 0.0], [0.0, 6.0, 0.0], [0.0, 0.0, 6.0]])

    assert hull(corners).volume == pytest.approx(36.0)


def test_a_mesh_comes_back_as_the_body_it_was():
    """Out to triangles and in again."""
    assert body_of(CUBE.mesh(), "cube").volume == pytest.approx(6000.0)


def test_an_open_or_inward_mesh_is_refused():
    """One facet missing; every facet turned."""
    mesh = CUBE.mesh()
    for triangles in (mesh.triangles[1:], mesh.triangles[:, ::-1]):
        with pytest.raises(GeometryError, match="casting: its facets do not close up"):
            body_of(Mesh(mesh.vertices, triangles, mesh.face[: len(triangles)]), "casting")
