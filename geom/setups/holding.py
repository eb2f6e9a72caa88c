"""Every way worth considering to hold the work with one side up.

In the vise, strapped to the table, or against the angle plate, in a printed nest
where the job says so; of two that make
the same, the one that is better by the rules of the trade. Knows nothing of
order or cost.
"""

from collections.abc import Sequence

from geom.setups.clamp_rules import LOWEST
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.nest_hold import nest_holds
from geom.setups.pinned import keeps
from geom.setups.plate_hold import plate_holds
from geom.setups.ridge_hold import ridge_holds
from geom.setups.seats import seats
from geom.setups.table_hold import table_holds
from geom.setups.travel import shares
from geom.setups.vise_hold import vise_holds
from geom.setups.work import Work
from geom.shop.records import Vise
from geom.space import Vec3
from geom.toml.pins import Pin


def holdings(
    work: Work, up: Vec3, done: frozenset[str], wants: Sequence[Demand], vise: Vise, pin: Pin | None = None,
    travel: tuple[float, float] | None = None,
) -> tuple[Held, ...]:  # fmt: skip
    """Return every way to hold the work with `up` to the spindle, best first.

    Args:
        done: features made by then.
        wants: those that are left to make from this side.
        pin: what the job fixes of this set-up, or None.
        travel: of the table in X and Y; None for any.
    """
    places = seats(work, up, done, first=not done)
    if pin is not None and pin.hold == "nest":
        return tuple(held for held in nest_holds(work, up, done, places, wants) if keeps(held.hold, pin))
    found = list(vise_holds(work, up, done, places, wants, vise, pin)) if places else []
    flat = any(seat.over and seat.hang <= LOWEST for seat in places)
    if not flat and (pin is not None or not _settled(found, wants, 3.0)):
        found.extend(ridge_holds(work, up, done, wants, vise, pin))
    if pin is not None or not _settled(found, wants, 1.0):
        found.extend(table_holds(work, up, done, places, wants, vise, pin, travel))
    if pin is not None or not _settled(found, wants, 3.0):
        found.extend(plate_holds(work, up, done, wants, vise))
    pinned = (held for held in found if keeps(held.hold, pin))
    kept = [one for held in pinned for one in (shares(work, held, wants, travel) if travel else (held,))]
    return tuple(_ranked(kept, work.frame(up).x, 2.0 * work.step))


def _settled(found: Sequence[Held], wants: Sequence[Demand], next_best: float) -> bool:
    """Tell whether a hold makes all there is, from machined locators, no worse than the next method can be."""
    every = frozenset(w.name for w in wants if not w.lacks)
    return any(every <= h.makes and not h.hides and not h.rough and h.worse <= next_best for h in found)


def _ranked(found: Sequence[Held], straight: Vec3, same: float) -> list[Held]:
    """Return holds best first: by the rules, then grip; of two within `same` mm of grip the one that leaves the zero's X."""
    deepest: dict[tuple[float, ...], float] = {}
    for held in found:
        deepest[_merit(held)] = max(deepest.get(_merit(held), 0.0), held.hold.grip)

    def rank(one: tuple[int, Held]) -> tuple[float, ...]:
        number, held = one
        less = (deepest[_merit(held)] - held.hold.grip) // same
        return (*_merit(held), less, _turn(held, straight), -round(held.hold.grip, 3), float(number))

    return [held for _, held in sorted(enumerate(found), key=rank)]


def _merit(held: Held) -> tuple[float, ...]:
    return (float(held.rough), held.worse)


def _turn(held: Held, straight: Vec3) -> float:
    """Return how far the hold turns the zero's X, 0 none: of equals the one that leaves it wins."""
    along = round(sum(a * b for a, b in zip(held.frame.x, straight, strict=True)), 6)
    return 1.0 - along


def useful(ranked: Sequence[Held]) -> tuple[Held, ...]:
    """Return those that no other makes useless: one that makes as much, hides no more, and is no worse by the rules."""
    kept: list[Held] = []
    for held in sorted(ranked, key=lambda one: (*_merit(one), -len(one.makes))):
        if not any(_covers(other, held) for other in kept):
            kept.append(held)
    return tuple(kept)


def _covers(other: Held, held: Held) -> bool:
    return held.makes <= other.makes and other.hides <= held.hides and other.rough <= held.rough and other.worse <= held.worse


def alike(ranked: Sequence[Held], like: Held, made: frozenset[str]) -> list[Held]:
    """Return the holds that are as good as one by the rules and make what it has to make, best first: mostly a deeper grip."""
    return [h for h in ranked if _merit(h) == _merit(like) and made <= h.makes and h.hides <= like.hides]
