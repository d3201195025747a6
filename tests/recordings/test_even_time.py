"""Sample times freed of their stamps' shiver: invented clocks, exact answers."""

from __future__ import annotations

import numpy as np

from imu.recordings.even_time import even_times
from imu.types import Stream


def stream(time: np.ndarray, seq: np.ndarray, rate: float = 200.0) -> Stream:
    blank = np.zeros((len(time), 3))
    return Stream("club", time, blank, blank, seq, np.full(len(time), np.nan), rate)


def test_shiver_is_taken_off_and_a_slow_wander_followed() -> None:
    rng = np.random.default_rng(1)
    seq = np.arange(6000)
    true = seq / 200.0 * (1.0 + 40e-6) + 2e-4 * np.sin(seq / 3000.0)
    shivering = true + rng.normal(0.0, 0.4e-3, len(seq))
    got = even_times(stream(shivering, seq))
    assert np.sqrt(np.mean((got - true) ** 2)) < 0.06e-3
    assert np.std(np.diff(got)) < 0.02 * np.std(np.diff(shivering))


def test_lost_samples_leave_their_gap() -> None:
    keep = np.r_[0:1500, 1540:4000]
    got = even_times(stream(keep / 200.0, keep))
    np.testing.assert_allclose(got, keep / 200.0, atol=1e-9)


def test_where_the_clock_jumps_the_stamps_stand() -> None:
    seq = np.arange(4000)
    time = seq / 200.0
    time[2000:] += 0.3
    got = even_times(stream(time, seq))
    assert np.abs(got - time).max() < 1e-9


def test_exact_stamps_are_not_moved() -> None:
    seq = np.arange(3000)
    got = even_times(stream(7.0 + seq / 200.0, seq))
    np.testing.assert_allclose(got, 7.0 + seq / 200.0, atol=1e-9)
