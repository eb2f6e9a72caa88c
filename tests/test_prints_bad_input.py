"""What a shop asks of its prints and cannot have, asked as it is asked: on the command line.

A wrong number ends with exit code 2 and one paragraph; a print that cannot be is an answer, exit code 1, with the reason.
"""

from pathlib import Path

import pytest

from export.cli import main
from geom.kernel.cut import box, cut, sphere
from geom.kernel.shape import Solid, solid_from_shape
from tests.catalogue import drafted_block
from tests.job_folders import write_job


def ball() -> tuple[Solid, Solid]:
    """A ball of 60 mm, flat on top at 18 mm over its middle, 3 mm to come off that."""
    skin = sphere((0.0, 0.0, 30.0), 30.0)
    return tuple(
        solid_from_shape(cut(skin, box((-40.0, -40.0, high), (40.0, 40.0, 90.0))), name)
        for high, name in ((48.0, "finished"), (51.0, "casting"))
    )  # type: ignore[return-value]


def slab(length: float) -> tuple[Solid, Solid]:
    """A slab so long and as wide, 30 high, 3 mm to come off its top."""
    return tuple(
        solid_from_shape(box((0.0, 0.0, 0.0), (length, length, high)), name)
        for high, name in ((30.0, "finished"), (33.0, "casting"))
    )  # type: ignore[return-value]


def answer(capsys: pytest.CaptureFixture[str], job: Path, *arguments: str) -> tuple[int, str, str]:
    """Run a command; return exit code, what it answered in one line, and what it said on stderr."""
    code = main([*arguments, str(job), "--out", str(job.parent / "out"), "-q"])
    out, err = capsys.readouterr()
    return code, " ".join(out.split()), err


def test_a_loading_direction_that_is_trapped_names_the_faces(tmp_path, capsys):
    """The drafted block wide end down: its four walls lean over the way in."""
    code, said, _ = answer(capsys, write_job(tmp_path / "block", drafted_block()), "fixture", "--only", "nest", "--up", "top")

    assert code == 1
    assert "NO NEST the way in is trapped: back, front, left, right lean over it, so a side pad there would not let" in said
    assert not (tmp_path / "out" / "nest.stl").exists()


def test_a_casting_with_no_stable_support_is_told(tmp_path, capsys):
    """A ball has no level place below."""
    code, said, _ = answer(capsys, write_job(tmp_path / "ball", ball()), "fixture", "--only", "nest", "--up", "top")

    assert code == 1
    assert "NO NEST nothing level carries it from below: " in said
    assert "no three of them have the centre of mass between them; choose another set-up, or a smaller pad" in said


def test_a_casting_larger_than_the_vise_gets_no_jaws(tmp_path, capsys):
    """150 mm over its sides in a vise that opens 140."""
    code, said, _ = answer(capsys, write_job(tmp_path / "slab", slab(150.0)), "fixture", "--only", "jaws", "--up", "top")

    assert code == 1
    assert "NO SOFT JAWS the casting is 150 mm over its sides; with the jaws that is 166 mm and the vise opens 140 mm" in said


def test_a_casting_larger_than_the_bed_gets_no_nest(tmp_path, capsys):
    """150 mm on a bed of 60: less than half of it would be carried."""
    job = write_job(tmp_path / "slab", slab(150.0), "[printer]\nbed = [60, 60, 60]\n")
    code, said, _ = answer(capsys, job, "fixture", "--only", "nest", "--up", "top")

    assert code == 1
    assert "NO NEST the casting needs a block 161 mm long and the printer's bed takes 60 mm" in said


@pytest.mark.parametrize(
    ("table", "command", "says"),
    [
        ("", ("fixture", "--up", "top", "--clearance", "8"), "a clearance of 8 mm makes no fixture; give 0.05 to 3 mm"),
        (
            "[printer]\nnozzle = 1.9\n",
            ("fixture", "--up", "top"),
            "printer.nozzle: a wall of 1.5 mm cannot be laid with a nozzle of 1.9 mm",
        ),
        (
            "[casting]\nparting = 90\n",
            ("pattern",),
            "the plane at Z 90 mm misses the casting, which reaches from Z -3.00 to 33.00 mm",
        ),
        ("[pattern]\ncontraction = '50 %'\n", ("pattern",), 'pattern.contraction: "50 %" is too large; at most 5 %'),
    ],
    ids=["clearance", "wall", "parting", "contraction"],
)
def test_a_number_no_print_can_have_is_one_plain_paragraph(tmp_path, capsys, table, command, says):
    """Where, the value, the limit, what to do; nothing is written."""
    code, said, err = answer(capsys, write_job(tmp_path / "block", drafted_block(), table), *command)

    assert code == 2
    assert said == ""
    assert err.startswith("evenstock: ")
    assert err.count("\n") == 1
    assert says in err
    assert not (tmp_path / "out").exists()
