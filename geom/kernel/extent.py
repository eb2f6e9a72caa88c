"""How far faces of a solid reach along the axes of any frame.

Exact on straight and circular edges (to the kernel's own noise), not the box
of a mesh. Lengths mm. Knows nothing of what the faces are for.
"""

from collections.abc import Iterable
from functools import lru_cache

from geom.kernel.load import require_kernel
from geom.kernel.shape import Solid, faces_of
from geom.space import Frame, Vec3

require_kernel()

from OCP.Bnd import Bnd_Box
from OCP.BRepBndLib import BRepBndLib
from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt, gp_Trsf
from OCP.TopLoc import TopLoc_Location

_DECIMALS = 6
"""A nanometre: the kernel widens every box by its confusion distance, 1e-7 mm."""


def face_box(solid: Solid, surfaces: Iterable[int], frame: Frame) -> tuple[Vec3, Vec3]:
    """Return the least and greatest corner, in `frame`, of some of a solid's faces together."""
    return _face_box(solid, tuple(surfaces), frame)


@lru_cache(maxsize=1024)
def _face_box(solid: Solid, surfaces: tuple[int, ...], frame: Frame) -> tuple[Vec3, Vec3]:
    move = gp_Trsf()
    move.SetTransformation(gp_Ax3(gp_Pnt(*frame.origin), gp_Dir(*frame.z), gp_Dir(*frame.x)))
    place, faces, box = TopLoc_Location(move), faces_of(solid.shape), Bnd_Box()
    for index in surfaces:
        BRepBndLib.AddOptimal_s(faces[index].Moved(place), box, False, False)
    low, high = box.CornerMin(), box.CornerMax()
    return _tidy(low.X(), low.Y(), low.Z()), _tidy(high.X(), high.Y(), high.Z())


def _tidy(x: float, y: float, z: float) -> Vec3:
    return (round(x, _DECIMALS) + 0.0, round(y, _DECIMALS) + 0.0, round(z, _DECIMALS) + 0.0)
