"""What a sheet says of its proof: one small record, made once the tables are proved.

Sheets read this and nothing else of a proof. Lengths mm. Decides nothing.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from export.number import Units, fixed, trimmed
from export.tables.read import MARKS, NOT_PROVED, NOT_YET
from geom.rows.records import Words
from geom.units import MM_PER_INCH

_TEXT: Final = re.compile(r"coordinates-[1-9]\d*\.txt")
_UNIT: Final = {"mm": "mm", "inch": "in"}
_PLACES: Final = {"mm": 4, "inch": 5}


@dataclass(frozen=True, slots=True)
class Failure:
    """One thing that is wrong.

    Attributes:
        rows: (set-up, row) of every row that has to do with it; () where it is the whole job's.
        feature: face or hole; "" where none.
        words: what is wrong, lengths as floats, mm.
        received: found in the casting as received only.
    """

    rows: tuple[tuple[int, int], ...]
    feature: str
    words: Words
    received: bool = False


@dataclass(frozen=True, slots=True)
class ProofRecord:
    """The proof of a job's tables as its sheets print it.

    Attributes:
        proved: in every casting that was looked at; False: every sheet says NOT PROVED across the page.
        drawn: in the casting as drawn; received: as received, None where it was not measured.
        casting: name of the casting received; "" where it has none.
        worst: greatest deviation of a face, mm; resolution: mm, at samples `spacing` apart.
        hashes: table file -> SHA-256 of its bytes.
        failures: in the order of the report.
    """

    proved: bool
    drawn: bool
    received: bool | None
    casting: str
    worst: float
    resolution: float
    spacing: float
    hashes: Mapping[str, str] = field(default_factory=dict)
    failures: tuple[Failure, ...] = ()

    def hash_of(self, setup: int) -> str:
        """Return the SHA-256 of the table of a set-up; "" where there is none."""
        return self.hashes.get(f"coordinates-{setup}.csv", "")

    def failures_of(self, setup: int) -> tuple[Failure, ...]:
        """Return what is wrong with a set-up, and with the job as a whole."""
        return tuple(one for one in self.failures if not one.rows or any(n == setup for n, _ in one.rows))

    def failures_by_row(self, setup: int) -> dict[int, tuple[Failure, ...]]:
        """Return what is wrong with each row of a set-up, by row number."""
        numbers = sorted({row for one in self.failures for n, row in one.rows if n == setup})
        return {number: tuple(one for one in self.failures if (setup, number) in one.rows) for number in numbers}


def said_length(value: float, units: Units) -> str:
    """Return a length of a proof with its unit."""
    return f"{trimmed(fixed(value / (MM_PER_INCH if units == 'inch' else 1.0), _PLACES[units]))} {_UNIT[units]}"


def proof_line(record: ProofRecord, name: str, units: Units) -> str:
    """Return the first line of a text table: its proof with the CSV's hash, worst deviation and resolution, or NOT PROVED."""
    if not record.proved:
        return NOT_PROVED
    table = name.removesuffix(".txt") + ".csv"
    return f"{proved_words(record, units)}; {table} sha256 {record.hashes.get(table, '')}"


def proved_words(record: ProofRecord, units: Units) -> str:
    """Return in which castings a job is proved, and how well."""
    worst, least = said_length(record.worst, units), said_length(record.resolution, units)
    which = "as drawn" if record.received is None else "as drawn and as received"
    return f"PROVED {which}: worst deviation {worst}, resolution {least}"


def unproved(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return tables as they are written before anybody proves them: the text ones say so in their first line."""
    return {name: marked(content, NOT_YET) if _TEXT.fullmatch(name) else content for name, content in files.items()}


def proof_marked(files: Mapping[str, bytes], record: ProofRecord, units: Units) -> dict[str, bytes]:
    """Return the text tables among some files, each with the line of its proof."""
    return {name: marked(files[name], proof_line(record, name, units)) for name in sorted(files) if _TEXT.fullmatch(name)}


def marked(content: bytes, line: str) -> bytes:
    """Return a text table with a line on top that says whether it is proved, in place of any such line."""
    first, end, rest = content.partition(b"\n")
    bare = rest if end and first.decode(errors="replace").startswith(MARKS) else content
    return f"{line}\n".encode() + bare
