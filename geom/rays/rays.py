"""Where rays meet the skin of a casting or a part.

Exact on planes, cylinders, cones, spheres and tori, to the kernel's own
precision on free-form faces, on the facets of a plain mesh. The next crossing
of a ray is `geom.rays.finder`'s business; here are the questions asked of it: where
a ray leaves or enters metal, what lies inside, how much metal lies over a
point. Lengths mm, part frame. Knows nothing of features or required amounts.

A ray that only grazes a curved face, less deep than the facets' slack, may pass
it by.
"""

from collections.abc import Collection
from dataclasses import replace
from functools import lru_cache, partial
from typing import Final

import numpy as np

from geom.aside import Aside, is_allowed
from geom.errors import GeometryError
from geom.kernel.mesh import Mesh, tessellate_for_rays
from geom.kernel.shape import Solid
from geom.rays.analytic import Bools, Floats, Ints, forms, heights
from geom.rays.finder import Finder, Hits, put
from geom.rays.mesh_tree import AnyTree
from geom.rigid import STAY, Rigid
from geom.space import Frame, Vec3
from geom.tolerance import WORK_CHORD

__all__ = ["Hits", "Skin", "skin_of"]

_PASSES: Final = 64
"""No real casting has more walls than this along one line."""

_INNER: Final = 5.0
"""Between a face's edges look-up facets may lie this many chord errors off: the form itself sets that right."""

_BACK: Final = 5.0
"""A look-up starts this many facet errors before the ray does: the facet of a crossing just ahead may lie just
behind, and further behind on a slanting ray (5 covers slants down to 12 degrees)."""


class Skin:
    """The surface of a solid or of a plain mesh, ready for rays."""

    __slots__ = ("_back", "_finder", "_forms", "_laid", "_mesh", "chord", "slack", "solid")

    def __init__(
        self,
        source: Solid | Mesh,
        chord: float = WORK_CHORD,
        faces: Collection[int] | None = None,
        inner: float = _INNER,
        tree: AnyTree | None = None,
    ) -> None:
        """Build the ray tree.

        Args:
            source: a solid, met exactly; or a closed mesh facing outward, met on its facets.
            chord: chord error, mm, of the look-up triangles along a solid's edges.
            faces: surface indices of the solid that rays meet; all when None.
            inner: how many chord errors its facets may lie off between edges.
            tree: of a plain mesh, where it has been built already (`mesh_tree.tree_of`).

        Raises:
            GeometryError: the mesh has no triangles, or a face of the solid gives none.
        """
        self.solid = source if isinstance(source, Solid) else None
        self._mesh = _meshed(source, chord, inner, faces) if isinstance(source, Solid) else source
        self._laid, self._back = STAY, STAY
        if not len(self._mesh.triangles):
            raise GeometryError("the mesh has no triangles; scan or export it again")
        self.chord = chord if self.solid else 0.0
        self.slack = inner * self.chord
        self._forms = forms(self.solid.surfaces) if self.solid else None
        self._finder = Finder(self._mesh, self.solid, self.chord, self.slack, tree)

    def laid(self, move: Rigid) -> "Skin":
        """Return the skin of a plain mesh moved: the same tree, which is asked with the rays moved back.

        Raises:
            GeometryError: it is the skin of a solid.
        """
        if self.solid is not None:
            raise GeometryError(f"{self.solid.label}: only the skin of a mesh can be laid elsewhere; move the solid itself")
        moved = object.__new__(Skin)
        for name in ("_finder", "_forms", "_mesh", "chord", "slack", "solid"):
            setattr(moved, name, getattr(self, name))
        moved._laid = move.after(self._laid)
        moved._back = moved._laid.inverse()
        return moved

    @property
    def mesh(self) -> Mesh:
        """Its triangles where they lie; worked out anew each time for a skin that was laid elsewhere."""
        return self._mesh if self._laid == STAY else replace(self._mesh, vertices=self._laid.points(self._mesh.vertices))

    @property
    def points(self) -> int:
        """How many points it was measured or meshed by, about."""
        return min(len(self._mesh.vertices), len(self._mesh.triangles))

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
            hits = self._next(origins[rows], directions[rows], ahead)
            met = hits.face >= 0
            rows, ahead = rows[met], np.maximum(hits.facet, hits.distance)[met] + self._finder.step
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
        ahead = self._next(spots, normals, np.full(len(points), -back), points)
        self._past_entered(ahead, spots, normals, points)
        distance, face, leaving = ahead.distance, ahead.face, ahead.leaving
        air = np.flatnonzero(~leaving)
        if air.size:
            behind = self._next(spots[air], -normals[air], np.full(air.size, -back), points[air])
            distance[air], face[air] = -behind.distance, behind.face
            thin = air[behind.leaving]
            if thin.size:
                again = self._next(spots[thin], normals[thin], np.full(thin.size, back), points[thin])
                distance[thin], face[thin], leaving[thin] = again.distance, again.face, again.leaving
        return ahead

    def surely_under(self, face: Ints, normals: Floats, looked_from: Floats) -> Bools:
        """Return over which points (n,) `over` would find a given face, as far as the facets tell; quicker. Not for a laid mesh."""
        first, leaving = self._finder.facets(looked_from, normals, -self.reach)
        found = np.asarray((first == face) & leaving)
        air = np.flatnonzero((first >= -1) & ~leaving)
        behind, out = self._finder.facets(looked_from[air], -normals[air], -self.reach)
        found[air] = (behind == face[air]) & ~out
        return found

    def showing(self, origins: Floats, directions: Floats) -> Ints:
        """Return the face (n,) whose facet each ray from air meets first, -1 for none, -2 by an edge; quicker than `first`, but
        only as far as facets tell. Not for a laid mesh."""
        return self._finder.facets(origins, directions, 0.0)[0]

    def _past_entered(self, found: Hits, spots: Floats, directions: Floats, origins: Floats) -> None:
        """Look on where the skin that a ray seems to enter truly lies behind it: beside a leaning
        curved wall a point in metal can stand outside the facets by their slack."""
        rows = np.flatnonzero((found.face >= 0) & ~found.leaving & (found.distance <= 0))
        for _ in range(_PASSES):
            if not rows.size:
                break
            hits = self._next(spots[rows], directions[rows], found.facet[rows] + self._finder.step, origins[rows])
            put(found, rows, hits)
            rows = rows[(hits.face >= 0) & ~hits.leaving & (hits.distance <= 0)]

    def facing(self, points: Floats, face: Ints) -> Floats:
        """Return the outward normals (n, 3) of the given faces at points on them; NaN for free-form faces and plain meshes."""
        if self._forms is None:
            return np.full((len(points), 3), np.nan)
        return heights(self._forms, face, points)[1]

    @property
    def reach(self) -> float:
        """How far behind a point, mm, a look-up starts: beyond the facet error, so that none is lost on the skin."""
        return 1.5 * self.chord + self._finder.step

    def _next(self, spots: Floats, directions: Floats, ahead: Floats, origins: Floats | None = None) -> Hits:
        """Return each ray's next crossing (`Finder.next`), looked up where the tree was built."""
        if self._back == STAY:
            return self._finder.next(spots, directions, ahead, origins)
        back = self._back
        return self._finder.next(
            back.points(spots), back.directions(directions), ahead, None if origins is None else back.points(origins)
        )

    # --- several crossings along a ray ----------------------------------------

    def _first_of(self, origins: Floats, directions: Floats, leaving: bool, ahead: float) -> Hits:
        found = self.first(origins, directions, ahead)
        wrong = np.flatnonzero((found.face >= 0) & (found.leaving != leaving))
        for _ in range(_PASSES):
            if not wrong.size:
                break
            hits = self._next(
                origins[wrong], directions[wrong], np.maximum(found.facet[wrong], found.distance[wrong]) + self._finder.step
            )
            put(found, wrong, hits)
            wrong = wrong[(hits.face >= 0) & (hits.leaving != leaving)]
        return found

    def _beyond(self, origins: Floats, directions: Floats, ahead: Floats) -> Hits:
        """Return the first crossing whose exact place is beyond `ahead`: the facets may have it a chord error nearer."""
        found = self._next(origins, directions, ahead - _BACK * self.slack - self._finder.step)
        near = np.flatnonzero(found.distance <= ahead)
        for _ in range(_PASSES):
            if not near.size:
                break
            hits = self._next(origins[near], directions[near], found.facet[near] + self._finder.step)
            put(found, near, hits)
            near = near[hits.distance <= ahead[near]]
        return found


_SIGHT_LINES: Final = tuple(
    np.array(d) / np.linalg.norm(d) for d in ((0.8631, 0.3907, 0.3203), (-0.2719, 0.8845, -0.3792), (-0.4127, -0.3089, 0.8569))
)
"""Three directions, nearly square to each other, that no drawing uses."""


_begun: dict[Solid, Aside[Mesh]] = {}


def begin_skin(solid: Solid) -> None:
    """Let the facets of a whole solid be worked out aside; where nothing is done aside, do nothing."""
    if is_allowed() and solid not in _begun:
        _begun[solid] = Aside(partial(tessellate_for_rays, solid, WORK_CHORD, _INNER * WORK_CHORD))


def _meshed(solid: Solid, chord: float, inner: float, faces: Collection[int] | None) -> Mesh:
    """Return the look-up facets of a solid: begun before, or made now."""
    if solid in _begun and faces is None and (chord, inner) == (WORK_CHORD, _INNER):
        return _begun.pop(solid).result()
    return tessellate_for_rays(solid, chord, inner * chord, faces)


@lru_cache(maxsize=8)
def skin_of(solid: Solid, faces: tuple[int, ...] | None = None) -> Skin:
    """Return the skin of a solid, or of some of its faces, built once: all stages share it."""
    return Skin(solid, faces=faces)


@lru_cache(maxsize=256)
def facets_box(solid: Solid, frame: Frame) -> tuple[Vec3, Vec3]:
    """Return the least and greatest corner, in a frame, of the facets of a solid's skin: its own box to within their error."""
    corners = frame.local_points(skin_of(solid).mesh.vertices)
    low, high = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])
