"""Virtual cutting from the printed tables: is the finished part left when all rows are done?

Takes what `table_reader` read and the two solids, sweeps every cutter through
the casting, and looks at every face of the finished part. Shares nothing with
what made the rows but the records they are read into. Lengths mm, part frame.
Source of the method: none needed; signed distances along exact lines.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Final

from geom.model.part import Part
from geom.proof.faces import STEP
from geom.proof.holes import HoleFound, holes_found
from geom.proof.limits import RESOLUTION
from geom.proof.measure import Measured, Sizes, measured
from geom.proof.mesh import Stuff
from geom.proof.received import FACETS, Received
from geom.proof.rows import (
    Cut,
    Fault,
    air_faults,
    cut_faults,
    machined,
    metal_faults,
    missing_taps,
    order_faults,
    place_faults,
    printed_faults,
)
from geom.proof.sweep import Sweep, Table, sweeps_of
from geom.proof.touch import TouchFound, Work, touches
from geom.proof.verdict import FaceFound, Look, island_faults, islands, judge, look_at, strays, volume, worst
from geom.proof.wane import FaceReceived, ReceivedFound, received_found
from geom.rays.rays import skin_of
from geom.rows.records import CUTTING
from geom.settings.records import Settings

__all__ = [
    "RESOLUTION",
    "FaceFound",
    "FaceReceived",
    "Fault",
    "HoleFound",
    "Measured",
    "Proof",
    "ReceivedFound",
    "RowFound",
    "Table",
    "TouchFound",
    "prove",
]

_IN_JAW: Final = 3.0
"""mm: work that stands deeper than this in what holds it is not there: the set-up's zero or axes are wrong. A strap's
corner may lie in a cast fillet."""

_CHIP: Final = 0.5
"""mm3: less metal than this in a jaw is facet error."""


@dataclass(frozen=True, slots=True)
class RowFound:
    """What one row cut: mm3, and up to which height above its lowest point, mm."""

    setup: int
    row: int
    feature: str
    volume: float
    height: float


@dataclass(frozen=True, slots=True)
class Proof:
    """The answer.

    Attributes:
        faults: everything that is wrong; none when proved.
        leftover, gouge: mm3.
        worst: greatest deviation of a face that rows make or must not touch, mm.
        resolution: mm, at samples `spacing` apart.
        rows_read: of all tables, those that cut nothing too.
        touches, measured: what pick-up, check and measuring rows meet.
        received: the same in the casting as received; None where it was not measured.
    """

    faults: tuple[Fault, ...]
    faces: tuple[FaceFound, ...]
    holes: tuple[HoleFound, ...]
    rows: tuple[RowFound, ...]
    leftover: float
    gouge: float
    worst: float
    rows_read: int
    resolution: float = RESOLUTION
    spacing: float = STEP
    samples: int = 0
    touches: tuple[TouchFound, ...] = ()
    measured: tuple[Measured, ...] = ()
    received: ReceivedFound | None = None

    @property
    def proved(self) -> bool:
        """Whether nothing is wrong, as drawn and as received."""
        return not self.faults and (self.received is None or self.received.proved)


def prove(tables: Sequence[Table], part: Part, settings: Settings, received: Received | None = None) -> Proof:
    """Cut the casting along the tables and compare it with the finished part.

    Args:
        tables: as read back, in working order.
        part: with its features named as in the tables.
        settings: of the job, for tolerances.
        received: the casting the tables were made for, where it was measured: its rows follow its skin, so what touches
            and engages is judged there.
    """
    sweeps = sweeps_of(tables)
    skin = skin_of(part.casting)
    metal, finished = Stuff(skin.mesh, part.casting.label), Stuff(skin_of(part.finished).mesh, part.finished.label)
    standing, cuts = _cut_all(tables, sweeps, metal)
    rest = metal.compared(finished)
    look = look_at(tables, part, settings, skin, sweeps, rest)
    judged = [judge(face, look) for face in part.faces]
    work = Work(part, skin, sweeps) if received is None else Work(part, received.skin, sweeps, received.off, received.noise, True)
    faces = tuple(face for face, _ in judged)
    apart = islands(look, rest[0], faces)
    touched, missed = touches(tables, work)
    sized, missized = measured(Sizes(tables, part, settings, look.spots, look.owner))
    faults = (
        *_table_faults(tables),
        *chain.from_iterable(printed_faults(t, r, part) for t in tables for r in t.rows),
        *order_faults(tables, sweeps, part, skin),
        *missing_taps(tables, part),
        *standing,
        *(air_faults(cuts) if received is None else ()),
        *chain.from_iterable(cut_faults(cut) for cut in cuts),
        *chain.from_iterable(place_faults(sweep, part) for sweep in sweeps),
        *strays(look),
        *island_faults(apart),
        *missed,
        *missized,
        *chain.from_iterable(faults for _, faults in judged),
    )
    return Proof(
        faults=tuple(dict.fromkeys(faults)),
        faces=faces,
        holes=holes_found(part, look.spots, look.walk, sweeps),
        rows=tuple(_row_found(cut) for cut in cuts),
        leftover=max(volume(rest[0], look, 1.0), sum(size for size, _ in apart)),
        gouge=volume(rest[1], look, -1.0),
        worst=max((worst(face) for face in faces if not face.left_out), default=0.0),
        rows_read=sum(len(table.rows) for table in tables),
        samples=len(look.spots),
        touches=touched,
        measured=sized,
        received=None if received is None else _as_received(tables, sweeps, part, look, received),
    )


def _as_received(tables: Sequence[Table], sweeps: Sequence[Sweep], part: Part, look: Look, received: Received) -> ReceivedFound:
    """Return what the same rows leave in the casting as received; what holds it gives way to its skin, so that is not asked."""
    metal = Stuff(received.skin.mesh, f"{part.casting.label} as received")
    cuts = machined(sweeps, metal)
    faults = (
        *order_faults(tables, sweeps, part, received.skin),
        *air_faults(cuts),
        *chain.from_iterable(metal_faults(cut, FACETS + received.noise) for cut in cuts),
    )
    return received_found(look, received, cuts, faults)


def _row_found(cut: Cut) -> RowFound:
    row = cut.sweep.row
    return RowFound(cut.sweep.table.number, row.number, row.feature, cut.taken.volume, cut.taken.top)


# --- set-ups ----------------------------------------------------------------


def _table_faults(tables: Sequence[Table]) -> Iterator[Fault]:
    """Yield set-ups that are missing or there twice, and rows that do not count up."""
    numbers = [table.number for table in tables]
    for wanted in range(1, max([0, *(table.count for table in tables)]) + 1):
        if numbers.count(wanted) != 1:
            how = "missing" if wanted not in numbers else "there twice"
            yield Fault("set-up", (), "", (f"the table of set-up {wanted} is {how}",))
    if not tables:
        yield Fault("set-up", (), "", ("there is no table",))


def _cut_all(tables: Sequence[Table], sweeps: Sequence[Sweep], metal: Stuff) -> tuple[list[Fault], list[Cut]]:
    """Clamp and cut set-up by set-up; return work that stands in what holds it, and what each row cut."""
    faults: list[Fault] = []
    cuts: list[Cut] = []
    for table in tables:
        faults += _standing(table, metal)
        cuts += machined([sweep for sweep in sweeps if sweep.table is table], metal)
    return faults, cuts


def _standing(table: Table, metal: Stuff) -> Iterator[Fault]:
    """Yield what holds the work and has the work standing in it."""
    rows = tuple((table.number, row.number) for row in table.rows if row.action in CUTTING)
    for box in table.boxes:
        if metal.in_box(table.frame, box, _IN_JAW) > _CHIP:
            yield Fault("held", rows, "", (f"the work stands in the {box.name}: the set-up's zero or axes are wrong",))
