"""The casting's skin as walls that may lie off their drawn place, and the skin over each named face.

A wall is one face of the casting. How far it lies off (mm along its outward
normal, + = proud) is linear in a few numbers: an offset; for planes also two
tilts, given as mm at the wall's rim; for round walls also two sideways shifts,
mm (a core that moved). Roundings and fillets have no will of their own: they
follow the walls they join as they move bodily (geom/received/blends.py). Lengths mm, part frame. Knows nothing of readings.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Final, Literal, TypeAlias

import numpy as np

from geom.errors import ReadingError
from geom.kernel.freeform import FreeForms
from geom.kernel.probe import project
from geom.kernel.shape import Solid, Surface
from geom.model.part import Part, PartFace
from geom.rays.analytic import Floats, Forms, Ints, dots, forms, heights
from geom.rays.rays import skin_of
from geom.rays.sample import surface_samples
from geom.received.blends import Corners, blend_ways, followed, is_blend
from geom.received.priors import dimension_sigma, distance_to_others, half_of, lean_sigma, mismatch_root
from geom.recognise.face_groups import face_groups
from geom.recognise.walls import shares_axis
from geom.settings.parting import Parting
from geom.space import X_AXIS, Y_AXIS, Z_AXIS, Vec3, cross, dot, frame_facing

Form: TypeAlias = Literal["plane", "round", "blend", "plain"]

_ALL_ROUND: Final = 179.99
"""Degrees round its axis from which a wall is a boss or a bore, not a fillet."""

_ACROSS: Final = 60.0
"""About this many samples across the part."""

_MEETS: Final = 50
"""Newton's steps along a line to the skin."""

_RIM_SHARE: Final = 0.02
"""A wall under less than this share of a face's area is met past the rim only and is not the skin over that face."""


@dataclass(frozen=True, slots=True)
class Wall:
    """One wall of the casting's skin.

    Attributes:
        surfaces: indices into `Part.casting.surfaces`.
        form: "plane" (offset and two tilts), "round" (offset and two shifts), "blend" (offset and three) or "plain" (offset only).
        u, v: unit directions of tilts or shifts; w: of a blend's third.
        reach: mm from `centroid` at which tilts count in full, along u and v; 1 for round walls.
        sigma: of the offset, mm, from the casting tolerance grade; sigma_turn: of both tilts or shifts; without mismatch.
        half: of the mould: 1 above the parting plane, -1 below, 0 both or unknown.
        first: its first column among the parameters.
    """

    surfaces: tuple[int, ...]
    form: Form
    centroid: Vec3
    u: Vec3
    v: Vec3
    reach: tuple[float, float]
    sigma: float
    sigma_turn: tuple[float, float]
    half: int
    first: int

    @property
    def columns(self) -> int:
        """How many parameters it has."""
        return {"plain": 1, "blend": 4}.get(self.form, 3)

    @property
    def w(self) -> Vec3:
        """The third direction, square to the two others."""
        return cross(self.u, self.v)


@dataclass(frozen=True, slots=True, eq=False)
class Walls:
    """All walls of one casting.

    Attributes:
        number: (surfaces,) which wall each surface belongs to.
        prior: (k,) standard deviation, mm, of every parameter before any reading.
        root: (k, m) those parameters from m independent unit draws: one each, but blends follow their walls, and the two
            last draws shift the halves of the mould.
    """

    casting: Solid
    walls: tuple[Wall, ...]
    number: Ints
    prior: Floats
    root: Floats

    def rows(self, points: Floats, normals: Floats, surfaces: Ints) -> Floats:
        """Return how the skin's offset at points changes with each parameter (n, k)."""
        first, own = self.own_rows(points, normals, surfaces)
        jacobian = np.zeros((len(points), len(self.prior)))
        for column in range(own.shape[1]):
            rows = np.flatnonzero(own[:, column])
            jacobian[rows, first[rows] + column] = own[rows, column]
        return jacobian

    def own_rows(self, points: Floats, normals: Floats, surfaces: Ints) -> tuple[Ints, Floats]:
        """Return the same without the nought of other walls: the first parameter of each point's wall (n,), and its four (n, 4)."""
        number = self.number[surfaces]
        first, own = np.zeros(len(points), dtype=np.int64), np.zeros((len(points), 4))
        own[:, 0] = 1.0
        for i in np.unique(number).tolist():
            wall, rows = self.walls[i], np.flatnonzero(number == i)
            first[rows] = wall.first
            if wall.form == "plain":
                continue
            away = points[rows] - np.array(wall.centroid) if wall.form == "plane" else normals[rows]
            own[rows, 1] = away @ np.array(wall.u) / wall.reach[0]
            own[rows, 2] = away @ np.array(wall.v) / wall.reach[1]
            if wall.form == "blend":
                own[rows, 3] = away @ np.array(wall.w)
        return first, own


@lru_cache(maxsize=16)
def walls_of(casting: Solid, grade: int, parting: Parting | None = None) -> Walls:
    """Return the walls of a casting with what is known of them before any reading (geom/received/priors.py).

    Args:
        grade: DCTG 1 to 16 of ISO 8062-3.
        parting: the parting plane; None when not known: then the halves do not shift.

    Raises:
        StandardError: no such grade, or it has no value at any size of this casting.
    """
    groups = sorted(face_groups(casting, lambda _i, _j: True))
    number = np.zeros(len(casting.surfaces), dtype=np.int64)
    walls: list[Wall] = []
    for i, surfaces in enumerate(groups):
        number[list(surfaces)] = i
        first = walls[-1].first + walls[-1].columns if walls else 0
        walls.append(_wall(casting, tuple(surfaces), grade, parting, first))
    own = np.array([s for w in walls for s in (w.sigma, *w.sigma_turn, w.sigma_turn[0])[: w.columns]])
    halves = mismatch_root(
        np.concatenate([_ways(casting, w) for w in walls]), np.array([w.half for w in walls for _ in range(w.columns)]), grade,
        2 if parting is None else parting.axis,
    )  # fmt: skip
    apart = Walls(casting, tuple(walls), number, own, np.hstack([_own_root(casting, walls, own), halves]))
    corners = _corners(casting)
    root = followed(apart, corners, partial(_normals_at, casting, corners))
    return replace(apart, prior=np.sqrt(np.einsum("ij,ij->i", root, root)), root=root)


def _wall(casting: Solid, surfaces: tuple[int, ...], grade: int, parting: Parting | None, first: int) -> Wall:
    best = max((casting.surfaces[i] for i in surfaces), key=lambda s: (s.area, -s.index))
    pieces = [casting.surfaces[i] for i in surfaces]
    area = sum(s.area for s in pieces)
    x, y, z = (sum(s.area * s.centroid[i] for s in pieces) / area for i in range(3))
    form = _form(casting, best, pieces)
    axis = best.normal if form == "plain" else best.axis
    frame = frame_facing((x, y, z), axis, min((X_AXIS, Y_AXIS, Z_AXIS), key=lambda e: abs(dot(e, axis))))
    corners = _corners(casting).on(surfaces)
    half = half_of(corners, parting)
    spread = np.abs(frame.local_points(corners)).max(axis=0)
    size = 2.0 * max(spread[0], spread[1]) if form == "round" else _extent(casting, axis)
    largest = _largest(casting)
    sigma = dimension_sigma(size, largest, grade) / 2**0.5
    if form == "round":
        apart = max(size, distance_to_others(casting, (x, y, z), axis, parting))
        shift = dimension_sigma(apart, largest, grade) / 2**0.5
        return Wall(surfaces, form, (x, y, z), frame.x, frame.y, (1.0, 1.0), sigma / 2**0.5, (shift, shift), half, first)
    if form == "blend":
        u, v = blend_ways(best)
        return Wall(surfaces, form, (x, y, z), u, v, (1.0, 1.0), sigma, (sigma, sigma), half, first)
    reach = (float(max(spread[0], 1.0)), float(max(spread[1], 1.0)))
    lean = lean_sigma(largest, grade)
    return Wall(surfaces, form, (x, y, z), frame.x, frame.y, reach, sigma, (lean * reach[0], lean * reach[1]), half, first)


def _form(casting: Solid, best: Surface, pieces: Sequence[Surface]) -> Form:
    if best.kind == "plane":
        return "plane"
    if best.kind in ("cylinder", "cone") and sum(s.turn for s in pieces) >= _ALL_ROUND:
        return "round"
    return "blend" if is_blend(casting, pieces) else "plain"


def _own_root(casting: Solid, walls: Sequence[Wall], own: Floats) -> Floats:
    """Return the root (k, k) with one draw a parameter, but outside walls round one axis shifting together.

    Both halves of a boss were one boss on the pattern (common practice, no source).
    """
    root = np.diag(own)
    pieces = [(w, casting.surfaces[w.surfaces[0]]) for w in walls if w.form == "round"]
    bosses = [(w, s) for w, s in pieces if not s.hollow]
    for i, (wall, surface) in enumerate(bosses):
        first = next(w for w, s in bosses[: i + 1] if w is wall or shares_axis(surface, s))
        if first is not wall:
            turn = np.array([wall.u, wall.v]) @ np.array([first.u, first.v]).T
            root[wall.first + 1 : wall.first + 3] = turn @ root[first.first + 1 : first.first + 3]
    return root


def _ways(casting: Solid, wall: Wall) -> Floats:
    """Return how a wall's parameters change as it moves without turning (columns, 3)."""
    ways = np.zeros((wall.columns, 3))
    if wall.form == "plane":
        ways[0] = casting.surfaces[wall.surfaces[0]].axis
    elif wall.form != "plain":
        ways[1:] = (wall.u, wall.v, wall.w)[: wall.columns - 1]
    return ways


@lru_cache(maxsize=4)
def _corners(casting: Solid) -> Corners:
    """Return the corners of the look-up triangles on each surface."""
    mesh = skin_of(casting).mesh
    owner, corner = np.repeat(mesh.face, 3), mesh.triangles.ravel()
    first = np.unique(owner * len(mesh.vertices) + corner, return_index=True)[1]
    uv = np.full((len(first), 2), np.nan) if mesh.uv is None else mesh.uv.reshape(-1, 2)[first]
    return Corners(mesh.vertices[corner[first]], owner[first], uv)


def _normals_at(casting: Solid, corners: Corners, rows: Ints) -> Floats:
    """Return the outward normals (n, 3) of the skin at corners; 0 in the tip of a free-form face."""
    surface, points = corners.surface[rows], corners.points[rows]
    normals = heights(_forms_of(casting), surface, points)[1]
    free = np.flatnonzero(np.isnan(normals[:, 0]))
    if free.size:
        normals[free] = FreeForms(casting).at(surface[free], corners.uv[rows[free]])[1]
    return normals


def _extent(casting: Solid, way: Vec3) -> float:
    along = skin_of(casting).mesh.vertices @ np.array(way)
    return float(along.max() - along.min())


@lru_cache(maxsize=16)
def _largest(casting: Solid) -> float:
    size = np.subtract(casting.box[1], casting.box[0])
    return _extent(casting, (X_AXIS, Y_AXIS, Z_AXIS)[int(np.argmax(size))])


# --- points on the skin -----------------------------------------------------


def over_skin(casting: Solid, surfaces: Ints, points: Floats) -> tuple[Floats, Floats]:
    """Return each point's height, mm, over its (untrimmed) skin surface, and the outward normals there."""
    high, normal = heights(_forms_of(casting), surfaces, points)
    free = np.isnan(high)
    for index in np.unique(surfaces[free]).tolist():
        rows = np.flatnonzero(surfaces == index)
        foot, normal[rows] = project(casting, index, points[rows])
        high[rows] = np.einsum("ij,ij->i", points[rows] - foot, normal[rows])
    return high, normal


@lru_cache(maxsize=16)
def _forms_of(casting: Solid) -> Forms:
    return forms(casting.surfaces)


def meets(casting: Solid, surfaces: Ints, points: Floats, ways: Floats) -> tuple[Floats, Floats]:
    """Return where lines through points (n, 3) meet skin surfaces next to them, and the outward normals there.

    NaN where a line runs along its surface.
    """
    spots, normals = np.full(points.shape, np.nan), np.full(points.shape, np.nan)
    rows, at = np.arange(len(points)), points.astype(np.float64)
    good = np.isfinite(at).all(axis=1) & np.isfinite(ways).all(axis=1)
    for _ in range(_MEETS):
        rows, at = rows[good], at[good]
        if not rows.size:
            break
        high, normal = over_skin(casting, surfaces[rows], at)
        there = np.abs(high) < 1e-11 * (1.0 + np.abs(at).max(axis=1))
        spots[rows[there]], normals[rows[there]] = at[there], normal[there]
        speed = dots(normal, ways[rows])
        good = ~there & (np.abs(speed) >= 0.05)
        at = at - (high / np.where(good, speed, 1.0))[:, None] * ways[rows]
    return spots, normals


# --- the skin over a named face ---------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class FaceSkin:
    """The raw skin over one face, as points.

    Attributes:
        points, normals: (m, 3) on the casting's skin.
        surface: (m,) index of the casting's surface.
        area: (m,) mm2 of the finished face each point stands for.
    """

    name: str
    points: Floats
    normals: Floats
    surface: Ints
    area: Floats

    @property
    def surfaces(self) -> tuple[int, ...]:
        """The casting's surfaces over the face, the one over most of it first."""
        share = {int(i): float(self.area[self.surface == i].sum()) for i in np.unique(self.surface)}
        return tuple(sorted(share, key=lambda i: (-round(share[i], 6), i)))

    @property
    def middle(self) -> Vec3:
        """The middle of its points by area."""
        x, y, z = (self.area @ self.points / self.area.sum()).tolist()
        return (x, y, z)

    def nearest(self, point: Floats, way: Floats | None = None) -> int:
        """Return the row of the nearest point; of the nearest to the line through `point` along `way`."""
        gap = self.points - point
        if way is not None:
            gap = gap - np.outer(gap @ way, way)
        return int(np.argmin(np.round(np.einsum("ij,ij->i", gap, gap), 9)))


def spacing_of(part: Part) -> float:
    """Return the sample spacing, mm, for the skin over named faces."""
    return part.casting.size / _ACROSS


@lru_cache(maxsize=512)
def face_skin(part: Part, name: str) -> FaceSkin:
    """Return the skin over a face: of a machined face the raw skin met along its normal, of an as-cast face itself.

    Raises:
        ReadingError: the casting has no skin over that face: it is cut from solid.
    """
    face = next(f for f in part.faces if f.name == name)
    owner = dict.fromkeys(face.surfaces, 0)
    samples = surface_samples(part.finished, spacing_of(part), sorted(owner), owner)
    samples = samples.of(samples.area > 0)
    hits = skin_of(part.casting).over(samples.points, samples.normals, samples.looked_from)
    good = (hits.face >= 0) & np.isfinite(hits.distance) & (hits.distance <= _farthest(face, part))
    if not good.any():
        raise ReadingError(f"{name}: is cut from solid, so the casting has no skin over it; measure another face")
    spots = samples.points[good] + hits.distance[good, None] * samples.normals[good]
    surface, area = hits.face[good], samples.area[good]
    common = np.bincount(surface, area)[surface] >= _RIM_SHARE * area.sum()
    spots, surface, area = spots[common], surface[common], area[common]
    return FaceSkin(name, spots, over_skin(part.casting, surface, spots)[1], surface, area)


def _farthest(face: PartFace, part: Part) -> float:
    """Return the stock, mm, beyond which a face counts as cut from solid: the axis of a bore, a quarter of the part."""
    limit = part.casting.size / 4.0
    return min(limit, 0.999 * face.radius) if face.hollow and face.radius > 0 else limit
