"""Prints: closed, within the chord, of the right size, and said so.

Read back by trimesh and manifold3d, neither of which writes our files; volumes
against closed form; chord errors against the surfaces' own formulae.
"""

import io
import math
import struct
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import manifold3d
import numpy as np
import pytest
import trimesh

from export.prints import mesh as mesh_module
from export.prints.mesh import (
    PrintMesh,
    check_closed,
    check_independently,
    checked_chord,
    in_32_bits,
    ordered,
    place_words,
    print_mesh,
    stl_bytes,
    volume_bound,
)
from export.prints.prototype import face_words, prints, prototype_files
from geom.errors import GeometryError, JobError
from geom.kernel.cut import box, cone, cut, cylinder, moved, sphere, turned_about
from geom.kernel.mesh import Mesh, mesh_volume, tessellate
from geom.kernel.shape import Solid, solid_from_shape
from geom.kernel.step import read_step, write_step
from geom.model.part import FoundCounterbore, Part, PartHole
from geom.rays.body import block
from geom.rays.refine import refined
from tests.catalogue import UP, drilled_plate, filleted_angle

CENTRE = (12.0, -7.0, 30.0)


def solid(shape: object) -> Solid:
    return solid_from_shape(shape, "test part")


def read(data: bytes) -> trimesh.Trimesh:
    """Return an STL as trimesh reads it, equal corners welded."""
    return trimesh.load(io.BytesIO(data), file_type="stl")


def file_of(made: PrintMesh) -> bytes:
    return stl_bytes(made.mesh, made.label, made.chord)


def stl_of(shape: object, chord: float = 0.05) -> trimesh.Trimesh:
    return read(file_of(print_mesh(solid(shape), "test part", chord)))


# --- size and volume --------------------------------------------------------


def test_a_block_prints_exactly():
    """Flat faces lose nothing: 60 x 40 x 30 mm, 72000 mm3, two triangles a face."""
    read_back = stl_of(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)))

    assert len(read_back.faces) == 12
    assert read_back.is_watertight
    assert read_back.volume == pytest.approx(72000.0, rel=1e-12)
    assert read_back.bounds.tolist() == [[0.0, 0.0, 0.0], [60.0, 40.0, 30.0]]


@pytest.mark.parametrize(("radius", "chord"), [(20.0, 0.05), (20.0, 0.01), (3.0, 0.05), (200.0, 0.2)])
def test_a_round_bar_prints_as_the_polygon_inside_its_circle(radius, chord):
    """n even facets: volume = n/2 r^2 sin(2 pi/n) h, and the facets stand off by r (1 - cos(pi/n)), both in closed form."""
    made = print_mesh(solid(cylinder(CENTRE, UP, radius, 30.0)), "bar", chord)
    corners = read(file_of(made)).vertices
    n = int(np.count_nonzero(np.isclose(corners[:, 2], CENTRE[2])))

    assert made.worst == pytest.approx(radius * (1 - math.cos(math.pi / n)), abs=2e-5)
    assert made.worst <= chord
    assert made.volume == pytest.approx(n / 2 * radius**2 * math.sin(2 * math.pi / n) * 30.0, rel=2e-6)


def test_a_bore_prints_small_and_its_volume_is_short_of_the_true_one():
    """The polygon lies inside the bore's circle, so a block with a bore keeps a little more than it should, within the bound."""
    body = solid(cut(box((-30.0, -30.0, 0.0), (30.0, 30.0, 20.0)), cylinder((0.0, 0.0, -1.0), UP, 20.0, 22.0)))
    made = print_mesh(body, "block", 0.05)

    assert 0 < made.volume - (72000.0 - math.pi * 400 * 20) <= made.volume_bound
    assert made.volume_bound == pytest.approx(0.05 * 2 * math.pi * 20 * 20, rel=1e-3), "chord times curved area"


def distance_from(name: str) -> Callable[[np.ndarray], np.ndarray]:
    """Return distances of points (n, 3), taken about `CENTRE`, from each test body's curved surface."""
    return {
        "ball": lambda p: np.abs(np.linalg.norm(p, axis=1) - 20.0),
        "bar": lambda p: np.abs(np.hypot(p[:, 0], p[:, 1]) - 20.0),
        "taper": lambda p: np.abs(np.hypot(p[:, 0], p[:, 1]) - (30.0 - p[:, 2] / 2)) * math.cos(math.atan(0.5)),
    }[name]


BODIES = {
    "ball": lambda: sphere(CENTRE, 20.0),
    "bar": lambda: cylinder(CENTRE, UP, 20.0, 30.0),
    "taper": lambda: cone(CENTRE, UP, 30.0, 10.0, 40.0),
}


@pytest.mark.parametrize("chord", [0.2, 0.05, 0.02])
@pytest.mark.parametrize("name", BODIES)
def test_no_point_of_a_print_is_farther_from_the_true_surface_than_the_chord_error(name, chord):
    """Sampled at 45 points a facet against the surface's formula; the kernel's own mesh of a 20 mm ball at 0.2 is off by 0.217."""
    made = print_mesh(solid(BODIES[name]()), name, chord)
    weights = np.array([(i, j, 8 - i - j) for i in range(9) for j in range(9 - i)]) / 8.0
    read_back = read(file_of(made))
    curved = np.abs(read_back.face_normals[:, 2]) < 0.999 if name != "ball" else np.ones(len(read_back.faces), bool)
    points = np.einsum("wc,tcx->twx", weights, read_back.triangles[curved]).reshape(-1, 3) - CENTRE
    worst = distance_from(name)(points).max()

    assert worst <= chord
    assert made.worst == pytest.approx(worst, rel=0.05), "what the sheet says was measured"


def test_a_fillet_keeps_the_chord_beside_flat_faces():
    """A 6 mm root fillet: quarter cylinder, sampled against its radius about its own axis."""
    made = print_mesh(filleted_angle(6.0), "angle", 0.02)
    fillet = [s.index for s in filleted_angle(6.0).surfaces if s.kind == "cylinder"]
    corners = made.mesh.vertices[made.mesh.triangles[np.isin(made.mesh.face, fillet)]]
    middles = (corners + np.roll(corners, 1, axis=1)).reshape(-1, 3) / 2

    assert np.abs(6.0 - np.hypot(middles[:, 0] - 16.0, middles[:, 2] - 16.0)).max() <= 0.02


@pytest.mark.parametrize("name", BODIES)
def test_a_finer_chord_never_worsens_the_volume(name):
    """Halving the chord error: the print's volume comes nearer, never farther, and always from within the bound."""
    body = solid(BODIES[name]())
    made = [print_mesh(body, name, chord) for chord in (0.4, 0.2, 0.1, 0.05)]
    errors = [abs(m.volume - body.volume) for m in made]

    assert all(finer <= coarser * (1 + 1e-6) for coarser, finer in pairwise(errors))
    assert all(error <= volume_bound(body, m.chord) for error, m in zip(errors, made, strict=True))


def test_a_moved_part_prints_with_as_many_triangles():
    """The facets belong to the part, not to where it stands."""
    finished, _ = drilled_plate()
    here, there = (print_mesh(solid(body), "plate", 0.05) for body in (finished.shape, moved(finished, (7.0, -3.0, 11.0))))

    assert len(here.mesh.triangles) == len(there.mesh.triangles)
    assert there.volume == pytest.approx(here.volume, rel=1e-6)
    assert np.subtract(there.box, here.box).tolist() == pytest.approx(np.array([[7.0, -3.0, 11.0]] * 2), abs=1e-5)


# --- what is written --------------------------------------------------------


def test_an_stl_states_its_unit_and_holds_what_its_count_says():
    """80 bytes of header that do not begin with "solid" (that marks a text STL), a count, 50 bytes a triangle."""
    made = print_mesh(drilled_plate()[0], "finished part", 0.05)
    data = file_of(made)

    assert b"unit: millimetre" in data[:80]
    assert b"chord error 0.05 mm" in data[:80]
    assert not data.lower().startswith(b"solid")
    assert struct.unpack("<I", data[80:84]) == (len(made.mesh.triangles),)
    assert len(data) == 84 + 50 * len(made.mesh.triangles)


@pytest.mark.parametrize("label", ["Gehäuse Ø40 \u202e", "x" * 200, ""])
def test_any_label_leaves_the_header_its_size_and_its_unit(label):
    """80 bytes of plain ASCII whatever the piece is called; the unit comes first, so it is never cut off."""
    data = stl_bytes(in_32_bits(tessellate(solid(box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0))), 0.05)), label, 0.05)

    assert len(data) == 84 + 50 * 12
    assert data[:80].isascii()
    assert b"unit: millimetre" in data[:80]


def test_the_normals_in_an_stl_agree_with_its_corners():
    """Some printers trust the one, some the other: right-hand rule round the corners, unit length, outward."""
    data = file_of(print_mesh(solid(sphere((0.0, 0.0, 0.0), 20.0)), "ball", 0.1))
    numbers = np.frombuffer(data[84:], dtype=np.dtype([("f", "<f4", (4, 3)), ("a", "<u2")]))["f"].astype(float)
    normals, corners = numbers[:, 0], numbers[:, 1:]

    assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0, abs=1e-6)
    assert (np.einsum("ij,ij->i", normals, corners.mean(axis=1)) > 19.0).all()
    assert (np.einsum("ij,ij->i", normals, np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])) > 0).all()


def test_the_same_part_gives_the_same_bytes_whatever_order_its_triangles_came_in():
    """Vertices and triangles are put into an order of their own; winding is kept."""
    mesh = in_32_bits(tessellate(drilled_plate()[0], 0.05))
    mixer = np.random.default_rng(1)
    places, lines = mixer.permutation(len(mesh.vertices)), mixer.permutation(len(mesh.triangles))
    back = np.argsort(places)
    mixed = Mesh(mesh.vertices[places], np.roll(back[mesh.triangles], 1, axis=1)[lines], mesh.face[lines])

    for a, b in zip(*((m.vertices, m.triangles, m.face) for m in (ordered(mesh), ordered(mixed))), strict=True):
        assert np.array_equal(a, b)
    assert mesh_volume(ordered(mixed)) == pytest.approx(mesh_volume(mesh))


def test_a_part_read_back_from_step_prints_the_same_shape(tmp_path):
    """A STEP round trip moves corners by less than a printer could see (bytes may differ in the last bits)."""
    finished, _ = drilled_plate()
    write_step(finished.shape, tmp_path / "plate.step")
    here, again = (print_mesh(body, "plate", 0.05) for body in (finished, read_step(tmp_path / "plate.step")))

    assert len(again.mesh.triangles) == len(here.mesh.triangles)
    assert again.volume == pytest.approx(here.volume, rel=1e-7)
    assert again.box == here.box


def test_a_print_is_closed_for_two_libraries_that_are_not_ours():
    """trimesh and manifold3d read the file's bytes: watertight, one winding, same volume, expected genus.

    The plate has four through holes (9, 11/18, 6.6, 12/20): genus 4.
    """
    made = print_mesh(drilled_plate()[0], "plate", 0.05)
    read_back = read(file_of(made))
    body = manifold3d.Manifold(manifold3d.Mesh(read_back.vertices.astype(np.float32), read_back.faces.astype(np.uint32)))

    assert read_back.is_watertight
    assert read_back.is_winding_consistent
    assert read_back.volume == pytest.approx(made.volume, rel=1e-9)
    assert body.status() == manifold3d.Error.NoError
    assert body.genus() == 4
    assert body.volume() == pytest.approx(made.volume, rel=1e-5)


@pytest.mark.parametrize("name", ["NIST_MBE_PMI_11.stp", "827-9999-904.stp"])
def test_real_free_form_parts_print_closed(nist, name):
    """NIST test models with spline and blended faces, as exported by real CAD programs."""
    body = read_step(nist(name))
    made = print_mesh(body, name, 0.2)
    read_back = read(file_of(made))

    assert read_back.is_watertight
    assert made.worst <= 0.2
    assert read_back.volume == pytest.approx(body.volume, abs=made.volume_bound)
    assert made.size == pytest.approx(np.subtract(body.box[1], body.box[0]), abs=0.4)


# --- the prototype's files --------------------------------------------------


def plate() -> Part:
    """The catalogue's drilled plate with two of its holes named by hand."""
    finished, casting = drilled_plate()
    walls = {s.radius: s.index for s in finished.surfaces if s.kind == "cylinder"}
    through = PartHole(
        "hole 1", "through", 9.0, (15.0, 15.0, 20.0), UP, True, None, 20.0, None, None, None, None, (), (walls[4.5],), "solid"
    )
    bored = replace(
        through,
        name="hole 2",
        kind="counterbored",
        diameter=11.0,
        centre=(85.0, 15.0, 20.0),
        surfaces=(walls[5.5], walls[9.0]),
        counterbore=FoundCounterbore(18.0, 10.5),
    )
    return Part("plate", "grey iron", finished, casting, (), (through, bored))


def test_a_prototype_is_two_stl_files_and_a_sheet():
    """Read back by trimesh: finished part inside its casting's box, 2.5 mm lower; both closed."""
    files = prototype_files(plate())
    finished, casting = read(files["finished.stl"]), read(files["casting.stl"])

    assert sorted(files) == ["casting.stl", "finished.stl", "prototype.txt"]
    assert finished.is_watertight
    assert casting.is_watertight
    assert finished.bounds.tolist() == [[0.0, 0.0, 0.0], [100.0, 60.0, 20.0]]
    assert casting.volume == pytest.approx(100 * 60 * 22.5)


def test_the_sheet_says_what_to_put_the_calipers_on():
    """Overall sizes, hole diameters, a centre distance: 85 - 15 = 70 mm on the catalogue's plate."""
    sheet = prototype_files(plate())["prototype.txt"].decode()

    assert "millimetres" in sheet
    for words, size in [
        ("finished part, overall X", "100.00 mm"),
        ("casting, overall Z", "22.50 mm"),
        ("hole 1, diameter", "9.00 mm"),
        ("hole 2 counterbore, diameter", "18.00 mm"),
        ("hole 1 to hole 2, centres", "70.00 mm"),
    ]:
        line = next(line for line in sheet.splitlines() if words in line)
        assert size in line
    assert "no pattern to mould from" in sheet


def test_the_sheet_of_an_inch_job_gives_inches_and_says_the_files_are_in_mm():
    """100 mm is 3.937 in; a printer's program is still told mm. Mass of 135 cm3 at 7.2 g/cm3 beside it in pounds."""
    sheet = prototype_files(plate(), units="inch")["prototype.txt"].decode()

    assert "100.00 mm = 3.937 in" in sheet
    assert "70.00 mm = 2.756 in" in sheet
    assert "the files in millimetres only" in sheet
    mass = next(line for line in sheet.splitlines() if line.startswith("mass in grey iron"))
    kilograms, pounds = (float(mass.split("   ")[-1].split(" = ")[i].split()[0]) for i in (0, 1))
    assert pounds / kilograms == pytest.approx(1 / 0.45359237, rel=1e-3)


def test_the_facets_of_a_hole_never_leave_less_than_the_sheet_says():
    """The least diameter is measured on the print: twice the shortest distance from the axis to the wall's facets."""
    part = plate()
    finished, _ = prints(part)
    wall = part.holes[0].surfaces[0]
    corners = finished.mesh.vertices[finished.mesh.triangles[finished.mesh.face == wall]]
    middles = (corners + np.roll(corners, 1, axis=1)).reshape(-1, 3) / 2
    least = 2 * np.hypot(middles[:, 0] - 15.0, middles[:, 1] - 15.0).min()
    sheet = prototype_files(part)["prototype.txt"].decode()
    line = next(line for line in sheet.splitlines() if line.startswith("hole 1, diameter"))

    assert least < 9.0
    assert float(line.split("least")[1].split()[0]) == pytest.approx(least, abs=0.0051)


def test_holes_are_measured_in_turn_and_spacings_between_like_holes_first():
    """ "bolt 2" stands before "bolt 10"; a pattern's spacing (20 mm here) before the distance to another hole."""
    base = plate()
    names = {"bolt 10": (35.0, 9.0), "bolt 2": (15.0, 9.0), "bolt 9": (15.0, 9.0), "arm": (90.0, 20.0)}
    holes = tuple(
        replace(base.holes[0], name=name, diameter=size, centre=(x, 15.0 + 20.0 * (name == "bolt 9"), 20.0))
        for name, (x, size) in names.items()
    )
    lines = prototype_files(replace(base, holes=holes))["prototype.txt"].decode().splitlines()
    found = [line.split("  ")[0] for line in lines if ", diameter" in line or ", centres" in line]

    assert found == [
        *(f"{name}, diameter" for name in ("arm", "bolt 2", "bolt 9", "bolt 10")),
        "bolt 2 to bolt 9, centres",
        "bolt 9 to bolt 10, centres",
        "arm to bolt 2, centres",
    ]
    assert any("bolt 2 to bolt 9, centres" in line and "20.00 mm" in line for line in lines)


# --- refusals ---------------------------------------------------------------


@pytest.mark.parametrize("chord", [0.0, -0.05, 0.0001, 1.5, math.nan, math.inf])
def test_a_chord_error_that_makes_no_useful_print_is_refused(chord):
    """Nothing, less than nothing, finer than any printer, coarser than any fit, not a number."""
    with pytest.raises(JobError, match=r"--chord: a chord error of .* give 0\.001 to 1 mm"):
        checked_chord(chord, "--chord")


def test_a_gap_names_the_faces_beside_it():
    """A facet of the 9 mm hole is missing: the hole is named, and where the gap is."""
    part = plate()
    mesh = in_32_bits(tessellate(part.finished, 0.05))
    gone = np.flatnonzero(mesh.face == part.holes[0].surfaces[0])[0]
    holed = Mesh(mesh.vertices, np.delete(mesh.triangles, gone, axis=0), np.delete(mesh.face, gone))

    with pytest.raises(GeometryError, match=r"plate: the facets of .*'hole 1'.* do not close up \(3 loose edges, the first"):
        check_closed(holed, "plate", lambda index: face_words(part, index))
    with pytest.raises(GeometryError, match="independent check"):
        check_independently(holed, "plate")


def test_no_file_is_made_of_a_mesh_that_does_not_close(monkeypatch):
    """The check runs before a byte is written, on the way every print takes."""
    whole = tessellate(drilled_plate()[0], 0.05)
    monkeypatch.setattr(mesh_module, "tessellate", lambda *_: Mesh(whole.vertices, whole.triangles[1:], whole.face[1:]))
    with pytest.raises(GeometryError, match=r"finished part: the facets of .* face near \(.*\) mm"):
        print_mesh(drilled_plate()[0], "finished part", 0.05)


def test_a_facet_turned_inside_out_is_found():
    """Its three edges run the wrong way."""
    mesh = in_32_bits(tessellate(solid(box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0))), 0.05))
    turned = mesh.triangles.copy()
    turned[0] = turned[0, ::-1]
    with pytest.raises(GeometryError, match="do not close up"):
        check_closed(Mesh(mesh.vertices, turned, mesh.face), "block", str)


def test_a_mesh_that_is_inside_out_as_a_whole_is_found():
    """Every edge closes, and the volume is below nothing."""
    mesh = in_32_bits(tessellate(solid(box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0))), 0.05))
    inside_out = Mesh(mesh.vertices, mesh.triangles[:, ::-1], mesh.face)
    check_closed(inside_out, "block", str)
    with pytest.raises(GeometryError, match=r"enclose -1000\.0 mm3 by our count"):
        check_independently(inside_out, "block")


def test_a_mesh_that_loses_metal_is_refused(monkeypatch):
    """Closed, and yet not the solid: a 10 mm block's mesh for an 11 mm block's solid."""
    small = tessellate(solid(box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0))), 0.05)
    monkeypatch.setattr(mesh_module, "tessellate", lambda *_: small)
    with pytest.raises(GeometryError, match=r"enclose 1000\.0 mm3 and the solid 1100\.0 mm3"):
        print_mesh(solid(box((0.0, 0.0, 0.0), (10.0, 10.0, 11.0))), "block", 0.05)


def test_a_face_that_cannot_keep_the_chord_is_named(monkeypatch):
    """A mesher whose rims stay coarse however finely it is asked: the face, the chord and what was found.

    Eighteen facets round 20 mm stand off by 20 (1 - cos 10 degrees) = 0.304 mm.
    """
    coarse = tessellate(solid(cylinder((0.0, 0.0, 0.0), UP, 20.0, 30.0)), 5.0, 40.0)
    monkeypatch.setattr(mesh_module, "tessellate", lambda *_: coarse)
    with pytest.raises(GeometryError, match=r"the cylinder face near \(.*\) mm cannot be .* within 0\.05 mm \(found 0\.304 mm\)"):
        print_mesh(solid(cylinder((0.0, 0.0, 0.0), UP, 20.0, 30.0)), "bar", 0.05)


@pytest.mark.parametrize("name", BODIES)
def test_facets_that_miss_the_chord_are_split_until_they_keep_it(name):
    """A coarse mesh, facets turning 40 degrees: splitting inside each face brings it to the chord wherever the rims allow.

    Still closed, still one body, and its volume nearer the closed-form one (a ball of 20 mm: 4/3 pi r^3).
    """
    body = solid(BODIES[name]())
    coarse = in_32_bits(tessellate(body, 5.0, 40.0))
    fine, errors = refined(body, coarse, 0.05, lambda points: points)
    rims = {"ball": 0.05, "bar": 0.31, "taper": 0.41}[name]

    check_closed(fine, name, str)
    check_independently(fine, name)
    assert len(fine.triangles) > len(coarse.triangles)
    assert errors.max() <= rims
    assert abs(mesh_volume(fine) - body.volume) < abs(mesh_volume(coarse) - body.volume)


def test_splitting_leaves_a_mesh_that_keeps_the_chord_alone():
    """Nothing to do, nothing done: the same corners and facets."""
    body = solid(cylinder((0.0, 0.0, 0.0), UP, 20.0, 30.0))
    mesh = in_32_bits(tessellate(body, 0.05))
    same, errors = refined(body, mesh, 0.05, lambda points: points)

    assert same is mesh
    assert errors.max() == pytest.approx(0.0249, abs=1e-4), "126 facets: 20 (1 - cos(180/63 degrees))"


def test_a_part_too_far_from_its_origin_is_refused():
    """At 100 m a 32-bit number moves in steps of 0.0078 mm (2^-7): too coarse for 0.05."""
    with pytest.raises(GeometryError, match=r"resolves only 0\.0078 mm there"):
        print_mesh(solid(moved(box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0)), (1e5, 0.0, 0.0))), "block", 0.05)


def test_a_face_without_a_name_is_told_by_kind_and_place():
    """Castings' faces have no names: kind and middle are given."""
    part = plate()
    bar = solid(turned_about(cylinder((0.0, 0.0, 0.0), UP, 5.0, 20.0), (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 90.0))
    curved = next(s.index for s in bar.surfaces if s.kind == "cylinder")

    assert place_words(bar, curved) == "the cylinder face near (0.0, -10.0, 0.0) mm"
    assert face_words(part, part.holes[1].surfaces[0]) == "'hole 2'"
    assert face_words(part, next(s.index for s in part.finished.surfaces if s.kind == "plane")).startswith("the plane face near")


def test_print_meshes_report_size_from_the_facets():
    """A round bar's width is measured across its facets' corners, so the sheet never claims more than the print has."""
    made: PrintMesh = print_mesh(solid(cylinder((0.0, 0.0, 0.0), UP, 10.0, 5.0)), "bar", 0.2)

    assert made.size[0] <= 20.0
    assert made.size[2] == 5.0


# --- running into itself -----------------------------------------------------


def together(*bodies: Mesh) -> Mesh:
    """Return meshes as one, corners and facets one after the other."""
    starts = np.cumsum([0, *(len(body.vertices) for body in bodies)])
    triangles = np.vstack([body.triangles + start for body, start in zip(bodies, starts, strict=False)])
    return Mesh(np.vstack([body.vertices for body in bodies]), triangles, np.zeros(len(triangles), dtype=np.int64))


@pytest.mark.parametrize(("apart", "fails"), [(8.0, True), (9.5, True), (10.5, False)])
def test_a_print_that_runs_into_itself_is_refused(apart, fails):
    """Two 10 mm cubes, corner in corner: every edge is walked once each way, and trimesh too calls the mesh watertight."""
    one, other = block((0.0, 0.0, 0.0), (10.0, 10.0, 10.0)).mesh(), block((apart, 3.0, 3.0), (apart + 10.0, 13.0, 13.0)).mesh()
    both = together(one, other)
    check_closed(both, "cubes", lambda _: "a face")

    assert trimesh.Trimesh(both.vertices, both.triangles, process=False).is_watertight
    if fails:
        with pytest.raises(GeometryError, match=r"cubes: it runs into itself near .* of \d+ places"):
            check_independently(both, "cubes")
    else:
        check_independently(both, "cubes")


def test_a_body_whose_one_side_is_pushed_through_the_other_is_refused():
    """A 20 x 20 x 6 plate, its top's middle pushed down to 4 mm under its foot: the tip stands out inside out."""
    plate = block((0.0, 0.0, 0.0), (20.0, 20.0, 6.0))
    dent = (plate - block((8.0, 8.0, 3.0), (12.0, 12.0, 7.0))).mesh()
    dent.vertices[dent.vertices[:, 2] == 3.0, 2] = -4.0

    with pytest.raises(GeometryError, match="runs into itself"):
        check_independently(dent, "plate")
