"""What there is to machine, and from which directions each feature can be made.

A task is one hole, one slot, one machined plane or one hollow round, with the rows that
make it from every direction in which a straight cutter reaches it past the rest
of the finished part. Edge breaks and shapes that need more than straight moves
are listed with the reason instead. Lengths mm; each direction's rows are in its
own frame. Knows nothing of which directions are chosen, nor of row order.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from geom.datum.zero import Zero, zero_facing
from geom.directions import distinct, same_way
from geom.kernel.extent import face_box
from geom.model.part import Part, PartFace, PartHole
from geom.rays.rays import skin_of
from geom.rows.plan import Blocked
from geom.rows.records import LeftOut, Row, Tool
from geom.settings.records import Settings
from geom.shop.records import Cutter
from geom.space import Frame, Vec3, norm, scale, sub
from geom.tasks.corners import Corner, answers, corners_of, kept, least_radius, widest_in
from geom.tasks.face_rows import Leaves, edge_row, face_row, faces_up, is_low, is_open_above, stands_upright
from geom.tasks.hole_rows import hole_rows
from geom.tasks.mouth_rows import is_plain_through, mouth_of, unmade, widest
from geom.tasks.practice import LEAST_BORE, SAME_SIZE, Practice, practice, tidy
from geom.tasks.reach import View, blocked_spans, clear_disc, view
from geom.tasks.slot import FoundSlot
from geom.tasks.slots import slots_of
from geom.tolerance import SAME_AXIS

_PAST = 0.05
"""mm past a hole's far side at which looking for the next metal starts: beyond the noise of both."""

_EDGE_BREAK = 3.0
"""A plane narrower than this, mm, that no hole and no wider machined plane faces is a chamfer, not a face to clamp for."""


@dataclass(frozen=True, slots=True)
class Task:
    """One feature to make.

    Attributes:
        name: the face's or hole's.
        options: direction number -> rows numbered 0 that make it from there.
        best: the directions to take if they are there: a plane faces up, a hole opens on a machined plane.
        hole: the hole, when it is one; slot: the slot.
        kept: inner corners that it does not come out of as drawn from any of them.
    """

    name: str
    options: Mapping[int, tuple[Row, ...]]
    best: frozenset[int] = frozenset()
    hole: PartHole | None = None
    slot: FoundSlot | None = None
    kept: tuple[Corner, ...] = ()


@dataclass(frozen=True, slots=True)
class Tasks:
    """All of a part's: directions in order, tasks, what gets no row, and what no row makes as drawn."""

    ways: tuple[Vec3, ...]
    tasks: tuple[Task, ...]
    left_out: tuple[LeftOut, ...]
    round_left: tuple[Blocked, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """The part from one direction."""

    up: Vec3
    frame: Frame
    seen: View = field(repr=False)


def tasks_of(part: Part, zero: Zero, settings: Settings) -> Tasks:
    """Return what there is to machine, each with its directions; see `Tasks`."""
    use, breaks = practice(settings), _edge_breaks(part)
    slots = slots_of(part)
    taken = {face.name for slot in slots for face in slot.faces}
    planes = [face for face in _loose(part) if face.kind == "plane" and face not in breaks and face.name not in taken]
    flat = (face.normal for face in planes if face.normal is not None)
    ways = distinct((*_hole_ways(part), *_round_ways(part), *_slot_ways(slots), *flat), zero.frame)
    mesh = skin_of(part.finished).mesh if ways else None
    looks = [Look(up, frame, view(mesh, frame)) for up in ways if mesh for frame in (zero_facing(zero, up).frame,)]
    on_hand = settings.tooling.of("end mill")
    mills = sorted({cutter.diameter for cutter in on_hand}, reverse=True)
    leaves = Leaves({n: f.leave for n, f in settings.faces.items() if f.leave is not None}, use.edge_leave)
    tried = (
        *(_hole_task(hole, part, looks, use, settings) for hole in part.holes),
        *(_plane_task(face, part, looks, leaves, use, on_hand) for face in planes),
        *(_round_task(face, part, looks) for face in _rounds(part) if face.name not in taken),
        *(_slot_task(slot, part, looks, use, mills) for slot in slots),
    )
    made = {t.name: t for t in tried if t.options}
    milled = taken | {c.round.name for c in corners_of(part) if c.round and _milled_along(c, made, ways)}
    left = (*(LeftOut(t.name, _unreached(t)) for t in tried if not t.options), *_shapes(part, breaks, milled), *_unmade(part))
    return Tasks(ways, tuple(made.values()), left, answers([corner for t in made.values() for corner in t.kept], on_hand))


def _milled_along(corner: Corner, made: Mapping[str, Task], ways: Sequence[Vec3]) -> bool:
    """Tell whether the cutter runs into a corner whichever way its walls are made, so that it is made with them."""
    tasks = [made.get(wall.name) for wall in corner.walls if wall.state == "machined"]
    return all(task is not None and all(corner.runs(ways[n]) for n in task.options) for task in tasks)


def _unreached(task: Task) -> str:
    if task.hole is not None:
        return "the rest of the part stands in the spindle's way"
    return "no straight cutter gets there past the rest of the part; a smaller cutter in [shop] may"


def _loose(part: Part) -> Iterator[PartFace]:
    """Yield the machined faces that no hole's rows make."""
    return (face for face in part.machined if face.hole is None)


# --- holes ------------------------------------------------------------------


def _hole_ways(part: Part) -> Iterator[Vec3]:
    for hole in part.holes:
        yield hole.axis
        if is_plain_through(hole):
            yield scale(hole.axis, -1.0)


def _hole_task(hole: PartHole, part: Part, looks: list[Look], use: Practice, settings: Settings) -> Task:
    asked = settings.holes.get(hole.name)
    angle = asked.point_angle if asked else None
    options: dict[int, tuple[Row, ...]] = {}
    best: set[int] = set()
    for n, look in enumerate(looks):
        if _drills(hole, look):
            rows = hole_rows(hole, look.frame, use, angle, room_below(hole, part, look))
            flat = opens_on_machined(hole, part, look)
            options[n] = rows if flat else _started_with_care(rows)
            best.update({n} if flat else ())
    return Task(hole.name, options, frozenset(best), hole)


def room_below(hole: PartHole, part: Part, look: Look) -> float:
    """Return how far the drilled column runs on in air past the far side of a through hole, mm; inf to the open."""
    if not hole.through:
        return math.inf
    far = mouth_of(hole, same_way(hole.axis, look.up))
    own = Frame(far, look.frame.x, look.frame.y, look.frame.z)
    radius = 0.45 * hole.diameter
    ring = [(radius * math.cos(a), radius * math.sin(a), -_PAST) for a in (math.tau * i / 8 for i in range(8))]
    starts = np.array([own.part(point) for point in ((0.0, 0.0, -_PAST), *ring)])
    down = np.tile(np.array(scale(own.z, -1.0)), (len(starts), 1))
    return _PAST + float(skin_of(part.finished).entries(starts, down).min())


def opens_on_machined(hole: PartHole, part: Part, look: Look) -> bool:
    """Tell whether the hole's mouth, seen from here, is in a level machined plane."""
    x, y, z = look.frame.local(mouth_of(hole, not same_way(hole.axis, look.up)))
    for face in _loose(part):
        if faces_up(face, look.up) and abs(look.frame.local(face.origin)[2] - z) <= SAME_AXIS:
            low, high = face_box(part.finished, face.surfaces, look.frame)
            if low[0] <= x <= high[0] and low[1] <= y <= high[1]:
                return True
    return False


def _started_with_care(rows: tuple[Row, ...]) -> tuple[Row, ...]:
    return tuple(replace(row, note="; ".join(filter(None, (row.note, _ROUGH)))) if row.action == "spot" else row for row in rows)


_ROUGH = "opens on the skin or a slope: level the spot first, or a drill will wander"


def _drills(hole: PartHole, look: Look) -> bool:
    """Tell whether the spindle faces the hole from here with nothing in its way."""
    far = same_way(scale(hole.axis, -1.0), look.up)
    if not same_way(hole.axis, look.up) and not (far and is_plain_through(hole)):
        return False
    x, y, z = look.frame.local(mouth_of(hole, far))
    return clear_disc(look.seen, (x, y), 0.5 * (hole.diameter if far else widest(hole)), z)


def _unmade(part: Part) -> Iterator[LeftOut]:
    return (LeftOut(hole.name, why) for hole in part.holes for why in unmade(hole))


# --- planes -----------------------------------------------------------------


def _edge(face: PartFace, part: Part, look: Look, leaves: Leaves, use: Practice, mills: Sequence[Cutter]) -> Row | None:
    """Return the row along an edge with the widest cutter that gets there: the one the job prefers, or a narrower one on hand."""
    most = max(widest_in(face, part, look.up), min((mill.diameter for mill in mills), default=0.0)) + SAME_SIZE
    sizes = [s for s in (use.cutter, *sorted({m.diameter for m in mills if m.diameter < use.cutter}, reverse=True)) if s <= most]
    rows = (edge_row(face, part, look.seen, look.frame, leaves, replace(use, cutter=size)) for size in sizes)
    return next((row for row in rows if row is not None), None)


def _plane_task(face: PartFace, part: Part, looks: list[Look], leaves: Leaves, use: Practice, mills: Sequence[Cutter]) -> Task:
    """Return the task: face up where nothing is above it, or an edge; a high edge only where there is no other way.

    Sides from which its inner corners stay rounder than drawn are taken only where all are such: those that leave least.
    """
    up: dict[int, tuple[Row, ...]] = {
        n: (face_row(face, part, k.seen, k.frame, leaves.above(face), use),) for n, k in enumerate(looks) if _faces(face, k)
    }
    upright = [(n, look) for n, look in enumerate(looks) if stands_upright(face, look.up)]
    flutes = max((mill.flute_length for mill in mills), default=0.0)
    low = [(n, look) for n, look in upright if is_low(face, part, look.frame, use, flutes)]
    left = {n: kept(face, part, look.up, mills) for n, look in enumerate(looks)}
    rounder: dict[int, tuple[Row, ...]] = {}
    for some in (low, upright):
        options: dict[int, tuple[Row, ...]] = up | {
            n: (row,) for n, look in some if (row := _edge(face, part, look, leaves, use, mills))
        }
        whole = {n: rows for n, rows in options.items() if not left[n]}
        rounder = rounder or options
        if whole:
            return Task(face.name, whole, frozenset(up) & frozenset(whole))
    metal = {n: max(corner.leaves(least_radius(corner, mills)) for corner in left[n]) for n in rounder}
    rounder = {n: rows for n, rows in rounder.items() if metal[n] <= min(metal.values()) + SAME_AXIS}
    return Task(face.name, rounder, frozenset(up) & frozenset(rounder), kept=tuple(c for n in rounder for c in left[n]))


def _faces(face: PartFace, look: Look) -> bool:
    return faces_up(face, look.up) and is_open_above(face, look.seen, look.frame)


def _edge_breaks(part: Part) -> list[PartFace]:
    """Return the narrow planes that face the way of no hole and of no wider machined plane."""
    flat = [face for face in _loose(part) if face.kind == "plane" and face.normal is not None]
    narrow = [face for face in flat if _width(face, part) < _EDGE_BREAK]
    main = [*_hole_ways(part), *(face.normal for face in flat if face not in narrow and face.normal is not None)]
    return [face for face in narrow if not any(_on_one_line(face.axis, way) for way in main)]


def _on_one_line(a: Vec3, b: Vec3) -> bool:
    return same_way(a, b) or same_way(a, scale(b, -1.0))


def _width(face: PartFace, part: Part) -> float:
    """Return about how wide a face is: its area over its longest reach."""
    low, high = face_box(part.finished, face.surfaces, Frame(face.origin, (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))
    return face.area / max(norm(sub(high, low)), SAME_AXIS)


# --- rounds -----------------------------------------------------------------


def _rounds(part: Part) -> list[PartFace]:
    """Return the hollow machined cylinders that are no hole and no round between two walls: half bores, cradles."""
    between = [corner.round for corner in corners_of(part)]
    wide = (f for f in _loose(part) if f.kind == "cylinder" and f.hollow and 2.0 * f.radius >= LEAST_BORE)
    return [f for f in wide if f not in between]


def _round_ways(part: Part) -> Iterator[Vec3]:
    for face in _rounds(part):
        yield from (face.axis, scale(face.axis, -1.0))


def _round_task(face: PartFace, part: Part, looks: list[Look]) -> Task:
    options = {}
    for n, look in enumerate(looks):
        if _on_one_line(face.axis, look.up):
            x, y, _ = look.frame.local(face.origin)
            low, _ = face_box(part.finished, face.surfaces, look.frame)
            if clear_disc(look.seen, (x, y), face.radius, low[2]):
                tool = Tool("boring head", "", tidy(2.0 * face.radius))
                row = Row(0, face.name, "bore", tool, x, y, low[2], note="part of a round: light cuts, it bores on one side")
                options[n] = (row,)
    return Task(face.name, options)


# --- slots ------------------------------------------------------------------


def _slot_ways(slots: Sequence[FoundSlot]) -> Iterator[Vec3]:
    for slot in slots:
        yield slot.axis
        if not slot.blind:
            yield scale(slot.axis, -1.0)


def _slot_task(slot: FoundSlot, part: Part, looks: list[Look], use: Practice, mills: Sequence[float]) -> Task:
    """Return the task of a whole slot, by its floor's name or its first end's: from its open side, a through slot's from either;
    from none where every end mill on hand is wider. Past an open end the cutter runs out clear of it."""
    options: dict[int, tuple[Row, ...]] = {}
    if mills and min(mills) > slot.width + SAME_AXIS:
        return Task(slot.name, options, slot=slot)
    out = 0.5 * slot.width + use.run_out
    for n, look in enumerate(looks):
        if not (same_way(slot.axis, look.up) or (not slot.blind and _on_one_line(slot.axis, look.up))):
            continue
        (x, y, _), (x_to, y_to, _) = (look.frame.local(point) for point in slot.ends)
        low, _ = face_box(part.finished, slot.surfaces, look.frame)
        size = math.hypot(x_to - x, y_to - y)
        along = ((x_to - x) / size, (y_to - y) / size)
        first, last = -out if slot.open[0] else 0.0, size + (out if slot.open[1] else 0.0)
        if not blocked_spans(look.seen, (x, y), along, (first, last), 0.5 * slot.width, low[2]):
            (a, b), (c, d) = ((x + at * along[0], y + at * along[1]) for at in (first, last))
            options[n] = (Row(0, slot.name, "slot", Tool("end mill", "", tidy(slot.width)), a, b, low[2], x_to=c, y_to=d),)
    return Task(slot.name, options, slot=slot)


# --- the rest ---------------------------------------------------------------


def _shapes(part: Part, breaks: list[PartFace], slotted: set[str]) -> Iterator[LeftOut]:
    rounds, between = _rounds(part), [corner.round for corner in corners_of(part)]
    for face in _loose(part):
        if face.name in slotted:
            continue
        if face in breaks:
            yield LeftOut(face.name, "an edge break: chamfer it with a file or a chamfer cutter")
        elif face in between:
            yield LeftOut(face.name, "a round between two faces: run an end mill along it that has this radius at its corners")
        elif face.kind == "cylinder" and face not in rounds:
            yield LeftOut(
                face.name, "a small hollow round" if face.hollow else "an outside round: turn it, or mill it on a rotary table"
            )
        elif face.kind not in ("plane", "cylinder"):
            yield LeftOut(face.name, f"a machined {_called(face)}: straight moves do not make it")


_ROUND_OUTSIDE = "an outside round: turn it, mill it on a rotary table, or round a corner over by file"


def _called(face: PartFace) -> str:
    return "shape of no plain kind" if face.kind == "other" else face.kind
