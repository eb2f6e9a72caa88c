"""How long `evenstock make` takes beside the kernel work it cannot do without: run as `python tests/bench/bench_make.py`.

The job is the bundled one as drawn, without readings of a casting. The bare
script imports CadQuery, builds both solids of the footstep housing,
finds the hidden lines of the drawing's four views of both and turns both into
triangles at the chords that `make` uses; nothing else. Both are whole
processes and take turns; of each the quickest round counts, which a busy
machine disturbs least. The limit is 1.5.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

LIMIT = 1.5
ROUNDS = 3
JOB = Path(__file__).resolve().parents[2] / "parts" / "footstep"

BARE = """
import sys, time
marks = [("", time.perf_counter())]
def mark(name): marks.append((name, time.perf_counter()))

import cadquery
mark("import cadquery")
from geom.model.casting import machine
namespace = {"__name__": "bare_model"}
module = sys.modules["bare_model"] = type(sys)("bare_model")
exec(compile(open(sys.argv[1], "rb").read(), "model.py", "exec"), module.__dict__)
parameters = module.Parameters()
rough = module.casting(parameters)
solids = [item.val().wrapped if hasattr(item, "val") else item.shape if hasattr(item, "shape") else item
          for item in (rough, machine(rough, module.features(parameters)))]
mark("build both solids")

from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
from OCP.HLRAlgo import HLRAlgo_Projector
from OCP.HLRBRep import HLRBRep_Algo, HLRBRep_HLRToShape
for eye, across in (((0, -1, 0), (1, 0, 0)), ((0, 0, 1), (1, 0, 0)), ((-1, 0, 0), (0, -1, 0)), ((-1, -1, 1), (1, -1, 0))):
    for shape in solids:
        algorithm = HLRBRep_Algo()
        algorithm.Add(shape)
        algorithm.Projector(HLRAlgo_Projector(gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(*eye), gp_Dir(*across))))
        algorithm.Update()
        algorithm.Hide()
        lines = HLRBRep_HLRToShape(algorithm)
        for find in (lines.VCompound, lines.OutLineVCompound, lines.Rg1LineVCompound, lines.HCompound, lines.OutLineHCompound):
            find()
mark("hidden lines, 4 views of 2 solids")

import math
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools
from geom.tolerance import FACET_ANGLE, PRINT_CHORD, WORK_CHORD
for chord in (WORK_CHORD, PRINT_CHORD):
    for shape in solids:
        BRepTools.Clean_s(shape)
        BRepMesh_IncrementalMesh(shape, chord, False, math.radians(FACET_ANGLE), True)
mark("triangles, 2 chords of 2 solids")
for (_, before), (name, after) in zip(marks, marks[1:]):
    print(f"  {name:36} {after - before:7.2f} s")
"""


@dataclass(frozen=True)
class Run:
    """Wall and processor seconds of one process, and what it printed."""

    wall: float
    processor: float
    printed: str


def timed(command: list[str]) -> Run:
    """Run a command to its end; processor seconds count its own children too (not on Windows, where they read 0)."""
    wall, before = time.perf_counter(), os.times()
    end = subprocess.run(command, capture_output=True, text=True, check=False)
    wall, after = time.perf_counter() - wall, os.times()
    if end.returncode:
        raise SystemExit(f"{' '.join(command[1:4])} ended with {end.returncode}:\n{end.stderr}")
    processor = after.children_user + after.children_system - before.children_user - before.children_system
    return Run(wall, processor, end.stdout)


def main() -> int:
    """Print the quickest rounds and their ratio; 1 when it is over the limit."""
    bare, make = [], []
    with tempfile.TemporaryDirectory() as top:
        job = Path(top, "job")
        job.mkdir()
        for name in ("job.toml", "model.py"):
            shutil.copy(JOB / name, job)
        for number in range(ROUNDS):
            bare.append(timed([sys.executable, "-c", BARE, str(JOB / "model.py")]))
            make.append(timed([sys.executable, "-m", "export.cli", "make", str(job), "--out", f"{top}/{number}", "-q"]))
    print(f"unavoidable kernel work, of which in the last round\n{bare[-1].printed}", end="")
    for what in ("wall", "processor"):
        kernel, whole = (min(getattr(run, what) for run in runs) for runs in (bare, make))
        print(f"{what:9} time: kernel work {kernel:7.2f} s, evenstock make {whole:7.2f} s, {whole / kernel:.2f} times as long")
    ratio = min(run.wall for run in make) / min(run.wall for run in bare)
    print(f"limit {LIMIT} (wall)")
    return 1 if ratio > LIMIT else 0


if __name__ == "__main__":
    sys.exit(main())
