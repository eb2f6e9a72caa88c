"""The notes of a foundry drawing, in the order a foundry reads them.

Every default that the job left open is said to be one. Lengths mm and masses
kg come in; words go out. Knows nothing of the sheet.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from export.number import Units, fixed, size, trimmed
from geom.errors import StandardError
from geom.settings.records import Settings
from geom.standards.alloy import alloy
from geom.standards.tolerance_grades import casting_tolerance, machining_allowance

if TYPE_CHECKING:
    from geom.datum.zero import Zero
    from geom.job import Job
    from geom.stock.report import StockReport

_POUND: Final = 0.45359237
"""kg, exact (international yard and pound agreement, 1959; from memory)."""

_UNIT: Final = {"mm": "mm", "inch": "in"}


def foundry_notes(job: "Job", stock: "StockReport", zero: "Zero") -> tuple[str, ...]:
    """Return the notes, without numbers."""
    settings = job.settings
    return (
        *_metal(job, stock),
        _tolerance(job),
        *_shape(settings),
        _phantom(settings.units),
        "Sizes in brackets, hole positions and the hole table are those of the finished part. "
        f"Other sizes are those of the casting, cold. {_machined(settings)}",
        _contraction(job),
        f"Zero: {zero.why}.",
        *(_sentence(note) for note in settings.foundry.notes),
        "The foundry decides gating, feeding and what it can pour.",
    )


def _machined(settings: Settings) -> str:
    """Return what holds for machined sizes and edges that say nothing of their own."""
    asked, units = settings.drawing, settings.units
    edges = "" if asked.edges is None else f" Sharp edges broken {size(asked.edges, units)} {_UNIT[units]}."
    return f"Machined sizes without limits: ISO 2768-{asked.general}.{edges}"


def mass_text(kilograms: float, units: Units) -> str:
    """Return a mass in kg, in lb for inch sheets, to three figures or so."""
    amount = kilograms / _POUND if units == "inch" else kilograms
    places = 3 if amount < 1 else 2 if amount < 100 else 1
    return f"{fixed(amount, places)} {'lb' if units == 'inch' else 'kg'}"


def _sentence(text: str) -> str:
    """Return a note that begins with a capital and ends with a full stop."""
    tidy = text.strip()
    return f"{tidy[:1].upper()}{tidy[1:]}{'' if tidy.endswith(('.', '!', '?')) else '.'}"


def _metal(job: "Job", stock: "StockReport") -> Iterator[str]:
    part, units = job.part, job.settings.units
    metal = alloy(part.alloy, job.settings.label)
    casting, finished = mass_text(stock.casting_mass, units), mass_text(stock.part_mass, units)
    yield (
        f"Material: {metal.name}, {metal.density:g} g/cm3. Mass of the casting {casting}, of the finished part {finished}, "
        "feeders not counted."
    )


def _tolerance(job: "Job") -> str:
    settings, units = job.settings, job.settings.units
    asked = settings.casting
    low, high = job.part.casting.box
    largest = max(b - a for a, b in zip(low, high, strict=True))
    text = f"General tolerances ISO 8062-3 - DCTG {asked.grade} - RMAG {asked.allowance_grade}"
    try:
        half = casting_tolerance(largest, asked.grade) / 2
        need = machining_allowance(largest, asked.allowance_grade)
    except StandardError:
        return f"{text}."
    places = 1 if units == "mm" else 2
    return (
        f"{text}: ±{size(half, units, places)} {_UNIT[units]} on the casting's {size(largest, units, places)}, "
        f"at least {size(need, units, places)} {_UNIT[units]} of metal on machined faces."
    )


def _shape(settings: Settings) -> Iterator[str]:
    asked, units = settings.casting, settings.units
    draft = (
        "Draft is as modelled"
        if asked.draft is None
        else f"Draft {asked.draft:g}° on faces along the draw unless modelled otherwise"
    )
    radius = "radii are as modelled" if asked.radius is None else f"unmarked cast radii R{size(asked.radius, units, 3)}"
    yield f"{draft}; {radius}."


def _phantom(units: Units) -> str:
    return (
        "Phantom lines show the finished part. Surfaces drawn in phantom lines are machined; the figure at the machining sign "
        f"is the metal on that face ({_UNIT[units]}). All other surfaces stay as cast."
    )


def _contraction(job: "Job") -> str:
    asked = job.settings.foundry.contraction
    metal = alloy(job.part.alloy, job.settings.label)
    share = metal.contraction if asked is None else asked
    why = f"usual for {metal.name}, for the foundry to decide" if asked is None else "as the job asks"
    return f"Pattern contraction {trimmed(fixed(100 * share, 2))} % ({why}) is not included in this drawing."
