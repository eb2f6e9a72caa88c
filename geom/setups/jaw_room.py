"""Both jaws on the work: how deep and how far along they hold, where their steel stands, and what a cutter clears of it.

Lengths mm, set-up frame from the zero. Knows nothing of seats, parallels or of
which way round is better.
"""

from dataclasses import dataclass
from typing import Final

from geom.looks.holder import HOLDER_RADIUS
from geom.rows.plan import Packing
from geom.rows.records import Box
from geom.setups.clamp_rules import JAW_CLEARANCE, grips_enough, packing_width
from geom.setups.demands import Demand
from geom.setups.jaws import OVERHANG, Side, opening
from geom.shop.records import Vise
from geom.space import Frame, Vec3, dot, scale
from geom.toml.pins import Pin

JAW: Final = 25.0
"""mm: thickness of a jaw plate and what carries it (common practice, no source)."""

_OVERLAP: Final = 10.0
"""mm along the jaws in which both must bear, or the work twists (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Jaws:
    """Both jaws on the work.

    Attributes:
        bed, top: heights of the bed and of the top of the jaws.
        window: from where to where they reach along X; ends: from where to where the work does.
    """

    back: Side
    front: Side
    bed: float
    top: float
    window: tuple[float, float]
    ends: tuple[float, float]
    packing: tuple[Packing, ...]

    @property
    def grip(self) -> float:
        """Height of work between them."""
        low = max(self.back.bottom, self.front.bottom, self.bed)
        return min(self.back.top, self.front.top, self.top) - low


def holds(jaws: Jaws, out: float, vise: Vise) -> bool:
    """Tell whether jaws open far enough, hold deep enough, and bear on the same length."""
    wide = opening(jaws.back, jaws.front, packing_width(jaws.packing))
    both = min(jaws.back.high, jaws.front.high) - max(jaws.back.low, jaws.front.low)
    return wide <= vise.opening and grips_enough(jaws.grip, out) and both >= min(_OVERLAP, jaws.back.high - jaws.back.low)


def pinned_back(front: Side, back: Side, pin: Pin | None) -> bool | None:
    """Tell whether a pin gives the fixed jaw what the movable one touches; None where it does not say."""
    if pin is None or not (pin.fixed_jaw or pin.clamp) or front.face.name == back.face.name:
        return None
    return front.face.name == pin.fixed_jaw or back.face.name == pin.clamp


def half_round(frame: Frame) -> Frame:
    """Return the frame turned half round its Z."""
    return Frame(frame.origin, scale(frame.x, -1.0), scale(frame.y, -1.0), frame.z)


def mirrored(side: Side) -> Side:
    return Side(side.face, side.machined, side.out, side.lean, side.area, -side.high, -side.low, side.bottom, side.top)


def jaw_boxes(vise: Vise, jaws: Jaws) -> tuple[Box, ...]:
    widths = {p.place: packing_width([p]) for p in jaws.packing}
    rear, near = jaws.back.out + widths.get("fixed jaw", 0.0), -jaws.front.out - widths.get("clamp", 0.0)
    (x0, x1), bed, top = jaws.window, jaws.bed, jaws.top
    return (
        Box("fixed jaw", (x0, rear, bed), (x1, rear + JAW, top)),
        Box("movable jaw", (x0, near - JAW, bed), (x1, near, top)),
        Box("bed", (x0, near - JAW, bed - vise.bed_height), (x1, rear + JAW, bed)),
    )


# --- what clears the jaws ---------------------------------------------------


def clears(want: Demand, frame: Frame, jaws: Jaws) -> bool:
    """Tell whether a feature is cut without touching jaws or bed."""
    if want.lacks:
        return False
    if want.kind == "hole":
        return _hole_clears(want, frame, jaws)
    if want.lane:
        return _slot_clears(want, frame, jaws)
    if want.floor >= jaws.top + JAW_CLEARANCE:
        return True
    if want.kind == "edge" and want.normal is not None:
        along = dot(want.normal, frame.x)
        if along > 0.999:
            return jaws.ends[1] - jaws.window[1] >= OVERHANG - 1e-6
        if along < -0.999:
            return jaws.window[0] - jaws.ends[0] >= OVERHANG - 1e-6
    return False


def _hole_clears(want: Demand, frame: Frame, jaws: Jaws) -> bool:
    """Tell whether a drill has room below and its holder above."""
    assert want.axis is not None
    x, y, _ = frame.local(want.axis)
    back, front, window = jaws.back.out, -jaws.front.out, jaws.window
    far = want.floor - want.through
    beside = y + want.radius > back or y - want.radius < front
    over_jaw = beside and window[0] - want.radius < x < window[1] + want.radius
    if want.through and (far < jaws.bed or (over_jaw and far < jaws.top)):
        return False
    near_jaw = y + HOLDER_RADIUS > back or y - HOLDER_RADIUS < front
    return want.top >= jaws.top or not near_jaw


def _slot_clears(want: Demand, frame: Frame, jaws: Jaws) -> bool:
    """Tell whether a slot's cutter runs above the jaws, beside them, or between them clear of the bed with its holder above."""
    far = want.floor - want.through
    if far >= jaws.top + JAW_CLEARANCE:
        return True
    room = want.radius + JAW_CLEARANCE
    (x0, x1), (y0, y1) = (
        (min(p[i] for p in lane) - room, max(p[i] for p in lane) + room) for lane in (lane_of(want, frame),) for i in (0, 1)
    )
    if x1 < jaws.window[0] or x0 > jaws.window[1]:
        return True
    back, front, reach = jaws.back.out, -jaws.front.out, HOLDER_RADIUS - want.radius
    near_jaw = y1 + reach > back or y0 - reach < front
    return far >= jaws.bed and y1 <= back and y0 >= front and (want.top >= jaws.top or not near_jaw)


def lane_of(want: Demand, frame: Frame) -> list[Vec3]:
    return [frame.local(point) for point in want.lane]
