"""Agreement, error of measurement and reliability against published worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from imu.errors import SwingspreadError
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
from imu.variation.repeatability import agreement, reliability, within_subject_sd

# Bland & Altman 1986, Lancet 1:307-310, table 1: peak expiratory flow, l/min.
WRIGHT_1 = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
WRIGHT_2 = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
MINI_1 = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
MINI_2 = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443]


def test_agreement_of_bland_and_altman():
    found = agreement(WRIGHT_1, MINI_1)
    assert found.mean == pytest.approx(-2.117647, abs=1e-6)
    assert found.sd == pytest.approx(38.765130, abs=1e-6)
    # printed there as −79.6 and 75.4 with 2 SD; with 1.96 here
    assert found.limits.low == pytest.approx(-2.117647 - 1.96 * 38.765130, abs=1e-4)


def test_within_subject_sd_of_bland_and_altman():
    # 15.3 and 19.9 l/min as printed
    wright = within_subject_sd(np.column_stack([WRIGHT_1, WRIGHT_2]))
    mini = within_subject_sd(np.column_stack([MINI_1, MINI_2]))
    assert wright == pytest.approx(15.306669, abs=1e-6)
    assert mini == pytest.approx(19.910831, abs=1e-6)


def test_reliability_of_shrout_and_fleiss():
    # Shrout & Fleiss 1979, Psychol Bull 86:420-428, table 2; printed .17, .29, .71
    rows = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    found = reliability(rows)
    assert found.one_way == pytest.approx(0.165742, abs=1e-6)
    assert found.random == pytest.approx(0.289764, abs=1e-6)
    assert found.fixed == pytest.approx(0.714841, abs=1e-6)


def test_one_player_has_no_reliability():
    with pytest.raises(SwingspreadError, match="one player"):
        reliability([[9, 2, 5, 8]])


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


def test_swing_to_swing_errors_are_preferred_to_whole_ones(make_table):
    swings = make_table(10, 1)
    swings["release_ms_se_swing"] = 0.25
    table, meaning = noise_columns(swings.drop(columns="tempo_ratio_se"), NAMES)
    assert meaning == [SWING_TO_SWING, AT_MOST, UNKNOWN_NOISE]
    assert (table[:, 0] == 0.25).all()
    assert np.isnan(table[:, 2]).all()


NAMES = ["release_ms", "downswing_ms", "tempo_ratio"]


def test_an_error_larger_than_the_spread_is_shared_by_all_swings():
    noise, meaning = believable_noise(
        [0.3, 0.05, 0.3], [AT_MOST, AT_MOST, SWING_TO_SWING], [0.1] * 3
    )
    assert np.isnan(noise[0])
    assert meaning == [UNKNOWN_NOISE, AT_MOST, SWING_TO_SWING]
    assert noise[2] == 0.3
