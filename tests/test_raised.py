"""Work on the table is packed as high as a spindle that stops above the table asks for; sums on paper."""

from dataclasses import replace

import pytest

from geom.rows.plan import Hold, Packing
from geom.rows.records import Box
from geom.setups.raised import raised, short_of_table
from geom.shop.file import default_shop

VISE = replace(default_shop("mm").vise, parallels=(10.0, 16.0, 28.0))
TABLE, STRAP = Box("table", (-100.0, -100.0, -62.0), (100.0, 100.0, -12.0)), Box("strap 1", (0.0, 0.0, 5.0), (9.0, 9.0, 21.0))
FLAT = Hold("table", "base", "", "top", frozenset({"seat"}), 0.0, 0.0, 0.0, (), (), (TABLE, STRAP))


@pytest.mark.parametrize(
    ("noses", "table", "short"),
    [((50.0, 43.0), -12.0, 5.0), ((48.0,), -12.0, 0.0), ((60.0,), -12.0, -12.0), ((), -12.0, 0.0), ((43.0,), None, 0.0)],
)
def test_the_lowest_nose_is_short_of_what_the_mill_comes_down_to(
    noses: tuple[float, ...], table: float | None, short: float
) -> None:
    """Spindle to table 60 mm at least: a nose at 43 over a table at -12 is 55 away, 5 short."""
    assert short_of_table(noses, table, 60.0) == pytest.approx(short)


def test_work_that_lay_flat_gets_packing_the_shop_has() -> None:
    """11 mm short: of 10, 16 and 28 it is 16; the table lies that much lower, the strap stays on the work."""
    found = raised(FLAT, 11.0, VISE)

    assert found.parallels == 16.0
    assert found.packing == (Packing("seat", ("packing ", 16.0, ", so that the spindle comes low enough")),)
    assert found.boxes == (Box("table", (-100.0, -100.0, -78.0), (100.0, 100.0, -28.0)), STRAP)


def test_packing_under_seat_and_arm_goes_up_by_the_same() -> None:
    """10 and 5 short make 16, 6 more; under the arm 24 become 30."""
    packed = (Packing("seat", ("packing ", 10.0, ", clear of every drill")), Packing("seat", ("packing ", 24.0, " under arm")))
    found = raised(replace(FLAT, parallels=10.0, packing=packed), 5.0, VISE)

    assert [packing.words[1] for packing in found.packing] == [16.0, 30.0]
    assert found.parallels == 16.0


def test_nothing_moves_where_nothing_is_short_or_a_vise_holds() -> None:
    """A bed is high enough, or its rows say that they are short."""
    assert raised(FLAT, 0.0, VISE) is FLAT
    assert raised(FLAT, -12.0, VISE) is FLAT
    held = replace(FLAT, method="vise")
    assert raised(held, 5.0, VISE) is held


def test_a_plate_below_is_thicker_or_packed() -> None:
    """No parallel of 30 is on hand: the height itself."""
    plate = replace(FLAT, parallels=16.0, packing=(Packing("seat", ("a plate, screwed from below into eye, of ", 16.0)),))

    words = raised(plate, 14.0, VISE).packing[0].words
    assert words == ("a plate, screwed from below into eye, of ", 30.0, " (or a thinner one on packing)")
