"""A print too large for the bed, cut upright or level into pieces that fit, with dowel holes in the cuts. mm.

Cuts run square to the bed's axes, where the print is thin, and clear of places
that are to stay whole. Pieces keep the place they had; the whole is their sum
and the holes.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from geom.errors import GeometryError
from geom.pattern.dowels import dowel_spots, holes
from geom.pattern.plane import area as area_of
from geom.rays.body import Body
from geom.space import Vec3
from geom.toml.print_settings import Printer

Keep = tuple[Vec3, Vec3]
"""Least and greatest corner of a place that no cut should pass."""

_PLACES: Final = 25
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


def split_for_bed(body: Body, printer: Printer, keep: Sequence[Keep], label: str) -> tuple[Body, ...]:
    """Return the pieces of a print that each fit the bed, where they were; the print itself when it fits.

    Raises:
        GeometryError: the bed would need more than `_MOST` pieces, or a cut has no room for a dowel.
    """
    waiting, done = [body], []
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
        waiting.extend(_cut(piece, printer, keep, label))
    return tuple(done)


def _size(body: Body) -> Vec3:
    low, high = body.box
    return (high[0] - low[0], high[1] - low[1], high[2] - low[2])


def _by(size: Vec3) -> str:
    return " x ".join(f"{value:.4g}" for value in size)


def _cut(body: Body, printer: Printer, keep: Sequence[Keep], label: str) -> list[Body]:
    """Return a print in two, cut where it is longest for the bed."""
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
        crossed = sum(a[axis] - 1.0 < at < b[axis] + 1.0 for a, b in keep)
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
    return [part for half in (second, first) for part in half.moved(turn.T, (0.0, 0.0, 0.0)).pieces()]
