"""Stubs of feeders in a scan: what stands on the casting where a feeder was cut off is no skin.

A stub is a round stump on a face of the drawn casting. Points on it take no part in laying the scan, and its facets are left out,
so that the skin under it counts as not seen. Lengths mm, part frame. Knows nothing of stock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.errors import ReadingError
from geom.model.part import Part
from geom.rays.analytic import Bools, Floats
from geom.received.faces import face_skin
from geom.received.feeders import CLEAR
from geom.rows.words import Note
from geom.settings.records import Feeder

BACK: Final = -0.5
"""Cosine against the stub's way from which a facet looks the other way: it is a wall behind, not the stub."""


@dataclass(frozen=True, slots=True)
class Stub:
    """One stub.

    Attributes:
        face: that it stands on; at: (3,) its middle on the drawn skin; way: (3,) outward; radius: with the ground edge round it.
    """

    face: str
    at: Floats
    way: Floats
    radius: float

    def holds(self, points: Floats, normals: Floats, deep: float) -> Bools:
        """Return which points (n, 3) belong to it: over its foot or up to `deep` below, not facing back."""
        off = points - self.at
        high = off @ self.way
        aside = np.linalg.norm(off - high[:, None] * self.way, axis=1)
        return np.asarray((aside < self.radius) & (high > -deep) & (normals @ self.way > BACK))


def stubs_of(part: Part, feeders: Sequence[Feeder]) -> tuple[Stub, ...]:
    """Return the stubs of a job; one on a face that is cut from solid stands on nothing and is left out."""
    found = []
    for feeder in feeders:
        try:
            skin = face_skin(part, feeder.face)
        except ReadingError:
            continue
        here = skin.nearest(np.array(feeder.at))
        way = skin.normals[here]
        foot = np.array(feeder.at) - ((np.array(feeder.at) - skin.points[here]) @ way) * way
        found.append(Stub(feeder.face, foot, way, feeder.size / 2.0 + CLEAR))
    return tuple(found)


def stub_words(label: str, stub: Stub, count: int) -> Note:
    """Say that part of a scan was left out for a stub."""
    return (
        f"{label}: {count:,} of its points or facets stand where a feeder was cut off on {stub.face} (casting.feeder), within ",
        stub.radius, " of its middle, and are left out: the skin under the stub is not known",
    )  # fmt: skip
