"""Test parts whose every number follows from closed form.

Each function returns a pair (finished, casting) of `Solid`, or one solid.
Built from kernel primitives, so a test that uses them needs no CadQuery.
Lengths mm; stock, volumes and places stated in each docstring.
"""

import math

from geom.kernel.cut import box, cut, cylinder, drill, fuse, prism, sphere, turned
from geom.kernel.shape import Solid, solid_from_shape
from geom.space import Vec3

Pair = tuple[Solid, Solid]
Flat = tuple[float, float]

UP: Vec3 = (0.0, 0.0, 1.0)
OUT_X: Vec3 = (1.0, 0.0, 0.0)


def _pair(finished: object, casting: object) -> Pair:
    return solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting")


def block_in_block(stock: float = 3.0, size: Vec3 = (60.0, 40.0, 30.0), shift: Vec3 = (0.0, 0.0, 0.0)) -> Pair:
    """A block from the origin, `stock` all round; the casting moved by `shift`.

    Stock on a face is `stock` plus the shift along its outward normal; with no shift the
    swarf is (a + 2s)(b + 2s)(c + 2s) - abc.
    """
    low = tuple(-stock + d for d in shift)
    high = tuple(s + stock + d for s, d in zip(size, shift, strict=True))
    return _pair(box((0.0, 0.0, 0.0), size), box(low, high))  # type: ignore[arg-type]


def block_on_cast_foot(stock: float = 3.0, size: Vec3 = (60.0, 40.0, 30.0)) -> Pair:
    """A block machined on top only: the other five faces are the casting's skin, bit for bit."""
    a, b, c = size
    casting = box((0.0, 0.0, 0.0), (a, b, c + stock))
    return _pair(cut(casting, box((-10.0, -10.0, c), (a + 10, b + 10, c + stock + 10))), casting)


def drafted_casting(base: Vec3, draft: float) -> Solid:
    """A block standing on z = 0 that leans in by `draft` degrees on all four sides; `base` is its size at z = 0.

    Volume by the prismoid rule: h (A0 + 4 Am + A1)/6, areas at foot, half height and top.
    """
    return solid_from_shape(_drafted((0.0, 0.0, 0.0), base, draft), "casting")


def drafted_block(stock: float = 3.0, size: Vec3 = (60.0, 40.0, 30.0), draft: float = 3.0) -> Pair:
    """A block from the origin in a drafted casting with `stock` below, above, and at the foot of the sides.

    The casting's foot is at z = -stock, `stock` wide of the block all round. A side's stock is
    stock - (z + stock) tan(draft) measured level (the side's outward normal is level), least at
    the top edge: stock - (c + stock) tan(draft).
    """
    a, b, c = size
    casting = _drafted((-stock, -stock, -stock), (a + 2 * stock, b + 2 * stock, c + 2 * stock), draft)
    return _pair(box((0.0, 0.0, 0.0), size), casting)


def _drafted(corner: Vec3, size: Vec3, draft: float) -> object:
    """A block less a wedge on each side, so that every face is a true plane."""
    (x, y, z), (a, b, c) = corner, size
    top = 1.5 * c
    lean = top * math.tan(math.radians(draft))
    body: object = box(corner, (x + a, y + b, z + c))
    for near, inward in ((x, 1.0), (x + a, -1.0)):
        profile = ((near - inward, z), (near, z), (near + inward * lean, z + top), (near - inward, z + top))
        body = cut(body, prism([(u, y - 1, w) for u, w in profile], (0.0, b + 2, 0.0)))
    for near, inward in ((y, 1.0), (y + b, -1.0)):
        profile = ((near - inward, z), (near, z), (near + inward * lean, z + top), (near - inward, z + top))
        body = cut(body, prism([(x - 1, v, w) for v, w in profile], (a + 2, 0.0, 0.0)))
    return body


def block_with_cored_bore(bore: float = 40.0, core: float = 34.0, shift: Flat = (0.0, 0.0), stock: float = 3.0) -> Pair:
    """An 80 x 80 x 50 block with an upright bore; the casting has a core hole, `shift` off the bore's axis.

    The block is centred on the Z axis, z 0 to 50. Radial stock in the bore runs from
    (bore - core)/2 - |shift| to (bore - core)/2 + |shift|.
    """
    finished = cut(box((-40.0, -40.0, 0.0), (40.0, 40.0, 50.0)), cylinder((0.0, 0.0, -1.0), UP, bore / 2, 52.0))
    s = stock
    rough = box((-40.0 - s, -40.0 - s, -s), (40.0 + s, 40.0 + s, 50.0 + s))
    casting = cut(rough, cylinder((shift[0], shift[1], -s - 1), UP, core / 2, 52.0 + 2 * s))
    return _pair(finished, casting)


def hollow_in_skin(stock: float = 3.0, depth: float = 4.0, radius: float = 25.0, size: Vec3 = (80.0, 60.0, 30.0)) -> Pair:
    """A block with `stock` all round and a spherical hollow, `depth` deep, in the middle of its top skin.

    The hollow is a cap of a ball of `radius`. Least stock on top: stock - depth. Where depth is
    more than stock, the wane is a disc of radius sqrt(r^2 - (r - d + s)^2) and the shortage a cap
    of height h = d - s, volume pi h^2 (3 r - h)/3.
    """
    a, b, c = size
    rough = box((-stock, -stock, -stock), (a + stock, b + stock, c + stock))
    ball = sphere((a / 2, b / 2, c + stock + radius - depth), radius)
    return _pair(box((0.0, 0.0, 0.0), size), cut(rough, ball))


def drilled_plate(stock: float = 2.5) -> Pair:
    """A 100 x 60 x 20 plate from the origin, machined on top (z = 20) only, with one hole of each kind, all opening up:

    through 9 at (15, 15); blind 6.8 at (50, 15), 14 deep to full diameter, 118 degree point;
    counterbored 11/18 x 10.5 deep at (85, 15); countersunk 6.6 with 90 degrees to 12.6 at (15, 45);
    blind flat 10 x 12 deep at (50, 45); stepped through 20 x 8 deep then 12 at (85, 45).
    """
    rough = box((0.0, 0.0, 0.0), (100.0, 60.0, 20.0 + stock))
    top = box((-5.0, -5.0, 20.0), (105.0, 65.0, 30.0 + stock))
    return _pair(cut(rough, top, *_plate_cuts()), rough)


def _plate_cuts() -> list[object]:
    over, below = 1.0, -21.0
    return [
        turned([(0.0, over), (0.0, below), (4.5, below), (4.5, over)], (15.0, 15.0, 20.0), UP),
        drill((50.0, 15.0, 20.0), UP, 6.8, 14.0, 118.0, over),
        turned([(0.0, over), (0.0, below), (5.5, below), (5.5, -10.5), (9.0, -10.5), (9.0, over)], (85.0, 15.0, 20.0), UP),
        turned([(0.0, over), (0.0, below), (3.3, below), (3.3, -3.0), (6.3 + over, over)], (15.0, 45.0, 20.0), UP),
        drill((50.0, 45.0, 20.0), UP, 10.0, 12.0, None, over),
        turned([(0.0, over), (0.0, below), (6.0, below), (6.0, -8.0), (10.0, -8.0), (10.0, over)], (85.0, 45.0, 20.0), UP),
    ]


def bolt_circle_cover(stock: float = 2.0) -> Pair:
    """A round cover, 120 diameter x 15, axis Z, z 0 to 15; machined above and below, rim as cast.

    Bore 40 through (drilled from solid); six 9 mm through holes on a 90 mm circle, the first at +X.
    """
    rough = cylinder((0.0, 0.0, -stock), UP, 60.0, 15.0 + 2 * stock)
    body = cut(rough, cylinder((0.0, 0.0, -stock - 5), UP, 70.0, stock + 5), cylinder((0.0, 0.0, 15.0), UP, 70.0, stock + 5))
    body = cut(body, cylinder((0.0, 0.0, -1.0), UP, 20.0, 17.0))
    for i in range(6):
        turn = math.radians(60.0 * i)
        body = cut(body, cylinder((45.0 * math.cos(turn), 45.0 * math.sin(turn), -1.0), UP, 4.5, 17.0))
    return _pair(body, rough)


def cross_drilled_block(stock: float = 3.0) -> Pair:
    """A 50 mm cube from the origin, `stock` all round; a hole in the middle of each of +X, -Y and +Z.

    Each is 6.8 x 15 deep to full diameter with a 118 degree point, so they do not meet.
    """
    finished = box((0.0, 0.0, 0.0), (50.0, 50.0, 50.0))
    for mouth, axis in (((50.0, 25.0, 25.0), OUT_X), ((25.0, 0.0, 25.0), (0.0, -1.0, 0.0)), ((25.0, 25.0, 50.0), UP)):
        finished = cut(finished, drill(mouth, axis, 6.8, 15.0, 118.0, 1.0))
    return _pair(finished, box((-stock, -stock, -stock), (50.0 + stock, 50.0 + stock, 50.0 + stock)))


def filleted_angle(radius: float = 6.0) -> Solid:
    """An L of two 10 mm legs (60 x 40 x 60) with a root fillet: a hollow quarter cylinder that is no hole."""
    legs = fuse(box((0.0, 0.0, 0.0), (60.0, 40.0, 10.0)), box((0.0, 0.0, 0.0), (10.0, 40.0, 60.0)))
    web = cut(
        box((10.0, 0.0, 10.0), (10.0 + radius, 40.0, 10.0 + radius)),
        cylinder((10.0 + radius, -1.0, 10.0 + radius), (0.0, 1.0, 0.0), radius, 42.0),
    )
    return solid_from_shape(fuse(legs, web), "angle")
