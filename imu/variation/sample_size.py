"""How many swings, or sessions, a question needs."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy import stats

MOST_SWINGS = 5000
"""No count beyond this is given; the change is then too small to be seen by swinging."""


def sd_ratio_power(ratio: float, per_set: int, level: float = 0.95) -> float:
    """Chance that the two-sided F test sees SDs ``ratio`` apart, ``per_set`` swings in each set."""
    f = stats.f(per_set - 1, per_set - 1)
    tail = 0.5 - level / 2
    return float(f.sf(f.isf(tail) / ratio**2) + f.cdf(f.ppf(tail) / ratio**2))


def mean_shift_power(shift_in_sds: float, per_set: int, level: float = 0.95) -> float:
    """Chance that the two-sided t test sees means ``shift_in_sds`` SDs apart, equal sets."""
    freedom = 2 * per_set - 2
    away = shift_in_sds * math.sqrt(per_set / 2)
    limit = float(stats.t.ppf(0.5 + level / 2, freedom))
    seen = stats.nct.sf(limit, freedom, away) + stats.nct.cdf(-limit, freedom, away)
    return float(seen)


def _smallest(reaches: Callable[[int], bool], start: int = 3) -> int | None:
    high = start
    while not reaches(high):
        if high > MOST_SWINGS:
            return None
        high *= 2
    low = max(high // 2, start - 1)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reaches(middle) else (middle, high)
    return high


@lru_cache(maxsize=512)
def swings_for_sd_ratio(ratio: float, power: float = 0.8, level: float = 0.95) -> int | None:
    """Swings per set to see SDs ``ratio`` apart; None when more than ``MOST_SWINGS``.

    ratio : of the larger to the smaller SD, or its inverse; not 1. Normal values are supposed;
    long tails need more (see ``long_tail_factor``).
    """
    wanted = max(ratio, 1 / ratio)
    if wanted < 1.01:
        return None
    return _smallest(lambda n: sd_ratio_power(wanted, n, level) >= power)


@lru_cache(maxsize=512)
def swings_for_shift(shift_in_sds: float, power: float = 0.8, level: float = 0.95) -> int | None:
    """Swings per set to see means ``shift_in_sds`` SDs apart; None when too many."""
    size = abs(shift_in_sds)
    if size < 0.02:
        return None
    # The normal approximation starts the search; the exact power settles it.
    quantiles = stats.norm.ppf(0.5 + level / 2) + stats.norm.ppf(power)
    count = max(2, int(2 * (quantiles / size) ** 2))
    while count > 2 and mean_shift_power(size, count - 1, level) >= power:
        count -= 1
    while mean_shift_power(size, count, level) < power:
        count += 1
    return count if count <= MOST_SWINGS else None


def long_tail_factor(kurtosis: float) -> float:
    """How many times as many swings an SD needs when values have this kurtosis (3 is normal)."""
    return max(1.0, (kurtosis - 1) / 2) if np.isfinite(kurtosis) else 1.0
