"""How far places are from a part's faces: on coarse facets, close enough to tell ways round apart.

Lengths mm, part frame. Knows nothing of scans or poses.
"""

from collections.abc import Mapping
from functools import lru_cache
from typing import Final

import numpy as np

from geom.kernel.mesh import tessellate_for_rays
from geom.model.part import Part
from geom.rays.analytic import Floats, corner_shares

_CHORD: Final = 0.2
"""mm between a facet and its face: far below what a raw skin lies off."""


@lru_cache(maxsize=4)
def facets_of(part: Part) -> Mapping[str, Floats]:
    """Return the corners (n, 3, 3) of facets on each face of a finished part."""
    mesh = tessellate_for_rays(part.finished, _CHORD, _CHORD)
    corners = mesh.vertices[mesh.triangles]
    return {face.name: corners[np.isin(mesh.face, face.surfaces)] for face in part.faces}


def nearest_place(facets: Floats, point: Floats) -> Floats:
    """Return the place (3,) on facets (n, 3, 3) nearest to a point (3,)."""
    shares = corner_shares(facets, np.tile(point, (len(facets), 1)))
    within = (shares >= 0.0).all(axis=1)
    flat = np.einsum("ij,ijk->ik", shares[within], facets[within])
    sides = np.roll(facets, -1, axis=1) - facets
    square = np.maximum(np.einsum("ijk,ijk->ij", sides, sides), 1e-300)
    along = np.clip(np.einsum("ijk,ijk->ij", point - facets, sides) / square, 0.0, 1.0)
    places = np.concatenate([flat, (facets + along[:, :, None] * sides).reshape(-1, 3)])
    return np.asarray(places[int(np.argmin(np.linalg.norm(places - point, axis=1)))])


def apart(facets: Floats, point: Floats) -> float:
    """Return how far, mm, a point (3,) is from facets."""
    return float(np.linalg.norm(nearest_place(facets, point) - point))
