"""Does one set spread more than the other? The ratio of two SDs, with interval and tests."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from imu.types import FloatArray
from imu.variation.bootstrap import bca_log_sd_ratio
from imu.variation.intervals import UNKNOWN, Interval
from imu.variation.permutation import RELABELLINGS, exceedance, relabellings

MEDIAN_CENTRED_FROM = 10
"""Fewer swings than this are centred on the mean of their middle half: by simulation the median
then makes intervals too wide, and the mean too narrow for skewed values."""

WIDEST = 4.0
"""ln units from the estimate beyond which an end of an interval is not looked for: it is then 0 or
infinite, as with three swings in each set, whose relabellings are too few to reject anything."""

BISECTIONS = 14
"""Halvings of that search: ends are found to 0.0003 of a ln unit, far finer than the drawing."""


@dataclass(frozen=True)
class SdRatio:
    """SD of B over SD of A.

    ratio : with the interval found by inverting the permutation test. p : of that test, two-sided.
    bootstrap : BCa interval of the same ratio. brown_forsythe, brown_forsythe_p : test of equal
    spread about the median. classical : interval by the F distribution, exact for normal data.
    """

    ratio: Interval
    p: float
    bootstrap: Interval
    classical: Interval
    classical_p: float
    brown_forsythe: float
    brown_forsythe_p: float


NO_RATIO = SdRatio(UNKNOWN, *(float("nan"),), UNKNOWN, UNKNOWN, *(float("nan"),) * 3)


def f_interval(
    sd_a: float, sd_b: float, count_a: int, count_b: int, level: float = 0.95
) -> tuple[Interval, float]:
    """Ratio of SDs (B over A) with the textbook interval, and the two-sided p of the F test."""
    ratio = sd_b / sd_a
    f = stats.f(count_b - 1, count_a - 1)
    high_tail, low_tail = f.ppf(0.5 + level / 2), f.ppf(0.5 - level / 2)
    p = 2 * min(f.cdf(ratio**2), f.sf(ratio**2))
    ends = float(ratio / np.sqrt(high_tail)), float(ratio / np.sqrt(low_tail))
    return Interval(float(ratio), *ends), float(min(p, 1))


class _ScaledRelabelling:
    """ln SD ratios of all relabellings, had B truly spread exp(shift) times as much as A."""

    def __init__(self, first: FloatArray, second: FloatArray, draws: int, seed: int) -> None:
        small = min(len(first), len(second)) < MEDIAN_CENTRED_FROM
        middle = [
            float(stats.trim_mean(values, 0.25) if small else np.median(values))
            for values in (first, second)
        ]
        a, b = first - middle[0], second - middle[1]
        labels = relabellings(len(a), len(b), draws, seed)
        in_a, in_b = labels[:, : len(a)], labels[:, len(a) :]
        self.sizes = len(a), len(b)
        self.sums = in_a @ a, in_b @ b, a.sum(), b.sum()
        self.squares = in_a @ a**2, in_b @ b**2, (a**2).sum(), (b**2).sum()
        self.observed = 0.5 * float(np.log(second.var(ddof=1) / first.var(ddof=1)))

    def ratios(self, shift: float) -> FloatArray:
        scale = np.exp(-shift)
        own, other, all_a, all_b = self.sums
        own2, other2, all_a2, all_b2 = self.squares
        sum_a = own + other * scale
        sum_b = all_a + all_b * scale - sum_a
        square_a = own2 + other2 * scale**2
        square_b = all_a2 + all_b2 * scale**2 - square_a
        n_a, n_b = self.sizes
        variance_a = np.maximum(square_a - sum_a**2 / n_a, 1e-300) / (n_a - 1)
        variance_b = np.maximum(square_b - sum_b**2 / n_b, 1e-300) / (n_b - 1)
        return np.asarray(0.5 * np.log(variance_b / variance_a))

    def tail(self, shift: float, upper: bool) -> float:
        drawn, seen = self.ratios(shift), self.observed - shift
        return exceedance(drawn, seen) if upper else exceedance(-drawn, -seen)

    def end(self, upper: bool, level: float) -> float:
        """The shift at which the one-sided p crosses its level; ±∞ when beyond ``WIDEST``."""
        inside = self.observed
        outside = inside + (WIDEST if upper else -WIDEST)
        target = 0.5 - level / 2
        if self.tail(outside, upper=not upper) > target:
            return float("inf") if upper else float("-inf")
        for _ in range(BISECTIONS):
            middle = (inside + outside) / 2
            if self.tail(middle, upper=not upper) > target:
                inside = middle
            else:
                outside = middle
        return (inside + outside) / 2


def sd_ratio(
    first: FloatArray,
    second: FloatArray,
    seed: int,
    level: float = 0.95,
    draws: int = RELABELLINGS,
) -> SdRatio:
    """Compare the spread of two sets of swings of one metric, (Na,) and (Nb,) finite values.

    The interval inverts a permutation test on centred values: B's are scaled by a supposed
    ratio, and the ratios not rejected form the interval. It holds its level for long-tailed and
    skewed data, as long as both sets have the same shape, where the F and BCa intervals fail.
    Brown & Forsythe 1974 (JASA 69:364-367) beside it. Unknown below 3 values or without spread;
    with 3 against 3 or 4 values the ends are 0 and infinite.
    """
    if min(len(first), len(second)) < 3 or np.ptp(first) == 0 or np.ptp(second) == 0:
        return NO_RATIO
    relabelled = _ScaledRelabelling(first, second, draws, seed)
    ends = [np.exp(relabelled.end(upper, level)) for upper in (False, True)]
    ratio = Interval(float(np.exp(relabelled.observed)), float(ends[0]), float(ends[1]))
    p = 2 * min(relabelled.tail(0.0, upper=True), relabelled.tail(0.0, upper=False))
    log_bootstrap = bca_log_sd_ratio(first, second, seed, level)
    classical, classical_p = f_interval(
        float(first.std(ddof=1)), float(second.std(ddof=1)), len(first), len(second), level
    )
    levene, levene_p = stats.levene(first, second, center="median")
    return SdRatio(
        ratio=ratio,
        p=min(p, 1.0),
        bootstrap=Interval(*(float(np.exp(end)) for end in log_bootstrap.ends)),
        classical=classical,
        classical_p=classical_p,
        brown_forsythe=float(levene),
        brown_forsythe_p=float(levene_p),
    )
