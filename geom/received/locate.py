"""Where a drawn casting lies in a measuring frame, from touches on named faces.

A first place is found whatever way the frame is turned (many starts, settled on
points of the faces); then weighted least squares bring the tips on to the drawn
surfaces, along their normals. Directions that the touches do not fix stay as
near as possible to the drawing's own axes. Lengths mm; moves go from the
measuring frame to the part frame. Knows nothing of files, names or how far the
skin lies off its drawn place.

Sources: W. Kabsch (1976) for the turn between two sets of points; K. Shoemake
(1992) for evenly spread turns; P. Huber (1964) for weights that a wild point
cannot dominate.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias

import numpy as np
from scipy.spatial import cKDTree

from geom.kernel.shape import Solid
from geom.rays.analytic import Bools, Floats, Ints
from geom.received.faces import over_skin
from geom.rigid import Rigid, from_turn, rigid_from_matrix
from geom.space import Vec3

Trees: TypeAlias = dict[int, Any]

_TURNS: Final = 1200
"""Turns tried besides the 24 of a cube: about 20 degrees from one to the next."""

_KEPT: Final = 12
"""First places that are followed up."""

_WILD: Final = 2.0
"""A tip further than this, mm, from its face pulls no harder than one at this distance, until the casting is located."""

_TIE: Final = 0.05
"""First places that fit equally well within this, mm: the one turned least wins."""

_FITS: Final = 0.01
"""A first place reached without trying turns, off by less than this share of the casting's size and 1 mm, is the one."""

_UPRIGHT: Final = 45.0
"""...and turned by less than this, degrees: no other is nearer the drawing's axes."""

_LEVEL: Final = 1e-3
"""The shift a first place starts from, to this share of the casting's size."""

_NEAR: Final = 1e-6
"""A first place is settled to this share of the casting's size; the least squares over everything read go on from there."""

_SOFT: Final = 0.1
"""A direction that its touches fix no better than this share of the casting's size is free."""


@dataclass(frozen=True, slots=True, eq=False)
class Tips:
    """Tips of probes at rest on the skin, one row each.

    Attributes:
        points: (n, 3) centres, measuring frame; unread coordinates stand for nothing.
        known: (n, 3) which coordinates were read.
        radius, sigma: (n,) mm.
        approach: (n, 3) unit, measuring frame; NaN where not said.
        surface: (n,) the casting's surface each rests on.
        middle: (n, 3) middle of its face, part frame: stands in for unread coordinates.
    """

    points: Floats
    known: Bools
    radius: Floats
    sigma: Floats
    approach: Floats
    surface: Ints
    middle: Floats

    def placed(self, move: Rigid) -> Floats:
        """Return the tips in the part frame (n, 3), unread coordinates filled in from the middle of the face."""
        if self.known.all():
            return move.points(self.points)
        filled = np.where(self.known, self.points, move.inverse().points(self.middle))
        return move.points(filled)

    def of(self, rows: Ints | Bools) -> "Tips":
        """Return some of the tips."""
        return Tips(*(getattr(self, name)[rows] for name in Tips.__slots__))


def heights_of(casting: Solid, tips: Tips, move: Rigid) -> tuple[Floats, Floats, Floats]:
    """Return how far each tip's contact is off its drawn surface (+ = outside), the normals, and the tips, part frame."""
    spots = tips.placed(move)
    high, normals = over_skin(casting, tips.surface, spots)
    return high - tips.radius, normals, spots


def rigid_rows(normals: Floats, spots: Floats, centre: Floats, size: float) -> Floats:
    """Return how heights change with a small move (n, 6): shift in mm, and turn about `centre` in mm at `size`."""
    return np.concatenate([normals, np.cross(spots - centre, normals) / size], axis=1)


def moved(move: Rigid, step: Floats, centre: Vec3, size: float) -> Rigid:
    """Return a move followed by a small one (6,) in the units of `rigid_rows`."""
    a, b, c = (float(v) for v in step[:3])
    x, y, z = (float(v) for v in np.degrees(step[3:] / size))
    return from_turn((x, y, z), (a, b, c), centre).after(move)


def fixed_directions(information: Floats, size: float) -> Floats:
    """Return the directions (6, m) of a move that an information matrix (6, 6) fixes, as orthogonal columns."""
    values, vectors = np.linalg.eigh((information + information.T) / 2.0)
    return np.asarray(vectors[:, values > (1.0 / (_SOFT * size)) ** 2])


def settle(casting: Solid, tips: Tips, start: Rigid, rounds: int = 40, soft: bool = True, still: float = 1e-13) -> Rigid:
    """Return the least-squares place of the drawn casting, from a first one.

    Args:
        soft: let no wild tip dominate (see `_WILD`).
        still: a step below this share of the casting's size ends the rounds.
    """
    move, size = start, casting.size
    centre = np.array(casting.centre)
    for _ in range(rounds):
        high, normals, spots = heights_of(casting, tips, move)
        weight = 1.0 / tips.sigma
        if soft:
            weight = weight * np.sqrt(np.minimum(1.0, _WILD / np.maximum(np.abs(high), 1e-12)))
        rows = rigid_rows(normals, spots, centre, size) * weight[:, None]
        keep = fixed_directions(rows.T @ rows, size)
        step = keep @ np.linalg.lstsq(rows @ keep, -high * weight, rcond=None)[0] if keep.size else np.zeros(6)
        step *= min(1.0, 0.3 * size / max(float(np.abs(step).max()), 1e-300))
        move = moved(move, step, casting.centre, size)
        if float(np.abs(step).max()) < still * size:
            break
    return move


# --- the first place --------------------------------------------------------


def first_place(casting: Solid, tips: Tips, clouds: Sequence[Floats], turn: bool = True) -> Rigid:
    """Return a place near the right one, whatever way the measuring frame is turned.

    Args:
        clouds: per tip, points (m, 3) of the skin it may rest on, part frame.
        turn: try every turn; otherwise the measuring frame's axes are the drawing's.
    """
    whole = np.flatnonzero(tips.known.all(axis=1))
    if not turn or len(whole) < len(tips.points):
        return settle(casting, tips, _level_place(casting, tips, clouds), still=_NEAR)
    trees: Trees = {id(cloud): cKDTree(cloud) for cloud in clouds}
    found = []
    fits = min(_FITS * casting.size, 1.0)
    for first in (_level_place, _middles_together):
        move = settle(casting, tips, first(casting, tips, clouds), still=_NEAR)
        found.append((_misfit(casting, tips, clouds, trees, move), _angle(move), move))
        if found[-1][0] < fits and found[-1][1] < _UPRIGHT:
            return move
    if min(f[0] for f in found) < fits:
        return min(found, key=lambda f: (f[0] > fits, round(f[1], 3), f[0]))[2]
    for matrix in _promising(tips, clouds):
        move = settle(casting, tips, _followed(tips, clouds, trees, matrix), rounds=12, still=_NEAR)
        found.append((_misfit(casting, tips, clouds, trees, move), _angle(move), move))
    least = min(misfit for misfit, _, _ in found)
    return min((f for f in found if f[0] <= least + _TIE), key=lambda f: (round(f[1], 3), f[0]))[2]


def _level_place(casting: Solid, tips: Tips, _clouds: Sequence[Floats]) -> Rigid:
    """Return the least shift that brings the tips on to their faces, without a turn."""
    shift = np.zeros(3)
    for _ in range(30):
        x, y, z = shift.tolist()
        high, normals, _ = heights_of(casting, tips, Rigid(shift=(x, y, z)))
        values, vectors = np.linalg.eigh(normals.T @ normals)
        keep = vectors[:, values > 1e-2]
        weight = np.sqrt(np.minimum(1.0, _WILD / np.maximum(np.abs(high), 1e-12)))
        step = keep @ np.linalg.lstsq(normals @ keep * weight[:, None], -high * weight, rcond=None)[0]
        shift = shift + step
        if np.abs(step).max() < _LEVEL * casting.size:
            break
    x, y, z = shift.tolist()
    return Rigid(shift=(x, y, z))


def _middles_together(_casting: Solid, tips: Tips, clouds: Sequence[Floats]) -> Rigid:
    """Return the shift that brings the middle of the tips to the middle of their faces."""
    a, b, c = (np.array([cloud.mean(axis=0) for cloud in clouds]).mean(axis=0) - tips.points.mean(axis=0)).tolist()
    return Rigid(shift=(a, b, c))


def _promising(tips: Tips, clouds: Sequence[Floats]) -> list[Floats]:
    """Return the turns (3, 3) under which the tips lie most like the middles of their faces; the drawing's own first."""
    middles = np.array([cloud.mean(axis=0) for cloud in clouds])
    turns = np.concatenate([_cube_turns(), _spread_turns(_TURNS), _kabsch(tips.points, middles)[None]])
    away = middles - middles.mean(axis=0)
    apart = tips.points - tips.points.mean(axis=0)
    gap = away[None] - np.einsum("rij,nj->rni", turns, apart)
    score = np.einsum("rni,rni->r", gap, gap)
    order = np.lexsort((np.arange(len(turns)), np.round(score, 6)))[:_KEPT]
    return [np.eye(3), *(turns[i] for i in order.tolist())]


def _cube_turns() -> Floats:
    from itertools import permutations, product

    signed = [np.diag(signs)[list(order)] for order in permutations(range(3)) for signs in product((1.0, -1.0), repeat=3)]
    return np.array([m for m in signed if np.linalg.det(m) > 0])


def _spread_turns(count: int) -> Floats:
    """Return turns spread evenly: Shoemake's map of three numbers, these from a low-discrepancy sequence."""
    step = 1.2207440846057596  # the root of x^4 = x + 1: its powers give the most even sequence in three dimensions
    a, b, c = (np.modf((np.arange(count) + 0.5) / step**k)[0] for k in (1, 2, 3))
    from scipy.spatial.transform import Rotation

    near, far = np.sqrt(1 - a), np.sqrt(a)
    quaternions = [
        near * np.sin(2 * np.pi * b),
        near * np.cos(2 * np.pi * b),
        far * np.sin(2 * np.pi * c),
        far * np.cos(2 * np.pi * c),
    ]
    return np.asarray(Rotation.from_quat(np.stack(quaternions, axis=1)).as_matrix())


def _kabsch(points: Floats, onto: Floats) -> Floats:
    """Return the turn (3, 3) that brings points nearest to others, both about their middles."""
    left, _, right = np.linalg.svd((onto - onto.mean(axis=0)).T @ (points - points.mean(axis=0)))
    return np.asarray(left @ np.diag([1.0, 1.0, float(np.sign(np.linalg.det(left @ right)))]) @ right)


def _followed(tips: Tips, clouds: Sequence[Floats], trees: Trees, matrix: Floats) -> Rigid:
    """Return the place after a few rounds of: nearest point of its face for each tip, then the best move."""
    points = tips.points
    goal = np.array([cloud.mean(axis=0) for cloud in clouds])
    for _ in range(12):
        a, b, c = (goal.mean(axis=0) - matrix @ points.mean(axis=0)).tolist()
        move = rigid_from_matrix(matrix, (a, b, c))
        before, goal = goal, _nearest(clouds, trees, move.points(points))
        if np.array_equal(before, goal):
            break
        matrix = _kabsch(points, goal)
    a, b, c = (goal.mean(axis=0) - matrix @ points.mean(axis=0)).tolist()
    return rigid_from_matrix(matrix, (a, b, c))


def _nearest(clouds: Sequence[Floats], trees: Trees, spots: Floats) -> Floats:
    found = np.empty_like(spots)
    which = np.array([id(cloud) for cloud in clouds])
    for key, first in {id(cloud): i for i, cloud in reversed(list(enumerate(clouds)))}.items():
        rows = np.flatnonzero(which == key)
        found[rows] = clouds[first][trees[key].query(spots[rows])[1]]
    return found


def _misfit(casting: Solid, tips: Tips, clouds: Sequence[Floats], trees: Trees, move: Rigid) -> float:
    """Return how badly a place fits, mm: off the surfaces, past their rims, touched from inside the metal."""
    high, normals, spots = heights_of(casting, tips, move)
    reach = 1.5 * casting.size / 60.0
    past = np.linalg.norm(_nearest(clouds, trees, spots) - spots, axis=1) - np.abs(high + tips.radius) - reach
    against = np.einsum("ij,ij->i", move.directions(np.nan_to_num(tips.approach)), normals) > 0.1
    off = np.minimum(np.abs(high), 10 * _WILD)
    return float(np.sqrt(np.mean(off**2)) + np.mean(np.clip(past, 0.0, None)) + 10.0 * np.mean(against))


def _angle(move: Rigid) -> float:
    return float(np.linalg.norm(move.turn))


def nearest_surfaces(move: Rigid, tips: Tips, points: Floats, normals: Floats, surface: Ints) -> Ints:
    """Return the surface of the skin point nearest to each tip that faces the tip's approach.

    Args:
        points, normals, surface: of many points of the skin, part frame.
    """
    spots, ways = move.points(tips.points), move.directions(tips.approach)
    found = []
    for spot, way in zip(spots, ways, strict=True):
        facing = np.flatnonzero(normals @ way < -0.5)
        rows = facing if facing.size else np.arange(len(points))
        found.append(surface[rows[np.argmin(np.linalg.norm(points[rows] - spot, axis=1))]])
    return np.array(found, dtype=np.int64)


def with_surfaces(tips: Tips, surface: Ints) -> Tips:
    """Return the tips resting on other surfaces."""
    return replace(tips, surface=surface)
