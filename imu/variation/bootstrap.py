"""Bias-corrected and accelerated bootstrap (BCa; Efron & Tibshirani 1993, ch. 14), all columns
at once.

A resample is a row of counts, so that sums over resamples are matrix products.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import special

from imu.types import FloatArray
from imu.variation.intervals import Interval

RESAMPLES = 2000


@lru_cache(maxsize=16)
def resample_counts(size: int, resamples: int, seed: int) -> FloatArray:
    """(resamples, size) how often each value is drawn in each resample; read-only."""
    generator = np.random.default_rng([seed, size])
    drawn = generator.integers(0, size, (resamples, size))
    offset = np.arange(resamples)[:, None] * size
    table = np.bincount((drawn + offset).ravel(), minlength=resamples * size)
    counted: FloatArray = table.reshape(resamples, size).astype(np.float64)
    counted.flags.writeable = False
    return counted


def variance_of_resamples(values: FloatArray, weights: FloatArray) -> FloatArray:
    """(R,) sample variances (n − 1 below) of one column (N,) under (R, N) resample counts."""
    size = len(values)
    centred = values - values.mean()
    square = weights @ centred**2 - (weights @ centred) ** 2 / size
    return np.maximum(square, 0.0) / (size - 1)


def variance_without_each(values: FloatArray) -> FloatArray:
    """(N,) sample variances with each value left out in turn (the jackknife)."""
    size = len(values)
    centred = values - values.mean()
    left = size - 1
    square = (centred**2).sum() - centred**2 - centred**2 / left
    return np.asarray(np.maximum(square, 0.0) / (left - 1))


def bca_interval(
    estimate: float, replicates: FloatArray, influences: FloatArray, level: float = 0.95
) -> Interval:
    """BCa interval from bootstrap replicates and influence values.

    influences : for every datum, how far the estimate falls when it is left out, scaled alike
    within a sample (jackknife mean less the value without it).
    """
    finite = replicates[np.isfinite(replicates)]
    if not np.isfinite(estimate) or len(finite) < 0.9 * len(replicates):
        return Interval(estimate, float("nan"), float("nan"))
    below = np.mean(finite < estimate) + 0.5 * np.mean(finite == estimate)
    below = np.clip(below, 0.5 / len(finite), 1 - 0.5 / len(finite))
    bias = special.ndtri(below)
    square = float((influences**2).sum())
    acceleration = float((influences**3).sum()) / (6 * square**1.5) if square > 0 else 0.0
    ends = []
    for tail in (0.5 - level / 2, 0.5 + level / 2):
        shifted = bias + special.ndtri(tail)
        ends.append(special.ndtr(bias + shifted / (1 - acceleration * shifted)))
    low, high = np.quantile(finite, ends)
    return Interval(estimate, float(low), float(high))


def bca_log_sd_ratio(
    first: FloatArray,
    second: FloatArray,
    seed: int,
    level: float = 0.95,
    resamples: int = RESAMPLES,
) -> Interval:
    """BCa interval for ln(SD of second / SD of first); both resampled on their own."""
    with np.errstate(divide="ignore"):
        parts = []
        for number, values in enumerate((first, second)):
            weights = resample_counts(len(values), resamples, seed + number)
            replicate = 0.5 * np.log(variance_of_resamples(values, weights))
            without = 0.5 * np.log(variance_without_each(values))
            influence = (len(values) - 1) * (without.mean() - without)
            parts.append((0.5 * np.log(values.var(ddof=1)), replicate, influence / len(values)))
    (value_a, draws_a, pull_a), (value_b, draws_b, pull_b) = parts
    with np.errstate(invalid="ignore"):
        draws = draws_b - draws_a
    influences = np.concatenate([-pull_a, pull_b])
    if not np.all(np.isfinite(influences)):
        influences = np.zeros(1)
    return bca_interval(float(value_b - value_a), draws, influences, level)
