"""A scan laid on the drawn casting: which way round it lay, and how well it fits.

From any pose: rough poses first, the likely ones improved, the best fitted to
the drawn faces themselves. A scan in another unit, or of another part, is
refused; a part that looks alike from several sides is said to. Lengths mm.
Knows nothing of the finished part's stock.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from geom.errors import ReadingError
from geom.kernel.mesh import Mesh
from geom.model.part import Part
from geom.rays.analytic import Floats, Ints, dots
from geom.rays.rays import Skin
from geom.readings.records import HintPoint
from geom.rigid import Rigid, rigid_from_matrix
from geom.rows.words import Note
from geom.scan.cloud import cells_of, joined_points
from geom.scan.file import MM_PER_UNIT, Scan
from geom.scan.fit import Fit, Pose, all_fitted, fitted, rough_scores
from geom.scan.mesh import area_vectors
from geom.scan.noise import local_sigma
from geom.scan.sites import Drawn, Scanned, drawn_points, met, nearest, scanned_points, thinned
from geom.scan.stubs import BACK, Stub, stub_words
from geom.scan.turns import all_turns, likely_turns
from geom.scan.ways import ALIKE, Way, other_ways, told, ways_notes
from geom.scan.words import free_note

_FINE, _MIDDLE, _ROUGH, _GLANCE = 12_000, 1_500, 250, 150
"""Scan points for the last fit, for choosing between poses, for improving a rough pose, for a first look."""

_MEASURED: Final = 8000
"""Points of the scan whose scatter is looked at."""

_TRIED, _CHOSEN = 24, 24
"""Poses improved from the first look, and of these the ones compared closely."""

_LIKELY: Final = 2.5
"""A pose whose first look is this many times worse than the best's is not improved."""

_SHARE_OF_SIZE, _LEAST_LIMIT = 0.02, 1.5
"""How far a casting's skin may be from the drawn one: this share of its size, at least so many mm (common practice,
no source): beyond the widest usual casting tolerances."""

_STRANGE, _MISSED = 0.10, 0.60
"""Greatest share of the scan further than that from the drawn skin, and of the drawn skin from the scan."""

_SAME_TURN: Final = np.radians(4.0)

_SAME_END: Final = np.radians(12.0)
"""Rough poses closer than this come to the same end when improved."""

_WRONG_SIZE: Final = 1.25
"""Scans this many times too large or small are in another unit, or of another part."""

_NEAR_UNIT: Final = 1.12

_POINT: Final = 1e-9
"""A scan so many times smaller than the drawn casting is no surface at all."""

_ACCURATE: Final = 0.03
"""mm: a scan that states no sigma is taken as accurate as its points scatter, but not better (common practice, no source)."""

_TOO_ROUGH: Final = 3.0


@dataclass(frozen=True, slots=True)
class Residual:
    """Distances of the scan from the drawn skin, mm."""

    median: float
    rms: float
    p95: float


@dataclass(frozen=True, slots=True, eq=False)
class LaidScan:
    """Where a scan lies, without the scan: it goes from one process to another.

    Attributes:
        to_part: the move from the scan's frame.
        residual: how far the scan is from the drawn skin: the casting's errors and the scanner's together.
        sigma: the scatter of neighbouring points, mm: scanner and roughness, without form and warp.
        accuracy: standard uncertainty, mm, that all points of a face share: as stated, else judged by the scatter.
        pose_sigma: how surely the scan lies on the drawing, mm at the casting's edge. The stock does not depend on
            it: the part is placed in the scan itself.
        ambiguous: the fit leaves the way round, or a freedom, open; ways: the other ways round that fit as well.
        notes: whole sentences: about the fit, and what is ambiguous with a way to settle it.
        iterations: rounds of the last fit.
        limit: mm, how far a casting's skin may be off.
    """

    to_part: Rigid
    residual: Residual
    sigma: float
    accuracy: float
    pose_sigma: float
    ambiguous: bool
    ways: tuple[Way, ...]
    notes: tuple[Note, ...]
    iterations: int
    limit: float


@dataclass(frozen=True, slots=True, eq=False)
class RegisteredScan:
    """A scan in the part frame: where it lies, its surface there, ready for rays, and all that is to be said of it."""

    laid: LaidScan
    skin: Skin = field(repr=False)
    notes: tuple[Note, ...]


def register_scan(part: Part, scan: Scan, hints: Sequence[HintPoint] = (), stubs: Sequence[Stub] = ()) -> RegisteredScan:
    """Return a scan laid on a part's drawn casting (see `lay_scan`)."""
    return with_skin(part, scan, lay_scan(part, scan, hints, stubs), stubs)


def with_skin(part: Part, scan: Scan, laid: LaidScan, stubs: Sequence[Stub] = ()) -> RegisteredScan:
    """Return a scan with its surface where it lies."""
    skin, notes = _skin(drawn_points(part.casting), scan, laid.to_part, stubs, laid.limit, laid.sigma)
    return RegisteredScan(laid, skin, (*scan.notes, *notes, *laid.notes))


def lay_scan(part: Part, scan: Scan, hints: Sequence[HintPoint] = (), stubs: Sequence[Stub] = ()) -> LaidScan:
    """Return where a scan lies on a part's drawn casting.

    Args:
        scan: in any pose.
        hints: scan points on named faces (a machined face's name means the raw skin over it); they choose between
            poses that fit alike.
        stubs: of feeders, which are no skin: left out of the fit and of the answer.

    Raises:
        ReadingError: wrong unit, another part, a face that does not exist, or a hint that contradicts the fit.
    """
    drawn, scanned = drawn_points(part.casting), scanned_points(scan, _FINE)
    _check_scale(drawn, scanned, scan)
    limit = max(_LEAST_LIMIT, _SHARE_OF_SIZE * drawn.size)
    fits = _candidates(drawn, scanned, limit)
    likely, others = told(part, fits, hints, limit, scan.label)
    scanned = _without(scanned, likely.pose, stubs, limit)
    best = fitted(drawn, scanned, likely.pose, limit)
    missed = _missed(drawn, scanned, best, limit)
    _check_like(best, limit, missed, scan.label)
    ways = other_ways(likely, others, best)
    doubts = (*_free_notes(drawn, best), *ways_notes(part, scan.label, best.pose, ways, limit))
    residual = Residual(
        float(np.median(best.distance)), float(np.sqrt((best.distance**2).mean())), float(np.quantile(best.distance, 0.95))
    )
    sigma = _scatter(drawn, scan, best.pose)
    x, y, z = best.pose.shift.tolist()
    return LaidScan(
        rigid_from_matrix(best.pose.matrix, (x, y, z)),
        residual,
        sigma,
        _accuracy(scan, sigma),
        best.sigma,
        bool(doubts),
        ways,
        (*_fit_notes(scan, residual, sigma, best, limit, missed), *_sure_notes(scan, sigma), *doubts),
        best.rounds,
        limit,
    )


# --- rough poses ------------------------------------------------------------


def _candidates(drawn: Drawn, scanned: Scanned, limit: float) -> list[Fit]:
    """Return different poses compared closely, the best first."""
    middle = scanned.some(_MIDDLE)
    found = _improved(drawn, middle, _placed(drawn, middle, likely_turns(drawn, scanned)), limit)
    if np.mean(found[0].distance > limit) > _STRANGE:
        anyhow = _placed(drawn, middle, all_turns())[::2]
        found = _different(sorted(found + _improved(drawn, middle, anyhow, limit), key=lambda fit: fit.score))
    return found


def _placed(drawn: Drawn, scanned: Scanned, turns: Floats) -> list[Pose]:
    """Return each turned scan with its box's middle on the drawn one's, and its area's: a scan may be open below."""
    poses = []
    for turn in turns:
        moved = scanned.points @ turn.T
        poses.append(Pose(turn, drawn.centre - (moved.min(axis=0) + moved.max(axis=0)) / 2.0))
        poses.append(Pose(turn, drawn.share @ drawn.points - moved.mean(axis=0)))
    return poses


def _improved(drawn: Drawn, middle: Scanned, poses: list[Pose], limit: float) -> list[Fit]:
    """Return the best of some poses, improved: many at a glance, the likely ones roughly, the best of those closely."""
    scores = rough_scores(drawn, middle.some(_GLANCE), poses, limit)
    near = np.flatnonzero(scores <= _LIKELY * scores.min() + 0.1 * limit)
    likely = _spread_out([poses[i] for i in near[np.argsort(scores[near], kind="stable")].tolist()], _TRIED)
    rough = middle.some(_ROUGH)
    first = sorted(all_fitted(drawn, rough, likely, 5.0 * limit, rounds=6, steps=2), key=lambda fit: fit.score)
    chosen = [fit for fit in _different(first) if fit.score <= ALIKE * first[0].score + 0.02 * limit][:_CHOSEN]
    closely = all_fitted(drawn, middle, [fit.pose for fit in chosen], limit, rounds=4, steps=3)
    return _different(sorted(closely, key=lambda fit: fit.score))


def _spread_out(poses: list[Pose], count: int) -> list[Pose]:
    """Return the first poses that are not nearly a better one before them: both would come to the same end."""
    kept: list[Pose] = []
    for pose in poses:
        if len(kept) < count and all(_turn_between(pose, other) > _SAME_END for other in kept):
            kept.append(pose)
    return kept


def _different(fits: list[Fit]) -> list[Fit]:
    kept: list[Fit] = []
    for fit in fits:
        if all(_turn_between(fit.pose, other.pose) > _SAME_TURN for other in kept):
            kept.append(fit)
    return kept


def _turn_between(one: Pose, two: Pose) -> float:
    return float(np.arccos(np.clip((np.trace(one.matrix @ two.matrix.T) - 1.0) / 2.0, -1.0, 1.0)))


# --- what is refused --------------------------------------------------------


def _spread(points: Floats, share: Floats | None = None) -> float:
    """Return the root mean square distance of a skin from its middle."""
    share = np.full(len(points), 1.0 / len(points)) if share is None else share
    out = points - share @ points
    return float(np.sqrt(share @ (out * out).sum(axis=1)))


def _check_scale(drawn: Drawn, scanned: Scanned, scan: Scan) -> None:
    ratio = _spread(scanned.points) / _spread(drawn.points, drawn.share)
    if ratio < _POINT:
        raise ReadingError(f"{scan.label}: all of its points lie in one place; export the scan again")
    if 1.0 / _WRONG_SIZE < ratio < _WRONG_SIZE:
        return
    off = f"{_times(ratio)} as large as" if ratio >= 1 else f"{_times(1.0 / ratio)} smaller than"
    for unit, size in MM_PER_UNIT.items():
        over = ratio * size / MM_PER_UNIT[scan.unit]
        if unit != scan.unit and 1.0 / _NEAR_UNIT < over < _NEAR_UNIT:
            raise ReadingError(
                f'{scan.label}: read in "{scan.unit}" the scan is {off} the drawn casting; that looks like a file in "{unit}", '
                f'so state unit = "{unit}"'
            )
    raise ReadingError(
        f'{scan.label}: read in "{scan.unit}" the scan is {off} the drawn casting (limit {_WRONG_SIZE:g} times), and no other unit '
        "explains it; check that it is this part, whole, without the table it stood on"
    )


def _times(ratio: float) -> str:
    return f"{ratio:,.0f} times" if ratio >= 100.0 else f"{ratio:.3g} times"


def _check_like(best: Fit, limit: float, missed: float, label: str) -> None:
    strange = float(np.mean(best.distance > limit))
    if strange > _STRANGE:
        raise ReadingError(
            f"{label}: {strange:.0%} of the scan lies more than ",
            limit,
            f" from the drawn casting in the best pose found (limit {_STRANGE:.0%}; root mean square ",
            float(np.sqrt((best.distance**2).mean())),
            "); it is another part, mirrored, or holds more than the casting: check the file and cut the rest away",
        )
    if missed > _MISSED:
        raise ReadingError(
            f"{label}: {missed:.0%} of the drawn casting has no scan within ",
            limit,
            f" (limit {_MISSED:.0%}); it is a scan of another part, or of too little of this one: scan it from more sides",
        )


def _missed(drawn: Drawn, scanned: Scanned, best: Fit, limit: float) -> float:
    """Return the share of the drawn skin that has no scanned point near."""
    from scipy.spatial import cKDTree

    spacing = 2.0 * drawn.spacing
    away = cKDTree(best.pose.points(scanned.points)).query(drawn.points, workers=-1, distance_upper_bound=limit + spacing)[0]
    return float(drawn.share[~np.isfinite(away)].sum())


# --- which way round --------------------------------------------------------


def _free_notes(drawn: Drawn, best: Fit) -> list[Note]:
    return [free_note(way, drawn.size, drawn.centre) for way in best.free]


# --- what comes out ---------------------------------------------------------


def _fit_notes(scan: Scan, residual: Residual, sigma: float, best: Fit, limit: float, missed: float) -> list[Note]:
    notes: list[Note] = [
        (
            f"{scan.label}: half of the scan is within ", residual.median, " of the drawn skin, 95 % within ", residual.p95,
            "; neighbouring points scatter by ", sigma,
        )
    ]  # fmt: skip
    strange = float(np.mean(best.distance > limit))
    if strange > 0.01:
        notes.append(
            (f"{scan.label}: {strange:.0%} of it is more than ", limit, " off the drawn skin (feeders, flash, or the table)")
        )
    if missed > 0.01:
        notes.append(f"{scan.label}: {missed:.0%} of the drawn casting was not scanned")
    return notes


def _accuracy(scan: Scan, scatter: float) -> float:
    return scan.sigma if scan.sigma is not None else max(_ACCURATE, scatter)


def _sure_notes(scan: Scan, scatter: float) -> list[Note]:
    if scan.sigma is None:
        return [
            (
                f"{scan.label}: states no sigma, so each face as a whole is taken as sure to ", _accuracy(scan, scatter),
                ", as its points scatter; state the scanner's own in scan.toml",
            )
        ]  # fmt: skip
    if scatter > _TOO_ROUGH * scan.sigma:
        return [(f"{scan.label}: its points scatter by ", scatter, ", not the ", scan.sigma, " stated: check its unit")]
    return []


def _scatter(drawn: Drawn, scan: Scan, pose: Pose) -> float:
    """Return the scatter, mm, of the scan's own points about their neighbours: those away from the faces' edges."""
    rows = np.unique(np.linspace(0, len(scan.vertices) - 1, min(_MEASURED, len(scan.vertices))).astype(np.int64))
    points = pose.points(scan.vertices[rows])
    over = met(drawn, points, nearest(drawn, points, points, False)[1])
    return local_sigma(points[over.sure], over.height[over.sure])


def _without(scanned: Scanned, pose: Pose, stubs: Sequence[Stub], limit: float) -> Scanned:
    """Return the points that stand on no stub."""
    keep = np.ones(len(scanned.points), dtype=np.bool_)
    for stub in stubs:
        ways = scanned.normals @ pose.matrix.T if scanned.sided else np.tile(stub.way, (len(keep), 1))
        keep &= ~stub.holds(pose.points(scanned.points), ways, limit)
    return Scanned(scanned.points[keep], scanned.normals[keep], scanned.sided) if keep.any() else scanned


def _skin(drawn: Drawn, scan: Scan, to_part: Rigid, stubs: Sequence[Stub], limit: float, scatter: float) -> tuple[Skin, list[Note]]:
    if not scan.is_cloud:
        triangles, notes = _off_stubs(scan, to_part, stubs, limit)
        mesh = Mesh(scan.vertices, triangles, np.zeros(len(triangles), dtype=np.int64))
        return Skin(mesh, tree=scan.tree if triangles is scan.triangles else None).laid(to_part), notes
    points, notes = to_part.points(thinned(scan.vertices, cells_of(scan.vertices, scatter))), []
    for stub in stubs:
        on = stub.holds(points, np.tile(stub.way, (len(points), 1)), limit)
        points, notes = points[~on], [*notes, stub_words(scan.label, stub, int(on.sum()))]
    mesh = joined_points(drawn, points)
    notes.append(
        (
            f"{scan.label}: a point cloud; its points were joined to their neighbours, ",
            _spacing(mesh),
            " apart; smaller pits are lost",
        )
    )
    return Skin(mesh), notes


def _spacing(mesh: Mesh) -> float:
    """Return how long the sides of triangles are, mm, as a rule."""
    a, b, c = (mesh.vertices[mesh.triangles[:, i]] for i in range(3))
    return float(np.median(np.linalg.norm(np.concatenate([b - a, c - b, a - c]), axis=1))) if len(mesh.triangles) else 0.0


def _off_stubs(scan: Scan, to_part: Rigid, stubs: Sequence[Stub], limit: float) -> tuple[Ints, list[Note]]:
    """Return the triangles that stand on no stub with all their corners, and a sentence on each stub."""
    triangles, notes = scan.triangles, list[Note]()
    points = to_part.points(scan.vertices) if stubs else scan.vertices
    for stub in stubs:
        over = stub.holds(points, np.tile(stub.way, (len(points), 1)), limit)
        rows = np.flatnonzero(over[triangles].all(axis=1))
        ways = area_vectors(points, triangles[rows])
        rows = rows[ways @ stub.way > BACK * np.sqrt(dots(ways, ways))]
        keep = np.ones(len(triangles), dtype=np.bool_)
        keep[rows] = False
        triangles, notes = triangles[keep], [*notes, stub_words(scan.label, stub, len(rows))]
    return triangles, notes
