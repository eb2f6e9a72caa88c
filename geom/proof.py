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

import numpy as np

from geom.analytic import Bools, Floats, Ints
from geom.part import Part, PartFace
from geom.proof_faces import STEP, Spots, Walk, joined, spread, suspects, walk, within
from geom.proof_holes import HoleFound, holes_found
from geom.proof_limits import RESOLUTION, Limit, limit_of
from geom.proof_mesh import Rest, Stuff
from geom.proof_rows import (
    Cut,
    Fault,
    cut_faults,
    machined,
    missing_taps,
    of_row,
    order_faults,
    place_faults,
    printed_faults,
)
from geom.proof_sweep import Sweep, Table, from_move, spans, sweeps_of
from geom.rays import Skin, skin_of
from geom.rows import CUTTING, Words
from geom.settings import Settings

__all__ = ["RESOLUTION", "FaceFound", "Fault", "HoleFound", "Proof", "RowFound", "Table", "prove"]

_FILM: Final = 2.0
"""mm: what lies thinner than this on a face is its area times its thickness; where it is thicker two meshes are compared,
which are out by their facet error."""

_IN_JAW: Final = 0.5
"""mm: work that stands deeper than this in what holds it is not there: the set-up's zero or axes are wrong."""

_CHIP: Final = 0.5
"""mm3: less metal than this in a jaw is facet error."""


@dataclass(frozen=True, slots=True)
class FaceFound:
    """One face of the finished part as cut.

    Attributes:
        low, high: deviation, mm: below 0 gouged or short, above 0 metal left over (followed 10 mm out).
        deep, proud: what it may be, mm, least rounding included.
        why: where that comes from.
        left_out: no row is meant to make it.
    """

    name: str
    state: str
    low: float
    high: float
    deep: float
    proud: float
    why: str
    holds: bool
    left_out: bool


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

    @property
    def proved(self) -> bool:
        """Whether nothing is wrong."""
        return not self.faults


def prove(tables: Sequence[Table], part: Part, settings: Settings, casting: Skin | None = None) -> Proof:
    """Cut the casting along the tables and compare it with the finished part.

    Args:
        tables: as read back, in working order.
        part: with its features named as in the tables.
        settings: of the job, for tolerances.
        casting: its skin where it is not the drawn one.
    """
    sweeps = sweeps_of(tables)
    skin = skin_of(part.casting) if casting is None else casting
    metal, finished = Stuff(skin.mesh, part.casting.label), Stuff(skin_of(part.finished).mesh, part.finished.label)
    standing, cuts = _cut_all(tables, sweeps, metal)
    rest = metal.compared(finished)
    look = _look(tables, part, settings, skin, sweeps, rest)
    faults = (
        *_table_faults(tables),
        *chain.from_iterable(printed_faults(t, r, part) for t in tables for r in t.rows),
        *order_faults(tables, sweeps, part, skin),
        *missing_taps(tables, part),
        *standing,
        *chain.from_iterable(cut_faults(cut) for cut in cuts),
        *chain.from_iterable(place_faults(sweep, part) for sweep in sweeps),
        *_strays(sweeps, look),
        *chain.from_iterable(_face_faults(face, look) for face in part.faces),
    )
    faces = tuple(_face_found(face, look) for face in part.faces)
    return Proof(
        faults=tuple(dict.fromkeys(faults)),
        faces=faces,
        holes=holes_found(part, look.spots, look.walk, sweeps),
        rows=tuple(_row_found(cut) for cut in cuts),
        leftover=_volume(rest[0], look, 1.0),
        gouge=_volume(rest[1], look, -1.0),
        worst=max((_worst(face) for face in faces if not face.left_out), default=0.0),
        rows_read=sum(len(table.rows) for table in tables),
        samples=len(look.spots),
    )


def _row_found(cut: Cut) -> RowFound:
    row = cut.sweep.row
    return RowFound(cut.sweep.table.number, row.number, row.feature, cut.taken.volume, cut.taken.top)


def _worst(face: FaceFound) -> float:
    return max(-face.low, 0.0) if face.state == "as cast" else max(abs(face.low), abs(face.high))


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


# --- faces ------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """All samples with what was found at them, and what each may be."""

    tables: Sequence[Table]
    part: Part
    settings: Settings
    sweeps: Sequence[Sweep]
    spots: Spots
    walk: Walk
    owner: Ints
    rounding: Floats
    left_out: frozenset[str]
    limits: dict[str, Limit]


def _look(
    tables: Sequence[Table], part: Part, settings: Settings, skin: Skin, sweeps: Sequence[Sweep], rest: tuple[Rest, Rest]
) -> _Look:
    owner = np.full(len(part.finished.surfaces), -1, dtype=np.int64)
    for i, face in enumerate(part.faces):
        owner[list(face.surfaces)] = i
    groups = tuple((surface, int(owner[surface])) for face in part.faces for surface in face.surfaces if len(face.surfaces) > 1)
    near = np.concatenate([r.spots for r in rest])
    spots = joined(spread(part.finished, groups), suspects(part.finished, groups, near))
    stocked = np.array([face.state != "as cast" for face in part.faces])[owner[spots.surface]]
    found = walk(spots, sweeps, skin, stocked)
    named = frozenset(name for name in _names(part) for table in tables for line in table.left_out if line.startswith(f"{name}: "))
    by_hand = frozenset(row.feature for table in tables for row in table.rows if row.action == "break edges")
    limits = {face.name: limit_of(face, part, settings) for face in part.faces}
    return _Look(
        tables, part, settings, sweeps, spots, found, owner[spots.surface], _rounding(tables, spots), named | by_hand, limits
    )


def _names(part: Part) -> Iterator[str]:
    yield from (face.name for face in part.faces)
    yield from (hole.name for hole in part.holes)


def _rounding(tables: Sequence[Table], spots: Spots) -> Floats:
    """Return how far each spot may be off because the readout shows whole steps: half a step along each axis."""
    if not tables:
        return np.zeros(len(spots))
    frame, step = tables[0].frame, max(table.step for table in tables)
    local = spots.normals @ np.array([frame.x, frame.y, frame.z]).T
    return np.asarray(0.5 * step * np.abs(local).sum(axis=1))


def _is_left_out(face: PartFace, look: _Look) -> bool:
    return face.name in look.left_out or (face.hole is not None and face.hole in look.left_out)


def _rows_of(face: PartFace, look: _Look) -> Ints:
    return np.flatnonzero(look.owner == look.part.faces.index(face))


def _allowed(face: PartFace, look: _Look, rows: Ints) -> tuple[Floats, Floats]:
    """Return how deep and how proud each spot of a face may be."""
    limit = look.limits[face.name]
    more = RESOLUTION + (look.rounding[rows] if limit.rounded else np.zeros(len(rows)))
    return limit.deep + more, limit.proud + more + _left_on_purpose(face, look)


def _left_on_purpose(face: PartFace, look: _Look) -> float:
    """Return what the job itself leaves on a face for later, where the face's last row says so too."""
    asked = look.settings.faces.get(face.name)
    stated = (asked.leave if asked else None) or 0.0
    last = [row.leave for table in look.tables for row in table.rows if row.feature == face.name and row.action in CUTTING]
    return min(stated, last[-1]) if last and stated else 0.0


def _face_found(face: PartFace, look: _Look) -> FaceFound:
    rows = _rows_of(face, look)
    off = look.walk.off[rows] if rows.size else np.zeros(1)
    deep, proud = _allowed(face, look, rows)
    return FaceFound(
        face.name,
        face.state,
        float(off.min()) + 0.0,
        float(off.max()) + 0.0,
        float(np.min(deep, initial=look.limits[face.name].deep + RESOLUTION + 1.0)),
        float(np.min(proud, initial=1e9)),
        look.limits[face.name].why,
        not any(True for _ in _face_faults(face, look)),
        _is_left_out(face, look),
    )


def _face_faults(face: PartFace, look: _Look) -> Iterator[Fault]:
    rows = _rows_of(face, look)
    deep, proud = _allowed(face, look, rows)
    off, gouged = look.walk.off[rows], look.walk.gouged[rows]
    low = off < -deep
    yield from _gouged(face, look, rows[low & gouged], deep[low & gouged])
    short = rows[low & ~gouged]
    if short.size and face.state != "as cast" and look.spots.area[short].sum() > (1.0 - _bearing(face, look)) * face.area:
        yield Fault("short", (), face.name, ("the casting is short by ", float(-off[low & ~gouged].min())))
    high = off > proud
    if high.any() and face.state != "as cast" and not _is_left_out(face, look):
        yield _left_over(face, look, rows[high])


def _strays(sweeps: Sequence[Sweep], look: _Look) -> Iterator[Fault]:
    """Yield rows whose cutter is nowhere over the face they name."""
    for face in look.part.faces:
        own = [sweep for sweep in sweeps if sweep.row.feature == face.name]
        spots = look.spots.of(_rows_of(face, look)) if own else look.spots
        for sweep in own:
            if not (spans(sweep, spots.starts, spots.normals)[1] > 0).any():
                yield of_row("feature", sweep.table, sweep.row, "its cutter comes nowhere near this face")


def _bearing(face: PartFace, look: _Look) -> float:
    asked = look.settings.faces.get(face.name)
    return asked.bearing if asked else 1.0


def _gouged(face: PartFace, look: _Look, rows: Ints, deep: Floats) -> Iterator[Fault]:
    """Yield the fault of spots that were cut too deep, with the rows whose cutter goes through them."""
    if not rows.size:
        return
    spots, depth = look.spots.of(rows), float(-look.walk.off[rows].min())
    guilty = [sweep for sweep in look.sweeps if _cuts_into(sweep, spots, deep)]
    kind = "as cast cut" if face.state == "as cast" else "gouge"
    words: Words = ("cut ", depth, " too deep" if face.state != "as cast" else " deep, and stays as cast")
    yield Fault(kind, _named(guilty), face.name, words)


def _cuts_into(sweep: Sweep, spots: Spots, deep: Floats) -> bool:
    local = sweep.table.frame.local_points(spots.starts)
    near = (local[:, 2] > sweep.z) & (from_move(sweep, local[:, :2]) < sweep.radius)
    return bool(near.any()) and bool(within(sweep, spots.of(near), deep[near]).any())


def _left_over(face: PartFace, look: _Look, rows: Ints) -> Fault:
    """Return the fault of metal left over, with the rows that should have taken it."""
    high = float(look.walk.off[rows].max())
    own = [sweep for sweep in look.sweeps if sweep.row.feature in (face.name, face.hole)]
    passing = [sweep for sweep in own if _passes(sweep, look.spots.points[rows])]
    bounding = [look.sweeps[i] for i in np.unique(look.walk.ahead[rows]).tolist() if i >= 0]
    guilty = passing or own
    if not own:
        return Fault("left over", _named(bounding), face.name, ("no row makes it: ", high, " left over, or more"))
    near = [sweep for sweep in bounding if sweep in own or not passing]
    return Fault("left over", _named([*guilty, *near, *_finishing(face, look, own, rows)]), face.name, (high, " left over"))


def _finishing(face: PartFace, look: _Look, own: Sequence[Sweep], rows: Ints) -> list[Sweep]:
    """Return the row that finishes the face elsewhere and comes nearest to what is left over."""
    good = np.setdiff1d(_rows_of(face, look), rows)
    makers = [sweep for sweep in own if (look.walk.ahead[good] == sweep.at).any()]
    return sorted(makers, key=lambda sweep: _distance(sweep, look.spots.points[rows]))[:1]


def _distance(sweep: Sweep, points: Floats) -> float:
    """Return how far beside the cutter's way the nearest of some points is."""
    return float(from_move(sweep, sweep.table.frame.local_points(points)[:, :2]).min()) - sweep.radius


def _passes(sweep: Sweep, points: Floats) -> bool:
    local = sweep.table.frame.local_points(points)
    return bool((from_move(sweep, local[:, :2]) <= sweep.radius + RESOLUTION).any())


def _named(sweeps: Sequence[Sweep]) -> tuple[tuple[int, int], ...]:
    order = sorted({sweep.at: sweep for sweep in sweeps}.values(), key=lambda s: s.at)
    return tuple((sweep.table.number, sweep.row.number) for sweep in order)


def _volume(rest: Rest, look: _Look, sign: float) -> float:
    """Return the volume left over (sign 1) or missing (-1): of the samples where it is a film, of the meshes where it is thick."""
    counts: Bools = np.array([face.state != "as cast" or sign < 0 for face in look.part.faces])[look.owner]
    thick = np.where(counts, np.maximum(sign * look.walk.off, 0.0), 0.0)
    return rest.volume if thick.max(initial=0.0) > _FILM else float(look.spots.area @ thick)
