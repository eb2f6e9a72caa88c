"""Pits in a scanned skin: where metal lies deeper below the skin around it than the scan's noise explains.

Looked for between the places where stock is worked out, four looks about each. How deep, how wide, where, and how
much stock is left over the bottom. A pit may be a hole in the casting or a wild point of the scanner: a scan cannot
tell, so it counts, and is said. Lengths mm, part frame. Knows nothing of what stock is required.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.rays.analytic import Bools, Floats, Ints
from geom.rays.rays import Skin
from geom.rows.words import Words, where
from geom.space import Vec3

_SURE: Final = 5.0
"""Standard deviations of one look: of a million clean ones less than one lies further out."""

_LEAST: Final = 0.1
"""mm: shallower is roughness (common practice, no source: the skin of a sand casting)."""

_WALL: Final = 5.0
"""mm below the skin around it beyond which a look has met another wall, or a gap in the scan."""

_ASIDE: Final = 0.25
"""Looks stand this share of the spacing to either side of each place."""

_WIDE: Final = 5.0
"""mm: wider is a low spot, not a pit."""

_LOOKS: Final = 2
"""Looks that must agree: one alone is a wild point, or a flaw of the mesh."""

_ROUND: Final = 8
_FALLS: Final = 0.05
"""mm by which the drawn skin may fall away from the ground beside it: further down, over a rounded edge, a small shift of the
skin looks like a pit."""

_TOGETHER: Final = 0.8
"""Looks no further apart than this share of the spacing belong to one pit."""


@dataclass(frozen=True, slots=True)
class Pit:
    """One pit.

    Attributes:
        face: number of the face; place: row of the place it lies beside; at: of the deepest look, on the face.
        depth: mm below the skin around it; stock: left over the face there.
        size: mm, longest and across; looks: how many met it.
    """

    face: int
    place: int
    at: Vec3
    depth: float
    stock: float
    size: tuple[float, float]
    looks: int


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Where stock is known, one row each.

    Attributes:
        points, normals: (n, 3) on the finished part as it lies; face: (n,).
        ground: (n,) stock of the skin around, mm; proud: (n,) how far that lies outside the drawn skin along the normal.
        scatter: (n,) standard deviation of one look.
        inner: (n,) False where a look beside the place may leave its face.
        spacing: mm between neighbours, about; reach: how near a drawn edge the scan is too coarse to tell a pit from it.
    """

    points: Floats
    normals: Floats
    face: Ints
    ground: Floats
    proud: Floats
    scatter: Floats
    inner: Bools
    spacing: float
    reach: float


def pits_in(skin: Skin, places: Places, drawn: Skin | None = None) -> tuple[Pit, ...]:
    """Return the pits, the least stock left first.

    Args:
        drawn: the drawn skin: where it falls away itself, as over a rounded edge, there is no pit.
    """
    rows = np.flatnonzero(places.inner & np.isfinite(places.ground))
    if not rows.size:
        return ()
    points, owner = _looks(places, rows)
    stock = skin.over(points, places.normals[owner]).distance
    deep = places.ground[owner] - stock
    limit = np.maximum(_SURE * places.scatter[owner], _LEAST)
    with np.errstate(invalid="ignore"):
        hit = np.flatnonzero((deep > limit) & (deep < _WALL))
    if drawn is not None and hit.size:
        hit = hit[_is_drawn_level(drawn, places, points[hit], owner[hit])]
    lots = [some for some in _lots(points[hit], places, owner[hit], hit) if len(some) >= _LOOKS]
    found = [_pit(places, points[some], owner[some], stock[some], deep[some]) for some in lots]
    return tuple(sorted(found, key=lambda pit: (round(pit.stock, 9), pit.face, pit.at)))


def _is_drawn_level(drawn: Skin, places: Places, points: Floats, owner: Ints) -> Bools:
    """Tell at which points the drawn skin is level with the ground, and all about them too."""
    u, v = _aside(places.normals[owner])
    wanted, level = places.ground[owner] - places.proud[owner], np.ones(len(points), dtype=np.bool_)
    for angle in np.arange(_ROUND) * (2.0 * np.pi / _ROUND):
        spots = points + places.reach * (np.cos(angle) * u + np.sin(angle) * v)
        with np.errstate(invalid="ignore"):
            level &= np.abs(drawn.over(spots, places.normals[owner]).distance - wanted) < _FALLS
    return level


def _aside(normals: Floats) -> tuple[Floats, Floats]:
    """Return two directions (n, 3) square to normals and to each other."""
    u = np.cross(normals, np.eye(3)[np.argmin(np.abs(normals), axis=1)])
    u /= np.linalg.norm(u, axis=1)[:, None]
    return u, np.cross(normals, u)


def _looks(places: Places, rows: Ints) -> tuple[Floats, Ints]:
    """Return points (5 m, 3): each place itself and four about it, and the place each belongs to."""
    points, normals = places.points[rows], places.normals[rows]
    u, v = _aside(normals)
    aside = _ASIDE * places.spacing
    looks = [points, *(points + aside * (a * u + b * v) for a in (-1.0, 1.0) for b in (-1.0, 1.0))]
    return np.concatenate(looks), np.tile(rows, len(looks))


def _lots(points: Floats, places: Places, owner: Ints, hit: Ints) -> list[Ints]:
    """Return the looks that belong together, each lot of one face."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if not len(points):
        return []
    pairs = cKDTree(points).query_pairs(_TOGETHER * places.spacing, output_type="ndarray")
    pairs = pairs[places.face[owner[pairs[:, 0]]] == places.face[owner[pairs[:, 1]]]]
    links = coo_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    count, name = connected_components(links, directed=False)
    return [hit[name == i] for i in range(count)]


def _pit(places: Places, points: Floats, owner: Ints, stock: Floats, deep: Floats) -> Pit:
    worst = int(np.argmin(np.round(stock, 9)))
    x, y, z = (float(c) + 0.0 for c in points[worst])
    size = _size(points, places.spacing)
    row = int(owner[worst])
    return Pit(int(places.face[row]), row, (x, y, z), float(deep.max()), float(stock.min()), size, len(points))


def _size(points: Floats, spacing: float) -> tuple[float, float]:
    """Return how far looks reach along their longest direction and across it, with half a spacing for what lies between looks."""
    out = points - points.mean(axis=0)
    _, ways = np.linalg.eigh(out.T @ out)
    across, along = (float(np.ptp(out @ ways[:, i])) + spacing / 2.0 for i in (1, 2))
    return max(along, across), min(along, across)


def pit_words(pit: Pit, face: str) -> Words:
    """Return what to say of a pit."""
    wide = pit.size[0] > _WIDE
    return (
        f"{face} has a {'low spot' if wide else 'pit'} at ", *where(pit.at), ": ", pit.depth, " below the skin around it, about ",
        pit.size[0], " x ", pit.size[1], ", ", pit.stock, " of stock left over it",
        *(() if wide else ("; a pit in the casting or a wild point of the scan, look at it",)),
    )  # fmt: skip
