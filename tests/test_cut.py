"""Kernel bodies and booleans against closed form, and the traps of near-coincident faces."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.errors import GeometryError
from geom.kernel.cut import (
    box,
    common,
    cone,
    cut,
    cylinder,
    defeature,
    drill,
    fuse,
    half_space,
    mirrored,
    moved,
    obround,
    prism,
    section_faces,
    solids_of,
    sphere,
    turned,
    turned_about,
    volume,
    volume_change,
)
from geom.kernel.shape import faces_of, solid_from_shape
from geom.kernel.surface import describe
from geom.space import ORIGIN, Vec3
from tests.catalogue import block_with_cored_bore, bolt_circle_cover, drilled_plate, filleted_angle

UP: Vec3 = (0.0, 0.0, 1.0)
ASKEW: Vec3 = (0.6, 0.0, 0.8)


@pytest.mark.parametrize(
    ("body", "due"),
    [
        (box((1, 2, 3), (5, 7, 9)), 4 * 5 * 6),
        (half_space(ORIGIN, ASKEW, 10.0), 20 * 20 * 10),
        (prism([(0, 0, 0), (6, 0, 0), (0, 8, 0)], (0, 0, 5)), 24 * 5),
        (prism([(0, 0, 0), (0, 8, 0), (6, 0, 0)], (0, 0, -5)), 24 * 5),
        (cylinder(ORIGIN, ASKEW, 3.0, 7.0), math.pi * 9 * 7),
        (cone(ORIGIN, ASKEW, 5.0, 2.0, 6.0), math.pi * 6 / 3 * (25 + 10 + 4)),
        (cone(ORIGIN, UP, 0.0, 2.0, 6.0), math.pi * 4 * 6 / 3),
        (sphere((1, 1, 1), 4.0), 4 / 3 * math.pi * 64),
        (drill(ORIGIN, UP, 10.0, 20.0, 90.0, 3.0), math.pi * 25 * (23 + 5 / 3)),
        (drill(ORIGIN, ASKEW, 10.0, 20.0, None), math.pi * 25 * 20),
        (obround(ORIGIN, UP, (0, 1, 0), 30.0, 10.0, 6.0, 2.0), (10 * 20 + math.pi * 25) * 8),
        (turned([(2, 0), (5, 0), (5, 4), (2, 4)], ORIGIN, ASKEW), math.pi * (25 - 4) * 4),
        (turned([(2, 4), (5, 4), (5, 0), (2, 0)], ORIGIN, ASKEW), math.pi * (25 - 4) * 4),
    ],
    ids=lambda value: f"{value:.0f}" if isinstance(value, float | int) else "body",
)
def test_a_body_has_the_volume_of_its_formula_and_faces_outward(body: object, due: float) -> None:
    """Closed form; a profile given the other way round is turned outward, not inside out."""
    assert solid_from_shape(body, "body").volume == pytest.approx(due)


def test_moves_keep_the_volume_and_go_where_they_are_sent() -> None:
    """A 90 degree turn about Z takes +X to +Y; a mirror in X = 0 takes 1..5 to -5..-1."""
    block = box((1, 2, 3), (5, 7, 9))

    assert solid_from_shape(moved(block, (10, 0, 0)), "m").box == ((11, 2, 3), (15, 7, 9))
    assert solid_from_shape(turned_about(block, ORIGIN, UP, 90.0), "t").box == ((-7, 1, 3), (-2, 5, 9))
    assert solid_from_shape(mirrored(block, ORIGIN, (1, 0, 0)), "m").box == ((-5, 2, 3), (-1, 7, 9))


def test_two_crossed_cylinders_share_a_steinmetz_solid() -> None:
    """Handbook: equal round bars crossing at right angles share 16 r^3 / 3."""
    first, second = cylinder((0, 0, -20), UP, 5.0, 40.0), cylinder((-20, 0, 0), (1, 0, 0), 5.0, 40.0)

    assert volume(common(first, second)) == pytest.approx(16 * 125 / 3, rel=1e-6)
    assert volume(cut(first, second)) == pytest.approx(math.pi * 25 * 40 - 16 * 125 / 3, rel=1e-6)
    assert volume(fuse(first, second)) == pytest.approx(2 * math.pi * 25 * 40 - 16 * 125 / 3, rel=1e-6)


def test_bodies_that_are_apart_share_nothing() -> None:
    """No metal in common, none lost."""
    a, b = box(ORIGIN, (1, 1, 1)), box((5, 5, 5), (6, 6, 6))

    assert volume(common(a, b)) == 0.0
    assert volume(cut(a, b)) == pytest.approx(1.0)
    assert len(solids_of(fuse(a, b))) == 2


def test_the_change_of_volume_is_measured_on_the_faces_that_changed() -> None:
    """Against whole volumes: a hole in a plate, a pad on it, and nothing at all."""
    plate, _ = drilled_plate()
    drilled = cut(plate, cylinder((30, 30, -1), UP, 2.0, 40.0))
    padded = fuse(plate, cylinder((30, 30, 20), UP, 2.0, 5.0))

    assert volume_change(plate, drilled) == pytest.approx(-math.pi * 4 * 20)
    assert volume_change(plate, padded) == pytest.approx(math.pi * 4 * 5)
    assert volume_change(plate, plate) == 0.0


@settings(deadline=None, max_examples=20)
@given(x=st.floats(-12, 12), y=st.floats(-12, 12), z=st.floats(-12, 12), turn=st.floats(0, 90))
def test_what_is_cut_and_what_is_shared_add_up_wherever_the_tool_stands(x: float, y: float, z: float, turn: float) -> None:
    """Law: V(A - B) + V(A and B) = V(A) for a block against a turned block."""
    a = box((-10, -10, -10), (10, 10, 10))
    b = moved(turned_about(box((-6, -6, -6), (6, 6, 6)), ORIGIN, ASKEW, turn), (x, y, z))

    assert volume(cut(a, b)) + volume(common(a, b)) == pytest.approx(8000.0, rel=1e-6)


@pytest.mark.parametrize("shift", [1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 2e-2])
def test_a_nearly_coincident_cut_loses_no_more_than_the_film(shift: float) -> None:
    """ENGINEERING's trap: a part moved by 1e-6 to 0.02 mm in a casting whose skin it shares.

    What is left is the swarf and a film as thick as the shift, on less than 2000 mm2 of face seen along it.
    """
    finished, casting = bolt_circle_cover()
    left = volume(cut(casting, moved(finished, (shift, shift / 3, 0.0))))

    assert left == pytest.approx(casting.volume - finished.volume, abs=shift * 2000.0)


def test_a_section_shows_the_metal_a_saw_would_meet() -> None:
    """Closed form: the bored block halfway up is 80 x 80 less a 40 mm circle; beside it there is nothing."""
    finished, _ = block_with_cored_bore()
    level = section_faces(finished, (0, 0, 25), UP)
    upright = section_faces(finished, ORIGIN, (0, 1, 0))
    areas = [sum(describe(face, 0).area for face in faces) for faces in (level, upright)]

    assert areas == pytest.approx([80 * 80 - math.pi * 400, 2 * 20 * 50])
    assert len(upright) == 2
    assert section_faces(finished, (0, 0, 60), UP) == []


def test_half_a_hole_cannot_be_filled() -> None:
    """Taking away a whole hole closes it; taking away an outside face of a block does not."""
    plate, _ = drilled_plate()
    wall = [f for f, s in zip(faces_of(plate.shape), plate.surfaces, strict=True) if s.kind == "cylinder" and s.radius == 4.5]
    outside = [f for f, s in zip(faces_of(plate.shape), plate.surfaces, strict=True) if s.normal == (1.0, 0.0, 0.0)]

    assert volume(defeature(plate, wall, "hole")) - plate.volume == pytest.approx(math.pi * 4.5**2 * 20)
    with pytest.raises(GeometryError, match="right end"):
        defeature(plate, outside, "right end")


def test_a_fillet_is_filled_back_to_its_corner() -> None:
    """The same call takes a root fillet out of an L: (1 - pi/4) r^2 per mm, metal gone."""
    angle = filleted_angle(6.0)
    fillet = [f for f, s in zip(faces_of(angle.shape), angle.surfaces, strict=True) if s.kind == "cylinder"]

    assert angle.volume - volume(defeature(angle, fillet, "fillet")) == pytest.approx((1 - math.pi / 4) * 36 * 40)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: box((0, 0, 0), (1, 0, 1)), "no volume"),
        (lambda: box((0, 0, 0), (1, math.nan, 1)), "no volume"),
        (lambda: cylinder(ORIGIN, UP, -1.0, 5.0), "radius of -1 mm"),
        (lambda: cylinder(ORIGIN, UP, 1.0, math.inf), "height of inf mm"),
        (lambda: cone(ORIGIN, UP, 2.0, 2.0, 5.0), "not a cone"),
        (lambda: prism([(0, 0, 0), (1, 0, 0)], (0, 0, 1)), "2 corners"),
        (lambda: prism([(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0.5)], (0, 0, 1)), "one plane"),
        (lambda: turned([(0, 0), (-1, 0), (0, 1)], ORIGIN, UP), "radius below 0"),
        (lambda: drill(ORIGIN, UP, 0.0, 5.0), "diameter of 0 mm"),
        (lambda: obround(ORIGIN, UP, (1, 0, 0), 5.0, 5.0, 1.0, 0.0), "straight_length of 0 mm"),
    ],
)
def test_a_body_that_cannot_be_is_refused(make: Callable[[], object], says: str) -> None:
    """Sizes of nothing, less than nothing and no number at all."""
    with pytest.raises(GeometryError, match=says):
        make()
