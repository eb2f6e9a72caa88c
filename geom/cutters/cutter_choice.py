"""Which cutter on hand a piece of work wants, or what is missing.

An answer is a `Choice` or a `Lack`; a `Lack` names the nearest cutter on hand,
what that one would give, and what to buy: the program never takes it in
silence. Of several that fit the least `merit` wins, so taking a cutter away
never improves a choice. Lengths mm, angles degrees. Knows sizes and reach;
speeds and power are `cutting_data`.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from geom.rows.records import Words
from geom.shop.records import Cutter, Finder, FinderKind, Shop
from geom.standards.drill import Drill
from geom.standards.thread import GREATEST_PERCENT, LEAST_PERCENT, Thread, percent_thread

SAME_SIZE: Final = 0.01
"""A cutter within this many mm of a size has that size: 6.35 mm is a 1/4 in drill."""

SAME_SEAT: Final = 0.1
"""A seat for a screw head may be this many mm wider or narrower (common practice)."""

LOOSE_PILOT: Final = 0.5
"""A pilot with more than this much play, mm, no longer guides (common practice)."""

STEPOVER: Final = 0.75
"""Share of a cutter's diameter that one pass of a face is wide (common practice)."""

Merit: TypeAlias = tuple[float, ...]
"""What a choice is judged by, least first; comparable between choices for the same work."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A cutter that does the work.

    Attributes:
        merit: least is best.
        percent: of full thread, where a drill goes before a tap.
        notes: what to know about it.
    """

    cutter: Cutter
    merit: Merit
    percent: float | None = None
    notes: tuple[Words, ...] = ()


@dataclass(frozen=True, slots=True)
class Lack:
    """No cutter on hand does the work: an answer, not an error.

    Attributes:
        wanted: what is missing.
        nearest: the nearest on hand, or None when the shop has none of its kind.
        gives: what the nearest would give; without one, why there is none.
        buy: what would do; () where nothing bought would.
    """

    wanted: Words
    nearest: Cutter | None = None
    gives: Words = ()
    buy: Words = ()

    @property
    def says(self) -> Words:
        """Return the answer as one sentence: "no 10.2 mm drill: 10.3 mm drill gives 75 % thread; or buy ..."."""
        near: Words = (": ", self.nearest.name, " ", *self.gives) if self.nearest else (": ", *(self.gives or ("none is on hand",)))
        return ("no ", *self.wanted, *near, *(("; or buy ", *self.buy) if self.buy else ()))


# --- drills, taps, reamers --------------------------------------------------


def choose_drill(shop: Shop, wanted: Drill, thread: Thread | None = None, depth: float = 0.0) -> Choice | Lack:
    """Return the drill of a size.

    Args:
        thread: what is tapped afterwards: then the percent of full thread is told.
        depth: from the mouth to the tip; the flutes have to go that deep.
    """
    drills = shop.of("drill")
    size = [c for c in drills if abs(c.diameter - wanted.diameter) <= SAME_SIZE]
    best = _best([c for c in size if c.reach >= depth], lambda c: (c.reach, abs(c.diameter - wanted.diameter)))
    if best is not None:
        return Choice(best[1], best[0], percent=_percent(thread, best[1].diameter))
    name: Words = (wanted.name, " drill") if wanted.name else (wanted.diameter, " drill")
    if size:
        return _too_short(name, max(size, key=lambda c: c.reach), depth)
    near = _nearest(drills, wanted.diameter)
    return Lack(name, near, _drill_gives(near, wanted, thread), ("one",))


def _percent(thread: Thread | None, diameter: float) -> float | None:
    return None if thread is None else percent_thread(thread.major, thread.pitch, diameter)


def _drill_gives(near: Cutter | None, wanted: Drill, thread: Thread | None) -> Words:
    if near is None:
        return ()
    left = _percent(thread, near.diameter)
    if left is None:
        return _wider(near.diameter - wanted.diameter, "hole")
    if LEAST_PERCENT <= left <= GREATEST_PERCENT:
        return (f"gives {left:.0f} % thread",)
    return (f"would give {max(left, 0.0):.0f} % thread, outside {LEAST_PERCENT:g} to {GREATEST_PERCENT:g} %: do not use it",)


def choose_tap(shop: Shop, thread: Thread, depth: float = 0.0) -> Choice | Lack:
    """Return the tap of a thread that reaches a depth; a tap of another pitch is no substitute."""
    taps = shop.of("tap")
    size = [c for c in taps if c.label == thread.designation]
    best = _best([c for c in size if c.reach >= depth], lambda c: (c.reach,))
    if best is not None:
        return Choice(best[1], best[0])
    wanted: Words = (thread.designation, " tap")
    if size:
        return _too_short(wanted, max(size, key=lambda c: c.reach), depth)
    near = _nearest(taps, thread.major)
    return Lack(wanted, near, ("cuts another thread: the screw has to change with it",) if near else (), ("one",))


def choose_reamer(shop: Shop, diameter: float, grade: str = "H7", depth: float = 0.0) -> Choice | Lack:
    """Return the reamer of a size and grade that reaches a depth."""
    reamers = shop.of("reamer")
    size = [c for c in reamers if abs(c.diameter - diameter) <= SAME_SIZE]
    fitting = [c for c in size if c.grade.upper() == grade.upper()]
    best = _best([c for c in fitting if c.reach >= depth], lambda c: (c.reach,))
    if best is not None:
        return Choice(best[1], best[0])
    wanted: Words = (diameter, f" {grade} reamer")
    if fitting:
        return _too_short(wanted, max(fitting, key=lambda c: c.reach), depth)
    near = _nearest(size or reamers, diameter)
    if near is None:
        return Lack(wanted, None, (), ("one, or bore the hole",))
    gives: Words = (f"makes {near.grade}, not {grade}",) if size else _wider(near.diameter - diameter, "hole")
    return Lack(wanted, near, gives, ("one, or bore the hole",))


# --- seats and bores --------------------------------------------------------


def choose_counterbore(shop: Shop, diameter: float, hole: float | None = None, depth: float = 0.0) -> Choice | Lack:
    """Return a counterbore for a seat, or an end mill of its size.

    Args:
        hole: diameter of the hole its pilot runs in; None for a seat without one.
        depth: from where the holder has to stay clear to the seat.
    """
    seats = [c for c in (*shop.of("counterbore"), *shop.of("end mill")) if abs(c.diameter - diameter) <= SAME_SEAT]
    entering = [c for c in seats if c.kind == "end mill" or c.pilot is None or (hole is not None and c.pilot <= hole + 1e-9)]
    entering = [c for c in entering if hole is not None or c.centre_cutting or c.kind == "counterbore"]
    best = _best([c for c in entering if c.reach >= depth], lambda c: (_play(c, hole) > LOOSE_PILOT, abs(c.diameter - diameter),
                                                                       min(_play(c, hole), 1000.0), c.reach))  # fmt: skip
    if best is not None:
        notes: tuple[Words, ...] = ()
        if _play(best[1], hole) > LOOSE_PILOT:
            notes = ((f"the {best[1].name} is not guided by a pilot here: clamp hard and enter slowly",),)
        return Choice(best[1], best[0], notes=notes)
    wanted: Words = (diameter, " counterbore", *((" with a pilot for ", hole) if hole is not None else ()))
    if entering:
        return _too_short(wanted, max(entering, key=lambda c: c.reach), depth)
    if seats:
        return Lack(
            wanted,
            seats[0],
            (
                "has a pilot of ",
                seats[0].pilot or 0.0,
                " that does not enter",
            ),
            ("one, or bore the seat",),
        )
    near = _nearest(shop.of("counterbore"), diameter)
    return Lack(wanted, near, _wider(near.diameter - diameter, "seat") if near else (), ("one, or bore the seat",))


def _play(cutter: Cutter, hole: float | None) -> float:
    """Return the play of a cutter's pilot in its hole; endless without one."""
    return math.inf if cutter.pilot is None or hole is None else hole - cutter.pilot


def choose_countersink(shop: Shop, diameter: float, angle: float, depth: float = 0.0) -> Choice | Lack:
    """Return a countersink of an angle that is at least as wide as the mouth; a spotting drill of that angle does too."""
    cones = (*shop.of("countersink"), *shop.of("spotting drill"))
    angled = [c for c in cones if c.point_angle is not None and abs(c.point_angle - angle) <= 0.5]
    wide = [c for c in angled if c.diameter >= diameter - SAME_SIZE]
    best = _best([c for c in wide if c.reach >= depth], lambda c: (c.kind != "countersink", c.diameter, c.reach))
    if best is not None:
        return Choice(best[1], best[0])
    wanted: Words = (diameter, f" {angle:g} degree countersink")
    if wide:
        return _too_short(wanted, max(wide, key=lambda c: c.reach), depth)
    if angled:
        near = max(angled, key=lambda c: c.diameter)
        return Lack(wanted, near, ("makes a mouth of ", near.diameter, " at most"), ("one",))
    other = _nearest(cones, diameter)
    return Lack(wanted, other, (f"is {other.point_angle:g} degrees: the head would not bear",) if other else (), ("one",))


def choose_boring(shop: Shop, diameter: float, depth: float = 0.0) -> Choice | Lack:
    """Return a boring head that makes a bore of that diameter and depth."""
    heads = shop.of("boring head")
    size = [c for c in heads if (c.smallest or 0.0) - SAME_SIZE <= diameter <= c.diameter + SAME_SIZE]
    best = _best([c for c in size if c.reach >= depth], lambda c: (c.reach, c.diameter))
    if best is not None:
        return Choice(best[1], best[0])
    wanted: Words = ("boring head for ", diameter)
    if size:
        return _too_short(wanted, max(size, key=lambda c: c.reach), depth)
    near = min(heads, key=lambda c: max((c.smallest or 0.0) - diameter, diameter - c.diameter), default=None)
    return Lack(wanted, near, ("does not reach that size",) if near else (), ("one, or have it bored",))


# --- milling cutters --------------------------------------------------------


def choose_end_mill(
    shop: Shop,
    *,
    widest: float = math.inf,
    depth: float = 0.0,
    reach: float = 0.0,
    plunge: bool = False,
    prefer: float = math.inf,
) -> Choice | Lack:
    """Return the end mill for an edge, a slot or a pocket: the stiffest that fits.

    Args:
        widest: largest diameter that fits (a slot's width, twice an inner corner's radius).
        depth: height its side has to cut.
        reach: from where the holder has to stay clear to its end.
        plunge: it has to cut over its centre.
        prefer: a diameter that is enough; of those up to it the largest wins, then the smallest above it.
    """
    mills = shop.of("end mill")
    narrow = [c for c in mills if c.diameter <= widest + SAME_SIZE]
    plunging = [c for c in narrow if c.centre_cutting or not plunge]
    fitting = [c for c in plunging if c.flute_length >= depth and c.reach >= max(reach, depth)]
    best = _best(fitting, lambda c: (-min(c.diameter, prefer), c.diameter, c.reach, -c.flutes))
    if best is not None:
        return Choice(best[1], best[0])
    wanted = _end_mill_wanted(widest, depth, reach, plunge)
    if plunging:
        near = max(plunging, key=lambda c: (c.flute_length >= depth, c.reach, c.flute_length, c.diameter))
        return Lack(wanted, near, ("has flutes of ", near.flute_length, " and reaches ", near.reach), ("a longer one",))
    if narrow:
        return Lack(wanted, narrow[-1], ("does not cut over its centre: drill a start hole",), ("one that does",))
    near_mill = mills[0] if mills else None
    return Lack(wanted, near_mill, ("is too wide by ", mills[0].diameter - widest) if mills else (), ("a narrower one",))


def _end_mill_wanted(widest: float, depth: float, reach: float, plunge: bool) -> Words:
    size: Words = (" of at most ", widest) if math.isfinite(widest) else ()
    side: Words = (" with flutes of ", depth) if depth else ()
    far: Words = (" that reaches ", reach) if reach > depth else ()
    return ("end mill", *size, *side, *far, *((" and plunges",) if plunge else ()))


def choose_face_mill(shop: Shop, width: float, *, widest: float = math.inf, reach: float = 0.0) -> Choice | Lack:
    """Return the cutter that faces a width in the fewest passes: a face mill, else an end mill.

    Args:
        width: of the face across the passes.
        widest: largest diameter that has room.
        reach: from where the holder has to stay clear to its end.
    """
    mills = (*shop.of("face mill"), *shop.of("end mill"))
    room = [c for c in mills if c.diameter <= widest + SAME_SIZE]
    best = _best(
        [c for c in room if c.reach >= reach], lambda c: (passes_wide(c, width), c.kind != "face mill", c.diameter, c.reach)
    )
    if best is not None:
        return Choice(best[1], best[0])
    wanted: Words = ("face mill or end mill", *((" of at most ", widest) if math.isfinite(widest) else ()))
    if room:
        return _too_short(wanted, max(room, key=lambda c: c.reach), reach)
    near = min(mills, key=lambda c: c.diameter, default=None)
    return Lack(wanted, near, ("is too wide by ", near.diameter - widest) if near else (), ("a narrower one",))


def passes_wide(cutter: Cutter, width: float) -> int:
    """Return how many passes side by side clear a width, each `STEPOVER` of the cutter."""
    return max(1, math.ceil(width / (STEPOVER * cutter.diameter) - 1e-9))


def choose_spot(shop: Shop, drill: float) -> Choice | Lack:
    """Return the spotting drill before a drill of that diameter: the smallest as wide as the drill, else the widest."""
    spots = shop.of("spotting drill")
    best = _best(spots, lambda c: (max(drill - c.diameter, 0.0), c.diameter, c.reach))
    return Choice(best[1], best[0]) if best else Lack(("spotting drill",), None, (), ("one, or centre-punch",))


def choose_finder(shop: Shop, kind: FinderKind, reach: float = 0.0) -> Finder | Lack:
    """Return the edge finder or indicator that reaches down far enough: the shortest."""
    owned = [f for f in shop.finders if f.kind == kind]
    fitting = sorted((f for f in owned if f.reach >= reach), key=lambda f: (f.reach, f.diameter))
    if fitting:
        return fitting[0]
    far: Words = (" that reaches down ", reach) if reach else ()
    return Lack((kind, *far), None, (), ("one, or touch off with a cutter and paper" if kind == "edge finder" else "one",))


# --- common -----------------------------------------------------------------


def _best(fitting: Sequence[Cutter], merit: Callable[[Cutter], Sequence[float]]) -> tuple[Merit, Cutter] | None:
    """Return the cutter of least merit with it; of equals the first in the shop's order."""
    judged = [(tuple(float(v) for v in merit(c)), i) for i, c in enumerate(fitting)]
    if not judged:
        return None
    least, at = min(judged)
    return least, fitting[at]


def _nearest(cutters: Sequence[Cutter], diameter: float) -> Cutter | None:
    return min(cutters, key=lambda c: (abs(c.diameter - diameter), c.diameter), default=None)


def _too_short(wanted: Words, near: Cutter, depth: float) -> Lack:
    return Lack(
        (*wanted, " that reaches ", depth), near, ("reaches ", near.reach, ", short by ", depth - near.reach), ("a longer one",)
    )


def _wider(by: float, what: str) -> Words:
    return (f"makes the {what} ", abs(by), " too wide" if by > 0 else " too narrow")
