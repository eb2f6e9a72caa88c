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
from geom.pattern.contraction import Stage, growth, stages
from geom.pattern.cores import Bore, Core, CoreBox, bores_of, core_box, core_of, filling, is_through
from geom.pattern.dowels import Spot, dowel_spots, holes, pin
from geom.pattern.draft import Draft, draft_of
from geom.pattern.lettered import flat_places, raised
from geom.pattern.plane import area as area_of
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

_SLIVER: Final = 1.0
"""mm3 of a part that is nothing: facets that just pass the parting plane."""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One thing to print, as it lies on the bed; mm.

    Attributes:
        name: of its file and in the 3MF.
        body: flat side on Z 0.
        what: what it is, in words.
    """

    name: str
    body: Body
    what: str


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """A pattern and all that goes with it.

    Attributes:
        stages: the contraction, metal by metal; `growth` is their product.
        draft: of the casting as drawn.
        along: part axis along the draw; `order`: part axes that are X, Y, Z here.
        parting: height of the parting plane on the casting; `assumed` where the job does not say.
        casting: as drawn, draw frame.
        whole: pattern in one piece, prints and text on; empty pieces where the draft is refused.
        cores, boxes: one each per cored bore.
        uncored: bores with straight walls that are not cored.
        spots: dowels in the parting plane.
    """

    stages: tuple[Stage, ...]
    draft: Draft
    along: int
    order: tuple[int, int, int]
    parting: float
    assumed: bool
    casting: Body
    whole: Body
    cores: tuple[Core, ...]
    boxes: tuple[CoreBox, ...]
    uncored: tuple[Bore, ...]
    spots: tuple[Spot, ...]
    pieces: tuple[Piece, ...]

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
    z, assumed = parting_of(settings, casting)
    surfaces = part.casting.surfaces
    size = part.casting.size
    plain = [b for b in bores_of(surfaces, along, order, 1.0) if is_through(b, casting, size)] if settings.pattern.cores else []
    _check_level(plain, z, settings)
    chord = settings.printer.chord
    first = [core_of(bore, settings.label) for bore in plain]
    filled = joined([casting, *(filling(core, chord) for core in first)])
    cored = frozenset(index for bore in plain for index in bore.surfaces)
    draft = draft_of(turned, surfaces, order, cored, filled, z, settings.pattern.draft)
    found = stages(settings)
    factor = growth(found)
    uncored = tuple(b for b in bores_of(surfaces, along, order, 1.0) if b.surfaces[0] not in cored)
    if draft.faults:
        return Pattern(found, draft, along, order, z, assumed, casting, casting, (), (), uncored, (), ())
    bores = [b for b in bores_of(surfaces, along, order, factor) if b.surfaces[0] in cored]
    cores = tuple(core_of(bore, settings.label) for bore in bores)
    whole = joined([casting.moved(factor * np.eye(3), (0.0, 0.0, 0.0)), *(filling(core, chord) for core in cores)])
    if letters:
        places = flat_places(turned, surfaces, along, _as_cast(part))
        whole = raised(letters, whole, places, factor, settings.pattern.where["text"], settings.pattern.text_height)
    spots, pieces = _halves(whole, factor * z, settings)
    printer = settings.printer
    boxes = tuple(core_box(core, chord, BOX_WALL, printer.pin, printer.gap) for core in cores)
    pieces += _box_pieces(boxes)
    pieces = _for_the_bed(pieces, cores, settings)
    if boxes or spots or any("doweled" in piece.what for piece in pieces):
        pieces.append(
            Piece(
                "pattern_pin", pin(printer.pin, 3.4 * printer.pin, chord), "dowel: one for each pair of holes, cut to their depth"
            )
        )
    return Pattern(found, draft, along, order, z, assumed, casting, whole, cores, boxes, uncored, spots, tuple(pieces))


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


def parting_of(settings: "Settings", casting: Body) -> tuple[float, bool]:
    """Return the height of the parting plane, and whether nobody stated it (then: the casting's widest section).

    Raises:
        JobError: the plane lies outside the casting.
    """
    low, high = casting.box[0][2], casting.box[1][2]
    z = settings.casting.parting
    axis = settings.pattern.draw.upper()
    if z is None:
        heights = np.linspace(low, high, 41)
        heights[0], heights[-1] = low + 1e-3, high - 1e-3
        areas = [sum(area_of(o) for o in casting.outlines_at(float(h))) for h in heights]
        best = int(np.argmax(np.round(areas, 3)))
        return (low if best == 0 else high if best == 40 else float(heights[best])), True
    if not low - 1e-6 <= z <= high + 1e-6:
        raise JobError(
            f"{settings.label}, casting.parting: the plane at {axis} {z:g} mm misses the casting, which reaches from "
            f"{axis} {low:.2f} to {high:.2f} mm; give a height in between"
        )
    return min(max(z, low), high), False


def _check_level(bores: list[Bore], z: float, settings: "Settings") -> None:
    """Refuse a level core whose axis is not in the parting plane: its prints would not draw."""
    for bore in bores:
        if not bore.upright and abs(bore.start[2] - z) > 0.05:
            raise JobError(
                f"{settings.label}, casting.parting: the bore of {2 * bore.radius:.1f} mm lies level with its axis at "
                f"{settings.pattern.draw.upper()} {bore.start[2]:.2f} mm and the parting plane at {z:.2f} mm; part "
                "the pattern at the bore's axis so that its core can be laid in, or set pattern.cores = false and drill it"
            )


def _halves(whole: Body, z: float, settings: "Settings") -> tuple[tuple[Spot, ...], list[Piece]]:
    """Return the dowels' places and the pattern's pieces: pins are glued into the upper one, holes run free in the lower."""
    upper, lower = whole.split((0.0, 0.0, 1.0), z)
    down = (0.0, 0.0, -z)
    if lower.volume < _SLIVER or upper.volume < _SLIVER:
        one = upper if lower.volume < _SLIVER else lower
        if lower.volume < _SLIVER:
            return (), [Piece("pattern", one.moved(np.eye(3), down), "pattern in one piece, flat back down")]
        return (), [Piece("pattern", one.moved(np.diag([1.0, -1.0, -1.0]), (0.0, 0.0, z)), "pattern in one piece, flat back down")]
    printer = settings.printer
    radius = printer.pin / 2.0 + printer.hole_growth / 2.0
    made: list[Piece] = []
    spots: list[Spot] = []
    below = [part for part in lower.pieces() if part.volume > _SLIVER]
    above = joined([part for part in upper.pieces() if part.volume > _SLIVER])
    for number, loose in enumerate(below, 1):
        here, depth = _room_for_dowels(above, loose, z, radius + printer.gap, printer.wall)
        if here:
            loose = loose - holes(here, z, radius + printer.gap, depth, printer.chord)
            bores = holes(here, 0.0, radius + printer.gap / 2.0, depth, printer.chord)
            above = above - bores.moved(np.diag([1.0, 1.0, -1.0]), (0.0, 0.0, z))
        spots.extend(here)
        name = "pattern_lower" if len(below) == 1 else f"pattern_lower_{number}"
        laid = loose.moved(np.diag([1.0, -1.0, -1.0]), (0.0, 0.0, z))
        words = f"holes {depth:.1f} mm deep run free on the dowels" if here else "no room for a dowel: glue it on"
        made.append(Piece(name, laid, f"lower part, {words}"))
    return tuple(spots), [Piece("pattern_upper", above.moved(np.eye(3), down), "upper part, dowels glued in"), *made]


def _room_for_dowels(above: Body, loose: Body, z: float, radius: float, wall: float) -> tuple[tuple[Spot, ...], float]:
    """Return places for dowels and their depth each way: the deepest that leaves a wall."""
    for share in (3.4, 2.0, 1.2):
        depth = share * radius
        spots = dowel_spots(above, loose, z, radius, wall, depth)
        if spots:
            return spots, depth
    return (), 0.0


def _box_pieces(boxes: tuple[CoreBox, ...]) -> list[Piece]:
    found = []
    for number, box in enumerate(boxes, 1):
        tail = "" if len(boxes) == 1 else f"_{number}"
        for side, half in zip("ab", box.halves, strict=True):
            found.append(Piece(f"core_box{tail}_{side}", half, f"core box{tail.replace('_', ' ')}, half {side.upper()}, cavity up"))
    return found


def _for_the_bed(pieces: list[Piece], cores: tuple[Core, ...], settings: "Settings") -> list[Piece]:
    """Return the pieces, those too large for the bed cut into some that fit."""
    found = []
    keep = [_room(core.bore) for core in cores]
    for piece in pieces:
        parts = split_for_bed(piece.body, settings.printer, keep, f"{settings.label}, printer.bed: {piece.what}").pieces
        if len(parts) == 1:
            found.append(piece)
            continue
        for number, part in enumerate(parts, 1):
            low = part.box[0][2]
            words = f"{piece.what}, piece {number} of {len(parts)}, doweled and glued together"
            found.append(Piece(f"{piece.name}_{number}", part.moved(np.eye(3), (0.0, 0.0, -low)), words))
    return found


def _room(bore: Bore) -> Keep:
    """Return the box round a bore that no cut for the bed should pass."""
    low, high = np.minimum(bore.start, bore.end) - bore.radius, np.maximum(bore.start, bore.end) + bore.radius
    return Keep("bore", (float(low[0]), float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2])))
