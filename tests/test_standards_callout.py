"""Callouts: what a drawing says a hole is for becomes the diameters of the standard, and back."""

import math

import pytest
from hypothesis import given
from hypothesis.strategies import floats, sampled_from, text

from geom.errors import EvenstockError, JobError, StandardError
from geom.standards.callout import FORMS, Callout, parse_callout, percent_thread, suggestions
from geom.standards.fits import hole_grades, hole_limits
from geom.standards.suggest import MATCH, MOST
from geom.standards.table import table
from geom.standards.thread import find_thread, threads

WHERE = "job.toml: holes.'bore 1'.for"


def mm(written: str) -> Callout:
    """Parse in a mm job."""
    return parse_callout(written, "mm", WHERE)


def inch(written: str) -> Callout:
    """Parse in an inch job."""
    return parse_callout(written, "inch", WHERE)


@pytest.mark.parametrize(
    ("written", "diameter"),
    [
        ("clearance M8 medium", 9.0),
        ("clearance M8 normal", 9.0),
        ("clearance M8", 9.0),
        ("clearance m8 FINE", 8.4),
        ("clearance M8 close", 8.4),
        ("clearance M8 coarse", 10.0),
        ("clearance hole for M12", 13.5),
        ("clearance M14 coarse", 16.5),
        ("clearance M16 fine", 17.0),
        ("clearance M24 loose", 28.0),
    ],
)
def test_clearance_holes_are_those_of_iso_273(written: str, diameter: float) -> None:
    """ISO 273: M8 8.4/9/10, M12 medium 13.5 (older tables say 14), M14 coarse 16.5, M16 fine 17."""
    found = mm(written)

    assert (found.purpose, found.diameter) == ("clearance", diameter)
    assert found.drill.name == f"{diameter:g} mm"
    assert found.source == "ISO 273 (1979)"


@pytest.mark.parametrize(
    ("written", "drill", "inches"),
    [
        ("clearance 3/8 normal", "13/32", 0.406),
        ("clearance 3/8 close", "25/64", 0.391),
        ("clearance 3/8 loose", "27/64", 0.422),
        ("clearance 1/4", "9/32", 0.281),
        ('clearance 1/2" normal', "9/16", 0.562),
        ("clearance #10 normal", "no. 2", 0.221),
        ("clearance no. 8 close", "no. 15", 0.180),
        ("clearance 1 loose", "1-5/32", 1.156),
    ],
)
def test_inch_clearance_holes_are_those_of_asme_b18_2_8(written: str, drill: str, inches: float) -> None:
    """ASME B18.2.8 (published table): 3/8 .391/.406/.422, 1/2 normal .562, no. 10 normal .221."""
    found = inch(written)

    assert found.drill.name == drill
    assert found.diameter == pytest.approx(inches * 25.4, abs=0.0006 * 25.4)
    assert "ASME B18.2.8" in found.source


def test_every_inch_clearance_drill_measures_what_its_row_says() -> None:
    """The named drill and the decimal diameter of a row are two columns of one table: they have to agree."""
    for row in table("clearance_inch").rows:
        for fit in ("fine", "medium", "coarse"):
            found = inch(f"clearance {row.text('size')} {fit}")
            assert found.drill.diameter == pytest.approx(row.length(fit), abs=1e-9)
            assert found.diameter == found.drill.diameter


def test_a_counterbore_takes_the_head_and_a_clearance_hole() -> None:
    """M8 socket head: head 13 x 8 (ISO 4762), counterbore 15 (DIN 974-1 series 1), hole 9 (ISO 273 medium)."""
    found = mm("counterbore for M8 socket head")

    assert (found.purpose, found.diameter, found.counterbore) == ("clearance", 9.0, (15.0, 8.0))
    assert found.text == "counterbore for M8 socket head"
    assert "ISO 4762" in found.source
    assert "ISO 273" in found.source
    assert mm("Counterbored M8").counterbore == (15.0, 8.0)
    assert mm("counterbore for M8 socket head cap screw fine").diameter == 8.4


def test_an_inch_counterbore_says_it_is_common_practice() -> None:
    """3/8 socket head: head .562 x .375 (ASME B18.3); counterbore 5/8 and hole 13/32 by common practice."""
    found = inch("counterbore for 3/8 socket head")

    assert found.counterbore == pytest.approx((0.625 * 25.4, 0.375 * 25.4), abs=1e-9)
    assert found.drill.name == "13/32"
    assert "common practice" in found.source
    assert inch("counterbore for 3/8 socket head close").drill.name == "25/64"


@pytest.mark.parametrize("kind", ["metric", "inch"])
def test_every_head_has_room_in_its_counterbore_and_sits_on_a_shoulder(kind: str) -> None:
    """The counterbore is wider than the head, the head wider than the loosest hole (ISO 4762, ASME B18.3)."""
    for row in table(f"socket_head_{kind}").rows:
        hole = table(f"clearance_{kind}").row_for("size", row.text("size"), "size", WHERE)
        assert hole.length("coarse") < row.length("head_diameter") < row.length("counterbore")
    for row in table(f"countersunk_{kind}").rows:
        hole = table(f"clearance_{kind}").row_for("size", row.text("size"), "size", WHERE)
        assert hole.length("medium") < row.length("least_head_diameter") < row.length("head_diameter")


@pytest.mark.parametrize(
    ("written", "diameter", "angle"),
    [
        ("countersink for M8", 17.92, 90.0),
        ("countersunk M6", 13.44, 90.0),
        ("countersink for M10 flat head screw", 22.40, 90.0),
        ("countersink for 3/8", 0.781 * 25.4, 82.0),
        ("countersink for 1/4 loose", 0.531 * 25.4, 82.0),
    ],
)
def test_a_countersink_takes_the_theoretical_head(written: str, diameter: float, angle: float) -> None:
    """ISO 10642 theoretical head: M8 17.92, 90 degrees. ASME B18.3 flat head: 3/8 .781 in, 82 degrees."""
    found = mm(written)

    assert found.countersink == pytest.approx((diameter, angle), abs=1e-9)
    assert found.counterbore is None
    assert found.diameter < diameter


@pytest.mark.parametrize(
    ("written", "drill", "percent"),
    [
        ("tapped M8", "6.8 mm", 73.9),
        ("tapped M10", "8.5 mm", 76.98),
        ("tap M10x1.25", "8.8 mm", 73.9),
        ("tapped M10 60%", "8.8 mm", 61.6),
        ("tapped M10 60 %", "8.8 mm", 61.6),
        ("tapped 3/8-16 UNC", "5/16", 76.98),
        ("tapped 1/2-20", "29/64", 72.2),
        ("tapped 1/4-20", "no. 7", 75.4),
        ("tapped 5/16-18", "F", 76.9),
        ("tapped 1/2-13", "27/64", 78.2),
        ("tapped 8-32", "no. 29", 69.0),
    ],
)
def test_a_tapped_hole_names_its_drill_as_the_shop_does(written: str, drill: str, percent: float) -> None:
    """Trade tap drills; percent by hand from 100 (D - d) / (1.29904 P)."""
    found = mm(written)

    assert found.thread is not None
    assert (found.purpose, found.drill.name, found.thread.drill) == ("tapped", drill, found.drill)
    assert found.diameter == found.drill.diameter
    assert found.thread.percent == pytest.approx(percent, abs=0.06)
    assert found.thread.percent == pytest.approx(percent_thread(found.thread.major, found.thread.pitch, found.diameter))


@pytest.mark.parametrize(
    ("written", "limits"),
    [
        ("reamed 10 H7", (10.0, 10.015)),
        ("reamed 10H7", (10.0, 10.015)),
        ("40 H7", (40.0, 40.025)),
        ("bored 40 H7", (40.0, 40.025)),
        ("bored 25 mm h8", (25.0, 25.033)),
        ("Ø20 H7", (20.0, 20.021)),
        ("8 H11", (8.0, 8.090)),
    ],
)
def test_a_fitted_hole_gets_the_limits_of_iso_286(written: str, limits: tuple[float, float]) -> None:
    """ISO 286-2 anchors: 10 H7 +0.015, 40 H7 +0.025, 25 H8 +0.033, 20 H7 +0.021, 8 H11 +0.090 (published tables)."""
    found = mm(written)

    assert found.limits == pytest.approx(limits, abs=1e-9)
    assert found.diameter == limits[0]
    assert found.source == "ISO 286-2 (2010)"


def test_a_reamer_gets_a_little_metal() -> None:
    """0.2 to 0.3 mm for metric sizes, at most 1/64 in (0.4 mm) for inch sizes (common practice)."""
    assert mm("reamed 10 H7").drill.name == "9.8 mm"
    assert mm("reamed 16 H7").drill.name == "15.75 mm"
    assert inch("reamed 1/4").drill.name == "C"
    assert inch("reamed 1/2").drill.name == "31/64"
    for size in range(3, 32):
        assert 0.2 - 1e-9 <= size - mm(f"reamed {size} H7").drill.diameter <= 0.3 + 1e-9


def test_an_inch_reamed_hole_without_a_grade_is_h7() -> None:
    """A sharp reamer holds about H7 (common practice), and the tidied text says so."""
    found = inch("reamed 1/4")

    assert found.text == "reamed 1/4 H7"
    assert found.limits == pytest.approx((6.35, 6.365), abs=1e-9)


def test_a_bore_is_opened_with_a_drill_a_small_shop_owns() -> None:
    """At least 1 mm is left to bore, and no drill above 25 mm or 1 in is proposed (common practice)."""
    assert mm("bored 40 H7").drill.name == "25 mm"
    assert mm("bored 20 H7").drill.name == "19 mm"
    assert inch("bored 1-1/2").drill.name == "1 in"
    assert mm("bored 40").limits is None
    with pytest.raises(StandardError, match="too small to bore"):
        mm("bored 1 mm")


@pytest.mark.parametrize(
    ("written", "units", "diameter", "drill"),
    [
        ("9 mm", "mm", 9.0, "9 mm"),
        ("9", "mm", 9.0, "9 mm"),
        ("Ø 9 mm", "inch", 9.0, "9 mm"),
        ("drilled 9 mm", "mm", 9.0, "9 mm"),
        ("9 mm dia", "mm", 9.0, "9 mm"),
        ("0.4375 in", "mm", 11.1125, "7/16"),
        ("0.4375", "inch", 11.1125, "7/16"),
        ("27/64", "mm", 10.715625, "27/64"),
        ("27/64", "inch", 10.715625, "27/64"),
        ("1-1/4", "inch", 31.75, "1-1/4"),
        ("1 1/4 in", "mm", 31.75, "1-1/4"),
        ("drill no. 7", "mm", 5.1054, "no. 7"),
        ("#7", "inch", 5.1054, "no. 7"),
        ("F", "inch", 6.5278, "F"),
        ("9.37 mm", "mm", 9.37, "9.4 mm"),
        ("0.2658 in", "inch", 6.75132, "17/64"),
        ("18.6 mm", "mm", 18.6, "18.6 mm"),
    ],
)
def test_a_plain_size_is_drilled_with_the_stock_drill_if_there_is_one(
    written: str, units: str, diameter: float, drill: str
) -> None:
    """An inch is 25.4 mm; no. 7 is .201 and F .257 in (drill tables); 18.6 mm is no stock drill, so it keeps its own size."""
    found = parse_callout(written, units, WHERE)

    assert (found.purpose, found.drill.name) == ("plain", drill)
    assert found.diameter == pytest.approx(diameter, abs=1e-9)


def test_a_fitted_size_in_an_inch_job_has_to_say_its_unit() -> None:
    """ "40 H7" is a metric designation; in an inch job it could mean a 40 inch bore, so neither is guessed."""
    assert inch("40 mm H7").limits == mm("40 H7").limits
    assert inch("bored 1.5 in H7").diameter == pytest.approx(38.1)
    with pytest.raises(StandardError, match=r"write '40 mm H7' or '40 in H7'"):
        inch("bored 40 H7")


def every_callout() -> list[str]:
    """One callout for every row of every table, in the tables' own sizes."""
    found = [f"tapped {listed.thread.designation}" for listed in threads()]
    for kind in ("metric", "inch"):
        found += [f"clearance {s} {f}" for s in table(f"clearance_{kind}").column("size") for f in ("fine", "medium", "coarse")]
        found += [f"counterbore for {s} socket head" for s in table(f"socket_head_{kind}").column("size")]
        found += [f"countersink for {s} loose" for s in table(f"countersunk_{kind}").column("size")]
    found += [f"bored {size} mm {grade}" for size in (5, 40, 400) for grade in hole_grades()]
    return [*found, *FORMS, "reamed 1/4", "reamed 1 in", "bored 2-1/2 in", "drill F", "no. 29", "0.1 in", "tapped 1-12 75%"]


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_every_tidied_text_means_the_same_again(units: str) -> None:
    """What a sheet prints can be written back into the job, in any case and spacing, without changing a size."""
    for written in every_callout():
        if units == "inch" and written in ("reamed 10 H7", "bored 40 H7"):
            continue
        found = parse_callout(written, units, WHERE)
        assert parse_callout(found.text, units, WHERE) == found
        assert parse_callout(f"  {found.text.upper().replace(' ', '  ')} ", units, WHERE) == found


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("clearance M7", "the table has M3, M4, M5, M6, M8"),
        ("clearance M8 snug", "fine, close, medium, normal, coarse, loose"),
        ("clearance 5/8 mm", "'5/8 mm' is not a screw size"),
        ("counterbore for M18 socket head", "the table has M3, M4"),
        ("counterbore for 9/16 socket head", "no. 10, 1/4, 5/16"),
        ("countersink for M24", "the table has M3, M4"),
        ("tapped M11", "M10, M12"),
        ("tapped 3/8", "3/8-16 UNC, 3/8-24 UNF"),
        ("tapped M10 30%", "give 50 to 85 %"),
        ("40 H5", "H6, H7, H8"),
        ("600 H7", "over 0 to 500 mm"),
        ("reamed 40 H7", "write 'bored 40 H7'"),
        ("reamed 0.3 mm", "no stock drill"),
        ("drill no. 99", "no. 1 to no. 80"),
        ("hole for a bolt", "clearance M8 medium; counterbore for M8 socket head"),
        ("M8", "write one of the forms"),
        ("clearance", "write one of the forms"),
        ("", "write one of the forms"),
        ("nan", "write one of the forms"),
    ],
)
def test_a_wrong_callout_lists_what_there_is(written: str, told: str) -> None:
    """Unknown sizes list the table, unknown wordings list the forms; the key that asked comes first."""
    with pytest.raises(StandardError) as refusal:
        mm(written)
    assert str(refusal.value).startswith(WHERE)
    assert told in str(refusal.value)
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize("written", ["0 mm", "-3", "1e400", "9 furlong", "40 h7 h8", "5/0", "9" * 70])
def test_a_size_that_is_no_length_is_refused(written: str) -> None:
    """A callout that starts as a size but is none says what is wrong with the size."""
    with pytest.raises(JobError, match=r"job\.toml"):
        mm(written)


@given(text(max_size=40), sampled_from(["mm", "inch"]))
def test_no_text_is_a_crash(written: str, units: str) -> None:
    """Any text is a callout with a diameter above zero, or a refusal."""
    try:
        found = parse_callout(written, units, WHERE)
    except EvenstockError:
        return
    assert 0 < found.diameter < math.inf


@pytest.mark.parametrize(
    ("diameter", "first"),
    [
        (9.0, "clearance M8 medium"),
        (6.6, "clearance M6 medium"),
        (5.5, "clearance M5 medium"),
        (6.8, "tapped M8"),
        (8.5, "tapped M10"),
        (8.51, "tapped M10"),
        (5.0, "tapped M6"),
        (6.647, "tapped M8"),
        (0.3125 * 25.4, "tapped 3/8-16 UNC"),
        (0.201 * 25.4, "tapped 1/4-20 UNC"),
        (0.2570 * 25.4, "tapped 5/16-18 UNC"),
        (0.422 * 25.4, "tapped 1/2-13 UNC"),
        (0.406 * 25.4, "clearance 3/8 normal"),
        (8.4, "clearance M8 fine"),
        (12.0, "tapped M14"),
    ],
)
def test_a_diameter_suggests_the_commonest_purpose_first(diameter: float, first: str) -> None:
    """ISO 273, ISO 261 with D - P drills, ISO 724 minor diameter (6.647 for M8), and trade drills to three decimals."""
    assert suggestions(diameter)[0] == first


def test_a_diameter_that_means_two_things_suggests_both() -> None:
    """17.5 mm is M16 medium clearance (ISO 273) and the drill of M20 (D - P); 10 mm is M8 coarse and a reamer size."""
    assert suggestions(17.5)[:2] == ("clearance M16 medium", "tapped M20")
    assert "reamed 10 mm H7" in suggestions(10.0)
    assert suggestions(9.0, thread_pitch=1.0) == ("tapped M10x1",)
    assert suggestions(9.0, thread_pitch=1.5) == ()
    assert suggestions(18.7) == ()


def test_a_mouth_names_the_screw() -> None:
    """A 9 mm hole with a 15 mm counterbore is for an M8 socket head (DIN 974-1), with a 17.92 cone for M8 flat (ISO 10642)."""
    assert suggestions(9.0, counterbore=15.0)[0] == "counterbore for M8 socket head"
    assert suggestions(8.4, counterbore=15.0)[0] == "counterbore for M8 socket head fine"
    assert suggestions(9.0, countersink=17.92)[0] == "countersink for M8"
    assert suggestions(0.406 * 25.4, counterbore=0.625 * 25.4)[0] == "counterbore for 3/8 socket head"
    assert suggestions(9.0, counterbore=14.0)[0] == "clearance M8 medium"


@given(floats(0.5, 40))
def test_every_suggestion_can_be_written_into_the_job(diameter: float) -> None:
    """A suggestion parses, and its hole (or the thread's minor diameter) is within the stated 0.02 mm."""
    for words in suggestions(diameter):
        found = parse_callout(words, "inch", WHERE)
        sizes = [found.diameter]
        if found.thread is not None:
            sizes.append(find_thread(found.thread.designation, WHERE).minor)
        assert any(abs(size - diameter) <= MATCH + 1e-9 for size in sizes)


@given(floats(-0.005, 0.005), sampled_from([w for w in every_callout() if w.startswith(("clearance", "tapped")) and "%" not in w]))
def test_a_hole_made_to_a_callout_suggests_it(off: float, written: str) -> None:
    """A model drawn to a callout, off by up to 5 micrometres, finds it again (unless five commoner ones crowd it out)."""
    found = mm(written)
    names = suggestions(found.diameter + off)

    assert names
    assert found.text in names or len(names) == MOST


@given(floats(0.5, 500), sampled_from(hole_grades()))
def test_a_coarser_grade_only_opens_the_hole(diameter: float, grade: str) -> None:
    """H starts at the nominal size and each grade is wider than the one before (ISO 286)."""
    grades = hole_grades()
    least, most = hole_limits(diameter, grade, WHERE)

    assert least == diameter < most
    if grade != grades[-1]:
        assert most < hole_limits(diameter, grades[grades.index(grade) + 1], WHERE)[1]


def test_the_tolerances_follow_the_formula_of_iso_286_1() -> None:
    """i = 0.45 D^(1/3) + 0.001 D um over the geometric mean of the range; IT6..IT11 = 10, 16, 25, 40, 64, 100 i, rounded.

    Rounding is to a whole um and, for larger values, to 5 or 10. The first range
    is set by hand in the standard: 6, 10, 14, 25, 40, 60 (published table).
    """
    first, *rest = table("hole_limits").rows
    assert [first.number(grade) for grade in hole_grades()] == [6, 10, 14, 25, 40, 60]
    for row in rest:
        mean = math.sqrt(row.number("over") * row.number("upto"))
        step = 0.45 * mean ** (1 / 3) + 0.001 * mean
        for grade, factor in zip(hole_grades(), (10, 16, 25, 40, 64, 100), strict=True):
            assert row.number(grade) == pytest.approx(factor * step, rel=0.05, abs=1.0)


def test_a_fit_grows_with_the_size() -> None:
    """Down the table no tolerance shrinks (ISO 286-2)."""
    for grade in hole_grades():
        widths = [row.number(grade) for row in table("hole_limits").rows]
        assert widths == sorted(widths)
