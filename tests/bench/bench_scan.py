"""How long `evenstock place` takes with a scan, file to verdict: run as `python tests/bench/bench_scan.py [largest]`.

The pump cover's casting is meshed, cut finer, given 0.03 mm of noise and moved; each
size is placed by the whole command in a process of its own: program load, both STEP
files, scan, placement, answer. Best of three. Beside it the same job with one caliper
reading instead of a scan, so that the scan's own share shows, the bundled pump cover
with its scan of a warped casting, and the bare reading of the same file, each in a
process of its own and without its imports: by evenstock (welded, checked, its ray tree
built), and by trimesh 4 (welded). Memory is that of the command and its copies together,
pages they share once, seen twenty times a second in one more run. Modules are compiled
before, as in an installed program. Limits at a million triangles: 6 s and 2 GB.

On a busy machine read the processor seconds: the wall's are those of everybody.
"""

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
JOB = ROOT / "parts" / "pump_cover"
SIZES = (10_000, 100_000, 1_000_000, 3_000_000)
TIME_LIMIT, MEMORY_LIMIT = 6.0, 2.0
GAUGED = 1_000_000
RUNS = 3
COMMAND = "import sys; from export.cli import main; sys.argv[0] = 'evenstock'; sys.exit(main())"
TIMED = "import sys, time\n{imports}\nbegan = time.process_time()\n{reading}\nprint(time.process_time() - began)"
OURS = TIMED.format(
    imports="from pathlib import Path\nfrom geom.scan.ahead import with_tree\nfrom geom.scan.file import read_scan_file",
    reading="with_tree(read_scan_file(Path(sys.argv[1]), 'mm'))",
)
THEIRS = TIMED.format(imports="import trimesh", reading="trimesh.load(sys.argv[1])")


def made(path: Path, size: int) -> int:
    """Write a scan of `size` triangles or up to a twentieth more; return how many."""
    from geom.kernel.mesh import tessellate
    from geom.kernel.step import read_step
    from geom.rigid import from_turn
    from tests.scan_files import halved, write_stl

    casting = read_step(JOB / "casting.step")
    cuts = max(0, int(np.floor(np.log(size / 10_000) / np.log(4.0))))
    low, high = np.log(0.02), np.log(2.0)
    for _ in range(14):
        middle = (low + high) / 2.0
        count = len(tessellate(casting, float(np.exp(middle))).triangles) * 4**cuts
        if size <= count <= 1.05 * size:
            break
        low, high = (middle, high) if count > size else (low, middle)
    mesh = tessellate(casting, float(np.exp(middle if count >= size else low)))
    v, t, f = mesh.vertices, mesh.triangles, mesh.face
    for _ in range(cuts):
        v, t, f = halved(v, t, f)
    v = v + np.random.default_rng(1).normal(0.0, 0.03, v.shape)
    write_stl(path, from_turn((50.0, -70.0, 25.0), (30.0, -80.0, 200.0)).points(v), t)
    return len(t)


def job(folder: Path) -> Path:
    """Copy the job without its readings."""
    shutil.copytree(JOB, folder, ignore=shutil.ignore_patterns("readings"))
    (folder / "readings").mkdir()
    return folder


def begun(folder: Path) -> "subprocess.Popen[bytes]":
    """Start the command on a job, in a session of its own."""
    command = [sys.executable, "-c", COMMAND, "place", str(folder), "-q"]
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment |= {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": str(Path(tempfile.gettempdir()) / "evenstock_bench")}
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, env=environment, start_new_session=True)


def placed(folder: Path) -> tuple[float, float]:
    """Return wall and processor seconds of one run of the command."""
    start = time.perf_counter()
    _, status, used = os.wait4(begun(folder).pid, 0)
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        raise SystemExit("the command failed")
    return time.perf_counter() - start, used.ru_utime + used.ru_stime


def best(folder: Path) -> tuple[float, float, float]:
    """Return the least wall and processor seconds of some runs, and the peak memory, GB, of one more."""
    most, process = 0.0, begun(folder)
    while process.poll() is None:
        most = max(most, _memory(process.pid))
        time.sleep(0.05)
    wall, processor = np.array([placed(folder) for _ in range(RUNS)]).min(axis=0).tolist()
    return wall, processor, most


def _memory(session: int) -> float:
    """Return the memory, GB, of all processes of a session: their own pages, one that several share once, and files mapped."""
    own, mapped = 0, 0
    for process in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError, ValueError, IndexError, KeyError):
            if int((process / "stat").read_text().rsplit(")", 1)[1].split()[3]) == session:
                lines = [*(process / "smaps_rollup").read_text().splitlines(), *(process / "status").read_text().splitlines()]
                kilobytes = {line.split(":")[0]: int(line.split()[1]) for line in lines if line.endswith(" kB")}
                own += kilobytes["Pss_Anon"] + kilobytes["Pss_Shmem"]
                mapped = max(mapped, kilobytes["RssFile"])
    return (own + mapped) / 1e6


def read_alone(code: str, path: Path) -> float:
    """Return the least processor seconds that reading a file takes, imports left out."""
    command, environment = [sys.executable, "-c", code, str(path)], {**os.environ, "PYTHONPATH": str(ROOT)}
    return min(float(subprocess.run(command, check=True, capture_output=True, env=environment).stdout) for _ in range(RUNS))


def main(largest: int) -> int:
    """Print a table; 1 when the size of the limits is over them."""
    over = False
    print("                       file to verdict                                  reading alone, processor s")
    print("  triangles  file MB   wall s  processor s  scan's share  times  GB      evenstock  trimesh  verdict / trimesh")
    with tempfile.TemporaryDirectory() as scratch:
        plain = job(Path(scratch) / "plain")
        (plain / "readings" / "thicknesses.csv").write_text("# units: mm\nface a,face b,thickness,at\ntop,bottom,56.9,\n")
        wall, base, peak = best(plain)
        print(f"{'calipers':>11} {'':>8} {wall:8.2f} {base:12.2f} {'':>13} {'':>6} {peak:5.2f}", flush=True)
        wall, processor, peak = best(JOB)
        print(f"{'warped':>11} {'':>8} {wall:8.2f} {processor:12.2f} {processor - base:13.2f} {'':>6} {peak:5.2f}", flush=True)
        before = 0.0
        for size in (size for size in SIZES if size <= largest):
            folder = job(Path(scratch) / str(size))
            path = folder / "readings" / "scan.stl"
            (folder / "readings" / "scan.toml").write_text('file = "scan.stl"\nunit = "mm"\nsigma = "0.05 mm"\n')
            count = made(path, size)
            wall, processor, peak = best(folder)
            ours, theirs = read_alone(OURS, path), read_alone(THEIRS, path)
            grown = f"{processor / before:.2f}" if before else ""
            print(f"{count:11,} {path.stat().st_size / 1e6:8.1f} {wall:8.2f} {processor:12.2f} {processor - base:13.2f}", end=" ")
            print(f"{grown:>6} {peak:5.2f} {ours:13.2f} {theirs:8.2f} {processor / theirs:18.1f}", flush=True)
            before = processor
            over |= size == GAUGED and (wall > TIME_LIMIT or peak > MEMORY_LIMIT)
            shutil.rmtree(folder)
    print(f"limits at {GAUGED:,} triangles: {TIME_LIMIT:g} s and {MEMORY_LIMIT:g} GB; {'over' if over else 'kept'}")
    return int(over)


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    raise SystemExit(main(int(float(sys.argv[1])) if len(sys.argv) > 1 else SIZES[-1]))
