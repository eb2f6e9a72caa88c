"""Scans as text: OBJ meshes and lists of points.

Unchecked numbers in the unit of the file. Reads coordinates and corners only;
passes over normals, colours and textures.
"""

import re
from io import BytesIO
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from geom.errors import ReadingError
from geom.scan.numbers import numbers, text_line
from geom.scan.raw import RawScan

_VERTEX: Final = re.compile(rb"^[ \t]*v[ \t]([^\r\n#]*)", re.MULTILINE)
_FACE: Final = re.compile(rb"^[ \t]*f[ \t]([^\r\n#]*)", re.MULTILINE)
_SLASHED: Final = re.compile(rb"/\S*")
_VERTEX_WIDTHS: Final = (3, 4, 6, 7)
"""Numbers after "v": a place, a place with weight, either with a colour."""

_HEAD_LINES: Final = 20
"""Lines of words or counts that may stand above the points."""

_DECIMAL_COMMA: Final = re.compile(rb"(?<=\d),(?=\d)")
_NUMBER: Final = re.compile(rb"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?|[-+]?(?:nan|inf(?:inity)?)", re.IGNORECASE)


# --- OBJ --------------------------------------------------------------------


def read_obj(path: Path) -> RawScan:
    """Return the vertices and triangles of an OBJ file; polygons are cut into fans.

    Raises:
        ReadingError: no vertices, or a line that is not numbers.
    """
    text = path.read_bytes()
    lines = _VERTEX.findall(text)
    if not lines:
        raise ReadingError(f"{path.name}: has no 'v x y z' lines, so it is no OBJ scan; export it again")
    found = numbers(b"\n".join(lines))
    width = len(lines[0].split())
    if found is None or width not in _VERTEX_WIDTHS or len(found) != width * len(lines):
        raise ReadingError(_bad_line(path.name, text, _VERTEX, _VERTEX_WIDTHS, "three coordinates after 'v'"))
    return RawScan(found.reshape(-1, width)[:, :3], _faces(text, path.name, len(lines)))


def _faces(text: bytes, label: str, count: int) -> npt.NDArray[np.int64]:
    lines = _FACE.findall(text)
    if not lines:
        return np.zeros((0, 3), dtype=np.int64)
    bare = _SLASHED.sub(b"", b"\n".join(lines))
    found, widths = numbers(bare), _widths(bare, len(lines))
    if found is None or widths.sum() != len(found) or (widths < 3).any():
        raise ReadingError(_bad_line(label, text, _FACE, None, "three or more corners after 'f'"))
    far = np.flatnonzero(np.abs(found) > count)
    if far.size:
        line = int(np.searchsorted(np.cumsum(widths), far[0], side="right"))
        at = next(match.start() for i, match in enumerate(_FACE.finditer(text)) if i == line)
        raise ReadingError(
            f"{label}, line {text_line(text, at)}: refers to point {found[far[0]]:.0f}, but the file has {count:,} points; "
            "export the scan again"
        )
    whole = found.astype(np.int64)
    if (whole < 0).any():
        first_face, last_vertex = _FACE.search(text), text.rfind(b"\nv ")
        if first_face is not None and last_vertex > first_face.start():
            raise ReadingError(f"{label}: counts corners backwards between its vertices; export it with plain numbers, or as PLY")
        whole = np.where(whole < 0, whole + count + 1, whole)
    return _fans(whole - 1, widths)


def _widths(bare: bytes, lines: int) -> npt.NDArray[np.int64]:
    """Return how many corners each line has."""
    rows = bare.split(b"\n")
    assert len(rows) == lines
    return np.array([len(row.split()) for row in rows], dtype=np.int64)


def _fans(corners: npt.NDArray[np.int64], widths: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    if (widths == 3).all():
        return corners.reshape(-1, 3)
    start = np.cumsum(widths) - widths
    polygon = np.repeat(np.arange(len(widths)), widths - 2)
    side = np.arange(len(polygon)) - np.repeat(np.cumsum(widths - 2) - (widths - 2), widths - 2)
    first = start[polygon]
    return np.stack([corners[first], corners[first + side + 1], corners[first + side + 2]], axis=1)


def _bad_line(label: str, text: bytes, kind: re.Pattern[bytes], widths: tuple[int, ...] | None, wanted: str) -> str:
    for match in kind.finditer(text):
        words = _SLASHED.sub(b"", match[1]).split()
        right = len(words) in widths if widths else len(words) >= 3
        if not right or not all(_NUMBER.fullmatch(word) for word in words):
            shown = match[0].strip()[:60].decode("latin-1")
            return f"{label}, line {text_line(text, match.start())}: {shown!r} has not {wanted}; export the scan again"
    return f"{label}: the lines have different numbers of columns where {wanted} are wanted; export the scan again"


# --- lists of points --------------------------------------------------------


def read_points(path: Path) -> RawScan:
    """Return points from text: x y z a line, between spaces, tabs, commas or semicolons; more columns are passed over.

    Raises:
        ReadingError: not text, or a line without three numbers.
    """
    text = path.read_bytes()
    if b"\0" in text[:4096]:
        raise ReadingError(f"{path.name}: is not text; a list of points has x y z on each line")
    body, skipped, notes = _without_head(text, path.name)
    first = body.split(b"\n", 1)[0]
    if len(first.replace(b";", b" ").split()) >= 3 and _DECIMAL_COMMA.search(first):
        body = _DECIMAL_COMMA.sub(b".", body)
        notes.append(f"{path.name}: its decimal commas were read as points")
    body = body.replace(b";", b" ").replace(b",", b" ")
    try:
        found: npt.NDArray[Any] = np.loadtxt(BytesIO(body), usecols=(0, 1, 2), comments=("#", "//"), ndmin=2)
    except (ValueError, IndexError, UnicodeDecodeError):
        raise ReadingError(_bad_row(path.name, body, skipped)) from None
    return RawScan(found, np.zeros((0, 3), dtype=np.int64), tuple(notes))


def _without_head(text: bytes, label: str) -> tuple[bytes, int, list[str]]:
    """Return the text from the first line of three numbers on, and how many lines stood above."""
    at, words = 0, 0
    for skipped in range(_HEAD_LINES + 1):
        end = text.find(b"\n", at)
        line = text[at : end if end >= 0 else len(text)]
        if _is_row(line):
            note = [f"{label}: {words} lines above the points were passed over"] if words else []
            return text[at:], skipped, note
        words += bool(line.strip()) and not line.lstrip().startswith((b"#", b"//"))
        if end < 0:
            break
        at = end + 1
    raise ReadingError(
        f"{label}: the first {_HEAD_LINES} lines hold no point (three numbers x y z on a line); export the scan again"
    )


def _is_row(line: bytes) -> bool:
    loose = re.split(rb"[\s;]+|,", line.strip())
    close = line.replace(b";", b" ").split()
    return any(
        len(words) >= 3 and all(_NUMBER.fullmatch(word.replace(b",", b".")) for word in words[:3]) for words in (loose, close)
    )


def _bad_row(label: str, body: bytes, skipped: int) -> str:
    for number, line in enumerate(body.split(b"\n"), skipped + 1):
        bare = re.split(rb"#|//", line)[0]
        if bare.strip() and not _is_row(bare):
            shown = line.strip()[:60].decode("latin-1")
            return f"{label}, line {number}: {shown!r} is not a point (three numbers x y z); correct or delete the line"
    return f"{label}: its lines are not points (three numbers x y z); export the scan again"
