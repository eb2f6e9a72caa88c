"""The list of files in an output folder: size and hash of each, and what they were made from.

Bytes in, records out, and back. The same set gives the same bytes: no clock,
no path, names in order. Knows nothing of disks or of how the files were made.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib.metadata import PackageNotFoundError, version
from typing import Any

MANIFEST_NAME = "manifest.json"
_PROGRAM = "evenstock"


@dataclass(frozen=True, slots=True)
class Entry:
    """One file of a set: its name, size in bytes, SHA-256 in hex, and the hash of the inputs it was made from."""

    name: str
    size: int
    sha256: str
    inputs: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a folder holds.

    Attributes:
        job: name of the job the folder belongs to.
        program: version of the program that wrote it last.
        inputs: hash over every input of that run (see `inputs_hash`).
        files: sorted by name; the manifest itself is not among them.
    """

    job: str
    program: str
    inputs: str
    files: tuple[Entry, ...]

    def entry(self, name: str) -> Entry | None:
        """Return the entry of a file, or None."""
        return next((entry for entry in self.files if entry.name == name), None)

    @property
    def stale(self) -> tuple[str, ...]:
        """Names of files made from other inputs than the last run's."""
        return tuple(entry.name for entry in self.files if entry.inputs != self.inputs)


def program_version() -> str:
    """Return the installed version, "unknown" in a bare checkout."""
    try:
        return version(_PROGRAM)
    except PackageNotFoundError:
        return "unknown"


def inputs_hash(inputs: Mapping[str, bytes]) -> str:
    """Return one SHA-256 in hex over named inputs, whatever their order.

    Each name and content enters with its length, so that no two different sets
    run together into the same bytes.
    """
    total = hashlib.sha256()
    for name in sorted(inputs):
        for piece in (name.encode(), inputs[name]):
            total.update(len(piece).to_bytes(8, "big"))
            total.update(piece)
    return total.hexdigest()


def describe(job: str, inputs: str, files: Mapping[str, bytes]) -> Manifest:
    """Return the manifest of a set of files (names to bytes; a manifest among them is left out)."""
    entries = (
        Entry(name, len(files[name]), hashlib.sha256(files[name]).hexdigest(), inputs)
        for name in sorted(files)
        if name != MANIFEST_NAME
    )
    return Manifest(job, program_version(), inputs, tuple(entries))


def merged(old: Manifest, new: Manifest) -> Manifest:
    """Return the new manifest with those files of the old one that it does not replace."""
    names = {entry.name for entry in new.files}
    kept = [entry for entry in old.files if entry.name not in names]
    return replace(new, files=tuple(sorted([*kept, *new.files], key=lambda entry: entry.name)))


def to_bytes(manifest: Manifest) -> bytes:
    """Return the manifest as JSON text."""
    document = {
        "program": _PROGRAM,
        "version": manifest.program,
        "job": manifest.job,
        "inputs": manifest.inputs,
        "files": [{"name": e.name, "size": e.size, "sha256": e.sha256, "inputs": e.inputs} for e in manifest.files],
    }
    return (json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode()


def from_bytes(content: bytes) -> Manifest | None:
    """Return the manifest in these bytes, or None when they are not one of ours."""
    try:
        document = json.loads(content)
        if document["program"] != _PROGRAM:
            return None
        files = tuple(_entry(item) for item in document["files"])
        return Manifest(str(document["job"]), str(document["version"]), str(document["inputs"]), files)
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def _entry(item: Any) -> Entry:
    return Entry(str(item["name"]), int(item["size"]), str(item["sha256"]), str(item["inputs"]))
