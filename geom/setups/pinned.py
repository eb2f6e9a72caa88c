"""What a pin of the job leaves of the ways to hold the work, and what to say where it leaves none.

Knows pins and holds; nothing of shapes or cost.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from geom.errors import JobError
from geom.rows.plan import Hold
from geom.toml.pins import Pin

_SAME_HEIGHT: Final = 0.005
"""mm: parallels closer than this are the same."""

LOOSE: Final[Mapping[str, object]] = {
    "parallels": None,
    "clamp": "",
    "fixed_jaw": "",
    "seat": "",
    "hold": None,
    "features": (),
    "up": "",
}
"""What a pin says of each thing where it leaves it open, in the order in which a pin is let go to find what contradicts."""

_RULES: Final[Mapping[str, str]] = {
    "parallels": "jaws hold at least a quarter of what stands out above them and stay below every cut; packing is higher than what "
    "hangs below the seat, and leaves drills room",
    "clamp": "a jaw touches what stands out furthest at its height; both jaws stand upright within the draft limit; a strap wants "
    "a level patch with metal under it that rests on something",
    "fixed_jaw": "a jaw touches what stands out furthest at its height; both sides stand upright within the draft limit and fit "
    "the opening; against the angle plate goes a machined face",
    "seat": "a seat is a level face that looks down and that packing can reach",
    "hold": "the vise wants two upright sides within its opening, straps want level patches over metal that rests on the table, "
    "the angle plate wants a machined upright face, a nest something to cut 17 mm or more above the lowest skin",
    "features": "a feature is cut from a side that reaches it, clear of jaws and straps, and no face is seat and cut at once",
    "up": "something must be left to cut from that side, and a way to hold the work for it",
}


def keeps(hold: Hold, pin: Pin | None) -> bool:
    """Tell whether a hold is as a pin says."""
    if pin is None:
        return True
    named = ((pin.seat, hold.seat), (pin.fixed_jaw, hold.fixed_jaw), (pin.clamp, hold.clamp), (pin.hold or "", hold.method))
    level = pin.parallels is None or abs(pin.parallels - hold.parallels) <= _SAME_HEIGHT
    return level and all(wanted in ("", is_) for wanted, is_ in named)


def said(pin: Pin) -> list[str]:
    """Return what a pin fixes, in the order it is let go."""
    return [key for key, loose in LOOSE.items() if getattr(pin, key) != loose]


def let_go(pin: Pin, keys: list[str]) -> Pin:
    """Return a pin that leaves some things open."""
    return replace(pin, **{key: LOOSE[key] for key in keys})  # type: ignore[arg-type]


def contradiction(pin: Pin, keys: list[str], instead: str) -> JobError:
    """Return the refusal of a pin, which names it, the rule it breaks and what the planner would do.

    Args:
        keys: what of it has to be let go.
        instead: what the planner takes in its place; "" when nothing helps.
    """
    what = " and ".join(f"{key.replace('_', ' ')} {_value(pin, key)}" for key in keys)
    rules = "; ".join(_RULES[key] for key in keys)
    more = f"; left open, the planner takes {instead}" if instead else ""
    return JobError(f"{pin.at(keys[0])}: set-up {pin.number} cannot be held with {what}: {rules}{more}")


def _value(pin: Pin, key: str) -> str:
    value = getattr(pin, key)
    if isinstance(value, tuple):
        return ", ".join(f'"{one}"' for one in value)
    return f"{value:g} mm" if isinstance(value, float) else f'"{value}"'
