"""A hole's rows with the shop's own cutters: what each is drilled, bored, seated, reamed and tapped with, and how fast.

Where each row goes is `hole_rows`; a cutter that is not on hand is an answer:
the rows that need it are left out and a note says what is missing, what the
nearest would give and what to buy. Only a boring head stands in for a reamer, a
counterbore or an odd drill, and the note says that it does. Lengths mm, set-up
frame. Knows nothing of other holes or of order.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from geom.cutters.cutter_choice import (
    SAME_SIZE,
    Choice,
    Lack,
    choose_boring,
    choose_counterbore,
    choose_countersink,
    choose_drill,
    choose_end_mill,
    choose_reamer,
    choose_spot,
    choose_tap,
)
from geom.cutters.cutting_data import Work, peck
from geom.looks.holder import HOLDER_RADIUS
from geom.model.part import PartHole
from geom.passes.bore_passes import bore_diameters, cored_diameter, rough_depth, settable
from geom.passes.scene import Made, Scene, speeds_of, tool_of
from geom.rays.rays import skin_of
from geom.rows.records import LeftOut, Row, Tool, Words
from geom.shop.records import Cutter
from geom.space import dot, scale
from geom.standards.drill import Drill
from geom.tasks.hole_rows import hole_rows
from geom.tasks.mouth_rows import mouth_of, point_length, widest
from geom.tasks.practice import spot_depth, tidy
from geom.tasks.reach import FACET_SLACK, highest_over

_LEVELS: Final = 0.2
"""mm a spot-face goes below the lowest metal under it."""

_RING: Final = 16
"""Places about a hole at which the skin's height is looked up."""

_LEAST_THREAD: Final = 3.0
"""Diameters of thread that hold a screw as well as more would (common practice: two in cast iron, less in steel)."""

_REAM_LEAVES: Final = 0.5
"""Most, mm on the diameter, that is left for a reamer (common practice)."""

_BORE_LEAVES: Final = 1.0
"""Least, mm on the diameter, that a drill leaves for the boring head (common practice)."""


@dataclass(slots=True)
class _Cycle:
    """One hole on its way: its rows so far, what to say, what is left out.

    Attributes:
        mouth: Z of its opening.
        drawn: its rows with nobody's cutters.
        opened: (Z, diameter) of what is open so far.
        above: how far above the mouth metal or steel stands that a cutter's holder has to stay over.
        blocked: a cutter without which nothing further can be made is missing.
        lacks: what the shop lacks for it.
    """

    hole: PartHole
    scene: Scene
    mouth: float
    drawn: Sequence[Row]
    above: float = 0.0
    opened: list[tuple[float, float]] = field(default_factory=list)
    blocked: bool = False
    rows: list[Row] = field(default_factory=list)
    notes: list[Words] = field(default_factory=list)
    lacks: list[Words] = field(default_factory=list)
    left: list[LeftOut] = field(default_factory=list)

    def depth(self, row: Row) -> float:
        """Return how far below the mouth a row goes."""
        assert row.z is not None
        return self.mouth - row.z

    def reach(self, row: Row) -> float:
        """Return how far a row's cutter has to stick out of its holder."""
        return self.depth(row) + self.above

    def open_at(self, z: float | None) -> float:
        """Return the diameter that is open down to a height; 0 in solid metal."""
        return max((d for deep, d in self.opened if z is not None and deep <= z + SAME_SIZE), default=0.0)

    def lack(self, missing: Lack, what: str) -> None:
        """Note what is missing, and that `what` is left out for want of it."""
        self.lacks.append(missing.says)
        self.left.append(LeftOut(self.hole.name, f"{what}: no cutter on hand does it, see the notes"))

    def add(self, row: Row, cutter: Cutter, work: Work, size: float | None = None, tool: Tool | None = None) -> None:
        """Append a row done with a cutter on hand, with its speed and feed."""
        assert row.z is not None
        found, said = speeds_of(self.scene, cutter, work, diameter=size, depth=self.mouth - row.z)
        self.notes.extend((f"{cutter.name}: ", *words) for words in said if not _is_slower(words))
        rpm, feed = (found.rpm, found.feed) if found else (None, None)
        self.rows.append(replace(row, tool=tool or tool_of(cutter), rpm=rpm, feed=feed))


def _is_slower(words: Words) -> bool:
    """Tell whether words only say that the spindle turns slower than a table allows, which does no harm."""
    return isinstance(words[0], str) and words[0].startswith("below the table's")


def hole_cycle(hole: PartHole, scene: Scene, angle: float | None, room: float, opens_on_machined: bool) -> Made:
    """Return the rows that make a hole, numbered 0, in working order.

    Args:
        angle: the drill's point, degrees, when the job states it.
        room: from the far side of a through hole to what lies below.
        opens_on_machined: its mouth is in a level machined plane; else the spot is levelled first.
    """
    far = dot(hole.axis, scene.frame.z) < 0
    x, y, z = scene.frame.local(mouth_of(hole, far))
    drawn = _seats_from_below(hole_rows(hole, scene.frame, scene.use, angle, room))
    cycle = _Cycle(hole, scene, z, drawn, _above(scene, (x, y), z))
    if hole.source == "core":
        cycle.opened.append((-math.inf, cored_diameter(hole, scene)))
    if not opens_on_machined and any(row.action == "spot" for row in drawn):
        _spot_face(cycle, (x, y), far)
    for row in drawn:
        if cycle.blocked:
            continue
        _STEPS[row.action](cycle, row)
    notes, lacks = tuple(dict.fromkeys(cycle.notes)), tuple(dict.fromkeys(cycle.lacks))
    return Made(tuple(cycle.rows), notes, tuple(dict.fromkeys(cycle.left)), lacks)


def _above(scene: Scene, at: tuple[float, float], mouth: float) -> float:
    """Return how far above a mouth a holder on its axis has to stay to meet neither part nor steel, mm."""
    return max(highest_over(scene.barred, at, HOLDER_RADIUS, mouth + FACET_SLACK) - mouth, 0.0)


def _seats_from_below(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Return the rows with wide lengths from the deepest up: each then opens what the one before left."""
    seats = sorted((row for row in rows if row.action == "counterbore"), key=lambda row: row.z or 0.0)
    left = iter(seats)
    return tuple(next(left) if row.action == "counterbore" else row for row in rows)


# --- one action each --------------------------------------------------------


def _spot_face(cycle: _Cycle, at: tuple[float, float], far: bool) -> None:
    """Level the metal where a drill starts on the skin or a slope, within the hole's own mouth."""
    hole, scene = cycle.hole, cycle.scene
    wide = hole.diameter if far else widest(hole)
    lowest = min(cycle.mouth, _lowest(scene, at, 0.5 * wide)) - _LEVELS
    choice = choose_end_mill(scene.shop, widest=wide, reach=cycle.mouth - lowest, plunge=True)
    if isinstance(choice, Lack):
        cycle.lacks.append((*choice.says, "; level the spot first, or a drill will wander"))
        return
    row = Row(0, hole.name, "spot-face", tool_of(choice.cutter), *at, lowest, note="levels the skin or slope for the drill")
    cycle.add(row, choice.cutter, "spot-face")


def _lowest(scene: Scene, at: tuple[float, float], radius: float) -> float:
    """Return the lowest height of the casting's skin over a disc seen from above; -inf over an opening."""
    high = float(scene.raw.high[:, 2].max()) + 1.0
    ring = [(at[0] + r * math.cos(a), at[1] + r * math.sin(a), high) for r in (0.5 * radius, radius)
            for a in (math.tau * i / _RING for i in range(_RING))]  # fmt: skip
    starts = np.array([scene.frame.part(point) for point in ring])
    down = np.tile(np.array(scale(scene.frame.z, -1.0)), (len(ring), 1))
    return high - float(skin_of(scene.part.casting).entries(starts, down).max())


def _spot(cycle: _Cycle, row: Row) -> None:
    drill = next(r for r in cycle.drawn if r.action == "drill")
    found = _drill(cycle, drill)
    if isinstance(found, Lack):
        return
    choice = choose_spot(cycle.scene.shop, found.cutter.diameter)
    if isinstance(choice, Lack):
        cycle.lacks.append(choice.says)
        return
    assert drill.z is not None
    tool = tool_of(choice.cutter)
    deep = min(spot_depth(found.cutter.diameter, tool), 0.5 * (cycle.mouth - drill.z))
    cycle.add(replace(row, z=cycle.mouth - deep), choice.cutter, "spot", found.cutter.diameter)


def _drill(cycle: _Cycle, row: Row) -> Choice | Lack:
    """Return the drill of a row; before a boring head the largest on hand that leaves it enough."""
    assert row.z is not None
    hole, shop = cycle.hole, cycle.scene.shop
    deep = cycle.mouth - row.z
    call = hole.callout
    thread = call.thread if call else None
    choice = choose_drill(shop, Drill(row.tool.label, row.tool.diameter), thread, deep)
    if isinstance(choice, Choice) or thread is not None:
        return choice
    after = _bored_after(cycle, row)
    if after is None:
        return choice
    able = [c for c in shop.of("drill") if c.diameter <= after - _BORE_LEAVES + 1e-9 and c.reach >= deep]
    return Choice(able[-1], ()) if able else choice


def _bored_after(cycle: _Cycle, row: Row) -> float | None:
    """Return the diameter that a boring head brings a drilled hole to; None where none comes after the drill."""
    later = cycle.drawn[cycle.drawn.index(row) + 1 :]
    sizes = [r.tool.diameter for r in later if r.action in ("bore", "ream")]
    if not sizes or row.z is None:
        return None
    return sizes[0] if isinstance(choose_boring(cycle.scene.shop, sizes[0], cycle.reach(row)), Choice) else None


def _drilled(cycle: _Cycle, row: Row) -> None:
    choice = _drill(cycle, row)
    if isinstance(choice, Lack):
        cycle.lack(choice, "drilling")
        cycle.blocked = row.tool.diameter <= cycle.hole.diameter + SAME_SIZE
        return
    pilot = _opened_before(cycle, choice.cutter, row)
    for cutter, hole in ((pilot, 0.0), (choice.cutter, pilot.diameter if pilot else 0.0)):
        if cutter is not None:
            _one_drill(cycle, row, cutter, hole, choice)


def _one_drill(cycle: _Cycle, row: Row, cutter: Cutter, hole: float, choice: Choice) -> None:
    """Add the row of one drill; `hole`: what a smaller one has opened before it."""
    tool = _pointed(tool_of(cutter), row)
    z, z_full = _tip(cycle, row, tool)
    steps = peck(tool.diameter, cycle.mouth - z)
    main = cutter == choice.cutter
    told = (row.note if main else "opens the way, as the mill has not the power for one drill",
            f"{choice.percent:.0f} % thread" if main and choice.percent is not None else "")  # fmt: skip
    moved = replace(row, z=z, z_full=z_full, note="; ".join(filter(None, told)), peck=steps.step if steps else None)
    cycle.add(moved, replace(cutter, pilot=hole) if hole else cutter, "drill", tool=tool)
    cycle.opened.append((z_full if z_full is not None else z, tool.diameter))


def _opened_before(cycle: _Cycle, cutter: Cutter, row: Row) -> Cutter | None:
    """Return the drill that opens the way where the mill has not the power for one drill alone; None where it has."""
    if _has_power(cycle, cutter, row) or cycle.open_at(row.z) > 0.0:
        return None
    deep = cycle.depth(row)
    smaller = [c for c in cycle.scene.shop.of("drill") if c.diameter < cutter.diameter - 1.0 and c.reach >= deep]
    able = [c for c in smaller if _has_power(cycle, c, row) and _has_power(cycle, replace(cutter, pilot=c.diameter), row)]
    return able[0] if able else smaller[-1] if smaller else None


def _has_power(cycle: _Cycle, cutter: Cutter, row: Row) -> bool:
    found, _ = speeds_of(cycle.scene, cutter, "drill", depth=cycle.depth(row))
    return found is None or found.load.enough


def _pointed(tool: Tool, row: Row) -> Tool:
    """Return the drill with the point the row was worked out for: the job's or the drawing's, else its own."""
    return replace(tool, point_angle=row.tool.point_angle)


def _tip(cycle: _Cycle, row: Row, tool: Tool) -> tuple[float, float | None]:
    """Return Z of tip and of full diameter: where a floor is drawn the tip stays, else the full diameter does."""
    assert row.z is not None
    if tool.point_angle is None or row.z_full is None:
        return row.z, row.z_full
    length = point_length(tool.diameter, tool.point_angle)
    hole = cycle.hole
    if not hole.through and hole.tip_depth is None:
        return row.z, row.z + length
    return row.z_full - length, row.z_full


def _flattened(cycle: _Cycle, row: Row) -> None:
    choice = choose_drill(cycle.scene.shop, Drill(row.tool.label, row.tool.diameter), None, cycle.depth(row))
    if isinstance(choice, Lack):
        cycle.lack(choice, "its flat floor")
        return
    tool = replace(tool_of(choice.cutter), kind="flat drill", point_angle=None)
    cycle.add(replace(row, note=f"{row.note}; a drill ground flat"), choice.cutter, "flatten", tool=tool)


def _bored(cycle: _Cycle, row: Row) -> None:
    """Open the hole up to a diameter in passes, the last a light one."""
    size = settable(row.tool.diameter, row.limits, cycle.scene.use.units)
    choice = choose_boring(cycle.scene.shop, size, cycle.reach(row))
    if isinstance(choice, Lack):
        cycle.lack(choice, "boring")
        return
    cored = cycle.hole.source == "core" and not any(r.action == "bore" for r in cycle.rows)
    start = cycle.open_at(row.z)
    deepest = rough_depth(cycle.scene, cycle.hole.name, choice.cutter, start, size, cycle.depth(row))
    steps = bore_diameters(start, size, cycle.scene.use.units, deepest, choice.cutter.smallest or 0.0)
    for number, diameter in enumerate(steps, 1):
        last = number == len(steps)
        told = [f"pass {number} of {len(steps)}"] if len(steps) > 1 else []
        told += ["may cut on one side only: the core is where the foundry left it"] if cored and number == 1 else []
        told += [row.note] if last and row.note else []
        moved = replace(row, note="; ".join(told), limits=row.limits if last else None)
        cycle.add(moved, choice.cutter, "bore", diameter, tool_of(choice.cutter, tidy(diameter)))
    assert row.z is not None
    cycle.opened.append((row.z, size))


def _seated(cycle: _Cycle, row: Row) -> None:
    """Cut a seat: by counterbore or end mill of its size, else by boring head and say so."""
    missing: Words = ()
    choice: Choice | Lack | None = None
    if row.tool.kind != "boring head":
        choice = _seat_cutter(cycle, row)
        if isinstance(choice, Choice):
            cycle.notes.extend(choice.notes)
            if choice.cutter.pilot:
                cycle.notes.append((f"the pilot of the {choice.cutter.name} has to be in the hole before it cuts",))
            cycle.add(row, choice.cutter, "counterbore")
            cycle.opened.append((row.z or 0.0, row.tool.diameter))
            return
        missing = choice.says
    bored = choose_boring(cycle.scene.shop, row.tool.diameter, cycle.reach(row))
    if isinstance(bored, Lack):
        cycle.lack(choice if isinstance(choice, Lack) else bored, "its seat")
        return
    if missing:
        cycle.lacks.append((*missing, "; here it is bored"))
    _bored(cycle, row)


def _seat_cutter(cycle: _Cycle, row: Row) -> Choice | Lack:
    deep, size, hole = cycle.reach(row), row.tool.diameter, cycle.open_at(row.z)
    if row.tool.kind == "counterbore":
        return choose_counterbore(cycle.scene.shop, size, hole or None, deep)
    choice = choose_end_mill(cycle.scene.shop, widest=size, reach=deep, plunge=True, prefer=size)
    if isinstance(choice, Lack) or abs(choice.cutter.diameter - size) <= SAME_SIZE:
        return choice
    return Lack(("end mill of ", size, " that plunges"), choice.cutter, ("is too narrow",), ("one",))


def _sunk(cycle: _Cycle, row: Row) -> None:
    assert row.z is not None
    tool = row.tool
    choice = choose_countersink(cycle.scene.shop, tool.diameter, tool.point_angle or 90.0, cycle.above)
    if isinstance(choice, Lack):
        cycle.lack(choice, "its countersink")
        return
    own = replace(tool_of(choice.cutter), point_angle=tool.point_angle)
    z_full = row.z + own.point_length
    cycle.add(replace(row, z_full=z_full), choice.cutter, "countersink", tool.diameter, own)


def _reamed(cycle: _Cycle, row: Row) -> None:
    """Ream; without the reamer bore to the same limits, and say so."""
    assert row.z is not None
    call = cycle.hole.callout
    grade = call.text.split()[-1] if call else "H7"
    choice = choose_reamer(cycle.scene.shop, row.tool.diameter, grade, cycle.reach(row))
    if isinstance(choice, Choice):
        if cycle.open_at(row.z) < row.tool.diameter - _REAM_LEAVES:
            _bored(cycle, replace(row, action="bore", tool=replace(row.tool, diameter=call.drill.diameter if call else 0.0),
                                  limits=None, note="leaves metal for the reamer"))  # fmt: skip
        cycle.add(row, choice.cutter, "ream")
        return
    if isinstance(choose_boring(cycle.scene.shop, row.tool.diameter, cycle.reach(row)), Lack):
        cycle.lack(choice, "reaming")
        return
    cycle.lacks.append((*choice.says, "; here it is bored to the limits"))
    _bored(cycle, replace(row, action="bore", note="to the limits, in place of reaming"))


def _tapped(cycle: _Cycle, row: Row) -> None:
    call = cycle.hole.callout
    assert row.z is not None
    assert call is not None
    assert call.thread is not None
    choice = choose_tap(cycle.scene.shop, call.thread, cycle.reach(row))
    if isinstance(choice, Choice):
        cycle.add(row, choice.cutter, "tap")
        return
    near = choice.nearest
    if near is None or near.label != call.thread.designation or near.reach - cycle.above < _LEAST_THREAD * near.diameter:
        cycle.lack(choice, "tapping")
        return
    cycle.lacks.append((*choice.says, "; here it is tapped as deep as that reaches"))
    note = "as deep as the tap on hand reaches, not the whole length"
    cycle.add(replace(row, z=cycle.mouth + cycle.above - near.reach, note=note), near, "tap")


_STEPS: Final[Mapping[str, Callable[[_Cycle, Row], None]]] = {
    "spot": _spot,
    "drill": _drilled,
    "flatten": _flattened,
    "bore": _bored,
    "counterbore": _seated,
    "countersink": _sunk,
    "ream": _reamed,
    "tap": _tapped,
}
