"""What a drawing is made from, and how it is gathered from a finished job.

Records only; every number in mm, degrees and kg. The drawing itself needs
nothing else of the job.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from export.drawing.furniture import SheetSize, TitleFields
from export.drawing.view import Projection
from export.number import Units
from geom.model.part import Part
from geom.space import Frame
from geom.tolerance import SKIN

if TYPE_CHECKING:
    from geom.datum.zero import Zero
    from geom.job import Job
    from geom.stock.report import FaceStock, StockRange, StockReport


_MOSTLY_SOLID: Final = 0.5
"""A face with this share of its area cut from solid has no allowance to speak of."""


_RIM_EFFECT: Final = 0.1
"""Share by which a casting's rounded edges lower the mean stock of a face without being its allowance."""


@dataclass(frozen=True, slots=True)
class DrawingInput:
    """Everything one foundry drawing shows.

    Attributes:
        zero: the frame the views are square to and coordinates are counted in.
        allowances: metal on each machined face by name, mm: what stands at its sign.
        notes: in order, without numbers.
        where: file and table of the title fields, for messages.
        file_name: of the three files, without ending.
    """

    part: Part
    zero: Frame
    units: Units
    sheet: SheetSize
    projection: Projection
    title: TitleFields
    allowances: Mapping[str, float]
    notes: tuple[str, ...]
    where: str
    file_name: str = "drawing"


def drawing_input(job: "Job", stock: "StockReport", zero: "Zero") -> DrawingInput:
    """Return what the drawing of a job shows.

    Raises:
        JobError: a text holds a character the shipped font cannot draw.
    """
    from export.drawing.notes import foundry_notes, mass_text
    from export.files.lettering import check_characters

    settings, part = job.settings, job.part
    asked, where = settings.drawing, f"{settings.label}, [drawing]"
    fields = TitleFields(
        title=asked.title or part.name,
        supplementary=asked.supplementary,
        owner=asked.owner,
        number=asked.number or settings.variant or part.name,  # never the folder: a copied job gives the same bytes
        revision=asked.revision or "-",
        date=asked.date,
        creator=asked.creator,
        approver=asked.approver,
        department=asked.department,
        reference=asked.reference,
        document_type=asked.document_type or "Casting drawing",
        language=asked.language or "en",
        material=part.alloy,
        mass=mass_text(stock.casting_mass, settings.units),
    )
    checked = {name: check_characters(getattr(fields, name), where) for name in fields.__slots__}
    notes = tuple(check_characters(note, where) for note in foundry_notes(job, stock, zero))
    allowances = {face.name: _nominal(face.stock) for face in stock.faces if _has_allowance(face, part)}
    return DrawingInput(
        part, zero.frame, settings.units, asked.sheet, asked.projection, TitleFields(**checked), allowances, notes, where
    )


def _has_allowance(stock: "FaceStock", part: Part) -> bool:
    """Return whether a face has an allowance to speak of: not one cut from solid, nor a step or seat inside a hole."""
    face = next(f for f in part.faces if f.name == stock.name)
    hole = next((h for h in part.holes if h.name == face.hole), None)
    within = hole is not None and not (face.kind == "cylinder" and abs(2 * face.radius - hole.diameter) < SKIN)
    return stock.from_solid < _MOSTLY_SOLID and not within


def _nominal(stock: "StockRange") -> float:
    """Return the metal drawn on a face, mm: the greatest where only a rounded rim is thinner, else the mean (a drafted skin)."""
    return stock.max if stock.max - stock.mean < _RIM_EFFECT * stock.max else stock.mean
