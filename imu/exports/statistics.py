"""Level and spread of every metric of a set of swings as one table."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from imu.columns import METRICS, Metric
from imu.variation.intervals import chi_square_sd_interval, column_mean, column_sd, counts
from imu.variation.noise import human_sd, noise_columns, noise_sd

STATISTICS_COLUMNS: dict[str, str] = {
    "metric": "column of the swing table",
    "label": "name of the metric",
    "unit": "unit of mean and SDs",
    "n": "swings with this measure",
    "mean": "mean over those swings",
    "sd": "standard deviation between swings, as shown by the sensors",
    "sd_low": "lower end of the 95 % interval of the SD (chi-square)",
    "sd_high": "upper end of the 95 % interval of the SD (chi-square)",
    "noise_sd": "part of the SD that is the sensors' own error",
    "human_sd": "SD with that error taken out; 0 when below what the sensors can resolve",
    "cv_percent": "SD as a share of the mean, for times, rates, speeds and ratios",
    "median": "middle value",
}
"""The statistics table: one row a metric."""

_RELATIVE = ("time", "rate", "speed", "length")


def statistics_table(swings: pd.DataFrame, metrics: Sequence[Metric] = METRICS) -> pd.DataFrame:
    """Mean, SD with its 95 % interval, noise and the rest for each metric of ``swings``.

    swings : rows of the swing table that count. NaN where too few swings have the measure.
    """
    names = [metric.name for metric in metrics]
    values = swings[names].to_numpy(np.float64)
    n = counts(values)
    mean, sd = column_mean(values), column_sd(values)
    low, high = chi_square_sd_interval(sd, n)
    noise = noise_sd(values, noise_columns(swings, names))
    relative = np.array([metric.kind in _RELATIVE for metric in metrics])
    with np.errstate(invalid="ignore", divide="ignore"):
        cv = np.where(relative & (mean > 0), 100.0 * sd / mean, np.nan)
    table = {
        "metric": names,
        "label": [metric.label for metric in metrics],
        "unit": [metric.unit for metric in metrics],
        "n": n.astype(int),
        "mean": mean,
        "sd": sd,
        "sd_low": low,
        "sd_high": high,
        "noise_sd": noise,
        "human_sd": human_sd(sd, noise),
        "cv_percent": cv,
        "median": [
            float(np.nanmedian(column)) if np.isfinite(column).any() else np.nan
            for column in values.T
        ],
    }
    return pd.DataFrame(table)[list(STATISTICS_COLUMNS)]


def counted_swings(swings: pd.DataFrame) -> pd.DataFrame:
    """The swings that statistics are made of: of good or fair quality, struck ones if there are
    any, else practice swings."""
    sound = swings[swings["quality"] != "poor"]
    struck = sound[sound["kind"] == "ball"]
    return struck if len(struck) else sound
