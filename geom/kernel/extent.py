"""How far faces of a solid reach along the axes of any frame.

Exact on straight and circular edges (to the kernel's own noise), not the box
of a mesh. Lengths mm. Knows nothing of what the faces are for.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any, TypeAlias

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

_WIDER = 2e-7
"""mm: a face whose quick box reaches out no further than this adds nothing that the rounding shows."""


def face_box(solid: Solid, surfaces: Iterable[int], frame: Frame) -> tuple[Vec3, Vec3]:
    """Return the least and greatest corner, in `frame`, of some of a solid's faces together."""
    return _face_box(solid, tuple(surfaces), frame)


@lru_cache(maxsize=1024)
def _face_box(solid: Solid, surfaces: tuple[int, ...], frame: Frame) -> tuple[Vec3, Vec3]:
    """Box faces exactly, from those that reach out furthest; one whose quick box lies inside what is known by then adds nothing.

    The exact box of a rounded face takes the kernel a hundred times as long as its quick one, which is never too small.
    """
    move = gp_Trsf()
    move.SetTransformation(gp_Ax3(gp_Pnt(*frame.origin), gp_Dir(*frame.z), gp_Dir(*frame.x)))
    place, every = TopLoc_Location(move), faces_of(solid.shape)
    faces = [every[index].Moved(place) for index in surfaces]
    box, quick = Bnd_Box(), [_corners(face) for face in faces] if len(faces) > 1 else []
    known: _Corners | None = None
    for i in _furthest_first(quick) or range(len(faces)):
        if known is None or not _inside(quick[i], known):
            BRepBndLib.AddOptimal_s(faces[i], box, False, False)
            known = _of(box)
    low, high = box.CornerMin(), box.CornerMax()
    return _tidy(low.X(), low.Y(), low.Z()), _tidy(high.X(), high.Y(), high.Z())


_Corners: TypeAlias = tuple[float, float, float, float, float, float]
"""A box: its least corner, then its greatest."""


def _of(box: Bnd_Box) -> _Corners:
    low, high = box.CornerMin(), box.CornerMax()
    return (low.X(), low.Y(), low.Z(), high.X(), high.Y(), high.Z())


def _corners(face: Any) -> _Corners:
    box = Bnd_Box()
    BRepBndLib.Add_s(face, box, False)
    return _of(box)


def _inside(one: _Corners, other: _Corners) -> bool:
    return all(one[i] >= other[i] - _WIDER and one[i + 3] <= other[i + 3] + _WIDER for i in range(3))


def _furthest_first(boxes: Sequence[_Corners]) -> list[int]:
    """Return the numbers of boxes: those that reach furthest along an axis, then the others."""
    columns = list(zip(*boxes, strict=True))
    first = [ends.index(end(ends)) for i in range(3) if columns for ends, end in ((columns[i], min), (columns[i + 3], max))]
    return list(dict.fromkeys((*first, *range(len(boxes)))))


def _tidy(x: float, y: float, z: float) -> Vec3:
    return (round(x, _DECIMALS) + 0.0, round(y, _DECIMALS) + 0.0, round(z, _DECIMALS) + 0.0)
