"""Threads and drills: pitches, minor diameters and percent of thread agree with the published ones."""

import math

import pytest
from hypothesis import given
from hypothesis.strategies import floats, sampled_from

from geom.errors import StandardError
from geom.standards.drill import INCH_KINDS, KINDS, DrillKind, drill_named, drill_set, largest_drill, nearest_drill, stock_drill
from geom.standards.table import TableRow, table
from geom.standards.thread import ListedThread, find_thread, minor_diameter, percent_thread, pitch_diameter, threads, with_percent

WHERE = "job.toml: holes.a.for"


@pytest.mark.parametrize("row", table("threads_metric").rows, ids=lambda row: f"{row.text('size')}x{row.text('pitch')}")
def test_metric_pitch_and_minor_diameters_follow_iso_724(row: TableRow) -> None:
    """D2 = D - 3/4 H and D1 = D - 5/4 H with H = P sqrt(3)/2 (ISO 724), printed to a micrometre."""
    major, pitch = float(row.text("size")[1:]), row.number("pitch")
    height = pitch * math.sqrt(3) / 2

    assert row.number("pitch_diameter") == pytest.approx(major - 0.75 * height, abs=0.0006)
    assert row.number("minor_diameter") == pytest.approx(major - 1.25 * height, abs=0.0006)
    assert pitch_diameter(major, pitch) == pytest.approx(row.number("pitch_diameter"), abs=0.0006)
    assert minor_diameter(major, pitch) == pytest.approx(row.number("minor_diameter"), abs=0.0006)


def test_the_quarter_inch_tap_drill_is_number_seven() -> None:
    """1/4-20 at 75 %: 0.250 - 0.0130 * 75 / 20 = 0.20125 in, nearest drill no. 7 (0.201): the trade's 75 % rule."""
    rule = 0.250 - 0.0130 * 75 / 20
    listed = find_thread("1/4-20", WHERE)

    assert nearest_drill(rule * 25.4, INCH_KINDS).name == "no. 7"
    assert listed.thread.drill.name == "no. 7"
    assert listed.thread.drill.diameter == pytest.approx(0.201 * 25.4, abs=1e-12)
    assert percent_thread(6.35, 1.27, rule * 25.4) == pytest.approx(75, abs=0.06)
    assert with_percent(listed, 75, WHERE).drill.name == "no. 7"


def test_diameter_less_pitch_leaves_77_percent() -> None:
    """D - P leaves 76.98 % whatever the thread (trade rule); 1.0825 P would say 92 %, a common error."""
    assert percent_thread(10, 1.5, 8.5) == pytest.approx(76.98, abs=0.005)
    assert percent_thread(6, 1, 5) == pytest.approx(76.98, abs=0.005)


ODD_DRILLS = {"1-12 UNF": 57.7, "9/16-24 UNEF": 86.6, "5/8-24 UNEF": 86.6, "11/16-24 UNEF": 86.6}
"""Rows of the published tap-drill table that are not about 75 %; worked out by hand from the printed drill."""


@pytest.mark.parametrize("listed", threads(), ids=lambda listed: listed.thread.designation)
def test_every_tap_drill_leaves_a_thread_that_holds_and_a_tap_that_turns(listed: ListedThread) -> None:
    """Published tap drills leave 60 to 85 % of full thread, save four rows we know, and are drills one can buy."""
    thread = listed.thread
    odd = ODD_DRILLS.get(thread.designation)

    assert 60 <= thread.percent <= 85 if odd is None else thread.percent == pytest.approx(odd, abs=0.05)
    assert thread.drill.diameter < thread.major
    assert any(drill == thread.drill for kind in KINDS for drill in drill_set(kind))


@pytest.mark.parametrize("row", [row for row in table("threads_unified").rows if row.text("hard_drill")], ids=lambda row: row.place)
def test_the_hard_material_drill_is_never_smaller(row: TableRow) -> None:
    """The larger drill of the trade table leaves less thread to break a tap on."""
    assert drill_named(row.text("hard_drill"), WHERE).diameter >= drill_named(row.text("drill"), WHERE).diameter


def test_numbered_sizes_step_by_thirteen_thousandths() -> None:
    """A numbered screw is 0.060 in plus 0.013 in a number (ASME B1.1)."""
    for row in table("threads_unified").rows:
        if row.text("size").startswith("no. "):
            assert row.number("major") == pytest.approx(0.060 + 0.013 * int(row.text("size")[4:]), abs=1e-12)


@pytest.mark.parametrize(
    ("name", "inches"),
    [
        *[("no. 1", 0.228), ("no. 7", 0.201), ("no. 29", 0.136), ("no. 43", 0.089), ("no. 60", 0.040), ("no. 80", 0.0135)],
        *[("A", 0.234), ("F", 0.257), ("Q", 0.332), ("Z", 0.413), ("27/64", 0.421875), ("1-1/32", 1.03125)],
    ],
)
def test_drills_measure_what_the_trade_tables_say(name: str, inches: float) -> None:
    """Anchors of the number, letter and fraction series (published drill tables)."""
    assert drill_named(name, WHERE).diameter == pytest.approx(inches * 25.4, abs=1e-12)


def test_drill_series_are_whole_and_in_order() -> None:
    """Eighty numbers getting smaller, 26 letters getting larger, 64ths of an inch to 1 in, tenths of a mm to 13.9."""
    numbers = [drill_named(f"no. {n}", WHERE).diameter for n in range(1, 81)]
    letters = [drill_named(letter, WHERE).diameter for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"]

    assert numbers == sorted(numbers, reverse=True)
    assert letters == sorted(letters)
    assert max(numbers) < min(letters)
    assert len({drill.name for drill in drill_set("fraction") if drill.diameter <= 25.4}) == 64
    assert all(stock_drill(tenths / 10, ("mm",), 1e-9) for tenths in range(5, 140))


@pytest.mark.parametrize("written", ["#7", "no 7", "No. 7", "NO.7", " no.  7 "])
def test_a_number_drill_may_be_written_several_ways(written: str) -> None:
    """The sheet says "no. 7"; people write #7."""
    assert drill_named(written, WHERE).name == "no. 7"


def test_a_drill_nobody_makes_is_refused() -> None:
    """No. 81 is below the series; 100 mm is above any drill, so bore it."""
    with pytest.raises(StandardError, match=r"no\. 1 to no\. 80, A to Z"):
        drill_named("no. 81", WHERE)
    with pytest.raises(StandardError, match="bore it instead"):
        nearest_drill(100, ("mm",))
    with pytest.raises(StandardError, match="no drill near nan"):
        nearest_drill(math.nan, KINDS)


@given(floats(0.4, 30), sampled_from([("mm",), INCH_KINDS, KINDS]))
def test_no_drill_is_nearer_than_the_nearest(diameter: float, kinds: tuple[DrillKind, ...]) -> None:
    """The nearest drill of the sets is found, and the largest not above a size is not above it."""
    near = nearest_drill(diameter, kinds)
    below = largest_drill(diameter, kinds)
    drills = [drill for kind in kinds for drill in drill_set(kind)]

    assert all(abs(near.diameter - diameter) <= abs(drill.diameter - diameter) for drill in drills)
    assert below is None or below.diameter <= diameter + 1e-6
    assert not any(drill.diameter <= diameter and (below is None or drill.diameter > below.diameter) for drill in drills)


@given(floats(50, 85), sampled_from(threads()))
def test_more_thread_never_wants_a_larger_drill(percent: float, listed: ListedThread) -> None:
    """Asking for more thread gives the same or a smaller drill, within half a drill step of what was asked."""
    asked, most = with_percent(listed, percent, WHERE), with_percent(listed, 85, WHERE)

    assert most.drill.diameter <= asked.drill.diameter
    assert asked.percent == pytest.approx(percent_thread(asked.major, asked.pitch, asked.drill.diameter))


@pytest.mark.parametrize(
    ("written", "designation"),
    [
        ("M10", "M10"),
        ("m 10 X 1.5", "M10"),
        ("M10x1.25", "M10x1.25"),
        ("M10×1", "M10x1"),
        ("3/8-16 UNC", "3/8-16 UNC"),
        ("3/8-16", "3/8-16 UNC"),
        ("3/8 unf", "3/8-24 UNF"),
        ('3/8"-24', "3/8-24 UNF"),
        ("6/16-24", "3/8-24 UNF"),
        ("1/2 - 20", "1/2-20 UNF"),
        ("1-8", "1-8 UNC"),
        ("10-32", "10-32 UNF"),
        ("#10-24 UNC", "10-24 UNC"),
        ("no. 8-32", "8-32 UNC"),
    ],
)
def test_a_thread_is_found_however_it_is_written(written: str, designation: str) -> None:
    """Case, spaces and the ways to write an inch size do not matter (ISO 261, ASME B1.1 designations)."""
    assert find_thread(written, WHERE).thread.designation == designation


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("M7", "M3, M4, M5, M6, M8, M10"),
        ("M10x1.2", "M10x1.5 (coarse), M10x1.25 (fine), M10x1 (fine)"),
        ("M10x0", "M10x1.5 (coarse)"),
        ("3/8", "3/8-16 UNC, 3/8-24 UNF, 3/8-32 UNEF"),
        ("3/8-16 UNF", "3/8-16 UNC"),
        ("3/8-20", "3/8-24 UNF"),
        ("3/7-20", "no. 4, no. 5"),
        ("2/0-20", "no. 4, no. 5"),
        ("99-20", "no. 4, no. 5"),
        ("a bolt", "M10x1.25, 3/8-16 UNC"),
        ("", "M10x1.25"),
    ],
)
def test_a_thread_that_is_not_in_the_tables_is_told_what_is(written: str, told: str) -> None:
    """A pitch that belongs to no tap on the shelf is found at the desk, not at the machine."""
    with pytest.raises(StandardError) as refusal:
        find_thread(written, WHERE)
    assert str(refusal.value).startswith(WHERE)
    assert told in str(refusal.value)


@pytest.mark.parametrize("percent", [0, 49, 86, 100, math.nan])
def test_a_silly_percent_of_thread_is_refused(percent: float) -> None:
    """Below half a thread it strips early, above 85 % taps break (common practice)."""
    with pytest.raises(StandardError, match="give 50 to 85 %"):
        with_percent(find_thread("M10", WHERE), percent, WHERE)
