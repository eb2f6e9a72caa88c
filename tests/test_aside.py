"""Work done aside gives what the same work gives in the process itself, whatever becomes of the copy.

Each case runs in a process of its own: copies are made only of a process that belongs to one command.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

BEGIN = "import os, signal; import numpy as np; from geom import aside; from geom.errors import ReadingError; aside.allow()\n"

copies = pytest.mark.skipif(not hasattr(os, "memfd_create"), reason="the system makes no copies of a process")


def said(code: str) -> str:
    """Return what a process prints."""
    return subprocess.run([sys.executable, "-c", BEGIN + code], cwd=ROOT, check=True, capture_output=True, text=True).stdout


def test_large_arrays_come_back_whole():
    """Twenty million bytes, an empty array, a transposed one, and who they came from; the arrays may be written into."""
    out = said(
        "mine = os.getpid()\n"
        "work = lambda: (os.getpid(), np.arange(2_500_000.0), np.zeros((0, 3)), np.arange(6).reshape(2, 3).T)\n"
        "who, long, none, across = aside.Aside(work).result()\n"
        "long[0] = 7.0\n"
        "print(who != mine, long.sum(), none.shape, across.tolist())\n"
    )
    assert out.split(" ", 1)[1] == f"{2_499_999 * 2_500_000 / 2 + 7} (0, 3) [[0, 3], [1, 4], [2, 5]]\n"


@copies
def test_it_is_done_in_a_copy():
    """The point of it: another process did the work, and knows itself to be a copy."""
    assert said("print(aside.is_copy(), aside.Aside(aside.is_copy).result(), aside.Aside(os.getpid).result() != os.getpid())") == (
        "False True True\n"
    )


def test_what_is_wrong_with_the_input_is_raised_where_it_is_asked_for():
    """With its words, a length still being a number."""
    out = said(
        "def work():\n    raise ReadingError('top: ', 25.4, ' is too much')\n"
        "begun = aside.Aside(work)\n"
        "try:\n    begun.result()\nexcept ReadingError as error:\n    print(error, error.words)\n"
    )
    assert out == "top: 25.4 mm is too much ('top: ', 25.4, ' is too much')\n"


@copies
@pytest.mark.parametrize("end", ["os.kill(os.getpid(), signal.SIGKILL)", "os._exit(0)", "1 / 0"])
def test_a_copy_that_dies_costs_time_only(end):
    """Killed by the system, ended, or stopped by a fault: the work is done where it was asked for."""
    assert said(f"work = lambda: ({end}) if aside.is_copy() else 'done here'\nprint(aside.Aside(work).result())\n") == "done here\n"


def test_without_leave_nothing_is_copied():
    """A program that uses evenstock as a library has threads of its own."""
    out = subprocess.run(
        [sys.executable, "-c", "import os; from geom.aside import Aside; print(Aside(os.getpid).result() == os.getpid())"],
        cwd=ROOT, check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    assert out == "True\n"
