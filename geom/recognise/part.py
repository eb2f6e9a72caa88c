"""A finished part and its casting, as plain solids, turned into named features.

Which finished faces are the casting's skin and which are cut, which are walls
of holes, and what each is called. A model's declared features then give their
own names and callouts. Lengths mm, part frame. Does not measure stock.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace

from geom.kernel.shape import Solid
from geom.model.feature import Feature
from geom.model.part import FaceState, Part, PartFace, PartHole
from geom.recognise.face_groups import face_groups, is_same_form
from geom.recognise.face_names import Group, group_of, named_faces
from geom.recognise.face_state import EDGE_DOUBT, SkinShare, skin_shares
from geom.recognise.hole_source import cored_lengths, state_of, with_source
from geom.recognise.holes_found import find_holes
from geom.recognise.overlay import declared, facing
from geom.recognise.pair import check_pair
from geom.tolerance import SPLINE_FIT


def recognise(name: str, alloy: str, finished: Solid, casting: Solid, features: Sequence[Feature] = ()) -> Part:
    """Return the part with its faces and holes found and named.

    Args:
        name, alloy: as the job says.
        features: what the model declares; () for plain solids.

    Raises:
        GeometryError: the solids are not a part and its casting, or a declared feature is not in the part.
    """
    metal, rough = check_pair(finished, casting)
    shares = skin_shares(finished, casting)
    skin = {i for i, share in enumerate(shares) if share.is_skin}
    found = find_holes(finished, skin, lambda i: i not in skin, lambda origin, axis: facing(features, origin, axis), metal)
    cored = [cored_lengths(hole, rough) for hole in found]
    holes = _bores_apart([with_source(h, c) for h, c in zip(found, cored, strict=True)])
    faces = named_faces(_groups(finished, shares, holes, cored))
    faces = tuple(replace(face, skin_share=_share_of(face, finished, shares)) for face in faces)
    part = declared(Part(name, alloy, finished, casting, faces, holes), features)
    return replace(part, notes=(*_mixed_notes(part, shares), *_spline_notes(finished, skin)))


def _bores_apart(holes: Sequence[PartHole]) -> tuple[PartHole, ...]:
    """Return the holes with cored ones called "bore N" and the others "hole N", each counted in the order given."""
    counts = {"bore": 0, "hole": 0}
    names: dict[str, str] = {}
    for hole in holes:
        word = "bore" if hole.source == "core" else "hole"
        counts[word] += 1
        names[hole.name] = f"{word} {counts[word]}"
    return tuple(replace(h, name=names[h.name], pilot=names[h.pilot] if h.pilot else None) for h in holes)


# --- faces ------------------------------------------------------------------


def _groups(
    finished: Solid, shares: Sequence[SkinShare], holes: Sequence[PartHole], cored: Sequence[Sequence[bool]]
) -> list[Group]:
    owner = {i: k for k, hole in enumerate(holes) for i in hole.surfaces}
    states = [_state(i, finished, shares, holes, cored, owner) for i in range(len(finished.surfaces))]
    split = face_groups(finished, lambda i, j: states[i] == states[j] and owner.get(i) == owner.get(j))
    groups = []
    for indices in _interrupted_joined(finished, split, owner):
        hole = holes[owner[indices[0]]] if indices[0] in owner else None
        groups.append(group_of([finished.surfaces[i] for i in indices], states[indices[0]], hole))
    return groups


def _state(
    index: int,
    finished: Solid,
    shares: Sequence[SkinShare],
    holes: Sequence[PartHole],
    cored: Sequence[Sequence[bool]],
    owner: dict[int, int],
) -> FaceState:
    if shares[index].is_skin:
        return "as cast"
    if index not in owner:
        return "machined"
    return state_of(finished.surfaces[index], holes[owner[index]], cored[owner[index]])


def _interrupted_joined(finished: Solid, split: Sequence[tuple[int, ...]], owner: dict[int, int]) -> list[tuple[int, ...]]:
    """Return the groups with those of one hole and one form made one, though a gap parts them."""
    joined: list[tuple[int, ...]] = []
    for group in split:
        hole, surface = owner.get(group[0]), finished.surfaces[group[0]]
        twin = next(
            (
                i
                for i, other in enumerate(joined)
                if hole is not None and owner.get(other[0]) == hole and is_same_form(surface, finished.surfaces[other[0]])
            ),
            None,
        )
        if twin is None:
            joined.append(group)
        else:
            joined[twin] += group
    return joined


def _share_of(face: PartFace, finished: Solid, shares: Sequence[SkinShare]) -> float:
    area = sum(finished.surfaces[i].area for i in face.surfaces)
    return sum(finished.surfaces[i].area * shares[i].share for i in face.surfaces) / area if area > 0 else 0.0


# --- what a reader should know ----------------------------------------------


def _mixed_notes(part: Part, shares: Sequence[SkinShare]) -> list[str]:
    notes = []
    for face in part.faces:
        if not EDGE_DOUBT <= face.skin_share <= 1 - EDGE_DOUBT:
            continue
        x, y, z = next(m for i in face.surfaces if (m := shares[i].middle) is not None)
        notes.append(
            f"{face.name}: {100 * face.skin_share:.0f} % of it, about ({x:.1f}, {y:.1f}, {z:.1f}) mm, is the casting's skin "
            "and has no stock, the rest is cut; give the casting stock there, or draw the cut and the skin as two faces"
        )
    return notes


def _spline_notes(finished: Solid, skin: Collection[int]) -> list[str]:
    """Return what was read from splines: of cut faces, and of all faces where the file has no round face but splines."""
    plain = any(s.kind in ("cylinder", "cone") and not s.recovered for s in finished.surfaces)
    told = [s for s in finished.surfaces if not plain or s.index not in skin]
    recovered, other = sum(s.recovered for s in told), sum(s.kind == "other" for s in told)
    notes = []
    if recovered:
        notes.append(
            f"{finished.label}: {recovered} of its {len(finished.surfaces)} faces are splines read as planes, cylinders, cones or "
            f"balls, to within {SPLINE_FIT:g} mm"
        )
    if other:
        notes.append(
            f"{finished.label}: {other} of its {len(finished.surfaces)} faces are free-form; a hole with such a wall is not found"
        )
    return notes
