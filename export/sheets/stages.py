"""The work as it stands before each set-up: the casting less what the rows of the set-ups before it have taken.

Meshes for pictures, in the part frame, mm; where the casting was measured it lies
as the placement says. Uses the proof's sweeps, so a picture shows what the
tables do. Knows nothing of vises or paper.
"""

from functools import lru_cache

import numpy as np

from geom.job import Record
from geom.kernel.mesh import Mesh
from geom.proof.mesh import left_by
from geom.proof.sweep import Table, sweeps_of
from geom.rays.rays import skin_of


@lru_cache(maxsize=2)
def stages(record: Record) -> tuple[Mesh, ...]:
    """Return the work before each set-up, in order."""
    mesh = _casting(record)
    found = [mesh]
    for setup in record.setups[:-1]:
        table = Table(setup.number, len(record.setups), setup.frame, setup.rows, setup.boxes)
        mesh = left_by(sweeps_of([table]), mesh, record.part.casting.label)
        found.append(mesh)
    return tuple(found)


def _casting(record: Record) -> Mesh:
    drawn = skin_of(record.part.casting).mesh
    if not record.placed or not record.placed[0].measured:
        return drawn
    back = record.placed[0].placement.pose.inverse()
    return Mesh(np.ascontiguousarray(back.points(drawn.vertices)), drawn.triangles, drawn.face)
