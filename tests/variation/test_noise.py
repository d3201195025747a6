"""The sensors' part of a spread: what it is, and how it is taken out."""

from __future__ import annotations

import numpy as np
import pytest

from imu.variation.noise import (
    AT_MOST,
    SWING_TO_SWING,
    UNKNOWN_NOISE,
    believable_noise,
    human_sd,
    minimal_detectable_change,
    noise_columns,
    noise_sd,
    whole_sample_timing_sd,
)


def test_minimal_detectable_change():
    # Weir 2005, J Strength Cond Res 19:231-240: SEM × 1.96 × √2
    assert minimal_detectable_change(1.0) == pytest.approx(2.7718586, abs=1e-7)


def test_whole_sample_timing_agrees_with_simulation():
    # both ends uniform over a sample: variance T²/12 each
    generator = np.random.default_rng(1)
    true = generator.uniform(200, 300, 200_000)
    start = generator.uniform(0, 5, 200_000)
    period = 5.0
    seen = (np.round((start + true) / period) - np.round(start / period)) * period
    assert (seen - true).std() == pytest.approx(whole_sample_timing_sd(period), rel=0.01)


def test_noise_is_taken_out_in_quadrature_and_never_below_nothing():
    assert human_sd(5.0, 3.0) == pytest.approx(4.0)
    assert human_sd(3.0, 5.0) == 0.0
    assert np.isnan(human_sd(3.0, np.nan))


def test_noise_removal_recovers_the_human_spread():
    generator = np.random.default_rng(2)
    errors = generator.uniform(1, 3, 20_000)
    seen = generator.normal(0, 4, 20_000) + errors * generator.standard_normal(20_000)
    noise = noise_sd(seen[:, None], errors[:, None])
    assert human_sd(seen.std(ddof=1), noise)[0] == pytest.approx(4.0, rel=0.02)


NAMES = ["release_ms", "downswing_ms", "tempo_ratio"]


def test_swing_to_swing_errors_are_preferred_to_whole_ones(make_table):
    swings = make_table(10, 1)
    swings["release_ms_se_swing"] = 0.25
    table, meaning = noise_columns(swings.drop(columns="tempo_ratio_se"), NAMES)
    assert meaning == [SWING_TO_SWING, AT_MOST, UNKNOWN_NOISE]
    assert (table[:, 0] == 0.25).all()
    assert np.isnan(table[:, 2]).all()


def test_an_error_larger_than_the_spread_is_shared_by_all_swings():
    noise, meaning = believable_noise(
        [0.3, 0.05, 0.3], [AT_MOST, AT_MOST, SWING_TO_SWING], [0.1] * 3
    )
    assert np.isnan(noise[0])
    assert meaning == [UNKNOWN_NOISE, AT_MOST, SWING_TO_SWING]
    assert noise[2] == 0.3
