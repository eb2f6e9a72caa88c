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

from export.number import Units, fixed, sentence
from export.reports.hole import exact
from export.reports.proof_record import Failure, ProofRecord, proof_marked, said_length
from export.reports.proof_tables import proof_table
from export.tables.head import unescaped
from export.tables.read import COLUMNS, TableFile, read_table
from export.tables.text import aligned
from export.tables.words import tool_text
from geom.errors import EvenstockError, counted
from geom.proof.prove import FaceFound, Fault, Proof, ReceivedFound, prove
from geom.rows.records import Row
from geom.tolerance import WORK_CHORD
from geom.units import MM_PER_INCH

if TYPE_CHECKING:
    from geom.job import Job
    from geom.place.castings import Placed
    from geom.proof.received import Received

NOT_PROVED: Final = "NOT PROVED"
PROVED: Final = "PROVED"
_NAME: Final = re.compile(r"coordinates-([1-9]\d*)\.csv")
_WIDTH: Final = 100
_FAULT: Final = "FAULT OF THE PLAN"
"""A table's note that begins so says itself that it must not be cut."""

_CASTING: Final = re.compile(r"(?:this casting|casting (.+)) as received: ")
"""How the note of a table begins that was made for a casting as received."""

_HIDDEN: Final = 5.0 * WORK_CHORD
"""mm that look-up facets may lie off a curved face between its edges: what the mesh comparison does not tell there."""

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


def prove_tables(job: "Job", files: Mapping[str, bytes], placed: "Sequence[Placed]" = ()) -> Proved:
    """Return the proof of a job's tables.

    Args:
        files: name -> bytes as they lie on disk; others than coordinate tables are passed over.
        placed: the castings that were measured, best first: the tables are proved in the one they name, else in the best.

    Raises:
        EvenstockError: a table cannot be read; the message names the line.
    """
    names = sorted((name for name in files if _NAME.fullmatch(name)), key=_number)
    read = {name: read_table(_text(name, files[name]), name) for name in names}
    received, lost = _casting_of(read, job, placed)
    found = prove([proof_table(table) for table in read.values()], job.part, job.settings, received)
    paper = [fault for name, table in read.items() for fault in _paper_faults(name, table, files)]
    sums = {name: hashlib.sha256(files[name]).hexdigest() for name in names}
    return Proved(replace(found, faults=(*lost, *_head_faults(read, job), *paper, *found.faults)), sums)


def _casting_of(
    read: Mapping[str, TableFile], job: "Job", placed: "Sequence[Placed]"
) -> "tuple[Received | None, tuple[Fault, ...]]":
    """Return the casting as received that the tables were made for, and a fault where that one is not there."""
    from geom.proof.received import received_casting

    said = {found[1] or "" for table in read.values() for note in table.head.notes if (found := _CASTING.match(note))}
    there = [one for one in placed if one.measured]
    wanted = [one for one in there if one.name in said] if said else there
    faults = []
    if len(said) > 1:
        faults.append(Fault("casting", (), "", ("the tables were made for different castings",)))
    elif said and not wanted:
        which = f"casting {min(said)}" if min(said) else "a casting as received"
        faults.append(Fault("casting", (), "", (f"the tables were made for {which}, of which there are no readings now",)))
    if not wanted:
        return None, tuple(faults)
    return received_casting(job.part, wanted[0].received, wanted[0].placement.pose), tuple(faults)


def _number(name: str) -> int:
    found = _NAME.fullmatch(name)
    return int(found[1]) if found else 0


def _text(name: str, content: bytes) -> str:
    try:
        return content.decode()
    except UnicodeDecodeError:
        raise EvenstockError(f"{name}: is not UTF-8 text; another program has changed it; write it again") from None


def proof_files(job: "Job", tables: Mapping[str, bytes], placed: "Sequence[Placed]" = ()) -> dict[str, bytes]:
    """Return the proof of a job's tables as text and JSON, and with it the text tables, each with what the proof says of it.

    Args:
        tables: name -> bytes as they are written to disk.
        placed: the castings that were measured, best first.
    """
    return files_of(prove_tables(job, tables, placed), job, tables)


def files_of(found: Proved, job: "Job", tables: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return a proof's own files and the text tables it is about, marked."""
    document = json.dumps(prove_document(found, job), indent=1, allow_nan=False) + "\n"
    marked = proof_marked(tables, proof_record(found), job.settings.units)
    return {"prove.json": document.encode(), "prove.txt": prove_text(found, job).encode(), **marked}


def proof_record(found: Proved) -> ProofRecord:
    """Return what sheets print of a proof."""
    proof = found.proof
    there = proof.received
    drawn = tuple(Failure(fault.rows, fault.feature, fault.words) for fault in proof.faults)
    arrived = tuple(Failure(fault.rows, fault.feature, fault.words, True) for fault in (there.faults if there else ()))
    return ProofRecord(
        proved=proof.proved,
        drawn=not proof.faults,
        received=there.proved if there else None,
        casting=there.name if there else "",
        worst=proof.worst,
        resolution=proof.resolution,
        spacing=proof.spacing,
        hashes=dict(found.tables),
        failures=(*drawn, *arrived),
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
        "touches": [
            {"setup": t.setup, "row": t.row, "feature": t.feature, "action": t.action, "off": _maybe(t.off),
             "allowed": exact(t.allowed)}
            for t in proof.touches
        ],
        "measured": [
            {"setup": m.setup, "row": m.row, "feature": m.feature, "nominal": exact(m.nominal), "found": _maybe(m.found)}
            for m in proof.measured
        ],
        "as_received": None if proof.received is None else _received_entry(proof.received),
        "faults": [_fault_entry(fault) for fault in proof.faults],
        "tables": [{"name": name, "sha256": found.tables[name]} for name in found.tables],
    }  # fmt: skip


def _received_entry(found: ReceivedFound) -> dict[str, Any]:
    return {
        "verdict": "proved" if found.proved else "not proved",
        "casting": found.name,
        "skin": found.how,
        "skin_off": exact(found.off),
        "edge_band": exact(found.band),
        "faces": [
            {"name": f.name, "state": f.state, "deviation": {"min": exact(f.low), "max": exact(f.high)},
             "wane_share": exact(f.wane), "forgiven_share": exact(f.forgiven), "holds": f.holds}
            for f in found.faces
        ],
        "rows": [{"setup": setup, "row": row, "removed_volume": exact(taken)} for setup, row, taken in found.rows],
        "faults": [_fault_entry(fault) for fault in found.faults],
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
    if proof.received is not None:
        blocks += _received_blocks(proof.received, units)
    blocks.append("\n".join(f"{name}  sha256 {found.tables[name]}" for name in found.tables))
    return "\n\n".join(block for block in blocks if block) + "\n"


def _headline(proof: Proof, job: "Job") -> str:
    units = job.settings.units
    verdict = PROVED if proof.proved else NOT_PROVED
    both = [] if proof.received is None else [_both(proof, proof.received)]
    setups = len({row.setup for row in proof.rows})
    worst, least, apart = (said_length(v, units) for v in (proof.worst, proof.resolution, proof.spacing))
    said = (
        f"{counted(proof.rows_read, 'row')} read back, {counted(len(proof.rows), 'cut')} in {counted(setups, 'set-up')}, "
        "in the casting as drawn.",
        f"Greatest deviation {worst}; left over {proof.leftover:.1f} mm3, gouged {proof.gouge:.1f} mm3.",
        f"The proof tells {least} on {proof.samples} samples {apart} apart, and looks closer wherever two meshes differ: "
        f"on a curved face a flaw narrower than {apart} and shallower than {said_length(_HIDDEN, units)} could lie between.",
        f"{counted(len(proof.touches), 'touch', 'touches')} and {counted(len(proof.measured), 'measured size')} looked at.",
        *both,
    )
    return f"{job.part.name}: {verdict}\n{fill(' '.join(said), _WIDTH)}"


def _both(proof: Proof, there: ReceivedFound) -> str:
    which = f"casting {there.name}" if there.name else "this casting"
    drawn, arrived = ("proved" if good else "not proved" for good in (not proof.faults, there.proved))
    return f"As drawn: {drawn}. {which[0].upper()}{which[1:]} as received: {arrived}."


def _received_blocks(found: ReceivedFound, units: Units) -> Iterator[str]:
    """Yield what the same rows leave in the casting as received."""
    which = f"casting {found.name}" if found.name else "this casting"
    off, band = said_length(round(found.off, 2), units), said_length(round(found.band, 2), units)
    told = (
        f"{which[0].upper()}{which[1:]} as received: {'proved' if found.proved else 'NOT PROVED'}.",
        f"Its skin is {found.how}; placed, it lies up to {off} off the drawn one. Metal missing nearer than {band} to an edge is "
        "the outline's. Passes, touches and checks are judged in this skin; how deep rows go is the same as drawn.",
    )
    yield fill(" ".join(told), _WIDTH)
    yield from _fault_block(found.faults, units)
    faces = [f for f in found.faces if f.state in ("wane", "short") or not f.holds]
    whole = sum(1 for f in found.faces if f.state == "whole" and f.holds)
    scale, places = (MM_PER_INCH if units == "inch" else 1.0), _PLACES[units]
    rows = [
        (
            f.name,
            f.state,
            fixed(f.low / scale, places),
            fixed(f.high / scale, places),
            fixed(100.0 * f.wane, 1),
            fixed(100.0 * f.forgiven, 1),
        )
        for f in faces
    ]
    unit = _UNIT[units]
    heads = ("Face", "", f"least {unit}", f"most {unit}", "skin left %", "forgiven %")
    table = f"{aligned(heads, rows, 'llrrrr')}\n" if rows else ""
    yield f"{table}{whole} machined faces are cut all over in it."


def _short(value: float) -> float:
    return round(value, 4) + 0.0


def _fault_block(faults: Sequence[Fault], units: Units) -> Iterator[str]:
    if faults:
        yield "\n".join(fill(fault_text(fault, units), _WIDTH, subsequent_indent="    ") for fault in faults)


def fault_text(fault: Fault | Failure, units: Units) -> str:
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
    return f"{aligned(heads, rows, 'lrrrrll')}\n{counted(untouched, 'face')} as cast and not touched."


def _holes_block(proof: Proof, units: Units) -> str:
    places = _PLACES[units]
    scale = MM_PER_INCH if units == "inch" else 1.0

    def figure(value: float | None) -> str:
        return "-" if value is None else fixed(value / scale, places)

    unit = _UNIT[units]
    rows = [(h.name, *(figure(v) for v in (h.diameter, h.wanted[0], h.position, h.depth, h.wanted[1]))) for h in proof.holes]
    heads = ("Hole", f"diameter {unit}", f"drawn {unit}", f"off axis {unit}", f"depth {unit}", f"drawn {unit}")
    return aligned(heads, rows, "lrrrrr")
