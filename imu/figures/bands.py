"""What many curves have in common at each moment: percentiles, and how far they spread."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from imu.figures.alignment import Float32


def quantiles(lines: Float32, levels: Sequence[float]) -> NDArray[np.float64]:
    """Percentiles over swings at each time, ignoring NaN; NaN where under three swings reach."""
    enough = np.isfinite(lines).sum(axis=0) >= min(3, len(lines))
    result = np.full((len(levels), lines.shape[1]), np.nan)
    if enough.any():
        result[:, enough] = np.nanpercentile(lines[:, enough], levels, axis=0)
    return result


def spread_over_time(lines: Float32) -> NDArray[np.float64]:
    """Standard deviation over swings at each time; NaN where under three swings reach."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        spread = np.nanstd(lines.astype(np.float64), axis=0, ddof=1)
    spread[np.isfinite(lines).sum(axis=0) < 3] = np.nan
    return spread
