"""The page of a core box: both halves and the core they make, sizes to check, how to use it, cautions.

Says what the box is and works out nothing of its own. Lengths in the sheet's
unit. Knows nothing of the pattern.
"""

from collections.abc import Iterator
from typing import Final

from export.number import Units, fixed, sentence
from geom.pattern.bores import Bore
from geom.pattern.coaxial import steps_of
from geom.pattern.cores import CoreBox, core_body
from geom.rays.body import Body
from geom.rows.records import Words

CAUTIONS: Final = (
    "Core sand, binder and cure are the foundry's trade: have it make the cores, or be shown how; gloves, eye protection and "
    "fresh air as the binder's maker says, and no sand dust in the air (respirable silica).",
    "A core that is damp, or has no way out for its gas, blows metal: the foundry says how it is vented and dried.",
)


def bodies_of(box: CoreBox, chord: float) -> tuple[tuple[Body, str], ...]:
    """Return what the page shows, with a word for each."""
    half_a, half_b = box.halves
    return (half_a, "half A, cavity up"), (half_b, "half B, cavity up"), (core_body(box.core, chord), "the core")


def size_words(box: CoreBox, pin: float, units: Units) -> Iterator[str]:
    """Yield the sizes to put calipers on."""
    core, bore = box.core, box.core.bore
    length, wide, high = box.size
    along, across, deep = box.apart
    said: list[Words] = [
        *_middle(bore),
        ("the middle is long: ", bore.length),
        ("print at the open end, long: ", core.first.length),
        ("its diameter at the middle and at its tip: ", 2 * core.profile[1][1], " and ", 2 * core.profile[0][1]),
    ]
    if core.last is not None:
        said += [
            ("print at the closed end, long: ", core.last.length - core.last.clearance),
            ("its diameter at the middle and at its tip: ", 2 * core.profile[-2][1], " and ", 2 * core.profile[-1][1]),
        ]
    if bore.leans:
        said.append(("these are taken across the lean; along it, prints and cavity measure more by ", 2 * core.longer))
        said.append(("the cavity's far end lies to the side of its open end by ", core.shift))
    said += [
        ("core over all: ", core.profile[-1][0]),
        ("each half: ", length, " by ", wide, " by ", high),
        ("dowel holes, apart along and across: ", along, " and ", across),
        ("dowel holes, deep: ", deep, ", for dowels of ", pin),
    ]
    for words in said:
        yield sentence(tuple(w if isinstance(w, str) else round(w, 2) for w in words), units)
    yield f"core: {fixed(core.volume / 1000, 1)} cm3 of sand; the prints' lengths and play are common practice, no source"


def _middle(bore: Bore) -> list[Words]:
    """Return the diameters of a core's middle, and each step's length where there are several."""
    stretches = steps_of(bore.profile)
    if len(stretches) == 1:
        return [("cavity, diameter of the core's middle: ", 2 * bore.radius)]
    found: list[Words] = []
    for (t0, r0), (t1, r1) in stretches:
        tapered: Words = (" to ", 2 * r1) if abs(r1 - r0) > 0.005 else ()
        found.append(("cavity, diameter of the core's middle: ", 2 * r0, *tapered, ", over ", t1 - t0))
    return found


def use_words(box: CoreBox) -> Iterator[str]:
    """Yield how the box is used."""
    core = box.core
    count = "one core" if box.count == 1 else f"{box.count} cores"
    yield f"It makes {count} for each casting."
    yield "Smooth and seal the cavity and wax it; it opens at the middle of the core, so nothing is undercut."
    yield "Put the halves together on their dowels, clamp them, stand the box on its closed end, open end up."
    yield "Ram it a little at a time, a vent wire down the middle; strike it off level at the open end, draw the wire."
    yield "Take the clamps off, lift one half straight off, and cure the core lying in the other, or as the binder asks."
    if core.last is None:
        yield "The core is held at one end only: its one print carries it. Never shorten that print; have it pasted in if in doubt."
    yield "Try the core in the prints of the mould before it is closed; dress the prints where it binds, never the core's middle."
