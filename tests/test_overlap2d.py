"""Pieces of one line, circle or ellipse are joined or taken away without changing the ink."""

import math
import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.flat.curve2d import Arc, EllipseArc, Line, Spline, at, circle, curve_length, curves_box, moved, polyline
from geom.flat.overlap2d import difference, merged, union, without


def test_two_halves_of_an_edge_become_one_line():
    """A straight edge that the kernel gives in pieces, one of them backwards, is drawn once (hand-worked)."""
    pieces = [Line((0.0, 0.0), (4.0, 3.0)), Line((12.0, 9.0), (4.0, 3.0)), Line((2.0, 1.5), (6.0, 4.5))]

    assert merged(pieces) == (Line((0.0, 0.0), (12.0, 9.0)),)


def test_a_line_beside_another_stays_a_line_of_its_own():
    """Two edges a hundredth of a millimetre apart are two edges."""
    pieces = [Line((0.0, 0.0), (10.0, 0.0)), Line((0.0, 0.01), (10.0, 0.01))]

    assert merged(pieces) == tuple(pieces)


def test_four_quarters_of_a_hole_become_one_circle():
    """A bore that comes in quarters is one circle, wherever the quarters begin (hand-worked)."""
    quarters = [Arc((5.0, 5.0), 8.0, start, 90.0) for start in (300.0, 30.0, 120.0, 210.0)]

    assert merged(quarters) == (circle((5.0, 5.0), 8.0),)


def test_an_arc_across_zero_degrees_stays_in_one_piece():
    """An arc from 350 to 370 degrees and one from 10 to 50 are one arc of 60 degrees (hand-worked)."""
    (arc,) = merged([Arc((0.0, 0.0), 10.0, 350.0, 20.0), Arc((0.0, 0.0), 10.0, 10.0, 40.0)])

    assert arc == Arc((0.0, 0.0), 10.0, 350.0, 60.0)


def test_two_halves_of_an_ellipse_are_one_even_when_their_axes_point_opposite_ways():
    """The kernel may turn an ellipse's axis end for end; the ink is the same."""
    halves = [EllipseArc((1.0, 2.0), (10.0, 0.0), 0.5, 0.0, 180.0), EllipseArc((1.0, 2.0), (-10.0, 0.0), 0.5, 0.0, 180.0)]

    (whole,) = merged(halves)

    assert isinstance(whole, EllipseArc)
    assert whole.sweep == 360.0


def test_a_hidden_edge_under_a_visible_one_is_dropped_where_they_overlap():
    """Only the part that sticks out stays hidden (hand-worked: 0 to 10 less 3 to 7)."""
    left = without([Line((0.0, 0.0), (10.0, 0.0))], [Line((7.0, 0.0), (3.0, 0.0))])

    assert left == (Line((0.0, 0.0), (3.0, 0.0)), Line((7.0, 0.0), (10.0, 0.0)))


def test_a_quarter_taken_from_a_circle_leaves_three():
    """A circle under a visible quarter keeps 270 degrees, from where the quarter ends."""
    (left,) = without([circle((0.0, 0.0), 5.0)], [Arc((0.0, 0.0), 5.0, 45.0, 90.0)])

    assert left == Arc((0.0, 0.0), 5.0, 135.0, 270.0)


def test_a_spline_under_an_arc_that_it_follows_is_dropped():
    """A quarter circle written as a cubic (the usual 0.5523 handle) lies on the arc to 3 parts in 10 000."""
    h = 4.0 / 3.0 * math.tan(math.pi / 8)
    quarter = Spline(((10.0, 0.0), (10.0, 10.0 * h), (10.0 * h, 10.0), (0.0, 10.0)))

    assert without([quarter], [Arc((0.0, 0.0), 10.0, 0.0, 90.0)]) == ()
    assert without([quarter], [Arc((0.0, 0.0), 10.1, 0.0, 90.0)]) == merged([quarter])


def test_only_the_covered_piece_of_a_chain_of_cubics_goes():
    """Of two straight cubics end to end, the one under a line goes and the other stays."""
    chain = Spline(((0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (3.0, 0.0), (4.0, 0.0), (5.0, 0.0), (6.0, 3.0)))

    left = without([chain], [Line((-1.0, 0.0), (3.0, 0.0))])

    assert left == (Spline(((3.0, 0.0), (4.0, 0.0), (5.0, 0.0), (6.0, 3.0))),)


_numbers = st.floats(-100.0, 100.0).map(lambda v: round(v, 3))


@given(st.lists(st.tuples(_numbers, _numbers).filter(lambda s: abs(s[1] - s[0]) > 0.1), min_size=1, max_size=8), st.randoms())
def test_merging_keeps_the_inked_length_in_any_order(spans, shuffler):
    """The total length of merged pieces is the length of the union of intervals, whatever the order."""
    lines = [Line((a, 2.0), (b, 2.0)) for a, b in spans]
    joined = union([(min(s), max(s)) for s in spans], 0.02)

    out = merged(lines)
    shuffler.shuffle(lines)

    assert merged(lines) == out
    assert sum(curve_length(c) for c in out) == pytest.approx(sum(b - a for a, b in joined), abs=1e-5)


@given(
    st.lists(st.tuples(st.floats(0, 359), st.floats(5, 200)), min_size=1, max_size=6),
    st.lists(st.tuples(st.floats(0, 359), st.floats(5, 200)), max_size=4),
)
@settings(deadline=None)
def test_ink_is_left_exactly_where_no_cover_lies(own, covers):
    """Checked angle by angle: a point of the circle is drawn if and only if an own arc holds it and no cover does."""
    left = without([Arc((0.0, 0.0), 50.0, s, w) for s, w in own], [Arc((0.0, 0.0), 50.0, s, w) for s, w in covers])

    def held(arcs, angle, slack):
        return any((angle - s + slack) % 360.0 <= w + 2 * slack for s, w in arcs)

    for angle in range(0, 360, 7):
        found = held([(a.start, a.sweep) for a in left], angle, 0.05)
        if held(own, angle, -0.05) and not held(covers, angle, 0.05):
            assert found
        if not held(own, angle, 0.1) or held(covers, angle, -0.1):
            assert not held([(a.start, a.sweep) for a in left], angle, -0.05)


def test_differences_of_spans_are_hand_worked():
    """0 to 10 and 20 to 30 less 5 to 25 leaves 0 to 5 and 25 to 30."""
    assert difference([(0.0, 10.0), (20.0, 30.0)], [(5.0, 25.0)], 0.0) == [(0.0, 5.0), (25.0, 30.0)]


def test_the_box_of_an_arc_reaches_its_quarter_points():
    """An arc from 45 to 135 degrees on radius 10 reaches y = 10 exactly and x = -+ 10 cos 45 (trigonometry)."""
    side = 10.0 * math.cos(math.radians(45.0))

    assert curves_box([Arc((0.0, 0.0), 10.0, 45.0, 90.0)]) == pytest.approx((-side, side, side, 10.0), abs=1e-12)


def test_lengths_agree_with_closed_forms():
    """A half circle is pi r; an ellipse of half axes 5 and 3 is 25.527 round (Ramanujan's second formula)."""
    h = (2 / 8) ** 2
    round_it = math.pi * 8 * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h)))

    assert curve_length(Arc((0.0, 0.0), 4.0, 10.0, 180.0)) == pytest.approx(4.0 * math.pi)
    assert curve_length(EllipseArc((0.0, 0.0), (5.0, 0.0), 0.6)) == pytest.approx(round_it, rel=1e-3)


def test_moving_and_scaling_a_curve_moves_every_point_of_it():
    """Twice as large and 3, -1 further: each sampled point goes to 2 p + (3, -1)."""
    curves = [
        Line((1.0, 2.0), (3.0, 5.0)),
        Arc((1.0, 1.0), 2.0, 20.0, 250.0),
        EllipseArc((0.0, 1.0), (2.0, 1.0), 0.4, 30.0, 200.0),
        Spline(((0.0, 0.0), (1.0, 2.0), (3.0, 2.0), (4.0, 0.0))),
    ]
    for curve in curves:
        put = moved(curve, (3.0, -1.0), 2.0)
        for share in (0.0, 0.3, 0.8, 1.0):
            x, y = at(curve, share)
            assert at(put, share) == pytest.approx((2 * x + 3.0, 2 * y - 1.0), abs=1e-12)


def test_a_polyline_strays_from_a_circle_by_no_more_than_asked():
    """The middle of each chord is within the chord error of the circle."""
    points = polyline(circle((0.0, 0.0), 30.0), 0.02)
    middles = [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in pairwise(points)]

    assert max(30.0 - math.hypot(*m) for m in middles) <= 0.02 + 1e-9


def test_the_same_curves_in_another_order_give_the_same_list():
    """Lines, arcs and splines shuffled ten times merge to one result."""
    curves = [Line((0.0, 0.0), (5.0, 0.0)), Line((4.0, 0.0), (9.0, 0.0)), circle((1.0, 1.0), 2.0), Arc((1.0, 1.0), 3.0, 10.0, 20.0)]
    curves += [Spline(((0.0, 0.0), (1.0, 2.0), (3.0, 2.0), (4.0, 0.0))), EllipseArc((0.0, 0.0), (3.0, 0.0), 0.5, 10.0, 50.0)]
    first = merged(curves)
    shuffler = random.Random(1)
    for _ in range(10):
        shuffler.shuffle(curves)
        assert merged(curves) == first
