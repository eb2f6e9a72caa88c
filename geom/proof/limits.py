"""How far each face of the finished part may be off, and why.

A face whose tolerance the job states keeps to it; any other has to lie where it
is drawn, as near as the readout goes. Holes keep to their callout's limits, or
to what a drill holds. Lengths mm. Knows parts and settings; no rows, no sweeps.
"""

from dataclasses import dataclass
from typing import Final

from geom.model.part import Part, PartFace, PartHole
from geom.settings.records import Settings
from geom.space import dot, sub
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

RESOLUTION: Final = 0.001
"""mm: the proof tells a deviation from none beyond this; what lies below may be the arithmetic's."""

AS_CAST: Final = 0.06
"""A cut this shallow, mm, on a face that stays as cast is within how true the casting's own edges are."""

_DRILLED: Final = 0.025
"""mm off its wall that a plain drilled hole may be: a stock drill counts as the hole's within 0.05 on the diameter."""

_TAPPED: Final = 0.05
"""The same of a tap drill: any that leaves enough thread will do."""

_SEAT: Final = 0.05
"""The same of the wall of a seat for a screw head, and of a countersink (common practice)."""

_ROUNDED: Final = 0.03
"""mm that may stay on a hollow round which runs into flat walls: straight moves of a narrower cutter make it (common practice)."""

_POINT: Final = 0.1
"""mm that the point of a drill may lie off the drawn floor of a blind hole (common practice)."""


@dataclass(frozen=True, slots=True)
class Limit:
    """What a face may be off.

    Attributes:
        proud, deep: greatest metal left over and greatest gouge, mm, the readout's rounding apart.
        rounded: whether the readout's rounding is added: not to a tolerance that the job states.
        why: in words.
    """

    proud: float
    deep: float
    rounded: bool
    why: str


def limit_of(face: PartFace, part: Part, settings: Settings) -> Limit:
    """Return what a face may be off."""
    if face.state == "as cast":
        return Limit(float("inf"), AS_CAST, False, "stays as cast")
    asked = settings.faces.get(face.name)
    if asked is not None and asked.tolerance is not None:
        return Limit(asked.tolerance, asked.tolerance, False, "tolerance stated by the job")
    hole = next((h for h in part.holes if h.name == face.hole), None)
    if hole is None:
        return _BETWEEN_WALLS if face.kind == "cylinder" and face.hollow and _runs_into_walls(face, part) else _AS_DRAWN
    return _hole_limit(face, hole)


def _runs_into_walls(face: PartFace, part: Part) -> bool:
    """Tell whether two planes touch a round along it."""
    flat = (f for f in part.faces if f.kind == "plane" and f.hole is None and abs(dot(f.axis, face.axis)) < SAME_DIRECTION)
    return sum(abs(abs(dot(sub(face.origin, f.origin), f.axis)) - face.radius) <= SAME_AXIS for f in flat) >= 2


_AS_DRAWN: Final = Limit(0.0, 0.0, True, "as drawn, to the readout's rounding")
_BETWEEN_WALLS: Final = Limit(_ROUNDED, 0.0, True, "a round between walls")


def _hole_limit(face: PartFace, hole: PartHole) -> Limit:
    if face.kind == "cone":
        blind = hole.point_angle is not None and face.radius <= 0.5 * hole.diameter + SAME_AXIS and _is_tip(face, hole)
        return Limit(_POINT, _POINT, True, "a drill's point") if blind else Limit(_SEAT, _SEAT, True, "a countersink")
    if face.kind != "cylinder":
        return _AS_DRAWN if face.kind == "plane" else Limit(_POINT, _POINT, True, "a floor that is not flat")
    if abs(2.0 * face.radius - hole.diameter) > SAME_AXIS:
        return Limit(_SEAT, _SEAT, True, "a seat or step")
    return _wall_limit(hole)


def _is_tip(face: PartFace, hole: PartHole) -> bool:
    """Tell the cone at the bottom of a hole from one at its mouth."""
    deep = -sum((c - o) * a for c, o, a in zip(face.centroid, hole.centre, hole.axis, strict=True))
    return not hole.through and deep >= (hole.depth or 0.0) - SAME_AXIS


def _wall_limit(hole: PartHole) -> Limit:
    call = hole.callout
    if call is not None and call.limits is not None:
        low, high = call.limits
        return Limit(0.5 * max(hole.diameter - low, 0.0), 0.5 * max(high - hole.diameter, 0.0), True, f"limits of {call.text}")
    if call is not None and call.thread is not None:
        return Limit(_TAPPED, _TAPPED, True, "a tap drill's hole")
    return Limit(_DRILLED, _DRILLED, True, "a drilled hole")
