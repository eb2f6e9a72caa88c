"""The casting as received: known moves and known errors come back, with the uncertainty they should have."""

import csv
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from export.number import sentence
from geom.errors import ReadingError
from geom.kernel.step import read_step
from geom.model.part import Part
from geom.readings.records import CutAndSee, Height, LowSpot, Readings, Thickness, Touch
from geom.received.casting import AsReceived, receive
from geom.received.faces import face_skin, walls_of
from geom.received.locate import Tips, settle
from geom.recognise.part import recognise
from geom.rigid import STAY, Rigid, from_turn
from geom.space import Vec3
from geom.standards.tolerance_grades import casting_tolerance
from tests.catalogue import block_in_block, block_with_cored_bore, drafted_block

SIX = ("top", "bottom", "left", "right", "front", "back")
GRADE = 11
RADIUS = 3.0


@pytest.fixture(scope="module")
def block() -> Part:
    """A 60 x 40 x 30 block with 3 mm of stock all round in a square casting, 66 x 46 x 36."""
    return recognise("block", "grey iron", *block_in_block())


@pytest.fixture(scope="module")
def drafted() -> Part:
    """The same in a casting with 3 degrees of draft; its foot is 66 x 46 at z = -3."""
    return recognise("drafted", "grey iron", *drafted_block())


def touches(
    part: Part, move: Rigid, faces=SIX, each=3, seed=0, noise=0.0, proud: dict[str, float] | None = None, approach=False
) -> tuple[Touch, ...]:
    """Return touches that a perfect machinist would take on the drawn skin, `move` being measuring frame -> part frame."""
    rng = np.random.default_rng(seed)
    back, found = move.inverse(), []
    for face in faces:
        skin = face_skin(part, face)
        order = np.argsort(skin.points @ rng.normal(size=3))
        for row in order[np.linspace(0, len(order) - 1, each).astype(int)]:
            normal = skin.normals[row]
            tip = skin.points[row] + (RADIUS + (proud or {}).get(face, 0.0) + noise * rng.normal()) * normal
            way = back.direction(tuple((-normal).tolist())) if approach else None
            found.append(
                Touch(face, way, back.point(tuple(tip.tolist())), RADIUS, max(noise, 0.05), f"touches.csv line {len(found) + 2}")
            )
    return tuple(found)


def said(found: AsReceived) -> list[str]:
    """Return the notes as a sheet in mm prints them."""
    return [sentence(note, "mm") for note in found.notes]


def off(found: AsReceived, move: Rigid) -> tuple[float, float]:
    """Return by how much a recovered place is wrong: mm at the origin, and degrees."""
    error = found.to_part.after(move.inverse())
    return float(np.linalg.norm(error.shift)), float(np.linalg.norm(error.turn))


def wall_under(found: AsReceived, face: str):
    surface = face_skin(found.part, face).surfaces[0]
    return next(f for f in found.faces if surface in f.surfaces)


# --- where it lies ----------------------------------------------------------

MOVES = [
    from_turn((0.0, 0.0, 0.0), (0.0, 0.0, 0.0)),
    from_turn((0.3, -0.2, 1.5), (210.0, -35.0, 80.0)),
    from_turn((0.0, 0.0, 90.0), (10.0, 0.0, 0.0)),
    from_turn((180.0, 0.0, 0.0), (-40.0, 12.0, 5.0)),
    from_turn((69.3, 69.3, 69.3), (1.0, 2.0, 3.0)),
    from_turn((100.0, -61.0, 44.0), (-300.0, 410.0, 55.0)),
    from_turn((-20.0, 155.0, 10.0), (0.5, 0.5, 900.0)),
]


@pytest.mark.parametrize("move", MOVES)
@pytest.mark.parametrize("name", ["block", "drafted"])
def test_a_known_move_comes_back(move, name, request):
    """However the measuring frame is turned, clean touches on six faces give the move back to a millionth."""
    part = request.getfixturevalue(name)
    found = receive(part, Readings(touches=touches(part, move)), grade=GRADE)

    assert max(off(found, move)) < 1e-6
    assert found.free == ()
    assert np.abs(found.mean).max() < 1e-6


def test_three_two_one_touches_are_enough(drafted):
    """Three touches below, two on one side and one on another fix all six freedoms."""
    move = from_turn((1.0, -2.0, 3.0), (30.0, -20.0, 10.0))
    laid = [
        *touches(drafted, move, ("bottom",), 3, seed=4),
        *touches(drafted, move, ("left",), 2, seed=4),
        *touches(drafted, move, ("front",), 1, seed=4),
    ]
    found = receive(drafted, Readings(touches=tuple(laid)), grade=GRADE)

    assert found.free == ()
    assert max(off(found, move)) < 1e-6


def test_a_bore_is_touched_from_inside():
    """The skin of a cored bore locates sideways: a block touched below and in its core, the core's shift being the answer."""
    part = recognise("bored", "grey iron", *block_with_cored_bore())
    bore = next(f.name for f in part.faces if f.kind == "cylinder")
    move = from_turn((0.0, 0.0, 2.0), (12.0, -7.0, 3.0))
    found = receive(part, Readings(touches=touches(part, move, (bore, "bottom", "left"), 4)), grade=GRADE)

    assert found.free == ()
    assert max(off(found, move)) < 1e-6


def test_touches_on_nist_datum_targets_locate_the_casting(nist):
    """NIST CTC-02 states 3-4-1 datum targets: touches on those eight points give a known move back.

    Source: ctc02_datum_targets.csv, places from the model's own annotations, given to 0.0001 mm; the sides' drafted planes
    pass within 0.00002 mm of them.
    """
    solid = read_step(nist("nist_ctc_02_asme1_ap242-e2.stp"))
    part = recognise("ctc-02", "grey iron", solid, solid)
    move = from_turn((3.0, -5.0, 128.0), (400.0, -250.0, 90.0))
    laid = []
    for line, target in enumerate(_targets(nist("ctc02_datum_targets.csv")), 2):
        face, normal = _face_at(part, target)
        tip = np.array(target) + RADIUS * normal
        laid.append(Touch(face, None, move.inverse().point(tuple(tip.tolist())), RADIUS, 0.05, f"touches.csv line {line}"))
    found = receive(part, Readings(touches=tuple(laid)), grade=GRADE)

    assert len(laid) == 8
    assert found.free == ()
    shift, turn = off(found, move)
    assert shift < 1e-3
    assert turn < 1e-4


def _targets(path: Path) -> list[Vec3]:
    rows = csv.DictReader(line for line in path.read_text().splitlines() if not line.startswith("#"))
    return [(float(r["x"]), float(r["y"]), float(r["z"])) for r in rows if r["kind"] == "point"]


def _face_at(part: Part, point: Vec3) -> tuple[str, np.ndarray]:
    """Return the largest flat face that passes within 0.001 mm of a point, found without the code under test."""
    near = [
        (s.area, s.index)
        for s in part.casting.surfaces
        if s.kind == "plane" and abs(np.dot(np.subtract(point, s.origin), s.axis)) < 1e-3
    ]
    index = max(near)[1]
    return next(f.name for f in part.faces if index in f.surfaces), np.array(part.casting.surfaces[index].axis)


def test_least_squares_plane_agrees_with_numpy():
    """Located on one face only, the casting's plane is the least-squares plane that a singular value decomposition gives."""
    part = recognise("block", "grey iron", *block_in_block())
    rng = np.random.default_rng(3)
    spots = np.column_stack([rng.uniform(0, 60, 40), rng.uniform(0, 40, 40), 33 + 0.02 * rng.normal(size=40)])
    surface = face_skin(part, "top").surfaces[0]
    count = len(spots)
    tips = Tips(
        spots,
        np.ones((count, 3), dtype=bool),
        np.zeros(count),
        np.ones(count),
        np.full((count, 3), np.nan),
        np.full(count, surface),
        spots,
    )
    move = settle(part.casting, tips, STAY, soft=False)
    middle = spots.mean(axis=0)
    normal = np.linalg.svd(spots - middle)[2][2]

    assert abs(np.dot(move.inverse().direction((0.0, 0.0, 1.0)), normal)) == pytest.approx(1.0, abs=1e-12)
    assert move.point(tuple(middle.tolist()))[2] == pytest.approx(33.0, abs=1e-9)


def test_least_squares_circle_agrees_with_gander_golub_strebel():
    """Touches laid like a published set of points centre the bore where the published geometric circle is.

    Source: W. Gander, G. H. Golub, R. Strebel, Least-squares fitting of circles and ellipses, BIT 34 (1994), first example
    (from memory): geometric fit centre (4.7398, 2.9835), radius 4.7142. The radius is held here, at the published one.
    """
    published = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], dtype=float)
    part = recognise("bored", "grey iron", *block_with_cored_bore(bore=12.0, core=2 * 4.714225))
    bore = next(f.name for f in part.faces if f.kind == "cylinder")
    surface = face_skin(part, bore).surfaces[0]
    count = len(published)
    spots = np.column_stack([published, np.full(count, 25.0)])
    tips = Tips(
        spots,
        np.ones((count, 3), dtype=bool),
        np.zeros(count),
        np.ones(count),
        np.full((count, 3), np.nan),
        np.full(count, surface),
        spots,
    )
    move = settle(part.casting, tips, Rigid(shift=(-4.0, -3.0, 0.0)), rounds=400, soft=False)
    flat = move.inverse()

    assert flat.point((0.0, 0.0, 25.0))[:2] == pytest.approx((4.7398, 2.9835), abs=2e-3)


# --- noise ------------------------------------------------------------------


def test_noisy_touches_lie_within_the_noise_law(block):
    """Over 20 castings with 0.05 mm of scatter, how far the place is off, weighed by its stated covariance, is chi-square."""
    move = from_turn((0.5, -0.4, 2.0), (120.0, 35.0, 8.0))
    centre, size = np.array(block.casting.centre), block.casting.size
    prior = walls_of(block.casting, GRADE).prior
    rng = np.random.default_rng(11)
    total, draws = 0.0, 20
    for seed in range(draws):
        laid = touches(block, move, each=5, seed=seed)
        found = receive(
            block, Readings(touches=_as_cast(block, laid, move, prior * rng.normal(size=len(prior)), rng, 0.05)), grade=GRADE
        )
        error = found.to_part.after(move.inverse())
        step = np.concatenate([np.array(error.point(tuple(centre.tolist()))) - centre, np.radians(error.turn) * size])
        total += float(step @ np.linalg.solve(found.joint[:6, :6], step))
    low, high = chi2.ppf([0.001, 0.999], 6 * draws)

    assert low < total < high


def _as_cast(part: Part, laid, move: Rigid, parameters, rng, noise: float) -> tuple[Touch, ...]:
    """Return the touches on a casting whose walls lie off by given parameters, with scatter: worked out with plain planes."""
    walls = walls_of(part.casting, GRADE)
    found = []
    for touch in laid:
        tip = np.array(move.point(touch.point))
        surface = face_skin(part, touch.face).surfaces[0]
        wall = walls.walls[walls.number[surface]]
        normal = np.array(part.casting.surfaces[surface].axis)
        foot = tip - RADIUS * normal
        offset, a, b = parameters[wall.first : wall.first + 3]
        away = foot - np.array(wall.centroid)
        high = offset + a * (away @ np.array(wall.u)) / wall.reach[0] + b * (away @ np.array(wall.v)) / wall.reach[1]
        tip = tip + (high + noise * rng.normal()) * normal
        found.append(replace(touch, point=move.inverse().point(tuple(tip.tolist())), sigma=noise))
    return tuple(found)


# --- how far the walls are off ----------------------------------------------


def test_a_thickness_is_shared_between_its_two_faces(block):
    """36.4 over 36 drawn: either face is 0.2 proud, and what is left open is which of the two.

    By hand: before the reading either wall has s2 = (CT/4)^2/2; the sum reads 0.4 with variance 0.01, so each mean is
    0.4 s2/(2 s2 + 0.01), plus tilts, which cancel in the middle of square faces.
    """
    found = receive(
        block, Readings(thicknesses=(Thickness(("top", "bottom"), 36.4, (30.0, 20.0, 15.0), 0.1, "t line 2"),)), grade=GRADE
    )
    s2 = (casting_tolerance(36.0, GRADE) / 4) ** 2 / 2
    top, bottom, left = (wall_under(found, name) for name in ("top", "bottom", "left"))

    assert top.offset == pytest.approx(0.4 * s2 / (2 * s2 + 0.01), rel=1e-6)
    assert bottom.offset == pytest.approx(top.offset)
    assert top.sigma == pytest.approx(np.sqrt(s2 - s2**2 / (2 * s2 + 0.01)), rel=1e-6)
    assert (top.how, left.how, left.offset) == ("thickness", "drawn", 0.0)
    assert left.sigma == pytest.approx(casting_tolerance(66.0, GRADE) / 4 / 2**0.5)


def test_one_round_face_named_twice_is_a_diameter():
    """A core hole drawn 34 that measures 33.4 is 0.3 proud all round: its outward normal points to its axis."""
    part = recognise("bored", "grey iron", *block_with_cored_bore())
    bore = next(f.name for f in part.faces if f.kind == "cylinder")
    found = receive(part, Readings(thicknesses=(Thickness((bore, bore), 33.4, (0.0, 0.0, 25.0), 1e-4, "t line 2"),)), grade=GRADE)

    assert wall_under(found, bore).offset == pytest.approx(0.3, abs=1e-5)
    assert wall_under(found, bore).tilt == pytest.approx((0.0, 0.0), abs=1e-9)


def test_a_drafted_side_means_its_height(drafted):
    """Across the drafted sides the casting is 66 - 2 (z + 3) tan 3 wide; the height the reading names is used."""
    for z in (0.0, 10.0, 25.0):
        wide = 66.0 - 2 * (z + 3.0) * np.tan(np.radians(3.0))
        reading = Thickness(("left", "right"), wide, (30.0, 20.0, z), 0.1, "t line 2")
        assert receive(drafted, Readings(thicknesses=(reading,)), grade=GRADE).residuals[0][1] == pytest.approx(0.0, abs=1e-9)


def test_a_drafted_side_without_a_height_is_trusted_less(drafted):
    """No height said: taken half way up, and about tan 3 times 15 mm either side (0.79 each, 1.57 both) is added and said."""
    reading = Thickness(("left", "right"), 64.0, None, 0.1, "t line 2")
    found = receive(drafted, Readings(thicknesses=(reading,)), grade=GRADE)

    assert found.residuals[0][2] == pytest.approx(2 * 15 * np.tan(np.radians(3.0)), rel=0.1)
    assert any("t line 2: does not say where" in note and "half way up" in note for note in said(found))


def test_an_unread_coordinate_on_a_drafted_side_is_trusted_less(drafted):
    """An edge finder's X alone on a drafted side: half the height times tan 3 is added to what it states."""
    laid = [
        replace(t, known=(True, False, False), point=(t.point[0], 0.0, 0.0)) if t.face in ("left", "right") else t
        for t in touches(drafted, from_turn((0.0, 0.0, 0.0), (5.0, 6.0, 7.0)), each=1)
    ]
    found = receive(drafted, Readings(touches=tuple(laid)), grade=GRADE)
    sigma = {label: s for label, _, s in found.residuals}
    side = next(t.source for t in laid if t.face == "left")

    assert sigma[side] == pytest.approx(15 * np.sin(np.radians(3.0)), rel=0.1)
    assert sigma[next(t.source for t in laid if t.face == "top")] == 0.05


def test_heights_stand_on_the_raw_seat(block):
    """36.5 over the plate with 36 drawn: half on the top, half on the seat, as with a thickness."""
    reading = Height("top", (0.0, 0.0, 1.0), 36.5, (30.0, 20.0, 33.0), 1e-3, "h line 2", "bottom")
    found = receive(block, Readings(heights=(reading,)), grade=GRADE)

    assert wall_under(found, "top").offset + wall_under(found, "bottom").offset == pytest.approx(0.5, abs=1e-5)


def test_a_proud_wall_shows_in_the_touches(block):
    """Touches say the top is 0.8 proud when five other faces agree with the drawing: most of it is put on the top."""
    found = receive(block, Readings(touches=touches(block, MOVES[1], each=4, proud={"top": 0.8})), grade=GRADE)

    total = wall_under(found, "top").offset + wall_under(found, "bottom").offset
    assert total == pytest.approx(0.8, abs=0.02)
    assert wall_under(found, "top").how == "measured"
    assert found.set_aside == ()


def test_moving_the_readings_moves_the_answer(block):
    """The same touches in another frame say the same of the skin, and the place moves with them."""
    laid = touches(block, MOVES[1], each=4, noise=0.05, proud={"top": 0.5, "left": -0.3})
    other = from_turn((5.0, 17.0, -120.0), (70.0, -9.0, 33.0))
    first = receive(block, Readings(touches=laid), grade=GRADE)
    second = receive(block, Readings(touches=tuple(replace(t, point=other.point(t.point)) for t in laid)), grade=GRADE)

    assert np.abs(first.mean - second.mean).max() < 1e-9
    back = second.to_part.after(other)
    assert np.abs(back.matrix - first.to_part.matrix).max() < 1e-9
    assert back.shift == pytest.approx(first.to_part.shift, abs=1e-8)


def test_the_order_of_the_readings_changes_nothing(block):
    """Shuffled lines give the same answer to the last bit."""
    laid = touches(block, MOVES[1], each=4, noise=0.05)
    across = (
        Thickness(("top", "bottom"), 36.2, (30.0, 20.0, 15.0), 0.1, "t line 2"),
        Thickness(("left", "right"), 66.1, (30.0, 20.0, 15.0), 0.1, "t line 3"),
    )
    first = receive(block, Readings(touches=laid, thicknesses=across), grade=GRADE)
    second = receive(block, Readings(touches=laid[::-1], thicknesses=across[::-1]), grade=GRADE)

    assert first.mean.tobytes() == second.mean.tobytes()
    assert first.covariance.tobytes() == second.covariance.tobytes()
    assert first.to_part == second.to_part


def test_a_thickness_reads_the_same_from_either_side(block):
    """Calipers do not know which face was named first."""
    one = Thickness(("top", "bottom"), 36.4, (30.0, 20.0, 15.0), 0.1, "t line 2")
    first, second = (receive(block, Readings(thicknesses=(r,)), grade=GRADE) for r in (one, replace(one, faces=("bottom", "top"))))

    assert np.abs(first.mean - second.mean).max() < 1e-12


# --- hollows ----------------------------------------------------------------


def test_a_low_spot_is_a_dish(block):
    """Deepest in its middle, three quarters of that half way out, nothing at its rim and beyond."""
    spot = LowSpot("top", (30.0, 20.0, 33.0), (20.0, 10.0), 0.8, 0.1, "l line 2")
    found = receive(block, Readings(low_spots=(spot,)), grade=GRADE)
    points = np.array([(30.0, 20.0, 33.0), (35.0, 20.0, 33.0), (30.0, 22.5, 33.0), (40.0, 20.0, 33.0), (50.0, 20.0, 33.0)])

    assert found.deviation_at(face_skin(block, "top").surfaces[0], points) == pytest.approx([-0.8, -0.6, -0.6, 0.0, 0.0], abs=1e-12)
    assert found.deviation_at(face_skin(block, "bottom").surfaces[0], points - [0, 0, 36]) == pytest.approx(np.zeros(5))


def test_an_untouched_patch_is_the_bottom_of_a_hollow(block):
    """After 1.2 off, a patch 30 x 20 left 0.3 deep: the hollow is 1.5 deep, and 1.2 deep at the patch's rim."""
    seen = CutAndSee("bottom", 1.2, (30.0, 20.0, -3.0), (30.0, 20.0), 0.3, 0.1, "c line 2")
    found = receive(block, Readings(cuts=(seen,)), grade=GRADE)
    points = np.array([(30.0, 20.0, -3.0), (45.0, 20.0, -3.0), (30.0, 30.0, -3.0)])

    assert found.deviation_at(face_skin(block, "bottom").surfaces[0], points) == pytest.approx([-1.5, -1.2, -1.2], abs=1e-12)


# --- covariance -------------------------------------------------------------


def test_the_jacobian_is_that_of_the_offsets(block):
    """Offsets are the jacobian times the mean, and their variance before any reading is the tolerance grade's."""
    found = receive(block, Readings(), grade=GRADE)
    skin = face_skin(block, "top")
    offset, jacobian = found.skin_rows(skin.points, skin.surface)
    variance = np.einsum("ij,jk,ik->i", jacobian, found.covariance, jacobian)
    middle = int(np.argmin(np.linalg.norm(skin.points - [30, 20, 33], axis=1)))

    assert offset == pytest.approx(np.zeros(len(skin.points)))
    assert variance[middle] == pytest.approx((casting_tolerance(36.0, GRADE) / 4) ** 2 / 2, rel=0.02)
    assert jacobian.shape == (len(skin.points), len(found.covariance))


@pytest.mark.parametrize("kind", ["thickness", "height", "touch"])
def test_what_a_reading_would_win_is_what_it_wins(block, kind):
    """The variance foretold for a reading not yet taken is the one found after taking it."""
    laid = touches(block, MOVES[0], each=3)
    before = receive(block, Readings(touches=laid), grade=GRADE)
    row = before.skin_rows(np.array([[12.0, 9.0, 33.0]]), np.array(face_skin(block, "top").surfaces[:1]))[1][0]
    if kind == "thickness":
        candidate = before.thickness_candidate(("top", "bottom"), (12.0, 9.0, 15.0))
        taken = Readings(touches=laid, thicknesses=(Thickness(("top", "bottom"), candidate.expected, (12.0, 9.0, 15.0), 0.1, "t"),))
    elif kind == "height":
        candidate = before.height_candidate("top", "bottom", (0.0, 0.0, 1.0), (12.0, 9.0, 33.0))
        taken = Readings(
            touches=laid, heights=(Height("top", (0, 0, 1), candidate.expected, (12.0, 9.0, 33.0), 0.05, "h", "bottom"),)
        )
    else:
        candidate = before.touch_candidate("top", (12.0, 9.0, 33.0))
        taken = Readings(touches=(*laid, Touch("top", None, (12.0, 9.0, 33.0 + RADIUS), RADIUS, 0.05, "z")))
    after = receive(block, taken, grade=GRADE)

    assert candidate.expected == pytest.approx({"thickness": 36.0, "height": 36.0, "touch": 0.0}[kind], abs=1e-6)
    assert before.variance_with(row, candidate) == pytest.approx(float(row @ after.covariance @ row), rel=1e-6)
    assert float(row @ after.covariance @ row) < float(row @ before.covariance @ row)


def test_a_better_reading_never_leaves_more_doubt(block):
    """Every reading narrows, or leaves, the variance of every parameter."""
    laid = touches(block, MOVES[0], each=3)
    spread = [np.diag(receive(block, Readings(touches=laid[:n]), grade=GRADE).covariance) for n in (0, 9, 15, 18)]

    for wide, narrow in pairwise(spread):
        assert (narrow <= wide * (1 + 1e-9)).all()


# --- too little, too much, wrong --------------------------------------------


def test_nothing_measured_is_the_drawn_casting(block):
    """No reading at all is no error: the casting is taken as drawn, all directions free, and the answer says so."""
    found = receive(block, Readings(), grade=GRADE)

    assert found.to_part == STAY
    assert len(found.free) == 6
    assert any("nothing has been measured" in note for note in said(found))


def test_too_few_touches_name_what_is_free(block):
    """Three touches on the bottom fix height and two tilts; the other three directions come from the drawing and are named."""
    move = from_turn((1.0, 2.0, 0.0), (0.0, 0.0, 12.0))
    found = receive(block, Readings(touches=touches(block, move, ("bottom",), 3)), grade=GRADE)

    assert found.free == ("shift along X", "shift along Y", "turn about Z")
    assert any("3 touches leave free: shift along X, shift along Y, turn about Z" in note for note in said(found))
    assert abs(found.to_part.turn[2]) < 0.1
    assert found.to_part.shift[2] == pytest.approx(move.shift[2], abs=0.5)


def test_a_wild_touch_is_named_and_left_out(block):
    """One touch 4 mm out is set aside by name, and the place is as without it."""
    laid = list(touches(block, MOVES[1], each=4))
    outward = next(f.normal for f in block.faces if f.name == laid[5].face)
    lift = 4.0 * np.array(MOVES[1].inverse().direction(outward))
    laid[5] = replace(laid[5], point=tuple(np.add(laid[5].point, lift).tolist()))
    found = receive(block, Readings(touches=tuple(laid)), grade=GRADE)

    assert found.set_aside == (laid[5].source,)
    assert any(note.startswith(f"{laid[5].source}: lies") and "left out: measure it again" in note for note in said(found))
    assert max(off(found, MOVES[1])) < 1e-6


def test_touches_that_name_no_face_find_it(block):
    """A touch with its approach only is put on the skin it came upon."""
    move = from_turn((0.2, -0.3, 1.0), (4.0, -3.0, 2.0))
    laid = tuple(replace(t, face=None) for t in touches(block, move, each=3, approach=True))
    found = receive(block, Readings(touches=laid), grade=GRADE)

    assert max(off(found, move)) < 1e-6


@pytest.mark.parametrize(("factor", "word"), [(25.4, "mm"), (1 / 25.4, "inch")])
def test_touches_in_the_wrong_unit_are_told(block, factor, word):
    """Inch values in a mm file, or mm values in an inch file: refused, the unit suspected and said."""
    laid = tuple(replace(t, point=tuple(c * factor for c in t.point)) for t in touches(block, MOVES[1]))
    with pytest.raises(ReadingError, match=f"look like values in {word}"):
        receive(block, Readings(touches=laid), grade=GRADE)


def test_a_thickness_in_the_wrong_unit_is_told(block):
    """2.6 where 66 is drawn is 66 in inches; on an inch sheet those are 0.1024 and 2.5984 (by hand: over 25.4)."""
    with pytest.raises(ReadingError, match=r"t line 4: reads 2.6 mm where the drawn casting has 66.0 mm; times 25.4") as caught:
        receive(block, Readings(thicknesses=(Thickness(("left", "right"), 2.6, (30.0, 20.0, 15.0), 0.1, "t line 4"),)), grade=GRADE)

    assert "reads 0.1024 in where the drawn casting has 2.5984 in; times 25.4" in sentence(caught.value.words, "inch")


def test_touches_with_an_axis_turned_round_are_told(block):
    """A readout that counts X the other way gives a mirror image: no casting fits it, and the message says why."""
    laid = tuple(replace(t, point=(-t.point[0], t.point[1], t.point[2])) for t in touches(block, MOVES[1], each=4))
    with pytest.raises(ReadingError, match="mirror image"):
        receive(block, Readings(touches=laid), grade=GRADE)


def test_touches_of_another_part_are_refused(block):
    """Points that lie nowhere on this casting are refused with how far they are off."""
    rng = np.random.default_rng(2)
    laid = tuple(replace(t, point=tuple((rng.normal(size=3) * 40).tolist())) for t in touches(block, STAY, each=4))
    with pytest.raises(ReadingError, match="do not fit the drawn casting") as caught:
        receive(block, Readings(touches=laid), grade=GRADE)

    assert " mm" not in sentence(caught.value.words, "inch")


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        (Thickness(("top", "left"), 30.0, None, 0.1, "t line 2"), "t line 2: .*do not face away from each other"),
        (Height("left", (0.0, 0.0, 1.0), 30.0, None, 0.1, "h line 2", "bottom"), "h line 2: .*too steep for a height gauge"),
    ],
)
def test_a_reading_that_cannot_be_taken_is_refused(block, reading, said):
    """Calipers across a corner, a height gauge against a wall."""
    given = Readings(thicknesses=(reading,)) if isinstance(reading, Thickness) else Readings(heights=(reading,))
    with pytest.raises(ReadingError, match=said):
        receive(block, given, grade=GRADE)
