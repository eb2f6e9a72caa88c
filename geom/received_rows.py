"""Each reading as one line of the least squares: what the drawn casting would read, and how that changes.

A height or a thickness is linear in how far the walls it meets lie off their
drawn places. A rough place is uncertain by `readings.ROUGH_PLACE`; a place not
said is the middle of the face, and where the reading depends on it (a drafted
side) half its range over the face is added to the uncertainty, and said so.
Lengths mm, part frame.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from geom.analytic import Floats
from geom.errors import ReadingError
from geom.kernel.shape import Solid
from geom.part import Part
from geom.readings import ROUGH_PLACE, Height, Thickness
from geom.received_faces import FaceSkin, Walls, face_skin, meets, over_skin
from geom.space import Vec3, cross, norm

if TYPE_CHECKING:
    from geom.received_spots import Spots

_RANGE_POINTS: Final = 12
"""Places over a face at which a reading's range is looked for."""

_PARALLEL: Final = 1e-9
"""Radians within which two planes are parallel: a nanometre over a metre."""

_NOTICED: Final = 0.02
"""A place that was not said is mentioned when it matters by more than this, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """What a reading would be on the drawn casting.

    Attributes:
        value: mm.
        row: (k,) how it changes with the walls' parameters.
        at: where it is taken, on the skin.
        walls: which walls it meets, by number.
    """

    value: float
    row: Floats
    at: Vec3
    walls: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A reading with what the drawn casting says of it.

    Attributes:
        sigma: of the reading with that of its place, mm.
        note: what was assumed; "" when nothing.
        two_walls: a thickness: it tells two walls apart only together.
    """

    source: str
    read: float
    expected: Expected
    sigma: float
    note: str = ""
    two_walls: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class SkinModel:
    """The walls and the low spots in them: everything an offset of the skin depends on."""

    part: Part
    walls: Walls
    spots: "Spots"

    def offset_row(self, point: Floats, normal: Floats, surface: int) -> Floats:
        """Return how the skin's offset at one point changes with each parameter (k,)."""
        return np.asarray(self.offset_rows(point[None], normal[None], np.array([surface]))[0])

    def offset_rows(self, points: Floats, normals: Floats, surfaces: "np.typing.NDArray[np.int64]") -> Floats:
        """Return how the skin's offset at points changes with each parameter (n, k)."""
        number = self.walls.number[surfaces]
        return np.hstack([self.walls.rows(points, normals, surfaces), self.spots.rows(points, number)])


def thickness(model: SkinModel, faces: tuple[str, str], at: Vec3 | None) -> Expected:
    """Return what calipers would read across two faces of the drawn casting.

    Args:
        at: rough place; None for the middle of the first face.

    Raises:
        ReadingError: the faces do not lie opposite each other.
    """
    casting = model.part.casting
    first, second = (face_skin(model.part, name) for name in faces)
    spot = np.array(first.middle if at is None else at)
    here = first.nearest(spot)
    surface = int(first.surface[here])
    high, normal = over_skin(casting, np.array([surface]), spot[None])
    near = spot - high[0] * normal[0]
    there = _opposite(second, near, normal[0], faces)
    other = int(second.surface[there])
    begin = near + ((second.points[there] - near) @ normal[0]) * normal[0]
    way = normal[0] - _met(casting, other, begin, normal[0], faces)[1]
    way /= np.linalg.norm(way)
    if casting.surfaces[surface].kind != "plane":
        spot = near
    start = spot + ((second.points[there] - spot) @ way) * way
    p, n = _met(casting, surface, spot, way, faces)
    q, m = _met(casting, other, start, way, faces)
    across = float((p - q) @ way)
    sign = 1.0 if across >= 0 else -1.0
    row = model.offset_row(p, n, surface) / (n @ way) - model.offset_row(q, m, other) / (m @ way)
    met = (int(model.walls.number[surface]), int(model.walls.number[other]))
    return Expected(sign * across, sign * row, _vec(p), met)


def _met(casting: Solid, surface: int, spot: Floats, way: Floats, faces: tuple[str, str]) -> tuple[Floats, Floats]:
    try:
        return meets(casting, surface, spot, way)
    except ReadingError as error:
        raise ReadingError(f"thickness between {faces[0]!r} and {faces[1]!r}: {error}; name faces that lie opposite") from None


def _opposite(skin: FaceSkin, spot: Floats, normal: Floats, faces: tuple[str, str]) -> int:
    facing = np.flatnonzero(skin.normals @ normal < -0.5)
    if not facing.size:
        raise ReadingError(
            f"thickness between {faces[0]!r} and {faces[1]!r}: the two do not face away from each other within 60 degrees, so "
            "calipers cannot sit across them; name two opposite faces, or one round face twice"
        )
    gap = skin.points[facing] - spot
    gap = gap - np.outer(gap @ normal, normal)
    return int(facing[np.argmin(np.round(np.einsum("ij,ij->i", gap, gap), 9))])


def height(model: SkinModel, name: str, seat: str, up: Vec3, at: Vec3 | None) -> Expected:
    """Return what a height gauge would read on a face of the drawn casting standing on its raw seat.

    Raises:
        ReadingError: the face is too steep for a height gauge.
    """
    casting, way = model.part.casting, np.array(up)
    skin, foot = face_skin(model.part, name), face_skin(model.part, seat)
    spot = np.array(_height_place(skin, way) if at is None else at)
    here = skin.nearest(spot, way)
    surface, base = int(skin.surface[here]), foot.surfaces[0]
    if abs(skin.normals[here] @ way) < 0.3:
        raise ReadingError(f"height of {name!r}: the face stands too steep for a height gauge there; touch it or use calipers")
    start = spot + ((skin.points[here] - spot) @ way) * way
    p, n = meets(casting, surface, start, way)
    q, m = meets(casting, base, p, way)
    row = model.offset_row(p, n, surface) / (n @ way) - model.offset_row(q, m, base) / (m @ way)
    return Expected(float((p - q) @ way), row, _vec(p), (int(model.walls.number[surface]), int(model.walls.number[base])))


def _height_place(skin: FaceSkin, way: Floats) -> Vec3:
    """Return the middle of a flat face, the top of a round one."""
    steep = skin.normals @ way
    if np.ptp(steep) < 1e-6:
        return skin.middle
    return _vec(skin.points[int(np.argmax(np.round(np.abs(steep), 6)))])


def measured(model: SkinModel, reading: Height | Thickness) -> Measured:
    """Return a height or thickness as a line of the least squares.

    Raises:
        ReadingError: it cannot be taken on this casting; the message has the line.
    """

    def expect(at: Vec3 | None) -> Expected:
        if isinstance(reading, Thickness):
            return thickness(model, reading.faces, at)
        return height(model, reading.face, reading.seat, reading.direction, at)

    try:
        expected = expect(reading.at)
    except ReadingError as error:
        raise ReadingError(f"{reading.source}: {error}") from None
    doubt, note = _place_doubt(model, reading, expected, expect)
    return Measured(
        reading.source, reading.value, expected, float(np.hypot(reading.sigma, doubt)), note, isinstance(reading, Thickness)
    )


def _place_doubt(
    model: SkinModel, reading: Height | Thickness, expected: Expected, expect: Callable[[Vec3 | None], Expected]
) -> tuple[float, str]:
    """Return what the place is worth in mm, and a sentence where none was said."""
    name = reading.faces[0] if isinstance(reading, Thickness) else reading.face
    skin = face_skin(model.part, name)
    if _is_same_everywhere(model, expected):
        return 0.0, ""
    if reading.at is not None:
        here = skin.nearest(np.array(expected.at))
        ways = np.linalg.svd(skin.normals[here][None])[2][1:]
        spots = [np.array(reading.at) + sign * ROUGH_PLACE * way for way in ways for sign in (1.0, -1.0)]
        values = [_or_same(expect, _vec(s), expected.value) for s in spots]
        return float(np.hypot(values[0] - values[1], values[2] - values[3])) / 4.0, ""
    rows = np.unique(np.linspace(0, len(skin.points) - 1, _RANGE_POINTS).astype(int))
    same = [r for r in rows.tolist() if model.walls.number[skin.surface[r]] in expected.walls]
    values = [_or_same(expect, _vec(skin.points[r]), expected.value) for r in same] or [expected.value]
    doubt = float(max(abs(v - expected.value) for v in values))
    if isinstance(reading, Height) and np.ptp(skin.normals @ np.array(reading.direction)) > 1e-6:
        return 0.0, ""
    if doubt < _NOTICED:
        return 0.0, ""
    x, y, z = expected.at
    return doubt, (
        f"{reading.source}: does not say where on {name} it was taken; taken at ({x:.1f}, {y:.1f}, {z:.1f}) mm, half way up, "
        f"and trusted {doubt:.2f} mm less because the face is not square to the measurement"
    )


def _is_same_everywhere(model: SkinModel, expected: Expected) -> bool:
    """Return whether a reading lies between two parallel planes, so that its place is worth nothing."""
    a, b = (model.part.casting.surfaces[model.walls.walls[i].surfaces[0]] for i in expected.walls)
    return a.kind == b.kind == "plane" and norm(cross(a.axis, b.axis)) < _PARALLEL


def _or_same(expect: Callable[[Vec3 | None], Expected], at: Vec3, value: float) -> float:
    try:
        return expect(at).value
    except ReadingError:
        return value


def _vec(a: Floats) -> Vec3:
    x, y, z = (float(c) for c in a)
    return (x, y, z)
