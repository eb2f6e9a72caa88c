"""Ways to hold the work strapped to the table with one side up: on three points, or by studs through its own holes.

Lengths mm, set-up frame from the zero. Knows nothing of order or cost.
"""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from geom.directions import same_way
from geom.kernel.extent import face_box
from geom.looks.holder import HOLDER_RADIUS
from geom.model.part import PartFace, PartHole
from geom.rays.analytic import Bools, Floats
from geom.rows.plan import Hold, Packing, Place
from geom.rows.records import Box, Words
from geom.setups.clamp_rules import JAW_CLEARANCE, STRAP, STRAP_HEIGHT, Flat, hull, is_within, mass_is_over, widest_three
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.seats import Seat, corner_spots, flat, looking, middle, seat_corners
from geom.setups.strap_spots import Spots, Stud, strap_spots, studs
from geom.setups.travel import within
from geom.setups.work import Work
from geom.shop.records import Vise
from geom.space import Frame, Vec3, scale
from geom.toml.pins import Pin

_CUTTER: Final = 10.0
"""mm a cutter runs over the edge of a face it cuts, at most (common practice, no source)."""

_HOLDER_IN: Final = HOLDER_RADIUS - 6.0
"""mm inside an edge that the holder of a 12 mm end mill along it covers: straps are tried clear of that."""

_APART: Final = 30.0
"""mm two straps stand apart at least."""

_JACK: Final = 25.0
"""mm about a cut within which a jack below still carries it (common practice, no source)."""

_STRIP: Final = 12.0
"""mm: least height under the table's work where drills come through: a pair of packing bars (common practice, no source)."""

_SPREAD: Final = 0.25
"""Two screws stand apart by this share of the part's size at least (common practice, no source)."""

_LEAST_SCREW: Final = 3.0
"""mm: narrowest hole worth a screw that holds work (common practice, no source)."""

_PLATE: Final = 15.0
"""mm: least thickness of a plate with countersunk screws in it (common practice, no source)."""


def table_holds(
    work: Work, up: Vec3, done: frozenset[str], found: Sequence[Seat], wants: Sequence[Demand], vise: Vise, pin: Pin | None = None,
    travel: Flat | None = None,
) -> Iterator[Held]:  # fmt: skip
    """Yield the ways to strap the work to the table: along its X, or turned a quarter where the travel asks for it."""
    if not vise.table_clamps:
        return
    frame = work.frame(up)
    for one in (frame, Frame(frame.origin, frame.y, scale(frame.x, -1.0), frame.z)):
        held = list(_on_table(work, one, done, found, wants, vise, pin))
        yield from held
        if not held or travel is None or any(within(work, h, wants, travel) for h in held):
            return


def _on_table(
    work: Work, frame: Frame, done: frozenset[str], found: Sequence[Seat], wants: Sequence[Demand], vise: Vise,
    pin: Pin | None,
) -> Iterator[Held]:  # fmt: skip
    spots, bolts = strap_spots(work, frame, done), studs(work, frame, done)
    if pin is not None and pin.clamp in work.number:
        spots = spots.of(spots.face == work.number[pin.clamp])
    for seat in [s for s in found if s.face.name == pin.seat] if pin and pin.seat else found[:2]:
        for kept in _sacrifices(wants):
            tried = (_strapped(work, frame, done, seat, spots, wants, kept, vise, edge) for edge in _insets(wants))
            yield from (one for one in tried if one is not None)
        yield from _bolted(work, frame, seat, bolts, wants, vise)
        held = _screwed(work, frame, seat, done, wants, vise)
        if held is not None:
            yield held


def _insets(wants: Sequence[Demand]) -> tuple[float, ...]:
    """Return how far inside edges straps are tried: clear of a holder first, else nearer, where they leave a finder more room."""
    return (_HOLDER_IN, _CUTTER) if any(want.kind == "edge" for want in wants) else (_CUTTER,)


def _sacrifices(wants: Sequence[Demand]) -> Iterator[list[Demand]]:
    """Yield which features the straps must keep clear of: all; else the planes; else the holes."""
    everything = list(wants)
    yield everything
    for kept in ([w for w in wants if w.kind != "hole"], [w for w in wants if w.kind == "hole"]):
        if kept and len(kept) < len(everything):
            yield kept


# --- straps -----------------------------------------------------------------


def _strapped(
    work: Work, frame: Frame, done: frozenset[str], seat: Seat, spots: Spots, wants: Sequence[Demand], kept: Sequence[Demand],
    vise: Vise, edge: float,
) -> Held | None:  # fmt: skip
    """Return straps that keep clear of some features, and what they let be cut; None where they find no three points.

    Args:
        edge: mm that straps stand inside an edge to be cut.
    """
    best = _widest_straps(work, frame, seat, spots, kept, edge)
    if best is None:
        return None
    some, rests, close = best
    makes = frozenset(w.name for w in wants if not w.lacks and not _in_the_way(w, some, work, frame, edge, close).any())
    if not makes:
        return None
    height = _height(seat, [w for w in wants if w.name in makes], vise)
    names = sorted({work.part.faces[int(n)].name for n in some.face})
    machined: set[Place] = {"seat"} if seat.machined else set()
    if all(work.is_machined(work.part.faces[int(n)], done) for n in some.face):
        machined.add("clamp")
    stands = [(float(x), float(y)) for x, y in some.at[:, :2]] + seat_corners(work, seat, frame)
    made = [w for w in wants if w.name in makes]
    packing = (*_under(work, seat, some, height), *_jacks(work, frame, done, stands, made))
    boxes = (_table(work, frame, seat, height), *(_strap(i, tuple(p)) for i, p in enumerate(some.at.tolist(), 1)))
    hold = Hold("table", seat.face.name, "", names[0], frozenset(machined), height, 0.0, 0.0, packing,
                () if seat.machined else rests, boxes, tuple(names))  # fmt: skip
    why: Words = (f"{len(some.at)} straps on {' and '.join(names)}, each over metal that rests on the table",)
    worse = 1.0 + (0.5 if seat.hang else 0.0) + (0.0 if seat.machined or len(some.at) > 2 else 0.25)
    return Held(hold, frame, makes, worse, (why, _sits(seat)), (), rough=int(not seat.machined))


def _widest_straps(
    work: Work, frame: Frame, seat: Seat, spots: Spots, kept: Sequence[Demand], edge: float
) -> tuple[Spots, tuple[Vec3, ...], bool] | None:
    """Return where straps go, the points that carry the work, and whether they stand close to a face's outline.

    A rough seat wants them spread from the start. A machined one wants them clear of the box of what is cut; where that
    leaves no three, those close to the outline are taken if they stand further apart: two straps side by side on one arm
    let the other lift (common practice, no source).
    """
    tried = [_at(work, frame, seat, spots, kept, edge, close) for close in ((True,) if not seat.machined else (False, True))]
    found = [one for one in tried if one is not None]
    return max(found, key=_steadiness, default=None)


def _steadiness(one: tuple[Spots, tuple[Vec3, ...], bool]) -> tuple[bool, float]:
    """Return what straps are judged by, best last: three before two, then two that stand far apart."""
    some, _, _ = one
    return len(some.at) > 2, 0.0 if len(some.at) > 2 else round(_span(some), 3)


def _at(
    work: Work, frame: Frame, seat: Seat, spots: Spots, kept: Sequence[Demand], edge: float, close: bool
) -> tuple[Spots, tuple[Vec3, ...], bool] | None:
    clear = spots.of(_free_of(kept, spots, work, frame, edge, close))
    if seat.machined:
        mine = clear.under == work.number[seat.face.name]
        clear = clear.of(mine) if mine.sum() > 1 else clear
    chosen = _placed(work, frame, seat, clear)
    if chosen is None:
        return None
    straps, rests = chosen
    return clear.of(np.isin(np.arange(len(clear.at)), straps)), rests, close


def _span(straps: Spots) -> float:
    """Return how far apart the two outermost straps stand."""
    return max(float(np.hypot(*(straps.at[:, :2] - one[:2]).T).max()) for one in straps.at)


def _free_of(kept: Sequence[Demand], spots: Spots, work: Work, frame: Frame, edge: float, close: bool) -> Bools:
    """Return which spots' straps are in the way of none of some features."""
    free = np.ones(len(spots.at), dtype=np.bool_)
    for want in kept:
        free &= ~_in_the_way(want, spots, work, frame, edge, close)
    return free


def _in_the_way(want: Demand, spots: Spots, work: Work, frame: Frame, edge: float = _CUTTER, close: bool = False) -> Bools:
    """Return which spots' straps a feature's cutter would meet.

    Args:
        edge: mm that straps stand inside an edge.
        close: straps may stand in the corners that a face leaves of its box: on a rough seat, where they must spread.
    """
    low = want.floor < spots.at[:, 2] + STRAP_HEIGHT + JAW_CLEARANCE
    if want.axis is not None:
        x, y, _ = frame.local(want.axis)
        return np.asarray(low & (np.hypot(spots.at[:, 0] - x, spots.at[:, 1] - y) < want.radius + STRAP + 3.0))
    room = (edge if want.kind == "edge" else _CUTTER) + STRAP
    if close and want.kind == "face":
        return np.asarray(low & (_from_face(work, want.name, spots, frame) < room))
    a, b = _box(work, want.surfaces, frame)
    inside = np.logical_and.reduce([(spots.at[:, i] > a[i] - room) & (spots.at[:, i] < b[i] + room) for i in (0, 1)])
    return np.asarray(low & inside)


def _from_face(work: Work, name: str, spots: Spots, frame: Frame) -> Floats:
    """Return how far spots lie outside the outline of a face that looks up, seen from above, (n,) mm; inf where none shows.

    At its corners a little less: furthest beyond any one side of the outline, hollows filled.
    """
    outline = work.known(("outline", name, frame), lambda: _outline(work, name, frame))
    if len(outline) < 3:
        return np.full(len(spots.at), np.inf)
    corners = np.array(outline)
    along = np.roll(corners, -1, axis=0) - corners
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    return np.asarray((spots.at[:, :2] @ out.T - (corners * out).sum(axis=1)).max(axis=1) - 0.5 * work.step)


def _outline(work: Work, name: str, frame: Frame) -> tuple[Flat, ...]:
    sight = work.seen(frame.z, work.all_done)
    return tuple(hull(flat(sight.points[sight.face == work.number[name]], frame)))


def _box(work: Work, surfaces: tuple[int, ...], frame: Frame) -> tuple[Vec3, Vec3]:
    return work.known(("box", surfaces, frame), lambda: face_box(work.part.finished, surfaces, frame))


def _placed(work: Work, frame: Frame, seat: Seat, clear: Spots) -> tuple[list[int], tuple[Vec3, ...]] | None:
    """Return which spots get a strap, and three points that carry the work, the straps' own as far as they do."""
    if len(clear.at) < 2:
        return None
    seen: list[Flat] = [(x, y) for x, y in clear.at[:, :2].tolist()]
    ends = [int(i) for i in corner_spots(frame.part_points(clear.at), frame)]
    centre = middle(work, frame)
    three = widest_three([seen[i] for i in ends], centre)
    if three is not None:
        rows = [ends[i] for i in three]
        return rows, tuple((*seen[i], float(clear.foot[i])) for i in rows)
    pairs = [(a, b) for n, a in enumerate(ends) for b in ends[n + 1 :] if _away(seen[a], seen[b]) >= _APART]
    pairs.sort(key=lambda p: -round(_away(seen[p[0]], seen[p[1]]), 4))
    for a, b in pairs:
        third = _third(seen[a], seen[b], seat_corners(work, seat, frame), centre)
        if third is not None or (seat.machined and seat.over):
            under = ((*seen[i], float(clear.foot[i])) for i in (a, b))
            return [a, b], (*under, *([(*third, seat.level)] if third else []))
    return None


def _away(a: Flat, b: Flat) -> float:
    return float(np.hypot(a[0] - b[0], a[1] - b[1]))


def _third(a: Flat, b: Flat, outline: Sequence[Flat], centre: Flat) -> Flat | None:
    """Return the point of a seat's outline that holds the work up together with what is under two straps."""
    over = [p for p in outline if mass_is_over((a, b, p), centre)]
    return max(over, key=lambda p: (round(min(_away(a, p), _away(b, p)), 4), p)) if over else None


def _under(work: Work, seat: Seat, some: Spots, height: float) -> tuple[Packing, ...]:
    packing: list[Packing] = []
    if height:
        packing.append(Packing("seat", _packed(height)))
    if not seat.machined:
        where = "one under each strap" if len(some.at) > 2 else "under both straps and at the third"
        packing.append(Packing("seat", (f"shims at three points, {where}: nothing rocks, nothing is clamped over air",)))
    for number in sorted(set(some.under.tolist())):
        if work.part.faces[number].name != seat.face.name:
            gap = float(np.median(some.foot[some.under == number])) - seat.level + height
            packing.append(Packing("seat", ("packing ", round(gap, 3), f" under {work.part.faces[number].name}, below its strap")))
    return tuple(packing)


def _packed(height: float) -> Words:
    return ("packing ", height, ", clear of every drill that comes through")


def _jacks(work: Work, frame: Frame, done: frozenset[str], stands: Sequence[Flat], made: Sequence[Demand]) -> tuple[Packing, ...]:
    """Return a jack under each level face below a cut that lies beyond all that the work stands on: there it would tip."""
    below = scale(frame.z, -1.0)
    under = work.seen(below, done)
    spots, level = work.known(
        ("below", under, frame), lambda: (frame.local_points(under.points)[:, :2], np.isin(under.face, looking(work, below)))
    )
    found: set[str] = set()
    outline = hull(stands)
    for want in made:
        x, y, _ = frame.local(want.axis or _face(work, want.name).centroid)
        if is_within(outline, (x, y)):
            continue
        near = np.flatnonzero((np.hypot(spots[:, 0] - x, spots[:, 1] - y) < _JACK) & level)
        if near.size:
            numbers, counts = np.unique(under.face[near], return_counts=True)
            found.add(work.part.faces[int(numbers[np.argmax(counts)])].name)
    told = "brought up to touch, clear of every hole: a cut above it would tip the work"
    return tuple(Packing("seat", (f"a jack under {name}, {told}",)) for name in sorted(found))


def _face(work: Work, name: str) -> PartFace:
    return work.part.faces[work.number[name]]


def _height(seat: Seat, made: Sequence[Demand], vise: Vise) -> float:
    """Return the height of packing under the seat: what hangs below it, and air for drills that come through."""
    deepest = max((seat.level - (w.floor - w.through) for w in made if w.through), default=0.0)
    hang = seat.hang + 1.0 if seat.hang else 0.0
    return shop_size(max(_STRIP if deepest > 0 else 0.0, hang), vise)


def shop_size(least: float, vise: Vise) -> float:
    """Return the height of the lowest parallel on hand that is no less than what is wanted; that itself where there is none.

    Packing is what the shop has: an inch shop puts 1/2 in under the work, not 12 mm (common practice, no source).
    """
    if not least:
        return 0.0
    return next((size for size in sorted(vise.parallels) if size >= least - 1e-9), least)


def _table(work: Work, frame: Frame, seat: Seat, height: float) -> Box:
    local = frame.local_points(work.seen(frame.z, frozenset()).points)
    (x0, y0), (x1, y1) = local[:, :2].min(axis=0).tolist(), local[:, :2].max(axis=0).tolist()
    z = seat.level - height
    return Box("table", (x0 - 100.0, y0 - 100.0, z - 50.0), (x1 + 100.0, y1 + 100.0, z))


def _strap(number: int, at: tuple[float, ...]) -> Box:
    x, y, z = at
    return Box(f"strap {number}", (x - STRAP, y - STRAP, z), (x + STRAP, y + STRAP, z + STRAP_HEIGHT))


def _sits(seat: Seat) -> Words:
    if seat.machined:
        return (f"{seat.face.name} is machined, so it sits down",)
    return (f"{seat.face.name} is rough: it locates this once, on three points",)


# --- studs ------------------------------------------------------------------


def _bolted(work: Work, frame: Frame, seat: Seat, bolts: Sequence[Stud], wants: Sequence[Demand], vise: Vise) -> Iterator[Held]:
    """Yield the work held by studs through its own holes: by all of one face that are open, else by each alone."""
    good = [b for b in bolts if b.under == work.number[seat.face.name]]
    groups: dict[str, list[Stud]] = {}
    for bolt in good:
        groups.setdefault(bolt.face, []).append(bolt)
    for face, some in sorted(groups.items()):
        held = _by_studs(work, frame, seat, face, some, wants, vise)
        if held is not None:
            yield held


def _by_studs(
    work: Work, frame: Frame, seat: Seat, face: str, some: Sequence[Stud], wants: Sequence[Demand], vise: Vise
) -> Held | None:
    at = np.array([b.at for b in some])
    own = {b.hole.name for b in some} | {face}
    heads = Spots(at, np.zeros(len(at), np.int64), np.zeros(len(at), np.int64), at[:, 2])
    makes = frozenset(w.name for w in wants if w.name not in own and not w.lacks and not _in_the_way(w, heads, work, frame).any())
    if not makes or not seat.over:
        return None
    height = _height(seat, [w for w in wants if w.name in makes], vise)
    names = ", ".join(b.hole.name for b in some)
    machined: set[Place] = {"seat"} if seat.machined else set()
    packing: list[Packing] = [Packing("clamp", (f"studs through {names}, a thick washer on {face}",))]
    if height:
        packing.insert(0, Packing("seat", _packed(height)))
    cautions: list[Words] = []
    if len(some) == 1:
        cautions.append((f"one stud through {names} lets the work turn: set a stop against its side",))
    boxes = (_table(work, frame, seat, height), *(_strap(i, b.at) for i, b in enumerate(some, 1)))
    hold = Hold("table", seat.face.name, "", face, frozenset(machined), height, 0.0, 0.0, tuple(packing),
                () if seat.machined else _three(work, frame, seat), boxes)  # fmt: skip
    why: Words = (f"held down through {names}: nothing stands on the faces that are cut",)
    worse = (1.25 if len(some) > 1 else 2.5) + (0.5 if seat.hang else 0.0)
    hides = frozenset(b.hole.name for b in some)
    return Held(hold, frame, makes, worse, (why, _sits(seat)), tuple(cautions), int(not seat.machined), hides)


# --- screws from below ------------------------------------------------------


def _screwed(work: Work, frame: Frame, seat: Seat, done: frozenset[str], wants: Sequence[Demand], vise: Vise) -> Held | None:
    """Return the work screwed from below to a plate, by its own blind holes that look down: the last resort of small parts."""
    holes = [h for h in work.part.holes if _takes_a_screw(h, frame.z) and h.name in done]
    seen = [frame.local(h.centre)[:2] for h in holes]
    far = max((_away(a, b) for a in seen for b in seen), default=0.0)
    makes = frozenset(w.name for w in wants if not w.lacks)
    if not makes or not seat.machined or far < _SPREAD * work.part.finished.size:
        return None
    height = shop_size(max(_PLATE, seat.hang + 1.0), vise)
    names = " and ".join(h.name for h in holes)
    packing = (Packing("seat", (f"a plate, screwed from below into {names}, of ", height)),)
    caution: Words = (f"make the plate first: two pins or close screws into {names}; drills that come through go into it",)
    hold = Hold("table", seat.face.name, "", seat.face.name, frozenset({"seat", "clamp"}), height, 0.0, 0.0, packing, (),
                (_table(work, frame, seat, height),))  # fmt: skip
    why: Words = (f"nothing but {names} can hold it: all that looks up or out is cut here",)
    return Held(hold, frame, makes, 4.0 + (0.5 if seat.hang else 0.0), (why, _sits(seat)), (caution,))


def _takes_a_screw(hole: PartHole, up: Vec3) -> bool:
    """Tell whether a blind hole that looks down may be tapped: the drawing says so, or says nothing."""
    told = hole.callout is None or hole.callout.thread is not None
    return told and not hole.through and same_way(hole.axis, scale(up, -1.0)) and hole.diameter >= _LEAST_SCREW


def _three(work: Work, frame: Frame, seat: Seat) -> tuple[Vec3, ...]:
    seen = seat_corners(work, seat, frame)
    three = widest_three(seen, middle(work, frame))
    return tuple((*seen[i], seat.level) for i in three) if three else ()
