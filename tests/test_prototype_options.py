"""The print of the finished part: grown holes, pieces for the bed, 3MF; against closed forms and another reader."""

import io
import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from export.prints.mesh import PrintMesh, print_mesh
from export.prints.prototype_print import flat_side, grown, print_files
from geom.errors import GeometryError
from geom.fixture.checks import hanging
from geom.kernel.cut import box, cut, cylinder
from geom.kernel.shape import solid_from_shape
from geom.model.part import Part, PartFace
from geom.pattern.bed_split import Keep, split_for_bed
from geom.pattern.hollow import hollowed
from geom.rays.body import block, body_of, rod
from geom.toml.print_settings import Printer

SIZE = (120.0, 50.0, 24.0)
HOLES = ((20.0, 25.0, 6.0), (100.0, 25.0, 10.0))
CHORD = 0.01


@pytest.fixture(scope="module")
def plate() -> Part:
    shape: object = box((0.0, 0.0, 0.0), SIZE)
    for x, y, radius in HOLES:
        shape = cut(shape, cylinder((x, y, -1.0), (0.0, 0.0, 1.0), radius, 26.0))
    solid = solid_from_shape(shape, "plate")
    return Part("plate", "grey iron", solid, solid, (), ())


@pytest.fixture(scope="module")
def finished(plate: Part) -> PrintMesh:
    return print_mesh(plate.finished, "finished part", CHORD)


def machined(plate: Part, name: str, rise: float) -> PartFace:
    """Return the plate's flat face that looks up or down as a machined one."""
    s = next(s for s in plate.finished.surfaces if s.kind == "plane" and s.normal[2] == pytest.approx(rise))
    return PartFace(name, "plane", "machined", (s.index,), s.normal, s.origin, s.axis, 0.0, 0.0, False, s.centroid, s.area)


def test_every_hole_is_wider_by_what_the_printer_pulls_in(plate, finished):
    """0.4 mm on the diameter: pi ((r + 0.2)^2 - r^2) h less, hole by hole."""
    wide = grown(body_of(finished.mesh, "plate"), plate.finished.surfaces, Printer(hole_growth=0.4))
    due = SIZE[0] * SIZE[1] * SIZE[2] - sum(math.pi * (r + 0.2) ** 2 * SIZE[2] for *_, r in HOLES)

    assert wide.volume == pytest.approx(due, abs=2 * math.pi * 10.2 * SIZE[2] * 0.05)
    assert wide.box == body_of(finished.mesh, "plate").box


def test_a_print_cut_for_the_bed_is_whole_again_by_another_reader(plate, finished):
    """On a 90 mm bed: two pieces and a dowel in one 3MF, closed, adding up to the plate less the dowel holes."""
    printer = Printer(bed=(90.0, 90.0, 90.0), stated=frozenset({"bed"}))
    files = print_files(plate, finished, printer, "job.toml")
    scene = trimesh.load(io.BytesIO(files["prototype.3mf"]), file_type="3mf")
    pieces = [scene.geometry[name] for name in ("prototype_1", "prototype_2")]

    assert {"prototype_1.stl", "prototype_2.stl", "prototype_pin.stl"} < files.keys()
    assert all(piece.is_watertight and piece.is_winding_consistent for piece in pieces)
    assert all(extent <= 90.0 for piece in pieces for extent in piece.extents)
    holes = finished.volume - sum(piece.volume for piece in pieces)
    assert holes == pytest.approx(4 * math.pi * 3.15**2 * 10.2, rel=0.03)
    assert min(piece.bounds[0][2] for piece in pieces) == pytest.approx(0.0, abs=1e-6)
    assert max(piece.extents[0] for piece in pieces) < 90.0 - 5.0


def test_a_print_that_fits_stays_in_one_piece_as_drawn(plate, finished):
    """No option stated: one object of the plate's own size, and no more STL files than before."""
    files = print_files(plate, finished, Printer(), "job.toml")
    scene = trimesh.load(io.BytesIO(files["prototype.3mf"]), file_type="3mf")

    assert sorted(files) == ["prototype.3mf", "prototype_print.txt"]
    assert sorted(scene.extents) == pytest.approx(sorted(SIZE))
    assert scene.geometry["prototype"].volume == pytest.approx(finished.volume, rel=1e-6)


def test_a_print_lies_on_its_largest_flat_side(plate, finished):
    """The plate's top or foot, less its holes."""
    assert abs(flat_side(plate, finished.mesh)[2]) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("printer", "says"),
    [
        (Printer(bed=(8.0, 8.0, 8.0), stated=frozenset({"bed"})), "printer.bed"),
        (Printer(nozzle=30.0, stated=frozenset({"nozzle"})), r"thinnest wall of the print is .* the nozzle lays 30 mm"),
    ],
)
def test_a_stated_printer_that_cannot_make_it_is_refused(plate, finished, printer, says):
    """A bed smaller than any piece, a nozzle wider than the walls."""
    with pytest.raises(GeometryError, match=says):
        print_files(plate, finished, printer, "job.toml")


# --- hollow -----------------------------------------------------------------


def objects(files: dict[str, bytes]) -> dict[str, trimesh.Trimesh]:
    return trimesh.load(io.BytesIO(files["prototype.3mf"]), file_type="3mf").geometry


@pytest.mark.parametrize(("opens", "high"), [(False, 24.0 - 6.0), (True, 24.0 - 3.0)])
def test_a_hollow_blocks_volume_is_its_closed_form(opens, high):
    """60 x 40 x 24 mm, wall 3: a cavity of 54 x 34 x 18 (or 21, open below) less two ribs one way and one the other."""
    found = hollowed(block((0.0, 0.0, 0.0), (60.0, 40.0, 24.0)), 3.0, opens)

    assert found.volume == pytest.approx(60 * 40 * 24 - (54 - 2 * 3) * (34 - 3) * high, rel=1e-9)
    assert found.box == ((0.0, 0.0, 0.0), (60.0, 40.0, 24.0))


def test_a_hollow_print_keeps_a_wall_on_every_face_and_round_every_hole(plate, finished):
    """By another reader: every corner and facet's middle lies on the plate's skin or a wall's 2.4 mm within, by formula."""
    milled = replace(plate, faces=(machined(plate, "bottom", -1.0), machined(plate, "top", 1.0)))
    found = objects(print_files(milled, finished, Printer(hollow=2.4), "job.toml"))["prototype"]
    points = np.vstack([found.vertices, found.triangles_center])
    points += np.array([SIZE[0] / 2, SIZE[1] / 2, 0.0]) - [*found.bounds.mean(axis=0)[:2], 0.0]
    walls = [points[:, i] for i in range(3)] + [SIZE[i] - points[:, i] for i in range(3)]
    turned = min((1.0, -1.0), key=lambda way: abs(np.hypot(points[:, 0] - 20.0, way * (points[:, 1] - 25.0)).min() - 6.0))
    holes = [np.hypot(points[:, 0] - x, turned * (points[:, 1] - y)) - radius for x, y, radius in HOLES]
    within = np.minimum.reduce([*walls, *holes])
    cells = within > 0.1

    assert found.is_watertight
    assert found.volume < 0.75 * finished.volume
    assert cells.sum() > 100
    assert within[cells].min() == pytest.approx(2.4, abs=2 * CHORD)
    assert np.abs(within[~cells]).max() <= CHORD + 1e-6


def test_a_machined_underside_stays_whole_and_a_cast_one_is_opened(plate, finished):
    """The sheet says which, and by how much the print is lighter."""
    milled = replace(plate, faces=(machined(plate, "bottom", -1.0), machined(plate, "top", 1.0)))
    cast = print_files(plate, finished, Printer(hollow=3.0), "job.toml")
    closed = print_files(milled, finished, Printer(hollow=3.0), "job.toml")

    assert "opens below, in an as-cast side" in cast["prototype_print.txt"].decode()
    assert "machined and stays whole" in closed["prototype_print.txt"].decode()
    assert objects(cast)["prototype"].volume < objects(closed)["prototype"].volume


# --- supports ---------------------------------------------------------------


def test_what_hangs_over_nothing_is_measured_and_told(plate, finished):
    """A bar of 60 x 20 across a post of 20 x 20: 2 x 20 x 20 mm2 hang; a cone that opens at 60 degrees hangs, not at 30."""
    tee = block((0.0, 0.0, 0.0), (20.0, 20.0, 10.0)) + block((-20.0, 0.0, 10.0), (40.0, 20.0, 20.0))
    flat, steep = (rod((0.0, 0.0, 0.0), 10.0, 10.0, 0.01, 10.0 + 10.0 * math.tan(math.radians(lean))) for lean in (60.0, 30.0))
    side = math.pi * (10.0 + 10.0 + 10.0 * math.tan(math.radians(60.0))) * 10.0 / math.cos(math.radians(60.0))

    assert hanging(tee) == pytest.approx(800.0)
    assert hanging(flat) == pytest.approx(side, rel=5e-3)
    assert hanging(steep) == 0.0
    assert "hangs over nothing" not in print_files(plate, finished, Printer(), "job.toml")["prototype_print.txt"].decode()


def test_a_long_print_is_turned_on_the_bed_before_it_is_cut():
    """130 x 10 mm on a bed of 100: across the corners it needs (130 + 10) / sqrt 2 = 99.0 mm; 140 needs 106 and is cut."""
    bed = Printer(bed=(101.0, 101.0, 50.0))
    turned = split_for_bed(block((5.0, 3.0, 0.0), (135.0, 13.0, 12.0)), bed, (), "bar")
    cut_up = split_for_bed(block((0.0, 0.0, 0.0), (140.0, 14.0, 14.0)), Printer(bed=(101.0, 101.0, 50.0), pin=4.0), (), "bar")
    (piece,) = turned.pieces

    assert (turned.turn, turned.dowels) == (45.0, 0)
    assert [piece.box[1][i] - piece.box[0][i] for i in range(3)] == pytest.approx([140.0 / math.sqrt(2)] * 2 + [12.0])
    assert piece.volume == pytest.approx(130 * 10 * 12)
    assert (len(cut_up.pieces), cut_up.turn) == (2, 0.0)


# --- where it is cut --------------------------------------------------------


def test_a_cut_avoids_what_mates_where_it_can_and_says_what_it_had_to_pass():
    """A 150 mm bar on a 100 mm bed may be cut from 50 to 100: with a face from 40 to 80 behind 85, with one from 40 to 110 not."""
    bar = block((0.0, 0.0, 0.0), (150.0, 40.0, 30.0))
    printer = Printer(bed=(100.0, 100.0, 100.0))
    free = split_for_bed(bar, printer, [Keep("pad", (40.0, 0.0, 30.0 - 1.0), (80.0, 40.0, 30.0))], "bar")
    wide = split_for_bed(bar, printer, [Keep("pad", (40.0, 0.0, 30.0 - 1.0), (110.0, 40.0, 30.0))], "bar")

    assert free.crossed == ()
    assert 81.0 <= max(piece.box[0][0] for piece in free.pieces) <= 100.0
    assert wide.crossed == ("pad",)


def test_the_sheet_names_what_the_cut_had_to_pass(plate, finished):
    """A plate machined all over on a bed of 90 mm: its top cannot stay in one piece, its holes can."""
    milled = replace(plate, faces=(machined(plate, "top", 1.0),))
    printer = Printer(bed=(90.0, 90.0, 90.0), stated=frozenset({"bed"}))

    says = " ".join(print_files(milled, finished, printer, "job.toml")["prototype_print.txt"].decode().split())
    assert "No place for the cut leaves these whole: top." in says
    assert "No cut passes a machined face" in " ".join(
        print_files(plate, finished, printer, "job.toml")["prototype_print.txt"].decode().split()
    )
