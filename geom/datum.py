"""Where the readout shows 0, from the name the job gives it.

Turns "the axis of bore 1", "the middle of left and right", "the corner of left
and front" or "the centre of these holes" into a point and a frame, and says in
words why. Lengths mm, part frame. Knows nothing of set-ups, readings or machines.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from geom.errors import JobError
from geom.lookup import face as face_called
from geom.lookup import face_names, hole, hole_names, listed, no_such
from geom.part import Part, PartFace, PartHole
from geom.pattern_centre import pattern_centre
from geom.settings import DatumSettings
from geom.space import (
    X_AXIS,
    Y_AXIS,
    Z_AXIS,
    Frame,
    Vec3,
    add,
    canonical,
    cross,
    dot,
    frame_facing,
    norm,
    scale,
    sub,
    unit,
)
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

_PART_AXES: Final = {
    "+x": X_AXIS,
    "-x": (-1.0, 0.0, 0.0),
    "+y": Y_AXIS,
    "-y": (0.0, -1.0, 0.0),
    "+z": Z_AXIS,
    "-z": (0.0, 0.0, -1.0),
}
_LEANS: Final = 0.7072
"""A direction whose cosine to "up" is above this lies more along it than square to it (45 degrees)."""


@dataclass(frozen=True, slots=True)
class Zero:
    """The zero of a job, seen from one direction.

    Attributes:
        frame: origin at the zero; X right, Y away, Z up, all in the part frame.
        name: for a heading: "axis of bore 1, Z 0 on top".
        source: the job names it, or nobody did and the default stands.
        why: one sentence for the sheet.
        features: names of the faces and holes it is picked up from.
    """

    frame: Frame
    name: str
    source: Literal["job", "default"]
    why: str
    features: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Level:
    """Z 0: a point at that height, the way up, the words for it and the face it is on, if one is there."""

    point: Vec3
    up: Vec3
    says: str
    face: str | None


@dataclass(frozen=True, slots=True)
class _Spot:
    """X 0 and Y 0: a point on the vertical through it, the words for it and the features it is held by."""

    point: Vec3
    says: str
    features: tuple[str, ...]


def resolve_zero(part: Part, datum: DatumSettings) -> Zero:
    """Return the zero a job names, or the default: the middle of the finished part's box, on its top.

    Args:
        datum: the `[datum]` table; names as the part has them.

    Raises:
        JobError: a name that is missing or ambiguous, or faces and holes that do not settle one point;
            the message lists the candidates.
    """
    where = datum.where
    _one_way(datum)
    level = _level(part, datum)
    spot = _spot(part, datum, level)
    if spot is None:
        spot, source = _Spot(_box_middle(part), "the middle of the finished part's box", ()), "default"
    else:
        source = "job"
    origin = add(spot.point, scale(level.up, dot(sub(level.point, spot.point), level.up)))
    x, x_says = _x_direction(part, datum, origin, level.up)
    frame = _frame(origin, level.up, x, where.get("x", "datum.x"))
    name = f"{spot.says}, Z 0 on {level.says}"
    why = f"X 0 and Y 0 are {spot.says}, Z 0 is {level.says}; X points {x_says}"
    if source == "default":
        why = f"the job names no zero, so the default stands: {why}"
    features = (*spot.features, *([level.face] if level.face else []))
    return Zero(frame, name, "job" if source == "job" else "default", why, tuple(dict.fromkeys(features)))


def zero_facing(zero: Zero, up: Vec3) -> Zero:
    """Return the same zero point seen in a set-up that faces `up`.

    X stays the X of the first direction, made square to `up`, when it lies
    within 45 degrees of square; else X is the first direction's Y. So work that
    is turned over rolls about its X, front to back, as in a vise.

    Args:
        up: part-frame direction the spindle faces.
    """
    first = zero.frame
    if dot(first.z, unit(up)) > 1 - SAME_DIRECTION**2:
        return zero
    hint = first.y if abs(dot(first.x, unit(up))) > _LEANS else first.x
    return replace(zero, frame=frame_facing(first.origin, up, hint))


def _one_way(datum: DatumSettings) -> None:
    """Refuse two ways to say where X 0 and Y 0 are; a middle and a corner may share the two directions."""
    ways = [way for way in ("zero", "middle", "corner", "pattern") if getattr(datum, way)]
    if len(ways) > 1 and ways != ["middle", "corner"]:
        raise JobError(f"{datum.where[ways[1]]}: the zero is named twice, by {' and '.join(ways)}; keep one of them")


# --- Z 0 --------------------------------------------------------------------


def _level(part: Part, datum: DatumSettings) -> _Level:
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


def _on_face(face: PartFace) -> _Level:
    return _Level(face.centroid, face.axis, face.name, face.name)


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


def _box_top(part: Part, up: Vec3) -> _Level:
    low, high = part.finished.box
    top = high if sum(up) > 0 else low
    level = [f for f in part.faces if f.kind == "plane" and f.state != "hole" and dot(f.axis, up) > 1 - SAME_DIRECTION**2]
    there = [f for f in level if abs(dot(sub(f.centroid, top), up)) < SAME_AXIS]
    if there:
        face = max(there, key=lambda f: (round(f.area, 3), f.name))
        return _Level(top, up, face.name, face.name)
    return _Level(top, up, "the highest point of the finished part", None)


def _box_middle(part: Part) -> Vec3:
    low, high = part.finished.box
    return scale(add(low, high), 0.5)


# --- X 0 and Y 0 ------------------------------------------------------------


def _spot(part: Part, datum: DatumSettings, level: _Level) -> _Spot | None:
    if datum.zero is not None:
        return _axis_spot(part, datum.zero, datum.where["zero"], level)
    if datum.pattern:
        return _pattern_spot(part, datum.pattern, datum.where["pattern"], level)
    if datum.middle or datum.corner:
        return _plane_spot(part, datum, level)
    return None


def _axis_spot(part: Part, name: str, where: str, level: _Level) -> _Spot:
    feature = _with_axis(part, name, where)
    _check_upright(feature, level, where)
    point = feature.centre if isinstance(feature, PartHole) else feature.origin
    return _Spot(point, f"the axis of {name}", (name,))


def _pattern_spot(part: Part, names: Sequence[str], where: str, level: _Level) -> _Spot:
    if len(set(names)) < len(names):
        raise JobError(f"{where}: a hole is named twice; name each hole of the pattern once")
    holes = [hole(part, name, where) for name in names]
    for one in holes:
        _check_upright(one, level, where)
    flat = _frame(level.point, level.up, _default_x(level.up)[0], where)
    found = pattern_centre([flat.local(one.centre)[:2] for one in holes], where)
    return _Spot(flat.part((*found.centre, 0.0)), f"the centre of the {found.says} of {names[0]} to {names[-1]}", tuple(names))


def _plane_spot(part: Part, datum: DatumSettings, level: _Level) -> _Spot:
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
    return _Spot(point, f"{says1} and {says2}", (*datum.middle, *datum.corner))


_PlaneAt = tuple[Vec3, float, str]


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


def _corners(part: Part, datum: DatumSettings, level: _Level) -> list[_PlaneAt]:
    where = datum.where.get("corner", "")
    faces = [_plane(part, name, where) for name in datum.corner if name != level.face]
    return [(face.axis, dot(face.origin, face.axis), f"the edge of {face.name}") for face in faces]


def _crossing(a: tuple[Vec3, float], b: tuple[Vec3, float], c: tuple[Vec3, float]) -> Vec3:
    """Return the point on three planes (normal, distance from the origin)."""
    volume = dot(a[0], cross(b[0], c[0]))
    parts = (scale(cross(b[0], c[0]), a[1]), scale(cross(c[0], a[0]), b[1]), scale(cross(a[0], b[0]), c[1]))
    return scale(add(add(parts[0], parts[1]), parts[2]), 1 / volume)


# --- which way X points -----------------------------------------------------


def _x_direction(part: Part, datum: DatumSettings, origin: Vec3, up: Vec3) -> tuple[Vec3, str]:
    if datum.x is None:
        return _default_x(up)
    where = datum.where["x"]
    if datum.x in _PART_AXES:
        return _PART_AXES[datum.x], f"along the part's {datum.x.upper()}"
    word, _, name = datum.x.partition(" ")
    if word != "towards" or not name:
        raise JobError(f'{where}: "{datum.x}" is no direction; give {", ".join(_PART_AXES)} or "towards NAME" of a face or hole')
    return _towards(part, name.strip(), origin, up, where), f"towards {name.strip()}"


def _default_x(up: Vec3) -> tuple[Vec3, str]:
    """Return the part's X, or its Y when X lies more along `up` than square to it."""
    return (Y_AXIS, "along the part's +Y") if abs(dot(X_AXIS, up)) > _LEANS else (X_AXIS, "along the part's +X")


def _towards(part: Part, name: str, origin: Vec3, up: Vec3, where: str) -> Vec3:
    holes = [h for h in part.holes if h.name == name]
    faces = [f for f in part.faces if f.name == name and f.state != "hole"]
    if not holes and not faces:
        raise JobError(no_such("face or hole", name, (*hole_names(part), *face_names(part)), where))
    if not holes and faces[0].kind == "plane" and abs(dot(faces[0].axis, up)) < _LEANS:
        return faces[0].axis
    target = holes[0].centre if holes else faces[0].origin if faces[0].kind in ("cylinder", "cone") else faces[0].centroid
    way = sub(target, origin)
    flat = sub(way, scale(up, dot(way, up)))
    if norm(flat) < SAME_AXIS:
        raise JobError(f"{where}: {name} lies on the zero itself, so X has no direction towards it; name another")
    return flat


def _frame(origin: Vec3, up: Vec3, x: Vec3, where: str) -> Frame:
    try:
        return frame_facing(origin, up, x)
    except ValueError:
        raise JobError(f"{where}: X would point along Z; choose a direction square to the face that is Z 0") from None


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


def _check_upright(feature: PartHole | PartFace, level: _Level, where: str) -> None:
    if not _parallel(feature.axis, level.up):
        runs = f"{feature.name} does not run square to {level.says}, which is Z 0"
        raise JobError(f"{where}: {runs}; name another, or a z face that {feature.name} stands square to")


def _parallel(a: Vec3, b: Vec3) -> bool:
    return norm(cross(a, b)) < SAME_DIRECTION
