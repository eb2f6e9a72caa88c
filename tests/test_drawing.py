"""What a drawing says is true, complete and readable, on parts of known size."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from export.drawing.annotate import tagged
from export.drawing.clutter import Clutter
from export.drawing.dimension import Position, position_rows, spread
from export.drawing.furniture import PAPER, title_block
from export.drawing.hole_table import hole_row
from export.drawing.marks import projection_sign
from export.drawing.sheet import SCALES, drawing_sheet
from export.drawing.view import part_views, view_frame
from export.files.lettering import check_characters, text_width, wrapped
from export.files.sheet2d import (
    Fill,
    Label,
    Leader,
    LinearDimension,
    OrdinateDimension,
    Sheet,
    Stroke,
    fits_between,
    ink,
    ink_box,
    label_box,
    linear_ink,
)
from geom.errors import JobError
from geom.flat.curve2d import Arc, Line, circle, curves_box, polyline
from geom.space import cross
from tests.sheets import INPUTS, NOTES, TITLE, WHERE, bore_input, cover_input, cube_input, sheet

# --- sizes --------------------------------------------------------------------


def _texts(drawing: Sheet) -> list[str]:
    return [piece.text for item in drawing.items for piece in ink(item) if isinstance(piece, Label)]


def test_the_cover_shows_its_overall_sizes_and_hole_places():
    """Casting 120 x 120 x 19, finished 15 thick; holes at 45 and 45 sin 30, 45 cos 30 (catalogue and trigonometry)."""
    found = sorted((d.turn, d.text) for d in sheet("cover").items if isinstance(d, LinearDimension))

    assert found == sorted(
        [
            (0, "120"),
            (90, "19"),
            (90, "(15)"),
            (90, "120"),
            (0, "22.5"),
            (0, "22.5"),
            (0, "45"),
            (0, "45"),
            (90, "38.971"),
            (90, "38.971"),
        ]
    )


def test_an_inch_drawing_prints_inches():
    """The 50 mm cube in a 56 mm casting: 1.969 and 2.2 in, a hole 25 mm down at 0.9843 in (divided by 25.4 by hand)."""
    found = {d.text for d in sheet("cube").items if isinstance(d, LinearDimension)}

    assert found == {"(1.969)", "2.2", "0.9843"}


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_every_printed_size_is_the_distance_between_its_points(name):
    """The distance on paper over the scale, in the sheet's unit, rounds to the printed figure."""
    drawing = sheet(name)
    unit = 25.4 if drawing.units == "inch" else 1.0
    for item in drawing.items:
        if isinstance(item, LinearDimension):
            i = 0 if item.turn == 0 else 1
            apart = abs(item.second[i] - item.first[i]) * drawing.reduction / drawing.scale
        elif isinstance(item, OrdinateDimension):
            i = 0 if item.axis == "x" else 1
            apart = (item.feature[i] - item.zero[i]) * drawing.reduction / drawing.scale
        else:
            continue
        assert apart == pytest.approx(item.size, abs=1e-6)
        assert float(item.figure) == pytest.approx(apart / unit, abs=0.5 * 10**-item.places + 1e-9)


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_the_part_is_drawn_at_the_stated_scale(name):
    """The front view's outline over the casting's width is the scale in the title block, one of ISO 5455."""
    drawing, wanted = sheet(name), INPUTS[name]()
    up, down = next(s for s in SCALES if s[0] / s[1] == drawing.scale)
    view = part_views(wanted.part, wanted.zero, wanted.projection)["front"]
    width = view.casting_box[2] - view.casting_box[0]
    lines = [s.curve for s in drawing.items if isinstance(s, Stroke) and s.role == "outline" and isinstance(s.curve, Line)]
    longest = [math.dist(c.start, c.end) for c in lines if abs(c.start[1] - c.end[1]) < 1e-9]

    assert f"{up}:{down}" in _texts(drawing)
    assert any(length * drawing.reduction == pytest.approx(width * up / down, abs=1e-6) for length in longest)


def test_preferred_scales_are_those_of_iso_5455():
    """ISO 5455: 1, 2 and 5 times powers of ten (from memory)."""
    for up, down in SCALES:
        assert 1 in (up, down)
        assert str(max(up, down)).rstrip("0") in ("1", "2", "5")


# --- holes --------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_the_hole_table_gives_the_openings_in_the_zeros_axes(name):
    """Each row's X, Y, Z is the opening less the zero along the zero's axes (dot products by numpy), and stands on the sheet."""
    wanted = INPUTS[name]()
    unit = 25.4 if wanted.units == "inch" else 1.0
    texts = _texts(sheet(name))
    axes = np.array([wanted.zero.x, wanted.zero.y, wanted.zero.z])
    for hole in tagged(wanted.part.holes):
        row = hole_row(hole, wanted.zero, wanted.units)
        place = axes @ (np.array(hole.hole.centre) - np.array(wanted.zero.origin)) / unit
        assert [float(v) for v in row[2:5]] == pytest.approx(list(place), abs=5.1e-4 if unit == 1.0 else 5.1e-5)
        assert set(row) <= set(texts)


def test_a_hole_is_said_to_open_to_the_side_it_opens_to():
    """The cube's zero has X along the part's Y: its +X hole opens to the front, its -Y hole to the left, +Z to the top."""
    wanted = cube_input()
    sides = {hole_row(h, wanted.zero, "inch")[5]: h.hole.axis for h in tagged(wanted.part.holes)}

    assert sides["front"] == pytest.approx((1.0, 0.0, 0.0))
    assert sides["left"] == pytest.approx((0.0, -1.0, 0.0))
    assert sides["top"] == pytest.approx((0.0, 0.0, 1.0))


def test_like_holes_share_a_letter_and_every_hole_has_its_tag_by_it():
    """One bore A, six holes B1 to B6, each tag nearer to its own hole than to any other of the circle."""
    drawing = sheet("cover")
    tags = {p.text: p.at for p in drawing.items if isinstance(p, Label) and p.text in {"A", "B1", "B2", "B3", "B4", "B5", "B6"}}
    first = [p for p in drawing.items if isinstance(p, Label) and p.text == "B1" and p.role == "dimension"]

    assert set(tags) == {"A", "B1", "B2", "B3", "B4", "B5", "B6"}
    assert len(first) == 1
    dimension = [p for p in drawing.items if isinstance(p, Label) and p.role == "dimension" and p.text.startswith("B")]
    holes = [
        s.curve.centre
        for s in drawing.items
        if isinstance(s, Stroke)
        and isinstance(s.curve, Arc)
        and s.role == "phantom"
        and s.curve.radius == pytest.approx(4.5 * drawing.scale, abs=1e-6)
    ]
    places = {t.tag: t.hole.centre for t in tagged(cover_input().part.holes)}
    middle = (sum(c[0] for c in holes) / 6, sum(c[1] for c in holes) / 6)
    for label in dimension:
        nearest = min(holes, key=lambda c: math.dist(c, label.at))
        x, y, _ = places[label.text]
        assert nearest == pytest.approx((middle[0] + x * drawing.scale, middle[1] + y * drawing.scale), abs=1e-4)


def test_six_even_holes_show_their_bolt_circle():
    """The 90 mm circle is drawn as a centre line and its size written at a leader."""
    drawing = sheet("cover")
    centres = [s.curve for s in drawing.items if isinstance(s, Stroke) and s.role == "centre" and isinstance(s.curve, Arc)]

    assert any(c.sweep == 360.0 and c.radius == pytest.approx(45.0 * drawing.scale, abs=1e-6) for c in centres)
    assert any(isinstance(i, Leader) and i.text == "Ø90" for i in drawing.items)


# --- views --------------------------------------------------------------------


@pytest.mark.parametrize("projection", ["first", "third"])
def test_view_frames_are_right_handed_and_look_at_the_part(projection):
    """x to the right, y up, z to the eye; the front view has Z up, the top view Y up."""
    zero = cube_input().zero
    for name in ("front", "top", "left", "right", "isometric"):
        frame = view_frame(name, zero, projection)
        assert cross(frame.x, frame.y) == pytest.approx(frame.z, abs=1e-12)
    assert view_frame("front", zero, projection).y == pytest.approx(zero.z)
    assert view_frame("top", zero, projection).y == pytest.approx(zero.y)


def _view_middles(drawing: Sheet) -> dict[str, tuple[float, float]]:
    """Return the middles of the cube's three flat views: squares of outline 56 mm wide."""
    lines = [s.curve for s in drawing.items if isinstance(s, Stroke) and s.role == "outline" and isinstance(s.curve, Line)]
    side = 56.0 * drawing.scale
    flat = [c for c in lines if abs(c.start[1] - c.end[1]) < 1e-9 and math.dist(c.start, c.end) == pytest.approx(side, abs=1e-6)]
    return {(min(c.start[0], c.end[0]), c.start[1]) for c in flat}  # type: ignore[return-value]


def test_third_angle_puts_the_top_view_above_and_first_angle_below():
    """ISO 5456-2: in first angle the view from above stands below the front view, in third angle above it."""
    third, first = sheet("cube"), drawing_sheet(replace(cube_input(), projection="first"))
    for drawing, top_is_above in ((third, True), (first, False)):
        corners = sorted(_view_middles(drawing))
        left = corners[0][0]
        column = sorted(y for x, y in corners if abs(x - left) < 1e-6)
        row = next(y for x, y in corners if x > left + 1e-6)
        assert len(column) == 4
        # The side view stands beside the front view: the lower pair in third angle, the upper pair in first.
        front_is_lower = any(abs(row - y) < 1e-6 for y in column[:2])
        assert front_is_lower is top_is_above


@pytest.mark.parametrize("projection", ["first", "third"])
def test_the_projection_sign_obeys_its_own_projection(projection):
    """The rings are the cone seen from its small end, which faces left: right of it in first angle, left in third (ISO 5456-2)."""
    sign = projection_sign((0.0, 0.0), projection)
    rings = [s.curve for s in sign if isinstance(s, Stroke) and isinstance(s.curve, Arc)]
    uprights = sorted(
        (s.curve.start[0], abs(s.curve.start[1] - s.curve.end[1]))
        for s in sign
        if isinstance(s, Stroke) and s.role == "rule" and isinstance(s.curve, Line) and s.curve.start[0] == s.curve.end[0]
    )

    assert uprights[0][1] < uprights[1][1]
    assert (rings[0].centre[0] > uprights[1][0]) is (projection == "first")
    assert sorted(2 * r.radius for r in rings) == [uprights[0][1], uprights[1][1]]


def test_the_finished_outline_is_drawn_in_phantom_lines_inside_the_casting():
    """The cube: a 50 mm square 3 mm inside a 56 mm one, in all three flat views."""
    wanted = cube_input()
    for name, view in part_views(wanted.part, wanted.zero, "third").items():
        if name == "isometric":
            continue
        square = curves_box([c for c in view.phantom if isinstance(c, Line)])
        x0, y0, x1, y1 = view.casting_box
        assert square == pytest.approx((x0 + 3.0, y0 + 3.0, x1 - 3.0, y1 - 3.0), abs=1e-6)


def test_as_cast_edges_are_not_drawn_twice():
    """The cover's rim is as cast: no phantom circle of 120 mm over the outline's."""
    wanted = cover_input()
    view = part_views(wanted.part, wanted.zero, "first")["top"]

    assert circle((0.0, 0.0), 60.0) in view.outline
    assert all(not isinstance(c, Arc) or c.radius < 59.0 for c in view.phantom)


def test_a_cored_bore_shows_its_core_hidden_and_its_finished_wall_in_phantom():
    """Core 34, bore 40: hidden lines 17 mm and phantom lines 20 mm either side of the axis, from the front."""
    wanted = bore_input()
    view = part_views(wanted.part, wanted.zero, "first")["front"]
    hidden = {round(c.start[0], 3) for c in view.hidden if isinstance(c, Line) and c.start[0] == c.end[0]}
    phantom = {round(c.start[0], 3) for c in view.phantom if isinstance(c, Line) and c.start[0] == c.end[0]}

    assert {-17.0, 17.0} <= hidden
    assert {-20.0, 20.0} <= phantom


def test_every_machined_flat_face_carries_a_sign_with_its_allowance():
    """The cube's six faces: six signs, each with 2 mm (0.079 in) at its foot."""
    signs = [p for p in sheet("cube").items if isinstance(p, Label) and p.role == "symbol"]

    assert [p.text for p in signs] == ["0.079"] * 6


# --- readable -----------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_no_text_meets_a_line_or_another_text(name):
    """Every label's box is free of every stroke's points and of every other label."""
    pieces = [piece for item in sheet(name).items for piece in ink(item)]
    labels = [p for p in pieces if isinstance(p, Label)]
    lines = Clutter([p for p in pieces if not isinstance(p, Label)])
    for label in labels:
        assert lines.is_free(label_box(label), 0.0), label
    boxes = [label_box(p) for p in labels]
    for i, (a, b, c, d) in enumerate(boxes):
        for k, (x0, y0, x1, y1) in enumerate(boxes[:i]):
            assert not (a < x1 and x0 < c and b < y1 and y0 < d), (labels[i], labels[k])


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_everything_lies_inside_the_frame(name):
    """Nothing but the frame and its centring marks crosses the frame's line."""
    drawing = sheet(name)
    paper = next(p for p in PAPER.values() if p.width == drawing.width)
    x0, y0, x1, y1 = paper.inside
    box = ink_box(item for item in drawing.items if not (isinstance(item, Stroke) and item.role == "frame"))

    assert box is not None
    assert box[0] > x0 - 1e-6
    assert box[1] > y0 - 1e-6
    assert box[2] < x1 + 1e-6
    assert box[3] < y1 + 1e-6


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_figures_are_at_least_2_5_mm_high_as_printed(name):
    """ISO 3098 lettering: dimension figures 3.5 mm on A3, 2.5 mm on A4; no text anywhere under 1.7 mm."""
    drawing = sheet(name)
    for piece in (p for item in drawing.items for p in ink(item) if isinstance(p, Label)):
        printed = piece.height * drawing.reduction
        assert printed >= (2.47 if piece.role == "dimension" else 1.7)


def test_dimension_lines_keep_their_distances():
    """ISO 129-1 practice: 10 mm from the view to the first line, 8 mm from line to line."""
    items = [d for d in sheet("cover").items if isinstance(d, LinearDimension) and d.turn == 0 and d.from_zero]
    levels = sorted({round(d.base[1], 6) for d in items})

    assert np.diff(levels) == pytest.approx([8.0])


@given(st.lists(st.floats(-100, 100), min_size=1, max_size=12).map(sorted), st.floats(1, 8))
def test_spread_figures_keep_their_order_and_their_distance(wanted, pitch):
    """No two figures nearer than the pitch, none moved when all have room, the whole balanced about its mean."""
    out = spread(wanted, pitch)

    assert all(b - a >= pitch - 1e-9 for a, b in pairwise(out))
    assert sum(out) == pytest.approx(sum(wanted), abs=1e-6)
    if all(b - a >= pitch for a, b in pairwise(wanted)):
        assert out == pytest.approx(wanted)


def test_crowded_positions_become_ordinates_with_their_signs():
    """Five places on one side are more than rows can carry: ordinates, the zero among them, left of zero negative."""
    places = [Position(x, 0.0) for x in (-8.0, 3.0, 6.0, 9.0, 12.0, 15.0)]

    rows = position_rows(places, 1.0, "bottom", "mm", -20.0)

    assert all(isinstance(r, OrdinateDimension) for r in rows)
    assert [r.figure for r in rows] == ["-8", "0", "3", "6", "9", "12", "15"]


def test_a_short_dimension_puts_its_figure_outside():
    """6 mm has no room for a 13 mm figure between arrows: the figure stands clear of both extension lines."""
    short = LinearDimension((0.0, 0.0), (6.0, 0.0), (0.0, 10.0), 0, 6.0, "6.125", 3)
    label = next(p for p in linear_ink(short) if isinstance(p, Label))

    assert not fits_between(short)
    assert label_box(label)[0] > 6.0
    assert sum(isinstance(p, Fill) for p in linear_ink(short)) == 2


# --- text ---------------------------------------------------------------------


def test_text_width_is_that_of_the_font_itself():
    """Against fontTools on the shipped file: advance widths over the cap height of H, whose outline is 1493 units."""
    from fontTools.pens.boundsPen import BoundsPen
    from fontTools.ttLib import TTFont

    from export.fonts import FOLDER

    font = TTFont(FOLDER / "DejaVuSans.ttf")
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    pen = BoundsPen(glyphs)
    glyphs[names[ord("H")]].draw(pen)
    cap = pen.bounds[3]
    wanted = sum(glyphs[names[ord(c)]].width for c in "Ø40 H7 ± 0.1") / cap * 3.5

    assert text_width("Ø40 H7 ± 0.1", 3.5) == pytest.approx(wanted, rel=1e-12)


@given(st.text("abcdefgh ijÜØ", max_size=200), st.floats(12, 80))
def test_wrapped_lines_fit_and_lose_no_letter(text, width):
    """Every line is at most as wide as asked; the letters, in order, are all still there."""
    lines = wrapped(text, 3.5, width)

    assert all(text_width(line, 3.5) <= width + 1e-9 for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_a_letter_the_font_lacks_is_refused_by_name():
    """Chinese is not in the shipped font: the message shows the character and what to do."""
    with pytest.raises(JobError, match=r"title: the character '水' .* Latin, Greek and\s+Cyrillic"):
        check_characters("Pump 水", "job.toml, [drawing] title")


def test_a_title_too_long_for_its_cell_is_refused_with_the_limit():
    """The message names the field, its length and about how much fits."""
    with pytest.raises(JobError, match=r"200 characters; the title block's field 'Legal owner' takes about \d+; shorten it"):
        title_block(replace(TITLE, owner="W" * 200), "1:1", "A3", "first", WHERE)


def test_a_sheet_without_room_at_any_scale_is_refused():
    """Notes longer than the sheet leave no room for views."""
    with pytest.raises(JobError, match=r"has no room on A4 at any scale down to 1:100; shorten the notes"):
        drawing_sheet(replace(bore_input(), notes=(*NOTES, "word " * 3000)))


def test_curves_on_paper_reach_the_sheet_unbroken():
    """The cover's rim on paper: its polyline closes and is as long as pi d times the scale (closed form)."""
    drawing = sheet("cover")
    rim = next(
        s.curve
        for s in drawing.items
        if isinstance(s, Stroke) and s.role == "outline" and isinstance(s.curve, Arc) and s.curve.sweep == 360.0
    )
    points = polyline(rim, 0.001)

    assert points[0] == pytest.approx(points[-1], abs=1e-9)
    around = sum(math.dist(a, b) for a, b in pairwise(points))
    assert around == pytest.approx(math.pi * 120.0 * drawing.scale, rel=1e-4)
