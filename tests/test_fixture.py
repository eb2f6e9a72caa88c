"""Printed fixtures: what is cut from the block, what touches, what lifts out, what is refused."""

import math
from functools import cache

import igl
import numpy as np
import pytest
import trimesh

from geom.body import Body, block, body_of
from geom.errors import JobError
from geom.fixture.checks import faults, thinnest
from geom.fixture.fixture import Fixture, Refused
from geom.fixture.loaded import Loaded, loaded
from geom.fixture.making import Making
from geom.fixture.nest import nest
from geom.fixture.sweep import less, offset, swept_up
from geom.kernel.mesh import tessellate
from geom.recognise import recognise
from geom.rigid import from_turn
from geom.shop_file import default_shop
from tests.catalogue import drafted_block, drafted_casting
from tests.hand_plans import boss_part, hand_plan

DOWN = (0.0, 0.0, -1.0)
VISE = default_shop("mm").vise
USUAL = Making()


@cache
def drafted_part():
    return recognise("block", "grey iron", *drafted_block())


@cache
def drafted_work(pose=None) -> Loaded:
    """A block 66 by 46 at its wide end, 3 degrees of draft, wide end up: its walls open upwards, as a nest wants them."""
    setup = hand_plan(features=("bottom",), up=DOWN, zero=(30.0, 20.0, 33.0))
    return loaded(drafted_part(), setup, (), 0.05, None, pose)


@cache
def drafted_nest() -> Fixture:
    made = nest(drafted_work(), VISE, USUAL)
    assert isinstance(made, Fixture), made
    return made


def depths(body: Body, points):
    """Return the distance of points to a body by libigl, positive outside."""
    mesh = body.mesh()
    return igl.signed_distance(np.asarray(points), mesh.vertices, mesh.triangles)[0]


# --- sweeping ---------------------------------------------------------------


def test_a_drafted_block_offset_and_swept_has_the_volume_of_the_prismoid():
    """Closed form: the frustum grown by c has sides wider by 2 c / cos(draft) + 2 c tan(draft) at its foot's new height."""
    a, b, h, draft, c = 60.0, 40.0, 30.0, math.radians(3.0), 0.5
    mesh = tessellate(drafted_casting((a, b, h), 3.0), 0.05)
    grown = body_of(offset(mesh, c), "grown")
    wider = 2 * c / math.cos(draft) + 2 * c * math.tan(draft)
    lean = 2 * math.tan(draft)

    def area(z):
        return (a + wider - lean * z) * (b + wider - lean * z)

    high = h + 2 * c
    assert grown.volume == pytest.approx(high / 6 * (area(0) + 4 * area(high / 2) + area(high)), rel=1e-9)
    swept = swept_up(mesh, 50.0, "block")
    assert swept.volume == pytest.approx(a * b * (swept.box[1][2]), rel=1e-9)  # wide end down: the foot carried up


def test_a_sweep_contains_the_body_and_stands_over_nothing():
    """A bell-shaped body: the sweep holds all of it, and lifting the body leaves the sweep's walls untouched."""
    mesh = tessellate(boss_part().casting, 0.05)
    swept = swept_up(mesh, 43.0, "boss")
    bare = body_of(mesh, "boss")

    assert (bare - swept).volume == pytest.approx(0.0, abs=1e-6)
    for lift in (0.5, 5.0, 20.0):
        assert (bare.moved(np.eye(3), (0.0, 0.0, lift)) - swept).box[0][2] > 43.0 - 1e-6


def test_less_keeps_the_faces_of_what_is_left():
    """A 60 x 40 x 30 block loses its top 5: six faces, the cut one new, and the volume by hand."""
    mesh = tessellate(drafted_casting((60.0, 40.0, 30.0), 3.0), 0.05)
    cut = less(mesh, block((-5.0, -5.0, 25.0), (70.0, 50.0, 40.0)))
    lean = math.tan(math.radians(3.0))
    area = [(60 - 2 * z * lean) * (40 - 2 * z * lean) for z in (0.0, 12.5, 25.0)]

    assert len(set(cut.face.tolist())) == 6
    assert body_of(cut, "cut").volume == pytest.approx(25 / 6 * (area[0] + 4 * area[1] + area[2]), rel=1e-9)


# --- the nest ---------------------------------------------------------------


def test_nest_of_a_drafted_block_takes_out_the_frustum_and_no_more():
    """Closed form: block less the grown frustum below its top, and what the pads keep is no more than pad area times clearance."""
    made = drafted_nest()
    (x0, y0, z0), (x1, y1, z1) = made.body.box
    work, c, draft = drafted_work(), USUAL.clearance, math.radians(3.0)
    low = work.box[0][2]
    wide = [work.box[1][i] - work.box[0][i] - 2 * 36 * math.tan(draft) for i in (0, 1)]
    grown = 2 * c / math.cos(draft) - 2 * c * math.tan(draft)

    def area(z):
        return (wide[0] + grown + 2 * z * math.tan(draft)) * (wide[1] + grown + 2 * z * math.tan(draft))

    high = z1 - (low - c)
    cavity = high / 6 * (area(0) + 4 * area(high / 2) + area(high))
    kept = (x1 - x0) * (y1 - y0) * (z1 - z0) - made.body.volume
    pads = 3 * math.pi * USUAL.pad**2 * c + 3 * 2 * USUAL.pad * 6.0 * c
    screw = math.pi * 2.5**2 * 12.0
    assert cavity - pads * 1.2 < kept < cavity + screw


def test_nest_stands_clear_by_the_stated_clearance_and_touches_on_its_pads_only():
    """By libigl: every point of the cavity is 0.4 from the casting (more in corners), but for the pads, which are 0."""
    made = drafted_nest()
    mesh = trimesh.Trimesh(*(lambda m: (m.vertices, m.triangles))(made.body.mesh()), process=False)
    points, _ = trimesh.sample.sample_surface(mesh, 6000, seed=4)
    away = depths(made.work, points)
    pads = np.array([one.point for one in made.layout.locators])
    at_pads = np.linalg.norm(points[:, None] - pads, axis=2).min(axis=1)

    assert away.min() > -0.02
    assert away[at_pads > 9.0].min() == pytest.approx(USUAL.clearance, abs=0.02)
    assert np.abs(depths(made.body, pads)).max() < 0.02
    assert (away < 0.05).any()


def test_nest_lets_the_casting_lift_straight_out():
    """Swept up in steps the casting never meets the nest; pushed sideways or down it does."""
    made = drafted_nest()
    for lift in (0.0, 0.1, 0.5, 2.0, 8.0, 25.0):
        assert (made.work.moved(np.eye(3), (0.0, 0.0, lift)) & made.body).volume == pytest.approx(0.0, abs=1e-6)
    assert (made.work.moved(np.eye(3), (0.0, 0.0, -0.2)) & made.body).volume > 5.0
    side = np.array(made.layout.locators[3].into) * -0.2
    assert (made.work.moved(np.eye(3), (side[0], side[1], 0.0)) & made.body).volume > 1.0


def test_nest_has_flat_parallel_jaw_faces_as_large_as_its_sides():
    """Two faces square to Y, each a whole side of the block but for a screw hole, the distance a round figure."""
    mesh = drafted_nest().body.mesh()
    corners = mesh.vertices[mesh.triangles]
    across = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    (x0, y0, z0), (x1, y1, z1) = drafted_nest().body.box
    for y, way in ((y0, -1.0), (y1, 1.0)):
        on = np.abs(corners[:, :, 1] - y).max(axis=1) < 1e-9
        assert way * across[on, 1].sum() > 0.95 * (x1 - x0) * (z1 - z0)
    assert (y1 - y0) * 2 == pytest.approx(round((y1 - y0) * 2))
    assert y1 - y0 <= VISE.opening


def test_nest_of_a_moved_casting_is_the_moved_nest():
    """The part moved 3.2 and 1.7 in its casting moves the nest against the set-up's zero by as much, shape unchanged."""
    pose = from_turn((0.0, 0.0, 0.0), (3.0, 2.0, 0.0))
    other = nest(drafted_work(pose), VISE, USUAL)

    assert isinstance(other, Fixture)
    (a, _), (b, _) = drafted_nest().body.box, other.body.box
    assert other.body.volume == pytest.approx(drafted_nest().body.volume, rel=1e-6)
    shift = [abs(q - p) for p, q in zip(a, b, strict=True)]
    assert sorted(shift) == pytest.approx([0.0, 2.0, 3.0], abs=1e-6)


def test_nest_locates_all_six_moves_of_a_block_and_seats_every_pad():
    found = drafted_nest().layout

    assert len(found.locators) == 6
    assert found.quality.rank == 6
    assert found.quality.triangle_margin > 3.0
    assert found.seats.least > 0
    assert found.closure > 0


def test_a_round_boss_is_held_on_two_sides_and_free_to_turn():
    """Upside down the boss opens upwards; nothing made about its axis minds the turn."""
    made = nest(loaded(boss_part(), hand_plan(features=(), up=DOWN, zero=(0.0, 0.0, 43.0)), (), 0.05, None), VISE, USUAL)

    assert isinstance(made, Fixture)
    assert made.layout.quality.rank == 5
    assert made.layout.quality.free == ("about Z",)


# --- refusals ---------------------------------------------------------------


def refused(setup, making=USUAL, part=None):
    answer = nest(loaded(part or drafted_part(), setup, (), 0.05, None), VISE, making)
    assert isinstance(answer, Refused)
    return " ".join(str(word) for why in answer.why for word in why)


def test_walls_that_lean_over_the_way_in_are_named():
    """The same block wide end down: its four walls lean in upwards, so no side pad lets it down."""
    said = refused(hand_plan(features=("top",), up=(0.0, 0.0, 1.0)))

    assert "trapped" in said
    assert "lean over" in said


def test_a_casting_larger_than_the_bed_is_refused_with_the_size():
    said = refused(hand_plan(features=("bottom",), up=DOWN), Making(bed=(30.0, 30.0, 100.0)))

    assert "bed" in said
    assert "30.0" in said


@pytest.mark.parametrize(
    ("given", "says"), [({"clearance": 2.5, "wall": 2.0}, "wall"), ({"clearance": 9.0}, "0.05 to 3"), ({"wall": 1.0}, "nozzle")]
)
def test_a_clearance_larger_than_the_wall_is_refused(given, says):
    with pytest.raises(JobError, match=says):
        Making(**given)


# --- the printer's checks ---------------------------------------------------


def test_thinnest_wall_of_a_box_is_found():
    """A tray of 30 x 30 with walls of 2 and a floor of 1.2."""
    tray = block((0.0, 0.0, 0.0), (30.0, 30.0, 20.0)) - block((2.0, 2.0, 1.2), (28.0, 28.0, 21.0))

    assert thinnest(tray).thickness == pytest.approx(1.2, abs=0.01)


def test_two_pieces_a_thin_wall_and_a_large_print_are_objected_to():
    two = block((0.0, 0.0, 0.0), (10.0, 10.0, 0.3)) + block((20.0, 0.0, 0.0), (300.0, 10.0, 5.0))
    said = " ".join(str(word) for why in faults(two, (0.0, 0.0, 1.0), 0.4, (220.0, 220.0, 250.0), thinnest(two)) for word in why)

    assert "2 pieces" in said
    assert "thinner than the nozzle" in said
    assert "300" in said
