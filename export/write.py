"""Bytes out: a folder's next content appears whole or not at all.

An output folder belongs to evenstock alone, and to one job. Every command
gathers the folder's complete next content beside it and exchanges the two:
`make` replaces the whole set, a single command replaces its own files and
carries the others over. Nothing of the user's is ever lost: a folder with
files evenstock did not write, or of ours that were changed by hand since, is
refused. Knows names, owners and disk errors; nothing of what the bytes mean.
"""

import errno
import hashlib
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from export.manifest import MANIFEST_NAME, Manifest, from_bytes, merged, to_bytes
from export.swap import recover, replace_folder, sole_writer
from geom.errors import OutputError

_LONGEST_NAME = 80
_RESERVED = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])(\..*)?", re.IGNORECASE)
_DROPPINGS = (".ds_store", "thumbs.db", "desktop.ini")
"""Left by file browsers in every folder they show; nobody's work."""

_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_FORBIDDEN = (errno.EACCES, errno.EPERM, errno.EROFS)


def safe_name(text: str, instead: str = "part") -> str:
    """Return a file name for any text, accepted by Windows, macOS and Linux.

    Letters and digits of any script stay; every other run of characters becomes
    one "_" ("-" and inner "." stay). Device names such as "con" get a "_".

    Args:
        instead: what to return when nothing is left.
    """
    plain = unicodedata.normalize("NFC", text)
    kept = "".join(c if c.isalnum() or c in "-." else "_" for c in plain)
    name = re.sub(r"_{2,}", "_", kept).strip("._-")
    name = _cut(name, _LONGEST_NAME).strip("._-") or instead
    return f"{name}_" if _RESERVED.fullmatch(name) else name


def _cut(name: str, most: int) -> str:
    """Return the longest beginning of a name with at most so many bytes."""
    return name.encode()[:most].decode(errors="ignore")


def write_folder(out: Path, files: Mapping[str, bytes]) -> None:
    """Make a folder hold exactly this set, or leave it as it was.

    Args:
        out: the folder; it and its parents are made when missing.
        files: plain names to content, `manifest.json` of the set among them.

    Raises:
        OutputError: the folder is not ours to replace, or the disk refused.
    """
    _check_names(files)
    with _open_folder(out, sum(map(len, files.values()))) as place:
        _owned(place, out, _job_of(files), replaced=None)
        replace_folder(place, files, {})


def check_folder(out: Path, job: str) -> None:
    """Check, before a long run, that `write_folder` may replace a folder; nothing is touched.

    Raises:
        OutputError: foreign files, another job's folder, a file of ours changed by hand, or no folder at all.
    """
    place = out.resolve()
    _check_is_folder(place, out)
    try:
        _owned(place, out, job, replaced=None)
    except OSError as error:
        raise OutputError(_disk_message(out, 0, error)) from error


def update_folder(out: Path, files: Mapping[str, bytes]) -> tuple[str, ...]:
    """Put one command's files into a folder and carry its other files over.

    Args:
        out: the folder; it and its parents are made when missing.
        files: plain names to content, `manifest.json` of these files among them.

    Returns:
        Names of carried-over files that were made from other inputs than these.

    Raises:
        OutputError: the folder is not ours to change, or the disk refused.
    """
    _check_names(files)
    with _open_folder(out, sum(map(len, files.values()))) as place:
        held = _owned(place, out, _job_of(files), replaced=files)
        new = from_bytes(files[MANIFEST_NAME])
        assert new is not None
        manifest = merged(held, new) if held else new
        keep = {entry.name: place / entry.name for entry in manifest.files if entry.name not in files}
        _check_names([*files, *keep])
        replace_folder(place, {**files, MANIFEST_NAME: to_bytes(manifest)}, keep)
    return manifest.stale


def _job_of(files: Mapping[str, bytes]) -> str:
    manifest = from_bytes(files.get(MANIFEST_NAME, b""))
    if manifest is None:
        raise ValueError(f"a set of files needs its {MANIFEST_NAME}")
    return manifest.job


# --- whose files are these --------------------------------------------------


def _owned(place: Path, out: Path, job: str, replaced: Mapping[str, bytes] | None) -> Manifest | None:
    """Return the manifest of a folder that we may change, listing only files that are there; None for an empty one.

    Args:
        replaced: names that will be replaced; None for all.

    Raises:
        OutputError: foreign files, another job's folder, or a file of ours changed by hand.
    """
    names = _names_in(place)
    if not names:
        return None
    held = from_bytes((place / MANIFEST_NAME).read_bytes()) if MANIFEST_NAME in names else None
    ours = {entry.name for entry in held.files} | {MANIFEST_NAME} if held else set()
    foreign = [name for name in names if name not in ours or not _is_plain_file(place / name)]
    if held is None or foreign:
        raise OutputError(
            f"{out}: holds {_listing(foreign)}, which evenstock did not write, and nothing of yours is replaced; "
            "move it elsewhere or give --out a new or empty folder"
        )
    if held.job != job:
        raise OutputError(f"{out}: belongs to job {held.job!r}, not {job!r}; give --out another folder, or delete this one first")
    present = Manifest(held.job, held.program, held.inputs, tuple(e for e in held.files if e.name in names))
    changed = [e.name for e in present.files if (replaced is None or e.name in replaced) and _changed(place / e.name, e.sha256)]
    if changed:
        raise OutputError(
            f"{out}: {_listing(changed)} was changed after evenstock wrote it; rename it and move it elsewhere to keep your "
            "changes, or delete it, then run again"
        )
    return present


def _names_in(place: Path) -> list[str]:
    if not place.exists():
        return []
    return sorted(path.name for path in place.iterdir() if path.name.casefold() not in _DROPPINGS)


def _is_plain_file(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _changed(path: Path, sha256: str) -> bool:
    return hashlib.sha256(path.read_bytes()).hexdigest() != sha256


def _listing(names: list[str]) -> str:
    shown = ", ".join(names[:3])
    return shown if len(names) <= 3 else f"{shown} and {len(names) - 3} more"


# --- names ------------------------------------------------------------------


def _check_names(names: Iterable[str]) -> None:
    """Refuse names that some system cannot hold, or that two files would share on Windows or macOS."""
    seen: dict[str, str] = {}
    for name in sorted(names):
        if safe_name(name) != name:
            raise OutputError(f"file name {name!r} does not work on every system; {safe_name(name)!r} would")
        folded = unicodedata.normalize("NFC", name).casefold()
        if folded in seen:
            raise OutputError(
                f"files {seen[folded]!r} and {name!r} are one file on Windows and macOS; rename one of the features they come from"
            )
        seen[folded] = name


# --- the disk ---------------------------------------------------------------


@contextmanager
def _open_folder(out: Path, size: int) -> Iterator[Path]:
    """Yield the true path of an output folder, held for this run alone; turn disk errors into plain ones."""
    try:
        place = out.resolve()
        if not place.name:
            raise OutputError(f"{out}: is the top of a disk; give --out a folder of its own")
        _check_is_folder(place, out)
        with _parents(place.parent), sole_writer(place):
            recover(place)
            yield place
    except OSError as error:
        raise OutputError(_disk_message(out, size, error)) from error


def _check_is_folder(place: Path, out: Path) -> None:
    if place.exists() and not place.is_dir():
        raise OutputError(f"{out}: is a file, not a folder; give --out a folder")


@contextmanager
def _parents(folder: Path) -> Iterator[None]:
    """Make missing parents; take them away again when the run fails."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    try:
        yield
    except BaseException:
        for path in missing:
            if path.is_dir() and not any(path.iterdir()):
                path.rmdir()
        raise


def _disk_message(out: Path, size: int, error: OSError) -> str:
    before = "what was there before is untouched"
    if error.errno in _FULL:
        return f"{out}: there is no room for {size / 1e6:.1f} MB; free some or give --out another disk ({before})"
    if error.errno in _FORBIDDEN:
        advice = "close programs that use it, or give --out a folder you may write to"
        return f"{out}: cannot be written ({error.strerror}); {advice} ({before})"
    if error.errno == errno.ENAMETOOLONG:
        return f"{out}: the name is longer than this disk allows; give --out a shorter one"
    if isinstance(error, NotADirectoryError | FileExistsError):
        return f"{out}: lies inside something that is not a folder ({error.filename}); give --out another place"
    return f"{out}: cannot be written ({error.strerror or error}); give --out another folder ({before})"
