"""What is seen of triangles, pixel by pixel, and the pixels as a PNG file.

Knows which triangle a pixel shows and where it lies; nothing of colours' meaning.
Lengths mm in the view's own axes: x right, y up, z towards the eye. The PNG writer
has no clock and no options: the same pixels give the same bytes.

Source of the file format: PNG specification (ISO/IEC 15948), truecolour with alpha.
"""

import struct
import zlib
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from geom.flat.curve2d import Box2
from geom.rays.tree import RayTree

_Floats = npt.NDArray[np.float64]
_Ints = npt.NDArray[np.int64]
_Bytes = npt.NDArray[np.uint8]

_EDGE_ON: Final = 1e-12
"""mm2: a triangle whose shadow is smaller is seen from its edge."""


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
    """Return which of some triangles each pixel shows, looking down Z.

    Args:
        corners: (n, 3, 3) in view coordinates; those that face away are not drawn.
    """
    columns, rows = (max(1, int(np.ceil(size / pitch))) for size in (box[2] - box[0], box[3] - box[1]))
    raster = Raster(box, pitch, np.full((rows, columns), -1, dtype=np.int64), np.full((rows, columns), -np.inf))
    facing = np.flatnonzero(_normals(corners)[:, 2] > _EDGE_ON)
    if facing.size:
        _look_down(corners[facing], facing, raster)
    return raster


def _normals(corners: _Floats) -> _Floats:
    """Return twice the area vectors of triangles."""
    return np.asarray(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))


def _look_down(corners: _Floats, numbers: _Ints, raster: Raster) -> None:
    """Fill the raster with the first triangle under each pixel's middle, and its height there."""
    middle = 0.5 * (corners.min(axis=(0, 1)) + corners.max(axis=(0, 1)))
    near = corners - middle
    tree = RayTree(near.reshape(-1, 3), np.arange(3 * len(near)).reshape(-1, 3))
    rows, columns = (index.ravel() for index in np.indices(raster.shape))
    starts = raster.centres(rows, columns) - middle
    starts[:, 2] = near[..., 2].max() + 1.0
    first = tree.first(starts, np.tile([0.0, 0.0, -1.0], (len(starts), 1)))
    hit = np.flatnonzero(first >= 0)
    seen = near[first[hit]]
    normal = _normals(seen)
    away = np.einsum("ij,ij->i", normal[:, :2], starts[hit, :2] - seen[:, 0, :2])
    raster.triangle[rows[hit], columns[hit]] = numbers[first[hit]]
    raster.depth[rows[hit], columns[hit]] = seen[:, 0, 2] - away / normal[:, 2] + middle[2]


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
