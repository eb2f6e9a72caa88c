"""What a coordinate table says above its rows, and the escapes that keep any name on one line.

A head is lines of `key: value` (after "# " in a CSV): job, set-up, unit, step,
the zero and the set-up's axes in the part frame, the signs of the display, the
worst rounding and how many rows follow. Backslash escapes stand for what would
break a line or a cell, for characters that do not print, and for a first
character that a spreadsheet would take for a formula. Knows nothing of rows.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal, TypeAlias

from export.number import Figures, fixed, plain, trimmed
from geom.errors import EvenstockError, nearest
from geom.rows.records import Box
from geom.space import Frame, Vec3, frame_facing, norm

Signs: TypeAlias = tuple[int, int, int]
Form: TypeAlias = Literal["csv", "text"]

VERSION: Final = "2"
_KEYS: Final = (
    "evenstock coordinates",
    "job",
    "set-up",
    "units",
    "readout step",
    "readout counts up to",
    "zero",
    "zero named by",
    "zero because",
    "zero at",
    "Z points",
    "X points",
    "worst rounding",
    "rows",
)
"""Said once each, in this order."""

_MANY: Final = ("tool", "holding", "box", "pattern", "left out", "note")
"""Said any number of times, after the others."""

_WAYS: Final = (("right", "left"), ("away", "near"), ("up", "down"))
_POINT_PLACES: Final = 6
_DIRECTION_PLACES: Final = 12


@dataclass(frozen=True, slots=True)
class Head:
    """What stands above the rows.

    Attributes:
        figures: the sheet's unit and step.
        signs: +1 or -1 for X, Y, Z: -1 where the display counts the other way.
        frame: the set-up's, part frame, mm (a nanometre fine).
        zero, source, why: how the zero was named.
        worst: greatest rounding in the table, as printed.
        rows: how many follow.
        patterns, left_out, holding, notes: as printed, one sentence each.
        boxes: what stands round the work, set-up frame, mm.
    """

    form: Form
    job: str
    number: int
    count: int
    figures: Figures
    signs: Signs
    frame: Frame
    zero: str
    source: str
    why: str
    worst: str
    rows: int
    patterns: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    holding: tuple[str, ...] = ()
    boxes: tuple[Box, ...] = ()


def head_lines(head: Head, tools: Sequence[str] = ()) -> list[str]:
    """Return the head as lines without "# "; `tools` are already escaped."""
    unit = head.figures.unit_name
    said = (
        f"{head.form} {VERSION}",
        escaped(head.job),
        f"{head.number} of {head.count}",
        head.figures.units,
        f"{plain(head.figures.step)} {unit}",
        ", ".join(f"{axis} {_WAYS[i][0 if head.signs[i] > 0 else 1]}" for i, axis in enumerate("XYZ")),
        escaped(head.zero),
        escaped(head.source),
        escaped(head.why),
        f"{_triple(head.frame.origin, _POINT_PLACES)} mm in the part's own frame",
        f"{_triple(head.frame.z, _DIRECTION_PLACES)} in the part's own frame",
        f"{_triple(head.frame.x, _DIRECTION_PLACES)} in the part's own frame",
        f"{head.worst} {unit}",
        str(head.rows),
    )
    many = {
        "holding": head.holding,
        "box": [_box_text(box) for box in head.boxes],
        "pattern": head.patterns,
        "left out": head.left_out,
        "note": head.notes,
    }
    once = [f"{key}: {value}" for key, value in zip(_KEYS, said, strict=True)]
    once += [f"tool: {tool}" for tool in tools]
    return once + [f"{key}: {escaped(value)}" for key, values in many.items() for value in values]


@dataclass(frozen=True, slots=True)
class HeadLine:
    """One line of a head as read: the file and line for messages, and the raw value."""

    where: str
    value: str


def parse_head(lines: Sequence[tuple[str, str]]) -> tuple[Head, tuple[HeadLine, ...]]:
    """Return the head and its tool lines.

    Args:
        lines: (where, "key: value") pairs.

    Raises:
        EvenstockError: a line that is no head line, a key unknown, missing, twice or out of place, or a value amiss.
    """
    once, many = _sorted_lines(lines)
    units = once["units"].value
    step = _match(once["readout step"], r"(\d+(?:\.\d+)?) (mm|in)", "a step such as '0.005 mm'")
    number = _match(once["set-up"], r"([1-9]\d*) of ([1-9]\d*)", "'1 of 2'")
    figures = _figures(units, step[1], step[2], once["units"])
    form = _match(once["evenstock coordinates"], rf"(csv|text) {VERSION}", f"'csv {VERSION}' or 'text {VERSION}'")[1]
    head = Head(
        form="csv" if form == "csv" else "text",
        job=_text(once["job"]),
        number=int(number[1]),
        count=int(number[2]),
        figures=figures,
        signs=_signs(once["readout counts up to"]),
        frame=_frame(once),
        zero=_text(once["zero"]),
        source=_text(once["zero named by"]),
        why=_text(once["zero because"]),
        worst=_match(once["worst rounding"], rf"(\d+(?:\.\d+)?) {figures.unit_name}", f"a length in {figures.unit_name}")[1],
        rows=int(_match(once["rows"], r"(\d+)", "a count")[1]),
        patterns=tuple(_text(line) for line in many["pattern"]),
        left_out=tuple(_text(line) for line in many["left out"]),
        notes=tuple(_text(line) for line in many["note"]),
        holding=tuple(_text(line) for line in many["holding"]),
        boxes=tuple(_box(line) for line in many["box"]),
    )
    return head, tuple(many["tool"])


def _sorted_lines(lines: Sequence[tuple[str, str]]) -> tuple[dict[str, HeadLine], dict[str, list[HeadLine]]]:
    once: dict[str, HeadLine] = {}
    many: dict[str, list[HeadLine]] = {key: [] for key in _MANY}
    for where, text in lines:
        key, colon, value = text.partition(": ")
        if not colon or key not in (*_KEYS, *_MANY):
            raise EvenstockError(f"{where}: {text[:60]!r} is no head line of a coordinate table{nearest(key, (*_KEYS, *_MANY))}")
        if key in many:
            many[key].append(HeadLine(where, value))
        elif key in once:
            raise EvenstockError(f"{where}: '{key}' is said twice; keep one")
        else:
            once[key] = HeadLine(where, value)
    missing = [key for key in _KEYS if key not in once]
    if missing:
        end = lines[-1][0] if lines else "line 1"
        raise EvenstockError(f"{end}: the head does not say '{missing[0]}'; write the table again")
    return once, many


def _match(line: HeadLine, pattern: str, wanted: str) -> re.Match[str]:
    found = re.fullmatch(pattern, line.value, re.ASCII)
    if found is None:
        raise EvenstockError(f"{line.where}: {line.value!r} is not {wanted}")
    return found


def _text(line: HeadLine) -> str:
    return unescaped(line.value, line.where)


def _figures(units: str, step: str, unit: str, line: HeadLine) -> Figures:
    if units not in ("mm", "inch"):
        raise EvenstockError(f"{line.where}: units {units!r} are not known; a table is in 'mm' or 'inch'")
    figures = Figures("inch" if units == "inch" else "mm", Decimal(step))
    if unit != figures.unit_name:
        raise EvenstockError(f"{line.where}: the table is in {units}, but its step is in {unit}")
    return figures


def _signs(line: HeadLine) -> Signs:
    found = _match(line, r"X (right|left), Y (away|near), Z (up|down)", "such as 'X right, Y away, Z up'")
    x, y, z = (1 if found[i + 1] == _WAYS[i][0] else -1 for i in range(3))
    return (x, y, z)


def _frame(once: Mapping[str, HeadLine]) -> Frame:
    origin = _vector(once["zero at"], r" mm in the part's own frame")
    z, x = (_vector(once[key], r" in the part's own frame") for key in ("Z points", "X points"))
    for key, direction in (("Z points", z), ("X points", x)):
        if abs(norm(direction) - 1.0) > 1e-9:
            raise EvenstockError(f"{once[key].where}: {once[key].value!r} is not a direction of length 1")
    if abs(sum(a * b for a, b in zip(x, z, strict=True))) > 1e-9:
        raise EvenstockError(f"{once['X points'].where}: X does not stand square to Z")
    return frame_facing(origin, z, x)


_NUMBER = r"(-?\d+(?:\.\d+)?)"


def _vector(line: HeadLine, tail: str) -> Vec3:
    found = _match(line, f"{_NUMBER}, {_NUMBER}, {_NUMBER}{tail}", f"three numbers and '{tail.strip()}'")
    return (float(found[1]), float(found[2]), float(found[3]))


def _box_text(box: Box) -> str:
    low, high = (_triple(corner, _POINT_PLACES) for corner in (box.low, box.high))
    return f"{box.name} from {low} to {high} mm in the set-up's frame"


def _box(line: HeadLine) -> Box:
    triple = f"{_NUMBER}, {_NUMBER}, {_NUMBER}"
    wanted = "a name and two corners such as 'fixed jaw from 0, 0, 0 to 1, 1, 1 mm in the set-up's frame'"
    found = _match(line, f"(.+) from {triple} to {triple} mm in the set-up's frame", wanted)
    x, y, z, u, v, w = (float(found[i]) for i in range(2, 8))
    return Box(unescaped(found[1], line.where), (x, y, z), (u, v, w))


def _triple(vector: Vec3, places: int) -> str:
    return ", ".join(trimmed(fixed(c, places)) for c in vector)


# --- escapes ----------------------------------------------------------------

_NAMED: Final = {"\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}
_ESCAPE = re.compile(r"\\(?:([\\nrt])|u([0-9a-f]{4})|U([0-9a-f]{8})|)")
_FORMULA: Final = "=+-@"


def escaped(text: str) -> str:
    """Return text that fits one line and one cell, whatever it was; `unescaped` gives it back."""
    last = len(text) - 1
    return "".join(_one(c, i in (0, last), i == 0) for i, c in enumerate(text))


def _one(c: str, at_end: bool, at_start: bool) -> str:
    if c in _NAMED:
        return _NAMED[c]
    if (c == " " and at_end) or (c in _FORMULA and at_start) or not c.isprintable():
        return f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08x}"
    return c


def unescaped(text: str, where: str) -> str:
    """Return the text that `escaped` wrote.

    Raises:
        EvenstockError: a backslash that begins no known escape.
    """

    def one(found: re.Match[str]) -> str:
        if found[1]:
            return {"\\": "\\", "n": "\n", "r": "\r", "t": "\t"}[found[1]]
        code = found[2] or found[3]
        if code is None or int(code, 16) > 0x10FFFF:
            raise EvenstockError(f"{where}: {text!r} holds a backslash that begins no known escape")
        return chr(int(code, 16))

    return _ESCAPE.sub(one, text)
