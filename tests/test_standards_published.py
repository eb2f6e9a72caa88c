"""Every shipped value against a second transcription of the published table it came from (see `published`)."""

from fractions import Fraction
from itertools import pairwise

import pytest

from geom.errors import StandardError
from geom.standards.cutting import spindle_speed
from geom.standards.drill import drill_named
from geom.standards.fits import hole_grades, hole_limits
from geom.standards.table import TableRow, table
from geom.standards.thread import find_thread
from geom.standards.tolerance_grades import ALLOWANCE_GRADES, GENERAL_CLASSES, general_tolerance
from tests import published
from tests.published import lines

WHERE = "published"


def row(name: str, size: str) -> TableRow:
    """The shipped row of a screw size; a bare number is a numbered size."""
    plain = size if "/" in size or size.startswith("M") or size == "1" else f"no. {size}"
    return table(name).row_for("size", plain, "size", WHERE)


def numbers(found: TableRow, *columns: str) -> list[float]:
    """Cells of a row as numbers."""
    return [found.number(column) for column in columns]


def test_metric_screws_need_what_their_standards_print() -> None:
    """ISO 273, ISO 4762 with DIN 974-1, ISO 10642: every size, every column."""
    for size, *printed in lines(published.CLEARANCE_METRIC):
        assert numbers(row("clearance_metric", size), "fine", "medium", "coarse") == list(map(float, printed)), size
    for size, *printed in lines(published.SOCKET_HEAD_METRIC):
        found = numbers(row("socket_head_metric", size), "head_diameter", "head_height", "key", "counterbore")
        assert found == list(map(float, printed)), size
    for size, *printed in lines(published.COUNTERSUNK_METRIC):
        assert numbers(row("countersunk_metric", size), "least_head_diameter", "head_diameter") == list(map(float, printed)), size


def test_inch_screws_need_what_their_standards_print() -> None:
    """ASME B18.2.8 and B18.3 print three places, so our fractions agree to half a thousandth (heads rounded either way)."""
    for size, *printed in lines(published.CLEARANCE_INCH):
        found = numbers(row("clearance_inch", size), "fine", "medium", "coarse")
        assert found == pytest.approx(list(map(float, printed)), abs=0.00055), size
    for size, diameter, height, key in lines(published.SOCKET_HEAD_INCH):
        found = numbers(row("socket_head_inch", size), "head_diameter", "head_height", "key")
        assert found == pytest.approx([float(diameter), float(height), float(Fraction(key))], abs=0.00105), size
    for size, *printed in lines(published.COUNTERSUNK_INCH):
        assert numbers(row("countersunk_inch", size), "head_diameter", "least_head_diameter") == list(map(float, printed)), size


def test_the_larger_countersunk_and_smaller_clearance_sizes_follow_the_pattern() -> None:
    """7/8 and 1 in flat heads are 0.25 in wider each eighth (as 5/8 to 3/4 is); clearance below no. 8 is close."""
    heads = [row("countersunk_inch", size).number("head_diameter") for size in ("5/8", "3/4", "7/8", "1")]
    assert [round(b - a, 6) for a, b in pairwise(heads)] == [0.25, 0.25, 0.25]
    for number in (4, 5, 6):
        major = 0.060 + 0.013 * number
        fits = numbers(row("clearance_inch", str(number)), "fine", "medium", "coarse")
        assert major + 0.005 < fits[0] < fits[1] < fits[2] < major + 0.05


def test_flat_heads_have_one_angle() -> None:
    """90 degrees for every metric head (ISO 10642), 82 for every inch head (ASME B18.3)."""
    assert set(table("countersunk_metric").column("angle")) == {"90"}
    assert set(table("countersunk_inch").column("angle")) == {"82"}


def test_inch_counterbores_are_fractional_cutters_a_little_over_the_head() -> None:
    """Common practice: the next 32nd of an inch that leaves 1/32 to 1/8 in on the head."""
    for found in table("socket_head_inch").rows:
        cutter, head = found.number("counterbore"), found.number("head_diameter")
        assert cutter * 32 == int(cutter * 32)
        assert 0.03 <= cutter - head <= 0.126, found.text("size")


def test_metric_threads_are_those_printed() -> None:
    """ISO 261 pitches, ISO 724 diameters and the usual tap drills, coarse and fine."""
    for size, pitch, drill, pitch_diameter, minor in lines(published.TAP_DRILLS_METRIC):
        listed = find_thread(size, WHERE)
        assert (listed.series, listed.thread.pitch, listed.thread.drill.diameter) == ("coarse", float(pitch), float(drill))
        shipped = next(r for r in table("threads_metric").rows if r.text("size") == size and r.text("series") == "coarse")
        assert numbers(shipped, "pitch_diameter", "minor_diameter") == [float(pitch_diameter), float(minor)]
    for size, pitch, minor, drill in lines(published.FINE_THREADS):
        listed = find_thread(f"{size}x{float(pitch):g}", WHERE)
        assert listed.thread.drill.diameter == float(drill)
        assert listed.minor == pytest.approx(float(minor), abs=0.0011)


def test_inch_threads_are_those_printed() -> None:
    """Every row of the trade's tap-drill table, usual and hard material; numbered sizes coarse and fine."""
    for thread, soft, hard in lines(published.TAP_DRILLS_INCH):
        listed = find_thread(thread, WHERE)
        size, _, tpi = thread.partition("-")
        shipped = next(r for r in table("threads_unified").rows if r.text("size") == size and r.text("tpi") == tpi)
        assert listed.thread.drill == drill_named(soft, WHERE)
        assert drill_named(shipped.text("hard_drill"), WHERE) == drill_named(hard, WHERE)
        assert shipped.number("major") == float(Fraction(size))
    for size, major, *threads in lines(published.NUMBERED_TAP_DRILLS):
        for tpi, drill, series in ((threads[0], threads[1], "UNC"), (threads[2], threads[3], "UNF")):
            listed = find_thread(f"{size}-{tpi} {series}", WHERE)
            assert listed.thread.drill == drill_named(f"no. {drill}", WHERE)
            assert listed.thread.major == pytest.approx(float(major) * 25.4)


def test_letter_and_number_drills_are_those_printed() -> None:
    """All 26 letters and 76 of the 80 numbers; the other four lie between their neighbours."""
    words = [word for line in lines(published.LETTER_DRILLS) for word in line]
    for letter, inches in zip(words[::2], words[1::2], strict=True):
        assert drill_named(letter, WHERE).diameter == pytest.approx(float(inches) * 25.4)
    words = [word for line in lines(published.NUMBER_DRILLS) for word in line]
    for number, inches in zip(words[::2], words[1::2], strict=True):
        assert drill_named(f"no. {number}", WHERE).diameter == pytest.approx(float(inches) * 25.4)
    assert len(words) == 2 * 76
    for unseen in (5, 6, 11, 15):
        larger, this, smaller = (drill_named(f"no. {unseen + step}", WHERE).diameter for step in (-1, 0, 1))
        assert larger > this > smaller


def test_drill_runs_end_where_shops_stop() -> None:
    """Tenths from 0.5 to 13.9 mm, quarters from 14 to 32 mm; 64ths to 1 in, 32nds to 1-1/2 in (common practice)."""
    assert [r.text("first") + " " + r.text("last") for r in table("drills_metric").rows] == ["0.5 13.9", "14 32"]
    assert drill_named("1-1/2", WHERE).diameter == 38.1
    assert drill_named("1/64", WHERE).diameter == pytest.approx(0.396875)


def test_standard_tolerances_are_those_printed() -> None:
    """ISO 286-1 IT6 to IT11, 0 to 500 mm, every cell, at both ends of each range."""
    for _, high, *printed in lines(published.STANDARD_TOLERANCES):
        for grade, width in zip(hole_grades(), printed, strict=True):
            least, most = hole_limits(float(high), grade, WHERE)
            assert most - least == pytest.approx(float(width), abs=1e-9)
    assert table("hole_limits").column("over") == tuple(line[0] for line in lines(published.STANDARD_TOLERANCES))


def test_general_tolerances_are_those_printed() -> None:
    """ISO 2768-1, every cell, at both ends of each range."""
    for low, high, *printed in lines(published.GENERAL_TOLERANCES):
        for grade, half in zip(GENERAL_CLASSES, printed, strict=True):
            assert general_tolerance(float(low) + 1e-6, grade) == general_tolerance(float(high), grade) == float(half)
    with pytest.raises(StandardError, match=r"over 0\.5 to 2000 mm"):
        general_tolerance(2100.0, "m")
    with pytest.raises(StandardError, match="it has f, m, c"):
        general_tolerance(10.0, "x")


def test_casting_tolerances_and_allowances_are_those_printed() -> None:
    """ISO 8062-3: every cell of both tables, blanks included."""
    for shipped, (low, high, *printed) in zip(table("casting_tolerance").rows, lines(published.CASTING_TOLERANCE), strict=True):
        assert (shipped.text("over"), shipped.text("upto")) == (low, high)
        assert [shipped.text(str(grade)) or "-" for grade in range(1, 17)] == printed
    for shipped, (low, high, *printed) in zip(table("machining_allowance").rows, lines(published.MACHINING_ALLOWANCE), strict=True):
        assert numbers(shipped, "over", "upto", *ALLOWANCE_GRADES) == list(map(float, [low, high, *printed]))


def test_draft_and_foundry_allowances_are_those_printed() -> None:
    """NPTEL draft table and a foundry's allowance table: every cell."""
    for pattern, height, external, internal in lines(published.DRAFT):
        shipped = table("draft_angles").row_for("upto", height.split("-")[1], "height", WHERE)
        assert shipped.text("over") == height.split("-")[0]
        assert numbers(shipped, f"{pattern}_external", f"{pattern}_internal") == [float(external), float(internal)]
    for shipped, printed in zip(table("foundry_allowances").rows, lines(published.FOUNDRY_ALLOWANCES), strict=True):
        assert numbers(shipped, "upto", "allowance", "upper_extra") == list(map(float, printed))


def test_cutting_data_are_those_printed() -> None:
    """Shop tables of speeds and feeds, VDI 3323 forces, the chuck maker's friction: every cell."""
    speeds = [r for r in table("cutting_speeds").rows if r.text("operation") != "any"]
    for shipped, line in zip(speeds, published.CUTTING_SPEEDS.split("\n")[1:-1], strict=True):
        found = f"{shipped.text('material')}/{shipped.text('operation')} {shipped.text('low')}-{shipped.text('high')}"
        assert (found, shipped.text("speed_unit")) == (line, "m/min")
    hard = [r for r in table("cutting_speeds").rows if r.text("operation") == "any"]
    for shipped, (brinell, feet) in zip(hard, lines(published.HARD_IRON_SPEEDS), strict=True):
        assert f"{shipped.text('hardness_low')}-{shipped.text('hardness_high')}" == brinell
        assert f"{shipped.text('low')}-{shipped.text('high')} {shipped.text('speed_unit')}" == f"{feet} ft/min"
    for shipped, line in zip(table("drill_feeds").rows, published.DRILL_FEEDS.split("\n")[1:-1], strict=True):
        assert f"{shipped.text('material')}/" + " ".join(shipped.text(d) for d in ("6", "12", "18", "25")) == line
    for shipped, printed in zip(table("cutting_force").rows, lines(published.CUTTING_FORCE), strict=True):
        assert [shipped.text("kc"), shipped.text("mc")] == printed
    for shipped, printed in zip(table("jaw_friction").rows, lines(published.JAW_FRICTION), strict=True):
        assert numbers(shipped, "smooth", "diamond", "serrated") == list(map(float, printed))


def test_hardness_ranges_are_those_printed() -> None:
    """VDI 3323 groups: Brinell of each row, in the table's order (published toolmaker table)."""
    printed = ["180", "260", "160", "250", "230", "125", "190", "60-100", "75-90", "130", "90-110"]
    found = [(r.text("hardness_low"), r.text("hardness_high")) for r in table("cutting_force").rows]

    assert [low if low == high else f"{low}-{high}" for low, high in found] == printed


def test_tapping_speeds_give_the_printed_rpm() -> None:
    """Tapping table: rpm = 3.82 ft/min / inches at 1/4, .312, 3/8 and 1/2 in, every material, to one turn in 500."""
    for line in published.TAPPING.split("\n")[1:-1]:
        material, _, figures = line.partition("/")
        speed, *turns = map(float, figures.split())
        shipped = table("tapping_speeds").row_for("material", material, "material", WHERE).number("speed")
        assert shipped == speed
        for inches, rpm in zip((0.25, 0.312, 0.375, 0.5), turns, strict=True):
            assert spindle_speed(shipped * 0.3048, inches * 25.4) == pytest.approx(rpm, rel=0.002)


def test_deep_hole_factors_are_those_printed() -> None:
    """3 D -10 %, 4 D -20 %, 5 D -30 %, 6 D -35 to -40 % (published)."""
    found = [table("cutting_factors").row_for("item", f"deep hole {n}", "item", WHERE) for n in (3, 4, 5, 6)]

    assert [(r.number("low"), r.number("high")) for r in found] == [(0.9, 0.9), (0.8, 0.8), (0.7, 0.7), (0.6, 0.65)]


def test_typical_grades_are_those_printed() -> None:
    """ISO 8062-3 typical grades (from memory) by process: steel, grey, SG, copper alloy, light metal; RMAG of the sand rows."""
    groups = ("steel", "grey iron", "SG iron", "copper alloy", "light metal")
    printed = [
        "11-14 11-14 11-14 10-13 9-12",
        "8-12 8-12 8-12 8-10 7-9",
        "13-15 13-15 13-15 13-15 11-13",
        "12-14 11-13 11-13 10-12 10-12",
    ]
    for shipped, line in zip(table("casting_grades").rows, printed, strict=False):
        assert " ".join(shipped.text(group) for group in groups) == line
    sand, machine = table("allowance_grades").rows[:2]
    assert [sand.text(group) for group in groups] == ["G-K", "F-H", "F-H", "F-H", "F-H"]
    assert [machine.text(group) for group in groups] == ["E-H", "E-G", "E-G", "E-G", "E-G"]
