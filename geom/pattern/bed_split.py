"""A print too large for the bed, cut upright or level into pieces that fit, with dowel holes in the cuts. mm.

Cuts run square to the bed's axes, where the print is thin, and clear of places
that are to stay whole. Pieces keep the place they had; the whole is their sum
and the holes.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.errors import GeometryError
from geom.pattern.dowels import dowel_spots, holes
from geom.pattern.plane import Floats
from geom.pattern.plane import area as area_of
from geom.rays.body import Body
from geom.space import Vec3
from geom.toml.print_settings import Printer


@dataclass(frozen=True, slots=True)
class Keep:
    """A place that no cut should pass: what it is, and its least and greatest corner."""

    name: str
    low: Vec3
    high: Vec3


@dataclass(frozen=True, slots=True, eq=False)
class Split:
    """The pieces of a print, the places that a cut had to pass, by name, and how many dowels it takes.

    Pieces stay where they were; `turn` is how a print in one piece was turned about Z so that it lies on the bed, degrees.
    """

    pieces: tuple[Body, ...]
    crossed: tuple[str, ...] = ()
    dowels: int = 0
    turn: float = 0.0


_PLACES: Final = 25
_CLEAR: Final = 1.0
"""mm a cut stays off a place."""

_TURN: Final = 3.0
"""Degrees between the turns that are tried before a print is cut."""

_SAME: Final = 1e-3

_MOST: Final = 27
_TO_Z: Final = (
    np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]),
    np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]),
    np.eye(3),
)
"""Turns that lay X, Y, Z of the print along Z."""


def fits(body: Body, bed: Vec3) -> bool:
    """Tell whether a print stands on the bed as it is, or turned a quarter round."""
    x, y, z = _size(body)
    return z <= bed[2] and ((x <= bed[0] and y <= bed[1]) or (y <= bed[0] and x <= bed[1]))


def turn_to_fit(body: Body, bed: Vec3) -> float | None:
    """Return how far a print is turned about Z to stand on the bed, degrees: not at all where it fits; None where no turn does."""
    if fits(body, bed):
        return 0.0
    low, high = body.box
    if high[2] - low[2] > bed[2]:
        return None
    flat = body.mesh().vertices[:, :2]
    for degrees in np.arange(_TURN, 180.0, _TURN).tolist():
        x, y = np.ptp(flat @ about_z(degrees)[:2, :2].T, axis=0).tolist()
        if (x <= bed[0] - _CLEAR and y <= bed[1] - _CLEAR) or (y <= bed[0] - _CLEAR and x <= bed[1] - _CLEAR):
            return float(degrees)
    return None


def turned_about(body: Body, degrees: float) -> Body:
    """Return a print turned about Z."""
    return body if degrees == 0 else body.moved(about_z(degrees), (0.0, 0.0, 0.0))


def about_z(degrees: float) -> Floats:
    """Return the turn (3, 3) about Z."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def split_for_bed(body: Body, printer: Printer, keep: Sequence[Keep], label: str) -> Split:
    """Return the pieces of a print that each fit the bed, where they were; the print itself when it fits, turned if need be.

    Raises:
        GeometryError: the bed would need more than `_MOST` pieces, or a cut has no room for a dowel.
    """
    turn = turn_to_fit(body, printer.bed)
    if turn is not None:
        return Split((turned_about(body, turn),), turn=turn)
    waiting, done = [body], []
    passed: set[str] = set()
    dowels = 0
    while waiting:
        piece = waiting.pop(0)
        if fits(piece, printer.bed):
            done.append(piece)
            continue
        if len(waiting) + len(done) > _MOST:
            raise GeometryError(
                f"{label}: a bed of {_by(printer.bed)} mm would cut a print of {_by(_size(body))} mm into more than {_MOST} "
                "pieces; state a larger bed in [printer], or have it printed where there is one"
            )
        halves, crossed, count = _cut(piece, printer, keep, label)
        waiting.extend(halves)
        passed |= crossed
        dowels += count
    return Split(tuple(done), tuple(sorted(passed)), dowels)


def _size(body: Body) -> Vec3:
    low, high = body.box
    return (high[0] - low[0], high[1] - low[1], high[2] - low[2])


def _by(size: Vec3) -> str:
    return " x ".join(f"{value:.4g}" for value in size)


def _cut(body: Body, printer: Printer, keep: Sequence[Keep], label: str) -> tuple[list[Body], set[str], int]:
    """Return a print in two, cut where it is longest for the bed, the names of what the cut passes, and how many dowels it has."""
    size, bed = _size(body), printer.bed
    axis = int(np.argmax([s / b for s, b in zip(size, bed, strict=True)]))
    turn = _TO_Z[axis]
    upright = body.moved(turn, (0.0, 0.0, 0.0))
    low, high = upright.box[0][2], upright.box[1][2]
    room = bed[axis]
    near, far = (high - room, low + room) if high - low < 2.0 * room else (low + 0.5 * room, low + room)
    margin = min(0.5, 0.02 * (far - near))
    depth, radius = 1.7 * printer.pin, printer.pin / 2.0 + printer.gap
    places = []
    for at in np.linspace(near + margin, far - margin, _PLACES).tolist():
        crossed = len(_passed(body, axis, at, keep))
        area = sum(area_of(outline) for outline in upright.outlines_at(at))
        places.append((crossed, round(area, 3), abs(at - 0.5 * (low + high)), at))
    for *_, at in sorted(places):
        ahead, behind = upright.split((0.0, 0.0, 1.0), at)
        spots = dowel_spots(ahead, behind, at, radius, printer.wall, depth)
        if spots:
            break
    else:
        raise GeometryError(
            f"{label}: where it is cut for the bed of {_by(bed)} mm there is no room for a dowel of {printer.pin:g} mm; "
            "state a thinner pin or a larger bed in [printer]"
        )
    drilled = holes(spots, 0.0, radius, depth, printer.chord)
    first = ahead - drilled.moved(np.diag([1.0, 1.0, -1.0]), (0.0, 0.0, at))
    second = behind - drilled.moved(np.eye(3), (0.0, 0.0, at))
    halves = [part for half in (second, first) for part in half.moved(turn.T, (0.0, 0.0, 0.0)).pieces()]
    return halves, _passed(body, axis, at, keep), len(spots)


def _passed(body: Body, axis: int, at: float, keep: Sequence[Keep]) -> set[str]:
    """Return the names of the places that a cut through a piece passes, or comes within a millimetre of."""
    low, high = body.box
    here = (k for k in keep if all(k.low[i] <= high[i] + _SAME and k.high[i] >= low[i] - _SAME for i in range(3)))
    return {k.name for k in here if k.low[axis] - _CLEAR < at < k.high[axis] + _CLEAR}
