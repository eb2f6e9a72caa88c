"""The noise of a scanned skin is evened out, its form and its pits are not."""

import numpy as np
import pytest

from export.number import sentence
from geom.kernel.mesh import Mesh
from geom.rays.rays import Skin
from geom.scan.even import Evener, evener
from geom.scan.pits import Places, pit_words, pits_in

SIDE = 80
NOISE = 0.05


@pytest.fixture(scope="module")
def grid() -> np.ndarray:
    """6,400 places a millimetre apart on a flat face."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(float(SIDE)), np.arange(float(SIDE))))
    return np.stack([x, y, np.zeros(len(x))], axis=1)


@pytest.fixture(scope="module")
def flat(grid) -> Evener:
    """The fits for it."""
    return evener(grid, np.zeros(len(grid), dtype=np.int64))


def noise(count: int, seed: int, sigma: float = NOISE) -> np.ndarray:
    """Noise of the normal law."""
    return np.random.default_rng(seed).normal(0.0, sigma, count)


def inner(grid: np.ndarray) -> np.ndarray:
    """Places away from the rim, where stock counts."""
    return ((grid[:, :2] > 2.0) & (grid[:, :2] < SIDE - 3.0)).all(axis=1)


def test_a_straight_face_comes_out_as_it_is(grid, flat):
    """Law: no noise, a lean and an offset: nothing is changed but for the hold on unfixed slopes, and nothing is a pit."""
    value = 2.0 + 0.003 * grid[:, 0] - 0.002 * grid[:, 1]
    found = flat.even(value)

    assert np.abs(found.value - value)[inner(grid)].max() < 1e-3
    assert found.scatter.max() < 1e-3


def test_the_least_of_many_noisy_places_is_no_longer_too_low(grid, flat):
    """The least of n normal values lies about sqrt(2 ln n) = 4.2 standard deviations low (Cramer 1946, 28.6): 0.19 mm here
    (n = 6,400; the exact mean is 3.8, 0.19 mm). Evened out, it lies less than 0.02 mm low in the mean of ten scans."""
    low = [flat.even(2.0 + noise(len(grid), seed)).value[inner(grid)].min() - 2.0 for seed in range(10)]
    raw = [float(noise(len(grid), seed).min()) for seed in range(10)]

    assert np.mean(raw) == pytest.approx(-3.8 * NOISE, rel=0.06)
    assert -0.02 < np.mean(low) < 0.0
    assert min(low) > -0.05


@pytest.mark.parametrize("sigma", [0.02, 0.05, 0.2])
def test_the_scatter_is_measured_on_each_face(grid, sigma):
    """Two faces side by side, one four times as rough: both figures come back within a twentieth."""
    face = (grid[:, 0] >= SIDE / 2).astype(np.int64)
    value = 3.0 + noise(len(grid), 1, sigma) * np.where(face == 1, 4.0, 1.0)
    found = evener(grid, face).even(value)

    assert found.scatter[face == 0].mean() == pytest.approx(sigma, rel=0.05)
    assert found.scatter[face == 1].mean() == pytest.approx(4.0 * sigma, rel=0.05)


def test_the_stated_sigma_is_the_error_that_is_left(grid, flat):
    """Law: error over stated sigma has a standard deviation of 1, away from the rim."""
    ratio = []
    for seed in range(6):
        found = flat.even(noise(len(grid), 100 + seed))
        ratio.append((found.value / found.sigma)[inner(grid)])

    assert np.std(np.concatenate(ratio)) == pytest.approx(1.0, abs=0.12)


def test_a_dish_keeps_its_depth(grid, flat):
    """0.3 mm deep, 6 mm from middle to waist (Gaussian): its bottom comes back within 0.04 mm."""
    dish = 0.3 * np.exp(-((grid[:, :2] - 40.0) ** 2).sum(axis=1) / (2.0 * 6.0**2))
    found = flat.even(2.0 - dish + noise(len(grid), 7))

    assert found.value.min() == pytest.approx(1.7, abs=0.04)
    assert not found.alone.any()


def test_a_pit_of_one_place_stands(grid, flat):
    """0.5 mm deep in noise of 0.05: its value is kept, its neighbours' are not pulled down."""
    value = 2.0 + noise(len(grid), 9)
    at = 40 * SIDE + 40
    value[at] -= 0.5
    found = flat.even(value)

    assert found.alone[at]
    assert found.value[at] == value[at]
    assert found.value[at + 1] == pytest.approx(2.0, abs=0.06)
    assert found.ground[at] == pytest.approx(2.0, abs=0.06)


def test_gaps_stay_gaps_and_spoil_nothing(grid, flat):
    """Law: what was not seen is not made up; places beside a gap are still evened out."""
    value = 2.0 + noise(len(grid), 11)
    gap = np.linalg.norm(grid[:, :2] - 40.0, axis=1) < 8.0
    value[gap] = np.nan
    found = flat.even(value)

    assert np.isnan(found.value[gap]).all()
    assert np.abs(found.value[~gap & inner(grid)] - 2.0).max() < 0.1


def test_neighbours_in_one_triangle_of_a_coarse_scan_are_no_proof_of_each_other(grid):
    """A scan point every 4 mm, straight between: told that 16 places share a point, the scatter is that of the scan."""
    from scipy.interpolate import RegularGridInterpolator

    ticks = np.arange(-4.0, SIDE + 8.0, 4.0)
    between = RegularGridInterpolator((ticks, ticks), noise(len(ticks) ** 2, 13).reshape(len(ticks), -1))
    value, none = between(grid[:, :2]), np.zeros(len(grid), dtype=np.int64)
    coarse, fine = evener(grid, none, 16.0).even(value), evener(grid, none).even(value)

    assert coarse.scatter.mean() == pytest.approx(value.std(), rel=0.3)
    assert fine.scatter.mean() < 0.5 * value.std()
    assert np.std(coarse.value) < 0.5 * value.std()


def test_few_places_are_left_alone():
    """One, two and no places on a face."""
    for count in range(3):
        points = np.arange(3.0 * count).reshape(-1, 3)
        found = evener(points, np.zeros(count, dtype=np.int64)).even(np.full(count, 2.0))
        assert found.value == pytest.approx([2.0] * count)


# --- pits -------------------------------------------------------------------


@pytest.fixture(scope="module")
def pitted() -> Skin:
    """A raw face at z = 17, scanned every 0.4 mm with 0.02 mm of noise, in it a pit 1 mm deep and 2.8 wide."""
    x, y = np.meshgrid(np.arange(36.0, 84.0, 0.4), np.arange(0.0, 16.0, 0.4))
    points = np.stack([x.ravel(), y.ravel(), 17.0 + np.random.default_rng(6).normal(0.0, 0.02, x.size)], axis=1)
    points[np.linalg.norm(points[:, :2] - [60.4, 8.3], axis=1) < 1.4, 2] -= 1.0
    at = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (part.ravel() for part in (at[:-1, :-1], at[:-1, 1:], at[1:, :-1], at[1:, 1:]))
    triangles = np.concatenate([np.stack([a, b, d], axis=1), np.stack([a, d, c], axis=1)])
    return Skin(Mesh(points, triangles, np.zeros(len(triangles), dtype=np.int64)))


def places(spacing: float, start: tuple[float, float] = (42.0, 3.0)) -> Places:
    """Places on the foot's top, z = 15, in front of block and boss."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(start[0], 78.5, spacing), np.arange(start[1], 12.0, spacing)))
    count = len(x)
    return Places(
        np.stack([x, y, np.full(count, 15.0)], axis=1),
        np.tile([0.0, 0.0, 1.0], (count, 1)),
        np.zeros(count, dtype=np.int64),
        np.full(count, 2.0),
        np.zeros(count),
        np.full(count, 0.02),
        np.ones(count, dtype=np.bool_),
        spacing,
        0.5,
    )


@pytest.mark.parametrize("spacing", [1.0, 1.5])
def test_a_pit_is_found_with_depth_width_and_place(pitted, spacing):
    """1 mm deep, 2.8 mm wide at (60.4, 8.3), 1 mm of stock left; nothing else is a pit."""
    (pit,) = pits_in(pitted, places(spacing))

    assert pit.depth == pytest.approx(1.0, abs=0.12)
    assert pit.stock == pytest.approx(1.0, abs=0.12)
    assert pit.at[:2] == pytest.approx((60.4, 8.3), abs=1.4)
    assert 1.8 < pit.size[1] <= pit.size[0] < 3.8
    told = sentence(pit_words(pit, "top"), "mm")
    assert "top has a pit at" in told
    assert "of stock left over it" in told


def test_a_pit_between_two_places_is_not_missed(pitted):
    """Places 3 mm apart, the nearest 2 mm off its middle: the looks beside them meet it."""
    wide = places(3.0, (43.9, 3.8))
    apart = np.linalg.norm(wide.points[:, :2] - [60.4, 8.3], axis=1)
    assert apart.min() > 2.0

    assert len(pits_in(pitted, wide)) == 1


def test_a_hollow_that_is_drawn_is_no_pit(pitted):
    """Law: laid on itself as the drawn skin, nothing is a pit; on a flat one it is."""
    flat = np.array([(30.0, -5.0, 17.0), (90.0, -5.0, 17.0), (90.0, 25.0, 17.0), (30.0, 25.0, 17.0)])
    sheet = Skin(Mesh(flat, np.array([(0, 1, 2), (0, 2, 3)]), np.zeros(2, dtype=np.int64)))

    assert pits_in(pitted, places(1.0), pitted) == ()
    assert len(pits_in(pitted, places(1.0), sheet)) == 1


def test_a_sound_skin_has_no_pits(pitted):
    """Law: away from the pit noise alone gives none."""
    sound = places(0.5)
    away = np.linalg.norm(sound.points[:, :2] - [60.4, 8.3], axis=1) > 3.0
    kept = Places(*(getattr(sound, n)[away] for n in Places.__slots__[:-2]), sound.spacing, sound.reach)

    assert pits_in(pitted, kept) == ()
