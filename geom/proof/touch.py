"""Pick-up and check rows against the metal that stands there when they come.

A finder is an upright cylinder that comes along its printed way: it has to meet
the named face where the row says its axis stands, its radius on the air side.
A gauge comes down on one point; an indicator runs round a wall. What it meets
is the casting's skin less the rows before. Lengths mm. Knows nothing of why a
place is touched.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from geom.model.part import Part, PartFace, PartHole
from geom.proof.limits import RESOLUTION
from geom.proof.metal import first_metal
from geom.proof.received import FACETS
from geom.proof.rows import HOLDER, Fault, of_row
from geom.proof.sweep import Sweep, Table
from geom.rays.analytic import Floats
from geom.rays.rays import Skin, skin_of
from geom.rays.sample import surface_samples
from geom.rows.records import Row

TOUCHES: Final = ("pick up", "check")

_WAYS: Final = {
    "+x": (1.0, 0.0, 0.0),
    "-x": (-1.0, 0.0, 0.0),
    "+y": (0.0, 1.0, 0.0),
    "-y": (0.0, -1.0, 0.0),
    "-z": (0.0, 0.0, -1.0),
}

_SKIN: Final = 0.06
"""mm, the readout's step apart, that a touch on raw skin may be out: nobody feels less on sand (common practice, no source)."""

_CUT: Final = 0.005
"""The same of a touch on a cut face."""

_CLOSE: Final = 0.05
"""mm on the diameter that a bored hole is off its drawn size at most: more than its limits are apart."""

_SCATTER: Final = 1.5
"""A finder meets the highest of a scan's scattered points: so many standard deviations."""

_REACH: Final = 25.0
"""mm of a finder that does not say how far it reaches."""

_ROUND: Final = 33
_HIGH: Final = 1.0
"""Lines over the half of a finder that goes ahead, and mm between them upwards."""

_OFF_LEVEL: Final = 0.00137
"""mm that a finder's lines are lifted by: no readout stops there, so none runs in a level face."""

_AHEAD: Final = 25.0
"""mm: a face further ahead than this is not the one that is touched."""

_BESIDE: Final = 0.5
"""mm: faces meet here, and either is touched."""

_MOST_OF: Final = 0.5
"""Share of a level face, or of a round's wall, that has to stand where the row says."""


@dataclass(frozen=True, slots=True)
class TouchFound:
    """What one touch meets.

    Attributes:
        off: how much further on than printed, mm; below 0 sooner; None where nothing is met.
        allowed: mm either way.
    """

    setup: int
    row: int
    feature: str
    action: str
    off: float | None
    allowed: float


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """The metal under the finder.

    Attributes:
        skin: of the casting, drawn or received.
        off: how far it may lie off the drawn one, mm; noise: of its single points.
        received: not as drawn.
    """

    part: Part
    skin: Skin
    sweeps: Sequence[Sweep]
    off: float = 0.0
    noise: float = 0.0
    received: bool = False

    def before(self, table: Table, row: Row) -> list[Sweep]:
        """Return the sweeps that came before a row."""
        return [s for s in self.sweeps if s.table.number < table.number or (s.table is table and s.row.number < row.number)]

    @property
    def raw(self) -> float:
        """What a touch on raw skin may be out, mm, the readout's step apart."""
        return _SKIN + (FACETS + _SCATTER * self.noise if self.received else 0.0)


_Found = tuple[TouchFound | None, tuple[Fault, ...]]


def touches(tables: Sequence[Table], work: Work) -> tuple[tuple[TouchFound, ...], tuple[Fault, ...]]:
    """Return what every pick-up and check row meets, and what is wrong with it."""
    found = [_touched(table, row, work) for table in tables for row in table.rows if row.action in TOUCHES]
    pairs = [fault for table in tables for fault in _pair_faults(table)]
    return tuple(one for one, _ in found if one is not None), (*pairs, *(fault for _, faults in found for fault in faults))


def _touched(table: Table, row: Row, work: Work) -> _Found:
    if not row.driven:
        return None, ()
    if row.z is None:
        return None, (of_row("touch", table, row, "does not say Z, so nobody can tell what it meets"),)
    hole = next((h for h in work.part.holes if h.name == row.feature), None)
    if not _faces(row.feature, work.part):
        return None, (of_row("feature", table, row, "the part has no face or hole of this name"),)
    if hole is not None and abs(np.dot(hole.axis, table.frame.z)) < _MOST_OF:
        return _on_plug(table, row, hole, work)
    if row.towards == "":
        return _swept(table, row, work)
    if row.towards == "-z" and (row.x is None or row.y is None):
        return _levelled(table, row, work)
    return _met(table, row, work)


def _faces(name: str, part: Part) -> list[PartFace]:
    return [face for face in part.faces if name in (face.name, face.hole)]


# --- a finder that comes to rest -------------------------------------------------


def _met(table: Table, row: Row, work: Work) -> _Found:
    if row.x is None or row.y is None:
        return None, (of_row("touch", table, row, "does not say X and Y, so nobody can tell what it meets"),)
    allowed = table.step + work.raw
    back = allowed + 1.0
    way = np.array(_WAYS[row.towards])
    front = _front(row, way)
    gone = work.before(table, row)
    run = _run(front - back * way, way, table, work, gone)
    least = float(run.min(initial=np.inf))
    off = least - back
    words = _wrong(off, allowed, back, row)
    if words:
        return _of(table, row, off if off < _AHEAD else None, allowed), (of_row("touch", table, row, *words),)
    at = front[int(np.flatnonzero(run <= least + _SKIN)[0])] + off * way
    kind, meets = _face_under(at, way, table, row, work)
    if kind == "cut" and abs(off) > table.step + _CUT:
        return _of(table, row, off, table.step + _CUT), (of_row("touch", table, row, "meets the cut face ", off, " off"),)
    return _of(table, row, off, allowed if kind == "raw" else table.step + _CUT), (*meets, *_room(table, row, work, gone))


def _wrong(off: float, allowed: float, back: float, row: Row) -> tuple[str | float, ...]:
    if off > _AHEAD:
        return ("there is no metal where it should meet the work",)
    if off > allowed:
        return ("the work is ", off, " further on than where it should be met")
    if off <= -back + RESOLUTION:
        said = "the gauge" if row.towards == "-z" else "the finder"
        return (f"{said} stands in metal: a wrong place, or its radius on the wrong side",)
    return ("meets the work ", -off, " too soon") if off < -allowed else ()


def _front(row: Row, way: Floats) -> Floats:
    """Return points (n, 3), set-up frame, on the half of the finder that goes ahead, its end first; of a gauge its end."""
    end = np.array([[row.x, row.y, row.z]], dtype=np.float64)
    radius = 0.0 if row.towards == "-z" else 0.5 * row.tool.diameter
    if radius <= 0.0:
        return end
    turn = np.radians(np.linspace(-80.0, 80.0, _ROUND))
    turn = turn[np.argsort(np.abs(turn), kind="stable")]
    aside = np.array([-way[1], way[0], 0.0])
    ring = radius * (np.cos(turn)[:, None] * way + np.sin(turn)[:, None] * aside)
    reach = row.tool.reach or _REACH
    up = _OFF_LEVEL + np.linspace(0.0, reach, 1 + math.ceil(reach / _HIGH))
    points = end + ring[None, :, :] + up[:, None, None] * np.array([0.0, 0.0, 1.0])
    return np.asarray(points.reshape(-1, 3))


def _run(starts: Floats, way: Floats, table: Table, work: Work, gone: Sequence[Sweep]) -> Floats:
    """Return how far lines along one way, set-up frame, run until they meet metal."""
    axes = np.array([table.frame.x, table.frame.y, table.frame.z])
    return first_metal(table.frame.part_points(starts), np.tile(way @ axes, (len(starts), 1)), work.skin, gone)


def _face_under(at: Floats, way: Floats, table: Table, row: Row, work: Work) -> tuple[str, tuple[Fault, ...]]:
    """Return whether raw skin or a cut face is met at a point, and a fault where that is not the named face's."""
    import igl

    axes = np.array([table.frame.x, table.frame.y, table.frame.z])
    lead = work.off + _BESIDE
    place, ahead = table.frame.part_points(at[None]), (way @ axes)[None]
    mesh, faces = skin_of(work.part.finished).mesh, _faces(row.feature, work.part)
    hit = skin_of(work.part.finished).first(place - lead * ahead, ahead)
    gone = float(hit.distance[0]) - lead
    seen = place + gone * ahead if gone < _AHEAD and not hit.leaving[0] else place
    mine = mesh.triangles[np.isin(mesh.face, [s for face in faces for s in face.surfaces])]
    nearest, own = (
        np.sqrt(igl.point_mesh_squared_distance(np.concatenate([place, seen]), mesh.vertices, some)[0])
        for some in (mesh.triangles, mine)
    )
    if own[0] > nearest[0] + lead and own[1] > lead:
        return "raw", (of_row("touch", table, row, "meets another face than the one it names"),)
    bare = first_metal(place - _BESIDE * ahead, ahead, work.skin, ())
    cut = all(face.state != "as cast" for face in faces) and float(bare[0]) < _BESIDE - table.step - _CUT
    return ("cut" if cut else "raw"), ()


def _room(table: Table, row: Row, work: Work, gone: Sequence[Sweep]) -> Iterator[Fault]:
    """Yield what stands in the way of the finder or of its holder."""
    x, y, z, radius = row.x or 0.0, row.y or 0.0, row.z or 0.0, 0.5 * row.tool.diameter
    for box in table.boxes:
        aside = math.hypot(max(box.low[0] - x, 0.0, x - box.high[0]), max(box.low[1] - y, 0.0, y - box.high[1]))
        if aside < radius - RESOLUTION and z < box.high[2] - RESOLUTION:
            yield of_row("held", table, row, f"the finder stands in the {box.name}")
    if row.towards == "-z" or not row.tool.reach:
        return
    turn = np.linspace(0.0, 2.0 * math.pi, 24, endpoint=False)
    ring = np.concatenate([share * HOLDER * np.stack([np.cos(turn), np.sin(turn)], axis=1) for share in (0.5, 1.0)])
    high = z + row.tool.reach
    starts = np.column_stack([np.array([x, y]) + ring, np.full(len(ring), high + work.raw)])
    if np.isfinite(_run(starts, np.array([0.0, 0.0, 1.0]), table, work, gone)).any():
        yield of_row("holder", table, row, "reaches ", row.tool.reach, " below its holder: the holder meets the work")


# --- level faces, rounds, plugs ---------------------------------------------------


def _levelled(table: Table, row: Row, work: Work) -> _Found:
    """Return what a height without a place meets: the named face all over, or what the work's seat stands on."""
    assert row.z is not None
    faces = [face for face in _faces(row.feature, work.part) if face.normal is not None]
    if not faces:
        return None, (of_row("touch", table, row, "names no flat face, and does not say where to touch"),)
    normal = table.frame.local_direction(faces[0].normal or faces[0].axis)
    if normal[2] < 0:
        return _from_seat(table, row, faces[0])
    inner = surface_samples(work.part.finished, 3.0, [s for face in faces for s in face.surfaces])
    places = table.frame.local_points(inner.points[inner.edge_distance > _BESIDE])
    starts = np.column_stack([places[:, :2], np.full(len(places), row.z + _AHEAD)])
    off = _run(starts, np.array([0.0, 0.0, -1.0]), table, work, work.before(table, row)) - _AHEAD
    allowed = table.step + _CUT
    right = np.abs(off) <= allowed
    middle = float(np.median(off)) if len(off) else math.inf
    if len(off) and right.mean() >= _MOST_OF:
        return _of(table, row, float(np.median(off[right])), allowed), ()
    words = ("the named face is not at this height: it lies ", middle, " further on") if middle < _AHEAD else ("nothing is there",)
    return _of(table, row, middle if middle < _AHEAD else None, allowed), (of_row("touch", table, row, *words),)


def _from_seat(table: Table, row: Row, seat: PartFace) -> _Found:
    """Return what a height over the vise's bed or the table meets: what the seat stands on, its packing counted."""
    assert row.z is not None
    height = table.frame.local(seat.origin)[2]
    beds = [box.high[2] for box in table.boxes if box.name in ("bed", "table")]
    wanted = [height] if "matched block" in row.note else beds
    if not wanted:
        return _of(table, row, None, table.step), (of_row("touch", table, row, "nothing that holds the work is said to be there"),)
    off = min((row.z - z for z in wanted), key=abs)
    packing = [box.high[2] for box in table.boxes if box.name.endswith("parallel") or box.name.startswith("parallel")]
    loose = max((abs(z - height) for z in packing), default=0.0)
    faults = []
    if abs(off) > table.step:
        faults.append(of_row("touch", table, row, "what it touches lies ", off, " lower"))
    if loose > table.step:
        faults.append(of_row("touch", table, row, "the packing ends ", loose, f" off {seat.name}"))
    return _of(table, row, off, table.step), tuple(faults)


def _swept(table: Table, row: Row, work: Work) -> _Found:
    """Return how far the axis of the wall that an indicator runs round is from where the row says."""
    if row.x is None or row.y is None:
        return None, (of_row("touch", table, row, "does not say X and Y, so nobody can tell what it meets"),)
    turn = np.linspace(0.0, 2.0 * math.pi, 32, endpoint=False)
    ways = np.stack([np.cos(turn), np.sin(turn), np.zeros(len(turn))], axis=1)
    middle, gone = np.array([row.x, row.y, row.z]), work.before(table, row)
    axes = np.array([table.frame.x, table.frame.y, table.frame.z])
    radius = max((face.radius for face in _faces(row.feature, work.part) if face.kind == "cylinder"), default=0.0)
    hollow = any(face.hollow for face in _faces(row.feature, work.part) if face.kind == "cylinder")
    begin = 0.0 if hollow else radius + _AHEAD
    starts = table.frame.part_points(middle + begin * ways)
    far = first_metal(starts, (1.0 if hollow else -1.0) * ways @ axes, work.skin, gone)
    far = np.where(np.isfinite(far), np.abs(far - begin), np.nan)
    allowed = table.step + _CUT
    if not np.isfinite(far).any() or np.nanmedian(far) <= RESOLUTION:
        return _of(table, row, None, allowed), (of_row("touch", table, row, "there is no wall to run round here"),)
    good = np.abs(far - np.nanmedian(far)) < 1.0
    columns = np.column_stack([np.ones(int(good.sum())), ways[good, :2]])
    answer = np.linalg.lstsq(columns, far[good], rcond=None)[0]
    off = float(np.hypot(answer[1], answer[2]))
    rough = float(np.abs(columns @ answer - far[good]).max())
    if good.mean() < _MOST_OF or rough > work.raw:
        return _of(table, row, None, allowed), (
            of_row("touch", table, row, "the wall is not round here, so the needle never stands still"),
        )
    wrong = off > allowed
    return _of(table, row, off, allowed), (
        (of_row("touch", table, row, "the wall's axis is ", off, " from here"),) if wrong else ()
    )


def _on_plug(table: Table, row: Row, hole: PartHole, work: Work) -> _Found:
    """Return what is met on a close plug that stands out of a hole that lies down."""
    assert row.z is not None
    if row.x is None or row.y is None:
        return None, (of_row("touch", table, row, "does not say X and Y, so nobody can tell what it meets"),)
    mouth, out = np.array(table.frame.local(hole.centre)), np.array(table.frame.local_direction(hole.axis))
    here, radius = np.array([row.x, row.y, row.z]), 0.5 * row.tool.diameter
    away = here - mouth
    ends = (float(away @ out), -float(away @ out) - hole.length if hole.through else -math.inf)
    aside = away - float(away @ out) * out
    way = np.array(_WAYS[row.towards]) if row.towards else np.zeros(3)
    bored = any(_to_size(s, hole) for s in work.before(table, row))
    want = 0.5 * (hole.diameter if bored else _skin_bore(hole, work)) + (0.0 if row.towards == "-z" else radius)
    off = float(-aside @ way) - want
    cross = aside - float(aside @ way) * way
    allowed = 2.0 * table.step + RESOLUTION
    words: tuple[str | float, ...] = ()
    if not row.towards or max(ends) < radius:
        words = ("the plug does not stand out where it is touched",)
    elif abs(off) > allowed:
        why = "" if bored else ", as no row before it bores the hole: have it bored first"
        words = ("the plug's side is ", off, f" further on than where it should be met{why}")
    elif float(np.linalg.norm(cross)) > allowed:
        words = ("stands ", float(np.linalg.norm(cross)), " beside the plug's axis")
    return _of(table, row, off, allowed), ((of_row("touch", table, row, *words),) if words else ())


def _to_size(sweep: Sweep, hole: PartHole) -> bool:
    """Tell whether a row gives a hole its finished diameter, by which a plug is chosen."""
    return sweep.row.feature == hole.name and not sweep.length and abs(2.0 * sweep.radius - hole.diameter) < _CLOSE


def _skin_bore(hole: PartHole, work: Work) -> float:
    """Return the diameter a plug has in a hole as cast."""
    middle = np.array(hole.centre) - 0.5 * hole.length * np.array(hole.axis)
    side = np.linalg.svd(np.array(hole.axis)[None])[2][1:]
    ways = np.concatenate([side, -side])
    return 2.0 * float(np.median(first_metal(np.tile(middle, (4, 1)), ways, work.skin, ())))


def _pair_faults(table: Table) -> Iterator[Fault]:
    """Yield the second of two opposite touches where it is not at the height of the first: draft would not cancel."""
    rows = [row for row in table.rows if row.action == "pick up" and row.towards in ("+x", "-x", "+y", "-y") and row.z is not None]
    for first, second in pairwise(rows):
        opposite = first.towards[1] == second.towards[1] and first.towards != second.towards
        if opposite and abs((first.z or 0.0) - (second.z or 0.0)) > 0.5 * table.step:
            yield of_row("touch", table, second, "is not at the height of the touch before it, on the other side")


def _of(table: Table, row: Row, off: float | None, allowed: float) -> TouchFound:
    return TouchFound(table.number, row.number, row.feature, row.action, None if off is None else off + 0.0, allowed)
