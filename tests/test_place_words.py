"""A placement in shop words, further readings worth taking, and several castings in order."""

import math

import numpy as np
import pytest

from export.number import sentence
from geom.datum.zero import Zero
from geom.kernel.cut import cut, cylinder
from geom.kernel.shape import solid_from_shape
from geom.model.part import Part
from geom.place.ask import ask_for
from geom.place.placement import Placement
from geom.place.rank import rank_castings
from geom.place.solve import place
from geom.place.words import instructions, level_words, placed_zero, summary_words, turn_words, zero_words
from geom.readings.records import LowSpot, Readings, Thickness, Touch
from geom.received.casting import AsReceived, receive
from geom.received.faces import face_skin
from geom.recognise.part import recognise
from geom.rows.records import About, Words
from geom.settings.parting import Parting
from geom.settings.place import FREEDOMS, PlacementSettings
from geom.space import X_AXIS, Y_AXIS, Z_AXIS, Frame
from geom.stock.required import Need
from tests.catalogue import UP, block_in_block

SHARE_FIRST = PlacementSettings(order=("demands", "share", "outline"))
CORNER = Zero(Frame((0.0, 0.0, 30.0), X_AXIS, Y_AXIS, Z_AXIS), "corner", "job", "the corner of left and front")


def said(words: Words) -> str:
    """Return words as one line, lengths to 0.01 mm."""
    return "".join(w if isinstance(w, str) else f"{w:.2f}" for w in words)


def needs(part: Part, amount: float = 1.0) -> dict[str, Need]:
    """Return the same need for every machined face."""
    return {face.name: Need(amount, 1.0, "face") for face in part.machined}


def placed(
    part: Part, readings: Readings, asked: PlacementSettings = SHARE_FIRST, amount: float = 1.0
) -> tuple[AsReceived, Placement]:
    """Return the casting as some readings tell of it, and the placement in it."""
    received = receive(part, readings)
    return received, place(part, received, needs(part, amount), asked)


@pytest.fixture(scope="module")
def block() -> Part:
    """A 60 x 40 x 30 block, 3 mm of stock all round."""
    return recognise("block", "grey iron", *block_in_block())


@pytest.fixture(scope="module")
def tilted(block: Part) -> tuple[AsReceived, Placement]:
    """The block with hollows that tilt it about Y: 2.25 degrees (see test_place)."""
    spots = (
        LowSpot("top", (52.0, 20.0, 33.0), (4.0, 4.0), 2.0, 0.01, "spots.csv line 2"),
        LowSpot("bottom", (8.0, 20.0, -3.0), (4.0, 4.0), 2.0, 0.01, "spots.csv line 3"),
    )
    return placed(block, Readings(low_spots=spots))


def test_boss_zero_is_moved_to_the_core():
    """Bore shared evenly with a core 0.35, -0.10 off: zero on the boss, then X +0.35, Y -0.10."""
    finished = cut(cylinder((0.0, 0.0, 0.0), UP, 30.0, 40.0), cylinder((0.0, 0.0, -1.0), UP, 12.0, 42.0))
    casting = cut(cylinder((0.0, 0.0, -3.0), UP, 30.0, 46.0), cylinder((0.35, -0.10, -4.0), UP, 9.0, 48.0))
    part = recognise("ring", "grey iron", solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting"))
    zero = Zero(Frame((0.0, 0.0, 40.0), X_AXIS, Y_AXIS, Z_AXIS), "bore", "job", "the axis of the bore")
    received, found = placed(part, Readings())
    (line,) = zero_words(received, found, zero)

    assert said(line).startswith("set zero on ")
    assert said(line).endswith(", then move X +0.35, Y -0.10 and zero again")
    assert placed_zero(zero, found).frame.origin == pytest.approx((0.35, -0.10, 40.0), abs=1e-3)


def test_shims_lift_the_corners_as_the_tilt_asks(tilted: tuple[AsReceived, Placement]):
    """The part turned by t about +Y in the casting: its top sinks towards +X, so the work is lifted there by 66 sin t."""
    received, found = tilted
    (line,) = level_words(received, found, CORNER)
    lift = 66.0 * math.sin(math.radians(found.turn[1]))
    shim = next(w for w in line if isinstance(w, float))

    assert said(line).startswith(f"shim {round(lift / 0.05) * 0.05:.2f} under the right side")
    assert shim == pytest.approx(lift, abs=0.026)
    assert "level within 0.0" in said(line)
    assert said(line).endswith("over 66.00")


def test_level_work_needs_no_shims(block: Part):
    """A casting as drawn sits as it is, needs no turn, and is zeroed from its raw sides (by hand: 3 mm of stock)."""
    received, found = placed(block, Readings())
    what = instructions(received, found, CORNER)

    assert said(what.level[0]).startswith("no shims")
    assert said(what.turn[0]).endswith("no further turn")
    assert "set X 0 63.00 left of it" in said(what.zero[0]) or "set X 0 3.00 right of it" in said(what.zero[0])
    assert "set Y 0 43.00 in front of it" in said(what.zero[1]) or "set Y 0 3.00 behind it" in said(what.zero[1])


def test_turn_is_given_over_a_length_of_the_side(block: Part):
    """Hollows near opposite ends of front and back turn the part about Z; the work is turned on by as much."""
    spots = (
        LowSpot("front", (52.0, -3.0, 15.0), (4.0, 4.0), 2.0, 0.01, "spots.csv line 2"),
        LowSpot("back", (8.0, 43.0, 15.0), (4.0, 4.0), 2.0, 0.01, "spots.csv line 3"),
    )
    received, found = placed(block, Readings(low_spots=spots))
    (line,) = turn_words(received, found, CORNER)

    assert abs(found.turn[2]) > 1.5
    way = "clockwise" if found.turn[2] > 0 else "anticlockwise"
    assert f" {abs(found.turn[2]):.2f} degrees {way} seen from above: " in said(line)
    assert next(w for w in line if isinstance(w, float)) == pytest.approx(
        100.0 * math.tan(math.radians(abs(found.turn[2]))), rel=1e-6
    )


def test_verdict_in_words(block: Part):
    """Metal first, then the chance that it is missing, then what is required: sure, unsure and short castings in one sentence."""
    touched = Readings(thicknesses=tuple(_across(0.05)))
    sure = said(summary_words(placed(block, touched, amount=0.0)[1]))
    unsure = said(summary_words(placed(block, Readings(), amount=2.0)[1]))
    deep = Readings(low_spots=(LowSpot("top", (30.0, 20.0, 33.0), (20.0, 20.0), 9.0, 0.1, "spots.csv line 2"),))
    _, short = placed(block, deep)

    assert sure.startswith("cleans up: 3.00 of metal at the thinnest, on ")
    assert "metal is missing somewhere in 0 of 100 such castings; 3.00 over the stock required" in sure
    assert unsure.startswith("cleans up: 3.00 of metal at the thinnest, on ")
    assert unsure.endswith("; 1.00 over the stock required")
    assert " 0 of 100" not in unsure
    assert said(summary_words(short)).startswith("short: ")
    assert any("deeper than drawn" in said(w) for w in short.advice)
    assert any("weld" in said(w) for w in short.advice)


def _across(sigma: float) -> list[Thickness]:
    pairs = (
        ("left", "right", 66.0, (-3.0, 20.0, 15.0)),
        ("front", "back", 46.0, (30.0, -3.0, 15.0)),
        ("bottom", "top", 36.0, (8.0, 8.0, -3.0)),
    )
    return [Thickness((a, b), v, at, sigma, f"thicknesses.csv line {i + 2}") for i, (a, b, v, at) in enumerate(pairs)]


# --- what to measure next ---------------------------------------------------------


def test_asked_reading_narrows_the_answer_as_foretold(block: Part):
    """Taken with the value it was expected to have, the first reading asked for narrows the lean's spread as it said."""
    received, found = placed(block, Readings())
    asks = ask_for(received, found)
    first = asks[0]
    assert first.kind == "thickness"
    reading = Thickness((first.faces[0], first.faces[1]), first.expected, first.at, 0.1, "thicknesses.csv line 2")
    after = receive(block, Readings(thicknesses=(reading,)))
    lean = found.odds.lean[6:]
    width = 2 * 1.96 * math.sqrt(lean @ after.covariance @ lean)

    assert first.after < first.before
    assert width == pytest.approx(first.after, rel=0.02)
    assert all(a.after <= b.after for a, b in zip(asks[1:], asks, strict=False))


def test_places_asked_for_are_clean(block: Part):
    """Tips are sent away from edges and from the parting plane."""
    faces = ("top", "bottom", "left", "right", "front", "back")
    touches = [
        Touch(f, None, tuple((s.points[i] + s.normals[i]).tolist()), 1.0, 0.05, f"touches.csv line {i}")
        for f in faces
        for s in [face_skin(block, f)]
        for i in (0, len(s.points) - 1)
    ]
    received, found = placed(block, Readings(touches=tuple(touches)))
    asks = ask_for(received, found, parting=Parting(2, 15.0))

    assert asks
    for ask in asks:
        skin = face_skin(block, ask.faces[0])
        level = [i for i in range(3) if np.ptp(skin.points[:, i]) > 1e-6]
        for i in level:
            assert skin.points[:, i].min() + 2.9 <= ask.at[i] <= skin.points[:, i].max() - 2.9
        if ask.faces[0] not in ("top", "bottom"):
            assert abs(ask.at[2] - 15.0) > 4.0 - 1e-9


# --- several castings ---------------------------------------------------------------


def _all_round(part: Part) -> tuple[Touch, ...]:
    """Return four touches on each face of the block as drawn, near its corners."""
    found = []
    for face in ("top", "bottom", "left", "right", "front", "back"):
        skin = face_skin(part, face)
        level = [i for i in range(3) if np.ptp(skin.points[:, i]) > 1e-6]
        for a in (-1.0, 1.0):
            for b in (-1.0, 1.0):
                row = int(np.argmax(skin.points[:, level] @ (a, b)))
                tip = skin.points[row] + skin.normals[row]
                found.append(Touch(face, None, tuple(tip.tolist()), 1.0, 0.05, f"touches.csv line {len(found) + 2}"))
    return tuple(found)


def test_best_casting_comes_first(block: Part):
    """A sound casting before one with a hollow, that before one that falls short; each says why."""
    found = []
    for name, depth in (("c", 9.0), ("b", 1.0), ("a", 0.0)):
        spots = (LowSpot("top", (30.0, 20.0, 33.0), (10.0, 10.0), depth, 0.1, "spots.csv line 2"),) if depth else ()
        readings = Readings(name=name, touches=_all_round(block), low_spots=spots)
        found.append(placed(block, readings, PlacementSettings(hold=FREEDOMS), 0.5)[1])
    ranked = rank_castings(found)

    assert [r.placement.name for r in ranked] == ["a", "b", "c"]
    assert [r.rank for r in ranked] == [1, 2, 3]
    assert "less than the one before" in said(ranked[1].reason)
    assert said(ranked[2].reason).startswith("falls short on top")
    assert [r.placement.name for r in rank_castings(found[::-1])] == ["a", "b", "c"]


# --- what helps, and how closely it is said ------------------------------------------


def test_a_bore_that_is_short_is_bored_out_and_bushed(ring: Part):
    """A core of 26 for a bore of 24 lacks 1 all round: bore 2 over size (4 with 1 to cut) and bush it, weld nothing."""
    _, found = placed(ring, Readings())
    advice = [said(w) for w in found.advice]

    assert any("at least 2.00 over size (4.00 to cut the whole allowance too) and press in a bush" in line for line in advice)
    assert any("too large all round" in line for line in advice)
    assert not any("weld" in line for line in advice)


@pytest.fixture(scope="module")
def ring() -> Part:
    """A ring 40 high with a bore of 24, cast with a core of 26: 1 is missing all round (by hand)."""
    finished = cut(cylinder((0.0, 0.0, 0.0), UP, 30.0, 40.0), cylinder((0.0, 0.0, -1.0), UP, 12.0, 42.0))
    casting = cut(cylinder((0.0, 0.0, -3.0), UP, 30.0, 46.0), cylinder((0.0, 0.0, -4.0), UP, 13.0, 48.0))
    return recognise("ring", "grey iron", solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting"))


def test_what_no_report_shows_is_neither_over_nor_under(block: Part):
    """3 mm of stock and 2.991 asked for: 0.009 mm is 0.0004 in, which no sheet prints."""
    assert said(summary_words(placed(block, Readings(), amount=2.991)[1])).endswith("; just the stock required")


def test_a_face_is_called_thin_exactly_where_the_words_say_under(block: Part):
    """3 mm of stock; 3.009 by default is 0.009 under: thin in the table, under in the words. 3.0005 is within the 0.001 mm that the
    table leaves: just."""
    received = receive(block, Readings())
    for amount, state, words in (
        (3.009, "thin", "; less than 0.01 under the allowance the grade asks for on "),
        (3.0005, "cleans up", "; just the allowance the grade asks for"),
    ):
        asked = {face.name: Need(amount, 1.0, "default") for face in block.machined}
        found = place(block, received, asked, SHARE_FIRST)
        worst = min(found.faces, key=lambda face: face.margin)

        assert worst.state == state
        assert words in said(summary_words(found))


def test_rough_lengths_are_said_roughly():
    """A span of 180.56 mm is 181 mm or 7.1 in to anyone who shims; what he sets stays exact."""
    assert sentence(("level over ", About(180.56), " within ", 0.02), "mm") == "level over 181 mm within 0.02 mm"
    assert sentence(("level over ", About(180.56)), "inch") == "level over 7.1 in"
