"""Readings on the parting line are named and trusted less; no reading is asked for there."""

import numpy as np
import pytest

from export.number import sentence
from geom.kernel.body import turned_about
from geom.kernel.shape import solid_from_shape
from geom.model.part import Part
from geom.readings.records import Height, Readings, Thickness, Touch
from geom.received.casting import AsReceived, receive
from geom.received.faces import face_skin, walls_of
from geom.received.parting import BAND, FLASH, doubt, near_line
from geom.received.priors import mismatch_sigma
from geom.recognise.part import recognise
from geom.settings.parting import Parting
from tests.catalogue import block_in_block, block_with_cored_bore

PARTING = 15.0
PLANE = Parting(2, PARTING)


@pytest.fixture(scope="module")
def block() -> Part:
    """A 60 x 40 x 30 block, 3 mm of stock all round; parted at half its height."""
    return recognise("block", "grey iron", *block_in_block())


def said(found: AsReceived, source: str) -> list[str]:
    return [sentence(note, "mm") for note in found.notes if sentence(note, "mm").startswith(f"{source}:")]


def on_right(z: float, y: float = 20.0, source: str = "touches.csv line 4") -> Touch:
    """A touch on the raw right side, x = 63, with a point."""
    return Touch("right", None, (63.0, y, z), 0.0, 0.05, source)


REST = (
    *(Touch("top", None, (x, y, 33.0), 0.0, 0.05, f"t {x} {y}") for x, y in ((5.0, 5.0), (55.0, 5.0), (30.0, 35.0))),
    *(Touch("front", None, (x, -3.0, 25.0), 0.0, 0.05, f"f {x}") for x in (5.0, 55.0)),
)


def test_the_parting_line_runs_round_the_outside_where_the_plane_cuts_it(block: Part):
    """On upright sides the distance from the line is the height over the plane (closed form); inside a face it is further off."""
    high = np.array([-6.0, -BAND - 0.2, -BAND + 0.2, 0.0, BAND - 0.2, BAND + 0.2, 10.0])
    side = np.array([(63.0, 20.0, PARTING + h) for h in high])

    assert near_line(block.casting, PLANE, side).tolist() == (np.abs(high) < BAND).tolist()
    assert not near_line(block.casting, None, side).any()


def test_a_mould_that_parts_square_to_another_axis_is_the_same_mould_turned(block: Part):
    """The block drawn along Y and parted at some y is the block turned so that Y points up, parted at that z: the same places near
    the line, and the same doubt about every wall where all lie in one half, which the mismatch shifts along X and Z."""
    turned = solid_from_shape(turned_about(block.casting, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 90.0), "turned")
    points = np.concatenate([face_skin(block, face.name).points for face in block.machined])
    up = points @ np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]).T
    near = near_line(block.casting, Parting(1, 12.0), points)
    moved, same, still = (
        np.sort(walls_of(solid, 11, plane).prior)
        for solid, plane in ((block.casting, Parting(1, -3.0)), (turned, Parting(2, -3.0)), (block.casting, None))
    )

    assert 0 < near.sum() < len(near)
    assert near.tolist() == near_line(turned, Parting(2, 12.0), up).tolist()
    assert moved == pytest.approx(same)
    assert moved != pytest.approx(still)


def test_a_face_in_the_parting_plane_has_the_line_along_its_edge(block: Part):
    """The raw bottom, z = -3, lies in the plane: near its rim is near the line, its middle is not."""
    points = np.array([(30.0, 20.0, -3.0), (61.0, 20.0, -3.0), (30.0, -1.0, -3.0), (63.0, 20.0, 0.5), (63.0, 20.0, 2.0)])

    assert near_line(block.casting, Parting(2, -3.0), points).tolist() == [False, True, True, True, False]


def test_a_cored_hole_has_no_parting_line():
    """A core is one piece: its wall at the height of the plane is clean."""
    part = recognise("cored", "grey iron", *block_with_cored_bore())
    bore = next(f for f in part.machined if f.kind == "cylinder" and f.hollow)
    points = face_skin(part, bore.name).points
    low, high = points[:, 2].min(), points[:, 2].max()

    assert not near_line(part.casting, Parting(2, float(low + high) / 2.0), points).any()


def test_a_touch_on_the_parting_line_is_named_and_trusted_less(block: Part):
    """0.05 mm becomes the root of 0.05^2 + 0.5^2 + mismatch^2; 6 mm further up it stays as it is."""
    near = receive(block, Readings(touches=(*REST, on_right(PARTING + 1.0))), parting=PLANE)
    away = receive(block, Readings(touches=(*REST, on_right(PARTING + 6.0))), parting=PLANE)
    (words,) = said(near, "touches.csv line 4")
    trust = {name: sure for name, _, sure in near.residuals}

    assert words.startswith("touches.csv line 4: lies within 4 mm of the parting line, where flash and mismatch stand: trusted ")
    assert trust["touches.csv line 4"] == pytest.approx(np.sqrt(0.05**2 + FLASH**2 + mismatch_sigma(near.grade) ** 2))
    assert said(away, "touches.csv line 4") == []
    assert {name: sure for name, _, sure in away.residuals}["touches.csv line 4"] == pytest.approx(0.05)


def test_without_a_parting_line_in_the_job_nothing_is_said_or_widened(block: Part):
    """Law: nothing is known of the line, so the touch counts as it stands."""
    found = receive(block, Readings(touches=(*REST, on_right(PARTING))))

    assert said(found, "touches.csv line 4") == []
    assert {name: sure for name, _, sure in found.residuals}["touches.csv line 4"] == pytest.approx(0.05)


def test_a_thickness_across_the_parting_line_is_named_and_trusted_less(block: Part):
    """Calipers left to right at the height of the line; the same 8 mm higher is clean."""
    near, away = (Thickness(("left", "right"), 66.0, (63.0, 20.0, z), 0.1, "thicknesses.csv line 3") for z in (16.0, 24.0))
    found = receive(block, Readings(thicknesses=(near,)), parting=PLANE)
    ((_, _, sure),) = found.residuals

    assert len(said(found, "thicknesses.csv line 3")) == 1
    assert sure == pytest.approx(np.hypot(0.1, doubt(found.grade)))
    assert said(receive(block, Readings(thicknesses=(away,)), parting=PLANE), "thicknesses.csv line 3") == []


def test_a_reading_that_does_not_say_where_is_taken_clear_of_the_line_and_says_so(block: Part):
    """Left to right without a place: assumed; a height of the top, which the line does not cross: nothing to assume."""
    readings = Readings(
        thicknesses=(Thickness(("left", "right"), 66.0, None, 0.1, "thicknesses.csv line 3"),),
        heights=(Height("top", (0.0, 0.0, 1.0), 36.0, None, 0.05, "heights.csv line 3", "bottom"),),
    )
    found = receive(block, readings, parting=PLANE)
    words = said(found, "thicknesses.csv line 3")

    assert len(words) == 2  # one for each side
    assert all("which the parting line crosses; taken to be at least 4 mm clear of it" in line for line in words)
    assert said(found, "heights.csv line 3") == []
    assert [sure for _, _, sure in found.residuals] == pytest.approx([0.05, 0.1])


def test_a_touch_whose_height_was_not_read_says_what_was_assumed(block: Part):
    """x read, z not: it may have been anywhere up the right side."""
    blind = Touch("right", None, (63.0, 20.0, 0.0), 0.0, 0.05, "touches.csv line 9", (True, True, False))
    found = receive(block, Readings(touches=(*REST, blind)), parting=PLANE)

    assert any("does not say where on right, which the parting line crosses" in line for line in said(found, "touches.csv line 9"))
