"""What the machinist measured on the casting as received: records.

Lengths mm. A touch is in its *measuring frame* (a mill's readout, an arm); every
rough place (`at`) is in the part frame, as on the drawing. A face is named as
on the finished part: a machined face's name means the raw skin over it. Knows
nothing of files or of where the casting is.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal, TypeAlias

from geom.space import Vec3

Kind: TypeAlias = Literal["touch", "height", "thickness", "low spot", "cut and see", "scan"]

SIGMA: Final[dict[Kind, float]] = {
    "touch": 0.05,
    "height": 0.05,
    "thickness": 0.10,
    "low spot": 0.10,
    "cut and see": 0.10,
    "scan": 0.10,
}
"""Standard uncertainty, mm, of a reading that states none: the tool's own error is small beside the roughness of a
sand-cast skin (common practice, no source)."""

ROUGH_PLACE: Final = 5.0
"""How far off, mm, a rough place may be (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Touch:
    """One touch with a ball or an edge finder.

    Attributes:
        face: name, or None when only the approach is known.
        approach: unit direction in which the tip moved, measuring frame; None when not said.
        point: tip centre as read, measuring frame.
        tip_radius: mm; 0 for a point already on the skin.
        known: which of x, y, z were read; the others stand as 0 in `point`.
    """

    face: str | None
    approach: Vec3 | None
    point: Vec3
    tip_radius: float
    sigma: float
    source: str
    known: tuple[bool, bool, bool] = (True, True, True)


@dataclass(frozen=True, slots=True)
class Height:
    """A height over the surface plate on which the raw skin of `seat` stands.

    Attributes:
        direction: unit, away from the plate, part frame (drawn).
        at: rough place, part frame; None when not said.
    """

    face: str
    direction: Vec3
    value: float
    at: Vec3 | None
    sigma: float
    source: str
    seat: str = ""


@dataclass(frozen=True, slots=True)
class Thickness:
    """Calipers across two faces; twice the same round face is its diameter."""

    faces: tuple[str, str]
    value: float
    at: Vec3 | None
    sigma: float
    source: str


@dataclass(frozen=True, slots=True)
class LowSpot:
    """A hollow under the straightedge: depth below the skin around it.

    Attributes:
        size: along the first and the second of the part's axes X, Y, Z that lie in the face.
    """

    face: str
    at: Vec3 | None
    size: tuple[float, float]
    depth: float
    sigma: float
    source: str


@dataclass(frozen=True, slots=True)
class CutAndSee:
    """A patch that stayed untouched after a light cut.

    Attributes:
        cut: taken off the skin around the patch.
        size: of the untouched patch, as in `LowSpot`.
        depth: of the patch below the cut.
    """

    face: str
    cut: float
    at: Vec3 | None
    size: tuple[float, float]
    depth: float
    sigma: float
    source: str


@dataclass(frozen=True, slots=True)
class HintPoint:
    """A point of the scan, mm in the scan's own frame, that lies on a named face."""

    face: str
    point: Vec3
    source: str


@dataclass(frozen=True, slots=True)
class ScanFile:
    """A scan to read.

    Attributes:
        sigma: standard uncertainty, mm, that all points of a face share; `stated`: whether the file says it.
        hints: points on named faces.
    """

    path: Path
    unit: Literal["mm", "cm", "m", "inch"]
    sigma: float
    hints: tuple[HintPoint, ...]
    source: str
    stated: bool = True


@dataclass(frozen=True, slots=True)
class Readings:
    """All readings of one casting.

    Attributes:
        name: of its folder; "" when there is one casting only.
        frame: what the touches were measured with, as the file says.
        warnings: whole sentences, each with file and line.
    """

    name: str = ""
    touches: tuple[Touch, ...] = ()
    heights: tuple[Height, ...] = ()
    thicknesses: tuple[Thickness, ...] = ()
    low_spots: tuple[LowSpot, ...] = ()
    cuts: tuple[CutAndSee, ...] = ()
    scan: ScanFile | None = None
    warnings: tuple[str, ...] = ()
    frame: str = ""
    files: tuple[Path, ...] = field(default=(), repr=False)

    @property
    def count(self) -> int:
        """How many single readings there are, a scan left out."""
        return len(self.touches) + len(self.heights) + len(self.thicknesses) + len(self.low_spots) + len(self.cuts)
