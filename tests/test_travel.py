"""Work longer than the table travels: what it covers at a time is cut, the rest in another clamping or named with figures."""

from dataclasses import replace
from functools import cache

import pytest

from geom.datum.zero import resolve_zero
from geom.kernel.cut import box, cut, cylinder, fuse
from geom.kernel.shape import solid_from_shape
from geom.model.part import Part
from geom.passes.setup_rows import RowMaker, as_made
from geom.recognise.part import recognise
from geom.rows.plan import NoPlan, Plan
from geom.settings.records import DatumSettings, Settings
from geom.setups.planner import plan_setups
from geom.stock.report import stock_report
from tests.hand_parts import hand_settings

FAR = box((-400.0, -100.0, 50.0), (400.0, 100.0, 90.0))


@cache
def bar(*, sole: bool = False) -> Part:
    """A bar 620 x 60 x 40 with a pad 40 long and 10 high on either end, 3 mm on them, and three holes."""
    low = -3.0 if sole else 0.0
    rough = box((-310.0, -30.0, low), (310.0, 30.0, 40.0))
    for x in (-310.0, 270.0):
        rough = fuse(rough, box((x, -30.0, 39.0), (x + 40.0, 30.0, 53.0)))
    body = cut(rough, FAR, *([box((-400.0, -100.0, -10.0), (400.0, 100.0, 0.0))] if sole else []))
    body = cut(body, *(cylinder((x, 0.0, 20.0), (0.0, 0.0, 1.0), 4.0, 60.0) for x in (-290.0, 0.0, 290.0)))
    return recognise("bar", "grey iron", solid_from_shape(body, "finished"), solid_from_shape(rough, "casting"))


def asked(zero: str) -> Settings:
    return replace(hand_settings(), datum=DatumSettings(zero=zero, where={"zero": "test"}))


def planned(part: Part, zero: str) -> Plan | NoPlan:
    settings, stock = asked(zero), stock_report(part, {face.name: 0.5 for face in part.machined})
    maker = RowMaker(part, settings, stock)
    found = plan_setups(part, settings, resolve_zero(part, settings.datum), stock, looker=maker)
    return as_made(found, maker) if isinstance(found, Plan) else found


def test_two_ends_further_apart_than_the_table_travels_are_cut_one_after_the_other() -> None:
    """640 over both pads with a run past them, and the table goes 480 (default mill): each pad in its own clamping, zero between.

    Left and right, 620 apart, are not both touched either: the nearer one is, and no row is out of travel.
    """
    found = planned(bar(), "hole 2")

    assert isinstance(found, Plan)
    assert [sum("top" in name for name in setup.features) for setup in found.setups] == [1, 1]
    assert sum(len(setup.features) for setup in found.setups) == 5
    assert all(setup.faults == () for setup in found.setups)
    assert any("the table travels X " in words for words in found.setups[0].why)
    assert any("lies further off than the table travels" in one.missed for one in found.setups[0].pick_ups)


def test_a_face_longer_than_the_travel_alone_is_the_one_that_is_blocked() -> None:
    """The underside takes 640 by 80 with a run past every edge; the default mill goes 480 by 200. Pads and holes are not named."""
    answer = planned(bar(sole=True), "hole 2")

    assert isinstance(answer, NoPlan)
    (one,) = answer.blocked
    assert one.feature == "bottom"
    assert [word for word in one.why if isinstance(word, float)] == pytest.approx([640.0, 80.0, 480.0, 200.0])
