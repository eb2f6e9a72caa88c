"""How the work is held, said in sentences: what sits down, what the jaws bear on, what lies between.

Pieces as in `geom.rows.records.Words`. Knows nothing of why it is held so, nor of rows.
"""

from collections.abc import Iterator, Sequence

from geom.rows.plan import Hold, Place
from geom.rows.records import Words

_BETWEEN: dict[Place, str] = {"seat": "under the seat", "fixed jaw": "at the fixed jaw", "clamp": "at the clamp side"}


def hold_words(hold: Hold) -> tuple[Words, ...]:
    """Return how the work is held, one sentence each, in the order it is done."""
    return tuple(_said(hold))


def _said(hold: Hold) -> Iterator[Words]:
    raw = {place: "" if place in hold.machined else ", rough" for place in _BETWEEN}
    if hold.method == "nest":
        yield (f"the casting lies in a printed nest, {hold.seat} down{raw['seat']}; the nest is taken to go ", hold.grip, " up it")
        for packing in hold.packing:
            yield packing.words
        return
    on, where = ("packing", " high on the tops of the jaws") if hold.on_jaws else (_ON.get(hold.method, "packing"), " high")
    stand: Words = (f"on {on} ", hold.parallels, where) if hold.parallels else _FLAT[hold.method]
    if hold.on_ridge:
        stand = ("on packing ", hold.parallels, " high") if hold.parallels else ("on the bed of the vise",)
    on_what = "the lowest edge or ridge of " if hold.on_ridge else ""
    yield (f"{on_what}{hold.seat} sits down{raw['seat']}, ", *stand)
    if hold.on_ridge:
        yield from _ridge(hold)
    elif hold.rests:
        yield ("a rough seat rests on three points: ", *_places([(x, y) for x, y, _ in hold.rests]))
    if hold.fixed_jaw:
        yield (f"{hold.fixed_jaw} against {_AGAINST[hold.method]}{raw['fixed jaw']}",)
    if hold.clamp:
        yield (f"{_BY[hold.method]} {' and '.join(hold.pressed or (hold.clamp,))}{raw['clamp']}",)
    straps = [box for box in hold.boxes if box.name.startswith("strap ")] if hold.method == "table" else []
    if straps:
        yield ("straps press at ", *_places([box.middle for box in straps]))
    for packing in hold.packing:
        yield (f"{_BETWEEN[packing.place]}: ", *packing.words)
    if hold.method == "vise":
        yield ("the jaws grip ", hold.grip, ", the work stands ", hold.stick_out, " out of them")
    elif hold.stick_out:
        yield ("the work stands ", hold.stick_out, " above its clamps")


def _ridge(hold: Hold) -> Iterator[Words]:
    yield ("the shim stands at ", *_places([(x, y) for x, y, _ in hold.rests]))
    for box in (box for box in hold.boxes if box.name == "jack"):
        yield ("a screw jack on the bed stands at ", *_places([box.middle]), ", about ", box.high[2] - box.low[2], " high")


_ON: dict[str, str] = {"vise": "parallels"}
_FLAT: dict[str, Words] = {
    "vise": ("flat on the bed of the vise",),
    "table": ("flat on the table",),
    "angle plate": ("flat on the table at the angle plate",),
}
_AGAINST = {"vise": "the fixed jaw", "table": "a stop at the back", "angle plate": "the angle plate"}
_BY = {"vise": "the movable jaw bears on", "table": "strap clamps bear on", "angle plate": "clamps bear on"}


def _places(places: Sequence[tuple[float, float]]) -> Iterator[str | float]:
    for number, (x, y) in enumerate(places):
        yield "X " if number == 0 else "; X "
        yield x
        yield " Y "
        yield y
