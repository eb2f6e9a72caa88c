"""A z-buffer over triangles, and its pixels as a PNG file.

Knows which triangle a pixel shows and where it lies; nothing of colours' meaning.
Lengths mm in the view's own axes: x right, y up, z towards the eye. The PNG writer
has no clock and no options: the same pixels give the same bytes.

Source of the file format: PNG specification (ISO/IEC 15948), truecolour with alpha.
"""

import struct
import zlib
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from geom.curve2d import Box2

_Floats = npt.NDArray[np.float64]
_Ints = npt.NDArray[np.int64]
_Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Raster:
    """What each pixel shows.

    Attributes:
        box: the part of the view it covers, mm.
        pitch: size of a pixel, mm.
        triangle: (rows, columns), top row first; -1 where there is nothing.
        depth: (rows, columns) z of what is seen, mm; -inf where there is nothing.
    """

    box: Box2
    pitch: float
    triangle: _Ints
    depth: _Floats

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.triangle.shape
        return rows, columns

    def centres(self, rows: _Ints, columns: _Ints) -> _Floats:
        """Return the view coordinates (n, 3) of what pixels show."""
        x = self.box[0] + (columns + 0.5) * self.pitch
        y = self.box[3] - (rows + 0.5) * self.pitch
        return np.stack([x, y, self.depth[rows, columns]], axis=1)

    def pixel(self, x: float, y: float) -> tuple[int, int]:
        """Return the row and column over a place, kept inside the raster."""
        rows, columns = self.shape
        row, column = int((self.box[3] - y) / self.pitch), int((x - self.box[0]) / self.pitch)
        return min(max(row, 0), rows - 1), min(max(column, 0), columns - 1)


def rasterised(corners: _Floats, box: Box2, pitch: float) -> Raster:
    """Return the z-buffer of triangles.

    Args:
        corners: (n, 3, 3) in view coordinates; those that face away are not drawn.
    """
    columns, rows = (max(1, int(np.ceil(size / pitch))) for size in (box[2] - box[0], box[3] - box[1]))
    triangle = np.full((rows, columns), -1, dtype=np.int64)
    depth = np.full((rows, columns), -np.inf)
    flat = np.stack([(corners[..., 0] - box[0]) / pitch - 0.5, (box[3] - corners[..., 1]) / pitch - 0.5, corners[..., 2]], axis=2)
    twice = _doubled(flat)
    for number in np.flatnonzero(twice < -1e-12).tolist():
        _draw(flat[number], number, float(twice[number]), triangle, depth)
    return Raster(box, pitch, triangle, depth)


def _doubled(flat: _Floats) -> _Floats:
    """Return twice the signed area; below zero faces the eye, for rows run downwards."""
    a, b, c = flat[:, 0], flat[:, 1], flat[:, 2]
    return np.asarray((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]))


def _draw(corner: _Floats, number: int, twice: float, triangle: _Ints, depth: _Floats) -> None:
    rows, columns = depth.shape
    left, top = np.maximum(np.ceil(corner[:, :2].min(axis=0) - 1e-9).astype(int), 0)
    right, bottom = np.minimum(np.floor(corner[:, :2].max(axis=0) + 1e-9).astype(int), (columns - 1, rows - 1))
    if right < left or bottom < top:
        return
    x, y = np.meshgrid(np.arange(left, right + 1), np.arange(top, bottom + 1))
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = corner.tolist()
    u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / twice
    v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / twice
    w = 1.0 - u - v
    z = u * az + v * bz + w * cz
    here = depth[top : bottom + 1, left : right + 1]
    nearer = (u >= -1e-9) & (v >= -1e-9) & (w >= -1e-9) & (z > here + 1e-9)
    here[nearer] = z[nearer]
    triangle[top : bottom + 1, left : right + 1][nearer] = number


def png_of(pixels: _Bytes) -> bytes:
    """Return pixels (rows, columns, 4), red, green, blue, alpha, as a PNG file."""
    rows, columns, _ = pixels.shape
    lines = np.zeros((rows, 1 + 4 * columns), dtype=np.uint8)
    lines[:, 1:] = pixels.reshape(rows, 4 * columns)
    head = struct.pack(">IIBBBBB", columns, rows, 8, 6, 0, 0, 0)
    body = zlib.compress(lines.tobytes(), 9)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", head) + _chunk(b"IDAT", body) + _chunk(b"IEND", b"")


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
