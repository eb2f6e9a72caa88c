"""Where rays meet the skin of a casting or a part.

A ray tree over triangles finds *which* face a ray meets; the face's own plane,
cylinder, cone, sphere or torus then says *where*, in double precision. The few
rays whose face the triangles cannot tell (see `geom.guard`), and those that
meet a free-form face, go to the CAD kernel. Lengths mm, part frame. Knows
nothing of features, stock or required amounts.

A ray that only grazes a curved face, less deep than the chord error, may pass
it by.
"""

from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from geom.analytic import OTHER, PLANE, Bools, Floats, Forms, Ints, corner_shares, crossings, dots, forms, heights
from geom.edge_rays import EdgeRays
from geom.errors import GeometryError
from geom.guard import guard_tubes
from geom.kernel.freeform import FreeForms
from geom.kernel.mesh import Mesh, tessellate_for_rays
from geom.kernel.probe import Probe
from geom.kernel.shape import Solid
from geom.tolerance import WORK_CHORD
from geom.tree import RayTree

_PASSES: Final = 64
"""No real casting has more walls than this along one line."""

_CHUNK: Final = 16384
"""Rays worked on at a time: their arrays stay in the processor's cache."""

_INNER: Final = 5.0
"""Between a face's edges look-up facets may lie this many chord errors off: the form itself sets that right."""

_BACK: Final = 5.0
"""A look-up starts this many facet errors before the ray does: the facet of a crossing just ahead may lie just
behind, and further behind on a slanting ray (5 covers slants down to 12 degrees)."""

_SLIP: Final = 0.05
"""Where the form lies more than this many chord errors behind the facet, another face may come between."""

_ASTRAY: Final = 3.0
"""A place on the form that is more than this many facet errors off the facet is not the place the ray tree meant."""


@dataclass(frozen=True, slots=True, eq=False)
class Hits:
    """Crossings of rays with a skin, one row a ray.

    Attributes:
        distance: mm from the ray's origin; inf where it meets nothing.
        face: index of the solid's surface (of the mesh's `face`); -1 where it meets nothing.
        leaving: True where the ray goes from metal into air.
        facet: mm at which the ray met the look-up triangle; the next crossing lies beyond it.
    """

    distance: Floats
    face: Ints
    leaving: Bools
    facet: Floats


class Skin:
    """The surface of a solid or of a plain mesh, ready for rays."""

    __slots__ = (
        "_centre",
        "_curved",
        "_edges",
        "_forms",
        "_free",
        "_free_forms",
        "_normal",
        "_offset",
        "_probe",
        "_step",
        "_tree",
        "chord",
        "mesh",
        "slack",
        "solid",
    )  # fmt: skip

    def __init__(
        self, source: Solid | Mesh, chord: float = WORK_CHORD, faces: Collection[int] | None = None, inner: float = _INNER
    ) -> None:
        """Build the ray tree.

        Args:
            source: a solid, met exactly; or a closed mesh facing outward, met on its facets.
            chord: chord error, mm, of the look-up triangles along a solid's edges.
            faces: surface indices of the solid that rays meet; all when None.
            inner: how many chord errors its facets may lie off between edges.

        Raises:
            GeometryError: the mesh has no triangles, or a face of the solid gives none.
        """
        self.solid = source if isinstance(source, Solid) else None
        self.mesh = tessellate_for_rays(source, chord, inner * chord, faces) if isinstance(source, Solid) else source
        if not len(self.mesh.triangles):
            raise GeometryError("the mesh has no triangles; scan or export it again")
        self.chord = chord if self.solid else 0.0
        self.slack = inner * self.chord
        self._forms = forms(self.solid.surfaces) if self.solid else None
        self._free_forms = FreeForms(self.solid) if self.solid else None
        self._probe: Probe | None = None
        low, high = self.mesh.vertices.min(axis=0), self.mesh.vertices.max(axis=0)
        self._centre = (low + high) / 2.0
        self._step = max(1e-4, 2e-6 * float(np.linalg.norm(high - low)))
        self._normal, self._offset = _facet_planes(self.mesh.vertices - self._centre, self.mesh.triangles)
        self._curved, self._free = np.zeros(0, dtype=np.bool_), np.zeros(0, dtype=np.bool_)
        if self._forms is not None:
            self._curved, self._free = self._forms.kind != PLANE, self._forms.kind == OTHER
            self._flatten(self._forms)
        self._tree, self._edges = self._guarded_tree(self._forms, self._free_forms)

    def first(self, origins: Floats, directions: Floats, ahead: float = 0.0) -> Hits:
        """Return each ray's first crossing beyond a distance, whichever way it goes.

        Args:
            origins, directions: (n, 3); directions are unit vectors.
            ahead: mm from the origin; a crossing nearer than that does not count.
        """
        return self._beyond(origins, directions, np.full(len(origins), ahead))

    def exits(self, origins: Floats, directions: Floats, ahead: float = 0.0) -> Floats:
        """Return the distance (n,) at which each ray first leaves metal; inf where it never does."""
        return self._first_of(origins, directions, True, ahead).distance

    def entries(self, origins: Floats, directions: Floats, ahead: float = 0.0) -> Floats:
        """Return the distance (n,) at which each ray first enters metal; inf where it never does."""
        return self._first_of(origins, directions, False, ahead).distance

    def every(self, origins: Floats, directions: Floats) -> tuple[Ints, Floats, Bools]:
        """Return every crossing ahead: the row of its ray, its distance, and whether the ray leaves metal there."""
        rows = np.arange(len(origins))
        found: list[tuple[Ints, Floats, Bools]] = [(rows[:0], np.zeros(0), np.zeros(0, dtype=np.bool_))]
        ahead = np.zeros(len(origins))
        for _ in range(_PASSES):
            hits = self._each(origins[rows], directions[rows], ahead)
            met = hits.face >= 0
            rows, ahead = rows[met], np.maximum(hits.facet, hits.distance)[met] + self._step
            if not rows.size:
                break
            found.append((rows, hits.distance[met], hits.leaving[met]))
        return np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found]), np.concatenate([f[2] for f in found])

    def inside(self, points: Floats) -> Bools:
        """Return which points (n, 3) lie in the metal, by the vote of three fixed directions."""
        votes = np.zeros(len(points), dtype=np.int64)
        for direction in _SIGHT_LINES:
            rays = np.tile(direction, (len(points), 1))
            votes += self.first(points, rays).leaving
        return np.asarray(votes >= 2)

    def over(self, points: Floats, normals: Floats, looked_from: Floats | None = None) -> Hits:
        """Return the metal over points along their normals, negative where they stand clear of it.

        Args:
            points: (n, 3) on or about the skin; normals (n, 3): unit, out of the finished part.
            looked_from: (n, 3) where to look up the face instead of at the point itself: a spot
                just inside the rim, so that the rim gets the limit value of its own face.

        Returns:
            Distances: to the first exit ahead for points in metal; minus the distance back to the
            skin for points in air; -inf where a point in air has no metal behind it.
        """
        spots = points if looked_from is None else looked_from
        back = self.reach
        ahead = self._each(spots, normals, np.full(len(points), -back), points)
        self._past_entered(ahead, spots, normals, points)
        distance, face, leaving = ahead.distance, ahead.face, ahead.leaving
        air = np.flatnonzero(~leaving)
        if air.size:
            behind = self._each(spots[air], -normals[air], np.full(air.size, -back), points[air])
            distance[air], face[air] = -behind.distance, behind.face
            thin = air[behind.leaving]
            if thin.size:
                again = self._each(spots[thin], normals[thin], np.full(thin.size, back), points[thin])
                distance[thin], face[thin], leaving[thin] = again.distance, again.face, again.leaving
        return ahead

    def _past_entered(self, found: Hits, spots: Floats, directions: Floats, origins: Floats) -> None:
        """Look on where the skin that a ray seems to enter truly lies behind it: beside a leaning
        curved wall a point in metal can stand outside the facets by their slack."""
        rows = np.flatnonzero((found.face >= 0) & ~found.leaving & (found.distance <= 0))
        for _ in range(_PASSES):
            if not rows.size:
                break
            hits = self._each(spots[rows], directions[rows], found.facet[rows] + self._step, origins[rows])
            _put(found, rows, hits)
            rows = rows[(hits.face >= 0) & ~hits.leaving & (hits.distance <= 0)]

    def facing(self, points: Floats, face: Ints) -> Floats:
        """Return the outward normals (n, 3) of the given faces at points on them; NaN for free-form faces and plain meshes."""
        if self._forms is None:
            return np.full((len(points), 3), np.nan)
        return heights(self._forms, face, points)[1]

    @property
    def reach(self) -> float:
        """How far behind a point, mm, a look-up starts: beyond the facet error, so that none is lost on the skin."""
        return 1.5 * self.chord + self._step

    # --- several crossings along a ray ----------------------------------------

    def _first_of(self, origins: Floats, directions: Floats, leaving: bool, ahead: float) -> Hits:
        found = self.first(origins, directions, ahead)
        wrong = np.flatnonzero((found.face >= 0) & (found.leaving != leaving))
        for _ in range(_PASSES):
            if not wrong.size:
                break
            hits = self._each(origins[wrong], directions[wrong], np.maximum(found.facet[wrong], found.distance[wrong]) + self._step)
            _put(found, wrong, hits)
            wrong = wrong[(hits.face >= 0) & (hits.leaving != leaving)]
        return found

    def _beyond(self, origins: Floats, directions: Floats, ahead: Floats) -> Hits:
        """Return the first crossing whose exact place is beyond `ahead`: the facets may have it a chord error nearer."""
        found = self._each(origins, directions, ahead - _BACK * self.slack - self._step)
        near = np.flatnonzero(found.distance <= ahead)
        for _ in range(_PASSES):
            if not near.size:
                break
            hits = self._each(origins[near], directions[near], found.facet[near] + self._step)
            _put(found, near, hits)
            near = near[hits.distance <= ahead[near]]
        return found

    # --- one crossing ---------------------------------------------------------

    def _each(self, spots: Floats, directions: Floats, ahead: Floats, origins: Floats | None = None) -> Hits:
        """Look up from `spots`, started `ahead` mm on, then solve from `origins`."""
        origins = spots if origins is None else origins
        found = _nothing(len(spots))
        rows, start = None, ahead
        for _ in range(_PASSES):
            guarded, astray = self._round(spots, directions, start, origins, found, rows)
            self._ask_kernel(astray, spots, directions, start, origins, found)
            rows, start = self._past_edges(guarded, spots, directions, start, origins, found)
            if not rows.size:
                break
        return found

    def _round(
        self, spots: Floats, directions: Floats, start: Floats, origins: Floats, found: Hits, rows: Ints | None
    ) -> tuple[Ints, Ints]:
        """Look up all rays, or some rows; return the rows that meet a guard tube, and those the facets mislead."""
        if rows is not None:
            some = _nothing(rows.size)
            guarded, astray = self._block(spots[rows], directions[rows], start[rows], origins[rows], some, 0)
            _put(found, rows, some)
            return rows[guarded], rows[astray]
        guards, strays = [_NO_ROWS], [_NO_ROWS]
        for i in range(0, len(spots), _CHUNK):
            part = slice(i, i + _CHUNK)
            spot = spots[part]
            origin = spot if origins is spots else origins[part]
            guarded, astray = self._block(spot, directions[part], start[part], origin, found, i)
            guards.append(i + guarded)
            strays.append(i + astray)
        return np.concatenate(guards), np.concatenate(strays)

    def _past_edges(
        self, rows: Ints, spots: Floats, directions: Floats, start: Floats, origins: Floats, found: Hits
    ) -> tuple[Ints, Floats]:
        """Settle rays at guard tubes; return the rows that pass by, and where all rays start now."""
        if not rows.size or self._edges is None:
            return _NO_ROWS, start
        answers = self._edges.judged(spots[rows], directions[rows], start[rows])
        self._ask_kernel(rows[answers.doubtful], spots, directions, start, origins, found)
        crossed = np.flatnonzero(~answers.doubtful & (answers.face >= 0))
        self._settle(
            rows[crossed], answers.distance[crossed], answers.face[crossed], answers.leaving[crossed], directions, origins, found
        )
        by = np.flatnonzero(~answers.doubtful & (answers.face < 0))
        start = start.copy()
        start[rows[by]] = answers.beyond[by] + self._step
        return rows[by], start

    def _block(
        self, spots: Floats, directions: Floats, ahead: Floats, origins: Floats, found: Hits, base: int
    ) -> tuple[Ints, Ints]:
        """Fill in one block of answers from row `base` on.

        Returns:
            Rows of the block that meet a guard tube, and rows whose face's form is not where the facet is.
        """
        middle = origins - self._centre
        starts = (middle if spots is origins else spots - self._centre) + ahead[:, None] * directions
        triangle = self._tree.first(starts, directions)
        met = np.flatnonzero((triangle >= 0) & (triangle < len(self._offset)))
        if met.size < len(triangle):
            directions, origins, middle, hit = directions[met], origins[met], middle[met], triangle[met]
        else:
            hit = triangle
        normal, face = self._normal[hit], self.mesh.face[hit]
        speed = dots(directions, normal)
        with np.errstate(divide="ignore", invalid="ignore"):
            flat = (self._offset[hit] - dots(middle, normal)) / speed
        leaving = speed > 0
        into = slice(base, base + len(triangle)) if met.size == len(triangle) else base + met
        found.facet[into], found.face[into], found.leaving[into] = flat, face, leaving
        astray = self._curve(_Met(hit, face, origins, directions, flat, speed))
        found.distance[into] = flat
        return np.flatnonzero(triangle >= len(self._offset)), met[astray]

    def _curve(self, met: "_Met") -> Ints:
        """Move distances to facets of curved faces on to the form itself; return the rows where that fails."""
        if self._forms is None:
            return _NO_ROWS
        rows = np.flatnonzero(self._curved[met.face])
        if not rows.size:
            return rows
        near, speed = met.flat[rows], met.speed[rows]
        exact = crossings(self._forms, met.face[rows], met.origins[rows], met.directions[rows], near, speed > 0)
        free = np.flatnonzero(self._free[met.face[rows]])
        if free.size:
            exact[free] = self._on_free_form(met, rows[free])
        met.flat[rows] = exact
        slip = exact - near
        astray = ~(np.abs(slip * speed) <= _ASTRAY * self.slack)
        long = np.flatnonzero(slip > _SLIP * self.chord)
        if long.size:
            first = (met.origins[rows[long]] - self._centre) + (near[long] + 0.2 * self._step)[:, None] * met.directions[rows[long]]
            astray[long] |= self._tree.within(first, met.directions[rows[long]], slip[long])[0] >= 0
        return rows[astray]

    def _on_free_form(self, met: "_Met", rows: Ints) -> Floats:
        assert self._free_forms is not None
        assert self.mesh.uv is not None
        place = met.origins[rows] + met.flat[rows, None] * met.directions[rows]
        corners = self.mesh.vertices[self.mesh.triangles[met.triangle[rows]]]
        uv = np.einsum("ij,ijk->ik", corner_shares(corners, place), self.mesh.uv[met.triangle[rows]])
        return self._free_forms.crossings(
            met.face[rows], met.origins[rows], met.directions[rows], met.flat[rows], uv, met.speed[rows] > 0
        )

    # --- the kernel's answer --------------------------------------------------

    def _ask_kernel(self, rows: Ints, spots: Floats, directions: Floats, start: Floats, origins: Floats, found: Hits) -> None:
        if not rows.size:
            return
        if self._probe is None:
            assert self.solid is not None
            self._probe = Probe(self.solid)
        asked = zip(spots[rows].tolist(), directions[rows].tolist(), start[rows].tolist(), strict=True)
        answers = [self._probe.first(*row) for row in asked]
        distance = np.array([a.distance if a else np.inf for a in answers])
        face = np.array([a.face if a else -1 for a in answers])
        leaving = np.array([a.leaving if a else False for a in answers])
        self._settle(rows, distance, face, leaving, directions, origins, found)

    def _settle(
        self, rows: Ints, distance: Floats, face: Ints, leaving: Bools, directions: Floats, origins: Floats, found: Hits
    ) -> None:
        """Write down crossings found from the spots, solved from the rays' own origins."""
        assert self._forms is not None
        found.distance[rows] = found.facet[rows] = distance
        found.face[rows], found.leaving[rows] = face, leaving
        met = np.flatnonzero(face >= 0)
        exact = crossings(self._forms, face[met], origins[rows[met]], directions[rows[met]], distance[met], leaving[met])
        found.distance[rows[met]] = np.where(np.isnan(exact), distance[met], exact)

    # --- building -------------------------------------------------------------

    def _flatten(self, f: Forms) -> None:
        """Give the facets of flat faces the face's own plane: their answer is then exact as it stands."""
        rows = np.flatnonzero(f.kind[self.mesh.face] == PLANE)
        face = self.mesh.face[rows]
        self._normal[rows] = f.axis[face]
        self._offset[rows] = dots(f.origin[face] - self._centre, f.axis[face])

    def _guarded_tree(self, f: Forms | None, free: FreeForms | None) -> tuple[RayTree, EdgeRays | None]:
        """Return the tree of facets and guard tubes, and the tubes' own judge."""
        vertices, triangles = self.mesh.vertices - self._centre, self.mesh.triangles
        if f is None or free is None:
            return RayTree(vertices, triangles), None
        tubes = guard_tubes(self.mesh, f, free, self.chord)
        both = np.concatenate([triangles, tubes.triangles + len(vertices)])
        tree = RayTree(np.concatenate([vertices, tubes.vertices - self._centre]), both)
        return tree, EdgeRays(tubes, f, self._centre, self._step) if len(tubes.faces) else None


@dataclass(frozen=True, slots=True, eq=False)
class _Met:
    """Rays that met a facet: which triangle and face, mm to its plane (moved on to the form in place), and d . normal."""

    triangle: Ints
    face: Ints
    origins: Floats
    directions: Floats
    flat: Floats
    speed: Floats


_NO_ROWS: Final = np.zeros(0, dtype=np.int64)

_SIGHT_LINES: Final = tuple(
    np.array(d) / np.linalg.norm(d) for d in ((0.8631, 0.3907, 0.3203), (-0.2719, 0.8845, -0.3792), (-0.4127, -0.3089, 0.8569))
)
"""Three directions, nearly square to each other, that no drawing uses."""


@lru_cache(maxsize=8)
def skin_of(solid: Solid, faces: tuple[int, ...] | None = None) -> Skin:
    """Return the skin of a solid, or of some of its faces, built once: all stages share it."""
    return Skin(solid, faces=faces)


def _nothing(count: int) -> Hits:
    return Hits(np.full(count, np.inf), np.full(count, -1, dtype=np.int64), np.zeros(count, dtype=np.bool_), np.full(count, np.inf))


def _put(found: Hits, rows: Ints, hits: Hits) -> None:
    found.distance[rows], found.face[rows], found.leaving[rows], found.facet[rows] = (
        hits.distance,
        hits.face,
        hits.leaving,
        hits.facet,
    )


def _facet_planes(vertices: Floats, triangles: Ints) -> tuple[Floats, Floats]:
    """Return the facets' outward unit normals (m, 3) and their offsets (m,) from the origin."""
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    size = np.sqrt(dots(normal, normal))
    normal /= np.where(size > 0, size, 1.0)[:, None]
    return normal, dots(a, normal)
