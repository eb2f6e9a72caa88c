"""What a job asks of its prints, as records: the printer, and the pattern.

Every value checked, mm and degrees; `job_schema` has the keys, their limits and
why each default stands. Knows nothing of solids.
"""

from dataclasses import dataclass, field
from typing import Final, Literal, TypeAlias

from geom.space import Vec3
from geom.tolerance import PRINT_CHORD

Draw: TypeAlias = Literal["x", "y", "z"]


HOLLOW_LINES: Final = 3
"""Lines of the nozzle that the wall of a hollow print has at least: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Printer:
    """`[printer]`: the machine that prints, and what its prints need.

    Attributes:
        bed: greatest print along X, Y and Z, mm.
        nozzle: width of the finest wall it lays, mm.
        hole_growth: added to the diameter of every hole and bore of a print, mm: prints pull holes in.
        gap: at each side between printed pieces that go together, mm.
        chord: greatest distance of a facet from the true surface, mm.
        wall: least left round a dowel, mm.
        pin: diameter of the dowels that line pieces up, mm.
        hollow: wall left on every face and hole of a test-fit print made hollow, mm; None for a solid one.
        stated: keys the job gives itself.
    """

    bed: Vec3 = (220.0, 220.0, 250.0)
    nozzle: float = 0.4
    hole_growth: float = 0.0
    gap: float = 0.15
    chord: float = PRINT_CHORD
    wall: float = 1.5
    pin: float = 6.0
    hollow: float | None = None
    stated: frozenset[str] = field(default_factory=frozenset)


@dataclass(frozen=True, slots=True)
class Step:
    """`[[pattern.step]]`: a rectangle across the draw over which the halves part at another height.

    Attributes:
        over: two opposite corners, along the two part axes across the draw, in the order of the alphabet, mm.
        parting: height there, along the draw, mm.
        where: file, line and key, for messages.
    """

    over: tuple[float, float, float, float]
    parting: float
    where: str = "[[pattern.step]]"


@dataclass(frozen=True, slots=True)
class PatternSettings:
    """`[pattern]`: how the pattern is made; the parting plane is `[casting] parting`.

    Attributes:
        contraction: a fraction; None for the foundry's, or else the alloy's own.
        master: alloy of a metal pattern to be cast from the printed one; "" where the print is the pattern.
        draw: part axis along which the halves are drawn.
        draft: least draft of a face along the draw, degrees.
        cores: make cores of round bores that would not draw.
        steps: where the parting lies at other heights than the plane.
        text: raised on the pattern; "" for none.
        text_height: of its capitals, mm; None to fit the face.
        where: file, line and key of each value given, for messages.
    """

    contraction: float | None = None
    master: str = ""
    draw: Draw = "z"
    draft: float = 1.0
    cores: bool = True
    steps: tuple[Step, ...] = ()
    text: str = ""
    text_height: float | None = None
    where: dict[str, str] = field(default_factory=dict)
