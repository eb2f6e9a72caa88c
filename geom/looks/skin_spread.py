"""How far as-cast skin may lie from where a touch is reckoned to meet it.

As drawn that is the casting tolerance of its distance from the zero; as
received what the readings leave open. Lengths mm. Knows nothing of which place
is touched, nor why.
"""

import math
from typing import Final

import numpy as np

from geom.errors import StandardError
from geom.looks.contact import Contact, Standing
from geom.readings.records import SIGMA
from geom.settings.records import Settings
from geom.standards.tolerance_grades import casting_tolerance

_SURE: Final = 1.96
"""Standard deviations of 95 %."""


def spread_of(touch: Contact, standing: Standing, settings: Settings) -> float:
    """Return how far the readout of a touch on the skin may be off either way, mm, to a hundredth and never nothing."""
    return max(round(_spread(touch, standing, settings), 2), 0.01)


def _spread(touch: Contact, standing: Standing, settings: Settings) -> float:
    if standing.placed is not None and standing.placed.measured:
        return _SURE * _sigma(touch, standing)
    nominal = max(touch.from_zero, 1.0)
    for size in (nominal, max(nominal, 16.1)):
        try:
            return 0.5 * casting_tolerance(size, settings.casting.grade)
        except StandardError:
            continue
    return 0.5 * casting_tolerance(standing.part.casting.size, settings.casting.grade)


def _sigma(touch: Contact, standing: Standing) -> float:
    """Return the standard deviation, mm, of a touch on the skin as received: the estimate's and the touch's own."""
    assert standing.placed is not None
    received = standing.placed.received
    if received.scan is not None:
        return math.hypot(received.scan_sigma, SIGMA["touch"])
    at = standing.placed.placement.pose.point(standing.frame.part(touch.meets))
    row = received.skin_rows(np.array([at]), np.array([touch.surface]))[1][0]
    return math.sqrt(float(row @ received.covariance @ row) + SIGMA["touch"] ** 2)
