"""What goes with what: regression against statsmodels, shot results against scipy."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from imu.variation.shot_result import shot_result_association, superiority
from imu.variation.timing_at_stake import timing_at_stake

PAIR = [("release_ms", "hinge_at_impact_deg")]


def test_slope_and_interval_agree_with_statsmodels(make_set):
    swings = make_set(40, 1).swings
    swings["hinge_at_impact_deg"] -= 0.4 * swings["release_ms"]
    (found,) = timing_at_stake(swings, PAIR)
    design = sm.add_constant(swings["release_ms"])
    fit = sm.OLS(swings["hinge_at_impact_deg"], design).fit(cov_type="HC3", use_t=True)
    assert found.slope.value == pytest.approx(fit.params["release_ms"])
    ends = fit.conf_int().loc["release_ms"]
    assert (found.slope.low, found.slope.high) == pytest.approx(tuple(ends), rel=1e-6)
    assert found.shared.value == pytest.approx(fit.rsquared)
    assert found.p == pytest.approx(fit.pvalues["release_ms"], rel=1e-6)
    assert "goes with release before impact" in found.sentence


def test_correlation_interval_agrees_with_scipy(make_set):
    swings = make_set(25, 2).swings
    (found,) = timing_at_stake(swings, PAIR)
    r = stats.pearsonr(swings["release_ms"], swings["hinge_at_impact_deg"])
    ends = r.confidence_interval()
    assert found.correlation.ends == pytest.approx((r.statistic, ends.low, ends.high))


@pytest.mark.parametrize("recordings", [1, 2])
def test_a_difference_between_blocks_is_no_association(make_set, recordings):
    """Blocks in recordings of their own, or one after another in the recording of a plan."""
    a, b = make_set(30, 1), make_set(30, 2, "pressure", shift={"release_ms": 40.0})
    b.swings["hinge_at_impact_deg"] += 20
    both = pd.concat([a.swings, b.swings], ignore_index=True)
    if recordings == 1:
        both["recording_id"] = "rec"
    raw = np.corrcoef(both["release_ms"], both["hinge_at_impact_deg"])[0, 1]
    (found,) = timing_at_stake(both, PAIR)
    assert raw > 0.8
    assert 0.0 in found.slope
    assert found.shared.low == 0
    assert found.sentence.startswith("Not established")


def test_slope_within_blocks_of_unequal_size_agrees_with_statsmodels(make_set):
    swings = make_set(40, 1).swings
    swings["block"] = np.repeat(["warm-up", "practice", "pressure"], [4, 12, 24])
    swings["hinge_at_impact_deg"] -= 0.4 * swings["release_ms"]
    (found,) = timing_at_stake(swings, PAIR)
    design = pd.get_dummies(swings["block"]).astype(float).assign(slope=swings["release_ms"])
    fit = sm.OLS(swings["hinge_at_impact_deg"], design).fit(cov_type="HC3", use_t=True)
    assert (found.slope.low, found.slope.high) == pytest.approx(
        tuple(fit.conf_int().loc["slope"]), rel=1e-6
    )


def test_an_association_that_chance_among_the_pairs_could_make_is_not_called_established(make_set):
    for seed in range(60):
        swings = make_set(20, seed).swings
        found = timing_at_stake(swings)
        for one in found:
            established = not one.sentence.startswith("Not established")
            assert established == (one.p_holm < 0.05)
            assert ("chance among these" in one.sentence) == (one.p < 0.05 <= one.p_holm)
        if any(one.p < 0.05 < one.p_holm for one in found):
            return
    pytest.fail("no seed tried what is to be tested")


def test_noise_in_the_cause_is_corrected_for_when_known(make_set):
    generator = np.random.default_rng(3)
    swings = make_set(3000, 3).swings
    true = swings["release_ms"].to_numpy().copy()
    swings["hinge_at_impact_deg"] = 0.5 * true + generator.standard_normal(3000)
    swings["release_ms"] = true + 4 * generator.standard_normal(3000)
    (plain,) = timing_at_stake(swings, PAIR)
    assert np.isnan(plain.slope_noise_removed)
    swings["release_ms_se_swing"] = 4.0
    (found,) = timing_at_stake(swings, PAIR)
    assert found.slope.value < 0.4
    assert found.slope_noise_removed == pytest.approx(0.5, abs=0.03)


def test_few_swings_are_passed_over(make_set):
    assert timing_at_stake(make_set(6, 1).swings) == ()


def test_superiority_agrees_with_scipy():
    generator = np.random.default_rng(1)
    a, b = generator.normal(0.5, 1, 14), generator.normal(0, 2, 23)
    found = superiority(a, b)
    u = stats.mannwhitneyu(a, b).statistic
    assert found.value == pytest.approx(u / (14 * 23))
    # Brunner & Munzel's variance, recovered from scipy's statistic
    w = stats.brunnermunzel(b, a).statistic
    error = (found.value - 0.5) / w
    freedom_free = (np.log(found.high / (1 - found.high)) - np.log(found.low / (1 - found.low))) / 2
    assert freedom_free * found.value * (1 - found.value) / error == pytest.approx(2.03, abs=0.06)
    apart = superiority(np.arange(5.0) + 10, np.arange(5.0))
    assert apart.value == 1
    assert not apart.known


def test_shot_results_go_with_the_measure_that_makes_them(make_set):
    swings = make_set(60, 4).swings
    late = swings["release_ms"] < swings["release_ms"].median()
    swings["outcome"] = np.where(late, "bad", "good")
    found = {one.metric: one for one in shot_result_association(swings)}
    release = found["release_ms"]
    assert release.question == "bad against good"
    assert release.p_holm < 0.001
    assert release.difference.high < 0
    assert "more than chance" in release.sentence
    quiet = [one for name, one in found.items() if name != "release_ms"]
    assert sum(one.p_holm < 0.05 for one in quiet) == 0


def test_bad_shots_that_are_the_odd_ones_show_in_the_distance(make_set):
    swings = make_set(80, 5).swings
    away = (swings["release_ms"] - swings["release_ms"].median()).abs()
    swings["outcome"] = np.where(away > away.median(), "bad", "good")
    release = shot_result_association(swings, ["release_ms"])[0]
    assert 0.0 in release.difference
    assert release.distance.low > 0


def test_direction_is_a_question_of_its_own_and_few_results_say_nothing(make_set):
    swings = make_set(20, 6).swings
    swings["direction"] = ["left", "right"] * 10
    assert {one.question for one in shot_result_association(swings)} == {"right against left"}
    swings["direction"] = ["left"] * 18 + ["right"] * 2
    assert shot_result_association(swings) == ()
