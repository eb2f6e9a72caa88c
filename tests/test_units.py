"""Lengths: text with a unit becomes mm, exactly, and nonsense is refused in plain words."""

import math
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis.strategies import decimals, floats, integers, sampled_from, text

from geom.errors import JobError
from geom.units import MM_PER_INCH, length, positive_length, unit_size

WHERE = "job.toml: holes.a.depth"


@pytest.mark.parametrize(
    ("written", "millimetres"),
    [
        ("12", 12.0),
        ("12 mm", 12.0),
        ("12,5 mm", 12.5),
        ("0,375 in", 9.525),
        (".5 in", 12.7),
        ("5. mm", 5.0),
        ("1.5 cm", 15.0),
        ("0.1m", 100.0),
        ("3/8 in", 9.525),
        ('3/8"', 9.525),
        ("1 1/2 in", 38.1),
        ('1-1/2"', 38.1),
        ("0.4375in", 11.1125),
        ("2 inches", 50.8),
        ("1/4 in.", 6.35),
        ("-2 mm", -2.0),
        ("- 1-1/2 in", -38.1),
        ("1e1 mm", 10.0),
        (7, 7.0),
        (2.5, 2.5),
    ],
)
def test_a_length_is_read_as_the_shop_writes_it(written: object, millimetres: float) -> None:
    """An inch is 25.4 mm exactly (international yard and pound agreement, 1959), so fractions come out to the last digit."""
    assert length(written, "mm", WHERE) == millimetres


def test_a_number_without_a_unit_takes_the_jobs_unit() -> None:
    """0.001 in is 0.0254 mm; in a mm job the same figure is a micrometre."""
    assert length(0.001, "inch", WHERE) == 0.0254
    assert length("0.001", "inch", WHERE) == 0.0254
    assert length(0.001, "mm", WHERE) == 0.001
    assert length("3 mm", "inch", WHERE) == 3.0
    assert unit_size("inch") == MM_PER_INCH == 25.4


@given(integers(0, 40), integers(1, 63))
def test_a_mixed_number_is_the_sum_of_its_parts(whole: int, part: int) -> None:
    """Every 64th of an inch is an exact binary fraction, so its mm come out as Fraction arithmetic gives them."""
    expected = float((whole + Fraction(part, 64)) * Fraction(254, 10))

    assert length(f"{whole} {part}/64 in", "mm", WHERE) == expected
    assert length(f"{whole}-{part}/64 in", "mm", WHERE) == expected


@given(decimals(min_value="-9999", max_value="9999", places=4))
def test_the_dot_and_the_comma_mean_the_same(number: object) -> None:
    """A decimal comma is read as a decimal point (four places cannot be taken for thousands)."""
    assert length(f"{number} mm", "mm", WHERE) == length(f"{number} mm".replace(".", ","), "mm", WHERE)


@given(floats(1e-6, 1e6))
def test_inches_come_back_from_millimetres(inches: float) -> None:
    """There and back loses nothing that a readout or a micrometer could show."""
    there = length(inches, "inch", WHERE)

    assert there / MM_PER_INCH == pytest.approx(inches, rel=1e-15)
    assert length(f"{there!r} mm", "inch", WHERE) == there


@pytest.mark.parametrize(
    ("written", "reason"),
    [
        ("", "not a length"),
        ("big", "not a length"),
        ("12 furlong", "unit 'furlong'"),
        ("1 5", "not a length"),
        ("3/0 in", "divides by zero"),
        ("1,234 mm", "thousands"),
        ("12,500 mm", "12.500 or 12500"),
        ("1,234.5", "not a length"),
        ("nan", "not a length"),
        ("1e400", "not a finite number"),
        ("1e999999999 mm", "not a finite number"),
        ("9" * 60, "not a length"),
        ("٣ mm", "not a length"),
        ("1..2", "not a length"),
        ("--1", "not a length"),
        (math.nan, "nan is not a finite number"),
        (math.inf, "inf is not a finite number"),
        (-math.inf, "-inf is not a finite number"),
        (10**400, "not a finite number"),
        (True, "True is not a length"),
        (None, "None is not a length"),
        ([3], "not a length"),
    ],
)
def test_nonsense_is_refused_with_the_file_and_key(written: object, reason: str) -> None:
    """The message names the place, the value and what to write instead."""
    with pytest.raises(JobError) as refusal:
        length(written, "mm", WHERE)

    message = str(refusal.value)
    assert message.startswith(WHERE)
    assert reason in message
    assert "\n" not in message
    assert len(message) < 200


@given(text(max_size=60), sampled_from(["mm", "inch"]))
@example("1/2/3", "mm")
@example("−3 mm", "mm")
@example('"', "inch")
def test_any_text_is_a_finite_length_or_a_refusal(written: str, unit: str) -> None:
    """No text whatever escapes as another error or as an infinite length."""
    try:
        found = length(written, unit, WHERE)
    except JobError:
        return
    assert math.isfinite(found)


@pytest.mark.parametrize("written", [0, -3, "0 in", "-1/2 in", 0.0])
def test_a_size_is_above_zero(written: object) -> None:
    """A diameter of nothing or less is refused, with its value in mm."""
    with pytest.raises(JobError, match="must be above 0 mm"):
        positive_length(written, "mm", WHERE)
    assert positive_length("1/2 in", "mm", WHERE) == 12.7
