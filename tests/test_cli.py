"""The command line: exit codes, what goes to stdout and stderr, and what is loaded for it."""

import faulthandler
import json
import math
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from export.child import run_guarded
from export.cli import main
from export.exit_codes import FAULT, PIPE_CLOSED, STOPPED, WRONG
from tests.catalogue import block_in_block, drilled_plate, hollow_in_skin
from tests.job_folders import run, write_job

HEAVY = {"OCP", "cadquery", "numpy", "scipy", "ezdxf", "typst", "trimesh", "manifold3d", "igl", "embreex", "shapely", "matplotlib"}
COMMANDS = (
    "stock",
    "holes",
    "place",
    "setups",
    "coordinates",
    "prove",
    "sheets",
    "drawing",
    "prototype",
    "pattern",
    "fixture",
    "make",
)


@pytest.fixture(scope="module")
def plate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The catalogue's drilled plate as a job: 100 x 60 x 20, 2.5 mm on top, six holes."""
    return write_job(tmp_path_factory.mktemp("jobs") / "plate", drilled_plate())


@pytest.fixture(scope="module")
def block(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A 60 x 40 x 30 block with 3 mm all round."""
    return write_job(tmp_path_factory.mktemp("jobs") / "block", block_in_block())


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty current folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def loaded(code: str) -> set[str]:
    """Return the top-level modules a fresh interpreter has loaded after running some code."""
    text = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys; print('LOADED', *sys.modules)"], capture_output=True, text=True, check=True
    ).stdout
    return {name.split(".")[0] for name in text.rpartition("LOADED")[2].split()}


# --- what is loaded ---------------------------------------------------------------


@pytest.mark.parametrize("arguments", [["--help"], ["make", "--help"], ["--version"]])
def test_help_loads_no_kernel_and_no_numeric_library(arguments: list[str]) -> None:
    """Help must come at once: a fresh interpreter has loaded neither kernel, nor DXF, PDF or numeric library."""
    code = f"from export.cli import main\ntry: main({arguments})\nexcept SystemExit: pass"

    assert not loaded(code) & HEAVY


def test_a_wrong_job_is_answered_before_the_kernel_is_loaded() -> None:
    """A typing mistake in job.toml does not cost the second the kernel takes to load."""
    assert not loaded("from export.cli import main\nassert main(['stock', 'nowhere']) == 2") & HEAVY


def test_a_step_job_loads_neither_cadquery_nor_other_mesh_libraries(plate: Path) -> None:
    """STEP files hold no code, and need none of what models are written in."""
    modules = loaded(
        f"from export.cli import main\nassert main(['coordinates', {str(plate)!r}, '--out', {str(plate.parent / 'o')!r}]) == 0"
    )

    assert "OCP" in modules
    assert not modules & {"cadquery", "trimesh", "matplotlib"}


# --- what is said -------------------------------------------------------------------


def test_help_lists_the_commands_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    """Every command, each with a line of help, and the exit codes."""
    with pytest.raises(SystemExit) as left:
        main(["--help"])
    text = capsys.readouterr().out

    assert left.value.code == 0
    assert tuple(re.findall(r"^  ([a-z]+)  +[a-z]", text, re.MULTILINE)) == COMMANDS
    assert "Exit codes: 0 yes; 1 no" in text
    assert "runs its code: open only jobs you trust" in text


def test_the_version_is_the_packages(capsys: pytest.CaptureFixture[str]) -> None:
    """`evenstock --version` says what pip installed."""
    from importlib.metadata import version

    with pytest.raises(SystemExit) as left:
        main(["--version"])

    assert left.value.code == 0
    assert capsys.readouterr().out == f"evenstock {version('evenstock')}\n"


def test_stock_of_a_block_is_what_the_calipers_say(block: Path, capsys: pytest.CaptureFixture[str], here: Path) -> None:
    """3 mm all round a 60 x 40 x 30 block; swarf 66 x 46 x 36 - 60 x 40 x 30 = 37296 mm3; nothing is written."""
    assert main(["stock", str(block), "--json"]) == 0
    out, err = capsys.readouterr()
    found = json.loads(out)

    assert {f["name"] for f in found["faces"]} == {"top", "bottom", "left", "right", "front", "back"}
    for face in found["faces"]:
        assert face["stock"] == {
            "min": pytest.approx(3, abs=1e-6),
            "mean": pytest.approx(3, abs=1e-6),
            "max": pytest.approx(3, abs=1e-6),
        }
        assert (face["kind"], face["short_fraction"]) == ("plane", 0)
    assert sorted(f["area"] for f in found["faces"]) == pytest.approx([1200, 1200, 1800, 1800, 2400, 2400], rel=1e-9)
    assert found["swarf_volume"] == pytest.approx(66 * 46 * 36 - 60 * 40 * 30, rel=1e-6)
    assert (found["shortage_volume"], found["as_cast"]) == (pytest.approx(0, abs=1e-6), [])
    assert err.startswith("evenstock: reading finished.step and casting.step\n")
    assert list(here.iterdir()) == []


def test_the_stock_text_is_in_the_units_asked_for(block: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """3 mm is 0.118 in; -q says nothing on stderr."""
    assert main(["stock", str(block), "-q"]) == 0
    millimetres, quiet = capsys.readouterr()
    assert main(["stock", str(block), "-q", "--units", "inch"]) == 0
    inches = capsys.readouterr().out

    assert quiet == ""
    assert re.search(r"^top +plane +3\.00 +3\.00 +3\.00", millimetres, re.MULTILINE)
    assert re.search(r"^top +plane +0\.118 +0\.118 +0\.118", inches, re.MULTILINE)


def test_holes_are_listed_with_what_they_are(plate: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The catalogue's plate: six holes, one of each kind, sizes as cut."""
    assert main(["holes", str(plate), "--json", "-q"]) == 0
    found = json.loads(capsys.readouterr().out)["holes"]
    holes = {(h["kind"], round(h["diameter"], 3)): h for h in found}

    assert len(found) == 6
    assert set(holes) > {("through", 9.0), ("blind", 6.8), ("counterbored", 11.0), ("countersunk", 6.6), ("blind", 10.0)}
    stepped = next(h for h in found if h["diameter"] == pytest.approx(12))
    assert [(s["start"], s["end"], s["start_diameter"]) for s in stepped["steps"]] == [(0, 8, 20), (8, 20, 12)]
    assert holes["blind", 6.8]["depth"] == pytest.approx(14, abs=1e-6)
    assert holes["through", 9.0]["depth"] is None
    assert holes["through", 9.0]["centre"] == pytest.approx([15, 15, 20], abs=1e-6)
    assert holes["through", 9.0]["axis"] == [0, 0, 1]
    assert holes["counterbored", 11.0]["counterbore"] == {"diameter": pytest.approx(18), "depth": pytest.approx(10.5)}
    assert holes["countersunk", 6.6]["countersink"] == {"diameter": pytest.approx(12.6), "angle": pytest.approx(90)}
    assert all(h["thread"] is None for h in holes.values())


def test_a_callout_and_a_name_of_the_jobs_reach_the_list(plate: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the job calls a hole, and what it is for, is what every list prints."""
    main(["holes", str(plate), "--json", "-q"])
    name = next(h["name"] for h in json.loads(capsys.readouterr().out)["holes"] if h["diameter"] == pytest.approx(6.8))
    job = write_job(tmp_path / "named", drilled_plate(), f'[holes."{name}"]\nname = "oil"\ncallout = "tapped M8"\n')

    assert main(["holes", str(job), "--json", "-q"]) == 0
    oil = next(h for h in json.loads(capsys.readouterr().out)["holes"] if h["name"] == "oil")
    assert oil["thread"] == "M8"
    assert oil["callout"] == "tapped M8"


def test_a_casting_that_is_short_is_an_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The casting moved 5 mm along X leaves 3 - 5 = -2 mm on the left: exit 1, the face and the amount named."""
    job = write_job(tmp_path / "short", block_in_block(shift=(5.0, 0.0, 0.0)))

    assert main(["stock", str(job), "-q"]) == 1
    text = capsys.readouterr().out
    assert "SHORT: left lacks 2.00 mm of metal at its thinnest" in text
    assert main(["stock", str(job), "-q", "--json"]) == 1
    left = next(f for f in json.loads(capsys.readouterr().out)["faces"] if f["name"] == "left")
    assert left["stock"]["min"] == pytest.approx(-2, abs=1e-6)
    assert left["short_fraction"] == pytest.approx(1)


def test_a_seat_may_allow_a_little_wane(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A ball of r 25 dips 1 mm below the top: wane is a disc of sqrt(25^2 - 24^2) = 7 mm, 153.9 of 4800 mm2 or 3.2 %.

    A face that must clean up wholly is short; one that may keep 5 % wane (bearing 0.95) is not.
    """
    strict = write_job(tmp_path / "strict", hollow_in_skin())
    seat = write_job(tmp_path / "seat", hollow_in_skin(), "[faces.top]\nbearing = 0.95\n")

    assert main(["stock", str(strict), "-q", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    top = next(f for f in found["faces"] if f["name"] == "top")
    assert top["short_fraction"] == pytest.approx(math.pi * 49 / 4800, abs=0.001)
    assert abs(top["short_fraction"] - math.pi * 49 / 4800) < top["share_error"]
    assert [one["face"] for one in found["short"]] == ["top"]
    assert found["short"][0]["missing"] == pytest.approx(1, abs=1e-6)
    assert main(["stock", str(seat), "-q", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["short"] == []


def test_what_the_job_asks_for_is_a_no_and_what_nobody_asked_for_a_warning(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0.5 mm all round a 60 mm block: below the 0.7 mm of RMAG G (40 to 63 mm, reference/iso8062_rmag.csv).

    Assumed, it is a warning; named by the job, or asked for on a face, it is a no.
    """
    thin = block_in_block(stock=0.5)
    assumed = write_job(tmp_path / "assumed", thin)
    named = write_job(tmp_path / "named", thin, '[casting]\nallowance_grade = "G"\n')
    asked = write_job(tmp_path / "asked", thin, "[faces.left]\nrequired = 2\n")

    assert main(["stock", str(assumed), "-q"]) == 0
    assert "Thin, below the machining allowance: top, bottom, left, right, front, back" in capsys.readouterr().out
    assert main(["stock", str(named), "-q"]) == 1
    assert "SHORT: top has 0.50 mm at its thinnest" in capsys.readouterr().out
    assert main(["stock", str(asked), "-q"]) == 1
    text = capsys.readouterr().out
    assert re.search(r"SHORT: left has 0\.50 mm .*; 2\.00 mm are asked for: 1\.50 mm missing over 100\.0 %", text)
    assert text.count("SHORT") == 1


def test_files_go_where_they_are_asked_to(block: Path, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Default out/JOBNAME beside the user; --out DIR anywhere; a second command keeps the first one's files."""
    assert main(["coordinates", str(block), "-q"]) == 0
    table = {p.name for p in (here / "out" / "block").iterdir()}
    assert main(["prototype", str(block), "-q", "--out", "out/block"]) == 0
    both = {p.name for p in (here / "out" / "block").iterdir()}
    capsys.readouterr()

    assert any(name.endswith(".csv") for name in table)
    assert table < both
    assert {"finished.stl", "casting.stl", "manifest.json"} <= both


# --- how it ends ---------------------------------------------------------------------


def test_a_reader_that_goes_away_is_no_error(plate: Path) -> None:
    """`evenstock holes JOB | head -1` ends without a word."""
    command = [sys.executable, "-m", "export.cli", "holes", str(plate), "-q"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        err, code = process.stderr.read(), process.wait(timeout=120)

    assert (code, err) == (PIPE_CLOSED, b"")


def test_a_crash_of_the_kernel_is_a_message() -> None:
    """A segmentation fault in the child is told in words and ends with exit code 2."""
    said: list[str] = []

    def crash() -> int:
        faulthandler.disable()
        os.kill(os.getpid(), signal.SIGSEGV)
        return 0

    code = run_guarded(crash, said.append)

    assert code == WRONG == 2
    assert "the CAD kernel crashed on these solids (SIGSEGV); nothing was written" in said[0]


def test_a_fault_of_the_program_is_never_taken_for_a_no(capfd: pytest.CaptureFixture[str]) -> None:
    """A programming error keeps its traceback and ends with a code of its own."""
    assert run_guarded(lambda: 1 // 0, lambda _line: None) == FAULT
    assert "ZeroDivisionError" in capfd.readouterr().err


def test_other_exit_codes_pass_through() -> None:
    """Yes, no and stopped arrive as they left."""
    for code in (0, 1, 2, STOPPED):
        assert run_guarded(lambda code=code: code, lambda _line: None) == code  # type: ignore[misc]


def test_a_command_that_does_not_exist_names_those_that_do() -> None:
    """One paragraph, not a usage dump."""
    done = run("stok", "x")

    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("evenstock: ")
    assert done.stderr.count("\n") == 1
    assert "'stock'" in done.stderr
