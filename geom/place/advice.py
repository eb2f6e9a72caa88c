"""What would help a casting that falls short, with amounts. Lengths mm; words as in `geom.rows.records.Words`."""

from collections.abc import Sequence
from math import isfinite

from geom.model.part import Part, PartFace
from geom.place.placement import Certificate, FaceTake
from geom.rows.records import About, Words
from geom.stock.report import ENOUGH


def advice_for(part: Part, faces: Sequence[FaceTake], certificate: Certificate) -> tuple[Words, ...]:
    """Return what to do about the faces that fall short, least trouble first; nothing when none does."""
    unseen = [face.name for face in faces if face.state == "short" and not isfinite(face.take_min)]
    short = [face for face in faces if face.state == "short" and isfinite(face.take_min)]
    found: list[Words] = [(f"scan {name} as well, or touch it in the frame of the scan",) for name in unseen]
    if not short:
        return tuple(found)
    found.extend(_let_go(certificate))
    found.extend(_bearing(face) for face in short if 0.5 <= face.bearing < 1.0)
    found.extend(_requirement(face) for face in short if face.take_min > ENOUGH)
    found.extend(_set_back(part, short, certificate))
    faces_of = {face.name: face for face in part.machined}
    for face in short:
        if face.take_min < -ENOUGH:
            found.extend(_larger_bore(face) if _is_bore(faces_of[face.name]) else [_weld(face)])
    found.append(("or take another casting, and send the foundry the readings of ", ", ".join(face.name for face in short)))
    return tuple(found)


def _let_go(certificate: Certificate) -> list[Words]:
    """Return that held freedoms stand in the way, where they do."""
    return [
        (f"let go of the {held}: they keep the part from a better place",) for held in certificate.held_by if "freedoms" in held
    ]


def _is_bore(face: PartFace) -> bool:
    return face.hollow and face.kind in ("cylinder", "cone")


def _larger_bore(face: FaceTake) -> list[Words]:
    """Return what saves a bore whose core came out too large or aside: its wall is not welded, it is bored out further."""
    lacks = face.short_depth
    all_round = face.take_max < 0
    why = ": it is too large all round, so shifting the part does not help" if all_round else ""
    return [
        (
            f"bore {face.name} at least ",
            2.0 * lacks,
            " over size (",
            2.0 * (lacks + face.required),
            f" to cut the whole allowance too) and press in a bush{why}; only where the wall round it may be that much thinner",
        ),
        (f"or leave {face.name} over size, if what goes into it can be made to fit",),
    ]


def _bearing(face: FaceTake) -> Words:
    share = int(100.0 * face.bearing)
    return (
        f"accept {share} % bearing on {face.name}, if the seat may have it: the patch that stays rough is up to ",
        face.short_depth,
        " deep",
    )


def _requirement(face: FaceTake) -> Words:
    return (
        "accept ",
        face.take_min,
        f" of stock on {face.name} instead of ",
        face.required,
        ": the cutter then works nearer the skin",
    )


def _set_back(part: Part, short: Sequence[FaceTake], certificate: Certificate) -> list[Words]:
    """Return by how much a flat face would have to be cut deeper: its multiplier says what a mm there wins everywhere."""
    want = -min(face.margin for face in short)
    weight: dict[str, float] = {}
    for point in certificate.binding:
        weight[point.face] = weight.get(point.face, 0.0) + point.weight
    flat = {face.name for face in part.machined if face.normal is not None}
    lines: list[Words] = []
    for name in sorted((n for n in weight if n in flat and weight[n] > 0.05), key=lambda n: (-round(weight[n], 6), n)):
        lines.append(
            (
                f"or cut {name} deeper than drawn, by ",
                want / weight[name],
                ", if the part may be that much thinner, and place it again",
            )
        )
    return lines


def _weld(face: FaceTake) -> Words:
    where = face.short_at or face.thinnest
    return (
        f"build up {face.name} by welding, if the metal and the use allow it: ",
        face.short_depth + face.required,
        " high, the cut to come included, round X ",
        About(where[0]),
        ", Y ",
        About(where[1]),
        ", Z ",
        About(where[2]),
    )
