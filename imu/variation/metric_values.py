"""Which metrics are asked for, and their values out of a swing table."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from imu.columns import METRIC_BY_NAME, Metric, headline_metrics
from imu.errors import SwingspreadError
from imu.types import FloatArray


def chosen_metrics(names: Sequence[str] | None) -> tuple[Metric, ...]:
    """Metrics of these names, each once; the headline ones for None.

    Raises SwingspreadError for a name that there is not.
    """
    if names is None:
        return headline_metrics()
    for name in names:
        if name not in METRIC_BY_NAME:
            raise SwingspreadError(
                f"there is no measure called {name!r}; DEVELOPERS.md lists them under Metrics"
            )
    return tuple(METRIC_BY_NAME[name] for name in dict.fromkeys(names))


def metric_values(swings: pd.DataFrame, names: Sequence[str]) -> FloatArray:
    """(N, M) values of M metrics over N swings, NaN where missing or without a column."""
    values = np.full((len(swings), len(names)), np.nan)
    for column, name in enumerate(names):
        if name in swings:
            values[:, column] = swings[name].to_numpy(np.float64)
    return values
