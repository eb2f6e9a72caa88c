"""The whole set of a job's files, and the manifest that lists them.

Asks each exporter for its files and knows which there are; computes nothing
and touches no disk. Heavy exporters are imported when their files are asked
for, so that one command pays for its own only.
"""

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from export.manifest import MANIFEST_NAME, describe, inputs_hash, to_bytes
from geom.errors import GeometryError, JobError, StandardError
from geom.job import Record, input_files
from geom.settings.records import Settings

if TYPE_CHECKING:
    from export.sheets.paper import PaperSize
    from geom.datum.zero import Zero
    from geom.fixture.checks import Wall
    from geom.fixture.fixture import Refused
    from geom.fixture.maker import Asked, Made
    from geom.job import Job
    from geom.kernel.mesh import Mesh
    from geom.pattern.pattern import Pattern
    from geom.place.castings import Placed
    from geom.rows.plan import NoPlan, Plan
    from geom.stock.report import StockReport


def make_bundle(record: Record) -> dict[str, bytes]:
    """Return every file of a job by name, `manifest.json` among them.

    Raises:
        EvenstockError: one of the files cannot be made; then none is returned.
    """
    return with_manifest(record.settings, {**_every_file(record)})


def _every_file(record: Record) -> dict[str, bytes]:
    from export.drawing.sheet import drawing_files
    from export.prints.prototype import prints, prototype_files
    from export.prints.prototype_print import print_files

    printer = record.settings.printer
    pair = prints(record.part, printer.chord)
    sets = (
        sheet_set(record),
        stock_files(record.job, record.stock),
        hole_files(record.job),
        place_files(record.job, record.placed, record.zero) if record.placed else {},
        setup_files(record.job, record.plan, record.stock) if record.plan is not None else {},
        drawing_files(record.job, record.stock, record.zero),
        prototype_files(record.part, printer.chord, record.settings.units, pair),
        print_files(record.part, pair[0], printer, record.settings.label, record.settings.units),
        pattern_or_why(record, pair[1].mesh),
        fixtures_or_why(record),
    )
    files: dict[str, bytes] = {}
    for some in sets:
        twice = sorted(files.keys() & some.keys())
        if twice:
            raise ValueError(f"two exporters both write {', '.join(twice)}")
        files |= some
    return files


def not_made(files: Mapping[str, bytes]) -> tuple[str, ...]:
    """Return a line for each print of a bundle that could not be made, and which file says why."""
    refused = [f"no {one['name']}: fixture.txt says why" for one in json.loads(files["fixture.json"])["refused"]]
    pattern = json.loads(files["pattern.json"])
    thin = [f"{name}: a wall is thinner than the nozzle, as pattern.txt says" for name in pattern.get("too_thin", ())]
    return (*([] if pattern["draws"] else ["no pattern: pattern.txt says why"]), *thin, *refused)


def sheet_set(record: Record, paper: "PaperSize | None" = None) -> dict[str, bytes]:
    """Return the coordinate tables, their proof, and the set-up sheets that rest on both.

    Args:
        paper: of the sheets; None for what the job says, else the one that goes with its readout.
    """
    from export.reports.coordinates import coordinate_files
    from export.reports.prove import files_of, proof_record, prove_tables
    from export.sheets.paper import sheet_files

    tables = coordinate_files(record)
    found = prove_tables(record.job, tables, record.placed)
    size = paper or record.settings.drawing.paper
    return tables | files_of(found, record.job, tables) | sheet_files(record, tables, proof_record(found), size)


def stock_files(job: "Job", report: "StockReport") -> dict[str, bytes]:
    """Return the stock report as text and as JSON."""
    from export.reports.stock import stock_document, stock_text

    return {"stock.json": json_bytes(stock_document(report, job)), "stock.txt": stock_text(report, job).encode()}


def hole_files(job: "Job") -> dict[str, bytes]:
    """Return the hole list as text and as JSON."""
    from export.reports.hole import holes_document, holes_text

    return {"holes.json": json_bytes(holes_document(job.part)), "holes.txt": holes_text(job.part, job.settings).encode()}


def place_files(job: "Job", placed: "Sequence[Placed]", zero: "Zero") -> dict[str, bytes]:
    """Return the placement as text and as JSON, and a picture of each casting that was measured."""
    from export.pictures.heat import heat_files
    from export.reports.place import place_text
    from export.reports.place_document import place_document

    files = {
        "place.json": json_bytes(place_document(placed, job, zero)),
        "place.txt": place_text(placed, job, zero).encode(),
    }
    for one in placed:
        files |= heat_files(job, one, zero)
    return files


def setup_files(job: "Job", plan: "Plan | NoPlan", report: "StockReport") -> dict[str, bytes]:
    """Return the set-ups as text and as JSON."""
    from export.reports.setups import setups_document, setups_text

    return {
        "setups.json": json_bytes(setups_document(plan, job, report)),
        "setups.txt": setups_text(plan, job, report).encode(),
    }


def fixture_files(job: "Job", found: "Sequence[Made | Refused]", meshes: "Mapping[str, Mesh]", asked: "Asked") -> dict[str, bytes]:
    """Return the fixtures as text and as JSON, and the print files of each.

    Args:
        meshes: of the prints, by name.
    """
    from export.prints.fixture import fixture_document, fixture_prints, fixture_text
    from export.prints.fixture_sheet import sheet
    from geom.fixture.maker import Made

    made = [one for one in found if isinstance(one, Made)]
    return {
        "fixture.json": json_bytes(fixture_document(found, job, asked)),
        "fixture.txt": fixture_text(found, job, asked).encode(),
        **fixture_prints(found, meshes, job, asked),
        **{f"{one.fixture.name}.pdf": sheet(one, meshes[one.fixture.name], job) for one in made},
    }


def pattern_files(job: "Job", found: "Pattern", walls: "dict[str, Wall]") -> dict[str, bytes]:
    """Return the pattern as text, JSON, page and picture of the draft, and its prints when it draws."""
    from export.prints.pattern import pattern_document, pattern_prints, pattern_text
    from export.prints.pattern_sheet import draft_picture, pattern_sheet

    return {
        "pattern.json": json_bytes(pattern_document(found, job, walls)),
        "pattern.txt": pattern_text(found, job, walls).encode(),
        "pattern.pdf": pattern_sheet(found, job, walls),
        "pattern_draft.svg": draft_picture(found, job),
        **pattern_prints(found, job),
    }


def pattern_or_why(record: Record, casting: "Mesh") -> dict[str, bytes]:
    """Return the pattern's files, or why there is none: that keeps no other file back."""
    from export.prints.pattern import no_pattern, pattern_of, walls_of

    try:
        found = pattern_of(record.job, casting)
        return pattern_files(record.job, found, walls_of(found))
    except (JobError, GeometryError, StandardError) as problem:
        document, text = no_pattern(record.job, str(problem))
        return {"pattern.json": json_bytes(document), "pattern.txt": text.encode()}


def fixtures_or_why(record: Record) -> dict[str, bytes]:
    """Return the fixtures' files, with why where there is none: that keeps no other file back."""
    from export.prints.fixture import closed
    from geom.fixture.fixture import Refused
    from geom.fixture.maker import Asked, fixtures_of
    from geom.fixture.making import making_on

    asked = Asked()
    try:
        asked = Asked(making=making_on(record.settings.printer))
        found, meshes = closed(fixtures_of(record, asked, lambda _line: None))
    except (JobError, GeometryError, StandardError) as problem:
        return fixture_files(record.job, (Refused("fixtures", ((str(problem),),)),), {}, asked)
    return fixture_files(record.job, found, meshes, asked)


def with_manifest(settings: Settings, files: Mapping[str, bytes], **asked: str) -> dict[str, bytes]:
    """Return the files with the manifest that lists them.

    The manifest belongs to the part (and variant) by its own name: the job's
    folder may be copied or renamed without a byte changing.

    Args:
        asked: what a command was told beyond the job and differs from its default.
    """
    inputs = input_files(settings) | {name: value.encode() for name, value in asked.items()}
    return {**files, MANIFEST_NAME: to_bytes(describe(owner_of(settings), inputs_hash(inputs), files))}


def owner_of(settings: Settings) -> str:
    """Return the name under which a job owns its output folder."""
    return settings.part.name if settings.variant is None else f"{settings.part.name}, variant {settings.variant}"


def json_bytes(document: Mapping[str, Any]) -> bytes:
    """Return one JSON document: ASCII, so that any reader takes it; never NaN."""
    return (json.dumps(document, indent=1, allow_nan=False) + "\n").encode()
