"""Numbers of a swing as they are told while it is recorded: few digits, read at a glance."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from imu.columns import METRIC_BY_NAME
from imu.further_sensors import ROLE_METRICS
from imu.metric import Metric
from imu.number_words import number, with_unit

DIGITS = {"": 2, "ms": 0, "°": 1}
"""Decimals by unit; one for others."""


def value_and_error(swing: Mapping[str, Any], name: str) -> tuple[float | None, float | None]:
    """A metric of a live swing with its standard error; None for what is not known."""
    value, error = swing["metrics"].get(name, (None, None))
    return value, error


def live_number(metric: Metric, value: float | None) -> str:
    """A value with its unit."""
    if value is None:
        return "unknown"
    return with_unit(number(value, DIGITS.get(metric.unit, 1)), metric.unit)


def live_metric(swing: Mapping[str, Any], name: str) -> str:
    """A metric of a live swing with its unit."""
    return live_number(METRIC_BY_NAME[name], value_and_error(swing, name)[0])


def further_metrics(swing: Mapping[str, Any]) -> list[str]:
    """Metrics of sensors beyond the two, where they are worn."""
    every = (metric.name for metrics in ROLE_METRICS.values() for metric in metrics)
    return [name for name in every if name in swing["metrics"]]
