"""Touches turned into tips on known surfaces of the casting, and a first place for them.

Knows which skin lies over a named face, and finds the face of a touch that names
none from its approach. Lengths mm.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from geom.errors import ReadingError
from geom.model.part import Part
from geom.rays.analytic import Floats
from geom.rays.sample import surface_samples
from geom.readings.records import Touch
from geom.received.faces import face_skin, over_skin, spacing_of
from geom.received.locate import Tips, first_place, heights_of, nearest_surfaces, settle, with_surfaces
from geom.rigid import STAY, Rigid, rigid_from_matrix
from geom.units import MM_PER_INCH

_POOR: Final = 8.0
"""Touches that lie further than this, mm, from the drawn skin on average are looked at for a mirrored axis."""

_WELL: Final = 2.0
"""Touches that lie closer than this, mm, to the drawn skin on average fit it."""

_ENOUGH: Final = 4
"""Touches from which a wrong unit can be told."""

_MIRROR: Final = np.array([-1.0, 1.0, 1.0])

_NO_TIPS: Final = Tips(
    np.zeros((0, 3)),
    np.zeros((0, 3), dtype=np.bool_),
    np.zeros(0),
    np.zeros(0),
    np.zeros((0, 3)),
    np.zeros(0, dtype=np.int64),
    np.zeros((0, 3)),
)


def located_tips(part: Part, touches: Sequence[Touch]) -> tuple[Tips, tuple[str, ...], Rigid]:
    """Return the touches as tips on surfaces, their sources, and a first place of the casting among them.

    Raises:
        ReadingError: the touches fit only in another unit or with an axis turned round.
    """
    if not touches:
        return _NO_TIPS, (), STAY
    named = [t for t in touches if t.face is not None]
    start, known = STAY, _NO_TIPS
    if named:
        known, start = _named_tips(part, named)
    others = [t for t in touches if t.face is None]
    if not others:
        return known, tuple(t.source for t in named), start
    tips, start = _with_unnamed(part, known, others, start)
    return tips, (*(t.source for t in named), *(t.source for t in others)), start


def _named_tips(part: Part, touches: Sequence[Touch]) -> tuple[Tips, Rigid]:
    clouds = []
    for touch in touches:
        assert touch.face is not None
        try:
            clouds.append(face_skin(part, touch.face).points)
        except ReadingError as error:
            raise ReadingError(f"{touch.source}: {error}") from None
    tips = _tips(part, touches)
    start = first_place(part.casting, tips, clouds)
    _check_fit(part, tips, clouds, start, touches)
    for _ in range(3):
        better = _on_nearest(part, tips, touches, start)
        if (better.surface == tips.surface).all():
            break
        tips = better
        start = settle(part.casting, tips, start)
    return _widened(part, tips, touches, start), start


def _tips(part: Part, touches: Sequence[Touch]) -> Tips:
    skins = [face_skin(part, t.face or "") for t in touches]
    return Tips(
        np.array([t.point for t in touches], dtype=np.float64),
        np.array([t.known for t in touches], dtype=np.bool_),
        np.array([t.tip_radius for t in touches], dtype=np.float64),
        np.array([t.sigma for t in touches], dtype=np.float64),
        np.array([t.approach or (np.nan,) * 3 for t in touches], dtype=np.float64),
        np.array([s.surfaces[0] for s in skins], dtype=np.int64),
        np.array([s.middle for s in skins], dtype=np.float64),
    )


def _on_nearest(part: Part, tips: Tips, touches: Sequence[Touch], move: Rigid) -> Tips:
    """Return the tips, each on the surface of its face that lies nearest."""
    spots = tips.placed(move)
    surface = tips.surface.copy()
    for i, touch in enumerate(touches):
        skin = face_skin(part, touch.face or "")
        if len(skin.surfaces) > 1:
            surface[i] = skin.surface[skin.nearest(spots[i])]
    return with_surfaces(tips, surface)


def _widened(part: Part, tips: Tips, touches: Sequence[Touch], move: Rigid) -> Tips:
    """Return the tips with what an unread coordinate is worth added: its share of the normal times half the face's extent."""
    if tips.known.all():
        return tips
    back = move.inverse()
    normals = back.directions(over_skin(part.casting, tips.surface, tips.placed(move))[1])
    sigma = tips.sigma.copy()
    for i, touch in enumerate(touches):
        extent = np.ptp(back.points(face_skin(part, touch.face or "").points), axis=0) / 2.0
        lost = np.where(tips.known[i], 0.0, np.abs(normals[i]) * extent)
        sigma[i] = np.sqrt(sigma[i] ** 2 + lost @ lost)
    return replace(tips, sigma=sigma)


def _with_unnamed(part: Part, known: Tips, others: Sequence[Touch], start: Rigid) -> tuple[Tips, Rigid]:
    samples = surface_samples(part.casting, spacing_of(part))
    samples = samples.of(samples.area > 0)
    tips = _bare_tips(part, others)
    if not len(known.points):
        start = _guess_by_box(part, tips)
    for _ in range(10):
        found = nearest_surfaces(start, tips, samples.points, samples.normals, samples.face)
        same = bool((found == tips.surface).all())
        tips = with_surfaces(tips, found)
        both = _joined(known, tips)
        start = settle(part.casting, both, start)
        if same:
            break
    return _joined(known, tips), start


def _bare_tips(part: Part, touches: Sequence[Touch]) -> Tips:
    count = len(touches)
    return Tips(
        np.array([t.point for t in touches], dtype=np.float64),
        np.ones((count, 3), dtype=np.bool_),
        np.array([t.tip_radius for t in touches], dtype=np.float64),
        np.array([t.sigma for t in touches], dtype=np.float64),
        np.array([t.approach for t in touches], dtype=np.float64),
        np.full(count, -1, dtype=np.int64),
        np.tile(np.array(part.casting.centre), (count, 1)),
    )


def _guess_by_box(part: Part, tips: Tips) -> Rigid:
    """Return the shift that brings the outermost contacts on to the drawn casting's box, axis by axis; 0 where none is touched."""
    low, high = (np.array(corner) for corner in part.casting.box)
    contact = tips.points + tips.radius[:, None] * tips.approach
    shift = []
    for axis in range(3):
        guesses = []
        for sign, edge, pick in ((-1.0, high[axis], np.max), (1.0, low[axis], np.min)):
            rows = np.flatnonzero(tips.approach[:, axis] * sign > 0.9)
            if rows.size:
                guesses.append(float(edge - pick(contact[rows, axis])))
        shift.append(sum(guesses) / len(guesses) if guesses else 0.0)
    return rigid_from_matrix(np.eye(3), (shift[0], shift[1], shift[2]))


def _joined(a: Tips, b: Tips) -> Tips:
    return Tips(*(np.concatenate([getattr(a, name), getattr(b, name)]) for name in Tips.__slots__))


# --- does it fit at all? ----------------------------------------------------


def _check_fit(part: Part, tips: Tips, clouds: Sequence[Floats], start: Rigid, touches: Sequence[Touch]) -> None:
    """Refuse touches that fit far better in another unit or mirrored, and say which."""
    if not tips.known.all() or len(touches) < _ENOUGH:
        return
    off = _off(part, tips, start)
    span, drawn = _size(tips.points), _size(np.array([c.mean(axis=0) for c in clouds]))
    for factor, word in ((MM_PER_INCH, "inch"), (1.0 / MM_PER_INCH, "mm")):
        if not (0.5 < span * factor / max(drawn, 1e-9) < 2.0):
            continue
        scaled = [replace(tips, points=tips.points * factor, radius=tips.radius * k) for k in (1.0, factor)]
        if min(_best_off(part, other, clouds) for other in scaled) < max(off / 3.0, _WELL):
            raise ReadingError(
                f"{touches[0].source} and the other touches: they span ",
                span,
                " where the drawn casting has ",
                drawn,
                f"; times {factor:.4g} they fit, so they look like values in {word}: put '# units: {word}' on top of the file",
            )
    if off < _POOR:
        return
    other = replace(tips, points=tips.points * _MIRROR, approach=tips.approach * _MIRROR)
    if _best_off(part, other, clouds) < off / 5.0:
        raise ReadingError(
            f"{touches[0].source} and the other touches: they lie ",
            off,
            " off the drawn casting, and fit it only as a mirror image; one axis is counted the other way round: "
            "give X, Y and Z as a right-handed frame",
        )


def _best_off(part: Part, tips: Tips, clouds: Sequence[Floats]) -> float:
    return _off(part, tips, first_place(part.casting, tips, clouds))


def _off(part: Part, tips: Tips, move: Rigid) -> float:
    """Return how far the tips are off their surfaces, mm, root mean square."""
    return float(np.sqrt(np.mean(heights_of(part.casting, tips, move)[0] ** 2)))


def _size(points: Floats) -> float:
    return float(np.sqrt(np.mean(np.sum((points - points.mean(axis=0)) ** 2, axis=1))))
