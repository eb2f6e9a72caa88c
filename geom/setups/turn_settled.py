"""What settles how the work is turned about the spindle's direction, and what to do where the hold does not.

Words only. Knows the part's faces and holes; nothing of rows.
"""

from collections.abc import Sequence

from geom.model.part import PartFace, PartHole
from geom.rows.records import Words
from geom.setups.clamp_rules import DRAFT_LIMIT, lean_of
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.work import Work
from geom.space import Vec3, cross, dot, norm, sub
from geom.tolerance import SAME_AXIS, SAME_DIRECTION


def turn_words(work: Work, held: Held, done: frozenset[str], made: Sequence[Demand]) -> tuple[Words, ...]:
    """Return how to bring the work true about Z; () where a plane against the fixed jaw does, or nothing that is cut asks for it.

    Common practice, no source: a machined side is clocked, else two holes are, else a cast side is brought true by eye.
    """
    if not any(_asks(want, work, held) for want in made) or _jaw_settles(work, held):
        return ()
    if held.hold.method == "angle plate":
        return _level_on_plate(work, held, done)
    up = held.frame.z
    sides = [f for f in work.part.faces if f.kind == "plane" and f.hole is None and abs(lean_of(dot(f.axis, up))) <= DRAFT_LIMIT]
    cut = _largest([f for f in sides if work.is_machined(f, done)])
    if cut is not None:
        return ((f"clock {cut.name} true to the table's travel: it settles the turn",),)
    pair = _far_apart(work, up, done)
    if pair:
        return ((f"turn the work until {pair[0].name} and {pair[1].name} read as drawn: they settle the turn",),)
    cast = _largest(sides)
    if cast is not None:
        return ((f"nothing machined settles the turn: bring {cast.name} true by square or eye, as well as its skin lets you",),)
    return (("nothing machined settles the turn: line the cast outline up by eye",),)


def _asks(want: Demand, work: Work, held: Held) -> bool:
    """Tell whether a feature comes out wrong when the work is turned a little: an edge, a slot, or a hole off the zero's axis."""
    if want.kind in ("edge", "slot"):
        return True
    if want.axis is None:
        return False
    x, y, _ = held.frame.local(want.axis)
    return max(abs(x), abs(y)) > SAME_AXIS or not work.zero.features


def _jaw_settles(work: Work, held: Held) -> bool:
    jaw = work.number.get(held.hold.fixed_jaw)
    return held.hold.method == "vise" and jaw is not None and work.part.faces[jaw].kind == "plane"


def _level_on_plate(work: Work, held: Held, done: frozenset[str]) -> tuple[Words, ...]:
    """Return by which holes the work is levelled against the plate: two along the plate's own direction."""
    pair = _far_apart(work, held.frame.y, done)
    if pair is None:
        return (("nothing machined settles how the work is turned on the plate: level the cast outline by eye",),)
    rise = abs(held.frame.local(pair[0].centre)[2] - held.frame.local(pair[1].centre)[2])
    told: Words = (" stand level",) if rise < SAME_AXIS else (" differ by ", round(rise, 3), " in height")
    return ((f"turn the work on the plate until plugs in {pair[0].name} and {pair[1].name}", *told),)


def _largest(faces: Sequence[PartFace]) -> PartFace | None:
    return min(faces, key=lambda f: (-round(f.area, 1), f.name), default=None)


def _far_apart(work: Work, along: Vec3, done: frozenset[str]) -> tuple[PartHole, PartHole] | None:
    """Return the two holes along a direction, made by then, that stand furthest apart; of equals the pair that stands level."""
    made = [h for h in work.part.holes if h.name in done and norm(cross(h.axis, along)) < SAME_DIRECTION]
    pairs = [(a, b) for i, a in enumerate(made) for b in made[i + 1 :] if _across(a, b, along) > SAME_AXIS]
    return max(pairs, key=lambda p: (round(_across(p[0], p[1], along), 3), p[0].name, p[1].name), default=None)


def _across(a: PartHole, b: PartHole, along: Vec3) -> float:
    return norm(cross(sub(a.centre, b.centre), along))
