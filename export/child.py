"""Runs a command in a child process, so that a crash inside the CAD kernel ends in a message.

The kernel is C++ and can take its process down with it. Where the system can
fork, the command runs in a copy made before anything heavy is loaded (about a
millisecond), and the parent only waits and passes Ctrl-C on. Elsewhere
(Windows) the command runs in the process itself. Knows nothing of commands.
"""

import contextlib
import os
import signal
import sys
from collections.abc import Callable, Iterator
from types import FrameType

from export.exit_codes import FAULT, STOPPED, WRONG
from geom.aside import allow

_PASSED_ON = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
"""Signals that ask to stop; the child cleans up on each of them."""


def run_guarded(work: Callable[[], int], tell: Callable[[str], None]) -> int:
    """Run `work` in a child process and return its exit code.

    Args:
        work: the whole command; it words its own errors and raises nothing.
        tell: told one paragraph when the child dies without a word.

    Returns:
        The code of `work`; `WRONG` after a crash; 128 + signal when the child was stopped from outside.
    """
    if not hasattr(os, "fork"):
        return work()
    sys.stdout.flush()
    sys.stderr.flush()
    signal.pthread_sigmask(signal.SIG_BLOCK, _PASSED_ON)
    child = os.fork()
    if child == 0:
        _be_the_child(work)
    with _passing_on(child):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _PASSED_ON)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if code >= 0:
        return code
    return _died(-code, tell)


def _be_the_child(work: Callable[[], int]) -> None:
    """Do the work and leave without the interpreter's slow farewell; never returns."""
    code = FAULT
    try:
        for number in _PASSED_ON:
            signal.signal(number, _stop_once)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _PASSED_ON)
        allow()
        code = work()
        sys.stdout.flush()
    except KeyboardInterrupt:
        code = STOPPED
    finally:
        if code == FAULT:
            import traceback

            traceback.print_exc()
        sys.stderr.flush()
        os._exit(code)


def _stop_once(_number: int, _frame: FrameType | None) -> None:
    """Raise KeyboardInterrupt for the first signal only: a second one must not tear the cleaning up."""
    for number in _PASSED_ON:
        signal.signal(number, signal.SIG_IGN)
    raise KeyboardInterrupt


@contextlib.contextmanager
def _passing_on(child: int) -> Iterator[None]:
    """Pass signals to the child while it works; a terminal's Ctrl-C reaches it twice, which `_stop_once` bears."""

    def forward(number: int, _frame: FrameType | None) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, number)

    before = {number: signal.signal(number, forward) for number in _PASSED_ON}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _died(number: int, tell: Callable[[str], None]) -> int:
    if number in (*_PASSED_ON, signal.SIGPIPE):
        return 128 + number
    if number == signal.SIGKILL:
        tell("the system stopped the work, most likely for want of memory; close other programs or simplify the solids")
    else:
        tell(
            f"the CAD kernel crashed on these solids ({signal.Signals(number).name}); nothing was written. "
            "Heal or simplify them in the CAD program, export them again, and report the files if that does not help"
        )
    return WRONG
