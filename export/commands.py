"""What each command does: open the job, ask the stages for their answer, print or write it.

Prints to stdout, progress to stderr, returns the exit code (0 yes, 1 no). Wrong
input is raised and worded by `cli`. Heavy modules are imported by the command
that needs them, and only after job.toml has been read and found right.
"""

import sys
from argparse import Namespace
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from export.exit_codes import NO, YES
from export.progress import say, say_nothing
from geom.errors import JobError
from geom.settings.load import Overrides, load_settings
from geom.settings.records import READINGS, Settings

if TYPE_CHECKING:
    from geom.fixture.maker import Asked
    from geom.job import Job


def stock(arguments: Namespace) -> int:
    """Print the stock on every machined face; "no" when the casting is short."""
    settings, tell = _settings(arguments), _teller(arguments)
    from export.bundle import stock_files
    from export.reports.stock import stock_document, stock_text
    from geom.job import measure_stock, open_job
    from geom.kernel.failure import plain_kernel_failures
    from geom.stock.verdict import verdict

    with plain_kernel_failures(settings.label):
        job = open_job(settings, tell)
        report = measure_stock(job, tell)
    if arguments.out:
        _save(arguments, settings, stock_files(job, report))
    _answer(arguments, stock_document(report, job), stock_text(report, job))
    return YES if verdict(report, job.needs).is_enough else NO


def holes(arguments: Namespace) -> int:
    """Print the holes as the program understands them."""
    settings, tell = _settings(arguments), _teller(arguments)
    from export.bundle import hole_files
    from export.reports.hole import holes_document, holes_text
    from geom.job import open_job
    from geom.kernel.failure import plain_kernel_failures

    with plain_kernel_failures(settings.label):
        job = open_job(settings, tell)
    if arguments.out:
        _save(arguments, settings, hole_files(job))
    _answer(arguments, holes_document(job.part), holes_text(job.part, job.settings))
    return YES


def place(arguments: Namespace) -> int:
    """Print where the part lies in the casting as received; "no" when the best casting falls short."""
    settings, tell = _settings(arguments), _teller(arguments)
    _begin(settings)
    from export.bundle import place_files
    from export.reports.place import ask_text, place_text
    from export.reports.place_document import place_document
    from geom.datum.zero import resolve_zero
    from geom.job import open_job, placements
    from geom.kernel.failure import plain_kernel_failures

    with plain_kernel_failures(settings.label):
        job = open_job(settings, tell)
        zero = resolve_zero(job.part, job.settings.datum)
        placed = placements(job, tell, arguments.casting)
        if arguments.out:
            tell("drawing the picture")
            asked = {} if arguments.casting is None else {"casting": arguments.casting}
            _save(arguments, settings, place_files(job, placed, zero), **asked)
    text = ask_text(placed, job) if arguments.ask else place_text(placed, job, zero)
    _answer(arguments, place_document(placed, job, zero), text)
    return YES if placed[0].placement.cleans_up else NO


def setups(arguments: Namespace) -> int:
    """Print the set-ups in order, how each is held and why; "no" when no plan makes the whole part or its rows are at fault."""
    settings, tell = _settings(arguments), _teller(arguments)
    _begin(settings)
    from export.bundle import setup_files
    from export.reports.setups import is_sound, setups_document, setups_text
    from geom.datum.zero import resolve_zero
    from geom.job import measure_stock, open_job, placements, planned
    from geom.kernel.failure import plain_kernel_failures

    with plain_kernel_failures(settings.label):
        job = open_job(settings, tell)
        zero = resolve_zero(job.part, job.settings.datum)
        stock = measure_stock(job, tell, planning=True)
        asked = arguments.casting is not None or (settings.folder / READINGS).exists()
        plan = planned(job, zero, stock, tell, placements(job, tell, arguments.casting) if asked else ())
        if arguments.out:
            _save(
                arguments,
                settings,
                setup_files(job, plan, stock),
                **({} if arguments.casting is None else {"casting": arguments.casting}),
            )
        _answer(arguments, setups_document(plan, job, stock), setups_text(plan, job, stock))
    return YES if is_sound(plan) else NO


def coordinates(arguments: Namespace) -> int:
    """Print the coordinate tables and write them as CSV and text; "no" when no plan makes the part or its rows are at fault."""
    settings, tell = _settings(arguments), _teller(arguments)
    from export.reports.coordinates import coordinate_files, coordinates_document, coordinates_text, readout_figures
    from export.reports.proof_record import unproved
    from geom.job import finish, open_job
    from geom.kernel.failure import plain_kernel_failures

    readout_figures(settings)
    _begin(settings)
    with plain_kernel_failures(settings.label):
        record = finish(open_job(settings, tell), tell, arguments.casting)
    asked = {} if arguments.casting is None else {"casting": arguments.casting}
    _save(arguments, settings, unproved(coordinate_files(record)), **asked)
    _answer(arguments, coordinates_document(record), coordinates_text(record))
    return YES if record.can_be_cut else NO


def prove(arguments: Namespace) -> int:
    """Cut the casting along the tables on disk and say so on them; "no" when the finished part is not what is left."""
    settings, tell = _settings(arguments), _teller(arguments)
    _begin(settings)
    from export.reports.prove import files_of, prove_document, prove_tables, prove_text, tables_in
    from geom.job import open_job, placements
    from geom.kernel.failure import plain_kernel_failures

    out = _out(arguments, settings)
    with plain_kernel_failures(settings.label):
        job = open_job(settings, tell)
        files = tables_in(out) or _new_tables(arguments, job, out)
        placed = placements(job, tell) if (settings.folder / READINGS).exists() else ()
        tell("cutting along the tables")
        found = prove_tables(job, files, placed)
    _mark(arguments, settings, files_of(found, job, files))
    _answer(arguments, prove_document(found, job), prove_text(found, job))
    return YES if found.proof.proved else NO


def _mark(arguments: Namespace, settings: Settings, files: Mapping[str, bytes]) -> None:
    """Write a proof beside its tables and onto the text ones; a folder or a table that is not ours stays as it is."""
    from geom.errors import OutputError

    try:
        _save(arguments, settings, files)
    except OutputError as problem:
        _teller(arguments)(f"the proof is not written beside its tables: {problem}")


def _new_tables(arguments: Namespace, job: "Job", out: Path) -> dict[str, bytes]:
    """Write a job's tables where there were none, and return them as they lie on disk."""
    from export.reports.coordinates import coordinate_files
    from export.reports.proof_record import unproved
    from export.reports.prove import tables_in
    from geom.job import finish

    tell = _teller(arguments)
    tell(f"there are no tables in {out}: writing them first")
    _save(arguments, job.settings, unproved(coordinate_files(finish(job, tell))))
    return tables_in(out)


def sheets(arguments: Namespace) -> int:
    """Write the set-up sheets with the tables they rest on, proved; "no" when those are not proved or may not be cut."""
    settings, tell = _settings(arguments), _teller(arguments)
    _begin(settings)
    from export.bundle import sheet_set
    from export.reports.prove import is_proved
    from geom.job import finish, open_job
    from geom.kernel.failure import plain_kernel_failures

    with plain_kernel_failures(settings.label):
        record = finish(open_job(settings, tell), tell, arguments.casting)
        tell("proving the tables and setting the sheets")
        files = sheet_set(record, arguments.paper)
    told = {"casting": arguments.casting, "paper": arguments.paper}
    out = _save(arguments, settings, files, **{key: value for key, value in told.items() if value is not None})
    _say_files(arguments, out, files)
    return YES if record.can_be_cut and is_proved(files) else NO


def drawing(arguments: Namespace) -> int:
    """Write the drawing as DXF, PDF and SVG."""
    settings, tell = _settings(arguments), _teller(arguments)
    from export.drawing.sheet import drawing_files
    from geom.datum.zero import resolve_zero
    from geom.job import measure_stock, open_job
    from geom.kernel.failure import plain_kernel_failures

    with plain_kernel_failures(settings.label):
        job = open_job(settings, tell)
        zero = resolve_zero(job.part, settings.datum)
        stock = measure_stock(job, tell)
        tell("drawing")
        files = drawing_files(job, stock, zero)
    _say_files(arguments, _save(arguments, settings, files), files)
    return YES


def prototype(arguments: Namespace) -> int:
    """Write the test-fit prints of the finished part and of the casting."""
    settings, tell = _settings(arguments), _teller(arguments)
    chord = _chord(arguments, settings)
    from export.prints.prototype import prints, prototype_files
    from export.prints.prototype_print import print_files
    from geom.job import open_job
    from geom.kernel.failure import plain_kernel_failures

    with plain_kernel_failures(settings.label):
        part = open_job(settings, tell).part
        tell("meshing")
        pair = prints(part, chord)
        files = prototype_files(part, chord, settings.units, pair)
        files |= print_files(part, pair[0], settings.printer, settings.label, settings.units)
    asked = {} if chord == settings.printer.chord else {"chord": str(chord)}
    _say_files(arguments, _save(arguments, settings, files, **asked), files)
    return YES


def pattern(arguments: Namespace) -> int:
    """Write the pattern and its core boxes; "no" when the casting does not draw, or a wall is thinner than the nozzle."""
    settings, tell = _settings(arguments), _teller(arguments)
    from export.bundle import pattern_files
    from export.prints.pattern import pattern_document, pattern_of, pattern_text, thin_words, too_thin, walls_of
    from geom.job import open_job
    from geom.kernel.failure import plain_kernel_failures

    with plain_kernel_failures(settings.label):
        job = open_job(settings, tell)
        tell("drawing the pattern from its sand")
        found = pattern_of(job)
        walls = walls_of(found)
        files = pattern_files(job, found, walls)
    _save(arguments, settings, files)
    _answer(arguments, pattern_document(found, job, walls), pattern_text(found, job, walls))
    thin = too_thin(found, walls, settings.printer.nozzle)
    for words in thin_words(found, job, walls):
        tell(words)
    return YES if found.draws and not thin else NO


def fixture(arguments: Namespace) -> int:
    """Write the prints that hold, guide and test; "no" when one that was asked for is refused, or all are."""
    settings, tell = _settings(arguments), _teller(arguments)
    asked = _fixture_asked(arguments, settings)
    _begin(settings)
    from export.bundle import fixture_files
    from export.prints.fixture import closed, fixture_document, fixture_text
    from export.reports.setups import setups_document, setups_text
    from geom.datum.zero import resolve_zero
    from geom.fixture.fixture import Refused
    from geom.fixture.loaded import SideUp
    from geom.fixture.maker import fixtures
    from geom.fixture.side import side_up
    from geom.job import measure_stock, open_job, placements, planned
    from geom.kernel.failure import plain_kernel_failures
    from geom.rows.plan import NoPlan, Plan

    with plain_kernel_failures(settings.label):
        job = open_job(settings, tell)
        zero = resolve_zero(job.part, job.settings.datum)
        measured = arguments.casting is not None or (settings.folder / READINGS).exists()
        placed = placements(job, tell, arguments.casting) if measured else ()
        held: Plan | NoPlan | SideUp
        if arguments.up:
            held = side_up(job.part, zero, job.settings, arguments.up)
        else:
            stock = measure_stock(job, tell, planning=True)
            held = planned(job, zero, stock, tell, placed)
            if isinstance(held, NoPlan):
                _answer(arguments, setups_document(held, job, stock), setups_text(held, job, stock))
                return NO
        first = placed[0] if placed and placed[0].measured else None
        found, meshes = closed(fixtures(job, held, asked, tell, first))
        files = fixture_files(job, found, meshes, asked)
    _save(arguments, settings, files, **_fixture_options(arguments))
    _answer(arguments, fixture_document(found, job, asked), fixture_text(found, job, asked))
    refused = [isinstance(one, Refused) for one in found]
    return NO if (any(refused) if arguments.only else all(refused)) else YES


def make(arguments: Namespace) -> int:
    """Write everything into one folder; "no" when the casting is short, as drawn or as received, or the rows are not proved."""
    settings, tell = _settings(arguments), _teller(arguments)
    from export.bundle import make_bundle, not_made, owner_of
    from export.reports.prove import is_proved
    from export.write import check_folder, write_folder
    from geom.job import finish, open_job
    from geom.kernel.failure import plain_kernel_failures
    from geom.stock.verdict import verdict

    out = _out(arguments, settings)
    check_folder(out, owner_of(settings))
    _begin(settings)
    with plain_kernel_failures(settings.label):
        record = finish(open_job(settings, tell), tell)
        tell("proving, drawing and cutting the prints")
        files = make_bundle(record)
    for line in not_made(files):
        tell(line)
    tell(f"writing {len(files)} files")
    write_folder(out, files)
    _say_files(arguments, out, files)
    arrived = not record.placed or record.placed[0].placement.cleans_up
    good = verdict(record.stock, record.job.needs).is_enough and arrived and record.can_be_cut and is_proved(files)
    return YES if good else NO


COMMANDS: Final[Mapping[str, Callable[[Namespace], int]]] = {
    "stock": stock,
    "holes": holes,
    "place": place,
    "setups": setups,
    "coordinates": coordinates,
    "prove": prove,
    "sheets": sheets,
    "drawing": drawing,
    "prototype": prototype,
    "fixture": fixture,
    "pattern": pattern,
    "make": make,
}


# --- arguments --------------------------------------------------------------


def _settings(arguments: Namespace) -> Settings:
    """Return the job's settings; from here on what is wrong with it is said in its unit."""
    settings = load_settings(Path(arguments.job), Overrides(_parameters(arguments.set), arguments.variant, arguments.units))
    arguments.units = settings.units
    return settings


def _begin(settings: Settings) -> None:
    """Let what takes long be read aside: a scan while the kernel loads, the solids while the rest of the program does."""
    folder = settings.folder / READINGS
    if (folder / "scan.toml").is_file():
        from geom.scan.ahead import begin as begin_scan

        begin_scan(folder)
    from geom.job import begin

    begin(settings)


def _parameters(pairs: list[str]) -> dict[str, str]:
    """Return --set NAME=VALUE arguments by name; the last one of a name wins."""
    found = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals or not name.strip() or not value.strip():
            raise JobError(f"--set {pair}: is not NAME=VALUE; write for example --set bore=40")
        found[name.strip()] = value.strip()
    return found


def _teller(arguments: Namespace) -> Callable[[str], None]:
    return say_nothing if arguments.quiet else say


def _chord(arguments: Namespace, settings: Settings) -> float:
    from export.prints.mesh import checked_chord
    from geom.units import length

    if arguments.chord is None:
        return settings.printer.chord
    return checked_chord(length(arguments.chord, "mm", "--chord"), "--chord")


_FIXTURE_OPTIONS: Final = ("only", "setup", "up", "clearance", "depth", "over", "bushes", "casting")


def _fixture_options(arguments: Namespace) -> dict[str, str]:
    """Return what a fixture was told beyond the job."""
    return {name: str(getattr(arguments, name)) for name in _FIXTURE_OPTIONS if getattr(arguments, name) not in (None, [], False)}


def _fixture_asked(arguments: Namespace, settings: Settings) -> "Asked":
    """Return the fixtures that are wanted and how they are printed."""
    from geom.fixture.maker import EVERY, Asked
    from geom.fixture.making import USUAL, making_on
    from geom.units import length

    def given(name: str, usual: float | None) -> float | None:
        text = getattr(arguments, name)
        return usual if text is None else length(text, settings.units, f"--{name}")

    clearance = given("clearance", USUAL.clearance)
    assert clearance is not None
    making = making_on(settings.printer, clearance, given("depth", None), arguments.bushes)
    kinds = tuple(one for one in EVERY if not arguments.only or one in arguments.only)
    return Asked(kinds, arguments.setup, arguments.over, making)


# --- answers ----------------------------------------------------------------


def _out(arguments: Namespace, settings: Settings) -> Path:
    from export.write import safe_name

    return Path(arguments.out) if arguments.out else Path("out") / safe_name(settings.job_name, "job")


def _save(arguments: Namespace, settings: Settings, files: Mapping[str, bytes], **asked: str) -> Path:
    """Write one command's files, with their manifest, beside the folder's others; say which of those are out of date."""
    from export.bundle import with_manifest
    from export.write import update_folder

    out = _out(arguments, settings)
    stale = update_folder(out, with_manifest(settings, files, **asked))
    if stale and not arguments.quiet:
        say(f"{out} also holds {', '.join(stale)}, made from other inputs than these; run make to renew all")
    return out


def _answer(arguments: Namespace, document: Mapping[str, Any], text: str) -> None:
    from export.bundle import json_bytes

    sys.stdout.write(json_bytes(document).decode() if arguments.json else text)


def _say_files(arguments: Namespace, out: Path, files: Mapping[str, bytes]) -> None:
    if arguments.json:
        document = {"folder": out.as_posix(), "files": [{"name": name, "size": len(files[name])} for name in sorted(files)]}
        _answer(arguments, document, "")
        return
    for name in sorted(files):
        print(out / name)
