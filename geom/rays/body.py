"""Closed bodies of triangles: joined, cut, split, moved and measured.

The only place where prints are put together from meshes: no CAD boolean of
nearly coincident skins is asked. A body keeps no face names and lies a facet
error off the solid it came from; it is never the ground of a verdict on a
machined face. mm, mm2, mm3. Knows nothing of printers, fixtures or patterns.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import manifold3d
import numpy as np
import numpy.typing as npt

from geom.errors import GeometryError
from geom.kernel.mesh import Mesh
from geom.space import Vec3

Floats: TypeAlias = npt.NDArray[np.float64]

Outline: TypeAlias = Sequence[tuple[float, float]]
"""Corners of a closed outline, mm, counter-clockwise; the last joins the first."""


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """Metal or plastic enclosed by triangles; may be several pieces, may be empty."""

    solid: Any = field(repr=False)

    def __add__(self, other: "Body") -> "Body":
        """Return both bodies as one."""
        return Body(self.solid + other.solid)

    def __sub__(self, other: "Body") -> "Body":
        """Return this body without the other."""
        return Body(self.solid - other.solid)

    def __and__(self, other: "Body") -> "Body":
        """Return what both bodies share."""
        return Body(self.solid ^ other.solid)

    @property
    def is_empty(self) -> bool:
        return bool(self.solid.is_empty())

    @property
    def volume(self) -> float:
        return float(self.solid.volume())

    @property
    def area(self) -> float:
        return float(self.solid.surface_area())

    @property
    def box(self) -> tuple[Vec3, Vec3]:
        """Least and greatest corner."""
        x0, y0, z0, x1, y1, z1 = self.solid.bounding_box()
        return (x0, y0, z0), (x1, y1, z1)

    def moved(self, turn: Floats, shift: Sequence[float]) -> "Body":
        """Return the body with every point p at `turn @ p + shift`; `turn` is (3, 3) and may scale or mirror."""
        return Body(self.solid.transform(np.column_stack([np.asarray(turn, float), np.asarray(shift, float)])))

    def split(self, normal: Sequence[float], offset: float) -> tuple["Body", "Body"]:
        """Return the parts where n.p >= offset and where n.p <= offset."""
        ahead, behind = self.solid.split_by_plane(tuple(normal), offset)
        return Body(ahead), Body(behind)

    def pieces(self) -> tuple["Body", ...]:
        """Return the separate pieces, by their least corner."""
        return tuple(sorted((Body(piece) for piece in self.solid.decompose()), key=lambda body: body.box))

    def mesh(self) -> Mesh:
        """Return the triangles; every one is face 0."""
        found = self.solid.to_mesh64()
        vertices = np.array(found.vert_properties, dtype=np.float64)[:, :3]
        triangles = np.array(found.tri_verts, dtype=np.int64).reshape(-1, 3)
        return Mesh(np.ascontiguousarray(vertices), triangles, np.zeros(len(triangles), dtype=np.int64))

    def outlines_at(self, height: float) -> list[Floats]:
        """Return the closed outlines (n, 2) of the body cut at a Z; those round metal run counter-clockwise."""
        return [np.asarray(outline) for outline in self.solid.slice(height).to_polygons()]

    def shadow(self) -> list[Floats]:
        """Return the closed outlines (n, 2) of the body seen along Z."""
        return [np.asarray(outline) for outline in self.solid.project().to_polygons()]


def body_of(mesh: Mesh, label: str) -> Body:
    """Return a closed mesh as a body.

    Raises:
        GeometryError: the mesh is not closed or faces inwards.
    """
    body = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices, mesh.triangles.astype(np.uint64)))
    if body.status() != manifold3d.Error.NoError or body.is_empty() or not body.volume() > 0:
        raise GeometryError(
            f"{label}: its facets do not close up round metal, so nothing can be printed from it; heal it and read it again"
        )
    return Body(body)


def empty() -> Body:
    """Return a body without metal."""
    return Body(manifold3d.Manifold())


def block(low: Vec3, high: Vec3) -> Body:
    """Return the box between two corners."""
    size = tuple(b - a for a, b in zip(low, high, strict=True))
    return Body(manifold3d.Manifold.cube(size).translate(low))


def rod(foot: Vec3, radius: float, height: float, chord: float, top_radius: float | None = None) -> Body:
    """Return an upright cylinder, or cone, that stands on a point; its facets lie within `chord` of it, inside."""
    widest = max(radius, radius if top_radius is None else top_radius)
    top = radius if top_radius is None else top_radius
    return Body(manifold3d.Manifold.cylinder(height, radius, top, corners_of(widest, chord)).translate(foot))


def corners_of(radius: float, chord: float) -> int:
    """Return how many corners bring a circle's facets within `chord`; a multiple of four."""
    if chord >= radius:
        return 12
    return max(12, 4 * math.ceil(math.pi / math.acos(1.0 - chord / radius) / 4.0))


def prism(outlines: Iterable[Outline], bottom: float, top: float) -> Body:
    """Return outlines carried from one Z to another; outlines inside others are holes."""
    section = manifold3d.CrossSection([np.asarray(outline, float) for outline in outlines], manifold3d.FillRule.EvenOdd)
    return Body(manifold3d.Manifold.extrude(section, top - bottom).translate((0.0, 0.0, bottom)))


def hull(points: Floats) -> Body:
    """Return the convex body round points (n, 3)."""
    return Body(manifold3d.Manifold.hull_points(np.ascontiguousarray(points, dtype=np.float64)))


def joined(bodies: Iterable[Body]) -> Body:
    """Return many bodies as one."""
    return Body(manifold3d.Manifold.batch_boolean([body.solid for body in bodies], manifold3d.OpType.Add))
