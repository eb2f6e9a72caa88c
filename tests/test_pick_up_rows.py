"""Pick-up: what the readout shows where a finder meets the work, by closed form on drafted blocks and rounds."""

import math
from dataclasses import replace

import pytest

from geom.errors import GeometryError
from geom.kernel.cut import mirrored, turned_about
from geom.kernel.shape import solid_from_shape
from geom.looks.contact import Standing
from geom.looks.pick_up_rows import pick_up_rows
from geom.model.part import Part
from geom.place.castings import Placed
from geom.place.solve import place
from geom.readings.records import Readings, Thickness
from geom.received.casting import receive
from geom.recognise.part import recognise
from geom.rows.plan import PickUp
from geom.rows.records import Box, Row
from geom.stock.required import Need
from tests.catalogue import block_in_block, block_with_cored_bore, drafted_block
from tests.hand_parts import hand_settings
from tests.hand_plans import AWAY, UP, boss_part, drafted_boss, hand_hold, hand_plan, jaws

SETTINGS = hand_settings()
FINDER = 5.0
"""Radius of the edge finder of the assumed shop, mm."""

TAN_3 = math.tan(math.radians(3.0))


def picked(part: Part, *pick_ups: PickUp, settings=SETTINGS, **planned) -> tuple[Row, ...]:
    plan = hand_plan(pick_ups, **planned)
    return pick_up_rows(plan, Standing(part, plan.frame), settings)


def at(row: Row) -> tuple[float | None, float | None, float | None]:
    return row.x, row.y, row.z


@pytest.fixture(scope="module")
def block() -> Part:
    """A 60 x 40 x 30 block from the origin in a casting drafted 3 degrees, 3 mm wide of it at z = -3."""
    return recognise("block", "grey iron", *drafted_block())


@pytest.fixture(scope="module")
def bored() -> Part:
    """A bore of 40 on the Z axis; its core of 34 stands 0.5 to the right and 0.3 to the front."""
    return recognise("bored", "grey iron", *block_with_cored_bore(shift=(0.5, -0.3)))


# --- closed forms -----------------------------------------------------------------


def test_a_boss_is_met_at_its_radius_at_that_height_and_the_finders():
    """Four touches at z = 20 on a boss of 30 at the foot, 3 degrees of draft: 30 - 20 tan 3 + 5 = 33.952 each side (by hand)."""
    rows = picked(boss_part(), PickUp("xy", "boss", ("cone 1",), False, 20.0))
    out = 30.0 - 20.0 * TAN_3 + FINDER

    assert out == pytest.approx(33.952, abs=1e-3)
    assert [row.towards for row in rows] == ["+x", "-x", "+y", "-y"]
    assert [c for row in rows for c in at(row)] == pytest.approx([-out, 0, 20, out, 0, 20, 0, -out, 20, 0, out, 20], abs=1e-9)
    assert all("draft cancels" in row.note for row in rows[1::2])


def test_a_boss_that_widens_upwards_is_met_at_its_rim():
    """Upside down the finder's side meets the wide foot, 30 in radius, wherever its end is; the row says so."""
    rows = picked(boss_part(), PickUp("x", "boss", ("cone 1",), False, -15.0), up=(0.0, 0.0, -1.0))

    assert [row.x for row in rows] == pytest.approx([-35.0, 35.0], abs=0.25 * TAN_3)
    assert all("leans out" in row.note for row in rows)


def test_a_cored_hole_is_found_from_inside(bored):
    """The core's radius 17 less the finder's 5: 12 to each side of where the core is, not of where the bore will be."""
    rows = picked(bored, PickUp("xy", "bore", ("bore 1",), False, -20.0), zero=(0.0, 0.0, 50.0))

    assert bored.holes[0].source == "core"
    assert [row.towards for row in rows] == ["-x", "+x", "-y", "+y"]
    assert [row.x for row in rows[:2]] == pytest.approx([-11.5, 12.5])
    assert [row.y for row in rows[2:]] == pytest.approx([-12.3, 11.7])
    assert [row.y for row in rows[:2]] == pytest.approx([-0.3, -0.3])


def test_a_machined_bore_is_swept(bored):
    """An indicator goes round on the bore's own axis: the core's place no longer matters."""
    (row,) = picked(bored, PickUp("xy", "sweep", ("bore 1",), True), zero=(10.0, 0.0, 50.0))

    assert row.tool.kind == "indicator"
    assert (row.x, row.y, row.z) == pytest.approx((-10.0, 0.0, -6.0))


def test_both_sides_of_a_drafted_pair_are_touched_at_one_height(block):
    """At z = 20 part frame the sides stand 23 tan 3 in from the foot: 33 - 1.205 + 5 either side of the middle (by hand)."""
    rows = picked(block, PickUp("x", "middle", ("left", "right"), False, -10.0), zero=(30.0, 20.0, 30.0))
    out = 33.0 - 23.0 * TAN_3 + FINDER

    assert [row.x for row in rows] == pytest.approx([-out, out], abs=1e-9)
    assert rows[0].z == rows[1].z == -10.0
    assert rows[0].y == rows[1].y


def test_without_a_stated_height_a_pair_still_gets_one_height(block):
    """Whatever height is found, both touches are at it, and on one line."""
    rows = picked(block, PickUp("xy", "middle", ("left", "right", "front", "back"), False), zero=(30.0, 20.0, 30.0))

    assert len(rows) == 4
    for first, second in (rows[:2], rows[2:]):
        assert first.z == second.z
        assert first.z is not None
        out = (33.0, 23.0)[first.towards[1] == "y"] - (33.0 + first.z) * TAN_3 + FINDER
        along = "xy".index(first.towards[1])
        assert (at(first)[along], at(second)[along]) == pytest.approx((-out, out), abs=1e-9)


def test_a_machined_edge_is_met_by_the_finders_radius():
    """Zero on the left face: the readout shows half the finder's diameter to the left of it."""
    part = recognise("block", "grey iron", *block_in_block())
    (row,) = picked(part, PickUp("x", "edge", ("left",), True, 15.0), zero=(0.0, 20.0, 0.0))

    assert (row.x, row.z, row.towards) == (pytest.approx(-5.0), 15.0, "+x")
    assert "skin" not in row.note


def test_a_wall_at_an_angle_is_met_by_the_radius_over_its_cosine():
    """A wall turned 20 degrees in plan: along X the finder stands radius / cos 20 from where the wall crosses its line."""
    pair = (solid_from_shape(turned_about(s, (0.0, 0.0, 0.0), UP, 20.0), s.label) for s in block_in_block())
    part = recognise("block", "grey iron", *pair)
    face = max((f for f in part.machined if f.normal), key=lambda f: f.normal[0])
    (row,) = picked(part, PickUp("x", "edge", (face.name,), True, 15.0))
    c, s = math.cos(math.radians(20.0)), math.sin(math.radians(20.0))

    assert row.y is not None
    assert row.x == pytest.approx((60.0 - row.y * s) / c + FINDER / c, abs=1e-9)


def test_height_is_taken_from_the_skin_the_face_or_what_the_seat_stands_on(block):
    """Rough top: 3 mm above the drawn one; machined: on it; a seat on 20 mm parallels: the bed, 20 under the seat."""
    rough, machined, seat = picked(
        block,
        PickUp("z", "height", ("top",), False),
        PickUp("z", "height", ("top",), True),
        PickUp("z", "height", ("bottom",), True),
        zero=(30.0, 20.0, 30.0),
        hold=hand_hold("bottom", ("seat",), 20.0),
    )

    assert (rough.z, machined.z, seat.z) == pytest.approx((3.0, 0.0, -50.0))
    assert {row.tool.kind for row in (rough, machined, seat)} == {"height gauge"}


def test_a_matched_block_gives_the_seats_own_height(block):
    """Where a block as high as the parallels stands beside the vise, Z of the seat itself is read on it."""
    vise = replace(SETTINGS.tooling.vise, matched_reference=True)
    shop = replace(SETTINGS, tooling=replace(SETTINGS.tooling, vise=vise))
    (row,) = picked(
        block,
        PickUp("z", "height", ("bottom",), True),
        settings=shop,
        zero=(30.0, 20.0, 30.0),
        hold=hand_hold("bottom", ("seat",), 20.0),
    )

    assert row.z == pytest.approx(-30.0)
    assert "matched block" in row.note


def test_a_bore_that_lies_down_is_found_by_a_plug():
    """A plug of 40 in a bore that points to the front: 20 + 5 either side of its axis, Z on top 20 over it (by hand)."""
    part = recognise("bored", "grey iron", *block_with_cored_bore())
    rows = picked(part, PickUp("x", "middle", ("bore 1",), True), PickUp("z", "height", ("bore 1",), True),
                  zero=(0.0, 0.0, 50.0), up=(1.0, 0.0, 0.0), away=(0.0, 0.0, -1.0))  # fmt: skip
    left, right, top = rows

    assert (left.x, right.x, left.z, right.z) == pytest.approx((-25.0, 25.0, 0.0, 0.0))
    assert (top.x, top.z, top.towards) == (pytest.approx(0.0), pytest.approx(20.0), "-z")
    assert all(row.y is not None and row.y < 0.0 and "plug" in row.note for row in rows)


def test_a_core_too_deep_for_the_finder_is_touched_higher_up(bored):
    """The finder reaches 30, the rough top stands 3 up: 40 down is out of reach, so the nearest height that is not."""
    (first, *others) = picked(bored, PickUp("xy", "bore", ("bore 1",), False, -40.0), zero=(0.0, 0.0, 50.0))

    assert first.z == -25.0
    assert {row.z for row in others} == {-25.0}


def test_a_core_as_received_is_touched_through_its_own_middle(bored):
    """A core 1 mm wider by calipers: 12.5 to each side of where it stands, each pair through the other's middle."""
    readings = Readings(thicknesses=(Thickness(("bore 1", "bore 1"), 35.0, None, 0.01, "test"),))
    received = receive(bored, readings, grade=11)
    found = place(bored, received, {f.name: Need(1.0, 1.0, "face") for f in bored.machined})
    placed = Placed(readings, received, found, received.to_part, (), ())
    asked = hand_plan([PickUp("xy", "bore", ("bore 1",), False, -20.0)], zero=(0.0, 0.0, 50.0))
    left, right, front, back = pick_up_rows(asked, Standing(bored, asked.frame, placed), SETTINGS)

    assert ((right.x - left.x) / 2, (back.y - front.y) / 2) == pytest.approx((12.5, 12.5), abs=0.05)
    assert ((left.x + right.x) / 2, (front.y + back.y) / 2) == pytest.approx((front.x, left.y), abs=0.02)


# --- laws --------------------------------------------------------------------------


def test_turning_the_part_in_its_file_changes_nothing():
    """The boss laid on its side in the file, the set-up turned with it: the same rows to a nanometre."""
    pair = (solid_from_shape(turned_about(s, (1.0, 2.0, 3.0), AWAY, 90.0), s.label) for s in drafted_boss())
    part = recognise("boss", "grey iron", *pair)
    cone = next(f.name for f in part.faces if f.kind == "cone")
    asked = PickUp("xy", "boss", (cone,), False, 20.0)
    zero = (1.0 + (0.0 - 3.0), 2.0 - 2.0, 3.0 - (0.0 - 1.0))
    there = picked(part, asked, zero=zero, up=(1.0, 0.0, 0.0))
    here = picked(boss_part(), PickUp("xy", "boss", ("cone 1",), False, 20.0))

    assert [c for row in there for c in at(row)] == pytest.approx([c for row in here for c in at(row)], abs=1e-6)


def test_a_mirrored_part_mirrors_its_rows():
    """A core 0.5 to the right is 0.5 to the left in the mirror: X changes sign, Y and Z stay."""
    pair = block_with_cored_bore(shift=(0.5, -0.3))
    part = recognise("b", "grey iron", *(solid_from_shape(mirrored(s, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), s.label) for s in pair))
    asked = PickUp("xy", "bore", ("bore 1",), False, 30.0)
    plain = picked(recognise("b", "grey iron", *pair), asked)
    seen = picked(part, asked)

    assert all(row.driven for row in (*plain, *seen))
    assert sorted(-(row.x or 0.0) for row in seen[:2]) == pytest.approx(sorted(row.x or 0.0 for row in plain[:2]))
    assert [row.y for row in seen[2:]] == pytest.approx([row.y for row in plain[2:]])


def test_no_touch_goes_into_a_jaw(block):
    """With jaws up to z = -12 before and behind, the pair in Y is touched above them or not at all."""
    hold = hand_hold(boxes=jaws(-12.0, 22.0))
    rows = picked(block, PickUp("y", "middle", ("front", "back"), False), zero=(30.0, 20.0, 30.0), hold=hold)

    assert len(rows) == 2
    assert all(row.z is not None and row.z >= -12.0 for row in rows)


# --- refusals -----------------------------------------------------------------------


def test_a_place_no_finder_reaches_is_said_in_the_row(block):
    """Jaws that stand above the work leave nothing to touch from front and back: no number is made up."""
    rows = picked(
        block, PickUp("y", "middle", ("front", "back"), False), zero=(30.0, 20.0, 30.0), hold=hand_hold(boxes=jaws(10.0, 22.0))
    )

    assert [row.driven for row in rows] == [(), ()]
    assert all("nothing clean to touch" in row.note for row in rows)


def test_a_bore_narrower_than_the_finder_is_not_touched():
    """A core of 8 does not take a finder of 10."""
    part = recognise("b", "grey iron", *block_with_cored_bore(bore=14.0, core=8.0))

    assert all(row.driven == () for row in picked(part, PickUp("xy", "bore", ("bore 1",), False, 30.0)))


def test_a_shop_without_an_edge_finder_is_told_so(block):
    """The row names what is lacking and what would do."""
    bare = replace(SETTINGS, tooling=replace(SETTINGS.tooling, finders=()))
    (row,) = picked(block, PickUp("x", "edge", ("left",), False), settings=bare)

    assert row.driven == ()
    assert "no edge finder" in row.note
    assert "paper" in row.note


def test_a_face_the_part_does_not_have_is_refused(block):
    """A slip in a name is one plain line with the nearest name."""
    with pytest.raises(GeometryError, match=r"no face or hole 'lift'.*did you mean 'left'"):
        picked(block, PickUp("x", "edge", ("lift",), False))


def test_no_touch_is_lower_than_the_spindle_comes(bored):
    """A spindle that stops 60 over a table at Z -85: a finder of 30 has its end no lower than -55; here -10 with a table at -40."""
    for table, lowest in ((-85.0, -25.0), (-40.0, -10.0)):
        hold = hand_hold(boxes=[Box("table", (-300.0, -300.0, table - 50.0), (300.0, 300.0, table))])
        rows = picked(bored, PickUp("x", "bore", ("bore 1",), False, -25.0), zero=(0.0, 0.0, 50.0), hold=hold)
        assert [row.z for row in rows] == [lowest, lowest]


def test_a_box_beside_the_work_keeps_the_holder_away(block):
    """A stop that is lower than the finder's end but under its holder's edge is no obstacle; one that is higher is."""
    low, high = (Box("stop", (-50.0, -20.0, -60.0), (-38.0, 60.0, top)) for top in (-12.0, 25.0))
    there = [
        picked(block, PickUp("x", "edge", ("left",), False, -10.0), zero=(30.0, 20.0, 30.0), hold=hand_hold(boxes=[one]))
        for one in (low, high)
    ]

    assert [bool(rows[0].driven) for rows in there] == [True, False]
