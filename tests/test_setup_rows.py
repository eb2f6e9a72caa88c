"""Rows of a planned set-up: lanes, passes, edges and holes with the shop's cutters; by hand, then laws, then what is missing."""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.cutters.cutting_data import bore_depth
from geom.kernel.cut import box, cut, cylinder, fuse, turned_about
from geom.kernel.shape import Solid, solid_from_shape
from geom.model.part import Part, PartHole
from geom.passes.bore_passes import bore_diameters, settable
from geom.passes.setup_rows import rows_for
from geom.rays.rays import skin_of
from geom.rays.sample import surface_samples
from geom.rows.plan import PlannedSetup
from geom.rows.records import CUTTING, Box, Row, Setup
from geom.settings.records import DrawingSettings, Settings
from geom.shop.records import Cutter, Shop
from geom.space import Vec3
from geom.stock.report import stock_report
from tests.catalogue import block_in_block, block_with_cored_bore
from tests.hand_parts import hand_hole, hand_part, hand_settings
from tests.hand_plans import hand_hold, hand_plan

UP: Vec3 = (0.0, 0.0, 1.0)


def setup_of(part: Part, planned: PlannedSetup, asked: Settings | None = None, count: int = 2) -> Setup:
    """Return a set-up's rows with the stock as drawn."""
    report = stock_report(part, {face.name: 0.5 for face in part.machined})
    return rows_for(planned, count, part, asked or hand_settings(), report)


def cuts(setup: Setup, *actions: str) -> list[Row]:
    """Return the rows of some actions."""
    return [row for row in setup.rows if row.action in (actions or CUTTING)]


def said(setup: Setup) -> list[str]:
    """Return the notes as plain text."""
    return ["".join(map(str, words)) for words in setup.notes]


def names(part: Part, normal: Vec3) -> list[str]:
    """Return the planes that face one way."""
    return [f.name for f in part.faces if f.normal == normal]


def shop_with(*gone: str) -> Settings:
    """Return the assumed shop without some cutters."""
    asked = hand_settings()
    kept = tuple(c for c in asked.tooling.cutters if c.name not in gone)
    assert len(kept) == len(asked.tooling.cutters) - len(gone)
    return replace(asked, tooling=replace(asked.tooling, cutters=kept))


def ends(row: Row) -> tuple[float, ...]:
    """Return x, y, x to, y to, an undriven end being where it starts."""
    assert row.x is not None
    assert row.y is not None
    return row.x, row.y, row.x if row.x_to is None else row.x_to, row.y if row.y_to is None else row.y_to


# --- faces, by hand ---------------------------------------------------------


def block(stock: float = 3.0) -> Part:
    """A 100 x 80 x 30 block with stock all round, zero in the middle of its top."""
    return hand_part(block_in_block(stock, size=(100.0, 80.0, 30.0)))


def on_top(*features: str, boxes: Sequence[Box] = ()) -> PlannedSetup:
    """Return the set-up that has the block's top up."""
    return hand_plan((), features, zero=(50.0, 40.0, 30.0), hold=hand_hold(boxes=boxes))


def test_lanes_of_a_block_by_hand():
    """106 x 86 of casting, 50 face mill: 86 / 37.5 = 3 lanes 28.67 apart on round halves; ends 53 + 25 + 5 = 83."""
    part = block()
    rows = cuts(setup_of(part, on_top(*names(part, UP))), "face")

    assert {row.tool.kind for row in rows} == {"face mill"}
    assert [ends(row) for row in rows[:3]] == [(-83.0, y, 83.0, y) for y in (-28.5, 0.0, 28.5)]


def test_passes_of_a_block_by_hand():
    """3 of stock, 2.5 deep at most: 1.5 to get under the skin, 1.2, and 0.3 to finish; three lanes each."""
    part = block()
    rows = cuts(setup_of(part, on_top(*names(part, UP))), "face")

    assert [row.z for row in rows] == pytest.approx([1.5] * 3 + [0.3] * 3 + [0.0] * 3)
    assert "under the skin" in rows[0].note
    assert rows[-1].note == "pass 3 of 3; to size"


def test_a_leave_raises_the_last_pass():
    """0.1 for scraping: Z 0.1, and the row says what it leaves."""
    part = block()
    (top,) = names(part, UP)
    planned = replace(on_top(top), leaves=((top, 0.1),))
    last = cuts(setup_of(part, planned), "face")[-1]

    assert (last.z, last.leave) == (pytest.approx(0.1), 0.1)


def test_the_table_says_that_the_casting_was_not_measured():
    """Nobody has touched it: the stock is the drawing's."""
    part = block()
    assert any("not measured" in words for words in said(setup_of(part, on_top(*names(part, UP)))))


def test_a_face_mill_turns_no_faster_than_the_published_speed():
    """rpm = 1000 v / (pi d) with v of the speed table, times its factor for carbide, down to a speed the spindle has."""
    from geom.standards.alloy import alloy
    from geom.standards.cutting import cutting_factor, cutting_speed

    part = block()
    row = cuts(setup_of(part, on_top(*names(part, UP))), "face")[0]
    most = 1000.0 * cutting_factor("carbide")[0] * cutting_speed(alloy("grey iron", ""), "mill", "").high / (math.pi * 50.0)

    assert row.rpm in hand_settings().tooling.mill.speeds
    assert row.rpm is not None
    assert row.rpm <= most
    assert max(s for s in hand_settings().tooling.mill.speeds if s <= most) == row.rpm


# --- edges, by hand ---------------------------------------------------------


def test_an_edge_is_roughed_then_finished_at_the_cutters_radius():
    """Face at x = 50, 12 cutter, 3 of stock: 56.3 rough in one cut of 2.7, 56 to finish, 1 below its foot at -26."""
    part = hand_part(block_in_block(size=(100.0, 80.0, 25.0)))
    (right,), top = names(part, (1.0, 0.0, 0.0)), names(part, UP)
    planned = hand_plan((), (*top, right), zero=(50.0, 40.0, 25.0))
    rows = [row for row in cuts(setup_of(part, planned), "edge") if row.feature == right]

    assert rows[0].tool.diameter == 12.0
    assert {round(row.x or 0.0, 6) for row in rows} == {56.3, 56.0}
    assert (rows[-1].x, rows[-1].z) == (pytest.approx(56.0), pytest.approx(-26.0))
    assert "finish" in rows[-1].note
    assert ends(rows[-1]) == pytest.approx((56.0, -51.0, 56.0, 51.0))


def test_an_edge_higher_than_the_flutes_is_cut_in_depths():
    """30 + 1 deep with flutes of at most 28 on the 12 mm mill: the finish takes two depths, 15.5 each; roughing no deeper."""
    part = block()
    (right,), top = names(part, (1.0, 0.0, 0.0)), names(part, UP)
    asked = shop_with("16 mm end mill", "20 mm end mill")
    rows = [row for row in cuts(setup_of(part, on_top(*top, right), asked), "edge") if row.feature == right]
    finish = [row for row in rows if "finish" in row.note]

    assert [row.z for row in finish] == pytest.approx([-15.5, -31.0])
    assert all(rows[0].tool.flute_length >= b - a for a, b in zip([-31.0], [-15.5], strict=True))


def test_an_edge_goes_down_to_the_floor_at_its_foot_and_no_further():
    """A step: its wall ends at a floor, so Z is the floor's."""
    finished = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), box((30.0, -1.0, 10.0), (61.0, 41.0, 31.0)))
    pair = solid_from_shape(finished, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (63.0, 43.0, 33.0)), "casting")
    part = hand_part(pair)
    wall = next(f.name for f in part.faces if f.normal == (1.0, 0.0, 0.0) and f.centroid[0] == pytest.approx(30.0))
    rows = cuts(setup_of(part, hand_plan((), (wall,))), "edge")

    assert rows[-1].z == pytest.approx(10.0)
    assert rows[-1].x == pytest.approx(30.0 + 0.5 * rows[-1].tool.diameter)


def test_the_cutter_stays_above_the_steel_under_the_foot():
    """Parallels 0.6 below the foot: no room to go 1 below, so it goes 0.1."""
    part = block()
    (right,), top = names(part, (1.0, 0.0, 0.0)), names(part, UP)
    steel = Box("parallel", (40.0, -40.0, -60.0), (60.0, 40.0, -30.6))
    rows = [r for r in cuts(setup_of(part, on_top(*top, right, boxes=[steel])), "edge") if r.feature == right]

    assert rows[-1].z == pytest.approx(-30.1)


def test_walls_that_face_each_other_are_cut_one_at_a_time():
    """A groove 12 wide, closed square at one end: a 12 mm mill would cut both walls at once, so a 10 mm one runs 1 off the middle
    along either."""
    finished = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), box((20.0, 14.0, 22.0), (61.0, 26.0, 31.0)))
    pair = solid_from_shape(finished, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (63.0, 43.0, 33.0)), "casting")
    part = hand_part(pair)
    walls = [f.name for f in part.faces if f.normal in ((0.0, 1.0, 0.0), (0.0, -1.0, 0.0)) and abs(f.centroid[1] - 20.0) < 7.0]
    rows = cuts(setup_of(part, hand_plan((), walls)), "edge")

    assert len(walls) == 2
    assert {row.tool.diameter for row in rows} == {10.0}
    assert sorted(row.y or 0.0 for row in rows if "finish" in row.note) == pytest.approx([19.0, 21.0])


def test_an_edge_goes_through_the_skin_of_a_rough_seat():
    """The skin that the work stands on hangs 3 below the foot: turned over, it would stand out as a lip beside the edge."""
    part = block()
    (right,), top = names(part, (1.0, 0.0, 0.0)), names(part, UP)
    planned = on_top(*top, right)
    rough = replace(planned, hold=replace(planned.hold, rests=((-20.0, 0.0, -33.0), (20.0, 10.0, -32.5), (20.0, -10.0, -33.0))))
    rows = [row for row in cuts(setup_of(part, rough), "edge") if row.feature == right]

    assert rows[-1].z == pytest.approx(-34.0)


# --- bores ------------------------------------------------------------------


def test_a_bore_is_opened_up_in_steps_and_finished_lightly():
    """36 to 40 with 1.7 a side: 3.7 in even steps of 1.2 on round tenths, then 0.3; with 0.5 a side, as before, in five."""
    assert bore_diameters(36.0, 40.0, "mm", 1.7) == pytest.approx((37.8, 39.7, 40.0))
    assert bore_diameters(36.0, 40.0, "mm", 0.5) == pytest.approx((36.7, 37.4, 38.2, 38.9, 39.7, 40.0))


@given(st.floats(0.0, 79.0), st.floats(1.0, 80.0), st.sampled_from(["mm", "inch"]), st.floats(0.5, 2.5))
def test_bore_steps_rise_evenly_and_end_at_size(start, more, units, deepest):
    """Never more a side than the bar takes, rough steps alike, the last 0.2 to 0.5 on the diameter where there is that much."""
    size = round(start + more, 2)
    steps = bore_diameters(start, size, units, deepest)
    widths = np.diff([start, *steps])

    assert steps[-1] == size
    assert (widths > 0).all()
    assert (widths <= 2.0 * deepest + 1e-6).all()
    assert widths[-1] <= 0.5
    assert len(widths) < 3 or np.ptp(widths[:-1]) <= 2.0 * 0.127 + 1e-6


def test_a_boring_head_is_set_to_a_figure_on_its_dial_within_the_limits():
    """40 H7 (ISO 286: 0 to +0.025) is 1.5748 to 1.5758 in: set to 1.5750; 1.2500 in H7 on a mm sheet 31.750."""
    assert settable(40.0, (40.0, 40.025), "inch") == pytest.approx(1.575 * 25.4)
    assert settable(40.0, (40.0, 40.025), "mm") == 40.0
    assert settable(31.75, (31.75, 31.775), "mm") == pytest.approx(31.75)
    assert settable(55.0, None, "inch") == pytest.approx(2.1655 * 25.4)
    assert settable(40.0, (40.001, 40.004), "inch") == 40.0


def test_a_bore_of_three_to_four_a_side_takes_four_cuts():
    """Common practice in iron: rough cuts of 1 to 2.5 a side, more the wider the bore, then 0.1 to 0.25 a side."""
    assert bore_depth(32.0, 40.0) == pytest.approx(1.6)
    assert 0.5 <= bore_depth(8.0, 40.0) < bore_depth(20.0, 40.0) < bore_depth(60.0, 40.0) <= 2.5
    assert bore_depth(20.0, 140.0) < bore_depth(20.0, 40.0)
    for start, size in ((32.6, 40.0), (33.8, 40.0), (23.2, 30.0)):
        assert len(bore_diameters(start, size, "mm", bore_depth(start, 50.0))) <= 5


def test_a_cored_bore_starts_at_the_core_less_its_spread():
    """34 core in a 40 bore, grade 11: half of ISO 8062-3's width for 34 mm is 1.6: the head starts within one rough cut of 32.4."""
    from geom.standards.tolerance_grades import casting_tolerance

    bore = hand_hole("bore", 40.0, (0.0, 0.0, 50.0), through=50.0, source="core", callout="bored 40 H7")
    part = cored(bore)
    setup = setup_of(part, hand_plan((), ("bore",), zero=(0.0, 0.0, 50.0)))
    rows = cuts(setup, "bore")
    narrowest = 34.0 - 0.5 * casting_tolerance(34.0, 11)

    assert narrowest < rows[0].tool.diameter <= narrowest + 2.0 * bore_depth(narrowest, 51.0)
    assert len(rows) <= 5
    assert "one side" in rows[0].note
    assert rows[-1].limits == pytest.approx((40.0, 40.025))  # ISO 286 H7 over 30 to 50
    assert all(row.limits is None for row in rows[:-1])
    assert {row.z for row in rows} == {-51.0}


def test_a_bore_with_limits_is_measured_before_its_last_cut():
    """The row before the finishing cut tells what to read and where the head was left: 39.7 for a 40 H7 bore."""
    bore = hand_hole("bore", 40.0, (0.0, 0.0, 50.0), through=50.0, source="core", callout="bored 40 H7")
    setup = setup_of(cored(bore), hand_plan((), ("bore",), zero=(0.0, 0.0, 50.0)))
    last = next(i for i, row in enumerate(setup.rows) if row.action == "bore" and row.limits)
    before = setup.rows[last - 1]

    assert (before.action, before.feature, before.tool.kind) == ("measure", "bore", "micrometer")
    assert before.nominal == pytest.approx(39.7)
    assert "finishing cut" in before.note


def cored(bore: PartHole) -> Part:
    """The catalogue's block with its bore as a machined wall, as recognition has it."""
    part = hand_part(block_with_cored_bore(), [bore])
    faces = tuple(replace(f, state="machined") if f.hole else f for f in part.faces)
    return replace(part, faces=faces)


# --- holes with what is on hand ---------------------------------------------


def plate(*holes: PartHole) -> Part:
    """A 100 x 80 x 30 block, machined on top, with holes given by hand from z = 30 down."""
    return hand_part(block_in_block(size=(100.0, 80.0, 30.0)), holes)


def drilled(part: Part, asked: Settings | None = None, *others: str, units: str = "mm") -> Setup:
    """Return the set-up that makes every hole, with its top already faced."""
    features = (*others, *(h.name for h in part.holes))
    return setup_of(part, hand_plan((), features, zero=(0.0, 0.0, 30.0)), asked or hand_settings(units))


def test_a_tapped_hole_is_spotted_drilled_and_tapped():
    """M8: 6.8 drill, tip 2.04 below the full diameter; deeper than three diameters: pecked 6.8 at a time; feed 1.25 x rpm."""
    part = plate(hand_hole("a", 6.8, (20.0, 20.0, 30.0), depth=22.0, angle=118.0, tip=24.04, callout="tapped M8"))
    spot, drill, tap = cuts(drilled(part))

    assert (spot.action, spot.tool.label) == ("spot", "10 mm")
    assert (drill.tool.label, drill.z_full, drill.peck) == ("6.8 mm", pytest.approx(-22.0), 6.8)
    assert drill.z == pytest.approx(-22.0 - 3.4 / math.tan(math.radians(59.0)))
    assert tap.rpm is not None
    assert tap.feed == pytest.approx(1.25 * tap.rpm)
    assert drill.tool.reach >= 24.04


def test_a_drill_that_is_missing_is_an_answer():
    """No 10.2: the hole is left out, the note says what 10.1 or 10.3 would give, and no row drills anything else."""
    part = plate(hand_hole("a", 10.2, (20.0, 20.0, 30.0), through=30.0, callout="tapped M12"))
    setup = drilled(part, shop_with("10.2 mm drill"))

    assert not [row for row in cuts(setup) if row.action in ("drill", "tap")]
    assert [one.feature for one in setup.left_out] == ["a"]
    assert any("no 10.2 mm drill" in words and "% thread" in words for words in said(setup))


def test_a_reamer_that_is_missing_is_said_and_the_hole_is_bored():
    """No 16 H7 reamer: bored to the same limits with the head, and a note says so."""
    part = plate(hand_hole("a", 16.0, (50.0, 40.0, 30.0), through=30.0, callout="reamed 16 H7"))
    setup = drilled(part, shop_with("16 H7 reamer"))

    assert cuts(setup)[-1].action == "bore"
    assert cuts(setup)[-1].limits == pytest.approx((16.0, 16.018))  # ISO 286 H7 over 10 to 18
    assert not cuts(setup, "ream")
    assert any("H7 reamer" in words and "here it is bored" in words for words in said(setup))


def test_a_counterbore_runs_its_pilot_in_the_drilled_hole():
    """M8 socket head: 9 drill, then the 15 counterbore with the 9 pilot, 9 deep; drill first."""
    part = plate(hand_hole("a", 9.0, (50.0, 40.0, 30.0), through=30.0, bore=(15.0, 9.0), callout="counterbore for M8 socket head"))
    rows = cuts(drilled(part))

    assert [row.action for row in rows] == ["spot", "drill", "counterbore"]
    assert (rows[-1].tool.kind, rows[-1].tool.diameter, rows[-1].tool.pilot) == ("counterbore", 15.0, 9.0)
    assert rows[-1].z == pytest.approx(-9.0)


def test_a_wide_drill_gets_the_way_opened_where_the_mill_lacks_the_power():
    """25 in grey iron asks more than the assumed mill's motor gives: a narrower drill goes first, as deep."""
    asked = hand_settings()
    weak = replace(asked, tooling=replace(asked.tooling, mill=replace(asked.tooling.mill, power=300.0)))
    part = plate(hand_hole("a", 20.0, (50.0, 40.0, 30.0), through=30.0))
    rows = cuts(drilled(part, weak), "drill")

    assert [row.tool.diameter < 20.0 for row in rows] == [True, False]
    assert [row.z_full for row in rows] == pytest.approx([-31.0, -31.0])


def test_a_hole_on_rough_skin_is_levelled_first():
    """The top stays as cast: a centre-cutting mill no wider than the hole levels the spot, 0.2 below the skin."""
    rough = box((0.0, 0.0, 0.0), (100.0, 80.0, 30.0))
    pair = solid_from_shape(cut(rough, cylinder((50.0, 40.0, -1.0), UP, 4.5, 32.0)), "finished"), solid_from_shape(rough, "casting")
    part = hand_part(pair, [hand_hole("a", 9.0, (50.0, 40.0, 30.0), through=30.0)], as_cast=lambda _s: True)
    rows = cuts(setup_of(part, hand_plan((), ("a",), zero=(0.0, 0.0, 30.0))))

    assert [row.action for row in rows] == ["spot-face", "spot", "drill"]
    assert (rows[0].tool.kind, rows[0].tool.diameter) == ("end mill", 8.0)
    assert rows[0].z == pytest.approx(-0.2)


def test_a_through_hole_stops_above_the_steel_below():
    """The bed 2 below the far side: 1 past with the full diameter and 2.7 of point would meet it, so the tip stops 0.5 off."""
    part = plate(hand_hole("a", 9.0, (50.0, 40.0, 30.0), through=30.0))
    bed = Box("bed", (0.0, 0.0, -90.0), (100.0, 80.0, -32.0))
    planned = hand_plan((), ("a",), zero=(0.0, 0.0, 30.0), hold=hand_hold(boxes=[bed]))
    (drill,) = cuts(setup_of(part, planned), "drill")

    assert drill.z == pytest.approx(-31.5)
    assert "stops short" in drill.note


def test_a_short_tap_goes_as_deep_as_it_reaches():
    """A 33 long M8 thread and a tap that reaches 32: 32 less, said; a tap of two diameters would be left out."""
    part = hand_part(
        block_in_block(size=(100.0, 80.0, 33.0)), [hand_hole("a", 6.8, (50.0, 40.0, 33.0), through=33.0, callout="tapped M8")]
    )
    setup = setup_of(part, hand_plan((), ("a",), zero=(0.0, 0.0, 33.0)))
    (tap,) = cuts(setup, "tap")

    assert tap.z == pytest.approx(-tap.tool.reach)
    assert "not the whole length" in tap.note


def by_a_wall(height: float, hole: PartHole) -> Setup:
    """Return the rows of a hole 10 mm beside a wall that stands so high above its mouth; holders are 20 mm in radius."""
    finished = fuse(box((0.0, 0.0, 0.0), (100.0, 80.0, 30.0)), box((60.0, 0.0, 29.0), (100.0, 80.0, 30.0 + height)))
    pair = (
        solid_from_shape(finished, "finished"),
        solid_from_shape(box((-3.0, -3.0, -3.0), (103.0, 83.0, 33.0 + height)), "casting"),
    )
    return drilled(hand_part(pair, [hole]))


def test_a_tap_whose_holder_would_meet_a_wall_goes_less_deep_or_not_at_all():
    """M8, 25.75 deep, a tap that reaches 32: beside a wall of 5 all of it, beside one of 7.9 only 24.1, which three diameters still
    are; one of 12 leaves 20: no tap."""
    screw = hand_hole("a", 6.8, (50.0, 40.0, 30.0), depth=27.0, angle=118.0, tip=29.04, callout="tapped M8")
    (low,), (fair,) = (cuts(by_a_wall(height, screw), "tap") for height in (5.0, 7.9))
    high = by_a_wall(12.0, screw)

    assert low.z == pytest.approx(-25.75)
    assert fair.z == pytest.approx(7.9 - 32.0, abs=0.1)
    assert "not the whole length" in fair.note
    assert not cuts(high, "tap")
    assert "tapping" in high.left_out[0].why


@pytest.mark.parametrize(("callout", "diameter", "action"), [("reamed 10 H7", 9.8, "ream"), ("tapped M8", 6.8, "tap")])
def test_a_reamer_or_tap_that_does_not_reach_past_a_wall_is_said(callout, diameter, action):
    """A wall 100 mm high: nothing on hand reaches, the row is left out and the note says by how much it is short."""
    setup = by_a_wall(100.0, hand_hole("a", diameter, (50.0, 40.0, 30.0), through=30.0, callout=callout))

    assert not cuts(setup, action)
    assert any("short by" in text for text in said(setup))


# --- laws -------------------------------------------------------------------


@cache
def _inside(part: Part) -> "np.typing.NDArray[np.float64]":
    """Return points 0.1 mm under the finished skin."""
    samples = surface_samples(part.finished, 2.0)
    under = samples.points - 0.1 * samples.normals
    return np.asarray(under[skin_of(part.finished).inside(under)])


def gouged(part: Part, setup: Setup) -> list[int]:
    """Return the rows that cut into the finished part, by points 0.1 mm under its skin; a tap cuts its thread there."""
    inside = setup.frame.local_points(_inside(part))
    return [row.number for row in cuts(setup) if row.action != "tap" and _meets(row, inside)]


def _meets(row: Row, points: "np.typing.NDArray[np.float64]") -> bool:
    """Tell whether a row's cutter, its point a cone, meets any point by more than a hundredth."""
    assert row.z is not None
    points = points[points[:, 2] > row.z + 0.01]
    high = points[:, 2] - row.z - 0.01
    half = 90.0 if row.tool.point_angle is None else 0.5 * row.tool.point_angle
    wide = np.where(high > 0.0, np.minimum(high * math.tan(math.radians(half)), 0.5 * row.tool.diameter), 0.0)
    return bool(np.any(_off(row, points) < wide - 0.01))


def _off(row: Row, points: "np.typing.NDArray[np.float64]") -> "np.typing.NDArray[np.float64]":
    """Return how far points lie, seen from above, from where a row's cutter runs."""
    a, b = np.array(ends(row)[:2]), np.array(ends(row)[2:])
    along = b - a
    t = np.clip((points[:, :2] - a) @ along / max(float(along @ along), 1e-12), 0.0, 1.0)
    return np.asarray(np.hypot(*(points[:, :2] - a - t[:, None] * along).T))


def stepped() -> Part:
    """A block with a step, a pocket open at one side and a round boss-like stub left standing on the step's floor."""
    finished = cut(
        cut(box((0.0, 0.0, 0.0), (120.0, 80.0, 40.0)), box((70.0, -1.0, 20.0), (121.0, 81.0, 41.0))),
        box((-1.0, 25.0, 25.0), (45.0, 55.0, 41.0)),
    )
    pair = solid_from_shape(finished, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (123.0, 83.0, 43.0)), "casting")
    return hand_part(pair)


def test_no_lane_and_no_edge_cuts_into_the_part():
    """Step, open pocket, their walls and floors: no point under the finished skin is met by any row."""
    part = stepped()
    up = [f.name for f in part.faces if f.normal and f.normal[2] > -0.5]
    setup = setup_of(part, hand_plan((), up, zero=(60.0, 40.0, 40.0)))

    assert {row.feature for row in cuts(setup)} == set(up)
    assert gouged(part, setup) == []


def test_lanes_reach_every_point_of_a_face():
    """Each floor of the stepped block is met at its own height, but for corners that keep a cutter's radius: 2 % of it."""
    part = stepped()
    up = [f.name for f in part.faces if f.normal and f.normal[2] > -0.5]
    setup = setup_of(part, hand_plan((), up, zero=(60.0, 40.0, 40.0)))
    samples = surface_samples(part.finished, 2.0)
    for face in part.faces:
        if face.normal == UP:
            spots = setup.frame.local_points(samples.points[np.isin(samples.face, face.surfaces) & (samples.area > 0)])
            level = spots[0, 2]
            rows = [row for row in cuts(setup) if row.z is not None and abs(row.z - level) < 1e-6]
            met = np.any([_near(row, spots) for row in rows], axis=0)
            assert met.mean() > 0.98, face.name


def _near(row: Row, points: "np.typing.NDArray[np.float64]") -> "np.typing.NDArray[np.bool_]":
    """Tell which points, seen from above, a row's cutter passes over."""
    return np.asarray(_off(row, points) <= 0.5 * row.tool.diameter + 1e-6)


def test_every_row_lies_within_the_tables_travel():
    """480 x 200: no set-up's rows span more."""
    part = hand_part(block_in_block(size=(300.0, 120.0, 30.0)))
    setup = setup_of(part, hand_plan((), [f.name for f in part.faces if f.normal and f.normal[2] > -0.5], zero=(0.0, 0.0, 30.0)))
    places = [ends(row) for row in cuts(setup)]

    assert max(max(p[0], p[2]) for p in places) - min(min(p[0], p[2]) for p in places) <= 480.0
    assert max(max(p[1], p[3]) for p in places) - min(min(p[1], p[3]) for p in places) <= 200.0


@settings(max_examples=6, deadline=None)
@given(st.sampled_from([(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0)]), st.floats(-200.0, 200.0))
def test_the_rows_do_not_hang_on_where_the_part_lies_in_its_file(x, shift):
    """Moved and turned with its zero, the same rows."""
    here, there = (setup_of(*moved_block(way, by)) for way, by in (((1.0, 0.0, 0.0), 0.0), (x, shift)))

    for a, b in zip(cuts(here), cuts(there), strict=True):
        assert (a.action, a.tool) == (b.action, b.tool)
        assert a.driven == pytest.approx(b.driven, abs=1e-6)


def moved_block(x: Vec3, shift: float) -> tuple[Part, PlannedSetup]:
    """Return a block and its set-up, turned about Z and moved along X."""
    angle = math.degrees(math.atan2(x[1], x[0]))

    def placed(low: Vec3, high: Vec3, label: str) -> Solid:
        moved = box((low[0] + shift, low[1], low[2]), (high[0] + shift, high[1], high[2]))
        return solid_from_shape(turned_about(moved, (shift, 0.0, 0.0), UP, angle), label)

    pair = placed((0.0, 0.0, 0.0), (90.0, 60.0, 25.0), "finished"), placed((-3.0, -3.0, -3.0), (93.0, 63.0, 28.0), "casting")
    part = hand_part(pair)
    ups = [f.name for f in part.faces if f.normal and f.normal[2] > 0.5]
    return part, hand_plan((), ups, zero=(shift, 0.0, 25.0), away=(-x[1], x[0], 0.0))


def test_inch_and_mm_sheets_drive_to_the_same_places():
    """One shop, two units of paper: only round figures (clear by 5 mm or 0.2 in, lanes on 0.5 mm or 0.02 in) differ."""
    part = plate(hand_hole("a", 9.0, (50.0, 40.0, 30.0), through=30.0), hand_hole("b", 12.0, (70.0, 40.0, 30.0), through=30.0))
    (top,) = names(part, UP)
    mm = drilled(part, None, top)
    inch = drilled(part, replace(hand_settings("inch"), tooling=hand_settings().tooling), top)

    assert len(mm.rows) == len(inch.rows)
    for a, b in zip(cuts(mm), cuts(inch), strict=True):
        assert (a.feature, a.action, a.tool) == (b.feature, b.action, b.tool)
        assert a.driven == pytest.approx(b.driven, abs=1.1)


def test_the_last_row_of_the_last_set_up_breaks_the_edges():
    """By what the drawing says, 0.3 mm; else 0.5 (common practice), and said. No other set-up has that row."""
    part = block()
    planned = on_top(*names(part, UP))

    asked = replace(hand_settings(), drawing=DrawingSettings(edges=0.3))
    last, stated = setup_of(part, planned, count=1).rows[-1], setup_of(part, planned, asked, count=1).rows[-1]

    assert (last.action, last.nominal) == ("break edges", 0.5)
    assert "the drawing gives no size" in last.note
    assert (stated.nominal, stated.note) == (0.3, "x 45 degrees on every sharp edge")
    assert setup_of(part, planned, count=2).rows[-1].action != "break edges"


def test_what_the_shop_lacks_never_becomes_another_cutter():
    """Take every cutter away in turn from a plate with all kinds of holes: what is cut is cut with what is left."""
    part = plate(
        hand_hole("a", 6.8, (20.0, 20.0, 30.0), through=30.0, callout="tapped M8"),
        hand_hole("b", 10.0, (50.0, 20.0, 30.0), through=30.0, callout="reamed 10 H7"),
    )
    full = hand_settings()
    used = {(row.tool.kind, row.tool.label) for row in cuts(drilled(part))}
    for kind, label in sorted(used):
        gone = next(c for c in full.tooling.cutters if (c.kind, c.label) == (kind, label))
        less = replace(full, tooling=without(full.tooling, gone))
        setup = drilled(part, less)
        owned = {(c.kind, c.diameter) for c in less.tooling.cutters}
        assert all(row.tool.kind == "boring head" or (row.tool.kind, row.tool.diameter) in owned for row in cuts(setup))
        assert setup.notes != drilled(part).notes


def without(shop: Shop, gone: Cutter) -> Shop:
    """Return the shop without one cutter."""
    return replace(shop, cutters=tuple(c for c in shop.cutters if c != gone))
