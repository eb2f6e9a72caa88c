"""One way of holding the work, and what it allows: record.

Knows nothing of how it was found.
"""

from dataclasses import dataclass

from geom.rows.plan import Hold
from geom.rows.records import Words
from geom.space import Frame


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """A hold in its frame.

    Attributes:
        makes: features that can be cut in it.
        worse: how far it is from two upright planes on a flat seat, least best.
        rough: how many locators (seat, fixed jaw) are rough.
        hides: features that the clamps cover: not to be picked up from.
    """

    hold: Hold
    frame: Frame
    makes: frozenset[str]
    worse: float
    why: tuple[Words, ...]
    cautions: tuple[Words, ...]
    rough: int = 0
    hides: frozenset[str] = frozenset()
