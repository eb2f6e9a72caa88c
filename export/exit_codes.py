"""How a command ends, as a number for the shell."""

from typing import Final

YES: Final = 0
"""Done, and the answer is yes."""

NO: Final = 1
"""Done, and the answer is no: the casting is short."""

WRONG: Final = 2
"""The input is wrong, or the kernel could not work with it."""

FAULT: Final = 70
"""A fault of this program itself, with its traceback (EX_SOFTWARE): never mistaken for a "no"."""

STOPPED: Final = 130
"""Stopped by Ctrl-C (128 + signal 2), as shells expect."""

PIPE_CLOSED: Final = 141
"""The reader of our output went away (128 + signal 13)."""
