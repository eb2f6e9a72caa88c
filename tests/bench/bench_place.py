"""How long the placement of a casting takes, and how surely it settles: `python tests/bench/bench_place.py [seeds] [job]`.

First every bundled caliper or touch job, and every bundled part as drawn: processor time of `place` alone (a warm process,
the least of some runs) beside the load of the same model in the same run. Wanted: under 50 ms.
Then, with a number of seeds, as many castings a job whose readings are each off by 0.3 mm more (normal, seeded): how many
come to rest (the next step, however far it might go, is none), in how many looks, and the longest last step.

Recorded on a machine at about half its usual speed. With one other job beside it: place 24 ms (footstep a), 12 to 15 (the three as
drawn), 48 (footstep b, which lacks metal) and 43 (bell crank), the least of twelve runs each. With four: 31, 16 to 28, 54 to 57 and
60 to 68, so that the last two are not under 50 ms there. 100 castings a job: at rest 100 (footstep a), 99 (footstep b) and 89
(bell crank), in 4.1, 6.1 and 12.7 looks on average; the others' looks ran out while they went to and fro over roundings.
"""

import os
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy loads

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from geom.job import Job  # noqa: E402
from geom.place.placement import Placement  # noqa: E402
from geom.place.solve import place, prepare  # noqa: E402
from geom.readings.files import load_readings  # noqa: E402
from geom.readings.records import Readings  # noqa: E402
from geom.received.casting import AsReceived, receive  # noqa: E402
from tests.bundled import JOBS, opened  # noqa: E402

_Found = TypeVar("_Found")

WANTED = 0.05
RUNS = 5
JITTER = 0.3


def timed(work: Callable[[], _Found]) -> tuple[float, _Found]:
    """Return the processor seconds a piece of work takes, and what it finds."""
    start = time.process_time()
    found = work()
    return time.process_time() - start, found


def castings(job: Job) -> Iterator[tuple[str, Readings]]:
    """Return a job's castings without a scan, and the drawn one."""
    settings = job.settings
    for readings in load_readings(settings.folder / "readings", job.part, settings.part.units):
        if readings.scan is None:
            yield readings.name or "readings", readings
    yield "as drawn", Readings()


def received(job: Job, readings: Readings) -> AsReceived:
    """Return a casting as its readings tell of it."""
    casting = job.settings.casting
    return receive(job.part, readings, grade=casting.grade, parting=job.settings.parting)


def placed(job: Job, casting: AsReceived) -> Placement:
    """Return the placement of one casting."""
    return place(job.part, casting, job.needs, job.settings.placement)


def jittered(readings: Readings, seed: int) -> Readings:
    """Return readings each of which is off by some more."""
    rng = np.random.default_rng(seed)

    def off() -> float:
        return float(rng.normal(0.0, JITTER))

    return replace(
        readings,
        touches=tuple(replace(t, point=(t.point[0] + off(), t.point[1] + off(), t.point[2] + off())) for t in readings.touches),
        heights=tuple(replace(h, value=h.value + off()) for h in readings.heights),
        thicknesses=tuple(replace(t, value=t.value + off()) for t in readings.thicknesses),
    )


def speed() -> bool:
    """Print how long each placement takes; return whether all are as quick as wanted."""
    print("job          casting    model load ms   once a part ms   place ms   looks   least margin   still moves mm")
    good = True
    for name in JOBS:
        load, job = timed(lambda n=name: opened(n))  # type: ignore[misc]
        once = timed(lambda j=job: prepare(j.part))[0]  # type: ignore[misc]
        for label, readings in castings(job):
            casting = received(job, readings)
            runs = [timed(lambda j=job, c=casting: placed(j, c)) for _ in range(RUNS)]  # type: ignore[misc]
            took, found = min(run[0] for run in runs), runs[0][1]
            print(
                f"{name:<12} {label:<10} {1e3 * load:13.0f} {1e3 * once:16.0f} {1e3 * took:10.1f} {found.rounds:7} "
                f"{found.least_margin:14.5f} {found.change:16.1e}",
                flush=True,
            )
            good &= took < WANTED
    print(f"wanted: under {1e3 * WANTED:g} ms each; {'kept' if good else 'over'}")
    return good


def convergence(seeds: int, only: str | None) -> None:
    """Print how many jittered castings come to rest, in how many looks, and how long they take."""
    print("job          casting    castings   at rest   short   looks mean   most     last step mm   median ms   most ms")
    for name in (name for name in JOBS if only in (None, name)):
        job = opened(name)
        prepare(job.part)
        for label, readings in castings(job):
            if not readings.count:
                continue
            lots = [received(job, jittered(readings, seed)) for seed in range(seeds)]
            runs = [timed(lambda j=job, c=casting: placed(j, c)) for casting in lots]  # type: ignore[misc]
            found, took = [run[1] for run in runs], np.array([run[0] for run in runs])
            looks = np.array([f.rounds for f in found])
            still = sum(f.at_rest for f in found)
            short = sum(f.verdict == "short" for f in found)
            print(
                f"{name:<12} {label:<10} {seeds:8} {still:9} {short:7} {looks.mean():12.1f} {looks.max():6} "
                f"{max(f.change for f in found):16.1e} {1e3 * np.median(took):11.1f} {1e3 * took.max():9.1f}",
                flush=True,
            )


if __name__ == "__main__":
    kept = speed()
    if len(sys.argv) > 1:
        convergence(int(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else None)
    raise SystemExit(0 if kept else 1)
