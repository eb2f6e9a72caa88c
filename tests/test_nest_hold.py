"""A printed nest pinned as the hold: planned, light, rated for nothing, and never taken unasked."""

from dataclasses import replace
from itertools import pairwise

import pytest

from geom.datum.zero import resolve_zero
from geom.errors import JobError
from geom.model.part import Part
from geom.passes.setup_rows import LIGHT, RowMaker, setups_of
from geom.rows.plan import NoPlan, Plan
from geom.rows.records import CUTTING, Setup
from geom.settings.pins import check_pins
from geom.settings.records import DatumSettings
from geom.setups.grip_check import grips_of, most_pushes
from geom.setups.planner import plan_setups
from geom.stock.report import stock_report
from geom.toml.pins import Pin, Pins
from tests.catalogue import block_on_cast_foot
from tests.hand_parts import hand_part, hand_settings


def part() -> Part:
    """The catalogue's block with only its top machined, 3 mm of stock on it."""
    return hand_part(block_on_cast_foot(), as_cast=lambda s: s.centroid[2] < 29.0)


def planned(pin: Pin | None) -> tuple[Part, Plan | NoPlan, tuple[tuple[Setup, tuple[object, ...]], ...]]:
    made = part()
    asked, stock = hand_settings(), stock_report(made, {face.name: 0.5 for face in made.machined})
    zero = resolve_zero(made, DatumSettings())
    maker = RowMaker(made, asked, stock)
    plan = plan_setups(made, asked, zero, stock, Pins((pin,)) if pin else None, None, maker)
    return made, plan, setups_of(plan, zero, maker) if isinstance(plan, Plan) else ()


def test_a_pinned_nest_holds_the_work_and_every_cut_in_it_is_light() -> None:
    """Passes of the face go down by half a millimetre at most, every row says why, and no clamp force is worked out."""
    made, plan, setups = planned(Pin(1, up="+z", hold="nest"))
    assert isinstance(plan, Plan)
    one, (setup, faults) = plan.setups[0], setups[0]
    cuts = [row for row in setup.rows if row.action in CUTTING]
    levels = sorted({row.z for row in cuts if row.action == "face" and row.z is not None}, reverse=True)

    assert (one.hold.method, one.hold.machined, faults) == ("nest", frozenset(), ())
    assert len(levels) > 2
    assert max(a - b for a, b in pairwise(levels)) <= LIGHT + 1e-9
    assert all("light cut: printed nest" in row.note for row in cuts)
    assert grips_of(one, made, hand_settings(), stock_report(made, {face.name: 0.5 for face in made.machined})) == ()
    assert most_pushes(one, made, hand_settings()) == {}
    assert any("no clamping force is rated" in "".join(map(str, words)) for words in setup.notes)


def test_a_nest_stays_under_what_is_cut_and_beside_the_casting() -> None:
    """Four walls about the casting's own box, their tops 3 mm or more under every face and edge that is cut."""
    made, plan, setups = planned(Pin(1, up="+z", hold="nest"))
    assert isinstance(plan, Plan)
    walls = {box.name: box for box in plan.setups[0].hold.boxes}
    lowest = min(row.z for row in setups[0][0].rows if row.action in ("face", "edge") and row.z is not None)
    frame, finished = plan.setups[0].frame, made.casting

    assert set(walls) == {"table", "nest left", "nest right", "nest front", "nest back"}
    assert walls["nest left"].high[2] <= lowest - 2.0
    assert walls["nest left"].high[0] < frame.local(finished.centre)[0] < walls["nest right"].low[0]


def test_nobody_gets_a_nest_unasked() -> None:
    """Without the pin the vise holds it."""
    _, plan, _ = planned(None)

    assert isinstance(plan, Plan)
    assert {one.hold.method for one in plan.setups} <= {"vise", "table", "angle plate"}


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [("fixed_jaw", "back", "fixed jaw"), ("clamp", "front", "clamp face"), ("parallels", 0.0, "parallels")],
)
def test_a_nest_has_no_jaw_and_no_parallels(key: str, value: object, told: str) -> None:
    """Pinned together with a nest they are refused at once, in words about the nest and not about jaws."""
    pin = replace(Pin(1, up="+z", hold="nest"), **{key: value})  # type: ignore[arg-type]
    with pytest.raises(JobError, match=f"printed nest, which carries the skin itself and takes no {told}; take {key} out"):
        check_pins(part(), replace(hand_settings(), setups=Pins((pin,))))
