"""Turns and freedoms in words.

Part frame, degrees. Knows nothing of scans.
"""

from typing import Final

import numpy as np

from geom.rays.analytic import Floats
from geom.rows.words import Note, where

_CLOSE: Final = 0.9986
"""Cosine of 3 degrees: closer to X, Y or Z than this is that axis."""


def axis_words(turn: Floats) -> tuple[Floats, str]:
    """Return the axis of a rotation (3, 3), unit, along its largest component, and its name."""
    from scipy.spatial.transform import Rotation

    vector = Rotation.from_matrix(turn).as_rotvec()
    size = float(np.linalg.norm(vector))
    return _named(vector / size if size > 0 else np.array([0.0, 0.0, 1.0]))


def _named(axis: Floats) -> tuple[Floats, str]:
    most = int(np.argmax(np.round(np.abs(axis), 6)))
    axis = axis if axis[most] > 0 else -axis
    if axis[most] > _CLOSE:
        return axis, f"the part's {'XYZ'[most]} axis"
    return axis, "the axis (" + ", ".join(f"{round(v, 2) + 0.0:.2f}" for v in axis) + ")"


def turn_words(turn: Floats) -> str:
    """Return "turned 180 degrees about the part's Z axis"."""
    from scipy.spatial.transform import Rotation

    angle = float(np.degrees(np.linalg.norm(Rotation.from_matrix(turn).as_rotvec())))
    return f"turned {angle:.0f} degrees about {axis_words(turn)[1]}"


def free_note(way: Floats, size: float, centre: Floats) -> Note:
    """Say which freedom the skin does not hold.

    Args:
        way: (6,) small turn, radians times `size`, then shift, mm, of the point `centre`.
    """
    turn, shift = way[:3] / size, way[3:]
    rate = float(np.linalg.norm(turn))
    if rate * size < 0.1 * float(np.linalg.norm(shift)):
        name = _named(shift / np.linalg.norm(shift))[1]
        return f"the drawn casting is the same all along {name}: where the scan lies along it stays open and was left as found"
    axis, name = _named(turn / rate)
    foot = centre + np.cross(turn, shift) / rate**2
    at = where((foot - (foot @ axis) * axis).tolist())
    return (f"the drawn casting is round about {name} through ", *at, ": how far the scan is turned about it stays open")
