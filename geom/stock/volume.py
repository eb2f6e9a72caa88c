"""How much metal is cut away, and how much is missing.

Where the finished part lies inside the casting, swarf is one exact volume less
another. Where it does not, the missing metal is summed over columns of rays,
and a mesh boolean must agree; swarf then follows from the same book-keeping.
mm3. Knows nothing of faces' names or required amounts.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.kernel.probe import shell_count
from geom.model.part import Part
from geom.rays.rays import Skin, skin_of
from geom.rays.sample import scattered_points
from geom.space import Vec3
from geom.stock.columns import shortage_by_columns
from geom.stock.depth import Depth
from geom.stock.flush import FLUSH, standing_out

_ROUNDING: Final = 1e-6
"""Swarf below this share of its own error is the last digit of two equal volumes."""


@dataclass(frozen=True, slots=True)
class Volumes:
    """mm3 to cut away and missing, what both may be out by, and how they were found."""

    swarf: float
    shortage: float
    error: float
    method: str


def volumes(part: Part, depth: Depth, least: float, way: Vec3) -> Volumes:
    """Return what is cut away and what is missing.

    Args:
        depth: the part in its casting, ready to be measured.
        least: the least stock on the machined faces, mm.
        way: the outward normal of the face that is short over most of its area.
    """
    books = part.casting.volume - part.finished.volume
    sound = least >= -FLUSH and not (shell_count(part.casting) > 1 and _holds_a_hollow(part))
    missing = standing_out(part, depth) if sound else None
    if missing is not None:
        return Volumes(books, 0.0, missing, "book-keeping (casting less part), the part found inside the casting")
    casting, finished = (Skin(solid, inner=1.0) for solid in (part.casting, part.finished))
    columns = shortage_by_columns(casting, finished, way)
    meshes = _shortage_by_meshes(casting, finished)
    return _agreed(books, columns, meshes)


def _agreed(books: float, columns: tuple[float, float], meshes: tuple[float, float] | None) -> Volumes:
    shortage, error = columns
    method = "columns of rays for the missing metal, the rest by book-keeping"
    if meshes is None:
        verdict = "no mesh check was possible"
    elif abs(shortage - meshes[0]) <= error + meshes[1]:
        verdict = "a mesh boolean agrees within its facet error"
    else:
        error = abs(shortage - meshes[0])
        verdict = f"a mesh boolean differs by {error:.0f} mm3"
    swarf = books + shortage
    return Volumes(swarf if swarf > error * _ROUNDING else 0.0, shortage, error, f"{method}; {verdict}")


# --- is the part inside the casting? ----------------------------------------


def _holds_a_hollow(part: Part) -> bool:
    """Return whether a hollow wholly inside the casting lies in the finished part's metal."""
    casting = skin_of(part.casting).mesh
    samples = scattered_points(part.casting, casting, range(len(part.casting.surfaces)), 0.0)
    clear = samples.points + FLUSH * samples.normals
    return bool(skin_of(part.finished).inside(clear).any())


# --- the check by meshes ----------------------------------------------------


def _shortage_by_meshes(casting: Skin, finished: Skin) -> tuple[float, float] | None:
    """Return the volume of part less casting and its facet error, mm3; None when a mesh is not closed."""
    import manifold3d

    meshes = [manifold3d.Mesh64(s.mesh.vertices, s.mesh.triangles.astype(np.uint64)) for s in (finished, casting)]
    bodies = [manifold3d.Manifold(mesh) for mesh in meshes]
    if any(body.status() != manifold3d.Error.NoError or body.is_empty() for body in bodies):
        return None
    left = bodies[0] - bodies[1]
    return float(left.volume()), float(left.surface_area()) * casting.chord
