"""Rows: one thing to do at one place, as exact numbers in the set-up's frame.

A `Setup` is one clamping: which way is up, where its zero is, and its rows in
working order. Lengths mm, angles degrees. X right, Y away, Z up, from the
set-up's zero; None on an axis that is not driven. Nothing here is rounded:
`export.number` does that once. Knows nothing of how rows are found or printed.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

from geom.datum.zero import Zero
from geom.rows.words import About as About
from geom.rows.words import Words as Words
from geom.space import Frame, Vec3

Action: TypeAlias = Literal[
    "pick up",
    "check",
    "face",
    "edge",
    "slot",
    "spot-face",
    "spot",
    "drill",
    "flatten",
    "bore",
    "counterbore",
    "countersink",
    "ream",
    "tap",
    "measure",
    "break edges",
]
ACTIONS: tuple[Action, ...] = get_args(Action)
"""The trade's words for what a row does, in the order a set-up does them."""

CUTTING: tuple[Action, ...] = ACTIONS[ACTIONS.index("face") : ACTIONS.index("measure")]
"""The actions that take metal off with the spindle; the others find, look, measure or are done by hand."""

ToolKind: TypeAlias = Literal[
    "face mill",
    "end mill",
    "spotting drill",
    "drill",
    "flat drill",
    "boring head",
    "counterbore",
    "countersink",
    "reamer",
    "tap",
    "edge finder",
    "indicator",
    "height gauge",
    "caliper",
    "micrometer",
    "plug gauge",
    "thread gauge",
    "file",
]
TOOL_KINDS: tuple[ToolKind, ...] = get_args(ToolKind)

Towards: TypeAlias = Literal["", "+x", "-x", "+y", "-y", "-z"]
TOWARDS: tuple[Towards, ...] = get_args(Towards)
"""Which way a finder moves when it meets the work, set-up frame; "" for everything else."""


@dataclass(frozen=True, slots=True)
class Tool:
    """A cutter, or what finds and measures.

    Attributes:
        kind: what it is.
        label: its size as the shop calls it ("6.8 mm", "no. 7", "27/64", "M8", "10 H7"); "" where the diameter says it all.
        diameter: mm; a boring head's is what it is set to, a tap's its major diameter.
        point_angle: included angle of a cutter that ends in a cone, degrees; None for a flat end.
        flute_length: how high it cuts along its side, mm; 0 where that is not known.
        reach: from the holder to its lowest point, mm; 0 where that is not known.
        pilot: diameter of a counterbore's pilot, mm; None without one.
    """

    kind: ToolKind
    label: str
    diameter: float
    point_angle: float | None = None
    flute_length: float = 0.0
    reach: float = 0.0
    pilot: float | None = None

    def __post_init__(self) -> None:
        if self.kind not in TOOL_KINDS:
            raise ValueError(f"tool kind {self.kind!r} is none of {', '.join(TOOL_KINDS)}")
        if not (math.isfinite(self.diameter) and self.diameter >= 0):
            raise ValueError(f"{self.kind} diameter {self.diameter} mm must be 0 or more (0: any size)")
        if self.point_angle is not None and not 0 < self.point_angle < 180:
            raise ValueError(f"{self.kind} point angle {self.point_angle} degrees must lie between 0 and 180")

    @property
    def point_length(self) -> float:
        """How far the tip lies below where the full diameter ends, mm."""
        if self.point_angle is None:
            return 0.0
        return 0.5 * self.diameter / math.tan(math.radians(self.point_angle / 2.0))


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a coordinate table.

    Attributes:
        number: from 1 within the set-up.
        feature: name of the face or hole it belongs to.
        x, y: where the cutter's axis stands, or where a straight move starts; None = not driven.
        z: where the cutter's lowest point goes: the tip of a pointed tool.
        x_to, y_to: where a straight move ends; None = that axis stays.
        z_full: where the full diameter of a pointed tool ends; None for a flat end.
        leave: metal this row leaves on the face on purpose, mm.
        limits: least and greatest allowed, mm: of the diameter in a cutting row, of `nominal` in a measuring one.
        nominal: what a measuring row ought to read, mm.
        rpm, feed: what to set; feed in mm/min. None where no table says or nothing turns.
        peck: how far a deep drill goes before it is drawn out, mm.
        towards: which way a finder moves when it meets the work.
        spread: how far the readout of a check may be from its coordinate either way, mm; of a pick-up on one side of a pair
            alone, how far the zero may be off.
        missed: which face of its pair a pick-up does without, and why; "" where it does without none.
        note: words only; every length has a field of its own.
    """

    number: int
    feature: str
    action: Action
    tool: Tool
    x: float | None
    y: float | None
    z: float | None
    x_to: float | None = None
    y_to: float | None = None
    z_full: float | None = None
    leave: float = 0.0
    limits: tuple[float, float] | None = None
    note: str = ""
    nominal: float | None = None
    rpm: float | None = None
    feed: float | None = None
    peck: float | None = None
    towards: Towards = ""
    spread: float | None = None
    missed: str = ""

    def __post_init__(self) -> None:
        where = f"row {self.number} ({self.action} {self.feature!r})"
        if self.action not in ACTIONS:
            raise ValueError(f"{where}: action is none of {', '.join(ACTIONS)}")
        if not all(math.isfinite(value) for value in self.driven):
            raise ValueError(f"{where}: a coordinate is not a finite number")
        if not self.driven and self.action in (*CUTTING, "check"):
            raise ValueError(f"{where}: drives no axis")
        if (self.x_to is not None and self.x is None) or (self.y_to is not None and self.y is None):
            raise ValueError(f"{where}: a move ends on an axis that it does not start on")
        if self.limits is not None and not self.limits[0] <= self.limits[1]:
            raise ValueError(f"{where}: limits {self.limits} mm are the wrong way round")

    @property
    def driven(self) -> tuple[float, ...]:
        """Every coordinate of the row, mm, in the order x, y, z, x to, y to, z of the full diameter."""
        return tuple(v for v in (self.x, self.y, self.z, self.x_to, self.y_to, self.z_full) if v is not None)


@dataclass(frozen=True, slots=True)
class Pattern:
    """Like holes on one circle or grid, in the order they are numbered.

    Attributes:
        name: "circle 1", "rectangle 2".
        holes: their names, in order: a circle runs counter-clockwise from +X seen from above, a
            rectangle left to right in rows, the nearest row first.
        centre: x, y in the set-up frame, mm.
        size: (diameter,) of the circle, or (width along X, depth along Y) between the outermost axes, mm.
    """

    name: str
    kind: Literal["circle", "rectangle"]
    holes: tuple[str, ...]
    centre: tuple[float, float]
    size: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A feature that no row of the job makes, and why, in words."""

    feature: str
    why: str


@dataclass(frozen=True, slots=True)
class Box:
    """A box of steel that stands round the work: a jaw, the bed, a parallel; corners in the set-up frame, mm."""

    name: str
    low: Vec3
    high: Vec3

    @property
    def middle(self) -> tuple[float, float]:
        """X and Y of its middle."""
        return 0.5 * (self.low[0] + self.high[0]), 0.5 * (self.low[1] + self.high[1])


@dataclass(frozen=True, slots=True)
class Setup:
    """One clamping of the work.

    Attributes:
        number: from 1.
        up: the direction that faces the spindle, part frame.
        frame: the set-up's own frame: origin at its zero, Z along `up`; part frame, mm.
        zero: how the zero was chosen.
        features: faces and holes it makes, in row order.
        left_out: features that would belong here but get no row.
        holding: how the work is held, one sentence each.
        boxes: what stands round it and no cutter may meet.
        notes: what was assumed and must be read before the first cut.
        lacks: what the shop lacks for it and what stands in, features first; among the notes too.
    """

    number: int
    up: Vec3
    frame: Frame
    zero: Zero
    rows: tuple[Row, ...]
    features: tuple[str, ...] = ()
    patterns: tuple[Pattern, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    notes: tuple[Words, ...] = ()
    holding: tuple[Words, ...] = ()
    boxes: tuple[Box, ...] = ()
    lacks: tuple[Words, ...] = ()


def tools_of(setup: Setup) -> tuple[Tool, ...]:
    """Return the set-up's tools in order of first use."""
    return tuple(dict.fromkeys(row.tool for row in setup.rows))


def coordinates_of(setup: Setup) -> Iterator[float]:
    """Yield every coordinate the set-up's table prints, mm."""
    for row in setup.rows:
        yield from row.driven
