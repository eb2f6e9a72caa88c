"""Hidden lines against closed form, against another construction, and against a mesh's shadow."""

import math

import numpy as np
import pytest
import shapely

from geom.flat.curve2d import Arc, EllipseArc, Line, Spline, circle, curve_length, curves_box, polyline
from geom.kernel.cut import box, cone, cut, cylinder, fuse, sphere
from geom.kernel.lines import view_lines, visible_lines
from geom.kernel.mesh import tessellate
from geom.kernel.shape import solid_from_shape
from geom.kernel.step import read_step, write_step
from geom.space import Frame, frame_facing
from tests.catalogue import OUT_X, UP, bolt_circle_cover, cross_drilled_block, drilled_plate, filleted_angle

TOP = Frame((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
FRONT = Frame((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0))
ISOMETRIC = frame_facing((0.0, 0.0, 0.0), (1.0, -1.0, 1.0), (1.0, 1.0, 0.0))


def _solid(shape):
    return solid_from_shape(shape, "body")


def _rectangle(x0, y0, x1, y1):
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    sides = [tuple(sorted((a, b))) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    return {Line(a, b) for a, b in sides}


# --- closed form --------------------------------------------------------------


def test_a_drilled_block_from_above_is_a_rectangle_and_one_true_circle():
    """A 40 x 30 x 20 block with a 10 mm through hole at (5, 3): four lines, one circle of radius 5, nothing hidden."""
    body = _solid(cut(box((-20.0, -15.0, 0.0), (20.0, 15.0, 20.0)), cylinder((5.0, 3.0, -1.0), UP, 5.0, 22.0)))

    lines = view_lines(body, TOP)

    assert set(lines.visible) == _rectangle(-20.0, -15.0, 20.0, 15.0) | {circle((5.0, 3.0), 5.0)}
    assert lines.hidden == ()
    assert lines.smooth == ()


def test_the_same_block_from_the_front_hides_the_two_sides_of_its_hole():
    """The hole's silhouettes are dashed at x = 0 and x = 10, full height."""
    body = _solid(cut(box((-20.0, -15.0, 0.0), (20.0, 15.0, 20.0)), cylinder((5.0, 3.0, -1.0), UP, 5.0, 22.0)))

    lines = view_lines(body, FRONT)

    assert set(lines.visible) == _rectangle(-20.0, 0.0, 20.0, 20.0)
    assert set(lines.hidden) == {Line((0.0, 0.0), (0.0, 20.0)), Line((10.0, 0.0), (10.0, 20.0))}


def test_a_standing_cylinder_has_two_silhouettes():
    """Radius 10, height 30: a circle from above; from the front a rectangle whose sides are silhouettes, not edges."""
    body = _solid(cylinder((0.0, 0.0, 0.0), UP, 10.0, 30.0))

    assert view_lines(body, TOP).visible == (circle((0.0, 0.0), 10.0),)
    assert set(view_lines(body, FRONT).visible) == _rectangle(-10.0, 0.0, 10.0, 30.0)


def test_a_ball_is_a_circle_from_everywhere():
    """The outline of a ball of radius 12 is a circle of radius 12 about its centre, in any view."""
    body = _solid(sphere((3.0, 4.0, 5.0), 12.0))
    for frame in (TOP, FRONT, ISOMETRIC):
        x, y, _ = frame.local((3.0, 4.0, 5.0))
        outline = visible_lines(body, frame)
        box_ = curves_box(outline)
        assert box_ == pytest.approx((x - 12.0, y - 12.0, x + 12.0, y + 12.0), abs=5e-3)
        assert sum(curve_length(c) for c in outline) == pytest.approx(2 * math.pi * 12.0, rel=1e-3)


def test_a_cones_silhouettes_meet_at_its_apex():
    """Base radius 10, height 24, from the front: base line and two lines of length 26 (the 5-12-13 triangle)."""
    lines = visible_lines(_solid(cone((0.0, 0.0, 0.0), UP, 10.0, 0.0, 24.0)), FRONT)

    assert set(lines) == {Line((-10.0, 0.0), (10.0, 0.0)), Line((-10.0, 0.0), (0.0, 24.0)), Line((0.0, 24.0), (10.0, 0.0))}


def test_an_isometric_circle_is_an_ellipse_flattened_by_the_cosine_of_54_736_degrees():
    """The rim of a disc seen from (1, -1, 1): half axes r and r / sqrt 3 (isometric projection, any textbook)."""
    lines = visible_lines(_solid(cylinder((0.0, 0.0, 0.0), UP, 10.0, 30.0)), ISOMETRIC)

    whole = [c for c in lines if isinstance(c, EllipseArc) and c.sweep == 360.0]

    assert len(whole) == 1
    assert math.hypot(*whole[0].major) == pytest.approx(10.0, abs=1e-6)
    assert whole[0].ratio == pytest.approx(1 / math.sqrt(3.0), abs=1e-6)


def test_an_isometric_cube_shows_nine_edges_of_equal_length_and_hides_three():
    """Each edge is foreshortened by sqrt(2/3); nine of the twelve are seen, all but one end to end distinct."""
    lines = view_lines(_solid(box((0.0, 0.0, 0.0), (30.0, 30.0, 30.0))), ISOMETRIC)
    short = 30.0 * math.sqrt(2.0 / 3.0)

    assert [curve_length(c) for c in lines.visible] == pytest.approx([short] * 9, abs=1e-6)
    assert sum(curve_length(c) for c in lines.hidden) == pytest.approx(3 * short, abs=1e-5)


def test_a_fillet_shows_as_smooth_lines_where_it_runs_out():
    """The root fillet of a 60 x 40 angle (radius 6) runs out 16 mm along each leg: thin lines at x = 16 from above."""
    lines = view_lines(filleted_angle(6.0), TOP)

    assert Line((16.0, 0.0), (16.0, 40.0)) in lines.smooth
    assert Line((16.0, 0.0), (16.0, 40.0)) not in lines.visible
    arcs = [c for c in view_lines(filleted_angle(6.0), FRONT).visible if isinstance(c, Arc)]
    assert arcs == [Arc((16.0, 16.0), 6.0, 180.0, 90.0)]


def test_every_hole_of_a_plate_shows_its_mouth_at_its_place_and_size():
    """Mouths stated in the catalogue: 9, 6.8, 18, 12.6, 10 and 20 mm, each a whole circle."""
    finished, _ = drilled_plate()
    mouths = {((15.0, 15.0), 9.0), ((50.0, 15.0), 6.8), ((85.0, 15.0), 18.0), ((15.0, 45.0), 12.6), ((50.0, 45.0), 10.0)}
    mouths |= {((85.0, 45.0), 20.0)}

    seen = {(c.centre, round(2 * c.radius, 6)) for c in visible_lines(finished, TOP) if isinstance(c, Arc) and c.sweep == 360.0}

    assert mouths <= seen


def test_six_holes_on_a_bolt_circle_stand_where_trigonometry_puts_them():
    """45 mm from the middle, 60 degrees apart."""
    finished, _ = bolt_circle_cover()
    circles = [c for c in visible_lines(finished, TOP) if isinstance(c, Arc) and c.radius == pytest.approx(4.5, abs=1e-6)]

    places = sorted(c.centre for c in circles)
    wanted = sorted((45.0 * math.cos(math.radians(60 * i)), 45.0 * math.sin(math.radians(60 * i))) for i in range(6))

    assert np.allclose(places, wanted, atol=2e-6)
    assert all(c.sweep == 360.0 for c in circles)


# --- laws ---------------------------------------------------------------------


def test_the_order_of_cuts_and_faces_does_not_change_the_picture(tmp_path):
    """Two holes drilled in either order, and the STEP file read back, give the very same curves."""
    block = box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0))
    one, two = cylinder((15.0, 10.0, -1.0), UP, 6.0, 40.0), cylinder((-1.0, 30.0, 15.0), OUT_X, 5.0, 70.0)
    first, second = _solid(cut(cut(block, one), two)), _solid(cut(cut(block, two), one))
    write_step(first.shape, tmp_path / "again.step")
    third = read_step(tmp_path / "again.step")

    for frame in (TOP, FRONT):
        wanted = view_lines(first, frame)
        assert view_lines(second, frame) == wanted
        assert view_lines(third, frame) == wanted


def test_no_hidden_or_smooth_line_lies_under_a_visible_one():
    """Sampled: every point of a hidden line is clear of every visible line, in three views of three parts."""
    for solid in (drilled_plate()[0], cross_drilled_block()[0], filleted_angle()):
        for frame in (TOP, FRONT, ISOMETRIC):
            lines = view_lines(solid, frame)
            ink = shapely.unary_union([shapely.LineString(polyline(c, 1e-3)) for c in lines.visible])
            for curve in (*lines.hidden, *lines.smooth):
                under = shapely.LineString(polyline(curve, 1e-3)).intersection(ink.buffer(1e-3))
                assert under.length < 0.2


def test_the_outline_encloses_the_shadow_of_the_mesh():
    """Area inside the outermost visible lines (shapely's polygons) against the area of all projected triangles, in four views."""
    body = fuse(box((0.0, 0.0, 0.0), (60.0, 40.0, 20.0)), cylinder((30.0, 20.0, 10.0), UP, 14.0, 30.0))
    solid = _solid(cut(body, cylinder((30.0, 20.0, -1.0), UP, 8.0, 50.0), cylinder((-1.0, 10.0, 8.0), OUT_X, 3.0, 80.0)))
    mesh = tessellate(solid, 0.01)
    for frame in (TOP, FRONT, ISOMETRIC, frame_facing((0.0, 0.0, 0.0), (0.3, -0.8, 0.5), (1.0, 0.2, 0.0))):
        flat = frame.local_points(mesh.vertices)[:, :2]
        shadow = shapely.unary_union(shapely.polygons(flat[mesh.triangles]).tolist())
        ink = shapely.union_all([shapely.LineString(polyline(c, 1e-3)).buffer(5e-3) for c in visible_lines(solid, frame)])
        inside = shapely.union_all([shapely.Polygon(piece.exterior) for piece in shapely.get_parts(ink)])
        assert inside.area == pytest.approx(shapely.Polygon(shadow.exterior).area, rel=2e-3)


def test_turning_part_and_eye_together_changes_nothing():
    """A stepped hole seen from +X equals the same part, turned a quarter about Z, seen from the front."""
    back, right = (0.0, -1.0, 0.0), Frame((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0))
    lying = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), cylinder((40.0, 12.0, 9.0), OUT_X, 4.0, 25.0))
    lying = cut(lying, cylinder((50.0, 12.0, 9.0), OUT_X, 6.0, 25.0))
    turned = cut(box((0.0, -60.0, 0.0), (40.0, 0.0, 30.0)), cylinder((12.0, -40.0, 9.0), back, 4.0, 25.0))
    turned = cut(turned, cylinder((12.0, -50.0, 9.0), back, 6.0, 25.0))

    assert view_lines(_solid(lying), right) == view_lines(_solid(turned), FRONT)


def test_a_curve_that_is_no_circle_follows_the_true_one_within_a_hundredth():
    """Two crossing bores of different size meet in a curve: z from the two radii, r1 = 10 and r2 = 6 (hand-worked)."""
    body = fuse(cylinder((0.0, 0.0, 0.0), UP, 10.0, 40.0), cylinder((0.0, 0.0, 20.0), (0.0, -1.0, 0.0), 6.0, 25.0))
    from_right = Frame((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0))

    splines = [c for c in visible_lines(_solid(body), from_right) if isinstance(c, Spline)]
    points = [p for c in splines for p in polyline(c, 1e-3)]

    assert points
    for y, z in points:
        # On both cylinders x^2 = 100 - y^2 and x^2 = 36 - (z - 20)^2.
        assert abs((100.0 - y * y) - (36.0 - (z - 20.0) ** 2)) < 0.01 * 20.0


def test_a_seam_is_no_line():
    """A boss's cylinder has a seam edge from base to top; nobody draws it."""
    body = fuse(box((0.0, 0.0, 0.0), (60.0, 40.0, 20.0)), cylinder((30.0, 20.0, 10.0), UP, 14.0, 30.0))

    lines = view_lines(_solid(body), ISOMETRIC)

    assert lines.smooth == ()


def test_a_nist_part_draws_the_holes_its_drawing_counts(nist):
    """NIST FTC 10, seen along +Y: its drawing prints 4x diameter 6 and 8x diameter 2.5."""
    lines = visible_lines(read_step(nist("nist_ftc_10_asme1_ap242-e2.stp")), FRONT)

    circles = [round(2 * c.radius, 3) for c in lines if isinstance(c, Arc) and c.sweep == 360.0]

    assert sorted(circles) == [2.5] * 8 + [6.0] * 4


def test_a_part_of_spline_surfaces_still_draws_true_circles(nist):
    """NIST PMI 11 has no analytic cylinder; from above it is circles of 63 and 32 mm all the same (measured on its box)."""
    solid = read_step(nist("NIST_MBE_PMI_11.stp"))

    lines = visible_lines(solid, TOP)

    assert all(isinstance(c, Arc) and c.sweep == 360.0 for c in lines)
    assert max(2 * c.radius for c in lines) == pytest.approx(solid.box[1][0] - solid.box[0][0], abs=2e-3)
