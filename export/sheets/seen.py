"""One side of a set-up as the eye sees it: lines of the work, of what holds it and of what will be cut, hidden or not.

Lengths mm at true size, in the view's frame: x to the right, y up, z towards
the eye, its origin at the set-up's zero. Knows nothing of scale or paper.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from export.sheets.holding import Piece
from export.sheets.spots import hole_of, spot_on, surfaces_of
from geom.flat.curve2d import Box2
from geom.kernel.mesh import Mesh
from geom.model.part import Part
from geom.rays.mesh_lines import Floats, Sight, border_lines, cut_to_sight, drawn_lines, soft_lines
from geom.rays.rays import skin_of
from geom.space import Frame, Vec3, scale

Side: TypeAlias = Literal["above", "front"]

_DOWN: Final = 0.3
"""Share of a hole's depth at which it is pointed at."""

_BEYOND, _KEPT = 45.0, 30.0
"""mm: what holds the work is drawn whole where it reaches no further beyond the work than this; else only the second."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """One piece of the holding in the view.

    Attributes:
        box: what is drawn of it, the view's x and y.
        near: z of its face towards the eye.
        broken: the sides where it goes on: "left", "right", "below", "above".
    """

    piece: Piece
    box: Box2
    near: float
    broken: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One side of a set-up.

    Attributes:
        work: lines that may show of the work, (n, 2, 3); soft: of its flat faces that run out into roundings.
        cut: outlines of what is cut in this set-up, as it will be.
        alone: what of the work hides the work; all: that and what holds it.
        spots: what each feature is pointed at by, and how far to its left and right a hole's wall stands, else 0.
        window: box of all that is drawn.
    """

    side: Side
    work: Floats
    soft: Floats
    cut: Floats
    alone: Sight
    all: Sight
    holding: tuple[Drawn, ...]
    spots: tuple[tuple[Vec3, float], ...]
    window: Box2


def view_of(frame: Frame, side: Side) -> Frame:
    """Return a set-up's view: from the spindle, or from where the operator stands."""
    return frame if side == "above" else Frame(frame.origin, frame.x, frame.z, scale(frame.y, -1.0))


def seen_from(side: Side, frame: Frame, work: Mesh, holding: Sequence[Piece], part: Part, features: Sequence[str]) -> Seen:
    """Return one side of a set-up.

    Args:
        frame: of the set-up.
        work: as it stands, part frame.
        features: what is cut, in the order of their numbers.
    """
    view = view_of(frame, side)
    corners = view.local_points(work.vertices)
    boxes = [_turned(piece, side) for piece in holding]
    hiding = [box for piece, box in zip(holding, boxes, strict=True) if piece.kind != "ground"]
    flat = [s.index for s in part.casting.surfaces if s.kind == "plane"]
    around = (*corners[:, :2].min(axis=0).tolist(), *corners[:, :2].max(axis=0).tolist())
    drawn = tuple(
        _drawn(piece, low, high, around)
        for piece, (low, high) in zip(holding, boxes, strict=True)
        if piece.kind != "ground" or side == "front"
    )
    return Seen(
        side,
        drawn_lines(work, view),
        soft_lines(work, flat, view),
        _cut_lines(part, features, view),
        Sight(work, view),
        Sight(work, view, hiding),
        drawn,
        tuple(_spot(part, name, view) for name in features),
        _window(around, drawn),
    )


def _turned(piece: Piece, side: Side) -> tuple[Vec3, Vec3]:
    if side == "above":
        return piece.low, piece.high
    (x0, y0, z0), (x1, y1, z1) = piece.low, piece.high
    return (x0, z0, -y1), (x1, z1, -y0)


def _drawn(piece: Piece, low: Vec3, high: Vec3, around: Box2) -> Drawn:
    """Return what is drawn of a piece: all of it, or no more than shows how it goes on."""
    box = [low[0], low[1], high[0], high[1]]
    names = ("left", "below", "right", "above")
    broken = []
    for i, name in enumerate(names if piece.kind != "ground" else ()):
        sign = -1.0 if i < 2 else 1.0
        if sign * (box[i] - around[i]) > _BEYOND:
            box[i] = around[i] + sign * _KEPT
            broken.append(name)
    return Drawn(piece, (box[0], box[1], box[2], box[3]), high[2], tuple(broken))


def _window(around: Box2, drawn: Sequence[Drawn]) -> Box2:
    """Return the box of all that is drawn; of the ground only its top counts."""
    grounds = [d.box[3] for d in drawn if d.piece.kind == "ground"]
    boxes = [around, *((0.0, top, 0.0, top) for top in grounds), *(d.box for d in drawn if d.piece.kind != "ground")]
    x0, y0, x1, y1 = zip(*boxes, strict=True)
    return (min(0.0, *x0), min(0.0, *y0), max(0.0, *x1), max(0.0, *y1))


def _cut_lines(part: Part, features: Sequence[str], view: Frame) -> Floats:
    mesh = skin_of(part.finished).mesh
    owner = np.full(len(mesh.triangles), -1, dtype=np.int64)
    for number, name in enumerate(features):
        owner[np.isin(mesh.face, surfaces_of(part, name))] = number
    return border_lines(mesh, owner, view)


def _spot(part: Part, name: str, view: Frame) -> tuple[Vec3, float]:
    """Return where a feature is pointed at: a hole seen from the side at its wall, below its mouth."""
    spot, hole = spot_on(part, name, view), hole_of(part, name)
    if hole is None:
        return spot, 0.0
    x, y, z = (a - _DOWN * hole.length * b for a, b in zip(spot, view.local_direction(hole.axis), strict=True))
    return (x, y, z), 0.5 * hole.diameter


def outline(drawn: Drawn) -> Floats:
    """Return the four sides of a piece, (k, 2, 3), those where it goes on left out."""
    x0, y0, x1, y1 = drawn.box
    z = drawn.near
    sides = {
        "below": ((x0, y0, z), (x1, y0, z)),
        "right": ((x1, y0, z), (x1, y1, z)),
        "above": ((x1, y1, z), (x0, y1, z)),
        "left": ((x0, y1, z), (x0, y0, z)),
    }
    return np.array([ends for name, ends in sides.items() if name not in drawn.broken]).reshape(-1, 2, 3)


def hatched(drawn: Drawn, pitch: float, rising: bool) -> Floats:
    """Return lines at 45 degrees across a piece, (k, 2, 3), each `pitch` mm from the next along x."""
    x0, y0, x1, y1 = drawn.box
    tall = y1 - y0
    starts = np.arange(np.floor((x0 - tall) / pitch), np.ceil((x1 + tall) / pitch) + 1) * pitch
    lines = []
    for start in starts.tolist():
        a, b = max(start, x0), min(start + tall, x1)
        if b > a:
            low, high = (y0 + a - start, y0 + b - start) if rising else (y1 - (a - start), y1 - (b - start))
            lines.append(((a, low, drawn.near), (b, high, drawn.near)))
    return np.array(lines).reshape(-1, 2, 3)


def shown_and_behind(lines: Floats, seen: Seen, step: float) -> tuple[Floats, Floats]:
    """Return what shows of the work's own lines, and what shows but for the steel before it."""
    alone, _ = cut_to_sight(lines, seen.alone, step)
    return cut_to_sight(alone, seen.all, step)
