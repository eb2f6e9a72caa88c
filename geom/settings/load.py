"""job.toml to checked settings: variants laid over, command-line values last.

Decides what each table means; how a value is checked is `job_reader`, which
keys there are is `job_schema`. Opens no STEP file and runs no model.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from geom.errors import JobError, nearest
from geom.settings.place import Demand, PlacementSettings
from geom.settings.records import (
    SHOP_FILE,
    Assumed,
    CastingSettings,
    DatumSettings,
    DrawingSettings,
    FaceSettings,
    Feeder,
    FoundrySettings,
    HoleSettings,
    Parameter,
    PartSettings,
    Readout,
    Settings,
    ShopSettings,
    Units,
)
from geom.shop.file import read_shop, shop_units
from geom.shop.records import Shop
from geom.standards.alloy import alloy as find_alloy
from geom.standards.callout import parse_callout
from geom.standards.tolerance_grades import default_grades
from geom.toml.lines import KeyPath
from geom.toml.pins import Pin, Pins
from geom.toml.print_settings import HOLLOW_LINES, PatternSettings, Printer, Step
from geom.toml.reader import (
    Raw,
    Source,
    as_table,
    check_names,
    default_of,
    number_or_text,
    one_line,
    read_source,
    read_table,
)
from geom.toml.schema import (
    DEMANDS,
    FEEDER,
    FEEDERS,
    FREE_TABLE,
    NAMED_TABLES,
    PIN,
    PINS,
    SETUPS,
    SHOP,
    STEP,
    STEPS,
    TABLES,
    TOP,
    VARIANTS,
    Table,
)
from geom.units import UNITS

_NEAR_SIDE = ("right", "away", "up")
_Named = TypeVar("_Named", FaceSettings, HoleSettings)


@dataclass(frozen=True, slots=True)
class Overrides:
    """What the command line says on top of job.toml.

    Attributes:
        parameters: of the model, as typed: {"bore": "40"}.
        variant: name of a `[variants.NAME]` table.
        units: "mm" or "inch" for what is shown.
    """

    parameters: Mapping[str, str] = field(default_factory=dict)
    variant: str | None = None
    units: Units | None = None


def load_settings(job: Path, overrides: Overrides | None = None) -> Settings:
    """Return all of a job's settings, checked, without opening its solids.

    Args:
        job: the job folder, or the job.toml in it.

    Raises:
        JobError: see `job_reader`; every variant is checked, chosen or not.
        StandardError: an alloy or a callout that is not in the tables.
    """
    asked = overrides or Overrides()
    path = _job_file(job)
    source = read_source(path, str(path))
    variants = as_table(source.raw.get(VARIANTS, {}), source, (VARIANTS,))
    if asked.variant is not None and asked.variant not in variants:
        raise JobError(_no_such_variant(asked.variant, variants, source))
    for name in variants:
        if name != asked.variant:
            _settings(_with_variant(source, name), path, Overrides(variant=name))
    return _settings(_with_variant(source, asked.variant), path, asked)


def _job_file(job: Path) -> Path:
    if job.is_dir():
        path = job / "job.toml"
        if not path.is_file():
            raise JobError(f"{job}: holds no job.toml; give the folder of a job, or write a job.toml into it")
        return path
    if not job.exists():
        raise JobError(f"{job}: there is no such folder or file; give a job folder, or the job.toml in it")
    if job.suffix.lower() != ".toml":
        raise JobError(f"{job}: is not a job; give a job folder, or the job.toml in it")
    return job


def _no_such_variant(name: str, variants: Raw, source: Source) -> str:
    if not variants:
        return f"--variant {name}: {source.label} has no variants; add [variants.{name}] or leave --variant out"
    return f"--variant {name}: {source.label} has no such variant{nearest(name, list(variants))}; it has {', '.join(variants)}"


def _with_variant(source: Source, name: str | None) -> Source:
    """Return the job with one variant laid over it, each key keeping the line it came from."""
    raw = {key: value for key, value in source.raw.items() if key != VARIANTS}
    if name is None:
        return replace(source, raw=raw)
    at = (VARIANTS, name)
    over = as_table(source.raw[VARIANTS][name], source, at)
    check_names(over, tuple(key for key in TOP if key != VARIANTS), source, at)
    own = {path[2:]: line for path, line in source.lines.items() if path[:2] == at and len(path) > 2}
    return replace(source, raw=_laid_over(raw, over), lines={**source.lines, **own})


def _laid_over(base: Mapping[str, Any], over: Mapping[str, Any]) -> Raw:
    merged = dict(base)
    for key, value in over.items():
        below = base.get(key)
        merged[key] = _laid_over(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return merged


# --- tables to records ------------------------------------------------------


def _settings(source: Source, path: Path, asked: Overrides) -> Settings:
    raw = source.raw
    check_names(raw, TOP, source)
    if "part" not in raw:
        raise JobError(f"{source.label}: the table [part] is missing; add it with name, finished, casting, units and alloy")
    part = _part(source)
    shop_source, shop_path, shop_file = _shop(source)
    shop_raw = shop_source.raw if shop_file else as_table(raw.get("shop", {}), source, shop_path)
    shop, tooling = _shop_tables(shop_raw, shop_source, shop_path, part.units)
    foundry = _foundry(source, part.units)
    casting, grades = _casting(source, part, foundry.process or None)
    shown: Units = asked.units or part.units
    return Settings(
        folder=source.folder,
        files=(path, *(p for p in (part.finished, part.casting, part.model, shop_file) if p)),
        label=source.label,
        job_name=_job_name(source.folder, asked.variant),
        variant=asked.variant,
        units=shown,
        part=part,
        parameters=_parameters(source, part, asked.parameters),
        parameters_from=_parameters_from(source, asked.parameters),
        datum=_datum(source, part.units),
        readout=_readout(source, part.units, asked.units, tooling.mill.step),
        faces=_faces(source, part.units),
        holes=_holes(source, part.units),
        shop=shop,
        tooling=tooling,
        casting=casting,
        foundry=foundry,
        drawing=_drawing(source, part.units),
        placement=_placement(source, part.units),
        printer=_printer(source, part.units),
        pattern=_pattern(source, part.units),
        setups=_setups(source, part.units),
        assumed=(*_assumed(_stated(raw, shop_raw, tooling), part.units), *grades),
    )


def _job_name(folder: Path, variant: str | None) -> str:
    name = folder.resolve().name or "job"
    return f"{name}-{variant}" if variant else name


def _table(source: Source, name: str) -> Raw:
    return as_table(source.raw.get(name, {}), source, (name,))


def _read(source: Source, name: str, units: str) -> dict[str, Any]:
    return read_table(_table(source, name), TABLES[name], source, (name,), units)


def _part(source: Source) -> PartSettings:
    values = _read(source, "part", "mm")
    find_alloy(values["alloy"], source.where(("part", "alloy")))
    given = [key for key in ("finished", "casting", "model") if values[key] is not None]
    if given not in (["finished", "casting"], ["model"]):
        says = " and ".join(given) or "none of them"
        raise JobError(f"{source.where(('part',))}: give finished and casting (STEP files), or model alone; the job gives {says}")
    if values["finished"] is not None and values["finished"].samefile(values["casting"]):
        raise JobError(f"{source.where(('part', 'casting'))}: finished and casting are the same file; name the rough casting's own")
    return PartSettings(**values)


def _parameters(source: Source, part: PartSettings, typed: Mapping[str, str]) -> dict[str, Parameter]:
    raw = _table(source, FREE_TABLE)
    if part.model is None and raw:
        raise JobError(f"{source.where((FREE_TABLE,))}: a job of STEP files has no parameters; remove the table")
    if part.model is None and typed:
        raise JobError(f"--set {next(iter(typed))}: {source.label} is a job of STEP files and has no parameters; leave --set out")
    given = {name: number_or_text(value, source.where((FREE_TABLE, name))) for name, value in raw.items()}
    return given | {name: _typed(value, f"--set {name}") for name, value in typed.items()}


def _parameters_from(source: Source, typed: Mapping[str, str]) -> str:
    if not typed:
        return source.where((FREE_TABLE,))
    return f"--set or {source.label}" if FREE_TABLE in source.raw else "--set"


def _typed(text: str, where: str) -> Parameter:
    """Return a command-line value: a number when it reads as one."""
    try:
        number = float(text)
    except ValueError:
        return one_line(text, where)
    return number_or_text(number, where)


def _datum(source: Source, units: str) -> DatumSettings:
    values = _read(source, "datum", units)
    given = {key: value for key, value in values.items() if value is not None}
    return DatumSettings(**given, where={key: source.where(("datum", key)) for key in given})


def _readout(source: Source, units: Units, shown: Units | None, shop_step: float | None) -> Readout:
    """Return the readout; bare steps are in its own units; the command line's units win, and bring their own step.

    Args:
        shop_step: the step the shop states for its mill, mm; it stands where the job says none.
    """
    raw = _table(source, "readout")
    own: Units = raw["units"] if raw.get("units") in UNITS else units
    values = _read(source, "readout", own)
    display: Units = shown or own
    if display != own:
        values["step"] = default_of(TABLES["readout"]["step"], display)
    if shop_step is not None and "step" not in raw:
        values["step"] = shop_step
    x, y, z = (1 if values[axis] == side else -1 for axis, side in zip("xyz", _NEAR_SIDE, strict=True))
    return Readout(display, values["step"], (x, y, z))


def _named(source: Source, name: str, units: str, make: Callable[[dict[str, Any], KeyPath], _Named]) -> dict[str, _Named]:
    """Return one record per sub-table of [faces] or [holes], in the order of the job."""
    found = {}
    for feature, value in _table(source, name).items():
        path: KeyPath = (name, feature)
        table = read_table(as_table(value, source, path), NAMED_TABLES[name], source, path, units)
        found[feature] = make(table, path)
    return found


def _faces(source: Source, units: str) -> dict[str, FaceSettings]:
    return _named(source, "faces", units, lambda values, path: FaceSettings(**values, where=source.where(path)))


def _holes(source: Source, units: str) -> dict[str, HoleSettings]:
    def make(values: dict[str, Any], path: KeyPath) -> HoleSettings:
        text = values.pop("callout")
        callout = None if text is None else parse_callout(text, units, source.where((*path, "callout")))
        return HoleSettings(**values, callout=callout, where=source.where(path))

    return _named(source, "holes", units, make)


def _shop(source: Source) -> tuple[Source, KeyPath, Path | None]:
    """Return where the shop's keys stand: the job's own table, the file it names (which may lie outside), or its shop.toml."""
    beside = (source.folder / SHOP_FILE).is_file()
    value = source.raw.get("shop", SHOP_FILE if beside else None)
    where = source.where(("shop",))
    if not isinstance(value, str):
        if beside:
            raise JobError(f"{where}: the job describes a shop, and so does {SHOP_FILE} in its folder; keep one of the two")
        return source, ("shop",), None
    name = one_line(value, where)
    path = source.folder / name
    if path.suffix.lower() != ".toml" or not path.is_file():
        raise JobError(f'{where}: there is no shop file "{name}"; give a .toml file, relative to the job folder')
    return read_source(path, name), (), path


def _shop_tables(raw: Raw, source: Source, path: KeyPath, job_units: str) -> tuple[ShopSettings, Shop]:
    """Return the shop's habits and what it owns."""
    units = shop_units(raw, source, path, job_units)
    tooling = read_shop(raw, source, path, units)
    habits = read_table({key: raw[key] for key in SHOP if key in raw}, SHOP, source, path, units)
    return ShopSettings(**habits), tooling


def _stated(raw: Raw, shop_raw: Raw, tooling: Shop) -> Raw:
    """Return the job with what its shop file says in place."""
    stated = {**raw, "shop": shop_raw}
    if tooling.mill.step is not None:
        stated["readout"] = {"step": tooling.mill.step, **raw.get("readout", {})}
    return stated


def _casting(source: Source, part: PartSettings, process: str | None) -> tuple[CastingSettings, list[Assumed]]:
    """Return the casting's settings; grades the job leaves open are the usual ones, and said to be assumed."""
    raw = _table(source, "casting")
    plain = {key: value for key, value in raw.items() if key != FEEDERS}
    values = read_table(plain, TABLES["casting"], source, ("casting",), part.units)
    values["feeders"] = _feeders(raw.get(FEEDERS, []), source, part.units)
    stated = values["allowance_grade"] is not None
    if stated and values["grade"] is not None:
        return CastingSettings(**values, allowance_stated=True), []
    usual = default_grades(
        find_alloy(part.alloy, source.where(("part", "alloy"))).group, process, source.where(("foundry", "process"))
    )
    assumed = []
    for key, label, grade in (("grade", "DCTG", usual.tolerance), ("allowance_grade", "RMAG", usual.allowance)):
        if values[key] is None:
            values[key] = grade
            assumed.append(Assumed(f"casting.{key}", f"{label} {grade}", usual.source))
    return CastingSettings(**values, allowance_stated=stated), assumed


def _feeders(value: object, source: Source, units: str) -> tuple[Feeder, ...]:
    found = _entries(("casting", FEEDERS), value, FEEDER, source, units)
    return tuple(Feeder(given["face"], given["at"], given["size"], source.where(here)) for here, given, _ in found)


def _foundry(source: Source, units: str) -> FoundrySettings:
    values = _read(source, "foundry", units)
    percent = values["contraction"]
    return FoundrySettings(
        values["name"] or "", values["process"] or "", None if percent is None else percent / 100, tuple(values["notes"])
    )


def _drawing(source: Source, units: str) -> DrawingSettings:
    values = _read(source, "drawing", units)
    return DrawingSettings(**{key: value for key, value in values.items() if value is not None})


def _placement(source: Source, units: str) -> PlacementSettings:
    raw = _table(source, "placement")
    plain = {key: value for key, value in raw.items() if key not in DEMANDS}
    values = read_table(plain, TABLES["placement"], source, ("placement",), units)
    demands = tuple(d for kind in DEMANDS if kind in raw for d in _demands(kind, raw[kind], source, units))
    try:
        return PlacementSettings(**values, demands=demands)
    except JobError as error:
        raise JobError(f"{source.where(('placement',))}: {error}") from None


def _demands(kind: Any, value: object, source: Source, units: str) -> list[Demand]:
    """Return the entries of one [[placement.KIND]] list."""
    limit, table = DEMANDS[kind]
    return [
        Demand(kind, given["machined"], given["cast"], given[limit], source.where(here))
        for here, given, _ in _entries(("placement", kind), value, table, source, units)
    ]


def _printer(source: Source, units: str) -> Printer:
    values = _read(source, "printer", units)
    for key in ("nozzle", "wall"):
        if values["wall"] < values["nozzle"] and key in _table(source, "printer"):
            raise JobError(
                f"{source.where(('printer', key))}: a wall of {values['wall']:g} mm cannot be laid with a nozzle of "
                f"{values['nozzle']:g} mm; make the wall at least as wide as the nozzle"
            )
    hollow, least = values["hollow"], HOLLOW_LINES * values["nozzle"]
    if hollow is not None and hollow < least:
        raise JobError(
            f"{source.where(('printer', 'hollow'))}: a wall of {hollow:g} mm is too thin to stand by itself from a nozzle of "
            f"{values['nozzle']:g} mm; give {least:g} mm or more ({HOLLOW_LINES} lines), or leave the key out for a solid print"
        )
    return Printer(**values, stated=frozenset(_table(source, "printer")))


def _pattern(source: Source, units: str) -> PatternSettings:
    raw = _table(source, "pattern")
    check_names(raw, (*TABLES["pattern"], STEPS), source, ("pattern",))
    values = read_table({k: v for k, v in raw.items() if k != STEPS}, TABLES["pattern"], source, ("pattern",), units)
    steps = _entries(("pattern", STEPS), raw.get(STEPS, []), STEP, source, units)
    values["steps"] = tuple(Step(tuple(given["over"]), given["parting"], source.where(here)) for here, given, _ in steps)
    where = {key: source.where(("pattern", key)) for key in _table(source, "pattern")}
    if values["master"]:
        find_alloy(values["master"], where["master"])
    percent = values.pop("contraction")
    return PatternSettings(**values, contraction=None if percent is None else percent / 100, where=where)


def _setups(source: Source, units: str) -> Pins:
    raw = _table(source, SETUPS)
    check_names(raw, (PINS,), source, (SETUPS,))
    found = []
    for here, given, said in _entries((SETUPS, PINS), raw.get(PINS, []), PIN, source, units):
        found.append(Pin(**given, where={key: source.where((*here, key)) for key in said}))
    return Pins(tuple(found))


def _entries(
    path: KeyPath, value: object, table: Table, source: Source, units: str
) -> Iterator[tuple[KeyPath, dict[str, Any], tuple[str, ...]]]:
    """Yield path, values and stated keys of every entry of a list of tables."""
    if not isinstance(value, list):
        raise JobError(f"{source.where(path)}: is not a list of tables; write [[{'.'.join(path)}]] over each one")
    for number, entry in enumerate(value, 1):
        here = (*path, str(number))
        raw = as_table(entry, source, here)
        yield here, read_table(raw, table, source, here, units), tuple(raw)


def _assumed(raw: Raw, units: str) -> list[Assumed]:
    """Return the defaults that change what is made and that the job leaves to stand."""
    found = []
    for name, table in TABLES.items():
        for key, entry in table.items():
            if entry.source and key not in raw.get(name, {}):
                value = entry.inch if units == "inch" and entry.inch is not None else entry.default
                found.append(Assumed(f"{name}.{key}", f"{value:g}" if isinstance(value, float) else str(value), entry.source))
    return found
