"""Which way round a scan lies, where a casting looks alike from several sides.

Points on named faces tell poses apart that fit alike; where they do not, the other ways round are listed with the one
point that would settle it. Lengths mm; a pose takes scan points to the part frame. Knows nothing of how poses are found.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.errors import ReadingError, nearest
from geom.model.part import Part
from geom.rays.analytic import Floats
from geom.readings.records import HintPoint, Readings
from geom.rigid import Rigid, rigid_from_matrix
from geom.rows.words import Note, Words, where
from geom.scan.fit import Fit, Pose
from geom.scan.near import apart, facets_of, nearest_place
from geom.scan.words import axis_words, turn_words

ALIKE: Final = 1.25
"""Another pose that fits less than this many times as badly is as good: casting errors could have decided."""

_EQUAL: Final = 1.02
"""Poses this near in fit are the same to any reading: the part is symmetrical."""

_HINT_REACH: Final = 10.0
"""mm that a named point may lie off its face, beyond the casting's own error: stock, and a rough aim."""

_RAW: Final = 3.0
"""mm that a point on the raw skin usually lies off its machined face."""


@dataclass(frozen=True, slots=True)
class Way:
    """Another way round that fits (nearly) as well.

    Attributes:
        words: "turned 180 degrees about the part's Z axis", against the pose chosen.
        to_part: the move from the scan's frame.
        score: mm, root mean square distance, far points held back; chosen: that of the pose chosen.
    """

    words: str
    to_part: Rigid
    score: float
    chosen: float


# --- points that tell ---------------------------------------------------------


def touch_hints(readings: Readings) -> tuple[HintPoint, ...]:
    """Return the touches on named faces as points of the scan, when their file says they are in its frame (`# frame: scan`)."""
    if not readings.frame.strip().casefold().startswith("scan"):
        return ()
    return tuple(HintPoint(t.face, t.point, t.source) for t in readings.touches if t.face is not None and all(t.known))


def told(part: Part, fits: Sequence[Fit], hints: Sequence[HintPoint], limit: float, label: str) -> tuple[Fit, list[Fit]]:
    """Return the likeliest fit, and those that neither the skin nor the hints tell from it.

    Args:
        fits: the best first; limit: mm, how far a casting's skin may be off.

    Raises:
        ReadingError: a face that does not exist, or points that fit none of the poses.
    """
    alike = [fit for fit in fits if fit.score <= ALIKE * fits[0].score + 1e-9]
    if not hints:
        return alike[0], alike[1:]
    away = np.array([[_from_face(part, h.face, fit.pose.points(np.array([h.point]))[0], h.source) for h in hints] for fit in alike])
    worst = away.max(axis=1)
    best = int(np.argmin(worst))
    reach = limit + _HINT_REACH
    if worst[best] > reach:
        hint = hints[int(np.argmax(away[best]))]
        raise ReadingError(
            f"{hint.source}: the point said to lie on {hint.face!r} is ",
            float(worst[best]),
            f" from it in the pose of {label} that fits best (limit ",
            reach,
            "); check the point and the face's name",
        )
    open_still = [_not_told(float(w), float(worst[best]), limit) for w in worst]
    return alike[best], [fit for i, fit in enumerate(alike) if open_still[i] and i != best]


def _not_told(away: float, least: float, limit: float) -> bool:
    """Tell whether points so far off their faces may belong to a pose as well as to the one they are nearest in."""
    return away <= max(2.0 * least, least + limit)


def _from_face(part: Part, name: str, place: Floats, source: str) -> float:
    """Return how far, mm, a place (3,) is from a face."""
    names = [face.name for face in part.faces]
    if name not in names:
        raise ReadingError(f"{source}: there is no face {name!r}{nearest(name, names)}")
    return apart(facets_of(part)[name], place)


# --- what is open -------------------------------------------------------------


def other_ways(likely: Fit, others: Sequence[Fit], best: Fit) -> tuple[Way, ...]:
    """Return the other ways round, against the likeliest; those along a freedom that is open anyhow are left out."""
    found = []
    for fit in others:
        turn = fit.pose.matrix @ likely.pose.matrix.T
        if not _along_free(turn, best.free):
            found.append(Way(turn_words(turn), _rigid(fit.pose), fit.score, likely.score))
    return tuple(found)


def _rigid(pose: Pose) -> Rigid:
    x, y, z = pose.shift.tolist()
    return rigid_from_matrix(pose.matrix, (x, y, z))


def _along_free(turn: Floats, free: Floats) -> bool:
    axis, _ = axis_words(turn)
    return any(np.linalg.norm(way[:3]) > 0.1 and abs(way[:3] @ axis) > 0.99 * np.linalg.norm(way[:3]) for way in free)


def ways_notes(part: Part, label: str, pose: Pose, ways: Sequence[Way], limit: float) -> list[Note]:
    """Say which other ways round fit as well, and which point settles it.

    Args:
        pose: the one chosen.
    """
    if not ways:
        return []
    equal = all(way.score <= _EQUAL * way.chosen + 1e-3 for way in ways)
    how: Words = ("as well",) if equal else ("nearly as well (", ways[0].score, " against ", ways[0].chosen, ")")
    return [
        (
            f"{label}: the pose is ambiguous: the scan fits ", *how, f" {'; '.join(way.words for way in ways)}: the casting is "
            "(nearly) the same from there, and this answer is for one pose only; one point of the scan on a named face settles it "
            "(scan.toml, [points], or touches.csv with '# frame: scan')", *_settling(part, pose, ways, limit),
        )
    ]  # fmt: skip


def _settling(part: Part, pose: Pose, ways: Sequence[Way], limit: float) -> Words:
    """Name the face whose middle tells the most ways apart, and where it lies now."""
    found = []
    back = _rigid(pose).inverse()
    for face in (face for face in part.faces if face.state != "hole"):
        facets = facets_of(part)[face.name]
        middle = nearest_place(facets, np.array(face.centroid))
        spot = back.points(middle[None])
        away = [apart(facets, way.to_part.points(spot)[0]) for way in ways]
        told_apart = sum(not _not_told(a, _RAW, limit) for a in away)
        found.append((-told_apart, -round(min(away), 3), face.name, middle, spot[0]))
    if not found:
        return ()
    count, _, name, middle, spot = min(found, key=lambda f: f[:3])
    if not count:
        return ("; the named faces look the same from there too, so any of these poses will do",)
    rest = "" if -count == len(ways) else f" (tells {-count} of {len(ways)} apart; name a second one as well)"
    at, there = (where(p.tolist()) for p in (middle, spot))
    return (f", best on {name!r} near ", *at, " of the drawing; in the pose taken that is ", *there, f" of the scan{rest}")
