"""Wrong input, as a user meets it: exit code 2, one plain paragraph on stderr, nothing on stdout, no file left."""

import os
import resource
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from export.cli import main
from export.exit_codes import STOPPED
from geom.kernel.cut import box
from geom.kernel.step import write_step
from tests.catalogue import block_in_block, drilled_plate
from tests.job_folders import LEAST, run, write_job

CLI = [sys.executable, "-m", "export.cli"]


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sound job: a block in a block. Copied, then broken, by each test."""
    return write_job(tmp_path_factory.mktemp("good") / "block", block_in_block())


@pytest.fixture(scope="module")
def plate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sound job with holes."""
    return write_job(tmp_path_factory.mktemp("good") / "plate", drilled_plate())


@pytest.fixture
def job(good: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the sound job to break; the current folder is beside it."""
    monkeypatch.chdir(tmp_path)
    return Path(shutil.copytree(good, tmp_path / "block"))


def toml(job: Path, *lines: str) -> None:
    """Write the least job.toml with some lines after it."""
    (job / "job.toml").write_text(LEAST.format(name="block", units="mm") + "\n".join(lines) + "\n", encoding="utf-8")


def swap(job: Path, old: str, new: str) -> None:
    """Replace text in job.toml."""
    path = job / "job.toml"
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))


def refusal(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    """Run in this process, check that it is one paragraph and nothing else, and return it."""
    capsys.readouterr()
    before = set(Path.cwd().rglob("*"))
    code = main([*map(str, arguments), "-q"])
    out, err = capsys.readouterr()

    assert code == 2, err
    assert out == ""
    assert err.startswith("evenstock: ")
    assert err.count("\n") == 1
    assert err.endswith("\n")
    assert "Traceback" not in err
    assert set(Path.cwd().rglob("*")) == before
    return err


# --- files ------------------------------------------------------------------------


def missing_step(job: Path) -> None:
    (job / "casting.step").unlink()


def wrong_extension(job: Path) -> None:
    (job / "casting.step").rename(job / "casting.iges")
    swap(job, "casting.step", "casting.iges")


def empty_step(job: Path) -> None:
    (job / "casting.step").write_bytes(b"")


def cut_off_step(job: Path) -> None:
    text = (job / "casting.step").read_bytes()
    (job / "casting.step").write_bytes(text[: len(text) // 2])


def not_step_at_all(job: Path) -> None:
    (job / "casting.step").write_text("solid casting\nendsolid\n")


def step_without_a_solid(job: Path) -> None:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.gp import gp_Pnt

    write_step(BRepBuilderAPI_MakeEdge(gp_Pnt(0, 0, 0), gp_Pnt(10, 0, 0)).Edge(), job / "casting.step")


def step_with_two_solids(job: Path) -> None:
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Compound

    both, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(both)
    for low in (0.0, 50.0):
        builder.Add(both, box((low, 0.0, 0.0), (low + 20.0, 20.0, 20.0)))
    write_step(both, job / "casting.step")


def open_step(job: Path) -> None:
    """A box whose lid is missing, called a solid all the same."""
    from OCP.BRep import BRep_Builder
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    shell, solid, builder = TopoDS_Shell(), TopoDS_Solid(), BRep_Builder()
    builder.MakeShell(shell)
    builder.MakeSolid(solid)
    faces = TopExp_Explorer(box((0.0, 0.0, 0.0), (20.0, 20.0, 20.0)), TopAbs_FACE)
    faces.Next()
    while faces.More():
        builder.Add(shell, faces.Current())
        faces.Next()
    builder.Add(solid, shell)
    write_step(solid, job / "casting.step")


@pytest.mark.parametrize(
    ("breakage", "says"),
    [
        (missing_step, 'job.toml line 4, part.casting: there is no file "casting.step" in the job folder; put it there'),
        (wrong_extension, 'part.casting: "casting.iges" does not end in .step or .stp'),
        (empty_step, "casting.step: is empty; export it again"),
        (cut_off_step, "casting.step: is cut off"),
        (not_step_at_all, "casting.step: is not a STEP file"),
        (step_without_a_solid, "casting.step: holds no solid"),
        (step_with_two_solids, "casting.step: holds 2 solids"),
        (open_step, "casting.step: holds 5 faces but no closed solid"),
    ],
    ids=lambda value: value.__name__ if callable(value) else "",
)
def test_a_wrong_step_file_is_named_and_nothing_is_written(
    job: Path, capsys: pytest.CaptureFixture[str], breakage: Callable[[Path], None], says: str
) -> None:
    """Each damaged file has its own plain answer, and `make` leaves no folder behind."""
    breakage(job)

    assert says in refusal(capsys, "make", job)


def test_a_job_that_is_not_there_is_named(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A missing folder, a folder without job.toml, a file that is no job."""
    (job.parent / "empty").mkdir()

    assert "nowhere: there is no such folder or file" in refusal(capsys, "stock", "nowhere")
    assert "empty: holds no job.toml" in refusal(capsys, "stock", "empty")
    assert "casting.step: is not a job" in refusal(capsys, "stock", job / "casting.step")


def test_a_path_that_leaves_the_folder_is_refused(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By "..", from the root, or through a link: a stranger's job reads no other file."""
    shutil.copy(job / "casting.step", job.parent / "casting.step")
    (job / "link.step").symlink_to(job.parent / "casting.step")
    for name, says in (
        ("../casting.step", "leaves the job folder"),
        (str(job.parent / "casting.step"), "is a path from the root"),
        ("link.step", "leaves the job folder"),
    ):
        toml(job)
        swap(job, 'casting = "casting.step"', f'casting = "{name}"')
        assert says in refusal(capsys, "stock", job)


def test_a_casting_elsewhere_than_the_part_is_said_with_the_distance(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two solids that do not meet are two coordinate systems, not a stock problem."""
    write_step(box((500.0, 0.0, 0.0), (566.0, 46.0, 36.0)), job / "casting.step")

    assert "along X the part runs from 0.0 to 60.0 mm and the casting from 500.0 to 566.0 mm" in refusal(capsys, "stock", job)


# --- job.toml -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        (["[faces.top"], "job.toml line 7"),
        (["[faces.top]", "requird = 2"], "job.toml line 8, faces.top.requird: there is no such key (did you mean 'required'?)"),
        (["[faces.top]", 'required = "thick"'], "job.toml line 8, faces.top.required: 'thick' is not a length"),
        (["[faces.top]", "required = -1"], "job.toml line 8, faces.top.required: -1 is too small; at least 0 mm"),
        (["[faces.top]", "bearing = nan"], "job.toml line 8, faces.top.bearing: nan is not a finite number"),
        (["[readout]", "step = inf"], "job.toml line 8, readout.step: inf is not a finite number"),
        (["[readout]", "step = 0"], "job.toml line 8, readout.step: 0 is too small; it must be above 0 mm"),
        (["[readout]", 'units = "ell"'], 'job.toml line 8, readout.units: "ell" is not one of mm, inch'),
        (["[faces.top]", 'required = "2 ells"'], "job.toml line 8, faces.top.required: unit 'ells'"),
        (['[holes."hole 1"]', 'callout = "tapped M9.7"'], 'job.toml line 8, holes."hole 1".callout'),
        (["[faces.lid]", "required = 2"], 'job.toml line 7, faces.lid: the part has no face called "lid"'),
        (['[holes."hole 1"]', "point_angle = 118"], 'job.toml line 7, holes."hole 1": the part has no hole at all'),
        (["[faces.top]", 'name = "left"'], '"top" cannot be called "left", another face or hole has that name'),
    ],
)
def test_a_mistake_in_job_toml_is_named_with_its_line(
    job: Path, capsys: pytest.CaptureFixture[str], lines: list[str], says: str
) -> None:
    """File, line, key, value, limit: enough to correct it without reading a manual."""
    toml(job, *lines)

    assert says in refusal(capsys, "stock", job)


def test_an_unknown_alloy_lists_the_table(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The nearest name, and all there are."""
    swap(job, "grey iron", "gray irn")

    says = refusal(capsys, "holes", job)
    assert "job.toml line 6, part.alloy: alloy 'gray irn' is not known" in says
    assert "ductile iron" in says


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        (['zero = "bore 1"'], "datum.zero: the part has no bore, boss or hole called"),
        (['zero = "hole"'], 'datum.zero: "hole" could be "hole 1"'),
        (['corner = ["left", "frnt"]'], 'datum.corner: the part has no plane face called "frnt" (did you mean "front"?)'),
        (['z = "topp"'], 'datum.z: the part has no plane face called "topp" (did you mean "top"?)'),
        (['x = "towards lunch"'], 'datum.x: the part has no face or hole called "lunch"'),
    ],
)
def test_a_zero_that_is_missing_or_ambiguous_lists_the_candidates(
    plate: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], lines: list[str], says: str
) -> None:
    """The plate has six holes; a name that fits none, or several, is answered with those there are."""
    monkeypatch.chdir(tmp_path)
    job = Path(shutil.copytree(plate, tmp_path / "plate"))
    toml(job, "[datum]", *lines)

    assert says in refusal(capsys, "coordinates", job)


def test_a_callout_the_metal_does_not_have_is_refused(
    plate: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No hole of the plate is 13.5 mm, the medium clearance of M12 (ISO 273)."""
    monkeypatch.chdir(tmp_path)
    job = Path(shutil.copytree(plate, tmp_path / "plate"))
    toml(job, '[holes."hole 1"]', 'callout = "clearance M12 medium"')

    assert '"clearance M12 medium" is a hole of 13.5 mm, but the part has' in refusal(capsys, "holes", job)


# --- the command line ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["stock"], "the following arguments are required: JOB"),
        (["stock", "block", "--units", "cm"], "argument --units: invalid choice: 'cm'"),
        (["stock", "block", "--variant", "big"], "--variant big:"),
        (["stock", "block", "--set", "bore"], "--set bore: is not NAME=VALUE"),
        (["stock", "block", "--set", "bore=40"], "has no parameters; leave --set out"),
        (["prototype", "block", "--chord", "0"], "--chord"),
        (["prototype", "block", "--chord", "nan"], "--chord: 'nan' is not a length"),
        (["prototype", "block", "--chord=-1"], "--chord"),
    ],
)
def test_wrong_arguments_are_one_paragraph_too(
    job: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    """No usage dump; the argument, what is wrong with it, and where the help is."""
    assert job.name == "block"
    assert says in refusal(capsys, *arguments)


# --- where the answer goes ----------------------------------------------------------------


def test_an_output_that_cannot_be_a_folder_is_refused(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file in the way, a folder below a file, and a folder of the user's own files: all are left alone."""
    (job.parent / "note").write_text("mine")
    mine = job.parent / "mine"
    mine.mkdir()
    (mine / "letter.txt").write_text("dear foundry")

    assert "note" in refusal(capsys, "prototype", job, "--out", "note")
    assert "note/deep" in refusal(capsys, "prototype", job, "--out", "note/deep")
    assert "holds letter.txt, which evenstock did not write" in refusal(capsys, "prototype", job, "--out", "mine")
    assert (mine / "letter.txt").read_text() == "dear foundry"


def test_a_place_where_nobody_may_write_is_refused(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not even root makes folders in /proc, or below a device."""
    nowhere = "/proc/evenstock" if Path("/proc").is_dir() else "/dev/null/evenstock"

    assert f"evenstock: {nowhere}: " in refusal(capsys, "prototype", job, "--out", nowhere)


def test_a_full_disk_keeps_the_old_folder_whole(job: Path) -> None:
    """A limit of 20 kB a file stands in for a full disk: the second run fails, the first run's files are untouched."""
    first = run("prototype", job, "--out", "out", "--chord", "1", cwd=job.parent)
    before = {p.name: p.read_bytes() for p in (job.parent / "out").iterdir()}
    swap(job, "grey iron", "brass")
    full = subprocess.run(
        [*CLI, "prototype", str(job), "--out", "out", "-q"],
        capture_output=True,
        text=True,
        cwd=job.parent,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (500, 500)),
    )

    assert first.returncode == 0, first.stderr
    assert full.returncode == 2
    assert "there is no room" in full.stderr
    assert full.stderr.count("\n") == 1
    assert {p.name: p.read_bytes() for p in (job.parent / "out").iterdir()} == before
    assert [p.name for p in job.parent.iterdir() if p.name.startswith((".out", "out."))] == []


def test_an_answer_that_cannot_be_written_is_said(job: Path) -> None:
    """`evenstock holes JOB > /dev/full` ends with exit code 2 (elsewhere: a stdout that is open for reading only)."""
    full = Path("/dev/full")
    with full.open("w") if full.exists() else Path(os.devnull).open("r") as nowhere:
        done = subprocess.run([*CLI, "holes", str(job), "-q"], stdout=nowhere, stderr=subprocess.PIPE, text=True, check=False)

    assert done.returncode == 2
    assert done.stderr.startswith("evenstock: writing the answer: ")
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_half_way_leaves_nothing_half_written(job: Path, number: signal.Signals) -> None:
    """Stopped after the first stage: a plain line, exit code 130, no folder."""
    command = [*CLI, "make", str(job), "--out", "out"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=job.parent) as process:
        assert process.stderr is not None
        first = process.stderr.readline()
        process.send_signal(number)
        _, rest = process.communicate(timeout=120)

    assert first == "evenstock: reading finished.step and casting.step\n"
    assert process.returncode == STOPPED
    assert rest.splitlines()[-1] == "evenstock: stopped; nothing was left half-written"
    assert "Traceback" not in rest
    assert sorted(os.listdir(job.parent)) == ["block"]
