"""The proof of a job's tables: reads them back as written, has them cut, says what came out; text and JSON.

Text in the sheet's units, JSON in mm. Compares what is on paper (the text
tables, the cutters' names) with the CSV that is proved, as nothing else sees
it. Decides nothing about metal.
"""

import csv
import hashlib
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any, Final

from export.hole_report import exact
from export.number import Units, fixed, sentence
from export.proof_record import Failure, ProofRecord, said_length
from export.proof_tables import proof_table
from export.table_head import unescaped
from export.table_reader import COLUMNS, TableFile, read_table
from export.table_reader import NOT_PROVED as MARK
from export.table_words import tool_text
from export.text_table import aligned
from geom.errors import EvenstockError
from geom.proof import FaceFound, Fault, Proof, prove
from geom.rows import Row
from geom.units import MM_PER_INCH

if TYPE_CHECKING:
    from geom.job import Job

NOT_PROVED: Final = "NOT PROVED"
PROVED: Final = "PROVED"
_NAME: Final = re.compile(r"coordinates-([1-9]\d*)\.csv")
_WIDTH: Final = 100
_FAULT: Final = "FAULT OF THE PLAN"
"""A table's note that begins so says itself that it must not be cut."""

_UNIT: Final = {"mm": "mm", "inch": "in"}
_PLACES: Final = {"mm": 4, "inch": 5}


@dataclass(frozen=True, slots=True)
class Proved:
    """A proof and the files it was made from: table name -> SHA-256."""

    proof: Proof
    tables: Mapping[str, str]


def tables_in(folder: Path) -> dict[str, bytes]:
    """Return the coordinate tables of a folder, CSV and text, by name; empty where there are none."""
    if not folder.is_dir():
        return {}
    found = [p for p in folder.iterdir() if p.is_file() and re.fullmatch(r"coordinates-[1-9]\d*\.(csv|txt)", p.name)]
    return {path.name: path.read_bytes() for path in sorted(found)}


def prove_tables(job: "Job", files: Mapping[str, bytes]) -> Proved:
    """Return the proof of a job's tables.

    Args:
        files: name -> bytes as they lie on disk; others than coordinate tables are passed over.

    Raises:
        EvenstockError: a table cannot be read; the message names the line.
    """
    names = sorted((name for name in files if _NAME.fullmatch(name)), key=_number)
    read = {name: read_table(_text(name, files[name]), name) for name in names}
    found = prove([proof_table(table) for table in read.values()], job.part, job.settings)
    paper = [fault for name, table in read.items() for fault in _paper_faults(name, table, files)]
    sums = {name: hashlib.sha256(files[name]).hexdigest() for name in names}
    return Proved(replace(found, faults=(*_head_faults(read, job), *paper, *found.faults)), sums)


def _number(name: str) -> int:
    found = _NAME.fullmatch(name)
    return int(found[1]) if found else 0


def _text(name: str, content: bytes) -> str:
    try:
        return content.decode()
    except UnicodeDecodeError:
        raise EvenstockError(f"{name}: is not UTF-8 text; another program has changed it; write it again") from None


def proof_files(job: "Job", tables: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the proof of a job's tables as text and JSON, and with it the text tables marked where it failed.

    Args:
        tables: name -> bytes as they are written to disk.
    """
    found = prove_tables(job, tables)
    document = json.dumps(prove_document(found, job), indent=1, allow_nan=False) + "\n"
    marked = {} if found.proof.proved else {name: _marked(content) for name, content in tables.items() if name.endswith(".txt")}
    return {"prove.json": document.encode(), "prove.txt": prove_text(found, job).encode(), **marked}


def _marked(content: bytes) -> bytes:
    return f"{MARK}\n".encode() + content


def proof_record(found: Proved) -> ProofRecord:
    """Return what sheets print of a proof."""
    proof = found.proof
    failures = tuple(Failure(fault.rows, fault.feature, fault.words) for fault in proof.faults)
    return ProofRecord(
        proof.proved, proof.proved, None, "", proof.worst, proof.resolution, proof.spacing, dict(found.tables), failures
    )


def is_proved(files: Mapping[str, bytes]) -> bool:
    """Return whether a set of files holds a proof that succeeded."""
    return bool(json.loads(files["prove.json"])["verdict"] == "proved")


# --- paper ------------------------------------------------------------------


def _head_faults(read: Mapping[str, TableFile], job: "Job") -> Iterator[Fault]:
    for name, table in read.items():
        if table.head.number != _number(name):
            yield Fault("set-up", (), "", (f"{name} says it is set-up {table.head.number}",))
        if table.head.job != job.settings.part.name:
            yield Fault("set-up", (), "", (f"{name} is a table of {table.head.job}",))
        for note in table.head.notes:
            if note.startswith(_FAULT):
                yield Fault("plan", (), "", (f"set-up {table.head.number}: {note}",))


def _paper_faults(name: str, table: TableFile, files: Mapping[str, bytes]) -> Iterator[Fault]:
    """Yield where paper and CSV say different things."""
    yield from _named_cutters(name, table, files[name].decode())
    other = name.removesuffix(".csv") + ".txt"
    if other not in files:
        return
    try:
        paper = read_table(_text(other, files[other]), other)
    except EvenstockError as error:
        yield Fault("paper", (), "", (str(error),))
        return
    for row, said in zip(table.rows, paper.rows, strict=False):
        if row != said:
            yield _of(table, row, f"{other} does not say what {name} says")
    if len(table.rows) != len(paper.rows):
        yield Fault("paper", (), "", (f"{other} has {len(paper.rows)} rows, {name} has {len(table.rows)}",))
    if replace(table.head, form="text") != paper.head:
        yield Fault("paper", (), "", (f"the head of {other} is not that of {name}",))


def _named_cutters(name: str, table: TableFile, text: str) -> Iterator[Fault]:
    """Yield rows whose cutter in words is not the one in figures."""
    lines = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    for row, cells in zip(table.rows, lines, strict=False):
        if unescaped(cells[COLUMNS[3]], name) != tool_text(row.tool, table.head.figures.units):
            yield _of(table, row, f"the cutter in words ({cells[COLUMNS[3]]}) is not the one in figures")


def _of(table: TableFile, row: Row, words: str) -> Fault:
    return Fault("paper", ((table.head.number, row.number),), row.feature, (words,))


# --- JSON -------------------------------------------------------------------


def prove_document(found: Proved, job: "Job") -> dict[str, Any]:
    """Return the proof as a JSON document: mm, mm3."""
    proof = found.proof
    return {
        "part": job.part.name,
        "verdict": "proved" if proof.proved else "not proved",
        "leftover_volume": exact(proof.leftover),
        "gouge_volume": exact(proof.gouge),
        "worst_deviation": exact(proof.worst),
        "resolution": proof.resolution,
        "sample_spacing": proof.spacing,
        "samples": proof.samples,
        "casting": "as drawn",
        "rows_read": proof.rows_read,
        "faces": [_face_entry(face) for face in proof.faces],
        "holes": [
            {"name": h.name, "diameter": _maybe(h.diameter), "position_error": _maybe(h.position), "depth": _maybe(h.depth),
             "drawn": {"diameter": exact(h.wanted[0]), "depth": _maybe(h.wanted[1])}}
            for h in proof.holes
        ],
        "rows": [
            {"setup": r.setup, "row": r.row, "feature": r.feature, "removed_volume": exact(r.volume), "cut_height": exact(r.height)}
            for r in proof.rows
        ],
        "faults": [_fault_entry(fault) for fault in proof.faults],
        "tables": [{"name": name, "sha256": found.tables[name]} for name in found.tables],
    }  # fmt: skip


def _maybe(value: float | None) -> float | None:
    return None if value is None else exact(value)


def _face_entry(face: FaceFound) -> dict[str, Any]:
    return {
        "name": face.name,
        "state": face.state,
        "deviation": {"min": exact(face.low), "max": exact(face.high)},
        "allowed": {"min": -exact(face.deep), "max": None if face.state == "as cast" else exact(face.proud)},
        "allowed_because": face.why,
        "holds": face.holds,
        "left_out": face.left_out,
    }


def _fault_entry(fault: Fault) -> dict[str, Any]:
    return {
        "kind": fault.kind,
        "rows": [{"setup": setup, "row": row} for setup, row in fault.rows],
        "feature": fault.feature,
        "says": sentence(fault.words, "mm"),
    }


# --- text -------------------------------------------------------------------


def prove_text(found: Proved, job: "Job") -> str:
    """Return the proof as text in the sheet's units."""
    proof, units = found.proof, job.settings.units
    blocks = [_headline(proof, job), *_fault_block(proof.faults, units), _faces_block(proof.faces, units)]
    if proof.holes:
        blocks.append(_holes_block(proof, units))
    blocks.append("\n".join(f"{name}  sha256 {found.tables[name]}" for name in found.tables))
    return "\n\n".join(block for block in blocks if block) + "\n"


def _headline(proof: Proof, job: "Job") -> str:
    units = job.settings.units
    verdict = PROVED if proof.proved else NOT_PROVED
    setups = len({row.setup for row in proof.rows})
    worst, least, apart = (said_length(v, units) for v in (proof.worst, proof.resolution, proof.spacing))
    said = (
        f"{proof.rows_read} rows read back, {len(proof.rows)} cuts in {setups} set-ups, in the casting as drawn.",
        f"Greatest deviation {worst}; left over {proof.leftover:.1f} mm3, gouged {proof.gouge:.1f} mm3.",
        f"The proof tells {least} on {proof.samples} samples {apart} apart, and looks closer wherever two meshes differ.",
    )
    return f"{job.part.name}: {verdict}\n{fill(' '.join(said), _WIDTH)}"


def _short(value: float) -> float:
    return round(value, 4) + 0.0


def _fault_block(faults: Sequence[Fault], units: Units) -> Iterator[str]:
    if faults:
        yield "\n".join(fill(fault_text(fault, units), _WIDTH, subsequent_indent="    ") for fault in faults)


def fault_text(fault: Fault, units: Units) -> str:
    """Return one fault as a line: rows, feature, what is wrong."""
    rounded = tuple(part if isinstance(part, str) else _short(part) for part in fault.words)
    where = ", ".join(filter(None, (_rows_text(fault.rows), fault.feature)))
    return f"{where}: {sentence(rounded, units)}" if where else sentence(rounded, units)


def _rows_text(rows: Sequence[tuple[int, int]]) -> str:
    by: dict[int, list[int]] = {}
    for setup, row in rows:
        by.setdefault(setup, []).append(row)
    return "; ".join(f"set-up {n} row{'s' * (len(some) > 1)} {', '.join(map(str, some))}" for n, some in by.items())


def _faces_block(faces: Sequence[FaceFound], units: Units) -> str:
    places = _PLACES[units]
    scale = MM_PER_INCH if units == "inch" else 1.0

    def figure(value: float) -> str:
        return f"{fixed(value / scale, places)}"

    told = [face for face in faces if face.state != "as cast" or not face.holds]
    rows = [
        (
            face.name,
            figure(face.low),
            figure(face.high),
            figure(-face.deep),
            "" if face.state == "as cast" else figure(face.proud),
            "left out" if face.left_out and face.holds else "holds" if face.holds else "FAILS",
            face.why,
        )
        for face in told
    ]
    unit = _UNIT[units]
    heads = ("Face", f"least {unit}", f"most {unit}", f"from {unit}", f"to {unit}", "", "because")
    untouched = sum(1 for face in faces if face.state == "as cast" and face.holds)
    return f"{aligned(heads, rows, 'lrrrrll')}\n{untouched} faces stay as cast and are not touched."


def _holes_block(proof: Proof, units: Units) -> str:
    places = _PLACES[units]
    scale = MM_PER_INCH if units == "inch" else 1.0

    def figure(value: float | None) -> str:
        return "-" if value is None else fixed(value / scale, places)

    unit = _UNIT[units]
    rows = [(h.name, *(figure(v) for v in (h.diameter, h.wanted[0], h.position, h.depth, h.wanted[1]))) for h in proof.holes]
    heads = ("Hole", f"diameter {unit}", f"drawn {unit}", f"off axis {unit}", f"depth {unit}", f"drawn {unit}")
    return aligned(heads, rows, "lrrrrr")
