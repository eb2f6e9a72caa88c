"""From a job folder to its drawing: what the job says reaches the sheet, and bad text is refused plainly."""

import hashlib
from functools import cache
from pathlib import Path

import pytest

from export.drawing.input import DrawingInput, drawing_input
from geom.datum.zero import resolve_zero
from geom.job import Job, load_settings, measure_stock, open_job
from tests.catalogue import block_with_cored_bore
from tests.job_folders import run, write_job

_TABLES = """
[casting]
grade = 11
allowance_grade = "G"
draft = 2
radius = 4

[foundry]
contraction = 1
notes = ["leave the feeder on the back face"]

[drawing]
title = "Bored block"
owner = "Tests"
number = "T-7"
revision = "B"
date = "2024-02-29"
creator = "A. Maker"
"""


@cache
def _wanted(folder: Path) -> DrawingInput:
    settings = load_settings(write_job(folder, block_with_cored_bore(), _TABLES))
    return _input_of(open_job(settings))


def _input_of(job: Job) -> DrawingInput:
    return drawing_input(job, measure_stock(job), resolve_zero(job.part, job.settings.datum))


@pytest.fixture(scope="module")
def wanted(tmp_path_factory: pytest.TempPathFactory) -> DrawingInput:
    """The drawing's input from the bored block's job."""
    return _wanted(tmp_path_factory.mktemp("jobs") / "block")


def test_the_title_block_says_what_the_job_says(wanted: DrawingInput) -> None:
    """Stated fields as stated; the document type has its default, an unstated one is left to fill in by hand."""
    title = wanted.title

    assert (title.title, title.owner, title.number, title.revision) == ("Bored block", "Tests", "T-7", "B")
    assert (title.date, title.creator, title.approver) == ("2024-02-29", "A. Maker", "")
    assert (title.material, title.document_type, title.language) == ("grey iron", "Casting drawing", "en")


def test_masses_are_volume_times_density(wanted: DrawingInput) -> None:
    """Casting 86 x 86 x 56, core 34: 2.62 kg at 7.2 g/cm3; finished 80 x 80 x 50, bore 40: 1.85 kg (by hand)."""
    casting = (86 * 86 * 56 - 3.14159265 * 17**2 * 56) * 7.2e-6
    finished = (80 * 80 * 50 - 3.14159265 * 20**2 * 50) * 7.2e-6

    assert f"Mass of the casting {casting:.2f} kg, of the finished part {finished:.2f} kg" in wanted.notes[0]
    assert wanted.title.mass == f"{casting:.2f} kg"


def test_tolerance_note_carries_the_standards_figures(wanted: DrawingInput) -> None:
    """ISO 8062-3 DCTG 11 on 86 mm (63 to 100): 4.4 mm total width, so +-2.2; RMAG G for 80 to 100 mm: 1.4 (reference tables)."""
    assert "ISO 8062-3 - DCTG 11 - RMAG G: ±2.2 mm on the casting's 86, at least 1.4 mm" in wanted.notes[1]


def test_draft_radii_contraction_and_the_foundrys_notes_are_on_the_sheet(wanted: DrawingInput) -> None:
    """What the job states is printed with its unit; a note becomes a sentence."""
    text = " ".join(wanted.notes)

    assert "Draft 2° on faces along the draw unless modelled otherwise; unmarked cast radii R4." in text
    assert "Pattern contraction 1 % (as the job asks) is not included in this drawing." in text
    assert "Leave the feeder on the back face." in wanted.notes


def test_the_default_zero_says_that_it_is_one(wanted: DrawingInput) -> None:
    """The job names no zero: the sheet says so, and where zero is."""
    assert any(note.startswith("Zero: the job names no zero, so the default stands") for note in wanted.notes)


def test_every_machined_face_brings_its_allowance(wanted: DrawingInput) -> None:
    """3 mm on each of the six faces and in the bore (catalogue)."""
    assert set(wanted.allowances) == {face.name for face in wanted.part.machined}
    assert list(wanted.allowances.values()) == pytest.approx([3.0] * 7, abs=1e-6)


def test_the_command_writes_three_files_the_same_in_two_folders(tmp_path: Path) -> None:
    """`evenstock drawing` on the same job in differently named places: exit 0, same bytes, everything in the files."""
    hashes = []
    for place in ("here", "somewhere else"):
        job = write_job(tmp_path / place / "block", block_with_cored_bore(), _TABLES)
        done = run("drawing", job, "--out", tmp_path / place / "out", "-q")
        assert done.returncode == 0, done.stderr
        made = {p.name: p.read_bytes() for p in (tmp_path / place / "out").glob("drawing.*")}
        assert sorted(made) == ["drawing.dxf", "drawing.pdf", "drawing.svg"]
        hashes.append({name: hashlib.sha256(content).hexdigest() for name, content in made.items()})

    assert hashes[0] == hashes[1]
    assert "Bored block" in (tmp_path / "here" / "out" / "drawing.svg").read_text(encoding="utf-8")


def test_a_title_the_font_cannot_draw_ends_with_one_paragraph(tmp_path: Path) -> None:
    """Exit 2, one paragraph that names the file, the table, the character and what to do; nothing written."""
    job = write_job(tmp_path / "block", block_with_cored_bore(), '\n[drawing]\ntitle = "泵盖"\n')

    done = run("drawing", job, "--out", tmp_path / "out", "-q")

    assert done.returncode == 2
    assert "[drawing]" in done.stderr
    assert "泵" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out" / "drawing.dxf").exists()


def test_the_inch_sheet_prints_pounds_(tmp_path: Path) -> None:
    """2.616 kg is 5.77 lb (0.45359237 kg to the pound, by definition)."""
    found = _wanted_in_inches(tmp_path / "block")

    assert found.title.mass == "5.77 lb"
    assert any("±0.09 in on the casting's 3.39" in note for note in found.notes)


def _wanted_in_inches(folder: Path) -> DrawingInput:
    settings = load_settings(
        write_job(folder, block_with_cored_bore(), _TABLES.replace("radius = 4", 'radius = "4 mm"'), units="inch")
    )
    return _input_of(open_job(settings))
