"""What stands round the work in one set-up, as boxes to draw, each with the word a machinist calls it.

Jaws, bed, table, plate, parallels and straps are the set-up's own boxes. Soft
strips and rods, packing, jacks and shims have no box there: they are put where
its words and its points say, between that steel and the work. Lengths mm,
set-up frame. Knows nothing of views or paper.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import inf
from typing import Final, Literal, TypeAlias

from export.number import Units
from export.sheets.spots import spot_on
from export.tables.words import gauged_text
from geom.kernel.extent import face_box
from geom.kernel.mesh import Mesh
from geom.model.part import Part
from geom.rays.mesh_lines import Sight
from geom.rows.plan import Hold, Place
from geom.rows.records import Box, Setup
from geom.setups.clamp_rules import STRAP, packing_width
from geom.space import Frame, Vec3, scale

_Underside: TypeAlias = Callable[[float, float], float]
"""How high the lowest metal of the work lies over a place; inf where there is none."""

Kind: TypeAlias = Literal["jaw", "ground", "plate", "parallel", "strap", "packing", "soft", "shim", "jack"]

_NAMED: Final[dict[str, Kind]] = {
    "fixed jaw": "jaw",
    "movable jaw": "jaw",
    "bed": "ground",
    "table": "ground",
    "angle plate": "plate",
    "parallel": "parallel",
    "strap": "strap",
    "jack": "jack",
}
_JACK: Final = re.compile(r"a jack(?: or packing)? under (.+?)(?:,|$)")
_JACK_WIDE: Final = 5.0
"""mm: half the width a jack is drawn with."""

_SHIM: Final = 4.0
"""mm: half the width a shim is drawn with."""

_THIN: Final = 0.5
"""mm: a lower jack than this is a shim."""

_SAME: Final = 3.0
"""mm that the drawn skin may hang higher or lower than the packing that the words name: the casting as received differs."""

_BAR: Final = 8.0
"""mm: width of a packing bar, as of a parallel."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing that holds the work.

    Attributes:
        name: unique in its set-up: "fixed jaw", "strap 2", "packing 1".
        word: what is written beside it.
        given: whether the box is the set-up's own; else it was put where the words say.
    """

    name: str
    kind: Kind
    word: str
    low: Vec3
    high: Vec3
    given: bool = True


def pieces(setup: Setup, hold: Hold, part: Part, work: Mesh, units: Units) -> tuple[Piece, ...]:
    """Return all that holds the work in a set-up.

    Args:
        work: as it stands, part frame.
    """
    given = tuple(_given(box, hold, units) for box in setup.boxes)
    return (*given, *_soft(setup, hold, units), *_under(setup, hold, part, work, units))


def _given(box: Box, hold: Hold, units: Units) -> Piece:
    kind = _kind(box)
    words: dict[Kind, str] = {
        "parallel": gauged_text(("parallel ", hold.parallels), units),
        "strap": "stud" if hold.by_studs else "strap",
        "packing": gauged_text(("packing ", hold.parallels), units) if hold.on_jaws else box.name,
    }
    word = "bed of the vise" if box.name == "bed" else words.get(kind, box.name)
    return Piece(box.name, kind, word, box.low, box.high)


def _kind(box: Box) -> Kind:
    """Return what a box is; one whose name says nothing is packing."""
    return next((kind for word, kind in _NAMED.items() if word in box.name), "packing")


# --- between jaw and work ---------------------------------------------------


def _soft(setup: Setup, hold: Hold, units: Units) -> Iterator[Piece]:
    """Yield soft strips along the jaws and the soft rod: they fill the gap that the jaws leave for them."""
    jaws = {box.name: box for box in setup.boxes}
    places: tuple[tuple[Place, str], ...] = (("fixed jaw", "fixed jaw"), ("clamp", "movable jaw"))
    for place, name in places:
        packing = next((p for p in hold.packing if p.place == place), None)
        if packing is None or name not in jaws:
            continue
        jaw, wide = jaws[name], packing_width([packing])
        y = (jaw.low[1] - wide, jaw.low[1]) if place == "fixed jaw" else (jaw.high[1], jaw.high[1] + wide)
        rod = "rod" in str(packing.words[0])
        middle = jaw.high[2] - 0.5 * hold.grip
        z = (middle - 0.5 * wide, middle + 0.5 * wide) if rod else (jaw.low[2], jaw.high[2])
        word = gauged_text(("soft rod " if rod else "soft strip ", wide), units)
        yield Piece(f"soft at {name}", "soft", word, (jaw.low[0], y[0], z[0]), (jaw.high[0], y[1], z[1]), given=False)


# --- under the work ---------------------------------------------------------


def _under(setup: Setup, hold: Hold, part: Part, work: Mesh, units: Units) -> Iterator[Piece]:
    """Yield packing, jacks and shims between the ground and the work."""
    ground = next((box.high[2] for box in setup.boxes if _kind(box) == "ground"), None)
    if ground is None:
        return
    frame = setup.frame
    below = Frame(frame.origin, frame.x, scale(frame.y, -1.0), scale(frame.z, -1.0))
    sight = Sight(work, below)

    def underside(x: float, y: float) -> float:
        return -sight.depth((x, -y))

    if hold.method == "table":
        yield from _packing(setup, hold, part, ground, underside, units)
    places = [spot_on(part, name, frame) for name in _jacked(hold, part)]
    for number, (x, y, _) in enumerate(places, 1):
        if _THIN < underside(x, y) - ground < inf:
            yield _upright(f"jack {number}", "jack", "jack", (x, y), _JACK_WIDE, (ground, underside(x, y)))
    for number, (x, y, z) in enumerate(hold.rests, 1):
        yield Piece(f"rest {number}", "shim", "shim", (x - _SHIM, y - _SHIM, z - 1.0), (x + _SHIM, y + _SHIM, z), given=False)


def _packing(setup: Setup, hold: Hold, part: Part, ground: float, underside: _Underside, units: Units) -> Iterator[Piece]:
    """Yield packing of the sizes that the words name: under each strap where it hangs so high, and under the seat."""
    sizes = [float(v) for packing in hold.packing if packing.place == "seat" for v in packing.words if isinstance(v, float)]
    straps = [box.middle for box in hold.boxes if box.name.startswith("strap")]
    under_seat = hold.parallels > 0
    for number, at in enumerate(straps, 1):
        gap = underside(*at) - ground
        size = min(sizes, key=lambda one: abs(one - gap), default=0.0)
        if size > 0 and abs(size - gap) < _SAME:
            under_seat = under_seat and size != hold.parallels
            word = gauged_text(("packing ", size), units)
            yield _upright(f"packing {number}", "packing", word, at, STRAP, (ground, ground + size))
    if under_seat:
        yield from _seated(setup, hold, part, ground, bool(straps), units)


def _seated(setup: Setup, hold: Hold, part: Part, ground: float, strapped: bool, units: Units) -> Iterator[Piece]:
    """Yield two bars under the ends of the seat, clear of every drill; one plate where the work is screwed to it."""
    (x0, y0), (x1, y1) = _seat_box(hold, part, setup.frame)
    top = ground + hold.parallels
    if not strapped:
        yield Piece(
            "plate", "packing", gauged_text(("plate ", hold.parallels), units), (x0, y0, ground), (x1, y1, top), given=False
        )
        return
    drills = [hole for hole in part.holes if hole.name in setup.features and hole.through]
    spans = [(x - hole.diameter, x + hole.diameter) for hole in drills for x in (setup.frame.local(hole.centre)[0],)]
    room = max(0.5 * (x1 - x0) - _BAR, 0.0)
    steps = [float(step) for step in range(int(room) + 1)]
    starts = [[x0 + step for step in steps], [x1 - _BAR - step for step in steps]]
    for number, places in enumerate(starts, 1):
        x = next((x for x in places if not any(a < x + _BAR and b > x for a, b in spans)), places[0])
        word = gauged_text(("packing ", hold.parallels), units)
        yield Piece(f"bar {number}", "packing", word, (x, y0, ground), (x + _BAR, y1, top), given=False)


def _upright(name: str, kind: Kind, word: str, at: tuple[float, float], half: float, span: tuple[float, float]) -> Piece:
    return Piece(name, kind, word, (at[0] - half, at[1] - half, span[0]), (at[0] + half, at[1] + half, span[1]), given=False)


def _jacked(hold: Hold, part: Part) -> list[str]:
    """Return the level faces that the words put a jack under; what is round there is packed where it is lowest."""
    found = (_JACK.match(str(packing.words[0])) for packing in hold.packing)
    level = {face.name for face in part.faces if face.kind == "plane"}
    return [match[1] for match in found if match and match[1] in level]


def _seat_box(hold: Hold, part: Part, frame: Frame) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the corners, seen from above, of what the work sits on."""
    seat = next(face for face in part.faces if face.name == hold.seat)
    low, high = face_box(part.finished, seat.surfaces, frame)
    return low[:2], high[:2]
