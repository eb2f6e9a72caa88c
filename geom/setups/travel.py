"""What of a hold the table's travel covers: all of it, or as much as lies near enough together.

The spindle goes over what is cut with a cutter's width to spare each way.
Lengths mm, set-up frame. Knows holds and features; nothing of rows.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from geom.kernel.extent import face_box
from geom.rows.records import Words
from geom.setups.demands import Demand
from geom.setups.held import Held
from geom.setups.work import Work
from geom.space import Frame
from geom.tasks.reach import Flat

_CUTTER: Final = 10.0
"""mm that the spindle goes past a face on every side (common practice, no source)."""


def within(work: Work, held: Held, wants: Sequence[Demand], travel: Flat) -> bool:
    """Tell whether the table's travel in X and Y covers all that is cut in a hold."""
    return all(gone <= there for gone, there in zip(gone_over(work, held, wants), travel, strict=True))


def gone_over(work: Work, held: Held, wants: Sequence[Demand]) -> Flat:
    """Return how far the spindle goes along X and along Y, mm, for those features that a hold lets be cut."""
    spans = [_cut_over(work, want, held.frame) for want in wants if want.name in held.makes]
    x, y = (max((b[i] for _, b in spans), default=0.0) - min((a[i] for a, _ in spans), default=0.0) for i in (0, 1))
    return x, y


def shares(work: Work, held: Held, wants: Sequence[Demand], travel: Flat) -> Iterator[Held]:
    """Yield a hold as it is where the travel covers all of it; else once for all that it covers at a time, no share in another.

    What it does not cover by itself is in none.
    """
    if within(work, held, wants, travel):
        yield held
        return
    spans = {want.name: _cut_over(work, want, held.frame) for want in wants if want.name in held.makes}
    starts = [sorted({a[i] for a, _ in spans.values()}) for i in (0, 1)]
    covered = {
        frozenset(n for n, (a, b) in spans.items() if all(at[i] <= a[i] and b[i] <= at[i] + travel[i] for i in (0, 1)))
        for at in ((x, y) for x in starts[0] for y in starts[1])
    }
    for some in sorted((one for one in covered if one and not any(one < other for other in covered)), key=sorted):
        yield replace(held, makes=some, why=(*held.why, _why(travel)))


def _why(travel: Flat) -> Words:
    x, y = travel
    return ("the table travels X ", x, " by Y ", y, ": what lies out of that is left to another clamping")


def _cut_over(work: Work, want: Demand, frame: Frame) -> tuple[Flat, Flat]:
    """Return from where to where the spindle's axis goes for a feature."""
    if want.axis is not None:
        x, y, _ = frame.local(want.axis)
        return (x, y), (x, y)
    a, b = work.known(("box", want.surfaces, frame), lambda: face_box(work.part.finished, want.surfaces, frame))
    return (a[0] - _CUTTER, a[1] - _CUTTER), (b[0] + _CUTTER, b[1] + _CUTTER)
