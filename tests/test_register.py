"""Scans laid on the drawn casting: known moves come back; what cannot be told is said."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from export.number import sentence
from geom.errors import ReadingError
from geom.kernel.cut import box, cut, cylinder, fuse
from geom.kernel.mesh import Mesh
from geom.kernel.shape import Solid, solid_from_shape
from geom.model.part import Part
from geom.rays.rays import skin_of
from geom.rays.sample import surface_samples
from geom.readings.records import HintPoint
from geom.recognise.part import recognise
from geom.rigid import Rigid, from_turn
from geom.scan.file import Scan, read_scan_file
from geom.scan.register import RegisteredScan, register_scan
from geom.space import Vec3
from tests.catalogue import block_in_block
from tests.scan_files import exact_mesh, open_below, write_stl

UP: Vec3 = (0.0, 0.0, 1.0)
OUT_X: Vec3 = (1.0, 0.0, 0.0)


def bracket(stock: float = 0.0) -> Solid:
    """A foot 80 x 50 x 15 with a block, an upright boss of 24 diameter and a level core hole of 16: alike from no side."""
    body = box((-stock, -stock, -stock), (80.0 + stock, 50.0 + stock, 15.0 + stock))
    body = fuse(body, box((8.0, 5.0, 10.0), (33.0, 40.0, 45.0 + stock)))
    body = fuse(body, cylinder((60.0, 30.0, 10.0), UP, 12.0, 18.0 + stock))
    return solid_from_shape(cut(body, cylinder((-10.0, 20.0, 32.0), OUT_X, 8.0, 60.0)), "bracket")


@pytest.fixture(scope="module")
def part() -> Part:
    """The bracket, machined under, above and round its foot."""
    return recognise("bracket", "grey iron", bracket(), bracket(2.0))


@pytest.fixture(scope="module")
def exact(part) -> Mesh:
    """12,000 triangles whose corners lie on the drawn casting's faces."""
    return exact_mesh(part.casting, 12_000)


@pytest.fixture(scope="module")
def block() -> Part:
    """A block 60 x 60 x 30 with 3 mm all round: alike from eight sides."""
    return recognise("block", "grey iron", *block_in_block(size=(60.0, 60.0, 30.0)))


def scan_of(mesh: Mesh, move: Rigid, noise: float = 0.0, seed: int = 0, name: str = "scan.stl") -> Scan:
    """The mesh as a scanner would see it, moved, with noise of the normal law on every point."""
    points = mesh.vertices + np.random.default_rng(seed).normal(0.0, 1.0, mesh.vertices.shape) * noise
    return Scan(name, move.points(points), mesh.triangles)


def any_move(seed: int) -> Rigid:
    """A turn about any axis by up to half a turn, and a shift of up to half a metre."""
    rng = np.random.default_rng(seed)
    axis = rng.normal(size=3)
    turn = axis / np.linalg.norm(axis) * rng.uniform(5.0, 180.0)
    return from_turn(tuple(turn.tolist()), tuple(rng.uniform(-500.0, 500.0, 3).tolist()))


def off_by(found: RegisteredScan, move: Rigid, part: Part) -> float:
    """How far, mm, a corner of the casting's box is from where it should be."""
    low, high = part.casting.box
    corners = np.array([(x, y, z) for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    return float(np.linalg.norm(found.laid.to_part.points(move.points(corners)) - corners, axis=1).max())


# --- known moves ------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_a_clean_scan_is_found_from_any_pose(part, exact, seed):
    """Points exactly on the drawn faces, moved at random: the move comes back to a millionth of a millimetre."""
    move = any_move(seed)
    found = register_scan(part, scan_of(exact, move))

    assert off_by(found, move, part) < 1e-6
    assert found.laid.residual.median < 1e-6
    assert not found.laid.ambiguous


@pytest.mark.parametrize("seed", [11])
def test_noise_is_averaged_out_and_measured(part, exact, seed):
    """0.05 mm on every point. Least squares leaves 0.05/sqrt(n) a freedom over n = 6,000 points, times a lever of at most
    about 5 (law of propagation of errors): well below 0.02 mm at the far corner. The scatter itself is found within a
    seventh; over facets the mean square is half of that at corners (w1^2 + w2^2 + w3^2 is 1/2 in the mean)."""
    move = any_move(seed)
    found = register_scan(part, scan_of(exact, move, 0.05, seed))

    assert off_by(found, move, part) < 0.02
    assert found.laid.sigma == pytest.approx(0.05, rel=0.15)
    assert 0.95 * 0.05 / np.sqrt(2.0) < found.laid.residual.rms < 1.05 * 0.05


def test_the_scatter_of_the_answer_follows_the_noise(part, exact):
    """Law: twice the noise, twice the error, of the same draws."""
    move = any_move(21)
    one, two = (off_by(register_scan(part, scan_of(exact, move, sigma, 21)), move, part) for sigma in (0.01, 0.02))

    assert two == pytest.approx(2.0 * one, rel=0.25)


def test_moving_the_scan_moves_the_answer(part, exact):
    """Law: register(M scan) = register(scan) after M back, whatever M."""
    first, more = any_move(31), any_move(32)
    scan = scan_of(exact, first, 0.03)
    one = register_scan(part, scan).laid.to_part
    two = register_scan(part, replace(scan, vertices=more.points(scan.vertices))).laid.to_part.after(more)

    corner = np.array([first.point((80.0, 50.0, 45.0)), first.point((0.0, 0.0, 0.0))])
    assert np.abs(one.points(corner) - two.points(corner)).max() < 1e-6


def test_the_same_scan_gives_the_same_answer(part, exact):
    """To the last bit."""
    scan = scan_of(exact, any_move(41), 0.03)

    assert register_scan(part, scan).laid.to_part == register_scan(part, scan).laid.to_part


def test_the_skin_lies_in_the_part_frame(part, exact):
    """2 mm of stock over the middle of the foot's top, under its base, and over the block."""
    found = register_scan(part, scan_of(exact, any_move(51)))
    points = np.array([(60.0, 10.0, 15.0), (40.0, 25.0, 0.0), (20.0, 20.0, 45.0)])
    normals = np.array([(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 0.0, 1.0)])

    assert found.skin.over(points, normals).distance == pytest.approx([2.0, 2.0, 2.0], abs=1e-6)


def test_a_sunk_face_does_not_pull_the_rest_along(part, exact):
    """The block's top, cast 1.5 mm low, is a tenth of the skin: the other faces still lie within 0.02 mm."""
    points = exact.vertices.copy()
    points[points[:, 2] > 46.9, 2] -= 1.5
    move = any_move(61)
    found = register_scan(part, scan_of(Mesh(points, exact.triangles, exact.face), move))

    assert off_by(found, move, part) < 0.02
    assert found.skin.over(np.array([(20.0, 20.0, 45.0)]), np.array([UP])).distance[0] == pytest.approx(0.5, abs=0.02)


def test_an_open_scan_is_laid_as_well(part, exact, tmp_path):
    """The casting stood on its base: no skin there. The pose is found, what is missing is said."""
    vertices, triangles = open_below(exact, -1.9)
    move = any_move(71)
    path = write_stl(tmp_path / "open.stl", move.points(vertices), triangles)
    found = register_scan(part, read_scan_file(path, "mm"))

    assert off_by(found, move, part) < 1e-3  # single precision at half a metre: 3e-5 mm a point
    assert "the mesh is open: 1 hole" in sentence(found.notes[0], "mm")
    assert any("of the drawn casting was not scanned" in sentence(note, "mm") for note in found.notes)
    assert np.isneginf(-found.skin.over(np.array([(40.0, 25.0, 0.0)]), np.array([(0.0, 0.0, -1.0)])).distance[0])


def test_a_point_cloud_is_laid_too(part):
    """40,000 points without triangles, 0.05 mm of noise: pose within 0.03 mm, stock of 2 mm seen within 0.1."""
    points, _ = trimesh.sample.sample_surface(_as_trimesh(exact_mesh(part.casting, 50_000)), 40_000, seed=5)
    noisy = np.asarray(points) + np.random.default_rng(5).normal(0.0, 0.05, points.shape)
    move = any_move(81)
    found = register_scan(part, Scan("cloud.xyz", move.points(noisy), np.zeros((0, 3), dtype=np.int64)))
    stock = found.skin.over(np.array([(60.0, 10.0, 15.0), (40.0, 25.0, 0.0)]), np.array([UP, (0.0, 0.0, -1.0)])).distance

    assert off_by(found, move, part) < 0.03
    assert stock == pytest.approx([2.0, 2.0], abs=0.1)


def test_a_point_cloud_agrees_with_the_drawn_skin_up_to_a_spacing_from_every_edge(part, exact):
    """30,000 points, 0.8 mm apart, 0.02 mm of noise, seen from 3 mm below the skin of every face: 3 mm of metal, as the drawn
    solid itself says, met exactly; closer to an edge than 1 mm the cloud cannot know. Within five sigma of the noise, and the
    sag of a chord of 1.6 mm on the boss and the core hole, 1.6^2 / (8 r) = 0.04 mm. In a gap of 8 mm there is no skin."""
    points = np.asarray(trimesh.sample.sample_surface(_as_trimesh(exact), 30_000, seed=6)[0])
    points = points[np.linalg.norm(points - (60.0, 10.0, 17.0), axis=1) > 8.0]
    noisy = points + np.random.default_rng(6).normal(0.0, 0.02, points.shape)
    skin = register_scan(part, Scan("cloud.ply", noisy, np.zeros((0, 3), dtype=np.int64))).skin
    seen = surface_samples(part.casting, 2.0)
    inner = seen.edge_distance >= 1.0
    inside, ways = seen.points[inner] - 3.0 * seen.normals[inner], seen.normals[inner]
    drawn, found = skin_of(part.casting).over(inside, ways).distance, skin.over(inside, ways).distance
    away = np.linalg.norm(seen.points[inner] - (60.0, 10.0, 17.0), axis=1)

    assert (np.abs(drawn - 3.0) < 1e-6).mean() > 0.9
    assert np.abs(found - drawn)[away > 10.0].max() < 0.14
    assert (np.abs(found - drawn)[away < 6.0] > 3.0).all()


def _as_trimesh(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)


# --- which way round --------------------------------------------------------


def test_a_square_block_fits_eight_ways_and_says_so(block):
    """A square prism has eight rotations on to itself: seven more ways, and a named point settles it."""
    found = register_scan(block, scan_of(exact_mesh(block.casting, 3000), any_move(91)))
    note = sentence(found.notes[-1], "mm")

    assert found.laid.ambiguous
    assert "fits as well" in note
    assert note.count("turned ") == 7
    assert "turned 180 degrees about the part's Z axis" in note
    assert note.count("turned 90 degrees about the part's Z axis") == 2
    assert "one point of the scan on a named face settles it" in note


def test_named_points_settle_which_way_round(block):
    """Marks on the top and on the right tell all eight ways apart."""
    move = any_move(92)
    scan = scan_of(exact_mesh(block.casting, 3000), move)
    hints = [
        HintPoint(name, move.point(at), f"scan.toml, points.{name}")
        for name, at in (("top", (20.0, 30.0, 33.0)), ("right", (63.0, 30.0, 10.0)))
    ]
    found = register_scan(block, scan, hints)

    assert off_by(found, move, block) < 1e-6
    assert not found.laid.ambiguous


def test_one_point_that_does_not_settle_all_leaves_the_rest_said(block):
    """A mark on the top leaves the four turns about Z."""
    move = any_move(93)
    found = register_scan(
        block,
        scan_of(exact_mesh(block.casting, 3000), move),
        [HintPoint("top", move.point((30.0, 30.0, 33.0)), "scan.toml, points.top")],
    )
    up = found.laid.to_part.direction(move.direction(UP))

    assert up == pytest.approx(UP, abs=1e-9)
    assert found.laid.ambiguous
    assert sentence(found.notes[-1], "mm").count("turned ") == 3


def test_a_round_casting_leaves_its_turn_open():
    """A plain cylinder: the turn about its axis stays open and is said; turning it end for end is another way."""
    solid = solid_from_shape(cylinder((10.0, 20.0, 0.0), UP, 20.0, 60.0), "round")
    part = Part("round", "grey iron", solid, solid, (), ())
    found = register_scan(part, scan_of(exact_mesh(solid, 3000), any_move(94)))
    notes = " ".join(sentence(note, "mm") for note in found.notes)

    assert "round about the part's Z axis through 10.0 20.0 0.0: how far the scan is turned about it stays open" in notes
    assert found.laid.residual.median < 1e-3
    assert found.laid.ambiguous


# --- refusals ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("stated", "scale", "likely"),
    [
        ("mm", 1 / 25.4, "inch"),
        ("inch", 25.4, "mm"),
        ("mm", 1e-3, "m"),
        ("cm", 10.0, "mm"),
        ("m", 1000.0, "mm"),
        ("m", 39.3701, "inch"),
    ],
)
def test_a_wrong_unit_is_refused_and_the_right_one_named(part, exact, stated, scale, likely):
    """25.4, 10 and 1000 times off, either way."""
    scan = replace(scan_of(exact, any_move(95)), unit=stated)
    with pytest.raises(ReadingError, match=f'scan.stl: read in "{stated}" .* looks like a file in "{likely}"'):
        register_scan(part, replace(scan, vertices=scan.vertices * scale))


def test_a_scan_of_another_size_is_refused(part, exact):
    """Half as large again is no unit."""
    scan = scan_of(exact, any_move(96))
    with pytest.raises(ReadingError, match=r"1.5 times as large as the drawn casting \(limit 1.25 times\), and no other unit"):
        register_scan(part, replace(scan, vertices=scan.vertices * 1.5))


def test_a_scan_of_another_part_is_refused_with_the_figure(part):
    """A plain block of about the bracket's size."""
    other = solid_from_shape(box((0.0, 0.0, 0.0), (82.0, 52.0, 40.0)), "other")
    with pytest.raises(
        ReadingError, match=r"scan.stl: \d+% of the scan lies more than 2.\d mm from the drawn casting .*limit 10%.*another part"
    ):
        register_scan(part, scan_of(exact_mesh(other, 3000), any_move(97)))


def test_the_left_handed_part_is_not_the_right_handed_one(part, exact):
    """A mirrored casting has the same size, area and volume."""
    mirrored = Mesh(exact.vertices * np.array([-1.0, 1.0, 1.0]), exact.triangles[:, ::-1], exact.face)
    with pytest.raises(ReadingError, match="another part, mirrored"):
        register_scan(part, scan_of(mirrored, any_move(98)))


def test_a_hint_that_fits_nowhere_is_refused(part, exact):
    """A point in the air, and a face that does not exist."""
    move = any_move(99)
    scan = scan_of(exact, move)
    with pytest.raises(ReadingError, match=r"scan.toml, points.top: .*'bottom' is \d+\.\d mm from it"):
        register_scan(part, scan, [HintPoint("bottom", move.point((30.0, 30.0, 200.0)), "scan.toml, points.top")])
    with pytest.raises(ReadingError, match=r"there is no face 'botom' \(did you mean 'bottom'\?\)"):
        register_scan(part, scan, [HintPoint("botom", move.point((30.0, 30.0, 0.0)), "scan.toml, points.botom")])
