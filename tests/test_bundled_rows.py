"""The rows of the bundled jobs, as planned: nothing of the finished part is cut, every planned feature is made or answered for."""

from dataclasses import replace
from itertools import pairwise

import pytest

from geom.cutters.cutting_data import spindle_at_most
from geom.proof.sweep import sweeps_of
from geom.proof.touch import Work, touches
from geom.rays.rays import skin_of
from geom.rows.records import CUTTING
from geom.setups.grip_check import grips_of
from tests.bundled import JOBS, recorded, worked
from tests.proof_job import numbered, printed, read_back
from tests.test_setup_rows import gouged


@pytest.mark.parametrize("name", JOBS)
def test_no_row_of_a_bundled_job_cuts_into_the_part(name: str) -> None:
    """By points 0.1 mm under the finished skin, against each cutter swept along its row."""
    job, _, setups = worked(name)

    assert [(setup.number, gouged(job.part, setup)) for setup in setups] == [(setup.number, []) for setup in setups]


@pytest.mark.parametrize("name", JOBS)
def test_every_planned_feature_is_cut_or_answered_for(name: str) -> None:
    """A feature of the plan has rows in its set-up, or is left out with the reason."""
    _, plan, setups = worked(name)
    for one, setup in zip(plan.setups, setups, strict=True):
        answered = {left.feature for left in setup.left_out}
        assert set(one.features) <= set(setup.features) | answered


@pytest.mark.parametrize("name", JOBS)
def test_every_cut_has_a_cutter_on_hand_and_a_speed_of_the_spindle(name: str) -> None:
    """Grey iron, ductile iron and aluminium have published speeds, so no cutting row is without; boring heads go by their range."""
    job, _, setups = worked(name)
    shop = job.settings.tooling
    for setup in setups:
        for row in (row for row in setup.rows if row.action in CUTTING):
            owned = [c for c in shop.cutters if c.kind == row.tool.kind and (c.kind == "boring head" or c.label == row.tool.label)]
            assert owned or row.tool.kind == "flat drill", row
            assert row.rpm is not None, row
            assert spindle_at_most(shop.mill, row.rpm) == row.rpm


@pytest.mark.parametrize("name", JOBS)
def test_rows_are_looked_over_in_the_trades_order(name: str) -> None:
    """Find zero, look, cut, measure; faces before holes; a measurement amid the cuts stands before the bore it sets the head for;
    the last row of the job breaks the edges."""
    _, _, setups = worked(name)
    for setup in setups:
        amid = [r for r, after in pairwise(setup.rows) if r.action == "measure" and after.action in CUTTING]
        rows = [r for r in setup.rows if r not in amid]
        kinds = [0 if r.action == "pick up" else 1 if r.action == "check" else 2 if r.action in CUTTING else 3 for r in rows]
        assert [r.feature for r in amid] == [r.feature for r in setup.rows if r.action == "bore" and r.limits]
        cuts = [0 if r.action == "face" else 1 if r.action in ("edge", "slot") else 2 for r in setup.rows if r.action in CUTTING]
        assert kinds == sorted(kinds)
        assert cuts == sorted(cuts)
    assert [row.action for setup in setups for row in setup.rows].count("break edges") == 1
    assert setups[-1].rows[-1].action == "break edges"


def test_what_a_set_up_says_of_its_heaviest_cut_is_what_its_rows_do() -> None:
    """The footstep's base tips in the vise before it slips: the caution names the cutter of its rows and a share of the 2.5 mm
    that cutter bears, and no pass goes deeper than that."""
    job, plan, setups = worked("footstep")
    grip = grips_of(plan.setups[0], job.part, job.settings, recorded("footstep").stock)[0]
    rows = [row for row in setups[0].rows if row.feature == "base" and row.action == "face"]
    levels = sorted({row.z for row in rows if row.z is not None}, reverse=True)

    assert grip.enough is False
    assert {row.tool.label for row in rows} == {grip.cutter.removesuffix(" face mill")}
    assert grip.stated is not None
    assert max(a - b for a, b in pairwise((levels[-1] + 5.0, *levels))) <= 2.5 * grip.stated / grip.needed + 1e-6


@pytest.mark.parametrize("name", JOBS)
def test_a_plan_says_the_height_its_rows_touch_at(name: str) -> None:
    """The pump cover's core is touched where the finder gets to, not where one would like to: plan and rows say one height."""
    _, plan, setups = worked(name)
    said = 0
    for planned, setup in zip(plan.setups, setups, strict=True):
        for one in planned.pick_ups:
            rows = [r for r in setup.rows if r.action == "pick up" and r.feature in one.faces and r.towards != "-z"]
            if one.height is not None:
                said += 1
                assert {row.z for row in rows} == {one.height}
            else:
                assert one.axes == "z" or len({row.z for row in rows}) != 1

    assert said


@pytest.mark.parametrize("bored", [True, False])
def test_a_plug_in_a_bore_that_no_row_makes_is_told_as_such(bored: bool) -> None:
    """The housing's last zero is on a plug in the main bore; without the rows that bore it, 40 - 33 mm across are missing there."""
    job, _, setups = worked("footstep")
    left = [
        replace(s, rows=numbered([r for r in s.rows if bored or (r.feature, r.action) != ("main bore", "bore")])) for s in setups
    ]
    made = read_back(printed(left))
    faults = touches(made, Work(job.part, skin_of(job.part.casting), sweeps_of(made)))[1]
    plugs = ["".join(map(str, fault.words)) for fault in faults if fault.feature == "main bore" and fault.rows[0][0] == 3]

    assert [text for text in plugs if "as no row before it bores the hole: have it bored first" in text] == plugs
    assert bool(plugs) is not bored
