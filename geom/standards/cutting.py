"""Speeds, feeds, cutting force and jaw friction for an alloy, as published for shops.

Knows materials, diameters and tables. Not the machine, its spindle steps or
its power: `tooling` decides what of this a mill can use. Speeds are for
high-speed steel, m/min; forces N/mm2.
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal, NoReturn, TypeAlias

from geom.errors import StandardError
from geom.standards.alloy import Alloy, alloy, alloy_names
from geom.standards.table import TableRow, table

Operation: TypeAlias = Literal["drill", "mill", "slot", "ream"]
Surface: TypeAlias = Literal["finished", "machined", "rough"]
Jaw: TypeAlias = Literal["smooth", "diamond", "serrated"]

_METRES: Final = {"m/min": 1.0, "ft/min": 0.3048}


@dataclass(frozen=True, slots=True)
class SpeedRange:
    """Lowest and highest usual cutting speed, m/min, and where they come from."""

    low: float
    high: float
    source: str


@dataclass(frozen=True, slots=True)
class CuttingForce:
    """Specific cutting force kc1.1, N/mm2, its exponent mc, the material it is for, and its source."""

    kc: float
    mc: float
    material: str
    source: str


def cutting_speed(metal: Alloy, operation: Operation, where: str, hardness: float | None = None) -> SpeedRange:
    """Return the usual speed of a high-speed-steel cutter.

    Slots and end mills run at 0.6 of milling speed, reamers at half to two
    thirds of drilling speed. A hardness (Brinell) overrides the general row
    where the table has hardness rows (cast iron).

    Raises:
        StandardError: the tables say nothing for that alloy and operation, or for that hardness.
    """
    if operation == "ream":
        return _scaled(cutting_speed(metal, "drill", where, hardness), "ream")
    if operation == "slot":
        return _scaled(cutting_speed(metal, "mill", where, hardness), "end mill or slot")
    source = table("cutting_speeds")
    rows = [row for row in source.rows if row.text("material") == metal.cutting]
    fitting = [row for row in rows if _speed_row_fits(row, operation, hardness)]
    if not fitting:
        _no_speed(metal, operation, hardness, rows, where)
    unit = _METRES[fitting[0].text("speed_unit")]
    return SpeedRange(fitting[0].number("low") * unit, fitting[0].number("high") * unit, source.cited_row(fitting[0]))


def spindle_speed(speed: float, diameter: float) -> float:
    """Return the rpm at which a diameter, mm, runs at a cutting speed, m/min: 1000 v / (pi d)."""
    return 1000.0 * speed / (math.pi * diameter)


def drill_feed(metal: Alloy, diameter: float, where: str) -> float:
    """Return the drill feed, mm a revolution: between the table's diameters by proportion, below the first in
    proportion to the diameter, above the last as the last.

    Raises:
        StandardError: the table says nothing for that alloy.
    """
    source = table("drill_feeds")
    row = source.find("material", metal.cutting)
    if row is None:
        raise StandardError(f"{where}: {source.cited} have no drill feed for {metal.name}; give one")
    known = [(0.0, 0.0), *((float(column), row.number(column)) for column in source.columns[1:])]
    for (d0, f0), (d1, f1) in pairwise(known):
        if diameter <= d1:
            return f0 + (f1 - f0) * (diameter - d0) / (d1 - d0)
    return known[-1][1]


def deep_hole_factor(depth: float, diameter: float) -> float:
    """Return what to multiply drilling speed by for a hole of that depth, mm: 1 below three diameters, 0.6 from six."""
    ratio = depth / diameter
    reached = [n for n in (3, 4, 5, 6) if ratio >= n]
    return cutting_factor(f"deep hole {reached[-1]}")[0] if reached else 1.0


def cutting_factor(item: str) -> tuple[float, float]:
    """Return the low and high value of a factor of the table ("carbide", "light mill feed per tooth mm"...)."""
    row = table("cutting_factors").row_for("item", item, "cutting factor", "cutting factors")
    return row.number("low"), row.number("high")


def cutting_force(metal: Alloy, where: str, hardness: float | None = None) -> CuttingForce:
    """Return the specific cutting force of an alloy: of the row nearest its hardness, or the greatest when none is given.

    Source: VDI 3323 material groups.

    Raises:
        StandardError: the table says nothing for that alloy.
    """
    source = table("cutting_force")
    rows = [row for row in source.rows if row.text("group") == metal.force]
    if not rows:
        known = ", ".join(name for name in alloy_names() if alloy(name, where).force)
        raise StandardError(f"{where}: {source.cited} has no cutting force for {metal.name}; it has {known}")
    if hardness is None:
        row = max(rows, key=lambda r: r.number("kc"))
    else:
        row = min(rows, key=lambda r: max(r.number("hardness_low") - hardness, hardness - r.number("hardness_high"), 0.0))
    return CuttingForce(row.number("kc"), row.number("mc"), row.text("material"), source.cited_row(row))


def tapping_rpm(metal: Alloy, major: float, where: str) -> float:
    """Return the highest usual rpm of a machine tap of that major diameter, mm; start taps by hand if unsure.

    Raises:
        StandardError: the table says nothing for that alloy.
    """
    source = table("tapping_speeds")
    row = source.find("material", metal.tapping)
    if row is None:
        raise StandardError(f"{where}: {source.cited} has no tapping speed for {metal.name}; tap by hand or give one")
    return spindle_speed(row.number("speed") * _METRES["ft/min"], major)


def jaw_friction(metal: Alloy, surface: Surface, jaw: Jaw) -> float:
    """Return the friction coefficient between a jaw and the work.

    An alloy that the table does not name takes the least of its factors, on
    the safe side. Clamping force is cutting force times 2 or more, divided by
    this.
    """
    factors = table("jaw_friction_material")
    row = factors.find("material", metal.friction)
    factor = row.number("factor") if row else min(r.number("factor") for r in factors.rows)
    return factor * table("jaw_friction").row_for("surface", surface, "work surface", "jaw friction").number(jaw)


def _scaled(speed: SpeedRange, item: str) -> SpeedRange:
    low, high = cutting_factor(item)
    return SpeedRange(speed.low * low, speed.high * high, speed.source)


def _speed_row_fits(row: TableRow, operation: str, hardness: float | None) -> bool:
    if row.text("operation") == "any":
        return hardness is not None and row.number("hardness_low") <= hardness <= row.number("hardness_high")
    return hardness is None and row.text("operation") == operation


def _no_speed(metal: Alloy, operation: str, hardness: float | None, rows: list[TableRow], where: str) -> NoReturn:
    at = "" if hardness is None else f" at {hardness:g} HB"
    held = ", ".join(_speed_row_name(row) for row in rows) or "nothing for it"
    raise StandardError(
        f"{where}: {table('cutting_speeds').cited} give no speed to {operation} {metal.name}{at}; they have {held}; give the speed"
    )


def _speed_row_name(row: TableRow) -> str:
    if row.text("operation") == "any":
        return f"any work at {row.text('hardness_low')} to {row.text('hardness_high')} HB"
    return row.text("operation")
