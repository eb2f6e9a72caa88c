"""Small job folders for tests of the command line: STEP pairs of the catalogue with a job.toml, and how to run them."""

import subprocess
import sys
from pathlib import Path

from geom.kernel.shape import Solid
from geom.kernel.step import write_step

LEAST = """\
[part]
name = "{name}"
finished = "finished.step"
casting = "casting.step"
units = "{units}"
alloy = "grey iron"
"""


def write_job(folder: Path, pair: tuple[Solid, Solid], more: str = "", units: str = "mm") -> Path:
    """Write a pair of solids and the least job.toml, with more tables after it; return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    write_step(pair[0].shape, folder / "finished.step")
    write_step(pair[1].shape, folder / "casting.step")
    (folder / "job.toml").write_text(LEAST.format(name=folder.name, units=units) + more, encoding="utf-8")
    return folder


def run(*arguments: str | Path, cwd: Path | None = None) -> "subprocess.CompletedProcess[str]":
    """Run the command as a user does, in a process of its own."""
    command = [sys.executable, "-m", "export.cli", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, timeout=120, check=False)
