"""What a job fixes of its set-ups: `[[setups.pin]]`.

Records, and the contradictions that can be told from the job alone. Lengths
mm, angles degrees. Names are checked against part and shop in `pin_check`;
what becomes of a pin is the planner's.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Final, Literal, TypeAlias

from geom.errors import JobError

PinnedHold: TypeAlias = Literal["vise", "table", "angle plate", "nest"]
HOLDS: Final[tuple[PinnedHold, ...]] = ("vise", "table", "angle plate", "nest")

_PLACES: Final = ("seat", "fixed_jaw", "clamp")


@dataclass(frozen=True, slots=True)
class Pin:
    """What is fixed of one set-up; "", None and () leave it to the planner.

    Attributes:
        number: of the set-up, from 1.
        up: a level machined or as-cast face that faces the spindle, or "+x" ... "-z" in the part's own axes.
        seat, fixed_jaw, clamp: names of faces.
        parallels: height of what the seat stands on; 0: straight on the bed or the table.
        features: faces and holes it makes; it may make others too.
        cutter: what its faces and edges are milled with: "16 mm end mill".
        skew: how far the work is clamped turned, counter-clockwise seen from above, as measured.
        where: file, line and key of each thing the job says, by key; "number" is always there.
    """

    number: int
    up: str = ""
    hold: PinnedHold | None = None
    seat: str = ""
    fixed_jaw: str = ""
    clamp: str = ""
    parallels: float | None = None
    features: tuple[str, ...] = ()
    cutter: str = ""
    skew: float = 0.0
    where: Mapping[str, str] = field(default_factory=dict)

    def at(self, key: str) -> str:
        """Return where a key stands, for messages."""
        return self.where.get(key, self.where.get("number", f"setups.pin {self.number}"))

    def __post_init__(self) -> None:
        if self.number < 1:
            raise JobError(f"{self.at('number')}: set-up {self.number}; set-ups are numbered from 1")
        for one, other in combinations(("up", *_PLACES), 2):
            name = getattr(self, other)
            if name and name == getattr(self, one):
                raise JobError(
                    f'{self.at(other)}: "{name}" cannot be both {_place(one)} and {_place(other)} of one set-up; '
                    "name another face, or leave one of the two out"
                )
        twice = next((name for i, name in enumerate(self.features) if name in self.features[:i]), None)
        if twice is not None:
            raise JobError(f'{self.at("features")}: "{twice}" is listed twice; take one out')
        if self.seat and self.seat in self.features:
            raise JobError(
                f'{self.at("features")}: "{self.seat}" is the seat of set-up {self.number}, so it cannot be machined in it; '
                "take it out of features, or name another seat"
            )


@dataclass(frozen=True, slots=True)
class Pins:
    """Every pin of a job, by number."""

    pins: tuple[Pin, ...] = ()

    def __post_init__(self) -> None:
        for one, other in combinations(self.pins, 2):
            if one.number == other.number:
                raise JobError(
                    f"{other.at('number')}: set-up {other.number} is already pinned at {one.at('number')}; join the two pins"
                )
            both = next((name for name in other.features if name in one.features), None)
            if both is not None:
                raise JobError(
                    f'{other.at("features")}: "{both}" is pinned to set-up {other.number} and, at {one.at("features")}, to set-up '
                    f"{one.number}; a feature is made once: take it out of one of them"
                )
        object.__setattr__(self, "pins", tuple(sorted(self.pins, key=lambda pin: pin.number)))

    def __bool__(self) -> bool:
        return bool(self.pins)

    def of(self, number: int) -> Pin | None:
        """Return what is fixed of a set-up, or None."""
        return next((pin for pin in self.pins if pin.number == number), None)

    def number_of(self, feature: str) -> int | None:
        """Return the set-up a feature is pinned to, or None."""
        return next((pin.number for pin in self.pins if feature in pin.features), None)


NO_PINS: Final = Pins()


def _place(key: str) -> str:
    return {"up": "the side that faces up", "seat": "the seat", "fixed_jaw": "against the fixed jaw", "clamp": "clamped on"}[key]
