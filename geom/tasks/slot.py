"""One straight slot of a part: where it runs, how wide, how deep, which of its ends are open.

Lengths mm, part frame. A record; knows nothing of how slots are found or cut.
"""

from dataclasses import dataclass

from geom.model.part import PartFace
from geom.space import Vec3


@dataclass(frozen=True, slots=True)
class FoundSlot:
    """One slot.

    Attributes:
        name: of the face its rows go by: the floor, or the first round end of a through slot.
        faces: every face of it.
        walls: its two flat walls.
        ends: its centre line: to the axis of a round end, to where the longer wall stops at an open one; both in one plane square
            to `axis`.
        open: which of the ends a cutter runs out of, into the open.
        axis: along its depth; out of the metal when it is blind.
        blind: it has a floor.
    """

    name: str
    faces: tuple[PartFace, ...]
    walls: tuple[PartFace, PartFace]
    ends: tuple[Vec3, Vec3]
    open: tuple[bool, bool]
    axis: Vec3
    width: float
    blind: bool

    @property
    def surfaces(self) -> tuple[int, ...]:
        """The surfaces of all its faces."""
        return tuple(number for face in self.faces for number in face.surfaces)
