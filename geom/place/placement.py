"""Where the finished part lies in one casting as received, and whether that casting cleans up: records.

Lengths mm, angles degrees, part frame. The drawn casting, fitted to the readings, stays where it is drawn; the
finished part moves in it. Words with numbers are pieces as in `geom.rows.records.Words`: a float is a length in mm.
"""

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from geom.place.stages import Stage
from geom.rigid import Rigid
from geom.rows.words import Note, Words
from geom.settings.place import Freedom
from geom.space import Vec3

FaceState: TypeAlias = Literal["cleans up", "thin", "forgiven", "short", "from solid"]


@dataclass(frozen=True, slots=True)
class FaceTake:
    """What one machined face will lose.

    Attributes:
        take_min: least stock away from the edge band, mm; below 0 where metal is missing; NaN when cut from solid.
        take_max: greatest stock.
        required: stock it should keep; source: as in `geom.stock.required.Need`.
        margin: take_min - required; margin_sigma: its standard deviation.
        bearing: share of the area that cleans up; bearing_needed: least share allowed.
        short_area: mm2 where metal is missing; short_depth: how much at worst, mm; short_at: the middle of that area.
        thinnest: where the stock is least, on the finished part as drawn.
        unseen: share of its area that the scan does not show.
        state: "cleans up"; "thin": below a requirement that only stands by default; "forgiven": short on no more
            than its bearing allows; "short"; "from solid": the casting has no skin over it.
    """

    name: str
    take_min: float
    take_max: float
    required: float
    source: Literal["face", "grade", "default"]
    margin: float
    margin_sigma: float
    bearing: float
    bearing_needed: float
    short_area: float
    short_depth: float
    short_at: Vec3 | None
    thinnest: Vec3
    unseen: float
    state: FaceState


@dataclass(frozen=True, slots=True)
class Binding:
    """A point that holds the least margin where it is.

    Attributes:
        face: its face; at: on the finished part as drawn.
        weight: its multiplier: how much of a mm less required there the least margin would win.
        rate: how its margin changes with shift (mm per mm) and turn (mm per mm at the part's size).
    """

    face: str
    at: Vec3
    weight: float
    rate: tuple[float, float, float, float, float, float]


@dataclass(frozen=True, slots=True)
class Certificate:
    """Why no other place has a better least margin.

    Attributes:
        binding: the points that hold it; weights sum to 1 unless `enough` was all that was asked.
        others: what the kept aims and held freedoms push with; weights . rates + others = 0.
        held_by: what those are, in words.
        gap: size of that sum, mm per mm: 0 but for rounding.
        best: the least margin it proves, mm, at its own linearisation.
    """

    binding: tuple[Binding, ...]
    others: tuple[float, float, float, float, float, float]
    held_by: tuple[str, ...]
    gap: float
    best: float


@dataclass(frozen=True, slots=True)
class Held:
    """What letting go of held freedoms would win: the least margin then, mm, and the move it takes."""

    freedoms: tuple[Freedom, ...]
    least_margin: float
    gain: float
    shift: Vec3
    turn: Vec3


@dataclass(frozen=True, slots=True, eq=False)
class Odds:
    """How sure the least margin is.

    Attributes:
        sigma: standard deviation, mm; low, high: the middle 95 %; likely_least: 95 % of the chances lie above it.
        chance_short: that the least margin is below 0.
        chance_missing: that metal is missing somewhere away from edges.
        metal_low, metal_high: the middle 95 % of the least stock, whatever is required, wherever it turns out to be, mm.
        lean: (6 + k,) how the least margin leans on place and skin, averaged over the chances.
    """

    sigma: float
    low: float
    high: float
    likely_least: float
    chance_short: float
    chance_missing: float
    metal_low: float
    metal_high: float
    lean: "np.typing.NDArray[np.float64]"


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """The answer for one casting.

    Attributes:
        name: of the casting; "" when there is only one.
        least_margin: over all machined faces, mm; odds: how sure.
        pose: where each point of the finished part as drawn goes: p -> rotation p + shift.
        shift, turn: of that pose: mm at the part frame's origin, and the rotation vector in degrees.
        stages: what each aim reached.
        held: what held freedoms cost; None when nothing is held, or nothing would be won.
        rounds: how often the stock was looked at; change: the last step asked for, mm.
        at_rest: whether that was none, however far it might have gone; else the looks ran out.
    """

    name: str
    verdict: Literal["cleans up", "short"]
    least_margin: float
    odds: Odds
    pose: Rigid
    faces: tuple[FaceTake, ...]
    certificate: Certificate
    stages: tuple[Stage, ...]
    held: Held | None
    advice: tuple[Words, ...]
    notes: tuple[Note, ...]
    rounds: int
    change: float
    at_rest: bool

    @property
    def shift(self) -> Vec3:
        """Shift of the part frame's origin, mm."""
        return self.pose.shift

    @property
    def turn(self) -> Vec3:
        """Rotation vector, degrees."""
        return self.pose.turn

    @property
    def margin_sigma(self) -> float:
        """Standard deviation of the least margin, mm."""
        return self.odds.sigma

    @property
    def margin_95(self) -> tuple[float, float]:
        """The middle 95 % of the least margin, mm."""
        return self.odds.low, self.odds.high

    @property
    def thinnest(self) -> FaceTake:
        """The face with least metal, whatever is required."""
        return min((f for f in self.faces if math.isfinite(f.take_min)), key=lambda f: f.take_min)

    @property
    def cleans_up(self) -> bool:
        """Whether the answer is yes."""
        return self.verdict == "cleans up"
