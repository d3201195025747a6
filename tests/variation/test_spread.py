"""The spread table, drift within blocks, and what the words say of both."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from imu.columns import METRICS
from imu.errors import SwingspreadError
from imu.variation.drift import fit_drift
from imu.variation.noise import AT_MOST, minimal_detectable_change
from imu.variation.spread import SPREAD_COLUMNS, far_out, spread_sentences, spread_table
from imu.variation.wording import least_difference_sentence


def test_every_metric_has_a_row_with_the_documented_columns(make_set):
    swings = make_set(25, 1).swings
    table = spread_table(swings)
    assert list(table.columns) == list(SPREAD_COLUMNS)
    assert table["metric"].tolist() == [metric.name for metric in METRICS]
    row = table.set_index("metric").loc["release_ms"]
    values = swings["release_ms"]
    assert row["mean"] == pytest.approx(values.mean())
    assert row["median"] == pytest.approx(values.median())
    assert row["sd"] == pytest.approx(values.std(ddof=1))
    assert row["robust_sd"] == pytest.approx(
        stats.median_abs_deviation(values, scale="normal"), rel=1e-6
    )
    assert row["cv"] == pytest.approx(stats.variation(values, ddof=1))
    assert row["sd_unbiased"] > row["sd"]
    assert row["noise_sd"] == pytest.approx(0.2 * 6)
    assert row["human_sd"] == pytest.approx(np.sqrt(values.var(ddof=1) - 1.2**2))


def test_cv_is_given_where_it_makes_sense_only(make_set):
    table = spread_table(make_set(25, 1).swings).set_index("metric")
    assert np.isfinite(table.loc["clubhead_speed_m_s", "cv"])
    for name in ("hinge_at_impact_deg", "overlap_ms", "tempo_ratio", "waggle_count"):
        assert np.isnan(table.loc[name, "cv"])


def test_whole_sample_timing_adds_to_the_noise_of_durations_only(make_set):
    swings = make_set(25, 1).swings
    names = ["release_ms", "hinge_max_deg", "address_time_s"]
    plain = spread_table(swings, names)
    coarse = spread_table(swings, names, sample_period_s=0.005)
    assert coarse["noise_sd"][0] == pytest.approx(np.hypot(plain["noise_sd"][0], 5 / np.sqrt(6)))
    assert coarse["noise_sd"][1] == plain["noise_sd"][1]
    assert coarse["noise_sd"][2] == pytest.approx(
        np.hypot(plain["noise_sd"][2], 0.005 / np.sqrt(6)), rel=1e-12
    )


def test_noise_that_explains_all_is_below_what_the_sensors_resolve(make_set):
    swings = make_set(25, 1).swings
    swings["release_ms_se_swing"] = 10.0
    table = spread_table(swings, ["release_ms"])
    assert table["human_sd"][0] == 0
    assert "below what the sensors can resolve" in spread_sentences(table)[0]


def test_two_swings_must_differ_by_2_77_times_the_noise(make_set):
    # Weir 2005, J Strength Cond Res 19:231-240: 1.96 × √2 × SEM, the SEM here the root mean
    # square of the swings' own errors
    swings = make_set(25, 1).swings
    own = np.linspace(0.3, 0.6, 25)
    swings["release_ms_se_swing"] = own
    table = spread_table(swings, ["release_ms", "downswing_ms"]).set_index("metric")
    expected = 1.96 * np.sqrt(2) * np.sqrt(np.mean(own**2))
    assert table.loc["release_ms", "least_difference"] == pytest.approx(expected, rel=1e-12)
    assert table.loc["downswing_ms", "least_difference"] == pytest.approx(2.7718586 * 2, rel=1e-7)
    assert table.loc["downswing_ms", "noise_is"] == AT_MOST
    for name, said in (
        ("release_ms", "Two swings must differ by 1.3 ms before the sensors can tell (95 % sure)."),
        ("downswing_ms", "must differ by 5.5 ms, or perhaps less, before"),
    ):
        row = table.loc[name]
        assert said in least_difference_sentence(row["least_difference"], row["noise_is"], "ms")


def test_what_two_swings_must_differ_by_is_told_apart_95_times_in_100():
    """Two readings of one truth differ by more once in 20 (simulated)."""
    readings = 3.0 * np.random.default_rng(4).standard_normal((100_000, 2))
    beyond = np.abs(readings[:, 0] - readings[:, 1]) > minimal_detectable_change(3.0)
    assert beyond.mean() == pytest.approx(0.05, abs=0.003)


def test_an_unknown_noise_tells_no_least_difference(make_set):
    swings = make_set(25, 1).swings.drop(columns="release_ms_se")
    row = spread_table(swings, ["release_ms"]).iloc[0]
    assert np.isnan(row["least_difference"])
    assert least_difference_sentence(row["least_difference"], row["noise_is"], "ms") == ""


def test_an_error_shared_by_all_swings_is_not_taken_for_noise(make_set):
    swings = make_set(25, 1).swings
    swings["release_ms_se"] = 40.0
    table = spread_table(swings, ["release_ms"])
    assert np.isnan(table["noise_sd"][0])
    assert np.isnan(table["human_sd"][0])
    assert "sensors" not in spread_sentences(table)[0]


def test_missing_measures_are_counted(make_set):
    swings = make_set(10, 1).swings
    swings.loc[:3, "release_ms"] = np.nan
    swings["tempo_ratio"] = np.nan
    table = spread_table(swings, ["release_ms", "tempo_ratio"])
    assert table["swings"].tolist() == [6, 0]
    assert table["missing"].tolist() == [4, 10]
    assert "too few" in spread_sentences(table)[1]


def test_a_wild_swing_is_pointed_out_and_leaves_the_usual_spread_alone(make_set):
    swings = make_set(30, 1).swings
    before = spread_table(swings, ["release_ms"]).iloc[0]
    swings.loc[4, "release_ms"] += 100
    table = spread_table(swings, ["release_ms"])
    after = table.iloc[0]
    assert after["far_out"] == 1
    calm = spread_sentences(spread_table(make_set(30, 1).swings, ["release_ms"]))[0]
    assert "far out" not in calm
    usual = f"the usual ones vary by {after['robust_sd']:.1f} ms"
    assert "1 swing lies far out: the SD depends on" in spread_sentences(table)[0]
    assert usual in spread_sentences(table)[0]
    assert after["sd"] > 2.5 * before["sd"]
    assert after["robust_sd"] < 1.2 * before["robust_sd"]


@pytest.mark.parametrize("count", [8, 9, 14, 20, 40, 60, 100])
def test_hardly_one_set_in_a_hundred_has_a_swing_far_out_by_chance(count):
    values = np.random.default_rng(count).standard_normal((count, 8000))
    assert 0.005 < far_out(values).any(axis=0).mean() < 0.025
    values[0] = 12.0
    assert far_out(values)[0].mean() > (0.95 if count > 9 else 0.75)


def test_a_measure_that_never_changes_is_said_to_be_the_same(make_set):
    swings = make_set(20, 1).swings.assign(waggle_count=2.0)
    said = spread_sentences(spread_table(swings, ["waggle_count"]))[0]
    assert said == "Waggles: the same in all 20 swings."


def test_a_further_sensors_measure_has_a_row_where_there_is_one(make_set):
    swings = make_set(20, 1).swings
    assert "belt_before_arm_ms" not in set(spread_table(swings)["metric"])
    swings["belt_before_arm_ms"] = 40 + 10 * np.random.default_rng(1).standard_normal(20)
    row = spread_table(swings).set_index("metric").loc["belt_before_arm_ms"]
    assert row["sd"] == pytest.approx(swings["belt_before_arm_ms"].std(ddof=1))
    assert np.isnan(row["cv"]), "it passes through zero"


def test_nothing_to_work_with_is_said(make_set):
    with pytest.raises(SwingspreadError, match="no swings"):
        spread_table(make_set(5, 1).swings.iloc[:0])
    with pytest.raises(SwingspreadError, match="nothing_ms"):
        spread_table(make_set(5, 1).swings, ["nothing_ms"])


def test_drift_agrees_with_statsmodels():
    # ordinary least squares with a mean for every block as reference
    generator = np.random.default_rng(1)
    blocks = np.repeat([0, 1, 2], [12, 8, 10])
    order = np.concatenate([np.arange(size) for size in (12, 8, 10)])
    values = 5.0 * blocks + 0.3 * order + generator.standard_normal(30)
    values[[3, 20]] = np.nan
    found = fit_drift(values[:, None], order, blocks).iloc[0]
    design = pd.get_dummies(blocks).astype(float)
    design["order"] = order
    fit = sm.OLS(values, design, missing="drop").fit()
    assert found["drift_per_swing"] == pytest.approx(fit.params["order"])
    low, high = fit.conf_int().loc["order"]
    assert (found["drift_low"], found["drift_high"]) == pytest.approx((low, high))
    assert found["drift_p"] == pytest.approx(fit.pvalues["order"])
    assert found["sd_without_drift"] == pytest.approx(np.sqrt(fit.mse_resid))


def test_spread_without_drift_recovers_what_is_left(make_set):
    swings = make_set(60, 2).swings
    swings["release_ms"] += 0.8 * np.arange(60)
    row = spread_table(swings, ["release_ms"]).iloc[0]
    assert row["sd_within_blocks"] > 12
    assert row["sd_without_drift"] == pytest.approx(6, rel=0.2)
    assert "drifts up" in spread_sentences(spread_table(swings, ["release_ms"]))[0]


def test_a_drift_that_chance_among_the_measures_could_make_is_not_told(make_set):
    """Twelve measures and more, none of which drifts, in a hundred sets."""
    tables = [spread_table(make_set(20, seed).swings) for seed in range(100)]
    assert sum((table["drift_p"] < 0.05).any() for table in tables) > 50
    told = sum(any("drifts" in text for text in spread_sentences(table)) for table in tables)
    # 5 % of 100 is 5; 13 or more has a chance of 0.15 % (binomial)
    assert told <= 12


def test_a_change_between_the_blocks_of_one_recording_is_no_drift(make_set):
    """A plan's recording holds several blocks; the mean of each is its own."""
    swings = make_set(40, 2).swings
    swings["block"] = np.repeat(["practice", "pressure"], 20)
    plain = spread_table(swings, ["release_ms"]).iloc[0]
    swings.loc[swings["block"] == "pressure", "release_ms"] += 50
    row = spread_table(swings, ["release_ms"]).iloc[0]
    assert row["drift_per_swing"] == pytest.approx(plain["drift_per_swing"])
    assert row["sd_within_blocks"] == pytest.approx(plain["sd_within_blocks"])
    assert row["sd"] > 3 * row["sd_within_blocks"]
    (said,) = spread_sentences(spread_table(swings, ["release_ms"]))
    assert f"{row['sd_within_blocks']:.0f} ms within blocks, the rest from block to block" in said
    assert "within blocks" not in spread_sentences(spread_table(make_set(40, 2).swings))[0]


def test_short_blocks_have_no_drift():
    values = np.random.default_rng(1).standard_normal((8, 2))
    values[:, 1] = np.nan
    found = fit_drift(values, np.tile([0, 1], 4), np.repeat([0, 1, 2, 3], 2))
    assert found["drift_per_swing"].isna().all()
    assert np.isfinite(found["sd_within_blocks"][0])


def test_one_swing_has_a_mean_and_no_spread(make_set):
    row = spread_table(make_set(1, 1).swings, ["release_ms"]).iloc[0]
    assert np.isfinite(row["mean"])
    assert np.isnan(row["sd"])
