"""`[faces]` and `[holes]` laid over what was found in the part: names, callouts, drill points.

Checks every name against the part, and every callout against the metal. Knows
nothing of stock or set-ups.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Final, TypeVar

from geom.errors import JobError
from geom.model.lookup import face, hole
from geom.model.part import Part, PartFace, PartHole
from geom.settings.records import FaceSettings, HoleSettings, Settings
from geom.standards.callout import Callout

CALLOUT_FIT: Final = 0.05
"""Shop tolerance, mm: a modelled diameter this close to the callout's is the same hole; half the step
between common metric drills."""

_THREAD_DEPTH: Final = 1.3
"""A modelled tapped hole may be drawn at any diameter from the major less this many pitches (full thread) to the major."""

_Asked = TypeVar("_Asked", FaceSettings, HoleSettings)


def dressed(part: Part, settings: Settings) -> tuple[Part, Settings]:
    """Return the part with the job's names and callouts, and the settings keyed by those names.

    Raises:
        JobError: a face or hole the part does not have, a new name that is taken, or a callout the hole is not cut to.
    """
    for name, asked in settings.faces.items():
        _check_machined(face(part, name, asked.where), asked)
    for name, wanted in settings.holes.items():
        _check_callout(hole(part, name, wanted.where), wanted, settings.units)
    holes, faces = _new_names(settings.holes), _new_names(settings.faces)
    _check_unique(part, settings, holes, faces)
    return _dressed_part(part, settings, faces, holes), replace(
        settings, faces=_rekeyed(settings.faces, faces), holes=_rekeyed(settings.holes, holes)
    )


def _check_machined(found: PartFace, asked: FaceSettings) -> None:
    """Refuse stock asked for on a face that stays as cast: it will never be cut."""
    cuts = asked.required is not None or asked.leave is not None or asked.bearing < 1
    if found.state == "as cast" and cuts:
        raise JobError(
            f'{asked.where}: "{found.name}" stays as cast, so nothing is cut there; take required, bearing and leave out'
        )


def _dressed_part(part: Part, settings: Settings, faces: Mapping[str, str], holes: Mapping[str, str]) -> Part:
    new_faces = tuple(
        replace(f, name=faces.get(f.name, f.name), hole=None if f.hole is None else holes.get(f.hole, f.hole)) for f in part.faces
    )
    return replace(part, faces=new_faces, holes=tuple(_dressed_hole(h, settings, holes) for h in part.holes))


def _dressed_hole(found: PartHole, settings: Settings, names: Mapping[str, str]) -> PartHole:
    asked = settings.holes.get(found.name)
    callout = asked.callout if asked and asked.callout else found.callout
    return replace(found, name=names.get(found.name, found.name), callout=callout)


def _new_names(asked: Mapping[str, FaceSettings] | Mapping[str, HoleSettings]) -> dict[str, str]:
    return {old: one.name for old, one in asked.items() if one.name is not None}


def _rekeyed(asked: Mapping[str, _Asked], names: Mapping[str, str]) -> dict[str, _Asked]:
    return {names.get(name, name): one for name, one in asked.items()}


def _check_unique(part: Part, settings: Settings, holes: Mapping[str, str], faces: Mapping[str, str]) -> None:
    """Refuse a new name that another face or hole has, or gets."""
    kept = [f.name for f in part.faces if f.name not in faces] + [h.name for h in part.holes if h.name not in holes]
    taken = set(kept)
    renamed: Iterable[tuple[str, str, str]] = (
        *((settings.faces[old].where, old, new) for old, new in faces.items()),
        *((settings.holes[old].where, old, new) for old, new in holes.items()),
    )
    for where, old, new in renamed:
        if new in taken:
            raise JobError(f'{where}: "{old}" cannot be called "{new}", another face or hole has that name; choose one of its own')
        taken.add(new)


def _check_callout(found: PartHole, asked: HoleSettings, units: str) -> None:
    """Refuse a callout whose sizes are not those cut in the model: the printed text must match the metal."""
    callout = asked.callout
    if callout is None:
        return
    low, high = _allowed(callout)
    if not low <= found.diameter <= high:
        raise JobError(
            f'{asked.where}: "{callout.text}" is a hole of {_size(callout.diameter, units)}, but the part has '
            f"{_size(found.diameter, units)} there; correct the callout or the model"
        )
    _check_mouth(found, callout, asked.where, units)


def _allowed(callout: Callout) -> tuple[float, float]:
    if callout.thread is not None:
        full = callout.thread.major - _THREAD_DEPTH * callout.thread.pitch
        return min(full, callout.diameter) - CALLOUT_FIT, callout.thread.major + CALLOUT_FIT
    return callout.diameter - CALLOUT_FIT, callout.diameter + CALLOUT_FIT


def _check_mouth(found: PartHole, callout: Callout, where: str, units: str) -> None:
    pairs = (
        ("counterbore", callout.counterbore, found.counterbore.diameter if found.counterbore else None),
        ("countersink", callout.countersink, found.countersink.diameter if found.countersink else None),
    )
    for word, wanted, cut in pairs:
        if wanted is not None and (cut is None or abs(cut - wanted[0]) > CALLOUT_FIT):
            there = f"one of {_size(cut, units)}" if cut is not None else "none"
            raise JobError(
                f'{where}: "{callout.text}" has a {word} of {_size(wanted[0], units)}, but the part has {there}; '
                "correct the callout or the model"
            )


def _size(mm: float, units: str) -> str:
    return f"{mm / 25.4:.4g} in" if units == "inch" else f"{mm:.4g} mm"
