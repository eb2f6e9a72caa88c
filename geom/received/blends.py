"""Roundings, fillets and other small transitions of a casting: which they are, and how they follow the walls they join.

Moulding makes a blend together with its walls, so it has no tolerance of its
own: where it meets a wall it lies off as that wall does, and in between in step
with its normal. Lengths mm, part frame. Knows nothing of readings or grades.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Protocol, TypeAlias

import numpy as np

from geom.kernel.shape import Solid, Surface
from geom.rays.analytic import Floats, Ints
from geom.space import X_AXIS, Y_AXIS, Z_AXIS, Vec3, dot, frame_facing


class WallLike(Protocol):
    """What is asked of a wall: see `geom.received.faces.Wall`."""

    @property
    def form(self) -> str: ...
    @property
    def u(self) -> Vec3: ...
    @property
    def v(self) -> Vec3: ...
    @property
    def w(self) -> Vec3: ...
    @property
    def first(self) -> int: ...


class WallsLike(Protocol):
    """What is asked of all walls: see `geom.received.faces.Walls`."""

    @property
    def walls(self) -> Sequence[WallLike]: ...
    @property
    def number(self) -> Ints: ...
    @property
    def root(self) -> Floats: ...
    def rows(self, points: Floats, normals: Floats, surfaces: Ints) -> Floats:
        """Return how the skin's offset changes with each parameter."""


Normals: TypeAlias = Callable[[Ints], Floats]
"""Gives the outward normals (n, 3) at corners by their numbers; 0 in the tip of a free-form face, which looks no one way."""

_NARROW: Final = 0.1
"""A blend is narrower than this share of the casting's size..."""

_NARROW_LEAST: Final = 8.0
"""...or than this, mm."""

_ROUNDS: Final = 4
"""Rounds in which blends that join only other blends settle."""

_FLAT: Final = 0.2
"""A way in which a blend's edges differ by less than this share of the widest is not told from them."""

_GROWS: Final = 0.5
"""A blend keeps its radius and moves bodily rather than grow: growing counts this much less where either would do."""

_SAME_PLACE: Final = 1e-5
"""Corners of triangles on two surfaces that agree within this, mm, lie on their common edge."""


@dataclass(frozen=True, slots=True, eq=False)
class Corners:
    """Corners of the look-up triangles on a casting's surfaces, each once for every surface, in the surfaces' order.

    Attributes:
        points: (n, 3); surface: (n,) index; uv: (n, 2) surface parameters on free-form faces, NaN elsewhere.
    """

    points: Floats
    surface: Ints
    uv: Floats

    def on(self, surfaces: Sequence[int]) -> Floats:
        """Return the corners (m, 3) on some of the surfaces."""
        return self.points[np.isin(self.surface, surfaces)]


def is_blend(casting: Solid, pieces: Sequence[Surface]) -> bool:
    """Return whether the surfaces of one curved face, not round all about, are a blend: narrow across."""
    return min(_width(s) for s in pieces) <= max(_NARROW * casting.size, _NARROW_LEAST)


def _width(surface: Surface) -> float:
    match surface.kind:
        case "cylinder" | "cone":
            return surface.radius * math.radians(surface.turn)
        case "torus" | "sphere":
            return (surface.minor if surface.kind == "torus" else surface.radius) * math.pi / 2
        case "plane":
            return math.inf
    return math.sqrt(surface.area)


def blend_ways(surface: Surface) -> tuple[Vec3, Vec3]:
    """Return the two directions along which a blend's normals differ: square to a rounding's axis; a torus: its axis first."""
    if surface.kind == "torus":
        frame = frame_facing(surface.origin, surface.axis, _crossing(surface.axis))
        return frame.z, frame.x
    axis = surface.axis if surface.kind in ("cylinder", "cone") else surface.normal
    frame = frame_facing(surface.origin, axis, _crossing(axis))
    return frame.x, frame.y


def _crossing(axis: Vec3) -> Vec3:
    return min((X_AXIS, Y_AXIS, Z_AXIS), key=lambda e: abs(dot(e, axis)))


def followed(walls: WallsLike, corners: Corners, normals: Normals) -> Floats:
    """Return the root (k, m) of the walls' prior with every blend following the walls it joins.

    A blend that joins nothing known keeps its own prior.

    Args:
        normals: gives those of corners.
    """
    root = walls.root.copy()
    blends = [i for i, w in enumerate(walls.walls) if w.form == "blend"]
    if not blends:
        return root
    meets = _contacts(walls, corners, normals, set(blends))
    known = {i for i in range(len(walls.walls)) if i not in set(blends)}
    for _ in range(_ROUNDS):
        now = set(known)
        for i in blends:
            found = _following(walls, i, meets[i], now)
            if found is not None:
                used = found.any(axis=0)
                root[walls.walls[i].first : walls.walls[i].first + 4] = found[:, used] @ root[used]
                known.add(i)
        if known == now:
            break
    return root[:, root.any(axis=0)]


def _following(walls: WallsLike, i: int, meets: tuple[Floats, Ints, Floats], known: set[int]) -> Floats | None:
    """Return how a blend's parameters follow all others' (4, k); None where it joins no known wall."""
    wall, (points, surfaces, normals) = walls.walls[i], meets
    good = np.isin(walls.number[surfaces], sorted(known)) & normals.any(axis=1)
    if not good.any():
        return None
    ways = np.array([wall.u, wall.v, wall.w])
    mine = np.column_stack([np.full(int(good.sum()), _GROWS), normals[good] @ ways.T])
    follow = np.linalg.pinv(mine, rcond=_FLAT) * np.array([_GROWS, 1.0, 1.0, 1.0])[:, None]
    return np.asarray(follow @ walls.rows(points[good], normals[good], surfaces[good]))


def _contacts(walls: WallsLike, corners: Corners, normals: Normals, blends: set[int]) -> dict[int, tuple[Floats, Ints, Floats]]:
    """Return for each blend the points on its edges, the surface of another wall each lies on, and its normal there."""
    steps = np.round(corners.points / _SAME_PLACE)
    chosen = np.unique(np.column_stack([steps, corners.surface]), axis=0, return_index=True)[1]
    place = np.unique(steps[chosen], axis=0, return_inverse=True)[1].ravel()
    order = np.argsort(place, kind="stable")
    ends = np.flatnonzero(np.diff(place[order], prepend=-1, append=-2))
    wall = walls.number[corners.surface[chosen]]
    pairs: dict[int, list[int]] = {i: [] for i in blends}
    for a, b in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
        here = order[a:b].tolist()
        for r in here if b - a > 1 else ():
            mine = int(wall[r])
            if mine in blends:
                pairs[mine] += [o for o in here if wall[o] != mine]
    found = {}
    for i, rows in pairs.items():
        which = chosen[np.array(rows, dtype=np.int64)]
        found[i] = (corners.points[which], corners.surface[which], normals(which))
    return found
