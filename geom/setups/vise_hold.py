"""Ways to hold the work between the jaws of a vise with one side up.

For each seat and each way round: parallels as low as the cuts allow, what the
jaws then touch, and which features clear jaws and parallels. Lengths mm, set-up
frame from the zero. Knows nothing of order or cost.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.rows.plan import Hold, Packing, Place
from geom.rows.records import Box, Words
from geom.setups.clamp_rules import (
    JAW_CLEARANCE,
    fixed_first,
    jaw_packing,
    packing_width,
    side_lifts,
    sides_agree,
    widest_three,
)
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.jaw_room import JAW, Jaws, clears, half_round, holds, jaw_boxes, lane_of, mirrored, pinned_back
from geom.setups.jaws import Flank, Side, flank, jaw_window, side_at, ways_round
from geom.setups.seats import Seat, corner_spots, flat, middle
from geom.setups.work import Work, turned
from geom.shop.records import Vise
from geom.space import Frame, Vec3, dot
from geom.toml.pins import Pin

_PARALLEL: Final = 8.0
"""mm: thickness of a parallel (common practice, no source)."""

_AIR: Final = 0.5
"""mm kept between packing and what hangs below the seat."""

_BLOCK: Final = 6.0
"""mm: half of the width of a packing on top of a jaw (common practice, no source)."""

_MUCH: Final = 1.25
"""A side this many times larger than the other is the better one for the fixed jaw."""


@dataclass(frozen=True, slots=True, eq=False)
class _Try:
    """One way round on one seat.

    Attributes:
        seen: what shows from the fixed jaw and from the movable one.
        end: which end of the work stands out beside the jaws: "left", "right" or "".
    """

    work: Work
    frame: Frame
    done: frozenset[str]
    seat: Seat
    seen: tuple[Flank, Flank]
    wants: Sequence[Demand]
    vise: Vise
    end: str
    pin: Pin | None


def vise_holds(
    work: Work, up: Vec3, done: frozenset[str], found: Sequence[Seat], wants: Sequence[Demand], vise: Vise, pin: Pin | None = None
) -> Iterator[Held]:
    """Yield the ways to hold the work in the vise; those that make less for no better grip are left out."""
    ends = ("", "left", "right") if any(want.kind == "edge" for want in wants) else ("",)
    safe = [seat for seat in found if seat.over or not any(s.over for s in found)][:2]
    for seat in [s for s in found if s.face.name == pin.seat] if pin and pin.seat else safe:
        for away in ways_round(work, up):
            frame = turned(work, up, away)
            seen = flank(work, frame, 1.0, done), flank(work, frame, -1.0, done)
            for end in ends:
                yield from _at_heights(_Try(work, frame, done, seat, seen, wants, vise, end, pin))


def _at_heights(one: _Try) -> Iterator[Held]:
    """Yield a hold for each height of parallels that makes more than the lower ones did."""
    most: frozenset[str] = frozenset()
    owned = (0.0, *one.vise.parallels)
    over = next((held for size in _on_jaws(one) if (held := _between(one, one.vise.jaw_height + size, on_jaws=True))), None)
    if over is not None:
        yield over
    for height in owned if one.pin is None or one.pin.parallels is None else (one.pin.parallels,):
        if (one.seat.hang and height < one.seat.hang + _AIR) or height >= one.vise.jaw_height:
            continue
        bed = one.seat.level - height
        if not any(_may_clear(w, one, bed, bed + one.vise.jaw_height) for w in one.wants if w.name not in most):
            continue
        held = _between(one, height)
        if held is not None and not held.makes <= most:
            yield held
            most |= held.makes
        if len(most) == len(one.wants):
            break


def _on_jaws(one: _Try) -> Iterator[float]:
    """Yield heights of packing between the tops of the jaws and a rough overhang that leave what hangs below it off the bed.

    Common practice, no source: a tee sits on the vise, its web between the jaws. A machined seat has better ways.
    """
    if one.seat.hang > 0.0 and not one.seat.machined and one.end == "" and (one.pin is None or one.pin.parallels is None):
        yield from (size for size in sorted(one.vise.parallels) if one.vise.jaw_height + size >= one.seat.hang + _AIR)


def _may_clear(want: Demand, one: _Try, bed: float, top: float) -> bool:
    """Tell whether a feature could be cut between jaws of this height, wherever they bear."""
    if want.kind == "hole" or (want.lane and want.floor - want.through >= bed):
        return want.floor - want.through >= bed
    if want.floor >= top + JAW_CLEARANCE:
        return True
    along = dot(want.normal, one.frame.x) if want.normal is not None else 0.0
    return bool(one.end) and abs(along) > 0.999


def _between(one: _Try, height: float, *, on_jaws: bool = False) -> Held | None:
    """Return the hold on parallels of one height, or with its seat that high over the bed on the jaws themselves.

    None where the jaws cannot hold, or nothing could be cut.
    """
    seat, vise, frame = one.seat, one.vise, one.frame
    bed = seat.level - height
    top = bed + vise.jaw_height
    ends = one.work.reach(frame, one.done)
    window = jaw_window(vise, *ends, one.end)
    back = side_at(one.work, frame, one.seen[0], one.done, (bed, top), window)
    front = side_at(one.work, frame, one.seen[1], one.done, (bed, top), window) if back else None
    if back is None or front is None or not sides_agree(back.lean, front.lean):
        return None
    if _goes_back(front, back, one.pin):
        frame, back, front, window = half_round(frame), mirrored(front), mirrored(back), (-window[1], -window[0])
        ends = -ends[1], -ends[0]
    jaws = Jaws(
        back, front, bed, top, window, ends, jaw_packing(back.machined, front.machined, not (back.plane and front.plane), vise)
    )
    out = float(one.work.seen(frame.z, one.done).out.max()) - top
    if not holds(jaws, out, vise):
        return None
    return _held_over(one, frame, jaws, height - vise.jaw_height, out) if on_jaws else _held(one, frame, jaws, height, out)


def _held(one: _Try, frame: Frame, jaws: Jaws, height: float, out: float) -> Held | None:
    seat = one.seat
    made = [w for w in one.wants if clears(w, frame, jaws)]
    strips, met = _parallels(frame, seat, jaws, made) if height else ((), ())
    makes = frozenset(w.name for w in made) - frozenset(met)
    if not makes:
        return None
    rests = () if seat.machined else _rests(one.work, frame, seat)
    packing = (*_seat_packing(seat, height), *jaws.packing)
    names = seat.face.name, jaws.back.face.name, jaws.front.face.name
    machined = _places(seat, jaws.back, jaws.front)
    hold = Hold("vise", *names, machined, height, jaws.grip, max(out, 0.0), packing, rests, (*jaw_boxes(one.vise, jaws), *strips))
    rough = int(not seat.machined) + int(not jaws.back.machined)
    return Held(hold, frame, makes, *_judged(seat, jaws.back, jaws.front, one.end), rough=rough)


def _held_over(one: _Try, frame: Frame, jaws: Jaws, packed: float, out: float) -> Held | None:
    """Return the hold whose overhang sits on three packings on the jaws; None where no three carry the centre of mass."""
    seat = one.seat
    makes = tuple(w for w in one.wants if clears(w, frame, jaws))
    three = _over_jaws(one.work, frame, seat, jaws, [w for w in makes if w.through])
    if not makes or three is None:
        return None
    blocks = tuple(
        Box(f"packing {n}", (x - _BLOCK, y - _BLOCK, jaws.top), (x + _BLOCK, y + _BLOCK, seat.level))
        for n, (x, y, _) in enumerate(three, 1)
    )
    on: Words = ("packing ", packed, " on the jaws at three points, shimmed until the rough side reads level by the height gauge")
    names = seat.face.name, jaws.back.face.name, jaws.front.face.name
    hold = Hold(
        "vise", *names, _places(seat, jaws.back, jaws.front), packed, jaws.grip, max(out, 0.0),
        (Packing("seat", on), *jaws.packing), three, (*jaw_boxes(one.vise, jaws), *blocks), on_jaws=True,
    )  # fmt: skip
    worse, why, cautions = _judged(seat, jaws.back, jaws.front, one.end)
    hangs: Words = (f"{seat.face.name} overhangs both jaws and sits on them; {names[1]} and {names[2]} hang between them",)
    light: Words = ("level the work on its packing, close the jaws, level it again; light cuts where it overhangs",)
    return Held(hold, frame, frozenset(w.name for w in makes), worse + 1.0, (*why, hangs), (*cautions, light), rough=2)


def _over_jaws(work: Work, frame: Frame, seat: Seat, jaws: Jaws, drills: Sequence[Demand]) -> tuple[Vec3, ...] | None:
    """Return three places of a seat over the tops of the jaws, clear of every drill, with the centre of mass over them."""
    local = frame.local_points(seat.spots)
    x, y = local[:, 0], local[:, 1]
    gaps = {p.place: packing_width([p]) for p in jaws.packing}
    rear, near = jaws.back.out + gaps.get("fixed jaw", 0.0), -jaws.front.out - gaps.get("clamp", 0.0)
    over = ((y >= rear + _BLOCK) & (y <= rear + JAW - _BLOCK)) | ((y <= near - _BLOCK) & (y >= near - JAW + _BLOCK))
    over &= (x >= jaws.window[0] + _BLOCK) & (x <= jaws.window[1] - _BLOCK)
    for drill in drills:
        at = [frame.local(drill.axis)] if drill.axis is not None else lane_of(drill, frame)
        room = drill.radius + JAW_CLEARANCE + 2.0 * _BLOCK
        for ax, ay, _ in at:
            over &= np.hypot(x - ax, y - ay) > room
    spots = seat.spots[over]
    if len(spots) < 3:
        return None
    chosen = corner_spots(spots, frame)
    three = widest_three(flat(spots[chosen], frame), middle(work, frame))
    at_three = frame.local_points(spots[chosen])
    return None if three is None else tuple((float(at_three[i, 0]), float(at_three[i, 1]), seat.level) for i in three)


def _goes_back(front: Side, back: Side, pin: Pin | None) -> bool:
    """Tell whether what the movable jaw touches belongs to the fixed one: as a pin says, else by the rules."""
    pinned = pinned_back(front, back, pin)
    return _better(front, back) if pinned is None else pinned


def _better(side: Side, other: Side) -> bool:
    """Tell whether a side belongs to the fixed jaw rather than the other; of nearly equals neither does."""
    return fixed_first(side.machined, side.plane, side.area) < fixed_first(other.machined, other.plane, _MUCH * other.area)


def _places(seat: Seat, back: Side, front: Side) -> frozenset[Place]:
    named: tuple[tuple[Place, bool], ...] = (("seat", seat.machined), ("fixed jaw", back.machined), ("clamp", front.machined))
    return frozenset(place for place, machined in named if machined)


def _parallels(frame: Frame, seat: Seat, jaws: Jaws, made: Sequence[Demand]) -> tuple[tuple[Box, ...], tuple[str, ...]]:
    """Return two parallels under the seat clear of every drill and through slot, and what one of them would still meet."""
    local = frame.local_points(seat.spots)
    low, high = float(local[:, 1].min()), float(local[:, 1].max())
    through = [w for w in made if _comes_through(w, seat)]
    drills = [_across(w, frame) for w in through]
    reach = 0.5 * (high - low) - 0.5 * _PARALLEL
    steps = [float(s) for s in range(max(int(reach), 0) + 1)]
    rear = next((high - s for s in steps if not _meets(drills, high - s - _PARALLEL, high - s)), high)
    near = next((low + s for s in steps if not _meets(drills, low + s, low + s + _PARALLEL)), low)
    x0, x1 = max(jaws.window[0], float(local[:, 0].min())), min(jaws.window[1], float(local[:, 0].max()))
    spans = ((rear - _PARALLEL, rear), (near, near + _PARALLEL))
    strips = tuple(Box(f"parallel {n}", (x0, a, jaws.bed), (x1, b, seat.level)) for n, (a, b) in enumerate(spans, 1))
    return strips, tuple(w.name for w, d in zip(through, drills, strict=True) if any(_meets([d], a, b) for a, b in spans))


def _across(want: Demand, frame: Frame) -> tuple[float, float]:
    points = [frame.local(want.axis)] if want.axis is not None else lane_of(want, frame)
    room = want.radius + JAW_CLEARANCE
    return min(p[1] for p in points) - room, max(p[1] for p in points) + room


def _comes_through(want: Demand, seat: Seat) -> bool:
    """Tell whether a drill or a slot's cutter comes out below the seat, where parallels are."""
    return (want.axis is not None or bool(want.lane)) and want.through > 0 and want.floor - want.through < seat.level


def _meets(drills: Sequence[tuple[float, float]], low: float, high: float) -> bool:
    return any(a < high and b > low for a, b in drills)


# --- what is said of it -----------------------------------------------------


def _rests(work: Work, frame: Frame, seat: Seat) -> tuple[Vec3, ...]:
    """Return three points that hold up a rough seat; () where no three have the centre of mass over them."""
    return work.known(("rests", seat, frame), lambda: _three_of(work, frame, seat))


def _three_of(work: Work, frame: Frame, seat: Seat) -> tuple[Vec3, ...]:
    chosen = corner_spots(seat.spots, frame)
    local = frame.local_points(seat.spots)
    three = widest_three(flat(seat.spots[chosen], frame), middle(work, frame))
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
