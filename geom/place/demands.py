"""Limits on where machined features lie in the casting, as rows: how far each is within its limit.

Lengths mm, part frame; the finished part moves in the casting as received.
"""

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from geom.errors import JobError, nearest
from geom.model.part import Part, PartFace
from geom.place.margin_lp import Rows
from geom.place.rows import Pivot
from geom.place.sites import sites_of
from geom.rays.analytic import Floats, dots
from geom.rays.rays import skin_of
from geom.received.casting import AsReceived
from geom.received.faces import FaceSkin, face_skin, over_skin
from geom.rigid import Rigid
from geom.settings.place import Demand
from geom.tolerance import SAME_DIRECTION

Row = tuple[Floats, Floats]

_ROUND_WAYS: Final = 32
"""Sides of the polygon that stands for a circle: it is at most 0.5 % too wide."""

_ON: Final = 0.01
"""A point within this, mm, of a wall is on it."""


def demand_rows(received: AsReceived, demands: Sequence[Demand], move: Rigid, pivot: Pivot) -> Rows:
    """Return how far each demand is within its limit, as rows of a small further move.

    Raises:
        JobError: a face that is not there or is of the wrong kind.
    """
    makers: dict[str, Callable[[AsReceived, Demand, Rigid, Pivot], Row]] = {
        "concentric": _concentric,
        "wall": _wall,
        "distance": _distance,
    }
    found = [makers[demand.kind](received, demand, move, pivot) for demand in demands]
    start = np.concatenate([np.zeros(0), *(f[0] for f in found)])
    return Rows(start, np.concatenate([np.zeros((0, 6)), *(f[1] for f in found)]), np.ones(len(start)))


def check_demands(part: Part, demands: Sequence[Demand]) -> None:
    """Refuse demands on faces that the part does not have.

    Raises:
        JobError: with file, line and the nearest name.
    """
    for demand in demands:
        machined, cast = _face(part, demand, demand.machined, "machined"), _face(part, demand, demand.cast, "as cast")
        if demand.kind == "concentric":
            for face in (machined, cast):
                if face.kind not in ("cylinder", "cone"):
                    raise JobError(f"{demand.where}: {face.name!r} is a {face.kind}; concentric needs two round faces")
            if abs(float(np.dot(machined.axis, cast.axis))) < 1.0 - SAME_DIRECTION:
                raise JobError(f"{demand.where}: the axes of {machined.name!r} and {cast.name!r} are not parallel")
        if demand.kind == "distance" and machined.normal is None:
            raise JobError(f"{demand.where}: {machined.name!r} is a {machined.kind}; a distance is measured from a flat face")


def _face(part: Part, demand: Demand, name: str, state: str) -> PartFace:
    known = [f.name for f in part.faces if f.state == state]
    for face in part.faces:
        if face.name == name and face.state == state:
            return face
    raise JobError(f"{demand.where}: no {state} face is called {name!r}{nearest(name, known)}; there are {', '.join(known)}")


def _along(ways: Floats, spots: Floats, move: Rigid, pivot: Pivot) -> Floats:
    """Return how points (n, 3) that move with the part go along ways (n, 3) with a small move (n, 6)."""
    centre = np.array(move.point(pivot.centre))
    return np.concatenate([ways, np.cross(spots - centre, ways) / pivot.size], axis=1)


def _skin_offset(received: AsReceived, skin: FaceSkin) -> Floats:
    if received.scan is None:
        return np.asarray(received.model.offset_rows(skin.points, skin.normals, skin.surface) @ received.mean)
    off = received.scan.over(skin.points, skin.normals).distance
    return np.where(np.abs(off) < 8.0, off, np.nan)


def _concentric(received: AsReceived, demand: Demand, move: Rigid, pivot: Pivot) -> Row:
    """The bore's axis, half way along it, against the axis of the as-cast face as received."""
    part = received.part
    machined, cast = _face(part, demand, demand.machined, "machined"), _face(part, demand, demand.cast, "as cast")
    skin = face_skin(part, cast.name)
    off = _skin_offset(received, skin)
    seen = np.isfinite(off)
    axis = np.array(cast.axis)
    u = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    u /= np.linalg.norm(u)
    v = np.cross(axis, u)
    fit = np.stack([skin.normals @ u, skin.normals @ v, np.ones(len(off))], axis=1)
    shift = np.linalg.lstsq(fit[seen], off[seen], rcond=None)[0]
    middle = np.array(machined.origin) + (np.subtract(machined.centroid, machined.origin) @ machined.axis) * np.array(machined.axis)
    spot = move.points(middle[None])[0]
    apart = spot - np.array(cast.origin)
    angle = 2.0 * np.pi * np.arange(_ROUND_WAYS) / _ROUND_WAYS
    ways = np.outer(np.cos(angle), u) + np.outer(np.sin(angle), v)
    start = demand.limit - (ways @ apart - np.cos(angle) * shift[0] - np.sin(angle) * shift[1])
    return start, -_along(ways, np.tile(spot, (_ROUND_WAYS, 1)), move, pivot)


def _wall(received: AsReceived, demand: Demand, move: Rigid, pivot: Pivot) -> Row:
    """From points of the machined face into the metal, to the as-cast face behind."""
    part = received.part
    number = [f.name for f in part.machined].index(demand.machined)
    sites = sites_of(part)
    rows = np.flatnonzero((sites.face == number) & (sites.samples.area > 0))
    drawn, inward = sites.samples.points[rows], -sites.samples.normals[rows]
    casting = skin_of(part.casting)
    met = casting.first(drawn, inward, casting.reach)
    walls = np.array(face_skin(part, demand.cast).surfaces)
    hit = np.flatnonzero(np.isin(met.face, walls) & met.leaving)
    if not hit.size:
        raise JobError(
            f"{demand.where}: behind {demand.machined!r} the metal does not end at {demand.cast!r}; name the face that is"
        )
    rows, wall = rows[hit], met.face[hit]
    points, ways = move.points(drawn[hit]), move.directions(inward[hit])
    foot = drawn[hit] + met.distance[hit, None] * inward[hit]
    thick, normals = np.array(met.distance[hit]), over_skin(part.casting, wall, foot)[1]
    for _ in range(3):
        foot = points + thick[:, None] * ways
        high, normals = over_skin(part.casting, wall, foot)
        thick = thick - high / dots(ways, normals)
    slant = dots(ways, normals)
    if received.scan is None:
        off = received.model.offset_rows(foot, normals, wall) @ received.mean / slant
    else:
        off = received.scan.exits(points, ways, 0.0) - thick
        off = np.where(np.abs(off) < 8.0, off, 0.0)
    rate = -_along(normals, foot, move, pivot) / slant[:, None]
    return thick + off - demand.limit, rate


def _distance(received: AsReceived, demand: Demand, move: Rigid, pivot: Pivot) -> Row:
    """The as-cast face's middle against its drawn distance from the machined face."""
    part = received.part
    machined = _face(part, demand, demand.machined, "machined")
    assert machined.normal is not None
    skin = face_skin(part, demand.cast)
    off = _skin_offset(received, skin)
    way = move.directions(np.array([machined.normal]))
    seen = np.isfinite(off)
    lies = float(skin.area[seen] @ (off * (skin.normals @ way[0]))[seen] / skin.area[seen].sum())
    spot = move.points(np.array([machined.centroid]))
    gone = float((spot[0] - machined.centroid) @ way[0])
    rate = _along(way, spot, move, pivot)
    return np.array([demand.limit + (gone - lies), demand.limit - (gone - lies)]), np.concatenate([rate, -rate])
