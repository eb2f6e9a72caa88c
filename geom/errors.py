"""What can be wrong with the input, as exceptions.

A message is one plain paragraph: where (file, key or line), the value with its
unit, the limit, and what to do next. "It does not fit" is a result, never one
of these.
"""


class EvenstockError(ValueError):
    """The input is wrong; the command line ends with exit code 2.

    Attributes:
        words: the message in pieces; a float is a length in mm, which the command line says in the job's own unit.
    """

    def __init__(self, *words: str | float) -> None:
        super().__init__("".join(word if isinstance(word, str) else f"{word:.1f} mm" for word in words))
        self.words = words


class JobError(EvenstockError):
    """A key, value or path in a job or shop file is wrong."""


class GeometryError(EvenstockError):
    """A solid cannot be read, or is not what the job says it is."""


class StandardError(EvenstockError):
    """A size or designation is not in the table it was looked up in."""


class ReadingError(EvenstockError):
    """A measured value cannot be what it claims to be."""


class OutputError(EvenstockError):
    """A file cannot be written where it was asked for."""


class MissingLibraryError(EvenstockError):
    """A system library that the CAD kernel needs is not installed."""


def nearest(word: str, known: "list[str] | tuple[str, ...]") -> str:
    """Return " (did you mean 'x'?)" for the closest known word, or "" when none is close."""
    import difflib

    found = difflib.get_close_matches(word, known, n=1, cutoff=0.55)
    return f" (did you mean {found[0]!r}?)" if found else ""


def counted(count: int, one: str, many: str = "") -> str:
    """Return "1 reading" or "4 readings"; `many` where the plural is not the word with an s."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"
