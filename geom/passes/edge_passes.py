"""Rows along an upright face: roughing side by side and one below the other, then one finishing cut.

Where a move runs and where it stops is `face_rows`; here is with which cutter,
in how many depths and how many widths, and how far below the foot of the face
it goes so that no fin stays. Lengths mm, set-up frame. Knows nothing of holes
or of what order features come in.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np

from geom.cutters.cutter_choice import SAME_SIZE, Choice, Lack, choose_end_mill
from geom.cutters.cutting_data import FINISH, SKIN, CutData, depth_limit, pass_depths
from geom.kernel.extent import face_box
from geom.looks.holder import HOLDER_RADIUS
from geom.model.part import PartFace
from geom.passes.corner_passes import corner_rows
from geom.passes.lanes import KEPT_OFF
from geom.passes.scene import Made, Scene, Take, held_depth, held_words, lowest_clear, speeds_of, tool_of
from geom.rays.rays import skin_of
from geom.rows.records import LeftOut, Row, Words
from geom.shop.records import Cutter
from geom.tasks.corners import widest_in
from geom.tasks.face_rows import Leaves, edge_row, faces_up
from geom.tasks.reach import FACET_SLACK, Flat, blocked_spans, clear_disc, top_over
from geom.tolerance import SAME_AXIS

_AHEAD: Final = 0.1
"""mm before a face at which what stands across is looked for."""

_BELOW: Final = 1.0
"""mm a cutter goes below the foot of a face that ends in the open, so that no fin stays (common practice)."""

_ROUGH_SHARE: Final = 0.25
"""Share of a cutter's diameter that one rough cut along an edge is wide, so that it may go deep (common practice)."""

OFF_STEEL_BELOW: Final = 0.5
"""mm a cutter stays above parallels, bed and jaws."""


@dataclass(frozen=True, slots=True)
class _Edge:
    """An upright face: its height, where its metal begins above, and how far the cutter may go below its foot."""

    low: float
    high: float
    top: float
    below: float

    @property
    def height(self) -> float:
        """What the cutter's side has to cut."""
        return self.top - self.low + self.below


def edge_passes(face: PartFace, scene: Scene, leave: float = 0.0) -> Made:
    """Return the rows that cut an upright face along its side, or why there are none.

    Args:
        leave: what it keeps for finishing.
    """
    edge = _edge(face, scene)
    choice = _chosen(face, scene, edge, leave)
    if isinstance(choice, Lack):
        return Made((), (), (LeftOut(face.name, "no end mill on hand gets along it: see the notes"),), (choice.says,))
    cutter = choice.cutter
    take = _left_by_floor(face, scene, edge, scene.takes.get(face.name, Take(0.0, 0.0)))
    widths = _widths(take, leave, cutter, scene.use.finish)
    rough, finish = (speeds_of(scene, cutter, "edge", width=w) for w in (max(widths, default=FINISH), FINISH))
    cuts = tuple(_rows(face, scene, edge, cutter, widths, leave, (rough[0], finish[0])))
    rows = (*cuts, *corner_rows(face, scene, [row for row in cuts if _ends(row) == _ends(cuts[-1])], leave))
    said = _said(face, take, widths, edge, scene, cuts)
    first = (_pushing(scene, cutter), _deepest(cutter, widths, rough[0])) if widths[1:] else (finish[0], cutter.flute_length)
    held = held_words(scene, face.name, cutter, first[0], min(first[1], edge.height))
    return Made(rows, tuple(dict.fromkeys((*choice.notes, *rough[1], *said, *held))))


# --- which cutter, which depths ---------------------------------------------


def _edge(face: PartFace, scene: Scene) -> _Edge:
    low, high = face_box(scene.part.finished, face.surfaces, scene.frame)
    pad = SAME_AXIS
    top = high[2]
    if not faced_above(scene, high[2]):
        over = top_over(scene.raw, (low[0] - pad, low[1] - pad), (high[0] + pad, high[1] + pad))
        top = max(top, over) if math.isfinite(over) else top
    return _Edge(low[2], high[2], top, _below(face, scene, low[2]))


def faced_above(scene: Scene, z: float) -> bool:
    """Tell whether the metal above an upright face ends in a plane that this set-up, or one before it, faces."""
    level = [f for f in scene.part.machined if faces_up(f, scene.frame.z)]
    return any(abs(scene.frame.local(f.origin)[2] - z) <= SAME_AXIS and f.name in scene.features for f in level)


def _left_by_floor(face: PartFace, scene: Scene, edge: _Edge, take: Take) -> Take:
    """Return what is left on a wall once the floor at its foot is faced in this set-up: what the lanes kept off it."""
    assert face.normal is not None
    low, high = face_box(scene.part.finished, face.surfaces, scene.frame)
    for floor in scene.part.machined:
        if floor.name in scene.features and faces_up(floor, scene.frame.z):
            near, far = face_box(scene.part.finished, floor.surfaces, scene.frame)
            level = abs(near[2] - edge.low) <= SAME_AXIS
            if level and all(near[i] <= high[i] + SAME_AXIS and far[i] >= low[i] - SAME_AXIS for i in (0, 1)):
                most = min(take.most, KEPT_OFF)
                return Take(most, most, take.measured)
    return take


def _below(face: PartFace, scene: Scene, z: float) -> float:
    """Return how far the cutter may go below the foot of a face: not at all where a floor or steel is there; through the skin of
    a rough seat, of which a lip would stand out beside the face once the work is turned over."""
    bare, deep = replace(scene, barred=scene.seen), _BELOW + (0.0 if scene.hangs is None else max(z - scene.hangs, 0.0))
    here, lower = (_move(face, bare, scene.use.cutter, Leaves(scene.leaves), below) for below in (0.0, deep))
    if here is None or lower is None or _ends(here) != _ends(lower):
        return 0.0
    low, high = _swept(here, 0.5 * scene.use.cutter)
    return max(min(deep, lowest_clear(scene.boxes, low, high, z) - OFF_STEEL_BELOW), 0.0)


def _move(face: PartFace, scene: Scene, cutter: float, leaves: Leaves, below: float) -> Row | None:
    return edge_row(face, scene.part, scene.barred, scene.frame, leaves, replace(scene.use, cutter=cutter), below)


def _ends(row: Row) -> tuple[Flat, Flat]:
    """Return where a move starts and ends."""
    assert row.x is not None
    assert row.y is not None
    return (row.x, row.y), (row.x if row.x_to is None else row.x_to, row.y if row.y_to is None else row.y_to)


def _swept(row: Row, radius: float) -> tuple[Flat, Flat]:
    """Return the box, seen from above, of what a cutter sweeps."""
    (a, b), (c, d) = _ends(row)
    return (min(a, c) - radius, min(b, d) - radius), (max(a, c) + radius, max(b, d) + radius)


def _chosen(face: PartFace, scene: Scene, edge: _Edge, leave: float) -> Choice | Lack:
    """Return the end mill: with flutes for the whole height if there is one, of the diameter the job prefers; a narrower one where
    that does not get along, into a round corner or beside a wall across, and one that plunges where the move starts in metal."""
    into_corners = widest_in(face, scene.part, scene.frame.z) + SAME_SIZE
    beside = _across(face, scene) - 2.0 * FINISH
    tried = (_chosen_of(face, scene, edge, leave, widest) for widest in (min(into_corners, beside), into_corners))
    found = next((one for one in tried if isinstance(one, Choice)), None)
    return found or _chosen_of(face, scene, edge, leave, math.inf)


def _across(face: PartFace, scene: Scene) -> float:
    """Return how far before the middle of an upright face the part's next wall stands: a cutter as wide as that would cut both at
    once, each against the grain of the other; inf where none stands there."""
    assert face.normal is not None
    ahead = skin_of(scene.part.finished).entries(np.array([face.centroid]), np.array([face.normal]), _AHEAD)
    return float(ahead[0])


def _chosen_of(face: PartFace, scene: Scene, edge: _Edge, leave: float, widest: float) -> Choice | Lack:
    lack = None
    while True:
        choice = _longest(scene, edge, widest, _past_holder(face, scene, edge))
        if isinstance(choice, Lack):
            return lack or choice
        move = _move(face, scene, choice.cutter.diameter, Leaves({**scene.leaves, face.name: leave}), edge.below)
        if move is not None and (choice.cutter.centre_cutting or not _starts_in_metal(move, scene, choice.cutter)):
            return choice
        if move is not None:
            plunging = _longest(scene, edge, choice.cutter.diameter, plunge=True)
            if isinstance(plunging, Choice) and plunging.cutter.diameter >= choice.cutter.diameter - SAME_SIZE:
                return plunging
        lack = lack or Lack(
            (f"end mill that gets along {face.name}",), choice.cutter, ("does not get there past the part",), ("a narrower one",)
        )
        widest = choice.cutter.diameter - 2.0 * SAME_SIZE


def _past_holder(face: PartFace, scene: Scene, edge: _Edge) -> float:
    """Return how far a cutter along a face has to stick out, so that its holder clears part and steel beside it."""
    low, high = face_box(scene.part.finished, face.surfaces, scene.frame)
    about = HOLDER_RADIUS + scene.use.cutter
    over = top_over(scene.barred, (low[0] - about, low[1] - about), (high[0] + about, high[1] + about))
    return max(over - edge.low + edge.below, edge.height)


def _longest(scene: Scene, edge: _Edge, widest: float, reach: float = 0.0, plunge: bool = False) -> Choice | Lack:
    """Return the end mill with flutes as long as the edge is high, else one that reaches past what its holder would meet,
    else one that at least reaches the foot: what it then meets is found when the rows are looked over."""
    prefer = min(scene.use.cutter, widest)
    for depth, far in ((edge.height, reach), (0.0, reach), (edge.height, edge.height), (0.0, edge.height)):
        choice = choose_end_mill(scene.shop, widest=widest, depth=depth, reach=far, plunge=plunge, prefer=prefer)
        if isinstance(choice, Choice):
            return choice
    return choice


def _starts_in_metal(move: Row, scene: Scene, cutter: Cutter) -> bool:
    assert move.z is not None
    return not clear_disc(scene.raw, _ends(move)[0], 0.5 * cutter.diameter, move.z)


def _widths(take: Take, leave: float, cutter: Cutter, finish: float) -> tuple[float, ...]:
    """Return what each cut takes sideways, the first under the skin, the last for finish."""
    most = take.most - leave
    uneven = max(take.most - max(take.least, 0.0), 0.0)
    deepest = max(_ROUGH_SHARE * cutter.diameter, 2.0 * FINISH)
    return pass_depths(most, deepest, skin=min(SKIN + uneven, max(most, 0.0)), finish=finish) or (0.0,)


# --- rows -------------------------------------------------------------------


def _rows(
    face: PartFace,
    scene: Scene,
    edge: _Edge,
    cutter: Cutter,
    widths: Sequence[float],
    leave: float,
    found: tuple[CutData | None, CutData | None],
) -> Iterator[Row]:
    """Yield the roughing depth by depth from the top, then the finishing cut in as few depths as the flutes allow."""
    deep = partial(held_depth, scene, face.name, cutter)
    last, roughed = len(widths) - 1, False
    for level, (above, said) in enumerate(_levels(edge, deep(_pushing(scene, cutter), _deepest(cutter, widths, found[0])))):
        for number in range(last):
            off = sum(widths[number + 1 :])
            told = (f"rough {number + 1} of {last}", said, "under the skin" if number == 0 and level == 0 else "")
            rough = tuple(_one(face, scene, edge, cutter, leave + off, above, told, found[0], final=False))
            roughed = roughed or bool(rough)
            yield from rough
    finish = "finish" if last else ""
    if last and not roughed:
        slot, _ = speeds_of(scene, cutter, "slot", width=cutter.diameter)
        deepest = max(slot.load.depth if slot else depth_limit(cutter, cutter.diameter), 0.5)
        for above, said in _levels(edge, deep(slot, deepest)):
            for row in _one(face, scene, edge, cutter, leave, above, ("no room to rough it first", said), slot, final=True):
                yield replace(row, action="slot")
        return
    for above, said in _levels(edge, deep(found[1], cutter.flute_length)):
        yield from _one(face, scene, edge, cutter, leave, above, (finish, said), found[1], final=True)


def _pushing(scene: Scene, cutter: Cutter) -> CutData | None:
    """Return what a cutter pushes with at the most that one rough cut along an edge is wide."""
    return speeds_of(scene, cutter, "edge")[0]


def _deepest(cutter: Cutter, widths: Sequence[float], found: CutData | None) -> float:
    return max(found.load.depth if found else depth_limit(cutter, max(widths)), 0.5)


def _levels(edge: _Edge, deepest: float) -> list[tuple[float, str]]:
    """Return how far above its last depth each cut goes, from the top, and what to say of it."""
    count = max(1, math.ceil(edge.height / deepest - 1e-9))
    step = edge.height / count
    return [(step * (count - 1 - i), f"depth {i + 1} of {count}" if count > 1 else "") for i in range(count)]


def _one(
    face: PartFace,
    scene: Scene,
    edge: _Edge,
    cutter: Cutter,
    off: float,
    above: float,
    told: Sequence[str],
    found: CutData | None,
    *,
    final: bool,
) -> Iterator[Row]:
    """Yield the row that runs `off` outside the face, `above` its last depth; none where the part leaves no room for it."""
    leaves = Leaves({**scene.leaves, face.name: off}, 0.0 if final else FINISH)
    move = _move(face, scene, cutter.diameter, leaves, edge.below)
    if move is None or (not final and _grazes(move, scene, 0.5 * cutter.diameter)):
        return
    assert move.z is not None
    kept = off if final else 0.0
    words = [
        *told,
        *(word for word in move.note.split("; ") if word and word != "leaves metal for finishing" and "flutes" not in word),
    ]
    words += ["leaves metal for finishing"] if kept else []
    yield replace(
        move,
        tool=tool_of(cutter),
        z=move.z + above,
        leave=kept,
        note="; ".join(filter(None, words)),
        rpm=found.rpm if found else None,
        feed=found.feed if found else None,
    )


def _grazes(move: Row, scene: Scene, radius: float) -> bool:
    """Tell whether a roughing move comes nearer to the part or to steel than a finishing one may."""
    assert move.z is not None
    (a, b), (c, d) = _ends(move)
    size = math.hypot(c - a, d - b)
    along = ((c - a) / size, (d - b) / size)
    return bool(blocked_spans(scene.barred, (a, b), along, (0.0, size), radius + 1.5 * FACET_SLACK, move.z))


# --- words ------------------------------------------------------------------


def _said(face: PartFace, take: Take, widths: Sequence[float], edge: _Edge, scene: Scene, rows: Sequence[Row]) -> Iterator[Words]:
    stock = "stock as measured" if take.measured else "stock as drawn, this casting is not measured"
    if sum(widths) > 0:
        yield (f"{face.name}: ", sum(widths), f" at most to take off sideways ({stock})")
    if edge.below:
        yield (f"{face.name}: the cutter goes ", edge.below, " below its foot")
    if any(row.x_to is not None and row.y_to is not None for row in rows):
        yield (f"{face.name}: it runs at an angle to X: turn the work until it lies along an axis, or both handles have to be fed",)
    if any(_starts_in_metal(row, scene, _cutter(row, scene)) for row in rows[-1:]):
        yield (f"{face.name}: walled in, so the cutter goes down into metal at its start: feed it down slowly",)


def _cutter(row: Row, scene: Scene) -> Cutter:
    return next(c for c in scene.shop.of("end mill") if tool_of(c) == row.tool)
