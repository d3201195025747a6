"""Clipped rates bridged, held against the smooth curves that were clipped."""

import numpy as np
import pytest

from imu.fusion.bridging import bridge_clipped, gap_doubt
from imu.units import DEG

FULL_SCALE = 2000.0 * DEG
NEAR = 0.975 * FULL_SCALE


def _peaks(rng: np.random.Generator, rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """A smooth rate in each axis, the second with a peak above full scale."""
    time = np.arange(0.0, 0.6, 1.0 / rate_hz)
    height, width = rng.uniform(2050.0, 2600.0) * DEG, rng.uniform(0.05, 0.09)
    lean = rng.uniform(-0.3, 0.3)
    u = (time - rng.uniform(0.27, 0.33)) / width
    main = height * np.exp(-0.5 * u**2 * (1.0 + lean * np.tanh(u)))
    slow = 300.0 * DEG * np.sin(2.0 * np.pi * time / 0.5)
    return time, np.stack([slow, main, -slow], axis=1)


def _clip(rate: np.ndarray) -> np.ndarray:
    return np.clip(rate, -FULL_SCALE, FULL_SCALE)


@pytest.mark.parametrize("rate_hz", [200.0, 500.0, 1000.0])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_most_of_what_was_cut_off_comes_back(rate_hz: float, sign: float) -> None:
    missing, left = [], []
    for seed in range(40):
        time, true = _peaks(np.random.default_rng(seed), rate_hz)
        read = _clip(sign * true)
        filled, doubts = bridge_clipped(time, read, np.abs(read) >= NEAR, FULL_SCALE, np.inf)
        assert len(doubts) == 1
        missing.append(np.abs(sign * true - read).sum() / rate_hz)
        left.append(np.abs((sign * true - filled).sum()) / rate_hz)
    assert np.sum(left) < 0.35 * np.sum(missing)


@pytest.mark.parametrize("rate_hz", [200.0, 500.0, 1000.0])
def test_the_rotation_still_missing_is_of_the_size_stated(rate_hz: float) -> None:
    ratios = []
    for seed in range(200):
        time, true = _peaks(np.random.default_rng(seed), rate_hz)
        read = _clip(true)
        filled, doubts = bridge_clipped(time, read, np.abs(read) >= NEAR, FULL_SCALE, np.inf)
        ratios.append(abs((true - filled)[:, 1].sum()) / rate_hz / doubts[0].turn)
    assert np.mean(np.array(ratios) < 1.96) > 0.9
    assert np.median(ratios) > 0.05  # not so wide as to say nothing


def test_the_reading_is_a_lower_bound_and_good_samples_stay_as_they_are() -> None:
    time, true = _peaks(np.random.default_rng(3), 500.0)
    read = _clip(true)
    clipped = np.abs(read) >= NEAR
    filled, _ = bridge_clipped(time, read, clipped, FULL_SCALE, np.inf)
    assert np.all(np.abs(filled) >= np.abs(read) - 1e-12)
    np.testing.assert_array_equal(filled[~clipped], read[~clipped])
    np.testing.assert_array_equal(read, _clip(true))  # nothing is written into what was handed in


def test_a_peak_rounded_below_full_scale_by_the_filter_is_bridged_too() -> None:
    time, true = _peaks(np.random.default_rng(5), 1000.0)
    read = 0.99 * _clip(true)
    _, doubts = bridge_clipped(time, read, np.abs(read) >= NEAR, FULL_SCALE, np.inf)
    assert len(doubts) == 1
    assert doubts[0].end - doubts[0].start > 0.02


def test_a_spell_that_ends_in_the_strike_is_open_and_does_not_run_away() -> None:
    time, true = _peaks(np.random.default_rng(8), 500.0)
    peak = float(time[np.argmax(true[:, 1])])
    struck = true.copy()
    struck[time >= peak, 1] *= 0.8
    read = _clip(struck)
    filled, doubts = bridge_clipped(time, read, np.abs(read) >= NEAR, FULL_SCALE, peak)
    assert doubts[0].open
    assert doubts[0].end == pytest.approx(peak)
    before = (time < peak) & (np.abs(read[:, 1]) >= NEAR)
    assert np.all(filled[before, 1] <= 1.15 * true[before, 1])
    np.testing.assert_array_equal(filled[time >= peak], read[time >= peak])


def test_a_spell_that_begins_with_the_strike_is_bridged_from_its_own_two_sides() -> None:
    time, true = _peaks(np.random.default_rng(8), 500.0)
    read = _clip(true)
    clipped = np.abs(read) >= NEAR
    (_, free) = bridge_clipped(time, read, clipped, FULL_SCALE, np.inf)
    filled, doubts = bridge_clipped(time, read, clipped, FULL_SCALE, free[0].start)
    assert np.isfinite(filled).all()
    assert doubts == free


def test_clipping_at_the_end_of_the_stretch_is_doubted_not_bridged() -> None:
    time, true = _peaks(np.random.default_rng(8), 500.0)
    stop = int(np.argmax(true[:, 1])) + 3
    read = _clip(true[:stop])
    filled, doubts = bridge_clipped(time[:stop], read, np.abs(read) >= NEAR, FULL_SCALE, np.inf)
    np.testing.assert_array_equal(filled, read)
    assert doubts[0].turn > 1.0 * DEG


def test_overlapping_spells_of_two_axes_become_one() -> None:
    time, true = _peaks(np.random.default_rng(2), 500.0)
    read = _clip(np.stack([true[:, 1], true[:, 1], true[:, 0]], axis=1))
    _, both = bridge_clipped(time, read, np.abs(read) >= NEAR, FULL_SCALE, np.inf)
    single = read.copy()
    single[:, 0] = 0.0
    _, one = bridge_clipped(time, single, np.abs(single) >= NEAR, FULL_SCALE, np.inf)
    assert len(both) == len(one) == 1
    assert both[0].turn == pytest.approx(np.sqrt(2.0) * one[0].turn)


def test_a_longer_gap_at_a_faster_turn_is_doubted_more() -> None:
    slow, fast = np.full((2, 3), 1.0), np.full((2, 3), 10.0)
    assert gap_doubt(0.0, 0.02, fast).turn > gap_doubt(0.0, 0.02, slow).turn
    assert gap_doubt(0.0, 0.04, fast).turn > gap_doubt(0.0, 0.02, fast).turn
    assert not gap_doubt(0.0, 0.02, slow).open
