"""Standard error of every number of a swing: what the fit leaves open, the strike, and noise.

The errors of the motion (``imu.fusion.uncertainty``) are independent and of one sigma each, so a
number's variance is the sum of squares of its changes under them. The strike's time adds a change
of its own. Noise of the gyroscope and the grid of samples add to the times of events, and through
them to durations: T/√12 an event, T/√6 a duration.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from imu.columns import EVENTS
from imu.fusion.motion import turned
from imu.fusion.uncertainty import MotionErrors, thinned
from imu.settings import AnalysisSettings
from imu.swings.event_noise import event_noise
from imu.swings.measure import SwingMeasurement, measure_swing
from imu.swings.rivals import rival_errors
from imu.types import Club, FloatArray, Motion, SwingWindow
from imu.units import MS

_BEFORE, _AFTER, _STRIDE = 0.4, 0.08, 2
CLUB_LENGTH_ERROR, ARM_LENGTH_ERROR = 0.004, 0.010
"""How well a club and an arm are measured with a tape, m."""
SETTLING_ERROR = 0.5
"""Settling over the ball is not a sharp moment, s."""
BEND_OF_RATE = 0.008
"""A shaft bends and springs back on the way down: its rate at the grip ripples by such a part."""
FLAT_PEAK_MS = {"peak_club_rate_ms": 2.0, "peak_arm_rate_ms": 3.0, "peak_hinge_rate_ms": 2.0}
"""Rates peak flatly, and the same ripples move the time of a peak so far, ms."""
_DURATIONS = {
    "backswing_ms": ("takeaway", "club_top"),
    "downswing_ms": ("club_top", "impact"),
    "overlap_ms": ("arm_top", "club_top"),
    "release_ms": ("release", "impact"),
    "release_onset_ms": ("onset", "impact"),
}


@dataclass(frozen=True)
class Noise:
    """Random errors of the club sensor's readings.

    rate : rad/s, of one sample. period : s, between samples. delay : s, doubt of the low-pass
    filter's delay, shared by all events of a recording.
    """

    rate: float
    period: float
    delay: float


def rate_noise(gyr: FloatArray) -> float:
    """Noise of one sample of a rate, rad/s: second differences of the quieter half of (N, 3)."""
    second = gyr[2:] - 2.0 * gyr[1:-1] + gyr[:-2]
    if not len(second):
        return 0.0
    return float(1.4826 * np.median(np.abs(second)) / math.sqrt(6.0))


def standard_errors(
    motion: Motion,
    window: SwingWindow,
    measured: SwingMeasurement,
    errors: MotionErrors,
    noise: Noise,
    club: Club,
    arm_length: float,
    settings: AnalysisSettings,
) -> tuple[dict[str, float], dict[str, float]]:
    """Standard error of every metric (in its own unit) and of every event (s) of one swing.

    window : with the impact that ``measured`` was read with.
    """
    takeaway = measured.events["takeaway"]
    start = min(takeaway, window.takeaway) if math.isfinite(takeaway) else window.takeaway
    thin = thinned(motion, start - _BEFORE, window.impact + _AFTER, _STRIDE)

    def read(moved: Motion, where: SwingWindow) -> SwingMeasurement:
        return measure_swing(moved, where, club, arm_length, settings, measured)

    base = read(thin, window)
    changed = [read(turned(thin, *errors.at(k, thin.time)), window) for k in range(len(errors))]
    longer = replace(club, length=club.length + CLUB_LENGTH_ERROR)
    changed.append(measure_swing(thin, window, longer, arm_length, settings, measured))
    arm = arm_length + ARM_LENGTH_ERROR
    changed.append(measure_swing(thin, window, club, arm, settings, measured))
    if window.impact_se > 0.0:
        changed.append(read(thin, replace(window, impact=window.impact + window.impact_se)))
    metric_se = _root_sum(list(base.metrics), base.metrics, [c.metrics for c in changed])
    event_se = _root_sum(list(EVENTS), base.events, [c.events for c in changed])
    random = event_noise(motion, window, measured, settings, noise.rate)
    grid = noise.period / math.sqrt(12.0)
    own = {name: math.hypot(value, grid) for name, value in random.items()}
    own["impact"] = 0.0  # the strike's error is in the window, and was let act above
    for name, value in event_se.items():
        event_se[name] = math.hypot(value, _known(own.get(name)), noise.delay)
    for name, (first, last) in _DURATIONS.items():
        metric_se[name] = math.hypot(
            metric_se[name], _known(own.get(first)) / MS, _known(own.get(last)) / MS
        )
    for name, doubt in rival_errors(motion, window, measured, settings, metric_se).items():
        metric_se[name] = math.hypot(metric_se[name], doubt)
    for name in ("peak_club_rate_deg_s", "peak_arm_rate_deg_s"):
        ripple = BEND_OF_RATE * measured.metrics[name]
        metric_se[name] = math.hypot(metric_se[name], ripple)
    for name, flat in FLAT_PEAK_MS.items():
        metric_se[name] = math.hypot(metric_se[name], flat)
    metric_se["address_time_s"] = math.hypot(metric_se["address_time_s"], SETTLING_ERROR)
    metric_se["tempo_ratio"] = _ratio_error(measured, metric_se, own)
    return metric_se, event_se


def _known(value: float | None) -> float:
    return value if value is not None and math.isfinite(value) else 0.0


def _ratio_error(
    measured: SwingMeasurement, metric_se: Mapping[str, float], own: Mapping[str, float]
) -> float:
    """Error of backswing over downswing: what acts on both, and the noise of three events."""
    back, down = measured.metrics["backswing_ms"], measured.metrics["downswing_ms"]
    ratio = measured.metrics["tempo_ratio"]
    start = _known(own.get("takeaway")) / MS / back
    top = _known(own.get("club_top")) / MS * (1.0 / back + 1.0 / down)
    return math.hypot(metric_se["tempo_ratio"], ratio * start, ratio * top)


def _root_sum(
    names: Sequence[str],
    base: Mapping[str, float],
    changed: Sequence[Mapping[str, float]],
) -> dict[str, float]:
    """Root of the sum of squared changes; changes that can't be read are left out."""
    moved = np.array([[other.get(name, math.nan) for name in names] for other in changed])
    center = np.array([base.get(name, math.nan) for name in names])
    total = np.sqrt(np.nansum((moved - center) ** 2, axis=0))
    return {
        name: float(value) if math.isfinite(middle) else math.nan
        for name, value, middle in zip(names, total, center, strict=True)
    }
