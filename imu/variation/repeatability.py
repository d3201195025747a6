"""Repeated readings: agreement of two ways of measuring, error within a subject, reliability.

For whoever checks the sensors against another instrument, or one fitting against the next.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from imu.errors import SwingspreadError
from imu.variation.intervals import Interval


@dataclass(frozen=True)
class Agreement:
    """Difference of two ways of measuring the same things: mean, SD, 95 % limits of agreement."""

    mean: float
    sd: float
    limits: Interval


def agreement(first: ArrayLike, second: ArrayLike) -> Agreement:
    """First less second over the same things (Bland & Altman 1986, Lancet 1:307-310)."""
    a, b = (np.asarray(values, dtype=np.float64) for values in (first, second))
    if a.shape != b.shape or a.ndim != 1 or len(a) < 3:
        raise SwingspreadError("agreement needs two readings of each of three things or more")
    difference = a - b
    mean, sd = float(difference.mean()), float(difference.std(ddof=1))
    return Agreement(mean, sd, Interval(mean, mean - 1.96 * sd, mean + 1.96 * sd))


def within_subject_sd(readings: ArrayLike) -> float:
    """Standard error of measurement from (subjects, repeats) readings: √ of the mean variance.

    Source: Bland & Altman 1986.
    """
    table = np.asarray(readings, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] < 2:
        raise SwingspreadError("within-subject SD needs two readings or more of each subject")
    return float(np.sqrt(table.var(axis=1, ddof=1).mean()))


@dataclass(frozen=True)
class Reliability:
    """Intraclass correlations of single readings (Shrout & Fleiss 1979, Psychol Bull 86:420).

    one_way : (1,1); random : (2,1); fixed : (3,1). They need several players: they say how well
    players are told apart, not how well one player repeats.
    """

    one_way: float
    random: float
    fixed: float


def reliability(readings: ArrayLike) -> Reliability:
    """Intraclass correlations of (subjects, raters) readings.

    Raises SwingspreadError for a single subject: reliability means nothing there.
    """
    table = np.asarray(readings, dtype=np.float64)
    if table.ndim != 2 or min(table.shape) < 2:
        raise SwingspreadError(
            "reliability needs several subjects with several readings each; for one player read "
            "the standard deviation"
        )
    n, k = table.shape
    grand = table.mean()
    rows = k * ((table.mean(axis=1) - grand) ** 2).sum()
    columns = n * ((table.mean(axis=0) - grand) ** 2).sum()
    total = ((table - grand) ** 2).sum()
    between = rows / (n - 1)
    within = (total - rows) / (n * (k - 1))
    raters = columns / (k - 1)
    error = (total - rows - columns) / ((n - 1) * (k - 1))
    return Reliability(
        float((between - within) / (between + (k - 1) * within)),
        float((between - error) / (between + (k - 1) * error + k * (raters - error) / n)),
        float((between - error) / (between + (k - 1) * error)),
    )
