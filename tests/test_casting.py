"""Castings from plain bodies: draft, radii, allowance, cores, filled holes, and machining the part out."""

import math

import cadquery as cq
import pytest

from geom.errors import GeometryError
from geom.kernel.edges import edges_of
from geom.kernel.shape import Solid, from_cadquery
from geom.model.casting import (
    below,
    cored,
    drafted,
    drafted_round,
    filled,
    fused,
    is_outer,
    is_root,
    less,
    machine,
    rounded,
    with_allowance,
)
from geom.model.feature import Bore, Boss, Face, Feature, Hole
from geom.model.hole_pattern import on_circle
from geom.space import Vec3, angle_between
from tests.catalogue import block_in_block, block_with_cored_bore, drilled_plate

UP: Vec3 = (0.0, 0.0, 1.0)
DOWN: Vec3 = (0.0, 0.0, -1.0)


def solid(body: object) -> Solid:
    """Return a casting helper's outcome, checked by the kernel."""
    return from_cadquery(body, "body")


def lean(height: float, degrees: float) -> float:
    """How far a drafted side comes in over a height, mm."""
    return height * math.tan(math.radians(degrees))


def knee() -> cq.Workplane:
    """An L, 130 x 95, its legs 18 thick."""
    return cq.Workplane("XY").polyline([(0, 0), (130, 0), (130, 18), (18, 18), (18, 95), (0, 95)]).close()


def frustum(a: float, b: float, height: float, degrees: float) -> float:
    """Volume of a drafted block by the prismoid rule, h (A0 + 4 Am + A1) / 6, mm3."""
    areas = [(a - 2 * lean(z, degrees)) * (b - 2 * lean(z, degrees)) for z in (0.0, height / 2, height)]
    return height * (areas[0] + 4 * areas[1] + areas[2]) / 6


def cone(radius: float, height: float, degrees: float) -> float:
    """Volume of a drafted round, pi h / 3 (R^2 + R r + r^2), mm3."""
    r = radius - lean(height, degrees)
    return math.pi * height / 3 * (radius**2 + radius * r + r**2)


def rectangle(a: float, b: float) -> cq.Workplane:
    """A sketched rectangle at the parting plane z = 0."""
    return cq.Workplane("XY").rect(a, b)


# --- draft ------------------------------------------------------------------


def test_a_drafted_block_has_the_volume_of_the_prismoid_rule() -> None:
    """Handbook: h (A0 + 4 Am + A1) / 6 is exact for a frustum."""
    assert solid(drafted(rectangle(60.0, 40.0), 30.0, draft=3.0)).volume == pytest.approx(frustum(60.0, 40.0, 30.0, 3.0), rel=1e-9)


def test_a_body_split_at_the_parting_plane_leans_in_both_ways() -> None:
    """Two frustums back to back; the widest section is at the parting plane and nowhere else."""
    made = solid(drafted(rectangle(60.0, 40.0), 30.0, 12.0, draft=2.0))

    assert made.volume == pytest.approx(frustum(60.0, 40.0, 30.0, 2.0) + frustum(60.0, 40.0, 12.0, 2.0), rel=1e-9)
    assert made.box == ((-30.0, -20.0, -12.0), (30.0, 20.0, 30.0))


def test_every_side_leans_by_the_draft_and_no_other_angle() -> None:
    """A protractor on each side face: 90 + draft from the way it is drawn."""
    made = solid(drafted(rectangle(60.0, 40.0), 30.0, 12.0, draft=2.5))
    sides = [angle_between(s.normal, UP) for s in made.surfaces if abs(s.normal[2]) < 0.5]

    assert sorted(sides) == pytest.approx([87.5] * 4 + [92.5] * 4)


def test_a_drafted_round_is_two_frustums_of_a_cone() -> None:
    """Handbook: pi h / 3 (R^2 + R r + r^2), each way from the parting plane; its sides are true cones."""
    made = solid(drafted_round((5.0, 0.0, 10.0), UP, 70.0, 40.0, 15.0, draft=2.0))

    assert made.volume == pytest.approx(cone(35.0, 40.0, 2.0) + cone(35.0, 15.0, 2.0), rel=1e-9)
    assert [abs(s.half_angle) for s in made.surfaces if s.kind == "cone"] == pytest.approx([2.0, 2.0])
    assert made.box == ((-30.0, -35.0, -5.0), (40.0, 35.0, 50.0))


def test_an_outline_of_arcs_drafts_into_planes_and_cones() -> None:
    """An obround 60 x 20 leaning in 2 degrees over 15: prismoid rule with obround areas w (L - w) + pi w^2 / 4."""

    def area(z: float) -> float:
        w = 20.0 - 2 * lean(z, 2.0)
        return w * 40.0 + math.pi * w**2 / 4

    made = solid(drafted(cq.Workplane("XY").slot2D(60.0, 20.0), 15.0, draft=2.0))

    assert made.volume == pytest.approx(15.0 * (area(0) + 4 * area(7.5) + area(15.0)) / 6, rel=1e-9)
    assert {s.kind for s in made.surfaces} == {"plane", "cone"}


def test_an_outline_may_be_a_sketch_a_face_or_a_wire() -> None:
    """Whatever a model has in hand gives the same body."""
    sketch = cq.Sketch().rect(60.0, 40.0)
    face = cq.Face.makePlane(60.0, 40.0)
    volumes = [solid(drafted(o, 30.0, draft=3.0)).volume for o in (sketch, face, face.outerWire(), cq.Workplane(face))]

    assert volumes == pytest.approx([frustum(60.0, 40.0, 30.0, 3.0)] * 4)


@pytest.mark.parametrize(
    ("outline", "up", "draft", "says"),
    [
        (rectangle(10.0, 40.0), 200.0, 2.0, "leaves nothing"),
        (rectangle(60.0, 40.0), 30.0, 16.0, "0 to 15 degrees"),
        (rectangle(60.0, 40.0), 30.0, math.nan, "0 to 15 degrees"),
        (rectangle(60.0, 40.0), 0.0, 2.0, "no height"),
        (rectangle(60.0, 40.0), math.inf, 2.0, "no height"),
        (cq.Workplane("XY").rect(60, 40).moveTo(100, 0).rect(10, 10), 30.0, 2.0, "one closed outline"),
        (cq.Sketch().rect(60, 40).circle(5, mode="s"), 30.0, 2.0, "one closed outline"),
    ],
)
def test_draft_that_cannot_be_is_refused(outline: object, up: float, draft: float, says: str) -> None:
    """The kernel collapses quietly when a body is over-tapered; here it is a plain paragraph."""
    with pytest.raises(GeometryError, match=says):
        drafted(outline, up, draft=draft)


def test_a_waist_that_pinches_off_is_refused() -> None:
    """A dumb-bell whose 2 mm neck is gone at 40 mm: two pieces are not one casting."""
    bell = cq.Sketch().push([(-30, 0), (30, 0)]).circle(20).reset().rect(60, 2).clean()

    with pytest.raises(GeometryError, match="pinches the outline off before 40 mm"):
        drafted(bell, 40.0, draft=3.0)


def test_a_round_body_that_closes_before_its_top_is_refused() -> None:
    """10 mm across, 2 degrees: closed at 143 mm."""
    with pytest.raises(GeometryError, match="closes a round body"):
        drafted_round((0.0, 0.0, 0.0), UP, 10.0, 150.0)


# --- radii ------------------------------------------------------------------


def test_a_root_radius_adds_the_metal_of_its_corner() -> None:
    """Closed form: (1 - pi/4) r^2 per mm of a square corner; an L of 40 mm with r = 6."""
    legs = fused(cq.Workplane("XY").box(60, 40, 10, centered=False), cq.Workplane("XY").box(10, 40, 60, centered=False))
    filleted = solid(rounded(legs, 6.0, is_root, "root fillet"))

    assert filleted.volume - solid(legs).volume == pytest.approx((1 - math.pi / 4) * 36.0 * 40.0)


def test_an_outer_radius_takes_the_metal_of_its_corner() -> None:
    """The same closed form, taken off the four upright edges of a block."""
    block = cq.Workplane("XY").box(60, 40, 20)
    made = rounded(block, 5.0, lambda edge: is_outer(edge) and edge.high[2] - edge.low[2] > 15, "corners")

    assert 60 * 40 * 20 - solid(made).volume == pytest.approx(4 * (1 - math.pi / 4) * 25.0 * 20.0)


def test_a_radius_that_does_not_fit_names_its_edges() -> None:
    """30 mm on a 20 mm block, and no edge at all."""
    block = cq.Workplane("XY").box(60, 40, 20)

    with pytest.raises(GeometryError, match="corners: a radius of 30 mm does not fit"):
        rounded(block, 30.0, is_outer, "corners")
    with pytest.raises(GeometryError, match="roots: a radius of 2 mm has no edge"):
        rounded(block, 2.0, is_root, "roots")


def test_a_hollow_corner_of_a_drafted_outline_stays_sharp() -> None:
    """An L's legs thin by twice the lean d: area (130 - 2d)(95 - 2d) - 112 x 77 at each height; the corner is one root edge."""
    made = drafted(knee(), 40.0, 40.0, draft=1.5)
    areas = [(130.0 - 2 * d) * (95.0 - 2 * d) - 112.0 * 77.0 for d in (lean(z, 1.5) for z in (0.0, 20.0, 40.0))]
    roots = [edge for edge in edges_of(solid(made)) if edge.turn == "root"]

    assert solid(made).volume == pytest.approx(2.0 * 40.0 * (areas[0] + 4 * areas[1] + areas[2]) / 6.0, rel=1e-9)
    assert [round(edge.middle[0] + lean(20.0, 1.5), 6) for edge in roots] == [18.0, 18.0]
    assert solid(rounded(made, 4.0, is_root, "roots")).volume > solid(made).volume


def test_the_edge_that_takes_no_radius_is_named_with_its_place() -> None:
    """A step of 3 in a long block takes 5 on neither of its edges' far sides; one upright edge 20 high takes it."""
    step = (
        cq.Workplane("XY")
        .box(60, 40, 20, centered=False)
        .cut(cq.Workplane("XY", origin=(30, 0, 17)).box(30, 40, 3, centered=False))
    )
    upright = [e for e in edges_of(solid(step)) if e.length == pytest.approx(20.0)][:1]
    low = [e for e in edges_of(solid(step)) if e.middle == pytest.approx((30.0, 20.0, 20.0))]
    wanted = {e.middle for e in (*upright, *low)}

    with pytest.raises(
        GeometryError, match=r"does not fit on all 2 edges: not on 40\.0 mm long about 30\.0 20\.0 20\.0; make it smaller"
    ):
        rounded(step, 5.0, lambda edge: edge.middle in wanted, "edges")


# --- joining and cutting ----------------------------------------------------


def test_bodies_in_one_plane_fuse_into_one_face() -> None:
    """Two blocks end to end are one block of six faces."""
    made = solid(fused(cq.Workplane("XY").box(10, 10, 10), cq.Workplane("XY").box(10, 10, 10).translate((10, 0, 0))))

    assert len(made.surfaces) == 6
    assert made.volume == pytest.approx(2000.0)


def test_bodies_that_do_not_touch_are_refused() -> None:
    """A casting is one piece."""
    with pytest.raises(GeometryError, match="2 separate pieces"):
        fused(cq.Workplane("XY").box(10, 10, 10), cq.Workplane("XY").box(10, 10, 10).translate((20, 0, 0)))


def test_a_cut_that_takes_the_body_apart_is_refused() -> None:
    """A saw cut through the middle."""
    with pytest.raises(GeometryError, match="takes it apart"):
        less(cq.Workplane("XY").box(10, 10, 10), cq.Workplane("XY").box(2, 20, 20))


def test_what_is_below_a_sloping_plane_is_a_wedge() -> None:
    """A cube halved corner to corner."""
    wedge = below(cq.Workplane("XY").box(10, 10, 10), (0.0, 0.0, 0.0), (1.0, 0.0, 1.0))

    assert solid(wedge).volume == pytest.approx(500.0)


# --- allowance, cores, filled holes -----------------------------------------


def test_allowance_is_one_prism_of_metal_on_each_named_face() -> None:
    """3 mm on a 60 x 40 top, then 2 mm on the end, now 40 x 23: the corner between them is filled."""
    block = cq.Workplane("XY").box(60, 40, 20, centered=False)
    top, end = Face("top", (0.0, 0.0, 20.0), UP), Face("end", (60.0, 0.0, 0.0), (1.0, 0.0, 0.0))
    made = solid(with_allowance(block, [(top, 3.0), (end, 2.0)]))

    assert made.volume == pytest.approx(60 * 40 * 20 + 60 * 40 * 3 + 40 * 23 * 2)
    assert made.box == ((0.0, 0.0, 0.0), (62.0, 40.0, 23.0))


def test_allowance_leaves_a_bore_open_and_grows_every_pad_of_a_split_face() -> None:
    """A face with a bore keeps the bore; two pads at one height both get their metal."""
    finished, _ = block_with_cored_bore()
    bored = solid(with_allowance(finished, [(Face("top", (0.0, 0.0, 50.0), UP), 3.0)]))
    pads = less(
        cq.Workplane("XY").box(60, 40, 20, centered=False), cq.Workplane("XY").box(20, 40, 5, centered=False).translate((20, 0, 15))
    )
    grown = solid(with_allowance(pads, [(Face("pads", (0.0, 0.0, 20.0), UP), 3.0)]))

    assert bored.volume - finished.volume == pytest.approx((80.0 * 80.0 - math.pi * 400.0) * 3.0)
    assert grown.volume - solid(pads).volume == pytest.approx(40.0 * 40.0 * 3.0)


def test_allowance_on_a_face_that_is_not_there_is_refused() -> None:
    """The name and what to do; an amount of nothing or less, likewise."""
    block = cq.Workplane("XY").box(60, 40, 20, centered=False)

    with pytest.raises(GeometryError, match=r"'lid'.*no flat face"):
        with_allowance(block, [(Face("lid", (0.0, 0.0, 21.0), UP), 3.0)])
    for amount in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(GeometryError, match=r"'top'.*above 0 mm"):
            with_allowance(block, [(Face("top", (0.0, 0.0, 20.0), UP), amount)])


def test_a_core_goes_right_through_on_the_bores_axis() -> None:
    """A 33 mm core in a 50 mm block: pi r^2 h."""
    block = cq.Workplane("XY").box(80, 80, 50)
    bore = Bore("bore", (0.0, 0.0, 25.0), UP, 40.0, core=33.0)

    assert 80 * 80 * 50 - solid(cored(block, bore)).volume == pytest.approx(math.pi * 16.5**2 * 50)
    with pytest.raises(GeometryError, match="no core"):
        cored(block, Bore("bore", (0.0, 0.0, 25.0), UP, 40.0))


def test_filled_holes_leave_the_plate_as_if_never_drilled() -> None:
    """The catalogue's plate with one hole of each kind fills up to a 100 x 60 x 20 block of six faces."""
    plate, _ = drilled_plate()
    holes: list[Hole | Bore] = [
        Hole("through", (15.0, 15.0, 20.0), UP, 9.0),
        Hole("blind", (50.0, 15.0, 20.0), UP, 6.8, depth=14.0),
        Hole("sunk", (85.0, 15.0, 20.0), UP, 11.0, counterbore=(18.0, 10.5)),
        Hole("countersunk", (15.0, 45.0, 20.0), UP, 6.6, countersink=(12.6, 90.0)),
        Hole("flat", (50.0, 45.0, 20.0), UP, 10.0, depth=12.0, point_angle=None),
        Bore("stepped", (85.0, 45.0, 20.0), UP, 12.0, steps=((20.0, 8.0),)),
    ]
    whole = solid(filled(plate, holes))

    assert whole.volume == pytest.approx(100.0 * 60.0 * 20.0)
    assert len(whole.surfaces) == 6


def test_a_hole_that_is_not_there_cannot_be_filled() -> None:
    """The message names it."""
    plate, _ = drilled_plate()

    with pytest.raises(GeometryError, match=r"'gone'.*no such hole"):
        filled(plate, [Hole("gone", (30.0, 30.0, 20.0), UP, 9.0)])


# --- machining --------------------------------------------------------------


def test_machining_a_block_out_of_a_block_gives_the_block() -> None:
    """Six faces at 3 mm each: 60 x 40 x 30 is left, and nothing else."""
    _, rough = block_in_block()
    faces: list[Feature] = [
        Face(f"{axis} {end}", at, tuple(sign * (i == axis) for i in range(3)))  # type: ignore[arg-type]
        for axis in range(3)
        for end, at, sign in (("low", (0.0, 0.0, 0.0), -1.0), ("high", (60.0, 40.0, 30.0), 1.0))
    ]
    finished = solid(machine(rough, faces))

    assert finished.volume == pytest.approx(72000.0)
    assert finished.box == ((0.0, 0.0, 0.0), (60.0, 40.0, 30.0))


def test_as_cast_faces_of_the_finished_part_are_the_castings_own() -> None:
    """Casting first: a side that no cut touches above the base keeps its plane to the last bit."""
    rough = drafted(rectangle(60.0, 40.0), 30.0, draft=3.0)
    finished = solid(machine(rough, [Face("base", (0.0, 0.0, 2.0), DOWN)]))
    cast, left = ([s for s in b.surfaces if abs(s.normal[2]) < 0.5] for b in (solid(rough), finished))

    assert sorted((s.origin, s.axis) for s in left) == sorted((s.origin, s.axis) for s in cast)


def test_holes_on_a_boss_come_out_where_they_are_declared() -> None:
    """A faced boss with four 5 mm holes: the volume is the sum of its parts."""
    rough = cq.Workplane("XY").circle(30).extrude(25)
    features: list[Feature] = [Boss("hub", (0.0, 0.0, 20.0), UP, 60.0), *on_circle(Hole("h", (0.0, 0.0, 20.0), UP, 5.0), 4, 40.0)]

    assert solid(machine(rough, features)).volume == pytest.approx(math.pi * 900.0 * 20.0 - 4 * math.pi * 2.5**2 * 20.0)


SLIT = ((28.0, -9.0, 0.0), (32.0, -9.0, 0.0), (32.0, 50.0, 0.0), (28.0, 50.0, 0.0))


@pytest.mark.parametrize(
    ("feature", "says"),
    [
        (Hole("lost", (200.0, 0.0, 20.0), UP, 5.0), "'lost': removes no metal"),
        (Face("above", (0.0, 0.0, 40.0), UP), "'above': removes no metal"),
        (Face("all", (0.0, 0.0, -1.0), UP), "'all': 0 separate pieces"),
        (Face("under", (30.0, 0.0, 0.0), DOWN, corners=SLIT), "'under': removes no metal"),
        (Face("slit", (30.0, 0.0, 0.0), UP, corners=SLIT), "'slit': 2 separate pieces"),
    ],
)
def test_a_cut_that_misses_or_ruins_the_part_is_refused_by_name(feature: Feature, says: str) -> None:
    """A feature in the wrong place must not pass in silence."""
    block = cq.Workplane("XY").box(60, 40, 20, centered=False)

    with pytest.raises(GeometryError, match=says):
        machine(block, [feature])
