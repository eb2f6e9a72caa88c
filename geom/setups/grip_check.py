"""Whether the clamps hold against the cut: needed clamp force beside what vise or straps give. A caution, no certificate.

Forces N, lengths mm. The published friction table is for a jaw on the work;
straps on a table are judged by it too. Knows nothing of how strong work or
clamps are.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from geom.cutters.cutter_choice import Choice, choose_boring, choose_end_mill, choose_face_mill
from geom.cutters.cutting_data import CutData, speed_feed
from geom.kernel.extent import face_box
from geom.model.part import Part, PartFace, PartHole
from geom.rays.rays import facets_box
from geom.rows.plan import Hold, PlannedSetup
from geom.settings.records import Settings
from geom.shop.records import Cutter, Vise
from geom.space import dot
from geom.standards.alloy import Alloy, alloy
from geom.standards.cutting import Jaw, Surface, jaw_friction
from geom.stock.report import StockReport

SAFETY: Final = 2.0
"""Clamp force over what friction alone would need, at least. Source: the friction table's own note (2 or more)."""

_LEVEL: Final = 0.7
"""Cosine above which a face counts as looking up."""


@dataclass(frozen=True, slots=True)
class Grip:
    """What one cut asks of the clamps.

    Attributes:
        feature, cutter: the cut, by the name of what it makes and of the cutter.
        force: that it pushes the work sideways with; a drill's is its torque over half of the length that is gripped.
        friction: coefficient between work and jaw, or work and strap or table: the least of the faces that hold.
        safety: what the needed force counts.
        needed: clamp force for all of it.
        stated: force that the clamps give; None for studs and screws through the work, which state none.
        tips_at: height over the seat, mm, of a cut so high that the work tips before it slips; None where it slips first.
        milled: it is taken in passes, which can be less deep; a drill's cut is what it is.
        straps: how many give it; 0 for the vise.
    """

    feature: str
    cutter: str
    force: float
    friction: float
    safety: float
    needed: float
    stated: float | None
    tips_at: float | None = None
    milled: bool = True
    straps: int = 0

    @property
    def enough(self) -> bool | None:
        """Whether the clamps give that much; None where nothing is stated."""
        return None if self.stated is None else self.stated >= self.needed


def grip_words(grip: Grip, units: Literal["mm", "inch"] = "mm") -> str:
    """Return the caution for the sheet, a sentence without its full stop; forces in N, or in pounds on an inch sheet."""
    full = " at its full depth" if grip.milled and grip.enough is False else ""
    cut = f"the heaviest cut, {grip.feature} with the {grip.cutter}, pushes with up to {_force(grip.force, units)}{full}"
    if grip.tips_at is not None:
        high = f"{grip.tips_at / 25.4:.1f} in" if units == "inch" else f"{grip.tips_at:.0f} mm"
        cut = f"{cut}, {high} over the seat, where the work tips before it slips"
    wants = (
        f"at friction {grip.friction:.2f} and a safety of {grip.safety:g} that wants a clamp force of {_force(grip.needed, units)}"
    )
    if grip.stated is None:
        return f"{cut}; {wants} in all: spread it over the studs, and set a stop against the push"
    by = f"{grip.straps} strap{'s give' if grip.straps > 1 else ' gives'}" if grip.straps else "the vise gives"
    gives = f"{by} {_force(grip.stated, units)}"
    if grip.enough:
        return f"{cut}; {wants}, {gives}"
    if not grip.milled:
        return f"{cut}; {wants}, {gives}: set a stop against the push"
    share = f"{math.floor(100.0 * grip.stated / grip.needed)} %"
    return f"{cut}; {wants}, {gives}: its passes go no deeper than {share} of that, and a stop against the push helps"


def with_grip(cautions: Sequence[str], grips: Sequence[Grip], units: Literal["mm", "inch"] = "mm") -> tuple[str, ...]:
    """Return a set-up's cautions and the word on its hardest cut: first where the vise gives too little, else last."""
    if not grips:
        return tuple(cautions)
    told = grip_words(grips[0], units)
    return (told, *cautions) if grips[0].enough is False else (*cautions, told)


def _force(newton: float, units: str) -> str:
    """Return a force to two figures, rounded up: 640 N, 11 kN, 150 lbf."""
    value, small, large = (newton / _LBF, "lbf", "lbf") if units == "inch" else (newton, "N", "kN")
    if value <= 0.0:
        return f"0 {small}"
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    up = math.ceil(value / step - 1e-9) * step
    return f"{up / 1000.0:g} {large}" if up >= 1000.0 and large == "kN" else f"{up:g} {small}"


_LBF: Final = 4.4482216152605


def clamp_force(force: float, friction: float, safety: float = SAFETY) -> float:
    """Return the clamp force that holds against a cutting force: safety times force over friction.

    Source: a chuck maker's published clamping table.

    Raises:
        ValueError: friction is not above 0, or safety below 1.
    """
    if not friction > 0.0 or safety < 1.0:
        raise ValueError(f"friction {friction} must be above 0 and safety {safety} at least 1")
    return safety * force / friction


def grips_of(planned: PlannedSetup, part: Part, settings: Settings, stock: StockReport) -> tuple[Grip, ...]:
    """Return what each cut of a set-up asks of the clamps, the hardest first; none where no table gives the alloy's force, and
    none of a printed nest, which nothing rates."""
    found = _grips(planned, part, settings, stock)
    return tuple(sorted(found, key=lambda grip: (-round(grip.needed, 6), grip.feature)))


def _grips(planned: PlannedSetup, part: Part, settings: Settings, stock: StockReport) -> Iterator[Grip]:
    if planned.hold.method == "nest":
        return
    metal = alloy(part.alloy, "part.alloy")
    friction = hold_friction(planned.hold, metal, settings.tooling.vise.jaw)
    stated, straps = held_with(planned.hold, settings.tooling.vise), straps_of(planned.hold)
    for name in planned.features:
        for cutter, force in _forces(name, planned, part, metal, settings, stock):
            slips = clamp_force(force, friction)
            high, tips = _tipping(name, force, friction, planned, part)
            tips_at, milled = high if tips > slips else None, cutter.kind != "drill"
            yield Grip(name, cutter.name, force, friction, SAFETY, max(slips, tips), stated, tips_at, milled, straps)


def straps_of(hold: Hold) -> int:
    """Return how many strap clamps press on the work; 0 for every other way to hold it."""
    return sum(box.name.startswith("strap ") for box in hold.boxes) if hold.method in ("table", "angle plate") else 0


def held_with(hold: Hold, vise: Vise) -> float | None:
    """Return the force, N, that the clamps hold the work with: the vise's, or all straps'; None where none is stated."""
    if hold.method == "vise":
        return vise.force
    return straps_of(hold) * vise.strap_force or None


def most_pushes(planned: PlannedSetup, part: Part, settings: Settings) -> dict[str, float]:
    """Return the cutting force, N, up to which the clamps hold the work at each feature; none where no clamp force is stated.

    A bore's is its torque over half of the length that is gripped, as a drill's.
    """
    stated = held_with(planned.hold, settings.tooling.vise)
    if stated is None:
        return {}
    friction = hold_friction(planned.hold, alloy(part.alloy, "part.alloy"), settings.tooling.vise.jaw)
    a_newton = clamp_force(1.0, friction)
    return {name: stated / max(a_newton, _tipping(name, 1.0, friction, planned, part)[1]) for name in planned.features}


def tipping_force(force: float, height: float, half_seat: float, friction: float, safety: float = SAFETY) -> float:
    """Return the clamp force that keeps work between two jaws from tipping along them over the end of its seat.

    Both jaws' friction holds the work down at the middle of the seat: 2 friction force half_seat >= safety push height.
    Source: moments about the seat's end (statics); the work's weight and the jaws' length are left out, so it is on the safe side.

    Args:
        height: of the cut over the seat, mm.
        half_seat: half of the seat's length along the jaws, mm.

    Raises:
        ValueError: friction or half_seat is not above 0.
    """
    if not friction > 0.0 or not half_seat > 0.0:
        raise ValueError(f"friction {friction} and half of the seat {half_seat} must be above 0")
    return safety * force * max(height, 0.0) / (2.0 * friction * half_seat)


def _tipping(name: str, force: float, friction: float, planned: PlannedSetup, part: Part) -> tuple[float, float]:
    """Return how high over the seat a plane is cut in the vise, and the clamp force against tipping; 0 where it cannot tip so."""
    face = next((f for f in part.faces if f.name == name and f.kind == "plane" and f.hole is None), None)
    under = _seat(planned.hold) if planned.hold.method == "vise" else None
    if face is None or under is None:
        return 0.0, 0.0
    level, half = under
    height = face_box(part.finished, face.surfaces, planned.frame)[1][2] - level
    return height, tipping_force(force, height, half, friction)


def _seat(hold: Hold) -> tuple[float, float] | None:
    """Return the height of the seat and half of its length along the jaws; None where the plan does not say.

    Work on a ridge turns about it: what holds is the friction of the patch above it, at half of the grip or further.
    """
    if hold.on_ridge:
        return hold.rests[0][2], 0.5 * hold.grip
    spots = [(x, z) for x, _, z in hold.rests]
    spots += [(x, box.high[2]) for box in hold.boxes if box.name.startswith("parallel") for x in (box.low[0], box.high[0])]
    if not spots:
        return None
    along = [x for x, _, _ in hold.rests] or [x for x, _ in spots]
    half = 0.5 * (max(along) - min(along))
    return (max(z for _, z in spots), half) if half > 0.0 else None


def hold_friction(hold: Hold, metal: Alloy, jaw: Jaw) -> float:
    """Return the least friction of the faces that hold the work; soft packing, straps and the table count as smooth."""
    smooth = hold.method != "vise" or any(one.place != "seat" for one in hold.packing)
    places = ("fixed jaw", "clamp") if hold.method == "vise" else ("seat", "clamp")
    surfaces: list[Surface] = ["machined" if place in hold.machined else "rough" for place in places]
    return min(jaw_friction(metal, surface, "smooth" if smooth else jaw) for surface in surfaces)


# --- forces -----------------------------------------------------------------


def _forces(
    name: str, planned: PlannedSetup, part: Part, metal: Alloy, settings: Settings, stock: StockReport
) -> Iterator[tuple[Cutter, float]]:
    hole = next((h for h in part.holes if h.name == name), None)
    if hole is not None:
        yield from _round(hole, planned, part, metal, settings)
        return
    face = next((f for f in part.faces if f.name == name and f.state != "hole"), None)
    if face is not None and face.kind == "plane" and face.normal is not None:
        yield from _milling(face, planned, part, metal, settings, stock)


def _milling(
    face: PartFace, planned: PlannedSetup, part: Part, metal: Alloy, settings: Settings, stock: StockReport
) -> Iterator[tuple[Cutter, float]]:
    """Yield the cutter, that of the rows if there are any, and its force at the deepest cut: what it bears, or all of the stock."""
    shop, level = settings.tooling, dot(face.axis, planned.up) > _LEVEL
    low, high = face_box(part.finished, face.surfaces, planned.frame)
    named = dict(planned.milled).get(face.name)
    cutter = next((one for one in shop.cutters if one.name == named), None)
    if cutter is None:
        found = (
            choose_face_mill(shop, min(high[0] - low[0], high[1] - low[1]))
            if level
            else choose_end_mill(shop, depth=high[2] - low[2], prefer=settings.shop.cutter)
        )
        if not isinstance(found, Choice):
            return
        cutter = found.cutter
    data = speed_feed(shop, metal, cutter, "face" if level else "edge")
    if isinstance(data, CutData) and data.load.force is not None and data.load.depth > 0.0:
        there = max((f.stock.max for f in stock.faces if f.name == face.name), default=data.load.depth)
        share = min(1.0, max(there, 0.0) / data.load.depth) if level else 1.0
        yield cutter, share * data.load.force


def _round(hole: PartHole, planned: PlannedSetup, part: Part, metal: Alloy, settings: Settings) -> Iterator[tuple[Cutter, float]]:
    """Yield what opens the hole, and its torque over half of the length that is gripped: the widest drill, or a boring head
    where a core left a hole."""
    shop = settings.tooling
    drills = [cutter for cutter in shop.of("drill") if cutter.diameter <= hole.diameter + 0.01]
    boring = choose_boring(shop, hole.diameter)
    if hole.source == "core" and isinstance(boring, Choice):
        cutter, data = boring.cutter, speed_feed(shop, metal, boring.cutter, "bore", diameter=hole.diameter, depth=hole.length)
    elif drills:
        cutter, data = drills[-1], speed_feed(shop, metal, drills[-1], "drill", depth=hole.length)
    else:
        return
    if isinstance(data, CutData) and data.load.torque is not None:
        yield cutter, 2000.0 * data.load.torque / gripped(planned, part, shop.vise.jaw_width)


def gripped(planned: PlannedSetup, part: Part, jaw_width: float) -> float:
    """Return the length along X over which the clamps hold the work."""
    low, high = facets_box(part.finished, planned.frame)
    length = high[0] - low[0]
    return min(length, jaw_width) if planned.hold.method == "vise" else length
