"""Speeds, feeds and power agree with printed worked examples, and stay within what the mill can do."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis.strategies import floats, sampled_from

from geom.cutters.cutter_choice import Choice, Lack, choose_end_mill
from geom.cutters.cutting_data import (
    SKIN,
    CutData,
    depth_limit,
    drill_torque,
    mean_chip,
    milling_power,
    pass_depths,
    peck,
    specific_force,
    speed_feed,
    spindle_at_most,
    turning_power,
    unit_power_force,
)
from geom.shop.file import default_shop
from geom.shop.records import Cutter, Mill, Shop
from geom.standards.alloy import alloy
from geom.standards.cutting import CuttingForce, tapping_rpm

IRON = alloy("grey iron", "test")
SHOP = default_shop("mm")
LBF, INCH_POUND = 4.4482216152605, 0.1129848290276167


def drill(diameter: float) -> Cutter:
    return Cutter("drill", f"{diameter:g} mm", diameter, 2, 60.0, 60.0, centre_cutting=True)


def any_speed(shop: Shop = SHOP) -> Shop:
    """Return the shop with a variable drive."""
    return replace(shop, mill=replace(shop.mill, speeds=(), speed_range=(50.0, 6000.0)))


def data(found: CutData | Lack) -> CutData:
    assert isinstance(found, CutData)
    return found


# --- printed examples ---------------------------------------------------------


def test_slab_milling_takes_the_textbooks_power() -> None:
    """20 wide, 5 deep, 100 mm/min, 75 cutter, 10 teeth, 60 rpm, U = 1.4 t^-0.4 J/mm3: chip 0.043 mm, 817 W.

    Source: worked example, Ghosh and Mallik, ch. 4; it rounds U to 4.9, ours is 4.93 (0.6 %).
    """
    chip = mean_chip(100.0 / 60.0 / 10, 5.0, 75.0)
    power = milling_power(5.0, 20.0, 100.0, specific_force(CuttingForce(1400.0, 0.4, "steel", ""), chip))

    assert chip == pytest.approx(0.043, abs=0.0005)
    assert power == pytest.approx(817.0, rel=0.006)
    assert milling_power(5.0, 20.0, 100.0, 4900.0) == pytest.approx(817.0, abs=0.5)


def test_turning_takes_the_toolmakers_power() -> None:
    """3 mm deep, 0.2 mm a turn, 120 m/min, 3100 N/mm2, efficiency 0.8: 4.65 kW (published toolmaker example)."""
    assert turning_power(3.0, 0.2, 120.0, 3100.0, 0.8) == pytest.approx(4650.0, abs=5.0)


def test_a_face_mill_takes_the_toolmakers_power() -> None:
    """2 deep, 80 wide, 280 mm/min, 1800 N/mm2, 0.8: 1.68 kW; 80 m/min on 250 mm: 101.91 rpm at pi 3.14; 12 teeth: 0.228 mm.

    Source: published toolmaker example, which cuts its third decimal off (280 / 12 / 101.91 = 0.2290).
    """
    assert milling_power(2.0, 80.0, 280.0, 1800.0, 0.8) == pytest.approx(1680.0, abs=5.0)
    rpm = 1000.0 * 80.0 / (math.pi * 250.0)
    assert rpm * math.pi / 3.14 == pytest.approx(101.91, abs=0.005)
    assert 280.0 / 12 / rpm == pytest.approx(0.228, abs=0.0015)


def test_the_clamp_makers_cut_pushes_with_121_pounds() -> None:
    """0.060 in deep, 0.003 in a turn, unit power 1.7 hp/in3/min: 121 lb (clamp maker's handbook)."""
    area = 0.060 * 0.003 * 25.4**2

    assert unit_power_force(1.7) * area / LBF == pytest.approx(121.0, abs=0.5)


def test_the_clamp_makers_drill_turns_with_56_inch_pounds() -> None:
    """3/4 in drill, 0.010 in a turn, unit power 0.2: 56 in lb (clamp maker's handbook)."""
    torque = drill_torque(0.75 * 25.4, 0.010 * 25.4, unit_power_force(0.2))

    assert torque / INCH_POUND == pytest.approx(56.0, abs=0.5)


@pytest.mark.parametrize(("inches", "rpm"), [(0.25, 760), (0.5, 380), (0.75, 250), (1.0, 190)])
def test_a_free_spindle_runs_at_the_tables_speed(inches: float, rpm: float) -> None:
    """Shop table, cast iron at 50 ft/min: 760, 380, 250, 190 rpm, rounded to tens; ours times 15.24 / 35.

    The published HSS table drills cast iron at 25 to 35 m/min: we set its fast end where the spindle has it.
    """
    found = data(speed_feed(any_speed(), IRON, drill(inches * 25.4), "drill"))

    assert found.rpm * (50 * 0.3048) / 35.0 == pytest.approx(rpm, abs=5.01)
    assert found.speed == pytest.approx(35.0)


@pytest.mark.parametrize(
    ("size", "inches", "rpm"), [("M6", 0.25, 1070), ("M8", 0.312, 857), ("M10", 0.375, 713), ("M12", 0.5, 535)]
)
def test_a_tap_runs_no_faster_than_the_tapping_table(size: str, inches: float, rpm: float) -> None:
    """Grey iron 70 ft/min: 1070, 857, 713, 535 rpm, for the inch size beside each: a machine tap's most (tapping table)."""
    tap = next(c for c in SHOP.of("tap") if c.label == size)

    assert tapping_rpm(IRON, inches * 25.4, "test") == pytest.approx(rpm, rel=0.001)
    assert data(speed_feed(any_speed(), IRON, tap, "tap")).rpm <= rpm * inches * 25.4 / tap.diameter * 1.001


@pytest.mark.parametrize("size", ["M6", "M8", "M10", "M12"])
def test_a_tap_turns_at_a_quarter_of_drilling_speed_and_feeds_its_pitch(size: str) -> None:
    """Common practice on a mill without a tapping head: a quarter to a third of drilling speed, the lowest spindle speeds."""
    tap = next(c for c in SHOP.of("tap") if c.label == size)
    free, stepped = data(speed_feed(any_speed(), IRON, tap, "tap")), data(speed_feed(SHOP, IRON, tap, "tap"))
    drilling = 1000.0 * 35.0 / (math.pi * tap.diameter)

    assert free.rpm == pytest.approx(drilling / 4.0)
    assert stepped.rpm in SHOP.mill.speeds[:4]
    assert stepped.rpm <= drilling / 3.0
    assert stepped.feed == pytest.approx(stepped.rpm * {"M6": 1.0, "M8": 1.25, "M10": 1.5, "M12": 1.75}[size])


def test_a_drills_feed_is_the_tables() -> None:
    """Cast iron, 6 mm: 0.13 mm a turn (published shop table)."""
    assert data(speed_feed(SHOP, IRON, drill(6.0), "drill")).load.feed_rev == pytest.approx(0.13)


def test_reaming_runs_at_two_thirds_of_drilling() -> None:
    """Published shop table: reamers at half to two thirds of drilling speed."""
    reamer = Cutter("reamer", "10 H7", 10.0, 6, 40.0, 40.0, grade="H7")
    ream, bore = (data(speed_feed(any_speed(), IRON, c, a)) for c, a in ((reamer, "ream"), (drill(10.0), "drill")))  # type: ignore[arg-type]

    assert ream.rpm / bore.rpm == pytest.approx(0.667)


# --- what the mill can do -----------------------------------------------------


@given(floats(1.0, 5000.0))
def test_only_the_spindles_own_speeds_are_set(wish: float) -> None:
    """Never above the wish unless the slowest already is."""
    mill: Mill = SHOP.mill
    rpm = spindle_at_most(mill, wish)

    assert rpm in mill.speeds
    assert rpm <= wish + 1e-6 or rpm == mill.slowest
    assert not any(rpm < s <= wish for s in mill.speeds)


def test_a_spindle_too_fast_or_too_slow_is_said() -> None:
    """A 50 mm cutter on a mill that starts at 1000 rpm, a 1 mm drill on one that ends at 500."""
    fast = replace(SHOP, mill=replace(SHOP.mill, speeds=(1000.0,)))
    slow = replace(SHOP, mill=replace(SHOP.mill, speeds=(500.0,)))

    assert "is above the table's" in str(data(speed_feed(fast, IRON, drill(25.0), "drill")).notes)
    assert "below the table's" in str(data(speed_feed(slow, IRON, drill(1.0), "drill")).notes)
    found = speed_feed(replace(SHOP, mill=replace(SHOP.mill, speeds=(5000.0,))), IRON, SHOP.of("tap")[-1], "tap")
    assert isinstance(found, Lack)
    assert "tap by hand" in str(found.says)


@given(floats(20.0, 5000.0), sampled_from(SHOP.of("end mill")), sampled_from(("edge", "slot")))
def test_no_milling_cut_asks_for_more_power_than_there_is(power: float, cutter: Cutter, action: str) -> None:
    """The depth is held to what the motor gives; more power never means less depth."""
    weak = replace(SHOP, mill=replace(SHOP.mill, power=power))
    strong = replace(SHOP, mill=replace(SHOP.mill, power=2 * power))
    a, b = (data(speed_feed(shop, IRON, cutter, action)).load for shop in (weak, strong))  # type: ignore[arg-type]

    assert a.power is not None
    assert a.power <= 0.8 * power * (1 + 1e-9)
    assert 0 < a.depth <= b.depth <= cutter.flute_length


def test_a_drill_beyond_the_motor_is_said() -> None:
    """A 25 mm drill on a 200 W motor: open the hole up in steps."""
    found = data(speed_feed(replace(SHOP, mill=replace(SHOP.mill, power=200.0)), IRON, drill(25.0), "drill"))

    assert not found.load.enough
    assert "open the hole up in steps" in str(found.notes)


def test_a_reamer_is_never_judged_as_a_drill_from_the_solid() -> None:
    """It takes a few tenths: no power is worked out, so no false alarm on a small motor."""
    weak = replace(SHOP, mill=replace(SHOP.mill, power=50.0))
    found = data(speed_feed(weak, IRON, SHOP.of("reamer")[-1], "ream"))

    assert (found.load.power, found.load.enough) == (None, True)


def test_power_is_torque_times_turns() -> None:
    """P = 2 pi n T, and the force at the rim is the torque over the radius."""
    found = data(speed_feed(SHOP, IRON, SHOP.of("end mill")[-1], "slot"))
    load = found.load

    assert load.power is not None
    assert load.torque is not None
    assert load.power == pytest.approx(load.torque * math.tau * found.rpm / 60)
    assert load.force == pytest.approx(load.torque / (SHOP.of("end mill")[-1].diameter / 2000))
    assert load.power / load.force == pytest.approx(found.speed / 60)  # type: ignore[operator]


def test_deep_holes_run_slower_and_are_pecked() -> None:
    """Published: -40 % from six diameters. Pecks: none to three diameters, then one diameter, half from six (common practice)."""
    shallow, deep = (data(speed_feed(any_speed(), IRON, drill(10.0), "drill", depth=d)) for d in (20.0, 60.0))
    steps = [peck(10.0, depth) for depth in (30.0, 45.0, 80.0)]

    assert deep.rpm / shallow.rpm == pytest.approx(0.6)
    assert steps[0] is None
    assert [(p.step, p.count) for p in steps if p] == [(10.0, 5), (5.0, 16)]


@given(floats(0.01, 1.0), floats(0.0, 60.0))
def test_a_longer_or_wider_cut_is_never_deeper(share: float, more: float) -> None:
    """Reach bends a cutter, width loads it."""
    cutter = Cutter("end mill", "12 mm", 12.0, 4, 26.0, 30.0)

    assert depth_limit(replace(cutter, reach=30.0 + more), 12.0 * share) <= depth_limit(cutter, 12.0 * share)
    assert depth_limit(cutter, 12.0) <= depth_limit(cutter, 12.0 * share) <= cutter.flute_length


def test_an_alloy_without_a_table_gets_no_made_up_speed() -> None:
    """The published tables have no milling speed for bronze: the answer says so."""
    found = speed_feed(SHOP, alloy("bronze", "test"), SHOP.of("end mill")[-1], "edge")

    assert isinstance(found, Lack)
    assert found.says[1] == "speed to edge bronze"
    assert "give no speed to mill bronze" in str(found.says)
    assert "buy" not in str(found.says)


def test_an_inch_shop_and_a_metric_one_of_the_same_sizes_get_the_same_figures() -> None:
    """A 1/2 in end mill is a 12.7 mm one, whatever it is called."""
    inch = default_shop("inch")
    cutter = next(c for c in inch.of("end mill") if c.label == "1/2" and c.flutes == 4)
    named = replace(cutter, label="12.7 mm")
    mill = replace(inch, units="mm")

    assert speed_feed(inch, IRON, cutter, "edge") == speed_feed(mill, IRON, named, "edge")


# --- passes -------------------------------------------------------------------


def test_the_first_pass_goes_under_the_skin() -> None:
    """3 mm of stock, cutter takes 2: 1.5 mm under the skin at least, 0.3 left to finish; 0.2 on a machined face is one pass."""
    assert pass_depths(3.0, 2.0, skin=SKIN) == pytest.approx((1.5, 1.2, 0.3))
    assert pass_depths(4.3, 2.0, skin=SKIN) == pytest.approx((2.0, 2.0, 0.3))
    assert pass_depths(0.2, 2.0) == (0.2,)
    assert pass_depths(0.0, 2.0, skin=SKIN) == ()


@given(floats(0.001, 30.0), floats(0.05, 5.0), floats(0.0, 3.0), floats(0.05, 1.0))
def test_passes_add_up_and_none_is_too_deep(stock: float, deepest: float, skin: float, finish: float) -> None:
    """Not a hair is left or cut twice, no pass is deeper than the cutter's, and the first is under the skin where that can be."""
    taken = pass_depths(stock, deepest, skin=skin, finish=finish)

    assert sum(taken) == pytest.approx(stock)
    assert all(0 < t <= deepest + 1e-9 for t in taken)
    assert taken[0] >= min(skin, deepest, stock) - 1e-9


def test_the_bundled_mill_faces_iron_as_a_small_mill_does() -> None:
    """A 12 mm HSS end mill in grey iron: table 15 to 30 m/min times 0.6 is 9 to 18, so 239 to 477 rpm: 380 of this spindle's."""
    choice = choose_end_mill(SHOP, prefer=12.0)
    assert isinstance(choice, Choice)

    assert choice.cutter.label == "12 mm"
    assert data(speed_feed(SHOP, IRON, choice.cutter, "edge")).rpm == 380.0
