"""Stock on each machined face: thinnest, mean and thickest, at its edge and away from it.

Lengths mm, part frame; stock as in `geom.stock.depth`. Knows nothing of volumes,
masses or verdicts.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.kernel.shape import SurfaceKind
from geom.model.part import Part, PartFace
from geom.rays.analytic import Bools, Floats, Ints
from geom.rays.sample import RIM, Samples, surface_samples
from geom.space import Vec3
from geom.stock.depth import Depth, Measured
from geom.stock.extreme import Starts, settled
from geom.tolerance import EDGE_BAND

ENOUGH: Final = 1e-3
"""Stock that falls short of what is required by less than this, mm, is enough: STEP files are no more exact."""

_ROAM: Final = 4.0
"""On a face without an edge the search for the thinnest point strays at most this many sample spacings."""

_EVEN: Final = 1e-6
"""A face whose stock varies by less than this, mm, has no thinnest point worth a search."""

_DOUBT: Final = 0.25
"""Share of a partly short piece's area that may be counted wrong: its skin is taken as flat, its outline as square."""


@dataclass(frozen=True, slots=True)
class StockRange:
    """Least, area-weighted mean and greatest stock on a face, mm; the least and greatest count the very edge."""

    min: float
    mean: float
    max: float


@dataclass(frozen=True, slots=True)
class FaceStock:
    """The stock on one machined face.

    Attributes:
        name, kind, normal, centroid, area: as in `PartFace`.
        stock: over the whole face, its edge included.
        least_inside: least stock further than `band` from the face's edge, mm.
        least_in_band: least stock between `sample.RIM` and `band` from the edge, mm; None on a face without an edge.
        band: `tolerance.EDGE_BAND`; on a face too narrow for it, half the way to its middle line.
        required: least stock the face must keep, mm.
        short_fraction: share of the area with stock below 0.
        below_fraction: share of the area with stock below what is required.
        share_error: what either share may be out by, from the sample spacing.
        from_solid: share of the area where no skin comes before the opposite wall, or the bore's axis.
        thinnest: where the stock is least.
        samples: how many points were measured.
    """

    name: str
    kind: SurfaceKind
    normal: Vec3 | None
    centroid: Vec3
    area: float
    stock: StockRange
    least_inside: float
    least_in_band: float | None
    band: float
    required: float
    short_fraction: float
    below_fraction: float
    share_error: float
    from_solid: float
    thinnest: Vec3
    samples: int


@dataclass(frozen=True, slots=True, eq=False)
class _Survey:
    """What was measured on all machined faces together; `edge_stock` is `found.stock` with rim points read `RIM` further in."""

    samples: Samples
    found: Measured
    edge_stock: Floats


@dataclass(frozen=True, slots=True)
class _Ends:
    """Where a face is thinnest, and its least, greatest and least stock inside the band, as found."""

    thinnest: Vec3
    least: float
    most: float
    inside: float


def measure_faces(part: Part, depth: Depth, required: Mapping[str, float], spacing: float) -> tuple[FaceStock, ...]:
    """Return the stock on each machined face, in the part's order.

    Args:
        required: least stock, mm, for every machined face by name.
        spacing: of the samples, mm.
    """
    if not part.machined or depth.cut is None:
        return ()
    owner = {index: number for number, face in enumerate(part.machined) for index in face.surfaces}
    survey = _surveyed(depth, surface_samples(part.finished, spacing, sorted(owner), owner, depth.cut.mesh))
    number = np.array([owner.get(i, -1) for i in range(len(part.finished.surfaces))])[survey.samples.face]
    rows = [np.flatnonzero(number == i) for i in range(len(part.machined))]
    bands = [_band(survey.samples.edge_distance[r]) for r in rows]
    ends = _searched(part, depth, survey, rows, bands, spacing)
    return tuple(_face_stock(face, required[face.name], survey, rows[i], bands[i], ends[i]) for i, face in enumerate(part.machined))


def _surveyed(depth: Depth, samples: Samples) -> _Survey:
    found = depth.at(samples.points, samples.normals, samples.face, samples.looked_from)
    edge_stock = found.stock.copy()
    rim = np.flatnonzero(samples.edge_distance < RIM)
    edge_stock[rim] = depth.at(samples.looked_from[rim], samples.normals[rim], samples.face[rim]).stock
    return _Survey(samples, found, edge_stock)


def _band(edge_distance: Floats) -> float:
    """Return the width of the edge band: narrower on a face whose middle is less than twice `EDGE_BAND` from its edges."""
    return min(EDGE_BAND, float(edge_distance.max()) / 2.0)


def _searched(part: Part, depth: Depth, survey: _Survey, rows: list[Ints], bands: list[float], spacing: float) -> list[_Ends]:
    """Return the extremes of each face: of its samples, and of searches from its worst samples that have room to move."""
    stock, away = survey.found.stock, survey.samples.edge_distance
    begin, sign, kept = [], [], []
    for mine, band in zip(rows, bands, strict=True):
        for way, margin in ((1.0, RIM), (-1.0, RIM), (1.0, band)):
            free = mine[away[mine] >= margin]
            begin.append(int(free[np.argmin(way * stock[free])]) if free.size else int(mine[0]))
            sign.append(way)
            kept.append(margin)
    start = np.array(begin)
    room = np.minimum(away[start] - np.array(kept), _ROAM * spacing)
    uneven = np.repeat([np.ptp(stock[mine]) > _EVEN for mine in rows], 3)
    starts = Starts(
        survey.samples.points[start],
        survey.samples.face[start],
        stock[start],
        np.array(sign),
        np.full(len(start), spacing / 2.0),
        np.where(uneven, room, 0.0),
    )
    spots, values = settled(part.finished, depth, starts)
    return [_ends(survey, mine, spots[3 * i], values[3 * i : 3 * i + 3]) for i, mine in enumerate(rows)]


def _ends(survey: _Survey, rows: Ints, spot: Floats, values: Floats) -> _Ends:
    stock = survey.found.stock[rows]
    thin = rows[np.argmin(stock)]
    if survey.found.stock[thin] <= values[0]:
        spot = survey.samples.points[thin]
    x, y, z = (float(c) + 0.0 for c in spot)
    return _Ends((x, y, z), float(min(stock.min(), values[0])), float(max(stock.max(), values[1])), float(values[2]))


def _face_stock(face: PartFace, required: float, survey: _Survey, rows: Ints, band: float, ends: _Ends) -> FaceStock:
    pieces = rows[survey.samples.area[rows] > 0]
    area, stock, slope = survey.samples.area[pieces], survey.found.stock[pieces], survey.found.slope[pieces]
    rim = rows[survey.samples.edge_distance[rows] < band]
    least = min(float(stock.min()), float(survey.edge_stock[rows].min()))
    short, below = (_share(stock - limit, slope, area, least - limit) for limit in (0.0, required - ENOUGH))
    return FaceStock(
        name=face.name,
        kind=face.kind,
        normal=face.normal,
        centroid=face.centroid,
        area=face.area,
        stock=StockRange(ends.least, float(area @ stock / area.sum()), ends.most),
        least_inside=ends.inside,
        least_in_band=float(survey.edge_stock[rim].min()) if rim.size else None,
        band=band,
        required=required,
        short_fraction=short[0],
        below_fraction=below[0],
        share_error=max(short[1], below[1]),
        from_solid=float(np.clip(area @ survey.found.solid[pieces] / area.sum(), 0.0, 1.0)),
        thinnest=ends.thinnest,
        samples=len(rows),
    )


def _share(height: Floats, slope: Floats, area: Floats, least: float) -> tuple[float, float]:
    """Return the share of the area whose height is below 0, and what it may be out by; none where the least height is not.

    A piece that the zero line crosses counts in part, by how far its middle is from that line.
    """
    if least >= 0:
        return 0.0, 0.0
    reach = slope * np.sqrt(area)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(reach > 0, np.clip(0.5 - height / reach, 0.0, 1.0), height < 0)
    flips: Bools = np.zeros(len(part), dtype=np.bool_)
    flips[1:] = (height[1:] < 0) != (height[:-1] < 0)
    doubtful = flips | ((part > 0) & (part < 1))
    share = np.clip(area @ part / area.sum(), 0.0, 1.0)
    return float(share), float(_DOUBT * area[doubtful].sum() / area.sum())
