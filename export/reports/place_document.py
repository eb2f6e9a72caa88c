"""Where the finished part lies in the casting as received, as JSON: mm, degrees, part frame.

Reads what was placed and decides nothing.
"""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from export.number import sentence
from export.reports.hole import exact, exact_point
from export.reports.place import note_sentence
from geom.datum.zero import Zero
from geom.place.ask import Ask
from geom.place.castings import Placed, ranking
from geom.place.placement import Binding, FaceTake, Placement
from geom.rigid import Rigid

if TYPE_CHECKING:
    from geom.job import Job


def place_document(placed: Sequence[Placed], job: "Job", zero: Zero) -> dict[str, Any]:
    """Return the best casting's placement as a JSON document, the other castings in a list beside it."""
    document = {"part": job.part.name, "alloy": job.part.alloy, **_entry(placed[0], zero)}
    ranks = ranking(placed)
    document["castings"] = [
        {
            "rank": r.rank,
            "name": r.placement.name,
            "verdict": r.placement.verdict,
            "least_margin": exact(r.placement.least_margin),
            "reason": sentence(r.reason, "mm"),
            **({} if p is placed[0] else {"placement": _entry(p, zero)}),
        }
        for r, p in zip(ranks, placed, strict=True)
    ]
    return document


def _entry(placed: Placed, zero: Zero) -> dict[str, Any]:
    found = placed.placement
    low, high = found.margin_95
    return {
        "casting": placed.name,
        "measured": placed.measured,
        "readings": placed.readings.count,
        "scan": placed.readings.scan is not None,
        "verdict": found.verdict,
        "least_margin": exact(found.least_margin),
        "margin_sigma": exact(found.margin_sigma),
        "margin_95": [exact(low), exact(high)],
        "likely_least": exact(found.odds.likely_least),
        "chance_short": exact(found.odds.chance_short),
        "chance_missing": exact(found.odds.chance_missing),
        "least_metal": exact(found.thinnest.take_min),
        "metal_95": [exact(found.odds.metal_low), exact(found.odds.metal_high)],
        "shift": exact_point(found.shift),
        "turn": exact_point(found.turn),
        "to_part": _rigid(placed.to_part),
        "faces": [_face_entry(face) for face in found.faces],
        "certificate": {
            "best": exact(found.certificate.best),
            "gap": float(f"{found.certificate.gap:.1e}"),
            "held_by": list(found.certificate.held_by),
            "binding": [_binding_entry(b) for b in found.certificate.binding],
            "others": [exact(v) for v in found.certificate.others],
        },
        "stages": [{"name": s.name, "value": exact(s.value)} for s in found.stages],
        "instructions": [sentence(words, "mm") for words in placed.instructions(zero).lines],
        "advice": [sentence(words, "mm") for words in found.advice],
        "ask": [_ask_entry(ask) for ask in placed.asks],
        "scan_leaves_open": [sentence(words, "mm") for words in placed.open_still],
        "other_ways": [
            {
                "words": way.words,
                "verdict": way.placement.verdict,
                "least_margin": exact(way.placement.least_margin),
                "least_metal": exact(way.placement.thinnest.take_min),
            }
            for way in placed.other_ways
        ],
        "free": list(placed.received.free),
        "set_aside": list(placed.received.set_aside),
        "held": _held_entry(found),
        "notes": [note_sentence(note, "mm") for note in placed.notes],
    }


def _rigid(move: Rigid) -> dict[str, Any]:
    return {"shift": exact_point(move.shift), "turn": exact_point(move.turn)}


def _face_entry(face: FaceTake) -> dict[str, Any]:
    return {
        "name": face.name,
        "take": {"min": _known(face.take_min), "max": _known(face.take_max)},
        "required": exact(face.required),
        "required_by": face.source,
        "margin": _known(face.margin),
        "margin_sigma": _known(face.margin_sigma),
        "bearing": exact(face.bearing),
        "bearing_needed": exact(face.bearing_needed),
        "state": face.state,
        "short_area": exact(face.short_area),
        "short_depth": exact(face.short_depth),
        "short_at": None if face.short_at is None else exact_point(face.short_at),
        "thinnest": exact_point(face.thinnest),
        "unseen": exact(face.unseen),
    }


def _known(value: float) -> float | None:
    return exact(value) if math.isfinite(value) else None


def _binding_entry(one: Binding) -> dict[str, Any]:
    return {"face": one.face, "at": exact_point(one.at), "weight": exact(one.weight), "rate": [exact(v) for v in one.rate]}


def _ask_entry(ask: Ask) -> dict[str, Any]:
    return {
        "kind": ask.kind,
        "faces": list(ask.faces),
        "at": exact_point(ask.at),
        "expected": exact(ask.expected),
        "expected_sigma": exact(ask.expected_sigma),
        "width_before": exact(ask.before),
        "width_after": exact(ask.after),
    }


def _held_entry(found: Placement) -> dict[str, Any] | None:
    held = found.held
    if held is None:
        return None
    return {
        "freedoms": list(held.freedoms),
        "least_margin": exact(held.least_margin),
        "gain": exact(held.gain),
        "shift": exact_point(held.shift),
        "turn": exact_point(held.turn),
    }
