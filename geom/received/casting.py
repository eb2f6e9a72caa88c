"""The casting as received: where it lies among the readings, and how far each wall is off its drawn place.

One Gaussian least squares over everything read: the rigid place of the drawn
casting in the measuring frame, every wall's offset and tilt (before any reading
as sure as its casting tolerance grade makes it), every hollow's depth. The
answer is a mean and a covariance. Lengths mm, part frame unless said; offsets
count along outward normals, + = proud. Knows nothing of where the finished part
should go.

Source: the linear Gaussian update (Gauss 1809; any text on least squares with
prior knowledge); outliers are judged by each reading's distance from what all
the others say of it, in its own standard deviations (studentised deleted
residual, Belsley, Kuh and Welsch 1980).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

import numpy as np

from geom.errors import ReadingError
from geom.model.part import Part
from geom.rays.analytic import Floats, Ints
from geom.readings.records import SIGMA, CutAndSee, Height, LowSpot, Readings, Thickness, Touch
from geom.received.faces import Walls, face_skin, over_skin, spacing_of, walls_of
from geom.received.locate import Tips, heights_of
from geom.received.parting import across_beside, tips_beside
from geom.received.rows import Measured, SkinModel, height, measured, thickness
from geom.received.solve import Estimate, Lines, solve
from geom.received.spots import Spot, Spots, spot_of
from geom.received.touches import located_tips
from geom.rigid import STAY, Rigid
from geom.rows.words import Note, Words
from geom.settings.parting import Parting
from geom.space import Vec3
from geom.standards.alloy import alloy
from geom.standards.tolerance_grades import default_grades

if TYPE_CHECKING:
    from geom.rays.rays import Skin

How: TypeAlias = Literal["measured", "thickness", "drawn"]

_WILD: Final = 5.0
"""A reading this many standard deviations from what all others say of it is set aside."""

_WILD_LEAST: Final = 0.5
"""...if it is also this far off, mm: below, it does no harm."""

_MOST_WILD: Final = 0.25
"""Share of the readings that may be set aside; beyond it the readings do not belong together."""


@dataclass(frozen=True, slots=True)
class SkinDeviation:
    """How far one wall of the casting lies off its drawn place.

    Attributes:
        faces: names of the part's faces it was measured as.
        surfaces: indices into `Part.casting.surfaces`.
        offset, sigma: mean and standard deviation, mm.
        tilt: of a plane, mm at the rim along its two directions; of a round wall, its two sideways shifts.
        how: "measured" (touch or height), "thickness" (only as one side of one) or "drawn" (tolerance grade).
    """

    faces: tuple[str, ...]
    surfaces: tuple[int, ...]
    offset: float
    sigma: float
    tilt: tuple[float, float]
    how: How


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A reading that could be taken.

    Attributes:
        kind: "touch", "height" or "thickness".
        faces: the face, or both of a thickness; of a height the face and the seat.
        at: where on the skin.
        expected, expected_sigma: what it will most likely read (for a touch: how far off the drawn skin), and how surely.
        row: (6 + k,) how it changes with place and skin.
        sigma: its own uncertainty.
    """

    kind: Literal["touch", "height", "thickness"]
    faces: tuple[str, ...]
    at: Vec3
    expected: float
    expected_sigma: float
    row: Floats = field(repr=False)
    sigma: float


@dataclass(frozen=True, slots=True, eq=False)
class AsReceived:
    """One casting as measured.

    Attributes:
        to_part: measuring frame -> part frame, where the drawn casting is located best.
        faces: one entry a wall, in the casting's order.
        spots: hollows.
        scan: the scanned skin, part frame; it then stands in for all deviations.
        scan_sigma: standard uncertainty, mm, that all points of a scanned face share.
        mean: (k,) parameters of the skin; covariance: (k, k), the place in the measuring frame left open.
        joint: (6 + k, 6 + k): place (shift, turn as mm at `part.casting.size`), then skin.
        free: directions that no touch fixes: the drawing's own axes stand in.
        set_aside: sources of readings left out.
        notes: whole sentences.
    """

    part: Part
    name: str
    to_part: Rigid
    faces: tuple[SkinDeviation, ...]
    spots: tuple[Spot, ...]
    scan: "Skin | None"
    scan_sigma: float
    mean: Floats
    covariance: Floats
    joint: Floats
    free: tuple[str, ...]
    set_aside: tuple[str, ...]
    notes: tuple[Note, ...]
    grade: int
    residuals: tuple[tuple[str, float, float], ...]
    model: SkinModel = field(repr=False)

    def deviation_at(self, surface: int, points: Floats) -> Floats:
        """Return how far the skin over points (n, 3) of one surface of the casting is off its drawn place, mm (n,)."""
        return self.skin_rows(points, np.full(len(points), surface, dtype=np.int64))[0]

    def skin_rows(self, points: Floats, surfaces: Ints) -> tuple[Floats, Floats]:
        """Return the skin's offset at points on the drawn skin, and how it changes with the parameters.

        Args:
            points: (n, 3) part frame; surfaces: (n,) of the casting.

        Returns:
            Offsets (n,) mm along the drawn outward normal; jacobian (n, k), to go with `covariance`.
        """
        normals = over_skin(self.part.casting, surfaces, points)[1]
        rows = self.model.offset_rows(points, normals, surfaces)
        return rows @ self.mean, rows

    def variance_with(self, row: Floats, candidate: Candidate) -> float:
        """Return the variance of row (k,) . parameters after a reading that has not been taken yet.

        Source: rank-one update of a covariance (Sherman and Morrison 1950).
        """
        wide = np.concatenate([np.zeros(6), row])
        seen = self.joint @ candidate.row
        return float(wide @ self.joint @ wide - (wide @ seen) ** 2 / (candidate.row @ seen + candidate.sigma**2))

    def touch_candidate(self, face: str, at: Vec3) -> Candidate:
        """Return a touch on a face at a rough place."""
        skin = face_skin(self.part, face)
        here = skin.nearest(np.array(at))
        surface = skin.surface[here : here + 1]
        high, normal = over_skin(self.part.casting, surface, np.array([at]))
        spot = np.array(at)[None] - high[:, None] * normal
        from geom.received.locate import rigid_rows

        place = rigid_rows(normal, spot, np.array(self.part.casting.centre), self.part.casting.size)[0]
        row = np.concatenate([place, -self.model.offset_rows(spot, normal, surface)[0]])
        off = float(-row[6:] @ self.mean)
        x, y, z = spot[0].tolist()
        return self._candidate("touch", (face,), (x, y, z), off, row)

    def height_candidate(self, face: str, seat: str, up: Vec3, at: Vec3 | None = None) -> Candidate:
        """Return a height of a face over the plate the seat stands on."""
        expected = height(self.model, face, seat, up, at)
        row = np.concatenate([np.zeros(6), expected.row])
        return self._candidate("height", (face, seat), expected.at, expected.value + float(expected.row @ self.mean), row)

    def thickness_candidate(self, faces: tuple[str, str], at: Vec3 | None = None) -> Candidate:
        """Return a thickness across two faces."""
        expected = thickness(self.model, faces, at)
        row = np.concatenate([np.zeros(6), expected.row])
        return self._candidate("thickness", faces, expected.at, expected.value + float(expected.row @ self.mean), row)

    def _candidate(
        self, kind: Literal["touch", "height", "thickness"], faces: tuple[str, ...], at: Vec3, value: float, row: Floats
    ) -> Candidate:
        sigma = SIGMA[kind]
        return Candidate(kind, faces, at, value, float(np.sqrt(row @ self.joint @ row + sigma**2)), row, sigma)


def receive(
    part: Part,
    readings: Readings,
    scan: "Skin | None" = None,
    *,
    grade: int | None = None,
    scan_sigma: float | None = None,
    parting: Parting | None = None,
) -> AsReceived:
    """Return the casting as the readings tell of it.

    Args:
        scan: the registered scan, part frame; it replaces every deviation.
        grade: DCTG the casting was ordered to; None for the usual one of its alloy.
        scan_sigma: of a scanned point, mm; None for what the readings say or the default.
        parting: the parting plane; None when not known: then the halves of the mould agree.

    Raises:
        ReadingError: a reading cannot be taken on this casting, or the touches do not fit it.
    """
    order, walls = walls_for(part, grade, parting)
    hollows: list[LowSpot | CutAndSee] = [*readings.low_spots, *readings.cuts]
    found = [spot_of(part, walls, r) for r in sorted(hollows, key=_spot_key)]
    model = SkinModel(part, walls, Spots(tuple(found)))
    across = [measured(model, r) for r in _in_order(readings)]
    _check_inches(across)
    across, beside = across_beside(part, _in_order(readings), across, parting, order)
    tips, sources, start = located_tips(part, _touches_in_order(readings.touches))
    tips, touched = tips_beside(part, tips, sources, readings.touches, start, parting, order)
    estimate, kept, wild = _without_wild(model, tips, sources, across, start)
    sigma = scan_sigma if scan_sigma is not None else (readings.scan.sigma if readings.scan else SIGMA["scan"])
    return AsReceived(
        part=part,
        name=readings.name,
        to_part=estimate.move,
        faces=_deviations(model, estimate, tips, across, kept, _named(readings)),
        spots=model.spots.spots,
        scan=scan,
        scan_sigma=sigma,
        mean=estimate.mean,
        covariance=estimate.joint[6:, 6:],
        joint=estimate.joint,
        free=estimate.free if len(tips.points) else _ALL_FREE,
        set_aside=tuple(str(w[0]).split(": ")[0] for w in wild),
        notes=(*touched, *beside, *_notes(readings, model, estimate, across, order, wild, scan is not None, sigma)),
        grade=order,
        residuals=estimate.residuals,
        model=model,
    )


def walls_for(part: Part, grade: int | None, parting: Parting | None = None) -> tuple[int, Walls]:
    """Return the DCTG a casting is taken to be of, and its walls (see `receive`)."""
    order = grade if grade is not None else default_grades(alloy(part.alloy, "alloy").group).tolerance
    return order, walls_of(part.casting, order, parting)


_ALL_FREE: Final = ("shift along X", "shift along Y", "shift along Z", "turn about X", "turn about Y", "turn about Z")


def _without_wild(
    model: SkinModel, tips: Tips, sources: tuple[str, ...], across: Sequence[Measured], start: Rigid
) -> tuple[Estimate, "np.typing.NDArray[np.bool_]", list[Words]]:
    """Return the estimate without readings that all the others contradict, which readings it keeps, and a word on each other."""
    labels = (*sources, *(m.source for m in across))
    keep = np.ones(len(labels), dtype=np.bool_)
    wild: list[Words] = []
    out: list[str] = []
    lines = Lines(model, tips, tuple(across), labels)
    estimate = solve(lines, keep, start)
    while estimate.worst is not None and estimate.worst[1] > _WILD and abs(estimate.worst[2]) > _WILD_LEAST:
        index, _, off = estimate.worst
        if len(wild) + 1 > max(1, int(_MOST_WILD * len(labels))):
            raise ReadingError(*_do_not_fit(model, tips, labels, [*out, labels[index]], estimate))
        keep[index] = False
        wild.append(_wild_words(lines, index, off))
        out.append(labels[index])
        estimate = solve(lines, keep, start)
    return estimate, keep, wild


def _wild_words(lines: Lines, index: int, off: float) -> Words:
    verb, how = "is ", f"{'more' if off > 0 else 'less'} than all other readings and the casting tolerance allow"
    if index < len(lines.tips.points):
        verb, how = "lies ", f"{'outside' if off > 0 else 'inside'} where all other readings and the casting tolerance put its face"
    return (f"{lines.labels[index]}: {verb}", abs(off), f" {how}; left out: measure it again")


def _do_not_fit(model: SkinModel, tips: Tips, labels: Sequence[str], wild: Sequence[str], estimate: Estimate) -> Words:
    named = ", ".join(wild[:4])
    worst = max(abs(r[1]) for r in estimate.residuals)
    text: Words = (
        f"{len(wild)} of {len(labels)} readings ({named}{' ...' if len(wild) > 4 else ''}) do not fit the drawn casting, "
        "the worst by ",
        worst,
        "; check that they are of this casting, in one frame, each under the right face name",
    )
    if not len(tips.points):
        return text
    high = float(np.sqrt(np.mean(heights_of(model.part.casting, tips, estimate.move)[0] ** 2)))
    return (*text, " (the touches lie ", high, " off its skin on average)")


def _check_inches(across: Sequence[Measured]) -> None:
    """Refuse a height or thickness that only makes sense in the other unit."""
    for m in across:
        for factor, word in ((25.4, "inch"), (1 / 25.4, "mm")):
            drawn = m.expected.value
            if drawn > 0 and abs(m.read * factor / drawn - 1.0) < 0.1 and abs(m.read / drawn - 1.0) > 0.5:
                raise ReadingError(
                    f"{m.source}: reads ",
                    m.read,
                    " where the drawn casting has ",
                    drawn,
                    f"; times {factor:.4g} it would fit, so it looks like a value in {word}: put '# units: {word}' on top of the "
                    "file or write the unit behind it",
                )


# --- order ------------------------------------------------------------------


def _touches_in_order(touches: Sequence[Touch]) -> list[Touch]:
    return sorted(
        touches, key=lambda t: (t.face or "", t.point, t.known, t.tip_radius, t.sigma, t.approach or (0.0,) * 3, t.source)
    )


def _in_order(readings: Readings) -> list[Height | Thickness]:
    low = (-np.inf,) * 3
    heights = sorted(readings.heights, key=lambda h: (h.face, h.seat, h.at or low, h.value, h.sigma, h.source))
    across = sorted(readings.thicknesses, key=lambda t: (t.faces, t.at or low, t.value, t.sigma, t.source))
    return [*heights, *across]


def _spot_key(r: LowSpot | CutAndSee) -> tuple[object, ...]:
    return (r.face, r.at or (-np.inf,) * 3, r.size, r.depth, getattr(r, "cut", 0.0), r.sigma, r.source)


# --- what to say ------------------------------------------------------------


def _deviations(
    model: SkinModel,
    estimate: Estimate,
    tips: Tips,
    across: Sequence[Measured],
    kept: "np.typing.NDArray[np.bool_]",
    named: set[str],
) -> tuple[SkinDeviation, ...]:
    count = len(tips.points)
    touched = {int(model.walls.number[s]) for s, k in zip(tips.surface, kept[:count], strict=True) if k}
    paired: set[int] = set()
    for m, k in zip(across, kept[count:], strict=True):
        if k:
            (paired if m.two_walls else touched).update(m.expected.walls)
    names = _names_over(model, touched | paired, named)
    spread = np.sqrt(np.diag(estimate.joint))[6:]
    found = []
    for i, wall in enumerate(model.walls.walls):
        how: How = "measured" if i in touched else "thickness" if i in paired else "drawn"
        turn = estimate.mean[wall.first + 1 : wall.first + 3].tolist() if wall.columns > 1 else [0.0, 0.0]
        offset = float(estimate.mean[wall.first])
        found.append(SkinDeviation(names.get(i, ()), wall.surfaces, offset, float(spread[wall.first]), (turn[0], turn[1]), how))
    return tuple(found)


def _named(readings: Readings) -> set[str]:
    """Return the faces that the readings name."""
    names = {t.face for t in readings.touches if t.face is not None}
    names |= {name for h in readings.heights for name in (h.face, h.seat)}
    names |= {s.face for s in readings.low_spots} | {c.face for c in readings.cuts}
    return names.union(*(t.faces for t in readings.thicknesses))


def _names_over(model: SkinModel, walls: set[int], named: set[str]) -> dict[int, tuple[str, ...]]:
    """Return which of the named faces each of some walls is the skin of."""
    found: dict[int, tuple[str, ...]] = {}
    for face in model.part.faces:
        if face.name not in named:
            continue
        skin = face_skin(model.part, face.name)
        for number in sorted({int(model.walls.number[s]) for s in skin.surfaces} & walls):
            found[number] = (*found.get(number, ()), face.name)
    return found


def _notes(
    readings: Readings,
    model: SkinModel,
    estimate: Estimate,
    across: Sequence[Measured],
    grade: int,
    wild: Sequence[Words],
    scanned: bool,
    scan_sigma: float,
) -> list[Note]:
    notes: list[Note] = [
        *readings.warnings,
        *(m.note for m in across if m.note),
        *(s.note for s in model.spots.spots if s.note),
        *wild,
    ]
    if scanned:
        notes.append(("the scan stands in for every drawn face; each of its faces as a whole is taken as sure to ", scan_sigma))
        return notes
    if not readings.count:
        notes.append(f"nothing has been measured: the casting is taken as drawn, within casting tolerance grade DCTG {grade}")
        return notes
    if readings.touches and estimate.free:
        notes.append(
            f"{len(readings.touches)} touches leave free: {', '.join(estimate.free)}; "
            "there the measuring frame is taken to lie as the drawing does"
        )
    notes.append(f"faces without a reading are taken as drawn, within casting tolerance grade DCTG {grade} (ISO 8062-3)")
    return notes


__all__ = ["STAY", "AsReceived", "Candidate", "SkinDeviation", "receive", "spacing_of"]
