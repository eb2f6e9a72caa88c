"""The order of set-ups: which side up, held how, making what.

Searches all orders and holdings by cost, least first, and so returns the best
by the measure in `COST`. Exact as long as few features can be made from more
than one side; see `_DEFERRALS`. Deterministic; turning the part in its file
changes nothing. Lengths mm. Knows nothing of rows.
"""

import heapq
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, count
from typing import Final, TypeAlias

from geom.datum.zero import Zero
from geom.directions import fewest, same_way
from geom.errors import JobError
from geom.model.part import Part
from geom.place.placement import Placement
from geom.rows.plan import Blocked, NoPlan, Plan, PlannedSetup
from geom.rows.records import LeftOut, Words
from geom.settings.pins import up_of
from geom.settings.records import Settings
from geom.setups.demands import Demand, demand
from geom.setups.held import Held
from geom.setups.holding import alike, holdings, useful
from geom.setups.pinned import contradiction, let_go, said
from geom.setups.turn_settled import turn_words
from geom.setups.work import Work, work_of
from geom.setups.zero_pick_up import from_zeros_own, pick_ups, zero_is_machined
from geom.setups.zero_room import with_zero, zero_can_be_found
from geom.space import Vec3
from geom.stock.report import StockReport
from geom.tasks.features import Tasks, tasks_of
from geom.toml.pins import NO_PINS, Pin, Pins

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

_NEST: Final[Words] = ("a nest printed or cast to the skin, a larger vise, or longer packing",)

_ASSEMBLY: Final = "made at assembly, together with the part it mates"

_TRIED: Final = 40
"""States looked at for the best plan not taken; a part that needs more has none told."""

Cost: TypeAlias = tuple[float, ...]

_NOTHING: Final[frozenset[str]] = frozenset()

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


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """What is searched: the work, what each direction can make, and holdings already worked out.

    Attributes:
        room: whether zero can be found in a hold, as far as anybody asked.
        strict: whether zero must be found in every hold; where no order of set-ups allows that, the rows say what is missing.
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
            self.room[held] = zero_can_be_found(self.work, held, done, self.settings)
        return self.room[held]

    def open(self, way: int, done: frozenset[str], number: int) -> list[Held]:
        """Return the holdings that are not known to leave the finder no room."""
        return [held for held in self.holds(way, done, number) if not self.strict or self.room.get(held, True)]

    def taken(self, step: "Step", done: frozenset[str], number: int) -> Held | None:
        """Return the hold a step is made in: the best of those as good as its own in which zero is found; None if none is."""
        ranked = alike(self.holds(step.way, done, number), step.held, step.made)
        return next((held for held in ranked if not self.strict or self.has_room(held, done)), None)

    def turns(self, number: int) -> list[int]:
        """Return which directions a set-up may have up."""
        pin = self.pins.of(number)
        up = up_of(pin, self.work.part) if pin else None
        return [n for n, way in enumerate(self.ways) if up is None or same_way(up, way)]

    @property
    def names(self) -> frozenset[str]:
        """Every feature to make."""
        return frozenset(name for wants in self.demands.values() for name in wants)


def plan_setups(
    part: Part, settings: Settings, zero: Zero, stock: StockReport, pins: Pins | None = None, placement: Placement | None = None
) -> Plan | NoPlan:
    """Return the best order of set-ups, or which feature none can make.

    Args:
        part: with its features named.
        zero: the job's; every set-up picks it up again.
        stock: on every machined face: until it is cut a face stands out by its mean.
        pins: what the job fixes, or None.
        placement: of the part in the casting as received, or None.

    Raises:
        JobError: a pin contradicts a rule of holding.
    """
    tasks = tasks_of(part, zero, settings)
    work = work_of(part, stock, zero, placement)
    assembly = tuple(LeftOut(t.name, _ASSEMBLY) for t in tasks.tasks if _at_assembly(t.name, settings))
    search = _Search(work, settings, tasks.ways, _demands(tasks, work, settings), pins or NO_PINS)
    if not search.names:
        return Plan((), (0.0,) * len(COST), (), assembly, tasks.left_out)
    lenient = replace(search, strict=False, known={}, room={})
    blocked = _blocked(lenient) if _blocked(search) else ()
    if blocked:
        return NoPlan(blocked)
    steps = _cheapest(search)
    if steps is None:
        search, steps = lenient, _cheapest(lenient)
    if steps is None:
        if search.pins:
            raise _refusal(search)
        return NoPlan((Blocked("", ("each feature can be held for, but no order of set-ups makes all",), _NEST),))
    other = _cheapest(search, banned=steps[0], most=_TRIED)
    return _plan(search, steps, other, assembly, tasks.left_out)


def _at_assembly(name: str, settings: Settings) -> bool:
    asked = settings.holes.get(name)
    return asked is not None and asked.assembly


def _demands(tasks: Tasks, work: Work, settings: Settings) -> dict[int, dict[str, Demand]]:
    found: dict[int, dict[str, Demand]] = {n: {} for n in range(len(tasks.ways))}
    for task in tasks.tasks:
        if not _at_assembly(task.name, settings):
            for way in sorted(task.options):
                found[way][task.name] = demand(task, way, tasks.ways[way], work, settings)
    return found


# --- search -----------------------------------------------------------------


def _cheapest(search: _Search, banned: Step | None = None, most: int | None = None) -> tuple[Step, ...] | None:
    """Return the steps of least cost; None when some feature is never made.

    Args:
        banned: a first step whose side and method may not come first.
        most: states looked at before giving up; None for all.
    """
    tie = count()
    last = max((pin.number for pin in search.pins.pins), default=0)
    heap: list[tuple[Cost, Cost, int, tuple[Step, ...]]] = [(_least(search, _NOTHING), (0.0,) * len(COST), next(tie), ())]
    closed: set[tuple[frozenset[str], int]] = set()

    def push(steps: tuple[Step, ...]) -> None:
        done, cost = _done(steps), _total(steps)
        for step in _steps(search, done, len(steps) + 1):
            first_is_banned = banned is not None and not steps and _same(step, banned)
            if not first_is_banned and (step.done, min(len(steps) + 1, last)) not in closed:
                total = _sum(cost, step.cost)
                heapq.heappush(heap, (_sum(total, _least(search, step.done)), total, next(tie), (*steps, step)))

    while heap:
        _, _, _, steps = heapq.heappop(heap)
        done = _done(steps)
        state = (done, min(len(steps), last))
        if state in closed:
            continue
        if steps and steps[-1].held.hold.method != "vise" and not _zero_found(search, steps, len(steps)):
            push(steps[:-1])
            continue
        if done == search.names and len(steps) >= last:
            found = all(_zero_found(search, steps, n) for n in range(1, len(steps) + 1))
            return steps if found else _cheapest(search, banned, most)
        closed.add(state)
        if most is not None and len(closed) > most:
            return None
        push(steps)
    return None


def _zero_found(search: _Search, steps: Sequence[Step], number: int) -> bool:
    """Tell whether a set-up finds its zero in some hold; where it does not, the search knows from now on.

    Straps are asked about at once: they stand in a finder's way. Jaws mostly do not, and are asked about at the end.
    """
    return search.taken(steps[number - 1], _done(steps[: number - 1]), number) is not None


def _done(steps: Sequence[Step]) -> frozenset[str]:
    return steps[-1].done if steps else _NOTHING


def _same(step: Step, other: Step) -> bool:
    return step.way == other.way and step.held.hold.method == other.held.hold.method and step.held.hold.seat == other.held.hold.seat


def _sum(a: Cost, b: Cost) -> Cost:
    return tuple(round(x + y, 6) for x, y in zip(a, b, strict=True))


def _least(search: _Search, done: frozenset[str]) -> Cost:
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


def _steps(search: _Search, done: frozenset[str], number: int) -> Iterator[Step]:
    """Yield every set-up that may come next."""
    pin = search.pins.of(number)
    must = frozenset(pin.features) if pin else frozenset()
    for way in search.turns(number):
        for held in useful(search.open(way, done, number)):
            for made in _choices(search, way, held.makes, must):
                yield Step(way, held, made, done | made, _cost(search, way, held, made, done))


def _choices(search: _Search, way: int, able: frozenset[str], must: frozenset[str]) -> Iterator[frozenset[str]]:
    """Yield what to make of what can be made: all of it, or without kinds of holes that another side makes as well.

    A plane is cut as soon as it can be: whatever comes later then has a machined face to sit on.
    """
    kinds: dict[tuple[object, ...], set[str]] = {}
    for name in sorted(able - must):
        others = tuple(w for w in search.demands if w != way and name in search.demands[w])
        mine = search.demands[way][name]
        if others and mine.kind == "hole":
            kinds.setdefault((others, mine.critical, mine.good), set()).add(name)
    groups = [frozenset(names) for names in kinds.values()]
    sizes = range(len(groups) + 1) if len(groups) <= _DEFERRALS else (0, len(groups))
    for size in sizes:
        for later in combinations(groups, size):
            made = able.difference(*later)
            if made and must <= made:
                yield made


def _cost(search: _Search, way: int, held: Held, made: frozenset[str], done: frozenset[str]) -> Cost:
    wants = [search.demands[way][name] for name in sorted(made)]
    critical = sum(want.critical for want in wants)
    away = 0 if from_zeros_own(search.work, held, done, made) else critical
    sure = zero_is_machined(search.work, done, made)
    rough = (held.rough + (not sure) if done else 0) + (0 if sure else sum(want.kind == "hole" for want in wants))
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


# --- pins -------------------------------------------------------------------


def _refusal(search: _Search) -> JobError:
    """Return why the pins leave no plan: the first thing that, let go, opens one again."""
    for pin in search.pins.pins:
        keys = said(pin)
        for gone in ([key] for key in keys):
            steps = _without(search, pin, gone)
            if steps is not None:
                return contradiction(pin, gone, _told(steps, pin.number))
        steps = _without(search, pin, keys)
        if steps is not None:
            return contradiction(pin, keys, _told(steps, pin.number))
    return contradiction(search.pins.pins[0], said(search.pins.pins[0]), "")


def _without(search: _Search, pin: Pin, keys: list[str]) -> tuple[Step, ...] | None:
    others = tuple(let_go(one, keys) if one == pin else one for one in search.pins.pins)
    return _cheapest(replace(search, pins=Pins(others), known={}, room={}))


def _told(steps: Sequence[Step], number: int) -> str:
    if number > len(steps):
        return f"no more than {len(steps)} set-ups"
    hold = steps[number - 1].held.hold
    jaw = f", {hold.fixed_jaw} to the fixed jaw" if hold.fixed_jaw and hold.method == "vise" else ""
    return f"{_side(steps[number - 1])}{jaw}"


# --- answers ----------------------------------------------------------------


def _plan(
    search: _Search, steps: Sequence[Step], other: Sequence[Step] | None, assembly: tuple[LeftOut, ...], left: tuple[LeftOut, ...]
) -> Plan:
    total: Cost = (0.0,) * len(COST)
    setups = []
    done: frozenset[str] = frozenset()
    for number, step in enumerate(steps, 1):
        setups.append(_setup(search, number, step, done))
        total, done = _sum(total, step.cost), step.done
    return Plan(tuple(setups), total, _rejected(steps, other), assembly, left)


def _setup(search: _Search, number: int, step: Step, done: frozenset[str]) -> PlannedSetup:
    held = search.taken(step, done, number) or step.held
    found, said = pick_ups(search.work, held, done)
    leaves = tuple((n, f.leave) for n in sorted(step.made) if (f := search.settings.faces.get(n)) is not None and f.leave)
    return PlannedSetup(
        number, search.ways[step.way], held.hold, held.frame, search.work.zero, found, _in_order(search, step), leaves, held.why,
        (*held.cautions, *turn_words(search.work, held, done, _wants(search, step)), *said),
    )  # fmt: skip


def _wants(search: _Search, step: Step) -> list[Demand]:
    return [search.demands[step.way][name] for name in sorted(step.made)]


def _in_order(search: _Search, step: Step) -> tuple[str, ...]:
    """Return the features as they are cut: faces from the top down, then edges, then holes."""
    kinds = ("face", "edge", "hole")
    wants = _wants(search, step)
    return tuple(w.name for w in sorted(wants, key=lambda w: (kinds.index(w.kind), -round(w.top, 6), w.name)))


def _rejected(steps: Sequence[Step], other: Sequence[Step] | None) -> Words:
    if other is None:
        return ()
    mine, theirs = (_total(some) for some in (steps, other))
    at = next((i for i in range(len(COST)) if theirs[i] > mine[i]), None)
    begins = f"starting with {_side(other[0])}"
    if at is None:
        return (f"{begins} comes out the same; this order was taken as the first of equals",)
    return (f"{begins}: {COST[at]} {theirs[at]:g} instead of {mine[at]:g}",)


def _total(steps: Sequence[Step]) -> Cost:
    total: Cost = (0.0,) * len(COST)
    for step in steps:
        total = _sum(total, step.cost)
    return total


def _side(step: Step) -> str:
    seat, method = step.held.hold.seat, step.held.hold.method
    where = {"vise": "in the vise", "table": "on the table", "angle plate": "against the angle plate"}[method]
    return f"{seat} down {where}"


def _blocked(search: _Search) -> tuple[Blocked, ...]:
    """Return every feature that no holding lets be cut, or that no cutter reaches, and what would open it."""
    reached: frozenset[str] = frozenset()
    while True:
        able = frozenset(n for way in range(len(search.ways)) for h in search.holds(way, reached) for n in h.makes)
        if able <= reached:
            break
        reached |= able
    return tuple(_why_blocked(search, name) for name in sorted(search.names - reached))


def _why_blocked(search: _Search, name: str) -> Blocked:
    wants = [demands[name] for demands in search.demands.values() if name in demands]
    short = next((w for w in wants if w.lacks), None)
    if short is not None and all(w.lacks for w in wants):
        return Blocked(name, short.lacks, ("a cutter that reaches further",))
    return Blocked(
        name,
        (
            "no two sides, no level faces with room for straps and no machined face for the angle plate "
            "hold the work for it within the table's travel",
        ),
        _NEST,
    )
