"""Where the readout shows 0, from the name the job gives it.

Turns "the axis of bore 1", "the middle of left and right", "the corner of left
and front" or "the centre of these holes" into a point and a frame, and says in
words why. Lengths mm, part frame. Knows nothing of set-ups, readings or machines.
"""

from dataclasses import dataclass
from typing import Literal

from geom.part import Part
from geom.settings import DatumSettings
from geom.space import Frame, Vec3


@dataclass(frozen=True, slots=True)
class Zero:
    """The zero of a job, seen from one direction.

    Attributes:
        frame: origin at the zero; X right, Y away, Z up, all in the part frame.
        name: for a heading: "axis of bore 1, Z 0 on top".
        source: the job names it, or nobody did and the default stands.
        why: one sentence for the sheet.
        features: names of the faces and holes it is picked up from.
    """

    frame: Frame
    name: str
    source: Literal["job", "default"]
    why: str
    features: tuple[str, ...] = ()
