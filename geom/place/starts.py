"""Where the programs of one look may start in the next: the rows that met at their corners, told by the sites they are of.

It saves time and changes nothing. Numbers below 0 are sides of bounds and stay. Knows nothing of aims or castings.
"""

from typing import Final

import numpy as np

from geom.place.stages import Start
from geom.rays.analytic import Floats, Ints

_NOWHERE: Final = 10**9
"""Number of a site that is no longer there."""


def by_site(start: Start, site: Ints) -> Start:
    """Return a start given by rows, by the site (n,) of each."""

    def named(rows: Ints) -> Ints:
        return np.where(rows < 0, rows, site[np.maximum(rows, 0)])

    margin, shortfall = (None if c is None else named(c) for c in (start.margin, start.shortfall))
    return Start(margin, shortfall, tuple(map(named, start.cuts)))


def by_row(start: Start, site: Ints, face: Ints) -> Start:
    """Return a start given by sites, by rows: what has no row is left out, and so are cuts with two rows on a face.

    Args:
        site, face: (n,) of each row.
    """
    row = np.full(int(site.max()) + 1, -1)
    row[site] = np.arange(len(site))

    def found(sites: Ints | None) -> Ints | None:
        if sites is None or int(sites.max()) >= len(row):
            return None
        rows = np.where(sites < 0, sites, row[np.maximum(sites, 0)])
        return None if ((rows < 0) & (sites >= 0)).any() or len(set(rows.tolist())) < len(rows) else rows

    cuts = (cut for cut in map(found, start.cuts) if cut is not None and len(set(face[cut].tolist())) == len(cut))
    return Start(found(start.margin), found(start.shortfall), tuple(cuts))


def renumbered(start: Start, before: Floats, after: Floats) -> Start:
    """Return a start given by sites at points before (n, 3), by sites at points after (m, 3): those at the same place."""
    lots = [c for c in (start.margin, start.shortfall, *start.cuts) if c is not None]
    sites = np.unique(np.concatenate([np.zeros(0, dtype=np.int64), *lots]))
    sites = sites[(sites >= 0) & (sites < len(before))]
    same = np.ones((len(after), len(sites)), dtype=np.bool_)
    for axis in range(3):
        same &= after[:, axis, None] == before[sites, axis]
    number = dict(zip(sites.tolist(), np.where(same.any(axis=0), same.argmax(axis=0), _NOWHERE).tolist(), strict=True))

    def found(some: Ints) -> Ints:
        return np.array([n if n < 0 else number.get(n, _NOWHERE) for n in some.tolist()], dtype=np.int64)

    margin, shortfall = (None if c is None else found(c) for c in (start.margin, start.shortfall))
    return Start(margin, shortfall, tuple(map(found, start.cuts)))
