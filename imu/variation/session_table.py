"""Level and spread of every session: the library-wide table that progress is read from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

from imu.variation.intervals import (
    column_mean,
    column_sd,
    counts,
    robust_sd,
    sd_ends,
    sd_freedom,
)
from imu.variation.metric_values import chosen_metrics, metric_values
from imu.variation.noise import human_sd, noise_columns, noise_sd, refuted_noise
from imu.variation.spread import far_out
from imu.variation.wording import far_out_sessions_sentence

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
    "far_out": "swings that lie far out of the session, as in the spread table",
}
"""Columns of the session table, one row a session, club and metric."""


def session_table(swings: pd.DataFrame, metrics: Sequence[str] | None = None) -> pd.DataFrame:
    """Level and spread of every session and club in a pool of swings: ``SESSION_COLUMNS``.

    swings : of a ``SwingSet``, of any number of players: the library-wide table. metrics : the
    headline ones by default. Raises SwingspreadError for one that there is not.
    """
    chosen = chosen_metrics(metrics)
    if not len(swings):
        return pd.DataFrame(columns=list(SESSION_COLUMNS))
    names = [metric.name for metric in chosen]
    values = metric_values(swings, names)
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
            ("far_out", lambda own: far_out(own).sum(axis=0)),
        )
    }
    cells["noise"] = np.array([noise_sd(values[index], errors[index]) for index in rows])
    with np.errstate(invalid="ignore", divide="ignore"):
        n, sd, freedom = cells["n"], cells["sd"], cells["freedom"]
        half = stats.t.ppf(0.975, n - 1) * sd / np.sqrt(n)
        sd_low, sd_high = sd_ends(sd, freedom)
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
            "far_out": cells["far_out"].ravel().astype(int),
        }
    )
    return table.sort_values(["player", "club", "date"], kind="stable").reset_index(drop=True)


def far_out_sessions(rows: pd.DataFrame) -> str:
    """What is to be said beside the SDs of sessions with swings that lie far out, else "".

    rows : of one metric of a session table.
    """
    wild = rows[rows["far_out"].to_numpy(int) > 0].to_dict("records")
    return far_out_sessions_sentence(
        [f"{row['date']} {row['session']}".strip() or "undated" for row in wild]
    )
