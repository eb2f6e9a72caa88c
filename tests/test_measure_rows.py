"""What is measured before the work is unclamped: nominals by hand, limits as the job states them."""

import math
from dataclasses import replace

import pytest

from geom.looks.measure_rows import measure_rows
from geom.model.part import Part
from geom.recognise.part import recognise
from geom.rows.plan import PickUp
from geom.rows.records import Row
from geom.settings.records import DrawingSettings, FaceSettings
from tests.catalogue import block_in_block, bolt_circle_cover
from tests.hand_parts import hand_hole, hand_part, hand_settings
from tests.hand_plans import hand_hold, hand_plan, stepped_block

PAIR = block_in_block()


@pytest.fixture(scope="module")
def block() -> Part:
    """A 60 x 40 x 30 block from the origin, machined all over."""
    return recognise("block", "grey iron", *PAIR)


def measured(part: Part, *features: str, settings=None, **planned) -> dict[str, Row]:
    rows = measure_rows(hand_plan(features=features, **planned), part, settings or hand_settings())
    return {f"{row.feature}: {row.note}": row for row in rows}


def only(rows: dict[str, Row]) -> Row:
    (row,) = rows.values()
    return row


def test_the_second_side_is_measured_over_the_seat(block):
    """Seat machined: the top stands 30 over it, by height gauge, with the job's own tolerance."""
    settings = hand_settings(faces={"top": FaceSettings(tolerance=0.1)})
    row = only(measured(block, "top", settings=settings, hold=hand_hold("bottom", ("seat",)), zero=(30.0, 20.0, 30.0)))

    assert row.tool.kind == "height gauge"
    assert row.nominal == pytest.approx(30.0)
    assert row.limits == pytest.approx((29.9, 30.1))
    assert "second side to size" in row.note


def test_metal_left_on_purpose_is_counted(block):
    """0.2 left for scraping: 30.2 over the seat now."""
    row = only(measured(block, "top", hold=hand_hold("bottom", ("seat",)), leaves=[("top", 0.2)]))

    assert row.nominal == pytest.approx(30.2)
    assert row.limits == pytest.approx((29.9, 30.5))
    assert row.note.endswith("general, ISO 2768-m")


@pytest.mark.parametrize(("grade", "half"), [("f", 0.1), ("m", 0.2), ("c", 0.5)])
def test_a_size_without_limits_has_the_drawings_general_ones(block, grade, half):
    """30 over the seat: ISO 2768-1 gives 6 to 30 mm 0.1, 0.2, 0.5 for f, m, c (from memory)."""
    asked = replace(hand_settings(), drawing=DrawingSettings(general=grade))
    row = only(measured(block, "top", settings=asked, hold=hand_hold("bottom", ("seat",)), zero=(30.0, 20.0, 30.0)))

    assert row.limits == pytest.approx((30.0 - half, 30.0 + half))
    assert f"general, ISO 2768-{grade}" in row.note


def test_a_face_over_a_rough_seat_is_measured_from_the_zero(block):
    """Zero 10 under the top: 10 above Z 0. The face that is Z 0 itself has nothing to measure."""
    assert only(measured(block, "top", hold=hand_hold("bottom"), zero=(0.0, 0.0, 20.0))).nominal == pytest.approx(10.0)
    assert measured(block, "top", hold=hand_hold("bottom"), zero=(0.0, 0.0, 30.0)) == {}


def test_the_first_cut_from_skin_is_measured_through_to_the_skin_below():
    """Z picked up from rough skin, the plate's foot as cast: 20 through the plate, 50 through the block, as sure as the skin."""
    part = stepped_block()
    rough = PickUp("z", "height", ("top",), False)
    rows = measure_rows(hand_plan((rough,), ("top", "top 2"), zero=(0.0, 0.0, 50.0)), part, hand_settings())

    assert {row.feature: row.nominal for row in rows} == {"top": pytest.approx(50.0), "top 2": pytest.approx(20.0)}
    assert all("bottom, as cast" in row.note for row in rows)
    assert rows[0].limits == pytest.approx((48.0, 52.0))  # ISO 8062-3 DCTG 11: 4 in all from 40 to 63
    assert all("general, ISO 8062-3 DCTG 11" in row.note for row in rows)


def test_the_threads_of_a_pattern_are_gauged_by_one_row():
    """Four M8 on a rectangle: one row by the pattern's name that says each of its 4, not four alike."""
    holes = [hand_hole(f"screw {i}", 6.8, at, through=30.0, callout="tapped M8")
             for i, at in enumerate([(10.0, 10.0, 30.0), (50.0, 10.0, 30.0), (10.0, 30.0, 30.0), (50.0, 30.0, 30.0)])]  # fmt: skip
    plan = hand_plan(features=tuple(h.name for h in holes), zero=(30.0, 20.0, 30.0))
    rows = measure_rows(plan, hand_part(PAIR, holes), hand_settings())
    gauged = [row for row in rows if row.tool.kind == "thread gauge"]

    assert [(row.feature, row.note) for row in gauged] == [("rectangle 1", "each of its 4")]


def test_two_ends_cut_in_one_set_up_are_measured_across(block):
    """Left and right cut here: 60 across, told once; front alone: from the zero."""
    row = only(measured(block, "left", "right"))
    front = only(measured(block, "front", zero=(30.0, 15.0, 30.0)))

    assert (row.tool.kind, row.nominal) == ("caliper", pytest.approx(60.0))
    assert front.nominal == pytest.approx(15.0)


def test_an_end_cut_against_a_machined_jaw_face_is_measured_across(block):
    """The back is in the fixed jaw and machined: the front stands 40 from it."""
    row = only(measured(block, "front", hold=hand_hold(machined=("fixed jaw",), fixed_jaw="back")))

    assert row.nominal == pytest.approx(40.0)


def test_fitted_holes_are_gauged_to_their_callouts_limits():
    """10 H7: 10.000 to 10.015 (ISO 286-2), plug gauge; 40 H7: 40.000 to 40.025, micrometer; M8: thread gauge."""
    holes = [
        hand_hole("pin", 10.0, (0.0, 0.0, 30.0), through=30.0, callout="reamed 10 H7"),
        hand_hole("bush", 40.0, (30.0, 20.0, 30.0), through=30.0, callout="bored 40 H7"),
        hand_hole("screw", 6.8, (30.0, 20.0, 30.0), through=30.0, callout="tapped M8"),
        hand_hole("plain", 9.0, (30.0, 20.0, 30.0), through=30.0),
    ]
    part = hand_part(PAIR, holes)
    rows = measure_rows(hand_plan(features=("pin", "bush", "screw", "plain")), part, hand_settings())
    pin, bush, screw = (next(r for r in rows if r.feature == name) for name in ("pin", "bush", "screw"))

    assert (pin.tool.kind, pin.tool.label, pin.limits) == ("plug gauge", "10 H7", pytest.approx((10.0, 10.015)))
    assert (bush.tool.kind, bush.limits) == ("micrometer", pytest.approx((40.0, 40.025)))
    assert (screw.tool.kind, screw.tool.label) == ("thread gauge", "M8")
    assert not any(r.feature == "plain" for r in rows)


def test_the_wider_lengths_of_a_bored_hole_are_measured():
    """A seat of 55 x 10 in a bore of 40: diameter and depth of its floor."""
    hole = hand_hole("bore", 40.0, (30.0, 20.0, 30.0), through=30.0, steps=[(0.0, 10.0, 55.0, 55.0), (10.0, 30.0, 40.0, 40.0)],
                     callout="bored 40 H7")  # fmt: skip
    rows = measure_rows(hand_plan(features=("bore",), zero=(30.0, 20.0, 30.0)), hand_part(PAIR, [hole]), hand_settings())

    assert [row.nominal for row in rows] == [40.0, 55.0, 10.0]


def test_a_bolt_circle_is_measured_across_and_an_odd_one_by_its_chord():
    """Six on 90: 90 across. Three on 90: neighbours 90 sin 60 = 77.942 apart (trigonometry)."""
    cover = recognise("cover", "grey iron", *bolt_circle_cover())
    nines = tuple(h.name for h in cover.holes if h.diameter == pytest.approx(9.0))
    six = only({k: r for k, r in measured(cover, *nines).items() if r.feature == "circle 1"})
    turns = [math.radians(90.0 + 120.0 * i) for i in range(3)]
    three = [hand_hole(f"h{i}", 8.0, (45.0 * math.cos(t), 45.0 * math.sin(t), 30.0), through=30.0) for i, t in enumerate(turns)]
    row = only(measured(hand_part(PAIR, three), "h0", "h1", "h2"))

    assert len(nines) == 6
    assert six.nominal == pytest.approx(90.0)
    assert row.nominal == pytest.approx(77.942, abs=1e-3)


def test_a_lone_fitted_hole_is_measured_from_the_zero():
    """A reamed hole at 30, 40 from zero is 50 away (3, 4, 5)."""
    part = hand_part(PAIR, [hand_hole("pin", 10.0, (30.0, 40.0, 30.0), through=30.0, callout="reamed 10 H7")])
    rows = measure_rows(hand_plan(features=("pin",)), part, hand_settings())

    assert [row.nominal for row in rows] == pytest.approx([10.0, 50.0])


def test_what_another_set_up_makes_is_not_measured(block):
    """Only what was cut here."""
    assert measured(block) == {}
