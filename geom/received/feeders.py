"""Stubs of feeders, risers and ingates: what was cut off there stands proud of the skin, so nothing is measured on it.

Lengths mm, part frame. Knows nothing of how a place is chosen.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from geom.errors import JobError, nearest
from geom.model.part import Part
from geom.rays.analytic import Bools, Floats
from geom.readings.records import Readings
from geom.received.casting import AsReceived
from geom.received.faces import face_skin
from geom.settings.records import Feeder
from geom.space import Vec3

CLEAR: Final = 3.0
"""Tips keep this far, mm, from a stub: its edge is ground by hand (common practice, no source)."""


def check_feeders(part: Part, feeders: Sequence[Feeder]) -> None:
    """Refuse a stub on a face that the part does not have.

    Raises:
        JobError: names the key and the nearest face.
    """
    names = [face.name for face in part.faces]
    for feeder in feeders:
        if feeder.face not in names:
            raise JobError(f"{feeder.where}: there is no face {feeder.face!r}{nearest(feeder.face, names)}")


def on_stub(part: Part, feeders: Sequence[Feeder], face: str, points: Floats, clear: float = 0.0) -> Bools:
    """Return which points (n, 3) on a face lie on a stub, or nearer to it than `clear`."""
    found = np.zeros(len(points), dtype=np.bool_)
    for feeder in feeders:
        if feeder.face == face:
            skin = face_skin(part, face)
            normal = skin.normals[skin.nearest(np.array(feeder.at))]
            off = points - np.array(feeder.at)
            aside = np.linalg.norm(off - np.outer(off @ normal, normal), axis=1)
            found |= aside < feeder.size / 2.0 + clear
    return found


def stub_notes(part: Part, feeders: Sequence[Feeder], readings: Readings, received: AsReceived) -> tuple[str, ...]:
    """Return a sentence on each reading taken on a stub, with its file and line."""
    if not feeders:
        return ()
    return tuple(
        f"{source}: was taken on {face!r} where a feeder stood (casting.feeder): what is left of the stub stands proud, so the "
        "casting seems larger there; measure beside it, or dress the stub flush first"
        for face, at, source in _places(readings, received)
        if on_stub(part, feeders, face, np.array([at]))[0]
    )


def _places(readings: Readings, received: AsReceived) -> list[tuple[str, Vec3, str]]:
    """Return face, place and source of every reading that says where it was taken."""
    if received.scan is None:
        back = received.to_part
        found = [(t.face, back.point(t.point), t.source) for t in readings.touches if t.face is not None and all(t.known)]
    else:
        found = []
    found += [(h.face, h.at, h.source) for h in readings.heights if h.at is not None]
    return found + [(face, t.at, t.source) for t in readings.thicknesses if t.at is not None for face in dict.fromkeys(t.faces)]
