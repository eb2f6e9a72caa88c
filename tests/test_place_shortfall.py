"""Where the required stock cannot all be kept: by hand, by brute force and against another solver."""

import cvxpy as cp
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.kernel.cut import box, cut, prism
from geom.kernel.shape import solid_from_shape
from geom.model.part import Part
from geom.place.margin_lp import Kept, NoAnswerError, Rows, Wish, best_margin, least_squares, none_kept
from geom.place.placement import Placement
from geom.place.rows import pivot_of, small_move
from geom.place.shortfall_lp import Ends, by_face, cuts_at, cuts_of, foreseen_cut, least_shortfall, total_shortfall
from geom.place.solve import place
from geom.place.stages import UNFELT
from geom.readings.records import LowSpot, Readings, Thickness
from geom.received.casting import receive
from geom.recognise.part import recognise
from geom.rigid import Rigid
from geom.settings.place import PlacementSettings
from geom.stock.required import Need
from geom.tolerance import EDGE_BAND
from tests.catalogue import block_in_block

SHARE_FIRST = PlacementSettings(order=("demands", "share", "outline"))


def asked(part: Part, default: float, **amounts: float) -> dict[str, Need]:
    """Return the required stock of every face, some by name."""
    return {f.name: Need(amounts.get(f.name.replace(" ", "_"), default), 1.0, "face") for f in part.machined}


def margins(found: Placement) -> dict[str, float]:
    return {face.name: face.margin for face in found.faces}


# --- the program ----------------------------------------------------------------


def test_no_face_is_robbed_for_less_than_it_loses():
    """A bore lacks 3 whatever is done; 1 mm down lifts the boss face by 0.21 and takes 1 off the base, which has 1.5 (by hand)."""
    rows = Rows(np.array([-3.0, -0.5, 1.5]), np.array([[0.0], [0.21], [-1.0]]), np.ones(3))
    found = least_shortfall(by_face(rows, np.arange(3)), -3.05, np.array([-9.0]), np.array([9.0]))

    assert found.x == pytest.approx([1.5], abs=1e-9)
    assert found.total == pytest.approx(3.0 + 0.5 - 0.21 * 1.5, abs=1e-9)


def some_margins(seed: int, count: int = 300) -> tuple[Rows, np.ndarray]:
    """Return margins of seven faces that cannot all be kept."""
    rng = np.random.default_rng(seed)
    return Rows(rng.uniform(-2.0, 1.0, count), rng.normal(size=(count, 6)), np.ones(count)), rng.integers(0, 7, count)


@pytest.mark.parametrize("seed", range(5))
def test_least_shortfall_agrees_with_clarabel(seed: int):
    """An interior-point solver, with the hinges written as a sum of maxima, finds the same total."""
    rows, face = some_margins(seed)
    high = np.full(6, 5.0)
    best = best_margin(rows, -high, high, most=0.0)
    floor = best.margin - UNFELT
    found = least_shortfall(by_face(rows, face), floor, -high, high)
    x = cp.Variable(6)
    margin = rows.start + rows.rate @ x
    total = sum(cp.pos(cp.max(-margin[face == f])) for f in range(7))
    problem = cp.Problem(cp.Minimize(total), [margin >= floor, cp.abs(x) <= 5.0])
    problem.solve(solver=cp.CLARABEL, tol_gap_abs=1e-10, tol_gap_rel=1e-10, tol_feas=1e-10)

    assert best.margin < -0.1
    assert found.total == pytest.approx(float(problem.value), abs=1e-6)
    assert total_shortfall(rows.over(found.x, 0.0), face) == pytest.approx(found.total, abs=1e-6)
    assert rows.over(found.x, floor).min() >= -1e-6


@given(st.integers(0, 10**6))
@settings(max_examples=20, deadline=None)
def test_cut_never_excludes_a_place_that_keeps_the_total(seed: int):
    """A cut is broken where it was made and holds wherever the total is small enough."""
    rows, face = some_margins(seed, 80)
    rng = np.random.default_rng(seed)
    places = rng.normal(size=(200, 6))
    totals = np.array([total_shortfall(rows.over(x, 0.0), face) for x in places])
    most = float(np.median(totals))
    inside, margins = places[np.argmin(totals)], by_face(rows, face)
    cuts = cuts_at(margins, inside, places[np.argmax(totals)], most)
    cut = cuts_of(rows, cuts, most)

    assert 1 <= len(cuts) == len(cut.least)
    assert (cut.rate @ places[np.argmax(totals)] < cut.least).all()
    assert (places[totals <= most] @ cut.rate.T >= cut.least - 1e-9).all()
    assert cuts_at(margins, inside, places[np.argmin(totals)], most) == []


@pytest.mark.parametrize("seed", range(5))
def test_nearest_place_that_keeps_the_total_agrees_with_clarabel(seed: int):
    """Among places that lack no more in all than 0.2 above the least, and keep the floor, the one nearest a goal."""
    rows, face = some_margins(seed)
    high, goal = np.full(6, 5.0), np.random.default_rng(seed + 7).normal(size=6)
    floor = best_margin(rows, -high, high, most=0.0).margin - UNFELT
    least = least_shortfall(by_face(rows, face), floor, -high, high)
    total, margins = least.total + 0.2, by_face(rows, face)

    def cut(x: np.ndarray) -> Kept | None:
        cuts = cuts_at(margins, least.x, x, total)
        return cuts_of(rows, cuts, total) if cuts else None

    wish = Wish(np.eye(6), goal, np.zeros(6))
    found = least_squares(wish, rows.kept_at(floor), -high, high, cut).x
    x = cp.Variable(6)
    margin = rows.start + rows.rate @ x
    lacks = sum(cp.pos(cp.max(-margin[face == f])) for f in range(7))
    close = cp.sum_squares(x - goal) + 1e-6 * cp.sum_squares(x)
    problem = cp.Problem(cp.Minimize(close), [lacks <= total, margin >= floor, cp.abs(x) <= 5.0])
    problem.solve(solver=cp.CLARABEL, tol_gap_abs=1e-11, tol_gap_rel=1e-11, tol_feas=1e-11)

    assert found == pytest.approx(x.value, abs=1e-5)
    assert total_shortfall(rows.over(found, 0.0), face) <= total + 1e-6
    assert rows.over(found, floor).min() >= -1e-7


@pytest.mark.parametrize("seed", range(5))
def test_foreseen_cut_alone_holds_the_step_and_spares_every_place_that_keeps_the_total(seed: int):
    """With one row for the total the nearest place lacks no more than allowed; of 2,000 places that row bars none that may."""
    rows, face = some_margins(seed)
    high, rng = np.full(6, 5.0), np.random.default_rng(seed + 7)
    floor = best_margin(rows, -high, high, most=0.0).margin - 10.0
    margins = by_face(rows, face)
    least = least_shortfall(margins, floor, -high, high)
    most = least.total + 0.2
    wish = Wish(np.eye(6), least.x + 3.0 * rng.normal(size=6), np.zeros(6))
    cut = foreseen_cut(margins, least.x, most, wish, none_kept(6), Ends(-high, high, floor))
    assert cut is not None
    found = least_squares(wish, cut, -high, high).x
    near = least.x + rng.normal(size=(2000, 6)) * rng.uniform(0.0, 0.3, (2000, 1))
    keeps = np.array([total_shortfall(rows.over(x, 0.0), face) <= most for x in near])

    assert np.linalg.norm(wish.goal - least.x) > 1.0
    assert 50 < keeps.sum() < 2000
    assert total_shortfall(rows.over(found, 0.0), face) <= most + 1e-4
    assert (near[keeps] @ cut.rate[0] >= cut.least[0] - 1e-9).all()


def test_floor_that_no_place_keeps_is_refused():
    """1 missing on both of two opposite faces, floor half a mm: there is no answer, and none is made up."""
    rows = Rows(np.array([-1.0, -1.0]), np.array([[1.0], [-1.0]]), np.ones(2))
    with pytest.raises(NoAnswerError):
        least_shortfall(by_face(rows, np.arange(2)), -0.5, np.array([-9.0]), np.array([9.0]))


# --- blocks -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def block() -> Part:
    """A 60 x 40 x 30 block, 3 mm of stock all round."""
    return recognise("block", "grey iron", *block_in_block())


@pytest.fixture(scope="module")
def stepped() -> Part:
    """The same with a step: top at 30 for X over 30, at 20 before it; 3 mm of stock on both levels and all round."""
    finished = cut(box((0, 0, 0), (60, 40, 30)), box((-9, -9, 20), (30, 49, 39)))
    casting = cut(box((-3, -3, -3), (63, 43, 33)), box((-9, -9, 23), (27, 49, 39)))
    return recognise("stepped", "grey iron", solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting"))


def test_evenly_short_pair_stays_in_the_middle(block: Part):
    """7 asked of 6 between top and bottom: both lack 0.5, whatever the start (by hand: equal shares among equals)."""
    found = margins(place(block, receive(block, Readings()), asked(block, 1.0, top=4.5, bottom=2.5)))

    assert found["top"] == pytest.approx(-0.5, abs=1e-3)
    assert found["bottom"] == pytest.approx(-0.5, abs=1e-3)


def test_two_faces_outweigh_one(stepped: Part):
    """Both levels of a step lack 0.5, the foot lacks nothing; the ends lack 1 each: down by 0.5 the sum is 2.5, not 3 (by hand)."""
    levels = [f.name for f in stepped.machined if f.normal is not None and f.normal[2] > 0.9]
    need = {**asked(stepped, 1.0, left=4.0, right=4.0, bottom=3.0), **{n: Need(3.5, 1.0, "face") for n in levels}}
    found = place(stepped, receive(stepped, Readings()), need)
    got = margins(found)

    assert len(levels) == 2
    assert [got[n] for n in levels] == pytest.approx([0.0, 0.0], abs=1e-3)
    assert got["bottom"] == pytest.approx(-0.5, abs=1e-3)
    assert found.least_margin == pytest.approx(-1.0, abs=1e-3)
    assert {s.name: s.value for s in found.stages}["shortfall"] == pytest.approx(2.5, abs=1e-3)


def test_slope_does_not_rob_the_foot():
    """A slope of 30 degrees that lacks 0.4 would gain 0.87 a mm down, the foot would lose 1: the part stays up (by hand).

    Ends and sides lack 2 and leave nothing to choose but 0.05 along X, which wins the slope 0.05 sin 30.
    """
    tangent = np.tan(np.radians(30.0))
    rise = 3.0 / np.cos(np.radians(30.0))

    def wedge(grow: float, lift: float) -> object:
        x0, x1, z0 = -grow, 60.0 + grow, -grow
        outline = [(x0, z0), (x1, z0), (x1, 20 + lift - grow * tangent), (x0, 20 + lift + (60 + grow) * tangent)]
        return prism([(x, -grow, z) for x, z in outline], (0.0, 40.0 + 2 * grow, 0.0))

    part = recognise(
        "wedge", "grey iron", *(solid_from_shape(wedge(*g), n) for g, n in (((0.0, 0.0), "finished"), ((3.0, rise), "casting")))
    )
    slope = next(f.name for f in part.machined if f.normal is not None and 0.1 < f.normal[0] < 0.9)
    need = {
        **asked(part, 5.0, bottom=3.0, front=1.0, back=1.0),
        slope: Need(3.4, 1.0, "face"),
    }
    got = margins(place(part, receive(part, Readings()), need))

    assert got["bottom"] == pytest.approx(0.0, abs=1e-3)
    assert got[slope] == pytest.approx(-0.4 + 0.5 * UNFELT, abs=2e-3)
    assert sorted((got["left"], got["right"])) == pytest.approx([-2.0 - UNFELT, -2.0 + UNFELT], abs=2e-3)


@pytest.mark.parametrize("seed", range(3))
def test_no_nearby_place_lacks_less(block: Part, seed: int):
    """Brute force with planes of our own: of 1,500 moves none that spares the thinnest face as much lacks less in all."""
    rng = np.random.default_rng(seed)
    need = asked(block, 1.0, left=3.6, right=3.2, top=3.8, bottom=2.9, front=3.1, back=2.5)
    spot = LowSpot("top", (48.0, 28.0, 33.0), (12.0, 12.0), 0.8, 0.05, "spots.csv line 2")
    found = place(block, receive(block, Readings(low_spots=(spot,))), need, SHARE_FIRST)
    best = next(s.value for s in found.stages if s.name == "required")
    own = by_hand(found.pose, need)
    total = sum(max(0.0, -m) for m in own.values())
    pivot, lacks = pivot_of(block), []
    for size in (0.5, 0.1, 0.02):
        for _ in range(500):
            near = by_hand(small_move(size * rng.normal(size=6), pivot).after(found.pose), need)
            if min(near.values()) >= best - UNFELT:
                lacks.append(sum(max(0.0, -m) for m in near.values()))

    assert {n: own[n] for n in own} == pytest.approx({n: margins(found)[n] for n in own}, abs=3e-3)
    assert min(own.values()) >= best - UNFELT - 2e-3
    assert len(lacks) > 20
    assert min(lacks) >= total - 5e-3


def by_hand(move: Rigid, need: dict[str, Need]) -> dict[str, float]:
    """Return each face's least margin at its corners, `EDGE_BAND` in, and under a hollow 0.8 deep at (48, 28) on top."""
    size, names = (60.0, 40.0, 30.0), (("left", "right"), ("front", "back"), ("bottom", "top"))
    found = {}
    for axis in range(3):
        i, j = (n for n in range(3) if n != axis)
        for side in (0, 1):
            normal = np.zeros(3)
            normal[axis] = 2.0 * side - 1.0
            level = size[axis] + 3.0 if side else -3.0
            spots = []
            for a in (EDGE_BAND, size[i] - EDGE_BAND):
                for b in (EDGE_BAND, size[j] - EDGE_BAND):
                    spot = np.zeros(3)
                    spot[axis], spot[i], spot[j] = side * size[axis], a, b
                    spots.append((spot, level))
            name = names[axis][side]
            if name == "top":
                x, y, _ = move.inverse().point((48.0, 28.0, 33.0))
                spots.append((np.array([x, y, 30.0]), 33.0 - 0.8))
            least = min(gap(move, spot, normal, axis, level) for spot, level in spots)
            found[name] = least - need[name].amount
    return found


def gap(move: Rigid, spot: np.ndarray, normal: np.ndarray, axis: int, level: float) -> float:
    place_, way = move.point(tuple(spot.tolist())), move.direction(tuple(normal.tolist()))
    return float((level - place_[axis]) / way[axis])


def test_places_come_to_rest(block: Part):
    """Twenty castings with seeded thicknesses, hollows and requirements: in the end no further step, however far, is asked for."""
    moving = {}
    for seed in range(20):
        rng = np.random.default_rng(seed)
        at = ((-3.0, 20.0, 15.0), (30.0, -3.0, 15.0), (8.0, 8.0, -3.0))
        pairs = (("left", "right"), ("front", "back"), ("bottom", "top"))
        across = (
            Thickness(pair, drawn + float(rng.normal(0.0, 1.0)), spot, 0.05, f"thicknesses.csv line {i}")
            for i, (pair, drawn, spot) in enumerate(zip(pairs, (66.0, 46.0, 36.0), at, strict=True))
        )
        x, y, deep = (float(v) for v in rng.uniform((5.0, 5.0, 0.3), (55.0, 35.0, 4.0)))
        spot = LowSpot("top", (x, y, 33.0), (10.0, 8.0), deep, 0.05, "spots.csv line 2")
        need = {f.name: Need(float(rng.uniform(0.0, 4.0)), 1.0, "face") for f in block.machined}
        found = place(block, receive(block, Readings(thicknesses=tuple(across), low_spots=(spot,))), need)
        if not found.at_rest:
            moving[seed] = (found.rounds, found.change)

    assert moving == {}
