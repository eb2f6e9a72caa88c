"""Scan files: what is in them comes out, in mm, the right way out; what is wrong is named."""

from pathlib import Path

import numpy as np
import pytest
import trimesh

from export.number import sentence
from geom.errors import EvenstockError, GeometryError, ReadingError
from geom.readings.records import ScanFile
from geom.scan.file import Scan, read_scan, read_scan_file
from tests.scan_files import write_ply, write_stl

BALL = trimesh.creation.icosphere(subdivisions=3, radius=20.0)
"""1280 triangles, from a general library."""

CUBE = np.array([(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=np.float64)
SIDES = np.array([(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)])
"""A unit cube's corners, and its six faces seen from outside."""


def volume(scan: Scan) -> float:
    a, b, c = (scan.vertices[scan.triangles[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def places(points: np.ndarray, digits: int = 4) -> np.ndarray:
    """Rounded and sorted: the points, whatever their order."""
    return np.unique(np.round(points, digits) + 0.0, axis=0)


def write(folder: Path, ending: str) -> Path:
    """Write the ball, by a general library where it can."""
    path = folder / f"ball.{ending.split()[-1]}"
    if ending in ("big endian ply", "double ply"):
        return write_ply(path, BALL.vertices, BALL.faces, ">" if ending.startswith("big") else "<")
    if ending == "ascii stl":
        path.write_text(trimesh.exchange.stl.export_stl_ascii(BALL))
    elif ending == "ascii ply":
        path.write_bytes(trimesh.exchange.ply.export_ply(BALL, encoding="ascii"))
    else:
        BALL.export(path)
    return path


# --- what is in them --------------------------------------------------------


@pytest.mark.parametrize("ending", ["stl", "ascii stl", "ply", "ascii ply", "double ply", "big endian ply", "obj"])
def test_every_mesh_format_gives_the_same_ball(tmp_path, ending):
    """642 points, 1280 triangles, the volume and the places that trimesh has, for files written by trimesh where it can."""
    scan = read_scan_file(write(tmp_path, ending), "mm")

    assert scan.vertices.shape == (642, 3)
    assert scan.triangles.shape == (1280, 3)
    assert scan.notes == ()
    assert volume(scan) == pytest.approx(BALL.volume, rel=1e-6)
    assert np.abs(places(scan.vertices) - places(BALL.vertices)).max() < 2e-4


@pytest.mark.parametrize("ending", ["stl", "ascii stl", "ply", "big endian ply", "obj"])
def test_trimesh_reads_the_same_from_the_file(tmp_path, ending):
    """An independent reader sees the same volume and box."""
    path = write(tmp_path, ending)
    scan, other = read_scan_file(path, "mm"), trimesh.load(path, force="mesh")

    assert volume(scan) == pytest.approx(other.volume, rel=1e-9)
    assert [scan.vertices.min(axis=0), scan.vertices.max(axis=0)] == pytest.approx(other.bounds, abs=1e-9)


@pytest.mark.parametrize(
    ("delimiter", "head", "more"),
    [
        (" ", "", 0),
        ("\t", "# from the scanner\n", 0),
        (",", "x,y,z,red\n", 1),
        ("; ", "", 3),
        (" ", "200\n", 3),
    ],
)
def test_a_list_of_points_is_read_whatever_stands_between_them(tmp_path, delimiter, head, more):
    """As numpy.savetxt writes them: separators, a line above, columns after the third."""
    points = np.random.default_rng(1).uniform(-50, 50, (200, 3 + more))
    path = tmp_path / "cloud.xyz"
    path.write_text(head + "\n".join(delimiter.join(f"{v:.17g}" for v in row) for row in points))
    scan = read_scan_file(path, "mm")

    assert scan.is_cloud
    assert (scan.vertices == points[:, :3]).all()


def test_decimal_commas_are_accepted_and_said(tmp_path):
    """12,5 is twelve and a half in many shops."""
    points = np.random.default_rng(1).uniform(-50, 50, (150, 3)).round(3)
    path = tmp_path / "cloud.asc"
    path.write_text("\n".join(" ".join(f"{v:.3f}".replace(".", ",") for v in row) for row in points))
    scan = read_scan_file(path, "mm")

    assert (scan.vertices == points).all()
    assert "decimal commas" in scan.notes[0]


def test_a_hand_written_cube_is_a_cube(tmp_path):
    """OBJ with square faces, corners counted backwards, textures and normals: 12 triangles, volume 1."""
    lines = [f"v {x:g} {y:g} {z:g}" for x, y, z in CUBE] + ["vn 0 0 1", "# six faces"]
    lines += ["f " + " ".join(f"{i - 8}//1" for i in side) for side in SIDES.tolist()]
    path = tmp_path / "cube.obj"
    path.write_text("\n".join(lines))
    scan = read_scan_file(path, "mm")

    assert scan.triangles.shape == (12, 3)
    assert volume(scan) == pytest.approx(1.0, rel=1e-12)


def test_square_faces_of_a_binary_ply_are_cut_in_two(tmp_path):
    """The unit cube again, from six squares."""
    scan = read_scan_file(write_ply(tmp_path / "cube.ply", CUBE, SIDES), "mm")

    assert scan.triangles.shape == (12, 3)
    assert volume(scan) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize(("unit", "factor"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("inch", 25.4)])
def test_the_stated_unit_scales_the_scan(tmp_path, unit, factor):
    """An inch is 25.4 mm exactly."""
    path = write(tmp_path, "double ply")
    scan = read_scan(ScanFile(path, unit, 0.07, (), "scan.toml"))

    assert np.abs(places(scan.vertices / factor) - places(BALL.vertices)).max() < 2e-4
    assert scan.sigma == 0.07
    assert scan.unit == unit


# --- what is set right, and said --------------------------------------------


def test_a_mesh_that_stands_there_twice_counts_once(tmp_path):
    """Exporters write a mesh twice when two copies lie on each other."""
    scan = read_scan_file(write_stl(tmp_path / "twice.stl", BALL.vertices, np.tile(BALL.faces, (2, 1))), "mm")

    assert len(scan.triangles) == 1280
    assert scan.notes == ("twice.stl: the whole mesh stands there twice; each counts once",)


def test_an_inside_out_scan_is_turned(tmp_path):
    """The volume of a mesh that faces out of the metal is positive."""
    scan = read_scan_file(write_stl(tmp_path / "inside.stl", BALL.vertices, BALL.faces[:, ::-1]), "mm")

    assert volume(scan) == pytest.approx(BALL.volume, rel=1e-6)
    assert scan.notes == ("inside.stl: its triangles faced into the metal and were turned over",)


def test_single_triangles_that_face_the_wrong_way_are_turned(tmp_path):
    """A hundred of 1280, spread over the ball."""
    faces = BALL.faces.copy()
    wrong = np.random.default_rng(2).choice(1280, 100, replace=False)
    faces[wrong] = faces[wrong][:, ::-1]
    scan = read_scan_file(write_stl(tmp_path / "mixed.stl", BALL.vertices, faces), "mm")

    assert volume(scan) == pytest.approx(BALL.volume, rel=1e-6)
    assert scan.notes == ("mixed.stl: 100 triangles faced against their neighbours and were turned over",)


@pytest.mark.parametrize("turned", [False, True])
def test_an_open_scan_says_how_much_is_missing(tmp_path, turned):
    """A box 60 x 40 x 30 without its base: 2400 mm2 of 10800, 22 %, and 200 mm of rim; the metal is still inside."""
    box = trimesh.creation.box((60.0, 40.0, 30.0)).subdivide().subdivide()
    faces = box.faces[(box.vertices[box.faces][:, :, 2] > -15.0).any(axis=1)]
    scan = read_scan_file(write_stl(tmp_path / "open.stl", box.vertices, faces[:, ::-1] if turned else faces), "mm")
    a, b, c = (scan.vertices[scan.triangles[:, i]] for i in range(3))

    assert "1 hole, 200 mm of rim, about 2400 mm2 (22% of the skin) not scanned" in sentence(scan.notes[-1], "mm")
    assert (np.einsum("ij,ij->i", np.cross(b - a, c - a), a + b + c) > 0).all()
    assert ("turned over" in scan.notes[0]) == turned


def test_more_than_two_triangles_at_an_edge_are_counted(tmp_path):
    """A fin of one triangle on the ball: one crowded edge, two open ones."""
    tip = len(BALL.vertices)
    vertices = np.concatenate([BALL.vertices, [[0.0, 0.0, 30.0]]])
    a, b = BALL.faces[0][:2]
    scan = read_scan_file(write_ply(tmp_path / "fin.ply", vertices, np.concatenate([BALL.faces, [[a, b, tip]]])), "mm")

    assert "more than two triangles meet at 1 edges" in " ".join(sentence(note, "mm") for note in scan.notes)


def test_order_and_doubling_of_points_change_nothing(tmp_path):
    """Law: triangles in another order give the same surface, to the last digit of single precision."""
    order = np.random.default_rng(3).permutation(1280)
    one = read_scan_file(write_stl(tmp_path / "one.stl", BALL.vertices, BALL.faces), "mm")
    two = read_scan_file(write_stl(tmp_path / "two.stl", BALL.vertices, BALL.faces[order]), "mm")

    assert (one.vertices[one.triangles][order] == two.vertices[two.triangles]).all()


def test_many_points_are_welded_exactly(tmp_path):
    """A ball of 327,680 triangles has 163,842 points (Euler: V = 2 + F/2), none merged with a near one."""
    fine = trimesh.creation.icosphere(subdivisions=7, radius=20.0)
    scan = read_scan_file(write_stl(tmp_path / "fine.stl", fine.vertices, fine.faces), "mm")

    assert len(scan.vertices) == 163_842
    assert (scan.vertices[scan.triangles] == fine.vertices[fine.faces].astype(np.float32)).all()


# --- refusals ---------------------------------------------------------------


def _text(path: Path, text: str | bytes) -> Path:
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def _not_a_number(folder: Path) -> Path:
    vertices = BALL.vertices.copy()
    vertices[17, 1] = np.nan
    return write_ply(folder / "nan.ply", vertices, BALL.faces)


def _far(folder: Path) -> Path:
    return write_ply(folder / "far.ply", BALL.vertices + np.array([3e7, 0.0, 0.0]), BALL.faces)


def _wrong_index(folder: Path) -> Path:
    faces = BALL.faces.copy()
    faces[3, 2] = 642
    return write_ply(folder / "index.ply", BALL.vertices, faces)


def _cut(folder: Path, ending: str, share: float) -> Path:
    path = write(folder, ending)
    whole = path.read_bytes()
    return _text(path, whole[: int(len(whole) * share)])


def _damaged_text(folder: Path) -> Path:
    path = write(folder, "ascii stl")
    lines = path.read_text().splitlines()
    lines[10] = "vertex 1.0 oops 3.0"
    return _text(path, "\n".join(lines))


def _twisted(folder: Path) -> Path:
    """A Moebius strip of 40 pieces, radius 20, 8 wide."""
    turn = np.linspace(0, 2 * np.pi, 41)[:-1]
    rows = [
        np.stack(
            [(20 + s * np.cos(turn / 2)) * np.cos(turn), (20 + s * np.cos(turn / 2)) * np.sin(turn), s * np.sin(turn / 2)], axis=1
        )
        for s in (-4.0, 4.0)
    ]
    i = np.arange(40)
    j, last = (i + 1) % 40, i == 39
    low, high = np.where(last, j + 40, j), np.where(last, j, j + 40)
    faces = np.concatenate([np.stack([i, low, high], axis=1), np.stack([i, high, i + 40], axis=1)])
    return write_ply(folder / "strip.ply", np.concatenate(rows), faces)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda f: f / "gone.stl", ["gone.stl: there is no such file"]),
        (lambda f: _text(f / "scan.step", "x"), ["scan.step: .step is no scan", ".ply"]),
        (lambda f: _text(f / "empty.stl", ""), ["empty.stl: the file is empty (0 bytes)"]),
        (lambda f: _text(f / "short.stl", b"\1" * 50), ["50 bytes are too short"]),
        (lambda f: _cut(f, "stl", 0.5), ["ball.stl", "cut off", "1,280 triangles", "it holds 639"]),
        (
            lambda f: write_stl(f / "claim.stl", BALL.vertices, BALL.faces, claim=200_000_000),
            ["cut off", "200,000,000 triangles (10,000.0 MB)", "it holds 1,280"],
        ),
        (lambda f: write_stl(f / "more.stl", BALL.vertices, BALL.faces, claim=100), ["goes on after its last triangle"]),
        (lambda f: write_stl(f / "none.stl", BALL.vertices, BALL.faces[:0]), ["0 triangles"]),
        (lambda f: _text(f / "words.stl", "solid\nthis is a shopping list\nendsolid"), ["words.stl: line 2 is not STL text"]),
        (_damaged_text, ["line 11 is not STL text"]),
        (lambda f: _cut(f, "ascii stl", 0.5), ["ball.stl", "cut off or damaged"]),
        (lambda f: _text(f / "solid.stl", "solid nothing\nendsolid nothing"), ["holds no triangles"]),
        (lambda f: _cut(f, "double ply", 0.5), ["cut off", "1,280 of 'face'"]),
        (lambda f: _cut(f, "ascii ply", 0.3), ["cut off"]),
        (lambda f: _text(f / "head.ply", "ply\nformat ascii 1.0\n"), ["no PLY header"]),
        (
            lambda f: _text(
                f / "huge.ply",
                "ply\nformat binary_little_endian 1.0\nelement vertex 900000000\nproperty float x\nproperty float y\n"
                "property float z\nend_header\n",
            ),
            ["cut off", "900,000,000 of 'vertex'", "at most 0"],
        ),
        (_not_a_number, ["nan.ply: 1 of 642 points", "the first is point 18"]),
        (_far, ["far.ply", "3e+07 mm", "limit 1e+06 mm"]),
        (_wrong_index, ["index.ply: a triangle refers to point 642", "0 to 641"]),
        (lambda f: _text(f / "no.obj", "hello\n"), ["no 'v x y z' lines"]),
        (lambda f: _text(f / "bad.obj", "v 0 0 0\nv 1 0 x\nv 0 1 0\nf 1 2 3\n"), ["bad.obj, line 2: 'v 1 0 x'"]),
        (lambda f: _text(f / "two.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2\n"), ["two.obj, line 4: 'f 1 2'"]),
        (
            lambda f: _text(f / "far.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\nf 1 2 99999999999999999999999\n"),
            ["far.obj, line 5: refers to point 99999999999999991611392, but the file has 3 points"],
        ),
        (lambda f: _text(f / "few.xyz", "1 2 3\n4 5 6\n"), ["holds 2 points", "touches.csv"]),
        (lambda f: _text(f / "gap.xyz", "1 2 3\n" * 120 + "4 5\n" + "1 2 3\n"), ["gap.xyz, line 121: '4 5'"]),
        (lambda f: _text(f / "words.txt", "no points\n" * 50), ["words.txt: the first 20 lines hold no point"]),
        (lambda f: _text(f / "bytes.xyz", b"\0\1\2" * 99), ["bytes.xyz: is not text"]),
        (lambda f: write_ply(f / "flat.ply", CUBE * 0.0, SIDES), ["none of its triangles has an area"]),
        (_twisted, ["strip.ply: its surface has no inside and outside"]),
    ],
)  # fmt: skip
def test_a_bad_file_is_named_with_what_is_wrong(tmp_path, make, words):
    """One plain paragraph: the file, what it says and what it holds, what to do."""
    with pytest.raises((ReadingError, GeometryError)) as caught:
        read_scan_file(make(tmp_path), "mm")

    message = str(caught.value)
    assert all(word in message for word in words), message
    assert "\n" not in message


@pytest.mark.parametrize("ending", ["stl", "ascii stl", "ply", "ascii ply", "big endian ply", "obj"])
def test_damage_anywhere_never_gives_a_traceback(tmp_path, ending):
    """A byte changed at random 40 times: the file is read, or refused in words."""
    path = write(tmp_path, ending)
    whole, rng = path.read_bytes(), np.random.default_rng(4)
    for _ in range(40):
        damaged = bytearray(whole)
        for at in rng.integers(0, min(len(whole), 3000), 3):
            damaged[at] = int(rng.integers(0, 256))
        path.write_bytes(bytes(damaged[: int(rng.integers(len(whole) // 2, len(whole) + 1))]))
        assert _read_or_refused(path).startswith(("read", path.name))


def _read_or_refused(path: Path) -> str:
    try:
        return f"read {len(read_scan_file(path, 'mm').vertices)} points"
    except EvenstockError as refused:
        return str(refused)
