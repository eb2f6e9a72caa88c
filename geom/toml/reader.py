"""TOML text to checked tables, with the line of every key.

Knows how a value of each kind is checked and how a message says where it
stood; which keys there are is `job_schema`, what they mean is `job`. Lengths
come out in mm.
"""

import datetime
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path, PureWindowsPath
from typing import Any, TypeAlias

from geom.errors import JobError, nearest
from geom.toml.lines import KeyPath, dotted, key_lines
from geom.toml.schema import Key, Table
from geom.units import UNITS, length, power, unit_size

Raw: TypeAlias = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Source:
    """One TOML file: its name for messages, its content, and the line of each key."""

    label: str
    folder: Path
    raw: Raw = field(repr=False)
    lines: Mapping[KeyPath, int] = field(repr=False)

    def where(self, path: KeyPath) -> str:
        """Return "job.toml line 7, faces.top.required"; the line of the nearest table when the key has none."""
        line = next((self.lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self.lines), None)
        at = f" line {line}" if line else ""
        return f"{self.label}{at}, {dotted(path)}" if path else f"{self.label}{at}"


def read_source(path: Path, label: str) -> Source:
    """Read one TOML file.

    Raises:
        JobError: no such file, not text, or not TOML; the message has the line.
    """
    try:
        data = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        raise JobError(f"{label}: there is no such file; give a job folder, or the job.toml in it") from None
    except OSError as error:
        raise JobError(f"{label}: cannot be read ({error.strerror}); check the file and its permissions") from None
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise JobError(f"{label} line {line}: is not UTF-8 text; save the file as UTF-8 in your editor") from None
    return Source(label, path.parent, _parsed(text, label), key_lines(text))


def _parsed(text: str, label: str) -> Raw:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.fullmatch(r"(?P<what>.*) \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)", str(error))
        if found is None:
            raise JobError(f"{label}: is not valid TOML ({error}); correct it there") from None
        line = int(found["line"] or text.rstrip().count("\n") + 1)
        column = f", column {found['column']}" if found["column"] else ""
        raise JobError(f"{label} line {line}{column}: is not valid TOML ({found['what'].lower()}); correct it there") from None
    except RecursionError:
        raise JobError(f"{label}: is nested too deeply to be a job; keep to tables and keys") from None


# --- tables -----------------------------------------------------------------


def check_names(raw: Mapping[str, Any], known: tuple[str, ...], source: Source, path: KeyPath = ()) -> None:
    """Refuse a key that is not known, naming the nearest one that is."""
    for name in raw:
        if name not in known:
            hint = nearest(name, known) or f"; known are {', '.join(known)}"
            raise JobError(f"{source.where((*path, name))}: there is no such key{hint}")


def as_table(value: object, source: Source, path: KeyPath) -> Raw:
    """Return the value when it is a table.

    Raises:
        JobError: it is something else.
    """
    if not isinstance(value, dict):
        raise JobError(f"{source.where(path)}: {_shown(value)} is not a table; write [{dotted(path)}] with its keys below")
    return value


def read_table(raw: Raw, table: Table, source: Source, path: KeyPath, units: str) -> dict[str, Any]:
    """Return every key of a table, checked, defaults filled in; lengths in mm.

    Args:
        units: "mm" or "inch": what bare numbers mean, and which defaults stand.

    Raises:
        JobError: an unknown or missing key, a wrong type, a value beyond its limits.
    """
    check_names(raw, tuple(table), source, path)
    values: dict[str, Any] = {}
    for name, key in table.items():
        if name in raw:
            values[name] = read_value(raw[name], key, source, (*path, name), units)
        elif key.needed:
            value = " or ".join(f'"{choice}"' for choice in key.choices) or "..."
            raise JobError(f"{source.where(path)}: {name} is missing; add {name} = {value} ({key.says})")
        else:
            values[name] = default_of(key, units)
    return values


def default_of(key: Key, units: str) -> Any:
    """Return a key's default; lengths in mm."""
    value = key.inch if units == "inch" and key.inch is not None else key.default
    if isinstance(value, tuple) and key.kind == "lengths":
        return tuple(length(item, units, "default") for item in value)
    return length(value, units, "default") if key.kind == "length" and value is not None else value


def read_value(value: object, key: Key, source: Source, path: KeyPath, units: str) -> Any:
    """Return one value, checked against its key; a length in mm, a file as a path inside the job folder."""
    where = source.where(path)
    match key.kind:
        case "text":
            return one_line(value, where, key.longest)
        case "date":
            return one_line(value.isoformat() if isinstance(value, datetime.date) else value, where, key.longest)
        case "choice":
            return _choice(value, key.choices, where)
        case "names":
            return _names(value, key, where)
        case "length":
            return _within(length(value, units, where), key, where, _shown(value), units)
        case "lengths":
            found = tuple(_within(length(item, units, where), key, where, _shown(item), units) for item in _list(value, where))
            return _counted(found, key, where)
        case "per cent":
            return _within(_number(_bare_per_cent(value), where, whole=False), key, where, _shown(value), "%")
        case "numbers":
            return tuple(_within(_number(item, where, whole=False), key, where, _shown(item), "") for item in _list(value, where))
        case "power":
            return _within(power(value, where), key, where, _shown(value), "W")
        case "yes or no":
            return _yes_or_no(value, where)
        case "number" | "integer":
            return _within(_number(value, where, whole=key.kind == "integer"), key, where, _shown(value), "")
        case "step file":
            return inside(value, source.folder, (".step", ".stp"), where)
        case "model file":
            return inside(value, source.folder, (".py",), where)


def one_line(value: object, where: str, longest: int = 200) -> str:
    """Return a text of one printable line, blanks at its ends removed."""
    if not isinstance(value, str):
        raise JobError(f"{where}: {_shown(value)} is not text; put it between quotes")
    text = value.strip()
    if not text:
        raise JobError(f"{where}: is empty; write a text or leave the key out")
    if not text.isprintable():
        raise JobError(f"{where}: {_shown(value)} holds a line break or a control character; write it on one line")
    if len(text) > longest:
        raise JobError(f"{where}: {_shown(text)} has {len(text)} characters; at most {longest} fit")
    return text


def number_or_text(value: object, where: str) -> float | str:
    """Return a model parameter: a finite number or one line of text."""
    if isinstance(value, str):
        return one_line(value, where)
    return _number(value, where, whole=False)


def _number(value: object, where: str, *, whole: bool) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise JobError(f"{where}: {_shown(value)} is not a number; write it without quotes, such as 2 or 0.5")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise JobError(f"{where}: {_shown(value)} is not a finite number; give a real value")
    if whole and number != round(number):
        raise JobError(f"{where}: {_shown(value)} is not a whole number; write it without decimals")
    return int(number) if whole else number


def _bare_per_cent(value: object) -> object:
    """Return the number in a text such as "1.2 %", anything else as it is."""
    found = re.fullmatch(r"\s*(\d{1,6}(?:[.,]\d{1,12})?)\s*%?\s*", value, re.ASCII) if isinstance(value, str) else None
    return float(found[1].replace(",", ".")) if found else value


def _counted(found: tuple[float, ...], key: Key, where: str) -> tuple[float, ...]:
    if key.count is not None and len(found) != key.count:
        raise JobError(f"{where}: has {len(found)} values; give {key.count} ({key.says})")
    return found


def _list(value: object, where: str) -> list[object]:
    if not isinstance(value, list):
        raise JobError(f"{where}: {_shown(value)} is not a list; write it as [1, 2]")
    return value


def _yes_or_no(value: object, where: str) -> bool:
    if not isinstance(value, bool):
        raise JobError(f"{where}: {_shown(value)} is neither true nor false; write one of the two, without quotes")
    return value


def _choice(value: object, choices: tuple[str, ...], where: str) -> str:
    if value not in choices or not isinstance(value, str):
        near = nearest(value, choices) if isinstance(value, str) else ""
        raise JobError(f"{where}: {_shown(value)} is not one of {', '.join(choices)}{near}")
    return value


def _names(value: object, key: Key, where: str) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise JobError(f'{where}: {_shown(value)} is not a list; write it as ["one", "two"]')
    found = tuple(one_line(item, where, key.longest) for item in value)
    low, high = key.least or 0, key.most or math.inf
    if not low <= len(found) <= high:
        raise JobError(f"{where}: has {len(found)} entries; give {low:g} to {high:g} ({key.says})")
    return found


def _within(value: float, key: Key, where: str, shown: str, units: str) -> float:
    """Return the value when it keeps its limits; the message gives them in the job's own units."""
    one, unit = (unit_size(units) if units in UNITS else 1.0, f" {units}") if units else (1.0, "")
    if key.above is not None and not value > key.above:
        raise JobError(f"{where}: {shown} is too small; it must be above {key.above / one:g}{unit} ({key.says})")
    if key.least is not None and value < key.least:
        raise JobError(f"{where}: {shown} is too small; at least {key.least / one:g}{unit} ({key.says})")
    if key.most is not None and value > key.most:
        raise JobError(f"{where}: {shown} is too large; at most {key.most / one:.4g}{unit} ({key.says})")
    return value


def _shown(value: object) -> str:
    """Return a value as TOML writes it, cut to a readable length."""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) and value.isprintable() else _plain_repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _plain_repr(value: object) -> str:
    try:
        return repr(value)
    except ValueError:
        return "a number of thousands of digits"


# --- files ------------------------------------------------------------------


def inside(value: object, folder: Path, suffixes: tuple[str, ...], where: str) -> Path:
    """Return the path of a file in the job folder, links followed.

    Raises:
        JobError: absolute, outside the folder (also through a link), missing, or of the wrong kind by its name.
    """
    text = one_line(value, where)
    if Path(text).is_absolute() or PureWindowsPath(text).drive or PureWindowsPath(text).root:
        raise JobError(f'{where}: "{text}" is a path from the root; give it relative to the job folder, and keep the file in there')
    path = folder / text
    if not _stays_in(path, folder):
        raise JobError(f'{where}: "{text}" leaves the job folder; copy the file into it')
    if path.suffix.lower() not in suffixes:
        raise JobError(f'{where}: "{text}" does not end in {" or ".join(suffixes)}; name a file of that kind')
    if not path.is_file():
        raise JobError(f'{where}: there is no file "{text}" in the job folder; put it there or correct the name')
    return path


def _stays_in(path: Path, folder: Path) -> bool:
    """Tell whether a path, links followed, is below the folder; a link that goes round in circles is not."""
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError):
        return False
