"""Touches and sizes against metal: planted errors in rows that find, look and measure, each found and its row named.

Rows are those of `tests.proof_job.looked`; what each ought to meet is worked
out there on paper.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from geom.proof.faces import spread
from geom.proof.measure import Sizes, measured
from geom.proof.metal import first_metal
from geom.proof.prove import Fault, prove
from geom.proof.sweep import Table, sweeps_of
from geom.proof.touch import Work, touches
from geom.rays.rays import skin_of
from geom.rows.records import CUTTING, Row, Setup
from geom.settings.records import FaceSettings
from tests.hand_parts import hand_settings
from tests.proof_job import FINDER, looked, numbered, part, printed, read_back

Plant = Callable[[Row], Row]


@cache
def good() -> tuple[Setup, ...]:
    return looked()


@cache
def samples() -> tuple[Any, Any]:
    """Points on the finished part, and which face each is on."""
    one = part()
    owner = np.full(len(one.finished.surfaces), -1)
    for i, face in enumerate(one.faces):
        owner[list(face.surfaces)] = i
    spots = spread(one.finished, ())
    return spots, owner[spots.surface]


def row_of(feature: str, setup: int, nth: int, action: str) -> Row:
    """Return the nth row on a feature that does this."""
    return [row for row in good()[setup - 1].rows if (row.feature, row.action) == (feature, action)][nth]


def tables(setup: int, number: int, plant: Plant) -> list[Table]:
    made = [replace(s, rows=numbered([plant(r) if (s.number, r.number) == (setup, number) else r for r in s.rows])) for s in good()]
    return read_back(printed(made))


def alone(made: Sequence[Table], setup: int, number: int) -> list[Table]:
    """Return the tables with their cuts, one other row, and the row before it: the other of a pair."""

    def stays(table: Table, row: Row) -> bool:
        return row.action in CUTTING or (table.number == setup and number - 1 <= row.number <= number)

    return [replace(table, rows=tuple(row for row in table.rows if stays(table, row))) for table in made]


def faults_of(made: Sequence[Table], **faces: FaceSettings) -> tuple[Fault, ...]:
    one = part()
    spots, owner = samples()
    missed = touches(made, Work(one, skin_of(one.casting), sweeps_of(made)))[1]
    return (*missed, *measured(Sizes(made, one, hand_settings(faces=faces), spots, owner))[1])


def put(**fields: Any) -> Plant:
    return lambda row: replace(row, **fields)


PICK, CHECK, MEASURE = "pick up", "check", "measure"

PLANTED: tuple[tuple[str, tuple[str, int, int, str], Plant], ...] = (
    # where a finder's axis stands
    ("the finder's radius is on the wrong side", ("left", 1, 0, CHECK), put(x=-15.0)),
    ("the finder's radius is left out", ("left", 1, 0, CHECK), put(x=-20.0)),
    ("the finder's diameter is added for its radius", ("front", 1, 0, CHECK), put(y=-40.0)),
    ("in a bore the radius is on the wrong side", ("bore", 1, 1, PICK), put(x=17.5)),
    ("in a bore the radius is left out", ("bore", 1, 3, PICK), put(y=12.5)),
    ("the sign of a touch is wrong", ("front", 1, 0, CHECK), put(y=35.0)),
    ("a touch is 0.1 mm off the skin", ("right", 1, 0, CHECK), put(x=68.1)),
    ("a touch is worked out for the finished face, which is skin still", ("right", 1, 0, CHECK), put(x=65.0)),
    ("a touch is worked out for the skin, which is cut", ("right", 2, 0, PICK), put(x=68.0)),
    ("a touch on a cut face is 0.02 mm off", ("right", 2, 0, PICK), put(x=65.02)),
    ("another finder than the one counted", ("left", 1, 0, CHECK), put(tool=replace(FINDER, label="6 mm", diameter=6.0))),
    ("a touch is in inches", ("left", 1, 0, CHECK), put(x=-25.0 / 25.4, y=10.0 / 25.4)),
    # at what height
    ("a height is 0.1 mm off the skin", ("top", 1, 0, PICK), put(z=3.1)),
    ("a height is that of the finished face", ("top", 1, 0, PICK), put(z=0.0)),
    ("a check is above the work", ("left", 1, 0, CHECK), put(z=5.0)),
    ("two opposite touches are at two heights", ("bore", 1, 1, PICK), put(z=-12.0)),
    ("the packing under the seat is not counted", ("top", 2, 0, PICK), put(z=0.0)),
    ("the bed is 0.1 mm lower", ("top", 2, 0, PICK), put(z=-16.1)),
    # on what
    ("a check is on another face", ("left", 1, 0, CHECK), put(feature="back")),
    ("a check is on a face that lies opposite", ("front", 1, 0, CHECK), put(feature="back")),
    ("a check is on a face that the part has not", ("left", 1, 0, CHECK), put(feature="left 9")),
    ("a gauge comes down into the bore", ("top", 1, 0, PICK), put(x=0.0)),
    ("a check is in the air beside the work", ("left", 1, 0, CHECK), put(y=45.0)),
    ("the finder comes the other way", ("left", 1, 0, CHECK), put(towards="-x")),
    ("the indicator runs round another axis", ("bore", 2, 0, PICK), put(x=0.03)),
    ("the indicator runs where no wall is", ("bore", 2, 0, PICK), put(z=45.0)),
    # what is in the way
    ("the finder stands in a jaw", ("front", 1, 0, CHECK), put(z=-25.0)),
    ("the finder's holder meets the work", ("left", 1, 0, CHECK), put(tool=replace(FINDER, reach=8.0))),
    # what is measured
    ("a height to measure is one readout step off", ("bottom", 2, 0, MEASURE), put(nominal=30.005)),
    ("a bore to measure is one readout step off", ("bore", 1, 0, MEASURE), put(nominal=30.005)),
    ("a distance from zero is one readout step off", ("right", 1, 0, MEASURE), put(nominal=60.005)),
    ("an axis' distance from zero is one readout step off", ("dowel", 1, 1, MEASURE), put(nominal=33.546)),
    ("a size is that of the skin", ("right", 1, 0, MEASURE), put(nominal=63.0)),
    ("a size is in inches", ("bottom", 2, 0, MEASURE), put(nominal=30.0 / 25.4)),
    ("the limits are another fit's", ("bore", 1, 0, MEASURE), put(limits=(30.0, 30.033))),
    ("the limits do not hold the size", ("dowel", 1, 0, MEASURE), put(limits=(10.005, 10.02))),
    ("the limits are not printed", ("bore", 1, 0, MEASURE), put(limits=None)),
    ("limits that nobody states", ("bottom", 2, 0, MEASURE), put(limits=(29.9, 30.1))),
    ("the gauge is of another thread", ("thread", 1, 0, MEASURE), lambda row: replace(row, tool=replace(row.tool, label="M10"))),
    ("a size of what the part has not", ("right", 1, 0, MEASURE), put(feature="right 9")),
)


def test_before_any_error_everything_is_met_and_the_job_is_proved():
    """Each touch meets its face to the readout's step, and the whole proof, cuts and all, says yes."""
    proof = prove(read_back(printed(good())), part(), hand_settings())

    assert proof.faults == ()
    assert len(proof.touches) == 11
    assert max(abs(t.off) for t in proof.touches if t.off is not None) < 0.005
    assert all(m.found == pytest.approx(m.nominal, abs=1e-4) for m in proof.measured)


@pytest.mark.parametrize(("says", "where", "plant"), PLANTED, ids=[says for says, *_ in PLANTED])
def test_a_planted_error_in_a_look_is_found_and_named(says, where, plant):
    """The verdict is no, and a reason names the row."""
    feature, setup, nth, action = where
    number = row_of(feature, setup, nth, action).number
    found = faults_of(alone(tables(setup, number, plant), setup, number))

    assert any((setup, number) in fault.rows for fault in found), (says, found)


def test_a_touch_that_fails_fails_the_whole_proof():
    """A wrong radius on one check is enough for NOT PROVED."""
    number = row_of("left", 1, 0, CHECK).number
    proof = prove(tables(1, number, put(x=-15.0)), part(), hand_settings())

    assert not proof.proved
    assert {rows for fault in proof.faults for rows in fault.rows} == {(1, number)}


def test_limits_that_the_job_states_have_to_be_printed():
    """A tolerance of 0.1 on the bottom: its height must carry 29.9 to 30.1."""
    number = row_of("bottom", 2, 0, MEASURE).number
    stated = {"bottom": FaceSettings(tolerance=0.1)}

    assert any((2, number) in fault.rows for fault in faults_of(tables(2, number, put()), **stated))
    assert not faults_of(tables(2, number, put(limits=(29.9, 30.1))), **stated)


def test_the_first_metal_along_a_line_is_what_rows_have_left():
    """Down on the middle of the top: 3 mm of skin before any row, the finished top after both lanes, the far side in the bore."""
    one = part()
    made = read_back(printed(good()))
    sweeps = sweeps_of(made)
    down = np.array([[0.0, 0.0, -1.0]])
    before = first_metal(np.array([[60.0, 30.0, 50.0]]), down, skin_of(one.casting), ())
    after = first_metal(np.array([[60.0, 30.0, 50.0]]), down, skin_of(one.casting), sweeps)
    bored = first_metal(np.array([[20.0, 30.0, 50.0]]), down, skin_of(one.casting), sweeps)
    within = first_metal(np.array([[60.0, 30.0, 10.0]]), down, skin_of(one.casting), ())

    assert before[0] == pytest.approx(17.0)
    assert after[0] == pytest.approx(20.0)
    assert np.isinf(bored[0])
    assert within[0] == 0.0
