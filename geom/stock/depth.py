"""The metal between points of the finished part and the casting's skin.

Stock is counted along the outward normal: positive is metal to cut, negative
means the casting is short. It ends where the finished part begins again (a slot
cut from solid), at the axis of a bore, and, below zero, where the part itself
ends. Lengths mm, part frame. Knows nothing of samples, names or required
amounts.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.model.part import Part
from geom.rays.analytic import Bools, Floats, Ints, dots
from geom.rays.rays import Hits, Skin, skin_of

_HALF_TURN: Final = 180.0
"""A hollow face that reaches further round its axis than this, degrees, is a bore: what lies beyond the axis is not its stock."""

_NOTHING: Final = 1e-9
"""Stock nearer 0 than this, mm, is 0: what double precision leaves of two equal planes a metre from the origin."""

_SHALLOW: Final = 0.1
"""Less missing than this, mm, needs no look at how thick the part is there: no part is thinner."""

_LEVEL: Final = 1e-6
"""Stock that changes slower than this along a face, mm per mm, is even: the angle between equal planes is no better known."""

_STEEPEST: Final = 1e6
"""Stock that changes faster than this along a face, mm per mm, is a jump."""


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Stock at points, one row each.

    Attributes:
        stock: mm along the outward normal.
        slope: how fast it changes along the face, mm per mm; 0 where unknown.
        solid: True where the metal reaches as far as the cutter goes: cut from solid.
        skin: what of the casting each point's normal meets, whatever is cut.
    """

    stock: Floats
    slope: Floats
    solid: Bools
    skin: Hits


class Depth:
    """A part in its casting, ready to be measured."""

    __slots__ = ("_casting", "_part", "_radius_at", "cut")

    def __init__(self, part: Part) -> None:
        self._part = part
        self._casting: Skin = skin_of(part.casting)
        self.cut = cut_skin(part)
        self._radius_at = _bores(part)

    def at(self, points: Floats, normals: Floats, face: Ints, looked_from: Floats | None = None) -> Measured:
        """Return the stock at points of the finished part.

        Args:
            points, normals: (n, 3), on the part, outward.
            face: (n,) surface index of the finished solid.
            looked_from: see `geom.rays.rays.Skin.over`.
        """
        spots = points if looked_from is None else looked_from
        hits = self._casting.over(points, normals, spots)
        limit = self._to_axis(points, face)
        if self.cut is not None:
            limit = np.minimum(limit, self.cut.entries(spots, normals, self.cut.reach))
        solid = hits.distance > limit
        stock = np.where(solid, limit, hits.distance)
        stock[np.abs(stock) < _NOTHING] = 0.0
        air = np.flatnonzero(stock < -_SHALLOW)
        if air.size:
            finished = skin_of(self._part.finished)
            thickness = finished.exits(spots[air], -normals[air], finished.reach)
            stock[air] = np.maximum(stock[air], -np.where(np.isfinite(thickness), thickness, 0.0))
        slope = self._slope(points, normals, hits.face, hits.distance)
        slope[solid] = 0.0
        return Measured(stock, slope, solid, hits)

    def _to_axis(self, points: Floats, face: Ints) -> Floats:
        """Return the distance along the normal to a bore's axis; inf on other faces."""
        origin, axis, radius, tangent = (row[face] for row in self._radius_at)
        high = dots(points - origin, axis)
        return np.asarray((radius + high * tangent) * np.hypot(1.0, tangent))

    def _slope(self, points: Floats, normals: Floats, face: Ints, distance: Floats) -> Floats:
        """Return the tangent of the angle between the finished face and the skin over it."""
        slope = np.zeros(len(points))
        met = np.flatnonzero((face >= 0) & np.isfinite(distance))
        place = points[met] + distance[met, None] * normals[met]
        cosine = np.abs(dots(self._casting.facing(place, face[met]), normals[met]))
        with np.errstate(divide="ignore", invalid="ignore"):
            tangent = np.sqrt(np.maximum(1.0 - cosine * cosine, 0.0)) / cosine
        slope[met] = np.where(tangent > _LEVEL, np.minimum(tangent, _STEEPEST), 0.0)
        return slope


def cut_skin(part: Part) -> Skin | None:
    """Return the machined faces and hole walls of the part, ready for rays; None when there are none.

    From metal that is cut away a ray comes back into the part through one of these: the
    other faces lie on the casting's skin, which it would have to leave first.
    """
    cut = sorted(index for face in part.faces if face.state != "as cast" for index in face.surfaces)
    return skin_of(part.finished, tuple(cut)) if cut else None


def _bores(part: Part) -> tuple[Floats, Floats, Floats, Floats]:
    """Return axis point, axis, radius there (inf for faces that are no bore) and its growth, for every surface."""
    surfaces = part.finished.surfaces
    radius = np.full(len(surfaces), np.inf)
    for face in part.faces:
        pieces = [surfaces[i] for i in face.surfaces]
        if face.hollow and face.kind in ("cylinder", "cone") and sum(s.turn for s in pieces) > _HALF_TURN:
            radius[list(face.surfaces)] = [s.radius for s in pieces]
    tangent = np.tan(np.radians([s.half_angle if np.isfinite(r) else 0.0 for s, r in zip(surfaces, radius, strict=True)]))
    return np.array([s.origin for s in surfaces]), np.array([s.axis for s in surfaces]), radius, tangent
