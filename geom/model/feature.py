"""Declared features: what a model says it machines, by name.

A `Face`, `Hole`, `Bore`, `Boss` or `Slot` says what it is, where it is and how
big, checked on construction; `geom.model.feature_shape` says what metal it removes and
which surfaces are its own.

`axis` always points out of the metal, the way the spindle faces; `centre` lies
where the axis meets the opening or machined plane; depths count inwards from
there. Lengths mm, angles degrees, part frame. Knows nothing of castings,
stock, set-ups or files, and loads no kernel.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from geom.errors import GeometryError
from geom.space import Vec3, dot, norm, sub, unit
from geom.standards.callout import Callout
from geom.tolerance import SAME_AXIS, SAME_DIRECTION

DRILL_POINT = 118.0
"""Included angle, degrees, of a general-purpose twist drill's point (common practice)."""

_UNIT_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Face:
    """A flat machined face.

    Attributes:
        centre: a point of the face; the middle of a round one.
        axis: outward normal.
        diameter: of the round patch that is cut, or None.
        corners: of the patch that is cut, in order, on the face's plane; () for everything beyond the plane.
    """

    name: str
    centre: Vec3
    axis: Vec3
    diameter: float | None = None
    corners: tuple[Vec3, ...] = ()

    def __post_init__(self) -> None:
        _check_place(self.name, self.centre, self.axis)
        if self.diameter is not None:
            check_sizes(self.name, diameter=self.diameter)
        if self.diameter is not None and self.corners:
            raise GeometryError(f"feature {self.name!r}: has a diameter and corners; give one outline")
        if self.corners and len(self.corners) < 3:
            raise GeometryError(f"feature {self.name!r}: has {len(self.corners)} corners; give at least three")
        for corner in self.corners:
            off = dot(sub(corner, self.centre), self.axis)
            if not abs(off) <= SAME_AXIS:
                raise GeometryError(f"feature {self.name!r}: corner {corner} lies {off:g} mm off its plane; put it on the plane")


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole a drill makes, and what is done at its mouth.

    Attributes:
        diameter: of the hole proper (tapped: the tap drill's).
        depth: to the full diameter, of a blind hole; None when through.
        until: where a through hole's cut ends below the mouth, in the open; None for right through the part.
        point_angle: included angle of a blind hole's drill point; None for a flat end.
        counterbore: diameter and depth.
        countersink: largest diameter and included angle.
        callout: what the hole is for.
    """

    name: str
    centre: Vec3
    axis: Vec3
    diameter: float
    depth: float | None = None
    until: float | None = None
    point_angle: float | None = DRILL_POINT
    counterbore: tuple[float, float] | None = None
    countersink: tuple[float, float] | None = None
    callout: Callout | None = None

    def __post_init__(self) -> None:
        _check_place(self.name, self.centre, self.axis)
        check_sizes(self.name, diameter=self.diameter)
        _check_ends(self.name, self.depth, self.until)
        if self.point_angle is not None and not 0 < self.point_angle < 180:
            raise GeometryError(f"feature {self.name!r}: point angle {self.point_angle:g} degrees; it must be between 0 and 180")
        if self.counterbore and self.countersink:
            raise GeometryError(f"feature {self.name!r}: has a counterbore and a countersink; give one")
        if self.counterbore:
            _check_wider(self.name, "counterbore", self.counterbore[0], self.diameter)
            _check_shallower(self.name, "counterbore", self.counterbore[1], self.depth or self.until)
        if self.countersink:
            _check_wider(self.name, "countersink", self.countersink[0], self.diameter)
            if not 0 < self.countersink[1] < 180:
                raise GeometryError(
                    f"feature {self.name!r}: countersink angle {self.countersink[1]:g} degrees; it must be between 0 and 180"
                )
            _check_shallower(self.name, "countersink", sink_depth(self.countersink, self.diameter), self.depth or self.until)

    @property
    def through(self) -> bool:
        """Whether the hole comes out at its far end."""
        return self.depth is None


@dataclass(frozen=True, slots=True)
class Bore:
    """A bored hole, cored in the casting or not, with wider steps at its mouth.

    Attributes:
        diameter: of the bore proper, its narrowest.
        steps: (diameter, depth) of each wider length, depth from the mouth, widest first.
        depth: of a blind, flat-ended bore; None when through.
        until: as in `Hole`.
        core: diameter of the cored hole in the casting; None when bored from solid.
        callout: what the bore is for.
    """

    name: str
    centre: Vec3
    axis: Vec3
    diameter: float
    steps: tuple[tuple[float, float], ...] = ()
    depth: float | None = None
    until: float | None = None
    core: float | None = None
    callout: Callout | None = None

    def __post_init__(self) -> None:
        _check_place(self.name, self.centre, self.axis)
        check_sizes(self.name, diameter=self.diameter)
        _check_ends(self.name, self.depth, self.until)
        wider, deeper = self.diameter, self.depth or self.until
        for diameter, depth in reversed(self.steps):
            _check_wider(self.name, "step", diameter, wider)
            _check_shallower(self.name, "step", depth, deeper)
            wider, deeper = diameter, depth
        if self.core is not None and not 0 < self.core < self.diameter:
            raise GeometryError(
                f"feature {self.name!r}: core {self.core:g} mm; it must be above 0 and below the bore's {self.diameter:g} mm"
            )

    @property
    def through(self) -> bool:
        """Whether the bore comes out at its far end."""
        return self.depth is None


@dataclass(frozen=True, slots=True)
class Boss:
    """A round boss whose end is faced, and whose side may be turned or milled round.

    Attributes:
        centre: the middle of the faced end.
        axis: outward normal of that end.
        diameter: of the boss: finished when `height` is given, else as cast where the end is.
        height: how far down from the end the side is machined; None leaves it as cast.
        facing: diameter of the cut over the end; a quarter wider than the boss unless told.
    """

    name: str
    centre: Vec3
    axis: Vec3
    diameter: float
    height: float | None = None
    facing: float | None = None

    def __post_init__(self) -> None:
        _check_place(self.name, self.centre, self.axis)
        check_sizes(self.name, diameter=self.diameter, **({} if self.height is None else {"height": self.height}))
        if self.facing is not None:
            _check_wider(self.name, "facing cut", self.facing, self.diameter)

    @property
    def swath(self) -> float:
        """Diameter of the cut over the end, mm."""
        return self.facing or 1.25 * self.diameter


@dataclass(frozen=True, slots=True)
class Slot:
    """A straight slot with round ends, as an end mill leaves it.

    Attributes:
        along: unit vector of its length, square to `axis`.
        length: overall, over the round ends.
        depth: of a blind slot; None when through (see `until` in `Hole`).
    """

    name: str
    centre: Vec3
    axis: Vec3
    along: Vec3
    length: float
    width: float
    depth: float | None = None
    until: float | None = None

    def __post_init__(self) -> None:
        _check_place(self.name, self.centre, self.axis)
        _check_place(self.name, self.centre, self.along)
        check_sizes(self.name, length=self.length, width=self.width)
        _check_ends(self.name, self.depth, self.until)
        _check_wider(self.name, "slot length", self.length, self.width)
        if abs(dot(self.axis, self.along)) > SAME_DIRECTION:
            raise GeometryError(f"feature {self.name!r}: its length {self.along} is not square to its axis {self.axis}")


Feature: TypeAlias = Face | Hole | Bore | Boss | Slot


def sink_depth(countersink: tuple[float, float], diameter: float) -> float:
    """Return how deep a countersink (largest diameter, included angle) runs over a hole of this diameter, mm."""
    return (countersink[0] - diameter) / 2 / math.tan(math.radians(countersink[1] / 2))


# --- making holes from callouts ---------------------------------------------


def hole(
    name: str,
    callout: str,
    centre: Vec3,
    axis: Vec3,
    *,
    depth: float | None = None,
    until: float | None = None,
    point_angle: float | None = DRILL_POINT,
    counterbore_depth: float | None = None,
    units: str = "mm",
) -> Hole:
    """Return the hole a callout asks for, sizes from the standards.

    Args:
        callout: "clearance M8 medium", "counterbore for M10 socket head", "tapped 3/8-16 UNC", "reamed 10 H7", "9" ...
        centre: where its axis meets the opening plane, mm.
        axis: out of the metal; need not be of unit length.
        depth, until, point_angle: as in `Hole`, mm.
        counterbore_depth: mm; None for the standard's own.
        units: of a bare number in the callout.

    Raises:
        StandardError: the callout names no size there is.
        GeometryError: the hole cannot be (see `Hole`).
    """
    found = _parsed(name, callout, units)
    wide = found.counterbore
    if wide is not None:
        wide = (wide[0], wide[1] if counterbore_depth is None else counterbore_depth)
    elif counterbore_depth is not None:
        raise GeometryError(f"feature {name!r}: has a counterbore depth but {callout!r} has no counterbore")
    return Hole(name, centre, unit(axis), found.diameter, depth, until, point_angle, wide, found.countersink, found)


def bore(
    name: str,
    callout: str,
    centre: Vec3,
    axis: Vec3,
    *,
    steps: Sequence[tuple[float, float]] = (),
    depth: float | None = None,
    until: float | None = None,
    core: float | None = None,
    units: str = "mm",
) -> Bore:
    """Return the bore a callout such as "bored 40 H7" asks for (see `Bore` and `hole`)."""
    found = _parsed(name, callout, units)
    return Bore(name, centre, unit(axis), found.diameter, tuple(steps), depth, until, core, found)


def _parsed(name: str, callout: str, units: str) -> Callout:
    from geom.standards.callout import parse_callout

    return parse_callout(callout, units, f"feature {name!r}")


# --- checks on construction -------------------------------------------------


def _check_place(name: str, centre: Vec3, axis: Vec3) -> None:
    if not name or name != name.strip() or "\n" in name:
        raise GeometryError(f"feature name {name!r} is empty or has blanks around it; give it a short name such as 'foot 1'")
    if len(centre) != 3 or len(axis) != 3 or not all(math.isfinite(c) for c in (*centre, *axis)):
        raise GeometryError(f"feature {name!r}: centre {centre} or axis {axis} is not three finite numbers")
    if abs(norm(axis) - 1) > _UNIT_SLACK:
        raise GeometryError(f"feature {name!r}: axis {axis} has length {norm(axis):g}; give a direction of length 1")


def check_sizes(name: str, **sizes: float) -> None:
    """Raise GeometryError for a size of a feature that is not above 0 mm and finite."""
    for what, size in sizes.items():
        if not (math.isfinite(size) and size > 0):
            raise GeometryError(f"feature {name!r}: {what} {size:g} mm; it must be above 0 mm and finite")


def _check_ends(name: str, depth: float | None, until: float | None) -> None:
    if depth is not None and until is not None:
        raise GeometryError(f"feature {name!r}: has a depth (blind) and an end of the cut (through); give one")
    check_sizes(name, **{k: v for k, v in (("depth", depth), ("until", until)) if v is not None})


def _check_wider(name: str, what: str, wide: float, narrow: float) -> None:
    if not (math.isfinite(wide) and wide > narrow):
        raise GeometryError(f"feature {name!r}: {what} {wide:g} mm; it must be above {narrow:g} mm")


def _check_shallower(name: str, what: str, depth: float, limit: float | None) -> None:
    check_sizes(name, **{f"{what} depth": depth})
    if limit is not None and not depth < limit:
        raise GeometryError(f"feature {name!r}: {what} {depth:g} mm deep; it must be shallower than {limit:g} mm")
