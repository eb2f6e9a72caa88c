"""Bands of stock: where one ends and the next begins, and the ink of each.

From dark, little metal, to light, plenty: every band is lighter than the one
before it, so that the order survives grey printing, and the hues run from blue to
straw, which the common colour blindnesses keep apart. Lengths mm. Knows nothing
of parts or pictures.
"""

import bisect
from dataclasses import dataclass
from typing import Final, TypeAlias

from export.number import Units, length
from geom.units import MM_PER_INCH

Ink: TypeAlias = tuple[int, int, int]
"""Red, green, blue, 0 to 255, sRGB."""

INKS: Final[tuple[Ink, ...]] = (
    (26, 18, 40),
    (40, 44, 96),
    (46, 80, 132),
    (80, 114, 150),
    (122, 146, 154),
    (166, 176, 150),
    (208, 206, 156),
    (246, 240, 206),
)
"""The first is for missing metal, the last for more than any edge."""

_STEPS: Final = {
    "mm": (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0),
    "inch": tuple(MM_PER_INCH * s for s in (0.005, 0.01, 0.02, 0.04, 0.1, 0.2, 0.4)),
}


@dataclass(frozen=True, slots=True)
class Bands:
    """A scale of stock.

    Attributes:
        edges: ascending, the first 0; a value below it is missing metal.
    """

    edges: tuple[float, ...]
    units: Units

    def of(self, value: float) -> int:
        """Return the number of the band a value lies in; a value on an edge belongs above it."""
        return bisect.bisect_right(self.edges, value)

    @property
    def labels(self) -> tuple[str, ...]:
        """The edges as printed, in the sheet's unit."""
        step = self.edges[1] / (MM_PER_INCH if self.units == "inch" else 1.0)
        places = next(n for n in range(5) if abs(step * 10**n - round(step * 10**n)) < 1e-9)
        return tuple(length(edge, self.units, places) for edge in self.edges)


def bands_for(required: float, most: float, units: Units) -> Bands:
    """Return the scale whose edges reach twice the required stock, in even steps of a round length.

    Args:
        required: the greatest required stock, mm; where it is 0, `most` counts, the greatest stock.
    """
    count = len(INKS) - 2
    goal = 2.0 * required if required > 0 else max(most, 0.1)
    step = next((s for s in _STEPS[units] if s * count >= goal - 1e-9), _STEPS[units][-1])
    return Bands(tuple(step * i for i in range(count + 1)), units)


def luminance(ink: Ink) -> float:
    """Return the relative luminance, 0 to 1 (IEC 61966-2-1)."""
    red, green, blue = (c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in ink)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
