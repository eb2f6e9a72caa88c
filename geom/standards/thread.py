"""Screw threads: pitch, tap drill, and how much thread a drill leaves.

Metric coarse and the common fine pitches, and the unified series. Knows
diameters; not how deep to drill or tap.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Final

from geom.errors import StandardError
from geom.standards.drill import INCH_KINDS, Drill, DrillKind, drill_named, drill_set
from geom.standards.table import TableRow, table
from geom.units import MM_PER_INCH

FULL_THREAD: Final = 1.299038
"""Diameter lost to a full thread, as a multiple of the pitch: 1.5 * 0.866025, the basis of every
percent-of-thread table. Dividing by 1.0825 instead is a common error."""

LEAST_PERCENT: Final = 50.0
GREATEST_PERCENT: Final = 85.0
"""Below 50 % a thread strips early; above 85 % taps break (common practice)."""

_METRIC = re.compile(r"m ?(?P<size>\d+(?:\.\d+)?)(?: ?x ?(?P<pitch>\d+(?:\.\d+)?))?", re.ASCII | re.IGNORECASE)
_UNIFIED = re.compile(
    r"(?:no\.? ?|# ?)?(?P<size>\d+(?:/\d+)?) ?(?:in|\")?(?: ?- ?(?P<tpi>\d+))?(?: ?(?P<series>unc|unf|unef))?",
    re.ASCII | re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Thread:
    """A screw thread: designation, major diameter and pitch in mm, tap drill, percent of full thread it leaves."""

    designation: str
    major: float
    pitch: float
    drill: Drill
    percent: float


@dataclass(frozen=True, slots=True)
class ListedThread:
    """A thread of the tables: itself, its series ("coarse", "fine", "UNC"...), least minor diameter, mm, and source."""

    thread: Thread
    size: str
    series: str
    minor: float
    source: str


def percent_thread(major: float, pitch: float, drill: float) -> float:
    """Return the percent of full thread that a drill leaves: 100 (D - drill) / (1.29904 P), all in mm.

    Source: the 75 % rule of the inch tap-drill tables, d = D - 0.0130 * percent / TPI.
    """
    return 100.0 * (major - drill) / (FULL_THREAD * pitch)


def pitch_diameter(major: float, pitch: float) -> float:
    """Return the basic pitch diameter, mm: D - 0.649519 P. Source: ISO 724."""
    return major - 0.649519 * pitch


def minor_diameter(major: float, pitch: float) -> float:
    """Return the basic minor diameter, mm: D - 1.082532 P. Source: ISO 724."""
    return major - 1.082532 * pitch


@cache
def threads() -> tuple[ListedThread, ...]:
    """Return every thread of the tables, metric first, each with its usual tap drill."""
    return (*_metric_threads(), *_unified_threads())


def find_thread(text: str, where: str) -> ListedThread:
    """Return the thread a designation names: "M10", "M10x1.25", "3/8-16 UNC", "1/2-20", "10-24".

    Raises:
        StandardError: not a thread, or not in the tables; the message lists what there is.
    """
    word = " ".join(text.replace("×", "x").split())
    metric = _METRIC.fullmatch(word)
    if metric is not None:
        return _find_metric(text, metric["size"], metric["pitch"], where)
    unified = _UNIFIED.fullmatch(word)
    if unified is not None:
        return _find_unified(text, unified["size"], unified["tpi"], unified["series"], where)
    raise StandardError(f"{where}: {text!r} is not a thread; write one such as M10, M10x1.25, 3/8-16 UNC or 10-24")


def with_percent(listed: ListedThread, percent: float, where: str) -> Thread:
    """Return a thread with the drill of its own family that leaves nearest to a percent of full thread.

    Raises:
        StandardError: the percent is outside 50 to 85.
    """
    if not LEAST_PERCENT <= percent <= GREATEST_PERCENT:
        raise StandardError(
            f"{where}: {percent:g} % of full thread; give {LEAST_PERCENT:g} to {GREATEST_PERCENT:g} %: "
            "less strips early, more breaks taps"
        )
    thread = listed.thread
    kinds: tuple[DrillKind, ...] = ("mm",) if listed.series in ("coarse", "fine") else INCH_KINDS
    drills = [drill for kind in kinds for drill in drill_set(kind)]
    best = min(drills, key=lambda drill: abs(percent_thread(thread.major, thread.pitch, drill.diameter) - percent))
    left = percent_thread(thread.major, thread.pitch, best.diameter)
    return Thread(thread.designation, thread.major, thread.pitch, best, left)


def _metric_threads() -> Iterator[ListedThread]:
    source = table("threads_metric")
    for row in source.rows:
        size, series = row.text("size"), row.text("series")
        major, pitch, hole = float(size[1:]), row.length("pitch"), row.length("tap_drill")
        name = size if series == "coarse" else f"{size}x{pitch:g}"
        thread = Thread(name, major, pitch, Drill(f"{hole:g} mm", hole), percent_thread(major, pitch, hole))
        yield ListedThread(thread, size, series, row.length("minor_diameter"), source.cited_row(row))


def _unified_threads() -> Iterator[ListedThread]:
    source = table("threads_unified")
    for row in source.rows:
        thread = _unified(row)
        yield ListedThread(
            thread, row.text("size"), row.text("series"), minor_diameter(thread.major, thread.pitch), source.cited_row(row)
        )


def _unified(row: TableRow) -> Thread:
    size = row.text("size").removeprefix("no. ")
    major, pitch = row.length("major"), MM_PER_INCH / row.number("tpi")
    drill = drill_named(row.text("drill"), row.place)
    name = f"{size}-{row.text('tpi')} {row.text('series')}"
    return Thread(name, major, pitch, drill, percent_thread(major, pitch, drill.diameter))


def _find_metric(text: str, size: str, pitch: str | None, where: str) -> ListedThread:
    named = [t for t in threads() if t.size == f"M{float(size):g}"]
    if not named:
        sizes = ", ".join(dict.fromkeys(table("threads_metric").column("size")))
        raise StandardError(f"{where}: {text!r} is not in our table of {table('threads_metric').cited}; it has {sizes}")
    for listed in named:
        if listed.series == "coarse" if pitch is None else listed.thread.pitch == float(pitch):
            return listed
    held = ", ".join(f"{t.size}x{t.thread.pitch:g} ({t.series})" for t in named)
    raise StandardError(f"{where}: {text!r} is not in our table of {table('threads_metric').cited}; it has {held}")


def _find_unified(text: str, size: str, tpi: str | None, series: str | None, where: str) -> ListedThread:
    name = inch_size(size)
    named = [t for t in threads() if t.size == name]
    fitting = [
        t
        for t in named
        if (tpi is None or t.thread.designation.split(" ")[0].endswith(f"-{tpi}"))
        and (series is None or t.series == series.upper())
    ]
    if len(fitting) == 1 and (tpi or series):
        return fitting[0]
    if named:
        held = ", ".join(t.thread.designation for t in named)
        raise StandardError(f"{where}: {text!r} does not name one thread of our ASME B1.1 table; at that size it has {held}")
    sizes = ", ".join(dict.fromkeys(table("threads_unified").column("size")))
    raise StandardError(f"{where}: {text!r} is not a size of our ASME B1.1 table; it has {sizes}")


def inch_size(size: str) -> str:
    """Return an inch screw size as the tables write it: "3/8", "1", "no. 10"; fractions in lowest terms.

    A whole number above 1 is a numbered size, as in 10-24.
    """
    top, slash, bottom = size.partition("/")
    if not slash:
        return "1" if top == "1" else f"no. {int(top)}"
    return size if int(bottom) == 0 else str(Fraction(int(top), int(bottom)))
