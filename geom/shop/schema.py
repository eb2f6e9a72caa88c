"""Every table and key of a shop.toml: type, unit, limits, default, one line of help.

Data only, in the manner of `job_schema`. A shop.toml and the `[shop]` table of
a job.toml have the same shape.
"""

from collections.abc import Mapping
from typing import Final

from geom.toml.schema import Key, Table

SHOP_KEYS: Final[Table] = {
    "name": Key("text", "what the shop is called", longest=60),
    "units": Key("choice", "what bare numbers in here mean", choices=("mm", "inch")),
}
"""At the top, beside `job_schema.SHOP` (cutter, leave, point_angle)."""

MILL: Final[Table] = {
    "travel": Key("lengths", "travel of X, Y and Z", needed=True, above=0, most=5000),
    "spindle_to_table": Key("lengths", "least and greatest distance from spindle nose to table", needed=True, least=0, most=3000),
    "quill": Key("length", "travel of the quill; 0 when there is none", needed=True, least=0, most=500),
    "speeds": Key("numbers", "every spindle speed, rpm", default=(), above=0, most=60000),
    "speed_range": Key("numbers", "slowest and fastest speed of a variable drive, rpm", default=(), above=0, most=60000),
    "power": Key("power", "of the spindle motor: '1.1 kW' or '1.5 hp'", needed=True, above=0, most=50000),
    "efficiency": Key("number", "share of the power that reaches the cutter (common practice)", default=0.8, above=0, most=1),
    "readout": Key("names", "the axes with a scale", default=("x", "y", "z"), least=0, most=3, longest=1),
    "reads": Key("choice", "what the Z scale moves with", default="table", choices=("table", "head", "quill")),
    "readout_step": Key("length", "least count of the readout", above=0, most=1),
}

VISE: Final[Table] = {
    "jaw_width": Key("length", "along the jaws", needed=True, above=0, most=1000),
    "jaw_height": Key("length", "from the bed to the top of the jaws", needed=True, above=0, most=500),
    "opening": Key("length", "greatest distance between the jaws", needed=True, above=0, most=2000),
    "bed_height": Key("length", "of the bed above the table", needed=True, above=0, most=500),
    "matched_reference": Key("yes or no", "a block of known height stands beside it", default=False),
    "jaw": Key("choice", "face of the jaws", default="smooth", choices=("smooth", "diamond", "serrated")),
    "force": Key("number", "what it clamps with, kN", default=10.0, above=0, most=200),
    "strap_force": Key("number", "what one strap clamp presses the work down with, kN", default=9.0, above=0, most=100),
    "table_clamps": Key("yes or no", "strap clamps, studs and step blocks", default=False),
    "angle_plate": Key("lengths", "height and width of an angle plate", default=(), above=0, most=1000),
    "parallels": Key("lengths", "heights of the pairs of parallels", default=(), above=0, most=300),
    "soft_strips": Key("lengths", "thicknesses of soft strips", default=(), above=0, most=20),
    "soft_rods": Key("lengths", "diameters of soft round rods", default=(), above=0, most=50),
    "screw_spacing": Key("length", "between the two screws of a jaw", above=0, most=1000),
    "screw_height": Key("length", "of those screws over the foot of the jaw", above=0, most=500),
    "screw_hole": Key("length", "diameter of their holes in the jaw", above=0, most=30),
    "screw_counterbore": Key("length", "diameter of the counterbores for their heads", above=0, most=60),
}

_MATERIAL = Key("choice", "of the cutting edges", default="high-speed steel", choices=("high-speed steel", "carbide"))
_REACH = Key("length", "from the holder to the end of the cutter", above=0, most=500)


def _diameter(says: str = "diameter") -> Key:
    return Key("length", says, needed=True, above=0, most=500)


def _flutes(count: int, says: str = "teeth") -> Key:
    return Key("integer", says, default=count, least=1, most=40)


DRILLS: Final[Table] = {
    "sets": Key("names", "'number 1-60', 'letter A-Z', 'fraction 1/16-1/2', 'mm 1-13 by 0.1'", default=(), most=50),
    "singles": Key("names", "drills beside the sets: '10.2 mm', '27/64', 'no. 7', 'F'", default=(), most=200),
    "material": _MATERIAL,
}

TAPS: Final[Table] = {"sizes": Key("names", "'M6', 'M10x1.25', '3/8-16 UNC'", default=(), most=200)}

SINGLE_TABLES: Final[Mapping[str, Table]] = {"mill": MILL, "vise": VISE, "drills": DRILLS, "taps": TAPS}
"""Tables that stand once."""

CUTTER_LISTS: Final[Mapping[str, Table]] = {
    "end_mills": {
        "diameter": _diameter(),
        "flutes": Key("integer", "teeth", needed=True, least=1, most=40),
        "flute_length": Key("length", "how high its side cuts", needed=True, above=0, most=300),
        "reach": _REACH,
        "centre_cutting": Key("yes or no", "it may plunge", default=False),
        "material": _MATERIAL,
    },
    "face_mills": {
        "diameter": _diameter(),
        "flutes": _flutes(4, "inserts or teeth"),
        "reach": _REACH,
        "depth": Key("length", "deepest cut its edges take", default="3 mm", inch="0.12 in", above=0, most=50),
        "material": Key("choice", "of the cutting edges", default="carbide", choices=("high-speed steel", "carbide")),
    },
    "spotting_drills": {
        "diameter": _diameter(),
        "angle": Key("number", "of its point, degrees", default=90.0, least=60, most=150),
        "reach": _REACH,
    },
    "long_drills": {
        "diameter": _diameter(),
        "reach": Key("length", "how deep its flutes go", needed=True, above=0, most=1000),
        "material": _MATERIAL,
    },
    "reamers": {
        "diameter": _diameter(),
        "grade": Key("text", "the hole it makes", default="H7", longest=4),
        "flutes": _flutes(6),
        "reach": _REACH,
    },
    "counterbores": {
        "diameter": _diameter(),
        "pilot": Key("length", "diameter of the pilot", above=0, most=500),
        "flutes": _flutes(3),
        "reach": _REACH,
    },
    "boring_heads": {
        "smallest": _diameter("least bore its bars enter"),
        "largest": _diameter("largest bore it reaches"),
        "reach": Key("length", "deepest bore", needed=True, above=0, most=500),
        "material": Key("choice", "of the cutting edge", default="carbide", choices=("high-speed steel", "carbide")),
    },
    "countersinks": {
        "diameter": _diameter("greatest diameter"),
        "angle": Key("number", "included angle, degrees", default=90.0, least=60, most=120),
        "flutes": _flutes(3),
        "reach": _REACH,
    },
}
"""Lists of tables, [[end_mills]] and so on: one entry per cutter."""

FINDERS: Final[Table] = {
    "kind": Key("choice", "what it is", needed=True, choices=("edge finder", "indicator")),
    "diameter": Key("length", "of an edge finder's tip", above=0, most=50),
    "reach": Key("length", "how far down it reaches", default="30 mm", inch="1.2 in", above=0, most=500),
}

LISTS: Final[Mapping[str, Table]] = {**CUTTER_LISTS, "finders": FINDERS}
CUTTER_TABLES: Final[tuple[str, ...]] = (*CUTTER_LISTS, "drills", "taps")
"""Tables that list cutters: a shop that has one of them has listed all it owns."""
