"""The finished part inside its casting: two solids and the features found in them.

Records only. `recognise` finds the features, `stock` measures the metal over
them; everything downstream reads these records. Lengths mm, part frame.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from geom.kernel.shape import Solid, SurfaceKind
from geom.space import Vec3
from geom.standards.callout import Callout

FaceState: TypeAlias = Literal["machined", "as cast", "hole"]
HoleKind: TypeAlias = Literal["through", "blind", "counterbored", "countersunk", "stepped"]


@dataclass(frozen=True, slots=True)
class PartFace:
    """One named face of the finished part.

    Attributes:
        name: stable: from the model, or from geometry alone ("top", "left 2", "bore 1").
        state: "machined" (inside the skin), "as cast" (is the skin) or "hole"
            (wall or floor of a hole drilled from solid; listed with the hole).
        surfaces: indices into `Part.finished.surfaces`; several when an exporter split the face.
        normal: outward normal of a plane; None for other kinds.
        origin, axis, radius, half_angle, hollow: as in `kernel.shape.Surface`.
        hole: name of the hole group it belongs to, or None.
        skin_share: share of its area, 0 to 1, that is the casting's skin: strictly between, the drawing cuts only
            part of the face, and the rest has no stock (`Part.notes` says so).
    """

    name: str
    kind: SurfaceKind
    state: FaceState
    surfaces: tuple[int, ...]
    normal: Vec3 | None
    origin: Vec3
    axis: Vec3
    radius: float
    half_angle: float
    hollow: bool
    centroid: Vec3
    area: float
    hole: str | None = None
    skin_share: float = 0.0


@dataclass(frozen=True, slots=True)
class FoundCounterbore:
    """The wide flat-bottomed mouth of a hole, mm; depth from where the hole opens."""

    diameter: float
    depth: float


@dataclass(frozen=True, slots=True)
class FoundCountersink:
    """The conical mouth of a hole: largest diameter, mm, and included angle, degrees."""

    diameter: float
    angle: float


@dataclass(frozen=True, slots=True)
class HoleStep:
    """One length of a hole between two depths below its opening, mm; a cylinder when both diameters agree."""

    start: float
    end: float
    start_diameter: float
    end_diameter: float


@dataclass(frozen=True, slots=True)
class PartHole:
    """One hole: everything on one axis that a spindle makes from one side.

    Attributes:
        centre: where the axis meets the plane the hole opens on.
        axis: unit, from the metal out through that opening: the way the spindle faces.
        diameter: of the hole proper (its narrowest full cylinder).
        depth: from the opening to the end of the full diameter; None when through.
        length: from the opening to the far opening (through) or to the end of the full diameter.
        tip_depth: from the opening to the drill point's tip; None when through or flat.
        point_angle: included angle of the drill point, degrees; None when through or flat.
        steps: from the opening inwards.
        source: "solid" (drilled from solid) or "core" (the casting already has a smaller hole).
        callout: what the job says it is for; None when the job says nothing.
        suggestions: callouts of the standards that this diameter fits, best first.
        pilot: name of the through hole whose far mouth this is, or None: the narrow length is made with that one.
    """

    name: str
    kind: HoleKind
    diameter: float
    centre: Vec3
    axis: Vec3
    through: bool
    depth: float | None
    length: float
    tip_depth: float | None
    point_angle: float | None
    counterbore: FoundCounterbore | None
    countersink: FoundCountersink | None
    steps: tuple[HoleStep, ...]
    surfaces: tuple[int, ...]
    source: Literal["solid", "core"]
    callout: Callout | None = None
    suggestions: tuple[str, ...] = ()
    pilot: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A finished part, its casting, and what was found in the pair.

    Attributes:
        notes: whole sentences about what the pair holds that a reader should know.
    """

    name: str
    alloy: str
    finished: Solid
    casting: Solid
    faces: tuple[PartFace, ...]
    holes: tuple[PartHole, ...]
    notes: tuple[str, ...] = ()

    @property
    def machined(self) -> tuple[PartFace, ...]:
        """The faces that lose stock, holes from solid left out."""
        return tuple(face for face in self.faces if face.state == "machined")

    @property
    def as_cast(self) -> tuple[PartFace, ...]:
        """The faces that stay as the casting's skin."""
        return tuple(face for face in self.faces if face.state == "as cast")
