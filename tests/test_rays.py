"""Rays against the kernel's own intersector, closed forms and independent ray casters."""

import math
from collections.abc import Callable
from pathlib import Path

import igl
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector
from OCP.TopAbs import TopAbs_IN

from geom.errors import GeometryError
from geom.kernel.cut import box, cone, cut, cylinder, fuse, moved, sphere, turned
from geom.kernel.mesh import Mesh, tessellate
from geom.kernel.shape import Solid, solid_from_shape
from geom.kernel.step import read_step
from geom.rays.analytic import Floats
from geom.rays.mesh_tree import tree_of
from geom.rays.rays import Skin
from geom.rigid import from_turn
from tests.catalogue import block_with_cored_bore, bolt_circle_cover, drilled_plate, filleted_angle, hollow_in_skin

COVER = Path(__file__).resolve().parents[1] / "parts" / "pump_cover" / "casting.step"
UP = (0.0, 0.0, 1.0)


def directions(count: int, seed: int) -> Floats:
    """Unit vectors spread over the ball."""
    way = np.random.default_rng(seed).normal(size=(count, 3))
    return np.asarray(way / np.linalg.norm(way, axis=1)[:, None])


def points_in(solid: Solid, count: int, seed: int) -> Floats:
    """Random points of a solid's box."""
    return np.asarray(np.random.default_rng(seed).uniform(*np.array(solid.box), (count, 3)))


def kernel_first(solid: Solid, origins: Floats, way: Floats) -> Floats:
    """The nearest crossing ahead by the kernel's general intersector; inf where there is none."""
    finder = IntCurvesFace_ShapeIntersector()
    finder.Load(solid.shape, 1e-7)
    found = np.full(len(origins), np.inf)
    for i, (o, d) in enumerate(zip(origins.tolist(), way.tolist(), strict=True)):
        finder.Perform(gp_Lin(gp_Pnt(*o), gp_Dir(*d)), 0.0, 1e4)
        found[i] = min((finder.WParameter(k) for k in range(1, finder.NbPnt() + 1)), default=np.inf)
    return found


def one_ray(skin: Skin, origin: tuple[float, ...], way: tuple[float, ...]) -> float:
    """The first exit of a single ray."""
    return float(skin.exits(np.array([origin]), np.array([way]))[0])


# --- against the kernel -------------------------------------------------------

SOLIDS: dict[str, Callable[[], Solid]] = {
    "a block with a cored bore": lambda: block_with_cored_bore(shift=(1.0, 0.0))[1],
    "a plate with six kinds of hole": lambda: drilled_plate()[0],
    "a cover with a bolt circle": lambda: bolt_circle_cover()[0],
    "a block with a ball's hollow": lambda: hollow_in_skin()[1],
    "an angle with a root fillet": filleted_angle,
}


@pytest.mark.parametrize("name", SOLIDS)
def test_a_ray_meets_the_skin_where_the_kernel_says(name: str) -> None:
    """600 random rays from random points: the same distances as Open CASCADE's intersector, to a millionth of a millimetre."""
    solid = SOLIDS[name]()
    origins, way = points_in(solid, 600, 1), directions(600, 2)

    found = Skin(solid).first(origins, way).distance

    due = kernel_first(solid, origins, way)
    assert np.array_equal(np.isfinite(found), np.isfinite(due))
    met = np.isfinite(due)
    assert np.abs(found[met] - due[met]).max() < 1e-9


def test_free_form_faces_of_a_real_casting_are_met_where_the_kernel_says() -> None:
    """The pump cover's casting: drafted, filleted, a third of its faces splines, some read as planes and cones within 0.001 mm."""
    casting = read_step(COVER)
    origins, way = points_in(casting, 400, 3), directions(400, 4)
    skin = Skin(casting)
    assert {"other", "torus", "cone", "plane"} <= {s.kind for s in casting.surfaces}

    hits = skin.first(origins, way)

    due = kernel_first(casting, origins, way)
    met = np.isfinite(due)
    assert np.array_equal(np.isfinite(hits.distance), met)
    recovered = np.array([s.recovered for s in casting.surfaces])[hits.face[met]]
    error = np.abs(hits.distance[met] - due[met])
    assert error[~recovered].max() < 1e-6
    assert error[recovered].max(initial=0.0) < 0.05


def test_a_public_model_is_met_where_the_kernel_says(nist: Callable[[str], Path]) -> None:
    """NIST CTC 04, 483 faces a metre long: 150 rays as the kernel has them."""
    solid = read_step(nist("nist_ctc_04_asme1_ap242-e1.stp"))
    origins, way = points_in(solid, 150, 5), directions(150, 6)

    found = Skin(solid).first(origins, way).distance

    due = kernel_first(solid, origins, way)
    met = np.isfinite(due)
    assert np.array_equal(np.isfinite(found), met)
    assert np.abs(found[met] - due[met]).max() < 1e-6


# --- closed forms ---------------------------------------------------------------


def test_every_ray_from_the_middle_of_a_ball_leaves_at_its_radius() -> None:
    """A ball of radius 25: 25, whichever way."""
    skin = Skin(solid_from_shape(sphere((3.0, -2.0, 7.0), 25.0), "ball"))

    found = skin.exits(np.tile((3.0, -2.0, 7.0), (500, 1)), directions(500, 7))

    assert np.abs(found - 25.0).max() < 1e-12


def test_a_ring_is_met_at_the_roots_of_its_quartic() -> None:
    """A ring of radius 40 and section radius 9: distances are roots of the torus quartic, found by numpy's polynomial solver."""
    big, small = 40.0, 9.0
    ring = solid_from_shape(_ring(big, small), "ring")
    turn = np.linspace(0.0, 2 * math.pi, 200, endpoint=False)
    origins = np.stack([big * np.cos(turn), big * np.sin(turn), np.zeros(200)], axis=1)
    way = directions(200, 8)

    found = Skin(ring).exits(origins, way)

    assert np.abs(found - [_torus_root(o, d, big, small) for o, d in zip(origins, way, strict=True)]).max() < 1e-9


def _ring(big: float, small: float) -> object:
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeTorus

    return BRepPrimAPI_MakeTorus(big, small).Solid()


def _torus_root(o: Floats, d: Floats, big: float, small: float) -> float:
    """Least positive t with (|p|^2 + R^2 - r^2)^2 = 4 R^2 (x^2 + y^2), p = o + t d."""
    square = np.poly1d([1.0, 2 * (o @ d), o @ o + big**2 - small**2])
    flat = np.poly1d([d[0] ** 2 + d[1] ** 2, 2 * (o[0] * d[0] + o[1] * d[1]), o[0] ** 2 + o[1] ** 2])
    roots = (square**2 - 4 * big**2 * flat).roots
    return float(min(r.real for r in roots if abs(r.imag) < 1e-9 and r.real > 0))


def test_a_cone_is_met_where_its_slope_says() -> None:
    """A cone 20 to 10 over 40 high: level rays from the axis leave at 20 - z/4; straight up at radius 12 one leaves at z = 32."""
    skin = Skin(solid_from_shape(cone((0.0, 0.0, 0.0), UP, 20.0, 10.0, 40.0), "cone"))

    for z, turn in ((1.0, 0.1), (13.7, 2.0), (39.0, 4.0)):
        assert one_ray(skin, (0.0, 0.0, z), (math.cos(turn), math.sin(turn), 0.0)) == pytest.approx(20.0 - z / 4, abs=1e-12)
    assert one_ray(skin, (12.0, 0.0, 5.0), UP) == pytest.approx(27.0, abs=1e-9)


@pytest.mark.parametrize("miss", [1e-5, 1e-3, 0.01])
def test_a_ray_beside_a_round_edge_meets_the_right_face(miss: float) -> None:
    """A boss 20 high and 30 across on a plate 10 thick: straight up inside its rim 30, outside 10, however close.

    Triangles alone get this wrong: their chords cut up to 0.02 mm off the rim.
    """
    plate = box((-40.0, -40.0, 0.0), (40.0, 40.0, 10.0))
    skin = Skin(solid_from_shape(fuse(plate, cylinder((0.0, 0.0, 10.0), UP, 15.0, 20.0)), "boss"))
    turn = np.linspace(0.0, 2 * math.pi, 720, endpoint=False)
    rim = np.stack([np.cos(turn), np.sin(turn), np.zeros(720)], axis=1)
    up = np.tile(UP, (720, 1))

    inside, outside = (skin.exits(rim * radius + (0.0, 0.0, 1.0), up) for radius in (15.0 - miss, 15.0 + miss))

    assert np.abs(inside - 29.0).max() < 1e-9
    assert np.abs(outside - 9.0).max() < 1e-9


def test_a_ray_beside_a_hole_goes_down_it_or_not_at_all() -> None:
    """A plate 10 thick over a block, 12 mm hole between: straight up 0.001 mm outside the hole the metal ends at its top."""
    skin = Skin(
        solid_from_shape(cut(box((-20.0, -20.0, 0.0), (20.0, 20.0, 10.0)), cylinder((0.0, 0.0, 4.0), UP, 6.0, 7.0)), "pocket")
    )
    turn = np.linspace(0.0, 2 * math.pi, 360, endpoint=False)
    rim = np.stack([np.cos(turn), np.sin(turn), np.zeros(360)], axis=1)
    up = np.tile(UP, (360, 1))

    assert np.abs(skin.exits(rim * 6.001 + (0, 0, 1.0), up) - 9.0).max() < 1e-9
    assert np.abs(skin.exits(rim * 5.999 + (0, 0, 1.0), up) - 3.0).max() < 1e-9


def test_a_steep_ray_near_a_drafted_rim_leaves_by_the_right_face() -> None:
    """A boss with 2 degrees of draft, 20 in radius at its foot and 30 high: straight up from radius r it leaves at
    (20 - r)/tan 2 degrees where that is under 30, else at 30."""
    slope = math.tan(math.radians(2.0))
    skin = Skin(solid_from_shape(cone((0.0, 0.0, 0.0), UP, 20.0, 20.0 - 30.0 * slope, 30.0), "drafted boss"))
    turn = np.linspace(0.0, 2 * math.pi, 400, endpoint=False)
    radius = 20.0 - np.linspace(0.0, 1.5 * 30.0 * slope, 401)[1:]
    origins = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.full(400, 1e-6)], axis=1)

    found = skin.exits(origins, np.tile(UP, (400, 1))) + 1e-6

    assert np.abs(found - np.minimum((20.0 - radius) / slope, 30.0)).max() < 1e-8


def test_a_line_through_two_walls_leaves_and_enters_in_turn() -> None:
    """A tube 30 to 40 across, along X from its axis: in at 15, out at 20; from outside in at 10, out at 15, in at 45, out at 50."""
    wall = [(15.0, 0.0), (20.0, 0.0), (20.0, 10.0), (15.0, 10.0)]
    skin = Skin(solid_from_shape(turned(wall, (0.0, 0.0, 0.0), UP), "tube"))
    origins, way = np.array([(0.0, 0.0, 5.0), (-30.0, 0.0, 5.0)]), np.tile((1.0, 0.0, 0.0), (2, 1))

    assert skin.entries(origins, way) == pytest.approx([15.0, 10.0], abs=1e-12)
    assert skin.exits(origins, way) == pytest.approx([20.0, 15.0], abs=1e-12)
    assert skin.exits(origins, way, ahead=16.0) == pytest.approx([20.0, 50.0], abs=1e-12)
    row, distance, leaving = skin.every(origins, way)
    assert sorted(zip(row.tolist(), distance.round(9).tolist(), leaving.tolist(), strict=True)) == [
        (0, 15.0, False), (0, 20.0, True), (1, 10.0, False), (1, 15.0, True), (1, 45.0, False), (1, 50.0, True)
    ]  # fmt: skip


def test_over_a_point_counts_metal_and_its_lack() -> None:
    """Over a block 30 high: from 2 mm under its top +2, from the top 0, from 1.5 above it -1.5, beside it nothing at all."""
    skin = Skin(solid_from_shape(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), "block"))
    points = np.array([(20.0, 20.0, 28.0), (20.0, 20.0, 30.0), (20.0, 20.0, 31.5), (70.0, 20.0, 31.5)])

    found = skin.over(points, np.tile(UP, (4, 1))).distance

    assert found[:3] == pytest.approx([2.0, 0.0, -1.5], abs=1e-12)
    assert found[3] == -np.inf


def test_metal_just_inside_a_leaning_round_wall_reaches_to_the_base() -> None:
    """A boss 21 in radius at its base, leaning in by 2.5 degrees: 5 above the base and 0.02 inside the wall there are
    5.0 of metal below every point, though the look-up facets of the wall may lie further in than that."""
    skin = Skin(solid_from_shape(cone((0.0, 0.0, -5.0), UP, 21.0, 21.0 - 25.0 * math.tan(math.radians(2.5)), 25.0), "boss"))
    radius, turn = 21.0 - 5.0 * math.tan(math.radians(2.5)) - 0.02, np.linspace(0.0, 2 * math.pi, 720, endpoint=False)
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.zeros(720)], axis=1)

    assert np.abs(skin.over(points, np.tile((0.0, 0.0, -1.0), (720, 1))).distance - 5.0).max() < 1e-12


# --- inside -----------------------------------------------------------------------


def test_inside_agrees_with_the_kernels_classifier() -> None:
    """500 points about a plate with holes: in the metal where the kernel's own solid classifier puts them."""
    plate = drilled_plate()[0]
    points = points_in(plate, 500, 9)
    classifier = BRepClass3d_SolidClassifier(plate.shape)
    due = []
    for p in points.tolist():
        classifier.Perform(gp_Pnt(*p), 1e-9)
        due.append(classifier.State() == TopAbs_IN)

    assert Skin(plate).inside(points).tolist() == due


def test_inside_tells_a_thousandth_of_a_millimetre_at_a_round_wall() -> None:
    """A bore of radius 17: points 0.001 mm either side of its wall, where triangles are out by up to 0.02 mm."""
    skin = Skin(block_with_cored_bore()[1])
    turn = np.linspace(0.0, 2 * math.pi, 360, endpoint=False)
    wall = np.stack([np.cos(turn), np.sin(turn), np.zeros(360)], axis=1)

    assert skin.inside(wall * 17.001 + (0, 0, 20.0)).all()
    assert not skin.inside(wall * 16.999 + (0, 0, 20.0)).any()


# --- plain meshes -----------------------------------------------------------------


def test_a_plain_mesh_is_met_on_its_facets() -> None:
    """A faceted ball: the distances of libigl's ray caster, and trimesh's own inside test."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=25.0)
    vertices, triangles = np.asarray(ball.vertices), np.asarray(ball.faces, dtype=np.int64)
    skin = Skin(Mesh(vertices, triangles, np.arange(len(triangles))))
    origins, way = np.random.default_rng(10).uniform(-12, 12, (200, 3)), directions(200, 11)

    found = skin.exits(origins, way)

    due = [igl.ray_mesh_intersect(o, d, vertices, triangles, True)[0][1] for o, d in zip(origins, way, strict=True)]
    assert np.abs(found - due).max() < 1e-5
    around = np.random.default_rng(12).uniform(-27, 27, (300, 3))
    assert skin.inside(around).tolist() == ball.contains(around).tolist()


def test_a_solids_own_fine_mesh_gives_the_same_within_its_chord() -> None:
    """The cored block as a mesh of 0.005 mm chord error: square to the bore, rays are out by no more than that."""
    solid = block_with_cored_bore()[1]
    turn = np.linspace(0.1, 6.1, 50)
    origins = np.stack([25 * np.cos(turn), 25 * np.sin(turn), np.full(50, 20.0)], axis=1)
    way = -origins * (1, 1, 0) / 25.0

    exact, facets = Skin(solid).exits(origins, way), Skin(tessellate(solid, 0.005)).exits(origins, way)

    assert np.abs(exact - 8.0).max() < 1e-12
    assert 0 < np.abs(exact - facets).max() <= 0.005


# --- laws -------------------------------------------------------------------------

BALL_AND_BORE = cut(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), cylinder((30.0, 20.0, -1.0), UP, 9.0, 40.0))


@given(st.tuples(*[st.floats(-1e4, 1e4)] * 3))
@settings(max_examples=15, deadline=None)
def test_a_part_far_from_the_origin_is_met_as_exactly(shift: tuple[float, float, float]) -> None:
    """Ten metres off, double precision still has a billionth of a millimetre; single precision would have a thousandth."""
    here = solid_from_shape(BALL_AND_BORE, "here")
    there = solid_from_shape(moved(BALL_AND_BORE, shift), "there")
    origins, way = points_in(here, 100, 13), directions(100, 14)

    found = Skin(there).first(origins + np.array(shift), way).distance

    due = Skin(here).first(origins, way).distance
    met = np.isfinite(due)
    assert np.array_equal(np.isfinite(found), met)
    assert np.abs(found[met] - due[met]).max() < 1e-8


def test_the_skin_of_a_mesh_laid_elsewhere_is_met_where_the_moved_mesh_is() -> None:
    """Law: asking the same tree with the rays moved back is the same as building a tree of the moved triangles."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=25.0)
    mesh = Mesh(
        np.asarray(ball.vertices) * (1.0, 0.7, 0.4), np.asarray(ball.faces, dtype=np.int64), np.zeros(len(ball.faces), np.int64)
    )
    there = from_turn((20.0, -75.0, 130.0), (40.0, -15.0, 9.0))
    on = from_turn((0.0, 30.0, 0.0), (1.0, 2.0, -3.0))
    laid = Skin(mesh, tree=tree_of(mesh.vertices, mesh.triangles)).laid(there).laid(on)
    moved = Skin(Mesh(on.points(there.points(mesh.vertices)), mesh.triangles, mesh.face))
    points, way = moved.mesh.vertices[::7] + directions(len(mesh.vertices[::7]), 20), directions(len(mesh.vertices[::7]), 21)

    assert np.abs(laid.mesh.vertices - moved.mesh.vertices).max() < 1e-12
    assert laid.inside(points).tolist() == moved.inside(points).tolist()
    got, due = laid.over(points, way).distance, moved.over(points, way).distance
    met = np.isfinite(due)
    assert met.sum() > 100
    assert (np.isfinite(got) == met).all()
    assert np.abs(got[met] - due[met]).max() < 1e-9


def test_the_skin_of_a_solid_is_not_laid_elsewhere() -> None:
    """A refusal: a solid's forms stay where they are drawn."""
    with pytest.raises(GeometryError, match="move the solid itself"):
        Skin(solid_from_shape(box((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)), "cube")).laid(from_turn((0.0, 0.0, 5.0)))


def test_the_same_rays_give_the_same_bytes() -> None:
    """Two skins built apart answer alike to the last bit."""
    first, second = (Skin(bolt_circle_cover()[0]) for _ in range(2))
    origins, way = points_in(bolt_circle_cover()[0], 2000, 15), directions(2000, 16)

    assert first.first(origins, way).distance.tobytes() == second.first(origins, way).distance.tobytes()


def test_no_rays_give_no_answers() -> None:
    """An empty question is answered by an empty array."""
    skin = Skin(solid_from_shape(box((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)), "cube"))

    assert skin.exits(np.zeros((0, 3)), np.zeros((0, 3))).shape == (0,)


# --- refusals -----------------------------------------------------------------------


def test_a_mesh_without_triangles_is_refused() -> None:
    """A scan that holds nothing is named as such."""
    with pytest.raises(GeometryError, match="no triangles"):
        Skin(Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64), np.zeros(0, np.int64)))


@pytest.mark.parametrize("chord", [0.0, -0.1, math.nan, math.inf])
def test_a_chord_error_that_makes_no_mesh_is_refused(chord: float) -> None:
    """Zero, negative and non-finite chord errors are named with their value."""
    with pytest.raises(GeometryError, match=r"chord error of .* mm makes no mesh"):
        tessellate(solid_from_shape(box((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)), "cube"), chord)
