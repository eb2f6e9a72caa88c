"""Rows: what the machinist drives to, worked by hand and by trigonometry."""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from itertools import combinations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from geom.directions import distinct, fewest
from geom.kernel.cut import box, cut, cylinder, prism, turned_about
from geom.kernel.shape import Solid, solid_from_shape
from geom.kernel.step import read_step
from geom.model.part import PartHole
from geom.recognise.part import recognise
from geom.rows.records import Row, Setup, Tool
from geom.settings.records import FaceSettings, ShopSettings
from geom.space import WORLD, Frame, Vec3, frame_facing
from geom.tasks.hole_order import ordered
from geom.tasks.hole_rows import hole_rows
from geom.tasks.mouth_rows import unmade
from geom.tasks.practice import practice
from geom.tolerance import SAME_AXIS
from tests.catalogue import block_in_block, block_with_cored_bore, bolt_circle_cover, cross_drilled_block
from tests.direction_setups import setups_by_direction
from tests.hand_parts import hand_hole, hand_part, hand_settings, hand_zero

MM = practice(hand_settings())
INCH = practice(hand_settings("inch"))
POINT_118 = 0.5 / math.tan(math.radians(59.0))
"""Length of a 118 degree point per diameter: 0.300, the shop's rule of 0.3 times the drill (common practice)."""


def drives(rows: Sequence[Row]) -> list[tuple[str, str, float | None]]:
    """Return action, tool and Z of each row."""
    return [(row.action, row.tool.label or f"{row.tool.diameter:g}", None if row.z is None else round(row.z, 4)) for row in rows]


def made(hole: PartHole, use=MM, angle: float | None = None) -> tuple[Row, ...]:
    """Return a hole's rows in the part frame itself."""
    return hole_rows(hole, WORLD, use, angle)


# --- one hole ---------------------------------------------------------------


def test_point_of_a_118_degree_drill_is_three_tenths_of_it():
    """0.5 / tan 59 = 0.3004."""
    assert Tool("drill", "10 mm", 10.0, 118.0).point_length == pytest.approx(3.0043, abs=1e-4)
    assert Tool("end mill", "", 10.0).point_length == 0.0


def test_a_blind_tap_hole_is_spotted_drilled_and_tapped():
    """M8: drill 6.8 to 20 full diameter, tip 0.3004 x 6.8 = 2.043 lower; the tap stops one pitch (1.25) short."""
    rows = made(hand_hole("a", 6.8, (0.0, 0.0, 0.0), depth=20.0, angle=118.0, tip=22.043, callout="tapped M8"))

    assert drives(rows) == [("spot", "10", -3.06), ("drill", "6.8 mm", -22.0429), ("tap", "M8", -18.75)]
    assert rows[1].z_full == pytest.approx(-20.0, abs=1e-9)
    assert rows[1].note == "tapped M8"


def test_a_through_hole_gives_the_far_side_a_whole_diameter():
    """9 through 15: full diameter 1 past the far side, tip 2.704 more."""
    (spot, drill) = made(hand_hole("a", 9.0, (3.0, 4.0, 5.0), through=15.0, suggestions=("clearance M8 medium",)))

    assert (spot.x, spot.y, spot.z) == (3.0, 4.0, pytest.approx(5.0 - 0.5 * 0.9 * 9.0))
    assert (drill.z_full, drill.z) == (pytest.approx(-11.0), pytest.approx(-11.0 - 9.0 * POINT_118))
    assert drill.note == "fits clearance M8 medium; through"


def test_an_inch_hole_names_its_drill_as_the_shop_does():
    """3/8-16 UNC at 75 % takes a 5/16 drill (ASME B1.1 tap-drill tables); a plain 5.105 is a no. 7; breakthrough 0.05 in."""
    tapped = made(hand_hole("a", 7.9375, (0.0, 0.0, 0.0), through=25.4, callout="tapped 3/8-16 UNC", units="inch"), INCH)
    plain = made(hand_hole("b", 5.105, (0.0, 0.0, 0.0), through=12.7), INCH)

    assert [row.tool.label for row in tapped] == ["", "5/16", "3/8-16 UNC"]
    assert tapped[1].z_full == pytest.approx(-1.05 * 25.4)
    assert plain[1].tool.label == "no. 7"


def test_a_counterbored_hole_for_a_cap_screw():
    """M10 socket head: 11 through, 18 wide 10.5 deep (DIN 974-1); order spot, drill, counterbore."""
    rows = made(hand_hole("a", 11.0, (0.0, 0.0, 20.0), through=20.0, bore=(18.0, 10.5)))

    assert drives(rows) == [("spot", "10", 15.05), ("drill", "11 mm", round(-1 - 11 * POINT_118, 4)), ("counterbore", "18", 9.5)]


def test_a_countersink_goes_to_its_diameter_at_the_mouth():
    """90 degrees to 12.6: its sharp tip is 6.3 below the mouth."""
    sunk = made(hand_hole("a", 6.6, (0.0, 0.0, 20.0), through=20.0, sink=(12.6, 90.0)))[-1]

    assert (sunk.action, sunk.z, sunk.z_full) == ("countersink", pytest.approx(13.7), pytest.approx(20.0))
    assert (sunk.tool.diameter, sunk.tool.point_angle) == (pytest.approx(12.6), 90.0)


def test_a_reamed_hole_is_drilled_smaller_and_reamed_to_its_limits():
    """10 H7 is 10.000 to 10.015 (ISO 286); drilled 9.8."""
    rows = made(hand_hole("a", 10.0, (0.0, 0.0, 0.0), depth=18.0, angle=118.0, tip=21.004, callout="reamed 10 H7"))

    assert [(row.action, row.tool.label) for row in rows] == [("spot", ""), ("drill", "9.8 mm"), ("ream", "10 H7")]
    assert rows[2].limits == pytest.approx((10.0, 10.015))
    assert rows[2].z == -18.0
    assert rows[1].z == pytest.approx(-18.0 - 10.0 * POINT_118)  # the drawn tip: the smaller drill's cone lies inside the drawn one


def test_a_cored_bore_is_bored_not_drilled():
    """40 H7 through 50 from a core: one boring row to 40.000 - 40.025, 1 past the far side."""
    (row,) = made(hand_hole("bore 1", 40.0, (0.0, 0.0, 50.0), through=50.0, source="core", callout="bored 40 H7"))

    assert (row.action, row.tool.kind, row.tool.diameter, row.z) == ("bore", "boring head", 40.0, -1.0)
    assert row.limits == pytest.approx((40.0, 40.025))


def test_a_wide_hole_from_solid_is_drilled_to_less_and_bored():
    """30 mm is past the drills of a small shop: drill 25, bore 30."""
    assert [(r.action, r.tool.diameter) for r in made(hand_hole("a", 30.0, (0.0, 0.0, 0.0), through=10.0))] == [
        ("spot", 10.0),
        ("drill", 25.0),
        ("bore", 30.0),
    ]


def test_a_flat_floor_is_finished_by_a_flat_drill():
    """10 x 12 deep, flat: the drill's tip stops on the floor, so its point does not cut below; a flat drill squares it."""
    rows = made(hand_hole("a", 10.0, (0.0, 0.0, 20.0), depth=12.0))

    assert drives(rows)[1:] == [("drill", "10 mm", 8.0), ("flatten", "10 mm", 8.0)]


def test_a_shallow_flat_recess_is_plunged():
    """20 wide, 3 deep: a drill's point would be 6 long, so there is nothing to drill."""
    (row,) = made(hand_hole("a", 20.0, (0.0, 0.0, 0.0), depth=3.0))

    assert (row.action, row.tool.kind, row.z) == ("counterbore", "end mill", -3.0)


def test_no_cutter_goes_into_the_metal_beyond_a_through_hole():
    """9 through 15 with a wall 3 beyond: tip and boring bar stop 0.5 off it, so the tip is 2.5 past, not 3.7."""
    hole = hand_hole("a", 9.0, (0.0, 0.0, 0.0), through=15.0)
    drill = hole_rows(hole, WORLD, MM, room=3.0)[1]
    free = hole_rows(hole, WORLD, MM, room=30.0)[1]

    assert (drill.z, drill.z_full) == (-17.5, pytest.approx(-17.5 + 9.0 * POINT_118))
    assert "metal below" in drill.note
    assert free.z == pytest.approx(-16.0 - 9.0 * POINT_118)


def test_a_lug_drilled_over_a_web_is_not_drilled_into_it():
    """A fork with 4 between lug and web: the drill for the upper lug stops 0.5 above the web."""
    body = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), box((20.0, -1.0, 16.0), (61.0, 41.0, 20.0)))
    body = cut(body, cylinder((40.0, 20.0, 18.0), (0.0, 0.0, 1.0), 4.5, 20.0))
    pair = solid_from_shape(body, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (63.0, 43.0, 33.0)), "casting")
    part = hand_part(pair, [hand_hole("lug", 9.0, (40.0, 20.0, 30.0), through=10.0)])
    (drill,) = rows_of(setups_by_direction(part, hand_zero((0.0, 0.0, 30.0)), hand_settings()), "drill")

    assert drill.z == pytest.approx(-13.5)


def test_steps_are_made_from_the_narrowest_out():
    """12 through with 20 x 8 and 30 x 2 above it: drill 12, counterbore both."""
    steps = [(0.0, 2.0, 30.0, 30.0), (2.0, 8.0, 20.0, 20.0), (8.0, 20.0, 12.0, 12.0)]
    rows = made(hand_hole("a", 12.0, (0.0, 0.0, 0.0), through=20.0, steps=steps))

    assert [(r.action, r.tool.diameter, r.z) for r in rows[2:]] == [("counterbore", 30.0, -2.0), ("counterbore", 20.0, -8.0)]


def test_a_mouth_that_ends_in_a_drill_point_is_drilled():
    """12 x 6 deep with a 118 degree shoulder down to 8: a 12 drill to 6 full diameter."""
    shoulder = (12.0 - 8.0) * POINT_118
    steps = [(0.0, 6.0, 12.0, 12.0), (6.0, 6.0 + shoulder, 12.0, 8.0), (6.0 + shoulder, 20.0, 8.0, 8.0)]
    rows = made(hand_hole("a", 8.0, (0.0, 0.0, 0.0), through=20.0, steps=steps))

    assert [r.action for r in rows] == ["spot", "drill", "drill"]
    assert (rows[2].z_full, rows[2].tool.point_angle) == (-6.0, pytest.approx(118.0))


def test_a_far_mouth_is_cut_after_its_pilot():
    """A counterbore on the far side of a through hole: only the counterbore, and it says after which hole."""
    (row,) = made(hand_hole("hole 2", 9.0, (0.0, 0.0, 0.0), through=20.0, bore=(15.0, 9.0), pilot="hole 1"))

    assert (row.action, row.z, row.note) == ("counterbore", -9.0, "after hole 1 is through")


def test_a_shallow_pointed_hole_is_spotted_shallower():
    """10 mm, 0.5 deep with a 118 degree point (tip 3.5): a spot 4.5 deep would go through its floor; it stops half-way."""
    spot = made(hand_hole("a", 10.0, (0.0, 0.0, 0.0), depth=0.5, angle=118.0, tip=3.504))[0]

    assert spot.z == pytest.approx(-0.5 * (0.5 + 10.0 * POINT_118))


def test_tapers_and_undercuts_get_no_row_but_a_reason():
    """A 10 degree taper wants a taper reamer; a groove wider than the hole above it wants a cutter that reaches under."""
    taper = [(0.0, 10.0, 14.0, 14.0 - 20.0 * math.tan(math.radians(5.0))), (10.0, 20.0, 12.2502, 12.2502)]
    groove = [(0.0, 8.0, 20.0, 20.0), (8.0, 10.0, 24.0, 24.0), (10.0, 20.0, 20.0, 20.0)]
    tapered, grooved = (hand_hole("a", d, (0.0, 0.0, 0.0), through=20.0, steps=s) for d, s in ((12.2502, taper), (20.0, groove)))

    assert [row.action for row in made(tapered)] == ["spot", "drill"]
    assert unmade(tapered) == ("its taper needs a taper reamer",)
    assert [row.action for row in made(grooved)] == ["spot", "drill"]
    assert "groove or undercut" in unmade(grooved)[0]


def test_a_dimple_is_a_countersink_by_its_diameter():
    """A drill's point and no more: 6 wide, 118 degrees."""
    (row,) = made(hand_hole("a", 6.0, (0.0, 0.0, 0.0), depth=0.0, angle=118.0, tip=1.803))

    assert (row.action, row.z) == ("countersink", pytest.approx(-6.0 * POINT_118))


def test_the_job_may_state_the_point_of_a_drill():
    """A 135 degree point is shorter: 0.2071 of the diameter."""
    drill = made(hand_hole("a", 10.0, (0.0, 0.0, 0.0), through=10.0), angle=135.0)[1]

    assert drill.z == pytest.approx(-11.0 - 2.0711, abs=1e-4)


def test_a_plain_through_hole_can_be_drilled_from_its_far_side():
    """Seen from below the mouth is the far end, as deep from there, and the row says so."""
    hole = hand_hole("a", 9.0, (3.0, 4.0, 15.0), through=15.0)
    below = frame_facing((0.0, 0.0, 0.0), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0))
    drill = hole_rows(hole, below, MM)[1]

    assert (drill.x, drill.y, drill.z_full) == (3.0, -4.0, pytest.approx(-16.0))
    assert "from its far side" in drill.note


@given(
    diameter=st.floats(1.0, 24.0),
    depth=st.floats(30.0, 90.0),
    angle=st.sampled_from([90.0, 118.0, 120.0, 135.0]),
)
def test_no_row_of_a_blind_hole_cuts_outside_it(diameter, depth, angle):
    """Spot and drill stay inside the drawn cylinder and its drawn point."""
    tip = depth + 0.5 * diameter / math.tan(math.radians(angle / 2))
    for row in made(hand_hole("a", diameter, (0.0, 0.0, 0.0), depth=depth, angle=angle, tip=tip)):
        assert row.z is not None
        assert -row.z <= tip + 1e-9
        at_mouth = 2.0 * -row.z * math.tan(math.radians((row.tool.point_angle or 180.0) / 2.0))
        assert min(row.tool.diameter, at_mouth) <= diameter + 0.0101  # a stock drill within 0.01 of the hole is its drill


# --- patterns ---------------------------------------------------------------


def circle_of(count: int, radius: float, start: float, centre: tuple[float, float], shuffle: Sequence[int] = ()) -> list[PartHole]:
    """Return holes at equal turns, degrees from +X, named by their place, in some order."""
    at = [math.radians(start + 360.0 * i / count) for i in range(count)]
    holes = [
        hand_hole(f"h{i}", 9.0, (centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a), 0.0), through=15.0)
        for i, a in enumerate(at)
    ]
    return [holes[i] for i in shuffle] if shuffle else holes


def test_a_bolt_circle_runs_counter_clockwise_from_plus_x():
    """Six on a 90 circle, given in any order: 45 cos 60 = 22.5, 45 sin 60 = 38.971."""
    order, (pattern,) = ordered(circle_of(6, 45.0, 0.0, (0.0, 0.0), (4, 1, 0, 2, 5, 3)), WORLD, [(0.0, 0.0)])

    assert [hole.name for hole in order] == ["h0", "h1", "h2", "h3", "h4", "h5"]
    assert order[1].centre[:2] == pytest.approx((22.5, 38.97114317))
    assert (pattern.name, pattern.size) == ("circle 1", (pytest.approx(90.0),))


@given(
    count=st.integers(3, 12).filter(lambda n: n != 4),
    radius=st.floats(10.0, 300.0),
    start=st.floats(0.0, 359.0),
    centre=st.tuples(st.floats(-200, 200), st.floats(-200, 200)),
    data=st.data(),
)
def test_any_even_circle_is_found_and_numbered_by_its_angle(count, radius, start, centre, data):
    """Whatever order the file lists them in, angles from +X grow along the numbering (trigonometry)."""
    holes = circle_of(count, radius, start, centre, data.draw(st.permutations(range(count))))
    order, patterns = ordered(holes, WORLD, [])
    angles = [math.degrees(math.atan2(h.centre[1] - centre[1], h.centre[0] - centre[0])) % 360.0 for h in order]
    below = [math.radians(360.0 - a) * radius for a in angles]  # how far below +X a hole stands, mm along the circle
    assume(all(abs(gap - SAME_AXIS) > 1e-6 for gap in below))
    angles = [0.0 if gap <= SAME_AXIS else a for a, gap in zip(angles, below, strict=True)]

    assert [p.kind for p in patterns] == ["circle"]
    assert patterns[0].centre == pytest.approx(centre, abs=1e-6)
    assert angles == sorted(angles)


def test_an_uneven_circle_about_a_bore_is_still_a_circle():
    """Three holes at 0, 100 and 200 degrees round the zero."""
    at = [math.radians(a) for a in (200.0, 0.0, 100.0)]
    holes = [hand_hole(f"h{i}", 9.0, (30 * math.cos(a), 30 * math.sin(a), 0.0), through=5.0) for i, a in enumerate(at)]

    order, patterns = ordered(holes, WORLD, [(0.0, 0.0)])

    assert [h.name for h in order] == ["h1", "h2", "h0"]
    assert patterns[0].kind == "circle"


def grid_of(columns: int, rows: int, dx: float, dy: float, turn: float) -> list[PartHole]:
    """Return a grid about the origin, turned, named by column and row from the near left."""
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    places = {f"c{i}r{j}": ((i - (columns - 1) / 2) * dx, (j - (rows - 1) / 2) * dy) for j in range(rows) for i in range(columns)}
    return [hand_hole(name, 6.0, (c * x - s * y, s * x + c * y, 0.0), through=5.0) for name, (x, y) in places.items()]


@given(columns=st.integers(2, 5), rows=st.integers(2, 4), turn=st.floats(-44.0, 44.0), data=st.data())
def test_a_rectangle_reads_left_to_right_nearest_row_first(columns, rows, turn, data):
    """Also when it is turned, and in whatever order the file lists it."""
    holes = grid_of(columns, rows, 40.0, 25.0, turn)
    order, (pattern,) = ordered(data.draw(st.permutations(holes)), WORLD, [(0.0, 0.0)])

    assert [hole.name for hole in order] == [hole.name for hole in holes]
    assert pattern.kind == "rectangle"
    assert pattern.size == pytest.approx((40.0 * (columns - 1), 25.0 * (rows - 1)))


def test_four_holes_on_a_square_about_the_bore_are_a_bolt_circle():
    """Elsewhere a square is a rectangle."""
    holes = grid_of(2, 2, 40.0, 40.0, 0.0)

    assert ordered(holes, WORLD, [(0.0, 0.0)])[1][0].kind == "circle"
    assert ordered(holes, WORLD, [(7.0, 0.0)])[1][0].kind == "rectangle"


def test_two_circles_of_like_holes_are_told_apart():
    """Four on 60 and six on 100 about the zero: two patterns, each whole."""
    holes = [*circle_of(4, 30.0, 45.0, (0.0, 0.0)), *circle_of(6, 50.0, 0.0, (0.0, 0.0))]
    holes = [replace(hole, name=f"n{i}") for i, hole in enumerate(holes)]

    assert sorted(len(p.holes) for p in ordered(holes, WORLD, [(0.0, 0.0)])[1]) == [4, 6]


def test_holes_of_another_size_are_another_pattern():
    """An 8 mm dowel hole on the same circle as five 9 mm holes is not one of them."""
    holes = circle_of(6, 45.0, 0.0, (0.0, 0.0))
    order, patterns = ordered([replace(holes[0], diameter=8.0), *holes[1:]], WORLD, [(0.0, 0.0)])

    assert order[0].name == "h0"
    assert patterns[0].holes == ("h1", "h2", "h3", "h4", "h5")


# --- faces and edges --------------------------------------------------------


def rows_of(setups: Sequence[Setup], action: str) -> list[Row]:
    """Return the rows of one action, set-up by set-up."""
    return [row for setup in setups for row in setup.rows if row.action == action]


def ends(row: Row) -> tuple[float, float, float, float]:
    """Return where an edge move starts and ends: x, y, x, y."""
    assert row.x is not None
    assert row.y is not None
    return row.x, row.y, row.x if row.x_to is None else row.x_to, row.y if row.y_to is None else row.y_to


def test_edges_of_a_block_give_the_cutter_centre():
    """60 x 40 x 30 about its middle, 12 mm cutter: 30 + 6 = 36 and 20 + 6 = 26; ends 5 clear: 36 + 5 = 41, 26 + 5 = 31."""
    (setup, below) = setups_by_direction(hand_part(block_in_block()), hand_zero((30.0, 20.0, 30.0)), hand_settings())

    assert [ends(row) for row in rows_of([setup], "edge")] == [
        pytest.approx(e) for e in [(36, -31, 36, 31), (41, 26, -41, 26), (-36, 31, -36, -31), (-41, -26, 41, -26)]
    ]
    assert {row.z for row in rows_of([setup], "edge")} == {-30.0}
    assert [row.z for row in rows_of([setup], "face")] == [0.0]
    assert [row.z for row in rows_of([below], "face")] == [30.0]


def test_only_the_driven_axis_has_an_end():
    """A face square to X is one X and two Ys."""
    (setup, _) = setups_by_direction(hand_part(block_in_block()), hand_zero((30.0, 20.0, 30.0)), hand_settings())
    first = rows_of([setup], "edge")[0]

    assert (first.x_to, first.y_to) == (None, pytest.approx(31.0))


def test_what_is_left_for_finishing_moves_the_cutter_away():
    """0.2 on the edges by [shop], 0.5 on one face by name, 0.1 on top: 36.2, 36.5 and Z 0.1; the foot is not lifted."""
    part = hand_part(block_in_block())
    right = next(f.name for f in part.faces if f.normal == (1.0, 0.0, 0.0))
    top = next(f.name for f in part.faces if f.normal == (0.0, 0.0, 1.0))
    left = [FaceSettings(leave=0.5), FaceSettings(leave=0.1)]
    asked = hand_settings(shop=ShopSettings(leave=0.2), faces=dict(zip((right, top), left, strict=True)))
    (setup, _) = setups_by_direction(part, hand_zero((30.0, 20.0, 30.0)), asked)
    edges = rows_of([setup], "edge")

    assert (edges[0].x, edges[0].leave) == (pytest.approx(36.5), 0.5)
    assert (edges[1].y, edges[1].leave) == (pytest.approx(26.2), 0.2)
    assert rows_of([setup], "face")[0].z == pytest.approx(0.1)


@settings(max_examples=15, deadline=None)
@given(turn=st.floats(0.0, 359.0), radius=st.floats(5.0, 15.0), leave=st.floats(0.0, 1.0))
def test_a_cutter_along_an_edge_just_touches_the_metal_and_has_it_on_its_left(turn, radius, leave):
    """At any angle: distance from cutter centre to the finished face is radius plus leave, outside; conventional cutting."""
    solid = turned_about(box((-30.0, -20.0, 0.0), (30.0, 20.0, 15.0)), (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), turn)
    rough = turned_about(box((-33.0, -23.0, -3.0), (33.0, 23.0, 18.0)), (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), turn)
    part = hand_part((solid_from_shape(solid, "finished"), solid_from_shape(rough, "casting")))
    asked = hand_settings(shop=ShopSettings(cutter=2.0 * radius, leave=leave))
    edges = rows_of(setups_by_direction(part, hand_zero(), asked), "edge")
    normals = {f.name: f.normal for f in part.faces}

    assert len(edges) == 4
    for row in edges:
        x, y, x_to, y_to = ends(row)
        n = normals[row.feature]
        assert n is not None
        half = 30.0 if abs(n[0] * math.cos(math.radians(turn)) + n[1] * math.sin(math.radians(turn))) > 0.5 else 20.0
        assert x * n[0] + y * n[1] == pytest.approx(half + radius + leave, abs=1e-6)
        assert x_to * n[0] + y_to * n[1] == pytest.approx(half + radius + leave, abs=1e-6)
        assert (x_to - x) * n[1] - (y_to - y) * n[0] < 0  # metal on the left of the move


def l_step() -> tuple[Solid, Solid]:
    """A 60 x 40 x 30 block with its right front quarter cut down to z = 10: walls at x = 30 and y = 30 meet square."""
    finished = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), box((30.0, -1.0, 10.0), (61.0, 30.0, 31.0)))
    return solid_from_shape(finished, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (63.0, 43.0, 33.0)), "casting")


def test_a_cutter_stops_at_the_wall_and_says_so():
    """Walls at x = 30 and y = 30, cutter 12: both moves end at 36, 24; the corner keeps a 6 radius."""
    part = hand_part(l_step())
    setup = setups_by_direction(part, hand_zero(), hand_settings())[0]
    named = {f.name: f for f in part.faces}
    walls = [row for row in rows_of([setup], "edge") if named[row.feature].centroid[2] > 19.0]
    inner = [row for row in walls if named[row.feature].centroid[:2] in ((30.0, 15.0), (45.0, 30.0))]

    assert [ends(row) for row in inner] == [pytest.approx((36.0, -11.0, 36.0, 24.0)), pytest.approx((36.0, 24.0, 71.0, 24.0))]
    assert [row.z for row in inner] == [10.0, 10.0]
    assert all("stops at a wall" in row.note for row in inner)


def test_a_finishing_leave_on_floor_and_wall_is_respected_by_the_neighbours():
    """Floor keeps 0.1, so the walls' cutter stays 0.1 up; wall y = 30 keeps 0.3, so the other move stops at 23.7."""
    part = hand_part(l_step())
    floor = next(f for f in part.faces if f.kind == "plane" and f.centroid[2] == pytest.approx(10.0) and f.axis[2] > 0.5)
    wall = next(f for f in part.faces if f.centroid[:2] == (45.0, 30.0) and f.axis[1] < -0.5)
    asked = hand_settings(faces={floor.name: FaceSettings(leave=0.1), wall.name: FaceSettings(leave=0.3)})
    setup = setups_by_direction(part, hand_zero(), asked)[0]
    other = next(row for row in rows_of([setup], "edge") if ends(row)[0] == pytest.approx(36.0) and row.z and row.z > 9.0)

    assert [(row.tool.kind, row.z) for row in rows_of([setup], "face")] == [("face mill", 30.0), ("end mill", pytest.approx(10.1))]
    assert (other.z, other.y_to) == (pytest.approx(10.1), pytest.approx(23.7))


def test_a_cutter_stops_well_short_of_a_leaning_wall():
    """The step's end wall leans by 5 degrees from y = 30 at its foot: a 12 mm cutter may go to 24, stops 1 to 1.5 before."""
    lean = 20.0 * math.tan(math.radians(5.0))
    cutter = [
        (30.0, -1.0, 10.0),
        (30.0, 30.0, 10.0),
        (30.0, 30.0 + lean, 30.0),
        (30.0, 30.0 + 1.05 * lean, 31.0),
        (30.0, -1.0, 31.0),
    ]
    finished = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), prism(cutter, (31.0, 0.0, 0.0)))
    pair = solid_from_shape(finished, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (63.0, 43.0, 33.0)), "casting")
    part = hand_part(pair, as_cast=lambda s: 0.01 < abs(s.axis[2]) < 0.5)
    (row,) = [r for r in rows_of(setups_by_direction(part, hand_zero(), hand_settings()), "edge") if r.x == pytest.approx(36.0)]

    assert row.y_to is not None
    assert 22.5 <= row.y_to <= 23.0
    assert "stops short of a wall" in row.note


def test_a_slot_narrower_than_the_cutter_is_left_out_with_the_reason():
    """An 8 mm slot and no mill below 12 mm: no row for it, and the sheet says why; the shop's own mills make all of it."""
    finished = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), box((-1.0, 16.0, 20.0), (61.0, 24.0, 31.0)))
    pair = solid_from_shape(finished, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (63.0, 43.0, 33.0)), "casting")
    part = hand_part(pair)
    (floor,) = (f.name for f in part.faces if f.normal == (0.0, 0.0, 1.0) and f.centroid[2] == pytest.approx(20.0))

    asked = hand_settings()
    few = tuple(c for c in asked.tooling.cutters if c.kind != "end mill" or c.diameter >= 12.0)
    shops = (replace(asked, tooling=replace(asked.tooling, cutters=few)), asked)
    wide, narrow = (setups_by_direction(part, hand_zero(), settings) for settings in shops)

    assert {one.feature for setup in wide for one in setup.left_out} == {floor}
    assert floor not in {row.feature for row in rows_of(wide, "face") + rows_of(wide, "edge")}
    assert all("smaller cutter" in one.why for setup in wide for one in setup.left_out)
    assert not [one for setup in narrow for one in setup.left_out]
    assert {row.feature for row in rows_of(narrow, "slot")} == {floor}


# --- which set-ups ----------------------------------------------------------


LONG_CUTTER = hand_settings(shop=ShopSettings(cutter=20.0))


def cross_drilled() -> tuple[tuple[Solid, Solid], list[PartHole]]:
    """The catalogue's cube with a blind hole in +X, -Y and +Z."""
    tip = 15.0 + 6.8 * POINT_118
    mouths = {
        "x": ((50.0, 25.0, 25.0), (1.0, 0.0, 0.0)),
        "y": ((25.0, 0.0, 25.0), (0.0, -1.0, 0.0)),
        "z": ((25.0, 25.0, 50.0), (0.0, 0.0, 1.0)),
    }
    holes = [
        hand_hole(n, 6.8, at, axis=axis, depth=15.0, angle=118.0, tip=tip, callout="tapped M8") for n, (at, axis) in mouths.items()
    ]
    return cross_drilled_block(), holes


def test_three_blind_holes_on_three_sides_need_three_set_ups_and_no_more():
    """The cube's other three faces are reached as edges from those sides by a cutter long enough (20 mm, flutes 60)."""
    pair, holes = cross_drilled()
    setups = setups_by_direction(hand_part(pair, holes), hand_zero((25.0, 25.0, 50.0)), LONG_CUTTER)

    assert [setup.up for setup in setups] == [(0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0)]
    assert [[row.feature for row in rows_of([setup], "drill")] for setup in setups] == [["z"], ["x"], ["y"]]


def test_a_high_side_is_faced_not_run_along():
    """50 mm sides and a 12 mm cutter (flutes about 36): each of the six sides faces up in turn."""
    pair, holes = cross_drilled()
    setups = setups_by_direction(hand_part(pair, holes), hand_zero((25.0, 25.0, 50.0)), hand_settings())

    assert len(setups) == 6
    assert not rows_of(setups, "edge")


def test_every_feature_is_in_exactly_one_set_up():
    """Nothing is machined twice, nothing is forgotten."""
    pair, holes = cross_drilled()
    part = hand_part(pair, holes)
    setups = setups_by_direction(part, hand_zero((25.0, 25.0, 50.0)), LONG_CUTTER)
    named = [name for setup in setups for name in setup.features]

    assert sorted(named) == sorted([*(f.name for f in part.machined), *(h.name for h in part.holes)])
    assert [row.number for row in setups[0].rows] == list(range(1, len(setups[0].rows) + 1))


def cover() -> tuple[tuple[Solid, Solid], list[PartHole]]:
    """The catalogue's round cover; its through holes are listed as opening downward."""
    holes = circle_of(6, 45.0, 0.0, (0.0, 0.0))
    down = [replace(h, axis=(0.0, 0.0, -1.0)) for h in holes]
    bore = hand_hole("bore", 40.0, (0.0, 0.0, 15.0), through=15.0, callout="bored 40 H7")
    return bolt_circle_cover(), [*down, bore]


def test_through_holes_join_the_set_up_that_is_there_first():
    """Listed as opening downward, plain through holes are drilled with the zero's own side up."""
    pair, holes = cover()
    part = hand_part(pair, holes, as_cast=lambda s: s.kind == "cylinder" and not s.hollow)
    setups = setups_by_direction(part, hand_zero((0.0, 0.0, 15.0)), hand_settings())

    assert [len(setup.rows) for setup in setups] == [1 + 7 + 7 + 1, 1]
    assert [row.feature for row in rows_of(setups, "drill")] == ["h0", "h1", "h2", "h3", "h4", "h5", "bore"]
    assert {row.z_full for row in rows_of(setups, "drill")} == {-16.0}


def test_a_through_hole_is_drilled_from_its_machined_side():
    """Top of the flange as cast, bottom machined: a drill started on the skin wanders, so the hole goes to the lower set-up."""
    hole = hand_hole("a", 9.0, (10.0, 10.0, 20.0), through=20.0)
    finished = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 20.0)), box((30.0, -1.0, 10.0), (61.0, 41.0, 21.0)))
    finished = cut(finished, cylinder((10.0, 10.0, -1.0), (0.0, 0.0, 1.0), 4.5, 30.0))
    rough = box((0.0, 0.0, -3.0), (60.0, 40.0, 20.0))
    part = hand_part(
        (solid_from_shape(finished, "finished"), solid_from_shape(rough, "casting")),
        [hole],
        as_cast=lambda s: s.kind == "plane" and (abs(s.axis[2]) < 0.5 or s.centroid[2] > 19.0),
    )
    setups = setups_by_direction(part, hand_zero(), hand_settings())

    assert [(setup.up[2], [row.feature for row in rows_of([setup], "drill")]) for setup in setups] == [(1.0, []), (-1.0, ["a"])]


def test_a_hole_that_opens_on_the_skin_says_so():
    """Its only side is as cast: the spot row warns that a drill will wander."""
    finished = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 20.0)), cylinder((10.0, 10.0, 8.0), (0.0, 0.0, 1.0), 4.5, 30.0))
    part = hand_part(
        (solid_from_shape(finished, "finished"), solid_from_shape(box((0.0, 0.0, 0.0), (60.0, 40.0, 20.0)), "casting")),
        [hand_hole("a", 9.0, (10.0, 10.0, 20.0), depth=12.0)],
        as_cast=lambda _s: True,
    )
    (spot,) = rows_of(setups_by_direction(part, hand_zero(), hand_settings()), "spot")

    assert "opens on the skin or a slope" in spot.note


def test_a_set_up_works_action_by_action_and_tool_by_tool():
    """Spot all, drill all of one size, then the next: a tool is fetched once an action."""
    pair, holes = cover()
    part = hand_part(pair, holes, as_cast=lambda s: s.kind == "cylinder" and not s.hollow)
    setup = setups_by_direction(part, hand_zero((0.0, 0.0, 15.0)), hand_settings())[0]
    runs = [
        (row.action, row.tool)
        for i, row in enumerate(setup.rows)
        if i == 0 or (row.action, row.tool) != (setup.rows[i - 1].action, setup.rows[i - 1].tool)
    ]

    assert len(runs) == len(set(runs))
    assert [action for action, _ in runs] == ["face", "spot", "drill", "drill", "bore"]


def test_a_cored_bore_and_its_faces():
    """80 x 80 x 50 with a cored 40 H7: the bore is one row, on the zero."""
    bore = hand_hole("bore 1", 40.0, (0.0, 0.0, 50.0), through=50.0, source="core", callout="bored 40 H7")
    setups = setups_by_direction(hand_part(block_with_cored_bore(), [bore]), hand_zero((0.0, 0.0, 50.0)), hand_settings())
    (row,) = rows_of(setups, "bore")

    assert (row.x, row.y, row.z, row.limits) == (0.0, 0.0, -51.0, pytest.approx((40.0, 40.025)))


def test_a_hole_the_spindle_cannot_reach_is_left_out():
    """A blind hole in the floor under a roof: the sheet says what is in the way."""
    finished = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 60.0)), box((-1.0, -1.0, 20.0), (45.0, 41.0, 40.0)))
    finished = cut(finished, cylinder((20.0, 20.0, 10.0), (0.0, 0.0, 1.0), 3.4, 11.0))
    pair = solid_from_shape(finished, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (63.0, 43.0, 63.0)), "casting")
    hole = hand_hole("under", 6.8, (20.0, 20.0, 20.0), depth=10.0)
    setups = setups_by_direction(hand_part(pair, [hole]), hand_zero(), hand_settings())

    assert ("under", "the rest of the part stands in the spindle's way") in {(o.feature, o.why) for s in setups for o in s.left_out}


def test_a_chamfer_needs_no_set_up_of_its_own():
    """A 2 mm chamfer on a block's top edge is an edge break, listed apart."""
    wedge = prism([(58.0, -1.0, 31.0), (61.0, -1.0, 28.0), (61.0, -1.0, 31.0)], (0.0, 42.0, 0.0))
    finished = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), wedge)
    pair = solid_from_shape(finished, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (63.0, 43.0, 33.0)), "casting")
    setups = setups_by_direction(hand_part(pair), hand_zero(), hand_settings())

    assert len(setups) == 2
    assert [one.why for one in setups[0].left_out] == ["an edge break: chamfer it with a file or a chamfer cutter"]


def test_a_turned_outside_is_left_out_with_advice():
    """A machined round outside is no straight cut."""
    pair, holes = cover()
    setups = setups_by_direction(hand_part(pair, holes), hand_zero((0.0, 0.0, 15.0)), hand_settings())

    assert [one.why for one in setups[0].left_out] == ["an outside round: turn it, or mill it on a rotary table"]


def test_a_part_with_nothing_to_machine_has_no_set_up():
    """All skin: no rows, no sheet."""
    assert setups_by_direction(hand_part(block_in_block(), as_cast=lambda _s: True), hand_zero(), hand_settings()) == ()


@given(st.lists(st.frozensets(st.integers(0, 7), min_size=1, max_size=4), max_size=9))
def test_the_fewest_directions_are_the_fewest(wants):
    """Against plain enumeration of every subset."""
    numbers = range(8)
    best = next(c for size in range(9) for c in combinations(numbers, size) if all(want & set(c) for want in wants))

    assert fewest(wants) == best


def test_a_public_model_machined_all_over_needs_its_two_published_set_ups(nist):
    """NIST part 827-9999-904 is published with two set-ups, mounting holes at (60.32, 6.35) and (63.5, 63.2) mm
    (shared/cases/nist/README.md); cut here from a block 3 mm larger all round, zero at the model's origin."""
    finished = read_step(nist("827-9999-904.stp"))
    low, high = (tuple(c + s for c in corner) for corner, s in zip(finished.box, (-3.0, 3.0), strict=True))
    block = solid_from_shape(box(low, high), "casting")  # type: ignore[arg-type]
    setups = setups_by_direction(recognise("904", "aluminium", finished, block), hand_zero(), hand_settings())
    mounting = [row for row in rows_of(setups, "counterbore") if row.tool.diameter == pytest.approx(6.35)]

    assert [setup.up for setup in setups] == [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0)]
    assert [(row.x, row.y) for row in mounting] == [pytest.approx((60.32, 6.35), abs=0.006), pytest.approx((63.5, 63.2), abs=0.006)]


# --- laws -------------------------------------------------------------------


def figures_of(setups: Sequence[Setup]) -> list[tuple[object, ...]]:
    """Return everything a sheet prints of the rows but names of faces, to a nanometre."""

    def nanometres(row: Row) -> list[float | None]:
        axes = (row.x, row.y, row.z, row.x_to, row.y_to, row.z_full)
        return [None if value is None else round(value, 6) + 0.0 for value in axes]

    return [(s.number, row.number, row.action, row.tool, *nanometres(row)) for s in setups for row in s.rows]


QUARTER_TURNS = [
    ((1.0, 0.0, 0.0), 90.0),
    ((0.0, 1.0, 0.0), 90.0),
    ((0.0, 0.0, 1.0), 90.0),
    ((0.0, 0.0, 1.0), 180.0),
    ((1.0, 0.0, 0.0), 180.0),
]


@pytest.mark.parametrize(("axis", "degrees"), QUARTER_TURNS)
def test_turning_the_job_with_its_zero_changes_no_row(axis, degrees):
    """The sheet is about the part, not about how it lies in its file."""
    pair, holes = cross_drilled()
    turn = partial(_turned, axis=axis, degrees=degrees)
    turned = tuple(solid_from_shape(turned_about(s, (0.0, 0.0, 0.0), axis, degrees), s.label) for s in pair)
    moved = [replace(h, centre=turn(h.centre), axis=turn(h.axis)) for h in holes]
    zero = hand_zero((25.0, 25.0, 50.0))
    other = hand_zero(turn((25.0, 25.0, 50.0)), turn((1.0, 0.0, 0.0)), turn((0.0, 1.0, 0.0)), turn((0.0, 0.0, 1.0)))

    plain = setups_by_direction(hand_part(pair, holes), zero, hand_settings())
    around = setups_by_direction(hand_part(turned, moved), other, hand_settings())  # type: ignore[arg-type]

    assert figures_of(around) == figures_of(plain)


def _turned(v: Vec3, axis: Vec3, degrees: float) -> Vec3:
    """Return a vector after exact quarter turns, right-handed."""
    for _ in range(round(degrees / 90.0)):
        x, y, z = v
        v = {(1.0, 0.0, 0.0): (x, -z, y), (0.0, 1.0, 0.0): (z, y, -x), (0.0, 0.0, 1.0): (-y, x, z)}[axis]
    return v


@given(st.tuples(*[st.floats(-300.0, 300.0)] * 3))
def test_moving_the_zero_moves_every_coordinate_against_it(shift):
    """Absolute from the zero: each driven coordinate drops by exactly the shift."""
    hole = hand_hole("a", 9.0, (10.0, 20.0, 30.0), through=15.0)
    here, there = hole_rows(hole, WORLD, MM), hole_rows(hole, Frame(shift, WORLD.x, WORLD.y, WORLD.z), MM)

    for a, b in zip(here, there, strict=True):
        for value, moved, d in ((a.x, b.x, shift[0]), (a.y, b.y, shift[1]), (a.z, b.z, shift[2])):
            assert value is not None
            assert moved == pytest.approx(value - d, abs=1e-9)


@given(st.floats(-300.0, 300.0), st.floats(-300.0, 300.0))
def test_a_mirrored_hole_has_mirrored_coordinates(x, y):
    """Left and right of the zero differ in the sign of X alone."""
    right, left = (hole_rows(hand_hole("a", 9.0, (s * x, y, 0.0), through=15.0), WORLD, MM) for s in (1.0, -1.0))

    assert [(-r.x, r.y, r.z) for r in right if r.x is not None] == [(r.x, r.y, r.z) for r in left]


def test_inch_and_mm_jobs_drive_to_the_same_places():
    """Only round figures of practice (5 mm or 0.2 in clear) may differ: X and Y of holes, Z of faces and of floors agree."""
    pair, holes = cross_drilled()
    zero = hand_zero((25.0, 25.0, 50.0))
    mm, inch = (setups_by_direction(hand_part(pair, holes), zero, hand_settings(u)) for u in ("mm", "inch"))

    for a, b in zip((r for s in mm for r in s.rows), (r for s in inch for r in s.rows), strict=True):
        assert (a.feature, a.action, a.tool.diameter if a.action != "spot" else 0.0) == (
            b.feature,
            b.action,
            b.tool.diameter if b.action != "spot" else 0.0,
        )
        if a.action == "drill":
            assert (a.x, a.y, a.z, a.z_full) == (b.x, b.y, b.z, b.z_full)


def test_directions_are_ordered_by_the_zero_not_by_the_file():
    """Own way up, the opposite, then round the sides from +X, then leaning ones."""
    lean = (math.sqrt(0.5), 0.0, math.sqrt(0.5))
    ways = distinct([(0.0, -1.0, 0.0), lean, (0.0, 0.0, -1.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (1.0, 1e-6, 0.0)], WORLD)

    assert ways == ((0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0), lean)


# --- refusals ---------------------------------------------------------------


def a_row(**changes: object) -> Row:
    """Return a plain drill row with some fields changed."""
    facts: dict[str, object] = {
        "number": 1,
        "feature": "a",
        "action": "drill",
        "tool": Tool("drill", "9 mm", 9.0, 118.0),
        "x": 0.0,
        "y": 0.0,
        "z": -1.0,
    }
    return Row(**{**facts, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"action": "saw"}, "action is none of"),
        ({"x": float("nan")}, "not a finite number"),
        ({"x": None, "y": None, "z": None}, "drives no axis"),
        ({"x": None, "x_to": 3.0}, "does not start on"),
        ({"limits": (2.0, 1.0)}, "wrong way round"),
    ],
)
def test_a_row_that_cannot_be_driven_is_refused(changes, message):
    """A record is checked when it is made."""
    with pytest.raises(ValueError, match=message):
        a_row(**changes)


@pytest.mark.parametrize(
    ("tool", "message"),
    [
        (("hammer", "", 9.0), "is none of"),
        (("drill", "", -1.0), "must be 0 or more"),
        (("drill", "", 9.0, 180.0), "between 0 and 180"),
    ],
)
def test_a_tool_that_cannot_be_is_refused(tool, message):
    """Kinds, diameters and points are checked when a tool is made."""
    with pytest.raises(ValueError, match=message):
        Tool(*tool)
