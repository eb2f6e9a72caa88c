"""Where programs may start: rows told by sites and back, by hand."""

import numpy as np

from geom.place.stages import Start
from geom.place.starts import by_row, by_site, renumbered


def listed(start: Start) -> tuple[list[int] | None, list[int] | None, list[list[int]]]:
    """Return a start as plain lists."""
    margin, shortfall = (None if c is None else c.tolist() for c in (start.margin, start.shortfall))
    return margin, shortfall, [cut.tolist() for cut in start.cuts]


def test_rows_come_back_by_their_sites():
    """Rows 0, 2 and a side of a bound, of sites 4, 7, 9: the same again from the same rows, others where the rows are others."""
    start = Start(np.array([0, 2, -3]), None, (np.array([1, 2]),))
    sites = by_site(start, np.array([4, 7, 9]))

    assert listed(sites) == ([4, 9, -3], None, [[7, 9]])
    assert listed(by_row(sites, np.array([4, 7, 9]), np.array([0, 1, 2]))) == ([0, 2, -3], None, [[1, 2]])
    assert listed(by_row(sites, np.array([1, 9, 7, 4]), np.array([0, 1, 2, 0]))) == ([3, 1, -3], None, [[2, 1]])


def test_what_is_not_there_is_left_out():
    """A site without a row, a number beyond all, and a cut with two rows on one face: nothing starts there."""
    sites = Start(np.array([4, 8]), np.array([50]), (np.array([4, 7]), np.array([4, 9])))

    assert listed(by_row(sites, np.array([4, 7, 9]), np.array([0, 0, 1]))) == (None, None, [[0, 2]])


def test_sites_are_known_again_by_their_place():
    """Sites at three points, of which one is gone and one was never there."""
    before, after = np.array([[0.0, 0.0, 1.0], [2.0, 0.0, 0.0], [3.0, 0.0, 0.0]]), np.array([[3.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    found = renumbered(Start(np.array([2, 0, -1]), np.array([1]), (np.array([0, 99]),)), before, after)

    assert listed(found)[0] == [0, 1, -1]
    assert listed(by_row(found, np.arange(2), np.arange(2))) == ([0, 1, -1], None, [])
