"""Shared fixtures: where the public test models are, and nothing else."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.absent import absent

for _library in ("OMP", "OPENBLAS", "MKL"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")  # two test processes share two cores; read when numpy loads

_ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def nist() -> Callable[[str], Path]:
    """Return a finder for NIST test models (public domain); they are not in the repository."""
    folder = Path(os.environ.get("EVENSTOCK_CASES", _ROOT.parent / "shared" / "cases")) / "nist"

    def find(name: str) -> Path:
        path = folder / name
        if not path.is_file():
            absent(f"{name} is not in {folder}; set EVENSTOCK_CASES to the folder that holds nist/")
        return path

    return find


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In CI nothing may be skipped: what a test needs, `.ci/run` installs."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        reporter.write_line("a test was skipped in CI: .ci/run must install what it needs")
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
