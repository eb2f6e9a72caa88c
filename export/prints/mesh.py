"""Triangles for a printer, checked before a byte is written.

Turns a solid into a closed mesh whose facets stay within an absolute chord
error, and the mesh into a binary STL. What is checked is what is written: the
vertices are first rounded to the 32-bit numbers an STL holds. Lengths mm, part
frame. Knows nothing of folders, jobs or what a print is for.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, TypeAlias

import manifold3d
import numpy as np
import numpy.typing as npt

from export.number import fixed
from geom.errors import GeometryError, JobError
from geom.kernel.mesh import Mesh, mesh_volume, tessellate, weld
from geom.kernel.shape import Solid
from geom.rays.refine import refined
from geom.space import Vec3
from geom.tolerance import KERNEL_NOISE

FaceWords: TypeAlias = Callable[[int], str]
"""What to call the solid's surface of this index in a message."""

LEAST_CHORD: Final = 0.001
"""mm; finer is below what any printer, or caliper, resolves and fills disks."""

GREATEST_CHORD: Final = 1.0
"""mm; coarser no longer fits the machine it is printed for."""

_ATTEMPTS = 4
"""Facets that miss the chord are split; where the fault lies in an edge between two faces,
each further attempt asks the kernel for half the chord."""

_SEEN: Final = 0.94
"""Share of a facet's depth that its four probes see at least: on a sphere, a triangle with angles of
75, 75 and 30 degrees hides the most (closed form: the probes against the middle of its circle)."""

_PLACES: Final = 1500
_BESIDE: Final = 0.005
_OFF_EDGES: Final = 0.1
"""Places on a skin where it is looked whether it runs into itself, how far to each side, and clear of edges; mm."""

_STL_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_STL_HEADER = 80


@dataclass(frozen=True, slots=True, eq=False)
class PrintMesh:
    """A closed mesh ready for a printer.

    Attributes:
        label: "finished part", "casting" ...
        mesh: vertices exact in 32 bits, triangles in an order that depends on the shape alone.
        chord: greatest distance asked for between a facet and the true surface, mm.
        found: greatest distance measured on each of the solid's surfaces, mm; 0 on planes.
        volume: enclosed by the facets, mm3.
        solid_volume: of the solid, mm3.
        volume_bound: how far the two may lie apart, mm3 (see `volume_bound`).
        box: least and greatest corner of the facets.
    """

    label: str
    mesh: Mesh = field(repr=False)
    chord: float
    found: tuple[float, ...] = field(repr=False)
    volume: float
    solid_volume: float
    volume_bound: float
    box: tuple[Vec3, Vec3]

    @property
    def worst(self) -> float:
        """Greatest distance measured between a facet and the true surface, mm."""
        return max(self.found)

    @property
    def size(self) -> Vec3:
        """Size of the print along X, Y and Z, mm."""
        (x0, y0, z0), (x1, y1, z1) = self.box
        return (x1 - x0, y1 - y0, z1 - z0)


def checked_chord(chord: float, where: str) -> float:
    """Return the chord error, mm, if it makes a useful print.

    Raises:
        JobError: not a number from `LEAST_CHORD` to `GREATEST_CHORD`.
    """
    if not LEAST_CHORD <= chord <= GREATEST_CHORD:
        raise JobError(
            f"{where}: a chord error of {chord:g} mm makes no useful print; "
            f"give {LEAST_CHORD:g} to {GREATEST_CHORD:g} mm (0.05 is usual)"
        )
    return chord


def print_mesh(solid: Solid, label: str, chord: float, face_words: FaceWords | None = None) -> PrintMesh:
    """Return the checked mesh of a solid.

    Args:
        label: what the mesh is of, for messages and the file's header.
        chord: greatest distance between a facet and the true surface, mm.
        face_words: names of the solid's surfaces; without it they are told by kind and place.

    Raises:
        GeometryError: the facets miss the chord, do not close or lose volume; the message names the face.
    """
    words = face_words or (lambda index: place_words(solid, index))
    _check_resolution(solid, label, chord)
    mesh, found = _within_chord(solid, label, chord, words)
    check_closed(mesh, label, words)
    check_independently(mesh, label)
    volume, bound = mesh_volume(mesh), volume_bound(solid, chord)
    if abs(volume - solid.volume) > bound:
        raise GeometryError(
            f"{label}: the facets enclose {volume:.1f} mm3 and the solid {solid.volume:.1f} mm3; a chord error of {chord:g} mm "
            f"accounts for {bound:.1f} mm3 at most, so the solid is faulty: heal it in the CAD program and export it again"
        )
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    box = (_vec(low), _vec(high))
    return PrintMesh(label, mesh, chord, found, volume, solid.volume, bound, box)


def volume_bound(solid: Solid, chord: float) -> float:
    """Return by how much a mesh within `chord` of a solid may miss its volume, mm3.

    A facet leaves the surface only where that is curved, and there by at most
    the chord error: what lies between is thinner than `chord` over the curved
    area. (A flat face bounded by a curve shares the loss of the curved face
    beyond that curve.) Kernel and 32-bit noise over the whole area are added.
    """
    area = sum(surface.area for surface in solid.surfaces)
    curved = sum(surface.area for surface in solid.surfaces if surface.kind != "plane" or surface.recovered)
    return chord * curved + (KERNEL_NOISE + _spacing(solid)) * area


def place_words(solid: Solid, index: int) -> str:
    """Return words for a surface without a name: its kind and where it is."""
    surface = solid.surfaces[index]
    place = ", ".join(fixed(c, 1) for c in surface.centroid)
    kind = "free-form" if surface.kind == "other" else surface.kind
    return f"the {kind} face near ({place}) mm"


def _vec(row: npt.NDArray[np.float64]) -> Vec3:
    x, y, z = (row + 0.0).tolist()
    return (x, y, z)


# --- meshing ----------------------------------------------------------------


def _spacing(solid: Solid) -> float:
    """Return the step of 32-bit numbers at the solid's farthest coordinate, mm."""
    return float(np.spacing(np.float32(max(abs(c) for corner in solid.box for c in corner))))


def _check_resolution(solid: Solid, label: str, chord: float) -> None:
    if _spacing(solid) > chord / 10:
        raise GeometryError(
            f"{label}: lies so far from the model's origin that an STL file resolves only {_spacing(solid):.2g} mm there, "
            f"too coarse for a chord error of {chord:g} mm; move the part near the origin in the CAD program and export it again"
        )


def _within_chord(solid: Solid, label: str, chord: float, words: FaceWords) -> tuple[Mesh, tuple[float, ...]]:
    """Return a mesh in 32-bit numbers and the greatest facet error measured on each surface, at most `chord`."""
    for attempt in range(_ATTEMPTS):
        mesh, errors = refined(solid, in_32_bits(tessellate(solid, chord / 2**attempt)), _SEEN * chord, _rounded)
        if errors.max() <= _SEEN * chord:
            found = np.zeros(len(solid.surfaces))
            np.maximum.at(found, mesh.face, errors)
            return ordered(mesh), tuple(found.tolist())
    worst = int(errors.argmax())
    raise GeometryError(
        f"{label}: {words(int(mesh.face[worst]))} cannot be turned into triangles within {chord:g} mm "
        f"(found {errors[worst]:.3f} mm); rebuild that face in the CAD program, or ask for a coarser chord error"
    )


def _rounded(points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return points as 32-bit numbers hold them, without negative zeros."""
    return np.asarray(points.astype(np.float32).astype(np.float64) + 0.0)


def in_32_bits(mesh: Mesh) -> Mesh:
    """Return the mesh as an STL holds it: 32-bit vertices, equal ones welded, collapsed facets gone."""
    rounded = _rounded(mesh.vertices)
    _, first, inverse = np.unique(rounded, axis=0, return_index=True, return_inverse=True)
    welded = inverse.ravel()[mesh.triangles]
    return weld(rounded[first], welded, mesh.face)


def ordered(mesh: Mesh) -> Mesh:
    """Return the mesh with vertices in order of x, y, z and triangles in order of their vertices."""
    order = np.lexsort(mesh.vertices.T[::-1])
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    triangles = rank[mesh.triangles]
    start = triangles.argmin(axis=1)
    turned = np.take_along_axis(triangles, (start[:, None] + np.arange(3)) % 3, axis=1)
    sequence = np.lexsort(turned.T[::-1])
    return Mesh(mesh.vertices[order], turned[sequence], mesh.face[sequence])


# --- checks -----------------------------------------------------------------


def check_closed(mesh: Mesh, label: str, words: FaceWords) -> None:
    """Check that every edge is walked once each way.

    Raises:
        GeometryError: it is not; the message names the faces beside the first such edges.
    """
    edges = mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    count = len(mesh.vertices)
    there, back = edges[:, 0] * count + edges[:, 1], edges[:, 1] * count + edges[:, 0]
    keys, times = np.unique(there, return_counts=True)
    single = times[np.searchsorted(keys, there)] == 1
    bad = np.flatnonzero(~(single & np.isin(back, keys)))
    if not len(bad):
        return
    x, y, z = mesh.vertices[edges[bad]].mean(axis=1)[0]
    faces = sorted({words(int(index)) for index in np.unique(mesh.face[bad // 3])})
    named = ", ".join(faces[:4]) + (f" and {len(faces) - 4} more" if len(faces) > 4 else "")
    raise GeometryError(
        f"{label}: the facets of {named} do not close up ({len(bad)} loose edges, the first near ({x:.1f}, {y:.1f}, {z:.1f}) mm), "
        "so a printer could not tell inside from outside; rebuild that place in the CAD program and export it again"
    )


def check_independently(mesh: Mesh, label: str) -> None:
    """Check with manifold3d and libigl that the mesh is one closed, outward-facing body of the volume we report, never in itself.

    Raises:
        GeometryError: it disagrees.
    """
    vertices = np.ascontiguousarray(mesh.vertices, dtype=np.float32)
    triangles = np.ascontiguousarray(mesh.triangles, dtype=np.uint32)
    body = manifold3d.Manifold(manifold3d.Mesh(vert_properties=vertices, tri_verts=triangles))
    if body.status() != manifold3d.Error.NoError:
        raise GeometryError(
            f"{label}: an independent check finds that the facets are no closed body ({body.status().name}); "
            "heal the solid in the CAD program and export it again"
        )
    volume, ours = body.volume(), mesh_volume(mesh)
    if not ours > 0 or not math.isclose(volume, ours, rel_tol=1e-5):
        raise GeometryError(
            f"{label}: the facets enclose {ours:.1f} mm3 by our count and {volume:.1f} mm3 by an independent one; "
            "heal the solid in the CAD program and export it again"
        )
    check_apart(mesh, label)


def check_apart(mesh: Mesh, label: str) -> None:
    """Check with libigl that no part of a closed mesh stands in another: it is once just inside its skin, nowhere just outside.

    Looked at in places spread over the skin by area, clear of edges.

    Raises:
        GeometryError: a place lies in it twice, or has metal on both sides.
    """
    import igl

    points, normals = _places(mesh.vertices[mesh.triangles])
    both = np.vstack([points - _BESIDE * normals, points + _BESIDE * normals])
    times = igl.fast_winding_number(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.triangles), both)
    within, outside = times[: len(points)], times[len(points) :]
    bad = np.flatnonzero((np.abs(within - 1.0) > 0.5) | (np.abs(outside) > 0.5))
    if len(bad):
        x, y, z = points[bad[0]].tolist()
        raise GeometryError(
            f"{label}: it runs into itself near ({x:.1f}, {y:.1f}, {z:.1f}) mm ({len(bad)} of {len(points)} places), so a "
            "printer could not tell inside from outside; heal the solid in the CAD program and export it again"
        )


def _places(corners: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return points spread evenly over triangles (m, 3, 3), none near an edge, and the normals there."""
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(across, axis=1)
    total = np.cumsum(size)
    row = np.searchsorted(total, (np.arange(_PLACES) + 0.5) / _PLACES * total[-1])
    share = (np.arange(_PLACES)[:, None] * np.array([0.7548776662466927, 0.5698402909980532])) % 1.0
    share = np.where(share.sum(axis=1, keepdims=True) > 1.0, 1.0 - share, share)
    weight = np.column_stack([1.0 - share.sum(axis=1), share])
    longest = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2).max(axis=1)
    kept = weight.min(axis=1) * size[row] / longest[row] > _OFF_EDGES
    row, weight = row[kept], weight[kept]
    return np.einsum("nk,nkj->nj", weight, corners[row]), across[row] / size[row][:, None]


# --- bytes ------------------------------------------------------------------


def stl_bytes(mesh: Mesh, label: str, chord: float) -> bytes:
    """Return a binary STL in mm of a checked mesh; the header states unit, chord error and what it is, no clock.

    Layout: 80-byte header, little-endian count, then 50 bytes a triangle
    (normal, three corners, two zero bytes). From memory of the format as
    published by its first users; checked by reading it back with trimesh.
    """
    header = f"binary STL by evenstock; unit: millimetre; chord error {chord:g} mm; {label}"
    text = header.encode("ascii", "replace")[:_STL_HEADER].ljust(_STL_HEADER)
    corners = mesh.vertices[mesh.triangles]
    records = np.zeros(len(corners), dtype=_STL_RECORD)
    records["corners"] = corners
    records["normal"] = _normals(corners)
    return text + len(records).to_bytes(4, "little") + records.tobytes()


def _normals(corners: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return unit normals (m, 3); a facet too thin to have one gets zeros, as readers expect."""
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(across, axis=1, keepdims=True)
    return np.where(length > 0, across / np.where(length > 0, length, 1.0), 0.0) + 0.0
