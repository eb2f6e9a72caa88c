"""The shop: its mill, its vise and the cutters on hand, as records.

Lengths mm, power W, force N, speeds rpm, angles degrees. Knows what is owned
and what was assumed to be; not how a shop.toml says it (`shop_file`), nor
which cutter a job wants (`cutter_choice`).
"""

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from geom.standards.cutting import Jaw

CutterKind: TypeAlias = Literal[
    "face mill", "end mill", "spotting drill", "drill", "boring head", "counterbore", "countersink", "reamer", "tap"
]
"""The words of `rows.ToolKind`; a flat drill is ground from a drill and is not listed."""

CutterMaterial: TypeAlias = Literal["high-speed steel", "carbide"]
Reads: TypeAlias = Literal["table", "head", "quill"]
FinderKind: TypeAlias = Literal["edge finder", "indicator"]


@dataclass(frozen=True, slots=True)
class Mill:
    """A vertical mill.

    Attributes:
        travel: of X, Y and Z.
        spindle_to_table: least and greatest distance from spindle nose to table.
        quill: its travel.
        speeds: every spindle speed, rising; empty when `speed_range` stands instead.
        speed_range: slowest and fastest of a variable drive, or None.
        power: of the motor.
        efficiency: share of it that reaches the cutter.
        readout: the axes with a scale: "x", "y", "z".
        reads: what the Z scale moves with.
        step: least count of the readout where the shop states it, or None.
    """

    travel: tuple[float, float, float]
    spindle_to_table: tuple[float, float]
    quill: float
    speeds: tuple[float, ...]
    speed_range: tuple[float, float] | None
    power: float
    efficiency: float
    readout: tuple[str, ...]
    reads: Reads
    step: float | None = None

    @property
    def cutting_power(self) -> float:
        """Power at the cutter, W."""
        return self.power * self.efficiency

    @property
    def slowest(self) -> float:
        """Slowest spindle speed, rpm."""
        return self.speed_range[0] if self.speed_range else self.speeds[0]

    @property
    def fastest(self) -> float:
        """Fastest spindle speed, rpm."""
        return self.speed_range[1] if self.speed_range else self.speeds[-1]


@dataclass(frozen=True, slots=True)
class JawScrews:
    """How jaws are screwed to a vise: two screws level with each other; holes right through, heads sunk from the front.

    Attributes:
        spacing: between the two; height: over the foot of the jaw.
        hole: of the screw; counterbore: of its head.
        assumed: part of it nobody stated.
    """

    spacing: float
    height: float
    hole: float
    counterbore: float
    assumed: bool


@dataclass(frozen=True, slots=True)
class Vise:
    """A vise and what else holds work on the table.

    Attributes:
        jaw_width: along the jaws.
        jaw_height: from bed to the top of the jaws.
        opening: greatest distance between the jaws.
        bed_height: of the bed above the table.
        matched_reference: a block or packing of known height stands beside it, so a height is picked up without cutting.
        jaw: face of the jaws, for friction.
        force: what it clamps with.
        strap_force: what one strap presses the work down with: where not stated 9 kN. An M12 stud drawn up with 40 N m pulls
            40 / (0.2 x 0.012) = 17 kN (nut factor 0.2, from memory); 15 of 35 mm from the nose, 20 / 35 of that come down there.
        table_clamps: strap clamps and studs are there.
        angle_plate: its height and width, or None.
        parallels: their heights, rising.
        soft_strips: their thicknesses.
        soft_rods: their diameters.
        screw_spacing, screw_height, screw_hole, screw_counterbore: of its jaws (`JawScrews`), or None.
    """

    jaw_width: float
    jaw_height: float
    opening: float
    bed_height: float
    matched_reference: bool
    jaw: Jaw
    force: float
    strap_force: float
    table_clamps: bool
    angle_plate: tuple[float, float] | None
    parallels: tuple[float, ...]
    soft_strips: tuple[float, ...]
    soft_rods: tuple[float, ...]
    screw_spacing: float | None = None
    screw_height: float | None = None
    screw_hole: float | None = None
    screw_counterbore: float | None = None

    @property
    def screws(self) -> JawScrews:
        """The screws of its jaws; where not stated two 8 mm socket heads, at six tenths of the width and half the height.

        Holes of 9 and 15 mm are DIN EN 20273 and DIN 974-1, from memory; where they sit is common practice, no source.
        """
        stated = (self.screw_spacing, self.screw_height, self.screw_hole, self.screw_counterbore)
        usual = (round(0.6 * self.jaw_width), round(0.5 * self.jaw_height), 9.0, 15.0)
        spacing, height, hole, counterbore = (u if s is None else s for s, u in zip(stated, usual, strict=True))
        return JawScrews(spacing, height, hole, counterbore, None in stated)


@dataclass(frozen=True, slots=True)
class Cutter:
    """One cutter on hand.

    Attributes:
        label: its size as the shop calls it: "12 mm", "no. 7", "27/64", "M8".
        diameter: a tap's is its major diameter, a boring head's the largest bore.
        flutes: teeth or inserts.
        flute_length: how high it cuts along its side; 0 where it only cuts at its end.
        reach: from the holder to its end.
        centre_cutting: it may plunge.
        point_angle: of a drill, spotting drill or countersink; None for flat ends.
        pilot: diameter of a counterbore's pilot, or None.
        smallest: a boring head's least bore, or None.
        grade: a reamer's hole: "H7"; "" otherwise.
    """

    kind: CutterKind
    label: str
    diameter: float
    flutes: int
    flute_length: float
    reach: float
    material: CutterMaterial = "high-speed steel"
    centre_cutting: bool = False
    point_angle: float | None = None
    pilot: float | None = None
    smallest: float | None = None
    grade: str = ""

    @property
    def name(self) -> str:
        """Size and kind, as a sentence says it: "12 mm end mill", "M8 tap"."""
        return f"{self.label} {self.kind}"


@dataclass(frozen=True, slots=True)
class Finder:
    """What finds an edge or a centre: an edge finder's tip diameter (0 for an indicator), and how far down it reaches."""

    kind: FinderKind
    label: str
    diameter: float
    reach: float


@dataclass(frozen=True, slots=True)
class Shop:
    """All of one shop.

    Attributes:
        name: as the file calls it.
        units: "mm" or "inch": how its sizes are called.
        cutters: every cutter, in the order of the file, kind by kind.
        assumed: which of "mill", "vise", "cutters" and "finders" nobody stated: those are the bundled plausible shop's,
            and every sheet that leans on them says so.
    """

    name: str
    units: str
    mill: Mill
    vise: Vise
    cutters: tuple[Cutter, ...]
    finders: tuple[Finder, ...]
    assumed: tuple[str, ...] = ()

    def of(self, kind: CutterKind) -> tuple[Cutter, ...]:
        """Return the cutters of one kind, narrowest first, of equals the shortest."""
        return tuple(sorted((c for c in self.cutters if c.kind == kind), key=lambda c: (c.diameter, c.reach, c.label)))


def without(shop: Shop, cutter: Cutter) -> Shop:
    """Return the shop with one cutter lent out."""
    return replace(shop, cutters=tuple(c for c in shop.cutters if c != cutter))
