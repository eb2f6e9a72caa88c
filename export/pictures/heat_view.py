"""One view of the finished part with its stock as received in bands: pixels, and exact lines.

The colour of a pixel is the stock at the point of the surface it shows, not a
mean over a triangle. Lengths mm, part frame. Knows nothing of paper or words.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from export.pictures.bands import INKS, Bands, luminance
from export.pictures.raster import Raster, rasterised
from geom.datum.zero import Zero
from geom.flat.curve2d import Vec2, curves_box
from geom.kernel.lines import ViewLines, view_lines
from geom.kernel.mesh import Mesh
from geom.model.part import Part
from geom.place.castings import Placed
from geom.space import Frame, frame_facing

_Floats = npt.NDArray[np.float64]
_Ints = npt.NDArray[np.int64]
_Bools = npt.NDArray[np.bool_]

PER_MM: Final = 5.0
"""Pixels of the raster per mm on paper."""

_NEIGHBOURS: Final = 12
_WHITE: Final = (255, 255, 255)


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """One view: its frame, lines, and what its pixels show; `face` is a number in `Part.machined`, -1 for other faces and none."""

    frame: Frame
    lines: ViewLines
    raster: Raster
    face: _Ints
    pixels: npt.NDArray[np.uint8]


def frames_of(zero: Zero) -> tuple[Frame, Frame]:
    """Return the frames of the views from above and from below, both from the front left."""
    at = zero.frame
    above, below = (at.part_direction((-1.0, -1.0, z)) for z in (1.0, -1.0))
    across = at.part_direction((1.0, -1.0, 0.0))
    return frame_facing(at.origin, above, across), frame_facing(at.origin, below, across)


# --- stock ------------------------------------------------------------------


def _stock_at(part: Part, placed: Placed, surface: _Ints, points: _Floats) -> _Floats:
    """Return the stock at points (n, 3) on given surfaces of the finished part, mm; NaN where it is cut from solid or not seen."""
    from geom.place.rows import look, pivot_of
    from geom.place.sites import sites_at, sites_of

    pivot, pose = pivot_of(part), placed.placement.pose
    if placed.received.scan is None:
        sites = sites_at(part, points, surface)
        return np.where(sites.solid, np.nan, look(placed.received, sites, pose, pivot).stock)
    sites = sites_of(part, fine=True)
    value = np.where(sites.solid, np.nan, look(placed.received, sites, pose, pivot).stock)
    known, found = np.isfinite(value) | sites.solid, np.full(len(points), np.nan)
    owner = _owners(part)[surface]
    for number in np.unique(owner).tolist():
        here, ask = known & (sites.face == number), owner == number
        if here.any():
            found[ask] = _evened(sites.samples.points[here], value[here], points[ask])
    return found


def _evened(points: _Floats, value: _Floats, at: _Floats) -> _Floats:
    """Return values between scattered ones: a weighted straight-line fit through the nearest; NaN where the nearest is NaN."""
    from scipy.spatial import cKDTree

    count = min(_NEIGHBOURS, len(points))
    away, near = (np.reshape(found, (len(at), count)) for found in cKDTree(points).query(at, k=count))
    seen = value[near]
    reach = away[:, -1:] + 1e-6
    weight = np.where(np.isfinite(seen), (1.0 - (away / reach) ** 2) ** 2 + 1e-3, 0.0)
    rows = np.concatenate([np.ones((*near.shape, 1)), (points[near] - at[:, None, :]) / reach[..., None]], axis=2)
    normal = np.einsum("nki,nk,nkj->nij", rows, weight, rows) + np.diag([1e-9, 0.02, 0.02, 0.02])
    right = np.einsum("nki,nk->ni", rows, weight * np.nan_to_num(seen))
    return np.asarray(np.where(np.isfinite(seen[:, 0]), np.linalg.solve(normal, right[..., None])[:, 0, 0], np.nan))


def _owners(part: Part) -> _Ints:
    """Return the number in `Part.machined` of each surface of the finished part, -1 for the others."""
    owner = np.full(len(part.finished.surfaces), -1, dtype=np.int64)
    for number, face in enumerate(part.machined):
        owner[list(face.surfaces)] = number
    return owner


# --- views ------------------------------------------------------------------


def view_of(part: Part, mesh: Mesh, frame: Frame, scale: Bands, placed: Placed, field: Vec2) -> Shown:
    """Return one view, its raster made for a field (width, height), mm on paper."""
    lines = view_lines(part.finished, frame)
    box = curves_box(lines.visible)
    assert box is not None
    zoom = min(field[0] / (box[2] - box[0]), field[1] / (box[3] - box[1]))
    corners = _local(mesh.vertices, frame)[mesh.triangles]
    raster = rasterised(corners, box, 1.0 / (zoom * PER_MM))
    shown = np.full(raster.shape, -1, dtype=np.int64)
    seen = raster.triangle >= 0
    shown[seen] = _owners(part)[mesh.face[raster.triangle[seen]]]
    return Shown(frame, lines, raster, shown, _coloured(part, mesh, frame, raster, scale, placed))


def _local(points: _Floats, frame: Frame) -> _Floats:
    axes = np.array([frame.x, frame.y, frame.z])
    return np.asarray((points - np.array(frame.origin)) @ axes.T)


def _coloured(part: Part, mesh: Mesh, frame: Frame, raster: Raster, scale: Bands, placed: Placed) -> npt.NDArray[np.uint8]:
    """Return the pixels: bands on machined faces with a line between them, white elsewhere, nothing beside the part."""
    rows, columns = np.nonzero(raster.triangle >= 0)
    surface = mesh.face[raster.triangle[rows, columns]]
    face = _owners(part)[surface]
    points = np.array(frame.origin) + raster.centres(rows, columns) @ np.array([frame.x, frame.y, frame.z])
    value, cut = np.full(len(face), np.nan), np.flatnonzero(face >= 0)
    value[cut] = _stock_at(part, placed, surface[cut], points[cut])
    band = np.where(np.isfinite(value), np.searchsorted(np.array(scale.edges), np.nan_to_num(value), side="right"), -1)
    needs = {f.name: f.required for f in placed.placement.faces}
    need = np.array([needs[f.name] for f in part.machined])[np.maximum(face, 0)]
    whole = np.full(raster.shape, -2, dtype=np.int64)
    whole[rows, columns] = band
    pixels = np.zeros((*raster.shape, 4), dtype=np.uint8)
    ink = np.array([*INKS, _WHITE], dtype=np.uint8)[band]
    pixels[rows, columns, :3], pixels[rows, columns, 3] = ink, 255
    for mask, marks in (
        (band == 0, hatch(rows, columns)),
        ((band > 0) & (value < need - 1e-6), dots(rows, columns)),
        (_on_edge(whole)[rows, columns], np.ones(len(rows), dtype=np.bool_)),
    ):
        here = mask & marks
        pixels[rows[here], columns[here], :3] = _against(ink[here])
    return pixels


def hatch(rows: _Ints, columns: _Ints) -> _Bools:
    """Return which pixels lie on the hatching of missing metal: strokes from lower left to upper right."""
    return np.asarray((rows + columns) % 10 < 3)


def dots(rows: _Ints, columns: _Ints) -> _Bools:
    """Return which pixels lie on the dots of less than the required stock."""
    return np.asarray((rows % 10 < 2) & ((columns + 5 * (rows // 10 % 2)) % 10 < 2))


def _on_edge(whole: _Ints) -> _Bools:
    """Return which pixels differ in band from their right or lower neighbour, both being stock."""
    found = np.zeros(whole.shape, dtype=np.bool_)
    found[:, :-1] |= (whole[:, :-1] != whole[:, 1:]) & (whole[:, :-1] >= 0) & (whole[:, 1:] >= 0)
    found[:-1] |= (whole[:-1] != whole[1:]) & (whole[:-1] >= 0) & (whole[1:] >= 0)
    return found


def _against(ink: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Return white over dark ink and black over light ink."""
    light = np.array([luminance((int(r), int(g), int(b))) > 0.25 for r, g, b in (*INKS, _WHITE)])
    table = {tuple(i): (0, 0, 0) if li else _WHITE for i, li in zip((*INKS, _WHITE), light.tolist(), strict=True)}
    return np.array([table[(int(r), int(g), int(b))] for r, g, b in ink], dtype=np.uint8).reshape(-1, 3)


def is_seen(raster: Raster, x: float, y: float, z: float) -> bool:
    """Tell whether a point, in the view's coordinates, is not hidden by what lies before it."""
    row, column = raster.pixel(x, y)
    near = raster.depth[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2]
    return bool(near.size) and bool((np.abs(near - z) < 4.0 * raster.pitch + 0.2).any())
