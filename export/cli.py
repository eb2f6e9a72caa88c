"""The command line: arguments, exit codes, and one plain paragraph when something is wrong.

Exit codes: 0 done and the answer is yes; 1 done and the answer is no; 2 the
input is wrong; 130 stopped by Ctrl-C. Imports nothing heavy: what a command
does is in `commands`, loaded when one runs, so that `--help` stays quick.
"""

import argparse
import contextlib
import gc
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NoReturn

from export.exit_codes import PIPE_CLOSED, STOPPED, WRONG
from geom.errors import EvenstockError

if TYPE_CHECKING:
    from geom.settings.records import Units

PROGRAM = "evenstock"
_COMMANDS = {
    "stock": "stock per machined face",
    "holes": "holes as the program understands them",
    "place": "where the part lies in the casting as received, and whether it cleans up",
    "setups": "which side up, held how, zero found how, and why",
    "coordinates": "the rows to drive to on the readout, per set-up",
    "prove": "virtual cutting along the tables: whether the finished part is left",
    "sheets": "set-up sheets to take to the mill, proved first: PDF, A4 or US letter",
    "drawing": "drawing of the casting and the part: DXF, PDF and SVG",
    "prototype": "test-fit print of the finished part and of the casting: STL",
    "pattern": "printed pattern and core boxes of the casting, its draft checked first: STL, 3MF, PDF",
    "fixture": "prints that carry, guide and test: nest, soft jaws, drill plate, check plate: STL, 3MF, PDF",
    "make": "everything into one folder, with a manifest",
}

_DESCRIPTION = "From a finished part and its casting to numbers on the readout, a foundry drawing and test-fit prints."

_EPILOG = """\
JOB is a folder with a job.toml, or that job.toml. A job with a model.py runs its code: open only jobs you trust.
Exit codes: 0 yes; 1 no (the casting is short, no plan holds); 2 the input is wrong; 130 stopped.
The program advises; it does not certify strength or fitness. Check every number before it becomes metal."""


_THREADS = "OPENBLAS_NUM_THREADS"
"""Read when numpy loads. Matrices here are small: more threads wait for each other, and a place took half as long again."""

_SELDOM = 200_000
"""New objects between two looks for dead ones: the kernel makes many, all of which stay; looking them over took half a second."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code.

    Args:
        argv: arguments; None for the process's own, which also guards it against a crash of the kernel.
    """
    _survive_plain_terminals()
    os.environ.setdefault(_THREADS, "1")
    gc.set_threshold(_SELDOM, *gc.get_threshold()[1:])
    try:
        arguments = _parser().parse_args(argv)
    except EvenstockError as error:
        return _wrong(str(error))
    if argv is None:
        from export.child import run_guarded

        return run_guarded(lambda: _outcome(arguments), _tell)
    return _outcome(arguments)


def _outcome(arguments: argparse.Namespace) -> int:
    """Run the command and word whatever stops it."""
    try:
        code = _run(arguments)
        sys.stdout.flush()
    except EvenstockError as error:
        return _wrong(_in_units(error, arguments.units or "mm"))
    except KeyboardInterrupt:
        _tell("stopped; nothing was left half-written")
        return STOPPED
    except BrokenPipeError:
        _drop_stdout()
        return PIPE_CLOSED
    except OSError as error:
        _drop_stdout()
        return _wrong(_system_says(error))
    return code


def _run(arguments: argparse.Namespace) -> int:
    from export.commands import COMMANDS

    command: str = arguments.command
    return COMMANDS[command](arguments)


# --- arguments --------------------------------------------------------------


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one paragraph, like every other message."""

    def error(self, message: str) -> NoReturn:
        raise EvenstockError(f"{message}; see {self.prog} --help")


class _Version(argparse.Action):
    """Prints the version; looks it up only when asked."""

    def __call__(self, parser: argparse.ArgumentParser, *_rest: Any, **_more: Any) -> NoReturn:
        from export.manifest import program_version

        print(f"{PROGRAM} {program_version()}")
        parser.exit()


def _parser() -> _Parser:
    listed = "\n".join(f"  {name:12} {says}" for name, says in _COMMANDS.items())
    parser = _Parser(
        prog=PROGRAM,
        description=f"{_DESCRIPTION}\n\ncommands:\n{listed}",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and stop")
    commands = parser.add_subparsers(
        dest="command", metavar="COMMAND", required=True, help="one of the above; evenstock COMMAND --help says more"
    )
    for name, says in _COMMANDS.items():
        _add_command(commands, name, f"{says[0].upper()}{says[1:]}.")
    return parser


def _add_command(commands: Any, name: str, description: str) -> None:
    command = commands.add_parser(
        name, description=description, epilog=_EPILOG, formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False
    )
    _add_common(command)
    if name in ("place", "setups", "coordinates", "sheets", "fixture"):
        command.add_argument("--casting", metavar="NAME", help="the casting in readings/NAME (default: all, the best for rows)")
    if name == "place":
        command.add_argument("--ask", action="store_true", help="list the few readings that would make the verdict surer")
    if name == "fixture":
        _add_fixture(command)
    if name == "sheets":
        command.add_argument("--paper", choices=("a4", "letter"), help="paper (default: A4, letter for a readout in inches)")
    if name == "prototype":
        command.add_argument("--chord", metavar="MM", help="greatest distance of a facet from the true surface (default 0.05)")


def _add_fixture(command: Any) -> None:
    command.add_argument(
        "--only",
        choices=("nest", "jaws", "drill-plate", "check-plate"),
        action="append",
        default=[],
        help="only this kind; may be repeated",
    )
    held = command.add_mutually_exclusive_group()
    held.add_argument("--setup", metavar="N", type=int, help="for this set-up (default: the first with a rough seat)")
    held.add_argument("--up", metavar="SIDE", help="for the raw casting with this face, or +x ... --up=-z, up; needs no plan")
    command.add_argument("--clearance", metavar="LENGTH", help="between print and skin, away from the pads (default 0.4 mm)")
    command.add_argument("--depth", metavar="LENGTH", help="how much of the casting a nest or jaws hold (default: as they need)")
    command.add_argument("--over", metavar="NAME", help="plates for the holes on this face, or with this hole (default: the most)")
    command.add_argument("--bushes", action="store_true", help="guide holes take hardened drill bushes")


def _add_common(command: argparse.ArgumentParser) -> None:
    command.add_argument("job", metavar="JOB", help="job folder, or the job.toml in it")
    command.add_argument("--out", metavar="DIR", help="folder for files (default out/JOBNAME)")
    command.add_argument("--units", choices=("mm", "inch"), help="units to show instead of the job's")
    command.add_argument("--json", action="store_true", help="one JSON document on stdout: mm, degrees, part frame")
    command.add_argument("-q", "--quiet", action="store_true", help="no progress lines")
    command.add_argument("--set", metavar="NAME=VALUE", action="append", default=[], help="set a model parameter; may be repeated")
    command.add_argument("--variant", metavar="NAME", help="use [variants.NAME] of the job")
    command.add_argument("--version", action=_Version, nargs=0, help=argparse.SUPPRESS)


# --- what is said when it ends ----------------------------------------------


def _wrong(message: str) -> int:
    _tell(message)
    return WRONG


def _in_units(error: EvenstockError, units: "Units") -> str:
    """Return what is wrong, its lengths in the job's unit where they are told apart."""
    if all(isinstance(word, str) for word in error.words):
        return str(error)
    from export.tables.words import gauged_text

    return gauged_text(error.words, units)


def _tell(message: str) -> None:
    """Print one paragraph on stderr; a terminal that is gone is no reason to fail."""
    with contextlib.suppress(OSError):
        print(f"{PROGRAM}: {' '.join(message.split())}", file=sys.stderr, flush=True)


def _system_says(error: OSError) -> str:
    what = error.strerror or str(error)
    place = f"{error.filename}: " if error.filename else "writing the answer: "
    return f"{place}the system says: {what}; check the path, the permissions and the room on the disk"


def _survive_plain_terminals() -> None:
    """Let a terminal without our letters show "?" for them instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _drop_stdout() -> None:
    """Send what is still buffered nowhere, so that the interpreter's last flush cannot fail again."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
