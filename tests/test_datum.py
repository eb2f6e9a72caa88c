"""The zero: where the readout shows 0, in which frame, and how a wrong name is answered."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geom.datum.zero import Zero, resolve_zero, zero_facing
from geom.errors import JobError
from geom.kernel.shape import Solid
from geom.model.part import Part, PartFace, PartHole
from geom.model.pattern_centre import circle_centre, pattern_centre
from geom.settings.records import DatumSettings
from geom.space import Vec3, cross, dot, norm, sub

SIZE: Vec3 = (120.0, 80.0, 40.0)
LOW: Vec3 = (10.0, 20.0, 5.0)
"""The test block's near lower left corner; off the origin so that a forgotten origin shows."""


def plane(name: str, axis: Vec3, at: Vec3) -> PartFace:
    """A plane face of the block."""
    return PartFace(name, "plane", "machined", (), axis, at, axis, 0.0, 0.0, False, at, 100.0)


def boss(name: str, at: Vec3, axis: Vec3) -> PartFace:
    """A round outside face."""
    return PartFace(name, "cylinder", "machined", (), None, at, axis, 15.0, 0.0, False, at, 100.0)


def drilled(name: str, at: Vec3, axis: Vec3 = (0.0, 0.0, 1.0), through: bool = True) -> PartHole:
    """A plain 8 mm hole."""
    return PartHole(
        name, "through" if through else "blind", 8.0, at, axis, through, None, 40.0, None, None, None, None, (), (), "solid"
    )


def block(*holes: PartHole, faces: tuple[PartFace, ...] = ()) -> Part:
    """A block from (10, 20, 5) to (130, 100, 45) with its six faces and any holes."""
    (x, y, z), (a, b, c) = LOW, SIZE
    mid = (x + a / 2, y + b / 2, z + c / 2)
    sides = (
        plane("top", (0.0, 0.0, 1.0), (mid[0], mid[1], z + c)),
        plane("bottom", (0.0, 0.0, -1.0), (mid[0], mid[1], z)),
        plane("left", (-1.0, 0.0, 0.0), (x, mid[1], mid[2])),
        plane("right", (1.0, 0.0, 0.0), (x + a, mid[1], mid[2])),
        plane("front", (0.0, -1.0, 0.0), (mid[0], y, mid[2])),
        plane("back", (0.0, 1.0, 0.0), (mid[0], y + b, mid[2])),
    )
    solid = Solid("block", None, (), a * b * c, mid, (LOW, (x + a, y + b, z + c)))
    return Part("block", "grey iron", solid, solid, (*sides, *faces), holes)


def zero_of(part: Part, **datum: object) -> Zero:
    """Resolve a [datum] table as job.toml would give it."""
    where = {key: f"job.toml line 9, datum.{key}" for key in datum}
    return resolve_zero(part, DatumSettings(**datum, where=where))  # type: ignore[arg-type]


def refusal(part: Part, **datum: object) -> str:
    """The message of a [datum] that must be refused."""
    with pytest.raises(JobError) as caught:
        zero_of(part, **datum)
    return str(caught.value)


BORE = drilled("bore 1", (50.0, 70.0, 45.0))

# --- published and hand-worked ------------------------------------------------


def test_without_a_name_zero_is_the_middle_of_the_box_on_top() -> None:
    """Box 10..130, 20..100, 5..45: middle (70, 60), top 45; and the sheet says nobody chose it."""
    zero = zero_of(block())

    assert zero.frame.origin == (70.0, 60.0, 45.0)
    assert (zero.frame.x, zero.frame.y, zero.frame.z) == ((1, 0, 0), (0, 1, 0), (0, 0, 1))
    assert zero.source == "default"
    assert "the job names no zero" in zero.why
    assert "middle of the finished part's box" in zero.why
    assert "Z 0 is top" in zero.why


def test_the_axis_of_a_bore_is_zero_at_the_height_of_the_z_face() -> None:
    """A centre zero: the bore's axis at (50, 70), Z 0 on the bottom face looking down, X right, Y then runs the other way."""
    top = zero_of(block(BORE), zero="bore 1")
    bottom = zero_of(block(BORE), zero="bore 1", z="bottom")

    assert (top.frame.origin, top.source) == ((50.0, 70.0, 45.0), "job")
    assert bottom.frame.origin == (50.0, 70.0, 5.0)
    assert (bottom.frame.x, bottom.frame.y, bottom.frame.z) == ((1, 0, 0), (0, -1, 0), (0, 0, -1))
    assert top.name == "the axis of bore 1, Z 0 on top"
    assert top.features == ("bore 1", "top")


def test_a_boss_has_an_axis_too() -> None:
    """An outside cylinder is picked up with the indicator as well as a bore."""
    part = block(faces=(boss("boss 1", (90.0, 40.0, 12.0), (0.0, 0.0, 1.0)),))

    assert zero_of(part, zero="boss 1").frame.origin == (90.0, 40.0, 45.0)


def test_the_middle_of_two_pairs_of_faces() -> None:
    """Half way between the edge-finder readings of both sides: (10 + 130)/2 and (20 + 100)/2."""
    zero = zero_of(block(), middle=("left", "right", "front", "back"))

    assert zero.frame.origin == pytest.approx((70.0, 60.0, 45.0), abs=1e-12)
    assert zero.name == "the middle of left and right and the middle of front and back, Z 0 on top"
    assert zero.features == ("left", "right", "front", "back", "top")


def test_a_corner_of_two_or_three_faces() -> None:
    """Left, front and top meet at (10, 20, 45)."""
    for datum in ({"corner": ("left", "front")}, {"corner": ("left", "top", "front")}, {"corner": ("left", "front"), "z": "top"}):
        assert zero_of(block(), **datum).frame.origin == pytest.approx((10.0, 20.0, 45.0), abs=1e-12)


def test_a_middle_one_way_and_an_edge_the_other() -> None:
    """X 0 in the middle of the width, Y 0 on the face against the fixed jaw."""
    zero = zero_of(block(), middle=("left", "right"), corner=("back",))

    assert zero.frame.origin == pytest.approx((70.0, 100.0, 45.0), abs=1e-12)


def test_the_centre_of_three_holes_on_a_bolt_circle() -> None:
    """Three holes at 90, 210 and 330 degrees on a 60 mm circle about (70, 60), by trigonometry."""
    at = [(70 + 30 * math.cos(math.radians(a)), 60 + 30 * math.sin(math.radians(a)), 45.0) for a in (90, 210, 330)]
    part = block(*(drilled(f"hole {i}", p) for i, p in enumerate(at, 1)))
    zero = zero_of(part, pattern=("hole 1", "hole 2", "hole 3"))

    assert zero.frame.origin == pytest.approx((70.0, 60.0, 45.0), abs=1e-9)
    assert "the centre of the circle of hole 1 to hole 3" in zero.why


def test_the_centre_of_four_holes_on_a_rectangle() -> None:
    """Holes at 30/110 by 35/75: centre (70, 55)."""
    at = [(30.0, 35.0), (110.0, 35.0), (110.0, 75.0), (30.0, 75.0)]
    part = block(*(drilled(f"hole {i}", (*p, 45.0)) for i, p in enumerate(at, 1)))
    zero = zero_of(part, pattern=("hole 1", "hole 2", "hole 3", "hole 4"))

    assert zero.frame.origin == pytest.approx((70.0, 55.0, 45.0), abs=1e-9)
    assert "the centre of the rectangle of hole 1 to hole 4" in zero.why


def test_x_points_where_the_job_says() -> None:
    """Along a part axis, towards a hole, or towards a face; Y follows a quarter turn on, seen from above."""
    part = block(BORE, drilled("hole 1", (50.0, 30.0, 45.0)))

    assert zero_of(part, zero="bore 1", x="-x").frame.x == (-1, 0, 0)
    assert zero_of(part, zero="bore 1", x="towards hole 1").frame.x == pytest.approx((0, -1, 0), abs=1e-12)
    assert zero_of(part, zero="bore 1", x="towards back").frame.x == (0, 1, 0)
    assert zero_of(part, zero="bore 1", x="towards hole 1").frame.y == pytest.approx((1, 0, 0), abs=1e-12)


def test_a_bore_that_lies_sideways_faces_the_spindle_its_own_way() -> None:
    """A blind hole from the right face: up is its axis, Z 0 the right face, X falls back to the part's Y."""
    zero = zero_of(block(drilled("hole 1", (130.0, 50.0, 30.0), (1.0, 0.0, 0.0), through=False)), zero="hole 1")

    assert zero.frame.z == (1, 0, 0)
    assert zero.frame.x == (0, 1, 0)
    assert zero.frame.origin == (130.0, 50.0, 30.0)
    assert zero.features == ("hole 1", "right")


def test_a_blind_hole_from_below_is_seen_from_below() -> None:
    """Nobody can indicate a hole that does not open to the spindle."""
    assert zero_of(block(drilled("hole 1", (50.0, 50.0, 5.0), (0.0, 0.0, -1.0), through=False)), zero="hole 1").frame.z == (
        0,
        0,
        -1,
    )


# --- set-ups that face another way ---------------------------------------------


def test_turned_over_the_work_rolls_about_x() -> None:
    """Turned front to back in the vise: X stays, Y and Z change sign, the zero is the same point."""
    zero = zero_of(block(BORE), zero="bore 1")
    under = zero_facing(zero, (0.0, 0.0, -1.0))

    assert under.frame.origin == zero.frame.origin
    assert under.frame.x == (1, 0, 0)
    assert under.frame.y == (0, -1, 0)
    assert zero_facing(zero, (0.0, 0.0, 1.0)) is zero


def test_stood_on_end_x_is_the_first_directions_y() -> None:
    """Facing the right end, X cannot stay X; it becomes the first direction's Y and Y its Z."""
    frame = zero_facing(zero_of(block(BORE), zero="bore 1"), (1.0, 0.0, 0.0)).frame

    assert (frame.x, frame.y, frame.z) == ((0, 1, 0), (0, 0, 1), (1, 0, 0))


_UNIT = st.floats(-1, 1).filter(lambda c: abs(c) > 1e-3)


@given(up=st.tuples(_UNIT, _UNIT, _UNIT), point=st.tuples(*[st.floats(-500, 500)] * 3))
def test_a_facing_keeps_the_zero_and_all_distances(up: Vec3, point: Vec3) -> None:
    """Any direction: right-handed, Z along it, X within 45 degrees of the first X or Y, distances to the zero unchanged."""
    zero = zero_of(block(BORE), zero="bore 1")
    frame = zero_facing(zero, up).frame

    assert frame.origin == zero.frame.origin
    assert dot(frame.z, up) == pytest.approx(norm(up), rel=1e-12)
    assert dot(cross(frame.x, frame.y), frame.z) == pytest.approx(1.0, abs=1e-12)
    assert max(dot(frame.x, zero.frame.x), dot(frame.x, zero.frame.y)) > 0.7
    assert norm(frame.local(point)) == pytest.approx(norm(sub(point, frame.origin)), rel=1e-9, abs=1e-9)


@given(
    centre=st.tuples(st.floats(-300, 300), st.floats(-300, 300)),
    radius=st.floats(5, 400),
    turns=st.lists(st.floats(0, 2 * math.pi), min_size=3, max_size=12),
)
def test_a_circle_is_found_from_any_of_its_points(centre: tuple[float, float], radius: float, turns: list[float]) -> None:
    """Points spread over at least a third of a circle give its centre to a micrometre."""
    turns = [*turns, turns[0] + 2.1, turns[0] + 4.2]
    found = circle_centre([(centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in turns])

    assert found is not None
    assert math.dist(found, centre) < 1e-3


def test_a_two_by_three_grid_is_a_rectangle_round_its_middle() -> None:
    """Six holes 30 apart in X, 40 in Y, off the origin: the middle is (40, 30)."""
    grid = [(10.0 + 30 * i, 10.0 + 40 * j) for i in range(3) for j in range(2)]

    assert pattern_centre(grid, "").centre == pytest.approx((40.0, 30.0), abs=1e-12)
    assert pattern_centre(grid, "").says == "rectangle"


# --- refusals -------------------------------------------------------------------


def test_a_missing_name_lists_what_there_is() -> None:
    """The nearest name first, then all bores, bosses and holes."""
    says = refusal(block(BORE, drilled("hole 1", (90.0, 60.0, 45.0))), zero="bore1")

    assert says.startswith("job.toml line 9, datum.zero:")
    assert 'did you mean "bore 1"?' in says
    assert '"bore 1", "hole 1"' in says


def test_an_ambiguous_name_lists_the_candidates() -> None:
    """ "hole" alone could be either."""
    says = refusal(block(drilled("hole 1", (90.0, 60.0, 45.0)), drilled("hole 2", (60.0, 60.0, 45.0))), zero="hole")

    assert '"hole" could be "hole 1", "hole 2"' in says


def test_a_part_without_holes_says_so() -> None:
    """No list of nothing."""
    assert 'the part has no bore, boss or hole at all, so none called "bore 1"' in refusal(block(), zero="bore 1")


@pytest.mark.parametrize(
    ("datum", "says"),
    [
        ({"zero": "top"}, "top has no axis; name a bore, boss or hole"),
        ({"z": "botom"}, 'no plane face called "botom" (did you mean "bottom"?)'),
        ({"z": "boss 1"}, "boss 1 is a cylinder, not a plane face"),
        ({"zero": "bore 1", "z": "left"}, "bore 1 does not run square to left, which is Z 0"),
        ({"middle": ("left", "right")}, "one direction is settled, two are needed"),
        ({"corner": ("left",)}, "one direction is settled, two are needed"),
        ({"corner": ("left", "right")}, "settle the same direction"),
        ({"middle": ("left", "front", "right", "back")}, "left and front are not parallel"),
        ({"middle": ("left", "left", "front", "back")}, "left is named twice"),
        ({"middle": ("left", "right", "front")}, "has 3 faces; name them in pairs"),
        ({"middle": ("left", "right", "top", "bottom")}, "does not stand square to top"),
        ({"middle": ("left", "right", "front", "back"), "corner": ("left",)}, "3 directions are settled, two are needed"),
        ({"zero": "bore 1", "corner": ("left", "front")}, "the zero is named twice, by zero and corner"),
        ({"pattern": ("bore 1", "bore 1", "bore 1")}, "a hole is named twice"),
        ({"pattern": ("bore 1", "hole 1", "hole 2")}, "lie neither on one circle nor on a rectangle"),
        ({"pattern": ("bore 1", "hole 9", "hole 2")}, 'no hole called "hole 9"'),
        ({"x": "sideways"}, '"sideways" is no direction; give +x, -x, +y'),
        ({"x": "+z"}, "X would point along Z"),
        ({"zero": "bore 1", "x": "towards bore 1"}, "lies on the zero itself"),
        ({"zero": "bore 1", "x": "towards hole 77"}, 'no face or hole called "hole 77"'),
    ],
)
def test_faces_and_holes_that_do_not_settle_one_point_are_refused(datum: dict[str, object], says: str) -> None:
    """Each refusal names the key with its line and what to do instead."""
    part = block(
        BORE,
        drilled("hole 1", (60.0, 70.0, 45.0)),
        drilled("hole 2", (70.0, 70.0, 45.0)),
        faces=(boss("boss 1", (90.0, 40.0, 12.0), (0.0, 0.0, 1.0)),),
    )

    message = refusal(part, **datum)

    assert says in message
    assert message.startswith("job.toml line 9, datum.")


def test_a_leaning_bore_needs_a_z_face() -> None:
    """A part has no one top along an axis at 30 degrees."""
    lean = (math.sin(math.radians(30)), 0.0, math.cos(math.radians(30)))
    part = block(drilled("bore 1", (60.0, 60.0, 45.0), lean), faces=(plane("slope", lean, (60.0, 60.0, 45.0)),))

    assert "the axis leans" in refusal(part, zero="bore 1")
    assert zero_of(part, zero="bore 1", z="slope").frame.z == pytest.approx(lean, abs=1e-12)
