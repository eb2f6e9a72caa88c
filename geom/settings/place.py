"""What a job asks of the placement: limits on location, the order of the aims, freedoms that stay as they are.

Records only; lengths mm.
"""

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from geom.errors import JobError

Freedom: TypeAlias = Literal["x", "y", "z", "rx", "ry", "rz"]
FREEDOMS: Final[tuple[Freedom, ...]] = ("x", "y", "z", "rx", "ry", "rz")

Aim: TypeAlias = Literal["demands", "outline", "share"]
AIMS: Final[tuple[Aim, ...]] = ("demands", "outline", "share")

DemandKind: TypeAlias = Literal["concentric", "wall", "distance"]


@dataclass(frozen=True, slots=True)
class Demand:
    """One limit on where machined features lie in the casting.

    Attributes:
        kind: "concentric": the axis of a machined round face within `limit` of the axis of an as-cast one;
            "wall": at least `limit` of metal between a machined face and an as-cast one behind it;
            "distance": an as-cast face within `limit` of its drawn distance from a machined one.
        machined, cast: names of the faces.
        where: file, line and key, for messages.
    """

    kind: DemandKind
    machined: str
    cast: str
    limit: float
    where: str = "placement"

    def __post_init__(self) -> None:
        if self.kind not in ("concentric", "wall", "distance"):
            raise JobError(f"{self.where}: a demand {self.kind!r}; give concentric, wall or distance")
        if not 0 <= self.limit < float("inf"):
            raise JobError(f"{self.where}: a limit of {self.limit} mm; give 0 or more")


@dataclass(frozen=True, slots=True)
class PlacementSettings:
    """`[placement]`.

    Attributes:
        order: what comes after the machined faces' required stock, most important first.
        hold: freedoms in which the finished part stays where the drawing puts it in the casting:
            shifts along x, y, z, turns about rx, ry, rz of the part frame.
        demands: limits on location.
    """

    order: tuple[Aim, ...] = AIMS
    hold: tuple[Freedom, ...] = ()
    demands: tuple[Demand, ...] = ()

    def __post_init__(self) -> None:
        if sorted(self.order) != sorted(AIMS):
            raise JobError(
                f"placement.order is {', '.join(self.order) or 'empty'}; give {', '.join(AIMS)}, each once, in any order"
            )
        wrong = [name for name in self.hold if name not in FREEDOMS]
        if wrong:
            raise JobError(f"placement.hold names {wrong[0]!r}; give some of {', '.join(FREEDOMS)}")
