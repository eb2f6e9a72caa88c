"""One folder takes the place of another, whole or not at all.

The next folder is filled beside the old one, flushed to disk, and exchanged
with it. Where the system can exchange two folders in one step (Linux, macOS)
there is no moment without a whole folder; elsewhere two renames are used and a
run that died between them is put right by the next. Knows nothing of what the
files are or who may replace them.
"""

import ctypes
import errno
import os
import shutil
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from geom.errors import OutputError

_RENAME_EXCHANGE = 2  # renameat2(2), linux/fs.h
_RENAME_SWAP = 2  # renamex_np(2), sys/stdio.h on macOS
_AT_FDCWD = -100  # linux/fcntl.h
_NO_EXCHANGE = (errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EPERM)


def next_folder(out: Path) -> Path:
    """Return where the next content of a folder is gathered: a hidden sibling."""
    return out.with_name(f".{out.name}.evenstock-new")


def last_folder(out: Path) -> Path:
    """Return where the old content waits on systems that need two renames."""
    return out.with_name(f".{out.name}.evenstock-old")


def recover(out: Path) -> None:
    """Put right what a run that died half-way has left beside a folder.

    The old content comes back if the folder itself is missing; other leavings go.
    """
    if last_folder(out).is_dir() and not out.exists():
        last_folder(out).rename(out)
    for leaving in (next_folder(out), last_folder(out)):
        if leaving.is_dir():
            shutil.rmtree(leaving)


def replace_folder(out: Path, files: Mapping[str, bytes], keep: Mapping[str, Path]) -> None:
    """Make a folder hold exactly these files.

    Args:
        out: the folder; its parent exists.
        files: names to content.
        keep: names to existing files that are carried over as they are.

    Raises:
        OSError: the disk refused; the old folder is untouched.
    """
    fresh = next_folder(out)
    fresh.mkdir()
    try:
        if out.is_dir():
            shutil.copymode(out, fresh)
        for name in sorted(files):
            _write_through(fresh / name, files[name])
        for name in sorted(keep):
            _carry_over(keep[name], fresh / name)
        _flush_folder(fresh)
        _take_place(fresh, out)
        _flush_folder(out.parent)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
        if out.exists():
            shutil.rmtree(last_folder(out), ignore_errors=True)


def _take_place(fresh: Path, out: Path) -> None:
    """Give `fresh` the name `out`; the old content ends under a leaving's name."""
    if not out.exists():
        fresh.rename(out)
    elif not exchange(fresh, out):
        exchange_in_two_steps(fresh, out)


def exchange_in_two_steps(fresh: Path, out: Path) -> None:
    """Exchange by two renames; takes the first back when the second fails."""
    old = last_folder(out)
    try:
        out.rename(old)
        fresh.rename(out)
    except BaseException:
        if old.exists() and not out.exists():
            old.rename(out)
        raise


def exchange(a: Path, b: Path) -> bool:
    """Exchange the names of two folders in one step; False where the system cannot.

    Raises:
        OSError: it can, and refused.
    """
    call = _exchange_call()
    if call is None:
        return False
    if call(os.fsencode(a), os.fsencode(b)) == 0:
        return True
    code = ctypes.get_errno()
    if code in _NO_EXCHANGE:
        return False
    raise OSError(code, os.strerror(code), str(b))


def _exchange_call() -> Callable[[bytes, bytes], int] | None:
    if os.name == "nt":
        return None
    library = ctypes.CDLL(None, use_errno=True)
    if hasattr(library, "renameat2"):
        return lambda a, b: int(library.renameat2(_AT_FDCWD, a, _AT_FDCWD, b, _RENAME_EXCHANGE))
    if hasattr(library, "renamex_np"):
        return lambda a, b: int(library.renamex_np(a, b, _RENAME_SWAP))
    return None


def _write_through(path: Path, content: bytes) -> None:
    with open(path, "xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _carry_over(source: Path, target: Path) -> None:
    """Give a file a second name; on disks without links (USB sticks), copy it."""
    try:
        os.link(source, target)
    except OSError:
        _write_through(target, source.read_bytes())


def _flush_folder(path: Path) -> None:
    """Make the names in a folder durable; Windows has no call for it."""
    if os.name == "nt":
        return
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def sole_writer(out: Path) -> Iterator[None]:
    """Hold a folder against a second run; the system lets go of it even when this one is killed.

    Raises:
        OutputError: another run holds it.
    """
    path = out.with_name(f".{out.name}.evenstock-lock")
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    held = False
    try:
        held = _lock(descriptor) and _same_file(descriptor, path)
        if not held:
            raise OutputError(f"{out}: another evenstock run is writing this folder; let it end, then run again")
        yield
    finally:
        if held and os.name != "nt":
            path.unlink(missing_ok=True)
        os.close(descriptor)
        if held and os.name == "nt":  # an open file cannot be removed there
            with suppress(OSError):
                path.unlink()


def _lock(descriptor: int) -> bool:
    """Return False when another process holds the lock; a file system without locks counts as free."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return error.errno not in (errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK)
    return True


def _same_file(descriptor: int, path: Path) -> bool:
    """Return False when the run before us removed the lock file after we had opened it."""
    try:
        return os.path.samestat(os.fstat(descriptor), path.stat())
    except FileNotFoundError:
        return False
