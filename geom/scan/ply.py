"""PLY files: binary of either byte order, and ASCII.

Reads x, y, z of the vertices and the corners of the faces; passes over colours,
normals and what comes after. Unchecked numbers in the unit of the file.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from geom.errors import ReadingError
from geom.scan.numbers import numbers
from geom.scan.raw import RawScan

_TYPES: Final = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2", "uint16": "u2",
    "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip

_LONGEST_HEAD: Final = 1 << 16
"""Bytes within which the header must end."""

_LISTS: Final = ("vertex_indices", "vertex_index")


@dataclass(frozen=True, slots=True)
class _Column:
    """One property: its type, and the type of the count when it is a list."""

    name: str
    type: str
    count: str | None = None


@dataclass(frozen=True, slots=True)
class _Element:
    name: str
    count: int
    columns: tuple[_Column, ...]


@dataclass(frozen=True, slots=True)
class _Head:
    order: str
    elements: tuple[_Element, ...]
    length: int


def read_ply(path: Path) -> RawScan:
    """Return the vertices of a PLY file, and its faces as triangles.

    Raises:
        ReadingError: no PLY header, cut off, or faces of different numbers of corners.
    """
    with path.open("rb") as stream:
        head = _head(stream.read(_LONGEST_HEAD), path.name)
        stream.seek(head.length)
        body = stream.read()
    parser = _Text(body, path.name) if head.order == "ascii" else _Binary(body, path.name, head.order)
    vertices: npt.NDArray[Any] | None = None
    triangles: npt.NDArray[Any] = np.zeros((0, 3), dtype=np.int64)
    for element in head.elements:
        if element.name == "face":
            triangles = _fan(parser.faces(element))
        elif vertices is None or element.name == "vertex":
            found = parser.rows(element)
            vertices = found if element.name == "vertex" else vertices
        if vertices is not None and (len(triangles) or not any(e.name == "face" and e.count for e in head.elements)):
            break
    if vertices is None or not len(vertices):
        raise ReadingError(f"{path.name}: holds no points; export the scan again")
    return RawScan(vertices, triangles)


def _fan(corners: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return polygons (m, k) as triangles: the first corner with each side not at it."""
    sides = range(1, corners.shape[1] - 1)
    return np.concatenate([corners[:, [0, i, i + 1]] for i in sides]) if len(corners) else np.zeros((0, 3), dtype=np.int64)


# --- header -----------------------------------------------------------------


def _head(start: bytes, label: str) -> _Head:
    end = start.find(b"end_header")
    newline = start.find(b"\n", end)
    if start[:3] != b"ply" or end < 0 or newline < 0:
        raise ReadingError(f"{label}: has no PLY header ('ply' to 'end_header'); the file is damaged or something else")
    order, elements = "", list[_Element]()
    for line in start[:end].decode("latin-1").splitlines()[1:]:
        words = line.split()
        try:
            if words[:1] == ["format"]:
                order = {"ascii": "ascii", "binary_little_endian": "<", "binary_big_endian": ">"}[words[1]]
            elif words[:1] == ["element"]:
                elements.append(_Element(words[1], int(words[2]), ()))
            elif words[:1] == ["property"]:
                last = elements.pop()
                elements.append(_Element(last.name, last.count, (*last.columns, _column(words))))
        except (KeyError, IndexError, ValueError):
            raise ReadingError(
                f"{label}: the PLY header line {line.strip()[:60]!r} is not understood; export the scan again"
            ) from None
    if not order or any(e.count < 0 for e in elements):
        raise ReadingError(f"{label}: the PLY header states no format, or a negative count; export the scan again")
    return _Head(order, tuple(elements), newline + 1)


def _column(words: list[str]) -> _Column:
    if words[1] == "list":
        return _Column(words[4], _TYPES[words[3]], _TYPES[words[2]])
    return _Column(words[2], _TYPES[words[1]])


# --- bodies -----------------------------------------------------------------


def _cut_off(label: str, element: _Element, holds: int) -> ReadingError:
    return ReadingError(
        f"{label}: the file is cut off: its header says {element.count:,} of '{element.name}', "
        f"it holds at most {max(holds, 0):,}; copy or export it again"
    )


def _place(element: _Element, label: str) -> list[int]:
    names = [c.name for c in element.columns]
    if element.name == "vertex" and not {"x", "y", "z"} <= set(names):
        raise ReadingError(f"{label}: its vertices have no x, y and z; export the scan again")
    return [names.index(axis) for axis in "xyz"] if element.name == "vertex" else [0]


def _list_at(element: _Element, label: str) -> int:
    lists = [i for i, c in enumerate(element.columns) if c.count]
    if len(lists) != 1 or element.columns[lists[0]].name not in _LISTS:
        raise ReadingError(f"{label}: its faces are not one list of {_LISTS[0]}; export plain triangles")
    return lists[0]


def _mixed(label: str) -> ReadingError:
    return ReadingError(f"{label}: its faces have different numbers of corners, or fewer than three; export triangles only")


class _Binary:
    """The body of a binary file, read from the front."""

    __slots__ = ("_at", "_body", "_label", "_order")

    def __init__(self, body: bytes, label: str, order: str) -> None:
        self._body, self._label, self._order, self._at = body, label, order, 0

    def rows(self, element: _Element) -> npt.NDArray[Any]:
        """Return x, y, z (n, 3) of the vertices."""
        if any(c.count for c in element.columns):
            raise ReadingError(f"{self._label}: '{element.name}' holds lists before the faces; export points and triangles only")
        place = _place(element, self._label)
        taken = self._take(element, np.dtype([(f"c{i}", self._order + c.type) for i, c in enumerate(element.columns)]))
        kind = np.float32 if all(element.columns[i].type == "f4" for i in place) else np.float64
        return np.stack([taken[f"c{i}"].astype(kind) for i in place], axis=1)

    def faces(self, element: _Element) -> npt.NDArray[Any]:
        """Return the corners (m, k) of the faces."""
        at = _list_at(element, self._label)
        if not element.count:
            return np.zeros((0, 3), dtype=np.int64)
        before = np.dtype([(f"c{i}", self._order + c.type) for i, c in enumerate(element.columns[:at])]).itemsize
        kind = np.dtype(self._order + str(element.columns[at].count))
        count = np.frombuffer(self._body[self._at + before : self._at + before + kind.itemsize].ljust(kind.itemsize, b"\0"), kind)
        corners = int(count[0])
        if not 3 <= corners <= 64:
            raise _mixed(self._label)
        fields: list[Any] = []
        for i, column in enumerate(element.columns):
            if i == at:
                fields += [("count", kind), ("corners", self._order + column.type, (corners,))]
            else:
                fields.append((f"c{i}", self._order + column.type))
        taken = self._take(element, np.dtype(fields), kind)
        if (taken["count"] != corners).any():
            raise _mixed(self._label)
        return np.asarray(taken["corners"].astype(np.int64))

    def _take(self, element: _Element, row: np.dtype[Any], kind: np.dtype[Any] | None = None) -> npt.NDArray[Any]:
        holds = (len(self._body) - self._at) // max(row.itemsize, 1)
        if element.count > holds:
            some = np.frombuffer(self._body, row, holds, self._at) if kind is not None else None
            if some is not None and len(some) and (some["count"] != some["count"][0]).any():
                raise _mixed(self._label)
            raise _cut_off(self._label, element, holds)
        found = np.frombuffer(self._body, row, element.count, self._at)
        self._at += element.count * row.itemsize
        return found


class _Text:
    """The body of an ASCII file: numbers only."""

    __slots__ = ("_at", "_label", "_numbers")

    def __init__(self, body: bytes, label: str) -> None:
        found = numbers(body)
        if found is None:
            raise ReadingError(f"{label}: something other than numbers stands after the PLY header; export the scan again")
        self._numbers, self._label, self._at = found, label, 0

    def rows(self, element: _Element) -> npt.NDArray[Any]:
        """Return x, y, z (n, 3) of the vertices."""
        if any(c.count for c in element.columns):
            raise ReadingError(f"{self._label}: '{element.name}' holds lists before the faces; export points and triangles only")
        return self._take(element, len(element.columns))[:, _place(element, self._label)]

    def faces(self, element: _Element) -> npt.NDArray[Any]:
        """Return the corners (m, k) of the faces."""
        at = _list_at(element, self._label)
        if not element.count or self._at + at >= len(self._numbers):
            return self._take(element, 4).astype(np.int64)[:, 1:]
        corners = self._numbers[self._at + at]
        if not 3 <= corners <= 64:
            raise _mixed(self._label)
        taken = self._take(element, len(element.columns) + int(corners))
        if (taken[:, at] != corners).any():
            raise _mixed(self._label)
        return taken[:, at + 1 : at + 1 + int(corners)].astype(np.int64)

    def _take(self, element: _Element, width: int) -> npt.NDArray[np.float64]:
        holds = (len(self._numbers) - self._at) // max(width, 1)
        if element.count > holds:
            raise _cut_off(self._label, element, holds)
        found = self._numbers[self._at : self._at + element.count * width].reshape(-1, max(width, 1))
        self._at += element.count * width
        return found
