"""Measurement noise taken apart from human variation.

Every metric of a swing carries its own standard error; over a set these add to the spread shown.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from imu.types import BoolArray, FloatArray
from imu.variation.intervals import counts


def whole_sample_timing_sd(period: float) -> float:
    """SD added to a duration between two events each placed on a whole sample: T/√6.

    period : time between samples, in any unit. Each end is uniform over T: variance T²/12.
    """
    return period / math.sqrt(6)


def minimal_detectable_change(standard_error_of_measurement: ArrayLike) -> FloatArray:
    """Smallest difference of two readings that is 95 % sure not to be noise (Weir 2005).

    standard_error_of_measurement : of a single reading, any shape; NaN stays NaN.
    """
    return 1.96 * math.sqrt(2) * np.asarray(standard_error_of_measurement, dtype=np.float64)


SWING_TO_SWING = "swing to swing"
AT_MOST = "at most"
UNKNOWN_NOISE = "unknown"


def noise_columns(swings: pd.DataFrame, names: list[str]) -> tuple[FloatArray, list[str]]:
    """(N, M) standard errors of the metrics, and what each column of them means.

    ``SWING_TO_SWING``: from ``<metric>_se_swing``, the part of the error that differs from swing
    to swing. ``AT_MOST``: only the whole ``<metric>_se`` is there; its part shared by the whole
    recording (mounting, scale) moves all swings alike and is no noise in a spread.
    ``UNKNOWN_NOISE``: neither, and NaN.
    """
    table = np.full((len(swings), len(names)), np.nan)
    meaning = []
    for column, name in enumerate(names):
        for candidate, said in ((f"{name}_se_swing", SWING_TO_SWING), (f"{name}_se", AT_MOST)):
            if candidate in swings and swings[candidate].notna().any():
                table[:, column] = swings[candidate].to_numpy(np.float64)
                meaning.append(said)
                break
        else:
            meaning.append(UNKNOWN_NOISE)
    return table, meaning


def noise_sd(
    values: ArrayLike, standard_errors: ArrayLike, whole_sample_sd: ArrayLike = 0.0
) -> FloatArray:
    """Root mean square standard error of the values present, per column.

    values, standard_errors : (N, M). whole_sample_sd : further noise of every value, (M,) or
    a number, in the same unit. NaN where no standard error is known.
    """
    errors = np.where(np.isfinite(np.asarray(values)), standard_errors, np.nan)
    errors = np.asarray(errors, dtype=np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_square = np.nansum(errors**2, axis=0) / counts(errors)
        return np.asarray(np.sqrt(mean_square + np.square(whole_sample_sd)))


def refuted_noise(noise: ArrayLike, meaning: list[str], sd_high: ArrayLike) -> BoolArray:
    """(..., M) True where an upper limit on the noise is contradicted by the spread itself.

    Noise beyond the upper end of the SD's interval cannot differ from swing to swing, or the
    swings would spread more: it is mostly shared, and how much is not becomes unknown.
    """
    size, high = np.asarray(noise, dtype=np.float64), np.asarray(sd_high, dtype=np.float64)
    return np.asarray(np.array([said == AT_MOST for said in meaning]) & (size > high))


def believable_noise(
    noise: ArrayLike, meaning: list[str], sd_high: ArrayLike
) -> tuple[FloatArray, list[str]]:
    """(M,) noise without what ``refuted_noise`` finds, and what each number now means."""
    refuted = refuted_noise(noise, meaning, sd_high)
    said = [UNKNOWN_NOISE if wrong else word for word, wrong in zip(meaning, refuted, strict=True)]
    return np.where(refuted, np.nan, np.asarray(noise, dtype=np.float64)), said


def human_sd(shown_sd: ArrayLike, noise: ArrayLike) -> FloatArray:
    """The SD with the noise taken out in quadrature, never below 0.

    0 means: below what the sensors can resolve. NaN noise counts as unknown and gives NaN.
    """
    shown = np.asarray(shown_sd, dtype=np.float64)
    return np.asarray(np.sqrt(np.maximum(shown**2 - np.square(noise), 0.0)))
