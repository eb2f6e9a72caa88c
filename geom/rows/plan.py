"""What a plan of set-ups is: how the work is held, where its zero is found, what is cut, and why.

Records only. Lengths mm; directions and names in the part frame, boxes and
heights in the set-up's own (X right, Y away, Z up, from its zero). Knows
nothing of how a plan is found (`planner`), nor of rows.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from geom.datum.zero import Zero
from geom.rows.records import Box, LeftOut, Words
from geom.space import Frame, Vec3

Method: TypeAlias = Literal["vise", "table", "angle plate", "nest"]
"""Between the jaws; strapped down on the table; strapped to an angle plate that stands on the table."""

Place: TypeAlias = Literal["seat", "fixed jaw", "clamp"]


@dataclass(frozen=True, slots=True)
class Packing:
    """What lies between the work and what holds it.

    Attributes:
        words: "soft round rod 8 at half the grip": lengths as floats.
    """

    place: Place
    words: Words


@dataclass(frozen=True, slots=True)
class Hold:
    """How the work is held.

    Attributes:
        seat: name of the face that sits down.
        fixed_jaw: face against the fixed jaw, at the back (or against the angle plate, or a stop); "" without one.
        clamp: face the movable jaw, or the straps, bear on; pressed: all of them where straps bear on several.
        machined: which of seat, fixed jaw and clamp are machined by then.
        parallels: height of what the seat stands on above the bed or the table, or above the tops of the jaws; 0 flat on it.
        grip: height of the jaws that bears on the work.
        stick_out: from the top of the jaws to the highest metal of the work.
        rests: where a rough seat is held up: three points in the set-up frame, one for a ridge; () for a machined one.
        boxes: jaws, bed, table, parallels, plate.
        on_jaws: what overhangs the jaws sits on their tops, and the rest hangs between them.
        on_ridge: nothing level looks down: the work stands on its lowest edge or ridge.
    """

    method: Method
    seat: str
    fixed_jaw: str
    clamp: str
    machined: frozenset[Place]
    parallels: float
    grip: float
    stick_out: float
    packing: tuple[Packing, ...] = ()
    rests: tuple[Vec3, ...] = ()
    boxes: tuple[Box, ...] = ()
    pressed: tuple[str, ...] = ()
    on_jaws: bool = False
    on_ridge: bool = False

    @property
    def by_studs(self) -> bool:
        """Whether studs through the work's own holes hold it, so that no strap has a bar."""
        return any(str(packing.words[0]).startswith("studs") for packing in self.packing)


How: TypeAlias = Literal["boss", "bore", "middle", "edge", "height", "sweep"]
"""Four touches round a boss; four in a bore; two on a pair of faces; one touch on an edge; one on a level face; an indicator."""


@dataclass(frozen=True, slots=True)
class PickUp:
    """How one or two axes find zero.

    Attributes:
        axes: "xy", "x", "y" or "z".
        faces: the faces that are touched, in order; both of a pair.
        machined: whether they are machined by then; else the answer is as sure as the skin.
        height: Z of the touches where they go sideways, set-up frame: the same for all, so that draft cancels.
        missed: which face of a pair is not touched, and why; "" before there are rows. spread: how far zero may then be off, mm;
            None by a machined face.
    """

    axes: Literal["xy", "x", "y", "z"]
    how: How
    faces: tuple[str, ...]
    machined: bool
    height: float | None = None
    missed: str = ""
    spread: float | None = None


@dataclass(frozen=True, slots=True)
class PlannedSetup:
    """One clamping.

    Attributes:
        frame: the set-up's: origin at the job's zero point, Z up to the spindle, Y towards the fixed jaw.
        features: names of the faces and holes it makes; every one that is planned is in one set-up only.
        leaves: of those faces, the ones that are cut short here and finished later: name -> mm.
        why: reasons, a sentence each, the most telling first.
        cautions: what must be read before clamping.
        milled: which cutter its rows mill each face with first, face -> cutter; () before there are rows.
        holding: how the work is held, as the table of its rows says it; () before there are rows.
        lacks: what the shop lacks for its rows and what stands in; () before there are rows.
        faults: what is wrong with its rows, which no other plan does without; () before there are rows.
    """

    number: int
    up: Vec3
    hold: Hold
    frame: Frame
    zero: Zero
    pick_ups: tuple[PickUp, ...]
    features: tuple[str, ...]
    leaves: tuple[tuple[str, float], ...] = ()
    why: tuple[Words, ...] = ()
    cautions: tuple[Words, ...] = ()
    milled: tuple[tuple[str, str], ...] = ()
    holding: tuple[Words, ...] = ()
    lacks: tuple[Words, ...] = ()
    faults: tuple[Words, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """All set-ups of a job, in order.

    Attributes:
        cost: what plans are compared by, least first: set-ups, critical features away from their zero, tool changes, travel.
        rejected: the best plan not taken and why, in one line; () when there was no other.
        assembly: features that are made with the mating part.
        left_out: features that no set-up makes.
        round_left: faces whose inner corners stay rounder than drawn, whichever way they are made.
    """

    setups: tuple[PlannedSetup, ...]
    cost: tuple[float, ...]
    rejected: Words = ()
    assembly: tuple[LeftOut, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    notes: tuple[Words, ...] = ()
    round_left: "tuple[Blocked, ...]" = ()


@dataclass(frozen=True, slots=True)
class Blocked:
    """A feature that no set-up makes, or not as it is drawn, why, and what would open it."""

    feature: str
    why: Words
    opens: Words

    @property
    def says(self) -> Words:
        """The answer as one sentence, without its full stop."""
        end: Words = (". What would open it: ", *self.opens) if self.opens else ()
        return (f"{self.feature}: ", *self.why, *end)


@dataclass(frozen=True, slots=True)
class NoPlan:
    """The answer when no set-ups make the part."""

    blocked: tuple[Blocked, ...]
    notes: tuple[Words, ...] = ()
