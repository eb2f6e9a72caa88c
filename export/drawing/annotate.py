"""Signs on machined faces and tags on holes, put where no ink is.

Everything is on paper with the view's zero at (0, 0), mm. A face or hole for
which a view has no free place is handed back, so that another view, or a note,
can speak of it. Knows nothing of dimensions.
"""

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from export.drawing.centres import is_along_sight
from export.drawing.clutter import Clutter
from export.drawing.marks import machining_sign, machining_sign_box
from export.drawing.view import View, flat
from export.files.lettering import text_width
from export.files.sheet2d import TEXT, Item, Label, Leader, Stroke, label_box
from geom.flat.curve2d import Box2, Line, Vec2
from geom.flat.overlap2d import SAME_CURVE
from geom.model.part import PartFace, PartHole
from geom.space import dot

_SPOTS: Final = (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9)
"""Where along a face's edge a sign is tried."""

_LEADER_LENGTHS: Final = (6.0, 9.0, 12.0, 16.0, 20.0, 25.0, 30.0, 36.0, 42.0)
_LEADER_TILTS: Final = (30.0, -30.0, 0.0, 55.0, -55.0)
_LANDING_LEAD: Final = 2.0
"""Length of a landing before the sign on it begins, mm."""

_TAG_GAPS: Final = (0.8, 2.0, 3.5, 6.0, 9.0, 13.0, 18.0, 24.0, 30.0, 38.0, 48.0, 60.0)
_TAG_ANGLES: Final = (45.0, 135.0, 315.0, 225.0, 20.0, 160.0, 340.0, 200.0, 70.0, 110.0, 290.0, 250.0)
_SHORT_GAP: Final = 3.5
"""A tag nearer to its hole than this needs no leader."""


@dataclass(frozen=True, slots=True)
class SignedFace:
    """A machined face and the allowance printed at its sign."""

    face: PartFace
    allowance: str


@dataclass(frozen=True, slots=True)
class TaggedHole:
    """A hole and its tag in the hole table."""

    hole: PartHole
    tag: str


# --- machined faces ---------------------------------------------------------


def place_signs(faces: Sequence[SignedFace], view: View, scale: float, clutter: Clutter) -> tuple[list[Item], list[SignedFace]]:
    """Return the signs a view can carry and the faces it cannot show or has no room for."""
    items: list[Item] = []
    left: list[SignedFace] = []
    done: dict[tuple[str, float], bool] = {}
    for signed in faces:
        target = _target(signed.face, view)
        if target is None:
            left.append(signed)
            continue
        if target.key not in done:
            placed = _sign(target, signed.allowance, scale, clutter)
            done[target.key] = placed is not None
            items.extend(placed or ())
            clutter.add(placed or ())
        if not done[target.key]:
            left.append(signed)
    return items, left


@dataclass(frozen=True, slots=True)
class _Target:
    """Points a sign may touch, best first, true mm; the way out of the metal; what makes two signs one."""

    points: tuple[Vec2, ...]
    out: Vec2
    key: tuple[str, float]


def _target(face: PartFace, view: View) -> _Target | None:
    if face.kind == "plane" and face.normal is not None:
        return _edge_target(face, view)
    if face.kind == "cylinder" and is_along_sight(face.axis, view):
        return _circle_target(face, view)
    return None


def _edge_target(face: PartFace, view: View) -> _Target | None:
    """Return where a plane face shows as a line, with its metal on one side."""
    assert face.normal is not None
    out = (dot(face.normal, view.frame.x), dot(face.normal, view.frame.y))
    i = 0 if abs(out[0]) > 0.999999 else 1 if abs(out[1]) > 0.999999 else None
    if i is None:
        return None
    place = flat(face.centroid, view.frame)[i]
    lines = [c for c in view.phantom if isinstance(c, Line) and all(abs(p[i] - place) < 3 * SAME_CURVE for p in (c.start, c.end))]
    if not lines:
        return None
    longest = max(lines, key=lambda c: (round(math.dist(c.start, c.end), 3), c.start))
    a, b = longest.start, longest.end
    points = tuple((a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t) for t in _SPOTS)
    way = "right" if out[0] > 0.5 else "left" if out[0] < -0.5 else "up" if out[1] > 0.5 else "down"
    return _Target(points, (round(out[0]) + 0.0, round(out[1]) + 0.0), (way, round(place, 2)))


def _circle_target(face: PartFace, view: View) -> _Target:
    x, y = flat(face.origin, view.frame)
    turns = [math.radians(a) for a in (45.0, 135.0, 315.0, 225.0)]
    points = tuple((x + face.radius * math.cos(t), y + face.radius * math.sin(t)) for t in turns)
    return _Target(points, (0.0, 0.0), (f"round {x:.2f} {y:.2f}", round(face.radius, 2)))


def _sign(target: _Target, allowance: str, scale: float, clutter: Clutter) -> tuple[Item, ...] | None:
    for point in ((x * scale, y * scale) for x, y in target.points):
        if target.out in ((0.0, 1.0), (-1.0, 0.0)):
            upright = target.out == (0.0, 1.0)
            if clutter.is_free(machining_sign_box(point, upright, allowance), 0.3):
                return machining_sign(point, upright, allowance)
    for length in _LEADER_LENGTHS:
        for point in ((x * scale, y * scale) for x, y in target.points):
            for elbow, rightwards in _elbows(point, target, length, scale):
                placed = _on_landing(point, elbow, rightwards, allowance, clutter)
                if placed is not None:
                    return placed
    return None


def _elbows(point: Vec2, target: _Target, length: float, scale: float) -> Iterator[tuple[Vec2, bool]]:
    """Return where a leader may bend, and whether its landing runs to the right."""
    out = target.out
    if out == (0.0, 0.0):
        middle = (
            sum(p[0] for p in target.points) / len(target.points) * scale,
            sum(p[1] for p in target.points) / len(target.points) * scale,
        )
        size = math.dist(point, middle)
        out = ((point[0] - middle[0]) / size, (point[1] - middle[1]) / size)
    for tilt in _LEADER_TILTS:
        c, s = math.cos(math.radians(tilt)), math.sin(math.radians(tilt))
        way = (out[0] * c - out[1] * s, out[0] * s + out[1] * c)
        elbow = (point[0] + way[0] * length, point[1] + way[1] * length)
        yield elbow, way[0] >= -1e-9


def _on_landing(point: Vec2, elbow: Vec2, rightwards: bool, allowance: str, clutter: Clutter) -> tuple[Item, ...] | None:
    box = machining_sign_box((0.0, 0.0), True, allowance)
    width = box[2] - box[0] + _LANDING_LEAD
    end = (elbow[0] + (width if rightwards else -width), elbow[1])
    tip = (min(elbow[0], end[0]) - box[0] + (_LANDING_LEAD if rightwards else 0.0), elbow[1])
    ground: Box2 = (min(elbow[0], end[0]), elbow[1] - 0.6, max(elbow[0], end[0]), elbow[1])
    sign = machining_sign_box(tip, True, allowance)
    own_line = Clutter([Stroke("dimension", Line(point, elbow))])
    if own_line.is_free(sign, 0.2) and _is_clear(clutter, sign, ground, point, elbow):
        return (Leader((point, elbow, end)), *machining_sign(tip, True, allowance))
    return None


def _is_clear(clutter: Clutter, sign: Box2, ground: Box2, point: Vec2, elbow: Vec2) -> bool:
    return clutter.is_free(sign) and clutter.is_free(ground, 0.3) and not clutter.crosses_text([Line(point, elbow)])


# --- holes ------------------------------------------------------------------


def place_tags(holes: Sequence[TaggedHole], view: View, scale: float, clutter: Clutter) -> tuple[list[Item], list[TaggedHole]]:
    """Return the tags of the holes a view looks along, and the holes it does not."""
    items: list[Item] = []
    left: list[TaggedHole] = []
    for tagged in holes:
        if is_along_sight(tagged.hole.axis, view):
            placed = _tag(tagged, view, scale, clutter)
            items.extend(placed)
            clutter.add(placed)
        else:
            left.append(tagged)
    return items, left


def _tag(tagged: TaggedHole, view: View, scale: float, clutter: Clutter) -> tuple[Item, ...]:
    """Return a hole's tag at the nearest free place; the furthest one where none is free, for every hole needs its tag."""
    x, y = flat(tagged.hole.centre, view.frame)
    centre, radius = (x * scale, y * scale), greatest_diameter(tagged.hole) * scale / 2
    places = [_tag_at(tagged.tag, centre, radius, gap, math.radians(angle)) for gap in _TAG_GAPS for angle in _TAG_ANGLES]
    return next((p for p in places if _is_clear_tag(p, clutter)), places[-1])


def _is_clear_tag(placed: tuple[Item, ...], clutter: Clutter) -> bool:
    runs = [p.curve for p in placed if isinstance(p, Stroke) and isinstance(p.curve, Line)]
    clear = all(clutter.is_free(label_box(p), 0.6) for p in placed if isinstance(p, Label))
    return clear and not (runs and clutter.crosses_text(runs))


def greatest_diameter(hole: PartHole) -> float:
    """Return the diameter of a hole's widest part, mm."""
    steps = [max(s.start_diameter, s.end_diameter) for s in hole.steps]
    mouths = [m.diameter for m in (hole.counterbore, hole.countersink) if m is not None]
    return max([hole.diameter, *steps, *mouths])


def _tag_at(tag: str, centre: Vec2, radius: float, gap: float, turn: float) -> tuple[Item, ...]:
    c, s = math.cos(turn), math.sin(turn)
    width = text_width(tag, TEXT)
    near = (centre[0] + (radius + gap) * c, centre[1] + (radius + gap) * s)
    left = near[0] if c > 0.5 else near[0] - width if c < -0.5 else near[0] - width / 2
    base = near[1] if s > 0.5 else near[1] - TEXT if s < -0.5 else near[1] - TEXT / 2
    label = Label(tag, (left, base), TEXT, "left", 0.0, "dimension")
    if gap <= _SHORT_GAP:
        return (label,)
    edge = (centre[0] + radius * c, centre[1] + radius * s)
    short = (centre[0] + (radius + gap - 1.6) * c, centre[1] + (radius + gap - 1.6) * s)
    return (label, Stroke("dimension", Line(edge, short)))


def tagged(holes: Iterable[PartHole]) -> tuple[TaggedHole, ...]:
    """Return the holes with a tag each: a letter for one size and kind, a number in the order of their names."""
    groups: dict[tuple[object, ...], list[PartHole]] = {}
    for hole in holes:
        groups.setdefault(_same_size(hole), []).append(hole)
    out: list[TaggedHole] = []
    for number, group in enumerate(groups.values()):
        letter = _letter(number)
        named = sorted(group, key=lambda hole: _natural(hole.name))
        out.extend(TaggedHole(hole, letter if len(group) == 1 else f"{letter}{i}") for i, hole in enumerate(named, 1))
    return tuple(out)


def one_of_each(holes: Sequence[TaggedHole]) -> tuple[TaggedHole, ...]:
    """Return the first hole of each letter, tagged with the letter alone."""
    first: dict[str, TaggedHole] = {}
    for each in holes:
        letter = each.tag.rstrip("0123456789")
        first.setdefault(letter, TaggedHole(each.hole, letter))
    return tuple(first.values())


def _natural(name: str) -> tuple[tuple[int, str], ...]:
    """Return a key that sorts "hole 10" after "hole 9"."""
    return tuple((int(run), "") if run.isdigit() else (0, run) for run in re.split(r"(\d+)", name))


def _same_size(hole: PartHole) -> tuple[object, ...]:
    mouths = (hole.counterbore, hole.countersink)
    sizes = tuple(round(v, 2) for m in mouths if m is not None for v in (getattr(m, "diameter", 0.0), getattr(m, "depth", 0.0)))
    depth = None if hole.depth is None else round(hole.depth, 2)
    return (hole.kind, round(hole.diameter, 2), depth, hole.callout.text if hole.callout else "", hole.source, sizes)


def _letter(number: int) -> str:
    """Return A, B ... Z, AA, AB ... without I and O, which read as figures."""
    letters = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    return letters[number] if number < len(letters) else _letter(number // len(letters) - 1) + letters[number % len(letters)]
