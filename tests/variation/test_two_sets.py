"""Difference of means, ratio of SDs, and many measures at once, against worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from imu.variation.permutation import relabellings, sign_flips
from imu.variation.sample_size import (
    long_tail_factor,
    mean_shift_power,
    sd_ratio_power,
    swings_for_sd_ratio,
    swings_for_shift,
)
from imu.variation.sd_ratio import f_interval, sd_ratio
from imu.variation.shift import holm, one_sample_shift, welch_shift

# Invented set of the project's statistics notes, recomputed with scipy.
A = np.array([752, 760, 748, 771, 755, 765, 758, 749, 763, 757], dtype=float)
B = np.array([742, 781, 735, 790, 748, 772, 729, 768, 755, 786], dtype=float)


def test_worked_example_of_the_statistics_notes():
    found = sd_ratio(A, B, seed=1)
    assert A.std(ddof=1) == pytest.approx(7.254118, abs=1e-6)
    assert B.std(ddof=1) == pytest.approx(21.859145, abs=1e-6)
    assert found.brown_forsythe == pytest.approx(16.771765, abs=1e-6)
    assert found.brown_forsythe_p == pytest.approx(0.000679, abs=1e-6)
    assert np.log(found.ratio.value) == pytest.approx(1.103050, abs=1e-6)
    assert welch_shift(A, B).p == pytest.approx(0.708, abs=5e-4)
    assert found.ratio.low > 1
    assert found.p < 0.01


def test_ceramic_strength_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook 1.3.5.9, JAHANMI2.DAT (from memory): F 1.123037, two-sided p .3704
    found, p = f_interval(61.85425, 65.54909, 240, 240)
    assert found.value**2 == pytest.approx(1.123037, abs=2e-6)
    assert p == pytest.approx(0.3704, abs=5e-5)


def test_half_as_much_again_is_not_established_at_twenty_swings():
    # statistics notes, recomputed: SD 12 against 18, n 20 and 20
    found, p = f_interval(12.0, 18.0, 20, 20)
    assert found.ends == pytest.approx((1.5, 0.944, 2.384), abs=5e-4)
    assert p == pytest.approx(0.085, abs=5e-4)


@pytest.mark.parametrize(("ratio", "count"), [(1.25, 160), (1.5, 50), (1.75, 28), (2.0, 19)])
def test_swings_needed_for_a_ratio(ratio, count):
    # statistics notes: 80 % power, two-sided 5 %
    assert swings_for_sd_ratio(ratio) == count
    assert swings_for_sd_ratio(1 / ratio) == count
    assert sd_ratio_power(ratio, count) >= 0.8 > sd_ratio_power(ratio, count - 1)


@pytest.mark.parametrize("shift", [0.3, 0.5, 1.0, 1.5])
def test_swings_needed_for_a_shift_agree_with_statsmodels(shift):
    from statsmodels.stats.power import TTestIndPower

    expected = TTestIndPower().solve_power(shift, power=0.8, alpha=0.05)
    assert swings_for_shift(shift) == int(np.ceil(expected))
    assert mean_shift_power(shift, 30) == pytest.approx(
        TTestIndPower().power(shift, 30, 0.05), abs=1e-6
    )


def test_changes_too_small_to_see_have_no_count():
    assert swings_for_sd_ratio(1.0) is None
    assert swings_for_shift(0.0) is None
    assert swings_for_shift(0.025) is None


def test_long_tails_need_more_swings():
    # large-sample variance of ln s is (kurtosis − 1) / 4n (Cramér 1946)
    assert long_tail_factor(3.0) == 1
    assert long_tail_factor(9.0) == 4


def test_welch_agrees_with_statsmodels():
    generator = np.random.default_rng(1)
    a, b = generator.normal(5, 1, 12), generator.normal(6, 3, 31)
    ours = welch_shift(a, b)
    means = CompareMeans(DescrStatsW(b), DescrStatsW(a))
    ends = means.tconfint_diff(usevar="unequal")
    assert (ours.difference.low, ours.difference.high) == pytest.approx(ends)
    assert ours.p == pytest.approx(means.ttest_ind(usevar="unequal")[1])
    paired = one_sample_shift(b[:12] - a)
    assert paired.p == pytest.approx(stats.ttest_rel(b[:12], a).pvalue)


def test_holm_agrees_with_statsmodels_and_passes_over_unknown_values():
    p = np.array([0.03, np.nan, 0.001, 0.2, 0.04, 0.9])
    known = ~np.isnan(p)
    found = holm(p)
    assert found[known] == pytest.approx(multipletests(p[known], method="holm")[1])
    assert np.isnan(found[1])


def test_permutation_p_agrees_with_scipy():
    # scipy.stats.permutation_test on the same centred values and statistic
    generator = np.random.default_rng(6)
    a, b = generator.normal(size=15), 1.8 * generator.normal(size=17)

    def log_ratio(x, y, axis):
        return 0.5 * np.log(np.var(y, ddof=1, axis=axis) / np.var(x, ddof=1, axis=axis))

    theirs = stats.permutation_test(
        (a - np.median(a), b - np.median(b)),
        log_ratio,
        n_resamples=20_000,
        vectorized=True,
        rng=np.random.default_rng(3),
    ).pvalue
    assert sd_ratio(a, b, seed=2, draws=20_000).p == pytest.approx(theirs, abs=0.01)


def test_interval_and_test_agree_and_follow_scale_and_exchange():
    generator = np.random.default_rng(11)
    a, b = generator.normal(size=20), 1.6 * generator.normal(size=20)
    found = sd_ratio(a, b, seed=2)
    assert (1.0 in found.ratio) == (found.p > 0.05)
    ten = sd_ratio(a, 10 * b + 3, seed=2).ratio
    assert ten.ends == pytest.approx(tuple(10 * end for end in found.ratio.ends), rel=1e-3)
    turned = sd_ratio(b, a, seed=2).ratio
    # other relabellings are drawn, so the ends agree to Monte Carlo error only
    assert turned.ends == pytest.approx(
        (1 / found.ratio.value, 1 / found.ratio.high, 1 / found.ratio.low), rel=0.1
    )


def test_same_seed_same_answer():
    assert sd_ratio(A, B, seed=7) == sd_ratio(A, B, seed=7)


@pytest.mark.parametrize(("wild", "count"), [(False, 5), (True, 12), (True, 40)])
def test_ratio_interval_covers_95_percent_where_the_f_interval_does_not(wild, count):
    # 300 pairs: standard error 1.3 %; tests/benchmarks/variation_coverage.py counts 2,000
    generator = np.random.default_rng([13, count, wild])
    held, plain = 0, 0
    for _ in range(300):
        a, b = generator.standard_normal((2, count))
        if wild:
            a[generator.random(count) < 0.05] *= 5
            b[generator.random(count) < 0.05] *= 5
        found = sd_ratio(a, b, seed=1, draws=500)
        held += 1.0 in found.ratio
        plain += 1.0 in found.classical
    assert 0.905 <= held / 300 <= 0.985
    if wild and count == 40:
        assert plain / 300 < 0.8


def test_sets_without_spread_or_with_two_swings_have_no_ratio():
    assert not sd_ratio(np.ones(5), A, seed=1).ratio.known
    assert not sd_ratio(np.full(12, 0.1), A, seed=1).ratio.known
    assert not sd_ratio(A[:2], B, seed=1).ratio.known
    assert not welch_shift(A[:1], B).difference.known
    still = welch_shift(np.ones(4), np.ones(4))
    assert still.difference.ends == (0, 0, 0)


@pytest.mark.parametrize("count", [3, 4])
def test_relabellings_too_few_to_reject_anything_leave_the_ratio_open(count):
    """3 against 3 or 4 values: 1 in 20 or 35 is the least one-sided p, above 2.5 %."""
    generator = np.random.default_rng(2)
    few, more = generator.normal(size=3), 5 * generator.normal(size=count)
    ratio = sd_ratio(few, more, seed=1).ratio
    assert (ratio.low, ratio.high) == (0.0, np.inf)
    assert not ratio.known
    assert sd_ratio(generator.normal(size=4), generator.normal(size=4), seed=1).ratio.known


def test_few_relabellings_are_all_used_once():
    table = relabellings(4, 4, 2000, 1)
    assert len(table) == 70
    assert len(np.unique(table, axis=0)) == 70
    assert table[0].tolist() == [1] * 4 + [0] * 4
    flips = sign_flips(5, 2000, 1)
    assert len(np.unique(flips, axis=0)) == 32
    assert (flips[0] == 1).all()
    many = relabellings(30, 20, 500, 1)
    assert many.shape == (501, 50)
    assert (many.sum(axis=1) == 30).all()
