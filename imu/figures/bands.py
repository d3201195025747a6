"""What many curves have in common at each moment: percentiles, and how far they spread."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from imu.figures.alignment import AlignedCurves, Float32


def quantiles(lines: Float32, levels: Sequence[float]) -> NDArray[np.float64]:
    """(K, G) percentiles over swings, of (S, G) lines, at K ``levels`` from 0 to 100.

    NaN where fewer than three swings reach; where there are only one or two, unless all do.
    """
    enough = np.isfinite(lines).sum(axis=0) >= min(3, len(lines))
    result = np.full((len(levels), lines.shape[1]), np.nan)
    if enough.any():
        result[:, enough] = np.nanpercentile(lines[:, enough], levels, axis=0)
    return result


def sd_at_each_time(lines: Float32) -> NDArray[np.float64]:
    """(G,) SD over the swings of (S, G) lines at each time; NaN where under three swings reach."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        spread = np.nanstd(lines.astype(np.float64), axis=0, ddof=1)
    spread[np.isfinite(lines).sum(axis=0) < 3] = np.nan
    return spread


AT_IMPACT_S = 0.005
"""Nearer to impact than this is at impact."""


def widest_hinge(aligned: AlignedCurves) -> str:
    """Where from the club's top to impact the hinge spreads most, in a sentence.

    aligned : lined up at impact, with ``hinge_deg``. "" where under three swings reach, or when
    no top is known.
    """
    tops = aligned.events["club_top"]
    if not np.isfinite(tops).any():
        return ""
    spread = sd_at_each_time(aligned.values["hinge_deg"])
    down = (aligned.grid >= np.nanmedian(tops)) & (aligned.grid <= 0.0) & np.isfinite(spread)
    if not down.any():
        return ""
    at = int(np.argmax(np.where(down, spread, -1.0)))
    most, before = spread[at], -float(aligned.grid[at])
    if before < AT_IMPACT_S:
        return f"On the way down the hinge varies most at impact (SD {most:.1f}°)."
    impact = float(np.interp(0.0, aligned.grid[down], spread[down]))
    return (
        f"On the way down the hinge varies most {1e3 * before:.0f}\u00a0ms before impact "
        f"(SD {most:.1f}°; at impact {impact:.1f}°)."
    )
