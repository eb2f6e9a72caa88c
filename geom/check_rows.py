"""Look before you cut: where a finder should meet the as-cast skin once zero is set.

A few named places, spread round the work, each with the readout and how far it
may be off: by the casting's tolerance grade, or by what was read on the casting
as received. Draft and the finder's radius are counted. Lengths mm, set-up
frame. Knows nothing of cuts.

Source of the spread: ISO 8062-3 (half the total width of the tolerance on the
dimension from zero to the place); with readings, the 95 % of their estimate.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from geom.contact import Standing
from geom.cutter_choice import Lack, choose_finder
from geom.errors import StandardError
from geom.part import Part, PartFace
from geom.pick_up_rows import finder_tool
from geom.plan import PlannedSetup
from geom.readings import SIGMA
from geom.rows import Row, Tool, Towards
from geom.settings import Settings
from geom.shop import Finder
from geom.standards.tolerance_grades import casting_tolerance
from geom.touch_faces import target
from geom.touch_spots import Search, Spot, Tip, on_flash, spots

if TYPE_CHECKING:
    from geom.castings import Placed

STOP: Final = "differs by more: stop, enter it as a reading, place again"
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

_APART: Final = 0.25
"""A second place from the same side stays this share of the casting's size from the first."""


@dataclass(frozen=True, slots=True)
class _Place:
    face: PartFace
    towards: Towards
    spot: Spot
    flash: bool
    machined: bool = False


def check_rows(planned: PlannedSetup, part: Part, settings: Settings, placed: "Placed | None") -> tuple[Row, ...]:
    """Return three to five check rows, numbered 0; fewer where less skin can be reached, none without an edge finder.

    Args:
        placed: the casting as received; None for the drawn one.
    """
    finder = choose_finder(settings.tooling, "edge finder")
    standing = Standing(part, planned.frame, placed)
    side = None if isinstance(finder, Lack) else finder
    places = _chosen(_places(planned, standing, settings, side), part.casting.size)
    return tuple(_row(place, standing, settings, side) for place in places)


# --- where ------------------------------------------------------------------------------


def _places(planned: PlannedSetup, standing: Standing, settings: Settings, finder: Finder | None) -> dict[Towards, list[_Place]]:
    """Return good places by the way they are met, best first; on faces that zero was picked up from only without others."""
    used = {name for one in planned.pick_ups if not one.machined for name in one.faces}
    faces = _rough(planned, standing.part)
    found: dict[Towards, list[_Place]] = {}
    for way in _WAYS if finder else ("-z",):
        tip = Tip(0.5 * finder.diameter, finder.reach) if finder and way != "-z" else Tip(0.0, _GAUGE)
        for some in ([f for f in faces if f.name not in used], [f for f in faces if f.name in used]):
            found[way] = found.get(way) or _on(some, way, tip, planned, standing, settings)
    return found


def _on(
    faces: list[PartFace], way: Towards, tip: Tip, planned: PlannedSetup, standing: Standing, settings: Settings
) -> list[_Place]:
    """Return good places on some faces: clear of the parting line first, then those that the finder's end meets."""
    owner = {number: face for face in reversed(faces) for number in _met(face, way, standing)}
    if not owner:
        return []
    parting = settings.casting.parting
    good = spots(standing, Search(way, frozenset(owner), False, parting=parting), tip, planned.hold.boxes, settings)
    places = [_Place(owner[s.touch.surface], way, s, on_flash(standing, s.touch, parting)) for s in good]
    return sorted(places, key=lambda p: (p.flash, p.spot.touch.leans_out))


def _rough(planned: PlannedSetup, part: Part) -> list[PartFace]:
    """Return the faces that are certainly skin before this set-up's cuts: those that stay as cast first."""
    own = [f for f in part.machined if f.name in planned.features and f.hole is None]
    return [*part.as_cast, *own]


def _met(face: PartFace, way: Towards, standing: Standing) -> frozenset[int]:
    """Return the casting's surfaces over a face that a finder on that way may meet."""
    upright = abs(standing.frame.local_direction(face.axis)[2])
    if way == "-z":
        return target(standing.part, face.name, False).numbers if face.kind == "plane" and upright > 0.98 else frozenset()
    flat = face.kind == "plane" and upright < 0.5
    if flat or (face.kind in ("cylinder", "cone") and upright > 0.999 and not face.hollow):
        return target(standing.part, face.name, False).numbers
    return frozenset()


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
        spread=_spread(place, standing, settings),
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
