"""How fast stock rays are beside the CAD kernel's own intersector: run as `python tests/bench/bench_rays.py`.

From points spread over the finished faces of a bundled part, along their
normals, to the casting's skin; and from points in the casting in random
directions. Both sides answer the same rays in turns, in one process; rates,
ratio and the largest difference are printed. The limit is 100 times, at the
same answers: no difference above a hundred-thousandth of a millimetre, a
grazing ray in 10 000 apart. Spline faces read as cones and cylinders
(`tolerance.SPLINE_FIT`) are compared apart.
"""

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

from geom.kernel.shape import Solid
from geom.kernel.step import read_step
from geom.model.model import load_model
from geom.rays.analytic import Floats
from geom.rays.rays import Skin
from geom.rays.sample import surface_samples

LIMIT = 100.0
SAME = 1e-5
GRAZING = 1e-4
ROUNDS = 5
FEW, MANY = 1500, 60_000
PARTS = Path(__file__).resolve().parents[2] / "parts"


def footstep() -> tuple[Solid, Solid]:
    """Finished part and casting of the bundled housing: 118 faces, 38 of them free-form."""
    built = load_model(PARTS / "footstep" / "model.py", {}, "mm", "footstep")
    return built.finished, built.casting


def cover() -> tuple[Solid, Solid]:
    """The bundled STEP pair."""
    return read_step(PARTS / "pump_cover" / "finished.step"), read_step(PARTS / "pump_cover" / "casting.step")


def by_kernel(solid: Solid) -> Callable[[Floats, Floats], Floats]:
    """The kernel's nearest crossing ahead of each ray, by the faster of its two calls; inf where there is none."""
    finder = IntCurvesFace_ShapeIntersector()
    finder.Load(solid.shape, 1e-7)

    def first(origins: Floats, ways: Floats) -> Floats:
        found = np.full(len(origins), np.inf)
        for i, (o, d) in enumerate(zip(origins.tolist(), ways.tolist(), strict=True)):
            finder.Perform(gp_Lin(gp_Pnt(*o), gp_Dir(*d)), 0.0, 1e4)
            found[i] = min((finder.WParameter(k) for k in range(1, finder.NbPnt() + 1)), default=np.inf)
        return found

    return first


def stock_rays(finished: Solid) -> tuple[Floats, Floats]:
    """From 0.1 mm under the finished faces, outward."""
    samples = surface_samples(finished, 1.0)
    rows = np.random.default_rng(1).permutation(np.flatnonzero(samples.area > 0))[:MANY]
    return samples.points[rows] - 0.1 * samples.normals[rows], samples.normals[rows]


def random_rays(skin: Skin, solid: Solid) -> tuple[Floats, Floats]:
    """From points in the metal, every way."""
    rng = np.random.default_rng(2)
    points = rng.uniform(*np.array(solid.box), (6 * MANY, 3))
    points = points[skin.inside(points)][:MANY]
    ways = rng.normal(size=points.shape)
    return points, ways / np.linalg.norm(ways, axis=1)[:, None]


def rate(work: Callable[[], object], count: int) -> float:
    """Rays a second of one run."""
    start = time.perf_counter()
    work()
    return count / (time.perf_counter() - start)


def compared(name: str, skin: Skin, kernel: Callable[[Floats, Floats], Floats], origins: Floats, ways: Floats) -> bool:
    """Print one line; return whether the limits are kept."""
    own, theirs = [], []
    for _ in range(ROUNDS):
        own.append(rate(lambda: skin.first(origins, ways), len(origins)))
        theirs.append(rate(lambda: kernel(origins[:FEW], ways[:FEW]), FEW))
    hits, due = skin.first(origins[:FEW], ways[:FEW]), kernel(origins[:FEW], ways[:FEW])
    with np.errstate(invalid="ignore"):
        gap = np.where(hits.distance == due, 0.0, np.abs(hits.distance - due))
    assert skin.solid is not None
    read = np.array([s.recovered for s in skin.solid.surfaces])[hits.face] & (hits.face >= 0)
    apart = int((gap[~read] > SAME).sum())
    ours, kernels = statistics.median(own), statistics.median(theirs)
    print(f"{name:24} {ours:9,.0f} rays/s, kernel {kernels:6,.0f} rays/s: {ours / kernels:4.0f} times")
    print(
        f"  largest difference {gap[~read & (gap <= SAME)].max():.1e} mm, {apart} of {FEW} rays apart; "
        f"{gap[read].max(initial=0.0):.1e} mm on splines read as cones or cylinders"
    )
    return ours >= LIMIT * kernels and apart <= max(1, GRAZING * FEW)


def main() -> int:
    """Print a line for each part and kind of ray; 1 when a limit is not kept."""
    kept = []
    for name, build in (("footstep housing", footstep), ("pump cover", cover)):
        finished, casting = build()
        skin, kernel = Skin(casting), by_kernel(casting)
        kept.append(compared(f"{name}, stock", skin, kernel, *stock_rays(finished)))
        kept.append(compared(f"{name}, random", skin, kernel, *random_rays(skin, casting)))
    print(f"limit {LIMIT:.0f} times: {'kept' if all(kept) else 'NOT KEPT'}")
    return int(not all(kept))


if __name__ == "__main__":
    sys.exit(main())
