"""Loads the CAD kernel, or says which system package is missing."""

import sys

from geom.errors import MissingLibraryError


def require_kernel() -> None:
    """Import the kernel once.

    Raises:
        MissingLibraryError: it is not installed, or a shared system library it needs is not.
    """
    try:
        import OCP.gp  # noqa: F401
    except ImportError as error:
        raise MissingLibraryError(_advice(str(error))) from error


def _advice(reason: str) -> str:
    if sys.platform.startswith("linux") and (".so" in reason):
        return (
            f"the CAD kernel cannot start: {reason}. Install the system libraries it needs "
            "(Debian and Ubuntu: apt install libgl1 libx11-6; Fedora: dnf install mesa-libGL libX11) and run again"
        )
    return f"the CAD kernel cannot start: {reason}. Install it again with: pip install cadquery"
