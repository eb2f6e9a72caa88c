"""Hollows in the skin: low spots under a straightedge, and patches a light cut left untouched.

A hollow is an elliptical dish with a parabola for section, deepest in the
middle. Its depth is one parameter of the skin (mm, + = hollow). Lengths mm,
part frame.
"""

from dataclasses import dataclass

import numpy as np

from geom.model.part import Part
from geom.rays.analytic import Floats, Ints
from geom.readings.records import CutAndSee, LowSpot
from geom.received.faces import Walls, face_skin, over_skin
from geom.rows.words import Note, where
from geom.space import Vec3


@dataclass(frozen=True, slots=True)
class Spot:
    """One hollow.

    Attributes:
        face: name of the face it was found on.
        wall: number of the wall it is in.
        centre: on the skin; u, v: unit directions of its length and width.
        half: half its length and width, mm, at the level of the skin around.
        depth, sigma: of its middle below the skin around, mm.
        cut: what had been cut off when it was seen; 0 for a low spot.
        note: what was assumed; "" when nothing.
    """

    face: str
    wall: int
    centre: Vec3
    u: Vec3
    v: Vec3
    half: tuple[float, float]
    depth: float
    sigma: float
    cut: float
    source: str
    note: Note = ""


@dataclass(frozen=True, slots=True)
class Spots:
    """All hollows of one casting."""

    spots: tuple[Spot, ...] = ()

    def rows(self, points: Floats, wall: Ints) -> Floats:
        """Return how the skin's offset at points (n, 3) of given walls changes with each hollow's depth (n, hollows)."""
        found = np.zeros((len(points), len(self.spots)))
        for i, spot in enumerate(self.spots):
            away = points - np.array(spot.centre)
            square = (away @ np.array(spot.u) / spot.half[0]) ** 2 + (away @ np.array(spot.v) / spot.half[1]) ** 2
            found[:, i] = np.where(wall == spot.wall, -np.clip(1.0 - square, 0.0, None), 0.0)
        return found

    def slopes(self, points: Floats, wall: Ints, depths: Floats) -> Floats:
        """Return how fast the skin rises along itself at points (n, 3) of given walls in hollows so deep (hollows,), mm per mm."""
        found = np.zeros((len(points), 3))
        for spot, depth in zip(self.spots, depths.tolist(), strict=True):
            rows = np.flatnonzero(wall == spot.wall)
            ways = np.array([spot.u, spot.v]) / np.array(spot.half)[:, None]
            along = (points[rows] - np.array(spot.centre)) @ ways.T
            inside = (along**2).sum(axis=1, keepdims=True) < 1.0
            found[rows] += np.where(inside, 2.0 * depth * along @ ways, 0.0)
        return found

    @property
    def depths(self) -> Floats:
        """Depths as read (hollows,), mm."""
        return np.array([spot.depth for spot in self.spots])

    @property
    def sigmas(self) -> Floats:
        """Standard uncertainties of the depths (hollows,), mm."""
        return np.array([spot.sigma for spot in self.spots])


def spot_of(part: Part, walls: Walls, reading: LowSpot | CutAndSee) -> Spot:
    """Return the hollow a reading tells of.

    An untouched patch is the bottom of a hollow that reaches `cut` higher: the dish is as much wider there as its
    parabola says.
    """
    skin = face_skin(part, reading.face)
    spot = np.array(skin.middle if reading.at is None else reading.at)
    here = skin.nearest(spot)
    surface = int(skin.surface[here])
    high, normals = over_skin(part.casting, np.array([surface]), spot[None])
    centre, normal = spot - high[0] * normals[0], normals[0]
    cut = reading.cut if isinstance(reading, CutAndSee) else 0.0
    depth = reading.depth + cut
    wider = float(np.sqrt(depth / reading.depth))
    u, v = _in_face(normal)
    x, y, z = centre.tolist()
    note: Note = ""
    if reading.at is None:
        note = (f"{reading.source}: does not say where on {reading.face}; taken in its middle, ", *where((x, y, z)))
    half = (wider * reading.size[0] / 2.0, wider * reading.size[1] / 2.0)
    return Spot(reading.face, int(walls.number[surface]), (x, y, z), u, v, half, depth, reading.sigma, cut, reading.source, note)


def _in_face(normal: Floats) -> tuple[Vec3, Vec3]:
    """Return the first and second of the part's axes that lie in a face, made square to its normal."""
    drop = int(np.argmax(np.round(np.abs(normal), 6)))
    lead = np.eye(3)[next(i for i in range(3) if i != drop)]
    u = lead - (lead @ normal) * normal
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)
    second = np.eye(3)[next(i for i in (2, 1, 0) if i != drop)]
    v = v if v @ second > 0 else -v
    return (float(u[0]), float(u[1]), float(u[2])), (float(v[0]), float(v[1]), float(v[2]))
