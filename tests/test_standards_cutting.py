"""Speeds, forces, friction and title fields agree with the published tables."""

import math

import pytest
from hypothesis import given
from hypothesis.strategies import floats

from geom.errors import StandardError
from geom.standards.alloy import alloy, alloy_names
from geom.standards.cutting import (
    cutting_factor,
    cutting_force,
    cutting_speed,
    deep_hole_factor,
    drill_feed,
    jaw_friction,
    spindle_speed,
    tapping_rpm,
)
from geom.standards.drawing_fields import check_title_fields, empty_fields, title_fields

WHERE = "shop.toml: cutters"
IRON = alloy("grey iron", WHERE)
ALUMINIUM = alloy("aluminium", WHERE)


@pytest.mark.parametrize(("inches", "rpm"), [(0.25, 760), (0.5, 380), (0.75, 250), (1.0, 190)])
def test_a_drill_in_cast_iron_turns_as_the_shop_table_says(inches: float, rpm: float) -> None:
    """Cast iron at 50 ft/min, 1/4 to 1 in: 760, 380, 250, 190 rpm (shop table, rounded to tens)."""
    assert spindle_speed(50 * 0.3048, inches * 25.4) == pytest.approx(rpm, abs=5.01)


@pytest.mark.parametrize(("inches", "rpm"), [(0.25, 1070), (0.312, 857), (0.375, 713), (0.5, 535), (0.625, 428)])
def test_a_tap_in_grey_iron_turns_as_the_tapping_table_says(inches: float, rpm: float) -> None:
    """Grey iron 70 ft/min: M6 (1/4) 1070, M8 (5/16) 857, M10 (3/8) 713, M12 (1/2) 535, M16 (5/8) 428 rpm (tapping table)."""
    assert tapping_rpm(IRON, inches * 25.4, WHERE) == pytest.approx(rpm, rel=0.001)


@pytest.mark.parametrize(
    ("name", "operation", "low", "high"),
    [
        ("grey iron", "drill", 25, 35),
        ("cast steel", "drill", 30, 36),
        ("brass", "drill", 60, 75),
        ("aluminium", "drill", 60, 90),
        ("gunmetal", "drill", 30, 45),
        ("grey iron", "mill", 15, 30),
        ("aluminium", "mill", 60, 150),
        ("grey iron", "slot", 9, 18),
        ("grey iron", "ream", 12.5, 35 * 0.667),
    ],
)
def test_speeds_are_the_shop_tables(name, operation, low: float, high: float) -> None:  # type: ignore[no-untyped-def]
    """Published shop tables for high-speed steel, m/min; slots -40 %, reaming half to two thirds of drilling."""
    found = cutting_speed(alloy(name, WHERE), operation, WHERE)

    assert (found.low, found.high) == pytest.approx((low, high))


def test_harder_iron_is_cut_slower() -> None:
    """Grey iron HB 200: 60-80 ft/min, 18.3-24.4 m/min; HB 120: 90-140 (published table). Between the rows it refuses to guess."""
    assert cutting_speed(IRON, "mill", WHERE, hardness=200).high == pytest.approx(80 * 0.3048)
    assert cutting_speed(IRON, "drill", WHERE, hardness=120).low == pytest.approx(90 * 0.3048)
    with pytest.raises(StandardError, match="any work at 110 to 140 HB"):
        cutting_speed(IRON, "mill", WHERE, hardness=500)


@pytest.mark.parametrize(("diameter", "feed"), [(6, 0.13), (12, 0.18), (18, 0.25), (25, 0.31), (9, 0.155), (3, 0.065), (40, 0.31)])
def test_drill_feeds_go_by_diameter(diameter: float, feed: float) -> None:
    """Cast iron 6:0.13 12:0.18 18:0.25 25:0.31 mm/rev (published); 9 mm lies half way, 3 mm gets half of 6, 40 no more than 25."""
    assert drill_feed(IRON, diameter, WHERE) == pytest.approx(feed)


@given(floats(0.5, 60), floats(0.5, 60))
def test_a_larger_drill_never_feeds_less(a: float, b: float) -> None:
    """Feed grows with the drill in every material of the table."""
    small, large = sorted((a, b))
    for name in ("grey iron", "aluminium", "bronze"):
        assert 0 < drill_feed(alloy(name, WHERE), small, WHERE) <= drill_feed(alloy(name, WHERE), large, WHERE)


def test_deep_holes_are_drilled_slower() -> None:
    """3 diameters -10 %, 4 -20 %, 5 -30 %, 6 -40 % (published); shallower full speed."""
    assert [deep_hole_factor(depth, 10) for depth in (29, 30, 40, 50, 60, 200)] == [1.0, 0.9, 0.8, 0.7, 0.6, 0.6]
    assert cutting_factor("carbide") == (2.0, 2.0)
    assert cutting_factor("light mill feed per tooth mm") == (0.02, 0.1)


@pytest.mark.parametrize(
    ("name", "hardness", "kc", "mc"),
    [
        ("grey iron", None, 1350, 0.28),
        ("grey iron", 180, 1150, 0.20),
        ("ductile iron", 160, 1225, 0.25),
        ("malleable iron", None, 1420, 0.30),
        ("cast steel", 130, 1350, 0.21),
        ("aluminium", 80, 700, 0.25),
        ("aluminium", None, 750, 0.25),
        ("brass", None, 700, 0.27),
    ],
)
def test_cutting_forces_are_those_of_the_material_groups(name: str, hardness: float | None, kc: float, mc: float) -> None:
    """kc1.1 and mc of the VDI 3323 groups (published toolmaker table); unknown hardness takes the greatest, the safe side."""
    found = cutting_force(alloy(name, WHERE), WHERE, hardness)

    assert (found.kc, found.mc) == (kc, mc)
    assert "VDI 3323" in found.source


@pytest.mark.parametrize(
    ("name", "surface", "jaw", "friction"),
    [
        ("cast steel", "machined", "smooth", 0.10),
        ("grey iron", "rough", "serrated", 0.36),
        ("aluminium", "finished", "diamond", 0.114),
        ("brass", "rough", "smooth", 0.135),
        ("bronze", "machined", "smooth", 0.08),
    ],
)
def test_jaws_hold_as_the_clamping_table_says(name, surface, jaw, friction: float) -> None:  # type: ignore[no-untyped-def]
    """Chuck maker's table for steel times 0.80 for iron, 0.95 aluminium, 0.90 brass; an alloy it does not name gets 0.80."""
    assert jaw_friction(alloy(name, WHERE), surface, jaw) == pytest.approx(friction)


@pytest.mark.parametrize(
    ("act", "told"),
    [
        (lambda: cutting_speed(alloy("zinc", WHERE), "drill", WHERE), "give no speed to drill zinc"),
        (lambda: cutting_speed(alloy("bronze", WHERE), "mill", WHERE), "they have drill"),
        (lambda: drill_feed(alloy("copper", WHERE), 6, WHERE), "no drill feed for copper"),
        (lambda: cutting_force(alloy("magnesium", WHERE), WHERE), "it has grey iron, ductile iron"),
        (lambda: tapping_rpm(alloy("zinc", WHERE), 6, WHERE), "tap by hand"),
    ],
)
def test_no_table_no_number(act, told: str) -> None:  # type: ignore[no-untyped-def]
    """Where no table was seen there is no made-up speed: the message says so and what to give."""
    with pytest.raises(StandardError) as refusal:
        act()
    assert str(refusal.value).startswith(WHERE)
    assert told in str(refusal.value)


def test_every_name_in_the_alloy_table_has_a_row_where_it_points() -> None:
    """An alloy that says it cuts as "cast iron" finds cast iron in the cutting tables."""
    for name in alloy_names():
        metal = alloy(name, WHERE)
        if metal.cutting:
            assert cutting_speed(metal, "drill", WHERE).low > 0
            assert drill_feed(metal, 6, WHERE) > 0
        if metal.tapping:
            assert tapping_rpm(metal, 10, WHERE) > 0
        if metal.force:
            assert cutting_force(metal, WHERE).kc >= 700
        assert 0.05 < jaw_friction(metal, "finished", "smooth") <= 0.07


@given(floats(1, 300), floats(1, 100))
def test_the_rim_runs_at_the_cutting_speed(speed: float, diameter: float) -> None:
    """One turn is pi times the diameter: rpm x circumference is the speed again."""
    assert spindle_speed(speed, diameter) * math.pi * diameter / 1000 == pytest.approx(speed)


def test_the_title_block_has_the_fields_of_iso_7200() -> None:
    """Eight mandatory fields (public summary of ISO 7200): owner, number, date, sheet, title, approval, creator, document type."""
    needed = [field.name for field in title_fields() if field.mandatory]

    assert needed == [
        "legal owner",
        "identification number",
        "date of issue",
        "segment/sheet number",
        "title",
        "approval person",
        "creator",
        "document type",
    ]
    assert {field.name: field.characters for field in title_fields()}["title"] == 25
    assert empty_fields(dict.fromkeys(needed, "x")) == ()
    assert empty_fields({"title": " "})[4] == "title"


def test_a_title_that_does_not_fit_is_refused() -> None:
    """ISO 7200 allows 25 characters for the title; the message counts them, and a wrong field names the nearest."""
    check_title_fields({"title": "Footstep bearing housing", "legal owner": "x" * 200}, WHERE)
    with pytest.raises(StandardError, match=r"has 33 characters; ISO 7200 allows 25"):
        check_title_fields({"title": "Footstep bearing housing, casting"}, WHERE)
    with pytest.raises(StandardError, match="did you mean 'title'"):
        check_title_fields({"titel": "Housing"}, WHERE)
