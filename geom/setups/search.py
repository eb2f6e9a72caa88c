"""The search for the order of set-ups of least cost: which side up, held how, making what.

Exact as long as few features can be made from more than one side; see
`_DEFERRALS`. Deterministic; turning the part in its file changes nothing.
Lengths mm. Knows nothing of rows, but may be told which set-ups' rows have a
fault.
"""

import heapq
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, count
from typing import Final, TypeAlias

from geom.directions import fewest, same_way
from geom.rows.records import Words
from geom.settings.pins import up_of
from geom.settings.records import Settings
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.holding import alike, holdings, useful
from geom.setups.work import Work
from geom.setups.zero_pick_up import from_zeros_own, zero_is_machined
from geom.setups.zero_room import with_zero, zero_can_be_found
from geom.space import Vec3
from geom.toml.pins import Pins

COST: Final = (
    "set-ups",
    "critical features away from their zero",
    "rough locators after the first set-up, and holes placed from a zero that is still rough",
    "critical features on a rough seat, and holes started on the skin",
    "poorer holds",
    "tool changes",
    "travel",
)
"""What `Plan.cost` counts, in the order plans are compared by."""

_DEFERRALS: Final = 5
"""Kinds of features that may wait for another side, of which every subset is tried; with more, all or none of them wait."""

Cost: TypeAlias = tuple[float, ...]

NOTHING: Final[frozenset[str]] = frozenset()

_UNPINNED: Final = -1
"""Number that stands for every set-up that no pin speaks of: what may be held and made there is the same for all."""


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """One set-up of a plan in the making."""

    way: int
    held: Held
    made: frozenset[str]
    done: frozenset[str]
    cost: Cost


Made: TypeAlias = tuple[Held, frozenset[str], int]
"""What is made in which hold, in the set-up of which number."""


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """What is searched: the work, what each direction can make, and holdings already worked out.

    Attributes:
        room: whether zero can be found in a hold, as far as anybody asked.
        strict: whether zero must be found in every hold; where no order of set-ups allows that, the rows say what is missing.
        one_side: whether a touch on one side of a pair counts as finding it; so where no order allows both.
        faults: what is wrong with the rows of what is made in a hold in a set-up of a number, as far as anybody looked.
        dead: what no hold as good can be found for, with zero found and without a fault.
    """

    work: Work
    settings: Settings
    ways: tuple[Vec3, ...]
    demands: Mapping[int, Mapping[str, Demand]]
    pins: Pins
    known: dict[tuple[int, frozenset[str], int], tuple[Held, ...]] = field(default_factory=dict)
    bounds: dict[frozenset[str], Cost] = field(default_factory=dict)
    room: dict[Held, bool] = field(default_factory=dict)
    strict: bool = True
    one_side: bool = False
    faults: dict[Made, Words] = field(default_factory=dict)
    dead: set[Made] = field(default_factory=set)

    def holds(self, way: int, done: frozenset[str], number: int = 0) -> tuple[Held, ...]:
        """Return the holdings with one side up after some features are made.

        Args:
            number: of the set-up, for its pin; 0 where no pin counts.
        """
        pin = self.pins.of(number)
        key = (way, done, (number if pin else _UNPINNED) if number and self.pins else 0)
        if key not in self.known:
            elsewhere = {name for one in self.pins.pins if number not in (0, one.number) for name in one.features}
            wants = [d for name, d in self.demands[way].items() if name not in done and name not in elsewhere]
            vise, travel = self.settings.tooling.vise, self.settings.tooling.mill.travel[:2]
            found = holdings(self.work, self.ways[way], done, wants, vise, pin, travel) if wants else ()
            placed = (with_zero(self.work, held, done, wants) if self.strict else held for held in found)
            self.known[key] = tuple(held for held in placed if held is not None)
        return self.known[key]

    def has_room(self, held: Held, done: frozenset[str]) -> bool:
        """Tell whether the finder gets at all it has to touch."""
        if held not in self.room:
            self.room[held] = zero_can_be_found(self.work, held, done, self.settings, self.one_side)
        return self.room[held]

    def open(self, way: int, done: frozenset[str], number: int) -> list[Held]:
        """Return the holdings that are not known to leave the finder no room."""
        return [held for held in self.holds(way, done, number) if not self.strict or self.room.get(held, True)]

    def taken(self, step: "Step", done: frozenset[str], number: int) -> Held | None:
        """Return the hold a step is made in: the best of those as good as its own in which zero is found; None if none is.

        One that is known to give rows with a fault is none.
        """
        ranked = alike(self.holds(step.way, done, number), step.held, step.made)
        sound = (held for held in ranked if not self.faults.get((held, step.made, number)))
        return next((held for held in sound if not self.strict or self.has_room(held, done)), None)

    def turns(self, number: int) -> list[int]:
        """Return which directions a set-up may have up."""
        pin = self.pins.of(number)
        up = up_of(pin, self.work.part) if pin else None
        return [n for n, way in enumerate(self.ways) if up is None or same_way(up, way)]

    @property
    def names(self) -> frozenset[str]:
        """Every feature to make."""
        return frozenset(name for wants in self.demands.values() for name in wants)


def cheapest(search: Search, banned: Step | None = None, most: int | None = None) -> tuple[Step, ...] | None:
    """Return the steps of least cost; None when some feature is never made.

    Args:
        banned: a first step whose side and method may not come first.
        most: states looked at before giving up; None for all.
    """
    tie = count()
    last = max((pin.number for pin in search.pins.pins), default=0)
    heap: list[tuple[Cost, Cost, int, tuple[Step, ...]]] = [(_least(search, NOTHING), (0.0,) * len(COST), next(tie), ())]
    closed: set[tuple[frozenset[str], int]] = set()

    def push(steps: tuple[Step, ...]) -> None:
        done, cost = done_by(steps), total_of(steps)
        for step in _steps(search, done, len(steps) + 1):
            first_is_banned = banned is not None and not steps and _same(step, banned)
            if not first_is_banned and (step.done, min(len(steps) + 1, last)) not in closed:
                total = summed(cost, step.cost)
                heapq.heappush(heap, (summed(total, _least(search, step.done)), total, next(tie), (*steps, step)))

    while heap:
        _, _, _, steps = heapq.heappop(heap)
        done = done_by(steps)
        state = (done, min(len(steps), last))
        if state in closed:
            continue
        if steps and steps[-1].held.hold.method != "vise" and not _zero_found(search, steps, len(steps)):
            push(steps[:-1])
            continue
        if done == search.names and len(steps) >= last:
            found = all(_zero_found(search, steps, n) for n in range(1, len(steps) + 1))
            return steps if found else cheapest(search, banned, most)
        closed.add(state)
        if most is not None and len(closed) > most:
            return None
        push(steps)
    return None


def _zero_found(search: Search, steps: Sequence[Step], number: int) -> bool:
    """Tell whether a set-up finds its zero in some hold, with no known fault; where not, the search knows from now on.

    Straps are asked about at once: they stand in a finder's way. Jaws mostly do not, and are asked about at the end.
    """
    step = steps[number - 1]
    if search.taken(step, done_by(steps[: number - 1]), number) is None:
        search.dead.add((step.held, step.made, number))
        return False
    return True


def done_by(steps: Sequence[Step]) -> frozenset[str]:
    return steps[-1].done if steps else NOTHING


def _same(step: Step, other: Step) -> bool:
    return step.way == other.way and step.held.hold.method == other.held.hold.method and step.held.hold.seat == other.held.hold.seat


def summed(a: Cost, b: Cost) -> Cost:
    return tuple(round(x + y, 6) for x, y in zip(a, b, strict=True))


def _least(search: Search, done: frozenset[str]) -> Cost:
    """Return a cost that no way from here on undercuts: as many set-ups as there must be sides up."""
    if done not in search.bounds:
        wants: dict[str, set[int]] = {}
        for way, demands in search.demands.items():
            for name in demands:
                if name not in done:
                    wants.setdefault(name, set()).add(way)
        left = fewest([frozenset(ways) for ways in wants.values()])
        search.bounds[done] = (float(len(left)), *(0.0 for _ in COST[1:]))
    return search.bounds[done]


def _steps(search: Search, done: frozenset[str], number: int) -> Iterator[Step]:
    """Yield every set-up that may come next."""
    pin = search.pins.of(number)
    must = frozenset(pin.features) if pin else frozenset()
    for way in search.turns(number):
        for held in _worth_trying(search, way, done, number):
            for made in choices(search, way, held.makes, must):
                if (held, made, number) not in search.dead:
                    yield Step(way, held, made, done | made, cost_of(search, way, held, made, done))


def _worth_trying(search: Search, way: int, done: frozenset[str], number: int) -> tuple[Held, ...]:
    """Return the useful holds, and those that would be if the ones whose rows have a fault were not there."""
    every = search.open(way, done, number)
    dead = {held for held, _, at in search.dead if at == number}
    if not dead.intersection(every):
        return useful(every)
    return tuple(dict.fromkeys((*useful(every), *useful([held for held in every if held not in dead]))))


def choices(search: Search, way: int, able: frozenset[str], must: frozenset[str]) -> Iterator[frozenset[str]]:
    """Yield what to make of what can be made: all of it, or without kinds of holes that another side makes as well.

    A plane is cut as soon as it can be: whatever comes later then has a machined face to sit on.
    """
    kinds: dict[tuple[object, ...], set[str]] = {}
    for name in sorted(able - must):
        others = tuple(w for w in search.demands if w != way and name in search.demands[w])
        mine = search.demands[way][name]
        if others and mine.kind in ("hole", "slot"):
            kinds.setdefault((others, mine.critical, mine.good), set()).add(name)
    groups = [frozenset(names) for names in kinds.values()]
    sizes = range(len(groups) + 1) if len(groups) <= _DEFERRALS else (0, len(groups))
    for size in sizes:
        for later in combinations(groups, size):
            made = able.difference(*later)
            if made and must <= made:
                yield made


def cost_of(search: Search, way: int, held: Held, made: frozenset[str], done: frozenset[str]) -> Cost:
    wants = [search.demands[way][name] for name in sorted(made)]
    critical = sum(want.critical for want in wants)
    away = 0 if from_zeros_own(search.work, held, done, made) else critical
    sure = zero_is_machined(search.work, done, made)
    rough = (held.rough + (not sure) if done else 0) + (0 if sure else sum(want.kind in ("hole", "slot") for want in wants))
    seat = critical if "seat" not in held.hold.machined else 0
    skin = sum(want.kind == "hole" and not want.good for want in wants)
    tools = {tool for want in wants for tool in want.tools}
    return (1.0, float(away), float(rough), float(seat + skin), held.worse, float(len(tools)), round(_travel(wants, held), 2))


def _travel(wants: Sequence[Demand], held: Held) -> float:
    """Return how far the spindle goes from hole to nearest hole, mm, once for each tool."""
    total = 0.0
    for tool in sorted({tool for want in wants for tool in want.tools}):
        left = sorted(held.frame.local(w.axis)[:2] for w in wants if w.axis is not None and tool in w.tools)
        at = (0.0, 0.0)
        while left:
            near = min(left, key=lambda p: (round((p[0] - at[0]) ** 2 + (p[1] - at[1]) ** 2, 3), p))
            total += ((near[0] - at[0]) ** 2 + (near[1] - at[1]) ** 2) ** 0.5
            left.remove(near)
            at = near
    return total


def total_of(steps: Sequence[Step]) -> Cost:
    total: Cost = (0.0,) * len(COST)
    for step in steps:
        total = summed(total, step.cost)
    return total
