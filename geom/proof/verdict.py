"""Whether each face of the finished part came out right, and which rows are to blame where it did not.

Holds the walk's distances against what each face may be off. Lengths mm, part
frame. Knows what rows print and where their cutters go; not how rows are made.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from geom.model.part import Part, PartFace
from geom.proof.faces import STEP, Groups, Spots, Walk, joined, near_to, spread, suspects, walk, within
from geom.proof.limits import RESOLUTION, Limit, limit_of
from geom.proof.mesh import Rest
from geom.proof.rows import Fault, of_row
from geom.proof.sweep import Sweep, Table, from_move, spans
from geom.rays.analytic import Bools, Floats, Ints
from geom.rays.rays import Skin, skin_of
from geom.rows.records import CUTTING
from geom.settings.records import Settings

_FILM: Final = 2.0
"""mm: what lies thinner than this on a face is its area times its thickness; where it is thicker two meshes are compared,
which are out by their facet error."""


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


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """All samples with what was found at them, and what each may be off.

    Attributes:
        owner: (n,) which of the part's faces each spot is on.
        deep, proud: (n,) what each may be off, mm.
        guilty: face -> the rows that cut it too deep.
    """

    tables: Sequence[Table]
    part: Part
    settings: Settings
    sweeps: Sequence[Sweep]
    spots: Spots
    walk: Walk
    owner: Ints
    deep: Floats
    proud: Floats
    limits: Sequence[Limit]
    left_out: frozenset[str]
    groups: Groups = ()
    guilty: dict[int, list[Sweep]] = field(default_factory=dict)


def look_at(
    tables: Sequence[Table], part: Part, settings: Settings, skin: Skin, sweeps: Sequence[Sweep], rest: tuple[Rest, Rest]
) -> Look:
    """Return what samples of every face show; `rest`: where meshes say that something is left over or gouged."""
    owners = np.full(len(part.finished.surfaces), -1, dtype=np.int64)
    for i, face in enumerate(part.faces):
        owners[list(face.surfaces)] = i
    groups = tuple((surface, int(owners[surface])) for face in part.faces for surface in face.surfaces if len(face.surfaces) > 1)
    near = np.concatenate([r.spots for r in rest])
    spots = joined(spread(part.finished, groups), suspects(part.finished, groups, near))
    owner = owners[spots.surface]
    stocked = np.array([face.state != "as cast" for face in part.faces])[owner]
    limits = [limit_of(face, part, settings) for face in part.faces]
    left = np.array([_left_on_purpose(face, tables, settings) for face in part.faces])
    more = RESOLUTION + np.where(np.array([limit.rounded for limit in limits])[owner], _rounding(tables, spots), 0.0)
    deep = np.array([limit.deep for limit in limits])[owner] + more
    proud = (np.array([limit.proud for limit in limits]) + left)[owner] + more
    found = walk(spots, sweeps, skin, stocked)
    look = Look(tables, part, settings, sweeps, spots, found, owner, deep, proud, limits, _left_out(tables, part), groups)
    look.guilty.update(_guilty(look))
    return look


def _left_out(tables: Sequence[Table], part: Part) -> frozenset[str]:
    """Return the features that no row is meant to make: left out, or done by hand."""
    names = [*(face.name for face in part.faces), *(hole.name for hole in part.holes)]
    lines = [line for table in tables for line in table.left_out]
    by_hand = {row.feature for table in tables for row in table.rows if row.action == "break edges"}
    return frozenset(name for name in names if name in by_hand or any(line.startswith(f"{name}: ") for line in lines))


def _rounding(tables: Sequence[Table], spots: Spots) -> Floats:
    """Return how far each spot may be off because the readout shows whole steps: half a step along each axis."""
    if not tables:
        return np.zeros(len(spots))
    frame, step = tables[0].frame, max(table.step for table in tables)
    local = spots.normals @ np.array([frame.x, frame.y, frame.z]).T
    return np.asarray(0.5 * step * np.abs(local).sum(axis=1))


def _left_on_purpose(face: PartFace, tables: Sequence[Table], settings: Settings) -> float:
    """Return what the job itself leaves on a face for later, where the face's last row says so too."""
    asked = settings.faces.get(face.name)
    stated = (asked.leave if asked else None) or 0.0
    last = [row.leave for table in tables for row in table.rows if row.feature == face.name and row.action in CUTTING]
    return min(stated, last[-1]) if last and stated else 0.0


def _guilty(look: Look) -> dict[int, list[Sweep]]:
    """Return, for every face that is cut too deep, the rows whose cutter goes through its spots."""
    low = np.flatnonzero((look.walk.off < -look.deep) & look.walk.gouged)
    spots, found = look.spots.of(low), dict[int, list[Sweep]]()
    for sweep in look.sweeps if low.size else ():
        near = near_to(sweep, spots.starts, 0.0)
        cut = near[within(sweep, spots.of(near), look.deep[low[near]])]
        for face in np.unique(look.owner[low[cut]]).tolist():
            found.setdefault(face, []).append(sweep)
    return found


# --- one face ---------------------------------------------------------------


def judge(face: PartFace, look: Look) -> tuple[FaceFound, tuple[Fault, ...]]:
    """Return what a face came out like, and what is wrong with it."""
    at = look.part.faces.index(face)
    rows = np.flatnonzero(look.owner == at)
    off = look.walk.off[rows]
    left_out = face.name in look.left_out or (face.hole is not None and face.hole in look.left_out)
    faults = tuple(_faults(face, at, rows, left_out, look))
    limit = look.limits[at]
    return FaceFound(
        name=face.name,
        state=face.state,
        low=float(off.min(initial=0.0)) + 0.0,
        high=float(off.max(initial=0.0)) + 0.0,
        deep=float(look.deep[rows].min()) if rows.size else limit.deep,
        proud=float(look.proud[rows].min()) if rows.size else limit.proud,
        why=limit.why,
        holds=not faults,
        left_out=left_out,
    ), faults


def _faults(face: PartFace, at: int, rows: Ints, left_out: bool, look: Look) -> Iterator[Fault]:
    off, gouged = look.walk.off[rows], look.walk.gouged[rows]
    low, high = off < -look.deep[rows], off > look.proud[rows]
    if (low & gouged).any():
        yield _gouged(face, float(-off[low & gouged].min()), look.guilty.get(at, []))
    short = low & ~gouged
    if short.any() and face.state != "as cast" and look.spots.area[rows[short]].sum() > (1.0 - _bearing(face, look)) * face.area:
        yield Fault("short", (), face.name, ("the casting is short by ", float(-off[short].min())))
    if high.any() and face.state != "as cast" and not left_out:
        yield _left_over(face, look, rows[high])


def islands(look: Look, rest: Rest, found: Sequence[FaceFound]) -> tuple[tuple[float, str], ...]:
    """Return volume, mm3, and nearest face of pieces of metal that stand clear of all faces, so that no sample tells of them."""
    return tuple(_islands(look, rest, found))


def island_faults(some: Sequence[tuple[float, str]]) -> Iterator[Fault]:
    """Yield a fault a piece."""
    for size, face in some:
        yield Fault("left over", (), face, (f"a lump of {size:.0f} mm3 is left standing near it, and no row takes it",))


def _islands(look: Look, rest: Rest, found: Sequence[FaceFound]) -> Iterator[tuple[float, str]]:
    import igl

    mesh = skin_of(look.part.finished).mesh
    told = {one.name for one in found if one.left_out or one.high > one.proud or one.proud > _LEFT_ON}
    for size, corners in rest.lumps:
        triangle = igl.point_mesh_squared_distance(corners, mesh.vertices, mesh.triangles)[1]
        surfaces = set(mesh.face[np.asarray(triangle, dtype=np.int64)].tolist())
        near = [face for face in look.part.faces if surfaces & set(face.surfaces)]
        cut = [face for face in near if face.state != "as cast"]
        if not any(face.name in told for face in near):
            yield size, (cut or near)[0].name


_LEFT_ON: Final = 0.1
"""A face that may keep more than this, mm, keeps it on purpose."""


def _bearing(face: PartFace, look: Look) -> float:
    asked = look.settings.faces.get(face.name)
    return asked.bearing if asked else 1.0


def _gouged(face: PartFace, depth: float, guilty: Sequence[Sweep]) -> Fault:
    if face.state == "as cast":
        return Fault("as cast cut", _named(guilty), face.name, ("cut ", depth, " deep, and stays as cast"))
    return Fault("gouge", _named(guilty), face.name, ("cut ", depth, " too deep"))


def strays(look: Look) -> Iterator[Fault]:
    """Yield rows whose cutter is nowhere over the face they name."""
    holes = {hole.name for hole in look.part.holes}
    for at, face in enumerate(look.part.faces):
        own = [sweep for sweep in look.sweeps if sweep.row.feature == face.name and face.name not in holes]
        spots = look.spots.of(np.flatnonzero(look.owner == at)) if own else look.spots
        for sweep in own:
            if not (spans(sweep, spots.starts, spots.normals)[1] > 0).any():
                yield of_row("feature", sweep.table, sweep.row, "its cutter comes nowhere near this face")


def _left_over(face: PartFace, look: Look, rows: Ints) -> Fault:
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


def _finishing(face: PartFace, look: Look, own: Sequence[Sweep], rows: Ints) -> list[Sweep]:
    """Return the rows that finish the face elsewhere and come nearest to what is left over: both sides of a strip."""
    good = np.setdiff1d(np.flatnonzero(look.owner == look.part.faces.index(face)), rows)
    makers = [sweep for sweep in own if (look.walk.ahead[good] == sweep.at).any()]
    away = {sweep.at: _distance(sweep, look.spots.points[rows]) for sweep in makers}
    return [sweep for sweep in makers if away[sweep.at] <= min(away.values()) + STEP]


def _distance(sweep: Sweep, points: Floats) -> float:
    """Return how far beside the cutter's way the nearest of some points is."""
    return float(from_move(sweep, sweep.table.frame.local_points(points)[:, :2]).min()) - sweep.radius


def _passes(sweep: Sweep, points: Floats) -> bool:
    local = sweep.table.frame.local_points(points)
    return bool((from_move(sweep, local[:, :2]) <= sweep.radius + RESOLUTION).any())


def _named(sweeps: Sequence[Sweep]) -> tuple[tuple[int, int], ...]:
    order = sorted({sweep.at: sweep for sweep in sweeps}.values(), key=lambda s: s.at)
    return tuple((sweep.table.number, sweep.row.number) for sweep in order)


def volume(rest: Rest, look: Look, sign: float) -> float:
    """Return the volume left over (sign 1) or missing (-1): of the samples where it is a film, of the meshes where it is thick."""
    counts: Bools = np.array([face.state != "as cast" or sign < 0 for face in look.part.faces])[look.owner]
    thick = np.where(counts, np.maximum(sign * look.walk.off, 0.0), 0.0)
    return rest.volume if thick.max(initial=0.0) > _FILM else float(look.spots.area @ thick)


def worst(face: FaceFound) -> float:
    """Return how far a face is off, mm; metal over a face that stays as cast is its own."""
    return max(-face.low, 0.0) if face.state == "as cast" else max(abs(face.low), abs(face.high))
