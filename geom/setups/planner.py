"""The order of set-ups: which side up, held how, making what.

Searches all orders and holdings by cost, least first, and so returns the best
by the measure in `search.COST`. Deterministic; turning the part in its file
changes nothing. Lengths mm. Knows nothing of rows but what it is told: which
set-ups' rows have a fault.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final, Protocol

from geom.datum.zero import Zero
from geom.errors import JobError
from geom.model.part import Part
from geom.rows.plan import Blocked, NoPlan, Plan, PlannedSetup
from geom.rows.records import LeftOut, Words
from geom.settings.records import Settings
from geom.setups.demands import Demand, demand
from geom.setups.holding import holdings
from geom.setups.pinned import contradiction, let_go, said
from geom.setups.search import COST, Cost, Search, Step, cheapest, done_by, summed, total_of
from geom.setups.travel import gone_over
from geom.setups.turn_settled import turn_words
from geom.setups.work import Work, work_of
from geom.setups.zero_pick_up import pick_ups
from geom.stock.report import StockReport
from geom.tasks.features import Tasks, tasks_of
from geom.toml.pins import NO_PINS, Pin, Pins

if TYPE_CHECKING:
    from geom.place.placement import Placement

_NEST: Final[Words] = ("a nest printed or cast to the skin, a larger vise, or higher parallels or packing",)

_ASSEMBLY: Final = "made at assembly, together with the part it mates"

_TRIED: Final = 40
"""States looked at for the best plan not taken; a part that needs more has none told."""

_LOOKS: Final = 8
"""Set-ups whose rows are looked over beyond those of the first plan; each takes as long as making the rows."""


class Looker(Protocol):
    """Makes the rows of set-ups and looks at them.

    Each look is told a set-up and how many there are, and says the first thing that is wrong with its rows; () when they can be
    followed.
    """

    @property
    def looks(self) -> Sequence[Callable[[PlannedSetup, int], Words]]:
        """The looks, a quick one before the one that sees all."""

    def ahead(self, several: Sequence[PlannedSetup], count: int) -> None:
        """Get ready what the last look at some set-ups of a plan will want, where that is quicker than one after the other."""


def plan_setups(
    part: Part, settings: Settings, zero: Zero, stock: StockReport, pins: Pins | None = None, placement: "Placement | None" = None,
    looker: Looker | None = None,
) -> Plan | NoPlan:  # fmt: skip
    """Return the best order of set-ups, or which feature none can make.

    Args:
        part: with its features named.
        zero: the job's; every set-up picks it up again.
        stock: on every machined face: until it is cut a face stands out by its mean.
        pins: what the job fixes, or None.
        placement: of the part in the casting as received, or None.
        looker: looks at the rows. A plan with a fault is not taken where one without is found among the next best; None for a
            plan by its holds alone.

    Raises:
        JobError: a pin contradicts a rule of holding.
    """
    tasks = tasks_of(part, zero, settings)
    work = work_of(part, stock, zero, placement)
    assembly = tuple(LeftOut(t.name, _ASSEMBLY) for t in tasks.tasks if _at_assembly(t.name, settings))
    search = Search(work, settings, tasks.ways, _demands(tasks, work, settings), pins or NO_PINS)
    if not search.names:
        return Plan((), (0.0,) * len(COST), (), assembly, tasks.left_out)
    lenient = replace(search, strict=False, known={}, room={}, dead=set())
    blocked = _blocked(lenient) if _blocked(search) else ()
    if blocked:
        return NoPlan(blocked)
    refused: Words = ()
    steps = cheapest(search)
    if steps is None:
        search = replace(search, one_side=True, room={}, dead=set())
        steps = cheapest(search)
    if steps is None:
        search, steps = lenient, cheapest(lenient)
    elif looker is not None:
        search, steps, refused = _followed(search, steps, looker)
    if steps is None:
        if search.pins:
            raise _refusal(search)
        return NoPlan((Blocked("", ("each feature can be held for, but no order of set-ups makes all",), _NEST),))
    rejected = refused or _rejected(steps, cheapest(search, banned=steps[0], most=_TRIED))
    return replace(_plan(search, steps, rejected, assembly, tasks.left_out), round_left=tasks.round_left)


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


# --- plans whose rows have a fault ------------------------------------------


def _followed(search: Search, first: tuple[Step, ...], looker: Looker) -> tuple[Search, tuple[Step, ...], Words]:
    """Return the cheapest steps whose rows have no fault, and what was wrong with cheaper ones; the first where all have one."""
    steps: tuple[Step, ...] | None = first
    refused: Words = ()
    most = len(first) + _LOOKS
    while steps is not None and len(search.faults) < most:
        fault = _first_fault(search, steps, looker, most)
        if not fault:
            return search, steps, refused
        refused = refused or (f"the cheapest, starting with {_side(first[0])}: ", *fault)
        steps = cheapest(search)
    return replace(search, faults={}, dead=set()), first, ()


def _first_fault(search: Search, steps: Sequence[Step], looker: Looker, most: int) -> Words:
    """Return the first fault of a plan, each look at all of its set-ups before the next."""
    looks = looker.looks
    for n in range(1, len(looks)):
        fault = _fault(search, steps, looks[:n], most)
        if fault:
            return fault
    looker.ahead([_setup(search, n, step, done_by(steps[: n - 1])) for n, step in enumerate(steps, 1)], len(steps))
    return _fault(search, steps, looks, most)


def _fault(search: Search, steps: Sequence[Step], looks: Sequence[Callable[[PlannedSetup, int], Words]], most: int) -> Words:
    """Return the first fault that no hold as good as a step's own is without, after looking at `most` set-ups in all."""
    for number, step in enumerate(steps, 1):
        done = done_by(steps[: number - 1])
        found: Words = ()
        while (held := search.taken(step, done, number)) is not None:
            key = (held, step.made, number)
            if key not in search.faults and len(search.faults) >= most:
                return found or _FAULTY
            setup = _setup(search, number, step, done)
            search.faults[key] = next((words for look in looks if (words := look(setup, len(steps)))), ())
            if not search.faults[key]:
                break
            found = found or (f"set-up {number}, ", *search.faults[key])
        else:
            return found or _FAULTY
    return ()


_FAULTY: Final[Words] = ("its rows have a fault",)


# --- pins -------------------------------------------------------------------


def _refusal(search: Search) -> JobError:
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


def _without(search: Search, pin: Pin, keys: list[str]) -> tuple[Step, ...] | None:
    others = tuple(let_go(one, keys) if one == pin else one for one in search.pins.pins)
    return cheapest(replace(search, pins=Pins(others), known={}, room={}, dead=set()))


def _told(steps: Sequence[Step], number: int) -> str:
    if number > len(steps):
        return f"no more than {len(steps)} set-ups"
    hold = steps[number - 1].held.hold
    jaw = f", {hold.fixed_jaw} to the fixed jaw" if hold.fixed_jaw and hold.method == "vise" else ""
    return f"{_side(steps[number - 1])}{jaw}"


# --- answers ----------------------------------------------------------------


def _plan(search: Search, steps: Sequence[Step], rejected: Words, assembly: tuple[LeftOut, ...], left: tuple[LeftOut, ...]) -> Plan:
    total: Cost = (0.0,) * len(COST)
    setups = []
    done: frozenset[str] = frozenset()
    for number, step in enumerate(steps, 1):
        setups.append(_setup(search, number, step, done))
        total, done = summed(total, step.cost), step.done
    return Plan(tuple(setups), total, rejected, assembly, left)


def _setup(search: Search, number: int, step: Step, done: frozenset[str]) -> PlannedSetup:
    held = search.taken(step, done, number) or step.held
    found, said = pick_ups(search.work, held, done)
    leaves = tuple((n, f.leave) for n in sorted(step.made) if (f := search.settings.faces.get(n)) is not None and f.leave)
    return PlannedSetup(
        number, search.ways[step.way], held.hold, held.frame, search.work.zero, found, _in_order(search, step), leaves, held.why,
        (*held.cautions, *turn_words(search.work, held, done, _wants(search, step)), *said),
    )  # fmt: skip


def _wants(search: Search, step: Step) -> list[Demand]:
    return [search.demands[step.way][name] for name in sorted(step.made)]


def _in_order(search: Search, step: Step) -> tuple[str, ...]:
    """Return the features as they are cut: faces from the top down, then edges, slots and holes."""
    kinds = ("face", "edge", "slot", "hole")
    wants = _wants(search, step)
    return tuple(w.name for w in sorted(wants, key=lambda w: (kinds.index(w.kind), -round(w.top, 6), w.name)))


def _rejected(steps: Sequence[Step], other: Sequence[Step] | None) -> Words:
    if other is None:
        return ()
    mine, theirs = (total_of(some) for some in (steps, other))
    at = next((i for i in range(len(COST)) if theirs[i] > mine[i]), None)
    begins = f"starting with {_side(other[0])}"
    if at is None:
        return (f"{begins} comes out the same; this order was taken as the first of equals",)
    return (f"{begins}: {COST[at]} {theirs[at]:g} instead of {mine[at]:g}",)


def _side(step: Step) -> str:
    seat, method = step.held.hold.seat, step.held.hold.method
    where = {"vise": "in the vise", "table": "on the table", "angle plate": "against the angle plate", "nest": "in the nest"}[
        method
    ]
    return f"{seat} down {where}"


def _blocked(search: Search) -> tuple[Blocked, ...]:
    """Return every feature that no holding lets be cut, or that no cutter reaches, and what would open it."""
    reached: frozenset[str] = frozenset()
    while True:
        able = frozenset(n for way in range(len(search.ways)) for h in search.holds(way, reached) for n in h.makes)
        if able <= reached:
            break
        reached |= able
    return tuple(_why_blocked(search, name, reached) for name in sorted(search.names - reached))


def _why_blocked(search: Search, name: str, done: frozenset[str]) -> Blocked:
    wants = [demands[name] for demands in search.demands.values() if name in demands]
    short = next((w for w in wants if w.lacks), None)
    if short is not None and all(w.lacks for w in wants):
        return Blocked(name, short.lacks, ("a cutter that reaches further",))
    spans = [span for way in search.demands for span in _spans(search, way, name, done)]
    if spans:
        x, y = search.settings.tooling.mill.travel[:2]
        along, across = min(spans, key=lambda span: (max(span[0] - x, span[1] - y), span))
        why = ("it can be held, but the spindle goes over X ", along, " by Y ", across, " for it, and the table travels X ")
        return Blocked(name, (*why, x, " by Y ", y), ("a mill whose table travels further",))
    why_not = "no two sides, no level faces with room for straps and no machined face for the angle plate hold the work for it"
    return Blocked(name, (why_not,), _NEST)


def _spans(search: Search, way: int, name: str, done: frozenset[str]) -> list[tuple[float, float]]:
    """Return how far the spindle would go for a feature, mm along X and Y, in every hold for it that asks too much of the table."""
    want = search.demands[way].get(name)
    if want is None or want.lacks:
        return []
    held = holdings(search.work, search.ways[way], done, [want], search.settings.tooling.vise)
    return [gone_over(search.work, one, [want]) for one in held if name in one.makes]
