"""One job from its folder to the one immutable record that every exporter reads.

The order of the stages is here: settings, solids, named features, stock, zero,
set-ups. What each stage does is in its own module. Lengths mm, part frame.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from geom.aside import Aside, is_allowed
from geom.datum.zero import Zero, resolve_zero
from geom.model.part import Part
from geom.settings.features import dressed
from geom.settings.load import Overrides, load_settings
from geom.settings.pins import check_pins
from geom.settings.records import READINGS, Settings
from geom.stock.required import Need, needs_of

if TYPE_CHECKING:
    from geom.kernel.shape import Solid
    from geom.passes.setup_rows import RowMaker
    from geom.place.castings import Placed
    from geom.rows.plan import NoPlan, Plan
    from geom.rows.records import Setup, Words
    from geom.stock.report import StockReport

__all__ = ["Job", "Overrides", "Record", "Say", "finish", "input_files", "load_settings", "open_job", "placements", "planned"]

Say: TypeAlias = Callable[[str], None]
"""Told one line as each stage begins."""


def _silent(_line: str) -> None:
    """Say nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """What the job asks for and the part it is about, all names settled.

    Attributes:
        needs: least stock of each machined face, by name.
        parameters: of the model as built, by name; empty for STEP files.
        features: the model's declared features; empty for STEP files.
    """

    settings: Settings
    part: Part
    needs: Mapping[str, Need]
    parameters: Mapping[str, Any] = field(default_factory=dict)
    features: Sequence[Any] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """Everything known about one job; exporters read it and nothing else.

    Attributes:
        placed: the castings that were measured, best first; the rows are for the first. Empty without readings.
        plan: the set-ups in order with their reasons, or which feature none can make; then there are no `setups`.
        faults: what is wrong with their rows, by set-up; such tables must not be cut.
    """

    job: Job
    stock: "StockReport"
    zero: Zero
    setups: "tuple[Setup, ...]"
    placed: "tuple[Placed, ...]" = ()
    plan: "Plan | NoPlan | None" = None
    faults: "tuple[tuple[int, Words], ...]" = ()

    @property
    def can_be_cut(self) -> bool:
        """Whether there is a plan and nothing is wrong with its rows."""
        from geom.rows.plan import NoPlan

        return not isinstance(self.plan, NoPlan) and not self.faults

    @property
    def settings(self) -> Settings:
        """What the job asks for."""
        return self.job.settings

    @property
    def part(self) -> Part:
        """The finished part in its casting."""
        return self.job.part


def open_job(settings: Settings, say: Say = _silent) -> Job:
    """Return the job with its solids read and their features named.

    Raises:
        GeometryError: the files or the model do not give one sound solid each.
        JobError: `[faces]` or `[holes]` name what the part does not have.
    """
    from geom.recognise.part import recognise

    finished, casting, features, parameters = _solids(settings, say)
    say("finding faces and holes")
    found = recognise(settings.part.name, settings.part.alloy, finished, casting, features)
    part, named = dressed(found, settings)
    check_pins(part, named)
    return Job(named, part, needs_of(part, named), parameters, features)


def measure_stock(job: Job, say: Say = _silent, planning: bool = False) -> "StockReport":
    """Return the stock on every machined face.

    Args:
        planning: set-ups are planned next, so the finished part's facets, which that wants, are made aside meanwhile.
    """
    from geom.rays.rays import begin_skin, skin_of
    from geom.stock.report import stock_report

    say("measuring stock")
    if planning:
        begin_skin(job.part.finished)
    found = stock_report(job.part, {name: need.amount for name, need in job.needs.items()})
    if planning:
        skin_of(job.part.finished)
    return found


def placements(job: Job, say: Say = _silent, casting: str | None = None) -> "tuple[Placed, ...]":
    """Return every casting that was measured with the part placed in it, best first; the drawn one when none was.

    Args:
        casting: name of the one that is wanted; None for all.

    Raises:
        ReadingError: a reading is wrong.
    """
    from geom.place.castings import place_castings

    return place_castings(job.part, job.settings, job.needs, say, casting)


def planned(job: Job, zero: Zero, stock: "StockReport", say: Say = _silent, placed: "Sequence[Placed]" = ()) -> "Plan | NoPlan":
    """Return the job's set-ups in order, its pins kept, or which feature none can make.

    Args:
        placed: the castings that were measured, best first; the plan is for the first.

    Raises:
        JobError: a pin contradicts a rule of holding.
    """
    return _planned(job, zero, _row_maker(job, stock, placed), say)


def _row_maker(job: Job, stock: "StockReport", placed: "Sequence[Placed]") -> "RowMaker":
    from geom.passes.setup_rows import RowMaker

    return RowMaker(job.part, job.settings, stock, placed[0] if placed and placed[0].measured else None)


def _planned(job: Job, zero: Zero, rows: "RowMaker", say: Say) -> "Plan | NoPlan":
    from geom.passes.setup_rows import as_made
    from geom.rows.plan import Plan
    from geom.setups.planner import plan_setups

    say("planning set-ups")
    placement = rows.placed.placement if rows.placed else None
    pins = job.settings.setups or None
    plan = plan_setups(job.part, job.settings, zero, rows.stock, pins, placement, rows)
    return as_made(plan, rows) if isinstance(plan, Plan) else plan


def finish(job: Job, say: Say = _silent, casting: str | None = None) -> Record:
    """Return the finished record: stock, zero, placement when there are readings, and set-ups.

    Args:
        casting: name of the casting the rows are for; None for the best one.

    Raises:
        JobError: `[datum]` names what the part does not have.
        ReadingError: a reading is wrong.
    """
    from geom.passes.setup_rows import setups_of
    from geom.rows.plan import Plan

    zero = resolve_zero(job.part, job.settings.datum)
    stock = measure_stock(job, say, planning=True)
    placed = placements(job, say, casting) if casting is not None or (job.settings.folder / READINGS).exists() else ()
    rows = _row_maker(job, stock, placed)
    plan = _planned(job, zero, rows, say)
    say("working out coordinates")
    found = setups_of(plan, zero, rows) if isinstance(plan, Plan) else ()
    faults = tuple((one.number, words) for one, wrong in found for words in wrong)
    return Record(job, stock, zero, tuple(one for one, _ in found), placed, plan, faults)


def _solids(settings: Settings, say: Say) -> "tuple[Solid, Solid, Sequence[Any], Mapping[str, Any]]":
    asked = settings.part
    if asked.model is not None:
        from geom.model.model import load_model

        say(f"building the model of {settings.part.name}")
        built = load_model(asked.model, settings.parameters, asked.units, settings.parameters_from)
        return built.finished, built.casting, built.features, built.parameters
    assert asked.finished is not None
    assert asked.casting is not None
    say(f"reading {asked.finished.name} and {asked.casting.name}")
    finished, casting = _reading(asked.finished), _reading(asked.casting)
    return finished.result(), casting.result(), (), {}


_begun: "dict[Path, Aside[Solid]]" = {}


def begin(settings: Settings) -> None:
    """Let the solids of a job be read aside while the rest of the program loads; where nothing is done aside, do nothing."""
    asked = settings.part
    if is_allowed() and asked.finished is not None and asked.casting is not None:
        for path in (asked.casting, asked.finished):
            _begun[path] = _reading(path)


def _reading(path: Path) -> "Aside[Solid]":
    """Return a STEP file as it is being read: begun before, or now."""
    from geom.kernel.step import read_step

    return _begun.pop(path) if path in _begun else Aside(partial(read_step, path))


def input_files(settings: Settings) -> dict[str, bytes]:
    """Return every file the job is read from, by its name in the job folder, and what the command line changed."""
    files = {}
    for path in (*settings.files, *reading_paths(settings)):
        name = path.relative_to(settings.folder).as_posix()
        if ".." in name.split("/"):
            name = f"outside/{path.name}"
        files[name] = path.read_bytes()
    asked = {"units": settings.units, "variant": settings.variant or "", **settings.parameters}
    files["command line"] = repr(sorted((key, str(value)) for key, value in asked.items())).encode()
    return files


def reading_paths(settings: Settings) -> tuple[Path, ...]:
    """Return every file in the job's folder of readings, sorted; hidden ones left out."""
    top = settings.folder / READINGS
    found = (p for p in top.rglob("*") if p.is_file() and not any(q.startswith(".") for q in p.relative_to(top).parts))
    return tuple(sorted(found, key=lambda p: p.relative_to(top).as_posix()))
