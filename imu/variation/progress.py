"""Months of sessions: is the level moving, and is the spread shrinking?

One session is one unit: swings of a day resemble each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from imu.columns import METRIC_BY_NAME, Metric, headline_metrics
from imu.errors import SwingspreadError
from imu.types import FloatArray
from imu.variation.change_points import Step, find_steps
from imu.variation.intervals import (
    Interval,
    column_mean,
    column_sd,
    counts,
    log_sd_bias,
    robust_sd,
    sd_freedom,
)
from imu.variation.noise import human_sd, noise_columns, noise_sd, refuted_noise
from imu.variation.shift import holm
from imu.variation.wording import decimals, number, plain_name, with_unit

DEFAULT_SEED = 20_000
FEWEST_SWINGS = 5
"""A session with fewer swings is listed, but takes no part in trends."""

FEWEST_SESSIONS = 4
MONTH_DAYS = 30.4375

SESSION_COLUMNS: dict[str, str] = {
    "session_key": "player, day and label",
    "player": "",
    "club": "",
    "session": "label",
    "date": "YYYY-MM-DD",
    "metric": "",
    "swings": "with this measure",
    "mean": "",
    "mean_low": "95 % interval",
    "mean_high": "",
    "sd": "",
    "sd_low": "95 % interval, long tails allowed for",
    "sd_high": "",
    "robust_sd": "",
    "noise_sd": "",
    "human_sd": "SD with the sensors' part taken out",
}
"""Columns of the session table, one row a session, club and metric."""


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


@dataclass(frozen=True, eq=False)
class Progress:
    """Sessions in order of date with their numbers, and the trend of every metric.

    sessions : ``SESSION_COLUMNS``. order : session keys by date; steps count places in it,
    among sessions of ``FEWEST_SWINGS`` swings or more (``used``).
    """

    player: str
    club: str
    sessions: pd.DataFrame
    order: tuple[str, ...]
    used: tuple[str, ...]
    trends: tuple[Trend, ...]
    warnings: tuple[str, ...]


def session_table(swings: pd.DataFrame, metrics: Sequence[str] | None = None) -> pd.DataFrame:
    """Level and spread of every session and club in a pool of swings: ``SESSION_COLUMNS``.

    swings : of a ``SwingSet``, of any number of players: the library-wide table. metrics : the
    headline ones by default.
    """
    chosen = _metrics(metrics)
    if not len(swings):
        return pd.DataFrame(columns=list(SESSION_COLUMNS))
    names = [metric.name for metric in chosen]
    values = np.full((len(swings), len(names)), np.nan)
    for column, name in enumerate(names):
        if name in swings:
            values[:, column] = swings[name].to_numpy(np.float64)
    errors, meaning = noise_columns(swings, names)
    groups = swings.groupby(["session_key", "club"], sort=False, dropna=False)
    rows = list(groups.indices.values())
    first = swings.iloc[[int(index[0]) for index in rows]]
    cells = {
        name: np.array([function(values[index]) for index in rows])
        for name, function in (
            ("n", counts),
            ("mean", column_mean),
            ("sd", column_sd),
            ("robust_sd", robust_sd),
            ("freedom", sd_freedom),
        )
    }
    cells["noise"] = np.array([noise_sd(values[index], errors[index]) for index in rows])
    with np.errstate(invalid="ignore", divide="ignore"):
        n, sd, freedom = cells["n"], cells["sd"], cells["freedom"]
        half = stats.t.ppf(0.975, n - 1) * sd / np.sqrt(n)
        sd_low = sd * np.sqrt(freedom / stats.chi2.ppf(0.975, freedom))
        sd_high = sd * np.sqrt(freedom / stats.chi2.ppf(0.025, freedom))
    refuted = refuted_noise(cells["noise"], meaning, sd_high)
    noise = np.where(refuted, np.nan, cells["noise"])
    repeat = len(names)
    table = pd.DataFrame(
        {
            **{
                name: np.repeat(first[name].to_numpy(object), repeat)
                for name in ("session_key", "player", "club", "session", "date")
            },
            "metric": np.tile(np.array(names, dtype=object), len(rows)),
            "swings": n.ravel().astype(int),
            "mean": cells["mean"].ravel(),
            "mean_low": (cells["mean"] - half).ravel(),
            "mean_high": (cells["mean"] + half).ravel(),
            "sd": sd.ravel(),
            "sd_low": sd_low.ravel(),
            "sd_high": sd_high.ravel(),
            "robust_sd": cells["robust_sd"].ravel(),
            "noise_sd": noise.ravel(),
            "human_sd": human_sd(sd, noise).ravel(),
        }
    )
    return table.sort_values(["player", "club", "date"], kind="stable").reset_index(drop=True)


def progress(
    swings: pd.DataFrame, metrics: Sequence[str] | None = None, seed: int = DEFAULT_SEED
) -> Progress:
    """Trend of level and spread over the sessions of one player with one club.

    swings : of a ``SwingSet``. Raises SwingspreadError for several players or clubs (numbers
    change with both), or when nothing is there.
    """
    chosen = _metrics(metrics)
    if not len(swings):
        raise SwingspreadError("there are no swings to follow")
    for column, said in (("player", "players"), ("club", "clubs")):
        several = sorted({str(value) for value in swings[column]})
        if len(several) > 1:
            raise SwingspreadError(
                f"progress follows one {column} at a time; choose one of the {said}: "
                f"{', '.join(several)}"
            )
    table = session_table(swings, metrics)
    order = tuple(dict.fromkeys(table["session_key"]))
    days = np.array([_day(date) for date in table.drop_duplicates("session_key")["date"]])
    warnings = []
    if not np.isfinite(days).all():
        warnings.append("Some sessions have no date: they are followed by number, not by month.")
        days = np.arange(len(order)) * MONTH_DAYS
    shape = (len(order), len(chosen))
    n, mean, sd = (
        table[name].to_numpy(np.float64).reshape(shape) for name in ("swings", "mean", "sd")
    )
    whole = np.asarray((n >= FEWEST_SWINGS).any(axis=1))
    if (~whole).any():
        warnings.append(
            f"{int((~whole).sum())} sessions with fewer than {FEWEST_SWINGS} swings are listed but "
            "take no part in trends."
        )
    if whole.sum() < FEWEST_SESSIONS:
        warnings.append(
            f"{int(whole.sum())} sessions: trends need {FEWEST_SESSIONS} or more, so none is given."
        )
    trends = _trends(chosen, days[whole], n[whole], mean[whole], sd[whole], seed)
    used = tuple(order[int(place)] for place in np.flatnonzero(whole))
    return Progress(
        player=str(swings["player"].iloc[0]),
        club=str(swings["club"].iloc[0]),
        sessions=table,
        order=order,
        used=used,
        trends=trends,
        warnings=tuple(warnings),
    )


def _metrics(names: Sequence[str] | None) -> tuple[Metric, ...]:
    if names is None:
        return headline_metrics()
    for name in names:
        if name not in METRIC_BY_NAME:
            raise SwingspreadError(f"there is no measure called {name!r}")
    return tuple(METRIC_BY_NAME[name] for name in dict.fromkeys(names))


def _day(date: str) -> float:
    stamp = pd.to_datetime(date, errors="coerce")
    return float("nan") if pd.isna(stamp) else float(stamp.toordinal())


def _trends(
    chosen: Sequence[Metric],
    days: FloatArray,
    n: FloatArray,
    mean: FloatArray,
    sd: FloatArray,
    seed: int,
) -> tuple[Trend, ...]:
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
        level_steps = _steps(level[:, i], alpha, seed)
        spread_steps = _steps(log_sd[:, i], alpha, seed)
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
                level_sentence=_level_sentence(
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


def _steps(values: FloatArray, alpha: float, seed: int) -> tuple[Step, ...]:
    """Steps among the sessions used; places refer to all of them, missing ones included."""
    (where,) = np.nonzero(np.isfinite(values))
    found = find_steps(values[where], alpha, seed)
    return tuple(Step(int(where[s.place]), s.before, s.after, s.low, s.high, s.p) for s in found)


def _level_sentence(
    metric: Metric, slope: Interval, p: float, sessions: int, steps: tuple[Step, ...]
) -> str:
    name = plain_name(metric)
    if not slope.known:
        return f"{name}: {sessions} sessions, too few for a trend."
    if steps:
        said = []
        for step in steps:
            places = decimals(max(abs(step.low), abs(step.high)))
            size = with_unit(number(step.after - step.before, places), metric.unit)
            ends = f"95 % {number(step.low, places)} to {number(step.high, places)}"
            said.append(f"by {size} ({ends}) at session {step.place + 1}")
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
        return f"{name}: {sessions} sessions, too few for a trend of the spread."
    if steps:
        said = []
        for step in steps:
            change = np.exp([step.after - step.before, step.low, step.high])
            times, least, most = (number(float(x), 2) for x in change)
            said.append(f"to {times} times (95 % {least} to {most}) at session {step.place + 1}")
        return f"{name}: the spread changes in {_steps_word(steps)}: {'; '.join(said)}."
    size, low, high = (100 * (x - 1) for x in factor.ends)
    ends = f"95 % {number(low, 1)} to {number(high, 1)} %"
    if p < 0.05:
        way = "shrinks" if size < 0 else "grows"
        return f"{name}: the spread {way} by {abs(size):.1f} % a month ({ends})."
    return f"{name}: no trend of the spread established; {number(size, 1)} % a month ({ends})."


def _steps_word(steps: tuple[Step, ...]) -> str:
    return "one step" if len(steps) == 1 else f"{len(steps)} steps"
