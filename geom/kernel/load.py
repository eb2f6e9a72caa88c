"""Loads the CAD kernel, or says which system package is missing."""

import gc
import sys

from geom.errors import MissingLibraryError


def require_kernel() -> None:
    """Import the kernel once: half a million objects, all of which stay, so none is looked at for being dead.

    Raises:
        MissingLibraryError: it is not installed, or a shared system library it needs is not.
    """
    if "OCP" in sys.modules:
        return
    looks = gc.isenabled()
    gc.disable()
    try:
        import OCP.gp  # noqa: F401

        gc.freeze()
    except ImportError as error:
        raise MissingLibraryError(_advice(str(error))) from error
    finally:
        if looks:
            gc.enable()


def _advice(reason: str) -> str:
    if sys.platform.startswith("linux") and (".so" in reason):
        return (
            f"the CAD kernel cannot start: {reason}. Install the system libraries it needs "
            "(Debian and Ubuntu: apt install libgl1 libx11-6; Fedora: dnf install mesa-libGL libX11) and run again"
        )
    return f"the CAD kernel cannot start: {reason}. Install it again with: pip install cadquery"
