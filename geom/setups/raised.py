"""Work on the table packed higher, so that the spindle comes low enough for its rows.

A mill's spindle stops some way above its table: thin work and short cutters
want packing under the seat (common practice, no source). The work and its rows
stay where they are; the table goes down. Lengths mm, set-up frame. Knows
nothing of how the work came to be held.
"""

from collections.abc import Sequence
from dataclasses import replace

from geom.rows.plan import Hold, Packing
from geom.rows.records import Box
from geom.setups.table_hold import shop_size
from geom.shop.records import Vise


def raised(hold: Hold, short: float, vise: Vise) -> Hold:
    """Return a hold on the table with as much more under the seat, in a size the shop has; any other as it is.

    Args:
        short: how far the spindle would have to come nearer to the table than it can; 0 or less where it need not.
    """
    if hold.method != "table" or short <= 0.0:
        return hold
    height = shop_size(hold.parallels + short, vise)
    more = height - hold.parallels
    packed = tuple(_higher(packing, more) for packing in hold.packing)
    if not hold.parallels:
        packed = (Packing("seat", ("packing ", height, ", so that the spindle comes low enough")), *packed)
    return replace(hold, parallels=height, packing=packed, boxes=tuple(_lower(box, more) for box in hold.boxes))


def _higher(packing: Packing, more: float) -> Packing:
    """Return packing or a plate under the work, or packing under an arm of it, that much higher; all else as it is."""
    first, *rest = packing.words
    if not str(first).startswith(("packing ", "a plate")) or not rest or not isinstance(rest[0], float):
        return packing
    or_packed = (" (or a thinner one on packing)",) if str(first).startswith("a plate") else ()
    return Packing(packing.place, (first, round(rest[0] + more, 3), *rest[1:], *or_packed))


def _lower(box: Box, by: float) -> Box:
    """Return the table's top that much lower; straps stay on the work."""
    if box.name != "table":
        return box
    (x0, y0, z0), (x1, y1, z1) = box.low, box.high
    return Box(box.name, (x0, y0, z0 - by), (x1, y1, z1 - by))


def short_of_table(noses: Sequence[float], table: float | None, least: float) -> float:
    """Return how far the lowest place of the spindle's nose is nearer to the table than it can come; 0 where none is.

    Args:
        table: Z of its top; None where nobody says.
        least: distance from nose to table that the mill comes down to.
    """
    return max((table + least - nose for nose in noses), default=0.0) if table is not None else 0.0
