"""A ray tree: which triangle a ray meets first.

Single precision, about the triangles' own middle, so a part far from the origin
loses nothing. The sole importer of the ray library. Knows triangles only.
"""

from typing import Any

import numpy as np

from geom.rays.analytic import Floats, Ints


class RayTree:
    """Triangles made ready for rays."""

    __slots__ = ("_scene",)

    def __init__(self, vertices: Floats, triangles: Ints) -> None:
        """Build the tree; vertices (n, 3) should lie about the origin."""
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene

        self._scene: Any = EmbreeScene(robust=True)
        TriangleMesh(self._scene, vertices.astype(np.float32), triangles.astype(np.int32))

    def first(self, starts: Floats, directions: Floats) -> Ints:
        """Return the triangle each ray meets first, -1 for none."""
        return np.asarray(self._scene.run(starts.astype(np.float32), directions.astype(np.float32)), dtype=np.int64)

    def within(self, starts: Floats, directions: Floats, reach: Floats) -> tuple[Ints, Floats]:
        """Return the triangle each ray meets first no further than `reach`, and roughly where; -1 and inf for none."""
        limit = np.clip(reach, 0.0, 1e30).astype(np.float32)
        found = self._scene.run(starts.astype(np.float32), directions.astype(np.float32), dists=limit, output=True)
        triangle = np.asarray(found["primID"]).astype(np.int64)
        return triangle, np.where(triangle >= 0, np.asarray(found["tfar"], dtype=np.float64), np.inf)


def library() -> str:
    """Return the path of the ray library's Python module, through which its C functions can be reached."""
    import embreex.rtcore_scene

    return str(embreex.rtcore_scene.__file__)
