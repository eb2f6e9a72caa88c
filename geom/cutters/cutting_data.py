"""Speeds, feeds, depths and power for one cutter in one alloy on this mill.

The handbook tables say what the cutter may do; the spindle's own speeds and
power say what of it this mill can use. Lengths mm, speeds rpm and m/min, feed
mm/min, power W, torque N m, force N. Knows nothing of where the cut is.

Figures marked common practice have no source; all are upper limits for a
rigid set-up. The machine's manual and your own ears come first.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from geom.cutters.cutter_choice import Lack
from geom.errors import StandardError
from geom.rows.records import Words
from geom.shop.records import Cutter, Mill, Shop
from geom.standards.alloy import Alloy
from geom.standards.cutting import (
    CuttingForce,
    Operation,
    SpeedRange,
    cutting_factor,
    cutting_force,
    cutting_speed,
    deep_hole_factor,
    drill_feed,
    spindle_speed,
    tapping_rpm,
)
from geom.standards.thread import find_thread

Work: TypeAlias = Literal[
    "face", "edge", "slot", "spot-face", "spot", "drill", "flatten", "bore", "counterbore", "countersink", "ream", "tap"
]

_OPERATION: Final[dict[Work, tuple[Operation, float]]] = {
    "face": ("mill", 1.0),
    "edge": ("slot", 1.0),
    "slot": ("slot", 1.0),
    "spot-face": ("slot", 1.0),
    "spot": ("drill", 1.0),
    "drill": ("drill", 1.0),
    "flatten": ("drill", 0.5),
    "bore": ("drill", 1.0),
    "counterbore": ("drill", 0.5),
    "countersink": ("drill", 0.33),
    "ream": ("ream", 1.0),
}
"""Row of the speed table for each kind of work, and what to multiply it by (below 1: common practice, against chatter)."""

_MILLING: Final = ("face", "edge", "slot", "spot-face", "counterbore")

_LIGHT: Final = ("ream", "spot", "countersink")
"""Work that takes so little metal that no power is worked out for it."""

SKIN: Final = 1.5
"""How deep, mm, the first cut of a cast skin goes where there is stock for it, so that the edge works below scale and
sand instead of in them (common practice, no source)."""

FINISH: Final = 0.3
"""mm the last pass takes (common practice)."""

_REAM_FEED: Final = 2.0
"""A reamer's feed as a multiple of a drill's (common practice)."""

_SPOT_FEED: Final = 0.5
_BORE_FEED: Final = 0.06
"""mm a revolution of a boring head in a small mill (common practice)."""

_BORE_DEPTHS: Final = (0.5, 2.5)
"""mm a side: what the smallest boring bar takes, and the most that a small mill's head bears (common practice, no source)."""

_BORE_SHARE: Final = 1.0 / 20.0
"""Depth of a rough boring cut a side, as a share of the diameter that is open (common practice, no source)."""

_HEAD_RPM: Final = 1000.0
"""Most rpm of a boring head: it runs out of balance (common practice, no source)."""

_BAR: Final = (0.7, 25.0)
"""The stoutest boring bar: a share of the diameter that is open, and mm at most (common practice)."""

_STIFF: Final = 5.0
"""Bar diameters a boring bar may reach before its cut is lightened in proportion (common practice)."""

_TAP_SHARE: Final = (0.25, 1.0 / 3.0)
"""Speed of a tap in a manual mill as a share of drilling speed: what is set, and what a spindle without one as slow may
do (common practice, no source)."""

_LEAST_FEED_AT, _MOST_FEED_AT = 3.0, 25.0
"""Cutter diameters, mm, at which a light mill bears the least and the most feed a tooth of the table (common practice)."""

_SLENDER: Final = 4.0
"""Diameters a cutter may reach before its depth of cut is halved: it bends with the cube of its length (common practice)."""

_POINT: Final = math.radians(59.0)
"""Half the point angle of a drill."""


@dataclass(frozen=True, slots=True)
class Load:
    """How much a cut takes and what it costs.

    Attributes:
        feed_tooth: mm a tooth.
        feed_rev: mm a revolution.
        depth: deepest cut: along the axis for milling (0 for drilling), a side for boring.
        width: the width of cut it counts with; a drill's diameter.
        power: at the cutter at that depth, W; None where no table gives the alloy's
            cutting force, and for light work (spot, countersink, ream, tap).
        torque: N m, with it.
        force: along the cut at the cutter's rim, N, with it; what clamps have to hold.
        thrust: down, N, of a drill; 0 otherwise.
        enough: the mill has that power.
    """

    feed_tooth: float
    feed_rev: float
    depth: float
    width: float
    power: float | None
    torque: float | None
    force: float | None
    thrust: float
    enough: bool


@dataclass(frozen=True, slots=True)
class CutData:
    """What to set.

    Attributes:
        rpm: one of the spindle's own speeds.
        speed: cutting speed that gives, m/min.
        feed: mm/min; a tap's is its pitch times rpm.
        load: feeds, depth and power of the cut.
        source: of speed and force.
        notes: what to know.
    """

    rpm: float
    speed: float
    feed: float
    load: Load
    source: str
    notes: tuple[Words, ...] = ()


@dataclass(frozen=True, slots=True)
class Peck:
    """How far a drill goes before it is drawn out, mm, and how often."""

    step: float
    count: int


# --- formulas ---------------------------------------------------------------


def specific_force(force: CuttingForce, chip: float) -> float:
    """Return the specific cutting force, N/mm2, at a chip thickness, mm: kc1.1 h^-mc. Source: Kienzle, VDI 3323 values."""
    return float(force.kc * chip**-force.mc)


def unit_power_force(unit_power: float) -> float:
    """Return the specific cutting force, N/mm2, that a unit power in horsepower per cubic inch a minute stands for.

    396000 in lbf/min is one horsepower; 1 psi is 0.00689476 N/mm2.
    """
    return 396000.0 * unit_power * 4.4482216152605 / 25.4**2


def turning_power(depth: float, feed: float, speed: float, kc: float, efficiency: float = 1.0) -> float:
    """Return the power, W, of a single edge: depth and feed a revolution in mm, speed m/min, kc N/mm2."""
    return depth * feed * speed * kc / 60.0 / efficiency


def milling_power(depth: float, width: float, feed: float, kc: float, efficiency: float = 1.0) -> float:
    """Return the power, W, of a milling cut: depth and width mm, feed mm/min, kc N/mm2."""
    return depth * width * feed * kc / 60000.0 / efficiency


def drill_torque(diameter: float, feed: float, kc: float) -> float:
    """Return a drill's torque, N m: kc f d^2 / 8, with feed a revolution; chisel edge left out."""
    return kc * feed * diameter**2 / 8000.0


def mean_chip(feed_tooth: float, width: float, diameter: float) -> float:
    """Return the mean chip thickness of a milling cut, mm: feed a tooth times the root of width over diameter."""
    return feed_tooth * math.sqrt(min(width / diameter, 1.0))


# --- what this mill does ----------------------------------------------------


def speed_feed(
    shop: Shop,
    alloy: Alloy,
    cutter: Cutter,
    action: Work,
    *,
    diameter: float | None = None,
    depth: float = 0.0,
    width: float | None = None,
    hardness: float | None = None,
) -> CutData | Lack:
    """Return speed, feed and the deepest cut for a cutter.

    Args:
        diameter: what runs at the cutting speed where it is not the cutter's own: a bore, a countersink's mouth.
        depth: of the hole, for drills: deep ones are drilled slower.
        width: of a milling cut; three quarters of the cutter for a face, a quarter for an edge, all of it otherwise.
        hardness: Brinell, where known.

    Returns:
        The figures, or a `Lack` where the published tables say nothing for that alloy and work.
    """
    size = diameter or cutter.diameter
    try:
        if action == "tap":
            return _tapping(shop.mill, alloy, cutter)
        speeds, source = _speeds(alloy, cutter, action, size, depth, hardness)
        feed_rev = _feed_rev(alloy, cutter, action, size)
    except StandardError as missing:
        return Lack((f"speed to {action} {alloy.name}",), None, (str(missing).removeprefix(": "),))
    if action == "bore":
        speeds = (min(speeds[0], _HEAD_RPM), min(speeds[1], _HEAD_RPM))
    rpm, notes = _spindle(shop.mill, speeds)
    force = _force(alloy, hardness)
    load = _loaded(shop.mill, cutter, action, size, rpm, feed_rev, width, force, depth)
    told = source if force is None else f"{source}; {force.source}"
    if not load.enough:
        notes.append((f"needs {load.power or 0.0:.0f} W, the mill has {shop.mill.cutting_power:.0f} W: open the hole up in steps",))
    return CutData(rpm, math.pi * size * rpm / 1000.0, feed_rev * rpm, load, told, tuple(notes))


def spindle_at_most(mill: Mill, rpm: float) -> float:
    """Return the fastest speed of the spindle not above a wish; its slowest when all are."""
    if mill.speed_range:
        return min(max(rpm, mill.slowest), mill.fastest)
    return max((s for s in mill.speeds if s <= rpm + 1e-9), default=mill.slowest)


def depth_limit(cutter: Cutter, width: float) -> float:
    """Return the deepest milling cut of a cutter at a width, mm, power left aside (common practice, no source).

    A slot goes half a diameter deep, a cut up to a quarter of the diameter wide one and a half, between them one;
    never deeper than the flutes; half of it for a cutter that reaches far.
    """
    if cutter.kind == "face mill":
        return cutter.flute_length
    share = width / cutter.diameter
    deep = 0.5 if share > 0.75 else 1.0 if share > 0.25 + 1e-9 else 1.5
    slender = 0.5 if cutter.reach > _SLENDER * cutter.diameter else 1.0
    return min(slender * deep * cutter.diameter, cutter.flute_length)


def bore_depth(diameter: float, deep: float) -> float:
    """Return the deepest rough cut of a boring bar a side, mm, power left aside (common practice, no source).

    Args:
        diameter: that is open for the bar.
        deep: how far down it bores.
    """
    bar = min(_BAR[0] * diameter, _BAR[1])
    stiff = min(_STIFF * bar / deep, 1.0) if deep > 0.0 else 1.0
    least, most = _BORE_DEPTHS
    return min(max(stiff * _BORE_SHARE * diameter, least), most)


def peck(diameter: float, depth: float) -> Peck | None:
    """Return how to peck a hole: from three diameters deep in steps of one, from six of a half (common practice)."""
    ratio = depth / diameter
    if ratio <= 3.0:
        return None
    step = diameter * (0.5 if ratio > 6.0 else 1.0)
    return Peck(step, math.ceil(depth / step - 1e-9))


def pass_depths(stock: float, deepest: float, *, skin: float = 0.0, finish: float = FINISH) -> tuple[float, ...]:
    """Return what each pass takes off a stock, mm; they add up to it.

    Args:
        stock: to take off in all; 0 or less gives no pass.
        deepest: most that one pass takes; above 0.
        skin: the first pass goes at least this deep, as far as stock and cutter let it; 0 on a machined face.
        finish: the last pass, when there is stock for more than one.
    """
    if stock <= 0.0:
        return ()
    first = min(skin, deepest, stock)
    last = min(finish, deepest)
    if stock <= max(first, last) + 1e-9:
        return (stock,)
    rough = stock - last
    if rough <= first:
        return (first, stock - first)
    count = math.ceil(rough / deepest - 1e-9)
    even = rough / count
    if even >= first:
        return (*[even] * count, last)
    rest = rough - first
    more = math.ceil(rest / deepest - 1e-9)
    return (first, *[rest / more] * more, last)


# --- steps ------------------------------------------------------------------


def _speeds(
    alloy: Alloy, cutter: Cutter, action: Work, size: float, depth: float, hardness: float | None
) -> tuple[tuple[float, float], str]:
    """Return the slowest and fastest usual rpm, and their source."""
    operation, share = _OPERATION[action]
    found: SpeedRange = cutting_speed(alloy, operation, "", hardness)
    if cutter.material == "carbide":
        share *= cutting_factor("carbide")[0]
    if action in ("drill", "ream", "bore"):
        share *= deep_hole_factor(depth, size)
    return (spindle_speed(share * found.low, size), spindle_speed(share * found.high, size)), found.source


def _feed_rev(alloy: Alloy, cutter: Cutter, action: Work, size: float) -> float:
    if action == "bore":
        return _BORE_FEED
    if action in _MILLING or action == "countersink":
        return cutter.flutes * _feed_tooth(size)
    feed = drill_feed(alloy, size, "")
    return feed * {"ream": _REAM_FEED, "spot": _SPOT_FEED, "flatten": _SPOT_FEED}.get(action, 1.0)


def _feed_tooth(diameter: float) -> float:
    low, high = cutting_factor("light mill feed per tooth mm")
    share = (diameter - _LEAST_FEED_AT) / (_MOST_FEED_AT - _LEAST_FEED_AT)
    return low + (high - low) * min(max(share, 0.0), 1.0)


def _spindle(mill: Mill, speeds: tuple[float, float]) -> tuple[float, list[Words]]:
    low, high = speeds
    rpm = spindle_at_most(mill, high)
    if rpm > high + 1e-9:
        return rpm, [
            (f"the slowest speed of the spindle, {rpm:.0f}, is above the table's {high:.0f} rpm: the cutter wears sooner",)
        ]
    if rpm < low - 1e-9:
        return rpm, [(f"below the table's {low:.0f} rpm: the spindle has no speed between",)]
    return rpm, []


def _force(alloy: Alloy, hardness: float | None) -> CuttingForce | None:
    try:
        return cutting_force(alloy, "", hardness)
    except StandardError:
        return None


def _loaded(
    mill: Mill,
    cutter: Cutter,
    action: Work,
    size: float,
    rpm: float,
    feed_rev: float,
    width: float | None,
    force: CuttingForce | None,
    deep: float,
) -> Load:
    """Return depth, power, torque and force of the cut, the depth held to what the power allows."""
    tooth = feed_rev / max(cutter.flutes, 1)
    if action in ("face", "edge", "slot", "spot-face"):
        return _milled(mill, cutter, action, rpm, feed_rev, tooth, width, force)
    if action == "bore":
        return _bored(mill, size, deep, rpm, feed_rev, tooth, force)
    kc = None if force is None else specific_force(force, tooth * math.sin(_POINT))
    hole = cutter.pilot or 0.0
    torque = None if kc is None or action in _LIGHT else drill_torque(size, feed_rev, kc) * (1.0 - (hole / size) ** 2)
    power = None if torque is None else torque * rpm * math.tau / 60.0
    thrust = 0.0 if kc is None or action != "drill" else 0.5 * kc * feed_rev * size / 2.0
    return _at_rim(mill, 0.0, size, tooth, feed_rev, power, size, rpm, thrust)


def _bored(mill: Mill, size: float, deep: float, rpm: float, feed_rev: float, tooth: float, force: CuttingForce | None) -> Load:
    depth, power = bore_depth(size, deep), None
    if force is not None:
        per_mm = turning_power(1.0, feed_rev, math.pi * size * rpm / 1000.0, specific_force(force, feed_rev))
        depth = min(depth, mill.cutting_power / per_mm)
        power = depth * per_mm
    return _at_rim(mill, depth, depth, tooth, feed_rev, power, size, rpm)


def _milled(
    mill: Mill,
    cutter: Cutter,
    action: Work,
    rpm: float,
    feed_rev: float,
    tooth: float,
    width: float | None,
    force: CuttingForce | None,
) -> Load:
    size = cutter.diameter
    wide = min(width if width is not None else {"face": 0.75, "edge": 0.25}.get(action, 1.0) * size, size)
    depth = depth_limit(cutter, wide)
    power = None
    if force is not None and wide > 0:
        per_mm = milling_power(1.0, wide, feed_rev * rpm, specific_force(force, mean_chip(tooth, wide, size)))
        depth = min(depth, mill.cutting_power / per_mm)
        power = depth * per_mm
    return _at_rim(mill, depth, wide, tooth, feed_rev, power, size, rpm)


def _at_rim(
    mill: Mill,
    depth: float,
    width: float,
    tooth: float,
    rev: float,
    power: float | None,
    size: float,
    rpm: float,
    thrust: float = 0.0,
) -> Load:
    """Return the load with its torque and the force at the rim."""
    torque = None if power is None else power * 60.0 / (math.tau * rpm)
    force = None if torque is None else 2000.0 * torque / size
    enough = power is None or power <= mill.cutting_power * (1.0 + 1e-9)
    return Load(tooth, rev, depth, width, power, torque, force, thrust, enough)


def _tapping(mill: Mill, alloy: Alloy, cutter: Cutter) -> CutData | Lack:
    """Return the rpm of a tap under power: a quarter of drilling speed, never above the tapping table; by hand where the
    spindle has none as slow."""
    thread = find_thread(cutter.label, "").thread
    table = tapping_rpm(alloy, thread.major, "")
    drilling = cutting_speed(alloy, "drill", "")
    slow, most = (min(share * spindle_speed(drilling.high, thread.major), table) for share in _TAP_SHARE)
    rpm = spindle_at_most(mill, slow)
    if rpm > most + 1e-9:
        return Lack((f"spindle speed of {most:.0f} rpm or less to tap {thread.designation}",), None, ("tap by hand",))
    speed = math.pi * thread.major * rpm / 1000.0
    load = Load(thread.pitch / cutter.flutes, thread.pitch, 0.0, thread.major, None, None, None, 0.0, True)
    return CutData(rpm, speed, rpm * thread.pitch, load, f"a quarter of drilling speed; {drilling.source}")
