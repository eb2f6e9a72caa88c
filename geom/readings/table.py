"""A table of readings: a CSV file with '#' lines on top that say its unit.

Knows lines, columns, numbers and units; which columns a table has and what they
mean is `reading_files`. Comma, semicolon or tab between columns; a decimal
comma is read as a point and said so. Lengths come out in mm.
"""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from geom.errors import JobError, ReadingError, nearest
from geom.space import Vec3, unit
from geom.units import length

_UNITS: Final = {"mm": "mm", "millimetres": "mm", "in": "inch", "inch": "inch", "inches": "inch"}
_LARGEST: Final = 5_000_000
"""Bytes in a file of hand-taken readings: more is a scan in the wrong place."""

_DECIMAL_COMMA: Final = re.compile(r"([+-]?\d*),(\d+)(?!\S*[.,])")
_AXIS: Final = re.compile(r"([+-]?)([xyz])([+-]?)", re.IGNORECASE)


_COORDINATES: Final = ("x", "y", "z")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a table: its cells by column, and where it stands."""

    where: str
    cells: dict[str, str] = field(repr=False)
    unit: str

    def text(self, column: str) -> str:
        """Return a cell, "" when empty or not a column of this file."""
        return self.cells.get(column, "")

    def number(self, column: str) -> float | None:
        """Return a length in mm, None for an empty cell."""
        cell = self.text(column)
        return None if not cell else self._length(cell, column)

    def need(self, column: str) -> float:
        """Return a length in mm that must be there."""
        value = self.number(column)
        if value is None:
            raise ReadingError(f"{self.where}: {column} is empty; write the length in {self.unit}, or take the line out")
        return value

    def word(self, column: str) -> str:
        """Return text that must be there."""
        if not self.text(column):
            raise ReadingError(f"{self.where}: {column} is empty; write the name of a face, or take the line out")
        return self.text(column)

    def above_zero(self, column: str) -> float:
        """Return a length in mm above 0."""
        value = self.need(column)
        if value <= 0:
            raise ReadingError(f"{self.where}: {column} is {self.text(column)!r}; it must be above 0 {self.unit}")
        return value

    def place(self, column: str) -> Vec3 | None:
        """Return a rough place from "x y z", mm, None for an empty cell."""
        cell = self.text(column)
        if not cell:
            return None
        found = [self._length(word, column) for word in cell.split()]
        if len(found) != 3:
            raise ReadingError(
                f"{self.where}: {column} is {cell!r}; write three numbers with blanks between, as '30 20 12', on the drawing"
            )
        return (found[0], found[1], found[2])

    def size(self, column: str) -> tuple[float, float]:
        """Return a size from "a x b", mm."""
        cell = self.text(column)
        parts = re.split(r"\s*[xX×]\s*", cell) if cell else []
        found = [self._length(part, column) for part in parts if part]
        if len(found) != 2 or min(found) <= 0:
            raise ReadingError(f"{self.where}: {column} is {cell!r}; write length and width above 0, as '30 x 20'")
        return (found[0], found[1])

    def direction(self, column: str) -> Vec3 | None:
        """Return a unit direction from "+x", "-z" or three numbers, None for an empty cell."""
        cell = self.text(column)
        if not cell:
            return None
        match = _AXIS.fullmatch(cell)
        if match and not (match[1] and match[3]):
            sign = -1.0 if "-" in (match[1], match[3]) else 1.0
            x, y, z = (sign * (name == match[2].lower()) + 0.0 for name in "xyz")
            return (x, y, z)
        try:
            x, y, z = (float(word.replace(",", ".")) for word in cell.split())
            return unit((x, y, z))
        except ValueError:
            raise ReadingError(f"{self.where}: {column} is {cell!r}; write +x, -x, +y, -y, +z, -z or three numbers") from None

    def _length(self, text: str, column: str) -> float:
        try:
            return length(pointed(text), self.unit, f"{self.where}, {column}")
        except JobError as error:
            raise ReadingError(str(error)) from None


@dataclass(frozen=True, slots=True)
class ReadingTable:
    """One file: its '#' lines by key, its lines, what to warn of."""

    label: str
    unit: str
    head: dict[str, tuple[str, str]]
    lines: tuple[Line, ...]
    warnings: tuple[str, ...]

    def head_text(self, key: str) -> str:
        """Return what a '#' line says, "" when there is none."""
        return self.head.get(key, ("", ""))[0]

    def head_length(self, key: str) -> float | None:
        """Return a length of a '#' line, mm, above 0; None when there is none."""
        if key not in self.head:
            return None
        text, where = self.head[key]
        return Line(where, {key: text}, self.unit).above_zero(key)


def pointed(text: str) -> str:
    """Return a number with a decimal comma written with a point."""
    return _DECIMAL_COMMA.sub(r"\1.\2", text, count=1)


def read_table(path: Path, label: str, columns: Sequence[str], head: Sequence[str], units: str) -> ReadingTable:
    """Return the table in a file.

    Args:
        columns: those it may have; which must be there is for the caller to ask cell by cell.
        head: keys its '#' lines may have besides "units" (other '#' lines are comments).
        units: "mm" or "inch", when the file does not say.

    Raises:
        ReadingError: not readable, empty, columns that are none of these, or a line too long.
    """
    stated, table = _split(_rows(read_text(path, label), label))
    known = {key: value for key, value in stated.items() if key in (*head, "units")}
    unit_name, warnings = _unit(known, label, units)
    if not table:
        raise ReadingError(
            f"{label}: holds no line of readings; write a line of column names ({', '.join(columns)}) and readings below"
        )
    names = _columns(table[0], columns)
    lines = [_line(row, names, unit_name) for row in table[1:]]
    if not lines:
        raise ReadingError(f"{label}: has column names but no reading below them; add readings or take the file away")
    said = (*_comma_warnings(lines, known), *_short_rows(table[1:], names))
    return ReadingTable(label, unit_name, known, tuple(lines), (*warnings, *said))


@dataclass(frozen=True, slots=True)
class _Row:
    number: int
    cells: tuple[str, ...]
    where: str


def read_text(path: Path, label: str) -> str:
    """Return a text file of readings.

    Raises:
        ReadingError: not readable, too large, or not text.
    """
    try:
        if path.stat().st_size > _LARGEST:
            raise ReadingError(f"{label}: is over {_LARGEST // 1_000_000} MB; a scan goes into its own file, named in scan.toml")
        data = path.read_bytes()
    except OSError as error:
        raise ReadingError(f"{label}: cannot be read ({error.strerror}); check the file and its permissions") from None
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        raise ReadingError(f"{label}: is not text (byte {error.start}); save it as CSV text in UTF-8") from None
    if "\0" in text:
        raise ReadingError(f"{label}: is not text; save it as CSV text in UTF-8")
    return text


def _rows(text: str, label: str) -> list[_Row]:
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    plain = [line for line in lines if line.strip() and not line.lstrip().startswith("#")]
    mark = next((m for m in (";", "\t") if plain and m in plain[0]), ",")
    rows = []
    for number, line in enumerate(lines, 1):
        where = f"{label} line {number}"
        if not line.strip():
            continue
        if line.lstrip().startswith("#"):
            rows.append(_Row(number, (line.strip().rstrip(",;\t"),), where))
            continue
        try:
            cells = next(csv.reader(io.StringIO(line), delimiter=mark, skipinitialspace=True, strict=True))
        except (csv.Error, StopIteration):
            raise ReadingError(f"{where}: cannot be read as cells with {mark!r} between; check the quotation marks") from None
        if any(cell.strip() for cell in cells):
            rows.append(_Row(number, tuple(cell.strip() for cell in cells), where))
    return rows


def _split(rows: list[_Row]) -> tuple[dict[str, tuple[str, str]], list[_Row]]:
    stated: dict[str, tuple[str, str]] = {}
    table = []
    for row in rows:
        if not row.cells[0].startswith("#"):
            table.append(row)
            continue
        key, colon, value = row.cells[0].lstrip("# ").partition(":")
        key = " ".join(key.lower().split())
        if colon and key in stated and stated[key][0] != value.strip():
            raise ReadingError(f"{row.where}: says '{key}' a second time; keep one of the two")
        if colon:
            stated[key] = (value.strip(), row.where)
    return stated, table


def _unit(stated: dict[str, tuple[str, str]], label: str, units: str) -> tuple[str, list[str]]:
    if "units" not in stated:
        return units, [f"{label}: does not say its unit; taken as {units}, the job's own: add a line '# units: {units}'"]
    text, where = stated["units"]
    if text.lower() not in _UNITS:
        raise ReadingError(f"{where}: unit {text!r} is not known; write '# units: mm' or '# units: inch'")
    return _UNITS[text.lower()], []


def _columns(row: _Row, columns: Sequence[str]) -> list[str]:
    names = [" ".join(cell.lower().split()) for cell in row.cells]
    while names and not names[-1]:
        names.pop()
    for name in names:
        if name not in columns:
            raise ReadingError(
                f"{row.where}: {name!r} is not a column{nearest(name, list(columns))}; it may have {', '.join(columns)}"
            )
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice:
        raise ReadingError(f"{row.where}: column {twice!r} stands there twice; keep one of the two")
    return names


def _line(row: _Row, names: list[str], unit_name: str) -> Line:
    cells = list(row.cells)
    while len(cells) > len(names) and not cells[-1]:
        cells.pop()
    if len(cells) > len(names):
        raise ReadingError(
            f"{row.where}: has {len(cells)} cells, the column names are {len(names)}; "
            "with decimal commas put semicolons between the cells"
        )
    return Line(row.where, dict(zip(names, cells, strict=False)), unit_name)


def _short_rows(rows: Sequence[_Row], names: list[str]) -> list[str]:
    """Return a sentence on each row that ends before a coordinate: a line cut off looks like one that was not read."""
    return [
        f"{row.where}: has {len(row.cells)} cells, the column names are {len(names)}; {', '.join(lost)} counted as not read"
        for row in rows
        if (lost := [name for name in names[len(row.cells) :] if name in _COORDINATES])
    ]


def _comma_warnings(lines: Sequence[Line], head: dict[str, tuple[str, str]]) -> list[str]:
    numbers = [
        (line.where, cell)
        for line in lines
        for name, cell in line.cells.items()
        if name not in ("note", "face", "faces", "face a", "face b") and any(pointed(word) != word for word in cell.split())
    ]
    numbers += [(where, text) for key, (text, where) in head.items() if key in ("tip", "sigma") and pointed(text) != text]
    if not numbers:
        return []
    where, cell = numbers[0]
    more = f" and {len(numbers) - 1} more" if len(numbers) > 1 else ""
    return [f"{where}: {cell!r}{more} read with a decimal comma, as {' '.join(map(pointed, cell.split()))}"]
