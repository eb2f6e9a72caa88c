"""One reader for the tables that ship with the program.

A table is a CSV file beside this module. It opens with comment lines that say
what it is and where its numbers come from (title, source, edition, unit,
certainty, notes); every row may carry a certainty of its own. Knows nothing of
screws, alloys or grades: the lookup modules do.

A table that does not load is a mistake in the program, not in the user's
input, so it raises `BrokenTableError`, which is no `EvenstockError`.
"""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final, Literal, TypeAlias, cast, get_args

from geom.errors import StandardError
from geom.units import length

Certainty: TypeAlias = Literal["published copy seen", "from memory", "common practice"]
TableUnit: TypeAlias = Literal["mm", "inch", "none"]

CERTAINTIES: Final[tuple[str, ...]] = get_args(Certainty)
_UNITS: Final[tuple[str, ...]] = get_args(TableUnit)
_KEYS: Final = ("title", "source", "edition", "unit", "certainty")


class BrokenTableError(RuntimeError):
    """A shipped table is not what its reader promises: a programming error."""


_NOISE: Final = 1e-7
"""mm: a length computed from a solid is known no nearer, and 16.0000001 mm is 16 mm."""


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row: its cells as text by column, how sure we are of it, and where it stands."""

    cells: Mapping[str, str]
    certainty: Certainty
    place: str
    unit: TableUnit

    def text(self, column: str) -> str:
        """Return a cell as text; "" when it is blank."""
        if column not in self.cells:
            raise BrokenTableError(f"{self.place}: there is no column {column!r}; there are {', '.join(self.cells)}")
        return self.cells[column]

    def number(self, column: str) -> float:
        """Return a cell as the number written in it, in the table's own unit."""
        cell = self.text(column)
        try:
            return float(cell)
        except ValueError:
            raise BrokenTableError(f"{self.place}: {cell!r} under {column!r} is not a number") from None

    def length(self, column: str) -> float:
        """Return a cell as a length in mm, whatever the table's unit."""
        if self.unit == "none":
            raise BrokenTableError(f"{self.place}: the table has no unit of length, so {column!r} is not one")
        return length(self.number(column), self.unit, self.place)


@dataclass(frozen=True, slots=True)
class Table:
    """A shipped table.

    Attributes:
        name: file name without its ending.
        source: standard or book; printed wherever a value of it is.
        edition: year or edition, or "not stated".
        unit: of its lengths: "mm", "inch", or "none" when it holds no lengths.
        certainty: of rows that say nothing of their own.
        notes: what a user of the values must know.
        columns: names of the columns, the rows' own certainty left out.
    """

    name: str
    title: str
    source: str
    edition: str
    unit: TableUnit
    certainty: Certainty
    notes: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[TableRow, ...]

    @property
    def cited(self) -> str:
        """The source and edition as sheets print them."""
        return self.source if self.edition == "not stated" else f"{self.source} ({self.edition})"

    def cited_row(self, row: TableRow) -> str:
        """The source as sheets print it beside a value of this row; says so when it is from memory."""
        return f"{self.cited}, from memory" if row.certainty == "from memory" else self.cited

    def column(self, name: str) -> tuple[str, ...]:
        """Return one column as text, in the table's order."""
        return tuple(row.text(name) for row in self.rows)

    def find(self, column: str, value: str) -> TableRow | None:
        """Return the first row whose cell under `column` is `value`, or None."""
        return next((row for row in self.rows if row.text(column) == value), None)

    def row_for(self, column: str, value: str, what: str, where: str) -> TableRow:
        """Return the row whose cell under `column` is `value`.

        Args:
            what: what a row stands for, for the message ("clearance hole size").
            where: file and key, for the message.

        Raises:
            StandardError: not in the table; the message lists what is.
        """
        row = self.find(column, value)
        if row is None:
            known = ", ".join(self.column(column))
            raise StandardError(f"{where}: {value!r} is not a {what} in {self.cited}; the table has {known}")
        return row

    def range_row(self, value: float, what: str, where: str) -> TableRow:
        """Return the row whose range `over` < value <= `upto` holds a length in mm.

        Raises:
            StandardError: outside the table; the message gives the ends.
        """
        for row in self.rows:
            if row.length("over") + _NOISE < value <= row.length("upto") + _NOISE:
                return row
        first, last = self.rows[0].length("over"), self.rows[-1].length("upto")
        raise StandardError(f"{where}: {what} {value:g} mm is outside {self.cited}, which covers over {first:g} to {last:g} mm")


def table_names() -> tuple[str, ...]:
    """Return the names of all shipped tables, sorted."""
    folder = files("geom.standards").joinpath("tables")
    return tuple(sorted(entry.name[:-4] for entry in folder.iterdir() if entry.name.endswith(".csv")))


@cache
def table(name: str) -> Table:
    """Return a shipped table by name.

    Raises:
        BrokenTableError: it is missing or not in the agreed form.
    """
    path = files("geom.standards").joinpath("tables", f"{name}.csv")
    if not path.is_file():
        raise BrokenTableError(f"there is no shipped table {name!r}; there are {', '.join(table_names())}")
    return parse_table(name, path.read_text(encoding="utf-8"))


def parse_table(name: str, text: str) -> Table:
    """Return the table written in CSV text (see the module's header for the form).

    Raises:
        BrokenTableError: a heading is missing or unknown, or a row does not fit its columns.
    """
    lines = text.splitlines()
    count = next((i for i, line in enumerate(lines) if not line.startswith("#")), len(lines))
    heading, notes = _heading(name, lines[:count])
    unit = cast(TableUnit, _one_of(f"{name}.csv", "unit", heading["unit"], _UNITS))
    certainty = cast(Certainty, _one_of(f"{name}.csv", "certainty", heading["certainty"], CERTAINTIES))
    records = list(csv.reader(lines[count:], strict=True))
    if len(records) < 2:
        raise BrokenTableError(f"{name}.csv: no column line and rows after the headings")
    header = tuple(records[0])
    if len(set(header)) != len(header) or "" in header:
        raise BrokenTableError(f"{name}.csv: columns {header} are not distinct names")
    rows = tuple(_row(f"{name}.csv line {count + 2 + i}", header, record, unit, certainty) for i, record in enumerate(records[1:]))
    columns = tuple(column for column in header if column != "certainty")
    return Table(name, heading["title"], heading["source"], heading["edition"], unit, certainty, notes, columns, rows)


def _heading(name: str, lines: Sequence[str]) -> tuple[dict[str, str], tuple[str, ...]]:
    found: dict[str, str] = {}
    notes: list[str] = []
    for line in lines:
        key, _, value = (part.strip() for part in line[1:].partition(":"))
        if key == "note" and value:
            notes.append(value)
        elif key in _KEYS and value and key not in found:
            found[key] = value
        else:
            raise BrokenTableError(f"{name}.csv: heading {line!r} is not 'key: text' with a new key of {', '.join(_KEYS)} or note")
    missing = [key for key in _KEYS if key not in found]
    if missing:
        raise BrokenTableError(f"{name}.csv: no heading for {', '.join(missing)}")
    return found, tuple(notes)


def _one_of(place: str, key: str, value: str, known: Sequence[str]) -> str:
    if value not in known:
        raise BrokenTableError(f"{place}: {key} {value!r} is none of {', '.join(known)}")
    return value


def _row(place: str, columns: Sequence[str], record: Sequence[str], unit: TableUnit, certainty: Certainty) -> TableRow:
    if len(record) != len(columns):
        raise BrokenTableError(f"{place}: {len(record)} cells under {len(columns)} columns")
    cells = {column: cell.strip() for column, cell in zip(columns, record, strict=True) if column != "certainty"}
    own = dict(zip(columns, record, strict=True)).get("certainty", "").strip()
    sure = cast(Certainty, _one_of(place, "certainty", own, CERTAINTIES)) if own else certainty
    return TableRow(cells, sure, place, unit)
