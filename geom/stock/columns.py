"""Metal of one body outside another, by columns of rays.

Each ray gives exact lengths inside both bodies, so faces that coincide give
nothing, where a boolean gives slivers. Lengths mm. Knows skins only.
"""

from typing import Final

import numpy as np

from geom.rays.analytic import Bools, Floats, Ints
from geom.rays.rays import Skin
from geom.space import Vec3, frame_facing

_COARSE: Final = 96
"""Columns across the body, each way, in the first look."""

_RAYS: Final = 240_000
"""Rays in the second look, where metal was found missing."""

_FINEST: Final = 12
"""Greatest number of fine columns across a coarse one."""

_NOTHING: Final = 1e-6
"""A column missing less than this, mm, is whole."""


def shortage_by_columns(casting: Skin, finished: Skin, way: Vec3) -> tuple[float, float]:
    """Return the volume of the finished body outside the casting and what it may be out by, mm3.

    The error is a quarter of what the lengths bend from column to column: half a column for a step, which may stand
    anywhere between two columns, and next to nothing where they change smoothly.

    Args:
        way: direction of the columns; along the normal of a face that is short all over, their lengths are exact.
    """
    frame = frame_facing((0.0, 0.0, 0.0), way, _least_along(way))
    seen = frame.local_points(finished.mesh.vertices)
    low, high = seen.min(axis=0), seen.max(axis=0)
    cell = (high[:2] - low[:2]) / _COARSE
    u, v = (a.ravel() for a in np.meshgrid(np.arange(_COARSE), np.arange(_COARSE), indexing="ij"))
    corner = low[:2] + np.stack([u, v], axis=1) * cell

    def missing(places: Floats) -> Floats:
        starts = frame.part_points(np.column_stack([places, np.full(len(places), low[2] - 1.0)]))
        return missing_lengths(casting, finished, starts, np.tile(np.array(frame.z), (len(places), 1)))

    short = _with_neighbours((missing(corner + cell / 2.0) > _NOTHING).reshape(_COARSE, _COARSE)).ravel()
    if not short.any():
        return 0.0, float(cell.prod())
    fine = int(np.clip(np.sqrt(_RAYS / short.sum()), 2, _FINEST))
    steps = (np.arange(fine) + 0.5) / fine
    place = np.stack([a.ravel() for a in np.meshgrid(steps, steps, indexing="ij")], axis=1)
    lengths = missing((corner[short][:, None, :] + place * cell).reshape(-1, 2)).reshape(-1, fine, fine)
    piece = float(cell.prod()) / fine**2
    bends = max(float(np.abs(np.diff(lengths, 2, axis=axis)).sum()) for axis in (1, 2))
    return piece * float(lengths.sum()), piece * bends / 4.0


def _least_along(way: Vec3) -> Vec3:
    least = min(range(3), key=lambda i: abs(way[i]))
    return (float(least == 0), float(least == 1), float(least == 2))


def _with_neighbours(cells: Bools) -> Bools:
    """Return the marked cells of a grid and all about them."""
    wide = np.pad(cells, 1)
    rows, columns = cells.shape
    return np.asarray(np.any([wide[i : i + rows, j : j + columns] for i in range(3) for j in range(3)], axis=0))


def missing_lengths(casting: Skin, finished: Skin, starts: Floats, directions: Floats) -> Floats:
    """Return, for each ray, the length inside the finished body and outside the casting, mm.

    Args:
        starts: (n, 3) outside the finished body; directions (n, 3).

    A ray whose crossings do not pair off (it runs along a wall) counts as whole.
    """
    count = len(starts)
    events = [_events(finished, starts, directions, 0), _events(casting, starts, directions, 1)]
    ray, place, body, step = (np.concatenate(column) for column in zip(*events, strict=True))
    order = np.lexsort((place, ray))
    ray, place, body, step = ray[order], place[order], body[order], step[order]
    inside, sound = _depth(ray, np.where(body == 0, step, 0), count)
    held, sound_too = _depth(ray, np.where(body == 1, step, 0), count)
    length = np.append(np.where(ray[1:] == ray[:-1], np.diff(place), 0.0), 0.0)
    missing = (inside > 0) & (held <= 0) & (sound & sound_too)[ray]
    return np.asarray(np.bincount(ray[missing], length[missing], minlength=count), dtype=np.float64)


def _depth(ray: Ints, step: Ints, count: int) -> tuple[Ints, Bools]:
    """Return how deep each ray is in a body after each of its events, and which rays end outside as they must.

    A ray may start inside a body: it then leaves once more than it enters.
    """
    total = np.bincount(ray, step, minlength=count).astype(np.int64)
    before = np.cumsum(total) - total
    return np.asarray(np.cumsum(step) - before[ray] - np.minimum(total, 0)[ray]), (total == 0) | (total == -1)


def _events(skin: Skin, starts: Floats, directions: Floats, body: int) -> tuple[Ints, Floats, Ints, Ints]:
    ray, place, leaving = skin.every(starts, directions)
    return ray, place, np.full(len(ray), body), np.where(leaving, -1, 1)
