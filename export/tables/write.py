"""Coordinate tables: one CSV and one text table a set-up, and the same as JSON values.

CSV: head lines begin with "# " and the unit stands there once, so that the
column names never change; then a line of column names and one line a row, for
any CSV reader that skips lines beginning with "#". Text: the same head without
"# ", the tools by number, then a ruled table with the unit in every heading and
each tool on its own line before the rows it does.
Lines end in "\\n", text is UTF-8. Each coordinate is rounded once, by `number`;
signs are the display's. `table_reader` reads both. Knows nothing of how rows
were found.
"""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from export.number import (
    Figures,
    coordinate,
    fixed,
    limits,
    nominal,
    printed_mm,
    size,
    trimmed,
    worst_rounding,
    worst_rounding_text,
)
from export.tables.head import Form, Head, Signs, escaped, head_lines
from export.tables.read import ALWAYS, COLUMNS, HEADINGS, NONE, SET_BY_ROW, TableFile, read_table
from export.tables.words import holding_text, left_out_text, notes_text, patterns_text, tool_text
from geom.rows.records import Row, Setup, Tool, coordinates_of, tools_of

__all__ = [
    "AS_IS",
    "TableFile",
    "coordinates_json",
    "in_drawer",
    "read_table",
    "setup_csv",
    "setup_text",
    "table_files",
    "tool_names",
]

AS_IS: Final[Signs] = (1, 1, 1)
"""A display that counts X right, Y away, Z up."""

_GAP: Final = "  "


def table_files(job: str, setups: Sequence[Setup], figures: Figures, signs: Signs = AS_IS) -> dict[str, bytes]:
    """Return the tables of a job by file name: coordinates-1.csv, coordinates-1.txt, ..."""
    files: dict[str, bytes] = {}
    for setup in setups:
        files[f"coordinates-{setup.number}.csv"] = setup_csv(job, setup, len(setups), figures, signs).encode()
        files[f"coordinates-{setup.number}.txt"] = setup_text(job, setup, len(setups), figures, signs).encode()
    return files


def setup_csv(job: str, setup: Setup, count: int, figures: Figures, signs: Signs = AS_IS) -> str:
    """Return one set-up as CSV.

    Args:
        job: its name, any text.
        count: how many set-ups the job has.
        signs: of the display: -1 where it counts against X right, Y away, Z up.
    """
    out = io.StringIO()
    out.writelines(f"# {line}\n" for line in head_lines(_head("csv", job, setup, count, figures, signs)))
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in setup.rows:
        writer.writerow([*_cells(row, figures, signs).values(), *_tool_cells(row.tool, figures), escaped(row.note)])
    return out.getvalue()


def setup_text(job: str, setup: Setup, count: int, figures: Figures, signs: Signs = AS_IS) -> str:
    """Return one set-up as an aligned table for a monospaced print; each tool stands before its rows."""
    names = {tool: f"{number} {escaped(text)}" for tool, (number, text) in tool_names(tools_of(setup), figures).items()}
    head = head_lines(
        _head("text", job, setup, count, figures, signs), [_tool_line(name, tool, figures) for tool, name in names.items()]
    )
    table = [_cells(row, figures, signs) | {"set_to": _set_to(row.tool, figures), "note": escaped(row.note)} for row in setup.rows]
    return "\n".join([*head, "", *_ruled(table, [names[in_drawer(row.tool)] for row in setup.rows], figures)]) + "\n"


def tool_names(tools: Iterable[Tool], figures: Figures) -> dict[Tool, tuple[str, str]]:
    """Return number and words of each tool as it lies in the drawer, in order of first use: "T1", "12 mm end mill"."""
    kept = tuple(dict.fromkeys(in_drawer(tool) for tool in tools))
    return {tool: (f"T{i}", text) for i, (tool, text) in enumerate(zip(kept, _called(kept, figures), strict=True), 1)}


def _called(tools: Sequence[Tool], figures: Figures) -> list[str]:
    """Return the tools as the shop says them; those that would be called alike with their reach."""
    texts = [tool_text(tool, figures.units) for tool in tools]
    reach = [f", reach {size(tool.reach, figures.units)} {figures.unit_name}" if tool.reach else "" for tool in tools]
    return [text + (far if texts.count(text) > 1 else "") for text, far in zip(texts, reach, strict=True)]


def in_drawer(tool: Tool) -> Tool:
    """Return the tool as it lies in the drawer: a boring head is one tool, set afresh for each row."""
    return replace(tool, diameter=0.0) if tool.kind == SET_BY_ROW else tool


def _set_to(tool: Tool, figures: Figures) -> str:
    return size(tool.diameter, figures.units, 6) if tool.kind == SET_BY_ROW else ""


def _ruled(table: Sequence[Mapping[str, str]], tools: Sequence[str], figures: Figures) -> list[str]:
    """Return headings, ruler and rows, each tool on its own line before its rows; columns that no row fills are left out."""
    used = [column for column in HEADINGS if column in ALWAYS or any(row[column] for row in table)]
    heads = {column: HEADINGS[column].format(unit=figures.unit_name) for column in used}
    widths = {column: max(len(text) for text in (heads[column], *(row[column] for row in table))) for column in used}
    lines = [_line(heads, widths), _GAP.join("-" * widths[column] for column in used)]
    for before, tool, row in zip(("", *tools), tools, table, strict=False):
        lines += [_line(row, widths)] if tool == before else ["", tool, _line(row, widths)]
    return lines


def _tool_line(name: str, tool: Tool, figures: Figures) -> str:
    """Return a tool as the head of a text table lists it: number and words, then kind, name, diameter, point."""
    return " | ".join(cell.replace("|", "\\u007c") or NONE for cell in (name, *_tool_cells(tool, figures)))


_LEFT: Final = ("feature", "action", "note")


def _line(cells: Mapping[str, str], widths: Mapping[str, int]) -> str:
    made = (cells[c].ljust(width) if c in _LEFT else cells[c].rjust(width) for c, width in widths.items())
    return _GAP.join(made).rstrip()


def _head(form: Form, job: str, setup: Setup, count: int, figures: Figures, signs: Signs) -> Head:
    return Head(
        form=form,
        job=job,
        number=setup.number,
        count=count,
        figures=figures,
        signs=signs,
        frame=setup.frame,
        zero=setup.zero.name,
        source=setup.zero.source,
        why=setup.zero.why,
        worst=worst_rounding_text(worst_rounding(coordinates_of(setup), figures), figures),
        rows=len(setup.rows),
        patterns=patterns_text(setup, figures, signs),
        left_out=left_out_text(setup),
        holding=holding_text(setup, figures.units),
        boxes=setup.boxes,
        notes=notes_text(setup, figures),
    )


def _cells(row: Row, figures: Figures, signs: Signs) -> dict[str, str]:
    """Return a row's cells up to its tool's, by column; "" where nothing is driven or kept."""
    x, y, z = signs

    def driven(value: float | None, sign: int) -> str:
        return "" if value is None else coordinate(sign * value, figures)

    low, high = limits(*row.limits, figures.units) if row.limits else ("", "")
    return {
        "row": str(row.number),
        "feature": escaped(row.feature),
        "action": row.action,
        "tool": escaped(tool_text(row.tool, figures.units)),
        "x": driven(row.x, x),
        "y": driven(row.y, y),
        "z": driven(row.z, z),
        "x_to": driven(row.x_to, x),
        "y_to": driven(row.y_to, y),
        "z_full": driven(row.z_full, z),
        "leave": size(row.leave, figures.units) if row.leave else "",
        "limit_low": low,
        "limit_high": high,
        "nominal": "" if row.nominal is None else nominal(row.nominal, row.limits, figures.units),
        "spread": "" if row.spread is None else size(row.spread, figures.units, 3 if figures.units == "mm" else 4),
        "towards": row.towards,
        "rpm": "" if row.rpm is None else trimmed(fixed(row.rpm, 0)),
        "feed": "" if row.feed is None else size(row.feed, figures.units, 2 if figures.units == "inch" else 0),
        "peck": "" if row.peck is None else size(row.peck, figures.units),
    }


def _tool_cells(tool: Tool, figures: Figures) -> tuple[str, ...]:
    def length(value: float | None) -> str:
        return size(value, figures.units, 6) if value else ""

    point = "" if tool.point_angle is None else trimmed(fixed(tool.point_angle, 6))
    diameter = size(tool.diameter, figures.units, 6)
    return tool.kind, escaped(tool.label), diameter, point, length(tool.flute_length), length(tool.reach), length(tool.pilot)


# --- JSON -------------------------------------------------------------------


def coordinates_json(setups: Sequence[Setup], figures: Figures, signs: Signs = AS_IS) -> dict[str, Any]:
    """Return the tables as JSON values.

    Lengths are mm: each coordinate is the *printed* one (rounded once to the
    readout's step) turned into mm, in the set-up's own frame: X right, Y away,
    Z up, whatever way the display counts. `units` and `signs` say what the sheets show; `step`
    is in mm. `frame` is in the part frame.
    """
    return {"setups": [_setup_json(setup, figures, signs) for setup in setups]}


def _setup_json(setup: Setup, figures: Figures, signs: Signs) -> dict[str, Any]:
    frame = setup.frame
    return {
        "number": setup.number,
        "up": list(setup.up),
        "zero": setup.zero.name,
        "zero_source": setup.zero.source,
        "frame": {"origin": list(frame.origin), "x": list(frame.x), "y": list(frame.y), "z": list(frame.z)},
        "units": figures.units,
        "step": float(figures.step_mm),
        "signs": list(signs),
        "worst_rounding": worst_rounding(coordinates_of(setup), figures),
        "rows": [_row_json(row, figures) for row in setup.rows],
        "patterns": list(patterns_text(setup, figures, AS_IS)),
        "holding": list(holding_text(setup, figures.units)),
        "boxes": [{"name": box.name, "low": list(box.low), "high": list(box.high)} for box in setup.boxes],
        "left_out": [{"feature": one.feature, "why": one.why} for one in setup.left_out],
        "notes": list(notes_text(setup, figures)),
    }


def _row_json(row: Row, figures: Figures) -> dict[str, Any]:
    def driven(value: float | None) -> float | None:
        return None if value is None else printed_mm(value, figures)

    return {
        "row": row.number,
        "feature": row.feature,
        "action": row.action,
        "tool": tool_text(row.tool, figures.units),
        "tool_kind": row.tool.kind,
        "tool_diameter": row.tool.diameter,
        "tool_point": row.tool.point_angle,
        "x": driven(row.x),
        "y": driven(row.y),
        "z": driven(row.z),
        "x_to": driven(row.x_to),
        "y_to": driven(row.y_to),
        "z_full": driven(row.z_full),
        "leave": row.leave,
        "limits": list(row.limits) if row.limits else None,
        "nominal": row.nominal,
        "spread": row.spread,
        "towards": row.towards,
        "rpm": row.rpm,
        "feed": row.feed,
        "peck": row.peck,
        "note": row.note,
    }
