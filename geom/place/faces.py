"""What each machined face loses at the chosen place, and whether it cleans up. Lengths mm."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from geom.model.part import Part, PartFace
from geom.place.placement import FaceState, FaceTake
from geom.place.sites import Sites
from geom.rays.analytic import Bools, Floats
from geom.space import Vec3
from geom.stock.report import ENOUGH
from geom.stock.required import Need

SAME: Final = 6
"""Stock is alike to so many decimals of a mm: of equal points the first is the thinnest, whatever rounding says."""


def face_takes(
    part: Part, sites: Sites, stock: Floats, slope: Floats, sigma: Floats, needs: Mapping[str, Need]
) -> tuple[FaceTake, ...]:
    """Return one record a machined face, in the part's order.

    Args:
        stock: (n,) mm at the sites, NaN where nothing is seen.
        slope: (n,) its change along the face, mm per mm.
        sigma: (n,) its standard deviation where it counts.
    """
    return tuple(_take(face, sites, sites.face == i, stock, slope, sigma, needs[face.name]) for i, face in enumerate(part.machined))


def _take(face: PartFace, sites: Sites, mine: Bools, stock: Floats, slope: Floats, sigma: Floats, need: Need) -> FaceTake:
    seen = mine & np.isfinite(stock) & ~sites.solid
    counts = np.flatnonzero(seen & sites.counts)
    area = sites.samples.area
    whole = float(area[mine].sum())
    unseen = float(area[mine & ~seen & ~sites.solid].sum()) / whole
    if not counts.size:
        nan = float("nan")
        state: FaceState = "from solid" if unseen < 1.0 else "short"
        return FaceTake(
            face.name, nan, nan, need.amount, need.source, nan, nan, 1.0, need.bearing, 0.0, 0.0, None, face.centroid, unseen, state
        )
    thin = int(counts[np.argmin(np.round(stock[counts], SAME))])
    least = float(stock[thin])
    lacking = _lacking(sites, seen, stock, slope)
    missing = float(area @ lacking)
    bearing = 1.0 - missing / max(whole * (1.0 - unseen), 1e-300)
    below = float(area[seen & (stock < need.amount - ENOUGH)].sum()) / whole
    return FaceTake(
        name=face.name,
        take_min=least,
        take_max=float(stock[seen].max()),
        required=need.amount,
        source=need.source,
        margin=least - need.amount,
        margin_sigma=float(sigma[thin]),
        bearing=bearing,
        bearing_needed=need.bearing,
        short_area=missing,
        short_depth=max(0.0, -least),
        short_at=_middle(sites, lacking) if missing > 0 else _at(sites, thin) if least < -ENOUGH else None,
        thinnest=_at(sites, thin),
        unseen=unseen,
        state=_state(least, bearing, below, need),
    )


def _state(least: float, bearing: float, below: float, need: Need) -> FaceState:
    if least < -ENOUGH:
        return "forgiven" if need.bearing < 1.0 and bearing >= need.bearing else "short"
    if least < need.amount - ENOUGH:
        if need.source == "default":
            return "thin"
        return "forgiven" if need.bearing < 1.0 and 1.0 - below >= need.bearing else "short"
    return "cleans up"


def _lacking(sites: Sites, seen: Bools, stock: Floats, slope: Floats) -> Floats:
    """Return the share of each piece of area where metal is missing: its skin taken as flat, its outline as square."""
    found = np.zeros(len(stock))
    rows = np.flatnonzero(seen & (sites.samples.area > 0))
    if not rows.size or float(stock[seen].min()) >= -ENOUGH:
        return found
    reach = np.maximum(slope[rows] * np.sqrt(sites.samples.area[rows]), ENOUGH)
    found[rows] = np.clip(0.5 - stock[rows] / reach, 0.0, 1.0)
    return found


def _middle(sites: Sites, lacking: Floats) -> Vec3:
    weight = sites.samples.area * lacking
    x, y, z = (weight @ sites.samples.points / weight.sum()).tolist()
    return (x, y, z)


def _at(sites: Sites, row: int) -> Vec3:
    x, y, z = (float(v) + 0.0 for v in sites.samples.points[row])
    return (x, y, z)
