"""Curves lined up, their spread over time, modes, and where two sets differ."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import spm1d
from scipy.spatial.transform import Rotation
from statsmodels.multivariate.pca import PCA

from imu.columns import EVENTS
from imu.errors import SwingspreadError
from imu.variation import curve_tests
from imu.variation.compare import compare_sets
from imu.variation.curve_alignment import (
    LANDMARKS,
    SHAFT_DIRECTION,
    RegisteredCurves,
    align,
    event_timing,
    spread_over_time,
)
from imu.variation.curve_difference import when
from imu.variation.modes import principal_modes


def _smooth(generator, count, points, width=12):
    """Smooth random curves of unit SD at every point."""
    noise = generator.standard_normal((count, points + 8 * width))
    kernel = np.exp(-0.5 * (np.arange(-4 * width, 4 * width + 1) / width) ** 2)
    curves = np.array([np.convolve(row, kernel, "valid")[:points] for row in noise])
    return curves / np.sqrt((kernel**2).sum())


def test_mean_difference_agrees_with_random_field_theory():
    # spm1d (Pataky 2012, Comput Methods Biomech Biomed Engin 15:295-301) as reference
    generator = np.random.default_rng(3)
    first, second = _smooth(generator, 25, 120), _smooth(generator, 25, 120)
    second[:, 40:70] += 1.2
    ours = curve_tests.mean_difference(first, second, seed=1)
    theirs = spm1d.stats.ttest2(second, first, equal_var=True).inference(0.05, two_tailed=True)
    assert ours.statistic == pytest.approx(theirs.z, abs=1e-6)
    assert ours.critical == pytest.approx(theirs.zstar, rel=0.07)
    overlap = ours.beyond == (np.abs(theirs.z) > theirs.zstar)
    assert overlap.mean() > 0.95
    assert ours.p < 0.01


def test_paired_curves_agree_with_random_field_theory():
    generator = np.random.default_rng(4)
    differences = _smooth(generator, 16, 100) + 0.5
    ours = curve_tests.mean_of_pairs(differences, seed=1)
    theirs = spm1d.stats.ttest(differences).inference(0.05, two_tailed=True)
    assert ours.statistic == pytest.approx(theirs.z, abs=1e-6)
    assert ours.critical == pytest.approx(theirs.zstar, rel=0.1)


@pytest.mark.parametrize(
    "test", [curve_tests.mean_difference, curve_tests.log_sd_difference], ids=["mean", "spread"]
)
@pytest.mark.parametrize("count", [8, 20])
def test_curves_without_a_difference_are_seldom_told_apart(test, count):
    generator = np.random.default_rng([5, count])
    trials = 120
    false = sum(
        test(_smooth(generator, count, 60), _smooth(generator, count, 60), seed=trial % 4).p < 0.05
        for trial in range(trials)
    )
    # 5 % of 120 is 6; 14 or more has a chance of 0.3 % (binomial)
    assert 1 <= false <= 13


def test_a_stretch_of_larger_spread_is_found_where_it_is():
    generator = np.random.default_rng(6)
    first, second = _smooth(generator, 30, 120), _smooth(generator, 30, 120)
    second[:, 50:80] *= 3.0
    found = curve_tests.log_sd_difference(first, second, seed=1)
    (where,) = np.nonzero(found.beyond)
    assert found.p < 0.01
    assert 40 <= where.min() <= 65
    assert 65 <= where.max() <= 90
    middle = 65
    assert abs(found.estimate[middle] - np.log(3)) < found.reach[middle]


def test_a_level_that_few_swings_cannot_reach_claims_nothing():
    generator = np.random.default_rng(7)
    differences = _smooth(generator, 4, 50) + 10
    found = curve_tests.mean_of_pairs(differences, seed=1)
    assert not found.beyond.any()
    assert found.p >= 1 / 16


def test_runs_are_found_at_both_ends():
    assert curve_tests.regions(np.array([True, True, False, True])) == [(0, 1), (3, 3)]
    assert curve_tests.regions(np.zeros(3, dtype=bool)) == []


def test_alignment_at_impact_keeps_each_curve(make_set):
    swings = make_set(5, 1, curves=True)
    found = align(swings, ["hinge_deg"])
    one = swings.curves[swings.curves["swing"] == 3]
    expected = np.interp(found.time, one["t_from_impact_s"], one["hinge_deg"])
    assert found.values["hinge_deg"][2] == pytest.approx(expected)
    assert found.rows.tolist() == [0, 1, 2, 3, 4]


def test_piecewise_alignment_puts_every_event_at_one_time(make_set):
    swings = make_set(12, 1, curves=True)
    # a curve that says which part of the swing it is in: 0 at takeaway, 1 at top, 2 at impact
    table = swings.swings.set_index("swing")
    pieces = []
    for number, piece in swings.curves.groupby("swing"):
        row = table.loc[number]
        knots = row[["takeaway_s", "club_top_s", "impact_s"]].to_numpy(float)
        pieces.append(piece.assign(hinge_deg=np.interp(piece["t_s"], knots, [0.0, 1.0, 2.0])))
    marked = type(swings)("marked", swings.swings, pd.concat(pieces, ignore_index=True))
    apart = align(marked, ["hinge_deg"], ("impact",)).values["hinge_deg"]
    together = align(marked, ["hinge_deg"], LANDMARKS).values["hinge_deg"]
    assert np.nanmax(apart.std(axis=0)) > 0.02
    # interpolating across the corner of a piecewise line costs up to a sample (2 ms of 250)
    assert np.nanmax(together.std(axis=0)) < 0.004


def test_swings_without_an_event_take_no_part(make_set):
    swings = make_set(6, 1, curves=True)
    swings.swings.loc[2, "takeaway_s"] = np.nan
    assert align(swings, ["hinge_deg"], LANDMARKS).rows.tolist() == [0, 1, 3, 4, 5]
    with pytest.raises(SwingspreadError, match="impact"):
        align(swings, ["hinge_deg"], ("takeaway",))
    with pytest.raises(SwingspreadError, match="no curves"):
        align(make_set(6, 1), ["hinge_deg"])


def test_spread_over_time_agrees_with_numpy(make_set):
    found = align(make_set(20, 2, curves=True), ["hinge_deg"])
    table = spread_over_time(found, "hinge_deg")
    values = found.values["hinge_deg"]
    assert table["sd"].to_numpy() == pytest.approx(values.std(axis=0, ddof=1))
    for name, part in (("p10", 10), ("p50", 50), ("p90", 90)):
        assert table[name].to_numpy() == pytest.approx(np.percentile(values, part, axis=0))


def test_points_that_few_swings_reach_are_left_open(make_set):
    swings = make_set(10, 2, curves=True)
    early = swings.curves["t_from_impact_s"] < -0.5
    swings.curves.loc[early & (swings.curves["swing"] > 7), "hinge_deg"] = np.nan
    table = spread_over_time(align(swings, ["hinge_deg"]), "hinge_deg")
    assert table.loc[table["t_from_impact_s"] < -0.51, "sd"].isna().all()
    assert table.loc[table["t_from_impact_s"] > -0.49, "sd"].notna().all()


def test_spread_of_direction_is_the_angle_from_the_mean(make_set):
    swings = make_set(200, 3, curves=True)
    # tilts about one axis with SD 2°: the spread of direction is 2° everywhere
    tilt = np.radians(2 * np.random.default_rng(1).standard_normal(200))
    turned = Rotation.from_rotvec(np.column_stack([tilt, 0 * tilt, 0 * tilt])).as_quat()
    place = swings.curves["swing"].to_numpy() - 1
    for name, column in zip(("qx", "qy", "qz", "qw"), turned.T, strict=True):
        swings.curves[f"club_{name}"] = column[place]
    table = spread_over_time(align(swings, [SHAFT_DIRECTION]), SHAFT_DIRECTION)
    expected = np.degrees(tilt).std(ddof=1)
    assert np.nanmedian(table["sd"]) == pytest.approx(expected, rel=0.01)


def test_direction_at_rest_points_down_the_shaft(make_set):
    swings = make_set(3, 1, curves=True)
    swings.curves[["club_qw", "club_qx", "club_qy", "club_qz"]] = [1.0, 0.0, 0.0, 0.0]
    values = align(swings, [SHAFT_DIRECTION]).values[SHAFT_DIRECTION]
    # the segment's distal long axis is −y (ISB, Wu et al. 2005)
    assert values[0, 0] == pytest.approx([0, -1, 0])


def test_timing_spread_is_that_of_the_events(make_set):
    swings = make_set(30, 4).swings
    table = event_timing(swings, EVENTS).set_index("event")
    assert "impact" not in table.index
    expected = swings["downswing_ms"].std(ddof=1)
    assert table.loc["club_top", "sd_ms"] == pytest.approx(expected)
    assert table.loc["club_top", "noise_ms"] == pytest.approx(0.5 * np.sqrt(2))


def test_modes_agree_with_statsmodels(make_set):
    swings = make_set(25, 5, curves=True)
    found = align(swings, ["hinge_deg"])
    modes = principal_modes(found, "hinge_deg", swings.swings)
    reference = PCA(found.values["hinge_deg"], ncomp=3, standardize=False, normalize=False)
    centred = found.values["hinge_deg"] - found.values["hinge_deg"].mean(axis=0)
    shares = reference.eigenvals[:3] / (centred**2).sum()
    assert modes.shares == pytest.approx(shares, rel=1e-6)
    for mode in range(3):
        r = np.corrcoef(modes.scores[:, mode], reference.scores[:, mode])[0, 1]
        assert abs(r) == pytest.approx(1)
    assert modes.scores.std(axis=0, ddof=1) == pytest.approx(np.ones(3))


def test_mode_one_says_what_it_does(make_set):
    swings = make_set(40, 6, curves=True)
    modes = principal_modes(align(swings, ["hinge_deg"], end=-0.2), "hinge_deg", swings.swings)
    # before release these invented curves differ in their greatest hinge above all
    assert "the more of it, the larger greatest hinge (r " in modes.sentences[0]
    assert "° (1 SD)" in modes.sentences[0]
    assert modes.shares[0] > modes.expected_shares[0]


def test_curves_that_differ_at_random_have_no_mode_above_chance():
    values = np.random.default_rng(1).standard_normal((30, 60))
    curves = RegisteredCurves(np.arange(60) / 500, {"x": values}, np.arange(30), ("impact",))
    modes = principal_modes(curves, "x", pd.DataFrame(index=range(30)))
    assert (modes.shares < 1.15 * modes.expected_shares).all()
    assert sum("not told from chance" in text for text in modes.sentences) >= 2


def test_few_curves_go_with_no_measure_by_chance(make_set):
    """Of 28 measures the closest to a random score has |r| above 0.5 nearly always at 8 swings."""
    generator = np.random.default_rng(3)
    named = 0
    for seed in range(40):
        swings = make_set(8, seed).swings
        shape = np.sin(np.arange(60) / 10)
        values = np.outer(generator.standard_normal(8), shape)
        curves = RegisteredCurves(np.arange(60) / 500, {"x": values}, np.arange(8), ("impact",))
        named += "the more of it" in principal_modes(curves, "x", swings, count=1).sentences[0]
    # 5 % of 40 is 2; 7 or more has a chance of 0.3 % (binomial)
    assert named <= 6


def test_too_few_curves_have_no_modes(make_set):
    swings = make_set(4, 6, curves=True)
    with pytest.raises(SwingspreadError, match="6 whole curves"):
        principal_modes(align(swings, ["hinge_deg"]), "hinge_deg", swings.swings)


def test_comparison_shows_where_the_hinge_differs(make_set):
    a = make_set(30, 1, curves=True)
    b = make_set(30, 2, "pressure", curves=True, hour=11, shift={"hinge_max_deg": 8.0})
    hinge = compare_sets(a, b).curve_findings[0]
    assert hinge.curve == "hinge_deg"
    region = max(hinge.mean_regions, key=lambda one: one.size)
    # the invented curves reach their greatest hinge well before release and lose it by impact
    assert -0.4 < region.peak < -0.05
    assert region.low < 8 < region.high
    assert "Hinge larger under pressure" in hinge.sentence


def test_a_hinge_that_opens_faster_has_the_larger_opening_rate(make_set):
    """The hinge's rate is negative while it opens (``imu.columns``): faster lies lower."""
    a = make_set(30, 1, curves=True)
    b = make_set(30, 2, "pressure", curves=True, hour=11)
    b.curves["hinge_rate_deg_s"] *= 1.3
    rate = next(one for one in compare_sets(a, b).curve_findings if one.curve == "hinge_rate_deg_s")
    largest = max(rate.mean_regions, key=lambda one: abs(one.size))
    assert largest.size < 0 and -0.1 < largest.peak < 0
    assert "Opening rate of the hinge larger under pressure" in rate.sentence


def test_a_spread_that_shrinks_is_said_to_go_down_to(make_set):
    a = make_set(30, 1, curves=True, sd_factor={"hinge_max_deg": 4.0})
    b = make_set(30, 2, "pressure", curves=True, hour=11)
    hinge = compare_sets(a, b).curve_findings[0]
    assert "spreads down to 0." in hinge.spread_sentence


def test_what_chance_among_the_curves_could_make_is_no_region(make_set):
    met = 0
    for seed in range(12):
        a = make_set(8, seed, curves=True)
        b = make_set(8, 100 + seed, "pressure", curves=True, hour=11)
        for one in compare_sets(a, b, metrics=["release_ms"]).curve_findings:
            met += one.mean.p < 0.05 < one.mean_p_holm
            assert bool(one.mean_regions) == (one.mean_p_holm <= 0.05)
            assert bool(one.spread_regions) == (one.spread_p_holm <= 0.05)
    assert met > 0


def test_lining_up_at_events_takes_timing_out_of_the_comparison(make_set):
    a = make_set(40, 1, curves=True)
    b = make_set(40, 2, "pressure", curves=True, hour=11, shift={"downswing_ms": -25.0})
    at_impact = compare_sets(a, b).curve_findings[0]
    at_events = compare_sets(a, b, line_up=LANDMARKS).curve_findings[0]
    assert at_impact.mean_p_holm < 0.05
    # on the way back, where these invented curves follow the events; what goes by release time
    # instead of by events stays
    back = [one.mean.estimate[one.time < -0.3] for one in (at_impact, at_events)]
    assert np.abs(back[1]).max() < 0.4 * np.abs(back[0]).max()


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (-0.12, -0.06, "between 120 and 60 ms before impact"),
        (-0.02, 0.03, "from 20 ms before to 30 ms after impact"),
        (0.01, 0.03, "between 10 and 30 ms after impact"),
        (0.0, 0.0, "at impact"),
        (-0.05, -0.05, "at 50 ms before impact"),
    ],
)
def test_times_in_words(start, end, words):
    assert when(start, end) == words
