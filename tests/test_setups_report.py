"""evenstock setups: the plan as printed, as JSON, in the bundle, and every wrong shop or pin by the command line."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from export.cli import main
from export.exit_codes import NO, WRONG, YES
from export.reports.setups import assumed_text, is_sound, pick_up_text, setups_document, setups_text
from geom.datum.zero import resolve_zero
from geom.job import measure_stock, open_job, planned
from geom.rows.plan import NoPlan, PickUp, Plan
from geom.settings.load import load_settings
from geom.shop.file import default_shop
from tests.catalogue import block_in_block, bolt_circle_cover, drilled_plate
from tests.job_folders import run, write_job

FIELDS = {"number", "up", "seat", "fixed_jaw", "clamp", "packing", "zero", "features", "why"}
"""What outside checks rely on (DESIGN section 6)."""

SHOP = """
[shop.mill]
travel = [500, 220, 350]
spindle_to_table = [70, 420]
quill = 90
speeds = [90, 155, 240, 380, 560, 880, 1350, 2100]
power = 1.1

[shop.vise]
jaw_width = 125
jaw_height = 40
opening = 140
bed_height = 55
"""


@pytest.fixture(scope="module")
def block(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A 60 x 40 x 30 block in grey iron, 3 mm all round."""
    return write_job(tmp_path_factory.mktemp("setups") / "block", block_in_block())


@pytest.fixture(scope="module")
def plate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plate that is machined on top only, with one hole of each kind, all opening up."""
    return write_job(tmp_path_factory.mktemp("setups") / "plate", drilled_plate())


def asked(job: Path, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[int, str, str]:
    code = main(["setups", str(job), *more])
    out, err = capsys.readouterr()
    return code, out, err


def varied(job: Path, name: str, text: str) -> Path:
    """Return the job with other tables beside it, in the same folder."""
    found = job / f"{name}.toml"
    found.write_text((job / "job.toml").read_text() + text)
    return found


# --- the answer -------------------------------------------------------------


def test_a_command_of_its_own_gives_the_same_plan_and_tables(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A command makes facets and the rows of set-ups aside, in copies of its process; called from a program all is done in turn."""
    job = write_job(tmp_path / "cover", bolt_circle_cover())
    code = main(["coordinates", str(job), "--json", "-q", "--out", str(tmp_path / "in_turn")])
    out = capsys.readouterr().out
    alone = run("coordinates", job, "--json", "-q", "--out", tmp_path / "aside")
    tables = [{p.name: p.read_bytes() for p in (tmp_path / one).glob("coordinates-*")} for one in ("in_turn", "aside")]

    assert (alone.returncode, alone.stderr) == (code, "")
    assert len(json.loads(out)["setups"]) == 2
    assert alone.stdout == out
    assert len(tables[0]) == 4
    assert tables[0] == tables[1]


def test_the_document_has_the_agreed_fields(plate: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """number, up, seat, fixed_jaw, clamp, packing, zero, features, why of each set-up; nothing else on stdout."""
    code, out, _ = asked(plate, capsys, "--json", "-q")
    document = json.loads(out)

    assert code == YES
    assert document["setups"]
    assert all(one.keys() >= FIELDS for one in document["setups"])
    assert all(one["why"] and one["zero"] and one["seat"] for one in document["setups"])
    assert [one["number"] for one in document["setups"]] == list(range(1, len(document["setups"]) + 1))


def test_a_plate_that_is_cut_on_top_only_is_set_up_once(plate: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All six holes open up, the top is the only machined face: one clamping, its seat the foot."""
    _, out, _ = asked(plate, capsys, "--json", "-q")
    (only,) = json.loads(out)["setups"]

    assert only["up"] == [0.0, 0.0, 1.0]
    assert only["seat"] == "bottom"
    assert {"top", "hole 1", "hole 6"} <= set(only["features"])


def test_no_feature_is_made_twice(block: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Six faces of a block: each in one set-up only, all of them in some."""
    _, out, _ = asked(block, capsys, "--json", "-q")
    made = [name for one in json.loads(out)["setups"] for name in one["features"]]

    assert sorted(made) == ["back", "bottom", "front", "left", "right", "top"]


def test_the_text_reads_in_the_order_of_work(block: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each set-up: up, hold, zero, how to find it step by step, what to machine, what to measure, why; then cautions."""
    code, out, err = asked(block, capsys)
    first = out[out.index("Set-up 1 of") :]
    order = [
        first.index(label) for label in (" up (", "Hold ", "Zero ", "Find it ", "1. ", "Machine ", "Measure ", "Why ", "Caution")
    ]

    assert code == YES
    assert order == sorted(order)
    assert "planning set-ups" in err
    assert "never over air" in out
    assert "machine's manual" in out
    assert max(map(len, out.splitlines())) <= 100


def test_an_inch_sheet_shows_inches_and_pounds(block: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same plan; no millimetre and no newton is left in the text."""
    _, out, _ = asked(block, capsys, "--units", "inch", "-q")

    assert ", in:" in out.splitlines()[0]
    assert " lbf" in out
    assert re.search(r"\d k?N\b", out) is None


def test_an_assumed_shop_is_named(block: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody stated mill, vise, cutters or finders: the sheet and the document say so."""
    _, out, _ = asked(block, capsys, "-q")
    _, document, _ = asked(block, capsys, "-q", "--json")

    assert "Assumed: the mill, the vise, the cutters, the finders (no shop.toml)" in " ".join(out.split())
    assert json.loads(document)["assumed"] == ["mill", "vise", "cutters", "finders"]


def test_a_stated_mill_and_vise_are_not_called_assumed(block: Path) -> None:
    """Only what is left open is."""
    told = assumed_text(load_settings(varied(block, "stated", SHOP)).tooling)

    assert told.startswith("Assumed: the cutters, the finders (not in the job's shop)")
    assert assumed_text(default_shop("mm")) != told


@pytest.mark.parametrize(
    ("pick_up", "said"),
    [
        (PickUp("xy", "boss", ("round 1",), False, -12.0), "X and Y: four touches round round 1, halved, at Z -12"),
        (
            PickUp("x", "middle", ("left", "right"), True, -5.0),
            "X: a touch on each side of left and right, halved, at Z -5 (machined)",
        ),
        (PickUp("z", "height", ("top",), True), "Z: touch the top of top, or set a height gauge to it (machined)"),
        (PickUp("xy", "sweep", ("bore 1",), True, -8.0), "X and Y: sweep bore 1 with the indicator, at Z -8 (machined)"),
    ],
)
def test_finding_zero_is_told_step_by_step(pick_up: PickUp, said: str) -> None:
    """How, on which faces, at which height, and how sure: skin is never surer than the casting."""
    assert pick_up_text(pick_up, "mm").startswith(said)
    assert ("as cast" in pick_up_text(pick_up, "mm")) is not pick_up.machined


def test_rough_touches_are_at_one_height_because_of_draft() -> None:
    """Touches at equal height cancel draft, and the sheet says so."""
    assert "same height so that draft cancels" in pick_up_text(PickUp("xy", "bore", ("core",), False, 4.0), "mm")


def test_make_holds_the_plan(plate: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--out writes setups.txt and setups.json as printed, with their manifest."""
    _, text, _ = asked(plate, capsys, "-q", "--out", str(tmp_path))

    assert (tmp_path / "setups.txt").read_text() == text
    assert json.loads((tmp_path / "setups.json").read_text())["verdict"] == "plan"
    assert "setups.txt" in (tmp_path / "manifest.json").read_text()


def test_a_pin_is_kept(block: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The job wants the left face up first: it is."""
    code, out, _ = asked(varied(block, "kept", '\n[[setups.pin]]\nnumber = 1\nup = "left"\n'), capsys, "--json", "-q")

    assert code == YES
    assert json.loads(out)["setups"][0]["up"] == [-1.0, 0.0, 0.0]


def test_what_the_shop_lacks_is_said_once_with_every_feature_that_wants_it(plate: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Drills, one end mill and nothing else: no spotting drill for six holes; in JSON as well, and no feature left unsaid."""
    mill = "\n[[shop.end_mills]]\ndiameter = 16\nflutes = 4\nflute_length = 40\nreach = 60\ncentre_cutting = true\n"
    job = varied(plate, "bare", f'{SHOP}parallels = [28, 32]\n{mill}[shop.drills]\nsets = ["mm 1-13 by 0.1"]\n')
    _, out, _ = asked(job, capsys, "-q")
    _, document, _ = asked(job, capsys, "-q", "--json")
    lacks = [line for one in json.loads(document)["setups"] for line in one["lacks"]]

    spots = [line for line in lacks if "no spotting drill" in line]
    assert len(spots) == 1
    assert set(re.findall(r"hole \d", spots[0])) == {f"hole {n}" for n in range(1, 7)}
    assert [re.findall(r"hole \d", line) for line in lacks if "mm counterbore with a pilot" in line] == [["hole 2"], ["hole 1"]]
    assert re.search(r"^  Lacks     ", out, re.MULTILINE)


def test_a_fault_that_no_other_plan_does_without_is_said_before_all_else(plate: Path) -> None:
    """Such a plan is told, since it is all there is, and never as if it were fine."""
    job = open_job(load_settings(plate))
    stock = measure_stock(job)
    plan = planned(job, resolve_zero(job.part, job.settings.datum), stock)
    assert isinstance(plan, Plan)
    assert is_sound(plan)
    wrong = replace(plan, setups=tuple(replace(one, faults=(("row 3: stands ", 1.5, " in the jaw"),)) for one in plan.setups))

    assert not is_sound(wrong)
    assert not is_sound(NoPlan(()))
    assert "\n  Fault     do not cut: row 3: stands 1.5 mm in the jaw\n  Hold " in setups_text(wrong, job, stock)
    assert setups_document(wrong, job, stock)["setups"][0]["faults"] == ["row 3: stands 1.5 mm in the jaw"]


def test_no_plan_is_an_answer(block: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A vise that opens 5 mm, no clamps, no plate: exit 1, which feature, why, and what would open it."""
    job = varied(block, "bare", SHOP.replace("opening = 140", "opening = 5") + "table_clamps = false\n")
    code, out, _ = asked(job, capsys, "-q")
    _, document, _ = asked(job, capsys, "-q", "--json")

    assert code == NO
    assert "no plan makes the whole part" in out
    assert "back, bottom, front, left, right, top: no two sides" in out, "one reason, said once"
    assert out.count("What would open it:") == 1
    assert json.loads(document)["setups"] == []
    assert {one["feature"] for one in json.loads(document)["blocked"]} == {"back", "bottom", "front", "left", "right", "top"}


# --- bad input by the command line ------------------------------------------

MILLS = "\n[[shop.end_mills]]\ndiameter = 12\nflutes = 4\nflute_length = 30\nreach = 20\n"

WRONG_INPUT = {
    "a mill without a spindle speed": (
        SHOP.replace("speeds = [90, 155, 240, 380, 560, 880, 1350, 2100]\n", ""),
        ("shop.mill", "speed"),
    ),
    "a vise that opens backwards": (SHOP.replace("opening = 140", "opening = -140"), ("shop.vise.opening", "-140", "line 18")),
    "a cutter shorter than its flutes": (MILLS, ("shop.end_mills.1", "30", "20", "reach")),
    "a cutter nobody has": (
        '\n[[setups.pin]]\nnumber = 1\ncutter = "17 mm end mill"\n',
        ("setups.pin.1.cutter", "17 mm end mill", "16 mm end mill"),
    ),
    "two set-ups that make one face": (
        '\n[[setups.pin]]\nnumber = 1\nfeatures = ["top"]\n[[setups.pin]]\nnumber = 2\nfeatures = ["top"]\n',
        ("setups.pin.2.features", '"top"', "set-up 1"),
    ),
    "a readout without steps": ("\n[readout]\nstep = 0\n", ("readout.step", "above 0")),
    "a readout of 7 mm": ("\n[readout]\nstep = 7\n", ("readout.step", "7", "at most 1")),
}


@pytest.mark.parametrize("case", WRONG_INPUT)
def test_wrong_input_is_one_plain_paragraph(block: Path, capsys: pytest.CaptureFixture[str], case: str) -> None:
    """Exit 2, nothing on stdout, one line on stderr: file and line, key, value, limit."""
    text, words = WRONG_INPUT[case]
    code, out, err = asked(varied(block, "wrong", text), capsys, "-q")

    assert (code, out) == (WRONG, "")
    assert err.startswith("evenstock: ")
    assert err.count("\n") == 1
    assert re.search(r"wrong\.toml line \d+, ", err)
    assert [word for word in words if word not in err] == []
