"""The order of set-ups: best of all orders on small parts, steady under turning and units, and what the bundled jobs get.

Plans of the bundled jobs are argued step by step in the project's notes; a
published plan of a real part is in test_plan_nist.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import pytest

from geom.datum.zero import Zero, resolve_zero
from geom.errors import JobError
from geom.kernel.body import turned_about
from geom.kernel.cut import box, cut, cylinder
from geom.kernel.shape import Surface, solid_from_shape
from geom.looks.row_faults import faults_of
from geom.model.part import Part, PartHole
from geom.passes.setup_rows import RowMaker, setups_of
from geom.recognise.part import recognise
from geom.rows.plan import Hold, NoPlan, Plan, PlannedSetup
from geom.rows.records import Box, Words
from geom.settings.records import HoleSettings, Settings
from geom.setups.held import Held
from geom.setups.planner import _demands, plan_setups
from geom.setups.search import COST, Cost, Search, choices, cost_of, summed
from geom.setups.work import work_of
from geom.setups.zero_room import zero_can_be_found
from geom.shop.records import without
from geom.space import Vec3, cross, dot
from geom.stock.report import StockReport, stock_report
from geom.tasks.features import tasks_of
from geom.toml.pins import Pin, Pins
from tests.catalogue import Pair, block_in_block, bolt_circle_cover, cross_drilled_block, drilled_plate
from tests.hand_parts import hand_hole, hand_part, hand_settings, hand_zero

UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)
NO_NEED = 0.0


def two_sided(name: str = "slab") -> Part:
    """A slab 90 x 50 x 20, 3 of stock above and below, sides as cast; a reamed and a plain hole through, a blind one on top."""
    finished = box((0.0, 0.0, 0.0), (90.0, 50.0, 20.0))
    for x, y, z, r in ((20.0, 25.0, -1.0, 5.0), (70.0, 15.0, -1.0, 4.5), (45.0, 25.0, 8.0, 4.0)):
        finished = cut(finished, cylinder((x, y, z), UP, r, 40.0))
    pair = solid_from_shape(finished, name), solid_from_shape(box((0.0, 0.0, -3.0), (90.0, 50.0, 23.0)), "casting")
    return hand_part(pair, slab_holes(), as_cast=sides)


def slab_holes() -> list[PartHole]:
    return [
        hand_hole("pin", 10.0, (20.0, 25.0, 20.0), through=20.0, callout="reamed 10 H7"),
        hand_hole("bolt", 9.0, (70.0, 15.0, 20.0), through=20.0),
        hand_hole("blind", 8.0, (45.0, 25.0, 20.0), depth=12.0),
    ]


def sides(s: Surface) -> bool:
    return s.kind == "plane" and abs(s.axis[2]) < 0.5 and s.area > 500.0


SLAB_ZERO = replace(hand_zero((20.0, 25.0, 20.0)), features=("pin",))


@cache
def slab() -> Part:
    return two_sided()


@cache
def cube() -> Plan:
    """Return the plan of a cube cut all over, drilled from three sides."""
    return plan(recognise("part", "grey iron", *cross_drilled_block()))


@cache
def whole_block() -> tuple[Part, Plan]:
    """Return a block cut all over, and its plan."""
    part = recognise("part", "grey iron", *block_in_block())
    return part, plan(part)


def planned(part: Part, settings: Settings | None = None, zero: Zero | None = None, pins: Pins | None = None) -> Plan | NoPlan:
    asked = settings or hand_settings()
    stock = stock_report(part, {f.name: NO_NEED for f in part.machined})
    return plan_setups(part, asked, zero or resolve_zero(part, asked.datum), stock, pins)


def plan(part: Part, settings: Settings | None = None, zero: Zero | None = None, pins: Pins | None = None) -> Plan:
    found = planned(part, settings, zero, pins)
    assert isinstance(found, Plan), found
    return found


def told(found: Plan) -> list[tuple[object, ...]]:
    """Return what a plan says without places: method, faces, features."""
    return [(s.hold.method, s.hold.seat, s.hold.fixed_jaw, s.hold.clamp, s.hold.parallels, s.features) for s in found.setups]


# --- the best of all --------------------------------------------------------


def every_cost(search: Search, done: frozenset[str], depth: int) -> Iterator[Cost]:
    """Yield the cost of every way on, one after the other, without any bound but the number of set-ups."""
    if done == search.names:
        yield (0.0,) * len(COST)
        return
    if depth == 0:
        return
    for way in range(len(search.ways)):
        for held in search.holds(way, done):
            for made in choices(search, way, held.makes, frozenset()):
                first = cost_of(search, way, held, made, done)
                for rest in every_cost(search, done | made, depth - 1):
                    yield summed(first, rest)


@pytest.mark.parametrize(("make", "depth"), [(drilled_plate, 2), (bolt_circle_cover, 3), (None, 3)])
def test_the_search_finds_what_trying_every_order_finds(make: Callable[[], Pair] | None, depth: int) -> None:
    """All orders of sides, all holds, all holes that may wait, up to one set-up more than is needed."""
    settings = hand_settings()
    part = slab() if make is None else recognise("part", "grey iron", *make())
    zero = SLAB_ZERO if make is None else resolve_zero(part, settings.datum)
    stock = stock_report(part, {f.name: NO_NEED for f in part.machined})
    work, tasks = work_of(part, stock, zero), tasks_of(part, zero, settings)
    search = Search(work, settings, tasks.ways, _demands(tasks, work, settings), Pins())
    found = plan_setups(part, settings, zero, stock)

    costs = list(every_cost(search, frozenset(), depth))
    assert isinstance(found, Plan)
    assert len(costs) > 1 or depth == 2
    assert found.cost == min(costs)


# --- rules of order ---------------------------------------------------------


def test_features_tied_to_the_zero_are_made_with_it() -> None:
    """The reamed pin is the zero: both through holes and the blind one come in its set-up, on the seat that was cut first."""
    found = plan(slab(), zero=SLAB_ZERO)

    assert len(found.setups) == 2
    first, last = found.setups
    assert (first.up, first.features) == (DOWN, tuple(f.name for f in slab().faces if f.normal == DOWN))
    assert {"pin", "bolt", "blind"} <= set(last.features)
    assert "seat" in last.hold.machined
    assert last.pick_ups[-1].machined
    assert found.cost[:3] == (2.0, 0.0, 1.0)


def test_holes_come_with_the_bore_they_are_measured_from() -> None:
    """A cored bore open to both sides is the zero: the blind hole on top is not drilled from the core first."""
    holes = [replace(slab_holes()[0], source="core", callout=None), *slab_holes()[1:]]
    part = hand_part((slab().finished, slab().casting), holes, as_cast=sides)
    made = next(s for s in plan(part, zero=SLAB_ZERO).setups if "pin" in s.features)

    assert {"bolt", "blind"} <= set(made.features)


def test_work_longer_than_the_travel_across_is_turned_along_it() -> None:
    """Faces 90 by 50: a table that goes 75 in X and 480 in Y takes them with the long side along Y only."""
    settings = hand_settings()
    mill = replace(settings.tooling.mill, travel=(75.0, 480.0, 300.0))
    found = plan(slab(), replace(settings, tooling=replace(settings.tooling, mill=mill)), SLAB_ZERO)

    assert all(abs(s.frame.y[0]) == pytest.approx(1.0) for s in found.setups)
    tiny = replace(settings.tooling.mill, travel=(75.0, 75.0, 300.0))
    answer = planned(slab(), replace(settings, tooling=replace(settings.tooling, mill=tiny)), SLAB_ZERO)
    assert isinstance(answer, NoPlan)
    over = {blocked.feature: [word for word in blocked.why if isinstance(word, float)] for blocked in answer.blocked}
    assert over == {name: [70.0, 110.0, 75.0, 75.0] for name in ("face 2", "face 4")}, "50 by 90, and a run past either end"


def test_faces_are_cut_before_holes() -> None:
    """In every set-up of every block."""
    for make in (drilled_plate, bolt_circle_cover):
        part = recognise("part", "grey iron", *make())
        names = {f.name for f in part.machined if f.hole is None}
        for setup in plan(part).setups:
            kinds = [name in names for name in setup.features]
            assert kinds == sorted(kinds, reverse=True)


def block_with_its_work() -> tuple[Part, Plan, Settings, Zero, StockReport]:
    part, found = whole_block()
    settings = hand_settings()
    return part, found, settings, resolve_zero(part, settings.datum), stock_report(part, {f.name: NO_NEED for f in part.machined})


def test_an_edge_is_milled_as_high_as_the_longest_flutes_go() -> None:
    """A block 40 high: its four sides are edges for a mill of 42 mm flutes, faces to be turned up for one of 30."""
    settings = hand_settings("mm")
    part = recognise("block", "grey iron", *block_in_block(size=(200.0, 100.0, 40.0)))
    mill = next(cutter for cutter in settings.tooling.of("end mill") if cutter.flute_length)
    upright = {}
    for flutes in (42.0, 30.0):
        only = replace(mill, flute_length=flutes, reach=max(mill.reach, flutes))
        others = tuple(cutter for cutter in settings.tooling.cutters if cutter.kind != "end mill")
        shop = replace(settings, tooling=replace(settings.tooling, cutters=(*others, only)))
        tasks = tasks_of(part, hand_zero(), shop)
        side = next(task for task in tasks.tasks if task.name == "left")
        upright[flutes] = {tasks.ways[n] for n in side.options}

    assert (0.0, 0.0, 1.0) in upright[42.0]
    assert (0.0, 0.0, 1.0) not in upright[30.0]


def test_zero_is_found_in_every_set_up_of_a_block_cut_all_over() -> None:
    """Straps 30 high on its top leave a finder that reaches 30 no room: the plan takes other holds, and no row is at fault."""
    part, found, settings, zero, stock = block_with_its_work()

    for setup, _ in setups_of(found, zero, RowMaker(part, settings, stock)):
        assert faults_of(setup, part, settings) == ()


def test_straps_in_the_finders_way_are_no_hold() -> None:
    """Left and front picked up with straps 30 high by their edges: no room for the holder; without the straps there is."""
    part, _, settings, zero, stock = block_with_its_work()
    work = work_of(part, stock, zero)
    top = work.frame(UP).local((0.0, 0.0, 30.0))[2]
    straps = tuple(Box(f"strap {x:g}", (x - 8.0, -18.0, top), (x + 8.0, 18.0, top + 30.0)) for x in (-20.0, 12.0))
    bare = Hold("table", "bottom", "", "top", frozenset({"seat", "clamp"}), 0.0, 0.0, 0.0)
    holds = [Held(replace(bare, boxes=boxes), work.frame(UP), frozenset({"back", "right"}), 1.0, (), ()) for boxes in (straps, ())]

    assert [zero_can_be_found(work, held, frozenset({"top", "bottom", "left", "front"}), settings) for held in holds] == [
        False,
        True,
    ]


def test_every_feature_is_made_once() -> None:
    """A block cut all over with a hole in three sides: six faces and three holes, each in one set-up."""
    part = recognise("part", "grey iron", *cross_drilled_block())
    made = [name for setup in cube().setups for name in setup.features]

    assert sorted(made) == sorted({*(f.name for f in part.machined if f.hole is None), *(h.name for h in part.holes)})


def test_a_seat_is_never_cut_in_its_own_set_up() -> None:
    """Nor is what the jaws bear on."""
    for found in (whole_block()[1], plan(slab(), zero=SLAB_ZERO)):
        for setup in found.setups:
            assert not {setup.hold.seat, setup.hold.fixed_jaw, setup.hold.clamp} & set(setup.features)


def test_only_the_first_set_up_sits_on_a_rough_face_in_its_direction() -> None:
    """A rough face locates once: of a cube's six set-ups one for each direction sits rough."""
    rough = [s.up for s in cube().setups if "seat" not in s.hold.machined]

    assert len(rough) == 3
    assert all(abs(dot(a, b)) < 0.5 for i, a in enumerate(rough) for b in rough[:i])


def test_two_strapped_set_ups_say_what_settles_the_turn() -> None:
    """Held by a round, the cover's bolt circle could stand anywhere about the bore: nothing machined says, and the plan does."""
    found = plan(recognise("part", "grey iron", *bolt_circle_cover()))
    holes = next(s for s in found.setups if "hole 1" in s.features)

    assert "settles the turn" in str(holes.cautions)


def test_frames_are_right_handed_with_y_to_the_fixed_jaw() -> None:
    """X = Y x Z; the fixed jaw's face looks along +Y."""
    part, found = whole_block()
    faces = {f.name: f for f in part.faces}
    for setup in found.setups:
        assert cross(setup.frame.y, setup.frame.z) == pytest.approx(setup.frame.x)
        if setup.hold.method == "vise":
            normal = faces[setup.hold.fixed_jaw].normal
            assert normal is not None
            assert dot(normal, setup.frame.y) == pytest.approx(1.0)


def test_holes_for_assembly_are_listed_apart() -> None:
    """A dowel drilled through the mating part is in no set-up."""
    settings = hand_settings(holes={"bolt": HoleSettings(assembly=True)})
    found = plan(slab(), settings, SLAB_ZERO)

    assert [one.feature for one in found.assembly] == ["bolt"]
    assert all("bolt" not in s.features for s in found.setups)


# --- laws -------------------------------------------------------------------


def turned_slab(axis: Vec3, degrees: float) -> tuple[Part, Zero]:
    """Return the slab turned in its file, holes and zero with it."""
    spin = _spin(axis, degrees)
    base = slab()
    pair = [solid_from_shape(turned_about(s, (0.0, 0.0, 0.0), axis, degrees), s.label) for s in (base.finished, base.casting)]
    holes = [replace(h, centre=spin(h.centre), axis=spin(h.axis)) for h in slab_holes()]
    cast = {i for f in base.as_cast for i in f.surfaces}
    part = hand_part((pair[0], pair[1]), holes, as_cast=lambda s: s.index in cast)
    zero = hand_zero(spin(SLAB_ZERO.frame.origin), spin((1.0, 0.0, 0.0)), spin((0.0, 1.0, 0.0)), spin(UP))
    return part, replace(zero, features=("pin",))


def _spin(axis: Vec3, degrees: float) -> Callable[[Vec3], Vec3]:
    """Return the turn about an axis through the origin (Rodrigues)."""
    size = math.sqrt(dot(axis, axis))
    k = tuple(c / size for c in axis)
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))

    def spin(v: Vec3) -> Vec3:
        across, along = cross(k, v), dot(k, v)  # type: ignore[arg-type]
        return tuple(v[i] * c + across[i] * s + k[i] * along * (1 - c) for i in range(3))  # type: ignore[return-value]

    return spin


@pytest.mark.parametrize(("axis", "degrees"), [((0.0, 0.0, 1.0), 90.0), ((1.0, 0.0, 0.0), 90.0), ((0.3, 0.5, 0.8), 37.0)])
def test_turning_the_part_in_its_file_does_not_change_the_plan(axis: Vec3, degrees: float) -> None:
    """Quarter turns and a skew one: same holds, same faces, same cost, boxes where they were."""
    part, zero = turned_slab(axis, degrees)
    one, other = plan(slab(), zero=SLAB_ZERO), plan(part, zero=zero)

    assert told(one) == told(other)
    assert one.cost == pytest.approx(other.cost, abs=1e-3)
    spin = _spin(axis, degrees)
    for a, b in zip(one.setups, other.setups, strict=True):
        assert spin(a.up) == pytest.approx(b.up, abs=1e-9)
        assert spin(a.frame.x) == pytest.approx(b.frame.x, abs=1e-9)
        for here, there in zip(a.hold.boxes, b.hold.boxes, strict=True):
            assert here.name == there.name
            assert here.low == pytest.approx(there.low, abs=0.01)


def test_taking_a_cutter_away_never_makes_a_better_plan() -> None:
    """Each cutter of the shop lent out in turn: the cost is never less."""
    settings = hand_settings()
    best = plan(slab(), settings, SLAB_ZERO).cost
    for cutter in settings.tooling.cutters[::9]:
        found = planned(slab(), replace(settings, tooling=without(settings.tooling, cutter)), SLAB_ZERO)
        assert isinstance(found, NoPlan) or found.cost >= best


def test_inch_and_mm_agree() -> None:
    """The same shop, the job shown in inches: the plan is the same."""
    inch = replace(hand_settings("inch"), tooling=hand_settings().tooling)
    one, other = plan(slab(), zero=SLAB_ZERO), plan(slab(), inch, SLAB_ZERO)

    assert [s.hold for s in one.setups] == [s.hold for s in other.setups]
    assert [s.features for s in one.setups] == [s.features for s in other.setups]


def test_planning_twice_gives_the_same_plan() -> None:
    """No clock, no order of sets."""
    assert repr(plan(two_sided(), zero=SLAB_ZERO)) == repr(plan(two_sided(), zero=SLAB_ZERO))


# --- rows that have a fault -------------------------------------------------


@dataclass(frozen=True)
class OneLook:
    """Looks at set-ups, finds a fault in some, and remembers what it looked at."""

    fault: Callable[[PlannedSetup], bool]
    seen: list[PlannedSetup]

    @property
    def looks(self) -> tuple[Callable[[PlannedSetup, int], Words]]:
        return (self.look,)

    def look(self, planned: PlannedSetup, _count: int) -> Words:
        self.seen.append(planned)
        return ("row 4 (drill bolt): the 9 mm drill meets the fixed jaw by ", 2.0) if self.fault(planned) else ()

    def ahead(self, several: Sequence[PlannedSetup], count: int) -> None:
        """Do nothing: a look costs nothing here."""


def looked_over(fault: Callable[[PlannedSetup], bool]) -> tuple[Plan, list[PlannedSetup]]:
    """Return the slab's plan when the rows of some set-ups have a fault, and which were looked at."""
    looker = OneLook(fault, [])
    part, asked = slab(), hand_settings()
    stock = stock_report(part, {f.name: NO_NEED for f in part.machined})
    found = plan_setups(part, asked, SLAB_ZERO, stock, looker=looker)
    assert isinstance(found, Plan)
    return found, looker.seen


def test_a_plan_whose_rows_have_a_fault_is_not_taken_where_another_has_none() -> None:
    """With a fault in every set-up that begins as the best plan does, the next best is taken and the plan says why."""
    best = plan(slab(), zero=SLAB_ZERO)
    first = best.setups[0]
    found, seen = looked_over(lambda p: p.number == 1 and p.up == first.up)

    assert found.setups[0].up != first.up
    assert found.cost > best.cost
    assert {name for s in found.setups for name in s.features} == {name for s in best.setups for name in s.features}
    assert "meets the fixed jaw" in "".join(str(piece) for piece in found.rejected)
    assert len(seen) > len(found.setups)


def test_rows_without_a_fault_leave_the_plan_as_it_is() -> None:
    """Each set-up is looked at once."""
    found, seen = looked_over(lambda _planned: False)

    assert told(found) == told(plan(slab(), zero=SLAB_ZERO))
    assert [p.number for p in seen] == [1, 2]


def test_where_every_plan_has_a_fault_the_best_one_is_the_answer() -> None:
    """After a limited number of looks: the fault is then told with its rows."""
    found, seen = looked_over(lambda _planned: True)

    assert told(found) == told(plan(slab(), zero=SLAB_ZERO))
    assert len(seen) <= 10


# --- pins and refusals ------------------------------------------------------


def test_a_pinned_side_comes_first_and_the_rest_is_completed() -> None:
    """Pinned with the top up first, the slab's second set-up is the other side."""
    found = plan(slab(), zero=SLAB_ZERO, pins=Pins((Pin(1, up="+z"),)))

    assert [s.up for s in found.setups] == [UP, DOWN]
    assert found.cost >= plan(slab(), zero=SLAB_ZERO).cost


def test_pinned_parallels_and_jaw_are_kept() -> None:
    """Parallels 20 and the left side back, both as the job says."""
    free = plan(slab(), zero=SLAB_ZERO)
    jaw = free.setups[0].hold.clamp
    found = plan(slab(), zero=SLAB_ZERO, pins=Pins((Pin(1, up="-z", hold="vise", fixed_jaw=jaw, parallels=20.0),)))

    assert (found.setups[0].hold.fixed_jaw, found.setups[0].hold.parallels) == (jaw, 20.0)


def test_a_pin_that_leaves_no_grip_is_refused_with_the_rule() -> None:
    """Parallels 40 under 42 of jaw leave 2 mm of grip; the message names pin, rule and what the planner would take."""
    pins = Pins((Pin(1, up="-z", hold="vise", parallels=40.0, where={"parallels": "job.toml line 9, setups.pin 1.parallels"}),))
    with pytest.raises(JobError, match=r"(?s)line 9.*parallels 40 mm.*a quarter of what stands out.*the planner takes") as refused:
        planned(slab(), zero=SLAB_ZERO, pins=pins)

    assert "\n" not in str(refused.value)


def test_no_plan_names_the_feature_and_what_would_open_it() -> None:
    """A bore 100 deep and a boring head that reaches 70: no plan, the bore, and a longer cutter."""
    finished = cut(box((0.0, 0.0, 0.0), (80.0, 80.0, 100.0)), cylinder((40.0, 40.0, -1.0), UP, 20.0, 102.0))
    casting = cut(box((0.0, 0.0, 0.0), (80.0, 80.0, 103.0)), cylinder((40.0, 40.0, -1.0), UP, 17.0, 105.0))
    part = recognise("block", "grey iron", solid_from_shape(finished, "f"), solid_from_shape(casting, "c"))
    settings = hand_settings()
    short = replace(
        settings.tooling, cutters=tuple(c for c in settings.tooling.cutters if c.kind != "boring head" or c.reach <= 70)
    )
    found = planned(part, replace(settings, tooling=short))

    assert isinstance(found, NoPlan)
    (blocked,) = found.blocked
    assert blocked.feature == "bore 1"
    assert 70.0 in blocked.why
    assert "reaches further" in str(blocked.opens)
