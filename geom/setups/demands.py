"""What each feature asks of a holding when it is made from one side: room, reach, and how much depends on it.

Heights are mm above the zero along the set-up's up. Knows features and
cutters; nothing of vises or straps.
"""

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from geom.cutters.cutter_choice import SAME_SEAT, SAME_SIZE
from geom.datum.zero import zero_facing
from geom.kernel.extent import face_box
from geom.looks.holder import HOLDER_RADIUS
from geom.model.part import Part, PartFace, PartHole
from geom.rows.records import Row, Words
from geom.settings.records import Settings
from geom.setups.work import Work
from geom.shop.records import Cutter, Shop
from geom.space import Vec3, dot
from geom.tasks.features import Task
from geom.tasks.mouth_rows import mouth_of, widest
from geom.tasks.slot import FoundSlot

BREAK: Final = 1.0
"""mm: how far a drill's full diameter passes the far side (as `practice.Practice.break_through`)."""

ToolKey: TypeAlias = tuple[str, str, float]


@dataclass(frozen=True, slots=True)
class Demand:
    """One feature made from one side.

    Attributes:
        name: the face's or hole's.
        kind: "face" from above, "edge" along its side, "slot", "hole" for what goes down an axis.
        normal: outward of an edge, and of a wall of a slot open at both ends, part frame; None for others.
        floor: lowest height the cutter's side or end cuts at, the breakthrough left out.
        top: height of the face or mouth.
        surfaces: indices of the face's surfaces; () for a hole.
        axis: a point of the hole's axis, part frame; None for others.
        lane: where a slot's cutter starts and ends, part frame; () for others.
        radius: of the hole where it is widest, of a slot's cutter.
        through: how far below its floor a through hole or slot wants air: point and breakthrough; 0 for others.
        tools: what it is cut with.
        critical: a tolerance ties it to the zero.
        good: it starts on a machined face, or needs none.
        lacks: why no cutter on hand reaches, () when one does.
    """

    name: str
    kind: str
    normal: Vec3 | None
    floor: float
    top: float
    surfaces: tuple[int, ...]
    axis: Vec3 | None
    radius: float
    through: float
    tools: frozenset[ToolKey]
    critical: bool
    good: bool
    lacks: Words = ()
    lane: tuple[Vec3, ...] = ()


def demand(task: Task, way: int, up: Vec3, work: Work, settings: Settings) -> Demand:
    """Return what a task asks for when it is made with `up` to the spindle.

    Args:
        way: number of that direction among the task's options.
    """
    rows = task.options[way]
    tools = frozenset((row.tool.kind, row.tool.label, row.tool.diameter) for row in rows)
    good = not task.best or way in task.best
    critical = is_critical(task.name, task.hole, settings)
    lacks = _lacks(rows, task, up, work, settings.tooling)
    if task.hole is not None:
        return _hole(task.hole, up, work, tools, critical, way in task.best, lacks)
    if task.slot is not None:
        return _slot(task.slot, rows[0], up, work, tools, critical, lacks)
    face = next(f for f in work.part.faces if f.name == task.name and f.hole is None)
    low, high = face_box(work.part.finished, face.surfaces, work.frame(up))
    kind = {"face": "face", "edge": "edge"}.get(rows[0].action, "hole")
    if kind == "hole":
        return Demand(task.name, kind, None, low[2], high[2], (), face.origin, face.radius, 0.0, tools, critical, good, lacks)
    normal = face.normal if kind == "edge" else None
    return Demand(task.name, kind, normal, low[2], high[2], face.surfaces, None, 0.0, 0.0, tools, critical, good, lacks)


def _hole(hole: PartHole, up: Vec3, work: Work, tools: frozenset[ToolKey], critical: bool, flat: bool, lacks: Words) -> Demand:
    far = dot(hole.axis, up) < 0
    origin = work.zero.frame.origin
    top, end = (dot(mouth_of(hole, side), up) - dot(origin, up) for side in (far, not far))
    floor = end if hole.through else top - (hole.tip_depth or hole.depth or hole.length)
    point = 0.3 * hole.diameter if hole.source == "solid" else 0.0
    through = point + BREAK if hole.through else 0.0
    return Demand(hole.name, "hole", None, floor, top, (), hole.centre, widest(hole) / 2.0, through, tools, critical, flat, lacks)


def _slot(slot: FoundSlot, row: Row, up: Vec3, work: Work, tools: frozenset[ToolKey], critical: bool, lacks: Words) -> Demand:
    low, high = face_box(work.part.finished, slot.surfaces, work.frame(up))
    normal = slot.walls[0].normal if all(slot.open) else None
    frame, z = zero_facing(work.zero, up).frame, row.z or 0.0
    lane = frame.part((row.x or 0.0, row.y or 0.0, z)), frame.part((row.x_to or 0.0, row.y_to or 0.0, z))
    through = 0.0 if slot.blind else BREAK
    return Demand(
        slot.name,
        "slot",
        normal,
        low[2],
        high[2],
        slot.surfaces,
        None,
        0.5 * slot.width,
        through,
        tools,
        critical,
        True,
        lacks,
        lane,
    )


# --- what matters most ------------------------------------------------------


def is_critical(name: str, hole: PartHole | None, settings: Settings) -> bool:
    """Tell whether a tolerance ties a feature to the zero.

    So are reamed and bored holes, whose fit places a shaft or a dowel; holes of the pattern that is the zero; and faces
    whose place the job tolerates (common practice, no source).
    """
    if name in settings.datum.pattern:
        return True
    if hole is not None:
        return hole.callout is not None and hole.callout.limits is not None
    asked = settings.faces.get(name)
    return asked is not None and asked.tolerance is not None


# --- reach ------------------------------------------------------------------


def _lacks(rows: tuple[Row, ...], task: Task, up: Vec3, work: Work, shop: Shop) -> Words:
    """Return why no cutter on hand reaches the feature's floor past the part; () when one does, or none is of its size."""
    for row in rows:
        fitting = _of_size(row, shop)
        if fitting and row.z is not None:
            deep = _crest(task, up, work, row) - row.z
            longest = max(fitting, key=lambda c: c.reach)
            if deep > longest.reach + 1e-6:
                return (f"the {longest.name} reaches ", longest.reach, ", and ", round(deep, 3), " is needed")
    return ()


def _of_size(row: Row, shop: Shop) -> list[Cutter]:
    owned = [c for c in shop.cutters if c.kind == row.tool.kind]
    size = row.tool.diameter
    if row.tool.kind == "boring head":
        return [c for c in owned if (c.smallest or 0.0) <= size <= c.diameter + SAME_SIZE]
    if row.tool.kind == "counterbore":
        owned = [c for c in shop.cutters if c.kind in ("counterbore", "end mill")]
        return [c for c in owned if abs(c.diameter - size) <= SAME_SEAT]
    if row.tool.kind in ("drill", "reamer"):
        return [c for c in owned if abs(c.diameter - size) <= SAME_SIZE]
    if row.tool.kind == "spotting drill" or row.tool.kind == "countersink":
        return owned
    return []


def _crest(task: Task, up: Vec3, work: Work, row: Row) -> float:
    """Return the height, in the row's own frame, of the highest metal that the holder would meet over the feature."""
    frame = work.frame(up)
    seen = frame.local_points(work.seen(up, work.all_done).points)
    centre = np.array([row.x or 0.0, row.y or 0.0])
    near = np.hypot(*(seen[:, :2] - centre).T) < HOLDER_RADIUS
    mouth = max((dot(mouth_of(task.hole, s), up) for s in (True, False)), default=0.0) if task.hole else None
    level = frame.local(work.zero.frame.origin)[2] if mouth is None else mouth - dot(work.zero.frame.origin, up)
    return float(max(seen[near, 2].max(initial=level), level))


def face_of(part: Part, name: str) -> PartFace:
    """Return the face of a name."""
    return next(face for face in part.faces if face.name == name)
