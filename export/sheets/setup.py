"""What the sheets of one set-up say, in words and figures of the reports and of the written table; no paper.

Every length is in the readout's unit, so that a sheet never mixes two. Works out no coordinate of its own.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from export.number import Units
from export.reports.place import casting_heading, place_sentence
from export.reports.proof_record import ProofRecord, proof_line
from export.reports.prove import fault_text
from export.reports.setups import METHODS, facing_up, pick_up_text
from export.sheets.table import Section, read_back, sections
from export.tables.head import Head
from geom.job import Record
from geom.rows.plan import PickUp, Plan, PlannedSetup
from geom.rows.records import Row, Setup, Words
from geom.setups.grip_check import grips_of, with_grip

if TYPE_CHECKING:
    from geom.place.castings import Placed

_RECEIVED: Final = re.compile(r"(?:this casting|casting .+) as received: ")
_FAULT: Final = "FAULT OF THE PLAN"
_DRAWN: Final = "the casting as drawn: not measured. Where it differs, zero and stock differ; see evenstock place"
_MOVES: Final = "set the readout to the figures of the rows as they stand: they hold the move of the zero, there is none to add"


@dataclass(frozen=True, slots=True)
class Step:
    """One step of finding zero, and the rows that do it: number, way the finder moves, figures with their axes."""

    text: str
    rows: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class SetupSheet:
    """All a set-up's sheets say.

    Attributes:
        up: which side faces the spindle.
        zero: its name and why; axes: unit, step and the way the readout counts.
        hold: how the work is held; placement: how this casting is set, with readings.
        rests_on: which readings the figures rest on.
        makes: what is cut, in the order of the balloons.
        stop: why nothing may be cut from it; empty when the proof holds.
        proof: the line of the proof; hashed: the table's SHA-256.
    """

    number: int
    count: int
    up: str
    zero: tuple[str, str]
    axes: str
    hold: tuple[str, ...]
    steps: tuple[Step, ...]
    placement: tuple[str, ...]
    rests_on: tuple[str, ...]
    makes: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    stop: tuple[str, ...]
    proof: str
    hashed: str
    sections: tuple[Section, ...]


def setup_sheets(record: Record, tables: Mapping[str, bytes], proof: ProofRecord) -> tuple[SetupSheet, ...]:
    """Return what the sheets of every set-up say.

    Args:
        tables: coordinate tables as written, by file name.
        proof: of these tables.
    """
    planned = {one.number: one for one in record.plan.setups} if isinstance(record.plan, Plan) else {}
    return tuple(_sheet(setup, planned.get(setup.number), record, tables, proof) for setup in record.setups)


def _sheet(
    setup: Setup, planned: PlannedSetup | None, record: Record, tables: Mapping[str, bytes], proof: ProofRecord
) -> SetupSheet:
    name = f"coordinates-{setup.number}.csv"
    head = read_back(name, tables[name]).head
    units = head.figures.units
    some = sections(name, tables[name], proof)
    placement, cautions, notes = _sorted_notes(setup, planned, head, first_measured(record))
    grips = grips_of(planned, record.part, record.settings, record.stock) if planned else ()
    return SetupSheet(
        number=setup.number,
        count=head.count,
        up=facing_up(planned, record.job) if planned else "",
        zero=(head.zero, head.why),
        axes=_axes(head),
        hold=((METHODS[planned.hold.method], *head.holding) if planned else head.holding),
        steps=_steps(planned.pick_ups if planned else (), setup.rows, some, units),
        placement=placement,
        rests_on=rests_on(record, units),
        makes=setup.features,
        cautions=with_grip(cautions, grips, units),
        notes=(*notes, *head.patterns, *(f"left out: {text}" for text in head.left_out)),
        stop=() if proof.proved else tuple(fault_text(one, units) for one in proof.failures_of(setup.number)),
        proof=proof_line(proof, name.removesuffix(".csv") + ".txt", units),
        hashed=proof.hash_of(setup.number),
        sections=some,
    )


def first_measured(record: Record) -> "Placed | None":
    """Return the casting the rows are for; None for the drawn one."""
    return record.placed[0] if record.placed and record.placed[0].measured else None


def rests_on(record: Record, units: Units) -> tuple[str, ...]:
    """Return which readings the figures rest on, or that there are none."""
    placed = first_measured(record)
    if placed is None:
        return (_DRAWN,)
    return (casting_heading(placed), place_sentence(placed.instructions(record.zero).summary, units))


def _axes(head: Head) -> str:
    """Return unit, step and the way the readout counts, in the words of the table's head."""
    ways = (("right", "left"), ("away", "near"), ("up", "down"))
    counts = ", ".join(f"{axis} {ways[i][0 if head.signs[i] > 0 else 1]}" for i, axis in enumerate("XYZ"))
    unit, step = head.figures.unit_name, head.figures.step
    lengths = "inches" if head.figures.units == "inch" else unit
    return f"all lengths in {lengths}, readout step {step:f} {unit}, counting up to {counts}; worst rounding {head.worst} {unit}"


# --- zero -------------------------------------------------------------------


def _steps(pick_ups: Sequence[PickUp], rows: Sequence[Row], some: Sequence[Section], units: Units) -> tuple[Step, ...]:
    """Return the steps of finding zero, each with its rows' figures as the table prints them; heights are the rows'."""
    printed = {line.number: dict(zip(section.heads, line.cells, strict=True)) for section in some for line in section.lines}
    found = [row for row in rows if row.action == "pick up"]
    return tuple(
        Step(
            pick_up_text(replace(one, height=None), units),
            tuple(
                (str(row.number), row.towards, _figures(printed[str(row.number)])) for row in found if row.towards[1:] in one.axes
            ),
        )
        for one in pick_ups
    )


def _figures(cells: Mapping[str, str]) -> str:
    return "  ".join(f"{head[0]} {cell}" for head, cell in cells.items() if head[:2] in ("X ", "Y ", "Z ") and cell)


# --- notes ------------------------------------------------------------------


def _sorted_notes(
    setup: Setup, planned: PlannedSetup | None, head: Head, placed: "Placed | None"
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Return the table's notes as placement, cautions and the rest; reasons and what is assumed stay with the plan."""
    cautions = set(planned.cautions) if planned else set()
    why = set(planned.why) if planned else set()
    moved: set[Words] = set()
    if placed is not None and planned is not None:
        told = placed.instructions(replace(planned.zero, frame=planned.frame))
        moved = {*told.level, *told.turn}
    sorted_: tuple[list[str], list[str], list[str]] = ([], [], [])
    for words, text in zip(setup.notes, head.notes, strict=True):
        if _RECEIVED.match(text) or words in moved:
            sorted_[0].append(text)
        elif words in cautions or text.startswith(_FAULT):
            sorted_[1].append(text)
        elif words not in why:
            sorted_[2].append(text)
    moves = [*sorted_[0], _MOVES] if sorted_[0] else []
    return tuple(moves), tuple(sorted_[1]), tuple(sorted_[2])
