"""Vectors and frames: quarter turns stay exact, and a point survives the way to a set-up and back."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis.strategies import DrawFn, composite, floats, sampled_from, tuples

from geom.space import (
    ORIGIN,
    WORLD,
    X_AXIS,
    Y_AXIS,
    Z_AXIS,
    Frame,
    Vec3,
    add,
    along,
    angle_between,
    canonical,
    cross,
    dot,
    foot,
    frame_facing,
    norm,
    scale,
    snapped,
    sub,
    unit,
)

number = floats(-1000, 1000, allow_subnormal=False)
vectors = tuples(number, number, number)
directions = vectors.filter(lambda v: norm(v) > 1e-3)
AXES = (X_AXIS, Y_AXIS, Z_AXIS, scale(X_AXIS, -1), scale(Y_AXIS, -1), scale(Z_AXIS, -1))


@composite
def frames(draw: DrawFn) -> Frame:
    """Any frame: an origin, a way up and an X that is not along it."""
    z, hint = draw(directions), draw(directions)
    assume(5 < angle_between(z, hint) < 175)
    return frame_facing(draw(vectors), z, hint)


def test_the_vector_product_is_right_handed() -> None:
    """X turned to Y gives Z (right-hand rule); a 3-4-5 vector is 5 long (Euclid I.47)."""
    assert cross(X_AXIS, Y_AXIS) == Z_AXIS
    assert cross(Y_AXIS, Z_AXIS) == X_AXIS
    assert cross(Z_AXIS, X_AXIS) == Y_AXIS
    assert norm((3.0, 4.0, 0.0)) == 5.0
    assert angle_between(X_AXIS, (1.0, 1.0, 0.0)) == pytest.approx(45.0, abs=1e-12)
    assert angle_between(X_AXIS, (-2.0, 0.0, 0.0)) == 180.0


@given(vectors, vectors)
def test_vector_arithmetic_agrees_with_numpy(a: Vec3, b: Vec3) -> None:
    """Sums and products are those of a general-purpose library."""
    assert np.allclose(cross(a, b), np.cross(a, b), rtol=1e-12, atol=1e-6)
    assert dot(a, b) == pytest.approx(float(np.dot(a, b)), rel=1e-9, abs=1e-6)
    assert add(sub(a, b), b) == pytest.approx(a, abs=1e-9)


@given(directions)
def test_a_direction_is_one_long_and_has_no_negative_zero(a: Vec3) -> None:
    """Directions are printed and compared, so -0.0 and 0.9999999999999999 never appear."""
    found = unit(a)

    assert norm(found) == pytest.approx(1.0, abs=1e-12)
    assert all(math.copysign(1.0, c) > 0 for c in found if c == 0)
    assert scale((0.0, 0.0, 1.0), -1.0) == (0.0, 0.0, -1.0)
    assert str(scale((0.0, 0.0, 1.0), -1.0)) == "(0.0, 0.0, -1.0)"


def test_noise_on_an_axis_is_snapped_away() -> None:
    """A CAD kernel returns cos 90 degrees as 6e-17; the direction is still exactly Z."""
    assert unit((6e-17, -6e-17, 1.0)) == Z_AXIS
    assert snapped((6e-17, -1.0 + 1e-15, -3e-14)) == (0.0, -1.0, 0.0)
    assert snapped((1e-6, 0.0, 1.0)) == (1e-6, 0.0, 1.0)


@pytest.mark.parametrize("nowhere", [ORIGIN, (math.nan, 0.0, 0.0), (math.inf, 0.0, 0.0)])
def test_nothing_has_no_direction(nowhere: Vec3) -> None:
    """A zero or non-finite vector is refused rather than turned into NaN coordinates."""
    with pytest.raises(ValueError, match="has no direction"):
        unit(nowhere)


@given(directions)
def test_an_axis_and_its_opposite_are_one_axis(a: Vec3) -> None:
    """A hole's axis has no sense, so both senses get one name."""
    assert canonical(a) == canonical(scale(a, -1.0))
    assert angle_between(a, canonical(a)) == pytest.approx(0, abs=1e-4) or angle_between(a, canonical(a)) == pytest.approx(
        180, abs=1e-4
    )


@pytest.mark.parametrize(
    ("given_axis", "named"),
    [
        ((0.0, 0.0, -1.0), Z_AXIS),
        ((-3.0, 0.0, 0.0), X_AXIS),
        ((1.0, -1.0, 0.0), unit((-1.0, 1.0, 0.0))),
        ((1.0, 0.0, -1.0), unit((-1.0, 0.0, 1.0))),
        ((-1.0, 1.0 + 1e-9, 0.0), unit((-1.0, 1.0 + 1e-9, 0.0))),
        ((-1.0 - 1e-9, 1.0, 0.0), unit((-1.0 - 1e-9, 1.0, 0.0))),
    ],
)
def test_the_largest_component_of_an_axis_is_positive(given_axis: Vec3, named: Vec3) -> None:
    """At 45 degrees noise cannot flip the axis: Z decides before Y, Y before X."""
    assert canonical(given_axis) == named


@given(vectors, vectors, directions)
def test_the_foot_on_an_axis_is_the_nearest_point(point: Vec3, origin: Vec3, way: Vec3) -> None:
    """The line from a point to its foot is square to the axis, and no other point of the axis is nearer."""
    axis = unit(way)
    nearest = foot(point, origin, axis)
    away = norm(sub(point, nearest))

    assert dot(sub(point, nearest), axis) == pytest.approx(0, abs=1e-9 * (1 + norm(sub(point, origin))))
    assert along(nearest, origin, axis) == pytest.approx(along(point, origin, axis), abs=1e-8)
    assert all(norm(sub(point, add(nearest, scale(axis, step)))) >= away - 1e-9 for step in (-1.0, 1e-3, 10.0))


@given(frames(), vectors)
def test_a_point_survives_the_way_to_a_setup_and_back(frame: Frame, point: Vec3) -> None:
    """Part to set-up frame and back is the same point, one by one and as an array."""
    there = frame.local(point)
    array = frame.local_points(np.array([point, point]))

    assert frame.part(there) == pytest.approx(point, abs=1e-8)
    assert np.allclose(array, [there, there], atol=1e-8)
    assert np.allclose(frame.part_points(array), [point, point], atol=1e-8)


@given(frames(), vectors, vectors)
def test_a_frame_moves_nothing_relative_to_anything(frame: Frame, a: Vec3, b: Vec3) -> None:
    """Distances and directions between two points are the same in every frame."""
    assert norm(sub(frame.local(a), frame.local(b))) == pytest.approx(norm(sub(a, b)), abs=1e-8)
    assert frame.local_direction(sub(a, b)) == pytest.approx(sub(frame.local(a), frame.local(b)), abs=1e-8)
    assert frame.part_direction(frame.local_direction(a)) == pytest.approx(a, abs=1e-8)


@pytest.mark.parametrize("up", AXES)
@pytest.mark.parametrize("hint", AXES)
def test_a_quarter_turn_is_exact(up: Vec3, hint: Vec3) -> None:
    """Turning a block a quarter turn gives whole coordinates, not 1.0000000000000002."""
    if dot(up, hint) != 0:
        with pytest.raises(ValueError, match="parallel"):
            frame_facing(ORIGIN, up, hint)
        return
    frame = frame_facing((1.0, 2.0, 3.0), up, hint)
    x, y, z = frame.local((11.0, 22.0, 33.0))

    assert sorted(map(abs, (x, y, z))) == [10.0, 20.0, 30.0]
    assert z == dot((10.0, 20.0, 30.0), up)
    assert x == dot((10.0, 20.0, 30.0), hint)


def test_the_upside_down_setup_mirrors_nothing() -> None:
    """Turned over about X, a hole at (30, 10) is found at (30, -10), its depth upward (hand sketch)."""
    turned = frame_facing((0.0, 0.0, 0.0), (0.0, 0.0, -1.0), X_AXIS)

    assert turned.local((30.0, 10.0, -5.0)) == (30.0, -10.0, 5.0)
    assert WORLD.local((30.0, 10.0, -5.0)) == (30.0, 10.0, -5.0)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Frame(ORIGIN, X_AXIS, Y_AXIS, (0.0, 0.0, -1.0)),
        lambda: Frame(ORIGIN, X_AXIS, X_AXIS, Z_AXIS),
        lambda: Frame(ORIGIN, (2.0, 0.0, 0.0), Y_AXIS, (0.0, 0.0, 2.0)),
        lambda: Frame(ORIGIN, X_AXIS, (0.1, 1.0, 0.0), Z_AXIS),
        lambda: Frame(ORIGIN, (math.nan, 0.0, 0.0), Y_AXIS, Z_AXIS),
        lambda: Frame(ORIGIN, X_AXIS, unit((3e-5, 1.0, 0.0)), Z_AXIS),
    ],
)
def test_a_mirrored_or_crooked_frame_is_refused(make: Callable[[], Frame]) -> None:
    """A left-handed frame would machine the mirror image of the part."""
    with pytest.raises(ValueError, match="not a right-handed frame"):
        make()


def test_a_frame_starts_somewhere() -> None:
    """A zero that was never found (NaN) is refused before any coordinate is printed from it."""
    with pytest.raises(ValueError, match="cannot start"):
        Frame((0.0, math.nan, 0.0), X_AXIS, Y_AXIS, Z_AXIS)


@given(sampled_from(AXES), vectors)
def test_facing_an_axis_needs_a_hint_off_the_axis(up: Vec3, hint: Vec3) -> None:
    """X is the hint made square to Z: it never points away from the hint."""
    assume(norm(cross(up, hint)) > 1e-3)

    assert dot(frame_facing(ORIGIN, up, hint).x, hint) > 0
