"""Where rays meet the skin of a casting or a part.

A ray tree over triangles finds *which* face a ray meets; the face's own plane,
cylinder, cone, sphere or torus then says *where*, in double precision. Lengths
mm, part frame. Knows nothing of features, stock or required amounts.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np

from geom.analytic import Bools, Floats, Ints, crossings, dots, forms
from geom.errors import GeometryError
from geom.kernel.mesh import Mesh, tessellate
from geom.kernel.shape import Solid
from geom.tolerance import WORK_CHORD

_PASSES: Final = 64
"""No real casting has more walls than this along one line."""

_CHUNK: Final = 16384
"""Rays worked on at a time: their arrays stay in the processor's cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Hits:
    """First crossings of rays with a skin, one row a ray.

    Attributes:
        distance: mm from the ray's origin; inf where it meets nothing.
        face: index of the solid's surface (of the mesh's `face`); -1 where it meets nothing.
        leaving: True where the ray goes from metal into air.
    """

    distance: Floats
    face: Ints
    leaving: Bools


class Skin:
    """The surface of a solid or of a plain mesh, ready for rays."""

    __slots__ = ("_centre", "_forms", "_normal", "_offset", "_scene", "_step", "chord", "mesh", "solid")

    def __init__(self, source: Solid | Mesh, chord: float = WORK_CHORD) -> None:
        """Build the ray tree.

        Args:
            source: a solid, met exactly on its analytic faces; or a mesh, met on its facets.
            chord: chord error, mm, of the look-up triangles of a solid.

        Raises:
            GeometryError: the mesh has no triangles, or a face of the solid gives none.
        """
        self.solid = source if isinstance(source, Solid) else None
        self.mesh = tessellate(source, chord) if isinstance(source, Solid) else source
        self.chord = chord if self.solid else 0.0
        if not len(self.mesh.triangles):
            raise GeometryError("the mesh has no triangles; scan or export it again")
        self._forms = forms(self.solid.surfaces) if self.solid else None
        self._normal, self._offset = _facet_planes(self.mesh)
        low, high = self.mesh.vertices.min(axis=0), self.mesh.vertices.max(axis=0)
        self._centre = (low + high) / 2.0
        self._step = max(1e-4, 2e-6 * float(np.linalg.norm(high - low)))
        self._scene = _ray_tree(self.mesh.vertices - self._centre, self.mesh.triangles)

    def first(self, origins: Floats, directions: Floats, ahead: float = 0.0) -> Hits:
        """Return each ray's first crossing, whichever way it goes.

        Args:
            origins, directions: (n, 3); directions are unit vectors.
            ahead: look-up starts this many mm further on (behind, when negative).
        """
        return self._each(origins, directions, np.full(len(origins), ahead))

    def exits(self, origins: Floats, directions: Floats) -> Floats:
        """Return the distance (n,) at which each ray first leaves metal; inf where it never does."""
        return self._first_of(origins, directions, True).distance

    def entries(self, origins: Floats, directions: Floats) -> Floats:
        """Return the distance (n,) at which each ray first enters metal; inf where it never does."""
        return self._first_of(origins, directions, False).distance

    def inside(self, points: Floats) -> Bools:
        """Return which points (n, 3) lie in the metal, by the vote of three fixed directions."""
        votes = np.zeros(len(points), dtype=np.int64)
        for direction in _SIGHT_LINES:
            rays = np.tile(direction, (len(points), 1))
            votes += self._next_beyond(points, rays).leaving
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
        distance, face, leaving = ahead.distance.copy(), ahead.face.copy(), ahead.leaving.copy()
        air = np.flatnonzero(~leaving)
        if air.size:
            behind = self._each(spots[air], -normals[air], np.full(air.size, -back), points[air])
            distance[air], face[air] = -behind.distance, behind.face
            thin = air[behind.leaving]
            if thin.size:
                again = self._each(spots[thin], normals[thin], np.full(thin.size, back), points[thin])
                distance[thin], face[thin], leaving[thin] = again.distance, again.face, again.leaving
        return Hits(distance, face, leaving)

    @property
    def reach(self) -> float:
        """How far behind a point, mm, a look-up starts: beyond the facet error, so that none is lost on the skin."""
        return 1.5 * self.chord + self._step

    # --- inside ---------------------------------------------------------------

    def _first_of(self, origins: Floats, directions: Floats, leaving: bool) -> Hits:
        found = self.first(origins, directions)
        open_ = np.flatnonzero((found.face >= 0) & (found.leaving != leaving))
        for _ in range(_PASSES):
            if not open_.size:
                break
            starts = found.distance[open_] + self._step
            hits = self._each(origins[open_], directions[open_], starts)
            _put(found, open_, hits)
            open_ = open_[(hits.face >= 0) & (hits.leaving != leaving)]
        return found

    def _next_beyond(self, points: Floats, directions: Floats) -> Hits:
        """Return the first crossing whose *refined* distance is beyond the point itself."""
        starts = np.full(len(points), -self.reach)
        found = self._each(points, directions, starts)
        behind = np.flatnonzero(found.distance <= 0)
        for _ in range(_PASSES):
            if not behind.size:
                break
            starts[behind] = np.maximum(found.distance[behind], starts[behind]) + self._step
            hits = self._each(points[behind], directions[behind], starts[behind])
            _put(found, behind, hits)
            behind = behind[hits.distance <= 0]
        return found

    def _each(self, spots: Floats, directions: Floats, ahead: Floats, origins: Floats | None = None) -> Hits:
        """Look up from `spots` (started `ahead` mm on), then solve from `origins`."""
        origins = spots if origins is None else origins
        blocks = [
            self._block(spots[i : i + _CHUNK], directions[i : i + _CHUNK], ahead[i : i + _CHUNK], origins[i : i + _CHUNK])
            for i in range(0, len(spots), _CHUNK)
        ]
        if not blocks:
            return Hits(np.zeros(0), np.zeros(0, np.int64), np.zeros(0, np.bool_))
        if len(blocks) == 1:
            return blocks[0]
        return Hits(*(np.concatenate([getattr(b, name) for b in blocks]) for name in ("distance", "face", "leaving")))

    def _block(self, spots: Floats, directions: Floats, ahead: Floats, origins: Floats) -> Hits:
        starts = spots + ahead[:, None] * directions - self._centre
        triangle = self._scene.run(starts.astype(np.float32), directions.astype(np.float32)).astype(np.int64)
        distance = np.full(len(spots), np.inf)
        face = np.full(len(spots), -1, dtype=np.int64)
        leaving = np.zeros(len(spots), dtype=np.bool_)
        met = np.flatnonzero(triangle >= 0)
        hit = triangle[met]
        normal, d = self._normal[hit], directions[met]
        speed = dots(d, normal)
        with np.errstate(divide="ignore", invalid="ignore"):
            flat = (self._offset[hit] - dots(spots[met] - self._centre, normal)) / speed
        face[met], leaving[met] = self.mesh.face[hit], speed > 0
        distance[met] = self._solved(face[met], origins[met], d, flat, leaving[met])
        return Hits(distance, face, leaving)

    def _solved(self, face: Ints, origins: Floats, directions: Floats, flat: Floats, leaving: Bools) -> Floats:
        if self._forms is None:
            return flat
        exact = crossings(self._forms, face, origins, directions, flat, leaving)
        return np.asarray(np.where(np.isnan(exact), flat, exact))


_SIGHT_LINES: Final = tuple(
    np.array(d) / np.linalg.norm(d) for d in ((0.8631, 0.3907, 0.3203), (-0.2719, 0.8845, -0.3792), (-0.4127, -0.3089, 0.8569))
)
"""Three directions, nearly square to each other, that no drawing uses."""


@lru_cache(maxsize=8)
def skin_of(solid: Solid, chord: float = WORK_CHORD) -> Skin:
    """Return the skin of a solid, built once: recognising and measuring share it."""
    return Skin(solid, chord)


def _put(found: Hits, rows: Ints, hits: Hits) -> None:
    found.distance[rows], found.face[rows], found.leaving[rows] = hits.distance, hits.face, hits.leaving


def _facet_planes(mesh: Mesh) -> tuple[Floats, Floats]:
    """Return the facets' outward unit normals (m, 3) and offsets (m,) from the mesh's own middle."""
    middle = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2.0
    a, b, c = (mesh.vertices[mesh.triangles[:, i]] - middle for i in range(3))
    normal = np.cross(b - a, c - a)
    size = np.sqrt(dots(normal, normal))
    normal /= np.where(size > 0, size, 1.0)[:, None]
    return normal, dots(a, normal)


def _ray_tree(vertices: Floats, triangles: Ints) -> Any:
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene

    scene = EmbreeScene()
    TriangleMesh(scene, vertices.astype(np.float32), triangles.astype(np.int32))
    return scene
