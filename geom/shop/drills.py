"""Drill sets by words: "number 1-60", "letter A-Z", "fraction 1/16-1/2", "mm 1-13 by 0.1".

Knows names and diameters. Knows nothing of where the words stand: the caller
passes `where` for the message.
"""

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from geom.errors import JobError, StandardError
from geom.standards.drill import Drill, DrillKind, drill_named, drill_set, fraction_name
from geom.units import MM_PER_INCH, positive_length

_SET = re.compile(r"(?P<kind>number|letter|fraction|mm) (?P<first>[^ -]+) ?(?:-|to) ?(?P<last>[^ -]+?)(?: by (?P<step>\S+))?", re.I)
_MOST: Final = 1000
"""Drills in one set: more is a slip of the step."""

_LARGEST: Final = 100.0
"""Largest drill in mm."""

_FLUTES: Final = ((1.0, 12.0), (2.0, 24.0), (3.0, 33.0), (4.0, 43.0), (5.0, 52.0), (6.0, 57.0), (8.0, 75.0), (10.0, 87.0),
                  (12.0, 101.0), (14.0, 108.0), (16.0, 120.0), (18.0, 130.0), (20.0, 140.0))  # fmt: skip
"""Drill diameter and flute length of the usual jobber drill, mm. Source: DIN 338 (from memory)."""


def jobber_flutes(diameter: float) -> float:
    """Return how deep the flutes of a jobber drill go, mm: that of the next smaller size of the table."""
    known = [length for size, length in _FLUTES if size <= diameter + 1e-9]
    return known[-1] if known else 10.0 * diameter


def drills_of_set(words: str, where: str) -> tuple[Drill, ...]:
    """Return the drills a set's words name, smallest first.

    Raises:
        JobError: the words are not a set, or its ends are no drills or stand the wrong way round.
    """
    match = _SET.fullmatch(" ".join(words.split()))
    if match is None:
        raise JobError(
            f"{where}: '{words}' is not a set of drills; write 'number 1-60', 'letter A-Z', 'fraction 1/16-1/2' or 'mm 1-13 by 0.1'"
        )
    kind = match["kind"].lower()
    if kind == "mm":
        return _metric(match, words, where)
    if match["step"] and kind != "fraction":
        raise JobError(f"{where}: '{words}' has a step; {kind} drills come as they are: leave 'by {match['step']}' out")
    drills = drill_set("fraction" if kind == "fraction" else "number" if kind == "number" else "letter")
    low, high = sorted(_named(match[end], kind, words, where).diameter for end in ("first", "last"))
    found = [d for d in drills if low - 1e-9 <= d.diameter <= high + 1e-9]
    return tuple(_stepped(found, match["step"], words, where))


def single_drill(name: str, units: str, where: str) -> Drill:
    """Return one drill by name or diameter: "10.2 mm", "27/64", "no. 7", "F".

    Raises:
        JobError: neither a drill's name nor a length that a drill can have.
    """
    word = name.strip()
    try:
        return drill_named(word, where)
    except StandardError:
        mm = positive_length(word, units, where)
    if mm > _LARGEST:
        raise JobError(f"{where}: a drill of '{word}' is larger than {_LARGEST:g} mm; correct it or list a boring head instead")
    return Drill(size_name(mm, units), mm)


def size_name(mm: float, units: str) -> str:
    """Return a size as a shop calls it, in its own unit where that is a round figure: "12 mm", "1/2", "0.45 in"."""
    inches = Fraction(round(mm / MM_PER_INCH * 64), 64)
    fraction = inches > 0 and abs(float(inches) * MM_PER_INCH - mm) < 1e-9
    thousandths = units == "inch" and abs(mm - round(mm / MM_PER_INCH, 3) * MM_PER_INCH) < 1e-9
    metric = abs(mm - round(mm, 2)) < 1e-9 and not thousandths
    if fraction and (units == "inch" or not metric):
        return fraction_name(inches)
    return f"{round(mm, 4):g} mm" if units == "mm" or metric else f"{round(mm / MM_PER_INCH, 5):g} in"


def _metric(match: re.Match[str], words: str, where: str) -> tuple[Drill, ...]:
    first, last, step = (_size(match[part] or "0.1", words, where) for part in ("first", "last", "step"))
    if step < Fraction(1, 100) or first > last or last > _LARGEST or first <= 0:
        raise JobError(f"{where}: '{words}' must rise from above 0 to at most {_LARGEST:g} mm by steps of 0.01 mm or more")
    count = int((last - first) / step) + 1
    if count > _MOST:
        raise JobError(f"{where}: '{words}' names {count} drills; at most {_MOST} make a set: widen the step")
    return tuple(Drill(f"{float(first + i * step):g} mm", float(first + i * step)) for i in range(count))


def _size(text: str, words: str, where: str) -> Fraction:
    if not re.fullmatch(r"\d{1,3}(\.\d{1,3})?", text):
        raise JobError(f"{where}: '{text}' in '{words}' is not a size in mm; write it as in 'mm 1-13 by 0.1'")
    return Fraction(text)


def _named(name: str, kind: str, words: str, where: str) -> Drill:
    """Return the drill at one end of a set; of its kind."""
    kinds: Sequence[DrillKind] = [k for k in ("number", "letter", "fraction") if k == kind]
    wanted = {f"NO. {name}", name.upper(), f"{name.upper()} IN"}
    for drill in (d for k in kinds for d in drill_set(k)):
        if drill.name.upper() in wanted:
            return drill
    ends = drill_set(kinds[0])
    raise JobError(f"{where}: '{name}' in '{words}' is no {kind} drill; they go from {ends[0].name} to {ends[-1].name}")


def _stepped(drills: list[Drill], step: str | None, words: str, where: str) -> list[Drill]:
    if step is None:
        return drills
    match = re.fullmatch(r"1/(8|16|32|64)", step)
    if match is None:
        raise JobError(f"{where}: the step '{step}' in '{words}' is not one of 1/8, 1/16, 1/32 and 1/64")
    size = MM_PER_INCH / int(match[1])
    return [d for d in drills if abs(d.diameter / size - round(d.diameter / size)) < 1e-9]
