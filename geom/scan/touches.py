"""Touches in the frame of a scan: where the scan misses the skin, a touch stands in for it.

Each such touch becomes a small flat patch of skin, parallel to the drawn one, as wide as the gap leaves round it; touches where the
scan shows the skin are held against it. Lengths mm, part frame.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from geom.errors import ReadingError
from geom.kernel.mesh import Mesh
from geom.model.part import Part
from geom.rays.analytic import Floats
from geom.rays.rays import Skin
from geom.readings.records import Touch
from geom.received.faces import face_skin, over_skin
from geom.rigid import Rigid
from geom.rows.words import About, Words

_SEEN: Final = 8.0
"""Skin further than this, mm, from the drawn one is another wall's, seen through a gap."""

_WIDEST: Final = 15
"""A touch speaks for the skin no further than so many mm round it (common practice, no source)."""

_ROUND: Final = 12
"""Corners of a patch."""

_APART: Final = 4.0
"""A touch further from the scan than so many standard deviations of both is named."""


def with_touches(
    part: Part, scan: Skin, accuracy: float, to_part: Rigid, touches: Sequence[Touch]
) -> tuple[Skin, tuple[Words, ...]]:
    """Return the scan with the gaps filled that were touched, and a sentence on each touch that fills one or contradicts it.

    Args:
        accuracy: of the scan, mm; to_part: the frame of the scan, and of the touches, to the part frame.
    """
    patches, notes = [], list[Words]()
    for touch in touches:
        if touch.face is None or not all(touch.known):
            continue
        try:
            foot, normal, off = _skin_at(part, touch, to_part)
        except ReadingError:
            continue
        seen = float(scan.over(foot[None], normal[None]).distance[0])
        room = _room(scan, foot, normal) if not abs(seen) < _SEEN else 0
        if room:
            patches.append(_patch(foot + off * normal, normal, room))
            notes.append(
                (
                    f"{touch.source}: the scan does not show {touch.face} there; the touch stands in for the skin ", About(room),
                    " round it, ", abs(off), f" {'outside' if off >= 0 else 'inside'} the drawn one",
                )
            )  # fmt: skip
        elif abs(seen) < _SEEN and abs(seen - off) > _APART * float(np.hypot(accuracy, touch.sigma)):
            notes.append(
                (
                    f"{touch.source}: lies ", abs(off - seen),
                    f" {'outside' if off > seen else 'inside'} the scan of {touch.face}, which stands; measure it again",
                )
            )  # fmt: skip
    return (Skin(_joined(scan.mesh, patches)) if patches else scan), tuple(notes)


def _skin_at(part: Part, touch: Touch, to_part: Rigid) -> tuple[Floats, Floats, float]:
    """Return the foot of a touch on the drawn skin (3,), the outward normal there and how far outside the touched skin lies."""
    assert touch.face is not None
    tip = np.array([to_part.point(touch.point)])
    skin = face_skin(part, touch.face)
    here = skin.nearest(tip[0])
    high, normal = over_skin(part.casting, skin.surface[here : here + 1], tip)
    return tip[0] - high[0] * normal[0], normal[0], float(high[0]) - touch.tip_radius


def _ring(normal: Floats) -> Floats:
    """Return unit directions (n, 3) across a normal, anticlockwise seen from its tip."""
    x = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    x /= np.linalg.norm(x)
    angle = 2.0 * np.pi * np.arange(_ROUND) / _ROUND
    return np.asarray(np.cos(angle)[:, None] * x + np.sin(angle)[:, None] * np.cross(normal, x))


def _room(scan: Skin, foot: Floats, normal: Floats) -> int:
    """Return how far round a place, whole mm, the scan shows nothing."""
    ring = _ring(normal)
    for reach in range(1, _WIDEST + 1):
        seen = scan.over(foot + reach * ring, np.tile(normal, (_ROUND, 1))).distance
        if (np.abs(seen) < _SEEN).any():
            return reach - 1
    return _WIDEST


def _patch(middle: Floats, normal: Floats, reach: int) -> tuple[Floats, "np.typing.NDArray[np.int64]"]:
    corners = np.vstack([middle, middle + reach * _ring(normal)])
    rim = np.arange(_ROUND)
    return corners, np.stack([np.zeros(_ROUND, dtype=np.int64), 1 + rim, 1 + (rim + 1) % _ROUND], axis=1)


def _joined(mesh: Mesh, patches: Sequence[tuple[Floats, "np.typing.NDArray[np.int64]"]]) -> Mesh:
    points, triangles = [mesh.vertices], [mesh.triangles]
    for corners, fan in patches:
        triangles.append(fan + sum(len(p) for p in points))
        points.append(corners)
    laid = np.vstack(triangles).astype(mesh.triangles.dtype)
    return Mesh(np.vstack(points), laid, np.zeros(len(laid), dtype=np.int64))
