"""Processor time of a pattern beside the bare mesh booleans it cannot do without, on the three bundled jobs.

Run: python -m tests.bench.bench_pattern
"""

import time
from pathlib import Path

import numpy as np

from export.prints.mesh import print_mesh
from geom.job import open_job
from geom.pattern.cores import filling
from geom.pattern.pattern import make_pattern
from geom.rays.body import body_of, joined
from geom.settings.load import load_settings

PARTS = Path(__file__).resolve().parents[2] / "parts"


def main() -> None:
    print(f"{'job':12} {'facets':>8} {'mesh s':>8} {'pattern s':>10} {'booleans s':>11} {'times':>6}")
    for name in ("footstep", "bell_crank", "pump_cover"):
        settings = load_settings(PARTS / name)
        part = open_job(settings).part
        start = time.process_time()
        mesh = print_mesh(part.casting, "casting", settings.printer.chord).mesh
        meshed = time.process_time()
        found = make_pattern(part, settings, mesh)
        made = time.process_time()
        grown = body_of(mesh, "casting").moved(found.growth * np.eye(3), (0.0, 0.0, 0.0))
        whole = joined([grown, *(filling(core, settings.printer.chord) for core in found.cores)])
        upper, lower = whole.split((0.0, 0.0, 1.0), found.growth * found.parting.z)
        assert upper.volume + lower.volume > 0
        bare = time.process_time() - made
        times = (made - meshed) / bare
        print(f"{name:12} {len(mesh.triangles):8} {meshed - start:8.2f} {made - meshed:10.2f} {bare:11.3f} {times:6.0f}")


if __name__ == "__main__":
    main()
