"""A shop, a pin or a readout that cannot be, as a user meets it: exit code 2, one plain paragraph, no file left.

Each line of bad input that planning has to survive, through the command line.
"""

from pathlib import Path

import pytest

from tests.catalogue import block_on_cast_foot
from tests.job_folders import write_job
from tests.test_bad_input import job, refusal, toml

__all__ = ["job"]

MILL = ["[shop.mill]", "travel = [480, 200, 330]", "spindle_to_table = [60, 400]", "quill = 90", 'power = "1.1 kW"']
VISE = ["[shop.vise]", "jaw_width = 130", "jaw_height = 42", "bed_height = 55"]
CUTTER = ["[[shop.end_mills]]", "diameter = 10", "flutes = 4", "flute_length = 30"]
PIN = ["[[setups.pin]]", "number = 1"]


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sound job: a block of which only the top is machined."""
    return write_job(tmp_path_factory.mktemp("good") / "block", block_on_cast_foot())


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        (MILL, ("job.toml line 7, shop.mill", "speeds", "speed_range")),
        ([*VISE, "opening = -20"], ("job.toml line 11, shop.vise.opening", "-20", "above 0")),
        ([*CUTTER, "reach = 12"], ("job.toml line 11, shop.end_mills.1.reach", "12 mm", "30 mm", "correct one of the two")),
        ([*PIN, 'cutter = "17 mm end mill"'], ("job.toml line 9, setups.pin.1.cutter", '"17 mm end mill"', '"16 mm end mill"')),
        ([*PIN, 'up = "top"', 'seat = "top"'], ("job.toml line 10, setups.pin.1.seat", "cannot be both", "leave one of the two")),
        ([*PIN, 'up = "top"', *PIN, 'up = "bottom"'], ("job.toml line 11, setups.pin.2.number", "already pinned", "join")),
        ([*PIN, 'up = "bottom"', 'features = ["top"]'], ("set-up 1 cannot be held with", "setups.pin.1")),
        ([*PIN, 'hold = "nest"', 'fixed_jaw = "left"'], ("printed nest", "takes no fixed jaw", "setups.pin.1")),
        (["[readout]", 'step = "0 mm"'], ("job.toml line 8, readout.step", '"0 mm"', "above 0 mm")),
        (["[readout]", 'step = "7 mm"'], ("job.toml line 8, readout.step", '"7 mm"', "at most 1 mm")),
    ],
    ids=[
        "no spindle speed", "negative opening", "reach below flutes", "unknown cutter", "up is seat", "pinned twice",
        "feature from the wrong side", "nest with a jaw", "step of 0", "step of 7",
    ],
)  # fmt: skip
def test_what_planning_cannot_use_is_one_paragraph(
    job: Path, capsys: pytest.CaptureFixture[str], lines: list[str], says: tuple[str, ...]
) -> None:
    """Where it stands, what it is, what the limit is, what to do."""
    toml(job, *lines)
    told = refusal(capsys, "setups", job)

    assert [piece for piece in says if piece not in told] == []
