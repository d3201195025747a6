"""Months of sessions: trends, steps only when supported, and the library-wide table."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from imu.errors import SwingspreadError
from imu.variation.change_points import find_steps
from imu.variation.intervals import log_sd_bias
from imu.variation.progress import progress
from imu.variation.session_table import SESSION_COLUMNS, far_out_sessions, session_table
from imu.variation.sets import pool
from imu.variation.trend import MONTH_DAYS


def _day(number: int) -> str:
    return (pd.Timestamp("2025-01-06") + pd.Timedelta(days=7 * number)).date().isoformat()


@pytest.fixture
def months(make_table, make_manifest, make_analysis):
    def build(count, swings=20, sd_factor=lambda session: 1.0, shift=lambda session: 0.0, **who):
        parts = []
        for session in range(count):
            table = make_table(
                swings, 1000 + session, float(sd_factor(session)), {"release_ms": shift(session)}
            )
            manifest = make_manifest(session=f"week {session}", day=_day(session), **who)
            parts.append((manifest, make_analysis(table, f"rec{session:03d}"), None))
        return pool(parts).swings

    return build


def test_every_session_has_its_level_and_spread(months):
    swings = months(5)
    table = session_table(swings, ["release_ms", "tempo_ratio"])
    assert list(table.columns) == list(SESSION_COLUMNS)
    assert len(table) == 10
    first = table[(table["session"] == "week 0") & (table["metric"] == "release_ms")].iloc[0]
    values = swings.loc[swings["session"] == "week 0", "release_ms"]
    ends = stats.ttest_1samp(values, 0).confidence_interval()
    assert first["sd"] == pytest.approx(values.std(ddof=1))
    assert (first["mean_low"], first["mean_high"]) == pytest.approx((ends.low, ends.high))
    assert first["sd_low"] < first["sd"] < first["sd_high"]


def test_sessions_with_swings_far_out_are_named_beside_their_sds(months):
    swings = months(5)
    for session, change in (("week 1", 90.0), ("week 3", -90.0)):
        at = swings.index[swings["session"] == session][4]
        swings.loc[at, "release_ms"] += change
    table = session_table(swings, ["release_ms", "tempo_ratio"])
    release, tempo = (table[table["metric"] == name] for name in ("release_ms", "tempo_ratio"))
    assert release["far_out"].tolist() == [0, 1, 0, 1, 0]
    assert far_out_sessions(release).startswith(
        f"Some swings lie far out in {_day(1)} week 1, {_day(3)} week 3: the SD"
    )
    assert far_out_sessions(tempo) == ""


def test_trends_agree_with_scipy(months):
    swings = months(12, shift=lambda session: 2.0 * session)
    (trend,) = progress(swings, ["release_ms"]).trends
    by_session = swings.groupby("session_key", sort=False)["release_ms"]
    when = np.arange(12) * 7 / MONTH_DAYS
    level = stats.linregress(when, by_session.mean())
    spread = stats.linregress(when, np.log(by_session.std()) - log_sd_bias(20))
    assert trend.level_per_month.value == pytest.approx(level.slope)
    assert trend.level_p_holm == pytest.approx(level.pvalue)
    assert np.log(trend.spread_per_month.value) == pytest.approx(spread.slope)
    assert trend.spread_p_holm == pytest.approx(spread.pvalue)
    assert "a month" in trend.level_sentence


def test_a_gradual_change_is_a_trend_and_no_step(months):
    (trend,) = progress(months(30, shift=lambda session: 1.0 * session), ["release_ms"]).trends
    assert trend.level_p_holm < 1e-6
    assert trend.level_steps == ()
    assert "moves by" in trend.level_sentence


def test_a_lasting_step_is_found_where_it_is(months):
    found = progress(
        months(
            30,
            shift=lambda session: 12.0 * (session >= 18),
            sd_factor=lambda session: 0.6 if session >= 18 else 1.0,
        ),
        ["release_ms", "tempo_ratio"],
    )
    release = found.trends[0]
    (step,) = release.level_steps
    assert step.place == 18
    assert step.low < 12 < step.high
    assert f"from {_day(18)} week 18 on" in release.level_sentence
    (spread_step,) = release.spread_steps
    assert abs(spread_step.place - 18) <= 1
    assert spread_step.low < np.log(0.6) < spread_step.high
    assert found.trends[1].level_steps == ()


def test_a_step_is_named_by_its_session_even_after_sessions_too_thin_to_count(months):
    swings = months(24, shift=lambda session: 15.0 * (session >= 12))
    thin = swings["session"].isin(["week 2", "week 5"]) & (swings["swing"] > 3)
    found = progress(swings[~thin].reset_index(drop=True), ["release_ms"])
    (step,) = found.trends[0].level_steps
    assert found.used[step.place].endswith(step.session.replace(" week", " · week"))
    assert f"from {_day(12)} week 12 on" in found.trends[0].level_sentence


def test_sessions_that_only_scatter_have_neither(months):
    trends = progress(months(40)).trends
    assert sum(trend.level_p_holm < 0.05 for trend in trends) == 0
    assert sum(len(trend.level_steps) + len(trend.spread_steps) for trend in trends) == 0


def test_steps_are_seldom_seen_in_noise_and_in_noise_that_wanders():
    generator = np.random.default_rng(1)
    plain, wandering = 0, 0
    for _ in range(150):
        noise = generator.standard_normal(40)
        plain += bool(find_steps(noise, 0.05, seed=1))
        wander = np.empty(40)
        wander[0] = noise[0]
        for place in range(1, 40):
            wander[place] = 0.5 * wander[place - 1] + noise[place]
        wandering += bool(find_steps(wander, 0.05, seed=1))
    # 5 % of 150 is 7.5; 16 or more has a chance of 0.4 % (binomial)
    assert plain <= 15
    # sessions that resemble their neighbours (lag-1 correlation .5) are told from a step as well
    assert wandering <= 15


def test_two_steps_are_found():
    generator = np.random.default_rng(2)
    values = generator.standard_normal(45)
    values[15:30] += 5
    assert [step.place for step in find_steps(values, 0.01, seed=1)] == [15, 30]


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    ("values", "places"),
    [
        (np.r_[np.zeros(8), np.ones(8)], [8]),
        (np.r_[np.full(7, 0.1), np.full(9, 0.3)], [7]),
        (np.r_[np.zeros(5), np.ones(6), np.zeros(7)], [5, 11]),
        (0.1 * np.arange(20) + 0.3, []),
        (np.arange(16.0), []),
        (np.full(12, 0.1), []),
        (np.zeros(12), []),
        (np.full(12, 0.1) + 1e-17 * np.arange(12), []),
    ],
)
def test_sessions_without_any_scatter_are_read_without_a_division_by_nothing(values, places):
    """Exact steps stand, exact lines and constants have none: true by construction."""
    assert [step.place for step in find_steps(values, 0.05, seed=1)] == places


def test_between_session_spread_is_told_from_the_swings_own(months):
    generator = np.random.default_rng(3)
    days = 8 * generator.standard_normal(60)
    (trend,) = progress(months(60, shift=lambda session: days[session]), ["release_ms"]).trends
    assert trend.between_sessions_sd == pytest.approx(8, rel=0.25)
    (still,) = progress(months(60), ["release_ms"]).trends
    assert still.between_sessions_sd < 1.5


def test_few_sessions_and_few_swings_give_no_trend(months):
    found = progress(months(3), ["release_ms"])
    assert not found.trends[0].level_per_month.known
    assert any("trends need" in text for text in found.warnings)
    thin = progress(months(6, swings=4), ["release_ms"])
    assert thin.used == ()
    assert "too few" in thin.trends[0].spread_sentence


def test_sessions_without_a_date_are_followed_by_number(months):
    swings = months(6)
    swings["date"] = ""
    found = progress(swings, ["release_ms"])
    assert any("no date" in text for text in found.warnings)
    assert found.trends[0].level_per_month.known


def test_one_player_and_one_club_at_a_time(months):
    both = pd.concat([months(4), months(4, club="driver")], ignore_index=True)
    with pytest.raises(SwingspreadError, match="7 iron, driver"):
        progress(both)
    table = session_table(both, ["release_ms"])
    assert sorted(table["club"].unique()) == ["7 iron", "driver"]
    with pytest.raises(SwingspreadError, match="no swings"):
        progress(both.iloc[:0])


def test_two_hundred_sessions_of_forty_swings_are_all_followed(months):
    """How long that takes: ``tests/benchmarks/statistics_speed.py``."""
    swings = months(200, swings=40, sd_factor=lambda session: 0.7 if session >= 100 else 1.0)
    found = progress(swings, ["release_ms"], seed=77)
    assert len(found.order) == 200
    (step,) = found.trends[0].spread_steps
    assert abs(step.place - 100) <= 3
    assert step.low < np.log(0.7) < step.high
