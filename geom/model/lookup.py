"""Faces and holes of a part found by name, and what to say when there is none.

Knows which names a part has. Knows nothing of what the name is wanted for.
"""

from collections.abc import Iterable

from geom.errors import JobError, nearest
from geom.model.part import Part, PartFace, PartHole

_LISTED = 24
"""Names a message lists before it says how many more there are."""


def face_names(part: Part) -> tuple[str, ...]:
    """Return the names of the faces a job may speak of: all but the walls of holes."""
    return tuple(face.name for face in part.faces if face.state != "hole")


def hole_names(part: Part) -> tuple[str, ...]:
    """Return the names of all holes."""
    return tuple(hole.name for hole in part.holes)


def face(part: Part, name: str, where: str) -> PartFace:
    """Return the face of that name.

    Raises:
        JobError: there is none; the message lists those there are.
    """
    found = [f for f in part.faces if f.state != "hole" and f.name == name]
    if not found:
        raise JobError(no_such("face", name, face_names(part), where))
    return found[0]


def hole(part: Part, name: str, where: str) -> PartHole:
    """Return the hole of that name.

    Raises:
        JobError: there is none; the message lists those there are.
    """
    found = [h for h in part.holes if h.name == name]
    if not found:
        raise JobError(no_such("hole", name, hole_names(part), where))
    return found[0]


def no_such(kind: str, name: str, names: Iterable[str], where: str) -> str:
    """Return the message for a name that is not there, or is the start of several."""
    known = tuple(dict.fromkeys(names))
    begun = [other for other in known if other.casefold().startswith(name.casefold())]
    if len(begun) > 1:
        return f'{where}: "{name}" could be {listed(begun)}; write the whole name of one {kind}'
    if not known:
        return f'{where}: the part has no {kind} at all, so none called "{name}"; take the name out'
    hint = f' (did you mean "{begun[0]}"?)' if begun else nearest(name, known).replace("'", '"')
    return f'{where}: the part has no {kind} called "{name}"{hint}; it has {listed(known)}'


def listed(names: Iterable[str]) -> str:
    """Return names in quotes with commas; the first few of a long list, and how many more."""
    all_names = list(names)
    shown = ", ".join(f'"{name}"' for name in all_names[:_LISTED])
    more = len(all_names) - _LISTED
    return f"{shown} and {more} more" if more > 0 else shown
