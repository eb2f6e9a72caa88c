"""How sure the least margin is, given how sure the skin is.

The finished part stays at the chosen place in the measuring frame; skin and
place of the casting are drawn many times from their joint covariance (with a
fixed seed), and the least margin is looked at each time: of several faces that
are nearly as thin, chance makes one thinner than the estimate says, and the
answer shows that. Lengths mm.
"""

from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.linalg import qr

from geom.place.placement import Odds
from geom.rays.analytic import Floats, Ints, dots
from geom.rays.rays import skin_of
from geom.received.casting import AsReceived
from geom.received.faces import Walls, over_skin
from geom.received.locate import rigid_rows

Singles: TypeAlias = npt.NDArray[np.float32]
"""Draws are worked on in single precision: a ten-millionth of a margin, where chance leaves a thousandth open."""

_DRAWS: Final = 8000
_SCOUTS: Final = 64
"""Draws that find which points can be the thinnest at all."""

_SEED: Final = 20240229

_LOOSE: Final = 0.3
"""A place that is unsure by more than this share of the casting's size is not known at all: it is
picked up when the work is set."""

_JITTER: Final = 1e-10
"""Share of the largest variance added to all, so that what follows from something else can be drawn too."""

_OPEN: Final = 3e-5
"""Share of the largest standard deviation below which a root tells nothing: the root of _JITTER, and some."""

_BLOCK: Final = 1000
"""Draws worked on at a time: they stay in the processor's own memory."""

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
    varied = _Varied(rows, covariance, face, own)
    few = varied.can_be_least(margin)
    if np.ptp(required) > 0:
        few = np.union1d(few, varied.can_be_least(margin + required))
    which, least, metal = _drawn(margin[few], required[few], *_inner(varied.spread(few)))
    low, high, likely = _quantiles(least, 0.025, 0.975, 0.05)
    metal_low, metal_high = _quantiles(metal, 0.025, 0.975)
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


class _Varied:
    """How points vary with independent unit draws; what no point depends on is left out."""

    __slots__ = ("_face", "_own", "_root", "_rows", "_scouts")

    def __init__(self, rows: Floats, covariance: Floats, face: Ints, own: Floats | None) -> None:
        used = np.flatnonzero(rows.any(axis=0))
        self._rows, self._root = rows[:, used], _root(covariance[np.ix_(used, used)])
        self._own, self._face = own, np.zeros(len(rows), dtype=np.int64)
        count = len(used)
        if own is not None:
            kinds, self._face = np.unique(face, return_inverse=True)
            count += len(kinds)
        scouts = np.random.default_rng(_SEED).standard_normal((_SCOUTS, count))
        self._scouts = (scouts[:, : len(used)] @ self._root.T) @ self._rows.T
        if own is not None:
            self._scouts += own * scouts[:, len(used) + self._face]

    def spread(self, some: Ints) -> Floats:
        """Return how some points vary with each draw (m, p); last, with what each face has of its own."""
        shared = self._rows[some] @ self._root
        if self._own is None:
            return np.asarray(shared)
        mine = self._face[some, None] == np.arange(int(self._face.max()) + 1)[None]
        return np.concatenate([shared, self._own[some, None] * mine], axis=1)

    def can_be_least(self, margin: Floats) -> Ints:
        """Return the points that are the thinnest in some draws, also in wide ones, and the thinnest as estimated."""
        found = [(margin + wide * self._scouts).argmin(axis=1) for wide in (1.0, 2.0)]
        return np.unique(np.concatenate([*found, [int(margin.argmin())]]))


def _root(covariance: Floats) -> Floats:
    """Return a root R with R R' the covariance, to a hundred-thousandth of the largest standard deviation."""
    widest = max(float(covariance.diagonal().max(initial=0.0)), 1e-300)
    return np.asarray(np.linalg.cholesky(covariance + _JITTER * widest * np.eye(len(covariance))))


def _inner(spread: Floats) -> tuple[Floats, Singles]:
    """Return how few points (m, p) vary with fewer numbers (m, r), and those numbers of every draw (_DRAWS, r).

    Points of one face vary alike, so that far fewer numbers than draws tell all, but for what `_root` leaves open as well.
    """
    scouted = spread.shape[1]
    inner = spread if len(spread) > scouted else _root(spread @ spread.T)
    ways, shape, order = qr(inner.T, mode="economic", pivoting=True, check_finite=False)
    sizes = np.abs(shape.diagonal())
    rank = max(int(np.count_nonzero(sizes > _OPEN * sizes[0])), 1)
    found = np.empty((len(spread), rank))
    found[order] = shape[:rank].T
    return found, _draws(scouted, inner.shape[1]) @ ways[:, :rank].astype(np.float32)


def _drawn(margin: Floats, required: Floats, inner: Floats, draws: Singles) -> tuple[Ints, Floats, Floats]:
    """Return which of few points is the thinnest in each draw, its margin there, and the least metal over any of them."""
    which, least, metal = np.empty(len(draws), dtype=np.int64), np.empty(len(draws)), np.empty(len(draws))
    alike, thin, rows = np.ptp(required) == 0, float(margin.min()), np.arange(_BLOCK)
    over = np.column_stack([inner, margin - thin]).T.astype(np.float32)
    draws = np.column_stack([draws, np.ones(len(draws), dtype=np.float32)])
    for first in range(0, len(draws), _BLOCK):
        some = slice(first, first + _BLOCK)
        drawn = draws[some] @ over
        which[some] = drawn.argmin(axis=1)
        least[some] = drawn[rows, which[some]]
        if alike:
            metal[some] = least[some] + required[0]
            continue
        drawn += required.astype(np.float32)
        metal[some] = drawn[rows, drawn.argmin(axis=1)]
    return which, least + thin, metal + thin


def _quantiles(values: Floats, *shares: float) -> list[float]:
    """Return what so large shares of the draws' values (_DRAWS,) stay below."""
    found = np.interp((_DRAWS - 1) * np.array(shares), np.arange(_DRAWS), np.sort(values))
    return [float(v) for v in found]


@lru_cache(maxsize=4)
def _draws(scouted: int, count: int) -> Singles:
    """Return the draws (_DRAWS, count) that follow the scouts', which had another count: the same for castings of one part."""
    rng = np.random.default_rng(_SEED)
    rng.standard_normal((_SCOUTS, scouted))
    return rng.standard_normal((_DRAWS, count)).astype(np.float32)
