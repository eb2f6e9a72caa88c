"""Stock against closed forms, against an independent ray caster on fine meshes, and by its laws."""

import math
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from geom.errors import GeometryError, StandardError
from geom.kernel.cut import Shape, box, cone, cut, cylinder, fuse, moved, sphere, turned_about
from geom.kernel.mesh import tessellate
from geom.kernel.shape import Solid, solid_from_shape
from geom.kernel.step import read_step
from geom.model.part import Part
from geom.rays.sample import RIM
from geom.recognise.part import recognise
from geom.space import Vec3
from geom.stock.report import FaceStock, StockReport, stock_report
from tests.catalogue import (
    block_in_block,
    block_on_cast_foot,
    block_with_cored_bore,
    bolt_circle_cover,
    drafted_block,
    drilled_plate,
    hollow_in_skin,
)

UP = (0.0, 0.0, 1.0)
COVER = Path(__file__).resolve().parents[1] / "parts" / "pump_cover"


def measured(pair: tuple[Solid, Solid], need: float = 2.0, spacing: float | None = None, alloy: str = "grey iron") -> StockReport:
    """The stock of a pair as recognised, the same amount required of every face."""
    part = recognise("test part", alloy, *pair)
    return stock_report(part, {face.name: need for face in part.machined}, spacing)


def face(report: StockReport, name: str) -> FaceStock:
    """One face by name."""
    return next(f for f in report.faces if f.name == name)


def pair(finished: Shape, casting: Shape) -> tuple[Solid, Solid]:
    """Two kernel shapes as solids."""
    return solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting")


def uniform(found: FaceStock, stock: float) -> bool:
    """Whether the stock is the same all over."""
    return [found.stock.min, found.stock.mean, found.stock.max, found.least_inside, found.least_in_band] == pytest.approx(
        [stock] * 5, abs=1e-9
    )


# --- closed forms ------------------------------------------------------------------


def test_a_block_in_a_block_has_its_distance_to_each_side() -> None:
    """3 mm all round, the casting moved by (0.5, -0.25, 1): each face has 3 plus the move along its normal."""
    report = measured(block_in_block(3.0, shift=(0.5, -0.25, 1.0)))

    due = {"right": 3.5, "left": 2.5, "back": 2.75, "front": 3.25, "top": 4.0, "bottom": 2.0}
    assert sorted(f.name for f in report.faces) == sorted(due)
    for name, stock in due.items():
        assert uniform(face(report, name), stock), name
        assert face(report, name).short_fraction == 0.0


def test_swarf_and_masses_follow_from_the_volumes() -> None:
    """60 x 40 x 30 in 66 x 46 x 36: swarf 109296 - 72000 = 37296 mm3; grey iron at 7.2 g/cm3: 0.7869, 0.5184 and 0.2685 kg.

    Density: foundry tables (see the standards' alloys.csv).
    """
    report = measured(block_in_block(3.0))

    assert report.swarf_volume == pytest.approx(37296.0, abs=1e-6)
    assert report.shortage_volume == 0.0
    assert report.volume_error == 0.0
    assert report.casting_mass == pytest.approx(109296 * 7.2e-6, rel=1e-9)
    assert report.part_mass == pytest.approx(72000 * 7.2e-6, rel=1e-9)
    assert report.swarf_mass == pytest.approx(37296 * 7.2e-6, rel=1e-9)


def test_draft_takes_stock_from_the_top_of_a_side() -> None:
    """Sides 30 high under 3 degrees, 3 mm at the casting's foot 3 mm lower: stock 3 - (z + 3) tan 3, so 2.843 at the foot
    of the face, 2.057 in its middle (its mean), 1.271 at its top, and 1.323 a millimetre below that."""
    report = measured(drafted_block(3.0, draft=3.0))
    slope = math.tan(math.radians(3.0))

    for name in ("left", "right", "front", "back"):
        side = face(report, name)
        assert side.stock.max == pytest.approx(3 - 3 * slope, abs=1e-9)
        assert side.stock.mean == pytest.approx(3 - 18 * slope, abs=1e-9)
        assert side.stock.min == pytest.approx(3 - 33 * slope, abs=1e-9)
        assert side.least_inside == pytest.approx(3 - 32 * slope, abs=1e-9)
        assert side.least_in_band == pytest.approx(3 - (33 - RIM) * slope, abs=1e-9)
        assert side.thinnest[2] == pytest.approx(30.0, abs=1e-9)
        below = 1.0 - ((1.0 + 1e-3) / slope - 3) / 30
        assert side.below_fraction == pytest.approx(below, abs=side.share_error)
    assert uniform(face(report, "top"), 3.0)


def test_an_as_cast_wall_with_draft_thins_the_rim_to_nothing() -> None:
    """A boss as cast under 2 degrees, 20 in radius at its foot, turned off 4 mm below its top: at the very edge no stock is left,
    0.05 mm in 0.05/tan 2 = 1.43, and from 4 tan 2 = 0.14 mm on the full 4; none of the face is short."""
    slope = math.tan(math.radians(2.0))
    rough = cone((0.0, 0.0, 0.0), UP, 20.0, 20.0 - 34.0 * slope, 34.0)
    report = measured(pair(cut(rough, box((-30.0, -30.0, 30.0), (30.0, 30.0, 40.0))), rough))

    top = face(report, "top")

    assert top.stock.min == pytest.approx(0.0, abs=1e-9)
    assert top.least_in_band == pytest.approx(RIM / slope, rel=0.01)
    assert top.least_inside == pytest.approx(4.0, abs=1e-9)
    assert top.stock.max == pytest.approx(4.0, abs=1e-9)
    assert top.short_fraction == 0.0
    assert [f.name for f in report.as_cast] == ["bottom", "round 1"] or len(report.as_cast) == 2


@pytest.mark.parametrize(("offset", "turn"), [(0.0, 0.0), (1.5, 0.0), (2.0, 0.7)])
def test_a_core_off_centre_thins_one_side_of_the_bore(offset: float, turn: float) -> None:
    """Bore 40, core 34, core shifted by e: stock at angle t is 20 - (e cos t + sqrt(17^2 - e^2 sin^2 t)), from 3 - e to 3 + e."""
    shift = (offset * math.cos(turn), offset * math.sin(turn))
    bore = face(measured(block_with_cored_bore(40.0, 34.0, shift)), "bore 1")

    def at(t: float) -> float:
        return 20.0 - (offset * math.cos(t) + math.sqrt(17.0**2 - (offset * math.sin(t)) ** 2))

    assert bore.stock.min == pytest.approx(3.0 - offset, abs=1e-6)
    assert bore.stock.max == pytest.approx(3.0 + offset, abs=1e-6)
    assert bore.stock.mean == pytest.approx(quad(at, 0, 2 * math.pi)[0] / (2 * math.pi), abs=1e-6)
    if offset:
        thin = (20 * math.cos(turn), 20 * math.sin(turn))
        assert bore.thinnest[:2] == pytest.approx(thin, abs=0.02)
    assert bore.from_solid == 0.0


def test_a_bore_without_a_core_is_cut_from_solid() -> None:
    """A taper seat 30 to 26 with nothing cored: no skin before the axis, so the stock is the way to the axis and the face says so.

    Square to the wall that way is the radius over the cosine of the half angle: 13 to 15 over cos(atan(2/40)).
    """
    block = box((-30.0, -30.0, 0.0), (30.0, 30.0, 40.0))
    rough = box((-33.0, -33.0, -3.0), (33.0, 33.0, 43.0))
    finished, casting = pair(cut(block, cone((0.0, 0.0, 0.0), UP, 15.0, 13.0, 40.0)), rough)
    part = recognise("taper", "grey iron", finished, casting)
    walls = [f for f in part.faces if f.kind == "cone"]
    assert len(walls) == 1
    as_bore = _as_machined(part, walls[0].name)

    wall = face(stock_report(as_bore, {f.name: 1.0 for f in as_bore.machined}), walls[0].name)

    tilt = math.hypot(1.0, 0.05)
    assert wall.from_solid == pytest.approx(1.0, abs=0.1)
    assert wall.stock.max == pytest.approx(15.0 * tilt, abs=1e-6)
    assert wall.stock.mean == pytest.approx(14.0 * tilt, abs=0.2)


def _as_machined(part: Part, name: str) -> Part:
    """The part with one hole wall taken for a machined face."""
    from dataclasses import replace

    faces = tuple(replace(f, state="machined", hole=None) if f.name == name else f for f in part.faces)
    return replace(part, faces=faces)


def test_a_slot_from_solid_counts_only_the_metal_in_the_slot() -> None:
    """A slot 14 wide cut into a block: each wall has 14 mm before the other wall, not 14 and the block behind it."""
    block = box((0.0, 0.0, 0.0), (80.0, 50.0, 40.0))
    finished = cut(block, box((33.0, -1.0, 20.0), (47.0, 51.0, 41.0)))
    report = measured(pair(finished, box((-3.0, -3.0, -3.0), (83.0, 53.0, 43.0))))

    walls = [f for f in report.faces if f.from_solid > 0.99]

    assert len(walls) == 2
    for wall in walls:
        assert uniform(wall, 14.0)
        assert wall.area == pytest.approx(50 * 20)


def test_a_cone_in_a_cone_has_the_same_stock_square_to_it() -> None:
    """A tapered boss 20 to 10 over 40 in a casting with the taper 3 mm further out, measured square: 3 everywhere."""
    tilt = math.hypot(1.0, 0.25)
    rough = cone((0.0, 0.0, -5.0), UP, 21.25 + 3 * tilt, 21.25 + 3 * tilt - 50 * 0.25, 50.0)
    report = measured(pair(cone((0.0, 0.0, 0.0), UP, 20.0, 10.0, 40.0), rough))

    side = next(f for f in report.faces if f.kind == "cone")

    assert uniform(side, 3.0)


# --- a casting that is short ----------------------------------------------------------

WANE = math.pi * (25.0**2 - 24.0**2) / (80.0 * 60.0)
"""A ball's hollow 4 deep of radius 25 under 3 mm of stock leaves a disc of radius sqrt(25^2 - 24^2) = 7 uncovered."""


@pytest.mark.parametrize("spacing", [4.0, 2.0, 1.0, 0.5])
def test_the_wane_in_a_hollow_is_a_disc(spacing: float) -> None:
    """Its share of the face, 49 pi / 4800 = 3.21 %, within the error the report states; the thinnest point is its middle, -1."""
    top = face(measured(hollow_in_skin(), spacing=spacing), "top")

    assert abs(top.short_fraction - WANE) <= top.share_error
    assert top.share_error < 0.006 * spacing
    assert top.stock.min == pytest.approx(-1.0, abs=1e-6)
    assert top.least_inside == pytest.approx(-1.0, abs=1e-6)
    assert top.thinnest == pytest.approx((40.0, 30.0, 30.0), abs=0.02)


def test_a_finer_look_at_the_wane_is_nearer_the_truth() -> None:
    """Sixteen times the samples: at least four times nearer, and within a hundredth of the wane itself."""
    coarse, fine = (abs(face(measured(hollow_in_skin(), spacing=s), "top").short_fraction - WANE) for s in (2.8, 0.7))

    assert fine < 0.01 * WANE
    assert fine <= max(coarse / 4, 1e-5)


def test_the_shortage_in_a_hollow_is_a_cap() -> None:
    """A cap 1 high of a ball of radius 25: pi (3 25 - 1)/3 = 77.49 mm3; swarf is what the books then say."""
    finished, casting = hollow_in_skin()
    report = measured((finished, casting))

    cap = math.pi * 74.0 / 3.0
    assert abs(report.shortage_volume - cap) <= report.volume_error
    assert report.volume_error < 0.001 * cap
    assert report.swarf_volume == pytest.approx(casting.volume - finished.volume + cap, abs=report.volume_error)
    assert "agrees" in report.method


def test_a_casting_smaller_than_its_part_is_an_answer() -> None:
    """60 x 40 x 30 wanted, 58 x 38 x 28 poured: every face 1 mm short all over, 72000 - 61712 = 10288 mm3 missing, no swarf.

    At a face's edges, where the casting has nothing under it at all, the part's own thickness is what is missing.
    """
    report = measured(pair(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), box((1.0, 1.0, 1.0), (59.0, 39.0, 29.0))))

    assert report.shortage_volume == pytest.approx(10288.0, abs=report.volume_error)
    assert report.swarf_volume == 0.0
    for name, thickness in (("top", 30.0), ("left", 60.0), ("front", 40.0)):
        side = face(report, name)
        assert side.short_fraction == pytest.approx(1.0, abs=1e-9)
        assert side.stock.max == pytest.approx(-1.0, abs=1e-9)
        assert side.stock.min == pytest.approx(-thickness, abs=1e-9)


def test_a_face_partly_off_the_casting_is_short_by_that_share() -> None:
    """The casting ends 12 mm before the part does, 60 long: a fifth of its top and of its bottom have nothing."""
    finished = box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0))
    report = measured(pair(finished, box((-3.0, -3.0, -3.0), (48.0, 43.0, 33.0))))

    for name in ("top", "bottom"):
        assert face(report, name).short_fraction == pytest.approx(0.2, abs=face(report, name).share_error)
        assert face(report, name).share_error < 0.02
    assert face(report, "right").stock.max == pytest.approx(-12.0, abs=1e-9)
    assert report.shortage_volume == pytest.approx(12.0 * 40.0 * 30.0, abs=report.volume_error + 1e-6)


def test_a_blow_hole_inside_the_part_is_found_though_no_face_is_short() -> None:
    """A closed hollow of radius 5 in the middle of the casting: stock is as before, but 4/3 pi 125 = 523.6 mm3 are missing."""
    finished, casting = block_in_block(3.0)
    report = measured((finished, solid_from_shape(cut(casting, sphere((30.0, 20.0, 15.0), 5.0)), "casting")))

    assert all(uniform(f, 3.0) for f in report.faces)
    assert report.shortage_volume == pytest.approx(4 / 3 * math.pi * 125.0, abs=report.volume_error)
    assert report.volume_error < 5.0


# --- what is a face, and what is not -----------------------------------------------------


def test_holes_from_solid_are_not_faces_and_the_skin_is_left_alone() -> None:
    """A plate machined on top only, six holes drilled in it: one face with 2.5 mm, five faces as cast."""
    report = measured(drilled_plate(2.5))

    assert [f.name for f in report.faces] == ["top"]
    assert uniform(report.faces[0], 2.5)
    assert len(report.as_cast) == 5
    assert report.faces[0].area == pytest.approx(6000 - math.pi * (4.5**2 + 3.4**2 + 9**2 + 6.3**2 + 5**2 + 10**2), abs=1e-6)


def test_a_face_flush_with_the_rough_block_is_as_cast() -> None:
    """Machined on top only: swarf is 60 x 40 x 3 = 7200 mm3, found by book-keeping."""
    report = measured(block_on_cast_foot(3.0))

    assert [f.name for f in report.faces] == ["top"]
    assert report.swarf_volume == pytest.approx(7200.0, abs=1e-9)


def test_a_narrow_face_says_how_wide_its_edge_band_is() -> None:
    """A rim 1.5 mm wide round a recess has no place 1 mm from its edges: its band is a quarter of it, and it has 2 mm of stock."""
    cup = cut(cylinder((0, 0, 0), UP, 30.0, 20.0), cylinder((0, 0, 12), UP, 28.5, 10.0))
    rough = cut(cylinder((0, 0, -2), UP, 33.0, 24.0), cylinder((0, 0, 14), UP, 25.5, 10.0))
    report = measured(pair(cup, rough))

    rim = next(f for f in report.faces if f.area == pytest.approx(math.pi * (30**2 - 28.5**2)))

    assert rim.band == pytest.approx(0.375, abs=0.05)
    assert uniform(rim, 2.0)


# --- an independent ray caster ---------------------------------------------------------------


def caster(solid: Solid, chord: float) -> trimesh.ray.ray_triangle.RayMeshIntersector:
    """trimesh's own double-precision ray caster on a fine mesh."""
    mesh = tessellate(solid, chord)
    return trimesh.ray.ray_triangle.RayMeshIntersector(trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False))


def exits_by_trimesh(solid: Solid, points: Sequence[Vec3], normals: Sequence[Vec3], chord: float) -> list[float]:
    """The first crossing ahead of each point."""
    rays = caster(solid, chord)
    start = np.array(points) - 0.02 * np.array(normals)
    places, row, _ = rays.intersects_location(start, np.array(normals), multiple_hits=True)
    along = np.einsum("ij,ij->i", places - np.array(points)[row], np.array(normals)[row])
    return [float(along[row == i].min()) for i in range(len(points))]


@pytest.mark.parametrize("build", [block_with_cored_bore, bolt_circle_cover, drafted_block])
def test_stock_agrees_with_trimesh_within_the_facet_error(build: Callable[[], tuple[Solid, Solid]]) -> None:
    """At the thinnest point of every face, trimesh's ray on a mesh of 0.005 mm chord error finds the same stock."""
    finished, casting = build()
    report = measured((finished, casting))
    flat = [f for f in report.faces if f.normal is not None]

    found = exits_by_trimesh(casting, [f.thinnest for f in flat], [f.normal for f in flat if f.normal], 0.005)

    inside = [min(max(f.stock.min, 0.0), t) for f, t in zip(flat, found, strict=True)]
    assert len(flat) >= 2
    assert found == pytest.approx([f.stock.min for f in flat], abs=0.006)
    assert inside == pytest.approx(found, abs=0.006)


def test_the_pump_cover_has_the_stock_its_files_hold() -> None:
    """The bundled STEP pair, fillets and splines and all: places of its top by trimesh on a fine mesh against range and mean."""
    finished, casting = read_step(COVER / "finished.step"), read_step(COVER / "casting.step")
    part = recognise("cover", "aluminium", finished, casting)
    report = stock_report(part, {f.name: 2.0 for f in part.machined})
    top = next(f for f in report.faces if f.name == "top")
    height = top.centroid[2]
    rng = np.random.default_rng(1)
    mesh = tessellate(finished, 0.02)
    lid = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    (left, front, _), (right, back, _) = finished.box
    places = [(float(x), float(y), height) for x, y in rng.uniform((left, front), (right, back), (900, 2))]
    metal = lid.contains(np.subtract(places, (0, 0, 0.05))) & lid.contains(np.subtract(places, (0, 0, 0.3)))
    clear = ~lid.contains(np.add(places, (0, 0, 0.05)))
    on_top = [p for p, ok in zip(places, metal & clear, strict=True) if ok]

    found = exits_by_trimesh(casting, on_top, [UP] * len(on_top), 0.02)

    assert len(on_top) > 60
    assert min(found) >= top.stock.min - 0.03
    assert max(found) <= top.stock.max + 0.03
    assert float(np.mean(found)) == pytest.approx(top.stock.mean, abs=0.03)
    assert report.shortage_volume == 0.0
    assert report.swarf_volume == pytest.approx(casting.volume - finished.volume, rel=1e-12)


# --- laws ---------------------------------------------------------------------------------------

DRAFTED = drafted_block(4.0, draft=2.0)


@given(st.floats(-3.5, 3.9) | st.floats(4.1, 6.0))
@settings(max_examples=10, deadline=None)
def test_lifting_the_casting_adds_that_much_stock(lift: float) -> None:
    """Stock on top follows the casting one for one; the bottom loses as much. Lifted by just 4 it is flush, and so as cast."""
    finished, casting = block_in_block(4.0)
    lifted = solid_from_shape(moved(casting, (0.0, 0.0, lift)), "casting")

    report = measured((finished, lifted), spacing=3.0)

    assert uniform(face(report, "top"), 4.0 + lift)
    assert uniform(face(report, "bottom"), 4.0 - lift)


@given(st.tuples(*[st.floats(-300, 300)] * 3), st.floats(0.0, 360.0))
@settings(max_examples=6, deadline=None)
def test_moving_both_changes_no_stock(shift: Vec3, turn: float) -> None:
    """Part and casting moved and turned together: least, mean and greatest stock of the faces stay what they were."""
    move: Callable[[Solid], Solid] = lambda s: solid_from_shape(  # noqa: E731
        moved(turned_about(s, (5.0, 6.0, 7.0), (1.0, -2.0, 3.0), turn), shift), s.label
    )

    here, there = (measured(p, spacing=3.0) for p in (DRAFTED, (move(DRAFTED[0]), move(DRAFTED[1]))))

    ranges = [sorted((f.stock.min, f.stock.mean, f.stock.max, f.least_inside) for f in r.faces) for r in (here, there)]
    assert np.array(ranges[1]) == pytest.approx(np.array(ranges[0]), abs=1e-7)
    assert there.swarf_volume == pytest.approx(here.swarf_volume, rel=1e-9)


@given(st.floats(0.3, 8.0))
@settings(max_examples=6, deadline=None)
def test_a_job_drawn_larger_has_stock_larger_by_as_much(scale: float) -> None:
    """Every length times k: stock times k, volumes times k cubed."""
    small, large = (measured(_scaled_bore(k)) for k in (1.0, scale))

    assert face(large, "bore 1").stock.min == pytest.approx(scale * face(small, "bore 1").stock.min, rel=1e-6)
    assert face(large, "bore 1").stock.mean == pytest.approx(scale * face(small, "bore 1").stock.mean, rel=1e-4)
    assert large.swarf_volume == pytest.approx(scale**3 * small.swarf_volume, rel=1e-9)


def _scaled_bore(k: float) -> tuple[Solid, Solid]:
    part = cut(box((-40 * k, -40 * k, 0.0), (40 * k, 40 * k, 50 * k)), cylinder((0, 0, -k), UP, 20 * k, 52 * k))
    rough = cut(box((-43 * k, -43 * k, -3 * k), (43 * k, 43 * k, 53 * k)), cylinder((1.2 * k, 0.0, -4 * k), UP, 17 * k, 58 * k))
    return pair(part, rough)


@given(st.floats(0.6, 3.0))
@settings(max_examples=8, deadline=None)
def test_a_finer_look_never_finds_more_stock_at_the_thinnest(spacing: float) -> None:
    """Half the spacing: the least stock on a face with a hollow, a pimple beside it, does not rise by more than a micrometre."""
    coarse, fine = (face(measured(WAVY, spacing=s), "top") for s in (spacing, spacing / 2))

    assert fine.stock.min <= coarse.stock.min + 1e-3
    assert fine.least_inside <= coarse.least_inside + 1e-3


def _wavy() -> tuple[Solid, Solid]:
    finished, casting = hollow_in_skin(3.0, 1.5, 30.0)
    bump = cut(sphere((20.0, 15.0, 23.0), 12.0), box((0.0, 0.0, 0.0), (80.0, 60.0, 30.0)))
    return finished, solid_from_shape(fuse(casting, bump), "casting")


WAVY = _wavy()


def test_the_same_job_gives_the_same_report() -> None:
    """Measured twice from files read twice: equal in every field, floats to the last bit."""
    first, second = (measured(block_with_cored_bore(shift=(1.0, 0.5))) for _ in range(2))

    assert first == second


def test_the_report_states_its_method() -> None:
    """What it rests on, how far apart the samples are, and how wide the edge band is, in words for a sheet."""
    report = measured(block_in_block(3.0), spacing=2.0)

    for words in ("rays", "2.00 mm apart", "edge band is 1 mm", "book-keeping"):
        assert words in report.method
    assert report.spacing == 2.0
    assert report.band == 1.0


# --- refusals --------------------------------------------------------------------------------------


def test_a_required_stock_for_an_unknown_face_is_refused() -> None:
    """The message names the nearest face and all there are."""
    part = recognise("block", "grey iron", *block_in_block())

    with pytest.raises(GeometryError, match=r"no machined face is called 'topp' \(did you mean 'top'\?\); there are top, bottom"):
        stock_report(part, {"topp": 2.0})


def test_a_machined_face_without_required_stock_is_refused() -> None:
    """Nothing is assumed in silence."""
    part = recognise("block", "grey iron", *block_in_block())

    with pytest.raises(GeometryError, match=r"machined face 'bottom' has no required stock; state one"):
        stock_report(part, {"top": 2.0})


def test_an_unknown_alloy_is_refused() -> None:
    """The message lists what the table has."""
    with pytest.raises(StandardError, match=r"alloy 'unobtainium' is not known.*grey iron"):
        measured(block_in_block(), alloy="unobtainium")


@pytest.mark.parametrize("spacing", [0.0, -2.0, math.nan])
def test_a_sample_spacing_that_is_none_is_refused(spacing: float) -> None:
    """Zero, negative and not-a-number are named."""
    with pytest.raises(GeometryError, match="sample spacing"):
        measured(block_in_block(), spacing=spacing)
