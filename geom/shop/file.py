"""shop.toml, or the `[shop]` table of a job, to a checked `Shop`.

A mill, a vise, cutters and finders are each stated as a whole or taken as a
whole from the bundled plausible shop, and then listed as assumed: a shop that
lists one kind of cutter has listed all it owns. Values are checked by
`job_reader` against `shop_schema`; here are the checks between two values.
"""

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, Final

from geom.errors import JobError
from geom.shop.drills import drills_of_set, jobber_flutes, single_drill, size_name
from geom.shop.records import Cutter, CutterMaterial, Finder, Mill, Shop, Vise
from geom.shop.schema import CUTTER_TABLES, LISTS, SHOP_KEYS, SINGLE_TABLES
from geom.standards.drill import Drill
from geom.standards.thread import find_thread
from geom.toml.lines import KeyPath
from geom.toml.reader import Raw, Source, as_table, check_names, read_source, read_table
from geom.toml.schema import SHOP
from geom.units import UNITS, unit_size

_DEFAULT: Final = Path(__file__).parent / "default_shop.toml"
KEYS: Final = (*SHOP, *SHOP_KEYS, *SINGLE_TABLES, *LISTS)
"""Everything that may stand at the top of a shop."""

_MOST_SPEED: Final = 40
_STICK_OUT: Final = 2.5
"""Diameters that a short cutter reaches from its holder when the shop does not say (common practice)."""

_REAMER_REACH: Final = 4.0
"""The same of a machine reamer: its flutes alone are 3.3 to 4.3 diameters long (DIN 212, from memory), its neck comes on top."""


def shop_units(raw: Raw, source: Source, path: KeyPath, job_units: str) -> str:
    """Return what bare numbers of a shop mean: as it states, else as the job's; a file for many jobs has to state it.

    Raises:
        JobError: a shop file without units.
    """
    stated = raw.get("units")
    if stated is None and not path:
        raise JobError(
            f'{source.label}: units is missing; add units = "mm" or units = "inch" at its top, since jobs of both may use it'
        )
    return stated if stated in UNITS else job_units


def read_shop(raw: Raw, source: Source, path: KeyPath, units: str) -> Shop:
    """Return a shop from its table.

    Args:
        raw: the table; {} for the bundled shop.
        path: where the table stands in the file: () when the file is the shop.
        units: "mm" or "inch", of bare numbers.

    Raises:
        JobError: see `job_reader`, and where two values contradict.
        StandardError: a tap that is in no table.
    """
    check_names(raw, KEYS, source, path)
    top = read_table({key: raw[key] for key in SHOP_KEYS if key in raw}, SHOP_KEYS, source, path, units)
    stated = {
        "mill": "mill" in raw,
        "vise": "vise" in raw,
        "cutters": any(name in raw for name in CUTTER_TABLES),
        "finders": "finders" in raw,
    }
    usual = None if all(stated.values()) else default_shop(units)
    return Shop(
        name=top["name"] or ("the shop" if any(stated.values()) else default_shop(units).name),
        units=units,
        mill=usual.mill if usual and not stated["mill"] else _mill(raw, source, path, units),
        vise=usual.vise if usual and not stated["vise"] else _vise(raw, source, path, units),
        cutters=usual.cutters if usual and not stated["cutters"] else tuple(_cutters(raw, source, path, units)),
        finders=usual.finders if usual and not stated["finders"] else tuple(_finders(raw, source, path, units)),
        assumed=tuple(name for name, said in stated.items() if not said),
    )


@cache
def default_shop(units: str) -> Shop:
    """Return the bundled plausible shop, metric or inch, everything marked as assumed. Common practice, no source."""
    source = read_source(_DEFAULT, _DEFAULT.name)
    at: KeyPath = (units,)
    raw = as_table(source.raw[units], source, at)
    return Shop(
        name=raw["name"],
        units=units,
        mill=_mill(raw, source, at, units),
        vise=_vise(raw, source, at, units),
        cutters=tuple(_cutters(raw, source, at, units)),
        finders=tuple(_finders(raw, source, at, units)),
        assumed=("mill", "vise", "cutters", "finders"),
    )


def _single(name: str, raw: Raw, source: Source, path: KeyPath, units: str) -> dict[str, Any]:
    at = (*path, name)
    return read_table(as_table(raw.get(name, {}), source, at), SINGLE_TABLES[name], source, at, units)


def _entries(name: str, raw: Raw, source: Source, path: KeyPath, units: str) -> Iterator[tuple[dict[str, Any], KeyPath]]:
    """Yield every table of a list, checked, with where it stands."""
    listed = raw.get(name, [])
    if not isinstance(listed, list):
        raise JobError(f"{source.where((*path, name))}: is one table; write [[{name}]], once for each")
    for number, value in enumerate(listed, start=1):
        at = (*path, name, str(number))
        yield read_table(as_table(value, source, at), LISTS[name], source, at, units), at


# --- mill and vise ----------------------------------------------------------


def _mill(raw: Raw, source: Source, path: KeyPath, units: str) -> Mill:
    found = _single("mill", raw, source, path, units)
    at = (*path, "mill")
    travel = _sized(found.pop("travel"), 3, "X, Y and Z", source.where((*at, "travel")))
    room = _rising(found.pop("spindle_to_table"), "least and greatest", source.where((*at, "spindle_to_table")))
    _speeds_given(found, source, at)
    span = found.pop("speed_range")
    axes = found.pop("readout")
    if wrong := [a for a in axes if a not in ("x", "y", "z")]:
        raise JobError(
            f"{source.where((*at, 'readout'))}: there is no axis '{wrong[0]}'; give those of x, y and z that have a scale"
        )
    return Mill(
        travel=(travel[0], travel[1], travel[2]),
        spindle_to_table=room,
        speeds=tuple(sorted(set(found.pop("speeds")))),
        speed_range=_rising(span, "slowest and fastest", source.where((*at, "speed_range"))) if span else None,
        readout=axes,
        step=found.pop("readout_step"),
        **found,
    )


def _speeds_given(found: dict[str, Any], source: Source, at: KeyPath) -> None:
    """Refuse a mill without a spindle speed, or with both ways of saying them."""
    given = [key for key in ("speeds", "speed_range") if found[key]]
    if not given:
        raise JobError(f"{source.where(at)}: no spindle speed; add speeds = [90, 180, ...] in rpm, or speed_range = [60, 3000]")
    if len(given) > 1:
        raise JobError(f"{source.where((*at, 'speed_range'))}: speeds and speed_range are both given; keep the one your mill has")
    if len(found["speeds"]) > _MOST_SPEED:
        raise JobError(
            f"{source.where((*at, 'speeds'))}: {len(found['speeds'])} speeds; at most {_MOST_SPEED}: write speed_range instead"
        )


def _vise(raw: Raw, source: Source, path: KeyPath, units: str) -> Vise:
    found = _single("vise", raw, source, path, units)
    plate = found.pop("angle_plate")
    if plate:
        _sized(plate, 2, "height and width", source.where((*path, "vise", "angle_plate")))
    rows: dict[str, Any] = {key: tuple(sorted(set(found.pop(key)))) for key in ("parallels", "soft_strips", "soft_rods")}
    forces = {key: 1000.0 * found.pop(key) for key in ("force", "strap_force")}
    return Vise(angle_plate=(plate[0], plate[1]) if plate else None, **forces, **rows, **found)


def _sized(values: tuple[float, ...], count: int, says: str, where: str) -> tuple[float, ...]:
    if len(values) != count:
        raise JobError(f"{where}: has {len(values)} values; give {count}: {says}")
    return values


def _rising(values: tuple[float, ...], says: str, where: str) -> tuple[float, float]:
    low, high = _sized(values, 2, says, where)
    if not low < high:
        raise JobError(f"{where}: the first value is not below the second; give {says}")
    return low, high


# --- cutters ----------------------------------------------------------------


def _cutters(raw: Raw, source: Source, path: KeyPath, units: str) -> Iterator[Cutter]:
    yield from _end_mills(raw, source, path, units)
    yield from _face_mills(raw, source, path, units)
    yield from _drills(raw, source, path, units)
    yield from _hole_cutters(raw, source, path, units)
    for name in _single("taps", raw, source, path, units)["sizes"]:
        thread = find_thread(name, source.where((*path, "taps", "sizes"))).thread
        yield Cutter("tap", thread.designation, thread.major, 4, 2.0 * thread.major, 4.0 * thread.major)


def _end_mills(raw: Raw, source: Source, path: KeyPath, units: str) -> Iterator[Cutter]:
    for found, at in _entries("end_mills", raw, source, path, units):
        reach = found["reach"] or found["flute_length"]
        if reach < found["flute_length"]:
            one = unit_size(units)
            raise JobError(
                f"{source.where((*at, 'reach'))}: a reach of {reach / one:g} {units} is shorter than the flutes, "
                f"{found['flute_length'] / one:g} {units}; reach counts from the holder to the end: correct one of the two"
            )
        yield Cutter(
            "end mill",
            size_name(found["diameter"], units),
            found["diameter"],
            found["flutes"],
            found["flute_length"],
            reach,
            found["material"],
            found["centre_cutting"],
        )


def _face_mills(raw: Raw, source: Source, path: KeyPath, units: str) -> Iterator[Cutter]:
    for found, _ in _entries("face_mills", raw, source, path, units):
        size = found["diameter"]
        reach = found["reach"] or size
        yield Cutter("face mill", size_name(size, units), size, found["flutes"], found["depth"], reach, found["material"])


def _drills(raw: Raw, source: Source, path: KeyPath, units: str) -> Iterator[Cutter]:
    """Yield every drill once; a long one stands beside the short one of its size."""
    table = _single("drills", raw, source, path, units)
    at = (*path, "drills")
    listed = [d for words in table["sets"] for d in drills_of_set(words, source.where((*at, "sets")))]
    listed += [single_drill(name, units, source.where((*at, "singles"))) for name in table["singles"]]
    for drill in dict.fromkeys(listed):
        yield _drill(drill, jobber_flutes(drill.diameter), table["material"])
    for found, _ in _entries("long_drills", raw, source, path, units):
        yield _drill(Drill(size_name(found["diameter"], units), found["diameter"]), found["reach"], found["material"])


def _drill(drill: Drill, reach: float, material: CutterMaterial) -> Cutter:
    return Cutter("drill", drill.name, drill.diameter, 2, reach, reach, material, centre_cutting=True)


def _hole_cutters(raw: Raw, source: Source, path: KeyPath, units: str) -> Iterator[Cutter]:
    def entries(name: str, usual: float = _STICK_OUT) -> Iterator[tuple[dict[str, Any], float, str, float]]:
        for found, _ in _entries(name, raw, source, path, units):
            size = found["diameter"]
            yield found, size, size_name(size, units), found["reach"] or usual * size

    for found, size, label, reach in entries("spotting_drills"):
        yield Cutter("spotting drill", label, size, 2, 0.0, reach, centre_cutting=True, point_angle=found["angle"])
    for found, size, label, reach in entries("reamers", _REAMER_REACH):
        yield Cutter(
            "reamer", f"{label.removesuffix(' mm')} {found['grade']}", size, found["flutes"], reach, reach, grade=found["grade"]
        )
    for found, at in _entries("counterbores", raw, source, path, units):
        yield _counterbore(found, source.where((*at, "pilot")), units)
    for found, size, label, reach in entries("countersinks"):
        yield Cutter("countersink", label, size, found["flutes"], 0.0, reach, centre_cutting=True, point_angle=found["angle"])
    for found, at in _entries("boring_heads", raw, source, path, units):
        low, high = _rising((found["smallest"], found["largest"]), "smallest, then largest", source.where((*at, "largest")))
        label = f"{size_name(low, units)} to {size_name(high, units)}"
        yield Cutter("boring head", label, high, 1, found["reach"], found["reach"], found["material"], smallest=low)


def _counterbore(found: dict[str, Any], where: str, units: str) -> Cutter:
    size, pilot, one = found["diameter"], found["pilot"], unit_size(units)
    if pilot is not None and pilot >= size:
        raise JobError(
            f"{where}: a pilot of {pilot / one:g} {units} does not fit a counterbore of {size / one:g} {units}; correct one"
        )
    reach = found["reach"] or _STICK_OUT * size
    return Cutter("counterbore", size_name(size, units), size, found["flutes"], reach, reach, pilot=pilot)


def _finders(raw: Raw, source: Source, path: KeyPath, units: str) -> Iterator[Finder]:
    for found, at in _entries("finders", raw, source, path, units):
        size = found["diameter"]
        if found["kind"] == "edge finder" and size is None:
            raise JobError(f"{source.where(at)}: an edge finder needs the diameter of its tip; add diameter = ...")
        yield Finder(found["kind"], size_name(size, units) if size else "", size or 0.0, found["reach"])
