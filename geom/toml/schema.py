"""Every table and key of a job.toml: type, unit, limits, default, one line of help.

Data only. A new key is one line here and one field in `settings`; `job_reader`
checks values against it and `job` builds the records.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from geom.standards.tolerance_grades import ALLOWANCE_GRADES, GENERAL_CLASSES, processes
from geom.toml.pins import HOLDS

Kind: TypeAlias = Literal[
    "text",
    "date",
    "length",
    "lengths",
    "per cent",
    "number",
    "numbers",
    "integer",
    "power",
    "yes or no",
    "choice",
    "names",
    "step file",
    "model file",
]


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table.

    Attributes:
        kind: a "length" is a number in the job's units or text with its own; a "per cent" a number or text with %; "power"
            a number of kW or text with kW or hp, kept in watts; "names", "lengths" and "numbers" are lists.
        says: what it is, for the reference and for messages.
        default: when the job says nothing; lengths as text with a unit.
        inch: default of an inch job where it differs.
        needed: the job must say it.
        above: the value, or each of a list, must be greater than this (lengths: mm; power: W).
        least, most: inclusive limits (as above; names: how many).
        choices: the texts that are allowed.
        longest: most characters (title block fields of ISO 7200).
        count: how many a list of lengths must have; None for any number.
        source: where the default comes from, when it changes what is made; "" when it does not.
    """

    kind: Kind
    says: str
    default: object = None
    inch: object = None
    needed: bool = False
    above: float | None = None
    least: float | None = None
    most: float | None = None
    choices: tuple[str, ...] = ()
    longest: int = 200
    count: int | None = None
    source: str = ""


Table: TypeAlias = Mapping[str, Key]

PART: Final[Table] = {
    "name": Key("text", "what the part is called on every sheet", needed=True, longest=60),
    "units": Key("choice", "what sheets show and bare numbers here mean", needed=True, choices=("mm", "inch")),
    "alloy": Key("text", "what it is cast in: 'grey iron', 'aluminium alloy' ...", needed=True),
    "finished": Key("step file", "the finished part"),
    "casting": Key("step file", "the rough casting, in the same place and axes"),
    "model": Key("model file", "a CadQuery model of both, instead of the two STEP files"),
}

DATUM: Final[Table] = {
    "zero": Key("text", "bore, boss or hole whose axis is X 0 and Y 0"),
    "middle": Key("names", "two or four faces, in pairs: zero midway between each pair", least=2, most=4),
    "corner": Key("names", "two or three faces that meet at zero", least=1, most=3),
    "pattern": Key("names", "holes on one circle (three or more) or rectangle (four): zero at its centre", least=3, most=200),
    "z": Key("text", "plane face that is Z 0 and faces up"),
    "x": Key("text", "which way X points: +x, -x, +y, -y, +z, -z or 'towards NAME'"),
}

READOUT: Final[Table] = {
    "units": Key("choice", "what the display shows; the part's units unless told", choices=("mm", "inch")),
    "step": Key(
        "length",
        "least count of the display",
        default="0.005 mm",
        inch="0.0005 in",
        above=0,
        most=1,
        source="the usual scale's least count",
    ),
    "x": Key("choice", "which way X counts up", default="right", choices=("right", "left")),
    "y": Key("choice", "which way Y counts up", default="away", choices=("away", "towards")),
    "z": Key("choice", "which way Z counts up", default="up", choices=("up", "down")),
}

FACE: Final[Table] = {
    "name": Key("text", "a name of your own for the face", longest=40),
    "required": Key("length", "least stock it must keep to clean up", least=0, most=100),
    "tolerance": Key("length", "plus and minus, about its place", above=0, most=10),
    "bearing": Key("number", "least share of its area that must clean up", default=1.0, above=0, most=1),
    "leave": Key("length", "metal left for a finishing cut", least=0, most=20),
}

HOLE: Final[Table] = {
    "name": Key("text", "a name of your own for the hole", longest=40),
    "callout": Key("text", "what it is for: 'clearance M8 medium', 'tapped 3/8-16 UNC', 'reamed 10 H7' ..."),
    "point_angle": Key("number", "included angle of the drill's point, degrees", least=60, most=180),
    "assembly": Key("yes or no", "made together with the part it mates, so no set-up makes it", default=False),
}

SHOP: Final[Table] = {
    "cutter": Key(
        "length",
        "diameter of the cutter that runs along edges",
        default="12 mm",
        inch="0.5 in",
        above=0,
        most=200,
        source="common practice, no source",
    ),
    "leave": Key("length", "metal an edge cut leaves for finishing", default="0 mm", inch="0 in", least=0, most=20),
    "point_angle": Key(
        "number", "included angle of drill points, degrees", default=118.0, least=60, most=180, source="the standard drill point"
    ),
}

CASTING: Final[Table] = {
    "grade": Key(
        "integer", "dimensional casting tolerance grade (DCTG); the usual one for alloy and process unless told", least=1, most=16
    ),
    "allowance_grade": Key(
        "choice",
        "required machining allowance grade (RMAG); the usual one for alloy and process unless told",
        choices=ALLOWANCE_GRADES,
    ),
    "draft": Key("number", "draft, degrees", least=0, most=15),
    "radius": Key("length", "least cast radius", above=0, most=100),
    "parting": Key("length", "height of the parting plane along the draw", least=-10000, most=10000),
}

FEEDER: Final[Table] = {
    "face": Key("text", "the face it stood on, machined or as cast", needed=True),
    "at": Key("lengths", "its middle: X, Y, Z of the part", needed=True, least=-10000, most=10000, count=3),
    "size": Key("length", "diameter of the stub that is left", needed=True, above=0, most=2000),
}
"""Each [[casting.feeder]]: where a feeder, riser or ingate was cut off."""

FEEDERS: Final = "feeder"

FOUNDRY: Final[Table] = {
    "name": Key("text", "who pours", longest=60),
    "process": Key("choice", "how it is moulded; it settles the usual grades", choices=processes()),
    "contraction": Key("number", "pattern contraction, per cent; the alloy's own unless told", least=0, most=5),
    "notes": Key("names", "lines for the drawing", default=(), least=0, most=20),
}

DRAWING: Final[Table] = {
    "projection": Key("choice", "first or third angle", default="first", inch="third", choices=("first", "third")),
    "sheet": Key("choice", "paper size", default="A3", choices=("A3", "A4")),
    "paper": Key("choice", "paper of the set-up sheets", choices=("a4", "letter")),
    "title": Key("text", "title; the part's name unless told", longest=25),
    "supplementary": Key("text", "supplementary title", longest=25),
    "owner": Key("text", "legal owner", longest=60),
    "number": Key("text", "identification number", longest=16),
    "revision": Key("text", "revision index", longest=2),
    "date": Key("date", "date of issue", longest=10),
    "creator": Key("text", "who drew it", longest=20),
    "approver": Key("text", "who approved it", longest=20),
    "department": Key("text", "responsible department", longest=10),
    "reference": Key("text", "technical reference", longest=20),
    "document_type": Key("text", "document type", longest=30),
    "language": Key("text", "language code", longest=4),
    "general": Key(
        "choice",
        "tolerance class of machined sizes that state no limits (ISO 2768-1): f fine, m medium, c coarse",
        default="m",
        choices=GENERAL_CLASSES,
        source="ISO 2768-m, the usual general tolerance",
    ),
    "edges": Key("length", "how far sharp edges are broken; 0.5 mm or 0.02 in unless told", above=0, most=5),
}

PLACEMENT: Final[Table] = {
    "order": Key(
        "names",
        "what counts next once every face has its stock: demands, outline, share, each once, most important first",
        default=("demands", "outline", "share"),
        least=3,
        most=3,
    ),
    "hold": Key("names", "freedoms that stay as drawn: x, y, z to shift along, rx, ry, rz to turn about", default=(), most=6),
}

PRINTER: Final[Table] = {
    "bed": Key(
        "lengths",
        "greatest print along X, Y and Z",
        default=("220 mm", "220 mm", "250 mm"),
        above=0,
        most=5000,
        count=3,
    ),
    "nozzle": Key("length", "width of the finest wall", default="0.4 mm", above=0, most=5),
    "hole_growth": Key("length", "added to the diameter of every hole: prints pull holes in", default="0 mm", least=0, most=3),
    "gap": Key("length", "at each side between printed pieces that go together", default="0.15 mm", least=0, most=2),
    "chord": Key("length", "greatest distance of a facet from the true surface", default="0.05 mm", least=0.001, most=1),
    "wall": Key("length", "least left round a dowel", default="1.5 mm", above=0, most=100),
    "pin": Key("length", "diameter of the dowels that line pieces up", default="6 mm", inch="0.25 in", least=2, most=30),
    "hollow": Key("length", "wall of a test-fit print made hollow; it is solid unless told", above=0, most=100),
}

PATTERN: Final[Table] = {
    "contraction": Key("per cent", "pattern contraction: '1 %'; the foundry's or the alloy's own unless told", least=0, most=5),
    "master": Key("text", "alloy of a metal pattern cast from the printed one: contraction counts twice", default=""),
    "draw": Key("choice", "part axis along which the halves are drawn", default="z", choices=("x", "y", "z")),
    "draft": Key("number", "least draft of a face along the draw, degrees", default=1.0, above=0, most=15),
    "cores": Key("yes or no", "whether round bores that would not draw are cored", default=True),
    "text": Key("text", "raised on the pattern", default="", longest=24),
    "text_height": Key("length", "height of its capitals; as the face allows unless told", least=3, most=100),
}

STEP: Final[Table] = {
    "over": Key(
        "lengths", "two opposite corners, along the part's axes across the draw", needed=True, least=-10000, most=10000, count=4
    ),
    "parting": Key("length", "height of the parting there, along the draw", needed=True, least=-10000, most=10000),
}
"""Each [[pattern.step]]: where the halves part at another height."""

STEPS: Final = "step"

PIN: Final[Table] = {
    "number": Key("integer", "which set-up, from 1", needed=True, least=1, most=20),
    "up": Key("text", "the face that faces up, or +x, -x, +y, -y, +z, -z of the part", default="", longest=40),
    "hold": Key("choice", "what holds the work", choices=HOLDS),
    "seat": Key("text", "the face that sits down", default="", longest=40),
    "fixed_jaw": Key("text", "the face against the fixed jaw, the angle plate or the stop", default="", longest=40),
    "clamp": Key("text", "the face the movable jaw or the straps bear on", default="", longest=40),
    "parallels": Key("length", "height of what the seat stands on; 0: straight on the bed or the table", least=0, most=500),
    "features": Key("names", "faces and holes to make in it", default=(), most=500, longest=40),
    "cutter": Key("text", "what its faces and edges are milled with: '16 mm end mill'", default="", longest=60),
    "skew": Key("number", "degrees the work is clamped turned, counter-clockwise seen from above", default=0.0, least=-10, most=10),
}
"""Each [[setups.pin]]: what the job fixes of one set-up; the planner completes the rest."""

SETUPS: Final = "setups"
PINS: Final = "pin"
"""A table whose one key is a list of tables: [[setups.pin]]."""

DEMANDS: Final[Mapping[str, tuple[str, Table]]] = {
    kind: (
        limit,
        {
            "machined": Key("text", "the machined face", needed=True),
            "cast": Key("text", "the as-cast face", needed=True),
            limit: Key("length", says, needed=True, least=0, most=1000),
        },
    )
    for kind, limit, says in (
        ("concentric", "within", "how far the axis of the machined face may lie from that of the as-cast one"),
        ("wall", "least", "how thick the wall between the two must stay"),
        ("distance", "within", "how far their distance may be from the drawn one"),
    )
}
"""Lists of tables in [placement]: [[placement.wall]] and so on, with the key that holds each one's limit."""

TABLES: Final[Mapping[str, Table]] = {
    "part": PART,
    "datum": DATUM,
    "readout": READOUT,
    "shop": SHOP,
    "casting": CASTING,
    "foundry": FOUNDRY,
    "drawing": DRAWING,
    "placement": PLACEMENT,
    "printer": PRINTER,
    "pattern": PATTERN,
}
"""Tables with fixed keys."""

NAMED_TABLES: Final[Mapping[str, Table]] = {"faces": FACE, "holes": HOLE}
"""Tables of tables: one per face or hole, under its name."""

FREE_TABLE: Final = "parameters"
"""Names are the model's own; values are numbers or text."""

VARIANTS: Final = "variants"
"""Tables of whole jobs laid over this one, under a name chosen with --variant."""

TOP: Final[tuple[str, ...]] = (*TABLES, SETUPS, *NAMED_TABLES, FREE_TABLE, VARIANTS)
"""Everything that may stand at the top of a job.toml."""
