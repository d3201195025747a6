"""Months of sessions: is the level moving, and is the spread shrinking?

One session is one unit: swings of a day resemble each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from imu.errors import SwingspreadError
from imu.number_words import counted
from imu.variation.metric_values import chosen_metrics
from imu.variation.session_table import session_table
from imu.variation.trend import (
    FEWEST_SESSIONS,
    FEWEST_SWINGS,
    MONTH_DAYS,
    Trend,
    session_trends,
)

DEFAULT_SEED = 20_000


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


def progress(
    swings: pd.DataFrame, metrics: Sequence[str] | None = None, seed: int = DEFAULT_SEED
) -> Progress:
    """Trend of level and spread over the sessions of one player with one club.

    swings : of a ``SwingSet``. Raises SwingspreadError for several players or clubs (numbers
    change with both), or when nothing is there.
    """
    chosen = chosen_metrics(metrics)
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
    each = table.drop_duplicates("session_key")
    days = np.array([_day(date) for date in each["date"]])
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
            f"{counted(int((~whole).sum()), 'session')} with fewer than {FEWEST_SWINGS} swings: "
            "listed, but without part in trends."
        )
    if whole.sum() < FEWEST_SESSIONS:
        warnings.append(
            f"{counted(int(whole.sum()), 'session')}: trends need {FEWEST_SESSIONS} or more, "
            "so none is given."
        )
    called = [_called(*row) for row in each[["date", "session", "session_key"]].to_numpy()[whole]]
    trends = session_trends(chosen, called, days[whole], n[whole], mean[whole], sd[whole], seed)
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


def _called(date: str, session: str, key: str) -> str:
    """A session by its day and label, which stand in the table of sessions."""
    return f"{date} {session}".strip() or key


def _day(date: str) -> float:
    stamp = pd.to_datetime(date, errors="coerce")
    return float("nan") if pd.isna(stamp) else float(stamp.toordinal())
