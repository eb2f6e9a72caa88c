"""Which holes the casting has already, as smaller cored ones.

A length of a hole is cored when the casting is air half-way along it on its
axis. Lengths mm, part frame. Knows nothing of names or stock.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

from geom.kernel.metal import Metal
from geom.kernel.shape import Surface
from geom.model.part import FaceState, PartHole
from geom.recognise.walls import SAME_RADIUS
from geom.space import add, along, scale
from geom.tolerance import SAME_AXIS


def cored_lengths(hole: PartHole, casting: Metal) -> tuple[bool, ...]:
    """Return, for each step of a hole, whether the casting is hollow there."""
    middles = [(step.start + step.end) / 2 for step in hole.steps]
    return tuple(not casting.at(add(hole.centre, scale(hole.axis, -depth))) for depth in middles)


def with_source(hole: PartHole, cored: Sequence[bool]) -> PartHole:
    """Return the hole with its source: a core when its narrowest cylinder, or a bare cone, is hollow in the casting."""
    proper = [c for step, c in zip(hole.steps, cored, strict=True) if abs(step.end_diameter - hole.diameter) <= 2 * SAME_RADIUS]
    source: Literal["core", "solid"] = "core" if any(proper or cored) else "solid"
    return replace(hole, source=source)


def state_of(surface: Surface, hole: PartHole, cored: Sequence[bool]) -> FaceState:
    """Return the state of a surface of a hole: "hole" where it is cut from solid, "machined" where a core left stock."""
    if hole.source == "core":
        return "machined"
    depth = -along(surface.centroid, hole.centre, hole.axis)
    at = _last(hole, lambda start: start < depth - SAME_AXIS)
    return "machined" if cored[at] else "hole"


def _last(hole: PartHole, is_above: Callable[[float], bool]) -> int:
    """Return the last step that begins above a depth; the first when none does."""
    return max((i for i, step in enumerate(hole.steps) if is_above(step.start)), default=0)
