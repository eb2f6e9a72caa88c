"""Writes the two STEP files of parts/pump_cover: `python tests/make_pump_cover.py [FOLDER]`.

The job itself holds no code, as if a customer had sent it; this is where its files come
from. Cover of a hand-cranked water pump, aluminium alloy, mm: a flanged plate with a bearing
hub, six M6 screws and two dowels on one circle, and a recess left as cast over the impeller.
Moulded hub up, parted at the joint face. Axes: Z out of the pump, joint face at Z 0.
"""

import sys
from pathlib import Path
from typing import Any

import cadquery as cq

from geom.kernel.edges import Edge
from geom.kernel.step import write_step
from geom.model.casting import below, cored, drafted, drafted_round, fused, is_outer, is_root, less, machine, rounded
from geom.model.feature import Boss, Face, Feature, bore, hole
from geom.model.hole_pattern import on_circle

FOLDER = Path(__file__).resolve().parent.parent / "parts" / "pump_cover"

UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)
HEIGHT, PLATE, RECESS = 50.0, 14.0, 6.0
FLANGE, HUB, IMPELLER, SCREWS = 170.0, 82.0, 120.0, 150.0
DRAFT, ROOT, RIM, STOCK = 2.0, 4.0, 2.0, 3.5
RIBS, RIB, RIB_TOE = (90.0, 210.0, 330.0), 10.0, 62.0
BEARING, SEAL, SHAFT, CORE = (52.0, 17.0), (47.0, 27.0), 30.0, 24.0

MAIN = bore("shaft bore", f"bored {SHAFT:g} H8", (0.0, 0.0, HEIGHT), UP, steps=[BEARING, SEAL], core=CORE)


def features() -> list[Feature]:
    """Return what is machined; the names stay here, a STEP file carries none."""
    screws = on_circle(hole("screw", "clearance M6 medium", (0.0, 0.0, PLATE), UP), 6, SCREWS)
    dowels = on_circle(hole("dowel", "reamed 6 H7", (0.0, 0.0, PLATE), UP), 2, SCREWS, start=30.0)
    return [Face("joint", (0.0, 0.0, 0.0), DOWN), Boss("hub", (0.0, 0.0, HEIGHT), UP, HUB), MAIN, *screws, *dowels]


def casting() -> Any:
    """Return the rough casting."""
    body = rounded(fused(_flange(), _hub(), *(_rib(turn) for turn in RIBS)), ROOT, is_root, "root fillets")
    return cored(less(body, _recess()), MAIN)


def _flange() -> Any:
    flange = drafted_round((0.0, 0.0, -STOCK), UP, FLANGE, PLATE + STOCK, draft=DRAFT)
    return rounded(flange, RIM, lambda edge: edge.low[2] > PLATE - 0.1, "rim of the flange")


def _hub() -> Any:
    hub = drafted_round((0.0, 0.0, 0.0), UP, HUB, HEIGHT + STOCK, draft=DRAFT)
    return rounded(hub, RIM, lambda edge: edge.low[2] > HEIGHT, "rim of the hub")


def _recess() -> Any:
    """Green sand stands in it, so it narrows upwards, and its floor edge is round."""
    sand = drafted_round((0.0, 0.0, -STOCK), UP, IMPELLER, RECESS + STOCK, draft=DRAFT)
    return rounded(sand, RIM, lambda edge: edge.low[2] > 0.0, "floor of the recess")


def _rib(turn: float) -> Any:
    """A gusset on the flange, its back sloping down from the hub."""
    long = RIB_TOE + 6.0
    plan = cq.Workplane("XY").center(long / 2, 0.0).rect(long, RIB)
    block = drafted(plan, 0.75 * HEIGHT, draft=DRAFT)
    heel = HUB / 2 - 4.0
    slope = below(block, (heel, 0.0, 0.75 * HEIGHT), (0.75 * HEIGHT - PLATE, 0.0, RIB_TOE - heel))
    return rounded(slope, RIM, lambda edge: is_outer(edge) and _runs_down(edge), "back of a rib").rotate((0, 0, 0), (0, 0, 1), turn)


def _runs_down(edge: Edge) -> bool:
    dx, dz = edge.high[0] - edge.low[0], edge.high[2] - edge.low[2]
    return dz > 10.0 and dx > 5.0 and abs(edge.middle[1]) > 1.0


def main(folder: Path = FOLDER) -> None:
    """Write both files into a folder."""
    rough = casting()
    write_step(rough.val().wrapped, folder / "casting.step")
    write_step(machine(rough, features()).val().wrapped, folder / "finished.step")


if __name__ == "__main__":
    main(*(Path(name) for name in sys.argv[1:2]))
