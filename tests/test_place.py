"""Placement: closed forms, laws, and what is refused."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.errors import GeometryError, JobError
from geom.kernel.cut import box, cut, cylinder
from geom.kernel.mesh import Mesh
from geom.kernel.shape import solid_from_shape
from geom.model.part import Part
from geom.place.placement import Placement
from geom.place.rows import look, pivot_of, skin_rates, small_move
from geom.place.sites import sites_of
from geom.place.solve import place
from geom.rays.rays import Skin, skin_of
from geom.readings.records import LowSpot, Readings, Thickness, Touch
from geom.received.casting import receive
from geom.received.faces import face_skin
from geom.recognise.part import recognise
from geom.rigid import STAY, Rigid, from_turn
from geom.settings.place import FREEDOMS, Demand, PlacementSettings
from geom.stock.required import Need
from geom.tolerance import EDGE_BAND
from tests.catalogue import UP, block_in_block, drafted_block, hollow_in_skin

NOTHING = Readings()
SHARE_FIRST = PlacementSettings(order=("demands", "share", "outline"))


def needs(part: Part, amount: float = 1.0, bearing: float = 1.0) -> dict[str, Need]:
    """Return the same need for every machined face."""
    return {face.name: Need(amount, bearing, "face") for face in part.machined}


def placed(part: Part, readings: Readings = NOTHING, amount: float = 1.0, asked: PlacementSettings | None = None) -> Placement:
    """Return the placement of a part in the casting some readings tell of."""
    return place(part, receive(part, readings), needs(part, amount), asked)


@pytest.fixture(scope="module")
def block() -> Part:
    """A 60 x 40 x 30 block, 3 mm of stock all round."""
    return recognise("block", "grey iron", *block_in_block())


@pytest.fixture(scope="module")
def ring() -> Part:
    """A ring bored 24 through a boss 60 across, 40 high; the core is 18 across and 1.5 off centre along X."""
    finished = cut(cylinder((0.0, 0.0, 0.0), UP, 30.0, 40.0), cylinder((0.0, 0.0, -1.0), UP, 12.0, 42.0))
    casting = cut(cylinder((0.0, 0.0, -3.0), UP, 30.0, 46.0), cylinder((1.5, 0.0, -4.0), UP, 9.0, 48.0))
    return recognise("ring", "grey iron", solid_from_shape(finished, "finished"), solid_from_shape(casting, "casting"))


# --- closed forms ---------------------------------------------------------------


def test_uneven_stock_ends_in_the_middle():
    """Six machined faces in a casting that sits 0.7, -0.4, 0.5 off: the part follows, and 3 mm is left everywhere (by hand)."""
    part = recognise("block", "grey iron", *block_in_block(3.0, shift=(0.7, -0.4, 0.5)))
    found = placed(part)

    assert found.shift == pytest.approx((0.7, -0.4, 0.5), abs=5e-5)
    assert found.turn == pytest.approx((0.0, 0.0, 0.0), abs=1e-6)
    assert found.verdict == "cleans up"
    assert found.least_margin == pytest.approx(2.0, abs=5e-5)
    assert all(f.take_min == pytest.approx(3.0, abs=5e-5) and f.take_max == pytest.approx(3.0, abs=5e-5) for f in found.faces)


def test_drafted_sides_trade_against_the_foot():
    """Sinking the part towards the wide foot widens its sides: level when 3 + z = 3 - (32 + z) tan 3, z = -32 tan 3/(1 + tan 3).

    32: from the casting's foot at -3 to the sides' thinnest line that counts, `EDGE_BAND` under the top at 30.
    """
    part = recognise("drafted", "grey iron", *drafted_block())
    found = placed(part, amount=0.0, asked=SHARE_FIRST)
    tangent = math.tan(math.radians(3.0))
    down = -(33.0 - EDGE_BAND) * tangent / (1.0 + tangent)

    assert found.shift == pytest.approx((0.0, 0.0, down), abs=2e-3)
    assert found.least_margin == pytest.approx(3.0 + down, abs=1e-3)


def test_hollows_force_a_known_tilt(block: Part):
    """A hollow on top near one end and one below near the other: the part tilts away from both, by hand.

    Seen from the block's middle, the top lies at 15/cos t - x tan t once tilted by t; its far corner is at
    x = 15 sin t - L cos t, the hollow at l: both are as thin when tan t (l + L cos t - 15 sin t) = d.
    """
    deep, arm, half = 2.0, 22.0, 30.0 - EDGE_BAND
    size = (4.0, 4.0)
    spots = (
        LowSpot("top", (30.0 + arm, 20.0, 33.0), size, deep, 0.01, "spots.csv line 2"),
        LowSpot("bottom", (30.0 - arm, 20.0, -3.0), size, deep, 0.01, "spots.csv line 3"),
    )
    found = placed(block, Readings(low_spots=spots), asked=SHARE_FIRST)
    tilt = 0.0
    for _ in range(50):
        tilt = math.atan(deep / (arm + half * math.cos(tilt) - 15.0 * math.sin(tilt)))
    left = 18.0 * math.cos(tilt) - 15.0 + (15.0 * math.sin(tilt) - half * math.cos(tilt)) * math.sin(tilt)

    assert found.turn == pytest.approx((0.0, math.degrees(tilt), 0.0), abs=0.01)
    assert found.least_margin == pytest.approx(left - 1.0, abs=0.005)
    assert found.pose.point((30.0, 20.0, 15.0)) == pytest.approx((30.0, 20.0, 15.0), abs=0.02)


def test_as_cast_outline_stays_in_line_when_the_stock_allows(ring: Part):
    """With 3 mm less 1.5 in the bore and nothing required, the bore stays on the boss, not on the core."""
    loose = place(ring, receive(ring, NOTHING, grade=4), needs(ring, 0.0))

    assert math.hypot(loose.shift[0], loose.shift[1]) < 0.01
    assert loose.least_margin == pytest.approx(1.5, abs=0.01)


def test_bore_follows_the_core_when_stock_comes_first(ring: Part):
    """Shared evenly, the bore is concentric with its core: 1.5 along X, 3 mm of stock all round (by hand)."""
    found = placed(ring, asked=SHARE_FIRST, amount=0.0)

    assert found.shift[:2] == pytest.approx((1.5, 0.0), abs=1e-3)
    assert found.least_margin == pytest.approx(3.0, abs=1e-3)


@pytest.mark.parametrize(("kind", "limit", "shift"), [("concentric", 0.5, 0.5), ("wall", 17.8, 0.2)])
def test_location_demand_stops_the_shift(ring: Part, kind: str, limit: float, shift: float):
    """Bore within 0.5 of its boss: it moves 0.5, not 1.5. Wall of 18 at least 17.8: it moves 0.2 (by hand)."""
    bore = next(f.name for f in ring.machined if f.kind == "cylinder")
    boss = next(f.name for f in ring.as_cast if f.kind == "cylinder")
    asked = replace(SHARE_FIRST, demands=(Demand(kind, bore, boss, limit),))
    found = placed(ring, asked=asked, amount=0.0)

    assert found.shift[0] == pytest.approx(shift, abs=5e-3)
    assert found.least_margin == pytest.approx(1.5 + shift, abs=5e-3)


def test_distance_demand_keeps_a_face_near_its_drawn_place():
    """Only the top is machined; the foot stays within 0.3 of its drawn distance from it, so the part sinks no further."""
    finished = box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0))
    part = recognise(
        "foot", "grey iron", solid_from_shape(finished, "finished"), solid_from_shape(box((0, 0, 0), (60, 40, 33)), "casting")
    )
    asked = replace(SHARE_FIRST, demands=(Demand("distance", "top", "bottom", 0.3),))
    found = placed(part, asked=asked)

    assert found.shift[2] <= -0.29
    assert found.pose.point((30.0, 20.0, 30.0))[2] == pytest.approx(29.7, abs=1e-3)


def test_hollow_deeper_than_the_stock_is_short_or_forgiven():
    """A cap 4 deep in 3 of stock: a wane of 7 mm radius, 1 deep, in 80 x 60 (closed form); 90 % bearing forgives it."""
    part = recognise("hollow", "grey iron", *hollow_in_skin())
    held = PlacementSettings(hold=FREEDOMS)
    strict = place(part, receive(part, NOTHING), needs(part, 0.0), held)
    lenient = place(part, receive(part, NOTHING), needs(part, 0.0, 0.9), held)
    top = next(f for f in strict.faces if f.name == "top")

    assert strict.verdict == "short"
    assert strict.pose == STAY
    assert top.short_depth == pytest.approx(1.0, abs=0.02)
    assert top.short_area == pytest.approx(math.pi * 49.0, rel=0.12)
    assert top.bearing == pytest.approx(1.0 - math.pi * 49.0 / 4800.0, abs=0.005)
    assert top.short_at == pytest.approx((40.0, 30.0, 30.0), abs=1.0)
    assert strict.advice
    assert lenient.verdict == "cleans up"
    assert next(f for f in lenient.faces if f.name == "top").state == "forgiven"


def test_rates_are_the_change_of_stock():
    """The linear rows agree with stock looked at afresh after a small move (central differences)."""
    part = recognise("drafted", "grey iron", *drafted_block())
    received, sites, pivot = receive(part, NOTHING), sites_of(part), pivot_of(part)
    here = look(received, sites, STAY, pivot)
    rng = np.random.default_rng(5)
    step = 1e-4 * rng.normal(size=6)
    ahead, back = (look(received, sites, small_move(s, pivot), pivot).stock for s in (step, -step))
    rows = np.flatnonzero(sites.counts)

    assert (ahead - back)[rows] / 2.0 == pytest.approx((here.rate @ step)[rows], abs=1e-8)


def test_stock_is_the_drawn_gap_and_what_the_skin_lies_off():
    """What a quick look adds to the drawn gap is the skin's own model times its mean, hollows and leaning walls included."""
    spot = LowSpot("top", (40.0, 15.0, 33.0), (20.0, 16.0), 1.1, 0.1, "spots.csv line 2")
    across = Thickness(("left", "right"), 66.9, (-3.0, 8.0, 8.0), 0.05, "thicknesses.csv line 2")
    received = receive(_BLOCK, Readings(low_spots=(spot,), thicknesses=(across,)))
    move, sites = from_turn((0.4, -0.2, 0.3), (0.1, 0.2, -0.1)), sites_of(_BLOCK)
    seen = look(received, sites, move, pivot_of(_BLOCK))
    rows = np.flatnonzero(sites.counts)
    columns, rates = skin_rates(received, sites, seen, move, rows)
    off = rates @ received.mean[columns]

    assert np.abs(received.mean).max() > 0.1
    assert seen.stock[rows] - seen.drawn[rows] == pytest.approx(off, abs=1e-9)


def test_scanned_casting_is_followed(block: Part):
    """A scan of a casting that sits 0.5, -0.3, 0.4 off and is turned a little: the part follows it (known move)."""
    mesh = skin_of(block.casting).mesh
    move = from_turn((0.2, -0.3, 0.4), (0.5, -0.3, 0.4), (30.0, 20.0, 15.0))
    scan = Skin(Mesh(move.points(mesh.vertices), mesh.triangles, mesh.face))
    found = place(block, receive(block, NOTHING, scan), needs(block))

    assert found.turn == pytest.approx((0.2, -0.3, 0.4), abs=0.01)
    assert found.pose.point((30.0, 20.0, 15.0)) == pytest.approx((30.5, 19.7, 15.4), abs=5e-3)
    assert found.least_margin == pytest.approx(2.0, abs=0.01)
    assert found.margin_95[0] < found.least_margin < found.margin_95[1] + 0.2


def test_faces_that_do_not_bind_keep_their_own_best():
    """Ends 1 mm short of the 4 asked: the top, which lacks 0.5 as drawn, still gets its 3.5; what is over is halved (by hand)."""
    part = recognise("block", "grey iron", *block_in_block(3.0))
    asked = {
        f.name: Need(4.0 if f.name in ("left", "right") else 3.5 if f.name == "top" else 0.0, 1.0, "face") for f in part.machined
    }
    takes = {f.name: f for f in place(part, receive(part, NOTHING), asked).faces}

    assert takes["left"].margin == pytest.approx(-1.0, abs=1e-3)
    assert takes["right"].margin == pytest.approx(-1.0, abs=1e-3)
    assert takes["top"].margin == pytest.approx((6.0 - 3.5) / 2.0, abs=1e-3)
    assert takes["bottom"].margin == pytest.approx((6.0 - 3.5) / 2.0, abs=1e-3)


# --- proof ----------------------------------------------------------------------


def test_certificate_verifies(block: Part):
    """Binding weights sum to 1 and the weighted rates vanish: no further move makes the thinnest place thicker."""
    spot = LowSpot("top", (50.0, 30.0, 33.0), (12.0, 12.0), 1.5, 0.05, "spots.csv line 2")
    found = placed(block, Readings(low_spots=(spot,)), asked=SHARE_FIRST).certificate

    assert sum(b.weight for b in found.binding) == pytest.approx(1.0, abs=1e-9)
    assert np.array([b.weight for b in found.binding]) @ np.array([b.rate for b in found.binding]) == pytest.approx(
        np.zeros(6), abs=1e-9
    )
    assert found.gap < 1e-9
    assert "top" in {b.face for b in found.binding}


def test_no_nearby_place_is_better(block: Part):
    """Brute force with planes of our own: of 1,200 moves about the answer none leaves more on the thinnest corner or hollow."""
    spot = LowSpot("top", (50.0, 30.0, 33.0), (12.0, 12.0), 1.5, 0.05, "spots.csv line 2")
    found = placed(block, Readings(low_spots=(spot,)), asked=SHARE_FIRST)
    pivot, rng = pivot_of(block), np.random.default_rng(0)
    best = max(
        _least_by_hand(small_move(size * rng.normal(size=6), pivot).after(found.pose))
        for size in (1.0, 0.1, 0.01)
        for _ in range(400)
    )

    assert _least_by_hand(found.pose) == pytest.approx(found.least_margin + 1.0, abs=2e-3)
    assert best <= found.least_margin + 1.0 + 2e-3


def _least_by_hand(move: Rigid) -> float:
    """Return the least stock at the corners of the faces, `EDGE_BAND` in, and under a hollow 1.5 deep at (50, 30) on top."""
    size, low, high = np.array([60.0, 40.0, 30.0]), np.full(3, -3.0), np.array([63.0, 43.0, 33.0])
    least = np.inf
    for axis in range(3):
        for side in (0.0, 1.0):
            normal = np.zeros(3)
            normal[axis] = 2.0 * side - 1.0
            others = [i for i in range(3) if i != axis]
            for a in (EDGE_BAND, size[others[0]] - EDGE_BAND):
                for b in (EDGE_BAND, size[others[1]] - EDGE_BAND):
                    corner = np.zeros(3)
                    corner[axis], corner[others[0]], corner[others[1]] = side * size[axis], a, b
                    least = min(least, _gap(move, corner, normal, axis, high[axis] if side else low[axis]))
    under = move.inverse().point((50.0, 30.0, 33.0))
    hollow = _gap(move, np.array([under[0], under[1], 30.0]), np.array([0.0, 0.0, 1.0]), 2, 33.0 - 1.5)
    return min(least, hollow)


def _gap(move: Rigid, point: np.ndarray, normal: np.ndarray, axis: int, level: float) -> float:
    spot, way = move.point(tuple(point.tolist())), move.direction(tuple(normal.tolist()))
    return (level - spot[axis]) / way[axis]


# --- laws -----------------------------------------------------------------------


@given(st.tuples(*(st.floats(-0.8, 0.8),) * 3))
@settings(max_examples=6, deadline=None)
def test_mirrored_hollow_mirrors_the_answer(offset: tuple[float, float, float]):
    """Mirrored in the block's middle plane x = 30, the readings give the mirrored move."""
    part = _BLOCK
    x, y = 45.0 + 5.0 * offset[0], 20.0 + 10.0 * offset[1]
    deep = 1.2 + offset[2]
    one, other = (
        placed(part, Readings(low_spots=(LowSpot("top", (at, y, 33.0), (9.0, 9.0), deep, 0.05, "s line 2"),)), asked=SHARE_FIRST)
        for at in (x, 60.0 - x)
    )
    a, b = (np.array(p.pose.point((30.0, 20.0, 15.0))) - (30.0, 20.0, 15.0) for p in (one, other))

    assert b == pytest.approx(a * (-1, 1, 1), abs=0.01)
    assert other.turn == pytest.approx(np.array(one.turn) * (1, -1, -1), abs=0.02)
    assert other.least_margin == pytest.approx(one.least_margin, abs=1e-3)


_BLOCK = recognise("block", "grey iron", *block_in_block())


def _touches(move: Rigid, proud: float) -> list[Touch]:
    back, found = move.inverse(), []
    for face in ("top", "bottom", "left", "right", "front", "back"):
        skin = face_skin(_BLOCK, face)
        order = np.argsort(skin.points @ np.array([0.31, 0.57, 0.76]), kind="stable")
        for row in order[[0, len(order) // 2, -1]].tolist():
            tip = skin.points[row] + (2.0 + (proud if face == "right" else 0.0)) * skin.normals[row]
            found.append(Touch(face, None, back.point(tuple(tip.tolist())), 2.0, 0.05, f"touches.csv line {len(found) + 2}"))
    return found


@given(st.tuples(*(st.floats(-120.0, 120.0),) * 3), st.tuples(*(st.floats(-300.0, 300.0),) * 3))
@settings(max_examples=5, deadline=None)
def test_moved_readings_give_the_same_place_in_the_casting(turn, shift):
    """The part lies the same way in the same casting wherever that stands on the table."""
    here = placed(_BLOCK, Readings(touches=tuple(_touches(STAY, 0.8))))
    there = placed(_BLOCK, Readings(touches=tuple(_touches(from_turn(turn, shift), 0.8))))

    assert there.shift == pytest.approx(here.shift, abs=1e-4)
    assert there.least_margin == pytest.approx(here.least_margin, abs=1e-4)


def test_order_of_readings_changes_nothing():
    """Shuffled touches give the same place to the last bit."""
    touches = _touches(STAY, 0.6)
    mixed = [touches[i] for i in np.random.default_rng(3).permutation(len(touches))]

    assert placed(_BLOCK, Readings(touches=tuple(mixed))).pose == placed(_BLOCK, Readings(touches=tuple(touches))).pose


def test_inch_and_mm_agree(tmp_path):
    """The same thickness, written in mm and in inches, gives the same place."""
    from geom.readings.files import load_readings

    found = []
    for name, units, value in (("mm", "mm", "67.31"), ("inch", "inch", "2.65")):
        folder = tmp_path / name / "readings"
        folder.mkdir(parents=True)
        (folder / "thicknesses.csv").write_text(f"# units: {units}\nface a,face b,thickness\nleft,right,{value}\n")
        found.append(placed(_BLOCK, load_readings(folder.parent, _BLOCK, "mm")[0]))

    assert found[1].shift == pytest.approx(found[0].shift, abs=1e-9)
    assert found[1].least_margin == pytest.approx(found[0].least_margin, abs=1e-9)
    assert found[0].faces != placed(_BLOCK).faces


@given(st.floats(0.0, 2.0))
@settings(max_examples=4, deadline=None)
def test_more_stock_never_worsens_the_margin(extra: float):
    """A casting with more metal all round leaves at least as much on the thinnest place."""
    more = recognise("block", "grey iron", *block_in_block(3.0 + extra))

    assert placed(more).least_margin >= placed(_BLOCK).least_margin - 1e-6


@pytest.mark.parametrize("hold", [("rx", "ry"), ("z",), ("x", "y", "rz")])
def test_held_freedom_is_never_better(hold):
    """Holding freedoms cannot win stock; what letting go would win is said."""
    spots = (
        LowSpot("top", (52.0, 20.0, 33.0), (8.0, 8.0), 2.0, 0.05, "spots.csv line 2"),
        LowSpot("bottom", (8.0, 20.0, -3.0), (8.0, 8.0), 2.0, 0.05, "spots.csv line 3"),
    )
    readings = Readings(low_spots=spots)
    free = placed(_BLOCK, readings, asked=SHARE_FIRST)
    held = placed(_BLOCK, readings, asked=replace(SHARE_FIRST, hold=hold))

    assert held.least_margin <= free.least_margin + 1e-5
    if hold == ("rx", "ry"):
        assert held.turn[:2] == pytest.approx((0.0, 0.0), abs=1e-9)
        assert held.held is not None
        assert held.held.gain == pytest.approx(free.least_margin - held.least_margin, abs=1e-6)


def test_better_readings_narrow_the_answer():
    """Calipers across every pair make the margin surer than the drawing alone."""
    pairs = (("left", "right", 66.0), ("front", "back", 46.0), ("bottom", "top", 36.0))
    readings = Readings(thicknesses=tuple(Thickness((a, b), v, None, 0.05, f"t line {i}") for i, (a, b, v) in enumerate(pairs)))

    assert placed(_BLOCK, readings).margin_sigma < placed(_BLOCK).margin_sigma


# --- refusals -------------------------------------------------------------------


def test_needs_must_match_the_part(block: Part):
    """A misspelt face is named with the nearest; a missing one is asked for."""
    received = receive(block, NOTHING)
    with pytest.raises(GeometryError, match=r"called 'topp'.*did you mean 'top'"):
        place(block, received, {**needs(block), "topp": Need(1.0, 1.0, "face")})
    with pytest.raises(GeometryError, match="'top' has no required stock"):
        place(block, received, {k: v for k, v in needs(block).items() if k != "top"})


def test_wrong_settings_are_refused(ring: Part):
    """An aim named twice, a freedom that is none, a demand on faces that are not there or not round."""
    with pytest.raises(JobError, match=r"placement\.order"):
        PlacementSettings(order=("share", "share", "outline"))
    with pytest.raises(JobError, match="'tilt'"):
        PlacementSettings(hold=("tilt",))
    with pytest.raises(JobError, match="limit of -1"):
        Demand("wall", "top", "bottom", -1.0)
    with pytest.raises(JobError, match="no as cast face is called 'bos'"):
        placed(ring, asked=PlacementSettings(demands=(Demand("concentric", "bore 1", "bos", 0.5),)))
    boss = next(f.name for f in ring.as_cast if f.kind == "cylinder")
    with pytest.raises(JobError, match="concentric needs two round faces"):
        placed(ring, asked=PlacementSettings(demands=(Demand("concentric", "top", boss, 0.5),)))
