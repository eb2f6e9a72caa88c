"""Where the readout shows 0, from the name the job gives it.

Turns "the axis of bore 1", "the middle of left and right", "the corner of left
and front" or "the centre of these holes" into a point and a frame, and says in
words why. Lengths mm, part frame. Knows nothing of set-ups, readings or machines.
"""

from dataclasses import dataclass, replace
from typing import Final, Literal

from geom.datum.place import LEANS, Spot, box_middle, check_one_way, level_of, spot_of, steady_x
from geom.errors import JobError
from geom.model.lookup import face_names, hole_names, no_such
from geom.model.part import Part
from geom.settings.records import DatumSettings
from geom.space import X_AXIS, Y_AXIS, Z_AXIS, Frame, Vec3, add, dot, frame_facing, norm, scale, sub, unit
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

_PART_AXES: Final = {
    "+x": X_AXIS,
    "-x": (-1.0, 0.0, 0.0),
    "+y": Y_AXIS,
    "-y": (0.0, -1.0, 0.0),
    "+z": Z_AXIS,
    "-z": (0.0, 0.0, -1.0),
}


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


def resolve_zero(part: Part, datum: DatumSettings) -> Zero:
    """Return the zero a job names, or the default: the middle of the finished part's box, on its top.

    Args:
        datum: the `[datum]` table; names as the part has them.

    Raises:
        JobError: a name that is missing or ambiguous, or faces and holes that do not settle one point;
            the message lists the candidates.
    """
    check_one_way(datum)
    level = level_of(part, datum)
    named = spot_of(part, datum, level)
    spot = named or Spot(box_middle(part), "the middle of the finished part's box", ())
    origin = add(spot.point, scale(level.up, dot(sub(level.point, spot.point), level.up)))
    x, x_says = _x_direction(part, datum, origin, level.up)
    frame = _frame(origin, level.up, x, datum.where.get("x", "datum.x"))
    why = f"X 0 and Y 0 are {spot.says}, Z 0 is {level.says}; X points {x_says}"
    if named is None:
        why = f"the job names no zero, so the default stands: {why}"
    features = (*spot.features, *([level.face] if level.face else []))
    return Zero(frame, f"{spot.says}, Z 0 on {level.says}", "job" if named else "default", why, tuple(dict.fromkeys(features)))


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
    hint = first.y if abs(dot(first.x, unit(up))) > LEANS else first.x
    return replace(zero, frame=frame_facing(first.origin, up, hint))


# --- which way X points -----------------------------------------------------


def _x_direction(part: Part, datum: DatumSettings, origin: Vec3, up: Vec3) -> tuple[Vec3, str]:
    if datum.x is None:
        steady = steady_x(up)
        return steady, "along the part's +X" if steady == X_AXIS else "along the part's +Y"
    where = datum.where["x"]
    if datum.x in _PART_AXES:
        return _PART_AXES[datum.x], f"along the part's {datum.x.upper()}"
    word, _, name = datum.x.partition(" ")
    if word != "towards" or not name:
        raise JobError(f'{where}: "{datum.x}" is no direction; give {", ".join(_PART_AXES)} or "towards NAME" of a face or hole')
    return _towards(part, name.strip(), origin, up, where), f"towards {name.strip()}"


def _towards(part: Part, name: str, origin: Vec3, up: Vec3, where: str) -> Vec3:
    holes = [h for h in part.holes if h.name == name]
    faces = [f for f in part.faces if f.name == name and f.state != "hole"]
    if not holes and not faces:
        raise JobError(no_such("face or hole", name, (*hole_names(part), *face_names(part)), where))
    if not holes and faces[0].kind == "plane" and abs(dot(faces[0].axis, up)) < LEANS:
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
