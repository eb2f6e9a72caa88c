"""Pictures of set-ups: what is drawn stands where the set-up's own numbers say, hidden behind what hides it.

Read back from the SVG by `tests.sheet_svg`, which shares nothing with what wrote
it. Positions are held against the plan's boxes, the CAD kernel's own boxes of
the solids, closed forms, and for hidden lines the kernel's exact hidden-line
removal.
"""

import math
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from export.number import Units
from export.sheets import stages as stages_module
from export.sheets.stages import stages
from export.sheets.view import SCALES, Room, View, holding_views, numbered_features, small_view
from geom.flat.curve2d import polyline
from geom.job import Job, Record
from geom.kernel.extent import face_box
from geom.kernel.lines import view_lines
from geom.kernel.mesh import mesh_volume
from geom.kernel.shape import Solid
from geom.rays import mesh_lines
from geom.rays.mesh_lines import Sight, cut_to_sight, drawn_lines
from geom.rays.rays import skin_of
from geom.rigid import Rigid
from geom.rows.plan import Hold, Packing, Plan
from geom.rows.records import Box, Setup
from geom.space import Frame
from tests import proof_job
from tests.bundled import recorded
from tests.catalogue import drilled_plate
from tests.hand_parts import hand_settings
from tests.hand_plans import hand_plan
from tests.sheet_svg import Picture, crosses, runs_through

ROOM = Room((178.0, 110.0), (120.0, 172.0))
PAPER = 0.004
"""mm: the file's own last figure, on paper, at both ends."""

FACETS = 0.05
"""mm: the work is drawn from a mesh whose edges lie within 0.02 mm of the true ones, and round."""

SETUPS = [("footstep", 1), ("footstep", 2), ("footstep", 3), ("pump_cover", 1), ("pump_cover", 2)]
"""In the vise on parallels, strapped to the table on packing, against the angle plate; strapped on shims, in the vise."""


def both(record: Record, number: int, units: Units = "mm", room: Room = ROOM) -> tuple[View, View]:
    """Return a set-up from above and from the front."""
    views = holding_views(record, number, room, units)
    return views.above, views.front


@cache
def pictures(name: str, number: int) -> tuple[Picture, Picture]:
    """Return a bundled set-up from above and from the front."""
    above, front = both(recorded(name), number, recorded(name).settings.units)
    return Picture(above.svg), Picture(front.svg)


def hold_of(record: Record, number: int) -> Hold:
    assert isinstance(record.plan, Plan)
    return record.plan.setups[number - 1].hold


# --- a block worked on paper ------------------------------------------------


@cache
def block(units: Units = "mm", jaws: float = 0.0) -> Record:
    """Return the block of `tests.proof_job` with its two set-ups; the casting is 83 x 60 x 36, the zero 20, 30, 33 in.

    Args:
        jaws: how far the jaws of the first set-up reach either way; 0 as they are.
    """
    made = list(proof_job.setups())
    if jaws:
        made[0] = replace(made[0], boxes=tuple(_longer(box, jaws) for box in made[0].boxes))
    features = ("top", "right", "thread", "dowel", "screw", "sunk", "bore"), ("bottom",)
    setups = tuple(replace(one, features=names) for one, names in zip(made, features, strict=True))
    held = [replace(hand_plan(features=s.features), hold=_hold(s)) for s in setups]
    job = Job(hand_settings(units), proof_job.part(), {})
    none: Any = None
    return Record(job, none, setups[0].zero, setups, (), Plan(tuple(held), ()))


def _longer(box: Box, reach: float) -> Box:
    if "jaw" not in box.name:
        return box
    return replace(box, low=(-reach, *box.low[1:]), high=(reach, *box.high[1:]))


def _hold(setup: Setup) -> Hold:
    return Hold("vise", "bottom", "back", "front", frozenset(), 16.0, 13.0, 20.0, (), (), setup.boxes)


def read(views: tuple[View, View]) -> tuple[Picture, Picture]:
    return Picture(views[0].svg), Picture(views[1].svg)


# --- where things stand -----------------------------------------------------


@pytest.mark.parametrize(("name", "number"), SETUPS)
def test_what_holds_the_work_is_drawn_where_the_plan_has_it(name: str, number: int) -> None:
    """Jaw faces, parallels' tops, straps with stud and heel, and plate, seen and hidden sides together, are the set-up's boxes."""
    above, front = pictures(name, number)
    for box in recorded(name).setups[number - 1].boxes:
        group = box.name.replace(" ", "-")
        (x0, y0, z0), (x1, y1, z1) = box.low, box.high
        if box.name in ("bed", "table"):
            assert group not in above.groups()
            assert front.box(group, "holding")[3] == pytest.approx(z1, abs=PAPER / front.scale)
            continue
        assert above.box(group, "holding", "holding-behind") == pytest.approx((x0, y0, x1, y1), abs=PAPER / above.scale)
        assert front.box(group, "holding", "holding-behind") == pytest.approx((x0, z0, x1, z1), abs=PAPER / front.scale)


@pytest.mark.parametrize("name", ["footstep", "pump_cover"])
def test_the_work_of_the_first_set_up_is_the_casting_about_its_zero(name: str) -> None:
    """Its outline reaches as far as the CAD kernel's own box of the casting, in both views: zero, axes and scale are right."""
    record = recorded(name)
    casting = record.part.casting
    low, high = face_box(casting, range(len(casting.surfaces)), record.setups[0].frame)
    above, front = pictures(name, 1)

    assert above.box("work", "work") == pytest.approx((*low[:2], *high[:2]), abs=FACETS)
    behind = front.box("work", "work", "work-behind")
    assert behind == pytest.approx((low[0], low[2], high[0], high[2]), abs=FACETS)


@pytest.mark.parametrize(("name", "number"), [("footstep", 3), ("pump_cover", 2)])
def test_work_with_a_machined_seat_sits_on_what_it_sits_on(name: str, number: int) -> None:
    """Read from the file alone: the lowest line of the work is the top of the parallels; its back is the angle plate's face."""
    above, front = pictures(name, number)
    if name == "pump_cover":
        lowest = front.box("work", "work", "work-behind")[1]
        assert lowest == pytest.approx(front.box("parallel-1", "holding", "holding-behind")[3], abs=FACETS)
    else:
        assert above.box("work", "work")[3] == pytest.approx(above.box("angle-plate", "holding")[1], abs=FACETS)


def test_soft_strips_fill_the_gap_between_jaws_and_a_round() -> None:
    """The pump cover's hub between flat jaws: 1 mm strips of soft metal, so jaw, strip and jaw stand face to face."""
    above, _ = pictures("pump_cover", 2)
    packing = [p for p in hold_of(recorded("pump_cover"), 2).packing if p.place != "seat"]
    assert [p.words[1] for p in packing] == [1.0, 1.0]
    fixed, movable = (above.box(name, "holding", "holding-behind") for name in ("fixed-jaw", "movable-jaw"))
    back, front = (above.box(f"soft-at-{name}", "holding", "holding-behind") for name in ("fixed-jaw", "movable-jaw"))

    assert (back[1], back[3]) == pytest.approx((fixed[1] - 1.0, fixed[1]), abs=0.02)
    assert (front[1], front[3]) == pytest.approx((movable[3], movable[3] + 1.0), abs=0.02)


def test_the_block_is_drawn_as_it_stands_before_each_set_up() -> None:
    """Worked on paper: X -20 to 63, Y -30 to 30, Z -33 to 3 at first; turned over at 60 wide, on its top, 33 high."""
    first, second = (read(both(block(), n)) for n in (1, 2))

    assert first[0].box("work", "work") == pytest.approx((-20.0, -30.0, 63.0, 30.0), abs=FACETS)
    assert first[1].box("work", "work", "work-behind") == pytest.approx((-20.0, -33.0, 63.0, 3.0), abs=FACETS)
    assert second[0].box("work", "work") == pytest.approx((-20.0, -30.0, 60.0, 30.0), abs=FACETS)
    assert second[1].box("work", "work", "work-behind") == pytest.approx((-20.0, 0.0, 60.0, 33.0), abs=FACETS)


def test_the_stages_lose_what_the_rows_of_the_set_ups_before_took() -> None:
    """Volumes by closed form: 83 x 60 x 36 less the core; then 80 x 60 x 33 less all its holes.

    A cutter's outline has 24 corners at least, on the circle: by the area of such a polygon up to 1.14 % of a hole stays.
    """
    before, after = (mesh_volume(mesh) for mesh in stages(block()))
    core = math.pi * 12.5**2 * 36.0
    tip = math.pi * 3.4**2 * (3.4 / math.tan(math.radians(59.0))) / 3.0
    holes = 33.0 * math.pi * (15.0**2 + 5.0**2 + 4.5**2 + 3.3**2) + 16.0 * math.pi * 3.4**2 + tip
    seat = 9.0 * math.pi * (7.5**2 - 4.5**2)
    sink = math.pi * 3.0 * (6.3**2 + 6.3 * 3.3 + 3.3**2) / 3.0 - 3.0 * math.pi * 3.3**2

    assert before == pytest.approx(83.0 * 60.0 * 36.0 - core, rel=2e-4)
    assert 0.0 <= after - (80.0 * 60.0 * 33.0 - holes - seat - sink) < 0.0115 * (holes + seat + sink)


def test_a_measured_casting_is_drawn_where_the_placement_lays_it() -> None:
    """The part lies 2 mm to the right and 1 mm up in the casting: about the part's zero the casting lies 2 left, 1 down."""
    pose = Rigid(shift=(2.0, 0.0, 1.0))
    placed: Any = SimpleNamespace(measured=True, placement=SimpleNamespace(pose=pose))
    above, front = read(both(replace(block(), placed=(placed,)), 1))

    assert above.box("work", "work") == pytest.approx((-22.0, -30.0, 61.0, 30.0), abs=FACETS)
    assert front.box("work", "work", "work-behind") == pytest.approx((-22.0, -34.0, 61.0, 2.0), abs=FACETS)


@pytest.mark.parametrize(("name", "number"), SETUPS)
def test_the_zero_is_marked_at_the_zero_with_its_axes(name: str, number: int) -> None:
    """A ring about the place that all coordinates count from, and the letters of the axes that are driven in that view."""
    for picture, letters in zip(pictures(name, number), ("XY", "XZ"), strict=True):
        zero = picture.groups()["zero"]
        ring = next(zero.iter("{http://www.w3.org/2000/svg}circle"))
        axes = [end for line in picture.lines("zero", "axis") for end in line[1:]]

        assert (float(ring.attrib["cx"]), float(ring.attrib["cy"])) == picture.zero
        assert "".join(text.text or "" for text in zero.iter("{http://www.w3.org/2000/svg}text")) == letters
        right, up = (picture.mm(end) for end in axes)
        assert right[0] > 0 == pytest.approx(right[1])
        assert up[1] > 0 == pytest.approx(up[0])


# --- numbers ----------------------------------------------------------------


@pytest.mark.parametrize(("name", "number"), SETUPS)
def test_balloons_number_what_is_cut_alike_in_both_views(name: str, number: int) -> None:
    """1 to n in working order; no leader crosses another, a balloon that is not its own, or words."""
    record = recorded(name)
    for picture in pictures(name, number):
        found = picture.balloons()
        assert [(n, found[n][0]) for n in sorted(found)] == list(numbered_features(record, number))
        leaders = {n: (leader[0], leader[-1]) for n, (_, _, _, leader) in found.items()}
        assert [pair for pair in combinations(leaders, 2) if crosses(*leaders[pair[0]], *leaders[pair[1]])] == []
        rings = {n: (x - r, y - r, x + r, y + r) for n, (_, (x, y), r, _) in found.items()}
        assert [(n, m) for n in leaders for m in rings if n != m and runs_through(*leaders[n], rings[m])] == []
        words = [(text, box) for text, box, _ in picture.words() if not text.isdigit()]
        assert [(n, text) for n in leaders for text, box in words if runs_through(*leaders[n], box)] == []


def test_a_hole_is_pointed_at_on_its_rim() -> None:
    """From above each leader of a hole ends half its diameter from its axis."""
    record = recorded("pump_cover")
    frame = record.setups[1].frame
    picture = pictures("pump_cover", 2)[0]
    holes = {hole.name: hole for hole in record.part.holes}
    checked = 0
    for feature, _, _, leader in picture.balloons().values():
        if feature in holes:
            x, y, _ = frame.local(holes[feature].centre)
            assert math.dist(picture.mm(leader[-1]), (x, y)) == pytest.approx(0.5 * holes[feature].diameter, abs=0.02)
            checked += 1
    assert checked > 4


# --- what hides what --------------------------------------------------------


def visible_points(solid: Solid, view: Frame) -> Any:
    lines = view_lines(solid, view)
    return np.array([p for curve in lines.visible for p in _dense(polyline(curve, 0.005))])


def _dense(points: Any) -> Any:
    return [p for a, b in pairwise(points) for p in np.linspace(a, b, max(2, int(math.dist(a, b) / 0.1)))]


@pytest.mark.parametrize("side", ["above", "front"])
def test_hidden_lines_agree_with_the_cad_kernel(side: str) -> None:
    """A drilled plate, every line that shows lies on a line of OpenCASCADE's exact hidden-line removal, and the other way."""
    plate = drilled_plate()[0]
    view = Frame((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    if side == "front":
        view = Frame((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0))
    mesh = skin_of(plate).mesh
    shown, _ = cut_to_sight(drawn_lines(mesh, view), Sight(mesh, view), 0.25)
    ours = np.array([p for a, b in shown[:, :, :2] for p in np.linspace(a, b, max(2, int(np.linalg.norm(b - a) / 0.1)))])
    kernel = visible_points(plate, view)

    assert _furthest(ours, kernel) < 0.3
    assert _furthest(kernel, ours) < 0.3


def _furthest(these: Any, those: Any) -> float:
    from scipy.spatial import cKDTree

    return float(cKDTree(those).query(these)[0].max())


def test_the_movable_jaw_hides_the_work_from_the_front() -> None:
    """Before the block's foot stands the jaw, up to 55 right: its lines are dashed there, none is seen; above it none is dashed."""
    _, front = read(both(block(), 1))
    _, _, right, top = front.box("movable-jaw", "holding")
    seen = [p for line in front.lines("work", "work") for p in map(front.mm, line) if p[0] < right - 0.5]
    dashed = [front.mm(p) for line in front.lines("work", "work-behind") for p in line]

    assert top == pytest.approx(-20.0, abs=PAPER / front.scale)
    assert min(y for _, y in seen) > top - 0.5
    assert dashed
    assert max(y for _, y in dashed) < top + 0.5


@pytest.mark.parametrize(("name", "number"), SETUPS)
def test_steel_is_hatched_and_thin_and_the_work_is_bold_and_plain(name: str, number: int) -> None:
    """Told apart without colour: everything is black on white, hatch only on steel, the work's outline the widest line of both."""
    for picture in pictures(name, number):
        text = picture.svg.decode()
        assert {part.split('"')[0] for part in text.split('stroke="')[1:]} == {"#000"}
        assert {part.split('"')[0] for part in text.split('fill="')[1:]} <= {"none", "#000", "#fff"}
        assert picture.lines("work", "hatch") == []
        width = {
            p.attrib["class"]: float(p.attrib["stroke-width"])
            for p in picture.root.iter()
            if "stroke-width" in p.attrib and "class" in p.attrib
        }
        assert width["work"] > width["holding"] > width["hatch"]
        assert picture.lines(hatched_piece(recorded(name), number, picture), "hatch")


def hatched_piece(record: Record, number: int, picture: Picture) -> str:
    """Return a piece that surely shows in a view: the nearer jaw, or a strap."""
    method = hold_of(record, number).method
    if method == "vise":
        return "movable-jaw"
    return "angle-plate" if method == "angle plate" and picture is pictures("footstep", 3)[0] else "strap-1"


# --- scale, words, paper ----------------------------------------------------


@pytest.mark.parametrize(("name", "number"), SETUPS)
def test_both_views_have_one_scale_the_largest_that_fits(name: str, number: int) -> None:
    """The next larger scale of the list does not fit the room, seen by a room a hair larger than the page it would need."""
    record = recorded(name)
    for room in (ROOM, Room((92.0, 104.0), (0.0, 0.0))):
        above, front = both(record, number, room=room)
        assert above.scale == front.scale
        assert above.scale in SCALES
        for view in (above, front):
            assert view.width <= room.half[0]
            assert view.height <= room.half[1]
            assert Picture(view.svg).size == pytest.approx((view.width, view.height), abs=1e-3)
    assert above.scale <= Picture(pictures(name, number)[0].svg).scale


@pytest.mark.parametrize("number", [1, 2])
def test_long_work_stands_one_view_below_the_other_where_that_is_larger(number: int) -> None:
    """Half of an A4 page shows the crank at 1:4 at best; a column of 120 x 172 shows it larger, both views inside it."""
    halves, none = (92.0, 104.0), (0.0, 0.0)
    small = holding_views(recorded("bell_crank"), number, Room(halves, none), "mm")
    large = holding_views(recorded("bell_crank"), number, Room(halves, (120.0, 172.0)), "mm")

    assert (small.stacked, large.stacked) == (False, True)
    assert small.above.scale <= 0.25
    assert large.above.scale == large.front.scale > small.above.scale
    assert max(large.above.width, large.front.width) <= 120.0
    assert large.above.height + large.front.height <= 172.0
    for view in (large.above, large.front):
        picture = Picture(view.svg)
        left = float(picture.root.attrib["viewBox"].split()[0])
        assert view.zero == pytest.approx(picture.zero[0] - left, abs=2e-3)


def test_a_vise_far_longer_than_the_work_is_broken_off_and_says_so() -> None:
    """Jaws 400 long about an 83 mm block: drawn 30 mm beyond it each way, with break lines; the block keeps its scale."""
    long, short = (read(both(block(jaws=jaws), 1)) for jaws in (200.0, 60.0))
    x0, _, x1, _ = long[0].box("fixed-jaw", "holding", "holding-behind")

    assert (x0, x1) == pytest.approx((-50.0, 93.0), abs=0.05)
    assert len(long[0].lines("fixed-jaw", "break")) == 2
    assert "fixed jaw, broken off" in [text for text, _, _ in long[0].words()]
    assert short[0].lines("fixed-jaw", "break") == []
    assert "fixed jaw" in [text for text, _, _ in short[0].words()]
    assert long[0].scale >= short[0].scale


@pytest.mark.parametrize(("name", "number"), SETUPS)
def test_words_are_large_enough_and_do_not_cover_each_other(name: str, number: int) -> None:
    """11 pt type at least, read at arm's length; every piece of steel that shows has its word."""
    for picture in pictures(name, number):
        words = picture.words()
        assert min(size for _, _, size in words) >= 11.0 * 25.4 / 72.0 - 0.05
        wordy = [(text, box) for text, box, _ in words]
        assert [(a, b) for (a, p), (b, q) in combinations(wordy, 2) if _overlap(p, q)] == []
    said = " ".join(text for picture in pictures(name, number) for text, _, _ in picture.words())
    expected = {"vise": ("fixed jaw", "movable jaw", "bed"), "table": ("strap", "table"), "angle plate": ("angle plate", "strap")}
    assert [word for word in expected[hold_of(recorded(name), number).method] if word not in said] == []


def _overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@pytest.mark.parametrize(("units", "wanted", "other"), [("mm", "parallel 16 mm", " in"), ("inch", "parallel 0.63 in", "mm")])
def test_sizes_are_said_in_the_units_of_the_sheet(units: Any, wanted: str, other: str) -> None:
    """16 mm is 0.6299 in, said as the words beside it say it: to 0.001; a sheet never has both."""
    said = [text for view in both(block(units), 1, units) for text, _, _ in Picture(view.svg).words()]

    assert any(text.startswith("parallel") for text in said)
    assert [text for text in said if other in text] == []
    assert wanted in said


def test_packing_is_as_high_as_the_words_say() -> None:
    """Each strap of the footstep has packing under it, on the table, of a size that the sheet names."""
    hold = hold_of(recorded("footstep"), 2)
    named = {float(v) for p in hold.packing if p.place == "seat" for v in p.words if isinstance(v, float)}
    _, front = pictures("footstep", 2)
    table = next(box.high[2] for box in hold.boxes if box.name == "table")
    drawn = [group for group in front.groups() if group.startswith("packing-")]
    assert len(drawn) == sum(box.name.startswith("strap") for box in hold.boxes)
    for group in drawn:
        _, low, _, high = front.box(group, "holding", "holding-behind")
        assert low == pytest.approx(table, abs=0.02)
        assert min(abs(high - low - size) for size in named) < 0.02


@pytest.mark.parametrize(("name", "number"), SETUPS)
def test_a_small_view_has_neither_words_nor_numbers(name: str, number: int) -> None:
    """For the cover: work and holding only, in the room it is given and most of its width or height."""
    view = small_view(recorded(name), number, (40.0, 30.0))
    picture = Picture(view.svg)

    assert picture.words() == []
    assert picture.lines("work", "work")
    assert picture.lines("movable-jaw" if hold_of(recorded(name), number).method == "vise" else "strap-1", "hatch")
    assert view.width <= 40.0
    assert view.height <= 30.0
    assert view.width > 30.0 or view.height > 22.5


def test_the_same_bytes_twice() -> None:
    """Nothing depends on what was looked at before."""
    first = both(block(), 2)
    for kept in (stages_module.stages, mesh_lines._edges, mesh_lines._seen, mesh_lines._tree):
        kept.cache_clear()

    assert [view.svg for view in both(block(), 2)] == [view.svg for view in first]


def test_packing_has_no_place_of_its_own_in_a_jaw() -> None:
    """A soft rod of 8 at half the grip stands between jaw and work, its middle half the grip below the jaws' top."""
    record = block()
    assert isinstance(record.plan, Plan)
    held = record.plan.setups[0]
    rod = replace(held.hold, packing=(Packing("clamp", ("soft round rod ", 8.0, " at half the grip")),))
    plan = replace(record.plan, setups=(replace(held, hold=rod), *record.plan.setups[1:]))
    above, front = read(both(replace(record, plan=plan), 1))

    assert above.box("soft-at-movable-jaw", "holding", "holding-behind")[1::2] == pytest.approx((-30.0, -22.0), abs=0.02)
    middle = sum(front.box("soft-at-movable-jaw", "holding", "holding-behind")[1::2]) / 2.0
    assert middle == pytest.approx(-20.0 - 6.5, abs=0.02)
