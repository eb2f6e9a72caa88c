"""Least stock each machined face must keep, and who asked for it.

A face says so itself; else the machining allowance of ISO 8062-3 stands, one
value for the whole casting by the part's largest dimension. Lengths mm. Knows
nothing of how much stock there is.
"""

from dataclasses import dataclass
from typing import Literal

from geom.model.part import Part
from geom.settings.records import Settings
from geom.space import sub
from geom.standards.tolerance_grades import machining_allowance


@dataclass(frozen=True, slots=True)
class Need:
    """What one face needs.

    Attributes:
        amount: least stock, mm.
        bearing: least share of its area that must have it.
        source: "face" (its own line in the job), "grade" (the grade the job names) or
            "default" (a grade the job left open: worth a warning, never a "no").
    """

    amount: float
    bearing: float
    source: Literal["face", "grade", "default"]


def needs_of(part: Part, settings: Settings) -> dict[str, Need]:
    """Return what every machined face needs, by face name.

    Raises:
        StandardError: the part is larger than the allowance table.
    """
    largest = max(sub(part.finished.box[1], part.finished.box[0]))
    grade = settings.casting.allowance_grade
    allowance = machining_allowance(largest, grade, f"{settings.label}, casting.allowance_grade")
    return {face.name: _need(settings, face.name, allowance) for face in part.machined}


def _need(settings: Settings, name: str, allowance: float) -> Need:
    asked = settings.faces.get(name)
    bearing = asked.bearing if asked else 1.0
    if asked is not None and asked.required is not None:
        return Need(asked.required, bearing, "face")
    return Need(allowance, bearing, "grade" if settings.casting.allowance_stated else "default")
