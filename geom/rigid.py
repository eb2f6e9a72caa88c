"""A rigid move: a turn and then a shift.

Knows nothing of what is moved. Lengths mm; a turn is given as a rotation vector
(axis times angle), degrees.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from geom.space import AXIS_NOISE, ORIGIN, Frame, Vec3, add, cross, dot, sub

Rows = tuple[Vec3, Vec3, Vec3]

_ROUNDING = 2e-15
"""Rows whose products miss 0 or 1 by no more than this are the nearest rotation's but for rounding."""

_FULL: Rows = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


def _is_rotation(rows: Rows, noise: float) -> bool:
    """Tell whether rows are of unit length and square to each other, but for noise, and right-handed."""
    x, y, z = rows
    off = (dot(x, x) - 1.0, dot(y, y) - 1.0, dot(z, z) - 1.0, dot(x, y), dot(y, z), dot(z, x))
    return max(map(abs, off)) <= noise and dot(cross(x, y), z) >= 0


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
        sizes = [len(row) for row in self.rotation]
        if sizes != [3, 3, 3] or not all(map(math.isfinite, (*self.shift, *(v for row in self.rotation for v in row)))):
            raise ValueError(f"rotation {self.rotation} with shift {self.shift} is not a move")
        if not _is_rotation(self.rotation, AXIS_NOISE):
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

    def frame(self, frame: Frame) -> Frame:
        """Return where a frame goes."""
        return Frame(self.point(frame.origin), *(self.direction(axis) for axis in (frame.x, frame.y, frame.z)))

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
    rows = _without_negative_noughts(matrix)
    if not _is_rotation(rows, _ROUNDING):
        rows = _without_negative_noughts(_nearest_rotation(matrix))
    x, y, z = (float(v) + 0.0 for v in shift)
    return Rigid(rows, (x, y, z))


def _without_negative_noughts(matrix: npt.NDArray[np.float64]) -> Rows:
    return tuple(tuple(v + 0.0 for v in row) for row in matrix.tolist())  # type: ignore[return-value]


def _nearest_rotation(matrix: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    left, _, right = np.linalg.svd(matrix)
    sound = left @ np.diag([1.0, 1.0, float(np.sign(np.linalg.det(left @ right)))]) @ right
    return matrix if np.abs(sound - matrix).max() < 1e-15 else np.asarray(sound)


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
