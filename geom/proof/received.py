"""The casting as received, as a closed skin about the finished part placed in it.

A scan that closes is taken as it is. Else the drawn casting's mesh is moved:
every corner so far that each wall that meets there lies off as its readings (or
the scan, where it shows one) say. Triangles lie a look-up chord off the walls,
so this skin tells metal from air, never a machined size. Lengths mm, in the
finished part's own frame. Takes the placement for granted; knows no rows.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from geom.errors import GeometryError
from geom.kernel.mesh import Mesh, tessellate_for_rays
from geom.model.part import Part
from geom.proof.mesh import Stuff
from geom.rays.analytic import Floats, Ints
from geom.rays.rays import Skin, skin_of
from geom.received.casting import AsReceived
from geom.rigid import Rigid
from geom.tolerance import WORK_CHORD

SCANNED: Final = "the scan itself"
PATCHED: Final = "the drawn casting moved to the scan, as drawn where the scan shows nothing"
MOVED: Final = "the drawn casting, every wall moved by what the readings say of it"

_FLAT: Final = 0.05
"""Walls that meet flatter than this (square of a sine) share one move along their common normal."""

FACETS: Final = 0.1
"""mm that this skin may lie off where it is drawn over: its triangles, and roundings between moved walls."""

_NEARLY_ALL: Final = 98.0
"""Per cent of the skin that `Received.off` covers: at the rest a scan shows a feeder stub, flash or nothing."""

_FAR: Final = 10.0
"""mm: a scanned skin further from the drawn one is another wall, or none."""


@dataclass(frozen=True, slots=True, eq=False)
class Received:
    """One casting as received.

    Attributes:
        name: "" where there is one only.
        skin: closed, in the finished part's frame.
        how: where the skin comes from, in words.
        off: how far the skin lies off the drawn one, placed, nearly everywhere, mm.
        noise: mm that single points of the skin may lie off: a scan's scatter, else 0.
    """

    name: str
    skin: Skin
    how: str
    off: float
    noise: float = 0.0


def received_casting(part: Part, received: AsReceived, pose: Rigid) -> Received:
    """Return a casting as received about the finished part.

    Args:
        pose: where each point of the finished part goes in the drawn casting's frame.
    """
    back = pose.inverse()
    drawn = tessellate_for_rays(part.casting, WORK_CHORD, 2.0 * WORK_CHORD)
    moved = moved_mesh(drawn, part, received)
    gone = np.linalg.norm(back.points(moved.vertices) - drawn.vertices, axis=1)
    off = float(np.percentile(gone, _NEARLY_ALL))
    scan = received.scan
    if scan is not None and closes(scan.mesh):
        return Received(received.name, Skin(_placed(scan.mesh, back)), SCANNED, off, received.scan_sigma)
    how = MOVED if scan is None else PATCHED
    return Received(received.name, Skin(_placed(moved, back)), how, off, 0.0 if scan is None else received.scan_sigma)


def closes(mesh: Mesh) -> bool:
    """Tell whether a mesh closes up round metal."""
    try:
        return Stuff(mesh, "scan").volume > 0.0
    except GeometryError:
        return False


def _placed(mesh: Mesh, back: Rigid) -> Mesh:
    return Mesh(np.ascontiguousarray(back.points(mesh.vertices)), mesh.triangles, mesh.face)


def moved_mesh(drawn: Mesh, part: Part, received: AsReceived) -> Mesh:
    """Return a mesh of the drawn casting with its corners moved to the skin as received, drawn casting's frame."""
    corner, surface = np.unique(np.stack([drawn.triangles.ravel(), np.repeat(drawn.face, 3)], axis=1), axis=0).T
    points = drawn.vertices[corner]
    normals = _normals(drawn, part, corner, surface, points)
    off = _offsets(received, points, normals, surface)
    return Mesh(drawn.vertices + _shifts(len(drawn.vertices), corner, normals, off), drawn.triangles, drawn.face)


def _normals(drawn: Mesh, part: Part, corner: Ints, surface: Ints, points: Floats) -> Floats:
    """Return the outward normal of each wall at each of its corners (n, 3): of its form, else of its triangles."""
    exact = skin_of(part.casting).facing(points, surface)
    free = np.flatnonzero(np.isnan(exact).any(axis=1))
    if free.size:
        p = drawn.vertices[drawn.triangles]
        wide = np.repeat(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), 3, axis=0)
        key = corner * (int(drawn.face.max()) + 1) + surface
        mine = drawn.triangles.ravel() * (int(drawn.face.max()) + 1) + np.repeat(drawn.face, 3)
        sums = np.zeros_like(exact)
        np.add.at(sums, np.searchsorted(key, mine), wide)
        exact[free] = sums[free] / np.maximum(np.linalg.norm(sums[free], axis=1), 1e-12)[:, None]
    return exact


def _offsets(received: AsReceived, points: Floats, normals: Floats, surface: Ints) -> Floats:
    """Return how far each wall lies off at its corners (n,), mm along its normal; a scan's is 0 where it shows nothing."""
    if received.scan is None:
        return received.skin_rows(points, surface)[0]
    start = points - _FAR * normals
    seen = received.scan.exits(start, normals) - _FAR
    return np.asarray(np.where(np.abs(seen) < _FAR, seen, 0.0))


def _shifts(count: int, corner: Ints, normals: Floats, off: Floats) -> Floats:
    """Return the shortest move (count, 3) of each corner to all its walls: least squares where walls are nearly one."""
    square, right = np.zeros((count, 3, 3)), np.zeros((count, 3))
    np.add.at(square, corner, normals[:, :, None] * normals[:, None, :])
    np.add.at(right, corner, normals * off[:, None])
    size, way = np.linalg.eigh(square)
    good = size > _FLAT
    solved = np.where(good, np.einsum("nij,ni->nj", way, right) / np.where(good, size, 1.0), 0.0)
    return np.asarray(np.einsum("nij,nj->ni", way, solved))
