"""Failures inside the CAD kernel, turned into plain messages.

The kernel's exceptions share no base class, only the package they come from.
Anything else that goes wrong is a fault of this program and passes through.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from geom.errors import GeometryError

_KERNEL_PACKAGE = "OCP"


@contextmanager
def plain_kernel_failures(label: str) -> Iterator[None]:
    """Turn an exception of the CAD kernel into a message.

    Args:
        label: the file or job that was worked on.

    Raises:
        GeometryError: the kernel gave up.
    """
    try:
        yield
    except Exception as error:
        if not is_kernel_failure(error):
            raise
        reason = str(error).strip().split("\n")[0] or "no reason given"
        raise GeometryError(
            f"{label}: the CAD kernel gave up ({type(error).__name__}: {reason}); "
            "heal or simplify the solid in the CAD program, export it again and report the file if that does not help"
        ) from error


def is_kernel_failure(error: BaseException) -> bool:
    """Tell whether an exception was raised by the CAD kernel."""
    return type(error).__module__.split(".")[0] == _KERNEL_PACKAGE
