"""A finished part found in its casting: what is cut, what stays as cast, what is drilled."""

import math

import pytest
from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert
from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet

from geom.errors import GeometryError
from geom.kernel.cut import box, cone, cut, cylinder, fuse, moved, prism, turned
from geom.kernel.shape import Solid, solid_from_shape
from geom.kernel.topology import edge_owners
from geom.model.part import Part, PartFace
from geom.recognise.part import recognise
from tests import catalogue

UP = (0.0, 0.0, 1.0)
DOWN = (0.0, 0.0, -1.0)


def recognised(finished: Solid, casting: Solid) -> Part:
    return recognise("part", "grey iron", finished, casting)


def pair(finished: object, casting: object) -> Part:
    return recognised(solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting"))


def face(part: Part, name: str) -> PartFace:
    return next(f for f in part.faces if f.name == name)


def states(part: Part) -> dict[str, str]:
    return {f.name: f.state for f in part.faces}


# --- machined or as cast ----------------------------------------------------


def test_a_block_machined_on_top_keeps_five_faces_as_cast():
    """Only the top was cut; the others are the casting's skin, bit for bit."""
    part = recognised(*catalogue.block_on_cast_foot())

    assert states(part) == {
        "top": "machined",
        "bottom": "as cast",
        "left": "as cast",
        "right": "as cast",
        "front": "as cast",
        "back": "as cast",
    }
    assert face(part, "top").normal == UP
    assert face(part, "top").area == pytest.approx(2400.0)
    assert part.notes == ()


def test_a_drafted_casting_leaves_every_face_machined():
    """Draft crosses no face of the block: all six are inside the skin."""
    part = recognised(*catalogue.drafted_block())

    assert {f.state for f in part.faces} == {"machined"}


def test_a_casting_that_is_short_still_has_its_faces_machined():
    """Being outside the skin is an answer of the stock, not a reason to call a face as cast."""
    part = recognised(*catalogue.block_in_block(stock=1.0, shift=(0.0, 0.0, -2.5)))

    assert {f.state for f in part.faces} == {"machined"}


@pytest.mark.parametrize(("off", "state"), [(0.0, "as cast"), (0.01, "as cast"), (0.05, "machined"), (-0.05, "machined")])
def test_skin_is_told_to_a_fiftieth_of_a_millimetre(off: float, state: str):
    """Two files written apart agree to about 0.01 mm; a caliper tells 0.05."""
    part = pair(box((0.0, 0.0, 0.0), (40.0, 30.0, 20.0)), box((0.0, 0.0, 0.0), (40.0, 30.0, 20.0 + off)))

    assert face(part, "top").state == state


def test_a_face_partly_skin_and_partly_cut_is_machined_and_said_so():
    """Half of the top is under 3 mm of stock, half is the skin itself: it cannot clean up there."""
    casting = fuse(box((0.0, 0.0, 0.0), (40.0, 30.0, 20.0)), box((20.0, 0.0, 20.0), (40.0, 30.0, 23.0)))

    part = pair(box((0.0, 0.0, 0.0), (40.0, 30.0, 20.0)), casting)

    top = face(part, "top")
    assert top.state == "machined"
    assert top.skin_share == pytest.approx(0.5, abs=0.05)
    (note,) = part.notes
    assert note.startswith("top: 5")
    assert "has no stock" in note
    assert "split" in note or "two faces" in note


def test_a_cone_a_ball_and_a_ring_are_skin_only_where_they_are_the_casting():
    """Drafted bosses and rounded edges of the casting are found as cast on the very same surfaces."""
    body = turned([(0.0, 0.0), (30.0, 0.0), (30.0, 10.0), (20.0, 14.0), (18.0, 40.0), (0.0, 40.0)], (0.0, 0.0, 0.0), UP)
    finished = cut(body, box((-50.0, -50.0, 36.0), (50.0, 50.0, 60.0)))

    found = {f.kind: f.state for f in pair(finished, body).faces if f.kind != "plane"}

    assert found == {"cylinder": "as cast", "cone": "as cast"}
    assert [f.state for f in pair(finished, body).faces if f.kind == "cone"] == ["as cast", "as cast"]


def rounded(body: object, radius: float) -> object:
    """The body with all its edges rounded: rings, balls and quarter cylinders."""
    fillet = BRepFilletAPI_MakeFillet(body)
    for edge, faces in edge_owners(body):
        if len(set(faces)) == 2:
            fillet.Add(radius, edge)
    return fillet.Shape()


@pytest.mark.parametrize("as_splines", ["neither", "finished", "casting", "both"])
@pytest.mark.parametrize(
    ("body", "kinds"),
    [
        (box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), {"plane", "cylinder", "sphere"}),
        (cylinder((30.0, 20.0, 0.0), UP, 20.0, 30.0), {"plane", "cylinder", "torus"}),
    ],
)
def test_rounded_edges_are_skin_also_between_exporters(body: object, kinds: set[str], as_splines: str):
    """One CAD program writes a fillet as a ring, another as a spline: it is the same skin."""
    casting = rounded(body, 4.0)
    finished = cut(casting, box((-1.0, -1.0, 20.0), (61.0, 41.0, 31.0)))
    assert {s.kind for s in solid_from_shape(finished, "finished").surfaces} == kinds
    if as_splines in ("finished", "both"):
        finished = BRepBuilderAPI_NurbsConvert(finished, True).Shape()
    if as_splines in ("casting", "both"):
        casting = BRepBuilderAPI_NurbsConvert(casting, True).Shape()

    found = pair(finished, casting)

    assert [f.name for f in found.faces if f.state == "machined"] == ["top"]


def test_the_same_form_elsewhere_is_not_the_skin():
    """The finished wall lies on the plane of a casting wall that ends before it: trimmed away, it is no skin."""
    casting = fuse(box((0.0, 0.0, 0.0), (40.0, 30.0, 20.0)), box((-5.0, 0.0, 20.0), (45.0, 30.0, 50.0)))
    finished = box((0.0, 2.0, 0.0), (40.0, 28.0, 45.0))

    left = face(pair(finished, casting), "left")

    assert (left.state, left.skin_share) == ("machined", pytest.approx(20.0 / 45.0, abs=0.08))


# --- holes ------------------------------------------------------------------


def test_holes_from_solid_are_holes_and_a_cored_bore_is_machined():
    """A drilled hole's wall has no stock to speak of; a cored bore's wall has its own."""
    drilled = recognised(*catalogue.drilled_plate())
    cored = recognised(*catalogue.block_with_cored_bore())

    assert {f.state for f in drilled.faces if f.hole} == {"hole"}
    assert {h.source for h in drilled.holes} == {"solid"}
    (bore,) = cored.holes
    assert (bore.name, bore.source, bore.diameter) == ("bore 1", "core", 40.0)
    wall = face(cored, "bore 1")
    assert (wall.state, wall.hole, wall.hollow, wall.radius) == ("machined", "bore 1", True, 20.0)


def test_a_core_moved_off_the_axis_is_still_a_core():
    """Cores shift; the wall is stock on one side and less on the other."""
    part = recognised(*catalogue.block_with_cored_bore(shift=(1.5, 0.0)))

    assert part.holes[0].source == "core"


def test_a_hole_left_as_cast_is_no_hole_to_drill():
    """A drafted core that no cutter touches is a face of the casting."""
    blank = box((-20.0, -20.0, 0.0), (20.0, 20.0, 33.0))
    casting = cut(blank, cone((0.0, 0.0, -1.0), UP, 8.0, 6.0, 35.0))
    part = pair(cut(casting, box((-30.0, -30.0, 30.0), (30.0, 30.0, 40.0))), casting)

    assert part.holes == ()
    assert (face(part, "core 1").kind, face(part, "core 1").state) == ("cone", "as cast")


def test_a_machined_seat_in_a_core_ends_where_the_core_begins():
    """Two bearing seats are bored in a cored body whose middle stays as cast: one bore, made in one pass, its air left out."""
    outside = box((-30.0, -30.0, -3.0), (30.0, 30.0, 103.0))
    core = cut(cylinder((0.0, 0.0, -4.0), UP, 18.0, 120.0), box((-30.0, -30.0, 30.0), (30.0, 30.0, 70.0)))
    casting = cut(outside, core, cylinder((0.0, 0.0, 20.0), UP, 24.0, 60.0))
    ends = box((-40.0, -40.0, -4.0), (40.0, 40.0, 0.0)), box((-40.0, -40.0, 100.0), (40.0, 40.0, 104.0))
    finished = cut(casting, *ends, cylinder((0.0, 0.0, -1.0), UP, 20.0, 21.0), cylinder((0.0, 0.0, 80.0), UP, 20.0, 21.0))

    part = pair(finished, casting)

    (bore,) = part.holes
    assert (bore.name, bore.diameter, bore.length, bore.source) == ("bore 1", 40.0, 100.0, "core")
    assert [(s.start, s.end) for s in bore.steps] == [(0.0, 20.0), (80.0, 100.0)]
    assert face(part, "core 1").radius == pytest.approx(24.0)


def test_a_plain_hole_opens_on_the_machined_side():
    """Through a plate that is cut below and cast above, it is drilled from below."""
    casting = box((0.0, 0.0, -3.0), (40.0, 30.0, 20.0))
    finished = cut(box((0.0, 0.0, 0.0), (40.0, 30.0, 20.0)), cylinder((20.0, 15.0, -1.0), UP, 4.0, 22.0))

    part = pair(finished, casting)

    assert part.holes[0].axis == DOWN
    assert part.holes[0].centre == (20.0, 15.0, 0.0)


def test_faces_of_a_hole_say_what_they_are_of_it():
    """Each wall and floor is listed with its hole, under one name each."""
    part = recognised(*catalogue.drilled_plate())

    names = {h.diameter: h.name for h in part.holes}
    assert {f.name for f in part.faces if f.hole == names[11.0]} == {
        names[11.0],
        f"{names[11.0]} counterbore",
        f"{names[11.0]} seat",
    }
    assert {f.name for f in part.faces if f.hole == names[6.8]} == {names[6.8], f"{names[6.8]} point"}
    assert {f.name for f in part.faces if f.hole == names[6.6]} == {names[6.6], f"{names[6.6]} countersink"}
    assert {f.name for f in part.faces if f.hole == names[10.0]} == {names[10.0], f"{names[10.0]} floor"}
    assert len({f.name for f in part.faces}) == len(part.faces)


def test_surfaces_and_area_are_all_accounted_for():
    """Every surface of the finished solid is in exactly one face."""
    for finished, casting in (catalogue.drilled_plate(), catalogue.bolt_circle_cover(), catalogue.block_with_cored_bore()):
        part = recognised(finished, casting)

        assert sorted(i for f in part.faces for i in f.surfaces) == list(range(len(finished.surfaces)))
        assert sum(f.area for f in part.faces) == pytest.approx(sum(s.area for s in finished.surfaces))


def test_a_part_written_in_splines_gives_the_same_holes_and_says_what_was_read():
    """A NURBS export loses the word cylinder, not the cylinder."""
    finished, casting = catalogue.drilled_plate()
    splines = solid_from_shape(BRepBuilderAPI_NurbsConvert(finished.shape, True).Shape(), "finished.step")

    plain, found = recognised(finished, casting), recognised(splines, casting)

    for a, b in zip(plain.holes, found.holes, strict=True):
        assert (a.name, a.kind, a.axis, a.source) == (b.name, b.kind, pytest.approx(b.axis, abs=1e-9), b.source)
        assert b.diameter == pytest.approx(a.diameter, abs=1e-5)
        assert b.centre == pytest.approx(a.centre, abs=1e-5)
        assert (b.depth or 0.0) == pytest.approx(a.depth or 0.0, abs=1e-5)
    assert states(plain) == states(found)
    (note,) = found.notes
    assert note.startswith("finished.step: ")
    assert "splines read as planes, cylinders" in note


# --- refusals ---------------------------------------------------------------


@pytest.mark.parametrize(("size", "stock"), [((60.0, 40.0, 30.0), 3.0), ((10.0, 8.0, 6.0), 2.5)])
@pytest.mark.parametrize("wrong", ["casting", "finished"])
def test_a_file_in_another_unit_is_suspected(size: tuple[float, float, float], stock: float, wrong: str):
    """One file in inches marked as mm is 25.4 times too small, whichever it is and however much stock there is."""
    scale = {name: 1 / 25.4 if name == wrong else 1.0 for name in ("casting", "finished")}
    low = -stock * scale["casting"]
    a, b, c = ((d + stock) * scale["casting"] for d in size)
    x, y, z = (d * scale["finished"] for d in size)

    with pytest.raises(GeometryError, match=r"is \d\d\.\d times as large as .* 25\.4 of an inch in mm"):
        pair(box((0.0, 0.0, 0.0), (x, y, z)), box((low, low, low), (a, b, c)))


def test_a_part_wholly_beside_its_casting_is_refused():
    """The message says along which axis they miss each other."""
    finished, casting = catalogue.block_in_block()
    aside = solid_from_shape(moved(casting, (500.0, 0.0, 0.0)), "casting")

    with pytest.raises(GeometryError, match=r"lies wholly beside casting: along X the part runs from 0\.0 to 60\.0 mm"):
        recognised(finished, aside)


def test_a_part_in_the_hollow_of_its_casting_is_refused():
    """Boxes overlap, metal does not: the part stands in the casting's opening."""
    frame = cut(box((-50.0, -50.0, 0.0), (50.0, 50.0, 20.0)), box((-30.0, -30.0, -1.0), (30.0, 30.0, 21.0)))

    with pytest.raises(GeometryError, match="have no metal in common"):
        pair(box((-10.0, -10.0, 0.0), (10.0, 10.0, 20.0)), frame)


# --- places -----------------------------------------------------------------


def test_a_split_top_is_one_face_and_separate_lobes_stay_separate():
    """A flat top in two pieces that meet is one face; three feet in one plane are three."""
    base = box((0.0, 0.0, 10.0), (100.0, 20.0, 20.0))
    feet = [box((x, 0.0, 0.0), (x + 20.0, 20.0, 10.0)) for x in (0.0, 40.0, 80.0)]
    finished = fuse(base, *feet)

    part = pair(finished, box((-3.0, -3.0, -3.0), (103.0, 23.0, 23.0)))

    assert [f.name for f in part.faces if f.normal == DOWN] == ["bottom", "bottom 2", "bottom 3", "bottom 4", "bottom 5"]
    assert [f.centroid[0] for f in part.faces if f.name in ("bottom", "bottom 2", "bottom 3")] == pytest.approx([10.0, 50.0, 90.0])
    assert len([f for f in part.faces if f.normal == UP]) == 1


def test_a_sloping_face_is_named_so():
    """Neither up nor sideways: a slope, with its normal given."""
    ramp = prism([(0.0, 0.0, 0.0), (40.0, 0.0, 0.0), (40.0, 0.0, 10.0), (0.0, 0.0, 30.0)], (0.0, 20.0, 0.0))

    slope = face(pair(ramp, box((-3.0, -3.0, -3.0), (43.0, 23.0, 33.0))), "slope 1")

    assert slope.normal == pytest.approx((math.sin(math.atan(0.5)), 0.0, math.cos(math.atan(0.5))))


def test_a_thin_tube_in_its_thick_rough_tube_is_a_pair() -> None:
    """A wall of 1.5 mm turned out of one of 7.5 mm slips between the points of any coarse grid, yet belongs there."""
    finished = tube(28.5, 30.0, 0.0, 80.0)
    casting = tube(25.5, 33.0, -3.0, 83.0)

    part = recognise("sleeve", "bronze", finished, casting)

    assert {(face.kind, face.state) for face in part.faces} == {("plane", "machined"), ("cylinder", "machined")}


def tube(inner: float, outer: float, low: float, high: float) -> Solid:
    """A tube round Z, from its radii and ends."""
    wall = [(inner, low), (outer, low), (outer, high), (inner, high)]
    return solid_from_shape(turned(wall, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), "tube")
