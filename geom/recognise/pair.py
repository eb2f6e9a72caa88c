"""Whether two solids can be a part and its casting at all.

A casting that is merely short somewhere is no concern of this module: that is
an answer, given by `geom.stock.report`. Lengths mm, part frame.
"""

from collections.abc import Iterator
from itertools import chain
from typing import Final

from geom.errors import GeometryError
from geom.kernel.metal import Metal
from geom.kernel.shape import Solid, Surface
from geom.kernel.trim import Trims
from geom.space import Vec3, add, foot, scale, sub, unit
from geom.tolerance import SKIN
from geom.units import MM_PER_INCH

_LEAST: Final = 0.8
_MOST: Final = 2.0
"""A casting is suspected to be in another unit when it is 25.4 (or 1/25.4) times between these two of its part's size:
stock makes a casting larger than its part, on a very small part up to twice."""

_GRID: Final = 7
"""Points along each side of the part's box that are asked whether they are in both solids."""

_SPOTS: Final = 6
"""Points under each flat or round face, asked when none of the grid is in both."""


def check_pair(finished: Solid, casting: Solid) -> tuple[Metal, Metal]:
    """Refuse two solids that cannot be a part and its casting; return their metal, ready to be asked about.

    Raises:
        GeometryError: one is in another unit, or they have no metal in common.
    """
    _check_unit(finished, casting)
    _check_boxes(finished, casting)
    part, rough = Metal(finished), Metal(casting)
    if not any(part.at(p) and rough.at(p) for p in chain(_grid(finished), _just_under(finished))):
        raise GeometryError(
            f"{finished.label} and {casting.label} overlap as boxes but have no metal in common; "
            "export both from the same origin, and check that they belong together"
        )
    return part, rough


def _check_unit(finished: Solid, casting: Solid) -> None:
    ratio = casting.size / finished.size / MM_PER_INCH
    if not (_LEAST <= ratio <= _MOST or _LEAST <= ratio * MM_PER_INCH**2 <= _MOST):
        return
    larger, smaller = (casting, finished) if ratio > 0.5 else (finished, casting)
    raise GeometryError(
        f"{larger.label} is {larger.size / smaller.size:.1f} times as large as {smaller.label} ({_size(larger)} against "
        f"{_size(smaller)}), about the 25.4 of an inch in mm; one of the two files carries the wrong unit, so export both "
        "again in the same one"
    )


def _check_boxes(finished: Solid, casting: Solid) -> None:
    for i, axis in enumerate("XYZ"):
        gap = max(casting.box[0][i] - finished.box[1][i], finished.box[0][i] - casting.box[1][i])
        if gap >= 0:
            raise GeometryError(
                f"{finished.label} lies wholly beside {casting.label}: along {axis} the part runs from {_span(finished, i)} mm "
                f"and the casting from {_span(casting, i)} mm; export both from the same origin"
            )


def _grid(solid: Solid) -> Iterator[Vec3]:
    """Yield points spread through a solid's box, the middle ones first."""
    low, size = solid.box[0], sub(solid.box[1], solid.box[0])
    shares = sorted(((i + 0.5) / _GRID + 0.003 for i in range(_GRID)), key=lambda s: abs(s - 0.5))
    for a in shares:
        for b in shares:
            for c in shares:
                yield (low[0] + a * size[0], low[1] + b * size[1], low[2] + c * size[2])


def _just_under(solid: Solid) -> Iterator[Vec3]:
    """Yield points a skin's thickness under the solid's flat and round faces: a thin wall slips through any grid."""
    trims = Trims(solid)
    for surface in solid.surfaces:
        if surface.kind not in ("plane", "cylinder"):
            continue
        for spot in trims.spots(surface.index, _SPOTS):
            yield add(spot.point, scale(_outward(surface, spot.point), -SKIN))


def _outward(surface: Surface, point: Vec3) -> Vec3:
    if surface.kind == "plane":
        return surface.axis
    out = unit(sub(point, foot(point, surface.origin, surface.axis)))
    return scale(out, -1.0) if surface.hollow else out


def _size(solid: Solid) -> str:
    a, b, c = sub(solid.box[1], solid.box[0])
    return f"{a:.1f} x {b:.1f} x {c:.1f} mm"


def _span(solid: Solid, i: int) -> str:
    return f"{solid.box[0][i]:.1f} to {solid.box[1][i]:.1f}"
