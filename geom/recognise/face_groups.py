"""Surfaces an exporter split, made one face again.

Pieces that share an edge and lie on one plane, cylinder, cone, sphere or torus
are one face; two lobes that merely lie in one plane stay two. Lengths mm, part
frame. Knows nothing of names.
"""

import math
from collections.abc import Callable, Sequence

from geom.kernel.shape import Solid, Surface
from geom.kernel.topology import neighbours
from geom.recognise.walls import SAME_RADIUS, SAME_SLOPE, shares_axis
from geom.space import along, cross, dot, norm, sub
from geom.tolerance import SAME_AXIS, SAME_DIRECTION


def face_groups(solid: Solid, alike: Callable[[int, int], bool]) -> list[tuple[int, ...]]:
    """Return the surfaces of a solid as faces, each a tuple of surface indices.

    Args:
        alike: whether two surfaces may be one face at all (both as cast, both in one hole ...).
    """
    surfaces, met = solid.surfaces, neighbours(solid.shape)
    home = list(range(len(surfaces)))
    for i, near in enumerate(met):
        for j in near:
            if j < i and alike(i, j) and is_same_form(surfaces[i], surfaces[j]):
                _join(home, i, j)
    groups: dict[int, list[int]] = {}
    for i in range(len(surfaces)):
        groups.setdefault(_root(home, i), []).append(i)
    return [tuple(group) for group in groups.values()]


def is_same_form(a: Surface, b: Surface) -> bool:
    """Return whether two surfaces are pieces of one plane, cylinder, cone, sphere or torus, metal on the same side."""
    if a.kind != b.kind or a.hollow != b.hollow:
        return False
    match a.kind:
        case "plane":
            level = abs(dot(sub(b.centroid, a.centroid), a.normal)) <= SAME_AXIS
            return level and dot(a.normal, b.normal) > 0 and norm(cross(a.normal, b.normal)) <= SAME_DIRECTION
        case "cylinder":
            return abs(a.radius - b.radius) <= SAME_RADIUS and shares_axis(a, b)
        case "cone":
            return shares_axis(a, b) and _is_same_cone(a, b)
        case "sphere":
            return abs(a.radius - b.radius) <= SAME_RADIUS and norm(sub(a.origin, b.origin)) <= SAME_AXIS
        case "torus":
            same = abs(a.radius - b.radius) <= SAME_RADIUS and abs(a.minor - b.minor) <= SAME_RADIUS
            return same and norm(sub(a.origin, b.origin)) <= SAME_AXIS and shares_axis(a, b)
    return False


def _is_same_cone(a: Surface, b: Surface) -> bool:
    slope = b.half_angle if dot(a.axis, b.axis) > 0 else -b.half_angle
    there = b.radius + along(a.origin, b.origin, b.axis) * math.tan(math.radians(b.half_angle))
    return abs(a.half_angle - slope) <= SAME_SLOPE and abs(a.radius - there) <= SAME_RADIUS


def largest(surfaces: Sequence[Surface]) -> Surface:
    """Return the piece that says best what a face is."""
    return max(surfaces, key=lambda s: (round(s.area, 3), s.centroid))


def _root(home: list[int], i: int) -> int:
    while home[i] != i:
        home[i] = home[home[i]]
        i = home[i]
    return i


def _join(home: list[int], i: int, j: int) -> None:
    home[max(_root(home, i), _root(home, j))] = min(_root(home, i), _root(home, j))
