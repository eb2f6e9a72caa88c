"""Rows that face a plane: how deep each pass goes, lane by lane.

One row is one straight lane at one depth. Passes start from the stock, the
first goes under the skin, the last is a light one. Lengths mm, set-up frame.
Where lanes run is `lanes`. Knows nothing of holes or of what order features
come in.
"""

import math
from collections.abc import Iterator, Sequence

from geom.cutters.cutter_choice import Choice, Lack, choose_face_mill
from geom.cutters.cutting_data import SKIN, CutData, depth_limit, pass_depths
from geom.model.part import PartFace
from geom.passes.lanes import MISSED, Ground, LanePlan, best_lanes, ground_of, leaves_corners, reach_past
from geom.passes.scene import Made, Scene, Take, held_depth, held_words, speeds_of, tool_of
from geom.rows.records import LeftOut, Row, Words
from geom.shop.records import Cutter

_SHORT = "stops short of what stands up beside it"


def face_passes(face: PartFace, scene: Scene, leave: float = 0.0) -> Made:
    """Return the rows that face a plane from above, or why there are none.

    Args:
        leave: what it keeps for finishing.
    """
    level = scene.frame.local(face.origin)[2]
    ground = ground_of(face, scene, level)
    plan = _planned(face, scene, ground, reach_past(scene, ground, level), leave)
    if isinstance(plan, Lack):
        plan = _planned(face, scene, ground, 0.0, leave)
    if isinstance(plan, Lack):
        return Made((), (), (LeftOut(face.name, "no cutter on hand faces it: see the notes"),), (plan.says,))
    take = scene.takes.get(face.name, Take(0.0, 0.0))
    found, notes = speeds_of(scene, plan.cutter, "face", width=min(plan.step, plan.cutter.diameter))
    depths = _passes(face, plan, scene, leave)
    rows = tuple(_rows(face, plan, level + leave, depths, found, leave, take))
    held = held_words(scene, face.name, plan.cutter, _pushing(scene, plan), min(_deepest(plan, found), sum(depths)))
    return Made(rows, (*notes, *_said(face, plan, take, depths), *held))


def _planned(face: PartFace, scene: Scene, ground: Ground, reach: float, leave: float) -> LanePlan | Lack:
    """Return the lanes of the cutter that faces all of it in the fewest rows; else of the one that leaves least.

    Args:
        reach: how far it has to stick out of its holder.
    """
    whole: list[tuple[int, LanePlan]] = []
    tried: list[Cutter] = []
    widest = math.inf
    while isinstance(choice := choose_face_mill(scene.shop, ground.width, widest=widest, reach=reach), Choice):
        tried.append(choice.cutter)
        plan = None if leaves_corners(choice.cutter, ground) else best_lanes(choice.cutter, scene, ground)
        if plan is not None and plan.missed <= MISSED:
            whole.append((len(plan.lanes) * len(_passes(face, plan, scene, leave)), plan))
            if len(plan.lanes) >= min(rows for rows, _ in whole):
                break
        widest = choice.cutter.diameter - 0.02
    if whole:
        return min(whole, key=lambda found: found[0])[1]
    poor = (plan for cutter in tried if (plan := best_lanes(cutter, scene, ground)) is not None)
    return min(poor, key=lambda plan: (round(plan.missed, 2), len(plan.lanes)), default=None) or _lack(choice)


def _lack(choice: Choice | Lack) -> Lack:
    assert isinstance(choice, Lack)
    return choice


def _passes(face: PartFace, plan: LanePlan, scene: Scene, leave: float) -> tuple[float, ...]:
    """Return what each pass of a cutter takes."""
    found, _ = speeds_of(scene, plan.cutter, "face", width=min(plan.step, plan.cutter.diameter))
    deepest = held_depth(scene, face.name, plan.cutter, _pushing(scene, plan), _deepest(plan, found))
    return _depths(scene.takes.get(face.name, Take(0.0, 0.0)), leave, deepest, scene.use.finish)


def _pushing(scene: Scene, plan: LanePlan) -> CutData | None:
    """Return what a cutter pushes with at the usual width of a face cut: a lane's first may be wider than the step between two."""
    return speeds_of(scene, plan.cutter, "face")[0]


# --- depth of each pass -----------------------------------------------------


def _deepest(plan: LanePlan, found: CutData | None) -> float:
    if found is not None:
        return max(found.load.depth, 0.05)
    return depth_limit(plan.cutter, min(plan.step, plan.cutter.diameter))


def _depths(take: Take, leave: float, deepest: float, finish: float) -> tuple[float, ...]:
    """Return what each pass takes, the first under the skin where the thinnest stock lies; one pass where nothing is to take."""
    most = take.most - leave
    uneven = max(take.most - max(take.least, 0.0), 0.0)
    return pass_depths(most, deepest, skin=min(SKIN + uneven, max(most, 0.0)), finish=finish) or (0.0,)


def _rows(
    face: PartFace, plan: LanePlan, z: float, depths: Sequence[float], found: CutData | None, leave: float, take: Take
) -> Iterator[Row]:
    tool = tool_of(plan.cutter)
    above = sum(depths)
    for number, depth in enumerate(depths, 1):
        above = above - depth if number < len(depths) else 0.0
        told = [f"pass {number} of {len(depths)}"]
        if number == 1 and len(depths) > 1:
            told.append("under the skin" if depth >= _under(take) - 1e-9 else "cuts in the skin in places")
        if number == len(depths):
            told.append("leaves metal for finishing" if leave else "to size")
        for lane in plan.lanes:
            x_to, y_to = (None if abs(b - a) < 1e-9 else b for a, b in zip(lane.start, lane.end, strict=True))
            yield Row(
                0, face.name, "face", tool, *lane.start, z + above, x_to=x_to, y_to=y_to,
                leave=leave if number == len(depths) else 0.0, note="; ".join((*told, *((_SHORT,) if lane.short else ()))),
                rpm=found.rpm if found else None, feed=found.feed if found else None,
            )  # fmt: skip


def _under(take: Take) -> float:
    """Return how deep the first pass goes to be under the skin everywhere, mm below the highest metal."""
    return take.most - max(take.least, 0.0) + min(SKIN, max(take.least, 0.0))


def _said(face: PartFace, plan: LanePlan, take: Take, depths: Sequence[float]) -> Iterator[Words]:
    stock = "stock as measured" if take.measured else "stock as drawn, this casting is not measured"
    if len(depths) > 1 or depths[0] > 0:
        yield (f"{face.name}: {len(depths)} passes for ", sum(depths), f" at most ({stock})") if len(depths) > 1 else (
            f"{face.name}: one pass for ", sum(depths), f" at most ({stock})")  # fmt: skip
    if plan.missed > MISSED:
        yield (
            f"{face.name}: {100 * plan.missed:.0f} % of it lies in corners or close beside what stands up, where a round "
            f"cutter does not come: the {plan.cutter.name} is the one on hand that leaves least",
        )
    if plan.plunges:
        yield (f"{face.name}: walled in, so the cutter goes down into metal at the start of a lane: feed it down slowly",)
