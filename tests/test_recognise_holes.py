"""Holes in single solids: what counts as one, which side it opens to, how deep it is.

Every size is the one the test cut, so the answers are closed form.
"""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.kernel.cut import box, cone, cut, cylinder, drill, fuse, mirrored, moved, obround, sphere, turned, turned_about
from geom.kernel.shape import solid_from_shape
from geom.kernel.topology import faces_of
from geom.model.part import PartHole
from geom.recognise.holes_found import find_holes
from tests import catalogue

UP = (0.0, 0.0, 1.0)
DOWN = (0.0, 0.0, -1.0)
OUT_X = (1.0, 0.0, 0.0)


def holes_in(shape: object) -> tuple[PartHole, ...]:
    return find_holes(solid_from_shape(shape, "part"))


def only(shape: object) -> PartHole:
    found = holes_in(shape)
    assert len(found) == 1, found
    return found[0]


def plate(*tools: object, thick: float = 20.0) -> object:
    return cut(box((-50.0, -50.0, 0.0), (50.0, 50.0, thick)), *tools)


# --- kinds and depths -------------------------------------------------------


def test_a_plate_with_a_hole_of_each_kind_lists_each_with_its_sizes():
    """Diameter, depth to full diameter, point, counterbore and countersink come out as cut."""
    finished, _ = catalogue.drilled_plate()

    found = {(h.centre[0], h.centre[1]): h for h in find_holes(finished)}

    assert {k: (h.kind, h.diameter, h.depth) for k, h in found.items()} == {
        (15.0, 15.0): ("through", 9.0, None),
        (50.0, 15.0): ("blind", 6.8, 14.0),
        (85.0, 15.0): ("counterbored", 11.0, None),
        (15.0, 45.0): ("countersunk", 6.6, None),
        (50.0, 45.0): ("blind", 10.0, 12.0),
        (85.0, 45.0): ("counterbored", 12.0, None),
    }
    assert all(h.axis == UP and h.centre[2] == 20.0 for h in found.values())
    blind, bored, sunk = found[50.0, 15.0], found[85.0, 15.0], found[15.0, 45.0]
    assert blind.point_angle == pytest.approx(118.0)
    assert blind.tip_depth == pytest.approx(14.0 + 3.4 / math.tan(math.radians(59.0)))
    assert bored.counterbore is not None
    assert (bored.counterbore.diameter, bored.counterbore.depth) == (18.0, 10.5)
    assert sunk.countersink is not None
    assert (sunk.countersink.diameter, sunk.countersink.angle) == pytest.approx((12.6, 90.0))
    assert found[50.0, 45.0].point_angle is None


def test_diameters_suggest_the_callouts_of_the_standards():
    """ISO 273 (1979) gives 9.0 mm as M8 medium clearance; ISO 2306 drills M8 with 6.8 mm; DIN 974-1 seats an M10 head in 18 mm."""
    finished, _ = catalogue.drilled_plate()

    best = {h.diameter: h.suggestions[0] for h in find_holes(finished)}

    assert best[9.0] == "clearance M8 medium"
    assert best[6.8] == "tapped M8"
    assert best[11.0] == "counterbore for M10 socket head"


def test_three_diameters_are_a_stepped_hole_with_every_length_listed():
    """A shaft seat of 40, 30 and 20 mm is bored in three lengths."""
    profile = [(0.0, 1.0), (0.0, -21.0), (10.0, -21.0), (10.0, -12.0), (15.0, -12.0), (15.0, -5.0), (20.0, -5.0), (20.0, 1.0)]

    hole = only(plate(turned(profile, (0.0, 0.0, 20.0), UP)))

    assert (hole.kind, hole.diameter, hole.through, hole.length) == ("stepped", 20.0, True, 20.0)
    assert [(s.start, s.end, s.start_diameter) for s in hole.steps] == [(0.0, 5.0, 40.0), (5.0, 12.0, 30.0), (12.0, 20.0, 20.0)]


def test_a_step_that_is_all_cone_is_stepped_and_not_counterbored():
    """A step drill leaves a cone between its diameters; a screw head cannot sit on it."""
    hole = only(plate(drill((0.0, 0.0, 20.0), UP, 12.0, 8.0, 118.0, 1.0), cylinder((0.0, 0.0, -1.0), UP, 3.0, 22.0)))

    assert (hole.kind, hole.diameter, hole.counterbore) == ("stepped", 6.0, None)


def test_a_broken_edge_does_not_make_a_hole_countersunk():
    """A 0.5 mm chamfer on a 10 mm hole is a broken edge, a 2 mm one takes a screw head; both are listed with their sizes."""
    broken = only(plate(cylinder((0.0, 0.0, -1.0), UP, 5.0, 22.0), cone((0.0, 0.0, 19.5), UP, 5.0, 6.0, 1.0)))
    sunk = only(plate(cylinder((0.0, 0.0, -1.0), UP, 5.0, 22.0), cone((0.0, 0.0, 18.0), UP, 5.0, 8.0, 3.0)))

    assert (broken.kind, broken.countersink and broken.countersink.diameter) == ("through", pytest.approx(11.0))
    assert (sunk.kind, sunk.countersink and sunk.countersink.diameter) == ("countersunk", pytest.approx(14.0))


def test_a_ball_ended_hole_has_a_tip_and_no_point():
    """A ball-nosed cutter of 10 mm stops 5 mm below the end of the full diameter."""
    hole = only(plate(cylinder((0.0, 0.0, 10.0), UP, 5.0, 12.0), sphere((0.0, 0.0, 10.0), 5.0)))

    assert (hole.kind, hole.depth, hole.point_angle) == ("blind", 10.0, None)
    assert hole.tip_depth == pytest.approx(15.0)
    assert len(hole.surfaces) == 2


def test_a_spotted_cone_is_a_hole_without_depth():
    """A centre-drilled mark, 4 mm wide and 90 degrees, has no full diameter to go down to."""
    hole = only(plate(cone((0.0, 0.0, 18.0), UP, 0.0, 3.0, 3.0)))

    assert (hole.kind, hole.diameter, hole.depth) == ("blind", pytest.approx(4.0), 0.0)
    assert (hole.tip_depth, hole.point_angle) == (pytest.approx(2.0), pytest.approx(90.0))


def test_a_taper_reamed_hole_has_its_small_end_as_diameter():
    """A through taper of 20 to 16 mm over 20 mm is one tapered hole, opening at its wide end."""
    hole = only(plate(cone((0.0, 0.0, 0.0), DOWN, 10.0, 10.1, 1.0), cone((0.0, 0.0, 0.0), UP, 10.0, 8.0, 20.0)))

    assert (hole.kind, hole.axis, hole.through) == ("through", DOWN, True)
    assert hole.diameter == pytest.approx(16.0)


# --- what is one hole -------------------------------------------------------


def halves(radius: float, low: float, high: float) -> object:
    """A cylinder fused from two half cylinders, so that its wall comes in two pieces."""
    whole = cylinder((0.0, 0.0, low), UP, radius, high - low)
    return cut(whole, box((-2 * radius, 0.0, low - 1), (2 * radius, 2 * radius, high + 1)))


def test_a_bore_written_as_two_halves_is_one():
    """Exporters split a full cylinder at its seams; the drill does not see them."""
    blank = box((-50.0, -50.0, 0.0), (50.0, 50.0, 20.0))
    near = halves(8.0, -1.0, 21.0)
    solid = solid_from_shape(cut(blank, near, mirrored(near, (0.0, 0.0, 0.0), (0.0, 1.0, 0.0))), "part")
    walls = [s for s in solid.surfaces if s.kind == "cylinder"]

    (hole,) = find_holes(solid)

    assert len(walls) == 2
    assert (hole.kind, hole.diameter, hole.length, len(hole.surfaces)) == ("through", 16.0, 20.0, 2)


def test_a_root_fillet_is_not_a_hole():
    """The quarter cylinder in an inside corner is hollow, and nobody drills it."""
    assert find_holes(catalogue.filleted_angle()) == ()


def test_slot_ends_and_pocket_corners_are_not_holes():
    """Half cylinders at the ends of a slot and quarter ones in a pocket's corners are milled."""
    slot = obround((0.0, 20.0, 20.0), UP, OUT_X, 40.0, 12.0, 30.0, 1.0)
    pocket = box((-20.0, -30.0, 10.0), (20.0, -10.0, 21.0))
    corners = [cylinder((x, y, 10.0), UP, 3.0, 11.0) for x in (-20.0, 20.0) for y in (-30.0, -10.0)]

    assert [h.diameter for h in holes_in(plate(slot, pocket))] == []
    assert all(h.diameter != 12.0 for h in holes_in(plate(slot, pocket, *corners)))


def test_the_outer_wall_of_a_ring_groove_is_not_a_hole():
    """A groove for a sealing ring has an all-round hollow wall with metal in its middle; a drill would take that out."""
    ring = cut(cylinder((0.0, 0.0, 15.0), UP, 30.0, 6.0), cylinder((0.0, 0.0, 14.0), UP, 25.0, 8.0))

    assert holes_in(plate(ring)) == ()


def test_a_boss_standing_in_a_round_pocket_keeps_the_pocket_from_being_drilled():
    """The pocket's wall shares its axis with the hole in the boss; only the hole is one."""
    ring = cut(cylinder((0.0, 0.0, 8.0), UP, 40.0, 13.0), cylinder((0.0, 0.0, 7.0), UP, 8.0, 10.0))

    hole = only(plate(ring, cylinder((0.0, 0.0, -1.0), UP, 3.0, 22.0)))

    assert (hole.kind, hole.diameter, hole.centre, hole.length) == ("through", 6.0, (0.0, 0.0, 17.0), 17.0)


def test_four_kidney_slots_on_one_circle_are_not_a_hole():
    """Their outer walls together reach five sixths of the way round one axis, and the middle is metal."""
    ring = cut(cylinder((0.0, 0.0, -1.0), UP, 30.0, 22.0), cylinder((0.0, 0.0, -2.0), UP, 22.0, 24.0))
    webs = [box((-4.0, -40.0, -3.0), (4.0, 40.0, 23.0)), box((-40.0, -4.0, -3.0), (40.0, 4.0, 23.0))]

    assert holes_in(plate(cut(ring, *webs))) == ()


def test_a_keyway_leaves_the_bore_a_bore():
    """A 6 mm keyway in a 20 mm bore takes a tenth of its wall away."""
    hole = only(plate(cylinder((0.0, 0.0, -1.0), UP, 10.0, 22.0), box((-3.0, 0.0, -1.0), (3.0, 12.5, 21.0))))

    assert (hole.kind, hole.diameter, hole.through) == ("through", 20.0, True)


def lugs(gap: float) -> object:
    """Two 10 mm lugs on a base, their inner faces `gap` apart; the base is 10 mm thick and 40 mm wide."""
    base = box((-10.0 - gap / 2, -20.0, 0.0), (10.0 + gap / 2, 20.0, 10.0))
    left = box((-10.0 - gap / 2, -20.0, 0.0), (-gap / 2, 20.0, 60.0))
    return fuse(base, left, box((gap / 2, -20.0, 0.0), (10.0 + gap / 2, 20.0, 60.0)))


def test_two_lugs_drilled_in_line_are_one_hole():
    """A 12 mm drill goes through both in one pass: one hole, its air between the lugs not listed as a length."""
    yoke = lugs(30.0)

    hole = only(cut(yoke, cylinder((-40.0, 0.0, 40.0), OUT_X, 6.0, 80.0)))

    assert (hole.kind, hole.diameter, hole.axis, hole.length) == ("through", 12.0, OUT_X, 50.0)
    assert [(s.start, s.end) for s in hole.steps] == [(0.0, 10.0), (40.0, 50.0)]
    assert len(hole.surfaces) == 2


def test_holes_too_far_apart_for_one_drill_are_two():
    """Two 6 mm holes 60 mm apart on one axis are ten diameters apart: each is drilled from its own outside."""
    found = holes_in(cut(lugs(60.0), cylinder((-60.0, 0.0, 40.0), OUT_X, 3.0, 120.0)))

    assert [(h.diameter, h.length, h.axis) for h in found] == [(6.0, 10.0, OUT_X), (6.0, 10.0, (-1.0, 0.0, 0.0))]


def test_a_clamp_lug_with_clearance_and_thread_is_one_stepped_hole():
    """Clearance 9 above the slit, tap drill 6.8 below it: one axis, made from the wide side."""
    clamp = cut(lugs(3.0), cylinder((0.0, 0.0, 40.0), OUT_X, 4.5, 40.0), cylinder((-40.0, 0.0, 40.0), OUT_X, 3.4, 41.0))

    hole = only(clamp)

    assert (hole.diameter, hole.axis, hole.length) == (6.8, OUT_X, 23.0)
    assert [s.start_diameter for s in hole.steps] == [9.0, 6.8]


def test_blind_holes_from_both_sides_on_one_axis_are_two():
    """Metal between them makes each its own, opening to its own side."""
    found = holes_in(plate(drill((0.0, 0.0, 20.0), UP, 8.0, 6.0, 118.0, 1.0), drill((0.0, 0.0, 0.0), DOWN, 8.0, 6.0, 118.0, 1.0)))

    assert [(h.kind, h.axis, h.depth) for h in found] == [("blind", UP, 6.0), ("blind", DOWN, 6.0)]


def test_a_bore_broken_by_a_cross_hole_stays_one():
    """A 20 mm cross hole cuts the 16 mm bore's wall in two."""
    block = box((-30.0, -30.0, -30.0), (30.0, 30.0, 30.0))
    tools = cylinder((0.0, 0.0, -31.0), UP, 8.0, 62.0), cylinder((-31.0, 0.0, 0.0), OUT_X, 10.0, 62.0)

    found = {h.diameter: h for h in holes_in(cut(block, *tools))}

    assert set(found) == {16.0, 20.0}
    assert (found[16.0].axis, found[16.0].length, found[16.0].kind) == (UP, 60.0, "through")
    assert (found[20.0].axis, found[20.0].length, found[20.0].kind) == (OUT_X, 60.0, "through")


def test_a_grub_screw_hole_ends_where_it_breaks_into_the_bore():
    """An 8 mm hole meets a 30 mm bore: the last of it is through at the bore's side, sqrt(15^2 - 4^2) mm from its axis."""
    block = cut(box((-30.0, -30.0, 0.0), (30.0, 30.0, 40.0)), cylinder((0.0, 0.0, -1.0), UP, 15.0, 42.0))

    found = {h.diameter: h for h in holes_in(cut(block, cylinder((0.0, 0.0, 20.0), OUT_X, 4.0, 31.0)))}

    grub = found[8.0]
    assert (grub.kind, grub.axis, grub.centre) == ("through", OUT_X, (30.0, 0.0, 20.0))
    assert grub.length == pytest.approx(30.0 - math.sqrt(15.0**2 - 4.0**2))
    assert found[30.0].length == 40.0


def test_a_drill_point_that_breaks_into_a_bore_keeps_its_depth_and_point():
    """The full diameter ends 1 mm short of the bore's wall and the point reaches into the bore: drilled to a depth, not through."""
    block = cut(box((-30.0, -30.0, 0.0), (30.0, 30.0, 40.0)), box((-5.0, -31.0, 10.0), (5.0, 31.0, 30.0)))

    hole = only(cut(block, drill((30.0, 0.0, 20.0), OUT_X, 8.0, 24.0, 118.0, 1.0)))

    assert (hole.kind, hole.axis, hole.centre, hole.depth) == ("blind", OUT_X, (30.0, 0.0, 20.0), 24.0)
    assert hole.point_angle == pytest.approx(118.0)
    assert hole.tip_depth == pytest.approx(24.0 + 4.0 / math.tan(math.radians(59.0)))


def test_a_relief_groove_inside_a_bore_stays_part_of_it():
    """A 24 mm groove for a ring in a 20 mm bore is one more length, not the end of the hole."""
    hole = only(plate(cylinder((0.0, 0.0, -1.0), UP, 10.0, 22.0), cylinder((0.0, 0.0, 8.0), UP, 12.0, 3.0)))

    assert (hole.kind, hole.diameter, hole.through) == ("through", 20.0, True)
    assert [s.start_diameter for s in hole.steps] == [20.0, 24.0, 20.0]


# --- which side it opens to -------------------------------------------------


def test_a_through_hole_opens_to_its_counterbored_side():
    """The spindle must face the counterbore, here from below."""
    hole = only(plate(cylinder((0.0, 0.0, -1.0), UP, 5.0, 22.0), cylinder((0.0, 0.0, -1.0), UP, 9.0, 7.0)))

    assert (hole.kind, hole.axis, hole.centre) == ("counterbored", DOWN, (0.0, 0.0, 0.0))
    assert hole.counterbore is not None
    assert (hole.counterbore.diameter, hole.counterbore.depth) == (18.0, 6.0)


def test_a_hole_counterbored_from_both_sides_is_made_from_both():
    """The through length belongs to the first; the far mouth is a hole of its own that names it as its pilot."""
    near, far = holes_in(
        plate(
            cylinder((0.0, 0.0, -1.0), UP, 5.0, 22.0),
            cylinder((0.0, 0.0, 14.0), UP, 9.0, 7.0),
            cylinder((0.0, 0.0, -1.0), UP, 9.0, 5.0),
        )
    )

    assert (near.axis, near.kind, near.counterbore and near.counterbore.depth, near.pilot) == (UP, "counterbored", 6.0, None)
    assert (far.axis, far.kind, far.counterbore and far.counterbore.depth, far.pilot) == (DOWN, "counterbored", 4.0, near.name)
    assert near.diameter == far.diameter == 10.0
    assert not set(near.surfaces) & set(far.surfaces)
    assert len(near.surfaces) == 3
    assert len(far.surfaces) == 2


def test_breaking_both_edges_makes_no_second_hole():
    """A 0.4 mm chamfer at the far edge belongs to the hole."""
    tools = (
        cylinder((0.0, 0.0, -1.0), UP, 5.0, 22.0),
        cone((0.0, 0.0, 19.6), UP, 5.0, 5.8, 0.8),
        cone((0.0, 0.0, 0.4), DOWN, 5.0, 5.8, 0.8),
    )

    hole = only(plate(*tools))

    assert (hole.kind, hole.axis, len(hole.surfaces)) == ("through", UP, 3)


def test_a_plain_through_hole_opens_to_the_machined_side():
    """Of two ends alike the one on a machined face is drilled from; with neither, the upper."""
    solid = solid_from_shape(plate(cylinder((0.0, 0.0, -1.0), UP, 5.0, 22.0)), "part")
    bottom = next(s.index for s in solid.surfaces if s.kind == "plane" and s.normal == DOWN)

    assert find_holes(solid)[0].axis == UP
    assert find_holes(solid, is_machined=lambda i: i == bottom)[0].axis == DOWN


def test_a_hole_into_a_bore_opens_where_a_spindle_can_come():
    """An oil hole through the wall of a tube is drilled from outside: from inside, the other wall stands in the way."""
    tube = cut(cylinder((0.0, 0.0, 0.0), UP, 30.0, 50.0), cylinder((0.0, 0.0, -1.0), UP, 20.0, 52.0))

    found = {h.diameter: h for h in holes_in(cut(tube, cylinder((0.0, 0.0, 25.0), (0.0, -1.0, 0.0), 4.0, 40.0)))}

    assert (found[8.0].axis, found[8.0].centre) == ((0.0, -1.0, 0.0), (0.0, -30.0, 25.0))
    assert found[8.0].length == pytest.approx(30.0 - math.sqrt(20.0**2 - 4.0**2))


def test_rounded_rims_count_into_the_length():
    """A through hole with both edges rounded 2 mm is as long as the plate is thick."""
    rims = [cut(cylinder((0.0, 0.0, z), UP, 7.0, 2.0), _ring(7.0, 2.0, z + (0.0 if z else 2.0))) for z in (18.0, 0.0)]

    hole = only(plate(cylinder((0.0, 0.0, -1.0), UP, 5.0, 22.0), *rims))

    assert (hole.kind, hole.length, hole.centre, len(hole.surfaces)) == ("through", 20.0, (0.0, 0.0, 20.0), 3)


def test_an_inclined_mouth_opens_where_the_axis_meets_the_slope():
    """An upright hole in a 30 degree slope: its centre is on the slope, its depth counts from there."""
    ramp = cut(box((-20.0, -20.0, 0.0), (20.0, 20.0, 40.0)), slope(math.radians(30.0)))

    hole = only(cut(ramp, drill((0.0, 0.0, 30.0), UP, 8.0, 20.0, 118.0, 30.0)))

    assert hole.centre == pytest.approx((0.0, 0.0, 30.0))
    assert (hole.kind, hole.depth) == ("blind", pytest.approx(20.0))


def slope(turn: float) -> object:
    """Everything above a plane through (0, 0, 30) that falls towards +X."""
    a, b = 30.0 + 40.0 * math.tan(turn), 30.0 - 40.0 * math.tan(turn)
    outline = [(-40.0, -30.0, a), (40.0, -30.0, b), (40.0, -30.0, 90.0), (-40.0, -30.0, 90.0)]
    from geom.kernel.cut import prism

    return prism(outline, (0.0, 60.0, 0.0))


def test_a_radial_hole_opens_at_the_crest_of_the_boss():
    """Depth counts from where the drill first touches: the top of the round, not the edge of the mouth."""
    shaft = cylinder((0.0, -30.0, 0.0), (0.0, 1.0, 0.0), 20.0, 60.0)

    hole = only(cut(shaft, drill((0.0, 0.0, 20.0), UP, 10.0, 12.0, 118.0, 5.0)))

    assert hole.centre == pytest.approx((0.0, 0.0, 20.0))
    assert hole.depth == pytest.approx(12.0)


# --- laws -------------------------------------------------------------------


def test_moving_the_part_moves_its_holes():
    """Nothing but places changes when the part is moved."""
    finished, _ = catalogue.drilled_plate()
    shifted = solid_from_shape(moved(finished, (7.0, -3.0, 11.0)), "moved")

    for a, b in zip(find_holes(finished), find_holes(shifted), strict=True):
        assert b.centre == pytest.approx(tuple(c + d for c, d in zip(a.centre, (7.0, -3.0, 11.0), strict=True)))
        assert (a.name, a.kind, a.diameter, a.depth, a.axis) == (b.name, b.kind, b.diameter, b.depth, b.axis)


@settings(max_examples=10, deadline=None)
@given(st.floats(-180.0, 180.0), st.tuples(*[st.floats(-1.0, 1.0)] * 3).filter(lambda a: math.hypot(*a) > 0.1))
def test_turning_the_part_any_way_changes_no_size(degrees: float, axis: tuple[float, float, float]):
    """Holes on inclined axes have the same kinds, diameters and depths as upright ones."""
    leaning = solid_from_shape(turned_about(PLATE, (0.0, 0.0, 0.0), axis, degrees), "leaning")

    assert sizes(find_holes(leaning)) == sizes(find_holes(PLATE))


PLATE, _ = catalogue.drilled_plate()


def sizes(holes: tuple[PartHole, ...]) -> list[tuple[object, ...]]:
    """Kinds and sizes; a plain through hole has no side of its own."""
    return sorted(
        (h.kind, round(h.diameter, 5), round(h.depth or 0.0, 5), round(h.length, 5), round(h.tip_depth or 0.0, 5)) for h in holes
    )


def test_every_hole_face_belongs_to_one_hole():
    """No surface is listed twice, whatever the part."""
    finished, _ = catalogue.drilled_plate()

    listed = [i for h in find_holes(finished) for i in h.surfaces]

    assert len(listed) == len(set(listed)) == len(faces_of(finished.shape)) - 6


def test_a_filleted_floor_counts_as_depth():
    """A pocket bored with a 2 mm corner radius is as deep as its floor, and blind."""
    profile = [(0.0, 1.0), (0.0, -12.0), (8.0, -12.0), (10.0, -10.0), (10.0, 1.0)]
    body = solid_from_shape(cut(plate(), rounded(profile)), "part")

    (hole,) = find_holes(body)

    assert (hole.kind, hole.diameter, hole.depth, hole.tip_depth) == ("blind", 20.0, 12.0, None)
    assert len(hole.surfaces) == 3


def rounded(profile: list[tuple[float, float]]) -> object:
    """The turned profile with a ball-shaped ring in place of its slanted corner: a cutter with a corner radius."""
    (_, top), (_, floor), (flat, _), (radius, side), _ = profile
    core = cylinder((0.0, 0.0, 20.0 + floor), UP, flat, top - floor)
    wall = cylinder((0.0, 0.0, 20.0 + side), UP, radius, top - side)
    return fuse(core, wall, _ring(flat, radius - flat, 20.0 + side))


def _ring(radius: float, tube: float, height: float) -> object:
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeTorus
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    return BRepPrimAPI_MakeTorus(gp_Ax2(gp_Pnt(0, 0, height), gp_Dir(0, 0, 1)), radius, tube).Shape()


def test_a_filleted_counterbore_is_as_deep_as_its_floor():
    """The screw head sits on the floor, 6 mm down, not where the fillet begins."""
    profile = [(0.0, 1.0), (0.0, -6.0), (8.0, -6.0), (9.0, -5.0), (9.0, 1.0)]

    hole = only(cut(plate(), rounded(profile), cylinder((0.0, 0.0, -1.0), UP, 5.0, 22.0)))

    assert (hole.kind, hole.counterbore and hole.counterbore.depth) == ("counterbored", 6.0)
