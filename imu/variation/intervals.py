"""Mean and standard deviation of one set of swings, each with a 95 % interval.

All functions take (N,) or (N, M) values, one column a metric, NaN where missing, and answer per
column. Which interval holds up for which shape of data is measured by
``tests/benchmarks/variation_coverage.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from imu.types import FloatArray
from imu.variation.mad_quantiles import mad_quantiles

MAD_TO_SD = 1.482602218505602
"""Makes the median absolute deviation of normal data equal their SD."""

PRIOR_KURTOSIS, PRIOR_SWINGS, SMALL_SET_GAIN, GAIN_FROM = 3.0, 2.0, 7.0, 4.0
"""Shrinkage and gain of the sample kurtosis, which small sets underestimate. Chosen by simulation
so that normal and moderately skewed data (skewness 1) are covered within 95 ± 1.5 % from 5 to 60
swings: the excess over 3 counts 1 + 7 (n − 4) / n² times."""


@dataclass(frozen=True)
class Interval:
    """An estimate with the two ends of its interval; NaN where it cannot be had."""

    value: float
    low: float
    high: float

    def __contains__(self, number: float) -> bool:
        return self.low <= number <= self.high

    @property
    def ends(self) -> tuple[float, float, float]:
        """Value, low, high."""
        return self.value, self.low, self.high

    @property
    def known(self) -> bool:
        """Whether both ends are finite."""
        return bool(np.isfinite(self.low) and np.isfinite(self.high))


UNKNOWN = Interval(float("nan"), float("nan"), float("nan"))


def counts(values: ArrayLike) -> FloatArray:
    """How many values are present, per column."""
    return np.asarray(np.isfinite(np.asarray(values, dtype=np.float64)).sum(axis=0), np.float64)


def c4(count: ArrayLike) -> FloatArray:
    """Expected SD of ``count`` normal values of unit SD (c4 of quality control; Holtzman 1950).

    NaN below two values.
    """
    n = np.asarray(count, dtype=np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.sqrt(2 / (n - 1)) * np.exp(special.gammaln(n / 2) - special.gammaln((n - 1) / 2))
    return np.where(n >= 2, value, np.nan)


def log_sd_bias(count: ArrayLike) -> FloatArray:
    """Expected ln SD of ``count`` normal values of unit SD: ½(ψ(ν/2) − ln(ν/2)), ν = n − 1."""
    half = np.maximum((np.asarray(count, dtype=np.float64) - 1) / 2, 1e-12)
    return np.asarray(0.5 * (special.digamma(half) - np.log(half)))


def column_sd(values: ArrayLike) -> FloatArray:
    """Sample SD per column (n − 1 below), NaN for fewer than two values."""
    table = np.asarray(values, dtype=np.float64)
    n = counts(table)
    with np.errstate(invalid="ignore", divide="ignore"):
        centred = table - np.nansum(table, axis=0) / n
        variance = np.nansum(centred**2, axis=0) / (n - 1)
    return np.where(n >= 2, np.sqrt(variance), np.nan)


def column_mean(values: ArrayLike) -> FloatArray:
    """Mean per column, NaN where nothing is present."""
    table = np.asarray(values, dtype=np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.nansum(table, axis=0) / counts(table))


def column_median(values: ArrayLike) -> FloatArray:
    """Median per column, NaN where nothing is present."""
    table = np.asarray(values, dtype=np.float64)
    n = counts(table).astype(int)
    if not len(table):
        return np.full(n.shape, np.nan)
    ordered = np.sort(table, axis=0)  # NaN sorts last
    flat = ordered.reshape(len(ordered), -1)
    columns = np.arange(flat.shape[1])
    size = np.maximum(n.reshape(-1), 1)
    middle = (flat[(size - 1) // 2, columns] + flat[size // 2, columns]) / 2
    return middle.reshape(n.shape)


def mean_interval(values: ArrayLike, level: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Ends of Student's interval for the mean, per column."""
    n = counts(values)
    with np.errstate(invalid="ignore", divide="ignore"):
        half = stats.t.ppf(0.5 + level / 2, n - 1) * column_sd(values) / np.sqrt(n)
    centre = column_mean(values)
    return centre - half, centre + half


def sd_ends(
    sd: FloatArray, freedom: FloatArray, level: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Ends of the chi-square interval for SDs worth ``freedom`` degrees of freedom."""
    with np.errstate(invalid="ignore", divide="ignore"):
        low = sd * np.sqrt(freedom / stats.chi2.ppf(0.5 + level / 2, freedom))
        high = sd * np.sqrt(freedom / stats.chi2.ppf(0.5 - level / 2, freedom))
    return low, high


def chi_square_sd_interval(
    sd: ArrayLike, count: ArrayLike, level: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Ends of the textbook interval for the SD of ``count`` normal values.

    Exact for normal data only: with skewed data or a few wild swings it is too narrow; see
    ``sd_interval``.
    """
    n = np.asarray(count, dtype=np.float64)
    freedom = np.where(n >= 2, n - 1, np.nan)
    return sd_ends(np.asarray(sd, dtype=np.float64), freedom, level)


def kurtosis(values: ArrayLike) -> FloatArray:
    """Kurtosis about the median (3 for a normal population), shrunk and never below 3.

    After Bonett (2006, Comput Stat Data Anal 50:775-782), with the median for the trimmed mean.
    """
    table = np.asarray(values, dtype=np.float64)
    n = counts(table)
    with np.errstate(invalid="ignore", divide="ignore"):
        fourth = np.nansum((table - column_median(table)) ** 4, axis=0)
        second = np.nansum((table - column_mean(table)) ** 2, axis=0)
        raw = n * fourth / second**2
        shrunk = (n * raw + PRIOR_SWINGS * PRIOR_KURTOSIS) / (n + PRIOR_SWINGS)
        gain = 1 + SMALL_SET_GAIN * np.maximum(n - GAIN_FROM, 0) / n**2
        return np.asarray(np.maximum(3 + (shrunk - 3) * gain, 3.0))


def sd_freedom(values: ArrayLike, means: int = 1) -> FloatArray:
    """Degrees of freedom that the SD of these values is worth: n − 1 at most, fewer for
    long-tailed values (adjusted degrees of freedom; Shoemaker 2003, Am Stat 57:105-110).

    means : how many means were taken out of the values, each of which costs one.
    """
    n = counts(values)
    with np.errstate(invalid="ignore", divide="ignore"):
        freedom = 2 * n / (kurtosis(values) - (n - 3) / (n - 1))
        freedom = np.minimum(freedom, n - 1) * (n - means) / (n - 1)
    return np.where(n > means, freedom, np.nan)


def sd_interval(
    values: ArrayLike, level: float = 0.95, means: int = 1
) -> tuple[FloatArray, FloatArray]:
    """Ends of an interval for the SD that allows for long tails, per column.

    means : as for ``sd_freedom``, whose degrees of freedom the chi-square interval takes. Covers
    95 ± 1.5 % for normal and moderately skewed values. With a few wild swings among many no method
    can tell the SD of the whole from a small set; read ``robust_sd_interval`` there.
    """
    return sd_ends(column_sd(values), sd_freedom(values, means), level)


def robust_sd(values: ArrayLike) -> FloatArray:
    """SD of the usual swings: 1.4826 times the median distance from the median, per column."""
    table = np.asarray(values, dtype=np.float64)
    spread = MAD_TO_SD * column_median(np.abs(table - column_median(table)))
    return np.where(counts(table) >= 3, spread, np.nan)


def robust_sd_interval(values: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Ends of the 95 % interval for the robust SD, per column.

    The distribution of the median absolute deviation of normal values, by simulation. Because
    that statistic heeds only the middle of the data, it keeps its level for skewed values and
    for values with wild ones among them.
    """
    spread = robust_sd(values)
    low, high = mad_quantiles(counts(values))
    with np.errstate(invalid="ignore", divide="ignore"):
        return spread / high, spread / low
