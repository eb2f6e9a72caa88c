"""What a foundry asks of a drawing: draft, radii, allowances, what it will not core.

Knows sizes and published guidance, not a part. The foundry that pours has the
last word. Lengths mm, angles degrees.
"""

from typing import Literal, TypeAlias

from geom.standards.table import table

PatternKind: TypeAlias = Literal["wood", "plastic"]
Side: TypeAlias = Literal["external", "internal"]
PrintWay: TypeAlias = Literal["level", "lower", "upper"]
"""How a core's print lies: in the parting plane, or along the draw below or above the core."""


def draft_angle(height: float, side: Side, where: str, pattern: PatternKind = "plastic") -> float:
    """Return the usual draft, degrees, of a face of that height, mm; a printed pattern counts as plastic.

    Source: NPTEL casting lecture notes, table 2.

    Raises:
        StandardError: the height is outside the table.
    """
    row = table("draft_angles").range_row(height, "drafted height", where)
    return row.number(f"{pattern}_{side}")


def foundry_allowance(longest: float, upper: bool, where: str) -> float:
    """Return the allowance, mm, a foundry adds to a machined face, by the casting's longest axis; more on upper (cope) faces.

    Raises:
        StandardError: the size is outside the table.
    """
    row = table("foundry_allowances").range_row(longest, "longest axis", where)
    return row.length("allowance") + (row.length("upper_extra") if upper else 0.0)


def casting_radius(longest: float, side: Side, where: str) -> float:
    """Return the usual as-cast radius, mm, of an inside or outside edge, by the casting's longest axis.

    Raises:
        StandardError: the size is outside the table.
    """
    row = table("casting_radii").range_row(longest, "longest axis", where)
    return row.length("inside" if side == "internal" else "outside")


def core_print(diameter: float, way: PrintWay, where: str) -> tuple[float, float]:
    """Return length and clearance at each side, mm, of a core's print by the core's diameter, mm. Common practice, no source.

    Raises:
        StandardError: the diameter is outside the table.
    """
    row = table("core_prints").range_row(diameter, "core diameter", where)
    return row.length(way), row.length("clearance")


def smallest_cored_bore() -> float:
    """Return the bore, mm, below which a foundry would rather cast solid."""
    return _practice("smallest cored bore")


def smallest_gap() -> float:
    """Return the gap, mm, between two machined faces below which a foundry would rather cast solid."""
    return _practice("smallest gap between machined faces")


def least_iron_allowance() -> float:
    """Return the least allowance, mm, a machined face of cast iron normally gets: the cutter has to stay under the skin."""
    return _practice("least allowance on cast iron")


def _practice(item: str) -> float:
    return table("foundry_practice").row_for("item", item, "foundry practice", "foundry practice").length("value")
