"""Ways to hold the work between the jaws of a vise with one side up.

For each seat and each way round: parallels as low as the cuts allow, what the
jaws then touch, and which features clear jaws and parallels. Lengths mm, set-up
frame from the zero. Knows nothing of order or cost.
"""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from geom.clamp_rules import (
    JAW_CLEARANCE,
    fixed_first,
    grips_enough,
    jaw_packing,
    packing_width,
    side_lifts,
    sides_agree,
    widest_three,
)
from geom.demands import HOLDER, Demand
from geom.held import Held
from geom.jaws import OVERHANG, Flank, Side, flank, jaw_window, opening, side_at, ways_round
from geom.plan import Hold, Packing, Place
from geom.rows import Box, Words
from geom.seats import Seat, corner_spots, flat, middle, seats
from geom.shop import Vise
from geom.space import Frame, Vec3, dot, scale
from geom.work import Work, turned

_JAW: Final = 25.0
"""mm: thickness of a jaw plate and what carries it (common practice, no source)."""

_PARALLEL: Final = 8.0
"""mm: thickness of a parallel (common practice, no source)."""

_AIR: Final = 0.5
"""mm kept between packing and what hangs below the seat."""

_MUCH: Final = 1.25
"""A side this many times larger than the other is the better one for the fixed jaw."""

_OVERLAP: Final = 10.0
"""mm along the jaws in which both must bear, or the work twists (common practice, no source)."""


def vise_holds(work: Work, up: Vec3, done: frozenset[str], first: bool, wants: Sequence[Demand], vise: Vise) -> Iterator[Held]:
    """Yield the ways to hold the work in the vise; those that make less for no better grip are left out."""
    found = seats(work, up, done, first)
    ends = ("", "left", "right") if any(want.kind == "edge" for want in wants) else ("",)
    for seat in [seat for seat in found if seat.over or not any(s.over for s in found)][:2]:
        for away in ways_round(work, up)[::2]:
            frame = turned(work, up, away)
            flanks = flank(work, frame, 1.0, done), flank(work, frame, -1.0, done)
            for end in ends:
                yield from _at_heights(work, frame, done, seat, flanks, wants, vise, end)


def _at_heights(
    work: Work, frame: Frame, done: frozenset[str], seat: Seat, flanks: tuple[Flank, Flank], wants: Sequence[Demand], vise: Vise,
    end: str,
) -> Iterator[Held]:  # fmt: skip
    """Yield a hold for each height of parallels that makes more than the lower ones did."""
    most: frozenset[str] = frozenset()
    for height in (0.0, *vise.parallels):
        if seat.hang and height < seat.hang + _AIR:
            continue
        if height >= vise.jaw_height:
            break
        held = _between(work, frame, done, seat, flanks, wants, vise, end, height)
        if held is not None and not held.makes <= most:
            yield held
            most |= held.makes
        if held is not None and len(most) == len(wants):
            break


def _between(
    work: Work, frame: Frame, done: frozenset[str], seat: Seat, flanks: tuple[Flank, Flank], wants: Sequence[Demand], vise: Vise,
    end: str, height: float,
) -> Held | None:  # fmt: skip
    bed = seat.level - height
    top = bed + vise.jaw_height
    both = np.concatenate([f.local for f in flanks])
    low, high = float(both[:, 0].min()) - 0.5 * work.step, float(both[:, 0].max()) + 0.5 * work.step
    window = jaw_window(vise, low, high, end)
    back, front = (side_at(work, frame, f, done, (bed, top), window) for f in flanks)
    if back is None or front is None or not sides_agree(back.lean, front.lean):
        return None
    if _better(front, back):
        frame, back, front, window = _about(frame), _mirrored(front), _mirrored(back), (-window[1], -window[0])
        low, high = -high, -low
    packing = jaw_packing(back.machined, front.machined, not (back.plane and front.plane), vise)
    wide = opening(back, front, packing_width(packing))
    grip = min(back.top, front.top, top) - max(back.bottom, front.bottom, bed)
    out = float(work.seen(frame.z, done).out.max()) - top
    both_bear = min(back.high, front.high) - max(back.low, front.low)
    if wide > vise.opening or not grips_enough(grip, out) or both_bear < min(_OVERLAP, back.high - back.low):
        return None
    makes = frozenset(w.name for w in wants if _clears(w, frame, bed, top, back, front, window, (low, high)))
    if not makes:
        return None
    made = [w for w in wants if w.name in makes]
    strips, over = _parallels(frame, seat, bed, window, made) if height else ((), ())
    makes -= frozenset(over)
    rests = () if seat.machined else _rests(work, frame, seat)
    boxes = (*_boxes(vise, bed, top, back.out, front.out, packing, window), *strips)
    hold = Hold("vise", seat.face.name, back.face.name, front.face.name, _places(seat, back, front), height, grip, max(out, 0.0),
                (*_seat_packing(seat, height), *packing), rests, boxes)  # fmt: skip
    return Held(hold, frame, makes, *_judged(seat, back, front, end), rough=(not seat.machined) + (not back.machined))


def _better(side: Side, other: Side) -> bool:
    """Tell whether a side belongs to the fixed jaw rather than the other; of nearly equals neither does."""
    return fixed_first(side.machined, side.plane, side.area) < fixed_first(other.machined, other.plane, _MUCH * other.area)


def _about(frame: Frame) -> Frame:
    """Return the frame turned half round its Z."""
    return Frame(frame.origin, scale(frame.x, -1.0), scale(frame.y, -1.0), frame.z)


def _mirrored(side: Side) -> Side:
    return Side(side.face, side.machined, side.out, side.lean, side.area, -side.high, -side.low, side.bottom, side.top)


def _places(seat: Seat, back: Side, front: Side) -> frozenset[Place]:
    named: tuple[tuple[Place, bool], ...] = (("seat", seat.machined), ("fixed jaw", back.machined), ("clamp", front.machined))
    return frozenset(place for place, machined in named if machined)


# --- what clears the jaws ---------------------------------------------------


def _clears(
    want: Demand,
    frame: Frame, bed: float, top: float, back: Side, front: Side, window: tuple[float, float],
    ends: tuple[float, float],
) -> bool:  # fmt: skip
    """Tell whether a feature is cut without touching jaws or bed."""
    if want.lacks:
        return False
    if want.kind == "hole":
        return _hole_clears(want, frame, bed, top, back, front, window)
    if want.floor >= top + JAW_CLEARANCE:
        return True
    if want.kind == "edge" and want.normal is not None:
        along = dot(want.normal, frame.x)
        if along > 0.999:
            return ends[1] - window[1] >= OVERHANG - 1e-6
        if along < -0.999:
            return window[0] - ends[0] >= OVERHANG - 1e-6
    return False


def _hole_clears(want: Demand, frame: Frame, bed: float, top: float, back: Side, front: Side, window: tuple[float, float]) -> bool:
    """Tell whether a drill has room below and its holder above."""
    assert want.axis is not None
    x, y, _ = frame.local(want.axis)
    far = want.floor - want.through
    over_jaw = (y + want.radius > back.out or y - want.radius < -front.out) and window[0] - want.radius < x < window[
        1
    ] + want.radius
    if want.through and (far < bed or (over_jaw and far < top)):
        return False
    near_jaw = y + HOLDER > back.out or y - HOLDER < -front.out
    return want.top >= top or not near_jaw


def _parallels(
    frame: Frame, seat: Seat, bed: float, window: tuple[float, float], made: Sequence[Demand]
) -> tuple[tuple[Box, ...], tuple[str, ...]]:
    """Return two parallels under the seat clear of every drill, and the holes that one of them would still meet."""
    local = frame.local_points(seat.spots)
    low, high = float(local[:, 1].min()), float(local[:, 1].max())
    drills = []
    for want in made:
        if _comes_through(want, seat):
            assert want.axis is not None
            y = frame.local(want.axis)[1]
            drills.append((y - want.radius - JAW_CLEARANCE, y + want.radius + JAW_CLEARANCE))
    reach = 0.5 * (high - low) - 0.5 * _PARALLEL
    steps = [float(s) for s in range(max(int(reach), 0) + 1)]
    rear = next((high - s for s in steps if not _meets(drills, high - s - _PARALLEL, high - s)), high)
    near = next((low + s for s in steps if not _meets(drills, low + s, low + s + _PARALLEL)), low)
    x0, x1 = max(window[0], float(local[:, 0].min())), min(window[1], float(local[:, 0].max()))
    spans = ((rear - _PARALLEL, rear), (near, near + _PARALLEL))
    strips = tuple(Box(f"parallel {n}", (x0, a, bed), (x1, b, seat.level)) for n, (a, b) in enumerate(spans, 1))
    met = [w.name for w, d in zip([w for w in made if _comes_through(w, seat)], drills, strict=True)
           if any(_meets([d], a, b) for a, b in spans)]  # fmt: skip
    return strips, tuple(met)


def _comes_through(want: Demand, seat: Seat) -> bool:
    """Tell whether a drill comes out below the seat, where parallels are."""
    return want.axis is not None and want.through > 0 and want.floor - want.through < seat.level


def _meets(drills: Sequence[tuple[float, float]], low: float, high: float) -> bool:
    return any(a < high and b > low for a, b in drills)


# --- what is said of it -----------------------------------------------------


def _rests(work: Work, frame: Frame, seat: Seat) -> tuple[Vec3, ...]:
    """Return three points that hold up a rough seat; () where no three have the centre of mass over them."""
    local = frame.local_points(seat.spots)
    chosen = corner_spots(seat.spots, frame)
    three = widest_three([flat(seat.spots, frame)[i] for i in chosen], middle(work, frame))
    if three is None:
        return ()
    return tuple((float(local[chosen[i], 0]), float(local[chosen[i], 1]), seat.level) for i in three)


def _seat_packing(seat: Seat, height: float) -> tuple[Packing, ...]:
    if height and seat.machined:
        return (Packing("seat", ("two parallels ", height)),)
    if height:
        return (Packing("seat", ("parallels ", height, ", shimmed to three points so that nothing rocks")),)
    if not seat.machined:
        return (Packing("seat", ("shims at three points so that nothing rocks",)),)
    return ()


def _boxes(
    vise: Vise, bed: float, top: float, back: float, front: float, packing: Sequence[Packing], window: tuple[float, float]
) -> tuple[Box, ...]:
    widths = {p.place: packing_width([p]) for p in packing}
    rear, near = back + widths.get("fixed jaw", 0.0), -front - widths.get("clamp", 0.0)
    x0, x1 = window
    return (
        Box("fixed jaw", (x0, rear, bed), (x1, rear + _JAW, top)),
        Box("movable jaw", (x0, near - _JAW, bed), (x1, near, top)),
        Box("bed", (x0, near - _JAW, bed - vise.bed_height), (x1, rear + _JAW, bed)),
    )


def _judged(seat: Seat, back: Side, front: Side, end: str) -> tuple[float, tuple[Words, ...], tuple[Words, ...]]:
    """Return how far from the best a hold is, the reasons for it and its cautions."""
    why: list[Words] = [_seat_words(seat)]
    cautions: list[Words] = []
    worse = 0.0
    if back.machined:
        why.append((f"{back.face.name} is machined, so it goes to the fixed jaw",))
    elif not front.machined:
        why.append((f"no machined side can be held: {back.face.name} goes to the fixed jaw, with soft strips on both sides",))
    if not (back.plane and front.plane):
        worse += 2.0
        cautions.append(("a round is held between flat jaws: it bears on two lines only; soft strips, or a V against one jaw",))
    if side_lifts(max(back.lean, front.lean)):
        worse += 1.0
        leans = f"the clamped sides lean by {max(back.lean, front.lean):.1f} degrees and lift as the jaws close"
        cautions.append((f"{leans}: tap the work down, check that nothing under it is loose, take light cuts",))
    if not seat.over:
        worse += 2.0
        cautions.append(
            ("the centre of mass is beside the seat: hold the work down while the jaws close, and pack what hangs out",)
        )
    if seat.hang:
        worse += 0.5
    if end:
        why.append((f"its {end} end stands out beside the jaws, so that a cutter runs along it",))
    return worse, tuple(why), tuple(cautions)


def _seat_words(seat: Seat) -> Words:
    if seat.machined:
        return (f"{seat.face.name} is machined, so it sits down",)
    if seat.face.state == "as cast":
        return (f"{seat.face.name} stays as cast: sitting on it ties the cut to the skin",)
    return (f"{seat.face.name} is the largest rough face that looks down; a rough face locates only once",)
