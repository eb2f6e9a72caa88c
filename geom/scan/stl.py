"""STL files, binary and ASCII, as triangles.

Unchecked numbers in the unit of the file. Knows nothing of welding.
"""

import re
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from geom.errors import ReadingError
from geom.scan.numbers import numbers, text_line
from geom.scan.raw import RawScan

_HEAD: Final = 84
"""Bytes before the first triangle: 80 of text, then the count."""

_RECORD: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])

_PIECE: Final = 1 << 25
"""Bytes of text worked on at a time."""

_TITLE: Final = re.compile(rb"^[ \t]*(?:end[ \t]*)?solid\b[^\r\n]*", re.MULTILINE)


def read_stl(path: Path) -> RawScan:
    """Return the triangles of an STL file, three vertices each.

    Raises:
        ReadingError: cut off, longer than it says, or text that is not STL.
    """
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(_HEAD)
    count = int.from_bytes(head[80:84], "little") if len(head) == _HEAD else -1
    if count >= 0 and _HEAD + _RECORD.itemsize * count == size and count:
        return _binary(path, count)
    if head.lstrip()[:5].lower() == b"solid":
        return _ascii(path)
    raise ReadingError(_wrong_length(path.name, count, size))


def _binary(path: Path, count: int) -> RawScan:
    records = np.fromfile(path, dtype=_RECORD, count=count, offset=_HEAD)
    return RawScan(np.ascontiguousarray(records["corners"]).reshape(-1, 3), None)


def _wrong_length(label: str, count: int, size: int) -> str:
    if count < 0:
        return f"{label}: {size} bytes are too short for an STL file (at least {_HEAD}); export the scan again"
    if count == 0:
        return f"{label}: the STL header says 0 triangles; export the scan again, and not only its points"
    holds = (size - _HEAD) // _RECORD.itemsize
    what = "is cut off" if holds < count else "goes on after its last triangle"
    return (
        f"{label}: the file {what}: its header says {count:,} triangles ({(_HEAD + _RECORD.itemsize * count) / 1e6:,.1f} MB), "
        f"it holds {holds:,} ({size / 1e6:,.1f} MB); copy or export it again"
    )


def _ascii(path: Path) -> RawScan:
    text = path.read_bytes().lower()
    pieces: list[npt.NDArray[Any]] = []
    start = 0
    while start < len(text):
        end = text.find(b"endfacet", start + _PIECE)
        end = len(text) if end < 0 else end + len(b"endfacet")
        pieces.append(_facets(text[start:end], path.name, text, start))
        start = end
    corners = np.concatenate(pieces)
    if not len(corners):
        raise ReadingError(f"{path.name}: holds no triangles; export the scan again, and not only its points")
    return RawScan(corners.reshape(-1, 3), None)


def _facets(piece: bytes, label: str, text: bytes, start: int) -> npt.NDArray[np.float64]:
    """Return the corners (m, 3, 3) of a stretch of text that ends with a whole facet."""
    plain = _TITLE.sub(b"", piece)
    facets = plain.count(b"endfacet")
    for word in (b"endfacet", b"endloop", b"facet", b"normal", b"outer", b"loop", b"vertex"):
        plain = plain.replace(word, b"")
    found = numbers(plain)
    if found is None or len(found) != 12 * facets:
        raise ReadingError(
            f"{label}: {_where(text, start, len(piece))}is not STL text (three 'vertex x y z' lines a facet); "
            "the file is cut off or damaged, so export the scan again"
        )
    return found.reshape(-1, 4, 3)[:, 1:]


_FACET_LINE: Final = re.compile(
    rb"\s*(?:(?:end\s*)?solid\b.*|facet\s+normal(?:\s+\S+){3}\s*|outer\s+loop\s*|end\s*loop\s*|end\s*facet\s*"
    rb"|vertex(?:\s+[-+.0-9e]+|\s+[-+]?(?:nan|inf)){3}\s*|\s*)"
)


def _where(text: bytes, start: int, length: int) -> str:
    at = start
    for line in text[start : start + length].splitlines(keepends=True):
        if not _FACET_LINE.fullmatch(line.strip()):
            return f"line {text_line(text, at)} "
        at += len(line)
    return "after the last whole facet it "
