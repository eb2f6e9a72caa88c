"""What a scan file holds before anything is checked: a record.

In the unit of the file. Knows nothing of formats.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy.typing as npt


@dataclass(frozen=True, slots=True, eq=False)
class RawScan:
    """Points and triangles as they stand in a file.

    Attributes:
        vertices: (n, 3) of any float kind; unwelded when `triangles` is None.
        triangles: (m, 3) integers; (0, 3) for a point cloud; None when every three vertices make a triangle.
        notes: whole sentences about how the file was read.
    """

    vertices: npt.NDArray[Any] = field(repr=False)
    triangles: npt.NDArray[Any] | None = field(repr=False)
    notes: tuple[str, ...] = ()

    @property
    def word(self) -> str:
        """What a row of `vertices` is counted in, for messages."""
        return "that of triangle" if self.triangles is None else "point"

    def number(self, row: int) -> int:
        """Return the number, from 1, of the point or triangle a row belongs to."""
        return row // 3 + 1 if self.triangles is None else row + 1
