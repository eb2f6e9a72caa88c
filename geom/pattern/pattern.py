"""A pattern out of a casting: grown by the contraction, its bores cored, split at the parting plane, lined up by dowels.

The order is fixed: draft first, of the casting as drawn; a casting that does
not draw gets no pattern. Pieces come out as they lie on the printer's bed, flat
side down. Draw frame: Z along the draw. Lengths mm. Knows nothing of files.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from geom.errors import JobError
from geom.kernel.mesh import Mesh
from geom.pattern.bed_split import Keep, split_for_bed
from geom.pattern.bores import Bore, Uncored, sorted_bores
from geom.pattern.contraction import Stage, growth, stages
from geom.pattern.cores import Core, CoreBox, boxes_for, core_of, filling
from geom.pattern.dowels import Spot, pin
from geom.pattern.draft import Draft, draft_of
from geom.pattern.halves import Piece, follow_board, halves, turned_piece
from geom.pattern.lettered import flat_places, raised
from geom.pattern.parting import Parting, parting_of
from geom.rays.body import Body, Outline, body_of, joined
from geom.space import dot, sub
from geom.tolerance import SAME_DIRECTION, SKIN

if TYPE_CHECKING:
    from geom.model.part import Part
    from geom.settings.records import Settings

_ORDER: Final = {"z": (0, 1, 2), "x": (1, 2, 0), "y": (2, 0, 1)}
"""Part axes that are the draw frame's X, Y and Z: the draw last, turned and not mirrored."""

BOX_WALL: Final = 8.0
"""mm round a core in its box; common practice, no source."""


_TOUCH: Final = 1.0
"""mm3 that two cores may share: the laps of their fillings."""

_DRILL: Final = "leave one of them out of the casting and drill it, or have the foundry paste one core to the other"


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """A pattern and all that goes with it.

    Attributes:
        stages: the contraction, metal by metal; `growth` is their product.
        draft: of the casting as drawn.
        along: part axis along the draw; `order`: part axes that are X, Y, Z here.
        parting: where the casting parts, casting size.
        casting: as drawn, draw frame.
        whole: pattern in one piece, prints and text on; empty pieces where the draft is refused.
        cores: one for each cored bore; boxes: one for each kind of core.
        uncored: bores with straight walls that are not cored, and why.
        spots: dowels in the parting.
        dowels: how many all pieces take together.
    """

    stages: tuple[Stage, ...]
    draft: Draft
    along: int
    order: tuple[int, int, int]
    parting: Parting
    casting: Body
    whole: Body
    cores: tuple[Core, ...]
    boxes: tuple[CoreBox, ...]
    uncored: tuple[Uncored, ...]
    spots: tuple[Spot, ...]
    pieces: tuple[Piece, ...]
    dowels: int = 0

    @property
    def growth(self) -> float:
        return growth(self.stages)

    @property
    def draws(self) -> bool:
        """Whether every face has its draft."""
        return not self.draft.faults


def make_pattern(part: "Part", settings: "Settings", mesh: Mesh, letters: Sequence[Outline] = ()) -> Pattern:
    """Return the pattern of a job's casting, or its draft alone where it does not draw.

    Args:
        mesh: of the casting, closed, part frame, faces as in its surfaces.
        letters: outlines of the job's text at a capital height of 1 mm; none for no text.

    Raises:
        JobError: the parting plane misses the casting, or a core does not lie in it.
    """
    order = _ORDER[settings.pattern.draw]
    along = order[2]
    turned = Mesh(np.ascontiguousarray(mesh.vertices[:, order]), mesh.triangles, mesh.face)
    casting = body_of(turned, "casting")
    parting = parting_of(settings, casting, order)
    surfaces = part.casting.surfaces
    plain, uncored = sorted_bores(surfaces, order, casting, part.casting.size)
    if not settings.pattern.cores:
        plain, uncored = [], [*(Uncored(bore, "pattern.cores is false") for bore in plain), *uncored]
    _check_level(plain, parting, settings)
    chord = settings.printer.chord
    plain, crossing = _apart(plain, settings)
    uncored += crossing
    first = [core_of(bore, settings.label) for bore in plain]
    filled = joined([casting, *(filling(core, chord) for core in first)])
    cored = frozenset(index for bore in plain for index in bore.surfaces)
    draft = draft_of(turned, surfaces, order, cored, filled, parting, settings.pattern.draft)
    found = stages(settings)
    factor = growth(found)
    if draft.faults:
        return Pattern(found, draft, along, order, parting, casting, casting, (), (), tuple(uncored), (), ())
    cores = tuple(core_of(bore.scaled(factor), settings.label) for bore in plain)
    whole = joined([casting.moved(factor * np.eye(3), (0.0, 0.0, 0.0)), *(filling(core, chord) for core in cores)])
    if letters:
        places = flat_places(turned, surfaces, along, _as_cast(part))
        whole = raised(letters, whole, places, factor, settings.pattern.where["text"], settings.pattern.text_height)
    large = parting.scaled(factor)
    spots, pieces = halves(whole, large, settings.printer)
    pieces += follow_board(whole, large)
    printer = settings.printer
    boxes = boxes_for(cores, chord, BOX_WALL, printer.pin, printer.gap)
    pieces += _box_pieces(boxes)
    pieces, joints = _for_the_bed(pieces, cores, settings)
    dowels = len(spots) + 2 * len(boxes) + joints
    if dowels:
        words = f"dowel, {dowels} of them: one for each pair of holes, cut to their depth"
        pieces.append(Piece("pattern_pin", pin(printer.pin, 3.4 * printer.pin, chord), words))
    return Pattern(found, draft, along, order, parting, casting, whole, cores, boxes, tuple(uncored), spots, tuple(pieces), dowels)


def _as_cast(part: "Part") -> frozenset[int]:
    """Return the casting's flat surfaces that the finished part keeps: one plane with an as-cast face, and over it."""
    kept = [face for face in part.as_cast if face.kind == "plane" and face.normal is not None]
    return frozenset(
        surface.index
        for surface in part.casting.surfaces
        if surface.kind == "plane"
        and any(
            dot(face.normal, surface.normal) > 1.0 - SAME_DIRECTION
            and abs(dot(sub(face.origin, surface.origin), surface.normal)) < SKIN
            and face.area > 0.5 * surface.area
            for face in kept
            if face.normal is not None
        )
    )


def _apart(bores: list[Bore], settings: "Settings") -> tuple[list[Bore], list[Uncored]]:
    """Return the bores whose cores stand clear of each other, and those whose core would run into a larger one."""
    kept: list[tuple[Bore, Body]] = []
    bad = []
    for bore in bores:
        body = filling(core_of(bore, settings.label), settings.printer.chord)
        other = next((one for one, there in kept if (there & body).volume > _TOUCH), None)
        if other is None:
            kept.append((bore, body))
        else:
            bad.append(Uncored(bore, f"its core would run into that of the bore of {2 * other.radius:.1f} mm: {_DRILL}"))
    return [bore for bore, _ in kept], bad


def _check_level(bores: list[Bore], parting: Parting, settings: "Settings") -> None:
    """Refuse a level core whose axis is not in the parting: its prints would not draw."""
    for bore in bores:
        if bore.upright or bore.leans:
            continue
        ends = [bore.start] if bore.blind else [bore.start, bore.end]
        heights = parting.heights(np.array([end[:2] for end in ends]))
        off = [(end[2], float(z)) for end, z in zip(ends, heights, strict=True) if abs(end[2] - float(z)) > 0.05]
        if off:
            raise JobError(
                f"{settings.label}, casting.parting: the bore of {2 * bore.radius:.1f} mm lies level with its axis at "
                f"{settings.pattern.draw.upper()} {off[0][0]:.2f} mm and the parting plane at {off[0][1]:.2f} mm; part "
                "the pattern at the bore's axis, or step the parting to it ([[pattern.step]]), so that its core can be laid in, "
                "or set pattern.cores = false and drill it"
            )


def _box_pieces(boxes: tuple[CoreBox, ...]) -> list[Piece]:
    found = []
    for number, box in enumerate(boxes, 1):
        tail = "" if len(boxes) == 1 else f"_{number}"
        for side, half in zip("ab", box.halves, strict=True):
            found.append(Piece(f"core_box{tail}_{side}", half, f"core box{tail.replace('_', ' ')}, half {side.upper()}, cavity up"))
    return found


def _for_the_bed(pieces: list[Piece], cores: tuple[Core, ...], settings: "Settings") -> tuple[list[Piece], int]:
    """Return the pieces, those too large for the bed cut into some that fit, and how many dowels the cuts take."""
    found = []
    dowels = 0
    for piece in pieces:
        keep = [_room(core.bore, piece) for core in cores if piece.turn is not None]
        split = split_for_bed(piece.body, settings.printer, keep, f"{settings.label}, printer.bed: {piece.what}")
        parts = split.pieces
        dowels += split.dowels
        if len(parts) == 1:
            found.append(turned_piece(piece, split.turn))
            continue
        for number, part in enumerate(parts, 1):
            low = part.box[0][2]
            words = f"{piece.what}, piece {number} of {len(parts)}, doweled and glued together"
            found.append(Piece(f"{piece.name}_{number}", part.moved(np.eye(3), (0.0, 0.0, -low)), words, deep=piece.deep))
    return found, dowels


def _room(bore: Bore, piece: Piece) -> Keep:
    """Return the box round a bore that no cut of a piece for the bed should pass."""
    ends = np.array([bore.start, bore.end]) @ np.asarray(piece.turn).T + np.asarray(piece.shift)
    (x0, y0, z0), (x1, y1, z1) = (ends.min(axis=0) - bore.radius).tolist(), (ends.max(axis=0) + bore.radius).tolist()
    return Keep("bore", (x0, y0, z0), (x1, y1, z1))
