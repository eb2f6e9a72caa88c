"""The plane in which a mould parts: square to the way the pattern is drawn. Lengths mm, part frame."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from geom.space import Vec3

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class Parting:
    """A parting plane.

    Attributes:
        axis: of the part, that it is square to: 0 for X, 1 for Y, 2 for Z.
        at: where it lies along that.
    """

    axis: int
    at: float

    @property
    def way(self) -> Vec3:
        """The direction it is square to."""
        x, y, z = (float(i == self.axis) for i in range(3))
        return (x, y, z)

    @property
    def point(self) -> Vec3:
        """One point of it."""
        x, y, z = self.way
        return (x * self.at, y * self.at, z * self.at)

    def over(self, points: "npt.NDArray[np.float64]") -> "npt.NDArray[np.float64]":
        """Return how far points (..., 3) lie over it, negative below."""
        return points[..., self.axis] - self.at
