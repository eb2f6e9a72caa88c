"""Measuring rows against the finished part, measured here on samples of its faces.

Every size that can be taken of the named feature is worked out from points on
its faces and the printed zero; the row's words say which of them it is. The
nominal has to be that size, metal left on purpose counted, and the limits have
to be those that the drawing or the job states, and hold it. Lengths mm. Knows
nothing of how measuring rows are made.
"""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from geom.errors import StandardError
from geom.model.part import Part, PartFace, PartHole
from geom.proof.faces import Spots
from geom.proof.limits import RESOLUTION
from geom.proof.rows import Fault, of_row
from geom.proof.sweep import Table
from geom.rays.analytic import Floats, Ints
from geom.rows.records import CUTTING, Row
from geom.settings.records import Settings
from geom.standards.tolerance_grades import casting_tolerance, general_tolerance

_SQUARE: Final = 1e-3
"""Sine within which two faces are parallel, or an axis upright."""

_BEFORE: Final = "before the finishing cut"
"""A row whose note says this measures what the last rough cut has left."""

_NAMED: Final = re.compile(r"(?:across to|through to|over the seat \()\s*([^;,)]+)")


@dataclass(frozen=True, slots=True)
class Measured:
    """What one measuring row ought to read by the part itself, mm: the size nearest to its nominal among those it may mean."""

    setup: int
    row: int
    feature: str
    nominal: float
    found: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Sizes:
    """The finished part, measured.

    Attributes:
        spots: points on its faces; owner: (n,) which face each is on.
    """

    tables: Sequence[Table]
    part: Part
    settings: Settings
    spots: Spots
    owner: Ints
    levels: dict[tuple[int, tuple[float, float, float]], float] = field(default_factory=dict)

    def level(self, face: PartFace, way: Floats) -> float:
        """Return how far a flat face lies out along a direction, mean of its points, mm from the part's origin."""
        at = self.part.faces.index(face)
        key = (at, (float(way[0]), float(way[1]), float(way[2])))
        if key not in self.levels:
            self.levels[key] = float((self.spots.points[self.owner == at] @ way).mean())
        return self.levels[key]

    def round(self, surfaces: Sequence[int], axis: Floats) -> tuple[Floats, float] | None:
        """Return a point on the axis of some round walls, and their diameter: a circle fitted to their points."""
        rows = np.isin(self.spots.surface, surfaces)
        if rows.sum() < _FEWEST:
            return None
        side = np.linalg.svd(axis[None])[2][1:]
        flat = self.spots.points[rows] @ side.T
        columns = np.column_stack([2.0 * flat, np.ones(len(flat))])
        x, y, c = np.linalg.lstsq(columns, (flat**2).sum(axis=1), rcond=None)[0]
        return np.array([x, y]) @ side, 2.0 * math.sqrt(max(c + x * x + y * y, 0.0))


_FEWEST: Final = 6


def measured(sizes: Sizes) -> tuple[tuple[Measured, ...], tuple[Fault, ...]]:
    """Return what every measuring row ought to read, and what is wrong with it."""
    rows = [(table, row) for table in sizes.tables for row in table.rows if row.action == "measure"]
    found = [(table, row, _found(table, row, sizes)) for table, row in rows if row.nominal is not None]
    faults = [fault for table, row, size in found for fault in _size_faults(table, row, size, sizes)]
    threads = [fault for table, row in rows if row.nominal is None for fault in _threads_faults(table, row, sizes.part)]
    told = tuple(Measured(t.number, r.number, r.feature, r.nominal or 0.0, size) for t, r, size in found)
    return told, (*faults, *threads)


def _found(table: Table, row: Row, sizes: Sizes) -> float | None:
    """Return the size nearest to a row's nominal among those its words allow; None where the part has none."""
    assert row.nominal is not None
    nominal = row.nominal
    some = [size for size in _sizes(table, row, sizes) if math.isfinite(size)]
    return min(some, key=lambda size: abs(size - nominal), default=None)


def _size_faults(table: Table, row: Row, size: float | None, sizes: Sizes) -> Iterator[Fault]:
    assert row.nominal is not None
    if size is None:
        yield of_row("measure", table, row, "the part has nothing of this name to measure so")
        return
    if abs(_within(size, row, table.fine) - row.nominal) > 0.5 * table.fine + RESOLUTION:
        yield of_row("measure", table, row, "should read ", size, " by the part itself, and is printed as ", row.nominal)
    wanted = None if _amid(row) else _limits(row, size, sizes) or _general(row, size, sizes)
    if row.limits is None:
        if wanted is not None:
            yield of_row("limits", table, row, "does not print the limits that are stated: ", wanted[0], " to ", wanted[1])
        return
    low, high = row.limits
    if not low - table.fine <= size <= high + table.fine:
        yield of_row("limits", table, row, "the part's own ", size, " is not within the printed limits")
    if wanted is None:
        yield of_row("limits", table, row, "neither drawing nor job states these limits")
    elif max(abs(low - wanted[0]), abs(high - wanted[1])) > table.fine + RESOLUTION:
        yield of_row("limits", table, row, "the limits stated are ", wanted[0], " to ", wanted[1])


def _within(size: float, row: Row, fine: float) -> float:
    """Return a size, or the printed limit it has to be read as: limits are rounded inwards, past a size that lies on one."""
    low, high = row.limits or (size, size)
    return min(max(size, low), high) if low - fine <= size <= high + fine else size


def _limits(row: Row, size: float, sizes: Sizes) -> tuple[float, float] | None:
    """Return the limits that are stated for what a row measures: of a hole's diameter, or a face's tolerance about its size."""
    hole = _hole(row.feature, sizes.part)
    if hole is not None:
        own = hole.callout is not None and abs(size - hole.diameter) <= RESOLUTION and "zero" not in row.note
        return hole.callout.limits if own and hole.callout else None
    asked = sizes.settings.faces.get(row.feature)
    skin = any(f.name in _NAMED.findall(row.note) and f.state == "as cast" for f in sizes.part.faces)
    if asked is None or asked.tolerance is None or skin:
        return None
    return size - asked.tolerance, size + asked.tolerance


def _amid(row: Row) -> bool:
    """Tell whether a row measures a bore on its way to size, to set the boring head by."""
    return _BEFORE in row.note


def _general(row: Row, size: float, sizes: Sizes) -> tuple[float, float] | None:
    """Return the general limits that a row says it goes by: the casting's grade where its words name skin, else the drawing's."""
    skin = any(f.name in _NAMED.findall(row.note) and f.state == "as cast" for f in sizes.part.faces)
    grade, general = sizes.settings.casting.grade, sizes.settings.drawing.general
    words = f"general, ISO 8062-3 DCTG {grade}" if skin else f"general, ISO 2768-{general}"
    if not row.note.endswith(words):
        return None
    try:
        half = 0.5 * casting_tolerance(size, grade) if skin else general_tolerance(size, general)
    except StandardError:
        return None
    return size - half, size + half


def _threads_faults(table: Table, row: Row, part: Part) -> Iterator[Fault]:
    """Yield what is wrong with a thread gauge's row: of one hole, or of each hole of the pattern it names."""
    names = [hole.name for hole in _pattern(table, row.feature, part)] or [row.feature]
    return (fault for name in names for fault in _thread_faults(table, row, _hole(name, part)))


def _thread_faults(table: Table, row: Row, hole: PartHole | None) -> Iterator[Fault]:
    thread = hole.callout.thread if hole is not None and hole.callout is not None else None
    if row.tool.kind != "thread gauge":
        yield of_row("measure", table, row, "does not say what it ought to read")
    elif thread is None:
        yield of_row("thread", table, row, "the drawing asks for no thread here")
    elif row.tool.label != thread.designation:
        yield of_row("thread", table, row, f"the drawing asks for {thread.designation}")


# --- every size it may mean -----------------------------------------------------


def _sizes(table: Table, row: Row, sizes: Sizes) -> Iterator[float]:
    if _amid(row):
        yield from _bored_before(table, row)
        return
    hole = _hole(row.feature, sizes.part)
    if hole is not None:
        yield from _hole_sizes(table, row, hole, sizes)
        return
    pattern = _pattern(table, row.feature, sizes.part)
    if pattern:
        yield from _pattern_sizes(table, row, pattern, sizes)
        return
    for face in sizes.part.faces:
        if face.name == row.feature and face.kind == "plane":
            yield from _face_sizes(table, row, face, sizes)
        elif face.name == row.feature and face.kind == "cylinder":
            found = sizes.round(face.surfaces, np.array(face.axis))
            yield math.nan if found is None else found[1]


def _bored_before(table: Table, row: Row) -> Iterator[float]:
    """Yield the diameter that the last boring row of the same bore has left, where one to limits comes after."""
    at = table.rows.index(row)
    before = [r for r in table.rows[:at] if r.feature == row.feature and r.action == "bore"]
    after = [r for r in table.rows[at:] if r.feature == row.feature and r.action == "bore" and r.limits]
    if before and after:
        yield before[-1].tool.diameter


def _face_sizes(table: Table, row: Row, face: PartFace, sizes: Sizes) -> Iterator[float]:
    """Yield how far a face is from the one its words name, else from zero, else from each that is parallel."""
    way = np.array(face.normal or face.axis)
    here = sizes.level(face, way) + _left(table, face.name)
    named = [name.strip() for name in _NAMED.findall(row.note)]
    others = [f for f in sizes.part.faces if f is not face and f.kind == "plane" and _parallel(f.axis, face.axis)]
    if named:
        for other in others:
            if other.name in named:
                out = -1.0 if np.dot(other.normal or other.axis, way) < 0 else 1.0
                yield abs(here - sizes.level(other, way) + _left_of(table, other, row) * (1.0 if out < 0 else -1.0))
    elif "Z 0" in row.note or "zero" in row.note:
        yield abs(here - float(np.array(table.frame.origin) @ way))
    else:
        yield from (abs(here - sizes.level(other, way)) for other in others)


def _left(table: Table, name: str) -> float:
    """Return what the last row on a face leaves on it in this set-up, mm."""
    some = [row.leave for row in table.rows if row.feature == name and row.action in CUTTING]
    return some[-1] if some else 0.0


def _left_of(table: Table, other: PartFace, row: Row) -> float:
    return _left(table, other.name) if "across" in row.note else 0.0


def _hole_sizes(table: Table, row: Row, hole: PartHole, sizes: Sizes) -> Iterator[float]:
    """Yield what a hole's words mean: its distance from zero, a wider length's diameter or floor, else its own diameter."""
    axis, faces = np.array(hole.axis), [f for f in sizes.part.faces if f.hole == hole.name or set(f.surfaces) & set(hole.surfaces)]
    walls = [f for f in faces if f.kind == "cylinder"]
    fits = [(f, found) for f in walls for found in (sizes.round(f.surfaces, axis),) if found is not None]
    own = [found for f, found in fits if abs(found[1] - hole.diameter) <= 2.0 * RESOLUTION]
    if "from the zero" in row.note:
        yield from (_from_zero(table, found[0][None]) for found in own[:1])
    elif "floor" in row.note:
        mouth = float(np.array(hole.centre) @ axis)
        yield from (abs(mouth - sizes.level(f, axis)) for f in faces if f.kind == "plane" and _parallel(f.axis, hole.axis))
    elif "wider" in row.note:
        yield from (found[1] for _, found in fits if found[1] > hole.diameter + RESOLUTION)
    else:
        yield from (found[1] for found in own)


def _pattern_sizes(table: Table, row: Row, holes: Sequence[PartHole], sizes: Sizes) -> Iterator[float]:
    """Yield what a pattern's words mean: of opposite or neighbouring axes, of its width or depth, or of its centre from zero."""
    found = [sizes.round([i for i in h.surfaces if _own_wall(h, i, sizes.part)], np.array(h.axis)) for h in holes]
    if any(one is None for one in found):
        return
    at = table.frame.local_points(np.array([one[0] for one in found if one is not None]))[:, :2]
    apart = np.linalg.norm(at[:, None] - at[None], axis=2)
    wide = at.max(axis=0) - at.min(axis=0)
    if "from the zero" in row.note:
        yield _from_zero(table, np.array([one[0] for one in found if one is not None]))
    elif "opposite" in row.note:
        yield float(apart.max())
    elif "neighbour" in row.note:
        yield float(apart[~np.eye(len(at), dtype=np.bool_)].min())
    elif "left to right" in row.note:
        yield float(wide[0])
    elif "front to back" in row.note:
        yield float(wide[1])
    else:
        yield from apart[np.triu_indices(len(at), 1)].tolist()


def _own_wall(hole: PartHole, surface: int, part: Part) -> bool:
    own = part.finished.surfaces[surface]
    return own.kind == "cylinder" and abs(2.0 * own.radius - hole.diameter) <= RESOLUTION


def _from_zero(table: Table, points: Floats) -> float:
    """Return how far the middle of some axes stands from the printed zero, seen from above."""
    x, y = table.frame.local_points(points)[:, :2].mean(axis=0)
    return float(math.hypot(x, y))


def _pattern(table: Table, name: str, part: Part) -> list[PartHole]:
    """Return the holes of a printed pattern, in its order; [] where none of that name is printed."""
    line = next((line for line in table.patterns if line.startswith(f"{name}: ")), None)
    if line is None:
        return []
    said = f", {line.rpartition(': ')[2]}, "
    some = [hole for hole in part.holes if f", {hole.name}, " in said]
    return sorted(some, key=lambda hole: said.index(f", {hole.name}, "))


def _hole(name: str, part: Part) -> PartHole | None:
    return next((hole for hole in part.holes if hole.name == name), None)


def _parallel(a: Sequence[float], b: Sequence[float]) -> bool:
    return float(np.linalg.norm(np.cross(a, b))) < _SQUARE
