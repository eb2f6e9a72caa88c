"""Where a named feature is pointed at: a hole at its mouth, a face as far inside its edges as it goes.

Points of the finished part in a frame, mm. Knows nothing of balloons.
"""

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from geom.model.part import Part, PartHole
from geom.rays.rays import skin_of
from geom.space import Frame, Vec3


def hole_of(part: Part, name: str) -> PartHole | None:
    """Return the hole of a name; None where it is a face's."""
    return next((hole for hole in part.holes if hole.name == name), None)


def spot_on(part: Part, name: str, frame: Frame) -> Vec3:
    """Return a point of a feature in a frame.

    Args:
        name: of a face or a hole of the part.
    """
    hole = hole_of(part, name)
    if hole is not None:
        return frame.local(hole.centre)
    mesh = skin_of(part.finished).mesh
    mine = mesh.triangles[np.isin(mesh.face, surfaces_of(part, name))]
    x, y, z = _innermost(frame.local_points(mesh.vertices), mine).tolist()
    return (x, y, z)


def surfaces_of(part: Part, name: str) -> tuple[int, ...]:
    """Return the surfaces of the finished part that a face or a hole has."""
    hole = hole_of(part, name)
    return hole.surfaces if hole is not None else next(face.surfaces for face in part.faces if face.name == name)


def _innermost(points: npt.NDArray[np.float64], triangles: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """Return the middle of a triangle, or of an edge between two, that lies furthest from the border of them all."""
    sides = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    edges, count = np.unique(sides, axis=0, return_counts=True)
    border = points[edges[count == 1]].mean(axis=1)
    places = np.concatenate([points[triangles].mean(axis=1), points[edges[count == 2]].mean(axis=1)])
    if not len(border):
        return np.asarray(places[0])
    border = np.concatenate([border, points[np.unique(edges[count == 1])]])
    away, _ = cKDTree(border).query(places)
    return np.asarray(places[int(np.argmax(np.round(away, 3)))])
