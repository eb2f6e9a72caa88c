"""`evenstock place` and what readings change elsewhere, as a user runs it."""

import json
from pathlib import Path

import numpy as np
import pytest

from export.cli import main
from export.exit_codes import NO, WRONG, YES
from tests.catalogue import block_in_block
from tests.job_folders import write_job

HEIGHTS = "# units: mm\n# seat: bottom\n# sigma: 0.05 mm\nface,height,at\n"
CORNERS = ((5, 5), (55, 5), (5, 35), (55, 35))


def heights(value: float) -> str:
    """Return a height gauge's readings at the four corners of the block's top."""
    return HEIGHTS + "".join(f"top,{value},{x} {y} 33\n" for x, y in CORNERS)


def a_job(folder: Path, readings: dict[str, str] | None = None, more: str = "") -> Path:
    """Write a 60 x 40 x 30 block in 3 mm all round, 1 mm required everywhere, and files of readings by name."""
    names = ("top", "bottom", "left", "right", "front", "back")
    write_job(folder, block_in_block(), "".join(f"[faces.{n}]\nrequired = 1\n" for n in names) + more)
    for name, text in (readings or {}).items():
        path = folder / "readings" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def answer(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    code = main([str(a) for a in arguments])
    out = capsys.readouterr()
    return code, out.out, out.err


def document(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, dict[str, object]]:
    code, out, _ = answer(capsys, *arguments, "--json", "-q")
    return code, json.loads(out)


# --- answers ----------------------------------------------------------------


def test_even_height_is_shared_between_top_and_bottom(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """35 mm over the plate for a 30 mm block: 5 mm to share, 2.5 a side, 1.5 over the 1 mm required."""
    code, found = document(capsys, "place", a_job(tmp_path / "block", {"heights.csv": heights(35.0)}))
    takes = {f["name"]: f["take"] for f in found["faces"]}  # type: ignore[attr-defined]

    assert code == YES
    assert found["verdict"] == "cleans up"
    assert takes["top"]["min"] + takes["bottom"]["max"] == pytest.approx(5.0, abs=0.05)
    assert takes["top"]["min"] == pytest.approx(2.5, abs=0.1)


def test_a_casting_lower_than_the_part_is_a_no(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """29 mm of metal for a 30 mm block: half a millimetre is missing a side at best, exit code 1."""
    code, out, _ = answer(capsys, "place", a_job(tmp_path / "block", {"heights.csv": heights(29.0)}), "-q")

    assert code == NO
    assert "Short: " in out
    assert "SHORT: " in out
    assert "What would help:" in out


def test_json_holds_the_agreed_fields(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """verdict, least_margin, shift, turn, faces with take, required, margin, bearing, and notes: as the design lists them."""
    _, found = document(capsys, "place", a_job(tmp_path / "block", {"heights.csv": heights(35.0)}))

    assert {"verdict", "least_margin", "shift", "turn", "faces", "notes"} <= found.keys()
    assert len(found["shift"]) == len(found["turn"]) == 3  # type: ignore[arg-type]
    for face in found["faces"]:  # type: ignore[attr-defined]
        assert {"name", "take", "required", "margin", "bearing"} <= face.keys()
        assert face["margin"] == pytest.approx(face["take"]["min"] - face["required"], abs=2e-6)
    least = min(face["margin"] for face in found["faces"])  # type: ignore[attr-defined]
    assert found["least_margin"] == pytest.approx(least, abs=2e-6)


def test_faces_that_hold_the_place_are_told_and_prove_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """Top and bottom, 35 mm over 30, hold 1.5 each (by hand): weights sum to 1, pulls cancel (Kuhn and Tucker)."""
    folder = a_job(tmp_path / "block", {"heights.csv": heights(35.0)})
    _, found = document(capsys, "place", folder)
    _, out, _ = answer(capsys, "place", folder, "-q")
    proof = found["certificate"]
    binding = proof["binding"]  # type: ignore[index]
    pulls = sum(b["weight"] * np.array(b["rate"]) for b in binding)

    assert {b["face"] for b in binding} == {"top", "bottom"}
    assert sum(b["weight"] for b in binding) == pytest.approx(1.0, abs=1e-5)
    assert pulls + np.array(proof["others"]) == pytest.approx(np.zeros(6), abs=1e-5)  # type: ignore[index]
    assert proof["best"] == pytest.approx(found["least_margin"], abs=1e-3)  # type: ignore[index]
    assert "Held where it is by top (50 %), bottom (50 %)" in out or "Held where it is by bottom (50 %), top (50 %)" in out


def test_without_readings_the_drawn_casting_is_placed_and_said_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """Nothing measured is an answer, not an error: 3 mm everywhere, unsure by the casting tolerance."""
    folder = a_job(tmp_path / "block")
    code, found = document(capsys, "place", folder)
    _, out, _ = answer(capsys, "place", folder, "-q")

    assert code == YES
    assert found["measured"] is False
    assert found["least_margin"] == pytest.approx(2.0, abs=1e-3)
    assert "nothing has been measured" in out


def test_two_castings_stand_best_first_with_the_reason(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """35 mm of metal beats 29: the better one decides the exit code, each can be asked for by name."""
    folder = a_job(tmp_path / "block", {"poor/heights.csv": heights(29.0), "sound/heights.csv": heights(35.0)})
    code, found = document(capsys, "place", folder)
    _, text, _ = answer(capsys, "place", folder, "-q")
    poor, _ = document(capsys, "place", folder, "--casting", "poor")

    assert (code, poor) == (YES, NO)
    assert [c["name"] for c in found["castings"]] == ["sound", "poor"]  # type: ignore[attr-defined]
    assert "falls short" in found["castings"][1]["reason"]  # type: ignore[index]
    assert text.index("sound") < text.index("poor")


def test_ask_lists_readings_with_place_and_expected_value(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """Only the height is known, so more is asked for, each with a place and what it should read."""
    code, out, _ = answer(capsys, "place", a_job(tmp_path / "block", {"heights.csv": heights(35.0)}), "--ask", "-q")

    assert code == YES
    assert "thickness" in out
    assert "expected" in out


def test_coordinates_tell_where_the_zero_is_picked_up_and_end_at_the_same_size(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """What is left in the end is the finished part: each feature's last cut is the same with and without readings."""
    bare, read = a_job(tmp_path / "bare"), a_job(tmp_path / "read", {"heights.csv": heights(35.0)})
    (_, plain), (_, placed) = (document(capsys, "coordinates", f, "--out", tmp_path / f"out {f.name}") for f in (bare, read))

    for a, b in zip(plain["setups"], placed["setups"], strict=True):  # type: ignore[call-overload]
        assert last_cuts(a["rows"])
        assert last_cuts(a["rows"]) == last_cuts(b["rows"])
        assert not any("as received" in note for note in a["notes"])
        assert any("the zero moves with the finished part" in note for note in b["notes"])


def last_cuts(rows: list[dict[str, object]]) -> dict[object, tuple[object, ...]]:
    """Return where the last cutting row of each feature goes; along an edge but for how far below its foot: through the skin."""
    keys = {"face": ("x", "y", "z", "x_to", "y_to"), "edge": ("x", "y", "x_to", "y_to")}
    return {r["feature"]: tuple(r[k] for k in keys[str(r["action"])]) for r in rows if r["action"] in keys}


def test_held_freedoms_stay_and_what_letting_go_would_win_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """Hollows on top near one end and below near the other: tilting away from both would win stock."""
    spots = "# units: mm\nface,at,size,depth\ntop,52 20 33,8 x 8,2\nbottom,8 20 -3,8 x 8,2\n"
    folder = a_job(tmp_path / "block", {"low_spots.csv": spots}, "[placement]\nhold = ['rx', 'ry']\n")
    _, found = document(capsys, "place", folder)

    assert found["turn"][:2] == pytest.approx([0.0, 0.0], abs=1e-6)  # type: ignore[index]
    assert found["held"]["freedoms"] == ["rx", "ry"]  # type: ignore[index]
    assert found["held"]["gain"] > 0.05  # type: ignore[index]
    gain = found["held"]["gain"]  # type: ignore[index]
    _, text, _ = answer(capsys, "place", folder, "-q")
    said = " ".join(text.split())
    assert f"Held as drawn: tilt about X, tilt about Y. Letting go would win {gain:.2f} mm: " in said
    assert "over what is required at worst. The part would then be turned " in said


STUB = "[[casting.feeder]]\nface = 'top'\nat = [5, 5, 33]\nsize = 12\n"


def test_a_reading_on_the_stub_of_a_feeder_is_named_line_by_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """A stub of 12 round 5 5: the first of the four heights lies on it, the others, 34 mm and more away, do not."""
    folder = a_job(tmp_path / "block", {"heights.csv": heights(35.0)}, STUB)
    _, found = document(capsys, "place", folder)
    named = [note for note in found["notes"] if "feeder" in note]  # type: ignore[attr-defined]

    assert len(named) == 1
    assert named[0].startswith("readings/heights.csv line 5: was taken on 'top' where a feeder stood")


# --- refusals ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("heights.csv", HEIGHTS + "lid,35,\n", ("heights.csv line 5", '"lid"')),
        ("heights.csv", HEIGHTS + "top,tall,\n", ("heights.csv line 5", "'tall'")),
        ("heights.csv", "# units: mm\nface,heigth\ntop,35\n", ("heights.csv line 2", "'heigth'", "height")),
        ("heights.csv", "# units: mm\nface,height\ntop,35\n", ("heights.csv", "seat")),
        ("touches.csv", "# units: furlong\nface,x,y,z\ntop,1,2,3\n", ("touches.csv line 1", "furlong")),
        ("thickness.csv", "face a,face b,thickness\n", ("thickness.csv", "thicknesses.csv")),
        ("heights.csv", "", ("heights.csv",)),
        ("scan.toml", 'file = "scan.stl"\nunit = "mm"\n', ("scan.toml", "scan.stl")),
    ],
)
def test_a_wrong_reading_is_named_with_file_and_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, text: str, says: tuple[str, ...]
):
    """One paragraph on stderr, exit code 2, nothing on stdout."""
    code, out, err = answer(capsys, "place", a_job(tmp_path / "block", {name: text}), "-q")

    assert (code, out) == (WRONG, "")
    assert err.count("\n") == 1
    assert all(word in err for word in says), err


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("[placement]\nholds = ['rx']\n", ("line 20", "placement.holds", "hold")),
        ("[placement]\nhold = ['tilt']\n", ("line 19", "'tilt'", "rx")),
        ("[placement]\norder = ['share', 'outline', 'share']\n", ("line 19", "share")),
        ("[[placement.wall]]\nmachined = 'top'\ncast = 'bottom'\n", ("line 19", "least")),
        ("[[placement.wall]]\nmachined = 'top'\ncast = 'bottom'\nleast = -1\n", ("line 22", "-1")),
        ("[placement]\nwall = 3\n", ("line 20", "[[placement.wall]]")),
        (STUB.replace("'top'", "'topp'"), ("line 19", "'topp'", "top")),
        (STUB.replace("12", "-12"), ("line 22", "-12")),
        ("[casting]\nfeeder = 3\n", ("line 20", "[[casting.feeder]]")),
    ],
)
def test_a_wrong_placement_table_is_named_with_its_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: str, says: tuple[str, ...]
):
    """job.toml is checked before any solid is opened."""
    code, _, err = answer(capsys, "place", a_job(tmp_path / "block", more=more), "-q")

    assert code == WRONG
    assert all(word in err for word in says), err


def test_a_casting_nobody_measured_is_named_with_those_there_are(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """--casting soundd: the nearest name is offered."""
    folder = a_job(tmp_path / "block", {"poor/heights.csv": heights(29.0), "sound/heights.csv": heights(35.0)})
    code, _, err = answer(capsys, "place", folder, "--casting", "soundd", "-q")

    assert code == WRONG
    assert "soundd" in err
    assert "sound" in err


# --- files ------------------------------------------------------------------


PLACE_FILES = {"place.txt", "place.json", "place-heat.svg", "place-heat.png"}


def test_place_writes_the_same_bytes_twice(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """Text, JSON and the picture are the same from run to run; a changed reading changes the manifest's inputs."""
    folder = a_job(tmp_path / "block", {"heights.csv": heights(35.0)})
    sets = []
    for name in ("one", "two"):
        answer(capsys, "place", folder, "--out", tmp_path / name, "-q")
        sets.append({p.name: p.read_bytes() for p in sorted((tmp_path / name).iterdir())})
    (folder / "readings" / "heights.csv").write_text(heights(35.1))
    answer(capsys, "place", folder, "--out", tmp_path / "three", "-q")
    manifests = [json.loads((tmp_path / name / "manifest.json").read_text()) for name in ("one", "three")]

    assert sets[0] == sets[1]
    assert sets[0].keys() >= PLACE_FILES
    assert json.loads(sets[0]["place.json"])["verdict"] == "cleans up"
    assert len({json.dumps(m["inputs"]) for m in manifests}) == 2


def test_make_says_no_when_the_casting_that_arrived_is_short(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """The drawn casting is good, the one on the bench is not: exit code 1, and the placement is among the files."""
    folder = a_job(tmp_path / "block", {"heights.csv": heights(29.0)})
    code, _, _ = answer(capsys, "make", folder, "--out", tmp_path / "out", "-q")

    assert code == NO
    assert {p.name for p in (tmp_path / "out").iterdir()} >= PLACE_FILES
    assert json.loads((tmp_path / "out" / "place.json").read_text())["verdict"] == "short"
