"""The print of the finished part: grown holes, pieces for the bed, 3MF; against closed forms and another reader."""

import io
import math

import pytest
import trimesh

from export.prints.mesh import PrintMesh, print_mesh
from export.prints.prototype_print import flat_side, grown, print_files
from geom.errors import GeometryError
from geom.kernel.cut import box, cut, cylinder
from geom.kernel.shape import solid_from_shape
from geom.model.part import Part
from geom.rays.body import body_of
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
