"""Rules of the trade for holding work, each by hand, and the holds they give on blocks.

Numbers worked by hand from the shop that is assumed (vise 130 wide, 42 high,
opening 140; parallels from 10). Common practice, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import pytest

from geom.kernel.cut import box as bar
from geom.kernel.cut import common, cylinder, fuse, prism
from geom.kernel.shape import Surface, solid_from_shape
from geom.model.part import Part
from geom.rows.plan import PlannedSetup
from geom.setups.clamp_rules import (
    fixed_first,
    grips_enough,
    hull,
    jaw_packing,
    lean_of,
    mass_is_over,
    packing_width,
    seat_first,
    side_lifts,
    sides_agree,
    widest_three,
)
from geom.setups.demands import Demand, demand
from geom.setups.grip_check import hold_friction, most_pushes
from geom.setups.held import Held
from geom.setups.hold_words import hold_words
from geom.setups.holding import holdings, useful
from geom.setups.seats import seats
from geom.setups.table_hold import shop_size
from geom.setups.work import Work, work_of
from geom.shop.file import default_shop
from geom.space import dot
from geom.standards.alloy import alloy
from geom.stock.report import stock_report
from geom.tasks.features import tasks_of
from tests.catalogue import block_in_block, block_on_cast_foot, bolt_circle_cover, drafted_block
from tests.hand_parts import hand_part, hand_settings, hand_zero

VISE = default_shop("mm").vise
UP, DOWN, AWAY = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0)
ZERO = hand_zero((30.0, 20.0, 30.0))
NOTHING: frozenset[str] = frozenset()


def work(part: Part) -> Work:
    return work_of(part, stock_report(part, {f.name: 0.0 for f in part.machined}), ZERO)


def wants(part: Part, one: Work, up: tuple[float, float, float]) -> list[Demand]:
    tasks = tasks_of(part, ZERO, hand_settings())
    way = tasks.ways.index(up)
    return [demand(task, way, up, one, hand_settings()) for task in tasks.tasks if way in task.options]


@cache
def block() -> tuple[Part, Work]:
    part = hand_part(block_in_block())
    return part, work(part)


def named(part: Part, normal: tuple[float, float, float]) -> str:
    return next(f.name for f in part.faces if f.normal == normal)


def holds(up: tuple[float, float, float], done: frozenset[str] = NOTHING) -> tuple[Held, ...]:
    part, one = block()
    return holdings(one, up, done, [w for w in wants(part, one, up) if w.name not in done], VISE)


# --- rules by hand ----------------------------------------------------------


@pytest.mark.parametrize(
    ("grip", "out", "holds_it"), [(5.0, 20.0, True), (4.9, 3.0, False), (10.0, 40.0, True), (10.0, 41.0, False)]
)
def test_jaws_hold_5_mm_and_a_quarter_of_what_stands_out(grip: float, out: float, holds_it: bool) -> None:
    """10 of grip holds 40 standing out, not 41."""
    assert grips_enough(grip, out) is holds_it


def test_a_side_lifts_when_it_looks_down() -> None:
    """A 3 degree drafted side whose normal points down lifts; one that points up is pressed down."""
    lean = lean_of(-math.sin(math.radians(3.0)))

    assert lean == pytest.approx(3.0)
    assert side_lifts(lean)
    assert not side_lifts(-lean)
    assert sides_agree(3.0, 3.0)
    assert not sides_agree(0.0, 5.0)


def test_a_machined_side_goes_to_the_fixed_jaw_with_a_rod_at_the_rough_one() -> None:
    """Machined against rough: a soft rod at the movable jaw; both rough: strips; both machined: nothing."""
    rod = jaw_packing(True, False, False, VISE)
    strips = jaw_packing(False, False, False, VISE)

    assert [(p.place, p.words) for p in rod] == [("clamp", ("soft round rod ", 8.0, " at half the grip"))]
    assert {p.place for p in strips} == {"fixed jaw", "clamp"}
    assert jaw_packing(True, True, False, VISE) == ()
    assert (packing_width(rod), packing_width(strips)) == (8.0, 2.0)
    assert fixed_first(True, True, 10.0) < fixed_first(False, True, 1000.0)


def test_a_round_between_flats_gets_soft_strips() -> None:
    """Even machined: two lines bear, and would bruise."""
    assert {p.place for p in jaw_packing(True, True, True, VISE)} == {"fixed jaw", "clamp"}


def test_a_seat_is_machined_once_there_is_one_and_as_cast_for_the_first_cut() -> None:
    """Before anything is cut a face that stays ties cut to skin; later a machined one wins though it is smaller."""
    assert seat_first(True, False, 0.0, 10.0, False) < seat_first(False, True, 0.0, 1000.0, False)
    assert seat_first(False, True, 0.0, 10.0, True) < seat_first(False, False, 0.0, 1000.0, True)


def test_three_points_carry_the_mass_or_are_none() -> None:
    """Of a square's corners and a far point: the widest triangle over the mass; none when the mass is outside all."""
    square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]

    three = widest_three(square, (3.0, 2.0))
    assert three is not None
    assert mass_is_over([square[i] for i in three], (3.0, 2.0))
    assert widest_three(square, (11.0, 5.0)) is None
    assert hull([*square, (5.0, 5.0)]) == ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))
    assert not mass_is_over(square[:2], (5.0, 0.0))


# --- on blocks --------------------------------------------------------------


def test_a_rough_seat_stands_out_by_its_stock_until_it_is_cut() -> None:
    """Block 30 high, zero on top, 3 of stock below: the seat is at -33 rough and at -30 cut."""
    part, one = block()
    bottom = named(part, DOWN)

    (rough,) = seats(one, UP, NOTHING, first=True)
    (cut,) = seats(one, UP, frozenset({bottom}), first=False)
    assert rough.level == pytest.approx(-33.0)
    assert cut.level == pytest.approx(-30.0)
    assert (rough.machined, cut.machined) == (False, True)


def test_the_block_is_held_below_the_cut_on_parallels() -> None:
    """Top at 0, jaws end 1.5 lower at least: bed at -33 less parallels plus 42 of jaw: 13 is the least that does."""
    part, _ = block()
    best = next(h for h in holds(UP) if named(part, UP) in h.makes and h.hold.method == "vise")

    assert best.hold.parallels == 13.0
    assert max(b.high[2] for b in best.hold.boxes if "jaw" in b.name) == pytest.approx(-4.0)
    assert best.hold.stick_out == pytest.approx(3.0 + 4.0)
    assert len(best.hold.rests) == 3


def test_an_edge_is_cut_only_where_it_stands_out_beside_the_jaws() -> None:
    """A side 30 high runs down to the seat: only a hold with that end beside the jaws makes it, and never a side in the jaws."""
    part, _ = block()
    left, front = named(part, (-1.0, 0.0, 0.0)), named(part, (0.0, -1.0, 0.0))

    for held in (h for h in holds(UP) if h.hold.method == "vise"):
        jaws = {held.hold.fixed_jaw, held.hold.clamp}
        assert not held.makes & jaws
        assert left not in held.makes or jaws == {front, named(part, (0.0, 1.0, 0.0))}
        x = next(b for b in held.hold.boxes if b.name == "fixed jaw")
        if left in held.makes and held.frame.x == (1.0, 0.0, 0.0):
            assert x.low[0] >= -33.0 + 5.0


def test_a_machined_side_is_put_to_the_fixed_jaw_whichever_way_that_turns_the_work() -> None:
    """With the front cut, the front goes back."""
    part, _ = block()
    front = named(part, (0.0, -1.0, 0.0))
    along = [h for h in holds(UP, frozenset({front})) if front in (h.hold.fixed_jaw, h.hold.clamp) and h.hold.method == "vise"]

    assert along
    assert all(h.hold.fixed_jaw == front for h in along)
    assert all("fixed jaw" in h.hold.machined for h in along)


def test_nothing_is_strapped_over_air() -> None:
    """Every strap of every table hold has seat or packing under it: its spot lies over the block."""
    part, _ = block()
    top = named(part, UP)
    strapped = [h for h in holds(UP, frozenset({top, named(part, DOWN)})) if h.hold.method == "table"]

    assert strapped
    for held in strapped:
        for box in (b for b in held.hold.boxes if b.name.startswith("strap")):
            centre = [(box.low[i] + box.high[i]) / 2 for i in (0, 1)]
            assert abs(centre[0]) <= 33.0 - 5.0
            assert abs(centre[1]) <= 23.0 - 5.0


def test_a_strap_keeps_clear_of_the_holder_of_a_mill_along_an_edge_where_there_is_room() -> None:
    """A 12 mm end mill's middle runs 6 outside the edge, and its holder of radius 20 comes 14 in over it: on a block of 160 x 140
    no strap of the first hold stands there; on one of 60 x 40 straps stand nearer, and the rows say what a holder meets."""
    part = hand_part(block_in_block(size=(160.0, 140.0, 30.0)))
    one, done = work(part), frozenset({named(part, UP), named(part, DOWN)})
    found = holdings(one, UP, done, [w for w in wants(part, one, UP) if w.name not in done], VISE)

    first = next(h for h in found if h.hold.method == "table")
    assert inside([first], part)
    assert min(inside([first], part)) >= 14.0
    assert 10.0 <= min(inside(holds(UP, done), block()[0])) < 14.0


def inside(held: Sequence[Held], part: Part) -> list[float]:
    """Return how far the straps of table holds stand inside each upright face that a hold lets be cut."""
    sides = {f.name: f for f in part.machined if f.normal is not None and abs(f.normal[2]) < 0.5}
    found = []
    for one, face in ((h, sides[n]) for h in held if h.hold.method == "table" for n in h.makes if n in sides):
        out, to = one.frame.local_direction(face.normal or UP), one.frame.local(face.origin)
        for strap in (b for b in one.hold.boxes if b.name.startswith("strap")):
            corners = [(x, y, 0.0) for x in (strap.low[0], strap.high[0]) for y in (strap.low[1], strap.high[1])]
            found.append(min(dot(out, (to[0] - x, to[1] - y, 0.0)) for x, y, _ in corners))
    return found


def test_a_vise_that_does_not_open_far_enough_is_not_offered() -> None:
    """46 wide with 1 mm strips wants 48: an opening of 45 leaves the table only."""
    part, one = block()
    small = replace(VISE, opening=45.0)

    assert all(h.hold.method != "vise" for h in holdings(one, UP, NOTHING, wants(part, one, UP), small))


def test_drafted_sides_that_widen_upwards_lift() -> None:
    """The drafted casting with its foot up: 3 degrees lift, and the hold says so."""
    part = hand_part(drafted_block())
    one = work(part)
    up = [h for h in holdings(one, UP, NOTHING, wants(part, one, UP), VISE) if h.hold.method == "vise"]
    down = [h for h in holdings(one, DOWN, NOTHING, wants(part, one, DOWN), VISE) if h.hold.method == "vise"]

    assert not any("lift" in str(words) for h in up for words in h.cautions)
    assert down
    assert all("lean by 3.0 degrees and lift" in str(h.cautions) for h in down)


def test_a_round_cover_is_gripped_by_its_rim_with_a_caution() -> None:
    """120 across between flats within 140; through holes have room below and no parallel under them."""
    part = hand_part(bolt_circle_cover(), as_cast=lambda s: s.kind == "cylinder" and not s.hollow)
    one = work_of(part, stock_report(part, {f.name: 0.0 for f in part.machined}), hand_zero((0.0, 0.0, 15.0)))
    best = next(h for h in holdings(one, UP, NOTHING, _cover_wants(part, one), VISE) if h.hold.method == "vise")

    assert best.hold.fixed_jaw == best.hold.clamp
    assert "two lines" in str(best.cautions)


def _cover_wants(part: Part, one: Work) -> list[Demand]:
    tasks = tasks_of(part, one.zero, hand_settings())
    way = tasks.ways.index(UP)
    return [demand(task, way, UP, one, hand_settings()) for task in tasks.tasks if way in task.options]


def test_a_face_that_stays_as_cast_is_the_first_seat() -> None:
    """A block machined on top only sits on its skin, and the reason says so."""

    def skin(s: Surface) -> bool:
        return s.axis != UP

    part = hand_part(block_on_cast_foot(), as_cast=skin)
    one = work(part)
    best = holdings(one, UP, NOTHING, wants(part, one, UP), VISE)[0]

    assert "stays as cast" in str(best.why)
    assert best.hold.machined == frozenset()


def test_of_equal_holds_only_one_is_searched() -> None:
    """A hold that makes less, hides as much and is no better is left out."""
    kept = useful(holds(UP))

    assert all(not (a is not b and a.makes <= b.makes and a.rough >= b.rough and a.worse >= b.worse and a.hides >= b.hides)
               for a in kept for b in kept)  # fmt: skip


def test_packing_is_what_the_shop_owns() -> None:
    """12 wanted: a metric shop's 13 parallel, an inch shop's 1/2 in; 200 wanted, higher than any: as it is."""
    inch = default_shop("inch").vise

    assert [shop_size(12.0, VISE), shop_size(12.0, inch), shop_size(200.0, VISE), shop_size(0.0, VISE)] == [13.0, 12.7, 200.0, 0.0]


# --- a tee on the jaws ------------------------------------------------------


def tee(aside: float = 0.0) -> tuple[Part, Work]:
    """A 120 x 90 x 16 plate, 3 mm on its foot, over an eye of 54, 50 thick, pushed `aside` along its pin; all else as cast."""
    web = fuse(bar((-25.0, aside - 25.0, 10.0), (25.0, aside + 25.0, 60.0)), cylinder((0.0, aside - 25.0, 60.0), AWAY, 27.0, 50.0))
    pair = (fuse(bar((-60.0, -45.0, foot), (60.0, 45.0, 16.0)), web) for foot in (0.0, -3.0))
    finished, casting = (solid_from_shape(shape, name) for shape, name in zip(pair, ("finished", "casting"), strict=True))
    part = hand_part((finished, casting), as_cast=lambda s: abs(s.centroid[2]) > 0.01)
    return part, work(part)


def test_a_plate_with_an_eye_below_it_sits_on_the_jaws() -> None:
    """By hand: the eye hangs 71 below the plate, jaws are 42 high, so packing of 30 or more stands on them (32 is on hand) and they
    hold the eye from 32 to 71 below the plate. Three packings stand over jaw steel, 26 to 51 from the middle behind soft strips
    of 1, with the middle of the plate over them; 51 stands out: 3 of stock, 16 of plate, 32 of packing."""
    part, one = tee()
    found = [h for h in holdings(one, DOWN, NOTHING, wants(part, one, DOWN), VISE) if h.hold.on_jaws]
    hold = found[0].hold
    over = [abs(y - found[0].frame.local((0.0, 0.0, 0.0))[1]) for _, y, _ in hold.rests]

    assert (hold.parallels, hold.stick_out) == (32.0, pytest.approx(51.0))
    assert hold.grip == pytest.approx(39.0, abs=one.step)
    assert all(26.0 <= y <= 51.0 for y in over)
    assert mass_is_over([(x, y) for x, y, _ in hold.rests], found[0].frame.local(part.finished.centre)[:2])
    assert {z for _, _, z in hold.rests} == {found[0].frame.local((0.0, 0.0, 16.0))[2]}
    assert "on the tops of the jaws" in "".join(map(str, hold_words(hold)[0]))


def test_a_plate_that_overhangs_one_jaw_only_does_not_sit_on_them() -> None:
    """The eye stands at the edge: nothing of the plate lies over the other jaw, and the work would fall over that side."""
    part, one = tee(aside=20.0)

    assert not any(h.hold.on_jaws for h in holdings(one, DOWN, NOTHING, wants(part, one, DOWN), VISE))


def test_jaws_too_low_for_any_packing_on_hand_hold_no_tee() -> None:
    """Parallels of 10 on jaws of 42 leave the eye, 71 down, on the bed of the vise."""
    part, one = tee()

    assert not any(h.hold.on_jaws for h in holdings(one, DOWN, NOTHING, wants(part, one, DOWN), replace(VISE, parallels=(10.0,))))


# --- a knee with crowned skins ----------------------------------------------


def knee(draft: float = 1.5, pad: float = 0.0) -> tuple[Part, Work]:
    """A foot 130 long, 18 thick, a wall 95 high, 22 thick, 90 wide, drafted from y = 0; 3 mm on the foot, else as cast.

    Args:
        pad: height of a level pad, 24 across, on the foot's end; 0 for none.
    """
    less = 45.0 * math.tan(math.radians(draft))

    def crowned(end: float) -> list[tuple[float, float]]:
        return [(end - less, -45.0), (end, 0.0), (end - less, 45.0)]

    def angle(foot: float) -> object:
        leg, wall, long, high = (crowned(end) for end in (18.0, 22.0, 130.0, 95.0))
        lying = common(
            prism([(0.0, -45.0, foot), *((0.0, y, z) for z, y in leg), (0.0, 45.0, foot)], (140.0, 0.0, 0.0)),
            prism([(0.0, -45.0, foot), *((x, y, foot) for x, y in long), (0.0, 45.0, foot)], (0.0, 0.0, 50.0)),
        )
        upright = common(
            prism([(0.0, -45.0, foot), *((x, y, foot) for x, y in wall), (0.0, 45.0, foot)], (0.0, 0.0, 110.0)),
            prism([(0.0, -45.0, foot), *((0.0, y, z) for z, y in high), (0.0, 45.0, foot)], (50.0, 0.0, 0.0)),
        )
        whole = fuse(lying, upright)
        return fuse(whole, cylinder((112.0, 0.0, 10.0), UP, 12.0, pad - 10.0)) if pad else whole

    finished, casting = (solid_from_shape(angle(foot), name) for foot, name in ((0.0, "finished"), (-3.0, "casting")))
    part = hand_part((finished, casting), as_cast=lambda s: abs(s.centroid[2]) > 0.01)
    return part, work(part)


@cache
def knee_on_its_ridge() -> tuple[Part, Work, Held]:
    part, one = knee()
    return part, one, next(h for h in holdings(one, DOWN, NOTHING, wants(part, one, DOWN), VISE) if h.hold.on_ridge)


def test_a_crowned_knee_stands_on_its_ridge_between_its_flat_sides() -> None:
    """By hand: the wall's ridge, 95 from the foot, stands on the bed; jaws of 42 hold its sides, which start 1.18 higher, so that
    40.8 is gripped and 56 stands out with 3 of stock. The jaws' middle is the wall's, 0 to 20.8 at the sides. The centre of mass,
    42 along, is beside the wall, so a jack stands under the foot, 95 - 18 = 77 high and up to 1.2 more under its crown."""
    part, one, held = knee_on_its_ridge()
    hold, boxes = held.hold, {box.name: box for box in held.hold.boxes}
    jack, jaw = boxes["jack"], boxes["fixed jaw"]
    places = [held.frame.part((0.5 * (box.low[0] + box.high[0]), 0.5 * (box.low[1] + box.high[1]), 0.0)) for box in (jack, jaw)]

    assert part.finished.centre[0] == pytest.approx(42.0, abs=0.5)
    assert (hold.parallels, hold.machined) == (0.0, frozenset())
    assert hold.stick_out == pytest.approx(56.0, abs=0.1)
    assert hold.grip == pytest.approx(42.0 - 45.0 * math.tan(math.radians(1.5)), abs=one.step)
    assert jack.high[2] - jack.low[2] == pytest.approx(77.6, abs=0.7)
    assert places[1][0] == pytest.approx(10.4, abs=one.step)
    assert places[0][0] > 42.0 + 20.0
    assert abs(places[0][1]) < 40.0
    assert "lowest edge or ridge" in str(hold_words(hold)[0][0])
    assert any("level along the jaws by the height gauge" in str(caution[0]) for caution in held.cautions)


def test_jaws_too_short_to_have_the_middle_of_mass_between_their_ends_hold_no_knee() -> None:
    """Jaws of 58 about the wall's middle end 39 along, and the centre of mass is 42 along; jaws of 80 end 50 along but leave
    the jack no room 20 beyond it."""
    part, one, _ = knee_on_its_ridge()

    for width in (58.0, 80.0):
        assert not any(
            h.hold.on_ridge for h in holdings(one, DOWN, NOTHING, wants(part, one, DOWN), replace(VISE, jaw_width=width))
        )


def test_a_level_pad_that_bears_nothing_does_not_keep_a_knee_off_its_ridge() -> None:
    """The pad, 25 high, hangs 70 above what the ridge stands on, and the middle of the work is not over it: no seat, but level."""
    part, one = knee(pad=25.0)
    found = holdings(one, DOWN, NOTHING, wants(part, one, DOWN), VISE)

    assert seats(one, DOWN, NOTHING, first=True)
    assert any(h.hold.on_ridge for h in found)


def test_a_crown_steeper_than_the_draft_limit_is_no_ridge_to_stand_on() -> None:
    """5 degrees each way, where 3.5 is the limit."""
    part, one = knee(5.0)

    assert holdings(one, DOWN, NOTHING, wants(part, one, DOWN), VISE) == ()


def test_a_knee_on_its_ridge_takes_the_cut_that_the_patch_above_it_bears() -> None:
    """Moments about the ridge: 2 jaws' friction at half of the grip bear half (safety 2) of push times 95."""
    part, _, held = knee_on_its_ridge()
    foot = next(f.name for f in part.faces if f.state == "machined")
    planned = PlannedSetup(1, DOWN, held.hold, held.frame, ZERO, (), (foot,))
    friction = hold_friction(held.hold, alloy("grey iron", "part.alloy"), VISE.jaw)

    push = most_pushes(planned, part, hand_settings())[foot]

    assert push == pytest.approx(2.0 * friction * VISE.force * 0.5 * held.hold.grip / (2.0 * 95.0), rel=1e-3)
