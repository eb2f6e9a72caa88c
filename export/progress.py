"""One line per stage on stderr, or none.

Knows nothing of stages or of what they cost.
"""

import sys


def say(line: str) -> None:
    """Print one line of progress."""
    print(f"evenstock: {line}", file=sys.stderr, flush=True)


def say_nothing(_line: str) -> None:
    """Print nothing (`-q`)."""
