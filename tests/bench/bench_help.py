"""How long `evenstock --help` takes beside bare Python: run as `python tests/bench/bench_help.py`.

Runs are alternated, so that a busy machine slows both alike; the medians and
their ratio are printed. The limit is 3: help that makes one wait goes unread.
"""

import shutil
import statistics
import subprocess
import sys
import time

LIMIT = 3.0
ROUNDS = 25


def seconds(command: list[str]) -> float:
    """Return the wall time of one run, seconds."""
    start = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - start


def medians(commands: dict[str, list[str]], rounds: int = ROUNDS) -> dict[str, float]:
    """Return the median wall time of each command, the commands taking turns."""
    times: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(rounds):
        for name, command in commands.items():
            times[name].append(seconds(command))
    return {name: statistics.median(runs) for name, runs in times.items()}


def commands() -> dict[str, list[str]]:
    """Return what is timed: bare Python, the module, and the installed command when there is one."""
    found = {
        "python -c pass": [sys.executable, "-c", "pass"],
        "python -m export.cli --help": [sys.executable, "-m", "export.cli", "--help"],
    }
    installed = shutil.which("evenstock")
    return found | ({"evenstock --help": [installed, "--help"]} if installed else {})


def main() -> int:
    """Print the medians and ratios; 1 when a ratio is over the limit."""
    found = medians(commands())
    bare = found["python -c pass"]
    for name, taken in found.items():
        print(f"{name:30}  {1000 * taken:7.1f} ms  {taken / bare:5.2f} x bare")
    return 1 if max(found.values()) > LIMIT * bare else 0


if __name__ == "__main__":
    sys.exit(main())
