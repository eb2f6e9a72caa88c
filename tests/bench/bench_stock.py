"""How long `evenstock stock` takes on a STEP job beside reading its files: run as `python tests/bench/bench_stock.py`.

The bare script imports the CAD kernel and reads the two STEP files, nothing
else. Both are whole processes and take turns, so that a busy machine slows both
alike; medians of wall and of processor time and their ratios are printed. The
limit, on wall time, is 2.
"""

import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

LIMIT = 2.0
ROUNDS = 7
JOB = Path(__file__).resolve().parents[2] / "parts" / "pump_cover"

BARE = """
import sys
from OCP.STEPControl import STEPControl_Reader
for name in sys.argv[1:]:
    reader = STEPControl_Reader()
    reader.ReadFile(name)
    reader.TransferRoots()
    reader.OneShape()
"""

COMMANDS = {
    "import the kernel, read two files": [sys.executable, "-c", BARE, str(JOB / "finished.step"), str(JOB / "casting.step")],
    "evenstock stock": [sys.executable, "-m", "export.cli", "stock", str(JOB), "--json", "-q"],
}


def timed(command: list[str]) -> tuple[float, float]:
    """Return the wall time and the processor time of one run, seconds."""
    start, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    end = subprocess.run(command, capture_output=True, text=True, check=False, cwd=JOB.parents[1])
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    if end.returncode not in (0, 1):
        raise SystemExit(f"{' '.join(command[1:4])} ended with {end.returncode}:\n{end.stderr}")
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> int:
    """Print the medians and their ratios; 1 when the whole command is over the limit."""
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in COMMANDS}
    for _ in range(ROUNDS):
        for name, command in COMMANDS.items():
            taken[name].append(timed(command))
    medians = {name: tuple(statistics.median(t[i] for t in times) for i in (0, 1)) for name, times in taken.items()}
    for name, (wall, processor) in medians.items():
        print(f"{name:36} {wall:6.2f} s wall {processor:6.2f} s processor")
    bare, whole = medians.values()
    wall, processor = (w / b for w, b in zip(whole, bare, strict=True))
    print(f"ratio, medians of {ROUNDS} turns each: {wall:.2f} wall, {processor:.2f} processor; limit {LIMIT:g}")
    return int(whole[0] > LIMIT * bare[0])


if __name__ == "__main__":
    sys.exit(main())
