"""Casting tolerances (DCTG), machining allowances (RMAG), what a casting is drawn to, and tolerances of machined sizes.

ISO 8062-3 gives a tolerance by size and grade, and one allowance for a whole
casting by its largest dimension and grade. Knows lengths and grades only, not
faces; lengths are mm, a tolerance is its TOTAL width.
"""

from dataclasses import dataclass
from typing import Final

from geom.errors import StandardError, nearest
from geom.standards.table import Table, table

ALLOWANCE_GRADES: Final = ("A", "B", "C", "D", "E", "F", "G", "H", "J", "K")
"""RMAG grades, finest first; the standard skips I."""

DEFAULT_PROCESS: Final = "sand, hand-moulded, single, chemically bonded"
"""What a small foundry pours a one-off in unless the job says otherwise (common practice)."""


GENERAL_CLASSES: Final = ("f", "m", "c")
"""Classes of general tolerances of machined lengths: fine, medium, coarse."""


@dataclass(frozen=True, slots=True)
class Grades:
    """The grades a casting is drawn to, their usual bounds, and where they come from."""

    tolerance: int
    tolerance_bounds: tuple[int, int]
    allowance: str
    allowance_bounds: tuple[str, str]
    process: str
    source: str


@dataclass(frozen=True, slots=True)
class CastingSize:
    """A raw casting dimension, mm: nominal, half its tolerance, and the allowance per face it holds."""

    nominal: float
    plus_minus: float
    allowance: float

    @property
    def least(self) -> float:
        """The smallest the casting may be."""
        return self.nominal - self.plus_minus

    @property
    def greatest(self) -> float:
        """The largest the casting may be."""
        return self.nominal + self.plus_minus


def casting_tolerance(nominal: float, grade: int, where: str = "casting tolerance") -> float:
    """Return the total width, mm, of the tolerance on a raw casting dimension.

    Args:
        nominal: the raw casting's dimension, mm.
        grade: DCTG 1 to 16.

    Source: ISO 8062-3 table 2.

    Raises:
        StandardError: size or grade outside the table, or the grade is not given for that size.
    """
    source = table("casting_tolerance")
    if isinstance(grade, bool) or str(grade) not in source.columns:
        raise StandardError(f"{where}: DCTG {grade} is not a grade of {source.cited}; it has 1 to 16")
    row = source.range_row(nominal, "dimension", where)
    if not row.text(str(grade)):
        held = [column for column in source.columns[2:] if row.text(column)]
        raise StandardError(
            f"{where}: {source.cited} gives no DCTG {grade} for {nominal:g} mm; at that size it has {held[0]} to {held[-1]}"
        )
    return row.length(str(grade))


def general_tolerance(nominal: float, grade: str, where: str = "general tolerance") -> float:
    """Return plus and minus, mm, of a machined length that states no limits.

    Args:
        nominal: mm.
        grade: "f", "m" or "c".

    Source: ISO 2768-1 (from memory).

    Raises:
        StandardError: size or class outside the table.
    """
    source = table("general_tolerance")
    if grade not in GENERAL_CLASSES:
        raise StandardError(f"{where}: class {grade!r} is not one of ours of {source.cited}; it has {', '.join(GENERAL_CLASSES)}")
    return source.range_row(nominal, "length", where).length(grade)


def machining_allowance(largest: float, grade: str, where: str = "machining allowance") -> float:
    """Return the required machining allowance, mm per face, one value for the whole casting.

    Args:
        largest: the largest overall dimension of the machined part, mm.
        grade: RMAG A to K.

    Source: ISO 8062-3 (from memory; column G corroborated).

    Raises:
        StandardError: size or grade outside the table.
    """
    source = table("machining_allowance")
    letter = grade.strip().upper()
    if letter not in ALLOWANCE_GRADES:
        raise StandardError(f"{where}: RMAG {grade!r} is not a grade of {source.cited}; it has {', '.join(ALLOWANCE_GRADES)}")
    return source.range_row(largest, "largest dimension", where).length(letter)


def tolerance_bounds(size: float, grade: int, where: str = "casting tolerance") -> tuple[float, float]:
    """Return the least and greatest raw dimension, mm: the tolerance split evenly about the size."""
    half = casting_tolerance(size, grade, where) / 2
    return size - half, size + half


def processes() -> tuple[str, ...]:
    """Return the processes that have typical grades."""
    return table("casting_grades").column("process")


def default_grades(group: str, process: str | None = None, where: str = "casting grades") -> Grades:
    """Return the grades to draw a casting to when the job names none: the middle of the usual range, the coarser of two.

    Args:
        group: alloy group (`Alloy.group`).
        process: one of `processes()`; None for `DEFAULT_PROCESS`, or where that has no
            grade for the group (zinc) the first process that has.

    Source: ISO 8062-3 typical grades, informative.

    Raises:
        StandardError: unknown process, or no typical grade for that group.
    """
    process = process or _usual_process(group)
    low, high = (int(part) for part in _typical(table("casting_grades"), process, group, where))
    first, last = _typical(table("allowance_grades"), _allowance_process(process), group, where)
    letters = ALLOWANCE_GRADES[ALLOWANCE_GRADES.index(first) : ALLOWANCE_GRADES.index(last) + 1]
    source = f"middle of the usual range for {process}: {table('casting_grades').cited}, from memory"
    return Grades((low + high + 1) // 2, (low, high), letters[len(letters) // 2], (first, last), process, source)


def trade_grades(process: str, where: str = "casting grades") -> tuple[int, int]:
    """Return the range of DCTG the trade quotes for a process, whatever the alloy.

    Raises:
        StandardError: unknown process.
    """
    row = table("casting_grades_trade").row_for("process", process, "process", where)
    low, _, high = row.text("grades").partition("-")
    return int(low), int(high)


def outside_size(finished: float, largest: float, tolerance: int, allowance: str, sides: int = 2) -> CastingSize:
    """Return what an outside dimension is cast to, machined on one or both sides: R = F + sides * RMA + CT / 2.

    At its smallest the casting still holds the full allowance on every machined
    side. The tolerance is that of the raw size, so it is looked up again until
    the raw size no longer moves it.

    Args:
        finished: the finished dimension, mm.
        largest: largest overall dimension of the finished part, mm.
        tolerance: DCTG 1 to 16.
        allowance: RMAG A to K.
        sides: machined ends of the dimension, 1 or 2.

    Source: ISO 8062 formula (from memory).

    Raises:
        StandardError: outside the tables.
    """
    if sides not in (1, 2):
        raise ValueError(f"a dimension has 1 or 2 machined sides, not {sides}")
    rma = machining_allowance(largest, allowance)
    width = casting_tolerance(finished, tolerance)
    while (again := casting_tolerance(finished + sides * rma + width / 2, tolerance)) > width:
        width = again
    return CastingSize(finished + sides * rma + width / 2, width / 2, rma)


def inside_size(finished: float, largest: float, tolerance: int, allowance: str) -> CastingSize:
    """Return what a bore or a gap is cast to: R = F - 2 RMA - CT / 2.

    At its largest the casting still holds the full allowance all round. When
    neither of two neighbouring tolerances agrees with its own raw size, the
    wider one is taken: it leaves more metal.

    Raises:
        StandardError: outside the tables, or nothing is left to core.
    """
    rma = machining_allowance(largest, allowance)
    width = casting_tolerance(finished, tolerance)
    raw = _left_to_core(finished, rma, width)
    narrow = casting_tolerance(raw, tolerance)
    closer = finished - 2 * rma - narrow / 2
    if narrow < width and casting_tolerance(closer, tolerance) == narrow:
        raw, width = closer, narrow
    return CastingSize(raw, width / 2, rma)


def face_allowance(largest: float, tolerance: int, allowance: str) -> float:
    """Return the allowance, mm, a foundry draws on one machined face: RMA + CT / 2, both by the largest dimension.

    Source: agrees, taken up to whole mm, with a foundry's published table.

    Raises:
        StandardError: outside the tables.
    """
    return machining_allowance(largest, allowance) + casting_tolerance(largest, tolerance) / 2


def _left_to_core(finished: float, rma: float, width: float) -> float:
    raw = finished - 2 * rma - width / 2
    if raw <= 0:
        raise StandardError(
            f"bore {finished:g} mm: allowance {rma:g} mm a side and tolerance {width:g} mm leave no hole to core; cast it solid"
        )
    return raw


def _usual_process(group: str) -> str:
    source = table("casting_grades")
    pouring = [row.text("process") for row in source.rows if group in source.columns and row.text(group)]
    return DEFAULT_PROCESS if DEFAULT_PROCESS in pouring or not pouring else pouring[0]


def _allowance_process(process: str) -> str:
    return "sand, hand-moulded" if process.startswith("sand, hand-moulded") else process


def _typical(source: Table, process: str, group: str, where: str) -> tuple[str, str]:
    if source.find("process", process) is None:
        guess = nearest(process, processes())
        raise StandardError(f"{where}: process {process!r} is not known{guess}; the table has {'; '.join(processes())}")
    row = source.row_for("process", process, "process", where)
    cell = row.text(group) if group in source.columns else ""
    if not cell:
        held = ", ".join(column for column in source.columns[1:] if row.text(column))
        raise StandardError(
            f"{where}: {source.cited} has no grade for {group!r} by {process}; it has {held}; give the grade in the job"
        )
    low, _, high = cell.partition("-")
    return low, high or low
