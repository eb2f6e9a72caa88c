"""Casting alloys: density, pattern contraction, and which rows of other tables are theirs.

Knows no sizes and no grades. The contraction is a default with its source and
the range other tables give; a foundry that says otherwise is right.
"""

from dataclasses import dataclass

from geom.errors import StandardError, nearest
from geom.standards.table import TableRow, table


@dataclass(frozen=True, slots=True)
class Alloy:
    """One casting alloy.

    Attributes:
        name: as sheets print it.
        group: its column in the casting and allowance grade tables ("grey iron", "light metal"...).
        density: g/cm3.
        density_source: where the density comes from, and whether from memory.
        contraction: linear pattern contraction, a fraction (0.01 is 1 %).
        contraction_range: least and greatest contraction that sources give, fractions.
        source: where the contraction comes from.
        cutting, tapping, force, friction: its rows in the cutting tables; "" where no table has one.
        caution: what its swarf or dust does; "" when nothing special.
    """

    name: str
    group: str
    density: float
    density_source: str
    contraction: float
    contraction_range: tuple[float, float]
    source: str
    cutting: str
    tapping: str
    force: str
    friction: str
    caution: str


def alloy(name: str, where: str) -> Alloy:
    """Return an alloy by its name or another name of the trade ("SG iron", "aluminum"), in any case.

    Raises:
        StandardError: unknown; the message lists the alloys and the nearest name.
    """
    known = _names()
    key = " ".join(name.casefold().split())
    if key not in known:
        guess = nearest(key, sorted(known))
        raise StandardError(f"{where}: alloy {name!r} is not known{guess}; the table has {', '.join(alloy_names())}")
    return _alloy(known[key])


def alloy_names() -> tuple[str, ...]:
    """Return the names of all alloys in the table's order."""
    return table("alloys").column("name")


def _names() -> dict[str, TableRow]:
    named: dict[str, TableRow] = {}
    for row in table("alloys").rows:
        for word in (row.text("name"), *row.text("aliases").split(";")):
            if word:
                named[word.casefold()] = row
    return named


def _alloy(row: TableRow) -> Alloy:
    unsure = row.text("density_certainty") or row.certainty
    return Alloy(
        name=row.text("name"),
        group=row.text("group"),
        density=row.number("density"),
        density_source="from memory" if unsure == "from memory" else "published tables",
        contraction=row.number("contraction") / 100,
        contraction_range=(row.number("contraction_low") / 100, row.number("contraction_high") / 100),
        source=row.text("contraction_source"),
        cutting=row.text("cutting"),
        tapping=row.text("tapping"),
        force=row.text("force"),
        friction=row.text("friction"),
        caution=row.text("caution"),
    )
