"""Set-ups planned by hand, so that a test of rows does not rest on the planner being right."""

import math
from collections.abc import Sequence

from geom.kernel.cut import box, cut, fuse, turned
from geom.kernel.shape import Solid, solid_from_shape
from geom.model.part import Part
from geom.recognise.part import recognise
from geom.rows.plan import Hold, PickUp, Place, PlannedSetup
from geom.rows.records import Box
from geom.space import Frame, Vec3, cross, frame_facing
from tests.hand_parts import hand_zero

UP: Vec3 = (0.0, 0.0, 1.0)
AWAY: Vec3 = (0.0, 1.0, 0.0)


def hand_hold(
    seat: str = "", machined: Sequence[Place] = (), parallels: float = 0.0, boxes: Sequence[Box] = (), fixed_jaw: str = ""
) -> Hold:
    """Return a hold in the vise."""
    return Hold("vise", seat, fixed_jaw, "", frozenset(machined), parallels, 20.0, 30.0, boxes=tuple(boxes))


def hand_plan(
    pick_ups: Sequence[PickUp] = (),
    features: Sequence[str] = (),
    *,
    zero: Vec3 = (0.0, 0.0, 0.0),
    up: Vec3 = UP,
    away: Vec3 = AWAY,
    hold: Hold | None = None,
    leaves: Sequence[tuple[str, float]] = (),
) -> PlannedSetup:
    """Return one set-up with its zero at a point of the part frame."""
    frame: Frame = frame_facing(zero, up, cross(away, up))
    return PlannedSetup(1, up, hold or hand_hold(), frame, hand_zero(zero), tuple(pick_ups), tuple(features), tuple(leaves))


def jaws(top: float, y: float, x: float = 65.0) -> tuple[Box, Box]:
    """Return two jaws whose faces stand at -y and +y, their tops at a height."""
    low = top - 40.0
    return Box("movable jaw", (-x, -y - 40.0, low), (x, -y, top)), Box("fixed jaw", (-x, y, low), (x, y + 40.0, top))


def drafted_boss(foot: float = 30.0, high: float = 40.0, draft: float = 3.0, stock: float = 3.0) -> tuple[Solid, Solid]:
    """A round boss on the Z axis, machined on top at z = `high` only; radius `foot` - z tan(draft) all the way up."""
    lean = math.tan(math.radians(draft))
    finished, casting = (
        turned([(0.0, 0.0), (foot, 0.0), (foot - h * lean, h), (0.0, h)], (0.0, 0.0, 0.0), UP) for h in (high, high + stock)
    )
    return solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting")


def boss_part() -> Part:
    """The boss of `drafted_boss` with its faces named."""
    return recognise("boss", "grey iron", *drafted_boss())


def stepped_block() -> Part:
    """A 100 x 60 x 20 plate with a 40 x 60 x 30 block on its left end, 3 mm of stock on both tops; sides and foot as cast."""
    finished = fuse(box((0.0, 0.0, 0.0), (100.0, 60.0, 20.0)), box((0.0, 0.0, 0.0), (40.0, 60.0, 50.0)))
    rough = fuse(box((0.0, 0.0, 0.0), (100.0, 60.0, 23.0)), box((0.0, 0.0, 0.0), (40.0, 60.0, 53.0)))
    return recognise("stepped", "grey iron", solid_from_shape(finished, "finished"), solid_from_shape(rough, "casting"))


def drilled_block() -> Part:
    """A 60 x 40 x 30 block, 3 mm of stock on top, a hole 8 through at (30, 20) and one 8 through at (50, 20)."""
    from geom.kernel.cut import cylinder

    body = box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0))
    for x in (30.0, 50.0):
        body = cut(body, cylinder((x, 20.0, -1.0), UP, 4.0, 32.0))
    casting = box((0.0, 0.0, 0.0), (60.0, 40.0, 33.0))
    return recognise("block", "grey iron", solid_from_shape(body, "finished"), solid_from_shape(casting, "casting"))
