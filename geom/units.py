"""Text with a unit becomes millimetres here, and nowhere else.

Knows the shop's ways to write a length ("12", "12 mm", "3/8 in", '1 1/2"',
"1-1/2 in", "0.4375in", "12,5 mm"). Knows nothing of where the text stood: the
caller passes `where` for the message.
"""

import re
from fractions import Fraction
from typing import Final

from geom.errors import JobError

MM_PER_INCH = 25.4
UNITS = ("mm", "inch")

_INCH: Final = Fraction(127, 5)
_UNIT_MM: Final = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": _INCH,
    "inch": _INCH,
    "inches": _INCH,
    '"': _INCH,
}
_LENGTH = re.compile(
    r"\s*(?P<sign>[+-]?)\s*(?:(?:(?P<whole>\d+)(?:\s+|\s*-\s*))?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)"
    r"|(?P<number>(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?))\s*(?P<unit>[a-zA-Z]*|\")\.?\s*",
    re.ASCII,
)
_POWER = re.compile(r"\s*(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>kw|w|hp)?\s*", re.ASCII | re.IGNORECASE)
_UNIT_WATTS: Final = {"w": 1.0, "kw": 1000.0, "hp": 745.699872}
"""A horsepower is 550 foot pounds a second."""

_LONGEST: Final = 40
"""Characters in a length: nobody writes more, and huge numbers would take for ever to read."""

_GREATEST: Final = 1e9
"""Largest number of mm or inches that can be meant."""


def unit_size(unit: str) -> float:
    """Return the millimetres in one "mm" or "inch"."""
    return {"mm": 1.0, "inch": MM_PER_INCH}[unit]


def length(value: object, unit: str, where: str) -> float:
    """Return a length in mm.

    Args:
        value: a number in `unit`, or text that may carry its own unit.
        unit: "mm" or "inch", used when the value carries none.
        where: file and key, for the message.

    Raises:
        JobError: not a length, not finite, or an unknown unit.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise JobError(f"{where}: {value!r} is not a length; give a number in {unit} or text such as '3/8 in'")
    if isinstance(value, str):
        return _length_from_text(value, unit, where)
    _check_usable(value, where)
    return float(Fraction(repr(value)) * _UNIT_MM[unit])


def positive_length(value: object, unit: str, where: str) -> float:
    """Return a length in mm that must be above zero (see `length`)."""
    found = length(value, unit, where)
    if found <= 0:
        raise JobError(f"{where}: {value!r} is {found:g} mm; it must be above 0 mm")
    return found


def power(value: object, where: str) -> float:
    """Return a power in watts, from a number of kilowatts or text such as "750 W", "1.1 kW" or "1.5 hp".

    Raises:
        JobError: not a power.
    """
    text = "" if isinstance(value, bool) or not isinstance(value, int | float | str) else str(value)
    match = _POWER.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        raise JobError(f"{where}: {value!r:.60} is not a power; give kW as a number, or text such as '1.1 kW' or '1.5 hp'")
    return float(match["number"].replace(",", ".")) * _UNIT_WATTS[(match["unit"] or "kW").lower()]


def _length_from_text(text: str, unit: str, where: str) -> float:
    match = _LENGTH.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        shown = text if len(text) <= _LONGEST else text[:_LONGEST] + "..."
        raise JobError(f"{where}: {shown!r} is not a length; write a number in {unit} or text such as '12 mm' or '3/8 in'")
    name = match["unit"].lower() or unit
    if name not in _UNIT_MM:
        raise JobError(f"{where}: unit {match['unit']!r} in {text!r} is not known; use mm or in")
    size = _fraction(match, text, where) if match["top"] else _decimal(match["number"], text, where)
    return float((-size if match["sign"] == "-" else size) * _UNIT_MM[name])


def _fraction(match: re.Match[str], text: str, where: str) -> Fraction:
    if int(match["bottom"]) == 0:
        raise JobError(f"{where}: {text!r} divides by zero; write the length as a number")
    return Fraction(int(match["top"]), int(match["bottom"])) + int(match["whole"] or 0)


def _decimal(number: str, text: str, where: str) -> Fraction:
    if re.fullmatch(r"[1-9]\d*,\d{3}", number):
        choices = f"{number.replace(',', '.')} or {number.replace(',', '')}"
        raise JobError(f"{where}: {text!r} may mean thousands or a decimal comma; write {choices}")
    value = float(number.replace(",", "."))
    _check_usable(value, where)
    return Fraction(repr(value))


def _check_usable(value: float, where: str) -> None:
    if not abs(value) <= _GREATEST:
        shown = str(value) if isinstance(value, float) else "the number"
        raise JobError(f"{where}: {shown} is not a finite number below {_GREATEST:g}; give a measured or designed value")
