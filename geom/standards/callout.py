"""What a hole is for, turned into diameters.

A callout is the text on the drawing: "clearance M8 medium", "counterbore for
M8 socket head", "tapped 3/8-16 UNC", "reamed 10 H7", "9 mm". Knows sizes,
not places or depths.
"""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Drill:
    """A drill as the shop names it ("6.8 mm", "no. 7", "27/64", "F") and its diameter, mm."""

    name: str
    diameter: float


@dataclass(frozen=True, slots=True)
class Thread:
    """A screw thread: designation, major diameter and pitch in mm, tap drill, percent of full thread it leaves."""

    designation: str
    major: float
    pitch: float
    drill: Drill
    percent: float


@dataclass(frozen=True, slots=True)
class Callout:
    """A hole's purpose and the sizes that follow from it, mm and degrees.

    Attributes:
        text: as the job wrote it, tidied.
        purpose: what kind of callout it is.
        diameter: of the hole as the model holds it (tapped: the tap drill's).
        drill: what to drill first.
        limits: least and greatest finished diameter (reamed and bored holes).
        counterbore: diameter and depth; depth 0 when the callout leaves it open.
        countersink: largest diameter and included angle.
        source: standard and edition, or "common practice".
    """

    text: str
    purpose: Literal["plain", "clearance", "tapped", "reamed", "bored"]
    diameter: float
    drill: Drill
    thread: Thread | None = None
    limits: tuple[float, float] | None = None
    counterbore: tuple[float, float] | None = None
    countersink: tuple[float, float] | None = None
    source: str = ""
