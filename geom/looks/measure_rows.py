"""What to measure before the work is unclamped: heights, bores, centre distances, each with its limits.

Nominals are the drawing's, metal left on purpose counted. Limits are the
callout's or the face's own tolerance; without one the drawing's general
tolerance, of the casting where the size ends on skin, and the row says so.
Lengths mm. Knows nothing of cutters.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from geom.errors import StandardError
from geom.kernel.extent import face_box
from geom.model.part import Part, PartFace, PartHole
from geom.rows.plan import PlannedSetup
from geom.rows.records import Pattern, Row, Tool, ToolKind
from geom.settings.records import Settings
from geom.space import Frame, Vec3, dot, norm, scale, sub
from geom.standards.tolerance_grades import general_tolerance, tolerance_bounds
from geom.tasks.hole_order import ordered
from geom.tasks.slot import FoundSlot
from geom.tasks.slots import slots_of
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

SECOND_SIDE: Final = "second side to size by height gauge from the machined one"

_PLUG: Final = 20.0
"""Reamed holes up to this diameter, mm, are gauged with a plug; wider ones measured (common practice)."""


def measure_rows(planned: PlannedSetup, part: Part, settings: Settings) -> tuple[Row, ...]:
    """Return the measuring rows of a set-up, numbered 0: faces, then holes, then centre distances, in the part's order."""
    faces = [f for f in part.faces if f.name in planned.features and f.kind == "plane" and f.state != "hole"]
    holes = [h for h in part.holes if h.name in planned.features]
    patterns = _patterns(holes, planned.frame, part)
    slots = [slot for slot in slots_of(part) if slot.name in planned.features]
    return (
        *_faces(faces, planned, part, settings),
        *(_width(slot, settings) for slot in slots),
        *_told_once((row for hole in holes for row in _hole(hole, settings)), patterns),
        *_centres(holes, patterns, planned.frame, settings),
    )


def _width(slot: FoundSlot, settings: Settings) -> Row:
    near, far = slot.walls
    return _row(near.name, "caliper", slot.width, None, f"width of the slot, across to {far.name}", settings)


def measured_bores(cut: Sequence[Row]) -> tuple[Row, ...]:
    """Return cutting rows with a measuring one before each finishing cut of a bore to limits: the head is set by what it reads."""
    found: list[Row] = []
    bored: dict[str, Row] = {}
    for row in cut:
        before = bored.get(row.feature) if row.action == "bore" else None
        if row.action == "bore":
            bored[row.feature] = row
        if row.limits and before is not None:
            note = "before the finishing cut: set the head by what it reads"
            micrometer = Tool("micrometer", "", 0.0)
            found.append(Row(0, row.feature, "measure", micrometer, None, None, None, nominal=before.tool.diameter, note=note))
        found.append(row)
    return tuple(found)


def _row(
    feature: str,
    kind: ToolKind,
    nominal: float,
    limits: tuple[float, float] | None,
    note: str,
    settings: Settings,
    *,
    label: str = "",
    skin: bool = False,
) -> Row:
    """Return a measuring row; without limits of its own it has the general ones, `skin` where the size ends on as-cast metal."""
    said = ""
    if limits is None:
        limits, said = _general(nominal, settings, skin)
    told = "; ".join(filter(None, (note, said)))
    return Row(0, feature, "measure", Tool(kind, label, 0.0), None, None, None, limits=limits, note=told, nominal=nominal)


def _general(nominal: float, settings: Settings, skin: bool) -> tuple[tuple[float, float] | None, str]:
    """Return the general limits of a size and where they come from."""
    asked = settings.drawing.general
    try:
        if skin:
            grade = settings.casting.grade
            return tolerance_bounds(nominal, grade), f"general, ISO 8062-3 DCTG {grade}"
        half = general_tolerance(nominal, asked)
    except StandardError:
        return None, "no tolerance stated"
    return (nominal - half, nominal + half), f"general, ISO 2768-{asked}"


# --- faces ------------------------------------------------------------------------------


def _faces(faces: list[PartFace], planned: PlannedSetup, part: Part, settings: Settings) -> Iterator[Row]:
    told: set[str] = set()
    for face in faces:
        if face.normal is None or face.name in told:
            continue
        up = planned.frame.local_direction(face.normal)[2]
        if up > 1.0 - SAME_DIRECTION:
            yield from _height(face, planned, part, settings)
        elif abs(up) < SAME_DIRECTION:
            yield from _upright(face, planned, part, settings, told)


def _height(face: PartFace, planned: PlannedSetup, part: Part, settings: Settings) -> Iterator[Row]:
    z, left = planned.frame.local(face.origin)[2], _left(face, planned)
    seat = _named(part, planned.hold.seat)
    if "seat" in planned.hold.machined and seat is not None and planned.frame.local_direction(seat.axis)[2] < SAME_DIRECTION - 1.0:
        over = z - planned.frame.local(seat.origin)[2] + left
        yield _row(
            face.name, "height gauge", over, _limits(face, over, settings), f"over the seat ({seat.name}): {SECOND_SIDE}", settings
        )
    elif (skin := _skin_below(face, planned, part)) is not None:
        nominal = z - planned.frame.local(skin.origin)[2] + left
        yield _row(
            face.name, "caliper", nominal, None, f"through to {skin.name}, as cast: as sure as the skin", settings, skin=True
        )
    elif abs(z) > SAME_AXIS:
        nominal, way = abs(z + left), "above" if z + left > 0 else "below"
        yield _row(face.name, "height gauge", nominal, _limits(face, nominal, settings), f"{way} Z 0, by the readout", settings)


def _skin_below(face: PartFace, planned: PlannedSetup, part: Part) -> PartFace | None:
    """Return the largest level as-cast face right under a face, where Z came from skin: then only that tells its height."""
    if any("z" in one.axes and one.machined for one in planned.pick_ups) or not planned.pick_ups:
        return None
    z = planned.frame.local(face.origin)[2]
    level = [f for f in part.as_cast if f.kind == "plane" and planned.frame.local_direction(f.axis)[2] < SAME_DIRECTION - 1.0]
    under = [f for f in level if planned.frame.local(f.origin)[2] < z - SAME_AXIS and _overlap(face, f, planned, part) > 0.5]
    return max(under, key=lambda f: (round(f.area, 3), f.name), default=None)


def _overlap(face: PartFace, other: PartFace, planned: PlannedSetup, part: Part) -> float:
    """Return how much of the smaller of two faces' boxes the other covers, seen from above: 0 to 1."""
    boxes = [face_box(part.finished, f.surfaces, planned.frame) for f in (face, other)]
    wide = [min(high[i] for _, high in boxes) - max(low[i] for low, _ in boxes) for i in (0, 1)]
    areas = [(high[0] - low[0]) * (high[1] - low[1]) for low, high in boxes]
    return max(wide[0], 0.0) * max(wide[1], 0.0) / max(min(areas), SAME_AXIS)


def _upright(face: PartFace, planned: PlannedSetup, part: Part, settings: Settings, told: set[str]) -> Iterator[Row]:
    other = _opposite(face, planned, part)
    if other is not None:
        told.add(other.name)
        nominal = abs(dot(sub(face.origin, other.origin), face.axis)) + _left(face, planned) + _left(other, planned)
        yield _row(face.name, "caliper", nominal, _limits(face, nominal, settings), f"across to {other.name}", settings)
        return
    nominal = dot(sub(face.origin, planned.frame.origin), face.axis) + _left(face, planned)
    if abs(nominal) > SAME_AXIS:
        yield _row(face.name, "caliper", abs(nominal), _limits(face, abs(nominal), settings), "from the zero", settings)


def _opposite(face: PartFace, planned: PlannedSetup, part: Part) -> PartFace | None:
    """Return the machined plane that faces the other way, behind the face, cut here or held by; the farthest of several."""
    held = {"seat": planned.hold.seat, "fixed jaw": planned.hold.fixed_jaw, "clamp": planned.hold.clamp}
    there = {name for place, name in held.items() if place in planned.hold.machined} | set(planned.features)
    behind = [
        f
        for f in part.machined
        if f.name in there
        and f.kind == "plane"
        and norm(sub(f.axis, scale(face.axis, -1.0))) < SAME_DIRECTION
        and dot(sub(face.origin, f.origin), face.axis) > SAME_AXIS
    ]
    return max(behind, key=lambda f: (round(dot(sub(face.origin, f.origin), face.axis), 6), f.area, f.name), default=None)


def _left(face: PartFace, planned: PlannedSetup) -> float:
    return dict(planned.leaves).get(face.name, 0.0)


def _limits(face: PartFace, nominal: float, settings: Settings) -> tuple[float, float] | None:
    """Return the face's own tolerance about a nominal."""
    asked = settings.faces.get(face.name)
    if asked is None or asked.tolerance is None:
        return None
    return nominal - asked.tolerance, nominal + asked.tolerance


def _named(part: Part, name: str) -> PartFace | None:
    return next((f for f in part.faces if f.name == name), None)


# --- holes -----------------------------------------------------------------------------------


def _hole(hole: PartHole, settings: Settings) -> Iterator[Row]:
    """Yield what of one hole is worth measuring: fitted, threaded and cored ones; a plain drill's size is the drill's."""
    call = hole.callout
    if call is not None and call.thread is not None:
        note = "" if hole.through or hole.depth is None else "to the depth of thread wanted"
        yield Row(0, hole.name, "measure", Tool("thread gauge", call.thread.designation, 0.0), None, None, None, note=note)
    elif call is not None and call.purpose == "reamed":
        kind: ToolKind = "plug gauge" if call.diameter <= _PLUG else "micrometer"
        yield _row(hole.name, kind, call.diameter, call.limits, "diameter", settings, label=call.text.removeprefix("reamed "))
    elif call is not None and call.purpose == "bored":
        yield _row(hole.name, "micrometer", call.diameter, call.limits, "bore, at both ends and crosswise", settings)
    elif hole.source == "core":
        yield _row(hole.name, "caliper", hole.diameter, None, "bore", settings)
    if hole.source == "core" or (call is not None and call.purpose in ("reamed", "bored")):
        yield from _steps(hole, settings)


def _steps(hole: PartHole, settings: Settings) -> Iterator[Row]:
    """Yield the wider lengths of a bored hole: their diameters, and how deep they end."""
    for step in hole.steps:
        if step.start_diameter == step.end_diameter > hole.diameter + SAME_AXIS:
            yield _row(hole.name, "caliper", step.end_diameter, None, "wider length, diameter", settings)
            yield _row(hole.name, "caliper", step.end, None, "its floor below the mouth", settings)


# --- patterns ------------------------------------------------------------------------------


def _patterns(holes: list[PartHole], frame: Frame, part: Part) -> tuple[Pattern, ...]:
    upright = [h for h in holes if _is_upright(h, frame)]
    rounds = [f.origin for f in part.faces if f.kind == "cylinder" and abs(frame.local_direction(f.axis)[2]) > 1.0 - SAME_DIRECTION]
    return tuple(ordered(upright, frame, [(0.0, 0.0), *(frame.local(p)[:2] for p in rounds)])[1])


def _is_upright(hole: PartHole, frame: Frame) -> bool:
    return abs(frame.local_direction(hole.axis)[2]) > 1.0 - SAME_DIRECTION


def _told_once(rows: Iterable[Row], patterns: Sequence[Pattern]) -> Iterator[Row]:
    """Yield rows with what is the same for all holes of a pattern told once, by the pattern's name."""
    told: set[tuple[str, Row]] = set()
    for row in rows:
        pattern = next((p for p in patterns if row.feature in p.holes), None)
        if pattern is None:
            yield row
            continue
        each = f"each of its {len(pattern.holes)}"
        one = replace(row, feature=pattern.name, note="; ".join(filter(None, (each, row.note))))
        if (pattern.name, one) not in told:
            told.add((pattern.name, one))
            yield one


def _centres(holes: list[PartHole], patterns: Sequence[Pattern], frame: Frame, settings: Settings) -> Iterator[Row]:
    """Yield centre distances: of patterns, then of fitted holes that stand alone."""
    for pattern in patterns:
        yield from _pattern(pattern, settings)
    patterned = {name for pattern in patterns for name in pattern.holes}
    for hole in holes:
        fitted = hole.callout is not None and hole.callout.purpose in ("reamed", "bored")
        if fitted and hole.name not in patterned and _is_upright(hole, frame):
            yield from _from_zero(hole.name, frame.local(hole.centre), "its axis", settings)


def _pattern(pattern: Pattern, settings: Settings) -> Iterator[Row]:
    count = len(pattern.holes)
    if pattern.kind == "rectangle":
        for size, which in zip(pattern.size, ("left to right", "front to back"), strict=False):
            yield _row(pattern.name, "caliper", size, None, f"between axes, {which}", settings)
    elif count % 2 == 0:
        yield _row(pattern.name, "caliper", pattern.size[0], None, "between the axes of opposite holes", settings)
    else:
        chord = pattern.size[0] * math.sin(math.pi / count)
        yield _row(pattern.name, "caliper", round(chord, 3), None, f"between the axes of neighbouring holes of {count}", settings)
    yield from _from_zero(pattern.name, (*pattern.centre, 0.0), "its centre", settings)


def _from_zero(name: str, at: Vec3, what: str, settings: Settings) -> Iterator[Row]:
    away = math.hypot(at[0], at[1])
    if away > SAME_AXIS:
        yield _row(name, "caliper", round(away, 3), None, f"from the zero to {what}", settings)
