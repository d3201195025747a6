"""Slow drift within a block: warming up, tiring, settling in. Fitted, shown, taken out."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats

from imu.types import FloatArray, IntArray
from imu.variation.intervals import counts

FEWEST_SWINGS = 5
"""A block with fewer swings has no slope to speak of."""


def block_numbers(swings: pd.DataFrame) -> IntArray:
    """(N,) number of the block each swing is in: the swings of one label in one recording.

    A plan's blocks of one label, parted by others, count as one; so does a whole recording where
    there are no labels.
    """
    parts = [name for name in ("recording_id", "block") if name in swings]
    groups = swings.groupby(parts, sort=False, dropna=False)
    return np.asarray(groups.ngroup(), np.int64)


def order_in_recording(swings: pd.DataFrame) -> FloatArray:
    """(N,) place of each swing within its recording, from 0, by its start."""
    order = swings.groupby("recording_id", sort=False)["start_s"].rank(method="first")
    return order.to_numpy(np.float64) - 1


def fit_drift(
    values: ArrayLike, order: ArrayLike, blocks: ArrayLike, level: float = 0.95
) -> pd.DataFrame:
    """Straight-line drift over the order of swings, one slope for all blocks, per column.

    values : (N, M), NaN where missing. order, blocks : (N,) place and block of every swing. Blocks
    keep their own means, so a difference between blocks is no drift. Columns of the answer, one
    row a metric: drift_per_swing, drift_low, drift_high, drift_p (two-sided), drift_over_block
    (slope times the swings of the longest block, less one), sd_without_drift (within blocks, slope
    taken out), sd_within_blocks. NaN where no block has ``FEWEST_SWINGS`` swings.
    """
    table = np.asarray(values, dtype=np.float64)
    codes = np.unique(np.asarray(blocks), return_inverse=True)[1]
    here = np.isfinite(table)
    place = np.where(here, np.asarray(order, dtype=np.float64)[:, None], np.nan)
    member = np.zeros((codes.max(initial=-1) + 1, len(codes)))
    member[codes, np.arange(len(codes))] = 1.0
    sizes = member @ here
    filled = np.where(here, table, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        y = filled - np.where(here, (member.T @ ((member @ filled) / sizes)), 0.0)
        x_filled = np.where(here, place, 0.0)
        x = x_filled - np.where(here, (member.T @ ((member @ x_filled) / sizes)), 0.0)
    # A metric missing from a whole block leaves 0/0 there; those cells count for nothing.
    y, x = np.where(here, y, 0.0), np.where(here, x, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        xx, xy, yy = (x**2).sum(0), (x * y).sum(0), (y**2).sum(0)
        used = counts(table) - (sizes > 0).sum(0)
        slope = xy / xx
        freedom = used - 1
        residual = np.sqrt(np.maximum(yy - slope * xy, 0.0) / freedom)
        error = residual / np.sqrt(xx)
        half = stats.t.ppf(0.5 + level / 2, freedom) * error
        p = 2 * stats.t.sf(np.abs(slope) / error, freedom)
        within = np.sqrt(yy / used)
    longest = sizes.max(axis=0, initial=0)
    poor = (longest < FEWEST_SWINGS) | (freedom < 2)
    answer = pd.DataFrame(
        {
            "drift_per_swing": slope,
            "drift_low": slope - half,
            "drift_high": slope + half,
            "drift_p": p,
            "drift_over_block": slope * (longest - 1),
            "sd_without_drift": residual,
        }
    )
    answer.loc[poor, :] = np.nan
    answer["sd_within_blocks"] = np.where(used >= 1, within, np.nan)
    return answer
