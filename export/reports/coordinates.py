"""The coordinate tables of a job, in the units and signs of its readout.

Chooses figures and signs from the settings; `table` writes the tables.
"""

from typing import TYPE_CHECKING, Any

from export.number import Figures, figures, sentence
from export.tables.write import coordinates_json, setup_text, table_files
from geom.rows.plan import NoPlan
from geom.settings.records import Settings

if TYPE_CHECKING:
    from geom.job import Record


def readout_figures(settings: Settings) -> Figures:
    """Return how the job's readout writes coordinates.

    Raises:
        JobError: its step is no plain decimal in its own unit.
    """
    return figures(settings.readout.units, settings.readout.step)


def coordinate_files(record: "Record") -> dict[str, bytes]:
    """Return the tables as CSV and text, by file name."""
    settings = record.settings
    return table_files(settings.part.name, record.setups, readout_figures(settings), settings.readout.flips)


def coordinates_document(record: "Record") -> dict[str, Any]:
    """Return the tables as a JSON document: mm."""
    from export.reports.setups import setups_document

    tables = coordinates_json(record.setups, readout_figures(record.settings), record.settings.readout.flips)
    faults = [{"setup": number, "fault": sentence(words, record.settings.units)} for number, words in record.faults]
    if isinstance(record.plan, NoPlan):
        return {**tables, "faults": faults, "no_plan": setups_document(record.plan, record.job, record.stock)}
    return {**tables, "faults": faults}


def coordinates_text(record: "Record") -> str:
    """Return all tables as one text, a blank line between set-ups; without a plan, why there is none."""
    settings = record.settings
    if isinstance(record.plan, NoPlan):
        from export.reports.setups import setups_text

        return setups_text(record.plan, record.job, record.stock)
    shown, signs, count = readout_figures(settings), settings.readout.flips, len(record.setups)
    return "\n".join(setup_text(settings.part.name, one, count, shown, signs) for one in record.setups)
