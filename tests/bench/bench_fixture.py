"""How long a nest takes beyond the model load: run as `python -m tests.bench.bench_fixture [triangles of the scan]`.

The nest of the first set-up of each bundled job, from the casting as drawn, and of the pump cover from a
scan of a million triangles (made as `bench_scan` does). Beside it the bare thing: the casting less the
block by one mesh boolean, which gives a trap and no pads. Limits: 3 s as drawn; 15 s and 3 GB from the
scan, the placing of it included.
"""

import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from geom.datum.zero import resolve_zero
from geom.fixture.fixture import Fixture
from geom.fixture.loaded import loaded
from geom.fixture.making import USUAL
from geom.fixture.nest import nest
from geom.job import Job, measure_stock, open_job, placements, planned
from geom.kernel.mesh import tessellate
from geom.rays.body import block, body_of
from geom.rows.plan import Plan
from geom.settings.load import load_settings
from tests.bench.bench_scan import job as without_readings
from tests.bench.bench_scan import made

PARTS = Path(__file__).resolve().parents[2] / "parts"
DRAWN, SCANNED, MEMORY = 3.0, 15.0, 3.0


def opened(folder: Path) -> tuple[Job, Plan]:
    """Return a job and its plan."""
    one = open_job(load_settings(folder))
    plan = planned(one, resolve_zero(one.part, one.settings.datum), measure_stock(one))
    assert isinstance(plan, Plan)
    return one, plan


def drawn(name: str) -> float:
    """Print a line for a job as drawn; return the seconds of its nest."""
    one, plan = opened(PARTS / name)
    start = time.process_time()
    work = loaded(one.part, plan.setups[0], (), USUAL.chord, one.settings.parting)
    found = nest(work, one.settings.tooling.vise, USUAL)
    spent = time.process_time() - start
    assert isinstance(found, Fixture)
    start = time.process_time()
    body = body_of(tessellate(one.part.casting, USUAL.chord), name)
    low, high = body.box
    assert (block(low, (high[0], high[1], 0.5 * (low[2] + high[2]))) - body).volume > 0
    bare = time.process_time() - start
    print(f"{name:12} {len(work.mesh.triangles):8} {spent:8.2f} {bare:14.2f} {spent / bare:6.1f}")
    return spent


def scanned(size: int) -> tuple[float, float]:
    """Print a line for the pump cover from a scan; return seconds, placing included, and the peak memory, GB."""
    one, plan = opened(PARTS / "pump_cover")
    with tempfile.TemporaryDirectory() as scratch:
        folder = without_readings(Path(scratch) / "cover")
        count = made(folder / "readings" / "scan.stl", size)
        (folder / "readings" / "scan.toml").write_text('file = "scan.stl"\nunit = "mm"\nsigma = "0.05 mm"\n')
        start = time.process_time()
        there = replace(one, settings=load_settings(folder))
        placed = placements(there)[0]
        at = time.process_time()
        work = loaded(one.part, plan.setups[0], (), USUAL.chord, -3.5, placed.placement.pose, placed.received.scan)
        found = nest(work, one.settings.tooling.vise, USUAL)
    assert isinstance(found, Fixture), found
    spent, peak = time.process_time() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{'scan':12} {count:8} {spent:8.2f}, of which placing {at - start:.2f}; peak {peak:.2f} GB")
    return spent, peak


def main(size: int) -> int:
    """Print a table; 1 when a limit is broken."""
    print(f"{'job':12} {'facets':>8} {'nest s':>8} {'bare boolean s':>14} {'times':>6}")
    slowest = max(drawn(name) for name in ("footstep", "bell_crank", "pump_cover"))
    spent, peak = scanned(size)
    good = slowest <= DRAWN and spent <= SCANNED and peak <= MEMORY
    print(f"limits {DRAWN:g} s as drawn, {SCANNED:g} s and {MEMORY:g} GB from the scan: {'kept' if good else 'broken'}")
    return int(not good)


if __name__ == "__main__":
    raise SystemExit(main(int(float(sys.argv[1])) if len(sys.argv) > 1 else 1_000_000))
