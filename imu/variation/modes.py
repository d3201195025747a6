"""Principal modes of variation: in which few ways does the curve differ from swing to swing?

Principal components of aligned curves (Ramsay & Silverman 2005, Functional Data Analysis, ch. 8).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from imu.columns import CURVE_COLUMNS, metrics_in
from imu.errors import SwingspreadError
from imu.number_words import decimals, number, with_unit
from imu.types import FloatArray, IntArray
from imu.variation.curve_alignment import RegisteredCurves
from imu.variation.metric_values import metric_values
from imu.variation.wording import more_less, plain_name

FEWEST_SWINGS = 6

CLOSE = 0.5
"""Least correlation at which a metric is said to go with a mode."""


@dataclass(frozen=True, eq=False)
class Modes:
    """The largest K modes of one curve over S swings and T points of time.

    time : (T,) s from impact. mean : (T,). shapes : (K, T) change of the curve for a score of
    one SD, in the curve's unit; ``mean ± 2 × shape`` is the picture of a mode. shares : (K,)
    part of all variance. expected_shares : (K,) 95 % quantile of the share when the curves only
    vary at random, point by point; a mode below is not told from chance, and its sentence says
    so. scores : (S, K) in SDs. rows : (S,) of the swing table. sentences : (K,) what each does.
    """

    curve: str
    time: FloatArray
    mean: FloatArray
    shapes: FloatArray
    shares: FloatArray
    expected_shares: FloatArray
    scores: FloatArray
    rows: IntArray
    sentences: tuple[str, ...]


def principal_modes(
    curves: RegisteredCurves,
    column: str,
    swings: pd.DataFrame,
    count: int = 3,
    seed: int = 20_000,
) -> Modes:
    """Principal modes of one aligned curve.

    swings : the table the curves belong to, to say which metric goes with each mode. The sign of
    a mode is such that its largest change is positive. Raises SwingspreadError below
    ``FEWEST_SWINGS`` whole curves.
    """
    values = curves.values[column]
    enough = np.isfinite(values).mean(axis=1) >= 0.8
    values, rows = values[enough], curves.rows[enough]
    here = np.isfinite(values).all(axis=0) if len(values) else np.zeros(0, dtype=bool)
    if len(values) < FEWEST_SWINGS or here.sum() < FEWEST_SWINGS:
        raise SwingspreadError(
            f"modes of variation need {FEWEST_SWINGS} whole curves; there are {len(values)}"
        )
    values, time = values[:, here], curves.time[here]
    mean = values.mean(axis=0)
    centred = values - mean
    left, strength, right = np.linalg.svd(centred, full_matrices=False)
    count = min(count, len(values) - 1)
    total = float((strength**2).sum())
    if total == 0:
        raise SwingspreadError("all curves are the same: there is no variation to take apart")
    scale = strength[:count] / np.sqrt(len(values) - 1)
    shapes = scale[:, None] * right[:count]
    scores = left[:, :count] * np.sqrt(len(values) - 1)
    largest = np.abs(shapes).argmax(axis=1)
    sign = np.sign(shapes[np.arange(count), largest])
    shapes, scores = shapes * sign[:, None], scores * sign
    shares = strength[:count] ** 2 / total
    by_chance = _shares_by_chance(centred, count, seed)
    sentences = []
    for mode, (shape, share) in enumerate(zip(shapes, shares, strict=True)):
        told = _mode_sentence(mode, column, time, shape, float(share))
        goes = _goes_with(scores[:, mode], swings.iloc[rows])
        sentences.append(f"{told}{goes if share > by_chance[mode] else '; not told from chance'}.")
    return Modes(
        curve=column,
        time=time,
        mean=mean,
        shapes=shapes,
        shares=shares,
        expected_shares=by_chance,
        scores=scores,
        rows=rows,
        sentences=tuple(sentences),
    )


def _shares_by_chance(centred: FloatArray, count: int, seed: int, draws: int = 40) -> FloatArray:
    """95 % quantile of shares when every point is shuffled by itself (Horn 1965)."""
    generator = np.random.default_rng(seed)
    # Some sixty points are enough and keep this quick.
    thinned = centred[:, :: max(1, centred.shape[1] // 60)]
    shares = np.empty((draws, count))
    for draw in range(draws):
        shuffled = generator.permuted(thinned, axis=0)
        square = np.linalg.svd(shuffled, compute_uv=False) ** 2
        padded = np.zeros(count)
        padded[: min(count, len(square))] = square[:count] / square.sum()
        shares[draw] = padded
    return np.quantile(shares, 0.95, axis=0)


def _mode_sentence(
    mode: int, column: str, time: FloatArray, shape: FloatArray, share: float
) -> str:
    peak = int(np.abs(shape).argmax())
    at = round(1e3 * time[peak])
    when = f"{-at} ms before impact" if at < 0 else f"{at} ms after impact" if at else "impact"
    size = abs(float(shape[peak]))
    most = with_unit(f"±{number(size, decimals(size))}", CURVE_COLUMNS.get(column, ""))
    return f"Mode {mode + 1}, {100 * share:.0f} % of the variation: {most} (1 SD), most at {when}"


def _goes_with(scores: FloatArray, swings: pd.DataFrame) -> str:
    """The metric that a mode goes with most closely, when chance among all of them could not
    make it so close (Bonferroni)."""
    metrics = [one for one in metrics_in(swings.columns) if one.name in swings]
    tried = []
    values = metric_values(swings, [metric.name for metric in metrics])
    for metric, value in zip(metrics, values.T, strict=True):
        here = np.isfinite(value)
        if here.sum() >= FEWEST_SWINGS and np.ptp(value[here]) > 0:
            fit = stats.pearsonr(value[here], scores[here])
            tried.append((float(fit.pvalue), float(fit.statistic), metric))
    if not tried:
        return ""
    p, r, metric = min(tried, key=lambda one: one[0])
    if abs(r) < CLOSE or p * len(tried) >= 0.05:
        return ""
    name = plain_name(metric)
    word = more_less(metric)[r < 0]
    return f"; the more of it, the {word} {name[0].lower()}{name[1:]} (r {number(r, 2)})"
