"""Rules of the trade for holding work, one small function each.

Common practice of small shops unless a function names its source. Lengths mm,
angles degrees. Knows numbers and words; nothing of solids or search.
"""

import math
from collections.abc import Sequence
from typing import Final, TypeAlias

from geom.rows.plan import Packing
from geom.rows.records import Words
from geom.shop.records import Vise

Flat: TypeAlias = tuple[float, float]

DRAFT_LIMIT: Final = 3.5
"""Degrees a clamped side may lean: hand moulding needs 2 to 3 (common practice, no source)."""

LIFTS: Final = 0.25
"""Degrees of lean below which a side holds like an upright one (common practice, no source)."""

LEAST_GRIP: Final = 5.0
"""mm of jaw on the work, at least (common practice, no source)."""

GRIP_SHARE: Final = 0.25
"""Least grip as a share of what sticks out (common practice, no source)."""

JAW_CLEARANCE: Final = 1.5
"""mm a cutter keeps from the top of a jaw, a strap or a parallel (common practice, no source)."""

STRAP: Final = 8.0
"""mm: radius of the round patch that the nose of a strap wants (common practice, no source)."""

STRAP_HEIGHT: Final = 30.0
"""mm a strap, its stud and nut stand above what they clamp (common practice, no source)."""

LOWEST: Final = 0.05
"""mm that may hang below a seat that lies flat without packing."""

LEAST_BOLT: Final = 10.0
"""mm: narrowest hole a clamping stud goes through: M8 with room to spare (common practice, no source)."""


def grips_enough(grip: float, stick_out: float) -> bool:
    """Tell whether the jaws hold deep enough for what stands out above them."""
    return grip >= max(LEAST_GRIP, GRIP_SHARE * stick_out)


def sides_agree(lean_fixed: float, lean_clamp: float) -> bool:
    """Tell whether two clamped sides are near enough upright, and so parallel within twice the draft limit, degrees."""
    return abs(lean_fixed) <= DRAFT_LIMIT and abs(lean_clamp) <= DRAFT_LIMIT


def side_lifts(lean: float) -> bool:
    """Tell whether a side pushes the work up when it is squeezed: it faces down by more than `LIFTS` degrees.

    Args:
        lean: degrees the outward normal points down; below 0 it points up and the jaw presses the work down.
    """
    return lean > LIFTS


def jaw_packing(fixed_machined: bool, clamp_machined: bool, round_side: bool, vise: Vise) -> tuple[Packing, ...]:
    """Return what goes between jaws and work.

    A machined side bears on the fixed jaw and a soft rod at half the grip presses a rough one against it, so that the
    rough side cannot cant the work; two rough sides get soft strips, and so does a round between flat jaws.
    """
    if round_side or not (fixed_machined or clamp_machined):
        strip: Words = (min(vise.soft_strips),) if vise.soft_strips else ()
        words: Words = ("soft strip ", *strip) if strip else ("soft strip of copper or aluminium",)
        return Packing("fixed jaw", words), Packing("clamp", words)
    if clamp_machined:
        return ()
    if vise.soft_rods:
        return (Packing("clamp", ("soft round rod ", min(vise.soft_rods), " at half the grip")),)
    return (Packing("clamp", ("soft round rod at half the grip",)),)


def packing_width(packing: Sequence[Packing]) -> float:
    """Return how much of the opening the packing takes; soft metal of no stated thickness 2 mm."""
    width = 0.0
    for one in packing:
        sizes = [piece for piece in one.words if isinstance(piece, float)]
        width += sizes[0] if sizes and one.place != "seat" else 2.0 if one.place != "seat" else 0.0
    return width


def fixed_first(machined: bool, plane: bool, area: float) -> tuple[bool, bool, float]:
    """Return what a side is judged by for the fixed jaw, least first: machined, then plane, then large."""
    return (not machined, not plane, -area)


def seat_first(machined: bool, stays: bool, hang: float, area: float, first: bool) -> tuple[float, ...]:
    """Return what a seat is judged by, least first.

    A machined face whenever there is one; for the first cut a face that stays as cast may be better than one that will
    be cut, since it ties the cut to the skin; then what lies flat without packing, then what is large.
    """
    return (float(not machined), float(hang > LOWEST), float(not stays) if first else 0.0, -area)


def mass_is_over(rests: Sequence[Flat], centre: Flat) -> bool:
    """Tell whether the centre of mass lies over the triangle or outline of the rests."""
    return is_within(hull(rests), centre)


def is_within(outline: Sequence[Flat], centre: Flat) -> bool:
    """Tell whether a point lies in an outline that runs counter-clockwise and bulges all round, or on it."""
    if len(outline) < 3:
        return False
    return all(_left(a, b, centre) >= -1e-9 for a, b in zip(outline, (*outline[1:], outline[0]), strict=True))


def widest_three(points: Sequence[Flat], centre: Flat) -> tuple[int, int, int] | None:
    """Return the three points of widest triangle that has the centre of mass over it; None when none has.

    Three, because more would rock on a rough face.
    """
    best: tuple[float, tuple[int, int, int]] | None = None
    for i in range(len(points)):
        for j in range(i + 1, len(points)):
            for k in range(j + 1, len(points)):
                three = (points[i], points[j], points[k])
                size = abs(_left(*three))
                if size > 1.0 and (best is None or size > best[0] + 1e-6) and is_within(_turned(three), centre):
                    best = (size, (i, j, k))
    return best[1] if best else None


def _turned(three: tuple[Flat, Flat, Flat]) -> tuple[Flat, ...]:
    """Return a triangle counter-clockwise."""
    return three if _left(*three) > 0.0 else three[::-1]


def hull(points: Sequence[Flat]) -> tuple[Flat, ...]:
    """Return the outline of some points, counter-clockwise (monotone chain)."""
    rising = sorted(set(points))
    if len(rising) < 3:
        return tuple(rising)
    halves = []
    for run in (rising, rising[::-1]):
        half: list[Flat] = []
        for point in run:
            while len(half) > 1 and _left(half[-2], half[-1], point) <= 0:
                half.pop()
            half.append(point)
        halves.append(half[:-1])
    return (*halves[0], *halves[1])


def _left(a: Flat, b: Flat, c: Flat) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def lean_of(normal_up: float) -> float:
    """Return how many degrees an outward normal points down, from its component along up."""
    return math.degrees(math.asin(max(-1.0, min(1.0, -normal_up))))
