"""Mean and SD with intervals, against printed values and reference libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from imu.variation.bootstrap import (
    bca_interval,
    bca_log_sd_ratio,
    resample_counts,
    variance_of_resamples,
    variance_without_each,
)
from imu.variation.intervals import (
    MAD_TO_SD,
    c4,
    chi_square_sd_interval,
    column_mean,
    column_median,
    column_sd,
    log_sd_bias,
    mean_interval,
    robust_sd,
    robust_sd_interval,
    sd_freedom,
    sd_interval,
)
from imu.variation.mad_quantiles import mad_quantiles
from imu.variation.session_units import within_sessions


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        (5, 0.5991, 2.8736),
        (10, 0.6878, 1.8256),
        (20, 0.7605, 1.4606),
        (30, 0.7964, 1.3443),
        (50, 0.8353, 1.2461),
    ],
)
def test_sd_interval_of_normal_values_has_the_tabled_factors(count, low, high):
    # chi-square factors, recomputed with scipy for the project's statistics notes
    found = chi_square_sd_interval(1.0, count)
    assert found[0] == pytest.approx(low, abs=5e-5)
    assert found[1] == pytest.approx(high, abs=5e-5)


@pytest.mark.parametrize(("count", "value"), [(2, 0.79788), (10, 0.97266), (20, 0.98693)])
def test_c4_has_the_values_of_quality_control_tables(count, value):
    # n 2: NIST/SEMATECH e-Handbook 6.3.2; n 10 and 20: quality-control tables (from memory)
    assert c4(count) == pytest.approx(value, abs=1e-5)


def test_log_sd_bias_agrees_with_simulation():
    values = np.random.default_rng(5).standard_normal((6, 40_000))
    assert np.log(column_sd(values)).mean() == pytest.approx(float(log_sd_bias(6)), abs=0.006)


def bca_variance(values, seed, level=0.95, resamples=20_000):
    """BCa interval of the sample variance, by the parts that ``bca_log_sd_ratio`` uses."""
    without = variance_without_each(values)
    return bca_interval(
        float(values.var(ddof=1)),
        variance_of_resamples(values, resample_counts(len(values), resamples, seed)),
        without.mean() - without,
        level,
    )


def test_bca_of_the_spatial_data_matches_efron_and_tibshirani():
    # Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 14, spatial test data A:
    # plug-in variance 171.5; 90 % BCa interval (115.8, 259.6)
    data = "48 36 20 29 42 42 20 42 22 41 45 14 6 0 33 28 34 4 32 24 47 41 24 26 30 41"
    values = np.array(data.split(), dtype=float)
    plug_in = (len(values) - 1) / len(values)
    found = [bca_variance(values, seed, level=0.9) for seed in range(5)]
    assert plug_in * found[0].value == pytest.approx(171.5340, abs=1e-4)
    # their 2,000 and our 5 × 20,000 resamples: ends differ by Monte Carlo error
    assert plug_in * np.mean([one.low for one in found]) == pytest.approx(115.8, abs=3)
    assert plug_in * np.mean([one.high for one in found]) == pytest.approx(259.6, abs=3)


def test_bca_agrees_with_scipy():
    # scipy.stats.bootstrap, method BCa, as reference
    values = np.random.default_rng(4).gamma(3.0, size=25)
    ours = bca_variance(values, seed=1)
    theirs = stats.bootstrap(
        (values,),
        lambda x, axis: np.var(x, ddof=1, axis=axis),
        n_resamples=20_000,
        method="BCa",
        rng=np.random.default_rng(9),
    ).confidence_interval
    assert ours.low == pytest.approx(theirs.low, rel=0.03)
    assert ours.high == pytest.approx(theirs.high, rel=0.03)


def test_bca_of_two_sets_agrees_with_scipy():
    # scipy.stats.bootstrap with two samples as reference
    generator = np.random.default_rng(8)
    first, second = generator.normal(size=18), 1.7 * generator.gamma(4.0, size=25)

    def log_ratio(a, b, axis):
        return np.log(np.std(b, ddof=1, axis=axis) / np.std(a, ddof=1, axis=axis))

    theirs = stats.bootstrap(
        (first, second),
        log_ratio,
        n_resamples=20_000,
        method="BCa",
        rng=np.random.default_rng(2),
    ).confidence_interval
    ours = bca_log_sd_ratio(first, second, seed=6, resamples=20_000)
    assert ours.low == pytest.approx(theirs.low, abs=0.03)
    assert ours.high == pytest.approx(theirs.high, abs=0.03)


def test_mean_and_robust_sd_agree_with_scipy():
    values = np.random.default_rng(1).normal(3, 2, (15, 4))
    low, high = mean_interval(values)
    for column in range(4):
        data = values[:, column]
        ends = stats.ttest_1samp(data, 0).confidence_interval(0.95)
        assert (low[column], high[column]) == pytest.approx((ends.low, ends.high))
        expected = stats.median_abs_deviation(data, scale="normal")
        assert robust_sd(data) == pytest.approx(expected, rel=1e-6)
    assert pytest.approx(1 / stats.norm.ppf(0.75)) == MAD_TO_SD


def test_missing_values_are_left_out_column_by_column():
    values = np.random.default_rng(2).normal(size=(9, 3))
    holed = np.vstack([values, np.full((2, 3), np.nan)])
    holed[0, 0] = np.nan
    for statistic in (column_mean, column_median, column_sd, robust_sd, sd_freedom):
        found = statistic(holed)
        assert found[1:] == pytest.approx(statistic(values)[1:])
        assert found[0] == pytest.approx(statistic(values[1:])[0])


def test_nothing_and_one_value_have_no_spread():
    for values in (np.full((4, 2), np.nan), np.array([[1.0, 2.0]]), np.empty((0, 2)), np.empty(0)):
        assert np.isnan(column_sd(values)).all()
        assert np.isnan(np.array(sd_interval(values))).all()
        assert np.isnan(np.array(robust_sd_interval(values))).all()


@pytest.mark.parametrize("count", [3, 6, 13, 40, 41, 42, 43, 99, 100])
def test_mad_quantiles_agree_with_fresh_draws(count):
    draws = 20_000 if count > 3 else 200_000
    values = np.random.default_rng(count).standard_normal((count, draws))
    low, high = np.quantile(robust_sd(values), [0.025, 0.975])
    tabled = mad_quantiles(count)
    # a quantile of 20,000 draws errs by about 1 %
    assert tabled[0] == pytest.approx(low, rel=0.02 if count > 3 else 0.05)
    assert tabled[1] == pytest.approx(high, rel=0.02)


@pytest.mark.parametrize("count", [101, 150, 400])
def test_mad_quantiles_beyond_the_table_go_on_from_it(count):
    values = np.random.default_rng(count).standard_normal((count, 20_000))
    drawn = np.quantile(robust_sd(values), [0.025, 0.975])
    # such a quantile errs by about 0.2 %; the normal limit is half a percent off at 101
    assert np.array(mad_quantiles(count)) == pytest.approx(drawn, rel=0.008)


def test_long_tails_widen_the_interval_and_never_narrow_it():
    generator = np.random.default_rng(3)
    normal, wild = generator.normal(size=(40, 50)), generator.standard_t(3, (40, 50))
    for values in (normal, wild):
        plain_low, plain_high = chi_square_sd_interval(column_sd(values), 40)
        low, high = sd_interval(values)
        assert (low <= plain_low + 1e-12).all()
        assert (high >= plain_high - 1e-12).all()
    assert sd_freedom(wild).mean() < 0.6 * sd_freedom(normal).mean()


def test_an_sd_within_sessions_is_worth_one_degree_of_freedom_a_session_less():
    """Ten sessions of three normal swings: the pooled SD has 20 degrees of freedom, not 29."""
    generator = np.random.default_rng(6)
    held = 0
    for _ in range(2000):
        within = within_sessions(generator.standard_normal(30), np.repeat(np.arange(10), 3))
        low, high = sd_interval(within, means=10)
        held += low <= 1 <= high
    assert held / 2000 == pytest.approx(0.95, abs=0.02)
    assert sd_freedom(within, means=10) <= 20


SHAPES = {
    "normal": lambda generator, size: generator.standard_normal(size),
    "skewed": lambda generator, size: (generator.gamma(4.0, 1.0, size) - 4) / 2,
}


@pytest.mark.parametrize("shape", sorted(SHAPES))
@pytest.mark.parametrize("count", [5, 10, 20, 40, 60])
def test_sd_interval_covers_95_percent(shape, count):
    # 20,000 sets: the percentage errs by 0.15 (one SD)
    values = SHAPES[shape](np.random.default_rng([7, count]), (count, 20_000))
    low, high = sd_interval(values)
    assert np.mean((low <= 1) & (high >= 1)) == pytest.approx(0.95, abs=0.015)


@pytest.mark.parametrize("count", [5, 10, 20, 60])
def test_robust_interval_covers_with_wild_swings(count):
    # one swing in twenty is five times as wild; the truth is the population's own robust SD
    generator = np.random.default_rng([8, count])
    wild = generator.random((count, 6000)) < 0.05
    values = generator.standard_normal((count, 6000)) * np.where(wild, 5.0, 1.0)

    def beyond(size):
        return 0.95 * 2 * stats.norm.sf(size) + 0.05 * 2 * stats.norm.sf(size / 5)

    from scipy.optimize import brentq

    truth = MAD_TO_SD * brentq(lambda size: beyond(size) - 0.5, 0.1, 5)
    low, high = robust_sd_interval(values)
    assert np.mean((low <= truth) & (high >= truth)) == pytest.approx(0.95, abs=0.018)
