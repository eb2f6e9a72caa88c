"""The rows of one set-up as its sheet prints them: the CSV's own cells, by tool, each with its note and what the proof says.

Takes every figure as it stands in the written table and rounds nothing. Knows nothing of paper.
"""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from export.number import Units, size
from export.reports.proof_record import Failure, ProofRecord
from export.reports.prove import fault_text
from export.tables.read import HEADINGS, SET_BY_ROW, TableFile, read_table
from export.tables.write import in_drawer, tool_names
from geom.rows.records import Row

_WITHIN_REACH: Final = (
    "x",
    "y",
    "z",
    "set_to",
    "x_to",
    "y_to",
    "z_full",
    "spread",
    "towards",
    "nominal",
    "limit_low",
    "limit_high",
)
"""What gets a column of figures; the rest of a row is said in words under it."""

_MEASURING: Final = ("nominal", "limit_low", "limit_high")
_NUMBERS: Final = ("x", "y", "z")
_BY_HAND: Final = ("measure", "break edges")


@dataclass(frozen=True, slots=True)
class Line:
    """One row on paper.

    Attributes:
        cells: under the heads of its section, as the CSV has them; "" where the row has none.
        note: what stands under it; wrong: what the proof says against it.
    """

    number: str
    feature: str
    action: str
    cells: tuple[str, ...]
    note: str
    wrong: str


@dataclass(frozen=True, slots=True)
class Section:
    """Rows one after another with one tool.

    Attributes:
        tool: "T3"; name: "50 mm face mill"; runs: its speed and feed where all rows have the same.
        heads: of the columns of figures, each with its unit.
        reads: there is a box for what was read.
    """

    tool: str
    name: str
    runs: str
    heads: tuple[str, ...]
    reads: bool
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class _Entry:
    """A row with its cells as written."""

    row: Row
    cells: Mapping[str, str]


def read_back(name: str, content: bytes) -> TableFile:
    """Return a table from its file."""
    return read_table(content.decode(), name)


def sections(name: str, content: bytes, proof: ProofRecord) -> tuple[Section, ...]:
    """Return every row of a written table in order, by tool.

    Args:
        name: of the CSV file; content: its bytes.
    """
    table = read_back(name, content)
    units = table.head.figures.units
    names = tool_names((row.tool for row in table.rows), table.head.figures)
    wrong = _wrong(proof.failures_by_row(table.head.number), units)
    runs = groupby(_entries(table, content), key=lambda one: (in_drawer(one.row.tool), one.row.action in _BY_HAND))
    return tuple(_section(names[tool], tuple(some), units, wrong) for (tool, _), some in runs)


def _wrong(failures: Mapping[int, Sequence[Failure]], units: Units) -> dict[int, str]:
    return {number: "; ".join(fault_text(one, units) for one in some) for number, some in failures.items()}


def _entries(table: TableFile, content: bytes) -> Iterator[_Entry]:
    lines = csv.DictReader(line for line in content.decode().splitlines() if not line.startswith("#"))
    for row, cells in zip(table.rows, lines, strict=True):
        set_to = size(row.tool.diameter, table.head.figures.units, 6) if row.tool.kind == SET_BY_ROW else ""
        yield _Entry(row, {**cells, "set_to": set_to})


def _section(called: tuple[str, str], some: Sequence[_Entry], units: Units, wrong: Mapping[int, str]) -> Section:
    by_hand = some[0].row.action in _BY_HAND
    columns = [
        column for column in _WITHIN_REACH if any(one.cells[column] for one in some) and (by_hand or column not in _MEASURING)
    ]
    columns = [*columns, *(column for column in _NUMBERS if not by_hand and column not in columns)]
    columns.sort(key=_WITHIN_REACH.index)
    shared = {column: some[0].cells[column] for column in ("rpm", "feed") if len({one.cells[column] for one in some}) == 1}
    lines = tuple(_line(one, columns, units, shared, wrong.get(one.row.number, "")) for one in some)
    heads = tuple(HEADINGS[column].format(unit=_UNIT[units]) for column in columns)
    return Section(*called, _runs(shared, units), heads, some[0].row.action == "measure", lines)


_UNIT: Final[Mapping[Units, str]] = {"mm": "mm", "inch": "in"}


def _runs(cells: Mapping[str, str], units: Units) -> str:
    speed = f"{cells['rpm']} rpm" if cells.get("rpm") else ""
    feed = f"feed {cells['feed']} {_UNIT[units]}/min" if cells.get("feed") else ""
    return ", ".join(filter(None, (speed, feed)))


def _line(one: _Entry, columns: Sequence[str], units: Units, shared: Mapping[str, str], wrong: str) -> Line:
    own = {column: one.cells[column] for column in ("rpm", "feed") if column not in shared}
    unit = _UNIT[units]
    limits = (
        ""
        if "limit_low" in columns or not one.cells["limit_low"]
        else f"{one.cells['limit_low']} to {one.cells['limit_high']} {unit}"
    )
    said = (
        _runs(own, units),
        f"finished size {limits}" if limits else "",
        f"leaves {one.cells['leave']} {unit}" if one.cells["leave"] else "",
        f"peck {one.cells['peck']} {unit}" if one.cells["peck"] else "",
        one.row.note,
    )
    return Line(
        number=one.cells["row"],
        feature=one.row.feature,
        action=one.row.action,
        cells=tuple(one.cells[column] for column in columns),
        note="; ".join(filter(None, said)),
        wrong=wrong,
    )
