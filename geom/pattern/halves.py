"""A pattern parted: its upper and lower pieces, lined up by dowels, and the board for a parting with steps.

Pieces come out as they lie on the printer's bed. Draw frame, pattern size, mm.
Knows nothing of cores and drafts.
"""

from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from geom.pattern.bed_split import about_z
from geom.pattern.dowels import Spot, dowel_spots, holes
from geom.pattern.parting import Floats, Parting, board
from geom.pattern.plane import area
from geom.rays.body import Body, joined
from geom.space import Vec3
from geom.toml.print_settings import Printer

_Room: TypeAlias = tuple[float, tuple[Spot, ...], float]

_SLIVER: Final = 1.0
_THIN: Final = 0.05
"""mm3, and mm of thickness, of a part that is nothing: a face as good as in the parting."""

_SKIN: Final = 4.0
"""mm2 of such a face that shows as a flake on the other half."""

BOARD_MARGIN: Final = 25.0
BOARD_THICK: Final = 8.0
"""mm of a follow board beyond the pattern, and under its deepest step: common practice, no source."""

_AS_IT_IS: Final = np.eye(3)
_OVER: Final = np.diag([1.0, -1.0, -1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One thing to print, as it lies on the bed; mm.

    Attributes:
        name: of its file and in the 3MF.
        body: flat side on Z 0.
        what: what it is, in words.
        deep: depth of the holes for dowels in its parted side; 0 for none.
        turn, shift: how it came here from its place in the pattern; None for what is no part of it.
    """

    name: str
    body: Body
    what: str
    turn: Floats | None = None
    shift: Vec3 = (0.0, 0.0, 0.0)
    deep: float = 0.0


def halves(whole: Body, parting: Parting, printer: Printer) -> tuple[tuple[Spot, ...], list[Piece]]:
    """Return the dowels' places and the pieces: pins are glued into the upper one, holes run free in the lower."""
    upper, lower = _parted(whole, parting)
    upper, lower = (joined([part for part in half.pieces() if not _is_nothing(part)]) for half in (upper, lower))
    if lower.is_empty:
        return (), [_laid("pattern", upper, f"pattern in one piece, {_back(parting)} back down", False)]
    if upper.is_empty:
        return (), [_laid("pattern", lower, f"pattern in one piece, {_back(parting)} back down", True)]
    radius = printer.pin / 2.0 + printer.hole_growth / 2.0
    made: list[Piece] = []
    spots: list[Spot] = []
    below, above = lower.pieces(), upper
    for number, loose in enumerate(below, 1):
        z, here, depth = _room_for_dowels(above, loose, parting, radius + printer.gap, printer.wall)
        if here:
            loose = loose - holes(here, z, radius + printer.gap, depth, printer.chord)
            bores = holes(here, 0.0, radius + printer.gap / 2.0, depth, printer.chord)
            above = above - bores.moved(np.diag([1.0, 1.0, -1.0]), (0.0, 0.0, z))
        spots.extend(here)
        name = "pattern_lower" if len(below) == 1 else f"pattern_lower_{number}"
        words = "its holes run free on the dowels" if here else "no room for a dowel: glue it on"
        made.append(_laid(name, loose, f"lower part, {words}{_stepped(loose, parting, -1.0)}", True, depth))
    top = _laid("pattern_upper", above, f"upper part, dowels glued in{_stepped(above, parting, 1.0)}", False)
    return tuple(spots), [top, *made]


def _parted(whole: Body, parting: Parting) -> tuple[Body, Body]:
    """Return what lies over the parting and what lies under it, without skins of a face that lies in it."""
    low, high = _round(whole)
    under = parting.below(low, high)
    upper, lower = (whole - under, whole & under) if parting.flats else whole.split((0.0, 0.0, 1.0), parting.z)
    down, up = ((0.0, 0.0, way * _THIN) for way in (-1.0, 1.0))
    over = whole - under.moved(_AS_IT_IS, up)
    beneath = whole & under.moved(_AS_IT_IS, down)
    clean = (over + over.moved(_AS_IT_IS, down)) & upper, (beneath + beneath.moved(_AS_IT_IS, up)) & lower
    upper, lower = (kept if raw.area - kept.area > _SKIN else raw for raw, kept in zip((upper, lower), clean, strict=True))
    return upper, lower


def _is_nothing(part: Body) -> bool:
    return part.volume < _SLIVER or 2.0 * part.volume < _THIN * part.area


def follow_board(whole: Body, parting: Parting) -> list[Piece]:
    """Return the board that carries the pattern while the lower half is rammed, where the parting has steps."""
    if not parting.flats:
        return []
    made = board(parting, *_round(whole), BOARD_MARGIN, BOARD_THICK)
    return [Piece("follow_board", made, "follow board: the pattern lies on its steps while the lower half is rammed")]


def _round(whole: Body) -> tuple[Vec3, Vec3]:
    """Return a box that holds a pattern with room to spare."""
    low, high = whole.box
    return (low[0] - 5.0, low[1] - 5.0, low[2] - 5.0), (high[0] + 5.0, high[1] + 5.0, high[2] + 5.0)


def _laid(name: str, body: Body, what: str, over: bool, deep: float = 0.0) -> Piece:
    """Return a piece on the bed: its parted side down."""
    turn = _OVER if over else _AS_IT_IS
    shift = (0.0, 0.0, body.box[1][2] if over else -body.box[0][2])
    return Piece(name, body.moved(turn, shift), what, turn, shift, deep)


def turned_piece(piece: Piece, degrees: float) -> Piece:
    """Return a piece turned about Z, so that it lies on the bed."""
    if degrees == 0:
        return piece
    about = about_z(degrees)
    x, y, z = (about @ np.asarray(piece.shift)).tolist()
    turn = None if piece.turn is None else about @ piece.turn
    return replace(piece, body=piece.body.moved(about, (0.0, 0.0, 0.0)), turn=turn, shift=(x, y, z))


def _back(parting: Parting) -> str:
    return "stepped" if parting.flats else "flat"


def _stepped(body: Body, parting: Parting, side: float) -> str:
    """Return what the printer has to know of a piece whose parted side is no plane."""
    near = [z for z in parting.levels if _ends_at(body, z, side)]
    return "; its parted side is stepped" if len(near) > 1 else ""


def _ends_at(body: Body, z: float, side: float) -> bool:
    """Tell whether part of a piece ends at a height, on its parted side."""
    inside, outside = (sum(area(o) for o in body.outlines_at(z + s * side * 0.01)) for s in (1.0, -1.0))
    return inside > outside + 1.0


def _room_for_dowels(
    above: Body, loose: Body, parting: Parting, radius: float, wall: float
) -> tuple[float, tuple[Spot, ...], float]:
    """Return the height at which dowels find room, their places, and their depth each way: the deepest that leaves a wall."""
    best: _Room = (parting.z, (), 0.0)
    for share in (3.4, 2.0, 1.2):
        for z in parting.levels:
            spots = dowel_spots(above, loose, z, radius, wall, share * radius)
            if len(spots) > len(best[1]):
                best = (z, spots, share * radius)
        if best[1]:
            return best
    return best
