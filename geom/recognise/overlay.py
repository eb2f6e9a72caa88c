"""A model's declared features laid over what was found: their names and callouts.

Each declared feature must be there, no face can be claimed twice, and a hole
must have the diameter its callout asks for. Lengths mm, part frame. Knows
nothing of castings or of jobs' own settings.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from geom.errors import GeometryError
from geom.kernel.shape import Surface
from geom.model.feature import Bore, Boss, Feature, Hole, Slot
from geom.model.feature_shape import face_name, is_same_hole
from geom.model.part import Part, PartFace, PartHole
from geom.ranking import in_order
from geom.space import Vec3, cross, dot, norm, sub
from geom.standards.suggest import MATCH
from geom.tolerance import SAME_AXIS, SAME_DIRECTION


def declared(part: Part, features: Sequence[Feature]) -> Part:
    """Return the part with the names and callouts of the features.

    Raises:
        GeometryError: a feature is not in the part, two features claim one face or hole, or a
            callout's diameter is not the model's.
    """
    _check_names(features)
    taken = {f.name for f in features}
    holes = _declared_holes(part, [f for f in features if isinstance(f, Hole | Bore)], taken)
    renamed = {old.name: new for old, new in zip(part.holes, holes, strict=True)}
    faces = [_with_hole_name(face, renamed) for face in part.faces]
    claims = _all_claims(part, faces, [f for f in features if not isinstance(f, Hole | Bore)])
    claimed = [_claimed(face, claims.get(i)) for i, face in enumerate(faces)]
    pilots = tuple(replace(h, pilot=renamed[h.pilot].name) if h.pilot else h for h in holes)
    return replace(part, faces=_told_apart(claimed, claims, taken), holes=pilots)


def facing(features: Sequence[Feature], origin: Vec3, axis: Vec3) -> Vec3 | None:
    """Return the outward axis of the hole declared on a line, or None when none is."""
    for feature in features:
        if isinstance(feature, Hole | Bore) and _on_line(feature, origin, axis):
            return feature.axis
    return None


def _check_names(features: Sequence[Feature]) -> None:
    seen: set[str] = set()
    for feature in features:
        if feature.name in seen:
            raise GeometryError(f"feature {feature.name!r} is declared twice; give each feature a name of its own")
        seen.add(feature.name)


# --- holes ------------------------------------------------------------------


def _declared_holes(part: Part, features: Sequence[Hole | Bore], taken: set[str]) -> list[PartHole]:
    holes = list(part.holes)
    owner: dict[int, str] = {}
    for feature in features:
        index = _match(feature, part.holes, owner)
        owner[index] = feature.name
        holes[index] = replace(holes[index], name=feature.name, callout=feature.callout)
        _check_callout(feature, part.holes[index])
    free = {h.name for i, h in enumerate(holes) if i not in owner} | taken
    for i, hole in enumerate(holes):
        if i not in owner and hole.name in taken:
            holes[i] = replace(hole, name=_free(hole.name.rpartition(" ")[0], free))
    return holes


def _match(feature: Hole | Bore, holes: Sequence[PartHole], owner: dict[int, str]) -> int:
    """Return the hole a feature declares; where both mouths of a through hole fit, the one that faces its way."""
    found = [i for i, h in enumerate(holes) if is_same_hole(feature, h.centre, h.axis, h.diameter)]
    free = [i for i in found if i not in owner]
    if free:
        return max(free, key=lambda i: (dot(holes[i].axis, feature.axis) > 0, holes[i].pilot is None, -i))
    if found:
        raise GeometryError(
            f"features {owner[found[0]]!r} and {feature.name!r} are one hole in the model, {found_hole(holes[found[0]])}; "
            "declare it once"
        )
    raise GeometryError(_missing(feature, holes))


def _missing(feature: Hole | Bore, holes: Sequence[PartHole]) -> str:
    there = [h for h in holes if _on_line(feature, h.centre, h.axis)]
    if there:
        found = ", ".join(f"{h.diameter:.4g}" for h in there)
        return (
            f"feature {feature.name!r} asks for a hole of {feature.diameter:.4g} mm, but the model's on that axis is {found} mm; "
            "correct the callout or the model"
        )
    x, y, z = feature.centre
    nearest = min(holes, key=lambda h: norm(sub(h.centre, feature.centre)), default=None)
    hint = f"the nearest is {found_hole(nearest)}" if nearest else "the model has no holes"
    return (
        f"feature {feature.name!r}: the finished part has no hole of {feature.diameter:.4g} mm at ({x:.4g}, {y:.4g}, {z:.4g}) mm; "
        f"{hint}. Cut it in the model, or correct the feature"
    )


def found_hole(hole: PartHole) -> str:
    """Return a hole in words: diameter and place."""
    x, y, z = hole.centre
    return f"{hole.diameter:.4g} mm at ({x:.4g}, {y:.4g}, {z:.4g}) mm"


def _on_line(feature: Hole | Bore, point: Vec3, axis: Vec3) -> bool:
    off = norm(cross(sub(point, feature.centre), feature.axis))
    return norm(cross(axis, feature.axis)) <= SAME_DIRECTION and off <= SAME_AXIS


def _check_callout(feature: Hole | Bore, hole: PartHole) -> None:
    if feature.callout is not None and abs(feature.callout.diameter - hole.diameter) > MATCH:
        raise GeometryError(
            f"feature {feature.name!r}: {feature.callout.text!r} is a hole of {feature.callout.diameter:.4g} mm, "
            f"but the model's is {hole.diameter:.4g} mm; correct the callout or the model"
        )


def _with_hole_name(face: PartFace, renamed: dict[str, PartHole]) -> PartFace:
    if face.hole is None:
        return face
    new = renamed[face.hole].name
    return replace(face, name=new + face.name.removeprefix(face.hole), hole=new)


# --- faces ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Claim:
    """A face, by its place in the list, that a feature names."""

    face: int
    name: str
    feature: str


def _all_claims(part: Part, faces: Sequence[PartFace], features: Sequence[Feature]) -> dict[int, _Claim]:
    claims: dict[int, _Claim] = {}
    for feature in features:
        mine = list(_claims(feature, faces, part.finished.surfaces))
        if not mine:
            raise GeometryError(_no_face(feature))
        for claim in mine:
            if claim.face in claims:
                raise GeometryError(
                    f"features {claims[claim.face].feature!r} and {feature.name!r} both claim the face {faces[claim.face].name!r}; "
                    "bound one of them by a diameter or corners"
                )
            claims[claim.face] = claim
    return claims


def _claims(feature: Feature, faces: Sequence[PartFace], surfaces: Sequence[Surface]) -> Iterator[_Claim]:
    """Yield the faces that are a feature's own: outside faces, and flat floors of holes (a spot-face is one)."""
    for i, face in enumerate(faces):
        if face.hole is not None and face.kind != "plane":
            continue
        names = {name for s in face.surfaces if (name := face_name(feature, surfaces[s]))}
        if names:
            yield _Claim(i, min(names), feature.name)


def _claimed(face: PartFace, claim: _Claim | None) -> PartFace:
    if claim is None:
        return face
    return replace(face, name=claim.name, state="machined" if face.state == "hole" else face.state)


def _no_face(feature: Feature) -> str:
    x, y, z = feature.centre
    what = {Boss: "boss end or side", Slot: "slot wall or floor"}.get(type(feature), "flat face")
    return (
        f"feature {feature.name!r}: the finished part has no {what} at ({x:.4g}, {y:.4g}, {z:.4g}) mm for it; "
        "cut it in the model, or correct its place"
    )


def _told_apart(faces: Sequence[PartFace], claims: Mapping[int, _Claim], taken: set[str]) -> tuple[PartFace, ...]:
    """Return the faces with equal names numbered: claimed ones first, then the larger, then by place."""
    same: dict[str, list[int]] = {}
    for i, face in enumerate(faces):
        same.setdefault(face.name, []).append(i)
    used = set(same) | taken
    renamed = list(faces)
    for name, indices in same.items():
        order = in_order(
            indices,
            lambda i: i not in claims,
            lambda i: -faces[i].area,
            lambda i: faces[i].centroid[0],
            lambda i: faces[i].centroid[1],
            lambda i: faces[i].centroid[2],
        )
        for i in order[1:]:
            renamed[i] = replace(faces[i], name=_free(name, used))
    return tuple(renamed)


def _free(name: str, used: set[str]) -> str:
    """Return the name with the first number from 2 on that is not in use, and mark it used."""
    number = next(n for n in range(2, len(used) + 3) if f"{name} {n}" not in used)
    used.add(f"{name} {number}")
    return f"{name} {number}"
