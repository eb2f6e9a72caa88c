"""Where a named feature is pointed at: a hole at its mouth, a face well inside its edges.

Points of the finished part in a frame, mm. Knows nothing of balloons.
"""

import numpy as np
import numpy.typing as npt

from geom.model.part import Part
from geom.rays.rays import skin_of
from geom.space import Frame, Vec3


def spot_on(part: Part, name: str, frame: Frame) -> Vec3:
    """Return a point of a feature in a frame.

    Args:
        name: of a face or a hole of the part.
    """
    hole = next((hole for hole in part.holes if hole.name == name), None)
    if hole is not None:
        return frame.local(hole.centre)
    mesh = skin_of(part.finished).mesh
    corners = frame.local_points(mesh.vertices)[mesh.triangles[np.isin(mesh.face, surfaces_of(part, name))]]
    x, y, z = corners[_roomiest(corners)].mean(axis=0).tolist()
    return (x, y, z)


def surfaces_of(part: Part, name: str) -> tuple[int, ...]:
    """Return the surfaces of the finished part that a face or a hole has."""
    hole = next((hole.surfaces for hole in part.holes if hole.name == name), None)
    return hole or next(face.surfaces for face in part.faces if face.name == name)


def _roomiest(corners: npt.NDArray[np.float64]) -> int:
    """Return the triangle with the largest circle in it: the one furthest from being a sliver along an edge."""
    sides = [np.linalg.norm(corners[:, i] - corners[:, (i + 1) % 3], axis=1) for i in range(3)]
    wide = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    return int(np.argmax(np.round(wide / np.maximum(sum(sides), 1e-12), 6)))
