"""Writes the readings of the bundled jobs, and the truth they were taken from: `python -m tests.make_readings [FOLDER]`.

No casting was poured for these: the drawn casting's surfaces are moved by known
amounts (walls proud or sunk, a half of the mould shifted, a core set over, a warp,
a sunk spot), "measured" there by rays against the moved triangles, and rounded as
the tool would show it, with noise from `SEED`. What was done stands beside it as
JSON in tests/truth, so that a test can ask for it back. The rays here are this
file's own, not the program's. Lengths mm, part frame.
"""

import json
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from geom.kernel.mesh import Mesh, tessellate
from geom.kernel.shape import Solid
from geom.model.part import Part
from geom.received.faces import face_skin
from geom.rigid import from_turn
from geom.units import MM_PER_INCH
from tests.bundled import ROOT, opened

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Vector = Sequence[float] | Floats

SEED: Final = 1843
_FINE: Final = 0.02
"""Chord error of the triangles that are measured, mm."""


@dataclass(frozen=True)
class Off:
    """How far one wall is off its drawn place.

    Attributes:
        proud: mm along the outward normal.
        shift: mm, of the whole wall.
        lean: change of `proud` per mm along X, Y and Z.
    """

    proud: float = 0.0
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    lean: tuple[float, float, float] = (0.0, 0.0, 0.0)


class Moved:
    """The drawn casting with its walls moved, ready to be measured."""

    def __init__(self, part: Part, off: Mapping[str, Off]) -> None:
        self.part, self.off = part, off
        self.mesh = _mesh(part.casting)
        self.made: dict[str, Floats] = {}

    def triangles(self, name: str) -> Floats:
        """Return the moved triangles (n, 3, 3) of the skin over a face."""
        if name not in self.made:
            found = [self._piece(index, self.off.get(name, Off())) for index in face_skin(self.part, name).surfaces]
            self.made[name] = np.concatenate(found)
        return self.made[name]

    def _piece(self, index: int, off: Off) -> Floats:
        corners = self.mesh.vertices[self.mesh.triangles[self.mesh.face == index]]
        normals = _normals_at(self.part.casting, index, corners)
        proud = off.proud + corners @ np.array(off.lean)
        return np.asarray(corners + proud[:, :, None] * normals + np.array(off.shift))

    def hit(self, name: str, start: Vector, way: Vector) -> tuple[Floats, Floats]:
        """Return where the line through a point meets a face's moved skin nearest to that point, and the normal there."""
        found, normal = _crossing(self.triangles(name), np.array(start, dtype=np.float64), np.array(way, dtype=np.float64))
        return found, normal


@cache
def _mesh(solid: Solid) -> Mesh:
    return tessellate(solid, _FINE, 5.0)


def _normals_at(solid: Solid, index: int, corners: Floats) -> Floats:
    """Return the outward normals (n, 3, 3) at corners on a plane, cylinder or cone."""
    surface = solid.surfaces[index]
    flat = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    flat /= np.linalg.norm(flat, axis=1, keepdims=True)
    if surface.kind == "plane":
        return np.repeat(flat[:, None, :], 3, axis=1)
    axis = np.array(surface.axis)
    out = corners - np.array(surface.origin)
    out -= (out @ axis)[..., None] * axis
    out /= np.linalg.norm(out, axis=2, keepdims=True)
    along = (flat @ axis)[:, None, None] * axis
    side = np.sign(np.einsum("nij,nj->ni", out, flat))[..., None]
    normals = side * out * np.sqrt(1.0 - (flat @ axis) ** 2)[:, None, None] + along
    return np.asarray(normals / np.linalg.norm(normals, axis=2, keepdims=True))


def _crossing(triangles: Floats, start: Floats, way: Floats) -> tuple[Floats, Floats]:
    """Return the crossing of a line with triangles nearest to its start, and that triangle's normal (Moeller and Trumbore 1997)."""
    way = way / np.linalg.norm(way)
    a, b, c = (triangles[:, i] for i in range(3))
    cross = np.cross(way, c - a)
    det = np.einsum("ij,ij->i", b - a, cross)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.einsum("ij,ij->i", start - a, cross) / det
        other = np.cross(start - a, b - a)
        v = other @ way / det
        t = np.einsum("ij,ij->i", c - a, other) / det
        good = np.flatnonzero((np.abs(det) > 1e-12) & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9))
    if not good.size:
        raise ValueError(f"no skin on the line from {start} along {way}")
    best = good[np.argmin(np.abs(t[good]))]
    normal = np.cross(b[best] - a[best], c[best] - a[best])
    return start + t[best] * way, normal / np.linalg.norm(normal)


def _as_json(off: Mapping[str, Off]) -> dict[str, Any]:
    return {name: {"proud": o.proud, "shift": list(o.shift), "lean": list(o.lean)} for name, o in off.items()}


# --- footstep: ten readings with calipers and a height gauge -------------------

_GAUGE, _CALIPERS = 0.02, 0.05
"""What a height gauge and calipers scatter by on a sand-cast skin, and show in steps of, mm."""

_HEIGHTS: Final = (
    ("top", (27, 0, 104)),
    ("top", (-14, 23, 104)),
    ("top", (-14, -23, 104)),
    ("round 1", (-48, 0, 70)),
)
"""The top in three places for its lean, and the crown of the grub-screw boss: how high its facing may reach."""

_ACROSS: Final = (
    ("main bore", "main bore", None),
    ("boss face", "main bore", (-57, 0, 62)),
    ("boss face", "main bore", (-60, 0, 8)),
    ("cone 1", "main bore", (36, 0, 95)),
    ("cone 1", "main bore", (0, 36, 95)),
    ("cone 1", "main bore", (0, -36, 95)),
)
"""The core's width, the boss's face from it high and low, and the wall round it in three places at the top."""

SOUND: Final = {
    "base": Off(proud=-0.5),
    "top": Off(proud=0.4, lean=(0.006, -0.003, 0.0)),
    "top 2": Off(proud=0.2),
    "main bore": Off(proud=-0.1, shift=(0.9, -0.6, 0.0)),
    "boss face": Off(proud=-0.4),
    "round 1": Off(proud=-0.3),
    "cone 1": Off(proud=0.2),
}
"""The cope sagged a little and the core stands off centre: a casting as they come."""

SPOILT: Final = {
    "base": Off(proud=-0.8),
    "top": Off(proud=-0.3, lean=(-0.004, 0.004, 0.0)),
    "top 2": Off(proud=0.1),
    "main bore": Off(proud=-4.0, shift=(-0.7, 0.5, 0.0)),
    "boss face": Off(proud=-0.6),
    "round 1": Off(proud=0.2),
    "cone 1": Off(proud=-0.1),
}
"""The wrong core was set: it is wider than the finished bore, so no place helps."""


def _footstep(folder: Path, truth: Path) -> None:
    part = opened("footstep").part
    for number, (name, off) in enumerate((("a", SOUND), ("b", SPOILT))):
        rng = np.random.default_rng([SEED, number])
        moved, into = Moved(part, off), folder / "footstep" / "readings" / name
        _write(into / "heights.csv", _height_lines(moved, rng))
        _write(into / "thicknesses.csv", _thickness_lines(moved, rng))
        _truth(truth / f"footstep_{name}.json", {"off": _as_json(off), "sigma": {"height": _GAUGE, "thickness": _CALIPERS}})


def _height_lines(moved: Moved, rng: np.random.Generator) -> list[str]:
    """Heights over the plate that the raw base stands on."""
    floor = float(moved.triangles("base")[:, :, 2].min())
    lines = ["# units: mm", "# seat: base", f"# sigma: {_GAUGE + 0.03:g} mm", "face,height,at"]
    for face, at in _HEIGHTS:
        value = moved.hit(face, at, (0, 0, 1))[0][2] - floor + _GAUGE * rng.standard_normal()
        lines.append(f"{face},{_step(float(value), 0.01, 2)},{_words(at)}")
    return lines


def _thickness_lines(moved: Moved, rng: np.random.Generator) -> list[str]:
    lines = ["# units: mm", "face a,face b,thickness,at"]
    for a, b, at in _ACROSS:
        value = _bore_across(moved) if at is None else _wall(moved, a, b, at)
        value += _CALIPERS * float(rng.standard_normal())
        lines.append(f"{a},{b},{_step(value, 0.05, 2)},{'' if at is None else _words(at)}")
    return lines


def _bore_across(moved: Moved) -> float:
    corners = moved.triangles("main bore")[:, :, :2].reshape(-1, 2)
    return float(corners[:, 0].max() - corners[:, 0].min())


def _wall(moved: Moved, a: str, b: str, at: Sequence[float]) -> float:
    """What calipers find from the outside to the core: least over a small swing, as the hand does it."""
    flat = np.array([at[0], at[1], 0.0])
    side = np.array([-flat[1], flat[0], 0.0]) / np.linalg.norm(flat)
    found = []
    for swing in np.linspace(-2.0, 2.0, 41):
        start = np.array(at, dtype=np.float64) + swing * side
        found.append(
            np.linalg.norm(moved.hit(a, start, flat)[0] - moved.hit(b, 0.45 * flat + [0, 0, at[2]] + swing * side, flat)[0])
        )
    return float(min(found))


# --- bell crank: touches from the mill's readout, in inches --------------------

_NOISE: Final = 0.0008 * MM_PER_INCH
_TIP: Final = 0.200 * MM_PER_INCH
_FRAME: Final = from_turn((0.12, -0.2, 23.0), (-71.4, 38.2, 54.9))
"""Part frame -> the mill's readout: the casting lies askew on the table, not quite level."""

CRANK: Final = {
    "pivot top": Off(proud=0.3),
    "rod top": Off(proud=-0.5),
    "valve top": Off(proud=0.2),
    "pivot bottom": Off(proud=0.2),
    "rod bottom": Off(proud=0.6),
    "valve bottom": Off(proud=-0.1),
    "pivot bore": Off(shift=(0.55, 0.35, 0.0)),
    "cone 2": Off(proud=0.1),
    "cone 4": Off(proud=0.15),
    "cone 5": Off(proud=0.1, shift=(0.25, -0.1, 0.0)),
    "cone 1": Off(proud=0.1, shift=(0.3, -0.2, 0.0)),
    "cone 3": Off(proud=-0.1, shift=(0.3, -0.2, 0.0)),
    "cone 6": Off(proud=0.1, shift=(0.55, -0.3, 0.0)),
}
"""The rod arm droops by half a millimetre, the core stands over, the valve boss is a little out of place.

The lower half of the mould stands off by (0.3, -0.2).
"""

_R2: Final = 2**-0.5
_TOUCHES: Final = (
    *(("pivot top", p, (0, 0, -1)) for p in ((38, 8, 26), (-30, 26, 26), (-12, -38, 26))),
    *(("rod top", p, (0, 0, -1)) for p in ((172, 6, 20), (158, -8, 20))),
    *(("valve top", p, (0, 0, -1)) for p in ((-38, 106, 20), (-24, 100, 20))),
    *(("pivot bore", (0, 0, 14), way) for way in ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0))),
    *(("cone 2", (48 * x, 48 * y, 16), (-x, -y, 0)) for x, y in ((-1, 0), (-_R2, -_R2), (_R2, -_R2), (_R2, _R2))),
    *(("cone 1", (48 * x, 48 * y, -16), (-x, -y, 0)) for x, y in ((-1, 0), (_R2, -_R2), (_R2, _R2))),
    *(("cone 4", (165.1 + 24 * x, 24 * y, 14), (-x, -y, 0)) for x, y in ((1, 0), (_R2, _R2), (_R2, -_R2))),
    *(("cone 5", (-31.6 + 24 * x, 103.2 + 24 * y, 14), (-x, -y, 0)) for x, y in ((0, 1), (-0.8, 0.6), (0.6, 0.8))),
)
_CRANK_ACROSS: Final = (
    *(("pivot top", "pivot bottom", p) for p in ((30, 20, 26), (-35, 12, 26), (0, -38, 26))),
    *(("rod top", "rod bottom", p) for p in ((172, 8, 20), (160, -12, 20))),
    *(("valve top", "valve bottom", p) for p in ((-38, 108, 20), (-25, 96, 20))),
)
"""Each boss through its ends: the pivot in three places, the pins in two."""

_CRANK_WIDE: Final = (
    ("cone 1", (0.0, 0.0, -16.0), (_R2, _R2, 0.0)),
    ("cone 3", (165.1, 0.0, -13.0), (0.0, 1.0, 0.0)),
    ("cone 6", (-31.6, 103.2, -13.0), (1.0, 0.0, 0.0)),
)
"""Each boss across its lower half: face, a place on its axis, and which way the calipers lie."""


def _bell_crank(folder: Path, truth: Path) -> None:
    rng = np.random.default_rng([SEED, 2])
    moved, into = Moved(opened("bell_crank").part, CRANK), folder / "bell_crank" / "readings"
    _write(into / "touches.csv", _touch_lines(moved, rng))
    _write(into / "thicknesses.csv", _crank_thicknesses(moved, rng))
    frame = {"shift": list(_FRAME.shift), "turn": list(_FRAME.turn)}
    _truth(truth / "bell_crank.json", {"off": _as_json(CRANK), "part_to_readout": frame, "sigma": {"touch": _NOISE}})


def _touch_lines(moved: Moved, rng: np.random.Generator) -> list[str]:
    lines = [
        "# units: inch",
        f"# tip: {_TIP / MM_PER_INCH:.3f} in",
        "# frame: mill readout, casting lying on its lower side",
        "# sigma: 0.0015 in",
        "face,x,y,z",
    ]
    for face, at, way in _TOUCHES:
        spot, normal = moved.hit(face, at, way) if face != "pivot bore" else _inside(moved, face, at, way)
        centre = spot + (_TIP / 2 + _NOISE * rng.standard_normal()) * normal
        lines.append(f"{face},{','.join(_step(v / MM_PER_INCH, 0.0005, 4) for v in _FRAME.point(_three(centre)))}")
    return lines


def _inside(moved: Moved, face: str, at: Sequence[float], way: Sequence[float]) -> tuple[Floats, Floats]:
    """Return where a tip that starts on a bore's axis meets its wall."""
    return moved.hit(face, np.array(at) + 14.0 * np.array(way), way)


def _crank_thicknesses(moved: Moved, rng: np.random.Generator) -> list[str]:
    lines = ["# units: inch", "# sigma: 0.003 in", "face a,face b,thickness,at"]
    for a, b, at in _CRANK_ACROSS:
        x, y, z = at
        value = moved.hit(a, at, (0, 0, 1))[0][2] - moved.hit(b, (x, y, -z), (0, 0, 1))[0][2] + 0.05 * rng.standard_normal()
        lines.append(f"{a},{b},{_step(float(value) / MM_PER_INCH, 0.001, 3)},{_words([v / MM_PER_INCH for v in at], 2)}")
    for face, on, way in _CRANK_WIDE:
        near, far = (np.array(on) + sign * 30.0 * np.array(way) for sign in (1.0, -1.0))
        value = np.linalg.norm(moved.hit(face, near, way)[0] - moved.hit(face, far, way)[0]) + 0.05 * rng.standard_normal()
        where = _words([v / MM_PER_INCH for v in near], 2)
        lines.append(f"{face},{face},{_step(float(value) / MM_PER_INCH, 0.001, 3)},{where}")
    return lines


# --- pump cover: a scan of a warped, mismatched casting with a sunk spot ----------

_EDGE: Final = 6.9
"""Longest edge of the scan's triangles, mm: it must fit a repository."""

_SCATTER: Final = 0.03
_WARP: Final = 0.45
"""Rise of the flange's rim along X, fall along Y, mm: a saddle."""

_MISMATCH: Final = (0.3, -0.2, 0.0)
"""What the lower half of the mould stands off by: recess and core print."""

_SPOT_AT, _SPOT_RADIUS, _SPOT_DEPTH = (-61.0, 37.0, -3.5), 12.0, 1.2
"""The sunk spot in the joint face: its middle, how far it reaches and how deep, mm."""

_POSE: Final = from_turn((118.0, -64.0, 39.0), (212.4, -87.9, 153.6))
"""Part frame -> the scanner's."""

_HINT: Final = "slope 2"
"""The cover looks the same a third of a turn on: one named point settles which rib is which."""


def _pump_cover(folder: Path, truth: Path) -> None:
    part, into = opened("pump_cover").part, folder / "pump_cover" / "readings"
    points, triangles = _scan(part)
    placed = _POSE.points(points)
    into.mkdir(parents=True, exist_ok=True)
    (into / "cover.stl").write_bytes(_stl(placed, triangles))
    hint = _POSE.points(_warped(np.array([face_skin(part, _HINT).middle])))[0]
    lines = ['file = "cover.stl"', 'unit = "mm"', 'sigma = "0.06 mm"', "", "[points]"]
    _write(into / "scan.toml", [*lines, f'"{_HINT}" = [{", ".join(f"{v:.1f}" for v in hint)}]'])
    record = {
        "part_to_scan": {"shift": list(_POSE.shift), "turn": list(_POSE.turn)},
        "warp": _WARP,
        "mismatch": list(_MISMATCH),
        "spot": {"face": "bottom", "at": list(_SPOT_AT), "radius": _SPOT_RADIUS, "depth": _SPOT_DEPTH},
        "sigma": {"scan": _SCATTER},
        "triangles": len(triangles),
    }
    _truth(truth / "pump_cover.json", record)


def _scan(part: Part) -> tuple[Floats, Ints]:
    """Return the moved casting as one closed mesh with noise."""
    mesh = tessellate(part.casting, 0.12, 40.0)
    points, triangles, face = _split_long(mesh.vertices, mesh.triangles, mesh.face, _EDGE)
    lower = _lower_half(part)
    weight = np.zeros(len(points))
    weight[np.unique(triangles[np.isin(face, sorted(lower))])] = 1.0
    found = _warped(_sunk(points)) + weight[:, None] * np.array(_MISMATCH)
    rng = np.random.default_rng([SEED, 3])
    return found + _SCATTER * _vertex_normals(found, triangles) * rng.standard_normal(len(found))[:, None], triangles


def _lower_half(part: Part) -> set[int]:
    """The recess and the core: what the lower half of the mould and its print make."""
    found = set()
    for surface in part.casting.surfaces:
        x, y, _ = surface.centroid
        round_axis = surface.kind in ("cone", "torus", "cylinder") and np.hypot(surface.origin[0], surface.origin[1]) < 1e-6
        inside = surface.hollow and round_axis
        floor = surface.kind == "plane" and surface.normal is not None and surface.normal[2] < -0.9 and surface.centroid[2] > 0
        if np.hypot(x, y) < 1e-3 and (inside or floor):
            found.add(surface.index)
    return found


def _warped(points: Floats) -> Floats:
    """A saddle over the flange, as a plate warps that cooled unevenly."""
    rise = _WARP * (points[:, 0] ** 2 - points[:, 1] ** 2) / 85.0**2
    return points + np.stack([np.zeros_like(rise), np.zeros_like(rise), rise], axis=1)


def _sunk(points: Floats) -> Floats:
    """A dish in the joint face, deepest in the middle, that runs out evenly."""
    at, radius, depth = np.array(_SPOT_AT), _SPOT_RADIUS, _SPOT_DEPTH
    away = np.linalg.norm(points - at, axis=1)
    dish = np.where(away < radius, depth * 0.5 * (1.0 + np.cos(np.pi * np.minimum(away / radius, 1.0))), 0.0)
    on_face = np.abs(points[:, 2] - at[2]) < 1e-6
    return np.asarray(points + np.stack([np.zeros_like(dish), np.zeros_like(dish), np.where(on_face, dish, 0.0)], axis=1))


def _split_long(points: Floats, triangles: Ints, face: Ints, longest: float) -> tuple[Floats, Ints, Ints]:
    """Return the mesh with no edge longer than `longest`: long edges are halved, and edges inside flat faces swapped, in turns."""
    for _ in range(60):
        points, triangles, face, more = _halved(points, triangles, face, longest)
        if not more:
            return points, triangles, face
        for _ in range(3):
            triangles = _swapped(points, triangles, face)
    raise ValueError(f"edges longer than {longest} mm are left")


def _neighbours(triangles: Ints) -> dict[tuple[int, int], int]:
    """Return which triangle each directed edge belongs to."""
    return {(t[i], t[(i + 1) % 3]): n for n, t in enumerate(triangles.tolist()) for i in range(3)}


def _halved(points: Floats, triangles: Ints, face: Ints, longest: float) -> tuple[Floats, Ints, Ints, bool]:
    """Halve long edges, the longest first, at most one in each triangle."""
    ends = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2)
    length = np.round(np.linalg.norm(points[ends[..., 0]] - points[ends[..., 1]], axis=2), 9)
    long = [(-float(length[n, i]), *sorted(ends[n, i].tolist())) for n, i in zip(*np.nonzero(length > longest), strict=True)]
    if not long:
        return points, triangles, face, False
    owner, rows, faces = _neighbours(triangles), triangles.tolist(), face.tolist()
    used: set[int] = set()
    fresh: list[Floats] = []
    for _, a, b in sorted(set(long)):
        both = [owner[(a, b)], owner[(b, a)]]
        if used & set(both):
            continue
        used |= set(both)
        middle = len(points) + len(fresh)
        fresh.append((points[a] + points[b]) / 2.0)
        for n in both:
            i = next(i for i in range(3) if {rows[n][i], rows[n][(i + 1) % 3]} == {a, b})
            p, q, r = rows[n][i], rows[n][(i + 1) % 3], rows[n][(i + 2) % 3]
            rows[n] = [p, middle, r]
            rows.append([middle, q, r])
            faces.append(faces[n])
    return np.concatenate([points, np.array(fresh)]), np.array(rows), np.array(faces), True


def _swapped(points: Floats, triangles: Ints, face: Ints) -> Ints:
    """Swap edges inside flat faces where the angles across them sum to more than 180 degrees (Delaunay's condition)."""
    a, b, c = (points[triangles[:, i]] for i in range(3))
    normals = np.cross(b - a, c - a)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1), np.roll(triangles, -2, axis=1)], axis=2).reshape(-1, 3)
    code, back = edges[:, 0] * len(points) + edges[:, 1], edges[:, 1] * len(points) + edges[:, 0]
    order = np.argsort(code)
    twin = order[np.searchsorted(code[order], back)]
    n, m = np.repeat(np.arange(len(triangles)), 3), np.repeat(np.arange(len(triangles)), 3)[twin]
    flat = (face[n] == face[m]) & (np.einsum("ij,ij->i", normals[n], normals[m]) > 1.0 - 1e-9) & (edges[:, 0] < edges[:, 1])
    r, s = edges[:, 2], edges[twin, 2]
    total = _angles(points, r, edges[:, 0], edges[:, 1]) + _angles(points, s, edges[:, 0], edges[:, 1])
    rows, used = triangles.copy(), np.zeros(len(triangles), dtype=np.bool_)
    for i in np.flatnonzero(flat & (total > np.pi + 1e-6)).tolist():
        if not (used[n[i]] or used[m[i]]):
            p, q = edges[i, 0], edges[i, 1]
            rows[n[i]], rows[m[i]] = (p, s[i], r[i]), (s[i], q, r[i])
            used[[n[i], m[i]]] = True
    return rows


def _angles(points: Floats, at: Ints, p: Ints, q: Ints) -> Floats:
    u, v = points[p] - points[at], points[q] - points[at]
    return np.asarray(np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), np.einsum("ij,ij->i", u, v)))


def _vertex_normals(points: Floats, triangles: Ints) -> Floats:
    a, b, c = (points[triangles[:, i]] for i in range(3))
    normals = np.zeros_like(points)
    for i in range(3):
        np.add.at(normals, triangles[:, i], np.cross(b - a, c - a))
    return np.asarray(normals / np.linalg.norm(normals, axis=1, keepdims=True))


def _stl(points: Floats, triangles: Ints) -> bytes:
    record = np.zeros(len(triangles), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    record["corners"] = points[triangles]
    return b"pump cover as received".ljust(80) + np.array(len(triangles), dtype="<u4").tobytes() + record.tobytes()


# --- files -------------------------------------------------------------------------


def _three(point: Floats) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in point)
    return (x, y, z)


def _step(value: float, step: float, places: int) -> str:
    return f"{round(value / step) * step:.{places}f}"


def _words(at: Sequence[float], places: int = 0) -> str:
    return " ".join(f"{v:.{places}f}" for v in at)


def _write(path: Path, lines: Sequence[str]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _truth(path: Path, record: Mapping[str, Any]) -> None:
    _write(path, [json.dumps({"seed": SEED, **record}, indent=1)])


JOBS: Final[Mapping[str, Callable[[Path, Path], None]]] = {
    "footstep": _footstep,
    "bell_crank": _bell_crank,
    "pump_cover": _pump_cover,
}


def main(folder: Path = ROOT / "parts", truth: Path = ROOT / "tests" / "truth") -> None:
    """Write all readings under a folder of jobs, and their truth."""
    for make in JOBS.values():
        make(folder, truth)


if __name__ == "__main__":
    main(*(Path(argument) for argument in sys.argv[1:3]))
