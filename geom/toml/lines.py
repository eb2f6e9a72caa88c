"""Where each key of a TOML text stands, so that a message can name its line.

The standard library reads TOML but keeps no line numbers. Knows the layout of
keys and tables; nothing of which keys a job has.
"""

import re
import tomllib
from typing import TypeAlias

KeyPath: TypeAlias = tuple[str, ...]
"""A key with the tables above it: ("faces", "top 2", "required"); the second of [[drills]] is ("drills", "2")."""


def dotted(path: KeyPath) -> str:
    """Return the key as TOML writes it: faces."top 2".required."""
    return ".".join(p if re.fullmatch(r"[A-Za-z0-9_-]+", p) else f'"{p}"' for p in path)


_PIECE = r'(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\')'
_DOTTED = rf"{_PIECE}(?:[ \t]*\.[ \t]*{_PIECE})*"
_HEADER = re.compile(rf"^[ \t]*(\[\[?)[ \t]*({_DOTTED})[ \t]*\]")
_ASSIGN = re.compile(rf"^[ \t]*({_DOTTED})[ \t]*=")
_QUOTES = re.compile(r'"""|\'\'\'')


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the first line of every table and key, found by scanning the text.

    Keys inside inline tables have none of their own: their table's stands for them.
    """
    found: dict[KeyPath, int] = {}
    table: KeyPath = ()
    closing = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if closing:
            closing = "" if closing in line else closing
        elif header := _HEADER.match(line):
            table = _pieces(header[2])
            if header[1] == "[[":
                table = _next_of(table, found)
            _note(found, table, number)
        elif assign := _ASSIGN.match(line):
            _note(found, (*table, *_pieces(assign[1])), number)
            closing = _open_quotes(line[assign.end() :])
    return found


def _next_of(table: KeyPath, found: dict[KeyPath, int]) -> KeyPath:
    """Return the path of the next [[table]]: the list's own with the entry's place in it, from 1."""
    count = sum(1 for path in found if path[:-1] == table and path[-1].isdigit())
    return (*table, str(count + 1))


def _note(found: dict[KeyPath, int], path: KeyPath, line: int) -> None:
    for n in range(1, len(path) + 1):
        found.setdefault(path[:n], line)


def _pieces(text: str) -> KeyPath:
    """Return the parts of a dotted key without their quotes; TOML itself undoes the escapes."""
    return tuple(next(iter(tomllib.loads(f"{piece} = 0"))) for piece in re.findall(_PIECE, text))


def _open_quotes(rest: str) -> str:
    """Return the quotes of a text that goes on over the next lines, or ""."""
    marks = _QUOTES.findall(rest)
    return marks[0] if len(marks) % 2 else ""
