"""Declared features: the metal they remove, the surfaces they own, the order of patterns, what they refuse."""

import math
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.errors import GeometryError, StandardError
from geom.kernel.cut import box, common, cut, volume
from geom.kernel.shape import solid_from_shape
from geom.model.feature import Bore, Boss, Face, Feature, Hole, Slot, bore, hole
from geom.model.feature_shape import cutting_body, face_name, is_same_hole
from geom.model.hole_pattern import on_circle, on_rectangle
from geom.space import Vec3
from tests.catalogue import drilled_plate, filleted_angle

UP: Vec3 = (0.0, 0.0, 1.0)
DOWN: Vec3 = (0.0, 0.0, -1.0)
TOP: Vec3 = (0.0, 0.0, 20.0)
BLOCK = ((-50.0, -30.0, 0.0), (50.0, 30.0, 20.0))
REACH = 200.0


def removed(feature: Feature) -> float:
    """The metal a feature takes out of a 100 x 60 x 20 block whose top is z = 20, mm3."""
    block = box(*BLOCK)
    return volume(block) - volume(cut(block, cutting_body(feature, REACH)))


# --- hand-worked volumes ----------------------------------------------------


def test_a_through_hole_removes_a_cylinder_as_long_as_the_plate_is_thick() -> None:
    """Closed form: pi r^2 t."""
    assert removed(Hole("a", TOP, UP, 9.0)) == pytest.approx(math.pi * 4.5**2 * 20.0)


def test_a_blind_hole_is_deep_to_its_full_diameter_and_its_point_goes_further() -> None:
    """Closed form: a cylinder to the stated depth, then a cone of height r / tan(59 degrees) for a 118 degree point."""
    tip = 3.4 / math.tan(math.radians(59.0))

    assert removed(Hole("a", TOP, UP, 6.8, depth=12.0)) == pytest.approx(math.pi * 3.4**2 * (12.0 + tip / 3))
    assert removed(Hole("a", TOP, UP, 6.8, depth=12.0, point_angle=None)) == pytest.approx(math.pi * 3.4**2 * 12.0)


def test_a_counterbore_widens_the_mouth_to_its_own_depth() -> None:
    """Closed form: two cylinders, 18 x 10 and 11 x the rest of 20."""
    feature = Hole("a", TOP, UP, 11.0, counterbore=(18.0, 10.0))

    assert removed(feature) == pytest.approx(math.pi * (9.0**2 * 10.0 + 5.5**2 * 10.0))


def test_a_countersink_is_a_frustum_that_reaches_its_diameter_at_the_mouth() -> None:
    """Closed form: a 90 degree frustum from 12.6 to 6.6 is 3 deep; h/3 pi (R^2 + R r + r^2)."""
    feature = Hole("a", TOP, UP, 6.6, countersink=(12.6, 90.0))
    frustum = math.pi * 3.0 / 3 * (6.3**2 + 6.3 * 3.3 + 3.3**2)

    assert removed(feature) == pytest.approx(frustum + math.pi * 3.3**2 * 17.0)


def test_a_stepped_bore_is_a_stack_of_cylinders() -> None:
    """Closed form: 30 x 4, then 26 to 9 deep, then 20 to the end."""
    feature = Bore("a", TOP, UP, 20.0, steps=((30.0, 4.0), (26.0, 9.0)))

    assert removed(feature) == pytest.approx(math.pi * (15.0**2 * 4 + 13.0**2 * 5 + 10.0**2 * 11))


def test_a_slot_is_a_rectangle_with_two_half_rounds() -> None:
    """Closed form: an obround of length L and width w has area w (L - w) + pi w^2 / 4."""
    slot = Slot("a", TOP, UP, (1.0, 0.0, 0.0), 40.0, 12.0, depth=7.0)

    assert removed(slot) == pytest.approx((12.0 * 28.0 + math.pi * 36.0) * 7.0)
    assert removed(replace(slot, depth=None)) == pytest.approx((12.0 * 28.0 + math.pi * 36.0) * 20.0)


def test_a_face_takes_everything_above_it_or_only_its_patch() -> None:
    """Closed form: 5 mm off a 100 x 60 block, off a 20 mm disc, off a 30 x 10 patch."""
    at = (0.0, 0.0, 15.0)
    patch = tuple((x, y, 15.0) for x, y in ((0.0, 0.0), (30.0, 0.0), (30.0, 10.0), (0.0, 10.0)))

    assert removed(Face("a", at, UP)) == pytest.approx(100.0 * 60.0 * 5.0)
    assert removed(Face("a", at, UP, diameter=20.0)) == pytest.approx(math.pi * 100.0 * 5.0)
    assert removed(Face("a", at, UP, diameter=20)) == pytest.approx(math.pi * 100.0 * 5.0)
    assert removed(Face("a", at, UP, corners=patch)) == pytest.approx(30.0 * 10.0 * 5.0)


def test_a_boss_is_faced_a_quarter_wider_than_it_is_and_its_side_turned_to_its_height() -> None:
    """Closed form: a disc of 50 mm x 4 for a 40 mm boss; with a turned side, a ring 50/40 x 6 more."""
    end = (0.0, 0.0, 16.0)

    assert removed(Boss("a", end, UP, 40.0)) == pytest.approx(math.pi * 25.0**2 * 4.0)
    assert removed(Boss("a", end, UP, 40.0, height=6.0)) == pytest.approx(math.pi * (25.0**2 * 4.0 + (25.0**2 - 20.0**2) * 6.0))


def test_a_through_hole_told_where_to_end_leaves_the_far_wall_whole() -> None:
    """A grub-screw hole goes through one wall of a bore, not both: 8 of the 20 mm."""
    assert removed(Hole("a", TOP, UP, 6.0, until=8.0)) == pytest.approx(math.pi * 9.0 * 8.0)


# --- callouts ---------------------------------------------------------------


def test_a_callout_gives_the_hole_its_sizes() -> None:
    """ISO 273: M8 medium 9 mm; ISO 4762 with DIN 974-1: M10 head in an 18 mm counterbore (from memory)."""
    plain = hole("a", "clearance M8 medium", TOP, UP)
    sunk = hole("b", "counterbore for M10 socket head", TOP, (0.0, 0.0, 5.0), counterbore_depth=12.0)

    assert (plain.diameter, plain.through) == (9.0, True)
    assert (sunk.diameter, sunk.counterbore, sunk.axis) == (11.0, (18.0, 12.0), UP)
    assert sunk.callout is not None
    assert sunk.callout.text.startswith("counterbore for M10 socket head")


def test_an_inch_callout_drills_the_tap_drill_of_the_table() -> None:
    """3/8-16 takes a 5/16 drill (trade table in shared/reference/tap_drills_inch.csv): 7.9375 mm."""
    assert hole("a", "tapped 3/8-16 UNC", TOP, UP, depth=12.0, units="inch").diameter == pytest.approx(25.4 * 5 / 16)


def test_a_bore_keeps_its_core_and_its_limits() -> None:
    """ISO 286-2: 40 H7 is 40.000 to 40.025."""
    made = bore("a", "bored 40 H7", TOP, UP, core=33.0)

    assert (made.diameter, made.core) == (40.0, 33.0)
    assert made.callout is not None
    assert made.callout.limits == pytest.approx((40.0, 40.025))


# --- patterns ---------------------------------------------------------------


def test_a_bolt_circle_counts_counter_clockwise_from_x() -> None:
    """Trigonometry: three holes on a 160 mm circle stand at 0, 120 and 240 degrees."""
    first, second, third = on_circle(Hole("foot", TOP, UP, 11.0), 3, 160.0)

    assert [h.name for h in (first, second, third)] == ["foot 1", "foot 2", "foot 3"]
    assert first.centre == (80.0, 0.0, 20.0)
    assert second.centre == pytest.approx((-40.0, 80.0 * math.sqrt(3) / 2, 20.0))
    assert third.centre == pytest.approx((-40.0, -80.0 * math.sqrt(3) / 2, 20.0))


def test_holes_that_open_downwards_are_counted_as_seen_from_below() -> None:
    """Turned over about X, the machinist again goes counter-clockwise: number 2 of four is towards -Y."""
    _, second, _, _ = on_circle(Hole("a", (0.0, 0.0, 0.0), DOWN, 5.0), 4, 20.0)

    assert second.centre == pytest.approx((0.0, -10.0, 0.0))


def test_a_rectangle_starts_at_plus_x_plus_y_and_goes_counter_clockwise() -> None:
    """Read off a drawing: a 60 x 40 rectangle about (0, 0)."""
    centres = [h.centre[:2] for h in on_rectangle(Hole("a", TOP, UP, 5.0), 60.0, 40.0)]

    assert centres == [(30.0, 20.0), (-30.0, 20.0), (-30.0, -20.0), (30.0, -20.0)]


@settings(deadline=None, max_examples=25)
@given(count=st.integers(2, 12), diameter=st.floats(1, 500), start=st.floats(-360, 360))
def test_neighbours_on_a_bolt_circle_are_a_chord_apart(count: int, diameter: float, start: float) -> None:
    """Chord of a circle: D sin(180 / n), whatever the start angle."""
    holes = on_circle(Hole("a", TOP, UP, 0.5), count, diameter, start)
    chords = [math.dist(a.centre, b.centre) for a, b in zip(holes, (*holes[1:], holes[0]), strict=True)]

    assert chords == pytest.approx([diameter * math.sin(math.pi / count)] * count, abs=1e-6)


# --- which surfaces are its own ---------------------------------------------


def test_every_hole_of_a_plate_finds_its_own_surfaces_and_no_other() -> None:
    """The catalogue plate: walls, points and floors go to the hole that made them, the outside to none."""
    finished, _ = drilled_plate()
    features: list[Feature] = [
        Hole("through", (15.0, 15.0, 20.0), UP, 9.0),
        Hole("blind", (50.0, 15.0, 20.0), UP, 6.8, depth=14.0),
        Hole("sunk", (85.0, 15.0, 20.0), UP, 11.0, counterbore=(18.0, 10.5)),
        Hole("countersunk", (15.0, 45.0, 20.0), UP, 6.6, countersink=(12.6, 90.0)),
        Hole("flat", (50.0, 45.0, 20.0), UP, 10.0, depth=12.0, point_angle=None),
        Bore("stepped", (85.0, 45.0, 20.0), UP, 12.0, steps=((20.0, 8.0),)),
        Face("top", (50.0, 30.0, 20.0), UP),
    ]
    names = [name for s in finished.surfaces for f in features if (name := face_name(f, s))]

    assert Counter(names) == {
        "through": 1,
        "blind": 2,
        "sunk": 2,
        "sunk seat": 1,
        "countersunk": 2,
        "flat": 1,
        "flat seat": 1,
        "stepped": 2,
        "stepped seat": 1,
        "top": 1,
    }


def test_a_slot_owns_its_floor_and_all_its_walls() -> None:
    """An end mill leaves one floor, two flats and two half-rounds."""
    slot = Slot("key", TOP, UP, (1.0, 0.0, 0.0), 40.0, 12.0, depth=7.0)
    made = solid_from_shape(cut(box(*BLOCK), cutting_body(slot, REACH)), "slotted")

    assert sorted(filter(None, (face_name(slot, s) for s in made.surfaces))) == ["key floor", *["key wall"] * 4]


def test_a_boss_owns_its_end_and_the_side_it_turns() -> None:
    """A turned boss has a round face and a side; the floor the cutter leaves round it is nobody's."""
    boss = Boss("hub", (0.0, 0.0, 16.0), UP, 40.0, height=6.0)
    made = solid_from_shape(cut(box(*BLOCK), cutting_body(boss, REACH)), "bossed")

    assert sorted(filter(None, (face_name(boss, s) for s in made.surfaces))) == ["hub", "hub side"]


def test_a_patch_owns_only_the_face_inside_its_corners() -> None:
    """Two pads at one height: the feature names the one it cuts."""
    pads = box((-50.0, -30.0, 0.0), (50.0, 30.0, 15.0))
    corners = ((10.0, -30.0, 15.0), (50.0, -30.0, 15.0), (50.0, 30.0, 15.0), (10.0, 30.0, 15.0))
    slotted = solid_from_shape(cut(pads, box((-5.0, -40.0, 10.0), (5.0, 40.0, 20.0))), "pads")
    face = Face("right pad", (30.0, 0.0, 15.0), UP, corners=corners)
    own = [s for s in slotted.surfaces if face_name(face, s)]

    assert [s.centroid[0] for s in own] == pytest.approx([27.5])


def test_a_root_fillet_is_not_a_hole() -> None:
    """A hollow quarter round of the hole's own radius and axis direction, but off its axis."""
    feature = Hole("a", (0.0, 0.0, 0.0), (0.0, 1.0, 0.0), 12.0)

    assert not any(face_name(feature, s) for s in filleted_angle(6.0).surfaces)


def test_a_through_hole_is_the_same_from_either_side_and_a_blind_one_is_not() -> None:
    """A drill that comes through may have been put in from the other side."""
    through, blind = Hole("a", TOP, UP, 9.0), Hole("b", TOP, UP, 9.0, depth=10.0)

    assert is_same_hole(through, (0.0, 0.0, 0.0), DOWN, 9.0)
    assert not is_same_hole(blind, (0.0, 0.0, 0.0), DOWN, 9.0)
    assert is_same_hole(blind, (0.0, 0.0, 20.5), UP, 9.0)
    assert not is_same_hole(blind, (0.5, 0.0, 20.0), UP, 9.0)
    assert not is_same_hole(blind, TOP, UP, 9.5)


@settings(deadline=None, max_examples=15)
@given(diameter=st.floats(3, 20), depth=st.floats(1, 19), x=st.floats(-35, 35))
def test_moving_a_hole_moves_the_metal_it_takes(diameter: float, depth: float, x: float) -> None:
    """Law: the same hole anywhere inside the block takes the same metal."""
    at = Hole("a", (x, 0.0, 20.0), UP, diameter, depth=depth, point_angle=None)
    inside = common(box(*BLOCK), cutting_body(at, REACH))

    assert volume(inside) == pytest.approx(math.pi * diameter**2 / 4 * depth, rel=1e-6)


# --- refusals ---------------------------------------------------------------


@pytest.mark.parametrize("bad", [0.0, -3.0, math.nan, math.inf])
def test_a_size_that_cannot_be_is_refused_with_the_features_name(bad: float) -> None:
    """NaN, infinity, zero and negative sizes never reach the kernel."""
    with pytest.raises(GeometryError, match=r"'a'.* mm"):
        Hole("a", TOP, UP, bad)
    with pytest.raises(GeometryError, match=r"'b'.*depth"):
        Hole("b", TOP, UP, 5.0, depth=bad)


def test_an_axis_that_is_not_a_direction_is_refused() -> None:
    """A unit axis is asked for where it is not made one."""
    with pytest.raises(GeometryError, match="length 2"):
        Face("a", TOP, (0.0, 0.0, 2.0))
    with pytest.raises(GeometryError, match="finite"):
        Face("a", (math.nan, 0.0, 0.0), UP)
    with pytest.raises(GeometryError, match="square"):
        Slot("a", TOP, UP, UP, 20.0, 5.0)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Hole("a", TOP, UP, 11.0, counterbore=(10.0, 5.0)), "above 11 mm"),
        (lambda: Hole("a", TOP, UP, 11.0, depth=8.0, counterbore=(18.0, 8.0)), "shallower than 8 mm"),
        (lambda: Hole("a", TOP, UP, 5.0, depth=8.0, until=9.0), "give one"),
        (lambda: Hole("a", TOP, UP, 5.0, countersink=(9.0, 180.0)), "between 0 and 180"),
        (lambda: Bore("a", TOP, UP, 20.0, core=20.0), "core 20 mm"),
        (lambda: Bore("a", TOP, UP, 20.0, steps=((26.0, 4.0), (30.0, 9.0))), "above 30 mm"),
        (lambda: Face("a", TOP, UP, corners=((0.0, 0.0, 20.0), (1.0, 0.0, 20.0))), "at least three"),
        (lambda: Face("a", TOP, UP, corners=((0.0, 0.0, 20.0), (1.0, 0.0, 21.0), (0.0, 1.0, 20.0))), "off its plane"),
        (lambda: Slot("a", TOP, UP, (1.0, 0.0, 0.0), 5.0, 5.0), "above 5 mm"),
        (lambda: on_circle(Hole("a", TOP, UP, 5.0), 0, 50.0), "at least 1"),
        (lambda: Hole(" a", TOP, UP, 5.0), "blanks"),
        (lambda: hole("a", "clearance M8 medium", TOP, UP, counterbore_depth=4.0), "no counterbore"),
    ],
)
def test_a_feature_that_contradicts_itself_is_refused(make: Callable[[], object], says: str) -> None:
    """Each refusal names the feature and the limit."""
    with pytest.raises(GeometryError, match=says):
        make()


def test_a_callout_no_table_knows_is_refused_with_the_features_name() -> None:
    """A size outside the table lists what there is."""
    with pytest.raises(StandardError, match="foot"):
        hole("foot", "clearance M9 medium", TOP, UP)


def test_declaring_features_needs_no_kernel() -> None:
    """In a fresh interpreter: features are records; only cutting loads the kernel."""
    code = (
        "import sys, geom.model.feature, geom.model.feature_shape, geom.model.hole_pattern; "
        "print('OCP' in sys.modules, 'cadquery' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.split() == ["False", "False"]
