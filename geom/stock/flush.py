"""Whether the faces that are not machined stand out of the casting.

An as-cast face is compared with the casting's own surfaces as numbers; where
no surface is the same, and on hole walls and free-form faces, a few points are
measured. Lengths mm. Knows nothing of names or required amounts.
"""

from typing import Final

import numpy as np

from geom.kernel.mesh import tessellate_for_rays
from geom.kernel.shape import Solid, Surface
from geom.model.part import Part
from geom.rays.analytic import Floats, forms, heights
from geom.rays.rays import skin_of
from geom.rays.sample import Samples, scattered_points
from geom.stock.depth import Depth
from geom.tolerance import kernel_noise

FLUSH: Final = 1e-3
"""A finished face that stands out of the casting by less than this, mm, is its skin: STEP files are no more exact."""

_GLANCE: Final = 0.2
"""Chord error, mm, of triangles that as-cast faces are looked over by; twice that from their edges."""

_ANGLES: Final = np.array([0.3, 2.4, 4.5])
"""Three directions about an axis, radians: two surfaces that agree there agree all round."""


def standing_out(part: Part, depth: Depth) -> float | None:
    """Return the metal, mm3, by which as-cast faces and hole walls stand out of the casting; None when that is more than noise."""
    state = {index: face.state for face in part.faces for index in face.surfaces}
    surfaces = part.finished.surfaces
    cast = [s.index for s in surfaces if state.get(s.index, "as cast") == "as cast"]
    off = _off_the_casting([surfaces[i] for i in cast], part.casting)
    total = sum(surfaces[i].area * d for i, d in zip(cast, off, strict=True) if d <= FLUSH)
    rest = [i for i, d in zip(cast, off, strict=True) if not d <= FLUSH]
    holes = [i for i, s in state.items() if s == "hole"]
    looks = []
    if holes and depth.cut is not None:
        looks.append(scattered_points(part.finished, depth.cut.mesh, holes, 0.0))
    if rest:
        mesh = tessellate_for_rays(part.finished, _GLANCE, _GLANCE, rest)
        looks.append(scattered_points(part.finished, mesh, rest, 2.0 * _GLANCE))
    for samples in looks:
        out = _out(part, samples)
        if out is None:
            return None
        total += out
    return total


def _out(part: Part, samples: Samples) -> float | None:
    if not len(samples.face):
        return 0.0
    out = -skin_of(part.casting).over(samples.points, samples.normals).distance
    if out.max() > FLUSH:
        return None
    return float(samples.area @ np.where(out > kernel_noise(part.finished.size), out, 0.0))


def _off_the_casting(faces: list[Surface], casting: Solid) -> list[float]:
    """Return how far each face's surface is from the nearest of the casting's, 0 within kernel noise; inf for free-form faces."""
    table, noise = forms(casting.surfaces), kernel_noise(casting.size)
    found = []
    for face in faces:
        alike = np.array([s.index for s in casting.surfaces if (s.kind, s.hollow) == (face.kind, face.hollow)], dtype=np.int64)
        spots = _spots(face)
        if spots is None or not alike.size:
            found.append(np.inf)
            continue
        high, _ = heights(table, np.repeat(alike, len(spots)), np.tile(spots, (len(alike), 1)))
        gap = float(np.abs(high).reshape(len(alike), -1).max(axis=1).min())
        found.append(gap if gap > noise else 0.0)
    return found


def _spots(face: Surface) -> Floats | None:
    """Return points that settle a surface, on it, as far apart as the face is large; None for a free-form face."""
    axis, origin = np.array(face.axis), np.array(face.origin)
    x = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    x /= np.linalg.norm(x)
    out = np.outer(np.cos(_ANGLES), x) + np.outer(np.sin(_ANGLES), np.cross(axis, x))
    match face.kind:
        case "plane":
            return np.asarray(np.array(face.centroid) + out * np.sqrt(face.area))
        case "sphere":
            return np.concatenate([origin + face.radius * out, [origin + face.radius * axis]])
        case "torus":
            ring = origin + face.radius * out
            return np.concatenate([ring + face.minor * out, ring - face.minor * out, ring + face.minor * axis])
        case "cylinder" | "cone":
            tangent = np.tan(np.radians(face.half_angle))
            ends = [origin + u * axis + (face.radius + u * tangent) * out for u in face.extent]
            return np.asarray(np.concatenate(ends))
    return None
