"""What a job asks for, as records: every value checked, mm and degrees.

`job_schema` says which keys there are, `job` reads them. Names in `faces` and
`holes` are those the part ends up with. Knows nothing of the solids.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal, TypeAlias

from geom.settings.parting import Parting
from geom.settings.place import PlacementSettings
from geom.shop.file import default_shop
from geom.shop.records import Shop
from geom.space import Vec3
from geom.standards.callout import Callout
from geom.toml.pins import NO_PINS, Pins
from geom.toml.print_settings import PatternSettings, Printer
from geom.units import MM_PER_INCH

Units: TypeAlias = Literal["mm", "inch"]
Parameter: TypeAlias = float | str

READINGS: Final = "readings"
"""The folder, beside job.toml, of what was measured on the castings."""

SHOP_FILE: Final = "shop.toml"
"""The file, beside job.toml, of what the shop owns, where job.toml neither describes a shop nor names a file."""


@dataclass(frozen=True, slots=True)
class PartSettings:
    """`[part]`: either both STEP files or the model; `units` is what bare numbers in job.toml mean."""

    name: str
    units: Units
    alloy: str
    finished: Path | None = None
    casting: Path | None = None
    model: Path | None = None


@dataclass(frozen=True, slots=True)
class DatumSettings:
    """`[datum]`: how the zero is named; all empty when the job says nothing.

    Attributes:
        zero: a bore, boss or hole whose axis is X 0 and Y 0.
        middle: two or four faces, in pairs; zero is midway between each pair.
        corner: two or three faces that meet at zero.
        pattern: three holes or more on a circle, or four on a rectangle; zero is the centre.
        z: the plane face that is Z 0; its outward normal faces up.
        x: which way X points: "+x" ... "-z", or "towards NAME".
        where: file, line and key of each value given, for messages.
    """

    zero: str | None = None
    middle: tuple[str, ...] = ()
    corner: tuple[str, ...] = ()
    pattern: tuple[str, ...] = ()
    z: str | None = None
    x: str | None = None
    where: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Readout:
    """`[readout]`: what the display shows.

    Attributes:
        units: "mm" or "inch".
        step: least count, mm (0.0005 in is 0.0127 mm).
        flips: +1 or -1 for X, Y, Z: -1 where the display counts the other way than X right, Y away, Z up.
    """

    units: Units = "mm"
    step: float = 0.005
    flips: tuple[int, int, int] = (1, 1, 1)

    @property
    def unit_mm(self) -> float:
        """Millimetres in one display unit."""
        return MM_PER_INCH if self.units == "inch" else 1.0


@dataclass(frozen=True, slots=True)
class FaceSettings:
    """`[faces.NAME]`: mm; None where the job says nothing.

    Attributes:
        name: a new name for the face.
        required: least stock it must keep.
        tolerance: plus and minus, about its place on the drawing.
        bearing: least share of its area that must clean up.
        leave: metal left on it for a finishing cut.
        where: file, line and table, for messages.
    """

    name: str | None = None
    required: float | None = None
    tolerance: float | None = None
    bearing: float = 1.0
    leave: float | None = None
    where: str = ""


@dataclass(frozen=True, slots=True)
class HoleSettings:
    """`[holes.NAME]`: a new name, what the hole is for, the drill's point angle in degrees, whether it waits for assembly."""

    name: str | None = None
    callout: Callout | None = None
    point_angle: float | None = None
    where: str = ""
    assembly: bool = False


@dataclass(frozen=True, slots=True)
class ShopSettings:
    """Habits in `[shop]`: the cutter along edges (diameter, mm), what it leaves for finishing (mm), the drills' point angle."""

    cutter: float = 12.0
    leave: float = 0.0
    point_angle: float = 118.0


@dataclass(frozen=True, slots=True)
class Feeder:
    """`[[casting.feeder]]`: a stub on a face, its middle in the part frame and its diameter, mm; where: file, line and key."""

    face: str
    at: Vec3
    size: float
    where: str = ""


@dataclass(frozen=True, slots=True)
class CastingSettings:
    """`[casting]`: what the foundry is asked for.

    Attributes:
        grade: dimensional casting tolerance grade of ISO 8062-3, 1 to 16.
        allowance_grade: required machining allowance grade of ISO 8062-3, "A" to "K".
        allowance_stated: the job names the allowance grade itself, so a face below it is a "no".
        draft: degrees; None when the job does not say.
        radius: least cast fillet and corner radius, mm; None when the job does not say.
        parting: height of the parting plane along the pattern's draw, part frame, mm; None when the job does not say.
        feeders: where feeders were cut off.
    """

    grade: int = 11
    allowance_grade: str = "G"
    allowance_stated: bool = False
    draft: float | None = None
    radius: float | None = None
    parting: float | None = None
    feeders: tuple[Feeder, ...] = ()


@dataclass(frozen=True, slots=True)
class FoundrySettings:
    """`[foundry]`: who pours and how; `contraction` is a fraction, None for the alloy's own."""

    name: str = ""
    process: str = ""
    contraction: float | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawingSettings:
    """`[drawing]`: sheet, projection and the title block fields of ISO 7200; empty text where the job says nothing.

    Attributes:
        general: class of ISO 2768-1 for machined sizes without limits.
        edges: how far sharp edges are broken, mm; None where the job does not say.
        paper: of the set-up sheets; None for the one that goes with the readout's units.
    """

    projection: Literal["first", "third"] = "first"
    sheet: Literal["A3", "A4"] = "A3"
    title: str = ""
    supplementary: str = ""
    owner: str = ""
    number: str = ""
    revision: str = ""
    date: str = ""
    creator: str = ""
    approver: str = ""
    department: str = ""
    reference: str = ""
    document_type: str = ""
    language: str = ""
    general: str = "m"
    edges: float | None = None
    paper: Literal["a4", "letter"] | None = None


@dataclass(frozen=True, slots=True)
class Assumed:
    """A default that changes what is made: its key, value with unit, and where it comes from."""

    key: str
    value: str
    source: str


@dataclass(frozen=True, slots=True)
class Settings:
    """All of one job.toml, checked.

    Attributes:
        folder: the job folder; for opening files only, never printed on a sheet.
        files: every file the job is read from, job.toml first.
        label: job.toml as the user named it, for messages.
        job_name: name of the job folder, with the variant when there is one.
        units: what sheets show: the job's, unless the command line says otherwise.
        parameters: given to the model, in the order of the job; numbers in the job's units.
        parameters_from: who gave them, for messages: job.toml, --set, or both.
        tooling: the mill, the vise and the cutters on hand, from `[shop]` or the file it names.
        setups: what the job fixes of its set-ups.
        assumed: defaults that matter and were not stated.
    """

    folder: Path
    files: tuple[Path, ...]
    label: str
    job_name: str
    variant: str | None
    units: Units
    part: PartSettings
    parameters: Mapping[str, Parameter] = field(default_factory=dict)
    parameters_from: str = ""
    datum: DatumSettings = field(default_factory=DatumSettings)
    readout: Readout = field(default_factory=Readout)
    faces: Mapping[str, FaceSettings] = field(default_factory=dict)
    holes: Mapping[str, HoleSettings] = field(default_factory=dict)
    shop: ShopSettings = field(default_factory=ShopSettings)
    tooling: Shop = field(default_factory=lambda: default_shop("mm"))
    casting: CastingSettings = field(default_factory=CastingSettings)
    foundry: FoundrySettings = field(default_factory=FoundrySettings)
    drawing: DrawingSettings = field(default_factory=DrawingSettings)
    placement: PlacementSettings = field(default_factory=PlacementSettings)
    printer: Printer = field(default_factory=Printer)
    pattern: PatternSettings = field(default_factory=PatternSettings)
    setups: Pins = NO_PINS
    assumed: tuple[Assumed, ...] = ()

    @property
    def parting(self) -> Parting | None:
        """The plane in which the mould parts, square to the draw; None where the job does not say where."""
        at = self.casting.parting
        return None if at is None else Parting("xyz".index(self.pattern.draw), at)
