"""The proof: closed forms for what a row takes, the gouge that has to be seen, and the command on tables on disk."""

import hashlib
import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as budget
from hypothesis import strategies as st

from export.cli import main
from export.reports.coordinates import readout_figures
from export.reports.proof_record import unproved
from export.reports.prove import is_proved, proof_files, tables_in
from export.tables.write import read_table, setup_csv, setup_text
from geom.job import open_job
from geom.kernel.cut import box, cut, cylinder
from geom.kernel.shape import solid_from_shape
from geom.kernel.step import write_step
from geom.proof.prove import RESOLUTION, Proof, prove
from geom.proof.sweep import Sweep, Table, clearance, holds, spans, sweeps_of
from geom.rows.records import Row, Tool
from geom.settings.load import load_settings
from geom.settings.records import FaceSettings
from geom.space import WORLD, frame_facing
from tests.hand_parts import hand_settings
from tests.proof_job import numbered, only, part, printed, read_back, setups

DRILL = Tool("drill", "10 mm", 10.0, 90.0)
MILL = Tool("end mill", "", 10.0)


def sweep(row: Row, frame=WORLD) -> Sweep:
    """Return the one sweep of a row in a frame."""
    (found,) = sweeps_of([Table(1, 1, frame, (row,))])
    return found


def along(found: Sweep, point, direction) -> tuple[float, float]:
    low, high = spans(found, np.array([point], dtype=float), np.array([direction], dtype=float))
    return float(low[0]), float(high[0])


def changed(number: int, setup: int = 1, **fields: object) -> list[Table]:
    """Return the tables with fields of one row changed, read back from print."""
    made = [
        replace(s, rows=tuple(replace(r, **fields) if (s.number, r.number) == (setup, number) else r for r in s.rows))
        for s in setups()
    ]
    return read_back(printed(made))


def proof_of(tables: list[Table], **faces: FaceSettings) -> Proof:
    return prove(tables, part(), hand_settings(faces=faces))


@cache
def plain() -> Proof:
    """Return the proof of the tables as they are."""
    return proof_of(read_back(printed(setups())))


def face(proof: Proof, name: str):
    return next(one for one in proof.faces if one.name == name)


# --- lines through sweeps, by hand ------------------------------------------


def test_a_line_across_a_drill_meets_its_full_diameter_and_its_point():
    """10 mm drill, 90 degree point, tip at z = -20: 10 wide at z = 0, 4 wide 2 mm above the tip."""
    found = sweep(Row(1, "a", "drill", DRILL, 3.0, 0.0, -20.0))

    assert along(found, (-100.0, 0.0, 0.0), (1.0, 0.0, 0.0)) == pytest.approx((98.0, 108.0))
    assert along(found, (-100.0, 0.0, -18.0), (1.0, 0.0, 0.0)) == pytest.approx((101.0, 105.0))
    assert along(found, (3.0, 0.0, -100.0), (0.0, 0.0, 1.0)) == (pytest.approx(80.0), math.inf)
    assert along(found, (7.0, 0.0, 0.0), (0.0, 0.0, -1.0)) == (-math.inf, pytest.approx(16.0))
    assert along(found, (3.0, 0.0, -21.0), (1.0, 0.0, 0.0)) == (math.inf, -math.inf)


def test_a_line_across_a_lane_meets_an_obround():
    """A 10 mm end mill from x 0 to 30 at z = 2: 10 wide, 40 long with round ends, open above."""
    found = sweep(Row(1, "a", "edge", MILL, 0.0, 0.0, 2.0, x_to=30.0))

    assert along(found, (-100.0, 0.0, 3.0), (1.0, 0.0, 0.0)) == pytest.approx((95.0, 135.0))
    assert along(found, (-100.0, 3.0, 3.0), (1.0, 0.0, 0.0)) == pytest.approx((96.0, 134.0))
    assert along(found, (15.0, -50.0, 3.0), (0.0, 1.0, 0.0)) == pytest.approx((45.0, 55.0))
    assert along(found, (15.0, 0.0, 0.0), (0.0, 0.0, 1.0)) == (pytest.approx(2.0), math.inf)
    assert along(found, (15.0, 0.0, 1.0), (1.0, 0.0, 0.0)) == (math.inf, -math.inf)


def test_the_distance_of_a_move_from_a_jaw_is_its_axis_to_the_nearest_corner_or_side():
    """A move along x at y = 0 past a box that begins at y = 7; and one that ends 3, 4 short of its corner."""
    passing = sweep(Row(1, "a", "edge", MILL, 0.0, 0.0, 2.0, x_to=30.0))

    assert clearance(passing, (10.0, 7.0), (20.0, 9.0)) == pytest.approx(7.0)
    assert clearance(passing, (33.0, 4.0), (40.0, 9.0)) == pytest.approx(5.0)
    assert clearance(passing, (10.0, -7.0), (20.0, 9.0)) == 0.0


coordinates = st.floats(-30.0, 30.0)


@given(st.tuples(coordinates, coordinates, coordinates), st.floats(0.0, math.pi), st.floats(0.0, 2 * math.pi), st.booleans())
@budget(max_examples=200, deadline=None)
def test_a_line_is_inside_exactly_between_where_it_enters_and_leaves(point, down, round_, pointed):
    """The span of a line and the test of single points are two ways of saying one thing."""
    tool = DRILL if pointed else MILL
    frame = frame_facing((1.0, 2.0, 3.0), (1.0, 2.0, 2.0), (0.0, 1.0, 0.0))
    found = sweep(Row(1, "a", "edge", tool, -5.0, 2.0, -4.0, x_to=9.0, y_to=7.0), frame)
    way = (math.sin(down) * math.cos(round_), math.sin(down) * math.sin(round_), math.cos(down))
    low, high = along(found, point, way)
    places = np.linspace(-60.0, 60.0, 241)
    inside = holds(found, np.array(point) + places[:, None] * np.array(way))
    clear = np.minimum(abs(places - low), abs(places - high)) > 1e-6

    assert (inside == ((places >= low) & (places <= high)))[clear].all()


# --- what rows take ---------------------------------------------------------


def test_what_a_reamer_takes_is_a_ring():
    """From 9.8 to 10 through 30 + 3 mm: pi/4 (10^2 - 9.8^2) 33 = 102.6 mm3, less what facets lose."""
    proof = plain()
    reamed = next(row for row in proof.rows if (row.setup, row.row) == (1, 18))

    assert reamed.volume == pytest.approx(math.pi / 4 * (100.0 - 9.8**2) * 33.0, rel=0.02)


def test_a_finishing_pass_takes_half_a_millimetre():
    """0.5 x 60 x 33 = 990 mm3; 33 high over the table's side, its foot 1 below the casting."""
    proof = plain()
    finish = next(row for row in proof.rows if (row.setup, row.row) == (1, 6))

    assert finish.volume == pytest.approx(990.0, rel=1e-6)
    assert finish.height == pytest.approx(34.0)


# --- the gouge that has to be seen ------------------------------------------


def test_a_gouge_of_two_hundredths_is_found_and_measured():
    """0.02 mm too deep over half a face: said to the proof's resolution, with its volume, and its row named."""
    proof = proof_of(changed(3, z=-0.02))

    assert face(proof, "top").low == pytest.approx(-0.02, abs=RESOLUTION)
    assert proof.worst == pytest.approx(0.02, abs=RESOLUTION)
    assert [fault.rows for fault in proof.faults if fault.kind == "gouge" and fault.feature == "top"] == [((1, 3),)]


def test_a_bore_two_hundredths_wide_is_found():
    """30.04 for 30 H7 (30.000 to 30.021): the wall is 0.02 too far out everywhere."""
    proof = proof_of(changed(15, tool=Tool("boring head", "", 30.04, reach=60.0), limits=None))
    bore = next(hole for hole in proof.holes if hole.name == "bore")

    assert bore.diameter == pytest.approx(30.04, abs=1e-6)
    assert any(fault.kind == "gouge" and (1, 15) in fault.rows for fault in proof.faults)


def test_a_hole_beside_its_place_is_measured():
    """A drill 0.03, 0.04 off: 0.05 off axis by Pythagoras."""
    proof = proof_of(changed(13, x=45.03, y=15.04))
    hole = next(hole for hole in proof.holes if hole.name == "screw")

    assert hole.position == pytest.approx(0.05, abs=2e-3)


def test_a_blind_hole_is_as_deep_as_its_full_diameter():
    """16 mm on the drawing; the tip's length is not counted."""
    proof = plain()
    hole = next(hole for hole in proof.holes if hole.name == "thread")

    assert hole.depth == pytest.approx(16.0, abs=0.01)


def test_what_is_left_on_a_side_is_its_volume():
    """The finishing pass left out: 0.5 x 60 x 30 = 900 mm3 stay on."""
    first, second = setups()
    short = replace(first, rows=numbered([row for row in first.rows if row.number != 6]))
    proof = proof_of(read_back(printed([short, second])))

    assert proof.leftover == pytest.approx(900.0, rel=1e-3)
    assert face(proof, "right").high == pytest.approx(0.5)


def test_a_lump_that_stands_clear_of_the_faces_is_found():
    """A casting 27 mm too wide on the right: the cutter clears up to X 96.5, and 13.5 x 60 x 30 = 24300 mm3 stand beyond it."""
    wide = cut(box((0.0, 0.0, -3.0), (110.0, 60.0, 33.0)), cylinder((20.0, 30.0, -4.0), (0.0, 0.0, 1.0), 12.5, 40.0))
    one = replace(part("faces"), casting=solid_from_shape(wide, "casting"))
    proof = prove(read_back(printed(only(setups(), "faces")[0])), one, hand_settings())

    assert [(fault.kind, fault.feature) for fault in proof.faults] == [("left over", "right")]
    assert proof.leftover == pytest.approx(24300.0, rel=2e-3)


def test_a_strip_narrower_than_the_samples_is_found():
    """Two lanes 50.4 apart with a 50 mm cutter leave 0.4 mm between them, where no sample need lie."""
    first, second = setups()
    moved = tuple(replace(r, y=35.4) if r.number in (2, 4) else r for r in first.rows)
    proof = proof_of(read_back(printed([replace(first, rows=moved), second])))

    assert any(fault.kind == "left over" and fault.feature == "top" and (1, 4) in fault.rows for fault in proof.faults)


def test_a_scratch_narrower_than_the_samples_is_found():
    """A groove 0.8 wide and 0.2 deep across the top."""
    first, second = setups()
    scratch = Row(0, "top", "slot", Tool("end mill", "0.8 mm", 0.8), -25.0, 20.7, -0.2, x_to=70.0)
    proof = proof_of(read_back(printed([replace(first, rows=numbered([*first.rows, scratch])), second])))

    assert face(proof, "top").low == pytest.approx(-0.2, abs=RESOLUTION)
    assert any(fault.kind == "gouge" and (1, 20) in fault.rows for fault in proof.faults)


# --- tolerances -------------------------------------------------------------


def test_a_stated_tolerance_counts_and_is_not_widened_by_rounding():
    """0.03 left on: within 0.05, not within 0.02."""
    tables = changed(6, x=68.03)

    assert proof_of(tables, right=FaceSettings(tolerance=0.05)).proved
    assert not proof_of(tables, right=FaceSettings(tolerance=0.02)).proved


def test_what_the_job_leaves_on_a_face_is_no_error():
    """0.1 stated in the job and printed in the row; without the statement it is left over."""
    tables = changed(6, x=68.1, leave=0.1)

    assert proof_of(tables, right=FaceSettings(leave=0.1)).proved
    assert not proof_of(tables).proved


def test_a_feature_that_the_table_leaves_out_is_not_missed():
    """The sheet says that no row makes it, so only a gouge would be wrong; without that it is left over."""
    without = [replace(s, rows=numbered([r for r in s.rows if r.feature != "sunk"])) for s in setups()]
    said = [replace(table, left_out=("sunk: drilled at assembly",)) for table in read_back(printed(without))]

    assert not proof_of(read_back(printed(without))).proved
    assert proof_of(said).proved


# --- the command ------------------------------------------------------------

JOB = """[part]
name = "block"
finished = "finished.step"
casting = "casting.step"
units = "mm"
alloy = "grey iron"
"""
CALLED = {
    "bore 1": ("bore", "bored 30 H7"),
    "hole 1": ("dowel", "reamed 10 H7"),
    "hole 2": ("screw", "9 mm"),
    "hole 3": ("thread", "tapped M8"),
    "hole 4": ("sunk", "6.6 mm"),
}


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job folder with the hand-made tables in its out folder."""
    write_step(part().finished.shape, tmp_path / "finished.step")
    write_step(part().casting.shape, tmp_path / "casting.step")
    holes = "".join(f'\n[holes."{old}"]\nname = "{new}"\ncallout = "{text}"\n' for old, (new, text) in CALLED.items())
    (tmp_path / "job.toml").write_text(JOB + holes)
    (tmp_path / "out").mkdir()
    style = readout_figures(load_settings(tmp_path))
    for one in setups():
        (tmp_path / "out" / f"coordinates-{one.number}.csv").write_text(setup_csv("block", one, 2, style))
        (tmp_path / "out" / f"coordinates-{one.number}.txt").write_text(setup_text("block", one, 2, style))
    return tmp_path


def proved(job: Path, capsys, *more: str) -> tuple[int, str]:
    code = main(["prove", str(job), "--out", str(job / "out"), "-q", *more])
    return code, capsys.readouterr().out


def test_tables_on_disk_are_proved(job, capsys):
    """Exit 0, and the document says what the issue asks for."""
    code, out = proved(job, capsys, "--json")
    said = json.loads(out)

    assert code == 0
    assert said["verdict"] == "proved"
    assert said["rows_read"] == 23
    assert {"leftover_volume", "gouge_volume", "worst_deviation", "faces"} <= said.keys()
    assert all({"name", "deviation"} <= one.keys() for one in said["faces"])
    assert said["gouge_volume"] < 0.2


def test_a_table_changed_on_disk_is_not_proved(job, capsys):
    """Exit 1; the text begins with the verdict and names row and face."""
    for name in ("coordinates-1.csv", "coordinates-1.txt"):
        path = job / "out" / name
        path.write_text(path.read_text().replace("68.000", "67.900"))
    code, out = proved(job, capsys)

    assert code == 1
    assert out.startswith("block: NOT PROVED")
    assert "set-up 1 row 6, right: cut 0.1 mm too deep" in out


def test_paper_that_differs_from_the_proved_table_is_not_proved(job, capsys):
    """The machinist reads the text table, so it has to say the same."""
    path = job / "out" / "coordinates-1.txt"
    path.write_text(path.read_text().replace("68.000", "67.900"))
    code, out = proved(job, capsys)

    assert code == 1
    assert "coordinates-1.txt does not say what coordinates-1.csv says" in out


def test_a_cutter_named_otherwise_than_it_is_proved_is_found(job, capsys):
    """The cutter's name in words is what is put in the spindle."""
    path = job / "out" / "coordinates-1.csv"
    path.write_text(path.read_text().replace(",9.8 mm drill,", ",9.6 mm drill,"))
    code, out = proved(job, capsys)

    assert code == 1
    assert "the cutter in words (9.6 mm drill) is not the one in figures" in out


def test_a_table_that_cannot_be_read_is_wrong_input(job, capsys):
    """Exit 2 with the line."""
    path = job / "out" / "coordinates-1.csv"
    path.write_text(path.read_text().replace("68.000", "68.0O0"))

    assert main(["prove", str(job), "--out", str(job / "out"), "-q"]) == 2
    assert "coordinates-1.csv, line" in capsys.readouterr().err


def test_text_tables_of_a_failed_proof_say_so_in_their_first_line_and_are_still_read(job):
    """Whoever holds the sheet sees it; the proof's own files say why."""
    opened = open_job(load_settings(job))
    good = tables_in(job / "out")
    bad = {name: content.replace(b"68.000", b"67.900") for name, content in good.items()}
    files = proof_files(opened, bad)

    assert is_proved(proof_files(opened, good))
    assert all(proof_files(opened, good)[f"coordinates-{n}.txt"].startswith(b"PROVED as drawn: worst") for n in (1, 2))
    assert not is_proved(files)
    assert files["coordinates-1.txt"].startswith(b"NOT PROVED")
    assert read_table(files["coordinates-1.txt"].decode()) == read_table(bad["coordinates-1.txt"].decode())


def test_a_text_table_carries_one_line_on_its_proof_whoever_wrote_it_last(job):
    """NOT PROVED YET when written; the proof's line takes its place, with the CSV's hash; the table under it stays the same."""
    opened, good = open_job(load_settings(job)), tables_in(job / "out")
    fresh = unproved(good)
    files = proof_files(opened, fresh)
    line, _, rest = files["coordinates-1.txt"].decode().partition("\n")

    assert fresh["coordinates-1.txt"].startswith(b"NOT PROVED YET: run evenstock prove")
    assert fresh["coordinates-1.csv"] == good["coordinates-1.csv"]
    assert read_table(fresh["coordinates-1.txt"].decode()) == read_table(good["coordinates-1.txt"].decode())
    assert rest.encode() == good["coordinates-1.txt"]
    assert line.endswith(f"coordinates-1.csv sha256 {hashlib.sha256(good['coordinates-1.csv']).hexdigest()}")


def test_a_table_that_says_itself_it_must_not_be_cut_is_not_proved(job, capsys):
    """A fault of the plan stands among its notes."""
    for name in ("coordinates-2.csv", "coordinates-2.txt"):
        path = job / "out" / name
        mark = "# " if name.endswith("csv") else ""
        lines = path.read_text().split("\n")
        at = max(i for i, line in enumerate(lines) if line.startswith(f"{mark}box: "))
        lines.insert(at + 1, f"{mark}note: FAULT OF THE PLAN, do not cut: row 2: the drill does not reach")
        path.write_text("\n".join(lines))
    code, out = proved(job, capsys)

    assert code == 1
    assert "set-up 2: FAULT OF THE PLAN, do not cut" in out


def test_the_proof_is_the_same_every_time(job, capsys):
    """Same tables, same bytes."""
    assert proved(job, capsys, "--json") == proved(job, capsys, "--json")
