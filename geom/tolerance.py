"""The named small numbers, of three kinds that are never mixed.

Kernel noise is what double precision and the CAD kernel lose; it grows with
the part. Shop tolerance is what a machinist would call the same. Facet error
is a choice made when a curved face becomes triangles.
"""

from typing import Final

# --- kernel noise -----------------------------------------------------------
KERNEL_NOISE: Final = 1e-7
"""Least distance, mm, that the kernel tells apart (its own confusion distance)."""


def kernel_noise(size: float) -> float:
    """Return the kernel noise, mm, on a part of this size (box diagonal, mm)."""
    return max(KERNEL_NOISE, 1e-9 * size)


SPLINE_FIT: Final = 1e-3
"""A spline face within this many mm of a plane, cylinder or cone is one: exporters
that write only splines do so to about this precision."""

SAME_DIRECTION: Final = 1e-4
"""Radians (0.006 degrees): axes and normals closer than this are parallel; at the
end of a 100 mm part it is 0.01 mm, which no manual mill resolves."""

SAME_AXIS: Final = 0.01
"""Two axes, or two coplanar faces, closer than this many mm are one."""

# --- shop tolerance ---------------------------------------------------------
SKIN: Final = 0.02
"""A finished face within this many mm of the casting's skin *is* the skin: half of
what a careful caliper reading tells apart."""

EDGE_BAND: Final = 1.0
"""Width, mm, of the rim of a face whose stock is reported apart: draft and as-cast
radii thin it first, and a chamfer usually removes it."""

# --- facet error ------------------------------------------------------------
WORK_CHORD: Final = 0.02
"""Chord error, mm, of meshes used to look up which face a ray meets."""

PRINT_CHORD: Final = 0.05
"""Chord error, mm, of printed prototypes unless told otherwise: below a printer's own."""

FACET_ANGLE: Final = 12.0
"""Largest turn, degrees, between neighbouring facets of a mesh, whatever the chord says."""
