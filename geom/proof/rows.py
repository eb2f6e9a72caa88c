"""What is wrong with a row by itself: what it prints, what it cuts, what stands in its way.

Checks a row's own figures against each other, its engagement, its flutes and
its holder against the metal still there, its cutter against what holds the
work, and that what must come before it has come. Lengths mm. Knows nothing of
tolerances.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.errors import StandardError
from geom.model.part import Part, PartHole
from geom.proof.mesh import NOTHING, Stuff, Taken
from geom.proof.sweep import Sweep, Table, clearance, holds, is_cut, is_whole
from geom.rays.analytic import Bools, Floats
from geom.rays.rays import Skin
from geom.rows.records import CUTTING, Row, ToolKind, Words
from geom.standards.drill import drill_named
from geom.standards.thread import find_thread
from geom.units import length

HOLDER: Final = 20.0
"""mm: radius of a chuck or collet holder above a cutter (common practice, no source)."""

SPRING: Final = "spring pass"
"""A row whose note says this may cut air: it takes what the cutter sprang."""

ONE_SIDE: Final = "may cut on one side only"
"""A row whose note says this goes by a core as cast: it may cut air, and so may its feature's next rows until one meets metal."""

_THIN: Final = 0.02
"""mm: a mean thickness below this is facet error, no chip."""

_LEAST: Final = 0.2
"""mm3: a smaller piece is facet error."""

_POINT_NOISE: Final = 1e-3
"""mm on top of the readout's rounding by which a tip and its full diameter may disagree."""

_SAME_SIZE: Final = 0.006
"""mm: a label in its own unit and a diameter in another may differ by rounding."""

_SIZE_NOISE: Final = 1e-6

_REAM: Final = 0.6
"""Most, mm on the diameter, that a reamer is left (common practice: 0.1 to 0.4)."""

_LOOSE: Final = 0.5
"""A pilot with more than this much play, mm, does not guide (common practice)."""

_TOUCH: Final = 0.01
"""mm: a cutter nearer than this to a jaw has met it only by rounding."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong.

    Attributes:
        kind: short, for machines: "gouge", "left over", "cuts air", ...
        rows: (set-up, row) of every row that has to do with it; () where none has.
        feature: face or hole.
        words: what is wrong, lengths as floats.
    """

    kind: str
    rows: tuple[tuple[int, int], ...]
    feature: str
    words: Words


def of_row(kind: str, table: Table, row: Row, *words: str | float) -> Fault:
    """Return a fault of one row."""
    return Fault(kind, ((table.number, row.number),), row.feature, words)


# --- what is printed --------------------------------------------------------

_MAKES: Final[Mapping[str, tuple[ToolKind, ...]]] = {
    "face": ("face mill", "end mill"),
    "edge": ("end mill", "face mill"),
    "slot": ("end mill",),
    "spot-face": ("counterbore", "end mill", "face mill", "boring head"),
    "spot": ("spotting drill", "drill", "countersink"),
    "drill": ("drill",),
    "flatten": ("flat drill", "end mill"),
    "bore": ("boring head",),
    "counterbore": ("counterbore", "end mill", "boring head", "flat drill"),
    "countersink": ("countersink", "spotting drill"),
    "ream": ("reamer",),
    "tap": ("tap",),
}


def printed_faults(table: Table, row: Row, part: Part) -> Iterator[Fault]:
    """Yield what is wrong with the figures of a cutting row."""
    if row.action not in CUTTING:
        return
    known = {face.name for face in part.faces} | {hole.name for hole in part.holes}
    if row.feature not in known:
        yield of_row("feature", table, row, "the part has no face or hole of this name")
    if not is_whole(row):
        yield of_row("figures", table, row, "does not say X, Y, Z and the cutter's diameter, so nobody can tell what it cuts")
        return
    if row.tool.kind not in _MAKES.get(row.action, (row.tool.kind,)):
        yield of_row("cutter", table, row, f"a {row.tool.kind} does not {row.action}")
    said = _labelled(row)
    if said is not None and abs(said - row.tool.diameter) > _SAME_SIZE:
        yield of_row("cutter", table, row, f"the cutter is called {row.tool.label} but its diameter is ", row.tool.diameter)
    yield from _point_faults(table, row)
    yield from _limit_faults(table, row, part)


def _point_faults(table: Table, row: Row) -> Iterator[Fault]:
    if row.z_full is None or row.z is None:
        return
    want = row.z + row.tool.point_length
    if abs(row.z_full - want) > table.step + _POINT_NOISE:
        yield of_row("point", table, row, "Z full is ", row.z_full, " but this point ends at ", want, " when the tip is at ", row.z)


def _limit_faults(table: Table, row: Row, part: Part) -> Iterator[Fault]:
    call = next((h.callout for h in part.holes if h.name == row.feature), None)
    if row.limits is None:
        return
    low, high = row.limits
    if not low - _SAME_SIZE <= row.tool.diameter <= high + _SAME_SIZE:
        yield of_row("limits", table, row, "the cutter's ", row.tool.diameter, " is not within the printed limits")
    wanted = call.limits if call is not None else None
    if wanted is not None and max(abs(low - wanted[0]), abs(high - wanted[1])) > table.fine + _SIZE_NOISE:
        yield of_row("limits", table, row, f"the printed limits are not those of {call.text if call else ''}")


def _labelled(row: Row) -> float | None:
    """Return the diameter that a cutter's label says, or None where it says none that is understood."""
    label = row.tool.label
    try:
        if row.tool.kind == "tap":
            return find_thread(label, row.feature).thread.major
        if label.endswith((" mm", " in")):
            return length(label, "mm", row.feature)
        if row.tool.kind == "reamer":
            return None
        return drill_named(label, row.feature).diameter if label else None
    except ValueError:
        return None


# --- what it cuts -----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Cut:
    """What a sweep took, and what its holder met, mm3."""

    sweep: Sweep
    taken: Taken
    holder: float


def machined(sweeps: Sequence[Sweep], metal: Stuff) -> tuple[Cut, ...]:
    """Cut every sweep in order."""
    return tuple(_machined(sweep, metal) for sweep in sweeps)


def _machined(sweep: Sweep, metal: Stuff) -> Cut:
    taken = metal.cut(sweep)
    reach = sweep.row.tool.reach
    return Cut(sweep, taken, metal.under(sweep, reach, max(HOLDER, sweep.radius)) if reach else 0.0)


def air_faults(cuts: Sequence[Cut]) -> Iterator[Fault]:
    """Yield the rows that cut air from end to end and do not say why."""
    core: set[str] = set()
    for cut in cuts:
        row = cut.sweep.row
        if ONE_SIDE in row.note:
            core.add(row.feature)
        if not _is_air(cut):
            core.discard(row.feature)
        elif SPRING not in row.note and row.feature not in core:
            yield of_row("cuts air", cut.sweep.table, row, "cuts air from end to end, and is not called a spring pass")


def _is_air(cut: Cut) -> bool:
    return cut.taken is NOTHING or cut.taken.volume < _LEAST or cut.taken.thickness < _THIN


def cut_faults(cut: Cut) -> Iterator[Fault]:
    """Yield what a row's shank, holder or cutter runs into."""
    yield from metal_faults(cut)
    yield from _box_faults(cut.sweep)


def metal_faults(cut: Cut, slack: float = 0.0) -> Iterator[Fault]:
    """Yield metal not yet removed that a row's shank or holder runs into; `slack`: how surely its height is known, mm."""
    row, table = cut.sweep.row, cut.sweep.table
    flutes = row.tool.flute_length
    if not _is_air(cut) and flutes and cut.taken.top > flutes + _THIN + slack:
        yield of_row("flutes", table, row, "cuts ", cut.taken.top, " high with flutes of ", flutes, ": the shank meets metal")
    if cut.holder > _LEAST:
        yield of_row("holder", table, row, "reaches ", row.tool.reach, " below its holder: the holder meets metal not yet removed")


def _box_faults(sweep: Sweep) -> Iterator[Fault]:
    """Yield what holds the work and is met by the cutter or its holder."""
    row, reach = sweep.row, sweep.row.tool.reach
    for box in sweep.table.boxes:
        gap = clearance(sweep, box.low[:2], box.high[:2])
        height = box.high[2] - sweep.z
        if height > _TOUCH and gap < sweep.radius_at(height) - _TOUCH:
            yield of_row("held", sweep.table, row, f"the cutter runs into the {box.name}")
        elif reach and height - reach > _TOUCH and gap < max(HOLDER, sweep.radius) - _TOUCH:
            yield of_row("held", sweep.table, row, f"the holder runs into the {box.name}")


# --- what must come before --------------------------------------------------

_ROUND: Final = 8


@dataclass(frozen=True, slots=True, eq=False)
class _Need:
    """Points that must be air (`free`) or metal by the time a row comes, and what to say when not."""

    table: Table
    row: Row
    at: int
    points: Floats
    free: bool
    kind: str
    words: Words


def order_faults(tables: Sequence[Table], sweeps: Sequence[Sweep], part: Part, casting: Skin) -> tuple[Fault, ...]:
    """Return the rows that come before what they need."""
    needs = [need for table in tables for row in table.rows if row.action in CUTTING and is_whole(row)
             for need in _needs(table, row, _turn(table, row, tables), part)]  # fmt: skip
    if not needs:
        return ()
    solid = casting.inside(np.concatenate([need.points for need in needs]))
    at = np.cumsum([0] + [len(need.points) for need in needs])
    faults = [fault for i, need in enumerate(needs) for fault in _judged(need, solid[at[i] : at[i + 1]], sweeps)]
    return (*faults, *(fault for table in tables for row in table.rows for fault in _tap_place(table, row, part)))


def _turn(table: Table, row: Row, tables: Sequence[Table]) -> int:
    """Return how many sweeps come before a row."""
    before = [r for t in tables if tables.index(t) < tables.index(table) for r in t.rows]
    return sum(1 for r in (*before, *table.rows[: table.rows.index(row)]) if is_cut(r) and is_whole(r))


def _judged(need: _Need, solid: Bools, sweeps: Sequence[Sweep]) -> Iterator[Fault]:
    metal = solid.copy()
    for sweep in sweeps[: need.at]:
        metal &= ~holds(sweep, need.points, -_THIN)
    wrong = metal.any() if need.free else not metal.any()
    if wrong:
        yield of_row(need.kind, need.table, need.row, *need.words)


def _needs(table: Table, row: Row, at: int, part: Part) -> Iterator[_Need]:
    assert row.z is not None
    tool, z = row.tool, row.z
    hole = next((h for h in part.holes if h.name == row.feature), None)
    top = _mouth(table, row, hole)

    def need(radius: float, low: float, high: float, free: bool, *words: str | float, kind: str = "order") -> Iterator[_Need]:
        if high > low and radius > 0:
            yield _Need(table, row, at, _ring(table, row, radius, low, high), free, kind, words)

    if tool.kind == "tap":
        core = _tap_core(row)
        yield from need(0.5 * core - 0.1, z, top, True, "the hole is not drilled as deep as the tap goes, or too narrow")
        yield from need(0.5 * tool.diameter - 0.05, z, top, False, "the hole is too wide: the tap cuts no thread")
    elif tool.kind == "reamer":
        least = 0.5 * (tool.diameter - max(_REAM, 0.05 * tool.diameter))
        yield from need(least, z, top, True, "the hole is not drilled to within ", _REAM, " of the reamer")
    elif tool.kind == "boring head":
        yield from need(min(0.25 * tool.diameter, 5.0), z, top, True, "no hole is there for the boring bar to enter")
    elif tool.kind == "counterbore" and tool.pilot:
        deep = z - tool.pilot
        yield from need(0.5 * tool.pilot - 0.02, deep, top, True, "its pilot of ", tool.pilot, " finds no hole to enter")
        yield from need(0.5 * (tool.pilot + _LOOSE) + 0.02, z - 1.0, z, False, "its pilot of ", tool.pilot, " has too much play")
    elif tool.kind == "face mill":
        yield from need(0.4 * tool.diameter, z, top, True, "comes down into metal, and a face mill does not plunge", kind="plunge")


def _mouth(table: Table, row: Row, hole: PartHole | None) -> float:
    """Return the height, set-up frame, up to which a row's column is looked at: the hole's upper end, or a little above the row."""
    assert row.z is not None
    if hole is None:
        return row.z + 0.5
    up = sum(a * b for a, b in zip(hole.axis, table.frame.z, strict=True))
    z = table.frame.local(hole.centre)[2] + (0.0 if up > 0 else hole.length)
    return z - 0.05


def _ring(table: Table, row: Row, radius: float, low: float, high: float) -> Floats:
    """Return points round a row's axis between two heights, part frame."""
    assert row.x is not None
    assert row.y is not None
    heights = np.linspace(low + 0.02, high, max(2, math.ceil(high - low)))
    turn = np.linspace(0.0, 2.0 * math.pi, _ROUND, endpoint=False)
    ring = np.stack([row.x + radius * np.cos(turn), row.y + radius * np.sin(turn)], axis=1)
    points = np.column_stack([np.tile(ring, (len(heights), 1)), np.repeat(heights, _ROUND)])
    return np.asarray(table.frame.part_points(points))


def _tap_core(row: Row) -> float:
    """Return the least hole a tap enters: the least minor diameter of its thread."""
    try:
        return find_thread(row.tool.label, row.feature).minor
    except StandardError:
        return 0.8 * row.tool.diameter


def missing_taps(tables: Sequence[Table], part: Part) -> Iterator[Fault]:
    """Yield the threaded holes that no row taps and no table leaves out."""
    tapped = {row.feature for table in tables for row in table.rows if row.action == "tap"}
    said = [line for table in tables for line in table.left_out]
    for hole in part.holes:
        thread = hole.callout.thread if hole.callout else None
        if thread is not None and hole.name not in tapped and not any(line.startswith(f"{hole.name}: ") for line in said):
            rows = tuple((t.number, r.number) for t in tables for r in t.rows if r.feature == hole.name)
            yield Fault("no tap", rows, hole.name, (f"no row taps {thread.designation}",))


def place_faults(sweep: Sweep, part: Part) -> Iterator[Fault]:
    """Yield a cutter that comes down beside the hole its row names."""
    hole = next((h for h in part.holes if h.name == sweep.row.feature), None)
    if hole is None or sweep.length:
        return
    x, y, _ = sweep.table.frame.local(hole.centre)
    off = math.hypot(sweep.start[0] - x, sweep.start[1] - y)
    if off > sweep.table.step + _POINT_NOISE:
        yield of_row("position", sweep.table, sweep.row, "comes down ", off, " beside the hole it names")


def _tap_place(table: Table, row: Row, part: Part) -> Iterator[Fault]:
    """Yield a tap that stands beside its hole, goes deeper than its full diameter, or is of another thread."""
    hole = next((h for h in part.holes if h.name == row.feature), None)
    if row.tool.kind != "tap" or hole is None or not is_whole(row):
        return
    x, y, z = table.frame.local(hole.centre)
    assert row.x is not None
    assert row.y is not None
    assert row.z is not None
    off = math.hypot(row.x - x, row.y - y)
    if off > table.step + _POINT_NOISE:
        yield of_row("position", table, row, "taps ", off, " beside its hole")
    thread = hole.callout.thread if hole.callout else None
    if thread is None:
        yield of_row("thread", table, row, "the drawing asks for no thread here")
    elif row.tool.label != thread.designation or abs(row.tool.diameter - thread.major) > _SAME_SIZE:
        yield of_row("thread", table, row, f"the drawing asks for {thread.designation}")
    if hole.depth is not None and z - row.z > hole.depth + table.step:
        yield of_row("depth", table, row, "taps ", z - row.z, " deep where the full diameter ends at ", hole.depth)
    if thread is not None and z - row.z < 0.5 * min(hole.length, 3.0 * thread.major):
        yield of_row("depth", table, row, "taps ", z - row.z, " deep only")
