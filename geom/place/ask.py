"""Which few further readings would tell most about the least margin.

Each reading that could be taken is weighed by how much of the least margin's variance it takes away (a rank-one
update of the covariance); the best is taken as read and the next one weighed after it. Places are where a tip
finds clean skin: away from edges, from the parting line and from the hollows already known. Lengths mm, part frame.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from geom.errors import ReadingError
from geom.model.part import PartFace
from geom.place.pairs import opposite_faces
from geom.place.placement import Placement
from geom.place.uncertainty import joint_covariance
from geom.rays.analytic import Bools, Floats
from geom.received.casting import AsReceived, Candidate
from geom.received.faces import FaceSkin, face_skin
from geom.received.feeders import CLEAR, on_stub
from geom.received.parting import near_line
from geom.settings.parting import Parting
from geom.settings.records import Feeder
from geom.space import Vec3, dot

_EDGE: Final = 3.0
"""Tips keep this far, mm, from a face's outline where there is room (common practice, no source)."""

_PLACES: Final = 5
"""Places weighed on each face: its middle and four towards its corners."""

_LARGE: Final = 0.02
"""Share of the part's skin from which an as-cast face is worth a touch."""

_SCRIBED: Final = 0.005
"""...and from which it is worth a height: a scriber needs little room."""

_WORTH: Final = 0.01
"""A reading that narrows the 95 % interval by less than this share of it is not asked for."""

_95: Final = 2 * 1.96


@dataclass(frozen=True, slots=True)
class Ask:
    """One reading worth taking.

    Attributes:
        kind: "touch", "height" or "thickness"; faces: one, of a height with its seat, or two for a thickness.
        at: where on the skin, so at which height on a drafted side.
        expected: what a height or thickness will read, or how far off the drawn skin a touch will be, mm.
        expected_sigma: how surely.
        before, after: width of the least margin's 95 % interval without and with it (and those asked before it), mm.
    """

    kind: Literal["touch", "height", "thickness"]
    faces: tuple[str, ...]
    at: Vec3
    expected: float
    expected_sigma: float
    before: float
    after: float


def ask_for(
    received: AsReceived,
    placement: Placement,
    parting: Parting | None = None,
    most: int = 4,
    feeders: Sequence[Feeder] = (),
) -> tuple[Ask, ...]:
    """Return the readings that would tighten the verdict most, best first.

    Args:
        parting: the parting plane; None when not known.
        most: how many at most.
        feeders: stubs, which are kept off.
    """
    if received.scan is not None:
        return ()
    lean, joint = placement.odds.lean, joint_covariance(received)
    candidates = _candidates(received, _Off(parting, tuple(feeders)))
    found: list[Ask] = []
    for _ in range(most):
        now = float(lean @ joint @ lean)
        if not candidates or now <= 0:
            break
        gains = np.array([_gain(joint, lean, c) for c in candidates])
        i = int(np.argmax(np.round(gains, 9)))
        width, then = _95 * np.sqrt(now), _95 * np.sqrt(max(now - float(gains[i]), 0.0))
        if width - then < _WORTH * width:
            break
        c = candidates[i]
        found.append(Ask(c.kind, c.faces, c.at, c.expected, c.expected_sigma, float(width), float(then)))
        joint = _after(joint, c)
        candidates = [other for other in candidates if not np.allclose(other.row, c.row)]
    return tuple(found)


def _gain(joint: Floats, lean: Floats, c: Candidate) -> float:
    """Return the variance of the least margin that a reading takes away (Sherman and Morrison 1950)."""
    seen = joint @ c.row
    return float((lean @ seen) ** 2 / (c.row @ seen + c.sigma**2))


def _after(joint: Floats, c: Candidate) -> Floats:
    seen = joint @ c.row
    return np.asarray(joint - np.outer(seen, seen) / (c.row @ seen + c.sigma**2))


# --- what could be read -----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Off:
    """What places keep off: the parting plane, and stubs of feeders."""

    parting: Parting | None
    feeders: tuple[Feeder, ...]


def _candidates(received: AsReceived, off: _Off) -> list[Candidate]:
    """Return touches where the touches already fix a frame, heights over a plate where there is none, thicknesses anywhere."""
    found: list[Candidate] = []
    pairs = _pairs(received)
    names = dict.fromkeys(a for a, _ in pairs)
    if len(received.free) < 6:
        names |= dict.fromkeys(_large_faces(received))
    places = {name: _places(received, name, off) for name in names}
    if len(received.free) < 6:
        found += [received.touch_candidate(name, at) for name, spots in places.items() for at in spots]
    else:
        found += _heights(received, off)
    for a, b in pairs:
        found += [c for at in places.get(a, ()) if (c := _thickness(received, (a, b), at)) is not None]
    return found


def _heights(received: AsReceived, off: _Off) -> list[Candidate]:
    """Return heights of faces over a plate on which the casting stands by its largest flat machined face."""
    faces = [f for f in received.part.faces if f.state != "hole"]
    seats = [f for f in faces if f.state == "machined" and f.normal is not None]
    if not seats:
        return []
    seat = max(seats, key=lambda f: (round(f.area, 3), f.name))
    assert seat.normal is not None
    x, y, z = seat.normal
    whole, found = sum(f.area for f in faces), []
    for face in faces:
        if (
            face.name == seat.name
            or face.kind not in ("plane", "cylinder", "cone")
            or (face.state != "machined" and face.area < _SCRIBED * whole)
        ):
            continue
        for at in _places(received, face.name, off):
            try:
                found.append(received.height_candidate(face.name, seat.name, (-x, -y, -z), at))
            except ReadingError:
                continue
    return found


def _large_faces(received: AsReceived) -> list[str]:
    """Return the faces a tip is sent to: machined ones, and the larger of those that stay as cast."""
    faces = [f for f in received.part.faces if f.state != "hole"]
    whole = sum(f.area for f in faces)
    return [f.name for f in faces if f.state == "machined" or (f.area > _LARGE * whole and f.kind != "other")]


def _thickness(received: AsReceived, faces: tuple[str, str], at: Vec3) -> Candidate | None:
    try:
        return received.thickness_candidate(faces, at)
    except ReadingError:
        return None


def _pairs(received: AsReceived) -> list[tuple[str, str]]:
    """Return faces that calipers span: each flat face and the largest parallel one behind it, and round walls with themselves."""
    part = received.part
    machined = [(part.machined[i].name, part.machined[j].name) for i, j in opposite_faces(part)]
    flat = [f for f in part.faces if f.state != "hole" and f.normal is not None]
    taken = {name for pair in machined for name in pair}
    for face in flat:
        if face.state != "machined" or face.name in taken:
            continue
        behind = [f for f in flat if _is_behind(face, f)]
        if behind:
            machined.append((face.name, max(behind, key=lambda f: (round(f.area, 3), f.name)).name))
    bores = [f for f in part.machined if f.kind == "cylinder" and f.hollow]
    return machined + [(f.name, f.name) for f in bores] + _walls_round(received, bores)


def _walls_round(received: AsReceived, bores: Sequence[PartFace]) -> list[tuple[str, str]]:
    """Return the raw outside round each bore with the bore, and machined faces beside it: they say where its core stands."""
    found = []
    for bore in bores:
        for face in received.part.faces:
            boss = face.kind in ("cylinder", "cone") and not face.hollow and face.state == "as cast"
            beside = face.state == "machined" and face.normal is not None and abs(dot(face.normal, bore.axis)) < 0.01
            about = np.cross(np.subtract(face.centroid, bore.centroid), bore.axis)
            if beside or (boss and abs(dot(face.axis, bore.axis)) > 0.999 and np.linalg.norm(about) < bore.radius):
                found.append((face.name, bore.name))
    return found


def _is_behind(face: PartFace, other: PartFace) -> bool:
    assert face.normal is not None
    assert other.normal is not None
    apart = np.subtract(face.centroid, other.centroid)
    return dot(face.normal, other.normal) < -0.999 and float(apart @ face.normal) > 0


def _places(received: AsReceived, name: str, off: _Off) -> Sequence[Vec3]:
    """Return good places on the skin over a face: spread out, clean, and as far in from its outline as there is room."""
    try:
        skin = face_skin(received.part, name)
    except ReadingError:
        return ()
    good = ~near_line(received.part.casting, off.parting, skin.points) & ~on_stub(
        received.part, off.feeders, name, skin.points, CLEAR
    )
    good = _clean(received, skin, name, good)
    if not good.any():
        return ()
    spots = skin.points[good]
    middle = skin.area[good] @ spots / skin.area[good].sum() if skin.area[good].sum() > 0 else spots.mean(axis=0)
    picks = [int(np.argmin(np.round(np.linalg.norm(spots - middle, axis=1), 6)))]
    while len(picks) < min(_PLACES, len(spots)):
        apart = np.min([np.linalg.norm(spots - spots[p], axis=1) for p in picks], axis=0)
        far = int(np.argmax(np.round(apart, 6)))
        if apart[far] < _EDGE:
            break
        picks.append(far)
    return [(float(x), float(y), float(z)) for x, y, z in spots[picks]]


def _clean(received: AsReceived, skin: FaceSkin, name: str, good: Bools) -> Bools:
    """Return which of the good points are away from roundings, the outline and hollows as well, as far as any is."""
    walls = received.model.walls
    firm = np.array([walls.walls[i].form != "blend" for i in walls.number[skin.surface].tolist()])
    for wanted in (firm, _inner(skin)):
        good = good & wanted if (good & wanted).any() else good
    for spot in received.spots:
        if spot.face == name:
            off = skin.points - np.array(spot.centre)
            inside = (off @ np.array(spot.u) / spot.half[0]) ** 2 + (off @ np.array(spot.v) / spot.half[1]) ** 2 < 1.5
            good = good & ~inside if (good & ~inside).any() else good
    return good


def _inner(skin: FaceSkin) -> Bools:
    """Return which points lie well inside the face: the nearer half to the middle, where nothing better is known."""
    spread = skin.points.max(axis=0) - skin.points.min(axis=0)
    room = np.minimum(_EDGE, spread / 4.0)
    low, high = skin.points.min(axis=0) + room, skin.points.max(axis=0) - room
    return np.asarray((((skin.points >= low) & (skin.points <= high)) | (spread < 2.0 * _EDGE)).all(axis=1))
