"""Scans read ahead: while the CAD kernel loads and the drawing is opened, the scan is read aside and its ray tree built.

A job's readings are understood only once the part is known; until then a plain
`scan.toml` is enough to know which file to read. Whatever is not plain, or
wrong, is left to the proper reading. Knows nothing of the part.
"""

import tomllib
from dataclasses import replace
from functools import partial
from pathlib import Path
from threading import Thread
from typing import Any, Final

from geom.aside import Aside, is_allowed, is_copy
from geom.errors import EvenstockError
from geom.rays.mesh_tree import tree_of
from geom.readings.records import ScanFile
from geom.scan.file import MM_PER_UNIT, Scan, Unit, read_scan_file

SCAN: Final = "scan.toml"

_begun: dict[tuple[Path, Unit], "Ahead"] = {}


class Ahead(Thread):
    """One scan being read: by a copy of the process where there may be one, else by this thread.

    A copy must not be made of a process whose threads are at work, so with copies the thread waits until `go_on`.
    """

    def __init__(self, path: Path, unit: Unit) -> None:
        """Begin to read."""
        super().__init__(daemon=True)
        self._file = Aside(partial(read_scan_file, path, unit))
        self._asked: ScanFile | None = None
        self._scan: Scan | None = None
        self._error: EvenstockError | None = None
        if not is_allowed():
            self.go_on()

    def run(self) -> None:
        """Take the scan and build its tree; keep what is wrong with it for whoever asks."""
        try:
            self._scan = with_tree(self._file.result())
        except EvenstockError as error:
            self._error = error

    def go_on(self) -> None:
        """Build the tree as soon as the scan is read, while the process does other things."""
        if self.ident is None and not is_copy():
            self.start()

    def scan(self) -> Scan:
        """Return the scan, without its tree in a copy of the process.

        Raises:
            EvenstockError: what `read_scan_file` said.
        """
        if is_copy() and self.ident is None:
            return self._as_asked(self._file.result())
        self.go_on()
        self.join()
        if self._error is not None:
            raise self._error
        if self._scan is None:
            raise EvenstockError("reading the scan stopped half-way; run it again")
        return self._as_asked(self._scan)

    def asked_as(self, file: ScanFile) -> "Ahead":
        """Return it, with what the job's readings say of it."""
        self._asked = file
        return self

    def _as_asked(self, scan: Scan) -> Scan:
        file = self._asked
        return scan if file is None else replace(scan, sigma=file.sigma if file.stated else None)


def with_tree(scan: Scan) -> Scan:
    """Return a scan ready for rays; points alone are not."""
    return scan if scan.is_cloud else replace(scan, tree=tree_of(scan.vertices, scan.triangles))


def begin(folder: Path) -> None:
    """Start to read the scan that a folder of readings plainly names; otherwise do nothing."""
    named = _plainly_named(folder)
    if named is not None:
        _begun[named] = Ahead(*named)


def _plainly_named(folder: Path) -> tuple[Path, Unit] | None:
    try:
        raw: dict[str, Any] = tomllib.loads((folder / SCAN).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    name, unit = raw.get("file"), raw.get("unit")
    if not isinstance(name, str) or not name or Path(name).name != name or unit not in MM_PER_UNIT:
        return None
    return folder / name, unit


def read_ahead(file: ScanFile) -> Ahead:
    """Return the scan a job's readings name as it is being read: the one begun, or begun now."""
    return (_begun.pop((file.path, file.unit), None) or Ahead(file.path, file.unit)).asked_as(file)
