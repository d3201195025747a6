"""How much does each metric vary from swing to swing, and how much of that is the player?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from imu.columns import METRIC_BY_NAME, metrics_in
from imu.errors import SwingspreadError
from imu.number_words import counted, decimals, number, with_unit
from imu.types import BoolArray, FloatArray
from imu.variation.drift import block_numbers, fit_drift, order_in_recording
from imu.variation.intervals import (
    Interval,
    c4,
    chi_square_sd_interval,
    column_mean,
    column_median,
    column_sd,
    counts,
    mean_interval,
    robust_sd,
    robust_sd_interval,
    sd_interval,
)
from imu.variation.metric_values import chosen_metrics, metric_values
from imu.variation.noise import (
    SWING_TO_SWING,
    believable_noise,
    human_sd,
    minimal_detectable_change,
    noise_columns,
    noise_sd,
    whole_sample_timing_sd,
)
from imu.variation.shift import holm
from imu.variation.wording import far_out_sentence, plain_name

SPREAD_COLUMNS: dict[str, str] = {
    "metric": "name of the metric, see imu.columns",
    "label": "in words",
    "unit": "of all numbers of the row but counts, p and cv",
    "swings": "swings with this measure",
    "missing": "swings without it",
    "mean": "",
    "mean_low": "95 % interval of the mean (Student)",
    "mean_high": "",
    "median": "",
    "sd": "SD shown: player and sensors together",
    "sd_low": "95 % interval of the SD, long tails allowed for",
    "sd_high": "",
    "sd_chi_square_low": "95 % interval for normal values (chi-square)",
    "sd_chi_square_high": "",
    "sd_unbiased": "SD / c4",
    "cv": "SD / mean, for times, speeds, rates and lengths that never pass through 0; else NaN",
    "robust_sd": "SD of the usual swings (median absolute deviation)",
    "robust_sd_low": "95 % interval of the robust SD",
    "robust_sd_high": "",
    "noise_sd": "the sensors' part (root mean square standard error)",
    "noise_is": "swing to swing; at most (part of it shared by all swings); or unknown",
    "least_difference": "by which two swings must differ before the sensors can tell, 95 % sure: "
    "2.77 x noise_sd (Weir 2005); at most this where the noise is known at most",
    "human_sd": "the SD with the sensors' part taken out; 0: below what the sensors can resolve; "
    "at least this where the noise is known at most",
    "human_sd_low": "the same done to the ends of the SD's interval",
    "human_sd_high": "",
    "drift_per_swing": "slow change from swing to swing within a block",
    "drift_low": "95 % interval of the drift",
    "drift_high": "",
    "drift_p": "",
    "drift_over_block": "drift over the longest block",
    "sd_within_blocks": "SD within blocks, drift included",
    "sd_without_drift": "SD within blocks, drift taken out",
    "far_out": "swings so far from the median as only 1 in 100 sets of normal swings has any "
    "(4 + 25 / n robust SDs; from 8 swings on)",
}
"""Columns of the spread table, one row a metric, with what they mean."""

Row = Mapping[Any, Any]
"""One row of the spread table."""

FAR_OUT, FAR_OUT_IN_FEW, FEWEST_TO_STAND_OUT = 4.0, 25.0, 8
"""A value is pointed out beyond 4 + 25 / n robust SDs from the median: the limit grows for small
sets, whose robust SD may come out small, so that among normal values hardly one set in a hundred
has any, whatever its size (after Davies & Gather 1993, JASA 88:782-792; constants by simulation).
Below 8 values nothing stands out."""

BETWEEN_BLOCKS = 1.1
"""Times the SD within blocks beyond which an SD is said to come from block to block too."""

_USUAL = ("robust_sd", "robust_sd_low", "robust_sd_high")

_CV_KINDS = frozenset({"time", "speed", "rate", "length"})
_NO_CV = frozenset({"overlap_ms", "closure_rate_deg_s", "address_time_s", "belt_before_arm_ms"})
"""Times and rates that pass through zero or are a habit: a ratio to the mean says nothing."""


def spread_table(
    swings: pd.DataFrame, metrics: Sequence[str] | None = None, sample_period_s: float = 0.0
) -> pd.DataFrame:
    """Spread of every metric over the swings of one set: ``SPREAD_COLUMNS``.

    swings : of a ``SwingSet``. metrics : all by default, a further sensor's where it has any.
    sample_period_s : give it when events
    were placed on whole samples and their standard errors do not know it; adds T/√6 to the
    noise of every duration. Raises SwingspreadError for an empty set or unknown metric.
    """
    if not len(swings):
        raise SwingspreadError("there are no swings to work out a spread from")
    chosen = metrics_in(swings.columns) if metrics is None else chosen_metrics(metrics)
    names = [metric.name for metric in chosen]
    values = metric_values(swings, names)
    n, sd, mean = counts(values), column_sd(values), column_mean(values)
    mean_low, mean_high = mean_interval(values)
    low, high = sd_interval(values)
    plain_low, plain_high = chi_square_sd_interval(sd, n)
    robust_low, robust_high = robust_sd_interval(values)
    a_second = {"ms": 1e3, "s": 1.0}
    timing = whole_sample_timing_sd(sample_period_s) * np.array(
        [a_second.get(metric.unit, 0.0) for metric in chosen]
    )
    errors, meaning = noise_columns(swings, names)
    noise, meaning = believable_noise(noise_sd(values, errors, timing), meaning, high)
    with np.errstate(invalid="ignore", divide="ignore"):
        sensible = np.array([m.kind in _CV_KINDS and m.name not in _NO_CV for m in chosen])
        cv = np.where(sensible & (mean > 0), sd / mean, np.nan)
        unbiased = sd / c4(n)
    drift = fit_drift(values, order_in_recording(swings), block_numbers(swings))
    table = pd.DataFrame(
        {
            "metric": names,
            "label": [metric.label for metric in chosen],
            "unit": [metric.unit for metric in chosen],
            "swings": n.astype(int),
            "missing": (len(swings) - n).astype(int),
            "mean": mean,
            "mean_low": mean_low,
            "mean_high": mean_high,
            "median": column_median(values),
            "sd": sd,
            "sd_low": low,
            "sd_high": high,
            "sd_chi_square_low": plain_low,
            "sd_chi_square_high": plain_high,
            "sd_unbiased": unbiased,
            "cv": cv,
            "robust_sd": robust_sd(values),
            "robust_sd_low": robust_low,
            "robust_sd_high": robust_high,
            "noise_sd": noise,
            "noise_is": meaning,
            "least_difference": minimal_detectable_change(noise),
            "human_sd": human_sd(sd, noise),
            "human_sd_low": human_sd(low, noise),
            "human_sd_high": human_sd(high, noise),
            **{name: drift[name].to_numpy() for name in drift.columns},
            "far_out": far_out(values).sum(axis=0),
        }
    )
    return table[list(SPREAD_COLUMNS)]


def far_out(values: FloatArray) -> np.ndarray:
    """(N, M) True for values that lie far out of their column; none where its robust SD is 0."""
    n, spread = counts(values), robust_sd(values)
    with np.errstate(invalid="ignore", divide="ignore"):
        limit = np.where(n >= FEWEST_TO_STAND_OUT, FAR_OUT + FAR_OUT_IN_FEW / n, np.inf) * spread
        return np.asarray((np.abs(values - column_median(values)) > limit) & (spread > 0))


def spread_sentences(table: pd.DataFrame) -> list[str]:
    """Plain words a row of ``spread_table``: SD with interval, the sensors' part, drift where it is
    established, and what swings that lie far out do to it."""
    drifts = drift_established(table)
    rows = table.to_dict("records")
    return [_sentence(row, bool(drift)) for row, drift in zip(rows, drifts, strict=True)]


def drift_established(table: pd.DataFrame) -> BoolArray:
    """(M,) True where chance among the rows of ``spread_table`` could not make the drift (Holm)."""
    return np.asarray(holm(table["drift_p"]) < 0.05)


def far_out_words(row: Row) -> str:
    """What is to be said beside the SD of a row with swings that lie far out, else ""."""
    usual = Interval(*(float(row[name]) for name in _USUAL))
    return far_out_sentence(int(row["far_out"]), usual, str(row["unit"]))


def _sentence(row: Row, drifts: bool) -> str:
    metric = METRIC_BY_NAME[row["metric"]]
    name, unit = plain_name(metric), str(row["unit"])
    if row["swings"] < 2 or not np.isfinite(row["sd"]):
        few = counted(int(row["swings"]), "swing")
        return f"{name}: {few} with this measure, too few for a spread."
    if row["sd"] == 0:
        return f"{name}: the same in all {row['swings']} swings."
    places = decimals(row["sd"])
    sd = with_unit(number(row["sd"], places), unit)
    ends = f"95 % {number(row['sd_low'], places)} to {number(row['sd_high'], places)}"
    text = f"{name} varies by {sd} (SD of {row['swings']} swings; {ends})"
    text += _noise_words(row, unit, places)
    if row["sd"] > BETWEEN_BLOCKS * row["sd_within_blocks"]:
        within = with_unit(number(row["sd_within_blocks"], places), unit)
        text += f"; {within} within blocks, the rest from block to block"
    if drifts:
        moved = with_unit(number(abs(row["drift_over_block"]), places), unit)
        up = "up" if row["drift_over_block"] > 0 else "down"
        without = with_unit(number(row["sd_without_drift"], places), unit)
        text += f"; it drifts {up} by {moved} over the block, {without} without that"
    return " ".join(part for part in (f"{text}.", far_out_words(row)) if part)


def _noise_words(row: Row, unit: str, places: int) -> str:
    if row["noise_is"] == SWING_TO_SWING and row["human_sd"] == 0:
        return "; below what the sensors can resolve"
    if not np.isfinite(row["noise_sd"]) or row["noise_sd"] <= 0.3 * row["sd"]:
        return ""
    own = with_unit(number(row["human_sd"], places), unit)
    if row["noise_is"] == SWING_TO_SWING:
        return f"; {own} with the sensors' part taken out"
    part = with_unit(number(row["noise_sd"], places), unit)
    return f"; at most {part} of it the sensors'"
