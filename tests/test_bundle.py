"""The whole set: complete, listed, and the same bytes every time.

`make` is run as its users run it, in processes of their own, on a small STEP
job written here and on the bundled pump cover.
"""

import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from export.bundle import fixtures_or_why, json_bytes, not_made, pattern_or_why, with_manifest
from export.manifest import from_bytes
from geom.datum.zero import resolve_zero
from geom.job import Record, load_settings, measure_stock, open_job
from geom.kernel.mesh import tessellate
from geom.kernel.step import write_step
from tests.catalogue import block_in_block, drilled_plate
from tests.job_folders import write_job

PRINTS = ("casting.stl", "finished.stl", "prototype.3mf", "prototype.txt", "prototype_print.txt")
ROOT = Path(__file__).resolve().parent.parent
JOB = '[part]\nname = "Drilled plate"\nfinished = "finished.step"\ncasting = "casting.step"\nunits = "mm"\nalloy = "grey iron"\n'


def plate_job(folder: Path, extra: str = "") -> Path:
    """Write the catalogue's drilled plate as a STEP job."""
    folder.mkdir(parents=True)
    for solid, name in zip(drilled_plate(), ("finished", "casting"), strict=True):
        write_step(solid.shape, folder / f"{name}.step")
    (folder / "job.toml").write_text(JOB + extra)
    return folder


def start(*arguments: object, cwd: Path = ROOT, seed: str = "0") -> subprocess.Popen[str]:
    """Start evenstock in a process of its own."""
    environment = os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "export.cli", *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=cwd, env=environment)


def run(*arguments: object, cwd: Path = ROOT, seed: str = "0") -> tuple[int, str]:
    """Run evenstock in a process of its own; return its exit code and what it said on stderr."""
    process = start(*arguments, cwd=cwd, seed=seed)
    said = process.communicate()[1]
    return process.returncode, said


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """A plate job and, beside it, the folder `make` made of it."""
    top = tmp_path_factory.mktemp("made")
    code, said = run("make", plate_job(top / "job"), "--out", top / "out", "-q")
    assert code == 0, said
    return top


def test_make_writes_everything_the_shop_needs(made):
    """Tables for each set-up, stock, holes, drawing in three formats, every print, and the list of it all."""
    names = set(files(made / "out"))

    assert {"coordinates-1.csv", "coordinates-1.txt", "stock.txt", "stock.json", "holes.txt", "holes.json"} <= names
    assert {
        "drawing.dxf",
        "drawing.pdf",
        "drawing.svg",
        "finished.stl",
        "casting.stl",
        "prototype.txt",
        "sheets.pdf",
        "manifest.json",
    } <= names
    prints = ("nest", "fixed_jaw", "movable_jaw", "drill_plate", "check_plate")
    assert {f"{name}.{kind}" for name in prints for kind in ("stl", "3mf", "pdf")} <= names
    assert {"fixture.txt", "fixture.json", "pattern.txt", "pattern.json", "pattern.pdf", "pattern_draft.svg"} <= names


def test_the_manifest_lists_every_file_with_its_hash(made):
    """Recomputed here from the disk; in order of name; nothing listed that is not there."""
    there = files(made / "out")
    listed = json.loads(there.pop("manifest.json"))

    assert [entry["name"] for entry in listed["files"]] == sorted(there)
    for entry in listed["files"]:
        assert entry["sha256"] == hashlib.sha256(there[entry["name"]]).hexdigest()
        assert entry["size"] == len(there[entry["name"]])
        assert entry["inputs"] == listed["inputs"]
    assert listed["job"] == "Drilled plate"


def test_the_same_job_gives_the_same_bytes_in_another_folder_on_another_day(made, tmp_path):
    """Another folder name, working folder, random seed and a minute's distance from the first run change no byte of any file."""
    copy = tmp_path / "elsewhere" / "renamed"
    shutil.copytree(made / "job", copy)
    for path in copy.iterdir():
        os.utime(path, (1_000_000_000, 1_000_000_000))
    code, said = run("make", "renamed", "--out", "again", "-q", cwd=copy.parent, seed="12345")

    assert code == 0, said
    first, again = files(made / "out"), files(copy.parent / "again")
    assert [name for name in first if first[name] != again.get(name)] == []
    assert sorted(first) == sorted(again)


def test_no_file_says_where_or_by_whom_it_was_made(made):
    """No path of this machine and no user in anything that may be sent to a foundry."""
    for name, content in files(made / "out").items():
        assert str(made).encode() not in content, name
        assert str(ROOT).encode() not in content, name


def test_a_change_of_the_job_shows_in_the_manifest(made, tmp_path):
    """One character in the job or one option of the command line: other inputs, other hash; a comment-free copy: the same."""
    changed = plate_job(tmp_path / "changed", '\n[datum]\nz = "top"\n')
    hashes = {
        from_bytes(with_manifest(load_settings(folder), {}, **asked)["manifest.json"]).inputs
        for folder, asked in ((made / "job", {}), (changed, {}), (made / "job", {"chord": "0.1"}))
    }

    assert len(hashes) == 3


def test_a_make_that_fails_leaves_the_old_set(made, tmp_path):
    """A STEP file cut off by a broken copy: exit 2, one paragraph, and yesterday's sheets still there."""
    shutil.copytree(made / "job", tmp_path / "job")
    shutil.copytree(made / "out", tmp_path / "out")
    whole = (tmp_path / "job" / "casting.step").read_bytes()
    (tmp_path / "job" / "casting.step").write_bytes(whole[: len(whole) // 2])
    code, said = run("make", tmp_path / "job", "--out", tmp_path / "out", "-q")

    assert code == 2
    assert "casting.step" in said
    assert "Traceback" not in said
    assert files(tmp_path / "out") == files(made / "out")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job", "out"]


def test_make_refuses_to_sweep_away_the_users_own_files(made, tmp_path):
    """A note put among the sheets: exit 2, and nothing has changed."""
    shutil.copytree(made / "out", tmp_path / "out")
    (tmp_path / "out" / "note.txt").write_text("ring the foundry")
    before = files(tmp_path / "out")
    code, said = run("make", made / "job", "--out", tmp_path / "out", "-q")

    assert code == 2
    assert "note.txt" in said
    assert files(tmp_path / "out") == before


def test_one_command_renews_its_files_in_the_set(made, tmp_path):
    """`prototype --chord` after `make`: new STL files, the other sheets byte for byte, and the manifest right again."""
    shutil.copytree(made / "out", tmp_path / "out")
    code, said = run("prototype", made / "job", "--out", tmp_path / "out", "--chord", "0.5")
    before, after = files(made / "out"), files(tmp_path / "out")

    assert code == 0, said
    assert {name for name in before if before[name] != after[name]} == {
        "finished.stl",
        "prototype.txt",
        "prototype.3mf",
        "casting.stl",
        "manifest.json",
    }
    assert sorted(before) == sorted(after)
    assert "made from other inputs" in said
    for entry in json.loads(after["manifest.json"])["files"]:
        assert entry["sha256"] == hashlib.sha256(after[entry["name"]]).hexdigest()


def test_the_bundled_pump_cover_makes_the_same_bytes_twice(tmp_path):
    """A real pair of STEP files, as drawn, under three random seeds: all of it, and two commands' share of it."""
    job = tmp_path / "cover"
    job.mkdir()
    for name in ("job.toml", "finished.step", "casting.step"):
        shutil.copy(ROOT / "parts" / "pump_cover" / name, job)
    commands = ("make", "setups", "pattern")
    runs = [start(command, job, "--out", tmp_path / command, "-q", seed=str(i)) for i, command in enumerate(commands, 1)]
    said = [process.communicate()[1] for process in runs]
    assert [process.returncode for process in runs] == [0, 0, 0], said
    whole, *shares = (files(tmp_path / command) for command in commands)

    for share in shares:
        del share["manifest.json"]
        assert [name for name in share if share[name] != whole.get(name)] == []
    assert {"nest.3mf", "nest.pdf", "drill_plate.stl", "check_plate.stl", "pattern_upper.stl", "core_box_a.stl"} <= whole.keys()
    assert not_made(whole) == ("no soft jaws: fixture.txt says why",), "it is 170 mm wide and the vise opens 140"


def test_a_print_that_cannot_be_made_is_a_line_and_keeps_nothing_back(tmp_path):
    """No plan to print for, and a parting plane that misses the casting: both are told in the files that would have held more."""
    job = open_job(load_settings(write_job(tmp_path / "block", block_in_block(), "\n[casting]\nparting = 90\n")))
    record = Record(job, measure_stock(job), resolve_zero(job.part, job.settings.datum), ())
    there = pattern_or_why(record, tessellate(job.part.casting, 0.1)) | fixtures_or_why(record)
    pattern, fixture = (" ".join(there[name].decode().split()) for name in ("pattern.txt", "fixture.txt"))

    assert sorted(there) == ["fixture.json", "fixture.txt", "pattern.json", "pattern.txt"]
    assert "NO PATTERN: it cannot be made." in pattern
    assert "the plane at Z 90 mm misses the casting, which reaches from Z -3.00 to 33.00 mm" in pattern
    assert "NO FIXTURES no plan makes this part" in fixture
    assert not_made(there) == ("no pattern: pattern.txt says why", "no fixtures: fixture.txt says why")


def test_json_is_plain_and_never_holds_a_number_that_is_none():
    """ASCII, a newline at its end, and no NaN, which JSON does not know."""
    assert json_bytes({"name": "Gehäuse"}) == b'{\n "name": "Geh\\u00e4use"\n}\n'
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_bytes({"stock": float("nan")})
