"""Printed fixtures: what is cut from the block, what touches, what lifts out, what is refused."""

import json
import math
from dataclasses import replace
from functools import cache

import igl
import numpy as np
import pypdf
import pytest
import trimesh

from export.cli import main
from export.prints.fixture import laid_at, locating, print_of
from geom.datum.zero import resolve_zero
from geom.errors import JobError
from geom.fixture.as_scanned import as_scanned
from geom.fixture.checks import faults, thinnest
from geom.fixture.fixture import Fixture, Refused
from geom.fixture.jaws import soft_jaws
from geom.fixture.loaded import Loaded, loaded
from geom.fixture.making import Making
from geom.fixture.nest import nest
from geom.fixture.plates import check_plate, chosen, drill_plate, guide_of, patterns
from geom.fixture.side import side_up
from geom.fixture.sweep import cut_fine, less, offset, swept_up
from geom.kernel.cut import box, cylinder, fuse
from geom.kernel.cut import cut as kernel_cut
from geom.kernel.mesh import Mesh, tessellate
from geom.kernel.shape import solid_from_shape
from geom.rays.body import Body, block, body_of
from geom.rays.rays import Skin
from geom.recognise.part import recognise
from geom.rigid import from_turn
from geom.settings.parting import Parting
from geom.settings.records import DatumSettings, Feeder
from geom.shop.file import default_shop
from geom.standards.bush import bush_for
from tests.catalogue import drafted_block, drafted_casting, drilled_plate
from tests.hand_parts import hand_settings
from tests.hand_plans import boss_part, hand_plan
from tests.job_folders import write_job

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


def test_walls_upright_to_a_millionth_leave_no_film():
    """A box of many facets, each a few millionths off upright: swept out of a block, its pocket's walls are the block's 8 thick."""
    mesh = cut_fine(tessellate(solid_from_shape(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), "box"), 0.05), 9.0)
    off = np.random.default_rng(3).uniform(-3e-6, 3e-6, mesh.vertices.shape)
    swept = swept_up(Mesh(mesh.vertices + off, mesh.triangles, mesh.face), 30.0, "box")
    pocketed = block((-8.0, -8.0, -8.0), (68.0, 48.0, 25.0)) - swept

    assert thinnest(pocketed).thickness == pytest.approx(8.0, abs=1e-3)


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


def test_pads_keep_off_a_feeder_stub_and_the_parting_line():
    """A stub of 16 where a floor pad would stand, and a parting plane across the walls: no pad within their reach."""
    stub = Feeder("top", (10.0, 8.0, 33.0), 16.0)
    setup = hand_plan(features=("bottom",), up=DOWN, zero=(30.0, 20.0, 33.0))
    made = nest(loaded(drafted_part(), setup, (), 0.05, Parting(2, 24.0), None, None, (stub,)), VISE, USUAL)

    assert isinstance(made, Fixture)
    in_part = [setup.frame.part(one.point) for one in made.layout.locators]
    assert all(math.dist(at, stub.at) >= 8.0 + USUAL.pad for at in in_part)
    assert all(abs(at[2] - 24.0) > 3.0 for at in in_part[3:])


def plate_with_an_eye():
    """A plate 100 by 70 by 15, 3 mm to come off its base at Z 0, with an eye of 30 lying across it, 70 high."""
    stem = fuse(box((-15.0, -20.0, 12.0), (15.0, 20.0, 55.0)), cylinder((0.0, -20.0, 55.0), (0.0, 1.0, 0.0), 15.0, 40.0))
    finished = fuse(box((-50.0, -35.0, 0.0), (50.0, 35.0, 12.0)), stem)
    casting = fuse(box((-50.0, -35.0, -3.0), (50.0, 35.0, 12.0)), stem)
    return recognise("eye plate", "grey iron", solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting"))


def test_a_side_faces_up_without_a_plan_and_the_nest_goes_as_deep_as_the_work_rests():
    """Base up, the eye hangs 70 below the plate, which alone is level: the nest reaches past it and carries the plate."""
    part = plate_with_an_eye()
    side = side_up(part, resolve_zero(part, DatumSettings()), hand_settings("mm"), "bottom")
    made = nest(loaded(part, side, (), 0.05, None), VISE, USUAL)

    assert side.features == ("bottom",)
    assert isinstance(made, Fixture)
    assert made.title == "Nest for bottom up"
    assert [side.frame.part(pad.point)[2] for pad in made.layout.locators[:3]] == pytest.approx([12.0] * 3, abs=1e-6)
    assert made.layout.quality.rank == 6


@pytest.mark.parametrize(("name", "says"), [("botom", "bottom"), ("+x", "nothing of the part is machined"), ("round 1", "way up")])
def test_a_side_that_cannot_face_up_is_refused(name, says):
    """A wrong name gets the nearest; a side with nothing to machine, and a round one, say so."""
    part = plate_with_an_eye()
    with pytest.raises(JobError, match=says):
        side_up(part, resolve_zero(part, DatumSettings()), hand_settings("mm"), name)


def test_a_nest_is_open_under_the_holes_drilled_in_it_and_says_how_true_they_come():
    """Through holes of 9, 6.6 and 12 mm: 2 mm more on the radius are open right down, by trimesh's rays; beyond is print."""
    part = recognise("plate", "grey iron", *drilled_plate())
    setup = hand_plan(features=tuple(hole.name for hole in part.holes), zero=(0.0, 0.0, 20.0))
    made = nest(loaded(part, setup, (), 0.05, None), VISE, USUAL)
    assert isinstance(made, Fixture)
    mesh = made.body.mesh()
    bottom = mesh.vertices[:, 2].min() - 1.0
    solid = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    through = [(made.frame.local(h.centre)[:2], h.diameter / 2) for h in part.holes if h.through]
    said = [words for _, words in locating(made.layout, "mm")]

    assert len(through) >= 3
    for (x, y), radius in through:
        inside, beyond = (
            [(x + r * math.cos(t), y + r * math.sin(t), bottom) for t in np.linspace(0.0, 5.5, 8)]
            for r in (radius + 1.8, radius + 3.0)
        )
        assert not solid.ray.intersects_any(inside, [(0.0, 0.0, 1.0)] * 8).any()
        assert solid.ray.intersects_any(beyond, [(0.0, 0.0, 1.0)] * 8).any()
    worst = max(made.layout.quality.movements, key=lambda one: one.worst)
    assert f"{worst.name} moves by up to {worst.worst:.3g} mm when every pad is off by 0.1 mm" in said


def test_a_round_casting_with_a_hole_off_its_axis_is_refused_a_nest():
    """A disc against two pads can turn; a hole 20 mm off its middle, made in this set-up, would go with it."""
    skin = cylinder((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 40.0, 30.0)
    part = recognise(
        "disc", "grey iron",
        solid_from_shape(kernel_cut(skin, cylinder((20.0, 0.0, -1.0), (0.0, 0.0, 1.0), 5.0, 32.0)), "finished"),
        solid_from_shape(skin, "casting"),
    )  # fmt: skip
    said = refused(hand_plan(features=("hole 1",), zero=(0.0, 0.0, 30.0)), Making(depth=14.0), part)

    assert "nothing holds the casting about Z , and that moves hole 1" in " ".join(said.split())


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


@pytest.mark.parametrize("floor", [0.3, 1.5e-3, 0.9e-3, 1e-5, 1e-7, 0.0])
def test_a_wall_is_found_however_thin_down_to_nothing(floor):
    """A tray whose floor is a layer, a micrometre, or two skins on each other; trimesh's rays see both skins alike."""
    tray = (block((0.0, 0.0, 0.0), (30.0, 30.0, 20.0)) - block((2.0, 2.0, 1.0), (28.0, 28.0, 21.0))).mesh()
    tray.vertices[tray.vertices[:, 2] == 1.0, 2] = floor
    found = thinnest(body_of(tray, "tray"))
    rays = [[11.0, 9.0, -5.0]], [[0.0, 0.0, 1.0]]
    _, _, hits = trimesh.ray.ray_triangle.ray_triangle_id(tray.vertices[tray.triangles], *rays, multiple_hits=True)

    assert len(hits) == 2
    assert np.ptp(hits[:, 2]) == pytest.approx(floor, abs=1e-12)
    assert found.thickness == pytest.approx(floor, abs=1e-9)
    assert all(2.0 < at < 28.0 for at in found.at[:2])


def test_two_pieces_a_thin_wall_and_a_large_print_are_objected_to():
    two = block((0.0, 0.0, 0.0), (10.0, 10.0, 0.3)) + block((20.0, 0.0, 0.0), (300.0, 10.0, 5.0))
    said = " ".join(str(word) for why in faults(two, (0.0, 0.0, 1.0), 0.4, (220.0, 220.0, 250.0), thinnest(two)) for word in why)

    assert "2 pieces" in said
    assert "thinner than the nozzle" in said
    assert "300" in said


# --- soft jaws --------------------------------------------------------------


@cache
def jaw_pair():
    made = soft_jaws(drafted_work(), VISE, USUAL)
    assert [one.name for one in made] == ["fixed_jaw", "movable_jaw"], made
    return made


def test_soft_jaws_open_and_close_straight_along_the_vise_and_touch_on_their_pads():
    """Moved back from the casting in steps neither jaw meets it; a hair closer than closed, both do. Pads by libigl: 0."""
    fixed, movable = jaw_pair()
    for jaw, way in ((fixed, 1.0), (movable, -1.0)):
        for back in (0.0, 0.2, 1.0, 10.0):
            assert (jaw.body.moved(np.eye(3), (0.0, way * back, 0.0)) & jaw.work).volume == pytest.approx(0.0, abs=1e-6)
        assert (jaw.body.moved(np.eye(3), (0.0, -0.1 * way, 0.0)) & jaw.work).volume > 0.5
    pads = [one.point for one in fixed.layout.locators if one.point[1] > 0 and one.name.startswith("side")]
    assert len(pads) >= 2
    assert np.abs(depths(fixed.body, pads)).max() < 0.02


def test_a_stop_in_the_pocket_holds_the_casting_along_the_jaws():
    """One pad faces along X: a hair towards it meets print, as far the other way is air up to the clearance of 0.4."""
    fixed, movable = jaw_pair()
    (stop,) = [one for one in fixed.layout.locators if abs(one.into[0]) > 0.7]
    towards = -math.copysign(1.0, stop.into[0])
    both = fixed.body + movable.body

    def shared(along):
        return (both & fixed.work.moved(np.eye(3), (towards * along, 0.0, 0.0))).volume

    assert shared(0.0) == pytest.approx(0.0, abs=1e-6)
    assert shared(0.1) > 0.1
    assert shared(-0.35) < 0.02 * shared(0.35)


def test_soft_jaws_have_the_screws_of_the_vise():
    """78 apart and 21 over the foot (assumed: six tenths of 130, half of 42): 9 mm holes right through, heads on 8 mm of web."""
    fixed, _ = jaw_pair()
    (x0, y0, z0), (x1, y1, _) = fixed.body.box
    middle = 0.5 * (x0 + x1)
    for x in (middle - 39.0, middle + 39.0):
        on_axis = depths(fixed.body, [(x, y, z0 + 21.0) for y in (y0 + 1.0, y1 - 1.0)])
        assert on_axis[1] == pytest.approx(4.5, abs=0.06)
        assert on_axis[0] == pytest.approx(7.5, abs=0.06)
    assert depths(fixed.body, [(middle + 39.0 + 6.0, y1 - 4.0, z0 + 21.0)])[0] < 0


def test_a_casting_wider_than_the_vise_gets_no_jaws_but_the_numbers():
    answer = soft_jaws(drafted_work(), replace(VISE, opening=50.0), USUAL)

    assert isinstance(answer[0], Refused)
    assert 50.0 in answer[0].why[0]


# --- plates -----------------------------------------------------------------


@cache
def holed():
    """The catalogue's drilled plate, and the one set-up that drills it."""
    part = recognise("plate", "grey iron", *drilled_plate())
    setup = hand_plan(features=tuple(hole.name for hole in part.holes), zero=(0.0, 0.0, 20.0))
    return part, patterns(part, (setup,))[0]


def circle_at(body: Body, height: float, x: float, y: float) -> float:
    """Return the mean radius of the outline of a body, at a Z, that goes round a place."""
    rings = [np.hypot(o[:, 0] - x, o[:, 1] - y) for o in body.outlines_at(height)]
    return float(next(r.mean() for r in rings if r.std() < 0.05))


@pytest.mark.parametrize(
    ("seen", "measured", "says"),
    [
        (None, False, "as drawn: yours differs"),
        (None, True, "drawn shape, laid where the readings put it"),
        (0.96, True, "as scanned; 96 % of its skin was seen"),
        (1.0, True, "as scanned; all of its skin was seen"),
    ],
)
def test_a_nests_page_says_whose_shape_it_has(seen, measured, says):
    """Drawn, drawn but laid where touches put it, or scanned."""
    found = nest(replace(drafted_work(), seen=seen, measured=measured), VISE, USUAL)

    assert isinstance(found, Fixture)
    assert any(says in word for words in found.why for word in words if isinstance(word, str))


def test_drill_plate_guides_stand_where_the_holes_are():
    """The catalogue states centres and drills; a guide is 0.2 wider, one over 13 mm is for a 6 mm drill."""
    part, pattern = holed()
    made = drill_plate(part, pattern, USUAL)

    assert isinstance(made, Fixture)
    for x, y, drill in ((15, 15, 9.0), (50, 15, 6.8), (85, 15, 11.0), (15, 45, 6.6), (50, 45, 10.0), (85, 45, 12.0)):
        assert 2 * circle_at(made.body, 4.0, x, y) == pytest.approx(drill + 0.2, abs=0.06)
    assert made.layout.quality.rank == 6
    for lift in (0.0, 0.3, 5.0):
        assert (made.body.moved(np.eye(3), (0.0, 0.0, lift)) & made.work).volume == pytest.approx(0.0, abs=1e-6)


def test_guides_take_the_bushes_of_the_table():
    """DIN 179 / ISO 4247, from memory: a 6.8 drill goes in a bush of 12, an 11 in 18, 2.6 in 5."""
    assert [bush_for(d).outside for d in (1.0, 2.6, 4.2, 6.8, 8.0, 9.0, 11.0, 12.5)] == [3, 5, 8, 12, 12, 15, 18, 22]
    assert bush_for(40.0) is None
    hole = next(h for h in holed()[0].holes if h.diameter == pytest.approx(6.8))
    assert guide_of(hole, Making(bushes=True)) == 12.0


def test_check_plate_enters_the_finished_holes_and_no_others():
    """Pins are 0.2 thinner: the plate lies on the finished part without meeting it, and shifted by 0.3 it does not go in."""
    part, pattern = holed()
    made = check_plate(part, pattern, USUAL)

    assert isinstance(made, Fixture)
    assert (made.body & made.work).volume == pytest.approx(0.0, abs=1e-3)
    assert (made.body.moved(np.eye(3), (0.3, 0.0, 0.0)) & made.work).volume > 1.0
    below = made.body.split((0.0, 0.0, -1.0), 3.0)[0]
    assert len(below.pieces()) == 6
    assert 2 * circle_at(made.body, -3.0, 50, 15) == pytest.approx(6.6, abs=0.06)


def test_holes_are_grouped_by_plane_and_found_by_name():
    part, pattern = holed()

    assert len(pattern.holes) == 6
    assert pattern.height == pytest.approx(0.0)
    assert chosen((pattern,), part, pattern.holes[0].name) is pattern
    assert chosen((pattern,), part, "top") is pattern
    assert chosen((pattern,), part, "left") is None


# --- as scanned -------------------------------------------------------------


def test_a_casting_brought_to_its_scan_is_the_scan_closed():
    """A scan 0.6 proud on every wall with its foot missing: the drawn block grows by 0.6 where it was seen, and stays closed."""
    drawn = tessellate(drafted_casting((60.0, 40.0, 30.0), 3.0), 0.05)
    proud = offset(drawn, 0.6)
    foot = int(drawn.face[np.argmin(drawn.vertices[drawn.triangles][:, :, 2].max(axis=1))])
    scan = Skin(Mesh(proud.vertices, proud.triangles[proud.face != foot], proud.face[proud.face != foot]))

    found, seen = as_scanned(drawn, scan)

    assert 0.4 < seen < 1.0
    grown, bare = body_of(found, "scanned"), body_of(drawn, "drawn")
    assert grown.box[1][2] - bare.box[1][2] == pytest.approx(0.6, abs=0.08)
    side = depths(bare, found.vertices[np.abs(found.vertices[:, 2] - 15.0) < 6.0])
    assert np.median(side) == pytest.approx(0.6, abs=0.05)


# --- files ------------------------------------------------------------------


def test_a_print_lies_flat_side_down_in_the_middle_of_the_bed():
    """What is written closes in 32 bits, stands on Z 0 about X 0, Y 0, and a plate lies rim up."""
    made = drill_plate(*holed(), USUAL)
    mesh = print_of(made)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)

    assert low[2] == 0.0
    assert low[:2] == pytest.approx(-high[:2], abs=1e-4)
    assert trimesh.Trimesh(mesh.vertices, mesh.triangles, process=True).is_watertight
    assert trimesh.Trimesh(mesh.vertices, mesh.triangles).volume == pytest.approx(made.body.volume, rel=1e-4)
    pads = [laid_at(made, one.point) for one in made.layout.locators[:3]]
    assert all(z == pytest.approx(8.0, abs=0.05) for _, _, z in pads)


def test_fixtures_from_the_command_line(tmp_path, capsys):
    """Every file of every fixture, named in the manifest; JSON in mm; STL and 3MF read back by trimesh with the stated size."""
    job = write_job(tmp_path / "plate", drilled_plate())
    out = tmp_path / "out"
    code = main(["fixture", str(job), "--out", str(out), "--json", "-q", "--only", "check-plate", "--clearance", "0.5"])
    document = json.loads(capsys.readouterr().out)

    assert code == 0
    assert document["clearance"] == 0.5
    assert {p.name for p in out.iterdir()} == {
        *(f"check_plate.{kind}" for kind in ("stl", "3mf", "pdf")), "fixture.json", "fixture.txt", "manifest.json",
    }  # fmt: skip
    (one,) = document["fixtures"]
    low, high = one["box"]
    for kind in ("stl", "3mf"):
        read = trimesh.load(out / f"{one['name']}.{kind}", force="mesh")
        assert read.is_watertight
        assert sorted(read.extents) == pytest.approx(sorted(b - a for a, b in zip(low, high, strict=True)), abs=0.01)
        assert read.volume == pytest.approx(one["volume"], rel=1e-4)
    assert one["mass"] == pytest.approx(one["volume"] * 1.24e-6, rel=1e-5), "kg, at 1.24 g/cm3"
    page = pypdf.PdfReader(out / "check_plate.pdf")
    assert len(page.pages) == 1
    assert "no clamping rating" in " ".join(page.pages[0].extract_text().split())


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--setup", "9"], "set-ups; give 1 to"),
        (["--clearance", "8"], "clearance of 8 mm"),
        (["--over", "hole 77"], "no set-up makes"),
    ],
)
def test_wrong_questions_are_answered_in_a_sentence(tmp_path, capsys, more, says):
    job = write_job(tmp_path / "plate", drilled_plate())

    assert main(["fixture", str(job), "--out", str(tmp_path / "out"), "-q", *more]) == 2
    assert says in capsys.readouterr().err
