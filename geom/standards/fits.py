"""Limits of fitted holes, H6 to H11: the least and greatest diameter a fit allows.

Knows the hole-basis holes of ISO 286 only: they start at the nominal size and
go up. No shafts and no other letters.
"""

from geom.errors import StandardError
from geom.standards.table import table


def hole_grades() -> tuple[str, ...]:
    """Return the hole tolerance classes that the table holds."""
    return table("hole_limits").columns[2:]


def hole_limits(diameter: float, grade: str, where: str) -> tuple[float, float]:
    """Return the least and greatest diameter, mm, of a hole such as 40 H7.

    Args:
        diameter: nominal, mm.
        grade: "H6" to "H11", in any case.
        where: file and key, for the message.

    Source: ISO 286-2.

    Raises:
        StandardError: size or grade outside the table.
    """
    source = table("hole_limits")
    column = grade.strip().upper()
    if column not in hole_grades():
        raise StandardError(f"{where}: {grade!r} is not in our table of {source.cited}; it has {', '.join(hole_grades())}")
    row = source.range_row(diameter, "diameter", where)
    return diameter, diameter + row.number(column) / 1000
