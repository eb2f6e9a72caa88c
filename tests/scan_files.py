"""Scans made for tests: exact, noisy or broken meshes, and files of them.

The writers are the tests' own, straight from the formats' published layouts.
Lengths mm.
"""

from pathlib import Path

import numpy as np

from geom.kernel.mesh import Mesh, tessellate
from geom.kernel.shape import Solid
from geom.rays.analytic import Floats, Ints
from geom.rays.sample import exact_points


def write_stl(path: Path, vertices: Floats, triangles: Ints, claim: int | None = None) -> Path:
    """Write a binary STL: 80 bytes, a count (or a false claim), then 50 bytes a triangle, single precision."""
    records = np.zeros(len(triangles), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    records["corners"] = vertices[triangles]
    count = np.uint32(len(triangles) if claim is None else claim)
    path.write_bytes(b"made for a test".ljust(80) + count.tobytes() + records.tobytes())
    return path


def write_ply(path: Path, vertices: Floats, triangles: Ints, order: str = "<") -> Path:
    """Write a binary PLY of doubles with a colour after each point; order "<" or ">"."""
    name = {"<": "little", ">": "big"}[order]
    head = (
        f"ply\nformat binary_{name}_endian 1.0\ncomment made for a test\nelement vertex {len(vertices)}\n"
        "property double x\nproperty double y\nproperty double z\nproperty uchar red\n"
        f"element face {len(triangles)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    points = np.zeros(len(vertices), dtype=[("place", order + "f8", 3), ("red", "u1")])
    points["place"] = vertices
    faces = np.zeros(
        len(triangles), dtype=[("count", "u1"), ("corners", order + "i4", triangles.shape[1] if len(triangles) else 3)]
    )
    faces["count"], faces["corners"] = triangles.shape[1], triangles
    path.write_bytes(head.encode() + points.tobytes() + faces.tobytes())
    return path


def halved(vertices: Floats, triangles: Ints, face: Ints) -> tuple[Floats, Ints, Ints]:
    """Return each triangle as four, cut at the middles of its sides."""
    sides = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    names, inverse = np.unique(sides, axis=0, return_inverse=True)
    a, b, c = inverse.reshape(3, -1) + len(vertices)
    x, y, z = triangles.T
    parts = [np.stack(p, axis=1) for p in ((x, a, c), (y, b, a), (z, c, b), (a, b, c))]
    return np.concatenate([vertices, vertices[names].mean(axis=1)]), np.concatenate(parts), np.tile(face, 4)


def exact_mesh(solid: Solid, triangles: int, chord: float = 0.02) -> Mesh:
    """Return a mesh of at least so many triangles with every vertex on its faces, a nanometre off at the most."""
    mesh = tessellate(solid, chord)
    v, t, f = mesh.vertices, mesh.triangles, mesh.face
    while len(t) < triangles:
        before = len(v)
        v, t, f = halved(v, t, f)
        owner = np.zeros(len(v), dtype=np.int64)
        owner[t.ravel()] = np.repeat(f, 3)
        v = np.concatenate([v[:before], exact_points(solid, owner[before:], v[before:])[0]])
    return Mesh(v, t, f)


def open_below(mesh: Mesh, height: float) -> tuple[Floats, Ints]:
    """Return the mesh without the triangles that lie wholly below a height."""
    keep = (mesh.vertices[mesh.triangles][:, :, 2] > height).any(axis=1)
    used, number = np.unique(mesh.triangles[keep], return_inverse=True)
    return mesh.vertices[used], number.reshape(-1, 3)
