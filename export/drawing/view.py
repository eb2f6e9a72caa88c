"""The views of a drawing: what each shows of the casting and of the finished part.

A view is flat, at true size in mm, its origin at the zero. The casting gives
outline, hidden and smooth lines; the finished part inside it gives phantom
lines wherever it is not the casting's own skin. Knows nothing of scale, paper
or dimensions.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, TypeAlias

from geom.flat.curve2d import Box2, Curve, Line, Vec2, curves_box
from geom.flat.overlap2d import without
from geom.kernel.lines import view_lines, visible_lines
from geom.kernel.shape import Solid
from geom.model.part import Part, PartHole
from geom.space import Frame, Vec3, dot, frame_facing, scale, sub

ViewName: TypeAlias = Literal["front", "top", "left", "right", "isometric"]
Projection: TypeAlias = Literal["first", "third"]


@dataclass(frozen=True, slots=True)
class View:
    """One view at true size, mm, its origin at the zero.

    Attributes:
        frame: x to the right, y up, z towards the eye.
        outline, hidden, smooth: the casting's lines.
        phantom: the finished part's lines that are not the casting's.
        finished: all of the finished part's visible lines.
        casting_box, finished_box: their extents.
    """

    name: ViewName
    frame: Frame
    outline: tuple[Curve, ...]
    hidden: tuple[Curve, ...]
    smooth: tuple[Curve, ...]
    phantom: tuple[Curve, ...]
    finished: tuple[Curve, ...]
    casting_box: Box2
    finished_box: Box2


def view_frame(name: ViewName, zero: Frame, projection: Projection = "first") -> Frame:
    """Return the frame of a view: x to the right, y up, z towards the eye.

    The front view looks along +Y, the top view down. The isometric view shows
    the three sides that the flat views show.
    """
    back_x, back_y = scale(zero.x, -1.0), scale(zero.y, -1.0)
    match name:
        case "front":
            return Frame(zero.origin, zero.x, zero.z, back_y)
        case "top":
            return zero
        case "left":
            return Frame(zero.origin, back_y, zero.z, back_x)
        case "right":
            return Frame(zero.origin, zero.y, zero.z, zero.x)
        case "isometric":
            side = -1.0 if projection == "first" else 1.0
            eye, across = zero.part_direction((side, -1.0, 1.0)), zero.part_direction((1.0, side, 0.0))
            return frame_facing(zero.origin, eye, across)


def side_view(projection: Projection) -> ViewName:
    """Return which side view stands to the right of the front view."""
    return "left" if projection == "first" else "right"


def part_views(part: Part, zero: Frame, projection: Projection) -> dict[ViewName, View]:
    """Return front, top, side and isometric view of a part in its casting."""
    names: tuple[ViewName, ...] = ("front", "top", side_view(projection), "isometric")
    return {name: _view(name, part, view_frame(name, zero, projection)) for name in names}


def _view(name: ViewName, part: Part, frame: Frame) -> View:
    finished = visible_lines(part.finished, frame)
    casting = view_lines(part.casting, frame)
    walls = [] if name == "isometric" else [line for hole in part.holes for line in _cored_bore(hole, frame)]
    phantom = without([*finished, *walls], (*casting.visible, *casting.smooth))
    hidden = () if name == "isometric" else without(casting.hidden, phantom)
    boxes = _box(part.casting, frame, casting.visible), _box(part.finished, frame, finished)
    return View(name, frame, casting.visible, hidden, casting.smooth, phantom, finished, *boxes)


def _cored_bore(hole: PartHole, frame: Frame) -> list[Line]:
    """Return the finished walls and shoulders of a cored hole seen from the side, so that its stock shows."""
    if hole.source != "core" or abs(dot(hole.axis, frame.z)) > 1e-6:
        return []

    def place(depth: float, out: float) -> Vec2:
        x, y = flat(sub(hole.centre, scale(hole.axis, depth)), frame)
        return (x - out * dot(hole.axis, frame.y), y + out * dot(hole.axis, frame.x))

    lines: list[Line] = []
    for step in hole.steps:
        first, last = step.start_diameter / 2, step.end_diameter / 2
        lines += [Line(place(step.start, side * first), place(step.end, side * last)) for side in (1.0, -1.0)]
    for step, after in pairwise(hole.steps):
        reach = max(step.end_diameter, after.start_diameter) / 2
        lines.append(Line(place(step.end, -reach), place(step.end, reach)))
    return lines


def _box(solid: Solid, frame: Frame, lines: tuple[Curve, ...]) -> Box2:
    """Return a solid's extents in a view: exact where the view is square to the part's axes, else those of its lines."""
    if _is_square(frame):
        ends = [frame.local(corner) for corner in solid.box]
        (x0, x1), (y0, y1) = (sorted(e[i] for e in ends) for i in (0, 1))
        return (x0, y0, x1, y1)
    box = curves_box(lines)
    assert box is not None
    return box


def _is_square(frame: Frame) -> bool:
    return all(max(abs(c) for c in axis) > 1.0 - 1e-12 for axis in (frame.x, frame.y))


def flat(point: Vec3, frame: Frame) -> Vec2:
    """Return where a part-frame point shows in a view's frame."""
    d = sub(point, frame.origin)
    return (dot(d, frame.x) + 0.0, dot(d, frame.y) + 0.0)
