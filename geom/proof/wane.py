"""The same rows in the casting as received: where metal is missing, where it stays on, which rows cut air.

Judges machined faces only: how far a row goes below a face is the same in any
casting. Lengths mm, part frame. Knows nothing of readings or placements.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

import numpy as np

from geom.model.part import PartFace
from geom.proof.faces import Walk, edge_distances, walk
from geom.proof.received import Received
from geom.proof.rows import Cut, Fault
from geom.proof.verdict import Look, judge
from geom.rays.analytic import Bools
from geom.tolerance import EDGE_BAND

State: TypeAlias = Literal["whole", "wane", "short", "left out"]

_SKIN: Final = 0.05
"""mm: triangles of the skin as received lie this far off at most: less metal than that is not missing."""

_SCATTER: Final = 2.0
"""Standard deviations of a scan's scatter below which a point is not missing metal."""


@dataclass(frozen=True, slots=True)
class FaceReceived:
    """One machined face as these rows leave it in the casting as received.

    Attributes:
        state: "whole": cut all over; "wane": uncut skin stays, no more than its bearing forgives; "short": more than that.
        low, high: deviation, mm: below 0 metal missing, above 0 left over.
        wane: share of its area that stays uncut skin, 0 to 1; forgiven: share that its bearing allows.
    """

    name: str
    state: State
    low: float
    high: float
    wane: float
    forgiven: float
    holds: bool


@dataclass(frozen=True, slots=True)
class ReceivedFound:
    """The answer for the casting as received.

    Attributes:
        how: where its skin comes from, in words; off: how far it lies off the drawn one, placed, mm.
        band: mm from the edges where missing metal is the outline's, not the face's.
        rows: (set-up, row, mm3) of every cut.
    """

    name: str
    how: str
    off: float
    band: float
    faces: tuple[FaceReceived, ...]
    rows: tuple[tuple[int, int, float], ...]
    faults: tuple[Fault, ...]

    @property
    def proved(self) -> bool:
        """Whether nothing is wrong in this casting."""
        return not self.faults


def received_found(look: Look, received: Received, cuts: Sequence[Cut], faults: Sequence[Fault]) -> ReceivedFound:
    """Return the answer for the casting as received.

    Args:
        look: in the casting as drawn.
        cuts: what rows took from the casting as received; faults: found there already.
    """
    seen = _seen(look, received)
    judged = [(face, *judge(face, seen)) for face in look.part.faces if face.state != "as cast"]
    faces = tuple(_face(face, seen, holds=found.holds, left_out=found.left_out) for face, found, _ in judged)
    wrong = (*faults, *(fault for _, _, some in judged for fault in some))
    rows = tuple((cut.sweep.table.number, cut.sweep.row.number, cut.taken.volume) for cut in cuts)
    return ReceivedFound(received.name, received.how, received.off, _band(received), faces, rows, tuple(dict.fromkeys(wrong)))


def _band(received: Received) -> float:
    return EDGE_BAND + received.off


def _seen(look: Look, received: Received) -> Look:
    """Return the look with the casting as received: machined faces only, gouges left to the look as drawn."""
    machined = np.array([face.state != "as cast" for face in look.part.faces])[look.owner]
    flush = (look.walk.ahead < 0) & (look.walk.off <= look.proud) & ~look.walk.gouged & (look.walk.off >= -look.deep)
    rows = np.flatnonzero(machined & (look.spots.area > 0) & ~flush)
    spots, owner = look.spots.of(rows), look.owner[rows]
    found = walk(spots, look.sweeps, received.skin, np.ones(len(rows), dtype=np.bool_))
    rim = _on_rim(look, rows, owner, _band(received))
    kept = np.where((found.off < 0) & (found.gouged | rim), 0.0, found.off)
    deep = np.maximum(look.deep[rows], _SKIN + _SCATTER * received.noise)
    return replace(
        look,
        spots=spots,
        owner=owner,
        walk=Walk(kept, found.ahead, np.zeros(len(rows), dtype=np.bool_)),
        deep=deep,
        proud=look.proud[rows],
        guilty={},
    )


def _on_rim(look: Look, rows: "np.typing.NDArray[np.int64]", owner: "np.typing.NDArray[np.int64]", band: float) -> Bools:
    """Return which spots lie in the edge band; of a face too narrow for a whole one, in the outer half."""
    far = edge_distances(look.part.finished, look.groups, look.spots.of(rows))
    wide = np.zeros(len(look.part.faces))
    np.maximum.at(wide, owner, far)
    return np.asarray(far < np.minimum(band, 0.5 * wide)[owner])


def _face(face: PartFace, seen: Look, *, holds: bool, left_out: bool) -> FaceReceived:
    rows = np.flatnonzero(seen.owner == seen.part.faces.index(face))
    off, area = seen.walk.off[rows], seen.spots.area[rows]
    short = off < -seen.deep[rows]
    share = float(area[short].sum() / max(face.area, 1e-9)) if short.any() else 0.0
    asked = seen.settings.faces.get(face.name)
    forgiven = 1.0 - (asked.bearing if asked else 1.0)
    state: State = "left out" if left_out else "whole" if not short.any() else "wane" if share <= forgiven else "short"
    low, high = float(off.min(initial=0.0)) + 0.0, float(off.max(initial=0.0)) + 0.0
    return FaceReceived(face.name, state, low if short.any() else 0.0, high, share, forgiven, holds)
