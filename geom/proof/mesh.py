"""The casting as a mesh that loses one row after the other: what each row takes, and what is left or missing at the end.

Booleans of closed meshes, so that no near-coincident CAD boolean is asked.
Facets lie a chord error off, so nothing here decides whether a face is right:
it says how much a row cuts, how high, and where to look. mm, mm3, part frame
unless said. Knows sweeps and meshes; nothing of faces, names or tolerances.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import TYPE_CHECKING, Final

import numpy as np

from geom.errors import GeometryError
from geom.kernel.mesh import Mesh
from geom.proof.sweep import Sweep
from geom.rays.analytic import Floats
from geom.rows.records import Box
from geom.space import Frame
from geom.tolerance import WORK_CHORD

if TYPE_CHECKING:
    import manifold3d

_ABOVE: Final = 10.0
"""mm a sweep goes on above the highest metal."""

_FEWEST: Final = 24
"""Corners of the narrowest cutter's outline."""

_LEAST_FACET: Final = 1e-3
"""mm2: a smaller facet is a sliver of the facet error."""

_MOST_SPOTS: Final = 8000

_LUMP, _NO_FILM = 5.0, 0.3
"""mm3 and mean thickness, mm, above which a separate piece of metal is no facet error."""


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """What one row took.

    Attributes:
        volume: mm3.
        thickness: mean, mm: twice the volume by its surface; 0 for nothing.
        top: height of its highest point above the sweep's lowest, mm.
    """

    volume: float
    thickness: float
    top: float


NOTHING: Final = Taken(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Rest:
    """Metal that one body has and another has not.

    Attributes:
        volume, area: of the metal, mm3, and of its skin, mm2.
        spots: (n, 3) the middles of its facets, the widest first.
        lumps: volume and corners (n, 3) of each separate piece that is more than a film of facet error.
    """

    volume: float
    area: float
    spots: Floats = field(repr=False)
    lumps: tuple[tuple[float, Floats], ...] = field(default=(), repr=False)


class Stuff:
    """Metal that is cut away row by row.

    Each row is held against the whole body less the earlier sweeps that come near: cost goes with the number of rows.
    """

    __slots__ = ("_body", "_cuts")

    def __init__(self, mesh: Mesh, label: str) -> None:
        """Take over a closed mesh.

        Raises:
            GeometryError: it is not closed.
        """
        self._body = _solid(mesh, label)
        self._cuts: list[tuple[float, manifold3d.Manifold]] = []

    @property
    def volume(self) -> float:
        """Of the metal before any cut, mm3."""
        return float(self._body.volume())

    def cut(self, sweep: Sweep) -> Taken:
        """Take a sweep away and return what it took."""
        tool = _body(sweep, sweep.z, _ceiling(self._body, sweep), 0.0)
        if tool is None:
            return NOTHING
        piece = self._still_there(tool)
        self._cuts.append((sweep.z, tool))
        volume = max(float(piece.volume()), 0.0)
        if volume <= 0.0:
            return NOTHING
        heights = sweep.table.frame.local_points(_corners(piece))[:, 2]
        return Taken(volume, 2.0 * volume / float(piece.surface_area()), float(heights.max()) - sweep.z)

    def under(self, sweep: Sweep, height: float, radius: float) -> float:
        """Return the volume met by a plain cylinder that moves with the sweep, from a height above its lowest point up."""
        low, high = sweep.z + height, _ceiling(self._body, sweep)
        tool = _body(sweep, low, high, radius) if low < high - _ABOVE else None
        return 0.0 if tool is None else max(float(self._still_there(tool).volume()), 0.0)

    def in_box(self, frame: Frame, box: Box, deep: float) -> float:
        """Return the volume that stands deeper than `deep` in a box of a set-up's frame."""
        sides = [(low + deep, high - deep) for low, high in zip(box.low, box.high, strict=True)]
        if any(low >= high for low, high in sides):
            return 0.0
        corners = np.array([[x[0], x[1], x[2]] for x in product(*sides)])
        return max(float(self._still_there(_hull(frame.part_points(corners))).volume()), 0.0)

    def compared(self, other: "Stuff") -> tuple[Rest, Rest]:
        """Return what is left of this that the other has not, and what the other has that this lost."""
        import manifold3d

        left = manifold3d.Manifold.batch_boolean([self._body, *(tool for _, tool in self._cuts)], manifold3d.OpType.Subtract)
        over = left - other._body
        return replace(_rest(over), lumps=_lumps(over)), _rest(other._body - left)

    def _still_there(self, tool: "manifold3d.Manifold") -> "manifold3d.Manifold":
        """Return the metal in a tool's body that no earlier row took; the deepest rows first, as they leave least to do."""
        piece = self._body ^ tool
        for _, cut in sorted(self._cuts, key=lambda pair: pair[0]):
            if piece.is_empty():
                break
            if _meet(piece.bounding_box(), cut.bounding_box()):
                piece = piece - cut
        return piece


def left_by(sweeps: Sequence[Sweep], mesh: Mesh, label: str) -> Mesh:
    """Return what sweeps leave of a closed mesh; triangles that a cutter made belong to face -1.

    Raises:
        GeometryError: it is not closed.
    """
    import manifold3d

    own = manifold3d.Manifold.reserve_ids(1)
    body = manifold3d.Manifold(
        manifold3d.Mesh64(
            mesh.vertices,
            mesh.triangles.astype(np.uint64),
            face_id=(mesh.face + 1).astype(np.uint64),
            run_index=np.array([0, 3 * len(mesh.triangles)], dtype=np.uint64),
            run_original_id=np.array([own], dtype=np.uint32),
        )
    )
    _check(body, label)
    tools = [tool for sweep in sweeps if (tool := _body(sweep, sweep.z, _ceiling(body, sweep), 0.0)) is not None]
    found = manifold3d.Manifold.batch_boolean([body, *tools], manifold3d.OpType.Subtract).to_mesh64()
    corners = np.array(found.tri_verts, dtype=np.int64).reshape(-1, 3)
    places = np.array(found.vert_properties, dtype=np.float64).reshape(len(found.vert_properties), -1)[:, :3]
    runs = np.diff(np.array(found.run_index, dtype=np.int64) // 3)
    old = np.repeat(np.array(found.run_original_id, dtype=np.int64) == own, runs)
    return Mesh(np.ascontiguousarray(places), corners, np.where(old, np.array(found.face_id, dtype=np.int64) - 1, -1))


def _lumps(body: "manifold3d.Manifold") -> tuple[tuple[float, Floats], ...]:
    """Return the pieces of a body that are no film, the largest first."""
    pieces = [piece for piece in body.decompose() if piece.volume() > _LUMP]
    thick = [piece for piece in pieces if 2.0 * piece.volume() / piece.surface_area() > _NO_FILM]
    found = [(float(piece.volume()), _corners(piece)) for piece in thick]
    return tuple(sorted(found, key=lambda one: (-round(one[0], 3), *one[1].min(axis=0).round(3).tolist())))


def _meet(a: Sequence[float], b: Sequence[float]) -> bool:
    return all(a[i] <= b[i + 3] and b[i] <= a[i + 3] for i in range(3))


def _rest(body: "manifold3d.Manifold") -> Rest:
    mesh = body.to_mesh64()
    places = np.array(mesh.vert_properties, dtype=np.float64).reshape(-1, 3)
    corners = places[np.array(mesh.tri_verts, dtype=np.int64).reshape(-1, 3)]
    areas = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    order = np.argsort(-areas, kind="stable")
    wide = order[areas[order] > _LEAST_FACET][:_MOST_SPOTS]
    return Rest(max(float(body.volume()), 0.0), float(areas.sum()), corners[wide].mean(axis=1))


def _solid(mesh: Mesh, label: str) -> "manifold3d.Manifold":
    import manifold3d

    body = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices, mesh.triangles.astype(np.uint64)))
    _check(body, label)
    return body


def _check(body: "manifold3d.Manifold", label: str) -> None:
    import manifold3d

    if body.status() != manifold3d.Error.NoError or body.is_empty():
        raise GeometryError(f"{label}: its look-up mesh is not closed, so nothing is proved; rebuild the solid in the CAD program")


def _corners(body: "manifold3d.Manifold") -> Floats:
    return np.array(body.to_mesh64().vert_properties, dtype=np.float64).reshape(-1, 3)


def _ceiling(body: "manifold3d.Manifold", sweep: Sweep) -> float:
    """Return a height, set-up frame, above all metal."""
    box = np.array(body.bounding_box()).reshape(2, 3)
    corners = np.array([[box[i, 0], box[j, 1], box[k, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    return float(sweep.table.frame.local_points(corners)[:, 2].max()) + _ABOVE


def _body(sweep: Sweep, low: float, high: float, radius: float) -> "manifold3d.Manifold | None":
    """Return the sweep (radius 0) or a plain cylinder along its move as a body; None where it stands above all metal."""
    if high <= low:
        return None
    wide = radius or sweep.radius
    levels = [(low, wide), (high, wide)]
    if not radius and sweep.point:
        levels = [(low, 0.0), (low + sweep.point, wide), (max(high, low + sweep.point + 1.0), wide)]
    corners = _FEWEST if wide <= 2 * WORK_CHORD else max(_FEWEST, math.ceil(math.pi / math.acos(1.0 - WORK_CHORD / wide)))
    turn = np.linspace(0.0, 2.0 * math.pi, corners, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    centres = [sweep.start] if sweep.start == sweep.end else [sweep.start, sweep.end]
    points = np.concatenate([_circle(centre, z, r * ring if r else ring[:1] * 0.0) for centre in centres for z, r in levels])
    return _hull(sweep.table.frame.part_points(points))


def _circle(centre: tuple[float, float], z: float, ring: Floats) -> Floats:
    return np.column_stack([np.array(centre) + ring, np.full(len(ring), z)])


def _hull(points: Floats) -> "manifold3d.Manifold":
    import manifold3d

    return manifold3d.Manifold.hull_points(np.ascontiguousarray(points))
