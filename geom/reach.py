"""What metal of the finished part stands above a place, seen from where the spindle is.

Straight cutters come down along Z: whatever of the finished part lies above
the cutter's end and within its radius would be cut. Works on the facets of the
part's skin, so nearer than `FACET_SLACK` it cannot tell; answers that shape a
coordinate are snapped to the faces themselves by the caller. Lengths mm, in
the frame looked from. Knows nothing of the casting, of holders or of vises.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

import numpy as np
import numpy.typing as npt
import shapely

from geom.kernel.mesh import Mesh
from geom.space import Frame
from geom.tolerance import WORK_CHORD

Flat: TypeAlias = tuple[float, float]
Span: TypeAlias = tuple[float, float]
_Array: TypeAlias = npt.NDArray[np.float64]

FACET_SLACK: Final = 5.0 * WORK_CHORD
"""mm: metal closer than this to a cutter's side or end is taken for the face it cuts."""

_ARC_PIECES: Final = 16
"""Pieces a quarter circle is drawn in: 0.1 % of the radius, under `FACET_SLACK` for any hand-held cutter."""


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """The part's upward-facing facets in a frame whose Z faces the spindle.

    Facets that face down or sideways add nothing: above every point inside the
    metal there is an upward one.

    Attributes:
        corners: (m, 3, 3), mm, in the frame.
        face: (m,) surface index of each facet.
        low, high: (m, 3) each facet's box.
    """

    corners: _Array = field(repr=False)
    face: npt.NDArray[np.int64] = field(repr=False)
    low: _Array = field(repr=False)
    high: _Array = field(repr=False)


def view(mesh: Mesh, frame: Frame) -> View:
    """Return the part as the spindle sees it."""
    corners = frame.local_points(mesh.vertices)[mesh.triangles]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    up = across[:, 2] > 1e-9 * np.maximum(np.linalg.norm(across, axis=1), 1e-300)
    seen = corners[up]
    return View(seen, mesh.face[up], seen.min(axis=1), seen.max(axis=1))


def clear_disc(seen: View, at: Flat, radius: float, z: float) -> bool:
    """Tell whether a cutter of this radius, standing at (x, y) with its end at z, meets no metal."""
    radius = max(radius - FACET_SLACK, FACET_SLACK)
    shapes = _shadow(seen, (at[0] - radius, at[1] - radius), (at[0] + radius, at[1] + radius), z)
    return not bool(np.any(shapely.dwithin(shapes, shapely.Point(at), radius)))


def blocked_spans(seen: View, start: Flat, along: Flat, reach: Span, radius: float, z: float) -> list[Span]:
    """Return the parts of a straight cut in which the cutter would meet metal.

    Args:
        start, along: a point of the cutter's centre line and its unit direction.
        reach: from where to where to look, mm along the line from `start`.
        radius: the cutter's.
        z: height of the cutter's end.

    Returns:
        Disjoint spans (from, to), mm along the line, in order.
    """
    ends = np.array([[start[i] + s * along[i] for i in (0, 1)] for s in reach])
    low, high = ends.min(axis=0) - radius, ends.max(axis=0) + radius
    shapes = _shadow(seen, (low[0], low[1]), (high[0], high[1]), z)
    if not len(shapes):
        return []
    near = shapes[shapely.dwithin(shapes, shapely.LineString(ends), radius - FACET_SLACK)]
    fat = shapely.buffer(near, radius - FACET_SLACK, quad_segs=_ARC_PIECES)
    met = shapely.intersection(fat, shapely.LineString(ends))
    spans = [_span(piece, start, along) for piece in met if not piece.is_empty]
    return _merged(spans)


def open_share(seen: View, faces: Sequence[int], z: float) -> float:
    """Return the share (0 to 1) of upward-facing plane faces at height z that has no metal above it."""
    mine = np.isin(seen.face, np.asarray(faces))
    if not mine.any():
        return 0.0
    own = shapely.union_all(shapely.polygons(seen.corners[mine][:, :, :2]))
    low, high = seen.low[mine].min(axis=0), seen.high[mine].max(axis=0)
    above = _shadow(seen, (low[0], low[1]), (high[0], high[1]), z)
    hidden = float(own.intersection(shapely.union_all(above)).area) if len(above) else 0.0
    return 1.0 - hidden / float(own.area)


def _shadow(seen: View, low: Flat, high: Flat, z: float) -> npt.NDArray[Any]:
    """Return, as flat shapes, what lies above z (by more than `FACET_SLACK`) over a rectangle."""
    level = z + FACET_SLACK
    near = (
        (seen.high[:, 2] > level)
        & (seen.low[:, 0] <= high[0])
        & (seen.high[:, 0] >= low[0])
        & (seen.low[:, 1] <= high[1])
        & (seen.high[:, 1] >= low[1])
    )
    whole = near & (seen.low[:, 2] >= level)
    shapes = list(shapely.polygons(seen.corners[whole][:, :, :2]))
    shapes += [shapely.Polygon(_above(corners, level)) for corners in seen.corners[near & ~whole]]
    return np.array(shapes, dtype=object)


def _above(corners: _Array, level: float) -> list[Flat]:
    """Return the part of a facet above a level, as a flat polygon."""
    kept: list[Flat] = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if a[2] > level:
            kept.append((float(a[0]), float(a[1])))
        if (a[2] > level) != (b[2] > level):
            share = (level - a[2]) / (b[2] - a[2])
            kept.append((float(a[0] + share * (b[0] - a[0])), float(a[1] + share * (b[1] - a[1]))))
    return kept


def _span(piece: Any, start: Flat, along: Flat) -> Span:
    x0, y0 = shapely.get_coordinates(piece)[0]
    x1, y1 = shapely.get_coordinates(piece)[-1]
    a, b = ((x - start[0]) * along[0] + (y - start[1]) * along[1] for x, y in ((x0, y0), (x1, y1)))
    return (min(a, b), max(a, b))


def _merged(spans: list[Span]) -> list[Span]:
    done: list[Span] = []
    for low, high in sorted(spans):
        if done and low <= done[-1][1] + FACET_SLACK:
            done[-1] = (done[-1][0], max(done[-1][1], high))
        else:
            done.append((low, high))
    return done
