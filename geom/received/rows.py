"""Each reading as one line of the least squares: what the drawn casting would read, and how that changes.

A height or a thickness is linear in how far the walls it meets lie off their
drawn places. A rough place is uncertain by `readings.ROUGH_PLACE`; a place not
said is the middle of the face, and where the reading depends on it (a drafted
side) half its range over the face is added to the uncertainty, and said so.
Lengths mm, part frame.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from geom.errors import ReadingError
from geom.model.part import Part
from geom.rays.analytic import Floats, Ints, dots
from geom.readings.records import ROUGH_PLACE, Height, Thickness
from geom.received.faces import FaceSkin, Walls, face_skin, meets, over_skin
from geom.rows.words import Note, where
from geom.space import Vec3, cross, norm

if TYPE_CHECKING:
    from geom.received.spots import Spots

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
    note: Note = ""
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

    def offset_rows(self, points: Floats, normals: Floats, surfaces: Ints) -> Floats:
        """Return how the skin's offset at points changes with each parameter (n, k)."""
        number = self.walls.number[surfaces]
        return np.hstack([self.walls.rows(points, normals, surfaces), self.spots.rows(points, number)])


@dataclass(frozen=True, slots=True, eq=False)
class _Drawn:
    """What a reading would be on the drawn casting if taken at each of several places; NaN where it cannot be taken.

    Attributes:
        value: (n,) mm.
        near, far: (n, 3) where it meets the skin; near_normal, far_normal: outward there.
        near_surface, far_surface: (n,) of the casting; way: (n, 3) from far to near.
        why: why it cannot be taken at the first place; "" when it can.
    """

    value: Floats
    near: Floats
    near_normal: Floats
    near_surface: Ints
    far: Floats
    far_normal: Floats
    far_surface: Ints
    way: Floats
    why: str

    def expected(self, model: SkinModel, label: str) -> Expected:
        """Return the reading at the first place.

        Raises:
            ReadingError: it cannot be taken there.
        """
        if self.why:
            raise ReadingError(f"{label}: {self.why}")
        points, normals = np.stack([self.near[0], self.far[0]]), np.stack([self.near_normal[0], self.far_normal[0]])
        surfaces = np.array([self.near_surface[0], self.far_surface[0]])
        rows = model.offset_rows(points, normals, surfaces) / (normals @ self.way[0])[:, None]
        sign = 1.0 if (self.near[0] - self.far[0]) @ self.way[0] >= 0 else -1.0
        a, b = model.walls.number[surfaces].tolist()
        return Expected(float(self.value[0]), sign * (rows[0] - rows[1]), _vec(self.near[0]), (a, b))


def thickness(model: SkinModel, faces: tuple[str, str], at: Vec3 | None) -> Expected:
    """Return what calipers would read across two faces of the drawn casting.

    Args:
        at: rough place; None for the middle of the first face.

    Raises:
        ReadingError: the faces do not lie opposite each other.
    """
    spot = face_skin(model.part, faces[0]).middle if at is None else at
    return _thicknesses(model, faces, np.array([spot])).expected(model, f"thickness between {faces[0]!r} and {faces[1]!r}")


def _thicknesses(model: SkinModel, faces: tuple[str, str], spots: Floats) -> _Drawn:
    casting = model.part.casting
    first, second = (face_skin(model.part, name) for name in faces)
    surface = first.surface[[first.nearest(spot) for spot in spots]]
    high, normal = over_skin(casting, surface, spots)
    near = spots - high[:, None] * normal
    there = np.array([_opposite(second, p, n) for p, n in zip(near, normal, strict=True)])
    other = second.surface[there]
    far = np.where(there[:, None] >= 0, second.points[there], np.nan)
    begin = near + dots(far - near, normal)[:, None] * normal
    way = normal - meets(casting, other, begin, normal)[1]
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    flat = np.array([casting.surfaces[i].kind == "plane" for i in surface.tolist()])
    start = np.where(flat[:, None], spots, near)
    p, n = meets(casting, surface, start, way)
    q, m = meets(casting, other, start + dots(far - start, way)[:, None] * way, way)
    value = np.abs(dots(p - q, way))
    why = _NOT_OPPOSITE if there[0] < 0 else _ALONG if np.isnan(value[0]) else ""
    return _Drawn(value, p, n, surface, q, m, other, way, why)


_NOT_OPPOSITE: Final = (
    "the two do not face away from each other within 60 degrees, so calipers cannot sit across them; "
    "name two opposite faces, or one round face twice"
)
_ALONG: Final = "the line of measurement runs along the face, not across it; name faces that lie opposite"


def _opposite(skin: FaceSkin, spot: Floats, normal: Floats) -> int:
    """Return the row of the skin opposite a place; -1 when none faces away from it."""
    facing = np.flatnonzero(skin.normals @ normal < -0.5)
    if not facing.size:
        return -1
    gap = skin.points[facing] - spot
    gap = gap - np.outer(gap @ normal, normal)
    return int(facing[np.argmin(np.round(np.einsum("ij,ij->i", gap, gap), 9))])


def height(model: SkinModel, name: str, seat: str, up: Vec3, at: Vec3 | None) -> Expected:
    """Return what a height gauge would read on a face of the drawn casting standing on its raw seat.

    Raises:
        ReadingError: the face is too steep for a height gauge.
    """
    spot = _height_place(face_skin(model.part, name), np.array(up)) if at is None else at
    return _heights(model, name, seat, up, np.array([spot])).expected(model, f"height of {name!r}")


def _heights(model: SkinModel, name: str, seat: str, up: Vec3, spots: Floats) -> _Drawn:
    casting, way = model.part.casting, np.tile(np.array(up), (len(spots), 1))
    skin = face_skin(model.part, name)
    here = np.array([skin.nearest(spot, way[0]) for spot in spots])
    surface = skin.surface[here]
    base = np.full(len(spots), face_skin(model.part, seat).surfaces[0])
    steep = np.abs(dots(skin.normals[here], way)) < _STEEP
    start = spots + dots(skin.points[here] - spots, way)[:, None] * way
    p, n = meets(casting, surface, np.where(steep[:, None], np.nan, start), way)
    q, m = meets(casting, base, p, way)
    value = dots(p - q, way)
    why = _TOO_STEEP if steep[0] else _ALONG if np.isnan(value[0]) else ""
    return _Drawn(value, p, n, surface, q, m, base, way, why)


_STEEP: Final = 0.3
"""A height gauge's scriber finds no face whose normal is further from its way than this cosine."""

_TOO_STEEP: Final = "the face stands too steep for a height gauge there; touch it or use calipers"


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
    across = isinstance(reading, Thickness)
    try:
        skin = face_skin(model.part, reading.faces[0] if isinstance(reading, Thickness) else reading.face)
        spots = _places(reading, skin)
        if isinstance(reading, Thickness):
            drawn = _thicknesses(model, reading.faces, spots)
            expected = drawn.expected(model, f"thickness between {reading.faces[0]!r} and {reading.faces[1]!r}")
        else:
            drawn = _heights(model, reading.face, reading.seat, reading.direction, spots)
            expected = drawn.expected(model, f"height of {reading.face!r}")
    except ReadingError as error:
        raise ReadingError(f"{reading.source}: {error}") from None
    doubt, note = _place_doubt(model, reading, skin, drawn, expected)
    return Measured(reading.source, reading.value, expected, float(np.hypot(reading.sigma, doubt)), note, across)


def _places(reading: Height | Thickness, skin: FaceSkin) -> Floats:
    """Return where a reading was taken, then where else it may have been: about the place it says, or over the whole face."""
    if reading.at is not None:
        at = np.array(reading.at)
        if isinstance(reading, Height):
            normal = skin.normals[skin.nearest(at, np.array(reading.direction))]
        else:
            normal = skin.normals[skin.nearest(at)]
        ways = np.linalg.svd(normal[None])[2][1:]
        return np.array([at, *(at + sign * ROUGH_PLACE * way for way in ways for sign in (1.0, -1.0))])
    start = skin.middle if isinstance(reading, Thickness) else _height_place(skin, np.array(reading.direction))
    rows = np.unique(np.linspace(0, len(skin.points) - 1, _RANGE_POINTS).astype(int))
    return np.concatenate([[start], skin.points[rows]])


def _place_doubt(
    model: SkinModel, reading: Height | Thickness, skin: FaceSkin, drawn: _Drawn, expected: Expected
) -> tuple[float, Note]:
    """Return what the place is worth in mm, and a sentence where none was said."""
    if _is_same_everywhere(model, expected):
        return 0.0, ""
    off = np.nan_to_num(drawn.value[1:] - expected.value)
    if reading.at is not None:
        return float(np.hypot(off[0] - off[1], off[2] - off[3])) / 4.0, ""
    if isinstance(reading, Height) and np.ptp(skin.normals @ np.array(reading.direction)) > 1e-6:
        return 0.0, ""
    same = np.isin(model.walls.number[drawn.near_surface[1:]], expected.walls)
    doubt = float(np.abs(off[same]).max(initial=0.0))
    if doubt < _NOTICED:
        return 0.0, ""
    name = reading.faces[0] if isinstance(reading, Thickness) else reading.face
    return doubt, (
        f"{reading.source}: does not say where on {name} it was taken; taken at ", *where(expected.at), ", half way up, and "
        "trusted ", doubt, " less because the face is not square to the measurement",
    )  # fmt: skip


def _is_same_everywhere(model: SkinModel, expected: Expected) -> bool:
    """Return whether a reading lies between two parallel planes, so that its place is worth nothing."""
    a, b = (model.part.casting.surfaces[model.walls.walls[i].surfaces[0]] for i in expected.walls)
    return a.kind == b.kind == "plane" and norm(cross(a.axis, b.axis)) < _PARALLEL


def _vec(a: Floats) -> Vec3:
    x, y, z = (float(c) for c in a)
    return (x, y, z)
