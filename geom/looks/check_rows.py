"""Look before you cut: where a finder should meet the as-cast skin once zero is set.

A few named places, spread round the work, each with the readout and how far it
may be off: by the casting's tolerance grade, or by what was read on the casting
as received. Draft and the finder's radius are counted. Lengths mm, set-up
frame. Knows nothing of cuts.

Source of the spread: ISO 8062-3 (half the total width of the tolerance on the
dimension from zero to the place); with readings, the 95 % of their estimate.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Final, TypeAlias

import numpy as np

from geom.cutters.cutter_choice import Lack, choose_finder
from geom.kernel.extent import face_box
from geom.looks.contact import Met, Standing, faces_it, sides_from
from geom.looks.pick_up_rows import finder_tool
from geom.looks.skin_spread import spread_of
from geom.looks.touch_faces import target
from geom.looks.touch_spots import Search, Spot, Tip, grid, lowest_nose, on_flash, spots
from geom.model.part import Part, PartFace
from geom.rows.plan import PlannedSetup
from geom.rows.records import Row, Tool, Towards
from geom.settings.records import Settings
from geom.shop.records import Finder
from geom.space import Vec3
from geom.tasks.slots import slots_of
from geom.tolerance import SKIN

STOP: Final = "more: stop"
STOP_SAID: Final = "check rows: a readout that differs by more than Within: stop, enter it as a reading, place again"
"""What `STOP` in a row's note stands for, said once for the set-up."""
_STUB: Final = "not on a feeder stub or a gate"
_ABOVE: Final = "the skin leans out above: the finder's side meets it"
_FETTLE: Final = "meets it at the parting line: fettle the flash there first"

_MOST: Final = 5
_LEAST: Final = 3
_WAYS: Final[tuple[Towards, ...]] = ("+x", "-x", "+y", "-y", "-z")

_GAUGE: Final = 60.0
"""How far down a height gauge's finger, or a cutter with a feeler, reaches, mm."""

_NEW: Final = 8.0
"""A place nearer than this, mm, to one that zero was picked up at tells nothing new."""

_LOOKS: Final = 8
_ALL_LOOKS: Final = 96
"""Good places from one side among which is chosen: where there are enough sides, and where there are not."""

_COARSE: Final = 2
"""A face that lines twice as far apart all miss has no place far enough from its edges."""

_APART: Final = 0.25
"""A second place from the same side stays this share of the casting's size from the first."""


@dataclass(frozen=True, slots=True)
class _Place:
    face: PartFace
    towards: Towards
    spot: Spot
    flash: bool

    @property
    def rank(self) -> tuple[bool, bool]:
        """Clear of the parting line first, then those that the finder's end meets."""
        return self.flash, self.spot.touch.leans_out


@dataclass(frozen=True, slots=True)
class _Side:
    """What one way finds, looked for as it is asked for.

    Attributes:
        able: good places, best first; seen: those of them that were looked at.
        touched: where zero was picked up, so that nothing new is told near by.
    """

    able: Iterator[_Place]
    touched: Sequence[Row]
    seen: list[_Place] = field(default_factory=list)

    def places(self, looks: int) -> list[_Place]:
        """Return what is new among the first so many places, the clean ones first."""
        self.seen.extend(islice(self.able, max(looks - len(self.seen), 0)))
        return sorted((place for place in self.seen[:looks] if self._is_new(place)), key=lambda place: place.rank)

    def best(self, looks: int) -> _Place | None:
        """Return the first of `places`, without a look at more than it takes."""
        for number in range(1, looks + 1):
            found = self.places(number)
            if (found and found[0].rank == _CLEAN) or len(self.seen) < number:
                break
        return next(iter(found), None)

    def _is_new(self, place: _Place) -> bool:
        here = (*place.spot.touch.axis, place.spot.touch.end)
        return not any(row.towards == place.towards and math.dist(here, _at(row)) < _NEW for row in self.touched)


_CLEAN: Final = (False, False)


def _at(row: Row) -> Vec3:
    """Return where a row drives to; further than anything where it drives nothing."""
    return tuple(math.inf if v is None else v for v in (row.x, row.y, row.z))  # type: ignore[return-value]


@dataclass(frozen=True, slots=True, eq=False)
class _Looks:
    """What places are looked for with.

    Attributes:
        finder: None where the shop has none: then only a gauge looks down.
        reached: where the table may still go.
        picked: the rows that pick up zero.
    """

    planned: PlannedSetup
    standing: Standing
    settings: Settings
    finder: Finder | None
    reached: "_Reached"
    picked: Sequence[Row]


def check_rows(
    planned: PlannedSetup, standing: Standing, settings: Settings, picked: Sequence[Row], others: Sequence[Row] = ()
) -> tuple[Row, ...]:
    """Return three to five check rows, numbered 0; fewer where less skin can be reached, none without an edge finder.

    Args:
        standing: the work, as drawn or as received.
        picked: the rows that pick up zero.
        others: further rows that the table's travel has to cover as well.
    """
    finder = choose_finder(settings.tooling, "edge finder")
    side = None if isinstance(finder, Lack) else finder
    looks = _Looks(planned, standing, settings, side, _reached((*picked, *others), settings), picked)
    shown = _shown(_WAYS if side else ("-z",), looks)
    sides = {way: found for way, pairs in shown.items() if (found := _side(way, pairs, looks)) is not None}
    size = standing.part.casting.size
    places = _chosen(sides, _LOOKS, size)
    if len(places) < _LEAST:
        places = _chosen(sides, _ALL_LOOKS, size)
    return tuple(_row(place, standing, settings, side) for place in places)


_Reached: TypeAlias = tuple[tuple[float, float], tuple[float, float]]
"""From where to where the table may still go in X and in Y."""


def _reached(others: Sequence[Row], settings: Settings) -> _Reached:
    """Return where any places at all can be driven to besides other rows: what they leave of the travel, half at either end."""
    found = []
    for travel, ends in zip(settings.tooling.mill.travel[:2], (("x", "x_to"), ("y", "y_to")), strict=True):
        at = [value for row in others for end in ends if (value := getattr(row, end)) is not None]
        low, high = min(at, default=-math.inf), max(at, default=math.inf)
        spare = max(0.5 * (travel - (high - low)), 0.0) if at else 0.0
        found.append((low - spare, high + spare))
    return found[0], found[1]


# --- where ------------------------------------------------------------------------------


def _side(way: Towards, shown: "_Shown", looks: _Looks) -> _Side | None:
    """Return what one way finds; on faces that zero was picked up from only where there are no others."""
    used = {name for one in looks.planned.pick_ups if not one.machined for name in one.faces}
    faces = _rough(looks.planned, looks.standing.part)
    for some in ([f for f in faces if f.name not in used], [f for f in faces if f.name in used]):
        able = [face for face in some if _touchable(face, way, looks.standing)]
        if able:
            found = _on(able, faces, shown, way, looks)
            first = next(found, None)
            if first is not None:
                return _Side(found, [row for row in looks.picked if row.feature in used], [first])
    return None


def _on(some: list[PartFace], every: list[PartFace], shown: "_Shown", way: Towards, looks: _Looks) -> Iterator[_Place]:
    """Yield good places on some faces that the table gets to; over a pocket's floor may stand the skin of another of `every`."""
    standing, settings, boxes = looks.standing, looks.settings, looks.planned.hold.boxes
    touchable = [face for face in every if _touchable(face, way, standing)]
    names, parting = {face.name for face in some}, settings.parting
    owner = {n: own for n, own in _owners(touchable, shown, standing.part).items() if names & {face.name for face in own}}
    if not owner:
        return
    tip = Tip(0.0, _GAUGE)
    if looks.finder and way != "-z":
        tip = Tip(0.5 * looks.finder.diameter, looks.finder.reach, lowest_nose(boxes, settings))
    for spot in spots(standing, Search(way, frozenset(owner), False, parting=parting), tip, boxes, settings):
        touch = spot.touch
        face = _under(owner[touch.surface], spot, standing)
        if face.name in names and all(low <= at <= high for at, (low, high) in zip(touch.axis, looks.reached, strict=True)):
            yield _Place(face, way, spot, on_flash(standing, touch, parting))


def _under(owners: Sequence[PartFace], spot: Spot, standing: Standing) -> PartFace:
    """Return which of the faces under one skin a touch is nearest to: a groove leaves more than one."""

    def off(face: PartFace) -> float:
        low, high = face_box(standing.part.finished, face.surfaces, standing.frame)
        return math.dist(spot.touch.meets, [min(max(p, a), b) for p, a, b in zip(spot.touch.meets, low, high, strict=True)])

    return min(owners, key=off) if len(owners) > 1 else owners[0]


_Shown: TypeAlias = list[tuple[int, int]]
"""A surface of the casting and one of the finished part that show the same places from a side, the one that shows most last."""


def _shown(ways: Sequence[Towards], looks: _Looks) -> dict[Towards, _Shown]:
    """Return what of the casting stays as cast where a finder comes from: there casting and finished part show the same places."""
    drawn = Standing(looks.standing.part, looks.standing.frame) if looks.standing.placed else looks.standing
    places = {way: grid(drawn, Search(way, frozenset(), False), looks.settings, _COARSE) for way in ways}
    cast = sides_from(drawn, places, False)
    facing = {way: np.flatnonzero(faces_it(met, way)) for way, met in cast.items()}
    cut = sides_from(drawn, {way: (places[way][0][rows], places[way][1][rows]) for way, rows in facing.items()}, True)
    return {way: _pairs(cast[way].of(facing[way]), cut[way]) for way in ways}


def _pairs(rough: Met, finished: Met) -> _Shown:
    with np.errstate(invalid="ignore"):
        same = np.flatnonzero(np.linalg.norm(rough.at - finished.at, axis=1) < SKIN)
    pairs = Counter(zip(rough.surface[same].tolist(), finished.surface[same].tolist(), strict=True))
    return [pair for pair, _ in sorted(pairs.items(), key=lambda item: (item[1], item[0]))]


def _owners(faces: list[PartFace], shown: _Shown, part: Part) -> dict[int, list[PartFace]]:
    """Return the faces under each of the casting's surfaces that shows."""
    by_surface = {number: face for face in faces if face.state == "as cast" for number in face.surfaces}
    own: dict[int, list[PartFace]] = {}
    for face in (face for face in faces if face.state != "as cast"):
        for n in target(part, face.name, False).numbers:
            own.setdefault(n, []).append(face)
    for cast, number in shown:
        if number in by_surface:
            own[cast] = [by_surface[number]]
    return own


def _rough(planned: PlannedSetup, part: Part) -> list[PartFace]:
    """Return the faces that are certainly skin before this set-up's cuts: those that stay as cast first; over a slot stands
    another face's skin."""
    slotted = {face.name for slot in slots_of(part) for face in slot.faces}
    own = [f for f in part.machined if f.name in planned.features and f.hole is None and f.name not in slotted]
    return [*part.as_cast, *own]


def _touchable(face: PartFace, way: Towards, standing: Standing) -> bool:
    """Tell whether a finder on that way comes to rest on a face of that form: planes, and outside rounds that stand upright."""
    upright = abs(standing.frame.local_direction(face.axis)[2])
    if face.kind == "plane":
        return upright > 0.98 if way == "-z" else upright < 0.5
    return way != "-z" and face.kind in ("cylinder", "cone") and upright > 0.999 and not face.hollow


def _chosen(found: dict[Towards, _Side], looks: int, size: float) -> list[_Place]:
    """Return the best place each way, then others far from those until there are enough; on the parting line only then."""
    best = [place for side in found.values() if (place := side.best(looks)) is not None]
    chosen = [place for place in best if not place.flash][:_MOST]
    if len(chosen) < _LEAST:
        every = [side.places(looks) for side in found.values()]
        for places in ([place for place in some if not place.flash] for some in every), every:
            for some in places:
                if len(chosen) < _LEAST:
                    chosen += _far_from(chosen, some, _APART * size)[:1]
    return sorted(chosen, key=lambda p: _WAYS.index(p.towards))


def _far_from(chosen: list[_Place], places: list[_Place], least: float) -> list[_Place]:
    def apart(place: _Place) -> float:
        mine = [c.spot for c in chosen if c.towards == place.towards]
        return min((math.hypot(place.spot.across - s.across, place.spot.height - s.height) for s in mine), default=math.inf)

    return [p for p in places if apart(p) >= least]


# --- what it should read ------------------------------------------------------------------


def _row(place: _Place, standing: Standing, settings: Settings, finder: Finder | None) -> Row:
    touch = place.spot.touch
    tool = finder_tool(finder) if finder and place.towards != "-z" else Tool("height gauge", "", 0.0)
    note = "; ".join(
        filter(None, (STOP, _STUB if place.towards == "-z" else "", _FETTLE if place.flash else _ABOVE if touch.leans_out else ""))
    )
    x, y = touch.axis
    return Row(
        0,
        place.face.name,
        "check",
        tool,
        x,
        y,
        touch.end,
        note=note,
        towards=place.towards,
        spread=spread_of(touch, standing, settings),
    )
