"""The only place that rounds and formats.

A readout moves in steps, so a coordinate is printed as a whole number of
steps, rounded once, half away from zero. That is what a machinist does by
hand, it gives a feature and its mirror image the same figures, and two
coordinates a whole number of steps apart on one side of zero stay exactly so
(rounding half to even would break that on every other tie).

All arithmetic is decimal. A value within `TIE_NOISE` of half a step counts as
half a step, so that the last bits of a computed 12.0025 do not decide which
way it goes. Knows nothing of rows or tables.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Context, Decimal
from typing import Final, Literal, TypeAlias

from geom.errors import EvenstockError, JobError
from geom.rows.words import About, Area, Coordinate
from geom.units import UNITS

Units: TypeAlias = Literal["mm", "inch"]

TIE_NOISE: Final = Decimal("1e-9")
"""mm: what double precision loses on a part a few metres long; far below any readout."""

DEFAULT_STEP: Final = {"mm": Decimal("0.005"), "inch": Decimal("0.0005")}
"""Least count of a common readout, in its own unit (common practice, no source)."""

_UNIT_MM: Final = {"mm": Decimal(1), "inch": Decimal("25.4")}
_UNIT_NAME: Final = {"mm": "mm", "inch": "in"}
_COARSEST_STEP_MM: Final = Decimal(1)
_MOST_DECIMALS: Final = 6
_LIMIT_STEP: Final = {"mm": Decimal("0.001"), "inch": Decimal("0.0001")}
_ROUGH: Final = {"mm": 0, "inch": 1}
_PLACE: Final = {"mm": 1, "inch": 2}
_AREA: Final = {"mm": 0, "inch": 3}
_UNIT_AREA: Final = {"mm": 1.0, "inch": 25.4**2}
_EXACT: Final = Context(prec=60, rounding=ROUND_HALF_UP)
_HALF: Final = Decimal("0.5")


@dataclass(frozen=True, slots=True)
class Figures:
    """How a sheet writes coordinates: its unit and the readout's step in that unit."""

    units: Units
    step: Decimal

    def __post_init__(self) -> None:
        if self.units not in UNITS:
            raise JobError(f"units {self.units!r} are not known; use 'mm' or 'inch'")
        name = _UNIT_NAME[self.units]
        if not (self.step.is_finite() and 0 < self.step_mm <= _COARSEST_STEP_MM):
            raise JobError(
                f"readout step {plain(self.step)} {name} must be above 0 and at most 1 mm; "
                f"give the least count of the display, such as {plain(DEFAULT_STEP[self.units])} {name}"
            )
        if self.decimals > _MOST_DECIMALS:
            raise JobError(
                f"readout step {plain(self.step)} {name} has more than {_MOST_DECIMALS} decimals; "
                f"give the least count the display shows, such as {plain(DEFAULT_STEP[self.units])} {name}"
            )

    @property
    def unit_mm(self) -> Decimal:
        """Millimetres in one unit of the sheet."""
        return _UNIT_MM[self.units]

    @property
    def unit_name(self) -> str:
        """The unit as headings print it: "mm" or "in"."""
        return _UNIT_NAME[self.units]

    @property
    def step_mm(self) -> Decimal:
        """The readout's step, mm."""
        return _EXACT.multiply(self.step, self.unit_mm)

    @property
    def decimals(self) -> int:
        """Decimals that write any whole number of steps exactly."""
        return decimals_of(self.step)


def figures(units: Units, step: float | None = None) -> Figures:
    """Return how a sheet in these units writes coordinates.

    Args:
        units: "mm" or "inch".
        step: the readout's least count, mm; None for the unit's default.

    Raises:
        JobError: the step is not above 0, coarser than 1 mm, or no plain decimal in the sheet's unit.
    """
    if units not in UNITS:
        raise JobError(f"units {units!r} are not known; use 'mm' or 'inch'")
    if step is None:
        return Figures(units, DEFAULT_STEP[units])
    tidy = _EXACT.divide(Context(prec=12).create_decimal_from_float(step), _UNIT_MM[units])
    return Figures(units, Context(prec=12).plus(tidy).normalize())


# --- coordinates ------------------------------------------------------------


def steps(value: float, style: Figures) -> int:
    """Return a coordinate, mm, as a whole number of readout steps, half away from zero."""
    size = _EXACT.divide(abs(Decimal(value)), style.step_mm)
    tie = _EXACT.divide(TIE_NOISE, style.step_mm)
    whole = int(_EXACT.add(_EXACT.add(size, tie), _HALF))
    return -whole if value < 0 else whole


def coordinate(value: float, style: Figures) -> str:
    """Return a coordinate, mm, as the readout shows it: fixed decimals, never "-0.000"."""
    return f"{_EXACT.multiply(Decimal(steps(value, style)), style.step):.{style.decimals}f}"


def printed_mm(value: float, style: Figures) -> float:
    """Return the value, mm, that `coordinate` prints."""
    return float(_EXACT.multiply(Decimal(steps(value, style)), style.step_mm)) + 0.0


def coordinate_value(text: str, style: Figures) -> float:
    """Return the mm of a printed coordinate: the inverse of `coordinate`, and as strict.

    Raises:
        EvenstockError: not a number with the sheet's decimals, or not a whole number of steps.
    """
    if not re.fullmatch(rf"-?(0|[1-9]\d*)\.\d{{{style.decimals}}}" if style.decimals else r"-?(0|[1-9]\d*)", text, re.ASCII):
        raise EvenstockError(f"{text!r} is not a coordinate with {style.decimals} decimals")
    value = Decimal(text)
    if value.is_signed() and not value:
        raise EvenstockError(f"{text!r} is zero with a minus sign; a printed zero has none")
    if _EXACT.remainder(value, style.step):
        raise EvenstockError(f"{text!r} is not a whole number of readout steps of {plain(style.step)} {style.unit_name}")
    return float(_EXACT.multiply(value, style.unit_mm))


def rounding(value: float, style: Figures) -> float:
    """Return printed less exact, mm."""
    printed = _EXACT.multiply(Decimal(steps(value, style)), style.step_mm)
    return float(_EXACT.subtract(printed, Decimal(value))) + 0.0


def worst_rounding(values: Iterable[float], style: Figures) -> float:
    """Return the greatest distance between a printed and its exact coordinate, mm; 0 for none."""
    return max((abs(rounding(value, style)) for value in values), default=0.0)


def worst_rounding_text(worst: float, style: Figures) -> str:
    """Return the worst rounding, mm, in the sheet's unit, rounded up to two decimals more than the step has."""
    least = max(_EXACT.subtract(Decimal(worst), TIE_NOISE), Decimal(0))
    return trimmed(_to_places(_EXACT.divide(least, style.unit_mm), style.decimals + 2, ROUND_CEILING))


# --- other figures ----------------------------------------------------------


def fixed(value: float, places: int) -> str:
    """Return a number with fixed decimals, half away from zero, never "-0.00"; for figures that are not coordinates."""
    return _to_places(_nudged(Decimal(value), places), places, ROUND_HALF_UP)


def length(value: float, units: Units, places: int) -> str:
    """Return a length, mm, in the sheet's unit with fixed decimals (no unit name)."""
    return _to_places(_EXACT.divide(_nudged(Decimal(value), places), _UNIT_MM[units]), places, ROUND_HALF_UP)


def _nudged(value: Decimal, places: int) -> Decimal:
    """Return a value moved away from zero by less than its last figure shows, so that noise decides no tie."""
    return _EXACT.add(value, min(TIE_NOISE, Decimal(1).scaleb(-places - 4)).copy_sign(value))


def size(value: float, units: Units, most: int = 4) -> str:
    """Return a length, mm, in the sheet's unit without trailing zeros: "6.8", "0.5", "40"."""
    return trimmed(length(value, units, most))


def size_value(text: str, units: Units) -> float:
    """Return the mm of a plain decimal in the sheet's unit: the inverse of `size`.

    Raises:
        EvenstockError: not a plain decimal number.
    """
    if not re.fullmatch(r"-?\d+(\.\d+)?", text, re.ASCII):
        raise EvenstockError(f"{text!r} is not a plain decimal number")
    return float(_EXACT.multiply(Decimal(text), _UNIT_MM[units]))


def limits(low: float, high: float, units: Units) -> tuple[str, str]:
    """Return limits of size, mm, in the sheet's unit, rounded inwards so that the printed pair is never the wider.

    To 0.001 mm or 0.0001 in; finer where the pair would otherwise close up.
    """
    lowest, highest = (_EXACT.divide(Decimal(v), _UNIT_MM[units]) for v in (low, high))
    for places in range(decimals_of(_LIMIT_STEP[units]), 12):
        pair = (_inwards(lowest, places, ROUND_CEILING), _inwards(highest, places, ROUND_FLOOR))
        if Decimal(pair[0]) <= Decimal(pair[1]):
            return pair
    raise EvenstockError(f"limits {low} and {high} mm are the wrong way round")


def nominal(value: float, within: tuple[float, float] | None, units: Units) -> str:
    """Return a size, mm, that has limits, in the sheet's unit: where it lies within them, its figure lies within the printed pair.

    6 mm with limits from 6 to 6.012 is 0.2363 in, as are its printed limits from 0.2363 to 0.2366, not 0.2362.
    """
    shown = size(value, units)
    if within is None or not within[0] - float(TIE_NOISE) <= value <= within[1] + float(TIE_NOISE):
        return shown
    low, high = limits(*within, units)
    return trimmed(low if Decimal(shown) < Decimal(low) else high) if not Decimal(low) <= Decimal(shown) <= Decimal(high) else shown


def _inwards(value: Decimal, places: int, way: str) -> str:
    noise = TIE_NOISE if way == ROUND_FLOOR else -TIE_NOISE
    return _to_places(_EXACT.add(value, noise), places, way)


def sentence(words: Iterable[str | float], units: Units) -> str:
    """Return words and lengths in mm as one line, each length with its unit; `About` ones to whole mm or tenths of an inch."""
    return "".join(part if isinstance(part, str) else _said(part, units) for part in words)


def _said(value: float, units: Units) -> str:
    """Return a length of a sentence with its unit, an area with its own, a coordinate without."""
    if isinstance(value, Coordinate):
        return length(value, units, _PLACE[units])
    if isinstance(value, Area):
        return f"{fixed(value / _UNIT_AREA[units], _AREA[units])} {_UNIT_NAME[units]}2"
    return f"{size(value, units, _ROUGH[units] if isinstance(value, About) else 4)} {_UNIT_NAME[units]}"


def decimals_of(step: Decimal) -> int:
    """Return the decimals that write a step exactly."""
    exponent = step.normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def plain(value: Decimal) -> str:
    """Return a decimal without exponent or trailing zeros."""
    return trimmed(f"{value:f}") if value.is_finite() else str(value)


def trimmed(text: str) -> str:
    """Return a fixed-point figure without trailing zeros and without a bare point."""
    return text.rstrip("0").rstrip(".") if "." in text else text


def _to_places(value: Decimal, places: int, way: str) -> str:
    rounded = value.quantize(Decimal(1).scaleb(-places), rounding=way, context=Context(prec=60))
    return f"{rounded if rounded else abs(rounded):.{places}f}"
