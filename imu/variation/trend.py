"""One metric over months: a line through the sessions' levels and spreads, and lasting steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from imu.columns import Metric
from imu.number_words import counted, decimals, number, with_unit
from imu.types import FloatArray
from imu.variation.change_points import Step, find_steps
from imu.variation.intervals import Interval, log_sd_bias
from imu.variation.shift import holm
from imu.variation.wording import plain_name

FEWEST_SWINGS = 5
"""A session with fewer swings is listed, but takes no part in trends."""

FEWEST_SESSIONS = 4
MONTH_DAYS = 30.4375


@dataclass(frozen=True)
class Trend:
    """One metric over the sessions of one player with one club.

    level_per_month : change of the mean, metric's unit a month. spread_per_month : factor on
    the SD a month (0.9: a tenth less). p_holm values are adjusted for the metrics shown.
    between_sessions_sd : how much session means differ beyond what their swings explain.
    level_steps, spread_steps : lasting steps that the data support (spread as ln SD).
    """

    metric: str
    label: str
    unit: str
    sessions: int
    level_per_month: Interval
    level_p_holm: float
    spread_per_month: Interval
    spread_p_holm: float
    between_sessions_sd: float
    level_steps: tuple[Step, ...]
    spread_steps: tuple[Step, ...]
    level_sentence: str
    spread_sentence: str


def session_trends(
    chosen: Sequence[Metric],
    sessions: Sequence[str],
    days: FloatArray,
    n: FloatArray,
    mean: FloatArray,
    sd: FloatArray,
    seed: int,
) -> tuple[Trend, ...]:
    """The trend of every metric over S sessions.

    sessions, days : (S,) what the sessions are called, and when they were. n, mean, sd : (S, M)
    swings, means and SDs of every session.
    """
    months = days / MONTH_DAYS
    with np.errstate(invalid="ignore", divide="ignore"):
        log_sd = np.where((n >= FEWEST_SWINGS) & (sd > 0), np.log(sd) - log_sd_bias(n), np.nan)
        level = np.where(n >= FEWEST_SWINGS, mean, np.nan)
    lines = [(_line(months, level[:, i]), _line(months, log_sd[:, i])) for i in range(len(chosen))]
    level_holm = holm([line[0][1] for line in lines])
    spread_holm = holm([line[1][1] for line in lines])
    # Every series is one chance of a false step; the family of them shares 5 %.
    alpha = 0.05 / max(2 * len(chosen), 1)
    trends = []
    for i, metric in enumerate(chosen):
        here = np.isfinite(level[:, i])
        sampling = float(np.mean(sd[here, i] ** 2 / n[here, i])) if here.any() else float("nan")
        between = _between_sessions(months[here], level[here, i], sampling)
        spread_line = Interval(*(float(np.exp(x)) for x in lines[i][1][0].ends))
        level_steps = _steps(level[:, i], sessions, alpha, seed)
        spread_steps = _steps(log_sd[:, i], sessions, alpha, seed)
        trends.append(
            Trend(
                metric=metric.name,
                label=metric.label,
                unit=metric.unit,
                sessions=int(here.sum()),
                level_per_month=lines[i][0][0],
                level_p_holm=float(level_holm[i]),
                spread_per_month=spread_line,
                spread_p_holm=float(spread_holm[i]),
                between_sessions_sd=between,
                level_steps=level_steps,
                spread_steps=spread_steps,
                level_sentence=level_sentence(
                    metric, lines[i][0][0], float(level_holm[i]), int(here.sum()), level_steps
                ),
                spread_sentence=_spread_sentence(
                    metric, spread_line, float(spread_holm[i]), int(here.sum()), spread_steps
                ),
            )
        )
    return tuple(trends)


def _line(months: FloatArray, values: FloatArray) -> tuple[Interval, float]:
    """Slope with 95 % interval and p by least squares over sessions (Student)."""
    nan = float("nan")
    here = np.isfinite(values)
    x, y = months[here], values[here]
    if len(x) < FEWEST_SESSIONS or np.ptp(x) == 0 or y.std() == 0:
        return Interval(nan, nan, nan), nan
    fit = stats.linregress(x, y)
    half = float(stats.t.ppf(0.975, len(x) - 2)) * fit.stderr
    return Interval(float(fit.slope), fit.slope - half, fit.slope + half), float(fit.pvalue)


def _between_sessions(months: FloatArray, level: FloatArray, sampling: float) -> float:
    """SD of session means about their line, the part their swings explain taken out."""
    if len(level) < FEWEST_SESSIONS or np.ptp(months) == 0:
        return float("nan")
    fit = stats.linregress(months, level)
    off = level - fit.intercept - fit.slope * months
    return float(np.sqrt(max((off**2).sum() / (len(level) - 2) - sampling, 0.0)))


def _steps(
    values: FloatArray, sessions: Sequence[str], alpha: float, seed: int
) -> tuple[Step, ...]:
    """Steps among the sessions used; places refer to all of them, missing ones included."""
    (where,) = np.nonzero(np.isfinite(values))
    found = find_steps(values[where], alpha, seed)
    places = [int(where[step.place]) for step in found]
    return tuple(
        replace(step, place=place, session=sessions[place])
        for step, place in zip(found, places, strict=True)
    )


def level_sentence(
    metric: Metric, slope: Interval, p: float, sessions: int, steps: tuple[Step, ...]
) -> str:
    """How the mean moves a month, or in which steps; p : of the slope, adjusted (Holm)."""
    name = plain_name(metric)
    if not slope.known:
        return f"{name}: {counted(sessions, 'session')}, too few for a trend."
    if steps:
        said = []
        for step in steps:
            places = decimals(max(abs(step.low), abs(step.high)))
            size = with_unit(number(step.after - step.before, places), metric.unit)
            ends = f"95 % {number(step.low, places)} to {number(step.high, places)}"
            said.append(f"by {size} ({ends}) from {step.session} on")
        return f"{name} moves in {_steps_word(steps)}, not gradually: {'; '.join(said)}."
    places = decimals(max(abs(slope.low), abs(slope.high)))
    size = with_unit(number(slope.value, places), metric.unit)
    ends = f"95 % {number(slope.low, places)} to {number(slope.high, places)}"
    if p < 0.05:
        return f"{name} moves by {size} a month ({ends}) over {sessions} sessions."
    return f"{name}: no trend of the level established; {size} a month ({ends})."


def _spread_sentence(
    metric: Metric, factor: Interval, p: float, sessions: int, steps: tuple[Step, ...]
) -> str:
    name = plain_name(metric)
    if not factor.known:
        return f"{name}: {counted(sessions, 'session')}, too few for a trend of the spread."
    if steps:
        said = []
        for step in steps:
            change = np.exp([step.after - step.before, step.low, step.high])
            times, least, most = (number(float(x), 2) for x in change)
            said.append(f"to {times} times (95 % {least} to {most}) from {step.session} on")
        return f"{name}: the spread changes in {_steps_word(steps)}: {'; '.join(said)}."
    size, low, high = (100 * (x - 1) for x in factor.ends)
    ends = f"95 % {number(low, 1)} to {number(high, 1)} %"
    if p < 0.05:
        way = "shrinks" if size < 0 else "grows"
        return f"{name}: the spread {way} by {abs(size):.1f} % a month ({ends})."
    return f"{name}: no trend of the spread established; {number(size, 1)} % a month ({ends})."


def _steps_word(steps: tuple[Step, ...]) -> str:
    return "one step" if len(steps) == 1 else f"{len(steps)} steps"
