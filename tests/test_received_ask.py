"""What to measure next: places a tip can reach, and gains that come true."""

from dataclasses import replace

import numpy as np
import pytest

from geom.model.part import Part
from geom.place.ask import Ask, ask_for
from geom.place.solve import place
from geom.place.uncertainty import joint_covariance
from geom.readings.records import SIGMA, Height, Readings, Thickness, Touch
from geom.received.casting import AsReceived, receive
from geom.received.faces import face_skin, over_skin
from geom.recognise.part import recognise
from geom.rigid import STAY
from geom.settings.parting import Parting
from geom.settings.records import Feeder
from geom.stock.required import Need
from tests.catalogue import block_in_block, drafted_block
from tests.test_received import GRADE, RADIUS, SIX, touches

PARTING = Parting(2, 12.0)


@pytest.fixture(scope="module")
def block() -> Part:
    return recognise("block", "grey iron", *block_in_block())


@pytest.fixture(scope="module")
def drafted() -> Part:
    return recognise("drafted", "grey iron", *drafted_block())


def asked(part: Part, readings: Readings, parting: Parting | None = None, most: int = 4) -> tuple[AsReceived, tuple[Ask, ...]]:
    received = receive(part, readings, grade=GRADE)
    found = place(part, received, {f.name: Need(1.0, 1.0, "face") for f in part.machined})
    return received, ask_for(received, found, parting, most)


@pytest.mark.parametrize("touched", [False, True])
def test_a_reading_wins_what_was_promised(block: Part, touched: bool):
    """Taken at the value expected, the first reading asked for narrows the interval as said: 3.92 standard deviations."""
    laid = touches(block, STAY, each=3) if touched else ()
    before, asks = asked(block, Readings(touches=laid))
    ask = asks[0]
    if ask.kind == "touch":
        skin = face_skin(block, ask.faces[0])
        normal = skin.normals[skin.nearest(np.array(ask.at))]
        tip = tuple((np.array(ask.at) + (RADIUS + ask.expected) * normal).tolist())
        more = Readings(touches=(*laid, Touch(ask.faces[0], None, tip, RADIUS, SIGMA["touch"], "z")))
    elif ask.kind == "height":
        face, seat = ask.faces
        more = Readings(touches=laid, heights=(Height(face, _up(block, seat), ask.expected, ask.at, SIGMA["height"], "z", seat),))
    else:
        more = Readings(touches=laid, thicknesses=(Thickness(ask.faces, ask.expected, ask.at, SIGMA["thickness"], "z"),))
    after = receive(block, more, grade=GRADE)
    lean = place(block, before, {f.name: Need(1.0, 1.0, "face") for f in block.machined}).odds.lean
    widths = [2 * 1.96 * float(np.sqrt(lean @ joint_covariance(r) @ lean)) for r in (before, after)]

    assert ask.before == pytest.approx(widths[0], rel=1e-6)
    assert ask.after < ask.before
    if touched:
        assert ask.after == pytest.approx(widths[1], rel=1e-3)


def _up(part: Part, seat: str) -> tuple[float, float, float]:
    x, y, z = next(f.normal for f in part.faces if f.name == seat) or (0.0, 0.0, -1.0)
    return (-x, -y, -z)


def test_places_on_drafted_sides_have_a_height_and_keep_off_the_parting_line(drafted: Part):
    """On sides with draft every place lies on the skin and at least 4 mm from the parting plane, where flash stands."""
    laid = touches(drafted, STAY, SIX[:2], each=3)
    _, asks = asked(drafted, Readings(touches=(*laid, *touches(drafted, STAY, ("left", "front"), 2))), PARTING, most=8)
    sides = [a for a in asks if a.faces[0] in ("left", "right", "front", "back")]

    assert sides
    for ask in sides:
        skin = face_skin(drafted, ask.faces[0])
        high = over_skin(drafted.casting, skin.surface[:1], np.array([ask.at]))[0]
        assert abs(ask.at[2] - PARTING.at) > 4.0
        assert high[0] == pytest.approx(0.0, abs=1e-6)


def test_without_a_frame_heights_over_a_plate_and_calipers_are_asked_for(block: Part):
    """Calipers only so far: no touch is asked for, as there is nothing to relate it to; expected values are the drawing's."""
    _, asks = asked(block, Readings(), most=6)

    assert asks
    assert {a.kind for a in asks} <= {"height", "thickness"}
    assert all(round(a.expected, 6) in (36.0, 46.0, 66.0) for a in asks)


def test_each_further_reading_starts_where_the_one_before_ended(block: Part):
    """Widths run on from reading to reading, and the order of the touches changes none."""
    laid = touches(block, STAY, each=2)
    _, asks = asked(block, Readings(touches=laid))
    _, again = asked(block, Readings(touches=tuple(replace(t) for t in reversed(laid))))

    assert [a.before for a in asks[1:]] == pytest.approx([a.after for a in asks[:-1]])
    assert [(a.kind, a.faces, a.at) for a in asks] == [(a.kind, a.faces, a.at) for a in again]


def test_nothing_is_asked_for_on_the_stub_of_a_feeder(block: Part):
    """Put a stub of 20 where the first touch was asked for: on that face all lie 13 (10 and 3 clear) or more from it."""
    received = receive(block, Readings(touches=touches(block, STAY, each=3)), grade=GRADE)
    found = place(block, received, {f.name: Need(1.0, 1.0, "face") for f in block.machined})
    first = next(a for a in ask_for(received, found, most=12) if a.kind == "touch")
    asks = ask_for(received, found, most=12, feeders=(Feeder(first.faces[0], first.at, 20.0),))
    there = [np.linalg.norm(np.subtract(a.at, first.at)) for a in asks if a.faces[0] == first.faces[0]]

    assert asks
    assert min(there, default=13.0) >= 13.0
