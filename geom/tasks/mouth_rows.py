"""A hole seen from the side it is worked from, and the rows for its mouth.

The mouth is every length wider than the hole proper: counterbores, step drills,
countersinks and broken edges. Tapers and lengths that widen inwards get no row;
`unmade` says why. Lengths mm, set-up frame. Knows nothing of the hole proper.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from geom.model.part import HoleStep, PartHole
from geom.recognise.passage import EDGE_BREAK
from geom.rows.records import Action, Row, Tool
from geom.space import Frame, Vec3, add, dot, scale
from geom.tasks.practice import LARGEST_COUNTERBORE, tidy
from geom.tolerance import SAME_AXIS

_TAPER = 60.0
"""Included angle, degrees, below which a cone is a taper to ream and no countersink."""


@dataclass(frozen=True, slots=True)
class SeenHole:
    """A hole from the side it is worked from.

    Attributes:
        x, y, z: its mouth, set-up frame.
        angle: its drill's point, degrees.
        room: from the far side of a through hole to the next metal of the part, along the axis.
    """

    hole: PartHole
    x: float
    y: float
    z: float
    far_side: bool
    angle: float
    room: float = math.inf

    @property
    def flat(self) -> bool:
        """The floor is drawn flat."""
        return not self.hole.through and self.hole.tip_depth is None

    def row(self, action: Action, tool: Tool, depth: float, note: str = "", full: float | None = None) -> Row:
        """Return a row, numbered 0, at `depth` below the mouth; `full`: depth at which the full diameter ends."""
        z_full = None if full is None else self.z - full
        return Row(0, self.hole.name, action, tool, self.x, self.y, self.z - depth, z_full=z_full, note=note)


def seen_hole(hole: PartHole, frame: Frame, angle: float, room: float) -> SeenHole:
    """Return a hole as a spindle along the frame's Z sees it."""
    far = dot(hole.axis, frame.z) < 0
    x, y, z = frame.local(mouth_of(hole, far))
    return SeenHole(hole, x, y, z, far, angle, room)


def mouth_of(hole: PartHole, far_side: bool) -> Vec3:
    """Return where a hole opens towards the spindle: at its own opening, or at the far end of a through hole; part frame."""
    return add(hole.centre, scale(hole.axis, -hole.length)) if far_side else hole.centre


def point_length(diameter: float, angle: float) -> float:
    """Return how long a drill's point is, mm; a 180 degree one has none."""
    return 0.5 * diameter / math.tan(math.radians(angle / 2.0)) if angle < 180.0 else 0.0


# --- what kind of hole ------------------------------------------------------


def is_plain_through(hole: PartHole) -> bool:
    """Tell whether a hole is the same from both ends: through, of one diameter, edges at most broken."""
    sizes = [d for step in hole.steps if not is_broken_edge(step) for d in (step.start_diameter, step.end_diameter)]
    return (
        hole.through and hole.kind == "through" and hole.pilot is None and all(abs(d - hole.diameter) <= SAME_AXIS for d in sizes)
    )


def widest(hole: PartHole) -> float:
    """Return the greatest diameter of a hole, mm."""
    bore = hole.counterbore.diameter if hole.counterbore else 0.0
    sink = hole.countersink.diameter if hole.countersink else 0.0
    return max(hole.diameter, bore, sink, *(d for step in hole.steps for d in (step.start_diameter, step.end_diameter)))


def unmade(hole: PartHole) -> tuple[str, ...]:
    """Return what of a hole no row makes, and why."""
    ends = [d for step in hole.steps for d in (step.start_diameter, step.end_diameter)]
    said = []
    if any(b > a + SAME_AXIS for a, b in pairwise(ends)):
        said.append("it widens below a narrower length: a groove or undercut needs a boring bar or a cutter that reaches under")
    if any(_is_cone(step) and _is_wider(step, hole) and _cone_angle(step) < _TAPER for step in hole.steps):
        said.append("its taper needs a taper reamer")
    return tuple(said)


def is_broken_edge(step: HoleStep) -> bool:
    """Tell whether a cone only breaks an edge."""
    return (
        _is_cone(step) and 0.5 * (step.start_diameter - step.end_diameter) <= max(EDGE_BREAK, 0.05 * step.end_diameter) + SAME_AXIS
    )


# --- rows -------------------------------------------------------------------


def mouth_rows(seen: SeenHole) -> Iterator[Row]:
    """Yield a row, numbered 0, for every length wider than the hole proper that its own side can make."""
    if seen.far_side:
        return
    steps = seen.hole.steps or tuple(_steps(seen.hole))
    for i, step in enumerate(steps):
        above, below = steps[i - 1] if i else None, steps[i + 1] if i + 1 < len(steps) else None
        if not _is_wider(step, seen.hole) or (above is not None and step.start_diameter > above.end_diameter + SAME_AXIS):
            continue
        if _is_cone(step):
            if _cone_angle(step) >= _TAPER and not (above is not None and _ends_in(above, step)):
                yield _sunk(seen, step)
        elif below is not None and _ends_in(step, below):
            yield _step_drilled(seen, step, below)
        else:
            yield _counterbored(seen, step)


def _steps(hole: PartHole) -> Iterator[HoleStep]:
    """Yield the mouth's lengths from the counterbore and countersink alone."""
    start = 0.0
    if hole.counterbore is not None:
        start = hole.counterbore.depth
        yield HoleStep(0.0, start, hole.counterbore.diameter, hole.counterbore.diameter)
    if hole.countersink is not None:
        sink = hole.countersink
        deep = point_length(sink.diameter, sink.angle) - point_length(hole.diameter, sink.angle)
        yield HoleStep(start, start + deep, sink.diameter, hole.diameter)


def _is_cone(step: HoleStep) -> bool:
    return abs(step.start_diameter - step.end_diameter) > SAME_AXIS


def _is_wider(step: HoleStep, hole: PartHole) -> bool:
    """Tell a mouth from the hole proper and from the drill point below it."""
    return step.start_diameter > hole.diameter + SAME_AXIS and step.end_diameter > hole.diameter - SAME_AXIS


def _ends_in(step: HoleStep, below: HoleStep) -> bool:
    """Tell whether a cylinder ends in the cone of the drill that made it."""
    return not _is_cone(step) and _is_cone(below) and abs(below.start_diameter - step.end_diameter) <= SAME_AXIS


def _cone_angle(step: HoleStep) -> float:
    """Return the included angle of a cone, degrees."""
    return 2.0 * math.degrees(math.atan2(0.5 * abs(step.start_diameter - step.end_diameter), step.end - step.start))


def _sunk(seen: SeenHole, step: HoleStep) -> Row:
    tool = Tool("countersink", "", tidy(step.start_diameter), round(_cone_angle(step), 6))
    broken = "breaks the edge; " if is_broken_edge(step) and seen.hole.kind != "countersunk" else ""
    note = f"{broken}Z as if sharp: go by the diameter at the mouth"
    return seen.row("countersink", tool, step.start + tool.point_length, note, step.start)


def _step_drilled(seen: SeenHole, step: HoleStep, cone: HoleStep) -> Row:
    tool = Tool("drill", "", tidy(step.end_diameter), round(_cone_angle(cone), 6))
    return seen.row("drill", tool, step.end + tool.point_length, "widens the mouth", step.end)


def _counterbored(seen: SeenHole, step: HoleStep) -> Row:
    wide = step.end_diameter > LARGEST_COUNTERBORE
    tool = Tool("boring head" if wide else "counterbore", "", tidy(step.end_diameter))
    return seen.row("counterbore", tool, step.end)
