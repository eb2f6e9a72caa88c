"""The work in a printed nest with one side up: only where the job pins it, as nothing rates what a print holds.

The nest is the fixture maker's; here is what the plan has to know of it: how
high it may go under what is cut, and the walls a cutter must miss. Lengths mm,
set-up frame. Knows nothing of pads or of how a nest is cut.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from geom.kernel.extent import face_box
from geom.rows.plan import Hold, Packing
from geom.rows.records import Box, Words
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.nest_size import CLEARANCE, FLOOR, LEAST_DEPTH, MOST_DEPTH, MOST_SHARE, UNDER_CUT, WALL
from geom.setups.seats import Seat
from geom.setups.work import Work
from geom.space import Frame, Vec3, scale


def nest_holds(work: Work, up: Vec3, done: frozenset[str], found: Sequence[Seat], wants: Sequence[Demand]) -> Iterator[Held]:
    """Yield the work in a nest as high as is usual and what is cut lets it; none where nothing is cut above the least nest."""
    frame = work.frame(up)
    casting = work.part.casting
    low, high = face_box(casting, range(len(casting.surfaces)), frame)
    least = low[2] + LEAST_DEPTH
    made = [w for w in wants if not w.lacks and (w.top > least if w.kind == "hole" else w.floor >= least + UNDER_CUT)]
    if not made:
        return
    usual = low[2] + min(max(MOST_SHARE * (high[2] - low[2]), LEAST_DEPTH), MOST_DEPTH)
    top = min([high[2] - 1.0, usual, *(w.floor - UNDER_CUT for w in made if w.kind != "hole")])
    seat = found[0].face.name if found else _lowest(work, frame, done)
    lies: Words = (
        "a nest printed to the casting: evenstock fixture makes it for this set-up, and its page says how it is held down",
    )
    hold = Hold(
        "nest", seat, "", "", frozenset(), 0.0, top - low[2], high[2] - top, (Packing("seat", lies),), (), _walls(low, high, top)
    )
    why: Words = ("pinned to a printed nest: it carries the skin as it is, level and square to what is cut",)
    yield Held(hold, frame, frozenset(w.name for w in made), 5.0, (why,), _CAUTIONS, rough=1)


_CAUTIONS: Final[tuple[Words, ...]] = (
    ("light cuts only: a printed nest locates the work, it is no clamp and no clamping force is rated for it",),
    ("where the nest's page says that it goes higher up the work, see that finder and cutter clear it",),
    ("straps press on the work over the nest's pads, never on the print; stop when it creeps or warms",),
)


def _lowest(work: Work, frame: Frame, done: frozenset[str]) -> str:
    """Return the face that reaches furthest down."""
    sight = work.seen(scale(frame.z, -1.0), done)
    return work.part.faces[int(sight.face[int(sight.out.argmax())])].name


def _walls(low: Vec3, high: Vec3, top: float) -> tuple[Box, ...]:
    """Return the table and the nest's four walls about the casting; its floor is opened where a drill comes through."""
    ground = low[2] - CLEARANCE - FLOOR
    (x0, y0, _), (x1, y1, _) = (tuple(v + s * CLEARANCE for v in at) for at, s in ((low, -1.0), (high, 1.0)))
    a, b, c, d = x0 - WALL, y0 - WALL, x1 + WALL, y1 + WALL
    return (
        Box("table", (a - 100.0, b - 100.0, ground - 50.0), (c + 100.0, d + 100.0, ground)),
        Box("nest left", (a, b, ground), (x0, d, top)),
        Box("nest right", (x1, b, ground), (c, d, top)),
        Box("nest front", (x0, b, ground), (x1, y0, top)),
        Box("nest back", (x0, y1, ground), (x1, d, top)),
    )
