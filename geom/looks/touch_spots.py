"""Good places to send a finder: clean skin, well in from its edges, away from the parting line, with room for the holder.

Looked for on a grid tied to the set-up's zero in round figures, so that turning
the part in its file changes nothing. Lengths mm, set-up frame. Knows nothing of
why a place is wanted.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final, TypeAlias, TypeVar

import numpy as np

from geom.kernel.shape import Surface
from geom.looks.contact import Contact, Met, Standing, contacts, faces_it, has_room, showing, sides
from geom.looks.holder import table_height
from geom.rays.analytic import Bools, Floats, Ints
from geom.rows.records import Box, Towards
from geom.settings.parting import Parting
from geom.settings.records import Settings

_ACROSS: Final = 48
"""The grid has about this many lines across the work, or a line every `_LINE`."""

_LINE: Final = {"mm": 5.0, "inch": 5.08}
"""Round figure, mm, that grid lines are multiples of."""

FLASH: Final = 4.0
"""A touch keeps this far, mm, from the parting plane: flash and a step between the halves (common practice)."""

_ROOM: Final = (2.0, 4.0, 6.0, 9.0, 13.0)
"""A place is the better the further, mm, its face runs on all round; less than the first is too near an edge or a fillet."""

_UNDER_TOP: Final = (2.5, 5.5, 8.5)
"""mm below the top of the work that are tried besides the grid: all that shows where it stands low in the jaws."""

_SQUARE_ENOUGH: Final = 0.03
"""Sine of how far from square a round may be met: a casting as received lies a little turned."""

_Item = TypeVar("_Item")

_AROUND: Final = tuple((math.cos(a), math.sin(a)) for a in (math.tau * i / 8 for i in range(8)))


@dataclass(frozen=True, slots=True)
class Tip:
    """What touches.

    Attributes:
        reach: how far it reaches below its holder.
        lowest: Z that the holder's end cannot go below.
    """

    radius: float
    reach: float
    lowest: float = -math.inf

    def gets_to(self, end: float) -> bool:
        """Tell whether the mill brings its end that low."""
        return end + self.reach >= self.lowest


@dataclass(frozen=True, slots=True)
class Spot:
    """A good place.

    Attributes:
        across, height: of the ray, as in `contact.sides`.
        room: how far its face runs on all round.
    """

    touch: Contact
    across: float
    height: float
    room: float


@dataclass(frozen=True, slots=True)
class Search:
    """Where to look.

    Attributes:
        surfaces: of the casting (rough) or the finished part (machined).
        machined: which of the two stands there.
        across, height: lines to try; () for the whole grid, and the lines towards the axes of rounds.
        parting: the parting plane that a sideways touch keeps away from; None where nobody says.
    """

    towards: Towards
    surfaces: frozenset[int]
    machined: bool
    across: tuple[float, ...] = ()
    height: tuple[float, ...] = ()
    parting: Parting | None = None


def lowest_nose(boxes: Sequence[Box], settings: Settings) -> float:
    """Return Z of the spindle's nose when it is nearest to the table; -inf where nothing says where the table is."""
    table = table_height(boxes)
    return -math.inf if table is None else table + settings.tooling.mill.spindle_to_table[0]


def lines(low: float, high: float, settings: Settings, coarse: int = 1) -> Floats:
    """Return grid lines between two limits, multiples of a round figure; of `coarse` times it."""
    step = coarse * _LINE[settings.units]
    step *= max(1, math.ceil((high - low) / _ACROSS / step))
    return np.asarray(step * np.arange(math.ceil(low / step), math.floor(high / step) + 1), dtype=float)


def spots(standing: Standing, search: Search, tip: Tip, boxes: Sequence[Box], settings: Settings) -> Iterator[Spot]:
    """Yield good places for a touch, best first; one that nobody asks for is not looked at."""
    for some in portions(islice(_places(standing, search, settings), _MOST), _FIRST, _AT_ONCE):
        yield from _looked_at(some, standing, search, tip, boxes)


def portions(items: Iterable[_Item], first: int, then: int) -> Iterator[list[_Item]]:
    """Yield items some at a time: rays for many cost little more than for one, but the first mostly do."""
    left = iter(items)
    some = list(islice(left, first))
    while some:
        yield some
        some = list(islice(left, then))


_Place: TypeAlias = tuple[float, float, float]
"""Across, height, and how far the face runs on all round."""


def _places(standing: Standing, search: Search, settings: Settings) -> Iterator[_Place]:
    """Yield places on clean skin: most room, nearest to the zero's line, highest. Those with the most there can be need no waiting
    for the others."""
    across, height = grid(standing, search, settings)
    met = sides(standing, search.towards, across, height, search.machined, search.surfaces)
    good = faces_it(met, search.towards) & _clean(standing, met, search)
    rows = np.flatnonzero(good & _met_square(standing, search, met))
    rows = np.array(sorted(rows.tolist(), key=lambda i: _worse(float(across[i]), float(height[i]))), dtype=np.int64)
    less: list[_Place] = []
    for some in np.split(rows, _PORTIONS):
        room = _room(standing, search, across[some], height[some], met.surface[some]) if some.size else np.zeros(0)
        found = list(zip(across[some].tolist(), height[some].tolist(), room.tolist(), strict=True))
        yield from (place for place in found if place[2] == _ROOM[-1])
        less += [place for place in found if 0.0 < place[2] < _ROOM[-1]]
    yield from sorted(less, key=lambda place: -place[2])


def _looked_at(some: Sequence[_Place], standing: Standing, search: Search, tip: Tip, boxes: Sequence[Box]) -> Iterator[Spot]:
    """Yield those of some places where the finder comes to rest with room for its holder."""
    (low, high), way = standing.box, search.towards
    starts = np.empty((len(some), 3))
    if way == "-z":
        starts[:] = [(a, h, high[2] + 10.0) for a, h, _ in some]
    else:
        lead = "xy".index(way[1])
        starts[:, lead] = low[lead] - 10.0 if way[0] == "+" else high[lead] + 10.0
        starts[:, 1 - lead], starts[:, 2] = [a for a, _, _ in some], [h for _, h, _ in some]
    radius, length = (0.0, 0.0) if way == "-z" else (tip.radius, tip.reach)
    rest = contacts(standing, [way] * len(some), starts, search.surfaces, radius, length, search.machined)
    found = [(touch, place) for touch, place in zip(rest, some, strict=True) if touch is not None and tip.gets_to(touch.end)]
    clear = has_room(standing, [touch for touch, _ in found], tip.radius, tip.reach, boxes, search.machined)
    for (touch, (a, h, room)), free in zip(found, clear, strict=True):
        if free:
            yield Spot(touch, a, h, room)


_FIRST: Final = 2
_AT_ONCE: Final = 8
_MOST: Final = 96
"""Places that are looked at closely, at first, at once and in all."""

_PORTIONS: Final = (32, 128, 512)
"""Places, by their rank, up to which room is looked for before the others'."""


def _worse(across: float, height: float) -> tuple[float, ...]:
    """Return what places with as much room are sorted by: nearest to the zero's line, highest."""
    return (round(abs(across), 6), -round(height, 6), round(across, 6))


def grid(standing: Standing, search: Search, settings: Settings, coarse: int = 1) -> tuple[Floats, Floats]:
    """Return every place a search tries: across and height, (n,) each; on lines `coarse` times as far apart."""
    (low, high), way = standing.box, search.towards
    a, h = (0, 1) if way == "-z" else (1 - "xy".index(way[1]), 2)
    across = np.array(search.across) if search.across else _with_axes(standing, search, a, lines(low[a], high[a], settings, coarse))
    height = np.array(search.height) if search.height else lines(low[h], high[h], settings, coarse)
    if way != "-z" and not search.height:
        height = np.append(height, high[h] - np.array(_UNDER_TOP))
    both = np.stack(np.meshgrid(across, height, indexing="ij"), axis=-1).reshape(-1, 2)
    return both[:, 0], both[:, 1]


def _surfaces(standing: Standing, search: Search) -> list[Surface]:
    solid = standing.part.finished if search.machined else standing.part.casting
    return [solid.surfaces[i] for i in sorted(search.surfaces)]


def _with_axes(standing: Standing, search: Search, a: int, grid: Floats) -> Floats:
    """Return the lines with those through the axes of upright rounds: a finder on such a line meets them square."""
    if search.towards == "-z":
        return grid
    axes = [
        round(standing.frame.local(s.origin)[a], 6) + 0.0 for s in _surfaces(standing, search) if s.kind in ("cylinder", "cone")
    ]
    return np.array(sorted({*grid.tolist(), *axes}))


def _met_square(standing: Standing, search: Search, met: Met) -> Bools:
    """Return which places are on planes, or on rounds met towards their axis."""
    plane = [s.index for s in _surfaces(standing, search) if s.kind == "plane"]
    flat = np.isin(met.surface, plane)
    if search.towards == "-z":
        return np.asarray(flat)
    aside = np.abs(met.out[:, 1 - "xy".index(search.towards[1])])
    return np.asarray(flat | (aside < _SQUARE_ENOUGH))


def _clean(standing: Standing, met: Met, search: Search) -> Bools:
    """Return which places keep off the parting plane's edge."""
    if search.parting is None or search.towards == "-z":
        return np.ones(len(met.at), dtype=np.bool_)
    return np.asarray(np.abs(search.parting.over(standing.frame.part_points(np.nan_to_num(met.at)))) > FLASH)


def on_flash(standing: Standing, touch: Contact, parting: Parting | None) -> bool:
    """Tell whether a finder at rest sideways meets the work by its parting plane."""
    if parting is None or touch.towards == "-z":
        return False
    return abs(float(parting.over(np.array(standing.frame.part(touch.meets))))) <= FLASH


def _room(standing: Standing, search: Search, across: Floats, height: Floats, surface: Ints) -> Floats:
    """Return how far all round the same surface runs on, mm (n,); 0 where not even the least."""
    room, open_still = np.zeros(len(across)), np.ones(len(across), dtype=np.bool_)
    for far in _ROOM:
        rows = np.flatnonzero(open_still)
        if not rows.size:
            break
        a = (across[rows, None] + far * np.array([c for c, _ in _AROUND])).ravel()
        h = (height[rows, None] + far * np.array([s for _, s in _AROUND])).ravel()
        shows = showing(standing, search.towards, a, h, search.machined)
        same = (shows.reshape(-1, len(_AROUND)) == surface[rows, None]).all(axis=1)
        room[rows[same]] = far
        open_still[rows[~same]] = False
    return room
