"""The cutter on hand that does the work, or what is missing and what the nearest would give."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis.strategies import floats, integers, sampled_from

from geom.cutters.cutter_choice import (
    Choice,
    Lack,
    choose_boring,
    choose_counterbore,
    choose_countersink,
    choose_drill,
    choose_end_mill,
    choose_face_mill,
    choose_finder,
    choose_reamer,
    choose_spot,
    choose_tap,
    passes_wide,
)
from geom.rows.records import Words
from geom.shop.drills import drills_of_set
from geom.shop.file import default_shop
from geom.shop.records import Cutter, Shop, without
from geom.standards.drill import Drill
from geom.standards.thread import find_thread

SHOP = default_shop("mm")
INCH = default_shop("inch")
M12 = find_thread("M12", "test").thread


def chosen(found: Choice | Lack) -> Cutter:
    assert isinstance(found, Choice)
    return found.cutter


def lack(found: object) -> Lack:
    assert isinstance(found, Lack)
    return found


def said(words: Words) -> str:
    return "".join(w if isinstance(w, str) else f"{w:g} mm" for w in words)


def only(*drills: Drill) -> Shop:
    """Return a shop that owns these drills and nothing else."""
    cutters = tuple(Cutter("drill", d.name, d.diameter, 2, 80.0, 80.0) for d in drills)
    return Shop("test", "mm", SHOP.mill, SHOP.vise, cutters, ())


# --- drills -------------------------------------------------------------------


def test_a_missing_tap_drill_is_an_answer_with_its_percent_of_thread() -> None:
    """M12 wants 10.2 mm: 100 (12 - 10.4) / (1.299 * 1.75) = 70.4 % is what a 10.4 gives (the 75 % rule of the tap-drill tables)."""
    found = lack(choose_drill(only(Drill("10.4 mm", 10.4)), Drill("10.2 mm", 10.2), M12))

    assert said(found.says) == "no 10.2 mm drill: 10.4 mm drill gives 70 % thread; or buy one"


def test_a_drill_that_would_ruin_the_thread_is_not_offered() -> None:
    """11.5 mm leaves 100 (0.5) / 2.273 = 22 % of M12: below 50 % it strips."""
    found = lack(choose_drill(only(Drill("11.5 mm", 11.5)), Drill("10.2 mm", 10.2), M12))

    assert "would give 22 % thread, outside 50 to 85 %: do not use it" in said(found.says)


def test_a_quarter_inch_drill_is_known_by_any_name() -> None:
    """6.35 mm, 1/4 and E are one drill: 0.250 in."""
    assert chosen(choose_drill(INCH, Drill("6.35 mm", 6.35))).diameter == pytest.approx(6.35)


def test_the_inch_tap_drill_of_the_tables_is_on_hand_in_the_inch_shop() -> None:
    """1/4-20 at 75 %: 0.20125 in, so number 7 (75 % thread rule); 0.201 leaves 75 %."""
    thread = find_thread("1/4-20", "test").thread
    found = choose_drill(INCH, thread.drill, thread)

    assert chosen(found).label == "no. 7"
    assert isinstance(found, Choice)
    assert found.percent == pytest.approx(75.4, abs=0.1)


def test_a_hole_deeper_than_the_flutes_wants_a_longer_drill() -> None:
    """A 10 mm jobber drill has 87 mm of flutes (DIN 338, from memory)."""
    found = lack(choose_drill(SHOP, Drill("10 mm", 10.0), depth=100.0))

    assert said(found.says) == "no 10 mm drill that reaches 100 mm: 10 mm drill reaches 87 mm, short by 13 mm; or buy a longer one"


def test_a_plain_hole_says_how_far_off_the_nearest_is() -> None:
    """0.05 mm too wide may matter to a fit: the machinist decides."""
    found = lack(choose_drill(SHOP, Drill("10.45 mm", 10.45)))

    assert "makes the hole 0.05 mm too narrow" in said(found.says)
    assert said(lack(choose_drill(only(), Drill("3 mm", 3.0))).says) == "no 3 mm drill: none is on hand; or buy one"


# --- taps, reamers, seats -----------------------------------------------------


def test_a_tap_of_another_pitch_is_no_substitute() -> None:
    """M10x1.25 is not M10."""
    thread = find_thread("M10x1.25", "test").thread
    found = lack(choose_tap(SHOP, thread))

    assert (found.nearest and found.nearest.label) == "M10"
    assert "cuts another thread" in said(found.says)
    assert chosen(choose_tap(SHOP, M12)).label == "M12"


def test_a_reamer_makes_the_hole_its_grade_says() -> None:
    """H7 on hand is not H8, and 11 mm is not 10."""
    assert chosen(choose_reamer(SHOP, 10.0)).grade == "H7"
    assert "makes H7, not H8" in said(lack(choose_reamer(SHOP, 10.0, "H8")).says)
    assert "makes the hole 1 mm too narrow; or buy one, or bore the hole" in said(lack(choose_reamer(SHOP, 11.0)).says)


def test_a_counterbores_pilot_has_to_enter_and_to_guide() -> None:
    """15 mm for M8: the pilot of 9 runs in a 9 mm hole, not in an 8.4; in 10 mm it is loose, and that is said."""
    good = choose_counterbore(SHOP, 15.0, 9.0)
    assert isinstance(good, Choice)
    assert (good.cutter.pilot, good.notes) == (9.0, ())
    assert "has a pilot of 9 mm that does not enter" in said(lack(choose_counterbore(SHOP, 15.0, 8.4)).says)
    loose = choose_counterbore(SHOP, 15.0, 10.0)
    assert isinstance(loose, Choice)
    assert "not guided by a pilot" in said(loose.notes[0])


def test_a_seat_of_an_end_mills_size_may_be_cut_with_it() -> None:
    """16 mm: no counterbore, an end mill of that size; it has no pilot."""
    found = choose_counterbore(SHOP, 16.0, 9.0)

    assert chosen(found).name == "16 mm end mill"
    assert isinstance(found, Choice)
    assert "clamp hard" in said(found.notes[0])


def test_a_head_bears_only_in_its_own_angle() -> None:
    """ISO heads are 90 degrees, inch ones 82."""
    assert chosen(choose_countersink(SHOP, 16.0, 90.0)).diameter == 20.5
    assert "is 90 degrees: the head would not bear" in said(lack(choose_countersink(SHOP, 16.0, 82.0)).says)
    assert "makes a mouth of 25 mm at most" in said(lack(choose_countersink(SHOP, 40.0, 90.0)).says)


def test_a_boring_head_has_a_least_and_a_largest_bore() -> None:
    """12 to 90 mm, 70 deep; the long bar from 25 mm only."""
    assert chosen(choose_boring(SHOP, 40.0, 60.0)).smallest == 12.0
    assert "short by 10 mm" in said(lack(choose_boring(SHOP, 20.0, 80.0)).says)
    assert "does not reach that size" in said(lack(choose_boring(SHOP, 120.0)).says)


# --- milling ------------------------------------------------------------------


def test_the_stiffest_end_mill_that_fits_is_taken() -> None:
    """Up to the preferred size the largest; the corner's radius, height and plunge limit it."""
    assert chosen(choose_end_mill(SHOP)).diameter == 20.0
    assert chosen(choose_end_mill(SHOP, prefer=12.0, depth=27.0)).name == "12 mm end mill"
    assert chosen(choose_end_mill(SHOP, widest=9.5)).diameter == 8.0
    assert chosen(choose_end_mill(SHOP, plunge=True)).diameter == 12.0


def test_an_end_mill_too_short_too_wide_or_blind_at_its_centre_is_said() -> None:
    """What the nearest would give, and what to buy."""
    assert said(lack(choose_end_mill(SHOP, depth=50.0)).says) == (
        "no end mill with flutes of 50 mm: 20 mm end mill has flutes of 40 mm and reaches 60 mm; or buy a longer one"
    )
    assert "is too wide by 1 mm; or buy a narrower one" in said(lack(choose_end_mill(SHOP, widest=2.0)).says)
    blunt = Shop("t", "mm", SHOP.mill, SHOP.vise, (Cutter("end mill", "12 mm", 12.0, 4, 26.0, 40.0),), ())
    assert "does not cut over its centre: drill a start hole" in said(lack(choose_end_mill(blunt, plunge=True)).says)


def test_a_face_is_cleared_in_the_fewest_passes() -> None:
    """50 mm at three quarters: 37.5 mm a pass; a 100 mm face takes three. Where only 20 mm has room, an end mill does it."""
    assert chosen(choose_face_mill(SHOP, 100.0)).kind == "face mill"
    assert passes_wide(chosen(choose_face_mill(SHOP, 100.0)), 100.0) == 3
    assert chosen(choose_face_mill(SHOP, 100.0, widest=20.0)).name == "20 mm end mill"
    assert "short by 20 mm" in said(lack(choose_face_mill(SHOP, 100.0, reach=80.0)).says)


def test_what_finds_an_edge_has_to_reach_it() -> None:
    """An edge finder that reaches 30 mm does not find one 50 down."""
    assert not isinstance(choose_finder(SHOP, "edge finder", 20.0), Lack)
    assert said(lack(choose_finder(SHOP, "edge finder", 50.0)).says).startswith("no edge finder that reaches down 50 mm")
    assert chosen(choose_spot(SHOP, 6.0)).diameter == 10.0


# --- laws ---------------------------------------------------------------------

ASKED: tuple[Callable[[Shop, float, float], Choice | Lack], ...] = (
    lambda shop, size, depth: choose_drill(shop, Drill("", round(size, 1)), depth=depth),
    lambda shop, size, depth: choose_end_mill(shop, widest=size, depth=depth / 3),
    lambda shop, size, depth: choose_end_mill(shop, prefer=size, depth=depth / 3, plunge=True),
    lambda shop, size, depth: choose_face_mill(shop, 10 * size, reach=depth / 2),
    lambda shop, size, depth: choose_counterbore(shop, round(size), size / 2, depth / 3),
    lambda shop, size, depth: choose_countersink(shop, size, 90.0, depth / 3),
    lambda shop, size, depth: choose_reamer(shop, round(size), depth=depth / 3),
    lambda shop, size, depth: choose_boring(shop, 3 * size, depth),
    lambda shop, size, _: choose_spot(shop, size),
    lambda shop, _, depth: choose_tap(shop, M12, depth),
)


@given(sampled_from(ASKED), floats(1.0, 30.0), floats(0.0, 90.0), integers(0, 10**6))
def test_taking_a_cutter_away_never_improves_a_choice(
    ask: Callable[[Shop, float, float], Choice | Lack], size: float, depth: float, which: int
) -> None:
    """Lent cutters leave the choice as it was, or make it worse, or leave a lack."""
    before = ask(SHOP, size, depth)
    lent = before.cutter if isinstance(before, Choice) and which % 2 else SHOP.cutters[which % len(SHOP.cutters)]
    after = ask(without(SHOP, lent), size, depth)

    if isinstance(before, Lack):
        assert isinstance(after, Lack)
    elif isinstance(after, Choice):
        assert after.merit >= before.merit
        assert lent != before.cutter or after.cutter != lent


@given(sampled_from(ASKED), floats(1.0, 30.0), floats(0.0, 90.0))
def test_the_order_of_the_drawer_does_not_matter(
    ask: Callable[[Shop, float, float], Choice | Lack], size: float, depth: float
) -> None:
    """The same cutters in any order give the same choice."""
    turned = Shop(SHOP.name, SHOP.units, SHOP.mill, SHOP.vise, SHOP.cutters[::-1], SHOP.finders)

    assert ask(turned, size, depth) == ask(SHOP, size, depth)


def test_inch_and_metric_names_choose_the_same_cutter() -> None:
    """The fraction set read as sets or as millimetre singles drills the same holes."""
    named = only(*drills_of_set("fraction 1/16-1/2", "test"))
    sized = only(*(Drill(f"{d.diameter:g} mm", d.diameter) for d in drills_of_set("fraction 1/16-1/2", "test")))
    for size in (3.175, 6.35, 12.7):
        assert chosen(choose_drill(named, Drill("", size))).diameter == chosen(choose_drill(sized, Drill("", size))).diameter
