"""What a finder meets over a named face or hole: the raw skin, or the machined face itself.

Lengths mm. Knows names, surfaces and axes; not where on them a touch is good.
"""

from dataclasses import dataclass

from geom.errors import GeometryError, ReadingError, nearest
from geom.kernel.shape import Solid, Surface
from geom.looks.contact import Standing
from geom.model.part import Part, PartFace, PartHole
from geom.received.faces import face_skin
from geom.space import Frame


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """A face as a finder meets it.

    Attributes:
        surfaces: of the casting (rough) or of the finished part (machined); empty where the face is cut from solid.
    """

    face: PartFace
    machined: bool
    surfaces: tuple[Surface, ...]

    @property
    def numbers(self) -> frozenset[int]:
        """Indices of its surfaces."""
        return frozenset(s.index for s in self.surfaces)


def target(part: Part, name: str, machined: bool) -> Target:
    """Return what is met over a face, or over all round walls of a hole of that name.

    Raises:
        GeometryError: the part has no such face or hole.
    """
    faces = _faces_of(part, name)
    solid = part.finished if machined else part.casting
    numbers = dict.fromkeys(i for face in faces for i in _numbers(part, face, machined))
    return Target(faces[0], machined, tuple(solid.surfaces[i] for i in numbers))


def face_of(part: Part, name: str) -> PartFace:
    """Return the face of a name; of a hole its own wall.

    Raises:
        GeometryError: there is none.
    """
    return _faces_of(part, name)[0]


def hole_of(part: Part, name: str) -> PartHole | None:
    """Return the hole of a name, unless a face has that name."""
    if any(face.name == name for face in part.faces if face.hole is None):
        return None
    return next((hole for hole in part.holes if hole.name == name), None)


def _faces_of(part: Part, name: str) -> list[PartFace]:
    """Return the face of a name, or a hole's walls, its own diameter's first."""
    hole = hole_of(part, name)
    if hole is None:
        found = [face for face in part.faces if face.name == name]
    else:
        walls = [f for f in part.faces if f.hole == name and f.kind in ("cylinder", "cone")]
        found = sorted(walls, key=lambda f: (round(abs(2.0 * f.radius - hole.diameter), 6), -round(f.area, 3), f.name))
    if not found:
        known = [*(f.name for f in part.faces), *(h.name for h in part.holes)]
        raise GeometryError(
            f"{part.name}: there is no face or hole {name!r} to pick up{nearest(name, known)}; name one of the part's"
        )
    return found


def _numbers(part: Part, face: PartFace, machined: bool) -> tuple[int, ...]:
    if machined:
        return face.surfaces
    try:
        return face_skin(part, face.name).surfaces
    except ReadingError:
        return ()


def upright_axis(what: Target, standing: Standing) -> tuple[float, float] | None:
    """Return where the axis of the largest upright round stands, x and y; None without one."""
    frame = standing.frame
    rounds = [s for s in what.surfaces if s.kind in ("cylinder", "cone") and abs(frame.local_direction(s.axis)[2]) > 0.999]
    if not rounds:
        return None
    x, y, _ = standing.local(max(rounds, key=lambda s: (round(s.area, 3), -s.index)).origin, what.machined)
    return round(x, 9) + 0.0, round(y, 9) + 0.0


def span_of(surfaces: tuple[Surface, ...], solid: Solid, frame: Frame) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the least and greatest corner of surfaces in a frame."""
    from geom.kernel.extent import face_box

    return face_box(solid, [s.index for s in surfaces], frame)
