"""The named small numbers stay apart, and messages name what was meant."""

from hypothesis import given
from hypothesis.strategies import floats

import geom.errors
from geom.errors import EvenstockError, nearest
from geom.tolerance import (
    EDGE_BAND,
    KERNEL_NOISE,
    PRINT_CHORD,
    SAME_AXIS,
    SAME_DIRECTION,
    SKIN,
    SPLINE_FIT,
    WORK_CHORD,
    kernel_noise,
)


@given(floats(0, 1e5), floats(0, 1e5))
def test_kernel_noise_grows_with_the_part_and_stays_far_below_the_shop(small: float, large: float) -> None:
    """Doubles hold 15 to 17 digits (IEEE 754), so on parts up to 10 m the noise stays well under a micrometre."""
    assert kernel_noise(min(small, large)) <= kernel_noise(max(small, large))
    assert KERNEL_NOISE <= kernel_noise(large) <= 1e-4
    assert kernel_noise(large) < SAME_AXIS


def test_the_three_kinds_of_small_number_are_in_order() -> None:
    """Noise is below what a spline export loses, that below what a shop can tell, and the skin above the lookup mesh's chord."""
    assert KERNEL_NOISE < SPLINE_FIT < SAME_AXIS < SKIN < EDGE_BAND
    assert WORK_CHORD <= SKIN
    assert WORK_CHORD < PRINT_CHORD
    assert SAME_DIRECTION * 100 <= SAME_AXIS


def test_every_error_of_the_input_is_one_family() -> None:
    """The command line catches one class; each kind of bad input is a child of it and a ValueError."""
    children = [item for name, item in vars(geom.errors).items() if name.endswith("Error")]

    assert len(children) >= 7
    assert all(issubclass(child, EvenstockError) and issubclass(child, ValueError) for child in children)


def test_a_slip_of_the_pen_names_the_nearest_word() -> None:
    """'alloi' is one letter from 'alloy'; 'xyz' is like nothing, so nothing is guessed."""
    assert nearest("alloi", ["alloy", "units"]) == " (did you mean 'alloy'?)"
    assert nearest("xyz", ["alloy", "units"]) == ""
    assert nearest("anything", []) == ""
