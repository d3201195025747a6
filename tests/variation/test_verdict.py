"""Holds, does not hold, cannot tell yet: by the rule, with the swings that would settle it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from imu.variation.intervals import UNKNOWN, Interval, sd_freedom
from imu.variation.limits import Limits
from imu.variation.sd_ratio import f_interval, sd_ratio
from imu.variation.shift import welch_shift
from imu.variation.verdict import (
    CANNOT_TELL,
    DOES_NOT_HOLD,
    HOLDS,
    MOST_ASKED,
    Evidence,
    judge,
    swings_needed,
)

LIMITS = Limits(sd_ratio=1.5, shift_in_sds=1.0)
QUIET = Evidence(
    sd_ratio=Interval(1.0, 0.8, 1.3),
    sd_ratio_p=0.9,
    shift=Interval(0.0, -2.0, 2.0),
    largest_shift=6.0,
    sd_a=6.0,
    kurtosis=3.0,
    count=50,
)


@pytest.mark.parametrize(
    ("ratio", "shift", "word"),
    [
        ((1.0, 0.8, 1.3), (0, -2, 2), HOLDS),
        ((1.0, 0.8, 1.3), (0, -2, 7), CANNOT_TELL),
        ((1.0, 0.8, 1.5), (0, -2, 2), CANNOT_TELL),
        ((1.2, 1.1, 1.4), (0, -2, 2), HOLDS),
        ((2.0, 1.1, 3.0), (0, -2, 2), DOES_NOT_HOLD),
        ((1.0, 0.8, 1.3), (9, 7, 11), DOES_NOT_HOLD),
        ((1.0, 0.8, 1.3), (-9, -11, -7), DOES_NOT_HOLD),
        ((1.0, 0.8, 1.3), (7, 5, 9), CANNOT_TELL),
        ((0.5, 0.3, 0.8), (0, -2, 2), HOLDS),
        ((1.0, 0.8, 1.3), (0, -8, 8), CANNOT_TELL),
    ],
)
def test_the_rule(ratio, shift, word):
    evidence = replace(QUIET, sd_ratio=Interval(*ratio), shift=Interval(*shift), sd_ratio_p=0.01)
    assert judge(evidence, LIMITS).word == word


def test_half_as_much_again_at_twenty_swings_needs_thirty_more():
    # statistics notes: SD 12 against 18, n 20 and 20; a ratio of 1.5 needs 50 swings a set
    ratio, p = f_interval(12.0, 18.0, 20, 20)
    evidence = replace(QUIET, sd_ratio=ratio, sd_ratio_p=p, sd_a=12.0, count=20)
    found = judge(evidence, LIMITS)
    assert found.word == CANNOT_TELL
    assert found.more_per_set == 30


def test_six_swings_never_get_a_verdict():
    for ratio in (Interval(1.0, 0.9, 1.1), Interval(5.0, 3.0, 9.0)):
        found = judge(replace(QUIET, sd_ratio=ratio, sd_ratio_p=0.001, count=6), LIMITS)
        assert found.word == CANNOT_TELL
        assert found.more_per_set is not None
        assert found.more_per_set >= 2


def test_growth_that_chance_among_many_measures_could_make_counts_alone_only():
    grown = replace(QUIET, sd_ratio=Interval(2.0, 1.1, 3.0), sd_ratio_p=0.2)
    assert judge(grown, LIMITS).alone
    assert not judge(replace(grown, sd_ratio_p=0.01), LIMITS).alone


def test_noise_that_could_hide_a_growth_keeps_it_from_holding():
    assert judge(replace(QUIET, noisy=True), LIMITS).word == CANNOT_TELL


def test_unknown_intervals_cannot_be_told():
    assert judge(replace(QUIET, sd_ratio=UNKNOWN), LIMITS).word == CANNOT_TELL
    assert judge(replace(QUIET, shift=UNKNOWN), LIMITS).word == CANNOT_TELL


def test_few_sessions_cannot_be_told_and_more_sessions_are_asked_for():
    evidence = replace(QUIET, by_session=True, sessions=1)
    found = judge(evidence, LIMITS)
    assert found.word == CANNOT_TELL
    assert found.more_sessions == 2
    assert found.more_per_set is None
    assert judge(replace(evidence, sessions=5), LIMITS).word == HOLDS


def test_swings_needed_settle_the_matter_four_times_in_five():
    # an unchanged set, told from the limit of 1.5 with as many swings as asked for
    evidence = replace(QUIET, sd_ratio=Interval(1.0, 0.6, 1.7), count=20)
    needed = swings_needed(evidence, LIMITS)
    assert needed is not None
    generator = np.random.default_rng(4)
    settled = 0
    for _ in range(400):
        a, b = generator.standard_normal((2, needed))
        ratio, _ = f_interval(a.std(ddof=1), b.std(ddof=1), needed, needed)
        settled += ratio.high < 1.5
    # 95 % interval of 400 draws at 0.8: ± 0.04
    assert 0.75 <= settled / 400 <= 0.87


@pytest.mark.parametrize("moved", [0.4, 0.5])
def test_swings_needed_settle_the_mean_too_when_its_limit_is_taken_from_them(moved):
    """A limit of one SD of A, itself read from A: asked for with 80 % power."""
    unsettled = replace(
        QUIET,
        shift=Interval(moved, moved - 0.6, moved + 0.6),
        largest_shift=1.0,
        largest_shift_se=LIMITS.largest_shift_se("release_ms", 1.0, 19.0),
        sd_a=1.0,
        count=20,
    )
    needed = swings_needed(unsettled, LIMITS)
    assert needed is not None
    generator = np.random.default_rng(6)
    settled = 0
    for _ in range(600):
        a, b = generator.standard_normal((2, needed))
        sd = float(a.std(ddof=1))
        anew = replace(
            unsettled,
            shift=welch_shift(a, b + moved).difference,
            largest_shift=sd,
            largest_shift_se=LIMITS.largest_shift_se("release_ms", sd, needed - 1.0),
        )
        settled += anew.shift_reach()[1] <= sd
    # the mean of 600 draws at 0.8 errs by 0.016
    assert settled / 600 == pytest.approx(0.8, abs=0.06)


def test_an_interval_of_another_level_weighs_the_limits_error_at_that_level():
    evidence = replace(QUIET, shift=Interval(5.0, 5.0, 5.0), largest_shift_se=1.0)
    assert evidence.shift_reach(0.9) == pytest.approx((5 - 1.644854, 5 + 1.644854))
    assert evidence.shift_reach(0.95) == pytest.approx((5 - 1.959964, 5 + 1.959964))


def test_more_sessions_are_asked_for_the_mean_when_the_spread_is_settled():
    evidence = replace(QUIET, by_session=True, sessions=6, shift=Interval(3.0, -2.0, 8.0))
    found = judge(evidence, LIMITS)
    # half width 5, room 3, and 80 % power (1.43 = (1.96 + 0.84) / 1.96): 6 × (1.43 × 5 / 3)²
    assert found.word == CANNOT_TELL and found.more_sessions == 29
    on_it = judge(replace(evidence, shift=Interval(6.0, 1.0, 11.0)), LIMITS)
    assert on_it.more_sessions is None and "too close to a limit" in on_it.reason


def test_long_tails_need_more_and_what_lies_on_the_limit_is_said_to():
    ratio = Interval(1.0, 0.6, 1.7)
    normal = swings_needed(replace(QUIET, sd_ratio=ratio), LIMITS)
    wild = swings_needed(replace(QUIET, sd_ratio=ratio, kurtosis=6.0), LIMITS)
    assert normal is not None
    assert wild is not None
    assert wild > 2 * normal
    close = judge(replace(QUIET, sd_ratio=Interval(1.22, 0.8, 1.8), kurtosis=4.5), LIMITS)
    assert close.more_per_set is None
    assert str(MOST_ASKED) in close.reason


def test_a_limit_taken_from_the_swings_carries_its_own_error():
    moved = replace(QUIET, shift=Interval(8.0, 6.5, 9.5))
    assert judge(moved, LIMITS).word == DOES_NOT_HOLD
    assert judge(replace(moved, largest_shift_se=0.8), LIMITS).word == CANNOT_TELL
    assert LIMITS.largest_shift_se("release_ms", 6.0, 18.0) == pytest.approx(1.0)
    assert Limits(shift={"release_ms": 9.0}).largest_shift_se("release_ms", 6.0, 18.0) == 0


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_mean_exactly_at_the_limit_is_seldom_said_to_be_beyond(side):
    generator = np.random.default_rng(9)
    beyond = 0
    for _ in range(300):
        a, b = generator.standard_normal((2, 30))
        sd = float(a.std(ddof=1))
        found = judge(
            replace(
                QUIET,
                sd_ratio=sd_ratio(a, b, seed=1, draws=300).ratio,
                shift=welch_shift(a, b + side).difference,
                largest_shift=LIMITS.largest_shift("release_ms", sd),
                largest_shift_se=LIMITS.largest_shift_se("release_ms", sd, float(sd_freedom(a))),
            ),
            LIMITS,
        )
        beyond += "mean" in found.reason and found.word == DOES_NOT_HOLD
    # 2.5 % of 300 is 7.5; 17 or more has a chance of 0.2 % (binomial)
    assert beyond <= 16
