"""Rows of a slot: down the middle in depths with a narrower cutter, then to width with one of its size.

Where no cutter is as wide as the slot, the narrower one goes along both walls
and rounds the closed ends off in straight cuts, and the note says how near that
comes. At an open end the cutter comes in from clear of the metal and runs out
by its radius and a clearance. Lengths mm, set-up frame. Knows nothing of other
features.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from geom.cutters.cutter_choice import SAME_SIZE, Choice, Lack, choose_end_mill
from geom.cutters.cutting_data import FINISH, CutData, depth_limit
from geom.kernel.extent import face_box
from geom.looks.holder import HOLDER_RADIUS
from geom.passes.corner_passes import cuts_round, left_between
from geom.passes.edge_passes import OFF_STEEL_BELOW, faced_above
from geom.passes.scene import Made, Scene, held_depth, lowest_clear, speeds_of, tool_of
from geom.rows.records import LeftOut, Row, Words
from geom.shop.records import Cutter
from geom.tasks.reach import Flat, clear_disc, top_over
from geom.tasks.slot import FoundSlot

_LEAVES: Final = 0.2
"""mm that the roughing cutter leaves a side at least (common practice)."""

_BELOW: Final = 1.0
"""mm the cutter goes past the far side of a through slot (common practice)."""

_NEAR: Final = 0.02
"""mm: how near to round ends are made that straight cuts of a narrower cutter round off."""

_WIDEN: Final = 0.5
"""Share of a cutter's diameter by which one cut widens a slot (common practice)."""


@dataclass(frozen=True, slots=True)
class _Run:
    """A slot seen from above: its ends, an open one first, else left or nearest first; where its metal begins, how deep it goes.

    Attributes:
        open: whether it is open at its start and at its end.
        out: how far past an open end the cutter's edge runs.
        plunges: its cutter goes down into metal: it is closed, or the casting stands too far out of its open end.
    """

    start: Flat
    end: Flat
    top: float
    low: float
    below: float
    open: tuple[bool, bool]
    out: float
    plunges: bool = True

    @property
    def along(self) -> Flat:
        """Unit vector of its length."""
        dx, dy = self.end[0] - self.start[0], self.end[1] - self.start[1]
        size = math.hypot(dx, dy)
        return dx / size, dy / size

    def lane(self, aside: float, beyond: float, radius: float) -> tuple[Flat, Flat]:
        """Return where a cutter runs: so far to the left of the middle, so far past the centre of a closed end, and out of an open
        one clear of it."""
        (dx, dy), (ax, ay), (bx, by) = self.along, self.start, self.end
        shift = (-dy * aside, dx * aside)
        first, last = (radius + self.out if free else beyond for free in self.open)
        return (ax - dx * first + shift[0], ay - dy * first + shift[1]), (bx + dx * last + shift[0], by + dy * last + shift[1])


def slot_passes(slot: FoundSlot, scene: Scene) -> Made:
    """Return the rows that mill a slot, or why there are none."""
    run = _run(slot, scene)
    reach = _past_holder(slot, scene, run)
    sized = _cutter(scene, slot.width, reach, plunge=run.plunges, exact=True)
    narrow = _cutter(scene, slot.width - 2.0 * _LEAVES, reach, plunge=run.plunges)
    if sized is None and isinstance(narrow, Lack):
        which = "no end mill on hand that plunges gets into it" if run.plunges else "no end mill on hand gets into it"
        return Made((), (), (LeftOut(slot.name, f"{which}: see the notes"),), (narrow.says,))
    rough = narrow.cutter if isinstance(narrow, Choice) and _has_work(narrow.cutter, slot, scene) else None
    rows = _to_width(slot, scene, run, sized, rough) if sized else _by_walls(slot, scene, run, narrow)
    return Made(tuple(rows), tuple(_said(slot, run, sized, narrow, rows)))


def _run(slot: FoundSlot, scene: Scene) -> _Run:
    low, high = face_box(scene.part.finished, slot.surfaces, scene.frame)
    ends = sorted(
        ((_flat(scene, point), free) for point, free in zip(slot.ends, slot.open, strict=True)),
        key=lambda end: (not end[1], round(end[0][0], 6), round(end[0][1], 6)),
    )
    top = high[2]
    if not faced_above(scene, top):
        over = top_over(scene.raw, low[:2], high[:2])
        top = max(top, over) if math.isfinite(over) else top
    free = lowest_clear(scene.boxes, low[:2], high[:2], low[2]) - OFF_STEEL_BELOW
    below = 0.0 if slot.blind else max(min(_BELOW, free), 0.0)
    (start, first), (end, last) = ends
    run = _Run(start, end, top, low[2], below, (first, last), scene.use.run_out)
    return replace(run, plunges=not first or not _starts_clear(slot, scene, run))


def _starts_clear(slot: FoundSlot, scene: Scene, run: _Run) -> bool:
    """Tell whether the cutter comes down beside the casting at an open end, as deep as the slot is."""
    radius = 0.5 * slot.width
    return clear_disc(scene.raw, run.lane(0.0, 0.0, radius)[0], radius, run.low - run.below)


def _flat(scene: Scene, point: tuple[float, float, float]) -> Flat:
    x, y, _ = scene.frame.local(point)
    return x + 0.0, y + 0.0


def _past_holder(slot: FoundSlot, scene: Scene, run: _Run) -> float:
    """Return how far the cutter has to stick out, so that its holder clears part and steel beside the slot."""
    low, high = face_box(scene.part.finished, slot.surfaces, scene.frame)
    over = top_over(
        scene.barred, (low[0] - HOLDER_RADIUS, low[1] - HOLDER_RADIUS), (high[0] + HOLDER_RADIUS, high[1] + HOLDER_RADIUS)
    )
    return max(over, run.top) - run.low + run.below


def _cutter(scene: Scene, widest: float, reach: float, *, plunge: bool, exact: bool = False) -> Choice | Lack | None:
    """Return the widest end mill up to a width that reaches, and plunges if it has to; `exact`: of that width, else None."""
    found = choose_end_mill(scene.shop, widest=widest, reach=reach, plunge=plunge, prefer=widest)
    if not exact:
        return found
    return found if isinstance(found, Choice) and abs(found.cutter.diameter - widest) <= SAME_SIZE else None


def _has_work(cutter: Cutter, slot: FoundSlot, scene: Scene) -> bool:
    """Tell whether a cutter down the middle meets metal: always from solid, else where it is wider than what is cored."""
    takes = [scene.takes[wall.name].most for wall in slot.walls if wall.name in scene.takes]
    return not takes or cutter.diameter > slot.width - 2.0 * min(takes) + 2.0 * SAME_SIZE


# --- rows -------------------------------------------------------------------


def _to_width(slot: FoundSlot, scene: Scene, run: _Run, sized: Choice | Lack, rough: Cutter | None) -> list[Row]:
    """Return the rows with a cutter as wide as the slot: last and light after a narrower one, else in depths by itself."""
    assert isinstance(sized, Choice)
    cutter = sized.cutter
    if rough is None:
        return list(_deeper(slot, scene, run, cutter, (0.0,), 0.0, "full width: the cutter's own width"))
    return [
        *_deeper(slot, scene, run, rough, (0.0,), 0.0 if not slot.blind else FINISH, "rough"),
        *_deeper(slot, scene, run, cutter, (0.0,), 0.0, "finish, both walls at once", light=True),
    ]


def _by_walls(slot: FoundSlot, scene: Scene, run: _Run, narrow: Choice | Lack | None) -> list[Row]:
    """Return the rows with a narrower cutter alone: the middle, then wider, then along both walls and round the ends."""
    assert isinstance(narrow, Choice)
    cutter = narrow.cutter
    off = 0.5 * (slot.width - cutter.diameter)
    wider = max(off - _LEAVES, 0.0)
    count = math.ceil(wider / (_WIDEN * cutter.diameter) - 1e-9)
    roughly = (0.0, *(sign * wider * i / count for i in range(1, count + 1) for sign in (1.0, -1.0)))
    turns = (-0.5 * math.pi, 0.5 * math.pi) if all(run.open) else _turns(off, 0.5 * cutter.diameter)
    rows = list(_deeper(slot, scene, run, cutter, roughly, FINISH if slot.blind else 0.0, "rough"))
    for turn in turns:
        told = "finish, to the wall" if abs(abs(turn) - 0.5 * math.pi) < 1e-9 else "finish, rounds the ends"
        rows += _deeper(
            slot, scene, run, cutter, (off * math.sin(turn),), 0.0, told, light=True, beyond=max(off * math.cos(turn), 0.0)
        )
    return rows


def _turns(off: float, radius: float) -> tuple[float, ...]:
    """Return the angles at which straight cuts meet a round end, from one wall to the other."""
    count = cuts_round(off, radius, math.pi, _NEAR)
    return tuple(math.pi * (i / count - 0.5) for i in range(count + 1))


def _deeper(
    slot: FoundSlot,
    scene: Scene,
    run: _Run,
    cutter: Cutter,
    asides: Sequence[float],
    above: float,
    told: str,
    *,
    light: bool = False,
    beyond: float = 0.0,
) -> Iterator[Row]:
    """Yield lanes depth by depth, the last `above` the floor; a `light` cut goes as deep as the flutes."""
    found, _ = speeds_of(scene, cutter, "edge" if light else "slot", width=FINISH if light else cutter.diameter)
    deepest = held_depth(scene, slot.name, cutter, found, cutter.flute_length if light else _deepest(cutter, found))
    bottom = run.low - run.below + above
    count = max(1, math.ceil((run.top - bottom) / deepest - 1e-9))
    for level in range(count):
        z = bottom + (run.top - bottom) * (count - 1 - level) / count
        for aside in asides:
            (x, y), (x_to, y_to) = run.lane(aside, beyond, 0.5 * cutter.diameter)
            depth = f"depth {level + 1} of {count}" if count > 1 else ""
            yield Row(
                0, slot.name, "slot", tool_of(cutter), x + 0.0, y + 0.0, z,
                x_to=None if abs(x_to - x) < 1e-6 else x_to, y_to=None if abs(y_to - y) < 1e-6 else y_to,
                note="; ".join(filter(None, (told, depth))),
                rpm=found.rpm if found else None, feed=found.feed if found else None,
            )  # fmt: skip


def _deepest(cutter: Cutter, found: CutData | None) -> float:
    return max(found.load.depth if found else depth_limit(cutter, cutter.diameter), 0.5)


# --- words ------------------------------------------------------------------


def _said(
    slot: FoundSlot, run: _Run, sized: Choice | Lack | None, narrow: Choice | Lack | None, rows: Sequence[Row]
) -> Iterator[Words]:
    yield (f"{slot.name}: a slot ", slot.width, " wide, ", run.top - run.low, f" deep; {_entry(run)}")
    if run.below:
        yield (f"{slot.name}: the cutter goes ", run.below, " past its far side")
    elif not slot.blind:
        yield (f"{slot.name}: the cutter just comes through, as steel stands right below: shift that, or file off the fin",)
    if any(row.x_to is not None and row.y_to is not None for row in rows):
        yield (f"{slot.name}: it runs at an angle to X: turn the work until it lies along an axis, or both handles have to be fed",)
    if sized is None and isinstance(narrow, Choice):
        radius = 0.5 * narrow.cutter.diameter
        off = 0.5 * slot.width - radius
        which = " on hand that plunges: the " if run.plunges else " on hand: the "
        missing: Words = (f"{slot.name}: no end mill of ", slot.width, which, narrow.cutter.name)
        if all(run.open):
            yield (*missing, " goes along both walls; or buy one")
            return
        short = left_between(off, radius, math.pi / (len(_turns(off, radius)) - 1))
        yield (*missing, " goes along both walls, and the ends are round to within ", round(short, 3), "; or buy one")


def _entry(run: _Run) -> str:
    """Return how the cutter gets into the slot."""
    if run.plunges:
        return "feed the cutter down slowly"
    return f"the cutter comes in from its open end{' and runs out of the other' if all(run.open) else ''}"
