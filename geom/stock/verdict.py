"""Whether the casting as drawn has the metal its machined faces need.

A face is short when metal is missing on more of it than its bearing allows, or
when the job itself asks for more than is there. A need that only stands by
default makes a face thin, which is worth saying and is no "no". Lengths mm.
Measures nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from geom.space import Vec3
from geom.stock.report import ENOUGH, FaceStock, StockReport
from geom.stock.required import Need
from geom.tolerance import SKIN


@dataclass(frozen=True, slots=True)
class Shortfall:
    """One face that has less than it needs.

    Attributes:
        face: its name.
        least: stock where it is thinnest, mm; below zero where metal is missing.
        needed: least stock it must keep, mm.
        share: of its area that has less than it needs.
        place: where it is thinnest, part frame.
    """

    face: str
    least: float
    needed: float
    share: float
    place: Vec3

    @property
    def missing(self) -> float:
        """How much metal is wanting, mm."""
        return self.needed - self.least


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the stock comes to.

    Attributes:
        short: faces that will not clean up, or keep less than the job asks for; any makes the answer "no".
        thin: faces below the allowance of the grade nobody chose.
    """

    short: tuple[Shortfall, ...]
    thin: tuple[Shortfall, ...]

    @property
    def is_enough(self) -> bool:
        """Whether the answer is yes."""
        return not self.short


def verdict(report: StockReport, needs: Mapping[str, Need]) -> Verdict:
    """Return which faces are short and which are thin, in the part's order.

    Args:
        needs: by face name, as the stock was measured against.
    """
    short: list[Shortfall] = []
    thin: list[Shortfall] = []
    for face in report.faces:
        need = needs[face.name]
        if _lacks_metal(face, need.bearing):
            short.append(_shortfall(face, 0.0, face.short_fraction))
        elif _below(face, need):
            found = _shortfall(face, face.required, face.below_fraction)
            (thin if need.source == "default" else short).append(found)
    return Verdict(tuple(short), tuple(thin))


def _lacks_metal(face: FaceStock, bearing: float) -> bool:
    """Tell whether metal is missing; a skin that meets the face in a line along its edge is none."""
    at_edge = face.least_in_band if face.least_in_band is not None else 0.0
    return (face.least_inside < -ENOUGH or at_edge < -SKIN) and face.short_fraction > 1.0 - bearing


def _below(face: FaceStock, need: Need) -> bool:
    return face.least_inside < need.amount - ENOUGH and face.below_fraction > 1.0 - need.bearing


def _shortfall(face: FaceStock, needed: float, share: float) -> Shortfall:
    return Shortfall(face.name, face.stock.min, needed, share, face.thinnest)
