"""How far the cut lies off the drawn faces, from exact samples.

From each sample the proof walks along the face's normal: outward through metal
that no row took (left over, +), or inward through what a row took below the
face (gouged, -). Sweeps are exact, the casting's skin is exact on its own
forms; `STEP` between samples is what may hide, and the mesh comparison adds
samples wherever it sees something. Lengths mm, part frame. Knows nothing of
tolerances or names.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

import numpy as np

from geom.kernel.shape import Solid
from geom.proof.sweep import Sweep, from_move, spans
from geom.rays.analytic import Bools, Floats, Ints
from geom.rays.rays import Skin, skin_of
from geom.rays.rim import Rim, edge_distance, rim_of
from geom.rays.sample import exact_points, surface_samples

STEP: Final = 3.0
"""mm between samples."""

NOISE: Final = 5e-6
"""mm: what six printed decimals of a zero and double precision lose; below it a point is on the sweep's skin."""

AHEAD: Final = 10.0
"""mm: metal left over is followed this far out of a face, and a gouge this far in."""

_OFF_EDGE: Final = 0.1
"""mm: a spot that the mesh comparison found nearer to a face's edge than this belongs to its neighbour."""

_BESIDE: Final = 0.003
"""mm: how far beside a spot a second line looks."""

_ASTRAY: Final = 0.3
"""mm: a foot on look-up facets moves less than this on to its true face; more is another branch of a free-form face."""

_ROUNDS: Final = 64


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Points on the finished faces, one row each: place, where lines start, outward normal, surface index, area."""

    points: Floats = field(repr=False)
    starts: Floats = field(repr=False)
    normals: Floats = field(repr=False)
    surface: Ints = field(repr=False)
    area: Floats = field(repr=False)

    def of(self, rows: Ints | Bools) -> "Spots":
        """Return some of the spots."""
        return Spots(*(getattr(self, name)[rows] for name in Spots.__slots__))

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.points)


def joined(a: Spots, b: Spots) -> Spots:
    """Return both."""
    return Spots(*(np.concatenate([getattr(a, name), getattr(b, name)]) for name in Spots.__slots__))


Groups = tuple[tuple[int, int], ...]
"""(surface, face) of every surface that is a piece of a face of several."""


@lru_cache(maxsize=4)
def spread(solid: Solid, groups: Groups) -> Spots:
    """Return samples on every face of the finished part, edges included."""
    import igl

    found = surface_samples(solid, STEP, groups=dict(groups))
    spots = _sound(Spots(found.points, found.looked_from, found.normals, found.face, found.area))
    mesh = skin_of(solid).mesh
    free = np.flatnonzero(np.array([surface.kind == "other" for surface in solid.surfaces])[spots.surface])
    keep = np.ones(len(spots), dtype=np.bool_)
    if free.size:
        keep[free] = igl.point_mesh_squared_distance(spots.points[free], mesh.vertices, mesh.triangles)[0] < _ASTRAY**2
    return spots.of(keep)


@lru_cache(maxsize=4)
def _rim(solid: Solid, groups: Groups) -> tuple[Rim, Ints]:
    """Return the edges of all faces, and which face each surface belongs to."""
    count = len(solid.surfaces)
    group = np.arange(count)
    for surface, face in groups:
        group[surface] = count + face
    return rim_of(skin_of(solid).mesh, group, np.ones(count, dtype=np.bool_)), group


def suspects(solid: Solid, groups: Groups, near: Floats) -> Spots:
    """Return the spots of the finished faces nearest to points (n, 3), edges left out."""
    import igl

    mesh = skin_of(solid).mesh
    if not len(near):
        return Spots(near, near, near, np.zeros(0, np.int64), np.zeros(0))
    _, triangle, foot = igl.point_mesh_squared_distance(near, mesh.vertices, mesh.triangles)[:3]
    surface = mesh.face[np.asarray(triangle, dtype=np.int64)]
    rim, group = _rim(solid, groups)
    far, _ = edge_distance(rim, group[surface], np.asarray(foot))
    keep = far > _OFF_EDGE
    points, normals = exact_points(solid, surface[keep], np.asarray(foot)[keep])
    found = Spots(points, points, normals, surface[keep], np.zeros(len(points)))
    return _sound(found.of(np.linalg.norm(points - np.asarray(foot)[keep], axis=1) < _ASTRAY))


def edge_distances(solid: Solid, groups: Groups, spots: Spots) -> Floats:
    """Return how far spots (n,) are from the nearest edge of their own face, mm."""
    rim, group = _rim(solid, groups)
    return edge_distance(rim, group[spots.surface], spots.points)[0]


def _sound(spots: Spots) -> Spots:
    """Return the spots that have a place and a normal: at the tip of a free-form face there is none."""
    unit = np.abs(np.linalg.norm(spots.normals, axis=1) - 1.0) < 1e-6
    return spots.of(unit & np.isfinite(spots.starts).all(axis=1))


# --- walking ----------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """What was found at each spot.

    Attributes:
        off: (n,) mm: + metal left over, - gouged or short.
        ahead: (n,) place in order of the sweep that bounds what is left over, -1 where the casting's own skin does.
        gouged: (n,) whether a row, not the casting, makes it short.
    """

    off: Floats
    ahead: Ints
    gouged: Bools


def walk(spots: Spots, sweeps: Sequence[Sweep], casting: Skin, stocked: Bools) -> Walk:
    """Return how far the cut lies off each spot.

    Args:
        stocked: (n,) spots that have stock to lose; on the others only what is taken below them counts.
    """
    n = len(spots)
    ahead, by, deep = np.full(n, AHEAD), np.full(n, -1, dtype=np.int64), np.zeros(n, dtype=np.bool_)
    over = np.zeros(n)
    rows = np.flatnonzero(stocked)
    if rows.size:
        over[rows] = _metal_over(spots.of(rows), casting)
    ahead = np.minimum(ahead, np.maximum(over, 0.0))
    for sweep in sweeps:
        near = near_to(sweep, spots.starts, AHEAD)
        if not near.size:
            continue
        low, high = spans(sweep, spots.starts[near], spots.normals[near])
        first = np.where(high > NOISE, np.maximum(low, 0.0), np.inf)
        sooner = first < ahead[near]
        ahead[near[sooner]], by[near[sooner]] = first[sooner], sweep.at
        deep[near] |= (low < -NOISE) & (high > NOISE)
    off = np.where(over < -NOISE, over, ahead)
    inside = np.flatnonzero(deep)
    if inside.size:
        depth = depths(spots.of(inside), sweeps)
        off[inside] = np.minimum(-depth, np.where(over[inside] < -NOISE, over[inside], 0.0))
    return Walk(off, by, deep)


def _metal_over(spots: Spots, casting: Skin) -> Floats:
    """Return the casting's metal over spots, mm; where it seems short a line beside it has to say so too.

    A line that runs exactly along an edge of the skin, as in a parting plane, can pass between the two faces that meet there.
    On a face's very edge, where a drafted side slips away beside the line, shortness is the stock report's to tell.
    """
    over = casting.over(spots.points, spots.normals, spots.starts).distance
    short = np.flatnonzero(over < -NOISE)
    if short.size:
        some = spots.of(short)
        first = _square_to(some.normals)
        beside = _BESIDE * (first + np.cross(some.normals, first))
        over[short] = np.maximum(over[short], casting.over(some.points + beside, some.normals, some.starts + beside).distance)
    return np.maximum(np.where(spots.area > 0, over, np.maximum(over, 0.0)), -AHEAD)


def depths(spots: Spots, sweeps: Sequence[Sweep]) -> Floats:
    """Return how far spots in a sweep are from metal: the least of five ways, inward and along the face."""
    first = _square_to(spots.normals)
    second = np.cross(spots.normals, first)
    return np.asarray(
        np.min([run_of(spots.starts, way, sweeps, AHEAD) for way in (-spots.normals, first, -first, second, -second)], axis=0)
    )


def run_of(starts: Floats, ways: Floats, sweeps: Sequence[Sweep], most: float) -> Floats:
    """Return how far each line runs through sweeps from its start until it meets none; no further than `most`."""
    gone = np.zeros(len(starts))
    found = [(near, *spans(s, starts[near], ways[near])) for s in sweeps for near in (near_to(s, starts, most),) if near.size]
    for _ in range(_ROUNDS):
        before = gone.copy()
        for near, low, high in found:
            on = (low <= gone[near] + NOISE) & (high > gone[near])
            gone[near[on]] = np.minimum(high[on], most)
        if np.array_equal(before, gone):
            break
    return gone


def near_to(sweep: Sweep, points: Floats, by: float) -> Ints:
    """Return which points lie within `by` of a sweep, or a little more."""
    local = sweep.table.frame.local_points(points)
    low = local[:, 2] >= sweep.z - by
    near = np.flatnonzero(low)
    return near[from_move(sweep, local[near, :2]) <= sweep.radius + by]


def within(sweep: Sweep, spots: Spots, by: Floats) -> Bools:
    """Return which spots lie in a sweep deeper than `by` (n,) along their normals."""
    low, high = spans(sweep, spots.starts, spots.normals)
    return np.asarray((low < -by) & (high > NOISE))


def _square_to(normals: Floats) -> Floats:
    least = np.argmin(np.abs(normals), axis=1)
    other = np.zeros_like(normals)
    other[np.arange(len(normals)), least] = 1.0
    found = np.cross(normals, other)
    return np.asarray(found / np.linalg.norm(found, axis=1)[:, None])
