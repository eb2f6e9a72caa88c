"""A rigid move: a turn and then a shift.

Knows nothing of what is moved. Lengths mm; a turn is given as a rotation vector
(axis times angle), degrees.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from geom.space import AXIS_NOISE, ORIGIN, Vec3, add, dot, sub

Rows = tuple[Vec3, Vec3, Vec3]

_FULL: Rows = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class Rigid:
    """The move p -> rotation p + shift.

    Attributes:
        rotation: three rows of a proper rotation.
        shift: mm.
    """

    rotation: Rows = _FULL
    shift: Vec3 = ORIGIN

    def __post_init__(self) -> None:
        matrix = np.array(self.rotation, dtype=np.float64)
        if matrix.shape != (3, 3) or not np.isfinite(matrix).all() or not np.isfinite(self.shift).all():
            raise ValueError(f"rotation {self.rotation} with shift {self.shift} is not a move")
        if np.abs(matrix @ matrix.T - np.eye(3)).max() > AXIS_NOISE or np.linalg.det(matrix) < 0:
            raise ValueError(f"{self.rotation} is not a rotation")

    @property
    def matrix(self) -> npt.NDArray[np.float64]:
        """The rotation as an array (3, 3)."""
        return np.array(self.rotation)

    def point(self, p: Vec3) -> Vec3:
        """Return where a point goes."""
        return add(self.direction(p), self.shift)

    def direction(self, d: Vec3) -> Vec3:
        """Return which way a direction points afterwards."""
        x, y, z = (dot(row, d) + 0.0 for row in self.rotation)
        return (x, y, z)

    def points(self, p: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return where points (n, 3) go."""
        return np.asarray(self.directions(p) + np.asarray(self.shift))

    def directions(self, d: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return which way directions (n, 3) point afterwards.

        Worked out column by column, so that a point alone and among others goes to the same place bit for bit.
        """
        x, y, z = np.ascontiguousarray(d.T)
        turned = np.empty((len(d), 3))
        for i, (a, b, c) in enumerate(self.rotation):
            turned[:, i] = x * a + y * b + z * c
        return turned

    def after(self, first: "Rigid") -> "Rigid":
        """Return the move that does `first` and then this one."""
        return rigid_from_matrix(self.matrix @ first.matrix, self.point(first.shift))

    def inverse(self) -> "Rigid":
        """Return the move back."""
        back = Rigid(tuple(zip(*self.rotation, strict=True)))  # type: ignore[arg-type]
        x, y, z = back.direction(self.shift)
        return Rigid(back.rotation, (0.0 - x, 0.0 - y, 0.0 - z))

    @property
    def turn(self) -> Vec3:
        """The rotation vector, degrees, at most 180 long."""
        from scipy.spatial.transform import Rotation

        x, y, z = np.degrees(Rotation.from_matrix(self.matrix).as_rotvec()).tolist()
        return (x + 0.0, y + 0.0, z + 0.0)


STAY = Rigid()


def rigid_from_matrix(matrix: npt.NDArray[np.float64], shift: Vec3) -> Rigid:
    """Return the move with the rotation nearest to a matrix (3, 3): rounding is taken out of it."""
    left, _, right = np.linalg.svd(matrix)
    sound = left @ np.diag([1.0, 1.0, float(np.sign(np.linalg.det(left @ right)))]) @ right
    if np.abs(sound - matrix).max() < 1e-15:
        sound = matrix
    rows = tuple(tuple(float(v) + 0.0 for v in row) for row in sound)
    x, y, z = (float(v) + 0.0 for v in shift)
    return Rigid(rows, (x, y, z))  # type: ignore[arg-type]


def from_turn(turn: Vec3, shift: Vec3 = ORIGIN, about: Vec3 = ORIGIN) -> Rigid:
    """Return the move that turns about a point and then shifts.

    Args:
        turn: rotation vector, degrees.
        shift: mm, after the turn.
        about: the point that only the shift moves.

    Source: Rodrigues' formula.
    """
    vector = np.radians(np.asarray(turn, dtype=np.float64))
    x, y, z = vector.tolist()
    angle = math.sqrt(x * x + y * y + z * z)
    square = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    first = np.sinc(angle / np.pi)
    second = 0.5 * np.sinc(angle / (2 * np.pi)) ** 2
    matrix = np.eye(3) + first * square + second * (square @ square)
    turned = rigid_from_matrix(matrix, ORIGIN)
    return Rigid(turned.rotation, add(sub(about, turned.direction(about)), shift))
