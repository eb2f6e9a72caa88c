"""Inner corners: square ones are named and not printed as if fine, round ones come out; by hand, by closed form, by the proof."""

import math
from dataclasses import replace

import pytest
import shapely

from geom.datum.zero import resolve_zero
from geom.kernel.cut import box, cut, cylinder, fuse
from geom.kernel.shape import Solid, solid_from_shape
from geom.model.part import Part
from geom.passes.setup_rows import rows_for
from geom.proof.prove import prove
from geom.recognise.part import recognise
from geom.rows.plan import PickUp
from geom.rows.records import Row, Setup
from geom.settings.records import Settings
from geom.space import Vec3
from geom.stock.report import stock_report
from geom.tasks.corners import corners_of
from geom.tasks.features import Tasks, tasks_of
from geom.tasks.slots import slots_of
from tests.hand_parts import hand_settings
from tests.hand_plans import hand_plan
from tests.job_folders import run, write_job
from tests.proof_job import printed, read_back
from tests.test_slot_rows import swept

UP = (0.0, 0.0, 1.0)
ROUGH = ((-50.0, -40.0, 0.0), (50.0, 40.0, 23.0))


def pair(*holes: object) -> tuple[Solid, Solid]:
    """A 100 x 80 x 20 plate, its top and what is cut out of it machined, in a casting with 3 mm on top."""
    body = cut(box(*ROUGH), box((-60.0, -60.0, 20.0), (60.0, 60.0, 30.0)), *holes)
    return solid_from_shape(body, "finished"), solid_from_shape(box(*ROUGH), "casting")


def plate(*holes: object) -> Part:
    return recognise("plate", "grey iron", *pair(*holes))


def pocket(radius: float, low: Vec3 = (-20.0, -20.0, 14.0), high: Vec3 = (20.0, 20.0, 40.0)) -> object:
    """A pocket whose upright corners have a radius; 0: square."""
    (a, b, z), (c, d, top), r = low, high, radius
    if not r:
        return box(low, high)
    body = fuse(box((a + r, b, z), (c - r, d, top)), box((a, b + r, z), (c, d - r, top)))
    for x in (a + r, c - r):
        for y in (b + r, d - r):
            body = fuse(body, cylinder((x, y, z), UP, r, top - z))
    return body


def tasks(part: Part, asked: Settings | None = None) -> Tasks:
    asked = asked or hand_settings()
    return tasks_of(part, resolve_zero(part, asked.datum), asked)


def without(most: float) -> Settings:
    """Return a shop whose end mills are all wider."""
    asked = hand_settings()
    kept = tuple(c for c in asked.tooling.cutters if c.kind != "end mill" or c.diameter > most)
    return replace(asked, tooling=replace(asked.tooling, cutters=kept))


def setup_of(part: Part, asked: Settings | None = None) -> Setup:
    names = [face.name for face in part.machined if face.kind == "plane"]
    planned = hand_plan([PickUp("z", "height", ("top",), False)], names, zero=(0.0, 0.0, 20.0))
    stock = stock_report(part, {face.name: 0.5 for face in part.machined})
    return rows_for(planned, 1, part, asked or hand_settings(), stock)


def finishing(setup: Setup) -> list[Row]:
    """Return the rows along walls that go all the way down."""
    edges = [row for row in setup.rows if row.action == "edge"]
    return [row for row in edges if row.z == min(r.z for r in edges if r.z is not None)]


def test_a_groove_closed_square_is_named_with_what_a_milled_corner_keeps() -> None:
    """10 wide, from the middle out of the right side: its end meets both walls square; 3 mm is the narrowest end mill on hand."""
    part = plate(box((0.0, -5.0, 14.0), (60.0, 5.0, 40.0)))
    found = tasks(part)
    (one,) = found.round_left
    end = next(f.name for f in part.machined if f.normal is not None and f.normal[0] > 0.9 and f.centroid[0] < 1.0)

    assert slots_of(part) == ()
    assert end in one.feature.split(", ")
    assert len(one.feature.split(", ")) == 3
    assert 1.5 in one.why
    assert "drawn square" in str(one.says)
    assert "a groove's end drawn round or run out into the open" in str(one.opens)


def test_a_groove_drawn_round_or_run_out_is_not() -> None:
    """The two ways out that are named work: a half round of half the width, or open at both ends."""
    half_round = fuse(box((0.0, -5.0, 14.0), (60.0, 5.0, 40.0)), cylinder((0.0, 0.0, 14.0), UP, 5.0, 26.0))
    for groove in (half_round, box((-60.0, -5.0, 14.0), (60.0, 5.0, 40.0))):
        assert tasks(plate(groove)).round_left == ()


def test_without_its_narrowest_cutters_a_shop_keeps_more() -> None:
    """Corners of radius 2.5: 3 and 4 mm end mills get in, 6 mm keeps 3; never better for a cutter less."""
    part = plate(pocket(2.5))

    assert [tasks(part, without(most)).round_left for most in (0.0, 3.5)] == [(), ()]
    (one,) = tasks(part, without(5.0)).round_left
    assert {2.5, 3.0} <= set(one.why)


def test_a_deep_corner_asks_for_a_cutter_that_reaches_down_it() -> None:
    """18 deep: the 3 mm end mill reaches 14, the 4 mm one 18 (default shop): a radius of 2 stays."""
    (one,) = tasks(plate(pocket(0.0, (-20.0, -20.0, 2.0)))).round_left

    assert 2.0 in one.why


def test_walls_that_meet_in_an_upright_corner_are_cut_from_across_where_that_goes() -> None:
    """A corner taken off the plate, all the way down: from above the corner would stay round, from either side it does not."""
    part = plate(box((20.0, 10.0, -5.0), (60.0, 60.0, 40.0)))
    found = tasks(part)
    (corner,) = corners_of(part)
    made = {task.name: task for task in found.tasks}

    assert found.round_left == ()
    for wall in corner.walls:
        assert made[wall.name].options
        assert all(abs(found.ways[n][2]) < 0.5 for n in made[wall.name].options)


def test_a_window_is_four_walls_not_a_groove() -> None:
    """30 wide, through: its left wall with those beside it lies under the right one, so no cutter comes down on it."""
    part = plate(pocket(0.0, (-25.0, -15.0, -5.0), (25.0, 15.0, 40.0)))
    found = tasks(part)

    assert slots_of(part) == ()
    assert found.left_out == ()
    assert {task.name for task in found.tasks} == {face.name for face in part.machined if face.kind == "plane"}


@pytest.mark.parametrize(("radius", "cutter"), [(3.0, 6.0), (3.5, 6.0), (7.0, 12.0)])
def test_a_pocket_with_round_corners_comes_out_as_drawn(radius: float, cutter: float) -> None:
    """40 square: the widest end mill on hand that gets into its corners; within 0.03 mm by closed form, and proved."""
    part = plate(pocket(radius))
    setup = setup_of(part)
    drawn = shapely.box(-20.0 + radius, -20.0 + radius, 20.0 - radius, 20.0 - radius).buffer(radius, quad_segs=512)
    skirt = drawn.buffer(-0.03, quad_segs=512).difference(drawn.buffer(-2.0))

    assert {row.tool.diameter for row in finishing(setup)} == {cutter}
    assert swept(finishing(setup)).difference(drawn.buffer(0.001)).is_empty
    assert skirt.difference(swept(finishing(setup)).buffer(0.001)).is_empty
    assert prove(read_back(printed([setup])), part, hand_settings()).faults == ()


def test_a_look_over_a_pocket_meets_the_skin_of_the_top() -> None:
    """The pocket is solid in the casting: what a gauge meets there is no skin of the pocket's floor, and no check says so."""
    part = plate(pocket(3.0))
    floor = next(f.name for f in part.machined if f.normal == UP and f.centroid[2] < 19.0)
    down = [row for row in setup_of(part).rows if row.action == "check" and row.towards == "-z"]

    assert floor not in {row.feature for row in down}
    assert {row.feature for row in down} <= {"top"}


def test_a_corner_round_wider_than_the_cutter_is_rounded_off() -> None:
    """Radius 7, 12 mm end mill: three moves between the walls; half-way 1 + 6 - (cos t + sqrt(36 - sin2 t)) at t = 45/4 degrees."""
    rows = [row for row in finishing(setup_of(plate(pocket(7.0)))) if row.note.startswith("rounds the corner")]
    half = math.radians(90.0 / 8.0)
    left = 7.0 - (math.cos(half) + math.sqrt(36.0 - math.sin(half) ** 2))

    assert len(rows) == 4 * 3
    assert left < 0.03
    for row in rows:
        x, y = (row.x if row.x_to is None else row.x_to), (row.y if row.y_to is None else row.y_to)
        assert x is not None
        assert y is not None
        assert math.hypot(abs(x) - 13.0, abs(y) - 13.0) == pytest.approx(1.0)


def test_setups_says_first_that_a_square_corner_is_not_as_drawn(tmp_path) -> None:
    """Exit 1 and the answer above the plan; the rows stand, for whoever files the corner."""
    job = write_job(tmp_path / "square", pair(pocket(0.0)))
    told = run("setups", job)

    assert told.returncode == 1
    assert told.stdout.splitlines()[1].startswith("Not as drawn: ")
    assert "Set-up 1 of 1" in told.stdout
    assert "file after the cutter" in told.stdout
