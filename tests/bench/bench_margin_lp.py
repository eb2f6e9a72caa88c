"""The margin program on a million rows, beside one direct call of HiGHS on all of them: `python tests/bench/bench_margin_lp.py`.

Rows as a scan gives them: points on six faces of a block, 0.1 mm of noise. Both in one process, one after the other; times and
the difference of the optima are printed. Wanted: at least 50 times faster, the same optimum to 1e-6 mm.
"""

import sys
import time

import numpy as np

from geom.place.margin_lp import Rows, best_margin, direct_margin

SPEED, SAME = 50.0, 1e-6
SIZE = np.array([120.0, 80.0, 50.0])
ROUNDS = 3


def scan_rows(count: int, seed: int = 1) -> Rows:
    """Return stock over six faces of a block whose casting is shifted, turned, drafted a little and rough."""
    rng = np.random.default_rng(seed)
    face = rng.integers(0, 6, count)
    axis, side = face // 2, 2.0 * (face % 2) - 1.0
    points = rng.uniform(-0.5, 0.5, (count, 3)) * SIZE
    rows = np.arange(count)
    points[rows, axis] = side * SIZE[axis] / 2.0
    normals = np.zeros((count, 3))
    normals[rows, axis] = side
    rate = -np.concatenate([normals, np.cross(points, normals) / np.linalg.norm(SIZE)], axis=1)
    off = np.array([0.8, -0.5, 0.3, 0.4, -0.3, 0.6])
    stock = 3.0 - rate @ off + 0.01 * points[:, 2] * (axis != 2) + 0.1 * rng.standard_normal(count)
    return Rows(stock, rate, np.ones(count))


def main() -> int:
    """Print a table; return 0 when both limits hold at a million rows."""
    low, high = np.full(6, -6.0), np.full(6, 6.0)
    good = True
    print("      rows   active set   direct   times faster   difference of optima")
    for count in (10_000, 100_000, 1_000_000):
        rows = scan_rows(count)
        best_margin(rows, low, high)
        times = []
        for _ in range(ROUNDS):
            start = time.perf_counter()
            found = best_margin(rows, low, high)
            times.append(time.perf_counter() - start)
        start = time.perf_counter()
        direct = direct_margin(rows, low, high)
        slow, fast = time.perf_counter() - start, sorted(times)[ROUNDS // 2]
        gap = abs(found.margin - direct.margin)
        print(f"{count:10,} {1e3 * fast:9.1f} ms {slow:6.2f} s {slow / fast:11.0f} x {gap:16.1e} mm")
        good = gap <= SAME and (count < 1_000_000 or slow / fast >= SPEED)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
