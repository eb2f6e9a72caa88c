"""Text with a unit becomes millimetres here, and nowhere else.

Knows the shop's ways to write a length ("12", "12 mm", "3/8 in", '1 1/2"',
"0.4375in", "12,5 mm"). Knows nothing of where the text stood: the caller
passes `where` for the message.
"""

import math
import re
from fractions import Fraction

from geom.errors import JobError

MM_PER_INCH = 25.4
UNITS = ("mm", "inch")

_UNIT_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": MM_PER_INCH, "inch": MM_PER_INCH, '"': MM_PER_INCH}
_LENGTH = re.compile(
    r"^\s*(?P<sign>[+-]?)\s*(?:(?P<whole>\d+)\s+)?(?P<number>\d+\s*/\s*\d+|\d*[.,]?\d+(?:[eE][+-]?\d+)?|\d+[.,]?)"
    r"\s*(?P<unit>[a-zA-Z\"]*)\s*$"
)


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
    return _finite(float(value), where) * unit_size(unit)


def positive_length(value: object, unit: str, where: str) -> float:
    """Return a length in mm that must be above zero (see `length`)."""
    found = length(value, unit, where)
    if found <= 0:
        raise JobError(f"{where}: {value!r} is {found:g} mm; it must be above 0 mm")
    return found


def _length_from_text(text: str, unit: str, where: str) -> float:
    match = _LENGTH.match(text)
    if match is None:
        raise JobError(f"{where}: {text!r} is not a length; write a number in {unit} or text such as '12 mm' or '3/8 in'")
    name = match["unit"].lower() or unit
    if name not in _UNIT_MM:
        raise JobError(f"{where}: unit {match['unit']!r} in {text!r} is not known; use mm or in")
    number = match["number"].replace(" ", "").replace(",", ".")
    try:
        size = float(Fraction(number)) + int(match["whole"] or 0)
    except ZeroDivisionError:
        raise JobError(f"{where}: {text!r} divides by zero; write the length as a number") from None
    return _finite(-size if match["sign"] == "-" else size, where) * _UNIT_MM[name]


def _finite(number: float, where: str) -> float:
    if not math.isfinite(number):
        raise JobError(f"{where}: {number} is not a finite number; give a measured or designed value")
    return number
