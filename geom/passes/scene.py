"""What the rows of one set-up are worked out from: the part and its casting as the spindle sees them, the shop, the stock.

Lengths mm, set-up frame. Records and plain look-ups; knows nothing of how rows
are found.
"""

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType
from typing import Final, TypeVar

from geom.cutters.cutting_data import CutData, Load, Work, speed_feed
from geom.kernel.shape import Solid
from geom.model.part import Part
from geom.rays.rays import skin_of
from geom.rows.records import Box, LeftOut, Row, Tool, Words
from geom.settings.records import Settings
from geom.shop.records import Cutter, Shop
from geom.space import Frame
from geom.standards.alloy import Alloy, alloy
from geom.tasks.practice import Practice, practice
from geom.tasks.reach import View, view, with_boxes

LEAST_CUT: Final = 0.25
"""mm: no pass is made less deep than this for want of clamp force, as a cutter then rubs: set a stop (common practice)."""

OFF_STEEL: Final = 2.0
"""mm a cutter keeps off jaws, straps and parallels (common practice)."""


@dataclass(frozen=True, slots=True)
class Take:
    """What a face loses: least and greatest stock, mm; whether this casting was measured."""

    least: float
    most: float
    measured: bool = False


_Known = TypeVar("_Known")


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """All that a set-up's rows lean on.

    Attributes:
        seen: the finished part from above; raw: its casting; barred: the finished part and the steel about it, which no
            cutter may meet.
        takes: stock by face name.
        leaves: metal that faces keep in this set-up, by name.
        boxes: steel round the work.
        features: what this set-up makes.
        pushes: cutting force, N, up to which the clamps hold the work, by feature; none where nobody states their force.
        gripped: length, mm, over which they hold it: half of it is the arm of a torque.
        deepest: that any pass may go; a printed nest bears light cuts only.
        hangs: lowest skin of a seat that is still rough; None on a machined seat.
        kept: what was worked out of this part and shop before, for set-ups in which it comes out the same.
    """

    part: Part
    frame: Frame
    seen: View = field(repr=False)
    raw: View = field(repr=False)
    barred: View = field(repr=False)
    settings: Settings
    use: Practice
    shop: Shop
    alloy: Alloy
    takes: Mapping[str, Take]
    leaves: Mapping[str, float]
    boxes: tuple[Box, ...] = ()
    features: tuple[str, ...] = ()
    pushes: Mapping[str, float] = field(default_factory=dict)
    gripped: float = 0.0
    deepest: float = math.inf
    hangs: float | None = None
    kept: dict[Hashable, object] = field(default_factory=dict, repr=False)

    def known(self, key: Hashable, found: Callable[[], _Known]) -> _Known:
        """Return what is kept under a key, worked out now where nobody has yet."""
        if key not in self.kept:
            self.kept[key] = found()
        return self.kept[key]  # type: ignore[return-value]


@dataclass(frozen=True, slots=True)
class Made:
    """The rows of one feature, numbered 0, in working order, and what to say about them.

    Attributes:
        lacks: what the shop lacks for it, and what the nearest on hand gives.
    """

    rows: tuple[Row, ...]
    notes: tuple[Words, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    lacks: tuple[Words, ...] = ()


def scene_of(
    part: Part,
    frame: Frame,
    settings: Settings,
    takes: Mapping[str, Take],
    leaves: Mapping[str, float],
    boxes: tuple[Box, ...] = (),
    features: tuple[str, ...] = (),
    pushes: Mapping[str, float] = MappingProxyType({}),
    gripped: float = 0.0,
    deepest: float = math.inf,
    hangs: float | None = None,
    kept: dict[Hashable, object] | None = None,
) -> Scene:
    """Return the scene of one set-up; skins and what is seen of them are built once for all set-ups."""
    seen = _seen(part.finished, frame)
    return Scene(
        part,
        frame,
        seen,
        _seen(part.casting, frame),
        with_boxes(seen, [(box.low, box.high) for box in boxes], OFF_STEEL),
        settings,
        practice(settings),
        settings.tooling,
        alloy(part.alloy, settings.label),
        takes,
        leaves,
        boxes,
        features,
        pushes,
        gripped,
        deepest,
        hangs,
        {} if kept is None else kept,
    )


@lru_cache(maxsize=64)
def _seen(solid: Solid, frame: Frame) -> View:
    return view(skin_of(solid).mesh, frame)


# --- tools and speeds -------------------------------------------------------


def tool_of(cutter: Cutter, diameter: float | None = None) -> Tool:
    """Return a cutter on hand as a row shows it; `diameter` is what a boring head is set to."""
    head = cutter.kind == "boring head"
    return Tool(
        cutter.kind,
        "" if head else cutter.label,
        cutter.diameter if diameter is None else diameter,
        cutter.point_angle,
        0.0 if head else cutter.flute_length,
        cutter.reach,
        cutter.pilot,
    )


def speeds_of(
    scene: Scene, cutter: Cutter, work: Work, *, diameter: float | None = None, depth: float = 0.0, width: float | None = None
) -> tuple[CutData | None, tuple[Words, ...]]:
    """Return what to set for a cutter, or None and why no table says."""
    found = scene.known(
        ("speeds", cutter, work, diameter, depth, width),
        lambda: speed_feed(scene.shop, scene.alloy, cutter, work, diameter=diameter, depth=depth, width=width),
    )
    if isinstance(found, CutData):
        return found, found.notes
    return None, (("no published ", *found.wanted, *((": ", *found.gives) if found.gives else ())),)


def held_depth(scene: Scene, name: str, cutter: Cutter, found: CutData | None, depth: float) -> float:
    """Return how deep, mm, one pass over a feature may go: as asked, less where the clamps do not hold the work against that.

    The force grows with the depth. A boring head pushes by its torque over half of the length that is gripped.

    Args:
        found: force or torque at its own depth.
    """
    depth = min(depth, scene.deepest)
    most = scene.pushes.get(name)
    if most is None or found is None or not found.load.depth > 0.0:
        return depth
    push = _push(found.load, scene.gripped if cutter.kind == "boring head" else 0.0)
    return min(depth, max(found.load.depth * most / push, LEAST_CUT)) if push else depth


def _push(load: Load, gripped: float) -> float | None:
    """Return the force that clamps have to hold: at the cutter's rim, or of a torque over half of the length gripped."""
    if not gripped:
        return load.force
    return None if load.torque is None else 2000.0 * load.torque / gripped


def held_words(scene: Scene, name: str, cutter: Cutter, found: CutData | None, depth: float) -> tuple[Words, ...]:
    """Return how deep passes are held to for want of clamp force, where they would go as deep as asked; () where they may."""
    held = held_depth(scene, name, cutter, found, depth)
    if held > depth - 1e-6:
        return ()
    why = "as a printed nest bears light cuts only" if depth > scene.deepest else "as the clamps hold the work against no more"
    return ((f"{name}: the {cutter.name} cuts no deeper than ", held, f" a pass, {why}"),)


def lowest_clear(boxes: Sequence[Box], low: tuple[float, float], high: tuple[float, float], from_z: float) -> float:
    """Return how far below a height the first steel lies under a rectangle, mm; inf over none."""
    under = [
        from_z - box.high[2]
        for box in boxes
        if box.high[2] <= from_z + 1e-6 and all(box.low[i] < high[i] and box.high[i] > low[i] for i in (0, 1))
    ]
    return min(under, default=float("inf"))
