"""Output folders: whole or not at all, and nothing of the user's is lost.

Checked from outside: every file system call of a write is in turn made the last
one (SIGKILL, Ctrl-C) in a process of its own, and a disk that is full is the
system's own file size limit.
"""

import hashlib
import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from export import swap
from export.manifest import MANIFEST_NAME, describe, from_bytes, inputs_hash, merged, to_bytes
from export.write import check_folder, safe_name, update_folder, write_folder
from geom.errors import OutputError

OLD = {"rows.csv": b"old rows", "drawing.dxf": b"old drawing"}
NEW = {"rows.csv": b"new rows", "sheet.txt": b"new sheet" * 1000}


def bundle(files: Mapping[str, bytes], inputs: str = "a", job: str = "cover") -> dict[str, bytes]:
    """Return files with their manifest."""
    return {**files, MANIFEST_NAME: to_bytes(describe(job, inputs, files))}


def held(folder: Path) -> dict[str, bytes]:
    """Return what a folder holds, its manifest left out."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name != MANIFEST_NAME}


def snapshot(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


# --- what a run leaves ------------------------------------------------------


def test_make_leaves_exactly_its_own_set(tmp_path):
    """A second `make` takes the first one's place: no sheet of the old set stays among the new."""
    out = tmp_path / "out" / "cover"
    write_folder(out, bundle(OLD))
    write_folder(out, bundle(NEW))

    assert held(out) == NEW
    assert [path.name for path in out.parent.iterdir()] == ["cover"], "nothing is left beside the folder"


def test_one_command_renews_its_own_files_and_carries_the_others_over(tmp_path):
    """`drawing` after `make` renews the drawing; the rows stay, and so do their hashes."""
    out = tmp_path / "cover"
    write_folder(out, bundle(OLD))
    stale = update_folder(out, bundle({"drawing.dxf": b"new drawing"}))

    assert held(out) == {"rows.csv": b"old rows", "drawing.dxf": b"new drawing"}
    assert stale == ()
    listed = json.loads((out / MANIFEST_NAME).read_bytes())["files"]
    assert {e["name"]: e["sha256"] for e in listed} == {n: hashlib.sha256(c).hexdigest() for n, c in held(out).items()}


def test_sheets_of_two_versions_of_a_job_are_told_apart(tmp_path):
    """After a change of the job one command renews its files only; the others are reported as made from other inputs."""
    out = tmp_path / "cover"
    write_folder(out, bundle(OLD, inputs="monday"))

    assert update_folder(out, bundle({"drawing.dxf": b"new"}, inputs="tuesday")) == ("rows.csv",)
    assert update_folder(out, bundle({"rows.csv": b"new"}, inputs="tuesday")) == ()


def test_a_sheet_the_user_deleted_drops_out_of_the_manifest(tmp_path):
    """A file that is gone is not listed as if it were there."""
    out = tmp_path / "cover"
    write_folder(out, bundle(OLD))
    (out / "rows.csv").unlink()
    update_folder(out, bundle({"drawing.dxf": b"new"}))

    assert [e["name"] for e in json.loads((out / MANIFEST_NAME).read_bytes())["files"]] == ["drawing.dxf"]


def test_the_folder_keeps_its_permissions(tmp_path):
    """A folder opened to the whole shop stays open to it."""
    out = tmp_path / "cover"
    write_folder(out, bundle(OLD))
    out.chmod(0o755)
    write_folder(out, bundle(NEW))

    assert out.stat().st_mode & 0o777 == 0o755


def test_a_link_to_the_folder_stays_a_link(tmp_path):
    """`--out` may name a link to a folder elsewhere; the folder it points to is renewed."""
    (tmp_path / "disk").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "disk")
    write_folder(tmp_path / "out", bundle(NEW))

    assert (tmp_path / "out").is_symlink()
    assert held(tmp_path / "disk") == NEW


def test_an_empty_folder_may_be_used(tmp_path):
    """A folder made beforehand, with only a file browser's own droppings in it, is as good as none."""
    out = tmp_path / "out"
    out.mkdir()
    (out / ".DS_Store").write_bytes(b"icons")
    write_folder(out, bundle(NEW))

    assert held(out) == NEW


# --- a run that does not end ------------------------------------------------


def ended_at(out: Path, last: int, how: str, steps: str = "one", command: str = "write_folder") -> bool:
    """Write `NEW` in a forked process that ends at its `last`-th file system call; return whether it got to the end first."""
    child = os.fork()
    if child:
        return os.waitpid(child, 0)[1] == 0
    seen = 0

    def watch(event: str, _: object) -> None:
        nonlocal seen
        seen += event.startswith(("open", "os.", "shutil.", "ctypes."))
        if seen == last and how == "kill":
            os.kill(os.getpid(), signal.SIGKILL)
        if seen == last:
            seen += 1
            raise KeyboardInterrupt

    try:
        if steps == "two":
            swap.exchange = lambda _, __: False
        sys.addaudithook(watch)
        {"write_folder": write_folder, "update_folder": update_folder}[command](out, bundle(NEW))
        os._exit(0)
    finally:
        os._exit(1)


@pytest.mark.parametrize("command", ["write_folder", "update_folder"])
def test_a_run_killed_at_any_step_leaves_the_old_or_the_new_folder(tmp_path, command):
    """Power cut, kill -9: at whatever call it strikes, the folder is whole, and the next run clears what was left beside it."""
    new = NEW if command == "write_folder" else {**OLD, **NEW}
    outcomes = set()
    for last in range(1, 200):
        out = tmp_path / str(last) / "cover"
        write_folder(out, bundle(OLD))
        done = ended_at(out, last, "kill", command=command)
        whole = held(out)
        assert whole in (OLD, new), f"killed at call {last}"
        outcomes.add(whole == new)
        write_folder(out, bundle(NEW))
        assert held(out) == NEW
        assert [path.name for path in out.parent.iterdir()] == ["cover"]
        if done:
            break
    assert done
    assert last > 10, "the kills reached into the write"
    assert outcomes == {True, False}


def test_where_folders_take_two_renames_a_kill_between_them_is_put_right_by_the_next_run(tmp_path):
    """Windows: the old folder may stand aside for a moment; a run that dies then loses nothing."""
    aside = 0
    for last in range(1, 200):
        out = tmp_path / str(last) / "cover"
        write_folder(out, bundle(OLD))
        done = ended_at(out, last, "kill", "two")
        if not out.exists():
            aside += 1
            assert held(swap.last_folder(out)) == OLD
            swap.recover(out)
        assert held(out) in (OLD, NEW)
        write_folder(out, bundle(NEW))
        assert [path.name for path in out.parent.iterdir()] == ["cover"]
        if done:
            break
    assert done
    assert aside > 0, "the kill between the two renames was tried"


@pytest.mark.parametrize("steps", ["one", "two"])
def test_ctrl_c_at_any_step_leaves_the_old_or_the_new_folder_and_nothing_else(tmp_path, steps):
    """Ctrl-C is noticed, so even the leavings are gone at once; only a second one during the tidying could leave any."""
    for last in range(1, 200):
        out = tmp_path / str(last) / "cover"
        write_folder(out, bundle(OLD))
        done = ended_at(out, last, "interrupt", steps)
        assert held(out) in (OLD, NEW), f"interrupted at call {last}"
        leavings = [path.name for path in out.parent.iterdir() if path.name != "cover"]
        assert held(out) == NEW or not leavings, f"interrupted at call {last}"
        write_folder(out, bundle(NEW))
        assert [path.name for path in out.parent.iterdir()] == ["cover"]
        if done:
            break
    assert done


def test_a_first_run_that_fails_leaves_nothing_at_all(tmp_path):
    """No empty `out` folder, no lock, no half a set."""
    for last in range(1, 200):
        top = tmp_path / str(last)
        top.mkdir()
        if ended_at(top / "out" / "cover", last, "interrupt"):
            break
        assert not list(top.iterdir()) or held(top / "out" / "cover") == NEW, f"interrupted at call {last}"
    assert held(top / "out" / "cover") == NEW


def test_a_full_disk_leaves_the_old_folder(tmp_path):
    """No room: the old folder is untouched and the message says how much was needed."""
    out = tmp_path / "cover"
    write_folder(out, bundle(OLD))
    before = snapshot(tmp_path)
    script = (
        "import resource, sys; from pathlib import Path; from export.write import write_folder\n"
        "from export.manifest import describe, to_bytes; from geom.errors import OutputError\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))\n"
        "files = {'big.stl': bytes(2_500_000)}; files['manifest.json'] = to_bytes(describe('cover', 'a', files))\n"
        "try:\n    write_folder(Path(sys.argv[1]), files)\n"
        "except OutputError as error:\n    print(error)\n"
    )
    end = subprocess.run([sys.executable, "-c", script, str(out)], capture_output=True, text=True, check=False)

    assert end.stderr == ""
    assert "there is no room for 2.5 MB" in end.stdout
    assert "untouched" in end.stdout
    assert snapshot(tmp_path) == before


def test_two_runs_at_once_do_not_mix_their_files(tmp_path):
    """The second run is told to wait; it neither clears the first one's files nor waits for ever."""
    out = tmp_path / "cover"
    with swap.sole_writer(out), pytest.raises(OutputError, match="another evenstock run"):
        write_folder(out, bundle(NEW))
    write_folder(out, bundle(NEW))

    assert held(out) == NEW


# --- whose folder it is -----------------------------------------------------


def test_a_folder_of_the_users_own_files_is_refused(tmp_path):
    """`--out` given a folder with other work in it: nothing is touched, and the message names a file."""
    out = tmp_path / "desk"
    out.mkdir()
    (out / "letter.txt").write_text("dear foundry")
    for write in (write_folder, update_folder):
        with pytest.raises(OutputError, match=r"letter\.txt, which evenstock did not write.*--out"):
            write(out, bundle(NEW))

    assert snapshot(tmp_path) == {"desk/letter.txt": b"dear foundry"}


@pytest.mark.parametrize("foreign", ["photo.jpg", "sub/notes.txt"])
def test_a_file_added_by_the_user_stops_every_command(tmp_path, foreign):
    """A photo dropped into the output folder is not swept away with the old sheets."""
    out = tmp_path / "cover"
    write_folder(out, bundle(OLD))
    (out / foreign).parent.mkdir(exist_ok=True)
    (out / foreign).write_bytes(b"mine")
    before = snapshot(tmp_path)
    for write in (write_folder, update_folder):
        with pytest.raises(OutputError, match=foreign.split("/", maxsplit=1)[0]):
            write(out, bundle(NEW))

    assert snapshot(tmp_path) == before


def test_a_drawing_edited_by_hand_is_not_overwritten(tmp_path):
    """Hours spent on the DXF in a CAD program survive; a command that leaves that file alone still runs and carries it over."""
    out = tmp_path / "cover"
    write_folder(out, bundle(OLD))
    (out / "drawing.dxf").write_bytes(b"with my notes")
    with pytest.raises(OutputError, match=r"drawing\.dxf was changed after evenstock wrote it"):
        write_folder(out, bundle(NEW))
    update_folder(out, bundle({"rows.csv": b"new"}))
    assert held(out) == {"rows.csv": b"new", "drawing.dxf": b"with my notes"}

    with pytest.raises(OutputError, match=r"drawing\.dxf was changed"):
        update_folder(out, bundle({"drawing.dxf": b"new"}))


def test_sheets_of_two_jobs_never_share_a_folder(tmp_path):
    """A second job sent to the same folder is refused by name."""
    out = tmp_path / "out"
    write_folder(out, bundle(OLD, job="cover"))
    with pytest.raises(OutputError, match="belongs to job 'cover', not 'crank'"):
        update_folder(out, bundle(NEW, job="crank"))

    assert held(out) == OLD


@pytest.mark.parametrize(
    "content", [b"", b"{", b"[]", b'{"program": "other"}', b'{"program": "evenstock", "files": [1]}', b"[" * 100_000]
)
def test_a_manifest_that_is_not_ours_makes_no_folder_ours(tmp_path, content):
    """Many programs write a manifest.json; theirs is not a licence to replace the folder."""
    out = tmp_path / "out"
    out.mkdir()
    (out / MANIFEST_NAME).write_bytes(content)
    with pytest.raises(OutputError, match=r"manifest\.json, which evenstock did not write"):
        write_folder(out, bundle(NEW))

    assert (out / MANIFEST_NAME).read_bytes() == content


def test_a_link_among_the_sheets_is_foreign(tmp_path):
    """A link with a sheet's name is the user's doing; what it points to is left alone."""
    out = tmp_path / "cover"
    write_folder(out, bundle(OLD))
    (tmp_path / "elsewhere.csv").write_bytes(b"old rows")
    (out / "rows.csv").unlink()
    (out / "rows.csv").symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(OutputError, match=r"rows\.csv, which evenstock did not write"):
        write_folder(out, bundle(NEW))


# --- places that cannot be written ------------------------------------------


def test_a_file_in_the_folders_place_is_refused(tmp_path):
    """`--out sheet.pdf` names a file: say so."""
    (tmp_path / "sheet.pdf").write_bytes(b"pdf")
    with pytest.raises(OutputError, match="is a file, not a folder"):
        write_folder(tmp_path / "sheet.pdf", bundle(NEW))
    with pytest.raises(OutputError, match="inside something that is not a folder"):
        write_folder(tmp_path / "sheet.pdf" / "out", bundle(NEW))


def test_the_top_of_a_disk_is_refused():
    """Nobody means `--out /`."""
    with pytest.raises(OutputError, match="top of a disk"):
        write_folder(Path("/"), bundle(NEW))


def test_a_name_longer_than_the_disk_allows_is_refused(tmp_path):
    """Told to shorten it; no traceback."""
    with pytest.raises(OutputError, match="longer than this disk allows"):
        write_folder(tmp_path / ("x" * 300), bundle(NEW))


def test_a_read_only_place_is_refused(tmp_path, monkeypatch):
    """No permission: what to do, and that the old folder stands (the refusal is simulated; the next test has a true one)."""
    out = tmp_path / "cover"
    write_folder(out, bundle(OLD))

    def denied(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", "x")

    monkeypatch.setattr(Path, "mkdir", denied)
    with pytest.raises(OutputError, match=r"cannot be written \(Permission denied\).*untouched"):
        write_folder(out, bundle(NEW))
    assert held(out) == OLD


def test_a_folder_without_write_permission_is_refused():
    """The same, refused by the system itself; root steps down for it, since root may write anywhere."""
    root = os.geteuid() == 0
    with tempfile.TemporaryDirectory() as top:
        Path(top).chmod(0o755)
        (Path(top) / "locked").mkdir(mode=0o555)
        if root:
            os.seteuid(65534)
        try:
            with pytest.raises(OutputError, match=r"cannot be written \(Permission denied\)"):
                write_folder(Path(top) / "locked" / "cover", bundle(NEW))
        finally:
            if root:
                os.seteuid(0)


# --- names ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("pump cover", "pump_cover"),
        ("Gehäuse Ø40", "Gehäuse_Ø40"),
        ("../../etc/passwd", "etc_passwd"),
        ("C:\\temp\\x", "C_temp_x"),
        ("con", "con_"),
        ("Aux.txt", "Aux.txt_"),
        ("lpt1", "lpt1_"),
        ("LPT10", "LPT10"),
        ("a<b>c:d\"e|f?g*h", "a_b_c_d_e_f_g_h"),
        ("name. . ", "name"),
        ("-rf", "rf"),
        ("\x00\n\u202e", "part"),
        ("", "part"),
        ("ä" * 200, "ä" * 40),
    ],
)  # fmt: skip
def test_any_job_name_becomes_a_name_every_system_accepts(text, name):
    """Reserved names and characters: Microsoft, "Naming Files, Paths, and Namespaces" (from memory)."""
    assert safe_name(text) == name


@given(st.text())
def test_a_safe_name_is_safe_and_stays_as_it_is(text):
    """Whatever a job is called, the name holds no separator, control or reserved character, and naming it twice changes nothing."""
    name = safe_name(text)

    assert name
    assert not set(name) & set('<>:"/\\|?*')
    assert name.isprintable()
    assert name[-1] not in ". "
    assert len(name.encode()) <= 81
    assert safe_name(name) == name


@pytest.mark.parametrize("name", ["sub/sheet.txt", "..", "nul.txt", "a:b.txt", "sheet.txt "])
def test_a_file_name_that_some_system_refuses_is_not_written(tmp_path, name):
    """Rather no folder than one that cannot be copied to the shop's computer."""
    with pytest.raises(OutputError, match="does not work on every system"):
        write_folder(tmp_path / "out", bundle({name: b""}))

    assert list(tmp_path.iterdir()) == []


def test_two_names_that_are_one_file_on_windows_are_refused(tmp_path):
    """ "Top.txt" and "top.txt" would overwrite each other on Windows and macOS."""
    with pytest.raises(OutputError, match=r"'Top\.txt' and 'top\.txt' are one file"):
        write_folder(tmp_path / "out", bundle({"Top.txt": b"", "top.txt": b""}))


# --- the manifest -----------------------------------------------------------


def test_the_manifest_lists_published_hashes():
    """SHA-256 of "abc" and of nothing: FIPS 180-4, NIST example values."""
    listed = {entry.name: entry for entry in describe("cover", "a", {"b": b"abc", "a": b""}).files}

    assert listed["b"].sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert listed["a"].sha256 == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert [listed["b"].size, listed["a"].size] == [3, 0]


@given(st.dictionaries(st.text(), st.binary()))
def test_a_manifest_reads_back_as_it_was_written(files):
    """What is listed is what is read, in order of name whatever order the files came in."""
    manifest = describe("job \u2028 name", "a", files)

    assert from_bytes(to_bytes(manifest)) == manifest
    assert to_bytes(describe("job \u2028 name", "a", dict(reversed(files.items())))) == to_bytes(manifest)
    assert merged(manifest, manifest) == manifest


def test_inputs_that_differ_never_share_a_hash_by_running_together():
    """The border between a name and its content counts."""
    assert inputs_hash({"ab": b"c"}) != inputs_hash({"a": b"bc"})
    assert inputs_hash({"a": b"1", "b": b"2"}) == inputs_hash({"b": b"2", "a": b"1"})


def test_a_set_without_a_manifest_is_a_fault_of_the_program(tmp_path):
    """A set is never written without its list."""
    with pytest.raises(ValueError, match=r"needs its manifest\.json"):
        write_folder(tmp_path / "out", NEW)


def test_a_folder_is_checked_before_the_long_run(tmp_path: Path):
    """A missing, an empty and our own folder pass; a note of the user's, another job's folder and a file do not; nothing moves."""
    out = tmp_path / "out"
    check_folder(out, "Plate")
    assert not out.exists()
    out.mkdir()
    check_folder(out, "Plate")
    write_folder(out, bundle(OLD))
    check_folder(out, from_bytes(bundle(OLD)["manifest.json"]).job)
    with pytest.raises(OutputError, match="belongs to job"):
        check_folder(out, "another part")
    (out / "note.txt").write_text("ring the foundry")
    with pytest.raises(OutputError, match=r"note\.txt"):
        check_folder(out, from_bytes(bundle(OLD)["manifest.json"]).job)
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="is a file"):
        check_folder(tmp_path / "file", "Plate")
