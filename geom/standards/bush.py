"""Headless drill bushes: what goes round a drill where a print must guide it more than a few times. mm."""

from dataclasses import dataclass

from geom.standards.table import table


@dataclass(frozen=True, slots=True)
class Bush:
    """A press-fit bush: outside diameter and short length, mm."""

    outside: float
    length: float


def bush_for(drill: float) -> Bush | None:
    """Return the bush for a drill's diameter, mm; None where the table ends."""
    for row in table("drill_bushes").rows:
        if drill <= row.number("bore") + 1e-9:
            return Bush(row.number("outside"), row.number("length"))
    return None
