"""Principal modes of variation: in which few ways does the curve differ from swing to swing?

Principal components of aligned curves (Ramsay & Silverman 2005, Functional Data Analysis, ch. 8).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from imu.columns import METRICS
from imu.errors import SwingspreadError
from imu.types import FloatArray, IntArray
from imu.variation.curve_alignment import AlignedCurves
from imu.variation.wording import plain_name

FEWEST_SWINGS = 6


@dataclass(frozen=True, eq=False)
class Modes:
    """The largest K modes of one curve over S swings and T points of time.

    time : (T,) s from impact. mean : (T,). shapes : (K, T) change of the curve for a score of
    one SD, in the curve's unit; ``mean ± 2 × shape`` is the picture of a mode. shares : (K,)
    part of all variance. expected_shares : (K,) 95 % quantile of the share when the curves only
    vary at random, point by point; a mode below is not told from noise. scores : (S, K) in SDs.
    rows : (S,) of the swing table. sentences : (K,) what each mode does.
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
    curves: AlignedCurves,
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
    return Modes(
        curve=column,
        time=time,
        mean=mean,
        shapes=shapes,
        shares=shares,
        expected_shares=_shares_by_chance(centred, count, seed),
        scores=scores,
        rows=rows,
        sentences=tuple(
            _sentence(k, time, shapes[k], float(shares[k]), scores[:, k], swings.iloc[rows])
            for k in range(count)
        ),
    )


def _shares_by_chance(centred: FloatArray, count: int, seed: int, draws: int = 40) -> FloatArray:
    """95 % quantile of shares when every point is shuffled by itself (Horn 1965)."""
    generator = np.random.default_rng(seed)
    # Every fifth point is enough and keeps this quick.
    thinned = centred[:, :: max(1, centred.shape[1] // 60)]
    shares = np.empty((draws, count))
    for draw in range(draws):
        shuffled = generator.permuted(thinned, axis=0)
        square = np.linalg.svd(shuffled, compute_uv=False) ** 2
        padded = np.zeros(count)
        padded[: min(count, len(square))] = square[:count] / square.sum()
        shares[draw] = padded
    return np.quantile(shares, 0.95, axis=0)


def _sentence(
    mode: int,
    time: FloatArray,
    shape: FloatArray,
    share: float,
    scores: FloatArray,
    swings: pd.DataFrame,
) -> str:
    peak = int(np.abs(shape).argmax())
    at = round(1e3 * time[peak])
    when = f"{-at} ms before impact" if at < 0 else f"{at} ms after impact" if at else "impact"
    text = (
        f"Mode {mode + 1}, {100 * share:.0f} % of the variation: "
        f"±{abs(shape[peak]):.1f} (1 SD), most at {when}"
    )
    best, most = "", 0.0
    for metric in METRICS:
        if metric.name not in swings:
            continue
        value = swings[metric.name].to_numpy(np.float64)
        here = np.isfinite(value)
        if here.sum() < FEWEST_SWINGS or value[here].std() == 0:
            continue
        r = float(np.corrcoef(value[here], scores[here])[0, 1])
        if abs(r) > abs(most):
            best, most = plain_name(metric), r
    if abs(most) >= 0.5:
        way = "more" if most > 0 else "less"
        text += f"; goes with {way} {best[0].lower()}{best[1:]} (r {most:.2f})".replace("-", "−")
    return f"{text}."
