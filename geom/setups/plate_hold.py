"""Ways to hold the work against an angle plate with one side up.

A machined face stands against the plate, straps or studs press from the front,
something low rests on the table. Lengths mm, set-up frame from the zero; Y
points into the plate. Knows nothing of order or cost.
"""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from geom.directions import same_way
from geom.model.part import PartFace
from geom.rays.analytic import Floats
from geom.rows.plan import Hold, Packing, Place
from geom.rows.records import Box, Words
from geom.setups.clamp_rules import JAW_CLEARANCE, STRAP
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.seats import corner_spots
from geom.setups.strap_spots import Spots, strap_spots, studs
from geom.setups.work import Work, turned
from geom.shop.records import Vise
from geom.space import Frame, Vec3, dot, scale
from geom.tolerance import SAME_DIRECTION

_THICK: Final = 15.0
"""mm: thickness of an angle plate's upright (common practice, no source)."""

_RIM: Final = 10.0
"""mm that straps keep from the plate's rim."""


def plate_holds(work: Work, up: Vec3, done: frozenset[str], wants: Sequence[Demand], vise: Vise) -> Iterator[Held]:
    """Yield the ways to hold the work against the angle plate: a machined plane back, straps or studs in front."""
    if vise.angle_plate is None:
        return
    for face in _backs(work, up, done):
        assert face.normal is not None
        held = _against(work, turned(work, up, face.normal), face.name, done, wants, vise.angle_plate)
        if held is not None:
            yield held


def _backs(work: Work, up: Vec3, done: frozenset[str]) -> list[PartFace]:
    """Return the machined upright planes that can stand against the plate: the outermost each way, of those the largest."""
    best: list[PartFace] = []
    upright = [f for f in work.part.faces if f.normal is not None and f.hole is None and work.is_machined(f, done)]
    for face in sorted(upright, key=lambda f: (-round(dot(f.origin, f.axis), 3), -round(f.area, 1), f.name)):
        if abs(dot(face.axis, up)) < SAME_DIRECTION and not any(same_way(face.axis, other.axis) for other in best):
            best.append(face)
    return sorted(best, key=lambda f: (-round(f.area, 1), f.name))


def _against(
    work: Work, frame: Frame, back: str, done: frozenset[str], wants: Sequence[Demand], plate: tuple[float, float]
) -> Held | None:
    number = work.number[back]
    look = Frame(frame.origin, frame.x, frame.z, scale(frame.y, -1.0))
    pressed, made_of = _presses(work, look, done, number)
    below = scale(frame.z, -1.0)
    sight = work.seen(below, done)
    depth = sight.out
    table = -float(depth.max())
    lead = int(np.argmax(np.round(depth, 4)))
    floor = min((w.floor for w in wants if w.kind != "hole"), default=np.inf)
    top = min(table + plate[0] - _RIM, floor - STRAP - JAW_CLEARANCE - 10.0)
    behind = work.seen(frame.y, done)
    local = frame.local_points(behind.points[behind.face == number])
    if not len(local):
        return None
    if len(pressed) < 2:
        return None
    x0 = float(0.5 * (pressed[:, 0].min() + pressed[:, 0].max()))
    inside = (pressed[:, 1] <= top) & (np.abs(pressed[:, 0] - x0) <= 0.5 * plate[1] - _RIM + STRAP)
    rows = np.flatnonzero(inside)
    ends = [int(rows[i]) for i in corner_spots(look.part_points(pressed[rows]), look)] if rows.size > 1 else []
    if len(ends) < 2:
        return None
    pairs = [(a, b) for i, a in enumerate(ends) for b in ends[i + 1 :]]
    pair = max(pairs, key=lambda p: round(_apart(pressed, p), 4))
    if _apart(pressed, pair) < 3.0 * STRAP:
        return None
    stands = table + plate[0]
    able = [w for w in wants if not w.lacks and w.floor - w.through >= table - 1e-6 and _stands_clear(w, frame, local, stands)]
    makes = frozenset(w.name for w in able)
    if not makes:
        return None
    y = float(local[:, 1].max())
    seat = work.part.faces[int(sight.face[lead])].name if sight.face[lead] >= 0 else ""
    on, at = [made_of[i] for i in pair], pressed[list(pair)]
    later = _stud_later(work, look, done, number, (x0, 0.5 * plate[1] - _RIM, stands - _RIM))
    return _held(work, frame, back, seat, on, at, makes, table, x0, y, plate, later)


def _apart(at: Floats, pair: tuple[int, int]) -> float:
    return float(np.hypot(*(at[pair[0], :2] - at[pair[1], :2])))


def _presses(work: Work, look: Frame, done: frozenset[str], back: int) -> tuple[Floats, list[str]]:
    """Return where straps or studs can press the work against the plate, (n, 3) looked from the front, and on what."""
    spots: Spots = strap_spots(work, look, done)
    mine = spots.of(spots.under == back)
    bolts = [s for s in studs(work, look, done) if s.under == back and s.hole.name not in work.zero.features]
    at = [tuple(p) for p in mine.at.tolist()] + [s.at for s in bolts]
    names = [work.part.faces[int(n)].name for n in mine.face] + [s.hole.name for s in bolts]
    return np.array(at, dtype=float).reshape(-1, 3), names


def _stud_later(
    work: Work, look: Frame, done: frozenset[str], back: int, within: tuple[float, float, float]
) -> tuple[Packing, ...]:
    """Return the stud that can go through the zero's own bore, which must be free while zero is found.

    Args:
        within: middle and half width of the plate along X, and the height of its usable top.
    """
    middle, half, top = within
    own = [s for s in studs(work, look, done) if s.under == back and s.hole.name in work.zero.features]
    reached = [s for s in own if abs(s.at[0] - middle) <= half and s.at[1] <= top]
    return tuple(
        Packing("clamp", (f"once zero is found, a stud through {s.hole.name} with a thick washer on {s.face}",)) for s in reached
    )


def _stands_clear(want: Demand, frame: Frame, back: Floats, plate_top: float) -> bool:
    """Tell whether a cutter that comes down on a feature misses the plate."""
    if want.floor >= plate_top + JAW_CLEARANCE:
        return True
    y = float(back[:, 1].max())
    if want.axis is not None:
        return frame.local(want.axis)[1] + want.radius + JAW_CLEARANCE < y
    return False


def _held(
    work: Work, frame: Frame, back: str, seat: str, on: Sequence[str], pressed: Floats, makes: frozenset[str],
    table: float, x: float, y: float, plate: tuple[float, float], later: tuple[Packing, ...],
) -> Held:  # fmt: skip
    highest = float(work.seen(frame.z, frozenset()).out.max())
    local = frame.local_points(work.seen(frame.z, frozenset()).points)
    (x0, y0), (x1, y1) = local[:, :2].min(axis=0).tolist(), local[:, :2].max(axis=0).tolist()
    boxes = [
        Box("angle plate", (x - 0.5 * plate[1], y, table), (x + 0.5 * plate[1], y + _THICK, table + plate[0])),
        Box("table", (x0 - 100.0, y0 - 100.0, table - 50.0), (x1 + 100.0, y1 + 100.0, table)),
    ]
    for n, (px, pz, out) in enumerate(pressed.tolist(), 1):
        boxes.append(Box(f"strap {n}", (px - STRAP, -out - 30.0, pz - STRAP), (px + STRAP, -out, pz + STRAP)))
    names = list(dict.fromkeys(on))
    machined: set[Place] = {"fixed jaw"}
    jack = Packing("seat", (f"a jack or packing under {seat}" if seat else "a jack under the lowest metal",))
    packing = (jack, *later)
    out = max(highest - table - plate[0], 0.0)
    hold = Hold("angle plate", seat, back, names[0], frozenset(machined), 0.0, 0.0, out, packing, (), tuple(boxes))
    why: Words = (f"{back} is machined: it stands against the angle plate, pressed on {' and '.join(names)}",)
    caution: Words = ("hang the work on the straps before the jack takes it; clock the plate square to the table's travel",)
    return Held(hold, frame, makes, 3.0, (why,), (caution,), 0, frozenset(names))
