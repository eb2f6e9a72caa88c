"""Footstep-bearing housing for the upright shaft of a small water mill: grey iron, mm.

A round body on a three-lobed foot. It holds a flanged bronze bush, kept from turning by a
grub screw; three M10 screws hold it to the mill's floor beam.

Moulded body down, parted at the foot's underside, so that everything draws along Z and
the top, which carries the bush, is cast in the drag. Axes: Z up the bore, base at Z 0,
lobe 1 towards +X, grub-screw boss towards -X.
"""

import math
from dataclasses import dataclass
from typing import Any

import cadquery as cq

from geom.model.casting import below, cored, drafted, drafted_round, fused, is_outer, is_root, rounded
from geom.model.feature import Bore, Face, Feature, bore, hole
from geom.model.hole_pattern import on_circle
from geom.model.model import degrees, mm

UP, DOWN, BACK = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (-1.0, 0.0, 0.0)
LOBES = 3


@dataclass(frozen=True)
class Parameters:
    """Sizes of the finished part, then those of the casting."""

    height: float = mm(100, "over the machined base and top")
    bore: float = mm(40, "H7, for the bush")
    seat_diameter: float = mm(55, "recess for the bush's flange")
    seat_depth: float = mm(10)
    foot_thickness: float = mm(22, "from the base to the as-cast lobe tops")
    foot_circle: float = mm(160, "circle through the three screws")
    boss_height: float = mm(60, "of the grub screw over the base")
    boss_face: float = mm(53.5, "from the bore's axis to the machined boss")

    body_diameter: float = mm(72, "of the casting's skin at its top end")
    waist_radius: float = mm(51, "of the foot between lobes, at the parting plane")
    lobe_radius: float = mm(21, "at the parting plane")
    boss_radius: float = mm(12, "of the boss's round top, as cast")
    rib_thickness: float = mm(16, "at the parting plane")
    draft: float = degrees(2.5)
    root_radius: float = mm(4)
    edge_radius: float = mm(3)
    base_stock: float = mm(5, "cope side: a millimetre more")
    top_stock: float = mm(4)
    bore_stock: float = mm(3.5, "radial; the core is smaller by twice this")
    boss_stock: float = mm(3.5, "at its upper edge; draft adds to it below")


def features(p: Parameters) -> list[Feature]:
    """Return what is machined, named."""
    foot = hole("foot", "counterbore for M10 socket head", (0.0, 0.0, p.foot_thickness), UP)
    grub = hole("grub screw", "tapped M8", (-p.boss_face, 0.0, p.boss_height), BACK, until=p.boss_face - 0.25 * p.bore)
    return [
        Face("base", (0.0, 0.0, 0.0), DOWN),
        Face("top", (0.0, 0.0, p.height), UP),
        _main_bore(p),
        *on_circle(foot, LOBES, p.foot_circle),
        Face("boss face", (-p.boss_face, 0.0, p.boss_height), BACK, corners=_boss_patch(p)),
        grub,
    ]


def _main_bore(p: Parameters) -> Bore:
    seat = (p.seat_diameter, p.seat_depth)
    core = p.bore - 2 * p.bore_stock
    return bore("main bore", f"bored {p.bore:g} H7", (0.0, 0.0, p.height), UP, steps=[seat], core=core)


def _boss_patch(p: Parameters) -> tuple[tuple[float, float, float], ...]:
    """The boss's end runs down to the base, so that it is faced in one pass and leaves no step."""
    half, top = 1.6 * p.boss_radius, p.boss_height + 2.0 * p.boss_radius
    return tuple((-p.boss_face, y, z) for y, z in ((-half, -1.0), (half, -1.0), (half, top), (-half, top)))


def casting(p: Parameters) -> Any:
    """Return the rough casting: plain drafted bodies, their edges rounded, fused, roots filled, cored."""
    ribs = [_rib(p).rotate((0, 0, 0), (0, 0, 1), 360.0 * i / LOBES) for i in range(LOBES)]
    body = fused(_body(p), _foot(p), *ribs, _boss(p))
    return cored(rounded(body, p.root_radius, is_root, "root fillets"), _main_bore(p))


def _lean(p: Parameters, height: float) -> float:
    return height * math.tan(math.radians(p.draft))


def _body(p: Parameters) -> Any:
    length = p.height + p.top_stock + p.base_stock
    body = drafted_round((0.0, 0.0, -p.base_stock), UP, p.body_diameter + 2 * _lean(p, length), length, draft=p.draft)
    return rounded(body, p.edge_radius - 1.0, lambda edge: edge.low[2] > p.height, "top edge of the body")


def _foot(p: Parameters) -> Any:
    """The lobes are joined to the waist in plan, where a radius is sure."""
    reach, width = p.foot_circle / 2, 2 * p.lobe_radius
    plan = cq.Sketch().circle(p.waist_radius)
    for i in range(LOBES):
        turn = 360.0 * i / LOBES
        along = cq.Vector(math.cos(math.radians(turn)), math.sin(math.radians(turn)))
        plan = plan.push([cq.Location(along * (reach / 2), cq.Vector(0, 0, 1), turn)]).rect(reach, width).reset()
        plan = plan.push([cq.Location(along * reach)]).circle(p.lobe_radius).reset()
    plan = plan.clean()
    plan._selection = [v for v in plan.vertices()._selection if math.hypot(v.X, v.Y) < p.waist_radius + 1.0]
    wire = plan.fillet(p.lobe_radius)._faces.Faces()[0].outerWire().translate(cq.Vector(0, 0, -p.base_stock))
    foot = drafted(wire, p.foot_thickness + p.base_stock, draft=p.draft)
    return rounded(foot, p.edge_radius, lambda edge: edge.low[2] > p.foot_thickness - 0.1, "top edge of the foot")


def _rib(p: Parameters) -> Any:
    """A gusset towards lobe 1, its back sloping from the body down to short of the screw head."""
    high, toe = 0.78 * p.height, p.foot_circle / 2 - 24.0
    long = toe + 12.0  # its end stays buried in the foot, so that the slope alone comes out at the toe
    plan = cq.Workplane("XY", origin=(long / 2, 0, -p.base_stock)).rect(long, p.rib_thickness)
    block = drafted(plan, high + p.base_stock, draft=p.draft)
    heel = p.body_diameter / 2 - 2.0
    slope = below(block, (heel, 0.0, high), (high - p.foot_thickness, 0.0, toe - heel))
    return rounded(slope, p.edge_radius - 0.5, lambda edge: is_outer(edge) and _runs_down(edge), "back of a rib")


def _runs_down(edge: Any) -> bool:
    return bool(edge.high[2] - edge.low[2] > 20.0 and edge.high[0] - edge.low[0] > 10.0 and abs(edge.middle[1]) > 1.0)


def _boss(p: Parameters) -> Any:
    """A round-topped pad that runs down to the parting plane, so that it draws."""
    across, rise = (p.boss_radius * f(math.radians(p.draft)) for f in (math.cos, math.sin))
    shoulder = p.boss_height + rise
    bottom = across + _lean(p, shoulder + p.base_stock)
    end = (
        cq.Workplane("YZ")
        .moveTo(across, shoulder)
        .threePointArc((0, p.boss_height + p.boss_radius), (-across, shoulder))
        .lineTo(-bottom, -p.base_stock)
        .lineTo(bottom, -p.base_stock)
        .close()
    )
    skin = p.boss_face + p.boss_stock
    pad = below(end.extrude(-1.3 * skin), (-skin, 0.0, p.boss_height + p.boss_radius), (-across, 0.0, rise))
    return rounded(
        pad, p.edge_radius, lambda edge: is_outer(edge) and edge.high[0] < -p.boss_face and edge.high[2] > 0.0, "edge of the boss"
    )
