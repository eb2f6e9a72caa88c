"""Where rays meet free-form faces, found from a near guess.

Newton's method on the kernel's own surface: three or four evaluations a ray,
where the kernel's general intersector takes a hundred times as long. Knows
nothing of trimming: the guess says which face it is. Lengths mm, part frame.
"""

from typing import Any, Final, TypeAlias

import numpy as np
import numpy.typing as npt

from geom.kernel.shape import Solid, faces_of
from geom.tolerance import kernel_noise

from OCP.BRep import BRep_Tool  # isort: skip
from OCP.TopAbs import TopAbs_REVERSED  # isort: skip
from OCP.gp import gp_Pnt, gp_Vec  # isort: skip

_Floats: TypeAlias = npt.NDArray[np.float64]
_Ints: TypeAlias = npt.NDArray[np.int64]

_ROUNDS: Final = 12
"""A guess on a look-up triangle needs three or four; a dozen that do not settle never will."""

_OVERHANG: Final = 0.02
"""Share of a surface's parameter range by which an answer may lie outside it: a rim's own limit may."""


class FreeForms:
    """The free-form faces of a solid, ready for rays."""

    __slots__ = ("_faces", "_noise", "_surfaces")

    def __init__(self, solid: Solid) -> None:
        self._faces = faces_of(solid.shape)
        self._noise = kernel_noise(solid.size)
        self._surfaces: dict[int, tuple[Any, float, tuple[float, ...]]] = {}

    def crossings(self, face: _Ints, origins: _Floats, directions: _Floats, near: _Floats, uv: _Floats, leaving: Any) -> _Floats:
        """Return where each ray crosses its face's surface, mm from its origin.

        Args:
            face: (n,) surface index; near: (n,) and uv: (n, 2): a guess at the distance and the surface parameters.
            leaving: (n,) True for the crossing from metal into air.

        Returns:
            Distances (n,); NaN where the guess leads nowhere, or to a crossing the other way.
        """
        columns = zip(
            face.tolist(), origins.tolist(), directions.tolist(), near.tolist(), uv.tolist(), leaving.tolist(), strict=True
        )
        return np.array([self._crossing(*row) for row in columns], dtype=np.float64)

    def at(self, face: _Ints, uv: _Floats) -> tuple[_Floats, _Floats]:
        """Return the points (n, 3) and outward unit normals (n, 3) of faces at surface parameters (n, 2)."""
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        places, normals = np.empty((len(face), 3)), np.empty((len(face), 3))
        for i, (index, (u, v)) in enumerate(zip(face.tolist(), uv.tolist(), strict=True)):
            surface, side, _ = self._surface(index)
            surface.D1(u, v, point, du, dv)
            places[i], normals[i] = point.Coord(), du.Crossed(dv).Multiplied(side).Coord()
        size = np.linalg.norm(normals, axis=1)
        return places, normals / np.where(size > 0, size, 1.0)[:, None]

    def _crossing(self, face: int, o: list[float], d: list[float], t: float, uv: list[float], leaving: bool) -> float:
        surface, side, bounds = self._surface(face)
        point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
        u, v = uv
        for _ in range(_ROUNDS):
            surface.D1(u, v, point, du, dv)
            (px, py, pz), (ax, ay, az), (bx, by, bz) = point.Coord(), du.Coord(), dv.Coord()
            rx, ry, rz = px - o[0] - t * d[0], py - o[1] - t * d[1], pz - o[2] - t * d[2]
            nx, ny, nz = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
            across = nx * d[0] + ny * d[1] + nz * d[2]
            if across == 0.0:
                return np.nan
            if rx * rx + ry * ry + rz * rz < self._noise * self._noise:
                settled = bounds[0] <= u <= bounds[1] and bounds[2] <= v <= bounds[3]
                return t if settled and (across * side > 0) == leaving else np.nan
            t += (nx * rx + ny * ry + nz * rz) / across
            qx, qy, qz = d[1] * rz - d[2] * ry, d[2] * rx - d[0] * rz, d[0] * ry - d[1] * rx
            u -= (bx * qx + by * qy + bz * qz) / across
            v += (ax * qx + ay * qy + az * qz) / across
        return np.nan

    def _surface(self, face: int) -> tuple[Any, float, tuple[float, ...]]:
        """Return the face's surface, +1 or -1 for the side its outward normal is on, and how far its parameters may go."""
        if face not in self._surfaces:
            shape = self._faces[face]
            surface = BRep_Tool.Surface_s(shape)
            u0, u1, v0, v1 = surface.Bounds()
            wide, high = _OVERHANG * (u1 - u0), _OVERHANG * (v1 - v0)
            side = -1.0 if shape.Orientation() == TopAbs_REVERSED else 1.0
            self._surfaces[face] = (surface, side, (u0 - wide, u1 + wide, v0 - high, v1 + high))
        return self._surfaces[face]
