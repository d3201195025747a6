"""Two sets compared as a coach would: same day, days apart, other clubs, too few swings."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from imu.columns import METRICS, headline_metrics
from imu.errors import SwingspreadError
from imu.variation.comparability import (
    DIFFERENT_SESSIONS,
    PAIRED_SESSIONS,
    SAME_SESSION,
    as_one_session,
)
from imu.variation.compare import compare_sets
from imu.variation.limits import Limits
from imu.variation.sets import SwingSet, pool
from imu.variation.verdict import CANNOT_TELL, DOES_NOT_HOLD, HOLDS, NOT_COMPARABLE

ALL = [metric.name for metric in METRICS]


@pytest.fixture(scope="module")
def built(make_set):
    """Practice, and pressure with a shorter downswing and a wilder release."""
    practice = make_set(60, 1, curves=True)
    pressure = make_set(
        60,
        2,
        "pressure",
        curves=True,
        hour=11,
        sd_factor={"release_ms": 2.0},
        shift={"downswing_ms": -14.0},
    )
    return practice, pressure


def test_what_was_built_in_is_found(built):
    found = compare_sets(*built)
    downswing, release = found.finding("downswing_ms"), found.finding("release_ms")
    assert -14 in downswing.shift
    assert downswing.verdict.word == DOES_NOT_HOLD
    assert "shorter under pressure (95 %" in downswing.sentence
    assert 2.0 in release.spread.ratio
    assert release.verdict.word == DOES_NOT_HOLD
    assert not release.verdict.alone
    assert "less repeatable" in release.sentence
    assert found.verdict == DOES_NOT_HOLD
    others = [one for one in found.findings if one.metric not in ("downswing_ms", "release_ms")]
    assert all(one.verdict.word != DOES_NOT_HOLD for one in others)
    assert sum(one.verdict.word == HOLDS for one in others) >= 5


def test_numbers_agree_with_scipy(built):
    a, b = built
    one = compare_sets(a, b, curves=False).finding("tempo_ratio")
    x, y = a.swings["tempo_ratio"].to_numpy(), b.swings["tempo_ratio"].to_numpy()
    ends = stats.ttest_ind(y, x, equal_var=False).confidence_interval()
    assert (one.shift.low, one.shift.high) == pytest.approx((ends.low, ends.high))
    assert one.spread.brown_forsythe_p == pytest.approx(stats.levene(x, y).pvalue)
    assert one.spread.ratio.value == pytest.approx(y.std(ddof=1) / x.std(ddof=1))
    assert one.spread.bootstrap.low < one.spread.ratio.value < one.spread.bootstrap.high


def test_six_swings_of_each_cannot_tell_whatever_they_show(make_set):
    few = make_set(6, 1)
    wild = make_set(6, 2, "pressure", sd_factor=4.0, hour=11)
    found = compare_sets(few, wild)
    assert {one.verdict.word for one in found.findings} == {CANNOT_TELL}
    assert found.verdict == CANNOT_TELL
    assert all("more swing" in one.verdict_sentence for one in found.findings)


def test_a_swing_that_repeats_holds_when_there_are_enough(make_set):
    found = compare_sets(make_set(200, 1), make_set(200, 2, "pressure", hour=11))
    assert found.verdict == HOLDS
    assert (
        found.headline == f"Of {len(headline_metrics())} measures {len(headline_metrics())} hold."
    )


def test_limits_stay_with_the_result_and_decide(make_set):
    a, b = make_set(60, 1), make_set(60, 2, "pressure", hour=11, shift={"downswing_ms": -8.0})
    loose = compare_sets(a, b, Limits(shift={"downswing_ms": 20.0}))
    strict = compare_sets(a, b, Limits(shift={"downswing_ms": 3.0}))
    assert loose.finding("downswing_ms").verdict.word != DOES_NOT_HOLD
    assert strict.finding("downswing_ms").verdict.word == DOES_NOT_HOLD
    assert strict.limits.shift == {"downswing_ms": 3.0}


def test_the_same_seed_gives_the_same_findings(built):
    assert compare_sets(*built, seed=5, curves=False) == compare_sets(*built, seed=5, curves=False)


def test_holm_runs_over_the_measures_shown(built):
    only = compare_sets(*built, metrics=["release_ms"], curves=False)
    assert only.headline == "Of 1 measure 1 does not hold."
    alone = only.finding("release_ms")
    among = compare_sets(*built, metrics=ALL, curves=False).finding("release_ms")
    assert alone.spread_p_holm == alone.spread.p
    assert among.spread_p_holm == pytest.approx(len(ALL) * among.spread.p)


def test_another_club_is_not_called_a_difference_of_the_player(make_set):
    iron = make_set(30, 1, curves=True)
    driver = make_set(30, 2, club="driver", length=1.15, hour=12, curves=True)
    found = compare_sets(iron, driver)
    assert {one.verdict.word for one in found.findings} == {NOT_COMPARABLE}
    assert "not to the player" in found.refusals[0]
    assert found.verdict == NOT_COMPARABLE
    assert not found.curve_findings
    assert "with the driver" in found.findings[0].shift_sentence


def test_another_player_gets_no_verdict_on_wrist_angles(make_set):
    found = compare_sets(make_set(30, 1), make_set(30, 2, player="Bo Links"))
    kinds = {metric.name: metric.kind for metric in METRICS}
    for one in found.findings:
        refused = kinds[one.metric] == "angle"
        assert (one.verdict.word == NOT_COMPARABLE) == refused
    assert "one golfer, grip and club" in found.refusals[0]


def test_the_same_club_name_with_another_length_is_refused(make_set):
    found = compare_sets(make_set(30, 1), make_set(30, 2, "pressure", length=1.0))
    assert "another club" in found.refusals[0]


def test_another_grip_is_refused(make_set):
    a, b = make_set(30, 1), make_set(30, 2, "pressure")
    a.swings["grip"], b.swings["grip"] = "neutral", "strong"
    found = compare_sets(a, b)
    assert "grips" in found.refusals[0]
    assert found.verdict == NOT_COMPARABLE


def test_one_day_each_speaks_for_these_days_only(make_set):
    found = compare_sets(make_set(40, 1), make_set(40, 2, session="autumn", day="2026-09-01"))
    assert found.design == DIFFERENT_SESSIONS
    assert {one.verdict.word for one in found.findings} == {CANNOT_TELL}
    assert any("the day itself" in warning for warning in found.warnings)
    assert found.findings[0].verdict.more_sessions == 2


def test_sets_without_a_date_can_be_said_to_be_of_one_session(make_set):
    a = make_set(40, 1, session="", day="")
    b = make_set(40, 2, "pressure", session="", day="", shift={"downswing_ms": -20.0})
    apart = compare_sets(a, b)
    assert apart.design == DIFFERENT_SESSIONS
    assert any("say so" in text for text in apart.warnings)
    together = compare_sets(as_one_session(a), as_one_session(b))
    assert together.design == SAME_SESSION
    assert together.finding("downswing_ms").verdict.word == DOES_NOT_HOLD


def _sessions(make_table, make_manifest, make_analysis, block, seeds, first_month, **changes):
    parts = []
    for place, seed in enumerate(seeds):
        generator = np.random.default_rng(seed)
        # the day moves the whole session by about one SD of its swings
        day = {"downswing_ms": 10.0 * generator.standard_normal()}
        extra = changes.get("shift", {})
        shift = {"downswing_ms": day["downswing_ms"] + extra.get("downswing_ms", 0.0)}
        swings = make_table(20, seed, changes.get("sd_factor", 1.0), shift)
        manifest = make_manifest(
            block, f"s{first_month + place}", f"2026-{first_month + place:02d}-01"
        )
        parts.append((manifest, make_analysis(swings, f"{block}{seed}"), None))
    return SwingSet(block, pool(parts).swings)


def test_days_apart_count_each_session_once(make_table, make_manifest, make_analysis):
    tools = (make_table, make_manifest, make_analysis)
    a = _sessions(*tools, "practice", range(1, 6), 1)
    b = _sessions(*tools, "practice", range(11, 16), 7)
    found = compare_sets(a, b, metrics=["downswing_ms"])
    one = found.finding("downswing_ms")
    means = [s.swings.groupby("session_key")["downswing_ms"].mean() for s in (a, b)]
    ends = stats.ttest_ind(means[1], means[0], equal_var=False).confidence_interval()
    assert found.design == DIFFERENT_SESSIONS
    assert one.by_session
    assert (one.shift.low, one.shift.high) == pytest.approx((ends.low, ends.high))
    assert (one.a.sessions, one.b.sessions) == (5, 5)
    # the SD shown is that within sessions, not swollen by the days
    assert one.a.sd.value == pytest.approx(10, rel=0.2)


def test_one_session_against_several_compares_the_spread_within_them(
    make_table, make_manifest, make_analysis
):
    """The days move the mean by 10 ms and more; within each the spread is the same 10 ms."""
    tools = (make_table, make_manifest, make_analysis)
    a = _sessions(*tools, "practice", range(1, 2), 1)
    b = _sessions(*tools, "practice", range(11, 16), 7)
    b.swings["downswing_ms"] += 60 * (b.swings["session"] == "s8")
    one = compare_sets(a, b, metrics=["downswing_ms"]).finding("downswing_ms")
    assert one.spread.ratio.value == pytest.approx(one.b.sd.value / one.a.sd.value)
    assert one.spread.ratio.value < 1.5


def test_sessions_of_one_swing_each_have_no_spread(make_table, make_manifest, make_analysis):
    tools = (make_table, make_manifest, make_analysis)
    a = _sessions(*tools, "practice", range(1, 2), 1)
    b = _sessions(*tools, "practice", range(11, 16), 7)
    first = b.swings.groupby("session_key").head(1).reset_index(drop=True)
    one = compare_sets(a, SwingSet("b", first), metrics=["downswing_ms"]).finding("downswing_ms")
    assert not np.isfinite(one.b.sd.value)
    assert one.verdict.word == CANNOT_TELL
    assert "too few swings" in one.spread_sentence


def test_ignoring_the_day_would_find_changes_that_are_not_there(
    make_table, make_manifest, make_analysis
):
    tools = (make_table, make_manifest, make_analysis)
    false, naive = 0, 0
    for trial in range(40):
        a = _sessions(*tools, "practice", range(100 * trial, 100 * trial + 4), 1)
        b = _sessions(*tools, "practice", range(100 * trial + 50, 100 * trial + 54), 7)
        one = compare_sets(a, b, metrics=["downswing_ms"], curves=False).finding("downswing_ms")
        false += one.shift_p < 0.05
        values = [s.swings["downswing_ms"] for s in (a, b)]
        naive += stats.ttest_ind(*values, equal_var=False).pvalue < 0.05
    # 5 % of 40 is 2; more than 7 has a chance below 0.1 % (binomial)
    assert false <= 7
    assert naive >= 12


def test_practice_and_pressure_in_the_same_sessions_are_paired(
    make_table, make_manifest, make_analysis
):
    tools = (make_table, make_manifest, make_analysis)
    a = _sessions(*tools, "practice", range(1, 7), 1)
    b = _sessions(*tools, "pressure", range(1, 7), 1, sd_factor=1.8, shift={"downswing_ms": -9.0})
    # the same seeds give the same days, as both blocks of one session would have
    found = compare_sets(a, b, metrics=["downswing_ms"])
    one = found.finding("downswing_ms")
    means = [s.swings.groupby("session_key")["downswing_ms"].mean() for s in (a, b)]
    expected = stats.ttest_rel(means[1], means[0])
    assert found.design == PAIRED_SESSIONS
    assert one.shift_p == pytest.approx(expected.pvalue)
    assert pytest.approx(one.spread.ratio.value, rel=0.02) == 1.8


def test_sessions_with_one_set_only_take_no_part(make_table, make_manifest, make_analysis):
    tools = (make_table, make_manifest, make_analysis)
    a = _sessions(*tools, "practice", range(1, 5), 1)
    b = _sessions(*tools, "pressure", range(21, 24), 2)
    found = compare_sets(a, b, metrics=["downswing_ms"])
    assert found.design == PAIRED_SESSIONS
    assert any("1 session with swings of only one set" in text for text in found.warnings)
    assert found.finding("downswing_ms").a.swings == 60


def test_one_block_wholly_after_the_other_is_warned_of(make_set):
    after = compare_sets(make_set(20, 1), make_set(20, 2, "pressure", hour=11))
    assert after.design == SAME_SESSION
    assert any("wholly after" in text for text in after.warnings)


def test_sets_that_cannot_be_compared_say_why(make_set):
    a = make_set(10, 1)
    with pytest.raises(SwingspreadError, match="in both"):
        compare_sets(a, a)
    empty = SwingSet("nobody", a.swings.iloc[:0], left_out=a.swings.iloc[:2])
    with pytest.raises(SwingspreadError, match="nobody has no swings; all 2 were left out"):
        compare_sets(a, empty)
    with pytest.raises(SwingspreadError, match="nothing_ms"):
        compare_sets(a, make_set(10, 2, "pressure"), metrics=["nothing_ms"])


def test_missing_and_constant_measures_are_told_not_guessed(make_set):
    a, b = make_set(20, 1), make_set(20, 2, "pressure")
    a.swings["release_ms"] = np.nan
    b.swings.loc[3, "tempo_ratio"] = np.nan
    a.swings["waggle_count"] = b.swings["waggle_count"] = 2.0
    found = compare_sets(a, b, metrics=["release_ms", "tempo_ratio", "waggle_count"])
    assert found.finding("release_ms").verdict.word == CANNOT_TELL
    assert "too few swings" in found.finding("release_ms").sentence
    assert found.finding("tempo_ratio").b.swings == 19
    assert found.finding("waggle_count").verdict.word == CANNOT_TELL
    assert "no spread at all" in found.finding("waggle_count").spread_sentence
    # no number of further swings would settle that
    assert found.finding("waggle_count").verdict_sentence == (
        "Cannot tell yet: one of the sets has no spread at all in this measure."
    )


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("missing", ["impact_s", "club_top_s", "takeaway_s", "start_s"])
def test_events_that_are_missing_leave_the_rest_standing(make_set, missing):
    a, b = make_set(9, 1, curves=True), make_set(9, 2, "pressure", hour=11, curves=True)
    a.swings.loc[3, missing] = np.nan
    assert len(compare_sets(a, b).findings) == len(headline_metrics())
    a.swings[missing] = np.nan
    assert len(compare_sets(a, b).findings) == len(headline_metrics())
    b.swings[missing] = np.nan
    assert len(compare_sets(a, b).findings) == len(headline_metrics())


def test_every_finding_of_every_measure_reads_as_a_sentence(built):
    found = compare_sets(*built, metrics=ALL)
    for one in found.findings:
        for text in (one.shift_sentence, one.spread_sentence, one.verdict_sentence):
            assert text.endswith(".")
            assert "nan" not in text
            assert "unknown" not in text
