"""Doubt about which of two humps is a rate's peak.

An arm's turning rate often has two humps within a percent of each other, tens of milliseconds
apart. The *height* of the peak is then well known and its *time* is not: a small error decides
which hump is the greater. A reading keeps to one hump, so repeated readings of slightly changed
motions do not show this doubt; here it is worked out from the height that the rival lacks.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from imu.swings.measure import SwingMeasurement
from imu.swings.metrics import RATES, rate_series
from imu.types import FloatArray
from imu.units import DEG, MS

APART = 0.012
"""s. Maxima nearer to the peak than this are the same hump."""


def rival_errors(measurement: SwingMeasurement, metric_se: Mapping[str, float]) -> dict[str, float]:
    """Standard error (ms) that rival humps add to the ``peak_…_rate_ms`` metrics, by name.

    metric_se : with the standard errors of the peak rates (°/s), which stand for how wrongly two
    humps may be weighed against each other. With a rival lacking δ at a distance T, the chance
    that it is the true peak is Φ(−δ/σ), and the error √chance · T.
    """
    places = measurement.places
    if math.isnan(measurement.events["club_top"]):
        return {}
    added = {}
    first, rates = rate_series(places)
    impact = float(places.place["impact"][0]) - first
    for name, values in zip(RATES, rates[:, 0], strict=True):
        metric = f"peak_{name}_rate_ms"
        peak = impact - measurement.metrics[metric] * MS / places.step
        sigma = metric_se.get(f"peak_{name}_rate_deg_s", math.nan) * DEG
        if not (math.isfinite(peak) and sigma > 0.0):
            continue
        added[metric] = _doubt(values, peak, APART / places.step, sigma) * places.step / MS
    return added


def _doubt(values: FloatArray, peak: float, apart: float, sigma: float) -> float:
    """Greatest √chance · distance (samples) over the other local maxima."""
    inner = values[1:-1]
    maxima = 1 + np.flatnonzero((inner > values[:-2]) & (inner >= values[2:]))
    maxima = maxima[np.abs(maxima - peak) > apart]
    if len(maxima) == 0:
        return 0.0
    best = float(values[min(max(round(peak), 0), len(values) - 1)])
    lacking = np.maximum(best - values[maxima], 0.0)
    chance = np.array([0.5 * math.erfc(lack / sigma / math.sqrt(2.0)) for lack in lacking])
    return float((np.sqrt(chance) * np.abs(maxima - peak)).max())
