"""Rows that find zero: touches round a boss, in a bore, on a pair, on an edge, on a level face; an indicator's sweep.

Coordinates are what the readout shows once zero is right, the finder's radius
counted, so that a touch that is repeated afterwards proves the zero. Touches
on rough faces are on the casting's skin, at one height, so that draft cancels
between opposite sides. Lengths mm, set-up frame. Knows nothing of cuts.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import islice
from typing import Final

import numpy as np

from geom.cutters.cutter_choice import Lack, choose_finder
from geom.looks.contact import WAYS, Contact, Standing, contacts, has_room
from geom.looks.skin_spread import spread_of
from geom.looks.touch_faces import Target, face_of, hole_of, span_of, target, upright_axis
from geom.looks.touch_spots import Search, Spot, Tip, lines, lowest_nose, portions, spots
from geom.model.part import PartHole
from geom.rows.plan import PickUp, PlannedSetup
from geom.rows.records import Row, Tool, ToolKind, Towards
from geom.settings.records import Settings
from geom.shop.records import Finder
from geom.space import Vec3, dot

EQUAL_HEIGHTS: Final = "same Z on both: draft cancels"
_ROUGH: Final = "on rough skin"
_NO_PLACE: Final = "leaves the finder no clean place"
_TOO_FAR: Final = "lies further off than the table travels"
_NOTHING: Final = "nothing clean to touch here: the zero has to be found another way"

_SIDE: Final[dict[Towards, str]] = {"+x": "left", "-x": "right", "+y": "front", "-y": "back", "-z": "top"}
"""The side of the work that a finder on its way meets."""

_BORE_SIDE: Final[dict[Towards, str]] = {"-x": "left", "+x": "right", "-y": "front", "+y": "back"}
"""The side of a bore's wall that a finder inside meets."""

_LOOKS: Final = 12
"""Good places of one side that the other side of a pair is looked for at."""

_START: Final = 6.0
"""A finder starts this far off a round, mm."""

_LIP: Final = 1.0
"""mm a touch keeps from the end of a round."""

_SWEEP_DEPTH: Final = 6.0
"""How far below the upper end of a round an indicator sweeps it, mm (common practice)."""


def pick_up_rows(planned: PlannedSetup, standing: Standing, settings: Settings) -> tuple[Row, ...]:
    """Return the rows, numbered 0, that pick up the zero of a set-up from the work as it stands, in the plan's order.

    A place that cannot be touched gives a row that drives nothing and says so.

    Raises:
        GeometryError: the plan names a face that the part does not have.
    """
    return tuple(picked(planned, standing, settings))


def picked(planned: PlannedSetup, standing: Standing, settings: Settings) -> Iterator[Row]:
    """Yield those rows, each worked out when it is asked for."""
    for one in planned.pick_ups:
        yield from _picked(one, planned, standing, settings)


def _picked(one: PickUp, planned: PlannedSetup, standing: Standing, settings: Settings) -> Iterator[Row]:
    plug = _plug(one, standing)
    if plug is not None:
        yield from _on_plug(one, plug, standing, settings)
    elif one.how == "height" or one.axes == "z":
        yield _height(one, planned, standing, settings)
    elif one.how == "sweep":
        yield _sweep(one, standing, settings)
    else:
        yield from _touches(one, planned, standing, settings)


# --- sideways -----------------------------------------------------------------------


def _touches(one: PickUp, planned: PlannedSetup, standing: Standing, settings: Settings) -> Iterator[Row]:
    finder = choose_finder(settings.tooling, "edge finder")
    if isinstance(finder, Lack):
        yield _lacking(one, finder)
        return
    lowest = lowest_nose(planned.hold.boxes, settings)
    tip, tool = Tip(0.5 * finder.diameter, finder.reach, lowest), finder_tool(finder)
    look = _round if one.how in ("boss", "bore") else _flats
    found = look(one, planned, standing, tip, settings)
    halved = one.how != "edge"
    touched, far = _in_travel(list(found), settings) if one.how == "middle" else (list(found), {})
    for name, axis, touch in touched:
        good = [t for _, a, t in touched if a == axis and t is not None]
        if touch is not None:
            row = _touch_row(name, tool, touch, one, halved and len(good) == 2, good[0] is touch)
            missed = [n for n, a, t in touched if a == axis and t is None and one.how == "middle"]
            why = [f"{n} {far.get(n, _NO_PLACE)}" for n in missed]
            yield _alone(row, why[0], touch, one, standing, settings) if why else row
        elif not good or one.how != "middle":
            yield Row(0, name, "pick up", tool, None, None, None, note=f"{axis.upper()}: {_NOTHING}")


def _in_travel(found: "list[_Touched]", settings: Settings) -> "tuple[list[_Touched], dict[str, str]]":
    """Return touches without the further one of a pair that lies further apart than the table travels, and why, by its face."""
    kept, why = found, dict[str, str]()
    for axis, travel in zip("xy", settings.tooling.mill.travel[:2], strict=True):
        at = {name: t.axis["xy".index(axis)] for name, a, t in found if a == axis and t is not None}
        if at and max(at.values()) - min(at.values()) > travel:
            far = max(at, key=lambda name: (abs(at[name]), name))
            why[far] = _TOO_FAR
            kept = [(name, a, None if (name, a) == (far, axis) else t) for name, a, t in kept]
    return kept, why


def _alone(row: Row, missed: str, touch: Contact, one: PickUp, standing: Standing, settings: Settings) -> Row:
    """Return a touch on one side of a pair as what zero hangs on, since the finder does not get at the other.

    Args:
        missed: the other, and why.
    """
    told = f"{row.note}; {missed}, so the drawn place of this side counts, draft reckoned in"
    return replace(row, note=told, missed=missed, spread=None if one.machined else spread_of(touch, standing, settings))


def _touch_row(name: str, tool: Tool, touch: Contact, one: PickUp, pair: bool, first: bool) -> Row:
    axis = touch.towards[1].upper()
    side = (_BORE_SIDE if one.how == "bore" else _SIDE)[touch.towards]
    if pair:
        told = f"{side}, then the opposite side" if first else f"{side}; halve: {axis} reads as here on both; {EQUAL_HEIGHTS}"
    else:
        told = f"{side}: one touch sets {axis}"
    rough = "" if one.machined else _ROUGH
    above = "the skin leans out above: the finder's side meets it" if touch.leans_out else ""
    note = "; ".join(filter(None, (told, above, rough if not (pair and first) else "")))
    return Row(0, name, "pick up", tool, touch.axis[0], touch.axis[1], touch.end, note=note, towards=touch.towards)


_Touched = tuple[str, str, Contact | None]
_Found = Iterator[_Touched]


def _round(one: PickUp, planned: PlannedSetup, standing: Standing, tip: Tip, settings: Settings) -> _Found:
    """Yield the touches on a round, all at one height: X left, X right, Y front, Y back.

    The plan's height where the finder gets there; else the nearest one where it does.
    """
    what = target(standing.part, one.faces[0], one.machined)
    axis = upright_axis(what, standing)
    ways: tuple[Towards, ...] = ("-x", "+x", "-y", "+y") if one.how == "bore" else ("+x", "-x", "+y", "-y")
    ways = tuple(way for way in ways if way[1] in one.axes)
    best: list[Contact | None] = [None] * len(ways)
    for some in portions(_heights(what, one, standing, settings) if axis else (), 1, _AT_ONCE):
        assert axis is not None
        found = _on_round(what, axis, [(way, z) for z in some for way in ways], one, planned, standing, tip)
        best = max([best, *(found[i : i + len(ways)] for i in range(0, len(found), len(ways)))], key=_touched)
        if all(best):
            break
    if standing.placed is not None and axis is not None:
        best = _again_from_middle(best, what, axis, one, planned, standing, tip)
    for way, touch in zip(ways, best, strict=True):
        yield one.faces[0], way[1], touch


def _touched(touches: Sequence[Contact | None]) -> int:
    return sum(touch is not None for touch in touches)


_AT_ONCE: Final = 8
"""Heights of a round that are looked at together once the first will not do."""


def _again_from_middle(
    first: list[Contact | None],
    what: Target,
    axis: tuple[float, float],
    one: PickUp,
    planned: PlannedSetup,
    standing: Standing,
    tip: Tip,
) -> list[Contact | None]:
    """Return the touches on a round as received, aimed at its own middle: it may stand off its drawn axis."""
    touches = first
    for _ in range(2):
        pairs = [[t for t in touches if t is not None and t.towards[1] == letter] for letter in "xy"]
        middle = [0.5 * (pair[0].axis[i] + pair[1].axis[i]) if len(pair) == 2 else axis[i] for i, pair in enumerate(pairs)]
        asked = [(t.towards, t.end) for t in touches if t is not None]
        again = iter(_on_round(what, (middle[0], middle[1]), asked, one, planned, standing, tip))
        touches = [None if t is None else next(again) or t for t in touches]
    return touches


def _heights(what: Target, one: PickUp, standing: Standing, settings: Settings) -> list[float]:
    """Return heights to try on a round: the plan's, then round figures from the nearest to it."""
    low, high = _span(what, standing)
    wanted = one.height if one.height is not None else max(0.5 * (low[2] + high[2]), high[2] - _SWEEP_DEPTH)
    others = [z for z in lines(low[2], high[2], settings).tolist() if low[2] + _LIP < z < high[2] - _LIP]
    return [wanted, *sorted(others, key=lambda z: (round(abs(z - wanted), 6), -z))]


def _on_round(
    what: Target,
    axis: tuple[float, float],
    asked: Sequence[tuple[Towards, float]],
    one: PickUp,
    planned: PlannedSetup,
    standing: Standing,
    tip: Tip,
) -> list[Contact | None]:
    """Return the touch on a round from each of some ways at some heights; None where the finder does not get there."""
    if not asked:
        return []
    low, high = _span(what, standing)
    out = 0.0
    if one.how == "boss":
        out = 0.5 * max(high[0] - low[0], high[1] - low[1]) + 2.0 * tip.radius + _START
    starts = [(axis[0] - out * WAYS[way][0], axis[1] - out * WAYS[way][1], z) for way, z in asked]
    ways = [way for way, _ in asked]
    found = contacts(standing, ways, np.array(starts), what.numbers, tip.radius, tip.reach, one.machined)
    for i, (touch, start) in enumerate(zip(found, starts, strict=True)):
        if touch is not None and (_behind(touch, start, ways[i]) or not tip.gets_to(start[2])):
            found[i] = None
    touches = [touch for touch in found if touch is not None]
    clear = iter(has_room(standing, touches, tip.radius, tip.reach, planned.hold.boxes, one.machined))
    return [touch if touch is not None and next(clear) else None for touch in found]


def _behind(touch: Contact, start: Vec3, way: Towards) -> bool:
    """Tell whether the finder would have to back off to come to rest: a bore narrower than it."""
    return sum((a - s) * w for a, s, w in zip(touch.axis, start, WAYS[way], strict=False)) < 0.0


def _span(what: Target, standing: Standing) -> tuple[tuple[float, ...], tuple[float, ...]]:
    part = standing.part
    return span_of(what.surfaces, part.finished if what.machined else part.casting, standing.frame)


def _flats(one: PickUp, planned: PlannedSetup, standing: Standing, tip: Tip, settings: Settings) -> _Found:
    """Yield the touches on flat faces; both of a pair at one height, and on one line where both are clean there.

    At the plan's height where that is clean, else wherever one is.
    """

    def look(search: Search) -> Iterator[Spot]:
        return islice(spots(standing, search, tip, planned.hold.boxes, settings), _LOOKS)

    searches = [(name, _search(name, one, standing, settings)) for name in one.faces]
    for axis in one.axes:
        mine = [(name, s) for name, s in searches if s is not None and s.towards[1] == axis]
        best = _best([s for _, s in mine], look)
        if None in best:
            best = _best([replace(s, height=()) for _, s in mine], look)
        for (name, _), touch in zip(mine, best, strict=True):
            yield name, axis, touch
        if not mine:
            yield one.faces[0], axis, None


def _best(searches: list[Search], look: Callable[[Search], Iterator[Spot]]) -> list[Contact | None]:
    """Return the best touch of each search; of two, both at one height."""
    firsts: list[Spot] = []
    if len(searches) == 2:
        for keep_line in (True, False):
            for spot in look(searches[0]) if keep_line else firsts:
                firsts += [spot] if keep_line else []
                line = (spot.across,) if keep_line else ()
                second = next(look(replace(searches[1], across=line, height=(spot.height,))), None)
                if second is not None:
                    return [spot.touch, second.touch]
    found = [next(look(one), None) for one in searches]
    return [None if spot is None else spot.touch for spot in found]


def _search(name: str, one: PickUp, standing: Standing, settings: Settings) -> Search | None:
    """Return where to look on a flat face; None where nothing of it can be met."""
    what = target(standing.part, name, one.machined)
    out = standing.frame.local_direction(what.face.normal or what.face.axis)
    lead = 0 if abs(out[0]) >= abs(out[1]) else 1
    towards: Towards = ("-" if out[lead] > 0 else "+") + "xy"[lead]  # type: ignore[assignment]
    if not what.surfaces:
        return None
    height = () if one.height is None else (one.height,)
    return Search(towards, what.numbers, one.machined, height=height, parting=None if one.machined else settings.parting)


# --- a plug in a bore that lies down -----------------------------------------------


def _plug(one: PickUp, standing: Standing) -> PartHole | None:
    """Return the hole that lies level and is picked up by a close plug in it; None for all else."""
    hole = hole_of(standing.part, one.faces[0])
    return hole if hole is not None and abs(standing.frame.local_direction(hole.axis)[2]) < 0.5 else None


def _on_plug(one: PickUp, hole: PartHole, standing: Standing, settings: Settings) -> Iterator[Row]:
    """Yield the touches on a plug that stands out of a bore: on top for Z, else on both sides at the height of its axis."""
    mouth, out = standing.frame.local(hole.centre), standing.frame.local_direction(hole.axis)
    finder = choose_finder(settings.tooling, "edge finder")
    if isinstance(finder, Lack) and one.axes != "z":
        yield _lacking(one, finder)
        return
    tip = 0.0 if isinstance(finder, Lack) else 0.5 * finder.diameter
    x, y, z = (c + (tip + _START) * o for c, o in zip(mouth, out, strict=True))
    if one.axes == "z":
        note = "top of a close plug in it; each cutter anew"
        yield Row(0, hole.name, "pick up", Tool("height gauge", "", 0.0), x, y, z + 0.5 * hole.diameter, note=note, towards="-z")
        return
    assert not isinstance(finder, Lack)
    lead = "xy".index(one.axes)
    for sign, way, side in ((-1.0, "+", _SIDE), (1.0, "-", _SIDE)):
        at = [x, y]
        at[lead] += sign * (0.5 * hole.diameter + tip)
        towards: Towards = way + one.axes  # type: ignore[assignment]
        told = "then the opposite side" if sign < 0 else f"halve: {one.axes.upper()} reads as here on both"
        note = f"{side[towards]} of a close plug in it, {told}"
        yield Row(0, hole.name, "pick up", finder_tool(finder), at[0], at[1], z, note=note, towards=towards)


# --- height, sweep -----------------------------------------------------------------


def _height(one: PickUp, planned: PlannedSetup, standing: Standing, settings: Settings) -> Row:
    face = face_of(standing.part, one.faces[0])
    tool = Tool("height gauge", "", 0.0)
    up = dot(face.normal, planned.frame.z) if face.normal is not None else 0.0
    if up < 0.0:
        return _from_below(one, planned, settings, tool, standing.frame.local(face.origin)[2])
    if one.machined:
        z = standing.frame.local(face.origin)[2]
        return Row(
            0, face.name, "pick up", tool, None, None, z, note="touch off on it: Z reads as here; each cutter anew", towards="-z"
        )
    what = target(standing.part, face.name, False)
    search = Search("-z", what.numbers, False, parting=settings.parting)
    good = next(spots(standing, search, Tip(0.0, _GAUGE), planned.hold.boxes, settings), None) if what.surfaces else None
    if good is None:
        return Row(0, face.name, "pick up", tool, None, None, None, note=f"Z: {_NOTHING}")
    (x, y), z = good.touch.axis, good.touch.end
    return Row(0, face.name, "pick up", tool, x, y, z, note=f"{_ROUGH}; each cutter anew", towards="-z")


_GAUGE: Final = 60.0
"""How far down a height gauge's finger, or a cutter with a feeler, reaches, mm."""


def _from_below(one: PickUp, planned: PlannedSetup, settings: Settings, tool: Tool, seat: float) -> Row:
    """Return the row for a height that is known from what the seat stands on."""
    hold = planned.hold
    base = {"vise": "the bed of the vise", "table": "the table", "angle plate": "the table", "nest": "the table"}[hold.method]
    if hold.parallels and settings.tooling.vise.matched_reference:
        told = "touch the matched block beside the work: as high as what the seat stands on"
        return Row(0, one.faces[0], "pick up", tool, None, None, seat, note=f"{told}; each cutter anew", towards="-z")
    counted = "; the height of the packing under the seat is counted" if hold.parallels else ""
    return Row(
        0,
        one.faces[0],
        "pick up",
        tool,
        None,
        None,
        seat - hold.parallels,
        note=f"touch {base}{counted}; each cutter anew",
        towards="-z",
    )


def _sweep(one: PickUp, standing: Standing, settings: Settings) -> Row:
    what = target(standing.part, one.faces[0], True)
    axis = upright_axis(what, standing)
    finder = choose_finder(settings.tooling, "indicator")
    if isinstance(finder, Lack):
        return _lacking(one, finder)
    tool = finder_tool(finder)
    if axis is None:
        return Row(0, one.faces[0], "pick up", tool, None, None, None, note=f"{one.axes.upper()}: {_NOTHING}")
    low, high = _span(what, standing)
    z = one.height if one.height is not None else max(0.5 * (low[2] + high[2]), high[2] - _SWEEP_DEPTH)
    note = "sweep it all round until the needle stands still: the readout is then as here"
    return Row(0, one.faces[0], "pick up", tool, axis[0], axis[1], z, note=note)


# --- the finder ----------------------------------------------------------------------


def finder_tool(finder: Finder) -> Tool:
    """Return what touches, as a row's tool."""
    return Tool(finder.kind, finder.label, finder.diameter, reach=finder.reach)


def _lacking(one: PickUp, lack: Lack) -> Row:
    kind: ToolKind = "indicator" if one.how == "sweep" else "edge finder"
    note = "".join(piece for piece in lack.says if isinstance(piece, str))
    return Row(0, one.faces[0], "pick up", Tool(kind, "", 0.0), None, None, None, note=f"{one.axes.upper()}: {note}")
