"""Folders of readings as files: which files there are and what their columns mean.

    readings/touches.csv      face,x,y,z,probe,approach,sigma,note
    readings/heights.csv      face,height,at,sigma,note            # seat: base
    readings/thicknesses.csv  face a,face b,thickness,at,sigma,note
    readings/low_spots.csv    face,at,size,depth,sigma,note
    readings/cuts.csv         face,cut,at,size,depth,sigma,note
    readings/scan.toml        file, unit, sigma, [points] "face" = [x, y, z]

Every CSV file has '#' lines on top: `# units: mm` (or inch), `# sigma: 0.05 mm`;
touches also `# tip: 6 mm` (diameter of the ball or edge finder) and
`# frame: mill readout`. `at` is a rough place on the drawing, "x y z", and may
be empty; `size` is "a x b". Sub folders are one casting each. Only reads: where
the casting lies is `received`.
"""

import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path, PureWindowsPath
from typing import Any, Final, Literal

from geom.errors import JobError, ReadingError, nearest
from geom.model.lookup import face_names, no_such
from geom.model.part import Part
from geom.readings.records import SIGMA, CutAndSee, Height, HintPoint, Kind, LowSpot, Readings, ScanFile, Thickness, Touch
from geom.readings.table import Line, ReadingTable, read_table, read_text
from geom.space import Vec3, scale
from geom.units import positive_length, unit_size

COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "touches.csv": ("face", "x", "y", "z", "probe", "approach", "sigma", "note"),
    "heights.csv": ("face", "height", "at", "sigma", "note"),
    "thicknesses.csv": ("face a", "face b", "thickness", "at", "sigma", "note"),
    "low_spots.csv": ("face", "at", "size", "depth", "sigma", "note"),
    "cuts.csv": ("face", "cut", "at", "size", "depth", "sigma", "note"),
}
SCAN: Final = "scan.toml"
_SCAN_KEYS: Final = ("file", "unit", "sigma", "points")
_SCAN_UNITS: Final[dict[str, Literal["mm", "cm", "m", "inch"]]] = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "in": "inch",
    "inch": "inch",
}
_COARSEST: Final = 25.0
"""Largest standard uncertainty, mm, a reading may state."""


def load_readings(folder: Path, part: Part, units: str) -> tuple[Readings, ...]:
    """Return the readings of every casting in a job's `readings` folder, sorted by name.

    Args:
        folder: the `readings` folder itself.
        units: "mm" or "inch", for files that do not say.

    Raises:
        ReadingError: no such folder, nothing in it, a file that is none of these, or a bad line.
    """
    if not folder.is_dir():
        raise ReadingError(f"{folder.name}: there is no such folder; put touches.csv, heights.csv or thicknesses.csv into it")
    inside = sorted((p for p in folder.iterdir() if not p.name.startswith(".")), key=lambda p: p.name)
    folders = [p for p in inside if p.is_dir() and _is_castings(p)]
    own = [p for p in inside if p.name in COLUMNS or p.name == SCAN]
    if own and folders:
        raise ReadingError(
            f"{folder.name}: holds both {own[0].name} and the folder {folders[0].name}; "
            "one casting's files go straight in, several castings get a folder each"
        )
    if folders:
        return tuple(_casting(p, f"{folder.name}/{p.name}", p.name, part, units) for p in folders)
    return (_casting(folder, folder.name, "", part, units),)


def _is_castings(folder: Path) -> bool:
    return any(p.suffix.lower() in (".csv", ".toml") for p in folder.iterdir())


def _casting(folder: Path, label: str, name: str, part: Part, units: str) -> Readings:
    names = sorted(p.name for p in folder.iterdir() if p.is_file() and p.suffix.lower() in (".csv", ".toml"))
    for found in names:
        if found not in (*COLUMNS, SCAN):
            guess = nearest(found, [*COLUMNS, SCAN])
            raise ReadingError(f"{label}/{found}: is no file of readings{guess}; it may be {', '.join((*COLUMNS, SCAN))}")
    if not names:
        raise ReadingError(f"{label}: holds no readings; put touches.csv, heights.csv, thicknesses.csv or scan.toml into it")
    reader = _Reader(folder, label, part, units)
    touches, tip_frame = reader.touches()
    found_rows = (touches, reader.heights(), reader.thicknesses(), reader.low_spots(), reader.cuts())
    scan = reader.scan()
    warnings = (*reader.warnings, *(w for rows in found_rows for w in _repeated(rows)))
    return Readings(name, *found_rows, scan, warnings, tip_frame, tuple(folder / n for n in names))


class _Reader:
    """One casting's folder while it is read; gathers warnings."""

    def __init__(self, folder: Path, label: str, part: Part, units: str) -> None:
        self.folder, self.label, self.part, self.units = folder, label, part, units
        self.warnings: list[str] = []

    def touches(self) -> tuple[tuple[Touch, ...], str]:
        table = self._table("touches.csv", ("tip", "sigma", "frame"))
        if table is None:
            return (), ""
        tip = table.head_length("tip")
        found = tuple(self._touch(line, tip, self._sigma(line, table, "touch")) for line in table.lines)
        if tip is None and any(not line.text("probe") for line in table.lines):
            self.warnings.append(f"{table.label}: says no tip diameter; its points are taken as lying on the skin itself")
        return found, table.head_text("frame")

    def _touch(self, line: Line, tip: float | None, sigma: float) -> Touch:
        read = [line.number(axis) for axis in "xyz"]
        known = (read[0] is not None, read[1] is not None, read[2] is not None)
        if not any(known):
            raise ReadingError(f"{line.where}: x, y and z are all empty; write at least the one that was read")
        face = self._face(line, "face") if line.text("face") else None
        approach = line.direction("approach")
        if face is None and (approach is None or not all(known)):
            raise ReadingError(f"{line.where}: names no face; give the face, or x, y, z and the approach (such as -z)")
        probe = line.number("probe")
        if probe is not None and probe < 0:
            raise ReadingError(f"{line.where}: probe is {line.text('probe')!r}; a diameter cannot be below 0")
        x, y, z = (0.0 if value is None else value for value in read)
        diameter = probe if probe is not None else tip or 0.0
        return Touch(face, approach, (x, y, z), diameter / 2.0, sigma, line.where, known)

    def heights(self) -> tuple[Height, ...]:
        table = self._table("heights.csv", ("seat", "sigma"))
        if table is None:
            return ()
        seat, up = self._seat(table)
        return tuple(
            Height(self._face(n, "face"), up, n.need("height"), n.place("at"), self._sigma(n, table, "height"), n.where, seat)
            for n in table.lines
        )

    def _seat(self, table: ReadingTable) -> tuple[str, Vec3]:
        if "seat" not in table.head:
            raise ReadingError(f"{table.label}: does not say which face stands on the plate; add a line '# seat: base'")
        name, where = table.head["seat"]
        face = next(f for f in self.part.faces if f.name == self._known(name, where))
        if face.normal is None:
            raise ReadingError(f"{where}: {name!r} is a {face.kind}, not flat; a casting stands on a flat seat")
        return face.name, scale(face.normal, -1.0)

    def thicknesses(self) -> tuple[Thickness, ...]:
        table = self._table("thicknesses.csv", ("sigma",))
        return tuple(
            Thickness(
                (self._face(n, "face a"), self._face(n, "face b")),
                n.above_zero("thickness"),
                n.place("at"),
                self._sigma(n, table, "thickness"),
                n.where,
            )
            for n in (table.lines if table else ())
        )

    def low_spots(self) -> tuple[LowSpot, ...]:
        table = self._table("low_spots.csv", ("sigma",))
        return tuple(
            LowSpot(
                self._face(n, "face"),
                n.place("at"),
                n.size("size"),
                n.above_zero("depth"),
                self._sigma(n, table, "low spot"),
                n.where,
            )
            for n in (table.lines if table else ())
        )

    def cuts(self) -> tuple[CutAndSee, ...]:
        table = self._table("cuts.csv", ("sigma",))
        return tuple(
            CutAndSee(
                self._face(n, "face"),
                n.above_zero("cut"),
                n.place("at"),
                n.size("size"),
                n.above_zero("depth"),
                self._sigma(n, table, "cut and see"),
                n.where,
            )
            for n in (table.lines if table else ())
        )

    def scan(self) -> ScanFile | None:
        path = self.folder / SCAN
        if not path.is_file():
            return None
        label = f"{self.label}/{SCAN}"
        try:
            raw = tomllib.loads(read_text(path, label).replace("\r\n", "\n"))
        except tomllib.TOMLDecodeError as error:
            raise ReadingError(f"{label}: is not TOML: {error}; write key = value lines") from None
        for key in raw:
            if key not in _SCAN_KEYS:
                guess = nearest(key, _SCAN_KEYS)
                raise ReadingError(f"{label}, {key}: is no key of a scan{guess}; it may have {', '.join(_SCAN_KEYS)}")
        unit_name = _scan_unit(raw, label)
        sigma = _scan_sigma(raw, label, self.units)
        return ScanFile(
            _scan_path(raw, self.folder, label), unit_name, sigma, self._hints(raw, label, unit_name), label, "sigma" in raw
        )

    def _hints(self, raw: dict[str, Any], label: str, unit_name: str) -> tuple[HintPoint, ...]:
        points = raw.get("points", {})
        if not isinstance(points, dict):
            raise ReadingError(f'{label}, points: must be a table such as [points] with "top" = [12.0, 30.5, 4.0]')
        size = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": unit_size("inch")}[unit_name]
        found = []
        for name, value in points.items():
            where = f'{label}, points."{name}"'
            good = isinstance(value, list) and len(value) == 3 and all(_is_number(v) for v in value)
            if not good:
                raise ReadingError(f"{where}: {value!r} is not a point; write three numbers in {unit_name}, as [12.0, 30.5, 4.0]")
            x, y, z = (float(v) * size for v in value)
            found.append(HintPoint(self._known(name, where), (x, y, z), where))
        return tuple(found)

    # --- cells ----------------------------------------------------------------

    def _table(self, name: str, head: Sequence[str]) -> ReadingTable | None:
        if not (self.folder / name).is_file():
            return None
        table = read_table(self.folder / name, f"{self.label}/{name}", COLUMNS[name], head, self.units)
        self.warnings.extend(table.warnings)
        return table

    def _face(self, line: Line, column: str) -> str:
        return self._known(line.word(column), line.where)

    def _known(self, name: str, where: str) -> str:
        known = face_names(self.part)
        if name in known:
            return name
        same = [other for other in known if other.casefold() == " ".join(name.casefold().split())]
        if len(same) == 1:
            return same[0]
        if any(face.name == name for face in self.part.faces):
            raise ReadingError(f"{where}: {name!r} is drilled from solid, so the casting has no skin there; touch another face")
        raise ReadingError(no_such("face", name, known, where))

    def _sigma(self, line: Line, table: ReadingTable | None, kind: Kind) -> float:
        own = line.above_zero("sigma") if line.text("sigma") else None
        stated = own if own is not None else (table.head_length("sigma") if table else None)
        if stated is not None and stated > _COARSEST:
            raise ReadingError(f"{line.where}: sigma is ", stated, "; a reading that vague says nothing, the limit is ", _COARSEST)
        return SIGMA[kind] if stated is None else stated


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e7


def _scan_unit(raw: dict[str, Any], label: str) -> Literal["mm", "cm", "m", "inch"]:
    name = raw.get("unit")
    if name is None:
        raise ReadingError(f'{label}: does not say the unit of the scan; add unit = "mm" (or "cm", "m", "inch")')
    if not isinstance(name, str) or name.lower() not in _SCAN_UNITS:
        raise ReadingError(f"{label}, unit: {name!r} is not known; it may be mm, cm, m or inch")
    return _SCAN_UNITS[name.lower()]


def _scan_sigma(raw: dict[str, Any], label: str, units: str) -> float:
    if "sigma" not in raw:
        return SIGMA["scan"]
    try:
        sigma = positive_length(raw["sigma"], units, f"{label}, sigma")
    except JobError as error:
        raise ReadingError(str(error)) from None
    if sigma > _COARSEST:
        raise ReadingError(f"{label}, sigma: is ", sigma, "; the limit is ", _COARSEST)
    return sigma


def _scan_path(raw: dict[str, Any], folder: Path, label: str) -> Path:
    name = raw.get("file")
    if not isinstance(name, str) or not name.strip():
        raise ReadingError(f'{label}: does not say which file the scan is; add file = "casting.stl"')
    outside = Path(name).is_absolute() or PureWindowsPath(name).is_absolute() or ".." in PureWindowsPath(name).parts
    if outside or not (folder / name).resolve().is_relative_to(folder.resolve()):
        raise ReadingError(f"{label}, file: {name!r} is outside the folder of readings; put the scan beside {SCAN}")
    if not (folder / name).is_file():
        raise ReadingError(f"{label}, file: there is no {name!r} beside {SCAN}; check the name")
    return folder / name


def _repeated(rows: Sequence[Any]) -> list[str]:
    """Return a warning for each reading that says the same as an earlier one, value and place."""
    seen: dict[tuple[object, ...], str] = {}
    found = []
    for row in rows:
        key = _MEANING[type(row)](row)
        if key in seen:
            found.append(
                f"{row.source}: repeats {seen[key]} to the last digit; a reading copied twice counts twice, so take one out"
            )
        seen.setdefault(key, row.source)
    return found


_MEANING: Final[dict[type, Callable[[Any], tuple[object, ...]]]] = {
    Touch: lambda r: (r.face, r.point, r.known),
    Height: lambda r: (r.face, r.value, r.at),
    Thickness: lambda r: (frozenset(r.faces), r.value, r.at),
    LowSpot: lambda r: (r.face, r.at, r.size, r.depth),
    CutAndSee: lambda r: (r.face, r.cut, r.at, r.size, r.depth),
}
