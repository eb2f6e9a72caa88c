"""Coordinate tables as the proof takes them: from files on disk to plain records.

Knows table files; nothing of how rows are proved.
"""

from typing import Final

from export.tables.read import TableFile
from geom.proof.sweep import Table
from geom.units import MM_PER_INCH

_FINE: Final = {"mm": 0.001, "inch": 0.0001 * MM_PER_INCH}
"""mm: what limits of size are rounded to."""


def proof_table(read: TableFile) -> Table:
    """Return a table as the proof takes it."""
    head = read.head
    fine = _FINE[head.figures.units]
    step = float(head.figures.step_mm)
    return Table(head.number, head.count, head.frame, read.rows, head.boxes, step, fine, head.left_out, head.patterns, head.notes)
