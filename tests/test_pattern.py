"""Patterns: contraction, draft, cores, halves, the bed; against the textbook example, closed forms and public models."""

import math
import re
from dataclasses import replace
from pathlib import Path

import cadquery
import numpy as np
import pytest
import trimesh

from export.files.lettering import text_outlines
from export.prints import core_box_sheet
from export.prints.pattern import check_words, thin_words, walls_of
from geom.errors import GeometryError, JobError
from geom.job import Job
from geom.kernel.cut import box, cone, cut, cylinder, fuse, prism
from geom.kernel.mesh import tessellate
from geom.kernel.shape import Solid, solid_from_shape
from geom.kernel.step import read_step
from geom.model.part import Part
from geom.pattern.bed_split import split_for_bed
from geom.pattern.bores import Bore, sorted_bores
from geom.pattern.contraction import Stage, growth, stages
from geom.pattern.cores import core_body, core_box, core_of
from geom.pattern.draft import leans_of
from geom.pattern.halves import Piece
from geom.pattern.lettered import flat_places, raised
from geom.pattern.parting import Flat, Parting, parting_of
from geom.pattern.pattern import Pattern, make_pattern
from geom.rays.body import Body, block, body_of
from geom.settings.load import load_settings
from geom.settings.records import CastingSettings, PartSettings, Settings
from geom.toml.print_settings import PatternSettings, Printer, Step
from tests.catalogue import drafted_casting

UP = (0.0, 0.0, 1.0)
BASE = (90.0, 80.0, 40.0)
LEAN = 3.0


def job(alloy: str = "grey iron", parting: float | None = 0.0, **pattern: object) -> Settings:
    return Settings(
        folder=Path(),
        files=(),
        label="job.toml",
        job_name="block",
        variant=None,
        units="mm",
        part=PartSettings("block", "mm", alloy),
        casting=CastingSettings(parting=parting),
        pattern=PatternSettings(**pattern),  # type: ignore[arg-type]
    )


RUN = 12.0 * math.tan(math.radians(10.0))
STEP = Step((40.0 + RUN, -20.0, 120.0, 60.0), 12.0)


def stepped_part() -> Solid:
    """A plate bent like a Z, 10 mm thick: its underside lies at 0, climbs at 10 degrees, lies at 12; a boss of 8 mm below that."""
    lean = math.tan(math.radians(LEAN))
    side = [(0.0, 0.0), (40.0, 0.0), (40.0 + RUN, 12.0), (90.0, 12.0), (90.0 - 10 * lean, 22.0)]
    side += [(30.0 + RUN, 22.0), (30.0, 10.0), (10 * lean, 10.0)]
    body: object = prism([(x, 0.0, z) for x, z in side], (0.0, 40.0, 0.0))
    for near, inward in ((0.0, 1.0), (40.0, -1.0)):
        wedge = [(-5.0, near - inward, -1.0), (-5.0, near - inward * lean, -1.0), (-5.0, near + 30.0 * inward * lean, 30.0)]
        body = cut(body, prism([*wedge, (-5.0, near - inward, 30.0)], (110.0, 0.0, 0.0)))
    return solid_from_shape(fuse(body, cone((66.0, 20.0, 12.5), (0.0, 0.0, -1.0), 12.0, 11.0, 8.5)), "two heights")


def part_of(casting: Solid) -> Part:
    return Part("block", "grey iron", casting, casting, (), ())


@pytest.fixture(scope="module")
def drafted() -> Solid:
    return drafted_casting(BASE, LEAN)


@pytest.fixture(scope="module")
def bored(drafted: Solid) -> Solid:
    return solid_from_shape(cut(drafted.shape, cylinder((45.0, 40.0, -1.0), (0.0, 0.0, 1.0), 17.0, 42.0)), "bored")


@pytest.fixture(scope="module")
def bored_pattern(bored: Solid) -> Pattern:
    return make_pattern(part_of(bored), job(), tessellate(bored, 0.05))


# --- contraction ------------------------------------------------------------


def test_a_metal_master_makes_contraction_count_twice():
    """Textbook method: a 100 mm steel cube (2.1 %) from an aluminium master (1.3 %): 102.10, then 103.427 mm."""
    steel, master = Stage("steel", 0.021, ""), Stage("aluminium", 0.013, "")

    assert 100 * growth((steel,)) == pytest.approx(102.10, abs=5e-3)
    assert 100 * growth((steel, master)) == pytest.approx(103.427, abs=5e-4)


def test_contraction_is_the_tables_unless_foundry_or_pattern_says_otherwise():
    """Westermann tables: grey iron 1 %, aluminium 1.25 %; the pattern's own figure beats both."""
    assert [s.share for s in stages(job())] == [0.01]
    assert [s.share for s in stages(job(master="aluminium"))] == [0.01, 0.0125]
    assert [s.share for s in stages(job(contraction=0.02))] == [0.02]


def test_a_pattern_scaled_back_is_the_casting(drafted):
    """Volume and corners, to the rounding of double precision."""
    mesh = tessellate(drafted, 0.05)
    found = make_pattern(part_of(drafted), job(), mesh)
    back = found.whole.moved(np.eye(3) / found.growth, (0.0, 0.0, 0.0))

    assert back.volume == pytest.approx(drafted.volume, rel=1e-9)
    assert np.allclose(back.box, drafted.box, atol=1e-6)
    assert (back - body_of(mesh, "casting")).volume == pytest.approx(0.0, abs=1e-3)


# --- draft ------------------------------------------------------------------


def test_a_blocks_draft_is_the_angle_it_was_drawn_with(drafted):
    """Four sides at 3 degrees, foot and top at 90."""
    found = make_pattern(part_of(drafted), job(), tessellate(drafted, 0.05))

    assert sorted(round(face.angle, 6) for face in found.draft.faces) == [3.0, 3.0, 3.0, 3.0, 90.0, 90.0]
    assert found.draws


def test_sides_with_less_draft_than_asked_are_listed_with_their_area(drafted):
    """3 degrees where 4 are asked: area of each side is a trapezium, height over cos 3 degrees."""
    found = make_pattern(part_of(drafted), job(draft=4.0), tessellate(drafted, 0.05))
    inset = BASE[2] * math.tan(math.radians(LEAN))
    slope = BASE[2] / math.cos(math.radians(LEAN))
    sides = sorted((side - inset) * slope for side in (BASE[0], BASE[0], BASE[1], BASE[1]))

    assert not found.draws
    assert found.pieces == ()
    assert sorted(face.short for face in found.draft.faults) == pytest.approx(sides, rel=1e-6)


def test_a_block_parted_at_its_narrow_end_is_held_all_round(drafted):
    """Turned round, 3 degrees of draft are 3 degrees of undercut."""
    found = make_pattern(part_of(drafted), job(parting=BASE[2]), tessellate(drafted, 0.05))

    assert [(round(face.angle, 6), face.upper) for face in found.draft.faults] == [(-3.0, False)] * 4
    assert all(face.held == pytest.approx(face.area) for face in found.draft.faults)


# --- cores ------------------------------------------------------------------


def test_a_cores_volume_and_its_boxs_are_their_closed_forms():
    """Level core, 40 by 80 mm: prints 30 mm long (table), 0.25 mm smaller at each side and 0.25 mm short; frusta and a block."""
    core = core_of(Bore((0,), ((0.0, 20.0), (80.0, 20.0)), (-40.0, 0.0, 0.0), (1.0, 0.0, 0.0), False), "test")
    box = core_box(core, 0.002, 8.0, 6.0, 0.15)
    due = math.pi * (20.0**2 * 80.0 + 19.75**2 * (30.0 + 29.75))
    length, half_width, height = 80.0 + 30.0 + 29.75 + 8.0, 20.0 + 22.0, 20.0 + 8.0
    depth = 12.0
    pins = 2 * math.pi * (3.075**2 + 3.225**2) * depth

    assert core.volume == pytest.approx(due, rel=1e-9)
    assert core_body(core, 0.002).volume == pytest.approx(due, rel=5e-4)
    assert sum(half.volume for half in box.halves) == pytest.approx(2 * length * 2 * half_width * height - due - pins, rel=5e-4)


def test_a_bore_through_a_block_gets_prints_that_stand_out_at_both_ends(bored_pattern):
    """34 mm bore, 1 % larger: 20 mm of print below, 12 mm above, tapered by 3 and 10 degrees (common practice)."""
    (core,) = bored_pattern.cores
    low, high = bored_pattern.whole.box
    lower = 20.0 * math.pi * (17.17**2 + 17.17 * core.first.tip + core.first.tip**2) / 3
    upper = 12.0 * math.pi * (17.17**2 + 17.17 * core.last.tip + core.last.tip**2) / 3
    block_volume = drafted_casting(BASE, LEAN).volume * 1.01**3

    assert core.bore.radius == pytest.approx(17.17)
    assert core.first.tip == pytest.approx(17.17 - 20.0 * math.tan(math.radians(3.0)))
    assert (low[2], high[2]) == pytest.approx((-20.0, 40.4 + 12.0))
    assert bored_pattern.whole.volume == pytest.approx(block_volume + lower + upper, rel=5e-4)


def test_the_pieces_and_their_dowel_holes_add_up_to_the_whole(bored_pattern):
    """A flat-backed block with a loose print: one above, one below, the same dowels in both."""
    upper, lower = (p.body for p in bored_pattern.pieces if p.name in ("pattern_upper", "pattern_lower"))
    holes = bored_pattern.whole.volume - upper.volume - lower.volume
    depth = 3.4 * 3.15
    due = len(bored_pattern.spots) * math.pi * (3.075**2 + 3.15**2) * depth

    assert len(bored_pattern.spots) >= 1
    assert holes == pytest.approx(due, rel=0.03)


def test_a_bore_left_uncored_does_not_draw(bored):
    """A straight wall has no draft: 2 pi r h of it."""
    found = make_pattern(part_of(bored), job(cores=False), tessellate(bored, 0.02))
    (face,) = found.draft.faults

    assert face.angle == 0.0
    assert face.short == pytest.approx(2 * math.pi * 17.0 * 40.0, rel=1e-3)


def bored_from(drafted: Solid, foot: tuple[float, float, float], way: tuple[float, float, float], deep: float) -> Solid:
    """Return the drafted block with a 24 mm bore, flat at its end."""
    return solid_from_shape(cut(drafted.shape, cylinder(foot, way, 12.0, deep)), "bored")


def test_a_blind_bore_stands_on_one_print_half_as_long_as_itself(drafted):
    """24 by 30 mm, 1 % larger: half of 30.3 mm is more than the table's 15; tapered by 3 degrees, 0.25 mm of clearance."""
    solid = bored_from(drafted, (45.0, 40.0, -1.0), (0.0, 0.0, 1.0), 31.0)
    found = make_pattern(part_of(solid), job(), tessellate(solid, 0.02))
    (core,) = found.cores
    r, deep, length = 12.12, 30.3, core.first.length
    tip = r - length * math.tan(math.radians(3.0))
    due = math.pi * r * r * deep + math.pi * length * ((r - 0.25) ** 2 + (r - 0.25) * (tip - 0.25) + (tip - 0.25) ** 2) / 3

    assert core.bore.blind
    assert core.last is None
    assert length == pytest.approx(deep / 2)
    assert core.volume == pytest.approx(due, rel=1e-6)
    assert core_body(core, 0.002).volume == pytest.approx(due, rel=5e-4)
    assert found.whole.box[0][2] == pytest.approx(-length)
    assert found.whole.box[1][2] == pytest.approx(40.4)


def test_a_blind_bore_that_opens_upwards_has_its_print_above(drafted):
    """The mould is then rammed the other way up; the print stands 1.01 times the block's height and its own length high."""
    solid = bored_from(drafted, (45.0, 40.0, 41.0), (0.0, 0.0, -1.0), 31.0)
    found = make_pattern(part_of(solid), job(), tessellate(solid, 0.02))

    assert found.draws
    assert found.whole.box[1][2] == pytest.approx(40.4 + found.cores[0].first.length)


def test_a_level_blind_core_is_held_by_a_print_as_long_as_itself(drafted):
    """Nothing carries its far end: print and core of one diameter balance when they are equally long."""
    solid = bored_from(drafted, (45.0, -5.0, 20.0), (0.0, 1.0, 0.0), 55.0)
    (bore,), uncored = sorted_bores(solid.surfaces, (0, 1, 2), body_of(tessellate(solid, 0.02), "block"), solid.size)
    core = core_of(bore, "test")

    assert uncored == []
    assert (bore.blind, bore.end) == (True, pytest.approx((45.0, 50.0, 20.0)))
    assert bore.length > 49.0
    assert core.first.length == pytest.approx(bore.length)
    with pytest.raises(JobError, match=r"axis at Z 20\.00 mm and the parting plane at 0\.00 mm"):
        make_pattern(part_of(solid), job(), tessellate(solid, 0.05))


@pytest.mark.parametrize(
    ("foot", "way", "says"),
    [
        (
            (45.0, 40.0, 20.0),
            (math.sin(math.radians(80.0)), 0.0, math.cos(math.radians(80.0))),
            r"80\.0 degrees off the draw and does not open in level faces at both ends.*drawn along Y .* lies level.*loose piece",
        ),
        ((45.0, 40.0, 20.0), (0.0, 0.0, 0.0), "neither end opens"),
    ],
)
def test_a_bore_no_core_can_form_says_why(drafted, foot, way, says):
    """Oblique through the sides: no print draws. Closed in: nothing holds the core. Nothing draws then, and the bore is named."""
    if any(way):
        start = tuple(f - 60.0 * w for f, w in zip(foot, way, strict=True))
        solid = bored_from(drafted, start, way, 120.0)  # type: ignore[arg-type]
    else:
        solid = bored_from(drafted, (45.0, 40.0, 10.0), (0.0, 0.0, 1.0), 15.0)
    found = make_pattern(part_of(solid), job(), tessellate(solid, 0.05))
    (one,) = found.uncored

    assert re.search(says, one.why)
    assert not found.draws


def test_of_blind_bores_that_open_both_ways_only_one_side_stands(drafted):
    """From above 24 by 30 mm, from below 24 by 12: the deeper one is cored, the other's core would hang."""
    shape = cut(drafted.shape, cylinder((25.0, 40.0, 41.0), (0.0, 0.0, -1.0), 12.0, 31.0))
    solid = solid_from_shape(cut(shape, cylinder((65.0, 40.0, -1.0), (0.0, 0.0, 1.0), 12.0, 13.0)), "two")
    good, bad = sorted_bores(solid.surfaces, (0, 1, 2), body_of(tessellate(solid, 0.05), "block"), solid.size)

    assert [(bore.start[2], bore.end[2]) for bore in good] == [pytest.approx((40.0, 10.0))]
    assert ["would hang from the cope" in one.why for one in bad] == [True]


def test_a_drilled_point_at_a_blind_bores_end_is_part_of_its_core(drafted):
    """16 mm with a 118 degree point, 20 mm to the shoulder: the core ends in a cone 8 / tan 59 high; closed form."""
    point = 8.0 / math.tan(math.radians(59.0))
    shape = cut(drafted.shape, cylinder((45.0, 40.0, -1.0), (0.0, 0.0, 1.0), 8.0, 21.0))
    solid = solid_from_shape(cut(shape, cone((45.0, 40.0, 20.0), (0.0, 0.0, 1.0), 8.0, 0.0, point)), "drilled")
    found = make_pattern(part_of(solid), job(), tessellate(solid, 0.02))
    (core,) = found.cores
    first = core.first
    due = math.pi * 8.08**2 * 1.01 * (20.0 + point / 3)
    root, tip = first.root - first.clearance, first.tip - first.clearance

    assert core.bore.profile[-2:] == (pytest.approx((1.01 * 20.0, 8.08)), pytest.approx((1.01 * (20.0 + point), 0.0), abs=1e-9))
    assert core.volume == pytest.approx(due + math.pi * first.length * (root**2 + root * tip + tip**2) / 3)
    assert core_body(core, 0.002).volume == pytest.approx(core.volume, rel=5e-4)
    assert found.draws


def test_cores_alike_come_out_of_one_box(drafted):
    """Two bores of 16 mm and one of 20: two boxes, one of them used twice."""
    shape = drafted.shape
    for x, radius in ((20.0, 8.0), (45.0, 10.0), (70.0, 8.0)):
        shape = cut(shape, cylinder((x, 40.0, -1.0), (0.0, 0.0, 1.0), radius, 42.0))
    solid = solid_from_shape(shape, "three")
    found = make_pattern(part_of(solid), job(), tessellate(solid, 0.05))

    assert [box.count for box in found.boxes] == [1, 2]
    assert len(found.cores) == 3
    assert {"core_box_1_a", "core_box_1_b", "core_box_2_a", "core_box_2_b"} < {piece.name for piece in found.pieces}


# --- leaning bores ----------------------------------------------------------


@pytest.fixture(scope="module")
def leaning(drafted: Solid) -> Pattern:
    """The block with a bore of 24 mm from its foot to its top, 30 degrees off the draw."""
    lean = math.radians(30.0)
    way = (math.sin(lean), 0.0, math.cos(lean))
    solid = bored_from(drafted, (45.0 - 60.0 * way[0], 40.0, 20.0 - 60.0 * way[2]), way, 120.0)
    return make_pattern(part_of(solid), job(), tessellate(solid, 0.02))


def oval_print(root: float, tip: float, tall: float, longer: float) -> float:
    """Return the volume of a print whose section is an oval, closed form: pi times the integral of a (a + longer)."""
    return math.pi * tall * ((root**2 + root * tip + tip**2) / 3 + longer * (root + tip) / 2)


def test_a_leaning_bore_from_one_level_face_to_another_is_cored(leaning):
    """Cut level, a cylinder is an oval r by r / cos: its prints are that oval carried on along the draw; pattern in closed form."""
    (core,) = leaning.cores
    r = 1.01 * 12.0
    longer = r / math.cos(math.radians(30.0)) - r
    first, last = core.first, core.last
    prints = [oval_print(p.root, p.tip, p.length, longer) for p in (first, last)]
    low, high = leaning.whole.box

    assert leaning.draws
    assert leaning.uncored == ()
    assert core.bore.length == pytest.approx(40.4 / math.cos(math.radians(30.0)))
    assert core.bore.start == pytest.approx((1.01 * (45.0 - 20.0 * math.tan(math.radians(30.0))), 40.4, 0.0), abs=1e-6)
    assert (low[2], high[2]) == pytest.approx((-first.length, 40.4 + last.length))
    assert leaning.whole.volume == pytest.approx(drafted_casting(BASE, LEAN).volume * 1.01**3 + sum(prints), rel=2e-4)


def test_a_leaning_cores_volume_and_its_boxs_are_their_closed_forms(leaning):
    """pi r2 L for the middle; the box opens in the plane of the lean, and its halves are each other's mirror image."""
    (core,), (box,) = leaning.cores, leaning.boxes
    r, gap, longer = 12.12, core.first.clearance, core.longer
    first, last = core.first, core.last
    top = last.tip - gap + gap * (last.root - last.tip) / last.length
    due = math.pi * r**2 * core.bore.length
    due += oval_print(first.root - gap, first.tip - gap, first.length, longer) + oval_print(
        last.root - gap, top, last.length - gap, longer
    )
    length, wide, high = box.size
    holes = 2 * math.pi * (3.075**2 + 3.225**2) * box.apart[2]

    assert core.volume == pytest.approx(due, rel=1e-9)
    assert core_body(core, 0.002).volume == pytest.approx(due, rel=5e-4)
    assert sum(half.volume for half in box.halves) == pytest.approx(2 * length * wide * high - due - holes, rel=1e-3)
    a, b = (half.moved(np.diag([1.0, flip, 1.0]), (0.0, 0.0, 0.0)) for half, flip in zip(box.halves, (1.0, -1.0), strict=True))
    assert (a - b).volume < 4 * math.pi * 3.225**2 * box.apart[2]
    assert all(half.outlines_at(box.size[2] - 0.5) for half in box.halves)


def test_a_leaning_cores_page_says_how_it_leans(leaning):
    """30 degrees: to the side by 40.4 tan 30 = 23.32 mm; ovals longer by 2 (r / cos - r) = 3.75 mm."""
    says = " | ".join(core_box_sheet.size_words(leaning.boxes[0], 6.0, "mm"))

    assert "along it, prints and cavity measure more by 3.75 mm" in says
    assert "to the side of its open end by 23.32 mm" in says
    assert any("leaning by 30.0 degrees core: 24.24 mm over 46.65 mm" in words for words in check_words(leaning, "mm"))


def test_a_leaning_blind_bore_is_refused(drafted):
    """It would stand on one oval print with its weight to the side."""
    solid = bored_from(drafted, (30.0, 40.0, -10.0), (0.5, 0.0, math.sqrt(0.75)), 40.0)
    found = make_pattern(part_of(solid), job(), tessellate(solid, 0.05))

    assert ["does not open in level faces at both ends" in one.why and "drill it" in one.why for one in found.uncored] == [True]


# --- stepped bores ----------------------------------------------------------


def rounded(*stretches: tuple[float, float, float]) -> object:
    """Return a tool of cylinders and cones on one axis, upright on Z -1: lower and upper radius, and height, of each."""
    z, whole = -1.0, None
    for low, high, tall in stretches:
        one = cylinder((45.0, 40.0, z), (0.0, 0.0, 1.0), low, tall) if low == high else cone((45.0, 40.0, z), UP, low, high, tall)
        whole = one if whole is None else fuse(whole, one)
        z += tall
    return whole


@pytest.fixture(scope="module")
def stepped(drafted: Solid) -> Pattern:
    """The block with a bore of 44 mm from below, 25 deep, and of 24 on to the top."""
    solid = solid_from_shape(cut(drafted.shape, rounded((22.0, 22.0, 26.0), (12.0, 12.0, 16.0))), "stepped")
    return make_pattern(part_of(solid), job(), tessellate(solid, 0.02))


def test_a_stepped_bore_gets_one_core_with_a_print_of_its_own_size_at_each_end(stepped):
    """Closed form, 1 % larger: two cylinders and two frusta; the core box is a block less that and its dowel holes."""
    (core,), (box,) = stepped.cores, stepped.boxes
    first, last = core.first, core.last
    gap = first.clearance
    print_low = math.pi * first.length * ((r := first.root - gap) ** 2 + r * (t := first.tip - gap) + t * t) / 3
    top = last.tip - gap + gap * (last.root - last.tip) / last.length
    print_high = math.pi * (last.length - gap) * ((r := last.root - gap) ** 2 + r * top + top**2) / 3
    due = math.pi * 1.01**3 * (22.0**2 * 25.0 + 12.0**2 * 15.0) + print_low + print_high
    length, wide, high = box.size
    holes = 2 * math.pi * (3.075**2 + 3.225**2) * box.apart[2]

    assert core.bore.profile == pytest.approx(np.array([(0, 22.22), (25.25, 22.22), (25.25, 12.12), (40.4, 12.12)]), abs=1e-9)
    assert (first.root, last.root) == (pytest.approx(22.22), pytest.approx(12.12))
    assert core.volume == pytest.approx(due, rel=1e-9)
    assert core_body(core, 0.002).volume == pytest.approx(due, rel=5e-4)
    assert sum(half.volume for half in box.halves) == pytest.approx(2 * length * wide * high - due - holes, rel=2e-3)


def test_a_stepped_core_fills_its_bore_and_the_pattern_draws(stepped):
    """The pattern is the solid block 1.01 times as large and two prints: no crack is left where the steps meet."""
    low, high = stepped.whole.box
    block_volume = drafted_casting(BASE, LEAN).volume * 1.01**3
    first, last = stepped.cores[0].first, stepped.cores[0].last
    prints = sum(math.pi * p.length * (p.root**2 + p.root * p.tip + p.tip**2) / 3 for p in (first, last))

    assert stepped.draws
    assert stepped.uncored == ()
    assert (low[2], high[2]) == pytest.approx((-first.length, 40.4 + last.length))
    assert stepped.whole.volume == pytest.approx(block_volume + prints, rel=5e-4)
    assert trimesh.Trimesh(*(lambda m: (m.vertices, m.triangles))(stepped.whole.mesh())).body_count == 1


def test_a_stepped_bore_stands_on_its_wide_end(drafted):
    """Wide end up in the model: the mould is rammed the other way up, the sheet says which half lies in the drag."""
    solid = solid_from_shape(cut(drafted.shape, rounded((12.0, 12.0, 16.0), (22.0, 22.0, 26.0))), "stepped")
    (bore,), uncored = sorted_bores(solid.surfaces, (0, 1, 2), body_of(tessellate(solid, 0.05), "block"), solid.size)

    assert uncored == []
    assert (bore.mouth, bore.far, bore.axis[2]) == (pytest.approx(22.0), pytest.approx(12.0), -1.0)


def test_a_bore_wider_inside_than_at_its_mouths_is_cored(drafted):
    """24 mm at both ends, 40 inside, cones between: closed form; its core leaves the box, which opens along the axis."""
    shape = cut(
        drafted.shape, rounded((12.0, 12.0, 11.0), (12.0, 20.0, 8.0), (20.0, 20.0, 6.0), (20.0, 12.0, 8.0), (12.0, 12.0, 9.0))
    )
    solid = solid_from_shape(shape, "bottle")
    found = make_pattern(part_of(solid), job(), tessellate(solid, 0.02))
    (core,) = found.cores
    inside = math.pi * (12.0**2 * 18.0 + 2 * 8.0 * (12.0**2 + 12.0 * 20.0 + 20.0**2) / 3 + 20.0**2 * 6.0)

    assert found.draws
    assert core.bore.volume == pytest.approx(1.01**3 * inside, rel=1e-9)
    assert found.whole.volume == pytest.approx(drafted.volume * 1.01**3 + sum(
        math.pi * p.length * (p.root**2 + p.root * p.tip + p.tip**2) / 3 for p in (core.first, core.last)
    ), rel=1e-3)  # fmt: skip


def test_a_step_with_a_rounded_corner_is_part_of_the_core(drafted):
    """44 to 24 mm with a fillet of 4 in the corner: Pappus gives the ring the fillet leaves, (1 - pi/4) r2 about its centroid."""
    corner = cadquery.Workplane("XY").circle(22.0).extrude(26.0).faces(">Z").edges().fillet(4.0)
    tool = corner.union(cadquery.Workplane("XY").circle(12.0).extrude(45.0)).translate((45.0, 40.0, -1.0)).val().wrapped
    solid = solid_from_shape(cut(drafted.shape, tool), "rounded")
    (bore,), uncored = sorted_bores(solid.surfaces, (0, 1, 2), body_of(tessellate(solid, 0.05), "block"), solid.size)
    ring = (1 - math.pi / 4) * 16.0
    centroid = 22.0 - 4.0 * (10 - 3 * math.pi) / (3 * (4 - math.pi))

    assert uncored == []
    due = math.pi * (22.0**2 * 25.0 + 12.0**2 * 15.0) - 2 * math.pi * centroid * ring
    assert bore.volume == pytest.approx(due, rel=1e-3)


def test_a_level_blind_stepped_core_is_balanced_by_its_print():
    """24 mm, 20 deep, then 16, 20 deeper: moments about the mouth, by hand: L = sqrt(20^2 + (8/12)^2 (40^2 - 20^2))."""
    bore = Bore((0,), ((0.0, 12.0), (20.0, 12.0), (20.0, 8.0), (40.0, 8.0)), (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), False, True)
    wide = Bore((0,), ((0.0, 8.0), (20.0, 8.0), (20.0, 12.0), (40.0, 12.0)), (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), False, True)

    assert core_of(bore, "test").first.length == pytest.approx(math.sqrt(20.0**2 + (8 / 12) ** 2 * 1200.0))
    assert core_of(wide, "test").first.length == pytest.approx(math.sqrt(20.0**2 + (12 / 8) ** 2 * 1200.0))


def test_a_level_stepped_core_lies_in_the_parting():
    """24 mm to half way, 16 beyond: a print of its own size at each end, half of it in either half; volumes by formula."""
    shape = box((0.0, 0.0, 0.0), (90.0, 80.0, 40.0))
    for radius, deep in ((12.0, 45.0), (8.0, 95.0)):
        shape = cut(shape, cylinder((45.0, -5.0, 20.0), (0.0, 1.0, 0.0), radius, deep))
    solid = solid_from_shape(shape, "level")
    found = make_pattern(part_of(solid), job(parting=20.0, draft=0.0), tessellate(solid, 0.01))
    (core,) = found.cores
    prints = math.pi * (12.12**2 * core.first.length + 8.08**2 * core.last.length)
    upper, lower = (piece.body for piece in found.pieces if piece.name in ("pattern_upper", "pattern_lower"))

    assert (core.first.root, core.last.root) == (pytest.approx(12.12), pytest.approx(8.08))
    assert found.whole.volume == pytest.approx(1.01**3 * 90 * 80 * 40 + prints, rel=5e-4)
    assert upper.volume == pytest.approx(lower.volume, rel=5e-3)


def test_a_core_that_would_run_through_another_is_refused_and_says_what_would_do(drafted):
    """An upright bore of 24 mm and a level one of 16 through it: one core at a time."""
    shape = cut(drafted.shape, cylinder((45.0, 40.0, -1.0), UP, 12.0, 42.0))
    solid = solid_from_shape(cut(shape, cylinder((45.0, -5.0, 20.0), (0.0, 1.0, 0.0), 8.0, 90.0)), "crossing")
    found = make_pattern(part_of(solid), job(parting=20.0, draft=0.0), tessellate(solid, 0.05))
    refused = [one for one in found.uncored if "run into" in one.why]

    assert [one.bore.radius for one in refused] == pytest.approx([8.0, 8.0]), "the upright bore parts the level one in two"
    assert all("24.0 mm" in one.why and "drill it" in one.why for one in refused)


# --- stepped parting --------------------------------------------------------


def test_a_steps_risers_lean_and_its_volume_is_a_frustum():
    """A 20 mm square at 6 mm over a plane at 0, risers at 10 degrees: a truncated pyramid on a 100 mm square slab 5 mm thick."""
    parting = Parting(0.0, (Flat((-10.0, -10.0), (10.0, 10.0), 6.0),))
    under = parting.below((-50.0, -50.0, -5.0), (50.0, 50.0, 20.0))
    run = 6.0 * math.tan(math.radians(10.0))
    top, foot = 20.0**2, (20.0 + 2 * run) ** 2

    assert under.volume == pytest.approx(100.0 * 100.0 * 5.0 + 6.0 * (top + foot + math.sqrt(top * foot)) / 3, rel=1e-9)
    assert parting.heights(np.array([[0.0, 0.0], [10.0 + run / 2, 0.0], [30.0, 0.0]])) == pytest.approx([6.0, 3.0, 0.0])


@pytest.fixture(scope="module")
def two_heights() -> tuple[Solid, Pattern]:
    solid = stepped_part()
    return solid, make_pattern(part_of(solid), job(steps=(STEP,)), tessellate(solid, 0.05))


def test_a_part_on_two_heights_draws_only_from_a_parting_with_a_step(two_heights):
    """Parted level, sand under the raised half would have to come up through it; parted along its underside all of it draws."""
    solid, stepped = two_heights
    plane = make_pattern(part_of(solid), job(), tessellate(solid, 0.05))
    down = next(s for s in solid.surfaces if s.kind == "plane" and s.normal[2] < -0.99 and abs(s.origin[2] - 12.0) < 1e-6)

    assert [face.angle for face in plane.draft.faults if face.surface == down.index] == [-90.0]
    assert stepped.draws
    assert min(face.angle for face in stepped.draft.faces) == pytest.approx(LEAN, abs=1e-6)


def test_the_halves_of_a_stepped_pattern_add_up_and_lift_off_each_other_and_their_board(two_heights):
    """The lower one is the boss, a frustum of 1.01 times 8 mm; upper half and boss meet nothing as they are drawn."""
    _, stepped = two_heights
    turn, pieces = np.diag([1.0, -1.0, -1.0]), {piece.name: piece for piece in stepped.pieces}
    upper, lower = (_back(pieces[name]) for name in ("pattern_upper", "pattern_lower"))
    board = pieces["follow_board"].body
    radii = (12.0 - 0.5 / 8.5, 11.0)
    boss = 1.01**3 * math.pi * 8.0 * (radii[0] ** 2 + radii[0] * radii[1] + radii[1] ** 2) / 3
    deep = pieces["pattern_lower"].deep
    holes = len(stepped.spots) * math.pi * deep

    assert lower.volume == pytest.approx(boss - holes * 3.15**2, rel=0.01)
    assert upper.volume + lower.volume == pytest.approx(stepped.whole.volume - holes * (3.15**2 + 3.075**2), rel=2e-3)
    assert board.box[0][2] == pytest.approx(0.0)
    laid = lower.moved(turn, (0.0, 0.0, 1.01 * 12.0 + 8.0))
    for lift in (0.0, 0.1, 3.0, 15.0):
        above = (0.0, 0.0, lift)
        assert (upper.moved(np.eye(3), above) & lower).volume == pytest.approx(0.0, abs=0.05)
        assert (laid.moved(np.eye(3), above) & board).volume == pytest.approx(0.0, abs=0.05)


def test_a_steps_corners_are_along_the_parts_own_axes():
    """Drawn along Y the step is given along X and Z; the draw frame's X is then the part's Z, and its Y the part's X."""
    asked = job(parting=10.0, draw="y", steps=(Step((-5.0, 20.0, 15.0, 60.0), 14.0),))
    found = parting_of(asked, block((0.0, -30.0, 0.0), (80.0, 30.0, 25.0)), (2, 0, 1))

    assert found.flats == (Flat((20.0, -5.0), (60.0, 15.0), 14.0),)
    assert found.levels == (10.0, 14.0)


@pytest.mark.parametrize("edge", [42.10, 42.13])
def test_a_step_given_to_a_hundredth_leaves_no_skin_on_the_other_half(edge):
    """The riser lies 0.014 or 0.016 mm off the part's own slope: the boss is 24.24 mm wide, not as wide as the plate, and draws."""
    solid = stepped_part()
    found = make_pattern(part_of(solid), job(steps=(replace(STEP, over=(edge, *STEP.over[1:])),)), tessellate(solid, 0.05))
    lower = [piece.body for piece in found.pieces if piece.name.startswith("pattern_lower")]

    assert found.draws
    assert len(lower) == 1
    assert lower[0].box[1][0] - lower[0].box[0][0] < 24.3


def _back(piece: Piece) -> Body:
    """Return a piece where it was in the pattern."""
    turn = np.asarray(piece.turn).T
    return piece.body.moved(turn, (-turn @ np.asarray(piece.shift)).tolist())


@pytest.mark.parametrize(
    ("step", "says"),
    [
        (
            Step((0.0, 0.0, 40.0, 40.0), 55.0, "job.toml line 9, pattern.step.1"),
            "line 9, pattern.step.1: the plane at Z 55 mm misses",
        ),
        (Step((200.0, 0.0, 240.0, 40.0), 12.0), "lies beside the casting"),
        (Step((10.0, 10.0, 10.2, 40.0), 12.0), "less than 1 mm wide"),
    ],
)
def test_a_step_that_makes_no_sense_is_refused(drafted, step, says):
    """Too high, beside the casting, or no area."""
    with pytest.raises(JobError, match=says):
        make_pattern(part_of(drafted), job(steps=(step,)), tessellate(drafted, 0.05))


def test_steps_are_read_from_the_jobs_file(tmp_path):
    """Lengths in any unit; a misspelt key is told the nearest one."""
    source = """[part]
name = "block"
finished = "a.step"
casting = "b.step"
units = "mm"
alloy = "grey iron"

[[pattern.step]]
over = ["-1 cm", "0 mm", "2 in", "30 mm"]
parting = "12 mm"
"""
    path = tmp_path / "job.toml"
    for name in ("a.step", "b.step"):
        (tmp_path / name).touch()
    path.write_text(source)
    (step,) = load_settings(tmp_path).pattern.steps
    path.write_text(source.replace("pattern.step", "pattern.stpe"))

    assert (step.over, step.parting) == (pytest.approx((-10.0, 0.0, 50.8, 30.0)), 12.0)
    assert "line 8" in step.where
    with pytest.raises(JobError, match=r"pattern.stpe: there is no such key \(did you mean 'step'\?\)"):
        load_settings(tmp_path)


def test_steps_whose_risers_meet_are_refused(drafted):
    """10 and 20 mm over the plane, 1 mm apart: their risers need 5.3 mm."""
    steps = (Step((0.0, 0.0, 30.0, 80.0), 10.0), Step((31.0, 0.0, 60.0, 80.0), 20.0))
    with pytest.raises(JobError, match=r"1\.0 mm apart and their risers, which lean by 10 degrees, need 5\.3 mm"):
        make_pattern(part_of(drafted), job(steps=steps), tessellate(drafted, 0.05))


# --- text -------------------------------------------------------------------


def test_raised_letters_stand_up_along_the_draw_and_narrow_upwards(drafted):
    """A letter of 10 mm square: four layers of 0.2 mm, each side in by 0.2 tan 10 degrees a layer; wholly on the top."""
    mesh = tessellate(drafted, 0.05)
    top = frozenset(s.index for s in drafted.surfaces if s.normal[2] > 0.99)
    plain = body_of(mesh, "block")
    square = [[(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]]
    found = raised(square, plain, flat_places(mesh, drafted.surfaces, 2, top), 1.0, "test", 10.0)
    sides = [10.0 - 2 * n * 0.2 * math.tan(math.radians(10.0)) for n in range(4)]

    assert found.box[1][2] == pytest.approx(BASE[2] + 0.8)
    assert found.volume - plain.volume == pytest.approx(sum(0.2 * side**2 for side in sides), rel=1e-3)


def test_letters_are_outlines_of_the_capital_height_asked_for():
    """An H stands from the base line to the height; an O is a ring: two outlines, one inside the other."""
    (bar,) = text_outlines("H", 7.0)

    assert (min(y for _, y in bar), max(y for _, y in bar)) == pytest.approx((0.0, 7.0))
    assert len(text_outlines("O", 7.0)) == 2


def test_text_without_a_place_for_it_is_refused(drafted):
    """A block without an as-cast face square to the draw."""
    asked = job(text="ES-1", where={"text": "job.toml line 9, pattern.text"})

    with pytest.raises(JobError, match=r"job.toml line 9, pattern.text: no as-cast flat face .* has room for the text"):
        make_pattern(part_of(drafted), asked, tessellate(drafted, 0.05), text_outlines("ES-1", 1.0))


# --- public model -----------------------------------------------------------


def test_a_public_models_ribs_have_the_draft_they_were_drawn_with(nist):
    """NIST CTC-02: 32 plane faces at 3.00 and 16 faces at 2.00 degrees to the draw."""
    solid = read_step(nist("nist_ctc_02_asme1_ap242-e2.stp"))
    leans = leans_of(tessellate(solid, 1.0), solid.surfaces, (0, 1, 2))

    assert sum(solid.surfaces[i].kind == "plane" and abs(abs(lean) - 3.0) < 5e-3 for i, lean in leans.items()) == 32
    assert sum(abs(abs(lean) - 2.0) < 5e-3 for lean in leans.values()) == 16


# --- pages ------------------------------------------------------------------


def test_a_core_boxs_page_gives_the_sizes_its_print_has(bored_pattern):
    """34.34 mm bore 40.4 long; prints 20 and 12 mm (table), the core's 0.25 smaller a side; the halves as they were cut."""
    (box,) = bored_pattern.boxes
    says = list(core_box_sheet.size_words(box, 6.0, "mm"))
    low, high = box.halves[0].box
    size = [f"{b - a:.2f}".rstrip("0").rstrip(".") for a, b in zip(low, high, strict=True)]

    assert says[0] == "cavity, diameter of the core's middle: 34.34 mm"
    assert says[1] == "the middle is long: 40.4 mm"
    assert says[2] == "print at the open end, long: 20 mm"
    assert says[3].startswith("its diameter at the middle and at its tip: 33.84 mm")
    assert f"each half: {size[0]} mm by {size[1]} mm by {size[2]} mm" in says
    assert sum(half.volume for half in box.halves) < 2 * math.prod(b - a for a, b in zip(low, high, strict=True)) - box.cavity


def test_every_dowel_hole_of_a_pattern_has_its_dowel(bored_pattern):
    """One for each place in the parting, two in the core box; the sheet says how many to print."""
    pin = next(piece for piece in bored_pattern.pieces if piece.name == "pattern_pin")

    assert bored_pattern.dowels == len(bored_pattern.spots) + 2
    assert pin.what.startswith(f"dowel, {bored_pattern.dowels} of them")


def test_a_wall_the_nozzle_cannot_lay_is_told_with_its_piece(bored, bored_pattern):
    """Between core and side the box has 8 mm of wall: a nozzle of 9 cannot lay it, one of 0.4 can."""
    walls = walls_of(bored_pattern)
    coarse, fine = (
        list(thin_words(bored_pattern, Job(replace(job(), printer=Printer(nozzle=nozzle)), part_of(bored), {}), walls))
        for nozzle in (9.0, 0.4)
    )
    box = next(words for words in coarse if words.startswith("core_box_a"))

    assert fine == []
    assert "is thinner than the nozzle of 9 mm and will not print" in box
    assert f"a wall of {walls['core_box_a'].thickness:.3g} mm" in box


# --- bed --------------------------------------------------------------------


def test_pieces_for_a_small_bed_fit_it_and_add_up_to_the_whole():
    """A 150 x 40 x 30 mm bar on a 60 mm bed: three pieces, two cuts, dowels each way in each cut."""
    printer = Printer(bed=(60.0, 60.0, 60.0))
    bar = block((0.0, 0.0, 0.0), (150.0, 40.0, 30.0))
    pieces = split_for_bed(bar, printer, (), "bar").pieces
    left_out = bar.volume - sum(piece.volume for piece in pieces)

    assert len(pieces) == 3
    assert all(b - a <= 60.0 for piece in pieces for a, b in zip(*piece.box, strict=True))
    assert left_out == pytest.approx(2 * 2 * 2 * math.pi * 3.15**2 * 10.2, rel=0.03)
    assert sum((a & b).volume for a in pieces for b in pieces if a is not b) == pytest.approx(0.0, abs=1e-6)


def test_a_bed_too_small_for_any_piece_is_refused():
    """A 10 mm bed has no room for a 6 mm dowel and its walls, or needs too many pieces."""
    with pytest.raises(GeometryError, match="bed"):
        split_for_bed(block((0.0, 0.0, 0.0), (150.0, 40.0, 30.0)), Printer(bed=(8.0, 8.0, 8.0)), (), "bar")


# --- refusals ---------------------------------------------------------------


def test_a_parting_plane_beside_the_casting_is_refused(drafted):
    """It says where the casting is."""
    with pytest.raises(JobError, match=r"Z 55 mm misses the casting, which reaches from Z 0\.00 to 40\.00 mm"):
        make_pattern(part_of(drafted), job(parting=55.0), tessellate(drafted, 0.05))


def test_a_level_core_off_the_parting_plane_is_refused(drafted):
    """Its prints would lock in the sand."""
    cross = solid_from_shape(cut(drafted.shape, cylinder((45.0, -5.0, 20.0), (0.0, 1.0, 0.0), 12.0, 90.0)), "cross")

    with pytest.raises(JobError, match=r"axis at Z 20\.00 mm and the parting plane at 0\.00 mm"):
        make_pattern(part_of(cross), job(), tessellate(cross, 0.05))


def test_where_no_parting_is_stated_the_widest_section_is_taken(drafted):
    """The foot of a block that leans in."""
    found = make_pattern(part_of(drafted), replace(job(), casting=CastingSettings()), tessellate(drafted, 0.05))

    assert (found.parting.z, found.parting.assumed, found.draws) == (0.0, True, True)
