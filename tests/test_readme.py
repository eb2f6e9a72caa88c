"""What the README shows is what the commands print: every line of its samples, in order."""

import re
from pathlib import Path

import pytest

from export.cli import main

ROOT = Path(__file__).resolve().parents[1]


def sample(begins: str) -> list[str]:
    """Return the lines of the README's block that begins so, empty ones left out."""
    blocks = re.split(r"^```.*\n", (ROOT / "README.md").read_text(), flags=re.MULTILINE)[1::2]
    (found,) = [block for block in blocks if block.startswith(begins)]
    return [line for line in found.splitlines() if line]


@pytest.mark.parametrize(
    ("begins", "arguments", "code"),
    [("face   ", ("stock",), 0), ("Short: main bore", ("place", "--casting", "b"), 1)],
    ids=["stock", "place"],
)
def test_a_sample_is_what_the_command_prints(
    begins: str, arguments: tuple[str, ...], code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """The bundled footstep; lines may be left out between, none may differ."""
    command, *options = arguments
    assert main([command, str(ROOT / "parts" / "footstep"), *options, "-q"]) == code
    printed = capsys.readouterr().out.splitlines()

    assert [line for line in sample(begins) if line not in printed] == []
