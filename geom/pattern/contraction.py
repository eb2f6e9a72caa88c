"""How much larger than the casting its pattern is made: one stage, or two where a metal pattern is cast first.

Fractions. The alloy's own figure is a table's; the foundry's word beats it.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from geom.standards.alloy import alloy

if TYPE_CHECKING:
    from geom.settings.records import Settings


@dataclass(frozen=True, slots=True)
class Stage:
    """One pouring: the metal, its linear contraction (a fraction), and who says so."""

    metal: str
    share: float
    why: str


def stages(settings: "Settings") -> tuple[Stage, ...]:
    """Return the casting's own contraction and, where a metal master is cast from the print, the master's."""
    metal = alloy(settings.part.alloy, settings.label)
    if settings.pattern.contraction is not None:
        own = Stage(metal.name, settings.pattern.contraction, "as the job asks")
    elif settings.foundry.contraction is not None:
        own = Stage(metal.name, settings.foundry.contraction, "as the foundry says")
    else:
        own = Stage(metal.name, metal.contraction, f"{metal.source}; for the foundry to decide")
    if not settings.pattern.master:
        return (own,)
    master = alloy(settings.pattern.master, settings.label)
    return own, Stage(master.name, master.contraction, f"{master.source}; of the metal pattern cast from the print")


def growth(found: tuple[Stage, ...]) -> float:
    """Return how many times the casting's size the print is: the product over the stages of 1 + share."""
    factor = 1.0
    for stage in found:
        factor *= 1.0 + stage.share
    return factor
