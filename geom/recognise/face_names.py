"""Names that geometry alone decides.

Planes are named by the way they face: top (+z), bottom (-z), left (-x), right
(+x), front (-y), back (+y), slope (any other); the outermost first, then the
larger, then by place. Round outsides are "round", cones "cone", hollow
cylinders that are no hole "hollow", cores left as cast "core"; whatever else is
"skin" as cast and "form" when machined. The first of its kind has no number
when it is a plane ("top", "top 2"); the others count from 1 ("round 1"). Faces
of a hole carry the hole's name and what they are of it ("hole 3 seat").

The order of faces in a file, a round trip through one and a micrometre of noise
change nothing. Knows nothing of what a model declares.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from geom.kernel.shape import Surface
from geom.model.part import FaceState, PartFace, PartHole
from geom.ranking import in_order
from geom.recognise.face_groups import largest
from geom.recognise.walls import SAME_RADIUS
from geom.space import Vec3, along, cross, dot, norm
from geom.tolerance import SAME_DIRECTION

_SIDES: Final[dict[str, Vec3]] = {
    "top": (0.0, 0.0, 1.0),
    "bottom": (0.0, 0.0, -1.0),
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "front": (0.0, -1.0, 0.0),
    "back": (0.0, 1.0, 0.0),
}

_ALL_ROUND: Final = 270.0
"""Degrees from which a hollow form counts as all round."""


@dataclass(frozen=True, slots=True)
class Group:
    """The pieces of one face, before it has a name.

    Attributes:
        pieces: its surfaces, best first.
        state: as in `PartFace`.
        hole: the hole it belongs to, or None.
    """

    pieces: tuple[Surface, ...]
    state: FaceState
    hole: PartHole | None

    @property
    def best(self) -> Surface:
        """The piece that says what the face is."""
        return self.pieces[0]

    @property
    def area(self) -> float:
        """Of all pieces, mm2."""
        return sum(s.area for s in self.pieces)

    @property
    def centroid(self) -> Vec3:
        """Of all pieces, mm."""
        x, y, z = (sum(s.area * s.centroid[i] for s in self.pieces) / self.area for i in range(3))
        return (round(x, 9) + 0.0, round(y, 9) + 0.0, round(z, 9) + 0.0)


def group_of(pieces: Sequence[Surface], state: FaceState, hole: PartHole | None) -> Group:
    """Return the group of some surfaces, the one that says best what they are first."""
    best = largest(pieces)
    return Group((best, *(s for s in pieces if s is not best)), state, hole)


def named_faces(groups: Sequence[Group]) -> tuple[PartFace, ...]:
    """Return the faces with their names, in a stable order: outside faces first, then those of holes."""
    kinds: dict[str, list[Group]] = {}
    for group in groups:
        kinds.setdefault(_kind_name(group), []).append(group)
    found: list[PartFace] = []
    for kind in sorted(kinds, key=_kind_rank):
        for number, group in enumerate(in_order(kinds[kind], *_measures(kind)), 1):
            found.append(part_face(group, _numbered(kind, number, group)))
    return tuple(found)


def part_face(group: Group, name: str) -> PartFace:
    """Return the record of a face."""
    best = group.best
    return PartFace(
        name=name,
        kind=best.kind,
        state=group.state,
        surfaces=tuple(sorted(s.index for s in group.pieces)),
        normal=best.normal if best.kind == "plane" else None,
        origin=best.origin,
        axis=best.axis,
        radius=best.radius,
        half_angle=best.half_angle,
        hollow=best.hollow,
        centroid=group.centroid,
        area=group.area,
        hole=group.hole.name if group.hole else None,
    )


def _kind_name(group: Group) -> str:
    if group.hole is not None:
        return hole_face_name(group.best, group.hole)
    best = group.best
    match best.kind:
        case "plane":
            return next((name for name, way in _SIDES.items() if _faces(best.normal, way)), "slope")
        case "cylinder" | "cone" if best.hollow:
            return _hollow_name(group)
        case "cylinder":
            return "round"
        case "cone":
            return "cone"
    return "skin" if group.state == "as cast" else "form"


def _hollow_name(group: Group) -> str:
    all_round = sum(s.turn for s in group.pieces) >= _ALL_ROUND
    if all_round and group.state == "as cast":
        return "core"
    return "hollow" if group.best.kind == "cylinder" else "cone"


def _faces(normal: Vec3, way: Vec3) -> bool:
    return dot(normal, way) > 0 and norm(cross(normal, way)) <= SAME_DIRECTION


_KINDS: Final = (*_SIDES, "slope", "core", "hollow", "round", "cone", "form", "skin")


def _kind_rank(kind: str) -> tuple[int, str, int, str]:
    if kind in _KINDS:
        return _KINDS.index(kind), "", 0, kind
    words = kind.split()
    return len(_KINDS), words[0], int(words[1]) if len(words) > 1 and words[1].isdigit() else 0, kind


def _numbered(kind: str, number: int, group: Group) -> str:
    if kind in _SIDES or group.hole is not None:
        return kind if number == 1 else f"{kind} {number}"
    return f"{kind} {number}"


# --- order within a kind ----------------------------------------------------

_Measure = Callable[[Group], float]
_PLACE: Final[tuple[_Measure, ...]] = (
    lambda g: g.centroid[0],
    lambda g: g.centroid[1],
    lambda g: g.centroid[2],
)


def _measures(kind: str) -> tuple[_Measure, ...]:
    if kind in _SIDES:
        way = _SIDES[kind]
        return (lambda g: -dot(g.centroid, way), _area, *_PLACE)
    if kind in ("round", "hollow", "core"):
        return (_part_round, lambda g: -g.best.radius, _area, *_PLACE)
    return (_depth, _area, *_PLACE)


def _depth(group: Group) -> float:
    hole = group.hole
    return -along(group.centroid, hole.centre, hole.axis) if hole else 0.0


def _area(group: Group) -> float:
    return -group.area


def _part_round(group: Group) -> float:
    return 0.0 if sum(s.turn for s in group.pieces) >= _ALL_ROUND else 1.0


# --- faces of a hole --------------------------------------------------------


def hole_face_name(surface: Surface, hole: PartHole) -> str:
    """Return what a surface of a hole is called: the hole's own name for its narrowest wall."""
    what = _hole_part(surface, hole)
    return f"{hole.name} {what}" if what else hole.name


def _hole_part(surface: Surface, hole: PartHole) -> str:
    depth = -along(surface.centroid, hole.centre, hole.axis)
    match surface.kind:
        case "cylinder" if hole.pilot is None and abs(2 * surface.radius - hole.diameter) <= 2 * SAME_RADIUS:
            return ""
        case "cylinder":
            return "counterbore" if hole.kind == "counterbored" else "step"
        case "cone":
            return _cone_part(hole, depth)
        case "plane":
            blind_end = hole.depth is not None and depth >= hole.depth - SAME_RADIUS
            return "floor" if blind_end else "seat"
        case "sphere":
            return "end"
    return "edge"


def _cone_part(hole: PartHole, depth: float) -> str:
    if hole.depth is not None and depth > hole.depth:
        return "point"
    first = hole.steps[0]
    if first.start_diameter > first.end_diameter and depth <= first.end:
        return "" if len(hole.steps) == 1 else "countersink"
    return "" if not any(abs(s.start_diameter - s.end_diameter) <= 2 * SAME_RADIUS for s in hole.steps) else "cone"
