"""How many neighbouring residuals err alike, so that they are not counted as so many witnesses.

The integrated correlation length 1 + 2 Σ ρ(lag), summed up to the lag at which the correlation
is lost in its noise (the windowed sum of Sokal 1997, Monte Carlo methods in statistical mechanics).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from imu.types import BoolArray, FloatArray, IntArray

_BOUND = 3.0
"""Standard deviations at which a residual is cut off, so that a bad spell does not decide alone."""
_LONGEST_LAG = 25
_UNCORRELATED = 0.05
_LONGEST = 40.0
"""Rows, the most that is stated."""


def correlation_length(residuals: Sequence[FloatArray], places: Sequence[IntArray]) -> float:
    """Rows that err alike, over several stretches together; 1 where rows are independent.

    residuals : of each stretch (M, 3), over their standard deviation. places : (M,) where each row
    stands; rows are neighbours where they stand as near as rows of their stretch ever do. Without
    any row nothing is known, and 1 is returned.
    """
    bounded = [np.clip(values, -_BOUND, _BOUND) for values in residuals]
    powers = [float(np.mean(values**2)) * 3.0 for values in bounded if len(values)]
    if not powers:
        return 1.0
    power = max(float(np.median(powers)), 1e-12)
    together = [_neighbours(rows) for rows in places]
    total = 1.0
    for lag in range(1, _LONGEST_LAG):
        products = [
            _lag_product(values, steady, lag)
            for values, steady in zip(bounded, together, strict=True)
        ]
        value = float(np.median(products)) / power
        if value < _UNCORRELATED:
            break
        total += 2.0 * value
    return float(np.clip(total, 1.0, _LONGEST))


def _neighbours(places: IntArray) -> BoolArray:
    """(M − 1,) whether a row and the next are neighbours, with no hole between them."""
    apart = np.diff(places)
    return apart == apart.min() if len(apart) else apart > 0


def _lag_product(values: FloatArray, together: BoolArray, lag: int) -> float:
    """Mean product of residuals ``lag`` rows apart, over stretches without a hole; 0 if none."""
    if len(together) < lag:
        return 0.0
    steady = np.convolve(together, np.ones(lag), "valid") == lag
    pairs = np.einsum("ni,ni->n", values[:-lag], values[lag:])[steady]
    return float(np.mean(pairs)) if len(pairs) else 0.0
