"""Rows of slots: found in the part, milled to width, depth and ends with what is on hand; by hand, by closed form, by the proof."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
import shapely

from geom.kernel.cut import box, cut
from geom.kernel.shape import solid_from_shape
from geom.model.feature import Face, Slot
from geom.model.feature_shape import cutting_body
from geom.model.part import Part
from geom.passes.setup_rows import rows_for
from geom.proof.prove import prove
from geom.recognise.part import recognise
from geom.rows.plan import PlannedSetup
from geom.rows.records import Box, Row, Setup
from geom.settings.records import Settings
from geom.stock.report import stock_report
from geom.tasks.slots import slots_of
from tests.hand_parts import hand_settings
from tests.hand_plans import hand_hold, hand_plan
from tests.proof_job import printed, read_back

UP, ALONG = (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)
KEY = Slot("key", (0.0, -15.0, 20.0), UP, ALONG, 40.0, 10.0, depth=5.0)
WINDOW = Slot("window", (0.0, 20.0, 20.0), UP, ALONG, 50.0, 12.0)
SEAT = Face("seat", (0.0, 0.0, 20.0), UP)


@pytest.fixture(scope="module")
def plate() -> Part:
    """A 100 x 80 x 20 plate, only its top machined, with a blind slot 40 x 10 x 5 and a through one 50 x 12."""
    rough = box((-50.0, -40.0, 0.0), (50.0, 40.0, 23.0))
    features = [SEAT, KEY, WINDOW]
    finished = cut(rough, *(cutting_body(f, 200.0) for f in features))
    pair = solid_from_shape(finished, "finished"), solid_from_shape(rough, "casting")
    return recognise("plate", "grey iron", *pair, features)


def planned(part: Part, *boxes: Box) -> PlannedSetup:
    features = ("seat", *(slot.name for slot in slots_of(part)))
    return hand_plan((), features, zero=(0.0, 0.0, 20.0), hold=hand_hold(boxes=boxes))


def setup_of(part: Part, asked: Settings | None = None, *boxes: Box) -> Setup:
    report = stock_report(part, {face.name: 0.5 for face in part.machined})
    return rows_for(planned(part, *boxes), 1, part, asked or hand_settings(), report)


def of(setup: Setup, name: str) -> list[Row]:
    return [row for row in setup.rows if row.action == "slot" and row.feature.startswith(name)]


def without(*mills: str) -> Settings:
    asked = hand_settings()
    kept = tuple(c for c in asked.tooling.cutters if c.name not in mills)
    assert len(kept) < len(asked.tooling.cutters)
    return replace(asked, tooling=replace(asked.tooling, cutters=kept))


def swept(rows: list[Row]) -> shapely.Geometry:
    """Return what the rows' cutters sweep, seen from above."""
    lanes = [
        shapely.LineString([(r.x, r.y), (r.x if r.x_to is None else r.x_to, r.y if r.y_to is None else r.y_to)]).buffer(
            0.5 * r.tool.diameter, quad_segs=256
        )
        for r in rows
    ]
    return shapely.union_all(lanes)


def test_a_slot_is_found_by_its_round_ends_walls_and_floor(plate):
    """40 over round ends of 10: their centres 30 apart; the blind one goes by its floor, the through one by an end."""
    window, key = sorted(slots_of(plate), key=lambda slot: slot.blind)

    assert (key.name, key.width, key.blind, key.axis) == ("key floor", pytest.approx(10.0), True, UP)
    assert math.dist(*key.ends) == pytest.approx(30.0)
    assert (window.width, window.blind, len(window.faces)) == (pytest.approx(12.0), False, 4)
    assert window.name.startswith("window wall")


def test_a_blind_slot_is_roughed_in_depths_then_cut_to_width_and_depth(plate):
    """8 mm down the middle at half a diameter at most, 0.3 above the floor; then 10 mm from centre to centre of the ends."""
    *rough, last = of(setup_of(plate), "key")

    assert {row.tool.diameter for row in rough} == {8.0}
    assert all(a.z - b.z <= 4.0 + 1e-9 for a, b in pairwise(rough))
    assert rough[-1].z == pytest.approx(-4.7)
    assert (last.tool.diameter, last.z) == (10.0, pytest.approx(-5.0))
    assert (last.x, last.x_to, last.y) == (pytest.approx(-15.0), pytest.approx(15.0), pytest.approx(-15.0))
    assert "both walls" in last.note


def test_a_through_slot_goes_past_its_far_side_where_there_is_room(plate):
    """1 mm below in the open; with a parallel right under it just through, and said."""
    open_below, steel = setup_of(plate), setup_of(plate, None, Box("parallel 1", (-40.0, 15.0, -40.0), (40.0, 25.0, -20.0)))

    assert min(row.z for row in of(open_below, "window")) == pytest.approx(-21.0)
    assert min(row.z for row in of(steel, "window")) == pytest.approx(-20.0)
    assert any("just comes through" in str(words) for words in steel.notes)


def test_without_a_cutter_of_its_width_a_slot_is_cut_along_both_walls(plate):
    """8 mm in a 10 mm slot: nothing outside the drawn outline, walls reached, ends round to within 0.02 mm (closed form)."""
    setup = setup_of(plate, without("10 mm end mill"))
    rows = of(setup, "key")
    drawn = shapely.LineString([(-15.0, -15.0), (15.0, -15.0)]).buffer(5.0, quad_segs=256)
    made = swept([row for row in rows if row.z == pytest.approx(-5.0)])

    assert {row.tool.diameter for row in rows} == {8.0}
    assert made.difference(drawn.buffer(0.001)).is_empty
    assert drawn.difference(made.buffer(0.021)).is_empty
    assert {round(row.y, 6) for row in rows} >= {-16.0, -14.0}
    assert any("ends are round to within" in str(words) for words in setup.notes)


def test_a_slot_that_no_cutter_enters_is_left_out(plate):
    """No end mill of 12 mm or less: both slots are answered for, and no row cuts them."""
    asked = hand_settings()
    kept = tuple(c for c in asked.tooling.cutters if c.kind != "end mill" or c.diameter > 12.5)
    setup = setup_of(plate, replace(asked, tooling=replace(asked.tooling, cutters=kept)))

    assert not of(setup, "")
    assert {left.feature for left in setup.left_out} == {slot.name for slot in slots_of(plate)}


def test_the_proof_finds_the_slots_as_drawn(plate):
    """Re-cut from the printed table alone: every wall, floor and end holds."""
    proof = prove(read_back(printed([setup_of(plate)])), plate, hand_settings())
    judged = [face for face in proof.faces if face.name.startswith(("key", "window"))]

    assert proof.faults == ()
    assert len(judged) == 9


def test_the_width_of_a_slot_is_measured(plate):
    """10 and 12 by caliper, general limits (ISO 2768-1 m, 6 to 30: 0.2)."""
    widths = [row for row in setup_of(plate).rows if row.note.startswith("width of the slot")]

    assert sorted(row.nominal for row in widths) == pytest.approx([10.0, 12.0])
    assert all(row.limits == pytest.approx((row.nominal - 0.2, row.nominal + 0.2)) for row in widths)
