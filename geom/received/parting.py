"""Readings on the parting line: flash and the mismatch of the mould's halves stand there, so they tell less of the skin.

The line is where the skin crosses the parting plane, which is square to the draw; cored holes have none, for a core is one piece. A
reading within `BAND` of it is named and trusted less; one that does not say where it was taken, on a face that the line crosses,
is taken to be clear of it, and that is said. Lengths mm, part frame. Knows nothing of files.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final

import numpy as np

from geom.errors import ReadingError
from geom.kernel.shape import Solid
from geom.model.part import Part
from geom.rays.analytic import Bools, Floats, dots
from geom.rays.rays import skin_of
from geom.readings.records import Height, Thickness, Touch
from geom.received.faces import face_skin
from geom.received.locate import Tips
from geom.received.priors import mismatch_sigma
from geom.received.rows import Measured
from geom.rigid import Rigid
from geom.rows.words import Note
from geom.settings.parting import Parting

BAND: Final = 4.0
"""mm to either side of the parting line within which its flash, fettled or not, may be met (common practice, no source)."""

FLASH: Final = 0.5
"""Standard deviation, mm, of what fettled flash leaves standing or takes away (common practice, no source)."""

_BESIDE: Final = 0.05
"""The plane is looked at so far, mm, above and below: where a face lies in it, the line runs along its edge."""

_ALL_ROUND: Final = 179.99
"""Degrees round its axis from which a hollow wall is a cored hole."""

_PAIRS: Final = 1_000_000
"""Distances worked out at a time."""


def near_line(casting: Solid, parting: Parting | None, points: Floats) -> Bools:
    """Return which points (n, 3) lie within `BAND` of the parting line; none where the parting plane is not known."""
    found = np.zeros(len(points), dtype=np.bool_)
    if parting is None:
        return found
    start, end = _line(casting, parting)
    rows = np.flatnonzero(np.abs(parting.over(points)) < BAND + _BESIDE) if len(start) else np.zeros(0, dtype=np.int64)
    step = max(1, _PAIRS // max(len(start), 1))
    for i in range(0, rows.size, step):
        some = rows[i : i + step]
        found[some] = _nearest(points[some], start, end) < BAND
    return found


def _nearest(points: Floats, start: Floats, end: Floats) -> Floats:
    """Return mm from each point (n, 3) to the nearest of some pieces (m, 3)."""
    along = end - start
    long = np.maximum(dots(along, along), 1e-300)
    away = points[:, None] - start[None]
    share = np.clip(np.einsum("nmi,mi->nm", away, along) / long, 0.0, 1.0)
    return np.asarray(np.linalg.norm(away - share[:, :, None] * along, axis=2).min(axis=1))


@lru_cache(maxsize=8)
def _line(casting: Solid, parting: Parting) -> tuple[Floats, Floats]:
    """Return the ends (m, 3) of the pieces of the parting line."""
    mesh = skin_of(casting).mesh
    cored = np.array([s.hollow and s.turn >= _ALL_ROUND for s in casting.surfaces])
    corners = mesh.vertices[mesh.triangles[~cored[mesh.face]]]
    pieces = [_crossing(corners, parting.over(corners) - aside) for aside in (-_BESIDE, _BESIDE)]
    return np.concatenate([p[0] for p in pieces]), np.concatenate([p[1] for p in pieces])


def _crossing(corners: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return where triangles (n, 3, 3) cross a plane, their corners so high (n, 3) over it: both ends (m, 3) of each crossing."""
    some = np.flatnonzero((high > 0).any(axis=1) & (high <= 0).any(axis=1))
    corners, high = corners[some], high[some]
    above = high > 0
    alone = np.argmax(above == (above.sum(axis=1) == 1)[:, None], axis=1)
    rows = np.arange(len(some))
    ends = []
    for step in (1, 2):
        other = (alone + step) % 3
        share = high[rows, alone] / (high[rows, alone] - high[rows, other])
        ends.append(corners[rows, alone] + share[:, None] * (corners[rows, other] - corners[rows, alone]))
    return ends[0], ends[1]


def doubt(grade: int) -> float:
    """Return the standard deviation, mm, of the skin at the parting line, besides its own: flash and mismatch."""
    return float(np.hypot(FLASH, mismatch_sigma(grade)))


def tips_beside(
    part: Part, tips: Tips, sources: Sequence[str], touches: Sequence[Touch], move: Rigid, parting: Parting | None, grade: int
) -> tuple[Tips, tuple[Note, ...]]:
    """Return tips, those on the parting line less sure, and a sentence on each of those and on each that may be.

    Args:
        sources: of each tip; touches: in any order; move: measuring frame -> part frame.
    """
    if parting is None or not len(tips.points):
        return tips, ()
    whole = tips.known.all(axis=1)
    near = near_line(part.casting, parting, tips.placed(move)) & whole
    more, faces = doubt(grade), {touch.source: touch.face for touch in touches}
    notes: list[Note] = [_on_line(sources[i], more) for i in np.flatnonzero(near).tolist()]
    for source in (sources[i] for i in np.flatnonzero(~whole).tolist()):
        if crossed(part, faces[source], parting):
            notes.append(_assumed(source, faces[source] or ""))
    return replace(tips, sigma=np.where(near, np.hypot(tips.sigma, more), tips.sigma)), tuple(notes)


def across_beside(
    part: Part, readings: Sequence[Height | Thickness], across: Sequence[Measured], parting: Parting | None, grade: int
) -> tuple[list[Measured], tuple[Note, ...]]:
    """Return heights and thicknesses, those on the line less sure, and a sentence on each of those and on each that may be."""
    found, notes = list(across), list[Note]()
    if parting is None:
        return found, ()
    for i, (reading, m) in enumerate(zip(readings, across, strict=True)):
        faces = dict.fromkeys(reading.faces if isinstance(reading, Thickness) else (reading.face,))
        if reading.at is None:
            notes += [_assumed(m.source, face) for face in faces if crossed(part, face, parting)]
        elif near_line(part.casting, parting, np.array([m.expected.at]))[0]:
            found[i] = replace(m, sigma=float(np.hypot(m.sigma, doubt(grade))))
            notes.append(_on_line(m.source, doubt(grade)))
    return found, tuple(notes)


def crossed(part: Part, face: str | None, parting: Parting) -> bool:
    """Tell whether the parting line runs over a face where a reading might be taken."""
    if face is None:
        return False
    try:
        return bool(near_line(part.casting, parting, face_skin(part, face).points).any())
    except ReadingError:
        return False


def _on_line(source: str, more: float) -> Note:
    return (
        f"{source}: lies within ", BAND, " of the parting line, where flash and mismatch stand: trusted ", more,
        " less; take it again further off",
    )  # fmt: skip


def _assumed(source: str, face: str) -> Note:
    return (f"{source}: does not say where on {face}, which the parting line crosses; taken to be at least ", BAND, " clear of it")
