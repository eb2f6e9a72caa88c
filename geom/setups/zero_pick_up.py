"""How a set-up finds the job's zero again: what is swept, touched or gauged.

A machined bore is swept, a rough one or a boss touched four times, pairs of
sides twice; heights come from a machined seat, else from a touch. Lengths mm,
set-up frame. Knows nothing of rows or finders.
"""

from collections.abc import Iterator
from typing import Final, Literal

import numpy as np

from geom.directions import same_way
from geom.model.part import PartFace, PartHole
from geom.rays.analytic import Bools, Floats
from geom.rows.plan import PickUp
from geom.rows.records import Box, Words
from geom.setups.held import Held
from geom.setups.strap_spots import open_width
from geom.setups.work import Sight, Work
from geom.space import Vec3, cross, dot, norm, scale
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

_FINDER: Final = 5.0
"""mm: radius of a common edge finder (common practice, no source)."""

_DOWN: Final = 5.0
"""mm below a mouth or an edge at which a finder touches (common practice, no source)."""


def own_feature(work: Work) -> str | None:
    """Return the bore, hole or boss whose axis is the zero, or None."""
    return work.known("own feature", lambda: _own_feature(work))


def _own_feature(work: Work) -> str | None:
    for name in work.zero.features:
        if any(h.name == name for h in work.part.holes):
            return name
        if any(f.name == name and f.kind in ("cylinder", "cone") for f in work.part.faces):
            return name
    return None


def from_zeros_own(work: Work, held: Held, done: frozenset[str], made: frozenset[str]) -> bool:
    """Tell whether a set-up works from the zero's own features: it makes the bore itself, or finds it machined.

    Without a bore, from the faces that the zero is named from, all machined by then.
    """
    own = own_feature(work)
    if own is None:
        named = [n for n in work.zero.features if n != _level_name(work)]
        return bool(named) and all(n in done or n in made for n in named)
    if own in made:
        return True
    return own in done and own not in held.hides and _upright(work, own, held.frame.z)


def zero_is_machined(work: Work, done: frozenset[str], made: frozenset[str]) -> bool:
    """Tell whether the faces or the bore that the zero is named from are machined by then, or made here."""
    own = own_feature(work)
    names = [own] if own else [n for n in work.zero.features if n != _level_name(work)]
    faces = {f.name: f for f in work.part.faces}
    return all(n in done or n in made or (n in faces and faces[n].state == "as cast") for n in names)


def _level_name(work: Work) -> str | None:
    """Return the face that is Z 0, the last of the zero's features."""
    last = work.zero.features[-1] if work.zero.features else None
    face = next((f for f in work.part.faces if f.name == last), None)
    return last if face is not None and face.normal is not None and same_way(face.normal, work.zero.frame.z) else None


def _upright(work: Work, name: str, up: Vec3) -> bool:
    return norm(cross(_axis(work, name), up)) < SAME_DIRECTION


def _axis(work: Work, name: str) -> Vec3:
    hole = next((h for h in work.part.holes if h.name == name), None)
    return hole.axis if hole else next(f for f in work.part.faces if f.name == name).axis


def pick_ups(work: Work, held: Held, done: frozenset[str]) -> tuple[tuple[PickUp, ...], tuple[Words, ...]]:
    """Return how the set-up finds X, Y and Z, and what to know about it."""
    flat, said = _flat(work, held, done)
    return (*flat, _height(work, held, done)), said


# --- X and Y ----------------------------------------------------------------


def _flat(work: Work, held: Held, done: frozenset[str]) -> tuple[tuple[PickUp, ...], tuple[Words, ...]]:
    own = own_feature(work)
    if own is None:
        return tuple(_sides(work, held, done)), ()
    if _upright(work, own, held.frame.z):
        return _on_axis(work, held, done, own)
    if own not in done and any(hole.name == own for hole in work.part.holes):
        return tuple(_sides(work, held, done)), ((f"{own} lies down here and is not bored yet: no plug goes in it",),)
    return _lying(work, held, done, own)


def _on_axis(work: Work, held: Held, done: frozenset[str], own: str) -> tuple[tuple[PickUp, ...], tuple[Words, ...]]:
    hole = next((h for h in work.part.holes if h.name == own), None)
    hidden = own in held.hides
    if own in done and not hidden:
        return (PickUp("xy", "sweep", (own,), True, _touch_height(work, held, own)),), ()
    if hole is not None and open_width(work, hole, done) > 0 and not hidden:
        said: Words = (f"{own} is still the core's: zero is only as sure as the skin; what is cut here must be cut from this zero",)
        return (PickUp("xy", "bore", (own,), False, _touch_height(work, held, own)),), (said,)
    boss = _boss(work, own)
    if boss is not None:
        machined = work.is_machined(boss, done)
        return (PickUp("xy", "boss", (boss.name,), machined, _boss_height(work, held, boss, done)),), ()
    return tuple(_sides(work, held, done)), ()


def _boss(work: Work, own: str) -> PartFace | None:
    """Return the largest outside round about the zero's axis."""
    axis = _axis(work, own)
    outside = [f for f in work.part.faces if f.kind in ("cylinder", "cone") and not f.hollow]
    rounds = [f for f in outside if norm(cross(f.axis, axis)) < SAME_DIRECTION and _offset(work, f, axis) < SAME_AXIS]
    return max(rounds, key=lambda f: (round(f.area, 1), f.name), default=None)


def _offset(work: Work, face: PartFace, axis: Vec3) -> float:
    away = tuple(a - b for a, b in zip(face.origin, work.zero.frame.origin, strict=True))
    return norm(cross(away, axis))  # type: ignore[arg-type]


def _touch_height(work: Work, held: Held, own: str) -> float:
    """Return a height just inside a bore's mouth."""
    hole: PartHole | None = next((h for h in work.part.holes if h.name == own), None)
    if hole is None:
        face = next(f for f in work.part.faces if f.name == own)
        return held.frame.local(face.centroid)[2]
    z = held.frame.local(hole.centre)[2]
    if dot(hole.axis, held.frame.z) < 0:
        z += hole.length
    steps = max((s.end for s in hole.steps if s.start_diameter > hole.diameter + 0.5), default=0.0)
    top = z - (steps if dot(hole.axis, held.frame.z) > 0 else 0.0)
    return round(top - min(_DOWN, hole.length / 3.0), 3)


def _boss_height(work: Work, held: Held, boss: PartFace, done: frozenset[str]) -> float:
    """Return a height at which a boss shows above jaws, the same for all four touches."""
    side = held.frame.y
    sight = work.seen(side, done)
    mine = held.frame.local_points(sight.points[sight.face == work.number[boss.name]])
    floor = _jaw_top(held)
    free = mine[mine[:, 2] > floor + 1.0, 2] if len(mine) else mine
    return round(float(np.median(free)), 1) if len(free) else round(held.frame.local(boss.centroid)[2], 1)


def _jaw_top(held: Held) -> float:
    return max((b.high[2] for b in held.hold.boxes if "jaw" in b.name), default=-np.inf)


def _lying(work: Work, held: Held, done: frozenset[str], own: str) -> tuple[tuple[PickUp, ...], tuple[Words, ...]]:
    """Return X or Y from a bore that lies down: from a plug in it; the other from its end face."""
    along_x = abs(dot(_axis(work, own), held.frame.x)) > 0.7
    across, lengthwise = ("y", "x") if along_x else ("x", "y")
    plug = PickUp(across, "middle", (own,), own in done)  # type: ignore[arg-type]
    said: Words = (f"{own} lies down here: put a close plug in it; {across.upper()} 0 is midway between the plug's sides, "
                   "and the zero's height is its top less half its diameter",)  # fmt: skip
    ends = _end_faces(work, held.frame.x if along_x else held.frame.y, done)
    return ((plug, PickUp(lengthwise, "edge", (ends[0].name,), work.is_machined(ends[0], done))) if ends else (plug,)), (said,)  # type: ignore[arg-type]


def _planes(work: Work) -> list[PartFace]:
    return [f for f in work.part.faces if f.kind == "plane" and f.hole is None and f.normal is not None]


def _end_faces(work: Work, way: Vec3, done: frozenset[str]) -> list[PartFace]:
    """Return the planes square to a direction that an edge finder gets at, the zero's own first, machined before rough."""
    level = _level_name(work)
    found = [f for f in _planes(work) if abs(dot(f.axis, way)) > 1 - SAME_DIRECTION**2]
    return sorted(found, key=lambda f: (f.name != level, not work.is_machined(f, done), -round(f.area, 1), f.name))


def _sides(work: Work, held: Held, done: frozenset[str]) -> Iterator[PickUp]:
    """Yield X and Y from upright faces: those the zero is named from, else the outermost pair."""
    for axis, way in (("x", held.frame.x), ("y", held.frame.y)):
        named = [f for f in _end_faces(work, way, done) if f.name in work.zero.features and _is_free(work, held, f, done)]
        faces = named or _outermost(work, held, way, done)
        if not faces:
            continue
        if len(faces) > 1 and sum(work.is_machined(f, done) for f in faces) == 1:
            faces = [f for f in faces if work.is_machined(f, done)]
        machined = all(work.is_machined(f, done) for f in faces)
        how: Literal["middle", "edge"] = "middle" if len(faces) == 2 else "edge"
        yield PickUp(axis, how, tuple(f.name for f in faces[:2]), machined, _free_height(work, held, way, done))  # type: ignore[arg-type]


def _outermost(work: Work, held: Held, way: Vec3, done: frozenset[str]) -> list[PartFace]:
    """Return the faces that stand out furthest both ways along a direction, above the jaws or beside them."""
    sights = [work.seen(side, done) for side in (way, scale(way, -1.0))]
    found = [_furthest(work, held, sight) for sight in sights]
    return [work.part.faces[number] for number in found if number is not None]


def _furthest(work: Work, held: Held, sight: Sight) -> int | None:
    """Return the number of the face that stands out furthest where a finder gets at it."""

    def found() -> int | None:
        rows = np.flatnonzero(_above_or_beside(held, held.frame.local_points(sight.points)) & (sight.face >= 0))
        return int(sight.face[rows[np.argmax(np.round(sight.out[rows], 4))]]) if rows.size else None

    return work.known(("furthest", sight, held.frame, _jaws(held)), found)


def _is_free(work: Work, held: Held, face: PartFace, done: frozenset[str]) -> bool:
    """Tell whether some of a face stands where a finder may get at it: clear of the jaws, with no metal over the finder."""
    sight, above = work.seen(face.axis, done), work.seen(held.frame.z, done)
    key = ("free", sight, above, held.frame, face.name, _jaws(held))
    return work.known(key, lambda: _stands_free(work, held, face, sight, above))


def _jaws(held: Held) -> tuple[Box, ...]:
    return tuple(box for box in held.hold.boxes if "jaw" in box.name)


def _stands_free(work: Work, held: Held, face: PartFace, sight: Sight, above: Sight) -> bool:
    mine = held.frame.local_points(sight.points[sight.face == work.number[face.name]])
    mine = mine[_above_or_beside(held, mine)]
    over = held.frame.local_points(above.points)
    out = _FINDER * np.array(held.frame.local_direction(face.axis))
    return any(not _is_under(point + out, over) for point in mine)


def _is_under(point: Floats, over: Floats) -> bool:
    """Tell whether metal as seen from above stands over a finder at a point."""
    near = np.hypot(over[:, 0] - point[0], over[:, 1] - point[1]) < _FINDER
    return bool((over[near, 2] > point[2] + _FINDER).any())


def _above_or_beside(held: Held, local: Floats) -> Bools:
    """Return which points, set-up frame, a finder may get at: those above the jaws, and at an end that stands out beside them."""
    jaws = _jaws(held)
    low, high = max((b.low[0] for b in jaws), default=np.inf), min((b.high[0] for b in jaws), default=-np.inf)
    beside = (local[:, 0] < low) | (local[:, 0] > high)
    return np.asarray((local[:, 2] > _jaw_top(held)) | (bool(jaws) & beside))


def _free_height(work: Work, held: Held, way: Vec3, done: frozenset[str]) -> float | None:
    z = held.frame.local_points(work.seen(way, done).points)[:, 2]
    free = z[z > _jaw_top(held)]
    return round(float(0.5 * (free.min() + free.max())), 1) if free.size else None


# --- Z ----------------------------------------------------------------------


def _height(work: Work, held: Held, done: frozenset[str]) -> PickUp:
    """Return how Z is found: from the height of a machined seat, else by a touch on a level face.

    A level machined face first, then one that stays as cast, since that ties the cut to the skin, then the one to be cut.
    """
    own = own_feature(work)
    if held.hold.method == "angle plate" and own is not None and own in done:
        return PickUp("z", "height", (own,), True)
    if "seat" in held.hold.machined:
        return PickUp("z", "height", (held.hold.seat,), True)
    up = held.frame.z
    level = [f for f in _planes(work) if same_way(f.axis, up) and _shows(work, f, up, done)]
    named = _level_name(work)
    rank = sorted(
        level, key=lambda f: (not work.is_machined(f, done), f.state != "as cast", f.name != named, -round(f.area, 1), f.name)
    )
    if not rank:
        return PickUp("z", "height", (held.hold.seat,), False)
    return PickUp("z", "height", (rank[0].name,), work.is_machined(rank[0], done))


def _shows(work: Work, face: PartFace, up: Vec3, done: frozenset[str]) -> bool:
    return bool((work.seen(up, done).face == work.number[face.name]).sum() >= 4)
