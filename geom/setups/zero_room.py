"""Whether a hold leaves the finder room to find zero: a demand on the hold, as clear jaws are for a cutter.

Tries the touches of the set-up's own pick-ups on the casting as drawn. Lengths
mm. Knows nothing of order or cost.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from geom.looks.contact import Standing
from geom.looks.pick_up_rows import picked
from geom.rows.plan import PlannedSetup
from geom.settings.records import Settings
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.work import Work
from geom.setups.zero_pick_up import pick_ups
from geom.space import dot


def with_zero(work: Work, held: Held, done: frozenset[str], wants: Sequence[Demand]) -> Held | None:
    """Return a hold that makes only what its pick-ups place; None where that is nothing.

    Args:
        done: features made before.
    """
    found, _ = pick_ups(work, held, done)
    axes = {axis for one in found for axis in one.axes}
    placed = frozenset(want.name for want in wants if want.name in held.makes and axes_asked(want, held) <= axes)
    return replace(held, makes=placed) if placed else None


def zero_can_be_found(work: Work, held: Held, done: frozenset[str], settings: Settings, one_side: bool = False) -> bool:
    """Tell whether every touch of a hold's pick-ups finds a clean place, clear of jaws, straps and the finder's holder.

    Args:
        done: features made before.
        one_side: one side of a pair will do.
    """
    found, _ = pick_ups(work, held, done)
    key = ("room", held.frame, held.hold.boxes, found, one_side)
    planned = PlannedSetup(1, held.frame.z, held.hold, held.frame, work.zero, found, ())

    def found_all() -> bool:
        touched = set()
        for row in picked(planned, Standing(work.part, held.frame), settings):
            if not row.driven:
                return False
            touched.add(row.feature)
        return one_side or all(touched.issuperset(one.faces) for one in found if one.how == "middle")

    return work.known(key, found_all)


def axes_asked(want: Demand, held: Held) -> frozenset[str]:
    """Return which of "x" and "y" a feature is placed by: both for a hole or a slot that ends, the one across an edge or a slot
    open at both ends, none for a face.

    Common practice, no source: a cutter is driven across a face by the readout, but no size hangs on where.
    """
    if want.axis is not None or (want.lane and want.normal is None):
        return frozenset("xy")
    across = {"x": held.frame.x, "y": held.frame.y}
    return frozenset(n for n, way in across.items() if want.normal is not None and abs(dot(want.normal, way)) > _ALONG)


_ALONG: Final = 0.02
"""Cosine above which an edge's place depends on an axis."""
