"""The next crossing of each ray with a skin.

A ray tree over triangles finds which face a ray meets; the face's own form
then says where. A ray that meets a guard tube (`geom.rays.guard`) is judged by the
two faces of that edge (`geom.rays.edge_rays`); one that neither settles goes to the
CAD kernel. Lengths mm, part frame.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.kernel.freeform import FreeForms
from geom.kernel.mesh import Mesh
from geom.kernel.probe import Probe
from geom.kernel.shape import Solid
from geom.rays.analytic import OTHER, PLANE, Bools, Floats, Forms, Ints, corner_shares, crossings, dots, forms
from geom.rays.edge_rays import EdgeRays
from geom.rays.guard import guard_tubes
from geom.rays.mesh_tree import AnyTree, box_middle, mesh_tree
from geom.rays.tree import RayTree

_PASSES: Final = 64
"""No real casting has more edges close to one line."""

_CHUNK: Final = 16384
"""Rays worked on at a time: their arrays stay in the processor's cache."""

_SLIP: Final = 0.05
"""Where the form lies more than this many chord errors behind the facet, another face may come between."""

_ASTRAY: Final = 3.0
"""A place on the form that is more than this many facet errors off the facet is not the place the ray tree meant."""

_NO_ROWS: Final = np.zeros(0, dtype=np.int64)


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


def nothing(count: int) -> Hits:
    """Return the answers of rays that meet nothing."""
    return Hits(np.full(count, np.inf), np.full(count, -1, dtype=np.int64), np.zeros(count, dtype=np.bool_), np.full(count, np.inf))


def put(found: Hits, rows: Ints, hits: Hits) -> None:
    """Write answers into some rows."""
    found.distance[rows], found.face[rows], found.leaving[rows], found.facet[rows] = (
        hits.distance,
        hits.face,
        hits.leaving,
        hits.facet,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Met:
    """Rays that met a facet: which triangle and face, mm to its plane (moved on to the form in place), and d . normal."""

    triangle: Ints
    face: Ints
    origins: Floats
    directions: Floats
    flat: Floats
    speed: Floats


class Finder:
    """The triangles of a skin and what lies behind them, ready for rays."""

    __slots__ = (
        "_centre", "_chord", "_curved", "_edges", "_forms", "_free", "_free_forms", "_mesh", "_planes", "_probe",
        "_slack", "_solid", "_tree", "step",
    )  # fmt: skip

    def __init__(self, mesh: Mesh, solid: Solid | None, chord: float, slack: float, tree: AnyTree | None = None) -> None:
        """Build the ray tree.

        Args:
            solid: what the mesh stands for; None for a plain mesh.
            chord, slack: mm by which facets may lie off it along edges and between them.
            tree: of a plain mesh, about `box_middle`; built when None.
        """
        self._mesh, self._solid, self._chord, self._slack = mesh, solid, chord, slack
        self._forms = forms(solid.surfaces) if solid else None
        self._free_forms = FreeForms(solid) if solid else None
        self._probe: Probe | None = None
        low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
        self._centre = box_middle(mesh.vertices)
        self.step = max(1e-4, 2e-6 * float(np.linalg.norm(high - low)))
        self._planes = None if solid is None else _facet_planes(mesh.vertices, mesh.triangles, self._centre)
        self._curved, self._free = np.zeros(0, dtype=np.bool_), np.zeros(0, dtype=np.bool_)
        if self._forms is not None:
            self._curved, self._free = self._forms.kind != PLANE, self._forms.kind == OTHER
            self._flatten(self._forms)
        self._tree, self._edges = (tree, None) if tree is not None else self._guarded_tree(self._forms, self._free_forms)

    def next(self, spots: Floats, directions: Floats, ahead: Floats, origins: Floats | None = None) -> Hits:
        """Return each ray's next crossing.

        Args:
            spots, directions: (n, 3) where rays are looked up from, and unit directions.
            ahead: (n,) mm from the spots at which the look-up starts.
            origins: (n, 3) where distances are solved and counted from; the spots when None.
        """
        origins = spots if origins is None else origins
        found = nothing(len(spots))
        rows, start = None, ahead
        for _ in range(_PASSES):
            guarded, astray = self._round(spots, directions, start, origins, found, rows)
            self._ask_kernel(astray, spots, directions, start, origins, found)
            rows, start = self._past_edges(guarded, spots, directions, start, origins, found)
            if not rows.size:
                break
        return found

    def facets(self, spots: Floats, directions: Floats, ahead: float) -> tuple[Ints, Bools]:
        """Return the face whose facet each ray meets first, -1 for none and -2 by an edge, and whether it leaves metal there."""
        triangle = self._tree.first(spots - self._centre + ahead * directions, directions)
        face, leaving = np.minimum(triangle, -1), np.zeros(len(triangle), dtype=np.bool_)
        face[triangle >= len(self._mesh.triangles)] = -2
        met = np.flatnonzero((triangle >= 0) & (triangle < len(self._mesh.triangles)))
        face[met] = self._mesh.face[triangle[met]]
        leaving[met] = dots(directions[met], self._planes_of(triangle[met])[0]) > 0
        return face, leaving

    def _round(
        self, spots: Floats, directions: Floats, start: Floats, origins: Floats, found: Hits, rows: Ints | None
    ) -> tuple[Ints, Ints]:
        """Look up all rays, or some rows; return the rows that meet a guard tube, and those the facets mislead."""
        if rows is not None:
            some = nothing(rows.size)
            guarded, astray = self._block(spots[rows], directions[rows], start[rows], origins[rows], some, 0)
            put(found, rows, some)
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
        start[rows[by]] = answers.beyond[by] + self.step
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
        met = np.flatnonzero((triangle >= 0) & (triangle < len(self._mesh.triangles)))
        if met.size < len(triangle):
            directions, origins, middle, hit = directions[met], origins[met], middle[met], triangle[met]
        else:
            hit = triangle
        (normal, offset), face = self._planes_of(hit), self._mesh.face[hit]
        speed = dots(directions, normal)
        with np.errstate(divide="ignore", invalid="ignore"):
            flat = (offset - dots(middle, normal)) / speed
        leaving = speed > 0
        into = slice(base, base + len(triangle)) if met.size == len(triangle) else base + met
        found.facet[into], found.face[into], found.leaving[into] = flat, face, leaving
        astray = self._curve(_Met(hit, face, origins, directions, flat, speed))
        found.distance[into] = flat
        return np.flatnonzero(triangle >= len(self._mesh.triangles)), met[astray]

    def _planes_of(self, hit: Ints) -> tuple[Floats, Floats]:
        """Return the planes of some facets; a plain mesh may have millions, of which few are ever met: its are not kept."""
        if self._planes is not None:
            return self._planes[0][hit], self._planes[1][hit]
        return _facet_planes(self._mesh.vertices, self._mesh.triangles[hit], self._centre)

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
        astray = ~(np.abs(slip * speed) <= _ASTRAY * self._slack)
        long = np.flatnonzero(slip > _SLIP * self._chord)
        if long.size:
            first = (met.origins[rows[long]] - self._centre) + (near[long] + 0.2 * self.step)[:, None] * met.directions[rows[long]]
            assert isinstance(self._tree, RayTree)
            astray[long] |= self._tree.within(first, met.directions[rows[long]], slip[long])[0] >= 0
        return rows[astray]

    def _on_free_form(self, met: "_Met", rows: Ints) -> Floats:
        assert self._free_forms is not None
        assert self._mesh.uv is not None
        place = met.origins[rows] + met.flat[rows, None] * met.directions[rows]
        corners = self._mesh.vertices[self._mesh.triangles[met.triangle[rows]]]
        uv = np.einsum("ij,ijk->ik", corner_shares(corners, place), self._mesh.uv[met.triangle[rows]])
        return self._free_forms.crossings(
            met.face[rows], met.origins[rows], met.directions[rows], met.flat[rows], uv, met.speed[rows] > 0
        )

    # --- the kernel's answer --------------------------------------------------

    def _ask_kernel(self, rows: Ints, spots: Floats, directions: Floats, start: Floats, origins: Floats, found: Hits) -> None:
        if not rows.size:
            return
        if self._probe is None:
            assert self._solid is not None
            self._probe = Probe(self._solid)
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
        rows = np.flatnonzero(f.kind[self._mesh.face] == PLANE)
        face = self._mesh.face[rows]
        assert self._planes is not None
        self._planes[0][rows] = f.axis[face]
        self._planes[1][rows] = dots(f.origin[face] - self._centre, f.axis[face])

    def _guarded_tree(self, f: Forms | None, free: FreeForms | None) -> tuple[AnyTree, EdgeRays | None]:
        """Return the tree of facets and guard tubes, and the tubes' own judge."""
        vertices, triangles = self._mesh.vertices - self._centre, self._mesh.triangles
        if f is None or free is None:
            return mesh_tree(vertices, triangles), None
        tubes = guard_tubes(self._mesh, f, free, self._chord)
        both = np.concatenate([triangles, tubes.triangles + len(vertices)])
        tree = RayTree(np.concatenate([vertices, tubes.vertices - self._centre]), both)
        return tree, EdgeRays(tubes, f, self._centre, self.step) if len(tubes.faces) else None


def _facet_planes(vertices: Floats, triangles: Ints, centre: Floats) -> tuple[Floats, Floats]:
    """Return the facets' outward unit normals (m, 3) and their offsets (m,) from a point."""
    a, b, c = (vertices.take(triangles[:, i], axis=0) - centre for i in range(3))
    (p, q, r), (x, y, z) = (b - a).T, (c - a).T
    normal = np.empty((len(triangles), 3))
    normal[:, 0], normal[:, 1], normal[:, 2] = q * z - r * y, r * x - p * z, p * y - q * x
    size = np.sqrt(dots(normal, normal))
    normal /= np.where(size > 0, size, 1.0)[:, None]
    return normal, dots(a, normal)
