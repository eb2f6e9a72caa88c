"""Bell crank for a log splitter's control rod: ductile iron, inch.

Three bosses on two arms: the pivot, which turns on a bush and carries the hand lever's
plate on four screws, the rod boss and the valve boss. Parted through the middle (Z 0),
drafted both ways; the pivot is cored, the pin holes are drilled from solid.
Axes: Z along the pivot bore, rod boss towards +X, valve boss at the odd angle from it.
"""

import math
from dataclasses import dataclass
from typing import Any

import cadquery as cq

from geom.model.casting import cored, drafted, drafted_round, fused, is_outer, is_root, rounded
from geom.model.feature import Bore, Boss, Feature, bore, hole
from geom.model.hole_pattern import on_circle
from geom.model.model import count, degrees, inch
from geom.space import Vec3
from geom.units import MM_PER_INCH

UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)
MIDDLE = (0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Parameters:
    """Sizes of the finished part, then those of the casting; the model gets every length in mm."""

    rod_arm: float = inch("6 1/2", "pivot to rod pin")
    valve_arm: float = inch("4 1/4", "pivot to valve pin")
    angle: float = degrees(107, "from the rod arm to the valve arm, counter-clockwise seen from above")
    pivot_bore: float = inch("1 1/4", "H7, for the bush")
    pin_bore: float = inch("3/4", "H7, both pins")
    pivot_length: float = inch("1 3/4", "over the machined ends")
    pin_length: float = inch("1 1/4", "over the machined ends")
    bolt_circle: float = inch("2 5/8", "of the tapped holes in the pivot's upper end")
    bolts: int = count(4)
    thread_depth: float = inch(1, "of the tap drill, to full diameter")

    pivot_boss: float = inch("3 3/4", "across, at the parting plane")
    pin_boss: float = inch("1 3/4", "across, at the parting plane")
    arm_width: float = inch("2", "at the pivot, at the parting plane")
    arm_end_width: float = inch("1 3/8", "at the pins, at the parting plane")
    arm_thickness: float = inch("3/4")
    draft: float = degrees(2)
    root_radius: float = inch("3/16")
    edge_radius: float = inch("1/8")
    stock: float = inch("5/32", "on every machined end")
    bore_stock: float = inch("1/8", "radial, in the pivot; the core is smaller by twice this")


def features(p: Parameters) -> list[Feature]:
    """Return what is machined, named."""
    bolt = hole("bolt", "tapped 3/8-16 UNC", (0.0, 0.0, p.pivot_length / 2), UP, depth=p.thread_depth, units="inch")
    pins = [("rod", _rod(p)), ("valve", _valve(p))]
    ends = [("pivot", MIDDLE, p.pivot_boss, p.pivot_length), *((name, at, p.pin_boss, p.pin_length) for name, at in pins)]
    faces = [Boss(f"{name} {side}", _at(c, z * long / 2), (0.0, 0.0, z), d) for name, c, d, long in ends for side, z in _SIDES]
    holes = [bore(f"{name} bore", _fit("reamed", p.pin_bore), _at(c, p.pin_length / 2), UP, units="inch") for name, c in pins]
    return [*faces, _pivot_bore(p), *holes, *on_circle(bolt, p.bolts, p.bolt_circle, start=45.0)]


_SIDES = (("top", 1.0), ("bottom", -1.0))


def _pivot_bore(p: Parameters) -> Bore:
    core = p.pivot_bore - 2 * p.bore_stock
    return bore("pivot bore", _fit("bored", p.pivot_bore), _at(MIDDLE, p.pivot_length / 2), UP, core=core, units="inch")


def _fit(how: str, diameter: float) -> str:
    return f"{how} {diameter / MM_PER_INCH:g} in H7"


def _rod(p: Parameters) -> Vec3:
    return (p.rod_arm, 0.0, 0.0)


def _valve(p: Parameters) -> Vec3:
    turn = math.radians(p.angle)
    return (p.valve_arm * math.cos(turn), p.valve_arm * math.sin(turn), 0.0)


def _at(centre: Vec3, height: float) -> Vec3:
    return (centre[0], centre[1], height)


def casting(p: Parameters) -> Any:
    """Return the rough casting: drafted arms and bosses, their edges rounded, fused, roots filled, pivot cored."""
    arms = [_arm(p, p.rod_arm, 0.0), _arm(p, p.valve_arm, p.angle)]
    bosses = [
        _boss(p, MIDDLE, p.pivot_boss, p.pivot_length),
        *(_boss(p, c, p.pin_boss, p.pin_length) for c in (_rod(p), _valve(p))),
    ]
    return cored(rounded(fused(*bosses, *arms), p.root_radius, is_root, "root fillets"), _pivot_bore(p))


def _boss(p: Parameters, centre: Vec3, diameter: float, length: float) -> Any:
    half = length / 2 + p.stock
    boss = drafted_round(centre, UP, diameter, half, half, p.draft)
    return rounded(boss, p.edge_radius, lambda edge: abs(edge.middle[2]) > length / 2, "rim of a boss")


def _arm(p: Parameters, length: float, angle: float) -> Any:
    root, end, half = p.arm_width / 2, p.arm_end_width / 2, p.arm_thickness / 2
    plan = cq.Workplane("XY").polyline([(0, -root), (length, -end), (length, end), (0, root)]).close()
    arm = drafted(plan, half, half, p.draft)
    arm = rounded(arm, p.edge_radius, lambda edge: is_outer(edge) and _is_rim(edge, half), "edges of an arm")
    return arm.rotate((0, 0, 0), (0, 0, 1), angle)


def _is_rim(edge: Any, half: float) -> bool:
    return bool(abs(edge.middle[2]) > half - 0.01 and edge.high[0] - edge.low[0] > 1.0)
