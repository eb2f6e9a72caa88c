"""Work done aside, in a copy of the process, while the process itself goes on.

Python does one thing at a time; a copy of the process is a second pair of hands. It is made by a fork,
which is sound only where the process has no threads at work: `allow` is for a command that has a process to
itself. Elsewhere, or when the copy dies, the work is done when its result is asked for, with the same result
to the last bit. What comes back is carried in a piece of memory, large arrays without a copy. Knows nothing of the work.
"""

import contextlib
import os
import pickle
import signal
import struct
from collections.abc import Callable
from mmap import ACCESS_COPY, mmap
from typing import Any, Final, Generic, TypeVar

from geom.errors import EvenstockError

_T = TypeVar("_T")

_PAGE: Final = 64
"""Bytes: arrays begin at multiples."""

_COUNT: Final = struct.Struct("<Q")

_STOPS: Final = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
"""Signals that ask to stop. One that came while Python copies its process would be lost."""

_process = {"allowed": False, "copy": False}


def allow() -> None:
    """Let work be done aside from now on: the process belongs to one command, and nothing heavy is loaded yet."""
    _process["allowed"] = hasattr(os, "memfd_create") and len(os.sched_getaffinity(0)) > 1


def is_allowed() -> bool:
    """Tell whether work is done aside."""
    return _process["allowed"]


def is_copy() -> bool:
    """Tell whether this process is a copy: a library's own threads did not come with it, so let it use none."""
    return _process["copy"]


class Aside(Generic[_T]):
    """A piece of work that was begun."""

    __slots__ = ("_copy", "_memory", "_signal", "_work")

    def __init__(self, work: Callable[[], _T]) -> None:
        """Begin it.

        Args:
            work: returns something that can be pickled, the same every time.
        """
        self._work, self._copy = work, 0
        if _process["allowed"]:
            with contextlib.suppress(OSError):
                self._begin()

    def _begin(self) -> None:
        self._memory = os.memfd_create("aside")
        self._signal, held = os.pipe()
        blocked = signal.pthread_sigmask(signal.SIG_BLOCK, _STOPS)
        try:
            self._copy = os.fork()
            if not self._copy:
                _be_the_copy(self._work, self._memory)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, blocked)
        os.close(held)

    def result(self) -> _T:
        """Return what the work returns; asked for once.

        Raises:
            EvenstockError: or whatever the work raised.
        """
        packed = self._packed() if self._copy else None
        good, value = _unpacked(*(packed or _pack(_outcome(self._work))))
        if not good:
            raise value
        return value  # type: ignore[no-any-return]

    def _packed(self) -> tuple[bytes, list[Any]] | None:
        """Wait for the copy; return what it left, None when it died."""
        os.read(self._signal, 1)
        size = os.fstat(self._memory).st_size
        room = mmap(self._memory, size, access=ACCESS_COPY) if size else None
        os.close(self._signal)
        os.close(self._memory)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(self._copy, 0)
        return None if room is None else _from_memory(memoryview(room))


def _outcome(work: Callable[[], Any]) -> tuple[bool, Any]:
    try:
        return True, work()
    except EvenstockError as error:
        return False, error


def _be_the_copy(work: Callable[[], Any], memory: int) -> None:
    """Do the work, leave its result in the memory and end; never returns, and leaves nothing when anything goes wrong."""
    try:
        _process.update(allowed=False, copy=True)
        for number in _STOPS:
            signal.signal(number, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _STOPS)
        _into_memory(memory, *_pack(_outcome(work)))
    finally:
        os._exit(0)


# --- what is carried --------------------------------------------------------


def _pack(outcome: tuple[bool, Any]) -> tuple[bytes, list[Any]]:
    """Return a result as bytes, its large arrays beside it."""
    arrays: list[pickle.PickleBuffer] = []
    return pickle.dumps(outcome, protocol=5, buffer_callback=arrays.append), [array.raw() for array in arrays]


def _unpacked(plain: bytes, arrays: list[Any]) -> tuple[bool, Any]:
    good, value = pickle.loads(plain, buffers=arrays)
    return good, value


def _into_memory(memory: int, plain: bytes, arrays: list[Any]) -> None:
    """Write the pieces one behind another: how many, how long each, then each at its place; the count last."""
    pieces = [plain, *arrays]
    sizes = [memoryview(piece).nbytes for piece in pieces]
    place = _aligned(_COUNT.size * (1 + len(sizes)))
    for piece, size in zip(pieces, sizes, strict=True):
        _write(memory, memoryview(piece).cast("B") if size else b"", place)
        place += _aligned(size)
    os.ftruncate(memory, max(place, 1))
    _write(memory, b"".join(map(_COUNT.pack, sizes)), _COUNT.size)
    _write(memory, _COUNT.pack(len(sizes)), 0)


def _write(memory: int, piece: Any, place: int) -> None:
    """Write all of a piece: the system takes two gigabytes at a time."""
    done = 0
    while done < len(piece):
        done += os.pwrite(memory, piece[done:], place + done)


def _from_memory(room: memoryview) -> tuple[bytes, list[Any]] | None:
    (count,) = _COUNT.unpack_from(room)
    if not count:
        return None
    sizes = [_COUNT.unpack_from(room, _COUNT.size * (1 + i))[0] for i in range(count)]
    place, pieces = _aligned(_COUNT.size * (1 + count)), list[memoryview]()
    for size in sizes:
        pieces.append(room[place : place + size])
        place += _aligned(size)
    return bytes(pieces[0]), list(pieces[1:])


def _aligned(size: int) -> int:
    return -(-size // _PAGE) * _PAGE
