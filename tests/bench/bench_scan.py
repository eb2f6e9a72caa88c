"""How long a scan takes from its file to a skin in the part frame: run as `python tests/bench/bench_scan.py [largest]`.

The pump cover's casting is meshed, cut finer, given 0.03 mm of noise and moved;
each size is read and laid in a process of its own, so that peak memory is its own.
The drawn skin is built before the clock starts: `stock` needs it anyway, and its
time is shown apart. Limits at a million triangles: 3 s and 2 GB.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
JOB = ROOT / "parts" / "pump_cover"
SIZES = (10_000, 100_000, 1_000_000, 3_000_000)
CHORDS = (0.6, 0.4, 0.3, 0.2, 0.15, 0.1, 0.08, 0.06, 0.05, 0.04, 0.03)
TIME_LIMIT, MEMORY_LIMIT = 3.0, 2.0
GAUGED = 1_000_000


def made(path: Path, size: int) -> int:
    """Write a scan of at least `size` triangles, as near it as a chord and cutting in four allow; return how many."""
    from geom.kernel.mesh import tessellate
    from geom.kernel.step import read_step
    from geom.rigid import from_turn
    from tests.scan_files import halved, write_stl

    casting = read_step(JOB / "casting.step")
    meshes = [tessellate(casting, chord) for chord in CHORDS]
    cuts = [max(0, int(np.ceil(np.log(size / len(m.triangles)) / np.log(4.0)))) for m in meshes]
    best = min(range(len(meshes)), key=lambda i: len(meshes[i].triangles) * 4 ** cuts[i])
    v, t, f = meshes[best].vertices, meshes[best].triangles, meshes[best].face
    for _ in range(cuts[best]):
        v, t, f = halved(v, t, f)
    v = v + np.random.default_rng(1).normal(0.0, 0.03, v.shape)
    write_stl(path, from_turn((50.0, -70.0, 25.0), (30.0, -80.0, 200.0)).points(v), t)
    return len(t)


def timed(path: Path) -> None:
    """Print seconds for the drawn skin, for reading, for laying, and the peak memory, GB."""
    from geom.kernel.step import read_step
    from geom.part import Part
    from geom.rays import skin_of
    from geom.register import register_scan
    from geom.scan_file import read_scan_file

    casting = read_step(JOB / "casting.step")
    times = [time.perf_counter()]
    skin_of(casting)
    times.append(time.perf_counter())
    scan = read_scan_file(path, "mm")
    times.append(time.perf_counter())
    register_scan(Part("pump cover", "grey iron", casting, casting, (), ()), scan)
    times.append(time.perf_counter())
    print(*np.diff(times).tolist(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6)


def main(largest: int) -> int:
    """Print a table; 1 when the size of the limits is over them."""
    over = False
    print("  triangles   file MB   drawn skin s   read s   lay s   file to skin s   us a triangle   peak GB")
    with tempfile.TemporaryDirectory() as folder:
        for size in (size for size in SIZES if size <= largest):
            path = Path(folder) / "scan.stl"
            count = made(path, size)
            command = [sys.executable, str(Path(__file__)), "--time", str(path)]
            answer = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT).stdout.split()
            drawn, read, lay, peak = (float(word) for word in answer)
            whole, megabytes = read + lay, path.stat().st_size / 1e6
            print(f"{count:11,} {megabytes:9.1f} {drawn:14.2f}", end=" ")
            print(f"{read:8.2f} {lay:7.2f} {whole:16.2f} {1e6 * whole / count:15.2f} {peak:9.2f}")
            over |= size == GAUGED and (whole > TIME_LIMIT * count / size or peak > MEMORY_LIMIT)
    print(f"limits at {GAUGED:,} triangles: {TIME_LIMIT:g} s and {MEMORY_LIMIT:g} GB" + ("; over" if over else ""))
    return int(over)


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    if sys.argv[1:2] == ["--time"]:
        timed(Path(sys.argv[2]))
    else:
        raise SystemExit(main(int(float(sys.argv[1])) if len(sys.argv) > 1 else SIZES[-1]))
