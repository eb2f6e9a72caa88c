"""How sure the least margin is, given how sure the skin is.

The finished part stays at the chosen place in the measuring frame; skin and
place of the casting are drawn many times from their joint covariance (with a
fixed seed), and the least margin is looked at each time: of several faces that
are nearly as thin, chance makes one thinner than the estimate says, and the
answer shows that. Lengths mm.
"""

from functools import lru_cache
from typing import Final

import numpy as np

from geom.place.placement import Odds
from geom.rays.analytic import Bools, Floats, Ints, dots
from geom.rays.rays import skin_of
from geom.received.casting import AsReceived
from geom.received.faces import Walls, over_skin
from geom.received.locate import rigid_rows

_DRAWS: Final = 8000
_SCOUTS: Final = 64
"""Draws that find which points can be the thinnest at all."""

_SEED: Final = 20240229

_LOOSE: Final = 0.3
"""A place that is unsure by more than this share of the casting's size is not known at all: it is
picked up when the work is set."""

_JITTER: Final = 1e-10
"""Share of the largest variance added to all, so that what follows from something else can be drawn too."""

_UNREAD: Final = 0.05
"""Weight of walls without a reading when the work is set: looked along, not dialled in (common practice, no source)."""


@lru_cache(maxsize=8)
def joint_covariance(received: AsReceived) -> Floats:
    """Return the covariance (6 + k, 6 + k) of place and skin.

    Directions of the place that no reading fixes are picked up when the work is set: the part then follows the
    measured walls as they are (least squares by area).
    """
    size = received.part.casting.size
    spread, ways = np.linalg.eigh(received.joint[:6, :6])
    known, open_ways = ways[:, spread < (_LOOSE * size) ** 2], ways[:, spread >= (_LOOSE * size) ** 2]
    keep = np.zeros((6, len(received.joint)))
    keep[:, :6] = known @ known.T
    if open_ways.size and received.scan is None:
        keep[:, 6:] = open_ways @ open_ways.T @ _picked_up(received)
    followed, found = keep @ received.joint, received.joint.copy()
    found[:6, :6] = followed @ keep.T
    found[:6, 6:] = followed[:, 6:]
    found[6:, :6] = followed[:, 6:].T
    return found


def _picked_up(received: AsReceived) -> Floats:
    """Return how the place follows the skin's parameters (6, k) when the work is set by its measured walls, else by all."""
    walls = received.model.walls
    which, squares, pulls = _by_wall(walls)
    weight = np.array([1.0 if received.faces[i].how != "drawn" else _UNREAD for i in which.tolist()])
    first = np.array([walls.walls[i].first for i in which.tolist()], dtype=np.int64)
    place = np.einsum("w,wij->ij", weight, squares)
    skin = np.zeros((6, len(received.mean)))
    for column in range(3):
        skin[:, first + column] = (weight[:, None] * pulls[:, :, column]).T
    return np.asarray(np.linalg.lstsq(place, skin, rcond=1e-12)[0])


@lru_cache(maxsize=4)
def _by_wall(walls: Walls) -> tuple[Ints, Floats, Floats]:
    """Return which walls are flat or round; sums by area of place rows squared (w, 6, 6), and times skin rows (w, 6, 3)."""
    casting = walls.casting
    mesh = skin_of(casting).mesh
    firm = np.array([wall.form in ("plane", "round") for wall in walls.walls])
    rows = np.flatnonzero(firm[walls.number[mesh.face]])
    rows = rows[np.argsort(walls.number[mesh.face[rows]], kind="stable")]
    corners = mesh.vertices[mesh.triangles[rows]]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    scale = np.repeat(np.sqrt(dots(cross, cross)) / 6.0, 3)[:, None]
    points, surface = corners.reshape(-1, 3), np.repeat(mesh.face[rows], 3)
    normals = over_skin(casting, surface, points)[1]
    place = rigid_rows(normals, points, np.array(casting.centre), casting.size)
    number = walls.number[surface]
    which = np.unique(number)
    squares, pulls = np.zeros((len(which), 6, 6)), np.zeros((len(which), 6, 3))
    for i, name in enumerate(which.tolist()):
        wall, mine = walls.walls[name], slice(*np.searchsorted(number, [name, name + 1]).tolist())
        away = points[mine] - np.array(wall.centroid) if wall.form == "plane" else normals[mine]
        turns = away @ np.array([wall.u, wall.v]).T / np.array(wall.reach)
        heavy = (scale[mine] * place[mine]).T
        squares[i] = heavy @ place[mine]
        pulls[i] = heavy @ np.column_stack([np.ones(len(turns)), turns])
    return which, squares, pulls


def wide_rows(received: AsReceived, rate: Floats, size: float, columns: Ints, skin: Floats) -> tuple[Ints, Floats]:
    """Return which of place and skin (6 + k) stock depends on (p,), and how it changes with them (n, p).

    Args:
        rate: (n, 6) with turns as mm at `size`; columns: (c,) of the skin; skin: (n, c).
    """
    turn = rate[:, 3:] * (size / received.part.casting.size)
    return np.concatenate([np.arange(6), 6 + columns]), np.concatenate([rate[:, :3], turn, skin], axis=1)


def row_sigmas(rows: Floats, covariance: Floats) -> Floats:
    """Return each row's standard deviation (n,), mm."""
    return np.asarray(np.sqrt(np.maximum(np.einsum("ij,ij->i", rows @ covariance, rows), 0.0)))


def odds(margin: Floats, required: Floats, face: Ints, rows: Floats, covariance: Floats, own: Floats | None = None) -> Odds:
    """Return how sure the least of some margins is.

    Args:
        margin, required: (n,) mm; face: (n,) the face of each.
        rows: (n, p) how it changes with what is uncertain; covariance: (p, p) of that.
        own: (n,) further standard deviation of each, mm; what it comes from the points of a face share.
    """
    spread = _spread(rows, covariance)
    if own is not None:
        spread = np.concatenate([spread, own[:, None] * (face[:, None] == np.unique(face)[None])], axis=1)
    few = _can_be_least(margin, spread)
    if np.ptp(required) > 0:
        few = np.union1d(few, _can_be_least(margin + required, spread))
    inner = spread[few] if len(few) > spread.shape[1] else _root(spread[few] @ spread[few].T)
    drawn = inner @ _draws(spread.shape[1], inner.shape[1])
    drawn += margin[few, None]
    which, least = drawn.argmin(axis=0), drawn.min(axis=0)
    low, high, likely = (float(v) for v in np.quantile(least, [0.025, 0.975, 0.05]))
    same = np.ptp(required[few]) == 0
    metal = least + required[few[0]] if same else (drawn + required[few, None]).min(axis=0)
    metal_low, metal_high = (float(v) for v in np.quantile(metal, [0.025, 0.975]))
    share = np.bincount(which, minlength=len(few)) / _DRAWS
    return Odds(
        sigma=float(least.std()),
        low=low,
        high=high,
        likely_least=likely,
        chance_short=float((least < 0).mean()),
        chance_missing=float((metal < 0).mean()),
        metal_low=metal_low,
        metal_high=metal_high,
        lean=share @ rows[few],
    )


def _spread(rows: Floats, covariance: Floats) -> Floats:
    """Return how rows (n, p) vary with independent unit draws; what no row depends on is left out."""
    used = np.flatnonzero(rows.any(axis=0))
    return np.asarray(rows[:, used] @ _root(covariance[np.ix_(used, used)]))


def _root(covariance: Floats) -> Floats:
    """Return a root R with R R' the covariance, to a hundred-thousandth of the largest standard deviation."""
    widest = max(float(covariance.diagonal().max(initial=0.0)), 1e-300)
    return np.asarray(np.linalg.cholesky(covariance + _JITTER * widest * np.eye(len(covariance))))


def _can_be_least(margin: Floats, spread: Floats) -> Ints:
    """Return the points that are the thinnest in some draws, also in wide ones, and the thinnest as estimated."""
    hopeful: Bools = margin < margin.min() + 6.0 * 2.0 * np.linalg.norm(spread, axis=1).max() + 1e-9
    rows = np.flatnonzero(hopeful)
    scouts = np.random.default_rng(_SEED).standard_normal((_SCOUTS, spread.shape[1])) @ spread[rows].T
    found = [(margin[rows] + wide * scouts).argmin(axis=1) for wide in (1.0, 2.0)]
    return np.unique(np.concatenate([*(rows[f] for f in found), [int(margin.argmin())]]))


@lru_cache(maxsize=4)
def _draws(scouted: int, count: int) -> Floats:
    """Return the draws (count, _DRAWS) that follow the scouts', which had another count: the same for castings of one part."""
    rng = np.random.default_rng(_SEED)
    rng.standard_normal((_SCOUTS, scouted))
    return np.ascontiguousarray(rng.standard_normal((_DRAWS, count)).T)
