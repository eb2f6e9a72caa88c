"""The features a zero is held by: the face that is Z 0, and the point that is X 0 and Y 0.

An axis, the middle of two faces, a corner or the centre of a pattern, by the
names the job gives. Lengths mm, part frame. Knows nothing of which way X points
or of frames.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from geom.errors import JobError
from geom.model.lookup import face as face_called
from geom.model.lookup import face_names, hole, hole_names, listed, no_such
from geom.model.part import Part, PartFace, PartHole
from geom.model.pattern_centre import pattern_centre
from geom.settings.records import DatumSettings
from geom.space import X_AXIS, Y_AXIS, Z_AXIS, Vec3, add, canonical, cross, dot, frame_facing, norm, scale, sub
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

LEANS: Final = 0.7072
"""A direction whose cosine to "up" is above this lies more along it than square to it (45 degrees)."""


@dataclass(frozen=True, slots=True)
class Level:
    """Z 0: a point at that height, the way up, the words for it and the face it is on, if one is there."""

    point: Vec3
    up: Vec3
    says: str
    face: str | None


@dataclass(frozen=True, slots=True)
class Spot:
    """X 0 and Y 0: a point on the vertical through it, the words for it and the features it is held by."""

    point: Vec3
    says: str
    features: tuple[str, ...]


def check_one_way(datum: DatumSettings) -> None:
    """Refuse two ways to say where X 0 and Y 0 are; a middle and a corner may share the two directions."""
    ways = [way for way in ("zero", "middle", "corner", "pattern") if getattr(datum, way)]
    if len(ways) > 1 and ways != ["middle", "corner"]:
        raise JobError(f"{datum.where[ways[1]]}: the zero is named twice, by {' and '.join(ways)}; keep one of them")


# --- Z 0 --------------------------------------------------------------------


def level_of(part: Part, datum: DatumSettings) -> Level:
    """Return where Z 0 is and which way is up: the z face, a corner's upward face, else the part's top along the named axis."""
    if datum.z is not None:
        return _on_face(_plane(part, datum.z, datum.where["z"]))
    if len(datum.corner) == 3:
        faces = [_plane(part, name, datum.where["corner"]) for name in datum.corner]
        return _on_face(max(faces, key=lambda face: dot(face.axis, Z_AXIS)))
    up = _way_up(part, datum)
    if max(abs(c) for c in up) < 1 - SAME_DIRECTION**2:
        place = datum.where.get("zero") or datum.where.get("pattern") or "datum"
        raise JobError(
            f"{place}: the axis leans, so the part has no one top along it; add z = with a face: {listed(_plane_names(part))}"
        )
    return _box_top(part, up)


def _on_face(face: PartFace) -> Level:
    return Level(face.centroid, face.axis, face.name, face.name)


def _way_up(part: Part, datum: DatumSettings) -> Vec3:
    """Return the part's Z, unless the named axis runs another way or its hole opens only downward."""
    if datum.zero is not None:
        feature = _with_axis(part, datum.zero, datum.where["zero"])
    elif datum.pattern:
        feature = hole(part, datum.pattern[0], datum.where["pattern"])
    else:
        return Z_AXIS
    if isinstance(feature, PartHole) and not (feature.through and _parallel(feature.axis, Z_AXIS)):
        return feature.axis
    return canonical(feature.axis)


def _box_top(part: Part, up: Vec3) -> Level:
    low, high = part.finished.box
    top = high if sum(up) > 0 else low
    level = [f for f in part.faces if f.kind == "plane" and f.state != "hole" and dot(f.axis, up) > 1 - SAME_DIRECTION**2]
    there = [f for f in level if abs(dot(sub(f.centroid, top), up)) < SAME_AXIS]
    if there:
        face = max(there, key=lambda f: (round(f.area, 3), f.name))
        return Level(top, up, face.name, face.name)
    return Level(top, up, "the highest point of the finished part", None)


def box_middle(part: Part) -> Vec3:
    """Return the middle of the finished part's box."""
    low, high = part.finished.box
    return scale(add(low, high), 0.5)


# --- X 0 and Y 0 ------------------------------------------------------------


def spot_of(part: Part, datum: DatumSettings, level: Level) -> Spot | None:
    """Return where X 0 and Y 0 are, or None when the job does not say."""
    if datum.zero is not None:
        return _axis_spot(part, datum.zero, datum.where["zero"], level)
    if datum.pattern:
        return _pattern_spot(part, datum.pattern, datum.where["pattern"], level)
    if datum.middle or datum.corner:
        return _plane_spot(part, datum, level)
    return None


def _axis_spot(part: Part, name: str, where: str, level: Level) -> Spot:
    feature = _with_axis(part, name, where)
    _check_upright(feature, level, where)
    point = feature.centre if isinstance(feature, PartHole) else feature.origin
    return Spot(point, f"the axis of {name}", (name,))


def _pattern_spot(part: Part, names: Sequence[str], where: str, level: Level) -> Spot:
    if len(set(names)) < len(names):
        raise JobError(f"{where}: a hole is named twice; name each hole of the pattern once")
    holes = [hole(part, name, where) for name in names]
    for one in holes:
        _check_upright(one, level, where)
    flat = frame_facing(level.point, level.up, steady_x(level.up))
    found = pattern_centre([flat.local(one.centre)[:2] for one in holes], where)
    return Spot(flat.part((*found.centre, 0.0)), f"the centre of the {found.says} of {names[0]} to {names[-1]}", tuple(names))


def _plane_spot(part: Part, datum: DatumSettings, level: Level) -> Spot:
    """Return where two upright planes cross: each a face, or midway between a pair."""
    planes = _middles(part, datum) + _corners(part, datum, level)
    where = datum.where.get("middle") or datum.where["corner"]
    for normal, _, says in planes:
        if abs(dot(normal, level.up)) > SAME_DIRECTION:
            raise JobError(f"{where}: {says} does not stand square to {level.says}, which is Z 0; name upright faces")
    if len(planes) != 2:
        settled = "one direction is" if len(planes) == 1 else f"{len(planes)} directions are"
        raise JobError(f"{where}: {settled} settled, two are needed; give two pairs in middle, two faces in corner, or one of each")
    (n1, d1, says1), (n2, d2, says2) = planes
    if norm(cross(n1, n2)) < 0.1:
        raise JobError(f"{where}: {says1} and {says2} settle the same direction; name faces that stand across each other")
    point = _crossing((n1, d1), (n2, d2), (level.up, dot(level.point, level.up)))
    return Spot(point, f"{says1} and {says2}", (*datum.middle, *datum.corner))


_PlaneAt: TypeAlias = tuple[Vec3, float, str]
"""A plane: unit normal, distance from the part's origin along it, and the words for it."""


def _middles(part: Part, datum: DatumSettings) -> list[_PlaneAt]:
    names, where = datum.middle, datum.where.get("middle", "")
    if len(names) % 2:
        raise JobError(f"{where}: has {len(names)} faces; name them in pairs, two or four")
    return [_midway(part, a, b, where) for a, b in zip(names[::2], names[1::2], strict=True)]


def _midway(part: Part, a: str, b: str, where: str) -> _PlaneAt:
    one, other = _plane(part, a, where), _plane(part, b, where)
    if not _parallel(one.axis, other.axis):
        raise JobError(
            f"{where}: {a} and {b} are not parallel, so there is no one middle; name two faces that look at each other's back"
        )
    if a == b:
        raise JobError(f"{where}: {a} is named twice; name the two faces zero lies between")
    normal = canonical(one.axis)
    return normal, (dot(one.origin, normal) + dot(other.origin, normal)) / 2, f"the middle of {a} and {b}"


def _corners(part: Part, datum: DatumSettings, level: Level) -> list[_PlaneAt]:
    where = datum.where.get("corner", "")
    faces = [_plane(part, name, where) for name in datum.corner if name != level.face]
    return [(face.axis, dot(face.origin, face.axis), f"the edge of {face.name}") for face in faces]


def _crossing(a: tuple[Vec3, float], b: tuple[Vec3, float], c: tuple[Vec3, float]) -> Vec3:
    """Return the point on three planes (normal, distance from the origin)."""
    volume = dot(a[0], cross(b[0], c[0]))
    parts = (scale(cross(b[0], c[0]), a[1]), scale(cross(c[0], a[0]), b[1]), scale(cross(a[0], b[0]), c[1]))
    return scale(add(add(parts[0], parts[1]), parts[2]), 1 / volume)


# --- features by name -------------------------------------------------------


def _plane_names(part: Part) -> tuple[str, ...]:
    return tuple(f.name for f in part.faces if f.kind == "plane" and f.state != "hole")


def _plane(part: Part, name: str, where: str) -> PartFace:
    if name not in face_names(part):
        raise JobError(no_such("plane face", name, _plane_names(part), where))
    found = face_called(part, name, where)
    if found.kind != "plane":
        raise JobError(f"{where}: {name} is a {found.kind}, not a plane face; name one of {listed(_plane_names(part))}")
    return found


def _with_axis(part: Part, name: str, where: str) -> PartHole | PartFace:
    """Return the hole, bore or boss of that name."""
    round_faces: Mapping[str, PartFace] = {f.name: f for f in part.faces if f.kind in ("cylinder", "cone") and f.state != "hole"}
    holes = [h for h in part.holes if h.name == name]
    if holes:
        return holes[0]
    if name in round_faces:
        return round_faces[name]
    if name in face_names(part):
        raise JobError(f"{where}: {name} has no axis; name a bore, boss or hole, or use middle or corner for faces")
    raise JobError(no_such("bore, boss or hole", name, (*hole_names(part), *round_faces), where))


def _check_upright(feature: PartHole | PartFace, level: Level, where: str) -> None:
    if not _parallel(feature.axis, level.up):
        runs = f"{feature.name} does not run square to {level.says}, which is Z 0"
        raise JobError(f"{where}: {runs}; name another, or a z face that {feature.name} stands square to")


def _parallel(a: Vec3, b: Vec3) -> bool:
    return norm(cross(a, b)) < SAME_DIRECTION


def steady_x(up: Vec3) -> Vec3:
    """Return the part's X, or its Y when X lies more along `up` than square to it."""
    return Y_AXIS if abs(dot(X_AXIS, up)) > LEANS else X_AXIS
