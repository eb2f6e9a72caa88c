"""How long planning takes beside finding what there is to make: run as `python -m tests.bench.bench_plan`.

On the bundled jobs and on blocks of 10 to 100 features (faces and drilled holes on two sides). "command" is what the command
`setups` takes once the job is open and the casting placed: plan, rows made and looked over, the answer printed, by the clock,
compiled modules as in an installed program. The rest is processor time in one process and one thread: "plan" the search alone,
"again" plan and rows once the part's own boxes are known, the ratio that beside `tasks_of`, which the planner has to do first.
Medians. A line of ten million turns of an empty loop tells how fast the machine is. Limits: planning a bundled job takes under
1 s, 60 features under 10 s; where the whole command takes longer than that, it is told.
"""

import argparse
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir

from geom.datum.zero import resolve_zero
from geom.job import Job, measure_stock, open_job, placements, planned
from geom.kernel.cut import box, cut, cylinder
from geom.kernel.shape import solid_from_shape
from geom.passes.setup_rows import RowMaker
from geom.rows.plan import Plan
from geom.settings.load import load_settings
from geom.settings.records import READINGS
from geom.setups.planner import plan_setups
from geom.tasks.features import tasks_of
from tests.catalogue import UP, Pair
from tests.job_folders import write_job

ROOT = Path(__file__).resolve().parents[2]
BUNDLED, SIXTY = 1.0, 10.0
COUNTS = (10, 20, 40, 60, 80, 100)
LOADED = (RowMaker, plan_setups)
"""What `planned` would load first."""


def block(features: int) -> Pair:
    """Return a block in a casting 3 mm larger all round: six faces, else 5 mm holes 12 deep, half of them from below."""
    holes = features - 6
    per_side = [(holes + 1) // 2, holes // 2]
    body = box((0.0, 0.0, 0.0), (200.0, 100.0, 40.0))
    for side, count in enumerate(per_side):
        for i in range(count):
            at = (12.0 + 18.0 * (i % 10), 10.0 + 16.0 * (i // 10), 28.0 if side == 0 else -1.0)
            body = cut(body, cylinder(at, UP, 2.5, 13.0))
    return solid_from_shape(body, "finished"), solid_from_shape(box((-3.0, -3.0, -3.0), (203.0, 103.0, 43.0)), "casting")


def timed(work: Callable[[], object], rounds: int) -> float:
    """Return the median time of some rounds, seconds."""
    taken = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def waited(folder: Path) -> float:
    """Run the command and return how long it took by the clock from its word that it plans to its end, seconds."""
    command = [sys.executable, "-m", "export.cli", "setups", str(folder)]
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment |= {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": str(Path(gettempdir()) / "evenstock_bench")}
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stderr is not None
        start = next(time.perf_counter() for line in running.stderr if line.endswith("planning set-ups\n"))
        running.stderr.read()
    return time.perf_counter() - start


def turns() -> None:
    """Turn an empty loop ten million times."""
    for _ in range(10_000_000):
        pass


def measured(name: str, folder: Path, limit: float, rounds: int) -> bool:
    """Print one line about a job; return whether it keeps its limit."""
    job: Job = open_job(load_settings(folder))
    zero, stock = resolve_zero(job.part, job.settings.datum), measure_stock(job)
    placed = placements(job) if (folder / READINGS).exists() else ()
    plan = planned(job, zero, stock, placed=placed)
    count = sum(len(one.features) for one in plan.setups) if isinstance(plan, Plan) else 0
    bare = timed(lambda: tasks_of(job.part, zero, job.settings), rounds)
    alone = timed(lambda: plan_setups(job.part, job.settings, zero, stock, job.settings.setups), rounds)
    whole = timed(lambda: planned(job, zero, stock, placed=placed), rounds)
    command = statistics.median(waited(folder) for _ in range(rounds))
    told = f"{len(plan.setups)} set-ups" if isinstance(plan, Plan) else f"no plan: {plan.blocked[0].feature}"
    late = "".join(f"   {name} over {limit:g} s" for name, took in (("plan", alone), ("command", command)) if took > limit)
    figures = f"{count:8} {bare:9.2f} {alone:9.2f} {whole:9.2f} {command:11.2f} {whole / bare:7.1f}"
    print(f"{name:14} {figures}   {told}{late}", flush=True)
    return alone <= limit


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a table; 1 when a limit is broken."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--counts", type=int, nargs="*", default=COUNTS)
    asked = parser.parse_args(arguments)
    print(f"ten million turns of an empty loop: {timed(turns, asked.rounds):.2f} s")
    print("job            features   tasks s    plan s   again s   command s   ratio   answer")
    kept = [measured(name, ROOT / "parts" / name, BUNDLED, asked.rounds) for name in ("footstep", "bell_crank", "pump_cover")]
    with TemporaryDirectory() as folder:
        for count in asked.counts:
            job = write_job(Path(folder) / f"block-{count}", block(count))
            kept.append(measured(f"block of {count}", job, SIXTY if count <= 60 else float("inf"), asked.rounds))
    return int(not all(kept))


if __name__ == "__main__":
    sys.exit(main())
