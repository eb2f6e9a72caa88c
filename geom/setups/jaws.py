"""Where a vise's jaws bear on the work: which two faces, how wide apart, how high.

In a set-up frame with Y towards the fixed jaw; heights from the zero. Jaws touch
what stands out furthest within their height and width, whatever one would like
them to touch. Knows nothing of what is cut.
"""

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from geom.directions import same_way
from geom.model.part import PartFace
from geom.rays.analytic import Floats, Ints
from geom.setups.clamp_rules import DRAFT_LIMIT, lean_of
from geom.setups.work import Work
from geom.shop.records import Vise
from geom.space import Frame, Vec3, add, cross, dot, norm, scale, unit
from geom.tolerance import SAME_DIRECTION

_TOUCH: Final = 0.4
"""mm: what comes this near to what stands out furthest is touched too: soft metal gives, skins differ."""

_LEAST_LENGTH: Final = 15.0
"""mm along the jaws that a plane side must bear (common practice, no source)."""

_LEAST_SIDE: Final = 75.0
"""mm2: a plane smaller than the least length times the least grip is no side for a jaw."""

_ONE_LINE: Final = math.cos(math.radians(0.5))
"""Cosine within which two lines are one: drafted sides of a pair differ by less when seen from above."""

_MOST_WAYS: Final = 8
"""Ways to turn the work in the vise that are tried: the sides with most area, and the zero's own axes."""


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """What one jaw touches.

    Attributes:
        out: how far out it stands along its own direction, from the zero.
        lean: degrees its normal points down; 0 upright.
        area: touched, about.
        low, high: of the touch along X; bottom, top: its heights.
    """

    face: PartFace
    machined: bool
    out: float
    lean: float
    area: float
    low: float
    high: float
    bottom: float
    top: float

    @property
    def plane(self) -> bool:
        """Whether it is a plane; else a round between flats."""
        return self.face.kind == "plane"


def ways_round(work: Work, up: Vec3) -> list[Vec3]:
    """Return the horizontal lines to turn across the jaws, each once: the zero's Y and X, then those that most side area faces.

    A line counts when planes large enough for a jaw face both its ends.
    """
    frame = work.frame(up)
    kept: list[Vec3] = [frame.y, frame.x]
    areas = [[0.0, 0.0], [0.0, 0.0]]
    for face in work.part.faces:
        if face.normal is None or face.area < _LEAST_SIDE or abs(lean_of(dot(face.normal, up))) > DRAFT_LIMIT:
            continue
        way = unit(add(face.normal, scale(up, -dot(face.normal, up))))
        at = next((i for i, k in enumerate(kept) if abs(dot(k, way)) > _ONE_LINE), len(kept))
        if at == len(kept):
            kept.append(way)
            areas.append([0.0, 0.0])
        areas[at][dot(kept[at], way) > 0] += face.area
    paired = [i for i in range(2, len(kept)) if min(areas[i]) > 0]
    paired.sort(key=lambda i: (-round(sum(areas[i]), 1), _turn(frame, kept[i])))
    return [*kept[:2], *(kept[i] for i in paired[: _MOST_WAYS - 2])]


def _turn(frame: Frame, way: Vec3) -> float:
    d = frame.local_direction(way)
    return round(math.degrees(math.atan2(d[1], d[0])) % 180.0, 3) % 180.0


@dataclass(frozen=True, slots=True, eq=False)
class Flank:
    """All that shows of the work from one jaw.

    Attributes:
        side: the way it looks, part frame.
        local: (n, 3) in the set-up frame; out: (n,) how far out, skin counted.
        face: (n,) part face number.
    """

    side: Vec3
    local: Floats = field(repr=False)
    out: Floats = field(repr=False)
    face: Ints = field(repr=False)


def flank(work: Work, frame: Frame, away: float, done: frozenset[str]) -> Flank:
    """Return what shows of the work from the fixed jaw (+1) or the movable one (-1)."""
    side = scale(frame.y, away)
    sight = work.seen(side, done)
    return work.known(("flank", sight, frame, away), lambda: Flank(side, frame.local_points(sight.points), sight.out, sight.face))


def side_at(
    work: Work, frame: Frame, seen: Flank, done: frozenset[str], band: tuple[float, float], window: tuple[float, float]
) -> Side | None:
    """Return what a jaw touches.

    Args:
        band: lowest and highest height of the jaw.
        window: from where to where the jaws reach along X.

    Returns:
        None when nothing there can be held: a leaning, hollow or odd surface stands out furthest.
    """
    return work.known(("side", seen, band, window), lambda: _side_at(work, frame, seen, done, band, window))


def _side_at(
    work: Work, frame: Frame, seen: Flank, done: frozenset[str], band: tuple[float, float], window: tuple[float, float]
) -> Side | None:
    x, z = seen.local[:, 0], seen.local[:, 2]
    rows = np.flatnonzero((z >= band[0]) & (z <= band[1]) & (x >= window[0]) & (x <= window[1]))
    if not rows.size:
        return None
    lead = int(rows[np.argmax(np.round(seen.out[rows], 4))])
    number = int(seen.face[lead])
    face = work.part.faces[number] if number >= 0 else None
    if face is None or not _can_be_held(face, seen.side, frame.z):
        return None
    of_skin = face.kind == "plane" and face.state == "machined" and not work.is_machined(face, done)
    lean = _skin_lean(seen, rows[seen.face[rows] == number]) if of_skin else _lean(face, frame.z)
    slack = _TOUCH + (band[1] - band[0]) * math.tan(math.radians(abs(lean)))
    mine = rows[(seen.face[rows] == number) & (seen.out[rows] >= seen.out[lead] - slack)]
    half = 0.5 * work.step
    low, high, bottom, top = (float(v) for v in (x[mine].min(), x[mine].max(), z[mine].min(), z[mine].max()))
    if face.kind == "plane" and high - low + 2 * half < _LEAST_LENGTH:
        return None
    machined, area = work.is_machined(face, done), round(mine.size * work.step**2, 1)
    return Side(face, machined, float(seen.out[lead]), lean, area, low - half, high + half, bottom - half, top + half)


def _can_be_held(face: PartFace, side: Vec3, up: Vec3) -> bool:
    """Tell whether a jaw may bear on a face: a plane that looks its way, or an upright outside round or cone."""
    if face.kind == "plane":
        assert face.normal is not None
        flat_part = dot(face.normal, side)
        return flat_part > math.cos(math.radians(DRAFT_LIMIT + 0.5)) and abs(lean_of(dot(face.normal, up))) <= DRAFT_LIMIT
    if face.kind in ("cylinder", "cone"):
        return not face.hollow and norm(cross(face.axis, up)) < SAME_DIRECTION and abs(face.half_angle) <= DRAFT_LIMIT
    return False


def _lean(face: PartFace, up: Vec3) -> float:
    """Return how many degrees a face's outward normal points down."""
    if face.kind == "plane":
        assert face.normal is not None
        return lean_of(dot(face.normal, up))
    if face.kind == "cone":
        return face.half_angle if same_way(face.axis, up) else -face.half_angle
    return 0.0


def _skin_lean(seen: Flank, rows: Ints) -> float:
    """Return how many degrees the skin over a plane leans: the plane through its points, which draft tilts."""
    x, z = seen.local[rows, 0], seen.local[rows, 2]
    tilt = np.linalg.lstsq(np.column_stack([np.ones(len(rows)), x, z]), seen.out[rows], rcond=None)[0][2]
    return round(math.degrees(math.atan(float(tilt))), 3)


def opening(fixed: Side, clamp: Side, packing: float) -> float:
    """Return how far the jaws stand apart."""
    return fixed.out + clamp.out + packing


def jaw_window(vise: Vise, low: float, high: float, hangs_out: str) -> tuple[float, float]:
    """Return from where to where the jaws reach along X when the work is in their middle, or stands out at one end.

    Args:
        low, high: of the work along X.
        hangs_out: "left", "right" or "".
    """
    half = 0.5 * vise.jaw_width
    if hangs_out == "right":
        return high - OVERHANG - vise.jaw_width, high - OVERHANG
    if hangs_out == "left":
        return low + OVERHANG, low + OVERHANG + vise.jaw_width
    centre = 0.5 * (low + high)
    return centre - half, centre + half


OVERHANG: Final = 5.0
"""mm an end stands out beside the jaws so that a cutter runs along it (common practice, no source)."""
