"""Figures on paper: rounded once, to the readout's step, in decimal arithmetic."""

import re
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from export.number import (
    Figures,
    coordinate,
    coordinate_value,
    figures,
    fixed,
    length,
    limits,
    nominal,
    printed_mm,
    rounding,
    sentence,
    size,
    size_value,
    steps,
    worst_rounding,
    worst_rounding_text,
)
from geom.errors import EvenstockError, JobError

MM = figures("mm")
INCH = figures("inch")
STYLES = (MM, INCH, figures("mm", 0.001), figures("mm", 0.01), figures("inch", 0.0254 * 0.1), figures("inch", 0.001 * 25.4))

lengths = st.floats(min_value=-5000.0, max_value=5000.0, allow_nan=False)
styles = st.sampled_from(STYLES)


# --- published and hand-worked values ---------------------------------------


def test_default_steps_are_five_microns_and_half_a_thou():
    """A common readout counts in 0.005 mm or 0.0005 in (issue 2)."""
    assert (MM.step, MM.decimals) == (Decimal("0.005"), 3)
    assert (INCH.step, INCH.decimals) == (Decimal("0.0005"), 4)
    assert INCH.step_mm == Decimal("0.0127")


def test_a_figure_written_2_675_rounds_up_as_on_paper():
    """2.675 to two places is 2.68 by hand; binary rounding gives 2.67 (the Python tutorial's own example)."""
    assert round(2.675, 2) == 2.67

    assert coordinate(2.675, figures("mm", 0.01)) == "2.68"
    assert fixed(2.675, 2) == "2.68"
    assert length(2.675 * 25.4, "inch", 2) == "2.68"


@pytest.mark.parametrize(
    ("value", "printed"),
    [
        (12.0025, "12.005"),
        (-12.0025, "-12.005"),
        (12.0024999995, "12.005"),  # half a nanometre below the tie
        (12.00249, "12.000"),
        (38.97114317029974, "38.970"),  # 45 sin 60: 7794.2286 steps
        (22.500000000000007, "22.500"),
        (-0.0024, "0.000"),
        (-0.0, "0.000"),
        (-0.0025, "-0.005"),
        (1234.5678, "1234.570"),
    ],
)
def test_hand_worked_figures_in_mm(value, printed):
    """Divide by 0.005, round half away from zero, multiply: worked by hand."""
    assert coordinate(value, MM) == printed


@pytest.mark.parametrize(
    ("value", "printed"),
    [
        (25.4, "1.0000"),
        (27 / 64 * 25.4, "0.4220"),  # 0.421875 in: 843.75 steps
        (10.0, "0.3935"),  # 0.393701 in: 787.40 steps
        (-45.0, "-1.7715"),  # 1.771654 in: 3543.3 steps
        (0.00635, "0.0005"),  # half a step
        (0.00634, "0.0000"),
    ],
)
def test_hand_worked_figures_in_inches(value, printed):
    """A fraction of an inch printed to half a thou: worked by hand."""
    assert coordinate(value, INCH) == printed


def test_worst_rounding_of_a_hand_worked_table():
    """10.0012, 10.0024 and 10.0049 print as 10.000, 10.000 and 10.005: off by 1.2, 2.4 and 0.1 microns."""
    worst = worst_rounding([10.0012, 10.0024, 10.0049], MM)

    assert worst == pytest.approx(0.0024, abs=1e-12)
    assert worst_rounding_text(worst, MM) == "0.0024"
    assert worst_rounding_text(worst, INCH) == "0.000095"  # 0.0024 / 25.4 = 0.00009449, rounded up
    assert worst_rounding([], MM) == 0.0


def test_printed_limits_are_never_wider_than_the_real_ones():
    """40 H7 is 40.000 to 40.025 (ISO 286): in inches 1.574803 to 1.575787, so 1.5749 to 1.5757 on paper."""
    assert limits(40.0, 40.025, "mm") == ("40.000", "40.025")
    assert limits(40.0, 40.025, "inch") == ("1.5749", "1.5757")


def test_limits_too_close_for_the_usual_places_get_more():
    """1.58210 to 1.58213 in would close up at four places; five keep them apart."""
    low, high = limits(1.58210 * 25.4 + 1e-7, 1.58213 * 25.4 - 1e-7, "inch")

    assert Decimal("1.58210") < Decimal(low) <= Decimal(high) < Decimal("1.58213")


def test_sizes_print_without_idle_zeros():
    """A drill is 6.8, not 6.8000; an end mill 16."""
    assert [size(v, "mm") for v in (6.8, 16.0, 8.499999999999, 0.0)] == ["6.8", "16", "8.5", "0"]
    assert size(5.1054, "inch") == "0.201"  # no. 7
    assert size(27 / 64 * 25.4, "inch", 6) == "0.421875"


def test_a_sentence_carries_its_lengths_in_the_sheet_unit():
    """Notes hold lengths as numbers, so that one job prints in either unit."""
    words = ("passes by ", 1.27, "; leave room")

    assert sentence(words, "mm") == "passes by 1.27 mm; leave room"
    assert sentence(words, "inch") == "passes by 0.05 in; leave room"


def test_a_size_is_never_printed_outside_its_own_limits():
    """6 H7, 6 to 6.012 mm (ISO 286): 0.23622 in, and the printed lower limit is 0.2363, so the size is; 40 H7 stays 40, a size
    outside its limits (6 F7: 6.010 to 6.022) stays what the drawing calls it."""
    assert limits(6.0, 6.012, "inch") == ("0.2363", "0.2366")
    assert nominal(6.0, (6.0, 6.012), "inch") == "0.2363"
    assert nominal(6.0, (5.988, 6.0), "inch") == "0.2362"
    assert nominal(40.0, (40.0, 40.025), "mm") == "40"
    assert nominal(6.0, (6.010, 6.022), "mm") == "6"
    assert nominal(6.0, None, "inch") == "0.2362"


@given(st.floats(0.5, 500.0), st.floats(0.0, 0.5), st.floats(0.002, 0.5), st.sampled_from(["mm", "inch"]))
def test_a_size_within_its_limits_is_printed_within_the_printed_ones(value, below, above, units):
    """Whatever the limits, the three printed figures are in order."""
    low, high = limits(value - below, value + above, units)

    assert Decimal(low) <= Decimal(nominal(value, (value - below, value + above), units)) <= Decimal(high)


# --- laws -------------------------------------------------------------------


@given(lengths, styles)
def test_every_figure_lies_within_half_a_step(value, style):
    """Rounded once: printed and exact differ by half a step at most (and the nanometre that counts as a tie)."""
    printed = Fraction(coordinate(value, style)) * Fraction(style.unit_mm)

    assert abs(printed - Fraction(value)) <= Fraction(style.step_mm) / 2 + Fraction(1, 10**9)
    assert rounding(value, style) == pytest.approx(float(printed - Fraction(value)), abs=1e-12)


@given(lengths, styles)
def test_reading_a_figure_back_gives_the_printed_value(value, style):
    """Text to value is the exact inverse, and printing again changes nothing."""
    text = coordinate(value, style)
    again = coordinate_value(text, style)

    assert again == printed_mm(value, style)
    assert coordinate(again, style) == text


@given(lengths, styles)
def test_a_mirrored_feature_has_the_same_figures(value, style):
    """Half away from zero treats left and right alike, and never prints minus nothing."""
    text, mirrored = coordinate(value, style), coordinate(-value, style)

    assert mirrored.lstrip("-") == text.lstrip("-")
    assert not any(re.fullmatch(r"-[0.]+", figure) for figure in (text, mirrored))


@given(st.integers(0, 400_000), st.integers(0, 400_000), st.floats(0.0, 1.0), styles)
def test_holes_whole_steps_apart_stay_so_on_paper(near, pitch, share, style):
    """On one side of zero, coordinates a whole number of steps apart print exactly that far apart."""
    step = float(style.step_mm)
    first, second = (near + share) * step, (near + pitch + share) * step
    if abs(share - 0.5) * step < 1e-8:
        return

    assert steps(second, style) - steps(first, style) == pitch


@given(st.integers(-400_000, 400_000), styles, st.floats(-2e-10, 2e-10))
def test_noise_never_decides_a_tie(half, style, noise):
    """Half steps go away from zero even when the last bits of the computed value say otherwise."""
    exact = (Fraction(half) + Fraction(1, 2)) * Fraction(style.step_mm)

    assert steps(float(exact) + noise, style) == (half + 1 if half >= 0 else half)


@given(lengths)
def test_inch_and_mm_sheets_agree_within_their_steps(value):
    """The same coordinate on both sheets differs by half of both steps at most."""
    assert abs(printed_mm(value, MM) - printed_mm(value, INCH)) <= (0.005 + 0.0127) / 2 + 2e-9


@given(st.floats(0.0, 500.0), st.floats(0.0, 0.2), st.sampled_from(["mm", "inch"]))
def test_limits_never_let_a_bad_part_pass(low, width, units):
    """A size inside the printed limits is inside the real ones (to a nanometre)."""
    unit = {"mm": 1.0, "inch": 25.4}[units]
    printed = [float(Decimal(text)) * unit for text in limits(low, low + width, units)] if width > 1e-6 else [low, low]

    assert low - 2e-9 * unit <= printed[0] <= printed[1] <= low + width + 2e-9 * unit


@given(st.floats(0.0, 900.0))
def test_a_size_read_back_is_the_printed_size(value):
    """Tool diameters survive the sheet to a nanometre."""
    assert size_value(size(value, "mm", 6), "mm") == pytest.approx(value, abs=6e-7)
    assert size_value(size(value, "inch", 6), "inch") == pytest.approx(value, abs=6e-7 * 25.4)


# --- refusals ---------------------------------------------------------------


@pytest.mark.parametrize("step", [0.0, -0.005, 7.0, float("nan"), float("inf")])
def test_a_step_no_readout_has_is_refused(step):
    """A step of 0 or 7 mm is a slip of the pen."""
    with pytest.raises(JobError, match=r"readout step .* must be above 0 and at most 1 mm; give .* 0.005 mm"):
        figures("mm", step)


def test_a_step_that_is_no_decimal_in_the_sheet_unit_is_refused():
    """0.005 mm is 0.00019685... in: no inch display counts in that."""
    with pytest.raises(JobError, match=r"more than 6 decimals.*such as 0\.0005 in"):
        figures("inch", 0.005)


def test_unknown_units_are_refused():
    """Only mm and inch sheets exist."""
    with pytest.raises(JobError, match="units 'furlong' are not known"):
        figures("furlong")
    with pytest.raises(JobError, match="units 'furlong' are not known"):
        Figures("furlong", Decimal("0.005"))


NOT_PRINTED = ("", "12", "12.00", "12.0000", "12.003", "-0.000", "+1.000", "012.000", "1e3", "nan", "12,005", " 1.000", "١.000")


@pytest.mark.parametrize("text", NOT_PRINTED)
def test_a_figure_the_sheet_would_not_print_is_refused(text):
    """The inverse is as strict as the printer: decimals, step, sign and digits."""
    with pytest.raises(EvenstockError):
        coordinate_value(text, MM)


@pytest.mark.parametrize("text", ["", "1e3", "nan", "1.", ".5", "1,5", "٣"])
def test_a_size_that_is_no_plain_decimal_is_refused(text):
    """Sizes are plain decimals."""
    with pytest.raises(EvenstockError, match="not a plain decimal"):
        size_value(text, "mm")


def test_limits_the_wrong_way_round_are_refused():
    """The least size comes first."""
    with pytest.raises(EvenstockError, match="wrong way round"):
        limits(40.025, 40.0, "mm")
