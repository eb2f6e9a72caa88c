"""Reads a coordinate table back, CSV or text, as strictly as it was written.

What comes back is what the machinist has on paper: printed coordinates, turned
into mm in the set-up's own frame, and everything needed to cut along them.
Anything that the writer would not have written is an error that names its line.
"""

import csv
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, TypeVar

from export.number import Figures, coordinate_value, size_value
from export.tables.head import Head, HeadLine, parse_head, unescaped
from geom.errors import EvenstockError, nearest
from geom.rows.records import ACTIONS, TOOL_KINDS, TOWARDS, Row, Tool

COLUMNS: Final = (
    "row",
    "feature",
    "action",
    "tool",
    "x",
    "y",
    "z",
    "x_to",
    "y_to",
    "z_full",
    "leave",
    "limit_low",
    "limit_high",
    "nominal",
    "spread",
    "towards",
    "rpm",
    "feed",
    "peck",
    "tool_kind",
    "tool_label",
    "tool_diameter",
    "tool_point",
    "tool_flutes",
    "tool_reach",
    "tool_pilot",
    "note",
)
"""Of a CSV, in order; lengths in the unit its head names, feed in that unit a minute."""

TOOL_COLUMNS: Final = tuple(column for column in COLUMNS if column.startswith("tool_"))

HEADINGS: Final = {
    "row": "Row",
    "feature": "Feature",
    "action": "Action",
    "set_to": "Set to {unit}",
    "x": "X {unit}",
    "y": "Y {unit}",
    "z": "Z {unit}",
    "x_to": "X to {unit}",
    "y_to": "Y to {unit}",
    "z_full": "Z full {unit}",
    "leave": "Leave {unit}",
    "nominal": "Reads {unit}",
    "limit_low": "Least {unit}",
    "limit_high": "Most {unit}",
    "spread": "Within +- {unit}",
    "towards": "Towards",
    "rpm": "Speed rpm",
    "feed": "Feed {unit}/min",
    "peck": "Peck {unit}",
    "note": "Note",
}
"""Of a text table, in order; columns that no row fills are not printed."""

SET_BY_ROW: Final = "boring head"
"""A kind of tool that is set to a diameter for each row; a text table gives it a column and the CSV the tool's own."""

ALWAYS: Final = ("row", "feature", "action", "x", "y", "z")
"""Columns of a text table that are printed even when empty."""

NONE: Final = "-"
"""Stands in a text table's list of tools for a name or a point that a tool has not."""

NOT_PROVED: Final = "NOT PROVED: do not cut from this table; prove.txt says why"
"""First line of a text table whose job is not proved."""

NOT_YET: Final = "NOT PROVED YET: run evenstock prove on this job before you cut from this table"
"""First line of a text table that nobody has tried to prove."""

MARKS: Final = ("NOT PROVED", "PROVED")
"""How the first line of a text table begins when it says whether the table is proved; such a line is no part of the table."""

_T = TypeVar("_T")
_Lines = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class TableFile:
    """A table as read.

    Attributes:
        head: what stands above the rows; its frame places the set-up in the part.
        rows: printed coordinates, mm, set-up frame (the display's signs undone).
    """

    head: Head
    rows: tuple[Row, ...]


def read_table(text: str, where: str = "table") -> TableFile:
    """Return a table from the text of its file.

    Args:
        where: the file's name, for messages.

    Raises:
        EvenstockError: anything out of place; the message names the line.
    """
    if text.startswith("\ufeff") or "\r" in text:
        raise EvenstockError(
            f"{where}: another program has changed its line ends or put a mark before its text; use the file as written"
        )
    lines = [(f"{where}, line {i}", line) for i, line in enumerate(text.split("\n"), 1)]
    if not text.endswith("\n"):
        raise EvenstockError(f"{lines[-1][0]}: the table is cut off (its last line does not end); write it again")
    lines.pop()
    if lines and lines[0][1].startswith(MARKS):
        lines.pop(0)
    head, rows = _csv_parts(lines) if text.startswith("# ") else _text_parts(lines)
    if head.rows != len(rows):
        counts = f"the head promises {head.rows} rows and {len(rows)} follow"
        raise EvenstockError(f"{where}: {counts}; the table is cut off or was edited")
    for wanted, row in enumerate(rows, 1):
        if row.number != wanted:
            raise EvenstockError(f"{where}: row {row.number} stands where row {wanted} belongs")
    return TableFile(head, rows)


# --- CSV --------------------------------------------------------------------


def _csv_parts(lines: _Lines) -> tuple[Head, tuple[Row, ...]]:
    above = [(where, line[2:]) for where, line in lines if line.startswith("# ")]
    body = lines[len(above) :]
    if any(line.startswith("#") for _, line in body):
        late = next(where for where, line in body if line.startswith("#"))
        raise EvenstockError(f"{late}: a head line stands among the rows")
    head, _ = parse_head(above)
    if head.form != "csv":
        raise EvenstockError(f"{above[0][0]}: the head says '{head.form}', but its lines begin with '#' as in a CSV")
    if not body or body[0][1] != ",".join(COLUMNS):
        raise EvenstockError(f"{(body or above)[0][0]}: the columns are not {','.join(COLUMNS)}")
    return head, tuple(_csv_row(where, line, head) for where, line in body[1:])


def _csv_row(where: str, line: str, head: Head) -> Row:
    try:
        cells = next(csv.reader([line], strict=True))
    except (csv.Error, StopIteration):
        raise EvenstockError(f"{where}: is not a line of CSV") from None
    if len(cells) != len(COLUMNS):
        raise EvenstockError(f"{where}: has {len(cells)} cells; {len(COLUMNS)} are wanted")
    named = dict(zip(COLUMNS, cells, strict=True))
    tool = _tool([named[c] for c in TOOL_COLUMNS], where, head)
    return _row(named, tool, where, head)


# --- text -------------------------------------------------------------------


def _text_parts(lines: _Lines) -> tuple[Head, tuple[Row, ...]]:
    end = next((i for i, (_, line) in enumerate(lines) if not line), len(lines))
    head, tool_lines = parse_head(lines[:end])
    if head.form != "text":
        raise EvenstockError(f"{lines[0][0]}: the head says '{head.form}', but its lines do not begin with '#'")
    tools = dict(_text_tool(line, head) for line in tool_lines)
    body = [pair for pair in lines[end:] if pair[1]]
    if len(body) < 2:
        raise EvenstockError(f"{lines[-1][0]}: the table has no headings; it is cut off")
    columns = _text_columns(body[0], body[1], head.figures)
    return head, tuple(_text_rows(body[2:], columns, tools, head))


def _text_columns(heads: tuple[str, str], ruler: tuple[str, str], figures: Figures) -> dict[str, slice]:
    """Return where each column stands, from the ruler under the headings."""
    if not re.fullmatch(r"-+(  -+)*", ruler[1]):
        raise EvenstockError(f"{ruler[0]}: a ruler of dashes belongs under the headings")
    names = {text.format(unit=figures.unit_name): column for column, text in HEADINGS.items()}
    spans = [slice(found.start(), found.end()) for found in re.finditer(r"-+", ruler[1])]
    spans[-1] = slice(spans[-1].start, None)
    said = [heads[1][span].strip() for span in spans]
    for text in said:
        if text not in names:
            raise EvenstockError(f"{heads[0]}: {text!r} is no heading of a coordinate table{nearest(text, tuple(names))}")
    columns = [names[text] for text in said]
    if columns != [column for column in HEADINGS if column in columns]:
        raise EvenstockError(f"{heads[0]}: the columns are out of order or one is there twice")
    missing = [column for column in ALWAYS if column not in columns]
    if missing:
        raise EvenstockError(f"{heads[0]}: the column {missing[0]!r} is missing")
    return dict(zip(columns, spans, strict=True))


def _text_tool(line: HeadLine, head: Head) -> tuple[str, Tool]:
    name, _, rest = line.value.partition(" ")
    cells = rest.split(" | ")
    if not re.fullmatch(r"T[1-9]\d*", name) or len(cells) < 1 + len(TOOL_COLUMNS):
        wanted = "'T1 12 mm end mill | end mill | - | 12 | - | 26 | 40 | -'"
        raise EvenstockError(f"{line.where}: {line.value!r} is not a tool such as {wanted}")
    return name, _tool(["" if cell == NONE else cell for cell in cells[-len(TOOL_COLUMNS) :]], line.where, head)


def _text_rows(body: _Lines, columns: Mapping[str, slice], tools: Mapping[str, Tool], head: Head) -> Iterator[Row]:
    """Yield the rows; a line that begins with a tool's number says what the rows after it use."""
    tool: Tool | None = None
    for where, line in body:
        if line.startswith("T"):
            name = line.partition(" ")[0]
            if name not in tools:
                raise EvenstockError(f"{where}: the head lists no tool {name!r}{nearest(name, tuple(tools))}")
            tool = tools[name]
        elif tool is None:
            raise EvenstockError(f"{where}: no tool stands before this row")
        else:
            cells = _text_cells(where, line, columns)
            yield _row(cells, _as_set(tool, cells.get("set_to", ""), where, head), where, head)


def _as_set(tool: Tool, text: str, where: str, head: Head) -> Tool:
    """Return the tool set to its row's diameter, where it is one that is set."""
    if bool(text) != (tool.kind == SET_BY_ROW):
        wanted = "a boring head is set to a diameter" if tool.kind == SET_BY_ROW else f"a {tool.kind} is not set to a diameter"
        raise EvenstockError(f"{where}: {wanted}")
    return replace(tool, diameter=_at(where, "set_to", lambda: size_value(text, head.figures.units))) if text else tool


def _text_cells(where: str, line: str, columns: Mapping[str, slice]) -> dict[str, str]:
    spans = sorted((span.start, span.stop) for span in columns.values())
    if any(line[end:start].strip() for (_, end), (start, _) in pairwise(spans)):
        raise EvenstockError(f"{where}: text stands between the columns")
    return dict.fromkeys(COLUMNS, "") | {column: line[span].strip(" ") for column, span in columns.items()}


# --- a row ------------------------------------------------------------------


def _row(cells: Mapping[str, str], tool: Tool, where: str, head: Head) -> Row:
    figures, (sx, sy, sz) = head.figures, head.signs

    def driven(column: str, sign: int) -> float | None:
        text = cells[column]
        return None if not text else sign * _at(where, column, lambda: coordinate_value(text, figures)) + 0.0

    def plain(column: str) -> float | None:
        text = cells[column]
        return None if not text else _at(where, column, lambda: size_value(text, figures.units))

    def plain_number(column: str) -> float | None:
        text = cells[column]
        return None if not text else _at(where, column, lambda: size_value(text, "mm"))

    low, high = plain("limit_low"), plain("limit_high")
    if (low is None) != (high is None):
        raise EvenstockError(f"{where}: one limit is given without the other")
    if not re.fullmatch(r"[1-9]\d*", cells["row"], re.ASCII):
        raise EvenstockError(f"{where}: {cells['row']!r} is not a row number")
    try:
        return Row(
            number=int(cells["row"]),
            feature=unescaped(cells["feature"], where),
            action=_one_of(cells["action"], ACTIONS, "action", where),
            tool=tool,
            x=driven("x", sx),
            y=driven("y", sy),
            z=driven("z", sz),
            x_to=driven("x_to", sx),
            y_to=driven("y_to", sy),
            z_full=driven("z_full", sz),
            leave=plain("leave") or 0.0,
            limits=None if low is None or high is None else (low, high),
            note=unescaped(cells["note"], where),
            nominal=plain("nominal"),
            rpm=plain_number("rpm"),
            feed=plain("feed"),
            peck=plain("peck"),
            towards=_one_of(cells["towards"], TOWARDS, "way", where),
            spread=plain("spread"),
        )
    except EvenstockError:
        raise
    except ValueError as problem:
        raise EvenstockError(f"{where}: {problem}") from None


def _tool(cells: Sequence[str], where: str, head: Head) -> Tool:
    kind, name, diameter, point, flutes, reach, pilot = cells

    def length(text: str, what: str) -> float:
        return _at(where, f"tool {what}", lambda: size_value(text, head.figures.units))

    try:
        return Tool(
            kind=_one_of(kind, TOOL_KINDS, "tool kind", where),
            label=unescaped(name, where),
            diameter=length(diameter, "diameter"),
            point_angle=None if not point else _at(where, "tool point", lambda: size_value(point, "mm")),
            flute_length=length(flutes, "flutes") if flutes else 0.0,
            reach=length(reach, "reach") if reach else 0.0,
            pilot=length(pilot, "pilot") if pilot else None,
        )
    except EvenstockError:
        raise
    except ValueError as problem:
        raise EvenstockError(f"{where}: {problem}") from None


def _one_of(text: str, known: tuple[_T, ...], what: str, where: str) -> _T:
    for one in known:
        if one == text:
            return one
    words = tuple(str(one) for one in known)
    raise EvenstockError(f"{where}: {what} {text!r} is none of {', '.join(words)}{nearest(text, words)}")


def _at(where: str, column: str, read: Callable[[], float]) -> float:
    """Return what `read` reads, with the line and column put before its complaint."""
    try:
        return read()
    except EvenstockError as problem:
        raise EvenstockError(f"{where}, {column}: {problem}") from None
