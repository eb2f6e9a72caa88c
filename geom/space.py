"""Vectors, frames and exact quarter turns.

A vector is a plain tuple of three floats; many points are a numpy array of
shape (n, 3). Knows nothing of parts, faces or machines.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Points: TypeAlias = npt.NDArray[np.float64]

Vec3: TypeAlias = tuple[float, float, float]

X_AXIS: Vec3 = (1.0, 0.0, 0.0)
Y_AXIS: Vec3 = (0.0, 1.0, 0.0)
Z_AXIS: Vec3 = (0.0, 0.0, 1.0)
ORIGIN: Vec3 = (0.0, 0.0, 0.0)

AXIS_NOISE = 1e-9
"""How far a frame's axes may be from unit length and square: a micrometre at a kilometre, so rounding only."""


def add(a: Vec3, b: Vec3) -> Vec3:
    """Return a + b."""
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


def sub(a: Vec3, b: Vec3) -> Vec3:
    """Return a - b."""
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def scale(a: Vec3, k: float) -> Vec3:
    """Return a times k, without negative zeros."""
    return (a[0] * k + 0.0, a[1] * k + 0.0, a[2] * k + 0.0)


def dot(a: Vec3, b: Vec3) -> float:
    """Return the scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vec3, b: Vec3) -> Vec3:
    """Return the vector product."""
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def norm(a: Vec3) -> float:
    """Return the length."""
    return math.sqrt(dot(a, a))


def unit(a: Vec3) -> Vec3:
    """Return the direction of a; raises ValueError for a vector without one."""
    size = norm(a)
    if not size > 0 or not math.isfinite(size):
        raise ValueError(f"{a} has no direction")
    return snapped(scale(a, 1.0 / size))


def snapped(direction: Vec3, noise: float = 1e-12) -> Vec3:
    """Return the direction with components within `noise` of 0 or 1 made exact."""
    return tuple(float(round(c)) + 0.0 if abs(c - round(c)) < noise else c for c in direction)  # type: ignore[return-value]


def angle_between(a: Vec3, b: Vec3) -> float:
    """Return the angle between two directions, degrees, 0 to 180."""
    return math.degrees(math.atan2(norm(cross(a, b)), dot(a, b)))


def canonical(direction: Vec3) -> Vec3:
    """Return the direction or its opposite, whichever has its largest component positive.

    Components within 1e-4 of the largest count as equal and the first of z, y,
    x is taken, so that noise cannot flip the answer.
    """
    d = unit(direction)
    largest = max(abs(c) for c in d)
    lead = next(i for i in (2, 1, 0) if abs(d[i]) > largest - 1e-4)
    return d if d[lead] > 0 else scale(d, -1.0)


def along(point: Vec3, origin: Vec3, axis: Vec3) -> float:
    """Return how far a point lies along an axis from its origin, mm."""
    return dot(sub(point, origin), axis)


def foot(point: Vec3, origin: Vec3, axis: Vec3) -> Vec3:
    """Return the nearest point of the line (origin, axis) to a point."""
    return add(origin, scale(axis, along(point, origin, axis)))


@dataclass(frozen=True, slots=True)
class Frame:
    """A right-handed frame: its origin and unit axes, all in the part frame, mm."""

    origin: Vec3
    x: Vec3
    y: Vec3
    z: Vec3

    def __post_init__(self) -> None:
        lengths = (norm(axis) - 1 for axis in (self.x, self.y, self.z))
        off = (*lengths, dot(self.x, self.y), *sub(cross(self.x, self.y), self.z))
        if not all(abs(value) <= AXIS_NOISE for value in off):
            raise ValueError(f"axes {self.x}, {self.y}, {self.z} are not a right-handed frame")
        if not all(map(math.isfinite, self.origin)):
            raise ValueError(f"a frame cannot start at {self.origin}")

    def local(self, point: Vec3) -> Vec3:
        """Return a part-frame point in this frame's coordinates."""
        d = sub(point, self.origin)
        return (dot(d, self.x) + 0.0, dot(d, self.y) + 0.0, dot(d, self.z) + 0.0)

    def local_direction(self, direction: Vec3) -> Vec3:
        """Return a part-frame direction in this frame's axes."""
        return (dot(direction, self.x) + 0.0, dot(direction, self.y) + 0.0, dot(direction, self.z) + 0.0)

    def part(self, point: Vec3) -> Vec3:
        """Return a point of this frame in part-frame coordinates."""
        return add(self.origin, self.part_direction(point))

    def part_direction(self, direction: Vec3) -> Vec3:
        """Return a direction of this frame in part-frame axes."""
        a, b, c = direction
        return tuple(a * self.x[i] + b * self.y[i] + c * self.z[i] + 0.0 for i in range(3))  # type: ignore[return-value]

    def local_points(self, points: "Points") -> "Points":
        """Return part-frame points (n, 3) in this frame's coordinates (n, 3)."""
        import numpy as np

        return np.asarray((points - np.asarray(self.origin)) @ np.array([self.x, self.y, self.z]).T)

    def part_points(self, points: "Points") -> "Points":
        """Return points (n, 3) of this frame in part-frame coordinates (n, 3)."""
        import numpy as np

        return np.asarray(points @ np.array([self.x, self.y, self.z]) + np.asarray(self.origin))


WORLD = Frame(ORIGIN, X_AXIS, Y_AXIS, Z_AXIS)


def frame_facing(origin: Vec3, z: Vec3, x_hint: Vec3) -> Frame:
    """Return the frame with the given z whose x is the hint made square to z.

    Raises:
        ValueError: the hint is parallel to z.
    """
    up = unit(z)
    flat = sub(x_hint, scale(up, dot(x_hint, up)))
    if norm(flat) < 1e-9 * max(1.0, norm(x_hint)):
        raise ValueError(f"direction {x_hint} is parallel to {z}; choose another for X")
    x = unit(flat)
    return Frame(origin, x, unit(cross(up, x)), up)
