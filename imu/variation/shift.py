"""Is the mean of one set higher than the other's? And how many such questions were asked?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from imu.types import FloatArray
from imu.variation.intervals import UNKNOWN, Interval


@dataclass(frozen=True)
class Shift:
    """Mean of B less mean of A with its interval, two-sided p and degrees of freedom."""

    difference: Interval
    p: float
    freedom: float


NO_SHIFT = Shift(UNKNOWN, float("nan"), float("nan"))


def welch_shift(first: FloatArray, second: FloatArray, level: float = 0.95) -> Shift:
    """Difference of two means without supposing equal spread (Welch 1947), B less A.

    Unknown below two values a set. With no spread at all the interval has no width and p is
    NaN.
    """
    if min(len(first), len(second)) < 2:
        return NO_SHIFT
    part_a, part_b = first.var(ddof=1) / len(first), second.var(ddof=1) / len(second)
    error = float(np.sqrt(part_a + part_b))
    value = float(second.mean() - first.mean())
    if error == 0:
        return Shift(Interval(value, value, value), float("nan"), float("nan"))
    freedom = (part_a + part_b) ** 2 / (
        part_a**2 / (len(first) - 1) + part_b**2 / (len(second) - 1)
    )
    return _student(value, error, float(freedom), level)


def one_sample_shift(differences: FloatArray, level: float = 0.95) -> Shift:
    """Mean of paired differences with Student's interval; unknown below two."""
    if len(differences) < 2:
        return NO_SHIFT
    value = float(differences.mean())
    error = float(differences.std(ddof=1) / np.sqrt(len(differences)))
    if error == 0:
        return Shift(Interval(value, value, value), float("nan"), float("nan"))
    return _student(value, error, float(len(differences) - 1), level)


def _student(value: float, error: float, freedom: float, level: float) -> Shift:
    half = float(stats.t.ppf(0.5 + level / 2, freedom)) * error
    p = float(2 * stats.t.sf(abs(value) / error, freedom))
    return Shift(Interval(value, value - half, value + half), p, freedom)


def holm(probabilities: ArrayLike) -> FloatArray:
    """Holm's (1979, Scand J Stat 6:65-70) adjusted p; NaN stay NaN and are not counted."""
    given = np.asarray(probabilities, dtype=np.float64)
    adjusted = np.full(given.shape, np.nan)
    (known,) = np.nonzero(np.isfinite(given))
    order = known[np.argsort(given[known], kind="stable")]
    factor = np.arange(len(order), 0, -1)
    adjusted[order] = np.minimum(np.maximum.accumulate(given[order] * factor), 1.0)
    return adjusted
