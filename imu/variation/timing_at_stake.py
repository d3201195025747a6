"""Is timing at stake: does the spread at impact go with the spread of the release?

Going together is not causing: a common drift, or the sensors' shared error, can do it too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from imu.number_words import decimals, number, with_unit
from imu.shown_units import SI, ShownUnits
from imu.types import FloatArray, IntArray
from imu.variation.drift import block_numbers
from imu.variation.intervals import Interval
from imu.variation.noise import SWING_TO_SWING, noise_columns, noise_sd
from imu.variation.shift import holm

FEWEST_SWINGS = 8
AT_STAKE: tuple[tuple[str, str], ...] = (
    ("release_ms", "hinge_at_impact_deg"),
    ("release_ms", "near_line_m"),
    ("release_ms", "near_line_ms"),
    ("release_ms", "clubhead_speed_m_s"),
)
"""Release timing against what it may cost: impact geometry, and speed beside it."""


@dataclass(frozen=True)
class Regression:
    """How ``outcome`` goes with ``cause`` over the swings of a set.

    slope : outcome's unit per cause's unit, with interval. slope_noise_removed : the slope had
    the cause been measured without error (divided by its reliability), NaN when unknown.
    shared : part of the outcome's variance that goes with the cause (r²), with interval. p : of
    the slope, two-sided; p_holm : adjusted for the pairs looked at together.
    """

    cause: str
    outcome: str
    swings: int
    slope: Interval
    slope_noise_removed: float
    correlation: Interval
    shared: Interval
    p: float
    p_holm: float
    sentence: str


def timing_at_stake(
    swings: pd.DataFrame,
    pairs: Sequence[tuple[str, str]] = AT_STAKE,
    level: float = 0.95,
    units: ShownUnits = SI,
) -> tuple[Regression, ...]:
    """Whether timing feeds the spread at impact: each outcome regressed on its cause.

    Swings are taken within their blocks (block means removed), so that a change between blocks
    does not pass for an association from swing to swing. A slope is called established when it
    stands after Holm's adjustment for the pairs. Pairs with fewer than
    ``FEWEST_SWINGS`` swings, or no spread, are left out. units : of the sentences; numbers stay
    in the units kept.
    """
    fits = []
    for cause, outcome in pairs:
        if cause not in swings or outcome not in swings:
            continue
        x, y = (swings[name].to_numpy(np.float64) for name in (cause, outcome))
        here = np.isfinite(x) & np.isfinite(y)
        if here.sum() < FEWEST_SWINGS:
            continue
        blocks = np.unique(block_numbers(swings[here]), return_inverse=True)[1]
        x, y = _within(x[here], blocks), _within(y[here], blocks)
        sizes = np.bincount(blocks)
        freedom = int(here.sum() - len(sizes) - 1)
        if freedom < 4 or x.std() == 0 or y.std() == 0:
            continue
        error, meaning = noise_columns(swings[here], [cause])
        # A slope is corrected only for noise known to differ from swing to swing.
        known = meaning == [SWING_TO_SWING]
        noise = float(noise_sd(np.ones_like(error), error)[0]) if known else float("nan")
        fit = _fit(x, y, 1 / sizes[blocks], freedom, noise, level)
        fits.append((cause, outcome, int(here.sum()), *fit))
    adjusted = holm([fit[-1] for fit in fits])
    return tuple(
        Regression(*fit, float(p), _regression_sentence(*fit, float(p), level, units))
        for fit, p in zip(fits, adjusted, strict=True)
    )


def _within(values: FloatArray, blocks: IntArray) -> FloatArray:
    mean = np.bincount(blocks, values) / np.bincount(blocks)
    return np.asarray(values - mean[blocks])


def _fit(
    x: FloatArray, y: FloatArray, of_block: FloatArray, freedom: int, noise: float, level: float
) -> tuple[Interval, float, Interval, Interval, float]:
    """Fields of ``Regression`` from slope to p, of values (N,) about the means of their blocks.

    of_block : (N,) part that each has in the mean of its block. noise : SD of the error in x.
    """
    xx, xy, yy = float(x @ x), float(x @ y), float(y @ y)
    slope, r = xy / xx, xy / np.sqrt(xx * yy)
    residual = y - slope * x
    # HC3 (MacKinnon & White 1985) keeps its level when the spread of y changes with x.
    leverage = np.minimum(x**2 / xx + of_block, 0.95)
    error = float(np.sqrt(((x * residual / (1 - leverage)) ** 2).sum()) / xx)
    quantile = float(stats.t.ppf(0.5 + level / 2, freedom))
    p = float(2 * stats.t.sf(abs(slope) / error, freedom)) if error > 0 else 0.0
    half = float(stats.norm.ppf(0.5 + level / 2)) / np.sqrt(freedom - 1)
    centre = np.arctanh(np.clip(r, -0.999999, 0.999999))
    low, high = float(np.tanh(centre - half)), float(np.tanh(centre + half))
    # One answer to whether anything is shared: that of the slope.
    nothing = error > 0 and quantile * error > abs(slope)
    least = 0.0 if nothing or low < 0 < high else min(low**2, high**2)
    reliability = 1 - noise**2 * (freedom + 1) / xx if np.isfinite(noise) else float("nan")
    return (
        Interval(slope, slope - quantile * error, slope + quantile * error),
        slope / reliability if reliability > 0.2 else float("nan"),
        Interval(float(r), low, high),
        Interval(float(r**2), least, max(low**2, high**2)),
        p,
    )


def _regression_sentence(
    cause: str,
    outcome: str,
    swings: int,
    slope: Interval,
    slope_noise_removed: float,
    correlation: Interval,
    shared: Interval,
    p: float,
    p_holm: float,
    level: float,
    units: ShownUnits,
) -> str:
    first, second = units.metric(cause), units.metric(outcome)
    percent = f"{100 * level:.3g} %"
    part = (
        f"{100 * shared.value:.0f} % ({percent} {100 * shared.low:.0f} to {100 * shared.high:.0f}) "
        f"of the variance of {second.label.lower()} goes with {first.label.lower()}"
    )
    if 0.0 in slope:
        return f"Not established that timing feeds it: {part}."
    if not p_holm < 1 - level:
        return f"Not established that timing feeds it, for chance among these could do it: {part}."
    factor = units.factor(outcome) / units.factor(cause)
    ten = [10 * factor * value for value in (slope.value, slope.low, slope.high)]
    places = decimals(max(abs(value) for value in ten))
    step = with_unit(number(ten[0], places), second.unit)
    ends = f"{percent} {number(ten[1], places)} to {number(ten[2], places)}"
    return f"{part}: {step} for every 10 {first.unit} earlier ({ends})."
