"""Every casting of a job that has arrived: read, located, and the finished part placed in it.

Looks for the folder `readings` beside job.toml; without one there is still an
answer, for the casting as drawn within its tolerance. Knows the order of the
steps; what each does is in its own module. Lengths mm, part frame.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from geom.aside import Aside
from geom.datum.zero import Zero
from geom.errors import ReadingError, counted, nearest
from geom.model.part import Part
from geom.place.ask import Ask, ask_for
from geom.place.placement import Placement
from geom.place.rank import Ranked, rank_castings
from geom.place.rows import prepare_even
from geom.place.scan_ask import scan_asks
from geom.place.sites import sites_of
from geom.place.solve import place, prepare
from geom.place.words import Instructions, instructions
from geom.readings.files import load_readings
from geom.readings.records import Readings, ScanFile
from geom.received.casting import AsReceived, receive, walls_for
from geom.received.feeders import check_feeders, stub_notes
from geom.rigid import Rigid
from geom.rows.words import Note, Words
from geom.settings.place import PlacementSettings
from geom.settings.records import READINGS, Settings
from geom.stock.required import Need

if TYPE_CHECKING:
    from geom.scan.ways import Way

_MOST_WAYS: Final = 7
"""Other ways round that are placed: a square block has so many."""


@dataclass(frozen=True, slots=True, eq=False)
class OtherWay:
    """Another way round that a scan may lie, in words, and the finished part placed in the casting then."""

    words: str
    placement: Placement


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """One casting with the finished part in it.

    Attributes:
        readings: what was measured; empty for the casting as drawn.
        to_part: measuring frame -> part frame.
        asks: readings that would tell more; open_still: what a scan did not see, and how to settle it.
        other_ways: the same scan laid the other ways round that fit as well, each placed.
        notes: whole sentences of all steps, each once.
    """

    readings: Readings
    received: AsReceived
    placement: Placement
    to_part: Rigid
    asks: tuple[Ask, ...]
    notes: tuple[Note, ...]
    open_still: tuple[Words, ...] = ()
    other_ways: tuple["OtherWay", ...] = ()

    @property
    def name(self) -> str:
        """The casting's name; "" when there is one only."""
        return self.readings.name

    @property
    def measured(self) -> bool:
        """Whether anything was read."""
        return bool(self.readings.count or self.readings.scan)

    def instructions(self, zero: Zero) -> Instructions:
        """Return what to do at the machine, seen from a zero."""
        return instructions(self.received, self.placement, zero)


def place_castings(
    part: Part, settings: Settings, needs: Mapping[str, Need], say: Callable[[str], None], only: str | None = None
) -> tuple[Placed, ...]:
    """Return every casting placed, best first; the drawn one when there are no readings.

    Args:
        only: name of the one casting that is wanted.

    Raises:
        ReadingError: a reading is wrong, or there is no casting of that name.
        JobError: `[placement]` or `[[casting.feeder]]` names what the part does not have.
    """
    check_feeders(part, settings.casting.feeders)
    folder = settings.folder / READINGS
    found = load_readings(folder, part, settings.part.units) if folder.exists() else (Readings(),)
    if only is not None:
        found = _chosen(found, only)
    placed = [_placed(part, settings, needs, readings, say) for readings in found]
    order = rank_castings([p.placement for p in placed])
    return tuple(next(p for p in placed if p.placement is r.placement) for r in order)


def ranking(placed: Sequence[Placed]) -> tuple[Ranked, ...]:
    """Return the castings' ranks with the reason of each, in the same order."""
    return rank_castings([p.placement for p in placed])


def _chosen(found: Sequence[Readings], name: str) -> tuple[Readings, ...]:
    names = [readings.name for readings in found]
    if name in names:
        return (found[names.index(name)],)
    if names == [""]:
        raise ReadingError(f"--casting {name}: {READINGS} holds one casting only, which has no name; leave --casting out")
    raise ReadingError(f"--casting {name}: there is no {READINGS}/{name}{nearest(name, names)}; there are {', '.join(names)}")


def _placed(part: Part, settings: Settings, needs: Mapping[str, Need], readings: Readings, say: Callable[[str], None]) -> Placed:
    say(f"placing the part in casting {readings.name}" if readings.name else "placing the part in the casting")
    received, to_part, notes, ways = _received(part, settings, readings)
    wanted: PlacementSettings = settings.placement
    several = ways[:_MOST_WAYS]
    turned = Aside(lambda: [_turned_round(part, received, to_part, way, needs, wanted) for way in several]) if several else None
    found = place(part, received, needs, wanted)
    feeders = settings.casting.feeders
    asks = ask_for(received, found, settings.parting, feeders=feeders)
    notes = (*stub_notes(part, feeders, readings, received), *notes)
    open_still = scan_asks(part, received, found, needs, feeders) if received.scan is not None else ()
    others = tuple(turned.result()) if turned else ()
    return Placed(readings, received, found, to_part, asks, tuple(dict.fromkeys((*notes, *found.notes))), open_still, others)


def _turned_round(
    part: Part, received: AsReceived, to_part: Rigid, way: "Way", needs: Mapping[str, Need], wanted: PlacementSettings
) -> OtherWay:
    """Return the part placed in the same scan laid another way round."""
    assert received.scan is not None
    skin = received.scan.laid(way.to_part.after(to_part.inverse()))
    return OtherWay(way.words, place(part, replace(received, scan=skin), needs, wanted))


def _received(part: Part, settings: Settings, readings: Readings) -> tuple[AsReceived, Rigid, tuple[Note, ...], tuple["Way", ...]]:
    grade = settings.casting.grade
    if readings.scan is None:
        received = receive(part, readings, grade=grade, parting=settings.parting)
        return received, received.to_part, received.notes, ()
    return _scanned(part, settings, readings, readings.scan)


def _scanned(
    part: Part, settings: Settings, readings: Readings, file: ScanFile
) -> tuple[AsReceived, Rigid, tuple[Note, ...], tuple["Way", ...]]:
    """Lay the scan on the drawing aside, and meanwhile get ready what does not depend on where it lies."""
    from geom.scan.ahead import read_ahead
    from geom.scan.register import lay_scan, with_skin
    from geom.scan.sites import drawn_points
    from geom.scan.stubs import stubs_of
    from geom.scan.touches import with_touches
    from geom.scan.ways import touch_hints

    drawn_points(part.casting)
    touched = touch_hints(readings)
    stubs = stubs_of(part, settings.casting.feeders)
    ahead = read_ahead(file)
    laying = Aside(lambda: lay_scan(part, ahead.scan(), (*file.hints, *touched), stubs))
    ahead.go_on()
    prepare(part, fine=True)
    walls_for(part, settings.casting.grade)
    scan = ahead.scan()
    if not scan.is_cloud:
        prepare_even(part, sites_of(part, True), min(len(scan.vertices), len(scan.triangles)))
    found = with_skin(part, scan, laying.result(), stubs)
    rest = replace(readings, touches=()) if touched else readings
    laid = readings.touches if touched else ()
    skin, filled = with_touches(part, found.skin, found.laid.accuracy, found.laid.to_part, laid)
    received = receive(part, rest, skin, grade=settings.casting.grade, scan_sigma=found.laid.accuracy)
    return received, found.laid.to_part, (*found.notes, *filled, *_unused(rest), *received.notes), found.laid.ways


def _unused(readings: Readings) -> tuple[str, ...]:
    """Say which readings the scan stands in for."""
    kinds = (
        (readings.touches, "touch", "touches"),
        (readings.heights, "height"),
        (readings.thicknesses, "thickness", "thicknesses"),
    )
    said = " and ".join(counted(len(some), *words) for some, *words in kinds if some)
    if not said:
        return ()
    how = "; touches count where the scan has gaps if their file says '# frame: scan'" if readings.touches else ""
    return (f"{said} beside the scan not used, as the scan stands in for every drawn face{how}",)
