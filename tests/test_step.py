"""Solids in and out of STEP files: units, sizes, the same bytes, and plain refusals."""

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from OCP.BRep import BRep_Builder
from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert, BRepBuilderAPI_Transform
from OCP.BRepPrimAPI import BRepPrimAPI_MakeTorus
from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Trsf
from OCP.TopoDS import TopoDS_Compound, TopoDS_Shell, TopoDS_Solid

from geom.errors import GeometryError, OutputError
from geom.kernel.cut import box, cone, cut, cylinder, sphere, turned_about
from geom.kernel.mesh import mesh_volume, tessellate
from geom.kernel.shape import VOLUME_ACCURACY, Solid, from_cadquery, solid_from_shape
from geom.kernel.step import read_step, write_step
from geom.kernel.topology import faces_of
from tests import catalogue

UP = (0.0, 0.0, 1.0)


def compound(*shapes: object) -> TopoDS_Compound:
    whole, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(whole)
    for shape in shapes:
        builder.Add(whole, shape)
    return whole


def shell_of(faces: list[object]) -> TopoDS_Shell:
    shell, builder = TopoDS_Shell(), BRep_Builder()
    builder.MakeShell(shell)
    for face in faces:
        builder.Add(shell, face)
    return shell


def solid_of(shell: TopoDS_Shell) -> TopoDS_Solid:
    solid, builder = TopoDS_Solid(), BRep_Builder()
    builder.MakeSolid(solid)
    builder.Add(solid, shell)
    return solid


# --- sizes ------------------------------------------------------------------


def test_an_inch_file_reads_to_the_same_millimetres(tmp_path: Path):
    """The file carries its unit: a 25.4 mm cube written in inches says 1, and is 25.4 mm again (25.4 exact, since 1959)."""
    cube = box((0.0, 0.0, 0.0), (25.4, 25.4, 25.4))
    write_step(cube, tmp_path / "mm.step")
    write_step(cube, tmp_path / "inch.step", "inch")

    found = read_step(tmp_path / "inch.step")

    assert "CONVERSION_BASED_UNIT('INCH'" in (tmp_path / "inch.step").read_text()
    assert "(1.,1.,1.)" in (tmp_path / "inch.step").read_text()
    assert found.box == read_step(tmp_path / "mm.step").box == ((0.0, 0.0, 0.0), (25.4, 25.4, 25.4))
    assert found.volume == pytest.approx(25.4**3)


def test_writing_inches_leaves_later_files_in_millimetres(tmp_path: Path):
    """The kernel keeps its unit in a global; ours must not leak."""
    cube = box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0))
    write_step(cube, tmp_path / "a.step", "inch")
    write_step(cube, tmp_path / "b.step")

    assert "INCH" not in (tmp_path / "b.step").read_text()


@pytest.mark.parametrize(
    ("shape", "volume", "area"),
    [
        (box((0.0, 0.0, 0.0), (10.0, 20.0, 30.0)), 6000.0, 2200.0),
        (cylinder((1.0, 2.0, 3.0), UP, 5.0, 12.0), math.pi * 300.0, math.pi * 170.0),
        (sphere((0.0, 0.0, 0.0), 7.0), 4 / 3 * math.pi * 343.0, 4 * math.pi * 49.0),
        (cone((0.0, 0.0, 0.0), UP, 6.0, 3.0, 4.0), math.pi * 4.0 * 63.0 / 3.0, math.pi * (36.0 + 9.0 + 9.0 * 5.0)),
        (BRepPrimAPI_MakeTorus(20.0, 5.0).Shape(), 2 * math.pi**2 * 500.0, 4 * math.pi**2 * 100.0),
    ],
    ids=["block", "cylinder", "ball", "frustum", "ring"],
)
def test_volume_and_area_are_those_of_the_formula_also_as_splines(shape: object, volume: float, area: float):
    """Whichever way an exporter writes a body, its volume and area are the textbook's."""
    for form in (shape, BRepBuilderAPI_NurbsConvert(shape, True).Shape()):
        solid = solid_from_shape(form, "part")

        assert solid.volume == pytest.approx(volume, rel=VOLUME_ACCURACY)
        assert sum(s.area for s in solid.surfaces) == pytest.approx(area, rel=2e-4)


@pytest.mark.parametrize("degrees", [0.0, 17.0, 30.0, 45.0])
def test_the_box_of_a_tilted_body_is_exact(degrees: float):
    """A cylinder of radius r and height h tilted by t is h cos t + 2 r sin t high; a ring leans by its middle circle."""
    turn = math.radians(degrees)
    tilted = solid_from_shape(
        turned_about(cylinder((0.0, 0.0, 0.0), UP, 5.0, 12.0), (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), degrees), "part"
    )
    ring = BRepPrimAPI_MakeTorus(20.0, 5.0).Shape()
    move = gp_Trsf()
    move.SetRotation(gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(1, 0, 0)), turn)
    leaning = solid_from_shape(BRepBuilderAPI_Transform(ring, move, True).Shape(), "ring")

    assert tilted.box[1][2] - tilted.box[0][2] == pytest.approx(12.0 * math.cos(turn) + 10.0 * math.sin(turn), abs=2e-6)
    assert tilted.box[1][0] == pytest.approx(5.0, abs=2e-6)
    assert leaning.box[1][2] == pytest.approx(20.0 * math.sin(turn) + 5.0, abs=2e-6)
    assert leaning.box[1][0] == pytest.approx(25.0, abs=2e-6)


def test_a_face_says_how_far_round_and_along_it_goes():
    """A quarter of a turned body: cylinder, cone and ring each cover 90 degrees and their own heights."""
    solid = solid_from_shape(cylinder((0.0, 0.0, 2.0), UP, 5.0, 12.0), "part")
    quarter = solid_from_shape(
        cut(solid, box((-6.0, -6.0, 0.0), (0.0, 6.0, 20.0)), box((0.0, -6.0, 0.0), (6.0, 0.0, 20.0))), "quarter"
    )

    (whole,) = [s for s in solid.surfaces if s.kind == "cylinder"]
    (part,) = [s for s in quarter.surfaces if s.kind == "cylinder"]

    assert (whole.turn, part.turn) == (pytest.approx(360.0), pytest.approx(90.0))
    assert [e + part.origin[2] for e in part.extent] == pytest.approx([2.0, 14.0])
    assert not part.hollow


def test_a_spline_solid_is_read_as_what_it_is():
    """Exporters that write only splines still write cylinders: radius, axis and side survive."""
    finished, _ = catalogue.block_with_cored_bore()
    splines = solid_from_shape(BRepBuilderAPI_NurbsConvert(finished.shape, True).Shape(), "splines")

    (bore,) = [s for s in splines.surfaces if s.kind == "cylinder"]

    assert (bore.radius, bore.hollow, bore.recovered) == (pytest.approx(20.0, abs=1e-6), True, True)
    assert sorted(s.kind for s in splines.surfaces) == ["cylinder"] + ["plane"] * 6


def test_mesh_volume_of_a_spline_solid_approaches_its_volume():
    """A mesh with less chord error encloses more nearly the same: the error of a ring falls with the chord."""
    solid = solid_from_shape(BRepBuilderAPI_NurbsConvert(BRepPrimAPI_MakeTorus(20.0, 5.0).Shape(), True).Shape(), "ring")

    lost = [1 - mesh_volume(tessellate(solid, chord)) / solid.volume for chord in (0.1, 0.02)]

    assert 0 < lost[1] < lost[0] < 0.02


# --- round trip and bytes ---------------------------------------------------


def test_a_solid_survives_the_round_trip(tmp_path: Path):
    """Faces, volume and box are those written."""
    finished, _ = catalogue.drilled_plate()
    write_step(finished.shape, tmp_path / "plate.step")

    found = read_step(tmp_path / "plate.step")

    assert found.volume == pytest.approx(finished.volume, rel=1e-9)
    assert found.box == finished.box
    assert sorted(s.kind for s in found.surfaces) == sorted(s.kind for s in finished.surfaces)
    assert found.label == "plate.step"


def test_the_same_shape_gives_the_same_bytes(tmp_path: Path, capfd: pytest.CaptureFixture[str]):
    """No clock, no counter, and nothing on stdout, where --json promises one document."""
    finished, _ = catalogue.drilled_plate()
    texts = []
    for _ in range(2):
        write_step(finished.shape, tmp_path / "plate.step")
        texts.append((tmp_path / "plate.step").read_bytes())
        read_step(tmp_path / "plate.step")

    assert texts[0] == texts[1]
    assert capfd.readouterr().out == ""


# --- refusals ---------------------------------------------------------------


@pytest.fixture
def plate_text(tmp_path: Path) -> list[str]:
    finished, _ = catalogue.drilled_plate()
    write_step(finished.shape, tmp_path / "good.step")
    return (tmp_path / "good.step").read_text().splitlines()


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("part.stl", b"solid x", "give a file that ends in .step or .stp"),
        ("part.step", None, "there is no such file"),
        ("part.step", b" \n", "is empty"),
        ("part.step", b"solid cube\nfacet", "does not start with ISO-10303-21"),
        ("part.step", b"ISO-10303-21;\nHEADER;\nENDSEC;\n", "is cut off"),
        ("part.step", b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n", "part.step"),
    ],
)
def test_what_is_no_step_file_is_refused_by_name(tmp_path: Path, name: str, content: bytes | None, words: str):
    """Missing, misnamed, empty and cut-off files each get their own sentence."""
    if content is not None:
        (tmp_path / name).write_bytes(content)

    with pytest.raises(GeometryError, match=words):
        read_step(tmp_path / name)


def drop_a_line(lines: list[str]) -> None:
    del lines[_vertex(lines)]


def halve_a_line(lines: list[str]) -> None:
    at = _vertex(lines)
    lines[at] = lines[at][: len(lines[at]) // 2]


def repeat_a_number(lines: list[str]) -> None:
    at = _vertex(lines)
    lines.insert(at, lines[at])


def _vertex(lines: list[str]) -> int:
    return next(i for i, line in enumerate(lines) if "VERTEX_POINT(" in line and line.endswith(";"))


@pytest.mark.parametrize("damage", [drop_a_line, halve_a_line, repeat_a_number])
def test_a_damaged_file_is_refused_and_does_not_crash(tmp_path: Path, plate_text: list[str], damage: Callable[[list[str]], None]):
    """The kernel crashes in some of these; its own check of the statements stops before that."""
    damage(plate_text)
    (tmp_path / "bad.step").write_text("\n".join(plate_text))

    with pytest.raises(GeometryError, match=r"bad\.step: is damaged: \d+ of its statements cannot be read, the first: "):
        read_step(tmp_path / "bad.step")


def test_several_solids_are_listed_with_their_sizes(tmp_path: Path):
    """The message says which bodies there are, so that the right one can be exported."""
    two = compound(box((0.0, 0.0, 0.0), (10.0, 20.0, 30.0)), box((50.0, 0.0, 0.0), (55.0, 5.0, 5.0)))
    write_step(two, tmp_path / "two.step")

    with pytest.raises(GeometryError, match=r"two\.step: holds 2 solids .*10\.0 x 20\.0 x 30\.0 mm.*5\.0 x 5\.0 x 5\.0 mm"):
        read_step(tmp_path / "two.step")


def test_surfaces_without_a_solid_are_refused(tmp_path: Path):
    """A file of loose surfaces holds nothing to weigh or cut."""
    write_step(compound(*faces_of(box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0)))[:4]), tmp_path / "sheets.step")

    with pytest.raises(GeometryError, match=r"sheets\.step: holds 4 faces but no closed solid; stitch"):
        read_step(tmp_path / "sheets.step")


def test_an_open_solid_is_refused_and_says_where():
    """A lid is missing: the edge it left is named by its place."""
    open_box = solid_of(shell_of(list(faces_of(box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0))))[:5]))

    with pytest.raises(GeometryError, match=r"part: the solid is open: an edge near \(.*10\.0\) mm has a face on one side only"):
        solid_from_shape(open_box, "part")


def test_an_inside_out_solid_is_refused():
    """Its faces look inwards and its volume is negative."""
    with pytest.raises(GeometryError, match=r"part: the solid is inside out \(its volume reads -1000\.0 mm3\)"):
        solid_from_shape(box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0)).Reversed(), "part")


def test_a_folder_that_is_not_there_is_named(tmp_path: Path):
    """Writing into nothing says so."""
    with pytest.raises(OutputError, match="check that the folder exists"):
        write_step(box((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)), tmp_path / "no" / "x.step")


def test_what_is_no_cadquery_shape_is_refused():
    """A model that returns a number is told so."""
    with pytest.raises(GeometryError, match="int is not a CadQuery shape"):
        from_cadquery(42, "model.py")


def test_a_solid_knows_its_size():
    """Kernel noise is scaled to the box diagonal: 3-4-12 gives 13."""
    solid: Solid = solid_from_shape(box((0.0, 0.0, 0.0), (3.0, 4.0, 12.0)), "part")

    assert solid.size == pytest.approx(13.0)


def test_a_refused_file_does_not_spoil_the_next_one(tmp_path: Path, plate_text: list[str]):
    """An error kept by its caller must not keep the kernel's reader: dropping it later, while another reads, crashes."""
    drop_a_line(plate_text)
    (tmp_path / "bad.step").write_text("\n".join(plate_text))
    kept = []
    for _ in range(3):
        with pytest.raises(GeometryError) as caught:
            read_step(tmp_path / "bad.step")
        kept.append(caught)

        assert read_step(tmp_path / "good.step").volume == pytest.approx(109001.01, abs=0.01)
    assert len(kept) == 3
