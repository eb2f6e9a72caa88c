"""Ways to hold work that has no level face down: between two flat upright sides, on its lowest edge or ridge.

Common practice, no source: draft crowns or tilts what faces down by a degree or
two. The sides set the work upright one way; the other way it is levelled before
the jaws close, on a shim under its lowest metal and, where it overhangs what the
jaws bear on, a jack. Lengths mm, set-up frame from the zero. Knows nothing of
level seats, order or cost.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.rays.analytic import Bools, Floats
from geom.rows.plan import Hold, Packing, Place
from geom.rows.records import Box, Words
from geom.setups.clamp_rules import DRAFT_LIMIT, JAW_CLEARANCE, LIFTS, fixed_first, jaw_packing, lean_of
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.jaw_room import Jaws, clears, half_round, holds, jaw_boxes, lane_of, mirrored, pinned_back
from geom.setups.jaws import Flank, Side, flank, jaw_window, side_at, ways_round
from geom.setups.seats import looking, middle
from geom.setups.work import Work, turned
from geom.shop.records import Vise
from geom.space import Frame, Vec3, dot, scale
from geom.toml.pins import Pin

_RIDGE: Final = 0.6
"""mm: what lies this close to the lowest metal is the ridge or edge that touches down."""

_HALF: Final = 5.0
"""mm: half the width of a jack's head and of a packing under a ridge (common practice, no source)."""

_LOWEST_JACK: Final = 20.0
"""mm: a jack is no lower than this (common practice, no source)."""

_LEAST_SPREAD: Final = 20.0
"""mm between jack and centre of mass, or it does not steady the work (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class _Ridge:
    """The lowest metal of work without a level face down.

    Attributes:
        name: the face it belongs to.
        level: its height; spots: (k, 3) points of it, part frame.
    """

    name: str
    level: float
    spots: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Try:
    work: Work
    frame: Frame
    done: frozenset[str]
    ridge: _Ridge
    seen: tuple[Flank, Flank]
    wants: Sequence[Demand]
    vise: Vise


def ridge_holds(
    work: Work, up: Vec3, done: frozenset[str], wants: Sequence[Demand], vise: Vise, pin: Pin | None = None
) -> Iterator[Held]:
    """Yield the ways to hold the work on its lowest metal, for each way round the lowest packing that makes the most."""
    ridge = _ridge(work, up, done)
    if ridge is None:
        return
    owned = (0.0, *sorted(vise.parallels)) if pin is None or pin.parallels is None else (pin.parallels,)
    for away in ways_round(work, up):
        frame = turned(work, up, away)
        one = _Try(work, frame, done, ridge, (flank(work, frame, 1.0, done), flank(work, frame, -1.0, done)), wants, vise)
        found = [held for height in owned if height < vise.jaw_height and (held := _held(one, height, pin))]
        if found:
            yield max(found, key=lambda held: (len(held.makes), held.hold.grip))


def _ridge(work: Work, up: Vec3, done: frozenset[str]) -> _Ridge | None:
    """Return the lowest metal where it is rough skin that leans within the draft limit; None where it is anything else."""
    sight = work.seen(scale(up, -1.0), done)
    low = np.flatnonzero(sight.out >= sight.out.max(initial=-np.inf) - _RIDGE)
    if not low.size:
        return None
    faces = [work.part.faces[int(n)] if n >= 0 else None for n in np.unique(sight.face[low])]
    steep = math.cos(math.radians(DRAFT_LIMIT))
    for face in faces:
        if face is None or face.normal is None or work.is_machined(face, done) or -dot(face.normal, up) < steep:
            return None
    lead = int(low[np.argmax(np.round(sight.out[low], 4))])
    return _Ridge(work.part.faces[int(sight.face[lead])].name, -float(sight.out[lead]), sight.points[low])


# --- one hold ---------------------------------------------------------------


def _held(one: _Try, height: float, pin: Pin | None) -> Held | None:
    """Return the hold on packing of one height; None where the jaws cannot hold, the work tips, or nothing could be cut."""
    jaws = _jaws(one, height)
    if jaws is None:
        return None
    frame = one.frame
    if _goes_back(jaws, pin):
        frame, jaws = half_round(frame), _about(jaws, one.vise)
    out = float(one.work.seen(frame.z, one.done).out.max()) - jaws.top
    made = [want for want in one.wants if clears(want, frame, jaws)]
    under = _under(one, frame, jaws, made) if holds(jaws, out, one.vise) else None
    if under is None or not made:
        return None
    places: frozenset[Place] = frozenset(p for p, s in _sides(jaws) if s.machined)
    names = one.ridge.name, jaws.back.face.name, jaws.front.face.name
    packing = Packing("seat", _packing_words(height, len(under) > 1))
    boxes = (*jaw_boxes(one.vise, jaws), *(box for box in under if box.high[2] > box.low[2] + 1e-6))
    rests = ((*under[0].middle, one.ridge.level),)
    hold = Hold(
        "vise", *names, places, height, jaws.grip, max(out, 0.0), (packing, *jaws.packing), rests, boxes, on_ridge=True
    )  # fmt: skip
    makes = frozenset(want.name for want in made)
    return Held(hold, frame, makes, 3.0, _why(jaws), (_caution(one, frame, len(under) > 1),), rough=1 + int(not jaws.back.machined))


def _jaws(one: _Try, height: float) -> Jaws | None:
    """Return the jaws with what they bear on in their middle.

    None unless two flat, upright, parallel sides are met and the centre of mass stands between the ends of the jaws and between
    the sides.
    """
    bed = one.ridge.level - height
    band = bed, bed + one.vise.jaw_height
    ends = one.work.reach(one.frame, one.done)
    found = _flat_sides(one, band, jaw_window(one.vise, *ends, ""))
    window = jaw_window(one.vise, *_borne(*found), "") if found else ends
    found = found and _flat_sides(one, band, window)
    if not found:
        return None
    back, front = found
    packing = jaw_packing(back.machined, front.machined, False, one.vise)
    x, y = middle(one.work, one.frame)
    inside = window[0] <= x <= window[1] and -front.out <= y <= back.out
    return Jaws(back, front, *band, window, ends, packing) if inside else None


def _flat_sides(one: _Try, band: tuple[float, float], window: tuple[float, float]) -> tuple[Side, Side] | None:
    """Return what both jaws touch where both are flat and upright."""
    back, front = (side_at(one.work, one.frame, seen, one.done, band, window) for seen in one.seen)
    if back is None or front is None or not (_is_flat(back, one.frame) and _is_flat(front, one.frame)):
        return None
    return back, front


def _borne(back: Side, front: Side) -> tuple[float, float]:
    """Return from where to where along X both jaws bear."""
    return max(back.low, front.low), min(back.high, front.high)


def _is_flat(side: Side, frame: Frame) -> bool:
    """Tell whether a side is a plane square to the jaws' closing, neither leaning nor one half of a crown."""
    normal = side.face.normal
    return side.plane and normal is not None and max(abs(side.lean), abs(lean_of(dot(normal, frame.x)))) <= LIFTS


def _sides(jaws: Jaws) -> tuple[tuple[Place, Side], ...]:
    return ("fixed jaw", jaws.back), ("clamp", jaws.front)


def _goes_back(jaws: Jaws, pin: Pin | None) -> bool:
    """Tell whether what the movable jaw touches belongs to the fixed one: as a pin says, else when it alone is machined."""
    pinned = pinned_back(jaws.front, jaws.back, pin)
    if pinned is not None:
        return pinned
    return fixed_first(jaws.front.machined, True, 0.0) < fixed_first(jaws.back.machined, True, 0.0)


def _about(jaws: Jaws, vise: Vise) -> Jaws:
    """Return the jaws as they stand with the work turned half round."""
    back, front = mirrored(jaws.front), mirrored(jaws.back)
    window, ends = (-jaws.window[1], -jaws.window[0]), (-jaws.ends[1], -jaws.ends[0])
    packing = jaw_packing(back.machined, front.machined, False, vise)
    return Jaws(back, front, jaws.bed, jaws.top, window, ends, packing)


# --- what stands under it ---------------------------------------------------


def _under(one: _Try, frame: Frame, jaws: Jaws, made: Sequence[Demand]) -> tuple[Box, ...] | None:
    """Return the packing under the ridge, and the jack where the centre of mass is beside what the jaws bear on.

    None where the ridge is not between the jaws where they bear, or no place under the overhang suits a jack.
    """
    borne = _borne(jaws.back, jaws.front)
    spots = _clear_of(frame.local_points(one.ridge.spots), frame, made)
    spots = spots[(spots[:, 0] >= borne[0]) & (spots[:, 0] <= borne[1]) & _between(spots, jaws)]
    if not len(spots):
        return None
    centre = 0.5 * (borne[0] + borne[1])
    x, y, _ = min(spots.round(3).tolist(), key=lambda p: (round(p[2], 2), round(abs(p[0] - centre), 2), p))
    ridge = Box("packing", (x - _HALF, y - _HALF, jaws.bed), (x + _HALF, y + _HALF, one.ridge.level))
    mass = middle(one.work, frame)[0]
    if borne[0] <= mass <= borne[1]:
        return (ridge,)
    jack = _jack(one, frame, jaws, made, mass, 1.0 if mass > borne[1] else -1.0)
    return None if jack is None else (ridge, jack)


def _jack(one: _Try, frame: Frame, jaws: Jaws, made: Sequence[Demand], mass: float, way: float) -> Box | None:
    """Return the jack that stands on the bed furthest out under one nearly level face, clear of drills and of the jaws."""
    sight = one.work.seen(scale(frame.z, -1.0), one.done)
    local = frame.local_points(sight.points)
    free = (local[:, 0] >= jaws.window[0] + _HALF) & (local[:, 0] <= jaws.window[1] - _HALF)
    free &= _between(local, jaws) & (way * (local[:, 0] - mass) >= _LEAST_SPREAD) & (local[:, 2] >= jaws.bed + _LOWEST_JACK)
    steep = math.cos(math.radians(DRAFT_LIMIT))
    level = [face.normal is not None and -dot(face.normal, frame.z) >= steep for face in one.work.part.faces]
    free &= np.array([*level, False])[sight.face]
    for x, y, z in sorted(_clear_of(local[free], frame, made).round(3).tolist(), key=lambda p: (-way * p[0], abs(p[1]), p[1])):
        near = (np.abs(local[:, 0] - x) <= _HALF + one.work.step) & (np.abs(local[:, 1] - y) <= _HALF + one.work.step)
        if float(np.ptp(local[near, 2])) <= 2.0 * (_HALF + one.work.step) * math.tan(math.radians(DRAFT_LIMIT)):
            return Box("jack", (x - _HALF, y - _HALF, jaws.bed), (x + _HALF, y + _HALF, z))
    return None


def _between(local: Floats, jaws: Jaws) -> Bools:
    """Return which points packing may stand under between the sides."""
    return np.asarray((local[:, 1] <= jaws.back.out - _HALF) & (local[:, 1] >= _HALF - jaws.front.out))


def _clear_of(local: Floats, frame: Frame, made: Sequence[Demand]) -> Floats:
    """Return the points that packing may stand under without being met by a drill or a slot's cutter that comes through."""
    clear = np.ones(len(local), dtype=np.bool_)
    for want in made:
        at = [frame.local(want.axis)] if want.axis is not None else lane_of(want, frame)
        for x, y, _ in at if want.through else ():
            clear &= np.hypot(local[:, 0] - x, local[:, 1] - y) > want.radius + JAW_CLEARANCE + math.sqrt(2.0) * _HALF
    return local[clear]


# --- what is said of it -----------------------------------------------------


def _packing_words(height: float, jacked: bool) -> Words:
    on: Words = ("packing ", height, " and a shim on it") if height else ("a shim",)
    jack: Words = (", and a screw jack under the overhang",) if jacked else ()
    return (*on, " below the lowest metal", *jack)


def _why(jaws: Jaws) -> tuple[Words, ...]:
    return (
        ("no level face looks down: draft leans it, so the work sits on its lowest metal",),
        (f"{jaws.back.face.name} and {jaws.front.face.name} are flat and upright: the jaws set it square across them",),
    )


def _caution(one: _Try, frame: Frame, jacked: bool) -> Words:
    """Return how the work is set level along the jaws: by a machined side that stands across them, else by the skin on top."""
    across = [
        face for face in one.work.part.faces
        if face.kind == "plane" and face.normal is not None and one.work.is_machined(face, one.done)
        and abs(dot(face.normal, frame.x)) > 0.999
    ]  # fmt: skip
    tops = [one.work.part.faces[n] for n in looking(one.work, frame.z)]
    best = max(across or tops, key=lambda face: (round(face.area, 1), face.name), default=None)
    if across and best is not None:
        level = f"set {best.name} upright by a square on the bed"
    else:
        level = f"set {best.name if best else 'the side that looks up'} level along the jaws by the height gauge"
    jack = "; the jack steadies, snug and no more" if jacked else ""
    return (f"{level} before the jaws close, and check it again after{jack}; light cuts, the work stands on one line",)
