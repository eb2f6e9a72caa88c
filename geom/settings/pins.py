"""Pins of a job against its part and its shop: every name is there, and no two contradict the part's shape.

Directions in the part frame. Knows nothing of what the planner makes of a pin.
"""

from typing import Final

from geom.errors import JobError, nearest
from geom.model.lookup import face, face_names, hole_names, listed, no_such
from geom.model.part import Part, PartFace
from geom.settings.records import Settings
from geom.shop.records import Shop
from geom.space import Vec3, dot, scale
from geom.toml.pins import Pin

WAYS: Final[dict[str, Vec3]] = {
    "+x": (1.0, 0.0, 0.0),
    "-x": (-1.0, 0.0, 0.0),
    "+y": (0.0, 1.0, 0.0),
    "-y": (0.0, -1.0, 0.0),
    "+z": (0.0, 0.0, 1.0),
    "-z": (0.0, 0.0, -1.0),
}

_LEAN: Final = 0.26
"""Sine of 15 degrees: a face that leans further is neither level nor upright, whatever its draft."""

_SAME_HEIGHT: Final = 0.005
"""mm: parallels closer than this are the same."""


def check_pins(part: Part, settings: Settings) -> None:
    """Refuse a pin that the part or the shop cannot keep.

    Raises:
        JobError: an unknown face, feature or cutter, a seat that does not look down, a jaw face that does not stand upright, a
            holding that the shop does not own, a nest with jaws or parallels.
    """
    for pin in settings.setups.pins:
        _check_nest(pin)
        _check_shop(pin, settings.tooling, settings.units)
        _check_features(pin, part)
        _check_sides(pin, part)


def up_of(pin: Pin, part: Part) -> Vec3 | None:
    """Return the direction that a pin turns to the spindle, part frame: as it says, or against its plane seat; None when open.

    Raises:
        JobError: it names a face that the part does not have, or that is not plane.
    """
    if pin.up:
        return way_of(pin.up, part, pin.at("up"))
    if pin.seat:
        seat = face(part, pin.seat, pin.at("seat"))
        return scale(seat.normal, -1.0) if seat.normal is not None else None
    return None


def way_of(name: str, part: Part, where: str) -> Vec3:
    """Return the direction a side faces, part frame.

    Args:
        name: of a plane face, or "+x" ... "-z".
        where: what says so, for messages.

    Raises:
        JobError: the part has no such face, or it is not plane.
    """
    if name.lower() in WAYS:
        return WAYS[name.lower()]
    found = face(part, name, where)
    if found.kind != "plane" or found.normal is None:
        raise JobError(
            f'{where}: "{name}" is a {found.kind}, which has no one way up; name a plane face, or +x, -x, +y, -y, +z, -z'
        )
    return found.normal


def _check_nest(pin: Pin) -> None:
    """Refuse what only jaws and straps have where the work lies in a printed nest."""
    others = [
        (key, what)
        for key, what in (("fixed_jaw", "fixed jaw"), ("clamp", "clamp face"), ("parallels", "parallels"))
        if getattr(pin, key) not in ("", None)
    ]
    if pin.hold == "nest" and others:
        key, what = others[0]
        raise JobError(
            f"{pin.at(key)}: set-up {pin.number} lies in a printed nest, which carries the skin itself and takes no {what}; "
            f'take {key} out, or hold = "nest"'
        )


# --- against the shop -------------------------------------------------------


def _check_shop(pin: Pin, shop: Shop, units: str) -> None:
    names = list(dict.fromkeys(cutter.name for cutter in shop.cutters if cutter.kind in ("face mill", "end mill")))
    if pin.cutter and pin.cutter not in names:
        hint = nearest(pin.cutter, names).replace("'", '"')
        raise JobError(f'{pin.at("cutter")}: {_owner(shop)} has no milling cutter "{pin.cutter}"{hint}; it has {listed(names)}')
    vise = shop.vise
    if pin.hold == "angle plate" and vise.angle_plate is None:
        raise JobError(
            f"{pin.at('hold')}: {_owner(shop)} has no angle plate; hold the work otherwise, or add angle_plate to [shop.vise]"
        )
    if pin.hold == "table" and not vise.table_clamps:
        raise JobError(
            f"{pin.at('hold')}: {_owner(shop)} has no table clamps; hold the work otherwise, "
            "or set table_clamps = true in [shop.vise]"
        )
    if pin.hold == "vise" and pin.parallels and not any(abs(p - pin.parallels) <= _SAME_HEIGHT for p in vise.parallels):
        owned = ", ".join(_size(p, units) for p in vise.parallels) or "none"
        raise JobError(
            f"{pin.at('parallels')}: {_owner(shop)} has no parallels of {_size(pin.parallels, units)}; it has {owned}; "
            "take one of those, or add yours to parallels in [shop.vise]"
        )


def _owner(shop: Shop) -> str:
    return "the assumed shop" if shop.assumed else f'the shop "{shop.name}"' if shop.name else "the shop"


def _size(mm: float, units: str) -> str:
    return f"{mm / 25.4:.4g} in" if units == "inch" else f"{mm:.4g} mm"


# --- against the part -------------------------------------------------------


def _check_features(pin: Pin, part: Part) -> None:
    where = pin.at("features")
    faces = {f.name: f for f in part.faces if f.state != "hole"}
    for name in pin.features:
        found = faces.get(name)
        if found is None and name not in hole_names(part):
            raise JobError(no_such("face or hole", name, (*face_names(part), *hole_names(part)), where))
        if found is not None and found.state == "as cast":
            raise JobError(f'{where}: "{name}" stays as cast, so no set-up makes it; take it out')


def _check_sides(pin: Pin, part: Part) -> None:
    seat = face(part, pin.seat, pin.at("seat")) if pin.seat else None
    sides = [(key, face(part, name, pin.at(key))) for key in ("fixed_jaw", "clamp") if (name := getattr(pin, key))]
    up = up_of(pin, part)
    if up is None:
        return
    if seat is not None and seat.normal is not None and dot(seat.normal, up) > -1.0 + _LEAN**2:
        raise JobError(
            f'{pin.at("seat")}: "{seat.name}" does not look down when {_told(pin)} faces up, so the work cannot sit on it; '
            f"name one of {listed(_looking(part, scale(up, -1.0)))}, or turn another side up"
        )
    for key, side in sides:
        held = key == "fixed_jaw" or pin.hold == "vise"
        if held and side.normal is not None and abs(dot(side.normal, up)) > _LEAN:
            raise JobError(
                f'{pin.at(key)}: "{side.name}" does not stand upright when {_told(pin)} faces up, so no jaw bears on it; '
                f"name one of {listed(_upright(part, up))}"
            )


def _told(pin: Pin) -> str:
    return f'"{pin.up}"' if pin.up and pin.up.lower() not in WAYS else pin.up or f'the side opposite "{pin.seat}"'


def _planes(part: Part) -> list[PartFace]:
    return [f for f in part.faces if f.state != "hole" and f.kind == "plane" and f.normal is not None]


def _looking(part: Part, way: Vec3) -> list[str]:
    return [f.name for f in _planes(part) if f.normal is not None and dot(f.normal, way) >= 1.0 - _LEAN**2]


def _upright(part: Part, up: Vec3) -> list[str]:
    return [f.name for f in _planes(part) if f.normal is not None and abs(dot(f.normal, up)) <= _LEAN]
