"""How long a proof takes beyond loading the model, for 60 to 600 rows: run as `python tests/bench/bench_proof.py`.

Rows are written here, half lanes of an end mill, half drilled holes, over the
pump cover's casting: what they make is no matter, only how many there are.
Beside it stands the bare thing: the same bodies cut off the same casting one
after the other by the CAD kernel's boolean, which gives one solid and no
verdict. Limits: 60 rows in 3 s; 600 in no more than 12 times the processor time
(a machine shared with others makes wall time no measure of a law).
"""

import resource
import sys
import time
from pathlib import Path

from geom.job import Overrides, load_settings, open_job
from geom.kernel.cut import Shape, drill, obround
from geom.model.part import Part
from geom.proof.prove import prove
from geom.proof.sweep import Sweep, Table, sweeps_of
from geom.rays.rays import skin_of
from geom.rows.records import Row, Tool
from geom.settings.records import Settings
from geom.space import X_AXIS, Y_AXIS, Z_AXIS, Frame

from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut  # isort: skip

LIMIT, TIMES = 3.0, 12.0
COUNTS = (60, 150, 300, 600)
JOB = Path(__file__).resolve().parents[2] / "parts" / "pump_cover"
MILL = Tool("end mill", "", 12.0, flute_length=26.0, reach=60.0)
DRILL = Tool("drill", "", 5.0, 118.0, flute_length=60.0, reach=90.0)


def table(part: Part, count: int) -> Table:
    """Return so many rows over the casting: lanes from the top down, then holes on a grid."""
    (x0, y0, z0), (x1, y1, z1) = part.casting.box
    lanes, holes = count // 2, count - count // 2
    wide = max(1, round((y1 - y0) / 8.0))
    deep = max(1, -(-lanes // wide))
    across = max(1, round(holes**0.5))
    rows = [
        Row(i + 1, "top", "face", MILL, x0 - 10.0, y0 + 8.0 * (i % wide), z1 - 2.0 * (1 + i // wide) / deep, x_to=x1 + 10.0)
        for i in range(lanes)
    ]
    for i in range(holes):
        x, y = x0 + (x1 - x0) * (i % across + 0.5) / across, y0 + (y1 - y0) * (i // across + 0.5) / across
        rows.append(Row(lanes + i + 1, "top", "drill", DRILL, x, y, z0 + 4.0))
    return Table(1, 1, Frame((0.0, 0.0, 0.0), X_AXIS, Y_AXIS, Z_AXIS), tuple(rows))


def body(sweep: Sweep, top: float) -> Shape:
    """Return a sweep as a body of the CAD kernel."""
    x, y = ((a + b) / 2.0 for a, b in zip(sweep.start, sweep.end, strict=True))
    if sweep.length:
        return obround((x, y, top), Z_AXIS, X_AXIS, sweep.length + 2.0 * sweep.radius, 2.0 * sweep.radius, top - sweep.z, 1.0)
    return drill((x, y, top), Z_AXIS, 2.0 * sweep.radius, top - sweep.z - sweep.point, 118.0, 1.0)


def by_kernel(part: Part, sweeps: tuple[Sweep, ...]) -> float:
    """Return the seconds that cutting one body after the other takes."""
    top = part.casting.box[1][2] + 5.0
    start, shape = time.perf_counter(), part.casting.shape
    for sweep in sweeps:
        shape = BRepAlgoAPI_Cut(shape, body(sweep, top)).Shape()
    return time.perf_counter() - start


def by_proof(part: Part, settings: Settings, rows: Table) -> tuple[float, float]:
    """Return the wall and processor seconds of a proof."""
    start, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_SELF).ru_utime
    prove([rows], part, settings)
    return time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF).ru_utime - before


def main() -> int:
    """Print the times and their ratios; 1 when a limit is passed."""
    settings = load_settings(JOB, Overrides())
    part = open_job(settings).part
    start = time.perf_counter()
    skin_of(part.casting), skin_of(part.finished)
    print(f"skins of both solids, shared with the stock: {time.perf_counter() - start:.2f} s")
    taken: dict[int, tuple[float, float]] = {}
    for count in COUNTS:
        rows = table(part, count)
        wall, processor = min(by_proof(part, settings, rows) for _ in range(3 if count == COUNTS[0] else 1))
        taken[count] = wall, processor
        print(f"{count:4} rows: proof {wall:6.2f} s wall, {processor:6.2f} s processor", end="", flush=True)
        if count == COUNTS[0]:
            print(f"; bare cuts by the CAD kernel {by_kernel(part, sweeps_of([rows])):6.2f} s", end="")
        print()
    first, last = COUNTS[0], COUNTS[-1]
    ratio = taken[last][1] / taken[first][1]
    print(f"limit {LIMIT:g} s for {first} rows; {last} rows took {ratio:.1f} times the processor time, limit {TIMES:g}")
    return int(taken[first][0] > LIMIT or ratio > TIMES)


if __name__ == "__main__":
    sys.exit(main())
