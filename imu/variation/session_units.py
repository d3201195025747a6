"""Comparisons over several days: each session is boiled down to one number first.

Swings of one day resemble each other, so counting every swing would make the error too small.
With one number a session no model of the days is needed, and the test is exact for balanced
normal data.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from imu.types import FloatArray
from imu.variation.intervals import UNKNOWN, Interval, log_sd_bias
from imu.variation.sd_ratio import SdRatio
from imu.variation.shift import NO_SHIFT, Shift, one_sample_shift, welch_shift

Labels = NDArray[np.str_]
FEWEST_SWINGS = 3
"""A session with fewer swings has no spread to speak of and takes no part in its comparison."""


def session_means(values: FloatArray, sessions: Labels) -> tuple[Labels, FloatArray]:
    """Session labels (S,) in sorted order and the mean of each, of values and labels (N,)."""
    labels, member = np.unique(sessions, return_inverse=True)
    return labels, np.bincount(member, values) / np.bincount(member)


def session_log_sds(values: FloatArray, sessions: Labels) -> tuple[Labels, FloatArray]:
    """Session labels (S,) and ln SD of each, its small-sample bias removed, of (N,) values."""
    labels, member = np.unique(sessions, return_inverse=True)
    count = np.bincount(member)
    mean = np.bincount(member, values) / count
    square = np.bincount(member, (values - mean[member]) ** 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_sd = 0.5 * np.log(square / (count - 1)) - log_sd_bias(count)
    usable = (count >= FEWEST_SWINGS) & np.isfinite(log_sd)
    return labels[usable], log_sd[usable]


def within_sessions(values: FloatArray, sessions: Labels) -> FloatArray:
    """Values less their session's mean, scaled so that their SD is that within sessions."""
    labels, member = np.unique(sessions, return_inverse=True)
    mean = np.bincount(member, values) / np.bincount(member)
    left = len(values) - len(labels)
    if left < 1:
        return np.full(len(values), np.nan)
    return np.asarray((values - mean[member]) * np.sqrt((len(values) - 1) / left))


def _compare(
    first: tuple[Labels, FloatArray],
    second: tuple[Labels, FloatArray],
    paired: bool,
    level: float,
) -> Shift:
    if not paired:
        return welch_shift(first[1], second[1], level)
    _, in_a, in_b = np.intersect1d(first[0], second[0], return_indices=True)
    if not len(in_a):
        return NO_SHIFT
    return one_sample_shift(second[1][in_b] - first[1][in_a], level)


def session_shift(
    first: FloatArray,
    sessions_a: Labels,
    second: FloatArray,
    sessions_b: Labels,
    paired: bool,
    level: float = 0.95,
) -> Shift:
    """Difference of session means, B less A: within each session when paired, else Welch.

    first, second : (N,), (K,) values of A and B, with the session of each.
    """
    return _compare(
        session_means(first, sessions_a), session_means(second, sessions_b), paired, level
    )


def session_sd_ratio(
    first: FloatArray,
    sessions_a: Labels,
    second: FloatArray,
    sessions_b: Labels,
    paired: bool,
    level: float = 0.95,
) -> SdRatio:
    """Ratio of within-session SDs, B over A, from the sessions' ln SDs.

    first, second : (N,), (K,) values of A and B, with the session of each.
    The tests that take swings as units are left unknown: they would not hold their level.
    """
    log_ratio = _compare(
        session_log_sds(first, sessions_a), session_log_sds(second, sessions_b), paired, level
    )
    ratio = Interval(*(float(np.exp(end)) for end in log_ratio.difference.ends))
    nan = float("nan")
    return SdRatio(ratio, log_ratio.p, UNKNOWN, UNKNOWN, nan, nan, nan)
