"""A print as a shaded picture: light grey, its edges drawn, looked at from two sides.

Pixels only. Lengths mm. Knows nothing of what the print is for.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from export.pictures.heat_view import hatch, is_seen
from export.pictures.raster import Raster, png_of, rasterised
from geom.kernel.mesh import Mesh
from geom.space import Frame, Vec3, frame_facing

_Floats = npt.NDArray[np.float64]

_LIGHT: Final = np.array([-0.35, 0.45, 0.82])
_DARK, _BRIGHT = 0.42, 0.97
_EDGE: Final = (40, 44, 52)
_CREASE: Final = np.cos(np.radians(28.0))
_WIDE: Final = 720
"""Pixels across a picture."""

VIEWS: Final[tuple[Vec3, Vec3]] = ((-1.0, -1.6, 1.5), (1.4, 1.2, 1.5))
"""Where the eye stands, print upright: front left above, back right above."""


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """A picture: its PNG, the frame it was taken in, and what each pixel shows."""

    png: bytes
    frame: Frame
    raster: Raster

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        rows, columns = self.raster.shape
        return columns, rows

    def spot(self, point: Vec3) -> tuple[float, float] | None:
        """Return where a point shows, as shares of width and height from the top left; None when something hides it."""
        x, y, z = self.frame.local(point)
        if not is_seen(self.raster, x, y, z):
            return None
        box = self.raster.box
        return (x - box[0]) / (box[2] - box[0]), (box[3] - y) / (box[3] - box[1])


def shot(mesh: Mesh, towards_eye: Vec3, wide: int = _WIDE, marks: npt.NDArray[np.int64] | None = None) -> Shot:
    """Return a mesh seen from a side; Z is up in the picture.

    Args:
        marks: (m,) how each facet is marked: 0 plain, 1 hatched, 2 hatched both ways.
    """
    across = np.cross((0.0, 0.0, 1.0), towards_eye)
    frame = frame_facing((0.0, 0.0, 0.0), towards_eye, (float(across[0]), float(across[1]), float(across[2])))
    corners = frame.local_points(mesh.vertices)[mesh.triangles]
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    pitch = float(max(high[0] - low[0], (high[1] - low[1]) * 1.2)) / wide
    edge = 4.0 * pitch
    seen = rasterised(corners, (float(low[0]) - edge, float(low[1]) - edge, float(high[0]) + edge, float(high[1]) + edge), pitch)
    return Shot(png_of(_pixels(corners, seen, marks)), frame, seen)


def _pixels(corners: _Floats, seen: Raster, marks: npt.NDArray[np.int64] | None = None) -> npt.NDArray[np.uint8]:
    """Return the pixels of what a raster shows: lit from the left, edges dark."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    shown = normal[np.maximum(seen.triangle, 0)]
    light = np.clip(shown @ (_LIGHT / np.linalg.norm(_LIGHT)), 0.0, 1.0)
    grey = 255.0 * (_DARK + (_BRIGHT - _DARK) * light)
    solid = seen.triangle >= 0
    pixels = np.zeros((*seen.shape, 4), dtype=np.uint8)
    pixels[solid, :3] = np.clip(grey[solid][:, None] * np.array([0.97, 0.985, 1.0]), 0, 255).astype(np.uint8)
    pixels[solid, 3] = 255
    if marks is not None:
        rows, columns = np.nonzero(solid)
        mark = marks[seen.triangle[rows, columns]]
        dark = ((mark > 0) & hatch(rows, columns)) | ((mark > 1) & hatch(rows, -columns))
        pixels[rows[dark], columns[dark], :3] = _EDGE
    pixels[_edges(seen.depth, shown, solid, seen.pitch)] = (*_EDGE, 255)
    return pixels


def _edges(depth: _Floats, normal: _Floats, solid: npt.NDArray[np.bool_], pitch: float) -> npt.NDArray[np.bool_]:
    """Return which pixels lie on an outline or a crease."""
    found = np.zeros(solid.shape, dtype=np.bool_)
    for axis in (0, 1):
        here = tuple(slice(None, -1) if i == axis else slice(None) for i in (0, 1))
        there = tuple(slice(1, None) if i == axis else slice(None) for i in (0, 1))
        both = solid[here] & solid[there]
        rim = solid[here] != solid[there]
        step = np.abs(np.where(both, depth[here] - np.where(both, depth[there], 0.0), 0.0))
        flat = np.minimum(np.abs(normal[here][..., 2]), np.abs(normal[there][..., 2]))
        jump = both & (step > 3.0 * pitch / np.maximum(flat, 0.15) + 0.3)
        bend = both & (np.einsum("ijk,ijk->ij", normal[here], normal[there]) < _CREASE)
        found[here] |= rim | jump | bend
    return found
