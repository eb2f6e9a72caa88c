"""A placement in words a machinist can act on: where to zero, what to shim, how far to turn the work.

Pieces as in `geom.rows.records.Words`: a float is a length in mm, which the sheet prints in its own unit. Seen from the
zero's own side: X right, Y away, Z up; "rear" is away. Knows nothing of how the place was found.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from geom.datum.zero import Zero
from geom.place.placement import Placement
from geom.place.sites import outline_of, sites_of
from geom.rays.analytic import Floats
from geom.rays.rays import skin_of
from geom.received.casting import AsReceived
from geom.received.faces import Wall
from geom.rows.records import About, Words
from geom.space import Frame, Vec3, add, dot, norm, scale, sub
from geom.stock.report import ENOUGH
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

SHIM: Final = 0.05
"""Shim stock comes in steps of this, mm (common practice, no source)."""

_SAME: Final = 0.0127
"""A margin or a move smaller than this, mm, is not worth a figure: half the last one of a report in inches, 0.001 in. What counts
as under a requirement is `stock.ENOUGH`, as in the table."""

_NO_TURN: Final = 0.01
"""A turn that shows less than this, mm, over 100 mm is not worth setting."""

_LONG: Final = 0.2
"""A side is long enough to dial in from this share of the casting's diagonal."""

_SQUARE: Final = 0.999
"""Cosine of what still counts as facing one way: draft of 2.5 degrees does."""


@dataclass(frozen=True, slots=True)
class Instructions:
    """What to do at the machine, in order.

    Attributes:
        summary: the verdict with its margin.
        zero, level, turn: where to zero; what to put under the seat; how far to turn the work. Empty where there is nothing to do.
    """

    summary: Words
    zero: tuple[Words, ...]
    level: tuple[Words, ...]
    turn: tuple[Words, ...]

    @property
    def lines(self) -> tuple[Words, ...]:
        """All of it, in order."""
        return (self.summary, *self.level, *self.turn, *self.zero)


def instructions(received: AsReceived, placement: Placement, zero: Zero) -> Instructions:
    """Return what to do so that the casting lies under the spindle as the placement wants it.

    Args:
        zero: of the job, as drawn.
    """
    return Instructions(
        summary_words(placement),
        zero_words(received, placement, zero),
        level_words(received, placement, zero),
        turn_words(received, placement, zero),
    )


def placed_zero(zero: Zero, placement: Placement) -> Zero:
    """Return the zero where the placed part has it, in the part frame of the drawn casting."""
    return replace(
        zero, frame=placement.pose.frame(zero.frame), why=f"{zero.why}; moved with the part to its place in the casting as received"
    )


def summary_words(placement: Placement) -> Words:
    """Return the verdict in one sentence: metal first, then what is asked of it."""
    if not placement.cleans_up:
        short = [f for f in placement.faces if f.state == "short" and math.isfinite(f.margin)]
        unseen = ", ".join(f.name for f in placement.faces if f.state == "short" and not math.isfinite(f.margin))
        if unseen and not short:
            return (f"not known to clean up: the scan shows nothing of {unseen}; scan it, or touch it in the frame of the scan",)
        named = ", ".join(f.name for f in short)
        rest: Words = (f"; and the scan shows nothing of {unseen}",) if unseen else ()
        deep = max(f.short_depth for f in short)
        if deep > 0:
            return ("short: ", f"{named}; at worst ", deep, " of metal is missing", *rest)
        return ("short: ", f"{named}; at worst ", -min(f.margin for f in short), " less than required", *rest)
    thin = placement.thinnest
    if thin.take_min <= 0:
        metal: Words = (f"cleans up with the bearing allowed: {thin.name} lacks up to ", thin.short_depth)
    else:
        metal = ("cleans up: ", thin.take_min, f" of metal at the thinnest, on {thin.name}")
    return (*metal, f"; metal is missing somewhere in {of_100(placement.odds.chance_missing)} such castings", *_asked(placement))


def of_100(share: float) -> str:
    """Return a chance as so many of 100; what is neither nothing nor certain is not printed as such."""
    if 0.0 < share < 0.01:
        return "under 1 of 100"
    return "over 99 of 100" if 0.99 < share < 1.0 else f"{round(100.0 * share)} of 100"


def _asked(placement: Placement) -> Words:
    """Return how the required stock fares."""
    margin = placement.least_margin
    worst = min((f for f in placement.faces if math.isfinite(f.margin)), key=lambda f: f.margin)
    what = "the allowance the grade asks for" if worst.source == "default" else "the stock required"
    if -ENOUGH <= margin < _SAME:
        return (f"; just {what}",)
    if margin > 0:
        return ("; ", margin, f" over {what}")
    under: Words = ("; ", -margin) if margin <= -_SAME else ("; less than ", _SAME)
    if worst.state == "thin":
        return (*under, f" under the allowance the grade asks for on {worst.name}: take a light cut and look")
    return (*under, f" under the stock required on {worst.name}, which the bearing allowed forgives")


# --- zero -----------------------------------------------------------------------


def zero_words(received: AsReceived, placement: Placement, zero: Zero) -> tuple[Words, ...]:
    """Return where to set the zero: from a round wall about it, else from the largest raw side each way."""
    frame = zero.frame
    goal = placement.pose.point(frame.origin)
    wall = _round_wall(received, frame)
    if wall is not None:
        number, picked = wall, _axis_as_received(received, wall, frame)
        x, y = _across(frame, sub(goal, picked))
        name = _wall_name(received, number)
        if max(abs(x), abs(y)) < _SAME:
            return ((f"set zero on {name}: it is where it should be",),)
        moves: Words = ()
        for letter, way in (("X", x), ("Y", y)):
            if abs(way) >= _SAME:
                moves = (*moves, ", " if moves else "", f"{letter} {_signed(way)}", way)
        return ((f"set zero on {name}, then move ", *moves, " and zero again"),)
    return tuple(w for w in (_from_side(received, frame.x, "X", goal), _from_side(received, frame.y, "Y", goal)) if w)


def _signed(value: float) -> str:
    """Return the plus sign that a length does not print by itself."""
    return "+" if value >= 0 else ""


def _across(frame: Frame, way: Vec3) -> tuple[float, float]:
    return dot(way, frame.x), dot(way, frame.y)


def _round_wall(received: AsReceived, frame: Frame) -> int | None:
    """Return the number of the round wall about the zero's axis: a boss before a core, the largest first."""
    found = []
    for number, wall in enumerate(received.model.walls.walls):
        if wall.form != "round":
            continue
        s = max((received.part.casting.surfaces[i] for i in wall.surfaces), key=lambda s: (s.area, -s.index))
        off = sub(s.origin, frame.origin)
        aside = norm(sub(off, scale(frame.z, dot(off, frame.z))))
        if abs(dot(s.axis, frame.z)) > 1.0 - SAME_DIRECTION and aside < SAME_AXIS:
            found.append((s.hollow, -round(s.radius, 6), number))
    return min(found)[2] if found else None


def _axis_as_received(received: AsReceived, number: int, frame: Frame) -> Vec3:
    """Return where a round wall's axis runs at the height of the zero, as received."""
    wall = received.model.walls.walls[number]
    if received.scan is None:
        a, b = received.mean[wall.first + 1 : wall.first + 3].tolist()
        return add(frame.origin, add(scale(wall.u, a), scale(wall.v, b)))
    _, ways, off = _scanned_wall(received, wall)
    if len(off) < 6:
        return frame.origin
    fit = np.stack([ways @ np.array(wall.u), ways @ np.array(wall.v), np.ones(len(off))], axis=1)
    a, b, _ = np.linalg.lstsq(fit, off, rcond=None)[0].tolist()
    return add(frame.origin, add(scale(wall.u, a), scale(wall.v, b)))


def _scanned_wall(received: AsReceived, wall: Wall) -> tuple[Floats, Floats, Floats]:
    """Return points of a wall as drawn, normals there and how far the scan lies outside."""
    assert received.scan is not None
    outline = outline_of(received.part)
    rows = np.isin(outline.surface, list(wall.surfaces))
    spots, ways = outline.points[rows], outline.normals[rows]
    if not len(spots):
        spots, ways = _mesh_points(received, wall)
    off = received.scan.over(spots, ways).distance
    seen = np.abs(off) < 8.0
    return spots[seen], ways[seen], off[seen]


def _mesh_points(received: AsReceived, wall: Wall) -> tuple[Floats, Floats]:
    mesh = skin_of(received.part.casting).mesh
    corners = mesh.vertices[mesh.triangles[np.isin(mesh.face, list(wall.surfaces))]]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    long = np.linalg.norm(cross, axis=1)
    good = long > 0
    return corners[good].mean(axis=1), cross[good] / long[good, None]


def _wall_name(received: AsReceived, number: int) -> str:
    """Return what the machinist calls a wall: a face's name, or which kind of skin it is."""
    names = received.faces[number].faces
    if names:
        return f"the raw skin of {names[0]}"
    wall = received.model.walls.walls[number]
    sites = sites_of(received.part)
    over = np.isin(sites.wall, list(wall.surfaces)) & ~sites.solid
    if over.any():
        area = np.bincount(sites.face[over], sites.samples.area[over])
        return f"the raw skin of {received.part.machined[int(np.argmax(np.round(area, 6)))].name}"
    for face in received.part.faces:
        if (
            face.state == "as cast"
            and face.kind in ("cylinder", "cone", "plane")
            and _same_wall(received, wall, face.centroid, face.axis)
        ):
            return f"{face.name}"
    surface = received.part.casting.surfaces[wall.surfaces[0]]
    if wall.form == "round":
        return "the cored hole" if surface.hollow else "the raw boss"
    return "the raw side"


def _same_wall(received: AsReceived, wall: Wall, centroid: Vec3, axis: Vec3) -> bool:
    surface = received.part.casting.surfaces[wall.surfaces[0]]
    return abs(dot(axis, surface.axis)) > 1.0 - SAME_DIRECTION and norm(sub(centroid, surface.centroid)) < SAME_AXIS


def _from_side(received: AsReceived, way: Vec3, letter: str, goal: Vec3) -> Words:
    """Return the zero along one axis as a distance from the largest raw side that faces it."""
    found = [
        (-round(sum(received.part.casting.surfaces[i].area for i in wall.surfaces), 3), number)
        for number, wall in enumerate(received.model.walls.walls)
        if wall.form == "plane" and abs(dot(_normal(received, wall), way)) > _SQUARE
    ]
    if not found:
        return (f"{letter} 0 lies ", dot(goal, way), " along that axis from the drawing's origin; no raw side faces it")
    number = min(found)[1]
    wall = received.model.walls.walls[number]
    side = 1.0 if dot(_normal(received, wall), way) > 0 else -1.0
    lies = _plane_at(received, wall, goal)
    gap = abs(dot(sub(lies, goal), way))
    hand = "left of it" if side > 0 else "right of it"
    if letter == "Y":
        hand = "in front of it" if side > 0 else "behind it"
    return (f"touch {_wall_name(received, number)} level with the zero and set {letter} 0 ", gap, f" {hand}")


def _normal(received: AsReceived, wall: Wall) -> Vec3:
    return received.part.casting.surfaces[wall.surfaces[0]].axis


def _plane_at(received: AsReceived, wall: Wall, near: Vec3) -> Vec3:
    """Return the foot of a point on a flat wall as received."""
    normal = _normal(received, wall)
    foot = sub(near, scale(normal, dot(sub(near, wall.centroid), normal)))
    off = _offsets(received, wall, np.array([foot]))[0]
    return add(foot, scale(normal, float(off)))


def _offsets(received: AsReceived, wall: Wall, points: Floats) -> Floats:
    """Return how far a flat wall lies outside its drawn place at points on it (n,), hollows left out."""
    if received.scan is None:
        mean = received.mean[: len(received.model.walls.prior)]
        ways = np.tile(np.array(_normal(received, wall)), (len(points), 1))
        which = np.full(len(points), wall.surfaces[0], dtype=np.int64)
        return np.asarray(received.model.walls.rows(points, ways, which) @ mean)
    spots, _, off = _scanned_wall(received, wall)
    if len(off) < 3:
        return np.zeros(len(points))
    middle = spots.mean(axis=0)
    flat = np.stack([(spots - middle) @ np.array(wall.u), (spots - middle) @ np.array(wall.v), np.ones(len(off))], axis=1)
    a, b, c = np.linalg.lstsq(flat, off, rcond=1e-6)[0].tolist()
    away = points - middle
    return np.asarray(away @ np.array(wall.u) * a + away @ np.array(wall.v) * b + c)


# --- level ----------------------------------------------------------------------


def level_words(received: AsReceived, placement: Placement, zero: Zero) -> tuple[Words, ...]:
    """Return the shims under the raw face the work sits on, so that it lies as the placement wants it."""
    frame = zero.frame
    seat = _seat(received, frame)
    if seat is None:
        return ()
    corners, wide, deep = _corners(received, seat, frame)
    lifts = _lifts(received, placement, seat, corners, frame)
    shims = SHIM * np.round(lifts / SHIM)
    rest = float(np.abs(lifts - shims).max())
    long = max(wide, deep)
    name = _wall_name(received, received.model.walls.walls.index(seat))
    level: Words = (f": {name} is then level within ", math.ceil(max(rest, 1e-9) / 0.01) * 0.01, " over ", About(long))
    if not (shims > 0).any():
        within = math.ceil(max(float(lifts.max()), 1e-9) / 0.01) * 0.01
        return ((f"no shims: {name} sits level within ", within, " over ", About(long)),)
    return ((*_shim_words(shims), *level),)


def _seat(received: AsReceived, frame: Frame) -> Wall | None:
    """Return the flat wall that faces down, the lowest of those of some size."""
    down = [w for w in received.model.walls.walls if w.form == "plane" and dot(_normal(received, w), frame.z) < -_SQUARE]
    if not down:
        return None
    area = {w.first: sum(received.part.casting.surfaces[i].area for i in w.surfaces) for w in down}
    large = [w for w in down if area[w.first] >= 0.2 * max(area.values())]
    return min(large, key=lambda w: (round(dot(w.centroid, frame.z), 3), w.first))


_CORNERS: Final = ("front left", "front right", "rear left", "rear right")


def _corners(received: AsReceived, seat: Wall, frame: Frame) -> tuple[Floats, float, float]:
    """Return the seat's corners (4, 3) in the order of `_CORNERS`, its width and its depth."""
    mesh = skin_of(received.part.casting).mesh
    local = frame.local_points(mesh.vertices[np.unique(mesh.triangles[np.isin(mesh.face, list(seat.surfaces))])])
    (x0, y0, z0), (x1, y1, _) = local.min(axis=0), local.max(axis=0)
    places = np.array([[x0, y0, z0], [x1, y0, z0], [x0, y1, z0], [x1, y1, z0]])
    return frame.part_points(places), float(x1 - x0), float(y1 - y0)


def _lifts(received: AsReceived, placement: Placement, seat: Wall, corners: Floats, frame: Frame) -> Floats:
    """Return how far each corner has to stand over the lowest one, mm."""
    raw = corners + _offsets(received, seat, corners)[:, None] * np.array(_normal(received, seat))
    height = placement.pose.inverse().points(raw) @ np.array(frame.z)
    return np.asarray(height - height.min())


def _shim_words(shims: Floats) -> Words:
    front_left, front_right, rear_left, rear_right = shims.tolist()
    for side, (a, b), others in (
        ("left", (front_left, rear_left), (front_right, rear_right)),
        ("right", (front_right, rear_right), (front_left, rear_left)),
        ("front", (front_left, front_right), (rear_left, rear_right)),
        ("rear", (rear_left, rear_right), (front_left, front_right)),
    ):
        if a == b > 0 and max(others) == 0:
            return ("shim ", a, f" under the {side} side")
    words: list[str | float] = []
    for i in np.argsort(-shims, kind="stable").tolist():
        if shims[i] > 0:
            words += ["shim " if not words else ", ", float(shims[i]), f" under the {_CORNERS[i]} corner"]
    return tuple(words)


# --- turn -----------------------------------------------------------------------


def turn_words(received: AsReceived, placement: Placement, zero: Zero) -> tuple[Words, ...]:
    """Return how far to turn the work about the spindle's axis from where its longest raw side is dialled in."""
    frame = zero.frame
    least = _LONG * received.part.casting.size
    sides = [
        w
        for w in received.model.walls.walls
        if w.form == "plane" and _stands(_normal(received, w), frame) and 2.0 * max(w.reach) > least
    ]
    if not sides:
        turn = dot(placement.turn, frame.z)
        return () if abs(math.radians(turn)) * 100.0 < _NO_TURN else (_turn(turn, ""),)
    side = max(sides, key=lambda w: (round(sum(received.part.casting.surfaces[i].area for i in w.surfaces), 3), -w.first))
    name = _wall_name(received, received.model.walls.walls.index(side))
    angle = _lean(received, placement, side, frame)
    if abs(math.radians(angle)) * 100.0 < _NO_TURN:
        return ((f"dial in {name}: no further turn",),)
    return (_turn(angle, f"dial in {name}, then "),)


def _stands(normal: Vec3, frame: Frame) -> bool:
    return max(abs(dot(normal, frame.x)), abs(dot(normal, frame.y))) > _SQUARE


def _turn(angle: float, first: str) -> Words:
    way = "anticlockwise" if angle > 0 else "clockwise"
    over = 100.0 * math.tan(math.radians(abs(angle)))
    return (
        f"{first}turn the work {abs(angle):.2f} degrees {way} seen from above: ",
        over,
        " over ",
        About(100.0),
        " of that side" if first else "",
    )


def _lean(received: AsReceived, placement: Placement, side: Wall, frame: Frame) -> float:
    """Return the angle, degrees, by which the dialled-in side has to be turned on, anticlockwise from above."""
    normal = np.array(_normal(received, side))
    along = np.cross(np.array(frame.z), normal)
    along /= np.linalg.norm(along)
    ends = np.array(side.centroid) + np.outer([-50.0, 50.0], along)
    slope = float(np.diff(_offsets(received, side, ends))[0]) / 100.0
    seen = placement.pose.inverse().directions((along + slope * normal)[None])[0]
    aside = np.cross(np.array(frame.z), along)
    return math.degrees(math.atan2(float(seen @ aside), float(seen @ along)))
