"""Planes, cylinders, cones, spheres and tori as arithmetic on many points at once.

Untrimmed surfaces: where a line meets one, how far a point is from one, which
way it faces. Knows nothing of trimming, triangles or the CAD kernel. Lengths
mm, part frame; every array has one row per point or ray.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from geom.kernel.shape import Surface, SurfaceKind

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int64]
Bools: TypeAlias = npt.NDArray[np.bool_]

KINDS: "Final[tuple[SurfaceKind, ...]]" = ("plane", "cylinder", "cone", "sphere", "torus", "other")
PLANE, CYLINDER, CONE, SPHERE, TORUS, OTHER = range(6)

_NEWTON_ROUNDS: Final = 8
"""A torus root that starts within the facet error doubles its digits each round; eight is ample."""

_NEWTON_STILL: Final = 1e-12
"""A step below this, mm, would be followed by one below rounding."""


@dataclass(frozen=True, slots=True, eq=False)
class Forms:
    """The surfaces of one solid, one row each; see `kernel.shape.Surface` for the meanings.

    `side` is +1 where the air is outside the form (a boss), -1 where it is inside (a bore);
    `slope` is the tangent of a cone's half angle.
    """

    kind: npt.NDArray[np.int8]
    origin: Floats
    axis: Floats
    radius: Floats
    slope: Floats
    minor: Floats
    side: Floats


def forms(surfaces: "Sequence[Surface]") -> Forms:
    """Return the numbers of a solid's surfaces as arrays."""
    return Forms(
        np.array([KINDS.index(s.kind) for s in surfaces], dtype=np.int8),
        np.array([s.origin for s in surfaces], dtype=np.float64).reshape(-1, 3),
        np.array([s.axis for s in surfaces], dtype=np.float64).reshape(-1, 3),
        np.array([s.radius for s in surfaces], dtype=np.float64),
        np.tan(np.radians(np.array([s.half_angle for s in surfaces], dtype=np.float64))),
        np.array([s.minor for s in surfaces], dtype=np.float64),
        np.array([-1.0 if s.hollow else 1.0 for s in surfaces], dtype=np.float64),
    )


def dots(a: Floats, b: Floats) -> Floats:
    """Return the row-wise scalar products of (n, 3) arrays."""
    return np.asarray(np.einsum("ij,ij->i", a, b))


def corner_shares(corners: Floats, points: Floats) -> Floats:
    """Return the weights (n, 3) that make points (n, 3), flat on their triangles, of the corners (n, 3, 3)."""
    a, b, p = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], points - corners[:, 0]
    aa, ab, bb, pa, pb = dots(a, a), dots(a, b), dots(b, b), dots(p, a), dots(p, b)
    whole = np.maximum(aa * bb - ab * ab, 1e-300)
    second, third = (bb * pa - ab * pb) / whole, (aa * pb - ab * pa) / whole
    return np.stack([1.0 - second - third, second, third], axis=1)


# --- nearest points ---------------------------------------------------------


def heights(f: Forms, face: Ints, points: Floats) -> tuple[Floats, Floats]:
    """Return each point's signed height over its surface and the outward unit normal there.

    Args:
        face: (n,) which surface each point is measured from.
        points: (n, 3).

    Returns:
        Heights (n,), positive on the air side, and normals (n, 3); NaN on surfaces of kind "other".
    """
    high = np.full(len(points), np.nan)
    normal = np.full((len(points), 3), np.nan)
    kind = f.kind[face]
    for code, measure in (
        (PLANE, _plane_height),
        (CYLINDER, _cone_height),
        (CONE, _cone_height),
        (SPHERE, _sphere_height),
        (TORUS, _torus_height),
    ):
        rows = np.flatnonzero(kind == code)
        if rows.size:
            high[rows], normal[rows] = measure(f, face[rows], points[rows])
    return high, normal


def onto(f: Forms, face: Ints, points: Floats) -> tuple[Floats, Floats]:
    """Return the nearest point of each row's surface and the outward normal there; NaN for "other"."""
    high, normal = heights(f, face, points)
    return np.asarray(points - high[:, None] * normal), normal


def _plane_height(f: Forms, face: Ints, points: Floats) -> tuple[Floats, Floats]:
    normal = f.axis[face]
    return dots(points - f.origin[face], normal), normal


def _cone_height(f: Forms, face: Ints, points: Floats) -> tuple[Floats, Floats]:
    """Cylinders too: a cone without slope."""
    z, out, rho = _polar(f, face, points)
    slope, axis, side = f.slope[face], f.axis[face], f.side[face]
    cosine = 1.0 / np.sqrt(1.0 + slope * slope)
    normal = (out - slope[:, None] * axis) * (cosine * side)[:, None]
    return (rho - f.radius[face] - z * slope) * cosine * side, normal


def _sphere_height(f: Forms, face: Ints, points: Floats) -> tuple[Floats, Floats]:
    w = points - f.origin[face]
    size = np.sqrt(dots(w, w))
    side = f.side[face]
    return (size - f.radius[face]) * side, _safe_unit(w, size, f.axis[face]) * side[:, None]


def _torus_height(f: Forms, face: Ints, points: Floats) -> tuple[Floats, Floats]:
    z, out, rho = _polar(f, face, points)
    w = out * (rho - f.radius[face])[:, None] + f.axis[face] * z[:, None]
    size = np.sqrt(dots(w, w))
    side = f.side[face]
    return (size - f.minor[face]) * side, _safe_unit(w, size, f.axis[face]) * side[:, None]


def _polar(f: Forms, face: Ints, points: Floats) -> tuple[Floats, Floats, Floats]:
    """Return distance along the axis, unit direction away from it, and distance from it."""
    axis = f.axis[face]
    w = points - f.origin[face]
    z = dots(w, axis)
    flat = w - z[:, None] * axis
    rho = np.sqrt(dots(flat, flat))
    on_axis = bool((rho < 1e-300).any())
    return z, _safe_unit(flat, rho, _square_to(axis) if on_axis else axis), rho


def _safe_unit(w: Floats, size: Floats, instead: Floats) -> Floats:
    """Return w over its size; the given direction where the size is nothing (a point on an axis has no one normal)."""
    lost = size < 1e-300
    return np.asarray(np.where(lost[:, None], instead, w / np.where(lost, 1.0, size)[:, None]))


def _square_to(axis: Floats) -> Floats:
    hint = np.eye(3)[np.argmin(np.abs(axis), axis=1)]
    flat = hint - dots(hint, axis)[:, None] * axis
    return np.asarray(flat / np.sqrt(dots(flat, flat))[:, None])


def bends(f: Forms, face: Ints, points: Floats, normals: Floats, ways: Floats) -> Floats:
    """Return how the outward normal turns as a point on its surface goes along it: the shape operator on `ways` (n, 3), per mm.

    Args:
        points, normals: (n, 3) on the surfaces; only what lies along the surface of `ways` counts.

    Returns:
        (n, 3); 0 on planes and on surfaces of kind "other".
    """
    found = np.zeros((len(points), 3))
    kind = f.kind[face]
    rows = np.flatnonzero((kind == CYLINDER) | (kind == CONE) | (kind == TORUS))
    _, out, rho = _polar(f, face[rows], points[rows])
    ring = np.cross(f.axis[face[rows]], out)
    found[rows] = (dots(normals[rows], out) / rho * dots(ring, ways[rows]))[:, None] * ring
    rows, ring = rows[kind[rows] == TORUS], ring[kind[rows] == TORUS]
    across = np.cross(normals[rows], ring)
    found[rows] += (f.side[face[rows]] / f.minor[face[rows]] * dots(across, ways[rows]))[:, None] * across
    rows = np.flatnonzero(kind == SPHERE)
    flat = ways[rows] - dots(ways[rows], normals[rows])[:, None] * normals[rows]
    found[rows] = (f.side[face[rows]] / f.radius[face[rows]])[:, None] * flat
    return found


# --- roots along rays -------------------------------------------------------


def crossings(f: Forms, face: Ints, origins: Floats, directions: Floats, near: Floats, leaving: Bools) -> Floats:
    """Return where each ray crosses its surface, mm from its origin.

    Args:
        face: (n,) which surface.
        directions: (n, 3) unit vectors.
        near: (n,) a first guess, mm; the arithmetic is done about that point, so a distant
            origin costs no digits.
        leaving: (n,) True for the crossing from metal into air, False for the other way.

    Returns:
        Distances (n,); NaN where the ray has no such crossing or the surface is "other".
    """
    start = origins + near[:, None] * directions
    step = np.full(len(origins), np.nan)
    kind = f.kind[face]
    for code, solve in (
        (PLANE, _plane_root),
        (CYLINDER, _cylinder_root),
        (CONE, _cone_root),
        (SPHERE, _sphere_root),
        (TORUS, _torus_root),
    ):
        rows = np.flatnonzero(kind == code)
        if rows.size == len(step):
            return np.asarray(near + solve(f, face, start, directions, leaving))
        if rows.size:
            step[rows] = solve(f, face[rows], start[rows], directions[rows], leaving[rows])
    return np.asarray(near + step)


def _plane_root(f: Forms, face: Ints, start: Floats, d: Floats, leaving: Bools) -> Floats:
    normal = f.axis[face]
    speed = dots(d, normal)
    speed[(speed > 0) != leaving] = np.nan
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(dots(f.origin[face] - start, normal) / speed)


def _cylinder_root(f: Forms, face: Ints, start: Floats, d: Floats, leaving: Bools) -> Floats:
    axis, radius = f.axis[face], f.radius[face]
    w = start - f.origin[face]
    w -= dots(w, axis)[:, None] * axis
    flat = d - dots(d, axis)[:, None] * axis
    rho = np.sqrt(dots(w, w))
    return _half_root(dots(flat, flat), dots(w, flat), (rho - radius) * (rho + radius), _rising(f, face, leaving))


def _cone_root(f: Forms, face: Ints, start: Floats, d: Floats, leaving: Bools) -> Floats:
    axis, slope = f.axis[face], f.slope[face]
    w = start - f.origin[face]
    z, dz = dots(w, axis), dots(d, axis)
    wf, df = w - z[:, None] * axis, d - dz[:, None] * axis
    here, rho, grow = f.radius[face] + z * slope, np.sqrt(dots(wf, wf)), dz * slope
    root = _half_root(
        dots(df, df) - grow * grow, dots(wf, df) - here * grow, (rho - here) * (rho + here), _rising(f, face, leaving)
    )
    root[here + root * grow < 0] = np.nan
    return root


def _sphere_root(f: Forms, face: Ints, start: Floats, d: Floats, leaving: Bools) -> Floats:
    w, radius = start - f.origin[face], f.radius[face]
    size = np.sqrt(dots(w, w))
    return _half_root(np.ones(len(w)), dots(w, d), (size - radius) * (size + radius), _rising(f, face, leaving))


def _rising(f: Forms, face: Ints, leaving: Bools) -> Floats:
    """Return +1 where the form's own equation grows at the wanted root, else -1."""
    return np.asarray(np.where(leaving, 1.0, -1.0) * f.side[face])


def _half_root(a: Floats, b: Floats, c: Floats, sign: Floats) -> Floats:
    """Return the root of a t^2 + 2 b t + c at which the value grows (sign +1) or falls (-1).

    Of the two textbook forms the one without cancellation is used.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = sign * np.sqrt(b * b - a * c)
        root = np.where(b * sign > 0, c / (-b - reach), (reach - b) / a)
    root[~np.isfinite(root)] = np.nan
    return np.asarray(root)


def _torus_root(f: Forms, face: Ints, start: Floats, d: Floats, leaving: Bools) -> Floats:
    step = np.zeros(len(start))
    limit = f.minor[face]
    with np.errstate(divide="ignore", invalid="ignore"):
        for _ in range(_NEWTON_ROUNDS):
            high, normal = _torus_height(f, face, start + step[:, None] * d)
            further = np.clip(high / dots(normal, d), -limit, limit)
            step -= further
            if not (np.abs(further) > _NEWTON_STILL).any():
                break
        high, normal = _torus_height(f, face, start + step[:, None] * d)
    lost = ~(np.abs(high) < 1e-9 * (1.0 + f.radius[face])) | ((dots(normal, d) > 0) != leaving)
    step[lost] = np.nan
    return step
