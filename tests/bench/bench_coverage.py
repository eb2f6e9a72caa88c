"""How often the stated 95 % interval of the least margin holds the truth: `python -m tests.bench.bench_coverage [draws]`.

A 60 x 40 x 30 block machined all over; four touches on each raw face with 0.05 mm of noise, in a measuring frame that
stands askew. The truth is closed form: the gap from the corners of the placed part's faces, 1 mm in, to the casting's
true planes. Two kinds of casting:

- a new one each draw, its six planes off and leaning as its tolerance grade says: this is what 95 % means, casting and
  noise both drawn, and 93 to 97 % over 2,000 draws are wanted;
- one and the same casting, new noise each draw (a quarter as many draws): told, not judged. An interval that counts on the
  grade holds 95 % over the castings of that grade; over the readings of one of them it may hold more or less.

Recorded with one lean for all planes (seed 20260101): 95.0 % of 2,000 draws for the first kind (2.9 % had less than said,
2.1 % more), interval 0.137 mm wide; 88.8 % of 500 for the second (0.8 % less, 10.4 % more), 0.134 mm: that casting leans
less than its grade expects. The block has no roundings and no parting plane.
"""

import sys
from dataclasses import dataclass

import numpy as np

from geom.model.part import Part
from geom.place.placement import Placement
from geom.place.solve import place
from geom.readings.records import Readings, Touch
from geom.received.casting import AsReceived, receive
from geom.received.faces import walls_of
from geom.recognise.part import recognise
from geom.rigid import Rigid, from_turn
from geom.stock.required import Need
from geom.tolerance import EDGE_BAND
from tests.catalogue import block_in_block

SIZE, STOCK, NOISE, RADIUS, GRADE = np.array([60.0, 40.0, 30.0]), 3.0, 0.05, 2.0, 11
AT = from_turn((1.0, -2.0, 31.0), (140.0, 60.0, -25.0))
NAMES = {(0, 0): "left", (0, 1): "right", (1, 0): "front", (1, 1): "back", (2, 0): "bottom", (2, 1): "top"}
FIXED = {
    "left": (0.5, 0.004, -0.003),
    "right": (-0.3, 0.002, 0.004),
    "front": (0.2, -0.003, 0.002),
    "back": (0.4, 0.001, -0.004),
    "bottom": (-0.2, 0.003, 0.003),
    "top": (0.3, -0.002, 0.002),
}
"""Offset of each true plane, mm outward at its middle, and its slopes along the two other axes, mm per mm."""


@dataclass(frozen=True, slots=True)
class Plane:
    """A true plane of the casting: a point, its outward unit normal, and the drawn one."""

    point: np.ndarray
    normal: np.ndarray
    axis: int
    side: int


def planes(casting: dict[str, tuple[float, float, float]]) -> dict[str, Plane]:
    """Return the casting's true planes in the part frame."""
    found = {}
    for (axis, side), name in NAMES.items():
        off, *slopes = casting[name]
        out = np.zeros(3)
        out[axis] = 2.0 * side - 1.0
        middle = SIZE / 2.0
        middle[axis] = side * SIZE[axis] + out[axis] * (STOCK + off)
        normal = out.copy()
        for other, slope in zip([i for i in range(3) if i != axis], slopes, strict=True):
            normal[other] = -slope
        found[name] = Plane(middle, normal / np.linalg.norm(normal), axis, side)
    return found


def touches(true: dict[str, Plane], rng: np.random.Generator) -> tuple[Touch, ...]:
    """Return four touches on each plane, as the readout of a machine that stands askew would show them."""
    back, found = AT.inverse(), []
    for name, plane in true.items():
        others = [i for i in range(3) if i != plane.axis]
        for a in (0.15, 0.85):
            for b in (0.2, 0.8):
                spot = np.zeros(3)
                spot[others] = SIZE[others] * (a, b)
                spot[plane.axis] = plane.point[plane.axis]
                spot[plane.axis] -= (spot - plane.point) @ plane.normal / plane.normal[plane.axis]
                tip = spot + (RADIUS + NOISE * rng.standard_normal()) * plane.normal
                found.append(
                    Touch(name, None, back.point(tuple(tip.tolist())), RADIUS, NOISE, f"touches.csv line {len(found) + 2}")
                )
    return tuple(found)


def least(true: dict[str, Plane], move: Rigid) -> float:
    """Return the least gap from the faces of the part, moved, to the true planes."""
    found = np.inf
    for plane in true.values():
        others = [i for i in range(3) if i != plane.axis]
        out = np.zeros(3)
        out[plane.axis] = 2.0 * plane.side - 1.0
        way = np.array(move.direction(tuple(out.tolist())))
        for a in (EDGE_BAND, SIZE[others[0]] - EDGE_BAND):
            for b in (EDGE_BAND, SIZE[others[1]] - EDGE_BAND):
                corner = np.zeros(3)
                corner[plane.axis], corner[others[0]], corner[others[1]] = plane.side * SIZE[plane.axis], a, b
                spot = np.array(move.point(tuple(corner.tolist())))
                found = min(found, float((plane.point - spot) @ plane.normal / (way @ plane.normal)))
    return found


def from_grade(part: Part, rng: np.random.Generator) -> dict[str, tuple[float, float, float]]:
    """Return a casting whose planes lie off as its tolerance grade lets them."""
    walls, found = walls_of(part.casting, GRADE), {}
    for wall in walls.walls:
        normal = np.array(part.casting.surfaces[wall.surfaces[0]].axis)
        axis = int(np.argmax(np.abs(normal)))
        turn = rng.standard_normal(2) * np.array(wall.sigma_turn) / np.array(wall.reach)
        slope = turn[0] * np.array(wall.u) + turn[1] * np.array(wall.v)
        others = [i for i in range(3) if i != axis]
        found[NAMES[axis, int(normal[axis] > 0)]] = (rng.normal() * wall.sigma, float(slope[others[0]]), float(slope[others[1]]))
    return found


def one(
    part: Part, casting: dict[str, tuple[float, float, float]], rng: np.random.Generator
) -> tuple[AsReceived, Placement, float]:
    """Return one draw: the casting as received, the placement, and the true least margin there."""
    true = planes(casting)
    received = receive(part, Readings(touches=touches(true, rng)), grade=GRADE)
    found = place(part, received, {f.name: Need(1.0, 1.0, "face") for f in part.machined})
    return received, found, least(true, AT.after(received.to_part.inverse()).after(found.pose)) - 1.0


def shares(part: Part, draws: int, rng: np.random.Generator, fixed: bool) -> tuple[float, float, float]:
    """Return the shares of truths below and above the interval, and the interval's median width, mm."""
    below, above, widths = 0, 0, []
    for _ in range(draws):
        _, found, truth = one(part, FIXED if fixed else from_grade(part, rng), rng)
        low, high = found.margin_95
        below, above = below + (truth < low), above + (truth > high)
        widths.append(high - low)
    return below / draws, above / draws, float(np.median(widths))


def main(draws: int = 2000) -> int:
    """Print the shares; return 0 when castings of the grade are held as wanted."""
    part = recognise("block", "grey iron", *block_in_block(STOCK))
    rng = np.random.default_rng(20260101)
    print("casting                       draws   held     less than said   more than said   width")
    good = True
    for name, fixed, count in (("new, as its grade says", False, draws), ("one and the same", True, draws // 4)):
        below, above, width = shares(part, count, rng, fixed)
        held = 1.0 - below - above
        print(
            f"{name:28s} {count:6d}  {100 * held:5.1f} % {100 * below:14.1f} % {100 * above:14.1f} % {width:10.3f} mm", flush=True
        )
        good = good and (fixed or 0.93 <= held <= 0.97)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000))
