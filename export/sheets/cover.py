"""What the cover of a job's sheets says: the metal on each face, the set-ups in order, cutters to lay out, weights, cautions.

Words and figures of the reports; lengths in the readout's unit. Works out nothing of its own. No paper.
"""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from export.drawing.notes import mass_text
from export.number import Units, length, sentence
from export.reports.coordinates import readout_figures
from export.reports.proof_record import ProofRecord, proved_words
from export.reports.prove import fault_text
from export.reports.setups import CAUTIONS, assumed_text, plain_words
from export.sheets.setup import SetupSheet, first_measured, rests_on
from geom.job import Record
from geom.rows.plan import Blocked, NoPlan, Plan
from geom.space import Vec3
from geom.units import length as to_mm

_LENGTH: Final = re.compile(r"\d+(\.\d+)? (mm|in)")
_PLACES: Final[Mapping[Units, int]] = {"mm": 2, "inch": 3}
_STATE: Final[Mapping[str, str]] = {"thin": "thin", "short": "SHORT", "forgiven": "within its bearing", "from solid": "from solid"}
_DUST: Final = (
    "Vacuum and brush, never compressed air, on iron and sand dust (respirable silica); "
    "no gloves or loose sleeves near the spindle."
)
_CHECK: Final = (
    "The program advises; it does not certify strength or fitness. Check every number against the drawing before it becomes metal."
)


@dataclass(frozen=True, slots=True)
class FaceLine:
    """One machined face: its number in the picture, least and most metal to take, what is required, how it stands.

    Attributes:
        thinnest: where the take is least, part frame, mm.
    """

    number: str
    name: str
    least: str
    most: str
    required: str
    state: str
    thinnest: Vec3


@dataclass(frozen=True, slots=True)
class ToolLine:
    """A cutter, finder or gauge, and in which set-ups it is which number."""

    name: str
    used: str


@dataclass(frozen=True, slots=True)
class Cover:
    """All the cover says.

    Attributes:
        lacks: what the job wants that is not on hand, and in which set-up.
        proof: the verdict in a line; stop: what is wrong, when something is.
        no_plan: why no set-ups make the part; empty when some do.
        not_drawn: what comes out otherwise than drawn, whichever way it is made.
    """

    unit: str
    material: str
    weights: tuple[tuple[str, str], ...]
    faces: tuple[FaceLine, ...]
    rests_on: tuple[str, ...]
    tools: tuple[ToolLine, ...]
    lacks: tuple[str, ...]
    cautions: tuple[str, ...]
    assumed: tuple[str, ...]
    proof: str
    stop: tuple[str, ...]
    no_plan: tuple[str, ...]
    not_drawn: tuple[str, ...]


def cover_of(record: Record, setups: tuple[SetupSheet, ...], proof: ProofRecord) -> Cover:
    """Return what the cover says.

    Args:
        setups: the sheets it lies on.
    """
    figures = readout_figures(record.settings)
    units, report = figures.units, record.stock
    no_plan = tuple(_blocked(record, units))
    weights = (("casting", report.casting_mass), ("finished part", report.part_mass), ("swarf", report.swarf_mass))
    return Cover(
        unit=figures.unit_name,
        material=record.part.alloy,
        weights=tuple((name, mass_text(kilos, units)) for name, kilos in weights),
        faces=tuple(_faces(record, units)),
        rests_on=rests_on(record, units),
        tools=_tools(setups),
        lacks=tuple(f"set-up {one.number}: {plain_words(words, units)}" for one in record.setups for words in one.lacks),
        cautions=(*CAUTIONS, _DUST, _CHECK),
        assumed=tuple(_assumed(record, units)),
        proof=_verdict(proof, units),
        stop=() if proof.proved or no_plan else tuple(fault_text(one, units) for one in proof.failures),
        no_plan=no_plan,
        not_drawn=tuple(plain_words(one.says, units) for one in _round_left(record)),
    )


def _round_left(record: Record) -> tuple[Blocked, ...]:
    return record.plan.round_left if isinstance(record.plan, Plan) else ()


def _verdict(proof: ProofRecord, units: Units) -> str:
    if not proof.proved:
        return "NOT PROVED: do not cut from these sheets; prove.txt says why"
    return f"{proved_words(proof, units)}; each set-up says of which table"


def _faces(record: Record, units: Units) -> Iterator[FaceLine]:
    """Yield the metal on each machined face: as received where the casting was measured, else as drawn."""
    placed = first_measured(record)
    if placed is None:
        found = [(f.name, f.least_inside, f.stock.max, f.required, f.thinnest, "") for f in record.stock.faces]
    else:
        faces = placed.placement.faces
        found = [(f.name, f.take_min, f.take_max, f.required, f.thinnest, _STATE.get(f.state, "")) for f in faces]
    for number, (name, least, most, required, thinnest, state) in enumerate(found, 1):
        low, high, wanted = (length(v, units, _PLACES[units]) if math.isfinite(v) else "" for v in (least, most, required))
        yield FaceLine(str(number), name, low, high, wanted, state, thinnest)


def _tools(setups: tuple[SetupSheet, ...]) -> tuple[ToolLine, ...]:
    """Return every tool once, in order of first use."""
    used: dict[str, dict[int, str]] = {}
    for setup in setups:
        for section in setup.sections:
            used.setdefault(section.name, {}).setdefault(setup.number, section.tool)
    return tuple(
        ToolLine(name, ", ".join(f"{tool} in set-up {number}" for number, tool in where.items())) for name, where in used.items()
    )


def _assumed(record: Record, units: Units) -> Iterator[str]:
    """Yield what nobody stated, lengths in the sheet's unit; the readout's step stands on every set-up as it is used."""
    if said := assumed_text(record.settings.tooling):
        yield said
    for one in record.settings.assumed:
        if one.key != "readout.step":
            yield f"{one.key}: {_in_unit(one.value, units)} ({one.source})"


def _in_unit(value: str, units: Units) -> str:
    return sentence((to_mm(value, units, "assumed"),), units) if _LENGTH.fullmatch(value) else value


def _blocked(record: Record, units: Units) -> Iterator[str]:
    if isinstance(record.plan, NoPlan):
        for one in record.plan.blocked:
            opens = f"; what would open it: {sentence(one.opens, units)}" if one.opens else ""
            yield f"{one.feature}: {sentence(one.why, units)}{opens}"
