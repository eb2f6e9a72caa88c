"""Whether a casting draws from sand: the draft of every face, and what the sand would hold.

Looks at triangles in the draw frame (Z along the draw, the upper half drawn up,
the lower half down). A facet draws when the way out along Z is free of metal
and leads through its own half's sand; sand may stand into an enclosed hollow
from the other side. Faces that a core forms are left out. Angles in degrees:
positive where the pattern comes free, 0 along the draw, negative where held.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from geom.kernel.mesh import Mesh
from geom.kernel.shape import Surface
from geom.pattern.parting import Parting
from geom.rays.body import Body
from geom.rays.tree import RayTree

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Order: TypeAlias = tuple[int, int, int]

ANGLE_NOISE: Final = 0.05
"""Degrees by which facets of a curved face may miss its own angle."""

LEAST_AREA: Final = 2.0
"""mm2; less of a face than this is where two facets meet, not a face that tears sand."""

_BESIDE: Final = 0.05
"""mm off the skin where the sand that moulds it is looked for: a face as good as in the parting belongs to what lies on it."""

_CLEAR: Final = 0.06
"""mm off the skin where a look along the draw begins: more than the facets' own error."""


@dataclass(frozen=True, slots=True)
class FaceDraft:
    """One face of the casting, in one half.

    Attributes:
        surface: index into the casting's surfaces.
        upper: moulded by the upper half.
        angle: least draft found on it, degrees.
        area, short, held: mm2: all of it here, with less draft than asked, and held by sand.
        at: a point of it, draw frame: of what is held, of what is short, else of the face.
    """

    surface: int
    upper: bool
    angle: float
    area: float
    short: float
    held: float
    at: tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Draft:
    """All faces by surface and half; `bad` marks the facets (of `corners`, (n, 3, 3)): 0 right, 1 too little draft, 2 held."""

    faces: tuple[FaceDraft, ...]
    least: float
    corners: Floats
    bad: Ints

    @property
    def faults(self) -> tuple[FaceDraft, ...]:
        """The faces with too little draft or held, the largest first."""
        wrong = [face for face in self.faces if max(face.short, face.held) > LEAST_AREA]
        return tuple(sorted(wrong, key=lambda face: (-face.held, -face.short, face.surface, face.upper)))


def draft_of(
    mesh: Mesh, surfaces: Sequence[Surface], order: Order, cored: frozenset[int], filled: Body, parting: Parting, least: float
) -> Draft:
    """Return the draft of a casting.

    Args:
        mesh: of the casting, vertices in the draw frame, faces as in `surfaces`.
        surfaces: the casting's own, part frame.
        order: the part axes that are the draw frame's X, Y and Z.
        cored: surfaces that cores form.
        filled: the casting with what cores form filled, draw frame.
        parting: where the halves meet.
        least: draft that is asked for, degrees.
    """
    keep = ~np.isin(mesh.face, sorted(cored))
    corners, face = mesh.vertices[mesh.triangles[keep]], mesh.face[keep]
    for way, at in parting.planes():
        corners, face = _halved(corners, face, way, at)
    corners, face = _small(corners, face)
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(cross, axis=1)
    kept = size > 1e-9
    corners, face, cross, size = corners[kept], face[kept], cross[kept], size[kept]
    area, middle = size / 2.0, corners.mean(axis=1)
    normal = _smooth(corners, cross, face, surfaces, order)
    lean = _leans(normal[:, 2], face, surfaces, order[2])
    beside = middle + _BESIDE * normal
    upper = beside[:, 2] > parting.heights(beside[:, :2])
    held = _held(filled, middle, normal, lean, upper, parting)
    angle = np.where(held, -np.abs(lean), np.abs(lean))
    short = ~held & (angle < least - ANGLE_NOISE)
    bad = np.where(held, 2, np.where(short, 1, 0))
    return Draft(_by_face(face, upper, angle, area, bad, middle), least, corners, bad)


def leans_of(mesh: Mesh, surfaces: Sequence[Surface], order: Order) -> dict[int, float]:
    """Return the one lean from the draw of each face that has one, degrees, by its index."""
    corners = mesh.vertices[:, order][mesh.triangles]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    kept = np.linalg.norm(cross, axis=1) > 1e-9
    corners, cross, face = corners[kept], cross[kept], mesh.face[kept]
    lean = _leans(_smooth(corners, cross, face, surfaces, order)[:, 2], face, surfaces, order[2])
    single = ((index, lean[face == index]) for index in np.unique(face).tolist())
    return {index: float(np.median(here)) for index, here in single if np.ptp(np.abs(here)) < ANGLE_NOISE}


def _smooth(corners: Floats, cross: Floats, face: Ints, surfaces: Sequence[Surface], order: Order) -> Floats:
    """Return the surface's own normal at each facet: by formula where it has one, else evened out over neighbours."""
    found = cross / np.linalg.norm(cross, axis=1)[:, None]
    for index in np.unique(face).tolist():
        here = face == index
        surface = surfaces[index]
        middle, plain = corners[here].mean(axis=1), found[here]
        axis, origin = (np.array([v[i] for i in order]) for v in (surface.axis, surface.origin))
        if surface.kind == "plane":
            continue
        off = middle - origin
        radial = off - (off @ axis)[:, None] * axis
        reach = np.maximum(np.linalg.norm(radial, axis=1), 1e-12)[:, None]
        if surface.kind == "sphere":
            own = off
        elif surface.kind == "torus":
            own = off - surface.radius * radial / reach
        elif surface.kind in ("cylinder", "cone"):
            own = radial / reach - math.tan(math.radians(surface.half_angle)) * axis
        else:
            own = _evened(corners[here], cross[here])
        own = own / np.maximum(np.linalg.norm(own, axis=1), 1e-12)[:, None]
        found[here] = own * math.copysign(1.0, float(np.sum(own * plain)))
    return np.asarray(found)


def _evened(corners: Floats, cross: Floats) -> Floats:
    """Return at each facet the mean of its corners' normals, each the area-weighted mean of the facets that meet there."""
    _, corner = np.unique(np.round(corners.reshape(-1, 3), 6), axis=0, return_inverse=True)
    corner = corner.reshape(-1, 3)
    total = np.zeros((int(corner.max()) + 1, 3))
    for i in range(3):
        np.add.at(total, corner[:, i], cross)
    total /= np.maximum(np.linalg.norm(total, axis=1), 1e-12)[:, None]
    return np.asarray(total[corner].mean(axis=1))


def _leans(rise: Floats, face: Ints, surfaces: Sequence[Surface], along: int) -> Floats:
    """Return each facet's lean from the draw, degrees, signed like its normal's Z; exact where the face has one lean."""
    found = np.degrees(np.arcsin(np.clip(rise, -1.0, 1.0)))
    for index in np.unique(face).tolist():
        surface, here = surfaces[index], face == index
        if surface.kind in ("cone", "cylinder") and abs(surface.axis[along]) > 1.0 - 1e-9:
            found[here] = math.copysign(1.0, float(np.sum(rise[here]))) * abs(surface.half_angle)
        elif surface.kind == "plane":
            found[here] = math.degrees(math.asin(min(1.0, max(-1.0, surface.normal[along]))))
    return found


def _held(filled: Body, middle: Floats, normal: Floats, lean: Floats, upper: Bools, parting: Parting) -> Bools:
    """Return which facets sand holds."""
    mesh = filled.mesh()
    centre = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
    tree = RayTree(mesh.vertices - centre, mesh.triangles)
    way = np.zeros_like(normal)
    way[:, 2] = np.where(lean > 0, 1.0, -1.0)
    look = np.abs(lean) > ANGLE_NOISE
    held = np.zeros(len(middle), dtype=np.bool_)
    start = middle + _CLEAR * normal - centre
    held[look] = tree.first(start[look], way[look]) >= 0
    across = look & ~held & ((lean > 0) != upper)
    levels = np.array(parting.levels)
    level = np.abs(parting.heights(middle[:, :2])[:, None] - levels).argmin(axis=1)
    for is_upper in (True, False):
        for number, z in enumerate(levels.tolist()):
            here = np.flatnonzero(across & (upper == is_upper) & (level == number))
            if len(here):
                outlines = filled.outlines_at(z + (1e-3 if is_upper else -1e-3))
                held[here] = ~_enclosed(middle[here, :2], outlines)
    return held


def _enclosed(points: Floats, outlines: Sequence[Floats]) -> Bools:
    """Return which points (n, 2) lie in the air within some outline of metal."""
    odd, within = np.zeros(len(points), dtype=np.bool_), np.zeros(len(points), dtype=np.bool_)
    for outline in outlines:
        a, b = outline, np.roll(outline, -1, axis=0)
        inside = np.zeros(len(points), dtype=np.bool_)
        for (ax, ay), (bx, by) in zip(a.tolist(), b.tolist(), strict=True):
            if ay != by:
                cut = (ay > points[:, 1]) != (by > points[:, 1])
                inside ^= cut & (points[:, 0] < ax + (points[:, 1] - ay) / (by - ay) * (bx - ax))
        odd ^= inside
        within |= inside
    return within & ~odd


def _by_face(face: Ints, upper: Bools, angle: Floats, area: Floats, bad: Ints, middle: Floats) -> tuple[FaceDraft, ...]:
    found = []
    for index in np.unique(face).tolist():
        for half in (True, False):
            here = (face == index) & (upper == half)
            if not here.any():
                continue
            worst = int(bad[here].max())
            one = np.flatnonzero(here & (bad == worst))
            pick = one[_spot(middle[one], area[one])]
            x, y, z = middle[pick].tolist()
            short, held = (float(area[here & (bad == n)].sum()) for n in (1, 2))
            least = _least(angle[here], area[here])
            found.append(FaceDraft(index, half, least, float(area[here].sum()), short, held, (x, y, z)))
    return tuple(found)


def _spot(middle: Floats, area: Floats) -> int:
    """Return the facet to point at: the middle one, or of a face that goes round, the one at the front left."""
    away = np.linalg.norm(middle - np.average(middle, axis=0, weights=area), axis=1)
    if away.min() > 0.25 * away.max():
        return int(np.argmin(middle @ np.array([1.0, 1.6, 0.0])))
    return int(away.argmin())


def _least(angle: Floats, area: Floats) -> float:
    """Return the angle that all but a crumb of a face has."""
    order = np.argsort(angle, kind="stable")
    at = int(np.searchsorted(np.cumsum(area[order]), min(LEAST_AREA, 0.5 * float(area.sum()))))
    return float(angle[order[min(at, len(order) - 1)]])


def _halved(corners: Floats, face: Ints, normal: Floats, at: float) -> tuple[Floats, Ints]:
    """Return triangles cut by a plane; the pieces keep their face."""
    rise = corners @ normal - at
    crossing = (rise.max(axis=1) > 1e-9) & (rise.min(axis=1) < -1e-9)
    pieces, owners = [corners[~crossing]], [face[~crossing]]
    for triangle, owner, up in zip(corners[crossing], face[crossing].tolist(), rise[crossing], strict=True):
        for sign in (1.0, -1.0):
            ring = _clipped(triangle, sign * up)
            fan = [[ring[0], ring[i], ring[i + 1]] for i in range(1, len(ring) - 1)]
            pieces.append(np.array(fan).reshape(-1, 3, 3))
            owners.append(np.full(len(fan), owner, dtype=np.int64))
    return np.concatenate(pieces), np.concatenate(owners)


def _clipped(triangle: Floats, rise: Floats) -> list[Floats]:
    """Return the corners of a triangle's part where `rise` is not negative."""
    ring = []
    for i in range(3):
        j = (i + 1) % 3
        if rise[i] >= 0:
            ring.append(triangle[i])
        if (rise[i] > 0) != (rise[j] > 0) and rise[i] != 0 and rise[j] != 0:
            ring.append(triangle[i] + rise[i] / (rise[i] - rise[j]) * (triangle[j] - triangle[i]))
    return ring


def _small(corners: Floats, face: Ints) -> tuple[Floats, Ints]:
    """Return triangles split until no side is longer than a fortieth of the whole."""
    span = float(np.linalg.norm(np.ptp(corners.reshape(-1, 3), axis=0))) / 40.0
    done, owner = [], []
    for _ in range(16):
        sides = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        long = sides.max(axis=1) > span
        done.append(corners[~long])
        owner.append(face[~long])
        if not long.any():
            break
        at = sides[long].argmax(axis=1)
        rows = np.arange(len(at))
        turned = corners[long][rows[:, None], (at[:, None] + np.arange(3)) % 3]
        half = 0.5 * (turned[:, 0] + turned[:, 1])
        first = np.stack([turned[:, 0], half, turned[:, 2]], axis=1)
        second = np.stack([half, turned[:, 1], turned[:, 2]], axis=1)
        corners, face = np.concatenate([first, second]), np.tile(face[long], 2)
    else:
        done.append(corners)
        owner.append(face)
    return np.concatenate(done), np.concatenate(owner)
