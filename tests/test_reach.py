"""What stands in a cutter's way, checked against a general-purpose geometry library (shapely) and closed form."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import minimize

from geom.kernel.cut import box, cut, cylinder
from geom.kernel.extent import face_box
from geom.kernel.mesh import Mesh, tessellate
from geom.kernel.shape import solid_from_shape
from geom.space import WORLD, frame_facing
from geom.tasks.reach import FACET_SLACK, blocked_spans, clear_disc, highest_over, open_share, view

near = st.floats(-20.0, 20.0)
corner = st.tuples(near, near, st.floats(-5.0, 5.0))


def lone(corners: tuple[tuple[float, float, float], ...]) -> Mesh:
    """Return a mesh of one facet, turned to face up."""
    a, b, c = (np.array(p) for p in corners)
    up = np.cross(b - a, c - a)[2] > 0
    return Mesh(np.array(corners), np.array([[0, 1, 2] if up else [0, 2, 1]]), np.zeros(1, dtype=np.int64))


def above(corners: tuple[tuple[float, float, float], ...], z: float) -> shapely.Geometry:
    """Return the part of a triangle above z as a flat polygon, by cutting it with shapely in its own plane of heights."""
    points = [p[:2] for p in corners if p[2] >= z]
    for (xa, ya, za), (xb, yb, zb) in zip(corners, (*corners[1:], corners[0]), strict=True):
        if (za - z) * (zb - z) < 0:
            share = (z - za) / (zb - za)
            points.append((xa + share * (xb - xa), ya + share * (yb - ya)))
    return shapely.MultiPoint(points).convex_hull if points else shapely.Point()


@given(st.tuples(corner, corner, corner), st.floats(0.0, 2 * math.pi), st.floats(0.5, 8.0), st.floats(-3.0, 3.0))
def test_where_a_cutter_meets_a_facet_agrees_with_shapely(corners, turn, radius, z):
    """At every point of the line: blocked exactly when the facet's part above the cutter's end is nearer than its radius."""
    flat = shapely.Polygon([p[:2] for p in corners])
    assume(flat.area > 0.5)
    start, along = (1.0, -2.0), (math.cos(turn), math.sin(turn))
    spans = blocked_spans(view(lone(corners), WORLD), start, along, (-40.0, 40.0), radius, z)
    metal = above(corners, z + FACET_SLACK)
    reach = max(radius - FACET_SLACK, FACET_SLACK)

    for s in np.linspace(-40.0, 40.0, 81):
        at = shapely.Point(start[0] + s * along[0], start[1] + s * along[1])
        distance = math.inf if metal.is_empty else at.distance(metal)
        if abs(distance - reach) > 1e-6:
            assert any(low <= s <= high for low, high in spans) == (distance < reach)


@given(st.tuples(corner, corner, corner), st.tuples(near, near), st.floats(0.5, 8.0), st.floats(-3.0, 3.0))
def test_a_standing_cutter_agrees_with_shapely(corners, at, radius, z):
    """Clear exactly when the facet's part above the cutter's end is further than its radius."""
    assume(shapely.Polygon([p[:2] for p in corners]).area > 0.5)
    metal = above(corners, z + FACET_SLACK)
    reach = max(radius - FACET_SLACK, FACET_SLACK)
    distance = math.inf if metal.is_empty else shapely.Point(at).distance(metal)
    assume(abs(distance - reach) > 1e-6)

    assert clear_disc(view(lone(corners), WORLD), at, radius, z) == (distance >= reach)


@given(st.tuples(corner, corner, corner), st.tuples(near, near), st.floats(0.5, 8.0))
def test_the_highest_metal_over_a_disc_agrees_with_scipy(corners, at, radius):
    """The greatest height over the shares of a facet's corners that lie within the disc, by a constrained maximiser."""
    assume(shapely.Polygon([p[:2] for p in corners]).area > 0.5)
    flat, reach = shapely.Polygon([p[:2] for p in corners]), max(radius - FACET_SLACK, FACET_SLACK)
    found = highest_over(view(lone(corners), WORLD), at, radius)
    assume(abs(shapely.Point(at).distance(flat) - reach) > 1e-3)
    if shapely.Point(at).distance(flat) > reach:
        assert found == -math.inf
        return

    points = np.array(corners)
    inside = {"type": "ineq", "fun": lambda w: reach**2 - float(((w @ points)[:2] - at) @ ((w @ points)[:2] - at))}
    whole = {"type": "eq", "fun": lambda w: float(w.sum()) - 1.0}
    starts = [np.full(3, 1 / 3), *np.eye(3)]
    tried = [minimize(lambda w: -float(w @ points[:, 2]), s, bounds=[(0, 1)] * 3, constraints=(inside, whole)) for s in starts]
    best = max((-t.fun for t in tried if t.success and inside["fun"](t.x) > -1e-6), default=-math.inf)

    assert found == pytest.approx(best, abs=1e-3)


def test_a_wall_blocks_a_cutter_one_radius_before_it():
    """A block 10 high from x = 50 on: a 12 mm cutter at its foot is free to x = 44 (less the facet slack), blocked beyond."""
    mesh = tessellate(solid_from_shape(box((50.0, -20.0, 0.0), (60.0, 20.0, 10.0)), "wall"), 0.05)
    ((low, high),) = blocked_spans(view(mesh, WORLD), (0.0, 0.0), (1.0, 0.0), (0.0, 100.0), 6.0, 0.0)

    assert low == pytest.approx(44.0 + FACET_SLACK)
    assert high == pytest.approx(66.0 - FACET_SLACK)
    assert blocked_spans(view(mesh, WORLD), (0.0, 0.0), (1.0, 0.0), (0.0, 100.0), 6.0, 10.0) == []


def test_half_a_floor_under_a_roof_is_half_open():
    """A slot 20 high under a roof over half its length: the open share of its floor is one half."""
    slot, sky = box((-1.0, -1.0, 20.0), (61.0, 35.0, 40.0)), box((30.0, -1.0, 30.0), (61.0, 35.0, 61.0))
    body = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 60.0)), slot, sky)
    solid = solid_from_shape(body, "roofed")
    floor = [s.index for s in solid.surfaces if s.kind == "plane" and s.axis[2] > 0.5 and s.centroid[2] == pytest.approx(20.0)]

    assert open_share(view(tessellate(solid, 0.05), WORLD), floor, 20.0) == pytest.approx(0.5, abs=0.01)


def test_the_box_of_a_face_in_any_frame_is_exact():
    """A disc of radius 30 facing up reaches 30 along any level direction, though a mesh of it would not."""
    solid = solid_from_shape(cylinder((5.0, 6.0, 0.0), (0.0, 0.0, 1.0), 30.0, 10.0), "disc")
    top = [s.index for s in solid.surfaces if s.kind == "plane" and s.axis[2] > 0.5]
    frame = frame_facing((5.0, 6.0, 0.0), (0.0, 0.0, 1.0), (0.3, 0.9, 0.0))
    low, high = face_box(solid, top, frame)

    assert (*low, *high) == pytest.approx((-30.0, -30.0, 10.0, 30.0, 30.0, 10.0), abs=2e-6)


def test_the_box_of_many_faces_is_that_of_each_together():
    """A roller of radius 30, 10 long, along the diagonal of x and y: (30 + 5) sin 45 to each side, as from its faces alone."""
    c = math.sqrt(0.5)
    solid = solid_from_shape(cylinder((-5.0 * c, -5.0 * c, 0.0), (c, c, 0.0), 30.0, 10.0), "roller")
    every = range(len(solid.surfaces))
    low, high = face_box(solid, every, WORLD)
    lows, highs = zip(*(face_box(solid, [i], WORLD) for i in every), strict=True)

    reach = 35.0 * c
    assert (*low, *high) == pytest.approx((-reach, -reach, -30.0, reach, reach, 30.0), abs=2e-6)
    assert (low, high) == (tuple(map(min, zip(*lows, strict=True))), tuple(map(max, zip(*highs, strict=True))))
