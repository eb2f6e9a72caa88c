"""Sample points against closed forms: places, normals, areas, and distance from the edge."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from OCP.BRepAlgoAPI import BRepAlgoAPI_Fuse
from OCP.BRepBuilderAPI import BRepBuilderAPI_GTransform
from OCP.BRepPrimAPI import BRepPrimAPI_MakeTorus
from OCP.gp import gp_GTrsf, gp_Mat, gp_XYZ

from geom.errors import GeometryError
from geom.kernel.cut import box, cone, cut, cylinder, fuse, moved, sphere, turned_about
from geom.kernel.shape import Solid, Surface, solid_from_shape
from geom.rays.analytic import Floats, Ints
from geom.rays.sample import RIM, Samples, surface_samples
from geom.tolerance import EDGE_BAND
from tests.catalogue import bolt_circle_cover, drilled_plate

UP = (0.0, 0.0, 1.0)


def on(samples: Samples, surface: Surface) -> Samples:
    """The samples of one face."""
    return samples.of(samples.face == surface.index)


def facing(solid: Solid, normal: tuple[float, float, float]) -> Surface:
    """The plane face that faces a way."""
    return next(s for s in solid.surfaces if s.kind == "plane" and np.allclose(s.normal, normal))


def integral(samples: Samples, value: Floats) -> float:
    """The sum over the face of a value times the area it stands for."""
    return float(samples.area @ value)


# --- places and areas -----------------------------------------------------------


def test_a_rectangle_is_covered_without_error() -> None:
    """A face 60 by 40: the integrals of 1, x and y are 2400, 72000 and 48000 to the last digits, whatever the spacing."""
    block = solid_from_shape(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), "block")

    for spacing in (7.3, 2.0):
        top = on(surface_samples(block, spacing), facing(block, UP))

        assert integral(top, np.ones(len(top.area))) == pytest.approx(2400.0, rel=1e-12)
        assert integral(top, top.points[:, 0]) == pytest.approx(72000.0, rel=1e-12)
        assert integral(top, top.points[:, 1]) == pytest.approx(48000.0, rel=1e-12)


def test_a_disc_has_its_second_moment() -> None:
    """A disc of radius 60 with a 20 mm hole of radius 20 and six of 4.5 at 45: the polar moment
    pi/2 (60^4 - 20^4) - 6 (pi/2 4.5^4 + pi 4.5^2 45^2), within a tenth of a per cent."""
    cover = bolt_circle_cover()[0]
    top = on(surface_samples(cover, 1.0), facing(cover, UP))

    found = integral(top, np.hypot(top.points[:, 0], top.points[:, 1]) ** 2)

    hole = math.pi / 2 * 4.5**4 + math.pi * 4.5**2 * 45**2
    assert found == pytest.approx(math.pi / 2 * (60**4 - 20**4) - 6 * hole, rel=1e-3)


def test_a_bore_is_covered_all_round_and_from_end_to_end() -> None:
    """A 40 mm bore 15 deep: integrals of 1, height and the square of x are 600 pi, 4500 pi and 120000 pi."""
    cover = bolt_circle_cover()[0]
    bore = next(s for s in cover.surfaces if s.kind == "cylinder" and s.radius == pytest.approx(20.0))
    wall = on(surface_samples(cover, 1.5), bore)

    assert integral(wall, np.ones(len(wall.area))) == pytest.approx(600 * math.pi, rel=1e-9)
    assert integral(wall, wall.points[:, 2]) == pytest.approx(4500 * math.pi, rel=1e-9)
    assert integral(wall, wall.points[:, 0] ** 2) == pytest.approx(120000 * math.pi, rel=1e-9)


@pytest.mark.parametrize("kind", ["sphere", "torus", "cone"])
def test_points_and_normals_of_round_faces_are_exact(kind: str) -> None:
    """Ball 25; ring 40 and 9; cone 20 to 10 over 40: points satisfy the equation, normals are its gradient."""
    solid = solid_from_shape(
        {
            "sphere": lambda: sphere((1.0, 2.0, 3.0), 25.0),
            "torus": lambda: BRepPrimAPI_MakeTorus(40.0, 9.0).Solid(),
            "cone": lambda: cone((0.0, 0.0, 0.0), UP, 20.0, 10.0, 40.0),
        }[kind](),
        kind,
    )
    samples = on(surface_samples(solid, 2.0), next(s for s in solid.surfaces if s.kind == kind))

    height, normal = _equation(kind, samples.points)

    assert np.abs(height).max() < 1e-12 * 100
    assert np.abs(samples.normals - normal).max() < 1e-12
    assert samples.area.sum() == pytest.approx(_area(kind), rel=1e-9)


def _equation(kind: str, p: Floats) -> tuple[Floats, Floats]:
    if kind == "sphere":
        w = p - (1.0, 2.0, 3.0)
        size = np.linalg.norm(w, axis=1)
        return size - 25.0, w / size[:, None]
    rho = np.hypot(p[:, 0], p[:, 1])
    out = np.stack([p[:, 0] / rho, p[:, 1] / rho, np.zeros(len(p))], axis=1)
    if kind == "cone":
        slant = math.hypot(1.0, 0.25)
        return (rho - 20.0 + p[:, 2] / 4) / slant, np.add(out, (0.0, 0.0, 0.25)) / slant
    w = p - 40.0 * out
    size = np.linalg.norm(w, axis=1)
    return size - 9.0, w / size[:, None]


def _area(kind: str) -> float:
    """Handbook: 4 pi r^2; 4 pi^2 R r; pi (r1 + r2) slant height."""
    slant = math.hypot(40.0, 10.0)
    return {"sphere": 2500 * math.pi, "torus": 4 * math.pi**2 * 360.0, "cone": math.pi * 30.0 * slant}[kind]


def test_points_of_a_free_form_face_lie_on_it() -> None:
    """An egg, 40 by 20 by 10 half axes, which the kernel holds as a spline: (x/40)^2 + (y/20)^2 + (z/10)^2 = 1 and its gradient."""
    stretch = gp_GTrsf(gp_Mat(40.0, 0.0, 0.0, 0.0, 20.0, 0.0, 0.0, 0.0, 10.0), gp_XYZ(0.0, 0.0, 0.0))
    egg = solid_from_shape(BRepBuilderAPI_GTransform(sphere((0.0, 0.0, 0.0), 1.0), stretch, True).Shape(), "egg")
    assert [s.kind for s in egg.surfaces] == ["other"]

    samples = surface_samples(egg, 3.0)

    scaled = samples.points / (40.0, 20.0, 10.0)
    gradient = scaled / (40.0, 20.0, 10.0)
    assert np.abs((scaled**2).sum(axis=1) - 1.0).max() < 1e-9
    assert np.abs(samples.normals - gradient / np.linalg.norm(gradient, axis=1)[:, None]).max() < 1e-9
    assert len(samples.area) > 200


# --- edges --------------------------------------------------------------------------


def test_distance_from_the_edge_of_a_rectangle() -> None:
    """On a face 60 by 40: the least of x, 60 - x, y, 40 - y."""
    block = solid_from_shape(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), "block")
    top = on(surface_samples(block, 2.0), facing(block, UP))

    x, y = top.points[:, 0], top.points[:, 1]

    assert top.edge_distance == pytest.approx(np.min([x, 60 - x, y, 40 - y], axis=0), abs=1e-9)


def test_distance_from_a_round_edge() -> None:
    """On a disc of radius 60 with holes: to the nearest of its eight circles, within the chord error of its edge."""
    cover = bolt_circle_cover()[0]
    top = on(surface_samples(cover, 2.0), facing(cover, UP))
    turn = np.arange(6) * math.pi / 3
    holes = [np.hypot(top.points[:, 0] - 45 * math.cos(t), top.points[:, 1] - 45 * math.sin(t)) - 4.5 for t in turn]
    rho = np.hypot(top.points[:, 0], top.points[:, 1])

    assert top.edge_distance == pytest.approx(np.min([60 - rho, rho - 20, *holes], axis=0), abs=0.02)


def test_the_rim_has_points_on_the_true_edge() -> None:
    """Rim points stand for no area and lie on the edge itself, corners included; they look about from 0.05 mm in."""
    cover = bolt_circle_cover()[0]
    top = on(surface_samples(cover, 2.0), facing(cover, UP))
    rim = top.of(top.edge_distance == 0)
    rho = np.hypot(rim.points[:, 0], rim.points[:, 1])

    outer = rim.of(rho > 55)
    assert (rim.area == 0).all()
    assert len(outer.area) > 60
    assert np.hypot(outer.points[:, 0], outer.points[:, 1]) == pytest.approx(60.0, abs=1e-9)
    assert np.hypot(outer.looked_from[:, 0], outer.looked_from[:, 1]) == pytest.approx(60.0 - RIM, abs=0.002)

    block = solid_from_shape(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), "block")
    square = on(surface_samples(block, 5.0), facing(block, UP))
    corner = square.of((np.abs(square.points - (60.0, 40.0, 30.0)) < 1e-9).all(axis=1))
    assert corner.looked_from[0] == pytest.approx((60.0 - RIM, 40.0 - RIM, 30.0), abs=1e-12)


def test_no_place_of_a_face_is_looked_at_from_its_very_edge() -> None:
    """A top 80 by 60 with a hole of 9 in its middle: each of its places is looked at from inside it, 0.05 from the edge or further.

    One of them lies on the hole's edge, on an axis through its middle, where no way leads away from the edge by itself.
    """
    hole = cylinder((40.0, 30.0, -1.0), (0.0, 0.0, 1.0), 4.5, 80.0)
    solid = solid_from_shape(cut(box((0.0, 0.0, 0.0), (80.0, 60.0, 60.0)), hole), "block")
    top = next(s.index for s in solid.surfaces if s.kind == "plane" and s.centroid[2] > 59.0)
    seen = surface_samples(solid, 3.0, [top]).looked_from

    assert np.hypot(seen[:, 0] - 40.0, seen[:, 1] - 30.0).min() >= 4.5 + 0.9 * RIM
    assert np.abs(seen[:, :2] - (40.0, 30.0)).max(axis=0) == pytest.approx((40.0 - RIM, 30.0 - RIM), abs=1e-6)


def test_a_line_of_points_runs_one_band_inside_the_edge() -> None:
    """One millimetre in from a 60 by 40 rectangle: the rectangle 58 by 38, its four corners among the points."""
    block = solid_from_shape(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), "block")
    top = on(surface_samples(block, 5.0), facing(block, UP))

    line = top.of((top.area == 0) & (top.edge_distance > 0))

    assert line.edge_distance == pytest.approx(EDGE_BAND, abs=1e-12)
    for x in (1.0, 59.0):
        for y in (1.0, 39.0):
            assert np.abs(line.points - (x, y, 30.0)).max(axis=1).min() < 1e-9


def test_the_pieces_of_one_wall_have_no_edge_between_them() -> None:
    """A round wall in pieces: as one face only its ends are edges (within the chord error); apart, the splits are too."""
    half = cut(cylinder((0.0, 0.0, 0.0), UP, 20.0, 30.0), box((-30.0, -30.0, -1.0), (0.0, 30.0, 31.0)))
    core = solid_from_shape(BRepAlgoAPI_Fuse(half, turned_about(half, (0.0, 0.0, 0.0), UP, 180.0)).Shape(), "core")
    walls = [s.index for s in core.surfaces if s.kind == "cylinder"]
    assert len(walls) > 1

    together = surface_samples(core, 2.0, walls, dict.fromkeys(walls, 0))
    apart = surface_samples(core, 2.0, walls)

    assert np.abs(together.edge_distance - np.minimum(together.points[:, 2], 30 - together.points[:, 2])).max() < 1e-3
    on_split = apart.of(np.abs(apart.points[:, 0]) < 1e-9)
    assert len(on_split.area) > 10
    assert np.abs(on_split.edge_distance[on_split.points[:, 2] % 30 > 1]).min() == 0.0


def test_a_thin_ring_has_no_line_inside_it() -> None:
    """A face 1.5 mm wide has no place 1 mm from both edges, so no band line; no point strays off it."""
    tube = solid_from_shape(cut(cylinder((0, 0, 0), UP, 30.0, 10.0), cylinder((0, 0, -1), UP, 28.5, 12.0)), "tube")
    top = on(surface_samples(tube, 1.0), facing(tube, UP))

    rho = np.hypot(top.points[:, 0], top.points[:, 1])

    assert (top.edge_distance < EDGE_BAND).all()
    assert rho.min() > 28.5 - 0.025
    assert rho.max() < 30.0 + 1e-9


PLATE = drilled_plate()[0]

# --- laws ------------------------------------------------------------------------------


@given(st.floats(0.7, 9.0))
@settings(max_examples=12, deadline=None)
def test_no_place_of_a_face_is_further_from_a_point_than_the_spacing(spacing: float) -> None:
    """Any place of a plate's top is within the spacing of a sample: nothing wider can hide between them."""
    plate = PLATE
    top = on(surface_samples(plate, spacing, [facing(plate, UP).index]), facing(plate, UP))
    places = np.random.default_rng(1).uniform((0, 0), (100, 60), (400, 2))
    holes = [(15, 15, 4.5), (50, 15, 3.4), (85, 15, 9.0), (15, 45, 6.3), (50, 45, 5.0), (85, 45, 10.0)]
    free = np.all([np.hypot(places[:, 0] - x, places[:, 1] - y) > r for x, y, r in holes], axis=0)

    gaps = np.linalg.norm(places[free][:, None, :] - top.points[None, :, :2], axis=2).min(axis=1)

    assert gaps.max() <= spacing


@given(st.tuples(*[st.floats(-500, 500)] * 3), st.floats(0, 360))
@settings(max_examples=8, deadline=None)
def test_samples_move_with_the_part(shift: tuple[float, float, float], turn: float) -> None:
    """A block moved and turned has the same areas and edge distances, in the same order."""
    here = box((0.0, 0.0, 0.0), (61.0, 41.0, 31.0))
    there = moved(turned_about(here, (0.0, 0.0, 0.0), (1.0, 2.0, 3.0), turn), shift)

    first, second = (surface_samples(solid_from_shape(shape, "block"), 4.0) for shape in (here, there))

    assert second.area == pytest.approx(first.area, rel=1e-9)
    assert np.sort(second.edge_distance) == pytest.approx(np.sort(first.edge_distance), abs=1e-9)


def test_the_same_part_gives_the_same_bytes() -> None:
    """Built twice, sampled twice: not a bit differs."""
    first, second = (surface_samples(bolt_circle_cover()[0], 1.7) for _ in range(2))

    for name in Samples.__slots__:
        assert getattr(first, name).tobytes() == getattr(second, name).tobytes()


# --- refusals -----------------------------------------------------------------------------


@pytest.mark.parametrize("spacing", [0.0, -1.0, math.nan, math.inf])
def test_a_spacing_that_is_none_is_refused(spacing: float) -> None:
    """Zero, negative and non-finite spacings are named with their value."""
    block = solid_from_shape(box((0.0, 0.0, 0.0), (6.0, 4.0, 3.0)), "block")

    with pytest.raises(GeometryError, match=r"block: a sample spacing of .* mm; give a distance above 0 mm"):
        surface_samples(block, spacing)


def test_some_faces_alone_are_sampled_when_asked() -> None:
    """Two faces asked for, two faces given."""
    block = solid_from_shape(fuse(box((0, 0, 0), (6, 4, 3)), box((0, 0, 3), (3, 4, 6))), "step")
    wanted: Ints = np.array([1, 3])

    assert sorted(set(surface_samples(block, 1.0, wanted.tolist()).face.tolist())) == [1, 3]
