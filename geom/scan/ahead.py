"""Scans read ahead: while the CAD kernel loads and the drawing is opened, a thread reads the scan and builds its ray tree.

A job's readings are understood only once the part is known; until then a plain
`scan.toml` is enough to know which file to read. Whatever is not plain, or
wrong, is left to the proper reading. Knows nothing of the part.
"""

import tomllib
from dataclasses import replace
from pathlib import Path
from threading import Thread
from typing import Any, Final

from geom.errors import EvenstockError
from geom.rays.mesh_tree import tree_of
from geom.readings.records import ScanFile
from geom.scan.file import MM_PER_UNIT, Scan, Unit, read_scan, read_scan_file

SCAN: Final = "scan.toml"

_begun: dict[tuple[Path, Unit], "_Ahead"] = {}


class _Ahead(Thread):
    """One scan being read."""

    def __init__(self, path: Path, unit: Unit) -> None:
        super().__init__(daemon=True)
        self._path, self._unit = path, unit
        self._scan: Scan | None = None
        self._error: EvenstockError | None = None

    def run(self) -> None:
        """Read the file; keep what is wrong with it for whoever asks."""
        try:
            self._scan = _with_tree(read_scan_file(self._path, self._unit))
        except EvenstockError as error:
            self._error = error

    def scan(self) -> Scan | None:
        """Return the scan; None when reading stopped for no reason of its own.

        Raises:
            EvenstockError: what `read_scan_file` said.
        """
        self.join()
        if self._error is not None:
            raise self._error
        return self._scan


def _with_tree(scan: Scan) -> Scan:
    return scan if scan.is_cloud else replace(scan, tree=tree_of(scan.vertices, scan.triangles))


def begin(folder: Path) -> None:
    """Start to read the scan that a folder of readings plainly names; otherwise do nothing."""
    named = _plainly_named(folder)
    if named is not None:
        _begun[named] = _Ahead(*named)
        _begun[named].start()


def _plainly_named(folder: Path) -> tuple[Path, Unit] | None:
    try:
        raw: dict[str, Any] = tomllib.loads((folder / SCAN).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    name, unit = raw.get("file"), raw.get("unit")
    if not isinstance(name, str) or not name or Path(name).name != name or unit not in MM_PER_UNIT:
        return None
    return folder / name, unit


def read_ahead(file: ScanFile) -> Scan:
    """Return the scan a job's readings name: the one begun, or read now.

    Raises:
        EvenstockError: as `read_scan_file`.
    """
    ahead = _begun.pop((file.path, file.unit), None)
    scan = None if ahead is None else ahead.scan()
    return read_scan(file) if scan is None else replace(scan, sigma=file.sigma if file.stated else None)
