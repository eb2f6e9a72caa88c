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
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from geom.cutters.cutter_choice import Lack, choose_finder
from geom.errors import StandardError
from geom.kernel.extent import face_box
from geom.looks.contact import Standing, faces_it, sides
from geom.looks.pick_up_rows import finder_tool, touches_of
from geom.looks.touch_faces import target
from geom.looks.touch_spots import Search, Spot, Tip, grid, lowest_nose, on_flash, spots
from geom.model.part import Part, PartFace
from geom.readings.records import SIGMA
from geom.rows.plan import PlannedSetup
from geom.rows.records import Row, Tool, Towards
from geom.settings.records import Settings
from geom.shop.records import Finder
from geom.standards.tolerance_grades import casting_tolerance
from geom.tasks.slots import slots_of
from geom.tolerance import SKIN

if TYPE_CHECKING:
    from geom.place.castings import Placed

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

_SURE: Final = 1.96
"""Standard deviations of 95 %."""

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
    machined: bool = False


def check_rows(
    planned: PlannedSetup, part: Part, settings: Settings, placed: "Placed | None", others: Sequence[Row] = ()
) -> tuple[Row, ...]:
    """Return three to five check rows, numbered 0; fewer where less skin can be reached, none without an edge finder.

    Args:
        placed: the casting as received; None for the drawn one.
        others: rows that the table's travel has to cover as well.
    """
    finder = choose_finder(settings.tooling, "edge finder")
    standing = Standing(part, planned.frame, placed)
    side = None if isinstance(finder, Lack) else finder
    reached = _reached(others, settings)
    places: list[_Place] = []
    for looks in (_LOOKS, _ALL_LOOKS):
        if len(places) < _LEAST:
            found = _places(planned, standing, settings, side, looks, reached)
            places = _chosen(_new(found, planned, standing, settings), part.casting.size)
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


def _new(
    found: dict[Towards, list[_Place]], planned: PlannedSetup, standing: Standing, settings: Settings
) -> dict[Towards, list[_Place]]:
    """Return the places that zero was not picked up at already."""
    used = _used(planned)
    if not any(place.face.name in used for places in found.values() for place in places):
        return found
    touched = [row for row in touches_of(planned, standing, settings) if row.towards]
    return {way: [place for place in places if not _again(place, touched)] for way, places in found.items()}


def _again(place: _Place, touched: list[Row]) -> bool:
    here = (*place.spot.touch.axis, place.spot.touch.end)
    there = [
        (r.x, r.y, r.z) for r in touched if r.towards == place.towards and r.x is not None and r.y is not None and r.z is not None
    ]
    return any(math.dist(here, at) < _NEW for at in there)


def _used(planned: PlannedSetup) -> set[str]:
    return {name for one in planned.pick_ups if not one.machined for name in one.faces}


# --- where ------------------------------------------------------------------------------


def _places(
    planned: PlannedSetup, standing: Standing, settings: Settings, finder: Finder | None, looks: int, reached: _Reached
) -> dict[Towards, list[_Place]]:
    """Return good places by the way they are met, best first; on faces that zero was picked up from only without others."""
    used, lowest = _used(planned), lowest_nose(planned.hold.boxes, settings)
    faces = _rough(planned, standing.part)
    found: dict[Towards, list[_Place]] = {}
    for way in _WAYS if finder else ("-z",):
        tip = Tip(0.5 * finder.diameter, finder.reach, lowest) if finder and way != "-z" else Tip(0.0, _GAUGE)
        for some in ([f for f in faces if f.name not in used], [f for f in faces if f.name in used]):
            found[way] = found.get(way) or _on(some, way, tip, planned, standing, settings, looks, reached)
    return found


def _on(
    faces: list[PartFace], way: Towards, tip: Tip, planned: PlannedSetup, standing: Standing, settings: Settings, looks: int,
    reached: _Reached,
) -> list[_Place]:  # fmt: skip
    """Return good places on some faces: clear of the parting line first, then those that the finder's end meets."""
    owner = _owners(faces, way, standing, settings)
    if not owner:
        return []
    parting = settings.casting.parting
    able = spots(standing, Search(way, frozenset(owner), False, parting=parting), tip, planned.hold.boxes, settings)
    within = (s for s in able if all(low <= at <= high for at, (low, high) in zip(s.touch.axis, reached, strict=True)))
    good = islice(within, looks)
    places = [_Place(_under(owner[s.touch.surface], s, standing), way, s, on_flash(standing, s.touch, parting)) for s in good]
    return sorted(places, key=lambda p: (p.flash, p.spot.touch.leans_out))


def _under(owners: Sequence[PartFace], spot: Spot, standing: Standing) -> PartFace:
    """Return which of the faces under one skin a touch is nearest to: a groove leaves more than one."""

    def off(face: PartFace) -> float:
        low, high = face_box(standing.part.finished, face.surfaces, standing.frame)
        return math.dist(spot.touch.meets, [min(max(p, a), b) for p, a, b in zip(spot.touch.meets, low, high, strict=True)])

    return min(owners, key=off) if len(owners) > 1 else owners[0]


def _owners(faces: list[PartFace], way: Towards, standing: Standing, settings: Settings) -> dict[int, list[PartFace]]:
    """Return the faces under each of the casting's surfaces that shows on the grid from where a finder comes.

    A face that stays as cast is where casting and finished part show the same place.
    """
    part, drawn = standing.part, Standing(standing.part, standing.frame)
    able = [face for face in faces if _touchable(face, way, standing)]
    by_surface = {number: face for face in able if face.state == "as cast" for number in face.surfaces}
    own: dict[int, list[PartFace]] = {}
    for face in (face for face in able if face.state != "as cast"):
        for n in target(part, face.name, False).numbers:
            own.setdefault(n, []).append(face)
    across, height = grid(drawn, Search(way, frozenset(), False), settings, _COARSE)
    rough = sides(drawn, way, across, height, False)
    facing = np.flatnonzero(faces_it(rough, way))
    rough, finished = rough.of(facing), sides(drawn, way, across[facing], height[facing], True)
    with np.errstate(invalid="ignore"):
        same = np.flatnonzero(np.linalg.norm(rough.at - finished.at, axis=1) < SKIN)
    pairs = Counter(zip(rough.surface[same].tolist(), finished.surface[same].tolist(), strict=True))
    for (cast, number), _ in sorted(pairs.items(), key=lambda item: (item[1], item[0])):
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


def _chosen(found: dict[Towards, list[_Place]], size: float) -> list[_Place]:
    """Return the best place each way, then others far from those until there are enough; on the parting line only then."""
    chosen = [places[0] for places in found.values() if places and not places[0].flash][:_MOST]
    clean = [[p for p in places if not p.flash] for places in found.values()]
    for places in (*clean, *found.values()):
        if len(chosen) >= _LEAST:
            break
        chosen += _far_from(chosen, places, _APART * size)[:1]
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
        spread=max(round(_spread(place, standing, settings), 2), 0.01),
    )


def _spread(place: _Place, standing: Standing, settings: Settings) -> float:
    """Return how far the readout may be off either way, mm."""
    if standing.placed is not None and standing.placed.measured:
        return _SURE * _sigma(place, standing)
    nominal = max(place.spot.touch.from_zero, 1.0)
    for size in (nominal, max(nominal, 16.1)):
        try:
            return 0.5 * casting_tolerance(size, settings.casting.grade)
        except StandardError:
            continue
    return 0.5 * casting_tolerance(standing.part.casting.size, settings.casting.grade)


def _sigma(place: _Place, standing: Standing) -> float:
    """Return the standard deviation, mm, of a touch on the skin as received: the estimate's and the touch's own."""
    assert standing.placed is not None
    received, touch = standing.placed.received, place.spot.touch
    if received.scan is not None:
        return math.hypot(received.scan_sigma, SIGMA["touch"])
    at = standing.placed.placement.pose.point(standing.frame.part(touch.meets))
    row = received.skin_rows(np.array([at]), np.array([touch.surface]))[1][0]
    return math.sqrt(float(row @ received.covariance @ row) + SIGMA["touch"] ** 2)
