"""The foundry drawing: views, dimensions, table, notes and title block on one sheet.

The scale is the largest of ISO 5455 at which everything has its place. The
casting is drawn in full lines, the finished part inside it in phantom lines.
Millimetres on paper.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from export.drawing.annotate import SignedFace, TaggedHole, one_of_each, place_signs, place_tags, tagged
from export.drawing.bolt_circles import bolt_circles, circle_sizes
from export.drawing.centres import Axis, centre_lines, is_along_sight, round_axes
from export.drawing.clutter import Clutter
from export.drawing.dimension import Position, Side, overall_rows, position_rows, reach
from export.drawing.furniture import PAPER, SheetSize, frame, notes_block, title_block
from export.drawing.hole_table import hole_table, short_hole_table
from export.drawing.input import DrawingInput
from export.drawing.packing import Room
from export.drawing.view import Projection, View, ViewName, flat, part_views, side_view
from export.files.sheet2d import SMALL_TEXT, TEXT, Item, Label, Role, Sheet, Stroke, ink_box, shifted
from export.number import size
from geom.errors import JobError
from geom.flat.curve2d import Box2, Curve, circle, joined_box, moved

if TYPE_CHECKING:
    from geom.datum.zero import Zero
    from geom.job import Job
    from geom.stock.report import StockReport

SCALES: Final = (
    *((n, 1) for n in (10, 5, 2, 1)),
    *((1, n) for n in (2, 5, 10, 20, 50, 100)),
)
"""Enlargements, full size and reductions of ISO 5455, largest first."""

_CENTRE_OVERHANG: Final = 3.0
_VIEW_GAPS: Final = (25.0, 18.0, 12.0, 8.0)
"""Distances between views, mm, the roomiest that fits; from the frame it is half as much."""


def drawing_files(job: "Job", stock: "StockReport", zero: "Zero") -> dict[str, bytes]:
    """Return drawing.dxf, drawing.pdf and drawing.svg of a job.

    Raises:
        JobError: a title field is too long, or the sheet has no room at any scale.
    """
    from export.drawing.input import drawing_input

    return files_of(drawing_input(job, stock, zero))


def files_of(wanted: DrawingInput) -> dict[str, bytes]:
    """Return the three files of one drawing by name."""
    from export.files.dxf import dxf_bytes
    from export.files.pdf import Page, pdf_bytes
    from export.files.svg import svg_bytes

    sheet = drawing_sheet(wanted)
    svg = svg_bytes(sheet)
    name = wanted.file_name
    return {
        f"{name}.dxf": dxf_bytes(sheet),
        f"{name}.pdf": pdf_bytes(sheet.title, [Page(sheet.width, sheet.height, svg)]),
        f"{name}.svg": svg,
    }


def drawing_sheet(wanted: DrawingInput) -> Sheet:
    """Return the composed sheet at the largest scale at which it has room.

    Raises:
        JobError: no scale has room, or a title field is too long.
    """
    views = part_views(wanted.part, wanted.zero, wanted.projection)
    axes, holes = round_axes(wanted.part), tagged(wanted.part.holes)
    paper = PAPER[wanted.sheet]
    for up, down in _scales_that_may_fit(views, wanted):
        items = _composed(wanted, views, axes, holes, up, down)
        if items is not None:
            title = f"{wanted.title.title} - {wanted.title.document_type}"
            inside = (*frame(wanted.sheet), *items)
            return Sheet(paper.width, paper.height, up / down, wanted.units, title, inside, paper.reduction)
    raise JobError(
        f"{wanted.where}: the drawing has no room on {wanted.sheet} at any scale down to 1:{SCALES[-1][1]}; "
        'shorten the notes, or choose sheet = "A3"'
    )


def _scales_that_may_fit(views: dict[ViewName, View], wanted: DrawingInput) -> Iterator[tuple[int, int]]:
    """Return the scales at which the bare views are smaller than the sheet, largest first."""
    x0, y0, x1, y1 = PAPER[wanted.sheet].inside
    boxes = {name: view.casting_box for name, view in views.items()}
    front, top, side = boxes["front"], boxes["top"], boxes[side_view(wanted.projection)]
    across = (front[2] - front[0]) + (side[2] - side[0])
    upwards = (front[3] - front[1]) + (top[3] - top[1])
    for up, down in SCALES:
        scale = up / down / PAPER[wanted.sheet].reduction
        if across * scale < x1 - x0 - 50.0 and upwards * scale < y1 - y0 - 50.0:
            yield up, down


# --- one view on paper ------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A view on paper with its zero at (0, 0), and all the room it takes."""

    items: tuple[Item, ...]
    box: Box2


_MOST_SIGNS: Final = 12

_MANY_HOLES: Final = 16
"""More holes than this may be summed up by size, so that the views stay large."""

_RESERVE: Final = 45.0
"""How far out, mm, extension lines are foreseen while signs look for a place, so that none runs through a sign."""

_NOTES_WIDTHS: Final[dict[SheetSize, tuple[float, ...]]] = {"A3": (180.0, 205.0, 150.0, 120.0), "A4": (250.0, 180.0, 130.0)}


_ROLES: Final[tuple[Role, ...]] = ("smooth", "hidden", "phantom", "outline")


def _strokes(view: View, scale: float) -> list[Item]:
    def drawn(role: Role, curves: Sequence[Curve]) -> list[Item]:
        return [Stroke(role, moved(curve, (0.0, 0.0), scale)) for curve in curves]

    by_role = {"smooth": view.smooth, "hidden": view.hidden, "phantom": view.phantom, "outline": view.outline}
    return [stroke for role in _ROLES for stroke in drawn(role, by_role[role])]


def _flat_views(
    wanted: DrawingInput,
    views: dict[ViewName, View],
    axes: tuple[Axis, ...],
    holes: tuple[TaggedHole, ...],
    scale: float,
    summed_up: bool,
) -> dict[ViewName, _Drawn]:
    """Return the three flat views with signs, dimensions and tags."""
    faces = _signed_faces(wanted)
    untagged: Sequence[TaggedHole] = one_of_each(holes) if summed_up else holes
    out: dict[ViewName, _Drawn] = {}
    for name in ("front", side_view(wanted.projection), "top"):
        view = views[name]
        items = _strokes(view, scale)
        items += [Stroke("centre", moved(c, (0.0, 0.0), scale)) for c in centre_lines(axes, view, _CENTRE_OVERHANG / scale)]
        circles = bolt_circles(holes, axes, view)
        items += [Stroke("centre", moved(circle(c.centre, c.radius), (0.0, 0.0), scale)) for c in circles]
        places = [] if summed_up else _positions(wanted, view)
        foreseen = _dimensions(wanted, view, scale, items, places, _RESERVE)
        signs, faces = place_signs(faces, view, scale, Clutter([*items, *foreseen]))
        items += signs
        items += _dimensions(wanted, view, scale, items, places)
        clutter = Clutter(items)
        tags, untagged = place_tags(untagged, view, scale, clutter)
        items += tags
        items += circle_sizes(circles, scale, wanted.units, clutter)
        box = ink_box(items)
        assert box is not None
        out[name] = _Drawn(tuple(items), box)
    return out


def _signed_faces(wanted: DrawingInput) -> Sequence[SignedFace]:
    """Return the largest machined faces with their allowances; more signs than that would hide the part."""
    known = [face for face in wanted.part.machined if face.name in wanted.allowances]
    known.sort(key=lambda face: (-round(face.area, 3), face.name))
    places = 1 if wanted.units == "mm" else 3
    return [SignedFace(face, size(wanted.allowances[face.name], wanted.units, places)) for face in known[:_MOST_SIGNS]]


def _positions(wanted: DrawingInput, view: View) -> list[Position]:
    """Return where the holes stand that a view looks along."""
    seen = [flat(h.centre, view.frame) for h in wanted.part.holes if is_along_sight(h.axis, view)]
    return [Position(x, y) for x, y in seen]


def _dimensions(
    wanted: DrawingInput, view: View, scale: float, items: Sequence[Item], places: Sequence[Position], further: float = 0.0
) -> list[Item]:
    """Return a view's dimensions, rows starting where the ink of the view ends, or so many mm further out."""
    box = ink_box(items)
    assert box is not None
    start = {"left": box[0] - further, "bottom": box[1] - further, "right": box[2] + further, "top": box[3] + further}
    overall, across, upwards = _sides(view.name, wanted.projection)
    out: list[Item] = []
    for side in overall:
        out.extend(overall_rows(view, scale, side, wanted.units, start[side]))
    for side in (across, upwards) if places else ():
        out.extend(position_rows(places, scale, side, wanted.units, reach(out, side, start[side])))
    return out


def _sides(name: ViewName, projection: Projection) -> tuple[tuple[Side, ...], Side, Side]:
    """Return where a view's overall sizes, its X positions and its Y positions stand: away from its neighbours."""
    first = projection == "first"
    match name:
        case "front":
            return (("top", "left") if first else ("bottom", "left")), ("bottom" if first else "top"), "right"
        case "top":
            return ("left",), ("bottom" if first else "top"), "right"
    return (), ("top" if first else "bottom"), "right"


# --- the sheet --------------------------------------------------------------


def _composed(
    wanted: DrawingInput, views: dict[ViewName, View], axes: tuple[Axis, ...], holes: tuple[TaggedHole, ...], up: int, down: int
) -> tuple[Item, ...] | None:
    """Return everything inside the frame at one scale, or None when it has no room.

    Many holes that have no room one by one are summed up by size; positions are then in the coordinate lists.
    """
    scale = up / down / PAPER[wanted.sheet].reduction
    may_sum_up = len(holes) > _MANY_HOLES or (up, down) == SCALES[-1]
    for summed_up in (False, True) if may_sum_up else (False,):
        drawn = _flat_views(wanted, views, axes, holes, scale, summed_up)
        for plan in _plans(wanted.sheet, summed_up):
            items = _packed(wanted, views, drawn, holes, (up, down), plan)
            if items is not None:
                return items
    return None


@dataclass(frozen=True, slots=True)
class _Plan:
    """One way to fill a sheet.

    Attributes:
        picture_steps: how much smaller the isometric view is than the flat ones, in steps of the scale.
        text: height of notes and tables, mm.
        gap: between views, mm.
        notes_width: mm.
        summed_up: the hole table has a row for a size, not for a hole.
    """

    picture_steps: int
    text: float
    gap: float
    notes_width: float
    summed_up: bool


def _plans(sheet: SheetSize, summed_up: bool) -> Iterator[_Plan]:
    """Return the ways to fill a sheet, best first: a large isometric view, then large lettering, then room."""
    for steps in (0, 1):
        for text in (TEXT, SMALL_TEXT):
            for gap in _VIEW_GAPS:
                for width in _NOTES_WIDTHS[sheet]:
                    yield _Plan(steps, text, gap, width, summed_up)


def _packed(
    wanted: DrawingInput,
    views: dict[ViewName, View],
    drawn: dict[ViewName, _Drawn],
    holes: tuple[TaggedHole, ...],
    ratio: tuple[int, int],
    plan: _Plan,
) -> tuple[Item, ...] | None:
    paper = PAPER[wanted.sheet]
    room = Room(paper.inside)
    title = title_block(wanted.title, f"{ratio[0]}:{ratio[1]}", wanted.sheet, wanted.projection, wanted.where)
    out: list[Item] = list(title.at(*room.take_corner(title.width, title.height)))
    three = _three_views(drawn, wanted.projection, (paper.inside[0] + plan.gap / 2, paper.inside[3] - plan.gap / 2), plan.gap, room)
    if three is None:
        return None
    out += three
    blocks = [notes_block(wanted.notes, plan.notes_width, plan.text)]
    if holes:
        blocks.append(
            short_hole_table(holes, wanted.units, plan.text)
            if plan.summed_up
            else hole_table(holes, wanted.zero, wanted.units, plan.text)
        )
    for block in blocks:
        place = room.take(block.width, block.height)
        if place is None:
            return None
        out += block.at(*place)
    picture = _isometric(views["isometric"], ratio, plan.picture_steps, paper.reduction, room)
    return None if picture is None else (*out, *picture)


def _three_views(
    drawn: dict[ViewName, _Drawn], projection: Projection, corner: tuple[float, float], gap: float, room: Room
) -> list[Item] | None:
    """Return front, top and side view, lined up, from the upper left corner; None where they meet something."""
    front, top, side = drawn["front"], drawn["top"], drawn[side_view(projection)]
    column, row = joined_box([front.box, top.box]), joined_box([front.box, side.box])
    x = corner[0] - column[0]
    x_side = x + column[2] + gap - side.box[0]
    if projection == "first":
        y = corner[1] - row[3]
        y_top = y + row[1] - gap - top.box[3]
    else:
        y_top = corner[1] - top.box[3]
        y = y_top + top.box[1] - gap - row[3]
    out: list[Item] = []
    for view, dx, dy in ((front, x, y), (side, x_side, y), (top, x, y_top)):
        if not room.claim(_moved_box(view.box, dx, dy), gap / 2 - 1e-6):
            return None
        out.extend(shifted(item, dx, dy) for item in view.items)
    return out


def _moved_box(box: Box2, dx: float, dy: float) -> Box2:
    return (box[0] + dx, box[1] + dy, box[2] + dx, box[3] + dy)


def _isometric(view: View, ratio: tuple[int, int], steps: int, reduction: float, room: Room) -> list[Item] | None:
    """Return the isometric view where there is most room, labelled when it is `steps` scales smaller than the sheet's."""
    place = min(SCALES.index(ratio) + steps, len(SCALES) - 1)
    up, down = SCALES[place]
    items = _strokes(view, up / down / reduction)
    box = ink_box(items)
    assert box is not None
    if (up, down) != ratio:
        items.append(Label(f"Isometric view, {up}:{down}", ((box[0] + box[2]) / 2, box[1] - 2.2 * TEXT), TEXT, "middle"))
        box = joined_box([box, ink_box(items[-1:]) or box])
    spot = room.take_loosest(box[2] - box[0], box[3] - box[1])
    if spot is None:
        return None
    return [shifted(item, spot[0] - box[0], spot[1] - box[1]) for item in items]
