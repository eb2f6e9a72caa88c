"""What is taken for granted while a job does not name the shop's own cutters.

Each value is common practice of small shops, no source, and is printed on the
sheet it shaped. mm and degrees. Knows nothing of parts or rows.
"""

from dataclasses import dataclass
from typing import Final, Literal

from geom.rows.records import Tool
from geom.settings.records import Settings
from geom.standards.drill import KINDS, Drill, drill_set, family, largest_drill

LARGEST_DRILL: Final = 25.4
"""Largest drill taken for granted; wider holes are drilled to less and bored."""

_LARGEST_MM: Final = 25.0
"""The same in whole millimetres, as mm sets end."""

LARGEST_COUNTERBORE: Final = 33.0
"""Widest piloted counterbore taken for granted (M20 socket head); wider seats are bored."""

LEAST_BORE: Final = 10.0
"""Narrowest hole a small boring head enters."""

SAME_SIZE: Final = 0.01
"""A hole within this many mm of a stock drill is that drill's hole."""

_SPOT_SHARE: Final = 0.9
"""A spot's diameter as a share of the drill's: wide enough to centre it, narrow enough to vanish."""

_HIGH_EDGE: Final = 3.0
"""Edges higher than this many cutter diameters are past the flutes of an ordinary end mill."""


@dataclass(frozen=True, slots=True)
class Practice:
    """How the rows of one job are worked out.

    Attributes:
        cutter: the end mill that runs along edges, diameter.
        edge_leave: what an edge cut leaves for finishing when the face does not say.
        point_angle: of a drill, degrees; 180 is flat.
        spot: the spotting drill.
        break_through: how far a full diameter passes the far side of a through hole.
        run_out: how far a cutter passes clear of the end of a finished edge: more than common stock.
        finish: what the last pass of a face or an edge takes.
    """

    units: Literal["mm", "inch"]
    cutter: float
    edge_leave: float
    point_angle: float
    spot: Tool
    break_through: float
    run_out: float
    finish: float = 0.3


def practice(settings: Settings) -> Practice:
    """Return how the rows of a job are worked out; round figures in the sheet's own unit."""
    inch = settings.units == "inch"
    return Practice(
        units=settings.units,
        cutter=settings.shop.cutter,
        edge_leave=settings.shop.leave,
        point_angle=settings.shop.point_angle,
        spot=Tool("spotting drill", "", 9.525 if inch else 10.0, 90.0),
        break_through=1.27 if inch else 1.0,
        run_out=5.08 if inch else 5.0,
        finish=0.3048 if inch else 0.3,
    )


def spot_depth(drill: float, spot: Tool) -> float:
    """Return how deep a spotting drill's tip goes to centre a drill of this diameter."""
    width = min(_SPOT_SHARE * drill, spot.diameter)
    return spot.point_length * width / spot.diameter


def drill_tool(drill: Drill, angle: float) -> Tool:
    """Return a drill with its point; 180 degrees is a flat drill's."""
    return Tool("drill", drill.name, tidy(drill.diameter), angle if angle < 180.0 else None)


def plain_drill(diameter: float, units: str) -> Drill:
    """Return the stock drill of a diameter, the shop's own family first; nameless when there is none."""
    for kinds in (family(units), KINDS):
        near = min((drill for kind in kinds for drill in drill_set(kind)), key=lambda drill: abs(drill.diameter - diameter))
        if abs(near.diameter - diameter) <= SAME_SIZE:
            return near
    return Drill("", diameter)


def first_drill(diameter: float, units: str) -> Drill:
    """Return the largest drill that leaves 1 mm on the diameter for the boring head."""
    found = largest_drill(min(diameter - 1.0, LARGEST_DRILL if units == "inch" else _LARGEST_MM), family(units))
    return found or Drill("", diameter - 1.0)


def is_high(height: float, use: Practice, flutes: float = 0.0) -> bool:
    """Tell whether an edge is higher than the longest flutes on hand, or an ordinary end mill's, are long."""
    return height > max(_HIGH_EDGE * use.cutter, flutes)


def tidy(diameter: float) -> float:
    """Return a tool's diameter to a nanometre, so that two computed sizes are one tool."""
    return round(diameter, 6)
